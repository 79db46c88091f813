"""The settings file: everything that may stand in it, and everything that may be wrong with it."""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from bench.gear import Caliper, Gear, Indicator, Jig, Saw, Square, Travel
from bench.render.settings import settings_lines
from bench.settings.settings_file import (
    PanelSettings,
    PortSettings,
    Settings,
    SettingsError,
    default_paths,
    load,
)

WHOLE = """
units = "mm"                          # what people see: "mm" or "inch"

[indicator]                           # without port: describes the instrument for evaluate
port = "/dev/serial/by-id/..."        # a device or a pyserial URL
format = "line"
profile = "plain"
baud = 9600
default_unit = "mm"
resolution = "0.001 mm"
max_error = "0.003 mm"
short_span_error = "0.001 mm"
grows = "pushed-in"
tilt = "2 deg"

[travel]
port = "/dev/serial/by-id/..."
grows = "away"
scale_error = "0.1 %"

[caliper]
resolution = "0.01 mm"
max_error = "0.02 mm"

[panel]
pedal = 17
lamp = 27
buzzer = 22

[saw.cabinet]
rip_fence = "right"
parallel = "0.05 mm per 150 mm"
toe = "0.08 mm per 500 mm"
wobble = "0.05 mm"

[jig.big-sled]
saw = "cabinet"
fence = "near"
pivot = "right"
pivot_to_blade = "250 mm"
pivot_to_screw = "500 mm"
pivot_to_stop = "480 mm"
screw_pitch = "1.25 mm"
widest_board = "600 mm"
tolerance = "0.05 mm per 300 mm"

[square.shop]
arm = "250 mm"
tolerance = "0.02 mm"

[leaves]
set = ["0.04 mm", "0.05 mm", "0.10 mm", "0.15 mm"]
"""


def read(folder: Path, text: str, gear: str | None = None) -> Settings:
    (folder / "settings.toml").write_text(text, encoding="utf-8")
    if gear is not None:
        (folder / "gear.toml").write_text(gear, encoding="utf-8")
    return load(folder / "settings.toml", folder / "gear.toml")


def complaint(folder: Path, text: str, gear: str | None = None) -> str:
    with pytest.raises(SettingsError) as caught:
        read(folder, text, gear)
    message = str(caught.value)
    assert "\n" not in message
    return message


def test_a_whole_file(tmp_path: Path) -> None:
    settings = read(tmp_path, WHOLE)
    assert settings.units == "mm"
    assert settings.indicator == PortSettings(
        port="/dev/serial/by-id/...", profile="plain", options={"default_unit": "mm", "profile": "plain"}
    )
    assert settings.travel == PortSettings(port="/dev/serial/by-id/...")
    assert settings.caliper is None
    assert settings.panel == PanelSettings(pedal=17, lamp=27, buzzer=22)
    gear = settings.gear
    assert gear.indicator == Indicator(
        resolution=0.001, max_error=0.003, short_span_error=0.001, tilt=math.radians(2)
    )
    assert gear.travel == Travel(by_marks=False)
    assert gear.caliper == Caliper(resolution=0.01, max_error=0.02)
    assert gear.saws == {"cabinet": Saw("cabinet", parallel=0.05 / 150, toe=0.08 / 500, wobble=0.05)}
    assert gear.jigs["big-sled"] == Jig(
        name="big-sled",
        saw="cabinet",
        pivot_to_blade=250,
        pivot_to_screw=500,
        pivot_to_stop=480,
        screw_pitch=1.25,
        widest_board=600,
        tolerance=0.05 / 300,
    )
    assert gear.jigs["big-sled"].lever == -480
    assert gear.squares == {"shop": Square("shop", arm=250, tolerance=0.02)}
    assert gear.leaves == (0.04, 0.05, 0.10, 0.15)


def test_the_defaults_written_out_are_the_defaults_left_out(tmp_path: Path) -> None:
    """What the file above states as usual is what an empty table of the same name gives."""
    bare = read(tmp_path, "[saw.cabinet]\n[jig.big-sled]\n").gear
    whole = read(tmp_path, WHOLE).gear
    assert bare.saws == whole.saws
    assert bare.jigs["big-sled"].tolerance == whole.jigs["big-sled"].tolerance
    assert bare.caliper == whole.caliper
    assert bare.indicator.tilt == pytest.approx(whole.indicator.tilt)


@pytest.mark.parametrize("text", ["", "# nothing yet\n", None])
def test_an_absent_or_empty_file_is_a_working_default(tmp_path: Path, text: str | None) -> None:
    path = tmp_path / "settings.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    for settings in (load(path), load(path, tmp_path / "gear.toml"), load(str(path)), load("/dev/null")):
        assert settings.gear == Gear()
        assert settings.gear.travel.by_marks
        assert settings.gear.travel.marks == tuple(range(25, 226, 25))
        assert settings.indicator is settings.travel is settings.caliper is settings.panel is None
        assert settings.written == ()
    assert load(tmp_path / "none" / "at" / "all.toml") == Settings()
    assert load() == Settings()


def test_an_indicator_without_port_is_described_only(tmp_path: Path) -> None:
    settings = read(tmp_path, '[indicator]\nresolution = "0.01 mm"\ngrows = "pulled-out"\nage = "50 ms"\n')
    assert settings.indicator is None
    assert settings.gear.indicator == Indicator(resolution=0.01, grows="pulled-out", age=0.05)


def test_inch_people(tmp_path: Path) -> None:
    settings = read(
        tmp_path,
        'units = "inch"\n[jig.s]\npivot = "left"\npivot_to_screw = "19 3/4 in"\ntolerance = "2 thou per ft"\n'
        '[leaves]\nset = ["1.5 thou", "2 thou"]\n[indicator]\nresolution = "0.0005 in"\n',
    )
    assert settings.gear.jigs["s"].pivot_to_screw == pytest.approx(501.65)
    assert settings.gear.jigs["s"].lever == pytest.approx(501.65)
    assert settings.gear.leaves == pytest.approx((0.0381, 0.0508))
    told = "\n".join(settings_lines(settings))
    assert 'jig.s.pivot_to_screw: written "19 3/4 in", understood as 19.75 in.' in told
    assert 'jig.s.tolerance: written "2 thou per ft", understood as 2 thou per ft.' in told
    assert 'indicator.resolution: written "0.0005 in", understood as 0.5 thou.' in told


def test_marks_of_ones_own(tmp_path: Path) -> None:
    settings = read(tmp_path, '[travel]\nmarks = ["0 mm", "1 in", "50 mm", "100 mm"]\ngrows = "toward"\n')
    assert settings.gear.travel == Travel(marks=(0, 25.4, 50, 100), by_marks=True, grows="toward")
    assert settings.travel is None


def test_port_settings(tmp_path: Path) -> None:
    settings = read(
        tmp_path,
        '[indicator]\nport = "socket://localhost:7"\nbaud = 4800\nbits = 7\nparity = "even"\nstop = 2\n'
        'dtr = false\nrequest = "R\\r"\nrate = 5\nsettle = "2 s"\n'
        'range_mm = [-1, 26.5]\ndecimals = 3\nparity7 = "even"\ndefault_unit = "inch"\n'
        '[caliper]\nport = "/dev/x"\nformat = "line"\nasking = "button"\n',
    )
    assert settings.indicator == PortSettings(
        port="socket://localhost:7",
        baud=4800,
        bits=7,
        parity="E",
        stop=2,
        settle=2.0,
        dtr=False,
        asking="request",
        request="R\r",
        rate=5,
        options={"decimals": 3, "range_mm": "-1,26.5", "parity7": "even", "default_unit": "in"},
    )
    assert settings.caliper == PortSettings(port="/dev/x", asking="button")


def test_pins_in_place_of_a_port(tmp_path: Path) -> None:
    settings = read(
        tmp_path,
        '[indicator]\nformat = "sync24"\ndata = 5\nclock = 6\ninvert = true\n'
        '[travel]\nformat = "quad_x4"\na = 23\nb = 24\nper_count = "0.005 mm"\n',
    )
    assert settings.indicator is not None
    assert settings.indicator.pins == {"data": 5, "clock": 6}
    assert settings.indicator.port == ""
    assert settings.travel is not None
    assert settings.travel.pins == {"a": 23, "b": 24}
    assert settings.travel.per_count == 0.005
    assert not settings.gear.travel.by_marks


@pytest.mark.parametrize(
    ("text", "key", "found", "would_do"),
    [
        ('unit = "mm"', "unit", "means nothing", '"units"'),
        ('units = "cm"', "units", '"cm"', '"mm" or "inch"'),
        ("units = 3", "units", "3", '"mm" or "inch"'),
        ("indicator = 3", "indicator", "3", "[indicator]"),
        ('[indicator]\nresolutoin = "0.001 mm"', "indicator.resolutoin", "means nothing", '"resolution"'),
        ("[indicator]\nresolution = 0.001", "indicator.resolution", "0.001", '"0.001 mm"'),
        ('[indicator]\nresolution = "0.001"', "indicator.resolution", '"0.001" has no unit', '"0.05 mm"'),
        ('[indicator]\nresolution = "0 mm"', "indicator.resolution", '"0 mm"', "more than 0 mm"),
        ('[indicator]\nresolution = "-1 mm"', "indicator.resolution", '"-1 mm"', "more than 0 mm"),
        ('[indicator]\nresolution = "1 mm 2"', "indicator.resolution", '"1 mm 2"', "0.05 mm"),
        ('[indicator]\nresolution = ["1 mm"]', "indicator.resolution", "['1 mm']", "with a unit"),
        ('[indicator]\ntilt = "80 deg"', "indicator.tilt", '"80 deg"', "28.648 deg"),
        ('[indicator]\ngrows = "away"', "indicator.grows", '"away"', '"pushed-in" or "pulled-out"'),
        ('[indicator]\nformat = "lines"', "indicator.format", '"lines"', '"bcd28", "line"'),
        ("[indicator]\nport = 3", "indicator.port", "3", "by-id"),
        ('[indicator]\nport = ""', "indicator.port", '""', "by-id"),
        ('[indicator]\nbaud = "9600"', "indicator.baud", '"9600"', "whole number"),
        ("[indicator]\nbaud = true", "indicator.baud", "true", "whole number"),
        ("[indicator]\nbits = 9", "indicator.bits", "9", "from 5 to 8"),
        ("[indicator]\nstop = 1.2", "indicator.stop", "1.2", "1, 1.5 or 2"),
        ('[indicator]\nparity = "E"', "indicator.parity", '"E"', '"even"'),
        ("[indicator]\ndtr = 1", "indicator.dtr", "1", "true or false"),
        ('[indicator]\nasking = "request"', "indicator.request", "nothing", "R\\r"),
        ('[indicator]\ndefault_unit = "cm"', "indicator.default_unit", '"cm"', '"mm" or "in"'),
        ('[indicator]\nrange_mm = ["a"]', "indicator.range_mm", "['a']", "list of numbers"),
        ('[indicator]\nport = "/dev/x"\nprofile = "plane"', "indicator", "'plane'", "plain"),
        ('[indicator]\nformat = "sync24"\ndata = 5', "indicator.clock", "nothing", "pin number"),
        ('[indicator]\nformat = "sync24"\ndata = 5\nclock = 5', "indicator.clock", "5", "indicator.data"),
        ('[travel]\nformat = "quad_x4"\na = 5\nb = 6', "travel.per_count", "nothing", '"0.005 mm"'),
        ('[travel]\nport = "/dev/x"\na = 5', "travel.a", "means nothing", '"'),
        ("[panel]\npedal = 17\nlamp = 17", "panel.lamp", "17", "panel.pedal"),
        ("[panel]\npedal = 40", "panel.pedal", "40", "from 0 to 27"),
        ("[panel]\npedel = 4", "panel.pedel", "means nothing", '"pedal"'),
        ('[travel]\nport = "/dev/x"\nmarks = ["1 mm"]', "travel.marks", "1 mm", "either marks or port"),
        ('[travel]\nmarks = ["1 mm", "3 mm", "2 mm"]', "travel.marks", "3.0, 2.0", "farther"),
        ('[travel]\nmarks = ["1 mm", "2 mm"]', "travel.marks", "1.0, 2.0", "four or more"),
        ('[travel]\nmarks = ["1 mm", "2 mm", "x"]', "travel.marks[2]", '"x"', "0.05"),
        ('[travel]\nmarks = "25 mm"', "travel.marks", '"25 mm"', "a list of lengths"),
        ('[travel]\nscale_error = "50 %"', "travel.scale_error", '"50 %"', "from 0 % to 10 %"),
        ("[travel]\nscale_error = 0.001", "travel.scale_error", "0.001", '"0.001 %"'),
        ('[travel]\ngrows = "up"', "travel.grows", '"up"', '"away" or "toward"'),
        ('[caliper]\nmax_error = "x mm"', "caliper.max_error", '"x mm"', "0.05"),
        ('[saw]\nrip_fence = "right"', "saw.rip_fence", '"right"', "name of its own"),
        ('[saw.a]\nrip_fence = "near"', "saw.a.rip_fence", '"near"', '"left" or "right"'),
        ('[saw.a]\ntoe = "0.08 mm"', "saw.a.toe", "a length, not a slope", "per 300 mm"),
        ('[saw.a]\ntoe = "80 mm per 500 mm"', "saw.a.toe", '"80 mm per 500 mm"', "100 mm per 1 m"),
        ('[jig.s]\nsaw = "b"\n[saw.a]', "jig.s.saw", '"b"', '"a" would do'),
        ('[jig.s]\nsaw = "b"', "jig.s.saw", '"b"', "[saw.b]"),
        ('[jig.s]\npivot = "near"', "jig.s.pivot", '"near"', '"left" or "right"'),
        ('[jig.s]\nfence = "left"', "jig.s.fence", '"left"', '"near" or "far"'),
        ("[jig.s]\npivot_to_screw = 500", "jig.s.pivot_to_screw", "500", '"500 mm"'),
        ('[jig.s]\npivot_to_scew = "500 mm"', "jig.s.pivot_to_scew", "means nothing", '"pivot_to_screw"'),
        ('[jig.s]\npivot_to_screw = "500 m"', "jig.s.pivot_to_screw", '"500 m"', "at most 10 m"),
        ("[jig.s]\ntolerance = 0.1", "jig.s.tolerance", "0.1", '"0.1 mm per 300 mm"'),
        ('[square.q]\narm = "-2 mm"', "square.q.arm", '"-2 mm"', "more than 0 mm"),
        ('[leaves]\nset = ["0.04 mm", "0 mm"]', "leaves.set[1]", '"0 mm"', "more than 0 mm"),
        ("[leaves]\nset = [0.04]", "leaves.set[0]", "0.04", '"0.04 mm"'),
        ('leaves = ["0.04 mm"]', "leaves", "0.04 mm", "[leaves]"),
        ('[jigs.s]\npivot = "left"', "jigs", "means nothing", '"jig"'),
        ("units = \n[panel]", "not TOML", "line 1", "units"),
        ('units = "mm"\nunits = "mm"\n', "not TOML", "line 2", "units"),
    ],
)
def test_a_wrong_key_or_value_is_named(
    tmp_path: Path, text: str, key: str, found: str, would_do: str
) -> None:
    message = complaint(tmp_path, text)
    assert message.startswith(f"{tmp_path / 'settings.toml'}: {key}: ")
    assert found in message
    assert would_do in message


def test_unreadable_files(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_bytes(b'units = "\xff"')
    with pytest.raises(SettingsError, match="byte 10 is not text"):
        load(path)
    with pytest.raises(SettingsError, match="cannot be read"):
        load(tmp_path)
    path.write_bytes(b'\xef\xbb\xbfunits = "inch"\r\n')  # as some editors save it
    assert load(path).units == "inch"


def test_a_name_with_a_line_break_stays_on_one_line(tmp_path: Path) -> None:
    complaint(tmp_path, '[jig."a\\nb"]\n')
    complaint(tmp_path, '"a\\nb" = 3\n')
    complaint(tmp_path, '[indicator]\n"a\\nb" = "x\\ny"\n')
    complaint(tmp_path, '[indicator]\nresolution = "1\\nmm 2"\n')


TOML_VALUES = st.one_of(
    st.booleans(),
    st.integers(-(2**40), 2**40),
    st.floats(allow_nan=True),
    st.text(
        st.characters(codec="utf-8", exclude_characters='"\\', min_codepoint=32, exclude_categories=["C"])
    ),
    st.sampled_from(["0.05 mm", "2 deg", "left", "near", "line", "0.05 mm per 300 mm"]),
)
KEYS = st.sampled_from(
    [
        *("units", "indicator", "travel", "caliper", "panel", "saw", "jig", "square", "leaves", "set"),
        *("port", "format", "pivot", "marks", "resolution", "pedal", "a"),
    ]
)


def toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + "}"
    return repr(value)


@hypothesis_settings(max_examples=2 * hypothesis_settings().max_examples)
@given(
    st.dictionaries(
        KEYS,
        st.recursive(
            TOML_VALUES,
            lambda v: st.lists(v, max_size=3) | st.dictionaries(KEYS, v, max_size=3),
            max_leaves=5,
        ),
        max_size=4,
    )
)
def test_any_file_is_settings_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, tree: dict[str, object]
) -> None:
    path = tmp_path_factory.getbasetemp() / "any-settings.toml"
    path.write_text("\n".join(f"{key} = {toml(value)}" for key, value in tree.items()), encoding="utf-8")
    try:
        settings_lines(load(path))
    except SettingsError as error:
        assert str(error).startswith(f"{path}: ")
        assert "\n" not in str(error)


def test_words_say_each_figure_as_written_and_as_understood(tmp_path: Path) -> None:
    lines = settings_lines(read(tmp_path, WHOLE))
    told = "\n".join(lines)
    assert "Lengths are shown in millimetres." in lines
    assert (
        "Indicator: /dev/serial/by-id/...; format line, profile plain; 9600 baud 8N1; default_unit mm."
        in lines
    )
    assert "its left end moves" in told
    assert 'saw.cabinet.parallel: written "0.05 mm per 150 mm", understood as 0.10 mm per 300 mm.' in lines
    assert 'travel.scale_error: written "0.1 %", understood as 0.1 %.' in lines
    figures = [line for line in lines if ": written " in line]
    assert len(figures) == 19
    assert all(line.endswith((".", ":")) and "\n" not in line for line in lines)


def test_words_warn_of_names_that_wander_and_of_one_port_for_two(tmp_path: Path) -> None:
    told = "\n".join(
        settings_lines(
            read(tmp_path, '[indicator]\nport = "/dev/ttyUSB0"\n[travel]\nport = "/dev/ttyUSB0"\n')
        )
    )
    assert "by-id" in told
    assert "same port" in told
    assert "working" not in "\n".join(settings_lines(load()))


# --- where things are -------------------------------------------------------------------------------


def test_paths_of_a_user() -> None:
    """XDG base directory specification 0.8: defaults below the home directory, relative ones ignored."""
    paths = default_paths({"HOME": "/home/u", "XDG_RUNTIME_DIR": "/run/user/7"})
    assert str(paths.settings) == "/home/u/.config/sweepgauge/settings.toml"
    assert str(paths.log) == "/home/u/.local/state/sweepgauge/sweepgauge.db"
    assert str(paths.gear) == "/home/u/.local/state/sweepgauge/gear.toml"
    assert str(paths.socket) == "/run/user/7/sweepgauge/socket"
    without = default_paths({"HOME": "/home/u", "XDG_STATE_HOME": "/s", "XDG_CONFIG_HOME": "relative"})
    assert str(without.socket) == "/s/sweepgauge/socket"
    assert str(without.settings) == "/home/u/.config/sweepgauge/settings.toml"


def test_paths_of_the_service_come_before_xdg() -> None:
    service = {
        "STATE_DIRECTORY": "/var/lib/gauge:/var/lib/other",
        "RUNTIME_DIRECTORY": "/run/gauge",
        "CONFIGURATION_DIRECTORY": "/etc/gauge",
        "HOME": "/home/u",
        "XDG_RUNTIME_DIR": "/run/user/7",
    }
    paths = default_paths(service)
    assert (str(paths.settings), str(paths.log)) == (
        "/etc/gauge/settings.toml",
        "/var/lib/gauge/sweepgauge.db",
    )
    assert (str(paths.gear), str(paths.socket)) == ("/var/lib/gauge/gear.toml", "/run/gauge/socket")


def test_named_paths_come_first_and_the_command_line_before_the_environment() -> None:
    environ = {
        "SWEEPGAUGE_SETTINGS": "/e/s.toml",
        "SWEEPGAUGE_LOG": "/e/log.db",
        "SWEEPGAUGE_SOCKET": "/e/sock",
        "STATE_DIRECTORY": "/var/lib/gauge",
    }
    paths = default_paths(environ)
    assert (str(paths.settings), str(paths.log), str(paths.socket)) == ("/e/s.toml", "/e/log.db", "/e/sock")
    assert str(paths.gear) == "/e/gear.toml"
    own = default_paths(environ, settings="/c/s.toml", log="/c/log.db", socket="/c/sock")
    assert (str(own.settings), str(own.log), str(own.socket)) == ("/c/s.toml", "/c/log.db", "/c/sock")


def test_without_home_the_password_database_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    import pwd

    home = pwd.getpwuid(os.getuid()).pw_dir
    assert str(default_paths({}).settings) == f"{home}/.config/sweepgauge/settings.toml"

    def nobody(uid: int) -> None:
        raise KeyError(uid)

    monkeypatch.setattr(pwd, "getpwuid", nobody)
    with pytest.raises(SettingsError, match="HOME"):
        default_paths({})
