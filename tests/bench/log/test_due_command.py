"""`due` and `drift` on logs of other hands: irregular, out of order, with wrong dates, damage and lying sensors."""

from __future__ import annotations

import json
import random
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from command import command

from bench.checks.model import Evidence, EvidenceGear
from bench.finding import BudgetRow, Climate, Finding, Quantity
from bench.gear import Jig
from bench.log.schema import GEAR_EVENT
from bench.log.upkeep_history import drift_of_log, due_of_log, load_history
from bench.procedure.invalid_request import InvalidRequest

MM = 1 / 300
FIRST = datetime(2025, 1, 10, 9, 0, tzinfo=UTC)


def keep(life, number: int, at: datetime | str, value: float, *, jig: str = "big-sled", **more) -> None:
    run = f"{jig}-run-{number}"
    life.begin(run, jig=jig)
    finding = Finding(
        id=f"{jig}-{number}",
        check="fence-square",
        jig=jig,
        at=at if isinstance(at, str) else at.isoformat(),
        quantities=[
            Quantity("fence", value, "rad", 0.011 * MM, 9.0, 0.05 * MM, "inside", "left end too near you"),
            Quantity("square", 0.02 * MM, "rad", 0.011 * MM, 9.0),
        ],
        verdict="inside",
        budget=[BudgetRow("between sweeps", "A", 0.005 * MM, 8, 1.0)],
        **more,
    )
    life.writer.finding(run, finding, Evidence("fence-square", [], {}, EvidenceGear(jig=Jig(jig))))


def month(number: float) -> datetime:
    return FIRST + timedelta(days=30.4 * number)


def asked_of(name: str, path: Path, *more: str) -> tuple[int, dict, str]:
    asked = command(name, "--log", str(path), *more)
    answer = json.loads(asked.stdout) if "--json" in more and asked.stdout else {}
    return asked.returncode, answer, asked.stdout + asked.stderr


@pytest.fixture
def quiet_year(live, path: Path) -> Path:
    toss = random.Random(2)
    life = live()
    for number in range(12):
        keep(life, number, month(number), toss.gauss(0, 0.004) * MM)
    life.writer.close()
    return path


def test_due_is_answered_for_a_day(quiet_year: Path) -> None:
    code, answer, _ = asked_of("due", quiet_year, "--json", "--at", "2025-12-20")
    assert code == 0
    (row,) = answer["due"]
    assert answer["at"] == "2025-12-20"
    assert list(row) == ["check", "jig", "saw", "state", "by", "last", "reason", "minutes", "quick"]
    assert (row["last"], row["by"], row["state"], row["reason"]) == (
        "2025-12-10",
        "2026-01-21",
        "later",
        "interval",
    )
    code, answer, words = asked_of("due", quiet_year, "--at", "2026-01-21")
    assert code == 1 and words.startswith(
        "Now: sled fence square of big-sled: it is time. It takes 2 minutes as a quick check."
    )
    code, _, words = asked_of("due", quiet_year, "--at", "2025-12-09")
    assert code == 2 and "2025-12-10" in words and words.count("\n") == 1


def test_an_alarm_is_due_now_until_it_is_answered(live, quiet_year: Path) -> None:
    life = live(at=quiet_year)
    keep(life, 12, month(12), 0.05 * MM)
    life.writer.close()
    at = month(12).date().isoformat()
    (row,) = due_of_log(quiet_year, at)["due"]
    assert (row["state"], row["reason"], row["quick"]) == ("now", "step", False)
    assert asked_of("drift", quiet_year)[0] == 1
    life = live(at=quiet_year)
    told = {
        "jig": "big-sled",
        "what": "accepted",
        "note": "",
        "at": (month(12) + timedelta(hours=1)).isoformat(),
    }
    life.writer.event(None, GEAR_EVENT, told, urgent=True)
    life.writer.close()
    (row,) = due_of_log(quiet_year, at)["due"]
    assert (row["state"], row["reason"]) == ("soon", "interval")
    document = drift_of_log(quiet_year)
    fence = next(s for s in document["series"] if s["quantity"] == "fence")
    assert not fence["alarm"] and fence["baselines"][-1]["reason"] == "accepted"
    assert [len(b["results"]) for b in fence["baselines"]] == [12, 1]


def test_a_sled_that_was_never_checked_is_named(live, quiet_year: Path) -> None:
    life = live(at=quiet_year)
    life.begin("open-run", jig="small-sled")
    life.writer.close()
    rows = due_of_log(quiet_year, "2025-12-20")["due"]
    assert [(row["jig"], row["state"]) for row in rows] == [
        ("small-sled", "never-checked"),
        ("big-sled", "later"),
    ]
    rows = due_of_log(quiet_year, "2025-12-20", ["mitre-sled"])["due"]
    assert "mitre-sled" in [row["jig"] for row in rows]
    with pytest.raises(InvalidRequest):
        due_of_log(quiet_year, "2025-01-20")


def test_out_of_order_is_the_same_as_in_order(live, path: Path, tmp_path: Path) -> None:
    """Two logs in one, or a file that was sorted otherwise: the dates decide."""
    toss = random.Random(4)
    values = [toss.gauss(0, 0.004) * MM for _ in range(24)]
    shuffled = list(range(24))
    toss.shuffle(shuffled)
    documents = []
    for place, numbers in ((path, range(24)), (tmp_path / "two.sqlite", shuffled)):
        life = live(at=place)
        for number in numbers:
            keep(life, number, month(number), values[number])
        life.writer.close()
        documents.append(drift_of_log(place))
    assert documents[0] == documents[1]
    assert documents[0]["left_out"] == []


def test_wrong_dates_and_lying_sensors_are_left_out_and_said(live, quiet_year: Path) -> None:
    life = live(at=quiet_year)
    keep(life, 20, "1970-01-01T00:03:00+00:00", 0.001 * MM)  # a machine without a clock chip
    keep(life, 21, "2019-05-05T10:00:00+00:00", 0.09 * MM)  # a clock that jumped
    keep(life, 22, month(12), 0.001 * MM, climate=Climate(21.0, 1.2))
    keep(life, 23, month(13), 0.001 * MM, climate=Climate(-60.0, 0.5))
    keep(life, 24, month(14), 0.001 * MM, climate=Climate(21.0, 0.5))
    life.writer.close()
    document = drift_of_log(quiet_year)
    assert [(one["id"], one["why"]) for one in document["left_out"]] == [
        ("big-sled-20", "date"),
        ("big-sled-21", "date"),
        ("big-sled-22", "climate"),
        ("big-sled-23", "climate"),
    ]
    (baseline,) = next(s for s in document["series"] if s["quantity"] == "fence")["baselines"]
    results = {one["id"]: one for one in baseline["results"]}
    assert len(results) == 15 and results["big-sled-22"]["humidity"] is None
    assert results["big-sled-24"]["humidity"] == 0.5
    _, _, words = asked_of("drift", quiet_year)
    assert "Left out: the result of 1970-01-01: its date cannot be right." in words
    assert load_history(quiet_year)[0].results  # nothing is taken from the log
    (row,) = due_of_log(quiet_year, month(14).date().isoformat())["due"]
    assert row["last"] == month(14).date().isoformat()


def test_damaged_rows_cost_themselves_only(quiet_year: Path) -> None:
    with closing(sqlite3.connect(quiet_year)) as db, db:
        db.execute("UPDATE finding SET finding_json = '{' WHERE finding_key = 5")
        db.execute("UPDATE event SET data_json = '{' WHERE kind = 'found'")
    code, answer, words = asked_of("due", quiet_year, "--json", "--at", "2025-12-20")
    assert code == 1 and len(answer["unread"]) == 1 and answer["due"][0]["state"] == "later"
    assert "1 result could not be read" in words
    assert len(drift_of_log(quiet_year)["series"][0]["baselines"][0]["results"]) == 11


def test_an_older_log_without_the_table_of_climate_is_read(tmp_path: Path) -> None:
    import gzip

    from tests.bench.log.conftest import LOGS

    old = tmp_path / "old.sqlite"
    old.write_bytes(gzip.decompress((LOGS / "first_tables.sqlite.gz").read_bytes()))
    before = old.read_bytes()
    assert [row["jig"] for row in due_of_log(old)["due"]] == ["big-sled", "small-sled"]
    assert drift_of_log(old)["series"]
    assert old.read_bytes() == before


def test_a_rip_fence_that_closes_leads_due_dates_and_charts(live, path: Path) -> None:
    life = live()
    life.begin("run-1", jig="big-sled")
    closes = Quantity(
        "rip-fence", 3e-4, "rad", 6e-6, 9.0, 1.6e-4, "outside", "closes at the rear", over=316.0
    )
    told = {"id": "rip-1", "jig": "big-sled", "at": FIRST.isoformat(), "verdict": "outside"}
    finding = Finding(check="rip-fence", quantities=[closes], **told)
    life.writer.finding("run-1", finding, Evidence("rip-fence", [], {}, EvidenceGear()))
    life.writer.close()
    _, _, words = asked_of("due", path, "--at", "2025-01-20")
    assert words.startswith("DANGER: the rip fence closes at the rear by 0.095 mm")
    assert "By 2025" in words or "Now: " in words
    _, _, words = asked_of("drift", path)
    assert "Latest, 2025-01-10: DANGER: closes at the rear: 0.09 mm" in words
