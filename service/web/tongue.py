"""The language of a request: what its sender's browser likes best, until it is known who reads."""

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from service.languages import accepted, speaking


class Tongue:
    """Speaks, while a request is served, the language of ours that its `Accept-Language` likes best."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on what comes in."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        with speaking(accepted(Headers(scope=scope).get("accept-language", ""))):
            await self._app(scope, receive, send)
