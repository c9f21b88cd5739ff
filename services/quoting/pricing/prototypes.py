"""Prototypes before a series: their tools come with them, so that what is made afterwards neither pays for those nor waits for them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.money import in_currency, total
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.planned import plan_of
from services.quoting.pricing.plans import Plans
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import Tooling
from shared_schemas.order_terms import AfterPrototypes


@law
def payable_with_tools(*, total_price: Decimal, tools: Sequence[Decimal]) -> Decimal:
    """What is payable for a quantity: its price, and the charges for tools that are asked once beside it.

    Equation: total_price + sum(tools)
    """
    return total_price + sum(tools, Decimal(0))


def is_spared(tool: Tooling, plans: Plans) -> bool:
    """Whether a tool is there once the prototypes are made."""
    return plans.prototypes is not None and tool.name in {one.name for one in plan_of(plans, plans.prototypes).made.tooling}


def tools_after(evaluation: Evaluation) -> tuple[list[Tooling], list[Tooling]]:
    """The tools of a quantity that come with the prototypes, and those that it still needs."""
    spared, left = list[Tooling](), list[Tooling]()
    for tool in evaluation.made.tooling:
        (spared if is_spared(tool, evaluation.plans) else left).append(tool)
    return spared, left


def price_without_spread(evaluation: Evaluation, spared: Sequence[Tooling]) -> Decimal:
    """The price of a quantity, less the tools that come with the prototypes where the terms spread them over it."""
    plans = evaluation.plans
    if plans.terms.tooling != "spread":
        return evaluation.price.total
    return evaluation.price.total - total(amounts=charges(spared, plans))


def charges(tools: Sequence[Tooling], plans: Plans) -> list[Decimal]:
    """The charges of tools in the currency of the quote."""
    return [in_currency(tool.charge, plans.currency) for tool in tools]


def after_prototypes(evaluation: Evaluation) -> AfterPrototypes | None:
    """What a quantity costs and takes once the prototypes are made and released; `None` of the prototypes, and where there are none.

    Notes: what the customer supplies was there when the prototypes were begun, so that nothing waits for it any more.
    """
    plans = evaluation.plans
    if plans.prototypes is None or evaluation.quantity == plans.prototypes:
        return None
    spared, left = tools_after(evaluation)
    beside = charges(left, plans) if plans.terms.tooling == "one_off" else []
    then = evaluation.scheduled(plans.shop, evaluation.materials, reuse=evaluation.schedule, tooling=tuple(left), arrivals={})
    return AfterPrototypes(
        tools_spared=total(amounts=charges(spared, plans)),
        total_payable=payable_with_tools(total_price=price_without_spread(evaluation, spared), tools=beside),
        p50_days=then.p50_days,
        p90_days=then.p90_days,
    )


def prototypes_first(plans: Plans) -> Iterator[Finding]:
    """What is assumed of a series that comes after prototypes."""
    if plans.prototypes is not None:
        yield finding(
            "prototypes-first", "/prototypes",
            f"{plans.prototypes:,} are made first, with their tools. What the other quantities cost and take after them is without these tools, and counts from "
            f"the day on which the prototypes are released without a change.",
            figure=plans.prototypes, unit="pieces",
        )  # fmt: skip
