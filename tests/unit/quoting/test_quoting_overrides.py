"""What a quote says of the overrides it was worked out with, and how their pointers are read."""

from __future__ import annotations

from typing import Any

import pytest

from services.quoting.pricing.overridden.places import place_of, pointer_to
from services.quoting.pricing.overridden.remarks import is_same_figure
from services.quoting.pricing.worksheet import bases
from shared_schemas.check import Finding
from shared_schemas.quote import Quote
from tests.chain import as_json, job_of
from tests.laws.overridden import QUANTITIES, asked, at, quoted, rates, said_of, sections, usual_figures

POLISH = "/operations/L1-polish-front-block/batch_min"


def said(overrides: dict[str, Any], code: str) -> list[Finding]:
    return [one for one in said_of(overrides).findings if one.code == code]


def test_a_quote_lists_what_was_set_with_what_would_stand_there() -> None:
    body = quoted(
        {POLISH: 60, "/prices/25/unit_price": "700.00", "/operations/L2+etching": {"value": {"work_centre": "clean bench"}}}
    )
    assert [(one.pointer, one.value, one.base, one.author) for one in body.overrides[:1]] == [
        (POLISH, 60, usual_figures()[POLISH].worked_out, "Ines")
    ]
    assert body.overrides[2].base is None
    assert as_json(body)["overrides"][1]["value"] == "700.00"
    again = Quote.model_validate(
        {**as_json(body), "number": "Q-2026-000001", "status": "ready", "attempt": 1, "created_at": "2026-11-02T09:00:00Z"}
    )
    assert again.body is not None
    assert again.body.overrides == body.overrides
    assert [one.code for one in body.findings if one.code.startswith("override")] == []


def test_an_override_whose_base_moved_is_asked_again_until_it_is_confirmed() -> None:
    now = usual_figures()[POLISH].worked_out
    moved = said({POLISH: {"value": 60, "base": 50.0}}, "override-base-moved")
    assert [(one.figure, one.limit, one.pointer) for one in moved] == [(50.0, now, "/overrides/0")]
    assert "Ines" in moved[0].message
    for kept in ({"base": now}, {"base": 50.0, "confirmed_base": now}, {"base": now, "confirmed_base": 50.0}):
        assert said({POLISH: {"value": 60, **kept}}, "override-base-moved") == []


def test_an_override_of_nothing_that_is_there_is_named_with_what_is_nearest_and_counts_nowhere() -> None:
    body = quoted({"/operations/L1-polish-front-blok/batch_min": 600})
    lost = [one for one in body.findings if one.code == "override-without-figure"]
    assert [one.figure for one in lost] == ["/operations/L1-polish-front-blok/batch_min"]
    assert POLISH in str(lost[0].limit)
    assert body.overrides == ()
    assert [one.unit_price for one in body.breaks] == [one.unit_price for one in quoted({}).breaks]


@pytest.mark.parametrize(
    "overrides",
    [
        {"/operations/L3+etching": {"value": {"work_centre": "clean bench"}}},
        {"/operations/L1+etching": {"value": {"work_centre": "clean bench", "after": "L2-saw"}}},
        {"/operations/lens-pack/left_out": True},
        {"/starts/L9/25": 40},
        {"/blanks/L9/price": "4.00"},
        {"/tooling/a tool of another lens/charge": "0"},
        {"/bought_parts/barrel/unit_price": "4.00"},
    ],
)
def test_what_is_set_where_the_lens_has_no_such_thing_leaves_the_price_and_is_named(overrides: dict[str, Any]) -> None:
    assert [one.figure for one in said(overrides, "override-without-figure")] == [*overrides]
    assert said_of(overrides).applied == ()
    assert at(25, overrides).price == at(25, {}).price


def test_what_would_stand_at_a_pointer_is_worked_out_with_all_that_is_set_elsewhere() -> None:
    _, blanks, operations = sections()
    pointers = [POLISH, "/prices/25/unit_price", "/starts/L1/25", "/operations/L1-no-such/yield"]
    settled = {POLISH: 600, "/prices/25/unit_price": "1.00", "/terms/margin_share": 0.5}
    job = job_of(asked(settled))
    worked_out = bases(job=job, blanks=blanks, operations=operations, rates=rates(), pointers=pointers)
    usual = usual_figures()
    assert worked_out[POLISH] == usual[POLISH].worked_out
    assert float(worked_out["/prices/25/unit_price"]) > 1.3 * float(usual["/prices/25/unit_price"].worked_out)
    assert [*worked_out] == pointers[:3]


def test_every_figure_of_a_worksheet_stands_at_a_place_that_its_pointer_names() -> None:
    assert len(usual_figures()) > 300
    for pointer, figure in usual_figures().items():
        place = place_of(pointer)
        assert place is not None, pointer
        assert figure.value == figure.worked_out
        if place.field not in ("left_out", "currency_clause"):
            place.kind.read(figure.worked_out)
    of_quantities = {place.quantity for place in map(place_of, usual_figures()) if place is not None}
    assert of_quantities == {0, *QUANTITIES}


@pytest.mark.parametrize(
    "pointer",
    [
        "/operations/L1-saw", "/operations/L1-saw/minutes", "/operations/+etching", "/operations/L1+", "/operations/L1-saw/+", "/starts/L1",
        "/starts/L1/many", "/starts/L1/05", "/starts/L1/0", "/blanks/L1/mass", "/prices/25", "/prices/x/unit_price", "/terms/overhead_share",
        "/terms", "/elements/L1", "/terms/margin_share/0",
    ],
)  # fmt: skip
def test_a_pointer_to_nothing_of_a_worksheet_names_no_place(pointer: str) -> None:
    assert place_of(pointer) is None


def test_a_name_with_a_slash_is_written_as_in_any_pointer() -> None:
    place = place_of(pointer_to("tooling", "plate 1/4~", "charge"))
    assert place is not None
    assert (place.name, place.pointer) == ("plate 1/4~", "/tooling/plate 1~14~0/charge")
    group = place_of("/operations/L1+L2+etching")
    assert group is not None
    assert (group.name, group.extra) == ("L1+L2", "etching")


@pytest.mark.parametrize(
    ("pointer", "wrong"),
    [
        ("/operations/L1-saw/yield", [0, 1.01, "0.9", True, None]),
        ("/operations/L1-saw/batch_loss", [1, -0.1]),
        ("/operations/L1-saw/batch_min", [-1, "3", float("nan"), float("inf")]),
        ("/operations/L1-saw/left_out", [False, 1, "yes"]),
        ("/operations/L1+etching", [{}, {"work_centre": "x", "piece_min": -1}, {"work_centre": "x", "colour": "red"}, 3]),
        ("/starts/L1/25", [0, 2.5, "3", True]),
        ("/blanks/L1/price", [12.5, "-1", "twelve", "NaN"]),
        ("/prices/25/unit_price", ["0", 700]),
        ("/terms/discount_share", [1, -0.01, "5 %"]),
        ("/terms/tooling", ["waived", 0]),
        ("/terms/valid_days", [0, 366, 10.0]),
        ("/terms/currency_clause", ["", "a\nb", 7]),
    ],
)
def test_a_value_of_another_kind_or_out_of_its_range_is_not_read(pointer: str, wrong: list[Any]) -> None:
    place = place_of(pointer)
    assert place is not None
    for value in wrong:
        with pytest.raises(ValueError, match=r"^\w"):
            place.kind.read(value)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("4.50", "4.5", True),
        (4.5, 4.5 * (1 + 1e-12), True),
        (4.5, 4.51, False),
        ("one_off", "spread", False),
        (True, 1, False),
        ("5", 5, True),
    ],
)
def test_figures_are_the_same_whatever_they_are_written_as(one: Any, other: Any, same: bool) -> None:
    assert is_same_figure(one, other) is same
