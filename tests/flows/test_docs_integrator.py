"""Every command of docs/integrator.md, in order, against a service that the first of them starts."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.flows.embedded import ROOT, environment, kill, manage, output_of
from tests.waiting import wait_for

pytestmark = pytest.mark.embedded
PAGE = ROOT / "docs" / "integrator.md"
BLOCK = re.compile(r"```(sh|python)\n(.*?)```", re.DOTALL)
ANSWERS = re.compile(r"answers at (http://[\d.]+:\d+)")


def blocks() -> list[tuple[str, str]]:
    return [(found.group(1), found.group(2)) for found in BLOCK.finditer(PAGE.read_text())]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("integrator")


@pytest.fixture(scope="module")
def url(folder: Path) -> Iterator[str]:
    """What the first block does, on a free port and in a folder of the test's own."""
    kind, command = blocks()[0]
    assert (kind, command.strip()) == ("sh", "uv run manage.py serve")
    served = manage(folder, "serve", "--port", "0")
    try:
        yield wait_for("the address", lambda: ANSWERS.search(output_of(folder, "serve")), within_s=60).group(1)
    finally:
        kill(served)


@pytest.fixture(scope="module")
def told(url: str, folder: Path) -> str:
    """The output of all other blocks, run as one script by one shell, as a reader would."""
    script = []
    for kind, block in blocks()[1:]:
        if kind == "python":
            (folder / "page.py").write_text(block)
            script.append(f"export URL DESK\n{shlex.quote(sys.executable)} page.py")
        else:
            script.append(block)
        script.append("echo")
    text = "\n".join(script).replace("http://127.0.0.1:8000", url)
    text = text.replace("uv run manage.py", f"{shlex.quote(sys.executable)} {shlex.quote(str(ROOT / 'manage.py'))}")
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", text], cwd=folder, env=environment(folder), capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done.stdout


def test_the_page_leads_from_nothing_to_a_blocked_departure(told: str) -> None:
    turns = [
        r'"name":"yard 3".*"role":"integrator"',
        r'"key":"box-8"',
        r'"number":"HB-104"',
        r'"pointer":"/modle".*"code":"unknown-member"',
        r'"accepted":1',
        r'"status":"duplicate"',
        r"HTTP/1.1 201 Created",
        r"HTTP/1.1 201 Created(?s:.*?)Idempotency-Replayed: true",
        r'"verdict":"conditional"',
        r'"verdict":"conditional"',
        r'"accepted":1',
        r"/docs/problems/dispatch-blocked/(?s:.*?)alarms.stop_tier(?s:.*?)\n409\n",
        r'"tier":"stop"',
        r"\n201\n409 /docs/problems/dispatch-blocked/\n(?s:.*?)alarms.stop_tier - ",
        r'"origin":"rotation"',
        r'"verdict":"blocked"',
        r'"items":\[\]',
    ]
    place = 0
    for turn in turns:
        found = re.compile(turn).search(told, place)
        assert found, f"{turn!r} does not follow in:\n{told[place:]}"
        place = found.end() - 1


def test_no_call_of_the_page_fails_but_those_that_are_meant_to(told: str) -> None:
    refused = re.findall(r'"type":"/docs/problems/([\w-]+)/"', told)
    assert refused == ["invalid-input", "dispatch-blocked"]
    assert "Traceback" not in told


@pytest.mark.skipif(os.name == "nt", reason="a POSIX shell")
def test_every_block_of_the_page_is_run() -> None:
    """No block hides under another name."""
    assert len(blocks()) == PAGE.read_text().count("```") / 2 > 10
