"""Where the shop says no: tolerances beyond what it can hold, and lenses that no seat or machine takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.aspheres.remarks import unmakeable_aspheres
from services.process.domain.coating.findings import unmeetable_coatings
from services.process.domain.coating.run import seats
from services.process.domain.element_work import ElementWork
from services.process.domain.faces.fine_grinding import abrasion_of
from services.process.domain.faces.removal import grindability_of
from services.process.domain.route.edging import centring_method
from services.process.domain.route.rate_rows import largest_diameter_mm, polishing_for, tolerance_row
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operation_kinds import operation_words, operations_that
from shared_schemas.rates import RateMissing, Rates

CLAMPED = operations_that(lambda kind: kind.clamped)
"""Operations that clamp each element, and so have a largest diameter."""


def beyond_capability(elements: Sequence[ElementWork], rates: Rates) -> Iterator[Finding]:
    """A stop for every demand that this shop cannot meet."""
    for work in elements:
        yield from _material(work, rates)
        yield from _tolerances(work, rates)
        yield from _machines(work, rates)
        yield from _seats(work, rates)
        yield from unmakeable_aspheres(work, rates)
        yield from unmeetable_coatings(work, rates)


def _material(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A stop for a material that nothing in the rates says how to grind or polish, though they do for others."""
    glass = work.glass
    try:
        grindability_of(glass)
        abrasion_of(glass)
        for method in {row.method for row in rates.polishing}:
            polishing_for(rates, glass, method)
    except RateMissing as fault:
        yield finding(
            "material-without-rate",
            f"{work.where}/glass",
            f"The shop has no rate for {glass.name}: {fault.wanted} is missing from {fault.table}.",
            figure=glass.name,
            limit=fault.wanted,
            row=fault.table,
            remedy=f"fill in {fault.wanted} in {fault.table}, or another material",
        )


def _tolerances(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    for demand in (*work.demands, *work.front.demands, *work.back.demands):
        row = tolerance_row(rates, demand.attribute)
        if demand.figure < row.capability:
            yield finding(
                "beyond-capability",
                demand.where,
                f"{work.name} asks for a {demand.attribute.replace('_', ' ')} of {demand.figure:g} {row.unit}; "
                f"this shop holds {row.capability:g}.",
                figure=demand.figure,
                limit=row.capability,
                unit=row.unit,
                row=row.name,
                remedy=f"{row.capability:g} {row.unit} or looser",
            )


def _machines(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    methods = {"centre": centring_method(work)}
    limits = {operation: largest_diameter_mm(rates, operation, methods.get(operation)) for operation in CLAMPED}
    narrowest = min(CLAMPED, key=lambda operation: limits[operation])
    if work.blank.diameter_mm > limits[narrowest]:
        yield finding(
            "too-large-for-machines",
            f"{work.where}/diameter_mm",
            f"The blank of {work.name} is {work.blank.diameter_mm:g} mm wide; {operation_words(narrowest)} takes "
            f"{limits[narrowest]:g} mm.",
            figure=work.blank.diameter_mm,
            limit=limits[narrowest],
            unit="mm",
            remedy="a smaller element, or a larger machine in work_centres",
        )


def _seats(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    for face in work.faces:
        coating = face.coating_row(rates)
        if coating is None:
            continue
        if seats(coating, diameter_mm=work.diameter_mm) < 1:
            yield finding(
                "no-seat",
                f"{face.where}/coating",
                f"{work.name} is too wide for the calottes of {coating.name}.",
                figure=work.diameter_mm,
                limit=coating.calotte_diameter_mm - coating.seat_rim_mm,
                unit="mm",
                row=coating.name,
                remedy="a smaller element, or no coating",
            )
