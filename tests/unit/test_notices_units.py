"""A mail speaks in the units its reader has chosen; what is stored and what machines get stays metric."""

from __future__ import annotations

from alarms.notices.letters import Letter, Section
from alarms.notices.rendering import in_units_of, plain_text
from fleet.models import Member

LETTER = Letter(
    subject="Blocked: HB-104, T-1 departs Tue 12 Jan 20:00 EET",
    headline="Blocked",
    sections=(
        Section("T-1", ("Set point 44 °C is outside the load's 4 to 10 °C.", "Fill at least 38 L by 16:30 UTC.")),
    ),
)


def test_fahrenheit_and_gallons_reach_the_letter() -> None:
    text = plain_text(in_units_of(LETTER, Member(scale="f", volume="gal")))
    assert "Set point 111 °F is outside the load's 39 to 50 °F." in text
    assert "Fill at least 10 gal by 16:30 UTC." in text


def test_who_has_chosen_nothing_reads_what_was_stored() -> None:
    assert in_units_of(LETTER, Member()) == LETTER
