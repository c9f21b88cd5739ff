from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.dispersion import Dispersion
from services.optics.thin_film import films, quarter_wave_nm, reflectance
from services.process.domain.coating.promise import band_of, promise_of
from services.process.domain.coating.run import cycle_min, deposition_min, seats, seats_in_calotte
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates

GREEN = np.array([550.0])


@given(st.floats(1.0, 4.0))
def test_bare_glass_reflects_by_fresnel(index: float) -> None:
    found = reflectance(indices=[], thicknesses_nm=[], substrate_index=index, wavelengths_nm=GREEN)
    assert found[0] == pytest.approx(((index - 1) / (index + 1)) ** 2, abs=1e-12)


@given(st.floats(1.2, 2.6), st.floats(1.4, 2.1))
def test_a_half_wave_is_absent_at_its_wavelength(film: float, glass: float) -> None:
    bare = reflectance(indices=[], thicknesses_nm=[], substrate_index=glass, wavelengths_nm=GREEN)
    half = 2 * quarter_wave_nm(wavelength_nm=550, index=film)
    coated = reflectance(indices=[film], thicknesses_nm=[half], substrate_index=glass, wavelengths_nm=GREEN)
    assert coated[0] == pytest.approx(bare[0], abs=1e-12)


@given(st.lists(st.tuples(st.floats(1.3, 2.5), st.floats(1.0, 300.0)), max_size=6), st.floats(0.0, 85.0))
def test_reflectance_is_a_share(layers: list[tuple[float, float]], angle: float) -> None:
    found = reflectance(
        indices=[n for n, _ in layers], thicknesses_nm=[d for _, d in layers], substrate_index=1.6,
        wavelengths_nm=np.linspace(400, 700, 7), angle_deg=angle,
    )  # fmt: skip
    assert np.all((found >= -1e-12) & (found <= 1 + 1e-12))


LAYERS = st.lists(st.tuples(st.floats(1.3, 2.5), st.floats(1.0, 300.0)), min_size=1, max_size=8)
ANGLES = st.floats(0.0, 80.0)


@given(LAYERS, st.floats(1.0, 1.5), st.floats(1.5, 2.0), ANGLES, st.sampled_from(["s", "p", "mean"]))
def test_what_is_not_reflected_is_passed_when_nothing_absorbs(
    layers: list[tuple[float, float]], front: float, glass: float, angle: float, kind: Literal["s", "p", "mean"]
) -> None:
    found = films(
        indices=[n for n, _ in layers], thicknesses_nm=[t for _, t in layers], substrate_index=glass, incidence_index=front,
        wavelengths_nm=np.linspace(400, 1000, 5), angles_deg=np.array([angle]), polarisation=kind,
    )  # fmt: skip
    assert found.reflected + found.passed == pytest.approx(np.ones((1, 5)), abs=1e-10)


@given(LAYERS, st.floats(0.01, 0.5), ANGLES)
def test_an_absorbing_layer_keeps_some_of_the_light(layers: list[tuple[float, float]], absorption: float, angle: float) -> None:
    found = films(
        indices=[complex(layers[0][0], absorption), *(n for n, _ in layers[1:])], thicknesses_nm=[t for _, t in layers], substrate_index=1.5,
        wavelengths_nm=np.array([500.0, 900.0]), angles_deg=np.array([angle]),
    )  # fmt: skip
    assert np.all(found.reflected + found.passed < 1)
    assert np.all((found.reflected >= 0) & (found.passed >= 0))


@given(LAYERS, st.floats(0.0, 0.5), ANGLES, st.sampled_from(["s", "p"]))
def test_a_stack_passes_the_same_share_from_either_side(
    layers: list[tuple[float, float]], absorption: float, angle: float, kind: Literal["s", "p"]
) -> None:
    """Also when it absorbs; the angle behind it is that of the refracted light."""
    indices, thicknesses = [complex(n, absorption) for n, _ in layers], [t for _, t in layers]
    forward = films(
        indices=indices, thicknesses_nm=thicknesses, substrate_index=1.6, wavelengths_nm=GREEN, angles_deg=np.array([angle]),
        polarisation=kind,
    )  # fmt: skip
    behind = np.degrees(np.arcsin(np.sin(np.radians(angle)) / 1.6))
    backward = films(
        indices=indices[::-1], thicknesses_nm=thicknesses[::-1], substrate_index=1.0, wavelengths_nm=GREEN, angles_deg=np.array([behind]),
        polarisation=kind, incidence_index=1.6,
    )  # fmt: skip
    assert backward.passed == pytest.approx(forward.passed, abs=1e-10)


def test_light_beyond_the_critical_angle_is_all_reflected_and_none_passes() -> None:
    found = films(
        indices=[1.38], thicknesses_nm=[100.0], substrate_index=1.0, wavelengths_nm=GREEN, angles_deg=np.array([30.0, 50.0, 70.0]),
        incidence_index=1.6,
    )  # fmt: skip
    assert found.passed[0, 0] > 0.5
    assert found.reflected[1:, 0] == pytest.approx([1.0, 1.0], abs=1e-12)
    assert found.passed[1:, 0] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_exactly_at_the_critical_angle_there_is_an_answer() -> None:
    found = films(
        indices=[], thicknesses_nm=[], substrate_index=1.0, wavelengths_nm=GREEN, angles_deg=np.array([30.0]), incidence_index=2.0,
    )  # fmt: skip
    assert found.reflected[0, 0] == pytest.approx(1.0, abs=1e-6)


def test_a_millimetre_of_metal_passes_nothing_and_reflects_as_its_face_does() -> None:
    silver = 0.06 + 3.6j
    thick = films(
        indices=[1.38, silver], thicknesses_nm=[99.6, 1e6], substrate_index=1.5, wavelengths_nm=GREEN, angles_deg=np.array([0.0])
    )
    half_space = films(
        indices=[1.38], thicknesses_nm=[99.6], substrate_index=silver, wavelengths_nm=GREEN, angles_deg=np.array([0.0])
    )
    assert thick.passed[0, 0] < 1e-200
    assert thick.reflected == pytest.approx(half_space.reflected, abs=1e-12)


def test_many_angles_and_wavelengths_at_once_are_what_one_at_a_time_is() -> None:
    angles, wavelengths = np.array([0.0, 20.0, 60.0]), np.array([450.0, 550.0, 650.0, 750.0])
    glass = np.array([1.53, 1.52, 1.515, 1.51])
    whole = films(
        indices=[1.38, 2.2], thicknesses_nm=[120.0, 14.0], substrate_index=glass, wavelengths_nm=wavelengths, angles_deg=angles
    )
    assert whole.reflected.shape == whole.passed.shape == (3, 4)
    for i, angle in enumerate(angles):
        for j, wavelength in enumerate(wavelengths):
            alone = films(
                indices=[1.38, 2.2], thicknesses_nm=[120.0, 14.0], substrate_index=float(glass[j]), wavelengths_nm=np.array([wavelength]),
                angles_deg=np.array([angle]),
            )  # fmt: skip
            assert alone.reflected[0, 0] == pytest.approx(whole.reflected[i, j], abs=1e-14)


def test_a_film_of_the_root_of_the_index_leaves_nothing() -> None:
    thickness = quarter_wave_nm(wavelength_nm=550, index=1.38)
    found = reflectance(indices=[1.38], thicknesses_nm=[thickness], substrate_index=1.38**2, wavelengths_nm=GREEN)
    assert found[0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    "wrong",
    [
        {"thicknesses_nm": [-1.0]},
        {"indices": [0.0]},
        {"substrate_index": 0.0},
        {"indices": [1.38 - 0.1j]},
        {"angle_deg": -1.0},
        {"angle_deg": 90.0},
        {"wavelengths_nm": np.array([0.0])},
    ],
)
def test_a_stack_that_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    asked: dict[str, object] = {
        "indices": [1.38], "thicknesses_nm": [99.6], "substrate_index": 1.5, "wavelengths_nm": GREEN, "angle_deg": 0.0,
    } | wrong  # fmt: skip
    with pytest.raises(FigureOutOfRange):
        reflectance(**asked)  # type: ignore[arg-type]


def test_no_quarter_wave_of_no_index() -> None:
    with pytest.raises(FigureOutOfRange):
        quarter_wave_nm(wavelength_nm=550, index=0.0)
    with pytest.raises(FigureOutOfRange, match="wavelength"):
        quarter_wave_nm(wavelength_nm=0.0, index=1.38)


def test_a_run_is_the_sum_of_its_parts(rates: Rates) -> None:
    row = rates.coating("ar-single")
    parts = row.load_min + row.pump_min + row.heat_min + row.cool_min + row.vent_min + row.unload_min
    assert cycle_min(row) == pytest.approx(parts + deposition_min(row))
    assert deposition_min(row) == pytest.approx(99.638 / 0.5 / 60)


def test_more_layers_take_longer_and_leave_less(rates: Rates) -> None:
    single, broad = rates.coating("ar-single"), rates.coating("ar-broadband")
    assert cycle_min(broad) > cycle_min(single)
    crown = Dispersion(rates.glass("N-BK7"))
    few, many = (promise_of(row, band_of(single), crown) for row in (single, broad))
    assert few is not None
    assert many is not None
    assert many.worst < few.worst
    assert many.mean < few.mean


def test_witness_pieces_take_seats_and_smaller_lenses_leave_more(rates: Rates) -> None:
    row = rates.coating("ar-single")
    assert seats(row, diameter_mm=20) > seats(row, diameter_mm=40)
    bare = row.model_copy(update={"witness_pieces": 0})
    assert seats(bare, diameter_mm=30) - seats(row, diameter_mm=30) == row.witness_pieces
    each = seats_in_calotte(row, diameter_mm=30).count
    assert seats(bare, diameter_mm=30) == row.calottes * each


def test_a_lens_wider_than_the_calotte_has_no_seat(rates: Rates) -> None:
    row = rates.coating("ar-single")
    assert seats(row, diameter_mm=row.calotte_diameter_mm) == 0
