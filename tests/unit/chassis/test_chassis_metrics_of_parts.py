"""Certificates and disks, as they are read from files and folders."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from services.chassis.metrics_of_parts import certificates, ends_at, free_space


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for thirty days, made by OpenSSL."""
    place = tmp_path / "crt.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "30", "-subj", "/CN=here",
         "-keyout", str(tmp_path / "key.pem"), "-out", str(place)],
        check=True, capture_output=True,
    )  # fmt: skip
    return place


def test_the_end_of_a_certificate_is_that_which_openssl_tells(certificate: Path) -> None:
    told = subprocess.run(
        ["openssl", "x509", "-enddate", "-noout", "-in", str(certificate)], check=True, capture_output=True, text=True
    ).stdout
    assert ends_at("chain of here\n" + certificate.read_text()) == datetime.strptime(
        told.strip().removeprefix("notAfter="), "%b %d %H:%M:%S %Y GMT"
    ).replace(tzinfo=UTC)
    assert abs(ends_at(certificate.read_text()) - datetime.now(UTC) - timedelta(days=30)) < timedelta(minutes=5)


def test_a_certificate_that_cannot_be_read_counts_as_ended(certificate: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.pem"
    broken.write_text(certificate.read_text().replace("M", "A"), encoding="ascii")
    (family,) = certificates((certificate, tmp_path / "none.pem", broken, tmp_path / "key.pem"))
    left_days = {Path(one.labels["file"]).name: one.value / 86400 for one in family.samples}
    assert left_days == {"crt.pem": pytest.approx(30, abs=0.01), "none.pem": 0, "broken.pem": 0, "key.pem": 0}


def test_a_folder_is_as_free_as_its_disk(tmp_path: Path) -> None:
    free, share = free_space((tmp_path, tmp_path / "none"))
    assert [one.labels["folder"] for one in free.samples] == [str(tmp_path)]
    assert 0 <= share.samples[0].value <= 1
