"""A Chromium that is watched: what it complains of and whom it asks, on a screen of any size and scheme."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from chromium import CHROMEDRIVER, CHROMIUM, QUIET
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.support.wait import WebDriverWait
from site_pages import Page

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
INSTALL_AXE = "npm install --prefix tests/browser --no-package-lock --no-audit --no-fund --ignore-scripts"
SCHEMES = ("light", "dark")
PHONE_PX = 600
"""Narrower screens are a phone's: the page's own viewport line counts, scroll bars take no room."""
PATIENCE_S = 30
AT_HOME = ("data", "blob", "about")
"""Schemes that ask nobody."""
COLOUR_RULES = ("color-contrast", "link-in-text-block")
"""Of axe, those that ask what colours there are."""
RUN_AXE = """
const [rules, done] = arguments, only = rules.length ? {runOnly: rules} : {};
axe.run(document, {resultTypes: ["violations"], ...only}).then(found => done(found.violations.flatMap(rule =>
  rule.nodes.map(node => [
    node.impact ?? rule.impact, `${rule.id}: ${node.html.slice(0, 200)}: ${node.failureSummary}`])
)), error => done([["critical", `axe: ${error}`]]));
"""


class Watched:
    """A Chromium with an empty profile and no way out, which remembers its console and its requests.

    Parameters
    ----------
    profile : Path
        An empty folder for what it keeps.
    """

    def __init__(self, profile: Path) -> None:
        options = ChromeOptions()
        options.binary_location = str(CHROMIUM)
        quiet = [
            *QUIET,
            "--headless=new",
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE 127.0.0.2",
            # One process for all pages: beginning one for each, and one to spare, costs as much as the page.
            "--renderer-process-limit=1",
            "--disable-site-isolation-trials",
            "--disable-features=SpareRendererForSitePerProcess",
        ]
        for flag in (*quiet, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        # A driver that is named is not looked for, here or elsewhere.
        self.driver = Chrome(options=options, service=Service(CHROMEDRIVER))
        self.driver.get("about:blank")  # it begins on a page of its own, with requests that are no site's
        self.home = ""
        """The address of the site that is visited; all others are foreign."""
        self.refused: set[str] = set()
        """Addresses whose refusal is what a test wants to see: the console's line of it is no complaint."""
        self.faults()

    def open(self, page: Page) -> None:
        """Open a page of the site."""
        address = self.home + page.path.removeprefix("/")
        if page.status != 200:
            self.refused.add(address)
        self.driver.get(address)

    def press(self, *keys: str) -> None:
        """Press keys, one after the other, wherever the focus is."""
        ActionChains(self.driver).send_keys(*keys).perform()

    def wait_for(self, script: str, *values: object) -> None:
        """Wait until a script's expression is true, on this page or on the one that it is leaving for."""
        waiting = WebDriverWait(self.driver, PATIENCE_S, 0.05, ignored_exceptions=[WebDriverException])
        waiting.until(lambda driver: driver.execute_script(f"return {script}", *values), f"never: {script}")

    def read(self, text: str) -> None:
        """Wait until the page says a text; what is tapped then is no second half of a double tap."""
        self.wait_for("document.querySelector('main').innerText.includes(arguments[0])", text)
        self.wait_for("sessionStorage.removeItem('sent') === undefined")

    def set_screen(self, width_px: int, height_px: int, scheme: str) -> None:
        """Show pages as a screen of a size would, light or dark."""
        size = {"width": width_px, "height": height_px, "deviceScaleFactor": 1, "mobile": width_px < PHONE_PX}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.set_scheme(scheme)

    def set_scheme(self, scheme: str) -> None:
        """Show pages, also the one that is there, light or dark."""
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})

    def set_own_screen(self) -> None:
        """Take back what `set_screen` pretended."""
        self.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})

    def overflow_px(self) -> int:
        """By how much the page is wider than the screen."""
        # Not innerWidth: on a phone that grows with what overflows.
        script = "return document.scrollingElement.scrollWidth - document.documentElement.clientWidth"
        return int(self.driver.execute_script(script))

    @contextmanager
    def auditing(self) -> Iterator[None]:
        """Have axe on all pages that are opened meanwhile: sent to each it takes as long again as it runs."""
        source = {"source": AXE.read_text(encoding="utf-8")}
        sent = self.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", source)
        try:
            yield
        finally:
            self.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", sent)

    def audit(self, *rules: str) -> tuple[list[str], list[str]]:
        """What axe finds on a page that was opened with it: the serious and critical, then the rest.

        By some of its rules, or by all when none is named.
        """
        found = self.driver.execute_async_script(RUN_AXE, rules)
        grave = [text for impact, text in found if impact in ("serious", "critical")]
        return grave, [f"{impact}: {text}" for impact, text in found if impact not in ("serious", "critical")]

    def photograph(self, path: Path) -> None:
        """Write the page as a PNG, at its full height."""
        self.wait_for("document.readyState === 'complete'")
        # A picture that waits to be scrolled to would be missing.
        self.driver.execute_script("for (const one of document.images) one.loading = 'eager'")
        self.wait_for("[...document.images].every(one => one.complete)")
        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
        path.write_bytes(base64.b64decode(shot["data"]))

    def faults(self) -> list[str]:
        """What went wrong since last asked: the console's complaints, and whom but the site it asked."""
        return [*self._complaints(), *self._strangers()]

    def _complaints(self) -> list[str]:
        return [
            f"console: {line['message']}"
            for line in self.driver.get_log("browser")
            if line["level"] in ("SEVERE", "WARNING")
            and not any(line["message"].startswith(f"{address} ") for address in self.refused)
        ]

    def _strangers(self) -> list[str]:
        sent = [json.loads(line["message"])["message"] for line in self.driver.get_log("performance")]
        return [f"asks {url}" for event in sent if (url := _asked(event)) and self._is_strange(url)]

    def _is_strange(self, url: str) -> bool:
        parts, home = urlsplit(url), urlsplit(self.home)
        return parts.scheme not in AT_HOME and (parts.scheme, parts.netloc) != (home.scheme, home.netloc)


@dataclass(frozen=True)
class Visit:
    """A trial, and the browser that is on its review site."""

    folder: Path
    browser: Watched


def _asked(event: dict[str, Any]) -> str | None:
    """The address that an event of the network asks for, None of all other events."""
    read: dict[str, Callable[[dict[str, Any]], str]] = {
        "Network.requestWillBeSent": lambda said: str(said["request"]["url"]),
        "Network.webSocketCreated": lambda said: str(said["url"]),
    }
    found = read.get(event["method"])
    return found(event["params"]) if found else None
