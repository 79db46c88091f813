"""Lays the list of the first tables over a damaged one, in a copy of a log's file."""

from __future__ import annotations

import os
import struct
from typing import BinaryIO


def overlay_table_list(fresh: bytes, file: BinaryIO, size: int) -> None:
    """Lay the list of tables of a fresh log over the damaged one.

    Fresh logs of the first version have it on the same pages with the same roots, as
    nothing ever drops a table; later tables are lost with a list that is damaged. Page
    1 is the root of that list (SQLite's file format, sections 1.3 and 1.6); what else
    belongs to it are the children named in its interior pages (kind 5: cell pointers at
    12, each cell begins with its child's number, the rightmost child stands at 8).
    """
    todo = [1]
    while todo:
        start = (todo.pop() - 1) * size
        page = fresh[start : start + size]
        file.seek(start)
        file.write(page)
        base = 100 if start == 0 else 0
        if page[base] == 5:
            count = struct.unpack(">H", page[base + 3 : base + 5])[0]
            cells = struct.unpack(f">{count}H", page[base + 12 : base + 12 + 2 * count])
            todo += [
                struct.unpack(">I", page[cell : cell + 4])[0]
                for cell in (*cells, base + 8)
            ]


def set_page_count(file: BinaryIO, size: int) -> None:
    """As many pages as there are, none of them free or in a write-ahead file (file
    format, section 1.3)."""
    pages = -(-file.seek(0, os.SEEK_END) // size)
    file.truncate(pages * size)
    file.seek(24)
    changes = file.read(4)
    for at, value in (
        (18, b"\1\1"),
        (28, struct.pack(">I", pages) + bytes(8)),
        (92, changes),
    ):
        file.seek(at)
        file.write(value)
    file.flush()
