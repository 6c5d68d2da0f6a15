"""Who a step of the ladder reaches: people in the order of their routes, channels in the order they were given."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from alarms.ladder import Pick, Rung
from alarms.quiet_hours import QuietHours


@dataclass(frozen=True, slots=True)
class RouteFacts:
    """One way to one person."""

    id: int
    member_id: int
    position: int
    """Order of the person: people with the same number are told together."""
    kinds: frozenset[str] = frozenset({"hold", "alarm"})
    quiet: QuietHours | None = None
    failing: bool = False
    """Its newest attempts failed: nothing has got through since."""
    immediate: int = 0
    """Immediate messages to this person within the last hour, on all channels."""

    @property
    def order(self) -> tuple[int, int, int]:
        return (self.position, self.member_id, self.id)

    def quiet_until(self, now: datetime, *, zone: ZoneInfo) -> datetime | None:
        return None if self.quiet is None else self.quiet.until(now, zone=zone)


def audience_of(rung: Rung, routes: Sequence[RouteFacts]) -> tuple[RouteFacts, ...]:
    """The routes that a row of the ladder means. Without a next person or channel the first is asked again."""
    positions = sorted({route.position for route in routes})
    if rung.person is Pick.ALL:
        wanted = set(positions)
    else:
        wanted = set(positions[:1] if rung.person is Pick.FIRST else positions[1:2] or positions[:1])
    chosen: list[RouteFacts] = []
    for member_id in dict.fromkeys(route.member_id for route in sorted(routes, key=lambda route: route.order)):
        own = sorted((r for r in routes if r.member_id == member_id and r.position in wanted), key=lambda r: r.id)
        chosen += own if rung.channel is Pick.ALL else own[:1] if rung.channel is Pick.FIRST else own[1:2] or own[:1]
    return tuple(chosen)


def untried(routes: Sequence[RouteFacts], tried: Collection[int]) -> RouteFacts | None:
    """The next route nobody has tried yet: those that work first, then by order."""
    spare = [route for route in routes if route.id not in tried]
    return min(spare, key=lambda route: (route.failing, route.order), default=None)
