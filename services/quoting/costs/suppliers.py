"""Work that a supplier does in place of the shop: what is sent, what that costs, and what the shop saves by it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.cost import OperationCost
from services.quoting.costs.money import exact
from services.quoting.costs.rework import batches_scrapped_by, kept_by
from services.quoting.costs.shared_runs import reach_after
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import OutsideWorkRow, Rates, WorkCentreRow

IN_BETWEEN: tuple[OperationName, ...] = ("clean", "inspect")
"""Between two visits with nothing else between them a piece is not sent back and forth."""
NEVER_IN_ONE_ANOTHERS_WAY = 1_000_000
"""Stations of a supplier, by which no lot stands behind another there: its lead days have the wait in them."""


@dataclass(frozen=True)
class Shipment:
    """One lot of one part that is sent to a supplier: the places in its route that are done there, how many pieces go, and what the shop saves.

    `saved` is the cost of those operations that the shop then does not do at all, in the base currency.
    """

    row: OutsideWorkRow
    part: str
    places: tuple[int, ...]
    pieces: int
    saved: tuple[Decimal, ...] = ()

    @property
    def charge(self) -> Decimal:
        """What the supplier asks for it, in the base currency."""
        return shipment_charge(
            lot_charge=self.row.lot_charge, pieces=self.pieces, faces=len(self.places), piece_charge=self.row.piece_charge
        )


@law
def shipment_charge(*, lot_charge: Decimal, pieces: int, faces: int, piece_charge: Decimal) -> Decimal:
    """What a supplier asks for a lot.

    Equation: lot_charge + pieces * faces * piece_charge
    """
    return lot_charge + pieces * faces * piece_charge


@law
def outside_cost(*, charges: Decimal, saved: Decimal) -> Decimal:
    """What work of a supplier costs more than to do it in the shop; no price comes down by it.

    Args:
        saved: cost of the operations that fall away with all their minutes; a run that other parts are in as well is made all the same.

    Equation: max(0, charges - saved)
    """
    return max(Decimal(0), charges - saved)


@law
def away_h(*, lead_days: float, hours_per_week: float) -> float:
    """Working hours for which a lot is away: a supplier works and rests with the shop.

    Equation: lead_days * hours_per_week / 7
    """
    return lead_days * hours_per_week / 7


def shipments_to(row: OutsideWorkRow, costs: Sequence[OperationCost]) -> Iterator[Shipment]:
    """What of a part's route a supplier could do: a lot for each time the operation comes, both faces at once where nothing else lies between.

    Notes: only what it loses no more of than the shop, as no more pieces are started for it.
    """
    places: list[int] = []
    for place, cost in enumerate(costs):
        operation = cost.operation
        if operation.operation == row.operation:
            if _as_good(row, cost) and (not row.methods or operation.method in row.methods):
                places.append(place)
                continue
        elif operation.operation in IN_BETWEEN:
            continue
        yield from _one(row, costs, places)
        places = []
    yield from _one(row, costs, places)


def _as_good(row: OutsideWorkRow, cost: OperationCost) -> bool:
    own = reach_after(reach_share=1.0, yield_share=kept_by(cost.operation), batch_loss=batches_scrapped_by(cost.operation))
    return row.yield_share >= own


def _one(row: OutsideWorkRow, costs: Sequence[OperationCost], places: Sequence[int]) -> Iterator[Shipment]:
    if places:
        yield Shipment(row, costs[places[0]].part, tuple(places), costs[places[0]].pieces)


def what_is_saved(shipments: Sequence[Shipment], operations: Mapping[str, Sequence[OperationCost]]) -> tuple[Shipment, ...]:
    """The shipments, each with what the shop saves: what is in no run with other parts, or with parts that all go too."""
    sent = {(one.part, place) for one in shipments for place in one.places}
    kept_runs = {
        cost.operation.shared_run
        for part, costs in operations.items()
        for place, cost in enumerate(costs)
        if cost.operation.shared_run is not None and (part, place) not in sent
    }
    return tuple(
        Shipment(
            one.row, one.part, one.places, one.pieces,
            tuple(
                operations[one.part][place].amount
                for place in one.places
                if operations[one.part][place].operation.shared_run not in kept_runs
            ),
        )
        for one in shipments
    )  # fmt: skip


def sent_out(costs: Sequence[OperationCost], shipments: Sequence[Shipment], *, hours_per_week: float) -> tuple[OperationCost, ...]:
    """The route of a part with its shipments in the place of what is done in them, as one batch that is away for its lead days."""
    first = {one.places[0]: one for one in shipments}
    away = {place for one in shipments for place in one.places[1:]}
    return tuple(
        _as_operation(cost, first[place], hours_per_week) if place in first else cost
        for place, cost in enumerate(costs)
        if place not in away
    )


def _as_operation(cost: OperationCost, shipment: Shipment, hours_per_week: float) -> OperationCost:
    minutes = 60 * away_h(lead_days=shipment.row.lead_days, hours_per_week=hours_per_week)
    operation = cost.operation.model_copy(
        update={"setup_min": minutes, "batch_min": 0.0, "piece_min": 0.0, "batch_size": max(cost.pieces, 1), "shared_run": None}
    )
    return cost._replace(
        operation=operation,
        work_centre=_centre_of(shipment.row),
        batches=1,
        machine_min=minutes,
        attended_min=0.0,
        amount=exact(0),
        borne=0.0,
    )


def rates_with_suppliers(rates: Rates) -> Rates:
    """The rates with each supplier as a work centre at which nobody waits and nothing varies."""
    if not rates.outside_work:
        return rates
    suppliers = tuple(_centre_of(row) for row in rates.outside_work)
    return rates.model_copy(update={"work_centres": (*rates.work_centres, *suppliers)})


def _centre_of(row: OutsideWorkRow) -> WorkCentreRow:
    return WorkCentreRow.model_construct(
        name=f"outside: {row.name}", source=row.source, as_of=row.as_of, operations=(row.operation,), machine_rate_per_h=Decimal(0),
        labour_rate_per_h=Decimal(0), stations=NEVER_IN_ONE_ANOTHERS_WAY, setup_min=0.0, load_min_per_piece=0.0, attended_share=0.0,
        minutes_variation=0.0,
    )  # fmt: skip
