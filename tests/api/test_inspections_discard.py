"""Discarding a draft over HTTP: what goes, what stays, who may."""

from __future__ import annotations

import pytest

from fleet.models import AuditEntry, Role, UnitState
from inspections.models import Inspection, Observation, Photo
from inspections.models.photos import photo_storage
from tests.api.test_inspections_filing import URL, filing
from tests.api.test_inspections_records import picture, upload

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def draft(inspector, unit):
    photo = upload(inspector, picture()).json()["id"]
    seen = [{"item": "belt", "outcome": "wear", "photos": [photo]}, {"item": "fuel", "outcome": "sound"}]
    return inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104", "observations": seen})


def test_a_discarded_draft_is_gone_with_all_it_had_and_the_unit_is_no_longer_inspected(inspector, draft, unit, tarn):
    file = Photo.objects.for_fleet(tarn).get().file.name
    assert photo_storage().exists(file)
    answer = inspector.delete(draft["Location"], HTTP_IF_MATCH=draft["ETag"])
    assert (answer.status_code, answer.content) == (204, b"")
    assert inspector.get(draft["Location"]).status_code == 404
    for model in (Inspection, Observation, Photo):
        assert not model.objects.for_fleet(tarn).exists()
    assert not photo_storage().exists(file)
    assert UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.in_progress"][0] is False


def test_who_discarded_what_stays_in_the_audit(inspector, draft, tarn):
    inspector.delete(draft["Location"], HTTP_IF_MATCH=draft["ETag"])
    entry = AuditEntry.objects.for_fleet(tarn).get(act="inspection.discarded")
    assert (entry.object_type, entry.object_id) == ("inspection", str(draft.json()["id"]))
    assert entry.actor_name == "inspector of Tarn Haulage"
    assert entry.content["started_by"] == "inspector of Tarn Haulage"
    assert entry.content["outcomes"] == {"fuel": "sound", "belt": "wear"}


def test_an_older_draft_of_the_unit_is_in_progress_again(inspector, draft, unit, tarn):
    second = inspector.post(URL, {"sheet": "pre-trip", "unit": "HB-104"})
    inspector.delete(second["Location"], HTTP_IF_MATCH=second["ETag"])
    progress = UnitState.objects.for_fleet(tarn).get(unit=unit).facts["inspections.in_progress"][0]
    assert progress["inspection"] == draft.json()["id"]


def test_a_record_is_never_discarded(inspector, unit, tarn):
    path = inspector.post(URL, filing())["Location"]
    answer = inspector.delete(path, HTTP_IF_MATCH="*")
    assert (answer.status_code, answer.json()["type"]) == (409, "/docs/problems/already-signed/")
    assert Inspection.objects.for_fleet(tarn).count() == 1


def test_a_draft_that_somebody_has_filled_on_is_not_discarded_unread(inspector, draft):
    inspector.patch(draft["Location"], {"observations": []}, HTTP_IF_MATCH=draft["ETag"])
    assert inspector.delete(draft["Location"]).status_code == 428
    assert inspector.delete(draft["Location"], HTTP_IF_MATCH=draft["ETag"]).status_code == 412


def test_those_who_may_not_inspect_may_not_discard(client_of, draft, tarn):
    for role in (Role.DISPATCHER, Role.INTEGRATOR):
        answer = client_of(tarn, role).delete(draft["Location"], HTTP_IF_MATCH="*")
        assert answer.status_code == 403
