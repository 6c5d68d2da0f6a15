"""Links: what they do to the order and number of messages, and what they never do to a message."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from fleet.simulator.connectivity import QUALITIES, Links, Message, Quality, draw_links
from fleet.simulator.errors import SimulatorError

DAY_S = 86_400.0
UNITS = 40


def messages() -> list[Message]:
    """Return a day of messages of forty units, every ten minutes."""
    return [Message(600.0 * i, 600.0 * i, unit, f"{unit}@{i}") for i in range(144) for unit in range(UNITS)]


def links_of(quality: Quality, seed: int = 1) -> Links:
    """Return the links of forty units for a day."""
    return draw_links(units=UNITS, horizon_s=DAY_S, quality=quality, rng=np.random.default_rng(seed))


def carried(quality: Quality, seed: int = 1) -> list[Message]:
    """Return how the messages arrive over links of a quality."""
    return links_of(quality, seed).carry(messages(), rng=np.random.default_rng(seed))


def test_a_clean_link_delivers_every_message_once_and_soon() -> None:
    arrived = carried(QUALITIES["clean"])
    assert Counter(m.text for m in arrived) == Counter(m.text for m in messages())
    assert np.mean([m.arrives_s - m.made_s for m in arrived]) == pytest.approx(3.0, rel=0.1)


def test_messages_arrive_in_order_of_arrival_and_never_before_they_were_made() -> None:
    arrived = carried(QUALITIES["rough"])
    times = [m.arrives_s for m in arrived]
    assert times == sorted(times)
    assert all(m.arrives_s >= m.made_s for m in arrived)
    assert [m.made_s for m in arrived] != sorted(m.made_s for m in arrived)


def test_repeats_are_the_same_message_and_as_many_as_stated() -> None:
    arrived = Counter(m.text for m in carried(Quality(repeat_share=0.05)))
    assert set(arrived) == {m.text for m in messages()}
    repeats = sum(count - 1 for count in arrived.values())
    n = len(messages())
    assert repeats == pytest.approx(0.05 * n, abs=4 * np.sqrt(0.05 * n))


def test_a_gap_holds_messages_back_and_sends_them_at_its_end() -> None:
    links = links_of(Quality(gaps_per_day=2.0, gap_median_h=2.0, delay_mean_s=1.0))
    gap = next(spells[0] for spells in links.gaps if spells)
    unit = next(i for i, spells in enumerate(links.gaps) if spells)
    arrived = links.carry(messages(), rng=np.random.default_rng(1))
    held = [m for m in arrived if m.unit == unit and gap.start_s <= m.made_s < gap.end_s]
    assert all(gap.end_s <= m.arrives_s < gap.end_s + 60.0 for m in held)
    assert len(arrived) == len(messages())


def test_a_lost_gap_loses_exactly_its_messages() -> None:
    links = links_of(Quality(gaps_per_day=2.0, lost_gap_share=1.0))
    arrived = {m.text for m in links.carry(messages(), rng=np.random.default_rng(1))}
    for message in messages():
        inside = any(gap.start_s <= message.made_s < gap.end_s for gap in links.gaps[message.unit])
        assert (message.text in arrived) is not inside


def test_the_number_of_gaps_is_poisson() -> None:
    counts = [len(spells) for seed in range(100) for spells in links_of(QUALITIES["rough"], seed).gaps]
    n = len(counts)
    assert np.mean(counts) == pytest.approx(3.0, abs=4 * np.sqrt(3.0 / n))
    assert np.var(counts) == pytest.approx(3.0, abs=4 * np.sqrt((3.0 + 18.0) / n))


def test_a_wrong_clock_is_a_quarter_of_an_hour_ahead_and_constant() -> None:
    links = links_of(Quality(wrong_clock_share=1.0))
    assert links.clock_s.min() >= 900.0
    assert np.all(links.clock_s == np.round(links.clock_s))


def test_shares_that_do_not_fit_together_are_refused() -> None:
    with pytest.raises(SimulatorError, match="repeats and stragglers"):
        links_of(Quality(repeat_share=0.7, straggler_share=0.5))
