"""Our signatures against outside sources: RFC 4231, Standard Webhooks and its reference library, RFC 9110."""

import hmac
import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from standardwebhooks import Webhook, WebhookVerificationError

from service.channels.answers import wait_of
from service.channels.signature import Rejected, Verified, headers_for, sign, verify

SHARED = Path(os.environ.get("BELLCHECK_SHARED", Path(__file__).parents[2].parent / "shared"))
VECTORS = SHARED / "data" / "vectors"
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
OTHER = "whsec_" + "QUJD" * 8
NOW = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)


def vectors(name: str) -> dict:
    """A file of test vectors, or a skip that says which one is missing."""
    path = VECTORS / name
    if not path.is_file():
        pytest.skip(f"shared/data/vectors/{name} is not here; set BELLCHECK_SHARED")
    return json.loads(path.read_text(encoding="utf-8"))


def test_the_digest_we_build_on_gives_the_results_of_rfc_4231():
    for case in vectors("rfc4231-hmac-sha256.json")["vectors"]:
        key, data = bytes.fromhex(case["key_hex"]), bytes.fromhex(case["data_hex"])
        assert hmac.digest(key, data, "sha256").hex() == case["hmac_sha256"], case["case"]


def test_the_published_message_gets_the_published_signature():
    for case in vectors("standard-webhooks.json")["positive"]:
        signature = sign(case["secret"], case["msg_id"], case["timestamp"], case["payload"].encode())
        assert signature == case["expected"]


def published_headers(signature: str) -> tuple[dict[str, str], bytes, datetime]:
    case = vectors("standard-webhooks.json")["positive"][0]
    headers = {
        "Webhook-Id": case["msg_id"],
        "Webhook-Timestamp": str(case["timestamp"]),
        "Webhook-Signature": signature,
    }
    return headers, case["payload"].encode(), datetime.fromtimestamp(case["timestamp"], UTC)


def test_the_published_message_with_one_byte_of_its_signature_changed_is_rejected():
    changed = vectors("standard-webhooks.json")["negative"][0]["expected"]
    headers, body, then = published_headers(changed)
    assert isinstance(verify([SECRET], headers, body, then), Rejected)


def test_one_right_signature_among_several_is_enough():
    several = vectors("standard-webhooks.json")["negative"][1]["header"]
    headers, body, then = published_headers(several)
    assert isinstance(verify([SECRET], headers, body, then), Verified)


@given(body=st.text(max_size=300), age=st.integers(-280, 280))
def test_the_reference_library_believes_what_we_sign(body: str, age: int):
    payload = json.dumps({"text": body}).encode()
    headers = headers_for([SECRET, OTHER], "msg-1", datetime.now(UTC) - timedelta(seconds=age), payload)
    assert Webhook(SECRET).verify(payload, headers) == {"text": body}
    assert Webhook(OTHER).verify(payload, headers) == {"text": body}


@given(body=st.text(max_size=300), age=st.integers(-299, 299))
def test_we_believe_what_the_reference_library_signs(body: str, age: int):
    payload = json.dumps({"text": body})
    written = NOW - timedelta(seconds=age)
    headers = {
        "webhook-id": "msg-2",
        "webhook-timestamp": str(int(written.timestamp())),
        "webhook-signature": Webhook(SECRET).sign("msg-2", written, payload),
    }
    assert verify([SECRET], headers, payload.encode(), NOW) == Verified("msg-2", written)


def test_the_reference_library_does_not_believe_a_body_changed_on_its_way():
    headers = headers_for([SECRET], "msg-3", datetime.now(UTC), b'{"text":"ok"}')
    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(b'{"text":"no"}', headers)


def test_retry_after_reads_the_examples_of_rfc_9110_10_2_3():
    then = datetime(1999, 12, 31, 23, 58, 59, tzinfo=UTC)
    assert wait_of("Fri, 31 Dec 1999 23:59:59 GMT", then) == timedelta(seconds=60)
    assert wait_of("120", then) == timedelta(seconds=120)


def test_retry_after_reads_the_older_dates_of_rfc_9110_5_6_7():
    then = datetime(1994, 11, 6, 8, 49, 7, tzinfo=UTC)
    for date in (
        "Sun, 06 Nov 1994 08:49:37 GMT",
        "Sunday, 06-Nov-94 08:49:37 GMT",
        "Sun Nov  6 08:49:37 1994",
    ):
        assert wait_of(date, then) == timedelta(seconds=30), date
