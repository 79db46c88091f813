"""An instrument that sends nothing: what to do, and whether it answers at another
speed.

Nothing is sent but the request that the settings name.
"""

from __future__ import annotations

import msgspec

from bench.doctor.diagnostic import Diagnostic, diagnosis
from bench.doctor.format_mismatch import fit_advice
from bench.doctor.observation import observe
from bench.settings.port_requests import request_of
from bench.settings.settings_file import PortSettings
from hw.discovery.listening import SPEEDS, Proposal, listen, open_line
from hw.formats import FORMATS
from hw.formats.shared.wire_format import Value

ANSWER = 0.2  # s from one request to the next; common practice, no source
BUTTON_ADVICE = (
    "press its button while it is listened to: sweepgauge doctor --seconds 15"
)
CONTACT_ADVICE = (
    "is it on; does REQ reach its contact, and CK? A slow one wants timeout = 2.5; one"
    " that moves may not answer"
)
CLOCK_ADVICE = (
    "is it on; do clock and ground reach its contacts? A clock that never changes is no"
    " clock"
)
SWITCH_ADVICE = "switch the instrument on, or press its send button; is its cable firm?"
REQUEST_ADVICE = (
    'One that is asked needs request in the settings: often "R\\r", "?\\r" or "PRI\\r"'
)


def diagnose_silence(name: str, port: PortSettings) -> Diagnostic:
    """The port is open and nothing came from it; one that is asked is tried at other
    speeds too."""
    asks = port.request is not None or FORMATS[port.format].query is not None
    other = ask_at_other_speeds(port) if asks and port.port.startswith("/") else None
    if other is None:
        asked = ", though it was asked" if asks else ""
        advice = silence_advice(port, asks)
        return diagnosis(name, "silent", port=port.port, asked=asked, advice=advice)
    return diagnosis(
        name,
        "other-speed-answers",
        port=port.port,
        baud=port.baud,
        advice=fit_advice(port, other.settings),
        evidence=other.evidence,
        proposal=other.settings,
    )


def silence_advice(port: PortSettings, asks: bool, *, held: bool = False) -> str:
    """What to do about an instrument that sends nothing. held: by the daemon, which
    reads at one speed only."""
    known = FORMATS[port.format]
    advice = known.port.when_silent
    if known.query is None:
        if port.asking == "button":
            return BUTTON_ADVICE
        if port.pins:
            return CONTACT_ADVICE if "req" in port.pins else CLOCK_ADVICE
        if advice:
            return advice
        advice = SWITCH_ADVICE if asks else f"{SWITCH_ADVICE} {REQUEST_ADVICE}"
    if held and (asks or known.query is not None):
        advice += " To try other speeds, stop the daemon and look again"
    return advice


def ask_at_other_speeds(port: PortSettings) -> Proposal | None:
    """Settings at which it answers; None where it does at none, or the port cannot be
    opened. Blocks up to a dozen seconds."""
    try:
        if FORMATS[port.format].query is not None:
            return _answering_registers(port)
        request = request_of(port)
        with open_line(port.port, port.baud) as line:
            return listen(line, port.baud, request=request).proposal
    except (OSError, ValueError):
        return None


def _answering_registers(port: PortSettings) -> Proposal | None:
    """The checksum of an answer proves speed and parity."""
    for speed in (port.baud, *(speed for speed in SPEEDS if speed != port.baud)):
        for parity, word in (("N", "none"), ("E", "even")):
            if (speed, parity) == (port.baud, port.parity):
                continue
            other = msgspec.structs.replace(
                port, baud=speed, parity=parity, rate=1 / ANSWER
            )
            try:
                seen = observe(other, ANSWER)
            except (OSError, ValueError):
                continue  # a port that knows no parity, or not that speed
            if seen.readings or seen.statuses:
                line = f"{speed} baud, parity {word}: {seen.text.decode().strip()}"
                evidence = (f"an answer with a right checksum at {line}",)
                settings: dict[str, Value] = {"baud": speed, "parity": word}
                return Proposal(settings, seen.readings, seen.rejects, evidence)
    return None
