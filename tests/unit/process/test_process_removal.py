from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from services.process.domain.element_work import ElementWork
from services.process.domain.faces.fine_grinding import abrasion_from_hardness, abrasion_of, ladder
from services.process.domain.faces.polishing import (
    depth_from_mass_um,
    figuring_loops,
    figuring_min,
    polishing_min,
    removal_rate_um_per_h,
)
from services.process.domain.faces.removal import class_factor_of, grindability_class, grindability_of, removal_rate
from services.process.domain.route.cutting import core_volume_mm3, generated_volume_mm3, share_of_face
from services.process.domain.route.edging import bevelled_faces, centring_method, rim_volume_mm3
from services.process.domain.route.rate_rows import grinding_row, grit_rows
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GrindingRow, RateMissing, Rates


def test_generating_takes_blank_less_lens_less_rim() -> None:
    assert generated_volume_mm3(blank_mm3=3778.9, lens_mm3=2170.1, rim_mm3=231.0) == pytest.approx(1377.8)


def test_a_lens_larger_than_its_blank_is_refused_with_both_figures() -> None:
    with pytest.raises(FigureOutOfRange, match=r"3000.*2000"):
        generated_volume_mm3(blank_mm3=2000.0, lens_mm3=3000.0, rim_mm3=0.0)


def test_both_faces_share_the_whole_volume() -> None:
    assert share_of_face(sag_mm=1.6, other_sag_mm=0.3) + share_of_face(sag_mm=0.3, other_sag_mm=1.6) == pytest.approx(1.0)
    assert share_of_face(sag_mm=0.0, other_sag_mm=0.0) == 0.5


def test_a_blank_narrower_than_its_lens_has_no_rim() -> None:
    with pytest.raises(FigureOutOfRange, match="at least that of the lens"):
        rim_volume_mm3(blank_diameter_mm=24.0, diameter_mm=25.0, edge_mm=3.0)


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


@pytest.mark.parametrize(("target", "loops"), [(5.0, 1), (2.0, 1), (1.0, 2), (0.5, 3), (0.25, 4), (0.2, 5)])
def test_each_figuring_loop_halves_the_error(target: float, loops: int) -> None:
    assert figuring_loops(start_fringes=2.0, target_fringes=target) == loops


def test_after_the_last_measurement_nothing_is_corrected() -> None:
    assert figuring_min(loops=3, measure_min=4, correct_min=8) == 3 * 4 + 2 * 8


def test_a_figure_of_nothing_cannot_be_reached() -> None:
    with pytest.raises(FigureOutOfRange, match="irregularity"):
        figuring_loops(start_fringes=2.0, target_fringes=0.0)


@pytest.mark.parametrize(("z", "method"), [(1.0, "bell"), (0.56, "bell"), (0.559, "optical"), (0.0, "optical")])
def test_a_lens_that_will_not_slide_true_is_centred_optically(z: float, method: str) -> None:
    assert centring_method(z) == method


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


def test_no_figuring_without_a_measurement() -> None:
    with pytest.raises(FigureOutOfRange, match="loops"):
        figuring_min(loops=0, measure_min=4, correct_min=8)
