"""Who may import whom. Each rule is one table here; an exception stands beside its reason."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SERVICES = ("prescription", "glass", "process", "quoting", "orders", "rates", "desk")
QUOTING_ROOMS = ("costs", "risk", "promise", "pricing", "explain")
"""The pure rooms of quoting; each may import those before it."""
STDLIB = set(sys.stdlib_module_names)


def files(*parts: str) -> list[Path]:
    return sorted(ROOT.joinpath(*parts).rglob("*.py"))


def imports_of(path: Path) -> Iterator[tuple[str, int]]:
    """Every module a file imports, anywhere in it, with the line."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield name.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno} imports relatively; write the whole name"
            assert node.module is not None
            yield node.module, node.lineno


def offences(paths: list[Path], allowed: tuple[str, ...], *, stdlib: bool = True) -> list[str]:
    """Imports of `paths` that are neither the standard library nor below one of `allowed`."""
    found = []
    for path in paths:
        for module, line in imports_of(path):
            top = module.split(".")[0]
            if stdlib and top in STDLIB:
                continue
            if not any(module == name or module.startswith(f"{name}.") for name in allowed):
                found.append(f"{path.relative_to(ROOT)}:{line} imports {module}")
    return found


def test_the_contracts_import_pydantic_and_nothing_of_ours() -> None:
    assert offences(files("shared_schemas"), ("pydantic", "pydantic_core", "shared_schemas")) == []


def test_the_client_can_be_installed_alone() -> None:
    assert offences(files("services", "client"), ("httpx", "pydantic", "services.client", "shared_schemas")) == []


def test_the_errors_and_calls_of_the_client_load_no_http() -> None:
    light = [path for path in files("services", "client") if path.name not in ("client.py", "stream.py")]
    code = [path.read_text(encoding="utf-8").replace("if TYPE_CHECKING:\n    import httpx\n", "") for path in light]
    assert [path.name for path, text in zip(light, code, strict=True) if "\nimport httpx" in text] == []


NUMBERS = ("numpy", "scipy", "shared_schemas")
LAWS = ("services.optics", "services.shop")


def test_the_book_of_laws_imports_numbers_and_contracts() -> None:
    assert offences(files("services", "optics"), (*NUMBERS, "services.optics")) == []


def test_the_arithmetic_of_the_shop_imports_numbers_contracts_and_laws() -> None:
    assert offences(files("services", "shop"), (*NUMBERS, *LAWS)) == []


@pytest.mark.parametrize("service", SERVICES)
def test_a_domain_imports_numbers_contracts_laws_and_itself(service: str) -> None:
    own = f"services.{service}"
    allowed = (*NUMBERS, "pydantic", *LAWS, f"{own}.domain", f"{own}.errors")
    assert offences(files("services", service, "domain"), allowed) == []


@pytest.mark.parametrize("room", QUOTING_ROOMS)
def test_a_room_of_quoting_imports_numbers_contracts_laws_and_rooms_below_it(room: str) -> None:
    below = tuple(f"services.quoting.{one}" for one in QUOTING_ROOMS[: QUOTING_ROOMS.index(room) + 1])
    allowed = (*NUMBERS, "pydantic", "jsonpointer", *LAWS, *below, "services.quoting.errors")
    assert offences(files("services", "quoting", room), allowed) == []


@pytest.mark.parametrize("service", SERVICES)
def test_no_service_imports_another(service: str) -> None:
    others = tuple(f"services.{name}" for name in SERVICES if name != service)
    found = [
        f"{path.relative_to(ROOT)}:{line} imports {module}"
        for path in files("services", service)
        for module, line in imports_of(path)
        if module.startswith(others)
    ]
    assert found == []


def test_the_chassis_imports_no_service() -> None:
    allowed_of_ours = ("services.chassis", "shared_schemas")
    found = [
        f"{path.relative_to(ROOT)}:{line} imports {module}"
        for path in files("services", "chassis")
        for module, line in imports_of(path)
        if module.split(".")[0] in ("services", "shared_schemas") and not module.startswith(allowed_of_ours)
    ]
    assert found == []


def test_the_chassis_has_no_lens_word_in_it() -> None:
    words = ("lens", "glass", "prescription", "radius", "polish", "coating", "blank", "surface")
    exempt = {
        "refused": "the problem table speaks to people who sent a lens",
        "blankwright": "the name of the suite",
    }
    found = []
    for path in files("services", "chassis"):
        for number, line in enumerate(path.read_text(encoding="utf-8").lower().splitlines(), start=1):
            plain = line.replace("blankwright", "")
            if any(word in plain for word in words) and not any(key in plain for key in exempt) and "services:" not in plain:
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    assert found == []


def test_the_desk_reaches_the_others_over_http_only() -> None:
    allowed = ("services.desk", "services.client", "services.chassis.one_box", "shared_schemas")
    exempt = {
        # the house-keeping commands
        "services.chassis.settings",
        "services.chassis.database",
        "services.chassis.epoch",
        "services.chassis.migrate",
        "services.chassis.keys",
        # one wording for what is wrong with a document, at the desk and at the door; it does no I/O
        "services.chassis.problems",
        # how the documents in an archive are packed; it reads its own file only
        "services.chassis.packing",
        # workbooks that strangers send; it opens what it is given and nothing else
        "services.chassis.workbooks",
        # the one number of the release
        "services.chassis.version",
    }
    served = {"services/desk/api.py", "services/desk/drafts/asking.py"}
    """What is served to callers; the command line, which starts light, imports none of it."""
    found = [
        f"{path.relative_to(ROOT)}:{line} imports {module}"
        for path in files("services", "desk")
        for module, line in imports_of(path)
        if module.startswith("services") and not module.startswith(allowed) and module not in exempt
        and not ((str(path.relative_to(ROOT)) in served or path.parent.name == "pages") and module.startswith("services.chassis"))
    ]  # fmt: skip
    assert found == []


@pytest.mark.parametrize("service", ["prescription", "glass", "process", "quoting", "orders"])
def test_no_task_module_imports_asyncio(service: str) -> None:
    path = ROOT / "services" / service / "stage.py"
    assert [module for module, _ in imports_of(path) if module.split(".")[0] in ("asyncio", "anyio")] == []


def test_nothing_pickles() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in files("services") + files("shared_schemas")
        for module, line in imports_of(path)
        if module.split(".")[0] in ("pickle", "marshal", "shelve", "dill")
    ]
    assert found == []


def _modules_imported(path: Path, modules: Mapping[str, Path]) -> Iterator[str]:
    """Our modules that a file imports; of a package only those modules that are named."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module is not None:
            inner = {f"{node.module}.{name.name}" for name in node.names} & modules.keys()
            yield from inner or {node.module} & modules.keys()
        elif isinstance(node, ast.Import):
            yield from {name.name for name in node.names} & modules.keys()


def test_no_module_imports_itself_by_way_of_others() -> None:
    paths = {
        path.relative_to(ROOT).with_suffix("").as_posix().replace("/", "."): path
        for path in [*files("services"), *files("shared_schemas")]
    }
    modules = {name.removesuffix(".__init__"): path for name, path in paths.items()}
    graph = {name: set(_modules_imported(path, modules)) - {name} for name, path in modules.items()}
    cycles, done = [], set[str]()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        if name in trail:
            cycles.append(" -> ".join((*trail[trail.index(name) :], name)))
        elif name not in done:
            for following in sorted(graph[name]):
                visit(following, (*trail, name))
            done.add(name)

    for name in sorted(graph):
        visit(name, ())
    assert cycles == []
