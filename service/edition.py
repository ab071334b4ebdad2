"""Which edition of the program this is."""

from importlib.metadata import PackageNotFoundError, version


def edition() -> str:
    """The version that is installed, or that it is a checkout."""
    try:
        return version("bellcheck")
    except PackageNotFoundError:
        return "from a checkout"
