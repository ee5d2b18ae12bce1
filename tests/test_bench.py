"""The bench without a browser: tables in, fits and words out, parts kept and offered everywhere."""

import re
from html import unescape

import pytest

from loopmath import catalogue, demo_plan, solve
from loopmath.files import own_folder
from loopmath.panels import bench as module
from loopmath.panels.bench import KINDS, bench
from loopmath.panels.glance import glance
from loopmath.planfile import plan_of_text
from loopmath.plansave import text_of


@pytest.fixture
def panel(own):
    return bench()


def words(panel):
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value))


def picture(panel):
    return re.search(r'src="(data:image/png;base64,[^"]+)"', panel.screen.value)[1]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_starts_with_an_invented_table_that_is_fitted(panel, kind):
    panel.kind.value = kind
    assert not panel.failed
    assert panel.measured.kind == kind
    assert "invented for the demo" in panel.table.value
    assert f"“measured {kind}” in Podcast booth machine" in words(panel)
    assert 'alt="measured' in panel.screen.value


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_may_be_set_and_the_screen_answers(panel, kind):
    panel.kind.value = kind
    for widget in panel.options.children:
        options = getattr(widget, "options", None)
        for value in [options[0], options[-1]] if options else ["nonsense", "", "30 degC", "80 %"]:
            value = value[1] if isinstance(value, tuple) else value
            widget.value = value
            assert panel.failed or picture(panel)
            assert "Traceback" not in panel.screen.value


def test_a_table_that_cannot_be_used_is_told_line_by_line_and_comes_back(panel):
    good, before = panel.table.value, picture(panel)
    panel.table.value = good.replace("2,3.32,11.1", "2,three,-4")
    assert "line 4, head: 'three' is no number" in words(panel)
    assert "line 4, power: '-4'" in words(panel)
    assert picture(panel) == before  # faint behind
    assert "gl-problem" in panel.screen.value
    panel.table.value = good
    assert "gl-problem" not in panel.screen.value
    assert picture(panel) == before


def test_markup_in_a_table_or_a_name_is_only_text(panel):
    panel.table.value = "flow,<script>alert(1)</script>\n1,2\n"
    assert "<script>" not in panel.screen.value
    panel.kind.value = "fan"
    panel.name.value = "<b>bold</b>"
    assert "<b>bold" not in panel.screen.value


def test_a_slip_of_units_is_voiced_before_what_was_found(panel):
    panel.table.value = panel.table.value.replace("flow [L/min]", "flow [gal/min]")
    said = words(panel)
    assert "CAUTION" in said.upper()
    assert said.index("column of gal/min") < said.index("Found:")


def test_tables_are_kept_when_the_kind_changes_and_comes_back(panel):
    panel.table.value = "flow [L/min],head [m]\n0,3\n5,2\n10,0.5\n"
    panel.kind.value = "fan"
    panel.kind.value = "pump"
    assert panel.table.value.startswith("flow [L/min],head [m]")


@pytest.mark.parametrize("kind", KINDS)
def test_a_part_that_is_kept_is_offered_by_the_first_page_and_used_as_it_was_fitted(panel, kind):
    panel.kind.value = kind
    panel.name.value = f"bench {kind}"
    panel.price.value = "12.5"
    panel.keep()
    assert "Every page offers it" in words(panel)
    kept = catalogue.part(kind, f"bench {kind}")
    fitted = panel.measured.part
    assert all(getattr(kept, f) == getattr(fitted, f) for f in kept.__dataclass_fields__)
    assert kept.price == 12.5
    assert kept.measured_to is not None
    offered = [
        o[1] for c in glance(demo_plan()).controls for o in getattr(c.widget, "options", ()) if isinstance(o, tuple)
    ]
    assert f"bench {kind}" in offered
    note = (own_folder() / "parts.toml").read_text(encoding="utf-8")
    assert "readings, R2 0.9" in note


def test_a_name_that_is_taken_is_refused_in_words_and_nothing_is_lost(panel):
    panel.keep()
    first = (own_folder() / "parts.toml").read_bytes()
    panel.keep()
    assert "Not kept" in words(panel)
    assert (own_folder() / "parts.toml").read_bytes() == first


def test_a_plan_with_a_measured_part_carries_its_numbers_along(panel, monkeypatch, tmp_path):
    panel.name.value = "bench pump"
    panel.keep()
    plan = demo_plan().set(pump="bench pump")
    text, flow = text_of(plan), solve(plan).flow
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path / "another machine"))
    assert "bench pump" not in catalogue.names("pump")
    assert solve(plan_of_text(text, tmp_path / "mailed.toml")).flow == flow


def test_a_part_run_beyond_its_readings_is_a_caution_here_and_in_the_answer(panel):
    panel.table.value = "flow [L/h],head [m]\n600,2.4\n700,2.1\n800,1.7\n900,1.2\n"
    assert "runs beyond its readings" in words(panel)
    plan = demo_plan().set(**{"pump.pump": panel.measured.part})
    assert "flow under what was measured" in set(solve(plan).warnings["quantity"])


@pytest.mark.parametrize("content", [b"flow,head\n0,3\n4,2\n9,1\n", b"\xef\xbb\xbfflow;head\n0;3,1\n4;2\n9;1\n"])
def test_a_csv_file_is_loaded_and_left_as_it_is(panel, content):
    panel._load(({"name": "mine.csv", "content": memoryview(content), "size": len(content)},))
    assert not panel.failed
    assert panel.measured.fits["head"].x.size == 3


@pytest.mark.parametrize(
    ("content", "said"), [("Höhe".encode("latin-1"), "UTF-8"), (b"1,2\n" * 2_000_000, "at most 5 MB"), (b"", "empty")]
)
def test_a_file_that_cannot_be_used_is_told_so(panel, content, said):
    panel._load(({"name": "mine.csv", "content": memoryview(content), "size": len(content)},))
    assert said in panel.failed


@pytest.mark.parametrize("price", ["-3", "nan", "twelve", "1e99"])
def test_a_price_that_is_none_is_told_so(panel, price):
    panel.price.value = price
    assert panel.failed


def test_units_change_everywhere(panel):
    panel.units.value = "us"
    assert "gal/min" in words(panel)
    assert "L/min (" not in words(panel)


def test_without_a_kernel_the_picture_and_the_words_are_there(panel):
    bundle = panel._repr_mimebundle_()
    assert "data:image/png" in bundle["text/html"]
    assert "Found: shut-off head" in bundle["text/html"]
    assert bundle["text/plain"].startswith("measured pump, a pump made from readings")


def test_a_plan_without_a_place_for_the_part_says_so(panel, monkeypatch):
    panel.kind.value = "block"
    panel.cools.value = "drive"
    assert "has no place for a block" in words(panel)
    assert module.START["block"] in catalogue.names("block")
