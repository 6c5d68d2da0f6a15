"""Puts the app's contributions into fleet's registries."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from fleet.readiness.registry import checks
        from fleet.sweep import chores
        from inspections import trip_record
        from inspections.builtin import load_built_in_sheets
        from inspections.checks import CHECKS
        from inspections.chores import CHORES
        from inspections.pages import panels

        for check in CHECKS:
            checks.add(check)
        for chore in CHORES:
            chores.add(chore)
        panels.register()
        trip_record.register()
        post_migrate.connect(load_built_in_sheets, sender=self, dispatch_uid="inspections.sheets")
