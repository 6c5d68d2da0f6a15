"""Routes of these pages, outside /api/."""

from django.urls import URLPattern, path

from inspections.pages import mending, phone, plain, records

urlpatterns: list[URLPattern] = [
    path("inspections/", records.InspectionsView.as_view(), name="page-inspections"),
    path("inspections/choose/", records.ChooseView.as_view(), name="page-choose"),
    path("inspections/fill/<str:number>/<slug:sheet>/", plain.FillView.as_view(), name="page-fill"),
    path("inspections/walk/", phone.WalkView.as_view(), name="page-walk"),
    path("inspections/worker.js", phone.WorkerView.as_view(), name="page-worker"),
    path("inspections/phone/pass/", phone.PassView.as_view(), name="phone-pass"),
    path("inspections/phone/known/", phone.TakeAlongView.as_view(), name="phone-known"),
    path("inspections/phone/form/", phone.FormForPageView.as_view(), name="phone-form"),
    path("inspections/phone/send/", phone.SendView.as_view({"post": "create"}), name="phone-send"),
    path("inspections/phone/send/<int:pk>/", phone.SendView.as_view({"delete": "destroy"}), name="phone-withdraw"),
    path("inspections/phone/photo/", phone.SendPhotoView.as_view({"post": "create"}), name="phone-photo"),
    path("inspections/photos/<int:pk>/", records.PagePicture.as_view(), name="page-photo"),
    path("inspections/<int:pk>/", records.InspectionPage.as_view(), name="page-inspection"),
    path("inspections/<int:pk>/pdf/", records.PagePdf.as_view(), name="page-inspection-pdf"),
    path("inspections/<int:pk>/repair/", mending.RepairPage.as_view(), name="page-repair"),
    path("inspections/<int:pk>/recheck/", mending.RecheckPage.as_view(), name="page-recheck"),
    path("inspections/<int:pk>/discard/", mending.DiscardPage.as_view(), name="page-discard"),
]
