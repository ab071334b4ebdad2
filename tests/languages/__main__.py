"""Brings catalogues up to date with the texts: `python -m tests.languages es fr`."""

import sys

from babel.messages.pofile import read_po, write_po

from tests.languages.languages_texts import SERVICE, texts

for language in sys.argv[1:]:
    path = SERVICE / "languages" / f"{language}.po"
    wanted = texts()
    if path.exists():
        with path.open("rb") as file:
            held = read_po(file, locale=language)
        held.update(wanted, no_fuzzy_matching=True, update_creation_date=False)
        held.obsolete.clear()
    else:
        held = wanted
        held.locale = language
    for one in held:
        one.locations.sort()
    with path.open("wb") as file:
        write_po(file, held, width=110, omit_header=False, sort_by_file=True)
    empty = sum(1 for one in held if one.id and not one.string)
    print(f"{path}: {len(held)} texts, {empty} without words")
