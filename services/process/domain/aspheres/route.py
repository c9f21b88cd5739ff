"""The operations of an aspheric face: every way of making it by itself, and as a sphere where it hardly departs from one."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from services.optics.law import decided, figure_of
from services.process.domain.aspheres.limits import works_of
from services.process.domain.aspheres.minutes import AsphereWork, passing_figure, polished_as_a_sphere, repeated_min
from services.process.domain.aspheres.shape import Asphere
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.knees import NO_DEMANDS, Demand, knee_of, slowed_min
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line
from services.process.domain.route.rate_rows import polishing_for
from services.shop.minutes import per_minute
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName, operations_that
from shared_schemas.operations import Face, Way
from shared_schemas.rates import Rates

Lines = tuple[Line, ...]

SURFACED = frozenset(operations_that(lambda kind: kind.on_block))
"""What is done to a sphere instead of form grinding and correcting."""

ROUGHED_AS = "single"
"""The way of a sphere whose roughing an asphere has, where the ways rough differently."""


def asphere_lines(work: ElementWork, face: FaceWork, rates: Rates, spherical: Lines, kept: Container[Way] = ()) -> Lines:
    """The operations of a face that is made as an asphere, in every way there is to it; it is roughed and washed as its sphere.

    Args:
        spherical: the operations of the face taken as a sphere.
        kept: ways that are not left out.
    """
    shaped = [number for number, one in enumerate(spherical) if one.operation in SURFACED]
    before, after = spherical[: shaped[0]], spherical[shaped[-1] + 1 :]
    own = own_ways(work, face, rates, kept)
    return (*_around(before, face), *(step for one in own for step in one.steps), *_around(after, face))


def _around(lines: Iterable[Line], face: FaceWork) -> Iterator[Line]:
    """What is done before and after a face is ground and polished: where the ways of a sphere differ in it, as one of them does it."""
    for one in lines:
        options = {way.option for way in one.ways if way.choice == face.face}
        if not options or ROUGHED_AS in options:
            yield replace(one, ways=tuple(way for way in one.ways if way.choice != face.face))


def polished_as_its_sphere(work: ElementWork, face: FaceWork, rates: Rates, spherical: Lines) -> Lines:
    """The operations of a sphere, by which a face is made that departs from it: each with its way, and polished until it passes."""
    options = sphere_options(face.face, spherical)
    found: list[Line] = []
    for step in spherical:
        made = step
        if step.operation == "polish" and face.asphere is not None:
            made = _polished_again(work, face, face.asphere, step, rates)
        if step.operation in SURFACED and all(way.choice != face.face for way in step.ways):
            found += [replace(made, ways=(*made.ways, Way(choice=face.face, option=option))) for option in options]
        else:
            found.append(made)
    return tuple(found)


def sphere_options(face: Face, spherical: Iterable[Line]) -> tuple[str, ...]:
    """The ways in which a face is worked as a sphere; where the route has only one, its method of polishing."""
    lines = tuple(spherical)
    named = dict.fromkeys(way.option for one in lines for way in one.ways if way.choice == face)
    return tuple(named) or tuple(dict.fromkeys(one.method for one in lines if one.operation == "polish"))


def _polished_again(work: ElementWork, face: FaceWork, asphere: Asphere, polish: Line, rates: Rates) -> Line:
    """The polishing of a sphere, repeated on the share of the pieces that do not pass as an asphere."""
    row = polishing_for(rates, work.glass, polish.method if polish.method in ("block", "single") else "single")
    share = polished_as_a_sphere(face, asphere, row)

    def again(minutes: Minutes) -> Minutes:
        before = minutes.why
        if before is None or not minutes.minutes:
            return minutes

        def why() -> Figure:
            once = before()
            return figure_of(repeated_min, name=f"{once.name}, again", minutes=once, pass_share=passing_figure(face, asphere, row))

        return Minutes(repeated_min(minutes=minutes.minutes, pass_share=share), why)

    repeated = replace(polish.work, of_batch=again(polish.work.of_batch), of_piece=again(polish.work.of_piece))
    more_of_batch, more_of_piece = (
        slowed_min(minutes=after.minutes - before.minutes, time_factor=polish.knee.time_factor)
        for before, after in ((polish.work.of_batch, repeated.of_batch), (polish.work.of_piece, repeated.of_piece))
    )
    if polish.batch_size == 1:
        return replace(polish, work=repeated, batch_min=polish.batch_min + more_of_batch + more_of_piece)
    return replace(polish, work=repeated, batch_min=polish.batch_min + more_of_batch, piece_min=polish.piece_min + more_of_piece)


@dataclass(frozen=True)
class OwnWay:
    """One way of making an aspheric face by itself, with its steps."""

    made: AsphereWork
    steps: Lines

    @property
    def name(self) -> str:
        """The name of the way."""
        return self.made.row.name

    @property
    def way(self) -> tuple[Way, ...]:
        """What its steps carry."""
        return (Way(choice=self.made.face.face, option=self.name),)

    @property
    def costs(self) -> tuple[float, float]:
        """What it costs for each piece, and to set up [base currency]."""
        each = sum(
            (one.batch_min + one.piece_min) * per_minute(one.centre).attended(one.attended_share) + float(one.consumables)
            for one in self.steps
        )
        return each, sum(one.setup_min * per_minute(one.centre).attended(1.0) for one in self.steps)

    def is_no_dearer(self, other: OwnWay) -> bool:
        """Whether nothing of it costs more than of another way, neither the piece nor the set-up nor its tools."""
        return set(self.made.row.needs) <= set(other.made.row.needs) and all(
            a <= b for a, b in zip(self.costs, other.costs, strict=True)
        )


def own_ways(work: ElementWork, face: FaceWork, rates: Rates, kept: Container[Way] = ()) -> tuple[OwnWay, ...]:
    """The ways of making an aspheric face that are good for it, without those that are dearer at every quantity and not to be kept."""
    cheaper: list[OwnWay] = []
    ways = [OwnWay(made, tuple(_steps(made))) for made in works_of(work, face, rates)]
    for way in ways:
        if not any(one.is_no_dearer(way) for one in cheaper):
            cheaper = [one for one in cheaper if not way.is_no_dearer(one)] + [way]
    return tuple(way for way in ways if any(way is one for one in cheaper) or way.way[0] in kept)


def _steps(made: AsphereWork) -> Iterator[Line]:
    """Form grinding, polishing with its corrections, and the measuring between them; one piece at a time."""
    work, face, row, rates = made.work, made.face, made.row, made.rates
    demands = tuple(one for one in work.demands_on(face) if one.attribute != "irregularity")
    way = (Way(choice=face.face, option=row.name),)
    spent = (Spent(row.consumables_per_piece, Rates.ref("aspheres", row)),)

    def step(operation: OperationName, method: str, does: Work, answers_to: tuple[Demand, ...]) -> Line:
        made_by = line(
            operation, rates, does, face=face.face, method=method, diameter_mm=work.blank.diameter_mm,
            knee=knee_of(operation, answers_to, rates), extra=work.extra_work.at(operation),
        )  # fmt: skip
        return replace(made_by, ways=way)

    yield step("generate", "form", Work(of_piece=made.grinding), demands)
    polish = step("polish", "asphere", Work(of_piece=made.polishing, spent=spent, remarks=lambda: (_chosen(made),)), demands)
    again_min = made.correcting_once_min + made.measuring_once_min
    yield replace(polish, rework_share=row.rework_share, rework_yield=row.rework_yield, rework_min=again_min)
    yield step("inspect", row.name, Work(of_piece=made.measuring), NO_DEMANDS)


def _chosen(made: AsphereWork) -> Figure:
    """Why the face is measured so."""
    reason = "an aspheric face is neither blocked nor tested with a plate: ground along its form and corrected piece by piece"
    return decided("measured by", made.row.name, reason, rate_row=Rates.ref("aspheres", made.row), source="common practice")


def each_kind(work: ElementWork) -> Iterator[ElementWork]:
    """An element as it is with each face that may be polished as a sphere made so, and made as an asphere: first as spheres."""
    near = [face for face in work.faces if face.is_near_a_sphere]
    for kinds in product((False, True), repeat=len(near)):
        taken = work
        for face, by_itself in zip(near, kinds, strict=True):
            assert face.asphere is not None
            taken = taken.with_face(replace(face, aspheric=by_itself, asphere=replace(face.asphere, by_itself=by_itself)))
        yield taken


def for_each_way(near: Sequence[Face], shaped: Lines, lines: Lines) -> Lines:
    """Operations of one kind of an element, each for every way of the faces that it does not say itself.

    Args:
        near: the faces that may be made as spheres or as aspheres.
        shaped: the operations that shape its faces, with their ways.
    """
    options = {face: tuple(dict.fromkeys(way for one in shaped for way in one.ways if way.choice == face)) for face in near}
    found: list[Line] = []
    for one in lines:
        open_faces = [face for face in near if all(way.choice != face for way in one.ways)]
        found += [replace(one, ways=(*one.ways, *picked)) for picked in product(*(options[face] for face in open_faces))]
    return tuple(found)
