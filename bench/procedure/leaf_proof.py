"""The conversation of the leaf proof: the tip at rest, the leaf under it, what the
number made of it.

Holds no port and writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Literal

from bench.procedure.leaf import THICKEST, THINNEST, judge_leaf, too_coarse
from bench.procedure.wrong_use import WrongUse
from bench.protocol import Readings
from bench.stream.rest_detector import NotAtRest, RestDetector, Taken
from bench.units import INCH, length_words

if TYPE_CHECKING:
    from bench.daemon.acquisition import Instrument
    from bench.settings.settings_file import Settings

Phase = Literal["asking", "seen", "kept", "failed"]
Say = Callable[[Phase, str, Mapping[str, Any]], None]

SILENT = 3.0  # s without a reading while one is waited for
REST = "Rest the tip on something flat and hard. Enter when it rests."


class LeafProof:
    """`say(phase, words, fields of LearnSaid)`. `cure`: a key of the settings that a
    press would put right."""

    def __init__(
        self, leaf: float, settings: Settings, indicator: Instrument | None, say: Say
    ) -> None:
        """Raises WrongUse where this leaf proves nothing."""
        units = settings.units
        if not THINNEST <= leaf <= THICKEST:
            low, high = length_words(THINNEST, units), length_words(THICKEST, units)
            raise WrongUse(
                f"a leaf from {low} to {high} proves it, not one of"
                f" {length_words(leaf, units)}"
            )
        if indicator is None:
            raise WrongUse(
                "no indicator is set up: find it first, by pressing its plunger"
            )
        count = settings.gear.indicator.resolution
        if count is not None and too_coarse(leaf, count):
            would_do = length_words(10 * count, units)
            raise WrongUse(
                f"a leaf of {length_words(leaf, units)} is too thin for this indicator:"
                f" {would_do} would do"
            )
        self.leaf = leaf
        self.cure: dict[str, str | int] = {}
        self.outcome: str | None = None  # of the last look, until it is noted
        self._settings = settings
        self._tell = say
        self._rest_detector = RestDetector(count)
        self._resting: float | None = None  # the reading without the leaf
        # since when a reading that holds still is waited for; 0: it is not
        self._waiting = 0.0
        self._assumed = False  # the instrument sends no unit

    def begin(self, remark: str = "") -> None:
        self._resting, self._waiting, self.cure = None, 0.0, {}
        self._say("asking", f"{remark} {REST}".strip(), enter=True)

    def cured(self, settings: Settings, words: str) -> None:
        """The settings were put right: what holds with them is to be seen."""
        self._settings = settings
        self.begin(words)

    def press(self, now: float) -> None:
        self._rest_detector.press(now)
        self._waiting = now
        self._say("asking", "Hold it still.")

    def readings(self, message: Readings) -> None:
        self._assumed = "default_unit" in message.flags
        answer = self._rest_detector.readings(message.at, message.values)
        if isinstance(answer, Taken):
            self._took(answer.value)
        elif isinstance(answer, NotAtRest):
            seen = answer.words(self._settings.units)
            self._say("asking", f"The number does not hold still: {seen}.")

    def tick(self, now: float, indicator: Instrument | None) -> None:
        if indicator is None or indicator.state == "absent":
            self._say(
                "failed",
                "The indicator went away: nothing is proved. Plug it in, then again.",
            )
        elif self._waiting and now - max(self._waiting, indicator.last or 0.0) > SILENT:
            self._again(
                "No reading comes: is the instrument on? Press its send button, if it"
                " has one."
            )
        elif self._waiting and (taken := self._rest_detector.button(now)) is not None:
            self._took(taken.value)

    def _again(self, remark: str) -> None:
        self._rest_detector.cancel()
        if self._resting is None:
            self.begin(remark)
        else:
            self._slip(remark)

    def _slip(self, remark: str = "") -> None:
        self._waiting = 0.0
        leaf = length_words(self.leaf, self._settings.units)
        words = (
            f"Slip the leaf of {leaf} under the tip and let the tip rest on it. Enter"
            " when it does."
        )
        self._say("asking", f"{remark} {words}".strip(), enter=True)

    def _took(self, value: float) -> None:
        if self._resting is None:
            self._resting = value
            self._slip()
            return
        gear, units = self._settings.gear.indicator, self._settings.units
        change = value - self._resting
        if gear.grows == "pulled-out":
            change = -change
        proof = judge_leaf(
            change, self.leaf, gear.resolution or self._rest_detector.count, units
        )
        self.outcome = proof.outcome
        if proof.outcome == "proved":
            self._say("kept", proof.words, value=change)
        elif proof.outcome == "nothing":
            self._slip(proof.words)
        elif proof.outcome in ("inches", "millimetres") and self._assumed:
            unit = "in" if proof.outcome == "inches" else "mm"
            self.cure = {"default_unit": unit}
            also = ""
            if gear.resolution is not None:  # the same figure, in the other unit
                figure = gear.resolution if unit == "in" else gear.resolution / INCH
                self.cure["resolution"] = f"{round(figure, 7):g} {unit}"
                also = ", the resolution with it,"
            self._waiting = 0.0
            words = (
                f'{proof.words} It sends no unit: default_unit = "{unit}"{also} would'
                " put that right."
            )
            self._say("seen", words, enter=True, value=change)
        else:
            self._say("failed", proof.words, value=change)

    def _say(self, phase: Phase, words: str, **more: Any) -> None:
        step = 1 if self._resting is None else 2
        self._tell(phase, words, {"leaf": self.leaf, "step": step, **more})
