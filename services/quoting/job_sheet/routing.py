"""What is done to each part, where, in which batches, for how long, with what losses, and what the minutes rest on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from services.quoting.costs.cost import OperationCost
from services.quoting.job_sheet.gallery import JobBlock, JobSection, Part
from services.quoting.job_sheet.given import Given, found, minutes, number_of
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Points, Table
from services.quoting.sheet.words.english import OPERATIONS
from shared_schemas.estimate import EstimatedOperation
from shared_schemas.figure import Figure, RateRowRef
from shared_schemas.operations import Operation, Route

HEADS = (
    "Operation", "Work centre", ">Batch of", ">Set-up, min", ">Batch, min", ">Piece, min", ">Yield", ">In", ">Out", ">Cost", "Minutes rest on",
)  # fmt: skip
MINUTES = ("batch_min", "piece_min", "setup_min")
WORK_TABLES = ("polishing", "grinding", "coatings")
"""Tables that say the work itself; a row of one is named before any that only adds to it."""
BESIDE = ("work_centres", "tolerance_classes", "glasses")
KINDS = {"element": "element", "cemented_group": "cemented group", "lens": "assembly"}


@dataclass(frozen=True)
class RoutedPart:
    """A part as its route card says it; `lines` are as many as operations are done, and their cells are those of `HEADS`."""

    title: str
    started: str
    lines: tuple[tuple[str, ...], ...]
    polishing: tuple[str, ...]
    total: str


def routing(given: Given, said: Language) -> JobSection:
    """A table for each part."""
    usual = usual_day(given)
    blocks: list[JobBlock] = [
        Paragraph(
            "Set-up is taken once, then minutes for each batch (how many stands in brackets) and for each piece. Cost is of the whole quantity. Figures rest on the rate rows named, "
            f"of {said.day(usual)} where no day stands with them." if usual else "Set-up is taken once, then minutes for each batch and for each piece.",
            small=True,
        )
    ]  # fmt: skip
    for route in given.evaluation.made.routes:
        part = routed(given, route, said, usual)
        blocks += [Part(part.title, part.started), Table(HEADS, part.lines, foot=_foot(part.total))]
        blocks += [Points(part.polishing)] if part.polishing else []
    return JobSection(f"Routing, {said.count(given.planned.quantity)} lenses", tuple(blocks))


def _foot(total: str) -> tuple[str, ...]:
    place = HEADS.index(">Cost")
    return tuple("together" if number == 0 else total if number == place else "" for number in range(len(HEADS)))


def routed(given: Given, route: Route, said: Language, usual: date | None) -> RoutedPart:
    """One part."""
    start, losses = given.evaluation.starts[route.part], given.evaluation.lost_in_the_mean(route.part)
    made_of = ", ".join(f"{one.count} × {one.part}" if one.count > 1 else one.part for one in route.consumes)
    lines = [*given.lines(route.part)]
    spares = given.price_break.spares.get(route.part, 0.0)
    beyond = f"; to be expected beyond the order: {said.figure(spares, form='.1f')}" if spares else ""
    by_hand = f"; set by an estimator, worked out were {said.count(start.planned)}" if start.planned is not None else ""
    return RoutedPart(
        title=f"{given.lot_of(route.part) if route.kind != 'lens' else 'The lens'}: {KINDS[route.kind]}{f', of {made_of}' if made_of else ''}",
        started=f"Started {said.count(start.started)} for {said.count(start.needed)} needed, of which {said.figure(losses, form='.1f')} are lost in the mean"
        f"{beyond}{by_hand}.",
        lines=tuple(_cells(line, cost, said, usual) for line, cost in lines),
        polishing=tuple(_removals(lines, said)),
        total=said.money(sum((line.cost for line, _ in lines), start=lines[0][0].cost * 0)),
    )  # fmt: skip


def _cells(line: EstimatedOperation, cost: OperationCost, said: Language, usual: date | None) -> tuple[str, ...]:
    operation = cost.operation
    lost = f"; whole batch lost {said.share(operation.batch_loss, 2)}" if operation.batch_loss else ""
    batch = (
        said.count(operation.batch_size)
        if cost.batches <= 1
        else f"{said.count(operation.batch_size)} ({said.count(cost.batches)})"
    )
    rests = "left out by an estimator" if operation.left_out else f"{_rests_on(operation, said, usual)}{lost}"
    return (
        name_of(operation), cost.work_centre.name, batch, minutes(said, operation.setup_min), minutes(said, operation.batch_min),
        minutes(said, operation.piece_min), said.share(line.yield_share, 1), said.count(line.pieces_in), said.count(line.pieces_out),
        said.money(line.cost), rests,
    )  # fmt: skip


def name_of(operation: Operation) -> str:
    """An operation with its face and method: `polishing front, single`."""
    name = operation.method if operation.operation == "own_work" else OPERATIONS.get(operation.operation, operation.operation)
    face = f" {operation.face}" if operation.face else ""
    method = f", {operation.method}" if operation.method and operation.operation != "own_work" else ""
    return f"{name}{face}{method}"


def row_behind(operation: Operation) -> RateRowRef | None:
    """The rate row that the minutes of an operation rest on: of the work itself, of what comes to it, or else of the work centre."""
    rows = [row for figure in operation.basis if figure.name in MINUTES for row in _rows(figure)]
    own = [row for row in rows if row.table in WORK_TABLES]
    return next(iter(own or [row for row in rows if row.table not in BESIDE] or rows), None)


def _rows(figure: Figure) -> Iterator[RateRowRef]:
    if figure.rate_row is not None:
        yield figure.rate_row
    for inner in figure.inputs:
        yield from _rows(inner)


def usual_day(given: Given) -> date | None:
    """The day that most rate rows of the routes are of, so that it is said once."""
    days = Counter(
        row.as_of
        for route in given.evaluation.made.routes
        for operation in route.operations
        if (row := row_behind(operation)) is not None
    )
    return days.most_common(1)[0][0] if days else None


def _rests_on(operation: Operation, said: Language, usual: date | None) -> str:
    row = row_behind(operation)
    return "" if row is None else _row(row, said, usual)


def _row(row: RateRowRef, said: Language, usual: date | None) -> str:
    table = row.table.replace("_", " ")
    name = table if row.table == "work_centres" else f"{table}: {row.row}"
    return name if row.as_of == usual else f"{name}, {said.short_day(row.as_of)}"


def _removals(lines: Sequence[tuple[EstimatedOperation, OperationCost]], said: Language) -> Iterator[str]:
    """What polishing comes to: the depth, the rate with its coefficient, pressure and speed, and the row that says them."""
    for _, cost in lines:
        operation = cost.operation
        run = found(operation.basis, "removing_min") if operation.operation == "polish" else None
        rate = found(operation.basis, "rate_um_per_h")
        coefficient = number_of(operation.basis, "preston_coefficient_per_pa")
        pressure, speed = number_of(operation.basis, "pressure_pa"), number_of(operation.basis, "speed_m_per_s")
        depth = number_of(operation.basis, "removal_um")
        if run is None or rate is None or coefficient is None or pressure is None or speed is None or depth is None:
            continue
        row = next((one for figure in operation.basis for one in _rows(figure) if one.table == "polishing"), None)
        from_row = f" (polishing: {row.row}, {said.short_day(row.as_of)})" if row else ""
        factor = number_of(operation.basis, "time_factor")
        slowed = (
            f"; its tolerances take {said.figure(factor, form='.3g')} times as long" if factor is not None and factor != 1 else ""
        )
        yield (
            f"{name_of(operation)}: {said.figure(float(run.value), form='.1f')} min remove {said.figure(depth)} µm at {said.figure(float(rate.value), form='.1f')} µm/h, "
            f"Preston {said.figure(coefficient, form='.3g')} /Pa × {said.figure(pressure / 1000)} kPa × {said.figure(speed)} m/s{from_row}{slowed}"
        )
