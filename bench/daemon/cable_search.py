"""The search for the cable of one instrument: which number moves, and how.

The port whose number goes out and comes back is the plunger's; the one that goes far
and stays is the sled's. What is ambiguous is said and asked again. Reads the settings
file and writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal, NamedTuple

from bench.daemon.acquisition import Instrument
from bench.daemon.port_listener import PortListener, short_name
from bench.procedure.leaf_proof import Say
from bench.procedure.status_message import StatusMessage, status
from bench.settings import editor
from bench.settings.settings_file import SettingsError
from bench.stream.movement_detector import (
    LEAST_PRESS,
    PUSHED,
    Movement,
    MovementTracker,
    detect_press,
    detect_push,
    shown_count,
    tracker,
)

Role = Literal["indicator", "travel"]
Readable = Mapping[str, PortListener | Instrument]  # by port

IDLE_S = 20.0  # s without a movement until that is said
STAYED_S = 6.0  # s that a plunger rests pressed in before the port is doubted
MIDWAY_MM = 0.02  # mm that a number had gone whose port is lost in mid-movement
MOST_VALUES = 400  # different values kept of a cable, to tell its count from
ASKED_MOVEMENT = {"indicator": status("setup-press"), "travel": status("setup-push")}
MOVEMENT_OF = {"indicator": detect_press, "travel": detect_push}
# the code of what is told of a movement that is not taken for the instrument's
NOT_TAKEN = {
    "far": "setup-too-far",
    "little": "setup-too-little",
    "stays": "setup-stayed",
    "back": "setup-came-back",
}
# the code of what was found, by whether its number grows
FOUND = {
    ("indicator", True): "setup-indicator-grows",
    ("indicator", False): "setup-indicator-falls",
    ("travel", True): "setup-travel-grows",
    ("travel", False): "setup-travel-falls",
}
GROWS = {"indicator": ("pushed-in", "pulled-out"), "travel": ("away", "toward")}


class FoundCable(NamedTuple):
    """A cable that was found. port: of the instrument. values: for its section of the
    settings. was: the role that the port had until now. inches: they are what people
    see from now on."""

    port: str
    values: dict[str, editor.Value]
    was: Role | None
    inches: bool


class CableSearch:
    """Searches the cable of one instrument by the movement of its number. readable: the
    instruments that can be read at this moment. role_of: the role of a port until now,
    where that is another. say: as for `LeafProof`. found: waits for a press."""

    def __init__(
        self,
        what: Role,
        file: Path,
        readable: Callable[[], Readable],
        role_of: Callable[[str, str], Role | None],
        say: Say,
    ) -> None:
        self.what = what
        self.found: FoundCable | None = None
        self._file, self._readable, self._role_of = file, readable, role_of
        self._say = say
        self._trackers: dict[str, MovementTracker] = {}
        self._shown: dict[str, set[float]] = {}
        self._moved_at = 0.0

    def begin(self, now: float, *before: StatusMessage) -> None:
        for one in self._trackers.values():
            one.begin()
        self.found, self._moved_at = None, now
        self._say("asking", *before, ASKED_MOVEMENT[self.what])

    def readings(self, port: str, times: list[float], values: list[float]) -> None:
        """times: monotonic s; values: mm."""
        shown = self._shown.setdefault(port, set())
        if len(shown) < MOST_VALUES:
            shown.update(values)
        if port not in self._trackers:
            self._trackers[port] = tracker(self.what)
        self._trackers[port].take(times, values)

    def tick(self, now: float) -> None:
        here = self._readable()
        gone = {port: one for port, one in self._trackers.items() if port not in here}
        for port in gone:
            del self._trackers[port]
        if self.found is not None:
            if self.found.port in gone:
                name = {"name": short_name(self.found.port)}
                self.begin(now, status("setup-port-gone", **name))
            return
        for port, one in gone.items():
            if abs(one.far) > MIDWAY_MM:
                name = {"name": short_name(port)}
                self.begin(now, status("setup-port-gone-midway", **name))
                return
        self._judge(MOVEMENT_OF[self.what](self._trackers, now), here, now)

    def _judge(self, seen: Movement, here: Readable, now: float) -> None:
        if seen.outcome == "moving":
            self._moved_at = now
            return
        if seen.outcome == "nothing":
            if now - self._moved_at > IDLE_S:
                self.begin(now, _heard(here))
            return
        port, mm = seen.moved[0]
        if seen.outcome == "seen":
            self._seen(port, mm, here)
        elif seen.outcome == "little" and self.what == "travel":
            # what it has gone already counts
            self._say("asking", self._not_taken(seen), status("setup-push-on"))
        elif seen.outcome == "stays" and self._trackers[port].rested(now) <= STAYED_S:
            stays = status("setup-stays", name=short_name(port), far=abs(mm))
            self._say("asking", stays)
        else:
            self.begin(now, self._not_taken(seen))

    def _not_taken(self, seen: Movement) -> StatusMessage:
        """Why what moved is not taken for it."""
        moved = [(short_name(port), abs(mm)) for port, mm in seen.moved]
        if seen.outcome == "two":
            return status("setup-several-moved", moved=moved)
        values: dict[str, Any] = dict(zip(("name", "far"), moved[0], strict=True))
        if seen.outcome == "little":
            values["least"] = LEAST_PRESS if self.what == "indicator" else PUSHED
        return status(NOT_TAKEN[seen.outcome], **values)

    def _seen(self, port: str, mm: float, here: Readable) -> None:
        """mm: how it moved, in or away positive."""
        what, file, source = self.what, self._file, here.get(port)
        was = self._role_of(what, port)
        try:
            values = self._values(port, mm, source, was)
            changes = editor.changes(file, what, values)
            inches = what == "indicator" and source is not None
            inches = inches and source.unit == "inch"  # type: ignore[union-attr]
            inches = inches and not editor.has_key(file, None, "units")
        except SettingsError as error:
            self._say("failed", status("setup-nothing-kept", why=str(error)))
            return
        self.found = FoundCable(port, values, was, inches)
        remarks = [status(FOUND[what, mm > 0], name=short_name(port), far=abs(mm))]
        if inches:
            remarks.append(status("setup-inches"))
        if was is not None:
            remarks.append(status("setup-was-other", other=was))
        if changes:
            texts = "; ".join(change.text() for change in changes)
            remarks.append(status("setup-changes", file=file.name, changes=texts))
        grows = str(values["grows"])
        self._say("seen", *remarks, port=port, grows=grows, enter=True, value=abs(mm))

    def _values(
        self,
        port: str,
        mm: float,
        source: PortListener | Instrument | None,
        was: Role | None,
    ) -> dict[str, editor.Value]:
        """The values for the section of the settings, in the order in which they are
        read. Raises SettingsError for a file that is wrong."""
        values: dict[str, editor.Value] = {}
        if isinstance(source, PortListener) and source.proposal is not None:
            values = {"port": port, **source.proposal.settings}
        elif was is not None:
            values |= editor.cable_keys_of(self._file, was)
        if self.what == "indicator" and not editor.has_key(
            self._file, self.what, "resolution"
        ):
            unit = source.unit if source is not None else "mm"
            count = shown_count(self._shown[port], unit)
            if count is not None:
                figure = f"{count:.6f}".rstrip("0").rstrip(".")
                values["resolution"] = f"{figure} {'in' if unit == 'inch' else 'mm'}"
        return {**values, "grows": GROWS[self.what][mm <= 0]}


def _heard(here: Readable) -> StatusMessage:
    """The message that nothing moves, with the cables that send numbers."""
    ports = sorted(port for port, one in here.items() if one.last is not None)
    if not ports:
        return status("setup-nothing-heard")
    names = ", ".join(short_name(port) for port in ports)
    return status("setup-nothing-moved", names=names)
