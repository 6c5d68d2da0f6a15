"""Routes of these pages, outside /api/."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
