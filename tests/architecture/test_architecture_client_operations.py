"""What the client asks is what the suite answers: each call of it goes to a route there is, and each route has its call or a reason."""

from __future__ import annotations

import inspect
import re
from datetime import UTC, date, datetime
from typing import Any

from pydantic import BaseModel

from services.client.call import Call
from services.client.operation import operation
from services.client.operations import Operations
from services.client.waiting import Wait
from tests.architecture.test_architecture_operations import OPERATIONS, document


class Body(BaseModel):
    """Stands for a contract that is sent."""


SPARED = {
    "follow_quote": "followed in calls/streams.py", "follow_estimates": "followed in calls/streams.py",
    "healthz": "for what keeps processes alive", "livez": "for what keeps processes alive",
    "get_metrics": "for what gathers figures", "get_suite_metrics": "for what gathers figures",
    "get_problem_types": "a page", "list_finding_kinds": "a page; the kinds are a contract",
    "list_handovers": "between services", "propose_rates": "between services", "get_rate_proposal": "between services",
    "cancel_batch": "`cancel` of a number that begins with B", "cancel_impact": "`cancel` of a number that begins with I",
    "cancel_what_if": "`cancel` of a number that begins with W",
}  # fmt: skip
GIVEN: dict[str, Any] = {
    "number": "7", "revision": None, "changes": {}, "decision": Body(), "with_revision": 1, "requests": [], "copies": [], "wanted": Body(),
    "prescription": Body(), "request": Body(), "pointer": "/title", "sent": Body(), "digest": "d", "change": Body(), "asked": Body(),
    "load": Body(), "report": b"", "chart": "month", "table": "yields", "rows": [], "reason": "r", "etag": "t", "row": "saw", "name": "n",
    "content": b"", "media_type": "application/zip", "answers": {}, "endpoint": "e", "delivery": "d", "letter": 7, "key_id": "k",
    "before": date(2026, 1, 2), "refractive_indices": [], "since": datetime(2026, 1, 2, tzinfo=UTC),
}  # fmt: skip


def names() -> list[str]:
    return [name for name, made in vars(Operations).items() if isinstance(made, operation)]


def asked_by(name: str) -> Call[Any]:
    """The call that an operation makes of the least that it can be given; of a wait its look."""
    makes = vars(Operations)[name].__wrapped__
    needed = [
        one.name
        for one in inspect.signature(makes).parameters.values()
        if one.default is one.empty and one.kind is not one.VAR_KEYWORD
    ]
    made = makes(**{needed_name: GIVEN[needed_name] for needed_name in needed})
    return made.look if isinstance(made, Wait) else made


def test_each_call_goes_to_a_route_and_each_route_has_its_call() -> None:
    routes = {name: re.compile(re.sub(r"\{[a-z_]+\}", "[^/]+", where)) for name, where in OPERATIONS.items()}
    called: set[str] = set()
    for name in names():
        call = asked_by(name)
        fits = [route for route, where in routes.items() if where.fullmatch(f"{call.method} {call.path}")]
        assert fits, f"{name} asks {call.method} {call.path}, which nobody answers"
        called |= {min(fits, key=lambda route: OPERATIONS[route].count("{"))}
    assert OPERATIONS.keys() - called == SPARED.keys(), "write the call in services/client/calls, or say here why there is none"


def test_a_call_has_an_idempotency_key_where_its_route_takes_one_and_nowhere_else() -> None:
    takes = {
        f"{method.upper()} {re.sub(r'{[a-z_]+}', '7', path)}"
        for path, methods in document()["paths"].items()
        for method, described in methods.items()
        for parameter in described.get("parameters", ())
        if parameter["name"] == "idempotency-key"
    }
    keyed = {f"{call.method} {call.path}" for call in map(asked_by, names()) if call.keyed}
    assert keyed == takes


def test_each_operation_says_what_it_answers_and_has_the_name_of_the_function_that_makes_it() -> None:
    for name, made in vars(Operations).items():
        if isinstance(made, operation):
            assert made.__wrapped__.__name__ == name
            assert (made.__doc__ or "").strip(), name
