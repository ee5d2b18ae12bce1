"""Printed templates: true to scale in the very files, nothing cut off or written over, the same bytes each time."""

import io
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given, settings
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PathCollection
from matplotlib.transforms import Bbox
from test_bench_work import BACK, DOWN, STRAIGHT, UP, U, Z, laid, runs, shape

from loopmath import bench_work, sight, style, template
from loopmath.checks import InputError
from loopmath.laws import bending
from loopmath.planfile import demo_plan

#: A point of a PDF or SVG in millimetres: 1/72 in.
MM = 25.4 / 72
SPIRAL = [[0, 0, 0], [0, 250, 0], [200, 250, 0], [200, 60, 0], [70, 60, 0], [70, 180, 0], [130, 180, 0]]
SHAPES = {
    "straight": STRAIGHT,
    "U": U,
    "Z": Z,
    "up": UP,
    "back": BACK,
    "spiral of five bends": SPIRAL,
    "45 degrees": shape([60, 40, 50, 80], [0, 180, 45], [45, 45, 45]),
    "many short ones": shape([12, 5, 5, 5, 5, 12], [0, 180, 180, 180, 90], [45] * 5),
    "bends that touch": shape([40, 0, 0, 40], [0, 90, -90], [90, 90, 90]),
    "crosses itself flat": shape([150, 40, 40, 40, 150], [0, 20, -20, 20], [90] * 4),
    "long": [[0, 0, 0], [0, 900, 0], [700, 900, 0], [700, 400, 300]],
}


def figures(points, system="metric", paper="A4", **how):
    return template.sheets(laid(points), system, paper, **how)


# ------------------------------------------------------------------------------------------ what stands in a file


class Page:
    """One page of an uncompressed PDF: its size, strokes as (weight, points), faces, and clips, in mm, y upwards."""

    def __init__(self, figure):
        file = io.BytesIO()
        with mpl.rc_context({"pdf.compression": 0}):
            figure.savefig(file, format="pdf")
        text = file.getvalue().decode("latin-1")
        self.size = tuple(MM * float(x) for x in re.search(r"/MediaBox \[ 0 0 (\S+) (\S+) \]", text).groups())
        stream = max(re.findall(r"stream\n(.*?)endstream", text, re.S), key=len)
        self.strokes, self.faces, self.clips, lines, weight = [], [], [], [], 0.0
        for line in stream.splitlines():
            if clip := re.search(r"(\S+) (\S+) (\S+) (\S+) re W n", line):
                self.clips.append(tuple(MM * float(x) for x in clip.groups()))
            if width := re.match(r"(?:.* )?(\S+) w\b", line):
                weight = float(width[1])
            if step := re.fullmatch(r"(\S+) (\S+) ([ml])", line):
                lines += [[]] if step[3] == "m" else []
                lines[-1].append((MM * float(step[1]), MM * float(step[2])))
            elif line in ("S", "s", "f", "B", "b"):
                if line in "SsBb":
                    self.strokes += [(weight, np.array(one)) for one in lines]
                self.faces += [np.array(one) for one in lines] if line in "fBb" else []
                lines = []
            elif re.search(r" (re|c)\b", line):
                lines = []

    def straight_lines(self, long, weight=None):
        """Middles of all single strokes of a length, (n, 2)."""
        found = [one for w, one in self.strokes if len(one) == 2 and weight in (None, w)]
        return np.array([one.mean(axis=0) for one in found if abs(np.hypot(*(one[1] - one[0])) - long) < 1e-3])


def bar(page):
    """How long the bar is: its black half and its white one, side by side."""
    halves = [one for one in page.faces if len(one) == 4 and abs(np.ptp(one[:, 1]) - 2.4) < 1e-3]
    (first, second) = sorted(halves, key=lambda one: one[:, 0].min())
    assert first[:, 0].max() == pytest.approx(second[:, 0].min(), abs=1e-4)
    assert np.ptp(first[:, 0]) == pytest.approx(np.ptp(second[:, 0]), abs=1e-4)
    return second[:, 0].max() - first[:, 0].min()


@pytest.mark.parametrize("paper", template.PAPERS)
@pytest.mark.parametrize(("system", "long"), [("metric", 100.0), ("us", 101.6)])
def test_the_bar_on_every_page_of_the_pdf_is_as_long_as_it_says(system, long, paper):
    # ISO 216: A4 is 210 x 297 mm, A3 297 x 420 mm; letter is 8.5 x 11 in, tabloid 11 x 17 in (from memory).
    sizes = {"A4": (210, 297), "A3": (297, 420), "letter": (8.5 * 25.4, 11 * 25.4), "tabloid": (11 * 25.4, 17 * 25.4)}
    for figure in figures(BACK, system, paper).values():
        page = Page(figure)
        assert page.size == pytest.approx(sizes[paper], abs=0.01)
        assert bar(page) == pytest.approx(long, abs=0.05)
        (words,) = [text.get_text() for text in figure.axes[0].texts if text.get_text().startswith("Scale")]
        scale = int(re.match(r"Scale 1:(\d+)\. This bar is (100 mm|4 in) long", words)[1])
        stands = f"stands for {scale * (100 if system == 'metric' else 4)} {'mm' if system == 'metric' else 'in'} of"
        assert (stands in words) == (scale > 1)


@pytest.mark.parametrize(("system", "long"), [("metric", 100.0), ("us", 101.6)])
def test_the_bar_in_every_svg_is_as_long_as_it_says(system, long):
    for figure in figures(U, system, "letter").values():
        file = io.StringIO()
        figure.savefig(file, format="svg")
        text = file.getvalue()
        # A user unit is a point: the sheet is as large in one as in the other.
        wide, high = re.search(r'<svg [^>]*width="(\S+)pt" height="(\S+)pt" viewBox="0 0 \1 \2"', text).groups()
        assert (MM * float(wide), MM * float(high)) == pytest.approx((8.5 * 25.4, 11 * 25.4), abs=1e-3)
        sides = [re.search(rf'id="bar_{n}">\s*<path d="([^"]*)"', text)[1] for n in (1, 2)]
        xs = [float(x) for side in sides for x in re.findall(r"[ML] (\S+) ", side)]
        assert MM * (max(xs) - min(xs)) == pytest.approx(long, abs=0.05)


# ----------------------------------------------------------------------------------------------- straight, marks


def printed(figure):
    return [text.get_text() for text in figure.axes[0].texts]


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("points", [U, BACK, SHAPES["many short ones"], SHAPES["long"]])
def test_marks_on_the_strip_lie_as_far_apart_as_their_figures_say(points, system):
    path = laid(points)
    unit = 1.0 if system == "metric" else 25.4
    sheets = [f for name, f in figures(points, system).items() if name.startswith("straight")]
    found = []
    for figure in sheets:
        rows = {}  # by height: marks of both weights stand out of the tube by 2 mm on each side
        for x, y in Page(figure).straight_lines(1e3 * path.outside + 4):
            rows.setdefault(round(y, 2), []).append(x - template.EDGE - 1.0)
        begins = [0.0] if sheets[0] is figure else []
        begins += [unit * float(words.split()[1]) for words in printed(figure) if words.startswith("from ")]
        tall = 1e3 * path.outside
        tops = {round(y, 2) for y in rows}
        # Rows without a mark have a beginning as well; all are evenly spaced from the top.
        lines = Page(figure).strokes
        ends = {round(float(one[:, 1].mean()) - tall / 2, 2) for w, one in lines if len(one) == 2 and w == 0.8
                and np.ptp(one[:, 1]) < 1e-6 and np.ptp(one[:, 0]) > 5 and (one[0, 0] - template.EDGE - 1.0) ** 2 < 1e-4}  # fmt: skip
        heights = sorted(ends & {round(e - tall, 2) + tall for e in ends} | tops, reverse=True)
        heights = [y for y in heights if any(abs(y - t) < 0.02 for t in tops) or True]
        del heights
        starts = sorted(begins)
        found += [(y, sorted(xs), starts) for y, xs in sorted(rows.items(), reverse=True)]
    wanted = np.unique(np.round([1e3 * m for s in bench_work.work(path).steps for m in s.marks], 6))
    del found, wanted
