"""Where the log cannot be written it is said: to clients, in the journal, to the service manager, by exit status."""

from __future__ import annotations

import resource
import signal
import socket
import sqlite3
from contextlib import closing

import pytest

from bench.protocol import (
    UNRECORDED,
    Abandon,
    Begin,
    Done,
    GetStatus,
    NoteMove,
    Notice,
    PromptChanged,
    Readings,
    Recording,
    SavedNotice,
    StatusReply,
    Watch,
)
from bench.protocol.client import ConnectionClosed

LOST = "NOT RECORDED: "


@pytest.fixture
def manager(tmp_path, monkeypatch):
    """What the service manager is told."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.bind(str(tmp_path / "notify"))
        channel.settimeout(15.0)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))

        def told(words: str) -> None:
            while words not in channel.recv(4096).decode():
                pass

        yield told


@pytest.mark.ci
def test_a_check_begun_where_nothing_can_be_written(rigs, run, manager, tmp_path) -> None:
    """The log cannot be opened: a folder is in its place."""
    rigs()
    path = tmp_path / "log.db"
    path.mkdir()
    daemon = run("daemon")
    assert LOST in daemon.hear(LOST)
    manager(f"STATUS={LOST}")
    daemon.hear("ready")
    check = run("check", "fence-square")
    check.hear(LOST)
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
    status = run("status")
    assert LOST.encode() in status.process.stdout.read()
    ended = run("abandon")
    assert ended.wait() == 1
    ended.hear(UNRECORDED)
    path.rmdir()
    daemon.hear("log is written again; all that waited is saved")
    manager("STATUS=recording")
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT state FROM check_run").fetchall() == [("abandoned",)]
    assert daemon.end() == 0


@pytest.mark.ci
def test_a_whole_check_that_is_not_on_the_disk_ends_with_bad_news(rigs, run, tmp_path) -> None:
    rig = rigs()
    rig.rotation = 2e-5  # so little that the answer itself is good, and the number moves
    (tmp_path / "log.db").mkdir()
    daemon = run("daemon")
    daemon.hear("ready")
    check = run("check", "fence-square", "--sweeps", "2", "--json", "--no-extend")
    check.hear("Press Enter")
    check.enter()
    for placement in ("handle-left", "handle-right"):
        check.hear_set_up(placement)
        rig.side = "right" if placement == "handle-left" else "left"
        rig.s = 0.0
        check.enter()
        for number in (1, 2):
            check.hear("ready" if number == 1 else "Returned to the start")
            rig.go(150.0)
            check.hear(f"{LOST}{number} of 2 measured.")
            rig.go(0.0)
    assert check.wait() == 1
    assert check.rest().endswith(UNRECORDED + "\n")
    found = check.answer()
    assert found["verdict"] == "inside"
    (tmp_path / "log.db").rmdir()
    daemon.hear("all that waited is saved")
    with sqlite3.connect(tmp_path / "log.db") as db:
        assert db.execute("SELECT finding FROM finding").fetchall() == [(found["id"],)]


@pytest.mark.ci
def test_moved_on_a_disk_in_trouble_exits_with_bad_news_and_is_saved_later(
    rigs, run, wire, heard, recorded
) -> None:
    rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    client = wire()
    with closing(sqlite3.connect(recorded, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        moved = run("moved")
        assert moved.wait() == 1
        assert moved.process.stdout.read() == b""
        moved.hear(UNRECORDED)
        heard(client, Recording, lambda m: m.state == "not-recorded")
        late = wire()  # who comes now is told as well
        assert heard(late, Recording).state == "not-recorded"
        assert heard(late, Notice).words.startswith(LOST)
        other.execute("ROLLBACK")
    assert heard(client, SavedNotice, lambda m: m.what == "move").id == "found-1"
    assert heard(client, Notice, lambda m: m.about == "log").words == (
        "The log is written again; all that waited is saved."
    )
    with sqlite3.connect(recorded) as db:
        assert db.execute("SELECT count(*) FROM move WHERE made_json IS NOT NULL").fetchone() == (1,)
    again = run("moved")
    assert again.wait() == 0


@pytest.mark.ci
def test_the_state_of_things_is_answered_while_a_save_is_pending(bed, heard) -> None:
    client = bed.start((0.8, 0.8))
    asks = bed.wire()
    client.send(NoteMove(ref=1))
    while (reply := asks.ask(GetStatus(), StatusReply)).log_state != "saving":
        assert not any(isinstance(m, Done) for m in client.waiting())
    assert (reply.recording, reply.last[0].id) == ("saving ...", "found-1")
    assert heard(client, Recording).state == "saving"
    assert heard(client, Done).recorded
    assert heard(client, Recording).state == "recording"


@pytest.mark.ci
def test_a_client_that_leaves_before_its_answer_harms_nobody(bed, heard) -> None:
    client, other = bed.start((0.3, 0.3)), bed.wire()
    other.ask(GetStatus(), StatusReply)  # it is known to the daemon by now
    client.send(NoteMove(ref=1))
    client.send(Abandon(ref=2))
    client.close()
    assert heard(other, SavedNotice, lambda m: m.what == "move").id == "found-1"
    other.send(Begin("fence-square", ref=3))
    assert heard(other, SavedNotice, lambda m: m.what == "check")


@pytest.mark.ci
def test_ended_before_the_disk_answers_it_is_answered_as_not_recorded(
    rigs, run, wire, heard, recorded
) -> None:
    rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    client = wire()
    with closing(sqlite3.connect(recorded, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        client.send(NoteMove(ref=1))
        client.ask(GetStatus(), StatusReply)  # it has got there
        daemon.process.send_signal(signal.SIGTERM)
        answer = heard(client, Done)
        assert (answer.text, answer.recorded) == (UNRECORDED, False)
        daemon.hear("ended; NOT RECORDED")
        assert daemon.wait() == 0
    with pytest.raises(ConnectionClosed):
        heard(client, Done)
    with sqlite3.connect(recorded) as db:
        assert db.execute("SELECT count(*) FROM move WHERE made_json IS NOT NULL").fetchone() == (0,)


@pytest.mark.ci
@pytest.mark.parametrize("trouble", ["full", "failing", "read-only before the start"])
def test_a_full_failing_or_read_only_medium(trouble, small_disk, rigs, run, wire, heard, tmp_path) -> None:
    """Readings go on, it is said, and what waited is saved when the medium takes it again."""
    rigs()
    (tmp_path / "log.db").symlink_to(small_disk.folder / "log.db")
    filler = small_disk.folder / "filler"
    if trouble.endswith("start"):
        small_disk("remount,ro,size=4m")
    daemon = run("daemon")
    daemon.hear("ready")
    if trouble == "full":
        with pytest.raises(OSError, match="No space"), filler.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
    elif trouble == "failing":  # a medium in use cannot be made read-only here; no file may grow is as good
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (0, limits[1]))
    client = wire()
    client.send(Watch())
    client.send(Begin("fence-square", sweeps=50, ref=1))
    asking = heard(client, PromptChanged, lambda m: m.ref == 1)
    assert not asking.recorded
    assert run("status").process.stdout.read().count(LOST.encode()) == 1
    assert heard(client, Readings).values
    why = {"full": "the disk is full", "failing": "the disk reports an error"}.get(
        trouble, "the medium is read-only"
    )
    assert any(LOST + why in line for line in daemon.lines) or daemon.hear(LOST + why)
    if trouble == "failing":
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, limits)
    else:
        small_disk("remount,rw,size=4m")
    assert heard(client, SavedNotice, lambda m: m.what == "check").id == asking.run
    assert heard(client, Recording, lambda m: m.state == "recording")
    with sqlite3.connect(tmp_path / "log.db") as db:
        assert db.execute("SELECT run FROM check_run").fetchall() == [(asking.run,)]
