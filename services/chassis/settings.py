"""The settings of a process: one class, read once at its start from the environment (prefix `BLANKWRIGHT_`).

A secret may lie in a file instead, as container engines and clusters hand them out: `BLANKWRIGHT_DATABASE_URL_FILE` names
the file, or it lies at `/run/secrets/blankwright_database_url`. A variable goes before a file; a secret told twice is an error.
"""

from __future__ import annotations

import os
from functools import cache
from ipaddress import ip_network
from pathlib import Path
from typing import Annotated, Any, Literal, Self, cast, get_args
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator, model_validator
from pydantic.fields import FieldInfo
from pydantic_settings import BaseSettings, NoDecode, PydanticBaseSettingsSource, SettingsConfigDict

PREFIX = "BLANKWRIGHT_"
SECRETS_FOLDER = Path("/run/secrets")
RoleOfPerson = Literal["sales", "erp", "engineer", "admin"]
"""Roles that a person may have; that of processes of the suite is none of them."""
SAMPLE_SECRETS = ("change-me", "changeme", "secret", "password", "example")


class SecretToldTwice(ValueError):
    """A secret stands in a variable and in a file that another variable names; which one counts is not for us to guess."""

    def __init__(self, name: str) -> None:
        super().__init__(f"{name} and {name}_FILE are both set; keep one of them.")


def told(name: str) -> str | None:
    """The setting `name` as the variable, the file that `<name>_FILE` names, or the file in the secrets folder has it.

    Raises `SecretToldTwice`, and `OSError` for a named file that cannot be read.
    """
    value, place = os.environ.get(name), os.environ.get(f"{name}_FILE")
    if value and place:
        raise SecretToldTwice(name)
    if value:
        return value
    lies_at = Path(place) if place else SECRETS_FOLDER / name.lower()
    if not place and not lies_at.is_file():
        return None
    return lies_at.read_text(encoding="utf-8").strip()


def is_trustworthy(address: str) -> bool:
    """Whether what is read at an address cannot be changed on its way: by https, or on this very machine."""
    try:
        parts = urlsplit(address)
        host = parts.hostname
    except ValueError:
        return False
    is_here = parts.scheme == "http" and host in ("127.0.0.1", "::1", "localhost")
    return bool(host) and (parts.scheme == "https" or is_here) and parts.username is None


class FilesOfSecrets(PydanticBaseSettingsSource):
    """The settings that lie in files."""

    def get_field_value(self, field: FieldInfo, field_name: str) -> tuple[Any, str, bool]:
        """The value of one field, `None` when no file has it."""
        return told(f"{PREFIX}{field_name.upper()}"), field_name, False

    def __call__(self) -> dict[str, Any]:
        found = {name: self.get_field_value(field, name)[0] for name, field in self.settings_cls.model_fields.items()}
        return {name: value for name, value in found.items() if value is not None}


class Settings(BaseSettings):
    """Where the other parts are, and the limits this process keeps.

    `database_url` (`postgresql://…?sslmode=verify-full&sslrootcert=…`) and `redis_url` (`rediss://…?ssl_ca_certs=…`) carry
    passwords. `rates_url` is the origin that serves `/v1/rates`, and processes of the suite show it the `service_key`. The origin that
    serves `/v1/load` is `orders_url`, empty where nobody keeps a book of load; `quoting_url` is that from which orders learns what was accepted, and at which the desk asks for quotes; at
    `check_url` it has what it read checked.
    `shop_name`: what the shop is called in documents that go to its customers' systems.
    `describes`: the services that `/openapi.json` tells of, where that is more than those this process serves.
    A sample secret refuses to start.

    Work: `most_unfinished` quotes may be accepted and without an outcome, `most_unfinished_of_key` of them of one key. In the queues are
    `most_in_flight` of them at once, one more than there are children of workers on one box, some two for each child in a fleet, and `most_large_in_flight` of much work, which is more than
    `most_quick_work_s` seconds of one processor by the estimate at intake; above `most_work_s` a request is refused. Of each key
    `most_started_at_once` single quotes are started as they come.

    `remind_days`: so long before the last day of an open quote the feed tells that it is `expiring`; 0 for never.
    `proposals_kept_days`: how long a proposed rate table is kept, and what it would do. `what_ifs_kept_days`: the same of copies of quotes in which
    something is changed. The others of that name: doorbells that were rung,
    what happened to quotes that are settled, keys of callers for their requests, dead letters that were replayed, deliveries to endpoints, snapshots of the book of
    load. `certificates` and `watched_folders`: files in PEM whose end,
    and folders whose free space, `/metrics/suite` is to tell. `write_check_every_s`: how often `/readyz` tries at most whether PostgreSQL takes a write.

    `review_days`: by rate table (as JSON, `{"currencies": 14}`) after how many days a row is stale, where that is not the usual.

    `body_within_s`: a body that is not there by then is dropped. `trusted_proxies`: networks, as 10.0.0.0/8, of the fronts whose word counts
    for where a request comes from. `most_computing`: requests that a process computes at once while their callers wait, one of each key.
    `free_unknown_keys`: so many unknown keys from one address cost no wait; more where many callers share an address.
    `most_requests_per_minute`, `most_body_bytes_per_minute`: of one key, by all processes together; the first more than one process can do.

    `most_webhooks`: endpoints that are told of what happens. They must be public and https, unless `webhook_http` allows http too and
    `webhook_networks` (as 10.1.2.0/24) networks of the shop's own.

    `public_url`: the origin under which customers reach the suite (https://quotes.example.com), in links of what is sent to them; no links where it is
    empty. `smtp_host`, `smtp_port`, `smtp_security` (`starttls`, `tls` from the first byte, `none` on a network of one's own), `smtp_user` and `smtp_password`:
    the mail server that takes mails to customers, none where it is empty; `smtp_from` is the address that it lets us send as, that of the sender without one.

    `oidc_issuer`: the issuer (https://…) whose tokens are taken beside keys of the suite, none where it is empty. They must be for `oidc_audience`, and
    what their claim `oidc_role_claim` holds is a role as `oidc_roles` says (`quotes-sales=sales,quotes-office=admin`; the first that fits counts).
    """

    model_config = SettingsConfigDict(env_prefix=PREFIX, env_file=None, frozen=True)

    database_url: SecretStr
    redis_url: SecretStr
    rates_url: str
    orders_url: str = ""
    quoting_url: str = ""
    check_url: str = ""
    service_key: SecretStr
    services: Annotated[tuple[str, ...], NoDecode] = ("prescription", "glass", "process", "quoting", "orders", "rates", "desk")
    describes: Annotated[tuple[str, ...], NoDecode] = ()
    deployment: str = "blankwright"
    shop_name: str = ""
    log_level: str = "INFO"
    most_body_bytes: Annotated[int, Field(ge=1024)] = 1024 * 1024
    body_within_s: Annotated[float, Field(gt=0, le=600)] = 60.0
    free_unknown_keys: Annotated[int, Field(ge=1)] = 10
    most_requests_per_minute: Annotated[int, Field(ge=1)] = 60_000
    most_body_bytes_per_minute: Annotated[int, Field(ge=1024)] = 1024**3
    most_computing: Annotated[int, Field(ge=1)] = 2
    trusted_proxies: Annotated[tuple[str, ...], NoDecode] = ()
    traveller_lives_s: Annotated[int, Field(ge=60)] = 24 * 3600
    first_check_s: Annotated[float, Field(ge=15, le=300)] = 15.0
    most_attempts: Annotated[int, Field(ge=1)] = 6
    most_unfinished: Annotated[int, Field(ge=1)] = 20_000
    most_unfinished_of_key: Annotated[int, Field(ge=1)] = 5_000
    most_started_at_once: Annotated[int, Field(ge=1)] = 2
    most_in_flight: Annotated[int, Field(ge=1)] = 3
    most_large_in_flight: Annotated[int, Field(ge=1)] = 2
    most_quick_work_s: Annotated[float, Field(gt=0)] = 3.0
    most_work_s: Annotated[float, Field(gt=0)] = 45.0
    proposals_kept_days: Annotated[int, Field(ge=1, le=365)] = 14
    remind_days: Annotated[int, Field(ge=0, le=365)] = 7
    what_ifs_kept_days: Annotated[int, Field(ge=1, le=365)] = 14
    outbox_kept_days: Annotated[int, Field(ge=1)] = 7
    events_kept_days: Annotated[int, Field(ge=1)] = 90
    idempotency_kept_days: Annotated[int, Field(ge=1)] = 30
    letters_kept_days: Annotated[int, Field(ge=1)] = 90
    deliveries_kept_days: Annotated[int, Field(ge=1)] = 30
    snapshots_kept_days: Annotated[int, Field(ge=60)] = 400
    review_days: dict[str, Annotated[int, Field(ge=1)]] = Field(default_factory=dict)
    sweep_every_s: Annotated[float, Field(gt=0)] = 5.0
    certificates: Annotated[tuple[Path, ...], NoDecode] = ()
    watched_folders: Annotated[tuple[Path, ...], NoDecode] = ()
    write_check_every_s: Annotated[float, Field(ge=1, le=3600)] = 15.0
    most_webhooks: Annotated[int, Field(ge=0, le=200)] = 20
    webhook_http: bool = False
    webhook_networks: Annotated[tuple[str, ...], NoDecode] = ()
    public_url: str = ""
    smtp_host: str = ""
    smtp_port: Annotated[int, Field(ge=1, le=65535)] = 587
    smtp_security: Literal["starttls", "tls", "none"] = "starttls"
    smtp_user: str = ""
    smtp_password: SecretStr = SecretStr("")
    smtp_from: str = ""
    smtp_timeout_s: Annotated[float, Field(gt=0, le=60)] = 20.0
    oidc_issuer: str = ""
    oidc_audience: str = ""
    oidc_role_claim: Annotated[str, Field(min_length=1)] = "roles"
    oidc_roles: Annotated[tuple[str, ...], NoDecode] = ()

    @property
    def roles_of_issuer(self) -> dict[str, RoleOfPerson]:
        """Which role each word of the issuer is here, in the order in which they count."""
        pairs = (entry.rpartition("=") for entry in self.oidc_roles)
        return {word.strip(): cast(RoleOfPerson, role.strip()) for word, _, role in pairs}

    @model_validator(mode="after")
    def _issuer_is_told_whole(self) -> Self:
        if not self.oidc_issuer:
            return self
        if not is_trustworthy(self.oidc_issuer) or "?" in self.oidc_issuer or "#" in self.oidc_issuer:
            raise ValueError("oidc_issuer must be an address of https without query and fragment")
        if not self.oidc_audience:
            raise ValueError("oidc_audience says for whom tokens of the issuer must be; set it")
        wrong = [entry for entry in self.oidc_roles if entry.rpartition("=")[2].strip() not in get_args(RoleOfPerson)]
        if wrong or not self.oidc_roles or "" in self.roles_of_issuer:
            raise ValueError(f"oidc_roles must say WORD=ROLE with the roles {', '.join(get_args(RoleOfPerson))}; wrong: {wrong}")
        return self

    @classmethod
    def settings_customise_sources(
        cls, settings_cls: type[BaseSettings], init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource, dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:  # fmt: skip
        """What is given in code, then variables, then files; no `.env` file is read."""
        return init_settings, env_settings, FilesOfSecrets(settings_cls)

    @field_validator(
        "services",
        "describes",
        "certificates",
        "watched_folders",
        "trusted_proxies",
        "webhook_networks",
        "oidc_roles",
        mode="before",
    )
    @classmethod
    def _names_in_one_line(cls, value: object) -> object:
        return tuple(part.strip() for part in value.split(",") if part.strip()) if isinstance(value, str) else value

    @field_validator("trusted_proxies", "webhook_networks")
    @classmethod
    def _networks_can_be_read(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for network in value:
            ip_network(network)
        return value

    @field_validator("database_url", "redis_url", "service_key")
    @classmethod
    def _no_sample_secret(cls, value: SecretStr) -> SecretStr:
        text = value.get_secret_value().lower()
        for sample in SAMPLE_SECRETS:
            if text == sample or f":{sample}@" in text:
                raise ValueError(f"it carries the sample secret {sample}; set a secret of your own")
        return value

    @field_validator("public_url")
    @classmethod
    def _customers_come_by_an_address(cls, value: str) -> str:
        parts = urlsplit(value)
        if value and (
            parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment or parts.username
        ):
            raise ValueError("public_url must be an address such as https://quotes.example.com")
        return value

    @field_validator("redis_url")
    @classmethod
    def _tls_is_checked(cls, value: SecretStr) -> SecretStr:
        text = value.get_secret_value().lower()
        if text.startswith("rediss:") and ("ssl_cert_reqs=" in text or "ssl_check_hostname=" in text):
            raise ValueError("leave ssl_cert_reqs and ssl_check_hostname out; with rediss the certificate is always checked")
        return value


@cache
def settings() -> Settings:
    """The settings of this process."""
    return Settings()
