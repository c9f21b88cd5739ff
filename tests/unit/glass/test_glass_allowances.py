from __future__ import annotations

from datetime import date

import pytest

from services.shop.allowances import allowance_row, allowances_for, largest_finished_diameter_mm
from shared_schemas.rates import AllowanceRow, RateMissing, Rates

ROWS = tuple(
    AllowanceRow(
        name=name, source="invented demo figure", as_of=date(2026, 11, 2), kind="per_face", form=form, diameter_over_mm=over,
        diameter_up_to_mm=up_to, allowance_mm=allowance,
    )
    for name, form, over, up_to, allowance in (
        ("any small", None, 0.0, 50.0, 0.5), ("any large", None, 50.0, 100.0, 0.7), ("pressed", "pressing", 0.0, 50.0, 1.0),
    )
)  # fmt: skip


@pytest.mark.parametrize(("diameter", "name"), [(1.0, "any small"), (50.0, "any small"), (50.001, "any large")])
def test_a_band_ends_with_its_upper_size(diameter: float, name: str) -> None:
    assert allowance_row(kind="per_face", form="slab", diameter_mm=diameter, rows=ROWS).name == name


def test_a_row_for_the_form_goes_before_one_for_any_form() -> None:
    assert allowance_row(kind="per_face", form="pressing", diameter_mm=20.0, rows=ROWS).name == "pressed"
    assert allowance_row(kind="per_face", form="pressing", diameter_mm=60.0, rows=ROWS).name == "any large"


def test_a_diameter_beyond_every_band_is_an_error_that_names_it() -> None:
    with pytest.raises(RateMissing, match="per_face of a slab at a diameter of 101 mm"):
        allowance_row(kind="per_face", form="slab", diameter_mm=101.0, rows=ROWS)


def test_neighbouring_discs_have_two_cuts_and_a_web_between_them(rates: Rates) -> None:
    cut = allowances_for(form="slab", diameter_mm=25.0, rates=rates)
    assert cut.gap_mm == pytest.approx(cut.core_kerf.allowance_mm * 2 + cut.web.allowance_mm)


@pytest.mark.parametrize("form", ["slab", "strip", "rod", "disc", "pressing"])
@pytest.mark.parametrize("diameter", [0.5, 10.0, 25.0, 60.5, 100.0, 499.0])
def test_the_delivered_rates_have_every_allowance_for_every_form(form: str, diameter: float, rates: Rates) -> None:
    allowances_for(form=form, diameter_mm=diameter, rates=rates)  # type: ignore[arg-type]
    assert largest_finished_diameter_mm(rates=rates) == 500.0
