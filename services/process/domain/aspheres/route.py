"""The operations of an aspheric face: every way of making it by itself, and as a sphere where it hardly departs from one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
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


def asphere_lines(work: ElementWork, face: FaceWork, rates: Rates, *, of_sphere: Callable[[FaceWork], Iterable[Line]]) -> Lines:
    """The operations of an aspheric face in every way there is to it; it is roughed as its sphere.

    Args:
        of_sphere: the operations of a face that is taken as a sphere.
    """
    if face.asphere is None:
        return tuple(of_sphere(face))
    spherical = tuple(of_sphere(replace(face, aspheric=False)))
    own = own_ways(work, face, rates)
    shaped = [number for number, one in enumerate(spherical) if one.operation in SURFACED]
    before, on_sphere, after = spherical[: shaped[0]], spherical[shaped[0] : shaped[-1] + 1], spherical[shaped[-1] + 1 :]
    steps = [step for one in own for step in one.steps]
    if face.is_near_a_sphere:
        steps = [*_as_a_sphere(work, face, face.asphere, on_sphere, rates), *steps]
    return (*_around(before, face, own), *steps, *_around(after, face, own))


def _around(lines: Iterable[Line], face: FaceWork, own: Sequence[OwnWay]) -> Iterator[Line]:
    """What is done before and after a face is ground and polished: where the ways of a sphere differ in it, as one of them does it."""
    for one in lines:
        options = {way.option for way in one.ways if way.choice == face.face}
        if not options or face.is_near_a_sphere:
            yield one
        if ROUGHED_AS in options:
            others = tuple(way for way in one.ways if way.choice != face.face)
            yield from (replace(one, ways=(*others, *way.way)) for way in own)


def _as_a_sphere(work: ElementWork, face: FaceWork, asphere: Asphere, spherical: Lines, rates: Rates) -> Iterator[Line]:
    """The operations of the sphere, each with its way; polished again until the face passes."""
    options = sphere_options(face.face, spherical)
    for step in spherical:
        made = _polished_again(work, face, asphere, step, rates) if step.operation == "polish" else step
        if any(way.choice == face.face for way in step.ways):
            yield made
        else:
            yield from (replace(made, ways=(*made.ways, Way(choice=face.face, option=option))) for option in options)


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


def own_ways(work: ElementWork, face: FaceWork, rates: Rates) -> tuple[OwnWay, ...]:
    """The ways of making an aspheric face that are good for it, without those that are dearer at every quantity."""
    ways = [OwnWay(made, tuple(_steps(made))) for made in works_of(work, face, rates)]
    kept: list[OwnWay] = []
    for way in ways:
        if any(one.is_no_dearer(way) for one in kept):
            continue
        kept = [one for one in kept if not way.is_no_dearer(one)] + [way]
    return tuple(kept)


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


def in_each_way(work: ElementWork, shaped: Lines, rates: Rates, make: Callable[[ElementWork], Lines]) -> Lines:
    """Operations of a whole element that differ for aspheres: once, or for each way of each face that may be a sphere or an asphere.

    Args:
        shaped: the operations that shape its faces, with their ways.
        make: the operations of an element of which each aspheric face is made as an asphere.
    """
    near = [face for face in work.faces if face.is_near_a_sphere]
    if not near:
        return make(work)
    own = {row.name for row in rates.aspheres}
    ways = [dict.fromkeys(way for one in shaped for way in one.ways if way.choice == face.face) for face in near]
    made: dict[tuple[bool, ...], Lines] = {}
    found: list[Line] = []
    for picked in product(*ways):
        kinds = tuple(way.option in own for way in picked)
        if kinds not in made:
            made[kinds] = make(_taken_as(work, zip(near, kinds, strict=True)))
        found += [replace(one, ways=(*one.ways, *picked)) for one in made[kinds]]
    return tuple(found)


def _taken_as(work: ElementWork, faces: Iterable[tuple[FaceWork, bool]]) -> ElementWork:
    """An element with faces that are made as aspheres, so that how near a sphere they are matters no more, or as spheres."""
    changes = {face.face: replace(face, aspheric=aspheric, asphere=None) for face, aspheric in faces}
    return replace(work, front=changes.get("front", work.front), back=changes.get("back", work.back))
