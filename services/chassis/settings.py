"""The settings of a process: one class, read once at its start from the environment (prefix `BLANKWRIGHT_`)."""

from __future__ import annotations

from functools import cache
from typing import Annotated

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

SAMPLE_SECRETS = ("change-me", "changeme", "secret", "password", "example")


class Settings(BaseSettings):
    """Where the other parts are, and the limits this process keeps.

    `database_url` and `redis_url` carry passwords. `rates_url` is the origin that serves `/v1/rates`; `service_key` the
    key that processes of the suite show one another there. A sample secret refuses to start.
    """

    model_config = SettingsConfigDict(env_prefix="BLANKWRIGHT_", env_file=None, frozen=True, secrets_dir=None)

    database_url: SecretStr
    redis_url: SecretStr
    rates_url: str
    service_key: SecretStr
    services: Annotated[tuple[str, ...], NoDecode] = ("prescription", "glass", "process", "quoting", "rates")
    deployment: str = "blankwright"
    log_level: str = "INFO"
    most_body_bytes: Annotated[int, Field(ge=1024)] = 1024 * 1024
    traveller_lives_s: Annotated[int, Field(ge=60)] = 24 * 3600
    first_check_s: Annotated[float, Field(ge=15)] = 15.0
    most_attempts: Annotated[int, Field(ge=1)] = 6
    sweep_every_s: Annotated[float, Field(gt=0)] = 5.0

    @field_validator("services", mode="before")
    @classmethod
    def _names_in_one_line(cls, value: object) -> object:
        return tuple(part.strip() for part in value.split(",") if part.strip()) if isinstance(value, str) else value

    @field_validator("database_url", "redis_url", "service_key")
    @classmethod
    def _no_sample_secret(cls, value: SecretStr) -> SecretStr:
        text = value.get_secret_value().lower()
        for sample in SAMPLE_SECRETS:
            if text == sample or f":{sample}@" in text:
                raise ValueError(f"it carries the sample secret {sample}; set a secret of your own")
        return value


@cache
def settings() -> Settings:
    """The settings of this process."""
    return Settings()
