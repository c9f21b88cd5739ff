"""A column of money is read where prices are made, and is filled in: no cost is silently zero."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from pydantic.fields import FieldInfo

from shared_schemas.rates import TABLES

SERVICES = Path(__file__).resolve().parents[2] / "services"
ROOMS_THAT_PRICE = ("glass", "process", "quoting", "shop")

ZERO_MEANS = {
    ("stock_forms", "lot_charge"): "the supplier asks nothing for a lot",
    ("stock_forms", "mould_charge"): "cut stock needs no mould",
    ("grinding", "consumables_per_batch"): "what is spent is in the hourly rate",
    ("polishing", "consumables_per_batch"): "what is spent is in the hourly rate",
    ("commercial", "freight_per_lot"): "the goods are sold ex works, or freight costs nothing by the lot",
    ("commercial", "freight_per_kg"): "the goods are sold ex works, or freight costs nothing by weight",
    ("operations", "lot_charge"): "the step costs its minutes and by the piece; one that costs nothing at all is refused",
    ("operations", "piece_charge"): "the step costs its minutes and by the lot; one that costs nothing at all is refused",
    ("tooling", "charge"): "the tool is owned; one that is not owned is refused without a charge",
}
"""Columns of money that may be left empty, and what an empty one means."""


def money_columns() -> Iterator[tuple[str, str, FieldInfo]]:
    for table, row in TABLES.items():
        for name, field in row.model_fields.items():
            if _is_money(field.annotation):
                yield table, name, field


def _is_money(annotation: Any) -> bool:
    return annotation is Decimal or any(_is_money(part) for part in get_args(annotation))


def attributes_read() -> set[str]:
    trees = (ast.parse(path.read_text(encoding="utf-8")) for room in ROOMS_THAT_PRICE for path in (SERVICES / room).rglob("*.py"))
    return {node.attr for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Attribute)}


def test_there_are_columns_of_money() -> None:
    assert len(list(money_columns())) >= 14


def test_every_column_of_money_is_read_where_prices_are_made() -> None:
    read = attributes_read()
    assert [(table, name) for table, name, _ in money_columns() if name not in read] == []


def test_a_column_of_money_is_required_unless_an_empty_one_means_something() -> None:
    optional = {(table, name) for table, name, field in money_columns() if not field.is_required()}
    assert optional == set(ZERO_MEANS)
