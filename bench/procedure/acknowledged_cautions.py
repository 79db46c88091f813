"""The cautions of a check that are asked now: those that were not acknowledged today,
and those whose subject has changed since. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.model import Caution

# subjects of cautions that a check may want otherwise than the one before
CHANGING_SUBJECTS = ("blade", "power")


class AcknowledgedCautions:
    """Remembers the acknowledgements by saw. A saw is given by its name, or None."""

    def __init__(self) -> None:
        # by saw and name: the day on which it was acknowledged
        self._days: dict[tuple[str | None, str], str] = {}
        # by saw and subject: the names of the cautions that the latest check had
        self._wanted: dict[tuple[str | None, str], frozenset[str]] = {}

    def due(
        self, cautions: Sequence[Caution], saw: str | None, day: str
    ) -> tuple[Caution, ...]:
        """The cautions to be asked, in their order. day: today, as any text."""
        return tuple(c for c in cautions if self._is_due(c, cautions, saw, day))

    def _is_due(
        self, caution: Caution, cautions: Sequence[Caution], saw: str | None, day: str
    ) -> bool:
        if caution.about == "cut" or self._days.get((saw, caution.name)) != day:
            return True
        return caution.about in CHANGING_SUBJECTS and self._wanted.get(
            (saw, caution.about)
        ) != _names(cautions, caution.about)

    def acknowledge(
        self, cautions: Sequence[Caution], saw: str | None, day: str
    ) -> None:
        """Note that all cautions of a check hold now: asked and acknowledged, or known
        from before."""
        for caution in cautions:
            self._days[saw, caution.name] = day
        for about in CHANGING_SUBJECTS:
            self._wanted[saw, about] = _names(cautions, about)


def _names(cautions: Sequence[Caution], about: str) -> frozenset[str]:
    return frozenset(c.name for c in cautions if c.about == about)
