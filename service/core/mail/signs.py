"""How mail programs mark what a person did not write, as patterns over one line.

Every pattern is anchored at its start and free of nested repeats, and is only ever given a line's first
`LONGEST` characters, so the work is linear in the text. The labels and phrases are those of the samples in
`tests/published`, of RFC 3676 (signature mark) and common practice, in English, Spanish, French, German,
Portuguese, Italian, Dutch, Danish, Swedish, Norwegian, Polish and Russian.
"""

import re

LONGEST = 400
"""Characters of a line that are looked at."""

_WROTE = (
    r"wrote|écrit|ecrit|escribió|escribio|schrieb|escreveu|ha scritto|schreef|skrev|napisał\(?a?\)?|"
    r"kirjoitti|написал\(?а?\)?|пише|пишет"
)
WROTE = re.compile(rf"\b(?:{_WROTE})", re.I)
QUOTE_HEAD = re.compile(r"(?:on|le|el|am|em|il|op|den|d\.|dnia)\b", re.I)
HEAD_START = re.compile(r"(?:on|le|el|am|em|il|op|den|dnia)\s[^\n]*(?:\d{4}|\d:\d\d)", re.I)
HEAD_ENDS = (":", "：")

FORWARD = re.compile(
    r"[-_*\s]*(?:original message|forwarded message|begin forwarded message|mensaje original|message d'origine|"
    r"mensaje reenviado|message transféré|ursprüngliche nachricht|weitergeleitete nachricht|"
    r"oprindelig meddelelse|ursprungligt meddelande|oorspronkelijk bericht|messaggio originale|"
    r"mensagem original|wiadomość oryginalna)",
    re.I,
)
_FROM = r"from|von|de|da|fra|från|fran|van|od|от|差出人|发件人"
_OTHER = (
    r"sent|date|to|cc|subject|gesendet|datum|an|betreff|enviado|enviado el|fecha|para|asunto|envoyé|envoye|à|objet|"
    r"sendt|til|emne|skickat|till|ämne|amne|inviato|data|oggetto|verzonden|aan|onderwerp|wysłano|do|temat|"
    r"отправлено|дата|кому|тема|送信日時|宛先|件名"
)
HEADER = re.compile(rf"\*?(?:{_FROM})\*?\s?[:：]\*?\s", re.I)
HEADER_NEXT = re.compile(rf"\*?(?:{_OTHER})\*?\s?[:：]", re.I)
HEADER_DATE = re.compile(r"\*?(?:date|datum|fecha|dato)\*?\s?:\s[^\n]*\d", re.I)
HEADER_ANY = re.compile(rf"\*?(?:{_FROM}|{_OTHER})\*?\s?[:：]", re.I)

RULE = re.compile(r"[_=*]{5,}\s*$")
SIGNATURE = re.compile(r"(?:--|—|__)\s*$")
CONTACT = re.compile(
    r"[^\n]*(?:\(?\d{3}\)?[ .-]\d{3,4}\b|www\.|@|\b(?:teacher|elementary|primary|school|academy|principal|"
    r"special education|grade \d|year \d|room \d|ext\.? ?\d|m\.ed|senco|audiologist|maestra|institutrice)\b)",
    re.I,
)
POSTSCRIPT = re.compile(r"p\.?\s?s\.?\b[^\n]", re.I)
INLINE_FOOTER = re.compile(r"\s(?:sent from my|enviado desde mi|envoyé de mon) \w+(?: \w+)?[.!]?\s*$", re.I)
TAG = re.compile(r"\s*\[external[^\]\n]{0,40}\]\s*", re.I)
FOOTER = re.compile(
    r"(?:sent from (?:the|a|yahoo|outlook|mail)|sent via|sent with|get outlook|get the \w+ app|get the district app|"
    r"download the|scan the|enviado desde|envoyé de|envoye de|envoyé depuis|von meinem|gesendet mit|sendt fra|"
    r"skickat från|verzonden vanaf|inviato da|yahoo mail:|"
    r"typed on|please excuse|excuse (?:any )?typos|this e-?mail was sent|think before you print|"
    r"please consider the environment|book time with|follow us|unsubscribe)",
    re.I,
)
SENT_FROM_MY = re.compile(r"sent from my (?P<what>[^\n]*)", re.I)
EXCUSE = re.compile(r"[^\n]*\b(?:excuse|typos?|brevity|apologies|forgive|autocorrect)\b", re.I)
NOTICE = re.compile(
    r"(?:confidentiality|confidential|disclaimer|notice:|this (?:e-?mail|message|communication)|privacy notice|"
    r"the information (?:contained|in this)|aviso de confidencialidad|este mensaje|este correo|avis de confidentialité|"
    r"ce message|ce courriel|legal notice|if you (?:are not|have received)|student information is protected)",
    re.I,
)
BANNER = re.compile(
    r"\W*(?:caution|external|warning|attention|\[external|precaucion|this (?:e-?mail|message) (?:originated|came)|"
    r"you don't often get|be careful with|do not click|externo|externe)\b[^\n]*"
    r"(?:e-?mail|sender|organi[sz]ation|outside|click|link|attachment|external|remitente|correo|exp)",
    re.I,
)
BARE_BANNER = re.compile(r"\W*(?:external(?: e-?mail| sender)?|caution)\W*$", re.I)
BANNER_GOES_ON = re.compile(
    r"[^\n]*\b(?:click(?:ing)?|links?|attachments?|sender|recogni[sz]e|content is safe|organi[sz]ation|remitente|"
    r"enlaces|adjuntos|expéditeur|liens|pièces jointes)\b",
    re.I,
)
AUTOMATIC = re.compile(
    r"(?:auto(?:matic)?[- ]?(?:reply|response)|out[- ]of[- ](?:the[- ])?office|"
    r"i am (?:currently )?out of (?:the )?office|"
    r"i(?:'|’| a)m (?:currently )?on (?:\w+ )?leave\b|message automatique|respuesta autom|"
    r"i(?:'|’| a)m (?:currently )?(?:out of|away from) (?:the|my) (?:office|desk|mail|e-?mail)|respuesta automática|"
    r"réponse automatique|fuera de la oficina|absent du bureau|absente du bureau|estoy fuera de la oficina|"
    r"this is an automat|thank you for your (?:e-?mail|message)\W+i am|"
    r"i will (?:reply|respond) (?:to your|when i return)|"
    r"i have received your (?:e-?mail|message) and will|thank you for contacting|will respond within|"
    r"(?:limited|no) access to (?:my )?e-?mail|this mailbox is not|abwesenheit)",
    re.I,
)
CLOSING = re.compile(
    r"(?:kind(?:est)? regards|best regards|warm(?:est)? regards|regards|best wishes|"
    r"all the best|best|many thanks|thanks so much|"
    r"thanks|thank you|thx|ty|sincerely|yours sincerely|cheers|respectfully|warmly|saludos|un saludo|"
    r"gracias|atentamente|cordialement|merci|bien à vous|bonne journée|take care|"
    r"(?:med )?(?:venlig(?:e)? |vänlig(?:a)? )?(?:hilsen|hilsner|hälsning(?:ar)?)|mvh|"
    r"(?:mit )?(?:freundlichen|besten|liebe|viele) grüße[n]?|met vriendelijke groet(?:en)?|groetjes|pozdrawiam|"
    r"cordiali saluti|atenciosamente)\s?[,.!]*\s*$",
    re.I,
)
