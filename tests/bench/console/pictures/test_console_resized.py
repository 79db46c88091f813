"""The window enlarged, shrunk, turned: each screen is then, cell by cell, what a fresh one of that size shows."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from textual import events
from textual.geometry import Size

from bench.console.app import Console, make_console

SIZES = [(80, 24), (200, 60), (40, 15), (24, 80)]
THEMES = 200  # at the screen, 0.01 s apart at the least, before it counts as wrong


@contextlib.asynccontextmanager
async def showing(scene, scenes, size: tuple[int, int], folder: Path) -> AsyncIterator[tuple]:
    app = make_console(folder / "nobody")
    app.state.clock = lambda: 100.0
    app.client.run = asyncio.Event().wait  # type: ignore[method-assign,assignment]
    app.client.send = lambda message: True  # type: ignore[method-assign]
    app.controller._send = app.client.send
    async with app.run_test(size=size) as pilot:
        app.controller.navigation.wide = size[0]
        scene(app.controller, scenes)
        app._draw_now()
        await pilot.pause()
        yield app, pilot


def cells(app: Console) -> list[list[tuple[str, object]]]:
    """What the terminal is given, sign by sign with its style."""
    strips = app.screen._compositor.render_strips()
    return [[(c, s.style) for s in strip for c in s.text] for strip in strips]


async def _comes(pilot, wanted: list) -> None:
    for _ in range(THEMES):
        if cells(pilot.app) == wanted:
            return
        await pilot.pause(0.01)
    assert ["".join(c for c, _ in row) for row in cells(pilot.app)] == [
        "".join(c for c, _ in row) for row in wanted
    ]
    assert cells(pilot.app) == wanted


async def _resized(scene, scenes, folder: Path, sizes: list[tuple[int, int]]) -> None:
    wanted = {}
    for size in sizes:
        async with showing(scene, scenes, size, folder) as (app, pilot):
            await pilot.pause(0.05)
            wanted[size] = cells(app)
    async with showing(scene, scenes, sizes[-1], folder) as (app, pilot):
        for size in (*sizes, sizes[0]):
            await pilot.resize_terminal(*size)
            await _comes(pilot, wanted[size])
            for other in sizes[::2]:  # at any moment: on its way to one size it is given another
                app.post_message(events.Resize(Size(*other), Size(*other)))
            await pilot.resize_terminal(*size)
            await _comes(pilot, wanted[size])


async def test_resized_it_is_the_screen_of_that_size(scenes, every_scene, tmp_path) -> None:
    await _resized(every_scene["ready"], scenes, tmp_path, SIZES[:2])


@pytest.mark.ci
async def test_every_screen_resized_is_the_screen_of_that_size(scenes, named, tmp_path) -> None:
    await _resized(named[1], scenes, tmp_path, SIZES)
