"""The route of one element: from stock or pressing to a coated, inspected piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from services.process.domain.aspheres.route import asphere_lines, in_each_way
from services.process.domain.coating.cost import choice_figure
from services.process.domain.coating.run import Coated, coat
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.surfacing import grind_and_polish
from services.process.domain.route.cutting import cut_blank, generate
from services.process.domain.route.edging import centre_and_bevel
from services.process.domain.route.inspection import inspect_element
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, line
from services.process.domain.route.looks import look_at_coated, look_for_chips, measure_witness
from services.process.domain.route.rate_rows import tolerance_row
from services.process.domain.route.washing import wash
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import operations_that
from shared_schemas.operations import Face
from shared_schemas.rates import CoatingRow, Rates

Lines = tuple[Line, ...]

SHAPING = frozenset(operations_that(lambda kind: kind.shapes_face))
"""What shapes a face."""


@dataclass(frozen=True)
class ElementLines:
    """The operations of an element, in sections by what they answer to.

    `cut` comes before any tolerance; `first` and `second` shape one face each, in the order worked; `edged` is centring
    and bevels; `checked` is cleaning and inspection; `finished` is coating, what is looked at after it, and blackening.
    """

    cut: Lines
    first: Lines
    second: Lines
    edged: Lines
    checked: Lines
    finished: Lines

    def __iter__(self) -> Iterator[Line]:
        """Every operation in order."""
        for section in (self.cut, self.first, self.second, self.edged, self.checked, self.finished):
            yield from section

    def tried_with(self, work: ElementWork, attribute: str, face: Face | None, rates: Rates) -> ElementLines:
        """The operations when a tolerance of one face, or of the element itself, is another.

        Args:
            work: the element with that tolerance.
            attribute: which tolerance it is.
            face: whose tolerance it is; None for one of the element itself.

        Notes:
            Only the sections that the tolerance reaches are worked out again: those of its face, or what its row of the rates
            names of shaping; all of them where it turns the order of the faces round.
        """
        first, second = work.in_order
        if self.first[0].face != first.face:
            return element_lines(work, rates)
        shapes = face is not None or not SHAPING.isdisjoint(tolerance_row(rates, attribute).operations)
        one = _shape(work, first, rates, worked_first=True) if shapes and face != second.face else self.first
        other = _shape(work, second, rates, worked_first=False) if shapes and face != first.face else self.second
        edges = face is None or first.aspheric or second.aspheric
        return replace(
            self,
            first=one,
            second=other,
            edged=_edge(work, rates, (*one, *other)) if edges else self.edged,
            checked=_check(work, rates, (*one, *other)),
        )

    def tried_coated(self, work: ElementWork, rates: Rates) -> ElementLines:
        """The operations when a face has another coating, or none; `work` is the element with it."""
        if self.first[0].face != work.in_order[0].face:
            return element_lines(work, rates)
        checked = _check(work, rates, (*self.first, *self.second))
        return replace(self, checked=checked, finished=tuple(_finish(work, work.in_order, rates)))


def element_lines(work: ElementWork, rates: Rates) -> ElementLines:
    """Every operation of an element. The second face is blocked on the first, which is then finished."""
    first, second = work.in_order
    one, other = _shape(work, first, rates, worked_first=True), _shape(work, second, rates, worked_first=False)
    return ElementLines(
        cut=tuple(cut_blank(work, rates)),
        first=one,
        second=other,
        edged=_edge(work, rates, (*one, *other)),
        checked=_check(work, rates, (*one, *other)),
        finished=tuple(_finish(work, (first, second), rates)),
    )


def _shape(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Lines:
    """One face from its curve to its polish; pitch, and the lacquer of a finished face that lay on the block, are washed off."""

    def of_sphere(one: FaceWork) -> Lines:
        return (
            generate(work, one, rates, worked_first=worked_first),
            *look_for_chips(one, rates),
            *grind_and_polish(work, one, rates, worked_first=worked_first),
            wash("between faces" if worked_first else "lacquer off", rates, face=one.face),
        )

    return asphere_lines(work, face, rates, of_sphere=of_sphere) if face.aspheric else of_sphere(face)


def _coated(work: ElementWork, face: FaceWork, row: CoatingRow, rates: Rates) -> Coated:
    def choice() -> Figure:
        return choice_figure(
            row, face.runner_up, asked=str(face.coating_demand), diameter_mm=work.diameter_mm, where=work.where, rates=rates
        )

    return Coated(
        face.face, face.works(row), work.glass, work.diameter_mm, work.where, None if face.coating_demand is None else choice
    )


def _edge(work: ElementWork, rates: Rates, shaped: Lines) -> Lines:
    return in_each_way(work, shaped, rates, lambda taken: tuple(centre_and_bevel(taken, rates)))


def _check(work: ElementWork, rates: Rates, shaped: Lines) -> Lines:
    clean = line("clean", rates, knee=knee_of("clean", work.all_demands, rates), extra=work.extra_work.at("clean"))
    return clean, *in_each_way(work, shaped, rates, lambda taken: (inspect_element(taken, rates),))


def _finish(work: ElementWork, in_order: tuple[FaceWork, FaceWork], rates: Rates) -> Iterator[Line]:
    """Coatings on a clean piece, one run for each face, its witness measured after it, and a look at the coated faces.

    Then the edge is blackened, unless the element is still to be cemented.
    """
    coated = [(face, row) for face in in_order if (row := face.coating_row(rates)) is not None]
    if coated:
        yield wash("before coating", rates)
        for face, row in coated:
            run = coat(row, _coated(work, face, row, rates), rates)
            yield run
            yield from measure_witness(run, rates)
        yield wash("after coating", rates)
        yield from look_at_coated(work, rates)
    if work.blackened:
        yield line("blacken_edge", rates)
