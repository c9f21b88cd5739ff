"""Small plans to quote from, and rates with one work centre and one class of customer."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from services.quoting.domain.evaluation import Plans
from shared_schemas.blanks import MaterialModel, MaterialStep
from shared_schemas.operations import BoughtPart, Consumed, Operation, Route
from shared_schemas.rates import CalendarRow, CommercialRow, CurrencyRow, Rates, ShopLoadRow, WorkCentreRow

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
        terms = CommercialRow(
            name="standard", overhead_share=0.2, margin_share=0.25, contingency_share=0.05, valid_days=30, minimum_order=Decimal(0),
            rounding=Decimal("0.05"), **SAID,
        )  # fmt: skip
        values: dict[str, Any] = {
            "routes": (
                Route(part="L1", kind="element", operations=(operation(),)),
                Route(part="lens", kind="lens", consumes=(Consumed(part="L1"),),
                      operations=(operation(operation="assemble", batch_size=1, **{"yield": 0.98}),)),
            ),
            "materials": (material((10, "100"), (20, "180")),),
            "bought_parts": (BoughtPart(name="barrel", count=1, lot_charge=Decimal(50), unit_price=Decimal(20), lead_days=21.0),),
            "tooling": (),
            "terms": terms,
            "currency": small_rates.currency("USD"),
            "confidence": 0.9,
            "begin": date(2026, 11, 2),
            "rates": small_rates,
        }  # fmt: skip
        return Plans(**{**values, **changes})

    return make
