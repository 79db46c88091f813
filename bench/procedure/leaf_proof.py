"""The conversation of the leaf proof: the tip at rest, the leaf under it, what the
number made of it.

Holds no port and writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from bench.procedure.status_message import StatusMessage
from bench.procedure.wrong_use import InvalidRequest
from bench.protocol import Readings
from bench.stream.rest_detector import NotAtRest, RestDetector, RestReading
from bench.units import INCH, length_words

if TYPE_CHECKING:
    from bench.daemon.acquisition import Instrument
    from bench.settings.settings_file import Settings

Phase = Literal["asking", "seen", "kept", "failed"]
Say = Callable[[Phase, Sequence[StatusMessage], Mapping[str, Any]], None]

SILENT = 3.0  # s without a reading while one is waited for
SLACK = 0.01  # mm: burr, bow and dirt of a leaf (common practice, no source)
COUNTS = 2.0  # of the instrument, one for each reading
COARSE = 3.0  # a leaf must be so many counts thick to prove anything
FEWEST_COUNTS = 4.0  # a smaller change tells nothing of a factor
# relative: how near to a factor a contradiction must be to be called by its name
NEAR = 0.12
THINNEST, THICKEST = 0.02, 5.0  # mm

Outcome = Literal[
    "proved", "nothing", "way", "inches", "millimetres", "decimals", "other"
]
# what the instrument makes of a leaf when it is read wrong
FACTORS: dict[float, Outcome] = {
    1 / INCH: "inches",
    INCH: "millimetres",
    **dict.fromkeys((0.001, 0.01, 0.1, 10.0, 100.0, 1000.0), "decimals"),
}
REMARKS = {
    "proved": "leaf-proved",
    "way": "leaf-wrong-way",
    "inches": "leaf-inches",
    "millimetres": "leaf-millimetres",
    "decimals": "leaf-decimals-less",
    "nothing": "leaf-nothing",
    "other": "leaf-other",
}


class Proof(NamedTuple):
    """factor: of the change to the leaf, where the outcome names one."""

    outcome: Outcome
    factor: float = 1.0


class LeafProof:
    """say: called with phase, remarks and fields of SetupNotice. cure: a key of the
    settings that a press would put right."""

    def __init__(
        self, leaf: float, settings: Settings, indicator: Instrument | None, say: Say
    ) -> None:
        """Raises InvalidRequest where this leaf proves nothing."""
        units = settings.units
        if not THINNEST <= leaf <= THICKEST:
            low, high = length_words(THINNEST, units), length_words(THICKEST, units)
            raise InvalidRequest(
                f"a leaf from {low} to {high} proves it, not one of"
                f" {length_words(leaf, units)}"
            )
        if indicator is None:
            raise InvalidRequest(
                "no indicator is set up: find it first, by pressing its plunger"
            )
        count = settings.gear.indicator.resolution
        if count is not None and too_coarse(leaf, count):
            would_do = length_words(10 * count, units)
            raise InvalidRequest(
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

    def begin(self, *before: StatusMessage) -> None:
        self._resting, self._waiting, self.cure = None, 0.0, {}
        self._say("asking", *before, StatusMessage("leaf-rest"), enter=True)

    def cured(self, settings: Settings, remark: StatusMessage) -> None:
        """The settings were put right: what holds with them is to be seen."""
        self._settings = settings
        self.begin(remark)

    def press(self, now: float) -> None:
        self._rest_detector.press(now)
        self._waiting = now
        self._say("asking", StatusMessage("leaf-hold-still"))

    def readings(self, message: Readings) -> None:
        self._assumed = "default_unit" in message.flags
        answer = self._rest_detector.readings(message.at, message.values)
        if isinstance(answer, RestReading):
            self._took(answer.value)
        elif isinstance(answer, NotAtRest):
            moves = {"spread": answer.spread, "allowed": answer.allowed}
            wanders = answer.spread > answer.allowed
            code = "number-wanders" if wanders else "number-creeps"
            self._say("asking", StatusMessage(code, moves))

    def tick(self, now: float, indicator: Instrument | None) -> None:
        if indicator is None or indicator.state == "absent":
            self._say("failed", StatusMessage("leaf-indicator-gone"))
        elif self._waiting and now - max(self._waiting, indicator.last or 0.0) > SILENT:
            self._again(StatusMessage("leaf-no-reading"))
        elif self._waiting and (taken := self._rest_detector.button(now)) is not None:
            self._took(taken.value)

    def _again(self, remark: StatusMessage) -> None:
        self._rest_detector.cancel()
        if self._resting is None:
            self.begin(remark)
        else:
            self._slip(remark)

    def _slip(self, *before: StatusMessage) -> None:
        self._waiting = 0.0
        slip = StatusMessage("leaf-slip", {"leaf": self.leaf})
        self._say("asking", *before, slip, enter=True)

    def _took(self, value: float) -> None:
        if self._resting is None:
            self._resting = value
            self._slip()
            return
        gear = self._settings.gear.indicator
        change = value - self._resting
        if gear.grows == "pulled-out":
            change = -change
        count = gear.resolution or self._rest_detector.count
        proof = judge_leaf(change, self.leaf, count)
        remark = leaf_remark(proof, change, self.leaf)
        self.outcome = proof.outcome
        if proof.outcome == "proved":
            self._say("kept", remark, value=change)
        elif proof.outcome == "nothing":
            self._slip(remark)
        elif proof.outcome in ("inches", "millimetres") and self._assumed:
            self._offer_cure(
                "in" if proof.outcome == "inches" else "mm", change, remark
            )
        else:
            self._say("failed", remark, value=change)

    def _offer_cure(self, unit: str, change: float, remark: StatusMessage) -> None:
        """The instrument sends no unit: a press writes the other one down."""
        resolution = self._settings.gear.indicator.resolution
        self.cure = {"default_unit": unit}
        cure = StatusMessage("leaf-cure", {"unit": unit})
        if resolution is not None:  # the same figure, in the other unit
            figure = resolution if unit == "in" else resolution / INCH
            self.cure["resolution"] = f"{round(figure, 7):g} {unit}"
            cure = StatusMessage("leaf-cure-resolution", {"unit": unit})
        self._waiting = 0.0
        self._say("seen", remark, cure, enter=True, value=change)

    def _say(self, phase: Phase, *remarks: StatusMessage, **more: Any) -> None:
        step = 1 if self._resting is None else 2
        self._tell(phase, remarks, {"leaf": self.leaf, "step": step, **more})


def allowed(count: float) -> float:
    """mm by which the change may differ from the leaf."""
    return COUNTS * count + SLACK


def judge_leaf(change: float, leaf: float, count: float) -> Proof:
    """change: of the reading, in mm, growing as the plunger is pushed in."""
    near = allowed(count)
    if abs(change - leaf) <= near:
        return Proof("proved")
    if abs(change + leaf) <= near:
        return Proof("way")
    for factor, outcome in FACTORS.items():
        if _like(change, leaf * factor, count):
            return Proof(outcome, factor)
    unmoved = abs(change) < max(FEWEST_COUNTS * count, SLACK)
    return Proof("nothing" if unmoved else "other")


def leaf_remark(proof: Proof, change: float, leaf: float) -> StatusMessage:
    """What the proof showed, for the person."""
    factor = proof.factor
    code = REMARKS[proof.outcome]
    if proof.outcome == "decimals" and factor > 1:
        code = "leaf-decimals-more"
    if proof.outcome == "other" and change < 0:
        code = "leaf-other-out"
    values = {"seen": abs(change), "leaf": leaf, "factor": factor, "part": 1 / factor}
    return StatusMessage(code, values)


def too_coarse(leaf: float, count: float) -> bool:
    return leaf < COARSE * count - 1e-9


def _like(change: float, wanted: float, count: float) -> bool:
    """A change that is some counts at the least, and near to what is wanted."""
    return wanted >= FEWEST_COUNTS * count and abs(change - wanted) <= max(
        NEAR * wanted, min(1.5 * count, 0.3 * wanted)
    )
