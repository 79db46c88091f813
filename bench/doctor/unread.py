"""What comes from pins or from a cable that types and is not read: what it looks like,
and what would read it."""

from __future__ import annotations

from collections import Counter

from bench.doctor.matter import Matter, fault
from bench.settings.settings_file import PortSettings
from hw.discovery.bits_heard import diagnose
from hw.discovery.listening import settings_text

REPORT = "`sweepgauge capture` keeps what came for a report"


def unread_matter(
    name: str, port: PortSettings, data: bytes, faults: Counter[str]
) -> Matter:
    """What is not read and comes over no serial line. data: as the daemon tells it, a
    frame or a run a line."""
    where = port.port or "pins " + ", ".join(
        f"{wire} {pin}" for wire, pin in port.pins.items()
    )
    why = tuple(f"{words}, {many} times" for words, many in faults.most_common(2))
    heard = diagnose(port.format, port.options, data)
    if heard is None:
        return fault(
            name,
            f"{where}: nothing whole came meanwhile",
            f"look again; {REPORT}",
            evidence=why,
        )
    do = heard.do
    if heard.proposal is not None:
        do = f"{heard.do}: {settings_text(heard.proposal)}. {heard.then}".rstrip(". ")
    return fault(
        name,
        f"{where}: {heard.words}",
        do,
        evidence=(*heard.evidence, *why),
        proposal=heard.proposal,
    )
