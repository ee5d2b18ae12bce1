"""One journey in a real Chromium: open, run all, slide, read, keep, change units; screenshots are kept."""

import os
import re
from pathlib import Path

import pytest
from browser import PANEL_IMAGE, Lab, chromium_path, find_slider, headline, picture_source, press, wait_for_new_picture

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
    ARTEFACTS.mkdir(exist_ok=True)
    with Lab(NOTEBOOK, ROOT, size=(1440, 900)) as running:
        running.page.wait_for_selector(PANEL_IMAGE, timeout=60_000)
        yield running


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
    before = picture_source(page)
    page.get_by_role("button", name="US", exact=True).click()
    wait_for_new_picture(page, before)
    assert "gal/min" in headline(page)
    before = picture_source(page)
    page.get_by_role("button", name="metric", exact=True).click()
    wait_for_new_picture(page, before)
    assert "L/min" in headline(page)


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
