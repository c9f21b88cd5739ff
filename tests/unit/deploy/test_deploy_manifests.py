"""The cluster's manifests: valid by the published schemas, confined, and the same fleet as compose.yaml describes."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
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
from tests.unit.deploy.test_deploy_front import INSIDE

ROOT = Path(__file__).resolve().parents[3]
FOLDER = ROOT / "deploy" / "kubernetes"
OPTIONAL = ROOT / "deploy" / "kubernetes-optional"
FRONT = ROOT / "deploy" / "front" / "front.conf"
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
@pytest.mark.parametrize(
    "document",
    [one for one in documents() if "gateway" not in one["apiVersion"]],
    ids=lambda one: f"{one['kind']}-{one['metadata']['name']}",
)
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
    here = {name for name, _, _ in workloads()} | set(of_kind("HTTPRoute"))
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


def test_the_workers_of_the_stations_may_scale_on_the_length_of_their_own_queue() -> None:
    folder = OPTIONAL / "queue-length"
    scalers = {
        one["metadata"]["name"]: one["spec"] for one in yaml.safe_load_all((folder / "scalers.yaml").read_text(encoding="utf-8"))
    }
    taken_out = yaml.safe_load((folder / "kustomization.yaml").read_text(encoding="utf-8"))["patches"]
    workers = {name: container for name, _, container in workloads() if name.endswith("-worker")}
    assert set(scalers) == set(workers) == {yaml.safe_load(one["patch"])["metadata"]["name"] for one in taken_out}
    for name, container in workers.items():
        length, processor = scalers[name]["triggers"]
        queue = container["command"][container["command"].index("-Q") + 1]
        assert length["metadata"]["query"] == f'max(blankwright_queue_depth{{queue="{queue}"}})'
        assert processor["type"] == "cpu"
        assert of_kind("HorizontalPodAutoscaler")[name]["spec"]["metrics"][0]["type"] == "Resource"


def test_what_is_optional_lists_its_files_and_takes_out_only_what_is_there() -> None:
    for folder in sorted(path.parent for path in OPTIONAL.glob("*/kustomization.yaml")):
        chosen = yaml.safe_load((folder / "kustomization.yaml").read_text(encoding="utf-8"))
        files = {path.name for path in folder.glob("*.yaml")} - {"kustomization.yaml"}
        assert set(chosen["resources"]) - {"../../kubernetes"} == files
        for patch in (yaml.safe_load(one["patch"]) for one in chosen.get("patches", ())):
            assert patch["metadata"]["name"] in of_kind(patch["kind"]), folder.name


def test_alerts_become_a_rule_of_the_operator_as_they_are() -> None:
    made = subprocess.run([OPTIONAL / "monitoring" / "rules.sh"], capture_output=True, text=True, check=True).stdout
    alerts = yaml.safe_load((ROOT / "deploy" / "alerts.yaml").read_text(encoding="utf-8"))
    assert yaml.safe_load(made)["spec"] == alerts


def test_everything_is_denied_first_and_every_pod_is_told_whom_it_may_reach() -> None:
    policies = of_kind("NetworkPolicy")
    assert policies["deny-everything"]["spec"] == {"podSelector": {}, "policyTypes": ["Ingress", "Egress"]}
    components = {
        one["spec"]["template"]["metadata"]["labels"]["app.kubernetes.io/component"] for one in of_kind("Deployment").values()
    }
    assert components == {"api", "worker", "beat"}
    assert {"from-apis-and-workers", "from-beat", "from-the-migration", "to-the-apis", "between-parts"} <= set(policies)


def _sent_to(path: str) -> str:
    """The service whose longest path in the HTTPRoute is a prefix of `path`, an empty text for none."""
    places = [
        (match["path"]["value"], match["path"]["type"], rule["backendRefs"][0]["name"])
        for rule in of_kind("HTTPRoute")["front"]["spec"]["rules"]
        for match in rule["matches"]
    ]
    fitting = [(len(at), to) for at, kind, to in places if path == at or (kind == "PathPrefix" and path.startswith(at + "/"))]
    return max(fitting, default=(0, ""))[1]


def test_an_ingress_sends_every_path_to_where_the_gateway_does() -> None:
    ingress = yaml.safe_load((OPTIONAL / "ingress" / "front.yaml").read_text(encoding="utf-8"))
    assert kubernetes_validate.validate(ingress, VERSIONS[-1], strict=True) == VERSIONS[-1]
    (rule,) = ingress["spec"]["rules"]
    for place in rule["http"]["paths"]:
        assert _sent_to(place["path"]) == place["backend"]["service"]["name"]
    limit = ingress["metadata"]["annotations"]["nginx.ingress.kubernetes.io/proxy-body-size"]
    assert limit == f"{max(_larger_bodies().values()) // 2**20}m"


def _sent_by_nginx_to(path: str) -> str:
    """The service of the location of the front that nginx takes for `path`: the one named exactly, or else the longest prefix."""
    front = FRONT.read_text(encoding="utf-8")
    usual = dict(re.findall(r'map "" \$(\w+) +\{ default ([a-z-]+); +include /tmp/pins/\2\.\*; \}', front))
    places = re.findall(r"location (= )?(/\S*) +\{[^}]*set \$to http://\$(\w+):8000;", front)
    fitting = [
        (bool(exactly), len(at), usual[to]) for exactly, at, to in places if path == at or (not exactly and path.startswith(at))
    ]
    return max(fitting)[2]


@pytest.mark.parametrize("service", ["prescription", "glass", "process", "quoting", "orders", "rates", "desk"])
def test_every_route_of_a_service_is_reached_through_both_fronts(service: str) -> None:
    app = FastAPI()
    app.include_router(import_module(f"services.{service}.api").router)
    for path in set(app.openapi()["paths"]) - set(INSIDE):
        assert _sent_to(path) == f"{service}-api", path
        assert _sent_by_nginx_to(path) == f"{service}-api", path


def _larger_bodies() -> dict[str, int]:
    return {
        path: most_bytes
        for module in ("services.quoting.api.quotes", "services.orders.api", "services.rates.api", "services.desk.api")
        for path, most_bytes in import_module(module).LARGER_BODIES.items()
    }


def test_what_a_service_takes_the_front_lets_through() -> None:
    front = FRONT.read_text(encoding="utf-8")
    for path, most_bytes in _larger_bodies().items():
        assert re.search(rf"location = {path} +\{{ client_max_body_size {most_bytes // 2**20}m;", front)
        assert f"{most_bytes // 2**20} MiB at {path}" in front


def test_figures_of_the_processes_are_not_shown_to_callers() -> None:
    for path in ("/metrics", "/metrics/suite"):
        assert _sent_to(path) == ""
    assert "location ^~ /metrics       { return 404; }" in FRONT.read_text(encoding="utf-8")


SECRETS = re.findall(r"^(BLANKWRIGHT_\w+)=$", (ROOT / "deploy" / "example.env").read_text(encoding="utf-8"), flags=re.MULTILINE)


@pytest.mark.parametrize("setting", SECRETS)
def test_compose_asks_for_a_secret_and_has_no_default_for_it(setting: str) -> None:
    text = (ROOT / "compose.yaml").read_text(encoding="utf-8")
    assert f"${{{setting}:?" in text
    assert f"${{{setting}:-" not in text


def test_every_secret_that_compose_asks_for_is_in_the_example_and_nothing_else() -> None:
    asked = set(re.findall(r"\$\{(\w+):\?", (ROOT / "compose.yaml").read_text(encoding="utf-8")))
    assert asked == set(SECRETS)
    assert len(SECRETS) == 11


def test_settings_are_made_once_and_what_they_say_stays(tmp_path: Path) -> None:
    file = tmp_path / "settings"
    given = {
        "BLANKWRIGHT_PORT": "9000",
        "BLANKWRIGHT_ADMIN_KEY": "",
        "BLANKWRIGHT_REDIS_PASSWORD": "for-tests",
    }
    file.write_text("".join(f"{name}={value}\n" for name, value in given.items()), encoding="utf-8")
    made = []
    for _ in range(2):
        environment = {"PATH": os.environ["PATH"], "BLANKWRIGHT_ENV_FILE": str(file)}
        subprocess.run([ROOT / "deploy" / "make-env.sh"], env=environment, capture_output=True, check=True)
        made.append(file.read_text(encoding="utf-8"))
    settings = dict(line.split("=", 1) for line in made[0].splitlines())
    assert made[1] == made[0]
    assert set(settings) == {*SECRETS, "BLANKWRIGHT_PORT"}
    assert (settings["BLANKWRIGHT_PORT"], settings["BLANKWRIGHT_REDIS_PASSWORD"]) == ("9000", "for-tests")
    assert len(set(settings.values())) == len(settings)
    for name, value in settings.items():
        form = r"bw_[0-9a-f]{12}_[\w-]{43}" if name.endswith("_KEY") else r"[\w-]{48}|for-tests|9000"
        assert re.fullmatch(form, value), name
    assert file.stat().st_mode & 0o077 == 0


def test_no_part_that_serves_or_works_connects_as_the_owner_of_the_tables() -> None:
    for name, service in compose()["services"].items():
        address = (service.get("environment") or {}).get("BLANKWRIGHT_DATABASE_URL", "")
        role = re.match(r"postgresql://(\w+):", address)
        if name == "migrate":
            assert role is not None
            assert role[1] == "blankwright"
        elif role is not None:
            served = service["environment"]["BLANKWRIGHT_SERVICES"]
            expected = served.rpartition(",")[2] if served.endswith(("quoting", "orders", "rates")) and name != "beat" else "keys"
            assert role[1] == f"blankwright_{expected}", name
            user = "beat" if name == "beat" else "api" if name.endswith("-api") else "worker"
            assert f"://{user}:" in service["environment"]["BLANKWRIGHT_REDIS_URL"], name
            (secrets,) = [one["projected"] for one in _pod(name)["volumes"] if one["name"] == "secrets"]
            assert [one["secret"]["name"] for one in secrets["sources"]] == ["blankwright", f"database-{expected}", f"redis-{user}"]


def _pod(name: str) -> Document:
    pod: Document = of_kind("Deployment")[name]["spec"]["template"]["spec"]
    return pod


def test_an_overlay_reaches_every_process_of_ours() -> None:
    ours = {name for name, service in compose()["services"].items() if name not in ("redis", "postgres", "front")}
    for file, left_out in (("compose.tls.yaml", set()), ("compose.telemetry.yaml", {"migrate", "beat"})):
        text = (ROOT / "deploy" / file).read_text(encoding="utf-8").replace("!override", "")
        assert set(yaml.safe_load(text)["services"]) - {"redis", "postgres", "front"} == ours - left_out, file


def test_the_image_says_the_version_of_the_project() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert f"ARG VERSION={version}\n" in (ROOT / "deploy" / "Dockerfile").read_text(encoding="utf-8")


@pytest.mark.parametrize("script", sorted((ROOT / "deploy").glob("**/*.sh")), ids=lambda path: path.name)
def test_a_script_can_be_read_and_is_told_of_in_the_runbook(script: Path) -> None:
    subprocess.run(["bash", "-n", script], check=True)
    runbook = (ROOT / "deploy" / "RUNBOOK.md").read_text(encoding="utf-8")
    shared = script.name in ("common.sh", "unpack-backup.sh", "start.sh")
    assert shared or str(script.relative_to(ROOT)) in runbook


@pytest.mark.parametrize("name", [name for name in compose()["services"] if name != "migrate"])
def test_a_container_of_compose_is_confined_and_says_whether_it_is_well(name: str) -> None:
    service = compose()["services"][name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["healthcheck"]["test"]
    assert ("ports" in service) == (name == "front")
