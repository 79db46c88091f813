"""`log events`: what instruments, clock and log did, in words, newest first, out of a log that the real writer wrote."""

from __future__ import annotations

import gzip
import json
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.cli.log import log as command
from bench.log import events
from bench.log.rows import Incident
from bench.procedure.status_message import StatusMessage

LOGS = Path(__file__).parents[3] / "fixtures" / "logs"
AWAY = "/dev/ttyUSB0 went away (the cable was pulled); it is taken up again when it is back."


def words(path, most: int = 50, units: str = "mm") -> list[str]:
    return [one.words for one in events.events(path, most, units)]


def test_what_instruments_did_is_told_newest_first(live, path) -> None:
    writer = live().writer
    writer.event(None, "instrument", {"name": "indicator", "state": "absent", "words": AWAY})
    writer.event(None, "instrument", {"name": "indicator", "state": "open", "words": "The indicator reads."})
    writer.event(None, "unit", {"name": "travel", "from": "mm", "to": "inch"})
    writer.event(None, "spoiled", {"name": "indicator", "words": "The indicator is on hold."})
    writer.event(None, "held", {"name": "travel", "value": 25.4, "held": 3})
    writer.event(None, "live-begun", {"finding": "f", "jig": "big-sled"})  # of a move, not of an instrument
    assert writer.flush()
    assert words(path) == [
        "The travel jumped to 25.400 mm. Left out, 3 so far: a jerk or its cable.",
        "The indicator is on hold.",
        "The travel was switched from mm to inch.",
        "The indicator reads.",
        f"Indicator: {AWAY}",
        "The log was opened by test 1.",
    ]
    assert words(path, 2, "inch")[0].startswith("The travel jumped to 1 in. ")
    assert [one.about for one in events.events(path, 3)] == ["travel", "indicator", "travel"]


def test_events_that_an_earlier_version_wrote_in_words_stay_readable(tmp_path) -> None:
    """A log of the version before events had codes, written by its own writer."""
    path = tmp_path / "log.db"
    path.write_bytes(gzip.decompress((LOGS / "events_in_words.sqlite.gz").read_bytes()))
    assert words(path) == [
        "Sled fence square, handle left: Taken back by hand.",
        "Sled fence square, handle left: This pass cannot be used: the indicator went away.",
        "The travel was found and kept in the settings: port /dev/x, grows away.",
        "A leaf of 0.100 mm moved the number by 0.100 mm. Right unit, right way.",
        "The travel jumped to 25.400 mm. Left out, 3 so far: a jerk or its cable.",
        "The travel was switched from mm to inch.",
        "The indicator reads again.",
        "The indicator is on hold, maximum or minimum. Switch that off on the gauge; till then nothing counts.",
        "The indicator reads.",
        f"Indicator: {AWAY}",
        "The log was opened by test 1.",
    ]


def test_an_event_of_a_code_is_told_in_its_words_and_an_unknown_one_in_those_beside_it(live, path) -> None:
    writer = live().writer
    of_now = {"name": "indicator", "code": "on-hold", "words": "what this version does not read"}
    of_later = {"name": "travel", "code": "of-a-later-version", "words": "The travel is asleep."}
    for data in (of_now, of_later):
        writer.event(None, "spoiled", data)
    assert writer.flush()
    later, now = words(path, 2)
    assert later == "The travel is asleep." and now.startswith(
        "The indicator is on hold, maximum or minimum."
    )


def test_passes_that_were_not_used_are_told_with_why_and_handling_is_not(live, path) -> None:
    life = live()
    life.begin()
    for sweep in ("void", "short", "kept", "jumped"):
        life.writer.start_sweep(sweep, "run-1", "handle-left")
    away = StatusMessage("pass-broken", {"why": "away", "name": "indicator"})
    life.writer.end_sweep("void", "refused", reason=away)
    life.writer.end_sweep("short", "refused", reason=StatusMessage("too-short"))
    life.writer.end_sweep("kept", "whole")
    life.writer.end_sweep("jumped", "whole")
    jumped = {"why": "The reading jumps by 0.5 mm: was zero pressed?"}
    life.writer.undo_sweep("jumped", StatusMessage("pass-not-straight", jumped))
    life.writer.start_sweep("running", "run-1", "handle-right")
    life.writer.close()
    assert live("boot-b").writer.flush()
    assert words(path) == [
        "Sled fence square, handle right: The program ended during the pass.",
        "The log was opened by test 1.",
        "Sled fence square, handle left: The reading jumps by 0.5 mm: was zero pressed?",
        "Sled fence square, handle left: This pass cannot be used: the indicator went away.",
        "The log was opened by test 1.",
    ]


def test_dates_of_before_the_clock_was_set_are_put_right(live, path, make) -> None:
    clock = make.Clock(monotonic_s=50.0, wall_s=100.0, synced=False)
    writer = live("boot-1970", clock=clock).writer
    writer.event(None, "instrument", {"name": "indicator", "words": "The indicator reads."})
    clock.monotonic_s, clock.wall_s, clock.synced = 650.0, 1_900_000_600.0, True
    writer.event(None, "clock-jumped", {"seconds": 7200.0})
    writer.event(None, "clock")
    assert writer.flush()
    clock_set, jumped, reads, opened = events.events(path, 50)
    assert jumped.words == "The clock of this machine jumped 2.0 h forward." and clock_set.about == "clock"
    assert opened.at == reads.at == "2030-03-17T17:46:40+00:00" and reads.synced


@pytest.mark.parametrize(
    ("kind", "data", "says"),
    [
        ("log-salvaged", {"set_aside": "old.db", "sweeps": 3, "findings": 1, "unreadable": 2}, "set aside"),
        ("log-lacks", {"finding": 1, "sweep": 4, "event": 9}, "1 result and 4 passes, "),
        ("log-lacks", {"event": 2}, "2 events, "),
        ("not-recorded", {"sweep": "s", "readings": 40, "why": "the log was stalled"}, "40 readings"),
        ("refused-by-log", {"why": "no such sweep"}, "no such sweep"),
        ("imported", {"taken": 3, "known": 1}, "3 results were new"),
        ("learned", {"what": "travel", "values": {"port": "/dev/x", "grows": "away"}}, "port /dev/x"),
        ("leaf", {"leaf_mm": 0.1, "change_mm": 0.1, "outcome": "proved"}, "0.100 mm"),
        ("leaf", {"leaf_mm": 0.1, "change_mm": None, "outcome": "nothing"}, "nothing proved"),
    ],
)
def test_every_kind_is_a_sentence(kind: str, data: dict[str, object], says: str) -> None:
    about, said = events.incident_words(Incident(kind, data, 0.0, True), "mm")
    assert says in said and said.endswith((".", "?", "!")) and about in ("log", "travel", "indicator")


def test_no_kind_is_listed_without_words(path) -> None:
    """Told by name, so that none of them falls to the last line as a trouble of the log."""
    for kind in events._INCIDENT_KINDS:
        about = events.incident_words(Incident(kind, {}, 0.0, True))[0]
        assert (about == "log") == (
            kind in ("log-salvaged", "log-lacks", "not-recorded", "refused-by-log", "imported")
        ), kind


def test_the_command_reads_a_file_in_local_time_and_as_json(live, path, monkeypatch) -> None:
    writer = live().writer  # at 2027-01-15 08:00:00 UTC
    writer.event(None, "unit", {"name": "indicator", "from": "mm", "to": "inch"})
    assert writer.flush()
    monkeypatch.setenv("TZ", "XST-5:30")
    time.tzset()
    try:
        said = CliRunner().invoke(command, ["events", "--log", str(path)], standalone_mode=False).output
    finally:
        monkeypatch.undo()
        time.tzset()
    assert said.splitlines()[0] == "2027-01-15 13:30:00  The indicator was switched from mm to inch."
    shown = CliRunner().invoke(command, ["events", "--log", str(path), "--json", "--most", "1"])
    assert json.loads(shown.output) == {
        "events": [
            {
                "at": "2027-01-15T08:00:00+00:00",
                "synced": True,
                "kind": "unit",
                "about": "indicator",
                "words": "The indicator was switched from mm to inch.",
            }
        ]
    }
