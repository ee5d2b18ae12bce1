"""The panel of tube runs, its words and its cuts: every view of every plan, what moves in space, what is written."""

import json
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import ipywidgets as widgets
import numpy as np
import pytest
from examples import DEMO, each_example

from loopmath import bench_work, load_plan, mine, run_words
from loopmath.checks import InputError
from loopmath.cut_plan import PRACTICE, SPARE, cut_plan, pieces
from loopmath.panels.runs import SHOWN, runs
from loopmath.plansave import text_of
from loopmath.run_words import CASE, CUTS, MARKS, VIEWS, WAYS
from loopmath.solution import solved

ROOT = Path(__file__).resolve().parent.parent
BENT = "processor to graphics card"
#: The run from the pump to the processor of the demo: its straights, and two quarter turns. [m]
LONG = 0.205 + 0.099 + 0.055 + 0.028 * np.pi


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """Whatever is saved or written here is gone afterwards."""
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))
    return tmp_path


def words(panel):
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value)).replace("\xa0", " ")


def slide(panel, setting, value):
    panel._control(setting).widget.value = value
    return panel


@each_example
def test_every_view_shows_its_sentence_and_leaves_the_plan_as_it_is(path):
    plan = load_plan(path)
    panel = runs(plan)
    for view in VIEWS:
        slide(panel, ":view", view)
        if panel.failed:  # no rigid tube to saw
            assert view == CUTS
            assert not any(pieces(plan))
            continue
        assert panel.headline() in words(panel)
        assert "nan" not in re.findall(r"[a-z]+", words(panel).lower())
        assert panel.headline() in unescape(re.search(r'alt="([^"]*)"', panel.screen.value)[1])
        assert 'src="data:image/png;base64,' in panel.screen.value
    assert text_of(panel.planned()) == plan.origin.text


def test_every_control_answers_at_both_ends_and_comes_back_to_the_plan():
    panel = runs(load_plan(DEMO))
    for view in VIEWS:
        slide(panel, ":view", view)
        before = words(panel)
        for control in panel.controls:
            widget, start = control.widget, control.widget.value
            group = next(title for title, box in panel.boxes.items() if widget in box.children)
            if control.setting in (":view", ":run", ":port") or view not in SHOWN.get(group, VIEWS):
                continue
            if isinstance(widget, widgets.IntSlider):
                ends = [widget.min, widget.max]
            else:
                options = [o[1] if isinstance(o, tuple) else o for o in widget.options]
                ends = [options[0], options[-1]]
            for end in ends:
                widget.value = end
                assert panel.failed or panel.headline() in words(panel), (view, control.setting, end)
            widget.value = start
            assert words(panel) == before, (view, control.setting)
    assert text_of(panel.planned()) == panel.plan.origin.text


def test_a_slid_standoff_moves_two_corners_and_the_length_by_twice_as_much():
    panel = runs(load_plan(DEMO))
    assert panel.own("run") == BENT
    long = float(panel.planned().paths[BENT].length)
    slide(panel, ":standoff", 126)  # from 136 mm
    path = panel.planned().paths[BENT]
    assert path.standoffs[0] == pytest.approx(0.126)
    assert float(path.length) == pytest.approx(long - 2 * 0.010)
    assert path.points[1:3, 0] == pytest.approx([0.032, 0.032])


def test_a_port_slid_up_takes_its_tube_along_and_the_loop_follows():
    panel = runs(load_plan(DEMO))
    slide(slide(panel, ":port", "pump out"), ":height", 170)  # from 150 mm
    plan = panel.planned()
    path = plan.paths["pump to processor"]
    assert float(path.length) == pytest.approx(LONG - 0.020)
    assert path.points[1, 2] == pytest.approx(0.390)
    before, after = solved(panel.plan).state["volume"], panel.solution.solution.state["volume"]
    assert float(before - after) == pytest.approx(0.020 * np.pi * 0.005**2)  # of a bore of 10 mm


def test_a_move_that_nothing_takes_up_is_told_and_the_rest_stays():
    panel = runs(load_plan(DEMO))
    slide(slide(panel, ":port", "graphics card out"), ":height", 60)  # its tube would have to go up at once
    assert "graphics card to front radiator" in panel.failed
    slide(panel, ":height", 180)
    assert not panel.failed
    assert text_of(panel.planned()) == panel.plan.origin.text


def test_a_run_that_hangs_between_three_ways_has_no_standoff_to_slide():
    panel = runs(load_plan(DEMO))
    slide(panel, ":run", "pump to processor")
    assert panel._control(":standoff").widget.disabled
    slide(panel, ":run", BENT)
    assert not panel._control(":standoff").widget.disabled
    assert panel._control(":standoff").widget.value == 136


def test_a_radius_that_does_not_fit_names_the_run_the_corners_and_how_much_is_missing():
    panel = slide(runs(load_plan(DEMO)), "bend_radius", 50)
    assert "graphics card to front radiator" in panel.failed
    assert "16.0 mm short" in panel.failed


def test_a_way_that_is_taken_is_laid_and_saved(own_folder):
    panel = slide(slide(runs(load_plan(DEMO)), ":view", WAYS), ":way", 2)
    way = panel.solution.ways[1]
    panel._take()
    assert panel.space["routes"] != panel.plan.routes
    assert panel.planned().paths[BENT].route.corners == way.route.corners
    panel.save_plan()
    (saved,) = (own_folder / "plans").glob("*.toml")
    assert np.allclose(load_plan(saved).paths[BENT].points, panel.planned().paths[BENT].points)


def test_every_run_laid_anew_crosses_nothing_and_is_no_dearer_to_look_at():
    plan = load_plan(DEMO)
    bare = replace(plan, routes=tuple(replace(r, corners=None) for r in plan.routes))
    panel = slide(runs(bare), ":view", WAYS)
    assert len(bare.paths) < len(plan.paths)
    panel._lay_every()
    assert "7 runs are laid anew" in panel.note.value
    assert panel.planned().paths.keys() == plan.paths.keys()
    assert panel.solution.checks.tightest.gap >= plan.clearance - 1e-9
    assert not panel.failed


def test_runs_laid_anew_are_put_back_as_the_plan_has_them():
    panel = slide(runs(load_plan(DEMO)), ":view", WAYS)
    panel._lay_every()
    assert "before 1548.9 mm with 7 bends" in panel.note.value
    panel._put_back()
    assert text_of(panel.planned()) == panel.plan.origin.text


def test_a_practice_bend_slid_changes_what_is_sawn():
    panel = slide(slide(runs(load_plan(DEMO)), ":view", MARKS), "stretch", 0)
    work = panel.solution.work
    assert work.finished == pytest.approx(work.installed)
    assert panel.planned().stretch == 0.0


def test_a_machine_of_soft_tube_says_so_in_every_view():
    panel = runs(load_plan(DEMO).set(tube="EPDM 13/10 mm"))
    for view in VIEWS:
        slide(panel, ":view", view)
        assert not panel.failed
    assert "soft tube" in panel.headline()
    assert cut_plan(panel.plan).table().empty


def test_the_table_of_the_bench_has_every_digit_a_saw_needs():
    panel = slide(slide(runs(load_plan(DEMO)), ":run", "pump to processor"), ":view", MARKS)
    assert "367.3" in words(panel)
    slide(panel, ":view", CUTS)
    assert "464.4" in words(panel)
    assert "1000.0" in words(panel)


def test_turning_the_machine_works_nothing_out_again():
    panel = runs(load_plan(DEMO))
    seen = panel.solution
    slide(panel, ":azimuth", 20)
    assert panel.solution is seen


def test_templates_are_written_and_where_is_said(own_folder):
    panel = runs(load_plan(DEMO))
    panel.write_templates()
    (pdf,) = own_folder.rglob("*.pdf")
    assert str(pdf) in unescape(panel.note.value)
    drawn = list(own_folder.rglob("*.svg"))
    assert len(drawn) >= 2 * len(panel.plan.paths)
    assert f"and {len(drawn)} SVG files" in panel.note.value
    slide(panel, "bend_radius", 50)
    panel.write_templates()
    assert "No template was written" in panel.note.value


def test_the_readout_says_where_lengths_come_from():
    plan = load_plan(DEMO)
    assert run_words.laid_words(plan) == "geometry"
    assert run_words.laid_words(plan.as_counts("drain", "fill tube")) == "geometry 5, counts 2"
    assert ("source of tube lengths", "counts") in runs(plan.as_counts()).figures()


def test_a_box_put_in_the_way_is_found_by_name():
    plan = load_plan(DEMO)
    table = run_words.clash_table(plan)
    row = table.iloc[0]
    assert row["signal"] == "danger"
    assert "pump to processor" in row["where"]
    assert "box on purpose" in row["where"]
    assert run_words.clash_table(plan.as_counts()) is None


# ------------------------------------------------------------------------------------------------------- cuts


def test_pieces_are_the_runs_with_their_squaring_the_spares_and_the_practice():
    plan = load_plan(DEMO).set(spares=2, practice=3, squaring=0.002)
    (listed,) = pieces(plan).values()
    lengths = {piece.name: piece for piece in listed}
    for name, path in plan.paths.items():
        assert lengths[name].length == bench_work.work(path, 0.002).blank
    assert {name for name in lengths if name.startswith(SPARE)} == {
        f"{SPARE}pump to processor",
        f"{SPARE}processor to graphics card",
    }
    assert (lengths[PRACTICE].length, lengths[PRACTICE].count) == (0.15, 3)


def test_a_run_that_is_not_laid_is_cut_to_its_stated_length_and_said():
    plan = load_plan(DEMO).as_counts("pump to processor")
    cuts = cut_plan(plan)
    assert cuts.counted == ("pump to processor",)
    (listed,) = pieces(plan).values()
    (piece,) = (p for p in listed if p.name == "pump to processor")
    assert piece.length == pytest.approx(LONG + 2 * plan.squaring)


def test_stock_shorter_than_the_longest_piece_names_it_and_how_much_is_missing():
    plan = load_plan(DEMO)
    with pytest.raises(InputError, match=r"pump to processor.*64\.4 mm"):
        cut_plan(replace(plan, stock_lengths=(0.4,)))


def test_the_cost_follows_the_price_of_a_metre():
    plan = load_plan(DEMO)
    cuts = cut_plan(plan)
    assert cuts.cost == pytest.approx(sum(bar.stock.length for c in cuts.cuttings.values() for bar in c.bars) * 7)
    assert f"{cuts.cost:.0f} EUR" in cuts.words()


def test_the_marks_view_says_what_to_do_at_the_bench():
    panel = slide(slide(runs(load_plan(DEMO)), ":run", "pump to processor"), ":view", MARKS)
    assert "then bend 2 turns up" in words(panel)
    slide(panel, ":view", CASE)
    assert "then bend 2 turns up" not in words(panel)


@each_example
def test_every_cell_of_the_page_runs_with_every_example(path):
    mine.choose(path)
    cells = json.loads((ROOT / "workbook" / "10_tube_runs.ipynb").read_text(encoding="utf-8"))["cells"]
    names = {}
    for cell in cells:
        if cell["cell_type"] == "code":
            exec("".join(cell["source"]), names)
    assert names["panel"].headline()


def test_tube_sold_in_other_lengths_is_cut_and_saved_so(own_folder):
    panel = runs(load_plan(DEMO))
    for _, lengths in panel._control("stock_lengths").widget.options[::-1]:
        slide(panel, "stock_lengths", lengths)
        assert not panel.failed
        assert panel.planned().stock_lengths == lengths
    slide(panel, "stock_lengths", (1.0,)).save_plan()
    (saved,) = own_folder.rglob("*.toml")
    assert load_plan(saved).stock_lengths == (1.0,)
