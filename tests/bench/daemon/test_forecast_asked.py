"""`sweepgauge cut` of a running daemon: from its log, with the sleds as the settings have them."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.checks.model import Evidence, EvidenceGear
from bench.finding import Finding, Quantity
from bench.gear import Jig
from bench.log.writer import LogWriter
from bench.protocol import CutForecast, Document, ShopForecast
from bench.protocol.client import RequestRefused

SETTINGS = """
[jig.big-sled]
widest_board = "500 mm"
tolerance = "0.10 mm per 300 mm"

[jig.small-sled]
"""


@pytest.fixture
def asked(tmp_path: Path, run, wire):
    """A client of a daemon whose log has one result of big-sled, taken when it was another sled."""
    (tmp_path / "settings.toml").write_text(SETTINGS)
    writer = LogWriter.open(
        tmp_path / "log.db", boot_id="b", program="t", on_saved=lambda _: None, on_trouble=lambda _: None
    )
    gear = EvidenceGear(jig=Jig("big-sled", widest_board=300.0))
    writer.begin_check("r", "fence-square", jig="big-sled", saw=None, options={}, gear=gear)
    fence = Quantity("fence", 1e-4, "rad", 2e-5, 4.0)
    found = Finding(id="f", check="fence-square", jig="big-sled", quantities=[fence])
    writer.finding("r", found, Evidence("fence-square", [], {}, gear))
    writer.finish("r")
    writer.close()
    run("daemon").hear("ready")
    return wire()


def test_forecasts_over_the_socket_are_what_the_command_prints_and_a_wrong_board_is_refused(
    asked, run
) -> None:
    told = asked.ask(CutForecast("big-sled"), Document).document
    assert (told["board_mm"], told["tolerance"]) == (500.0, pytest.approx(0.1 / 300))
    assert next(row for row in told["rows"] if row["part"] == "fence")["value"] == 1e-4
    command = run("cut", "--jig", "big-sled", "--json")
    assert command.wait() == (1 if told["good_share"] < 0.95 else 0)
    assert command.answer() == told
    for request in (ShopForecast(), CutForecast()):
        told = asked.ask(request, Document).document
        assert [(one["jig"], one["state"]) for one in told["sleds"]] == [
            ("big-sled", "bad"),
            ("small-sled", "never-checked"),
        ]
    with pytest.raises(RequestRefused, match="board takes a length from 20 to 5000 mm"):
        asked.ask(CutForecast("big-sled", {"board": "3 mm"}), Document)
    with pytest.raises(RequestRefused, match="no sled is called"):
        asked.ask(CutForecast("other-sled"), Document)
