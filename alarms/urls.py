"""Routes of the app, under /api/v1/."""

from typing import Any

from django.urls import URLPattern, URLResolver, include, path

from alarms import views
from alarms.codebooks import views as books

LIST: dict[str, Any] = {"get": "list"}
DETAIL: dict[str, Any] = {"get": "retrieve"}

urlpatterns: list[URLPattern | URLResolver] = [
    path("alarms/", views.AlarmView.as_view(LIST), name="alarms"),
    path("alarms/<int:pk>/", views.AlarmView.as_view(DETAIL), name="alarm"),
    path("alarms/<int:pk>/history/", views.HistoryView.as_view(), name="alarm-history"),
    path("alarms/<int:pk>/seen/", views.SeenView.as_view(), name="alarm-seen"),
    path("alarms/<int:pk>/sign-off/", views.SignOffView.as_view(), name="alarm-sign-off"),
    path("alarms/<int:pk>/void/", views.VoidView.as_view(), name="alarm-void"),
    path("code-books/", books.CodeBookView.as_view(LIST | {"post": "create"}), name="code-books"),
    path("code-books/unmapped/", books.UnmappedView.as_view(), name="code-books-unmapped"),
    path("code-books/<int:pk>/", books.WholeBookView.as_view(), name="code-book"),
    path("code-books/<int:pk>/export/", books.ExportView.as_view(), name="code-book-export"),
]

urlpatterns += [path("", include("alarms.notices.urls"))]
