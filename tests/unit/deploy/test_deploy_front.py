"""The front sends every address of the suite to the service that has it, on a server and on a cluster."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import pytest
import yaml

from services.chassis.addresses import Addresses

ROOT = Path(__file__).resolve().parents[3]
SERVICES = ("prescription", "glass", "process", "quoting", "orders", "rates", "desk")
INSIDE = ("/v1/handovers", "/v1/order-events")
"""Between two services alone: no front lets them through."""

ADDRESSES = [
    (re.sub(r"\{[^}]*\}", "1", address.path), service)
    for service in SERVICES
    for address in Addresses(import_module(f"services.{service}.api").router.routes).known
]


def of_nginx() -> dict[str, str]:
    """Which service a location of the front's configuration goes to, by what paths begin with; whole paths end with a space."""
    conf = (ROOT / "deploy" / "front" / "front.conf").read_text(encoding="utf-8")
    found = re.findall(r"location (= )?(/\S*)\s+\{[^}]*?(?:http://\$(\w+):|return (\d+))", conf)
    assert len({(whole, place) for whole, place, *_ in found}) == len(found), "the front starts with no place twice"
    return {place + (" " if whole else ""): service or status for whole, place, service, status in found}


def of_gateway() -> dict[str, str]:
    documents = yaml.safe_load_all((ROOT / "deploy" / "kubernetes" / "front.yaml").read_text(encoding="utf-8"))
    rules = [rule for document in documents if document["kind"] == "HTTPRoute" for rule in document["spec"]["rules"]]
    return {
        match["path"]["value"]: rule["backendRefs"][0]["name"].removesuffix("-api")
        for rule in rules
        if "backendRefs" in rule
        for match in rule["matches"]
    }


def of_ingress() -> dict[str, str]:
    documents = yaml.safe_load_all((ROOT / "deploy" / "kubernetes-optional" / "ingress" / "front.yaml").read_text(encoding="utf-8"))
    rules = [rule for document in documents if document["kind"] == "Ingress" for rule in document["spec"]["rules"]]
    return {
        path["path"]: path["backend"]["service"]["name"].removesuffix("-api") for rule in rules for path in rule["http"]["paths"]
    }


def sent_to(path: str, places: dict[str, str]) -> str:
    """The service that a path is sent to: by itself, or by the longest place that it begins with."""
    fitting = [place for place in places if f"{path} " == place or path.startswith(place)]
    return places[max(fitting, key=lambda place: (place.endswith(" "), len(place)))] if fitting else ""


@pytest.mark.parametrize("read", [of_nginx, of_gateway, of_ingress], ids=["nginx", "gateway", "ingress"])
def test_every_address_is_sent_to_the_service_that_has_it(read: object) -> None:
    assert callable(read)
    places = read()
    assert len(places) > 5
    wrong = [
        (path, sent_to(path, places)) for path, service in ADDRESSES if path not in INSIDE and sent_to(path, places) != service
    ]
    assert wrong == []
