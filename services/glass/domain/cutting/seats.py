"""Seats in the plates of larger discs: what a full plate has in its gaps for a smaller kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.glass.domain.blank.options import BlankOption
from services.glass.domain.layouts.equal import Layout, best_layout
from services.glass.domain.layouts.mixed import Plate, Wanted, mixed_layout

GAP_BELOW = 0.75
"""Kinds above this share of a larger diameter are not looked for between its discs: only a wide strip would take them."""

MANY = 400
"""Discs of the larger kind beyond which its plate is taken without the gaps: a lattice has none worth the search."""


@dataclass(frozen=True)
class Kind:
    """Discs of one element, and the plate that they are cored out of."""

    owner: str
    diameter_mm: float
    gap_mm: float
    discs_per_plate: int
    plate: Plate

    @classmethod
    def of(cls, option: BlankOption) -> Kind:
        """The discs of an element out of a slab or a strip."""
        stock, allowances = option.stock, option.allowances
        return cls(
            option.element.name,
            option.shape.diameter_mm,
            allowances.gap_mm,
            option.yielded.discs_per_plate,
            Plate(stock.length_mm or 0.0, stock.width_mm or 0.0, allowances.clear_edge_mm),
        )


def template_of(*, kind: Kind, smaller: Sequence[Kind]) -> Layout:
    """A full plate of one kind, and in its gaps discs of the largest of the smaller kinds that fits there, if any does."""
    for other in smaller:
        if other.diameter_mm > GAP_BELOW * kind.diameter_mm or kind.discs_per_plate > MANY:
            continue
        layout = _with_gaps(kind, other)
        if layout is not None:
            return layout
    plate = kind.plate
    return best_layout(
        length_mm=plate.length_mm, width_mm=plate.width_mm, diameter_mm=kind.diameter_mm, gap_mm=kind.gap_mm,
        edge_margin_mm=plate.edge_margin_mm, owner=kind.owner,
    )  # fmt: skip


def gap_seats(*, kind: Kind, smaller: Sequence[Kind]) -> tuple[str, int]:
    """The smaller kind that has seats in the gaps of a full plate, and how many; no name and 0 where there are none."""
    for other in smaller:
        if other.diameter_mm > GAP_BELOW * kind.diameter_mm or kind.discs_per_plate > MANY:
            continue
        layout = _with_gaps(kind, other)
        if layout is not None:
            return other.owner, layout.count_of(other.owner)
    return "", 0


def _with_gaps(kind: Kind, other: Kind) -> Layout | None:
    """A plate with as many discs of the larger kind as ever, and some of the smaller; `None` where there is no room."""
    layout = mixed_layout(
        plate=kind.plate,
        wanted=(
            Wanted(kind.owner, kind.diameter_mm, kind.gap_mm, kind.discs_per_plate),
            Wanted(other.owner, other.diameter_mm, other.gap_mm, MANY),
        ),
    )
    full = layout.count_of(kind.owner) == kind.discs_per_plate
    return layout if full and layout.count_of(other.owner) else None
