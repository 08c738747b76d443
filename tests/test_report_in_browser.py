"""The page of a report in a real browser (Debian's chromium), opened from disk."""

from __future__ import annotations

import base64
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.test_palette import TEXT, contrast
from verify.reports.rebuild import ROOT

BROWSER, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
PICTURES = os.environ.get("FEWWIRE_PICTURES")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        BROWSER is None or DRIVER is None,
        reason="no chromium and chromedriver here (Debian: chromium, chromium-driver)",
    ),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from selenium.webdriver import Chrome, ChromeOptions, ChromeService

    options = ChromeOptions()
    options.binary_location = BROWSER or ""
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = Chrome(options=options, service=ChromeService(DRIVER))
    yield driver
    driver.quit()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """The report of the puppet theatre, anew."""
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    size(browser, 1280, 900)
    emulate(browser, scheme="light")
    browser.get((ROOT / "reports" / "puppet_theatre" / "report.html").as_uri())
    yield browser
    assert browser.get_log("browser") == []
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [
        m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"
    ]
    # The page itself, and nothing from anywhere else.
    assert [url for url in asked if not url.startswith("data:")] == [
        browser.current_url.split("#")[0]
    ]


def size(browser: Any, width: int, height: int) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )


def emulate(browser: Any, *, scheme: str, media: str = "") -> None:
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {
            "media": media,
            "features": [
                {"name": "prefers-color-scheme", "value": scheme},
                {"name": "prefers-reduced-motion", "value": "reduce"},
            ],
        },
    )


def all_of(browser: Any) -> dict[str, float]:
    root = "document.documentElement"
    width, height = browser.execute_script(f"return [{root}.clientWidth, {root}.scrollHeight]")
    return {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}


def picture(browser: Any, name: str) -> bytes:
    """All of the page, also as a file if pictures are wanted."""
    shot = browser.execute_cdp_cmd(
        "Page.captureScreenshot", {"captureBeyondViewport": True, "clip": all_of(browser)}
    )
    data = base64.b64decode(shot["data"])
    if PICTURES:
        (Path(PICTURES) / f"{name}.png").write_bytes(data)
    return data


def find(browser: Any, css: str) -> Any:
    return browser.find_element("css selector", css)


def now(browser: Any) -> str:
    return str(find(browser, "#now").text)


def values(browser: Any) -> dict[str, str]:
    rows = browser.find_elements("css selector", ".run:not(.away) .values tbody tr")
    return {
        row.find_element("css selector", "th").text: row.find_element("css selector", "td").text
        for row in rows
    }


def test_it_begins_where_the_link_fails(page: Any) -> None:
    assert now(page) == "tick 4 (200 ms), where it fails: ghost"
    shown = values(page)
    assert shown["in.trapdoor"] == "pressed"
    assert shown["in.lantern"] == "\u2013"
    assert shown["out.moon"] == "strikes"
    assert shown["line"] == "high"
    here = page.find_elements("css selector", ".run:not(.away) .fw .here")
    assert [rect.get_attribute("data-tick") for rect in here] == ["4"]


def test_the_slider_is_moved_by_keys(page: Any) -> None:
    from selenium.webdriver import Keys

    slider = find(page, "#moment")
    slider.send_keys(Keys.ARROW_LEFT)
    assert now(page) == "tick 3 (150 ms)"
    assert slider.get_attribute("aria-valuetext") == "tick 3 (150 ms)"
    assert values(page)["line"] == "low"
    slider.send_keys(Keys.HOME)
    assert now(page) == "tick 0 (0 s)"
    assert values(page)["in.lantern"] == "pressed"
    here = page.find_elements("css selector", ".run:not(.away) .fw .here")
    assert [rect.get_attribute("data-tick") for rect in here] == ["0"]
    slider.send_keys(Keys.END)
    assert now(page).startswith("tick 4 ")


def test_buttons_go_from_failure_to_failure(page: Any) -> None:
    runs = json.loads(find(page, "#runs-data").get_attribute("textContent"))
    failing = [k for k, run in enumerate(runs) if run["fails"] is not None]
    titles = [
        title.get_attribute("textContent")
        for title in page.find_elements("css selector", ".run h3")
    ]
    assert 1 < len(failing) < len(runs)

    met = []
    for _ in failing:
        find(page, "#next").click()
        assert "where it fails" in now(page)
        met.append(find(page, ".run:not(.away) h3").text)
    assert met == [titles[k] for k in [*failing[1:], failing[0]]]
    find(page, "#previous").click()
    assert find(page, ".run:not(.away) h3").text == titles[failing[-1]]
    # From the middle of the first run, the next failure is its own.
    find(page, "#next").click()
    find(page, "#moment").send_keys("\ue011")  # Home
    find(page, "#next").click()
    assert now(page) == "tick 4 (200 ms), where it fails: ghost"


def test_a_click_on_the_picture_moves_the_slider(page: Any) -> None:
    rect = find(page, ".run:not(.away) .fw [data-tick='2']")
    page.execute_script(
        "arguments[0].dispatchEvent(new MouseEvent('click', {bubbles: true}))", rect
    )
    assert now(page) == "tick 2 (100 ms)"


def test_a_margin_leads_to_the_run_past_it(page: Any) -> None:
    link = find(page, "#margins a[data-run]")
    number = int(link.get_attribute("data-run"))
    link.click()
    assert find(page, ".run:not(.away)").get_attribute("id") == f"run-{number + 1}"
    assert page.current_url.endswith("#runs")


def test_keys_alone_reach_everything_in_order(page: Any) -> None:
    from selenium.webdriver import ActionChains, Keys

    met = []
    for _ in range(60):
        ActionChains(page).send_keys(Keys.TAB).perform()
        active = page.switch_to.active_element
        if active.tag_name == "body":
            break
        met.append(
            active.get_attribute("id")
            or active.get_attribute("aria-label")
            or active.get_attribute("href").split("#")[1]
        )
        if len(met) == 1:
            assert active.is_displayed()
            assert active.rect["x"] >= 0  # the skip link comes into view
    assert met[:3] == ["answer", "answer", "link"]
    order = [met.index(k) for k in ("which-run", "previous", "next", "moment")]
    assert order == sorted(order)
    assert met[-1] == "Graph of the receiver's modes"


def test_every_control_has_a_name_and_the_page_its_landmarks(page: Any) -> None:
    tree = page.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    named = [
        (node["role"]["value"], node.get("name", {}).get("value", ""))
        for node in tree
        if not node.get("ignored") and "role" in node
    ]
    roles = {role for role, _ in named}

    assert {"main", "banner", "navigation", "region"} <= roles
    for role, name in named:
        if role in (
            "slider",
            "button",
            "combobox",
            "link",
            "region",
            "navigation",
            "image",
            "article",
        ):
            assert name.strip(), role
    assert ("slider", "Time") in [(role, name.strip()) for role, name in named]


GROUNDS = """
function ground(element) {
  for (let e = element; e; e = e.parentElement) {
    const colour = getComputedStyle(e).backgroundColor;
    if (colour !== 'rgba(0, 0, 0, 0)') return colour;
  }
  return 'rgb(255, 255, 255)';
}
const found = [];
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const parent = walker.currentNode.parentElement;
  if (!walker.currentNode.textContent.trim() || !parent.getClientRects().length) continue;
  if (parent.closest('script, style')) continue;
  const style = getComputedStyle(parent);
  const colour = parent instanceof SVGElement ? style.fill : style.color;
  const text = walker.currentNode.textContent.trim().slice(0, 30);
  found.push([parent.tagName, text, colour, ground(parent)]);
}
return found;
"""


def as_hex(colour: str) -> str:
    parts = colour[colour.index("(") + 1 : -1].split(",")
    assert len(parts) == 3 or float(parts[3]) == 1, colour
    return "#" + "".join(f"{int(part):02x}" for part in parts[:3])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_as_it_is_shown_has_enough_contrast(page: Any, scheme: str) -> None:
    """WCAG 2.2, success criterion 1.4.3, of the colours that the browser came to."""
    emulate(page, scheme=scheme)
    found = page.execute_script(GROUNDS)
    assert len(found) > 150
    for tag, text, colour, ground in found:
        assert contrast(as_hex(colour), as_hex(ground)) >= TEXT, (tag, text, colour, ground)
    picture(page, f"desktop-{scheme}")


@pytest.mark.parametrize("width", [320, 400, 1280])
def test_nothing_is_wider_than_the_screen(page: Any, width: int) -> None:
    """WCAG 2.2, success criterion 1.4.10 (reflow): no scrolling sideways at 320 px, but in
    tables and pictures."""
    size(page, width, 800)
    assert page.execute_script("return document.documentElement.scrollWidth") <= width
    picture(page, f"wide-{width}")


def test_all_runs_are_printed_in_light_colours(page: Any, tmp_path: Path) -> None:
    emulate(page, scheme="dark", media="print")
    runs = page.find_elements("css selector", ".run")
    assert len(runs) > 3
    assert all(run.is_displayed() for run in runs)
    assert not find(page, ".controls").is_displayed()
    ground = page.execute_script(
        "return getComputedStyle(document.documentElement).backgroundColor"
    )
    assert as_hex(ground) == "#ffffff"
    for tag, text, colour, below in page.execute_script(GROUNDS):
        assert contrast(as_hex(colour), as_hex(below)) >= TEXT, (tag, text, colour, below)
    picture(page, "printed")
    printed = page.execute_cdp_cmd("Page.printToPDF", {"printBackground": False})
    data = base64.b64decode(printed["data"])
    assert data.startswith(b"%PDF")
    if PICTURES:
        (Path(PICTURES) / "printed.pdf").write_bytes(data)


def test_without_scripts_all_is_there(page: Any) -> None:
    page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    page.refresh()
    try:
        runs = page.find_elements("css selector", ".run")
        assert len(runs) > 3
        assert find(page, "#runs").size["height"] > 1000
    finally:
        page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    page.get_log("performance")
    page.get(page.current_url)
