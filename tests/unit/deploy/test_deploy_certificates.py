"""Certificates between the parts: renewed without a moment in which the old or the new one is not trusted; a company's own stays."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

MAKE = Path(__file__).resolve().parents[3] / "deploy" / "make-certificates.sh"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "tls"
    _make(made)
    return made


def _make(folder: Path) -> None:
    subprocess.run([MAKE, folder, "quotes.example.com"], capture_output=True, check=True)


def _trusted(folder: Path, certificate: Path) -> bool:
    asked = subprocess.run(
        ["openssl", "verify", "-CAfile", folder / "authority" / "ca.crt", certificate], capture_output=True, check=False
    )
    return asked.returncode == 0


def test_the_certificate_before_and_the_one_after_are_both_trusted_once_renewed(folder: Path, tmp_path: Path) -> None:
    before = tmp_path / "before.pem"
    before.write_bytes((folder / "front" / "fullchain.pem").read_bytes())
    subprocess.run(
        ["openssl", "x509", "-in", before, "-noout", "-checkhost", "quotes.example.com"], check=True, capture_output=True
    )
    _make(folder)
    now = folder / "front" / "fullchain.pem"
    assert now.read_bytes() != before.read_bytes()
    assert _trusted(folder, before)
    assert _trusted(folder, now)
    assert _trusted(folder, folder / "redis" / "server.crt")
    assert {path.name for path in folder.iterdir()} == {"authority", "front", "postgres", "redis"}


def test_a_certificate_of_a_company_stays_as_it_is(folder: Path) -> None:
    front = folder / "front"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=Ours", "-days", "9",
         "-keyout", front / "key.pem", "-out", front / "fullchain.pem"],
        capture_output=True, check=True,
    )  # fmt: skip
    ours = (front / "fullchain.pem").read_bytes()
    _make(folder)
    assert (front / "fullchain.pem").read_bytes() == ours
    assert _trusted(folder, folder / "postgres" / "server.crt")
