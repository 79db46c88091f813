"""The conversation of the leaf proof: the tip at rest, the leaf under it, what the
number made of it.

Holds no port and writes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Protocol

from bench.procedure.invalid_request import InvalidRequest
from bench.procedure.number_taking import restless
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import Readings, SetupPhase
from bench.stream.rest_detector import NotAtRest, RestDetector, RestReading
from bench.units import INCH, length_words

if TYPE_CHECKING:
    from bench.daemon.acquisition import Instrument
    from bench.settings.settings_file import Settings


class Say(Protocol):
    """Tells a step of a conversation; more: fields of `SetupNotice`."""

    def __call__(
        self, phase: SetupPhase, *remarks: StatusMessage, **more: Any
    ) -> None: ...


NO_READING_S = 3.0  # s without a reading while one is waited for
LEAF_SLACK_MM = 0.01  # mm: burr, bow and dirt of a leaf (common practice, no source)
ALLOWED_COUNTS = 2.0  # of the instrument, one for each reading
LEAST_LEAF_COUNTS = 3.0  # a leaf must be so many counts thick to prove anything
FEWEST_COUNTS = 4.0  # a smaller change tells nothing of a factor
# relative: how near to a factor a contradiction must be to be called by its name
FACTOR_TOLERANCE = 0.12
THINNEST_MM, THICKEST_MM = 0.02, 5.0  # mm

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
    """The outcome of a leaf proof. factor: of the change to the leaf, where the outcome
    names one."""

    outcome: Outcome
    factor: float = 1.0


class LeafProof:
    """Proves unit and way of the indicator by a leaf of known thickness. cure: a key of
    the settings that a press would put right."""

    def __init__(
        self, leaf: float, settings: Settings, indicator: Instrument | None, say: Say
    ) -> None:
        """Raises InvalidRequest where this leaf proves nothing."""
        if (why := why_not(leaf, settings, indicator)) is not None:
            raise InvalidRequest(why)
        self.leaf = leaf
        self.cure: dict[str, str | int] = {}
        self.outcome: str | None = None  # of the last look, until it is noted
        self._settings = settings
        self._tell = say
        self._rest_detector = RestDetector(settings.gear.indicator.resolution)
        self._resting: float | None = None  # the reading without the leaf
        # since when a reading that holds still is waited for; 0: it is not
        self._waiting = 0.0
        self._assumed = False  # the instrument sends no unit

    def begin(self, *before: StatusMessage) -> None:
        self._resting, self._waiting, self.cure = None, 0.0, {}
        self._say("asking", *before, status("leaf-rest"), enter=True)

    def cured(self, settings: Settings, remark: StatusMessage) -> None:
        """The settings were put right: what holds with them is to be seen."""
        self._settings = settings
        self.begin(remark)

    def press(self, now: float) -> None:
        self._rest_detector.press(now)
        self._waiting = now
        self._say("asking", status("leaf-hold-still"))

    def readings(self, message: Readings) -> None:
        self._assumed = "default_unit" in message.flags
        answer = self._rest_detector.readings(message.at, message.values)
        if isinstance(answer, RestReading):
            self._took(answer.value)
        elif isinstance(answer, NotAtRest):
            self._say("asking", restless("number", answer))

    def tick(self, now: float, indicator: Instrument | None) -> None:
        if indicator is None or indicator.state == "absent":
            self._say("failed", status("leaf-indicator-gone"))
            return
        silent = now - max(self._waiting, indicator.last or 0.0) > NO_READING_S
        if self._waiting and silent:
            self._again(status("leaf-no-reading"))
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
        slip = status("leaf-slip", leaf=self.leaf)
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
        cure = status("leaf-cure", unit=unit)
        if resolution is not None:  # the same figure, in the other unit
            figure = resolution if unit == "in" else resolution / INCH
            self.cure["resolution"] = f"{round(figure, 7):g} {unit}"
            cure = status("leaf-cure-resolution", unit=unit)
        self._waiting = 0.0
        self._say("seen", remark, cure, enter=True, value=change)

    def _say(self, phase: SetupPhase, *remarks: StatusMessage, **more: Any) -> None:
        step = 1 if self._resting is None else 2
        self._tell(phase, *remarks, leaf=self.leaf, step=step, **more)


def why_not(
    leaf: float, settings: Settings, indicator: Instrument | None
) -> str | None:
    """Why a leaf of so many mm proves nothing; None where it does."""
    units, count = settings.units, settings.gear.indicator.resolution
    words = length_words(leaf, units)
    if not THINNEST_MM <= leaf <= THICKEST_MM:
        low, high = (length_words(mm, units) for mm in (THINNEST_MM, THICKEST_MM))
        return f"a leaf from {low} to {high} proves it, not one of {words}"
    if indicator is None:
        return "no indicator is set up: find it first, by pressing its plunger"
    if count is not None and too_coarse(leaf, count):
        would_do = f"{length_words(10 * count, units)} would do"
        return f"a leaf of {words} is too thin for this indicator: {would_do}"
    return None


def allowed(count: float) -> float:
    """mm by which the change may differ from the leaf."""
    return ALLOWED_COUNTS * count + LEAF_SLACK_MM


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
    unmoved = abs(change) < max(FEWEST_COUNTS * count, LEAF_SLACK_MM)
    return Proof("nothing" if unmoved else "other")


def leaf_remark(proof: Proof, change: float, leaf: float) -> StatusMessage:
    """The message of what the proof showed."""
    factor = proof.factor
    code = REMARKS[proof.outcome]
    if proof.outcome == "decimals" and factor > 1:
        code = "leaf-decimals-more"
    if proof.outcome == "other" and change < 0:
        code = "leaf-other-out"
    return status(code, seen=abs(change), leaf=leaf, factor=factor, part=1 / factor)


def too_coarse(leaf: float, count: float) -> bool:
    return leaf < LEAST_LEAF_COUNTS * count - 1e-9


def _like(change: float, wanted: float, count: float) -> bool:
    """A change that is some counts at the least, and near to what is wanted."""
    return wanted >= FEWEST_COUNTS * count and abs(change - wanted) <= max(
        FACTOR_TOLERANCE * wanted, min(1.5 * count, 0.3 * wanted)
    )
