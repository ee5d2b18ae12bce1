"""Kept designs: what is compared, and that files are whole or not there."""

import os

import pandas as pd
import pytest

import loopmath
from loopmath import compare
from loopmath.checks import InputError


@pytest.fixture(scope="module")
def two():
    plan, both = loopmath.demo_plan(), compare.Comparison()
    both.keep(loopmath.solve(plan))
    both.keep(loopmath.solve(plan.set(pump_speed=1.0)))
    return both


def test_a_summary_holds_the_solved_figures(two):
    solution = two.kept["B"]
    row = two.table().iloc[1]
    assert row["flow, L/min"] == f"{solution.flow.to('L/min').m:.2f}"
    assert row["pump"].endswith("100 %")
    assert row["warnings"]


def test_csv_reads_back_as_the_table(two, tmp_path):
    paths = two.save(tmp_path / "kept", "metric", "data:,", "words")
    back = pd.read_csv(paths[0], dtype=str)
    pd.testing.assert_frame_equal(back, two.table().astype("str"), check_dtype=False)


def test_markdown_has_a_column_for_each_design_and_escapes_bars(two):
    table = two.table()
    table.loc[0, "coolant"] = "a|b"
    lines = compare.markdown(table).splitlines()
    assert lines[0] == "| | A | B |"
    assert any("a\\|b" in line for line in lines)


def test_the_page_is_self_contained_and_escapes_names(two):
    table = two.table()
    table.loc[0, "coolant"] = "<script>"
    text = compare.page(table, "data:image/png;base64,AAAA", 'a "quoted" picture')
    assert "<script>" not in text
    assert "&quot;quoted&quot;" in text
    assert "http" not in text


def test_a_failed_write_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch):
    path = tmp_path / "a.md"
    compare.write_whole(path, "old")

    def refuse(*_):
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError, match="disk full"):
        compare.write_whole(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.md"]


def test_a_folder_that_cannot_be_made_is_named(two, tmp_path):
    (tmp_path / "kept").write_text("a file in the way")
    with pytest.raises(InputError, match="folder for the comparison"):
        two.save(tmp_path / "kept", "metric", "data:,", "words")
