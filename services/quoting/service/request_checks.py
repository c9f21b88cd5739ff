"""What a request asks for that the rates do not have, told at the door."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from difflib import get_close_matches

from services.quoting.costs.money import currency_on
from services.quoting.errors import CurrencyNotOfTheDay
from services.quoting.service.order_checks import days_gone, faults_of_order
from services.quoting.service.override_checks import faults_of_overrides
from shared_schemas.glass_reference import GlassNotFound, find_glass
from shared_schemas.indications import slips_of_notation
from shared_schemas.overrides import Override
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates


def faults_of_request(request: QuoteRequest, *, rates: Rates, today: date) -> list[ProblemDetail]:
    """Every glass, coating, currency and class of customer that the rates do not know, slips in indications, and a day that is gone."""
    return [
        *_glasses(request, rates),
        *_coatings(request, rates),
        *_indications(request),
        *_terms(request, rates),
        *_own_operations(request, rates),
        *faults_of_order(request),
        *faults_of_overrides(request, rates),
        *_currency_of_the_day(request, rates, today),
        *_day(request, today),
        *days_gone(request.deliveries, today),
    ]


def faults_past_the_worksheet(
    request: QuoteRequest, *, before: Sequence[Override] = (), number: str = "{number}"
) -> list[ProblemDetail]:  # fmt: skip
    """Overrides that a request brings or takes away itself: who set what with which key is noted on the worksheet alone."""
    if request.overrides == tuple(before):
        return []
    return [
        ProblemDetail(
            pointer="/overrides",
            reason="figures are overridden on the worksheet of a quote, where it is noted who did",
            figure=len(request.overrides),
            limit=len(before),
            remedy=f"leave it out, and then PATCH /v1/quotes/{number}/worksheet",
        )
    ]


def to_be_withdrawn(fault: ProblemDetail, overrides: Sequence[Override], *, number: str) -> ProblemDetail:
    """A fault of a requote; where it is of an override that was set before, with the way to take that away."""
    place = fault.pointer.removeprefix("/overrides/").split("/")[0]
    if not fault.pointer.startswith("/overrides/") or int(place) >= len(overrides):
        return fault
    pointer = overrides[int(place)].pointer
    remedy = f"PATCH /v1/quotes/{number}/worksheet with withdraw {pointer}, and then ask again"
    return fault.model_copy(update={"reason": f"{fault.reason}, and {pointer} is overridden", "remedy": remedy})


def _glasses(request: QuoteRequest, rates: Rates) -> list[ProblemDetail]:
    faults = []
    for number, element in enumerate(request.prescription.elements):
        if isinstance(element.glass, str):
            try:
                find_glass(element.glass, rates)
            except GlassNotFound as fault:
                faults.append(
                    ProblemDetail(
                        pointer=f"/prescription/elements/{number}/glass",
                        reason=str(fault),
                        figure=element.glass,
                        limit=f"one of the {len(rates.glasses)} glasses in the rates",
                        remedy=f"write {' or '.join(fault.candidates)}"
                        if fault.candidates
                        else "a name of the table glasses, or nd and vd",
                    )
                )
    return faults


def _coatings(request: QuoteRequest, rates: Rates) -> list[ProblemDetail]:
    known = [row.name for row in rates.coatings]
    return [
        ProblemDetail(
            pointer=f"/prescription/elements/{number}/{face}/coating",
            reason=f"no coating is called {surface.coating}",
            figure=surface.coating,
            limit=", ".join(known),
            remedy=f"one of {', '.join(get_close_matches(surface.coating, known, cutoff=0.5) or known)}, a reflectance and band in place of "
            "a name, or null for an uncoated face",
        )
        for number, element in enumerate(request.prescription.elements)
        for face, surface in (("front", element.front), ("back", element.back))
        if isinstance(surface.coating, str) and surface.coating not in known
    ]


def _own_operations(request: QuoteRequest, rates: Rates) -> list[ProblemDetail]:
    known = [row.name for row in rates.operations]
    return [
        ProblemDetail(
            pointer=f"/own_operations/{number}",
            reason=f"the shop has no step called {name}",
            figure=name,
            limit=", ".join(known) or "the table operations is empty",
            remedy=f"one of {', '.join(get_close_matches(name, known, cutoff=0.5) or known)}" if known else "leave it out",
        )
        for number, name in enumerate(request.own_operations)
        if name not in known
    ]


def _indications(request: QuoteRequest) -> list[ProblemDetail]:
    # Here and not in the contract: requests that were stored before this was asked stay readable, and a check by hand names
    # the position of the slip beside everything else that it finds.
    return [slip.model_copy(update={"pointer": f"/prescription{slip.pointer}"}) for slip in slips_of_notation(request.prescription)]


def _terms(request: QuoteRequest, rates: Rates) -> list[ProblemDetail]:
    choices = (
        ("/currency", "currency", request.currency, [row.name for row in rates.currencies]),
        ("/customer_class", "class of customer", request.customer_class, [row.name for row in rates.commercial]),
    )
    return [
        ProblemDetail(
            pointer=pointer,
            reason=f"the rates have no {what} {asked}",
            figure=asked,
            limit=", ".join(known),
            remedy=f"one of {', '.join(known)}",
        )
        for pointer, what, asked, known in choices
        if asked not in known
    ]


def _currency_of_the_day(request: QuoteRequest, rates: Rates, today: date) -> list[ProblemDetail]:
    if request.currency not in {row.name for row in rates.currencies}:
        return []
    try:
        currency_on(today, request.currency, rates)
    except CurrencyNotOfTheDay as fault:
        return list(fault.errors)
    return []


def _day(request: QuoteRequest, today: date) -> list[ProblemDetail]:
    if request.needed_by is None or request.needed_by >= today:
        return []
    return [
        ProblemDetail(
            pointer="/needed_by",
            reason="that day is gone",
            figure=request.needed_by.isoformat(),
            limit=today.isoformat(),
            remedy="a day to come, or null",
        )
    ]
