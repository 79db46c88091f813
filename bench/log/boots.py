"""Records each opening of the log, with the last ticket that it committed."""

from __future__ import annotations

import os
import sqlite3

from bench.log.entry import stamp_columns
from bench.log.rows import Stamp
from bench.log.store import insert


def record_boot(
    db: sqlite3.Connection, boot_id: str, program: str, at: Stamp, last_ticket: int
) -> int:
    """The number of this opening."""
    return insert(
        db,
        "boot",
        boot_id=boot_id,
        program=program,
        process_id=os.getpid(),
        last_ticket=last_ticket,
        **stamp_columns(at),
    )


def has_boot(db: sqlite3.Connection, boot_key: int, boot_id: str) -> bool:
    query = "SELECT 1 FROM boot WHERE boot_key = ? AND boot_id = ?"
    return db.execute(query, (boot_key, boot_id)).fetchone() is not None


def last_ticket(db: sqlite3.Connection, boot_key: int) -> int:
    query = "SELECT last_ticket FROM boot WHERE boot_key = ?"
    return int(db.execute(query, (boot_key,)).fetchone()[0])


def note_ticket(db: sqlite3.Connection, boot_key: int, ticket: int) -> None:
    db.execute("UPDATE boot SET last_ticket = ? WHERE boot_key = ?", (ticket, boot_key))
