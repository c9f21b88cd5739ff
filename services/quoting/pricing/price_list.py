"""The even price list: nobody pays more each than who orders fewer, nor more in all than who orders more.

What pieces cost goes in steps: a block more, a melt more, a set-up more. A price list does not. So the shop quotes from an even
list: at the quantities of a fixed series the unit price is worked out, held to fall and its total to rise; between
them it is read along a power of the quantity. It is a function of the quantity alone.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.cost import bought_part_cost, material_costs
from services.quoting.costs.money import exact
from services.quoting.costs.shared_runs import shared_runs
from services.quoting.pricing.planned import Planned, plan_of
from services.quoting.pricing.plans import Plans, spread_tooling
from services.quoting.pricing.price import CostSums, exact_unit_price, markups

SINGLY_UP_TO = 10
"""Up to here every quantity is in the series."""
PER_DECADE = (10, 12, 16, 20, 25, 32, 40, 50, 63, 80)
"""Above, quantities like the preferred numbers of ISO 3, series R10, in whole pieces."""
FURTHER = 2
"""Quantities of the series beyond the one asked for, of which none may cost less in all."""


def series_around(quantity: int) -> list[int]:
    """The quantities of the series up to the one asked for, and as many beyond as its price is held against."""
    numbers = list(range(1, SINGLY_UP_TO + 1))
    decade = 1
    while len(numbers) < 3 or numbers[-FURTHER] <= quantity:
        numbers += [number * decade for number in PER_DECADE if number * decade > numbers[-1]]
        decade *= 10
    return numbers[: bisect_right(numbers, quantity) + FURTHER]


@law
def evened_price(*, lower: int, upper: int, lower_price: float, upper_price: float, quantity: int) -> Decimal:
    """Unit price of the even list between two quantities of its series, along a power of the quantity, to the millionth.

    Equation: round(lower_price * (upper_price / lower_price) ** (log(quantity / lower) / log(upper / lower)), 6)
    """
    return exact(lower_price * (upper_price / lower_price) ** (math.log(quantity / lower) / math.log(upper / lower)))


def evened_unit_price(plans: Plans, quantity: int) -> Decimal:
    """The unit price that the even list has for a quantity, to the millionth, in the currency of the quote."""
    lower, upper = evened_neighbours(plans.usual, quantity)
    listed = _between(lower, upper, quantity)
    if quantity not in plans.at or not plans.at[quantity].moves_cost_or_margin:
        return listed
    usual, own = moved_from(plans, quantity)
    return moved_price(listed=listed, usual_price=usual, own_price=own)


def moved_from(plans: Plans, quantity: int) -> tuple[float, float]:
    """The unit price of a quantity by itself, without and with the starts and the margin that were set at it."""
    lenses = plans.of_lenses
    return _unit_price(lenses.usual, quantity), rough_unit_price(lenses, plan_of(lenses, quantity))


@law
def moved_price(*, listed: Decimal, usual_price: float, own_price: float) -> Decimal:
    """Unit price of the even list for a quantity whose starts or margin were set, to the millionth: it moves as that of the quantity by itself does.

    Equation: round(listed * own_price / usual_price, 6)
    """
    return exact(float(listed) * own_price / usual_price) if own_price != usual_price else listed


def _between(lower: tuple[int, float], upper: tuple[int, float], quantity: int) -> Decimal:
    return evened_price(lower=lower[0], upper=upper[0], lower_price=lower[1], upper_price=upper[1], quantity=quantity)


def evened_neighbours(plans: Plans, quantity: int, part: str | None = None) -> tuple[tuple[int, float], tuple[int, float]]:
    """The quantities of the series to both sides of one, each with its unit price on the even list; with a `part` what of it that costs.

    Notes:
        From the smallest up, no unit price is above the one before. Then the total of a quantity is no more than that of the next two
        of the series: the smaller order is made by the plan for more.
    """
    numbers = series_around(quantity)
    place = bisect_right(numbers, quantity) - 1
    falling: list[float] = []
    for number in numbers:
        alone = _unit_price(plans.of_lenses, number) if part is None else _part_price(plans.of_lenses, number, part)
        falling.append(min(alone, falling[-1]) if falling else alone)
    totals = [price * number for price, number in zip(falling, numbers, strict=True)]
    evened = [min(totals[place + step : place + step + 2]) / numbers[place + step] for step in (0, 1)]
    return (numbers[place], evened[0]), (numbers[place + 1], evened[1])


def _unit_price(plans: Plans, quantity: int) -> float:
    if quantity not in plans.unit_prices:
        plans.unit_prices[quantity] = rough_unit_price(plans, plan_of(plans, quantity))
    return plans.unit_prices[quantity]


def evened_part_price(plans: Plans, part: str, lenses: int) -> Decimal:
    """What the even list has for one of a part in an order for so many lenses, to the millionth, in the currency of the quote."""
    lower, upper = evened_neighbours(plans.usual, lenses, part)
    return _between(lower, upper, lenses)


def _part_price(plans: Plans, quantity: int, part: str) -> float:
    if quantity not in plans.part_costs:
        plans.part_costs[quantity] = rough_part_costs(plan_of(plans, quantity))
    cost = plans.part_costs[quantity][part]
    added = markups(exact(cost), plans.terms, quantity=quantity)
    return (cost + float(added.overhead + added.contingency + added.margin)) * float(plans.currency.per_base)


def rough_part_costs(plan: Planned) -> dict[str, float]:
    """What one of each part costs by a plan, in the base currency: its glass, its operations, what is lost of it, and what it consumes.

    Notes: glass that several share is borne by the masses of their blanks.
    """
    made, started, each = plan.made, plan.started, dict[str, float]()
    runs = shared_runs(made.routes, started).by_name
    operations = {rough.part: rough.cost(started[rough.part], runs) for rough in made.rough}
    glass: dict[str, float] = {}
    for one in material_costs(made.materials, started=started):
        masses = {member: made.blanks[member].mass_g * started[member] for member in one.model.members}
        glass |= {member: float(one.amount) * mass / sum(masses.values()) for member, mass in masses.items()}
    for route in made.routes:
        start = plan.starts[route.part]
        own = operations[route.part] + glass.get(route.part, 0.0) + start.losses_cost
        each[route.part] = own / start.needed + sum(each[consumed.part] * consumed.count for consumed in route.consumes)
    return each


def rough_costs(plans: Plans, plan: Planned) -> CostSums:
    """What a plan costs, operations in floating point."""
    made, started = plan.made, plan.started
    runs = shared_runs(made.routes, started).by_name
    return CostSums(
        material=sum((one.amount for one in material_costs(made.materials, started=started)), Decimal(0)),
        operations=exact(sum(rough.cost(started[rough.part], runs) for rough in made.rough)),
        bought_parts=sum((bought_part_cost(part, lenses=started[made.lens.part]) for part in plans.bought_parts), Decimal(0)),
        losses=exact(plan.losses_cost),
        tooling=spread_tooling(made.tooling, plans.terms),
    )


def rough_unit_price(plans: Plans, plan: Planned) -> float:
    """The unit price of a plan before it is rounded, in the currency of the quote."""
    return exact_unit_price(
        rough_costs(plans, plan), quantity=plan.quantity, terms=plans.terms_at(plan.quantity), currency=plans.currency
    )
