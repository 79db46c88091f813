"""The mock pins of gpiozero in place of the kernel's lines."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable, Mapping
from functools import partial

from gpiozero.pins.mock import MockFactory

from hw.ports.pin_lines import Edge, LineEvent, MakeGpioLines


def mock_lines(factory: MockFactory) -> MakeGpioLines:
    """What makes the lines of that factory's pins, for a port or a daemon."""
    return partial(MockLines, factory)


class MockLines:
    """See hw.ports.pin_lines.GpioLines; what it misses shows as frames of a wrong length."""

    def __init__(self, factory: MockFactory, inputs: Mapping[str, int], request: int | None) -> None:
        self._edges: deque[Edge] = deque()
        self._wake: Callable[[], None] = lambda: None
        self._woken = False
        self._pins = {name: factory.pin(pin) for name, pin in inputs.items()}
        self._request = None if request is None else factory.pin(request)
        # the library holds its callbacks weakly
        self._callbacks: list[Callable[..., None]] = []
        self.pull(False)
        for pin in self._pins.values():
            pin.function = "input"
            # a pin with a resistor of its own refuses
            with contextlib.suppress(Exception):
                pin.pull = "floating"
            pin.edges = "both"
        self.levels = {name: bool(pin.state) for name, pin in self._pins.items()}

    def start(self, loop: asyncio.AbstractEventLoop, wake: Callable[[], None]) -> None:
        self._wake = wake
        for name, pin in self._pins.items():

            def changed(ticks: float, state: float, name: str = name) -> None:
                self._edges.append(Edge(round(ticks * 1e9), name, bool(state)))
                if not self._woken:
                    self._woken = True
                    with contextlib.suppress(RuntimeError):  # the loop is closed
                        loop.call_soon_threadsafe(self._called)

            self._callbacks.append(changed)
            pin.when_changed = changed

    def _called(self) -> None:
        self._woken = False
        self._wake()

    def drain(self) -> list[LineEvent]:
        out = [self._edges.popleft() for _ in range(len(self._edges))]
        # Each pin has a queue of its own: time orders them, and data changes before its
        # clock does.
        out.sort(key=lambda edge: (edge.at, edge.line == "clock"))
        return list(out)

    def waiting(self) -> bool:
        return bool(self._edges)

    def pull(self, low: bool) -> None:
        if self._request is None:
            return
        if low:
            self._request.output_with_state(0)  # never first an output and then low
        else:
            self._request.function = "input"

    def close(self) -> None:
        for pin in self._pins.values():
            pin.when_changed = None
            pin.close()
        if self._request is not None:
            self._request.close()
        self._callbacks.clear()
