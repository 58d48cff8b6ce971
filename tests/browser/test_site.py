"""The review site in a browser: real clicks and keys become rows, and every page is audited.

What is done there, step by step, is in test_tasks.py.
"""

from __future__ import annotations

import json
import re
import threading
from pathlib import Path
from typing import Any

import pytest
from chromium import need
from filelock import FileLock
from pages import verdicts
from reviewed import PRETENDED_LAN
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from site_pages import NO_PAGES, PAGES, Page
from watched import AXE, COLOUR_RULES, INSTALL_AXE, SCHEMES, Visit, Watched

from colscan.app import web
from colscan.app.cli.main import main
from colscan.app.web import Pairing, make_app
from colscan.ledger.files import LOCK_FILE

FIRST = Page("first", "/")
PATCH = Page("patch", "/patch?bag=B01&patch=p1")
SCREENS_PX = ((360, 740), (1400, 900))
PAPER_PX = (718, 1047)
"""A4 within a browser's margins of 1 cm."""
TABS_AT_ONCE = 20
"""More than a date with a time has parts in the browser: up to six, and the button of its calendar."""
MOST_STOPS = 300
"""More than any page has places for the focus."""
HELD_UP_S = 1.5
STATIC = Path(web.__file__).parent / "static"

# What has the focus: where it stands among all elements, its beginning, whether it is in view, and whether it
# or its label is outlined.
FOCUSED = """
const one = document.activeElement, box = one.getBoundingClientRect();
const outlined = [one, ...(one.labels ?? [])].some(it => {
  const style = getComputedStyle(it);
  return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2
    && !/, 0\\)$/.test(style.outlineColor);
});
return {
  place: one === document.body ? -1 : [...document.querySelectorAll("*")].indexOf(one),
  name: one.outerHTML.slice(0, 120),
  seen: box.width > 1 && box.height > 1 && box.bottom > 0 && box.top < innerHeight && box.right > 0
    && box.left < innerWidth,
  outlined,
  opens: one.matches("summary") && !one.parentElement.open,
};
"""
# Notes what has the focus after each Tab, of many that are sent at once, until something can be opened, the
# focus is where it was before, or it is nowhere: Tabs after that do nothing. A field of a time, which has a
# stop for each of its parts, is noted once.
NOTE_STOPS = """
const focused = () => { FOCUSED }, stops = window.stops = [], seen = new Set(arguments[0]);
let last = arguments[1], held = false;
const press = event => { if (held) event.preventDefault(); };
const release = () => {
  const now = held ? undefined : focused();
  if (held || now.place === last) return;
  const again = now.place < 0 || seen.has(now.place);
  held = again || now.opens;
  seen.add(last = now.place);
  stops.push({...now, again});
};
addEventListener("keydown", press, true);
addEventListener("keyup", release, true);
window.end_of_stops = () => {
  removeEventListener("keydown", press, true);
  removeEventListener("keyup", release, true);
  return stops;
};
""".replace("FOCUSED", FOCUSED)
# What can be used and isn't among the places where Tab stopped; of radio buttons of one name it stops at one.
MISSED = """
const all = [...document.querySelectorAll("*")], stops = arguments[0].map(place => all[place]);
const usable = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
const stands_for = (stop, one) => stop === one
  || (one.type === "radio" && stop.type === "radio" && stop.name === one.name && stop.form === one.form);
return [...document.querySelectorAll(usable)]
  .filter(one => !one.disabled && one.checkVisibility({visibilityProperty: true}))
  .filter(one => !stops.some(stop => stands_for(stop, one)))
  .map(one => one.outerHTML.slice(0, 120));
"""
# What can be tapped and is too small for a wet finger, with its size: by WCAG 2.2 at least 24 px in both
# directions (2.5.8), and 44 px high (2.5.5) but for links in a sentence and those that keys bring to view.
SMALL = """
const usable = "a[href], button, input:not([type=hidden]), select, textarea, summary";
return [...document.querySelectorAll(usable)].filter(one => one.checkVisibility({visibilityProperty: true}))
  .filter(one => !one.matches(".skip")).flatMap(one => {
    const boxes = [one, ...(one.labels ?? [])].map(it => it.getBoundingClientRect());
    const high = Math.max(...boxes.map(box => box.height)), wide = Math.max(...boxes.map(box => box.width));
    const words = it => it.textContent.trim(), line = one.closest("p");
    const in_sentence = one.matches("a:not(.button, .tap, .reach)") && line && words(line) !== words(one);
    return high < (in_sentence ? 24 : 43.5) || wide < 24
      ? [`${wide.toFixed(0)} x ${high.toFixed(0)} px: ${one.outerHTML.slice(0, 120)}`] : [];
  });
"""
# Where things stand that are seen, px: left, top, width and height of each.
BOXES = """
return [...document.querySelectorAll(arguments[0])].filter(one => one.checkVisibility()).map(one => {
  const box = one.getBoundingClientRect();
  return [box.x, box.y, box.width, box.height].map(Math.round);
});
"""
# A tap so many milliseconds after the one before, however long the page took to come.
TAP_AFTER = "sessionStorage.setItem('sent', Date.now() - arguments[1]); arguments[0].click()"
OPEN_ALL = "for (const one of document.querySelectorAll('details')) one.open = true"
NEXT_FRAME = "requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(arguments[0])))"


def named(visit: Visit, text: str) -> WebElement:
    """The link, button, opener or label whose words begin with a text."""
    words = f"starts-with(normalize-space(.), '{text}')"
    kinds = "self::a or self::button or self::summary or self::label"
    return visit.browser.driver.find_element(By.XPATH, f"//*[{kinds}][{words}]")


def click(visit: Visit, text: str) -> None:
    """Click with the mouse what is called so."""
    named(visit, text).click()


def wait_to_read(visit: Visit, text: str) -> None:
    """Wait until the page says a text."""
    visit.browser.read(text)


def called(visit: Visit) -> list[str]:
    """The calls that were recorded, in their order."""
    return [row["call"] for row in verdicts(visit.folder)]


def advice(visit: Visit, capsys: pytest.CaptureFixture[str], bag: str) -> str:
    """What is to be done with a bag, by the command."""
    capsys.readouterr()
    assert main(["status", str(visit.folder), "--format", "json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    return next(str(row["advice"]) for row in rows if row["bag"] == bag)


# ---- clicks


def test_contaminated_and_taken_back(visit: Visit, capsys: pytest.CaptureFixture[str]) -> None:
    """From the first page by clicks to a row in its words and a changed advice; taking it back is a row."""
    visit.browser.open(FIRST)
    click(visit, "Begin")
    wait_to_read(visit, "Bag B01, patch p1")
    assert advice(visit, capsys, "B01") == "look"
    click(visit, "Contaminated")
    click(visit, "isolated")
    click(visit, "seam")
    click(visit, "Record contaminated")
    wait_to_read(visit, "Recorded: bag B01, patch p1: contaminated, isolated, seam")
    wait_to_read(visit, "Bag B02, patch p1")
    (row,) = verdicts(visit.folder)
    words = [row[name] for name in ("bag", "patch", "call", "where", "found_by", "action", "note")]
    assert words == ["B01", "p1", "contaminated", "seam", "photo", "isolated", ""]
    assert advice(visit, capsys, "B01") == "contaminated"
    click(visit, "Take back")
    wait_to_read(visit, "Bag B01, patch p1")
    assert called(visit) == ["contaminated", "withdrawn"]
    assert advice(visit, capsys, "B01") == "look"


def test_what_was_done_has_to_be_chosen(visit: Visit) -> None:
    """The browser itself doesn't send a contaminated bag without it."""
    visit.browser.open(PATCH)
    click(visit, "Contaminated")
    click(visit, "Record contaminated")
    visit.browser.wait_for("document.activeElement.matches('[name=action]:invalid')")
    assert called(visit) == []


def test_harmless_and_unsure(visit: Visit) -> None:
    """Each leads to the next patch, the last to the list, where both can be taken back."""
    visit.browser.open(PATCH)
    click(visit, "Harmless")
    wait_to_read(visit, "Bag B02, patch p1")
    click(visit, "Unsure")
    wait_to_read(visit, "None waits.")
    rows = [(row["bag"], row["call"], row["where"], row["action"]) for row in verdicts(visit.folder)]
    assert rows == [("B01", "harmless", "", ""), ("B02", "unsure", "", "")]
    click(visit, "Take back harmless of bag B01")
    wait_to_read(visit, "Bag B01, patch p1")
    assert called(visit) == ["harmless", "unsure", "withdrawn"]


def test_the_outline_can_be_hidden(visit: Visit) -> None:
    """By click and by key: what lies under it is to be seen."""
    visit.browser.open(PATCH)
    line = visit.browser.driver.find_element(By.CSS_SELECTOR, "polygon.line")
    assert line.is_displayed()
    click(visit, "Outline")
    assert not line.is_displayed()
    visit.browser.press("o")
    assert line.is_displayed()


def test_back_sends_nothing_again(visit: Visit) -> None:
    """After a call the back button, and a reload, show pages; there stays one row."""
    visit.browser.open(FIRST)
    click(visit, "Begin")
    click(visit, "Harmless")
    wait_to_read(visit, "Bag B02, patch p1")
    visit.browser.driver.refresh()
    wait_to_read(visit, "Bag B02, patch p1")
    visit.browser.driver.back()
    wait_to_read(visit, "Bag B01, patch p1")
    visit.browser.driver.refresh()
    wait_to_read(visit, "It stands: bag B01, patch p1: harmless")
    visit.browser.driver.forward()
    wait_to_read(visit, "Bag B02, patch p1")
    assert called(visit) == ["harmless"]


def test_a_double_click_records_once(visit: Visit) -> None:
    """Whoever clicks everything twice says it once, also while the first click waits for a scan to end."""
    visit.browser.open(PATCH)
    click(visit, "Contaminated")
    click(visit, "discarded")
    record = named(visit, "Record contaminated")
    scan = FileLock(visit.folder / LOCK_FILE, thread_local=False)
    scan.acquire()
    end_of_scan = threading.Timer(HELD_UP_S, scan.release)
    end_of_scan.start()
    # The last click names no element: only the pointer is sure to be still there.
    ActionChains(visit.browser.driver).double_click(record).pause(HELD_UP_S / 5).click().perform()
    end_of_scan.join()
    wait_to_read(visit, "Recorded: bag B01, patch p1: contaminated, discarded, face")
    assert called(visit) == ["contaminated"]


def test_the_second_half_of_a_double_tap_is_for_no_other_bag(visit: Visit) -> None:
    """The next page has another bag's button where the first one's was; a moment later it is meant."""
    visit.browser.open(PATCH)
    click(visit, "Harmless")
    visit.browser.wait_for("document.querySelector('main').innerText.includes('Bag B02, patch p1')")
    visit.browser.driver.execute_script(TAP_AFTER, named(visit, "Harmless"), 300)
    visit.browser.wait_for("document.querySelector('main').innerText.includes('Bag B02, patch p1')")
    assert called(visit) == ["harmless"]
    visit.browser.driver.execute_script(TAP_AFTER, named(visit, "Harmless"), 601)
    wait_to_read(visit, "None waits.")
    assert called(visit) == ["harmless", "harmless"]


# ---- keys


def tab_to(visit: Visit, text: str) -> None:
    """Press Tab until something whose name begins with a text has the focus."""
    for _ in range(MOST_STOPS):
        visit.browser.press(Keys.TAB)
        if visit.browser.driver.switch_to.active_element.accessible_name.strip().startswith(text):
            return
    pytest.fail(f"Tab never comes to {text!r}")


def test_two_patches_by_keys_alone(visit: Visit) -> None:
    """With a note, in which letters are letters; then one is taken back."""
    visit.browser.open(FIRST)
    tab_to(visit, "Begin")
    visit.browser.press(Keys.ENTER)
    wait_to_read(visit, "Bag B01, patch p1")
    tab_to(visit, "Note")
    visit.browser.press("huc, no pink")
    visit.browser.press(Keys.ESCAPE, "h")
    wait_to_read(visit, "Recorded: bag B01, patch p1: harmless (“huc, no pink”)")
    wait_to_read(visit, "Bag B02, patch p1")
    assert [(row["call"], row["note"]) for row in verdicts(visit.folder)] == [("harmless", "huc, no pink")]

    visit.browser.press("c")
    visit.browser.wait_for("document.activeElement.value === 'watched'")
    visit.browser.press(Keys.SPACE, Keys.ARROW_DOWN)  # the second action
    visit.browser.press(Keys.TAB, Keys.ARROW_DOWN)  # the second place
    visit.browser.press(Keys.TAB, Keys.ENTER)
    wait_to_read(visit, "Recorded: bag B02, patch p1: contaminated, isolated, back")
    wait_to_read(visit, "None waits.")

    tab_to(visit, "Take back contaminated of bag B02")
    visit.browser.press(Keys.SPACE)
    wait_to_read(visit, "Bag B02, patch p1")
    rows = [(row["bag"], row["call"], row["where"], row["action"]) for row in verdicts(visit.folder)]
    assert rows == [
        ("B01", "harmless", "", ""),
        ("B02", "contaminated", "back", "isolated"),
        ("B02", "withdrawn", "", ""),
    ]


def test_keys_walk_the_patches(visit: Visit) -> None:
    """From the list to each patch, back, and to the list."""
    visit.browser.open(FIRST)
    for key, text in (
        ("n", "Bag B01, patch p1"),
        ("n", "Bag B02, patch p1"),
        ("p", "Bag B01, patch p1"),
        ("n", "Bag B02, patch p1"),
        ("n", "what needs eyes"),
    ):
        visit.browser.press(key)
        wait_to_read(visit, text)
    assert called(visit) == []


def test_keys_can_be_turned_off(visit: Visit) -> None:
    """Who turns them off, by keys, has them off on the next page too; who turns them on has them again."""
    visit.browser.open(PATCH)
    tab_to(visit, "Single keys work")
    visit.browser.press(Keys.SPACE)
    visit.browser.open(Page("next", "/patch?bag=B02&patch=p1"))
    assert not visit.browser.driver.find_element(By.CSS_SELECTOR, ".judge kbd").is_displayed()
    visit.browser.press("u", "c", "n")
    assert visit.browser.driver.current_url.endswith("/patch?bag=B02&patch=p1")
    assert not visit.browser.driver.find_element(By.CSS_SELECTOR, "details").get_attribute("open")
    tab_to(visit, "Single keys work")
    visit.browser.press(Keys.SPACE, "u")
    wait_to_read(visit, "Recorded: bag B02, patch p1: unsure")
    assert called(visit) == ["unsure"]


def test_a_screen_that_is_touched_begins_without_keys(visit: Visit) -> None:
    """No button shows one and none works, until they are asked for; a page that has none doesn't ask."""
    driver = visit.browser.driver
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        visit.browser.open(PATCH)
        assert not driver.find_element(By.CSS_SELECTOR, ".judge kbd").is_displayed()
        visit.browser.press("u")
        assert called(visit) == []
        tab_to(visit, "Single keys work")
        visit.browser.press(Keys.SPACE)
        assert driver.find_element(By.CSS_SELECTOR, ".judge kbd").is_displayed()
        visit.browser.press("u")
        wait_to_read(visit, "Recorded: bag B01, patch p1: unsure")
        visit.browser.open(Page("who", "/who"))
        assert not driver.find_element(By.ID, "keys").is_displayed()
    finally:
        driver.execute_script("localStorage.clear()")
        driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


def first_stop(browser: Watched) -> dict[str, Any]:
    """Where Tab stops first; a page that has just come may not take keys yet, and a key then is lost."""
    for _ in range(5):
        browser.press(Keys.TAB)
        browser.driver.execute_async_script(NEXT_FRAME)
        focused: dict[str, Any] = browser.driver.execute_script(FOCUSED)
        if focused["place"] >= 0:
            return focused
    pytest.fail("Tab comes to nothing.")


def test_the_skip_link(looking: Watched) -> None:
    """It is the first stop, comes into view, and the next stop after it is in the content."""
    looking.open(FIRST)
    first = first_stop(looking)
    assert "To the content" in first["name"]
    assert first["seen"]
    looking.press(Keys.ENTER)
    looking.wait_for("document.activeElement.id === 'main'")
    looking.press(Keys.TAB)
    assert looking.driver.execute_script("return document.activeElement.closest('main') !== null")


def walk(browser: Watched) -> list[dict[str, Any]]:
    """Where Tab stops on a page, from its start to its end; what can be opened is opened on the way."""
    stops = [first_stop(browser)]
    while len(stops) < MOST_STOPS:
        if stops[-1]["opens"]:
            browser.press(Keys.ENTER)
            browser.driver.execute_async_script(NEXT_FRAME)
            focused = browser.driver.execute_script(FOCUSED)
            if focused["place"] != stops[-1]["place"]:  # a script of ours goes to the first question
                stops.append(focused)
        places = [stop["place"] for stop in stops]
        browser.driver.execute_script(NOTE_STOPS, places, places[-1])
        browser.press(*[Keys.TAB] * TABS_AT_ONCE)
        further = browser.driver.execute_script("return end_of_stops()")
        fresh = [stop for stop in further if not stop["again"]]
        stops += fresh
        if not fresh or fresh != further:
            return stops
    pytest.fail(f"Tab comes to no end: {stops[-3:]}")


@pytest.mark.parametrize("page", PAGES, ids=str)
def test_the_focus_is_seen(looking: Watched, page: Page) -> None:
    """On a phone's screen Tab reaches all there is to use, in the page's order, each outlined and in view."""
    looking.set_screen(*SCREENS_PX[0], "light")
    looking.open(page)
    stops = walk(looking)
    assert [stop["name"] for stop in stops if not stop["outlined"]] == []
    assert [stop["name"] for stop in stops if not stop["seen"]] == []
    places = [stop["place"] for stop in stops]
    assert places == sorted(places)
    assert looking.driver.execute_script(MISSED, places) == []


def test_what_keys_miss_is_found(looking: Watched) -> None:
    """A link without an outline, and one that Tab passes by."""
    looking.open(FIRST)
    looking.driver.execute_script(
        "document.querySelector('main a.button').style.outline = 'none';"
        "document.querySelector('nav a').tabIndex = -1"
    )
    stops = walk(looking)
    assert ["Begin" in stop["name"] for stop in stops if not stop["outlined"]] == [True]
    (missed,) = looking.driver.execute_script(MISSED, [stop["place"] for stop in stops])
    assert "What needs eyes" in missed


# ---- where things stand


def test_pages_are_found_where_they_were(looking: Watched) -> None:
    """On a phone's screen the links to them stand in the same places, whichever is shown."""
    looking.set_screen(*SCREENS_PX[0], "light")
    places = []
    for path in ("/", "/shelf", "/trial", "/weigh"):
        looking.open(Page("any", path))
        places.append(looking.driver.execute_script(BOXES, "header nav a"))
    assert len(places[0]) == 6
    assert [place for place in places if place != places[0]] == []


def test_a_phone_shows_how_far_each_bag_is(looking: Watched) -> None:
    """In the table of all bags it is in view beside what to do, without a swipe."""
    looking.set_screen(*SCREENS_PX[0], "light")
    looking.open(Page("trial", "/trial"))
    x, _, wide, _ = looking.driver.execute_script(BOXES, "main thead th:nth-child(3)")[0]
    named = looking.driver.find_element(By.CSS_SELECTOR, "main thead th:nth-child(3)").text
    assert named.startswith("colonized %")
    assert x + wide <= SCREENS_PX[0][0]


def test_a_weight_and_the_button_that_records_it_are_in_view(looking: Watched) -> None:
    """On a phone's screen, with the number pad between them; its keys stay large."""
    looking.set_screen(*SCREENS_PX[0], "light")
    looking.open(Page("weigh", "/weigh?bag=B04"))
    ((_, top, _, high),) = looking.driver.execute_script(BOXES, "button.go")
    assert top + high <= SCREENS_PX[0][1]
    assert min(high for *_, high in looking.driver.execute_script(BOXES, "#pad button")) >= 48


def test_a_phone_shows_a_bags_newest_score(looking: Watched) -> None:
    """Its whole curve, in letters as large as on a wide screen, is in view without a swipe."""
    looking.set_screen(*SCREENS_PX[0], "light")
    looking.open(Page("bag", "/bag?bag=B03"))
    curve = looking.driver.find_element(By.CSS_SELECTOR, "img.curve")
    looking.driver.execute_script("arguments[0].scrollIntoView()", curve)
    looking.wait_for("arguments[0].complete && arguments[0].naturalWidth > 0", curve)
    shown, drawn = looking.driver.execute_script(
        "return [arguments[0].width, arguments[0].naturalWidth]", curve
    )
    x, _, wide, _ = looking.driver.execute_script(BOXES, "img.curve")[0]
    assert x >= 0
    assert x + wide <= SCREENS_PX[0][0]
    assert shown / drawn > 0.95


@pytest.mark.parametrize("screen_px", SCREENS_PX, ids=str)
def test_tiles_of_a_row_are_of_one_height(looking: Watched, screen_px: tuple[int, int]) -> None:
    """Whatever their words are; one that is opened takes a row of its own."""
    looking.set_screen(*screen_px, "light")
    looking.open(Page("bag", "/bag?bag=B04"))
    boxes = looking.driver.execute_script(BOXES, ".taps > .button, .taps > details:not(.more) > summary")
    rows = {top: {high for _, y, _, high in boxes if y == top} for _, top, _, _ in boxes}
    assert len(rows) > 1
    assert [highs for highs in rows.values() if len(highs) > 1] == []


@pytest.mark.parametrize("path", ["/", "/trial", "/bag?bag=B03", "/shelf"])
def test_on_paper(looking: Watched, path: str) -> None:
    """Dark on white whatever the screen has, whole, and without what can only be pressed."""
    looking.set_screen(*PAPER_PX, "dark")
    looking.open(Page("any", path))
    looking.driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"media": "print", "features": [{"name": "prefers-color-scheme", "value": "dark"}]},
    )
    try:
        shown = looking.driver.execute_script(
            "return [...document.querySelectorAll('button, .button, nav, footer, textarea')]"
            ".filter(one => one.checkVisibility()).map(one => one.outerHTML.slice(0, 120))"
        )
        assert shown == []
        cut = looking.driver.execute_script(
            "return [...document.querySelectorAll('.wide, .film, .paper, .scene-frame')].filter(one =>"
            " one.checkVisibility() && (one.scrollWidth > one.clientWidth + 1"
            " || one.clientHeight < one.scrollHeight - 1)).map(one => one.className)"
        )
        assert cut == []
        colours = "const body = getComputedStyle(document.body); return [body.backgroundColor, body.color]"
        assert looking.driver.execute_script(colours) == ["rgb(255, 255, 255)", "rgb(28, 33, 38)"]
    finally:
        looking.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})


# ---- audits


def test_every_page_is_listed() -> None:
    """A page that the site has and PAGES doesn't is audited by nobody."""
    app = make_app(Path(), port=1, pairing=Pairing(f"{PRETENDED_LAN}:1", https=False, say=print))
    shown = {rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())}
    assert shown - NO_PAGES == {page.path.partition("?")[0] for page in PAGES}


def test_what_is_too_small_to_tap_is_found(looking: Watched) -> None:
    """A link of a line's height, alone and in a sentence, and a button that is narrow."""
    looking.open(FIRST)
    looking.driver.execute_script(
        "document.querySelector('main').innerHTML = '<p><a href=/>Alone</a></p><p>In <a href=/>words</a></p>"
        "<button>Narrow</button>';"
        "for (const one of document.querySelectorAll('main *')) one.style.cssText = 'padding: 0; width: 20px'"
    )
    found = " ".join(looking.driver.execute_script(SMALL))
    assert all(name in found for name in ("Alone", "words", "Narrow"))


@pytest.mark.parametrize("page", PAGES, ids=str)
def test_audit(looking: Watched, page: Page) -> None:
    """Nothing serious by axe, nothing runs out at the side, and on a phone what is tapped is large enough.

    A page is opened once and shown on both screens, then with all of it opened. Colours are the same on all
    screens: axe sees the second scheme on the first screen alone, and there only what is about colours.
    """
    need(AXE.exists(), f"axe-core ({INSTALL_AXE})")
    looking.set_screen(*SCREENS_PX[0], SCHEMES[0])
    with looking.auditing():
        looking.open(page)
    grave = too_wide(looking)
    looking.driver.execute_script(OPEN_ALL)
    grave += too_wide(looking)
    grave += [f"too small to tap: {text}" for text in looking.driver.execute_script(SMALL)]
    for screen_px, scheme, rules in (
        (SCREENS_PX[1], SCHEMES[0], ()),
        (SCREENS_PX[0], SCHEMES[0], ()),
        (SCREENS_PX[0], SCHEMES[1], COLOUR_RULES),
    ):
        turn_to(looking, screen_px, scheme)
        serious, lesser = looking.audit(*rules)
        grave += [f"{screen_px[0]} px, {scheme}: {text}" for text in serious]
        for text in lesser:
            print(f"{screen_px[0]} px, {scheme}: {text}")  # shown when the test fails
    assert not grave, "\n".join(grave)


def turn_to(browser: Watched, screen_px: tuple[int, int], scheme: str) -> None:
    """Show a page that is open on another screen."""
    browser.set_screen(*screen_px, scheme)
    browser.wait_for(f"matchMedia('(width: {screen_px[0]}px) and (prefers-color-scheme: {scheme})').matches")


def too_wide(browser: Watched) -> list[str]:
    """By how much the page runs out at the side of each screen, in each scheme; the first is shown again."""
    found = []
    for screen_px in SCREENS_PX[::-1]:
        for scheme in SCHEMES[::-1]:
            turn_to(browser, screen_px, scheme)
            over = browser.overflow_px()
            found += [f"{screen_px[0]} px, {scheme}: {over} px too wide"] if over > 0 else []
    return found


def test_the_second_scheme_is_of_colours_alone() -> None:
    """It sets properties that begin with -- and are colours: what is audited on the first holds on it."""
    sheets = [path.read_text(encoding="utf-8") for path in sorted(STATIC.glob("*.css"))]
    blocks = [
        rest[: rest.index("}\n}")]
        for sheet in sheets
        for rest in sheet.split("prefers-color-scheme: dark) {")[1:]
    ]
    (block,) = blocks
    selector, _, declarations = block.partition("{")
    assert selector.strip() == ":root"
    assert sum(sheet.count("prefers-color-scheme") for sheet in sheets) == 1
    kept = [one.strip() for one in declarations.split(";") if one.strip()]
    assert [one for one in kept if not re.fullmatch(r"--[a-z-]+: #[0-9a-f]{6}", one)] == []


def test_axe_finds_a_picture_without_words(looking: Watched) -> None:
    """It runs, though the site's policy forbids scripts that aren't its own, and finds what is wrong."""
    need(AXE.exists(), f"axe-core ({INSTALL_AXE})")
    with looking.auditing():
        looking.open(PATCH)
    looking.driver.execute_script("document.querySelector('.crop img').removeAttribute('alt')")
    serious, _ = looking.audit()
    assert [text.partition(":")[0] for text in serious] == ["image-alt"]


@pytest.mark.parametrize("screen_px", SCREENS_PX, ids=str)
def test_what_is_too_wide_is_found(looking: Watched, screen_px: tuple[int, int]) -> None:
    """A line that can't be broken."""
    looking.set_screen(*screen_px, "light")
    looking.open(FIRST)
    looking.driver.execute_script(
        "document.querySelector('main p').style.cssText = 'width: ' + (innerWidth + 50) + 'px'"
    )
    assert looking.overflow_px() > 0


def test_who_asks_elsewhere_is_found(browser: Watched) -> None:
    """A picture from elsewhere is named, and the console's complaint of it."""
    browser.home = "http://127.0.0.1:9/"
    browser.driver.get("data:text/html,<img src='http://example.invalid/a.png'>")
    complaint, stranger = browser.faults()
    assert complaint.startswith("console: http://example.invalid/a.png")
    assert stranger == "asks http://example.invalid/a.png"


def test_another_port_is_elsewhere(looking: Watched) -> None:
    """The site's own policy keeps a page from asking another server of this machine; both logs tell of it."""
    looking.open(FIRST)
    looking.driver.execute_script("fetch('http://127.0.0.1:9/').catch(() => 0)")
    looking.wait_for("document.readyState === 'complete'")
    assert any("Content Security Policy" in fault for fault in looking.faults())
