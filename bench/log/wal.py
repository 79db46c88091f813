"""Reads the whole pages of SQLite's write-ahead file, also beyond a damaged one.

The format is SQLite's published one (file format, section 4): a header of 32 bytes
(magic number, page size at 8, salt at 16), then frames of a 24-byte header (page number
at 0, size of the database in pages at 4 if the frame ends a commit, salt at 8, checksum
at 16) and a page. The checksum goes on from that of the frame before, which stands in
its header: so each frame can be checked by itself and the header before it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

HEADER_BYTES, FRAME_HEADER_BYTES = 32, 24
# byte order of the checksum by magic number
_BYTE_ORDERS = {0x377F0682: "<", 0x377F0683: ">"}
PAGE_SIZES = (1024, 4096)  # bytes; of our logs: new ones, and those made before
_DAMAGE_BYTES = 4096  # at the beginning of the file, which is survived


class Frame(NamedTuple):
    page: int  # its number, from 1
    commits: bool
    at: int  # where its bytes begin in the file
    size: int
    sound: bool | None  # by its checksum; None where that was not looked at


def frames(wal: Path, *, checked: bool = False) -> Iterator[Frame]:
    """Frames of the file's present generation, in order. checked: also those after a
    damaged one, each by checksum. None where there is no such file."""
    if not wal.exists():
        return
    with wal.open("rb") as file:
        order, size, salt, before = _header(file)
        at = HEADER_BYTES
        while True:
            file.seek(at)
            head = file.read(FRAME_HEADER_BYTES)
            page = file.read(size) if checked else b""
            if len(head) < FRAME_HEADER_BYTES or (checked and len(page) < size):
                return
            ours = head[8:16] == salt
            if not ours and not checked:
                return
            if ours:
                sound = (
                    _checksum(order, before, head[:8] + page) == head[16:24]
                    if checked
                    else None
                )
                number, pages = struct.unpack(">II", head[:8])
                yield Frame(number, pages != 0, at + FRAME_HEADER_BYTES, size, sound)
            before = head[16:24]
            at += FRAME_HEADER_BYTES + size


def overlay_pages(wal: Path, file: BinaryIO) -> None:
    """Write every whole page of the write-ahead file into the copy of a database."""
    if not wal.exists():
        return
    with wal.open("rb") as source:
        for frame in frames(wal, checked=True):
            if frame.sound:
                source.seek(frame.at)
                file.seek((frame.page - 1) * frame.size)
                file.write(source.read(frame.size))


def _header(file: BinaryIO) -> tuple[str, int, bytes, bytes]:
    """Byte order of checksums, page size, salt, checksum; a broken header's are those
    of the frames and of our logs."""
    head = file.read(HEADER_BYTES).ljust(HEADER_BYTES, b"\0")
    magic, _, size = struct.unpack(">III", head[:12])
    order = _BYTE_ORDERS.get(magic, "<")
    if _checksum(order, bytes(8), head[:24]) == head[24:32] and size:
        return order, size, head[16:24], head[24:32]
    for size in PAGE_SIZES:
        frame = FRAME_HEADER_BYTES + size
        file.seek(HEADER_BYTES + -(-_DAMAGE_BYTES // frame) * frame)
        salt = file.read(FRAME_HEADER_BYTES)[8:16]
        file.seek(size, 1)
        if salt and file.read(FRAME_HEADER_BYTES)[8:16] == salt:
            return order, size, salt, b""
    return order, PAGE_SIZES[-1], b"", b""


def _checksum(order: str, before: bytes, data: bytes) -> bytes:
    """Section 4.2: two sums of 32-bit words, taken in turn."""
    if len(before) < 8:
        return b""
    one, two = struct.unpack(">II", before)
    for first, second in struct.iter_unpack(f"{order}II", data):
        one = (one + first + two) & 0xFFFFFFFF
        two = (two + second + one) & 0xFFFFFFFF
    return struct.pack(">II", one, two)
