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
    "AlarmKind": ["stop", "heat_lost", "attend"],
    "AlarmScheme": rows("book", "j1939", "derived"),
    "AlarmState": rows("active", "returned", "closed", "voided"),
    "AlarmTier": rows("watch", "attend", "stop"),
    "AssessmentTrigger": ["worker", "read", "gate"],
    "DefectState": rows("open", "repaired", "closed", "withdrawn"),
    "DeliveryState": rows("queued", "leased", "retry_wait", "sent", "failed", "cancelled"),
    "DeliveryChannel": ["email", "webhook"],
    "FindingOutcome": ["pass", "pending", "concern", "block", "unknown"],
    "HookAlarmScheme": ["book", "j1939", "derived"],
    "HookAlarmState": ["active", "returned", "closed", "voided"],
    "HookAlarmTier": ["watch", "attend", "stop"],
    "HoldState": ["open", "lifted", "released", "ended"],
    "LiveHoldState": ["open", "released"],
    "HoldVerdict": ["blocked", "unknown"],
    "InspectionKind": rows("pre_trip", "loading", "post_trip", "seasonal", "recheck"),
    "InspectionState": rows("draft", "signed", "superseded"),
    "NoticeKind": ["hold", "alarm"],
    "NoticeState": rows("pending", "sent", "seen", "undeliverable", "closed"),
    "ObservationOutcome": rows("sound", "wear", "defect", "not_seen"),
    "PerformedMeaning": ["performed"],
    "QuarantineState": rows("held", "replayed", "discarded"),
    "RepairKind": rows("repaired", "repair_unnecessary"),
    "RepairMeaning": ["repaired"],
    "ReplayState": ["held", "replayed"],
    "RouteState": ["enabled", "disabled"],
    "ServiceDue": ["overdue", "unknown", "soon", "later", "no_plan"],
    "SheetKind": rows("pre_trip", "loading", "post_trip", "seasonal"),
    "SignatureMeaning": rows("performed", "reviewed", "repaired"),
    "TripState": rows("planned", "under_way", "delivered", "cancelled"),
    "UnitService": rows("in_service", "out_of_service"),
    "Verdict": ["ready", "conditional", "blocked", "unknown"],
}
