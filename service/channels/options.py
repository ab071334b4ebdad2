"""How a channel's settings are read: secrets are named in them rather than written.

A secret stands in the settings as the mapping `{env: NAME}`, in an address as `env:NAME`; what it
holds is fetched when the channel is built or used and is never part of a message to people.
"""

from collections.abc import Mapping

from service.channels.protocol import Secrets

_BY_NAME = "env:"


def secret_name(value: object) -> str | None:
    """The name under which a secret is held, or None when `value` is not a named secret."""
    if isinstance(value, Mapping):
        value = _BY_NAME + str(value["env"]) if set(value) == {"env"} else None
    if isinstance(value, str) and value.startswith(_BY_NAME):
        return value.removeprefix(_BY_NAME).strip() or None
    return None


def reveal(value: object, secrets: Secrets) -> str:
    """The text of a setting: itself, or the secret it names. ValueError says which name holds nothing."""
    name = secret_name(value)
    if name is None:
        return str(value).strip()
    held = secrets(name)
    if held is None or not held.strip():
        raise ValueError(f"the secret {name} is not set")
    return held.strip()


def reveal_all(value: object | None, secrets: Secrets) -> tuple[str, ...]:
    """Every secret of a setting: one, a list of them, or several in one value parted by spaces (a rotation).

    ValueError when one is written out instead of named, or when a name holds nothing.
    """
    if value is None:
        return ()
    found: list[str] = []
    for each in value if isinstance(value, list | tuple) else (value,):
        if secret_name(each) is None:
            raise ValueError("a secret is given by name, as {env: NAME}, never written out")
        found.extend(reveal(each, secrets).split())
    return tuple(found)


def words(value: object | None) -> tuple[str, ...]:
    """A setting that is one word or a list of words."""
    if value is None:
        return ()
    return tuple(str(each) for each in value) if isinstance(value, list | tuple) else (str(value),)
