"""What a monitor reads: the figures of the service in the Prometheus text format, for whoever has the board's key."""

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import Response
from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from service.engine.desk import Desk
from service.engine.figures import Figures, MailboxFigures, figures_of
from service.web.board import LOOK, doorkeeper
from service.web.options import WebOptions
from service.web.pace import address_of, slowed
from service.web.problems import answer

PROOF = {"www-authenticate": 'Bearer realm="figures"'}
"""What would open them (RFC 6750, 3)."""

PLAIN = {
    "rounds_due": "Rounds that are due and not asked",
    "checks_due": "Checks of rounds that are due and not asked",
    "rounds_late": "Rounds that have been due for over a minute and are not asked",
    "chases_open": "Chases that have not ended",
    "replies_unread": "Messages received that nobody has read",
    "oldest_unsent_seconds": "For how long the oldest message that has not left has been due",
    "heartbeat_age_seconds": "Since when no instance has said that it runs",
    "schools_without_rounds": "Schools at which nobody was asked today, though a check has been due",
    "lateness_p99_seconds": "From when a step was due to its message committed, 99 of 100 of this process lately",
}
"""The figures without a label, and what each says."""


OF_MAILBOXES = {
    "read_age_seconds": "Since when this process has not read the mailbox to its end; some 60 where all is well",
    "failing_seconds": "For how long the mailbox could not be read; 0 where it can",
    "mails_unread": "Mails of this channel that nobody has read",
}
"""The figures of each mailbox, by channel, in the order of `MailboxFigures`."""


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The one route."""
    made = APIRouter(include_in_schema=False)
    door = doorkeeper(desk, options)

    @made.api_route("/metrics", methods=LOOK)
    def metrics(request: Request) -> Response:
        """The key comes as a bearer token, so that it stands in no address and no log; `try` asks for none."""
        address = address_of(request)
        if door.wrong.is_spent(address):
            return slowed(request, "Many wrong keys in a short time", door.wrong.wait(address))
        kind, _, key = request.headers.get("authorization", "").partition(" ")
        shut = options.board_key is not None
        if shut and (kind.lower() != "bearer" or not door.admits(key.strip())):
            if kind:
                door.wrong.allows(address)
            return answer(401, "Unauthorized", "Send the board's key as bearer token.", PROOF)
        with desk.glance() as m:
            figures = figures_of(m)
        return Response(written(figures), headers={"content-type": CONTENT_TYPE_PLAIN_0_0_4})

    return made


def written(figures: Figures) -> bytes:
    """The figures as text; one that is not known is left out."""
    registry = CollectorRegistry()
    values = {
        "rounds_due": figures.rounds_due,
        "checks_due": figures.checks_due,
        "rounds_late": figures.late,
        "chases_open": figures.chases_open,
        "replies_unread": figures.unread,
        "oldest_unsent_seconds": figures.oldest_unsent_seconds,
        "heartbeat_age_seconds": figures.heartbeat_seconds,
        "schools_without_rounds": figures.schools_without_rounds,
        "lateness_p99_seconds": figures.lateness,
    }
    for name, value in values.items():
        if value is not None:
            Gauge(f"bellcheck_{name}", PLAIN[name], registry=registry).set(value)
    _add_mailboxes(figures.mailboxes, registry)
    states = Gauge("bellcheck_messages", "Messages of the last hour by state", ["state"], registry=registry)
    for state, count in figures.messages.items():
        states.labels(state).set(count)
    return generate_latest(registry)


def _add_mailboxes(mailboxes: Sequence[MailboxFigures], registry: CollectorRegistry) -> None:
    if not mailboxes:
        return
    read, failing, unread = (
        Gauge(f"bellcheck_mailbox_{name}", says, ["channel"], registry=registry) for name, says in OF_MAILBOXES.items()
    )
    for one in mailboxes:
        if one.read_seconds is not None:
            read.labels(one.channel).set(one.read_seconds)
        failing.labels(one.channel).set(one.failing_seconds)
        unread.labels(one.channel).set(one.unread)
