from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.process.domain.coating_cycle import cycle_min, deposition_min, residual_reflectance, seats
from services.process.domain.thin_film import quarter_wave_nm, reflectance
from services.process.errors import FigureOutOfRange
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


def test_a_film_of_the_root_of_the_index_leaves_nothing() -> None:
    thickness = quarter_wave_nm(wavelength_nm=550, index=1.38)
    found = reflectance(indices=[1.38], thicknesses_nm=[thickness], substrate_index=1.38**2, wavelengths_nm=GREEN)
    assert found[0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    "wrong",
    [
        {"thicknesses_nm": [-1.0]},
        {"indices": [0.0]},
        {"substrate_index": 0.9},
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
    assert residual_reflectance(broad, substrate_index=1.517) < residual_reflectance(single, substrate_index=1.517)


def test_witness_pieces_take_seats_and_smaller_lenses_leave_more(rates: Rates) -> None:
    row = rates.coating("ar-single")
    assert seats(row, diameter_mm=20) > seats(row, diameter_mm=40)
    bare = row.model_copy(update={"witness_pieces": 0})
    assert seats(bare, diameter_mm=30) - seats(row, diameter_mm=30) == row.witness_pieces


def test_a_lens_wider_than_the_calotte_has_no_seat(rates: Rates) -> None:
    row = rates.coating("ar-single")
    assert seats(row, diameter_mm=row.calotte_diameter_mm) == 0
