"""What the desk's tests share: the demo request, a quote made by hand, a server that answers from a table."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest

import services.client
import services.desk
from services.client import Client
from shared_schemas.blanks import Blank
from shared_schemas.check import CheckReport, ElementCheck, Finding, FirstOrder, SurfaceCheck
from shared_schemas.lead_times import LeadTime, Line
from shared_schemas.operations import Operation, Route, Tooling
from shared_schemas.problem import Problem, ProblemDetail
from shared_schemas.quote import Break, Quote, QuoteBody, QuotedElement, UnitCost
from shared_schemas.quote_request import QuoteRequest

DEMO = Path(services.desk.__file__).parent / "demo" / "lake_ice_lidar.json"


@pytest.fixture(scope="session")
def demo_path() -> Path:
    return DEMO


@pytest.fixture(scope="session")
def demo_request() -> QuoteRequest:
    return QuoteRequest.model_validate_json(DEMO.read_text(encoding="utf-8"))


def _operation(name: str, face: str | None, batch_min: float, batch_size: int) -> Operation:
    return Operation.model_validate(
        {
            "operation": name, "face": face, "work_centre": "bench", "setup_min": 5.0, "batch_size": batch_size,
            "batch_min": batch_min, "yield": 0.97, "consumables": "1.50",
        }
    )  # fmt: skip


def _element_check(name: str, glass: str) -> ElementCheck:
    face = SurfaceCheck(
        sag_mm=1.0, semi_diameter_mm=16.0, semi_diameter_to_radius=0.4, aspheric=False, power_fringes=3.0,
        irregularity_fringes=0.5, imperfection_count=3, imperfection_grade_mm=0.16, coating=None,
    )  # fmt: skip
    return ElementCheck(
        name=name, glass=glass, refractive_index=1.589, work_diameter_mm=34.0, edge_thickness_mm=8.1,
        edge_thickness_at_work_diameter_mm=8.7, volume_mm3=4000.0, density_g_cm3=3.3, mass_g=13.2, diameter_to_thickness=8.9,
        centring_z=1.05, sag_front_mm=-4.0, sag_back_mm=0.4, front=face, back=face, diameter_tolerance_mm=0.03,
        centre_thickness_tolerance_mm=0.05, centring_tolerance_arcmin=2.0,
    )  # fmt: skip


@pytest.fixture(scope="session")
def report() -> CheckReport:
    return CheckReport(
        makeable="with_care",
        first_order=FirstOrder(
            wavelength_nm=587.5618, focal_length_mm=80.016, back_focus_mm=78.456, front_focus_mm=-20.0, f_number=3.2006,
            length_mm=72.0, entrance_pupil_diameter_mm=25.0,
        ),
        elements=(_element_check("L1", "N-SK5"),),
        findings=(
            Finding(code="steep", severity="care", pointer="/elements/4/back/radius_mm", message="The face is steep.", remedy="a flatter face"),
            Finding(code="default", severity="note", pointer="/elements/0/front/texture", message="It takes the default."),
        ),
    )  # fmt: skip


def _break(quantity: int, unit: str, lines: tuple[tuple[str, str, str], ...]) -> Break:
    return Break(
        quantity=quantity, unit_price=Decimal(unit), total_price=sum((Decimal(amount) for *_, amount in lines), Decimal(0)),
        lines=tuple(Line.model_validate({"name": name, "kind": kind, "amount": amount}) for name, kind, amount in lines),
        unit_cost=UnitCost(planned=Decimal("700.00")),
        lead_time=LeadTime(p50_days=43, p90_days=58, ship_date=date(2027, 1, 14)),
        start_quantities={"L1": quantity + 3, "lens": quantity + 1},
        materials=(),
    )  # fmt: skip


@pytest.fixture(scope="session")
def ready_quote(demo_request: QuoteRequest, report: CheckReport) -> Quote:
    blank = Blank(
        element="L1", glass="N-SK5", form="slab", stock="slab 160 x 160 x 20", diameter_mm=34.5, thickness_mm=12.4, envelope_mm=11.2,
        volume_mm3=11590.0, mass_g=38.2, finished_mass_g=13.2, discs_per_plate=16, plates_per_slab=1, blanks_per_piece=16,
        layout="square", utilisation=0.58, basis=(),
    )  # fmt: skip
    operations = (
        _operation("generate", "front", 6.0, 1),
        _operation("polish", "front", 62.0, 7),
        _operation("polish", "back", 48.0, 31),
    )
    body = QuoteBody(
        prescription=demo_request.prescription, rate_revision=4, rate_digest="ab12cd34ef56ab12", quoted_on=date(2026, 11, 30),
        valid_until=date(2026, 12, 30), currency="USD", confidence=0.9, check=report,
        breaks=(
            _break(5, "1234.56", (("glass", "material", "172.80"), ("minimum order", "minimum_order", "6000.00"))),
            _break(25, "987.65", (("glass", "material", "691.25"), ("margin", "margin", "24000.00"))),
        ),
        tooling=(Tooling(name="test plate pair R 33.55", part="L1", reason="no pair of that radius", charge=Decimal("950.00"), lead_days=15.0),
                 Tooling(name="bell chuck 32", part="L1", reason="none of that size", charge=Decimal("140.00"), lead_days=5.0)),
        elements=(QuotedElement(name="L1", glass="N-SK5", blank=blank, operations=operations),),
        assembly=(Route(part="lens", kind="lens", operations=(_operation("pack", None, 3.0, 1),)),),
        bought_parts=(), cautions=("N-SF2 swarf is kept wet.",),
    )  # fmt: skip
    return Quote(
        number="BW-7", status="ready", attempt=1, created_at=datetime(2026, 11, 30, 9, tzinfo=UTC), customer="[bold]Vinterholm[/bold]",
        digest="f" * 64, **dict(body),
    )  # fmt: skip


@pytest.fixture(scope="session")
def refused_quote() -> Quote:
    reason = ProblemDetail(
        pointer="/prescription/elements/1/centre_thickness_mm",
        reason="the edge is a knife",
        figure=-0.4,
        limit=1.0,
        remedy="1.4 mm more",
    )
    problem = Problem(type="/problems#refused", title="The lens cannot be made", status=422, detail="One reason.", errors=(reason,))
    return Quote(
        number="BW-8",
        status="refused",
        rate_revision=4,
        attempt=1,
        created_at=datetime(2026, 11, 30, 9, tzinfo=UTC),
        problem=problem,
    )


class Server:
    """A server that answers from a list: each request takes the next answer, and is kept."""

    def __init__(self, *answers: tuple[int, Any] | httpx.Response | Exception) -> None:
        self.answers = list(answers)
        self.requests: list[httpx.Request] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.requests.append(request)
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, Exception):
            raise answer
        if isinstance(answer, httpx.Response):
            return answer
        status, document = answer
        return httpx.Response(status, content=document if isinstance(document, bytes) else json.dumps(document).encode())

    @property
    def transport(self) -> httpx.MockTransport:
        return httpx.MockTransport(self)


@pytest.fixture
def server() -> Callable[..., Server]:
    return Server


@pytest.fixture
def reach(monkeypatch: pytest.MonkeyPatch) -> Callable[[httpx.BaseTransport], None]:
    """Let every client that a command makes reach a transport of the test, and never sleep."""

    def reached(transport: httpx.BaseTransport) -> None:
        class Reached(Client):
            def __init__(self, **named: Any) -> None:
                super().__init__(**named, transport=transport, sleep=lambda _: None)

        monkeypatch.setattr(services.client, "Client", Reached)

    return reached
