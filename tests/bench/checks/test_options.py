"""What a check declares of its options is enforced where they enter: socket, command line, screen, recorded files."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import checks, find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.options import Option, OptionError, understood, validated
from bench.cli.common import CommandError
from bench.cli.options import read_options
from bench.gear import Jig
from bench.procedure.conclusion import conclude
from bench.protocol import Abandon, Begin, Done, Error, PromptChanged
from bench.render.notices import text
from bench.render.remarks import notes_of

ALL = [(check, option) for check in checks().values() for option in check.options]
PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
TYPED = st.builds(
    "{}{}{}".format,
    st.integers(-3000, 3000) | st.floats(-3000, 3000) | st.sampled_from(["1e400", "nan", "-inf", "3/4", "0"]),
    st.sampled_from(["", " "]),
    st.sampled_from(["", "mm", "in", "thou", "rad", "mrad", "deg", "mm per 300 mm"]),
)
ANYTHING = TYPED | st.recursive(PLAIN, lambda s: st.lists(s, max_size=3) | st.dictionaries(st.text(), s))
WORDS = st.sampled_from(sorted({c for _, o in ALL for c in o.choices}))


def within(option: Option, value: object) -> bool:
    if option.kind == "choice":
        return value in option.choices
    assert isinstance(value, int | float) and not isinstance(value, bool)
    assert option.low is not None and option.high is not None
    whole = option.kind != "count" or isinstance(value, int)
    return whole and math.isfinite(value) and option.low <= value <= option.high


@given(st.sampled_from(ALL), ANYTHING | WORDS)
def test_any_value_is_brought_into_range_or_refused(which, value) -> None:
    check, option = which
    try:
        values = validated(check, {option.name: value}, recorded=True)
    except OptionError as error:
        assert (error.check, error.option) == (check.kind, option.name)
        assert option.takes in error.problem
        assert check.kind in str(error) and len(str(error)) < 400
        return
    if value is None:
        assert values.get(option.name) == option.default
        return
    assert within(option, values[option.name])
    assert validated(check, values, recorded=True) == values
    assert understood(check, values) == (values, [])


@given(st.sampled_from(list(checks().values())), st.text(max_size=20), ANYTHING)
def test_what_no_check_asks_for_is_refused(check, name, value) -> None:
    if name in {option.name for option in check.options}:
        return
    with pytest.raises(OptionError, match="is not an option of"):
        validated(check, {name: value}, recorded=True)


def test_what_is_declared_is_whole() -> None:
    for check, option in ALL:
        names = {other.name for other in check.options}
        assert {option.needs, option.unless} <= names | {""}, option.name
        assert option.kind == "choice" or (option.low is not None and option.high is not None), option.name
        assert (option.kind == "choice") == bool(option.choices)
        if option.default is not None:
            assert within(option, option.default)
    for check in checks().values():
        swept = {s.gather for s in check.plan({}, EvidenceGear())} == {"sweep"}
        for option in check.options:
            if option.sweeps:
                assert not swept
                assert all(s.gather == "sweep" for s in check.plan({option.name: 4}, EvidenceGear()))


RUBBISH = [
    ("fence-square", {"touch_away": -50}, "touch away takes a length from 0 to 1000 mm, not -50"),
    ("fence-square", {"runner_length": 0}, "runner length takes a length from 10 to 5000 mm, not 0"),
    ("fence-square", {"runner_length": "0 mm"}, "not '0 mm'"),
    ("fence-square", {"runner_length": "450"}, 'has no unit: write what it is in, as in "0.05 mm"'),
    (
        "fence-square",
        {"nonsense": 5},
        "nonsense is not an option of fence-square; it has placements, quick, hold",
    ),
    ("fence-square", {"hold": 5}, "hold takes left or right, not 5"),
    ("fence-square", {"hold": True}, "not True"),
    ("fence-square", {"hold": ["left"]}, "hold takes left or right, not ['left']"),
    ("fence-square", {"touch_away": {"mm": 3}}, "touch away takes a length from 0 to 1000 mm, not {'mm': 3}"),
    ("fence-square", {"placements": "all"}, "takes both or handle-left or handle-right"),
    ("fence-square", {"mount": "carried"}, "mount is not an option"),  # only of a recorded file
    ("slot-blade", {"turns": 2.5}, "turns takes a whole number from 1 to 72, not 2.5"),
    ("slot-blade", {"turns": True}, "not True"),
    ("slot-blade", {"turns": 10**400}, "turns takes a whole number"),
    ("slot-blade", {"turns": 10**5000}, "turns takes a whole number"),
    ("slot-blade", {"end_float": 10**400}, "end float takes a length"),
    ("rip-fence", {"blade": "nan"}, "blade takes an angle from -0.1 to 0.1 rad, not 'nan'"),
    ("test-board", {"turns": 99}, "takes a whole number from 1 to 4, not 99"),
    ("test-board", {"turns": 0}, "takes a whole number from 1 to 4, not 0"),
]


@pytest.mark.parametrize(("kind", "options", "says"), RUBBISH)
def test_rubbish_is_refused_by_name(kind: str, options: dict[str, object], says: str) -> None:
    with pytest.raises(OptionError) as refused:
        validated(find(kind), options)
    assert says in str(refused.value) and kind in str(refused.value)


SETTINGS = """
[indicator]
port = "{indicator}"
[travel]
port = "{travel}"
"""


async def test_the_socket_takes_no_rubbish(first_bench) -> None:
    async with first_bench(SETTINGS) as bench:
        wire = await bench.talk()
        await bench.reads()
        for ref, (kind, options, says) in enumerate(RUBBISH):
            if 10**5000 in options.values():
                continue  # no JSON writes that
            line = {"type": "begin", "check": kind, "options": options, "ref": ref}
            wire._transport.write(json.dumps(line).encode() + b"\n")
            error = await bench.until(wire, Error)
            assert bench.service.station.run is None
            assert error.code == "wrong-use" and error.ref == ref and says in error.text
        wire.send(Begin("fence-square", options={"touch_away": "2 in", "hold": None}))
        await bench.until(wire, PromptChanged)
        run = bench.service.station.run
        assert run.options == {"placements": "both", "touch_away": 50.8}
        wire.send(Begin("fence-square", options={"touch_away": 50.8, "placements": "both"}))
        assert (
            await bench.until(wire, PromptChanged, lambda m: m.joined)
        ).run == run.id  # the same, said otherwise
        wire.send(Abandon())
        await bench.until(wire, Done)


def test_the_command_line_says_the_same() -> None:
    check = find("fence-square")
    read = read_options(check, {"runner_length": "18 in", "touch_away": None, "hold": "left"})
    assert read == {"placements": "both", "runner_length": pytest.approx(457.2), "hold": "left"}
    with pytest.raises(
        CommandError, match="fence-square: --touch-away takes a length from 0 to 1000 mm, not"
    ):
        read_options(check, {"touch_away": "-50 mm"})
    with pytest.raises(CommandError, match="--side is not an option of fence-square"):
        read_options(check, {"side": "left"})
    assert read_options(check, {"side": "left"}, recorded=True)["side"] == "left"


def swept(**options: object) -> Evidence:
    places = [float(s) for s in range(0, 200, 10)]
    traces = [
        Trace(p, places, [2.0 + 0.0004 * s for s in places], sweep=str(n), seat=str(n))
        for p in ("handle-left", "handle-right")
        for n in range(3)
    ]
    return Evidence("fence-square", traces, options, EvidenceGear(jig=Jig("sled")))  # type: ignore[arg-type]


ROW = "contact away from the teeth"


@pytest.mark.parametrize(
    ("odd", "why"),
    [
        ({"touch_away": -50}, "touch away takes a length from 0 to 1000 mm, not -50"),
        ({"runner_length": 0}, "runner length takes a length from 10 to 5000 mm, not 0"),
        ({"slot_straight": "straight"}, "slot straight takes a length"),
        ({"slot_straight": True}, "not True"),
    ],
)
def test_what_an_old_log_holds_is_worked_out_as_before_and_said(odd: dict[str, object], why: str) -> None:
    good = {"touch_away": 60.0, "slot_straight": 0.05, "runner_length": 450.0}
    whole = conclude(swept(**good), id="x", at="2026-01-01T00:00:00+00:00")
    assert ROW in {row.part for row in whole.budget}
    found = conclude(swept(**good | odd), id="x", at="2026-01-01T00:00:00+00:00")
    assert ROW not in {row.part for row in found.budget}
    assert any(why in note and "It is left out" in note for note in notes_of(found, "mm"))
    plain = conclude(swept(nonsense=5), id="x", at="2026-01-01T00:00:00+00:00")
    assert found.quantities == plain.quantities


def test_touching_away_without_what_it_takes_is_said() -> None:
    found = conclude(swept(touch_away=60.0), id="x", at="2026-01-01T00:00:00+00:00")
    assert ROW not in {row.part for row in found.budget}
    assert "touch-away-unknown" in found.codes


def test_an_old_log_is_exported_whatever_its_options(tmp_path: Path) -> None:
    from bench.log.export import as_shown

    trace = Trace("slot-left", [0.0], [19.05])
    odd = Evidence("runner-fit", [trace], {"stations": "many", "runner_length": -1.0, "runner": 7})
    assert as_shown(odd).traces == [trace]


async def test_a_check_left_open_by_an_older_version_is_taken_up_without_what_it_cannot_read(
    first_bench,
) -> None:
    from bench.log.rows import LoggedEvent, OpenCheck

    asked = {"check": "fence-square", "options": {"touch_away": -50, "hold": "left", "nonsense": 5}}
    event = LoggedEvent("asked-for", asked)
    left = OpenCheck("r", "fence-square", None, [event], [], [])
    async with first_bench(SETTINGS) as bench:
        checking = bench.service.station.controller
        told = text([checking.take_up(left, 0.0)])
        assert "goes on" in told and "touch away takes a length from 0 to 1000 mm, not -50" in told
        assert checking.run.options == {"hold": "left"}
        checking.session = None
