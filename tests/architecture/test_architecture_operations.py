"""What generated clients call the operations: a new route must be entered here, and a name that is here does not change."""

from __future__ import annotations

import json
import re
from functools import cache
from typing import Any

from fastapi.routing import APIRoute

from services.chassis.described_document import operations_of
from services.chassis.description import operation_id
from tests.architecture.test_architecture_route_roles import app

OPERATIONS: dict[str, str] = {
    "read_intake": "POST /v1/intake",
    "approve_quote": "POST /v1/quotes/{number}/approvals",
    "change_worksheet": "PATCH /v1/quotes/{number}/worksheet",
    "check_prescription": "POST /v1/prescriptions/check",
    "buy_blanks_together": "POST /v1/blanks/buy-together",
    "plan_blanks_by_hand": "POST /v1/blanks/plan",
    "plan_operations_by_hand": "POST /v1/operations/plan",
    "list_archivable": "GET /v1/archive",
    "remove_archived": "POST /v1/archive/removals",
    "return_archived": "POST /v1/archive/returns",
    "read_audit": "GET /v1/audit",
    "export_audit": "GET /v1/audit/export",
    "list_dead_letters": "GET /v1/dead-letters",
    "replay_dead_letter": "POST /v1/dead-letters/{letter}/replay",
    "list_estimates": "GET /v1/estimates",
    "follow_estimates": "GET /v1/estimates/events",
    "get_estimate": "GET /v1/estimates/{number}",
    "list_finding_kinds": "GET /v1/findings",
    "list_handovers": "GET /v1/handovers",
    "list_keys": "GET /v1/keys",
    "make_key": "POST /v1/keys",
    "revoke_key": "DELETE /v1/keys/{key_id}",
    "get_key": "GET /v1/keys/{key_id}",
    "rotate_key": "POST /v1/keys/{key_id}/rotate",
    "request_batch": "POST /v1/quote-batches",
    "cancel_batch": "DELETE /v1/quote-batches/{number}",
    "get_batch": "GET /v1/quote-batches/{number}",
    "list_quotes": "GET /v1/quotes",
    "request_quote": "POST /v1/quotes",
    "cancel_quote": "DELETE /v1/quotes/{number}",
    "get_quote": "GET /v1/quotes/{number}",
    "compare_quote": "GET /v1/quotes/{number}/compare",
    "decide_on_quote": "POST /v1/quotes/{number}/decision",
    "undo_decision": "POST /v1/quotes/{number}/decision/undo",
    "follow_quote": "GET /v1/quotes/{number}/events",
    "explain_quote": "GET /v1/quotes/{number}/explanation",
    "request_promise": "POST /v1/quotes/{number}/promise",
    "get_job_sheet": "GET /v1/quotes/{number}/job-sheet",
    "get_worksheet": "GET /v1/quotes/{number}/worksheet",
    "requote": "POST /v1/quotes/{number}/requote",
    "request_what_if": "POST /v1/quotes/{number}/what-if",
    "get_what_if": "GET /v1/what-ifs/{number}",
    "cancel_what_if": "DELETE /v1/what-ifs/{number}",
    "draw_section": "POST /v1/sections",
    "get_sheet": "GET /v1/quotes/{number}/sheet",
    "send_quote": "POST /v1/quotes/{number}/offers",
    "list_offers": "GET /v1/quotes/{number}/offers",
    "get_offer": "GET /v1/offers/{number}",
    "get_letterhead": "GET /v1/letterhead",
    "put_letterhead": "PUT /v1/letterhead",
    "put_logo": "PUT /v1/letterhead/logo",
    "get_request": "GET /v1/quotes/{number}/request",
    "get_ubl": "GET /v1/quotes/{number}/ubl/{document}",
    "request_impact": "POST /v1/rates/impact",
    "cancel_impact": "DELETE /v1/rates/impact/{number}",
    "get_impact": "GET /v1/rates/impact/{number}",
    "get_readiness": "GET /v1/rates/readiness",
    "list_webhooks": "GET /v1/webhooks",
    "make_webhook": "POST /v1/webhooks",
    "remove_webhook": "DELETE /v1/webhooks/{endpoint}",
    "get_webhook": "GET /v1/webhooks/{endpoint}",
    "change_webhook": "PATCH /v1/webhooks/{endpoint}",
    "list_webhook_deliveries": "GET /v1/webhooks/{endpoint}/deliveries",
    "get_webhook_delivery": "GET /v1/webhooks/{endpoint}/deliveries/{delivery}",
    "replay_webhook_delivery": "POST /v1/webhooks/{endpoint}/deliveries/{delivery}/replay",
    "replay_webhook_deliveries": "POST /v1/webhooks/{endpoint}/replay",
    "rotate_webhook_secret": "POST /v1/webhooks/{endpoint}/rotate",  # pragma: allowlist secret
    "test_webhook": "POST /v1/webhooks/{endpoint}/test",
    "get_win_rate": "GET /v1/win-rate",
    "get_accuracy": "GET /v1/accuracy",
    "get_load": "GET /v1/load",
    "replace_load": "PUT /v1/load",
    "list_load_snapshots": "GET /v1/load/snapshots",
    "get_load_snapshot": "GET /v1/load/snapshots/{number}",
    "list_order_events": "GET /v1/order-events",
    "list_orders": "GET /v1/orders",
    "get_order": "GET /v1/orders/{number}",
    "get_actuals": "GET /v1/orders/{number}/actuals",
    "post_actuals": "POST /v1/orders/{number}/actuals",
    "cancel_order": "POST /v1/orders/{number}/cancellation",
    "complete_order": "POST /v1/orders/{number}/completion",
    "get_learned_rates": "GET /v1/rates/learned",
    "get_rate_archive": "GET /v1/rates/archive",
    "list_drafts": "GET /v1/rates/drafts",
    "make_draft": "POST /v1/rates/drafts",
    "make_draft_from_archive": "POST /v1/rates/drafts/from-archive",
    "delete_draft": "DELETE /v1/rates/drafts/{number}",
    "get_draft": "GET /v1/rates/drafts/{number}",
    "check_draft": "POST /v1/rates/drafts/{number}/check",
    "diff_draft": "GET /v1/rates/drafts/{number}/diff",
    "publish_draft": "POST /v1/rates/drafts/{number}/publish",
    "rebase_draft": "POST /v1/rates/drafts/{number}/rebase",
    "get_draft_table": "GET /v1/rates/drafts/{number}/tables/{table}",
    "put_draft_table": "PUT /v1/rates/drafts/{number}/tables/{table}",
    "patch_draft_row": "PATCH /v1/rates/drafts/{number}/tables/{table}/rows/{name}",
    "get_first_day": "GET /v1/rates/first-day",
    "begin_first_day": "POST /v1/rates/first-day",
    "check_first_day": "POST /v1/rates/first-day/check",
    "propose_rates": "POST /v1/rates/proposals",
    "get_rate_proposal": "GET /v1/rates/proposals/{position}",
    "list_rate_revisions": "GET /v1/rates/revisions",
    "get_rate_revision": "GET /v1/rates/revisions/{number}",
    "diff_rate_revisions": "GET /v1/rates/revisions/{number}/diff",
    "list_rate_tables": "GET /v1/rates/tables",
    "get_rate_table": "GET /v1/rates/tables/{table}",
    "put_rate_table": "PUT /v1/rates/tables/{table}",
    "list_rate_columns": "GET /v1/rates/tables/{table}/columns",
    "get_row_history": "GET /v1/rates/tables/{table}/rows/{name}/history",
    "healthz": "GET /healthz",
    "livez": "GET /livez",
    "get_metrics": "GET /metrics",
    "get_suite_metrics": "GET /metrics/suite",
    "get_problem_types": "GET /problems",
    "readyz": "GET /readyz",
}
"""The function that answers, under whose name every client of every caller knows the operation."""


@cache
def document() -> dict[str, Any]:
    """The description of the whole suite."""
    described: dict[str, Any] = app().openapi()
    return described


def test_every_operation_has_the_id_that_clients_know_it_by() -> None:
    described = {operation["operationId"]: where for where, operation in operations_of(document())}
    new, gone = described.keys() - OPERATIONS.keys(), OPERATIONS.keys() - described.keys()
    assert not new, f"enter in OPERATIONS: { ({name: described[name] for name in sorted(new)}) }"
    assert not gone, f"clients know these operations by their names, so name the functions as before: {sorted(gone)}"
    assert described == OPERATIONS


def test_no_two_operations_have_one_id() -> None:
    ids = [operation["operationId"] for _, operation in operations_of(document())]
    assert len(ids) == len(set(ids)) == len(OPERATIONS)


def test_an_id_is_the_name_of_the_function_and_reads_as_a_call() -> None:
    def list_lenses() -> None:
        """Nothing."""

    assert operation_id(APIRoute("/v1/lenses", list_lenses)) == "list_lenses"
    assert [name for name in OPERATIONS if not re.fullmatch(r"[a-z]+(_[a-z]+){0,4}", name)] == []


def test_a_contract_has_one_schema_whether_it_is_asked_or_answered() -> None:
    names = set(document()["components"]["schemas"])
    assert {name for name in names if not re.fullmatch(r"[A-Z][A-Za-z]+", name)} == set()
    assert {"Figure", "Quote", "QuoteRequest", "Problem", "TableUpdate"} <= names


def test_every_reference_leads_to_a_schema_of_the_document() -> None:
    referred = set(re.findall(r'"\$ref": "([^"]*)"', json.dumps(document())))
    assert referred <= {f"#/components/schemas/{name}" for name in document()["components"]["schemas"]}


def test_an_amount_of_money_is_a_string_in_every_schema() -> None:
    schemas = document()["components"]["schemas"]
    assert schemas["Line"]["properties"]["amount"]["type"] == "string"
    assert schemas["WorkCentreRow"]["properties"]["labour_rate_per_h"]["type"] == "string"


def test_media_types_are_said_by_bodies_and_answers_and_by_no_parameter() -> None:
    named = {one["name"] for _, operation in operations_of(document()) for one in operation.get("parameters", ())}
    assert named.isdisjoint({"accept", "content-type"})
    assert {"idempotency-key", "prefer", "if-match"} <= named


def test_every_tag_says_what_stands_under_it() -> None:
    described = {tag["name"]: tag["description"] for tag in document()["tags"]}
    assert {tag for _, operation in operations_of(document()) for tag in operation["tags"]} == set(described)
    assert all(len(text) > 20 for text in described.values())
