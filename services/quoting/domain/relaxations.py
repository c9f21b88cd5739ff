"""What the customer could relax to pay less: the same quote worked out again with one tolerance a class looser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from services.quoting.domain.evaluation import Evaluation, Plans, evaluate
from shared_schemas.operations import Relaxation, Route
from shared_schemas.quote import QuotedRelaxation


def loosened(routes: Sequence[Route], relaxation: Relaxation) -> tuple[Route, ...]:
    """The routes with the operations that become of a relaxation."""
    return tuple(_loosened(route, relaxation) if route.part == relaxation.part else route for route in routes)


def _loosened(route: Route, relaxation: Relaxation) -> Route:
    operations = list(route.operations)
    for looser in relaxation.operations:
        operations[looser.position] = operations[looser.position].model_copy(
            update={
                "batch_size": looser.batch_size,
                "batch_min": looser.batch_min,
                "piece_min": looser.piece_min,
                "yield_share": looser.yield_share,
            }
        )
    return route.model_copy(update={"operations": tuple(operations)})


def quoted_relaxations(plans: Plans, relaxations: Sequence[Relaxation], *, against: Evaluation) -> tuple[QuotedRelaxation, ...]:
    """Each relaxation with its saving per unit and in days at the quantity of `against`, most saved first; none that saves nothing."""
    found = []
    for relaxation in relaxations:
        looser = evaluate(replace(plans, routes=loosened(plans.routes, relaxation)), quantity=against.quantity, like=against)
        saving = against.price.unit - looser.price.unit
        days = against.lead_time.p50_days - looser.lead_time.p50_days
        if saving > 0 or (saving == 0 and days > 0):
            found.append(
                QuotedRelaxation(
                    where=relaxation.where,
                    tolerance=relaxation.tolerance,
                    from_figure=relaxation.from_figure,
                    to_figure=relaxation.to_figure,
                    unit=relaxation.unit,
                    quantity=against.quantity,
                    saving_per_unit=saving,
                    days_saved=days,
                )
            )
    return tuple(sorted(found, key=lambda one: (-one.saving_per_unit, one.where, one.tolerance)))
