"""The route of one element: from stock or pressing to a coated, inspected piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from services.process.domain.aspheres.route import asphere_lines, each_kind, for_each_way, polished_as_its_sphere
from services.process.domain.coating.cost import choice_figure
from services.process.domain.coating.run import Coated, coat
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.surfacing import options_for, surface
from services.process.domain.route.cutting import cut_blank, generate, out_of
from services.process.domain.route.edging import bevel, centre, centre_and_bevel
from services.process.domain.route.inspection import inspect_element, testing_means
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, line
from services.process.domain.route.looks import look_at_coated, look_for_chips, measure_witness
from services.process.domain.route.own_work import on_blank, on_element, on_face
from services.process.domain.route.rate_rows import tolerance_row
from services.process.domain.route.washing import wash
from services.process.domain.route.ways import for_each, options_of
from services.process.domain.route.work_centres import can_take
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import operations_that
from shared_schemas.operations import Face, Way
from shared_schemas.rates import CoatingRow, Rates

Lines = tuple[Line, ...]
Ways = frozenset[Way]
NO_WAYS: Ways = frozenset()

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

    @property
    def ways(self) -> frozenset[Way]:
        """Every way that some operation is done in."""
        return frozenset(way for one in self for way in one.ways)

    def tried_with(self, work: ElementWork, attribute: str, face: Face | None, rates: Rates) -> ElementLines:
        """The operations when a tolerance of one face, or of the element itself, is another.

        Args:
            work: the element with that tolerance.
            attribute: which tolerance it is.
            face: whose tolerance it is; None for one of the element itself.

        Notes:
            Only the sections that the tolerance reaches are worked out again: those of its face, or what its row of the rates
            names of shaping; all of them where it turns the order of the faces round. Every way that there was stays one.
        """
        first, second = work.in_order
        kept = self.ways
        if self.first[0].face != first.face or any(one.is_near_a_sphere for one in work.faces):
            return element_lines(work, rates, kept)
        shapes = face is not None or not SHAPING.isdisjoint(tolerance_row(rates, attribute).operations)
        one = _shape(work, first, rates, kept, worked_first=True) if shapes and face != second.face else self.first
        other = _shape(work, second, rates, kept, worked_first=False) if shapes and face != first.face else self.second
        return replace(
            self,
            first=one,
            second=other,
            edged=self.edged if face is not None and not rates.operations else _edge(work, rates, (*one, *other)),
            checked=_check(work, rates),
        )

    def tried_coated(self, work: ElementWork, rates: Rates) -> ElementLines:
        """The operations when a face has another coating, or none; `work` is the element with it."""
        if self.first[0].face != work.in_order[0].face or any(one.is_near_a_sphere for one in work.faces):
            return element_lines(work, rates, self.ways)
        return replace(self, checked=_check(work, rates), finished=tuple(_finish(work, work.in_order, rates)))


def element_lines(work: ElementWork, rates: Rates, kept: Ways = NO_WAYS) -> ElementLines:
    """Every operation of an element. The second face is blocked on the first, which is then finished.

    Args:
        kept: ways that are not left out even where they are dearer at every quantity.
    """
    if any(face.is_near_a_sphere for face in work.faces):
        return _of_each_kind(work, rates, kept)
    first, second = work.in_order
    one, other = _shape(work, first, rates, kept, worked_first=True), _shape(work, second, rates, kept, worked_first=False)
    return ElementLines(
        cut=(*for_each("blank", _forms(work), lambda form: cut_blank(out_of(work, form), rates)), *on_blank(rates, work)),
        first=one,
        second=other,
        edged=_edge(work, rates, (*one, *other)),
        checked=_check(work, rates),
        finished=tuple(_finish(work, (first, second), rates)),
    )


def _of_each_kind(work: ElementWork, rates: Rates, kept: Ways) -> ElementLines:
    """Every operation of an element of which faces may be made as spheres or as aspheres: the lines of each kind, with their ways."""
    near = [face.face for face in work.faces if face.is_near_a_sphere]
    sections: dict[str, Lines] = {"first": (), "second": (), "edged": (), "checked": ()}
    kinds = [element_lines(taken, rates, kept) for taken in each_kind(work)]
    for lines in kinds:
        shaped = (*lines.first, *lines.second)
        sections = {name: (*so_far, *for_each_way(near, shaped, getattr(lines, name))) for name, so_far in sections.items()}
    return replace(kinds[0], **sections)


def _shape(work: ElementWork, face: FaceWork, rates: Rates, kept: Ways, *, worked_first: bool) -> Lines:
    """One face from its curve to its polish; pitch, and the lacquer of a finished face that lay on the block, are washed off."""
    sphere = face if face.asphere is None else replace(face, aspheric=False)
    options = options_for(work, sphere, rates, worked_first=worked_first)
    spherical = (
        *_generated(work, sphere, options, rates, worked_first=worked_first),
        *look_for_chips(sphere, rates),
        *for_each(face.face, options, lambda option: surface(work, sphere, option, rates, worked_first=worked_first)),
        wash("between faces" if worked_first else "lacquer off", rates, face=face.face),
    )
    if face.asphere is None:
        shaped: Lines = spherical
    elif face.aspheric:
        shaped = asphere_lines(work, face, rates, spherical, kept)
    else:
        shaped = polished_as_its_sphere(work, face, rates, spherical)
    return (*shaped, *on_face(rates, face, work, "polish"))


def _generated(work: ElementWork, face: FaceWork, options: Sequence[str], rates: Rates, *, worked_first: bool) -> Lines:
    """Generating a face out of each form of blank, on the generator of each way of working the face."""

    def from_form(form: str) -> Lines:
        by_method = {
            method: generate(out_of(work, form), face, rates, worked_first=worked_first, method=method)
            for method in dict.fromkeys(map(_generator, options))
        }
        return for_each(face.face, options, lambda option: (by_method[_generator(option)],))

    return for_each("blank", _forms(work), from_form)


def _forms(work: ElementWork) -> tuple[str, ...]:
    return tuple(blank.form for blank in work.blanks)


def _is_spherical(work: ElementWork) -> bool:
    """Whether an element has an axis, and no face that can only be made as an asphere."""
    return not work.is_window and not any(face.made_aspheric for face in work.faces)


def _generator(option: str) -> str:
    return option if option == "volume" else ""


def _coated(work: ElementWork, face: FaceWork, row: CoatingRow, rates: Rates) -> Coated:
    def choice() -> Figure:
        return choice_figure(
            row, face.runner_up, asked=str(face.coating_demand), diameter_mm=work.diameter_mm, where=work.where, rates=rates
        )

    return Coated(
        face.face, face.works(row), work.glass, work.diameter_mm, work.where, None if face.coating_demand is None else choice
    )


def _edge(work: ElementWork, rates: Rates, shaped: Lines) -> Lines:
    """Centring and bevels; what is worked by volume at the face worked first is centred by machines for volume too.

    The shop's own steps on a polished element come before it, those on a centred one after it.
    """
    before, after = on_element(rates, work, "polish"), on_element(rates, work, "centre", "bevel")
    first = work.in_order[0]
    options = options_of(first.face, shaped)
    if "volume" not in options or not can_take(rates, "centre", "automatic", work.blank.diameter_mm) or not _is_spherical(work):
        return (*before, *centre_and_bevel(work, rates), *after)
    of_option = for_each(first.face, options, lambda option: (centre(work, rates, automatic=option == "volume"),))
    return (*before, *of_option, *bevel(work, rates), *after)


def _check(work: ElementWork, rates: Rates) -> Lines:
    clean = line("clean", rates, knee=knee_of("clean", work.all_demands, rates), extra=work.extra_work.at("clean"))
    inspected = for_each("testing", testing_means(work, rates) or ("",), lambda means: (inspect_element(work, rates, means),))
    return clean, *inspected, *on_element(rates, work, "inspect")


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
            yield from on_face(rates, face, work, "coat")
        yield wash("after coating", rates)
        yield from look_at_coated(work, rates)
    yield from on_element(rates, work, "coat")
    if work.blackened:
        yield line("blacken_edge", rates)
    yield from on_element(rates, work, "blacken_edge")
