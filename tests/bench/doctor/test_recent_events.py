"""What happened while nobody looked is told by the doctor, out of a log that the real writer wrote."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.doctor.recent_events import recent_events
from bench.log.rows import Stamp
from bench.log.writer import LogWriter

NOW = 1.9e9


@pytest.fixture
def log(tmp_path: Path):
    writer = LogWriter.open(
        tmp_path / "log.db",
        boot_id="b",
        program="test",
        on_saved=lambda _: None,
        on_trouble=lambda _: None,
    )
    yield writer
    writer.close()


def instrument(log: LogWriter, ago: float, state: str, words: str) -> None:
    data = {"name": "indicator", "state": state, "words": words}
    log.event(None, "instrument", data, at=Stamp(1, NOW - ago, True))


def test_the_days_troubles_are_counted_and_the_last_ones_told(log: LogWriter) -> None:
    instrument(log, 90_000, "silent", "The day before.")
    instrument(log, 5_000, "open", "The indicator reads.")
    for ago in (4_000, 3_000):
        instrument(log, ago, "absent", "It went away (the cable was pulled).")
        instrument(log, ago - 1, "absent", "It is not there.")
        instrument(log, ago - 2, "open", "It is open.")
    instrument(log, 2_000, "no-reading", "The indicator says it has no reading.")
    log.event(None, "held", {"name": "travel", "value": 3.2, "held": 1}, at=Stamp(2, NOW - 100, True))
    assert log.flush()
    indicator, travel = recent_events(log.path, NOW)
    assert indicator.good is None and "went away 2 times" in indicator.words
    assert "said it had no reading once" in indicator.words and "silent" not in indicator.words
    assert len(indicator.evidence) == 3 and "no reading" in indicator.evidence[-1]
    assert "leapt and came back once" in travel.words and "3.200 mm" in travel.evidence[0]


def test_what_is_told_goes_by_codes_and_not_by_sentences(log: LogWriter) -> None:
    instrument(log, 90_000, "open", "Open since the day before.")
    instrument(log, 3_000, "absent", "Any sentence.")
    instrument(log, 2_900, "absent", "It went away, says this sentence, and it was absent before.")
    for ago, code in ((2_000, "on-hold"), (1_900, "reads-again")):
        data = {"name": "indicator", "words": "It reads again.", "code": code}
        log.event(None, "spoiled", data, at=Stamp(1, NOW - ago, True))
    log.event(
        None,
        "instrument",
        {"name": "travel", "state": "absent", "words": "It went away."},
        at=Stamp(2, NOW, True),
    )
    assert log.flush()
    (indicator,) = recent_events(log.path, NOW)  # of the travel nothing was there before
    assert indicator.words == "in the last 24 hours it went away once, sent what cannot be used once"


def test_what_is_told_of_it_is_made_of_the_codes_that_the_daemon_writes(log: LogWriter) -> None:
    port = {
        "state": "absent",
        "code": "instrument-port",
        "name": "indicator",
        "port": "/dev/x",
        "before": "open",
    }
    log.event(None, "instrument", {**port, "why": "/dev/x is not there."}, at=Stamp(1, NOW - 100, True))
    switched = {"name": "travel", "from": "mm", "to": "inch"}
    log.event(None, "unit", switched, at=Stamp(2, NOW - 90, True))
    assert log.flush()
    indicator, travel = recent_events(log.path, NOW)
    assert indicator.evidence[0].endswith("The indicator's port is not there.")
    assert "from mm to inch" in travel.evidence[0]


def test_a_quiet_day_and_a_missing_log_are_no_matter(log: LogWriter, tmp_path: Path) -> None:
    instrument(log, 10, "open", "The indicator reads.")
    assert log.flush()
    assert not list(recent_events(log.path, NOW))
    assert not list(recent_events(tmp_path / "none.db", NOW))


def test_what_the_log_lost_is_a_fault(log: LogWriter) -> None:
    at = Stamp(2, NOW - 100, True)
    log.event(None, "log-salvaged", {"set_aside": "old.db", "sweeps": 3, "findings": 1}, at=at)
    log.event(None, "log-lacks", {"finding": 2, "sweep": 1}, at=at)
    assert log.flush()
    (one,) = recent_events(log.path, NOW)
    assert (one.about, one.good) == ("log", False)
    assert "2 results and 1 pass, saved before and lost since" in one.evidence[-1]


def test_what_was_spoiled_is_told_by_its_code_and_what_reads_again_is_no_trouble(log: LogWriter) -> None:
    for ago, code, words in ((200, "on-hold", "On hold."), (100, "reads-again", "It is well.")):
        log.event(
            None, "spoiled", {"name": "indicator", "code": code, "words": words}, at=Stamp(2, NOW - ago, True)
        )
    assert log.flush()
    (indicator,) = recent_events(log.path, NOW)
    assert "sent what cannot be used once" in indicator.words and "is on hold" in indicator.evidence[0]


def test_a_cable_that_was_not_there_at_the_start_did_not_go_away(log: LogWriter) -> None:
    for ago, before in ((300, ""), (200, "absent"), (100, "open")):
        data = {"name": "travel", "state": "absent", "words": "It is not there.", "before": before}
        log.event(None, "instrument", data, at=Stamp(2, NOW - ago, True))
    assert log.flush()
    (travel,) = recent_events(log.path, NOW)
    assert "went away once" in travel.words
