"""Every tolerance one class looser, and what becomes of the operations then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from services.process.domain.element_work import ElementWork
from services.process.domain.operation_lines import Line
from services.process.domain.rate_rows import tolerance_row
from services.process.domain.routing import ElementLines
from services.process.domain.tolerance_knees import Demand, next_looser
from shared_schemas.operations import Face, LooserOperation, Relaxation
from shared_schemas.rates import Rates


def relaxations_of(work: ElementWork, lines: ElementLines, rates: Rates) -> Iterator[Relaxation]:
    """What each tolerance of an element would change if it were one class looser; nothing for those that change nothing.

    Args:
        lines: the element's operations as asked for.

    Notes: the same functions work out again, with the looser figure, what the tolerance reaches.
    """
    asked: list[tuple[Demand, Face | None]] = [(demand, None) for demand in work.demands]
    asked += [(demand, face.face) for face in work.faces for demand in face.demands]
    for demand, face in asked:
        row = tolerance_row(rates, demand.attribute)
        looser = next_looser(row, demand.figure)
        if looser is None:
            continue
        tried = lines.tried_with(work.with_figure(demand.attribute, face, looser), face, rates)
        changed = tuple(_changes(lines, tried))
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


def _changes(before: Iterable[Line], after: Iterable[Line]) -> Iterator[LooserOperation]:
    for position, (old, new) in enumerate(zip(before, after, strict=True)):
        if new is not old and old.figures != new.figures:
            yield LooserOperation(
                position=position,
                batch_size=new.batch_size,
                batch_min=new.batch_min,
                piece_min=new.piece_min,
                yield_share=new.yield_share,
            )
