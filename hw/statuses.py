"""What an instrument's own word for "no reading" means to whoever stands before it, and what to do about it.

The words are `Record.status`: of error lines, of a gauge that did not answer its box, of register devices. What the
error digits mean is from manuals' pages on them, as in `hw.formats`; the exceptions of register devices are those of
the open protocol's public specification (codes 1 to 4). What to do is common practice, no source. Pure.
"""

from __future__ import annotations

_MEANING = {
    "no_reading": ("its display shows no reading", "see its display; switch it off and on"),
    "sensor_error": (
        "moved too fast, past its end, or dirty",
        "move it slowly, see its display, switch it off and on",
    ),
    "out_of_range": ("past the end of its range", "move it back into its range"),
    "bad_command": ("it does not know what it is asked", "see its manual for the request, and write request"),
    "parity_error": (
        "what it is asked comes to it with a wrong parity",
        "see its manual for parity and bits, and write parity, bits",
    ),
    "gauge_error": (
        "the box gets no answer from that gauge",
        "is the gauge plugged into the box and on; is channel the right one?",
    ),
    "exception_1": ("it does not know that function", "see its manual, and write function"),
    "exception_2": ("it has no such register", "see its manual, and write register"),
    "exception_3": ("it does not give two registers from there", "see its manual, and write register"),
    "exception_4": ("it has a failure of its own", "see its display; switch it off and on"),
}


def meaning_of(status: str) -> tuple[str, str]:
    """(what it means, what to do); a status without a known meaning is told as it came."""
    if status in _MEANING:
        return _MEANING[status]
    return status.replace("_", " "), "see its display, and its manual for that code"
