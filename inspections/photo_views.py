"""Photos over HTTP: the bytes of one picture in, its picture out."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.errors import NotFound
from fleet.http.idempotency import idempotent
from fleet.http.parsers import TooLarge
from fleet.http.renderers import OrjsonRenderer
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role
from inspections.answers import PhotoOutput
from inspections.models import Photo
from inspections.models.photos import photo_storage
from inspections.pictures import MAX_BYTES
from inspections.services.photos import store_photo

TAKERS = frozenset({Role.INSPECTOR, Role.MANAGER})


class PictureParser(BaseParser):
    """Hands the body over as bytes, up to the limit. What it is, its content says."""

    media_type = "image/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        body: bytes = stream.read(MAX_BYTES + 1)
        if len(body) > MAX_BYTES:
            raise TooLarge(f"A photo may have {MAX_BYTES} bytes at most.", limit_bytes=MAX_BYTES)
        return body


class PictureRenderer(OrjsonRenderer):
    """Lets a caller accept pictures; the file itself is sent past the renderer, problems are JSON."""

    media_type = "image/jpeg"
    format = "jpg"


class PhotoView(CommandView, ReadOnlyResource):
    """Photos: upload one (JPEG, PNG or WebP as the body), read about them. Observations name them by id."""

    tag = "inspections"
    model = Photo
    roles = {"GET": "any", "POST": TAKERS}
    parser_classes = (PictureParser,)
    reads_raw_body = True
    serializer_class = PhotoOutput
    output_serializer = {"GET": PhotoOutput, "POST": PhotoOutput}
    success_status = {"POST": 201}
    problems = ("not-a-photo", "storage-full", "unavailable")

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("uploaded_by")

    @extend_schema(request={"image/jpeg": OpenApiTypes.BINARY, "image/png": OpenApiTypes.BINARY,
                            "image/webp": OpenApiTypes.BINARY})  # fmt: skip
    @idempotent
    def create(self, request: Request) -> Response:
        body = request.data if isinstance(request.data, bytes) else b""
        row = store_photo(self.fleet, body, by=self.member, now=db_now())
        return self.answer(row, Location=f"/api/v1/photos/{row.pk}/")


class PictureView(CommandView):
    """The picture of one photo, as JPEG."""

    tag = "inspections"
    roles = {"GET": "any"}
    renderer_classes = (OrjsonRenderer, PictureRenderer)

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: int) -> FileResponse:
        row = Photo.objects.for_fleet(self.fleet).filter(pk=pk).first()
        if row is None or not photo_storage().exists(str(row.file.name)):
            raise NotFound("There is no such photo.")
        response = FileResponse(row.file.open("rb"), content_type="image/jpeg", filename=f"photo-{row.pk}.jpg")
        response["Content-Security-Policy"] = "default-src 'none'; sandbox"
        response["Cache-Control"] = "private, max-age=86400, immutable"
        return response
