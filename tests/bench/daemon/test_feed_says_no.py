"""What an instrument says instead of a reading is told as that, once, and is no silence and no wrong baud rate."""

from __future__ import annotations

import time

import pytest

from bench.daemon.acquisition import Instrument
from bench.render.notices import text
from bench.settings.settings_file import PortSettings
from hw.formats.shared.line_splitter import with_parity

STEP = 0.1  # s between lines, as a gauge that sends ten a second


class Fed:
    """An instrument that is handed lines and looked at between them, at times of our own."""

    def __init__(self, **settings: object) -> None:
        self.told: list[tuple[str, str]] = []
        self.one = Instrument(
            "indicator",
            PortSettings(port="/dev/none", **settings),  # type: ignore[arg-type]
            lambda instrument, batch: None,
            lambda instrument: self.told.append((instrument.state, text([instrument.remark]))),
        )
        self.now = 100.0
        self.one._port_state("open", "/dev/none is open.")
        self.one._block(b"\r\n", int(self.now * 1e9))

    def say(self, line: bytes, times: int, step: float = STEP) -> None:
        for _ in range(times):
            self.now += step
            if line:
                self.one._block(line, int(self.now * 1e9))
            self.one.tick(self.now)


@pytest.mark.parametrize(
    ("line", "settings", "says"),
    [
        (b"ERR0\r\n", {}, "moved too fast"),
        (b"-----\r\n", {}, "no reading"),
        (b"911\r", {"options": {"profile": "code_channel_item"}}, "error 911"),
        (b"1 TO 999999.99 mm\r\n", {"options": {"profile": "mux"}}, "gauge"),
    ],
)
@pytest.mark.parametrize("step", [STEP, 1.0])
def test_its_own_word_for_no_reading_is_told_once(line, settings, says, step) -> None:
    fed = Fed(**settings)
    good = (
        b"01A+0001.234\r"
        if b"911" in line
        else b"1 MW+0001.234 mm\r\n"
        if b"TO" in line
        else b"+1.234 mm\r\n"
    )
    fed.say(good, 20)
    before = len(fed.told)
    fed.say(line, 100, step)
    new = fed.told[before:]
    assert [state for state, _ in new] == ["no-reading"], new
    assert says in new[0][1] and "baud" not in new[0][1]
    fed.say(good, 20)
    assert fed.told[-1][0] == "open"


def test_rubbish_is_not_told_as_silence_in_between() -> None:
    fed = Fed()
    fed.say(b"+1.234 mm\r\n", 20)
    before = len(fed.told)
    fed.say(bytes(range(128, 148)) + b"\r\n", 100)
    assert [state for state, _ in fed.told[before:]] == ["garbled"]


@pytest.mark.parametrize("bad", [b"+1.2.3 mm\r\n", b"ERR0\r\n"])
def test_a_line_of_which_most_is_bad_does_not_come_and_go(bad: bytes) -> None:
    fed = Fed()
    fed.say(b"+1.234 mm\r\n", 20)
    before = len(fed.told)
    for _ in range(60):
        fed.say(b"+1.234 mm\r\n", 1, 0.04)
        fed.say(bad, 2, 0.04)
    assert len(fed.told[before:]) == 1, fed.told[before:]
    fed.say(b"+1.234 mm\r\n", 20)
    assert fed.told[-1][0] == "open"


def test_silence_after_rubbish_is_silence() -> None:
    fed = Fed()
    fed.say(b"+1.234 mm\r\n", 20)
    fed.say(bytes(range(128, 148)) + b"\r\n", 50)
    fed.say(b"", 50)
    assert fed.told[-1][0] == "silent"


@pytest.mark.ci  # a daemon; what is told of such a press has its tests above, every day
def test_a_press_that_gave_no_reading_is_said_to_whoever_pressed(rigs, run, tmp_path) -> None:
    rig = rigs(marks='["20 mm", "60 mm", "100 mm", "140 mm"]')
    path = tmp_path / "settings.toml"
    path.write_text(path.read_text().replace("[indicator]", '[indicator]\nasking = "button"', 1))
    rig.sends = False
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1")
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
    check.enter()
    check.hear("Press the indicator's own button")
    rig.send("indicator", b"\r\nERR0\r\n")
    check.hear("gave no reading: moved too fast")
    time.sleep(0.3)  # no hand presses twice in that time, and five a second is the most that is told
    rig.send("indicator", b"+1.2.3 mm\r\n")
    check.hear("gave no reading: a second decimal point")


@pytest.mark.ci  # test_not_read has a daemon that waits, every day
def test_check_says_why_it_waits_and_that_it_need_not_any_longer(rigs, run) -> None:
    rig = rigs(marks='["20 mm", "60 mm", "100 mm", "140 mm"]')
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1")
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
    check.enter()
    check.hear("ready: pass 1 of 1, mark 1 of 4")
    check.enter()
    check.hear("mark 1 of 4: ")
    usual = rig.spoil
    rig.spoil = lambda name, line: b"ERR0\r\n" if name == "indicator" else line
    check.hear("has no reading: moved too fast")
    check.hear("does not read; do this pass again")
    check.hear("when the indicator reads again: pass 1 of 1, mark 1 of 4")
    rig.spoil = usual
    check.hear("The indicator is back.")


def test_an_instrument_that_repeats_what_it_is_asked_sends_no_rubbish() -> None:
    """Manuals: commands may be echoed by the instrument. Each is a line without a number, and none of it is a fault."""
    told = []
    fed = Fed(request="?\r", asking="request")
    fed.one._on_batch = lambda instrument, batch: told.extend(batch.rejected_frames)
    fed.say(b"?\r+0012.345 mm\r", 40)
    assert (fed.one.state, fed.one.readings, fed.one.rejects, told) == ("open", 40, 0, [])
    fed.say(b"??\r+0012.345 mm\r", 3)  # that is none
    assert (fed.one.rejects, len(told)) == (3, 3)


def test_with_seven_bits_the_request_carries_its_parity() -> None:
    """`?` is 0x3f, six ones, and stays; CR is 0x0d, three ones: even parity makes it 0x8d."""
    fed = Fed(request="?\r", asking="request", options={"parity7": "even"})
    assert fed.one._request.sends == b"?\x8d"
    fed.say(with_parity(b"?\r+0012.345 mm\r", "even"), 5)
    assert (fed.one.readings, fed.one.rejects) == (5, 0)


def test_what_pins_send_is_not_a_matter_of_baud_rates() -> None:
    fed = Fed(format="sync24", pins={"data": 5, "clock": 6}, options={})
    fed.say(b"0101\n" * 12, 3)
    assert fed.one.state == "garbled"
    assert "level shifter" in text([fed.one.remark]) and "baud" not in text([fed.one.remark])
