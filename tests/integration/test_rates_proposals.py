"""Proposed tables on a real PostgreSQL: looked at as a change is, readable as a revision is, never in force, forgotten in time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import httpx
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.rate_source import HttpRateSource, ProposalRefused, RatesUnavailable, RevisionNotFound
from services.rates.domain.table_csv import rows_to_csv
from services.rates.errors import ProposalUnknown, TableContradicts, TableUnknown
from services.rates.store.proposals import ProposalStore
from services.rates.store.publication import Author
from services.rates.store.repository import RateStore
from shared_schemas.rates import RateRevision, RateRow, Rates
from tests.integration.test_rates_routes import Door

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
PROPOSALS = "/v1/rates/proposals"


@pytest.fixture
def store(database: Database) -> ProposalStore:
    return ProposalStore(database)


def dearer(rates: Rates) -> tuple[RateRow, ...]:
    return tuple(row.model_copy(update={"labour_rate_per_h": row.labour_rate_per_h + 1}) for row in rates.work_centres)


def test_a_proposal_is_the_revision_that_it_would_become(store: ProposalStore, rates: Rates, database: Database) -> None:
    made = store.propose("work_centres", dearer(rates), by="an engineer", now=NOW, kept_days=14)
    assert (made.number, made.base_revision, made.table) == (-1, 1, "work_centres")
    digest, document = store.proposal(1)
    found = RateRevision.model_validate_json(document)
    assert (found.number, found.digest, found.created_by) == (-1, digest, "an engineer")
    assert found.rates == rates.model_copy(update={"work_centres": dearer(rates)})
    revisions = RateStore(database)
    assert revisions.latest_number() == 1
    seen = revisions.table("work_centres").digest
    revisions.publish("work_centres", dearer(rates), seen={seen}, by=Author("an engineer", "a test", NOW))
    assert revisions.digest(2) == made.digest
    assert RateRevision.model_validate_json(store.proposal(1)[1]) == found, "it stands on revision 1 for good"


def test_a_proposal_that_contradicts_another_table_is_none(store: ProposalStore, rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"glass": "N-BK77"}) for row in rates.stock_forms)
    with pytest.raises(TableContradicts) as caught:
        store.propose("stock_forms", rows, by="x", now=NOW, kept_days=14)
    assert caught.value.errors[0].pointer == "/rows/0/glass"
    with pytest.raises(TableUnknown):
        store.propose("stock", rows, by="x", now=NOW, kept_days=14)
    with pytest.raises(ProposalUnknown):
        store.proposal(1)


def test_an_old_proposal_is_forgotten_at_the_next_and_its_number_is_not_used_again(store: ProposalStore, rates: Rates) -> None:
    store.propose("work_centres", dearer(rates), by="x", now=NOW, kept_days=14)
    store.propose("work_centres", dearer(rates), by="x", now=NOW + timedelta(days=13), kept_days=14)
    made = store.propose("work_centres", dearer(rates), by="x", now=NOW + timedelta(days=15), kept_days=14)
    assert made.number == -3
    assert store.proposal(2)
    with pytest.raises(ProposalUnknown):
        store.proposal(1)


def test_a_proposal_is_never_changed(store: ProposalStore, rates: Rates, database: Database) -> None:
    store.propose("work_centres", dearer(rates), by="x", now=NOW, kept_days=14)
    with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
        connection.execute(text("update rates.proposals set base_revision = 1"))


def source_at(door: Door, role: str = "service") -> HttpRateSource:
    def answer(request: httpx.Request) -> httpx.Response:
        found = door.bare(request.method, str(request.url), headers=dict(request.headers), content=request.content)
        return httpx.Response(found.status_code, content=found.content)

    return HttpRateSource("http://rates", door.keys[role], transport=httpx.MockTransport(answer))


def test_a_part_of_the_suite_proposes_for_somebody_and_reads_it_as_a_revision(database: Database, rates: Rates) -> None:
    source = source_at(Door(database))
    made = source.propose("work_centres", rows_to_csv("work_centres", dearer(rates)).encode(), "text/csv", by="B. Halloran (k1)")
    assert made.created_by == "B. Halloran (k1)"
    assert source.revision(made.number).rates.work_centres == dearer(rates)
    assert source.latest().number == 1
    with pytest.raises(ProposalRefused) as caught:
        source.propose("work_centres", b'{"rows": [{"name": "x"}]}', "application/json", by="x")
    assert caught.value.errors[0].pointer.startswith("/rows/0/")
    with pytest.raises(RatesUnavailable):
        source_at(Door(database), "sales").propose("work_centres", b"{}", "application/json", by="x")
    with pytest.raises(RevisionNotFound):
        source.revision(-99)


def test_an_engineer_proposes_in_its_own_name_and_nobody_else_may(database: Database, rates: Rates) -> None:
    door = Door(database)
    body = {"rows": [row.model_dump(mode="json", by_alias=True) for row in dearer(rates)]}
    made = door.ask("POST", PROPOSALS, params={"table": "work_centres", "by": "somebody else"}, json=body)
    assert (made.status_code, made.json()["created_by"], made.headers["Location"]) == (201, "the engineer", f"{PROPOSALS}/1")
    assert door.get(f"{PROPOSALS}/1").json()["number"] == -1
    for role in ("sales", "erp"):
        assert door.ask("POST", PROPOSALS, role=role, params={"table": "work_centres"}, json=body).status_code == 403
        assert door.ask("GET", f"{PROPOSALS}/1", role=role).status_code == 403
    asked = [
        ({"params": {"table": "x"}, "json": body}, 404),
        ({"json": body}, 422),
        ({"params": {"table": "work_centres"}, "content": b"{", "headers": {"Content-Type": "application/json"}}, 400),
        ({"params": {"table": "work_centres"}, "content": b"x", "headers": {"Content-Type": "text/plain"}}, 415),
        ({"params": {"table": "work_centres"}, "json": {"rows": []}}, 422),
    ]
    for more, status in asked:
        assert door.ask("POST", PROPOSALS, **more).status_code == status, more  # type: ignore[arg-type]
    assert [door.get(f"{PROPOSALS}/{number}").status_code for number in ("2", "0", "-1", "x")] == [404, 422, 422, 422]
