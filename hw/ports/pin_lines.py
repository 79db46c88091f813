"""Edges of a few input pins, in order, with the kernel's time; and one request output.

`GpioLines` asks for all input pins in one request of the kernel (library gpiod, Linux
5.10 and later): the edges of different pins keep their order, and the kernel queues a
thousand of them. gpiozero and lgpio ask pin by pin, and the kernel then queues only 16
edges for each, which a busy Python misses unseen.
"""

from __future__ import annotations

import asyncio
import errno
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import gpiod


class Edge(NamedTuple):
    """at: monotonic ns. line: its name. level: after the edge."""

    at: int
    line: str
    level: bool


class MissedEdges(NamedTuple):
    """The kernel dropped edges before this time, monotonic ns."""

    at: int


LineEvent = Edge | MissedEdges
# pins by name, and the pin of the request line or None, both by BCM number
MakeGpioLines = Callable[[Mapping[str, int], int | None], "GpioLines"]


QUEUE = 1024  # edges; the kernel grants no more to one request (uapi linux/gpio.h)
# labels of the chips that carry the header's pins, by their beginning
CHIPS = ("pinctrl-bcm", "pinctrl-rp1")


def find_chip(
    dev: Path = Path("/dev"), label: Callable[[Path], str] | None = None
) -> Path:
    """The chip that carries the header: its number has changed between kernels, its
    label has not.

    Raises FileNotFoundError: there is none; PermissionError: none may be opened.
    """
    denied: OSError | None = None
    for path in sorted(dev.glob("gpiochip*")):
        try:
            if (label or _label)(path).startswith(CHIPS):
                return path
        except PermissionError as error:
            denied = error
    if denied is not None:
        raise denied
    raise FileNotFoundError(
        errno.ENOENT, "this machine has no pins", str(dev / "gpiochip*")
    )


def _label(path: Path) -> str:
    import gpiod

    with gpiod.Chip(str(path)) as chip:
        return chip.get_info().label


def _settings() -> tuple[gpiod.LineSettings, gpiod.LineSettings]:
    """How the inputs are asked for, and how the request line is."""
    import gpiod
    from gpiod.line import Bias, Direction, Drive, Value
    from gpiod.line import Edge as Detection

    # The chip's own resistors would pull at the gauge's 1.5 V lines.
    pins = gpiod.LineSettings(
        direction=Direction.INPUT, edge_detection=Detection.BOTH, bias=Bias.DISABLED
    )
    # A gauge pulls this line to its own 1.5 V: it must never be driven high.
    output = gpiod.LineSettings(
        direction=Direction.OUTPUT,
        drive=Drive.OPEN_DRAIN,
        bias=Bias.DISABLED,
        output_value=Value.ACTIVE,
    )
    return pins, output


class GpioLines:
    """Open pins. levels: of the inputs by name, when opened. Raises OSError when made:
    no pins, not allowed, or a pin is another program's; ImportError without gpiod."""

    def __init__(
        self,
        inputs: Mapping[str, int],
        request: int | None = None,
        chip: Path | None = None,
    ) -> None:
        import gpiod
        from gpiod.line import Value

        self._names = {pin: name for name, pin in inputs.items()}
        self._sequence: int | None = None  # the last event's, from the kernel
        self._loop: asyncio.AbstractEventLoop | None = None
        self._rising = gpiod.EdgeEvent.Type.RISING_EDGE
        self._levels = {True: Value.INACTIVE, False: Value.ACTIVE}  # by pulled low
        path = str(chip or find_chip())
        pins, output = _settings()
        self._request_pin = request
        self._output: gpiod.LineRequest | None = None
        self._inputs: gpiod.LineRequest | None = gpiod.request_lines(
            path, {tuple(inputs.values()): pins}, "sweepgauge", QUEUE
        )
        try:
            levels = self._inputs.get_values(list(inputs.values()))
            if request is not None:
                self._output = gpiod.request_lines(
                    path, {request: output}, "sweepgauge"
                )
        except BaseException:
            self.close()
            raise
        self.levels = {
            name: level is Value.ACTIVE
            for name, level in zip(inputs, levels, strict=True)
        }

    def start(self, loop: asyncio.AbstractEventLoop, wake: Callable[[], None]) -> None:
        """wake is called on the loop when there are events to drain."""
        assert self._inputs is not None
        self._loop = loop
        loop.add_reader(self._inputs.fd, wake)

    def drain(self) -> list[LineEvent]:
        """The events since the last call."""
        out: list[LineEvent] = []
        while self._inputs is not None and self._inputs.wait_edge_events(0):
            for event in self._inputs.read_edge_events():
                number, at = event.global_seqno, event.timestamp_ns
                # the kernel counts the edges that it dropped too, in 32 bits
                if self._sequence not in (None, (number - 1) & 0xFFFFFFFF):
                    out.append(MissedEdges(at))
                self._sequence = number
                rising = event.event_type is self._rising
                out.append(Edge(at, self._names[event.line_offset], rising))
        return out

    def waiting(self) -> bool:
        """Whether edges wait to be drained."""
        return self._inputs is not None and self._inputs.wait_edge_events(0)

    def pull(self, low: bool) -> None:
        """Pull the request line low, or release it; nothing where there is none."""
        if self._output is not None and self._request_pin is not None:
            self._output.set_value(self._request_pin, self._levels[low])

    def close(self) -> None:
        if self._inputs is not None:
            if self._loop is not None:
                self._loop.remove_reader(self._inputs.fd)
            self._inputs.release()
        if self._output is not None:
            self._output.release()
        self._inputs = self._output = None
