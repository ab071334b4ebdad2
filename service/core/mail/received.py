"""A received mail taken apart, as plain values: what every judgement about mail is made from."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Delivery:
    """What a delivery report says of one recipient (RFC 3464 2.3): `action` is failed, delayed, delivered, relayed
    or expanded, `status` as 5.1.1; all in small letters.
    """

    recipient: str
    action: str
    status: str


@dataclass(frozen=True)
class Mail:
    """One mail. Addresses are in small letters; ids stand without their angle brackets.

    `id` is None where it has none of its own. `sender` is the one address of `From`, empty where there is none or
    more than one. `recipients` are all addresses it came to, by any header that says so. `answers` are the ids it
    answers, the nearest first. `headers` holds every header in the order of the mail, by name in small letters.
    `text` is what a reader would see, quotations marked by ">". `report` is the type of a multipart/report,
    `deliveries` what it says, `returned` the headers of the mail that it gives back. `truncated`: the text goes on.
    """

    id: str | None
    sender: str
    recipients: tuple[str, ...]
    subject: str
    answers: tuple[str, ...]
    text: str
    headers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    report: str | None = None
    deliveries: tuple[Delivery, ...] = ()
    returned: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    truncated: bool = False

    def header(self, name: str) -> str | None:
        """The first header of that name (small letters); None without one."""
        return next(iter(self.headers.get(name, ())), None)
