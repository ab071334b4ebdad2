"""Whether our own mail server vouches for a sender's domain (RFC 8601, `Authentication-Results`).

Anybody can write that header. It counts only where it bears the name of the one server that is ours, and of
those only the topmost: servers add theirs above what came with the mail (RFC 8601 5). What it vouches for is
the domain, not the person: whoever may send from that domain may write any name before the @.
"""

import re

from service.core.mail.received import Mail

_COMMENT = re.compile(r"\([^()]*\)")
_RESULT = re.compile(r"\s*(?P<method>[a-z0-9-]+)(?:/\d+)?\s*=\s*(?P<result>[a-z]+)", re.I)
_PROPERTY = re.compile(r"\b(?P<name>[a-z]+\.[a-z-]+)\s*=\s*\"?(?P<value>[^\s;\"]+)", re.I)

_SAYS_WHOSE = {"dmarc": ("header.from",), "dkim": ("header.d", "header.i"), "spf": ("smtp.mailfrom", "smtp.mail")}
"""By method the property that names the domain which passed."""


def vouched(mail: Mail, server: str) -> bool:
    """Whether `server` says that the domain of the mail's sender passed: by DMARC, else by a signature or path of
    that very domain. A DMARC failure outweighs the others.
    """
    results = _results(mail, server)
    domain = mail.sender.rpartition("@")[2]
    if not domain or any(method == "dmarc" and result == "fail" for method, result, _ in results):
        return False
    return any(result == "pass" and domain in domains for _, result, domains in results)


def _results(mail: Mail, server: str) -> list[tuple[str, str, frozenset[str]]]:
    """Method, result and domains of the topmost header that is our server's."""
    for value in mail.headers.get("authentication-results", ()):
        plain = _without_comments(value)
        name, *parts = plain.split(";")
        if (name.split() or [""])[0].lower() == server.lower():
            return [found for part in parts if (found := _result(part)) is not None]
    return []


def _result(part: str) -> tuple[str, str, frozenset[str]] | None:
    found = _RESULT.match(part)
    if found is None:
        return None
    method = found["method"].lower()
    named = {p["name"].lower(): p["value"].lower() for p in _PROPERTY.finditer(part)}
    domains = {named[key].rpartition("@")[2] for key in _SAYS_WHOSE.get(method, ()) if key in named}
    return method, found["result"].lower(), frozenset(domains)


def _without_comments(value: str) -> str:
    """Comments may nest; eight deep is more than any server writes."""
    for _ in range(8):
        shorter = _COMMENT.sub(" ", value)
        if shorter == value:
            break
        value = shorter
    return value
