"""docs/notices.md and docs/webhooks.md say what the code does; the verification example is run."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from standardwebhooks import Webhook

from alarms.channels.webhook import HookMessage, signed_headers
from alarms.deliveries.claims import RETRY_AFTER
from alarms.ladder import LADDER, Rung
from alarms.notices.webhooks import HOOKS
from alarms.policy import Reason

DOCS = Path(__file__).parents[2] / "docs"
NOTICES, WEBHOOKS = (DOCS / "notices.md").read_text(), (DOCS / "webhooks.md").read_text()


def row_of(rung: Rung) -> str:
    steps = f"from {rung.step}" if rung.last is None else f"{rung.step} to {rung.last}"
    if rung.last == rung.step:
        steps = f"{rung.step}"
    after = "the cause" if rung.step == 0 else "the first message"
    minutes = f"every {rung.after_min:g}" if rung.every else f"{rung.after_min:g} after {after}"
    return f"| {rung.urgency} | {steps} | {minutes} | {rung.channel} | {rung.person} |"


def test_the_ladder_of_the_page_is_the_ladder_of_the_code() -> None:
    table = NOTICES.split("<!-- ladder -->\n")[1].split("<!-- /ladder -->")[0].strip().splitlines()
    assert table[2:] == [row_of(rung) for rung in LADDER]


def test_the_page_explains_every_reason() -> None:
    section = NOTICES.split("## Why a message came, or did not")[1].split("\n## ")[0]
    assert re.findall(r"^\| `(\w+)` \|", section, re.M) == [str(reason) for reason in Reason]


def test_the_page_lists_every_webhook() -> None:
    assert re.findall(r"^\| `([\w.]+\.v1)` \|", WEBHOOKS, re.M) == [name for name, _ in HOOKS]
    assert [pause.total_seconds() for pause in RETRY_AFTER] == [5, 30, 120, 600, 3600]


@pytest.fixture
def verify() -> Any:
    """The function of the page's example, as a reader would paste it."""
    (code,) = re.findall(r"```python\n(.*?)```", WEBHOOKS, re.S)
    names: dict[str, Any] = {}
    exec(compile(code, "docs/webhooks.md", "exec"), names)
    return names["verify"]


def vector() -> dict[str, str]:
    return dict(re.findall(r"^\| `?([\w-]+)`? \| `(.+)` \|$", WEBHOOKS.split("### Test vector")[1], re.M))


def test_the_example_accepts_the_test_vector_and_nothing_else(verify: Any) -> None:
    given = vector()
    at = int(given["webhook-timestamp"])
    assert verify(given["secret"], given, given["body"], now=at)["type"] == "route.test.v1"
    for change in (
        {"webhook-id": "msg_1"},
        {"webhook-signature": "v1,AAAA"},
        {"body": given["body"] + " "},
        {"secret": "whsec_" + "A" * 32},
    ):
        bad = given | change
        with pytest.raises(ValueError, match="No signature"):
            verify(bad["secret"], bad, bad["body"], now=at)
    with pytest.raises(ValueError, match="too old"):
        verify(given["secret"], given, given["body"], now=at + 301)


def test_the_test_vector_is_what_the_service_and_the_package_sign() -> None:
    given = vector()
    at = datetime.fromtimestamp(int(given["webhook-timestamp"]), UTC)
    ours = signed_headers(HookMessage(given["webhook-id"], "", given["body"], (given["secret"],)), now=at)
    assert ours["webhook-signature"] == given["webhook-signature"]
    assert Webhook(given["secret"]).sign(given["webhook-id"], at, given["body"]) == given["webhook-signature"]


def test_the_example_accepts_either_signature_of_a_rotation(verify: Any) -> None:
    old, new = "whsec_" + "b2xk" * 8, "whsec_" + "bmV3" * 8
    now = datetime.now(UTC)
    headers = signed_headers(HookMessage("msg_1", "", '{"a":1}', (new, old)), now=now)
    assert verify(old, headers, '{"a":1}') == verify(new, headers, '{"a":1}') == {"a": 1}
