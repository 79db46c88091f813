"""What the indicator (or caliper) shows while a check goes on, and whether it can be
believed to live.

Pure: times in monotonic s, values in mm.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.shared.doubts import LIVES

MOST_SHOWN = 300  # different readings from which the instrument's grid is known
LEAST = 5.0  # counts that the indicator moves by when a surface walks past it
# s that it does so before the travel is asked about: a quick pass has begun by then
MOVES_FOR = 3.0
# s without travel since "ready": the first pass of a set-up takes about ten, later ones
# are seated anew before
STOOD_FOR, SEATED_FOR = 12.0, 40.0  # common practice, no source
# s without rest since the set-up stands, and since a pass began
NO_REST, NO_END = 8.0, 16.0
AS_TRAVEL = 30.0  # mm: more than a plunger is pushed by hand, less than any pass


class Life:
    """Of one run: which numbers the instrument showed, by how much they moved since the
    set-up stands, and, while a pass is waited for, whether the travel moves as well."""

    def __init__(self) -> None:
        self.alive: list[str] = []
        self.shown: set[float] = set()
        self._low = self._high = 0.0
        self._begun = False
        self.wait()

    def anew(self, placement: str | None = None) -> None:
        """A set-up was put up anew, or (None) a spot was taken: what moved before
        proves nothing of what comes."""
        self._begun = False
        self.alive = [name for name in self.alive if name != placement]
        self.wait()
        self._passed = placement is None

    def see(self, values: Sequence[float], placement: str, count: float) -> bool:
        """True when the set-up is seen to live, the first time."""
        if len(self.shown) < MOST_SHOWN:
            self.shown.update(round(v, 9) for v in values)
        least, most = min(values), max(values)
        self._low = min(self._low, least) if self._begun else least
        self._high = max(self._high, most) if self._begun else most
        self._begun = True
        if (
            not placement
            or placement in self.alive
            or self._high - self._low < LIVES * count - 1e-9
        ):
            return False
        self.alive.append(placement)
        return True

    def wait(self, *, passed: bool = False) -> None:
        """A pass is waited for from now on. passed: one has begun in this set-up, so
        the travel is read."""
        self._since: float | None = None
        self._moved: float | None = None
        self._least = self._most = 0.0
        self._told = 0  # the gravest told so far
        self._passed = passed
        self._began = 0.0

    def waits(
        self, values: Sequence[float], now: float, count: float, *, moving: bool
    ) -> None:
        """What the indicator showed meanwhile."""
        least, most = min(values), max(values)
        if self._since is None:
            self._since, self._least, self._most = now, least, most
        if moving:  # its own way through a pass says nothing of the travel
            return
        self._least, self._most = min(self._least, least), max(self._most, most)
        if self._moved is None and self._most - self._least >= LEAST * count - 1e-9:
            self._moved = now

    def begin(self, now: float) -> None:
        """The travel moves."""
        self._began = now

    def end(self, *, passed: bool) -> None:
        """It stands again; passed: that was a pass, and not handling or a scale that
        wanders."""
        self._moved = None
        if passed:
            self.wait(passed=True)

    def trouble(self, now: float, *, ready: bool, moving: bool) -> str | None:
        """What is wrong with the travel, as far as can be seen; None where it was told
        or nothing is wrong."""
        if self._since is None:
            return None
        if self._most - self._least > AS_TRAVEL:
            return self._once(3, SWAPPED)
        if moving or not ready:
            lasts = (
                now - self._began > NO_END if moving else now - self._since > NO_REST
            )
            return self._once(1, NO_REST_WORDS) if lasts else None
        # once a pass was seen, a number that moves may be the square that is seated
        # anew
        if (
            not self._passed
            and self._moved is not None
            and now - self._moved > MOVES_FOR
        ):
            return self._once(2, STUCK)
        patience = SEATED_FOR if self._passed else STOOD_FOR
        return self._once(1, STILL) if now - self._since > patience else None

    def _once(self, rank: int, words: str) -> str | None:
        if self._told >= rank:
            return None
        self._told = rank
        return words


SWAPPED = (
    "The indicator moves as a sled does and the travel stands still: are their cables"
    " swapped? Change the two, or the ports under [indicator] and [travel] in the"
    " settings."
)
STUCK = (
    "The indicator moves and the travel stands still. If you are pushing, the travel is"
    " not read: see to its cable, its wheel or its scale. Nothing is taken till it"
    " moves."
)
STILL = (
    "No travel was seen since ready. If you pushed, it is not read: see to its cable,"
    " its wheel or its scale, and that indicator and travel are not swapped."
)
NO_REST_WORDS = (
    "The sled is not seen at rest, so no pass can begin: let go of it. If it stands"
    " still, the travel wanders or is not heard: see to its cable and its reading head."
)
