"""Puts the app's contributions into fleet's registries."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from fleet.built_in import keep_built_in
        from fleet.readiness.registry import checks
        from fleet.sweep import chores
        from inspections import trip_record
        from inspections.builtin import load_built_in_sheets
        from inspections.checks import CHECKS
        from inspections.chores import CHORES
        from inspections.models import Inspection, Sheet
        from inspections.pages import panels

        for check in CHECKS:
            checks.add(check)
        for chore in CHORES:
            chores.add(chore)
        panels.register()
        trip_record.register()
        keep_built_in(self, load_built_in_sheets, Sheet, Inspection)
