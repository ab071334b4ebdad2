"""Who vouches for a sender: only our own server, only its topmost word, only for the domain of the sender.

Forms of the header: RFC 8601 section 2 and appendix B (from memory).
"""

from hypothesis import given
from hypothesis import strategies as st

from service.core.mail import Mail, vouched

OURS = "mx.school.example"


def mail(*results: str, sender: str = "l.teal@school.example") -> Mail:
    return Mail(None, sender, (), "", (), "ok", {"authentication-results": results})


def test_a_domain_that_passed_by_our_own_server_is_vouched_for() -> None:
    assert vouched(mail(f"{OURS}; dmarc=pass (p=reject) header.from=school.example"), OURS)
    assert vouched(mail(f"{OURS} 1; spf=none; dkim=pass (2048-bit) header.d=school.example header.s=k1"), OURS)
    assert vouched(mail(f"{OURS}; spf=pass smtp.mailfrom=l.teal@school.example"), OURS)
    assert vouched(mail("MX.School.Example; DKIM=Pass header.i=@school.example"), OURS)


def test_another_servers_word_counts_for_nothing() -> None:
    passed = "dmarc=pass header.from=school.example"
    assert not vouched(mail(f"mx.elsewhere.example; {passed}"), OURS)
    assert not vouched(mail(f"{OURS}.elsewhere.example; {passed}"), OURS)
    assert not vouched(mail(f"x ({OURS}); {passed}"), OURS)
    assert not vouched(mail(), OURS)


def test_a_forged_header_in_our_servers_name_lies_below_the_genuine_one_and_is_not_read() -> None:
    genuine, forged = f"{OURS}; dmarc=fail header.from=school.example", f"{OURS}; dmarc=pass header.from=school.example"
    assert not vouched(mail(genuine, forged), OURS)
    assert not vouched(mail(f"{OURS}; none", forged), OURS)


def test_a_pass_of_another_domain_does_not_vouch_for_the_senders() -> None:
    assert not vouched(mail(f"{OURS}; dkim=pass header.d=bulk.example"), OURS)
    assert not vouched(mail(f"{OURS}; spf=pass smtp.mailfrom=school.example.evil.example"), OURS)
    assert not vouched(mail(f"{OURS}; dmarc=fail header.from=school.example; dkim=pass header.d=school.example"), OURS)
    assert not vouched(mail(f"{OURS}; dkim=pass (header.d=school.example) header.d=bulk.example"), OURS)
    assert not vouched(mail(f"{OURS}; dmarc=pass header.from=school.example", sender=""), OURS)


@given(st.text(alphabet="mx.schoolexample;=() dkimparf\"/1", max_size=200))
def test_any_header_is_read_without_stumbling(value: str) -> None:
    vouched(mail(value, f"{OURS}; {value}"), OURS)
