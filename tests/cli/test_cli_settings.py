"""What the environment may say, and what is never printed of it."""

import pytest

from service.settings import BadSettings, read_settings


def test_settings_keep_keys_and_secrets_out_of_what_is_printed() -> None:
    held = {"BELLCHECK_KEY": "k" * 40, "BELLCHECK_BOARD_KEY": "open the board", "CHAT": "whsec_secret"}
    shown = repr(read_settings(held))
    assert not any(value in shown for value in held.values())


@pytest.mark.parametrize(
    "wrong",
    [
        {"BELLCHECK_KEY": "k" * 31},
        {"BELLCHECK_BIND": "localhost"},
        {"BELLCHECK_BIND": "localhost:99999"},
        {"BELLCHECK_PROXIES": "the proxy"},
        {"BELLCHECK_LOG": "yaml"},
        {"BELLCHECK_BASE_URL": "checks.school.example"},
        {"BELLCHECK_BASE_URL": "https://checks.school.example/?x=1"},
    ],
)
def test_settings_that_cannot_be_meant_are_refused_by_name(wrong: dict[str, str]) -> None:
    (name,) = wrong
    with pytest.raises(BadSettings, match=name):
        read_settings(wrong)
