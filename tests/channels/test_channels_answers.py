from datetime import timedelta

import pytest
from channel_parcels import NOW, parcel
from hypothesis import given
from hypothesis import strategies as st

from service.channels.answers import judge, wait_of
from service.channels.protocol import Handover


def answer(status: int, give_up_in: timedelta | None = timedelta(minutes=15), **headers: str) -> Handover:
    """What an answer means for a message that matters for `give_up_in` more."""
    until = None if give_up_in is None else NOW + give_up_in
    plain = {name.replace("_", "-"): value for name, value in headers.items()}
    return judge(status, plain, parcel(give_up_at=until), NOW)


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_any_2xx_is_acceptance(status: int):
    assert answer(status).outcome == "accepted"


def test_acceptance_by_a_web_page_is_acceptance_worth_a_remark():
    page = answer(200, content_type="text/html; charset=utf-8")
    assert page.outcome == "accepted"
    assert "web page" in page.detail


@given(st.integers(100, 599).filter(lambda status: not 200 <= status <= 299))
def test_nothing_else_is_acceptance(status: int):
    assert answer(status).outcome != "accepted"


def test_gone_ends_the_address():
    assert answer(410).outcome == "gone"
    assert answer(410).for_good


@pytest.mark.parametrize("status", [301, 308, 400, 401, 403, 404, 405, 413, 422])
def test_a_refusal_that_will_not_change_is_for_good(status: int):
    assert answer(status).outcome == "refused"
    assert answer(status).for_good


@pytest.mark.parametrize("status", [302, 307, 408, 425, 429, 500, 502, 503, 504])
def test_a_refusal_that_may_change_is_not(status: int):
    assert not answer(status).for_good


@pytest.mark.parametrize("status", [429, 503])
def test_a_receiver_that_asks_for_time_gets_it(status: int):
    assert answer(status, retry_after="30") == Handover("deferred", f"HTTP {status}", timedelta(seconds=30))
    assert answer(status) == Handover("deferred", f"HTTP {status}", None)


def test_but_never_more_time_than_the_message_matters():
    assert answer(429, timedelta(seconds=30), retry_after="30").retry_after == timedelta(seconds=30)
    beyond = answer(429, timedelta(seconds=30), retry_after="31")
    assert beyond.for_good
    assert beyond.retry_after is None


def test_a_message_without_an_end_waits_as_long_as_it_is_asked_to():
    assert answer(429, None, retry_after="3600").retry_after == timedelta(hours=1)


@pytest.mark.parametrize("value", ["", "soon", "-5", "1.5", "²", "Mon, 99 Foo 2026", "\x00"])
def test_a_wait_that_cannot_be_read_is_none(value: str):
    assert wait_of(value, NOW) is None


def test_a_date_that_is_over_means_no_wait_and_an_absurd_wait_is_a_day():
    assert wait_of("Fri, 31 Dec 1999 23:59:59 GMT", NOW) == timedelta()
    assert wait_of("9" * 400, NOW) == timedelta(days=1)
    assert wait_of("Fri, 31 Dec 9999 23:59:59 GMT", NOW) == timedelta(days=1)


@given(st.text(max_size=60))
def test_no_wait_whatever_makes_it_stumble(value: str):
    wait = wait_of(value, NOW)
    assert wait is None or timedelta() <= wait <= timedelta(days=1)
