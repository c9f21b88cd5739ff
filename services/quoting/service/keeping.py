"""What time does to what is stored: quotes are packed tightly when nothing else is to do, and what nobody needs any more is forgotten."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta

from services.chassis.resources import Resources
from services.quoting.store.blocks import tighten
from services.quoting.store.feed import Feed
from services.quoting.store.forgetting import KeptDays, forget
from services.quoting.store.repository import standing
from services.quoting.store.searched import bring_up_to_date

log = logging.getLogger(__name__)

REST = timedelta(minutes=1)
"""A quote that was settled this lately may be asked for at once; it is packed later."""
LONGEST_REST = timedelta(days=1)
"""After so long a quote is packed tightly even while others are under way."""
IDLE_WORK_S = 2.0


def pack_tightly(resources: Resources) -> None:
    """Pack some quotes tightly, and note what new ones are searched by. While others are under way none but one that has waited for a day."""
    now = datetime.now(UTC)
    busy = standing(resources.database).under_way > 0
    bring_up_to_date(resources.database, within_s=0.0 if busy else IDLE_WORK_S)
    done = tighten(resources.database, settled_before=now - (LONGEST_REST if busy else REST), within_s=0.0 if busy else IDLE_WORK_S)
    if done:
        log.info("quotes packed", extra={"quotes": done})


def forget_what_is_over(resources: Resources) -> None:
    """Delete what is older than the settings keep it. Quotes, decisions and orders are never among it."""
    settings = resources.settings
    kept = KeptDays(
        outbox=settings.outbox_kept_days,
        events=settings.events_kept_days,
        idempotency_keys=settings.idempotency_kept_days,
        letters=settings.letters_kept_days,
        impacts=settings.proposals_kept_days,
        what_ifs=settings.what_ifs_kept_days,
        deliveries=settings.deliveries_kept_days,
    )
    gone = forget(resources.database, kept, now=datetime.now(UTC))
    if any(gone.values()):
        log.info("forgotten", extra=gone)


def tell_what_expired(resources: Resources) -> None:
    """Write into the feed of estimates which quotes are past their last day, and of which it is near."""
    now = datetime.now(UTC)
    expired = Feed(resources.database).expire(today=now.date(), at=now)
    if expired:
        log.info("quotes expired", extra={"quotes": expired})
    within_days = resources.settings.remind_days
    expiring = Feed(resources.database).remind(today=now.date(), within_days=within_days, at=now) if within_days else 0
    if expiring:
        log.info("quotes about to expire", extra={"quotes": expiring})
