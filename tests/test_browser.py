"""The pages in a browser of the size of a 10-inch tablet: nothing runs off the side, fingers find their targets, nothing is fetched
from elsewhere. Long: it makes the whole demo.
"""

import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, sync_playwright

from gearcase.record.results import latest, numbers
from gearcase.record.store import Store, store_path
from gearcase.web.card import STAGES

pytestmark = pytest.mark.long

ROOT = Path(__file__).parents[1]
CHROMIUM = Path("/usr/bin/chromium")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SIZES = {"lying": (1280, 800), "standing": (800, 1280)}
PAGES = ("", "survey", "plan", "fit", "prove", "baseline", "watch", "diagnose", "trend", "opened", "handover", "diary")
LEAST_TARGET = 44  # px
OFF_THE_SIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
TARGETS = "all => all.map(one => [one.textContent.trim(), one.getBoundingClientRect().height, one.getBoundingClientRect().width])"
CUT = """all => all.filter(one => one.scrollWidth > one.clientWidth + 1 && !one.closest('.wide'))
  .filter(one => getComputedStyle(one).display != 'inline').map(one => one.tagName + ': ' + one.textContent.slice(0, 60))"""
WIDER = """all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent.slice(0, 60))"""
SMALLEST_LETTERS = "all => Math.min(...all.map(one => parseFloat(getComputedStyle(one).fontSize)))"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, made whole."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    subprocess.run([sys.executable, ROOT / "examples" / "demo" / "run.py", folder], check=True, capture_output=True)
    return folder


@pytest.fixture(scope="module")
def address(demo: Path) -> Iterator[str]:
    """Where `gearcase serve` shows the demo; it must stop cleanly when it is interrupted."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gearcase.cli", "serve", str(demo), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert server.stdout is not None
    told = server.stdout.readline()
    assert told.startswith(f"http://127.0.0.1:{port}/")
    for _ in range(100):
        with socket.socket() as knock:
            if knock.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.1)
    yield f"http://127.0.0.1:{port}/"
    server.send_signal(2)
    _, said = server.communicate(timeout=20)
    assert (server.returncode, said) == (0, "")


@pytest.fixture(params=SIZES)
def browser(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BrowserContext]:
    if not CHROMIUM.exists() and not shutil.which("chromium"):
        pytest.fail("no chromium on this machine: apt-get install chromium")
    width, height = SIZES[request.param]
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            tmp_path / "profile", executable_path=CHROMIUM, args=FLAGS, viewport={"width": width, "height": height}
        )
        yield context
        context.close()


def opened(browser: BrowserContext) -> tuple[Page, list[str]]:
    """A page, and the list into which everything goes that should not happen on it."""
    wrong: list[str] = []
    page = browser.new_page()
    page.on("console", lambda message: wrong.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
    page.on("requestfailed", lambda request: wrong.append(f"failed: {request.url}"))
    page.on("response", lambda answer: wrong.append(f"{answer.status}: {answer.url}") if answer.status >= 400 else None)
    page.on("request", lambda one: None if one.url.startswith(("http://127.0.0.1:", "data:")) else wrong.append(one.url))
    return page, wrong


def test_every_page_fits_a_tablet_and_a_glove(browser: BrowserContext, address: str) -> None:
    page, wrong = opened(browser)
    for name in PAGES:
        page.goto(address + name)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        page.evaluate("document.fonts.ready")
        assert page.evaluate("document.fonts.check('600 18px Inter')"), name
        assert page.evaluate(OFF_THE_SIDE) == 0, f"/{name} runs off the side"
        assert page.eval_on_selector_all("main *, nav *, footer *", CUT) == [], name
        assert page.eval_on_selector_all(".wide:has(> table)", WIDER) == [], f"/{name}: a table to be pushed about"
        targets = page.eval_on_selector_all("a, summary, button, input", TARGETS)
        assert targets, name
        small = [target for target in targets if target[1] < LEAST_TARGET or target[2] < LEAST_TARGET]
        assert small == [], f"/{name}: too small for a glove"
        least = page.eval_on_selector_all("main *:not(svg *), footer *", SMALLEST_LETTERS)
        assert least >= 14, name
    assert wrong == []


def test_the_pages_show_what_the_demo_found(browser: BrowserContext, address: str, demo: Path) -> None:
    page, wrong = opened(browser)
    page.goto(address)
    assert "Conveyor CV-204" in page.inner_text("h1")
    for stage in ("fit", "prove", "baseline", "watch", "diagnose", "handover"):
        kept = latest(demo, stage)
        assert kept is not None
        statement = kept.document["statement"]
        page.goto(address)
        page.click(f"a[href='/{stage}']")
        assert page.inner_text("h1") == stage.capitalize()
        assert page.inner_text(".statement").lower().rstrip(".") == statement.lower().rstrip(".")
    page.goto(f"{address}survey")
    assert "still open" in page.inner_text(".statement") and page.locator("figure svg").count() == 3
    working = page.locator("details").first
    assert not working.locator("li").first.is_visible()
    working.locator("summary").click()
    assert working.locator("li").first.is_visible() and "Source:" in working.inner_text()
    page.goto(f"{address}diary")
    with Store.open(store_path(demo)) as store:
        happened = len(store.events())
    kept_runs = sum(len(numbers(demo, stage)) for stage in STAGES)
    assert page.locator(".diary li").count() == happened + kept_runs > 20
    assert wrong == []


def test_no_page_is_longer_than_a_thumb_bears(browser: BrowserContext, address: str) -> None:
    """At most 30 screens lying and standing, folded as it comes; the plan had 45. Common practice, no source."""
    page, wrong = opened(browser)
    for name in PAGES:
        page.goto(address + name)
        screens = page.evaluate("document.documentElement.scrollHeight / innerHeight")
        assert screens < 30, f"/{name}: {screens:.0f} screens"
    assert wrong == []


def test_a_link_into_what_is_folded_opens_it(browser: BrowserContext, address: str) -> None:
    page, wrong = opened(browser)
    page.goto(f"{address}survey")
    link = page.locator(".contents a", has_text="Input bearing, coupling end")
    inside = page.locator("#input-bearing-coupling-end table").first
    assert not inside.is_visible()
    link.click()
    inside.wait_for(state="visible", timeout=5000)
    heading = page.locator("summary h3", has_text="input bearing, coupling end")
    assert 0 <= page.evaluate("one => one.getBoundingClientRect().top", heading.element_handle()) < 200
    assert wrong == []


def test_on_paper_nothing_is_folded_and_no_list_of_links_is_printed(browser: BrowserContext, address: str) -> None:
    page, wrong = opened(browser)
    page.goto(f"{address}plan")
    page.emulate_media(media="print")
    inside = page.locator("details table, details li")
    assert inside.count() > 20 and all(one.is_visible() for one in inside.all())
    assert not page.locator(".contents").is_visible()
    assert wrong == []


def test_kept_web_pages_open_with_their_look(browser: BrowserContext, address: str) -> None:
    page, wrong = opened(browser)
    page.goto(f"{address}handover/0001/handover.html")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(251, 250, 246)"
    page.goto(f"{address}survey/0001/train.svg")
    assert page.locator("svg").count() == 1
    assert wrong == []


def test_the_night_scheme_turns_paper_and_drawings_together(browser: BrowserContext, address: str) -> None:
    page, wrong = opened(browser)
    page.emulate_media(color_scheme="dark")
    page.goto(f"{address}survey")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(22, 24, 27)"
    inks = page.eval_on_selector_all("figure svg text", "all => [...new Set(all.map(one => getComputedStyle(one).fill))]")
    assert "rgb(232, 230, 225)" in inks and "rgb(30, 35, 40)" not in inks
    assert wrong == []
