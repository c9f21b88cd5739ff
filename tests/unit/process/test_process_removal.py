from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.face_glass import cap_area_mm2, cap_volume_mm3, over_convex_mm3
from services.process.domain.element_work import ElementWork
from services.process.domain.faces.fine_grinding import abrasion_from_hardness, abrasion_of, held_speed, ladder
from services.process.domain.faces.polishing import (
    depth_from_mass_um,
    pass_share,
    polishing_min,
    removal_rate_um_per_h,
    runs_until_good,
)
from services.process.domain.faces.removal import (
    GeneratingRate,
    Grindability,
    class_factor_of,
    generating_min,
    generating_rate,
    grindability_class,
    grindability_of,
    removal_rate,
)
from services.process.domain.faces.surfacing import surface
from services.process.domain.route.cutting import core_volume_mm3, generate, off_flat_blank_mm3, off_pressing_mm3, volume_off_face
from services.process.domain.route.edging import bevelled_faces, centre_and_bevel, centring_method, ring_mm2
from services.process.domain.route.lines import Line
from services.process.domain.route.rate_rows import grinding_row, grit_rows, polishing_for, yield_for
from services.process.domain.route.work_centres import work_centre_for
from services.rates.domain.seed import seed_rates
from services.shop.allowances import allowance_row
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GrindingRow, RateMissing, Rates

SHOP = seed_rates()


def test_a_flat_blank_gives_what_lies_over_the_face_and_its_allowance(work: Callable[..., ElementWork], rates: Rates) -> None:
    made = work(radii_mm=(50.0, None))
    y, sag = 13.5, 50 - math.sqrt(50**2 - 13.5**2)
    cap = math.pi * sag**2 * (150 - sag) / 3
    disc = math.pi * y**2
    assert volume_off_face(made, made.front, rates) == pytest.approx(disc * (sag + 0.3) - cap)
    assert volume_off_face(made, made.back, rates) == pytest.approx(disc * 0.3)


def test_a_hollow_face_gives_its_cap(work: Callable[..., ElementWork], rates: Rates) -> None:
    made = work(radii_mm=(-50.0, None))
    sag = 50 - math.sqrt(50**2 - 13.5**2)
    assert volume_off_face(made, made.front, rates) == pytest.approx(math.pi * sag**2 * (150 - sag) / 3 + math.pi * 13.5**2 * 0.3)


def test_a_pressing_gives_its_area_times_its_allowance(work: Callable[..., ElementWork], rates: Rates) -> None:
    made = work(radii_mm=(50.0, None), form="pressing")
    left = allowance_row(kind="per_face", form="pressing", diameter_mm=25.0, rows=rates.allowances).allowance_mm
    sag = 50 - math.sqrt(50**2 - 13.5**2)
    assert volume_off_face(made, made.front, rates) == pytest.approx(2 * math.pi * 50 * sag * left)
    assert volume_off_face(made, made.back, rates) == pytest.approx(math.pi * 13.5**2 * left)


@given(st.floats(2.0, 60.0), st.floats(1.01, 50.0), st.booleans(), st.floats(0.05, 0.3))
def test_a_face_with_its_curve_pressed_in_never_gives_more_than_one_out_of_a_flat_blank(
    y: float, radius_share: float, convex: bool, left_share: float
) -> None:
    radius, left = y * radius_share, y * left_share
    sag = radius - math.sqrt(radius**2 - y**2)
    cap = cap_volume_mm3(radius_mm=radius, sag_mm=sag)
    over = over_convex_mm3(semi_diameter_mm=y, radius_mm=radius, sag_mm=sag) if convex else cap
    pressed = off_pressing_mm3(area_mm2=cap_area_mm2(radius_mm=radius, sag_mm=sag), allowance_mm=left)
    assert pressed <= off_flat_blank_mm3(over_face_mm3=over, blank_diameter_mm=2 * y, allowance_mm=left) * (1 + 1e-9)


@given(st.floats(1.0, 1e5), st.floats(1.0, 1e5), st.floats(3.0, 200.0), st.sampled_from(range(1, 7)))
def test_more_glass_takes_longer_to_generate(one: float, other: float, diameter_mm: float, hg: int) -> None:
    less, more = sorted((one, other))
    assert minutes_of_generating(less, diameter_mm, hg) <= minutes_of_generating(more, diameter_mm, hg)


@given(st.floats(1.0, 1e5), st.floats(3.0, 200.0), st.floats(3.0, 200.0), st.sampled_from(range(1, 7)))
def test_the_same_glass_never_takes_longer_on_a_wider_face(volume: float, one: float, other: float, hg: int) -> None:
    narrow, wide = sorted((one, other))
    assert minutes_of_generating(volume, wide, hg) <= minutes_of_generating(volume, narrow, hg)


@given(st.floats(1.0, 1e5), st.floats(3.0, 200.0))
def test_a_class_that_is_ground_easily_is_generated_faster(volume: float, diameter_mm: float) -> None:
    by_class = [minutes_of_generating(volume, diameter_mm, hg) for hg in range(1, 7)]
    assert by_class == sorted(by_class, reverse=True)
    assert by_class[5] < by_class[0]


def minutes_of_generating(volume_mm3: float, diameter_mm: float, hg: int) -> float:
    row = grinding_row(SHOP, "generate", hg)
    rate = GeneratingRate(row, Grindability(SHOP.glass("N-BK7"), hg, fitted=False), diameter_mm)
    return generating_min(volume_mm3=volume_mm3, removal_mm3_per_min=rate.mm3_per_min, spark_out_min=row.spark_out_min)


def test_a_row_without_an_infeed_cuts_alike_at_every_diameter(rates: Rates) -> None:
    old = grinding_row(rates, "generate", 3).model_copy(update={"infeed_mm_per_min": None, "removal_mm3_per_min": 160.0})
    rows = tuple(old if row.name == old.name else row for row in rates.grinding)
    shop = rates.model_copy(update={"grinding": rows})
    assert {generating_rate(rates.glass("N-BK7"), wide, shop).mm3_per_min for wide in (5.0, 25.0, 100.0)} == {160.0}


def test_a_generating_row_without_a_limit_is_missing_by_name(rates: Rates) -> None:
    bare = tuple(row.model_copy(update={"removal_limit_mm3_per_min": None}) for row in rates.grinding)
    with pytest.raises(RateMissing, match="removal_limit_mm3_per_min of generate HG3"):
        _ = generating_rate(rates.glass("N-BK7"), 25.0, rates.model_copy(update={"grinding": bare})).mm3_per_min


@pytest.mark.parametrize(
    ("diameter", "radius", "low", "high"), [(8.0, 16.0, 1, 4), (25.0, 50.0, 3, 6), (50.0, 100.0, 3.5, 10), (100.0, 160.0, 5, 25)]
)
def test_a_face_is_generated_in_the_minutes_that_its_size_takes(
    diameter: float, radius: float, low: float, high: float, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    """Common practice for a cup wheel in class 3, loading included."""
    made = lens(piece(diameter_mm=diameter, radii_mm=(radius, -radius), centre_thickness_mm=diameter / 4))
    (work,) = made.works(rates)
    assert low <= generate(work, work.front, rates, worked_first=True).batch_min <= high


def test_minutes_of_generating_grow_with_the_lens_and_have_no_step_at_a_flat_face(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    def minutes(diameter: float, radius: float | None) -> float:
        made = lens(piece(diameter_mm=diameter, radii_mm=(radius, -900.0), centre_thickness_mm=diameter / 3))
        (work,) = made.works(rates)
        return generate(work, work.front, rates, worked_first=True).batch_min

    grown = [minutes(diameter, 1.2 * diameter) for diameter in (3, 6, 12, 25, 50, 80, 115)]
    assert grown == sorted(grown)
    assert minutes(25.0, 1e7) == pytest.approx(minutes(25.0, None), abs=1e-4)
    assert math.isfinite(minutes(25.0, 13.6))


def test_a_blank_narrower_than_its_lens_has_no_rim() -> None:
    with pytest.raises(FigureOutOfRange, match="at least that of the lens"):
        ring_mm2(blank_diameter_mm=24.0, diameter_mm=25.0)


def test_a_core_drill_turns_a_ring_to_slurry() -> None:
    outer, inner = math.pi / 4 * 30**2 * 6, math.pi / 4 * 27**2 * 6
    assert core_volume_mm3(diameter_mm=27, thickness_mm=6, kerf_mm=1.5) == pytest.approx(outer - inner)


def test_a_grindable_class_is_generated_faster(rates: Rates) -> None:
    by_class = [class_factor_of(hg, rates).value for hg in range(1, 7)]
    assert by_class == sorted(by_class)
    assert by_class[2] == 1.0


def test_sawing_follows_the_class_of_the_glass(rates: Rates) -> None:
    crown, flint = rates.glass("N-BK7"), rates.glass("SF57")
    assert removal_rate("saw", crown, rates).mm3_per_min > removal_rate("saw", flint, rates).mm3_per_min


def test_diamond_and_loose_grit_rank_glasses_differently(rates: Rates) -> None:
    """A dense leaded flint is slow on diamond pellets and fast on loose abrasive."""
    crown, flint = rates.glass("N-BK7"), rates.glass("SF57")
    assert grindability_of(flint).hg < grindability_of(crown).hg
    assert abrasion_of(flint).aa > abrasion_of(crown).aa


def test_a_fitted_class_or_abrasion_says_so_in_its_figure(rates: Rates) -> None:
    published = rates.glass("N-BK7")
    bare = published.model_copy(update={"grindability_hg": None, "abrasion_aa": None})
    assert grindability_of(published).figure().formula is None
    for figure in (grindability_of(bare).figure(), abrasion_of(bare).figure()):
        assert figure.formula is not None
        assert "least squares" in str(figure.source)
        assert figure.rate_row is not None


def test_a_glass_without_any_hardness_is_missing_by_name(rates: Rates) -> None:
    bare = rates.glass("N-BK7").model_copy(update={"grindability_hg": None, "abrasion_aa": None, "knoop_hk": None})
    with pytest.raises(RateMissing, match="N-BK7"):
        grindability_of(bare)
    with pytest.raises(RateMissing, match="N-BK7"):
        abrasion_of(bare)


def test_a_published_abrasion_wins_over_the_fit(rates: Rates) -> None:
    glass = rates.glass("N-BK7").model_copy(update={"abrasion_aa": 77.0, "knoop_hk": 610.0})
    assert (abrasion_of(glass).aa, abrasion_of(glass).fitted) == (77.0, False)


def test_twice_as_hard_wears_about_seven_times_slower() -> None:
    assert abrasion_from_hardness(knoop_hk=300) / abrasion_from_hardness(knoop_hk=600) == pytest.approx(2**2.783)


def test_no_glass_has_a_hardness_of_zero() -> None:
    with pytest.raises(FigureOutOfRange, match="Knoop"):
        abrasion_from_hardness(knoop_hk=0.0)


def generator(rates: Rates, grit_um: float) -> GrindingRow:
    return grinding_row(rates, "generate").model_copy(update={"grit_um": grit_um, "damage_multiple": 3.0})


def test_every_grit_removes_the_damage_of_the_one_before(rates: Rates) -> None:
    found = ladder(rates.glass("N-BK7"), method="block", after=generator(rates, 64.0), rates=rates)
    grits = [64.0, *(rung.row.grit_um for rung in found.rungs)]
    assert [rung.removal_um for rung in found.rungs] == [3 * grit for grit in grits[:-1]]
    assert grits == sorted(grits, reverse=True)


def test_a_finer_generator_skips_the_coarse_grits(rates: Rates) -> None:
    found = ladder(rates.glass("N-BK7"), method="block", after=generator(rates, 20.0), rates=rates)
    assert [rung.row.grit_um for rung in found.rungs] == [row.grit_um for row in grit_rows(rates, "block") if row.grit_um < 20]


def test_a_softer_glass_climbs_the_loose_ladder_faster(rates: Rates) -> None:
    soft, hard = (
        rates.glass("N-BK7").model_copy(update={"abrasion_aa": 300.0}),
        rates.glass("N-BK7").model_copy(update={"abrasion_aa": 60.0}),
    )
    minutes = [
        sum(rung.minutes for rung in ladder(g, method="block", after=generator(rates, 64.0), rates=rates).rungs)
        for g in (soft, hard)
    ]
    assert minutes[0] < minutes[1]


def test_a_grit_without_a_rate_is_missing_by_name(rates: Rates) -> None:
    broken = tuple(row.model_copy(update={"removal_um_per_min": None}) for row in rates.grinding)
    with pytest.raises(RateMissing, match="removal_um_per_min of loose 30 um"):
        ladder(
            rates.glass("N-BK7"), method="block", after=generator(rates, 64.0),
            rates=rates.model_copy(update={"grinding": broken}),
        )  # fmt: skip


def test_polishing_needs_pressure_and_speed() -> None:
    with pytest.raises(FigureOutOfRange, match="above 0"):
        polishing_min(removal_um=15, rate_um_per_h=0.0)


def test_half_of_the_runs_reach_the_median_and_every_one_a_loose_figure() -> None:
    assert pass_share(figure_fringes=0.25, median_fringes=0.25, log_sd=0.5) == pytest.approx(0.5)
    assert pass_share(figure_fringes=25.0, median_fringes=0.25, log_sd=0.5) == pytest.approx(1.0)


def test_no_figure_of_nothing() -> None:
    with pytest.raises(FigureOutOfRange, match="irregularity"):
        pass_share(figure_fringes=0.0, median_fringes=0.25, log_sd=0.5)


@pytest.mark.parametrize("method", ["block", "single"])
@given(figure=st.floats(0.01, 10.0))
def test_runs_grow_without_a_step_as_the_figure_gets_finer(figure: float, method: str, rates: Rates) -> None:
    row = polishing_for(rates, rates.glass("N-BK7"), method)
    once, finer = runs_until_good(row, figure), runs_until_good(row, 0.99 * figure)
    assert 1.0 <= once <= finer < 1.03 * once


def test_corrections_step_by_step_join_the_runs_that_are_made_anew(rates: Rates) -> None:
    row = polishing_for(rates, rates.glass("N-BK7"), "block")
    joint = 0.25 * math.exp(-0.9 * 0.5)
    above, at, below = (runs_until_good(row, joint * by) for by in (1.001, 1.0, 0.999))
    assert at == pytest.approx(1 / 0.184060, rel=1e-4)
    assert (below - at) / (at - above) == pytest.approx(1.0, abs=0.01)


def test_a_row_without_a_median_has_the_usual_one_of_its_method(rates: Rates) -> None:
    for method, usual in (("block", 0.25), ("single", 0.08)):
        row = polishing_for(rates, rates.glass("N-BK7"), method)
        assert row.model_copy(update={"form_median_fringes": None}).median_fringes == usual
        assert row.model_copy(update={"form_median_fringes": 0.11}).median_fringes == 0.11


@pytest.mark.parametrize(("z", "method"), [(1.0, "bell"), (0.51, "bell"), (0.49, "optical"), (0.0, "optical")])
def test_a_lens_that_will_not_slide_true_is_centred_optically(z: float, method: str, work: Callable[..., ElementWork]) -> None:
    assert centring_method(replace(work(), centring_z=z)) == method


def test_a_tolerance_beyond_the_bells_is_centred_optically(work: Callable[..., ElementWork]) -> None:
    assert [centring_method(work(centring_arcmin=arcmin)) for arcmin in (5.0, 1.1, 0.9, 0.3)] == [
        "bell",
        "bell",
        "optical",
        "optical",
    ]


def test_a_window_is_ground_round_and_held_parallel_by_polishing(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    window = {"radii_mm": (None, None), "diameter_mm": 100.0, "centre_thickness_mm": 12.0}
    loose, tight = (lens(piece(**window, centring_arcmin=arcmin)).works(rates)[0] for arcmin in (5.0, 0.5))
    edged = [next(iter(centre_and_bevel(work, rates))) for work in (loose, tight)]
    assert {(line.method, line.work_centre) for line in edged} == {("edging", "round edging")}
    assert edged[0].batch_min == edged[1].batch_min < 30
    assert edged[0].yield_share == yield_for(rates, "centre", "edging").yield_share
    polished = [polish(work, rates) for work in (loose, tight)]
    assert polished[0].batch_min < polished[1].batch_min
    assert polished[0].yield_share > polished[1].yield_share


def polish(work: ElementWork, rates: Rates) -> Line:
    steps = surface(work, work.front, "block", rates, worked_first=True)
    return next(step for step in steps if step.operation == "polish")


def test_finer_centring_goes_from_bells_to_optics_without_a_step(work: Callable[..., ElementWork], rates: Rates) -> None:
    def cost(arcmin: float, z: float = 1.0) -> float:
        line = next(iter(centre_and_bevel(replace(work(centring_arcmin=arcmin), centring_z=z), rates)))
        per_hour = float(line.centre.machine_rate_per_h) + line.attended_share * float(line.centre.labour_rate_per_h)
        return line.batch_min * per_hour / 60 / line.yield_share

    assert cost(0.2) > 3 * cost(20.0)
    for step in range(200):
        tight = 20.0 * 0.977**step
        assert cost(tight) <= cost(0.99 * tight) <= 1.05 * cost(tight), tight
        z = 0.3 + 0.002 * step
        assert cost(3.0, z + 0.002) <= cost(3.0, z) <= 1.05 * cost(3.0, z + 0.002), z


def test_the_set_up_and_the_yield_of_centring_turn_with_its_method(work: Callable[..., ElementWork], rates: Rates) -> None:
    lines = [next(iter(centre_and_bevel(work(centring_arcmin=arcmin), rates))) for arcmin in (20.0, 1.0, 0.25)]
    bell, optical = (work_centre_for(rates, "centre", method) for method in ("bell", "optical"))
    assert [line.setup_min for line in lines] == sorted(line.setup_min for line in lines)
    assert lines[0].setup_min == pytest.approx(bell.setup_min, abs=0.01)
    assert lines[2].setup_min == pytest.approx(optical.setup_min, abs=0.1)
    assert lines[1].attended_share == pytest.approx((bell.attended_share + optical.attended_share) / 2, abs=0.01)


def test_a_steep_rim_needs_no_bevel(work: Callable[..., ElementWork]) -> None:
    assert bevelled_faces(work(radii_mm=(50.0, -50.0))) == 2
    assert bevelled_faces(work(radii_mm=(26.0, -50.0))) == 1
    assert bevelled_faces(work(radii_mm=(None, -50.0))) == 2


@pytest.mark.parametrize(
    ("radii", "first"),
    [
        ((50.0, -50.0), "front"),
        ((50.0, 60.0), "back"),
        ((-60.0, -50.0), "front"),
        ((30.0, -400.0), "back"),
        ((None, -50.0), "front"),
    ],
)
def test_the_concave_or_flatter_face_is_worked_first(
    radii: tuple[float | None, float | None], first: str, work: Callable[..., ElementWork]
) -> None:
    order = work(radii_mm=radii).in_order
    assert order[0].face == first
    assert {face.face for face in order} == {"front", "back"}


def test_twice_the_pressure_or_speed_halves_the_time() -> None:
    usual = {"preston_coefficient_per_pa": 7e-13, "pressure_pa": 1e4, "speed_m_per_s": 0.5}

    def minutes(**changes: float) -> float:
        return polishing_min(removal_um=15.0, rate_um_per_h=removal_rate_um_per_h(**usual | changes))

    for name, figure in usual.items():
        assert minutes(**{name: 2 * figure}) == pytest.approx(minutes() / 2)


@pytest.mark.parametrize(("density", "area"), [(0.0, 100.0), (2.2, 0.0)])
def test_a_depth_by_weighing_needs_density_and_area(density: float, area: float) -> None:
    with pytest.raises(FigureOutOfRange, match="above 0"):
        depth_from_mass_um(mass_g=1.0, density_g_cm3=density, area_cm2=area)


def test_a_depth_by_weighing_is_that_of_a_slab() -> None:
    assert depth_from_mass_um(mass_g=2.5 * 4.0 * 0.01, density_g_cm3=2.5, area_cm2=4.0) == pytest.approx(100.0)


def test_no_glass_gives_no_volume_to_a_pellet() -> None:
    with pytest.raises(FigureOutOfRange, match="N-SK16"):
        grindability_class(0.0)


def test_a_soft_glass_grinds_three_times_as_fast_at_most_and_a_delicate_one_no_faster() -> None:
    assert held_speed(glass_factor=6.0, work_factor=1.0) == 3.0
    assert held_speed(glass_factor=6.0, work_factor=1.5) == 1.0
    assert held_speed(glass_factor=0.4, work_factor=1.5) == 0.4
    assert held_speed(glass_factor=2.0, work_factor=1.0) == 2.0
