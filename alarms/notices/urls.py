"""Routes of notices and deliveries, under /api/v1/."""

from typing import Any

from django.urls import URLPattern, path

from alarms.deliveries import views as deliveries
from alarms.notices import views

LIST: dict[str, Any] = {"get": "list"}
DETAIL: dict[str, Any] = {"get": "retrieve"}
CHANGE: dict[str, Any] = {"patch": "partial_update", "delete": "destroy"}

urlpatterns: list[URLPattern] = [
    path("notices/", views.NoticeView.as_view(LIST), name="notices"),
    path("notices/<int:pk>/", views.NoticeView.as_view(DETAIL), name="notice"),
    path("notices/<int:pk>/seen/", views.NoticeSeenView.as_view(), name="notice-seen"),
    path("notice-routes/", views.RouteView.as_view(LIST | {"post": "create"}), name="notice-routes"),
    path("notice-routes/<int:pk>/", views.RouteView.as_view(DETAIL | CHANGE), name="notice-route"),
    path("notice-routes/<int:pk>/test/", views.RouteTestView.as_view(), name="notice-route-test"),
    path("notice-routes/<int:pk>/rotate-secret/", views.RotateSecretView.as_view(), name="notice-route-rotate"),
    path("deliveries/", deliveries.DeliveryView.as_view(LIST), name="deliveries"),
    path("deliveries/<int:pk>/", deliveries.DeliveryView.as_view(DETAIL), name="delivery"),
    path("deliveries/<int:pk>/redeliver/", deliveries.RedeliverView.as_view(), name="delivery-again"),
]
