"""What a person signs after an inspection, from its page: a repair, another look; and throwing a draft away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from rest_framework.exceptions import ValidationError
from rest_framework.serializers import BaseSerializer

from fleet.errors import WarmgateError
from fleet.http.idempotency import run_once
from fleet.http.problems import describe
from inspections.pages.records import InspectionPage
from inspections.selectors import inspection_of
from inspections.serializers import RecheckInput, RepairInput
from inspections.services.amending import recheck_items
from inspections.services.discarding import discard_draft
from inspections.services.mending import sign_repair
from inspections.views import INSPECTORS


class SigningPage(InspectionPage):
    """A form of an inspection's page. What is refused is said on the same page."""

    roles = INSPECTORS
    http_method_names = ["post"]

    def act(self, pk: int, said: str, effect: Callable[[], str]) -> HttpResponse:
        key = f"form/{self.request.POST.get('key', '')[:200]}"
        route = f"POST {self.request.path}"
        try:
            address, _ = run_once(effect, key=key, route=route, fleet=self.fleet, member=self.member, now=self.now)
        except (WarmgateError, ValidationError) as error:
            _, detail, faults, _ = describe(error)
            words = " ".join(fault.detail for fault in faults) or detail
            return self.show(inspection_of(self.fleet.pk, pk), problem=words, status=422)
        self.say(said)
        return redirect(address)

    def checked(self, serializer: type[BaseSerializer[Any]], data: dict[str, Any]) -> Any:
        found = serializer(data=data, context={"fleet": self.fleet})
        found.is_valid(raise_exception=True)
        return found.validated_data


class RepairPage(SigningPage):
    """Signs what was done about a defect, or that nothing has to be."""

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        post = request.POST
        parts = [part.strip() for part in post.get("parts", "").split(",") if part.strip()]
        observation = post.get("observation", "")
        document: dict[str, Any] = {
            "observation": int(observation) if observation.isdecimal() and len(observation) < 16 else None,
            "kind": post.get("kind", ""),
            "what_done": post.get("what_done", "").strip(),
            "parts": parts,
            "signature": {"meaning": "repaired"},
        }
        if by := post.get("done_by", "").strip():
            document["done_by"] = by

        def effect() -> str:
            sign_repair(self.fleet, pk, self.checked(RepairInput, document), by=self.member, now=self.now)
            return reverse("page-inspection", args=[pk])

        return self.act(pk, "The repair is signed. The item still has to be looked at again.", effect)


class RecheckPage(SigningPage):
    """Signs another look at one item."""

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        post = request.POST
        seen = {name: post.get(name, "").strip() for name in ("item", "outcome", "note")}
        document = {"observations": [seen], "signature": {"meaning": "performed"}}

        def effect() -> str:
            row = recheck_items(self.fleet, pk, self.checked(RecheckInput, document), by=self.member, now=self.now)
            return reverse("page-inspection", args=[row.pk])

        return self.act(pk, "The second look is signed.", effect)


class DiscardPage(SigningPage):
    """Throws a draft away, as it was when the page showed it."""

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        revision = request.POST.get("revision", "")

        def effect() -> str:
            seen = int(revision) if revision.isdecimal() and len(revision) < 10 else -1
            discard_draft(self.fleet, pk, revision=seen, by=self.member, now=self.now)
            return reverse("page-inspections")

        return self.act(pk, "The draft is gone.", effect)
