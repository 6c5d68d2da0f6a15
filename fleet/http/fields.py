"""Serializer fields that take a JSON value as it is or refuse it: nothing is coerced, nothing is guessed.

The framework's own fields read `"true"`, `1` and `true` alike, turn numbers into text and text into
numbers, and take a time without an offset. `StrictSerializer` refuses to be declared with them.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from rest_framework import serializers

from fleet.http.parsers import text_fault
from fleet.http.quantities import UnknownUnit, convert, unit_names
from fleet.http.renderers import instant_text

INT32 = 2**31 - 1

_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt]((?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d)(?:\.(\d{1,9}))?"
    r"([Zz]|[+-](?:[01]\d|2[0-3]):[0-5]\d)",
    re.ASCII,
)
_DATE = re.compile(r"(?:19[89]\d|20\d\d)-\d{2}-\d{2}", re.ASCII)
_EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
_LATEST = datetime(2100, 1, 1, tzinfo=UTC)


class StrictBooleanField(serializers.Field):
    """`true` or `false`, and nothing that resembles them."""

    default_error_messages = {"not-a-boolean": "Send true or false."}

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("not-a-boolean")
        return data

    def to_representation(self, value: Any) -> bool:
        return bool(value)


class StrictIntegerField(serializers.Field):
    """A JSON number without a fraction. `5.0` is one: JSON does not distinguish it from `5`."""

    default_error_messages = {
        "not-an-integer": "Send a whole number.",
        "too-small": "The smallest allowed value is {limit}.",
        "too-large": "The largest allowed value is {limit}.",
    }

    def __init__(self, *, min_value: int = -INT32, max_value: int = INT32, **kwargs: Any) -> None:
        self.min_value, self.max_value = min_value, max_value
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int | float) or data % 1 != 0:
            self.fail("not-an-integer")
        if data < self.min_value:
            self.fail("too-small", limit=self.min_value)
        if data > self.max_value:
            self.fail("too-large", limit=self.max_value)
        return int(data)

    def to_representation(self, value: Any) -> int:
        return int(value)


class FiniteFloatField(serializers.Field):
    """A finite JSON number within its limits; both limits must be stated, because every quantity has some."""

    default_error_messages = {
        "not-a-number": "Send a number.",
        "not-finite": "The number is too large.",
        "too-small": "The smallest allowed value is {limit}.",
        "too-large": "The largest allowed value is {limit}.",
        "not-above": "The value must be greater than {limit}.",
    }

    def __init__(self, *, min_value: float, max_value: float, exclusive_min: bool = False, **kwargs: Any) -> None:
        self.min_value, self.max_value, self.exclusive_min = min_value, max_value, exclusive_min
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> float:
        return self.within(self.number(data))

    def number(self, data: Any) -> float:
        """`data` as a finite float, limits not yet looked at."""
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("not-a-number")
        try:
            value = float(data)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            self.fail("not-finite")
        return value

    def within(self, value: float) -> float:
        """`value` if it is within the limits of the field."""
        if value < self.min_value:
            self.fail("too-small", limit=self.min_value)
        if self.exclusive_min and value == self.min_value:
            self.fail("not-above", limit=self.min_value)
        if value > self.max_value:
            self.fail("too-large", limit=self.max_value)
        return value

    def to_representation(self, value: Any) -> float:
        return float(value)


class QuantityField(FiniteFloatField):
    """A number in our unit, or `{"value": 44, "unit": "degF"}` with a unit of the closed list.

    `unit` is the suffix of the field's name (`c`, `l_h`, `w_m2k` …); the limits and the number that answers
    hold are in that unit.
    """

    default_error_messages = {
        "not-a-quantity": 'Send a number in {name}, or {{"value": number, "unit": name}}.',
        "unknown-unit": "{reason}",
    }

    def __init__(self, *, unit: str, min_value: float, max_value: float, **kwargs: Any) -> None:
        self.unit = unit
        self.names = unit_names(unit)
        super().__init__(min_value=min_value, max_value=max_value, **kwargs)

    def to_internal_value(self, data: Any) -> float:
        if not isinstance(data, Mapping):
            return self.within(self.number(data))
        if data.keys() != {"value", "unit"} or not isinstance(data["unit"], str):
            self.fail("not-a-quantity", name=self.names[0])
        try:
            converted = convert(self.number(data["value"]), data["unit"], unit=self.unit)
        except UnknownUnit as error:
            self.fail("unknown-unit", reason=str(error))
        if not math.isfinite(converted):
            self.fail("not-finite")
        return self.within(converted)


class StrictCharField(serializers.CharField):
    """Text. Numbers are not text; control characters are refused; blanks at the ends are cut off.

    A line break or tab is refused too, unless the field is `multiline`: names and references end up in log
    lines, mail subjects and file names.
    """

    default_error_messages = {
        "not-text": "Send a string.",
        "null-character": "U+0000 is not allowed in text.",
        "lone-surrogate": "Half of a surrogate pair is not a character.",
        "control-character": "Control characters are not allowed here.",
    }

    def __init__(self, *, max_length: int, multiline: bool = False, **kwargs: Any) -> None:
        self.multiline = multiline
        super().__init__(max_length=max_length, **kwargs)

    def run_validation(self, data: Any = serializers.empty) -> Any:
        if isinstance(data, str):
            self._refuse_controls(data)
        return super().run_validation(data)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("not-text")
        return data.strip()

    def _refuse_controls(self, text: str) -> None:
        if fault := text_fault(text):
            self.fail(fault[0])
        allowed = "\n\r\t" if self.multiline else ""
        if any(unicodedata.category(character) == "Cc" and character not in allowed for character in text):
            self.fail("control-character")


class StrictChoiceField(serializers.ChoiceField):
    """One word of a list. The framework's field would take `1` for `"1"` and `true` for `"True"`."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid_choice", input=type(data).__name__)
        return super().to_internal_value(data)


class InstantField(serializers.Field):
    """A moment: RFC 3339 with an offset, between the years 2000 and 2100. Answered in UTC with `Z`.

    Digits beyond the microsecond are accepted and cut off (some clients always write nine). A leap second
    (`:60`) has no place in the calendar used here and is refused.
    """

    default_error_messages = {
        "not-an-instant": "Send a time (2000 to 2099) with its offset, such as 2027-01-12T05:40:00Z.",
    }

    def to_internal_value(self, data: Any) -> datetime:
        value = parse_instant(data) if isinstance(data, str) else None
        if value is None:
            self.fail("not-an-instant")
        return value

    def to_representation(self, value: datetime) -> str:
        return instant_text(value)


class StrictDateField(serializers.Field):
    """A calendar date, `2027-01-12`, between the years 1980 and 2099."""

    default_error_messages = {"not-a-date": "Send a date (1980 to 2099) such as 2027-01-12."}

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not _DATE.fullmatch(data):
            self.fail("not-a-date")
        try:
            return date.fromisoformat(data)
        except ValueError:  # the thirtieth of February
            self.fail("not-a-date")

    def to_representation(self, value: date) -> str:
        return value.isoformat()


def parse_instant(text: str) -> datetime | None:
    """The moment that `text` names in RFC 3339, in UTC; None where it names none or lies outside 2000 to
    2099."""
    match = _RFC3339.fullmatch(text)
    if match is None:
        return None
    day, clock, fraction, offset = match.groups()
    offset = "+00:00" if offset in "Zz" else offset
    try:
        value = datetime.fromisoformat(f"{day}T{clock}.{(fraction or '')[:6].ljust(6, '0')}{offset}")
    except ValueError:  # the thirtieth of February
        return None
    return value.astimezone(UTC) if _EARLIEST <= value < _LATEST else None
