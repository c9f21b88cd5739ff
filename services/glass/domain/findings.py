"""What an estimator would say of a blank: where care is needed, and what was decided for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from services.glass.domain.blank.options import BlankOption
from services.glass.domain.buying.groups import Crossover
from services.glass.domain.buying.purchase import Lot
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding

LITTLE_USED_SHARE = 0.2
"""A piece of stock of which less than this share of the mass becomes blanks is worth a second look (common practice)."""

LONG_LEAD_DAYS = 60.0
"""Glass that takes longer than this decides the date of the whole order (common practice)."""


def cares_of(*, position: int, option: BlankOption, lots: Mapping[int, Lot], turn: Crossover | None = None) -> tuple[Finding, ...]:
    """What to take care of with a blank; `lots` holds the lot for each quantity asked for, `turn` where pressing overtakes cutting."""
    where = f"/elements/{position}"
    findings = [
        _little_used(where, option),
        _wide_cut(where, option),
        _long_lead(where, option, lots),
        _store_at_full_price(where, option),
        None if turn is None else _turn(where, option, turn),
    ]
    return tuple(finding for finding in findings if finding is not None)


def _little_used(where: str, option: BlankOption) -> Finding | None:
    share = option.mass_g / option.bought_per_blank_g
    if share >= LITTLE_USED_SHARE:
        return None
    return finding(
        "stock-little-used",
        where,
        f"Only {share:.0%} of {option.stock.name} becomes blanks of {option.element.name}; the rest is slurry and remnants.",
        figure=share,
        limit=LITTLE_USED_SHARE,
        remedy="ask for a form nearer to the blank",
    )


def _wide_cut(where: str, option: BlankOption) -> Finding | None:
    if option.stock.form not in ("slab", "strip") or option.allowances.gap_mm <= option.shape.diameter_mm:
        return None
    return finding(
        "kerf-wider-than-blank",
        where,
        f"Between two blanks of {option.element.name} more glass is cut away than is left in one.",
        figure=option.allowances.gap_mm,
        limit=option.shape.diameter_mm,
        unit="mm",
        remedy="rod of nearly the diameter, or a thinner core drill",
    )


def _long_lead(where: str, option: BlankOption, lots: Mapping[int, Lot]) -> Finding | None:
    slow = max((one.source for lot in lots.values() for one in lot.purchases), key=lambda source: source.lead_days)
    days = slow.lead_days
    if days <= LONG_LEAD_DAYS:
        return None
    return finding(
        "glass-long-lead",
        where,
        f"The glass of {option.element.name} ({slow.stock.name}) takes {days:g} days to arrive.",
        figure=days,
        limit=LONG_LEAD_DAYS,
        unit="days",
        row=slow.stock.name,
        remedy="order the glass ahead, or take one that is in stock",
    )


def _turn(where: str, option: BlankOption, turn: Crossover) -> Finding:
    """From how many blanks on pressing is cheaper."""
    return finding(
        "cut-or-pressed",
        where,
        f"Up to {turn.blanks - 1} blanks of {option.element.name} are cheaper cut, from {turn.blanks} on pressed.",
        figure=turn.blanks,
        limit=turn.blanks - 1,
        unit="blanks",
        row=f"{turn.cut.stock.name} and row {turn.pressed.stock.name}",
    )


def _store_at_full_price(where: str, option: BlankOption) -> Finding | None:
    """Glass in the store whose row says nothing of what a remnant is worth."""
    if not option.stock.owned_pieces or option.stock.remnant_credit:
        return None
    return finding(
        "store-at-full-price",
        where,
        f"{option.stock.name} lies in the store, and its row states no remnant_credit: it is charged at its full price.",
        figure=option.stock.owned_pieces,
        limit="remnant_credit above 0",
        unit="pieces",
        remedy=f"state the remnant_credit of {option.stock.name}",
    )


def thicker_plate(*, position: int, option: BlankOption, own_thickness_mm: float, others: Sequence[str]) -> Finding:
    """A blank that comes out of plates sawn for a thicker one."""
    return finding(
        "blank-out-of-thicker-plate",
        f"/elements/{position}",
        (
            f"{option.element.name} comes out of plates {option.shape.thickness_mm:.4g} mm thick, together with {', '.join(others)}: "
            f"that takes less glass than plates of its own {own_thickness_mm:.4g} mm."
        ),
        figure=option.shape.thickness_mm,
        limit=own_thickness_mm,
        unit="mm",
    )


def bought_together(*, glass: str, positions: Sequence[int], members: Sequence[str], at: Sequence[int] = ()) -> Finding:
    """Elements of one glass that buy together; `at` names the quantities where it is not at all of them."""
    where = f"At a quantity of {', '.join(str(quantity) for quantity in at)} the" if at else "The"
    return finding(
        "glass-bought-together",
        f"/elements/{positions[0]}/glass",
        f"{where} {glass} for {', '.join(members)} is bought and sawn together: that costs less than separate lots.",
        figure=len(members),
        limit=1,
        unit="elements",
    )
