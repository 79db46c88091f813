"""What was lost of a log, in words for notices, events and the doctor."""

from __future__ import annotations

from collections.abc import Mapping

_ROWS = {  # of the tables that are counted: one and several
    "finding": ("result", "results"),
    "sweep": ("pass", "passes"),
    "move": ("move", "moves"),
    "event": ("event", "events"),
}


def salvage_words(data: Mapping[str, object]) -> str:
    """data: what is in a `Salvage`; of an older program there may be less in it."""
    rows = data.get("unreadable")
    return (
        f"The log was damaged. It was set aside as {data.get('set_aside')};"
        f" {data.get('sweeps')} sweeps and {data.get('findings')} findings were read"
        " out of it" + (f", {rows} rows could not be read." if rows else ".")
    )


def lacking_words(counts: Mapping[str, object]) -> str:
    """counts: rows by table. Events are told of only where nothing else is missing."""
    lost = [
        f"{count} {words[count != 1]}"
        for table, words in _ROWS.items()
        if (count := counts.get(table)) and (table != "event" or len(counts) == 1)
    ]
    return (
        f"Missing from the log: {' and '.join(lost)}, saved before and lost since. Is"
        " the card failing?"
    )
