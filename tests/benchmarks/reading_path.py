"""How many source files a block of readings passes through while a sweep runs; prints one JSON line.

    python tests/benchmarks/reading_path.py

Takes one whole check on the virtual saw by `sweepgauge demo --headless`, with a profile function in the daemon. A block
is all that runs in `bench` and `hw` from a port's becoming readable until control is back in the event loop; it counts
where a sweep is being recorded. `files` are the different files that it enters, `changes` how often it goes from one
file to another, returns left out.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

PROFILER = """
import atexit, json, os, sys
if "daemon" in sys.orig_argv and os.environ.get("BLOCK_TRACE"):
    root = os.environ["BLOCK_TRACE_ROOT"]
    ours = tuple(os.path.join(root, name) + os.sep for name in ("bench", "hw"))
    depth, files, blocks, recording = 0, [], [], False

    def profile(frame, event, argument):
        global depth, files, recording
        code = frame.f_code
        if not code.co_filename.startswith(ours):
            return
        if event == "call":
            if depth == 0:
                if "port" not in code.co_filename or frame.f_back.f_code.co_filename.startswith(ours):
                    return
                files, recording = [], False
            depth += 1
            files.append(code.co_filename[len(root) + 1:])
            if code.co_name == "keep" and frame.f_locals.get("sweep"):
                recording = True
        elif event == "return" and depth:
            depth -= 1
            if depth == 0 and recording:
                blocks.append(files)

    sys.setprofile(profile)

    @atexit.register
    def write():
        sys.setprofile(None)
        with open(os.environ["BLOCK_TRACE"], "w") as out:
            json.dump(blocks, out)
"""


def blocks() -> list[list[str]]:
    """The files entered, in order, for each block of a running sweep."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "sitecustomize.py").write_text(PROFILER)
        trace = Path(folder) / "trace.json"
        env = {
            **os.environ,
            "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}",
            "BLOCK_TRACE": str(trace),
            "BLOCK_TRACE_ROOT": str(ROOT),
        }
        command = [sys.executable, "-m", "bench.cli", "demo", "--headless", "--seed", "4"]
        subprocess.run(command, env=env, stdout=subprocess.DEVNULL, check=False, timeout=600)
        found: list[list[str]] = json.loads(trace.read_text())
        return found


def main() -> None:
    found = blocks()
    changes = [sum(a != b for a, b in pairwise(one)) for one in found]
    entered = Counter(file for one in found for file in set(one))
    print(
        json.dumps(
            {
                "test": "files a block of readings passes through in a running sweep",
                "blocks": len(found),
                "files_median": statistics.median(len(set(one)) for one in found),
                "files_95": sorted(len(set(one)) for one in found)[int(0.95 * len(found))],
                "changes_median": statistics.median(changes),
                "changes_95": sorted(changes)[int(0.95 * len(changes))],
                "limit": 10,
                "entered": {f: round(n / len(found), 3) for f, n in entered.most_common()},
            },
            indent=1,
        )
    )


if __name__ == "__main__":
    main()
