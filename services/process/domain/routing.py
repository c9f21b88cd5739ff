"""The route of one element: from stock or pressing to a coated, inspected piece."""

from __future__ import annotations

from collections.abc import Iterator

from services.process.domain.coating_cycle import coat
from services.process.domain.cutting import cut_blank
from services.process.domain.edging import centre_and_bevel
from services.process.domain.element_work import ElementWork
from services.process.domain.generating import face_order, generate
from services.process.domain.inspection import inspect_element
from services.process.domain.operation_lines import Line, line
from services.process.domain.surfacing import grind_and_polish
from services.process.domain.tolerance_knees import knee_of
from shared_schemas.rates import Rates


def element_lines(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """Every operation of an element, in order. The second face is blocked on the first, which is then finished."""
    yield from cut_blank(work, rates)
    first, second = face_order(work)
    for face in (first, second):
        yield generate(work, face, rates, worked_first=face is first)
        yield from grind_and_polish(work, face, rates)
    yield from centre_and_bevel(work, rates)
    yield line("clean", rates, knee=knee_of("clean", (*work.front.demands(), *work.back.demands()), rates))
    yield inspect_element(work, rates)
    for face in (first, second):
        if face.coating is not None:
            yield coat(work, face, face.coating, rates)
