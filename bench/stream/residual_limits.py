"""What is usual in a stream of readings, and from how far off one is doubted, refused,
believed.

Pure; mm.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from operator import sub
from typing import NamedTuple

LEVEL, LINE, PARABOLA = 0, 1, 2
# standard deviation of a reading of white noise, deviation 1, off: the mean of the
# three before it; the line of the two before it, 1 -2 1; the parabola of the three
# before it, 1 -3 3 -1
GAINS = (1.155, 2.449, 4.472)
GAIN4 = 8.367  # the same for fourth differences
SQRT2 = math.sqrt(2.0)
# differences in a window before the smallest is believed to be the display's step
STEPS = 3
# readings for a fair look at fourth differences, of which one wrong reading spoils five
ENOUGH = 24
FUZZ = 1e-7  # mm; differences below this are arithmetic
NORMAL = 0.6745  # median of what is off over its standard deviation

# each: counts, and standard deviations of one reading's noise where these are more
# off the mean, the line, the parabola of those before: it waits
DOUBTED = ((4.0, 3.5), (4.0, 4.9), (4.0, 9.0))
# off the line, where readings come slowly and a hand does much between two
SLOWLY = (3.3, 3.9)
# from the one before, where all stands still: a slow creep leaves the mean behind
LEAPT = (4.5, 5.0)
SMOOTH = (4.0, 4.5)  # of one reading among its neighbours, off their parabola or cubic
ALIKE = (6.0, 10.0)  # three that are in line
NEAR = (8.0, 6.0)  # what may be the path going on
# the same by what motion does: scatter of what is foretold, of third and fourth
# differences, of what is foretold
MOVED, CHANGED, LED = 2.5, 3.5, 6.0
FINE = 2.5  # counts of scatter, and a parabola foretells well
# counts of scatter; rougher than this a slow stream is not doubted early: all of it
# would wait
ROUGH = 8.0


class Usual(NamedTuple):
    """step: the smallest between two readings, 0 where unknown; order: what foretells
    the next one best.

    scatter: how far off what foretells best readings usually are; noise: that of one
    reading; waved: what of one reading would make the usual fourth differences: noise,
    and how motion changes. Deviations, mm.
    """

    step: float
    order: int
    scatter: float
    noise: float
    waved: float


def usual(raw: Sequence[float], rough: float = 0.0) -> Usual:
    """Of five readings or more, wrong ones too: medians are blind to one in a hundred.
    waved: 0 where these are few, or scatter below `rough`, mm."""
    first = list(map(sub, raw[1:], raw))
    second = list(map(sub, first[1:], first))
    third = list(map(sub, second[1:], second))
    sizes = sorted(map(abs, first))
    zeros = bisect_right(sizes, FUZZ)
    half = len(sizes) // 2
    # white noise: differences 1.41, of those 2.45, 4.47, 8.37
    level = sizes[half] / (SQRT2 * NORMAL)
    line = sorted(map(abs, second))[half] / (NORMAL * GAINS[LINE])
    bent = sorted(map(abs, third))[half - 1] / (NORMAL * GAINS[PARABOLA])
    off = (level * GAINS[LEVEL], line * GAINS[LINE], bent * GAINS[PARABOLA])
    scatter = min(off)
    waved = 0.0
    if scatter > rough and len(raw) >= ENOUGH:
        waved = sorted(map(abs, map(sub, third[1:], third)))[half - 1] / (
            NORMAL * GAIN4
        )
    # motion adds to each of them, noise is in all
    noise = min(level, line, bent)
    step = sizes[zeros] if len(sizes) - zeros >= STEPS else 0.0
    return Usual(step, off.index(scatter), scatter, noise, waved)


STILL = Usual(0.0, LEVEL, 0.0, 0.0, 0.0)


class Limits(NamedTuple):
    """mm; the words are above."""

    doubts: tuple[float, float, float]
    leapt: float
    smooth: float
    swept: float
    alike: float
    near: float


NO_LIMITS = Limits((math.inf, math.inf, math.inf), *[math.inf] * 5)


def limits(count: float, noise: float, seen: Usual, *, slow: bool) -> Limits:
    """count: what the instrument resolves; noise: of one reading, remembered; mm. slow:
    see SLOWLY."""

    def far(words: tuple[float, float], moved: float = 0.0) -> float:
        return max(words[0] * count, words[1] * noise, moved) + FUZZ

    doubts = [far(words) for words in DOUBTED]
    if slow:
        doubts[LINE] = far(SLOWLY)
    else:
        doubts[seen.order] = far(DOUBTED[seen.order], MOVED * seen.scatter)
    return Limits(
        (doubts[0], doubts[1], doubts[2]),
        far(LEAPT),
        far(SMOOTH),
        far(SMOOTH, CHANGED * seen.waved),
        far(ALIKE, MOVED * seen.scatter),
        far(NEAR, LED * seen.scatter),
    )
