"""How answers of checks become one assessment: failures, due times, verdicts, validity."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.models.readiness import Phase
from fleet.readiness.assess import BROKEN_RETRY, LONGEST_VALID, Answer, assess
from fleet.readiness.document import finding_document, stored_document
from fleet.readiness.findings import Finding, Outcome, Remedy, causes_of, verdict_of
from fleet.readiness.registry import Check, Words, at_departure, at_loading, checks
from tests.unit.facts import DEPART, LOADING, MIN, NOW, H, S, facts, under_way


@pytest.fixture
def only() -> Iterator[Any]:
    """Replaces all checks by the given ones, and puts the real ones back."""
    kept = dict(checks._by_id)

    def replace_all(*mine: Check) -> None:
        checks._by_id.clear()
        for check in mine:
            checks.add(check)

    yield replace_all
    checks._by_id.clear()
    checks._by_id.update(kept)


def check(id_: str, outcome: Outcome = Outcome.PASS, **more: Any) -> Check:
    finding = {name: more.pop(name) for name in ("changes_at", "contributes") if name in more}
    judge = more.pop("judge", lambda facts, gathered, now: Finding(id_, outcome, "words", "source", **finding))
    return Check(id=id_, words=Words("?"), judge=judge, **more)


def explode(*args: Any) -> Any:
    raise RuntimeError("boom")


def outcomes(answer: Answer) -> dict[str, str]:
    return {finding.check: str(finding.outcome) for finding in answer.findings}


def test_a_broken_check_is_unknown_not_clear_even_before_its_due_time(only: Any) -> None:
    only(check("a.fine"), check("b.broken", judge=explode, due=at_departure))
    answer = assess([facts()], now=NOW)[0]
    assert outcomes(answer) == {"a.fine": "pass", "b.broken": "unknown"}
    assert (answer.verdict, answer.broken) == ("unknown", ("b.broken",))


def test_a_check_whose_due_time_cannot_be_told_is_broken_and_costs_only_itself(only: Any) -> None:
    only(check("a.fine"), check("b.broken", Outcome.UNKNOWN, due=explode))
    answer = assess([facts()], now=NOW)[0]
    assert outcomes(answer) == {"a.fine": "pass", "b.broken": "unknown"}
    assert answer.broken == ("b.broken",)


def test_a_gather_that_raises_makes_every_check_that_shares_it_unknown_and_runs_once(only: Any) -> None:
    calls = []

    def gather(many: Any, now: datetime) -> Any:
        calls.append(len(many))
        raise RuntimeError("boom")

    only(check("a.one", gather=gather), check("b.two", gather=gather), check("c.fine"))
    answers = assess([facts(), facts(id=2)], now=NOW)
    assert calls == [2]
    for answer in answers:
        assert outcomes(answer) == {"a.one": "unknown", "b.two": "unknown", "c.fine": "pass"}
        assert answer.broken == ("a.one", "b.two")


def test_a_broken_check_costs_one_trip_of_a_batch_and_not_the_others(only: Any) -> None:
    def judge(of: Any, gathered: Any, now: datetime) -> Finding:
        if of.trip.id == 1:
            raise RuntimeError("boom")
        return Finding("a.some", Outcome.PASS, "words", "source")

    only(check("a.some", judge=judge))
    assert [str(answer.verdict) for answer in assess([facts(), facts(id=2)], now=NOW)] == ["unknown", "ready"]


def test_each_trip_gets_what_was_gathered_for_it(only: Any) -> None:
    def gather(many: Any, now: datetime) -> Any:
        return {(of.trip.id, of.unit.id): f"for {of.trip.id}" for of in many if of.trip.id != 3}

    def judge(of: Any, gathered: Any, now: datetime) -> Finding:
        return Finding("a.told", Outcome.PASS, str(gathered), "source")

    only(check("a.told", judge=judge, gather=gather))
    answers = assess([facts(), facts(id=2), facts(id=3)], now=NOW)
    assert [answer.findings[0].message for answer in answers] == ["for 1", "for 2", "None"]


@pytest.mark.parametrize(
    ("said", "now", "leaving", "outcome"),
    [
        ("unknown", LOADING - S, False, "pending"),
        ("unknown", LOADING, False, "unknown"),
        ("pending", LOADING - S, False, "pending"),
        ("pending", LOADING, False, "unknown"),
        ("unknown", LOADING - S, True, "unknown"),
        ("pending", LOADING - S, True, "unknown"),
        ("block", LOADING - S, False, "block"),
        ("concern", LOADING - S, True, "concern"),
        ("pass", LOADING + S, True, "pass"),
    ],
)
def test_what_is_missing_is_pending_until_due_and_leaving_makes_it_due(
    only: Any, said: str, now: datetime, leaving: bool, outcome: str
) -> None:
    only(check("a.due", Outcome(said), due=at_loading))
    answer = assess([facts()], now=now, leaving=leaving)[0]
    assert outcomes(answer) == {"a.due": outcome}
    if outcome in ("pending", "unknown") and said == "unknown":
        assert answer.findings[0].due_at == LOADING


def test_leaving_late_makes_what_is_due_at_departure_due(only: Any) -> None:
    only(check("a.due", Outcome.UNKNOWN, due=at_departure))
    for now in (NOW, DEPART, DEPART + 3 * H):
        assert outcomes(assess([facts()], now=now, leaving=True)[0]) == {"a.due": "unknown"}


def test_a_missing_fact_without_a_due_time_is_unknown_at_once(only: Any) -> None:
    only(check("a.always", Outcome.UNKNOWN))
    assert outcomes(assess([facts()], now=NOW - 99 * H)[0]) == {"a.always": "unknown"}


def test_checks_are_asked_in_the_phases_they_name(only: Any) -> None:
    only(check("a.planned", phases=frozenset({Phase.PLANNED})), check("b.both"))
    assert list(outcomes(assess([facts()], now=NOW)[0])) == ["a.planned", "b.both"]
    assert list(outcomes(assess([under_way()], now=NOW)[0])) == ["b.both"]


VERDICTS = {
    "nothing was asked": ([], "unknown"),
    "all pass": (["pass", "pass"], "ready"),
    "one concern": (["pass", "concern"], "conditional"),
    "one pending": (["pass", "pending"], "conditional"),
    "unknown in a required check": (["concern", "unknown"], "unknown"),
    "a block": (["unknown", "block"], "blocked"),
    "a block in a check that is not required": (["optional block", "unknown"], "blocked"),
    "unknown in a check that is not required": (["pass", "optional unknown"], "conditional"),
    "only checks that are not required": (["optional pass"], "ready"),
}


@pytest.mark.parametrize(("said", "verdict"), VERDICTS.values(), ids=VERDICTS)
def test_the_verdict_is_the_worst_that_counts(said: list[str], verdict: str) -> None:
    findings = [
        Finding(f"{'optional' if ' ' in word else 'required'}.{index}", Outcome(word.split()[-1]), "", "")
        for index, word in enumerate(said)
    ]
    required = frozenset(finding.check for finding in findings if finding.check.startswith("required"))
    for order in (findings, findings[::-1]):
        assert verdict_of(order, required=required) == verdict
    assert bool(causes_of(findings, required=required)) == (verdict in ("blocked", "unknown") and bool(findings))


def test_causes_are_every_block_and_every_required_unknown() -> None:
    findings = [
        Finding("a", Outcome.BLOCK, "", "", subjects=("x", "y")),
        Finding("b", Outcome.UNKNOWN, "", ""),
        Finding("c", Outcome.UNKNOWN, "", ""),
        Finding("d", Outcome.CONCERN, "", ""),
    ]
    causes = causes_of(findings, required=frozenset({"b", "d"}))
    assert [key for cause in causes for key in cause.cause_keys()] == ["a:x", "a:y", "b"]


@pytest.mark.parametrize(
    ("change", "now", "until"),
    [
        (None, NOW, NOW + LONGEST_VALID),
        (NOW + 20 * MIN, NOW, NOW + 20 * MIN),
        (NOW + 5 * H, NOW, NOW + LONGEST_VALID),
        (None, LOADING - 10 * MIN, LOADING),
        (None, LOADING, LOADING + LONGEST_VALID),
        (None, DEPART - 10 * MIN, DEPART),
        (NOW - H, NOW, NOW + S),
        (NOW, NOW, NOW + S),
    ],
)
def test_an_answer_holds_until_the_first_moment_that_could_change_it(
    only: Any, change: datetime | None, now: datetime, until: datetime
) -> None:
    only(check("a.some", changes_at=change))
    assert assess([facts()], now=now)[0].valid_until == until


def test_a_pending_answer_holds_until_it_is_due(only: Any) -> None:
    only(check("a.due", Outcome.UNKNOWN, due=lambda of: NOW + 7 * MIN))
    assert assess([facts()], now=NOW)[0].valid_until == NOW + 7 * MIN


def test_a_broken_answer_is_asked_again_within_a_minute(only: Any) -> None:
    only(check("a.broken", judge=explode))
    assert assess([facts()], now=NOW)[0].valid_until == NOW + BROKEN_RETRY


def test_what_checks_contribute_is_put_together(only: Any) -> None:
    only(
        check("a.one", contributes={"forecast": {"fuel_l": 3.0}, "score": 98.5, "score_se": 0.2}),
        check("b.two", contributes={"forecast": {"preheat_h": 1.0}}),
    )
    answer = assess([facts()], now=NOW)[0]
    assert (answer.score, answer.score_se) == (98.5, 0.2)
    assert dict(answer.extras) == {"forecast": {"fuel_l": 3.0, "preheat_h": 1.0}}
    assert stored_document(answer)["forecast"] == {"fuel_l": 3.0, "preheat_h": 1.0}


def test_an_empty_batch_gathers_nothing(only: Any) -> None:
    only(check("a.one", gather=explode))
    assert assess([], now=NOW) == []


def test_a_finding_is_written_out_whole() -> None:
    finding = Finding(
        "a.b", Outcome.CONCERN, "words", "rule", 1.0, 2.0, "L", 0.5, due_at=NOW,
        remedy=Remedy("refuel", "Fill.", 23.0, "L", Outcome.PASS), subjects=("x",),
    )  # fmt: skip
    assert finding_document(finding) == {
        "check": "a.b", "outcome": "concern", "message": "words", "measured": 1.0, "required": 2.0, "unit": "L",
        "margin": 0.5, "due_at": "2027-01-12T12:00:00Z", "source": "rule", "subjects": ["x"],
        "remedy": {"action": "refuel", "text": "Fill.", "amount": 23.0, "unit": "L", "then": "pass"},
    }  # fmt: skip


def test_the_same_facts_give_the_same_answer(only: Any) -> None:
    only(*[replace(check, gather=None) if check.id == "fleet.availability" else check for check in checks])
    assert stored_document(assess([facts()], now=NOW)[0]) == stored_document(assess([facts()], now=NOW)[0])


@pytest.mark.parametrize(
    ("moved", "text"),
    [
        ({}, "t3.u4.m1.p5.f2"),
        ({"version": 4}, "t4.u4.m1.p5.f2"),
        ({"ambient_version": 3}, "t3.u4.m1.p5.f3"),
        ({"unit": {"version": 9}}, "t3.u9.m1.p5.f2"),
        ({"unit": {"model_version": 2}}, "t3.u4.m2.p5.f2"),
    ],
)
def test_the_version_vector_names_everything_an_answer_was_made_from(moved: dict[str, Any], text: str) -> None:
    assert facts(**moved).versions == text


@pytest.mark.parametrize(
    ("story", "now", "starts_at", "delay"),
    [
        (facts(), NOW, DEPART, timedelta()),
        (facts(), DEPART + 2 * H, DEPART + 2 * H, 2 * H),
        (under_way(departed_at=DEPART + H), DEPART + 3 * H, DEPART + 3 * H, H),
        (under_way(departed_at=DEPART - H), DEPART + 3 * H, DEPART + 3 * H, timedelta()),
    ],
    ids=["planned", "overdue", "left late", "left early"],
)
def test_a_trip_is_forecast_from_when_it_can_still_be_changed(
    story: Any, now: datetime, starts_at: datetime, delay: timedelta
) -> None:
    trip = story.trip
    assert (trip.starts_at(now), trip.delay(now), trip.expected_at(now)) == (starts_at, delay, trip.arrive_at + delay)
