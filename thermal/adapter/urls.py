"""Routes of the app, under /api/v1/."""

from django.urls import path

from thermal.adapter.views import EstimateView, TripForecastView

urlpatterns = [
    path("thermal/estimates/", EstimateView.as_view(), name="thermal-estimates"),
    path("trips/<str:reference>/forecast/", TripForecastView.as_view(), name="trip-forecast"),
]
