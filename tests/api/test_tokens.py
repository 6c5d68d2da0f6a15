"""Tokens: hashed, expiring, bound to a role, listed with their last use, rotated with an overlap, ended at once."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone
from knox.models import get_token_model
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Fleet, Member, Role, TokenCard
from fleet.tokens.service import LIVE_TOKENS, forget_expired_tokens
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db
TOKENS, ROTATE, LOGIN = "/api/v1/tokens/", "/api/v1/tokens/rotate/", "/api/v1/login/"
SECRET = "a long and private sentence"


def bearer(token: str) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def works(token: str) -> bool:
    return bearer(token).get("/api/v1/policy/").status_code == 200


def backdate(card_id: int, **columns: Any) -> None:
    card = TokenCard.objects.across_fleets().get(pk=card_id)
    get_token_model().objects.filter(pk=card.token_id).update(**columns)


@pytest.fixture
def person(tarn: Fleet) -> Member:
    member = factories.make_member(tarn, Role.DISPATCHER)
    member.username = f"tarn-{uuid.uuid4().hex[:8]}"
    member.set_password(SECRET)
    member.save()
    return member


def log_in(member: Member, password: str = SECRET, **more: Any) -> Any:
    return APIClient().post(LOGIN, {"username": member.username, "password": password, **more}, format="json")


# --- rotation -----------------------------------------------------------------------------------------------------


def test_a_rotated_token_works_beside_the_new_one_until_the_overlap_ends(tarn: Fleet) -> None:
    old = factories.token_of(tarn, Role.INTEGRATOR)
    answer = bearer(old).post(ROTATE, {"overlap_min": 30, "name": "yard 3"}, format="json")
    assert answer.status_code == 201
    new = answer.json()
    assert answer["Cache-Control"] == "no-store"
    assert works(old)
    assert works(new["token"])
    listed = {item["id"]: item for item in bearer(new["token"]).get(TOKENS).json()["items"]}
    assert listed[new["id"]]["current"] is True
    assert listed[new["id"]]["name"] == "yard 3"
    (retiring,) = [item for item in listed.values() if not item["current"]]
    left = timezone.datetime.fromisoformat(retiring["expires_at"]) - timezone.now()
    assert timedelta(minutes=29) < left <= timedelta(minutes=30)
    backdate(retiring["id"], expiry=timezone.now())
    assert not works(old)
    assert works(new["token"])


def test_without_an_overlap_the_old_token_ends_with_the_answer(tarn: Fleet) -> None:
    old = factories.token_of(tarn, Role.INTEGRATOR)
    new = bearer(old).post(ROTATE, {"overlap_min": 0}, format="json").json()["token"]
    assert not works(old)
    assert works(new)


def test_a_rotation_neither_lengthens_a_life_nor_an_overlap(tarn: Fleet) -> None:
    from fleet.members import issue_token

    member = factories.make_member(tarn, Role.MANAGER)
    old = issue_token(member, hours=2)
    first = bearer(old).post(ROTATE, {"overlap_min": 30}, format="json").json()
    second = bearer(old).post(ROTATE, {"overlap_min": 10_080}, format="json").json()
    for new in (first, second):
        life = timezone.datetime.fromisoformat(new["expires_at"]) - timezone.now()
        assert timedelta(minutes=119) < life <= timedelta(hours=2)
    ends = get_token_model().objects.get(card__origin="command").expiry
    assert ends <= timezone.now() + timedelta(minutes=30)


def test_a_member_cannot_pile_up_tokens(tarn: Fleet) -> None:
    token = factories.token_of(tarn, Role.INTEGRATOR)
    statuses = [bearer(token).post(ROTATE, {}, format="json").status_code for _ in range(LIVE_TOKENS)]
    assert statuses == [201] * (LIVE_TOKENS - 1) + [409]


# --- what is kept and shown ---------------------------------------------------------------------------------------


def test_only_a_hash_of_a_token_is_kept(tarn: Fleet, django_assert_num_queries: Any) -> None:
    token = factories.token_of(tarn, Role.INTEGRATOR)
    row = get_token_model().objects.get()
    assert token not in str(vars(row))
    assert len(row.digest) == 128
    assert row.token_key == token[:15] == token[: len(row.token_key)]


def test_the_last_use_is_visible_and_written_at_most_once_in_five_minutes(
    tarn: Fleet, django_assert_num_queries: Any
) -> None:
    client = bearer(factories.token_of(tarn, Role.INTEGRATOR))
    (item,) = client.get(TOKENS).json()["items"]
    assert timezone.now() - timezone.datetime.fromisoformat(item["last_used_at"]) < timedelta(seconds=30)
    with django_assert_num_queries(2):
        client.get(TOKENS)
    earlier = timezone.now() - timedelta(minutes=6)
    TokenCard.objects.across_fleets().update(last_used_at=earlier)
    client.get(TOKENS)
    assert TokenCard.objects.across_fleets().get().last_used_at > earlier


def test_people_see_their_own_tokens_and_a_manager_those_of_the_fleet(
    tarn: Fleet, other: Fleet, client_of: Client
) -> None:
    clients = {role: client_of(tarn, role) for role in Role}
    client_of(other, Role.MANAGER)
    seen = {role: {item["role"] for item in client.get(TOKENS).json()["items"]} for role, client in clients.items()}
    assert seen == {role: {role} for role in Role} | {Role.MANAGER: set(Role)}
    one = clients[Role.MANAGER].get(f"{TOKENS}?member=tarn-inspector").json()["items"]
    assert [item["member"] for item in one] == ["tarn-inspector"]
    assert clients[Role.DISPATCHER].get(f"{TOKENS}{one[0]['id']}/").status_code == 404
    assert "token" not in one[0]


# --- revocation ---------------------------------------------------------------------------------------------------


def test_a_revoked_token_is_refused_by_the_next_request(tarn: Fleet, client_of: Client) -> None:
    lost = factories.token_of(tarn, Role.INTEGRATOR)
    manager = client_of(tarn, Role.MANAGER)
    assert works(lost)
    (item,) = manager.get(f"{TOKENS}?member=tarn-integrator").json()["items"]
    assert manager.delete(f"{TOKENS}{item['id']}/").status_code == 204
    assert not works(lost)
    acts = AuditEntry.objects.for_fleet(tarn).filter(act="token.revoked")
    assert [entry.content["member"] for entry in acts] == ["tarn-integrator"]


def test_somebody_else_s_token_is_not_there_for_anyone_but_a_manager(tarn: Fleet, client_of: Client) -> None:
    kept = factories.token_of(tarn, Role.MANAGER)
    pk = TokenCard.objects.for_fleet(tarn).get().pk
    for role in (Role.INTEGRATOR, Role.DISPATCHER, Role.INSPECTOR):
        assert client_of(tarn, role).delete(f"{TOKENS}{pk}/").status_code == 404
    assert works(kept)


def test_revoking_by_command_ends_every_earlier_token(tarn: Fleet, capsys: Any) -> None:
    old = factories.token_of(tarn, Role.INTEGRATOR)
    call_command("issue_token", "tarn", "tarn-integrator", "--revoke", "--label", "after the loss")
    assert not works(old)
    assert works(capsys.readouterr().out.strip())
    assert TokenCard.objects.for_fleet(tarn).get().name == "after the loss"


def test_tokens_that_expired_a_week_ago_are_forgotten(tarn: Fleet) -> None:
    factories.token_of(tarn, Role.INTEGRATOR)
    token = get_token_model().objects.get()
    now = timezone.now()
    assert forget_expired_tokens(now=token.expiry + timedelta(days=6)) == 0
    assert forget_expired_tokens(now=token.expiry + timedelta(days=8)) == 1
    assert not TokenCard.objects.across_fleets().exists()
    assert token.expiry > now


# --- log-in -------------------------------------------------------------------------------------------------------


def test_a_log_in_gives_a_token_of_the_members_role_and_fleet(person: Member, tarn: Fleet) -> None:
    answer = log_in(person, name="desk")
    assert answer.status_code == 201
    body = answer.json()
    assert (body["role"], body["member"], body["origin"], body["name"]) == (
        "dispatcher",
        person.username,
        "login",
        "desk",
    )
    assert works(body["token"])
    assert answer["Cache-Control"] == "no-store"
    assert AuditEntry.objects.for_fleet(tarn).filter(act="token.issued", actor=person).count() == 1


def test_a_wrong_name_password_or_member_is_the_same_answer(person: Member, other: Fleet) -> None:
    gone = factories.make_member(other, Role.MANAGER)
    gone.set_password(SECRET)
    gone.is_active = False
    gone.save()
    nobody = Member(username=f"nobody-{uuid.uuid4().hex}")
    answers = [log_in(person, "another sentence"), log_in(nobody), log_in(gone)]
    told = [{k: v for k, v in answer.json().items() if k != "request_id"} for answer in answers]
    assert [answer.status_code for answer in answers] == [401, 401, 401]
    assert told[0] == told[1] == told[2]
    assert told[0]["type"] == "/docs/problems/login-refused/"
    assert answers[0]["WWW-Authenticate"].startswith("Bearer")


def test_a_member_without_a_password_cannot_log_in(tarn: Fleet) -> None:
    member = factories.make_member(tarn, Role.MANAGER)
    for password in ("", "!", "None", member.password):
        assert log_in(member, password or " ").status_code == 401


def test_guessing_is_refused_after_ten_tries_even_with_the_right_password(person: Member, settings: Any) -> None:
    statuses = [log_in(person, f"guess {number}").status_code for number in range(settings.LOGIN_TRIES)]
    assert set(statuses) == {401}
    refused = log_in(person)
    assert refused.status_code == 429
    assert 1 <= int(refused["Retry-After"]) <= 900
    assert "token" not in refused.json()


def test_many_log_ins_end_the_oldest_of_them_and_no_other_token(person: Member, settings: Any) -> None:
    from fleet.members import issue_token

    settings.LOGIN_TRIES = 100
    by_command = issue_token(person)
    tokens = [log_in(person).json()["token"] for _ in range(LIVE_TOKENS + 2)]
    assert [works(token) for token in tokens[:3]] == [False, False, True]
    assert works(by_command)
    assert works(tokens[-1])
