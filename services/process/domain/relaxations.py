"""Every tolerance one class looser, and what becomes of the operations then."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.element_route import element_operations
from services.process.domain.element_work import ElementWork
from services.process.domain.knees import Demand, next_looser
from services.process.domain.rate_rows import tolerance_row
from shared_schemas.operations import Face, LooserOperation, Operation, Relaxation
from shared_schemas.rates import Rates

CHANGING = ("batch_size", "batch_min", "piece_min", "yield_share")
"""Figures of an operation that a tolerance changes. Its method may change too; the saving of that is in the minutes."""


def relaxations_of(work: ElementWork, operations: Sequence[Operation], rates: Rates) -> Iterator[Relaxation]:
    """What each tolerance of an element would change if it were one class looser; nothing for those that change nothing."""
    asked: list[tuple[Demand, Face | None]] = [(demand, None) for demand in work.demands()]
    asked += [(demand, face.face) for face in work.faces for demand in face.demands()]
    for demand, face in asked:
        row = tolerance_row(rates, demand.attribute)
        looser = next_looser(row, demand.figure)
        if looser is None:
            continue
        changed = tuple(_changes(operations, list(element_operations(work.with_figure(demand.attribute, face, looser), rates))))
        if changed:
            yield Relaxation(
                where=demand.where,
                part=work.name,
                tolerance=demand.attribute,
                from_figure=demand.figure,
                to_figure=looser,
                unit=row.unit,
                operations=changed,
            )


def _changes(before: Sequence[Operation], after: Sequence[Operation]) -> Iterator[LooserOperation]:
    for position, (old, new) in enumerate(zip(before, after, strict=True)):
        if (old.batch_size, old.batch_min, old.yield_share) != (new.batch_size, new.batch_min, new.yield_share):
            yield LooserOperation(
                position=position, batch_size=new.batch_size, batch_min=new.batch_min, yield_share=new.yield_share
            )
