"""What a quote says of the overrides it was worked out with: those that hold, those without a figure, those whose base moved."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any

from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.overridden.figures import figures_of_worksheet
from services.quoting.pricing.overridden.places import EXTRA, place_of
from services.quoting.pricing.plans import Plans
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.overrides import AppliedOverride, Override

NEAR = 0.5


@dataclass(frozen=True)
class OfOverrides:
    """The overrides that a quote was worked out with, and what there is to say of all that the request has."""

    applied: tuple[AppliedOverride, ...] = ()
    findings: tuple[Finding, ...] = ()


def of_overrides(
    overrides: Sequence[Override], plans: Plans, evaluations: Sequence[Evaluation], middle: Evaluation
) -> OfOverrides:  # fmt: skip
    """What a quote says of the overrides of its request; nothing where there are none."""
    if not overrides:
        return OfOverrides()
    figures = {one.pointer: one.worked_out for one in figures_of_worksheet(plans, evaluations, middle)}
    holding = [one for one in overrides if one.pointer in plans.settings and one.pointer in figures]
    return OfOverrides(
        tuple(_applied(one, figures[one.pointer]) for one in holding),
        tuple(remark for place, one in enumerate(overrides) for remark in _remarks(place, one, figures, one in holding)),
    )


def _applied(override: Override, now: Any) -> AppliedOverride:
    return AppliedOverride(
        pointer=override.pointer, value=override.value, base=now, author=override.author, reason=override.reason, at=override.at
    )


def _remarks(place: int, override: Override, figures: Mapping[str, Any], holds: bool) -> Iterator[Finding]:
    if not holds:
        yield _without_figure(place, override, figures)
    elif has_moved(override, figures[override.pointer]):
        yield _moved(place, override, figures[override.pointer])


def has_moved(override: Override, now: Any) -> bool:
    """Whether what would stand there without an override is not what stood there when it was set, nor when it was confirmed."""
    stood = [one for one in (override.base, override.confirmed_base) if one is not None]
    return bool(stood) and now is not None and not any(is_same_figure(one, now) for one in stood)


def is_same_figure(one: Any, other: Any) -> bool:
    """Whether two figures are the same: numbers to a billionth, amounts whatever zeros they end with."""
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    try:
        return Decimal(str(one)) == Decimal(str(other))
    except InvalidOperation:
        return bool(one == other)


def _moved(place: int, override: Override, now: Any) -> Finding:
    then = override.base if override.confirmed_base is None else override.confirmed_base
    return finding(
        "override-base-moved",
        f"/overrides/{place}",
        f"{override.author} set {override.pointer} to {_told(override.value)} when {_told(then)} was worked out; now that is {_told(now)}.",
        figure=_told(then),
        limit=_told(now),
        remedy="look at it again: keep it (confirm), set another figure, or take it away",
    )


def _without_figure(place: int, override: Override, figures: Mapping[str, Any]) -> Finding:
    known = place_of(override.pointer)
    extra = known is not None and known.field == EXTRA
    near = get_close_matches(override.pointer, figures, n=3, cutoff=NEAR)
    return finding(
        "override-without-figure",
        f"/overrides/{place}",
        f"What {override.author} set at {override.pointer} counts nowhere: the worksheet of this lens has no such "
        f"{'part, operation before it or work centre' if extra else 'figure'}.",
        figure=override.pointer,
        limit=", ".join(near) or None,
        remedy=f"set it at {' or '.join(near)}, or take it away" if near else "take it away",
    )


def _told(value: Any) -> float | str:
    return value if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value)
