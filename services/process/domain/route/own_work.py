"""Steps of the shop's own, which stand in the table of operations: where in a route they come, and what they take."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache

from services.optics.law import column, decided, quoted_once
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.extra_work import NO_EXTRA
from services.process.domain.route.knees import NO_KNEE
from services.process.domain.route.lines import NO_WORK, Line
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.finding_kinds import finding
from shared_schemas.operation_kinds import OPERATIONS, OperationName, operation_words
from shared_schemas.operations import Face, Operation, Route
from shared_schemas.rate_rows_of_own_work import DoneOn
from shared_schemas.rates import InForce, OwnOperationRow, Rates, YieldRow

ORDER = tuple(OPERATIONS)


@dataclass(frozen=True)
class OwnLine(Line):
    """A step of the shop's own: its figures are those of its row, whatever glass and tolerances are."""

    row: OwnOperationRow | None = None

    @property
    def lot_charge(self) -> Decimal:
        """What a lot costs besides."""
        return self.row.lot_charge if self.row else Decimal(0)

    @property
    def wait_days(self) -> float:
        """Days for which what comes to it rests or is away."""
        return self.row.wait_days if self.row else 0.0

    @cached_property
    def _on_card(self) -> Operation:
        row = self.row
        assert row is not None
        return Operation(
            operation="own_work", face=self.face, method=row.name, work_centre=self.centre.name, work_centre_id=self.centre.id, setup_min=row.setup_min, batch_size=1,
            batch_min=row.minutes_each, attended_share=row.attended_share, yield_share=row.yield_share, consumables=row.piece_charge,
            lot_charge=row.lot_charge, wait_days=row.wait_days, ways=self.ways, basis=tuple(quoted_once(one) for one in self._basis()),
        )  # fmt: skip

    def _basis(self) -> list[Figure]:
        row = self.row
        assert row is not None
        ref = Rates.ref("operations", row)
        told = [
            column("setup_min", row.setup_min, "min", ref),
            decided("batch_size", 1, "one at a time"),
            column("batch_min", row.minutes_each, "min", ref),
            column("attended_share", row.attended_share, "", ref),
            column("yield", row.yield_share, "", ref),
        ]
        told += [column("consumables", row.piece_charge, self.currency, ref)] if row.piece_charge else []
        told += [column("lot_charge", row.lot_charge, self.currency, ref)] if row.lot_charge else []
        told += [column("wait_days", row.wait_days, "days", ref)] if row.wait_days else []
        return [*told, decided("step of the shop's own", row.name, _why(row), rate_row=ref)]


def _why(row: OwnOperationRow) -> str:
    reasons = {
        "always": "it is always done",
        "asked": "the quote asks for it",
        "coated": "a face is coated",
        "cemented": "it is cemented",
        "form": f"the form has to be {row.finer_than} fringe or finer",
        "centring": f"the centring has to be {row.finer_than} arcmin or finer",
        "imperfections": f"the imperfections have to be of grade {row.finer_than} or finer",
    }
    return f"{reasons[row.wanted_by]}; it comes after {operation_words(row.after)}"


def rates_asked(rates: Rates, asked: Collection[str]) -> Rates:
    """The rates with those steps of the shop's own that a quote may have: of what is done on asking only what it asks for."""
    if not rates.operations:
        return rates
    return _rates_asked(InForce(rates), frozenset(asked))


@lru_cache(maxsize=16)
def _rates_asked(in_force: InForce, asked: frozenset[str]) -> Rates:
    rates = in_force.rates
    kept = tuple(
        row.model_copy(update={"wanted_by": "asked", "finer_than": None}) if row.name in asked else row
        for row in rates.operations
        if row.wanted_by != "asked" or row.name in asked
    )
    return rates if kept == rates.operations else rates.model_copy(update={"operations": kept})


def _lines(
    rates: Rates, on: DoneOn, after: Collection[OperationName], wanted: Callable[[OwnOperationRow], bool], face: Face | None = None
) -> Iterator[Line]:
    """The steps on something after some operations, in the order of these and then as their `sequence` says."""
    rows = (row for row in rates.operations if row.on == on and row.after in after and wanted(row))
    for row in sorted(rows, key=lambda row: (ORDER.index(row.after), row.sequence, row.name)):
        yield _line(row, face, rates)


def _line(row: OwnOperationRow, face: Face | None, rates: Rates) -> Line:
    survival = YieldRow.model_construct(
        name=row.name, source=row.source, as_of=row.as_of, operation="own_work", method=row.name, yield_share=row.yield_share
    )
    return OwnLine(
        operation="own_work", face=face, method=row.name, centre=rates.place_of(row), survival=survival, work=NO_WORK, knee=NO_KNEE,
        extra=NO_EXTRA, currency=rates.base_currency, setup_min=row.setup_min, batch_size=1, batch_min=row.minutes_each, piece_min=0.0,
        attended_share=row.attended_share, yield_share=row.yield_share, batch_loss=0.0, consumables=row.piece_charge, shared_run=None,
        row=row,
    )  # fmt: skip


def on_blank(rates: Rates, work: ElementWork) -> tuple[Line, ...]:
    """Steps on the blank, once it is cut or pressed."""
    return tuple(_lines(rates, "blank", ("saw", "core", "press_blank"), lambda row: _of_element(row, work)))


def on_face(rates: Rates, face: FaceWork, work: ElementWork, after: OperationName) -> tuple[Line, ...]:
    """Steps on a face that was polished or coated."""

    def wanted(row: OwnOperationRow) -> bool:
        if row.wanted_by in ("cemented", "centring"):
            return _of_element(row, work)
        return _of_faces(row, (face,))

    return tuple(_lines(rates, "face", (after,), wanted, face.face))


def on_element(rates: Rates, work: ElementWork, *after: OperationName) -> tuple[Line, ...]:
    """Steps on an element."""
    return tuple(_lines(rates, "element", after, lambda row: _of_element(row, work)))


def on_doublet(rates: Rates, elements: Sequence[ElementWork], after: OperationName) -> tuple[Line, ...]:
    """Steps on a cemented group: what one of its elements demands, it does."""
    return tuple(
        _lines(
            rates, "doublet", (after,), lambda row: row.wanted_by == "cemented" or any(_of_element(row, one) for one in elements)
        )
    )


def on_assembly(rates: Rates, elements: Sequence[ElementWork], after: OperationName) -> tuple[Line, ...]:
    """Steps on a lens in its mount: what one of its elements demands, it does."""
    return tuple(_lines(rates, "assembly", (after,), lambda row: any(_of_element(row, one) for one in elements)))


def without_a_place(asked: Sequence[str], routes: Sequence[Route]) -> Iterator[Finding]:
    """Steps that a quote asks for and that nothing of the lens takes, as no part of it is of that kind."""
    done = {one.method for route in routes for one in route.operations if one.operation == "own_work"}
    for number, name in enumerate(asked):
        if name not in done:
            yield finding(
                "own-operation-without-a-place", f"/own_operations/{number}",
                f"{name} is asked for, and the lens has nothing that it is done to: it is not in the price.", figure=name,
                row=name, remedy="leave it out, or see in the table operations what it is done on",
            )  # fmt: skip


def _of_element(row: OwnOperationRow, work: ElementWork) -> bool:
    if row.wanted_by == "cemented":
        return work.cemented
    if row.wanted_by == "centring":
        return row.finer_than is not None and work.centring_arcmin <= row.finer_than
    return _of_faces(row, work.faces)


def _of_faces(row: OwnOperationRow, faces: Sequence[FaceWork]) -> bool:
    """Whether a step is always done or asked for, or some face demands it."""
    if row.wanted_by in ("always", "asked"):
        return True
    if row.wanted_by == "coated":
        return any(face.coating is not None for face in faces)
    figures = [face.irregularity_fringes if row.wanted_by == "form" else face.grade_mm for face in faces]
    return row.finer_than is not None and min(figures) <= row.finer_than
