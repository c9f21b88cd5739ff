"""The door: before a byte of a body is read it is known what is asked for, by whom, and whether that role may.

Nothing here is read from the body, so a stranger costs one look at the head of the request and an answer.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Mapping, Sequence
from urllib.parse import unquote_plus

from sqlalchemy.exc import SQLAlchemyError
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from services.chassis.addresses import Address, Addresses, methods_of
from services.chassis.audit import asking
from services.chassis.callers import Failures, IssuerAway, KeyRing, Network, TokenRefused, Tokens, address_of, is_token, shown_key
from services.chassis.key_limits import KeyLimits
from services.chassis.keys import Caller, Role
from services.chassis.refusals import Refused, announced_bytes, refuse
from services.chassis.scopes import OF_TABLE, READ_ONLY, SAFE
from shared_schemas.problem import ProblemDetail

log = logging.getLogger(__name__)

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "QUERY"})
"""What a server must know of (RFC 9110, section 9.1, and RFC 5789); any other method is one that nobody here knows."""
KEYED = "/v1/"


class Admission:
    """Middleware: answers itself whatever can be refused from the head of a request, and leaves the caller in its state."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        ring: KeyRing,
        failures: Failures,
        limits: KeyLimits | None = None,
        trusted: Sequence[Network] = (),
        tokens: Tokens | None = None,
    ) -> None:
        self._app = app
        self._ring = ring
        self._failures = failures
        self._limits = limits
        self._trusted = tuple(trusted)
        self._tokens = tokens
        self._addresses: Addresses | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        state = scope.setdefault("state", {})
        asking.set(None)
        state["address"] = address_of(scope, self._trusted)
        if self._addresses is None:
            self._addresses = Addresses(scope["app"].routes)
        found = self._addresses.at(scope["path"])
        send = self._telling_limits(scope, send)
        if found and scope["method"] == "OPTIONS" and "OPTIONS" not in found:
            await _tell_methods(found, send)
            return
        try:
            address = _chosen(found, scope)
            scope["route"] = address.route
            await self._admit(address, scope)
        except Refused as refusal:
            await refuse(scope, receive, send, refusal)
            return
        if scope["method"] == "HEAD" and "HEAD" not in address.methods:
            await _without_body(self._app, scope, receive, send)
            return
        await self._app(scope, receive, _closing(scope, send))

    async def _admit(self, address: Address, scope: Scope) -> None:
        if address.roles is not None:
            try:
                caller = await self._caller(scope)
            except SQLAlchemyError as fault:
                log.warning("keys cannot be looked up", exc_info=fault)
                detail = "The database does not answer just now; try again in a moment."
                raise Refused("unavailable", detail, Retry_After="2") from fault
            scope["state"]["caller"] = caller
            asking.set(caller)
            if self._limits is not None:
                self._limits.take_request(caller)
            refuse_caller(caller, scope["method"], address.roles, address.tables_of, address.places(scope["path"]))
        if scope["path"].startswith(KEYED):
            _refuse_unknown_query(address, scope)

    def _telling_limits(self, scope: Scope, send: Send) -> Send:
        """Let every answer to a known caller say where its key stands."""

        async def telling(message: Message) -> None:
            caller = scope["state"].get("caller")
            if message["type"] == "http.response.start" and caller is not None and self._limits is not None:
                fields = [(name.lower().encode(), value.encode()) for name, value in self._limits.fields(caller).items()]
                message = {**message, "headers": [*message.get("headers", ()), *fields]}
            await send(message)

        return telling

    async def _caller(self, scope: Scope) -> Caller:
        key = shown_key(scope)
        if key is None:
            raise Refused("key-missing", "This address needs a key.", WWW_Authenticate="Bearer")
        if self._tokens is not None and is_token(key):
            return await self._caller_of_token(self._tokens, key, scope)
        caller = await self._ring.known(key)
        if caller is not None:
            return caller
        self._refuse_guesser(scope)
        if not self._ring.is_nobodys(key):
            caller = await self._ring.looked_up(key)
            if caller is not None:
                return caller
            # The same wrong key again is a client that was not told better, and no guess.
            self._failures.count(scope["state"]["address"])
        raise Refused(
            "key-unknown", "The key is not known, has expired, or was revoked.", WWW_Authenticate='Bearer error="invalid_token"'
        )

    async def _caller_of_token(self, tokens: Tokens, token: str, scope: Scope) -> Caller:
        try:
            return await tokens.caller(token)
        except IssuerAway as fault:
            detail = "The issuer of tokens does not answer just now; keys of the suite are good. Try again in a moment."
            raise Refused("unavailable", detail, Retry_After="10") from fault
        except TokenRefused as fault:
            if fault.is_guess:
                self._refuse_guesser(scope)
                self._failures.count(scope["state"]["address"])
            detail = f"The token is not good: {fault}."
            raise Refused("key-unknown", detail, WWW_Authenticate='Bearer error="invalid_token"') from fault

    def _refuse_guesser(self, scope: Scope) -> None:
        """Raise `Refused` while an address that showed too many unknown keys has to wait."""
        wait_s = self._failures.wait_s(scope["state"]["address"])
        if wait_s:
            detail = (
                f"Too many keys from your address were unknown; the next is looked at in {wait_s} s. A good key is always let in."
            )
            raise Refused("too-often", detail, Retry_After=str(wait_s))


def refuse_caller(
    caller: Caller, method: str, roles: Sequence[Role], tables_of: Mapping[Role, tuple[str, ...]], places: Mapping[str, str]
) -> None:
    """Raise `Refused` unless role and scopes of the caller reach; `places` are the names in the path."""
    refuse_role(caller, roles)
    refuse_table(caller, tables_of, places)
    refuse_scope(caller, method, places)


def refuse_role(caller: Caller, roles: Sequence[Role]) -> None:
    """Raise `Refused` unless the caller is an administrator or has one of the roles."""
    if caller.role != "admin" and caller.role not in roles:
        may = ", ".join((*roles, "admin"))
        raise Refused("role-may-not", f"A key of the role {caller.role} may not do that; the roles that may are {may}.")


def refuse_scope(caller: Caller, method: str, places: Mapping[str, str]) -> None:
    """Raise `Refused` where the scopes of a key do not reach; `places` are the names in the path.

    A key for some rate tables changes what is addressed as one of them, and nothing else.
    """
    if not caller.scopes or method in SAFE:
        return
    if READ_ONLY in caller.scopes:
        raise Refused("role-may-not", "This key may read and change nothing (its scope is read_only).")
    tables = tuple(scope.removeprefix(OF_TABLE) for scope in caller.scopes)
    if places.get("table") not in tables:
        raise Refused("role-may-not", f"This key may change these rate tables and nothing else: {', '.join(tables)}.")


def refuse_table(caller: Caller, tables_of: Mapping[Role, tuple[str, ...]], places: Mapping[str, str]) -> None:
    """Raise `Refused` where a role may come for some tables only, and this is none of them."""
    allowed = tables_of.get(caller.role)
    if allowed is not None and places.get("table") not in allowed:
        raise Refused("role-may-not", f"A key of the role {caller.role} may have these tables only: {', '.join(allowed)}.")


def _chosen(found: dict[str, Address], scope: Scope) -> Address:
    """The address that is asked for; raises `Refused` where there is nothing, and for a method it does not take."""
    method: str = scope["method"]
    if not found:
        raise Refused("not-found", f"There is nothing at {scope['path']}.")
    chosen = found.get(method) or (found.get("GET") if method == "HEAD" else None)
    if chosen is None and method not in METHODS:
        raise Refused("method-unknown", f"Nothing here knows the method {method[:20]}.", Allow=methods_of(found))
    if chosen is None:
        raise Refused("method-not-allowed", f"This address does not take {method}.", Allow=methods_of(found))
    return chosen


def _refuse_unknown_query(address: Address, scope: Scope) -> None:
    given = [unquote_plus(part.partition("=")[0]) for part in scope["query_string"].decode("latin-1").split("&") if part]
    unknown = [name for name in dict.fromkeys(given) if name not in address.query]
    if not unknown:
        return
    known = ", ".join(address.query) or "none"
    details = tuple(
        ProblemDetail(
            pointer=f"/query/{_printable(name)}", reason="unknown query parameter", limit=known, remedy="remove it, or look for a misspelt name"
        )
        for name in unknown[:20]
    )  # fmt: skip
    raise Refused("invalid", f"Unknown query parameter {_printable(unknown[0])}; this address takes: {known}.", errors=details)


def _printable(name: str) -> str:
    return "".join(sign if sign.isprintable() and sign not in "/~" else "?" for sign in name[:60])


async def _tell_methods(found: dict[str, Address], send: Send) -> None:
    headers = [(b"allow", methods_of(found).encode())]
    await send({"type": "http.response.start", "status": 204, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


async def _without_body(app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
    """HEAD: the head that GET would have had. A stream is ended as if the caller had gone."""
    begun = asyncio.Event()

    async def head_only(message: Message) -> None:
        if message["type"] == "http.response.start":
            await send(message)
            await send({"type": "http.response.body", "body": b""})
            begun.set()

    async def gone() -> Message:
        coming, ended = asyncio.ensure_future(receive()), asyncio.ensure_future(begun.wait())
        try:
            await asyncio.wait({coming, ended}, return_when=asyncio.FIRST_COMPLETED)
            return {"type": "http.disconnect"} if begun.is_set() else coming.result()
        finally:
            coming.cancel()
            ended.cancel()

    await app({**scope, "method": "GET"}, gone, head_only)


def _closing(scope: Scope, send: Send) -> Send:
    """Close the connection after an answer that is given while a body is still coming."""
    if announced_bytes(scope) == 0:
        return send

    async def watched(message: Message) -> None:
        if message["type"] == "http.response.start" and not scope["state"].get("body_read"):
            message = {**message, "headers": [*message.get("headers", ()), (b"connection", b"close")]}
        await send(message)

    return watched
