"""What is exported loads to the same; what differs is told; a district turned into documents builds again."""

import json
from datetime import date, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from unicodedata import normalize

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.setup import build, compare, export, load
from service.setup.build import build_person
from service.setup.build_school import build_school
from service.setup.build_student import Students, student_document
from service.setup.describe import people_and_places, person_document, school_document
from service.setup.docs import view
from service.setup.values import WEEKDAYS, write_duration, write_span, write_time, write_times
from service.setup.words import CAUSES, ROLE_WORDS

DEMO = Path(__file__).parents[2] / "config_demo"


def _line(text: str) -> bool:
    return bool(text.strip()) and text == text.strip()


ids = st.from_regex(r"[a-z0-9](?:[a-z0-9-]{0,12}[a-z0-9])?", fullmatch=True).filter(
    lambda text: text not in ROLE_WORDS and text != "district"
)
lines = (
    st.text(
        st.characters(
            blacklist_categories=["Cc", "Cs", "Zl", "Zp", "Co", "Cn"], blacklist_characters="\ufeff"
        ),
        min_size=1,
        max_size=20,
    )
    .map(lambda text: normalize("NFC", text).strip())
    .filter(_line)
)
bell_names = lines.filter(lambda t: "," not in t and not t.lower().startswith(("end of", "start of")))
dates = st.dates(date(2026, 1, 1), date(2028, 12, 31))
spans = st.tuples(dates, dates).map(lambda pair: write_span(min(pair), max(pair)))
times = st.times().map(lambda t: write_time(time(t.hour, t.minute)))
periods = st.tuples(st.integers(0, 700), st.integers(1, 700)).map(
    lambda p: write_times(time(p[0] // 60, p[0] % 60), time((p[0] + p[1]) // 60, (p[0] + p[1]) % 60))
)
limits = st.integers(5, 24 * 60).map(lambda n: write_duration(timedelta(minutes=n)))
flags = st.booleans()


def some(**keys):
    """A document with some of the keys."""
    return st.fixed_dictionaries({}, optional={key.replace("_", " "): value for key, value in keys.items()})


def whole(needed, **keys):
    """A document with all of the needed keys and some of the others."""
    return st.fixed_dictionaries(
        needed, optional={key.replace("_", " "): value for key, value in keys.items()}
    )


def one(name, value):
    """A name with a value, as an ordered list holds it."""
    return st.tuples(name, value).map(lambda pair: {pair[0]: pair[1]})


named_spans = st.lists(st.one_of(spans, one(lines, spans)), max_size=3)
choices = st.dictionaries(st.sampled_from(CAUSES), ids, max_size=3)
bells = st.lists(one(bell_names, st.one_of(times, periods)), min_size=2, max_size=5)
weekdays = st.lists(st.sampled_from(WEEKDAYS), unique=True).map(lambda days: sorted(days, key=WEEKDAYS.index))
points = st.tuples(st.sampled_from(["", "end of "]), bell_names).map("".join)
offsets = st.integers(0, 300).map(lambda n: write_duration(timedelta(minutes=n)))
whens = st.one_of(
    whole({"at": times}, variant=lines),
    whole({"before": points, "by": offsets.filter(lambda text: text != "0 min")}, variant=lines),
    whole({"after": points, "by": offsets}, variant=lines),
)
routines = whole(
    {"when": whens, "checker": ids, "kind": lines},
    second=ids,
    days=weekdays,
    cycle_days=st.lists(lines.filter(lambda t: "," not in t), min_size=1, max_size=2),
)
devices = st.sampled_from(
    ["left hearing-aid 312", "right cochlear-implant single-unit", "left bone-conduction", "remote-mic rechargeable"]
)
students = whole(
    {"alias": lines, "school": ids, "room": lines, "devices": st.lists(devices, max_size=3)},
    nicknames=st.lists(lines, min_size=1, max_size=2),
    routines=st.dictionaries(ids, routines, min_size=1, max_size=2),
    guardians=st.lists(ids, min_size=1, max_size=2),
    usual=st.lists(st.sampled_from(["all 0 of 15", "left sh 2 of 15", "s 15 of 15"]), min_size=1, max_size=3),
    usual_since=st.dates().map(date.isoformat),
    chains=choices,
)
roles = st.sampled_from(sorted({str(word) for word in ROLE_WORDS.values()}))
addresses = st.one_of(
    st.just({"env": "SOME_NAME"}),
    lines.filter(lambda t: not t.startswith("env:") and "://" not in t and "earer" not in t),
)
people = whole(
    {"name": lines},
    roles=st.lists(
        st.one_of(roles, one(roles, st.lists(ids, min_size=1, max_size=2))), min_size=1, max_size=3
    ),
    channels=st.lists(one(ids, addresses), min_size=1, max_size=2),
    hours=st.dictionaries(st.sampled_from(WEEKDAYS), periods),
    away=named_spans.filter(bool),
    deputies=st.lists(st.one_of(ids, one(ids, spans)), min_size=1, max_size=2),
    language=st.just("es-MX"),
    outside=flags,
    consent=dates.map(str),
    left_on=dates.map(str),
)
rotations = whole(
    {"labels": st.lists(lines, min_size=1, max_size=3), "start": dates.map(str)},
    restarts=st.lists(one(dates.map(str), lines), max_size=2),
    day_types=st.dictionaries(lines, lines, max_size=2),
)
schools = whole(
    {
        "name": lines,
        "zone": st.just("America/Chicago"),
        "terms": st.lists(st.one_of(spans, one(lines, spans)), min_size=1, max_size=3),
        "day types": st.dictionaries(
            lines,
            whole({"bells": bells}, variants=st.dictionaries(lines, bells, min_size=1, max_size=2)),
            max_size=2,
        ),
        "week": st.dictionaries(st.sampled_from(WEEKDAYS), lines),
    },
    groups=st.lists(ids, max_size=2),
    closures=named_spans,
    dates=st.lists(one(spans, lines), max_size=2),
    rotation=rotations,
    delayed_type=lines,
    chains=choices,
)
steps = whole(
    {"tell": st.one_of(roles, ids)},
    limit=st.one_of(limits, st.just("end of day"), whole({"until": points}, **{"else": limits})),
    channels=st.lists(ids, min_size=1, max_size=2),
    any_hour=flags,
)
chains = whole(
    {"steps": st.lists(steps, max_size=3)},
    reminders=st.integers(0, 3),
    mine_at_most=st.integers(5, 480).map(lambda n: write_duration(timedelta(minutes=n))),
    after_hours=st.sampled_from(["hold", "carry on"]),
)
templates = st.recursive(
    st.one_of(st.none(), flags, st.integers(-999, 999), st.sampled_from([0.5, -2.25]), lines,
           st.sampled_from(["", "5", "yes", "null", "{text}", "a\nb\t"])),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(lines, inner, max_size=2)),
    max_leaves=6,
)  # fmt: skip
secret = st.just({"env": "A_NAME"})
channels = st.one_of(
    whole({"kind": st.just("webhook")}, shared=flags, url=secret,
          signing_secret=st.lists(secret, max_size=2), template=templates, rate=st.just("5 per minute")),
    whole({"kind": st.just("email")}, host=st.just("mail.larkfield.example"),
          port=st.integers(1, 65535), starttls=flags, password=secret),
)  # fmt: skip
faults = some(
    label=lines,
    words=st.lists(lines, max_size=2),
    severity=st.sampled_from(["watch", "same day", "urgent", "emergency"]),
    devices=st.lists(st.sampled_from(["hearing-aid", "remote-mic"]), max_size=2),
    try_for=st.integers(0, 120).map(lambda n: write_duration(timedelta(minutes=n))),
    remedy=st.lists(lines, max_size=2),
    never=st.lists(lines, max_size=2),
)
supplies = whole(
    {
        "school": ids, "kind": st.sampled_from(["cell", "coil cover"]), "size": lines,
        "students": st.lists(ids, min_size=1, max_size=2), "counted": st.just("2026-10-01"),
        "pieces": st.lists(st.sampled_from(["3", "24 until 2027-03-01"]), min_size=1, max_size=2),
    },
    use=st.sampled_from(["ordinary", "implant"]), family=flags, on_order=st.integers(0, 10000),
    pack=st.integers(1, 1000), delivery=st.just("14 days"), draws=st.just("1.5 mA"), lasts=st.just("1 day"),
)  # fmt: skip
districts = whole(
    {"name": lines, "emergency": whole({"number": lines, "text": lines}, poison=lines, names_child=flags)},
    language=st.just("en"),
    chains=choices,
)
some_settings = some(
    gather=st.sampled_from(["0 min", "90 s", "2 min"]),
    last_again_times=st.integers(0, 20),
    settle_in=st.just("1 day"),
)


def many(documents, keys=ids):
    return st.dictionaries(keys, documents, max_size=2)


configurations = st.fixed_dictionaries(
    {
        "district": districts.map(lambda d: {"district": d}),
        "settings": some_settings.map(lambda d: {"settings": d}),
        "channels": many(channels),
        "people": many(people),
        "schools": many(schools),
        "chains": many(chains),
        "students": many(students),
        "faults": many(faults, st.sampled_from(["CABLE", "CHARGE"])),
        "supplies": many(supplies),
    }
)


@settings(max_examples=150, deadline=None)
@given(configurations)
def test_what_is_exported_loads_to_the_same_documents(documents):
    with TemporaryDirectory() as folder:
        export(documents, Path(folder) / "out")
        loaded = load(Path(folder) / "out", {})

    assert json.loads(json.dumps(loaded.documents)) == documents, [str(p) for p in loaded.errors]


json_texts = st.text(st.characters(blacklist_categories=["Cs"]), max_size=8).map(
    lambda text: normalize("NFC", text)
)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(lines, st.one_of(templates, json_texts), min_size=1, max_size=3))
def test_a_template_keeps_the_type_and_every_character_of_its_values(template):
    documents = {"channels": {"chat": {"kind": "webhook", "template": template}}}
    with TemporaryDirectory() as folder:
        export(documents, Path(folder) / "out")
        loaded = load(Path(folder) / "out", {})

    assert repr(loaded.documents["channels"]["chat"].get("template")) == repr(template)


@settings(max_examples=100, deadline=None)
@given(students, people, schools)
def test_values_turned_into_documents_build_again(student, person, school):
    one_student, one_person, one_school = (
        Students().build("s", view(student)),
        build_person("p", view(person)),
        build_school("x", view(school)),
    )

    assert Students().build("s", view(student_document(one_student))) == one_student
    assert build_person("p", view(person_document(one_person))) == one_person
    assert build_school("x", view(school_document(one_school))) == one_school


def test_two_loads_of_one_folder_are_equal():
    assert load(DEMO, {}).documents == load(DEMO, {}).documents


def test_check_apply_export_apply_again_changes_nothing(tmp_path):
    first = load(DEMO, {})
    stored = json.loads(json.dumps(first.documents))
    export(stored, tmp_path / "out")
    again = load(tmp_path / "out", {})

    assert again.problems == ()
    assert compare(stored, again.documents) == ()
    assert again.district == first.district == build(stored)
    export(again.documents, tmp_path / "twice")
    for path in sorted((tmp_path / "out").rglob("*.yaml")):
        assert (tmp_path / "twice" / path.relative_to(tmp_path / "out")).read_text() == path.read_text()


def test_every_key_of_an_export_carries_a_comment(tmp_path):
    export(load(DEMO, {}).documents, tmp_path / "out")
    text = (tmp_path / "out" / "people.yaml").read_text("utf-8")

    for key in ("name:", "roles:", "channels:", "hours:", "deputies:", "consent:"):
        assert all("  # " in line for line in text.splitlines() if line.strip().startswith(key))


def test_students_of_the_demo_turned_into_documents_are_those_that_were_loaded():
    loaded = load(DEMO, {})

    assert people_and_places(loaded.district)["students"] == loaded.documents["students"]


def test_changes_say_what_is_added_changed_and_removed(spoiled):
    old = spoiled().documents
    new = spoiled(
        ('room: "12"', 'room: "14"'),
        ("        second: r-moss\n", ""),
        ("  g-pike:", "  g-dale:"),
        ("[g-pike]", "[g-dale]"),
    ).documents

    told = {str(change): [str(field) for field in change.fields] for change in compare(old, new)}
    assert list(told) == ["people g-dale added", "people g-pike removed", "students s-110 changed"]
    assert told["students s-110 changed"] == [
        "room: 12 becomes 14",
        "guardians: g-pike becomes g-dale",
        "routines / morning / second: no longer r-moss",
    ]


def test_nothing_differs_between_equal_configurations(spoiled):
    assert compare(spoiled().documents, spoiled().documents) == ()
    assert compare({}, {}) == ()


@pytest.mark.parametrize("count", [1, 900])
def test_many_students_are_split_into_files_that_can_be_read_back(tmp_path, spoiled, count):
    documents = dict(spoiled().documents)
    student = documents["students"]["s-110"]
    documents["students"] = {f"s-{n}": {**student, "alias": f"Wren {n}"} for n in range(count)}
    export(documents, tmp_path / "out")

    loaded = load(tmp_path / "out", {})
    assert loaded.errors == ()
    assert len(loaded.documents["students"]) == count
