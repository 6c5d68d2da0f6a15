"""Puts the thermal checks into fleet's registry and keeps the built-in commodity table."""

from django.apps import AppConfig


class ThermalConfig(AppConfig):
    name = "thermal.adapter"
    label = "thermal"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from fleet.built_in import keep_built_in
        from fleet.models import Commodity
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
        keep_built_in(self, sync_commodities, Commodity)
