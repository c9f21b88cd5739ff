"""Where the shop says no: tolerances beyond what it can hold, and lenses that no seat or machine takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.coating_cycle import seats
from services.process.domain.element_work import ElementWork
from services.process.domain.rate_rows import tolerance_row
from shared_schemas.check import Finding
from shared_schemas.rates import Rates


def beyond_capability(elements: Sequence[ElementWork], rates: Rates) -> Iterator[Finding]:
    """A stop for every demand that this shop cannot meet."""
    for work in elements:
        for demand in (*work.demands(), *work.front.demands(), *work.back.demands()):
            row = tolerance_row(rates, demand.attribute)
            if demand.figure < row.capability:
                yield Finding(
                    code="beyond_capability",
                    severity="stop",
                    where=demand.where,
                    message=f"{work.name} asks for a {demand.attribute.replace('_', ' ')} of {demand.figure:g} {row.unit}; "
                    f"this shop holds {row.capability:g}.",
                    figure=demand.figure,
                    limit=row.capability,
                    unit=row.unit,
                    source=f"rate table tolerance_classes, row {row.name}",
                    repair=f"{row.capability:g} {row.unit} or looser",
                )
        for face in work.faces:
            if face.coating is not None and seats(rates.coating(face.coating), diameter_mm=work.diameter_mm) < 1:
                coating = rates.coating(face.coating)
                yield Finding(
                    code="no_seat",
                    severity="stop",
                    where=f"{face.where}/coating",
                    message=f"{work.name} is too wide for the calottes of {coating.name}.",
                    figure=work.diameter_mm,
                    limit=coating.calotte_diameter_mm - coating.seat_rim_mm,
                    unit="mm",
                    source=f"rate table coatings, row {coating.name}",
                    repair="a smaller element, or no coating",
                )
