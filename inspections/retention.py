"""How long records have to be kept by the rules this project knows. Pure; `services.purging` removes what is older.

The functions state rules for vehicles; whether they bind a cargo heater is for the carrier to decide. The service keeps
everything for RECORDS_KEEP_MONTHS, which is longer than any of them, unless the operator shortens it.
"""

from __future__ import annotations

from datetime import date

from fleet.checks.service_due import add_months


def driver_report_until(written_on: date) -> date:
    """First day on which a driver's daily report may be purged: 3 months after it was written.

    References: 49 CFR 396.11(a), retention as summarised by jjkeller.com (read); paragraph (a)(4) from memory.
    """
    return add_months(written_on, 3)


def periodic_report_until(inspected_on: date) -> date:
    """First day on which a periodic inspection report may be purged: 14 months after the inspection.

    References: 49 CFR 396.21, as summarised by the Oregon DOT's recordkeeping page (read).
    """
    return add_months(inspected_on, 14)


def maintenance_until(last_recorded_on: date, *, left_on: date | None) -> date:
    """First day on which the record of an inspection, repair or maintenance of a vehicle may be purged.

    One year where the vehicle is housed, and six months after it has left the carrier: the later of both clocks.

    References: 49 CFR 396.3(b) and (c), safety planner chapter 22 (read).
    """
    year = add_months(last_recorded_on, 12)
    return year if left_on is None else max(year, add_months(left_on, 6))


def training_until(left_duties_on: date) -> date:
    """First day on which training records may be purged: 12 months after the person stopped those duties.

    References: 21 CFR 1.910(b) (read).
    """
    return add_months(left_duties_on, 12)


def agreement_until(ended_on: date) -> date:
    """First day on which written specifications of a shipper may be purged: 12 months after the agreement ended.

    References: 21 CFR 1.912 (identical state text, Texas 25 TAC 229.806, read).
    """
    return add_months(ended_on, 12)
