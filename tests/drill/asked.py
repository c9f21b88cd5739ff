"""What the drill asks for: small lenses, so that many quotes go through in a minute; some of them cannot be made."""

from __future__ import annotations

from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest
from tests.bench.lenses import chain_of_lenses

QUANTITIES = ((5,), (5, 25), (7, 30, 110))


def distinct_requests() -> tuple[bytes, ...]:
    """Bodies of requests, each another quote; every sixth lens is refused."""
    lenses = [
        _ground(chain_of_lenses(elements), by_mm=2.0 * step) for elements in (1, 2, 1, 2, 3) for step in (elements, elements + 3)
    ]
    lenses += [_thinned(chain_of_lenses(1)), _widened(chain_of_lenses(2))]
    asked = [
        QuoteRequest(prescription=lens, quantities=quantities, customer=f"Drill {place}", confidence=0.9)
        for place, (lens, quantities) in enumerate((lens, quantities) for quantities in QUANTITIES[:2] for lens in lenses)
    ]
    return tuple(request.model_dump_json().encode() for request in asked)


def _ground(lens: Prescription, *, by_mm: float) -> Prescription:
    """The same lens, a little thicker: its elements are others to the shop."""
    elements = tuple(one.model_copy(update={"centre_thickness_mm": one.centre_thickness_mm + by_mm / 10}) for one in lens.elements)
    return lens.model_copy(update={"elements": elements})


def _thinned(lens: Prescription) -> Prescription:
    """A lens with a knife edge."""
    return _with_first(lens, centre_thickness_mm=0.4)


def _widened(lens: Prescription) -> Prescription:
    """A lens too large for the shop."""
    return _with_first(lens, diameter_mm=900.0)


def _with_first(lens: Prescription, **changes: float) -> Prescription:
    first, *others = lens.elements
    return lens.model_copy(update={"elements": (first.model_copy(update=changes), *others)})
