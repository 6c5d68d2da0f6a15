"""Receivers hang, drop, ask to come back later, redirect and fail for an hour; names are not found."""

from __future__ import annotations

import pytest

from fleet.embedded.receivers import Answer
from tests.faults.report import Result
from tests.faults.stage import Scene, Stage, longest
from tests.faults.test_broker import block_all
from tests.waiting import wait_for

UNITS = "n.unit_id IN (SELECT id FROM fleet_unit WHERE number = ANY(%s))"


def time_passes(stage: Stage, scene: Scene, minutes: float) -> None:
    """For the messages of the scene, and for nothing else, it is later by so much."""
    step = f"interval '{minutes} minutes'"
    columns = ("next_attempt_at", "created_at", "not_after", "lease_until")
    moved = ", ".join(f"{name} = d.{name} - {step}" for name in columns)
    stage.change(f"UPDATE alarms_delivery d SET {moved} FROM alarms_notice n WHERE n.id = d.notice_id AND {UNITS}",
                 scene.units)  # fmt: skip
    columns = ("next_at", "opened_at", "started_at", "stepped_at", "decided_at")
    moved = ", ".join(f"{name} = n.{name} - {step}" for name in columns)
    stage.change(f"UPDATE alarms_notice n SET {moved} WHERE {UNITS}", scene.units)


def attempts(stage: Stage, scene: Scene) -> list[tuple[str, int, str]]:
    """State, attempts and last status of every message of the scene."""
    return stage.rows(
        "SELECT d.state, d.attempts, d.last_status FROM alarms_delivery d JOIN alarms_notice n ON n.id = d.notice_id"
        f" WHERE {UNITS} ORDER BY d.id",
        scene.units,
    )


def failed_once(stage: Stage, scene: Scene) -> bool:
    rows = attempts(stage, scene)
    return bool(rows) and any(tried >= 1 and state == "retry_wait" for state, tried, _ in rows)


def mend_and_tell(
    stage: Stage, scene: Scene, begun: float, fault: str, name: str, *, note: str = "", may_repeat: bool = False
) -> None:
    """The receiver is well again: everything arrives, and each message once unless its fate was not known."""
    stage.receivers.take_all()
    told = stage.all_told(scene, within_s=90)
    stage.quiet(scene, within_s=60)
    repeats = stage.receivers.repeats(scene.units)
    Result(
        fault, 1, len(scene.units), stage.stored(scene), len(scene.units), len(told), repeats, longest(told, begun),
        note,
    ).save(name)  # fmt: skip
    assert len(told) == len(scene.units)
    assert may_repeat or repeats == 0
    assert set(stage.receivers.tellings(scene.units).values()) == {1}


@pytest.mark.parametrize(
    ("mood", "words"),
    [
        pytest.param("drop_before", "drops the connection before it has the mail", marks=pytest.mark.short),
        ("drop_after", "takes the mail and drops the connection"),
        ("hang_before", "hangs before it has the mail"),
        ("hang_after", "takes the mail and hangs"),
    ],
)
def test_a_mail_server_that_breaks_off_gets_the_mail_again(mood: str, words: str, stage: Stage) -> None:
    scene = stage.scene(f"mail{mood.replace('_', '')}", units=2)
    stage.receivers.mailbox.mood = mood
    begun = block_all(stage, scene)
    wait_for("a failed attempt", lambda: failed_once(stage, scene), within_s=40)
    mend_and_tell(
        stage, scene, begun, f"mail server {words}", f"50-mail-{mood.replace('_', '-')}",
        may_repeat=mood.endswith("after"), note="repeats under the same Message-ID" if mood.endswith("after") else "",
    )  # fmt: skip


def test_a_greylisting_mail_server_gets_the_mail_a_little_later(stage: Stage) -> None:
    scene = stage.scene("grey", units=4)
    stage.receivers.mailbox.refuse_recipient = "451 4.7.1 Greylisted, come back later"
    begun = block_all(stage, scene)
    wait_for("451 for everyone", lambda: [row[2] for row in attempts(stage, scene)].count("451") >= 1, within_s=40)
    mend_and_tell(stage, scene, begun, "mail server greylists (451)", "51-mail-greylist")


@pytest.mark.parametrize(
    ("name", "answer", "status"),
    [
        ("hangs", Answer(delay_s=60), "timeout"),
        ("answers byte by byte", Answer(drip_s=1.0), "timeout"),
        ("redirects", Answer(302, headers={"Location": "https://example.com/"}), "302"),
    ],
)  # fmt: skip
def test_a_webhook_that_does_not_take_it_gets_it_again(name: str, answer: Answer, status: str, stage: Stage) -> None:
    slug = name.replace(" ", "")
    scene = stage.scene(f"hook{slug}", units=1, hook=stage.receivers.hooks.url(f"/{slug}"))
    other = stage.scene(f"beside{slug}", units=4)  # people told by mail meanwhile, over the same queue
    stage.receivers.hooks.answer = answer
    begun = block_all(stage, scene)
    beside = block_all(stage, other)
    beside_told = stage.all_told(other, within_s=60)
    wait_for(status, lambda: status in [row[2] for row in attempts(stage, scene)], within_s=60)
    mend_and_tell(
        stage, scene, begun, f"webhook {name}", f"52-hook-{slug}", may_repeat=status == "timeout",
        note=f"mails beside it took {longest(beside_told, beside):.1f} s at most",
    )  # fmt: skip


def pause_min(stage: Stage, scene: Scene) -> float:
    """Minutes until the next attempt or the next step of the scene's notices; 0 while something is due or under way."""
    ((wait_s,),) = stage.rows(
        "SELECT extract(epoch FROM min(at) - now())::float FROM ((SELECT DISTINCT ON (d.lane)"
        "  CASE d.state WHEN 'leased' THEN now() ELSE d.next_attempt_at END AS at"
        "  FROM alarms_delivery d JOIN alarms_notice n ON n.id = d.notice_id"
        f"  WHERE {UNITS} AND d.state IN ('leased', 'queued', 'retry_wait') ORDER BY d.lane, d.id)"
        f" UNION ALL SELECT n.next_at FROM alarms_notice n WHERE {UNITS}) AS next",
        scene.units,
        scene.units,
    )
    return max(wait_s or 0.0, 0.0) / 60


def test_a_webhook_that_fails_for_an_hour_is_told_when_it_works(stage: Stage) -> None:
    """The hour is passed, not slept: whatever comes next for the notice is moved to now, attempts and steps alike."""
    scene = stage.scene("hour", units=1, hook=stage.receivers.hooks.url("/hour"))
    stage.receivers.hooks.answer = Answer(500)
    stage.service.kill("sweep")
    stage.service.start_sweep(WARMGATE_SWEEP_INTERVAL_S="0.2")
    begun = block_all(stage, scene)
    passed_min = 0.0

    def pass_one() -> None:
        nonlocal passed_min
        pause: float = wait_for("the next pause", lambda: pause_min(stage, scene), within_s=60)
        time_passes(stage, scene, pause)
        passed_min += pause

    while passed_min < 60:
        pass_one()
    wait_for("the last refusal", lambda: pause_min(stage, scene), within_s=60)
    refused = [row["id"] for row in stage.receivers.rows(refused=True) if row["to"] == "/hour"]
    stage.receivers.take_all()
    failed_min = passed_min
    pass_one()
    told = wait_for("the webhook", lambda: stage.receivers.told(scene.units, channel="webhook"), within_s=60)
    stage.quiet(scene)
    repeats, stored = stage.receivers.repeats(scene.units), stage.stored(scene)
    Result(
        f"webhook answers 500 for an hour ({failed_min:.0f} min passed, not slept)", 1, len(scene.units), stored,
        len(scene.units), len(told), repeats, longest(told, begun),
        f"{len(refused)} attempts of {len(set(refused))} messages refused; the delay is without the time passed",
    ).save("53-hook-500")  # fmt: skip
    assert stored == len(told) == len(scene.units)
    assert len(set(refused)) < len(refused), "a message keeps its id"
    assert repeats == 0


def test_a_name_that_is_not_found_is_tried_again_and_the_next_channel_takes_over(stage: Stage) -> None:
    scene = stage.scene("dns", units=2, hook=f"http://{stage.LOST_HOST}:9/lost", mail=True)
    begun = block_all(stage, scene)
    told = stage.all_told(scene, within_s=90)
    statuses = {row[2] for row in attempts(stage, scene)}
    repeats = stage.receivers.repeats(scene.units)
    Result(
        "webhook's name is not found", 1, len(scene.units), stage.stored(scene), len(scene.units), len(told), repeats,
        longest(told, begun), "told by the next channel, mail",
    ).save("54-dns")  # fmt: skip
    assert "dns" in statuses
    assert repeats == 0
