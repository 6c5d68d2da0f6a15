"""The service's routes, and beside them what its hot paths are compared with: a bare authenticated view, and readings
taken the way the framework's tutorial takes rows."""

from __future__ import annotations

from typing import Any

from django.urls import include, path
from rest_framework import serializers
from rest_framework.parsers import JSONParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Reading, Source, Unit


class BareView(APIView):
    """Authentication, roles and rendering of the service, and nothing else."""

    roles = {"GET": "any"}

    def get(self, request: Request) -> Response:
        return Response({"verdict": "ready"})


class PlainReading(serializers.ModelSerializer[Reading]):
    """One row by the framework's own means."""

    unit = serializers.PrimaryKeyRelatedField(queryset=Unit.objects.across_fleets())
    source = serializers.PrimaryKeyRelatedField(queryset=Source.objects.across_fleets())  # type: ignore[assignment]

    class Meta:
        model = Reading
        fields = ("unit", "at", "source", "content_hash", *FIELD_NAMES)

    def create(self, validated_data: Any) -> Reading:
        row: Reading = Reading.objects.create(**validated_data)
        return row


class PlainReadings(APIView):
    """`ModelSerializer(many=True)`, validated and saved."""

    roles = {"POST": "any"}
    parser_classes = (JSONParser,)

    def post(self, request: Request) -> Response:
        rows: Any = PlainReading(data=request.data, many=True)
        rows.is_valid(raise_exception=True)
        rows.save()
        return Response({"stored": len(rows.data)}, status=201)


urlpatterns = [
    path("bench/bare/", BareView.as_view()),
    path("bench/plain-readings/", PlainReadings.as_view()),
    path("", include("fleet.urls")),
]
