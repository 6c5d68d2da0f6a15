"""Puts the app's contributions into fleet's registries."""

from django.apps import AppConfig


class AlarmsConfig(AppConfig):
    name = "alarms"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from alarms import checks, chores, findings, handlers, marks, trip_record
        from alarms.notices import listener
        from alarms.pages import panels

        handlers.register()
        findings.register()
        checks.register()
        chores.register()
        marks.register()
        trip_record.register()
        listener.register()
        panels.register()
