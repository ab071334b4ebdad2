"""The sending lanes against real receivers on loopback: side by side, none held up by another, none sent twice."""

import asyncio
import json
import time
from collections.abc import Callable
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest
from sqlmodel import select

from service.channels.factory import ATTEMPT_LIMIT
from service.engine import postman
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.waiting import HELD_OF_ONE_ADDRESS
from service.store.tables import OutboxRow
from service.wiring import Service
from tests.channels.channel_mail_servers import MailServer, Postbox
from tests.channels.channel_receivers import Receiver, answers, hangs
from tests.engine.engine_morning import at
from tests.engine.lanes_made import BASE, ask_everybody, documents, service_over

HANGS_FOR = ATTEMPT_LIMIT.total_seconds()


def rows(desk: Desk) -> dict[str, OutboxRow]:
    with desk.store.reading() as tx:
        return {row.person: row for row in tx.exec(select(OutboxRow))}


def rooms(count: int) -> list[str]:
    return [f"school000-room{n}" for n in range(count)]


async def until(true: Callable[[], bool], seconds: float = 8.0) -> float:
    began = time.monotonic()
    while not true():
        assert time.monotonic() - began < seconds, "it did not happen in time"
        await asyncio.sleep(0.02)
    return time.monotonic() - began


def asked(folder: Path, addresses: dict[str, str], count: int) -> Service:
    clock = SteppedClock(at("08:05"))
    service = service_over(folder, clock, documents(addresses, rooms=count, children=1))
    ask_everybody(service)
    return service


def test_every_message_arrives_once_signed_with_its_own_link_and_is_recorded_as_accepted(
    tmp_path: Path,
) -> None:
    async def morning() -> None:
        async with Receiver(answers("204 No Content")) as chat:
            service = asked(tmp_path, {r: f"{chat.url}/{r}" for r in rooms(12)}, 12)
            service.lanes.start()
            await until(lambda: {r.state for r in rows(service.desk).values()} == {"accepted"})
            await service.lanes.stop()
            bodies = [json.loads(request.body) for request in chat.requests]
            assert len(bodies) == 12
            assert len({request.headers["webhook-id"] for request in chat.requests}) == 12
            assert all(
                body["link"].startswith(f"{BASE}/r/") and body["link"] in body["text"] for body in bodies
            )
            assert all(BASE not in row.text for row in rows(service.desk).values())
            service.close()

    asyncio.run(morning())


def test_mail_that_takes_no_answers_names_none_and_says_so_in_the_reader_s_language(tmp_path: Path) -> None:
    async def morning() -> None:
        postbox = Postbox()
        with MailServer(postbox) as server:
            made = documents({}, rooms=1, children=1)
            made["channels"]["mail"] = {
                "kind": "email",
                "host": "127.0.0.1",
                "port": server.port,
                "starttls": False,
                "from": "checks@school.example",
            }
            checker = made["people"]["school000-room0"]
            checker |= {"channels": [{"mail": "checker@school.example"}], "language": "es"}
            service = service_over(tmp_path, SteppedClock(at("08:05")), made)
            ask_everybody(service)
            service.lanes.start()
            await until(lambda: bool(postbox.mails))
            await service.lanes.stop()
            service.close()
        text = postbox.mails[0].get_body(("plain",)).get_content()  # type: ignore[union-attr]
        assert "Responder" not in text
        sentence, link = text.split("\r\n")[-3:-1]
        assert sentence == "No se lee un correo de respuesta: por favor, usar el enlace."
        assert link.startswith(BASE)

    asyncio.run(morning())


def test_a_receiver_that_hangs_does_not_hold_up_the_others(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(hangs) as bad, Receiver(answers("200 OK")) as good:
            addresses = {r: f"{(bad if n < 3 else good).url}/{r}" for n, r in enumerate(rooms(10))}
            service = asked(tmp_path, addresses, 10)
            service.lanes.start()
            took = await until(lambda: len(good.requests) == 7)
            assert took < 2.0
            await service.lanes.stop(timedelta(seconds=0.2))
            service.close()

    asyncio.run(morning())


def test_many_messages_to_an_address_that_hangs_do_not_hold_up_those_to_another(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(hangs) as bad, Receiver(answers("200 OK")) as good:
            addresses = {r: bad.url if n < 60 else good.url for n, r in enumerate(rooms(62))}
            service = asked(tmp_path, addresses, 62)
            service.lanes.start()
            await until(lambda: len(good.requests) == 2, HANGS_FOR - 1)
            assert len(bad.requests) == 2
            states = [row.state for row in rows(service.desk).values()]
            assert states.count("waiting") >= 60 - HELD_OF_ONE_ADDRESS
            await service.lanes.stop(timedelta(seconds=0.2))
            service.close()

    asyncio.run(morning())


def test_a_stop_cuts_what_hangs_gives_back_what_has_not_begun_and_the_next_start_sends_it(
    tmp_path: Path,
) -> None:
    async def morning() -> None:
        async with Receiver(hangs) as chat:
            service = asked(tmp_path, dict.fromkeys(rooms(6), chat.url), 6)
            service.lanes.start()
            await until(lambda: len(chat.requests) == 2)
            began = time.monotonic()
            await service.lanes.stop(timedelta(seconds=0.2))
            assert time.monotonic() - began < 3.0
            states = sorted(row.state for row in rows(service.desk).values())
            assert states == ["claimed", "claimed", "waiting", "waiting", "waiting", "waiting"]
            assert all(r.attempts == 0 for r in rows(service.desk).values() if r.state == "waiting")
            service.close()

    asyncio.run(morning())


def test_a_refusal_is_tried_again_later_and_one_for_good_is_not(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(answers("503 Later")) as later, Receiver(answers("410 Gone")) as gone:
            first, second = rooms(2)
            service = asked(tmp_path, {first: later.url, second: gone.url}, 2)
            service.lanes.start()
            await until(lambda: rows(service.desk)[second].state == "refused")
            await until(lambda: rows(service.desk)[first].state == "waiting" and bool(later.requests))
            held = rows(service.desk)[first]
            assert held.next_at > at("08:05")
            await service.lanes.stop()
            service.close()

    asyncio.run(morning())


def test_a_channel_whose_secret_is_missing_refuses_its_messages_and_the_service_goes_on(
    tmp_path: Path,
) -> None:
    async def morning() -> None:
        clock = SteppedClock(at("08:05"))
        made = documents({}, rooms=1, children=1)
        service = service_over(tmp_path, clock, made, named={})
        ask_everybody(service)
        service.lanes.start()
        await until(lambda: rows(service.desk)["school000-room0"].attempts == 1)
        await until(lambda: rows(service.desk)["school000-room0"].state == "waiting")
        assert "CHAT" in service.lanes.carriers.wrongs()["chat"]
        await service.lanes.stop()
        service.close()

    asyncio.run(morning())


def test_a_message_that_can_no_longer_help_is_not_sent(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(answers("200 OK")) as chat:
            service = asked(tmp_path, {"school000-room0": chat.url}, 1)
            service.desk.clock.move_to(at("09:45"))
            service.lanes.start()
            await until(lambda: rows(service.desk)["school000-room0"].state not in ("waiting", "claimed"))
            assert chat.requests == []
            await service.lanes.stop()
            service.close()

    asyncio.run(morning())


def test_while_held_nothing_is_claimed(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(answers("200 OK")) as chat:
            service = asked(tmp_path, {"school000-room0": chat.url}, 1)
            service.lanes.hold(True)
            service.lanes.start()
            await asyncio.sleep(0.2)
            assert chat.requests == []
            service.lanes.hold(False)
            await until(lambda: len(chat.requests) == 1)
            await service.lanes.stop()
            service.close()

    asyncio.run(morning())


def test_a_failure_of_our_own_in_claiming_does_not_end_the_sending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def morning() -> None:
        async with Receiver(answers("200 OK")) as chat:
            service = asked(tmp_path, {"school000-room0": chat.url}, 1)
            claim, calls = postman.claim, count()

            def fails_once(*args: object, **more: object) -> object:
                if next(calls) == 0:
                    raise KeyError("something nobody foresaw")
                return claim(*args, **more)

            monkeypatch.setattr(postman, "claim", fails_once)
            service.lanes.start()
            await until(lambda: rows(service.desk)["school000-room0"].state == "accepted")
            await service.lanes.stop()
            service.close()

    asyncio.run(morning())
