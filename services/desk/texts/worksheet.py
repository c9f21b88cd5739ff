"""The worksheet of a quote as lines of at most 80 characters: what was set and by whom, then routing, minutes, losses and costs."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from decimal import Decimal

from shared_schemas.worksheet import (
    EditableFigure,
    OperationAtQuantity,
    Worksheet,
    WorksheetOperation,
    WorksheetOverride,
    WorksheetPart,
    WorksheetQuantity,
)

WIDTH = 80
WORD = r"[^\W_]+"
"""What the id of an operation takes of the name of its part."""
QUANTITIES_ABREAST = 3
NAME_WIDTH, AMOUNT_WIDTH = 35, 15
"""With three quantities abreast, 80 columns; an amount of 100,000,000.00 has a space before it."""
IN_ROUTE = (("/operations/", 26), ("set-up", 7), ("batch/of", 10), ("piece", 7), ("yield", 7), ("min", 9), ("cost", 14))
"""Heads of a route and how wide their columns are."""


def worksheet_lines(sheet: Worksheet, *, quantity: int | None = None, part: str | None = None) -> list[str]:
    """A worksheet; the minutes and costs of operations are those of one quantity, the middle one unless another is named."""
    shown = [one for one in sheet.parts if part in (None, one.name)]
    at = quantity or _middle([one.quantity for one in sheet.quantities])
    lines = [*_head(sheet), *_overrides(sheet), *_approvals(sheet)]
    for one in shown:
        lines += _part(one, at)
    if part is not None:
        return lines
    lines += _starts(sheet.quantities)
    lines += _money(sheet)
    lines += _priced(
        "Blanks, each",
        [
            (f"{one.element}, {one.form} {one.diameter_mm:.4g} x {one.thickness_mm:.4g} mm, {one.glass}", one.price)
            for one in sheet.blanks
        ],
    )
    lines += _priced(
        "Bought parts, each and for the lot",
        [
            entry
            for one in sheet.bought_parts
            for entry in ((f"{one.count} x {one.name}", one.unit_price), (f"  lot charge of {one.name}", one.lot_charge))
        ],
    )
    lines += _priced("Tools, once", [(f"{one.name}, for {one.part}", one.charge) for one in sheet.tools])
    lines += _priced("Terms", [((one.pointer or "").rpartition("/")[2], one) for one in sheet.terms])
    return lines


def _middle(quantities: Sequence[int]) -> int:
    return sorted(quantities)[(len(quantities) - 1) // 2]


def _head(sheet: Worksheet) -> list[str]:
    said = f"Worksheet of {sheet.number}, revision {sheet.revision} of {sheet.quoted_on}, at rates {sheet.rate_revision}, in {sheet.currency}"
    for_whom = ", ".join(filter(None, (sheet.title, sheet.customer, f"terms {sheet.customer_class}")))
    return [*_wrapped(said), *_wrapped(for_whom)]


def _overrides(sheet: Worksheet) -> list[str]:
    if not sheet.overrides:
        return ["", "Nothing is overridden."]
    lines = _titled("Overridden (*)")
    for one in sheet.overrides:
        lines += _wrapped(
            f"* {one.pointer} = {_plain(one.value)}, {_instead(one)}: {one.author}, {one.at:%Y-%m-%d}: {one.reason}", indent=2
        )
        if one.moved:
            lines += _wrapped(
                f"the base has moved to {_plain(one.base_now)}: --confirm or --withdraw {one.pointer}", indent=2, first="  ! "
            )
    return lines


def _instead(one: WorksheetOverride) -> str:
    kept = f", kept at {_plain(one.confirmed_base)}" if one.confirmed_base is not None else ""
    return "added" if one.base is None else f"instead of {_plain(one.base)}{kept}"


def _approvals(sheet: Worksheet) -> list[str]:
    approvals = sheet.approvals
    if approvals.state is None and not approvals.given:
        return []
    lines = _titled(f"Second key: {approvals.state or 'not needed'}")
    for need in approvals.needed_for:
        lines += _wrapped(f"- {need.message}", indent=2)
    for one in approvals.given:
        note = f": {one.note}" if one.note else ""
        lines += _wrapped(
            f"- revision {one.revision} was approved by {one.by} on {one.at:%Y-%m-%d}, key {one.key_id}{note}", indent=2
        )
    if approvals.state == "needed":
        names = ", ".join(approvals.not_by_names)
        lines += _wrapped(
            f"- not by the keys {', '.join(approvals.not_by_keys)}{f', nor in the name of {names}' if names else ''}", indent=2
        )
    return lines


def _part(part: WorksheetPart, at: int) -> list[str]:
    lines = _titled(f"{part.name} ({part.kind.replace('_', ' ')}): operations, minutes, cost at {at:,}")
    prefix = f"{'-'.join(re.findall(WORD, part.name))}-"
    lines.append(_row([f"{IN_ROUTE[0][0]}{prefix}…", *(head for head, _ in IN_ROUTE[1:])]))
    minutes, cost = 0.0, Decimal(0)
    for operation in part.operations:
        here = next((one for one in operation.at if one.quantity == at), None)
        lines += _operation(prefix, operation, here)
        minutes, cost = minutes + (here.machine_min if here else 0.0), cost + (here.cost if here else Decimal(0))
    return [*lines, _row(["together", "", "", "", "", f"{minutes:,.1f}", f"{cost:,}"])]


def _operation(prefix: str, operation: WorksheetOperation, here: OperationAtQuantity | None) -> Iterator[str]:
    name = operation.id.removeprefix(prefix)
    marked = f"{name}*" if operation.extra or operation.left_out else name
    batch = f"{_figure(operation.batch_min)}/{operation.batch_size}"
    figures = [_figure(operation.setup_min), batch, _figure(operation.piece_min), _figure(operation.yield_share)]
    if operation.left_out:
        figures = ["left out", "", "", ""]
    at = [f"{here.machine_min:,.1f}", f"{here.cost:,}"] if here else ["", "another way"]
    if len(marked) >= IN_ROUTE[0][1]:
        yield marked
        marked = ""
    yield _row([marked, *figures, *at])
    beside = [
        f"{label} {_figure(one)}"
        for label, one in (("loss of a batch", operation.batch_loss), ("lot charge", operation.lot_charge))
        if one.override
    ]
    yield from (f"    {one}" for one in beside)


def _starts(quantities: Sequence[WorksheetQuantity]) -> list[str]:
    lines = _titled("Started, and of these lost in the mean")
    for some in _abreast(quantities):
        lines.append(_columns("for", [f"{one.quantity:,}" for one in some]))
        for place, start in enumerate(some[0].starts):
            lines.append(
                _columns(
                    start.part, [f"{_figure(one.starts[place].started)} ({one.starts[place].losses_expected:.1f})" for one in some]
                )
            )
    return lines


def _money(sheet: Worksheet) -> list[str]:
    lines = _titled(f"Price, in {sheet.currency}")
    for some in _abreast(sheet.quantities):
        lines.append(_columns("for", [f"{one.quantity:,}" for one in some]))
        names = dict.fromkeys(line.name for one in some for line in one.lines)
        for name in names:
            amounts = ({line.name: line.amount for line in one.lines}.get(name) for one in some)
            lines.append(_columns(name, ["" if amount is None else f"{amount:,}" for amount in amounts]))
        lines.append(_columns("total", [f"{one.total_price:,}" for one in some]))
        lines.append(_columns("cost of one, planned", [f"{one.unit_cost:,}" for one in some]))
        lines.append(_columns("unit price", [_figure(one.unit_price) for one in some]))
        lines.append(_columns("discount", [_percent(one.discount_share) for one in some]))
        lines.append(_columns("margin of the terms", [_percent(one.margin_share) for one in some]))
        lines.append(_columns("margin reached", [f"{one.margin_reached_share:.1%}" for one in some]))
        lines.append(_columns("chance of a loss", ["-" if one.loss_chance is None else f"{one.loss_chance:.1%}" for one in some]))
    return lines


def _priced(title: str, entries: Sequence[tuple[str, EditableFigure]]) -> list[str]:
    if not entries:
        return []
    lines = _titled(title)
    for name, figure in entries:
        shown = _figure(figure)
        if len(name) + len(shown) + 2 > WIDTH:
            lines += [*_wrapped(name), shown.rjust(WIDTH)] if len(shown) < WIDTH else [*_wrapped(name), *_wrapped(shown)]
        else:
            lines.append(f"{name}{shown.rjust(WIDTH - len(name))}")
    return lines


def _abreast(quantities: Sequence[WorksheetQuantity]) -> list[Sequence[WorksheetQuantity]]:
    return [quantities[place : place + QUANTITIES_ABREAST] for place in range(0, len(quantities), QUANTITIES_ABREAST)]


def _columns(name: str, values: Sequence[str]) -> str:
    return f"{name[: NAME_WIDTH - 1]:<{NAME_WIDTH}}" + "".join(f"{value:>{AMOUNT_WIDTH}}" for value in values)


def _row(values: Sequence[str]) -> str:
    widths = [width for _, width in IN_ROUTE]
    first = f"{values[0]:<{widths[0]}}"
    return (first + "".join(f"{value:>{width}}" for value, width in zip(values[1:], widths[1:], strict=True))).rstrip()


def _figure(figure: EditableFigure) -> str:
    """A figure as it counts, with a mark where it was set."""
    return f"{_plain(figure.value)}{'*' if figure.override else ''}"


def _percent(figure: EditableFigure) -> str:
    value = f"{figure.value:.1%}" if isinstance(figure.value, (int, float)) else _plain(figure.value)
    return f"{value}{'*' if figure.override else ''}"


def _plain(value: object) -> str:
    if isinstance(value, bool) or value is None:
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, dict):
        return ", ".join(f"{name} {_plain(inner)}" for name, inner in value.items())
    return f"{value:,}" if isinstance(value, int) else str(value) or "-"


def _titled(title: str) -> list[str]:
    return ["", *_wrapped(title), "-" * min(WIDTH, len(title))]


def _wrapped(text: str, *, indent: int = 0, first: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * indent, break_on_hyphens=False) or [""]
