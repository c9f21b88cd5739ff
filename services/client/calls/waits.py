"""What takes a server some time, waited for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Generic, TypeVar

from services.client.calls.quoting import batch, quote, what_if
from services.client.calls.rates import impact
from services.client.waiting import Wait

if TYPE_CHECKING:
    from shared_schemas.quote import Quote
    from shared_schemas.quote_life import QuoteBatch
    from shared_schemas.rate_impact import RateImpact
    from shared_schemas.what_if import WhatIf

T = TypeVar("T")


def wait_for_quote(
    number: str, timeout_s: float = 120.0, on_status: Callable[[str], None] = lambda _: None, revision: int | None = None
) -> Wait[Quote]:
    """The quote when it is ready, refused or failed. `on_status` is called with each status that is seen, once.

    Looks often at first and then ever more seldom, once a second at last. Raises `WaitedTooLong`, `ContactLost`.
    """
    from shared_schemas.quote import FINAL_STATUSES

    news = _News(on_status)
    return Wait(
        look=quote(number, revision), status=lambda found: found.status, ends=FINAL_STATUSES, what="quote", number=number,
        timeout_s=timeout_s, on_look=lambda found: news(found.status),
    )  # fmt: skip


def wait_for_batch(
    number: str, timeout_s: float = 600.0, on_counts: Callable[[Mapping[str, int]], None] = lambda _: None
) -> Wait[QuoteBatch]:
    """The batch when each of its quotes has its outcome. `on_counts` is called whenever the counts have changed.

    Raises `WaitedTooLong`, `ContactLost`.
    """
    news = _News(on_counts)
    return Wait(
        look=batch(number), status=lambda found: found.status, ends=frozenset({"finished"}), what="batch", number=number,
        timeout_s=timeout_s, on_look=lambda found: news({str(status): count for status, count in found.counts.items()}),
    )  # fmt: skip


def wait_for_impact(number: str, timeout_s: float = 600.0, on_count: Callable[[int], None] = lambda _: None) -> Wait[RateImpact]:
    """The impact when each of its quotes has its outcome; `on_count` hears how many have. Raises `WaitedTooLong`, `ContactLost`."""
    return Wait(
        look=impact(number), status=lambda found: found.status, ends=frozenset({"done"}), what="impact", number=number,
        timeout_s=timeout_s, on_look=lambda found: on_count(found.worked_out),
    )  # fmt: skip


def wait_for_what_if(number: str, timeout_s: float = 600.0) -> Wait[WhatIf]:
    """The what-if when each of its copies has its outcome. Raises `WaitedTooLong`, `ContactLost`."""
    return Wait(
        look=what_if(number), status=lambda found: found.status, ends=frozenset({"done"}), what="what-if", number=number,
        timeout_s=timeout_s,
    )  # fmt: skip


class _News(Generic[T]):
    """Tells `hears` what is new."""

    def __init__(self, hears: Callable[[T], None]) -> None:
        self._hears = hears
        self._last: T | None = None

    def __call__(self, now: T) -> None:
        if now != self._last:
            self._last = now
            self._hears(now)
