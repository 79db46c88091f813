"""Tones: what is told of a check or a live move as a rhythm, for ears alone.

Five tones differ in rhythm, not in pitch alone; a sixth repeats while a move is made,
the faster the less is to go. The panel's buzzer plays them, and clients without one
ring the same rhythm on a terminal's bell. Never the only signal. Pure; mm and s.

Marks may be taken by a beat: on the low tone the sled is moved, on the high tone it
stands still and is read.
"""

from __future__ import annotations

import msgspec

from bench.daemon.panel import PATTERN_OF
from bench.procedure.prompt import Prompt
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import (
    FindingNotice,
    LiveMoveNotice,
    MarkNotice,
    NoFinding,
    Notice,
    PassNotice,
    PromptChanged,
    SetupNotice,
    Tone,
    ToneName,
)
from hw.panel import PATTERNS

# s between two nudges, at the aim and FAR from it or farther
QUICKEST_NUDGE_S, SLOWEST_NUDGE_S = 0.15, 1.2
FARTHEST_MM = 0.3  # mm
REPEAT_TOO_FAR_S = 1.5  # s after which a move that went too far is told again
LONG_STROKE_S = 0.3  # s: a stroke so long is rung as several, as a bell has no length
BELL_INTERVAL_S = 0.1  # s between them
BEATS = {"beat-move": "low", "beat-stand-still": "high"}  # the buzzer's pitch
READ_S = 0.8  # s from the high tone to the next low one
PASS_TONES: dict[str, ToneName] = {
    "kept": "accepted",
    **dict.fromkeys(("measured", "refused", "undone"), "refused"),
}
# the subjects of notices that are heard as well as shown
HEARD_SUBJECTS = ("tap", "lean", "sweep", "doubt")
SETUP_TONES: dict[str, ToneName] = {
    **dict.fromkeys(("seen", "kept"), "accepted"),
    "failed": "refused",
}


def strokes(name: str) -> list[float]:
    """s from the start of a tone at which a bell is rung for it."""
    at, rung = 0.0, []
    for pulse in PATTERNS[PATTERN_OF.get(name, name)].pulses:
        if pulse.pitch is not None:
            is_long = pulse.seconds >= LONG_STROKE_S
            rings = round(pulse.seconds / BELL_INTERVAL_S) if is_long else 1
            rung += [round(at + BELL_INTERVAL_S * n, 3) for n in range(rings)]
        at += pulse.seconds
    return rung


def nudge_interval(to_go: float) -> float:
    """s between two nudges where so many mm are still to go."""
    share = min(abs(to_go) / FARTHEST_MM, 1.0)
    return QUICKEST_NUDGE_S + (SLOWEST_NUDGE_S - QUICKEST_NUDGE_S) * share


class Tones:
    """Turns the messages to clients, in their order, into the tones that go with
    them."""

    def __init__(self) -> None:
        self._ready = False
        self._lean: str | None = None
        self._live: LiveMoveNotice | None = None
        self._next = 0.0  # when the live move is heard again, s
        self._told: ToneName | None = None  # of the live move

    def tone_of(self, message: msgspec.Struct) -> Tone | None:
        name = self._name(message)
        return tone(name) if name is not None else None

    def _name(self, message: msgspec.Struct) -> ToneName | None:
        if isinstance(message, PromptChanged):
            return self._of_prompt(message)
        if isinstance(message, PassNotice):
            return PASS_TONES.get(message.state)
        if isinstance(message, MarkNotice):
            return "accepted" if message.recorded else "refused"
        if isinstance(message, Notice) and message.about in HEARD_SUBJECTS:
            return "refused" if message.severity == "warning" else "accepted"
        if isinstance(message, SetupNotice):
            return SETUP_TONES.get(message.phase)
        if isinstance(message, LiveMoveNotice):
            self._live = message if message.on and message.phase == "go" else None
            self._told = self._told if self._live is not None else None
        if isinstance(message, FindingNotice):
            self._ready = False
            return "accepted"
        return "refused" if isinstance(message, NoFinding) else None

    def _of_prompt(self, message: PromptChanged) -> ToneName | None:
        ask = message.ask
        lean, self._lean = self._lean, ask.lean if ask is not None else None
        swept = ask is not None and ask.phase == "sweep"
        was, self._ready = self._ready, swept and ask is not None and ask.ready
        if self._ready and not was:
            return "ready"
        return "accepted" if (lean, self._lean) == ("left", "right") else None

    def tick(self, now: float) -> Tone | None:
        """The live move as it is heard at this moment, s."""
        live = self._live
        if live is None or live.to_go is None:
            return None
        name: ToneName = (
            "there" if live.there else "too-far" if live.past or live.wrong else "nudge"
        )
        same, self._told = name == self._told, name
        if same and (name == "there" or now < self._next):
            return None
        nudges = name == "nudge"
        self._next = now + (nudge_interval(live.to_go) if nudges else REPEAT_TOO_FAR_S)
        return tone(name)


def tone(name: ToneName) -> Tone:
    return Tone(name, strokes(name))


class MarkBeat:
    """Beats the time by which marks are taken. period: s from a mark that is read to
    the next."""

    def __init__(self, period: float, now: float) -> None:
        self._period = period
        self._turn = now + period  # monotonic s of the next tone
        self._still = False  # the next tone is the high one

    def tick(self, ask: Prompt, now: float) -> StatusMessage | None:
        """The message of a beat that is due, told as one of BEATS; on "beat-stand-
        still" the mark is taken."""
        if now < self._turn or ask.phase != "mark" or ask.waiting:
            return None
        still, self._still = self._still, not self._still
        self._turn = now + (READ_S if still else self._period)
        if still:
            return status("beat-stand-still")
        return status("beat-move", at=ask.at)
