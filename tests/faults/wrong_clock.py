"""`python -m tests.faults.wrong_clock PROGRAM …`: runs a program of ours with its clock FAULTS_CLOCK_OFFSET_S off.

Every clock of the process that tells the date is moved (time-machine replaces them in C, child processes inherit it);
the monotonic clock is not, as with a real clock that is set wrongly.
"""

from __future__ import annotations

import os
import runpy
import sys
from datetime import UTC, datetime, timedelta

import time_machine

if __name__ == "__main__":
    offset = timedelta(seconds=float(os.environ["FAULTS_CLOCK_OFFSET_S"]))
    sys.argv = sys.argv[1:]
    with time_machine.travel(datetime.now(UTC) + offset, tick=True):
        runpy.run_path(sys.argv[0], run_name="__main__")
