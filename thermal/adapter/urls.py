"""Routes of the app, under /api/v1/."""

from django.urls import path

from thermal.adapter.learning.views import UnitHealthView
from thermal.adapter.views import EstimateView, TripForecastView

urlpatterns = [
    path("units/<str:number>/health/", UnitHealthView.as_view(), name="unit-health"),
    path("thermal/estimates/", EstimateView.as_view(), name="thermal-estimates"),
    path("trips/<str:reference>/forecast/", TripForecastView.as_view(), name="trip-forecast"),
]
