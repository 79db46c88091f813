"""Ports: serial bytes, polled registers, typed keys and pins behind one interface."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from hw.formats import FORMATS, read_options
from hw.ports.reconnecting_port import OnBlock, OnState, ReconnectingPort

if TYPE_CHECKING:
    from hw.port_names import PortOptions
    from hw.ports.pin_lines import MakeGpioLines


def own_port(
    name: str,
    options: Mapping[str, object],
    line: PortOptions,
    on_block: OnBlock,
    on_state: OnState,
    *,
    pins: Mapping[str, int],
    rate: float | None,
    make_lines: MakeGpioLines | None = None,
) -> ReconnectingPort | None:
    """What one instrument of format `name` has for itself; None for a serial line,
    which several may share.

    Raises ValueError (FormatError) where these do not agree.
    """
    known = FORMATS[name]
    if pins:
        from hw.ports.clocked_pins import ClockedPins, pin_options

        wiring = pin_options(name, options, pins, rate)
        return ClockedPins(wiring, on_block, on_state, make_lines)
    values: dict[str, Any] = read_options(name, options)
    if known.query is not None:
        from hw.ports.registers import RegisterPort

        return RegisterPort(line, known.query, values, on_block, on_state, rate)
    if known.port.name == "keys":
        from hw.ports.typed_keys import TypedKeys

        ends = {key: values[key] for key in ("terminator", "timeout") if key in values}
        return TypedKeys(line.port, on_block, on_state, **ends)
    return None
