"""Signatures of tokens against the examples of the standards: keys and tokens as printed there."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from services.chassis.callers import TokenRefused
from services.chassis.tokens import claims_in, header_of, key_for, refuse_claims, signed_bytes

JOE = "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ"  # pragma: allowlist secret
"""The payload of RFC 7515, appendices A.1 to A.3, which is also the claims set of RFC 7519, section 3.1."""

CLAIMS = {"iss": "joe", "exp": 1300819380, "http://example.com/is_root": True}

RSA_KEY = {
    "kty": "RSA",
    "n": "ofgWCuLjybRlzo0tZWJjNiuSfb4p4fAkd_wWJcyQoTbji9k0l8W26mPddxHmfHQp-Vaw-4qPCJrcS2mJPMEzP1Pt0Bm4d4QlL-yRT-SFd2lZS-pCgNMsD1W_YpRPEwOW"  # pragma: allowlist secret
    "vG6b32690r2jZ47soMZo9wGzjb_7OMg0LOL-bSf63kpaSHSXndS5z5rexMdbBYUsLA9e-KXBdQOS-UTo7WTBEMa2R2CapHg665xsmtdVMTBQY4uDZlxvb3qCo5ZwKh9kG4LT"  # pragma: allowlist secret
    "6_I5IhlJH7aGhyxXFvUK-DWNmoudF8NAco9_h9iaGNj8q2ethFkMLs91kzk2PAcDTW9gb54h4FRWyuXpoQ",  # pragma: allowlist secret
    "e": "AQAB",
}
RS256 = (
    f"eyJhbGciOiJSUzI1NiJ9.{JOE}."
    "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt_O8W2Fp5jujGbds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4"  # pragma: allowlist secret
    "BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArLIARNPvkSjtQBMHlb1L07Qe7K0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7noOPqv"  # pragma: allowlist secret
    "hJ1phCnvWh6IeYI2w9QOYEUipUTI8np6LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQGe77Rw"  # pragma: allowlist secret
)
"""RFC 7515, appendix A.2."""

EC_KEY = {
    "kty": "EC",
    "crv": "P-256",
    "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",  # pragma: allowlist secret
    "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",  # pragma: allowlist secret
}
ES256 = f"eyJhbGciOiJFUzI1NiJ9.{JOE}.DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"
"""RFC 7515, appendix A.3."""

ED_KEY = {"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}  # pragma: allowlist secret
EDDSA = (
    "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
    "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"  # pragma: allowlist secret
)
"""RFC 8037, appendices A.2 and A.4."""

HS256 = f"eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9.{JOE}.dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"
"""RFC 7515, appendix A.1, and RFC 7519, section 3.1: signed with a shared secret."""

UNSECURED = f"eyJhbGciOiJub25lIn0.{JOE}."
"""RFC 7515, appendix A.5, and RFC 7519, section 6.1."""

PUBLISHED: list[dict[str, Any]] = [RSA_KEY, EC_KEY, ED_KEY]


def read(token: str, keys: list[dict[str, Any]] | None = None) -> bytes:
    """What a token says, by whichever of the published keys it can be."""
    header = header_of(token)
    key = key_for(header, keys or PUBLISHED)
    assert key is not None
    return signed_bytes(token, key, header["alg"])


@pytest.mark.parametrize("token", [RS256, ES256], ids=["RFC 7515 A.2", "RFC 7515 A.3"])
def test_the_examples_of_rfc_7515_are_signed_as_it_says(token: str) -> None:
    assert claims_in(read(token)) == CLAIMS


def test_the_example_of_rfc_8037_is_signed_as_it_says() -> None:
    assert read(EDDSA) == b"Example of Ed25519 signing"


@pytest.mark.parametrize("token", [RS256, ES256, EDDSA], ids=["RS256", "ES256", "EdDSA"])
def test_an_example_with_one_sign_changed_is_not(token: str) -> None:
    head, body, signature = token.split(".")
    other = {"A": "B"}
    for changed in (
        f"{head}.{body[:-2]}{other.get(body[-2], 'A')}{body[-1]}.{signature}",
        f"{head}.{body}.{other.get(signature[0], 'A')}{signature[1:]}",
        f"{head}.{body}.{signature[:-8]}",
        f"{head}.{body}.",
    ):
        with pytest.raises(TokenRefused):
            read(changed)


def test_an_example_is_not_taken_for_one_of_another_algorithm() -> None:
    for head in ("eyJhbGciOiJFUzI1NiJ9", "eyJhbGciOiJFZERTQSJ9"):
        with pytest.raises(TokenRefused):
            read(f"{head}.{RS256.split('.', 1)[1]}")


@pytest.mark.parametrize("token", [HS256, UNSECURED], ids=["RFC 7519 3.1", "RFC 7519 6.1"])
def test_the_examples_with_a_shared_secret_and_with_no_signature_are_refused_by_their_head(token: str) -> None:
    with pytest.raises(TokenRefused, match="algorithm"):
        header_of(token)


def test_the_claims_of_the_example_ended_when_they_say() -> None:
    """RFC 7519, section 4.1.4: 1300819380 is 2011-03-22 18:43 UTC; to that the leeway comes."""
    ends = datetime(2011, 3, 22, 18, 43, tzinfo=UTC)
    assert ends.timestamp() == CLAIMS["exp"]
    whole = {**CLAIMS, "aud": "blankwright", "sub": "joe"}
    refuse_claims(whole, issuer="joe", audience="blankwright", now=datetime(2011, 3, 22, 18, 43, 59, tzinfo=UTC))
    with pytest.raises(TokenRefused, match="expired"):
        refuse_claims(whole, issuer="joe", audience="blankwright", now=datetime(2011, 3, 22, 18, 44, tzinfo=UTC))


def test_the_key_of_the_example_is_found_in_a_set_by_its_name() -> None:
    """RFC 7517, section 5: of a set of keys, members that are not understood are passed over."""
    published = [
        {"kty": "oct", "kid": "joe", "k": "AyM1"},
        {"kid": "joe"},
        {**RSA_KEY, "kid": "joe"},
        {**RSA_KEY, "kid": "jim", "n": "AQAB"},
    ]
    key = key_for({"alg": "RS256", "kid": "joe"}, published)
    assert key == {name: RSA_KEY[name] for name in ("kty", "n", "e")}
    assert json.dumps(key_for({"alg": "ES256", "kid": "joe"}, published)) == "null"
