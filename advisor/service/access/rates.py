"""How often a caller may ask: the generic cell rate algorithm, a minute's worth at once and evenly after that.

For each caller one number is kept: the time until which what was asked for so far takes, at an even pace.
"""

from __future__ import annotations

import math
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import NamedTuple

from advisor.service.access.caller import AccessError

__all__ = ["MOST", "WINDOW", "Limit", "Rates", "Taken", "refused", "taken"]

WINDOW = 60.0
"""Seconds that a quota is for, and how much may be asked for at once."""
MOST = 50_000
"""Callers that are remembered; who has not been seen for longest is forgotten first, with what he used up."""
ROUNDING = 1e-6


class Limit(NamedTuple):
    """What limits a request: the policy's name, who it counts for, how many a minute."""

    policy: str
    who: str
    quota: int


class Taken(NamedTuple):
    """What came of a request: whether it is allowed, how many are left, seconds until all are, and until the next."""

    limit: Limit
    allowed: bool
    left: int
    reset: int
    wait: int

    @property
    def headers(self) -> list[tuple[bytes, bytes]]:
        """`RateLimit-Policy` and `RateLimit` (draft-ietf-httpapi-ratelimit-headers-09)."""
        policy = self.limit.policy
        return [
            (b"ratelimit-policy", f'"{policy}";q={self.limit.quota};w={WINDOW:.0f}'.encode("ascii")),
            (b"ratelimit", f'"{policy}";r={self.left};t={self.reset}'.encode("ascii")),
        ]


def taken(limit: Limit, allowed: bool, used: float) -> Taken:
    """What came of it, from the seconds at an even pace that are used up."""
    step = WINDOW / limit.quota
    left = max(0, math.floor((WINDOW - used) / step + ROUNDING))
    wait = 0 if allowed else max(1, math.ceil(used + step - WINDOW - ROUNDING))
    return Taken(limit, allowed, left, math.ceil(used - ROUNDING), wait)


class Rates:
    """The rates of this process; ``clock`` gives seconds. Memory is bounded."""

    def __init__(self, *, most: int = MOST, clock: Callable[[], float] = time.monotonic) -> None:
        self._most, self._clock = most, clock
        self._until: OrderedDict[str, float] = OrderedDict()

    def take(self, limit: Limit) -> Taken:
        """Count one request; one that is refused does not count."""
        now, step = self._clock(), WINDOW / limit.quota
        used = max(0.0, self._until.get(limit.who, now) - now)
        allowed = used + step <= WINDOW + ROUNDING
        if allowed:
            used += step
            self._until[limit.who] = now + used
        if limit.who in self._until:
            self._until.move_to_end(limit.who)
        if len(self._until) > self._most:
            self._until.popitem(last=False)
        return taken(limit, allowed, used)

    def look(self, limit: Limit) -> Taken:
        """What a request would come to, without counting it."""
        used = max(0.0, self._until.get(limit.who, 0.0) - self._clock())
        return taken(limit, used + WINDOW / limit.quota <= WINDOW + ROUNDING, used)

    def __len__(self) -> int:
        return len(self._until)


def refused(found: Taken) -> AccessError:
    """The error for a request too many."""
    said = f"more than {found.limit.quota} requests a minute ({found.limit.policy})"
    return AccessError("rate-exceeded", said, help=f"try again in {found.wait} seconds",
                       headers={"Retry-After": str(found.wait)})  # fmt: skip
