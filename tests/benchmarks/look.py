"""Every screen as a picture, to be looked at: sheets of PNG, drawn by a browser without a window.

python tests/benchmarks/look.py FOLDER           the kept scenes, in all themes and sizes
python tests/benchmarks/look.py FOLDER upright   every prompt and the result of that check on the virtual saw
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import shutil
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

from bench.console.app import Console, make_console
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect, virtual_bench
from bench.protocol import Begin

ROOT = Path(__file__).parents[2]
SIZES = {40: 15, 80: 24, 160: 48}
PIXELS = {40: 500, 80: 800, 160: 1100}  # width of a picture by its columns
PER_ROW = {40: 4, 80: 2, 160: 2}
ROWS = {40: 3, 80: 3, 160: 2}  # of pictures on a sheet
HIGH = {40: 446, 80: 560, 160: 740}  # pixels of one, its name included
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def scenes(folder: Path) -> None:
    """The scenes of the picture tests, each as the picture that the program makes of itself."""
    tests = ROOT / "tests" / "bench" / "console" / "pictures" / "test_console_pictures.py"
    # each look in one test of its own; nothing gives up because the machine is slow
    chosen = ["-q", "-n", "0", "-m", "", "--timeout=0", str(tests), "-k", "is_the_one or knows or colour"]
    subprocess.run(
        [sys.executable, "-m", "pytest", *chosen],
        env={**os.environ, "SWEEPGAUGE_PICTURES": str(folder)}, cwd=ROOT, check=False,
    )  # fmt: skip


async def check(folder: Path, kind: str, seed: int) -> None:
    """Pictures of every prompt of the check and of its result, at each size."""
    async with virtual_bench(seed) as (_saw, hands, _ports, at, _daemon):
        following = HandsClient(await connect(at), hands)
        app = make_console(at / "socket", theme="shop")
        async with app.run_test(size=(80, 24)) as pilot:
            while app.view.gear is None or not app.view.checks:
                await pilot.pause(0.1)
            known = app.view.kind(kind)
            assert known is not None
            jig = app.view.current_jig if "jig" in known.needs else None
            app.requests.begin(Begin(kind, jig=jig, lean=known.swept and known.sided))
            while following.ask is None:
                await pilot.pause(0.1)
            following.turn_operator()
            seen: set[object] = set()
            while app.view.result is None and (app.view.run or not seen):
                ask = app.view.prompt
                step = ask and (ask.phase, ask.placement, ask.lean, ask.at, ask.moving, ask.ready)
                if step not in seen and len(seen) < 30:
                    seen.add(step)
                    await take(app, pilot, folder, f"{kind}-{len(seen):02}")
                await pilot.pause(0.05)
            await take(app, pilot, folder, f"{kind}-result")
        await following.close()


async def take(app: Console, pilot: object, folder: Path, name: str) -> None:
    for wide, high in SIZES.items():
        await pilot.resize_terminal(wide, high)  # type: ignore[attr-defined]
        await pilot.pause(0.15)  # type: ignore[attr-defined]
        picture = app.export_screenshot(title="sweepgauge")
        (folder / f"{name}-{wide}-{app.theme}.svg").write_text(picture)


def sheets(folder: Path) -> list[Path]:
    """All pictures of one size and theme on as few sheets as can be read."""
    groups = defaultdict(list)
    for picture in sorted(folder.glob("*.svg")):
        _, wide, look = picture.stem.rsplit("-", 2)
        # the font is this machine's own: nothing is fetched
        text = re.sub(r"@font-face \{.*?\}", "", picture.read_text(), flags=re.DOTALL)
        picture.write_text(text)
        groups[int(wide), look].append(picture)
    out = []
    for (wide, look), pictures in sorted(groups.items()):
        most = PER_ROW[wide] * ROWS[wide]
        for n in range(0, len(pictures), most):
            png = folder / f"sheet-{wide}-{look}-{n // most + 1:02}.png"
            _sheet(pictures[n : n + most], wide, png)
            out.append(png)
    return out


def _sheet(pictures: list[Path], wide: int, png: Path) -> None:
    width = PIXELS[wide]
    cells = "".join(
        f"<figure><figcaption>{p.stem}</figcaption><img src='{p.name}' width='{width - 10}'></figure>"
        for p in pictures
    )
    style = (
        "body{margin:0;display:flex;flex-wrap:wrap;background:#888;font:13px sans-serif}figure{margin:3px}"
    )
    page = png.with_suffix(".html")
    page.write_text(f"<style>{style}</style>{cells}")
    size = f"{width * PER_ROW[wide]},{HIGH[wide] * -(-len(pictures) // PER_ROW[wide])}"
    browser = next(path for name in BROWSERS if (path := shutil.which(name)))
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    subprocess.run(
        [browser, *options, f"--screenshot={png}", f"--window-size={size}", page.as_uri()],
        check=True, capture_output=True,
    )  # fmt: skip
    page.unlink()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("checks", nargs="*")
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--taken", action="store_true", help="the pictures are there: only make the sheets")
    given = parser.parse_args()
    folder = given.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    for kind in given.checks:
        asyncio.run(check(folder, kind, given.seed))
    if not given.checks and not given.taken:
        scenes(folder)
    for sheet in sheets(folder):
        print(sheet)


if __name__ == "__main__":
    main()
