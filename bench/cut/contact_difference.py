"""The rotation of a board's line of contact against that of the square's handle."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from bench.finding import Finding
from bench.uncertainty.distributions import t_quantile

if TYPE_CHECKING:
    from bench.geometry.contact import ContactLine

Stretch = tuple[float, float]
Fence = Literal["near", "far"]

# mm: the least that a board or a handle must have in common with the profile
LEAST_CONTACT = 50.0
# mm, noise of one height of a profile whose result tells no contact; common practice,
# no source
USUAL_NOISE = 0.005
# steps that find the noise; what it scatters by grows with it nearly in proportion
NOISE_STEPS = 2


def turned_against(
    found: Finding, board: Stretch, handle: Stretch, fence: Fence
) -> tuple[float, float] | None:
    """Rotation of the board's contact line less that of the handle's, and its standard
    uncertainty, rad; None where the profile does not reach under both.

    Both rest on the same profile, so the noise of its heights, deduced from the
    result's own contact lines, is propagated through the same copies for both (JCGM
    101:2008).
    """
    if not found.profile or len(found.profile) < 3:
        return None
    x = [place for place, _ in found.profile]
    sign = 1.0 if fence == "near" else -1.0
    y = [sign * height for _, height in found.profile]
    noise, least = _noise(found, x, y, board, fence)
    lines = [_line(x, y, stretch, fence, noise) for stretch in (board, handle)]
    if lines[0] is None or lines[1] is None:
        return None
    on_board, on_handle = lines[0], lines[1]
    turned = on_board.rotation - on_handle.rotation
    if on_board.copies is None or on_handle.copies is None:
        return turned, 0.0
    copies = on_board.copies - on_handle.copies
    u = math.hypot(float(copies.std(ddof=1)), float(copies.mean()) - turned)
    return turned, max(u, least)


def _line(
    x: list[float], y: list[float], stretch: Stretch, fence: Fence, noise: float | None
) -> ContactLine | None:
    """Pushed at the middle of what lies on the profile."""
    import numpy as np

    from bench.geometry.contact import contact_line

    start, stop = max(stretch[0], min(x)), min(stretch[1], max(x))
    if stop - start < min(LEAST_CONTACT, stretch[1] - stretch[0]):
        return None
    heights = None if noise is None else np.full(len(x), noise)
    middle = (start + stop) / 2
    return contact_line(x, y, start, stop, middle, fence=fence, noise=heights)


def _noise(
    found: Finding, x: list[float], y: list[float], board: Stretch, fence: Fence
) -> tuple[float, float]:
    """Standard deviation of one height, mm, with which copies of the profile scatter as
    the result says of the contact line most like the board's; and the least that this
    leaves unknown, rad: two bodies on one stretch rest on different peaks of it."""
    told = sorted(
        found.contact or (),
        key=lambda one: abs(one.from_ - board[0]) + abs(one.to - board[1]),
    )
    for contact in told:
        u = contact.uncertainty / t_quantile(found.confidence, None)
        noise = USUAL_NOISE
        for _ in range(NOISE_STEPS):
            line = _line(x, y, (contact.from_, contact.to), fence, noise)
            if line is None or not line.standard_uncertainty:
                break
            noise *= u / line.standard_uncertainty
        else:
            return noise, u
    return USUAL_NOISE, 0.0
