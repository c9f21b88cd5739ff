"""Figures of what the suite stands on: workers, Redis, PostgreSQL, disks, certificates."""

from __future__ import annotations

import shutil
import ssl
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import redis
from prometheus_client.core import GaugeMetricFamily, Metric
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.health import write_and_take_back
from services.chassis.heartbeat import workers_of_queues
from services.chassis.resources import Resources
from shared_schemas.pipeline import QUEUES


def workers(resources: Resources) -> Iterator[Metric]:
    """Workers of each queue; 0 for a queue that nobody consumes."""
    alive = workers_of_queues(resources.redis, resources.settings.deployment)
    family = GaugeMetricFamily("blankwright_workers", "Workers of a queue that gave a sign of life lately", labels=["queue"])
    for queue in QUEUES:
        family.add_metric([queue], alive[queue])
    yield family


def redis_state(resources: Resources) -> Iterator[Metric]:
    """Whether Redis takes a write, how full it is, and how its last writes to disk went."""
    yield _gauge("blankwright_redis_writable", "Whether Redis takes a write", _redis_takes_a_write(resources))
    try:
        memory, disk = (resources.redis.info(part) for part in ("memory", "persistence"))
    except redis.ResponseError:
        return  # a user who may not ask
    yield _gauge("blankwright_redis_used_bytes", "Memory that Redis uses", memory["used_memory"])
    yield _gauge("blankwright_redis_most_bytes", "Memory that Redis may use, 0 without a limit", memory["maxmemory"])
    good = GaugeMetricFamily("blankwright_redis_saved", "Whether the last write of Redis to this file went well", labels=["file"])
    for file, field in (("aof", "aof_last_write_status"), ("rdb", "rdb_last_bgsave_status")):
        good.add_metric([file], disk.get(field) == "ok")
    yield good


def _redis_takes_a_write(resources: Resources) -> bool:
    try:
        resources.redis.set(f"{resources.settings.deployment}:write-check", "1", ex=60)
    except redis.ResponseError:
        return False
    return True


def database_state(resources: Resources) -> Iterator[Metric]:
    """Whether PostgreSQL takes a write, and how large the database is."""
    with resources.database.engine.connect() as connection:
        size = connection.execute(text("select pg_database_size(current_database())")).scalar_one()
    yield _gauge("blankwright_database_bytes", "Size of the database", size)
    yield _gauge("blankwright_database_writable", "Whether PostgreSQL takes a write", _database_takes_a_write(resources))


def _database_takes_a_write(resources: Resources) -> bool:
    try:
        write_and_take_back(resources.database)
    except DBAPIError:
        return False
    return True


def free_space(folders: Iterable[Path]) -> Iterator[Metric]:
    """Free space of the disks that hold these folders."""
    free = GaugeMetricFamily("blankwright_disk_free_bytes", "Free space of the disk that holds a folder", labels=["folder"])
    share = GaugeMetricFamily("blankwright_disk_free_share", "Free share of the disk that holds a folder", labels=["folder"])
    for folder in folders:
        try:
            usage = shutil.disk_usage(folder)
        except OSError:
            continue
        free.add_metric([str(folder)], usage.free)
        share.add_metric([str(folder)], usage.free / usage.total)
    yield from (free, share)


def certificates(files: Iterable[Path]) -> Iterator[Metric]:
    """Seconds until each certificate ends, negative past its end; a file that cannot be read as one has ended."""
    family = GaugeMetricFamily("blankwright_certificate_expires_seconds", "Seconds until a certificate ends", labels=["file"])
    now = datetime.now(UTC)
    for file in files:
        try:
            left_s = (ends_at(file.read_text(encoding="ascii")) - now).total_seconds()
        except (OSError, ValueError, IndexError):
            left_s = 0.0
        family.add_metric([str(file)], left_s)
    yield family


def ends_at(pem: str) -> datetime:
    """When the first certificate in `pem` ends; raises `ValueError` for a text that has none.

    Its place in the encoding (RFC 5280, section 4.1): the second time of `validity`, the fifth field of `tbsCertificate`,
    or the fourth where the version is left out.
    """
    begin, end = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"
    first = pem[pem.index(begin) : pem.index(end) + len(end)]
    (_, certificate), *_ = _fields(ssl.PEM_cert_to_DER_cert(first))
    (_, to_be_signed), *_ = _fields(certificate)
    fields = [field for field in _fields(to_be_signed) if field[0] != 0xA0]
    _, (kind, not_after) = _fields(fields[3][1])
    form = "%y%m%d%H%M%SZ" if kind == 0x17 else "%Y%m%d%H%M%SZ"
    return datetime.strptime(not_after.decode("ascii"), form).replace(tzinfo=UTC)


def _fields(der: bytes) -> list[tuple[int, bytes]]:
    """Tag and content of each element of an encoding in DER."""
    found, at = [], 0
    while at < len(der):
        tag, length, at = der[at], der[at + 1], at + 2
        if length & 0x80:
            octets = length & 0x7F
            length, at = int.from_bytes(der[at : at + octets], "big"), at + octets
        found.append((tag, der[at : at + length]))
        at += length
    return found


def _gauge(name: str, words: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, words, value=float(value))
