"""Routes of fleet's own pages, and their words in the navigation."""

from django.urls import URLPattern, path

from fleet.pages import account, charts, departures, release, trip, units
from fleet.pages.panels import NavEntry, TripPanel, UnitPanel

TRIP_PANELS = (TripPanel("fleet.forecast", 10, "Forecast", charts.forecast_panel),)
UNIT_PANELS = (UnitPanel("fleet.history", 90, "What it sent", charts.history_panel, wide=True),)
NAV = (
    NavEntry("fleet.departures", "Departures", "page-departures", 10),
    NavEntry("fleet.units", "Units", "page-units", 20),
)

urlpatterns: list[URLPattern] = [
    path("", departures.DeparturesView.as_view(), name="page-departures"),
    path("sign-in/", account.SignInView.as_view(), name="page-sign-in"),
    path("sign-out/", account.SignOutView.as_view(), name="page-sign-out"),
    path("preferences/", account.PreferencesView.as_view(), name="page-preferences"),
    path("trips/<str:reference>/", trip.TripView.as_view(), name="page-trip"),
    path("holds/<int:pk>/release/", release.ReleaseView.as_view(), name="page-release"),
    path("charts/trips/<str:reference>/forecast.svg", charts.ForecastImage.as_view(), name="page-chart-trip"),
    path("charts/units/<str:number>/history.svg", charts.HistoryImage.as_view(), name="page-chart-unit"),
    path("units/", units.UnitsView.as_view(), name="page-units"),
    path("units/<str:number>/", units.UnitView.as_view(), name="page-unit"),
]
