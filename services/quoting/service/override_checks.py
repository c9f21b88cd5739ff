"""What is wrong with the overrides of a request, as far as it is known before the lens is planned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from itertools import combinations

from services.quoting.pricing.overridden.places import EXTRA, FIELDS, WorksheetPlace, place_of
from shared_schemas.order_terms import groups_by_name
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates

LENS = "lens"
"""What the whole lens is called among the parts."""
TAKE_AWAY = "take the override away"


def faults_of_overrides(request: QuoteRequest, rates: Rates) -> list[ProblemDetail]:
    """Overrides of what no worksheet has, of another kind or range than may be set, of a part or a quantity that is not asked for, and any
    two that contradict each other; ids of operations are known when the lens is planned."""
    faults: list[ProblemDetail] = []
    readable: dict[int, WorksheetPlace] = {}
    for number, override in enumerate(request.overrides):
        place = place_of(override.pointer)
        if place is None:
            faults.append(_nowhere(number, override.pointer))
            continue
        readable[number] = place
        faults += _of_value(number, place, override.value)
        faults += _of_name(number, place, request)
        faults += _of_amount(number, place, override.value, request, rates)
        faults += _of_work_centre(number, place, override.value, rates)
    return [*faults, *_contradictions(readable)]


def _nowhere(number: int, pointer: str) -> ProblemDetail:
    tokens = pointer.split("/")[1:]
    fields = FIELDS.get(next((one for one in FIELDS if one == tokens[0]), "terms"), {})
    known = [*FIELDS] if tokens[0] not in FIELDS else [one for one in fields if one not in ("", EXTRA)]
    wrong = tokens[0] if tokens[0] not in FIELDS else tokens[-1]
    return ProblemDetail(
        pointer=f"/overrides/{number}/pointer",
        reason="the worksheet has no such figure",
        figure=pointer,
        limit=", ".join(known) or "/starts/{part}/{quantity}",
        remedy=_nearest(wrong, known) or "a pointer of the worksheet (GET /v1/quotes/{number}/worksheet)",
    )


def _nearest(wrong: str, known: Iterable[str]) -> str:
    return " or ".join(get_close_matches(wrong, [*known], cutoff=0.5))


def _of_value(number: int, place: WorksheetPlace, value: object) -> Iterator[ProblemDetail]:
    try:
        place.kind.read(value)
    except ValueError as fault:
        yield ProblemDetail(
            pointer=f"/overrides/{number}/value",
            reason=f"{place.pointer} cannot be that: {fault}",
            figure=value,
            limit=place.kind.limit,
            remedy=f"write {place.kind.limit}",
        )


def _of_name(number: int, place: WorksheetPlace, request: QuoteRequest) -> Iterator[ProblemDetail]:
    """An element, a part or a quantity that the request does not have."""
    elements = [element.name for element in request.prescription.elements]
    parts = [*elements, *groups_by_name(request.prescription), LENS]
    named: Sequence[tuple[str, str, Sequence[str]]] = ()
    if place.subject == "blanks":
        named = (("element", place.name, elements),)
    elif place.subject == "starts" or place.field == EXTRA:
        named = (("part", place.name, parts),)
    if place.quantity:
        named = (*named, ("quantity", str(place.quantity), [str(one) for one in request.quantities]))
    for what, name, known in named:
        if name not in known:
            yield ProblemDetail(
                pointer=f"/overrides/{number}/pointer",
                reason=f"no {what} {name} is asked for",
                figure=name,
                limit=", ".join(known),
                remedy=_nearest(name, known) or TAKE_AWAY,
            )


def _of_amount(number: int, place: WorksheetPlace, value: object, request: QuoteRequest, rates: Rates) -> Iterator[ProblemDetail]:
    """Fewer pieces than lenses are wanted, and a price with more decimals than its currency has."""
    if place.subject == "starts" and isinstance(value, int) and value < place.quantity:
        yield ProblemDetail(
            pointer=f"/overrides/{number}/value",
            reason=f"{place.quantity} lenses need at least as many of {place.name}",
            figure=value,
            limit=place.quantity,
            remedy=f"{place.quantity} or more",
        )
    row = next((one for one in rates.currencies if one.name == request.currency), None)
    if row is None or place.subject != "prices" or place.field != "unit_price" or not isinstance(value, str):
        return
    decimals = len(value.partition(".")[2].rstrip("0"))
    if decimals > row.minor_units:
        yield ProblemDetail(
            pointer=f"/overrides/{number}/value",
            reason=f"a price in {row.name} has no more than {row.minor_units} decimals",
            figure=value,
            limit=row.minor_units,
            remedy="round it",
        )


def _of_work_centre(number: int, place: WorksheetPlace, value: object, rates: Rates) -> Iterator[ProblemDetail]:
    """A work centre of an extra operation that the rates do not have."""
    if place.field != EXTRA or not isinstance(value, Mapping) or not isinstance(value.get("work_centre"), str):
        return
    name, known = value["work_centre"], [row.name for row in rates.places_of_work]
    if name not in known:
        yield ProblemDetail(
            pointer=f"/overrides/{number}/value/work_centre",
            reason=f"the rates have no work centre {name}",
            figure=name,
            limit=", ".join(known),
            remedy=_nearest(name, known) or "a name of the table work_centres",
        )


def _contradictions(places: Mapping[int, WorksheetPlace]) -> Iterator[ProblemDetail]:
    """Any two that cannot both hold, named at the later one."""
    for (_, first), (number, second) in combinations(places.items(), 2):
        reason = _against(first, second)
        if reason:
            yield ProblemDetail(
                pointer=f"/overrides/{number}/pointer",
                reason=f"{second.pointer} and {first.pointer} contradict each other: {reason}",
                figure=second.pointer,
                limit=first.pointer,
                remedy="keep one of them",
            )


def _against(first: WorksheetPlace, second: WorksheetPlace) -> str:
    """Why two overrides contradict each other; nothing where they do not."""
    if first.pointer == second.pointer:
        return "one figure is set twice"
    if first.subject != second.subject or (first.name, first.quantity) != (second.name, second.quantity):
        return ""
    fields = {first.field, second.field}
    if first.subject == "prices" and "unit_price" in fields:
        return "a price that is set has neither a discount nor a margin besides"
    if first.subject == "operations" and "left_out" in fields and EXTRA not in fields:
        return "an operation that is left out has no figures"
    return ""
