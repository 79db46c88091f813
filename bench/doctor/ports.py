"""The cables that are plugged in, who holds them, and what else uses the ports."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.settings.settings_file import PortSettings
from hw.discovery.holders import holders_of
from hw.discovery.serial_cables import SerialCable
from hw.formats import FORMATS
from hw.formats.shared.wire_format import KEYBOARD

UNSTABLE = re.compile(r"/dev/(?:ttyUSB|ttyACM)\d+")


def diagnose_cables(
    cables: Sequence[SerialCable], wired: Sequence[tuple[str, PortSettings]]
) -> Iterator[Diagnostic]:
    """What is plugged in, who holds it, and names in the settings that will change."""
    devices = {name: port.port for name, port in wired if port.port.startswith("/")}
    used = {Path(device).resolve(): name for name, device in devices.items()}
    for cable in cables:
        holders = holders_of(cable.device)
        state = f"held by {', '.join(holders)}" if holders else "free"
        role = f"; it is the {used[cable.device]}" if cable.device in used else ""
        plugged = cable.device.name
        yield diagnosis(
            "port", "cable", cable=cable.name, device=plugged, state=state, role=role
        )
    for cable in cables if len(cables) > 1 else ():
        if not any("by-id" in str(n) or "by-number" in str(n) for n in cable.names):
            known_as = cable.device.name
            yield diagnosis("port", "no-number", device=known_as, cable=cable.name)
    for name, port in wired:
        if UNSTABLE.fullmatch(port.port):
            device = Path(port.port).resolve()
            better = [cable.name for cable in cables if cable.device == device]
            advice = "write its name under /dev/serial/by-id"
            if better:
                advice = f'write port = "{better[0]}"'
            yield diagnosis(name, "unstable-name", port=port.port, advice=advice)


def diagnose_neighbours(
    root: Path = Path("/"), named: Collection[str] = ()
) -> Iterator[Diagnostic]:
    """What else reaches for the ports: a login console, a modem manager, keyboards.
    named: ports of the settings, which are left out."""
    command = root / "proc/cmdline"
    serial0 = root / "dev/serial0"
    if serial0.exists() and command.exists():
        consoles = re.findall(r"console=(\w+)", command.read_text())
        if {serial0.resolve().name, "serial0"} & set(consoles):
            yield diagnosis("port", "login-console")
    if "ModemManager" in set(_processes(root / "proc")):
        rules = root / "etc/udev/rules.d/60-sweepgauge.rules"
        if not rules.exists():
            yield diagnosis("port", "modem-manager")
    typed = " or ".join(
        known.name for known in FORMATS.values() if known.port is KEYBOARD
    )
    for link in sorted((root / "dev/input/by-id").glob("*-event-kbd")):
        if str(link) not in named:
            yield diagnosis("port", "keyboard", link=link, typed=typed)


def _processes(proc: Path) -> Iterator[str]:
    for folder in proc.glob("[0-9]*"):
        try:
            yield (folder / "comm").read_text().strip()
        except OSError:
            continue
