"""A first start on real pseudo-terminals: what moves is found, what is ambiguous is said, and nothing half written."""

from __future__ import annotations

import asyncio
import os

import pytest
from encoders import make_encoder
from plunger import press_plunger, slip_leaf
from turns import until

from bench.protocol import (
    Cables,
    Error,
    GearReply,
    GetStatus,
    Learn,
    Press,
    PutUnits,
    SetupNotice,
    StatusReply,
)
from bench.settings.settings_file import load

BOTH = """# my own words
units = "mm"
[indicator]  # the good one
port = "{indicator}"
resolution = "0.001 mm"
max_error = "0.004 mm"
[travel]
port = "{travel}"
"""


def asking(what: str):
    return lambda m: m.what == what and m.phase == "asking"


def seen(m: SetupNotice) -> bool:
    return m.phase == "seen"


def both_read(m: Cables) -> bool:
    return sum(c.state == "reads" for c in m.cables) == 2


async def on_the_cables(bench, wire) -> None:
    """Both cables are heard, and the plunger is asked for."""
    await bench.until(wire, Cables, both_read)
    if not any(isinstance(m, SetupNotice) for m in wire.said):
        await bench.until(wire, SetupNotice, asking("indicator"))


async def test_from_no_file_to_two_instruments_that_read(first_bench, monkeypatch) -> None:
    """Numbers at once; plunger and sled are found and their ways learned; read without a restart; it loads."""
    monkeypatch.setattr("bench.daemon.device_setup.LINGER_S", 0.2)
    async with first_bench() as bench:
        wire = await bench.talk()
        cables = await bench.until(wire, Cables, lambda m: any(c.value is not None for c in m.cables))
        assert cables.first
        await on_the_cables(bench, wire)
        assert not bench.settings_file.exists()
        await press_plunger(bench.hands, 1)
        found = await bench.until(wire, SetupNotice, seen)
        assert (found.port, found.grows, found.enter) == (bench.names["indicator"], "pushed-in", True)
        assert found.value == pytest.approx(2.0, abs=0.05)
        assert not bench.settings_file.exists()  # before the press nothing is written
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: m.phase == "kept" and not m.on)
        wire.send(Learn("travel"))
        await bench.until(wire, SetupNotice, asking("travel"))
        await bench.until(wire, Cables, both_read)
        await bench.hands.push(70.0, 400.0)
        found = await bench.until(wire, SetupNotice, seen)
        assert (found.port, found.grows) == (bench.names["travel"], "away")
        wire.send(Press(waits=False))
        status = await bench.until(wire, StatusReply)
        assert [(one.name, one.role) for one in status.instruments] == [
            ("indicator", "indicator"),
            ("travel", "travel"),
        ]
        await bench.reads("travel")
        kept = load(bench.settings_file)
        assert kept.indicator is not None and kept.travel is not None
        assert (kept.indicator.port, kept.indicator.baud) == (bench.names["indicator"], 9600)
        assert (kept.gear.indicator.grows, kept.gear.indicator.resolution) == ("pushed-in", 0.001)
        assert (kept.travel.port, kept.gear.travel.grows) == (bench.names["travel"], "away")
        await bench.until(wire, Cables, lambda m: not m.cables, 6.0)  # nobody looks for cables any more


@pytest.mark.ci
async def test_an_indicator_that_falls_as_it_is_pushed_in_and_a_scale_that_counts_down(first_bench) -> None:
    down = {
        "encode_indicator": lambda mm: b"%+09.3f mm\r\n" % (12.0 - mm),
        "encode_travel": lambda mm: b"%+09.2f mm\r\n" % (300.0 - mm),
    }
    async with first_bench(**down) as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await press_plunger(bench.hands, 1)
        assert (await bench.until(wire, SetupNotice, seen)).grows == "pulled-out"
        wire.send(Learn("travel"))  # what was seen is not kept
        await bench.until(wire, SetupNotice, asking("travel"))
        await bench.hands.push(70.0, 400.0)
        assert (await bench.until(wire, SetupNotice, seen)).grows == "toward"
        assert not bench.settings_file.exists()
        wire.send(Press(waits=False))
        told = await bench.until(
            wire, StatusReply, lambda m: any(i.name == "travel" and i.port for i in m.instruments)
        )
        assert [one.grows for one in told.instruments if one.name == "travel"] == ["toward"]


@pytest.mark.ci
async def test_a_board_is_found_with_the_gauge_whose_bits_it_sends(first_bench) -> None:
    """What tells its gauge's word goes into the file, and is needed already to hear the plunger."""
    board = make_encoder("line", {"profile": "bridge", "gauge": "sync24"})
    async with first_bench(encode_indicator=board) as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await press_plunger(bench.hands, 1)
        await bench.until(wire, SetupNotice, seen)
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: m.phase == "kept")
        await bench.reads()
        port = load(bench.settings_file).indicator
        assert port is not None and port.options == {"profile": "bridge", "gauge": "sync24"}


@pytest.mark.slow  # every day the same is seen in test_motion, without cables
async def test_two_that_move_one_that_goes_away_and_a_press_too_short(first_bench) -> None:
    """Said plainly, and asked again; the cable that is put back is heard again."""
    async with first_bench() as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await asyncio.gather(press_plunger(bench.hands, 1), bench.hands.stop_at(1.6, 40.0))
        said = await bench.until(wire, SetupNotice, lambda m: "More than one moved" in m.words)
        assert said.phase == "asking" and "pretend-travel by 1." in said.words
        await press_plunger(bench.hands, 1, 0.05)
        said = await bench.until(
            wire, SetupNotice, lambda m: "0.1 mm at least" in m.words.replace("0.10", "0.1")
        )
        assert said.phase == "asking"
        await press_plunger(bench.hands, 1)
        await bench.until(wire, SetupNotice, seen)
        bench.ports.unplug("indicator")
        said = await bench.until(wire, SetupNotice, asking("indicator"))
        assert "went away; nothing was kept" in said.words
        wire.send(Press(waits=False))
        wire.send(GetStatus())
        await bench.until(wire, StatusReply)  # the key before it was taken
        assert not bench.settings_file.exists()
        bench.ports.replug("indicator")
        await on_the_cables(bench, wire)


@pytest.mark.slow  # likewise
async def test_the_sled_must_go_far_enough_and_stay(first_bench) -> None:
    async with first_bench() as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        wire.send(Learn("travel"))
        await bench.until(wire, SetupNotice, asking("travel"))
        await bench.hands.push(20.0, 400.0, settle=1.0)
        await bench.until(wire, SetupNotice, lambda m: "50 mm at least" in m.words and m.phase == "asking")
        await bench.hands.push(40.0, 400.0)
        found = await bench.until(wire, SetupNotice, seen)
        assert found.value == pytest.approx(60.0, abs=3.0)  # what it had gone already counts


@pytest.mark.ci
async def test_later_it_is_found_anew_and_what_the_file_says_otherwise_is_told_first(first_bench) -> None:
    """Comments and other keys stay; the way is what the plunger says, not what was written."""
    text = BOTH.replace("[travel]", 'grows = "pulled-out"\n[travel]')
    async with first_bench(text) as bench:
        wire = await bench.talk()
        await bench.reads()
        assert (
            not bench.service.device_setup.scanner.on
        )  # nothing is asked by itself where instruments are set up
        wire.send(Learn("indicator"))
        await bench.until(wire, SetupNotice, asking("indicator"))
        await bench.until(wire, Cables, lambda m: {c.role for c in m.cables} == {"indicator", "travel"})
        await bench.until(wire, Cables, both_read)
        await press_plunger(bench.hands, 1)
        found = await bench.until(wire, SetupNotice, seen)
        assert 'indicator.grows = "pulled-out" becomes "pushed-in"' in found.words
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: m.phase == "kept")
        after = bench.settings_file.read_text()
        assert after == text.format(**bench.names).replace("pulled-out", "pushed-in")
        assert bench.service.shared.settings.gear.indicator.grows == "pushed-in"


async def test_a_file_that_may_not_be_written_is_said_and_what_to_write_there(first_bench) -> None:
    async with first_bench('units = "mm"\n') as bench:
        os.chmod(bench.settings_file, 0o444)
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await press_plunger(bench.hands, 1)
        await bench.until(wire, SetupNotice, seen)
        wire.send(Press(waits=False))
        said = await bench.until(wire, SetupNotice, lambda m: m.phase == "failed")
        assert "read-only" in said.words and f'port = "{bench.names["indicator"]}"' in said.words
        assert bench.settings_file.read_text() == 'units = "mm"\n'
        assert bench.service.station.wired.all == []


async def proof(bench, wire, leaf: float, under: float) -> SetupNotice:
    """Rest, Enter, the leaf under the tip, Enter; the last that was said."""
    wire.send(Learn("leaf", leaf=leaf))
    await bench.until(wire, SetupNotice, lambda m: m.enter and m.step == 1)
    await asyncio.sleep(0.1)
    wire.send(Press(waits=False))
    await bench.until(wire, SetupNotice, lambda m: m.enter and m.step == 2)
    slipping = asyncio.create_task(slip_leaf(bench.hands, under, 4.0))
    await asyncio.sleep(0.4)
    wire.send(Press(waits=False))
    try:
        return await bench.until(
            wire, SetupNotice, lambda m: m.phase != "asking" or (m.enter and m.step == 2)
        )
    finally:
        slipping.cancel()
        bench.hands._pulses.clear()  # the leaf is drawn out


@pytest.mark.parametrize(
    ("grows", "under", "phase", "words"),
    [
        ("pushed-in", 0.10, "kept", "going in: right unit, right way"),
        # every day the proof itself is tried in tests/bench/procedure/test_leaf.py
        pytest.param("pushed-in", 0.15, "failed", "where the leaf is 0.100 mm", marks=pytest.mark.ci),
        pytest.param("pulled-out", 0.10, "failed", "the wrong way", marks=pytest.mark.ci),
        pytest.param("pushed-in", 0.0, "asking", "is the leaf under the tip?", marks=pytest.mark.slow),
    ],
)
async def test_a_leaf_proves_or_contradicts(first_bench, grows, under, phase, words) -> None:
    async with first_bench(BOTH.replace("[travel]", f'grows = "{grows}"\n[travel]')) as bench:
        wire = await bench.talk()
        await bench.reads()
        before = bench.settings_file.read_bytes()
        said = await proof(bench, wire, 0.10, under)
        assert said.phase == phase, said
        assert words in said.words
        assert bench.settings_file.read_bytes() == before


@pytest.mark.slow  # two proofs one after the other
async def test_inches_taken_for_millimetres_are_named_and_put_right_by_a_press(first_bench) -> None:
    text = BOTH.replace('resolution = "0.001 mm"', 'resolution = "0.00005 mm"')
    inches = {"encode_indicator": lambda mm: b"%+09.5f\r" % (mm / 25.4)}
    async with first_bench(text, **inches) as bench:
        wire = await bench.talk()
        await bench.reads()
        said = await proof(bench, wire, 0.10, 0.10)
        assert said.phase == "seen" and "1/25.4" in said.words and "inches" in said.words
        assert "default_unit" not in bench.settings_file.read_text()
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: "prove it again" in m.words)
        kept = load(bench.settings_file)
        assert kept.indicator is not None and kept.indicator.options["default_unit"] == "in"
        assert kept.gear.indicator.resolution == pytest.approx(0.00005 * 25.4)
        assert (await proof(bench, wire, 0.10, 0.10)).phase == "kept"


async def test_what_cannot_be_is_refused_in_a_sentence(first_bench) -> None:
    async with first_bench() as bench:
        wire = await bench.talk()
        wire.send(Learn("leaf", leaf=0.1, ref=5))
        assert "no indicator is set up" in (await bench.until(wire, Error)).text
        wire.send(Learn("leaf", leaf=12.0, ref=6))
        assert "proves it, not one of 12" in (await bench.until(wire, Error)).text


async def test_a_daemon_that_ends_in_mid_learning_comes_up_asking_again(first_bench) -> None:
    """Nothing was written; the same is asked of whoever looks."""
    async with first_bench() as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await press_plunger(bench.hands, 1)
        await bench.until(wire, SetupNotice, seen)
        await bench.stop()
        assert [p.name for p in bench.folder.iterdir() if p.suffix == ".toml" or p.name.startswith(".")] == []
        await bench.start()
        wire = await bench.talk()
        await bench.until(wire, SetupNotice, asking("indicator"))


async def test_an_indicator_in_inches_sends_its_unit_and_so_it_is_shown(first_bench) -> None:
    """Its count in its own unit; what people see follows it, as nothing says otherwise, and is turned by a request."""
    inches = {"encode_indicator": lambda mm: b"%+09.4f in\r\n" % (round(mm / 25.4 / 0.0005) * 0.0005)}
    async with first_bench(**inches) as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await press_plunger(bench.hands, 1)
        assert "the screen will show inches too" in (await bench.until(wire, SetupNotice, seen)).words
        search = bench.service.device_setup._search
        while (
            "resolution" not in search.found.values
        ):  # on a busy machine one press shows too few numbers to tell
            await press_plunger(bench.hands, 1)
            await bench.until(wire, SetupNotice, seen)
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: m.phase == "kept")
        kept = load(bench.settings_file)
        assert kept.units == "inch" and 'resolution = "0.0005 in"' in bench.settings_file.read_text()
        wire.send(PutUnits("mm"))
        await bench.until(wire, GearReply, lambda m: m.units == "mm")
        assert load(bench.settings_file).units == "mm"


@pytest.mark.slow  # three readings a second take their time
async def test_slow_instruments_that_send_no_unit_with_parity(first_bench) -> None:
    """Seven bits and even parity, three lines a second; the file says how they speak."""

    def even(text: bytes) -> bytes:
        return bytes(byte | (0x80 if byte.bit_count() % 2 else 0) for byte in text)

    slow = {
        "rate": 3.3,
        "encode_indicator": lambda mm: even(b"%+09.3f\r" % mm),
        "encode_travel": lambda mm: even(b"%+09.2f\r" % mm),
    }
    async with first_bench(**slow) as bench:
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        await asyncio.sleep(0.7)
        pressing = asyncio.create_task(bench.hands.push_in(2.0, 2.0, 0.3))
        found = await bench.until(wire, SetupNotice, seen)
        await pressing
        assert found.grows == "pushed-in"
        wire.send(Press(waits=False))
        await bench.until(wire, SetupNotice, lambda m: m.phase == "kept")
        text = bench.settings_file.read_text()
        assert 'parity7 = "even"' in text and 'default_unit = "mm"' in text
        assert "resolution" not in text  # too few values to tell it from
        await bench.reads()
        wire.send(Learn("travel"))
        await bench.until(wire, SetupNotice, asking("travel"))
        await bench.hands.push(70.0, 100.0)
        assert (await bench.until(wire, SetupNotice, seen)).grows == "away"


@pytest.mark.slow
async def test_an_indicator_that_speaks_at_its_own_button_only(first_bench) -> None:
    """Its button at rest, pressed in, and let out again."""
    async with first_bench(modes={"indicator": "button"}) as bench:
        wire = await bench.talk()
        await bench.until(wire, Cables, lambda m: any(c.state == "silent" for c in m.cables))

        def heard(value: float):
            return lambda m: any(c.value is not None and abs(c.value - value) < 0.01 for c in m.cables)

        bench.ports.press_send()
        await bench.until(wire, Cables, heard(0.0))
        await asyncio.sleep(1.0)
        pressing = asyncio.create_task(bench.hands.push_in(2.0, 3.0, 0.1))
        await asyncio.sleep(0.5)
        bench.ports.press_send()
        await bench.until(wire, Cables, heard(2.0))
        await pressing
        bench.ports.press_send()
        found = await bench.until(wire, SetupNotice, seen)
        assert (found.port, found.value) == (bench.names["indicator"], pytest.approx(2.0, abs=0.01))


async def test_ports_are_held_on_for_nobody(first_bench, monkeypatch) -> None:
    """Whoever wanted it is gone: the cables are free for other programs, until somebody looks again."""
    monkeypatch.setattr("bench.daemon.device_setup.LINGER_S", 0.2)
    async with first_bench() as bench:
        assert not bench.service.device_setup.scanner.on  # nobody has looked yet
        wire = await bench.talk()
        await on_the_cables(bench, wire)
        wire.close()
        scanner = bench.service.device_setup.scanner
        await until(lambda: not (scanner.on or scanner.listeners))
        wire = await bench.talk()
        await on_the_cables(bench, wire)


async def test_nothing_that_moves_is_said_with_what_is_heard(first_bench, monkeypatch) -> None:
    monkeypatch.setattr("bench.daemon.cable_search.IDLE_S", 0.3)
    async with first_bench() as bench:
        wire = await bench.talk()
        said = await bench.until(
            wire, SetupNotice, lambda m: "Nothing has moved yet" in m.words and "pretend-travel" in m.words
        )
        assert said.phase == "asking" and "heard: pretend-indicator, pretend-travel" in said.words
        bench.ports.silence("travel")
        bench.ports.unplug("indicator")
        bench.ports.unplug("travel")
        await bench.until(wire, SetupNotice, lambda m: "no instrument is heard" in m.words)
