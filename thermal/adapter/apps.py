"""Puts the thermal checks into fleet's registry and keeps the built-in commodity table."""

from django.apps import AppConfig


class ThermalConfig(AppConfig):
    name = "thermal.adapter"
    label = "thermal"
