"""A coating asked for by what it is to do: which is taken, what it promises, and when the shop says no."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from services.optics.dispersion import Dispersion, cauchy_index
from services.optics.errors import WavelengthOutsideRange
from services.process.domain.coating.choice import choose
from services.process.domain.coating.promise import Asked, band_of, bare_face, promise_of
from services.process.domain.coating.run import cycle_min, seats
from services.process.domain.plan import plan_operations
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import TableUnreadable
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, OperationPlan
from shared_schemas.prescription import CoatingDemand, Surface
from shared_schemas.rates import RateMissing, Rates
from shared_schemas.traveller import Refusal


def demand(most: float, *band_nm: float, angle_deg: float = 0.0) -> CoatingDemand:
    return CoatingDemand(reflectance_max_share=most, band_nm=band_nm, angle_deg=angle_deg)  # type: ignore[arg-type]


def without_trials(rates: Rates) -> Rates:
    """The shop as it is, but that it tries no designs."""
    return rates.model_copy(update={"tooling": tuple(row for row in rates.tooling if row.kind != "coating_trial")})


def chosen(asked: CoatingDemand, glass: str, rates: Rates) -> str:
    found = choose(asked, glass=rates.glass(glass), diameter_mm=25.0, rates=rates)
    assert found.meets
    assert found.left is not None
    assert found.left.worst <= asked.reflectance_max_share
    return found.row.name


# Worst of each stack of the rates on each glass, at its own index: computed independently of the choice.
@pytest.mark.parametrize(
    ("asked", "glass", "coating"),
    [
        (demand(0.005, 450, 650), "N-BK7", "ar-three-crown"),
        (demand(0.005, 450, 650), "N-SF6", "ar-three-dense"),
        (demand(0.005, 450, 650), "N-LAK8", "ar-three-dense"),
        (demand(0.015, 450, 650), "N-BK7", "ar-three-crown"),
        (demand(0.015, 450, 650), "N-SF6", "ar-single"),
        (demand(0.015, 450, 650), "N-LAK8", "ar-single"),
        (demand(0.0025, 540, 560), "N-BK7", "ar-v-550"),
        (demand(0.0025, 540, 560), "N-SF6", "ar-single"),
        (demand(0.01, 420, 680, angle_deg=30), "N-BK7", "ar-broadband"),
        (demand(0.01, 420, 680, angle_deg=30), "N-SF6", "ar-three-dense"),
    ],
)
def test_the_cheapest_stack_that_meets_the_demand_on_the_glass_is_taken(
    asked: CoatingDemand, glass: str, coating: str, rates: Rates
) -> None:
    assert chosen(asked, glass, rates) == coating


def test_of_two_with_as_many_layers_the_shorter_run_is_taken_and_then_the_cheaper(rates: Rates) -> None:
    row = rates.coating("ar-single")
    slow = row.model_copy(update={"name": "a-slow", "pump_min": row.pump_min + 1})
    dear = row.model_copy(update={"name": "a-dear", "run_consumables": row.run_consumables + 1})
    shop = rates.model_copy(update={"coatings": (slow, dear, row)})
    assert chosen(demand(0.02, 450, 650), "N-BK7", shop) == "ar-single"
    assert chosen(demand(0.02, 450, 650), "N-BK7", shop.model_copy(update={"coatings": (slow, dear)})) == "a-dear"


def test_a_chamber_that_has_no_seat_for_the_lens_is_passed_over(rates: Rates) -> None:
    single = rates.coating("ar-single").model_copy(update={"calotte_diameter_mm": 20.0})
    shop = rates.model_copy(update={"coatings": (single, rates.coating("ar-three-dense"))})
    assert chosen(demand(0.02, 450, 650), "N-SF6", shop) == "ar-three-dense"


def test_without_any_coating_the_table_is_named(rates: Rates) -> None:
    with pytest.raises(RateMissing, match="coatings"):
        choose(
            demand(0.02, 450, 650), glass=rates.glass("N-BK7"), diameter_mm=25.0, rates=rates.model_copy(update={"coatings": ()})
        )


def planned(made: Any, rates: Rates) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def refused(made: Any, rates: Rates) -> tuple[Finding, ...]:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, Refusal)
    return found.reasons


def of_code(findings: tuple[Finding, ...], code: str) -> list[Finding]:
    return [one for one in findings if one.code == code]


def coats(plan: OperationPlan) -> dict[str | None, Operation]:
    return {one.face: one for one in plan.routes[0].operations if one.operation == "coat"}


def figures(found: tuple[Figure, ...]) -> dict[str, Figure]:
    named: dict[str, Figure] = {}
    for figure in found:
        named |= {figure.name: figure, **figures(figure.inputs)}
    return named


def test_a_demand_is_planned_as_the_coating_that_is_taken_and_a_note_says_so(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    plan = planned(lens(piece(coatings=(demand(0.005, 450, 650), None))), rates)
    (note,) = of_code(plan.findings, "coating-chosen")
    assert (note.severity, note.pointer) == ("note", "/elements/0/front/coating")
    assert "ar-three-crown" in note.message
    assert "N-BK7" in note.message
    assert coats(plan)["front"].shared_run == "coat ar-three-crown on N-BK7"
    assert set(coats(plan)) == {"front"}


def test_a_reflectance_that_nothing_meets_is_refused_with_the_best_there_is(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    (stop,) = refused(lens(piece(coatings=(None, demand(0.001, 420, 680)))), without_trials(rates))
    assert (stop.code, stop.severity, stop.pointer) == ("reflectance-unmeetable", "stop", "/elements/0/back/coating")
    assert stop.figure == pytest.approx(0.00411, abs=2e-5)
    assert stop.limit == 0.001
    assert stop.source == "rate table coatings, row ar-three-crown"


def test_what_the_refusal_calls_the_best_can_be_had(rates: Rates) -> None:
    shop = without_trials(rates)
    best = choose(demand(0.001, 420, 680), glass=shop.glass("N-BK7"), diameter_mm=25.0, rates=shop).left
    assert best is not None
    assert chosen(demand(best.worst, 420, 680), "N-BK7", shop) == "ar-three-crown"


def test_a_band_where_the_glass_has_no_index_is_refused_at_the_band(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    (stop,) = refused(lens(piece(coatings=(demand(0.005, 3000, 5000), None))), rates)
    assert (stop.code, stop.pointer) == ("coating-band-beyond-glass", "/elements/0/front/coating/band_nm")


def test_a_demand_that_bare_glass_meets_is_said_to_need_no_coating(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    plan = planned(lens(piece(coatings=(demand(0.05, 450, 650), None))), rates)
    (care,) = of_code(plan.findings, "coating-not-needed")
    assert care.severity == "care"
    assert care.figure == pytest.approx(((1.5253 - 1) / 2.5253) ** 2, abs=1e-4)


def test_a_named_coating_that_misses_its_promise_on_this_glass_gets_a_care_and_one_that_keeps_it_none(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    dense = planned(lens(piece(glass="N-SF6", coatings=("ar-broadband", None))), rates)
    (care,) = of_code(dense.findings, "coating-promise-missed")
    assert care.limit == rates.coating("ar-broadband").promised_reflectance
    assert care.figure == pytest.approx(0.0205, abs=2e-4)
    crown = planned(lens(piece(coatings=("ar-broadband", None))), rates)
    assert not of_code(crown.findings, "coating-promise-missed")


def test_a_named_coating_for_a_band_beyond_the_glass_is_not_evaluated_and_that_is_said(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    row = rates.coating("ar-single").model_copy(
        update={"name": "ir", "design_wavelength_nm": 4000.0, "band_from_nm": 3000.0, "band_to_nm": 5000.0}
    )
    shop = rates.model_copy(update={"coatings": (*rates.coatings, row)})
    plan = planned(lens(piece(coatings=("ir", None))), shop)
    assert of_code(plan.findings, "coating-not-evaluated")
    assert "worst reflectance" not in figures(coats(plan)["front"].basis)


def test_the_basis_has_the_parts_of_the_run_the_seats_and_what_is_promised(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    row = rates.coating("ar-broadband")
    found = figures(coats(planned(lens(piece(coatings=("ar-broadband", None))), rates))["front"].basis)
    parts = ("load_min", "pump_min", "heat_min", "layers_min", "cool_min", "vent_min", "unload_min")
    assert found["run_min"].value == pytest.approx(sum(float(found[name].value) for name in parts))
    assert found["run_min"].value == pytest.approx(cycle_min(row))
    assert found["run_min"].rate_row is not None
    assert found["run_min"].rate_row.row == row.name
    layers = found["layers_min"].inputs
    assert len(layers) == len(row.layers)
    assert sum(float(layer.value) for layer in layers) == pytest.approx(float(found["layers_min"].value))
    each = int(found["seats_in_calotte"].value)
    assert found["batch_size"].value == each * row.calottes - row.witness_pieces == seats(row, diameter_mm=25.0)
    left = promise_of(row, band_of(row), Dispersion(rates.glass("N-BK7")))
    assert left is not None
    assert (found["mean reflectance"].value, found["worst reflectance"].value) == (left.mean, left.worst)


def test_two_coated_faces_are_two_lines_of_one_shared_run(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    lines = coats(planned(lens(piece()), rates))
    assert {one.shared_run for one in lines.values()} == {"coat ar-single"}
    others = [one for one in planned(lens(piece()), rates).routes[0].operations if one.operation != "coat"]
    assert {one.shared_run for one in others} == {None}


def test_a_cemented_face_is_not_coated_whatever_is_asked(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    pair = lens(
        piece(radii_mm=(50.0, -50.0), coatings=(None, demand(0.0001, 450, 650))),
        piece(name="L2", glass="N-SF6", radii_mm=(-50.0, None), coatings=(None, None)), cemented=(0,),
    )  # fmt: skip
    assert coats(planned(pair, rates)) == {}


def test_the_promise_is_worse_where_the_glass_is_farther_from_the_square_of_the_film(rates: Rates) -> None:
    row, green = rates.coating("ar-single"), Asked(550.0, 550.0)
    left = [promise_of(row, green, Dispersion(rates.glass(name))) for name in ("N-BK7", "N-LAK8", "N-SF6")]
    worst = [one.worst for one in left if one is not None]
    assert worst == sorted(worst, reverse=True)
    assert len(worst) == 3


def test_one_line_is_its_own_mean(rates: Rates) -> None:
    left = promise_of(rates.coating("ar-single"), Asked(550.0, 550.0, 10.0), Dispersion(rates.glass("N-BK7")))
    assert left is not None
    assert left.mean == left.worst


def test_bare_glass_reflects_by_its_own_index(rates: Rates) -> None:
    glass = Dispersion(rates.glass("N-SF6"))
    left = bare_face(Asked(587.5618, 587.5618), glass)
    assert left is not None
    assert left.worst == pytest.approx((0.80518 / 2.80518) ** 2, abs=1e-6)


def test_beyond_the_range_of_a_glass_there_is_no_index(rates: Rates) -> None:
    crown = rates.glass("N-BK7")
    for glass in (Dispersion(crown), Dispersion(crown.model_copy(update={"sellmeier_b1": None}))):
        for wavelength in (250.0, 3000.0):
            with pytest.raises(WavelengthOutsideRange, match="N-BK7"):
                glass.index(np.array([wavelength]))


def test_a_glass_without_the_six_terms_takes_the_two_from_index_and_abbe_number(rates: Rates) -> None:
    row = rates.glass("N-BK7").model_copy(update={"sellmeier_c3_um2": None})
    band = np.array([450.0, 900.0])
    assert Dispersion(row).fitted
    assert Dispersion(row).index(band) == pytest.approx(cauchy_index(nd=row.nd, vd=row.vd, wavelength_nm=band))


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"reflectance_max_share": -0.005}, "reflectance_max_share"),
        ({"reflectance_max_share": 0.0}, "reflectance_max_share"),
        ({"reflectance_max_share": 1.0}, "reflectance_max_share"),
        ({"reflectance_max_share": None}, "reflectance_max_share"),
        ({"reflectance_min_share": 0.9}, "reflectance_max_share"),
        ({"reflectance_min_share": 1.0}, "reflectance_min_share"),
        ({"band_nm": [650, 450]}, "band_nm"),
        ({"band_nm": [-1, 450]}, "band_nm"),
        ({"band_nm": [450]}, "band_nm"),
        ({"angle_deg": 90.0}, "angle_deg"),
        ({"angle_deg": -1.0}, "angle_deg"),
        ({"polarisation": "s"}, "polarisation"),
    ],
)
def test_an_absurd_demand_is_a_fault_at_its_place(wrong: dict[str, Any], where: str) -> None:
    asked = {"reflectance_max_share": 0.005, "band_nm": [450, 650], "angle_deg": 0.0} | wrong
    with pytest.raises(ValidationError) as fault:
        Surface.model_validate({"radius_mm": 50.0, "clear_diameter_mm": 20.0, "coating": asked})
    assert any(where in error["loc"] for error in fault.value.errors())


def test_a_demand_survives_being_written_and_read() -> None:
    surface = Surface(radius_mm=50.0, clear_diameter_mm=20.0, coating=demand(0.005, 450, 650, angle_deg=15.0))
    assert Surface.model_validate_json(surface.model_dump_json()) == surface
    assert str(surface.coating) == "R <= 0.5 % 450 to 650 nm, 15 deg"


SILVER = {"material": "silver", "index": 0.05, "thickness_nm": 150.0, "rate_nm_per_s": 4.0}


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"layers": [{"material": "MgF2", "index": 1.38, "thickness_nm": -99.6, "rate_nm_per_s": 0.5}]}, "/rows/0/layers/0/thickness_nm"),
        ({"layers": [{"material": "MgF2", "index": 1.38, "thickness_nm": 0.0, "rate_nm_per_s": 0.5}]}, "/rows/0/layers/0/thickness_nm"),
        ({"layers": []}, "/rows/0/layers"),
        ({"band_to_nm": None}, "/rows/0/band_to_nm"),
        ({"band_to_nm": 400.0}, "/rows/0/band_to_nm"),
        ({"band_from_nm": None, "band_to_nm": None}, "/rows/0/promised_reflectance"),
        ({"promised_reflectance": 1.5}, "/rows/0/promised_reflectance"),
        ({"band_from_nm": None, "band_to_nm": None, "promised_reflectance": None, "promised_mirror_reflectance": 0.9}, "/rows/0/promised_mirror_reflectance"),
        ({"layers": [SILVER | {"clear_nm": [900.0, 400.0]}]}, "/rows/0/layers/0/clear_nm"),
        ({"layers": [SILVER | {"tabulated": [[500.0, 0.05, 3.1], [500.0, 0.05, 3.5]]}]}, "/rows/0/layers/0/tabulated/1"),
        ({"layers": [SILVER | {"extinction": -1.0}]}, "/rows/0/layers/0/extinction"),
        ({"hottest_c": 0.0}, "/rows/0/hottest_c"),
    ],
)  # fmt: skip
def test_a_coating_that_cannot_be_is_refused_by_table_and_row(wrong: dict[str, Any], pointer: str, rates: Rates) -> None:
    record = rates.coating("ar-single").model_dump(mode="json") | wrong
    with pytest.raises(TableUnreadable, match="coatings") as fault:
        validated_rows("coatings", [record])
    assert fault.value.errors[0].pointer == pointer
