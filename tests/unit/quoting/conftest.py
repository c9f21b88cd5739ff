"""Small plans to quote from, and rates with one work centre and one class of customer."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from services.quoting.pricing.evaluation import Plans
from shared_schemas.blanks import Blank, BlankPlan, MaterialModel, MaterialStep
from shared_schemas.check import CheckReport, Finding, FirstOrder
from shared_schemas.operations import BoughtPart, Consumed, LooserOperation, Operation, OperationPlan, Relaxation, Route, Tooling
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import CalendarRow, CommercialRow, CurrencyRow, Rates, ShopLoadRow, WorkCentreRow
from shared_schemas.traveller import Job

SAID: dict[str, Any] = {"source": "made for a test", "as_of": date(2026, 11, 2)}


def centre(name: str = "bench", **changes: Any) -> WorkCentreRow:
    values: dict[str, Any] = {
        "operations": ("polish",), "machine_rate_per_h": Decimal(60), "labour_rate_per_h": Decimal(30), "stations": 1, "setup_min": 10.0,
        "load_min_per_piece": 1.0, "attended_share": 0.5,
    }  # fmt: skip
    return WorkCentreRow(name=name, **SAID, **{**values, **changes})


def operation(**changes: Any) -> Operation:
    values: dict[str, Any] = {
        "operation": "polish", "work_centre": "bench", "setup_min": 10.0, "batch_size": 4, "batch_min": 30.0, "attended_share": 0.5,
        "yield": 0.9, "consumables": Decimal(1),
    }  # fmt: skip
    return Operation(**{**values, **changes})


def material(*steps: tuple[int, str], members: tuple[str, ...] = ("L1",)) -> MaterialModel:
    return MaterialModel(
        name="N-BK7", glass="N-BK7", members=members, basis=(),
        steps=tuple(
            MaterialStep(blanks=blanks, cost=Decimal(cost), pieces=1, bought_mass_g=100.0, lead_days=7.0, form="slab", stock="slab")
            for blanks, cost in steps
        ),
    )  # fmt: skip


def week() -> tuple[CalendarRow, ...]:
    return tuple(CalendarRow(name=f"day {day}", weekday=day, hours=8.0 if day < 5 else 0.0, **SAID) for day in range(7))


def with_tables(rates: Rates, **tables: Any) -> Rates:
    """The rates with other tables; a copy of the model would keep what was looked up before."""
    return Rates.model_construct(**{name: getattr(rates, name) for name in Rates.model_fields} | tables)


@pytest.fixture
def small_rates() -> Rates:
    return Rates.model_construct(
        **dict.fromkeys(Rates.model_fields, ())
        | {
            "work_centres": (centre(),),
            "currencies": (
                CurrencyRow(name="USD", per_base=Decimal(1), minor_units=2, **SAID),
                CurrencyRow(name="JPY", per_base=Decimal("151.4"), minor_units=0, **SAID),
                CurrencyRow(name="KWD", per_base=Decimal("0.3065"), minor_units=3, **SAID),
            ),
            "calendar": week(),
            "shop_load": (ShopLoadRow(name="bench", utilisation=0.5, squared_variation=1.0, mean_job_h=4.0, **SAID),),
        }
    )


@pytest.fixture
def plans_of(small_rates: Rates) -> Callable[..., Plans]:
    """`plans_of(routes=…, terms=…)` makes plans for one element in one lens unless told otherwise."""

    def make(**changes: Any) -> Plans:
        values: dict[str, Any] = {
            "routes": (
                Route(part="L1", kind="element", operations=(operation(),)),
                Route(part="lens", kind="lens", consumes=(Consumed(part="L1"),),
                      operations=(operation(operation="assemble", batch_size=1, **{"yield": 0.98}),)),
            ),
            "materials": (material((10, "100"), (20, "180")),),
            "blanks": (),
            "bought_parts": (BoughtPart(name="barrel", count=1, lot_charge=Decimal(50), unit_price=Decimal(20), lead_days=21.0),),
            "tooling": (),
            "terms": TERMS,
            "currency": small_rates.currency("USD"),
            "confidence": 0.9,
            "begin": date(2026, 11, 2),
            "rates": small_rates,
        }  # fmt: skip
        return Plans(**{**values, **changes})

    return make


TERMS = CommercialRow(
    name="standard", overhead_share=0.2, margin_share=0.25, contingency_share=0.05, valid_days=30, minimum_order=Decimal(0),
    rounding=Decimal("0.05"), expedite_queue_share=0.1, expedite_priority_share=0.1, overtime_hours_share=0.25, overtime_surcharge=0.5,
    **SAID,
)  # fmt: skip


def request(**changes: Any) -> QuoteRequest:
    surface = {"radius_mm": 50.0, "clear_diameter_mm": 20.0}
    element = {
        "glass": "N-BK7",
        "diameter_mm": 25.0,
        "centre_thickness_mm": 6.0,
        "front": surface,
        "back": {**surface, "radius_mm": -50.0},
    }
    values: dict[str, Any] = {
        "prescription": {"title": "two singlets", "elements": [{"name": "L1", **element}, {"name": "L2", **element}], "spaces": [{"gap_mm": 2.0}]},
        "quantities": [25, 5, 100],
    }  # fmt: skip
    return QuoteRequest.model_validate({**values, **changes})


def blank(element: str) -> Blank:
    return Blank(
        element=element, glass="N-BK7", form="slab", stock="slab", diameter_mm=26.0, thickness_mm=8.0, envelope_mm=6.0, volume_mm3=4247.0,
        mass_g=10.7, finished_mass_g=5.4, discs_per_plate=30, plates_per_slab=2, blanks_per_piece=60, layout="square", utilisation=0.6,
        basis=(),
    )  # fmt: skip


def sections(**changes: Any) -> dict[str, Any]:
    """The sections of a traveller for two elements in one lens, as `assemble` takes them."""
    finding = Finding(code="care", severity="care", pointer="/elements/0", message="Said by the stage.")
    looser = LooserOperation(position=0, batch_size=8, batch_min=20.0, **{"yield": 0.97})
    values: dict[str, Any] = {
        "job": Job(number="Q-1", attempt=1, request=request(), rate_revision=3, quoted_on=date(2026, 11, 2)),
        "check": CheckReport(
            makeable="yes", elements=(), findings=(),
            first_order=FirstOrder(
                wavelength_nm=587.5618, focal_length_mm=25.0, back_focus_mm=20.0, front_focus_mm=-20.0, f_number=2.0, length_mm=14.0,
                entrance_pupil_diameter_mm=12.5,
            ),
        ),
        "blanks": BlankPlan(
            currency="USD", blanks=(blank("L1"), blank("L2")), materials=(material((60, "140"), members=("L1", "L2")),), findings=(finding,)
        ),
        "operations": OperationPlan(
            currency="USD",
            routes=(
                Route(part="L1", kind="element", operations=(operation(), operation(operation="coat", batch_size=40, batch_loss=0.01))),
                Route(part="L2", kind="element", operations=(operation(**{"yield": 0.8}),)),
                Route(part="lens", kind="lens", consumes=(Consumed(part="L1"), Consumed(part="L2")),
                      operations=(operation(operation="assemble", batch_size=1, consumables=Decimal("0.35"), **{"yield": 0.98}),)),
            ),
            bought_parts=(BoughtPart(name="barrel", count=1, lot_charge=Decimal(50), unit_price=Decimal(20), lead_days=21.0),),
            tooling=(Tooling(name="test plate", part="L1", reason="no plate of that radius", charge=Decimal(800), lead_days=14.0),),
            relaxations=(
                Relaxation(where="/elements/0/front/form", part="L1", tolerance="irregularity", from_figure=0.2, to_figure=0.5,
                           unit="fringes", operations=(looser,)),
            ),
            findings=(finding,), cautions=("Swarf is kept wet.",),
        ),
    }  # fmt: skip
    return {**values, **changes}


@pytest.fixture
def shop_rates(small_rates: Rates) -> Rates:
    return with_tables(small_rates, commercial=(TERMS,))
