"""The person's own words out of what a mail program sent: no quotes, banners, signatures or notices.

The cap comes first (2 KB, 20 lines: hostile quotations make cleverer readers hang), then one pass over the
lines. Every pattern here is anchored and free of nested repeats, so the work is linear in the text.
"""

import re

MOST_CHARACTERS = 2048
MOST_LINES = 20

_QUOTE_HEAD = re.compile(
    r"(?:on|le|el|am|em|il)\b[^\n]*(?:wrote|a écrit|ecrit|escribió|escribio|schrieb|escreveu|ha scritto)\s?:?\s*$",
    re.I,
)
_HEAD_START = re.compile(r"(?:on|le|el|am)\s[^\n]*(?:\d{4}|\d:\d\d)", re.I)
_HEAD_END = re.compile(r"[^\n]*(?:wrote|écrit|ecrit|escribió|escribio|schrieb)\s?:\s*$", re.I)
_FORWARD = re.compile(r"[-_*\s]*(?:original message|forwarded message|mensaje original|message d'origine|"
                      r"mensaje reenviado|message transféré|ursprüngliche nachricht)", re.I)
_HEADER = re.compile(r"\*?(?:from|von|de)\*?\s?:\s", re.I)
_HEADER_NEXT = re.compile(r"\*?(?:sent|date|to|subject|gesendet|datum|an|betreff|enviado|fecha|para|asunto|envoyé|"
                          r"envoye|à|objet)\*?\s?:", re.I)
_RULE = re.compile(r"[_=*]{5,}\s*$")
_CONTACT = re.compile(
    r"[^\n]*(?:\(?\d{3}\)?[ .-]\d{3,4}\b|www\.|@|\b(?:teacher|elementary|primary|school|academy|principal|"
    r"special education|grade \d|year \d|room \d|ext\.? ?\d|m\.ed|senco|audiologist|maestra|institutrice)\b)",
    re.I,
)
_POSTSCRIPT = re.compile(r"p\.?\s?s\.?\b[^\n]", re.I)
_INLINE_FOOTER = re.compile(r"\s(?:sent from my|enviado desde mi|envoyé de mon) \w+(?: \w+)?[.!]?\s*$", re.I)
_TAG = re.compile(r"\s*\[external[^\]\n]{0,40}\]\s*", re.I)
_SIGNATURE = re.compile(r"(?:--|—|__)\s*$")
_FOOTER = re.compile(
    r"(?:sent from (?:my|the|a|yahoo|outlook|mail)|sent via|sent with|get outlook|get the \w+ app|get the district app|"
    r"download the|scan the|enviado desde|envoyé de|envoye de|envoyé depuis|von meinem|gesendet mit|yahoo mail:|"
    r"typed on|please excuse|excuse (?:any )?typos|this e-?mail was sent|think before you print|"
    r"please consider the environment|book time with|follow us|unsubscribe)",
    re.I,
)
_NOTICE = re.compile(
    r"(?:confidentiality|confidential|disclaimer|notice:|this (?:e-?mail|message|communication)|privacy notice|"
    r"the information (?:contained|in this)|aviso de confidencialidad|este mensaje|este correo|avis de confidentialité|"
    r"ce message|ce courriel|legal notice|if you (?:are not|have received)|student information is protected)",
    re.I,
)
_BANNER = re.compile(
    r"\W*(?:caution|external|warning|attention|\[external|precaucion|this (?:e-?mail|message) (?:originated|came)|"
    r"you don't often get|be careful with|do not click|externo|externe)\b[^\n]*"
    r"(?:e-?mail|sender|organi[sz]ation|outside|click|link|attachment|external|remitente|correo|exp)",
    re.I,
)
_BARE_BANNER = re.compile(r"\W*(?:external(?: e-?mail| sender)?|caution)\W*$", re.I)
_AUTOMATIC = re.compile(
    r"(?:auto(?:matic)?[- ]?(?:reply|response)|out[- ]of[- ](?:the[- ])?office|"
    r"i am (?:currently )?out of (?:the )?office|"
    r"i(?:'|’| a)m (?:currently )?(?:out of|away from) (?:the|my) (?:office|desk|mail|e-?mail)|respuesta automática|"
    r"réponse automatique|fuera de la oficina|absent du bureau|absente du bureau|estoy fuera de la oficina|"
    r"this is an automat|thank you for your (?:e-?mail|message)\W+i am|"
    r"i will (?:reply|respond) (?:to your|when i return)|"
    r"i have received your (?:e-?mail|message) and will|thank you for contacting|will respond within|"
    r"(?:limited|no) access to (?:my )?e-?mail|this mailbox is not|abwesenheit)",
    re.I,
)
_DIGIT = re.compile(r"\d")
_CLOSING = re.compile(
    r"(?:kind(?:est)? regards|best regards|warm(?:est)? regards|regards|best wishes|"
    r"all the best|best|many thanks|thanks so much|"
    r"thanks|thank you|thx|ty|sincerely|yours sincerely|cheers|respectfully|warmly|saludos|un saludo|"
    r"gracias|atentamente|"
    r"cordialement|merci|bien à vous|bonne journée|take care)\s?[,.!]*\s*$",
    re.I,
)


def own_words(text: str) -> tuple[str, bool]:
    """What the person wrote themselves, and whether it went on beyond the cap.

    Empty where there is nothing of theirs, or a machine wrote it.
    """
    text = _TAG.sub("", text, count=1) if _TAG.match(text) else text
    if len(text) < _SHORT and "\n" not in text and "\r" not in text:
        own = text.strip()
        foreign = _is_automatic(own) or _NOTICE.match(own) or (" " in own and ":" not in own and _FOOTER.match(own))
        return ("" if foreign else _INLINE_FOOTER.sub("", text)), False
    lines = text[:MOST_CHARACTERS].replace("\r\n", "\n").replace("\r", "\n").split("\n")
    kept, ended = _own_lines(lines[:MOST_LINES])
    words = "\n".join(kept).strip()
    cut = not ended and (len(text) > MOST_CHARACTERS or len(lines) > MOST_LINES)
    return ("", False) if _is_automatic(words) else (words, cut)


_SHORT = 60
_AUTOMATIC_SIGNS = (
    "auto", "office", "desk", "oficina", "bureau", "access", "abwesen", "i am", "i will", "mailbox", "away from",
    "respond", "received", "contacting",
)  # fmt: skip


def _is_automatic(words: str) -> bool:
    low = words.lower()
    return any(sign in low for sign in _AUTOMATIC_SIGNS) and bool(_AUTOMATIC.search(words))


def _own_lines(lines: list[str]) -> tuple[list[str], bool]:
    kept: list[str] = []
    index = 0
    while index < len(lines):
        line = _unbolded(lines[index].strip())
        after = lines[index + 1].strip() if index + 1 < len(lines) else ""
        if _starts_tail(line, after):
            return kept, True
        if _is_quote_head(line, after):
            index += 1 if _QUOTE_HEAD.match(line) else 2
            if not any(rest.lstrip().startswith(">") for rest in lines[index:]):
                return kept, True
            continue
        if any(kept) and not kept[-1] and _is_signature(line, lines[index + 1 :]):
            return kept + _postscript(lines[index + 1 :]), True
        if _CLOSING.match(line) and any(kept) and _only_a_name_follows(lines[index + 1 :]):
            return kept + _postscript(lines[index + 1 :]), True
        if not (line.startswith((">", "|")) or _is_furniture(line)):
            kept.append(line)
        index += 1
    return kept, bool(lines) and lines[-1].lstrip().startswith(">")


def _unbolded(line: str) -> str:
    """`line` without the stars that plain text puts around bold words."""
    return line[1:-1] if line.strip("*") and line[0] == line[-1] == "*" else line


def _starts_tail(line: str, after: str) -> bool:
    """Whether nothing from `line` on is the person's: signature mark, forwarded block, footer, notice."""
    if _SIGNATURE.match(line) or _NOTICE.match(line):
        return True
    if _RULE.match(line):
        return True
    if _FORWARD.match(line):
        return True
    return bool(_HEADER.match(line) and _HEADER_NEXT.match(after))


def _is_quote_head(line: str, after: str) -> bool:
    if _QUOTE_HEAD.match(line):
        return True
    return bool(_HEAD_START.match(line) and _HEAD_END.match(after))


def _is_furniture(line: str) -> bool:
    return bool(_FOOTER.match(line) or _BANNER.match(line) or _BARE_BANNER.match(line))


def _postscript(rest: list[str]) -> list[str]:
    """What is added below the name: "P.S. Ada's cable is loose", up to a quotation or a footer."""
    added: list[str] = []
    for line in (r.strip() for r in rest):
        if added and (line.startswith(">") or _starts_tail(line, "") or _is_quote_head(line, "")):
            break
        if (added or _POSTSCRIPT.match(line)) and not _is_furniture(line):
            added.append(line)
    return added


def _is_signature(line: str, rest: list[str]) -> bool:
    """A name alone on its line after a blank one, with a post, a school or a telephone beside or below it."""
    name, bar, _ = line.partition("|")
    words = name.replace(",", " ").split()
    if not 1 < len(words) <= 5 or not all(word[0].isupper() and not _DIGIT.search(word) for word in words):
        return False
    below = next((other for other in (r.strip() for r in rest) if other), "")
    return bool(bar or _CONTACT.match(below))


def _only_a_name_follows(rest: list[str]) -> bool:
    """A closing line ends the message where the next line written looks like a name: capitals, no digits."""
    following = next((line.split() for line in (r.strip() for r in rest) if line), [])
    return len(following) <= 4 and all(word[0].isupper() and not _DIGIT.search(word) for word in following)
