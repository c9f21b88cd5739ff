from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from itertools import pairwise

import pytest

from services.glass.domain.blank.options import Misfit, option_for
from services.glass.domain.plan import plan_blanks
from services.glass.errors import CheckOfAnotherLens, StockFormIncomplete
from services.glass.stage import STAGE
from services.optics.body import body
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element, IndexGlass
from shared_schemas.rates import RateMissing, Rates
from shared_schemas.traveller import Job, Refusal

Makes = Callable[..., Element]
Checks = Callable[[Sequence[Element]], CheckReport]
Jobs = Callable[..., Job]


def changed(rates: Rates, **tables: object) -> Rates:
    return Rates(**{table: getattr(rates, table) for table in Rates.model_fields} | tables)  # type: ignore[arg-type]


@pytest.fixture
def planned(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> BlankPlan:
    elements = [element("L1"), element("L2", glass="LASF35", front_radius_mm=-40.0, back_radius_mm=40.0)]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, BlankPlan)
    return found


def test_every_blank_is_served_by_one_material_of_its_form_and_every_material_serves_blanks(planned: BlankPlan) -> None:
    blanks = [(blank.element, blank.form) for blank in planned.blanks]
    assert [*dict.fromkeys(element for element, _ in blanks)] == ["L1", "L2"]
    assert len(set(blanks)) == len(blanks)
    served = [(member, material.form) for material in planned.materials for member in material.members]
    assert sorted(served) == sorted(blanks)  # type: ignore[type-var]
    assert planned.currency == "USD"


def test_a_blank_is_larger_than_its_lens_and_smaller_than_its_piece(planned: BlankPlan) -> None:
    for blank in planned.blanks:
        assert blank.diameter_mm > 25.0
        assert blank.thickness_mm > blank.envelope_mm >= 6.0
        assert 0 < blank.finished_mass_g < blank.mass_g
        assert blank.blanks_per_piece == blank.discs_per_plate * blank.plates_per_slab
        assert 0 < blank.utilisation < 0.9069 or (blank.form == "pressing" and blank.utilisation == 1)


def test_material_steps_rise_in_blanks_and_cost_and_reach_the_starts_of_the_largest_quantity(planned: BlankPlan) -> None:
    for material in planned.materials:
        assert material.steps[0].cost > 0
        assert material.steps[-1].blanks >= 190
        assert all(one.blanks < two.blanks and one.cost < two.cost for one, two in pairwise(material.steps))


def test_the_same_job_gives_the_same_bytes(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> None:
    elements = [element("L1"), element("L2", diameter_mm=40.0)]
    plans = {
        json.dumps(plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates).model_dump(mode="json"))
        for _ in range(2)
    }
    assert len(plans) == 1


def test_glass_given_by_index_alone_is_checked_but_not_priced(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> None:
    elements = [element("L1"), element("L2", glass=IndexGlass(nd=1.6, vd=50.0))]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, Refusal)
    (reason,) = found.reasons
    assert reason.pointer == "/elements/1/glass"
    assert "checked, but cannot be priced" in reason.message
    assert "nd 1.6" in str(reason.figure)


def test_a_blank_larger_than_every_plate_is_refused_with_both_sizes(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    elements = [
        element("L1", glass="LASF35", diameter_mm=200.0, front_radius_mm=400.0, back_radius_mm=-400.0, centre_thickness_mm=30.0)
    ]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, Refusal)
    (reason,) = found.reasons
    assert reason.code == "blank-too-large"
    assert reason.figure == 205.0
    assert isinstance(reason.limit, float)
    assert 140 < reason.limit < 160
    assert "LASF35 slab 160x160x30" in reason.message


def test_a_blank_thicker_than_every_slab_is_refused_with_the_thickness(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    elements = [element("L1", glass="LASF35", centre_thickness_mm=35.0)]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, Refusal)
    assert found.reasons[0].pointer.endswith("centre_thickness_mm")
    assert (found.reasons[0].figure, found.reasons[0].limit) == (36.0, 28.0)


def test_an_element_beyond_the_allowances_is_refused_not_a_fault(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    elements = [element("L1", diameter_mm=600.0, front_radius_mm=None, back_radius_mm=None)]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, Refusal)
    assert (found.reasons[0].figure, found.reasons[0].limit) == (600.0, 500.0)


def test_every_reason_of_a_refusal_is_told_at_once(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> None:
    elements = [
        element("L1", diameter_mm=600.0, front_radius_mm=None, back_radius_mm=None),
        element("L2", glass=IndexGlass(nd=1.6, vd=50.0)),
        element("L3"),
    ]
    found = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(found, Refusal)
    assert len(found.reasons) == 2


def test_a_glass_without_stock_is_refused_as_not_priced_and_never_a_zero(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    bare = changed(rates, stock_forms=tuple(row for row in rates.stock_forms if row.glass != "N-BK7"))
    elements = [element("L1")]
    refused = plan_blanks(job=job_of(elements), check=check_of(elements), rates=bare)
    assert isinstance(refused, Refusal)
    (reason,) = refused.reasons
    assert (reason.code, reason.pointer) == ("glass-not-priced", "/elements/0/glass")
    assert "stock_forms" in reason.message


def test_a_glass_without_density_is_a_missing_rate(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> None:
    light = changed(
        rates,
        glasses=tuple(row.model_copy(update={"density_g_cm3": None}) if row.name == "N-BK7" else row for row in rates.glasses),
    )
    elements = [element("L1")]
    with pytest.raises(RateMissing, match="the density of N-BK7"):
        plan_blanks(job=job_of(elements), check=check_of(elements), rates=light)


def test_a_stock_row_without_its_sizes_is_named(element: Makes, rates: Rates) -> None:
    row = next(row for row in rates.stock_forms if row.form == "slab").model_copy(update={"width_mm": None})
    with pytest.raises(StockFormIncomplete, match="lacks width_mm"):
        option_for(element=element("L1"), finished=body(element=element("L1")), stock=row, density_g_cm3=2.5, rates=rates)


def test_a_report_of_another_lens_is_refused_by_name(element: Makes, check_of: Checks, job_of: Jobs, rates: Rates) -> None:
    with pytest.raises(CheckOfAnotherLens, match="speaks of L9, the prescription has L1"):
        plan_blanks(job=job_of([element("L1")]), check=check_of([element("L9")]), rates=rates)


def test_a_rod_of_nearly_the_diameter_serves_and_a_thick_one_does_not(element: Makes, rates: Rates) -> None:
    rod = next(row for row in rates.stock_forms if row.name == "N-BK7 rod 6x150")
    fits = option_for(
        element=element("L1", diameter_mm=5.0, centre_thickness_mm=2.0),
        finished=body(element=element("L1", diameter_mm=5.0, centre_thickness_mm=2.0)),
        stock=rod,
        density_g_cm3=2.51,
        rates=rates,
    )
    assert not isinstance(fits, Misfit)
    assert (fits.shape.diameter_mm, fits.blanks_per_piece) == (6.0, 36)
    for diameter in (3.0, 8.0):
        small = element("L1", diameter_mm=diameter, centre_thickness_mm=2.0)
        assert isinstance(
            option_for(element=small, finished=body(element=small), stock=rod, density_g_cm3=2.51, rates=rates), Misfit
        )


def test_a_pressed_blank_is_thicker_and_all_of_what_is_bought(element: Makes, rates: Rates) -> None:
    rows = {row.name: row for row in rates.stock_forms}
    pressed, cut = (
        option_for(element=element("L1"), finished=body(element=element("L1")), stock=rows[name], density_g_cm3=2.51, rates=rates)
        for name in ("N-BK7 pressing", "N-BK7 slab 160x160x40")
    )
    assert not isinstance(pressed, Misfit)
    assert not isinstance(cut, Misfit)
    assert pressed.shape.thickness_mm > cut.shape.thickness_mm
    assert pressed.bought_per_blank_g == pressed.mass_g


def test_many_blanks_of_a_pressable_glass_are_pressed_and_the_plan_says_from_which_number(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    elements = [element("L1")]
    found = plan_blanks(job=job_of(elements, (10, 20_000)), check=check_of(elements), rates=rates)
    assert isinstance(found, BlankPlan)
    assert next(blank.form for blank in found.blanks) == "slab"
    cut, pressed = (next(model for model in found.materials if model.form == form) for form in ("slab", "pressing"))
    costs = {
        blanks: [next(step.cost for step in model.steps if step.blanks >= blanks) for model in (cut, pressed)]
        for blanks in (20, 20_000)
    }
    assert costs[20][0] < costs[20][1]
    assert costs[20_000][0] > costs[20_000][1]
    (crossover,) = [figure for figure in pressed.basis if figure.name == "pressing_from_blanks"]
    assert 50 < crossover.value < 2_000  # type: ignore[operator]


def test_a_tiny_lens_gets_care_for_its_wide_cut_and_a_rare_glass_for_its_lead_time(
    element: Makes, check_of: Checks, job_of: Jobs, rates: Rates
) -> None:
    elements = [element("L1", glass="LASF35", diameter_mm=1.5, centre_thickness_mm=1.0, front_radius_mm=5.0, back_radius_mm=-5.0)]
    bare = changed(rates, stock_forms=tuple(row for row in rates.stock_forms if row.name != "LASF35 strip 160x60x25"))
    found = plan_blanks(job=job_of(elements, (1,)), check=check_of(elements), rates=bare)
    assert isinstance(found, BlankPlan)
    assert {finding.code: finding.severity for finding in found.findings} == {
        "stock-little-used": "care",
        "kerf-wider-than-blank": "care",
        "glass-long-lead": "care",
    }


def test_the_stage_is_the_one_of_the_pipeline() -> None:
    assert (STAGE.task, STAGE.reads, STAGE.run) == ("glass.plan_blanks", ("job", "check"), plan_blanks)
