"""Which addresses outside may be spoken to, found out again for each connection and by the very address that is connected to.

Whoever may name an endpoint could otherwise have this process speak to what only it can reach: a database, the address of a cloud that hands out
keys, another machine of the shop. A name is looked up once for a connection; every address it has must be public, and one of these is
connected to, by its number. So a name that answers otherwise a moment later changes nothing. TLS and Host go by the name all the same.

Refused are all but public unicast addresses: private, loopback, link-local, shared, reserved, multicast, unspecified, and those of IPv6 that stand
for an address of IPv4 (mapped, compatible, NAT64, 6to4, Teredo), unless a network that the settings name has them.

Source:
    IANA IPv4 and IPv6 Special-Purpose Address Registries, as Python's `ipaddress` has them; RFC 4291 (IPv4-mapped), RFC 6052 (NAT64), RFC 3056 (6to4).
"""

from __future__ import annotations

import socket
import ssl
import string
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Any

import httpcore
import httpx

from services.chassis.settings import Settings

Network = IPv4Network | IPv6Network
Resolver = Callable[[str, int], Sequence[str]]
"""The addresses of a name, as the system has them; raises `OSError` for a name that has none."""

GLOBAL_UNICAST = ip_network("2000::/3")
OF_PROTOCOLS: tuple[Network, ...] = tuple(
    map(ip_network, ("192.0.0.0/24", "192.88.99.0/24", "2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20"))
)
"""What is no machine's own among the rest: of protocols, Teredo, 6to4 and documents. Not every release of Python knows all of them."""
OF_A_HOST = frozenset(string.ascii_letters + string.digits + "._-:")
LOOKED_UP_WITHIN_S = 5.0
MOST_ADDRESSES = 16

_looking_up = ThreadPoolExecutor(max_workers=8, thread_name_prefix="names")


class TargetRefused(Exception):
    """What may not be spoken to; the sentence says why."""


def of_system(host: str, port: int) -> list[str]:
    """The addresses that this machine finds for a name."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(address[0]) for *_, address in found))


def is_public(address: IPv4Address | IPv6Address) -> bool:
    """Whether an address is one of a machine on the open network."""
    if address.is_multicast or address.is_reserved or not address.is_global:
        return False
    return (address.version == 4 or address in GLOBAL_UNICAST) and not any(address in network for network in OF_PROTOCOLS)


@dataclass(frozen=True)
class Guard:
    """What may be spoken to. `networks` are allowed though they are not public; `http` allows to speak without TLS."""

    http: bool = False
    networks: tuple[Network, ...] = ()
    resolve: Resolver = of_system

    def target(self, url: str) -> httpx.URL:
        """The address that a text is; raises `TargetRefused` for one that cannot be an endpoint, whatever its name resolves to."""
        try:
            read = httpx.URL(url)
            host = read.raw_host.decode("ascii")
        except (httpx.InvalidURL, UnicodeError, ValueError) as fault:
            raise TargetRefused("it cannot be read as an address") from fault
        if read.scheme not in ("https", "http") or not host:
            raise TargetRefused("it is not an address of https")
        if not OF_A_HOST.issuperset(host):
            raise TargetRefused("it cannot be read as an address")
        if read.scheme == "http" and not self.http:
            raise TargetRefused("it is not https, and the settings do not allow http")
        if read.port is not None and not 0 < read.port < 65536:
            raise TargetRefused("there is no such port")
        if read.userinfo:
            raise TargetRefused("it carries a name or a password")
        if read.fragment:
            raise TargetRefused("it has a fragment, which is never sent")
        return read

    def addresses(self, host: str, port: int) -> tuple[str, ...]:
        """The addresses of a name, looked up now; raises `TargetRefused` if there is none, or one that may not be spoken to."""
        try:
            found = _looking_up.submit(self.resolve, host, port).result(timeout=LOOKED_UP_WITHIN_S)
        except TimeoutError as fault:
            raise TargetRefused(f"{host} could not be looked up within {LOOKED_UP_WITHIN_S:g} s") from fault
        except (OSError, UnicodeError) as fault:
            raise TargetRefused(f"{host} cannot be looked up") from fault
        if not found:
            raise TargetRefused(f"{host} has no address")
        for address in found:
            self._refuse(host, address)
        return tuple(found[:MOST_ADDRESSES])

    def _refuse(self, host: str, text: str) -> None:
        try:
            address = ip_address(text)
        except ValueError as fault:
            raise TargetRefused(f"{host} is at {text[:60]}, which is no address") from fault
        if not any(address in network for network in self.networks) and not is_public(address):
            at = host if host == text else f"{host} is at {text}, which"
            raise TargetRefused(f"{at} is not a public address")


def guard_of(settings: Settings, resolve: Resolver = of_system) -> Guard:
    """The guard that the settings ask for."""
    return Guard(settings.webhook_http, tuple(ip_network(one) for one in settings.webhook_networks), resolve)


class GuardedBackend(httpcore.NetworkBackend):
    """Connects for one request, by the number of an address that the guard let pass, and until a moment at which all of it must be over."""

    def __init__(self, guard: Guard, *, clock: Callable[[], float], ends_at: float) -> None:
        self._guard = guard
        self._limit = Limit(clock, ends_at)
        self._inner = httpcore.SyncBackend()

    def connect_tcp(
        self, host: str, port: int, timeout: float | None = None, local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:  # fmt: skip
        """A connection to the first address of `host` that takes one; raises `TargetRefused` and what httpcore raises."""
        fault: Exception = httpcore.ConnectError(f"{host} has no address")
        for address in self._guard.addresses(host, port):
            within_s = self._limit.left_s(timeout, httpcore.ConnectTimeout)
            try:
                stream = self._inner.connect_tcp(address, port, within_s, local_address, socket_options)
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as refused:
                fault = refused
            else:
                return LimitedStream(stream, self._limit)
        raise fault


@dataclass(frozen=True)
class Limit:
    """When a request must be over, however slowly it trickles."""

    clock: Callable[[], float]
    ends_at: float

    def left_s(self, timeout: float | None, fault: type[httpcore.TimeoutException]) -> float:
        """What is left of the time, at most `timeout`; raises `fault` when it is over."""
        left_s = self.ends_at - self.clock()
        if left_s <= 0:
            raise fault("its time is over")
        return left_s if timeout is None else min(timeout, left_s)


class LimitedStream(httpcore.NetworkStream):
    """A connection that ends with the time of its request."""

    def __init__(self, inner: httpcore.NetworkStream, limit: Limit) -> None:
        self._inner = inner
        self._limit = limit

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._inner.read(max_bytes, self._limit.left_s(timeout, httpcore.ReadTimeout))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._inner.write(buffer, self._limit.left_s(timeout, httpcore.WriteTimeout))

    def close(self) -> None:
        self._inner.close()

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.NetworkStream:
        within_s = self._limit.left_s(timeout, httpcore.ConnectTimeout)
        return LimitedStream(self._inner.start_tls(ssl_context, server_hostname, within_s), self._limit)

    def get_extra_info(self, info: str) -> Any:
        return self._inner.get_extra_info(info)
