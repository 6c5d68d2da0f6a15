"""The table of problem types: one row per code. A new kind of refusal is a new row and a page.

The page of a row is `docs/problems/<slug>.md`, served at `/docs/problems/<slug>/`. A test fails when an error
class has no row or a row has no page.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemType:
    """What a code means in HTTP: the status, a title that never varies, the page that explains it."""

    status: int
    title: str
    slug: str

    @property
    def uri(self) -> str:
        """The `type` member: a full path, so that it resolves against whatever host served the problem."""
        return f"/docs/problems/{self.slug}/"


_ROWS: tuple[tuple[str, int, str], ...] = (
    # The request as such
    ("bad-request", 400, "The request cannot be processed"),
    ("malformed-body", 400, "The body is not an acceptable JSON document"),
    ("invalid-input", 400, "A value in the request is refused"),
    ("not-authenticated", 401, "A valid token is needed"),
    ("login-refused", 401, "The name or the password is wrong"),
    ("not-allowed", 403, "Your role may not do this"),
    ("not-found", 404, "There is no such object or route"),
    ("unknown-unit", 404, "There is no such unit in your fleet"),
    ("unknown-trip", 404, "There is no such trip in your fleet"),
    ("method-not-allowed", 405, "This route does not take this method"),
    ("not-acceptable", 406, "The answer cannot be given in the form you accept"),
    ("too-large", 413, "The body is too large"),
    ("unsupported-media-type", 415, "The body has an unsupported media type"),
    ("rate-limited", 429, "Too many requests"),
    # Changes and their preconditions
    ("conflict", 409, "The state of the object does not permit this"),
    ("stale-revision", 412, "The object has changed since you read it"),
    ("precondition-required", 428, "If-Match is required"),
    ("idempotency-key-reused", 422, "The idempotency key was used for another request"),
    # Trips, holds, alarms, inspections
    ("dispatch-blocked", 409, "The unit may not take this trip"),
    ("no-forecast", 409, "The box cannot be forecast for this trip"),
    ("invalid-transition", 409, "The trip cannot take this step now"),
    ("no-unit", 409, "The trip names no unit"),
    ("release-not-allowed", 409, "This hold cannot be released"),
    ("alarm-still-reported", 409, "The unit still reports the fault"),
    ("already-signed", 409, "What is signed is never edited"),
    ("review-required", 409, "The last report has to be reviewed"),
    ("not-a-photo", 415, "The upload is not a picture this service takes"),
    ("hazardous-load", 422, "A heated unit may not take this load"),
    # The service itself
    ("internal", 500, "The service failed"),
    ("overloaded", 503, "More arrives than the service can take"),
    ("storage-full", 507, "The service has no room left"),
    ("unavailable", 503, "The service cannot answer at this moment"),
)

PROBLEMS: dict[str, ProblemType] = {
    code: ProblemType(status=status, title=title, slug=code) for code, status, title in _ROWS
}
