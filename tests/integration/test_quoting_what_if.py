"""Copies of a quote in which something is changed, through the routes on a real PostgreSQL; no quote is touched and no revision made."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.quoting.service.keeping import forget_what_is_over
from services.quoting.stage import sweep
from shared_schemas.load import CentreLoad, OrderLoad
from shared_schemas.pipeline import LAST
from shared_schemas.rates import Rates
from tests.integration.test_quoting_impact_routes import everything, single
from tests.integration.test_quoting_life_routes import Shop, dearer, shop

__all__ = ["shop", "single"]
FORM = "/elements/L1/front/form"


def put(path: str, value: Any) -> dict[str, Any]:
    return {"op": "add", "path": path, "value": value}


def asked(shop: Shop, quote: str, *copies: dict[str, Any], **more: Any) -> Any:
    return shop.ask("POST", f"/v1/quotes/{quote}/what-if", json={"copies": copies}, **more)


def worked_out(shop: Shop, quote: str, *copies: dict[str, Any]) -> dict[str, Any]:
    answer = asked(shop, quote, *copies)
    assert answer.status_code == 202, answer.text
    assert answer.headers["Location"] == answer.json()["links"]["self"] == f"/v1/what-ifs/{answer.json()['number']}"
    shop.work()
    found: dict[str, Any] = shop.get(answer.headers["Location"])
    assert found["status"] == "done"
    return found


def as_requoted(shop: Shop, quote: str, **asked: Any) -> dict[str, Any]:
    assert shop.ask("POST", f"/v1/quotes/{quote}/requote", json=asked).status_code == 202
    shop.work()
    found: dict[str, Any] = shop.get(f"/v1/quotes/{quote}")
    return found


def prices(figures: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [
        (one["quantity"], one["unit_price"], one["total_price"], one["p90_days"], one["loss_chance"])
        for one in figures["quantities"]
    ]


def prices_of_quote(quote: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [
        (one["quantity"], one["unit_price"], one["total_price"], one["lead_time"]["p90_days"], one["loss_chance"])
        for one in quote["breaks"]
    ]


def test_a_copy_in_which_nothing_is_changed_has_the_figures_of_the_quote(
    shop: Shop, single: dict[str, Any], rates: Rates, database: Database
) -> None:
    shop.load.make()
    quote = shop.quoted(single)
    issued = shop.get(f"/v1/quotes/{quote}")
    shop.book.publish(dearer(rates))
    centres = tuple(CentreLoad(work_centre=row.name, booked_h=(60.0 * row.stations,) * 8) for row in rates.work_centres)
    shop.load.make(OrderLoad(order="Q-2026-000999", source="quoting", work_centres=centres))
    shop.now += timedelta(days=3)
    before = everything(database)
    found = worked_out(shop, quote, {"name": "as it is"}, {"name": "worked out anew", "patch": [put("/customer", "B")]})
    assert everything(database) == before
    same, anew = found["copies"]
    assert prices(found["issued"]) == prices(same["figures"]) == prices(anew["figures"]) == prices_of_quote(issued)
    assert same["figures"] == anew["figures"] == found["issued"]
    assert (same["changed"], same["new_findings"], same["gone_findings"]) == ([], [], [])
    assert [one.get("as_planned") for one in found["copies"]] == [True, None]


def test_a_copy_of_a_quote_with_figures_set_spares_and_deliveries_is_that_quote(shop: Shop, single: dict[str, Any]) -> None:
    deliveries = [{"quantity": 10, "by": "2027-03-01"}, {"quantity": 15}]
    order = {"spares": [{"part": "L1", "pieces": 2}], "quantities": [25], "deliveries": deliveries}
    quote = shop.quoted({**single, **order})
    discount = {"pointer": "/terms/discount_share", "value": 0.05, "reason": "agreed on"}
    changed = shop.ask("PATCH", f"/v1/quotes/{quote}/worksheet", json={"author": "A. Estimator", "set": [discount]})
    assert changed.status_code == 202, changed.text
    shop.work()
    found = worked_out(shop, quote, {"name": "as it is"}, {"name": "worked out anew", "patch": [put("/customer", "B")]})
    assert prices(found["issued"]) == prices_of_quote(shop.get(f"/v1/quotes/{quote}"))
    assert [one["figures"] for one in found["copies"]] == [found["issued"]] * 2


def test_copies_stand_beside_each_other_and_each_costs_what_its_requote_costs(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    quote = shop.quoted(single)
    shop.book.publish(dearer(rates))
    tighter = put(FORM, "3/2(0.5)")
    found = worked_out(
        shop, quote, {"name": "tighter", "patch": [tighter]}, {"name": "dearer", "rate_revision": 2},
        {"name": "more", "changes": {"quantities": [25, 60]}},
    )  # fmt: skip
    tight, dear, more = found["copies"]
    assert tight["changed"] == [{"pointer": "/prescription/elements/L1/front/form", "old": None, "new": "3/2(0.5)"}]
    for at, moved, now in zip(found["issued"]["quantities"], tight["moved"], tight["figures"]["quantities"], strict=True):
        assert Decimal(moved["unit_price"]) == Decimal(now["unit_price"]) - Decimal(at["unit_price"]) > 0
        assert moved["unit_price_share"] > 0
        assert moved["lines"]
    assert [one["where"] for one in tight["gone_findings"]] == ["L1 front form"], "it was taken by default"
    assert all(Decimal(one["unit_price"]) > 0 for one in dear["moved"])
    assert [(one["quantity"], one["unit_price"]) for one in more["moved"]] == [(25, "0.00")]
    tightened = as_requoted(shop, quote, patch=[tighter], rate_revision=1)
    assert prices_of_quote(tightened) == prices(tight["figures"])
    again = asked(shop, quote, {"name": "as it is"})
    assert shop.get(again.headers["Location"])["revision"] == 2


def test_a_copy_with_figures_set_needs_no_stage_but_the_last_and_costs_what_its_requote_costs(
    shop: Shop, single: dict[str, Any]
) -> None:
    quote = shop.quoted(single)
    price = {"pointer": "/prices/5/unit_price", "value": "1234.50"}
    answer = asked(shop, quote, {"name": "own price", "overrides": [price]})
    assert [task for task, number, *_ in shop.bench.rung if number.startswith("W-")] == [LAST.task]
    shop.work()
    (copy,) = shop.get(answer.headers["Location"])["copies"]
    assert copy["as_planned"] is True
    assert [(one["pointer"], one["old"], one["new"]["pointer"]) for one in copy["changed"]] == [
        ("/overrides/0", None, price["pointer"])
    ]
    first = copy["figures"]["quantities"][0]
    assert (first["unit_price"], first["total_price"]) == ("1234.50", "6172.50")
    change = {"author": "A. Estimator", "set": [{**price, "reason": "a price agreed on"}]}
    assert shop.ask("PATCH", f"/v1/quotes/{quote}/worksheet", role="engineer", json=change).status_code == 202
    shop.work()
    assert prices_of_quote(shop.get(f"/v1/quotes/{quote}")) == prices(copy["figures"])
    (set_again,) = worked_out(shop, quote, {"name": "lower", "overrides": [{**price, "value": "1200.00"}]})["copies"]
    assert set_again["figures"]["quantities"][0]["unit_price"] == "1200.00", "it takes the place of the one at that pointer"


def test_a_copy_that_cannot_be_made_says_why_beside_those_that_can(shop: Shop, single: dict[str, Any]) -> None:
    quote = shop.quoted(single)
    found = worked_out(shop, quote, {"name": "thin", "patch": [put("/elements/L1/centre_thickness_mm", 2.0)]}, {"name": "as it is"})
    thin, same = found["copies"]
    assert (thin["outcome"], thin["figures"], same["outcome"]) == ("refused", None, "ready")
    assert thin["problem"]["errors"][0]["pointer"].startswith("/prescription/elements/0")
    assert found["worked_out"] == 2


def test_a_refused_quote_is_asked_what_would_do(shop: Shop, single: dict[str, Any]) -> None:
    single["prescription"]["elements"][0]["centre_thickness_mm"] = 2.0
    quote = shop.quoted(single)
    found = worked_out(shop, quote, {"name": "thicker", "patch": [put("/elements/L1/centre_thickness_mm", 6.0)]})
    assert (found["issued"], found["copies"][0]["outcome"], found["copies"][0]["moved"]) == (None, "ready", [])


@pytest.mark.parametrize(
    ("copies", "status", "pointer"),
    [
        ([], 422, "/copies"),
        ([{"name": str(place)} for place in range(9)], 422, "/copies"),
        ([{"name": "a"}, {"name": "a"}], 422, "/copies/1/name"),
        ([{"name": "a"}, {"name": "b", "patch": [put("/elements/L7/glass", "N-SF5")]}], 422, "/copies/1/patch/0/path"),
        ([{"name": "a", "patch": [put("/elements/L1/glass", "N-NONE")]}], 422, "/copies/0/patch/0/value"),
        ([{"name": "a", "changes": {"quantities": [0]}}], 422, "/copies/0/changes/quantities/0"),
        ([{"name": "a", "changes": {"rate_revision": 2}}], 422, "/copies/0/changes/rate_revision"),
        ([{"name": "a", "patch": [{"op": "test", "path": "/customer", "value": "B"}]}], 409, "/copies/0/patch/0/value"),
        ([{"name": "a", "overrides": [{"pointer": "price", "value": 1}]}], 422, "/copies/0/overrides/0/pointer"),
        ([{"name": "a", "overrides": [{"pointer": "/prices/7/unit_price", "value": "1.00"}]}], 422, "/copies/0/overrides/0/pointer"),
    ],
)  # fmt: skip
def test_what_cannot_be_worked_out_is_named_by_its_copy(
    shop: Shop, single: dict[str, Any], copies: list[dict[str, Any]], status: int, pointer: str
) -> None:
    answer = asked(shop, shop.quoted(single), *copies)
    assert answer.status_code == status, answer.text
    assert pointer in [one["pointer"] for one in answer.json()["errors"]]


def test_a_what_if_is_asked_once_under_a_key_by_whom_it_may_be(shop: Shop, single: dict[str, Any]) -> None:
    assert asked(shop, "Q-2026-000099", {"name": "a"}).status_code == 404
    quote = shop.quoted(single)
    key = {"Idempotency-Key": "k"}
    first, again = (asked(shop, quote, {"name": "a"}, headers=key, role="engineer") for _ in range(2))
    assert first.json()["number"] == again.json()["number"]
    assert asked(shop, quote, {"name": "b"}, headers=key, role="engineer").json()["type"] == "/problems#idempotency-conflict"
    assert shop.ask("GET", first.headers["Location"], role="erp").status_code == 403
    assert shop.ask("GET", "/v1/what-ifs/W-2026-000099").status_code == 404
    shop.ask("POST", f"/v1/quotes/{quote}/requote")
    assert asked(shop, quote, {"name": "a"}).status_code == 409, "a revision is under way"


def test_copies_that_are_cancelled_or_lost_are_settled_and_whole_what_ifs_forgotten(
    shop: Shop, single: dict[str, Any], database: Database
) -> None:
    quote = shop.quoted(single)
    place = asked(shop, quote, {"name": "a", "patch": [put("/customer", "B")]}, {"name": "b"}).headers["Location"]
    working = shop.get(place)
    assert (working["status"], working["worked_out"]) == ("working", 0)
    assert shop.ask("DELETE", place).json()["status"] == "done"
    assert [one["outcome"] for one in shop.get(place)["copies"]] == ["cancelled", "cancelled"]
    lost = asked(shop, quote, {"name": "a", "patch": [put("/customer", "B")]}).headers["Location"]
    shop.bench.rung.clear()
    with database.transaction() as connection:
        connection.execute(
            text("update quoting.what_if_copies set next_check_at = now() - interval '1 minute' where status = 'accepted'")
        )
    sweep(shop.bench)
    shop.work()
    assert shop.get(lost)["copies"][0]["outcome"] == "ready"
    with database.transaction() as connection:
        connection.execute(
            text("update quoting.what_ifs set created_at = now() - (case number when :n then 15 else 13 end) * interval '1 day'"),
            {"n": lost.rpartition("/")[2]},
        )
    forget_what_is_over(shop.bench)
    assert (shop.ask("GET", lost).status_code, shop.ask("GET", place).status_code) == (404, 200)
