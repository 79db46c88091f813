"""What caliper widths themselves contradict: inches among millimetres, a misread digit,
another thing measured.

Nothing is set aside for it and nothing refused: it is said first, before any figure is
acted on. Pure. Widths in mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

from bench.finding import Doubt, Remark, doubt, warning

INCH = 25.4
NEAR_AN_INCH = 0.15  # of that ratio: no slot is that much wider than its runner
THIN = 5.0  # mm: no runner and no strip is as thin
ODD = (
    # mm off the others of its kind; no slot or runner that is used varies so; common
    # practice, no source
    0.5
)
# mm: widths of one end farther apart, or a strip that tapers more, were perhaps
# misread; common practice, no source
WIDTHS_APART, MUCH_TAPER = 0.1, 3.0
# mm between a slot and its runner that were made for each other; common practice, no
# source
APART = 1.0


def thin(widths: Sequence[float]) -> list[Doubt]:
    """All of them so small that they are inches rather than mm."""
    if not widths or max(widths) >= THIN:
        return []
    return [doubt("thin", least=min(widths), most=max(widths))]


def mixed(
    one: str, first: Sequence[float], other: str, second: Sequence[float]
) -> list[Doubt]:
    """One of them about 25.4 times the other."""
    a, b = statistics.median(first), statistics.median(second)
    ratio = max(a, b) / min(a, b)
    if abs(math.log(ratio / INCH)) > NEAR_AN_INCH:
        return []
    less = one if a < b else other
    return [doubt("mixed", less, least=min(a, b), most=max(a, b))]


def odd(name: str, at: Sequence[float], widths: Sequence[float]) -> Remark | None:
    """The one that stands farthest from the middle of its kind, where there are three
    at least."""
    if len(widths) < 3:
        return None
    middle = statistics.median(widths)
    worst = max(range(len(widths)), key=lambda k: abs(widths[k] - middle))
    if abs(widths[worst] - middle) <= ODD:
        return None
    return warning("width-odd", name, at=at[worst], width=widths[worst], others=middle)


def of_runners(
    read: Mapping[str, tuple[Sequence[float], Sequence[float]]],
) -> tuple[list[Doubt], list[Remark]]:
    """Doubts and remarks about slots, runners and spacings by their names, (stations,
    widths) each; none where all is well."""
    widths = [
        w for name, (_, column) in read.items() if "spacing" not in name for w in column
    ]
    if all_thin := thin(widths):
        return all_thin, []
    remarks: list[Remark | None] = []
    doubts: list[Doubt] = []
    for side in ("left", "right", "spacing"):
        slot, runner = (read.get(f"{what}-{side}") for what in ("slot", "runner"))
        if slot is None or runner is None:
            continue
        names = (f"slot-{side}", f"runner-{side}")
        inches = mixed(names[0], slot[1], names[1], runner[1])
        doubts += inches
        gap = abs(statistics.median(slot[1]) - statistics.median(runner[1]))
        if not inches and gap > APART:
            remarks.append(
                warning("slot-far-from-runner", slot=names[0], runner=names[1], gap=gap)
            )
        remarks += [
            odd(name, *column)
            for name, column in zip(names, (slot, runner), strict=True)
        ]
    return doubts, [remark for remark in remarks if remark is not None]


def of_strip(near: Sequence[float], far: Sequence[float]) -> list[Doubt]:
    """Doubts about the two ends of a strip."""
    return thin([*near, *far]) or mixed("the near end", near, "the far end", far)


def of_ends(
    near: Sequence[float], far: Sequence[float], expanded: float
) -> list[Remark]:
    """What the widths of a strip's two ends contradict. expanded: give or take of
    their difference, mm."""
    remarks = []
    for end, widths in (("near", near), ("far", far)):
        reach = max(widths) - min(widths)
        if reach > WIDTHS_APART:
            remarks.append(warning("widths-differ", end=end, apart=reach))
    taper = abs(sum(near) / len(near) - sum(far) / len(far))
    if taper > max(MUCH_TAPER, 5 * expanded):
        remarks.append(warning("much-taper", taper=taper))
    return remarks
