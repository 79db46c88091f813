"""Every screen at three sizes, sign by sign beside the one that was looked at and kept.

The kept ones stand in fixtures/pictures/screens, a file for each screen. Rebuilt only by hand,
`SWEEPGAUGE_PICTURES=rebuild pytest -n 0 -m "" tests/bench/console/pictures`; look at the difference before keeping it.
`SWEEPGAUGE_PICTURES=FOLDER` writes each as the picture that the program makes of itself (SVG), in all themes.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from bench.console import themes

SIZES = [(40, 15), (80, 24), (160, 48)]
KEPT = Path(__file__).parents[4] / "fixtures" / "pictures" / "screens"
ASKED = os.environ.get("SWEEPGAUGE_PICTURES", "")
EVERYDAY = ("set-up", "out", "live-go")


def page(name: str, pictures: dict[tuple[int, int], list[str]]) -> str:
    rows = []
    for (wide, high), lines in pictures.items():
        rows += [f"== {name} {wide}x{high}", *(f"|{line}" for line in lines)]
    return "\n".join(rows) + "\n"


async def _taken(
    names: list[str], every: dict, keys: dict, scenes, screens, folder: Path, look: str, sizes=SIZES
) -> dict[str, dict]:
    out: dict[str, dict] = {name: {} for name in names}
    for size in sizes:
        async with screens.console(folder, size, look) as (app, pilot):
            for name in names:
                await screens.put(app, pilot, every[name], keys.get(name, ()), scenes)
                out[name][size] = screens.shown(app)
                if ASKED not in ("", "rebuild"):
                    folder = Path(ASKED)
                    folder.mkdir(parents=True, exist_ok=True)
                    picture = app.export_screenshot(title="sweepgauge")
                    (folder / f"{name}-{size[0]}-{look}.svg").write_text(picture)
    return out


def _compare(taken: dict[str, dict]) -> None:
    changed = []
    for name, pictures in taken.items():
        now, kept = page(name, pictures), KEPT / f"{name}.txt"
        if ASKED == "rebuild":
            KEPT.mkdir(parents=True, exist_ok=True)
            kept.write_text(now)
        if not kept.exists() or now != kept.read_text():
            changed.append(name)
    assert not changed, f"drawn otherwise; look at them, then rebuild: {changed}"


async def test_the_screens_of_the_job_are_those_that_were_looked_at(
    scenes, every_scene, keys, screens, tmp_path
) -> None:
    _compare(await _taken(list(EVERYDAY), every_scene, keys, scenes, screens, tmp_path, "shop"))


@pytest.mark.ci
async def test_every_screen_is_the_one_that_was_looked_at(
    scenes, every_scene, keys, screens, tmp_path
) -> None:
    _compare(await _taken(list(every_scene), every_scene, keys, scenes, screens, tmp_path, "shop"))


@pytest.mark.ci
async def test_the_pi_s_own_screen_knows_every_sign(scenes, every_scene, keys, screens, tmp_path) -> None:
    """No character outside code page 437 in any screen of the theme for TERM=linux."""
    taken = await _taken(list(every_scene), every_scene, keys, scenes, screens, tmp_path, "tube")
    for name, pictures in taken.items():
        for size, lines in pictures.items():
            unknown = {c for c in "".join(lines) if not _in_437(c)}
            assert not unknown, (name, size, unknown)


def _in_437(char: str) -> bool:
    try:
        char.encode("cp437")
    except UnicodeEncodeError:
        return False
    return True


@pytest.mark.ci
async def test_without_colour_it_is_the_same_screen(scenes, every_scene, keys, screens, tmp_path) -> None:
    names = list(every_scene)
    one = await _taken(names, every_scene, keys, scenes, screens, tmp_path, "shop")
    other = await _taken(names, every_scene, keys, scenes, screens, tmp_path, "pencil")
    # the row of the look itself names it
    assert {n for n in names if one[n] != other[n]} <= {"cables"}


async def test_a_phone_has_room_for_the_drawing(scenes, every_scene, keys, screens, tmp_path) -> None:
    taken = await _taken(["drawing"], every_scene, keys, scenes, screens, tmp_path, "shop", sizes=SIZES[:1])
    text = "\n".join(taken["drawing"][SIZES[0]])
    assert all(word in text for word in ("you", "blade", "push sled", "indicator", "sled fence"))


def test_no_kept_screen_is_without_its_scene(every_scene) -> None:
    assert {path.stem for path in KEPT.glob("*.txt")} == set(every_scene)


def test_every_theme_is_known_by_its_name() -> None:
    assert [themes.find_theme(name).name for name in themes.THEME_NAMES] == list(themes.THEME_NAMES)
