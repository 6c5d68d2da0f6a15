"""Filters of the pages: each takes the reader, because nothing shown is independent of who looks.

`{{ finding.measured|in_units:reader }}` needs no unit where the value brings one; `{% measure v "degC" %}` says it.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django import template
from django.template import Context

from fleet.pages import measures
from fleet.pages.answers import title_of
from fleet.pages.reader import Reader
from fleet.readiness.facts import instant
from fleet.readiness.findings import score_in_words

register = template.Library()

MARKS = {
    "ready": "✓", "conditional": "~", "blocked": "✕", "unknown": "?",
    "pass": "✓", "concern": "~", "pending": "…", "block": "✕",
    "fit": "✓", "unfit": "✕", "incomplete": "?",
    "sound": "✓", "wear": "~", "defect": "✕", "not_seen": "?",
    "stop": "✕", "attend": "!", "watch": "·",
}  # fmt: skip


@register.simple_tag(takes_context=True)
def measure(context: Context, value: float | None, unit: str, digits: int | None = None) -> str:
    """A value in the reader's units: `{% measure 21.5 "degC" %}`."""
    return measures.measure(value, unit, context["reader"], digits)


@register.simple_tag(takes_context=True)
def sentence(context: Context, text: str, near: Any = None) -> str:
    """One of the service's own sentences with its numbers and times in the reader's units and zone."""
    return measures.sentence(str(text), context["reader"], _moment(near) if near else None)


def _moment(at: Any) -> datetime:
    return instant(at) if isinstance(at, str) else at


@register.filter
def clock(at: Any, reader: Reader) -> str:
    """Time of day: 05:12."""
    return f"{reader.local(_moment(at)):%H:%M}" if at else ""


@register.filter
def moment(at: Any, reader: Reader) -> str:
    """Day and time: Tue 12 Jan 05:12. The year is added when it is another one."""
    if not at:
        return ""
    local = reader.local(_moment(at))
    return f"{local:%a %d %b %H:%M}" + ("" if local.year == reader.local(reader.now).year else f" {local.year}")


@register.filter
def day(at: Any, reader: Reader) -> str:
    """Tuesday 12 January."""
    local = reader.local(_moment(at))
    return f"{local:%A} {local.day} {local:%B}"


@register.filter
def iso(at: Any) -> str:
    """For the datetime attribute of <time>."""
    return _moment(at).isoformat().replace("+00:00", "Z") if at else ""


@register.filter
def span(length: Any) -> str:
    """A duration in words: `4 min`, `3 h 20 min`, `2 d 5 h`. Takes a timedelta or hours."""
    if length is None:
        return ""
    minutes = round((length if isinstance(length, timedelta) else timedelta(hours=float(length))).total_seconds() / 60)
    minutes = abs(minutes)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h" + (f" {minutes % 60:02d} min" if minutes % 60 else "")
    days, hours = divmod(round(minutes / 60), 24)
    return f"{days} d" + (f" {hours} h" if hours else "")


@register.filter
def since(at: Any, reader: Reader) -> str:
    """How long ago, or how long until: `12 min ago`, `in 3 h 05 min`."""
    if not at:
        return ""
    ahead = _moment(at) - reader.now
    if abs(ahead) < timedelta(seconds=30):
        return "now"
    return f"in {span(ahead)}" if ahead > timedelta() else f"{span(ahead)} ago"


@register.filter
def mark(word: Any) -> str:
    """The sign that stands beside a verdict, an outcome, a result or a tier: never colour alone."""
    return MARKS.get(str(word), "")


@register.filter
def words(name: Any) -> str:
    """`under_way` as people say it."""
    return str(name).replace("_", " ")


@register.inclusion_tag("fleet/_tag.html")
def tag(word: Any, said: str = "") -> dict[str, str]:
    """The mark and the word of a verdict, outcome, result or tier, always together."""
    return {"word": str(word), "said": said or words(word), "mark": mark(word)}


@register.simple_tag(takes_context=True)
def panel(context: Context, shown: Any) -> str:
    """A panel's own template, with its own names on top of the page's."""
    with context.push(**shown.context):
        assert context.template is not None  # it is being rendered
        found = context.template.engine.get_template(shown.template)
        return found.render(context)


@register.simple_tag
def score(value: float | None) -> str:
    """A chance in 100, never rounded up to certainty; a dash where nothing could be estimated."""
    return "–" if value is None else score_in_words(value)


@register.filter
def check_title(check: str) -> str:
    """A check's name for people."""
    return title_of(check)


@register.filter
def margin(value: float) -> str:
    """A margin as the check gives it: a ratio or a difference, two places at most."""
    return measures.number(float(value), 2).rstrip("0").rstrip(".")


@register.filter
def form_time(at: datetime, reader: Reader) -> str:
    """For an <input type="datetime-local">."""
    return f"{reader.local(at):%Y-%m-%dT%H:%M}"


@register.filter
def act_words(act: str) -> str:
    """`alarm.signed_off` as people say it: signed off."""
    return act.rpartition(".")[2].replace("_", " ")
