"""A grower's tasks on the review site by clicks, keys and files: a trial begun, photos sent, things said."""

from __future__ import annotations

import csv
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from demo_trial import begin_pair, begin_some, corner, plain_shelf
from PIL import Image
from reviewed import reviewing
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from site_pages import Page
from watched import Visit, Watched

from colscan.app.cli.main import main
from colscan.app.demo import NAME
from colscan.trial import load_trial
from colscan.trial.shelfmap import read_shelfmaps

PHONE_PX = (360, 740)


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    """The rows of a file of the ledger; none without the file."""
    path = folder / name
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def press(browser: Watched, text: str) -> None:
    """Click the button, link or opener in the content whose words begin with a text."""
    kinds = "self::a or self::button or self::summary"
    words = f"starts-with(normalize-space(.), '{text}')"
    found = browser.driver.find_elements(By.XPATH, f"//main//*[{kinds}][{words}]")
    next(one for one in found if one.is_displayed()).click()


def read(browser: Watched, text: str) -> None:
    """Wait until the page says a text."""
    browser.read(text)


def choose_photos(browser: Watched, *paths: Path) -> None:
    """Choose files as from the phone's gallery."""
    chosen = browser.driver.find_element(By.CSS_SELECTOR, "input[type=file][multiple]")
    chosen.send_keys("\n".join(str(path) for path in paths))


@pytest.fixture
def unphotographed(tmp_path: Path, browser: Watched) -> Iterator[Visit]:
    """A phone's screen on a trial of two bags without photos."""
    folder = begin_pair(tmp_path / NAME)
    with reviewing(folder) as (_, browser.home):
        browser.set_screen(*PHONE_PX, "light")
        yield Visit(folder, browser)
        browser.driver.get("about:blank")


# ---- the first evening


def test_a_trial_is_begun_and_its_cards_are_downloaded(browser: Watched, tmp_path: Path) -> None:
    """From an empty place to trial.toml, bags.csv and a sheet with every bag's card, by keys and clicks."""
    folder, downloads = tmp_path / "birch", tmp_path / "downloads"
    with reviewing(folder) as (_, browser.home):
        browser.driver.execute_cdp_cmd(
            "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(downloads)}
        )
        browser.open(Page("first", "/"))
        for name, values in {"strain": ("PO-3", "HE-2"), "level": ("0", "8"), "replicates": ("3",)}.items():
            fields = browser.driver.find_elements(By.NAME, name)
            for field, value in zip(fields, values, strict=False):
                field.send_keys(value)
        browser.driver.find_element(By.NAME, "replicates").send_keys(Keys.ENTER)
        read(browser, "12 bags")
        assert not folder.exists()
        press(browser, "Begin this trial")
        read(browser, "birch is begun")
        trial = load_trial(folder)
        assert len(trial.bags) == 12
        assert {(bag.strain, bag.supplement_pct) for bag in trial.bags} == {
            ("PO-3", 0.0), ("PO-3", 8.0), ("HE-2", 0.0), ("HE-2", 8.0),
        }  # fmt: skip
        browser.driver.find_element(By.CSS_SELECTOR, "a[href^='/cards.pdf?paper=a4']").click()
        cards = downloads / "birch-cards.pdf"
        _wait_for_file(browser, cards)
        browser.driver.get("about:blank")
    words = "\n".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(cards))
    assert [bag.bag for bag in trial.bags if bag.bag not in words] == []
    assert main(["status", str(folder)]) == 0


def _wait_for_file(browser: Watched, path: Path) -> None:
    for _ in range(200):
        if path.exists():
            return
        browser.driver.execute_async_script("setTimeout(arguments[0], 100)")
    pytest.fail(f"{path.name} was not downloaded; there are {[one.name for one in path.parent.iterdir()]}")


# ---- from the phone


def test_a_photo_from_a_phone_is_scored(unphotographed: Visit, tmp_path: Path) -> None:
    """Two photos of the gallery become the rows that `colscan scan` writes; sent again they are known."""
    folder, browser = unphotographed.folder, unphotographed.browser
    first, second = (corner(day, tmp_path) for day in (0, 3))
    browser.open(Page("photos", "/photos"))
    choose_photos(browser, first, second)
    read(browser, f"Scores of {second.name}")
    read(browser, f"Scores of {first.name}")
    read(browser, "2 of 2 bags")
    by_command = begin_pair(tmp_path / "by-command")
    assert main(["scan", str(by_command), str(first), str(second), "--jobs", "1"]) == 0
    for name in ("photos.csv", "scores.csv"):
        own, other = ([row | {"scanned_at": ""} for row in rows(one, name)] for one in (folder, by_command))
        assert own == other
        assert own
    browser.driver.refresh()
    choose_photos(browser, second)
    read(browser, second.name)
    browser.wait_for("!document.querySelector('main progress')?.checkVisibility()")
    assert len(rows(folder, "photos.csv")) == 2


def test_what_is_no_photo_is_refused(unphotographed: Visit, tmp_path: Path) -> None:
    """A text that is named like one: said on the page, and nothing is written."""
    folder, browser = unphotographed.folder, unphotographed.browser
    fake = tmp_path / "fake.jpg"
    fake.write_text("not a photo")
    browser.open(Page("photos", "/photos"))
    browser.refused.add(f"{browser.home}photos?name=fake.jpg")
    choose_photos(browser, fake)
    read(browser, "not used")
    read(browser, "not a JPEG, PNG or HEIC photo")
    assert not (folder / "photos.csv").exists()
    assert not (folder / "photos").exists()


def test_a_photo_without_a_time_can_be_let_go(unphotographed: Visit, tmp_path: Path) -> None:
    """Chosen by mistake it needn't be given a false time; it isn't asked after again."""
    folder, browser = unphotographed.folder, unphotographed.browser
    plain = tmp_path / "plain.png"
    with Image.open(corner(0, tmp_path)) as dated:
        Image.fromarray(np.asarray(dated.convert("RGB"))).save(plain)
    browser.open(Page("photos", "/photos"))
    browser.refused.add(f"{browser.home}photos?name=plain.png")
    choose_photos(browser, plain)
    read(browser, "when was it taken?")
    press(browser, "Don")
    read(browser, "not used")
    browser.driver.refresh()
    read(browser, "None yet.")
    assert not (folder / "photos.csv").exists()


def test_a_photo_waits_for_the_connection(browser: Watched, tmp_path: Path) -> None:
    """Chosen while nobody answers it is kept by the browser, and sent when the site is there again."""
    folder, waiting = begin_pair(tmp_path / NAME), corner(0, tmp_path)
    with reviewing(folder) as (process, browser.home):
        browser.set_screen(*PHONE_PX, "dark")
        browser.open(Page("photos", "/photos"))
        read(browser, "None yet.")
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
    choose_photos(browser, waiting)
    read(browser, "waits for a connection")
    port = re.search(r":(\d+)/", browser.home)
    assert port
    with reviewing(folder, port=int(port[1])) as (_, address):
        assert address == browser.home
        read(browser, f"Scores of {waiting.name}")
        browser.driver.get("about:blank")
    assert [row["photo"] for row in rows(folder, "photos.csv")] == [waiting.name]
    # What the console says of the time without a connection is what the test wants to see.
    meant = ("net::ERR_", "403")
    assert [fault for fault in browser.faults() if not any(part in fault for part in meant)] == []


# ---- things said by tap


def test_looked_all_round_by_tap_and_discarded_by_two(visit: Visit) -> None:
    """What is harmless to say takes a tap; what ends a bag's run is asked once more."""
    visit.browser.set_screen(*PHONE_PX, "light")
    visit.browser.open(Page("bag", "/bag?bag=B04"))
    press(visit.browser, "Looked all round")
    read(visit.browser, "looked-round")
    press(visit.browser, "Discarded")
    assert [row["what"] for row in rows(visit.folder, "events.csv")] == ["looked-round"]
    press(visit.browser, "Record")
    visit.browser.wait_for("document.querySelector('main').innerText.includes('discarded on')")
    said = [(row["scope"], row["name"], row["what"]) for row in rows(visit.folder, "events.csv")]
    assert said == [("bag", "B04", "looked-round"), ("bag", "B04", "discarded")]


def test_a_harvest_by_the_number_pad(visit: Visit) -> None:
    """The keys on the page write the weight; a key too many is taken back."""
    visit.browser.set_screen(*PHONE_PX, "dark")
    visit.browser.open(Page("weigh", "/weigh?bag=B04"))
    for key in ("4", "1", "2", ".", "5", "7"):
        press(visit.browser, key)
    press(visit.browser, "⌫")
    press(visit.browser, "Record")
    read(visit.browser, "B04")
    visit.browser.wait_for("location.pathname !== '/weigh' || !location.search.includes('bag=B04')")
    (row,) = rows(visit.folder, "harvests.csv")
    assert (row["bag"], row["flush"], row["fresh_g"]) == ("B04", "1", "412.5")


# ---- the second opinion


def test_an_estimate_is_given_before_the_score_is_seen(visit: Visit) -> None:
    """By keys alone; the page's source has no score until the estimate is a row."""
    browser = visit.browser
    browser.open(Page("opinion", "/opinion"))
    assert "interval" not in browser.driver.page_source
    assert not re.search(r"B0\d", browser.driver.find_element(By.TAG_NAME, "main").text)
    number = browser.driver.find_element(By.CSS_SELECTOR, "input[type=number]")
    number.send_keys("37", Keys.ENTER)
    browser.wait_for("/B0\\d/.test(document.querySelector('main').innerText)")
    (*_, row) = rows(visit.folder, "estimates.csv")
    assert (row["coverage_pct"], row["blind"]) == ("37", "yes")
    assert row["bag"] in browser.driver.find_element(By.TAG_NAME, "main").text


def test_a_stroke_becomes_a_mask(visit: Visit) -> None:
    """Painted with the mouse: a file in masks/ and its share as a row."""
    browser = visit.browser
    before = len(rows(visit.folder, "estimates.csv"))
    browser.open(Page("opinion", "/opinion"))
    press(browser, "Paint it instead")
    canvas = browser.driver.find_element(By.TAG_NAME, "canvas")
    browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", canvas)
    drag = ActionChains(browser.driver).move_to_element(canvas).click_and_hold()
    drag.move_by_offset(30, 20).move_by_offset(-60, 0).release().perform()
    press(browser, "Record the painting")
    browser.wait_for("/B0\\d/.test(document.querySelector('main').innerText)")
    (mask,) = [path for path in (visit.folder / "masks").iterdir() if path.suffix == ".png"]
    (*_, row) = rows(visit.folder, "estimates.csv")
    assert len(rows(visit.folder, "estimates.csv")) == before + 1
    assert row["bag"] in mask.name
    assert 0 < float(row["coverage_pct"]) < 60


# ---- the shelf's map


def test_a_corner_of_the_map_is_dragged(browser: Watched, tmp_path: Path) -> None:
    """By the mouse; the map that is kept has it where it was dropped, and the others where they were."""
    folder = begin_some(tmp_path / NAME, "B05", "B06", "B07", "B08")
    bags = folder / "bags.csv"
    lines = [line.split(",") for line in bags.read_text("utf-8").splitlines()]
    place = lines[0].index("tag")
    bags.write_text(
        "\n".join(",".join([*cells[:place], *(["tag"] if i == 0 else [""]), *cells[place + 1 :]])
                  for i, cells in enumerate(lines)) + "\n", "utf-8",
    )  # fmt: skip
    plain = plain_shelf(0, tmp_path / "plain.jpg")
    assert main(["map", str(folder), str(plain), "--accept"]) == 0
    (known,) = read_shelfmaps(folder, bags={bag.bag for bag in load_trial(folder).bags})
    with reviewing(folder) as (_, browser.home):
        browser.open(Page("map", "/map"))
        browser.driver.find_element(By.CSS_SELECTOR, "button.show").click()
        browser.wait_for("document.querySelectorAll('.ring[data-corner]').length > 0")
        corner = browser.driver.find_element(By.CSS_SELECTOR, ".ring[data-corner]")
        ActionChains(browser.driver).drag_and_drop_by_offset(corner, -12, -9).perform()
        press(browser, "Keep this map")
        read(browser, "Kept in shelfmap.toml")
        browser.driver.get("about:blank")
    (kept,) = read_shelfmaps(folder, bags={bag.bag for bag in load_trial(folder).bags})
    moved = [
        float(np.hypot(*(np.array(a.outline_px) - np.array(b.outline_px)).T).max())
        for a, b in zip(known.places, kept.places, strict=True)
    ]
    assert sum(shift > 5 for shift in moved) == 1
    assert sum(shift < 0.2 for shift in moved) == len(moved) - 1
