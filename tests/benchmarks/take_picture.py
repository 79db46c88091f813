"""Takes the picture that README.md opens with: the program's own screen at a result, drawn by itself.

python tests/benchmarks/take_picture.py fixtures/pictures/result.svg [--seed 4]
"""

from __future__ import annotations

import argparse
import asyncio
import re
from pathlib import Path

from bench.console.app import make_console
from bench.demo.hands_client import HandsClient
from bench.demo.operator import connect, virtual_bench


async def take(target: Path, seed: int) -> None:
    async with virtual_bench(seed) as (_saw, hands, _ports, folder, _daemon):
        following = HandsClient(await connect(folder), hands)
        app = make_console(folder / "socket", theme="shop")
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause(1.5)
            following.turn_operator()
            for _ in range(600):
                await pilot.pause(0.1)
                if app.view.finding is not None and app.view.prompt is None:
                    break
            following.turn_operator()
            await pilot.pause(0.5)
            picture = app.export_screenshot(title="sweepgauge")
        await following.close()
    # the font is the reader's own: nothing is fetched to look at it; no window of anybody's desk about it; runs of
    # blanks stay as wide as they are in every viewer
    picture = re.sub(r"@font-face \{.*?\}", "", picture, flags=re.DOTALL)
    picture = re.sub(r"<circle [^>]*/>", "", picture)
    picture = picture.replace("<text ", '<text xml:space="preserve" ')
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(picture)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target", type=Path)
    parser.add_argument("--seed", type=int, default=4)
    given = parser.parse_args()
    asyncio.run(take(given.target, given.seed))


if __name__ == "__main__":
    main()
