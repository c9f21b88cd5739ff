"""Settings: secrets from variables or files, never both; TLS in the address becomes TLS that checks certificates."""

from __future__ import annotations

import ssl
from pathlib import Path

import pytest
import redis
from pydantic import ValidationError

from services.chassis import settings as chassis_settings
from services.chassis.database import Database
from services.chassis.queue import broker_of, queue_app
from services.chassis.settings import SecretToldTwice, Settings
from shared_schemas.pipeline import TASKS

TOLD = {
    "BLANKWRIGHT_DATABASE_URL": "postgresql://u:p@db/x",
    "BLANKWRIGHT_REDIS_URL": "redis://:p@cache:6379/0",
    "BLANKWRIGHT_RATES_URL": "http://rates",
    "BLANKWRIGHT_SERVICE_KEY": "bw_0_0",
}
TLS_URL = "rediss://:p@cache:6380/0?ssl_ca_certs=/run/secrets/ca.crt"


@pytest.fixture(autouse=True)
def environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name, value in TOLD.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(chassis_settings, "SECRETS_FOLDER", tmp_path)


def test_a_secret_may_lie_in_the_file_that_a_variable_names(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_text("postgresql://u:from-file@db/x\n")
    monkeypatch.delenv("BLANKWRIGHT_DATABASE_URL")
    monkeypatch.setenv("BLANKWRIGHT_DATABASE_URL_FILE", str(tmp_path / "elsewhere"))
    assert Settings().database_url.get_secret_value() == "postgresql://u:from-file@db/x"


def test_a_secret_may_lie_in_the_folder_of_secrets_and_a_variable_goes_before_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "blankwright_service_key").write_text("bw_1_file\n")
    assert Settings().service_key.get_secret_value() == "bw_0_0"
    monkeypatch.delenv("BLANKWRIGHT_SERVICE_KEY")
    assert Settings().service_key.get_secret_value() == "bw_1_file"


def test_a_secret_told_twice_refuses_to_start(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("BLANKWRIGHT_REDIS_URL_FILE", str(tmp_path / "any"))
    with pytest.raises(SecretToldTwice, match="BLANKWRIGHT_REDIS_URL_FILE are both set"):
        Settings()


def test_a_named_file_that_is_not_there_refuses_to_start(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BLANKWRIGHT_REDIS_URL")
    monkeypatch.setenv("BLANKWRIGHT_REDIS_URL_FILE", str(tmp_path / "missing"))
    with pytest.raises(FileNotFoundError):
        Settings()


def test_a_sample_secret_refuses_to_start_from_a_file_as_well(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BLANKWRIGHT_SERVICE_KEY")
    (tmp_path / "blankwright_service_key").write_text("change-me")
    with pytest.raises(ValidationError, match="sample secret"):
        Settings()


def test_no_secret_shows_in_the_text_of_the_settings() -> None:
    shown = repr(Settings())
    for url in TOLD.values():
        assert "http" in url or url not in shown


def test_the_broker_checks_the_certificate_of_a_tls_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLANKWRIGHT_REDIS_URL", TLS_URL)
    app = queue_app(Settings(), TASKS)
    with app.connection_for_write() as connection:
        assert connection.ssl == {
            "ssl_ca_certs": "/run/secrets/ca.crt", "ssl_cert_reqs": ssl.CERT_REQUIRED, "ssl_check_hostname": True,
        }  # fmt: skip
    app.close()


def test_a_plain_address_stays_plain() -> None:
    assert broker_of(TOLD["BLANKWRIGHT_REDIS_URL"]) == (TOLD["BLANKWRIGHT_REDIS_URL"], None)


def test_the_redis_client_takes_the_same_address() -> None:
    client = redis.Redis.from_url(TLS_URL)
    assert client.connection_pool.connection_class is redis.SSLConnection
    made = client.connection_pool.make_connection()
    assert (made.ca_certs, made.cert_reqs, made.check_hostname) == ("/run/secrets/ca.crt", ssl.CERT_REQUIRED, True)
    client.close()


@pytest.mark.parametrize("weaker", ["ssl_cert_reqs=none", "ssl_check_hostname=false"])
def test_an_address_cannot_ask_for_tls_that_checks_nothing(monkeypatch: pytest.MonkeyPatch, weaker: str) -> None:
    monkeypatch.setenv("BLANKWRIGHT_REDIS_URL", f"rediss://:p@cache:6380/0?{weaker}")
    with pytest.raises(ValidationError, match="the certificate is always checked"):
        Settings()


def test_the_database_is_asked_for_by_tls_when_its_address_says_so() -> None:
    database = Database("postgresql://u:p@db:5432/x?sslmode=verify-full&sslrootcert=/run/secrets/ca.crt")
    _, asked = database.engine.dialect.create_connect_args(database.engine.url)
    assert (asked["sslmode"], asked["sslrootcert"]) == ("verify-full", "/run/secrets/ca.crt")
    database.close()
