"""The pins: whether pedal, lamp, buzzer and clocked instruments can be read.

A process of its own tries the library lgpio: its import opens a pipe, claims lines and
moves the whole process to another folder.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from bench.doctor.diagnostic import Diagnostic, fault, good, note
from bench.doctor.direct_port import wired_ports
from bench.doctor.machine import run_python
from bench.settings.settings_file import Settings

_LIBRARY_TEST = "import lgpio; print(hasattr(lgpio, 'gpiochip_open'))"


def wired_pins(settings: Settings) -> dict[str, int]:
    """BCM numbers of the pins that the settings wire, by what is on them."""
    pins: dict[str, int] = {}
    if settings.panel is not None:
        for name in ("pedal", "lamp", "buzzer"):
            if (pin := getattr(settings.panel, name)) is not None:
                pins[name] = pin
    for role, port in wired_ports(settings).items():
        pins |= {f"{role} {name}": pin for name, pin in port.pins.items()}
    return pins


def diagnose_pins(
    settings: Settings, dev: Path = Path("/dev"), *, ours: bool = True
) -> Iterator[Diagnostic]:
    """ours: this login is to open them, and not a daemon that runs."""
    wired = wired_pins(settings)
    if not wired:
        return
    names = ", ".join(f"{name} on {pin}" for name, pin in wired.items())
    chips = sorted(dev.glob("gpiochip*"))
    if not chips:
        yield fault(
            "pins",
            f"this machine has no pins, and the settings wire {names}",
            "take [panel] and the pins out of the settings on this machine; the rest"
            " works without",
        )
        return
    if ours and not any(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        yield fault(
            "pins",
            f"{chips[0]} may not be opened, and the settings wire {names}",
            "sudo adduser $USER gpio, then log out and in again",
        )
    elif ours and settings.panel is None:
        yield good("pins", f"{names}: {chips[0]} may be opened")
    if settings.panel is not None:
        yield _library(names)
    if any(name.endswith(("data", "clock")) for name in wired):
        yield note(
            "pins",
            "3.3 V and no more on any pin; most such gauges speak 1.5 V and need a"
            " shifter",
        )


def _library(names: str) -> Diagnostic:
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "LG_WD": folder}
        started, words = run_python(_LIBRARY_TEST, cwd=folder, env=environment)
    advice = (
        "sudo apt install python3-lgpio, in an environment made with"
        " --system-site-packages"
    )
    if not started:
        words = f"{names}: the library lgpio does not start: {words}"
        return fault("pins", words, advice)
    if words != "True":
        return fault("pins", f"{names}: the lgpio installed is an empty one", advice)
    return good("pins", f"{names}: lgpio is there")
