"""The two bases of nearly every view: a command that calls one service, and a resource that is only read."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar

from django.db.models import Model, QuerySet
from django.http import QueryDict
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView
from rest_framework.viewsets import ReadOnlyModelViewSet

from fleet.clock import db_now
from fleet.errors import FieldError, InvalidInput, NotFound
from fleet.http.auth import Roles, fleet_of, member_of
from fleet.http.etag import revision_answer
from fleet.http.filters import accepted_parameters
from fleet.http.parsers import text_fault
from fleet.http.pointers import join
from fleet.http.query import refuse_unknown_parameters
from fleet.models.members import Fleet, Member

SerializerClass = type[BaseSerializer[Any]]
PerMethod = Mapping[str, SerializerClass] | SerializerClass | None


def for_method(declared: PerMethod, method: str) -> SerializerClass | None:
    """The serializer that a view declares for one method: one for all, or one per method."""
    if isinstance(declared, Mapping):
        return declared.get(method)
    return declared


class StrictQueryMixin(APIView):
    """Refuses query parameters that the view does not name, after it is known who asks.

    `query_parameters`: names the view reads itself, mapped to their OpenAPI schema and description.
    """

    roles: ClassVar[Roles | None] = None
    query_parameters: ClassVar[Mapping[str, Mapping[str, Any]]] = {}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if not hasattr(self, (request.method or "").lower()):
            raise MethodNotAllowed(request.method or "")  # before anything else of the request is judged
        if any(isinstance(part, str) and text_fault(part) for part in kwargs.values()):
            raise NotFound  # PostgreSQL cannot even be asked for a name with U+0000 in it.
        refuse_unknown_parameters(request, accepted_parameters(self))

    @property
    def fleet(self) -> Fleet:
        """The caller's fleet."""
        return fleet_of(self.request)

    @property
    def member(self) -> Member:
        """The caller."""
        return member_of(self.request)

    @property
    def now(self) -> datetime:
        """The time by the database's clock, which came with the caller's token."""
        read_at: datetime | None = getattr(self.request.auth, "read_at", None)
        return db_now() if read_at is None else read_at


class CommandView(StrictQueryMixin):
    """One command (or one small resource): reads its input, calls one service, answers.

    `input_serializer` and `output_serializer` are one class for all methods or a mapping per method; a method
    without an input serializer takes no body. What follows is read by the schema:
    `success_status`, `problems` (codes beyond the usual ones), `if_match` (methods that need If-Match) and
    `gives_etag`. A `public` view has no caller and no fleet. `quota` names what its requests count against
    (fleet.http.throttle).
    """

    input_serializer: ClassVar[PerMethod] = None
    output_serializer: ClassVar[PerMethod] = None
    success_status: ClassVar[Mapping[str, int]] = {}
    problems: ClassVar[tuple[str, ...]] = ()
    if_match: ClassVar[frozenset[str]] = frozenset()
    gives_etag: ClassVar[bool] = False
    reads_raw_body: ClassVar[bool] = False
    public: ClassVar[bool] = False

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        takes_body = self.reads_raw_body or for_method(self.input_serializer, request.method or "") is not None
        if not takes_body and request.method not in {"GET", "HEAD", "OPTIONS"} and request.data:
            members = request.data if isinstance(request.data, Mapping) else ()
            detail = "This command takes no body."
            errors = [FieldError(join("", name), "unknown-member", detail) for name in members]
            raise InvalidInput(detail, errors=errors)

    def read(self, request: Request, *, partial: bool = False, **context: Any) -> Any:
        """The validated body; ValidationError (answered as invalid-input) where it is refused."""
        serializer_class = for_method(self.input_serializer, request.method or "")
        if serializer_class is None:
            raise TypeError(f"{type(self).__name__} declares no input for {request.method}")
        context = {"request": request, "fleet": None if self.public else self.fleet, **context}
        # An empty body that claims to be a form arrives as a QueryDict, which serializers read by a form's
        # rules.
        data = {} if isinstance(request.data, QueryDict) else request.data
        serializer = serializer_class(data=data, partial=partial, context=context)
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data

    def answer(self, result: Any, *, status: int | None = None, **headers: str) -> Response:
        """`result` through the output serializer, with the status declared for the method (200 otherwise)."""
        method = self.request.method or ""
        serializer_class = for_method(self.output_serializer, method)
        data = result
        if serializer_class is not None:
            context = {"request": self.request, "fleet": None if self.public else self.fleet}
            data = serializer_class(result, context=context).data
        return Response(data, status=status or self.success_status.get(method, 200), headers=headers)


class ReadOnlyResource(StrictQueryMixin, ReadOnlyModelViewSet[Any]):
    """Lists and details of one model, narrowed to the caller's fleet.

    Subclasses name `model` and `serializer_class`, and extend `get_queryset` for joins. A detail whose row
    has a `revision` carries it as its ETag and honours If-None-Match.
    """

    roles: ClassVar[Roles | None] = "any"
    model: ClassVar[type[Model]]
    problems: ClassVar[tuple[str, ...]] = ()
    if_match: ClassVar[frozenset[str]] = frozenset()

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):  # the schema asks for the model, not for rows
            return QuerySet(self.model).none()
        rows: QuerySet[Any] = self.model.objects.for_fleet(self.fleet)  # type: ignore[attr-defined]
        return rows

    @property
    def gives_etag(self) -> bool:
        """Whether details carry an ETag."""
        return any(field.name == "revision" for field in self.model._meta.get_fields())

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        row = self.get_object()
        data = self.get_serializer(row).data
        return revision_answer(request, data, row.revision) if self.gives_etag else Response(data)
