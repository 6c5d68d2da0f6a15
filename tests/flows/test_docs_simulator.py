"""Every command of docs/simulator.md, in order, against a service on a free port; and its lines of Python."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.flows.embedded import ROOT, environment, kill, manage, output_of
from tests.waiting import wait_for

pytestmark = pytest.mark.embedded
PAGE = ROOT / "docs" / "simulator.md"
BLOCK = re.compile(r"```(sh|python|text)\n(.*?)```", re.DOTALL)
ANSWERS = re.compile(r"answers at (http://127\.0\.0\.1:\d+)")
SMALLER = {"--units 100": "--units 2", "n=1000": "n=12", "n_worlds=4000": "n_worlds=50"}
"""What the test changes: numbers that only make it longer."""


def blocks(kind: str) -> list[str]:
    found = [text for name, text in BLOCK.findall(PAGE.read_text()) if name == kind]
    assert found, kind
    for index, text in enumerate(found):
        for long, short in SMALLER.items():
            text = text.replace(long, short)  # noqa: PLW2901
        found[index] = text
    return found


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What the shell blocks print, run as one script."""
    folder = tmp_path_factory.mktemp("simulator")
    first, *rest = "\n".join(blocks("sh")).splitlines()
    assert first == "manage.py serve --port 8000 &"
    served = manage(folder, "serve", "--port", "0")
    try:
        url = wait_for("the address", lambda: ANSWERS.search(output_of(folder, "serve")), within_s=60).group(1)
        script = "\n".join(rest).replace("http://127.0.0.1:8000", url)
        command = f"{shlex.quote(sys.executable)} {shlex.quote(str(ROOT / 'manage.py'))}"
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", script.replace("manage.py", command)], cwd=folder,
            env=environment(folder), capture_output=True, text=True, check=False, timeout=240,
        )  # fmt: skip
    finally:
        kill(served)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done.stdout


def test_the_recipe_prints_what_the_page_says(told: str) -> None:
    [promised] = blocks("text")
    assert promised in told


def test_everything_the_recipe_creates_is_taken(told: str) -> None:
    codes = re.findall(r"^(?:unit-models|units|code-books) (\d+)$", told, re.MULTILINE)
    assert len(codes) >= 4
    assert set(codes) <= {"201", "200", "409"}, told


def test_the_python_of_the_page_runs() -> None:
    names: dict[str, object] = {}
    for code in blocks("python"):
        exec(compile(code, str(Path("docs/simulator.md")), "exec"), names)  # what the page prints, not input
    assert len(names["requests"]) == 12  # type: ignore[arg-type]
