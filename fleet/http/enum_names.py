"""Names of the choice sets in the OpenAPI document. Generated clients call their types by them, so they are stable.

A set that is not named here gets a name of the schema tool's making, and a warning that stops CI when two fields of one
name have different sets.
"""

from collections.abc import Sequence

Choices = Sequence[str] | Sequence[tuple[str, str]]


def rows(*values: str) -> list[tuple[str, str]]:
    """A set that is a row's choices: the schema tool tells such sets apart by their labels too."""
    return [(value, value.replace("_", " ").title()) for value in values]


ENUM_NAMES: dict[str, Choices] = {
    "HealthCause": ["box", "heater", "either"],
    "HealthReferenceSource": ["design", "tested"],
    "KSource": ["design", "tested", "learned"],
    "AlarmKind": ["stop", "heat_lost", "attend"],
    "AlarmScheme": rows("book", "j1939", "derived"),
    "AlarmState": rows("active", "returned", "closed", "voided"),
    "AlarmTier": rows("watch", "attend", "stop"),
    "AlarmMapping": rows("book", "fmi", "rule", "none"),
    "AssessmentPhase": ["planned", "under_way"],
    "AssessmentTrigger": ["worker", "read", "gate"],
    "DefectState": rows("open", "repaired", "closed", "withdrawn"),
    "DeliveryPurpose": rows("tell", "close", "summary", "owner", "test"),
    "DeliveryState": rows("queued", "leased", "retry_wait", "sent", "failed", "cancelled"),
    "DeliveryChannel": ["email", "webhook"],
    "FindingOutcome": ["pass", "pending", "concern", "block", "unknown"],
    "EventStatus": ["duplicate", "late", "quarantined"],
    "FuelGrade": [
        "en590-a",
        "en590-b",
        "en590-c",
        "en590-d",
        "en590-e",
        "en590-f",
        "en590-0",
        "en590-1",
        "en590-2",
        "en590-3",
        "en590-4",
        "summer",
        "winter",
        "unknown",
    ],
    "Hazard": ["none", "must_state", "refused"],
    "HookAlarmScheme": ["book", "j1939", "derived"],
    "HookAlarmState": ["active", "returned", "closed", "voided"],
    "HookAlarmTier": ["watch", "attend", "stop"],
    "HookChange": ["opened", "changed", "ended"],
    "HookUrgency": ["planned", "soon", "now"],
    "HoldState": ["open", "lifted", "released", "ended"],
    "LiveHoldState": ["open", "released"],
    "HoldVerdict": ["blocked", "unknown"],
    "InspectionArrival": rows("in_time", "late", "changed_answer"),
    "InspectionKind": rows("pre_trip", "loading", "post_trip", "seasonal", "recheck"),
    "InspectionResult": rows("fit", "unfit", "incomplete"),
    "InspectionState": rows("draft", "signed", "superseded"),
    "MeasureName": [
        "fuel_dip_l",
        "fuel_grade",
        "coolant_glycol_pct",
        "battery_rest_v",
        "battery_rest_h",
        "battery_temp_c",
        "belt_tension_n",
        "load_temperatures_c",
        "engine_hours_h",
    ],
    "NoticeKind": ["hold", "alarm"],
    "NoticeReason": [
        *("first", "new_cause", "more_urgent", "seen_lapsed", "next_step", "repeat_due", "closed", "summary"),
        *("undeliverable", "muted_by_stop", "seen", "quiet_hours", "clearing", "nothing"),
    ],
    "NoticeState": rows("pending", "sent", "seen", "undeliverable", "closed"),
    "ObservationOutcome": rows("sound", "wear", "defect", "not_seen"),
    "PerformedMeaning": ["performed"],
    "QuarantineState": rows("held", "replayed", "discarded"),
    "RepairKind": rows("repaired", "repair_unnecessary"),
    "RepairMeaning": ["repaired"],
    "ReplayState": ["held", "replayed"],
    "Role": rows("integrator", "dispatcher", "inspector", "manager"),
    "RouteState": ["enabled", "disabled"],
    "ServiceDue": ["overdue", "unknown", "soon", "later", "no_plan"],
    "SheetKind": rows("pre_trip", "loading", "post_trip", "seasonal"),
    "SignatureMeaning": rows("performed", "reviewed", "repaired"),
    "TokenOrigin": rows("command", "login", "rotation"),
    "TripState": rows("planned", "under_way", "delivered", "cancelled"),
    "UnitService": rows("in_service", "out_of_service"),
    "Verdict": ["ready", "conditional", "blocked", "unknown"],
}
