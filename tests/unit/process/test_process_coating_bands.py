"""Coatings for other bands, mirrors, designs to be tried and cool runs: which is taken, what it costs, what is said."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.optics.dispersion import Dispersion
from services.optics.law import LAWS
from services.optics.thin_film import reflectance, reflectances_of_stacks
from services.process.domain.coating.choice import choose, too_hot
from services.process.domain.coating.cost import cost_figure, cost_of_piece, cost_of_run
from services.process.domain.coating.design import films_of
from services.process.domain.coating.promise import Asked, band_of, left_on, promise_of, stack_of
from services.process.domain.coating.run import DesignedRow, cycle_min, deposition_min, run_name
from services.process.domain.coating.sharing import Wanted, sharing_runs
from services.process.domain.plan import plan_operations
from services.rates.domain.seed import seed_rates
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, OperationPlan
from shared_schemas.prescription import CoatingDemand, Surface
from shared_schemas.rates import CoatingRow, Rates
from shared_schemas.traveller import Refusal
from tests.laws.equations import bound, worked_out


def drawn(words: str) -> CoatingDemand:
    """A demand as a drawing has it."""
    coating = Surface(radius_mm=50.0, clear_diameter_mm=20.0, coating=words).coating  # type: ignore[arg-type]
    assert isinstance(coating, CoatingDemand)
    return coating


def planned(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def coats(plan: OperationPlan) -> dict[str | None, Operation]:
    return {one.face: one for one in plan.routes[0].operations if one.operation == "coat"}


def of_code(findings: tuple[Finding, ...], code: str) -> list[Finding]:
    return [one for one in findings if one.code == code]


def named(words: str, glass: str, rates: Rates) -> str:
    found = choose(drawn(words), glass=rates.glass(glass), diameter_mm=25.0, rates=rates)
    assert found.meets
    return found.row.name


@pytest.mark.parametrize(
    ("words", "glass", "coating"),
    [
        ("R <= 0.25 % 1054 to 1074 nm", "N-BK7", "ar-v-1064"),
        ("R <= 0.25 % 1535 to 1565 nm", "N-BK7", "ar-v-1550"),
        ("R <= 0.5 % 650 to 1050 nm", "N-BK7", "ar-broad-650-1050"),
        ("R <= 0.5 % 1050 to 1700 nm", "N-BK7", "ar-broad-1050-1700"),
        ("R <= 1.75 % 400 to 1000 nm", "N-BK7", "ar-broad-400-1000"),
        ("R <= 1.5 % at 1064 nm", "N-BK7", "ar-single-1064"),
        ("R <= 2.1 % at 550 nm", "CaF2", "ar-cool-single"),
        ("R >= 85 % 450 to 700 nm", "N-BK7", "mirror-aluminium"),
        ("R >= 92 % 450 to 700 nm", "N-BK7", "mirror-aluminium-enhanced"),
        ("R >= 95 % 450 to 1100 nm, 45 deg", "N-BK7", "mirror-silver"),
        ("R >= 97 % 2000 to 12000 nm", "N-BK7", "mirror-gold-bare"),
    ],
)
def test_each_band_has_a_coating_of_its_own_and_the_cheapest_that_does_it_is_taken(
    words: str, glass: str, coating: str, rates: Rates
) -> None:
    assert named(words, glass, rates) == coating


def test_no_coating_that_would_do_costs_less_than_the_one_that_is_taken(rates: Rates) -> None:
    for words in ("R <= 1 % 450 to 650 nm", "R <= 0.25 % at 532 nm", "R >= 80 % 500 to 650 nm"):
        demand, glass = drawn(words), Dispersion(rates.glass("N-BK7"))
        taken = choose(demand, glass=glass.row, diameter_mm=25.0, rates=rates)
        costs = {
            row.name: cost_of_piece(row, diameter_mm=25.0, rates=rates)
            for row in rates.coatings
            if (left := promise_of(row, Asked(*demand.band_nm, demand.angle_deg), glass)) is not None and left.meets(demand)
        }
        assert len(costs) > 1
        by_cost = sorted(costs, key=lambda name: costs[name])
        assert taken.row.name == by_cost[0]
        assert [row.name for row in taken.others] == by_cost[1:]


def front_runs(plan: OperationPlan) -> list[str | None]:
    return [one.shared_run for route in plan.routes for one in route.operations if one.operation == "coat" and one.face == "front"]


def test_a_face_that_asks_for_less_goes_into_the_run_of_one_that_asks_for_more(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """A run less is worth more than a cheaper run, so that a tighter face never makes the lens cheaper by sharing."""
    loose, tight = drawn("R <= 1.7 % 450 to 650 nm"), drawn("R <= 0.5 % 450 to 650 nm")
    alone = planned(lens(piece(coatings=(loose, None))), rates)
    assert front_runs(alone) == ["coat ar-single"]
    both = planned(lens(piece(coatings=(loose, None)), piece(name="L2", coatings=(tight, None))), rates)
    assert front_runs(both) == ["coat ar-three-crown on N-BK7"] * 2
    note = of_code(both.findings, "coating-chosen")[0]
    assert "It shares the run of other faces; ar-single would need one of its own" in note.message
    (why,) = [one for one in coats(both)["front"].basis if one.name == "coating"]
    assert "in a run that there is for other faces" in (why.reason or "")


def test_a_face_goes_into_the_run_of_a_coating_that_another_has_by_name(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    asked = drawn("R <= 1.7 % 450 to 650 nm")
    plan = planned(lens(piece(coatings=(asked, None)), piece(name="L2", coatings=("ar-broadband", None))), rates)
    assert front_runs(plan) == ["coat ar-broadband on N-BK7"] * 2


def test_faces_on_different_glasses_share_no_run_that_is_trimmed_to_one(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    loose, tight = drawn("R <= 1.7 % 450 to 650 nm"), drawn("R <= 0.5 % 450 to 650 nm")
    plan = planned(lens(piece(coatings=(loose, None)), piece(name="L2", glass="N-SF6", coatings=(tight, None))), rates)
    assert front_runs(plan) == ["coat ar-single", "coat ar-three-dense on N-SF6"]


def test_a_face_goes_into_the_run_of_a_design_that_another_needs_and_one_trial_does_for_both(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    loose, tight = drawn("R <= 1.7 % 650 to 1050 nm"), drawn("R <= 0.5 % 650 to 1050 nm")
    assert choose(loose, glass=rates.glass("N-SF6"), diameter_mm=25.0, rates=rates).design is None
    plan = planned(
        lens(piece(glass="N-SF6", coatings=(loose, None)), piece(name="L2", glass="N-SF6", coatings=(tight, None))), rates
    )
    assert len(set(front_runs(plan))) == 1
    assert "design" in (front_runs(plan)[0] or "")
    assert len([one for one in plan.tooling if one.name.startswith("trial run")]) == 1
    (note,), (care,) = of_code(plan.findings, "coating-chosen"), of_code(plan.findings, "coating-to-be-tried")
    assert "It shares the run of other faces" in note.message
    assert care.pointer == "/elements/1/front/coating"


def test_what_a_lens_asks_for_is_settled_by_the_cheapest_runs_of_all_choices(rates: Rates) -> None:
    """Against every choice there is, for three things asked on two glasses."""
    words = ("R <= 1.7 % 450 to 650 nm", "R <= 1 % 500 to 600 nm", "R <= 0.6 % 540 to 560 nm")
    wanted = [Wanted(drawn(one), rates.glass(glass), 25.0) for one, glass in zip(words, ("N-BK7", "N-SF6", "N-BK7"), strict=True)]
    found = sharing_runs(wanted, [], rates)

    def total(rows: Sequence[CoatingRow]) -> float:
        runs = {run_name(row, one.glass.name): cost_of_run(row, rates) for row, one in zip(rows, wanted, strict=True)}
        return sum(runs.values())

    choices = []
    for one in wanted:
        chosen = choose(one.demand, glass=one.glass, diameter_mm=25.0, rates=rates)
        choices.append((chosen.row, *chosen.others))
    assert min(map(len, choices)) > 1
    assert total([found[one] for one in wanted]) == pytest.approx(min(total(rows) for rows in product(*choices)))


RATES = seed_rates()


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.0008, 0.05), st.floats(0.5, 0.999), st.sampled_from([(450.0, 650.0), (532.0, 532.0), (640.0, 1060.0), (1000.0, 1100.0)]),
    st.sampled_from(["N-BK7", "N-SF6", "CaF2"]),
)  # fmt: skip
def test_a_tighter_reflectance_never_costs_less_a_piece(most: float, tighter: float, band: tuple[float, float], glass: str) -> None:
    """Over rows and designs alike, whatever the two limits."""

    def cost(limit: float) -> float | None:
        demand = CoatingDemand(reflectance_max_share=limit, band_nm=band)
        found = choose(demand, glass=RATES.glass(glass), diameter_mm=25.0, rates=RATES)
        return cost_of_piece(found.row, diameter_mm=25.0, rates=RATES) if found.meets else None

    loose, tight = cost(most), cost(most * tighter)
    assert tight is None or (loose is not None and tight >= loose)


@given(st.floats(0.3, 0.99), st.floats(1.0, 1.5))
def test_a_mirror_asked_to_reflect_more_never_costs_less(least: float, more: float) -> None:
    def cost(limit: float) -> float | None:
        demand = CoatingDemand(reflectance_min_share=min(limit, 0.999), band_nm=(450.0, 700.0))
        found = choose(demand, glass=RATES.glass("N-BK7"), diameter_mm=25.0, rates=RATES)
        return cost_of_piece(found.row, diameter_mm=25.0, rates=RATES) if found.meets else None

    loose, tight = cost(least), cost(least * more)
    assert tight is None or (loose is not None and tight >= loose)


def test_the_note_of_a_choice_names_the_runner_up_with_its_cost(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    plan = planned(lens(piece(coatings=(drawn("R <= 0.5 % 450 to 650 nm"), None))), rates)
    (note,) = of_code(plan.findings, "coating-chosen")
    crown, broad = (
        cost_of_piece(rates.coating(name), diameter_mm=25.0, rates=rates) for name in ("ar-three-crown", "ar-broadband")
    )
    assert f"Next would be ar-broadband, at {broad:.2f} USD a piece of a full run instead of {crown:.2f}." in note.message
    (why,) = [one for one in coats(plan)["front"].basis if one.name == "coating"]
    assert [(one.name, one.value) for one in why.inputs] == [
        ("ar-three-crown", pytest.approx(crown)),
        ("ar-broadband", pytest.approx(broad)),
    ]


def test_the_cost_of_a_full_run_is_what_its_figure_says_and_moves_with_its_rates(rates: Rates) -> None:
    row = rates.coating("ar-broadband")
    cost = cost_of_piece(row, diameter_mm=25.0, rates=rates)
    assert cost_figure(row, diameter_mm=25.0, where="/elements/0", rates=rates).value == pytest.approx(cost)
    for change in ({"pump_min": row.pump_min + 30}, {"run_consumables": row.run_consumables + 30}, {"calottes": 2}):
        assert cost_of_piece(row.model_copy(update=change), diameter_mm=25.0, rates=rates) > cost


def test_where_no_row_does_a_design_is_to_be_tried_with_its_charge_and_its_days(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    demand = drawn("R <= 0.6 % 650 to 1050 nm")
    plan = planned(lens(piece(glass="N-SF6", coatings=(demand, demand))), rates)
    cares = of_code(plan.findings, "coating-to-be-tried")
    assert [one.severity for one in cares] == ["care", "care"]
    assert float(cares[0].figure or 1) <= 0.006
    assert "MgF2" in cares[0].message
    (trial,) = [one for one in plan.tooling if one.name.startswith("trial run")]
    row = next(one for one in rates.tooling if one.kind == "coating_trial")
    assert (trial.charge, trial.lead_days) == (row.charge, row.lead_days)
    lines = coats(plan)
    assert lines["front"].shared_run == lines["back"].shared_run
    assert "design" in (lines["front"].shared_run or "")


def test_a_design_leaves_what_is_said_of_it_out_of_films_of_the_rates_and_is_the_same_each_time(rates: Rates) -> None:
    glass, demand = rates.glass("N-SF6"), drawn("R <= 0.6 % 650 to 1050 nm")
    found = choose(demand, glass=glass, diameter_mm=25.0, rates=rates)
    assert isinstance(found.row, DesignedRow)
    left = left_on(stack_of(found.row), Asked(650.0, 1050.0), Dispersion(glass))
    assert left is not None
    assert left.worst == found.left.worst <= 0.006  # type: ignore[union-attr]
    known = {(film.material, film.index) for film in films_of(rates.coatings, Asked(650.0, 1050.0))}
    assert {(layer.material, layer.index) for layer in found.row.layers} <= known
    assert choose(demand, glass=glass, diameter_mm=25.0, rates=rates) == found


def test_designs_that_leave_different_amounts_are_told_apart_by_name_though_they_have_as_many_layers(rates: Rates) -> None:
    names = {named(f"R <= {percent} % 400 to 1000 nm", "N-SF6", rates) for percent in (1.9, 1.18, 1.16)}
    stacks = {
        choose(drawn(f"R <= {percent} % 400 to 1000 nm"), glass=rates.glass("N-SF6"), diameter_mm=25.0, rates=rates).row.layers
        for percent in (1.9, 1.18, 1.16)
    }
    assert len(names) == len(stacks) == 2
    assert all(name.startswith("6-layer design 1.") and name.endswith("400-1000 nm, N-SF6") for name in names)


def test_a_design_is_run_for_no_less_than_the_dearest_coating_that_could_be_taken(rates: Rates) -> None:
    found = choose(drawn("R <= 0.02 % 540 to 560 nm"), glass=rates.glass("N-SF6"), diameter_mm=25.0, rates=rates).row
    assert isinstance(found, DesignedRow)
    dearest = max(
        (row for row in rates.coatings if not stack_of(row).absorbs),
        key=lambda row: cost_of_piece(row, diameter_mm=25.0, rates=rates),
    )
    assert found.run_of == dearest
    assert deposition_min(found) >= deposition_min(dearest)
    assert cycle_min(found) >= cycle_min(dearest)


def test_what_not_even_a_design_reaches_is_refused_with_the_nearest_which_can_be_had(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(coatings=(None, drawn("R <= 0.05 % 400 to 1000 nm"))))
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    (stop,) = found.reasons
    assert stop.code == "reflectance-unmeetable"
    assert "a design of MgF2" in stop.message
    nearest = float(stop.figure or 0)
    assert 0.01 < nearest < 0.017
    again = CoatingDemand(reflectance_max_share=nearest, band_nm=(400.0, 1000.0))
    assert choose(again, glass=rates.glass("N-BK7"), diameter_mm=25.0, rates=rates).meets


def test_a_mirror_beyond_any_metal_is_refused_with_the_best_of_them(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(coatings=(drawn("R >= 99.8 % 500 to 600 nm"), None)))
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    (stop,) = found.reasons
    assert stop.source == "rate table coatings, row mirror-silver"
    assert stop.remedy is not None
    assert "or less" in stop.remedy
    assert float(stop.figure or 0) == pytest.approx(0.98, abs=0.01)


def test_a_band_that_no_film_of_the_shop_is_known_in_is_refused_with_the_nearest_coating(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(coatings=(drawn("R >= 90 % 13000 to 14000 nm"), None)))
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    (stop,) = found.reasons
    assert stop.code == "reflectance-unmeetable"
    assert "12000 nm" in stop.message


def test_a_mirror_needs_no_index_of_the_glass_behind_it(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    """N-BK7 has no stated index at 10.6 um; gold lets nothing through to it."""
    plan = planned(lens(piece(coatings=(drawn("R >= 98 % at 10600 nm"), None))), rates)
    (note,) = of_code(plan.findings, "coating-chosen")
    assert note.source == "rate table coatings, row mirror-gold-bare"
    assert any(one.name == "least reflectance" for one in coats(plan)["front"].basis)


def test_a_mirror_is_coated_cold_and_sooner_than_any_antireflection_coating(rates: Rates) -> None:
    mirrors = [row for row in rates.coatings if stack_of(row).absorbs]
    others = [row for row in rates.coatings if not stack_of(row).absorbs]
    assert {row.heat_min for row in mirrors} == {0.0}
    assert max(map(cycle_min, mirrors)) < min(map(cycle_min, others))
    assert all(90 <= cycle_min(row) <= 120 for row in mirrors)


def test_a_mirror_keeps_the_promise_of_its_row_and_a_thin_one_is_said_to_miss_it(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    row = rates.coating("mirror-silver")
    assert not of_code(planned(lens(piece(coatings=("mirror-silver", None))), rates).findings, "mirror-promise-missed")
    thin = row.layers[1].model_copy(update={"thickness_nm": 20.0})
    shop = rates.model_copy(update={"coatings": (row.model_copy(update={"layers": (row.layers[0], thin)}),)})
    (care,) = of_code(planned(lens(piece(coatings=("mirror-silver", None))), shop).findings, "mirror-promise-missed")
    assert care.limit == row.promised_mirror_reflectance
    assert float(care.figure or 1) < 0.95


def test_a_crystal_that_stands_no_heat_is_coated_cool_and_a_named_hot_run_is_said(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """Ion-assisted runs are for fluorides; the hot run of the same film is cheaper and taken for glass."""
    fluoride = rates.glass("CaF2")
    assert {row.hottest_c for row in rates.coatings if not too_hot(row, fluoride)} == {50.0, 130.0, 140.0}
    assert named("R <= 2.1 % at 550 nm", "CaF2", rates) == "ar-cool-single"
    assert named("R <= 2.1 % at 550 nm", "N-BK7", rates) == "ar-single"
    (care,) = of_code(planned(lens(piece(glass="CaF2", coatings=("ar-single", None))), rates).findings, "coating-too-hot")
    assert (care.figure, care.limit) == (280.0, 150.0)
    assert not of_code(planned(lens(piece(coatings=("ar-single", None))), rates).findings, "coating-too-hot")


def test_a_run_of_a_stack_trimmed_to_the_index_takes_one_glass_and_a_single_layer_takes_all(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    for coating, runs in (("ar-broadband", 2), ("ar-single", 1), ("mirror-aluminium", 1)):
        made = lens(piece(coatings=(coating, None)), piece(name="L2", glass="N-SF6", coatings=(coating, None)))
        names = {one.shared_run for route in planned(made, rates).routes for one in route.operations if one.operation == "coat"}
        assert len(names) == runs, names


@pytest.mark.parametrize(
    ("words", "glass", "coating", "percent"),
    [
        ("R <= 1 % at 10000 nm", "Ge", "ar-infrared-high", 0.894),
        ("R <= 1 % at 10600 nm", "ZnSe", "ar-infrared-low", 0.108),
        ("R <= 1 % at 10600 nm", "Si", "2-layer design", 0.001),
        ("R <= 1 % 8000 to 12000 nm", "ZnSe", "2-layer design", 0.919),
    ],
)
def test_infrared_materials_are_coated_with_films_that_are_clear_there(
    words: str, glass: str, coating: str, percent: float, rates: Rates
) -> None:
    found = choose(drawn(words), glass=rates.glass(glass), diameter_mm=25.0, rates=rates)
    assert found.meets
    assert found.row.name.startswith(coating)
    assert found.left is not None
    assert 100 * found.left.worst == pytest.approx(percent, abs=2e-3)
    assert {layer.material for layer in found.row.layers} <= {"ZnS", "YbF3"}


def test_what_explains_a_choice_and_a_design_gives_its_figures_again_and_names_rows_that_there_are(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    demands = (drawn("R <= 0.5 % 450 to 650 nm"), drawn("R <= 0.5 % 650 to 1050 nm"))
    plan = planned(lens(piece(glass="N-SF6", coatings=demands)), rates)
    laws = {law.equation: law for law in LAWS.values()}
    seen = set()
    for figure in (one for line in coats(plan).values() for root in line.basis for one in within(root)):
        if figure.rate_row is not None and figure.rate_row.table == "coatings":
            assert rates.coating(figure.rate_row.row)
        if figure.formula:
            seen.add(laws[figure.formula].name)
            assert worked_out(laws[figure.formula], bound(laws[figure.formula], figure)) == pytest.approx(
                float(figure.value), rel=1e-9
            )
    assert {"full_run_cost", "trial_layers_min", "layer_min", "lenses_in_run", "minutes_cost"} <= seen


def within(figure: Figure) -> Iterator[Figure]:
    yield figure
    for one in figure.inputs:
        yield from within(one)


@given(st.floats(1.0, 4.1), st.floats(0.0, 5.0))
def test_a_film_of_no_thickness_changes_nothing(index: float, absorption: float) -> None:
    wavelengths = np.array([550.0, 1064.0])
    bare = reflectance(indices=[], thicknesses_nm=[], substrate_index=1.5, wavelengths_nm=wavelengths)
    coated = reflectance(
        indices=[complex(index, absorption)], thicknesses_nm=[0.0], substrate_index=1.5, wavelengths_nm=wavelengths
    )
    assert coated == pytest.approx(bare, abs=1e-14)


def test_two_layers_that_change_places_reflect_otherwise(rates: Rates) -> None:
    row, glass = rates.coating("ar-v-532"), Dispersion(rates.glass("N-BK7"))
    swapped = row.model_copy(update={"layers": row.layers[::-1]})
    left, other = promise_of(row, band_of(row), glass), promise_of(swapped, band_of(row), glass)
    assert left is not None
    assert other is not None
    assert other.worst > left.worst + 0.01


def test_metal_on_glass_reflects_the_same_whichever_sign_stands_before_i() -> None:
    """n - ik goes with exp(+iwt), n + ik with exp(-iwt); the Fresnel amplitude of the one is the conjugate of the other."""
    aluminium = 1.0 - 6.6j
    wavelengths = np.array([550.0])
    found = reflectance(indices=[], thicknesses_nm=[], substrate_index=aluminium.conjugate(), wavelengths_nm=wavelengths)
    assert found[0] == pytest.approx(abs((1 - aluminium) / (1 + aluminium)) ** 2, abs=1e-12)
    assert found[0] <= 1


def test_many_stacks_at_once_are_what_each_is_alone() -> None:
    wavelengths, thicknesses = np.linspace(400.0, 700.0, 5), np.array([[95.0, 127.0], [0.0, 10.0], [200.0, 0.0]])
    for angle in (0.0, 40.0):
        found = reflectances_of_stacks(
            indices=[1.38, 2.2], thicknesses_nm=thicknesses, substrate_index=1.6, wavelengths_nm=wavelengths, angle_deg=angle
        )
        for stack, alone in zip(thicknesses, found, strict=True):
            each = reflectance(
                indices=[1.38, 2.2], thicknesses_nm=list(stack), substrate_index=1.6, wavelengths_nm=wavelengths, angle_deg=angle
            )
            assert alone == pytest.approx(each, abs=1e-13)


def test_a_film_is_not_known_where_it_is_not_clear(rates: Rates) -> None:
    """Magnesium fluoride absorbs at 10 um, so what its index would do there is not said; here it is clear to 900 nm only."""
    glass, row = Dispersion(rates.glass("N-BK7")), rates.coating("ar-single")
    assert stack_of(row).range_nm[1] < 10_000
    clouded = row.model_copy(update={"layers": (row.layers[0].model_copy(update={"clear_nm": (130.0, 900.0)}),)})
    asked = Asked(880.0, 920.0)
    assert promise_of(row, asked, glass) is not None
    assert promise_of(clouded, asked, glass) is None
    assert promise_of(clouded, Asked(880.0, 900.0), glass) is not None
    assert films_of((clouded,), asked) == ()


@pytest.mark.parametrize(
    ("words", "demand"),
    [
        ("R<0.5% 450-650nm", {"reflectance_max_share": 0.005, "band_nm": [450.0, 650.0]}),
        ("7/R ≤ 0.25 % at 1064 nm", {"reflectance_max_share": 0.0025, "band_nm": [1064.0, 1064.0]}),
        ("(λ) R <= 1 % 400 to 700 nm, 30 deg", {"reflectance_max_share": 0.01, "band_nm": [400.0, 700.0], "angle_deg": 30.0}),
        ("R >= 85 % from 400 to 700 nm, 45°", {"reflectance_min_share": 0.85, "band_nm": [400.0, 700.0], "angle_deg": 45.0}),
    ],
)
def test_a_demand_is_read_as_a_drawing_writes_it(words: str, demand: dict[str, Any]) -> None:
    assert drawn(words) == CoatingDemand.model_validate(demand)
    assert drawn(str(drawn(words))) == drawn(words)


def test_words_that_are_no_demand_stay_a_name() -> None:
    for words in ("R < half a percent", "R < 0.5 % visible", "R < . % 400 nm", "ar-single"):
        assert Surface(radius_mm=50.0, clear_diameter_mm=20.0, coating=words).coating == words
