"""A saved capture: an instrument's bytes with their times, and its settings.

It is one JSON file, so that it can be sent as it is.
"""

from __future__ import annotations

import msgspec

import bench
from bench.settings.settings_file import PortSettings

LAYOUT = 1  # of the layout
FIRST_BYTES = b'{"capture":'


class SavedCapture(msgspec.Struct):
    """capture: version of the layout. at: wall time, ISO 8601. note: what was done, and
    what the display showed.

    port: as the settings have it. blocks: s since the beginning, and the bytes that
    came then in hexadecimal; of pins, keys and registers the text that `decode` takes.
    """

    capture: int = LAYOUT
    program: str = bench.__version__
    instrument: str = ""
    at: str = ""
    note: str = ""
    seconds: float = 0.0
    port: PortSettings = PortSettings()
    blocks: list[tuple[float, str]] = []


def encode(saved: SavedCapture) -> bytes:
    """The file, one block a line, as a person may read it."""
    head, _, _ = msgspec.json.encode(
        msgspec.structs.replace(saved, blocks=[])
    ).rpartition(b"[]}")
    return (
        head
        + b"[\n"
        + b",\n".join(msgspec.json.encode(block) for block in saved.blocks)
        + b"\n]}\n"
    )


def read(data: bytes) -> SavedCapture:
    """A saved capture. Raises ValueError that says what is wrong with a damaged one."""
    try:
        saved = msgspec.json.decode(data, type=SavedCapture)
        bytes.fromhex("".join(text for _, text in saved.blocks))
    except (msgspec.DecodeError, ValueError) as error:
        raise ValueError(f"a saved capture that is not whole: {error}") from error
    if saved.capture > LAYOUT:
        raise ValueError(
            f"a saved capture of layout {saved.capture}; this program knows {LAYOUT}"
        )
    return saved
