"""The addresses of the application: which methods each takes, who may come, and what may stand in its query."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi.routing import iter_route_contexts
from starlette.routing import BaseRoute

from services.chassis.keys import Role


@dataclass(frozen=True)
class Address:
    """One method at one address. `roles` are those that may besides administrators, `None` where no key is asked for.

    `tables_of` has the roles that may come for some rate tables only, with these.
    """

    route: BaseRoute
    path: str
    pattern: re.Pattern[str]
    methods: frozenset[str]
    roles: tuple[Role, ...] | None
    query: tuple[str, ...]
    tables_of: Mapping[Role, tuple[str, ...]] = field(default_factory=dict)

    def places(self, path: str) -> dict[str, str]:
        """What stands in a path of this address in the places that have names."""
        found = self.pattern.match(path)
        return found.groupdict() if found else {}


class Addresses:
    """All addresses of an application, in the order in which they are tried."""

    def __init__(self, routes: Iterable[BaseRoute]) -> None:
        self.known: tuple[Address, ...] = tuple(_described(routes))

    def at(self, path: str) -> dict[str, Address]:
        """What may be done at `path`, by method; empty where there is nothing.

        Where an address is just that path, it is no name in the place of another: GET on `…/drafts/from-archive` asks for no draft.
        """
        there = [address for address in self.known if address.pattern.match(path)]
        found: dict[str, Address] = {}
        for address in [address for address in there if address.path == path] or there:
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
        asks = _asks(dependant)
        yield Address(
            route=context.original_route,
            path=getattr(context, "path_format", None) or str(context.path),
            pattern=pattern,
            methods=frozenset(methods),
            roles=None if asks is None else asks.roles,
            query=tuple(dict.fromkeys(_query(dependant))),
            tables_of={} if asks is None else asks.tables_of,
        )


def _asks(dependant: Any) -> Any:
    """The dependency that asks for a key, wherever among the dependencies it stands; `None` where there is none."""
    if dependant is None:
        return None
    if getattr(dependant.call, "roles", None) is not None:
        return dependant.call
    return next((found for inner in dependant.dependencies if (found := _asks(inner)) is not None), None)


def _query(dependant: Any) -> Iterator[str]:
    if dependant is None:
        return
    for parameter in dependant.query_params:
        yield parameter.alias
    for inner in dependant.dependencies:
        yield from _query(inner)
