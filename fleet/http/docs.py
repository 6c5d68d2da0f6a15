"""The API's document and its page, both public and both served without any other host."""

from functools import lru_cache
from typing import Any

from django.conf import settings
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

# The page styles its elements inline.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


@lru_cache(maxsize=2)
def _document(urlconf: str) -> dict[str, Any]:
    """The document of a process: routes do not change while it runs, and anyone may ask as often as they
    like."""
    document: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return document


class _KnownSchema(SchemaGenerator):
    """Answers from memory after the first time."""

    def get_schema(self, request: Any = None, public: bool = False) -> dict[str, Any]:
        return _document(settings.ROOT_URLCONF)


class SchemaView(SpectacularAPIView):
    """OpenAPI 3.1 at `/api/schema/`, YAML or JSON as the Accept header asks."""

    generator_class = _KnownSchema


class DocsView(SpectacularSwaggerSplitView):
    """Swagger UI at `/api/docs/`. Its script is a file of its own, so that the page needs no inline
    script."""

    url_name = "schema"

    def finalize_response(self, request: Any, response: Any, *args: Any, **kwargs: Any) -> Any:
        response["Content-Security-Policy"] = _POLICY
        return super().finalize_response(request, response, *args, **kwargs)
