"""Every formula that is ever shown is the equation of a law, and every equation is what its function works out."""

from __future__ import annotations

import importlib
import math
import pkgutil
import random
from collections.abc import Iterator
from typing import Any

import pytest

import services
from services.optics.law import LAWS, Law
from tests.laws.equations import DRAWS, arguments_of, drawn, names_in, worked_out

ROOMS = ("optics", "shop", "prescription.domain", "glass.domain", "process.domain", "quoting.costs", "quoting.risk", "quoting.promise",
         "quoting.pricing", "quoting.explain", "orders.domain")  # fmt: skip

WITHIN_REACH = {"radius_mm": (30.0, 200.0), "height_mm": (0.5, 15.0), "conic": (-3.0, 1.0)}
VISIBLE = {"wavelength_nm": (400.0, 1500.0)}
PLATE = {
    "length_mm": (80.0, 300.0),
    "width_mm": (80.0, 300.0),
    "slice_mm": (80.0, 300.0),
    "clear_edge_mm": (0.0, 4.0),
    "diameter_mm": (4.0, 60.0),
    "gap_mm": (1.0, 6.0),
}
RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "sag_of_conic_mm": WITHIN_REACH,
    "slope_of_conic": WITHIN_REACH,
    "aspheric_term_mm": {"order": (4, 20), "height_mm": (0.1, 2.0)},
    "index_by_sellmeier": {
        "constant": (0.5, 4.0),
        "b1": (0.5, 1.5),
        "b2": (0.1, 0.5),
        "b3": (0.5, 1.5),
        "c1_um2": (0.005, 0.012),
        "c2_um2": (0.015, 0.06),
        "c3_um2": (90.0, 200.0),
        **VISIBLE,
    },
    "index_by_poles": {
        "constant": (8.0, 9.0),
        "b1_um2": (0.1, 0.2),
        "b2_um2": (0.0, 0.1),
        "b3_um2": (0.0, 500.0),
        "c1_um2": (0.02, 0.06),
        "c2_um2": (0.02, 0.06),
        "c3_um2": (1000.0, 2000.0),
        **VISIBLE,
    },
    "cauchy_index": {"nd": (1.4, 2.0), "vd": (20.0, 90.0), **VISIBLE},
    "fringes_of_sag": VISIBLE,
    "clearance_diameter_mm": {"radius_mm": (30.0, 100.0), "edge_mm": (0.5, 5.0)},
    "ring_mm2": {"blank_diameter_mm": (10.0, 20.0), "diameter_mm": (0.5, 10.0)},
    "stuck_share": {"centring_z": (0.0, 1.5)},
    "lot_cost": {"minor_units": (1, 4)},
    "evened_price": {
        "lower": (2, 20),
        "upper": (21, 40),
        "lower_price": (50.0, 90.0),
        "upper_price": (10.0, 50.0),
        "quantity": (2, 40),
    },
    "plates_in_depth": {"depth_mm": (20.0, 200.0), "skin_mm": (0.0, 2.0), "kerf_mm": (0.5, 2.0), "thickness_mm": (2.0, 30.0)},
    "discs_in_square_rows": PLATE,
    "discs_at_most": PLATE,
    "discs_at_most_in_a_slice": PLATE,
    "converted": {"minor_units": (0, 3)},
    "price_step": {"minor_units": (0, 3)},
    "charges_saved_each": {"minor_units": (0, 3)},
    "passes": {"gain": (1.5, 6.0)},
    "wilson_low": {"wins": (1, 20), "tries": (20, 400), "deviations": (0.5, 3.0)},
    "wilson_high": {"wins": (1, 20), "tries": (20, 400), "deviations": (0.5, 3.0)},
    "break_even_pieces": {"mould_charge": (5000.0, 20000.0), "polished_each": (100.0, 300.0), "pressed_each": (5.0, 40.0)},
    "ramp": {"slope": (0.001, 0.3), "knee": (0.5, 5.0), "figure": (0.05, 5.0), "ramp_power": (0.5, 2.5)},
    "slowed_share": {"ramp": (1.0, 5.0)},
    "pass_share": {"figure_fringes": (0.05, 5.0), "median_fringes": (0.05, 0.5), "log_sd": (0.5, 2.0)},
    "finest_at_once_fringes": {"log_sd": (0.5, 2.0)},
    "runs": {"pass_share": (0.02, 1.0), "figure_fringes": (0.05, 5.0), "finest_at_once_fringes": (0.03, 0.3), "log_sd": (0.5, 2.0)},
    "work_factor": {"knoop_hk": (80.0, 1200.0), "expansion_1e6_per_k": (0.5, 25.0), "acid_class": (1.0, 5.0)},
    "stain_factor": {"stain_class": (0.0, 5.0)},
    "minutes_by_fineness": {"finer": (0.05, 0.3), "coarser": (0.5, 5.0), "figure": (0.1, 4.0)},
    "spared_share": {"commercial": (0.4, 2.0), "precision": (0.05, 0.3), "figure": (0.03, 4.0)},
    "held_speed": {"glass_factor": (0.3, 7.0), "work_factor": (1.0, 2.5)},
    "erlang_wait_share": {"utilisation": (0.02, 0.98), "stations": (1, 12)},
    "discounted_price": {"discount_share": (0.0, 0.9)},
    "moved_price": {"listed": (5.0, 90.0)},
    "reached_margin": {"price": (40.0, 90.0), "charges": (0.0, 10.0)},
    "wait_of_those_h": {"utilisation": (0.02, 0.98)},
}
"""For a law by its name, from where to where an argument is drawn, where the usual 0.5 to 20 (shares 0.02 to 0.98) will not do."""  # fmt: skip


def all_laws() -> Iterator[Law]:
    for room in ROOMS:
        package = importlib.import_module(f"services.{room}")
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            importlib.import_module(module.name)
    yield from LAWS.values()


def fault_of(law: Law) -> dict[str, Any] | None:
    """The first of the drawn inputs for which an equation gives something else than its function; none where all agree."""
    generator = random.Random(law.name)
    for _ in range(DRAWS):
        values = drawn(law, generator, RANGES.get(law.name, {}))
        if not math.isclose(worked_out(law, values), float(law.function(**values)), rel_tol=1e-9, abs_tol=1e-12):
            return values
    return None


@pytest.mark.parametrize("law", list(all_laws()), ids=lambda law: f"{law.function.__module__.removeprefix('services.')}.{law.name}")
def test_an_equation_names_the_arguments_and_gives_what_the_function_gives(law: Law) -> None:
    assert names_in(law.equation) == set(arguments_of(law)), law.equation
    assert fault_of(law) is None


def test_the_services_are_there_to_be_read() -> None:
    assert services.__path__
