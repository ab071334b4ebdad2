"""The pages in a real browser, on a phone of 320 pixels, with and without scripts, light and dark."""

import re
from datetime import date
from urllib.parse import urljoin

import pytest

from service.store import chases, rounds

pytestmark = pytest.mark.browser

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"
TODAY = date(2026, 9, 15)
SCRIPTS = pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
WIDTHS = (320, 390, 768, 1440, 2560)

CONTRAST = """() => {
  const part = c => { const v = c / 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const numbers = s => (s.match(/[\\d.]+/g) || []).map(Number);
  const light = s => { const [r, g, b] = numbers(s); return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b); };
  const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor;
    if (numbers(c)[3] !== 0) return c; } return 'rgb(255,255,255)'; };
  const low = [];
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || e.closest('[hidden],svg,noscript,option') || !e.checkVisibility() || e.disabled) continue;
    const [a, b] = [light(getComputedStyle(e).color), light(ground(e))].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) low.push(e.textContent.trim().slice(0, 40));
  }
  return low;
}"""

SMALL = """() => [...document.querySelectorAll('button, summary, select, input:not([type=hidden])')]
  .filter(e => e.checkVisibility()).map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
  .filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([name]) => name)"""

SPILLS = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def page_on(browser, width=320, scripts=True, scheme="light"):
    context = browser.new_context(
        viewport={"width": width, "height": 700}, java_script_enabled=scripts, color_scheme=scheme
    )
    return context.new_page()


def result(site, student: str) -> tuple[str | None, list]:
    with site.morning.store.reading() as tx:
        found = rounds.student_checks(tx, student, TODAY, TODAY)[0]
        return found.result, found.faults


@SCRIPTS
def test_a_round_is_answered_with_one_thumb(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    page.get_by_role("button", name="I checked all 3: working").click()

    assert page.get_by_role("heading", level=1).inner_text() == "All 3 answered"
    assert result(site, "s-110") == ("working", [])


@SCRIPTS
def test_a_fault_is_recorded_in_two_taps_and_its_remedy_shown_in_place(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    wren = page.get_by_role("region", name="Wren")
    wren.get_by_text("Something’s wrong").click()
    wren.get_by_role("button", name="The cable is loose at a plug").click()

    assert result(site, "s-110") == ("fault", [{"code": "CABLE", "side": "left"}])
    assert wren.get_by_text("Seat both plugs of the cable straight.").is_visible()
    wren.get_by_role("button", name="Yes").click()
    assert result(site, "s-110")[0] == "fixed"


@SCRIPTS
def test_a_part_of_the_drawing_leads_to_its_sentences(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    wren = page.get_by_role("region", name="Wren")
    wren.get_by_text("Something’s wrong").click()
    wren.locator("svg").first.get_by_role("link", name="Cable").focus()
    page.keyboard.press("Enter")

    assert page.url.endswith("#s3-cochlear-implant-cable-and-coil-cable")
    assert page.locator("#s3-cochlear-implant-cable-and-coil-cable").is_visible()


@SCRIPTS
def test_the_side_is_asked_for_in_the_same_tap_where_there_are_two(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    finch = page.get_by_role("region", name="Finch")
    finch.get_by_text("Something’s wrong").click()
    finch.get_by_role("group", name="Wax in the earmould").get_by_role("button", name="Right").click()

    assert result(site, "s-102") == ("fault", [{"code": "MOULD", "side": "right"}])


@SCRIPTS
def test_what_to_do_in_an_emergency_is_read_before_anything_is_sent(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    page.get_by_text("Battery or magnet swallowed or missing").click()
    assert page.get_by_role("link", name="Call 911 now").is_visible()
    page.locator("#emergency").get_by_role("button", name="Lark").click()

    assert page.get_by_role("heading", name=re.compile("Battery or magnet: Lark")).is_visible()
    with site.morning.store.reading() as tx:
        assert len(chases.open_alarms(tx)) == 1


@SCRIPTS
def test_the_keyboard_alone_is_enough(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    seen = []
    for _ in range(60):
        page.keyboard.press("Tab")
        focused = page.locator(":focus")
        seen.append(focused.inner_text() if focused.count() else "")
        if seen[-1].startswith("I checked all"):
            page.keyboard.press("Enter")
            break
    page.get_by_role("heading", name="All 3 answered").wait_for()

    assert {"Working", "Something’s wrong", "Away", "Could not check"} <= set(seen)
    assert result(site, "s-104")[0] == "working"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_at_every_width_nothing_spills_is_too_small_or_too_faint(browser, site, scheme):
    teal = site.morning.round_path(ROUND, "l-teal")
    for width in WIDTHS:
        page = page_on(browser, width, scheme=scheme)
        for path in (teal, site.morning.standing_path("l-teal"), "/board", "/board/supplies", "/nowhere"):
            page.goto(site.base + path)
            page.evaluate("() => document.querySelectorAll('details').forEach(d => d.open = true)")
            where = f"{path[:12]} at {width}"
            assert page.evaluate(SPILLS) <= 0, where
            assert page.evaluate(SMALL) == [], where
            assert page.evaluate(CONTRAST) == [], where
        page.context.close()


def test_the_board_learns_of_an_answer_without_a_reload_and_keeps_what_was_chosen(browser, site):
    page = page_on(browser, 1440)
    page.goto(site.base + "/board")
    page.select_option("#today select[name=actor]", "a-vane")
    page.locator("h1").click()
    page.evaluate("() => { window.same = true }")
    phone = page_on(browser)
    phone.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    phone.get_by_role("button", name="I checked all 3: working").click()
    page.wait_for_function("() => document.title.startsWith('3 of 3')", timeout=15_000)

    assert page.evaluate("() => window.same") is True
    assert page.locator("#today select[name=actor]").input_value() == "a-vane"


@SCRIPTS
def test_a_fault_is_taken_in_hand_on_the_board(browser, site, scripts):
    page = page_on(browser, scripts=scripts)
    page.goto(site.base + site.morning.round_path(ROUND, "l-teal"))
    page.get_by_role("region", name="Wren").get_by_text("Something’s wrong").click()
    page.get_by_role("button", name="The cable is loose at a plug").click()
    page.get_by_role("button", name="No", exact=True).click()
    page.goto(site.base + "/board")
    page.locator("#today select[name=actor]").select_option("a-vane")
    page.get_by_role("button", name=re.compile("^Mine: Wren")).click()

    assert page.get_by_text("In hand with the audiologist until 08:36.").is_visible()


def test_a_scanner_that_opens_every_link_and_runs_scripts_changes_nothing(browser, site):
    before = site.morning.entries()
    waiting = [site.morning.round_path(ROUND, "l-teal"), site.morning.standing_path("l-teal"), "/board"]
    seen: set[str] = set()
    page = page_on(browser)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    while waiting:
        path = waiting.pop()
        seen.add(path)
        kind = page.request.head(site.base + path).headers["content-type"]
        if not kind.startswith("text/html"):
            assert page.request.get(site.base + path).ok
            continue
        page.goto(site.base + path)
        page.wait_for_timeout(100)
        page.mouse.wheel(0, 2000)
        for found in page.eval_on_selector_all("a[href]", "all => all.map(a => a.getAttribute('href'))"):
            whole = urljoin(site.base + path, found).removeprefix(site.base).partition("#")[0]
            if whole.startswith("/") and whole not in seen:
                waiting.append(whole)

    assert len(seen) >= 3
    assert errors == []
    assert site.morning.entries() == before


def test_the_policy_lets_all_of_the_page_work_and_nothing_else_is_loaded(browser, site):
    page = page_on(browser, 1440)
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("request", lambda request: asked.append(request.url))
    for path in (site.morning.round_path(ROUND, "l-teal"), "/board"):
        page.goto(site.base + path)
        page.wait_for_load_state("networkidle")

    assert said == []
    assert all(url.startswith((site.base, "data:")) for url in asked)
    assert "rgb(247, 243, 234)" in page.evaluate("() => getComputedStyle(document.body).backgroundColor")
