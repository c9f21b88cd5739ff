"""Tokens of an identity provider at the door: who they let in as what, which are not good, and an issuer that is slow, away or odd."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import hmac
import json
import logging
import warnings
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest
from joserfc import jwk, jws, jwt
from joserfc.errors import SecurityWarning
from pydantic import ValidationError

from services.chassis import issuer as issuer_module
from services.chassis.callers import IssuerAway, TokenRefused
from services.chassis.issuer import Issuer
from services.chassis.keys import Caller
from services.chassis.refusals import Refused
from services.chassis.settings import Settings
from services.chassis.tokens import LEEWAY_S
from tests.unit.chassis.test_chassis_admission import SALES, Clock, House

ISSUER, AUDIENCE = "https://login.example.com/shop", "blankwright"
NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
AT = int(NOW.timestamp())
RSA = jwk.generate_key("RSA", 2048, {"kid": "r1", "use": "sig"})
EC = jwk.generate_key("EC", "P-256", {"kid": "e1"})
ED = jwk.generate_key("OKP", "Ed25519", {"kid": "o1"})
OTHER = jwk.generate_key("RSA", 2048, {"kid": "r1"})
SIGNED_BY = ["RS256", "ES256", "Ed25519", "EdDSA", "RS384"]


def claims(**changes: Any) -> dict[str, Any]:
    known = {"iss": ISSUER, "aud": AUDIENCE, "sub": "ada", "exp": AT + 300, "iat": AT, "roles": ["desk"], **changes}
    return {name: value for name, value in known.items() if value is not None}


def token(key: Any = RSA, alg: str = "RS256", *, header: dict[str, Any] | None = None, **changes: Any) -> str:
    head = {"alg": alg, "kid": getattr(key, "kid", None), **(header or {})}
    plain = {name: value for name, value in head.items() if value is not None}
    registry = jws.JWSRegistry(algorithms=SIGNED_BY, strict_check_header=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SecurityWarning)
        return jwt.encode(plain, claims(**changes), key, registry=registry, default_type=None)


def settings_with(**changes: Any) -> Settings:
    known = {
        "database_url": "postgresql://u:p@127.0.0.1:1/x", "redis_url": "redis://127.0.0.1:1/0", "rates_url": "http://127.0.0.1:1",
        "service_key": "bw_0_0", "oidc_issuer": ISSUER, "oidc_audience": AUDIENCE,
        "oidc_roles": "office=admin,desk=sales,workshop=engineer", **changes,
    }  # fmt: skip
    return Settings(**known)


class Provider:
    """An identity provider in this process: its two documents, and how often each was asked for."""

    def __init__(self, *keys: Any, **changes: Any) -> None:
        self.keys: list[Any] = [key.as_dict(private=False) for key in keys or (RSA, EC, ED)]
        self.described: dict[str, Any] = {"issuer": ISSUER, "jwks_uri": f"{ISSUER}/keys"}
        self.asked: list[str] = []
        self.answer: Callable[[httpx.Request], httpx.Response] | None = None
        self.clock, self.now = Clock(), NOW
        self.issuer = Issuer(
            settings_with(**changes), transport=httpx.MockTransport(self._answered), clock=self.clock, now=lambda: self.now
        )

    async def _answered(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(str(request.url))
        if self.answer is not None:
            return self.answer(request)
        if request.url.path.endswith("/.well-known/openid-configuration"):
            return httpx.Response(200, json=self.described)
        return httpx.Response(200, json={"keys": self.keys})

    def caller(self, shown: str) -> Caller:
        """Whose token that is."""
        return asyncio.run(self.issuer.caller(shown))


def away(request: httpx.Request) -> httpx.Response:
    raise httpx.ConnectError("nobody there", request=request)


@pytest.mark.parametrize(
    ("key", "alg"), [(RSA, "RS256"), (EC, "ES256"), (ED, "Ed25519"), (ED, "EdDSA")], ids=("rsa", "ec", "ed25519", "eddsa")
)
def test_a_token_of_the_issuer_is_somebody_with_a_role(key: Any, alg: str) -> None:
    provider = Provider()
    caller = provider.caller(token(key, alg))
    assert (caller.role, caller.label, caller.scopes) == ("sales", f"ada ({ISSUER})", ())
    assert caller.key_id == provider.caller(token(key, alg, exp=AT + 900)).key_id, "each token of one person has the same id"
    assert caller.key_id != provider.caller(token(key, alg, sub="bob")).key_id
    assert provider.asked == [f"{ISSUER}/.well-known/openid-configuration", f"{ISSUER}/keys"]


@pytest.mark.parametrize(("changes", "shown", "role"), [
    ({}, {"roles": ["guest", "workshop"]}, "engineer"), ({}, {"roles": ["desk", "office"]}, "admin"), ({}, {"roles": "guest desk"}, "sales"),
    ({"oidc_role_claim": "realm_access.roles"}, {"realm_access": {"roles": ["desk"]}}, "sales"),
    ({"oidc_role_claim": "https://example.com/roles"}, {"https://example.com/roles": ["desk"]}, "sales"),
])  # fmt: skip
def test_the_role_claim_says_which_role_and_the_first_of_the_settings_counts(changes: Any, shown: Any, role: str) -> None:
    assert Provider(**changes).caller(token(**shown)).role == role


@pytest.mark.parametrize("roles", [[], ["guest"], None, 7, {"desk": True}, [["desk"]], "admin", ["service"]])
def test_a_person_without_a_role_here_is_told_so(roles: Any) -> None:
    with pytest.raises(Refused, match="no role") as refused:
        Provider().caller(token(roles=roles))
    assert refused.value.slug == "role-may-not"


def forged(head: dict[str, Any], signature: str = "") -> str:
    parts = (json.dumps(part).encode() for part in (head, claims()))
    return ".".join([*(base64.urlsafe_b64encode(part).decode().rstrip("=") for part in parts), signature])


def signed_with_a_secret(secret: bytes) -> str:
    unsigned = forged({"alg": "HS256", "kid": "r1"}).rpartition(".")[0]
    signature = hmac.new(secret, unsigned.encode(), hashlib.sha256).digest()
    return f"{unsigned}.{base64.urlsafe_b64encode(signature).decode().rstrip('=')}"


def signed(head: dict[str, Any]) -> str:
    """A token that the issuer did sign, with whatever head."""
    unsigned = forged(head).rpartition(".")[0]
    signature = jws.JWSRegistry.algorithms["RS256"].sign(unsigned.encode(), RSA)
    return f"{unsigned}.{base64.urlsafe_b64encode(signature).decode().rstrip('=')}"


NOT_GOOD: dict[str, Any] = {
    "of another issuer": lambda: token(iss="https://login.example.org"),
    "of an issuer whose name only begins alike": lambda: token(iss=ISSUER + "/"),
    "of another audience": lambda: token(aud="erp"),
    "of several other audiences": lambda: token(aud=["erp", "mail"]),
    "of nobody": lambda: token(sub=None),
    "of an empty name": lambda: token(sub=" "),
    "expired": lambda: token(exp=AT - LEEWAY_S),
    "without an end": lambda: token(exp=None),
    "with an end that is no moment": lambda: token(exp="tomorrow"),
    "with an end that is a truth": lambda: token(exp=True),
    "not good yet": lambda: token(nbf=AT + LEEWAY_S + 1),
    "of the future": lambda: token(iat=AT + LEEWAY_S + 1),
    "signed by another key of the same name": lambda: token(OTHER),
    "signed by a key that nobody knows": lambda: token(header={"kid": "r9"}),
    "without a signature": lambda: forged({"alg": "none"}),
    "without a signature, said otherwise": lambda: forged({"alg": "nOnE", "kid": "r1"}),
    "signed with a secret": lambda: signed_with_a_secret(b"secret" * 6),
    "signed with the public key as a secret": lambda: signed_with_a_secret(RSA.as_pem(private=False)),
    "of an algorithm that is not taken": lambda: token(alg="RS384"),
    "of an algorithm that its key has not": lambda: token(EC, "ES256", header={"kid": "r1"}),
    "with a key of its own": lambda: token(OTHER, header={"kid": "x", "jwk": OTHER.as_dict(private=False)}),
    "with an address of its own": lambda: token(OTHER, header={"kid": "x", "jku": "https://evil.example.com/keys"}),
    "of an extension that nobody knows": lambda: signed({"alg": "RS256", "kid": "r1", "crit": ["x"], "x": 1}),
    "that ends a session": lambda: token(header={"typ": "logout+jwt"}),
    "with its claims changed": lambda: token().replace(".", "." + "e", 1),
    "cut short": lambda: token()[:-6],
    "of three dots and nothing": lambda: "..",
    "that is no base64": lambda: "é.é.é",
    "whose head is a list": lambda: "W10.e30.x",
    "deep": lambda: base64.urlsafe_b64encode(b"[" * 5000).decode() + ".e30.x",
    "long": lambda: token(sub="a" * 9000),
    "of a long name": lambda: token(sub="a" * 300),
}


@pytest.mark.parametrize("made", NOT_GOOD.values(), ids=NOT_GOOD.keys())
def test_a_token_that_is_not_good_lets_nobody_in(made: Callable[[], str]) -> None:
    provider = Provider()
    with pytest.raises(TokenRefused) as refused:
        provider.caller(made())
    assert "eyJ" not in str(refused.value)
    assert not any("evil" in place for place in provider.asked)


@pytest.mark.parametrize(
    "changes", [{"exp": AT - LEEWAY_S + 1}, {"nbf": AT + LEEWAY_S}, {"iat": AT + LEEWAY_S}, {"aud": ["mail", AUDIENCE]}]
)
def test_clocks_may_differ_by_the_leeway_and_no_more(changes: Any) -> None:
    assert Provider().caller(token(**changes)).role == "sales"


@pytest.mark.parametrize("kind", [None, "JWT", "jwt", "at+jwt", "application/at+jwt"])
def test_access_tokens_say_what_they_are_in_several_ways(kind: str | None) -> None:
    assert Provider().caller(token(header={"typ": kind or ""})).role == "sales"


def test_keys_of_the_issuer_that_sign_nothing_are_passed_over() -> None:
    provider = Provider()
    provider.keys = [
        {**RSA.as_dict(private=False), "use": "enc"},
        {"kty": "PQ", "kid": "p1"},
        "x",
        {**EC.as_dict(private=False), "alg": "ES384"},
    ]
    for shown in (token(), token(EC, "ES256")):
        provider.clock.now += 100
        with pytest.raises(TokenRefused, match="no such key"):
            provider.caller(shown)


def test_a_short_key_is_never_trusted() -> None:
    provider = Provider()
    provider.keys = [{"kty": "RSA", "kid": "r1", "n": "AQ" * 80, "e": "AQAB"}]
    with pytest.raises(TokenRefused, match="no such key"):
        provider.caller(token())


def test_a_token_that_names_no_key_is_good_where_there_is_only_one_it_can_be() -> None:
    assert Provider(RSA, EC).caller(token(header={"kid": None})).role == "sales"
    second = jwk.generate_key("RSA", 2048, {"kid": "r2"})
    with pytest.raises(TokenRefused, match="no such key"):
        Provider(RSA, second).caller(token(header={"kid": None}))


def test_a_new_key_of_the_issuer_is_found_at_once_and_made_up_ones_ask_it_seldom() -> None:
    provider = Provider(RSA)
    provider.caller(token())
    provider.keys.append(EC.as_dict(private=False))
    provider.clock.now += 11
    assert provider.caller(token(EC, "ES256")).role == "sales"
    asked = len(provider.asked)
    for number in range(200):
        provider.clock.now += 0.1
        with pytest.raises(TokenRefused):
            provider.caller(token(header={"kid": f"x{number}"}))
    assert len(provider.asked) - asked <= 2 * 2
    assert provider.caller(token()).role == "sales"


def test_a_key_that_the_issuer_withdrew_is_good_for_no_longer_than_its_keys_are_fresh() -> None:
    provider = Provider(RSA, EC)

    async def asked() -> None:
        await provider.issuer.caller(token())
        provider.keys = [EC.as_dict(private=False)]
        provider.clock.now += 601
        await provider.issuer.caller(token())  # it is fetched anew beside this one
        for _ in range(20):
            await asyncio.sleep(0)
        with pytest.raises(TokenRefused, match="no such key"):
            await provider.issuer.caller(token())

    asyncio.run(asked())


def test_while_the_issuer_is_away_its_last_keys_are_good_for_an_hour() -> None:
    provider = Provider()
    provider.caller(token())
    provider.answer = away
    provider.clock.now += 3_500
    assert provider.caller(token()).role == "sales"
    provider.clock.now += 200
    with pytest.raises(IssuerAway):
        provider.caller(token())
    asked = len(provider.asked)
    with pytest.raises(IssuerAway):
        provider.caller(token())
    assert len(provider.asked) == asked, "it was asked a moment ago"
    provider.answer = None
    provider.clock.now += 11
    assert provider.caller(token()).role == "sales"


ODD: dict[str, Callable[[Provider], None]] = {
    "a discovery document of another issuer": lambda one: one.described.update(issuer="https://login.example.org"),
    "keys at an address that anybody can change": lambda one: one.described.update(jwks_uri="http://login.example.com/keys"),
    "keys in a file": lambda one: one.described.update(jwks_uri="file:///etc/passwd"),
    "keys nowhere": lambda one: one.described.pop("jwks_uri"),
    "no keys": lambda one: one.keys.clear(),
    "too many keys": lambda one: one.keys.extend([one.keys[0]] * 200),
    "an error": lambda one: setattr(one, "answer", lambda request: httpx.Response(500)),
    "a way elsewhere": lambda one: setattr(
        one, "answer", lambda request: httpx.Response(302, headers={"Location": "https://x.example.com"})
    ),
    "no JSON": lambda one: setattr(one, "answer", lambda request: httpx.Response(200, text="<html>")),
    "a list": lambda one: setattr(one, "answer", lambda request: httpx.Response(200, json=[])),
    "without an end": lambda one: setattr(one, "answer", lambda request: httpx.Response(200, content=b" " * 300_000)),
    "a connection that breaks": lambda one: setattr(one, "answer", away),
}


@pytest.mark.parametrize("odd", ODD.values(), ids=ODD.keys())
def test_an_issuer_that_cannot_be_trusted_is_as_good_as_away(odd: Callable[[Provider], None]) -> None:
    provider = Provider()
    odd(provider)
    with pytest.raises(IssuerAway):
        provider.caller(token())
    assert len(provider.asked) <= 2


def house(provider: Provider) -> House:
    made = House()
    for middleware in made.app.user_middleware:
        if "ring" in middleware.kwargs:
            middleware.kwargs["tokens"] = provider.issuer
    return made


def test_a_frozen_issuer_makes_tokens_503_and_keeps_no_key_of_the_suite_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(issuer_module, "ANSWER_WITHIN_S", 0.2)
    provider = Provider()

    class Frozen(httpx.AsyncBaseTransport):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            await asyncio.Event().wait()
            raise AssertionError

    provider.issuer = Issuer(settings_with(), transport=Frozen(), clock=provider.clock, now=lambda: NOW)
    door = house(provider)

    async def both() -> None:
        waiting = [asyncio.create_task(door.asked("GET", "/v1/things", key=token())) for _ in range(20)]
        await asyncio.sleep(0)
        assert (await door.asked("GET", "/v1/things", key=SALES)).status == 200
        assert not any(task.done() for task in waiting)
        for answer in await asyncio.gather(*waiting):
            assert (answer.status, answer.headers["retry-after"]) == (503, "10")
            assert "issuer of tokens" in answer.problem["detail"]

    asyncio.run(both())


def test_at_the_door_a_token_is_as_good_as_a_key_and_is_shown_nowhere(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    provider = Provider()
    door = house(provider)
    answer = door.ask("POST", "/v1/things", key=token(), pieces=[b"{", b"}"])
    assert json.loads(answer.body)["by"] == f"ada ({ISSUER})"
    assert "r=99999" in answer.headers["ratelimit"], "what it asks for is counted"
    assert door.ask("POST", "/v1/things", key=token(roles=["workshop"])).status == 403
    assert door.ask("GET", "/v1/things", key=token(roles=["guest"])).status == 403
    refused = door.ask("GET", "/v1/things", key=token(iss="https://login.example.org"))
    assert (refused.status, refused.headers["www-authenticate"]) == (401, 'Bearer error="invalid_token"')
    assert refused.problem["detail"] == "The token is not good: it is of another issuer."
    everything = caplog.text + refused.body.decode()
    assert "eyJ" not in everything
    assert door.ask("GET", "/v1/things").status == 200


def test_who_makes_tokens_up_waits_and_who_shows_an_old_one_does_not() -> None:
    provider = Provider()
    door = house(provider)
    assert {door.ask("GET", "/v1/things", key=token(exp=AT - 3600)).status for _ in range(30)} == {401}
    made_up = [door.ask("GET", "/v1/things", key=token(OTHER, sub=f"x{number}")).status for number in range(14)]
    assert made_up[0] == 401
    assert made_up[-1] == 429
    assert door.ask("GET", "/v1/things", key=token()).status == 200
    assert door.ask("GET", "/v1/things", key=SALES).status == 200


def test_without_an_issuer_in_the_settings_a_token_is_an_unknown_key() -> None:
    answer = House().ask("GET", "/v1/things", key=token())
    assert (answer.status, answer.problem["type"]) == (401, "/problems#key-unknown")


@pytest.mark.parametrize("changes", [
    {"oidc_issuer": "http://login.example.com"}, {"oidc_issuer": "login.example.com"}, {"oidc_issuer": "https://u:p@login.example.com"},
    {"oidc_issuer": "https://login.example.com/?x=1"}, {"oidc_audience": ""}, {"oidc_roles": ""}, {"oidc_roles": "desk"},
    {"oidc_roles": "desk=king"}, {"oidc_roles": "desk=service"}, {"oidc_roles": "=sales"},
])  # fmt: skip
def test_settings_that_would_let_in_the_wrong_people_are_refused_at_the_start(changes: Any) -> None:
    with pytest.raises(ValidationError):
        settings_with(**changes)


def test_a_provider_on_this_machine_may_do_without_tls() -> None:
    assert settings_with(oidc_issuer="http://127.0.0.1:9000/shop").oidc_issuer.startswith("http:")
