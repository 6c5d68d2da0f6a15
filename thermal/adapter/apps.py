"""Puts the thermal checks into fleet's registry and keeps the built-in commodity table."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ThermalConfig(AppConfig):
    name = "thermal.adapter"
    label = "thermal"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from fleet.readiness.registry import checks
        from fleet.warmers import Warmer, warmers
        from thermal import warm
        from thermal.adapter import charts, trip_record
        from thermal.adapter.checks import CHECKS
        from thermal.adapter.commodities import sync_commodities
        from thermal.adapter.learning import chores
        from thermal.adapter.pages import panels

        for check in CHECKS:
            checks.add(check)
        panels.register()
        chores.register()
        charts.register()
        trip_record.register()
        warmers.add(Warmer("thermal.model", warm))
        post_migrate.connect(sync_commodities, sender=self, dispatch_uid="thermal.commodities")
