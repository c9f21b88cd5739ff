"""The HTTP side of a process: routers of its services under one roof, keys and roles, limits, problems, health."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from fastapi.telemetry import TelemetryConfig
from sqlalchemy.exc import DataError, SQLAlchemyError
from starlette.exceptions import HTTPException

from services.chassis import health, key_faults, metrics, tracing
from services.chassis.admission import Admission, refuse_caller
from services.chassis.bodies import BodyReader
from services.chassis.callers import Failures, KeyRing, Tokens, networks
from services.chassis.checks import Check, Checks
from services.chassis.compute_slots import ComputeSlots
from services.chassis.described_document import PROBLEM
from services.chassis.description import DESCRIBED, describe
from services.chassis.docs_page import add_description
from services.chassis.key_limits import KeyLimits
from services.chassis.keys import Caller, Keys, Role
from services.chassis.limits import RequestLimits
from services.chassis.load_source import LoadUnavailable, SnapshotNotFound
from services.chassis.logs import set_up_logs
from services.chassis.named_requests import NamedRequests
from services.chassis.open_streams import OpenStreams
from services.chassis.problems import MEDIA_TYPE, PROBLEM_TYPES, details_of_invalid, explained_problem, problem
from services.chassis.rate_source import ProposalRefused, RatesUnavailable, RevisionNotFound, RevisionOutgrown
from services.chassis.refusals import Refused
from services.chassis.resources import Resources, resources
from services.chassis.scopes import ScopesCannotBe
from services.chassis.settings import settings
from services.chassis.unreadable import answer_with_problems
from services.chassis.version import VERSION
from shared_schemas.problem import Explained, FigureOutOfRange, Problem
from shared_schemas.rates import RateMissing, RateRevision

log = logging.getLogger(__name__)
NOTHING = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

SAFE_HEADERS: dict[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": f"{NOTHING}; style-src 'unsafe-inline'; img-src data:",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Set on every answer that does not say otherwise itself: take nothing from elsewhere, guess nothing, tell nobody, keep nothing.

Strict-Transport-Security is the front's to say, which knows whether the caller came by TLS. Our pages and pictures carry their style inside and no script."""

bearer = HTTPBearer(
    auto_error=False, description="A key of the suite, bw_<id>_<secret>, or a token of the issuer that the operator chose."
)

STATUS_OF_SHARED: dict[type[Explained], tuple[int, str, str]] = {
    key_faults.KeyUnknown: (404, "not-found", "There is no such key"),
    key_faults.KeyHasEnded: (409, "conflict", "The key has ended"),
    key_faults.KeyOfTheSuite: (409, "conflict", "It is a key of the suite itself"),
    key_faults.LastAdminKey: (409, "conflict", "It is the last key of an administrator"),
    key_faults.StrongerKey: (403, "role-may-not", "No key makes a stronger one"),
    key_faults.ExpiryCannotBe: (422, "invalid", "A key cannot end then"),
    ScopesCannotBe: (422, "invalid", "The scopes cannot be"),
    FigureOutOfRange: (422, "invalid", "The request has values that cannot be"),
    RateMissing: (422, "rates", "The rates cannot answer this"),
    RevisionNotFound: (422, "rates", "There is no such rate revision"),
    RevisionOutgrown: (422, "rates", "This release cannot work with that rate revision"),
    ProposalRefused: (422, "invalid", "The proposed rates cannot be"),
    SnapshotNotFound: (404, "not-found", "There is no such snapshot of the book of load"),
}

PARTS: dict[type[Exception], str] = {
    SQLAlchemyError: "database",
    RatesUnavailable: "rates service",
    LoadUnavailable: "orders service",
}
"""What a route may find away, as it is named to the caller."""


OF_EVERY_PROCESS = (health.router, metrics.router)


def tools(request: Request) -> Resources:
    """The resources of this process, for a route."""
    resources_of_process: Resources = request.app.state.resources
    return resources_of_process


Tools = Annotated[Resources, Depends(tools)]


def needs_role(*roles: Role, tables_of: Mapping[Role, tuple[str, ...]] | None = None) -> Callable[..., Any]:
    """A dependency that lets callers of these roles in, and administrators; everyone else gets 401 or 403.

    `tables_of`: roles that may come as well, but for these rate tables alone. `Admission` found out who it is before the body was read, by
    what it reads here.
    """
    some = dict(tables_of or {})
    every = (*roles, *some)

    async def caller(request: Request, shown: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]) -> Caller:
        known: Caller | None = getattr(request.state, "caller", None)
        if known is None:
            raise Refused("key-missing", "This address needs a key.", WWW_Authenticate="Bearer")
        refuse_caller(known, request.method, every, some, request.path_params)
        return known

    caller.__name__ = "needs_" + "_or_".join(every or ("admin",))
    caller.roles = every  # type: ignore[attr-defined]  # the door reads them from the route
    caller.tables_of = some  # type: ignore[attr-defined]
    return caller


def latest_rates(resources: Tools) -> RateRevision:
    """The newest rate revision, as the rates service has it at this moment."""
    return resources.rates.latest()


def answers(*slugs: str) -> dict[int | str, dict[str, Any]]:
    """The problems a route may answer with, for OpenAPI; those that any route may are added."""
    described: dict[int | str, dict[str, Any]] = {}
    of_body = ("body-too-slow",) if "body-too-large" in slugs else ()
    for slug in dict.fromkeys((*slugs, *of_body, "key-missing", "role-may-not", "too-often", "internal", "unavailable")):
        status, title, _ = PROBLEM_TYPES[slug]
        title_of_all = described[status]["description"] + " / " + title if status in described else title
        described[status] = {
            "description": title_of_all,
            "content": {MEDIA_TYPE: PROBLEM},
        }
    return described


def make_app(resources: Resources) -> FastAPI:
    """One application with the routers of every service that the settings name."""
    app = FastAPI(
        **DESCRIBED,
        openapi_url=None,
        docs_url=None,
        # A redirect would name the host that the caller wrote into the header Host.
        redirect_slashes=False,
        redoc_url=None,
        telemetry=_traces(),
    )
    app.state.resources = resources
    status_of = dict(STATUS_OF_SHARED)
    larger_bodies: dict[str, int] = {}
    figures: list[metrics.Figures] = []
    checks: list[Check] = []
    for name in resources.settings.services:
        module = import_module(f"services.{name}.api")
        app.include_router(module.router, tags=[name])
        status_of.update(module.STATUS)
        larger_bodies.update(getattr(module, "LARGER_BODIES", {}))
        figures += [module.FIGURES] if hasattr(module, "FIGURES") else []
        checks += getattr(module, "CHECKS", ())
    app.state.slots = ComputeSlots(resources.settings.most_computing)
    app.state.streams = OpenStreams()
    app.state.meter = metrics.RequestMeter()
    app.state.suite = metrics.Suite(resources, figures)
    app.state.checks = health.checks(resources, checks)
    for router in OF_EVERY_PROCESS:
        app.include_router(router)
    _answer_with_problems(app, status_of)
    add_description(app)
    _set_up_the_door(app, resources, larger_bodies)
    describe(app, resources.settings.describes or resources.settings.services, OF_EVERY_PROCESS)
    return app


def _set_up_the_door(app: FastAPI, resources: Resources, larger_bodies: Mapping[str, int]) -> None:
    """What stands before the routes; the last that is added is the first that a request comes to."""
    chosen = resources.settings
    limits = KeyLimits(
        most_requests=chosen.most_requests_per_minute,
        most_bytes=chosen.most_body_bytes_per_minute,
        client=resources.redis,
        deployment=chosen.deployment,
    )
    app.add_middleware(BodyReader, within_s=chosen.body_within_s, usual_bytes=chosen.most_body_bytes, limits=limits)
    app.add_middleware(RequestLimits, most_bytes=chosen.most_body_bytes, at_path=larger_bodies)
    app.state.failures = Failures(chosen.free_unknown_keys)
    app.add_middleware(
        Admission,
        ring=KeyRing(Keys(resources.database)),
        failures=app.state.failures,
        limits=limits,
        trusted=networks(chosen.trusted_proxies),
        tokens=_issuer(resources),
    )
    app.add_middleware(NamedRequests, meter=app.state.meter, headers=SAFE_HEADERS)


def _issuer(resources: Resources) -> Tokens | None:
    """Whoever knows the tokens of the issuer that the settings name, `None` where they name none."""
    if not resources.settings.oidc_issuer:
        return None
    from services.chassis.issuer import Issuer  # noqa: PLC0415  who takes no tokens loads no cryptography for them

    return Issuer(resources.settings)


def _traces() -> TelemetryConfig:
    """What FastAPI is to keep of the requests: spans of those to the services where traces are kept, else nothing."""
    if not tracing.are_kept():
        return TelemetryConfig(tracing=False, metrics=False, logs=False)
    return TelemetryConfig(
        tracing=True,
        tracer_provider=tracing.provider(),
        metrics=False,
        logs=False,
        operation_spans=False,
        exclude=lambda scope: not scope["path"].startswith("/v1/"),
    )


def send_problem(document: Problem, headers: Mapping[str, str] | None = None) -> JSONResponse:
    """A problem document as an answer."""
    return JSONResponse(
        document.model_dump(mode="json", exclude_none=True),
        document.status,
        media_type=MEDIA_TYPE,
        headers=SAFE_HEADERS | dict(headers or {}),
    )


def _instance(request: Request) -> str | None:
    named = getattr(request.state, "id", None)
    return f"/requests/{named}" if named else None


def _answer_with_problems(app: FastAPI, status_of: dict[type[Explained], tuple[int, str, str]]) -> None:
    def explained(request: Request, fault: Exception) -> Response:
        assert isinstance(fault, Explained)
        mapped = next((status_of[kind] for kind in type(fault).__mro__ if kind in status_of), None)
        if mapped is None:
            return unforeseen(request, fault)
        wait_s, tag = getattr(fault, "retry_after_s", None), getattr(fault, "current_tag", None)
        headers = ({"Retry-After": str(wait_s)} if wait_s is not None else {}) | ({"ETag": f'"{tag}"'} if tag else {})
        return send_problem(explained_problem(fault, mapped, _instance(request)), headers)

    def refused(request: Request, fault: Exception) -> Response:
        assert isinstance(fault, Refused)
        return send_problem(fault.document(_instance(request)), fault.headers)

    def invalid(request: Request, fault: Exception) -> Response:
        assert isinstance(fault, RequestValidationError)
        broken = [error for error in fault.errors() if error["type"] == "json_invalid"]
        if broken:
            where = broken[0]["loc"][-1] if broken[0]["loc"] else "?"
            why = (broken[0].get("ctx") or {}).get("error", broken[0]["msg"])
            return send_problem(
                problem("not-json", f"The body is not JSON: {why} at character {where}.", instance=_instance(request))
            )
        if isinstance(fault.body, bytes):
            # FastAPI leaves a body alone that does not say it is JSON.
            kind = request.headers.get("content-type", "")[:60] or "nothing"
            detail = f"The body comes as {kind}; send Content-Type: application/json."
            return send_problem(
                problem("unsupported-media-type", detail, instance=_instance(request)), {"Accept": "application/json"}
            )
        details = details_of_invalid(fault.errors(), fault.body)
        places = "1 place" if len(details) == 1 else f"{len(details)} places"
        first = f" First: {details[0].pointer or '/'}: {details[0].reason}." if details else ""
        return send_problem(
            problem("invalid", f"The request has {places} to mend.{first}", instance=_instance(request), errors=details)
        )

    def http(request: Request, fault: Exception) -> Response:
        assert isinstance(fault, HTTPException)
        slug = {404: "not-found", 405: "method-not-allowed", 400: "not-json", 413: "body-too-large"}.get(
            fault.status_code, "internal"
        )
        detail = {"not-found": f"There is nothing at {request.url.path}."}.get(slug, str(fault.detail))
        headers = dict(fault.headers or {})
        return send_problem(problem(slug, detail, instance=_instance(request)), headers)

    def unavailable(request: Request, fault: Exception) -> Response:
        part = next(name for kind, name in PARTS.items() if isinstance(fault, kind))
        log.warning("a part does not answer", exc_info=fault)
        return send_problem(
            problem("unavailable", f"The {part} does not answer just now; try again in a moment.", instance=_instance(request)),
            {"Retry-After": "2"},
        )

    def unforeseen(request: Request, fault: Exception) -> Response:
        log.error("unforeseen", exc_info=fault)
        return send_problem(problem("internal", "Something unforeseen broke; the log has it.", instance=_instance(request)))

    app.add_exception_handler(Explained, explained)
    app.add_exception_handler(Refused, refused)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(HTTPException, http)
    for kind in PARTS:
        app.add_exception_handler(kind, unavailable)
    app.add_exception_handler(DataError, unforeseen)  # the database answered: what it was asked made no sense
    app.add_exception_handler(Exception, unforeseen)


def application() -> FastAPI:
    """The application of this process, as uvicorn serves it: `uvicorn --factory services.chassis.web:application`."""
    answer_with_problems()
    set_up_logs(settings().log_level)
    log.info("api starts", extra={"version": VERSION, "services": ",".join(settings().services)})
    app = make_app(resources())
    checks: Checks = app.state.checks
    checks.begin()
    streams: OpenStreams = app.state.streams
    streams.end_with_the_process()
    return app
