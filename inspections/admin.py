"""The registers of inspections for the host's operators: sheets and signed records, all of them only read.

A sheet is never changed: the fleet publishes a new version, and old ones stay for the inspections that used them.
"""

from __future__ import annotations

from django.contrib import admin

from fleet.operators.registers import RecordRegister
from inspections.models import Defect, Inspection, Observation, Photo, Repair, ServiceRecord, Sheet, Signature


@admin.register(Sheet)
class SheetRegister(RecordRegister):
    list_display = ("key", "version", "kind", "title", "fleet", "unit_model")
    list_filter = ("kind", "fleet")
    list_select_related = ("fleet", "unit_model")
    search_fields = ("key", "title")


@admin.register(Inspection)
class InspectionRegister(RecordRegister):
    list_display = ("unit", "kind", "state", "result", "performed_at", "started_by")
    list_filter = ("kind", "state", "result", "fleet")
    list_select_related = ("unit", "started_by")
    search_fields = ("unit__number",)


@admin.register(Observation)
class ObservationRegister(RecordRegister):
    list_display = ("unit", "item", "outcome", "inspection", "note")
    list_filter = ("outcome",)
    list_select_related = ("unit", "inspection")
    search_fields = ("unit__number", "item", "note")


@admin.register(Defect)
class DefectRegister(RecordRegister):
    list_display = ("unit", "item", "state", "blocks", "opened_at", "closed_at")
    list_filter = ("state", "blocks", "fleet")
    list_select_related = ("unit",)
    search_fields = ("unit__number", "item", "label")


@admin.register(Repair)
class RepairRegister(RecordRegister):
    list_display = ("unit", "item", "kind", "done_by", "performed_at")
    list_select_related = ("unit",)
    search_fields = ("unit__number", "item", "what_done", "done_by")


@admin.register(ServiceRecord)
class ServiceRegister(RecordRegister):
    list_display = ("unit", "performed_at", "engine_hours_h", "done_by")
    list_select_related = ("unit",)
    search_fields = ("unit__number", "what_done", "done_by")


@admin.register(Signature)
class SignatureRegister(RecordRegister):
    list_display = ("server_at", "name", "role", "meaning", "inspection", "repair", "service")
    list_filter = ("meaning",)
    list_select_related = ("inspection", "repair", "service")
    search_fields = ("name",)


@admin.register(Photo)
class PhotoRegister(RecordRegister):
    list_display = ("uploaded_at", "uploaded_by", "size_bytes", "sha256")
    list_select_related = ("uploaded_by",)
    search_fields = ("sha256",)
