"""The web application: phone pages, the board, the door for webhooks, and what machines ask about health."""

from fastapi import FastAPI, HTTPException
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.middleware.gzip import GZipMiddleware

from service.engine.desk import Desk
from service.engine.inward import BODY_AT_MOST, Inward
from service.engine.pressing import Pressing
from service.web import board, cards, figures, inward, phone, supplies, typed
from service.web.described import document
from service.web.failures import add_handlers
from service.web.guard import Guard
from service.web.options import WebOptions
from service.web.rendering import static
from service.web.tongue import Tongue

__all__ = ["WebOptions", "create_app"]

TYPES = {"look.css": "text/css; charset=utf-8", "board.js": "text/javascript; charset=utf-8"}


def create_app(desk: Desk, options: WebOptions) -> FastAPI:
    """The application over a desk. It keeps no state of its own beyond counting how often somebody tries."""
    app = FastAPI(openapi_url=None)
    door = Inward(desk, options.secrets)
    app.include_router(phone.router(desk, options, Pressing(desk, door)))
    app.include_router(typed.router(desk))
    app.include_router(board.router(desk, options))
    app.include_router(supplies.router(desk, options))
    app.include_router(cards.router(desk, options))
    app.include_router(inward.router(desk, options, door))
    app.include_router(figures.router(desk, options))
    _add_plain_routes(app)
    add_handlers(app)
    app.add_middleware(GZipMiddleware, minimum_size=800)
    app.add_middleware(Guard, hosts=options.hosts, inward=inward.PATH, inward_at_most=BODY_AT_MOST)
    app.add_middleware(Tongue)
    return app


def _add_plain_routes(app: FastAPI) -> None:
    @app.api_route("/", methods=["GET", "HEAD"], include_in_schema=False)
    def first() -> Response:
        return RedirectResponse("/board", 303)

    @app.api_route("/openapi.json", methods=["GET", "HEAD"], include_in_schema=False)
    def described() -> Response:
        return JSONResponse(document())

    @app.api_route("/static/{name}", methods=["GET", "HEAD"], include_in_schema=False)
    def file(name: str) -> Response:
        if name not in TYPES:
            raise HTTPException(404)
        return Response(
            static(name), headers={"cache-control": "public, max-age=300"}, media_type=TYPES[name]
        )

    @app.api_route("/robots.txt", methods=["GET", "HEAD"], include_in_schema=False)
    def robots() -> Response:
        return Response("User-agent: *\nDisallow: /\n", media_type="text/plain")
