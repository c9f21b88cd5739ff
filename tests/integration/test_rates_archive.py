"""All tables out in one file and into a draft, on a real PostgreSQL; and drafts and publishes in any order."""

from __future__ import annotations

import io
import json
import zipfile
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from services.chassis.database import Database
from services.rates.domain.row_patch import with_row_patched
from services.rates.errors import DraftClosed, DraftConflicts, DraftOvertaken, DraftStale
from services.rates.store.draft_publication import Publisher
from services.rates.store.drafts import DraftStore, Writer
from services.rates.store.repository import RateStore
from shared_schemas.rate_drafts import DraftRequest, PublishRequest, RebaseRequest
from shared_schemas.rates import TABLES, Rates
from tests.integration.test_rates_drafts import Desk

ZIP, XLSX = "application/zip", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
INTO_A_DRAFT = "/v1/rates/drafts/from-archive?reason=a+test"
NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def desk(database: Database) -> Desk:
    return Desk(database)


@pytest.mark.parametrize("kind", [ZIP, XLSX])
def test_an_archive_that_goes_through_a_draft_into_force_gives_the_digest_it_was_made_of(
    desk: Desk, rates: Rates, database: Database, kind: str
) -> None:
    digest = RateStore(database).digest(1)
    content = desk.get("/v1/rates/archive", Accept=kind).content
    place = desk.begin()
    for table in ("yields", "currencies", "stock_forms"):
        rows = [{**row, "source": "measured here", "origin": "measured"} for row in desk.rows(place, table)]
        assert desk.put_rows(place, table, rows).status_code == 200
    assert desk.publish(place).status_code == 200
    made = desk.ask("POST", INTO_A_DRAFT, content=content, headers={"Content-Type": kind})
    assert (made.status_code, [table["table"] for table in made.json()["tables"]]) == (201, ["stock_forms", "yields", "currencies"])
    done = desk.publish(made.headers["Location"])
    assert RateStore(database).digest(done.json()["published_revision"]) == digest
    assert desk.get("/v1/rates/archive?revision=1", Accept=kind).status_code == 200
    unnamed = desk.ask("POST", INTO_A_DRAFT, content=content, headers={"Content-Type": "application/octet-stream"})
    assert unnamed.status_code == 201, unnamed.text


def test_an_archive_with_a_wrong_cell_makes_no_draft(desk: Desk) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("yields.csv", "name,source\nx,y\n")
    refused = desk.ask("POST", INTO_A_DRAFT, content=out.getvalue(), headers={"Content-Type": ZIP})
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/tables/yields/rows/0/as_of")
    assert desk.ask("POST", INTO_A_DRAFT, content=b"x", headers={"Content-Type": ZIP}).status_code == 422
    assert desk.ask("POST", INTO_A_DRAFT, content=b"x", headers={"Content-Type": "text/plain"}).status_code == 415
    assert desk.get("/v1/rates/archive", Accept="text/html").status_code == 406
    assert desk.get("/v1/rates/drafts").json()["items"] == []


def test_tables_and_columns_are_listed_with_what_they_are_for(desk: Desk) -> None:
    found = desk.get("/v1/rates/tables").json()
    assert [info["table"] for info in found["items"]] == list(TABLES)
    assert found["items"][0]["digest"] == desk.get("/v1/rates/tables/glasses").headers["ETag"].strip('"')
    columns = desk.get("/v1/rates/tables/yields/columns").json()["columns"]
    assert next(column for column in columns if column["column"] == "yield")["range"] == "above 0 up to 1"
    assert desk.get("/v1/rates/tables/x/columns").status_code == 404
    assert desk.ask("GET", "/v1/rates/tables", role="sales").status_code == 403


class Publishing(RuleBasedStateMachine):
    """Drafts of two rows, published and rebased in any order, held against what they should make of the newest table."""

    database: Database
    names: tuple[str, str]

    def __init__(self) -> None:
        super().__init__()
        self.drafts, self.publisher, self.rates = DraftStore(self.database), Publisher(self.database), RateStore(self.database)
        self.now = self.stored()
        self.number = self.rates.latest_number()
        self.digests = {n: self.rates.digest(n) for n in range(1, self.number + 1)}
        self.open: dict[int, tuple[dict[str, float], dict[str, float]]] = {}
        """Of each open draft: the shares of its base, and its own."""

    def stored(self) -> dict[str, float]:
        rows: list[dict[str, Any]] = json.loads(self.rates.table("yields").rows)
        return {row["name"]: row["yield"] for row in rows if row["name"] in self.names}

    @rule()
    def begin(self) -> None:
        made, _ = self.drafts.make(DraftRequest(name="x", reason="y"), Writer("z", "k", NOW))
        self.open[made.number] = (dict(self.now), dict(self.now))

    @precondition(lambda self: self.open)
    @rule(data=st.data(), which=st.integers(0, 1), share=st.sampled_from([0.7, 0.8, 0.9]))
    def change(self, data: st.DataObject, which: int, share: float) -> None:
        number, name = data.draw(st.sampled_from(sorted(self.open))), self.names[which]
        there = self.drafts.table(number, "yields")
        rows = with_row_patched("yields", json.loads(there.rows), name, {"yield": share})
        self.drafts.put_table(number, "yields", rows, seen={there.digest}, by=Writer("z", "k", NOW))
        self.open[number][1][name] = share

    @precondition(lambda self: self.open)
    @rule(data=st.data())
    def publish(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.open)))
        base, own = self.open[number]
        by, tag = Writer("z", "k", NOW), self.drafts.draft(number)[1]
        with pytest.raises(DraftStale):
            self.publisher.publish(number, PublishRequest(), seen={"another"}, by=by)
        if base not in (own, self.now):
            with pytest.raises(DraftOvertaken):
                self.publisher.publish(number, PublishRequest(), seen={tag}, by=by)
            return
        done, _ = self.publisher.publish(number, PublishRequest(), seen={tag}, by=by)
        if own != base:
            self.number, self.now = self.number + 1, own
            self.digests[self.number] = self.rates.digest(self.number)
        assert done.published_revision == self.number
        del self.open[number]
        with pytest.raises(DraftClosed):
            self.publisher.rebase(number, RebaseRequest(), by=by)

    @precondition(lambda self: self.open)
    @rule(data=st.data())
    def rebase(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.open)))
        base, own = self.open[number]
        clash = {name for name in self.names if own[name] not in (base[name], self.now[name]) and self.now[name] != base[name]}
        if clash:
            with pytest.raises(DraftConflicts) as caught:
                self.publisher.rebase(number, RebaseRequest(), by=Writer("z", "k", NOW))
            assert len(caught.value.errors) == len(clash)
            return
        self.publisher.rebase(number, RebaseRequest(), by=Writer("z", "k", NOW))
        merged = {name: self.now[name] if own[name] == base[name] else own[name] for name in self.names}
        self.open[number] = (dict(self.now), merged)

    @invariant()
    def the_newest_is_what_was_published_last_and_no_revision_changes(self) -> None:
        assert self.rates.latest_number() == self.number
        assert self.stored() == self.now
        assert all(self.rates.digest(number) == digest for number, digest in self.digests.items())


def test_drafts_and_publishes_in_any_order_lose_nothing(database: Database, rates: Rates) -> None:
    Publishing.database, Publishing.names = database, (rates.yields[0].name, rates.yields[2].name)
    run_state_machine_as_test(Publishing, settings=settings(max_examples=4, stateful_step_count=12, deadline=None))
