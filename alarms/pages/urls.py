"""Routes of these pages, outside /api/."""

from django.urls import URLPattern, path

from alarms.pages import views

urlpatterns: list[URLPattern] = [
    path("alarms/<int:pk>/", views.AlarmView.as_view(), name="page-alarm"),
    path("alarms/<int:pk>/seen/", views.AlarmSeenView.as_view(), name="page-alarm-seen"),
    path("notices/<int:pk>/seen/", views.NoticeSeenView.as_view(), name="page-notice-seen"),
]
