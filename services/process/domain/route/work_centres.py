"""Which work centre does an operation, where several serve? What is said of them decides: priority, then cost; never their order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil

from services.optics.law import column, decided, figure_of, given, law
from services.shop.minutes import attended_min, minutes_cost
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import InForce, RateMissing, Rates, WorkCentreRow

COMPARED_PIECES = 25
"""Lot for which work centres are compared: the same for every quantity, so that what one costs depends on no other that is asked for."""


@law
def lot_at_centre_cost(
    *, setup_min: float, batch_min: float, batches: int, piece_min: float, pieces: int, attended_share: float,
    machine_rate_per_h: float, labour_rate_per_h: float,
) -> float:  # fmt: skip
    """Cost of an operation on a lot at a work centre, set-up and run [currency of the rates].

    Equation: ((setup_min + batches * batch_min + pieces * piece_min) * machine_rate_per_h
    + (setup_min + attended_share * (batches * batch_min + pieces * piece_min)) * labour_rate_per_h) / 60
    Notes: losses are those of the operation, wherever it is done, and so left out: of two work centres the one whose lot costs less
    has the cheaper good piece too.
    Source: derived.
    """
    run_min = batches * batch_min + pieces * piece_min
    return minutes_cost(
        machine_min=setup_min + run_min,
        attended_min=attended_min(setup_min=setup_min, run_min=run_min, attended_share=attended_share),
        machine_rate_per_h=machine_rate_per_h,
        labour_rate_per_h=labour_rate_per_h,
    )


@dataclass(frozen=True)
class AtCentre:
    """What an operation takes at one of the work centres that do it."""

    setup_min: float
    batch_size: int
    batch_min: float
    piece_min: float
    attended_share: float

    @property
    def batches(self) -> int:
        """Batches of the lot that is compared."""
        return ceil(COMPARED_PIECES / self.batch_size)


Taking = Callable[[WorkCentreRow], AtCentre]


@dataclass(frozen=True)
class Choice:
    """The work centre that does an operation, and what writes the figure that says why; none where no other serves."""

    row: WorkCentreRow
    why: Callable[[], Figure] | None = None


@lru_cache(maxsize=16)
def _by_operation(in_force: InForce) -> Mapping[tuple[str, str], Sequence[WorkCentreRow]]:
    centres: dict[tuple[str, str], list[WorkCentreRow]] = {}
    for centre in in_force.rates.work_centres:
        for operation in centre.operations:
            centres.setdefault((operation, centre.method), []).append(centre)
    return centres


def serving(rates: Rates, operation: OperationName, method: str = "", diameter_mm: float = 0.0) -> tuple[WorkCentreRow, ...]:
    """Every work centre that does an operation and takes the diameter [mm]: those of that method, or where there are none, of no method.

    Raises: RateMissing where there are neither.
    """
    centres = _by_operation(InForce(rates))
    for wanted_method in (method, ""):
        rows = tuple(row for row in centres.get((operation, wanted_method), ()) if takes(row, diameter_mm))
        if rows:
            return rows
    wanted = f"{operation} {method}".strip() + (f" of {diameter_mm:g} mm" if diameter_mm else "")
    raise RateMissing("work_centres", wanted, tuple(row.name for row in rates.work_centres))


def choice_among(rows: Sequence[WorkCentreRow], taking: Taking, currency: str) -> Choice:
    """Of the work centres that serve the one of the lowest `priority`; of several the one at which a lot of 25 costs least.

    Args:
        taking: what the operation takes at a work centre.

    Notes: where that is equal too, the `id` that comes first; a name decides nothing.
    """
    if len(rows) == 1:
        return Choice(rows[0])
    first = min(row.priority for row in rows)
    row = min((row for row in rows if row.priority == first), key=lambda row: (_cost(row, taking(row)), row.id))

    def why() -> Figure:
        others = sorted((other for other in rows if other is not row), key=lambda other: (other.priority, other.id))
        equal = [other for other in others if other.priority == row.priority]
        if equal:
            reason = f"of {len(equal) + 1} work centres of priority {row.priority} the cheapest for a lot of {COMPARED_PIECES}"
        else:
            reason = f"its priority {row.priority} goes before {min(other.priority for other in others)}"
        told = "; passed over: " + ", ".join(f"{other.name} (priority {other.priority})" for other in others)
        costs = [_cost_figure(one, taking(one), currency) for one in (row, *others)]
        return decided("work_centre", row.name, reason + told, alternatives=costs)

    return Choice(row, why)


def choose_centre(
    rates: Rates, operation: OperationName, method: str = "", diameter_mm: float = 0.0, *,
    batch_min: float = 0.0, piece_min: float = 0.0, batch_size: int | None = None,
) -> Choice:  # fmt: skip
    """The work centre for an operation that takes these minutes besides its own [min]; raises `RateMissing`."""

    def taking(row: WorkCentreRow) -> AtCentre:
        size = batch_size or row.rack_pieces or 1
        return AtCentre(row.setup_min, size, row.cycle_min + batch_min, row.load_min_per_piece + piece_min, row.attended_share)

    return choice_among(serving(rates, operation, method, diameter_mm), taking, rates.base_currency)


def work_centre_for(rates: Rates, operation: OperationName, method: str = "", diameter_mm: float = 0.0) -> WorkCentreRow:
    """The row of the work centre for an operation, by its own minutes; raises `RateMissing`."""
    return choose_centre(rates, operation, method, diameter_mm).row


def can_take(rates: Rates, operation: OperationName, method: str, diameter_mm: float) -> bool:
    """Whether some work centre does an operation by a method at that diameter [mm]."""
    return any(takes(row, diameter_mm) for row in _by_operation(InForce(rates)).get((operation, method), ()))


def takes(row: WorkCentreRow, diameter_mm: float) -> bool:
    """Whether a work centre takes pieces of that diameter [mm]."""
    if row.smallest_diameter_mm is not None and diameter_mm < row.smallest_diameter_mm:
        return False
    return row.largest_diameter_mm is None or diameter_mm <= row.largest_diameter_mm


def _cost(row: WorkCentreRow, at: AtCentre) -> float:
    return lot_at_centre_cost(
        setup_min=at.setup_min, batch_min=at.batch_min, batches=at.batches, piece_min=at.piece_min, pieces=COMPARED_PIECES,
        attended_share=at.attended_share, machine_rate_per_h=float(row.machine_rate_per_h), labour_rate_per_h=float(row.labour_rate_per_h),
    )  # fmt: skip


def _cost_figure(row: WorkCentreRow, at: AtCentre, currency: str) -> Figure:
    ref = Rates.ref("work_centres", row)
    source = "what the operation would take at this work centre"
    return figure_of(
        lot_at_centre_cost, name=row.name, unit=currency, rate_row=ref,
        setup_min=given("setup_min", at.setup_min, "min", source=source),
        batch_min=given("batch_min", at.batch_min, "min", source=source),
        batches=given("batches", at.batches, source=f"{COMPARED_PIECES} pieces, {at.batch_size} at a time"),
        piece_min=given("piece_min", at.piece_min, "min", source=source),
        pieces=given("pieces", COMPARED_PIECES, source="the lot for which work centres are compared"),
        attended_share=given("attended_share", at.attended_share, source=source),
        machine_rate_per_h=column("machine_rate_per_h", float(row.machine_rate_per_h), f"{currency}/h", ref),
        labour_rate_per_h=column("labour_rate_per_h", float(row.labour_rate_per_h), f"{currency}/h", ref),
    )  # fmt: skip
