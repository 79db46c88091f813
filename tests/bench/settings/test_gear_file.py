"""Gear in two files: read together, told apart, and written back without losing a comment."""

from __future__ import annotations

import os
import stat
import tomllib
from pathlib import Path

import msgspec
import pytest

from bench.render.gear import jig_texts, saw_texts, square_texts
from bench.render.settings import settings_lines
from bench.settings.editor import add_gear
from bench.settings.settings_file import SettingsError, load


def both(folder: Path, settings: str, gear: str) -> tuple[Path, Path]:
    (folder / "settings.toml").write_text(settings, encoding="utf-8")
    (folder / "gear.toml").write_text(gear, encoding="utf-8")
    return folder / "settings.toml", folder / "gear.toml"


def test_both_files_together(tmp_path: Path) -> None:
    paths = both(
        tmp_path,
        '[saw.a]\n[jig.one]\npivot = "left"\n[leaves]\n',
        '[jig.two]\nsaw = "a"\n[leaves]\nset = ["0.05 mm"]\n',
    )
    settings = load(*paths)
    assert set(settings.gear.jigs) == {"one", "two"}
    assert settings.gear.leaves == (0.05,)
    assert {item.file for item in settings.written} == {str(paths[1])}


MITRE = '[jig.frames]\nmitre = "point-toward"\nmitre_pivot = "outer"\npivot_to_stop = "300 mm"\n'


def test_the_wall_is_said_once_for_a_sled(tmp_path: Path) -> None:
    paths = both(tmp_path, '[jig.big-sled]\nhold = "left"\n', "")
    jig = load(*paths).gear.jigs["big-sled"]
    assert jig.hold == "left"
    add_gear(paths[1], "jig", "again", jig_texts(jig))
    assert load(*paths).gear.jigs["again"].hold == "left"
    with pytest.raises(SettingsError, match=r'jig\.wrong\.hold: found "middle"'):
        load(*both(tmp_path, '[jig.wrong]\nhold = "middle"\n', ""))


def test_a_runner_and_an_arbor_are_said_once(tmp_path: Path) -> None:
    paths = both(tmp_path, '[saw.s]\nend_float = "0.01 mm"\n[jig.j]\nrunner_length = "450 mm"\n', "")
    gear = load(*paths).gear
    assert (gear.saws["s"].end_float, gear.jigs["j"].runner_length) == (0.01, 450.0)
    add_gear(paths[1], "jig", "again", jig_texts(gear.jigs["j"]))
    add_gear(paths[1], "saw", "again", saw_texts(gear.saws["s"]))
    again = load(*paths).gear
    assert (again.saws["again"].end_float, again.jigs["again"].runner_length) == (0.01, 450.0)


def test_a_mitre_sled_and_a_45_degree_square(tmp_path: Path) -> None:
    paths = both(tmp_path, MITRE + '[square.s]\narm = "200 mm"\nlong_edge = "283 mm"\n', "")
    settings = load(*paths)
    jig, square = settings.gear.jigs["frames"], settings.gear.squares["s"]
    assert (jig.mitre, jig.mitre_pivot, square.long_edge) == ("point-toward", "outer", 283.0)
    # the outer end of each stays, so that the inner one moves
    assert [jig.mitre_fence(which).moving_end for which in ("left", "right")] == ["right", "left"]
    told = " ".join(settings_lines(settings))
    assert "two fences at 45 degrees, at the near side. Their point is toward you" in told
    assert "the outer end of each stays" in told and "long edge 283 mm" in told
    add_gear(paths[1], "jig", "again", jig_texts(jig))
    add_gear(paths[1], "square", "t", square_texts(square))
    again = load(*paths)
    assert msgspec.structs.replace(again.gear.jigs["again"], name="frames") == jig
    assert again.gear.squares["t"].long_edge == 283.0
    assert load(*both(tmp_path, "[jig.plain]\n", "")).gear.jigs["plain"].mitre is None


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('mitre = "45"', r'jig\.frames\.mitre: found "45"'),
        ('mitre_pivot = "left"', r'jig\.frames\.mitre_pivot: found "left"'),
    ],
)
def test_a_mitre_sled_said_wrongly_is_refused(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        load(*both(tmp_path, f"[jig.frames]\n{line}\n", ""))


@pytest.mark.parametrize(
    ("one", "other", "key"),
    [
        ("[jig.s]\n", "[jig.s]\n", "jig.s"),
        ("[saw.s]\n", "[saw.s]\n", "saw.s"),
        ("[square.s]\n", "[square.s]\n", "square.s"),
        ('[leaves]\nset = ["1 mm"]\n', '[leaves]\nset = ["1 mm"]\n', "leaves.set"),
    ],
)
def test_the_same_name_in_both_names_both_files(tmp_path: Path, one: str, other: str, key: str) -> None:
    paths = both(tmp_path, one, other)
    with pytest.raises(SettingsError) as caught:
        load(*paths)
    message = str(caught.value)
    assert message.startswith(f"{paths[1]}: {key}: ")
    assert str(paths[0]) in message


def test_only_gear_stands_in_the_gear_file(tmp_path: Path) -> None:
    paths = both(tmp_path, "", 'units = "mm"\n')
    with pytest.raises(SettingsError, match=r"gear\.toml: units: .*\"saw\""):
        load(*paths)


def test_a_wrong_saw_names_the_file_of_its_jig(tmp_path: Path) -> None:
    paths = both(tmp_path, "[saw.a]\n", '[jig.s]\nsaw = "b"\n')
    with pytest.raises(SettingsError, match=r'gear\.toml: jig\.s\.saw: found "b"; "a" would do'):
        load(*paths)


COMMENTED = """# my shop

[jig.old]   # the first one
pivot = "left"  # seen pushing

[leaves]
set = ["0.05 mm"]  # the small tin
"""


def test_adding_keeps_what_stands_there(tmp_path: Path) -> None:
    path = tmp_path / "gear.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    add_gear(path, "jig", "new sled", {"pivot": "right", "pivot_to_screw": "19 3/4 in"})
    add_gear(path, "saw", "cabinet", {"rip_fence": "left"})
    add_gear(path, "leaves", None, {"set": ["0.05 mm", "0.10 mm"]})
    add_gear(path, "jig", "old", {"pivot_to_screw": "400 mm"})
    text = path.read_text(encoding="utf-8")
    for comment in ("# my shop", "# the first one", "# seen pushing"):
        assert comment in text
    gear = load(None, path).gear
    assert gear.jigs["new sled"].pivot_to_screw == pytest.approx(501.65)
    assert gear.jigs["old"].pivot == "left"
    assert gear.jigs["old"].pivot_to_screw == 400
    assert gear.saws["cabinet"].rip_fence == "left"
    assert gear.leaves == (0.05, 0.10)
    assert [entry.name for entry in tmp_path.iterdir()] == ["gear.toml"]


@pytest.mark.parametrize(
    "old",
    [
        '[jig.s]\npivot = "left"\n[saw.a]\n[jig.u]\n',
        '[jig]\n[jig.s]\npivot = "left"\n',
        'jig.s.pivot = "left"\n',
        'jig = {s = {pivot = "left"}}\n',
        "jig = {}\n",
        'leaves = {set = ["1 mm"]}\n',
        'leaves.set = ["1 mm"]\n',
        "[leaves]\n[jig.s]",
    ],
)
def test_adding_to_whatever_way_the_tables_were_written(tmp_path: Path, old: str) -> None:
    path = tmp_path / "gear.toml"
    path.write_text(old, encoding="utf-8")
    before = load(None, path).gear
    add_gear(path, "jig", "t", {"pivot": "left"})
    add_gear(path, "leaves", None, {"set": ["2 mm"]})
    add_gear(path, "jig", "s", {"widest_board": "600 mm"})
    add_gear(path, "saw", "q x", {})
    gear = load(None, path).gear
    assert set(gear.jigs) == {*before.jigs, "s", "t"}
    assert gear.jigs["s"].pivot == (before.jigs["s"].pivot if "s" in before.jigs else "right")
    assert gear.jigs["s"].widest_board == 600
    assert gear.jigs["t"].pivot == "left"
    assert gear.leaves == (2.0,)
    assert set(gear.saws) == {*before.saws, "q x"}


def test_adding_makes_file_and_folder(tmp_path: Path) -> None:
    path = tmp_path / "state" / "gear.toml"
    add_gear(path, "square", "shop", {"arm": "250 mm"})
    assert load(None, path).gear.squares["shop"].arm == 250
    assert "[square.shop]" in path.read_text(encoding="utf-8")


def test_adding_keeps_comments_of_a_file_that_holds_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "gear.toml"
    path.write_text("# yet to be filled\n", encoding="utf-8")
    add_gear(path, "leaves", None, {"set": ["0.05 mm"]})
    assert path.read_text(encoding="utf-8").startswith("# yet to be filled\n")


@pytest.mark.parametrize(
    ("kind", "name", "values", "key"),
    [
        ("jig", "s", {"pivot": "middle"}, "jig.s.pivot"),
        ("jig", "s", {"pivot_to_screw": "500"}, "jig.s.pivot_to_screw"),
        ("jig", "s", {"pivots": "left"}, "jig.s.pivots"),
        ("leaves", None, {"set": ["0.05"]}, r"leaves.set\[0\]"),
        ("jig", "a\nb", {"pivot": "left"}, "jig"),
    ],
)
def test_wrong_gear_is_refused_before_anything_is_written(
    tmp_path: Path, kind: str, name: str | None, values: dict[str, str], key: str
) -> None:
    path = tmp_path / "gear.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    with pytest.raises(SettingsError, match=rf"gear\.toml: {key}: "):
        add_gear(path, kind, name, values)  # type: ignore[arg-type]
    assert path.read_text(encoding="utf-8") == COMMENTED
    assert [entry.name for entry in tmp_path.iterdir()] == ["gear.toml"]


def test_gear_of_the_settings_file_is_not_added_a_second_time(tmp_path: Path) -> None:
    settings, gear = both(tmp_path, "[jig.s]\n", "# mine\n")
    with pytest.raises(SettingsError, match=r"jig\.s: found here and in .*settings\.toml"):
        add_gear(gear, "jig", "s", {"pivot": "left"}, settings_path=settings)
    with pytest.raises(SettingsError, match=r'jig\.t\.saw: found "none"'):
        add_gear(gear, "jig", "t", {"saw": "none"}, settings_path=settings)
    assert gear.read_text(encoding="utf-8") == "# mine\n"


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "gear.toml"
    path.write_text(COMMENTED, encoding="utf-8")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        add_gear(path, "saw", "a", {"rip_fence": "left"})
    assert path.read_text(encoding="utf-8") == COMMENTED
    assert [entry.name for entry in tmp_path.iterdir()] == ["gear.toml"]


def test_a_broken_file_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "gear.toml"
    path.write_text("[jig.s\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="not TOML"):
        add_gear(path, "saw", "a", {})
    assert path.read_text(encoding="utf-8") == "[jig.s\n"


def test_mode_and_link_are_kept(tmp_path: Path) -> None:
    real = tmp_path / "real.toml"
    real.write_text(COMMENTED, encoding="utf-8")
    real.chmod(0o640)
    link = tmp_path / "gear.toml"
    link.symlink_to(real)
    add_gear(link, "saw", "a", {"rip_fence": "left"})
    assert link.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert load(None, link).gear.saws["a"].rip_fence == "left"


@pytest.mark.parametrize("name", ["a" * 81, "a\\u001b[2Jb", "a\\nb", "\\u202eb", " "])
def test_a_name_is_one_short_line(tmp_path, name) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(f'[jig."{name}"]\npivot = "left"\n')
    with pytest.raises(SettingsError, match="a printable name of at most 80 characters would do") as told:
        load(path)
    assert str(told.value).isprintable()


def test_whatever_a_file_holds_what_is_wrong_is_one_line_of_a_terminal(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    for text in (
        'units = "\\u001b[2J\\u202e"',
        '[indicator]\nresolution = "\\u001b]0;x\\u0007 mm"',
        '["a\\u001b[2J"]',
        f'units = "{"a" * 60_000}"',
        f"[{'a' * 60_000}]",
    ):
        path.write_text(text)
        with pytest.raises(SettingsError) as told:
            load(path)
        said = str(told.value)
        assert said.isprintable() and len(said) < 1000 and str(path) in said


def test_what_lies_under_the_files_name_and_never_ends_is_not_waited_for(tmp_path) -> None:
    """Its folder may be written to by the whole group."""
    os.mkfifo(tmp_path / "pipe")
    assert load(tmp_path / "pipe").gear == load(None).gear
    (tmp_path / "endless").symlink_to("/dev/zero")
    with pytest.raises(SettingsError, match="more than 1000000 bytes"):
        load(tmp_path / "endless")


def test_more_leaves_than_anybody_stacks_are_refused(tmp_path) -> None:
    path = tmp_path / "gear.toml"
    add_gear(path, "leaves", None, {"set": [f"{n / 100:.2f} mm" for n in range(1, 201)]})
    with pytest.raises(SettingsError, match=r"201 lengths.*at most 200 would do"):
        add_gear(path, "leaves", None, {"set": [f"{n / 100:.2f} mm" for n in range(1, 202)]})
    assert len(tomllib.loads(path.read_text())["leaves"]["set"]) == 200
