"""Sampling by attributes against published charts of ISO 2859-1 (MIL-STD-105E has the same tables)."""

from __future__ import annotations

from math import comb

import pytest

from services.process.domain.route.sampling import code_letter, plan_of_letter, sampling_plan

# Table I, every row, general levels I, II, III: https://pdfcoffee.com/aql-sampling-chart-pdf-free.html
CODE_LETTERS = {
    (2, 8): "AAB", (9, 15): "ABC", (16, 25): "BCD", (26, 50): "CDE", (51, 90): "CEF", (91, 150): "DFG", (151, 280): "EGH",
    (281, 500): "FHJ", (501, 1200): "GJK", (1201, 3200): "HKL", (3201, 10000): "JLM", (10001, 35000): "KMN",
    (35001, 150000): "LNP", (150001, 500000): "MPQ", (500001, 10**7): "NQR",
}  # fmt: skip


@pytest.mark.parametrize(("lots", "letters"), CODE_LETTERS.items())
def test_code_letters_of_every_lot_size(lots: tuple[int, int], letters: str) -> None:
    for lot in lots:
        assert "".join(code_letter(lot=lot, level=level) for level in ("I", "II", "III")) == letters


# Level II, normal, single; AQL 0.65, 1.0, 2.5 with the arrows resolved by hand:
# http://www.nibs.org/FMOC/DPW_AC/AC-TABLE.ASC, https://pdfcoffee.com/aql-sampling-chart-pdf-free.html
ROWS = [
    (40, (20, 0), (13, 0), (5, 0)),
    (70, (20, 0), (13, 0), (20, 1)),
    (120, (20, 0), (13, 0), (20, 1)),
    (200, (20, 0), (50, 1), (32, 2)),
    (400, (80, 1), (50, 1), (50, 3)),
    (800, (80, 1), (80, 2), (80, 5)),
    (2000, (125, 2), (125, 3), (125, 7)),
    (5000, (200, 3), (200, 5), (200, 10)),
]


@pytest.mark.parametrize(("lot", "at_065", "at_1", "at_25"), ROWS)
def test_plans_of_level_two(lot: int, at_065: tuple[int, int], at_1: tuple[int, int], at_25: tuple[int, int]) -> None:
    for aql, wanted in ((0.65, at_065), (1.0, at_1), (2.5, at_25)):
        plan = sampling_plan(lot=lot, aql_percent=aql, level="II")
        assert (plan.pieces, plan.accept, plan.reject) == (*wanted, wanted[1] + 1)


def test_a_lot_of_500_at_one_percent_is_letter_h_50_pieces_1_accepted() -> None:
    """The same charts."""
    plan = sampling_plan(lot=500, aql_percent=1.0, level="II")
    assert (plan.letter, plan.pieces, plan.accept) == ("H", 50, 1)


def test_a_lot_of_100_at_one_percent_goes_up_an_arrow_to_letter_e() -> None:
    """The same charts: F has an arrow up at 1.0."""
    plan = sampling_plan(lot=100, aql_percent=1.0, level="II")
    assert (plan.letter, plan.pieces, plan.accept) == ("E", 13, 0)


def test_a_lot_no_larger_than_its_sample_is_looked_at_whole() -> None:
    """Foot of the same chart: if the sample equals or exceeds the lot, do 100 percent inspection."""
    assert sampling_plan(lot=10, aql_percent=0.65, level="II").pieces == 10
    assert sampling_plan(lot=20, aql_percent=0.65, level="II").pieces == 20
    assert sampling_plan(lot=21, aql_percent=0.65, level="II").pieces == 20


# Rows of table 2-A from memory, left to right from the first number to the last; arrows between are followed in other tests.
@pytest.mark.parametrize(
    ("letter", "first_aql", "accepts"),
    [
        ("A", 25.0, (1, 2, 3, 5, 7, 10, 14, 21, 30)),
        ("B", 15.0, (1, 2, 3, 5, 7, 10, 14, 21, 30, 44)),
        ("E", 4.0, (1, 2, 3, 5, 7, 10, 14, 21, 30, 44)),
        ("F", 2.5, (1, 2, 3, 5, 7, 10, 14, 21)),
        ("H", 1.0, (1, 2, 3, 5, 7, 10, 14, 21)),
        ("R", 0.025, (1, 2, 3, 5, 7, 10, 14, 21)),
    ],
)
def test_whole_rows_of_the_master_table(letter: str, first_aql: float, accepts: tuple[int, ...]) -> None:
    series = [
        0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10, 15, 25, 40, 65, 100, 150, 250,
        400, 650, 1000,
    ]  # fmt: skip
    first = series.index(first_aql)
    plans = [plan_of_letter(letter, aql_percent=float(aql)) for aql in series[first : first + len(accepts)]]
    assert [(plan.letter, plan.accept) for plan in plans] == [(letter, accept) for accept in accepts]


def test_corners_of_the_master_table() -> None:
    """From memory: below the diagonal of zeros arrows lead down to it, above the last number up to it."""
    assert plan_of_letter("A", aql_percent=0.010).letter == "Q"
    assert plan_of_letter("A", aql_percent=10.0).letter == "C"
    assert plan_of_letter("R", aql_percent=0.010).letter == "Q"
    assert (plan_of_letter("R", aql_percent=1000.0).letter, plan_of_letter("R", aql_percent=1000.0).accept) == ("B", 44)
    assert (plan_of_letter("F", aql_percent=100.0).letter, plan_of_letter("F", aql_percent=100.0).accept) == ("E", 21)


# Chance that a lot of that share of bad pieces passes, binomial; computed independently from the plans.
@pytest.mark.parametrize(
    ("lot", "aql", "share", "passes"),
    [
        (100, 1.0, 0.01, 0.8775),
        (40, 0.65, 0.0065, 0.8777),
        (500, 1.0, 0.01, 0.9106),
        (800, 1.0, 0.01, 0.9534),
        (800, 2.5, 0.025, 0.9848),
    ],
)
def test_operating_characteristic_at_the_limit(lot: int, aql: float, share: float, passes: float) -> None:
    plan = sampling_plan(lot=lot, aql_percent=aql, level="II")
    chance = sum(comb(plan.pieces, bad) * share**bad * (1 - share) ** (plan.pieces - bad) for bad in range(plan.accept + 1))
    assert chance == pytest.approx(passes, abs=1e-4)
