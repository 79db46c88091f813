"""What comes from pins or from a cable that types and is not read: what it looks like, and what would read it.

May import: bench.doctor.matter, bench.settings (types), hw.discovery.bits_heard, hw.formats, hw.discovery.listening.
"""

from __future__ import annotations

from collections import Counter

from bench.doctor.matter import Matter, fault
from bench.settings import PortSettings
from hw.discovery.bits_heard import judge_bits
from hw.discovery.listening import settings_text
from hw.formats import make_decoder

REPORT = "`sweepgauge capture` keeps what came for a report"


def bits_matter(name: str, port: PortSettings, data: bytes, faults: Counter[str]) -> Matter:
    """Frames from clock and data, or waves of a scale, that are not read. data: as the daemon tells them, a line each."""
    where = "pins " + ", ".join(f"{wire} {pin}" for wire, pin in port.pins.items())
    why = _why(faults)
    if "clock" not in port.pins:
        return fault(
            name,
            f"{where}: the two waves are not followed, an edge is missed now and then",
            "move it slower; a microcontroller that counts misses none (profile bridge)",
            evidence=why,
        )
    heard = judge_bits(data, port.format, port.options)
    if heard is None:
        return fault(name, f"{where}: nothing whole came meanwhile", f"look again; {REPORT}", evidence=why)
    do = heard.do
    if heard.proposal is not None:
        keys = settings_text(heard.proposal)
        do = f"{heard.do}: {keys}. Then compare with its display in two places: twice or half is the other edge"
    return fault(
        name, f"{where}: {heard.words}", do, evidence=(*heard.evidence, *why), proposal=heard.proposal
    )


def keys_matter(name: str, port: PortSettings, data: bytes, faults: Counter[str]) -> Matter:
    """Key presses that are no number. data: names of keys, a run a line."""
    other = "ENTER" if port.options.get("terminator") == "TAB" else "TAB"
    runs = data.decode("ascii", "replace").splitlines()
    seen = tuple(f"keys {run}" for run in runs[-2:]) + _why(faults)
    decoder = make_decoder("wedge", {**port.options, "terminator": other})
    read = sum(record.value is not None for record in decoder.feed("".join(f"{r}\n" for r in runs).encode()))
    if runs and read >= len(runs) - 1 and read:
        return fault(
            name,
            f"{port.port} ends its numbers with the key {other}",
            f'write terminator = "{other}"',
            evidence=seen,
            proposal={"terminator": other},
        )
    return fault(
        name,
        f"{port.port} types what is no number",
        f"is it the cable and not a keyboard; does it type as on a US keyboard? {REPORT}",
        evidence=seen,
    )


def _why(faults: Counter[str]) -> tuple[str, ...]:
    return tuple(f"{words}, {many} times" for words, many in faults.most_common(2))
