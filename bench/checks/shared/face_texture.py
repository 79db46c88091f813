"""What averaging takes from a face: the fine form that a board's edge meets and the
profile no longer has.

A board rests on what stands highest, and that is a texture of millimetres as much as a
form of hand's breadths. The texture is what is left of the readings when the average is
taken off, where the passes agree on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from bench.checks.model import Trace
from bench.checks.shared.face_passes import WINDOW
from bench.checks.shared.face_profile import Face

if TYPE_CHECKING:
    from bench.geometry.cells import Array

FINE = 1.0  # mm: places of the texture
FEWEST = 3  # readings in what is averaged, else there is no texture to be seen


def texture(
    face: Face, traces: Sequence[Trace], placements: Sequence[str]
) -> tuple[Array, Array] | None:
    """(m,) places and (m,) mm of texture, the mean of the placements; None where
    readings stand too far apart.

    The straightedge's own texture is in it, of either sign: it makes the face look
    rougher, never smoother.
    """
    import numpy as np

    from bench.geometry.reversal import level, smooth

    start, reach = float(face.x[0]), face.length
    cells = int(reach / FINE)
    if max(face.apart, FINE) * FEWEST > WINDOW or cells < FEWEST:
        return None
    at = start + (np.arange(cells) + 0.5) * reach / cells
    seen = []
    for placement in placements:
        passes = []
        for trace in traces:
            if trace.placement != placement or not trace.push:
                continue
            x, r = np.asarray(trace.travel), np.asarray(trace.reading)
            inside = (x >= start) & (x <= start + reach)
            if inside.sum() < FEWEST:
                continue
            order = np.argsort(x[inside], kind="stable")
            places, heights = x[inside][order], level(x[inside], r[inside])[order]
            passes.append(np.interp(at, places, heights))
        if not passes:
            return None
        middle = np.median(passes, axis=0)  # a grain in one pass is no texture
        seen.append(middle - smooth(at, middle, at, WINDOW))
    return at, np.asarray(np.mean(seen, axis=0))


def contact_missed(
    face: Face,
    fine: tuple[Array, Array] | None,
    board: tuple[float, float],
    pushed: float,
    fence: Literal["near", "far"],
) -> float:
    """rad by which a board turns on the textured face against the averaged one; 0 where
    no texture is known."""
    import numpy as np

    from bench.geometry.contact import contact_line

    if fine is None:
        return 0.0
    sign = 1.0 if fence == "near" else -1.0
    at, rough = fine
    plain = sign * np.interp(at, face.x, face.f)
    averaged = contact_line(at, plain, *board, pushed, fence=fence)
    textured = contact_line(at, plain + sign * rough, *board, pushed, fence=fence)
    return abs(float(textured.rotation - averaged.rotation))
