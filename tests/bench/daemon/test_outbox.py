"""Persisted before it is told, in order; and where the log takes nothing, told as that and not as kept."""

from __future__ import annotations

from types import SimpleNamespace

import msgspec
import pytest

from bench.daemon.outbox import SHOW_SAVING_S, Outbox
from bench.daemon.request_handlers import HANDLERS, answer_request
from bench.procedure.status_message import StatusMessage
from bench.protocol import (
    REQUESTS,
    UNRECORDED,
    Done,
    Finding,
    FindingNotice,
    LiveMoveNotice,
    MarkNotice,
    NoFinding,
    Notice,
    PassNotice,
    Query,
    SavedNotice,
    SetupNotice,
)
from bench.render.notices import with_words
from bench.settings.settings_file import Settings


class Desk:
    """An outbox, what it told, and the log and the clock it goes by."""

    def __init__(self) -> None:
        self.awaited, self.now = 0, 0.0
        self.told: list = []
        self.box = Outbox(self.told.append, self, lambda: self.now)

    def give(self) -> int:
        self.awaited += 1
        return self.awaited

    def words(self) -> list[str]:
        """Of each notice its words; of what is told as not recorded, that."""
        said = [m for m in self.told if isinstance(m, Notice | SavedNotice)]
        return [f"saved {m.id}" if isinstance(m, SavedNotice) else _words(m) for m in said]


def _words(notice: Notice) -> str:
    return notice.words if notice.recorded else f"NOT RECORDED: {notice.words}"


def note(words: str) -> Notice:
    return Notice("x", words)


def test_waits_for_the_commit_and_keeps_the_order() -> None:
    desk = Desk()
    desk.box.tell(note("1"))
    desk.give()
    desk.box.tell(note("2"))
    desk.give()
    desk.box.tell(note("3"))
    assert desk.words() == ["1"]
    desk.box.saved(1)
    assert desk.words() == ["1", "2"]
    desk.box.tell(note("4"))
    desk.box.saved(2)
    assert desk.words() == ["1", "2", "3", "4"]


def test_however_long_the_disk_takes_nothing_is_told_before() -> None:
    desk = Desk()
    desk.give()
    desk.box.tell(note("1"))
    assert not desk.box.saving
    desk.now = SHOW_SAVING_S
    assert desk.box.saving
    desk.now = 3600.0
    desk.box.tell(note("2"))
    assert desk.told == []
    desk.box.saved(1)
    assert (desk.words(), desk.box.saving) == (["1", "2"], False)


def test_where_the_log_takes_nothing_it_is_told_as_not_recorded_and_as_saved_later() -> None:
    desk = Desk()
    desk.give()
    desk.box.tell(SavedNotice("move", "m"))
    desk.box.tell(note("1"))
    desk.box.trouble(taking=False)
    desk.give()
    desk.box.tell(note("2"))
    assert desk.words() == ["NOT RECORDED: 1", "NOT RECORDED: 2"]
    assert not any(m.recorded for m in desk.told)
    desk.box.trouble(taking=True)
    desk.box.saved(1)
    assert desk.words()[2:] == ["saved m"]
    assert desk.box.behind
    desk.box.saved(2)
    assert not desk.box.behind
    desk.box.tell(note("3"))
    assert desk.told[-1].recorded


def test_what_the_log_refused_is_never_told_as_recorded() -> None:
    desk = Desk()
    desk.box.tell(note("1"))
    refused = desk.give()
    desk.box.tell(SavedNotice("move", "m"))
    send = desk.box.answers(desk.told.append)
    desk.give()
    desk.box.tell(note("2"))
    send(Done("Noted"))
    desk.box.saved(2, [refused])
    assert desk.told == [note("1"), note("2"), Done("Noted")]
    send = desk.box.answers(desk.told.append)
    refused = desk.give()
    desk.box.tell(note("3"))
    send(Done("Noted", ref=7))
    desk.box.saved(3, [refused])
    assert desk.told[3:] == [
        Notice("x", "3", recorded=False),
        Done(UNRECORDED, 7, recorded=False),
    ]


def test_an_answer_for_which_nothing_was_written_claims_nothing() -> None:
    """Gear is kept in its own file, whatever the log does."""
    desk = Desk()
    desk.give()
    desk.box.trouble(taking=False)
    desk.box.answers(desk.told.append)(Done("big-sled is kept in gear.toml."))
    assert desk.told == [Done("big-sled is kept in gear.toml.")]


def test_a_cable_kept_in_the_settings_is_kept_whatever_the_log_does() -> None:
    desk = Desk()
    desk.give()
    desk.box.trouble(taking=False)
    cable, leaf = SetupNotice("travel", "kept", "Kept."), SetupNotice("leaf", "kept", "Right unit.")
    desk.box.tell(cable)
    desk.box.tell(leaf)
    assert desk.told == [cable, SetupNotice("leaf", "kept", "Right unit.", recorded=False)]


def test_answers_of_two_clients_each_go_to_their_own() -> None:
    desk = Desk()
    one, two = [], []
    first, second = desk.box.answers(one.append), desk.box.answers(two.append)
    desk.give()
    first(Done("a"))
    desk.give()
    second(Done("b"))
    desk.box.saved(1)
    assert (one, two) == ([Done("a")], [])
    desk.box.saved(2)
    assert (one, two, desk.told) == ([Done("a")], [Done("b")], [])


KEPT = StatusMessage("pass-kept", {"taken": 1, "wanted": 3})


@pytest.mark.parametrize(
    "message",
    [
        PassNotice("s", "p", "kept", taken=1, wanted=3, remarks=[KEPT]),
        PassNotice("s", "p", "undone", remarks=[StatusMessage("undone-by-hand")]),
        MarkNotice("p", 25.0, 1, 3, 0.1, remarks=[StatusMessage("mark-taken", {"value": 0.1, "at": 25.0})]),
        Done(remarks=[StatusMessage("given-up", {"check": "fence-square"})]),
        LiveMoveNotice(False, "end", remarks=[StatusMessage("live-tight")]),
        SetupNotice("leaf", "kept", remarks=[StatusMessage("leaf-proved", {"seen": 0.1})]),
        Notice("tap", code="tap-passed"),
        FindingNotice("r", Finding(id="f", check="c", quantities=[], verdict=None)),
        NoFinding("r", remarks=[StatusMessage("not-concluded", {"why": "x"})]),
    ],
)
def test_no_word_of_keeping_without_a_record(message) -> None:
    desk = Desk()
    desk.give()
    desk.box.trouble(taking=False)
    desk.box.answers(desk.told.append)
    desk.box.tell(message)
    (told,) = [with_words(one, "mm") for one in desk.told]
    assert told.recorded is False
    assert getattr(told, "state", "") != "kept"
    words = getattr(told, "words", "") or getattr(told, "text", "")
    if not isinstance(told, Done | FindingNotice | NoFinding):
        assert words.startswith("NOT RECORDED: ")
        assert "kept" not in words
    if isinstance(told, Done):
        assert words == UNRECORDED


def test_what_only_asks_claims_nothing_and_is_not_marked() -> None:
    asks = LiveMoveNotice(True, "lean", remarks=[StatusMessage("live-lean")], recorded=False)
    assert with_words(asks, "mm").words.startswith("Lean the sled")


def test_every_request_has_its_handler() -> None:
    assert set(HANDLERS) == set(REQUESTS)


async def test_every_request_that_may_change_something_is_answered_through_the_outbox(monkeypatch) -> None:
    """Also one that is added: it has to say that it only asks to be answered before the disk has it."""

    class Client:
        def __init__(self) -> None:
            self.heard: list = []

        def send(self, message) -> None:
            self.heard.append(message)

    desk, client = Desk(), Client()
    service = SimpleNamespace(shared=SimpleNamespace(outbox=desk.box, settings=Settings()))

    def answer(context, request) -> Done:
        desk.give()
        return Done(request.__struct_config__.tag)

    monkeypatch.setattr("bench.daemon.request_handlers.HANDLERS", dict.fromkeys(REQUESTS, answer))
    at_once = set()
    for kind in REQUESTS:
        needed = {field.name: None for field in msgspec.structs.fields(kind) if field.required}
        before = len(client.heard)
        await answer_request(service, client, kind(**needed))
        if len(client.heard) > before:
            at_once.add(kind)
    assert at_once == {kind for kind in REQUESTS if issubclass(kind, Query)}
    desk.box.saved(desk.awaited)
    assert len(client.heard) == len(REQUESTS)
