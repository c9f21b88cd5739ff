"""How often, and after which waits, a request is sent again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import httpx

LEAST_WAIT_S = 0.05


@dataclass(frozen=True, kw_only=True)
class Patience:
    """A request that found nobody, or a server that says it is busy, is sent up to `tries` times; one that came too often (429) as long as
    its waits stay within `all_waits_s`, as the limits of a key begin anew each minute."""

    tries: int = 4
    first_wait_s: float = 0.25
    longest_wait_s: float = 8.0
    all_waits_s: float = 65.0

    def wait_s(self, failed: int, draw: Callable[[], float]) -> float:
        """The wait after the `failed`-th try: `first_wait_s` · 2^(failed − 1), at most `longest_wait_s`, of which `draw` (0 to 1) takes up to half."""
        whole = min(self.longest_wait_s, self.first_wait_s * 2.0 ** (failed - 1))
        return whole * (1 - draw() / 2)


def retry_after_s(answer: httpx.Response) -> float | None:
    """What `Retry-After` asks for [s], as seconds or as a date, which counts from the `Date` of the same answer; None where it says nothing usable."""
    told = answer.headers.get("Retry-After", "").strip()
    if told.isascii() and told.isdigit():
        return max(LEAST_WAIT_S, float(told))
    try:
        span = parsedate_to_datetime(told) - parsedate_to_datetime(answer.headers.get("Date", ""))
    except (ValueError, TypeError):  # no date, or one of the two without a zone
        return None
    return max(LEAST_WAIT_S, span.total_seconds())
