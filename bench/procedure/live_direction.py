"""Whether a live move goes the wrong way: further from the aim than it was. Pure."""

from __future__ import annotations


class DirectionWatch:
    """Distances to the aim in mm. A move away from it by more than the noise is wrong
    until most of that is taken back."""

    def __init__(self) -> None:
        # the least that was to go when the number held, or when it turned round again
        self._best = 0.0
        # what was to go at the worst of a move the wrong way
        self._worst: float | None = None

    @property
    def wrong(self) -> bool:
        return self._worst is not None

    def restart(self, to_go: float) -> None:
        self._best, self._worst = to_go, None

    def look(self, away: float, held: float | None, band: float) -> None:
        """away: to go now; held: to go where the number holds, None while it moves.
        band: what is still noise."""
        if self._worst is not None:
            self._worst = max(self._worst, away)
            if away < max(self._worst - band, self._best + band / 2):
                self._worst, self._best = None, max(away, self._best)
        elif away > self._best + band:
            self._worst = away
        elif held is not None and held < self._best - band:
            self._best = held
