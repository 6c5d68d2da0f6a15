"""The API's document and its page, both public and both served without any other host."""

from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView


class SchemaView(SpectacularAPIView):
    """OpenAPI 3.1 at `/api/schema/`, YAML or JSON as the Accept header asks."""


class DocsView(SpectacularSwaggerSplitView):
    """Swagger UI at `/api/docs/`. Its script is a file of its own, so that the page needs no inline
    script."""

    url_name = "schema"
