"""Settings read back in words: what `doctor` and `status` say was understood."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.units import length_words, nominal_words, slope_words
from hw.formats import FORMATS

if TYPE_CHECKING:
    from bench.gear import Jig
    from bench.settings.settings_file import PortSettings, Settings


def settings_lines(settings: Settings) -> list[str]:
    """The settings as understood, a sentence or line each: the wiring, the gear, then
    each figure as written."""
    one, other, gear = settings.indicator, settings.travel, settings.gear
    shown = "millimetres" if settings.units == "mm" else "inches and thousandths"
    out, toward = gear.indicator.grows == "pulled-out", gear.travel.grows == "toward"
    lines = [
        f"Settings: {settings.settings_file or 'no file, the defaults hold'}.",
        f"Lengths are shown in {shown}.",
        _port_words("Indicator", one, "not wired: recorded passes only"),
        _travel_words(settings),
        _port_words("Caliper", settings.caliper, "not wired: widths are typed"),
        "" if one is None or other is None else _shared_words(one, other),
        "The indicator's number grows as the plunger comes out." * out,
        "The travel's number grows as the sled comes toward you."
        * (toward and other is not None),
        _panel_words(settings),
        *_gear_words(settings),
    ]
    for item in settings.written:
        understood = item.understood(settings.units)
        lines.append(f'{item.key}: written "{item.text}", understood as {understood}.')
    return [line for line in lines if line]


def _panel_words(settings: Settings) -> str:
    if settings.panel is None:
        return ""
    pins = {name: getattr(settings.panel, name) for name in ("pedal", "lamp", "buzzer")}
    wired = [f"{name} on pin {pin}" for name, pin in pins.items() if pin is not None]
    return f"Panel: {', '.join(wired)}."


def _shared_words(one: PortSettings, other: PortSettings) -> str:
    """The sentence on a port that both share; empty where they do not."""
    if not one.port or one.port != other.port:
        return ""
    if _line_words(one) != _line_words(other):
        return (
            "Indicator and travel name the same port and set it up differently."
            f" One says {_line_words(one)}, the other {_line_words(other)}."
            " Only one of them can open it."
        )
    if _picks(one) == _picks(other):
        return (
            "Indicator and travel name the same port and the same number. So both"
            " read the same."
        )
    return "Indicator and travel come out of one port."


def _line_words(port: PortSettings) -> str:
    return f"{port.baud} baud {port.bits}{port.parity}{port.stop:g}"


def _picks(port: PortSettings) -> tuple[object, ...]:
    """The traits that tell which of a port's numbers is meant."""
    traits = FORMATS[port.format].traits_of(port.profile)
    counts = port.per_count is not None if traits.gauge_and_counts else None
    return port.profile, port.options.get("channel"), port.options.get("axis"), counts


def _port_words(name: str, port: PortSettings | None, absent: str) -> str:
    if port is None:
        return f"{name}: {absent}."
    speaks = port.format + (f", profile {port.profile}" if port.profile else "")
    if not port.port:
        where = "pins " + ", ".join(f"{key} {pin}" for key, pin in port.pins.items())
        return f"{name}: {where}; format {speaks}{_options_words(port)}."
    description = f"{name}: {port.port}; format {speaks}"
    if FORMATS[port.format].port.serial_line:
        description += f"; {_line_words(port)}"
    if port.asking == "request":
        description += f"; asked with {port.request!r}"
    elif port.asking == "button":
        description += "; sends at its own button"
    description += _options_words(port)
    if port.port.startswith("/dev/ttyUSB") or port.port.startswith("/dev/ttyACM"):
        description += (
            ". After a restart that name may be another cable's. Take the one under"
            " /dev/serial/by-id"
        )
    return description + "."


def _options_words(port: PortSettings) -> str:
    options = [
        f"{key} {str(value).lower() if isinstance(value, bool) else value}"
        for key, value in port.options.items()
        if key != "profile"
    ]
    return "; " + ", ".join(options) if options else ""


def _travel_words(settings: Settings) -> str:
    if settings.travel is not None:
        return _port_words("Travel", settings.travel, "")
    marks = settings.gear.travel.marks
    places = ", ".join(nominal_words(mark, settings.units) for mark in marks)
    return f"Travel: {len(marks)} marks, the sled is stopped at {places}."


def _gear_words(settings: Settings) -> list[str]:
    units, gear = settings.units, settings.gear

    def far(value: float | None) -> str:
        return "not given" if value is None else nominal_words(value, units)

    def reach(jig: Jig) -> float | None:
        return jig.pivot_to_screw if jig.pivot_to_stop is None else jig.pivot_to_stop

    saws = [
        f"Saw {saw.name}: rip fence on the {saw.rip_fence} of the blade. Slot and"
        f" blade are good enough within {slope_words(saw.parallel, units)}. The rip"
        f" fence may open at the rear by {slope_words(saw.toe, units)}."
        f" The plate may wobble by {length_words(saw.wobble, units)}."
        for saw in gear.saws.values()
    ]
    sleds = [
        f"Sled {jig.name}{f' on saw {jig.saw}' if jig.saw else ''}: {_fences(jig)}."
        f" From the pivot to the blade {far(jig.pivot_to_blade)}, to the screw"
        f" {far(jig.pivot_to_screw)}. To the stop {far(reach(jig))}"
        f"{f', screw pitch {far(jig.screw_pitch)}' if jig.screw_pitch else ''}."
        f" Widest board {far(jig.widest_board)}."
        f" Good enough within {slope_words(jig.tolerance, units)}."
        for jig in gear.jigs.values()
    ]
    squares = [
        f"Square {square.name}: arm {far(square.arm)}"
        f"{f', long edge {far(square.long_edge)}' if square.long_edge else ''}, true"
        f" within {far(square.tolerance)} over it."
        for square in gear.squares.values()
    ]
    leaves = ", ".join(length_words(leaf, units) for leaf in gear.leaves)
    return [*saws, *sleds, *squares, *([f"Leaves: {leaves}."] if leaves else [])]


def _fences(jig: Jig) -> str:
    if jig.mitre is None:
        return (
            f"sled fence at the {jig.fence} side. Its {jig.pivot} end is the pivot,"
            f" its {jig.moving_end} end moves"
        )
    point = "away from you" if jig.mitre == "point-away" else "toward you"
    stays = "inner" if jig.mitre_pivot == "point" else "outer"
    return (
        f"two fences at 45 degrees, at the {jig.fence} side. Their point is {point},"
        f" and the {stays} end of each stays"
    )
