"""What lies behind the figures of relaxations and offers: what the customer could change, and what it saves."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from services.optics.law import figure_of, given
from services.quoting.explain.places import Place
from services.quoting.pricing.relaxations import saving_of
from services.quoting.promise.lead_time import days_saved
from shared_schemas.figure import Figure

ANEW = "the same quantity worked out anew with what is granted"
DRAWN = "the drawing, or the default of ISO 10110-11"
FROM_AND_TO = {
    "coating": ("mean reflectance of the coating asked for, by the characteristic matrix", "mean reflectance of what it becomes, by the characteristic matrix"),
    "radius": (DRAWN, "rate table tooling: the radius of the plate"),
    "quantity, to fill a block": ("the middle one of the quantities asked for", "the quantity and the lenses for which the dearest batch has free seats"),
}  # fmt: skip
CLASSES = (DRAWN, "the next looser class of the tolerance: rate table tolerance_classes")


def figure_of_relaxation(place: Place) -> Figure:
    """A figure below /relaxations/{position}."""
    relaxation = place.at(*place.tokens[:2])
    if place.name in ("from_figure", "to_figure"):
        before, after = FROM_AND_TO.get(relaxation["tolerance"], CLASSES)
        source = f"{before}: {relaxation['where']}" if place.name == "from_figure" else f"{after} {relaxation['means']}".strip()
        return place.explained_by(unit=relaxation["unit"], source=source)
    return _saving(place, relaxation)


def figure_of_relaxations_together(place: Place) -> Figure:
    """A figure of /best_relaxations: several granted at once, worked out together and not summed."""
    return _saving(place, place.at("best_relaxations"))


def figure_of_offer(place: Place) -> Figure:
    """A figure below /offers/{position} that its basis does not explain."""
    offer = place.at(*place.tokens[:2])
    if place.name == "from_radius_mm":
        return place.explained_by(source=f"the request: /prescription{offer['where']}")
    return _saving(place, offer)


def _saving(place: Place, owner: Mapping[str, Any]) -> Figure:
    if place.name == "quantity":
        return place.explained_by(source="the middle one of the quantities asked for")
    at = _break_of(place, owner)
    if place.name == "saving_per_unit":
        return place.of(_saving_per_unit(place, at))
    if place.name == "days_saved":
        quoted = place.at(*at, "lead_time", "p50_days")
        return place.of(
            figure_of(
                days_saved,
                days_as_quoted=given("days_as_quoted", quoted, "days", at=_pointer(*at, "lead_time", "p50_days")),
                days_then=given("days_then", quoted - place.value, "days", source=ANEW),
            )
        )
    return place.explained_by(source="the operation plan")


def _saving_per_unit(place: Place, at: tuple[str, ...]) -> Figure:
    price = Decimal(place.at(*at, "unit_price"))
    then = price - Decimal(place.value)
    return figure_of(
        saving_of,
        unit=place.unit,
        unit_price=given("unit_price", price, place.unit, at=_pointer(*at, "unit_price")),
        price_then=given(
            "price_then", then, place.unit, source=f"{ANEW}, less what falls away of one-off charges, over the quantity"
        ),
    )


def _break_of(place: Place, owner: Mapping[str, Any]) -> tuple[str, ...]:
    """The way to the break of the quantity that a saving belongs to."""
    numbers = [one["quantity"] for one in place.at("breaks")]
    return "breaks", str(numbers.index(owner["quantity"]))


def _pointer(*tokens: str) -> str:
    return "/" + "/".join(tokens)
