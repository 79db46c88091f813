"""Sentences of drift and due dates, from their documents."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

from bench.moves.alignment import CLOSES
from bench.render.names import plain, upper_first
from bench.render.template import sentence
from bench.units import System

Document = Mapping[str, Any]
GearEvent = Literal["dropped", "moved", "runners", "blade", "saw", "square", "accepted"]

MONTH = 30  # days of which a trend is told

TEMPLATES = {
    "one": "{of}: one result since {since}.",
    "several": "{of}: {count} results since {since}.",
    "no-result": "{of}: no result since {since}.",
    "latest": "Latest, {date}: {way}{value:size}.",
    "no-change-yet": "One result cannot show a change. Take a second one.",
    "quiet": "No change seen; one of {detectable:size} or more would show.",
    "step": "Since {date} it has changed by {off:size}, {direction}.",
    "creep": "Since {date} it creeps, by {off:size} so far, {direction}.",
    "what-happened": (
        "What happened? `sweepgauge event --jig {jig} dropped` answers it."
        " In place of dropped: moved, runners, blade, saw, square, accepted."
    ),
    "may-be-season": "It may be the season: too little is known of that yet.",
    "runs": "Look closer: of the last results {runs}.",
    "trend": (
        "It goes by {month:size} in 30 days, {direction}, give or take {give:size}."
    ),
    "leaves": "It may leave good enough from {date} on.",
    "season": (
        "In a dry month it stands {low:size} {low_way}. In a wet one it stands"
        " {high:size} {high_way}. Set it between."
    ),
    "season-small": "It follows the season by {swing:size}; that is taken out here.",
    "again-now": "Look again now, with the whole check.",
    "again": "Look again by {date}.",
    "left-out": "Left out: the result of {at}: {why:reason}.",
    # due dates
    "now": "Now: {of}: {reason:due}. It takes {minutes} minutes{quick}.",
    "soon": "By {by}: {of}. It takes {minutes} minutes{quick}.",
    "later": "By {by}: {of}.",
    "never-checked": "Never checked: {of}. It takes {minutes} minutes.",
    "why": "{reason:due}",
    "nothing-due": "Nothing is due.",
}

_CHOICES = {
    "reason": (
        "date=its date cannot be right|value=it holds no number"
        "|doubt=it contradicts itself|climate=only its climate, which is impossible"
    ),
    "due": (
        "step=it changed|trend=it creeps|interval=it is time|moved=something happened"
        " to it|season=the air has changed|never-checked=never checked"
    ),
}
HAPPENED: dict[GearEvent, str] = {
    "dropped": "it was dropped",
    "moved": "it was moved",
    "runners": "its runners were changed",
    "blade": "a new blade",
    "saw": "the saw was moved",
    "square": "the square was changed",
    "accepted": "it is taken as it stands now",
}
# in a chart, by what begins a baseline and by the alarm of a result
IN_CHART = {
    "runners": "new runners",
    "blade": "new blade",
    "saw": "saw moved",
    "square": "new square",
    "step": "it changed",
    "trend": "it creeps",
}
_WHOLE = "take the whole check"
WHY_WHOLE = {
    "never-whole": f"no whole check of this sled measured its square yet: {_WHOLE}",
    "square-old": f"the square was last turned over more than a year ago: {_WHOLE}",
    "indicator-changed": f"the last whole check used another indicator: {_WHOLE}",
    "moved": f"the sled was moved since its last whole check: {_WHOLE}",
}
_RUNS = {
    "two-of-three-beyond-two": "two of three lie far to one side",
    "four-of-five-beyond-one": "four of five lie to one side",
    "eight-on-one-side": "eight lie on one side",
}


def gear_event_values(data: Mapping[str, Any]) -> dict[str, str]:
    """Of an event as the log has it; an older or newer program's may hold less."""
    what = str(data.get("what"))
    happened = next((words for one, words in HAPPENED.items() if one == what), None)
    note = str(data.get("note") or "").strip().rstrip(".")
    return {
        "jig": str(data.get("jig", "a sled")),
        "what": happened or "something happened",
        "date": str(data.get("at", ""))[:10],
        "note": f": {note}" if note else "",
    }


def drift_lines(document: Document, units: System = "mm") -> Iterator[str]:
    for series in document["series"]:
        yield from _series(series, units)
    yield from left_out_lines(document)
    if not document["series"]:
        yield "nothing yet"


def due_lines(document: Document) -> Iterator[str]:
    for row in document["due"]:
        quick = " as a quick check" if row["quick"] else ""
        yield _line(row["state"], {**row, "of": _of(row), "quick": quick})
    if not document["due"]:
        yield TEMPLATES["nothing-due"]
    yield from left_out_lines(document)


def reminder(document: Document) -> str:
    """What is due now, in one line."""
    now = [
        f"{_of(row)} ({why_words(row)})"
        for row in document["due"]
        if row["state"] == "now"
    ]
    return f"Due now: {'; '.join(now)}." if now else TEMPLATES["nothing-due"]


def why_words(row: Document) -> str:
    """Why a check is due, without its end: `it is time`."""
    return _line("why", row)


def left_out_lines(document: Document) -> Iterator[str]:
    for one in document.get("left_out", ()):
        yield _line("left-out", {**one, "at": one["at"][:10]})


def _line(
    code: str, values: Mapping[str, object], units: System = "mm", unit: str = "rad"
) -> str:
    template = TEMPLATES[code].replace(
        ":size}", ":length}" if unit == "mm" else ":slope}"
    )
    for name, choices in _CHOICES.items():
        template = template.replace(f":{name}}}", f":{choices}}}")
    text = sentence(template, values, units)
    return text if code == "why" else upper_first(text)


def _of(series: Document) -> str:
    of = " on ".join(part for part in (series["jig"], series["saw"]) if part)
    what = plain(series["check"])
    if series.get("quantity") == "square":
        what = f"the square's own error in {what}"
    return f"{what} of {of}" if of else what


def _series(series: Document, units: System) -> Iterator[str]:
    last = series["baselines"][-1]
    results, unit = last["results"], series["unit"]

    def line(code: str, **values: object) -> str:
        return "  " + _line(code, values, units, unit)

    count = len(results)
    code = "no-result" if count == 0 else "one" if count == 1 else "several"
    told = {"of": _of(series), "count": count, "since": _since(last)}
    yield _line(code, told)
    if results:
        latest = results[-1]
        way = f"{series['way']}: " if series["way"] else ""
        way = "DANGER: " * (series["way"] == CLOSES) + way
        yield line(
            "latest", date=latest["at"][:10], way=way, value=abs(latest["value"])
        )
        yield from _changes(series, last, line)
    if series["alarm"] or not results:
        yield line("again-now")
    else:
        yield line("again", date=series["look_again"])


def _since(baseline: Document) -> str:
    if baseline["reason"] == "first":
        return str(baseline["from"])
    why = {"moved": "the move", "dropped": "the drop", "accepted": "it was accepted"}
    word = why.get(baseline["reason"], f"a change of {baseline['reason']}")
    return f"{word} of {baseline['from']}" if " " not in word[3:] else word


def _since_alarm(results: Sequence[Document]) -> str:
    """The day of the first result of the alarm that the latest one raised is a part
    of."""
    at = max(n for n, one in enumerate(results) if one["alarm"] is not None)
    while at > 0 and results[at - 1]["alarm"] is not None:
        at -= 1
    return str(results[at]["at"][:10])


def _changes(series: Document, last: Document, line: Any) -> Iterator[str]:
    results = last["results"]
    latest = results[-1]

    def direction(change: float) -> str:
        """As the latest result lies, which the line before tells, or the other way."""
        if not series["way"] or latest["value"] == 0:
            return "to more" if change > 0 else "to less"
        same = change * latest["value"] > 0
        return "in that direction" if same else "in the other direction"

    def far(name: str, change: float) -> dict[str, object]:
        return {name: abs(change), "direction": direction(change)}

    alarms = [one for one in results if one["alarm"] is not None]
    if len(results) == 1:
        yield line("no-change-yet")
    elif not alarms:
        yield line("quiet", detectable=last["detectable"])
    if alarms:
        date, off = _since_alarm(results), alarms[-1]["corrected"] - last["mean"]
        yield line(alarms[-1]["alarm"], date=date, **far("off", off))
        if series["season"] is None and latest["humidity"] is not None:
            yield line("may-be-season")
    if series["alarm"]:
        yield line("what-happened", jig=series["jig"] or "NAME")
    if latest["runs"]:
        yield line("runs", runs=", ".join(_RUNS[run] for run in latest["runs"]))
    found = last["trend"]
    if found is not None and found["significant"]:
        give = found["uncertainty"] * MONTH
        yield line("trend", give=give, **far("month", found["per_day"] * MONTH))
        if found["leaves_tolerance"] is not None:
            yield line("leaves", date=found["leaves_tolerance"])
    season = series["season"]
    if season is not None and season["kept"]:
        low, high = season["low"], season["high"]
        if season["significant"]:
            ways = {"low_way": direction(low), "high_way": direction(high)}
            yield line("season", low=abs(low), high=abs(high), **ways)
        else:
            yield line("season-small", swing=abs(high - low))
