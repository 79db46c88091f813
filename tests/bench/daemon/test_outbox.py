"""Persisted before it is told, in order; and told all the same when the disk is in trouble."""

from __future__ import annotations

import msgspec

from bench.daemon.outbox import PATIENCE, Outbox


class Said(msgspec.Struct):
    n: int


def test_waits_for_the_commit_and_keeps_the_order() -> None:
    told: list[Said] = []
    now = [0.0]
    box = Outbox(told.append, lambda: now[0])
    box.tell(Said(1))
    box.act(5)
    box.tell(Said(2))
    box.act(7)
    box.tell(Said(3))
    assert [s.n for s in told] == [1]
    box.saved(5)
    assert [s.n for s in told] == [1, 2]
    box.tell(Said(4))
    box.saved(7)
    assert [s.n for s in told] == [1, 2, 3, 4]


def test_a_stalled_or_troubled_disk_does_not_stop_the_work() -> None:
    told: list[Said] = []
    now = [0.0]
    box = Outbox(told.append, lambda: now[0])
    box.act(1)
    box.tell(Said(1))
    box.release()
    assert told == []
    now[0] = PATIENCE + 0.1
    box.release()
    assert [s.n for s in told] == [1]
    box.act(2)
    box.recording = False
    box.tell(Said(2))
    assert [s.n for s in told] == [1, 2]
