"""What a change of rates is asked about before it is published: it may well be meant, and is a slip as often."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_drafts import LookKind, SecondLook
from shared_schemas.rates import RateRow, Rates

LARGEST_STEP = 3.0
"""A figure that rises or falls by more than this factor is looked at again: a decimal place too many is ten, a changed unit 60 or 1000."""
MOST_NAMED = 20
FALLING = ("margin_share", "contingency_share", "overhead_share", "minimum_order", "margin_floor_share")
"""Terms that keep a price up; one that is taken out has fallen too."""

SENTENCES: dict[LookKind, tuple[str, str]] = {
    "figure-jumps": (
        "{field} of {row} goes from {before} to {after}",
        "{field} of {count} rows goes up or down by more than 3 times",
    ),
    "row-dropped": ("the row {row} is gone", "{count} rows are gone"),
    "glass-unpriced": ("{row} has no stock form left, so no lens of it can be priced", "{count} glasses have no stock form left"),
    "terms-fall": ("{field} of {row} falls from {before} to {after}", "{field} of {count} rows falls"),
}
"""Of one row, and of several."""


@dataclass(frozen=True)
class _Remark:
    kind: LookKind
    table: str
    field: str | None
    row: str
    position: int | None
    before: Any = None
    after: Any = None


def second_looks(before: Rates, after: Rates, changed: Iterable[str]) -> tuple[SecondLook, ...]:
    """What is to be confirmed where the tables `changed` go from `before` to `after`, of one kind and column together."""
    groups: dict[tuple[LookKind, str, str | None], list[_Remark]] = {}
    for remark in _remarks(before, after, tuple(changed)):
        groups.setdefault((remark.kind, remark.table, remark.field), []).append(remark)
    return tuple(_look(remarks) for remarks in groups.values())


def detail_of(look: SecondLook, pointer: str) -> ProblemDetail:
    """A second look as an entry of a problem, at a place of what was sent."""
    remedy = f'mend it, or if it is meant so confirm "{look.code}"'
    return ProblemDetail(
        pointer=pointer, reason=look.says, figure=look.after if look.count == 1 else look.count, limit=look.before, remedy=remedy,
        code=look.code,
    )  # fmt: skip


def _look(remarks: Sequence[_Remark]) -> SecondLook:
    first, count = remarks[0], len(remarks)
    place = first.table if first.field is None else f"{first.table}.{first.field}"
    which = first.row if count == 1 else f"{count} rows"
    one, several = SENTENCES[first.kind]
    pointer = f"/tables/{first.table}/rows"
    if first.position is not None:
        pointer += f"/{first.position}" + (f"/{first.field}" if first.field else "")
    words = (one if count == 1 else several).format(**vars(first), count=count)
    return SecondLook(
        code=f"{first.kind}:{place}/{which}", kind=first.kind, pointer=pointer, table=first.table, field=first.field,
        rows=tuple(remark.row for remark in remarks[:MOST_NAMED]), count=count, before=first.before, after=first.after,
        says=f"{first.table}: {words}",
    )  # fmt: skip


def _remarks(before: Rates, after: Rates, changed: Sequence[str]) -> Iterator[_Remark]:
    for table in changed:
        old, new = getattr(before, table), getattr(after, table)
        yield from _dropped(table, old, new)
        yield from _jumps(table, old, new)
    if "commercial" in changed:
        yield from _falls(before, after)
    if {"stock_forms", "glasses"} & set(changed):
        yield from _unpriced(before, after)


def renamed(old: Iterable[Mapping[str, Any]], new: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Rows of `old` that stand in `new` under another name and are the same in all else: the new name by the old one."""
    before, after = {row["name"]: row for row in old}, {row["name"]: row for row in new}
    free = {repr(_but_name(row)): name for name, row in after.items() if name not in before}
    found = {}
    for name, row in before.items():
        other = None if name in after else free.pop(repr(_but_name(row)), None)
        if other is not None:
            found[str(name)] = str(other)
    return found


def _but_name(row: Mapping[str, Any]) -> list[tuple[str, Any]]:
    return sorted((field, value) for field, value in row.items() if field != "name")


def _dropped(table: str, old: Sequence[RateRow], new: Sequence[RateRow]) -> Iterator[_Remark]:
    kept = {row.name for row in new}
    gone = [row for row in old if row.name not in kept]
    if not gone:
        return
    moved = renamed((row.model_dump() for row in old), (row.model_dump() for row in new))
    yield from (_Remark("row-dropped", table, None, row.name, None) for row in gone if row.name not in moved)


def _jumps(table: str, old: Sequence[RateRow], new: Sequence[RateRow]) -> Iterator[_Remark]:
    before = {row.name: dict(_figures(row)) for row in old}
    reach = _reaches(before.values())
    for position, row in enumerate(new):
        known = before.get(row.name)
        for place, figure in _figures(row):
            field = place[0]
            was = known.get(place) if known is not None else None
            if was is not None and _is_far(float(was), float(figure)):
                yield _Remark("figure-jumps", table, field, row.name, position, _said(was), _said(figure))
            elif known is None and place in reach and _is_beyond(float(figure), reach[place]):
                low, high = reach[place]
                yield _Remark("figure-jumps", table, field, row.name, position, f"{low:g} to {high:g} of other rows", _said(figure))


def _figures(row: RateRow) -> Iterator[tuple[tuple[Any, ...], float | Decimal]]:
    """Every figure of a row with its place; of a ladder each figure of each step."""
    left: list[tuple[tuple[Any, ...], Any]] = [((name,), value) for name, value in row.model_dump(by_alias=True).items()]
    while left:
        place, value = left.pop()
        if isinstance(value, (int, float, Decimal)) and not isinstance(value, bool):
            yield place, value
        elif isinstance(value, dict):
            left += [((*place, name), part) for name, part in value.items()]
        elif isinstance(value, (list, tuple)):
            left += [((*place, number), part) for number, part in enumerate(value)]


def _reaches(rows: Iterable[Mapping[tuple[Any, ...], float | Decimal]]) -> dict[tuple[Any, ...], tuple[float, float]]:
    """From which figure to which each column goes; a zero is no figure to hold others against."""
    reach: dict[tuple[Any, ...], tuple[float, float]] = {}
    for figures in rows:
        for place, value in figures.items():
            figure = float(value)
            if figure:
                low, high = reach.get(place, (figure, figure))
                reach[place] = (min(low, figure), max(high, figure))
    return reach


def _is_far(was: float, figure: float) -> bool:
    if was in (0, figure):
        return False
    if figure == 0 or (was > 0) != (figure > 0):
        return True
    return max(figure / was, was / figure) > LARGEST_STEP


def _is_beyond(figure: float, reach: tuple[float, float]) -> bool:
    low, high = reach
    return low > 0 and figure != 0 and not low / LARGEST_STEP <= figure <= high * LARGEST_STEP


def _falls(before: Rates, after: Rates) -> Iterator[_Remark]:
    known = {row.name: row for row in before.commercial}
    for position, row in enumerate(after.commercial):
        was = known.get(row.name)
        if was is None:
            continue
        for field in FALLING:
            old, new = getattr(was, field), getattr(row, field)
            if old is not None and (new is None or new < old):
                yield _Remark("terms-fall", "commercial", field, row.name, position, _said(old), _said(new))
        steps = [(step.from_quantity, step.margin_share) for step in was.margin_steps]
        new_steps = [(step.from_quantity, step.margin_share) for step in row.margin_steps]
        lower = sorted(quantity for quantity, _ in {*steps, *new_steps}
                       if _margin_at(quantity, new_steps, row.margin_share) < _margin_at(quantity, steps, was.margin_share))  # fmt: skip
        if lower:
            old, new = _margin_at(lower[0], steps, was.margin_share), _margin_at(lower[0], new_steps, row.margin_share)
            said = f" from {lower[0]} pieces on"
            yield _Remark("terms-fall", "commercial", "margin_steps", row.name, position, f"{old:g}{said}", f"{new:g}{said}")


def _margin_at(quantity: int, steps: Sequence[tuple[int, float]], otherwise: float) -> float:
    return max((step for step in steps if step[0] <= quantity), default=(0, otherwise))[1]


def _unpriced(before: Rates, after: Rates) -> Iterator[_Remark]:
    had, has = ({row.glass for row in rates.stock_forms} for rates in (before, after))
    for position, row in enumerate(after.glasses):
        if row.name in had and row.name not in has:
            yield _Remark("glass-unpriced", "glasses", None, row.name, position)


def _said(figure: float | Decimal | None) -> float | str | None:
    return str(figure) if isinstance(figure, Decimal) else figure
