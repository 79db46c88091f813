"""Tells how earlier moves that were made live came out."""

from __future__ import annotations

from pathlib import Path

import msgspec

from bench.log.moves import list_moves
from bench.log.read_only import open_read


class LiveMoveHistory(msgspec.Struct):
    """drew: by jig and way of the move, mm that tightening drew the free end when it
    was last made live, positive away. made: findings whose move was made live."""

    drew: dict[tuple[str, str], float] = {}
    made: set[str] = set()


def live_move_history(path: Path) -> LiveMoveHistory:
    past = LiveMoveHistory()
    with open_read(path) as db:
        for move in list_moves(db):  # in the order in which they were planned
            if move.made is None or move.made.get("how") != "live":
                continue  # leaves that fall short are followed by a live move
            past.made.add(move.finding)
            jig, drew = move.made.get("jig"), move.made.get("drew_mm")
            if isinstance(jig, str) and isinstance(drew, int | float):
                past.drew[jig, move.plan.way] = float(drew)
    return past
