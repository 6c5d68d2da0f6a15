"""Puts fleet's own contributions into the registries."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"

    def ready(self) -> None:
        from django.db.backends.signals import connection_created

        from fleet.arrays import teach_arrays
        from fleet.checks import CHECKS
        from fleet.chores import CHORES
        from fleet.pages.panels import nav, trip_panels, unit_panels
        from fleet.pages.urls import NAV, TRIP_PANELS, UNIT_PANELS
        from fleet.readiness.registry import checks
        from fleet.sweep import chores
        from fleet.trip_records import own as trip_record

        connection_created.connect(teach_arrays, dispatch_uid="fleet.arrays")
        for check in CHECKS:
            checks.add(check)
        for chore in CHORES:
            chores.add(chore)
        for entry in NAV:
            nav.add(entry)
        for of_trip in TRIP_PANELS:
            trip_panels.add(of_trip)
        for of_unit in UNIT_PANELS:
            unit_panels.add(of_unit)
        trip_record.register()
