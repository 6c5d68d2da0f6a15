"""The whole run: every fault as often as docs/reliability.md says, and the page written from what was found."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from tests.faults.report import RESULTS, write_page

if __name__ == "__main__":
    os.environ["FAULTS_RESULTS"] = str(RESULTS)
    failed = pytest.main(["-n", "0", "-v", "--durations=0", str(Path(__file__).parent), *sys.argv[1:]])
    if not failed:
        write_page()
    sys.exit(failed)
