"""Quotas: how many requests a key may make in a window, counted in this process or for all processes in Redis.

The rule is the generic cell rate algorithm: the only thing kept of a key is the time at which it will have used
nothing again. A whole quota may be used at once; afterwards it comes back evenly over the window.
"""

from __future__ import annotations

import hashlib
import threading
import time
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

from redis import Redis
from redis.backoff import NoBackoff
from redis.exceptions import NoScriptError, RedisError
from redis.retry import Retry

SECOND_US = 1_000_000
REDIS_TIMEOUT_S = 0.1
KEPT_KEYS = 10_000


@dataclass(frozen=True, slots=True)
class Quota:
    """`limit` requests in `window_s` seconds. The name stands in the answer's RateLimit fields."""

    name: str
    limit: int
    window_s: int

    @property
    def step_us(self) -> int:
        """Microseconds in which one request comes back; at least one."""
        return max(self.window_s * SECOND_US // self.limit, 1)


@dataclass(frozen=True, slots=True)
class Taken:
    """Whether one request was let pass, and what is left."""

    allowed: bool
    remaining: int
    reset_s: float
    """Seconds until the whole quota is there again."""
    retry_after_s: float
    """Seconds until one more request would pass; 0 where this one did."""


class QuotaUnknown(Exception):
    """The place where quotas are counted does not answer."""


class Counter(Protocol):
    """Where quotas are counted."""

    def take(self, key: str, quota: Quota) -> Taken: ...


def take_from(free_at_us: int, quota: Quota, *, now_us: int) -> tuple[int, Taken]:
    """The rule: from when a key is free again, to when it is after this request, and what became of the request."""
    step, whole = quota.step_us, quota.step_us * quota.limit
    before = max(free_at_us, now_us)
    after = before + step
    if after - now_us > whole:
        return before, Taken(False, 0, (before - now_us) / SECOND_US, (after - now_us - whole) / SECOND_US)
    remaining = (whole - (after - now_us)) // step
    return after, Taken(True, remaining, (after - now_us) / SECOND_US, 0.0)


class ProcessCounter:
    """Counts for this process only."""

    def __init__(self) -> None:
        self._free_at_us: dict[str, int] = {}
        self._lock = threading.Lock()

    def take(self, key: str, quota: Quota) -> Taken:
        now_us = time.monotonic_ns() // 1000
        with self._lock:
            if len(self._free_at_us) >= KEPT_KEYS:
                self._forget(now_us)
            self._free_at_us[key], taken = take_from(self._free_at_us.get(key, 0), quota, now_us=now_us)
        return taken

    def _forget(self, now_us: int) -> None:
        """Keys that have used nothing, and the half that is free soonest if there are too many all the same."""
        busy = {key: at for key, at in self._free_at_us.items() if at > now_us}
        if len(busy) >= KEPT_KEYS:
            busy = dict(sorted(busy.items(), key=lambda item: item[1])[KEPT_KEYS // 2 :])
        self._free_at_us = busy


# `take_from`, by Redis' own clock and in one step, so that any number of processes count as one.
_SCRIPT = """
local at = redis.call('TIME')
local now = at[1] * 1000000 + at[2]
local step, limit = tonumber(ARGV[1]), tonumber(ARGV[2])
local whole = step * limit
local before = math.max(tonumber(redis.call('GET', KEYS[1]) or '0'), now)
local after = before + step
if after - now > whole then
    return {0, 0, before - now, after - now - whole}
end
redis.call('SET', KEYS[1], string.format('%.0f', after), 'PX', math.ceil((after - now) / 1000))
return {1, math.floor((whole - (after - now)) / step), after - now, 0}
"""
_SCRIPT_SHA = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()
"""The name that Redis gives it."""


class RedisCounter:
    """Counts for every process that names the same Redis; one round trip a request, and never a long wait."""

    def __init__(self, url: str) -> None:
        self._client: Any = Redis.from_url(
            url,
            socket_timeout=REDIS_TIMEOUT_S,
            socket_connect_timeout=REDIS_TIMEOUT_S,
            retry=Retry(NoBackoff(), 0),
        )

    def take(self, key: str, quota: Quota) -> Taken:
        """*Raises* QuotaUnknown where Redis does not answer in time."""
        try:
            allowed, remaining, reset_us, retry_us = self._run(f"warmgate:rate:{key}", quota.step_us, quota.limit)
        except (RedisError, OSError) as error:
            raise QuotaUnknown(str(error)) from error
        return Taken(bool(allowed), int(remaining), reset_us / SECOND_US, retry_us / SECOND_US)

    def _run(self, key: str, step_us: int, limit: int) -> Any:
        """As `register_script` would, whose layers cost as much again as the rest of the call."""
        try:
            return self._client.execute_command("EVALSHA", _SCRIPT_SHA, 1, key, step_us, limit)
        except NoScriptError:
            return self._client.execute_command("EVAL", _SCRIPT, 1, key, step_us, limit)


@lru_cache(maxsize=4)
def counter_at(url: str) -> Counter:
    """The counter of an address: Redis for `redis://` and `rediss://`, this process for anything else."""
    return RedisCounter(url) if url.startswith(("redis:", "rediss:")) else ProcessCounter()
