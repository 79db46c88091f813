"""Half a day under the faster clock; the whole week is run by hand."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = Path(__file__).with_name("week.py")


@pytest.mark.slow
@pytest.mark.timeout(1200)
@pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler")
def test_half_a_day() -> None:
    done = subprocess.run(
        [sys.executable, PROGRAM, "--days", "0.5"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
