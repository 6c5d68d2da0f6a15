"""The compose file, the script that executes its commands, the image and the settings agree with each other."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
# What stands in the compose file where the script has a private address or port.
PLACES = {
    "web": {"$HERE": "0.0.0.0", "$WEB_PORT": "8000"},
    "sweep": {"$HERE": "0.0.0.0", "$METRICS_PORT": "9100"},
    "receivers": {"$HERE": "0.0.0.0", "$MAIL_PORT": "8025", "$HOOK_PORT": "8026"},
    "demo": {"http://$HERE:$WEB_PORT": "http://web:8000", "http://$HERE:$HOOK_PORT": "http://receivers:8026"},
}
VARIABLE = re.compile(r"\$\{(\w+)(?::[?-][^}]*)?\}")


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    document: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    return document


def own_services(compose: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {name: service for name, service in compose["services"].items() if service["image"] == "warmgate"}


def script_commands() -> dict[str, list[str]]:
    """The `run` and `once` lines of the script with its variables replaced by what the compose file says."""
    commands = {}
    for line in (ROOT / ".ci" / "production").read_text().splitlines():
        if not line.startswith(("run ", "once ")):
            continue
        words = shlex.split(line.removesuffix(" >/dev/null"))
        name = words[1]
        for ours, theirs in PLACES.get(name, {}).items():
            words = [word.replace(ours, theirs) for word in words]
        commands[name] = words[2:]
    return commands


def test_the_script_runs_every_command_of_the_compose_file_and_no_other(compose: dict[str, Any]) -> None:
    expected = {name: shlex.split(service["command"]) for name, service in own_services(compose).items()}
    assert script_commands() == expected


def test_a_queue_that_tasks_are_routed_to_has_a_worker(compose: dict[str, Any], settings: Any) -> None:
    routed = {route["queue"] for route in settings.CELERY_TASK_ROUTES.values()} | {settings.CELERY_TASK_DEFAULT_QUEUE}
    commands = [shlex.split(service["command"]) for service in own_services(compose).values()]
    served = {words[words.index("--queues") + 1] for words in commands if "--queues" in words}
    assert served == routed


def test_every_variable_the_compose_file_sets_is_one_the_service_reads(compose: dict[str, Any]) -> None:
    read = variables_read() | {"PROMETHEUS_MULTIPROC_DIR"}
    for name, service in own_services(compose).items():
        assert set(service["environment"]) <= read, name


def test_the_trial_values_fill_every_variable_that_has_no_default() -> None:
    text = (ROOT / "docker-compose.yml").read_text()
    needed = set(re.findall(r"\$\{(\w+):\?", text))
    given = {
        line.split("=", 1)[0]
        for line in (ROOT / "fixtures" / "demo" / "compose.env").read_text().splitlines()
        if line and not line.startswith("#")
    }
    assert needed <= given
    assert given <= set(VARIABLE.findall(text))


def test_the_image_holds_what_its_processes_need_and_runs_them_without_root() -> None:
    lines = (ROOT / "Dockerfile").read_text().splitlines()
    copied = {word for line in lines if line.startswith("COPY ") for word in line.split()[1:-1]}
    assert {"pyproject.toml", "manage.py", "fleet", "inspections", "alarms", "thermal", "fixtures/demo"} <= copied
    assert "USER warmgate" in lines
    assert all((ROOT / name).exists() for name in copied)


def variables_read() -> set[str]:
    """Names of the variables that fleet/settings.py reads, secrets also from a file."""
    text = (ROOT / "fleet" / "settings.py").read_text()
    plain = set(re.findall(r'env\.(?:text|flag|whole|number|words|database)\(\s*"(\w+)"', text))
    secret = set(re.findall(r'env\.secret\(\s*"(\w+)"', text))
    return {f"WARMGATE_{name}" for name in plain | secret} | {f"WARMGATE_{name}_FILE" for name in secret}


def test_every_variable_is_documented_and_every_documented_one_is_read() -> None:
    text = (ROOT / "docs" / "operations.md").read_text()
    documented = set(re.findall(r"^\| `(WARMGATE_\w+)`", text, flags=re.MULTILINE))
    assert documented == variables_read()


@pytest.mark.skipif(os.name == "nt", reason="file modes of POSIX systems")
def test_the_script_can_be_executed() -> None:
    assert os.access(ROOT / ".ci" / "production", os.X_OK)
