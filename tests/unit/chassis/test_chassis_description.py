"""A process describes the routes of services that others serve, where it is told to, and serves none of them."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
from fastapi import FastAPI

from services.chassis import description
from services.chassis.resources import build_resources
from services.chassis.settings import Settings
from services.chassis.web import make_app
from services.prescription import api as prescription_routes


def test_the_description_is_the_same_where_fastapi_looks_for_models_too() -> None:
    def described() -> dict[str, Any]:
        whole = FastAPI(**description.DESCRIBED)
        whole.include_router(prescription_routes.router)
        return whole.openapi()

    plain = described()
    with description.models_found_by_pydantic():
        assert described() == plain


def test_one_process_of_a_fleet_describes_all_services_and_serves_its_own() -> None:
    chosen = Settings(
        database_url="postgresql://127.0.0.1:1/x",
        redis_url="redis://127.0.0.1:1/0",
        rates_url="http://127.0.0.1:1",
        service_key="bw_0_0",
        services=("glass",),
        describes=("prescription", "glass"),
    )
    app = make_app(build_resources(chosen))

    async def asked(method: str, path: str) -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as caller:
            return await caller.request(method, path)

    document = asyncio.run(asked("GET", "/openapi.json")).json()
    assert {"/v1/prescriptions/check", "/v1/blanks/plan", "/readyz"} <= set(document["paths"])
    assert "/v1/quotes" not in document["paths"]
    refusals = document["paths"]["/v1/prescriptions/check"]["post"]["responses"]["422"]["content"]
    assert list(refusals) == ["application/problem+json"]
    assert asyncio.run(asked("POST", "/v1/prescriptions/check")).status_code == 404
    assert asyncio.run(asked("GET", "/v1/blanks/plan")).headers["allow"] == "OPTIONS, POST"
