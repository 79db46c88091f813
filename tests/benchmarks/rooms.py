"""The rooms of the house in the order of the data, and their tables of files for DEVELOPERS.md.

    python tests/benchmarks/rooms.py            # says whether the page agrees with the code
    python tests/benchmarks/rooms.py --write    # rewrites the tables

A row is the first sentence of a file's docstring, so what a file is for is changed there.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- begin tests/benchmarks/rooms.py -->", "<!-- end tests/benchmarks/rooms.py -->"

# every folder with source in it, in the order in which a reading passes through; and what the room does
ROOMS = {
    "hw": "Everything that touches a port or a pin. It knows nothing of checks and never imports `bench`.",
    "hw/ports": "What an instrument can be wired to; all have the face of `Port`: start, bytes in blocks with their"
    " time, state, stop.",
    "hw/formats": "Bytes or bits in, readings out. One file is one wire format and says all of it.",
    "hw/formats/line": "The format of instruments that send lines of text.",
    "hw/formats/shared": "What several wire formats share.",
    "hw/bridge_board": "The program of a microcontroller that sends a gauge and a scale by one clock.",
    "hw/discovery": "Which ports there are, who holds them, and what is heard on them.",
    "hw/virtual": "A saw, a sled and hands in software, speaking real bytes through real pseudo-terminals.",
    "bench": "At the top lie only the types that all rooms share.",
    "bench/units": "Pure: lengths, angles and slopes as people write and read them.",
    "bench/stream": "Pure: from readings with times to filtered readings, rests and sweeps.",
    "bench/procedure": "Pure state machines: the check in progress, the live move, the leaf proof.",
    "bench/checks": "One file per check; beside them only what a check is.",
    "bench/checks/shared": "What several checks share.",
    "bench/geometry": "Pure: arrays in, numbers out.",
    "bench/uncertainty": "Pure: the budget, degrees of freedom and the verdict.",
    "bench/moves": "Pure: from a finding to the move.",
    "bench/cut": "Pure: what the cut will be, what to put right first, and which check a symptom leads to.",
    "bench/upkeep": "Pure: drift between moves, and the seasons.",
    "bench/log": "The log: one SQLite file with a writer thread of its own.",
    "bench/protocol": "The messages between daemon and clients: one JSON object a line over a Unix socket.",
    "bench/render": "Codes and values to sentences, for screen, command line, log and report alike.",
    "bench/render/report": "The report and the card as HTML that stands alone; its templates lie in `templates/`.",
    "bench/settings": "The only room that reads or writes TOML.",
    "bench/daemon": "The process that joins the rooms above; it owns no arithmetic and no sentences.",
    "bench/console": "The terminal screen, a client of the daemon like any other.",
    "bench/console/screens": "What is put up: a screen for each state of the daemon, and the pages over it.",
    "bench/console/widgets": "What screens are made of, one widget in a file.",
    "bench/console/contents": "What the widgets show of the view model: sentences and drawings.",
    "bench/console/drawings": "What is drawn, from plain data to coloured rows, without a terminal.",
    "bench/doctor": "What `sweepgauge doctor` examines, one file per subject.",
    "bench/demo": "The operator of the demonstration: a client that drives the virtual hands.",
    "bench/cli": "The commands, one file each; a command is loaded when it is called.",
}
LONGEST_ROW = 110  # characters; of a longer first sentence only what stands before its colon is shown


def folders() -> set[str]:
    """Every folder below hw and bench that holds a source file, as `hw/ports`."""
    found = [
        path
        for top in ("hw", "bench")
        for path in (ROOT / top).rglob("*.*")
        if path.suffix in {".py", ".ino"}
    ]
    return {path.parent.relative_to(ROOT).as_posix() for path in found}


def purpose(path: Path) -> str:
    """The first sentence of a source file's docstring or opening comment, without its full stop."""
    text = path.read_text("utf-8")
    quotes = ('"""', '"""') if path.suffix == ".py" else ("/*", "*/")
    text = text.partition(quotes[0])[2].partition(quotes[1])[0]
    sentence = re.split(r"(?<=[.?!])\s", " ".join(text.split()), maxsplit=1)[0]
    if len(sentence) > LONGEST_ROW:
        sentence = re.split(r": ", sentence, maxsplit=1)[0]
    return sentence.rstrip(".").replace("|", r"\|")


def files(room: str) -> Iterator[Path]:
    """The source files of one room; a package's file only where it does more than say what the room is."""
    for path in sorted((ROOT / room).iterdir()):
        if path.suffix not in {".py", ".ino"}:
            continue
        if path.name == "__init__.py" and len(ast.parse(path.read_text("utf-8")).body) <= 1:
            continue
        yield path


def tables() -> str:
    parts = []
    for room, does in ROOMS.items():
        parts.append(f"### `{room}/`\n\n{does}\n")
        rows = [f"| `{path.name}` | {purpose(path)} |" for path in files(room)]
        if rows:
            parts.append("\n".join(["| file | what it is for |", "| --- | --- |", *rows]) + "\n")
    return "\n".join(parts)


def page(text: str) -> str:
    """The page with its tables as the code has them."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end):
        raise SystemExit(f"{PAGE.name} has no lines {BEGIN} and {END}")
    return f"{before}{begin}\n\n{tables()}\n{end}{after}"


def main() -> int:
    was = PAGE.read_text("utf-8")
    now = page(was)
    if "--write" in sys.argv[1:]:
        PAGE.write_text(now, "utf-8")
    elif was != now:
        print("DEVELOPERS.md does not agree with the code: python tests/benchmarks/rooms.py --write")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
