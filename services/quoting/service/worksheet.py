"""The worksheet of a ready revision: worked out again from what it was made of, every figure with what was set in its place."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from services.chassis.load_source import pinned_snapshot
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from services.quoting.costs.cost import OperationCost
from services.quoting.costs.money import in_currency
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.overridden.figures import figures_of_worksheet
from services.quoting.pricing.overridden.places import EXTRA, pointer_to
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.second_key import margin_left
from services.quoting.service.approvals import approvals_of
from services.quoting.service.booking import plans_on
from services.quoting.service.documents import findings_of, not_ready
from services.quoting.service.estimates import FAULTS
from services.quoting.store.life import LifeStore
from services.quoting.store.rows import StoredQuote
from services.quoting.worksheet_errors import BASE_MOVED, WorksheetOfBefore
from shared_schemas.operations import Operation, Route, operation_ids
from shared_schemas.overrides import Override, SettableFigure
from shared_schemas.quote import Break, QuoteBody, middle_quantity
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.worksheet import (
    EditableFigure,
    OperationAtQuantity,
    Worksheet,
    WorksheetBlank,
    WorksheetBoughtPart,
    WorksheetOperation,
    WorksheetOverride,
    WorksheetPart,
    WorksheetQuantity,
    WorksheetStart,
    WorksheetTool,
)

TERMS = ("discount_share", "margin_share", "contingency_share", "minimum_order", "valid_days", "tooling", "currency_clause")


def worksheet_etag(row: StoredQuote, approvals: object) -> str:
    """What the worksheet of a revision is recognised by: its digest, the second keys of the quote, and this release."""
    said = "\n".join(str(one) for one in (row.number, row.digest, approvals, VERSION, "worksheet"))
    return hashlib.sha256(said.encode()).hexdigest()


def worksheet_document(row: StoredQuote, resources: Resources) -> Worksheet:
    """The worksheet of a ready revision; raises `QuoteNotReady`, `QuoteArchived`, and `WorksheetOfBefore` for one that comes out otherwise now."""
    if row.body is None:
        raise not_ready(row)
    body = QuoteBody.model_validate_json(row.body)
    request = QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(row.number))
    try:
        plans = plans_on(row, body.quoted_on, load=pinned_snapshot(resources.load, row.load_snapshot), resources=resources)
        evaluations = [evaluate(plans, quantity=one.quantity) for one in body.breaks]
        middle = evaluations[request.quantities.index(middle_quantity(request.quantities))]
        figures = figures_of_worksheet(plans, evaluations, middle)
    except FAULTS as fault:
        raise WorksheetOfBefore(row.quote_number, row.revision) from fault
    if [one.price.total for one in evaluations] != [one.total_price for one in body.breaks]:
        raise WorksheetOfBefore(row.quote_number, row.revision)
    return _Sheet(row, body, request, plans, evaluations, middle, figures).document(resources)


@dataclass(frozen=True)
class _Sheet:
    """What a worksheet is made of."""

    row: StoredQuote
    body: QuoteBody
    request: QuoteRequest
    plans: Plans
    evaluations: Sequence[Evaluation]
    middle: Evaluation
    settable: Sequence[SettableFigure]

    def document(self, resources: Resources) -> Worksheet:
        """The worksheet."""
        overrides = self._overrides()
        figures = {one.pointer: _editable(one, overrides.get(one.pointer)) for one in self.settable}
        return Worksheet(
            number=self.row.quote_number,
            revision=self.row.revision,
            title=self.row.title,
            customer=self.row.customer,
            customer_class=self.request.customer_class,
            currency=self.body.currency,
            rate_revision=self.row.rate_revision,
            quoted_on=self.body.quoted_on,
            parts=tuple(self._part(route, figures) for route in self.middle.made.routes),
            blanks=tuple(self._blanks(figures)),
            bought_parts=tuple(
                WorksheetBoughtPart(
                    name=part.name,
                    count=part.count,
                    unit_price=figures[pointer_to("bought_parts", part.name, "unit_price")],
                    lot_charge=figures[pointer_to("bought_parts", part.name, "lot_charge")],
                )
                for part in self.plans.bought_parts
            ),
            tools=tuple(self._tools(figures)),
            quantities=tuple(self._quantity(*pair, figures) for pair in zip(self.body.breaks, self.evaluations, strict=True)),
            terms=tuple(figures[pointer_to("terms", name)] for name in TERMS),
            overrides=tuple(overrides.values()),
            approvals=approvals_of(self.row, resources),
        )

    def _overrides(self) -> dict[str, WorksheetOverride]:
        """The overrides of the revision by pointer, with what would stand there without each."""
        now = {one.pointer: one.worked_out for one in self.settable}
        moved = {int(one.pointer.rpartition("/")[2]) for one in findings_of(self.row, BASE_MOVED)}
        return {
            one.pointer: _override(one, now.get(one.pointer), moved=place in moved)
            for place, one in enumerate(self.request.overrides)
        }

    def _part(self, middle: Route, figures: Mapping[str, EditableFigure]) -> WorksheetPart:
        """A part with its operations at the middle quantity, and those that are done at others only."""
        operations: dict[str, Operation] = {}
        at: dict[str, list[OperationAtQuantity]] = {}
        for evaluation in (self.middle, *self.evaluations):
            for name, cost in _costs_by_id(evaluation, middle.part):
                operations.setdefault(name, cost.operation)
        for evaluation in self.evaluations:
            for name, cost in _costs_by_id(evaluation, middle.part):
                at.setdefault(name, []).append(self._at(evaluation.quantity, cost))
        return WorksheetPart(
            name=middle.part,
            kind=middle.kind,
            operations=tuple(self._operation(middle.part, name, one, at[name], figures) for name, one in operations.items()),
        )

    def _at(self, quantity: int, cost: OperationCost) -> OperationAtQuantity:
        return OperationAtQuantity(
            quantity=quantity,
            pieces=cost.pieces,
            batches=cost.batches,
            machine_min=round(cost.machine_min, 6),
            attended_min=round(cost.attended_min, 6),
            cost=in_currency(cost.amount, self.plans.currency),
        )

    def _operation(
        self, part: str, name: str, operation: Operation, at: Sequence[OperationAtQuantity], figures: Mapping[str, EditableFigure]
    ) -> WorksheetOperation:
        left_out = figures.get(pointer_to("operations", name, "left_out"))
        extra = figures.get(pointer_to("operations", f"{part}{EXTRA}{operation.method}"))
        money = self.body.currency
        plain = {
            "setup_min": (operation.setup_min, "min"),
            "batch_min": (operation.batch_min, "min"),
            "piece_min": (operation.piece_min, "min"),
            "yield": (operation.yield_share, ""),
            "batch_loss": (operation.batch_loss, ""),
            "lot_charge": (str(in_currency(operation.lot_charge, self.plans.currency)), money),
        }
        # An operation that was added is set as a whole, so its figures have no pointers of their own.
        shown = {
            field: figures.get(pointer_to("operations", name, field)) or EditableFigure(value=value, unit=unit)
            for field, (value, unit) in plain.items()
        }
        return WorksheetOperation(
            id=name,
            operation=operation.operation,
            face=operation.face,
            method=operation.method,
            work_centre=operation.work_centre,
            batch_size=operation.batch_size,
            **shown,
            extra=extra if operation.operation == "own_work" else None,
            left_out=left_out if left_out is not None and left_out.value else None,
            at=tuple(at),
        )

    def _blanks(self, figures: Mapping[str, EditableFigure]) -> Iterator[WorksheetBlank]:
        blanks = self.middle.made.blanks
        for part in self.middle.routes:
            blank, price = blanks.get(part), figures.get(pointer_to("blanks", part, "price"))
            if blank is not None and price is not None:
                yield WorksheetBlank(
                    element=part, glass=blank.glass, form=blank.form, diameter_mm=blank.diameter_mm, thickness_mm=blank.thickness_mm, price=price
                )  # fmt: skip

    def _tools(self, figures: Mapping[str, EditableFigure]) -> Iterator[WorksheetTool]:
        for tool in {tool.name: tool for tool in self.plans.tooling}.values():
            charge = figures.get(pointer_to("tooling", tool.name, "charge"))
            if charge is not None:
                yield WorksheetTool(name=tool.name, part=tool.part, charge=charge)

    def _quantity(self, one: Break, evaluation: Evaluation, figures: Mapping[str, EditableFigure]) -> WorksheetQuantity:
        return WorksheetQuantity(
            quantity=one.quantity,
            starts=tuple(
                WorksheetStart(
                    part=part,
                    needed=start.needed,
                    started=figures[pointer_to("starts", part, one.quantity)],
                    losses_expected=evaluation.lost_in_the_mean(part),
                )
                for part, start in evaluation.starts.items()
            ),
            lines=one.lines,
            unit_cost=one.unit_cost.planned,
            unit_price=figures[pointer_to("prices", one.quantity, "unit_price")],
            total_price=one.total_price,
            margin_share=figures[pointer_to("prices", one.quantity, "margin_share")],
            discount_share=figures[pointer_to("prices", one.quantity, "discount_share")],
            margin_reached_share=round(margin_left(one), 6),
            loss_chance=one.loss_chance,
        )


def _costs_by_id(evaluation: Evaluation, part: str) -> Iterator[tuple[str, OperationCost]]:
    """The operations of a part at a quantity, by their ids in the order of its route."""
    yield from zip(operation_ids(evaluation.made.routes)[part], evaluation.operations[part], strict=True)


def _editable(figure: SettableFigure, override: WorksheetOverride | None) -> EditableFigure:
    return EditableFigure(pointer=figure.pointer, value=figure.value, unit=figure.unit, override=override)


def _override(one: Override, now: Any, *, moved: bool) -> WorksheetOverride:
    return WorksheetOverride(
        pointer=one.pointer, value=one.value, base=one.base, base_now=now, confirmed_base=one.confirmed_base, author=one.author,
        reason=one.reason, at=one.at, key_id=one.key_id,
        moved=moved,
    )  # fmt: skip
