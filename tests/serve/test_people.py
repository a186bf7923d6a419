"""Four people go from nothing to a printed checklist, each in one of four ways; in the long profile in all of them.

What the page asks of the network, how heavy it is, and whether everybody can read it is looked at on the way.
"""

import io
import json
import os
import signal
from pathlib import Path

import pypdf
import pytest
from hands import WAYS, Hands, Served, chromium, context_of

pytestmark = [pytest.mark.outside("chromium"), pytest.mark.long]

LONG = os.environ.get("SOLARVENT_FUZZ") == "long"
PEOPLE = ("boxes", "coop", "van", "example")
CASES = [(who, way) for at, who in enumerate(PEOPLE) for to, way in enumerate(WAYS) if LONG or at == to]
ROOMS = ("place", "kit", "answer", "bench")
HEAVIEST = 400_000


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    running = Served(tmp_path_factory.mktemp("garden"))
    yield running
    running.end(signal.SIGTERM)


@pytest.fixture(scope="module")
def browser():
    program = chromium()
    if program is None:
        if os.environ.get("SOLARVENT_REQUIRE_OUTSIDE"):
            pytest.fail("chromium is missing, and SOLARVENT_REQUIRE_OUTSIDE is set")
        pytest.skip("chromium is not installed: nobody is at the page")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        yield running
        running.close()


def begin(hands, served, who, name):
    hands.page.goto(served.address)
    hands.pick(hands.page.locator(f'input[name=way][value="{who}"]'))
    hands.write(hands.page.locator("#name"), name)
    hands.press(hands.page.get_by_role("button", name="Begin"))


def into_the_box(hands, kind, part, end, face, count="1"):
    """Put one kind of thing into the first box."""
    hands.press(hands.page.locator("details.add > summary", has_text=kind))
    form = hands.page.locator("details.add[open]")
    hands.choose(form.locator('select[name$=".part"]'), part)
    hands.write(form.locator('input[name$=".count"]'), count)
    hands.pick(form.locator(f'input[name$=".end.{end}"][value="{face}"]'))
    hands.press(form.get_by_role("button", name="Put it into the box"))


def with_boxes(hands):
    """Two boxes whose plugs do not fit: what is to be bought is told, and goes into the box."""
    page = hands.page
    into_the_box(hands, "A panel", "panel-30w", "outlet", "pv-4mm/either")
    into_the_box(hands, "A fan", "fan-24v-120x25", "inlet", "barrel-5.5x2.1/jack", "2")
    assert page.locator("#part-pairing .big").inner_text().startswith("NO")
    buttons = page.locator("#part-pairing .buttons button")
    for _ in range(4):
        if not buttons.count():
            break
        hands.press(buttons.first)
    assert page.locator("#part-pairing .big").inner_text().startswith("YES")
    hands.press(page.get_by_role("button", name="Plan with these parts"))
    assert "joined as found" in page.locator("#bar").inner_text()


def with_a_coop(hands):
    page = hands.page
    form = page.locator("form[data-live]").first
    hands.write(page.get_by_label("Length", exact=True), "2.4 m")
    hands.send(form)
    assert "2.4 m long" in page.locator(".house").get_attribute("aria-label")


def with_a_van(hands):
    page = hands.page
    hands.go("Kit")
    hands.write(page.get_by_label("Energy", exact=True), "200 Wh")
    hands.send(page.locator("form[data-live]").first)
    hands.go("Answer")


def with_numbers(hands):
    """An engineer pins a state, moves a slider, and reads what is different."""
    page = hands.page
    hands.go("Answer")
    hands.press(page.get_by_role("button", name="Pin this state"))
    slider = page.locator('[id="slide.tilt"]')
    if hands.way == "keyboard":
        hands._reach(slider)
        for _ in range(4):
            page.keyboard.press("ArrowLeft")
    else:
        slider.fill("15")
    hands.send(page.locator("form[data-live]").first)
    assert "panel[1].tilt" in page.locator("#part-difference").inner_text()


DEEDS = {"boxes": with_boxes, "coop": with_a_coop, "van": with_a_van, "example": with_numbers}


@pytest.mark.parametrize(("who", "way"), CASES)
def test_from_nothing_to_a_printed_checklist(browser, served, who, way):
    context = context_of(browser, way)
    page = context.new_page()
    asked, complaints = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    hands = Hands(page, way)
    begin(hands, served, who, f"{who} {way}")
    DEEDS[who](hands)
    hands.press(page.get_by_role("button", name="Save"))
    hands.go("Bench")
    first = page.locator('.steps input[type="checkbox"]').first
    hands.tick(first)
    hands.send(page.locator("#part-checklist"))
    page.reload()
    assert page.locator('.steps input[type="checkbox"]').first.is_checked()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth") if way != "no-script" else True
    printed = pypdf.PdfReader(io.BytesIO(page.pdf()))
    text = "".join(sheet.extract_text() for sheet in printed.pages)
    assert "Read the label of " in text
    assert "Shopping list" in text
    assert [url for url in asked if not url.startswith((served.base, "data:"))] == []
    assert complaints == []
    context.close()


def test_readings_typed_at_the_marks_are_understood_as_they_come_in(browser, served):
    context = context_of(browser, "mouse")
    page = context.new_page()
    hands = Hands(page, "mouse")
    begin(hands, served, "example", "metered")
    hands.go("Bench")
    page.get_by_label("volts, nothing joined").fill("20.4")
    page.get_by_label("amperes", exact=True).first.fill("0.9")
    page.locator("#part-meaning h3").first.wait_for()
    assert "best first" in page.locator("#part-meaning").inner_text()
    page.reload()
    assert page.get_by_label("volts, nothing joined").input_value() == "20.4"
    context.close()


@pytest.mark.parametrize("way", ["touch", "no-script"])
def test_what_is_refused_is_told_where_it_is_seen_and_its_field_is_marked(browser, served, way):
    context = context_of(browser, way)
    page = context.new_page()
    hands = Hands(page, way)
    begin(hands, served, "example", f"refused {way}")
    field = page.get_by_label("Time zone")
    field.fill("Londinium")
    hands.send(page.locator("form[data-live]").first)
    told = page.locator("#bar .problems")
    told.wait_for()
    assert "no time zone" in told.inner_text()
    assert field.evaluate("one => getComputedStyle(one).borderTopWidth") == "2px"
    if way == "touch":
        field.scroll_into_view_if_needed()
        box = told.bounding_box()
        assert 0 < box["y"] < 740 - box["height"] / 2
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_every_room_is_light_to_load_and_within_its_width(browser, served, scheme, width):
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    weights = []
    page.on("response", lambda response: weights.append(response))
    page.goto(served.address)
    if page.locator("a", has_text="looked at").count() == 0:
        begin(Hands(page, "mouse"), served, "example", "looked at")
    axe = os.environ.get("SOLARVENT_AXE")
    for room in ("", *ROOMS):
        weights.clear()
        page.goto(f"{served.base}/plan/looked%20at/{room}" if room else f"{served.base}/?list=yes")
        assert sum(len(response.body()) for response in weights if response.status == 200) < HEAVIEST, room
        wide = "[...document.querySelectorAll('main > *')].filter(e => e.getBoundingClientRect().right > innerWidth)"
        assert page.evaluate(f"{wide}.map(e => e.outerHTML.slice(0, 80))") == [], room
        if axe:
            page.evaluate(Path(axe).read_text(encoding="utf-8") + "; true")
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
            found = page.evaluate("axe.run(document).then(r => r.violations)")
            assert found == [], (room, json.dumps(found)[:2000])
    context.close()
