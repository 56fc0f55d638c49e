"""What a whole process costs in processor time and memory."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from pathlib import Path

DEMO = Path(__file__).parents[1] / "data_demo"
# What the reference cost on the quiet two-core machine where the limits were set: a limit in
# seconds is held as its ratio to the reference, so that a slower or a busy machine moves both.
QUIET_IMPORT_S = 1.2
LIBRARIES = (
    "import numpy, pandas, scipy.special, pydantic, plotly, jinja2, xlsxwriter, openpyxl, pint"
)


def cost(*command: str, repeat: int = 3, code: int = 0) -> tuple[float, float]:
    """Least processor time [s] and peak memory [MB] of a process over a few runs."""
    best, peak = float("inf"), 0.0
    for _ in range(repeat):
        with subprocess.Popen(
            [sys.executable, *command], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        ) as process:
            assert process.stderr is not None
            errors = process.stderr.read()
            _, status, usage = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == code, errors.decode()
        best = min(best, usage.ru_utime + usage.ru_stime)
        peak = max(peak, usage.ru_maxrss / 1024)
    return best, peak


@cache
def reference() -> float:
    """Processor time [s] of importing the libraries, measured once a run."""
    return cost("-c", LIBRARIES)[0]
