"""Query parameters: what a view does not name is refused, because a misspelt filter that is ignored answers a
question nobody asked."""

from collections.abc import Collection

from rest_framework.request import Request

from fleet.errors import FieldError, InvalidInput
from fleet.http.pointers import MAX_REPORTED, join


def refuse_unknown_parameters(request: Request, accepted: Collection[str]) -> None:
    """InvalidInput with a pointer to each parameter that is unknown, repeated, empty or holds U+0000."""
    errors: list[FieldError] = []
    for name, values in request.query_params.lists():
        at = join("", name)
        if name not in accepted:
            known = ", ".join(sorted(accepted)) or "none"
            errors.append(FieldError(at, "unknown-parameter", f"Known parameters: {known}.", "query"))
        elif len(values) > 1:
            errors.append(FieldError(at, "repeated", "Send this parameter once.", "query"))
        elif not values[0]:
            errors.append(FieldError(at, "blank", "Leave the parameter out or give it a value.", "query"))
        elif "\x00" in values[0]:
            errors.append(FieldError(at, "null-character", "U+0000 is not allowed.", "query"))
    if errors:
        raise InvalidInput(errors=errors[:MAX_REPORTED])
