"""Routes beside the API: health, metrics, the API's document and the pages of the problem types."""

from django.urls import path

from fleet.http.docs import DocsView, SchemaView
from fleet.http.health import livez, readyz
from fleet.http.metrics import metrics
from fleet.http.problems import problem_page

urlpatterns = [
    path("livez", livez, name="livez"),
    path("readyz", readyz, name="readyz"),
    path("metrics", metrics, name="metrics"),
    path("api/schema/", SchemaView.as_view(), name="schema"),
    path("api/docs/", DocsView.as_view(), name="docs"),
    path("docs/problems/<slug:slug>/", problem_page, name="problem"),
]
