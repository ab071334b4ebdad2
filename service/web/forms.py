"""What a form holds."""

from starlette.requests import Request


async def fields(request: Request) -> dict[str, str]:
    """The words of a form by name; files are left out, and so is the one character that no database holds."""
    form = await request.form()
    return {
        name: value.replace("\0", "\N{REPLACEMENT CHARACTER}")
        for name, value in form.items()
        if isinstance(value, str)
    }
