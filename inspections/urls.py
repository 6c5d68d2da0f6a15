"""Routes of the app, under /api/v1/."""

from typing import Any

from django.urls import URLPattern, path

from inspections import photo_views, plan_views, record_views, views

LIST: dict[str, Any] = {"get": "list"}
DETAIL: dict[str, Any] = {"get": "retrieve"}

urlpatterns: list[URLPattern] = [
    path("inspection-sheets/", views.SheetView.as_view(LIST | {"post": "create"}), name="inspection-sheets"),
    path("inspection-sheets/<int:pk>/", views.SheetView.as_view(DETAIL), name="inspection-sheet"),
    path("inspections/", views.InspectionView.as_view(LIST | {"post": "create"}), name="inspections"),
    path(
        "inspections/<int:pk>/",
        views.InspectionView.as_view(DETAIL | {"patch": "partial_update", "delete": "destroy"}),
        name="inspection",
    ),
    path("inspections/<int:pk>/sign/", views.SignView.as_view(), name="inspection-sign"),
    path("inspections/<int:pk>/corrections/", views.CorrectionView.as_view(), name="inspection-corrections"),
    path("inspections/<int:pk>/rechecks/", views.RecheckView.as_view(), name="inspection-rechecks"),
    path("inspections/<int:pk>/repairs/", views.SignRepairView.as_view(), name="inspection-repairs"),
    path("inspections/<int:pk>/pdf/", record_views.PdfView.as_view(), name="inspection-pdf"),
    path("exports/<slug:what>/", record_views.ExportView.as_view(), name="exports"),
    path("photos/", photo_views.PhotoView.as_view(LIST | {"post": "create"}), name="photos"),
    path("photos/<int:pk>/", photo_views.PhotoView.as_view(DETAIL), name="photo"),
    path("photos/<int:pk>/picture/", photo_views.PictureView.as_view(), name="photo-picture"),
    path("repairs/", views.RepairView.as_view(LIST), name="repairs"),
    path("repairs/<int:pk>/", views.RepairView.as_view(DETAIL), name="repair"),
    path("defects/", views.DefectView.as_view(LIST), name="defects"),
    path("defects/<int:pk>/", views.DefectView.as_view(DETAIL), name="defect"),
    path("defect-counts/", plan_views.FailureView.as_view(), name="defect-counts"),
    path("work-due/", plan_views.WorkListView.as_view(), name="work-due"),
    path("units/<str:number>/inspection-form/", plan_views.FormView.as_view(), name="unit-form"),
    path("units/<str:number>/observations/", plan_views.ItemHistoryView.as_view(LIST), name="unit-observations"),
    path(
        "units/<str:number>/service/",
        plan_views.ServiceView.as_view(LIST | {"post": "create"}),
        name="unit-service",
    ),
]
