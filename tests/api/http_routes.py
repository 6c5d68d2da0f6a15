"""A small API of our bases, so that their behaviour is tested apart from what the apps do with them."""

import django_filters
from django.db import OperationalError
from django.urls import include, path
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from fleet.errors import Conflict, NotFound
from fleet.http.auth import fleet_of
from fleet.http.etag import require_match, revision_answer
from fleet.http.fields import QuantityField, StrictCharField
from fleet.http.filters import FlagFilter, IdFilter, InstantFilter, WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.serializers import StrictSerializer
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import AuditEntry, Role

handler400 = "fleet.http.problems.handler400"
handler403 = "fleet.http.problems.handler403"
handler404 = "fleet.http.problems.handler404"
handler500 = "fleet.http.problems.handler500"


class Line(StrictSerializer):
    """A line of a note."""

    text = StrictCharField(max_length=20)


class NoteInput(StrictSerializer):
    """A note on an object."""

    text = StrictCharField(max_length=80)
    air_c = QuantityField(unit="c", min_value=-90, max_value=70, required=False, allow_null=True)
    fuel_l = QuantityField(unit="l", min_value=0, max_value=1000, required=False)
    lines = Line(many=True, required=False, min_length=1, max_length=5)


class NoteAnswer(serializers.Serializer):
    """The note as it is kept."""

    id = serializers.IntegerField()
    text = serializers.CharField(source="object_id")
    at = serializers.DateTimeField()


class NoteFilters(django_filters.FilterSet):
    act = WordFilter()
    since = InstantFilter(field_name="at", lookup_expr="gte")
    actor = IdFilter(field_name="actor_id")
    sealed = FlagFilter(field_name="seq", lookup_expr="isnull", exclude=True)

    class Meta:
        model = AuditEntry
        fields: list[str] = []


class Notes(ReadOnlyResource):
    """Notes of the fleet."""

    model = AuditEntry
    serializer_class = NoteAnswer
    filterset_class = NoteFilters


class WriteNote(CommandView):
    """Keeps a note."""

    roles = {"POST": {Role.DISPATCHER}}
    input_serializer = NoteInput
    output_serializer = NoteAnswer
    success_status = {"POST": 201}
    problems = ("conflict",)

    @idempotent
    def post(self, request):
        given = self.read(request)
        row = AuditEntry.objects.create(
            fleet=self.fleet,
            at="2027-01-12T05:40:00Z",
            actor_name=str(self.member),
            act="note",
            object_type="note",
            object_id=given["text"],
        )
        if given["text"] == "refuse":
            raise Conflict("The note is refused after it was written.")
        if given["text"] == "answer 409":
            return Response({"kept": False}, status=409)
        row.refresh_from_db()
        return self.answer(row, Location=f"/notes/{row.pk}/")


class Echo(CommandView):
    """Says what it understood."""

    roles = "any"
    input_serializer = {"POST": NoteInput, "PUT": NoteInput}

    def post(self, request):
        return Response(self.read(request))

    def put(self, request):
        return Response(self.read(request))


class Depart(CommandView):
    """A command without a body."""

    roles = {"POST": {Role.DISPATCHER, Role.MANAGER}}

    def post(self, request, reference):
        raise NotFound


class Versioned(CommandView):
    """An object at revision 7."""

    roles = "any"
    input_serializer = {"PATCH": NoteInput}
    if_match = frozenset({"PATCH"})
    gives_etag = True
    query_parameters = {"unit": {"schema": {"type": "string"}, "description": "A unit number."}}

    def get(self, request):
        return revision_answer(request, {"revision": 7}, 7)

    def patch(self, request):
        require_match(request, 7)
        return revision_answer(request, {"revision": 8}, 8)


class Failing(CommandView):
    """Fails as it is told."""

    roles = "any"
    query_parameters = {"how": {"schema": {"type": "string"}}}

    def get(self, request):
        how = request.query_params.get("how")
        if how == "database":
            raise OperationalError("connection to host secret.internal failed")
        raise RuntimeError("the password is hunter2")


class Roleless(APIView):
    """Forgot to say who may use it."""

    schema = None

    def get(self, request):
        return Response({"fleet": fleet_of(request).pk})


class Public(APIView):
    """Anyone."""

    schema = None
    permission_classes = [AllowAny]

    def get(self, request):
        return Response({"fleet": fleet_of(request).pk})


def crash(request):
    raise RuntimeError("the password is hunter2")


router = SimpleRouter()
router.register("notes", Notes, basename="note")
urlpatterns = [
    path("", include("fleet.http.urls")),
    path("notes/write/", WriteNote.as_view()),
    path("", include(router.urls)),
    path("echo/", Echo.as_view()),
    path("trips/<str:reference>/depart/", Depart.as_view()),
    path("versioned/", Versioned.as_view()),
    path("failing/", Failing.as_view()),
    path("roleless/", Roleless.as_view()),
    path("public/", Public.as_view()),
    path("crash/", crash),
]
