"""The rule by which requests are counted, as arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.http.quota import (
    KEPT_KEYS,
    SECOND_US,
    ProcessCounter,
    Quota,
    QuotaUnknown,
    RedisCounter,
    counter_at,
    take_from,
)
from fleet.http.throttle import rate_fields

TEN_A_MINUTE = Quota("calls", 10, 60)


def test_a_whole_quota_may_be_used_at_once_and_then_one_request_comes_back_every_step() -> None:
    free_at = 0
    for left in range(9, -1, -1):
        free_at, taken = take_from(free_at, TEN_A_MINUTE, now_us=0)
        assert (taken.allowed, taken.remaining, taken.retry_after_s) == (True, left, 0.0)
    assert taken.reset_s == 60.0
    same, refused = take_from(free_at, TEN_A_MINUTE, now_us=0)
    assert (refused.allowed, refused.remaining, refused.retry_after_s, same) == (False, 0, 6.0, free_at)
    _, early = take_from(free_at, TEN_A_MINUTE, now_us=6 * SECOND_US - 1)
    _, again = take_from(free_at, TEN_A_MINUTE, now_us=6 * SECOND_US)
    assert (early.allowed, again.allowed) == (False, True)


@given(
    limit=st.integers(1, 1_000_000), window_s=st.integers(1, 3600), gaps=st.lists(st.integers(0, 10**8), max_size=60)
)
def test_no_window_ever_passes_more_than_twice_its_quota_and_a_rested_key_always_passes(
    limit: int, window_s: int, gaps: list[int]
) -> None:
    """A quota at once, and what came back meanwhile: the most a window of this rule can hold."""
    quota, now_us, free_at, passed = Quota("x", limit, window_s), 10**12, 0, []
    for gap in gaps:
        now_us += gap
        free_at, taken = take_from(free_at, quota, now_us=now_us)
        assert 0 <= taken.remaining < limit
        assert taken.allowed == (taken.retry_after_s == 0)
        if taken.allowed:
            passed.append(now_us)
        assert sum(at > now_us - window_s * SECOND_US for at in passed) <= 2 * limit
    _, rested = take_from(free_at, quota, now_us=free_at)
    assert rested.allowed


def test_a_refused_request_costs_nothing() -> None:
    counter, quota = ProcessCounter(), Quota("calls", 1, 3600)
    assert counter.take("a", quota).allowed
    waits = [counter.take("a", quota).retry_after_s for _ in range(5)]
    assert max(waits) <= 3600
    assert waits == sorted(waits, reverse=True)
    assert counter.take("b", quota).allowed, "one key's requests count for no other"


def test_memory_is_bounded_however_many_keys_there_are() -> None:
    counter, quota = ProcessCounter(), Quota("calls", 10, 3600)
    for number in range(KEPT_KEYS * 2):
        counter.take(str(number), quota)
    assert len(counter._free_at_us) <= KEPT_KEYS


def test_the_fields_are_those_of_the_draft() -> None:
    """draft-ietf-httpapi-ratelimit-headers-10: a quoted policy name with q and w, with r and t [from memory]."""
    _, taken = take_from(0, TEN_A_MINUTE, now_us=0)
    assert rate_fields(TEN_A_MINUTE, taken) == {
        "RateLimit-Policy": '"calls";q=10;w=60',
        "RateLimit": '"calls";r=9;t=6',
    }


def test_a_redis_that_is_not_there_is_an_error_at_once_and_not_a_wait() -> None:
    counter = counter_at("redis://127.0.0.1:1/0")
    assert isinstance(counter, RedisCounter)
    with pytest.raises(QuotaUnknown):
        counter.take("a", TEN_A_MINUTE)


def test_without_redis_the_process_counts() -> None:
    assert isinstance(counter_at("memory://"), ProcessCounter)
