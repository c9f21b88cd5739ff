"""What a traveller that went through every stage comes to: the sections it carries, and the quote that is made of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from services.chassis.load_source import pinned_snapshot
from services.chassis.pipeline import SectionMissing, read_section
from services.chassis.resources import Resources
from services.quoting.pricing.quote import assembled
from services.quoting.store.blocks import digest_of
from services.quoting.store.resting import packed
from services.quoting.store.rows import Outcome, quote_number_of
from shared_schemas.base import canonical_json
from shared_schemas.pipeline import LAST

READS = ("job", "check", "blanks", "operations")
"""The sections that a quote is made of."""


def parsed(sections: Mapping[str, bytes], *names: str) -> dict[str, Any]:
    """Sections of a traveller, read; raises `SectionMissing`."""
    missing = [name for name in names if name not in sections]
    if missing:
        raise SectionMissing(LAST.service, missing)
    return {name: read_section(name, sections[name]) for name in names}


def ready_quote(number: str, sections: Mapping[str, bytes], resources: Resources) -> Outcome:
    """The quote that a traveller's sections make."""
    read = parsed(sections, *READS)
    revision = resources.rates.revision(read["job"].rate_revision)
    load = pinned_snapshot(resources.load, read["job"].load_snapshot)
    if load is not None:
        load = load.without(quote_number_of(number))
    made = assembled(
        **read, rates=revision.rates, rate_digest=revision.digest, load=load, review_days=resources.settings.review_days
    )
    body, rests = canonical_json(made.body), made.resting
    return Outcome(
        "ready",
        digest_of(body),
        body=body,
        blanks=sections["blanks"],
        operations=sections["operations"],
        valid_until=made.body.valid_until,
        rests_on=packed(rests.currency, rests.total, rests.amounts),
    )
