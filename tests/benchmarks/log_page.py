"""The page that says what every table and column of the log means, made from a new log's own description.

    python tests/benchmarks/log_page.py            # says whether the page agrees with the tables
    python tests/benchmarks/log_page.py --write    # rewrites it

A row is the comment behind a column in bench/log/tables.sql or schema.py, so what it means is changed there.
"""

from __future__ import annotations

import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from bench.log.schema import migrate

PAGE = Path(__file__).parents[2] / "bench" / "log" / "TABLES.md"
HEAD = """\
# The log, table by table

One SQLite file that any SQLite browser opens; the same words stand in its own table `description`. Numbers are in the
unit that ends a column's name (`_mm`, `_s`, `_ns`, `_us`). What ends in `_packed` is packed by `bench/log/packing.py`.
Made by `python tests/benchmarks/log_page.py --write`.
"""


def page() -> str:
    """Tables in the order in which they are made, columns in theirs. KeyError: one is not described."""
    with closing(sqlite3.connect(":memory:")) as log:
        migrate(log)
        said = {(table, column): words for table, column, words in log.execute("SELECT * FROM description")}
        made = (
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid"
        )
        parts = [HEAD]
        for (table,) in log.execute(made).fetchall():
            rows = [
                f"## `{table}`\n\n{said[table, '']}\n",
                "| column | type | what it means |",
                "| --- | --- | --- |",
            ]
            for _, column, kind, needed, _, key in log.execute(f"PRAGMA table_info({table})"):
                words = said[table, column].replace("|", r"\|")
                rows.append(f"| `{column}` | {kind}{'' if needed or key else ' or null'} | {words} |")
            parts.append("\n".join(rows) + "\n")
    return "\n".join(parts)


def main() -> int:
    if "--write" in sys.argv[1:]:
        PAGE.write_text(page(), "utf-8")
    elif not PAGE.exists() or PAGE.read_text("utf-8") != page():
        print(
            "bench/log/TABLES.md does not agree with the tables: python tests/benchmarks/log_page.py --write"
        )
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
