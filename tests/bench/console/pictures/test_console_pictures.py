"""Every key screen at every size, in every look, cell by cell beside the one that was looked at and kept.

The kept ones stand in fixtures/pictures/screens: a file for each screen, its signs, and below each row the roles of
its runs. Rebuilt only by hand, `SWEEPGAUGE_PICTURES=rebuild pytest -n 0 tests/bench/console/pictures`; look at the
difference before keeping it. `SWEEPGAUGE_PICTURES=FOLDER` writes each as the picture that the program makes of
itself (SVG), to be looked at.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from bench.console import themes
from bench.console.app import make_console
from bench.console.controller import ScreenController
from bench.console.layout import compose
from bench.console.navigation import Navigation
from bench.console.text import Block, Line, plain
from bench.console.themes import ConsoleTheme
from bench.console.view_model import ViewModel

SIZES = [(40, 15), (60, 20), (80, 24), (200, 60)]
KEPT = Path(__file__).parents[4] / "fixtures" / "pictures" / "screens"
ASKED = os.environ.get("SWEEPGAUGE_PICTURES", "")


def desk_of(look: ConsoleTheme) -> ScreenController:
    return ScreenController(ViewModel(lambda: 100.0), Navigation(glyphs=look.glyphs), lambda message: True)


def draw(scene, size: tuple[int, int], look: ConsoleTheme, scenes) -> Block:
    controller = desk_of(look)
    controller.navigation.wide = size[0]
    scene(controller, scenes)
    return compose(controller, *size).lines


def written(block: Block) -> list[str]:
    """Each row as it stands, and below it which role from which column on; blanks without a ground play none."""
    out = []
    for line in block:
        out.append("|" + plain(line).rstrip())
        out.append(" " + _roles(line))
    while out and out[-1].strip() in ("", "|"):
        out.pop()
    return out


def _roles(line: Line) -> str:
    runs: list[tuple[int, str]] = []
    x = 0
    for text, role in line:
        known = "text" if not text.strip() and not role.startswith(("bar", "cap", "chosen")) else role
        if not runs or runs[-1][1] != known:
            runs.append((x, known))
        x += len(text)
    return " ".join(f"{x}:{role}" for x, role in runs if role != "text" or x)


def page(name: str, scene, scenes) -> str:
    """All sizes of one screen; the signs of the Pi's own screen stand beside only where they differ."""
    out: list[str] = []
    for size in SIZES:
        rich, pencil, tube = (written(draw(scene, size, look, scenes)) for look in themes.THEMES)
        assert rich == pencil  # without colour it is the same screen
        out += [f"== {name} {size[0]}x{size[1]}", *rich]
        if tube != rich:
            out.append(f"== {name} {size[0]}x{size[1]} tube")
            out += [f"{n:02}{b}" for n, (a, b) in enumerate(_pair(rich, tube)) if a != b]
    return "\n".join(out) + "\n"


def _pair(one: list[str], two: list[str]) -> list[tuple[str, str]]:
    longest = max(len(one), len(two))
    return list(zip(one + [""] * (longest - len(one)), two + [""] * (longest - len(two)), strict=True))


def test_the_screen_is_the_one_that_was_looked_at(scenes, named) -> None:
    name, scene = named
    now, kept = page(name, scene, scenes), KEPT / f"{name}.txt"
    if ASKED == "rebuild":
        KEPT.mkdir(parents=True, exist_ok=True)
        kept.write_text(now)
    assert now == kept.read_text(), f"{name} is drawn otherwise; look at it, then rebuild"


@pytest.mark.parametrize("look", themes.THEMES, ids=lambda look: look.name)
def test_the_colours_of_a_look_are_those_that_were_looked_at(look: ConsoleTheme) -> None:
    now = "".join(f"{role}: {style}\n" for role, style in look.styles().items())
    kept = KEPT / f"look-{look.name}.txt"
    if ASKED == "rebuild":
        kept.write_text(now)
    assert now == kept.read_text()


def test_no_kept_screen_is_without_its_scene(every_scene) -> None:
    names = {path.stem for path in KEPT.glob("*.txt") if not path.stem.startswith("look-")}
    assert names == set(every_scene)


@pytest.mark.parametrize("look", themes.THEMES, ids=lambda look: look.name)
async def test_what_is_composed_is_what_the_terminal_shows(
    scenes, every_scene, tmp_path, look: ConsoleTheme
) -> None:
    """The program's own picture (SVG) of one scene after the other has the same signs, row by row."""
    app = make_console(tmp_path / "nobody", look=look.name)
    folder = Path(ASKED) if ASKED not in ("", "rebuild") else None
    for size in SIZES if folder is not None else [(80, 24)]:
        app = make_console(tmp_path / "nobody", look=look.name)
        async with app.run_test(size=size) as pilot:
            for name in every_scene if folder is not None else ("set-up", "moving", "out"):
                block = draw(every_scene[name], size, look, scenes)
                app.grid.show(block)
                app._mark = lambda changed: None  # nobody answers: only the scene is shown
                await pilot.pause(0.05)
                wanted = [
                    "".join(plain(line).split()) for line in block
                ]  # a picture leaves runs of blanks out
                shown = ["".join(line.split()) for line in scenes.seen(app)]
                assert [line for line in shown if line and line != "sweepgauge"] == [
                    line for line in wanted if line
                ]
                if folder is not None:
                    folder.mkdir(parents=True, exist_ok=True)
                    picture = app.export_screenshot(title="sweepgauge")
                    (folder / f"{name}-{size[0]}-{look.name}.svg").write_text(picture)
