"""Routes of the trip record, under /api/v1/. They are files, so no slash ends them."""

from django.urls import path

from fleet.trip_records import views

urlpatterns = [
    path("trips/<str:reference>/record.pdf", views.RecordPdf.as_view(), name="trip-record-pdf"),
    path("trips/<str:reference>/record.csv", views.RecordCsv.as_view(), name="trip-record-csv"),
    path("trips/<str:reference>/record.jsonl", views.RecordLines.as_view(), name="trip-record-jsonl"),
]
