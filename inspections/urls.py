"""Routes of the app, under /api/v1/."""

from typing import Any

from django.urls import URLPattern, path

from inspections import views

LIST: dict[str, Any] = {"get": "list"}
DETAIL: dict[str, Any] = {"get": "retrieve"}

urlpatterns: list[URLPattern] = [
    path("inspection-sheets/", views.SheetView.as_view(LIST | {"post": "create"}), name="inspection-sheets"),
    path("inspection-sheets/<int:pk>/", views.SheetView.as_view(DETAIL), name="inspection-sheet"),
    path("inspections/", views.InspectionView.as_view(LIST | {"post": "create"}), name="inspections"),
    path(
        "inspections/<int:pk>/",
        views.InspectionView.as_view(DETAIL | {"patch": "partial_update"}),
        name="inspection",
    ),
    path("inspections/<int:pk>/sign/", views.SignView.as_view(), name="inspection-sign"),
    path("inspections/<int:pk>/corrections/", views.CorrectionView.as_view(), name="inspection-corrections"),
    path("inspections/<int:pk>/rechecks/", views.RecheckView.as_view(), name="inspection-rechecks"),
    path("inspections/<int:pk>/repairs/", views.SignRepairView.as_view(), name="inspection-repairs"),
    path("repairs/", views.RepairView.as_view(LIST), name="repairs"),
    path("repairs/<int:pk>/", views.RepairView.as_view(DETAIL), name="repair"),
    path("defects/", views.DefectView.as_view(LIST), name="defects"),
    path("defects/<int:pk>/", views.DefectView.as_view(DETAIL), name="defect"),
]
