"""The pages in SQLite's write-ahead file, as far as each is whole; also those beyond a
damaged one. The format is SQLite's published one (file format, section 4): a header of
32 bytes (magic number, page size at 8, salt at 16), then frames of a 24-byte header
(page number at 0, size of the database in pages at 4 if the frame ends a commit, salt
at 8, checksum at 16) and a page. The checksum goes on from that of the frame before,
which stands in its header: so each frame can be judged by itself and the header before
it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

HEADER, FRAME = 32, 24
# byte order of the checksum by magic number
_ORDERS = {0x377F0682: "<", 0x377F0683: ">"}
_USUAL_PAGE = 4096


class Frame(NamedTuple):
    page: int  # its number, from 1
    commits: bool
    at: int  # where its bytes begin in the file
    size: int
    sound: bool | None  # by its checksum; None where that was not looked at


def frames(wal: Path, *, judged: bool = False) -> Iterator[Frame]:
    """Frames of the file's present generation, in order. judged: also those after a
    damaged one, each by checksum."""
    with wal.open("rb") as file:
        order, size, salt, before = _header(file)
        at = HEADER
        while True:
            file.seek(at)
            head = file.read(FRAME)
            page = file.read(size) if judged else b""
            if len(head) < FRAME or (judged and len(page) < size):
                return
            ours = head[8:16] == salt
            if not ours and not judged:
                return
            if ours:
                sound = (
                    _checksum(order, before, head[:8] + page) == head[16:24]
                    if judged
                    else None
                )
                number, pages = struct.unpack(">II", head[:8])
                yield Frame(number, pages != 0, at + FRAME, size, sound)
            before = head[16:24]
            at += FRAME + size


def lay_over(wal: Path, file: BinaryIO) -> None:
    """Write every whole page of the write-ahead file into the copy of a database."""
    if not wal.exists():
        return
    with wal.open("rb") as source:
        for frame in frames(wal, judged=True):
            if frame.sound:
                source.seek(frame.at)
                file.seek((frame.page - 1) * frame.size)
                file.write(source.read(frame.size))


def _header(file: BinaryIO) -> tuple[str, int, bytes, bytes]:
    """Byte order of checksums, page size, salt, checksum; a broken header's are those
    of the frames and of our logs."""
    head = file.read(HEADER).ljust(HEADER, b"\0")
    magic, _, size = struct.unpack(">III", head[:12])
    order = _ORDERS.get(magic, "<")
    if _checksum(order, bytes(8), head[:24]) == head[24:32] and size:
        return order, size, head[16:24], head[24:32]
    # the third frame: 4 KiB of damage do not reach it
    file.seek(HEADER + 2 * (FRAME + _USUAL_PAGE))
    return order, _USUAL_PAGE, file.read(FRAME)[8:16], b""


def _checksum(order: str, before: bytes, data: bytes) -> bytes:
    """Section 4.2: two sums of 32-bit words, taken in turn."""
    if len(before) < 8:
        return b""
    one, two = struct.unpack(">II", before)
    for first, second in struct.iter_unpack(f"{order}II", data):
        one = (one + first + two) & 0xFFFFFFFF
        two = (two + second + one) & 0xFFFFFFFF
    return struct.pack(">II", one, two)
