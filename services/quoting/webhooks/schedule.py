"""When an endpoint that did not take a message is asked again.

The waits belong to the endpoint and not to a message, as messages go in order: 5 s after the first failure in a row, then 30 s, 2, 10 and 30
minutes, 1, 2 and from there every 4 hours, each up to a fifth shorter or longer by chance. A message is given up on a day after it was made
(or replayed, or its endpoint resumed), but never before it was tried: the last try is at the end of the day. Whoever answers Retry-After is not
asked before that, nor later than the end of the day; what follows a message that was given up on is held back for it by 4 hours at most.

Source:
    Standard Webhooks, specification 1.0.0, "Deliverability and reliability" and "Delivery success and failure",
    github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md: waits that grow, with chance in them, 410 and Retry-After. The
    waits themselves are common practice; those of its example go on for three days.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

from services.quoting.store.webhooks import A_DAY

WAITS_S = (5.0, 30.0, 120.0, 600.0, 1800.0, 3600.0, 7200.0, 14400.0)
"""After the first failure in a row, the second, …; after all later ones the last."""
JITTER = 0.2
LONGEST_WAIT = timedelta(seconds=WAITS_S[-1])


def wait_after(failures: int, chance: float) -> timedelta:
    """The wait after so many failures in a row; `chance` is drawn evenly from 0 to 1."""
    wait_s = WAITS_S[min(max(failures, 1), len(WAITS_S)) - 1]
    return timedelta(seconds=wait_s * (1 - JITTER + 2 * JITTER * chance))


def next_try(*, failures: int, chance: float, asked_to_wait: timedelta | None, now: datetime, give_up_at: datetime) -> datetime:
    """When the message that has failed is tried again, if it is not given up on."""
    wait = max(wait_after(failures, chance), asked_to_wait or timedelta(0))
    return max(now, min(now + wait, give_up_at))


def retry_after(value: str | None, *, now: datetime) -> timedelta | None:
    """What a header Retry-After asks for (RFC 9110, section 10.2.3): seconds or a date; `None` for what cannot be read."""
    if value is None:
        return None
    text = value.strip()
    if text.isascii() and text.isdigit():
        return min(timedelta(seconds=int(text[:9])), A_DAY)
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, TypeError):
        return None
    until = until.replace(tzinfo=UTC) if until.tzinfo is None else until
    return min(max(until - now, timedelta(0)), A_DAY)
