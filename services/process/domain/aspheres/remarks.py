"""What the planner says of aspheric faces."""

from __future__ import annotations

from collections.abc import Iterator

from services.process.domain.aspheres.limits import nearest, rows_for
from services.process.domain.element_work import ElementWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.rates import Rates


def unmakeable_aspheres(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A stop for every face that only an asphere will do for, and that no way of the rates is good for."""
    for face in work.faces:
        if face.asphere is None or not face.made_aspheric or rows_for(work, face, face.asphere, rates):
            continue
        row, limit = nearest(work, face, face.asphere, rates)
        yield finding(
            "asphere-beyond-ways",
            face.where,
            f"The aspheric {face.face} of {work.name} has a {limit.what} of {limit.figure:.4g} {limit.unit}; the way that comes "
            f"nearest, {row.name}, takes {limit.limit:g} {limit.unit} or {'more' if limit.at_least else 'less'}.",
            figure=limit.figure,
            limit=limit.limit,
            unit=limit.unit,
            row=row.name,
            remedy=limit.words,
        )
