"""The demo's page: pocket phones beside the board, and the hand on the clock."""

from fastapi import APIRouter, Request

from service.demo.town import Town
from service.web.options import WebOptions


def stand(made: Town, web: WebOptions) -> APIRouter:
    return APIRouter()
