"""The program's commands, run inside the test: a process for each would cost more than what it tests."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

from click.testing import CliRunner

from bench.cli import main


class Done(NamedTuple):
    returncode: int
    stdout: str
    stderr: str


def command(*args: str | Path, home: Path | None = None) -> Done:
    """What `sweepgauge` with these arguments prints and returns, with nothing on its standard input.

    home: the current folder, and all that the environment names; None leaves both as they are.
    """
    names = {"HOME": str(home), "XDG_RUNTIME_DIR": str(home), "PATH": "/usr/bin:/bin"} if home else {}
    with (
        contextlib.chdir(home or "."),
        patch.dict(os.environ, names, clear=home is not None),
        patch.object(sys, "argv", ["sweepgauge", *map(str, args)]),
        CliRunner().isolation(input="") as (output, errors, _),
    ):
        try:
            main()
        except SystemExit as ended:
            return Done(int(ended.code or 0), output.getvalue().decode(), errors.getvalue().decode())
    raise AssertionError("main ends by SystemExit")
