"""The cluster's manifests: valid by the published schemas, confined, and the same fleet as compose.yaml describes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml
from fastapi import FastAPI

from shared_schemas.pipeline import QUEUES

ROOT = Path(__file__).resolve().parents[3]
FOLDER = ROOT / "deploy" / "kubernetes"
VERSIONS = ("1.31", "1.37")
"""The oldest and the newest version of Kubernetes that the manifests are for."""

Document = dict[str, Any]


@cache
def documents() -> tuple[Document, ...]:
    found: list[Document] = []
    for path in sorted(FOLDER.glob("*.yaml")):
        if path.name != "kustomization.yaml":
            found.extend(yaml.safe_load_all(path.read_text(encoding="utf-8")))
    return tuple(found)


def of_kind(kind: str) -> dict[str, Document]:
    return {one["metadata"]["name"]: one for one in documents() if one["kind"] == kind}


def workloads() -> Iterator[tuple[str, Document, Document]]:
    """Name, pod and container of everything that runs."""
    for name, one in (of_kind("Deployment") | of_kind("Job")).items():
        pod = one["spec"]["template"]["spec"]
        (container,) = pod["containers"]
        yield name, pod, container


def compose() -> Document:
    found: Document = yaml.safe_load((ROOT / "compose.yaml").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("document", documents(), ids=lambda one: f"{one['kind']}-{one['metadata']['name']}")
def test_a_document_is_valid_by_the_published_schema(document: Document, version: str) -> None:
    assert kubernetes_validate.validate(document, version, strict=True) == version


def test_the_schema_catches_a_misspelt_field() -> None:
    spoilt = {**of_kind("Deployment")["beat"], "specs": {}}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(spoilt, VERSIONS[-1], strict=True)


def test_kustomize_takes_every_file_but_the_example_of_a_secret() -> None:
    listed = set(yaml.safe_load((FOLDER / "kustomization.yaml").read_text(encoding="utf-8"))["resources"])
    assert listed == {path.name for path in FOLDER.glob("*.yaml")} - {"kustomization.yaml", "secret.example.yaml"}


def test_the_cluster_runs_the_services_that_compose_runs() -> None:
    outside = {"redis", "postgres"}
    here = {name for name, _, _ in workloads()} | set(of_kind("Ingress"))
    assert here == set(compose()["services"]) - outside


def test_a_role_runs_the_same_command_with_the_same_services_in_both() -> None:
    for name, _, container in workloads():
        there = compose()["services"][name]
        assert container.get("command") == there.get("command"), name
        told = {one["name"]: one["value"] for one in container.get("env", ())}
        for setting, value in told.items():
            assert there["environment"][setting] == value, (name, setting)


@pytest.mark.parametrize("queue", QUEUES)
def test_every_queue_has_a_worker(queue: str) -> None:
    takers = [
        name
        for name, _, container in workloads()
        if "-Q" in container.get("command", ()) and queue in container["command"][container["command"].index("-Q") + 1].split(",")
    ]
    assert len(takers) == 1, takers


@pytest.mark.parametrize(("name", "pod", "container"), list(workloads()), ids=[name for name, _, _ in workloads()])
def test_a_container_is_confined_and_bounded(name: str, pod: Document, container: Document) -> None:
    assert pod["automountServiceAccountToken"] is False
    assert pod["securityContext"]["runAsNonRoot"] is True
    assert pod["securityContext"]["runAsUser"] > 0
    assert pod["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    confined = {"allowPrivilegeEscalation": False, "readOnlyRootFilesystem": True, "capabilities": {"drop": ["ALL"]}}
    assert container["securityContext"] == confined
    assert set(container["resources"]["limits"]) == set(container["resources"]["requests"]) == {"cpu", "memory"}
    assert {mount["mountPath"] for mount in container["volumeMounts"]} == {"/tmp", "/run/secrets"}


@pytest.mark.parametrize("name", of_kind("Deployment"))
def test_a_deployment_has_probes_a_budget_and_at_least_two_pods_unless_it_is_beat(name: str) -> None:
    deployment = of_kind("Deployment")[name]
    (container,) = deployment["spec"]["template"]["spec"]["containers"]
    for probe in ("startupProbe", "readinessProbe", "livenessProbe"):
        assert ("httpGet" in container[probe]) == name.endswith("-api"), (name, probe)
    if name.endswith("-api"):
        asked = {probe: container[probe]["httpGet"]["path"] for probe in ("startupProbe", "livenessProbe", "readinessProbe")}
        # A part that is away is no reason to restart a process, only to send it nothing.
        assert asked == {"startupProbe": "/livez", "livenessProbe": "/livez", "readinessProbe": "/readyz"}
    chosen = deployment["spec"]["selector"]["matchLabels"]
    assert chosen.items() <= deployment["spec"]["template"]["metadata"]["labels"].items()
    assert of_kind("PodDisruptionBudget")[name]["spec"]["selector"]["matchLabels"] == chosen
    scaler = of_kind("HorizontalPodAutoscaler").get(name)
    if scaler is not None:
        assert "replicas" not in deployment["spec"], "an applied number would undo what the autoscaler chose"
        assert scaler["spec"]["minReplicas"] == 2
    else:
        assert deployment["spec"]["replicas"] == (1 if name == "beat" else 2)
    assert deployment["spec"].get("strategy", {}).get("type") == ("Recreate" if name == "beat" else None)


def test_the_workers_of_the_stations_scale_on_the_length_of_their_own_queue() -> None:
    for name, _, container in workloads():
        if name.endswith("-worker"):
            metrics = of_kind("HorizontalPodAutoscaler")[name]["spec"]["metrics"]
            (length,) = [one["external"]["metric"] for one in metrics if one["type"] == "External"]
            assert length["name"] == "blankwright_queue_depth"
            assert length["selector"]["matchLabels"]["queue"] == container["command"][container["command"].index("-Q") + 1]
            assert any(one["type"] == "Resource" for one in metrics)


def test_everything_is_denied_first_and_every_pod_is_told_whom_it_may_reach() -> None:
    policies = of_kind("NetworkPolicy")
    assert policies["deny-everything"]["spec"] == {"podSelector": {}, "policyTypes": ["Ingress", "Egress"]}
    components = {
        one["spec"]["template"]["metadata"]["labels"]["app.kubernetes.io/component"] for one in of_kind("Deployment").values()
    }
    assert components == {"api", "worker", "beat"}
    assert {"from-apis-and-workers", "from-beat", "from-the-migration", "to-the-apis", "between-parts"} <= set(policies)


def _sent_to(path: str) -> str:
    """The service whose longest path in the Ingress is a prefix of `path`, an empty text for none."""
    (rule,) = of_kind("Ingress")["front"]["spec"]["rules"]
    fitting = [
        one
        for one in rule["http"]["paths"]
        if path == one["path"] or (one["pathType"] == "Prefix" and path.startswith(one["path"] + "/"))
    ]
    best = max(fitting, key=lambda one: len(one["path"]), default=None)
    return best["backend"]["service"]["name"] if best else ""


def _sent_by_nginx_to(path: str) -> str:
    """The service of the location of the front that nginx takes for `path`: the one named exactly, or else the longest prefix."""
    front = (ROOT / "deploy" / "front.conf").read_text(encoding="utf-8")
    places = re.findall(r"location (= )?(/\S*) +\{[^}]*set \$to http://([a-z-]+):8000;", front)
    fitting = [(bool(exactly), len(at), to) for exactly, at, to in places if path == at or (not exactly and path.startswith(at))]
    return max(fitting)[2]


@pytest.mark.parametrize("service", ["prescription", "glass", "process", "quoting", "orders", "rates"])
def test_every_route_of_a_service_is_reached_through_both_fronts(service: str) -> None:
    app = FastAPI()
    app.include_router(import_module(f"services.{service}.api").router)
    for path in app.openapi()["paths"]:
        assert _sent_to(path) == f"{service}-api", path
        assert _sent_by_nginx_to(path) == f"{service}-api", path


def test_what_a_service_takes_both_fronts_let_through() -> None:
    front = (ROOT / "deploy" / "front.conf").read_text(encoding="utf-8")
    sizes = import_module("services.quoting.api.quotes").LARGER_BODIES | import_module("services.orders.api").LARGER_BODIES
    for path, most_bytes in sizes.items():
        assert re.search(rf"location = {path} +\{{ client_max_body_size {most_bytes // 2**20}m;", front)
        assert f"{most_bytes // 2**20} MiB at {path}" in front
    allowed = of_kind("Ingress")["front"]["metadata"]["annotations"]["nginx.ingress.kubernetes.io/proxy-body-size"]
    assert allowed == f"{max(sizes.values()) // 2**20}m"


def test_figures_of_the_processes_are_not_shown_to_callers() -> None:
    for path in ("/metrics", "/metrics/suite"):
        assert _sent_to(path) == ""
    assert "location ^~ /metrics       { return 404; }" in (ROOT / "deploy" / "front.conf").read_text(encoding="utf-8")


@pytest.mark.parametrize("setting", ["DATABASE_PASSWORD", "REDIS_PASSWORD", "SERVICE_KEY", "ADMIN_KEY"])
def test_compose_asks_for_a_secret_and_has_no_default_for_it(setting: str) -> None:
    text = (ROOT / "compose.yaml").read_text(encoding="utf-8")
    assert f"${{BLANKWRIGHT_{setting}:?" in text
    assert f"${{BLANKWRIGHT_{setting}:-" not in text
    assert f"BLANKWRIGHT_{setting}=\n" in (ROOT / "deploy" / "example.env").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [name for name in compose()["services"] if name != "migrate"])
def test_a_container_of_compose_is_confined_and_says_whether_it_is_well(name: str) -> None:
    service = compose()["services"][name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["healthcheck"]["test"]
    assert ("ports" in service) == (name == "front")
