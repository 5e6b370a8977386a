"""The page in a real browser: headless Chromium (or Chrome), driven by its own driver.

Debian: ``apt-get install chromium chromium-driver``. A machine without them fails these tests.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator

import pytest
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys as Key
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from dampcell.functions.hosts.http.app import Application, create_app
from dampcell.functions.hosts.http.listening import loopback_sockets, make_server
from dampcell.functions.hosts.http.settings import Settings
from dampcell.functions.registry import REGISTRY, evaluate

pytestmark = pytest.mark.real_program

TOKEN = "t" * 43
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
READY = (
    "const out = document.querySelector('.output');"
    "return !!out && out.ariaBusy === 'false' && out.children.length > 0"
)


@pytest.fixture(scope="module")
def server() -> Iterator[Application]:
    """Run a real server on a free port."""
    sockets = loopback_sockets(0)
    app = create_app(Settings(token=TOKEN, port=sockets[0].getsockname()[1], workers=1))
    ready = threading.Event()
    running = make_server(app, ready.set)
    thread = threading.Thread(target=running.run, args=(sockets,))
    thread.start()
    assert ready.wait(60.0)
    yield app
    running.should_exit = True
    thread.join(60.0)
    for opened in sockets:
        opened.close()


@pytest.fixture(scope="module")
def chrome() -> Iterator[Chrome]:
    """Start one browser for all tests."""
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    driver = shutil.which("chromedriver")
    assert browser, "install Chromium: apt-get install chromium chromium-driver"
    assert driver, "install its driver: apt-get install chromium-driver"
    options = ChromeOptions()
    options.binary_location = browser
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    started = Chrome(options=options, service=Service(driver))
    yield started
    started.quit()


class Page:
    """The page as a person sees it."""

    def __init__(self, chrome: Chrome, server: Application) -> None:
        self.chrome = chrome
        self.server = server

    def size(self, width: int, height: int = 900) -> None:
        """Give the window a size."""
        self.chrome.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
        )

    def media(self, **features: str) -> None:
        """Pretend a preference of the person."""
        told = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.chrome.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": told})

    def open(self, address: str | None = None) -> None:
        """Open the page with a fresh link, and wait until its list is there."""
        self.chrome.get("about:blank")
        self.chrome.get(self.server.new_link() if address is None else address)
        self.until("return document.querySelectorAll('#list li').length > 0")

    def show(self, name: str) -> None:
        """Choose a function, and wait for the result of its example."""
        self.run(f"location.hash = '#/f/{name}'")
        self.until(f"return document.title.startsWith('DAMP.{name} ')")
        self.until(READY)

    def run(self, script: str, *arguments: object) -> object:
        """Run a script in the page."""
        return self.chrome.execute_script(script, *arguments)

    def until(self, script: str) -> None:
        """Wait until a script says yes."""
        WebDriverWait(self.chrome, 60, poll_frequency=0.05).until(lambda _: self.run(script))

    def until_text(self, css: str, text: str) -> None:
        """Wait until an element shows a text."""
        WebDriverWait(self.chrome, 60, poll_frequency=0.05).until(lambda _: text in self.text(css))

    def find(self, css: str) -> WebElement:
        """Find an element."""
        return self.chrome.find_element(By.CSS_SELECTOR, css)

    def all(self, css: str) -> list[WebElement]:
        """Find all elements."""
        return self.chrome.find_elements(By.CSS_SELECTOR, css)

    def text(self, css: str) -> str:
        """Give the text of an element."""
        return str(self.run("return document.querySelector(arguments[0])?.textContent ?? ''", css))

    def field(self, label: str) -> WebElement:
        """Find the field with a label."""
        found = self.run(
            "return [...document.querySelectorAll('.field')].find(f => f.querySelector('label').firstChild"
            ".textContent === arguments[0]).querySelector('input, select, textarea')",
            label,
        )
        assert isinstance(found, WebElement)
        return found

    def retype(self, field: WebElement, text: str) -> None:
        """Replace what stands in a field."""
        field.clear()
        field.send_keys(text)

    def complaints(self) -> list[str]:
        """Give what the browser complained of since the last look."""
        return [f"{entry['level']}: {entry['message']}" for entry in self.chrome.get_log("browser")]  # type: ignore[no-untyped-call]  # the library's


@pytest.fixture
def page(chrome: Chrome, server: Application) -> Iterator[Page]:
    """Give the page, opened with a link, in a wide window."""
    opened = Page(chrome, server)
    opened.size(1280)
    opened.media()
    opened.open()
    opened.complaints()
    yield opened
    assert opened.complaints() == []
    chrome.get("about:blank")


def contrast(page: Page) -> list[str]:
    """List texts whose contrast is below what WCAG 2.2 (1.4.3) asks: 4.5, or 3 for large text."""
    found = page.run(
        """
        const linear = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
        const light = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
        const rgb = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
        const behind = (node) => {
          for (let at = node; at; at = at.parentElement) {
            const colour = rgb(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] === 1) return colour;
          }
          return [255, 255, 255];
        };
        const bad = [];
        const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
          const node = walk.currentNode.parentElement;
          const text = walk.currentNode.textContent.trim();
          if (!text || !node.checkVisibility() || node.closest('.unseen, .skip')) continue;
          const style = getComputedStyle(node);
          const front = rgb(node.closest('svg') ? style.fill : style.color);
          const [a, b] = [light(front), light(behind(node))].sort((x, y) => y - x);
          const size = parseFloat(style.fontSize);
          const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
          const ratio = (a + 0.05) / (b + 0.05);
          if (ratio < (large ? 3 : 4.5)) bad.push(`${text}: ${ratio.toFixed(2)}`);
        }
        return bad;
        """
    )
    assert isinstance(found, list)
    return [str(entry) for entry in found]


def test_the_link_connects_without_pasting_and_leaves_no_secret_in_the_address(page: Page) -> None:
    page.until_text("#status", "Connected")
    assert "key" not in page.chrome.current_url
    assert TOKEN not in page.chrome.page_source
    assert page.run("return Object.values(sessionStorage)") == [TOKEN]
    assert page.run("return localStorage.length + document.cookie.length") == 0


def test_going_back_does_not_bring_the_key_back(page: Page) -> None:
    page.show("OIL_INDEX")
    page.chrome.back()
    page.until("return location.hash === '#/'")
    assert "key" not in page.chrome.current_url


def test_a_link_that_was_used_says_what_to_do(page: Page) -> None:
    link = page.server.new_link()
    page.open(link)
    page.until_text("#status", "Connected")
    page.run("sessionStorage.clear()")
    page.open(link)
    page.until_text("#banner", "this link has been used")
    assert "dampcell serve --link" in page.text("#banner")
    assert page.text("#status") == "Not unlocked"
    # The browser itself notes the refusal.
    assert all("401" in line for line in page.complaints())


def test_without_a_link_help_is_there_and_a_calculation_says_what_is_missing(page: Page) -> None:
    page.run("sessionStorage.clear()")
    page.open(page.server.settings.address)
    page.until_text("#status", "Not unlocked")
    page.show("OIL_INDEX")
    assert "does not carry the token" in page.text(".output")
    assert all("401" in line for line in page.complaints())


def test_every_function_is_listed_with_its_help_arguments_units_and_source(page: Page) -> None:
    listed = page.run("return [...document.querySelectorAll('#list .name')].map(n => n.textContent)")
    assert listed == [f.name for f in REGISTRY.values() if f.family != "Trial"]
    for name in ("PLATE_STIFFNESS", "OIL_VISCOSITY", "STACK_CURVE"):
        page.show(name)
        function = REGISTRY[name]
        assert function.summary in page.text(".summary")
        shown = page.text("main")
        assert function.source in shown
        for argument in function.arguments:
            assert argument.name in page.text(".help-table")
            assert argument.help in page.text(".help-table")
        assert page.text("#formula").startswith(f"=DAMP.{name}(")


def test_each_example_is_calculated_as_in_a_direct_call(page: Page) -> None:
    for function in REGISTRY.values():
        if function.family == "Trial":
            continue
        page.show(function.name)
        outcome = evaluate(function.name, list(function.example_call))
        if isinstance(outcome.value, float):
            shown = page.text(".exact").removeprefix("In the cell: ") or page.text(".answer").split(" ")[0]
            assert float(shown.replace("−", "-")) == outcome.value, function.name
        elif isinstance(outcome.value, list):
            rows = page.run("return document.querySelectorAll('.values tbody tr').length")
            assert rows == len(outcome.value), function.name
        else:
            assert page.text(".answer") == str(outcome.value), function.name


def test_search_finds_by_what_a_tuner_would_say(page: Page) -> None:
    search = page.find("#search")
    search.send_keys("viscosity 40")
    page.until_text("#found", "functions found")
    names = page.run(
        "return [...document.querySelectorAll('#list li:not([hidden]) .name')].map(n => n.textContent)"
    )
    assert isinstance(names, list)
    assert "OIL_VISCOSITY" in names
    assert "PLATE_STIFFNESS" not in names
    page.retype(search, "no such thing")
    page.until_text("#found", "0 functions found")
    page.retype(search, "stack curve")
    search.send_keys(Key.ENTER)
    page.until_text("h1", "DAMP.STACK_CURVE")


def test_a_changed_field_changes_the_result_and_the_formula(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    page.retype(page.field("thickness"), "0,25 mm")
    wanted = evaluate("PLATE_STIFFNESS", [30.0, 12.0, "0,25 mm", 26.0]).value
    page.until_text(".exact", str(wanted))
    assert page.text("#formula") == '=DAMP.PLATE_STIFFNESS(30, 12, "0,25 mm", 26)'


def test_an_error_says_what_to_mend_and_marks_the_field(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    page.retype(page.field("outer diameter"), "8")
    page.until_text(".error", "must be larger than the clamp")
    assert "The cell shows #VALUE!" in page.text(".error")
    assert page.field("outer diameter").get_attribute("aria-invalid") == "true"
    page.retype(page.field("outer diameter"), "30")
    page.until("return !document.querySelector('.error')")
    assert page.field("outer diameter").get_attribute("aria-invalid") is None


def test_an_error_in_a_table_marks_its_row(page: Page) -> None:
    page.show("STACK_LIFT")
    page.retype(page.all(".grid input")[6], "abc")
    page.until_text(".error", "stack row 2, outer diameter: is not a number")
    marked = page.run("return [...document.querySelectorAll('[aria-invalid]')].map(e => e.ariaLabel)")
    assert marked == ["outer diameter, row 2"]


def test_markup_in_a_field_stays_text(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    page.retype(page.field("thickness"), "<img src=x onerror=alert(1)>")
    page.until_text(".error", "<img src=x onerror=alert(1)>")
    assert page.run("return document.querySelectorAll('main img').length") == 0


def test_rows_are_added_removed_and_walked_through_by_keyboard(page: Page) -> None:
    page.show("STACK_LIFT")
    label = "return document.activeElement.ariaLabel"
    page.all(".grid input")[1].click()
    active = page.chrome.switch_to.active_element
    active.send_keys(Key.END, Key.ARROW_RIGHT)
    assert page.run(label) == "thickness, row 1"
    page.chrome.switch_to.active_element.send_keys(Key.ARROW_DOWN)
    assert page.run(label) == "thickness, row 2"
    page.chrome.switch_to.active_element.send_keys(Key.ENTER)
    assert page.run(label) == "thickness, row 3"
    assert len(page.all(".grid tbody tr")) == 3
    page.find("[aria-label='Remove row 1']").click()
    assert len(page.all(".grid tbody tr")) == 2
    page.until_text(".error", "stack")


def test_cells_pasted_from_a_spreadsheet_fill_the_table(page: Page) -> None:
    page.show("STACK_LIFT")
    page.run(
        """
        const data = new DataTransfer();
        data.setData('text/plain', arguments[0]);
        document.querySelector('.grid input').dispatchEvent(
          new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }));
        """,
        "shim\t30\t0.2\t2\r\nshim\t24\t0.15\t1\r\nclamp\t12\t0.3\t1\r\n",
    )
    stack = [["shim", 30.0, 0.2, 2.0], ["shim", 24.0, 0.15, 1.0], ["clamp", 12.0, 0.3, 1.0]]
    page.until_text(".exact", str(evaluate("STACK_LIFT", [stack, 20.0, 26.0]).value))


def test_a_curve_is_drawn_and_read_by_keyboard(page: Page) -> None:
    page.show("STACK_CURVE")
    outcome = evaluate("STACK_CURVE", list(REGISTRY["STACK_CURVE"].example_call))
    assert isinstance(outcome.value, list)
    plots = page.all("svg.plot")
    assert len(plots) == 2
    assert "lift [mm]" in str(plots[0].get_attribute("aria-label"))
    points = page.run("return document.querySelector('svg.plot .curve').points.numberOfItems")
    assert points == len(outcome.value)
    page.run("document.querySelector('svg.plot').focus()")
    page.chrome.switch_to.active_element.send_keys(Key.END)
    page.until_text(".readout", "load 20 N")
    lift = outcome.value[-1][1]
    assert isinstance(lift, float)
    assert f"lift {lift:.6g} mm" in page.text(".readout")


def test_the_points_of_a_curve_stand_where_their_numbers_say(page: Page) -> None:
    page.show("STACK_CURVE")
    outcome = evaluate("STACK_CURVE", list(REGISTRY["STACK_CURVE"].example_call))
    assert isinstance(outcome.value, list)
    drawn = page.run("return [...document.querySelector('svg.plot .curve').points].map(p => [p.x, p.y])")
    assert isinstance(drawn, list)
    (x0, y0), (x1, y1), (x2, y2) = drawn
    (a0, b0, _), (a1, b1, _), (a2, b2, _) = outcome.value
    assert (x1 - x0) / (x2 - x0) == pytest.approx((a1 - a0) / (a2 - a0), abs=1e-3)
    assert (y1 - y0) / (y2 - y0) == pytest.approx((b1 - b0) / (b2 - b0), abs=1e-3)
    assert y2 < y0, "more lift stands higher"


def test_the_page_says_when_the_server_is_gone(page: Page) -> None:
    page.until_text("#status", "Connected")
    page.show("OIL_INDEX")
    page.chrome.execute_cdp_cmd("Network.enable", {})
    page.chrome.execute_cdp_cmd(
        "Network.emulateNetworkConditions",
        {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0},
    )
    try:
        page.find("button[type=submit]").click()
        page.until_text("#status", "Server not running")
        assert "Start it with “dampcell serve”" in page.text(".output")
    finally:
        page.chrome.execute_cdp_cmd(
            "Network.emulateNetworkConditions",
            {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1},
        )
    page.find("button[type=submit]").click()
    page.until("return !document.querySelector('.error')")
    assert all("ERR_INTERNET_DISCONNECTED" in line for line in page.complaints())


def test_how_to_connect_each_spreadsheet_is_shown(page: Page) -> None:
    page.find("#to-connect").click()
    page.until_text("h1", "Connect a spreadsheet")
    shown = page.run("return [...document.querySelectorAll('.guide')].map(guide => guide.id)")
    assert shown == ["connect-calc", "connect-excel", "connect-excel-desktop", "connect-http"]
    assert "dampcell connect calc" in page.text("#connect-calc")
    assert page.server.settings.address in page.text("#connect-http")


@pytest.mark.parametrize("name", ["STACK_CURVE", "DAMPING_CURVE", "OIL_VISCOSITY", "STACK_CHECK"])
def test_nothing_runs_out_of_a_task_pane(page: Page, name: str) -> None:
    page.size(320)
    fits = "const root = document.documentElement; return root.scrollWidth <= root.clientWidth"
    assert page.run(fits)
    page.show(name)
    page.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert page.run(fits)
    assert page.run("return getComputedStyle(document.querySelector('.side')).display") == "none"
    page.find(".back a").click()
    page.until("return document.body.dataset.view === 'list'")
    assert page.find("#search").is_displayed()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_has_the_contrast_that_the_standard_asks_for(page: Page, scheme: str) -> None:
    page.media(prefers_color_scheme=scheme)
    assert contrast(page) == []
    for name in ("STACK_CURVE", "DAMPING_SHARE", "OIL_VISCOSITY"):
        page.show(name)
        page.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        assert contrast(page) == [], name
    page.show("PLATE_STIFFNESS")
    page.retype(page.field("outer diameter"), "8")
    page.until("return !!document.querySelector('.error')")
    assert contrast(page) == []


def test_a_text_without_contrast_would_be_found(page: Page) -> None:
    page.run("document.querySelector('.summary').style.color = '#999999'")
    assert len(contrast(page)) == 1


def test_the_dark_scheme_is_dark(page: Page) -> None:
    background = "return getComputedStyle(document.body).backgroundColor"
    page.media(prefers_color_scheme="light")
    assert page.run(background) == "rgb(255, 255, 255)"
    page.media(prefers_color_scheme="dark")
    assert page.run(background) == "rgb(18, 25, 27)"


def test_all_is_reached_by_keyboard_and_seen_to_be(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    page.run("document.getElementById('skip').focus()")
    seen: list[str] = []
    for _ in range(200):
        told = page.run(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "const name = e.id || e.name || e.textContent.trim().slice(0, 20);"
            "return [name, s.outlineStyle !== 'none', e === document.body]"
        )
        assert isinstance(told, list)
        if told[2] and seen:
            break
        assert told[1], f"{told[0]} does not show that it has the focus"
        seen.append(str(told[0]))
        page.chrome.switch_to.active_element.send_keys(Key.TAB)
    for wanted in ("search", "to-connect", "Calculate", "Fill in the example", "Clear", "Copy"):
        assert wanted in seen
    assert sum(text.startswith("field-") for text in seen) == 4, "folded arguments are left out"


def test_every_field_and_button_has_a_name_and_ids_are_unique(page: Page) -> None:
    for name in ("STACK_CURVE", "DAMPING_CURVE"):
        page.show(name)
        page.run("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        nameless = page.run(
            "return [...document.querySelectorAll('input, select, textarea, button, a, svg[role=img]')]"
            ".filter(e => !(e.labels?.length || e.ariaLabel || e.textContent.trim())).map(e => e.outerHTML)"
        )
        assert nameless == []
        twice = page.run(
            "const ids = [...document.querySelectorAll('[id]')].map(e => e.id);"
            "return ids.filter((id, index) => ids.indexOf(id) !== index)"
        )
        assert twice == []
    headings = page.run("return document.querySelectorAll('h1').length")
    assert headings == 1


def test_the_skip_link_leads_to_the_content(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    page.run("document.getElementById('skip').focus()")
    page.chrome.switch_to.active_element.send_keys(Key.ENTER)
    assert page.run("return document.activeElement.id") == "main"
    assert page.run("return location.hash") == "#/f/PLATE_STIFFNESS"


def test_a_slow_answer_to_an_old_question_is_not_shown(page: Page) -> None:
    page.show("PLATE_STIFFNESS")
    field = page.field("thickness")
    for thickness in ("0.1", "0.15", "0.3"):
        page.retype(field, thickness)
        field.send_keys(Key.ENTER)
    wanted = evaluate("PLATE_STIFFNESS", [30.0, 12.0, 0.3, 26.0]).value
    page.until_text(".exact", str(wanted))
    assert page.text("#formula") == "=DAMP.PLATE_STIFFNESS(30, 12, 0.3, 26)"
