"""Routes of the charts, under /api/v1/. They are files, so no slash ends them."""

from django.urls import path

from fleet.charts import views

urlpatterns = [
    path("trips/<str:reference>/forecast.svg", views.ForecastSvg.as_view(), name="trip-chart-svg"),
    path("trips/<str:reference>/forecast.png", views.ForecastPng.as_view(), name="trip-chart-png"),
    path("units/<str:number>/history.svg", views.HistorySvg.as_view(), name="unit-chart-svg"),
    path("units/<str:number>/history.png", views.HistoryPng.as_view(), name="unit-chart-png"),
]
