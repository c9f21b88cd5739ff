"""Which ways of making an aspheric face are good for it, and where none is, which comes nearest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.process.domain.aspheres.minutes import AsphereWork
from services.process.domain.aspheres.shape import Asphere, allowed_um
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.work_centres import can_take
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import AsphereRow, RateMissing, Rates


@dataclass(frozen=True)
class Limit:
    """One thing that a way limits: what it is, in which unit, the figure of the face and the limit; how far beyond, 1 at the limit."""

    what: str
    unit: str
    figure: float
    limit: float
    at_least: bool = False

    @property
    def overreach(self) -> float:
        """The figure over the limit, or the limit over the figure where it is a least one."""
        if not self.at_least:
            return self.figure / self.limit
        return self.limit / self.figure if self.figure else float("inf")

    @property
    def words(self) -> str:
        """What would do."""
        return f"a {self.what} of {self.limit:g} {self.unit} or {'more' if self.at_least else 'less'}"


def limits_of(work: ElementWork, face: FaceWork, asphere: Asphere, row: AsphereRow) -> Iterator[Limit]:
    """Every limit of a way with the figure of a face."""
    shape = asphere.from_reference
    yield Limit("diameter", "mm", work.diameter_mm, row.smallest_diameter_mm, at_least=True)
    yield Limit("diameter", "mm", work.diameter_mm, row.largest_diameter_mm)
    if face.radius_mm is not None and not face.convex:
        yield Limit("concave radius", "mm", face.radius_mm, row.smallest_concave_radius_mm, at_least=True)
    yield Limit("sagitta", "mm", face.sag_mm, row.deepest_sag_mm)
    yield Limit("included angle", "deg", 2 * shape.steepest_deg, row.widest_angle_deg)
    yield Limit("departure", "um", shape.departure_um, row.largest_departure_um)
    if row.steepest_slope_mrad is not None:
        yield Limit("slope of the departure", "mrad", shape.slope_mrad, row.steepest_slope_mrad)
    yield Limit("form tolerance", "um", allowed_um(face.irregularity_fringes), row.finest_form_um, at_least=True)


def beyond(work: ElementWork, face: FaceWork, asphere: Asphere, row: AsphereRow) -> tuple[Limit, ...]:
    """The limits of a way that a face is beyond."""
    return tuple(one for one in limits_of(work, face, asphere, row) if one.overreach > 1 + 1e-9)


def rows_for(work: ElementWork, face: FaceWork, asphere: Asphere, rates: Rates) -> tuple[AsphereRow, ...]:
    """The ways that are good for a face; raises `RateMissing` where the rates have none at all."""
    return tuple(row for row in _rows(rates) if not beyond(work, face, asphere, row))


def nearest(work: ElementWork, face: FaceWork, asphere: Asphere, rates: Rates) -> tuple[AsphereRow, Limit]:
    """The way that comes nearest to a face that none is good for, and the limit that it is most beyond."""
    worst = {row: max(beyond(work, face, asphere, row), key=lambda one: one.overreach) for row in _rows(rates)}
    row = min(worst, key=lambda one: worst[one].overreach)
    return row, worst[row]


def works_of(work: ElementWork, face: FaceWork, rates: Rates) -> tuple[AsphereWork, ...]:
    """The work on an aspheric face by every way that is good for it and has its machines; none on a face whose shape is unknown."""
    if face.asphere is None:
        return ()
    return tuple(
        AsphereWork(work, face, face.asphere, row, rates)
        for row in rows_for(work, face, face.asphere, rates)
        if all(can_take(rates, operation, method, work.blank.diameter_mm) for operation, method in machines_of(row))
    )


def machines_of(row: AsphereRow) -> tuple[tuple[OperationName, str], ...]:
    """The operations of a way with their methods, each of which needs a work centre."""
    return ("generate", "form"), ("polish", "asphere"), ("inspect", row.name), ("centre", "asphere")


def _rows(rates: Rates) -> tuple[AsphereRow, ...]:
    if not rates.aspheres:
        raise RateMissing("aspheres", "an aspheric face")
    return rates.aspheres
