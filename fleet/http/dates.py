"""A calendar day in a request or an answer."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@extend_schema_field(OpenApiTypes.DATE)
class DayField(serializers.Field):
    """`2027-01-12`, between the years 1950 and 2100, and nothing that resembles it."""

    default_error_messages = {
        "not-a-day": "Send a day such as 2027-01-12.",
        "out-of-range": "The day must be between the years 1950 and 2100.",
    }

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not _DAY.fullmatch(data):
            self.fail("not-a-day")
        try:
            day = date.fromisoformat(data)
        except ValueError:
            self.fail("not-a-day")
        if not 1950 <= day.year < 2100:
            self.fail("out-of-range")
        return day

    def to_representation(self, value: date) -> str:
        return value.isoformat()
