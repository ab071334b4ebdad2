"""The OpenAPI document against the application that it describes, on a morning that is under way."""

import os
import re
from collections import Counter
from collections.abc import Iterator

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.routing import APIRouter
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import ignored_auth, negative_data_rejection, positive_data_acceptance
from starlette.routing import Route
from starlette.types import Message, Receive, Scope, Send
from test_web_failures import signed
from test_web_inward import SECRETS
from web_district import BOARD_KEY, BROWSER, Morning

from service.web.app import create_app
from service.web.described import document
from service.web.pace import Pace

EXAMPLES = int(os.environ.get("BELLCHECK_API_EXAMPLES", "12"))
"""Requests made up for each operation, besides those that the document's limits suggest."""

LEFT_OUT = [positive_data_acceptance, ignored_auth]
"""What is right in a form depends on the page it stood on; and the board's address shows its key form to anybody.
Of a request that is given its proof afterwards it cannot be said that its proof was missing, either."""

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"


def routes(held: FastAPI | APIRouter) -> Iterator[Route]:
    for each in held.routes:
        if isinstance(each, Route):
            yield each
        else:
            yield from routes(each.original_router)


def test_the_document_names_every_address_and_every_method_that_is_served_and_no_other(morning):
    app = create_app(morning.desk, morning.options())
    served = {(r.path, m.lower()) for r in routes(app) for m in r.methods or ()}
    told = {(path, method) for path, methods in document()["paths"].items() for method in methods}

    assert told == served


class Insider:
    """Makes every other request that of somebody who belongs here: real links, the board's cookie, a proven message."""

    def __init__(self, morning: Morning) -> None:
        self.morning, self.turn = morning, 0
        self.app = create_app(morning.desk, morning.options(secrets=SECRETS.get, hosts=("localhost", "testserver")))
        with TestClient(self.app, headers=BROWSER) as client:
            client.post("/board/key", data={"key": BOARD_KEY})
            self.cookie = client.cookies["board"]
            found = re.search(r'name="token" value="([^"]+)"', client.get("/board").text)
        assert found
        self.mark = found[1]

    def dress(self, case: schemathesis.Case) -> bool:
        """Open the door of every second case."""
        self.turn += 1
        if self.turn % 2:
            return False
        path = case.operation.path
        if path.startswith(("/r/", "/s/")):
            link = self.morning.round_path(ROUND, "l-teal") if path[1] == "r" else self.morning.standing_path("l-teal")
            names = re.findall(r"{(\w+)}", path)
            case.path_parameters = dict(zip(names, link.split("/")[2:], strict=True))
        elif path.startswith("/in/"):
            case.path_parameters = {"channel": "chat"}
            case.headers["x-prove"] = "yes"
        elif path.startswith("/board"):
            case.cookies["board"] = self.cookie
        if isinstance(case.body, dict) and path.startswith("/board"):
            case.body.update(token=self.mark, actor="c-reed")
        return True

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Sign what is to be proven, once its bytes are known."""
        headers = dict(scope.get("headers", ()))
        if b"x-prove" not in headers:
            await self.app(scope, receive, send)
            return
        body = b""
        while (message := await receive()).get("more_body") or message.get("body"):
            body += message.get("body", b"")
            if not message.get("more_body"):
                break
        marks = {n.encode(): v.encode() for n, v in signed(body, self.morning.clock.now()).items()}

        async def again() -> Message:
            return {"type": "http.request", "body": body, "more_body": False}

        await self.app({**scope, "headers": list({**headers, **marks}.items())}, again, send)


@pytest.fixture(scope="module")
def insider(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Insider]:
    morning = Morning(tmp_path_factory.mktemp("described") / "b.db")
    morning.play_to("08:12")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Pace, "allows", lambda *_: True)
        patched.setattr(Pace, "is_spent", lambda *_: False)
        yield Insider(morning)
    morning.store.close()


OPERATIONS = [(path, method) for path, methods in document()["paths"].items() for method in methods]


@pytest.mark.parametrize(("path", "method"), OPERATIONS, ids=[f"{m} {p}" for p, m in OPERATIONS])
def test_every_answer_to_made_up_requests_is_as_described_and_no_failure_of_ours(insider, path, method):
    schema = schemathesis.openapi.from_asgi("/openapi.json", insider)
    operation = schema[path][method]
    seen: Counter[int] = Counter()

    @settings(max_examples=EXAMPLES, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=st.one_of([operation.as_strategy(generation_mode=mode) for mode in GenerationMode]))
    def asked(case: schemathesis.Case) -> None:
        more = [negative_data_rejection] if insider.dress(case) else []
        answer = case.call_and_validate(excluded_checks=[*LEFT_OUT, *more])
        seen[answer.status_code] += 1

    asked()
    assert max(seen) < 500
