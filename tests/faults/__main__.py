"""The whole run: every fault as often as docs/reliability.md says, and the page written from what was found.

Most of it is waiting, so four sets of the service's processes are at work at the same time, each with a PostgreSQL and
a Redis of its own. What measures under load runs alone afterwards. Arguments: files to run instead of all.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.report import RESULTS, write_page

TOGETHER = ("-m", "not alone", "-n", "4", "--dist", "worksteal")
ALONE = ("-m", "alone", "-n", "0")
WELL = (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)


def main(files: list[str]) -> int:
    environment = os.environ | {"FAULTS_RESULTS": str(RESULTS)}
    for part in (TOGETHER, ALONE):
        command = [sys.executable, "-m", "pytest", *part, "-v", "--durations=0", *files]
        ended = subprocess.run(command, env=environment, check=False).returncode
        if ended not in WELL:
            return ended
    write_page()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or [str(Path(__file__).parent)]))
