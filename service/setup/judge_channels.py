"""Whether each channel says what its kind needs."""

from urllib.parse import urlsplit

from service.setup.docs import Documents, View, section
from service.setup.kinds import Path, Reading

_WEBHOOK_KEYS = ("url", "signing secret", "template")
_EMAIL_KEYS = (
    "host", "port", "starttls", "user", "password", "from", "reply domain", "answers", "mailbox", "own server",
)  # fmt: skip
_NAME_AT_MOST = 23
"""Characters before the @ of the address that mails come from: behind them the reply address bears 41 more, and
64 are allowed in all (RFC 5321 4.5.3.1.1)."""

_POINTERS = ("from", "text", "in reply to", "at")


def judge_channels(documents: Documents, to: Reading) -> None:
    """Note what a channel lacks, and what belongs to the other kind."""
    for name, channel in section(documents, "channels").items():
        path: Path = ("channels", name)
        if channel.text("kind") == "email":
            _judge_email(channel, path, to)
        elif channel.text("kind") == "webhook":
            _judge_webhook(channel, path, to)
    for name, district in section(documents, "district").items():
        _judge_heartbeat(district.view("heartbeat"), ("district", name, "heartbeat"), to)


def _judge_email(channel: View, path: Path, to: Reading) -> None:
    for key in ("host", "from"):
        if not channel.has(key) and (*path, key) not in to.places:
            to.at(path, f"the email channel {path[1]} does not say its {key}", f"add {key}:")
    _foreign(channel, _WEBHOOK_KEYS, path, to)
    _judge_answers(channel, path, to)


def _judge_answers(channel: View, path: Path, to: Reading) -> None:
    """What answers by mail need; settings that are there while answers are not taken yet do no harm."""
    for key in (*_POINTERS, "signing secret"):
        if channel.view("in").has(key):
            to.at((*path, "in", key), f"{key!r} means nothing to a channel of kind email", "take it out")
    if not channel.flag("answers"):
        return
    mailbox = channel.view("mailbox")
    for key in ("user", "password"):
        if channel.has("mailbox") and not mailbox.has(key):
            to.at((*path, "mailbox"), f"the mailbox cannot be opened without a {key}", f"add {key}: under mailbox:")
    name = channel.text("from").rpartition("<")[2].partition("@")[0]
    if len(name) > _NAME_AT_MOST:
        wrong = f"{name!r} leaves no room for the reply address"
        to.at((*path, "from"), wrong, f"choose an address of at most {_NAME_AT_MOST} characters before the @")


def _judge_webhook(channel: View, path: Path, to: Reading) -> None:
    _foreign(channel, _EMAIL_KEYS, path, to)
    if channel.has("url") and isinstance(channel.of["url"], str):
        judge_open_address(channel.text("url"), channel, (*path, "url"), to)
    incoming = channel.view("in")
    for key in _POINTERS:
        if incoming.has(key) and not incoming.text(key).startswith("/"):
            to.at(
                (*path, "in", key),
                f"{incoming.text(key)!r} is no place in a JSON text",
                "begin it with /, as /from",
            )
    proofs = (channel.has("signing secret"), incoming.has("signing secret"), incoming.has("token"))
    if channel.has("in") and not any(proofs):
        to.at(
            (*path, "in"),
            "what comes in could be from anybody",
            "name a signing secret, or a token where the sender cannot sign",
        )


def _judge_heartbeat(heartbeat: View, path: Path, to: Reading) -> None:
    if heartbeat.has("url") and isinstance(heartbeat.of["url"], str):
        judge_open_address(heartbeat.text("url"), heartbeat, (*path, "url"), to)


def judge_open_address(address: str, channel: View, path: Path, to: Reading) -> None:
    """Note a web address without TLS to a host that the channel does not allow by name."""
    parts = urlsplit(address)
    if parts.scheme == "http" and parts.hostname not in channel.texts("allow"):
        right = "write https, or name the host under allow if it is inside your own network"
        to.at(path, f"{address[:60]!r} can be read on its way", right)


def _foreign(channel: View, keys: tuple[str, ...], path: Path, to: Reading) -> None:
    for key in keys:
        if channel.has(key):
            kind = channel.text("kind")
            to.at(
                (*path, key),
                f"{key!r} means nothing to a channel of kind {kind}",
                "take it out, or mend the kind",
            )
