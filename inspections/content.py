"""What a signature stands for: the document of a record, in words that do not depend on later changes."""

from __future__ import annotations

from typing import Any

from fleet.clock import stamp
from inspections.models import Inspection, Observation, Repair, ServiceRecord, Signature


def inspection_content(row: Inspection) -> dict[str, Any]:
    """A signed inspection with its observations and signatures."""
    return {
        "inspection": row.pk,
        "unit": row.unit_id,
        "sheet": [row.sheet.key, row.sheet.version, row.sheet.content_hash],
        "kind": str(row.kind),
        "result": str(row.result),
        "performed_at": stamp(row.performed_at),
        "trip": row.trip_id,
        "reviewed": row.reviewed_id,
        "refers_to": row.refers_to_id,
        "supersedes": row.supersedes_id,
        "reason": row.reason,
        "observations": [
            {
                "item": seen.item,
                "label": seen.label,
                "outcome": str(seen.outcome),
                "blocks": seen.blocks,
                "note": seen.note,
                "values": seen.values,
                **_photos(seen),
            }
            for seen in row.observations.order_by("position")
        ],
        "signatures": [signature_content(one) for one in row.signatures.order_by("meaning")],
    }


def _photos(seen: Observation) -> dict[str, Any]:
    """Hashes of an observation's photos; nothing when there are none."""
    hashes = list(seen.photos.order_by("pk").values_list("sha256", flat=True))
    return {"photos": hashes} if hashes else {}


def repair_content(row: Repair) -> dict[str, Any]:
    return {
        "observation": row.observation_id,
        "unit": row.unit_id,
        "item": row.item,
        "kind": str(row.kind),
        "what_done": row.what_done,
        "parts": row.parts,
        "done_by": row.done_by,
        "performed_at": stamp(row.performed_at),
        "signatures": [signature_content(one) for one in row.signatures.order_by("meaning")],
    }


def service_content(row: ServiceRecord) -> dict[str, Any]:
    return {
        "unit": row.unit_id,
        "performed_at": stamp(row.performed_at),
        "engine_hours_h": row.engine_hours_h,
        "what_done": row.what_done,
        "done_by": row.done_by,
        "signatures": [signature_content(one) for one in row.signatures.order_by("meaning")],
    }


def signature_content(row: Signature) -> dict[str, Any]:
    return {
        "name": row.name,
        "role": row.role,
        "meaning": str(row.meaning),
        "server_at": stamp(row.server_at),
        "device_at": stamp(row.device_at) if row.device_at else None,
    }
