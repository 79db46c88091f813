"""The panel: pedal, lamp and buzzer on the pins.

Nothing here is ever the only signal, and nothing here is fatal: without pins the panel
is off and says why.

The starting process sets LG_WD to a writable folder first: the library beneath opens a
pipe in the current folder when it is imported, and with LG_WD it moves the whole
process there, so that no relative path works afterwards. It claims its lines when it is
first used and a forked child cannot: use threads or spawn.
"""

from __future__ import annotations

import contextlib
import importlib
import logging
from asyncio import AbstractEventLoop
from collections.abc import Callable
from functools import partial
from typing import Any, Literal, NamedTuple

from hw.pedal import Pedal
from hw.ports.pin_lines import find_chip
from hw.timer import Timer

LOW_HZ, HIGH_HZ = 400.0, 1200.0  # pitches of the tones; chosen, no source

_log = logging.getLogger(__name__)


class Pulse(NamedTuple):
    """A stretch of a pattern: seconds, lamp lit, pitch in Hz or None for silence."""

    seconds: float
    lamp: bool
    pitch: float | None = None


class Pattern(NamedTuple):
    """lasts: shown until the next pattern that lasts; the others are played once on
    top of it."""

    pulses: tuple[Pulse, ...]
    lasts: bool = False


# Tones differ in rhythm too, as some buzzers have one pitch only: one stroke is ready,
# two are accepted, four are there; one long is refused, two long are too far.
PATTERNS: dict[str, Pattern] = {
    "idle": Pattern((Pulse(1.0, False),), lasts=True),
    # something should be checked again, some day soon: a short light, seldom
    "due": Pattern((Pulse(0.5, True), Pulse(3.5, False)), lasts=True),
    "wants-you": Pattern((Pulse(0.5, True), Pulse(0.5, False)), lasts=True),
    "ready": Pattern((Pulse(1.0, True),), lasts=True),
    "trouble": Pattern((Pulse(0.1, True), Pulse(0.1, False)), lasts=True),
    "ready-tone": Pattern((Pulse(0.12, True, HIGH_HZ),)),
    "accepted": Pattern(
        (Pulse(0.08, False, HIGH_HZ), Pulse(0.08, True), Pulse(0.08, False, HIGH_HZ))
    ),
    "refused": Pattern(
        (Pulse(0.6, False, LOW_HZ), Pulse(0.1, True), Pulse(0.1, False))
    ),
    "there": Pattern((Pulse(0.06, True, HIGH_HZ), Pulse(0.06, False)) * 4),
    "too-far": Pattern((Pulse(0.3, False, LOW_HZ), Pulse(0.2, True)) * 2),
    "nudge": Pattern((Pulse(0.05, True, HIGH_HZ),)),
    "low": Pattern((Pulse(0.25, False, LOW_HZ),)),
    "high": Pattern(
        (Pulse(0.06, True, HIGH_HZ), Pulse(0.06, True), Pulse(0.06, True, HIGH_HZ))
    ),
}


class Panel:
    """The wired parts, opened by `start`. state and words say which of them work; no
    method raises."""

    def __init__(
        self,
        *,
        pedal: int | None = None,
        lamp: int | None = None,
        buzzer: int | None = None,
        on_press: Callable[[], object],
        on_long: Callable[[], object],
        make_factory: Callable[[], Any] | None = None,
    ) -> None:
        """Pins by BCM number, None where not wired. make_factory: gpiozero's pin
        factory, by default lgpio's."""
        self._pins = {"pedal": pedal, "lamp": lamp, "buzzer": buzzer}
        self._on_press, self._on_long = on_press, on_long
        self._make_factory = make_factory or _lgpio_factory
        self._factory: Any = None
        self._devices: dict[str, Any] = {}
        self._pedal: Pedal | None = None
        self._lasting, self._playing = "idle", "idle"
        self._pulse_index = 0
        self._next = Timer()
        self.faults: dict[str, str] = {}  # by part: why it does not work

    @property
    def state(self) -> Literal["off", "partly", "on"]:
        if not self._devices:
            return "off"
        return "partly" if self.faults else "on"

    @property
    def words(self) -> str:
        wired = [part for part, pin in self._pins.items() if pin is not None]
        if not wired:
            return "panel off: no pedal, lamp or buzzer is set up"
        if not self._devices and not self.faults:
            return "panel off: not started"
        works = f"panel {self.state}: {', '.join(self._devices) or 'nothing'} working"
        faults = [
            f"{part} on pin {self._pins[part]} does not: {why}"
            for part, why in self.faults.items()
        ]
        return "; ".join([works, *faults])

    def start(self, loop: AbstractEventLoop) -> None:
        """Open what is wired; actions come on the loop, though the library calls from a
        thread of its own."""
        self._next = Timer(loop)
        wired = {part: pin for part, pin in self._pins.items() if pin is not None}
        if not wired:
            return
        try:
            self._factory = self._make_factory()
        # the library, the kernel and the board each fail in their own classes
        except Exception as error:
            self.faults = dict.fromkeys(wired, _reason(error))
            _log.warning("%s", self.words)
            return
        for part, pin in wired.items():
            try:
                self._devices[part] = _open(part, pin, self._factory)
            except Exception as error:
                self.faults[part] = _reason(error)
        if (contact := self._devices.get("pedal")) is not None:
            self._pedal = Pedal(
                lambda: bool(contact.is_active), loop, self._on_press, self._on_long
            )
            changed = partial(loop.call_soon_threadsafe, self._pedal.changed)
            contact.when_activated = contact.when_deactivated = changed
        if self.faults:
            _log.warning("%s", self.words)
        self.show(self._lasting)

    def stop(self) -> None:
        """Dark and silent, pins released; safe to call twice."""
        self._next.stop()
        if self._pedal is not None:
            self._pedal.stop()
            self._pedal = None
        self._set(Pulse(0.0, False))
        devices, self._devices = self._devices, {}
        for part, device in devices.items():
            try:
                device.close()
            except Exception as error:
                _log.warning("closing the %s: %s", part, _reason(error))
        if self._factory is not None:
            self._factory.close()
            self._factory = None

    def show(self, name: str) -> None:
        """Show a pattern: until the next lasting one, or once on top of it. KeyError
        for an unknown name."""
        pattern = PATTERNS[name]
        if pattern.lasts:
            if name == self._lasting == self._playing and self._next.running:
                return  # it is shown already
            self._lasting = name
            if not PATTERNS[self._playing].lasts and self._next.running:
                return  # the pattern that plays ends first
        self._playing, self._pulse_index = name, 0
        if self._devices.keys() & {"lamp", "buzzer"}:
            self._step()

    def _step(self) -> None:
        """Set this beat and come back for the next; a steady pattern is set once."""
        self._next.stop()
        pulses = PATTERNS[self._playing].pulses
        if self._pulse_index >= len(pulses):
            self._pulse_index = 0
            if not PATTERNS[self._playing].lasts:
                self._playing = self._lasting
                pulses = PATTERNS[self._playing].pulses
        self._set(pulses[self._pulse_index])
        if PATTERNS[self._playing].lasts and len(pulses) == 1:
            return
        self._next.start(pulses[self._pulse_index].seconds, self._step)
        self._pulse_index += 1

    def _set(self, pulse: Pulse) -> None:
        for part, value in (("lamp", pulse.lamp), ("buzzer", pulse.pitch)):
            if (device := self._devices.get(part)) is None:
                continue
            try:
                _set_output(device, value)
            except Exception as error:
                self._devices.pop(part)
                self.faults[part] = _reason(error)
                _log.warning("%s (setting %s)", self.words, value)


def _lgpio_factory() -> Any:
    """gpiozero's own choice would fall back to other libraries; and where lgpio has no
    wheel, pip installs an empty module of that name."""
    try:
        lgpio = importlib.import_module("lgpio")  # by name: it is not there off the Pi
    except ImportError as error:
        raise OSError(
            "the lgpio library is not installed (from the OS: python3-lgpio)"
        ) from error
    if not hasattr(lgpio, "gpiochip_open"):
        raise OSError(
            "the lgpio installed is an empty one: take python3-lgpio from the OS, or"
            " lgpio 0.2.2 or newer"
        )
    from gpiozero.pins.lgpio import LGPIOFactory

    # The library itself goes by number, which is another chip's on some boards.
    return LGPIOFactory(chip=int(find_chip().name.removeprefix("gpiochip")))


def _open(part: str, pin: int, factory: Any) -> Any:
    import gpiozero

    if part == "pedal":  # the contact closes to ground
        return gpiozero.DigitalInputDevice(
            pin, pull_up=True, bounce_time=None, pin_factory=factory
        )
    if part == "buzzer":
        with contextlib.suppress(gpiozero.PinPWMUnsupported):
            return gpiozero.PWMOutputDevice(
                pin, initial_value=0, frequency=int(HIGH_HZ), pin_factory=factory
            )
    return gpiozero.DigitalOutputDevice(pin, initial_value=False, pin_factory=factory)


def _set_output(device: Any, value: float | None) -> None:
    """Light it, or sound it at that pitch where it has one."""
    if not hasattr(device, "frequency"):
        device.value = int(bool(value))
        return
    if value:
        device.frequency = int(value)
    device.value = 0.5 if value else 0.0


def _reason(error: Exception) -> str:
    if isinstance(error, PermissionError):
        return (
            "this user may not use the pins: add it to the group gpio and log in again"
        )
    if isinstance(error, FileNotFoundError):
        return "this machine has no such pins"
    return f"{type(error).__name__}: {error}"
