"""The demonstration's daemon, a process of its own on a folder of its own.

The folder holds its settings, its log and its socket.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bench.settings.editor import file_text
from hw.timeouts import DEMO_END_S, DEMO_TELL_S
from hw.virtual.saw import VirtualSaw

LOOK_AGAIN_S = 0.02  # s between two looks whether the daemon has come up
Say = Callable[[str], None]


class DemoError(Exception):
    """The demonstration could not go on; the message says where it stuck."""


def write_settings(
    path: Path, saw: VirtualSaw, ports: dict[str, str], *, marks: bool
) -> None:
    values: dict[str, Any] = dict(saw.gear())
    values["indicator"] = {"port": ports["indicator"], "resolution": "0.001 mm"}
    values["caliper"] = {"port": ports["caliper"], "resolution": "0.01 mm"}
    if not marks:
        values["travel"] = {"port": ports["travel"]}
    path.write_text(file_text(values))


async def start_daemon(
    folder: Path, say: Say = lambda words: None
) -> asyncio.subprocess.Process:
    """A real daemon on the folder's settings; waits until its socket answers. DemoError
    where it ends before."""
    socket = folder / "socket"
    errors = (folder / "daemon.log").open("ab")
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "bench.cli", "daemon"),
        *("--settings", str(folder / "settings.toml")),
        *("--log", str(folder / "log.db"), "--socket", str(socket)),
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.DEVNULL,
        stderr=errors,
        env={k: v for k, v in os.environ.items() if not k.startswith("SWEEPGAUGE_")},
        # Ctrl-C is for the operator, who then ends the daemon in good order
        start_new_session=True,
        preexec_fn=_end_with_parent,
    )
    errors.close()
    told = time.monotonic() + DEMO_TELL_S
    while True:
        if process.returncode is not None:
            said = (folder / "daemon.log").read_text(errors="replace").splitlines()
            raise DemoError(f"the daemon did not start: {' '.join(said[-1:])}")
        with contextlib.suppress(OSError):
            _, writer = await asyncio.open_unix_connection(socket)
            writer.close()
            return process
        if time.monotonic() > told:
            say("Still waiting for the daemon to come up.")
            told += DEMO_TELL_S
        await asyncio.sleep(LOOK_AGAIN_S)


def _end_with_parent() -> None:
    """Ask the kernel to end this process when the demonstration is killed: an orphan
    would go on opening the pseudo-terminals of whoever comes next. Linux only;
    elsewhere it is left out."""
    import ctypes

    set_death_signal = 1  # PR_SET_PDEATHSIG, linux/prctl.h
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(set_death_signal, signal.SIGTERM)


async def end_daemon(process: asyncio.subprocess.Process) -> None:
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGTERM)
        try:
            await asyncio.wait_for(process.wait(), DEMO_END_S)
        except TimeoutError:
            process.kill()
            await process.wait()
