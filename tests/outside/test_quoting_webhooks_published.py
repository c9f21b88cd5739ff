"""Signatures of webhooks against the worked example of Standard Webhooks, and envelopes against the SDK of CloudEvents.

Source of the example: secret, message, moment, body and signature that the libraries of the specification are tested with,
Standard Webhooks, github.com/standard-webhooks/standard-webhooks, libraries/go/webhook_test.go, `TestWebhookSign`.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from standardwebhooks import Webhook, WebhookVerificationError

from services.quoting.webhooks.envelope import CONTENT_TYPE, Envelope, entry_link, source_of, type_of
from services.quoting.webhooks.signing import PREFIX, new_secret, signed_headers

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # pragma: allowlist secret
MESSAGE = "msg_p5jXN8AQM9LWM0D4loKWxJek"  # pragma: allowlist secret
AT = datetime.fromtimestamp(1614265330, UTC)
BODY = b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_worked_example_of_the_specification_has_our_signature() -> None:
    assert signed_headers([SECRET], message_id=MESSAGE, at=AT, body=BODY) == {
        "webhook-id": MESSAGE, "webhook-timestamp": "1614265330", "webhook-signature": SIGNATURE
    }  # fmt: skip


def test_a_receiver_with_either_secret_of_an_exchange_takes_the_message_and_another_does_not() -> None:
    old, new, other = new_secret(), new_secret(), new_secret()
    headers = signed_headers([new, old], message_id="a1b2-7", at=datetime.now(UTC), body=BODY)
    for secret in (old, new):
        assert Webhook(secret).verify(BODY, headers) == json.loads(BODY)
    with pytest.raises(WebhookVerificationError):
        Webhook(other).verify(BODY, headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(new).verify(BODY + b" ", headers)


def test_a_secret_has_as_many_bytes_as_the_specification_asks_for() -> None:
    secret = new_secret()
    assert secret.startswith(PREFIX)
    assert 24 <= len(Webhook(secret)._whsecret) <= 64
    assert secret != new_secret()


def test_the_sdk_of_cloudevents_reads_the_envelope_back() -> None:
    entry = json.dumps({"id": 7, "epoch": "0a1b2c3d4e5f", "title": 'Objektiv für Ωμέγα "7"'}, ensure_ascii=False).encode()
    at = datetime(2026, 11, 2, 12, 0, 30, 250000, tzinfo=UTC)
    link = entry_link("0a1b2c3d4e5f", 7)
    body = Envelope("0a1b2c3d4e5f-7", source_of("tarn optics"), type_of("accepted"), at, "E-2026-000007", link).around(entry)
    event = from_http_event(HTTPMessage(headers={"content-type": CONTENT_TYPE}, body=body))
    assert event.get_specversion() == "1.0"
    assert (event.get_id(), event.get_source(), event.get_type()) == (
        "0a1b2c3d4e5f-7", "/tarn%20optics/v1/estimates", "estimate.accepted.v1"
    )  # fmt: skip
    assert (event.get_subject(), event.get_time(), event.get_datacontenttype()) == ("E-2026-000007", at, "application/json")
    assert event.get_extension("entrylink") == link
    assert event.get_data() == json.loads(entry)
    assert entry in body, "byte for byte as the feed has it"
