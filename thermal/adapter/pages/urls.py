"""Routes of these pages, outside /api/."""

from django.urls import URLPattern, path

from thermal.adapter.pages import calculator

urlpatterns: list[URLPattern] = [
    path("calculator/", calculator.CalculatorView.as_view(), name="page-calculator"),
    path("calculator/chart.svg", calculator.CalculatorChart.as_view(), name="page-calculator-chart"),
]
