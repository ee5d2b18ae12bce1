"""One journey in a real Chromium: open, run all, slide, read, keep, change units; screenshots are kept."""

import os
import re
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from browser import (
    PANEL_IMAGE,
    Lab,
    _Cells,
    chromium_path,
    find_slider,
    picture_source,
    press,
    wait_for_new_picture,
)

from loopmath import material_words, mine

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOK = "workbook/01_at_a_glance.ipynb"
ARTEFACTS = ROOT / "tests" / "artefacts"
SLIDERS = {
    "Pump speed, %": "ArrowRight",
    "90° fittings": "ArrowRight",
    "Tube bore, mm": "ArrowRight",
    "Front: positions": "ArrowLeft",
    "Fan size, mm": "ArrowRight",
    "Depth, mm": "ArrowRight",
    "Fan speed, %": "ArrowRight",
    "Room air, °C": "ArrowRight",
    "Processor, W": "ArrowRight",
    "Graphics, W": "ArrowRight",
}

pytestmark = pytest.mark.browser
if chromium_path() is None and not os.environ.get("CI"):
    pytest.skip("no Chromium on this machine: the browser journey is left out", allow_module_level=True)


@pytest.fixture(scope="module")
def lab():
    """The first page in a running Lab, the user's folder a new one whose name leaves a message on one line."""
    ARTEFACTS.mkdir(exist_ok=True)
    with TemporaryDirectory(prefix="mine-") as name, pytest.MonkeyPatch.context() as patch:
        folder = Path(name)
        patch.setenv("LOOPMATH_MINE", str(folder))
        with Lab(NOTEBOOK, ROOT, size=(1440, 900)) as running:
            running.page.wait_for_selector(PANEL_IMAGE, timeout=60_000)
            # Leaving a page with outputs not saved is asked about.
            running.page.on("dialog", lambda dialog: dialog.accept())
            running.own = folder
            yield running


def headline(page):
    """Return the panel's answer in words; above it the page says in another status line which plan that is."""
    return page.locator(".jp-OutputArea .gl-head").inner_text().replace("\xa0", " ").strip()


def flow(page):
    return float(re.match(r"([\d.]+)", headline(page))[1])


def over_room(page):
    return float(re.search(r"warmest coolant ([\d.]+)", headline(page))[1])


def show_panel(page):
    page.evaluate("document.querySelector('.glance').scrollIntoView({block: 'start'})")
    page.wait_for_timeout(300)


def moved(page, label, key, times=1):
    """Press a key on a slider and wait for the new picture."""
    before = picture_source(page)
    press(page, find_slider(page, label), key, times)
    wait_for_new_picture(page, before)
    page.wait_for_timeout(250)


def test_every_cell_ran_without_an_error(lab):
    assert lab.page.locator(".jp-RenderedText[data-mime-type='application/vnd.jupyter.stderr']").count() == 0
    assert lab.page.locator(".jp-mod-error, .jp-OutputArea-output pre:has-text('Traceback')").count() == 0


def test_slider_picture_headline_and_warnings_are_on_one_screen(lab):
    page = lab.page
    show_panel(page)
    view = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect().toJSON()")
    for part in (".glance-controls", ".gl-head", ".gl-picture img", ".gl-figures", ".gl-warn"):
        box = page.evaluate(f"document.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["top"] >= view["top"] - 1, part
        assert box["bottom"] <= view["bottom"] + 1, part
        assert box["right"] <= view["right"] + 1, part
    page.screenshot(path=ARTEFACTS / "glance-1440.png")


@pytest.mark.parametrize("label", SLIDERS)
def test_each_slider_moves_the_picture_and_comes_back(lab, label):
    page = lab.page
    before = headline(page)
    key = SLIDERS[label]
    back = {"ArrowRight": "ArrowLeft", "ArrowLeft": "ArrowRight"}[key]
    moved(page, label, key)
    moved(page, label, back)
    assert headline(page) == before


def test_figures_change_as_they_must(lab):
    page = lab.page
    at_first, warm = flow(page), over_room(page)
    moved(page, "Pump speed, %", "PageUp", 3)
    faster = flow(page)
    assert faster > at_first
    moved(page, "90° fittings", "PageUp", 3)
    assert flow(page) < faster
    moved(page, "Fan speed, %", "PageUp", 4)
    assert over_room(page) < warm
    page.screenshot(path=ARTEFACTS / "glance-moved.png")


def test_a_kept_design_appears_in_the_comparison(lab):
    page = lab.page
    page.get_by_role("button", name="Keep design").click()
    page.wait_for_selector(".gl-kept table")
    assert "kept design" in page.locator(".gl-kept").inner_text()


def test_units_change_in_the_headline(lab):
    page = lab.page
    before, said_before = picture_source(page), headline(page)
    page.get_by_role("button", name="US", exact=True).click()
    wait_for_new_picture(page, before)
    assert "gal/min" in headline(page)
    before = picture_source(page)
    page.get_by_role("button", name="metric", exact=True).click()
    wait_for_new_picture(page, before)
    page.wait_for_timeout(600)
    assert headline(page) == said_before  # the browser sent nothing back by itself


def test_a_stopped_fan_is_told_in_words_and_the_panel_comes_back(lab):
    page = lab.page
    moved(page, "Fan speed, %", "Home")
    assert "no temperature can be stated" in headline(page)
    page.screenshot(path=ARTEFACTS / "glance-no-answer.png")
    moved(page, "Fan speed, %", "End")
    assert "over room" in headline(page)


def test_parts_stay_whole_on_a_small_window(lab):
    page = lab.page
    page.set_viewport_size({"width": 1024, "height": 768})
    page.wait_for_timeout(600)
    show_panel(page)
    width = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').clientWidth")
    for part in (".glance-controls", ".glance-screen", ".gl-picture img"):
        box = page.evaluate(f"document.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["left"] >= 0
        assert box["right"] <= width + 40, part
    assert page.evaluate(
        "document.querySelector('.glance').scrollWidth <= document.querySelector('.glance').clientWidth"
    )
    page.screenshot(path=ARTEFACTS / "glance-1024.png")
    page.set_viewport_size({"width": 1440, "height": 900})


def test_the_notebook_on_disk_is_as_it_was(lab):
    text = (ROOT / NOTEBOOK).read_text(encoding="utf-8")
    assert '"outputs": []' in text
    assert "data:image" not in text


# ----------------------------------------------------------------------------------------------- the page Your plan

PLAN_PAGE = "workbook/03_your_plan.ipynb"


@pytest.fixture(scope="module")
def plan_lab(lab):
    """The plan page in the same Lab."""
    open_another(lab, PLAN_PAGE)
    lab.page.wait_for_selector(".plan-drawing img", timeout=60_000)
    return lab


def open_another(lab, notebook):
    """Open another notebook in a running Lab and run it, as a reader who follows a link."""
    lab._cells = _Cells(lab.page)
    lab.page.goto(f"{lab.address}/doc/tree/{notebook}?token={lab._token}")
    lab.page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    lab.run_all()


def show_plan(page):
    page.evaluate("document.querySelector('.plan-bar').scrollIntoView({block: 'start'})")
    page.wait_for_timeout(300)


def file_text(page):
    return page.locator(".plan-file textarea").input_value()


def field(page, label):
    return page.locator(f".plan-form .widget-inline-hbox:has(.widget-label:text-is('{label}')) input").first


def wait_until(page, reached):
    """Let the page work until `reached()`; its last words on failure are those of the status line."""
    for _ in range(300):
        if reached():
            return
        page.wait_for_timeout(100)
    raise AssertionError(page.locator(".plan-stage").inner_text()[:500])


def order(page):
    """Return the entries of the flow order; a list box shows every blank as one that does not break."""
    entries = page.locator(".plan-form .widget-select option").all_text_contents()
    return [words.replace("\xa0", " ") for words in entries]


def picture_of_plan(page):
    return page.evaluate("document.querySelector('.plan-drawing img')?.src ?? null")


def test_bar_headline_drawing_and_file_are_on_one_screen(plan_lab):
    page = plan_lab.page
    assert page.locator(".jp-mod-error, .jp-OutputArea-output pre:has-text('Traceback')").count() == 0
    show_plan(page)
    view = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect().toJSON()")
    for part in (".plan-bar", ".gl-head", ".plan-form", ".plan-drawing", ".plan-drawing img", ".plan-file textarea"):
        box = page.evaluate(f"document.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["width"] > 200, part
        assert box["top"] >= view["top"] - 1, part
        assert box["bottom"] <= view["bottom"] + 1, part
        assert box["right"] <= view["right"] + 1, part
    page.screenshot(path=ARTEFACTS / "plan-1440.png")


def test_a_field_changes_the_file_and_the_drawing(plan_lab):
    page = plan_lab.page
    before, head = picture_of_plan(page), page.locator(".gl-head").inner_text()
    field(page, "Room air").fill("29 degC")
    field(page, "Room air").press("Enter")
    wait_until(page, lambda: 'air = "29 degC"' in file_text(page))
    wait_until(page, lambda: picture_of_plan(page) != before)
    assert page.locator(".gl-head").inner_text() != head
    assert "Not saved yet" in page.locator("[role=status]").first.inner_text()


def test_an_error_typed_into_the_file_is_told_with_its_line_and_undo_brings_it_back(plan_lab):
    page = plan_lab.page
    good = file_text(page)
    line = next(n for n, text in enumerate(good.splitlines(), start=1) if text.startswith("listener"))
    area = page.locator(".plan-file textarea")
    area.evaluate("(area, at) => { area.focus(); area.setSelectionRange(at, at); }", good.index('listener = "1') + 13)
    page.keyboard.type("x")
    wait_until(page, lambda: page.locator(".plan-problems li").count() == 1)
    words = page.locator(".plan-problems li").inner_text()
    assert words.startswith(f"line {line} ")
    assert "room.listener" in words
    over = page.evaluate("document.querySelector('.gl-words').getBoundingClientRect().toJSON()")
    under = page.evaluate("document.querySelector('.plan-drawing').getBoundingClientRect().toJSON()")
    assert under["left"] <= over["left"] < over["right"] <= under["right"]
    assert under["top"] <= over["top"] < under["bottom"]
    show_plan(page)
    page.screenshot(path=ARTEFACTS / "plan-problem.png")
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_until(page, lambda: page.locator(".plan-problems").count() == 0)
    assert file_text(page) == good


def test_an_element_is_moved_in_the_order(plan_lab):
    page = plan_lab.page
    page.locator(".plan-form .jupyter-widget-Collapse-header", has_text="The order of flow").click()
    entries = page.locator(".plan-form .widget-select select")
    entries.wait_for(state="visible")
    before = order(page)
    card = next(n for n, words in enumerate(before) if "graphics card (block)" in words)
    entries.select_option(index=card)
    page.get_by_role("button", name="Earlier").click()
    wait_until(page, lambda: "graphics card (block)" in "".join(order(page)[card - 1 : card]))
    text = file_text(page)
    assert text.index('  "graphics card",') < text.index('run = "processor to graphics card"')
    page.get_by_role("button", name="Later").click()
    wait_until(page, lambda: order(page) == before)
    page.screenshot(path=ARTEFACTS / "plan-order.png")


def test_another_plan_is_chosen_and_what_was_changed_is_kept(plan_lab):
    page = plan_lab.page
    changed = file_text(page)
    before = picture_of_plan(page)
    page.locator(".plan-bar select").select_option(label="example: grading suite")
    wait_until(page, lambda: "Grading suite machine" in file_text(page))
    wait_until(page, lambda: picture_of_plan(page) != before)
    assert (plan_lab.own / "plans" / "podcast_booth-unsaved.toml").read_text(encoding="utf-8") == changed
    wait_until(page, lambda: "What you had changed is kept" in page.locator("[role=status]").first.inner_text())
    show_plan(page)
    view = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect().toJSON()")
    box = page.locator(".plan-file textarea").bounding_box()
    assert box["y"] + box["height"] <= view["bottom"] + 1  # a tall drawing scrolls and pushes nothing off the screen
    page.screenshot(path=ARTEFACTS / "plan-grading.png")


def test_the_plan_page_stays_whole_on_a_small_window(plan_lab):
    page = plan_lab.page
    page.set_viewport_size({"width": 1024, "height": 768})
    page.wait_for_timeout(600)
    show_plan(page)
    width = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').clientWidth")
    for part in (".plan-bar", ".plan-form", ".plan-drawing img", ".plan-file textarea", ".plan-said"):
        box = page.evaluate(f"document.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["left"] >= 0, part
        assert box["right"] <= width + 40, part
    page.screenshot(path=ARTEFACTS / "plan-1024.png")
    page.set_viewport_size({"width": 1440, "height": 900})


def test_a_saved_plan_is_what_the_first_page_opens(plan_lab):
    page = plan_lab.page
    page.locator(".plan-form .jupyter-widget-Collapse-header", has_text="The plan").click()
    field(page, "Title").fill("Machine of this test")
    field(page, "Title").press("Enter")
    wait_until(page, lambda: "Machine of this test" in file_text(page))
    page.get_by_role("button", name="Save", exact=True).click()
    saved = plan_lab.own / "plans" / "machine_of_this_test.toml"
    wait_until(page, lambda: page.locator("[role=status]").first.inner_text().startswith("Saved to"))
    assert saved.read_text(encoding="utf-8") == file_text(page)
    open_another(plan_lab, NOTEBOOK)
    page.wait_for_selector(PANEL_IMAGE, timeout=60_000)
    assert "Machine of this test" in page.locator("[role=status]").first.inner_text()
    assert "your file machine_of_this_test.toml" in page.locator("[role=status]").first.inner_text()
    find_slider(page, "Left card, W")


def test_the_plan_page_on_disk_is_as_it_was(plan_lab):
    for name in (PLAN_PAGE, NOTEBOOK):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert '"outputs": []' in text
        assert "data:image" not in text


# ------------------------------------------------------------------------------------------- the page Measured parts

BENCH_PAGE = "workbook/04_measured_parts.ipynb"


@pytest.fixture(scope="module")
def bench_lab(lab):
    """The bench in the same Lab."""
    open_another(lab, BENCH_PAGE)
    lab.page.wait_for_selector(".bench-right img", timeout=60_000)
    return lab


def said(page):
    return page.locator(".bench-right").inner_text()


def show_bench(page, name):
    page.evaluate("document.querySelector('.bench').scrollIntoView({block: 'start'})")
    page.wait_for_timeout(300)
    page.screenshot(path=ARTEFACTS / f"bench-{name}.png")


def test_table_picture_and_words_are_on_one_screen(bench_lab):
    page = bench_lab.page
    show_bench(page, "1440")
    view = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect().toJSON()")
    for part in (".bench-left textarea", ".bench-right .gl-head", ".bench-right img", ".bench-said"):
        box = page.evaluate(f"document.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["width"] > 200, part
        assert box["top"] >= view["top"] - 1, part
        assert box["bottom"] <= view["bottom"] + 1, part
        assert box["right"] <= view["right"] + 1, part


def test_every_kind_of_part_shows_its_own_table_and_fit(bench_lab):
    page = bench_lab.page
    for kind in ("block", "radiator", "fan", "pump"):
        page.get_by_role("button", name=kind, exact=True).click()
        wait_until_said(page, f"measured {kind}")
        show_bench(page, kind)


def wait_until_said(page, words):
    for _ in range(300):
        if words in said(page):
            return
        page.wait_for_timeout(100)
    raise AssertionError(said(page)[:500])


def test_a_slip_a_fault_and_a_good_table_are_answered_as_they_are_typed(bench_lab):
    page = bench_lab.page
    area = page.locator(".bench-left textarea")
    good = area.input_value()
    area.fill(good.replace("flow [L/min]", "flow [gal/min]"))
    wait_until_said(page, "column of gal/min")
    show_bench(page, "slip")
    area.fill(good.replace("2,3.32", "2,three"))
    wait_until_said(page, "line 4, head: 'three' is no number")
    show_bench(page, "fault")
    area.fill(good)
    wait_until_said(page, "Found: shut-off head")


def test_a_part_that_is_saved_is_offered_by_the_first_page(bench_lab):
    page = bench_lab.page
    page.get_by_role("button", name="Save as my part").click()
    wait_until_said(page, "Every page offers it")
    assert 'pump."measured pump"' in (bench_lab.own / "parts.toml").read_text(encoding="utf-8")
    open_another(bench_lab, NOTEBOOK)
    page.wait_for_selector(".glance img", timeout=60_000)
    page.locator(".glance-more .jupyter-widget-Collapse-header").click()
    box = page.locator(".glance-more .widget-dropdown:has(.widget-label:text-is('Pump')) select")
    before = page.locator(".gl-head").inner_text()
    box.select_option(label="measured pump")
    page.wait_for_function("before => document.querySelector('.gl-head').innerText !== before", arg=before)
    page.screenshot(path=ARTEFACTS / "glance-own-part.png")


# --------------------------------------------------------------------------- the pages of heat, sound, time and choice

#: Page -> (a slider of its last panel, the key that moves it, a word of its headline, the view to choose first).
THERMAL_PAGES = {
    "05_heat_and_air": ("Case fans, %", "PageUp", "Case air", ""),
    "06_sound_and_speed": ("Distance, cm", "PageUp", "over room", ""),
    "07_time": ("Reservoir, mL", "PageUp", "95 %", ""),
    "08_what_to_cool": ("Pump, %", "PageUp", "cool", ""),
    "09_materials": ("Room air, °C", "PageUp", "the end of", "tube ends at their worst"),
    "10_tube_runs": ("Tip, °", "PageUp", "tubes with", ""),
    "11_fill_bleed_drain": ("Poured, mL", "PageDown", "gravity", ""),
    "12_leak_test": ("Leave out, min", "PageUp", "tight", ""),
    "13_assembly_and_upkeep": ("Hours a day", "PageUp", "inspection", "what is due"),
}
LAST = "[...document.querySelectorAll('.jp-OutputArea .glance')].at(-1)"


@pytest.fixture(params=THERMAL_PAGES)
def thermal(request, lab):
    """One of the thermal pages in the same Lab, the quiet workshop chosen."""
    folder = lab.own
    folder.mkdir(exist_ok=True)
    mine.choose(ROOT / "data" / "plans" / "quiet_workshop.toml")
    open_another(lab, f"workbook/{request.param}.ipynb")
    lab.page.wait_for_function(f"() => {LAST}?.querySelector('.gl-picture img')?.complete", timeout=90_000)
    return lab.page, request.param


def test_a_thermal_page_shows_its_panel_on_one_screen_and_answers_a_slider(thermal):
    page, name = thermal
    slider, key, word, view_of = THERMAL_PAGES[name]
    assert page.locator(".jp-mod-error, .jp-OutputArea-output pre:has-text('Traceback')").count() == 0
    if view_of:
        page.locator(".jp-OutputArea .glance").last.locator("select").first.select_option(label=view_of)
        reads = f"{LAST}.querySelector('.gl-head').textContent.replaceAll('\\u00a0', ' ').toLowerCase()"
        page.wait_for_function(f"word => {reads}.includes(word)", arg=word.lower())
    page.evaluate(f"{LAST}.scrollIntoView({{block: 'start'}})")
    page.wait_for_timeout(400)
    view = page.evaluate("document.querySelector('.jp-WindowedPanel-outer').getBoundingClientRect().toJSON()")
    for part in (".glance-controls", ".gl-head", ".gl-picture img", ".gl-figures"):
        box = page.evaluate(f"{LAST}.querySelector({part!r}).getBoundingClientRect().toJSON()")
        assert box["top"] >= view["top"] - 1, part
        assert box["bottom"] <= view["bottom"] + 1, part
        assert box["right"] <= view["right"] + 1, part
    page.screenshot(path=ARTEFACTS / f"{name[3:].replace('_', '-')}-1440.png")
    said = page.evaluate(f"{LAST}.querySelector('.gl-head').textContent")
    assert word.lower() in said.replace("\xa0", " ").lower()
    before = page.evaluate(f"{LAST}.querySelector('.gl-picture img').src")
    handle = page.evaluate_handle(
        f"""() => {{ for (const w of {LAST}.querySelectorAll('.widget-slider')) {{
        if (w.querySelector(':scope > .widget-label')?.textContent.trim() === {slider!r})
          return w.querySelector('.noUi-handle, [role=slider]'); }} return null; }}"""
    ).as_element()
    press(page, handle, key)
    page.wait_for_function(f"old => {LAST}.querySelector('.gl-picture img').src !== old", arg=before, timeout=20_000)
    page.set_viewport_size({"width": 1024, "height": 768})
    page.wait_for_timeout(600)
    page.evaluate(f"{LAST}.scrollIntoView({{block: 'start'}})")
    page.wait_for_timeout(300)
    assert page.evaluate(f"{LAST}.scrollWidth <= {LAST}.clientWidth")
    page.screenshot(path=ARTEFACTS / f"{name[3:].replace('_', '-')}-1024.png")
    page.set_viewport_size({"width": 1440, "height": 900})


def test_a_tip_is_found_drawn_and_put_upright_again(lab):
    page = lab.page
    lab.own.mkdir(exist_ok=True)
    mine.choose(ROOT / "data" / "plans" / "reading_cube.toml")
    open_another(lab, "workbook/11_fill_bleed_drain.ipynb")
    page.wait_for_function(f"() => {LAST}?.querySelector('.gl-picture img')?.complete", timeout=90_000)
    panel = page.locator(".jp-OutputArea .glance").first
    panel.scroll_into_view_if_needed()
    panel.locator("select").first.select_option(label="coolant when it is drained")
    head = panel.locator(".gl-head")
    wait_until_head(page, head, "rock it")
    panel.get_by_role("button", name="Find tips").click()
    told = panel.locator(".glance-note")
    wait_until_head(page, told, "Draw tip")
    assert told.bounding_box()["y"] < 900  # what a button did is told where one looks
    page.wait_for_timeout(1200)  # nobody chooses sooner; a choice that soon counts as the browser's own
    panel.locator("select").nth(1).select_option(index=1)
    wait_until_head(page, head, "tipped like this")
    page.screenshot(path=ARTEFACTS / "fill-bleed-drain-tip-1440.png")
    panel.get_by_role("button", name="Upright").click()
    wait_until_head(page, head, "rock it")


def wait_until_head(page, part, words):
    """Wait until a part of the page says some words."""
    for _ in range(300):
        if part.count() and words in part.inner_text().replace("\u00a0", " "):
            return
        page.wait_for_timeout(100)
    raise AssertionError((words, part.inner_text()))


def test_a_line_is_added_to_the_log_and_told_beside_the_button(lab):
    page = lab.page
    lab.own.mkdir(exist_ok=True)
    mine.choose(ROOT / "data" / "plans" / "podcast_booth.toml")
    open_another(lab, "workbook/13_assembly_and_upkeep.ipynb")
    page.wait_for_function(f"() => {LAST}?.querySelector('.gl-picture img')?.complete", timeout=90_000)
    panel = page.locator(".jp-OutputArea .glance").last
    page.evaluate(f"{LAST}.scrollIntoView({{block: 'start'}})")
    ph = panel.locator(".widget-text", has_text="pH").locator("input")
    ph.fill("abc")
    ph.press("Tab")
    panel.get_by_role("button", name="Add to log").click()
    told = panel.locator(".glance-note")
    wait_until_head(page, told, "Nothing was added")
    box = told.bounding_box()
    assert box["y"] + box["height"] <= 900
    ph.fill("7.4")
    ph.press("Tab")
    panel.get_by_role("button", name="Add to log").click()
    wait_until_head(page, told, ".csv")
    (log,) = lab.own.rglob("*podcast_booth*.csv")
    assert ",7.4," in log.read_text(encoding="utf-8")
    log.unlink()


# ------------------------------------------------------------------------------------ what a change of units moves

READOUTS = f"""() => Object.fromEntries([...{LAST}.querySelectorAll('.widget-slider')].map(slider =>
  [slider.querySelector(':scope > .widget-label').textContent, slider.querySelector('.widget-readout').textContent]))"""


@pytest.fixture(scope="module")
def seeded(tmp_path_factory):
    """A Lab whose kernel sends what it sends at once as value, min, max: a browser that is given that clamps."""
    folder = tmp_path_factory.mktemp("mine")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOPMATH_MINE", str(folder))
        patch.setenv("PYTHONHASHSEED", "1")
        with Lab("workbook/05_heat_and_air.ipynb", ROOT) as running:
            running.page.on("dialog", lambda dialog: dialog.accept())
            running.own = folder
            yield running


@pytest.mark.parametrize(
    ("name", "there", "back"),
    [
        ("05_heat_and_air", ("Room air, °C", "22"), ("Room air, °F", "72")),
        ("09_materials", ("Room air, °C", "22"), ("Room air, °F", "72")),
        ("10_tube_runs", ("Radius, mm", "26"), ("Radius, 1/32 in", "33")),
    ],
)
def test_units_there_and_back_move_no_slider_and_nothing_is_saved(seeded, name, there, back):
    page = seeded.page
    mine.choose(ROOT / "data" / "plans" / "quiet_workshop.toml")
    open_another(seeded, f"workbook/{name}.ipynb")
    page.wait_for_function(f"() => {LAST}?.querySelector('.gl-picture img')?.complete", timeout=90_000)
    panel = page.locator(".jp-OutputArea .glance").last
    metric, said_before, us = page.evaluate(READOUTS), panel.locator(".gl-head").inner_text(), None
    assert metric[there[0]] == there[1]
    for _ in range(3):
        panel.get_by_role("button", name="US", exact=True).click()
        page.wait_for_function(f"label => label in ({READOUTS})()", arg=back[0])
        page.wait_for_timeout(1500)  # what a browser sends of itself comes within this
        us = us or page.evaluate(READOUTS)
        assert us[back[0]] == back[1]
        assert page.evaluate(READOUTS) == us
        panel.get_by_role("button", name="metric", exact=True).click()
        page.wait_for_function(f"label => label in ({READOUTS})()", arg=there[0])
        page.wait_for_timeout(1500)
        assert page.evaluate(READOUTS) == metric
        assert panel.locator(".gl-head").inner_text() == said_before
    panel.get_by_role("button", name="Save plan").click()
    saved = seeded.own / "plans" / "quiet_workshop.toml"
    for _ in range(100):
        if saved.exists():
            break
        page.wait_for_timeout(100)
    planned = (ROOT / "data" / "plans" / "quiet_workshop.toml").read_text(encoding="utf-8").splitlines()
    assert [row for row in saved.read_text(encoding="utf-8").splitlines() if row not in planned] == []
    saved.unlink()


def test_numbers_of_a_view_scroll_by_themselves_and_widen_nothing(seeded):
    page = seeded.page
    open_another(seeded, "workbook/09_materials.ipynb")
    page.wait_for_function(f"() => {LAST}?.querySelector('.gl-picture img')?.complete", timeout=90_000)
    for width, height in ((1440, 900), (1024, 768)):
        page.set_viewport_size({"width": width, "height": height})
        for view in (material_words.TUBES, material_words.COOLANTS):
            page.locator(".jp-OutputArea .glance").last.locator("select").first.select_option(label=view)
            page.wait_for_timeout(1500)
            page.evaluate(f"{LAST}.querySelector('.gl-table th').style.minWidth = '1200px'")
            boxes = {
                part: page.evaluate(f"{LAST}.querySelector({part!r}).getBoundingClientRect().toJSON()")
                for part in (".glance-screen", ".gl-head", ".gl-picture img", ".gl-warn", ".gl-table")
            }
            right = boxes[".glance-screen"]["right"]
            assert all(box["right"] <= right + 1 for box in boxes.values()), (width, view)
            assert page.evaluate(f"{LAST}.scrollWidth <= {LAST}.clientWidth")
            assert boxes[".gl-table"]["top"] > boxes[".gl-warn"]["bottom"]
            assert page.evaluate(f"{LAST}.querySelector('.gl-table').scrollWidth") > boxes[".gl-table"]["width"] + 300
    page.set_viewport_size({"width": 1440, "height": 900})
