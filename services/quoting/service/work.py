"""How much work a request is, before any of it is done: seconds of one processor through all stages.

The terms are those by which the stages grow: each element is checked, gets a blank and a route; each quantity of each element is
planned, risked and dated; and to say what each element would save when loosened, the whole lens is planned again. The figures were
measured on one processor of a small server (`make bench` prints the ratio of measured to estimated time, which should be about alike
for all lenses, whatever it is on a machine).
"""

from __future__ import annotations

from collections.abc import Callable

from services.quoting.errors import TooMuchWork
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest

PER_QUOTE_S = 0.15
PER_ELEMENT_S = 0.13
PER_ASPHERE_S = 0.4
"""For each aspheric face, whose shape is searched for its extremes wherever a sphere's are known."""
PER_PAIR_S = 0.0085
"""For each element and each element that is loosened."""
PER_QUANTITY_S = 0.018
"""For each quantity of each element."""
PER_QUANTITY_OF_PAIR_S = 0.0005


def estimated_s(elements: int, quantities: int, aspheres: float = 0) -> float:
    """Seconds of one processor that a lens of so many elements, with so many aspheric faces, takes in so many quantities."""
    of_lens = PER_QUOTE_S + elements * (PER_ELEMENT_S + elements * PER_PAIR_S) + aspheres * PER_ASPHERE_S
    return of_lens + quantities * elements * (PER_QUANTITY_S + elements * PER_QUANTITY_OF_PAIR_S)


def work_of(request: QuoteRequest) -> float:
    """Seconds of one processor that a request takes, estimated."""
    return estimated_s(len(request.prescription.elements), len(request.quantities), aspheres_of(request))


def aspheres_of(request: QuoteRequest) -> int:
    """Faces that are no spheres or planes as they are written."""
    faces = [face for element in request.prescription.elements for face in (element.front, element.back)]
    return sum(bool(face.asphere) or face.conic != 0 for face in faces)


def refuse_too_much_work(request: QuoteRequest, *, most_s: float, pointer: str = "") -> None:
    """Raises `TooMuchWork`, naming what would do, for a request of more than `most_s`. `pointer` is where the request stands."""
    work_s = work_of(request)
    if work_s <= most_s:
        return
    elements, quantities, aspheres = len(request.prescription.elements), len(request.quantities), aspheres_of(request)
    fit = _most_below(quantities, lambda fewer: estimated_s(elements, fewer, aspheres) <= most_s)
    errors = []
    if fit:
        errors.append(
            ProblemDetail(
                pointer=f"{pointer}/quantities",
                reason=f"{quantities} quantities of {elements} elements are too much work",
                figure=quantities,
                limit=fit,
                remedy=f"Ask for at most {fit} {'quantity' if fit == 1 else 'quantities'} of this lens at a time.",
            )
        )
    part = _most_below(elements, lambda fewer: estimated_s(fewer, quantities, aspheres * fewer / elements) <= most_s)
    if part:
        errors.append(
            ProblemDetail(
                pointer=f"{pointer}/prescription/elements",
                reason=f"{elements} elements in {quantities} quantities are too much work",
                figure=elements,
                limit=part,
                remedy=f"Ask for parts of the lens as lenses of their own, of at most {part} elements in as many quantities.",
            )
        )
    raise TooMuchWork(work_s, most_s, errors)


def _most_below(number: int, fits: Callable[[int], bool]) -> int:
    """The largest number below that one which fits, 0 where none does."""
    return max(filter(fits, range(1, number)), default=0)
