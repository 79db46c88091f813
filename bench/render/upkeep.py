"""Sentences of drift and due dates, from their documents."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

from bench.moves.alignment import CLOSES
from bench.render.names import spaced, upper_first
from bench.render.result import opposite
from bench.render.template import sentence
from bench.units import System

Document = Mapping[str, Any]
GearEvent = Literal["dropped", "moved", "runners", "blade", "saw", "square", "accepted"]

MONTH_DAYS = 30  # days of which a trend is told

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
EVENT_WORDS: dict[GearEvent, str] = {
    "dropped": "it was dropped",
    "moved": "it was moved",
    "runners": "its runners were changed",
    "blade": "a new blade",
    "saw": "the saw was moved",
    "square": "the square was changed",
    "accepted": "it is taken as it stands now",
}
# in a chart, by what begins a baseline and by the alarm of a result
CHART_WORDS = {
    "runners": "new runners",
    "blade": "new blade",
    "saw": "saw moved",
    "square": "new square",
    "step": "it changed",
    "trend": "it creeps",
}
_TAKE_IT = "take the whole check"
WHOLE_CHECK_REASONS = {
    "never-whole": f"no whole check of this sled measured its square yet: {_TAKE_IT}",
    "square-old": f"the square was last turned over more than a year ago: {_TAKE_IT}",
    "indicator-changed": f"the last whole check used another indicator: {_TAKE_IT}",
    "moved": f"the sled was moved since its last whole check: {_TAKE_IT}",
}
_RUN_WORDS = {
    "two-of-three-beyond-two": "two of three lie far to one side",
    "four-of-five-beyond-one": "four of five lie to one side",
    "eight-on-one-side": "eight lie on one side",
}


def gear_event_values(data: Mapping[str, Any]) -> dict[str, str]:
    """Of an event as the log has it; an older or newer program's may hold less."""
    what = str(data.get("what"))
    happened = next((words for one, words in EVENT_WORDS.items() if one == what), None)
    note = str(data.get("note") or "").strip().rstrip(".")
    return {
        "jig": str(data.get("jig", "a sled")),
        "what": happened or "something happened",
        "date": str(data.get("at", ""))[:10],
        "note": f": {note}" if note else "",
    }


def drift_lines(document: Document, units: System = "mm") -> Iterator[str]:
    for series in document["series"]:
        yield from _SeriesLines(series, units).all()
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
    """The checks that are due now, in one line."""
    now = [
        f"{_of(row)} ({why_words(row)})"
        for row in document["due"]
        if row["state"] == "now"
    ]
    return f"Due now: {'; '.join(now)}." if now else TEMPLATES["nothing-due"]


def why_words(row: Document) -> str:
    """The reason for which a check is due, without its end: `it is time`."""
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
    what = spaced(series["check"])
    if series.get("quantity") == "square":
        what = f"the square's own error in {what}"
    return f"{what} of {of}" if of else what


def series_ways(series: Document) -> tuple[str, str]:
    """The words for a value above zero and for one below it, by the way of the latest
    result; empty where that has none, or is a size."""
    latest = [r for period in series["baselines"] for r in period["results"]][-1]
    way = series["way"] or ""
    other = opposite(way)
    if latest["value"] == 0 or other == way:
        return "", ""
    return (way, other) if latest["value"] > 0 else (other, way)


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


class _SeriesLines:
    """The lines on the current period of one series."""

    def __init__(self, series: Document, units: System) -> None:
        self.series, self.period, self.units = series, series["baselines"][-1], units
        self.results: Sequence[Document] = self.period["results"]

    def all(self) -> Iterator[str]:
        count = len(self.results)
        code = "no-result" if count == 0 else "one" if count == 1 else "several"
        since = _since(self.period)
        yield _line(code, {"of": _of(self.series), "count": count, "since": since})
        if self.results:
            yield self._latest()
            yield from self._alarm()
            yield from self._trend()
            yield from self._season()
        if self.series["alarm"] or not self.results:
            yield self._line("again-now")
        else:
            yield self._line("again", date=self.series["look_again"])

    def _line(self, code: str, **values: object) -> str:
        return "  " + _line(code, values, self.units, self.series["unit"])

    def _direction(self, change: float) -> str:
        """As the latest result lies, which the line before tells, or the other way."""
        latest = self.results[-1]["value"]
        if not self.series["way"] or latest == 0:
            return "to more" if change > 0 else "to less"
        same = change * latest > 0
        return "in that direction" if same else "in the other direction"

    def _latest(self) -> str:
        latest, way = self.results[-1], self.series["way"]
        words = "DANGER: " * (way == CLOSES) + (f"{way}: " if way else "")
        date, value = latest["at"][:10], abs(latest["value"])
        return self._line("latest", date=date, way=words, value=value)

    def _alarm(self) -> Iterator[str]:
        results, latest = self.results, self.results[-1]
        alarms = [one for one in results if one["alarm"] is not None]
        if len(results) == 1:
            yield self._line("no-change-yet")
        elif not alarms:
            yield self._line("quiet", detectable=self.period["detectable"])
        if alarms:
            date, off = _since_alarm(results), alarms[-1]["corrected"]
            off -= self.period["mean"]
            words = {"off": abs(off), "direction": self._direction(off)}
            yield self._line(alarms[-1]["alarm"], date=date, **words)
            if self.series["season"] is None and latest["humidity"] is not None:
                yield self._line("may-be-season")
        if self.series["alarm"]:
            yield self._line("what-happened", jig=self.series["jig"] or "NAME")
        if latest["runs"]:
            runs = ", ".join(_RUN_WORDS[run] for run in latest["runs"])
            yield self._line("runs", runs=runs)

    def _trend(self) -> Iterator[str]:
        trend = self.period["trend"]
        if trend is None or not trend["significant"]:
            return
        month, give = (trend[name] * MONTH_DAYS for name in ("per_day", "uncertainty"))
        direction = self._direction(month)
        yield self._line("trend", give=give, month=abs(month), direction=direction)
        if trend["leaves_tolerance"] is not None:
            yield self._line("leaves", date=trend["leaves_tolerance"])

    def _season(self) -> Iterator[str]:
        season = self.series["season"]
        if season is None or not season["kept"]:
            return
        low, high = season["low"], season["high"]
        if season["significant"]:
            ways = {"low_way": self._direction(low), "high_way": self._direction(high)}
            yield self._line("season", low=abs(low), high=abs(high), **ways)
        else:
            yield self._line("season-small", swing=abs(high - low))
