"""Every route of the service. Together with the settings this is the only module that names other apps."""

from typing import Any

from django.conf import settings
from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from fleet.ingest.views import DiscardView, EventsView, QuarantineView, ReplayView
from fleet.tokens import views as tokens
from fleet.trips import readiness_views as answers
from fleet.trips import views as trips
from fleet.units import views as units

LIST: dict[str, Any] = {"get": "list"}
DETAIL: dict[str, Any] = {"get": "retrieve"}

api: list[URLPattern | URLResolver] = [
    path("events/", EventsView.as_view(), name="events"),
    path("quarantine/", QuarantineView.as_view(LIST), name="quarantine"),
    path("quarantine/<int:pk>/", QuarantineView.as_view(DETAIL), name="quarantine-one"),
    path("quarantine/<int:pk>/replay/", ReplayView.as_view(), name="quarantine-replay"),
    path("quarantine/<int:pk>/discard/", DiscardView.as_view(), name="quarantine-discard"),
    path("trips/", trips.TripView.as_view(LIST | {"post": "create"}), name="trips"),
    path("trips/preview/", answers.PreviewView.as_view(), name="trip-preview"),
    path("trips/<str:reference>/", trips.TripView.as_view(DETAIL | {"patch": "partial_update"}), name="trip"),
    path("trips/<str:reference>/ambient/", trips.AmbientView.as_view(), name="trip-ambient"),
    path("trips/<str:reference>/readiness/", answers.ReadinessView.as_view(), name="trip-readiness"),
    path("trips/<str:reference>/candidates/", answers.CandidatesView.as_view(), name="trip-candidates"),
    path("trips/<str:reference>/assignment/", trips.AssignmentView.as_view(), name="trip-assignment"),
    path("trips/<str:reference>/depart/", trips.DepartView.as_view(), name="trip-depart"),
    path("trips/<str:reference>/deliver/", trips.DeliverView.as_view(), name="trip-deliver"),
    path("trips/<str:reference>/cancel/", trips.CancelView.as_view(), name="trip-cancel"),
    path("trips/<str:reference>/assessments/", answers.AssessmentHistoryView.as_view(LIST), name="trip-history"),
    path("holds/", answers.HoldView.as_view(LIST), name="holds"),
    path("holds/<int:pk>/", answers.HoldView.as_view(DETAIL), name="hold"),
    path("holds/<int:pk>/release/", answers.ReleaseView.as_view(), name="hold-release"),
    path("units/", units.UnitView.as_view(LIST | {"post": "create"}), name="units"),
    path("units/<str:number>/", units.UnitView.as_view(DETAIL | {"patch": "partial_update"}), name="unit"),
    path("units/<str:number>/state/", units.UnitStateView.as_view(), name="unit-state"),
    path("units/<str:number>/readings/", units.ReadingView.as_view(LIST), name="unit-readings"),
    path("unit-models/", units.UnitModelView.as_view(LIST | {"post": "create"}), name="unit-models"),
    path(
        "unit-models/<str:key>/",
        units.UnitModelView.as_view(DETAIL | {"patch": "partial_update"}),
        name="unit-model",
    ),
    path("commodities/", units.CommodityView.as_view(LIST), name="commodities"),
    path("commodities/<str:key>/", units.CommodityView.as_view(DETAIL), name="commodity"),
    path("policy/", units.PolicyView.as_view(), name="policy"),
    path("login/", tokens.LoginView.as_view(), name="login"),
    path("tokens/", tokens.TokenView.as_view(LIST), name="tokens"),
    path("tokens/rotate/", tokens.RotateView.as_view(), name="token-rotate"),
    path("tokens/<int:pk>/", tokens.TokenView.as_view(DETAIL | {"delete": "destroy"}), name="token"),
    path("", include("fleet.charts.urls")),
    path("", include("fleet.trip_records.urls")),
    path("", include("inspections.urls")),
    path("", include("alarms.urls")),
    path("", include("thermal.adapter.urls")),
]

pages: list[URLPattern | URLResolver] = [
    path("", include("fleet.pages.urls")),
    path("", include("inspections.pages.urls")),
    path("", include("alarms.pages.urls")),
    path("", include("thermal.adapter.pages.urls")),
]

urlpatterns = [
    path("api/v1/", include(api)),
    path("", include(pages)),
    path(settings.ADMIN_PATH, admin.site.urls),
    path("", include("fleet.http.urls")),
]

handler400 = "fleet.pages.errors.handler400"
handler403 = "fleet.pages.errors.handler403"
handler404 = "fleet.pages.errors.handler404"
handler500 = "fleet.pages.errors.handler500"
