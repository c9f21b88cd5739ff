"""What lies behind the figures of relaxations and offers: what the customer could change, and what it saves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from services.quoting.explain.figures_of_parts import of_tool
from services.quoting.explain.places import Place, basis_in, named
from shared_schemas.figure import Figure

SAVED = "unit price as asked - unit price with the looser figure, the faces worked in the same order; charges for tools needed then taken off"
SPREAD = "unit price as asked - unit price without the charges for the tools that fall away"
DAYS = "p50_days as asked - p50_days when the change is granted, both worked out in full at the quantity"


class _Told(NamedTuple):
    """Where a figure of a relaxation is from; `source` in the fields of the relaxation."""

    formula: str | None
    source: str


_OF_TOLERANCE = (
    _Told(None, "the drawing, or the default of ISO 10110-11: {where}"),
    _Told("the next looser class of the tolerance", "rate table tolerance_classes"),
)
_OF_RELAXATION = {
    "coating": (
        _Told(
            "mean reflectance of the coating asked for, by the characteristic matrix", "rate tables coatings and glasses: {means}"
        ),
        _Told("mean reflectance of what it becomes, by the characteristic matrix", "rate tables coatings and glasses: {means}"),
    ),
    "radius": (_Told(None, "the request: {where}"), _Told("radius_mm of the row", "rate table tooling: {means}")),
    "quantity, to fill a block": (
        _Told(None, "the request: {where}"),
        _Told("quantity + lenses that the free seats of the dearest batch give", "the route cards"),
    ),
}


def figure_of_relaxation(place: Place) -> Figure:
    """A figure below /relaxations/{position}."""
    one = place.owner(2)
    if place.name in ("from_figure", "to_figure"):
        now, then = _OF_RELAXATION.get(one["tolerance"], _OF_TOLERANCE)
        told = now if place.name == "from_figure" else then
        return place.figure(unit=one["unit"], formula=told.formula, source=told.source.format(**one))
    return _saving(place, 2)


def figure_of_relaxations_together(place: Place) -> Figure:
    """A figure of /best_relaxations: several granted at once, worked out together and not summed."""
    return _saving(place, 1)


def figure_of_offer(place: Place) -> Figure:
    """A figure below /offers/{position}."""
    if "needed" in place.tokens:
        return of_tool(place, 4)
    offer = place.owner(2)
    found = named(basis_in(offer), place.name)
    if found is not None:
        return place.figure(formula=found.formula, inputs=found.inputs, rate_row=found.rate_row, source=found.source)
    return _of_radii(place, offer) or _saving(place, 2)


def _of_radii(place: Place, offer: Mapping[str, Any]) -> Figure | None:
    """A radius of an offer, or what it saves in charges; `None` for its other figures."""
    if place.name == "from_radius_mm":
        return place.figure(source=f"the request: /prescription{offer['where']}")
    if place.name == "to_radius_mm":
        return place.figure(formula="radius_mm of the row", source=f"rate table tooling, row {offer['tool']}")
    if place.name == "saving":
        tools = (*offer.get("not_needed", ()), *(one["name"] for one in offer.get("needed", ())))
        return place.figure(formula="charges of not_needed - charges of needed", source=f"rate table tooling: {', '.join(tools)}")
    if place.name == "focal_length_change_share":
        inputs = (
            place.input("focal_length_change_mm", *place.tokens[:2], "focal_length_change_mm"),
            place.input("focal_length_mm", "check", "first_order", "focal_length_mm"),
        )
        return place.figure(formula="focal_length_change_mm / focal_length_mm", inputs=inputs)
    if place.name == "saving_per_unit":
        inputs = (place.input("saving", *place.tokens[:2], "saving"), place.input("quantity", *place.tokens[:2], "quantity"))
        spread = place.document.get("tooling_terms") == "spread"
        return place.figure(formula=SPREAD if spread else "saving / quantity", inputs=inputs)
    return None


def _saving(place: Place, depth: int) -> Figure:
    if place.name == "quantity":
        return place.figure(source="the middle one of the quantities asked for")
    if place.name == "saving_per_unit":
        charged = place.owner(depth).get("charged_once", False)
        spread = place.document.get("tooling_terms") == "spread"
        once = SPREAD if spread else "(charges for tools that fall away - charges for those needed instead) / quantity"
        return place.figure(
            formula=once if charged else SAVED,
            inputs=(place.input("quantity", *place.tokens[:depth], "quantity"),),
        )
    if place.name == "days_saved":
        return place.figure(formula=DAYS, inputs=(place.input("quantity", *place.tokens[:depth], "quantity"),))
    return place.figure(source="the operation plan")
