"""Every section and key of the configuration folder, with the comment that stands beside it.

One table serves reading, checking, comparing and writing back; the order of keys is the order of the export.
"""

from datetime import timedelta

from service.core.supplies.items import Kind as Supply
from service.core.supplies.items import Use
from service.setup import phrases, words
from service.setup.kinds import Key, Keyed, Kind, Many, Named, Record, Text, choice
from service.setup.secrets import SecretKind
from service.setup.template import TemplateKind
from service.setup.weekdays import ByWeekday, WeekdayList

_MINUTE = timedelta(minutes=1)
_HOUR = timedelta(hours=1)
_ZERO = timedelta()
_LINE = Text(words.line)
_FLAG = Text(words.flag)
_ID = Text(words.ident)
_SPANS = Named(words.line, Text(words.span), alone=words.span)
_BELLS = Named(words.bell_name, Text(words.bell_times))
_DAYS_BELLS = Named(words.bell_name, Text(words.bell_times), least=2)
_TERMS = Named(words.line, Text(words.span), alone=words.span, least=1)
_DAYS = WeekdayList()


def _wait(low: timedelta, high: timedelta, why: str = "") -> Kind:
    return Text(words.duration(low, high, why))


CHAINS = Record(
    (
        Key("silence", _ID, "the chain when nobody answers"),
        Key("watch", _ID, "the chain for small things to keep an eye on; none: the weekly summary"),
        Key("same day", _ID, "the chain for faults to be mended the same day"),
        Key("urgent", _ID, "the chain when a child hears nothing or is hurt"),
        Key("emergency", _ID, "the chain for emergencies, such as a swallowed battery"),
    )
)

HEARTBEAT = Record(
    (
        Key("url", SecretKind(words.web_address), "the monitor's address; secret: by name", needed=True),
        Key("every", _wait(_MINUTE / 2, _HOUR), "how often it is told", needed=True),
        Key("signing secret", Many(SecretKind(), split=False), "the names of the secrets that sign what it is told"),
        Key("allow", Many(_LINE), "exceptions to the safety rules of addresses, by host name"),
    )
)

DISTRICT = Record(
    (
        Key("name", _LINE, "the district's name, as staff know it", needed=True),
        Key("language", Text(words.language), "the language of messages, as en"),
        Key(
            "emergency",
            Record(
                (
                    Key("number", _LINE, "the number to dial in an emergency, in quotes", needed=True),
                    Key(
                        "text",
                        _LINE,
                        "how to reach emergency help by text, for adults who cannot phone",
                        needed=True,
                    ),
                    Key("poison", _LINE, "the number of the poison line"),
                    Key(
                        "names child",
                        _FLAG,
                        "yes: an emergency may name the child to nurse, office and guardian",
                    ),
                )
            ),
            "what an adult dials and writes to in an emergency",
            needed=True,
        ),
        Key(
            "chains",
            CHAINS,
            "which chain of people serves which cause, unless a school or student says otherwise",
        ),
        Key("heartbeat", HEARTBEAT, "a monitor elsewhere that is told at even intervals how the service does"),
    )
)

_TWO_MINUTES = "a contact must be told within 4 minutes: 2 to gather and 2 to deliver"
SETTINGS = Record(
    (
        Key(
            "gather",
            _wait(_ZERO, 2 * _MINUTE, _TWO_MINUTES),
            "messages to one person within this time go as one",
        ),
        Key(
            "news wait",
            _wait(_ZERO, 24 * _HOUR),
            "how long good news may wait to be sent with other messages",
        ),
        Key(
            "accept within",
            _wait(_MINUTE / 12, 2 * _MINUTE, _TWO_MINUTES),
            "when no channel takes a message for this long, the next contact is told as well",
        ),
        Key("undo within", _wait(_ZERO, _HOUR), "how long a reply can be taken back by undo"),
        Key(
            "until at least",
            _wait(_ZERO, 2 * _HOUR),
            "if the bell of a limit comes sooner, its else limit holds",
        ),
        Key(
            "overnight lead",
            _wait(_ZERO, 4 * _HOUR),
            "open faults go on this long before the next first bell",
        ),
        Key("last again", _wait(5 * _MINUTE, 24 * _HOUR), "how often the last contact is told again"),
        Key(
            "last again times",
            Text(words.number(0, 20)),
            "how many times the last contact is told again at most",
        ),
        Key("emergency again", _wait(_MINUTE, _HOUR), "how often an unanswered emergency is told again"),
        Key(
            "emergency rest",
            _wait(_ZERO, 8 * _HOUR),
            "after an emergency its reporter is asked nothing for this long",
        ),
        Key(
            "bus window",
            _wait(_ZERO, 4 * _HOUR),
            "a fault this short before the last bell is told to the guardian first",
        ),
        Key(
            "restart grace",
            _wait(_ZERO, 10 * _MINUTE),
            "after an outage we wait this long for replies under way",
        ),
        Key("try for", _wait(_ZERO, 2 * _HOUR), "time to try the first remedy before others are told"),
        Key("try for urgent", _wait(_ZERO, _HOUR), "the same for urgent faults"),
        Key(
            "settle in",
            Text(words.days),
            "so many first school days silence goes to the coordinator as one list",
        ),
        Key(
            "confirm before",
            _wait(_ZERO, 30 * 24 * _HOUR),
            "so long before a term each checker is asked to confirm whom they check, where and with what",
        ),
        Key("keep for", Text(words.years), "what is older than this may be forgotten (`bellcheck forget`)"),
    )
)

INCOMING = Record(
    (
        Key("from", _LINE, "where in the incoming JSON the sender's address stands, as /from"),
        Key("text", _LINE, "where the words stand, as /text"),
        Key("in reply to", _LINE, "where the id of the message that is answered stands"),
        Key("at", _LINE, "where the time of writing stands"),
        Key(
            "signing secret",
            Many(SecretKind(), split=False),
            "the names of the secrets that sign what comes in",
        ),
        Key(
            "token",
            SecretKind(),
            "a token in the address instead of a signature, by name: it can only raise alarms",
        ),
    )
)

MAILBOX = Record(
    (
        Key("host", SecretKind(words.host), "the mailbox server's name, as imap.school.example", needed=True),
        Key("port", SecretKind(words.number(1, 65535)), "its port, mostly 993"),
        Key("tls", _FLAG, "yes unless the server is on this machine"),
        Key("user", SecretKind(words.line), "the name to sign in with"),
        Key("password", SecretKind(), "the password's name in the environment"),
        Key("folder", _LINE, "the folder that answers lie in; left out: INBOX"),
    )
)

CHANNEL = Record(
    (
        Key(
            "kind",
            Text(choice({"webhook": "webhook", "email": "email"}, "kind of channel")),
            "webhook or email",
            needed=True,
        ),
        Key("shared", _FLAG, "yes: many people read it, so it gets the link only; no: one person reads it"),
        Key(
            "url",
            SecretKind(words.web_address),
            "webhook: the address, {address} in it is the person's; secret: by name",
        ),
        Key(
            "signing secret",
            Many(SecretKind(), split=False),
            "webhook: the names of the secrets that sign messages",
        ),
        Key(
            "template",
            TemplateKind(),
            "webhook: the JSON to send, with {text}, {link} and the like in quotes",
        ),
        Key("in", INCOMING, "webhook: where to find things in what comes in; email: the token of the door for mail"),
        Key("rate", Text(words.rate), "the most messages to send, as 10 per minute"),
        Key("rate each", Text(words.rate), "the most messages to send to one address, as 1 per second"),
        Key("host", SecretKind(words.host), "email: the mail server's name"),
        Key("port", SecretKind(words.number(1, 65535)), "email: the mail server's port, mostly 587"),
        Key("starttls", _FLAG, "email: yes unless the server is on this machine"),
        Key("user", SecretKind(words.line), "email: the name to sign in with"),
        Key("password", SecretKind(), "email: the password's name in the environment"),
        Key("from", Text(words.sender), "email: the address that messages come from"),
        Key("reply domain", Text(words.host), "email: the domain that replies go to"),
        Key("answers", _FLAG, "email: yes: answers by mail are taken in; no: people answer by the link"),
        Key("mailbox", MAILBOX, "email: the mailbox that answers are fetched from, unless they are handed in"),
        Key(
            "own server",
            Text(words.host),
            "email: the name our mail server signs its findings with; whom it vouches for counts as certain",
        ),
        Key("allow", Many(_LINE), "exceptions to the safety rules of addresses, by host name"),
    )
)

PERSON = Record(
    (
        Key("name", _LINE, "the name staff know", needed=True),
        Key(
            "roles",
            Named(words.role, Many(_ID), alone=words.role),
            "what they are, and at which schools; no school: all",
        ),
        Key(
            "channels",
            Named(words.ident, SecretKind(words.line)),
            "how to reach them, best way first: channel and address",
        ),
        Key("hours", ByWeekday(Text(words.hours)), "their working hours; left out: at any hour"),
        Key("away", _SPANS, "dates when they are away"),
        Key(
            "deputies",
            Named(words.ident, Text(words.span), alone=words.ident),
            "who stands in when they are away, or on which dates",
        ),
        Key("language", Text(words.language), "the language they read, as en"),
        Key("outside", _FLAG, "yes: they do not work for the district (guardian, clinic)"),
        Key("consent", Text(words.day), "the date on which an outside contact agreed to get messages"),
        Key("left on", Text(words.day), "the date they left the district"),
    )
)

DAY_TYPE = Record(
    (
        Key("bells", _DAYS_BELLS, "the bells in order, first to last: a time, or start - end", needed=True),
        Key(
            "variants", Keyed(words.line, _BELLS), "other bells of the same day, by lunch, grade or building"
        ),
    )
)

ROTATION = Record(
    (
        Key(
            "labels",
            Many(Text(words.line)),
            "the labels in order; they advance on school days only",
            needed=True,
        ),
        Key("start", Text(words.day), "the school day that has the first label", needed=True),
        Key(
            "restarts",
            Named(words.day, Text(words.line)),
            "dates on which the rotation begins again with a label",
        ),
        Key(
            "day types", Keyed(words.line, Text(words.line)), "labels whose days have a day type of their own"
        ),
    )
)

SCHOOL = Record(
    (
        Key("name", _LINE, "the school's name", needed=True),
        Key("zone", Text(words.line), "its time zone by city, as America/Chicago", needed=True),
        Key("groups", Many(_ID), "names under which a notice can address several schools"),
        Key("terms", _TERMS, "first and last day of each term", needed=True),
        Key("closures", _SPANS, "dates in a term without school"),
        Key("day types", Keyed(words.line, DAY_TYPE), "the kinds of day, each with its bells", needed=True),
        Key("week", ByWeekday(Text(words.line)), "the day type of each weekday with school", needed=True),
        Key("dates", Named(words.span, Text(words.line)), "dates that have another day type"),
        Key("rotation", ROTATION, "days that take turns, as A and B"),
        Key(
            "delayed type",
            Text(words.line),
            "the day type on a morning that begins late; left out: bells shift",
        ),
        Key("chains", CHAINS, "this school's own chains, where they differ"),
    )
)

ROUTINE = Record(
    (
        Key(
            "when",
            phrases.WhenKind(),
            "when the check is due: a time, or so long before or after a bell",
            needed=True,
        ),
        Key("checker", _ID, "who does the check", needed=True),
        Key("second", _ID, "who is asked when the checker does not answer"),
        Key("days", _DAYS, "only on these weekdays; left out: every school day"),
        Key("cycle days", Many(Text(words.line)), "only on these days of the rotation"),
        Key("kind", _LINE, "the kind of check: daily, full, midday or sport", otherwise="daily"),
    ),
    rewrite=phrases.Gather(("at", "before", "after", "by", "variant"), "when"),
)

STUDENT = Record(
    (
        Key("alias", _LINE, "what the room calls the child; never a legal name", needed=True),
        Key("nicknames", Many(_LINE), "other names that adults may type"),
        Key("school", _ID, "the school's id", needed=True),
        Key("room", _LINE, "the room", needed=True),
        Key(
            "devices",
            Many(Text(words.device)),
            "each device: side, kind, form and cell where known (left hearing-aid 312); a microphone has no side",
            needed=True,
        ),
        Key("routines", Keyed(words.ident, ROUTINE), "when the child's devices are checked, and by whom"),
        Key("guardians", Many(_ID), "the child's guardians, by their ids"),
        Key(
            "usual",
            Many(Text(words.usual)),
            "what the child usually answers, as the audiologist says: all heard, s never, left sh 2 of 15",
        ),
        Key("usual since", Text(words.day), "from which day that holds; renew it once a change has been looked at"),
        Key(
            "lights",
            Many(_LINE, split=False),
            "for the printed card, as the audiologist says it: status lights, program and volume, line by line",
        ),
        Key("family first", Many(_LINE, split=False), "what the family wants done at school first; ask them"),
        Key("chains", CHAINS, "this child's own chains, where they differ"),
    )
)

STEP = Record(
    (
        Key(
            "tell",
            Text(words.contact),
            "checker, second, a role as front office, or a person's id",
            needed=True,
        ),
        Key(
            "limit",
            phrases.LimitKind(),
            "the time they have until the next is told; left out: until the day ends",
        ),
        Key("channels", Many(_ID), "only by these channels"),
        Key("any hour", _FLAG, "yes: also outside their working hours"),
    ),
    rewrite=phrases.Gather(("until", "else"), "limit"),
)

CHAIN = Record(
    (
        Key("steps", Many(STEP), "who is told, in order", needed=True),
        Key("reminders", Text(words.number(0, 3)), "how many reminders the checker gets within the limit"),
        Key("mine at most", _wait(5 * _MINUTE, 8 * _HOUR), "how long somebody may take a fault in hand"),
        Key(
            "after hours",
            Text(choice({"hold": "hold", "carry on": "carry on"}, "way to go on after hours")),
            "hold: wait for the next school morning; carry on: go on after the last bell",
        ),
    )
)

FAULT = Record(
    (
        Key("label", _LINE, "what the fault is, in a few words"),
        Key("words", Many(_LINE), "what adults type when they mean it"),
        Key("severity", Text(words.severity), "watch, same day, urgent or emergency"),
        Key("devices", Many(Text(words.device_kind)), "the kinds of device that can have it"),
        Key(
            "try for",
            _wait(_ZERO, 2 * _HOUR),
            "time to try the remedy before others are told; 0 min: at once",
        ),
        Key("remedy", Many(_LINE, split=False), "what to try first, step by step"),
        Key("never", Many(_LINE, split=False), "what staff must not do"),
    )
)

SUPPLY = Record(
    (
        Key("school", _ID, "the school where it lies", needed=True),
        Key("kind", Text(choice({k.value: k.value for k in Supply}, "kind of supply")), "cell, cable, …", needed=True),
        Key("size", _LINE, "10, 13, 312 or 675 for a cell; the type of anything else", needed=True),
        Key("where", _LINE, "where it lies, as the printed card says it: top drawer of the desk in Room 12"),
        Key("use", Text(choice({u.value: u.value for u in Use}, "use")), "of a cell: ordinary, or implant"),
        Key("students", Many(_ID), "the students who use it", needed=True),
        Key("family", _FLAG, "yes: a family's own, for the one child named"),
        Key("counted", Text(words.day), "the day it was counted, in the morning", needed=True),
        Key("pieces", Many(Text(words.pieces)), "how many there were, and until when they are good", needed=True),
        Key("on order", Text(words.number(0, 10000)), "how many are on their way"),
        Key("pack", Text(words.number(1, 1000)), "how many come in one"),
        Key("delivery", Text(words.days), "how long a delivery takes, in days of the calendar"),
        Key("draws", Text(words.current), "what the device draws, as 1.5 mA: from it how long a cell lasts"),
        Key("lasts", Text(words.days), "how long one lasts, until the record says"),
        Key("service level", Text(words.number(50, 99)), "of 100 deliveries, how many find some still there [95]"),
        Key("keepers", Many(_ID), "who counts it and is told when it is low; else the school's coordinators"),
    )
)

SINGLE = {"district": DISTRICT, "settings": SETTINGS}
"""Sections with one document, whose id is the section's name."""

SECTIONS: dict[str, Kind] = {
    "district": DISTRICT,
    "settings": SETTINGS,
    "channels": Keyed(words.ident, CHANNEL),
    "people": Keyed(words.person_id, PERSON),
    "schools": Keyed(words.ident, SCHOOL),
    "chains": Keyed(words.ident, CHAIN),
    "students": Keyed(words.ident, STUDENT),
    "faults": Keyed(words.fault_code, FAULT),
    "supplies": Keyed(words.ident, SUPPLY),
}

SECTION_NOTES = {
    "district": "the district as a whole",
    "settings": "times that hold for every school",
    "channels": "the ways messages go out and come in",
    "people": "the adults, each under a short id",
    "schools": "the schools, each under a short id",
    "chains": "who is told in which order, each chain under a short id",
    "students": "the children, each under a short id that is no name",
    "faults": "our own fault codes, or our own words for the codes that come with the service",
    "supplies": "spares on the shelf, each shelf under a short id",
}
