"""The web application: phone pages, the board, the door for webhooks, and what machines ask about health."""

from http import HTTPStatus

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException as AnyHTTPException
from starlette.middleware.gzip import GZipMiddleware

from service.engine.desk import Desk
from service.engine.inward import BODY_AT_MOST
from service.web import board, inward, phone
from service.web.guard import HEADERS, Guard, TooLarge
from service.web.options import WebOptions
from service.web.problems import answer
from service.web.rendering import render, static

__all__ = ["WebOptions", "create_app"]

TYPES = {"look.css": "text/css; charset=utf-8", "board.js": "text/javascript; charset=utf-8"}
FOR_PROGRAMS = ("/in/", "/health", "/ready", "/openapi.json", "/board/part")


def create_app(desk: Desk, options: WebOptions) -> FastAPI:
    """The application over a desk. It keeps no state of its own beyond counting how often somebody tries."""
    app = FastAPI(
        title="bellcheck",
        description="Programs send what people answer to /in/{channel}; the rest is pages for people.",
        version="1",
        docs_url=None,
        redoc_url=None,
    )
    app.include_router(phone.router(desk, options))
    app.include_router(board.router(desk, options))
    app.include_router(inward.router(desk, options))
    _add_plain_routes(app)
    app.add_exception_handler(AnyHTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _http_error)
    app.add_exception_handler(TooLarge, _too_large)
    app.add_exception_handler(Exception, _our_error)
    app.add_middleware(GZipMiddleware, minimum_size=800)
    app.add_middleware(Guard, hosts=options.hosts, inward=inward.PATH, inward_at_most=BODY_AT_MOST)
    return app


def _add_plain_routes(app: FastAPI) -> None:
    @app.api_route("/", methods=["GET", "HEAD"], include_in_schema=False)
    def first() -> Response:
        return RedirectResponse("/board", 303)

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


def _is_for_programs(request: Request) -> bool:
    return request.url.path.startswith(FOR_PROGRAMS)


async def _http_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, AnyHTTPException) else 422
    phrase = HTTPStatus(status).phrase
    if _is_for_programs(request):
        detail = (
            str(error.detail)
            if isinstance(error, AnyHTTPException)
            else "The request is not of the right shape."
        )
        return answer(status, phrase, detail)
    lines = ["Open the link in your latest message, or go to the board."]
    title = "There is no such page" if status == 404 else "That cannot be done here"
    return HTMLResponse(render("sorry.html", title=title, lines=lines), status)


async def _too_large(_request: Request, _error: Exception) -> Response:
    return answer(413, "Content Too Large", "The message is longer than is taken here.")


async def _our_error(request: Request, _error: Exception) -> Response:
    """Something of ours failed: no details to the outside, and no guess that anything was recorded."""
    # This answer is made outside the guard, so it puts on the guard's headers itself.
    if _is_for_programs(request):
        return answer(500, "Internal Server Error", "The service failed; send the message again.", HEADERS)
    lines = [
        "Something failed on our side. What you pressed may not be recorded.",
        "Load the page again to see what is, or answer the message in words.",
    ]
    return HTMLResponse(render("sorry.html", title="This did not work", lines=lines), 500, HEADERS)
