from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.channels.signature import Rejected, Verified, headers_for, read_secret, sign, verify

SECRET = "whsec_" + "QUJD" * 8
OLDER = "whsec_" + "REVG" * 8
NOW = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)
BODY = b'{"from":"l-teal","text":"1 cable"}'


def signed(**changed: str) -> dict[str, str]:
    """Good headers for BODY, some of them changed."""
    return {**headers_for([SECRET], "abc", NOW, BODY), **changed}


def test_a_message_signed_with_the_secret_is_believed():
    assert verify([SECRET], signed(), BODY, NOW) == Verified("abc", NOW)


def test_during_a_rotation_either_secret_is_enough_on_either_side():
    both = headers_for([SECRET, OLDER], "abc", NOW, BODY)
    assert isinstance(verify([OLDER], both, BODY, NOW), Verified)
    assert isinstance(verify([OLDER, SECRET], signed(), BODY, NOW), Verified)


@given(st.integers(0, len(BODY) - 1), st.integers(1, 255))
def test_a_body_with_any_byte_changed_is_rejected(place: int, flip: int):
    changed = bytearray(BODY)
    changed[place] ^= flip
    assert isinstance(verify([SECRET], signed(), bytes(changed), NOW), Rejected)


@pytest.mark.parametrize("header", ["webhook-id", "webhook-timestamp", "webhook-signature"])
def test_a_message_without_one_of_the_headers_is_rejected_with_all_three_named(header: str):
    headers = signed()
    del headers[header]
    rejected = verify([SECRET], headers, BODY, NOW)
    assert isinstance(rejected, Rejected)
    assert header in rejected.reason


@pytest.mark.parametrize(
    ("seconds", "verdict"),
    [(-301, "future"), (-300, None), (0, None), (300, None), (301, "too old")],
)
def test_only_five_minutes_either_way_are_tolerated(seconds: int, verdict: str | None):
    answer = verify([SECRET], signed(), BODY, NOW + timedelta(seconds=seconds))
    if verdict is None:
        assert isinstance(answer, Verified)
    else:
        assert isinstance(answer, Rejected)
        assert verdict in answer.reason


def test_a_signature_of_another_id_or_time_does_not_carry_over():
    assert isinstance(verify([SECRET], signed(**{"webhook-id": "abd"}), BODY, NOW), Rejected)
    later = str(int(NOW.timestamp()) + 1)
    assert isinstance(verify([SECRET], signed(**{"webhook-timestamp": later}), BODY, NOW), Rejected)


def test_an_id_with_a_full_stop_cannot_shift_the_border_between_id_time_and_body():
    seconds = int(NOW.timestamp())
    honest = sign(SECRET, "abc", seconds, b"%d.x" % seconds)
    shifted = {
        "webhook-id": f"abc.{seconds}",
        "webhook-timestamp": str(seconds),
        "webhook-signature": honest,
    }
    assert isinstance(verify([SECRET], shifted, b"x", NOW), Rejected)
    with pytest.raises(ValueError, match="full stop"):
        sign(SECRET, "a.b", seconds, BODY)


@given(id=st.text(max_size=30), seconds=st.text(max_size=30), signature=st.text(max_size=60))
def test_no_header_whatever_makes_it_stumble(id: str, seconds: str, signature: str):
    headers = {"webhook-id": id, "webhook-timestamp": seconds, "webhook-signature": signature}
    assert isinstance(verify([SECRET], headers, BODY, NOW), Rejected)


@pytest.mark.parametrize("secret", ["", "QUJD" * 8, "whsec_!!!", "whsec_QUJD", "whsec_" + "QUJD" * 22])
def test_a_secret_that_is_none_is_refused_without_being_repeated(secret: str):
    with pytest.raises(ValueError, match="a signing secret") as refused:
        read_secret(secret)
    assert not secret or secret not in str(refused.value)


def test_the_timestamp_is_the_instant_whatever_zone_it_is_said_in():
    elsewhere = NOW.astimezone(datetime.fromisoformat("2026-10-05T08:00:00-05:00").tzinfo)
    assert headers_for([SECRET], "abc", elsewhere, BODY) == signed()
