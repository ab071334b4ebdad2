"""Whether each channel says what its kind needs."""

from urllib.parse import urlsplit

from service.setup.docs import Documents, View, section
from service.setup.kinds import Path, Reading

_WEBHOOK_KEYS = ("url", "signing secret", "template", "in")
_EMAIL_KEYS = ("host", "port", "starttls", "user", "password", "from", "reply domain")
_POINTERS = ("from", "text", "in reply to", "at")


def judge_channels(documents: Documents, to: Reading) -> None:
    """Note what a channel lacks, and what belongs to the other kind."""
    for name, channel in section(documents, "channels").items():
        path: Path = ("channels", name)
        if channel.text("kind") == "email":
            _judge_email(channel, path, to)
        elif channel.text("kind") == "webhook":
            _judge_webhook(channel, path, to)


def _judge_email(channel: View, path: Path, to: Reading) -> None:
    for key in ("host", "from"):
        if not channel.has(key) and (*path, key) not in to.places:
            to.at(path, f"the email channel {path[1]} does not say its {key}", f"add {key}:")
    _foreign(channel, _WEBHOOK_KEYS, path, to)


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
