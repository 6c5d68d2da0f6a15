"""The rows that fleet owns."""

from fleet.models.idempotency import IdempotencyKey
from fleet.models.members import Fleet, Member, Role
from fleet.models.readiness import Assessment, Hold, Phase, PolicyRow, Verdict
from fleet.models.readings import QuarantinedEvent, Reading, Source
from fleet.models.records import AuditEntry
from fleet.models.scope import FleetRow, ScopedManager, UnscopedQuery
from fleet.models.tokens import TokenCard, TokenOrigin
from fleet.models.trips import Commodity, Trip
from fleet.models.units import Unit, UnitModel, UnitState

__all__ = [
    "Assessment",
    "AuditEntry",
    "Commodity",
    "Fleet",
    "FleetRow",
    "Hold",
    "IdempotencyKey",
    "Member",
    "Phase",
    "PolicyRow",
    "QuarantinedEvent",
    "Reading",
    "Role",
    "ScopedManager",
    "Source",
    "TokenCard",
    "TokenOrigin",
    "Trip",
    "Unit",
    "UnitModel",
    "UnitState",
    "UnscopedQuery",
    "Verdict",
]
