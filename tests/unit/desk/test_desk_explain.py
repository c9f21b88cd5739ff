"""Figures by plain words, and their reasons in lines."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.main import get_command
from typer.testing import CliRunner

from services.desk import command
from services.desk.command import app
from services.desk.errors import FigureNotNamed
from services.desk.figure_named import place_named, pointer_named
from services.desk.terminal import EXIT_CODES, USAGE, reported
from services.desk.texts.explain import explained_lines
from shared_schemas.figure import Figure, PointedFigure, RateRowRef
from shared_schemas.quote import Quote
from shared_schemas.rates import Rates
from tests.chain import alike_doublets, quote_of

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def quote(rates: Rates, ready_quote: Quote) -> Quote:
    """A quote as the whole chain makes it."""
    body = quote_of(alike_doublets(1), rates)
    return Quote.model_validate({**ready_quote.model_dump(by_alias=True), **body.model_dump(by_alias=True)})


def at(pointer: str, quote: Quote) -> object:
    """What stands there in the quote."""
    found = json.loads(quote.model_dump_json(by_alias=True))
    for step in pointer.split("/")[1:]:
        found = found[int(step)] if isinstance(found, list) else found[step]
    return found


def found(words: str, quote: Quote) -> tuple[str, tuple[str, ...]]:
    """The pointer of these words, or the names that are offered."""
    try:
        return pointer_named(words, quote), ()
    except FigureNotNamed as fault:
        return "", fault.near


def test_every_operation_is_found_by_its_own_words_or_offered_among_those_that_share_them(quote: Quote) -> None:
    named = 0
    for place, element in enumerate(quote.elements or ()):
        for number, step in enumerate(element.operations):
            words = f"{element.name} {step.face or ''} {step.operation.replace('_', ' ')} {step.method}"
            expected = f"/elements/{place}/operations/{number}/"
            pointer, near = found(words, quote)
            if near:
                assert any(step.operation.replace("_", " ") in one for one in near)
            else:
                assert pointer.startswith(expected)
                assert at(pointer, quote) == (step.batch_min or step.piece_min)
                named += 1
    assert named > 5


def test_faces_may_be_counted_and_a_field_may_be_named(quote: Quote) -> None:
    element = (quote.elements or ())[0]
    back = next(number for number, step in enumerate(element.operations) if step.operation == "polish" and step.face == "back")
    for words in (
        f"{element.name} back polish",
        f"polish of the second face of {element.name}",
        f"{element.name.lower()} second polish",
    ):
        assert pointer_named(words, quote).startswith(f"/elements/0/operations/{back}/")
    assert pointer_named(f"{element.name} back polish yield", quote) == f"/elements/0/operations/{back}/yield"
    step = element.operations[back]
    assert f"at {step.work_centre}" in place_named(f"/elements/0/operations/{back}/batch_min", quote)


def test_prices_and_dates_are_those_of_the_quantity_or_of_the_middle_one(quote: Quote) -> None:
    breaks = quote.breaks or ()
    for place, one in enumerate(breaks):
        assert at(pointer_named(f"price {one.quantity}", quote), quote) == str(one.unit_price)
        assert pointer_named(f"date {one.quantity}", quote) == f"/breaks/{place}/lead_time/ship_date"
        assert place_named(f"/breaks/{place}/unit_price", quote) == f"for {one.quantity:,}"
    assert pointer_named("price", quote) == f"/breaks/{(len(breaks) - 1) // 2}/unit_price"
    assert pointer_named("/title", quote) == "/title"


def test_words_that_name_nothing_are_told_what_is_near(quote: Quote) -> None:
    with pytest.raises(FigureNotNamed) as told:
        pointer_named("polishh of everything", quote)
    assert any("polish" in one for one in told.value.near)
    with pytest.raises(typer.Exit) as ended, reported(as_json=False):
        pointer_named("polishh of everything", quote)
    assert ended.value.exit_code == USAGE


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_reasons_are_indented_to_the_depth_asked_and_no_line_is_wider(width: int) -> None:
    row = RateRowRef(table="polishing", row="crown, block", source="invented demo figure " * 8, as_of=date(2026, 11, 2))
    inner = Figure(
        name="rate_um_per_h",
        value=18.144,
        unit="um/h",
        formula="preston_coefficient_per_pa * pressure_pa * speed_m_per_s * 1e6 * 3600",
        rate_row=row,
    )
    for _ in range(30):
        inner = Figure(name="removing_min", value=49.6, unit="min", formula="removal_um / rate_um_per_h * 60", inputs=(inner,))
    figure = PointedFigure(
        name="batch_min", value=1234567.25, unit="min", inputs=(inner,), pointer="/elements/1/operations/16/batch_min"
    )
    whole = explained_lines(figure, of="L2 back polish", depth=40, width=width)
    assert max(map(len, whole)) <= width
    assert "2026-11-02" in " ".join(whole)
    assert any("1,234,567.25 min" in line for line in whole[:4])
    cut = explained_lines(figure, of="", depth=1, width=width)
    assert "2026-11-02" not in " ".join(cut)
    assert "--depth" in " ".join(cut)


def test_exit_codes_stand_in_the_help_and_in_the_readme() -> None:
    told = " ".join(CliRunner().invoke(app, ["--help"]).stdout.split())
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for code, meaning in EXIT_CODES.items():
        assert f"{code} {meaning}" in told
        assert f"{code} {meaning}" in " ".join(readme.split())


WITHOUT_JSON = {"rates edit", "rates publish", "rates restore", "rates import", "archive show"}
"""They show, ask and publish, step by step, and end where nobody is there to be asked, as a program uses drafts over HTTP; the last answers in nothing but JSON."""


def commands(group: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Every command of the command line, by its words."""
    if hasattr(group, "commands"):
        for name, inner in group.commands.items():
            yield from commands(inner, (*path, name))
    else:
        yield " ".join(path), group


def test_every_command_answers_in_json_where_it_is_asked_to() -> None:
    without = {
        name for name, one in commands(get_command(app)) if "--json" not in {option for each in one.params for option in each.opts}
    }
    assert without == WITHOUT_JSON


def test_a_command_that_is_stopped_from_the_keyboard_ends_with_its_own_code(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "app", typer.Typer())
    command.app.command()(stopped)
    monkeypatch.setattr("sys.argv", ["blankwright"])
    with pytest.raises(SystemExit) as ended:
        command.main()
    assert ended.value.code == 130
