"""The whole job with a tenth of one core: nothing gives up. Wants root and a control group."""

import subprocess
import sys
from pathlib import Path

import pytest
from slow_machine import groups

PROGRAM = Path(__file__).with_name("slow_machine.py")


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.skipif(groups() is None, reason="no control group for processor time can be made here")
@pytest.mark.parametrize("share", ["0.1", "0.05"])
def test_the_whole_job_at_a_tenth_of_a_core(share: str) -> None:
    done = subprocess.run(
        [sys.executable, str(PROGRAM), "--share", share], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
