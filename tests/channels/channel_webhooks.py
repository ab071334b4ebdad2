"""Webhook channels and what they deliver, for tests."""

import asyncio
from collections.abc import Mapping, Sequence
from datetime import timedelta

from channel_parcels import SECRET, parcel, stamp
from channel_receivers import Behaviour, Receiver, answers

from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.channels.protocol import Channel, Handover, Parcel
from service.core.district import ChannelSetup

OLDER = "whsec_" + "REVG" * 8
HELD = {"CHAT_SECRET": SECRET, "BOTH_SECRETS": f"{OLDER} {SECRET}"}
OK = answers("200 OK", b"{}", Content_Type="application/json")


def channel(options: Mapping[str, object], *, guard: AddressGuard | None = None, **others: object) -> Channel:
    """A webhook channel that may speak to this machine, as the demo's may."""
    held = {**HELD, **others.pop("held", {})}
    limit = others.pop("limit", timedelta(seconds=5))
    setup = ChannelSetup("chat", "webhook", options={"allow": ["127.0.0.1"], **options})
    return build(setup, held.get, guard or AddressGuard(), stamp=stamp, limit=limit, **others)


def delivering(behave: Behaviour, *parcels: Parcel, **others: object) -> tuple[list[Handover], Receiver]:
    """What comes of delivering the parcels one after the other to a receiver that behaves so."""

    async def run() -> tuple[list[Handover], Receiver]:
        async with Receiver(behave) as receiver:
            options = {
                "url": receiver.url,
                "signing secret": {"env": "CHAT_SECRET"},
                **others.pop("options", {}),
            }
            sending = channel(options, **others)
            outcomes = [await sending.deliver(each) for each in parcels or (parcel(),)]
            await sending.close()
            return outcomes, receiver

    return asyncio.run(run())


def outcome(behave: Behaviour, **others: object) -> Handover:
    return delivering(behave, **others)[0][0]


def resolving(*answers: Sequence[str]) -> tuple[AddressGuard, list[str]]:
    """A guard whose resolver gives the answers in turn, and what it was asked."""
    asked: list[str] = []
    left = list(answers)

    async def resolve(host: str, port: int) -> Sequence[str]:
        asked.append(f"{host}:{port}")
        return left.pop(0)

    return AddressGuard(resolve), asked
