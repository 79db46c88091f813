"""What was learned is written as a person would have, and nothing else is touched; read back by tomllib and by load."""

from __future__ import annotations

import multiprocessing
import os
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.settings.editor import (
    HEADER,
    cable_keys_of,
    changes,
    has_key,
    section_text,
    write_section,
    write_setting,
)
from bench.settings.settings_file import SettingsError, load

INDICATOR = {
    "port": "/dev/serial/by-id/usb-a",
    "format": "line",
    "profile": "plain",
    "baud": 4800,
    "grows": "pulled-out",
}
TRAVEL = {"port": "/dev/serial/by-id/usb-b", "format": "line", "baud": 9600, "grows": "away"}


def test_a_new_file_is_one_that_a_person_could_have_written(tmp_path) -> None:
    path = tmp_path / "etc" / "settings.toml"
    assert changes(path, "indicator", INDICATOR) == []
    settings = write_section(path, "indicator", INDICATOR)
    write_section(path, "travel", TRAVEL)
    assert path.read_text() == (
        f'# {HEADER}\n\n[indicator]\nport = "/dev/serial/by-id/usb-a"\nformat = "line"\nprofile = "plain"\n'
        'baud = 4800\ngrows = "pulled-out"\n\n[travel]\nport = "/dev/serial/by-id/usb-b"\nformat = "line"\n'
        'baud = 9600\ngrows = "away"\n'
    )
    assert settings.indicator is not None and settings.indicator.baud == 4800
    assert load(path).travel is not None
    assert [p.name for p in path.parent.iterdir()] == ["settings.toml"]
    assert path.stat().st_mode & 0o777 == 0o664


def test_comments_order_and_other_keys_stay(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    before = (
        '# the shop\r\nunits = "inch" # thou\r\n\r\n[saw.cabinet]\r\n\r\n[indicator] # good one\r\n'
        'resolution = "0.0005 in"\r\nport = "/dev/old" # blue cable\r\nparity = "even"\r\nbits = 7\r\n'
    )
    path.write_bytes(before.encode())
    told = [change.text() for change in changes(path, "indicator", INDICATOR)]
    assert told == [
        'indicator.port = "/dev/old" becomes "/dev/serial/by-id/usb-a"',
        'indicator.parity = "even" is taken out',
        "indicator.bits = 7 is taken out",
    ]
    write_section(path, "indicator", INDICATOR)
    after = path.read_bytes().decode()
    for line in before.split("\r\n"):
        if "parity" not in line and "bits" not in line:
            assert line.replace("/dev/old", "/dev/serial/by-id/usb-a") in after
    assert has_key(path, "indicator", "resolution") and not has_key(path, "indicator", "tilt")


def test_marks_give_way_to_a_port_and_that_is_told(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[travel]\nmarks = ["10 mm", "20 mm", "30 mm", "40 mm"]\nscale_error = "0.2 %"\n')
    assert [change.key for change in changes(path, "travel", TRAVEL)] == ["travel.marks"]
    settings = write_section(path, "travel", TRAVEL)
    assert settings.gear.travel.scale_error == pytest.approx(0.002) and not settings.gear.travel.by_marks


def test_a_cable_changes_hands_and_what_describes_the_instrument_stays(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[indicator]\nport = "/dev/x"\nbaud = 4800\nmax_error = "0.004 mm"\n')
    speaks = cable_keys_of(path, "indicator")
    settings = write_section(path, "travel", {**speaks, "grows": "away"}, take_from="indicator")
    assert settings.indicator is None and settings.gear.indicator.max_error == 0.004
    assert settings.travel is not None and (settings.travel.port, settings.travel.baud) == ("/dev/x", 4800)


def test_every_option_of_a_format_goes_with_its_cable(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[indicator]\nport = "/dev/x"\njudged = true\nmax_error = "0.004 mm"\n')
    settings = write_section(path, "indicator", INDICATOR)
    assert settings.indicator is not None and "judged" not in settings.indicator.options
    assert settings.gear.indicator.max_error == 0.004


@pytest.mark.parametrize(
    "before",
    [
        'indicator.port = "/dev/x"\nunits = "mm"\n',
        'indicator = {port = "/dev/x", baud = 300}\nunits = "inch"\n',
        '[indicator]\nport = "/dev/x"\n[saw.a]\n[travel]\n',
        "\ufeff[indicator]\nport = '/dev/x'\n",
    ],
)
def test_whatever_the_person_s_way_of_writing(tmp_path, before) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(before, encoding="utf-8")
    write_section(path, "indicator", INDICATOR)
    assert {
        k: tomllib.loads(path.read_text().lstrip("\ufeff"))["indicator"][k] for k in INDICATOR
    } == INDICATOR
    assert load(path).gear.indicator.grows == "pulled-out"


def test_a_file_made_read_only_stays_as_it_is_also_for_root(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("units = 'mm'\n")
    path.chmod(0o444)
    with pytest.raises(PermissionError, match="read-only"):
        write_section(path, "indicator", INDICATOR)
    assert path.read_text() == "units = 'mm'\n"
    assert section_text("travel", TRAVEL).startswith(
        '[travel] port = "/dev/serial/by-id/usb-b"; format = "line"; baud = 9600'
    )


@pytest.mark.skipif("os.geteuid() != 0", reason="root alone gives a file to another user")
def test_a_file_that_another_user_wrote_by_hand_is_added_to(tmp_path) -> None:
    """As root writes it with an editor, for a daemon that runs as its own user."""
    path = tmp_path / "settings.toml"
    path.write_text("units = 'inch'  # mine\n")
    path.chmod(0o644)
    tmp_path.chmod(0o777)
    for folder in tmp_path.parents:
        if folder.stat().st_uid == os.geteuid() and not folder.stat().st_mode & 0o001:
            folder.chmod(0o755)
    process = multiprocessing.get_context("fork").Process(target=_keep_as_nobody, args=(path,))
    process.start()
    process.join()
    assert process.exitcode == 0
    assert path.read_text().startswith("units = 'inch'  # mine\n")
    assert load(path).gear.indicator.grows == "pulled-out"


def _keep_as_nobody(path) -> None:
    os.setgid(65534)
    os.setuid(65534)
    write_section(path, "indicator", INDICATOR)


@pytest.mark.parametrize(
    ("before", "words"),
    [("[indicator\n", "not TOML"), ("indicator = 3\n", "a table would do"), ("[indicatr]\n", "indicatr")],
)
def test_a_file_that_is_wrong_is_said_by_its_own_name_and_left(tmp_path, before, words) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(before)
    with pytest.raises(SettingsError, match=words) as caught:
        changes(path, "indicator", INDICATOR)
        write_section(path, "indicator", INDICATOR)
    assert str(path) in str(caught.value)
    assert path.read_text() == before


words = st.text(st.characters(codec="ascii", categories=["L", "N", "Zs"]), min_size=1, max_size=12)


@given(st.lists(st.tuples(words, words), max_size=5, unique_by=lambda pair: pair[0].strip()), words)
def test_all_that_is_not_ours_stays_word_for_word(tmp_path_factory, sleds, remark) -> None:
    """Any sleds and remarks around: after two writings every line of before is still there, in its order."""
    path = tmp_path_factory.mktemp("any") / "settings.toml"
    before = f"# {remark}\n" + "".join(
        f'[jig."s{n} {name.strip()}"] # {comment}\npivot = "left"\n'
        for n, (name, comment) in enumerate(sleds)
    )
    path.write_text(before)
    write_section(path, "indicator", INDICATOR)
    write_section(path, "indicator", {**INDICATOR, "baud": 9600})
    after = path.read_text()
    assert after.startswith(before)
    settings = load(path)
    assert len(settings.gear.jigs) == len(sleds) and settings.indicator is not None


@pytest.mark.parametrize(
    "before",
    [
        "",
        "# mine\n[indicator]\nport = '/dev/x'\n",
        "units = 'mm' # both\n[saw.a]\n",
        "[jig.a]\n\n[jig.b]\n",
        "a = 1\n",
    ],
)
def test_units_stand_before_all_tables(tmp_path, before) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(before)
    if "a = 1" in before:
        with pytest.raises(SettingsError):  # a key that means nothing: nothing is written
            write_setting(path, "units", "inch")
        assert path.read_text() == before
        return
    assert write_setting(path, "units", "inch").units == "inch"
    assert load(path).units == "inch"
    for line in before.splitlines():
        assert line.replace("'mm'", '"inch"') in path.read_text().splitlines()


def test_a_link_laid_where_the_new_file_is_made_is_not_followed(tmp_path) -> None:
    """The folder may be written to by the whole group: what it lays there must not empty the log."""
    log = tmp_path / "log.db"
    log.write_text("ten years of sleds")
    path = tmp_path / "etc" / "settings.toml"
    path.parent.mkdir()
    (path.parent / f".{path.name}.{os.getpid()}.new").symlink_to(log)
    write_section(path, "indicator", INDICATOR)
    assert log.read_text() == "ten years of sleds" and not path.is_symlink()
    assert load(path).indicator is not None
