"""The panel: pedal, lamp and buzzer on the pins.

Nothing here is ever the only signal, and nothing here is fatal: without pins the panel
is off and says why.

The starting process sets LG_WD to a writable folder first: the library beneath opens a
pipe in the current folder when it is imported, and with LG_WD it moves the whole
process there, so that no relative path works afterwards. It claims its lines when it is
first used and a forked child cannot: use threads or spawn.
"""

from __future__ import annotations

import importlib
import logging
import os
from collections.abc import Callable
from typing import Any, Literal, NamedTuple, Protocol

STABLE_S = 0.02  # a contact that has not changed for so long has stopped bouncing
LONG_S = 1.0  # held so long, the pedal means something else
LOW_HZ, HIGH_HZ = 400.0, 1200.0

_log = logging.getLogger(__name__)


class Handle(Protocol):
    def cancel(self) -> object: ...


class Loop(Protocol):
    """What is needed of an event loop; asyncio's has it, a test's is moved by hand."""

    def call_later(self, delay: float, callback: Callable[[], object], /) -> Handle: ...

    def call_soon_threadsafe(self, callback: Callable[[], object], /) -> object: ...


class Beat(NamedTuple):
    """A stretch of a pattern: seconds, lamp lit, pitch in Hz or None for silence."""

    seconds: float
    lamp: bool
    pitch: float | None = None


class Pattern(NamedTuple):
    """A pattern that lasts is shown until the next such one; the others are played once
    on top of it."""

    beats: tuple[Beat, ...]
    lasts: bool = False


# Low and high differ in rhythm too, as a buzzer with a tone of its own has no pitch to
# give.
PATTERNS: dict[str, Pattern] = {
    "idle": Pattern((Beat(1.0, False),), lasts=True),
    "wants-you": Pattern((Beat(0.5, True), Beat(0.5, False)), lasts=True),
    "ready": Pattern((Beat(1.0, True),), lasts=True),
    "trouble": Pattern((Beat(0.1, True), Beat(0.1, False)), lasts=True),
    "kept": Pattern(
        (Beat(0.08, False, HIGH_HZ), Beat(0.08, True), Beat(0.08, False, HIGH_HZ))
    ),
    "refused": Pattern((Beat(0.6, False, LOW_HZ), Beat(0.1, True), Beat(0.1, False))),
    "low": Pattern((Beat(0.25, False, LOW_HZ),)),
    "high": Pattern(
        (Beat(0.06, True, HIGH_HZ), Beat(0.06, True), Beat(0.06, True, HIGH_HZ))
    ),
}


class Pedal:
    """One action a press from a contact that bounces: released within a second, or held
    for one.

    A short press is told when the pedal is let go, as only then it is known not to be a
    long one; a long one is told while it is held. level() is the contact itself, which
    is asked before anything is done.
    """

    def __init__(
        self,
        level: Callable[[], bool],
        loop: Loop,
        on_press: Callable[[], object],
        on_long: Callable[[], object],
    ) -> None:
        self._level, self._loop = level, loop
        self._on_press, self._on_long = on_press, on_long
        self._down = level()
        self._spent = self._down  # held since before we looked: its release is no press
        self._settling: Handle | None = None
        self._holding: Handle | None = None

    def changed(self) -> None:
        """The contact moved; on the loop. Counts once it has been quiet for a while."""
        if self._settling is not None:
            self._settling.cancel()
        self._settling = self._loop.call_later(STABLE_S, self._settled)

    def stop(self) -> None:
        for handle in (self._settling, self._holding):
            if handle is not None:
                handle.cancel()
        self._settling = self._holding = None

    def _settled(self) -> None:
        self._settling = None
        down = self._level()
        if down == self._down:
            return
        self._down = down
        if down:
            self._spent = False
            self._holding = self._loop.call_later(LONG_S - STABLE_S, self._held)
            return
        if self._holding is not None:
            self._holding.cancel()
            self._holding = None
        if not self._spent:
            self._spent = True
            self._on_press()

    def _held(self) -> None:
        self._holding = None
        if not self._level():
            # let go without our knowing, or open for a moment: that decides
            self.changed()
            self._holding = self._loop.call_later(2 * STABLE_S, self._held)
            return
        self._spent = True
        self._on_long()


class Panel:
    """The wired parts, opened by `start`. state and words say which of them work;
    neither is ever raised."""

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
        self._loop: Loop | None = None
        self._lasting, self._playing = "idle", "idle"
        self._beat = 0
        self._next: Handle | None = None
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
        said = [f"panel {self.state}: {', '.join(self._devices) or 'nothing'} working"]
        said += [
            f"{part} on pin {self._pins[part]} does not: {why}"
            for part, why in self.faults.items()
        ]
        return "; ".join(said)

    def start(self, loop: Loop) -> None:
        """Open what is wired; actions come on the loop, whatever thread the library
        calls from."""
        self._loop = loop
        wired = {part: pin for part, pin in self._pins.items() if pin is not None}
        if not wired:
            return
        try:
            self._factory = self._make_factory()
        # the library, the kernel and the board each fail in their own classes
        except Exception as error:
            self.faults = dict.fromkeys(wired, _why(error))
            _log.warning("%s", self.words)
            return
        for part, pin in wired.items():
            try:
                self._devices[part] = _OPEN[part](pin, self._factory)
            except Exception as error:
                self.faults[part] = _why(error)
        if (contact := self._devices.get("pedal")) is not None:
            pedal = Pedal(
                lambda: bool(contact.is_active), loop, self._on_press, self._on_long
            )

            def moved() -> None:
                loop.call_soon_threadsafe(pedal.changed)

            contact.when_activated = contact.when_deactivated = moved
            self._pedal = pedal
        if self.faults:
            _log.warning("%s", self.words)
        self.show(self._lasting)

    def stop(self) -> None:
        """Dark and silent, pins let go; safe to call twice."""
        if self._next is not None:
            self._next.cancel()
            self._next = None
        if self._pedal is not None:
            self._pedal.stop()
            self._pedal = None
        self._set(Beat(0.0, False))
        devices, self._devices = self._devices, {}
        for part, device in devices.items():
            try:
                device.close()
            except Exception as error:
                _log.warning("closing the %s: %s", part, _why(error))
        if self._factory is not None:
            self._factory.close()
            self._factory = None

    def show(self, name: str) -> None:
        """Show a pattern: until the next lasting one, or once on top of it. KeyError
        for an unknown name."""
        pattern = PATTERNS[name]
        if pattern.lasts:
            if name == self._lasting == self._playing and self._next is not None:
                return  # it is being shown: do not stumble
            self._lasting = name
            if not PATTERNS[self._playing].lasts and self._next is not None:
                return  # let what is being played end first
        self._playing, self._beat = name, 0
        if self._devices.keys() & {"lamp", "buzzer"}:
            self._step()

    def _step(self) -> None:
        """Set this beat and come back for the next; a steady pattern is set once."""
        if self._next is not None:
            self._next.cancel()
            self._next = None
        beats = PATTERNS[self._playing].beats
        if self._beat >= len(beats):
            self._beat = 0
            if not PATTERNS[self._playing].lasts:
                self._playing = self._lasting
                beats = PATTERNS[self._playing].beats
        self._set(beats[self._beat])
        if PATTERNS[self._playing].lasts and len(beats) == 1:
            return
        assert self._loop is not None
        self._next = self._loop.call_later(beats[self._beat].seconds, self._step)
        self._beat += 1

    def _set(self, beat: Beat) -> None:
        for part, value in (("lamp", beat.lamp), ("buzzer", beat.pitch)):
            device = self._devices.get(part)
            if device is None:
                continue
            try:
                if part == "lamp":
                    device.value = int(beat.lamp)
                else:
                    _sound(device, beat.pitch)
            except Exception as error:
                self._devices.pop(part)
                self.faults[part] = _why(error)
                _log.warning("%s (setting %s)", self.words, value)


def _lgpio_factory() -> Any:
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

    return LGPIOFactory()


def _open_pedal(pin: int, factory: Any) -> Any:
    from gpiozero import DigitalInputDevice

    # No bounce_time: with it presses and releases have gone missing. The contact closes
    # to ground.
    return DigitalInputDevice(pin, pull_up=True, bounce_time=None, pin_factory=factory)


def _open_lamp(pin: int, factory: Any) -> Any:
    from gpiozero import DigitalOutputDevice

    return DigitalOutputDevice(pin, initial_value=False, pin_factory=factory)


def _open_buzzer(pin: int, factory: Any) -> Any:
    from gpiozero import DigitalOutputDevice, PinPWMUnsupported, PWMOutputDevice

    try:
        return PWMOutputDevice(
            pin, initial_value=0, frequency=int(HIGH_HZ), pin_factory=factory
        )
    except PinPWMUnsupported:
        return DigitalOutputDevice(pin, initial_value=False, pin_factory=factory)


def _sound(device: Any, pitch: float | None) -> None:
    if hasattr(device, "frequency"):
        if pitch is not None:
            device.frequency = int(pitch)
        device.value = 0.0 if pitch is None else 0.5
    else:
        device.value = int(pitch is not None)


_OPEN: dict[str, Callable[[int, Any], Any]] = {
    "pedal": _open_pedal,
    "lamp": _open_lamp,
    "buzzer": _open_buzzer,
}


def _why(error: Exception) -> str:
    if isinstance(error, PermissionError):
        return (
            "this user may not use the pins: add it to the group gpio and log in again"
        )
    if isinstance(error, FileNotFoundError) or "can not open gpiochip" in str(error):
        missing = not os.path.exists("/dev/gpiochip0")
        return (
            "this machine has no such pins"
            if missing
            else "the pins cannot be opened: is the group gpio missing?"
        )
    return f"{type(error).__name__}: {error}"
