"""The window enlarged, shrunk, turned: each screen is then, sign by sign, what a fresh one of that size shows."""

from __future__ import annotations

import pytest
from textual import events
from textual.geometry import Size

SIZES = [(80, 24), (160, 48), (40, 15), (24, 80)]


async def _resized(names, every, keys, scenes, screens, folder) -> None:
    wanted: dict[tuple[str, tuple[int, int]], list[str]] = {}
    for size in SIZES:
        async with screens.console(folder, size, "shop") as (app, pilot):
            for name in names:
                await screens.put(app, pilot, every[name], keys.get(name, ()), scenes)
                wanted[name, size] = screens.shown(app)
    async with screens.console(folder, SIZES[-1], "shop") as (app, pilot):
        for name in names:
            await screens.put(app, pilot, every[name], keys.get(name, ()), scenes)
            for size in (*SIZES, SIZES[0]):
                # at any moment: on its way to one size it is given another
                app.post_message(events.Resize(Size(60, 20), Size(60, 20)))
                await pilot.resize_terminal(*size)
                await screens.settled(pilot)
                assert screens.shown(app) == wanted[name, size], (name, size)


@pytest.mark.ci
async def test_resized_it_is_the_screen_of_that_size(scenes, every_scene, keys, screens, tmp_path) -> None:
    names = ["ready", "out", "cautions", "live-go", "options", "past"]
    await _resized(names, every_scene, keys, scenes, screens, tmp_path)
