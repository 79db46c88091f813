"""The pins: whether pedal, lamp, buzzer and clocked instruments can be read.

A process of its own tries the library lgpio: its import opens a pipe, claims lines and
moves the whole process to another folder.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from bench.doctor.diagnostic import Diagnostic, diagnosis
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
    for role, port in settings.wired.items():
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
        yield diagnosis("pins", "no-pins", names=names)
        return
    if ours and not any(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        yield diagnosis("pins", "pins-denied", chip=chips[0], names=names)
    elif ours and settings.panel is None:
        yield diagnosis("pins", "pins-good", names=names, chip=chips[0])
    if settings.panel is not None:
        yield _library(names)
    if any(name.endswith(("data", "clock")) for name in wired):
        yield diagnosis("pins", "pins-voltage")


def _library(names: str) -> Diagnostic:
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "LG_WD": folder}
        started, words = run_python(_LIBRARY_TEST, cwd=folder, env=environment)
    if not started:
        return diagnosis("pins", "lgpio-broken", names=names, words=words)
    if words != "True":
        return diagnosis("pins", "lgpio-empty", names=names)
    return diagnosis("pins", "lgpio-good", names=names)
