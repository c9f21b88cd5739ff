"""Why so many of each part are started."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.law import decided, given
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.planned import PartStart
from services.quoting.risk.losses import Batches
from shared_schemas.figure import Figure


def start_figures(quantity: Quantity) -> Iterator[Figure]:
    """How many of each part are started."""
    for part, start in quantity.evaluation.starts.items():
        yield _start(part, start, quantity)


def _start(part: str, start: PartStart, quantity: Quantity) -> Figure:
    route = next(route for route in quantity.evaluation.made.routes if route.part == part)
    if route.kind == "element":
        reason = "the plan of starts for the whole job: of every step that any lot could take those that give most chance for their cost, until the chance is that asked for"
    elif part == quantity.evaluation.made.lens.part:
        reason = "bought parts for the lenses that are taken in hand with the square root of the confidence; what fails is taken apart and put together again"
    else:
        reason = "as many as are needed: what fails is put together again from spare elements"
    planned: tuple[Figure, ...] = ()
    setting = quantity.setting("starts", part, quantity.evaluation.quantity)
    if setting is not None and start.planned is not None:
        planned = (given("worked out", start.planned, "pieces", source=reason),)
        reason = setting.reason
    return decided(
        f"start_quantities {part}", start.started, reason, unit="pieces",
        alternatives=(
            *planned,
            _needed(part, start, quantity),
            given("confidence", quantity.plans.confidence, at="/confidence"),
            given("chance", start.chance, source="that this lot is enough: binomial tail of the pieces that survive, over the batches that may be lost and the sets that are taken in hand"),
            given("chance of all", quantity.evaluation.plan.chance, source="that all lots together are enough, worked out over all needs of lenses and groups"),
            given("yield_share", start.yield_share, source="product of what the operations of the route card leave, rework counted in"),
            *(_lost(batch, "counted in the chance") for batch in start.batches),
        ),
    )  # fmt: skip


def _needed(part: str, start: PartStart, quantity: Quantity) -> Figure:
    """The pieces that the order needs if nothing is lost; of the lens the quantity."""
    if part == quantity.evaluation.made.lens.part:
        return given("needed", start.needed, "pieces", at=quantity.at("quantity"))
    beside = " and the spare parts" if quantity.plans.spare_parts else ""
    return given("needed", start.needed, "pieces", source=f"the quantity, times how many of it go into one lens{beside}")


def _lost(batch: Batches, what: str) -> Figure:
    return Figure(
        name="chance that a batch is lost", value=batch.chance, source=f"batch_loss of the operations that hold it together; {what}",
        inputs=(
            given("pieces", batch.pieces, "pieces", source="batch_size of the route card"),
            given("starts", batch.starts, "pieces", source="pieces over the share of the started ones that reaches it"),
        ),
    )  # fmt: skip
