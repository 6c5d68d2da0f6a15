"""The rows that inspections own."""

from inspections.models.filled import Inspection, Observation
from inspections.models.mending import Defect, Repair, ServiceRecord
from inspections.models.photos import Photo
from inspections.models.sheets import Sheet
from inspections.models.signatures import Signature

__all__ = ["Defect", "Inspection", "Observation", "Photo", "Repair", "ServiceRecord", "Sheet", "Signature"]
