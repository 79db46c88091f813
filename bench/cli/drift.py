"""`sweepgauge drift`: has what was squared stayed so; asks the daemon, or reads a log
with --log FILE."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from bench.cli.common import json_option, socket_option
from bench.cli.log import known_kind, listed, tell_unread

if TYPE_CHECKING:
    from bench.finding import Finding, Quantity
    from bench.units import System
    from bench.upkeep.drift import Look, Stretch

MOST = 2000  # findings looked through
DAY = 86400.0  # s

ALARMS = {
    "step": "differs from those before by more than looks differ",
    "creep": "goes on a way that looks taken together do not go by chance",
}


@click.command()
@socket_option
@click.option(
    "--log",
    "log_path",
    metavar="FILE",
    help="Read this file instead of asking the daemon.",
)
@json_option
@click.option("--jig", metavar="NAME", help="Only this sled.")
@click.option("--check", "kind", metavar="KIND", help="Only this check.")
def drift(
    socket_path: str | None,
    log_path: str | None,
    as_json: bool,
    jig: str | None,
    kind: str | None,
) -> int:
    """How results have changed without a move, and when to look again. Exit 1 when one
    has.

    Example:  sweepgauge drift --jig big-sled
    """
    known_kind(kind)
    # one fence: what the others had moved counts too
    of = None if kind is None or _turns_fence(kind) else kind
    reply, units = listed(socket_path, log_path, jig, of, MOST)
    status = tell_unread(reply.unread)
    moved = {
        name for name, became in reply.moves.items() if became in ("made", "verified")
    }
    gone = set(reply.superseded)
    in_order = [f for f in reversed(reply.findings) if f.id not in gone]
    series = [
        _one(key, group, moved | _others_moves(key, in_order, moved))
        for key, group in _grouped(in_order)
        if kind in (None, key[0])
    ]
    if as_json:
        import msgspec

        click.echo(
            msgspec.json.encode(
                {"series": [_plain(*one) for one in series], "unread": reply.unread}
            )
        )
    else:
        for key, quantity, stretches in series:
            for line in _words(key, quantity, stretches, units):
                click.echo(line)
        if not series:
            click.echo("nothing yet")
    return 1 if any(stretches[-1].alarms for _, _, stretches in series) else status


Key = tuple[str, str | None, str | None]  # check, jig, saw


def _grouped(findings: list[Finding]) -> Iterator[tuple[Key, list[Finding]]]:
    """By check, sled and saw, in the log's order, for a clock may have been wrong."""
    groups: dict[Key, list[Finding]] = {}
    for finding in findings:
        if finding.quantities and not finding.doubts:
            groups.setdefault((finding.check, finding.jig, finding.saw), []).append(
                finding
            )
    return iter(groups.items())


def _turns_fence(kind: str) -> bool:
    from bench.checks import checks

    check = checks().get(kind)  # a later version's log may have kinds of its own
    return check is not None and check.turns_fence


def _others_moves(key: Key, in_order: list[Finding], moved: set[str]) -> set[str]:
    """The last look of this series before each move that another check of the same
    fence asked for: sweep and board see one fence, and what is moved by the one has not
    drifted for the other."""
    check, jig, saw = key
    if not _turns_fence(check):
        return set()
    cuts: set[str] = set()
    last: str | None = None
    for finding in in_order:
        if (finding.jig, finding.saw) != (jig, saw) or not _turns_fence(finding.check):
            continue
        if finding.check == check:
            last = finding.id
        elif finding.id in moved and last is not None:
            cuts.add(last)
    return cuts


def _one(
    key: Key, findings: list[Finding], moved: set[str]
) -> tuple[Key, Quantity, list[Stretch]]:
    from bench.upkeep.drift import stretches

    latest = findings[-1].quantities[0]
    looks = [_look(f) for f in findings if f.quantities[0].name == latest.name]
    return key, latest, stretches(looks, moved, latest.tolerance)


def _look(finding: Finding) -> Look:
    from bench.upkeep.drift import Look, varying

    first = finding.quantities[0]
    day = datetime.fromisoformat(finding.at).timestamp() / DAY
    return Look(finding.id, day, first.value, varying(finding), first.uncertainty)


def _date(day: float) -> str:
    return datetime.fromtimestamp(day * DAY, UTC).astimezone().date().isoformat()


def _plain(key: Key, quantity: Quantity, stretches: list[Stretch]) -> dict[str, Any]:
    from bench.upkeep.drift import look_again

    return {
        "check": key[0],
        "jig": key[1],
        "saw": key[2],
        "quantity": quantity.name,
        "unit": quantity.unit,
        "tolerance": quantity.tolerance,
        "alarm": bool(stretches[-1].alarms),
        "look_again": _date(look_again(stretches[-1])),
        "stretches": [
            {
                "after_move_of": stretch.after,
                "mean": stretch.mean,
                "sigma": stretch.sigma,
                "seen": stretch.seen,
                "trend": (
                    None
                    if stretch.trend is None
                    else {
                        "per_day": stretch.trend.slope,
                        "uncertainty": stretch.trend.uncertainty,
                        "significant": stretch.trend.significant,
                        "earliest": (
                            None
                            if stretch.trend.earliest is None
                            else _date(stretch.trend.earliest)
                        ),
                    }
                ),
                "looks": [
                    {
                        "id": one.look.finding,
                        "at": _date(one.look.at),
                        "value": one.look.value,
                        "uncertainty": one.look.expanded,
                        "z": one.z,
                        "weighted": one.weighted,
                        "alarm": one.alarm,
                        "runs": list(one.runs),
                    }
                    for one in stretch.looks
                ],
            }
            for stretch in stretches
        ],
    }


def _words(
    key: Key, quantity: Quantity, stretches: list[Stretch], units: System
) -> Iterator[str]:
    from bench.units import length_words, slope_words
    from bench.upkeep.drift import look_again

    def size(value: float) -> str:
        return (
            length_words(abs(value), units)
            if quantity.unit == "mm"
            else slope_words(abs(value), units)
        )

    check, jig, saw = key
    of = " on ".join(part for part in (jig, saw) if part)
    last = stretches[-1]
    count = len(last.looks)
    since = (
        f"since the move after {last.after}"
        if last.after
        else f"since {_date(last.looks[0].look.at)}"
    )
    yield (
        f"{check}{f' of {of}' if of else ''}: {count} look{'s' if count > 1 else ''}"
        f" {since}."
    )
    latest = last.looks[-1].look
    yield (
        f"  Latest, {_date(latest.at)}:"
        f" {quantity.way + ': ' if quantity.way else ''}{size(latest.value)}."
    )

    def which(change: float) -> str:
        """The way of a change, in the words of the latest look's own way."""
        if not quantity.way or latest.value == 0:
            return "up" if change > 0 else "down"
        same = change * latest.value > 0
        return f"toward: {quantity.way}" if same else f"away from: {quantity.way}"

    if count == 1:
        yield "  One look shows no change yet; the next one can."
    elif not last.alarms:
        yield f"  No change seen; a step of {size(last.seen)} would be."
    for one in last.alarms:
        off = one.look.value - last.mean
        yield (
            f"  {_date(one.look.at)} {ALARMS[one.alarm or 'step']}: by {size(off)},"
            f" {which(off)}. Was it moved, dropped, its runners changed? A move is"
            " noted with `sweepgauge moved`."
        )
    if last.looks[-1].runs:
        yield f"  Worth a look: {', '.join(last.looks[-1].runs)}."
    found = last.trend
    if found is not None and found.significant:
        give_or_take = size(found.uncertainty * 30)
        yield (
            f"  It goes by {size(found.slope * 30)} in 30 days, {which(found.slope)},"
            f" give or take {give_or_take}; a season may come and go."
        )
        if found.earliest is not None:
            yield f"  It may leave good enough from {_date(found.earliest)} on."
    when = look_again(last)
    yield (
        "  Look again now, with the whole check."
        if last.looks[-1].alarm
        else f"  Look again by {_date(when)}."
    )
