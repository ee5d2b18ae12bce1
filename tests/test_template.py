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
from matplotlib.path import Path as Shape
from matplotlib.transforms import Bbox
from scipy.ndimage import binary_dilation, binary_erosion
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
    "one sharp bend": shape([80, 80], [0], [130]),
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

    @property
    def window(self):
        """What is left of a picture between head and foot: left, low, wide, high."""
        return max((clip for clip in self.clips if abs(clip[0] - template.EDGE) < 0.01), key=lambda clip: clip[3])

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


@pytest.mark.parametrize(("system", "unit", "step"), [("metric", 1.0, 10.0), ("us", 25.4, 12.7)])
@pytest.mark.parametrize("points", [U, BACK, SHAPES["many short ones"], SHAPES["long"]])
def test_marks_on_the_strip_lie_as_far_apart_as_their_figures_say(points, system, unit, step):
    path, said, strokes = laid(points), [], []
    for figure in (f for name, f in figures(points, system).items() if name.startswith("straight")):
        said += [line for words in printed(figure) for line in words.split("\n")]
        # A mark stands out of the tube by 2 mm on both sides: rows from the top, in each from the left.
        marks = Page(figure).straight_lines(1e3 * path.outside + 4).round(6)
        strokes += [(len(said), -y, x) for x, y in marks]
    strokes = sorted(strokes)
    wanted = sorted(1e3 * mark for s in bench_work.work(path).steps for mark in s.marks)
    shown = [f"{at / unit:.{1 if unit == 1.0 else 3}f}" for at in wanted]
    assert {f"{at}" for at in shown} <= {line.removeprefix("middle ") for line in said}
    wanted = np.array(wanted)[np.r_[True, np.diff(wanted) > 0.05]]
    assert len(strokes) == len(wanted)
    begins = []
    for (sheet, y, x), at in zip(strokes, wanted, strict=True):
        begins.append((sheet, y, at - (x - template.EDGE - 1.0)))  # the row begins after 1 mm that is filed off
    for row in sorted({begin[:2] for begin in begins}):
        starts = np.array([start for *at, start in begins if tuple(at) == row])
        assert np.ptp(starts) < 0.05
        assert abs(starts[0] / step - round(starts[0] / step)) * step < 0.05
        if round(starts[0]) > 0:
            assert f"from {round(starts[0] / step) * step / unit:.{1 if unit == 1.0 else 3}f}" in said


def test_the_strip_says_which_end_is_which_what_is_filed_off_and_how_the_bends_lie():
    (figure,) = (f for name, f in figures(UP, squaring=0.002).items() if name.startswith("straight"))
    words = printed(figure)
    made = bench_work.work(laid(UP), 0.002)
    said = " ".join(words)
    near, far = (1e3 * long for long in made.held)
    assert f"Saw {1e3 * made.blank:.1f} mm of tube: {near:.1f} mm at A and {far:.1f} mm at B is to hold it by" in said
    assert "File its ends square: 2.0 mm" in said
    assert f"{1e3 * made.finished:.1f} mm is left" in said
    assert any("from the squared end A" in line for line in words)
    assert {"A: near", "B: far", "bend 1: 90°\ngo to 90.9°\nmiddle 93.1", "turned 90°\nanticlockwise"} <= set(words)
    # Looking along the middle leg, to the right: bend 1 lies in the plane of the floor, its normal down (6 o'clock);
    # that of bend 2 shows to the front (3 o'clock). So it turns anticlockwise for UP, and clockwise for DOWN.
    assert "turned 90°\nclockwise" in printed(figures(DOWN)["straight"])
    assert "turned\nhalf round" in printed(figures(Z)["straight"])
    assert "not turned" in printed(figures(U)["straight"])
    page = Page(figure)
    low = min(one[:, 0].min() for w, one in page.strokes if np.ptp(one[:, 1]) < 1e-6 and len(one) == 2 and w == 0.5)
    assert low == pytest.approx(template.EDGE, abs=0.01)  # the dashes of what is filed off


def test_a_strip_without_squaring_promises_none():
    words = printed(figures(UP, squaring=0.0)["straight"])
    assert any(line.startswith("Saw ") for line in words)
    assert not any("File" in line for line in words)


def test_marks_of_fittings_are_where_the_tube_meets_their_mouths():
    path = demo_plan().paths["pump to processor"]
    deep = 1e3 * (path.insertion - path.play)
    finished = 1e3 * bench_work.work(path).finished
    words = printed(template.sheets(path)["straight"])
    assert deep.min() > 0
    assert {f"in fitting\nto {deep[0]:.1f}", f"in fitting\nfrom {finished - deep[1]:.1f}"} <= set(words)


def test_rows_break_at_round_places_off_heated_zones_and_skip_what_is_bare():
    zones = [np.array([100.0, 130.0, 160.0]), np.array([900.0, 930.0, 960.0])]
    marks = [template.Mark(at, [""]) for zone in zones for at in zone]
    rows = template._rows(1200.0, 180.0, marks, zones, 10.0)
    assert rows[0][0] == 0.0
    assert rows[-1][1] == 1200.0
    assert all(stop - start <= 180.0 for start, stop in rows)
    assert all(at % 10.0 == 0 for row in rows for at in row)
    for low, _, high in zones:
        assert any(start <= low - 8 and stop >= high + 8 for start, stop in rows)
    assert sum(stop - start for start, stop in rows) < 800  # the bare stretch from 180 on is not drawn
    held = [mark for mark in marks if any(start <= mark.at <= stop for start, stop in rows)]
    assert held == marks
    # A zone longer than a row is broken, away from its marks.
    rows = template._rows(
        500.0, 180.0, [template.Mark(at, [""]) for at in (20, 250, 480)], [np.array([20, 250, 480])], 10
    )
    assert [start for start, _ in rows[1:]] == [180.0, 360.0]


# ------------------------------------------------------------------------------------------------ bent, laid flat


def ticks(page, path):
    """Middles of the short lines across a flat tube at full size, where bends begin and end."""
    return page.straight_lines(1e3 * path.outside + 3)


def test_on_the_flat_sheet_bends_begin_and_end_as_far_apart_as_they_are():
    # U by hand: its corners are 28 mm from where a bend begins, so straights 72, 24, 72, and a chord of 28 sqrt(2).
    path = laid(U)
    sheets = figures(U)
    assert [name for name in sheets if name.startswith("flat")] == ["flat"]
    at = ticks(Page(sheets["flat"]), path)
    apart = np.sort([np.hypot(*(a - b)) for a, b in combinations(at, 2)])
    assert apart[0] == pytest.approx(24.0, abs=0.05)
    assert apart[1:3] == pytest.approx([28 * math.sqrt(2)] * 2, abs=0.05)
    assert apart[-1] == pytest.approx(80.0, abs=0.05)
    words = printed(sheets["flat"])
    assert {"72.0 mm", "24.0 mm", "bend 1: 90°", "bend 2: 90°", "A: near", "B: far"} <= set(words)


def test_the_tube_is_as_wide_on_paper_as_it_is():
    (edge,) = (one for w, one in Page(figures(U)["flat"]).strokes if w == 0.8 and len(one) == 2 and np.ptp(one) > 0
               if abs(np.hypot(*(one[1] - one[0])) - 14) < 1e-3 and one[:, 0].min() < 90)  # fmt: skip
    assert np.hypot(*(edge[1] - edge[0])) == pytest.approx(14.0, abs=0.01)


@pytest.mark.parametrize("points", [BACK, SPIRAL, SHAPES["45 degrees"]])
def test_joined_sheets_make_one_drawing(points):
    path = laid(points)
    flat = replace(path, points=template.flattened(path))
    sheets = {name: f for name, f in figures(points).items() if re.fullmatch(r"flat \d of \d", name)}
    grid = template._grid(flat, _room(sheets), 1)
    assert len(sheets) == len(grid.cells) > 1
    pages = [Page(figure) for figure in sheets.values()]
    windows = [page.window for page in pages]
    # Where each sheet lies is told by the marks two sheets share: short lines of 12 mm across the line to cut along.
    shift = {0: np.zeros(2)}
    for _ in pages:
        for _, a, b, axis, _ in grid.joins():
            one, other = a - 1, b - 1
            if one in shift and other not in shift:
                shift[other] = shift[one] + _shared(pages, windows, one, other, axis)
    assert len(shift) == len(pages)
    # Each bend begins and ends on some sheet, and on the joined drawing they are as far apart as on the tube.
    seen = []
    for n, (page, (left, low, wide, high)) in enumerate(zip(pages, windows, strict=True)):
        for x, y in ticks(page, path):
            if left <= x <= left + wide and low <= y <= low + high:
                seen.append(np.array([x, y]) + shift[n])
    spots = 1e3 * template._places(flat)[2][:, :2]
    assert len(seen) >= len(spots)
    found = np.unique(np.round(seen, 2), axis=0)
    assert len(found) == len(spots)  # what two sheets show lies in one place
    distances = lambda at: np.sort([np.hypot(*(a - b)) for a, b in combinations(at, 2)])  # noqa: E731
    assert distances(found) == pytest.approx(distances(spots), abs=0.05)


def _room(sheets):
    (window,) = {tuple(np.round(Page(figure).window, 4)) for figure in sheets.values()}
    return np.array(window[2:])


def _shared(pages, windows, one, other, axis):
    """How far one sheet is moved to lie on another, from the marks both show on the line between them."""
    found = []
    for n, near in ((one, False), (other, True)):
        left, low, wide, high = windows[n]
        at = pages[n].straight_lines(12.0, 0.5)
        # 5 mm inside of the right or lower edge of the first, of the left or upper edge of the second.
        line = (left + 5 if near else left + wide - 5) if axis == 0 else (low + high - 5 if near else low + 5)
        at = at[np.abs(at[:, axis] - line) < 0.01]
        inside = (at[:, 0] >= left) & (at[:, 0] <= left + wide) & (at[:, 1] >= low) & (at[:, 1] <= low + high)
        found.append(at[inside][np.lexsort(at[inside].T)])
    assert len(found[0]) == len(found[1]) == 2
    moved = found[0] - found[1]
    assert np.ptp(moved, axis=0) == pytest.approx([0, 0], abs=0.01)
    return moved[0]


def test_sheets_to_be_joined_name_their_neighbours_and_one_shows_the_whole():
    sheets = figures(SPIRAL)
    count = sum(name.startswith("flat ") for name in sheets)
    whole = printed(sheets["flat"])
    assert {f"sheet {n + 1}" for n in range(count)} <= set(whole)
    assert any(f"Full size is on {count} sheets" in line for line in whole)
    said = {n: next(line for line in printed(sheets[f"flat {n} of {count}"]) if "Beside" in line) for n in (1, 2)}
    assert "sheet 2 right, A on A" in said[1]
    assert "sheet 1 left, A on A" in said[2]
    assert printed(sheets[f"flat 1 of {count}"]).count("A") == 4  # at two places of the line, on both sides


def test_what_would_take_too_many_sheets_is_drawn_smaller_and_says_so():
    sheets = figures(SHAPES["long"])
    assert not any(name.startswith("flat ") for name in sheets)
    assert any("Full size would take" in line for line in printed(sheets["flat"]))
    assert any(name.startswith("flat ") for name in figures(SHAPES["long"], paper="A3"))


def test_laid_flat_a_plane_run_keeps_its_shape_and_any_other_its_legs_and_bends():
    for points in (U, Z, SPIRAL):
        path = laid(points)
        flat = template.flattened(path)
        assert bending.same_shape(bending.lra(flat, path.radius), path.lra, 1e-9, 1e-9)
    for points in (UP, BACK, SHAPES["45 degrees"], SHAPES["crosses itself flat"]):
        path = laid(points)
        flat = template.flattened(path)
        assert np.ptp(flat[:, 2]) < 1e-12
        made = bending.lra(flat, path.radius)
        assert made.lengths == pytest.approx(path.lra.lengths, abs=1e-9)
        assert made.angles == pytest.approx(path.lra.angles, abs=1e-9)
        line, along = sight.fine(replace(path, points=flat))
        apart = np.abs(along[:, None] - along) > math.pi * 0.028 + 0.014
        near = np.hypot(*(line[:, None] - line)[..., :2].transpose(2, 0, 1)) < path.outside
        assert not np.any(apart & near)  # turned so that it does not lie on itself


# ------------------------------------------------------------------------------------------------ in the machine


def test_views_lie_in_line_and_show_the_right_way_round():
    path = laid(BACK)
    scale, eyes = template._arranged(path, np.array([186.0, 220.0]))
    front, left, top, turned = eyes.values()
    assert list(eyes) == ["From the front", "From the left", "From above", "Turned, not to scale"]
    for point in path.points:
        assert front.place(point)[0] == pytest.approx(top.place(point)[0], abs=1e-9)
        assert front.place(point)[1] == pytest.approx(left.place(point)[1], abs=1e-9)
    origin, right, rear, up = np.zeros(3), np.eye(3)[0], np.eye(3)[1], np.eye(3)[2]
    for eye, way, step in ((front, right, (1, 0)), (front, up, (0, -1)), (top, rear, (0, -1)), (left, rear, (-1, 0))):
        moved = (eye.place(1e-3 * way) - eye.place(origin)) * scale  # a millimetre of the case; y runs down
        assert moved == pytest.approx(step, abs=1e-9)
    # The view from above stands over that from the front, the one from the left to its left.
    assert max(top.place(p)[1] for p in path.points) < min(front.place(p)[1] for p in path.points)
    assert max(left.place(p)[0] for p in path.points) < min(front.place(p)[0] for p in path.points)
    assert turned.axes[2] @ up > 0.3


def test_the_view_says_which_way_is_up_and_how_long_each_leg_is():
    words = printed(figures(UP)["in space"])
    assert bench_work.work(laid(UP)).up in " ".join(words)
    assert {"100.0 mm", "80.0 mm", "70.0 mm", "bend 1: 90°", "bend 2: 90°", "From above"} <= set(words)
    assert words.count("A") == words.count("B") == 4
    assert [words.count(way) for way in ("right", "rear", "up")] == [3, 3, 3]


@pytest.mark.parametrize("nearer", [1, -1])
def test_where_a_tube_crosses_itself_the_nearer_leg_covers_the_other(nearer):
    picture = template.Picture((100, 100))
    # From the left to the right, round outside of this picture, and back from the top to the bottom.
    flat = np.array([(x, 50.0) for x in range(0, 131, 5)] + [(130, y) for y in range(45, -31, -5)]
                    + [(x, -30.0) for x in range(125, 49, -5)] + [(50, y) for y in range(-25, 101, 5)])  # fmt: skip
    picture.tube(flat.astype(float), nearer * np.linspace(0, 60, len(flat)), 5.0)
    face = [
        shape for shape, face, *_ in picture.shapes if face == template.FILL and shape.contains_point((50.1, 50.1))
    ][-1]
    wide, high = np.ptp(face.vertices, axis=0)
    assert (high > wide) == (nearer > 0)


@pytest.mark.parametrize("name", ["up", "back", "many short ones", "crosses itself flat", "one sharp bend"])
def test_the_outline_of_a_tube_has_no_gap(name):
    path = laid(SHAPES[name])
    line = sight.fine(path)[0]
    _, eyes = template._arranged(path, np.array([186.0, 220.0]))
    for eye in eyes.values():
        picture = template.Picture((186, 220))
        picture.tube(eye.place(line), eye.scale * line @ eye.axes[2], eye.scale * path.outside / 2)
        sheet = template.Sheet("A4", "metric", "", "", [])
        sheet.show(picture)
        sheet.figure.set_dpi(254)
        canvas = FigureCanvasAgg(sheet.figure)
        canvas.draw()
        shade = np.asarray(canvas.buffer_rgba())[..., 0].astype(int)
        # Off the half shades at its sides a line of 0.8 pt parts them by three dots or more.
        grey, white = (binary_erosion(at, np.ones((3, 3))) for at in (np.abs(shade - 0xE6) < 3, shade > 252))
        assert grey.any()
        assert not np.any(grey & binary_dilation(white, np.ones((3, 3)), 3))


# ---------------------------------------------------------------------------------------- room on paper for words


def fits(figure):
    """Whether words are large enough, on the paper, and off each other, tubes, marks and zones."""
    figure.set_dpi(300)
    canvas = FigureCanvasAgg(figure)
    renderer = canvas.get_renderer()
    ax, wide, high = figure.axes[0], *(figure.get_size_inches() * 300)
    edge = 9 / 25.4 * 300
    boxes = []
    for text in ax.texts:
        assert text.get_fontsize() >= style.SMALL
        box = text.get_window_extent(renderer)
        assert box.x0 >= edge, text.get_text()
        assert box.x1 <= wide - edge, text.get_text()
        assert box.y0 >= edge, text.get_text()
        assert box.y1 <= high - edge, text.get_text()
        # A line of the font is taken higher than what stands in it: less than a third of a millimetre is air.
        boxes.append((text.get_text(), Bbox.from_extents(box.x0, box.y0 + 3.5, box.x1, box.y1 - 3.5)))
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not a.overlaps(b), (one, other)
    for laid_out in (art for art in ax.collections if isinstance(art, PathCollection)):
        window = laid_out.get_clip_box()
        inside = [
            (words, box) for words, box in boxes if window.fully_containsy(box.y0) and window.fully_containsy(box.y1)
        ]
        styles = laid_out.get_paths(), laid_out.get_facecolors(), laid_out.get_edgecolors()
        for shape_, face, edge in zip(*styles, strict=True):
            if (face[3] and face[0] > 0.5) or (edge[3] and edge[0] < 0.1):
                for drawn in laid_out.get_transform().transform_path(shape_).to_polygons(closed_only=False):
                    low, high = drawn.min(axis=0), drawn.max(axis=0)
                    for words, box in inside:
                        if np.all(high >= box.min) and np.all(low <= box.max):
                            assert not Shape(drawn).intersects_bbox(box, filled=bool(face[3])), words


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize(("system", "paper"), [("metric", "A4"), ("us", "letter")])
def test_nothing_is_cut_off_or_written_over(name, system, paper):
    for figure in figures(SHAPES[name], system, paper, title="A machine of several words").values():
        fits(figure)


@pytest.mark.parametrize("paper", ["A3", "tabloid"])
def test_nor_is_it_on_larger_paper(paper):
    for figure in figures(SPIRAL, paper=paper).values():
        fits(figure)


@settings(max_examples=6, deadline=None)
@given(runs(2, 5))
def test_nor_is_it_for_any_run(points):
    try:
        path = laid(points)
    except InputError:
        return
    for figure in template.sheets(path).values():
        fits(figure)


def test_names_of_any_length_and_signs_fit():
    path = laid(UP)
    long = "the third port from the left of the manifold behind the drive cage " * 2
    route = replace(path.route, name=long + "$x_1$")
    ports = tuple(replace(port, name=name) for port, name in zip(path.ports, (long, "a\nline\x07 ü"), strict=True))
    for figure in template.sheets(replace(path, route=route, ports=ports), title=long).values():
        fits(figure)
        assert not any("\x07" in text.get_text() for text in figure.axes[0].texts)


def test_the_line_from_words_to_their_place_crosses_no_other_words():
    picture = template.Picture((100, 60))
    picture.block((0, 0), (100, 20))
    picture.label("a label in the way", (50, 24))
    picture.label("its neighbour", (50, 15), 1.0)
    low, high = (np.array([50, 24]) + sign * np.array([13, 1]) for sign in (-1, 1))
    (line,) = (shape_.vertices for shape_, face, *_ in picture.shapes)
    along = line[0] + np.linspace(0, 1, 100)[:, None] * (line[1] - line[0])
    assert line[1] == pytest.approx([50, 15], abs=1.01)
    assert not np.any(np.all((along > low) & (along < high), axis=1))


def test_a_run_without_bends_has_its_view_and_its_strip():
    sheets = figures(STRAIGHT)
    assert list(sheets) == ["in space", "straight"]
    assert not any("bend" in line for figure in sheets.values() for line in printed(figure))


# ------------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize("wrong", [{"paper": "A5"}, {"system": "imperial"}])
def test_unknown_paper_and_units_are_refused(wrong):
    with pytest.raises(InputError):
        template.sheets(laid(U), **wrong)


def test_runs_of_several_designs_are_refused():
    with pytest.raises(InputError, match="Choose one design"):
        template.sheets(replace(laid(U), radius=np.array([0.028, 0.03])))


# ---------------------------------------------------------------------------------------------------------- files


def drain_only():
    plan = demo_plan()
    return plan.as_counts(*(name for name in plan.paths if name != "drain"))


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return template.write_templates(demo_plan(), tmp_path_factory.mktemp("templates"))


def test_the_pdf_holds_every_sheet_and_each_is_an_svg_beside_it(demo):
    pdf, *others = demo
    plan = demo_plan()
    wanted = [sheets for path in plan.paths.values() for sheets in template.sheets(path)]
    assert pdf.name == "all_runs.pdf"
    assert len(others) == len(set(others)) == len(wanted)
    assert {path.suffix for path in others} == {".svg"}
    assert sorted(path.name for path in pdf.parent.iterdir()) == sorted(path.name for path in demo)  # nothing half done
    assert len(re.findall(rb"/Type /Page\b", pdf.read_bytes())) == len(wanted)
    # Plain and bold once each, in two halves: letters of the alphabet, and others.
    assert len(re.findall(rb"/Type /FontDescriptor", pdf.read_bytes())) <= 4
    assert b"pump_to_processor-flat_1_of_2.svg" in b"\n".join(os.fsencode(path.name) for path in others)


def test_equal_plans_give_equal_bytes_in_any_session(demo, tmp_path):
    code = (
        "import sys; from pathlib import Path; from loopmath import template; from loopmath.planfile import demo_plan;"
    )
    code += "template.write_templates(demo_plan(), Path(sys.argv[1]))"
    subprocess.run([sys.executable, "-c", code, tmp_path], check=True, env=os.environ | {"PYTHONHASHSEED": "7"})
    for path in demo:
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name


@pytest.mark.filterwarnings("ignore:Glyph")  # the font has no such letters: a box stands for each
def test_two_runs_whose_names_reduce_to_one_keep_their_own_files(tmp_path, monkeypatch):
    plan = demo_plan()
    path = plan.paths["drain"]
    names = ["fill tube", "Fill-Tube!", "水", "…", "fill tube 2"]
    paths = {name: replace(path, route=replace(path.route, name=name)) for name in names}
    monkeypatch.setattr(type(plan), "paths", paths)
    made = template.write_templates(plan, tmp_path)
    stems = {path.name.rsplit("-", 1)[0] for path in made[1:]}
    assert stems == {"fill_tube", "fill_tube_2", "run", "run_2", "fill_tube_2_2"}
    assert len(made) == 1 + 2 * len(names)


def test_templates_go_to_a_folder_of_the_users(own):
    made = template.write_templates(replace(drain_only(), title="Räume / 2"))
    assert made[0] == own / "templates" / "r_ume_2" / "all_runs.pdf"


def test_without_a_run_in_space_nothing_is_written(tmp_path):
    with pytest.raises(InputError, match="Lay a run first"):
        template.write_templates(demo_plan().as_counts(), tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_folder_that_cannot_be_written_to_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="a folder that can be written to"):
        template.write_templates(drain_only(), tmp_path / "file")
