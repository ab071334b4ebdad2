"""From a channel's settings to a channel: every wrong setting is found before the first message.

Settings of a `webhook`: url, signing secret, template, in, rate, rate each, allow. Of an `email`: host, port, starttls,
user, password, from, reply domain, rate, rate each, allow. `allow` names hosts that may lie inside a private network
and be spoken to without TLS; without it only public addresses and TLS will do.
"""

import ipaddress
import ssl
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from email.headerregistry import Address
from functools import cache
from typing import TypeVar

from service.channels import envelope, template
from service.channels.addresses import AddressGuard, is_allowed, read_target
from service.channels.email import EmailChannel
from service.channels.letter import Sender, read_address
from service.channels.line import MailServer
from service.channels.options import reveal, reveal_all, words
from service.channels.pace import PacedChannel, Rate, read_rate
from service.channels.protocol import Channel, ChannelError, Secrets, Stamp
from service.channels.signature import read_secret
from service.channels.webhook import WebhookChannel, WebhookPlan
from service.core.district import ChannelSetup

ATTEMPT_LIMIT = timedelta(seconds=10)
"""How long one attempt may last in all, in real time."""

_SUBMISSION_PORT = 587  # RFC 6409
_T = TypeVar("_T")


@dataclass(frozen=True)
class _World:
    secrets: Secrets
    guard: AddressGuard
    stamp: Stamp
    limit: timedelta
    tls: ssl.SSLContext


@cache
def _shared_tls() -> ssl.SSLContext:
    return ssl.create_default_context()


def build(
    setup: ChannelSetup,
    secrets: Secrets,
    guard: AddressGuard,
    *,
    stamp: Stamp,
    limit: timedelta = ATTEMPT_LIMIT,
    tls: ssl.SSLContext | None = None,
    more_fields: Collection[str] = (),
) -> Channel:
    """The channel that `setup` describes.

    `secrets` gives what is held under a name, `stamp` real time, `tls` replaces the usual certificate
    authorities, `more_fields` names further values that parcels will bring for templates. ChannelError lists
    everything that is wrong with the settings.
    """
    world = _World(secrets, guard, stamp, limit, tls or _shared_tls())
    wrongs: list[str] = []
    found: Channel | None = None
    if setup.kind == "webhook":
        wrongs += [*template.problems_of(_template(setup), more_fields), *envelope.problems_of(setup)]
        found = _webhook(setup, world, wrongs)
    elif setup.kind == "email":
        found = _email(setup.options, world, wrongs)
    else:
        wrongs.append(f"kind {setup.kind!r} is not known; known are webhook and email")
    rate = _attempt(lambda: _rate(setup.options, "rate"), "rate", wrongs)
    each = _attempt(lambda: _rate(setup.options, "rate each"), "rate each", wrongs)
    if wrongs or found is None:
        raise ChannelError(setup.name, wrongs)
    return found if rate is None and each is None else PacedChannel(found, rate, each)


def takes_answers(setup: ChannelSetup) -> bool:
    """Whether people can answer on the channel itself, rather than by the link alone."""
    return setup.kind != "email" or setup.options.get("answers") is True


def _attempt(make: Callable[[], _T], what: str, wrongs: list[str]) -> _T | None:
    """What `make` gives, or None with the reason noted."""
    try:
        return make()
    except ValueError as wrong:
        wrongs.append(f"{what}: {wrong}")
        return None


def _rate(options: Mapping[str, object], name: str) -> Rate | None:
    return None if options.get(name) is None else read_rate(str(options[name]))


def _template(setup: ChannelSetup) -> object:
    return setup.options.get("template", template.DEFAULT)


def _webhook(setup: ChannelSetup, world: _World, wrongs: list[str]) -> WebhookChannel:
    options, allowed = setup.options, frozenset(words(setup.options.get("allow")))
    address = _attempt(lambda: _own_address(options, world, allowed), "url", wrongs)
    signing = _attempt(lambda: _signing(options, world), "signing secret", wrongs) or ()
    plan = WebhookPlan(address, signing, _template(setup), allowed)
    return WebhookChannel(
        plan, world.secrets, world.guard, stamp=world.stamp, limit=world.limit, tls=world.tls
    )


def _own_address(options: Mapping[str, object], world: _World, allowed: Collection[str]) -> str | None:
    if options.get("url") is None:
        return None
    address = reveal(options["url"], world.secrets)
    target = read_target(address)
    if target.scheme != "https" and not is_allowed(target.host, target.port, allowed):
        raise ValueError("only https is used; a host without it must be named under allow")
    return address


def _signing(options: Mapping[str, object], world: _World) -> tuple[str, ...]:
    secrets = reveal_all(options.get("signing secret"), world.secrets)
    for secret in secrets:
        read_secret(secret)
    return secrets


def _email(options: Mapping[str, object], world: _World, wrongs: list[str]) -> EmailChannel | None:
    server = _attempt(lambda: _server(options, world), "mail server", wrongs)
    sender = _attempt(lambda: _sender(options), "from", wrongs)
    if server is None or sender is None:
        return None
    return EmailChannel(server, sender, world.secrets, stamp=world.stamp, limit=world.limit, tls=world.tls)


def _server(options: Mapping[str, object], world: _World) -> MailServer:
    host, port = _place(options, world)
    starttls = options.get("starttls", True) is not False
    if not starttls and not may_be_plain(host, port, words(options.get("allow"))):
        raise ValueError("starttls: no is only for a server on this machine or one named under allow")
    held = {
        name: reveal(options[name], world.secrets)
        for name in ("user", "password")
        if options.get(name) is not None
    }
    domain = read_address(str(options.get("from", ""))).domain if options.get("from") else host
    return MailServer(host, port, starttls, held.get("user"), held.get("password"), domain)


def _place(options: Mapping[str, object], world: _World) -> tuple[str, int]:
    host = reveal(options.get("host") or "", world.secrets)
    port = reveal(options.get("port", _SUBMISSION_PORT), world.secrets)
    if not host or not (port.isascii() and port.isdigit() and 1 <= int(port) <= 65535):
        raise ValueError("host and port are needed, as mail.school.example and 587")
    return host, int(port)


def may_be_plain(host: str, port: int, allowed: Collection[str]) -> bool:
    """Whether a mail server may be spoken to without TLS."""
    with suppress(ValueError):
        if ipaddress.ip_address(host).is_loopback:
            return True
    return host == "localhost" or is_allowed(host, port, allowed)


def _sender(options: Mapping[str, object]) -> Sender:
    address = read_address(str(options.get("from") or ""))
    domain = str(options.get("reply domain") or address.domain)
    return Sender(address, address.domain, Address(address.display_name, address.username, domain))
