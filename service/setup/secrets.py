"""Secrets: named in the folder, held by the environment or by a file outside it, never written down in it.

`BELLCHECK_SECRETS` may name a file of lines `NAME=value`; the environment wins over it.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from service.setup import words
from service.setup.kinds import Path as Place
from service.setup.kinds import Reading
from service.setup.problems import UnreadableError
from service.setup.tree import Node, Table, Word

SECRETS_FILE = "BELLCHECK_SECRETS"
_TELLING_KEY = re.compile(r"secret|password|passwd|token|api.?key|private.?key", re.IGNORECASE)
_KNOWN_FORM = re.compile(r"whsec_|-----BEGIN|\bBearer\s+\S{12,}|\bBasic\s+[A-Za-z0-9+/=]{12,}")
_USERINFO = re.compile(r"[a-z][a-z0-9+.-]*://[^/\s@]+:[^/\s@]+@", re.IGNORECASE)
_RUN = re.compile(r"[A-Za-z0-9_\-+]{16,}")
_CREDENTIAL = re.compile(r"[^\s{}]{8,}")
_SHORTEST_VALUE = 12


def looks_secret(text: str) -> bool:
    """Whether a value written down looks like a secret: a signing secret, a password in a web address, or a long
    run of mixed letters and digits in one.
    """
    if _KNOWN_FORM.search(text) or _USERINFO.search(text):
        return True
    return "://" in text and any(_random(run) for run in _RUN.findall(text.split("://", 1)[1]))


def _random(run: str) -> bool:
    digits = sum(c.isdigit() for c in run)
    return digits >= 2 and any(c.isalpha() for c in run) and max(map(len, re.split(r"[-_]", run))) >= 12


@dataclass(frozen=True)
class SecretKind:
    """The name of a secret, `{env: NAME}`; with `open_form`, a value that is no secret will do as well."""

    open_form: Callable[[str], object] | None = None

    def read(self, node: Node, path: Place, to: Reading) -> object:
        """The stored form: a mapping with the key `env`, or the open value."""
        to.places[path] = (node.file, node.line)
        try:
            if isinstance(node, Table):
                return self._named(node, path, to)
            if isinstance(node, Word):
                return self._open(node)
        except UnreadableError as error:
            return to.refuse(node, error.wrong, error.right)
        return to.refuse(node, f"{path[-1]} cannot be a list", "write {env: NAME}")

    def _named(self, node: Table, path: Place, to: Reading) -> object:
        pairs = {word.text: value for word, value in node.pairs}
        value = pairs.get("env")
        if set(pairs) != {"env"} or not isinstance(value, Word):
            return to.refuse(node, f"{path[-1]} is not a secret's name", "write {env: NAME}")
        return {"env": words.secret_name(value.text.strip())}

    def _open(self, node: Word) -> object:
        if node.text.startswith("env:"):
            return {"env": words.secret_name(node.text[4:].strip())}
        if self.open_form is None or looks_secret(node.text):
            raise UnreadableError(
                "a secret is written into the folder",
                "keep it in the environment and write its name: {env: NAME}",
            )
        return self.open_form(node.text.strip())


def find_written(node: Node, report: Reading, values: frozenset[str]) -> None:
    """Report every secret written down anywhere in a file: one that looks like it, one under a key of a channel
    that tells of it, or one of the `values` that the environment holds.
    """
    if isinstance(node, Table):
        for section, part in node.pairs:
            _find_in(part, section.text.casefold() == "channels", report, values)


def _find_in(node: Node, in_channels: bool, report: Reading, values: frozenset[str]) -> None:
    for key, word in _words(node, ""):
        known = any(value in word.text for value in values)
        telling = in_channels and _TELLING_KEY.search(key) and _CREDENTIAL.fullmatch(word.text)
        if known or telling or _KNOWN_FORM.search(word.text) or _USERINFO.search(word.text):
            report.refuse(
                word, "a secret is written into the folder", "keep it outside and write {env: NAME}"
            )


def _words(node: Node, key: str) -> Iterator[tuple[str, Word]]:
    if isinstance(node, Word):
        yield key, node
    elif isinstance(node, Table):
        for word, value in node.pairs:
            yield from _words(value, word.text)
    else:
        for item in node.items:
            yield from _words(item, key)


def read_secrets(environ: Mapping[str, str], folder: Path | None = None) -> Mapping[str, str]:
    """The named secrets: the lines of the secrets file, overlaid by the environment.

    Raises UnreadableError where the file lies inside `folder`, cannot be read, or has a line that is no NAME=value.
    """
    named = environ.get(SECRETS_FILE)
    held = _read_file(Path(named), folder) if named else {}
    return {**held, **environ}


def _read_file(path: Path, folder: Path | None) -> dict[str, str]:
    if folder is not None and path.resolve().is_relative_to(folder.resolve()):
        raise UnreadableError(
            f"{SECRETS_FILE} names a file inside the configuration folder", "move the file outside the folder"
        )
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UnreadableError(
            f"the file that {SECRETS_FILE} names cannot be read",
            "check that it is there, is UTF-8 text and is yours",
        ) from error
    held: dict[str, str] = {}
    for number, text in enumerate(lines, 1):
        if text.strip() and not text.lstrip().startswith("#"):
            name, mark, value = text.partition("=")
            if not mark or not re.fullmatch(r"[A-Za-z_]\w*", name.strip()):
                raise UnreadableError(
                    f"line {number} of the secrets file is no NAME=value", "write NAME=value"
                )
            held[name.strip()] = value.strip()
    return held


def secret_names(value: object) -> tuple[str, ...]:
    """The names of all secrets that stored documents speak of, in order and once each."""
    return tuple(dict.fromkeys(_names(value)))


def _names(value: object) -> Iterator[str]:
    if isinstance(value, Mapping):
        if set(value) == {"env"}:
            yield str(value["env"])
        else:
            for part in value.values():
                yield from _names(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from _names(part)


def known_values(held: Mapping[str, str], names: tuple[str, ...]) -> frozenset[str]:
    """The values behind `names` that are long enough to be told from ordinary words."""
    return frozenset(held[name] for name in names if len(held.get(name, "")) >= _SHORTEST_VALUE)
