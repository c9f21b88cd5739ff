"""What is looked at and measured, on every piece or on a sample, in minutes."""

from __future__ import annotations

import math
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.fineness import Between, by_fineness, spared_share
from services.process.domain.route.knees import NO_DEMANDS, Demand, knee_of
from services.process.domain.route.lines import Line, Minutes, Work, counted_min, line, lot_of, minutes_in_all
from services.process.domain.route.rate_rows import tolerance_row
from services.process.domain.route.sampling import sample_steps
from services.process.domain.tools.owned import plate_owned
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OPERATIONS
from shared_schemas.operations import Face, Sampled
from shared_schemas.rates import InForce, InspectionRow, RateMissing, Rates

HOLDS = {
    "imperfections": "imperfection_grade", "form": "irregularity", "centring": "centring", "centre_thickness": "centre_thickness",
    "diameter": "diameter",
}  # fmt: skip
"""Which tolerance each thing that may be sampled is held against."""


@dataclass(frozen=True)
class Look:
    """A row, how often it is done on one piece, and which share of it only on a sample of the lot.

    `between` says where a figure lies between two rows, `fringes` the irregularity that a test plate is used for.
    """

    row: InspectionRow
    count: int = 1
    sampled: float = 0.0
    fringes: float | None = None
    between: Between | None = None

    @property
    def each_min(self) -> float:
        """Minutes of it once."""
        minutes = self.row.minutes if self.between is None else self.between.minutes
        return minutes if self.fringes is None else with_plate_min(minutes=minutes, figure_fringes=self.fringes)

    @property
    def minutes(self) -> float:
        """Minutes on one piece."""
        return counted_min(minutes=self.each_min, count=self.count)

    def figure(self) -> Figure:
        """The minutes as a figure."""
        name = self.row.looks_at
        once = self._once(name if self.count == 1 else "minutes")
        if self.count == 1:
            return once
        count = given("count", self.count, source=COUNTED)
        return figure_of(counted_min, name=name, unit="min", minutes=once, count=count)

    def _once(self, name: str) -> Figure:
        ref = Rates.ref("inspection", self.row)
        of_row = column(name, self.row.minutes, "min", ref) if self.between is None else self.between.written(name)
        if self.fringes is None:
            return of_row
        fringes = given("figure_fringes", self.fringes, "fringe", source="the check report: irregularity of the face")
        return figure_of(with_plate_min, name=name, unit="min", minutes=of_row, figure_fringes=fringes)

    def why_sampled(self) -> Figure:
        """Why a sample of the lot is enough, and by which plan."""
        reason = "the tolerance is near the commercial class or wider: a sample of the lot is looked at, single sampling, normal inspection"
        plan = [
            given("AQL", self.row.aql_percent or 0.0, "%"),
            given("level", self.row.level),
            given("share of the look", self.sampled),
        ]
        return decided(
            f"{self.row.looks_at}, sampled", f"AQL {self.row.aql_percent:g} %, level {self.row.level}", reason, alternatives=plan,
            rate_row=Rates.ref("inspection", self.row), source=OPERATIONS["inspect"].sampled_by,
        )  # fmt: skip


@law
def with_plate_min(*, minutes: float, figure_fringes: float) -> float:
    """Minutes [min] of testing a face with a plate: longer below half a fringe, where fringes are no longer told by eye.

    Equation: minutes * max(0.5 / figure_fringes, 1) ** 2
    Source: common practice
    """
    return minutes * max(0.5 / figure_fringes, 1.0) ** 2


COUNTED = "the drawing: faces that are looked at alike"


@dataclass(frozen=True)
class Rows:
    """The inspection rows of the rates by what they look at."""

    by_kind: Mapping[str, Sequence[InspectionRow]]

    def of(self, looks_at: str) -> Sequence[InspectionRow]:
        """The rows that look at something; raises `RateMissing` where there is none."""
        if looks_at not in self.by_kind:
            raise RateMissing("inspection", looks_at.replace("_", " "), tuple(self.by_kind))
        return self.by_kind[looks_at]

    def usual(self, *kinds: str) -> Iterator[InspectionRow]:
        """The rows of some kinds that are counted by the piece; a shop may have none of them."""
        return (row for kind in kinds for row in self.by_kind.get(kind, ()) if row.per != "lot")

    def per_lot(self, *, without: Container[str] = ()) -> list[InspectionRow]:
        """The rows that are counted by the lot, without some kinds."""
        return [row for kind, rows in self.by_kind.items() if kind not in without for row in rows if row.per == "lot"]

    def cosmetic(self, grade_mm: float) -> Look:
        """How a face of that imperfection grade is looked at: between the finest row that still covers it and the next finer one.

        Raises: RateMissing where no row covers it.
        """
        rows = self.by_kind.get("imperfections", ())
        found = by_fineness(grade_mm, [(row, row.grade_up_to_mm) for row in rows if row.grade_up_to_mm is not None])
        if found is None:
            raise RateMissing("inspection", f"imperfections of grade {grade_mm:g}", tuple(row.name for row in rows))
        return Look(found[0], between=found[1])

    def tests(self, means: str) -> Sequence[InspectionRow]:
        """The rows that test the form of a sphere by some means."""
        return [row for row in self.by_kind.get("form", ()) if row.means == means and not row.aspheric]

    def form(self, *, irregularity_fringes: float, aspheric: bool, means: str = "") -> Look | None:
        """How the form of a face is measured, in the same way; none where the shop lists no measuring of form.

        Args:
            means: by which it is tested, if that is chosen; then the coarsest row where none is needed so fine.

        Raises: RateMissing where rows for form do not reach so far.
        """
        if means:
            limits = [(row, row.fringes_up_to or math.inf) for row in self.tests(means)]
            row, between = by_fineness(irregularity_fringes, limits) or (max(limits, key=lambda one: one[1])[0], None)
            return Look(row, between=between, fringes=irregularity_fringes if means == "plate" else None)
        rows = self.by_kind.get("form", ())
        own = [row for row in rows if row.aspheric] if aspheric else []
        limits = [(row, row.fringes_up_to or math.inf) for row in own or [row for row in rows if not row.aspheric]]
        found = by_fineness(irregularity_fringes, limits)
        if found is None:
            if rows:
                raise RateMissing("inspection", f"form of {irregularity_fringes:g} fringe", tuple(row.name for row in rows))
            return None
        return Look(found[0], between=found[1])


def rows_of(rates: Rates) -> Rows:
    """The inspection rows by what they look at."""
    return _rows_in_force(InForce(rates))


@lru_cache(maxsize=16)
def _rows_in_force(in_force: InForce) -> Rows:
    found: dict[str, list[InspectionRow]] = {}
    for row in in_force.rates.inspection:
        found.setdefault(row.looks_at, []).append(row)
    return Rows(found)


LOOKED_AT_APART = ("coating", "coated", "chips", "joined", "first_article")
"""What has a line of its own: witness and coated faces after the run, chips after generating, faces before they are joined, the first
lens where that is asked for."""


TESTED_BY = ("plate", "interferometer")


def testing_means(work: ElementWork, rates: Rates) -> tuple[str, ...]:
    """By what the spheres of an element may be tested; none where there is no choice: a plate is owned for each, or rows are missing."""
    rows = rows_of(rates)
    chosen = any(_is_chosen(face, rates) for face in work.faces)
    return TESTED_BY if chosen and all(rows.tests(means) for means in TESTED_BY) else ()


def _is_chosen(face: FaceWork, rates: Rates) -> bool:
    """Whether a face is a sphere for which no test plate is owned."""
    return face.radius_mm is not None and not face.aspheric and not plate_owned(face.radius_mm, rates)


def inspect_element(work: ElementWork, rates: Rates, means: str = "") -> Line:
    """Inspection of an element before it is coated: every piece, but for what the rates have sampled where a tolerance is commercial.

    Args:
        means: by which the form of spheres is tested, where that is chosen.

    Notes: small precision lots are inspected whole (common practice).
    """
    rows = rows_of(rates)
    stated = {
        "texture": any(face.textured for face in work.faces),
        "laser_damage": any(face.laser_damage for face in work.faces),
    }
    looks = [
        look for face in work.faces for look in _on_face(face, rows, rates, means if means and _is_chosen(face, rates) else "")
    ]
    looks += [
        Look(row, sampled=_is_sampled(row, work.demands, rates)) for row in rows.usual("centring", "centre_thickness", "diameter")
    ]
    per_lot = rows.per_lot(without=[*LOOKED_AT_APART, *(kind for kind, is_stated in stated.items() if not is_stated)])
    return inspect_line(_together(looks), per_lot, work.all_demands, rates)


def inspect_group(elements: Sequence[ElementWork], rates: Rates) -> Line:
    """Inspection of a cemented group: its two outer faces, the cemented ones seen through them, and its centring.

    Notes: where the drawing allows the assembly a grade, each cemented face is looked at for it.
    """
    rows = rows_of(rates)
    faces = [face for work in elements for face in work.faces]
    looks = [rows.cosmetic(face.grade_mm) for face in (faces[0], faces[-1])]
    assembly_grade_mm = elements[0].assembly_grade_mm
    if assembly_grade_mm is not None:
        looks.append(replace(rows.cosmetic(assembly_grade_mm), count=len(elements) - 1))
    looks += [Look(row) for row in rows.usual("centring")]
    return inspect_line(_together(looks), [row for row in rates.inspection if row.looks_at == "record"], NO_DEMANDS, rates)


def first_article(elements: int, rates: Rates) -> Line:
    """The first lens measured whole, element by element, and its record; raises `RateMissing` where no row says how long."""
    rows = rows_of(rates).of("first_article")
    counted = [(row, 1 if row.per == "lot" else elements) for row in rows]

    def why() -> Figure:
        return figure_of(
            minutes_in_all, name="for the lot", unit="min", parts_min=[Look(row, count).figure() for row, count in counted]
        )

    minutes = minutes_in_all(parts_min=[Look(row, count).minutes for row, count in counted])
    return line("inspect", rates, Work(for_lot=Minutes(minutes, why)), method="first article")


def _on_face(face: FaceWork, rows: Rows, rates: Rates, means: str) -> Iterator[Look]:
    """Imperfections and form by their grade and fringes; texture and laser light where the drawing states them."""
    wanted = [rows.cosmetic(face.grade_mm)]
    form = rows.form(irregularity_fringes=face.irregularity_fringes, aspheric=face.aspheric, means=means)
    if form is not None:
        wanted.append(form)
    if face.textured:
        wanted += (Look(row) for row in rows.of("texture"))
    if face.laser_damage:
        wanted += (Look(row) for row in rows.of("laser_damage"))
    return (replace(look, sampled=_is_sampled(look.row, face.demands, rates)) for look in wanted if look.row.per != "lot")


def _is_sampled(row: InspectionRow, demands: tuple[Demand, ...], rates: Rates) -> float:
    """Which share of a look a sample is enough for: the row has a limit for it, and the tolerance is near the commercial class or wider."""
    attribute = HOLDS.get(row.looks_at)
    if row.aql_percent is None or attribute is None:
        return 0.0
    figure = next(demand.figure for demand in demands if demand.attribute == attribute)
    classes = tolerance_row(rates, attribute)
    if figure >= classes.commercial or classes.commercial == classes.precision:
        return float(figure >= classes.commercial)
    return spared_share(figure=figure, commercial=classes.commercial, precision=classes.precision)


def _together(looks: Sequence[Look]) -> list[Look]:
    """Looks of one row on several faces as one, rows in the order in which they first come; once where the piece is counted."""
    found: dict[tuple[str, float, float], Look] = {}
    for look in looks:
        key = look.row.name, look.sampled, look.each_min
        before = found.get(key)
        if before is None:
            found[key] = look
        elif look.row.per == "face":
            found[key] = replace(before, count=before.count + look.count)
    return list(found.values())


def inspect_line(
    looks: Sequence[Look], per_lot: Sequence[InspectionRow], demands: tuple[Demand, ...], rates: Rates, *, method: str = "",
    face: Face | None = None,
) -> Line:  # fmt: skip
    per_piece = minutes_in_all(parts_min=[look.minutes for look in looks])

    def why() -> Figure:
        return figure_of(minutes_in_all, name="each_min", unit="min", parts_min=[look.figure() for look in looks])

    knee = knee_of("inspect", demands, rates)
    work = Work(
        of_piece=Minutes(per_piece, why),
        for_lot=lot_of([(row.name, row.minutes, Rates.ref("inspection", row)) for row in per_lot]),
        remarks=lambda: tuple(look.why_sampled() for look in looks if look.sampled),
    )
    inspect = line("inspect", rates, work, knee=knee, method=method, face=face)
    whole = inspect.batch_min + inspect.piece_min
    if not any(look.sampled for look in looks) or inspect.batch_size > 1:
        return replace(inspect, work=replace(work, remarks=None))
    return replace(inspect, sampled=tuple(_sampled(look, knee.time_factor / whole) for look in looks if look.sampled))


def _sampled(look: Look, share_of_minute: float) -> Sampled:
    assert look.row.aql_percent is not None
    steps = sample_steps(aql_percent=look.row.aql_percent, level=look.row.level)
    return Sampled(looks_at=look.row.name, share=look.sampled * look.minutes * share_of_minute, steps=steps)
