"""What a request says of the order beside its lenses and that cannot be, told at the door."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from difflib import get_close_matches

from shared_schemas.lead_times import Delivery
from shared_schemas.order_terms import Supplied, groups_by_name
from shared_schemas.prescription import Element
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest


def faults_of_order(request: QuoteRequest) -> list[ProblemDetail]:
    """Spare parts that the lens does not have, what is supplied for parts or faces that are not there, and deliveries of no quantity."""
    return [*_spares(request), *_supplied(request), *_deliveries(request), *_prototypes(request)]


def _spares(request: QuoteRequest) -> list[ProblemDetail]:
    """Spare parts that the lens does not have, and parts that are asked for twice."""
    known = [*(element.name for element in request.prescription.elements), *groups_by_name(request.prescription)]
    faults, seen = [], set[str]()
    for number, spare in enumerate(request.spares):
        pointer = f"/spares/{number}/part"
        if spare.part not in known:
            near = get_close_matches(spare.part, known, cutoff=0.5) or known
            reason = f"the lens has no part called {spare.part}"
            faults.append(
                ProblemDetail(
                    pointer=pointer, reason=reason, figure=spare.part, limit=", ".join(known), remedy=f"one of {', '.join(near)}"
                )
            )
        elif spare.part in seen:
            reason = f"spare parts of {spare.part} are asked for twice"
            faults.append(
                ProblemDetail(
                    pointer=pointer, reason=reason, figure=spare.part, limit="each once", remedy="one entry with all its pieces"
                )
            )
        seen.add(spare.part)
    return faults


def _deliveries(request: QuoteRequest) -> Iterator[ProblemDetail]:
    whole = sum(one.quantity for one in request.deliveries)
    if request.deliveries and whole not in request.quantities:
        asked = ", ".join(map(str, request.quantities))
        yield ProblemDetail(
            pointer="/deliveries", reason=f"the deliveries are {whole} pieces together, and that is none of the quantities", figure=whole,
            limit=asked, remedy="let them add up to one of the quantities",
        )  # fmt: skip


def _prototypes(request: QuoteRequest) -> Iterator[ProblemDetail]:
    if request.prototypes is not None and (request.prototypes not in request.quantities or len(request.quantities) < 2):
        asked = ", ".join(map(str, request.quantities))
        yield ProblemDetail(
            pointer="/prototypes", reason="prototypes are one of several quantities, and are made before the others", figure=request.prototypes,
            limit=asked, remedy="add it to the quantities, with that of the series",
        )  # fmt: skip


def _supplied(request: QuoteRequest) -> Iterator[ProblemDetail]:
    elements = {element.name: element for element in request.prescription.elements}
    seen: dict[tuple[str, ...], int] = {}
    for number, entry in enumerate(request.supplied):
        pointer = f"/supplied/{number}"
        if entry.element is not None and entry.element not in elements:
            near = get_close_matches(entry.element, elements, cutoff=0.5) or [*elements]
            reason = f"the lens has no element called {entry.element}"
            yield ProblemDetail(
                pointer=f"{pointer}/element", reason=reason, figure=entry.element, limit=", ".join(elements), remedy=f"one of {', '.join(near)}"
            )  # fmt: skip
            continue
        if entry.what == "coating" and entry.element is not None:
            yield from _coating(entry, elements[entry.element], pointer)
        key = _key(entry)
        if key in seen:
            reason = f"it is supplied already, by the entry {seen[key]}"
            yield ProblemDetail(pointer=pointer, reason=reason, figure=" ".join(key), limit="each once", remedy="one entry for it")
        seen.setdefault(key, number)


def _key(entry: Supplied) -> tuple[str, ...]:
    """What two entries may not both say: the glass of an element and its blank are one thing."""
    if entry.what == "tool":
        return ("tool", entry.tool or "")
    return ("coating" if entry.what == "coating" else "glass", entry.element or "", entry.face or "")


def _coating(entry: Supplied, element: Element, pointer: str) -> Iterator[ProblemDetail]:
    """A face that is to have no coating, or no face that is to have one."""
    surfaces = {"front": element.front, "back": element.back}
    asked = [name for name, surface in surfaces.items() if surface.coating is not None]
    if entry.face is not None and entry.face not in asked:
        yield ProblemDetail(
            pointer=f"{pointer}/face", reason=f"the {entry.face} of {element.name} is not to be coated", figure=entry.face,
            limit=", ".join(asked) or "no face is coated", remedy="leave it out, or say the coating in the prescription",
        )  # fmt: skip
    elif not asked:
        yield ProblemDetail(
            pointer=f"{pointer}/element", reason=f"no face of {element.name} is to be coated", figure=element.name,
            limit="an element with a coating", remedy="leave it out, or say the coating in the prescription",
        )  # fmt: skip


def days_gone(deliveries: Sequence[Delivery], today: date) -> list[ProblemDetail]:
    """Every delivery that is wanted on a day that is gone."""
    return [
        ProblemDetail(
            pointer=f"/deliveries/{place}/by",
            reason="that day is gone",
            figure=delivery.by.isoformat(),
            limit=today.isoformat(),
            remedy="name a day to come, or leave it out",
        )
        for place, delivery in enumerate(deliveries)
        if delivery.by is not None and delivery.by < today
    ]
