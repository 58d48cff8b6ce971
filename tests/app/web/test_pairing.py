"""Phones on the network: one code lets one phone in, once; whoever isn't paired gets nothing of the trial."""

from __future__ import annotations

import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import cv2
import numpy as np
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from colscan.app.web import Pairing, make_app, qr_letters
from colscan.app.web.pairing import GOOD_FOR_S, LETTERS, MOST_WRONG, SILENCE_S

PORT = 8750
LAN = f"192.168.1.5:{PORT}"
OURS = f"http://{LAN}"
HOME = f"http://127.0.0.1:{PORT}"
PHONE, OTHER = "192.168.1.20", "192.168.1.21"
COOKIE = f"colscan-{PORT}"


class Clock:
    """Seconds that pass when they are told to."""

    now_s = 1000.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now_s


class Site:
    """A review page on a network, with its terminal and its clock."""

    def __init__(self, folder: Path, *, https: bool = False) -> None:
        self.said: list[str] = []
        self.clock = Clock()
        self.pairing = Pairing(LAN, https=https, say=self.said.append, clock=self.clock)
        self.ours = OURS.replace("http:", "https:") if https else OURS
        self.app = make_app(folder, port=PORT, https=https, pairing=self.pairing)

    def browser(self, address: str = PHONE) -> FlaskClient:
        """A browser at an address."""
        browser = self.app.test_client()
        browser.environ_base["REMOTE_ADDR"] = address
        return browser

    def send(self, phone: FlaskClient, code: str, **headers: str) -> TestResponse:
        """Send a code as the page that pairs does, unless the headers say otherwise."""
        sent = {"Origin": self.ours, "Sec-Fetch-Site": "same-origin"} | headers
        return phone.post("/pair", base_url=self.ours, data={"code": code}, headers=sent)

    def paired(self) -> FlaskClient:
        """A phone that is paired."""
        phone = self.browser()
        assert self.send(phone, self.pairing.new_code().scanned).status_code == 303
        return phone


@pytest.fixture
def site(trial: Path) -> Site:
    """The review page of a trial without photos, on a network."""
    return Site(trial)


def token(browser: FlaskClient) -> str:
    """The token that this machine's page of phones shows."""
    found = re.search(r'name="token" value="([^"]+)"', browser.get("/phones", base_url=HOME).text)
    assert found
    return found[1]


def press(browser: FlaskClient, path: str) -> TestResponse:
    """Press a button of this machine's page of phones."""
    return browser.post(path, base_url=HOME, data={"token": token(browser)}, headers={"Origin": HOME})


def status(browser: FlaskClient, path: str = "/", base: str = OURS) -> int:
    """What a page answers."""
    return browser.get(path, base_url=base).status_code


# ---- a code lets one phone in


@pytest.mark.parametrize("way", ["scanned", "typed", "small"])
def test_a_code_lets_a_phone_in(site: Site, way: str) -> None:
    """Scanned or typed, also in small letters and groups; the phone is sent to the first page."""
    code, phone = site.pairing.new_code(), site.browser()
    assert status(phone) == 403
    sent = {"scanned": code.scanned, "typed": code.typed, "small": f" {code.shown.lower()} "}[way]
    answer = site.send(phone, sent)
    assert (answer.status_code, answer.location) == (303, "/")
    assert "hornbeam" in phone.get("/", base_url=OURS).text
    assert site.said[-1] == f"paired a phone: {PHONE}"
    (known,) = site.pairing.phones
    assert known.address == PHONE


def test_the_cookie_is_locked_away(trial: Path) -> None:
    """From scripts and other sites; by HTTPS also from plain connections."""
    for https in (False, True):
        site = Site(trial, https=https)
        cookie = site.send(site.browser(), site.pairing.new_code().scanned).headers["Set-Cookie"]
        name, value = cookie.split(";")[0].split("=", 1)
        assert name == COOKIE
        assert len(value) >= 43  # 256 bits by base64
        words = {word.strip() for word in cookie.split(";")[1:]}
        assert {"HttpOnly", "SameSite=Strict"} <= words
        assert ("Secure" in words) is https


def test_codes_are_random(site: Site) -> None:
    """At least 128 bits to scan, 39 to type; none like the other."""
    codes = [site.pairing.new_code() for _ in range(50)]
    assert len({code.scanned for code in codes}) == len({code.typed for code in codes}) == 50
    assert min(len(code.scanned) for code in codes) * 6 >= 128
    assert len(LETTERS) ** len(codes[0].typed) > 5e11


def test_a_used_code_is_void(site: Site) -> None:
    """Played again, by the same phone or another one, in either form."""
    code = site.pairing.new_code()
    phone, other = site.browser(), site.browser(OTHER)
    assert site.send(phone, code.scanned).status_code == 303
    for sent in (code.scanned, code.typed):
        answer = site.send(other, sent)
        assert answer.status_code == 403
        assert "Set-Cookie" not in answer.headers
        assert "isn&#39;t good" in answer.text
    assert status(other) == 403
    assert len(site.pairing.phones) == 1


def test_an_old_code_is_void(site: Site) -> None:
    """Ten minutes after it was made; and as soon as there is a newer one."""
    code = site.pairing.new_code()
    site.clock.now_s += GOOD_FOR_S - 1
    assert site.pairing.code == code
    site.clock.now_s += 1
    assert site.send(site.browser(), code.scanned).status_code == 403
    first, second = site.pairing.new_code(), site.pairing.new_code()
    assert site.send(site.browser(), first.scanned).status_code == 403
    assert site.send(site.browser(), second.scanned).status_code == 303


@pytest.mark.parametrize("wrong", ["", " ", "x", "ünïcode", "\0", "A" * 64])
def test_a_wrong_code_is_refused(site: Site, wrong: str) -> None:
    """None at all, too."""
    site.pairing.new_code()
    assert site.send(site.browser(), wrong).status_code == 403
    assert site.send(site.browser(), wrong).headers.get("Set-Cookie") is None
    assert not site.pairing.phones


def test_guessing_ends(site: Site) -> None:
    """The tenth wrong code makes the right one void; the terminal says so once, with the address."""
    code = site.pairing.new_code()
    for number in range(MOST_WRONG - 1):
        assert site.send(site.browser(OTHER), f"wrong{number}").status_code == 403
    assert site.said == []
    assert site.pairing.code is not None
    site.send(site.browser(OTHER), "wrong")
    assert site.send(site.browser(), code.scanned).status_code == 403
    (line,) = site.said
    assert OTHER in line
    assert "void" in line


@pytest.mark.parametrize("_", range(5))
def test_a_race_for_a_code_has_one_winner(site: Site, _: int) -> None:
    """Eight phones send the same code at once."""
    code, begin = site.pairing.new_code(), Barrier(8)

    def send(number: int) -> int:
        phone = site.browser(f"192.168.1.{30 + number}")
        begin.wait(20)
        return site.send(phone, code.scanned).status_code

    with ThreadPoolExecutor(8) as pool:
        answers = sorted(pool.map(send, range(8)))
    assert answers == [303] + [403] * 7
    assert len(site.pairing.phones) == 1


def test_get_pairs_nobody(site: Site) -> None:
    """The code in the address, however it is put there: the page stays the page, and the code good."""
    code, phone = site.pairing.new_code(), site.browser()
    for path in ("/pair", f"/pair?code={code.scanned}", f"/pair?code={code.typed}"):
        answer = phone.get(path, base_url=OURS)
        assert answer.status_code == 200
        assert "Set-Cookie" not in answer.headers
        assert code.scanned not in answer.text
        assert code.typed not in answer.text
    assert status(phone) == 403
    assert site.pairing.code == code


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": f"https://{LAN}"},
        {"Origin": f"http://192.168.1.5:{PORT + 1}"},
        {"Sec-Fetch-Site": "cross-site"},
    ],
)
def test_no_other_page_pairs(site: Site, headers: dict[str, str]) -> None:
    """A form elsewhere with the right code; the code stays good."""
    code = site.pairing.new_code()
    assert site.send(site.browser(), code.scanned, **headers).status_code == 403
    assert site.pairing.code == code


def test_the_other_scheme_is_foreign(trial: Path) -> None:
    """By HTTPS, a form of a plain page of the same address is refused."""
    site = Site(trial, https=True)
    code = site.pairing.new_code()
    assert site.send(site.browser(), code.scanned, Origin=OURS).status_code == 403
    assert site.send(site.browser(), code.scanned).status_code == 303


# ---- who isn't paired gets nothing


def routes(site: Site) -> Iterator[tuple[str, str]]:
    """Every method and path that the application knows but the page that pairs and its files."""
    for rule in site.app.url_map.iter_rules():
        path = rule.rule.replace("<name>", "site.js")
        for method in rule.methods or ():
            if path != "/pair":
                yield method, path


@pytest.mark.parametrize("cookie", [None, "", "x" * 43, "ünïcode"])
def test_no_cookie_no_page(site: Site, cookie: str | None) -> None:
    """Nor with a forged one; by no route and method, nor where there is none; the trial isn't told."""
    site.pairing.new_code()
    known = token(site.browser("127.0.0.1"))
    stranger = site.browser()
    if cookie is not None:
        stranger.set_cookie(COOKIE, cookie, domain="192.168.1.5")
    asked = [*routes(site), ("GET", "/nothing"), ("POST", "/nothing"), ("GET", "/static/patch.js")]
    assert ("GET", "/crop") in asked
    assert ("POST", "/verdict") in asked
    for method, path in asked:
        answer = stranger.open(
            path, method=method, base_url=OURS, headers={"Origin": OURS, "X-Colscan-Token": known}
        )
        assert answer.status_code == 403, (method, path)
        if method != "HEAD":
            assert "Pair this phone" in answer.text
        for secret in ("hornbeam", "PO-3", "B01", known, "verdicts"):
            assert secret not in answer.text


def test_the_page_that_pairs_says_nothing_of_the_trial(site: Site) -> None:
    """Only what it needs is there: its own style and script, and how to go on without one."""
    page = site.browser().get("/pair", base_url=OURS)
    assert "hornbeam" not in page.text
    assert token(site.browser("127.0.0.1")) not in page.text
    assert "isn&#39;t encrypted" in page.text or "isn't encrypted" in page.text
    assert "Server" not in page.headers
    files = re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)
    assert len(files) == 4
    for file in files:
        assert status(site.browser(), file) == 200


def test_no_header_makes_a_stranger_at_home(site: Site) -> None:
    """What a request says of where it comes from counts for nothing."""
    stranger = site.browser()
    for name in ("X-Forwarded-For", "X-Real-IP", "Forwarded", "X-Forwarded-Host", "Remote-Addr", "Client-IP"):
        value = "for=127.0.0.1" if name == "Forwarded" else "127.0.0.1"
        for base in (OURS, HOME):
            assert stranger.get("/", base_url=base, headers={name: value}).status_code == 403
    for address in ("127.0.0.2", "::1", "::ffff:127.0.0.1", "", "127.0.0.1, 192.168.1.20"):
        assert status(site.browser(address)) == 403


def test_a_cookie_of_another_start_is_refused(site: Site, trial: Path) -> None:
    """Pairings end with the process."""
    phone = site.paired()
    cookie = phone.get_cookie(COOKIE, domain="192.168.1.5")
    assert cookie
    later = Site(trial).browser()
    later.set_cookie(COOKIE, cookie.value, domain="192.168.1.5")
    assert status(later) == 403


def test_a_paired_phone_needs_the_token(site: Site) -> None:
    """As this machine's browser does; and a cookie carried to another site's form doesn't help."""
    phone = site.paired()
    assert phone.post("/verdict", base_url=OURS, headers={"Origin": OURS}).status_code == 403
    known = token(site.browser("127.0.0.1"))
    form = {"token": known, "bag": "B01", "call": "unsure"}
    for origin in ("http://evil.example", f"https://{LAN}", HOME.replace("127.0.0.1", "192.168.1.6")):
        sent = phone.post("/verdict", base_url=OURS, data=form, headers={"Origin": origin})
        assert sent.status_code == 403


@pytest.mark.parametrize(
    "host",
    ["evil.example", f"evil.example:{PORT}", "192.168.1.5", "192.168.1.6:8750", f"{LAN}.evil.example", ""],
)
def test_a_foreign_host_is_refused(site: Site, host: str) -> None:
    """Also from a paired phone and from this machine, and for the page that pairs."""
    for browser in (site.paired(), site.browser(), site.browser("127.0.0.1")):
        for path in ("/", "/pair", "/static/site.css"):
            answer = browser.get(path, base_url=OURS, headers={"Host": host})
            assert answer.status_code == 403
            assert "hornbeam" not in answer.text
            assert not host or host not in answer.text


def test_the_terminal_is_told_sparingly(site: Site) -> None:
    """A line a minute, whoever knocks."""
    for number in range(20):
        status(site.browser(f"192.168.1.{number}"))
    assert len(site.said) == 1
    site.clock.now_s += SILENCE_S
    status(site.browser(OTHER))
    assert [OTHER in line for line in site.said] == [False, True]


# ---- this machine's page of phones


def test_this_machine_needs_no_pairing(site: Site) -> None:
    """Its own page leads to the page of phones; a phone's doesn't."""
    home = site.browser("127.0.0.1")
    assert 'href="/phones"' in home.get("/", base_url=HOME).text
    assert 'href="/phones"' not in site.paired().get("/", base_url=OURS).text
    assert site.send(site.browser(), "x").status_code == 403


def test_phones_are_for_this_machine(site: Site) -> None:
    """A paired phone sees no code and lets nobody in or out, even with the token."""
    phone = site.paired()
    known = token(site.browser("127.0.0.1"))
    assert status(phone, "/phones") == 403
    for path in ("/phones/code", "/phones/unpair"):
        sent = phone.post(path, base_url=OURS, data={"token": known}, headers={"Origin": OURS})
        assert sent.status_code == 403
    assert site.pairing.code is None
    assert len(site.pairing.phones) == 1


def test_a_code_on_the_page(site: Site) -> None:
    """Made by a press, shown as a picture and to type; looking makes none."""
    home = site.browser("127.0.0.1")
    assert "<svg" not in home.get("/phones", base_url=HOME).text
    assert site.pairing.code is None
    assert press(home, "/phones/code").location == "/phones"
    page = home.get("/phones", base_url=HOME).text
    code = site.pairing.code
    assert code is not None
    assert code.shown in page
    assert code.scanned not in page
    assert "<svg" in page
    assert " style=" not in page
    assert site.send(site.browser(), code.typed).status_code == 303
    assert f"<li>{PHONE}, since " in home.get("/phones", base_url=HOME).text


def test_unpair_all(site: Site) -> None:
    """Phones are out at once, and so is who holds the code; that takes a press with the token."""
    phone, home = site.paired(), site.browser("127.0.0.1")
    code = site.pairing.new_code()
    refused = home.post("/phones/unpair", base_url=HOME, headers={"Origin": HOME})
    assert refused.status_code == 403
    assert home.get("/phones/unpair", base_url=HOME).status_code == 405
    assert status(phone) == 200
    assert press(home, "/phones/unpair").status_code == 303
    assert status(phone) == 403
    assert site.send(site.browser(), code.scanned).status_code == 403
    assert "unpaired 1 phone" in site.said


def test_without_lan_there_is_no_pairing(trial: Path) -> None:
    """No page of it, and nobody but this machine gets in."""
    browser = make_app(trial, port=PORT).test_client()
    for path in ("/pair", "/phones"):
        assert browser.get(path, base_url=HOME).status_code == 404
    assert "Only this machine can open this page." in browser.get("/", base_url=HOME).text
    browser.environ_base["REMOTE_ADDR"] = PHONE
    for path in ("/", "/pair", "/static/site.css"):
        answer = browser.get(path, base_url=HOME)
        assert answer.status_code == 403
        assert "hornbeam" not in answer.text


def test_the_code_on_a_terminal() -> None:
    """Black on white, by name of the colours, with the standard's margin; each line as wide."""
    text = f"{OURS}/pair#{'x' * 32}"
    lines = qr_letters(text).splitlines()
    cells = [re.findall(r"\x1b\[(97|30);(107|40)m▀", line) for line in lines]
    assert {len(row) for row in cells} == {2 * len(cells) - 1}
    assert len(cells[0]) < 80
    assert set(cells[0] + cells[1] + cells[-1]) == {("97", "107")}
    for row in cells:
        assert row[:4] + row[-4:] == [("97", "107")] * 8
    drawn = np.array(
        [[[int(tone in ("97", "107")) for tone in part] for part in zip(*row, strict=True)] for row in cells]
    )
    picture = np.kron(drawn.reshape(-1, drawn.shape[2]) * 255, np.ones((8, 8))).astype(np.uint8)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == text
