"""What a proposed table would do to open quotes, through the routes of quoting on a real PostgreSQL; no quote is touched."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.pipeline import LAST_FAULT
from services.chassis.rate_source import ProposalRefused
from services.quoting.stage import TERMINUS, sweep
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv, validated_rows
from services.rates.errors import TableUnreadable
from shared_schemas.load import CentreLoad, OrderLoad
from shared_schemas.pipeline import STATIONS
from shared_schemas.problem import Problem
from shared_schemas.rate_impact import RateProposal
from shared_schemas.rates import RateRevision, Rates, WorkCentreRow
from tests.integration.test_quoting_life_routes import NOON, Book, Shop

IMPACT = "/v1/rates/impact"


class ProposingBook(Book):
    """Revisions in memory, and proposals below zero."""

    def __init__(self, rates: Rates) -> None:
        super().__init__(rates)
        self.proposals: dict[int, RateRevision] = {}
        self.drafts: dict[int, dict[str, Any]] = {}

    def revision(self, number: int) -> RateRevision:
        return self.proposals[number] if number < 0 else super().revision(number)

    def propose(self, table: str, body: bytes, content_type: str, *, by: str) -> RateProposal:
        try:
            rows = (
                rows_from_csv(table, body.decode())
                if content_type == "text/csv"
                else validated_rows(table, json.loads(body)["rows"])
            )
        except TableUnreadable as fault:
            said = Problem(type="/problems#invalid", title="t", status=422, detail=str(fault), errors=fault.errors)
            raise ProposalRefused(said) from fault
        return self._kept({table: rows}, by)

    def propose_draft(self, draft: int, *, by: str) -> RateProposal:
        if draft not in self.drafts:
            said = Problem(type="/problems#not-found", title="t", status=404, detail=f"There is no draft {draft}.")
            raise ProposalRefused(said)
        return self._kept(self.drafts[draft], by)

    def _kept(self, tables: dict[str, Any], by: str) -> RateProposal:
        base = self.latest()
        number = -len(self.proposals) - 1
        self.proposals[number] = self._revision(number, base.rates.model_copy(update=tables))
        table = ", ".join(tables)
        return RateProposal(number=number, base_revision=base.number, table=table, digest="p" * 64, created_at=NOON, created_by=by)


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    made = Shop(database, rates)
    book = ProposingBook(rates)
    object.__setattr__(made.bench, "rates", book)
    made.book = book
    return made


@pytest.fixture
def single() -> dict[str, Any]:
    surface = {"radius_mm": 60.0, "clear_diameter_mm": 20.0}
    element = {
        "name": "L1",
        "glass": "N-BK7",
        "diameter_mm": 25.0,
        "centre_thickness_mm": 6.0,
        "front": surface,
        "back": {**surface, "radius_mm": -60.0},
    }
    return {"prescription": {"title": "one element", "elements": [element], "spaces": []}, "quantities": [5, 25]}


def dearer(rates: Rates) -> list[dict[str, Any]]:
    rows = [row.model_dump(mode="json", by_alias=True) for row in rates.work_centres]
    return [{**row, "labour_rate_per_h": str(Decimal(row["labour_rate_per_h"]) * 2)} for row in rows]


def asked(shop: Shop, rows: Any, headers: dict[str, str] | None = None, **more: Any) -> str:
    answer = shop.ask("POST", IMPACT, role="engineer", json={"table": "work_centres", "rows": rows, **more}, headers=headers)
    assert answer.status_code == 202, answer.text
    assert answer.headers["Location"] == f"{IMPACT}/{answer.json()['number']}" == answer.json()["links"]["self"]
    return str(answer.json()["number"])


def read(shop: Shop, number: str, query: str = "") -> dict[str, Any]:
    answer = shop.ask("GET", f"{IMPACT}/{number}{query}", role="engineer")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def everything(database: Database) -> list[Any]:
    """Whatever is kept of quotes, so that it can be seen that nothing of it changes."""
    with database.transaction() as connection:
        return [
            connection.execute(text(f"select * from quoting.{table} order by 1, 2")).all()
            for table in ("quotes", "outcomes", "outbox", "events", "decisions", "dead_letters")
        ]


def test_open_quotes_are_held_against_a_proposal_and_none_is_touched(
    shop: Shop, single: dict[str, Any], rates: Rates, database: Database
) -> None:
    numbers = [shop.quoted({**single, "customer": name}) for name in ("A", "B", "C")]
    shop.ask("POST", f"/v1/quotes/{numbers[1]}/decision", json={"decision": "declined", "by": "x"})
    before = everything(database)
    number = asked(shop, dearer(rates))
    working = read(shop, number)
    assert (working["status"], working["counts"]["in_work"], working["totals"]["changed"]) == ("working", 2, 0)
    assert {one["outcome"] for one in working["items"]} == {"working"}
    shop.work()
    found = read(shop, number)
    assert (found["status"], found["counts"]) == ("done", {"in_work": 0, "ready": 2, "refused": 0, "failed": 0, "cancelled": 0})
    assert [one["number"] for one in found["items"]] == [numbers[2], numbers[0]], "the newest first, and not the declined one"
    assert (found["proposal"], found["base_revision"], found["asked_by"][:12]) == (-1, 1, "the engineer")
    first = found["items"][0]
    quote = shop.get(f"/v1/quotes/{numbers[2]}")
    assert (first["issued_at"], first["today_as_issued"], first["unread"]) == (1, True, False)
    for inner, issued in zip(first["figures"]["breaks"], quote["breaks"], strict=True):
        price = inner["unit_price"]
        assert (inner["quantity"], price["issued"], price["today"]) == (issued["quantity"], *[issued["unit_price"]] * 2)
        assert inner["effect_share"] > 0
        assert inner["price_kept"]["loss_chance_issued"] == issued["loss_chance"] <= inner["price_kept"]["loss_chance_draft"]
    assert everything(database) == before
    assert read(shop, number, "?limit=1")["totals"] == found["totals"]


def test_an_impact_dates_a_quote_by_the_book_it_was_issued_with(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    shop.load.make()
    shop.quoted(single)
    centres = tuple(CentreLoad(work_centre=row.name, booked_h=(60.0 * row.stations,) * 8) for row in rates.work_centres)
    shop.load.make(OrderLoad(order="Q-2026-000999", source="quoting", work_centres=centres))
    number = asked(shop, dearer(rates))
    shop.work()
    for inner in read(shop, number)["items"][0]["figures"]["breaks"]:
        assert (inner["p50_days"]["effect"], inner["p90_days"]["effect"]) == (0, 0)


def test_a_requote_at_the_published_table_is_what_the_impact_said(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    number = shop.quoted(single)
    impact = asked(shop, dearer(rates), quotes=[number])
    shop.work()
    (said,) = read(shop, impact)["items"]
    shop.book.publish(rates.model_copy(update={"work_centres": validated_rows("work_centres", dearer(rates))}))
    shop.ask("POST", f"/v1/quotes/{number}/requote")
    shop.work()
    quote = shop.get(f"/v1/quotes/{number}")
    assert [one["unit_price"] for one in quote["breaks"]] == [one["unit_price"]["draft"] for one in said["figures"]["breaks"]]
    again = asked(shop, dearer(rates))
    shop.work()
    found = read(shop, again)
    assert (found["base_revision"], found["totals"]["changed"]) == (2, 0)
    assert (found["items"][0]["revision"], found["items"][0]["today_as_issued"]) == (2, True)


def tenth_dearer(rates: Rates) -> tuple[WorkCentreRow, ...]:
    return tuple(row.model_copy(update={"labour_rate_per_h": row.labour_rate_per_h * Decimal("1.1")}) for row in rates.work_centres)


def cheaper_machines(rates: Rates) -> Rates:
    rows = tuple(row.model_copy(update={"machine_rate_per_h": row.machine_rate_per_h / 2}) for row in rates.work_centres)
    return rates.model_copy(update={"work_centres": rows})


def test_a_draft_of_dearer_labour_is_dearer_on_quotes_that_have_drifted_down_since(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    old = shop.quoted(single)
    now = cheaper_machines(rates)
    shop.book.publish(now)
    new = shop.quoted(single)
    assert isinstance(shop.book, ProposingBook)
    shop.book.drafts[7] = {"work_centres": tenth_dearer(now), "aspheres": now.aspheres}
    answer = shop.ask("POST", IMPACT, role="engineer", json={"draft": 7})
    number = answer.json()["number"]
    assert answer.json()["quotes"] == 2
    shop.work()
    found = read(shop, number)
    assert (found["draft"], found["tables"], found["base_revision"]) == (7, ["work_centres"], 2)
    assert (found["totals"]["dearer"], found["totals"]["cheaper"], found["totals"]["drifted"]) == (2, 0, 1)
    of_new, of_old = found["items"]
    assert (of_new["number"], of_old["number"]) == (new, old)
    assert (of_new["today_as_issued"], of_old["today_as_issued"]) == (True, False)
    for inner, fresh in zip(of_old["figures"]["breaks"], of_new["figures"]["breaks"], strict=True):
        price = {side: Decimal(amount) for side, amount in inner["unit_price"].items()}
        assert price["drift"] == price["today"] - price["issued"] < 0 < price["effect"] == price["draft"] - price["today"]
        assert price["draft"] < price["issued"], "held against the price as issued it would look cheaper"
        assert (inner["unit_price"]["today"], inner["unit_price"]["draft"]) == (
            fresh["unit_price"]["today"], fresh["unit_price"]["draft"],
        )  # fmt: skip
        assert fresh["unit_price"]["drift"] == "0.00"
    again = shop.ask("POST", IMPACT, role="engineer", json={"draft": 7}).json()["number"]
    assert [rung[1] for rung in shop.bench.rung] == [f"{again}.1", f"{again}.2"], "today's price of the old one is known"
    shop.work()
    assert read(shop, again)["items"] == found["items"]


def test_todays_price_of_a_quote_of_an_earlier_release_is_worked_out_though_the_rates_are_the_same(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    shop.quoted({**single, "quantities": [5]})
    with shop.bench.database.transaction() as connection:
        connection.execute(text("set local quoting.repacking = 'on'"))
        connection.execute(text("update quoting.outcomes set release = '0.0.1'"))
    number = asked(shop, dearer(rates))
    assert {rung[1] for rung in shop.bench.rung} == {f"{number}.1", f"{number}.1t"}
    shop.work()
    (one,) = read(shop, number)["items"]
    assert (one["today_as_issued"], one["today"]) == (False, "ready")
    (inner,) = one["figures"]["breaks"]
    assert (inner["unit_price"]["drift"], inner["drift_share"]) == ("0.00", 0)
    cancelled = asked(shop, dearer(rates))
    shop.ask("DELETE", f"{IMPACT}/{cancelled}", role="engineer")
    found = read(shop, cancelled)
    assert (found["status"], found["counts"]["cancelled"], found["worked_out"]) == ("done", 1, 1)


def test_a_draft_of_tables_that_a_lens_is_not_priced_by_is_known_without_working_it_out(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    shop.quoted(single)
    shop.book.publish(cheaper_machines(rates))
    assert isinstance(shop.book, ProposingBook)
    shop.book.drafts[1] = {"metals": tuple(row.model_copy(update={"source": "a new list"}) for row in rates.metals)}
    number = shop.ask("POST", IMPACT, role="engineer", json={"draft": 1}).json()["number"]
    assert shop.work() == len(STATIONS) + 1, "today through every stage, the draft at the last"
    (one,) = read(shop, number)["items"]
    assert (one["unread"], one["outcome"]) == (True, "ready")
    for inner in one["figures"]["breaks"]:
        assert inner["unit_price"]["draft"] == inner["unit_price"]["today"] != inner["unit_price"]["issued"]
    shop.book.drafts[2] = {"coatings": rates.coatings, "turning": rates.turning}
    nothing = shop.ask("POST", IMPACT, role="engineer", json={"draft": 2}).json()["number"]
    shop.work()
    assert (read(shop, nothing)["tables"], read(shop, nothing)["totals"]["changed"]) == ([], 0)
    assert shop.ask("POST", IMPACT, role="engineer", json={"draft": 99}).status_code == 422


def test_a_set_is_chosen_by_customer_and_day_and_refused_ones_may_become_quotable(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    lead = {**single, "customer": "A"}
    shop.quoted({**single, "customer": "B"})
    ready = shop.quoted(lead)
    lead["prescription"] = {**single["prescription"], "elements": [{**single["prescription"]["elements"][0], "diameter_mm": 900.0}]}
    refused = shop.quoted(lead)
    assert shop.get(f"/v1/quotes/{refused}")["status"] == "refused"
    chosen = {"customer": "A", "refused": True}
    number = asked(shop, dearer(rates), **chosen)
    shop.work()
    found = read(shop, number)
    assert [(one["number"], one["today"], one["outcome"]) for one in found["items"]] == [
        (refused, "refused", "refused"), (ready, "ready", "ready"),
    ]  # fmt: skip
    assert (found["totals"]["newly_refused"], found["counts"]["refused"]) == (0, 1)
    assert [one["customer"] for one in found["by_customer"]] == ["A"]
    assert shop.ask("POST", IMPACT, role="engineer", json={"table": "work_centres", "rows": dearer(rates), "issued_since": "2026-11-03"}).json()["quotes"] == 0  # fmt: skip


def test_few_are_under_way_at_a_time_and_all_arrive(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    numbers = [shop.quoted({**single, "quantities": [5], "customer": f"{n}"}) for n in range(7)]
    shop.bench.rung.clear()
    number = asked(shop, dearer(rates), most=6)
    assert [rung[1] for rung in shop.bench.rung] == [
        f"{number}.{place}" for place in range(1, shop.bench.settings.most_in_flight + 1)
    ]
    shop.work()
    page = read(shop, number, "?limit=4")
    rest = read(shop, number, f"?cursor={page['next']}")
    assert [one["number"] for one in page["items"] + rest["items"]] == numbers[:0:-1]
    assert (page["counts"]["ready"], rest["next"]) == (6, None)
    assert shop.ask("GET", f"{IMPACT}/{number}?cursor=%25", role="engineer").status_code == 422


def test_one_key_is_one_impact_and_another_body_under_it_is_refused(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    shop.quoted(single)
    key = {"Idempotency-Key": "k"}
    number = asked(shop, dearer(rates), key)
    assert asked(shop, dearer(rates), key) == number
    assert isinstance(shop.book, ProposingBook)
    assert len(shop.book.proposals) == 1
    other = {"table": "work_centres", "rows": dearer(rates), "most": 3}
    assert shop.ask("POST", IMPACT, role="engineer", json=other, headers=key).status_code == 422
    shop.work()
    done = {"table": "work_centres", "rows": dearer(rates)}
    answer = shop.ask("POST", IMPACT, role="engineer", json=done, headers={**key, "Prefer": "wait=5"})
    assert (answer.status_code, answer.json()["status"]) == (200, "done")


def test_without_open_quotes_it_is_done_at_once(shop: Shop, rates: Rates) -> None:
    csv = rows_to_csv("work_centres", rates.work_centres).encode()
    headers = {"Content-Type": "text/csv", "Prefer": "wait=5"}
    answer = shop.ask("POST", IMPACT + "?table=work_centres", role="engineer", content=csv, headers=headers)
    assert (answer.status_code, answer.json()["status"], answer.json()["items"]) == (201, "done", [])


def test_only_open_quotes_may_be_named(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    ready, declined, working = (shop.quoted(single), shop.quoted(single), None)
    shop.ask("POST", f"/v1/quotes/{declined}/decision", json={"decision": "declined", "by": "x"})
    working = shop.ask("POST", "/v1/quotes", json=single).json()["number"]
    body = {"table": "work_centres", "rows": dearer(rates), "quotes": [ready, declined, working, "Q-1"]}
    answer = shop.ask("POST", IMPACT, role="engineer", json=body)
    assert answer.status_code == 422
    told = {error["pointer"]: error["reason"] for error in answer.json()["errors"]}
    assert told == {
        "/quotes/1": "the quote is declined", "/quotes/2": "the quote is still being worked on", "/quotes/3": "there is no such quote",
    }  # fmt: skip
    shop.now = NOON + timedelta(days=400)
    late = shop.ask("POST", IMPACT, role="engineer", json={**body, "quotes": [ready]})
    assert late.json()["errors"][0]["reason"] == "the quote is expired"


def test_a_glass_that_the_proposal_lacks_fails_that_quote_with_its_reason(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    number = shop.quoted(single)
    other = shop.quoted({**single, "customer_class": "standard", "currency": "EUR"})
    rows = [row.model_dump(mode="json", by_alias=True) for row in rates.currencies if row.name != "EUR"]
    answer = shop.ask("POST", IMPACT, role="engineer", json={"table": "currencies", "rows": rows})
    shop.work()
    found = read(shop, answer.json()["number"])
    assert (found["status"], found["counts"]["ready"], found["counts"]["failed"]) == ("done", 1, 1)
    by_number = {one["number"]: one for one in found["items"]}
    assert by_number[number]["outcome"] == "ready"
    assert "EUR" in by_number[other]["problem"]["detail"]
    assert shop.get(f"/v1/quotes/{other}")["status"] == "ready"
    with shop.bench.database.transaction() as connection:
        assert connection.execute(text("select count(*) from quoting.dead_letters")).scalar() == 0


def test_a_late_arrival_changes_nothing(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    shop.quoted(single)
    number = asked(shop, dearer(rates))
    shop.work()
    before = read(shop, number)
    assert TERMINUS.arrive(f"{number}.1", 1, shop.bench) == "gone"  # type: ignore[func-returns-value]
    assert read(shop, number) == before


def test_what_never_arrives_is_started_again_and_given_up_with_its_reason(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    shop.quoted(single)
    number = asked(shop, dearer(rates))
    entry = f"{number}.1"
    with shop.bench.database.transaction() as connection:
        due = "update quoting.impacted_quotes set next_check_at = now() - interval '1 minute'"
        connection.execute(text(due))
    shop.bench.rung.clear()
    sweep(shop.bench)
    assert [(rung[1], rung[2]) for rung in shop.bench.rung] == [(entry, 2)]
    last = shop.bench.settings.most_attempts
    with shop.bench.database.transaction() as connection:
        connection.execute(text(f"{due}, attempt = {last}"))
    shop.bench.travellers.stamp(entry, last, {LAST_FAULT: b"no route to the database"})
    sweep(shop.bench)
    found = read(shop, number)
    assert (found["status"], found["counts"]["failed"]) == ("done", 1)
    assert "did not arrive" in found["items"][0]["problem"]["detail"]
    with shop.bench.database.transaction() as connection:
        assert connection.execute(text("select traceback from quoting.impacted_quotes")).scalar() == "no route to the database"


def test_so_many_and_no_more(shop: Shop, single: dict[str, Any], rates: Rates) -> None:
    shop.quoted(single)
    shop.quoted(single)
    object.__setattr__(shop.bench, "settings", shop.bench.settings.model_copy(update={"most_unfinished": 2}))
    asked(shop, dearer(rates))
    answer = shop.ask("POST", IMPACT, role="engineer", json={"table": "work_centres", "rows": dearer(rates)})
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    shop.work()
    asked(shop, dearer(rates))


def test_an_old_impact_is_forgotten_with_its_key_and_its_late_travellers_do_nothing(
    shop: Shop, single: dict[str, Any], rates: Rates
) -> None:
    shop.quoted(single)
    old = asked(shop, dearer(rates), {"Idempotency-Key": "k"})
    with shop.bench.database.transaction() as connection:
        connection.execute(text("update quoting.impacts set created_at = :then"), {"then": datetime(2026, 1, 1, tzinfo=UTC)})
    new = asked(shop, dearer(rates))
    shop.work()
    assert shop.ask("GET", f"{IMPACT}/{old}", role="engineer").status_code == 404
    assert read(shop, new)["counts"]["ready"] == 1
    assert asked(shop, dearer(rates), {"Idempotency-Key": "k"}) not in (old, new)


def test_only_an_engineer_may(shop: Shop) -> None:
    for role in ("sales", "erp"):
        assert shop.ask("POST", IMPACT, role=role, json={}).status_code == 403
        assert shop.ask("GET", f"{IMPACT}/I-2026-000001", role=role).status_code == 403
    for number in ("I-2026-000001", "I-2026-000001.1", "x", "%00"):
        assert shop.ask("GET", f"{IMPACT}/{number}", role="engineer").status_code == 404
