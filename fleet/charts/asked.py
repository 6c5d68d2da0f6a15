"""Which paper a caller of the API asks for, and how an image is answered: tag, cache, type."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response
from rest_framework.request import Request

from fleet.charts.paper import Look, Paper, Size
from fleet.charts.picture import Picture, digest_of
from fleet.errors import InvalidInput

CACHE = "private, max-age=60"
TYPES = {"svg": "image/svg+xml", "png": "image/png"}


def _choice(words: str, *values: str) -> dict[str, Any]:
    return {"schema": {"type": "string", "enum": list(values), "default": values[0]}, "description": words}


PARAMETERS: dict[str, dict[str, Any]] = {
    "size": _choice("`narrow` suits a phone, `mail` holds the first two panels only.", *Size),
    "look": _choice("Colours for a light or a dark page.", *Look),
    "temperature": _choice("Scale of temperatures.", "celsius", "fahrenheit"),
    "volume": _choice("Measure of fuel; gallons are US liquid gallons.", "litres", "gallons"),
    "time_zone": {
        "schema": {"type": "string"},
        "description": "IANA name of the zone of the time axis. Default: the fleet's.",
    },
}


def paper_of(request: Request, *, default_zone: str) -> Paper:
    """The paper that the query asks for. *Raises* InvalidInput."""
    return Paper(
        size=Size(asked(request, "size")),
        look=Look(asked(request, "look")),
        fahrenheit=asked(request, "temperature") == "fahrenheit",
        gallons=asked(request, "volume") == "gallons",
        zone=_zone(request.query_params.get("time_zone"), default_zone),
    )


def asked(request: Request, name: str, parameters: dict[str, dict[str, Any]] = PARAMETERS) -> str:
    """One of the values that a parameter takes. *Raises* InvalidInput."""
    schema = parameters[name]["schema"]
    value = request.query_params.get(name, schema["default"])
    if value not in schema["enum"]:
        words = f"Send one of: {', '.join(schema['enum'])}."
        raise InvalidInput.at(f"/{name}", "invalid-choice", words, where="query")
    return str(value)


def _zone(name: str | None, default: str) -> ZoneInfo:
    try:
        return ZoneInfo(name or default)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        if name is None:
            return ZoneInfo("UTC")
        raise InvalidInput.at("/time_zone", "unknown-zone", "No such time zone.", where="query") from error


def image_answer(request: HttpRequest, picture: Picture, paper: Paper, *, form: str) -> HttpResponseBase:
    """The drawn picture; 304 without drawing where the caller has it already."""
    from fleet.charts.draw import drawn  # the drawing library is heavy, and few processes ever draw

    tag = f'"{digest_of(picture)[:32]}-{paper.size}-{paper.look}-{paper.measures}"'
    unchanged = get_conditional_response(request, etag=tag)
    response = unchanged or HttpResponse(drawn(picture, paper, form=form), content_type=TYPES[form])
    response["ETag"] = tag
    response["Cache-Control"] = CACHE
    return response
