"""The folder is YAML 1.2: words stay words, times stay times, and what could do harm is refused."""

import time as stopwatch
from datetime import date, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.setup import load


def test_no_stays_a_word_and_a_time_stays_a_time(spoiled):
    loaded = spoiled(
        ("alias: Wren", "alias: Noor"),
        ('room: "12"', "room: no"),
        ("{before: Period 1, by: 10 min}", "{at: 08:05}"),
    )

    student = loaded.district.students["s-110"]
    assert student.room == "no"
    assert student.routines[0].when.at == time(8, 5)


def test_a_file_that_claims_yaml_1_1_is_read_the_same(write, good):
    text = "%YAML 1.1\n---\n" + good.replace('room: "12"', "room: no")

    assert load(write({"all.yaml": text}), {}).district.students["s-110"].room == "no"


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("90 s", timedelta(seconds=90)),
        ("20 min", timedelta(minutes=20)),
        ("0 min", timedelta()),
        ("1 h", timedelta(hours=1)),
        ("1 h 30 min", timedelta(minutes=90)),
    ],
)
def test_lengths_of_time_are_written_with_their_unit(spoiled, written, meant):
    loaded = spoiled(("channels:\n  mail", f"settings: {{try for: {written}}}\nchannels:\n  mail"))

    assert loaded.district.settings.try_for == meant


@pytest.mark.parametrize("written", ["20", "20m", "min", "-5 min", "1.5 h", "20 min 30 s", "1e3 min"])
def test_a_length_without_its_unit_is_refused(spoiled, written):
    loaded = spoiled(("channels:\n  mail", f"settings: {{try for: {written}}}\nchannels:\n  mail"))

    assert "is no length of time; write it as 20 min, 2 h or 90 s" in str(loaded.errors[0])


@pytest.mark.parametrize(
    "written",
    [
        "when: {before: Period 1, by: 10 min}",
        "when: {before: Period 1, 10 min}",
        "when: before Period 1, 10 min",
        "when: 10 min before Period 1",
        "before: Period 1, 10 min",
        "before: Period 1\n        by: 10 min",
        "when:\n          before: Period 1, 10 min",
    ],
)
def test_a_bell_and_an_offset_can_be_written_in_many_ways(spoiled, written):
    loaded = spoiled(("when: {before: Period 1, by: 10 min}", written))

    when = loaded.district.students["s-110"].routines[0].when
    assert (when.bell, when.edge, when.offset) == ("Period 1", "start", timedelta(minutes=-10))
    assert loaded.documents["students"]["s-110"]["routines"]["morning"]["when"] == {
        "before": "Period 1",
        "by": "10 min",
    }


@pytest.mark.parametrize(
    ("written", "bell", "edge", "offset"),
    [
        ("after: end of Period 1, 5 min", "Period 1", "end", 5),
        ("when: 5 min after Period 1", "Period 1", "start", 5),
        ("at: Period 1", "Period 1", "start", 0),
        ("before: end of Period 1, 5 min", "Period 1", "end", -5),
    ],
)
def test_a_bell_has_a_start_and_an_end(spoiled, written, bell, edge, offset):
    when = (
        spoiled(("when: {before: Period 1, by: 10 min}", written))
        .district.students["s-110"]
        .routines[0]
        .when
    )

    assert (when.bell, when.edge, when.offset) == (bell, edge, timedelta(minutes=offset))


@pytest.mark.parametrize(
    "written",
    [
        "limit: {until: end of Period 1, else: 12 min}",
        "limit: {until: end of Period 1, else 12 min}",
        "until: end of Period 1, else: 12 min",
        "until: end of Period 1, else 12 min",
    ],
)
def test_a_limit_until_a_bell_can_be_written_in_many_ways(spoiled, written):
    limit = spoiled(("limit: 20 min", written)).district.chains["fault"].steps[0].limit

    assert (limit.bell, limit.edge, limit.otherwise) == ("Period 1", "end", timedelta(minutes=12))


@pytest.mark.parametrize(
    "written", ["until: end of Period 1, else 12 min", "limit: until end of Period 1, else 12 min"]
)
def test_a_limit_until_a_bell_on_a_line_of_its_own(spoiled, written):
    loaded = spoiled(("- {tell: c-reed, limit: 20 min}", f"- tell: c-reed\n        {written}"))

    assert loaded.district.chains["fault"].steps[0].limit.otherwise == timedelta(minutes=12)


def test_a_limit_may_last_until_the_end_of_the_day(spoiled):
    limit = spoiled(("limit: 20 min", "limit: end of day")).district.chains["fault"].steps[0].limit

    assert (limit.span, limit.bell) == (None, None)


def test_keys_and_ids_may_be_written_twice_only_once(spoiled):
    loaded = spoiled(("    alias: Wren", "    alias: Wren\n    alias: Kite"))

    assert "'alias' is written twice, first in line 60; keep one of the two" in str(loaded.errors[0])


def test_an_id_in_two_files_is_told_with_both_places(write, good):
    again = "chains:\n  silence:\n    steps: [{tell: checker}]\n"
    loaded = load(write({"a.yaml": good, "b.yaml": again}), {})

    assert "b.yaml:2: silence stands twice under chains, first in a.yaml:" in str(loaded.errors[0])


def test_any_file_may_hold_any_section(write, good):
    parts = dict(zip("abcdefgh", _sections(good), strict=False))
    split = load(write({f"deep/{name}.yaml": text for name, text in parts.items()}), {})

    assert split.problems == ()
    assert split.district.name == "Larkfield"


def _sections(text: str) -> list[str]:
    parts: list[str] = []
    for line in text.splitlines(keepends=True):
        if line[0].isalpha():
            parts.append("")
        parts[-1] += line
    return parts


REFUSED = [
    ("an anchor", "a: &x [1]\nb: *x\n", 1, "anchors (&name, *name) are not read here"),
    ("anchors that explode", "a: &a [x,x]\nb: &b [*a,*a]\nc: &c [*b,*b]\n", 1, "anchors"),
    ("a tag", "district: !!python/object:os.system {}\n", 1, "the tag tag:yaml.org,2002:python"),
    ("a local tag", "district: !thing {}\n", 1, "the tag !thing is not read here"),
    ("a second document", "district: {}\n---\nschools: {}\n", 2, "a second document begins here"),
    ("a tab", "district:\n\tname: x\n", 2, "a tab stands where only spaces may"),
    ("an open bracket", "district: [\n", None, "is opened and never closed"),
    ("an open quote", "district: 'x\n", None, "is opened and never closed"),
    ("a colon too many", "district: a: b\n", 1, "put a value that holds a colon in quotes"),
    ("an at sign", "district: @x\n", 1, "a value cannot begin with @"),
    ("a list as a key", "? [a]\n: b\n", 1, "a list or mapping stands where a key belongs"),
    ("a bell character", "district: \x07\n", 1, "holds a character that no text has"),
    ("half a character", 'district: {name: "\\ud800"}\n', 1, "holds half a character"),
    ("deep nesting", "a: " + "[" * 100_000 + "\n", 1, "is nested too deeply"),
    ("a list instead of sections", "- a\n", 1, "the file holds no sections"),
    ("a word instead of sections", "hello\n", 1, "the file holds no sections"),
    ("a section that is a word", "schools: none\n", 1, "has no names in it"),
]


@pytest.mark.parametrize(
    ("text", "line", "said"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED]
)
def test_what_a_configuration_never_needs_is_refused_with_its_line(write, text, line, said):
    began = stopwatch.monotonic()
    loaded = load(write({"x.yaml": text}), {})

    found = [p for p in loaded.errors if said in p.wrong or said in p.right]
    assert found, [str(p) for p in loaded.problems]
    assert line is None or found[0].line == line
    assert stopwatch.monotonic() - began < 5


def test_a_file_that_is_not_utf8_is_told_with_the_line(write):
    loaded = load(write({"x.yaml": b"district:\n  name: caf\xe9\n"}), {})

    assert "x.yaml:2: is not UTF-8 text (byte 21); save the file again" in str(loaded.errors[0])


def test_a_byte_order_mark_and_windows_line_ends_are_read(write, good):
    raw = b"\xef\xbb\xbf" + good.replace("\n", "\r\n").encode()

    assert load(write({"x.yaml": raw}), {}).problems == ()


def test_one_value_of_half_a_megabyte_is_refused_quickly_and_told_shortly(write):
    began = stopwatch.monotonic()
    loaded = load(write({"x.yaml": "x" * 500_000 + ": 1\n", "y.yaml": "people: " + "y" * 500_000 + "\n"}), {})

    assert any("one value has 500000 characters" in p.wrong for p in loaded.errors)
    assert all(len(str(p)) < 1000 for p in loaded.errors)
    assert stopwatch.monotonic() - began < 5


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_a_damaged_file_gives_a_district_or_errors_and_never_a_crash(good, data):
    text = good
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        gone = data.draw(st.integers(0, 25))
        text = (
            text[:start]
            + data.draw(st.text("aA1 :-,{}[]\"'#\n&*!|>\t@.é", max_size=4))
            + text[start + gone :]
        )
    with TemporaryDirectory() as folder:
        Path(folder, "x.yaml").write_text(text, encoding="utf-8")
        loaded = load(Path(folder), {})

    assert (loaded.district is None) == bool(loaded.errors)


def test_a_file_of_ten_megabytes_is_refused_unread(write):
    began = stopwatch.monotonic()
    loaded = load(write({"x.yaml": b"a: b\n" * 2_000_000}), {})

    assert "x.yaml:1: is larger than 1 MB; split it" in str(loaded.errors[0])
    assert stopwatch.monotonic() - began < 2


def test_an_empty_file_and_a_file_of_comments_say_nothing(write, good):
    assert load(write({"a.yaml": good, "b.yaml": "", "c.yaml": "# later\n"}), {}).problems == ()


def test_other_files_of_the_folder_are_passed_over(write, good):
    assert (
        load(write({"a.yaml": good, "notes.txt": "{", ".hidden.yaml": "{", ".git/x.yaml": "{"}), {}).problems
        == ()
    )


def test_a_folder_that_is_missing_empty_or_a_file_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "empty").mkdir()

    assert "there is no such folder" in str(load(tmp_path / "none", {}).errors[0])
    assert "is no folder" in str(load(tmp_path / "file", {}).errors[0])
    assert "holds no .yaml file" in str(load(tmp_path / "empty", {}).errors[0])
    assert load(tmp_path / "none", {}).district is None


def test_a_file_that_cannot_be_opened_is_told(write, good):
    folder = write({"a.yaml": good})
    (folder / "b.yaml").symlink_to(folder / "gone.yaml")

    assert "b.yaml:1: cannot be opened" in str(load(folder, {}).errors[0])


def test_accents_typed_in_two_ways_are_one_name(spoiled):
    loaded = spoiled(
        ("Period 1: 08:15", "P\u00e9riode: 08:15"),
        ("Period 1: 10:15", "Pe\u0301riode: 10:15"),
        ("before: Period 1,", "before: Pe\u0301riode,"),
    )

    assert loaded.errors == ()


def test_dates_and_ranges_hold_both_ends(spoiled):
    closure = (
        spoiled(("2026-11-26 to 2026-11-27", "2026-11-26..2026-11-27"))
        .district.schools["hollow-road"]
        .closures[0]
    )

    assert (closure.first, closure.last) == (date(2026, 11, 26), date(2026, 11, 27))
    assert closure.holds(date(2026, 11, 27))
