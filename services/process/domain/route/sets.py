"""Sets of parts that the customer puts together: what of a lens in its mount is left out of the shop's work."""

from __future__ import annotations

from collections.abc import Iterator

from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import Route
from shared_schemas.order_terms import Delivered
from shared_schemas.prescription import Prescription


def as_delivered(prescription: Prescription, delivered: Delivered) -> Prescription:
    """The lens as it leaves the shop: sets have no barrel, so that nothing is mounted, aligned, tested or bought for it.

    Notes: edges that are blackened for a barrel still are, and groups are cemented.
    """
    return prescription if delivered == "lenses" else prescription.model_copy(update={"barrel": None})


def in_sets(delivered: Delivered, of_lens: Route) -> Iterator[Finding]:
    """What is delivered instead of lenses."""
    if delivered == "sets":
        parts = ", ".join(f"{one.count} of {one.part}" if one.count > 1 else one.part for one in of_lens.consumes)
        yield finding(
            "delivered-in-sets", "/delivered",
            f"Sets of {parts} are delivered, packed apart; they are not put together, aligned or tested as a lens, and no part of a mount is bought.",
            figure=sum(one.count for one in of_lens.consumes), unit="parts",
        )  # fmt: skip
