"""The screen on a real daemon behind the virtual saw, driven by keys as a user would."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest

from bench.console.app import make_console
from bench.demo import connect, end_daemon, start_daemon, virtual_bench
from bench.demo_screen import Following, actions


def seen(app) -> str:
    """What stands on the screen, line by line, from the picture that the program makes of itself."""
    texts = re.findall(r"<text [^>]*y=\"([\d.]+)\"[^>]*>([^<]*)</text>", app.export_screenshot())
    lines: dict[float, str] = {}
    for y, text in texts:
        lines[float(y)] = lines.get(float(y), "") + html.unescape(text).replace("\xa0", " ")
    return "\n".join(lines[y] for y in sorted(lines))


async def until(pilot, met: Callable[[str], bool], seconds: float = 12.0) -> str:
    text = ""
    for _ in range(int(seconds / 0.1)):
        text = seen(pilot.app)
        if met(text):
            return text
        await pilot.pause(0.1)
    raise AssertionError(f"never came; the screen shows:\n{text}")


@pytest.mark.parametrize("look", ["shop", "pencil", "tube"])
@pytest.mark.parametrize("size", [(40, 15), (60, 20), (80, 24), (200, 60)])
async def test_every_size_and_look_says_what_matters(tmp_path, size, look) -> None:
    """Reading, unit, state and next act, inside the screen; on the Pi's own screen only its code page."""
    async with virtual_bench(3, folder=tmp_path) as (_saw, hands, _ports, folder, _daemon):
        await hands.put("handle-left")
        app = make_console(folder / "socket", look=look)
        async with app.run_test(size=size) as pilot:
            text = await until(pilot, lambda t: "mm" in t and "begin" in t)
            assert "pretend-sled" in text
            assert "indicator" in text
            assert all(len(line.rstrip()) <= size[0] for line in text.splitlines())
            if look == "tube":
                for char in set(text):
                    char.encode("cp437")


async def test_a_check_by_keys_with_a_daemon_killed_in_the_middle(tmp_path) -> None:
    async with virtual_bench(3, folder=tmp_path) as (_saw, hands, _ports, folder, daemon):
        following = Following(await connect(folder), hands)
        app = make_console(folder / "socket", look="shop", extra=actions(following))
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda t: "begin" in t)
            await pilot.press("1", "enter", "1")
            await until(pilot, lambda t: "READ FIRST" in t and "Unplug the saw" in t)
            await pilot.press("enter")
            await until(pilot, lambda t: "SET UP" in t and "handle" in t)
            await pilot.pause(1.0)
            await pilot.press("enter")
            text = await until(pilot, lambda t: "LEAN TEST" in t or "READY" in t)
            for side in ("left", "right"):
                if "LEAN" in text:
                    await until(pilot, lambda t, side=side: f"to the {side}" in t)
                    await pilot.pause(1.2)
                    await pilot.press("enter")
            await until(pilot, lambda t: "READY" in t)
            await pilot.press("h")
            await until(pilot, lambda t: "1 of 3 kept" in t)
            daemon.kill()
            await daemon.wait()
            await until(pilot, lambda t: "daemon" in t.lower())
            again = await start_daemon(folder)
            try:
                text = await until(pilot, lambda t: "SET UP" in t)
                assert "1 of 3 kept" in text
            finally:
                await end_daemon(again)
        await following.close()
