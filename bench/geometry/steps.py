"""A sweep that is two lines: bumped stand, pressed zero, slipped square.

Small steps are judged with the noise (`related_noise`); here are those so large that
the robust line left one side of them out.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bench.geometry.robust import MAD, Array

SHORTER_SIDE = 0.2  # of the readings; less at an end is a plunger that ran off the edge
ALIKE = 4.0  # how much noisier than the first the second line may be


def long_step(
    s: Array, left: Array, aside: npt.NDArray[np.bool_]
) -> tuple[float, float] | None:
    """(place, size) of a step in the residuals `left` from the line through the larger
    side, s rising.

    The readings set aside must be nearly all on one side of the place, make up at least
    a fifth, and lie on a line of their own, as quiet as the rest: a gullet or free air
    is rougher, shorter or comes back.
    """
    n = s.size
    if aside.sum() < SHORTER_SIDE * n:
        return None
    gathered = np.concatenate([[0], np.cumsum(aside)])
    total = int(gathered[-1])
    cuts = np.arange(1, n)
    # readings on the wrong side if everything after (before) the cut were set aside and
    # nothing else
    wrong_after = gathered[cuts] + (n - cuts) - (total - gathered[cuts])
    wrong_before = (cuts - gathered[cuts]) + (total - gathered[cuts])
    after = int(np.argmin(wrong_after))
    before = int(np.argmin(wrong_before))
    if wrong_after[after] <= wrong_before[before]:
        cut, wrong = int(cuts[after]), int(wrong_after[after])
        other = np.arange(cut, n)
    else:
        cut, wrong = int(cuts[before]), int(wrong_before[before])
        other = np.arange(cut)
    if wrong > 0.1 * n or other.size < SHORTER_SIDE * n:
        return None
    clean = left[~aside]
    usual = MAD * float(np.median(np.abs(clean - np.median(clean))))
    far = left[other]
    size = float(np.median(far))
    quiet = MAD * float(np.median(np.abs(far - size)))
    if quiet > ALIKE * max(usual, 1e-4) and quiet > 0.1 * abs(size):
        return None
    return float(s[cut]), size
