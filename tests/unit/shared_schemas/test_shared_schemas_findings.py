"""The catalogue of findings: every code of every service is in it, none in vain, and a customer is told in words."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from shared_schemas.check import FindingKind
from shared_schemas.finding_kinds import CATALOGUE, OF_THE_CHECK, OF_THE_GLASS, OF_THE_PRICE, OF_THE_ROUTE, finding, finding_kinds

ROOT = Path(__file__).resolve().parents[3]
HOME = ROOT / "shared_schemas" / "finding_kinds.py"
FILLED_IN = {"message", "remedy", "figure", "limit", "unit", "places", "glass", "figures"}
"""What the sheet has to fill in."""


@cache
def code_of_the_house() -> tuple[tuple[Path, ast.AST], ...]:
    paths = [path for folder in ("services", "shared_schemas") for path in sorted((ROOT / folder).rglob("*.py"))]
    return tuple((path, ast.parse(path.read_text(encoding="utf-8"))) for path in paths)


def calls_of(name: str, tree: ast.AST) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name:
            yield node


def texts_in(*nodes: ast.AST) -> set[str]:
    leaves = (leaf for node in nodes for leaf in ast.walk(node))
    return {leaf.value for leaf in leaves if isinstance(leaf, ast.Constant) and isinstance(leaf.value, str)}


def test_every_code_that_a_service_calls_by_is_in_the_catalogue() -> None:
    codes = {
        text
        for path, tree in code_of_the_house()
        if path != HOME
        for call in calls_of("finding", tree)
        for text in texts_in(call.args[0])
    }
    assert len(codes) > 80
    assert codes <= CATALOGUE.keys()


def test_every_code_of_the_catalogue_is_emitted_by_a_file_that_makes_findings() -> None:
    written = set().union(
        *(texts_in(tree) for path, tree in code_of_the_house() if path != HOME and any(calls_of("finding", tree)))
    )
    assert CATALOGUE.keys() <= written


def test_no_finding_is_made_past_the_catalogue() -> None:
    makers = {path for path, tree in code_of_the_house() if any(calls_of("Finding", tree))}
    assert makers == {HOME}


def test_a_code_is_in_the_catalogue_once() -> None:
    assert len(CATALOGUE) == len((*OF_THE_CHECK, *OF_THE_GLASS, *OF_THE_ROUTE, *OF_THE_PRICE))


def test_a_code_that_is_not_in_the_catalogue_cannot_be_used() -> None:
    with pytest.raises(KeyError):
        finding("of-a-later-day", "/title", "Said.")


@pytest.mark.parametrize("kind", finding_kinds(), ids=lambda kind: kind.code)
def test_every_kind_says_what_it_means_and_where_it_comes_from(kind: FindingKind) -> None:
    assert kind.code == kind.code.lower().replace("_", "-")
    assert kind.meaning.endswith(".")
    assert kind.source
    made = finding(kind.code, "/title", "Said.", figure=1.0, limit=2.0, unit="mm", remedy="mend it", row="one")
    assert (made.severity, made.source, made.remedy) == (kind.severity, f"{kind.source}, row one", "mend it")


@pytest.mark.parametrize("kind", finding_kinds(), ids=lambda kind: kind.code)
def test_a_kind_for_the_customer_has_words_and_a_place_on_the_sheet_and_one_for_the_shop_has_neither(kind: FindingKind) -> None:
    if kind.audience == "shop":
        assert (kind.customer_words, kind.sheet_section) == (None, None)
        return
    assert kind.sheet_section
    assert kind.customer_words
    names = {name for _, name, _, _ in string.Formatter().parse(kind.customer_words) if name}
    assert names <= FILLED_IN
    grouped = kind.sheet_section == "handling" or kind.code == "tolerance-defaulted"
    assert ("places" in names) is grouped


def test_the_gravest_come_first() -> None:
    assert [kind.severity for kind in finding_kinds()] == sorted(
        (kind.severity for kind in finding_kinds()), key=["stop", "care", "note"].index
    )
