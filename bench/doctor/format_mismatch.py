"""Bytes that are not read as the settings say, and what would read them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from bench.doctor.diagnostic import Diagnostic, diagnosis, many_times
from bench.doctor.observation import Observation
from bench.settings.settings_file import PortSettings
from hw.discovery.bit_frames import diagnose
from hw.discovery.listening import (
    ListeningResult,
    Proposal,
    is_text,
    listen,
    open_line,
    recognise,
    settings_text,
)
from hw.formats import FORMATS, make_decoder
from hw.formats.shared.wire_format import Value

NEXT_ONE = (
    'keep bytes for a report: `sweepgauge capture` ("The next one" in'
    " hw/INSTRUMENTS.md)"
)
REPORT = "`sweepgauge capture` keeps what came for a report"
# options and framings that stand in the way of settings which do not name them
_IN_THE_WAY = ("parity7", "decimals", "judged")
_PLAIN_FRAMING = {"bits": 8, "parity": "N", "stop": 1}


def fit_advice(port: PortSettings, settings: Mapping[str, Value]) -> str:
    """The advice to write these settings, and to take out what is in their way."""
    present = [key for key in _IN_THE_WAY if key in port.options]
    present += [
        key for key, plain in _PLAIN_FRAMING.items() if getattr(port, key) != plain
    ]
    extra = [key for key in present if key not in settings]
    take_out = f"; and take out {', '.join(extra)}" if extra else ""
    return f"this would fit what is heard: {settings_text(settings)}{take_out}"


def diagnose_bytes(
    name: str, port: PortSettings, seen: Observation, heard: ListeningResult
) -> Diagnostic:
    """Bytes of a serial line that are not what the settings say."""
    if seen.faults and _reads_without_range(port, seen.text):
        why = seen.faults.most_common(1)[0][0]
        return diagnosis(name, "beyond-range", port=port.port, why=why)
    profile = f", profile {port.profile}" if port.profile else ""
    speaks = f"of the format {port.format}{profile}"
    words = f"{port.port}: {len(seen.data)} bytes that are not {speaks}"
    if heard.proposal is not None:
        return _not_as_set(name, port, words, heard.proposal)
    known = FORMATS[port.format]
    if known.query is not None and known.diagnose is not None:
        other = known.diagnose(port.options, seen.text)
        if other is not None and (settings := other.proposal) is not None:
            advice = f"this would fit what is heard: {settings_text(settings)}"
            return diagnosis(
                name,
                "registers-otherwise",
                words=words,
                advice=advice,
                evidence=_commonest(seen.faults),
                proposal=settings,
            )
    return _unknown_shape(name, port, words, seen, heard)


def _commonest(faults: Counter[str]) -> tuple[str, ...]:
    return tuple(many_times(*one) for one in faults.most_common(2))


def _not_as_set(
    name: str, port: PortSettings, words: str, proposal: Proposal
) -> Diagnostic:
    settings = dict(proposal.settings)
    if "default_unit" in settings and "default_unit" in port.options:
        # its owner has said so already
        settings["default_unit"] = str(port.options["default_unit"])
    return diagnosis(
        name,
        "not-as-set",
        words=words,
        advice=fit_advice(port, settings),
        evidence=proposal.evidence,
        proposal=settings,
    )


def _reads_without_range(port: PortSettings, text: bytes) -> bool:
    """Every frame is read once the option range_mm is left out."""
    if "range_mm" not in port.options:
        return False
    options = {key: port.options[key] for key in port.options if key != "range_mm"}
    decoder = make_decoder(port.format, options, from_middle=True)
    return bool(decoder.feed(text)) and not decoder.rejects


def _unknown_shape(
    name: str, port: PortSettings, words: str, seen: Observation, heard: ListeningResult
) -> Diagnostic:
    """No format reads it. For lines of text at another speed that speed is the first
    advice, as a report at a wrong speed is of no use."""
    speed, why, data = heard.text_at, _commonest(seen.faults), seen.data[:40]
    if speed is None:
        return diagnosis(
            name, "unknown-shape", words=words, data=data, report=NEXT_ONE, evidence=why
        )
    other = speed != port.baud
    return diagnosis(
        name,
        "unknown-lines",
        words=words,
        speed=speed,
        text=(heard.heard.get(speed) or data)[:40],
        first=f"write baud = {speed}; " if other else "",
        report=NEXT_ONE,
        evidence=() if other else why,
        proposal={"baud": speed} if other else None,
    )


def listen_further(port: PortSettings, data: bytes) -> ListeningResult:
    """What is heard at other speeds too, where the port is a device."""
    if port.port.startswith("/"):
        request = port.request.encode("ascii") if port.request else None
        try:
            with open_line(port.port, port.baud) as line:
                return listen(line, port.baud, request=request)
        except (OSError, ValueError):
            pass
    return heard_as_set(port, data)


def heard_as_set(port: PortSettings, data: bytes) -> ListeningResult:
    """What the bytes of the settings' speed say by themselves."""
    text_at = port.baud if is_text(data) else None
    return ListeningResult({port.baud: data}, recognise(data, port.baud), text_at)


def diagnose_frames(
    name: str, port: PortSettings, data: bytes, faults: Counter[str]
) -> Diagnostic:
    """Frames of pins or keys that are not read. data: as the daemon gives them, a frame
    or a run a line."""
    where = port.port or "pins " + ", ".join(
        f"{wire} {pin}" for wire, pin in port.pins.items()
    )
    why = _commonest(faults)
    heard = diagnose(port.format, port.options, data)
    if heard is None:
        return diagnosis(
            name, "no-whole-frame", where=where, report=REPORT, evidence=why
        )
    advice = heard.advice
    if heard.proposal is not None:
        settings = settings_text(heard.proposal)
        advice = f"{heard.advice}: {settings}. {heard.follow_up}".rstrip(". ")
    return diagnosis(
        name,
        "frames-unread",
        where=where,
        words=heard.words,
        advice=advice,
        evidence=(*heard.evidence, *why),
        proposal=heard.proposal,
    )
