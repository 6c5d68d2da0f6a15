"""The checks that fleet itself contributes: one file each, registered by `FleetConfig.ready()`."""

from fleet.checks import availability, load_temperature, service_due, set_point, telemetry, unit_on

CHECKS = (
    availability.CHECK,
    load_temperature.CHECK,
    service_due.CHECK,
    set_point.CHECK,
    telemetry.CHECK,
    unit_on.CHECK,
)
