"""Receivers hang, drop, ask to come back later, redirect and fail for an hour; names are not found."""

from __future__ import annotations

import pytest

from fleet.embedded.receivers import Answer
from tests.faults.processes import wait_for
from tests.faults.report import Result
from tests.faults.stage import Scene, Stage, longest
from tests.faults.test_broker import block_all

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


@pytest.mark.short
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
        pytest.param("redirects", Answer(302, headers={"Location": "https://example.com/"}), "302",
                     marks=pytest.mark.short),
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


def test_a_webhook_that_fails_for_an_hour_gets_it_when_it_works(stage: Stage) -> None:
    """The hour is passed, not slept: the messages' own times are moved back by what each pause lasts."""
    scene = stage.scene("hour", units=1, hook=stage.receivers.hooks.url("/hour"))
    stage.receivers.hooks.answer = Answer(500)
    begun = block_all(stage, scene)
    passed_min = 0.0
    for tried, pause_min in enumerate((0.1, 0.5, 2, 10, 47.4), start=1):
        wait_for(
            f"attempt {tried}",
            lambda tried=tried: (
                min((row[1] for row in attempts(stage, scene)[:1]), default=0) >= tried
                and all(row[0] == "retry_wait" for row in attempts(stage, scene)[:1])
            ),
            within_s=60,
        )
        time_passes(stage, scene, pause_min)
        passed_min += pause_min
    refused = [row for row in stage.receivers.rows(refused=True) if row["channel"] == "refused"]
    time_passes(stage, scene, 13)  # the pause after the fifth attempt is an hour
    stage.receivers.take_all()
    told = stage.all_told(scene, within_s=60)
    first = {row["id"] for row in refused if any(unit in row["text"] for unit in scene.units)}
    later = {row["id"] for row in stage.receivers.rows() if any(unit in row["text"] for unit in scene.units)}
    Result(
        f"webhook answers 500 for an hour ({passed_min:.0f} min passed, not slept)", 1, len(scene.units),
        stage.stored(scene), len(scene.units), len(told), stage.receivers.repeats(scene.units), longest(told, begun),
        f"{len(refused)} attempts refused; the delay is real time, without the hour that was passed",
    ).save("53-hook-500")  # fmt: skip
    assert len(told) == len(scene.units)
    assert first & later, "the message kept its id"
    assert stage.receivers.repeats(scene.units) == 0


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
