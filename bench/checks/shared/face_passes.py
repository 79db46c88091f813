"""The passes along a face: cleaned, refused where they are no pass, compared with the
ways back.

Positions and heights in mm; a height grows where the face stands proud.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from bench.checks.model import Trace
from bench.checks.shared.plausibility import incomplete_passes
from bench.checks.shared.sweep_fits import refusal_of
from bench.finding import EvidenceError, Remark, SweepRow, note, refusal, warning
from bench.geometry.cells import Array, Mask, count_seen
from bench.geometry.columns import Column, GeometryError, line_of
from bench.geometry.face_dirt import dirt_on_face
from bench.geometry.line_fit import MOST_ASIDE
from bench.geometry.reversal import (
    CELLS_PER_WINDOW,
    WINDOW,
    cells_of_travel,
    common_grid,
    level,
    smooth,
)

# mm: so wide a place that stands proud in every sweep is the face, whatever it is
LUMP = 8.0


class Pass(msgspec.Struct):
    """One sweep that is used. x, r: (n,) mm, all of its readings. aside: (n,)."""

    trace: Trace
    number: int
    x: Array
    r: Array
    aside: Mask

    @property
    def kept(self) -> tuple[Array, Array]:
        return self.x[~self.aside], self.r[~self.aside]


def passes_of(
    traces: Sequence[Trace],
    placements: Sequence[str],
    count: float | None,
    remarks: list[Remark],
) -> tuple[list[list[Pass]], list[SweepRow]]:
    chosen = [[t for t in traces if t.placement == p] for p in placements]
    if not all(any(t.push for t in group) for group in chosen):
        remarks.append(note("both-ways"))
    else:
        _compare_pulls(chosen, remarks)
        chosen = [[t for t in group if t.push] for group in chosen]
    refused = incomplete_passes([t for group in chosen for t in group], face=True)
    looks = [[_cleaned(t, n, count) for n, t in enumerate(g, 1)] for g in chosen]
    groups: list[list[Pass]] = []
    for placement, some in zip(placements, looks, strict=True):
        why = [refused.get(id(one.trace)) or _too_dirty(one) for one in some]
        for one, because in zip(some, why, strict=True):
            if because is not None:
                remarks.append(refusal_of(because, one.trace, one.number))
        groups.append([p for p, w in zip(some, why, strict=True) if w is None])
        if not groups[-1]:
            raise EvidenceError(f"no pass at {placement} can be used", remarks[-1])
    _keep_proud_places([p for group in groups for p in group], remarks)
    rows = [_row(one) for some in looks for one in some]
    seen = {id(one.trace) for some in looks for one in some}
    rest = [t for t in traces if t.placement in placements and id(t) not in seen]
    return groups, rows + [_row(_columns(trace, 0)) for trace in rest]


def _columns(trace: Trace, number: int) -> Pass:
    x, r = (np.asarray(c, dtype=np.float64) for c in (trace.travel, trace.reading))
    return Pass(trace, number, x, r, np.zeros(x.size, dtype=bool))


def _cleaned(trace: Trace, number: int, count: float | None) -> Pass:
    one = _columns(trace, number)
    resolved = count if count is not None else count_seen(one.r)
    one.aside = dirt_on_face(one.x, one.r, resolved)
    return one


def _too_dirty(one: Pass) -> Remark | None:
    if one.aside.mean() > MOST_ASIDE:
        return refusal("pass-dirty", share=float(one.aside.mean()))
    return None


def _row(one: Pass) -> SweepRow:
    """Slope as read and what single readings scatter about the line; a bow is scatter
    here."""
    x, r = one.kept
    slope, error = 0.0, 0.0
    if x.size > 2 and np.ptp(x) > 0.0:
        line = line_of(x, r)
        slope, left = line.slope, line.left
        error = math.sqrt(float(left @ left) / (x.size - 2) / line.spread)
    trace, aside = one.trace, int(one.aside.sum())
    return SweepRow(trace.placement, trace.push, one.x.size, aside, slope, error)


def _keep_proud_places(passes: Sequence[Pass], remarks: list[Remark]) -> None:
    """A place that stands proud in every pass is the face; one that is missing in every
    pass is a gap."""
    if not any(p.aside.any() for p in passes):
        return
    low = min(float(p.x.min()) for p in passes)
    edges = np.arange(low, max(float(p.x.max()) for p in passes) + 2.0, 2.0)
    proud = np.ones(edges.size - 1, dtype=bool)
    for one in passes:
        x, r = one.kept
        order = np.argsort(x, kind="stable")
        over = one.aside & (one.r > np.interp(one.x, x[order], r[order]))
        filled, dirt = (np.histogram(x, edges)[0] for x in (one.x, one.x[over]))
        proud &= (dirt > 0.5 * filled) | (filled == 0)
    for start, stop in ((edges[a], edges[b]) for a, b in _runs_of(proud)):
        if stop - start < LUMP:
            continue
        for one in passes:
            one.aside &= ~((one.x >= start - 4.0) & (one.x <= stop + 4.0))
        remarks.append(warning("proud", **{"from": float(start), "to": float(stop)}))
    shown = sum(int(p.aside.sum()) for p in passes)
    if shown:
        worst = max(passes, key=lambda p: int(p.aside.sum()))
        near = float(np.median(worst.x[worst.aside]))
        remarks.append(note("set-aside", readings=shown, near=near))


def _runs_of(mask: Mask) -> list[tuple[int, int]]:
    turns = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True)]


def averaged(x: Column, r: Column, grid: Array) -> Array:
    """One sweep's levelled average on the grid, (n,). Readings are first taken together
    in cells: thousands then cost no more than hundreds, and every stretch of travel
    counts alike either way. They are levelled before, so that the half cell by which
    the grid reaches beyond the outermost cells is no step of the set-up's slope.
    """
    places, heights = np.asarray(x, dtype=np.float64), level(x, r)
    cells = round(float(np.ptp(places)) * CELLS_PER_WINDOW / WINDOW)
    if places.size > 2 * cells > 2:
        places, heights, _ = cells_of_travel(places, heights, WINDOW)
    at = np.clip(grid, places.min(), places.max())
    return np.asarray(level(grid, smooth(places, heights, at, WINDOW)))


def _compare_pulls(groups: Sequence[Sequence[Trace]], remarks: list[Remark]) -> None:
    for group in groups:
        pulls = [t for t in group if not t.push]
        if not pulls:
            continue
        try:
            grid = common_grid([t.travel for t in group], 20.0)
        except GeometryError:
            continue
        back, forth = (
            np.mean([averaged(t.travel, t.reading, grid) for t in some], axis=0)
            for some in (pulls, [t for t in group if t.push])
        )
        apart = float(np.max(np.abs(back - forth)))
        if apart > 0.02:
            remarks.append(note("ways-differ", pulls[0].placement, apart=apart))
