"""What a fleet that stands must keep: secrets asked for, nobody privileged, one door."""

from __future__ import annotations

import json
import re
import subprocess
import time
from collections.abc import Mapping

import httpx

from tests.compose.fleet import DEMO, HEALTHY_WITHIN_S, Fleet, must, say
from tests.system.asking import ask, finished

SECRETS = 11
TRIES = 3
APIS = ("rates-api", "orders-api", "prescription-api", "glass-api", "process-api", "quoting-api", "desk-api")


def refuses_without_secrets(fleet: Fleet) -> None:
    """Compose starts nothing while one secret is missing."""
    lines = fleet.env_file.read_text(encoding="utf-8").splitlines()
    secrets = [line for line in lines if line.split("=")[0].endswith(("_PASSWORD", "_KEY"))]
    must(len(secrets) == SECRETS, f"{len(secrets)} secrets")
    for left_out in secrets:
        partial = fleet.env_file.with_name("partial.env")
        partial.write_text("\n".join(line for line in lines if line != left_out), encoding="utf-8")
        done = fleet.compose("config", "--quiet", env_file=partial, check=False)
        name = left_out.split("=")[0]
        must(done.returncode != 0 and name in done.stderr, f"compose starts without {name}")
    say(f"refuses to start without any one of its {SECRETS} secrets")


def comes_up(fleet: Fleet, image: str) -> None:
    """Built, started, healthy; the image says what it is."""
    began = time.monotonic()
    fleet.compose("build")
    shown = subprocess.run(["docker", "image", "inspect", image], capture_output=True, text=True, check=True)
    (told,) = json.loads(shown.stdout)
    labels = told["Config"]["Labels"]
    must({f"org.opencontainers.image.{name}" for name in ("version", "revision", "source")} <= set(labels), f"labels: {labels}")
    say(f"image built in {time.monotonic() - began:.0f} s: {told['Size'] / 1e6:.0f} MB with its base")
    began = time.monotonic()
    fleet.compose("up", "-d", "--no-build", "--wait", "--wait-timeout", str(HEALTHY_WITHIN_S))
    say(f"healthy {time.monotonic() - began:.0f} s after `up`: {fleet.tally()}")
    packages = json.loads(fleet.inside("quoting-api", "cat", "/opt/blankwright/sbom.cdx.json"))["components"]
    must(any(one["name"] == "fastapi" for one in packages), "the bill of materials does not name fastapi")


def is_confined(fleet: Fleet) -> None:
    """Not root, no capability, nothing writable."""
    probe = "id -u; grep -c '^CapEff:\t0*$' /proc/self/status; touch /probe 2>/dev/null && echo writable || echo read-only"
    services = sorted({one["Service"] for one in fleet.containers() if one["State"] == "running"})
    for service in services:
        user, no_capability, root = fleet.inside(service, "sh", "-c", probe).split()
        must(user != "0", f"{service} is root")
        must(no_capability == "1", f"{service} has capabilities")
        must(root == "read-only", f"{service} can write to its root file system")
    say(f"not root, no capability, read-only root file system: {len(services)} services")


ASK_DATABASE = """
import sys
from services.chassis.database import Database
from services.chassis.settings import settings
connection = Database(settings().database_url.get_secret_value()).engine.connect()
for statement in sys.argv[1:]:
    try:
        connection.exec_driver_sql(statement)
        print("done")
    except Exception as fault:
        print(type(fault.orig).__name__)
    connection.rollback()
"""
ASK_REDIS = """
import sys, redis
from services.chassis.settings import settings
client = redis.Redis.from_url(settings().redis_url.get_secret_value())
for command in sys.argv[1:]:
    try:
        client.execute_command(*command.split())
        print("done")
    except redis.exceptions.NoPermissionError:
        print("no")
"""


def may_no_more_than_it_needs(fleet: Fleet) -> None:
    """A part that was taken over reaches neither another's tables nor the administration of database and Redis."""
    tries = {
        "quoting-api": ("delete from quoting.decisions", "alter table quoting.outcomes disable trigger all", "select 1 from rates.revisions"),
        "orders-worker": ("update orders.snapshots set digest = ''", "select 1 from quoting.quotes", "create role mine superuser"),
        "rates-api": ("update rates.revisions set reason = ''", "truncate rates.revisions cascade", "select 1 from orders.orders"),
        "glass-api": ("select 1 from quoting.quotes", "insert into chassis.api_keys select * from chassis.api_keys", "set role blankwright"),
    }  # fmt: skip
    for service, statements in tries.items():
        seen = fleet.inside(service, "python", "-c", ASK_DATABASE, *statements).split()
        must(
            seen == ["InsufficientPrivilege"] * len(statements),
            f"{service} in PostgreSQL: {list(zip(statements, seen, strict=True))}",
        )
    commands = ("flushall", "keys *", "config get *", "acl list", "get another:key", "shutdown")
    for service in ("quoting-api", "glass-worker", "beat"):
        seen = fleet.inside(service, "python", "-c", ASK_REDIS, *commands).split()
        must(seen == ["no"] * len(commands), f"{service} in Redis: {list(zip(commands, seen, strict=True))}")
    say("no part reads another's tables, changes what is never changed, or administers PostgreSQL or Redis")


def was_denied_nothing(fleet: Fleet) -> None:
    """Redis refused none of the commands that the suite itself gave since its log was last emptied."""
    log = _redis(fleet, "acl", "log")
    must(log == "", f"Redis denied something that the suite needs: {log}")


def forget_denials(fleet: Fleet) -> None:
    """Empty Redis' log of what it denied, which now has what this test tried."""
    _redis(fleet, "acl", "log", "reset")


def _redis(fleet: Fleet, *command: str) -> str:
    tls = ["--tls", "--cacert", "/run/authority/ca.crt"] if fleet.setting("BLANKWRIGHT_TLS_FOLDER") else []
    password = fleet.setting("BLANKWRIGHT_REDIS_PASSWORD")
    told = fleet.compose(
        "exec", "-T", "-e", f"REDISCLI_AUTH={password}", "redis", "redis-cli", "--user", "operator", *tls, *command
    )
    return told.stdout.strip()


def quotes(fleet: Fleet, key: str, *, quantities: int = 1) -> str:
    """The demo lens is quoted in so many quantities; its number."""
    request = DEMO | {"quantities": DEMO["quantities"][:quantities]}
    with fleet.client(Authorization=f"Bearer {key}") as sales:
        for tries in range(1, TRIES + 1):
            began = time.monotonic()
            quote = finished(sales, ask(sales, request), within_s=240)
            # Time limits are of the clock: on a machine that is busy with other things the first quote of a fresh worker may exceed one.
            if quote["status"] != "failed" or "ended after" not in str(quote.get("problem")):
                break
            say(f"{quote['number']} took too long, try {tries}")
        must(quote["status"] == "ready", f"the demo lens is {quote['status']}: {quote.get('problem')}")
        prices = ", ".join(f"{one['quantity']} at {one['unit_price']}" for one in quote["breaks"])
        say(f"{quote['number']} is ready {time.monotonic() - began:.1f} s after it was asked for: {prices} {quote['currency']}")
    return str(quote["number"])


def is_one_suite(fleet: Fleet, key: str) -> None:
    """An order goes all the way, every service is reached through the front, and one document describes them all."""
    number = quotes(fleet, key, quantities=3)
    with fleet.client(Authorization=f"Bearer {key}") as sales:
        quantity = DEMO["quantities"][0]
        body = {"decision": "accepted", "quantity": quantity, "by": "compose test"}
        decided = sales.post(f"/v1/quotes/{number}/decision", json=body)
        must(decided.status_code in (200, 201), f"the decision got {decided.status_code}: {decided.text}")
        ends = time.monotonic() + 120
        while (order := sales.get(f"/v1/orders/{number}")).status_code == 404 and time.monotonic() < ends:
            time.sleep(0.5)
        must(order.status_code == 200, f"the order is not in the book: {order.status_code}")
        paths = (
            "/v1/rates/revisions",
            "/v1/blanks/plan",
            "/v1/operations/plan",
            "/v1/prescriptions/check",
            "/v1/rates/impact",
            "/v1/rates/readiness",
        )
        for path in paths:
            must(sales.get(path).status_code in (200, 403, 405), f"{path} is not reached through the front")
        described = sales.get("/openapi.json").json()["paths"]
        for path in (
            "/v1/quotes",
            "/v1/load",
            "/v1/rates/revisions",
            "/v1/blanks/plan",
            "/v1/operations/plan",
            "/v1/prescriptions/check",
        ):
            must(path in described, f"/openapi.json does not tell of {path}")
    say(f"{number} was accepted and is in the book of load; one document tells of {len(described)} addresses of all services")


def has_pages(fleet: Fleet, key: str) -> None:
    """Somebody with a browser signs in at the front, has a table read, and opens a quote with its reasons and documents."""
    number = quotes(fleet, key)
    with fleet.client() as browser:
        must(browser.get("/").headers.get("location") == "/sign-in", "/ does not ask who is there")
        must(browser.get("/help/operator").status_code == 200, "the guides are not there")
        signed_in = browser.post("/sign-in", data={"key": key, "then": "/"})
        must(signed_in.status_code == 303, f"signing in got {signed_in.status_code}")
        start = browser.get("/").text
        token = re.search(r'name="form_token" value="([0-9a-f]+)"', start)
        must(token is not None, "the first page has no form")
        table = "Surface,Radius,Thickness,Glass,Diameter\n1,61.47,6.0,N-BK7,30\n2,-43.2,,,30\n"
        draft = browser.post("/drafts", data={"form_token": token[1], "text": table}) if token else browser.get("/")
        must("data:image/svg+xml" in draft.text, f"the draft of a table got {draft.status_code}, without a picture of the lens")
        for place in (
            "/quotes", f"/quotes/{number}", f"/quotes/{number}/why?of=/breaks/0/unit_price", f"/quotes/{number}/offer", f"/quotes/{number}/job-sheet",
            "/rates", "/rates/polishing",
        ):  # fmt: skip
            answer = browser.get(place)
            must(answer.status_code == 200, f"{place} got {answer.status_code}: {answer.text[:300]}")
    say(f"{number} was read in a browser, with why it costs what it does, its offer and its job sheet")


def keeps_its_door(fleet: Fleet) -> None:
    """Strangers get problem documents, and the front alone is reached from outside."""
    with fleet.client() as stranger:
        seen: Mapping[str, httpx.Response] = {
            "a stranger": stranger.get("/v1/quotes"),
            "a body of 2 MiB": stranger.post("/v1/quotes", content=b" " * 2**21),
            "/metrics": stranger.get("/metrics"),
        }
        for (what, answer), status in zip(seen.items(), (401, 413, 404), strict=True):
            must(answer.status_code == status, f"{what} got {answer.status_code}, not {status}")
            must(answer.headers["content-type"] == "application/problem+json", f"{what} got no problem document")
        page = stranger.get("/docs")
        wanted = ["content-security-policy", "x-content-type-options", "referrer-policy"]
        for header in wanted + (["strict-transport-security"] if fleet.setting("BLANKWRIGHT_TLS_FOLDER") else []):
            must(header in page.headers, f"/docs has no {header}")
        must(all("uvicorn" not in answer.headers.get("server", "") for answer in seen.values()), "the server names itself")
    open_to_all = [one["Service"] for one in fleet.containers() if any(port["PublishedPort"] for port in one["Publishers"] or ())]
    must(open_to_all == ["front"], f"reached from outside: {open_to_all}")
    say("the front alone is reached from outside; 401, 413 and 404 are problem documents; headers are there")
