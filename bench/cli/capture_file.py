"""A capture with all that a stranger needs to make sense of it: what was wired, how it
was set up, when each byte came.

One JSON file, so that it can be sent as it is.
"""

from __future__ import annotations

import msgspec

import bench
from bench.settings.settings_file import PortSettings

VERSION = 1
FIRST = b'{"capture":'


class Saved(msgspec.Struct):
    """capture: the layout's version. at: the wall's time. note: what was done, and what
    the display showed.

    port: as the settings had it. blocks: s since the beginning, and the bytes that came
    then, in hexadecimal; from pins, keys and registers as text, the way `decode` takes
    it.
    """

    capture: int = VERSION
    program: str = bench.__version__
    instrument: str = ""
    at: str = ""
    note: str = ""
    seconds: float = 0.0
    port: PortSettings = PortSettings()
    blocks: list[tuple[float, str]] = []

    @property
    def data(self) -> bytes:
        return b"".join(bytes.fromhex(text) for _, text in self.blocks)


def encode(saved: Saved) -> bytes:
    """One block a line, for those who look at it."""
    head, _, _ = msgspec.json.encode(
        msgspec.structs.replace(saved, blocks=[])
    ).rpartition(b"[]}")
    return (
        head
        + b"[\n"
        + b",\n".join(msgspec.json.encode(block) for block in saved.blocks)
        + b"\n]}\n"
    )


def read(data: bytes) -> Saved | None:
    """None where it is no such file. Raises ValueError with what is wrong where it is
    one and hurt."""
    if not data.lstrip().startswith(FIRST):
        return None
    try:
        saved = msgspec.json.decode(data, type=Saved)
        _ = saved.data
    except (msgspec.DecodeError, ValueError) as error:
        raise ValueError(f"a saved capture that is not whole: {error}") from error
    if saved.capture > VERSION:
        raise ValueError(
            f"a saved capture of layout {saved.capture}; this program knows {VERSION}"
        )
    return saved
