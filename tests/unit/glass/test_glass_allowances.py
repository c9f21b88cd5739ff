from __future__ import annotations

from datetime import date

import pytest

from services.glass.domain.blank.options import BlankOption, option_for
from services.optics.body import Body, body
from services.optics.surface import profile
from services.shop.allowances import allowance_row, allowances_for, diameter_allowance, largest_finished_diameter_mm
from shared_schemas.prescription import Element, Surface
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


def biconvex(diameter_mm: float, thickness_mm: float) -> Body:
    """A lens with faces as steep as its diameter is wide, R = 2.4 D."""
    faces = (Surface(radius_mm=sign * 2.4 * diameter_mm, clear_diameter_mm=diameter_mm) for sign in (1, -1))
    front, back = (profile(surface=face, rim_mm=diameter_mm / 2) for face in faces)
    return Body(front, back, thickness_mm, diameter_mm / 2)


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
    cut = allowances_for(form="slab", body=biconvex(25.0, 6.0), rates=rates)
    assert cut.gap_mm == pytest.approx(cut.core_kerf.allowance_mm * 2 + cut.web.allowance_mm)


@pytest.mark.parametrize("form", ["slab", "strip", "rod", "disc", "pressing"])
@pytest.mark.parametrize("diameter", [0.5, 10.0, 25.0, 60.5, 100.0, 499.0])
def test_the_delivered_rates_have_every_allowance_for_every_form(form: str, diameter: float, rates: Rates) -> None:
    allowances_for(form=form, body=biconvex(diameter, diameter), rates=rates)  # type: ignore[arg-type]
    assert largest_finished_diameter_mm(rates=rates) == 500.0


# Edges of a biconvex lens of 25 mm with R 60, derived: t - 2 (60 - sqrt(3600 - (25 + a)^2/4)); sags 1.53848, 1.42526, 1.38123 at a 2, 1, 0.6
@pytest.mark.parametrize(
    ("thickness_mm", "allowance_mm", "edge_mm"),
    [(6.0, 2.0, 2.92305), (3.08, 2.0, 0.00305), (3.07, 1.0, 0.21948), (2.8, 0.6, 0.03754), (2.7, 0.6, -0.06246)],
)
def test_the_largest_allowance_that_leaves_an_edge_is_taken(
    thickness_mm: float, allowance_mm: float, edge_mm: float, rates: Rates
) -> None:
    allowance = diameter_allowance(body=biconvex(25.0, thickness_mm), form="slab", rates=rates)
    assert allowance.usual.allowance_mm == 2.0
    assert allowance.taken.allowance_mm == allowance_mm
    assert allowance.edge_mm == pytest.approx(edge_mm, abs=1e-5)
    assert allowance.holds == (edge_mm > 0)
    assert (allowance.taken is allowance.usual) == (allowance_mm == 2.0)


def test_rates_without_small_allowances_have_only_the_usual_one(rates: Rates) -> None:
    bare = rates.model_copy(update={"allowances": tuple(row for row in rates.allowances if row.kind != "on_diameter_small")})
    allowance = diameter_allowance(body=biconvex(25.0, 3.07), form=None, rates=bare)
    assert allowance.taken is allowance.usual
    assert not allowance.holds


def test_the_blank_of_a_lens_with_a_sharp_rim_is_as_much_smaller(rates: Rates) -> None:
    stock = next(row for row in rates.stock_forms if row.glass == "N-BK7" and row.form == "slab")
    for thickness_mm, blank_mm in ((6.0, 27.0), (3.07, 26.0)):
        front, back = (Surface(radius_mm=radius, clear_diameter_mm=23.0) for radius in (60.0, -60.0))
        element = Element(name="L1", glass="N-BK7", diameter_mm=25.0, centre_thickness_mm=thickness_mm, front=front, back=back)
        option = option_for(element=element, finished=body(element=element), stock=stock, density_g_cm3=2.51, rates=rates)
        assert isinstance(option, BlankOption)
        assert option.shape.diameter_mm == blank_mm
