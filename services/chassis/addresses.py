"""The addresses of the application: which methods each takes, who may come, and what may stand in its query."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from fastapi.routing import iter_route_contexts
from starlette.routing import BaseRoute

from services.chassis.keys import Role


@dataclass(frozen=True)
class Address:
    """One method at one address. `roles` are those that may besides administrators, `None` where no key is asked for."""

    route: BaseRoute
    path: str
    pattern: re.Pattern[str]
    methods: frozenset[str]
    roles: tuple[Role, ...] | None
    query: tuple[str, ...]


class Addresses:
    """All addresses of an application, in the order in which they are tried."""

    def __init__(self, routes: Iterable[BaseRoute]) -> None:
        self.known: tuple[Address, ...] = tuple(_described(routes))

    def at(self, path: str) -> dict[str, Address]:
        """What may be done at `path`, by method; empty where there is nothing."""
        found: dict[str, Address] = {}
        for address in self.known:
            if address.pattern.match(path):
                for method in address.methods:
                    found.setdefault(method, address)
        return found


def methods_of(found: dict[str, Address]) -> str:
    """The header Allow of an address."""
    implied = {"OPTIONS"} | ({"HEAD"} if "GET" in found else set())
    return ", ".join(sorted(implied | set(found)))


def _described(routes: Iterable[BaseRoute]) -> Iterator[Address]:
    for context in iter_route_contexts(list(routes)):
        methods, pattern = context.methods, getattr(context, "path_regex", None)
        if not methods or pattern is None:
            continue
        dependant = getattr(context, "dependant", None)
        yield Address(
            route=context.original_route,
            path=getattr(context, "path_format", None) or str(context.path),
            pattern=pattern,
            methods=frozenset(methods),
            roles=_roles(dependant),
            query=tuple(dict.fromkeys(_query(dependant))),
        )


def _roles(dependant: Any) -> tuple[Role, ...] | None:
    """The roles of the dependency that asks for a key, wherever among the dependencies it stands."""
    if dependant is None:
        return None
    roles: tuple[Role, ...] | None = getattr(dependant.call, "roles", None)
    if roles is not None:
        return roles
    return next((found for inner in dependant.dependencies if (found := _roles(inner)) is not None), None)


def _query(dependant: Any) -> Iterator[str]:
    if dependant is None:
        return
    for parameter in dependant.query_params:
        yield parameter.alias
    for inner in dependant.dependencies:
        yield from _query(inner)
