"""Routes of fleet's own pages, and their words in the navigation."""

from django.urls import URLPattern, path

from fleet.pages import account, departures, release, trip, units
from fleet.pages.panels import NavEntry

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
    path("units/", units.UnitsView.as_view(), name="page-units"),
    path("units/<str:number>/", units.UnitView.as_view(), name="page-unit"),
]
