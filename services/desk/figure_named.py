"""A figure of a quote by plain words, as people name it: `L2 back polish`, `price 25`, `date 100`, `L1 centre yield`."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence

from services.desk.errors import FigureNotNamed
from shared_schemas.operations import Operation
from shared_schemas.quote import Quote, QuoteBody, middle_quantity

OF_A_QUANTITY = {
    "price": "unit_price",
    "unit price": "unit_price",
    "total": "total_price",
    "total price": "total_price",
    "date": "lead_time/ship_date",
    "days": "lead_time/p90_days",
    "cost": "unit_cost/planned",
    "loss": "loss_chance",
    "chance of a loss": "loss_chance",
}
OF_AN_OPERATION = {
    "minutes": "", "setup": "setup_min", "set-up": "setup_min", "batch": "batch_size", "yield": "yield", "piece": "piece_min", "consumables": "consumables",
}  # fmt: skip
FACES = {"first": "front", "second": "back"}
MOST_OFFERED = 6


def pointer_named(words: str, quote: Quote) -> str:
    """The JSON pointer of the figure that is meant; raises `FigureNotNamed` with the nearest that there are."""
    body = quote.body
    if body is None or words.startswith("/"):
        return words
    said = " ".join(words.lower().replace(",", " ").split())
    found = _of_a_quantity(said, body) or _of_an_operation(said, body)
    if isinstance(found, str):
        return found
    raise FigureNotNamed(words, found or _nearest(said, body))


def place_named(pointer: str, quote: Quote) -> str:
    """What a pointer is of, in words: the operation with its work centre and how many it does at once, or the quantity; empty for anything else."""
    body = quote.body
    if body is None:
        return ""
    for name, place, step in _operations(body):
        if pointer.startswith(place + "/"):
            at_once = f"{step.batch_size:,} at once" if step.batch_size > 1 else "one at a time"
            return f"{name}, at {step.work_centre}, {at_once}"
    at = re.match(r"/breaks/(\d+)/", pointer)
    return f"for {body.breaks[int(at[1])].quantity:,}" if at and int(at[1]) < len(body.breaks) else ""


def _of_a_quantity(said: str, body: QuoteBody) -> str | None:
    name, _, last = said.rpartition(" ")
    quantities = [one.quantity for one in body.breaks]
    if last.isdecimal() and name in OF_A_QUANTITY and int(last) in quantities:
        return f"/breaks/{quantities.index(int(last))}/{OF_A_QUANTITY[name]}"
    if said in OF_A_QUANTITY:
        return f"/breaks/{quantities.index(middle_quantity(quantities))}/{OF_A_QUANTITY[said]}"
    return None


def _of_an_operation(said: str, body: QuoteBody) -> str | list[str] | None:
    """The pointer, or the names of several that fit, or `None` where none does."""
    fields = [word for word in OF_AN_OPERATION if re.search(rf"\b{word}\b", said)]
    asked = {FACES.get(word, word) for word in said.split()} - set(fields) - {"of", "the", "face"}
    fitting = [(name, pointer, step) for name, pointer, step in _operations(body) if asked <= set(name.lower().split())]
    if not asked or not fitting:
        return None
    if len(fitting) > 1:
        return [name for name, *_ in fitting][:MOST_OFFERED]
    _, pointer, step = fitting[0]
    field = OF_AN_OPERATION[fields[0]] if fields else ""
    return f"{pointer}/{field or ('batch_min' if step.batch_min else 'piece_min')}"


def _operations(body: QuoteBody) -> Iterator[tuple[str, str, Operation]]:
    for place, element in enumerate(body.elements):
        for number, step in enumerate(element.operations):
            yield _name(element.name, step), f"/elements/{place}/operations/{number}", step
    for place, route in enumerate(body.assembly):
        for number, step in enumerate(route.operations):
            yield _name(route.part, step), f"/assembly/{place}/operations/{number}", step


def _name(part: str, step: Operation) -> str:
    return " ".join(word for word in (part, step.face or "", step.operation.replace("_", " "), step.method) if word)


def _nearest(said: str, body: QuoteBody) -> Sequence[str]:
    names = [name for name, *_ in _operations(body)] + [f"price {one.quantity}" for one in body.breaks]
    by_small = {name.lower(): name for name in names}
    return [by_small[one] for one in difflib.get_close_matches(said, by_small, MOST_OFFERED, 0.3)]
