"""Whether a number left the value that was taken last, and came back near it: the next
spot or width is then at hand.

Pure; lengths in mm. Rest alone does not tell: a lifted plunger, an opened caliper and a
sled that was let go hold still as well. They rest where the number is farthest from the
value taken before, so a number counts only when it came back most of the way.
"""

from __future__ import annotations

from collections.abc import Sequence

NEAR = 0.25  # of the way out; what is farther from the value before is asked about
NEAR_MOST = 0.5  # mm: widths, wobble and play differ less from one place to the next


class ReturnWatch:
    """Of one number after the other."""

    def __init__(self) -> None:
        self._base: float | None = None
        self._far = 0.0  # the farthest it was from the base
        self.left = False  # it went away, since the value was taken

    def taken(self, value: float) -> None:
        """That value was taken, mm."""
        self._base, self._far, self.left = value, 0.0, False

    def stay(self) -> None:
        """The number must go away anew before it counts as back."""
        self._far, self.left = 0.0, False

    def forget(self) -> None:
        """A set-up was put up anew: no value to come back to."""
        self._base, self._far, self.left = None, 0.0, False

    def back(self, values: Sequence[float], away: float) -> bool:
        """Take in readings, mm; whether the latest is back near the value taken.

        away: mm that it must have been away by at least.
        """
        if self._base is None:
            return False
        for value in values:
            self._far = max(self._far, abs(value - self._base))
        self.left = self._far >= away - 1e-9
        near = min(NEAR * self._far, NEAR_MOST)
        return self.left and bool(values) and abs(values[-1] - self._base) <= near
