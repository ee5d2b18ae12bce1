"""Drawings of tube runs: what one sees from each side, true to scale, nearer over farther, no word over another."""

from dataclasses import replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from examples import DEMO, EXAMPLES, each_example
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from on_the_page import nothing_is_lost

from loopmath import bench_figures, bench_work, catalogue, load_plan, run_words, sight, style
from loopmath import run_figures as drawings
from loopmath.bench_figures import HOT, LOOKS, NOT_YET, NOTHING, CutPicture, RunShape, RunStrip, paler
from loopmath.cutting import Bar, Cutting, Stock
from loopmath.routes import Port, Route, laid
from loopmath.run_words import CASE, CUTS, MARKS
from loopmath.sight import VIEWS
from loopmath.solution import solved
from loopmath.units import DISPLAY

BOOTH = load_plan(DEMO)
LONG, FLAT, OUT = "pump to processor", "processor to graphics card", "graphics card to front radiator"
SYSTEMS = ("metric", "us")
either = pytest.mark.parametrize("system", SYSTEMS)
FITTING = "straight fitting for 14 mm hard tube"


@cache
def plan_of(path):
    return load_plan(path)


def run(points, name="a run", radius=0.03, tube="PETG 14/10 mm"):
    """Return a run from port to port over corners, each port facing its corner."""
    points = np.array(points, float)
    ways = {"port a": points[1] - points[0], "port b": points[-2] - points[-1]}
    ports = {
        port: Port(port, tuple(at), ", ".join(f"{x:.9f}" for x in way / np.linalg.norm(way)))
        for (port, way), at in zip(ways.items(), points[[0, -1]], strict=True)
    }
    route = Route(name, "port a", "port b", tuple(map(tuple, points[1:-1])), radius=radius)
    return laid(route, ports, catalogue.part("tube", tube), FITTING)


def some_runs():
    """Runs of three materials, with many bends and slanted legs."""
    many = [(50, 50, 50), (50, 50, 200), (120, 120, 260), (200, 120, 260), (200, 300, 260), (140, 360, 320),
            (60, 360, 320), (60, 250, 430), (100, 100, 450), (200, 100, 500)]  # fmt: skip
    slanted = [(30, 400, 100), (100, 400, 100), (180, 200, 300), (180, 80, 300), (50, 80, 450)]
    back = [(100, 450, 50), (100, 200, 50), (100, 100, 200), (200, 100, 200), (200, 200, 50), (200, 300, 50)]
    return [
        run(np.array(many) / 1e3, "a long run with many bends", 0.02),
        run(np.array(slanted) / 1e3, "slanted", 0.035, "copper 14/12 mm"),
        run(np.array(back) / 1e3, "there and back", 0.03, "acrylic 14/10 mm"),
    ]


def beside(paths, bodies=(), size=(0.24, 0.46, 0.54)):
    """Return what has the geometry of a plan and nothing else."""
    made = SimpleNamespace(bodies=tuple(bodies), case_size=size, ports=(), currency="", loop=BOOTH.loop)
    made.paths = {path.name: path for path in paths}
    return Bare(made)


class Bare:
    """A plan's geometry, told apart by itself as plans are."""

    def __init__(self, made):
        self.__dict__ = made.__dict__


def answer(plan, chosen="", marks=(), solution=None):
    path = plan.paths.get(chosen)
    work = None if path is None else bench_work.work(path, 0.001)
    return SimpleNamespace(plan=plan, solution=solution, chosen=chosen, marks=list(marks), work=work)


@cache
def full(path, chosen="", **settings):
    plan = plan_of(path).set(**settings)
    return answer(plan, chosen, solution=solved(plan))


def drawn(make, seen):
    """Return pictures on a figure of the screen's size, after one update."""
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        pictures = make(figure)
        for picture in pictures:
            count = len(picture.moving)
            assert picture.update(seen) is False
            assert len(picture.moving) == count, "it made artists anew"
    return pictures


def view_of(seen, view="front", system="metric", by="temperature", place=(0, 0, 1, 1)):
    return drawn(lambda f: [drawings.CaseView(f.add_axes(place), view, system, by)], seen)[0]


def shown(view, seen, system="metric", **how):
    """Return all pages of a view of the page of tube runs."""
    pictures = drawn(lambda f: drawings.pictures(f, view, system, **how), seen)
    return [page for picture in pictures for page in getattr(picture, "views", [picture])] + [
        picture.key for picture in pictures if hasattr(picture, "key")
    ]


def texts(*pages):
    return [text for page in pages for text in page.kept["text"] if text.get_text()]


def words(*pages):
    return [text.get_text().replace("\xa0", " ") for text in texts(*pages)]


def keeps_to_the_page(*pages):
    nothing_is_lost(texts(*pages), pages[0].ax.figure.canvas.get_renderer())


def shapes(page, face):
    """Return the corners of all shapes of a colour, in the order they were painted."""
    return [path.vertices for path, colour, *_ in page.laid if colour == face]


def at(page, words):
    return next(text.get_position() for text in texts(page) if text.get_text() == words)


def direction(rng):
    way = rng.normal(size=3)
    return way / np.linalg.norm(way)


# ------------------------------------------------------------------------------------------------------ what one sees


@pytest.mark.parametrize(
    ("view", "right", "up", "eye"),
    [
        ("front", (1, 0, 0), (0, 0, 1), (0, -1, 0)),
        ("rear", (-1, 0, 0), (0, 0, 1), (0, 1, 0)),
        # Who stands at the left side and looks to the right has the front at the right hand.
        ("left", (0, -1, 0), (0, 0, 1), (-1, 0, 0)),
        ("right", (0, 1, 0), (0, 0, 1), (1, 0, 0)),
        ("top", (1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ],
)
def test_each_side_is_what_one_sees_from_there(view, right, up, eye):
    assert sight.frame(view).tolist() == [list(right), list(up), list(eye)]
    # The right hand of who looks into the case with the head up.
    assert np.cross(-np.array(eye), up).tolist() == list(right)


@pytest.mark.parametrize("seed", range(10))
def test_any_direction_is_a_turned_frame_of_the_same_hand(seed):
    rng = np.random.default_rng(seed)
    azimuth, elevation = rng.uniform(-180, 180), rng.uniform(-89, 89)
    axes = sight.frame((azimuth, elevation))
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[0, 2] == 0.0  # what is level stays level
    assert axes[1, 2] > 0  # what is up stays up
    assert np.degrees(np.arcsin(axes[2, 2])) == pytest.approx(elevation)
    assert np.degrees(np.arctan2(axes[2, 0], -axes[2, 1])) == pytest.approx(azimuth)


def test_a_view_of_no_name_is_refused():
    with pytest.raises(ValueError, match="front"):
        sight.frame("below")


@pytest.mark.parametrize("seed", range(8))
def test_a_point_is_hidden_if_the_way_from_it_to_the_eye_meets_a_box(seed):
    rng = np.random.default_rng(seed)
    low = rng.uniform(0, 0.8, (5, 3))
    boxes = np.stack([low, low + rng.uniform(0.05, 0.3, (5, 3))], axis=1)
    points, towards = rng.uniform(0, 1, (60, 3)), direction(rng) if seed % 2 else sight.frame("top")[2]
    way = points[:, None] + np.linspace(1e-5, 3, 6001)[:, None] * towards
    met = np.any(np.all((way[:, :, None] > boxes[:, 0]) & (way[:, :, None] < boxes[:, 1]), axis=-1), axis=(1, 2))
    found = sight.hidden(points, boxes, towards)
    assert np.count_nonzero(found != met) <= 1  # a step of the search may miss the corner of a box
    assert met.any()
    assert not met.all()


def test_what_lies_on_the_near_face_is_seen_and_on_the_far_one_not():
    box = np.array([[[0.1, 0.1, 0.1], [0.2, 0.2, 0.2]]])
    near, far = np.array([[0.15, 0.1, 0.15]]), np.array([[0.15, 0.2, 0.15]])
    assert not sight.hidden(near, box, sight.frame("front")[2])[0]
    assert sight.hidden(far, box, sight.frame("front")[2])[0]
    assert not sight.hidden(near, box[:0], sight.frame("front")[2])[0]


@pytest.mark.parametrize("seed", range(12))
def test_boxes_are_painted_so_that_none_covers_a_nearer_one(seed):
    rng = np.random.default_rng(seed)
    cells = rng.permutation(27)[:12]
    corners = np.array(np.unravel_index(cells, (3, 3, 3))).T / 3
    boxes = np.stack([corners, corners + rng.uniform(0.1, 1 / 3, (12, 3))], axis=1)
    towards = direction(rng) if seed % 3 else sight.frame(list(VIEWS)[seed % 5])[2]
    order = sight.far_to_near(boxes, towards)
    assert sorted(order) == list(range(12))
    rank = np.argsort(order)
    # Along lines to the eye, what comes later stands nearer and must be painted later.
    slope = np.where(towards == 0, 1e-12, towards)
    met = 0
    for start in rng.uniform(0, 1, (400, 3)) - 3 * towards:
        ends = (boxes - start) / slope
        enters, leaves = ends.min(axis=1).max(axis=-1), ends.max(axis=1).min(axis=-1)
        hit = np.flatnonzero(leaves > enters + 1e-9)
        for a, b in pairwise(hit[np.argsort(enters[hit])]):
            assert rank[a] < rank[b]
            met += 1
    assert met > 20


# ------------------------------------------------------------------------------------------------ lines and bands


def area(corners):
    x, y = np.asarray(corners).T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


def test_dashes_lie_on_the_line_and_leave_their_gaps():
    line = np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 17.0)])
    found = sight.dashes(line, 6.0, 4.0)
    assert np.linalg.norm(found[:3, 1] - found[:3, 0], axis=1) == pytest.approx(6.0)
    assert found[1, 0] - found[0, 1] == pytest.approx([4.0, 0.0])
    assert found[-1].tolist() == [[30.0, 10.0], [30.0, 16.0]]


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.0])
def test_a_band_is_as_wide_as_it_should_be_whichever_way_it_runs(turn):
    angle = np.linspace(0, 1.4, 40)
    arc = 50 * np.column_stack([np.cos(angle + turn), np.sin(angle + turn)])
    end, begin, sharp = sight.sides(arc, 4.0)
    assert not sharp.any()
    assert end == pytest.approx(begin)
    assert np.linalg.norm(arc + end, axis=1) == pytest.approx(46.0, abs=0.02)  # the left of a left turn is inside
    assert np.linalg.norm(arc - end, axis=1) == pytest.approx(54.0, abs=0.02)


def test_where_a_line_turns_back_on_the_screen_its_sides_part():
    line = np.array([(0.0, 0.0), (10.0, 0.0), (10.0, 0.0), (10.0, 10.0)])
    end, begin, sharp = sight.sides(line, 2.0)
    assert sharp.tolist() == [False, False, True, False]
    assert end[2].tolist() == [0.0, 2.0]
    assert begin[2].tolist() == [-2.0, 0.0]
    assert not sight.sides(np.ones((3, 2)), 2.0)[2].any()  # it runs at the eye


@pytest.mark.parametrize("path", some_runs(), ids=lambda path: path.name)
def test_the_middle_line_is_fine_and_as_long_as_the_tube(path):
    points, along = sight.fine(path)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    assert steps.max() <= sight.STEP * 1.0001
    assert steps.sum() == pytest.approx(float(path.length), rel=1e-3)
    assert along[-1] == pytest.approx(float(path.length))


def is_round(corners):
    """Return True for a disc."""
    far = np.linalg.norm(corners[:-1] - corners[:-1].mean(axis=0), axis=1)
    return bool(np.ptp(far) < 1e-6 and area(corners[:-1]) > 3 * far[0] ** 2)


def bodies_of(page, colour):
    """Return every piece of tube of a colour that is not a round."""
    return [corners[:-1] for corners in shapes(page, colour) if not is_round(corners)]


@pytest.mark.parametrize(
    ("view", "place"), [("front", (0, 0, 1, 1)), ("left", (0, 0, 0.4, 1)), ("top", (0, 0, 0.3, 0.9))]
)
def test_tubes_are_as_wide_as_their_outside_diameter_at_the_scale_of_the_axes(view, place):
    seen = full(DEMO)
    page = view_of(seen, view, by="material", place=place)
    path = BOOTH.paths[FLAT]
    colour, _ = LOOKS["PETG"]
    # The scale as the axes of the drawing say it: between two numbers of the ruler.
    a, b = at(page, "0"), at(page, "100") if "100" in words(page) else at(page, "200")
    per = abs(b[0] - a[0] if b[1] == pytest.approx(a[1]) else b[1] - a[1]) / (0.1 if "100" in words(page) else 0.2)
    assert page.eye.scale == pytest.approx(per, rel=1e-6)
    straight = [s for s in (*bodies_of(page, colour), *bodies_of(page, paler(colour))) if len(s) >= 6]
    widths = [min(np.linalg.norm(s[0] - s[-1]), np.linalg.norm(s[len(s) // 2] - s[len(s) // 2 - 1])) for s in straight]
    assert max(widths) == pytest.approx(path.outside * per, rel=1e-3)
    assert sum(abs(w - path.outside * per) < 0.01 for w in widths) > 5


def test_a_bend_is_round_and_as_far_out_as_its_radius_and_half_the_tube():
    path = run([(0.1, 0.1, 0.05), (0.1, 0.1, 0.3), (0.2, 0.1, 0.3)])
    page = view_of(answer(beside([path])), by="material")
    corner = page.eye.place(np.array([0.13, 0.1, 0.27]))  # middle of its round
    points = np.concatenate(bodies_of(page, LOOKS["PETG"][0]))
    inside = (points[:, 0] <= corner[0]) & (points[:, 1] <= corner[1])
    far = np.linalg.norm(points[inside] - corner, axis=1)
    edges = np.array([0.03 - 0.007, 0.03 + 0.007]) * page.eye.scale
    assert np.abs(far[:, None] - edges).min(axis=1) == pytest.approx(0.0, abs=0.05)


def test_where_a_tube_runs_at_the_eye_a_round_is_seen():
    path = run([(0.1, 0.1, 0.05), (0.1, 0.1, 0.3), (0.2, 0.1, 0.3)])
    page = view_of(answer(beside([path])), "top", by="material")
    rounds = [c for c in shapes(page, LOOKS["PETG"][0]) if is_round(c)]
    middle = page.eye.place(np.array([0.1, 0.1, 0.2]))
    assert rounds
    for ring in rounds:
        assert np.linalg.norm(ring[:-1] - middle, axis=1) == pytest.approx(0.007 * page.eye.scale, rel=1e-6)


@pytest.mark.parametrize("nearer", [0.1, 0.3])
def test_the_nearer_of_two_tubes_that_cross_is_painted_last(nearer):
    upright = crossing("upright", [(0.12, nearer, 0.05), (0.12, nearer, 0.45)], "copper 14/12 mm")
    level = crossing("level", [(0.02, 0.2, 0.25), (0.22, 0.2, 0.25)], "PETG 14/10 mm")
    page = view_of(answer(beside([upright, level])), by="material")
    cross = page.eye.place(np.array([0.12, 0.2, 0.25]))

    def last(material):
        over = [n for n, (path, face, *_) in enumerate(page.laid) if face == LOOKS[material][0]
                and np.all(path.vertices.min(0) <= cross) and np.all(path.vertices.max(0) >= cross)]  # fmt: skip
        return max(over)

    assert (last("copper") > last("PETG")) == (nearer == 0.1)


def crossing(name, ends, tube):
    """Return a straight run between two points."""
    a, b = np.array(ends)
    way = ", ".join(map(str, b - a)), ", ".join(map(str, a - b))
    ports = {"a": Port("a", tuple(a), way[0]), "b": Port("b", tuple(b), way[1])}
    return laid(Route(name, "a", "b"), ports, catalogue.part("tube", tube), FITTING)


def test_what_is_behind_a_body_is_pale_and_what_is_before_it_is_not():
    box = next(box for box in BOOTH.bodies if box.name == "reservoir")  # 90 to 150 mm right, 95 to 155 mm to the rear
    near = crossing("near", [(0.12, 0.05, 0.16), (0.12, 0.05, 0.34)], "copper 14/12 mm")
    far = crossing("far", [(0.12, 0.3, 0.16), (0.12, 0.3, 0.34)], "acrylic 14/10 mm")
    page = view_of(answer(beside([near, far], [box])), by="material")
    copper, acrylic = LOOKS["copper"][0], LOOKS["PMMA"][0]
    assert shapes(page, copper)
    assert not shapes(page, paler(copper))
    assert shapes(page, paler(acrylic))
    assert not shapes(page, acrylic)
    behind = view_of(answer(beside([near, far], [box])), "rear", by="material")
    assert shapes(behind, acrylic)
    assert shapes(behind, paler(copper))


# -------------------------------------------------------------------------------------------------------- the machine


@each_example
@either
@pytest.mark.parametrize("by", drawings.COLOURS)
def test_no_words_of_the_machine_are_cut_off_too_small_or_over_each_other(path, system, by):
    seen = full(path, next(iter(plan_of(path).paths), ""))
    keeps_to_the_page(*shown(CASE, seen, system, by=by))


@pytest.mark.parametrize("seed", range(16))
def test_words_keep_apart_from_any_direction_with_marks_and_slanted_tubes(seed):
    rng = np.random.default_rng(seed)
    turned = (rng.uniform(-180, 180), rng.uniform(-10, 90))
    plan = beside(some_runs(), BOOTH.bodies[: rng.integers(0, 12)]) if seed % 2 else BOOTH
    ends = [path.points[rng.integers(len(path.points))] for path in plan.paths.values()]
    marks = [(str(rng.choice(list(style.SIGNALS))), point, str(rng.choice(["", "memory", "board"]))) for point in ends]
    seen = answer(plan, str(rng.choice(list(plan.paths))), marks, solved(plan) if plan is BOOTH else None)
    keeps_to_the_page(*shown(CASE, seen, str(rng.choice(SYSTEMS)), by=str(rng.choice(drawings.COLOURS)), turned=turned))


@pytest.mark.parametrize("view", [*VIEWS, (30.0, 20.0), (0.0, 90.0)])
@either
def test_a_view_by_itself_fills_a_page(view, system):
    keeps_to_the_page(view_of(full(DEMO, LONG), view, system))


@pytest.mark.parametrize("path", EXAMPLES[:3], ids=lambda path: path.stem)
def test_named_views_have_one_scale_and_all_fill_the_width(path):
    seen = full(path)
    *views, key = shown(CASE, seen)
    scales = [page.eye.scale for page in views[:-1]]
    assert max(scales) / min(scales) < 1.04
    assert sum(page.wide for page in views) == pytest.approx(880)
    assert all(page.high + key.high == pytest.approx(424) for page in views)
    left = 0.0
    for page in views:
        assert page.ax.get_position().x0 * 880 == pytest.approx(left)
        left += page.wide


@pytest.mark.parametrize(("view", "axis", "sign"), [("front", 0, 1), ("left", 1, -1), ("right", 1, 1), ("top", 0, 1)])
@either
def test_numbers_of_the_ruler_stand_at_their_places_and_say_which_way(view, axis, sign, system):
    page, unit = view_of(full(DEMO), view, system), DISPLAY[system]["length"]
    said = next(word for word in words(page) if drawings.AXES[axis] in word)
    assert said in (f"{drawings.AXES[axis]}, {unit.label} →" if sign > 0 else f"← {drawings.AXES[axis]}, {unit.label}",)
    numbers = [t for t in texts(page) if t.get_text().isdigit() and t.get_ha() == "center" and t.get_weight() != "bold"]
    assert len(numbers) >= 2
    for text in numbers:
        place = page.eye.place(unit.back(float(text.get_text())) * np.eye(3)[axis])
        assert text.get_position()[0] == pytest.approx(place[0])
    xs = [t.get_position()[0] for t in sorted(numbers, key=lambda t: float(t.get_text()))]
    assert np.all(np.diff(xs) * sign > 0)


@pytest.mark.parametrize("view", [*VIEWS, drawings.TURNED])
def test_every_run_has_its_number_on_its_tube_or_a_line_to_it(view):
    seen = full(DEMO)
    page = view_of(seen, view)
    for number, path in enumerate(BOOTH.paths.values(), start=1):
        bold = [t for t in texts(page) if t.get_text() == str(number) and t.get_weight() == "bold"]
        assert len(bold) == 1
        place = np.array(bold[0].get_position())
        tube = page.eye.place(sight.fine(path)[0])
        if np.hypot(*(tube - place).T).min() > 4:
            lines = [p.vertices for p, face, *_ in page.laid if face == "none" and len(p.vertices) == 2]
            (lead,) = [line for line in lines if np.allclose(line[1], place)]
            assert np.hypot(*(tube - lead[0]).T).min() < 4


def test_a_number_stands_on_the_longest_straight_of_its_run():
    path = run([(0.1, 0.1, 0.05), (0.1, 0.1, 0.4), (0.2, 0.1, 0.4)])
    page = view_of(answer(beside([path])))
    (text,) = [t for t in texts(page) if t.get_text() == "1"]
    x, y = page.eye.place(np.array([0.1, 0.1, 0.225]))
    assert text.get_position() == pytest.approx((x, y), abs=20 * page.eye.scale / 1e3)


@pytest.mark.parametrize("view", ["front", "left", "top", (-60.0, 30.0)])
def test_names_keep_off_the_tubes(view):
    page = view_of(full(DEMO, LONG), view)
    tubes = page.eye.place(np.concatenate([sight.fine(path)[0] for path in BOOTH.paths.values()]))
    half = 0.007 * page.eye.scale
    names = {*(box.name for box in BOOTH.bodies), *BOOTH.paths}
    named = [text for text in texts(page) if text.get_text() in names]
    assert named
    for text in named:
        wide = style.measured(text.get_text())[0]
        apart = np.abs(tubes - text.get_position()) - (wide / 2, 5.0)
        assert np.all(apart.max(axis=1) > half - 0.5), text.get_text()


def test_arrows_point_the_way_the_coolant_flows():
    page = view_of(full(DEMO), "left")
    path = BOOTH.paths[LONG]  # up from the pump, then to the rear: to the left on this side
    heads = [p.vertices[:3] for p, face, edge, _ in page.laid if face == style.INK and edge == "#FFFFFF"]
    tube = page.eye.place(sight.fine(path)[0])
    own = [h for h in heads if np.hypot(*(tube - h.mean(0)).T).min() < 1.5]
    assert own
    for head in own:
        n = int(np.argmin(np.hypot(*(tube - head.mean(0)).T)))
        way = tube[min(n + 1, len(tube) - 1)] - tube[max(n - 1, 0)]
        assert way @ (head[0] - head[1:].mean(0)) > 0


def test_bodies_are_named_where_their_face_is_seen_and_panels_that_come_off_are_dashed():
    page = view_of(full(DEMO), "left")
    names = {box.name for box in BOOTH.bodies}
    named = [t for t in texts(page) if t.get_text() in names]
    assert {"board", "top radiator", "power supply"} <= {t.get_text() for t in named}
    for text in named:
        box = next(box for box in BOOTH.bodies if box.name == text.get_text())
        (left, high), (right, low) = page.eye.place(np.array([box.high, box.low]))
        assert left < text.get_position()[0] < right
        assert high < text.get_position()[1] < low
    dashed = [p for p, face, edge, weight in page.laid if face == "none" and edge == style.QUIET and weight == 1.1]
    (panel,) = dashed
    size = np.abs(np.diff(page.eye.place(np.array([[0, 0, 0], BOOTH.case_size])), axis=0))[0]
    assert np.ptp(panel.vertices, axis=0) == pytest.approx(size, abs=8)
    assert len(panel.vertices) > 100
    assert any("dashed" in word for word in words(*shown(CASE, full(DEMO))))


@either
def test_colour_says_the_temperature_of_the_coolant_and_the_key_its_number(system):
    seen = full(DEMO, pump_speed=0.35)
    *views, key = shown(CASE, seen, system)
    warm = DISPLAY[system]["temperature"]
    for name in BOOTH.paths:
        row = seen.solution.row(name)
        between = 0.5 * float(row["in"] + row["out"])
        colour = style.warm_colour(round(between, 1))
        assert shapes(views[1], colour) or shapes(views[1], paler(colour))
        assert f"{name}, {warm.text(between, unit=False)}" in words(key)
        assert shapes(key, colour)
    assert f"coolant, {warm.label}" in words(key)


def test_where_no_temperature_is_known_tubes_are_plain():
    seen = full(DEMO, pump_speed=0.0)
    *views, key = shown(CASE, seen)
    known = [n for n, (_, _, warm) in drawings.colours(seen.plan, seen.solution, "temperature").items() if warm]
    assert known == []
    assert shapes(views[0], style.PLAIN_TUBE)
    assert LONG in words(key)


def test_materials_have_a_colour_a_line_and_a_word_each():
    plan = beside(some_runs())
    *views, key = shown(CASE, answer(plan), by="material")
    lines = {}
    for path in plan.paths.values():
        colour, pattern = LOOKS[path.tube.material]
        assert shapes(views[0], colour)
        assert f"{path.name}, {path.tube.material}" in words(key)
        lines[path.tube.material] = pattern
    assert len(set(lines.values())) == 3
    assert len({LOOKS[material][0] for material in lines}) == 3
    inked = [p for p, face, edge, weight in views[1].laid if face == "none" and weight == 1.2 and edge == style.INK]
    assert inked


def test_the_chosen_run_stands_out_by_line_number_and_name():
    plain, page = view_of(full(DEMO), "left"), view_of(full(DEMO, LONG), "left")
    number = list(BOOTH.paths).index(LONG) + 1
    (text,) = [t for t in texts(page) if t.get_text() == str(number) and t.get_weight() == "bold"]
    assert to_hex(text.get_color()).upper() == "#FFFFFF"
    key = shown(CASE, full(DEMO, LONG))[-1]
    assert [t.get_text() for t in texts(key) if t.get_weight() == "bold" and not t.get_text().isdigit()][0].startswith(
        LONG
    )

    heavy, light = (
        [np.linalg.norm(c[0] - c[-1]) for c in bodies_of(one, style.INK) if len(c) > 8] for one in (page, plain)
    )
    assert max(heavy) > max(light) + 2


def test_what_is_flagged_has_its_shape_and_its_word_at_its_place():
    point = np.array([0.085, 0.28, 0.39])
    marks = [("warning", point, "memory"), ("danger", np.array([0.12, 0.125, 0.06]), "")]
    page = view_of(answer(BOOTH, LONG, marks, full(DEMO).solution), "left")
    used = {line.get_marker(): line for line in page.kept["line"] if len(line.get_xdata())}
    assert used["^"].get_xydata()[0] == pytest.approx(page.eye.place(point))
    assert to_hex(used["^"].get_color()).upper() == style.SIGNALS["warning"][0]
    assert to_hex(used["H"].get_color()).upper() == style.SIGNALS["danger"][0]
    assert "warning: memory" in words(page)
    assert "danger" in words(page)


def test_a_plan_whose_runs_are_not_laid_says_so_and_still_shows_its_case():
    plan = BOOTH.as_counts()
    pages = shown(CASE, answer(plan, solution=solved(plan)))
    assert NOTHING in words(pages[-1])
    assert "board" in words(*pages)
    keeps_to_the_page(*pages)
    assert all(NOTHING in page.alt(answer(plan)) for page in pages[:-1])
    bare = beside([], size=None)
    page = view_of(answer(bare))
    assert words(page) == ["Front", NOTHING]
    keeps_to_the_page(*shown(CASE, answer(bare)))
    keeps_to_the_page(*shown(MARKS, answer(bare)))


def test_free_ports_are_drawn_and_those_with_a_tube_are_not():
    plan = replace(BOOTH, routes=())
    page, full_one = view_of(answer(plan), "front"), view_of(full(DEMO), "front")

    def ports(one):
        return len([1 for p, face, edge, _ in one.laid if face == bench_figures.METAL and edge != "none"])

    assert ports(page) == len(BOOTH.ports)
    assert ports(full_one) == 0


def test_more_runs_than_the_key_has_room_for_are_counted():
    paths = [
        replace(some_runs()[0], route=replace(some_runs()[0].route, name=f"run {n} of quite a long name"))
        for n in range(40)
    ]
    pages = shown(CASE, answer(beside(paths)))
    assert any(word.startswith("and ") and word.endswith(" more") for word in words(pages[-1]))
    nothing_is_lost(texts(pages[-1]), pages[-1].ax.figure.canvas.get_renderer())


def test_a_drawing_is_used_again_for_another_machine_and_shows_what_a_new_one_shows():
    first, other = full(DEMO, LONG), full(EXAMPLES[0])
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        (machine,) = drawings.pictures(figure, CASE)
        machine.update(other)
        count = len(machine.moving)
        assert machine.update(first) is False
        machine.turned = (50.0, 10.0)
        machine.update(first)
    assert len(machine.moving) == count
    fresh = shown(CASE, first, turned=(50.0, 10.0))
    for one, two in zip((*machine.views, machine.key), fresh, strict=True):
        assert words(one) == words(two)
        assert len(one.laid) == len(two.laid)
        for (path, *how), (other_path, *other_how) in zip(one.laid, two.laid, strict=True):
            assert how == other_how
            assert path.vertices == pytest.approx(other_path.vertices, abs=1e-6)
    assert machine.alt(first).startswith("Left side.")
    assert all(name in machine.alt(first) for name in first.plan.paths)


# ---------------------------------------------------------------------------------------------------------- the bench


@each_example
@either
def test_no_words_of_the_bench_are_cut_off_too_small_or_over_each_other(path, system):
    for name in plan_of(path).paths:
        keeps_to_the_page(*shown(MARKS, answer(plan_of(path), name), system))


@either
@pytest.mark.parametrize("path", some_runs(), ids=lambda path: path.name)
def test_words_of_the_bench_keep_apart_for_slanted_runs(path, system):
    keeps_to_the_page(*shown(MARKS, answer(beside([path]), path.name), system))


@either
@pytest.mark.parametrize("path", [BOOTH.paths[name] for name in (LONG, FLAT, OUT)] + some_runs(), ids=lambda p: p.name)
def test_marks_stand_where_they_are_on_the_tube_and_are_written_under_their_bend(path, system):
    seen, unit = answer(beside([path]), path.name), DISPLAY[system]["length"]
    strip = shown(MARKS, seen, system)[0]
    tube = shapes(strip, "#FFFFFF")[0]
    left, wide = tube[:, 0].min(), np.ptp(tube[:, 0])
    per = wide / seen.work.finished
    assert np.ptp(tube[:, 1]) == pytest.approx(path.outside * per)
    held = [np.ptp(end[:, 0]) for end in shapes(strip, bench_figures.METAL)]
    assert held == pytest.approx([per * (0.011 - 0.001)] * 2)  # so deep in its fitting, less the free play
    assert at(strip, "1")[1] + 8 <= tube[:, 1].min() - 5  # clear of the stroke over the middle of the zone
    zones = [(z[:, 0].min(), z[:, 0].max()) for z in shapes(strip, HOT)]
    steps = sorted(seen.work.steps, key=lambda step: step.bend)
    wanted = np.array([(s.marks[0], s.marks[2]) for s in steps])
    assert np.array(zones) == pytest.approx(left + per * wanted)
    for number, step in enumerate(steps, start=1):
        assert at(strip, str(number))[0] == pytest.approx(left + per * step.marks[1])
        column = [
            t for t in texts(strip) if t.get_text() in [unit.text(float(mark), unit=False) for mark in step.marks]
        ]
        assert len(column) >= 3
        angle = bench_figures.plain(np.degrees(step.angle)) + "°"
        assert angle in words(strip)
    head = words(strip)[0]
    assert unit.text(seen.work.blank) in head
    assert unit.text(seen.work.finished) in head
    assert any(path.ports[0].name in word and "start" in word for word in words(strip))
    assert any(path.ports[1].name in word and "end" in word for word in words(strip))
    assert unit.text(seen.work.blank) in strip.alt(seen)


def test_more_bends_than_have_room_are_counted():
    zigzag = [(0.05 * n, 0.05 * (n % 2), 0.0) for n in range(26)]
    path = run(zigzag, radius=0.01)
    seen = answer(beside([path]), path.name)
    pages = shown(MARKS, seen)
    assert any("more bends" in word for word in words(pages[0]))
    keeps_to_the_page(*pages)


def test_a_run_lies_with_its_first_bend_in_the_plane_and_its_other_end_up():
    for path in [*BOOTH.paths.values(), *some_runs()]:
        axes = bench_figures.plane_of(path)
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
        assert np.linalg.det(axes) == pytest.approx(1.0)
        heights = (path.points - path.points[0]) @ axes[2]
        assert heights[: min(3, len(heights))] == pytest.approx(0.0, abs=1e-9)
        assert heights[-1] > -1e-9
        across = path.points @ axes[:2].T
        assert np.ptp(across[:, 0]) >= np.ptp(across[:, 1]) - 1e-9


@either
def test_the_bent_tube_has_its_legs_and_angles_and_says_what_stands_out(system):
    unit = DISPLAY[system]["length"]
    page = shown(MARKS, answer(BOOTH, OUT), system)[1]
    # As data/plans/podcast_booth.toml has it: from 163 down to 75 mm, 71 to 155 mm right, 284 to 83 mm to the front.
    for leg in (0.088, 0.084, 0.201):
        assert unit.text(leg, unit=False) in words(page)
    assert {"bend 1: 90°", "bend 2: 90°", "graphics card out", "front radiator in"} <= set(words(page))
    assert f"Out of that plane: {unit.text(0.201)} up" in words(page)
    flat = shown(MARKS, answer(BOOTH, FLAT), system)[1]
    assert "Bent, in the plane of bend 1: it lies flat" in words(flat)
    straight = shown(MARKS, answer(BOOTH, "drain"), system)[1]
    assert "It is straight" in words(straight)
    assert unit.text(0.201, unit=False) in page.alt(answer(BOOTH, OUT))


def test_legs_and_bends_are_named_beside_the_tube():
    for path in (BOOTH.paths[OUT], *some_runs()):
        seen = answer(beside([path]), path.name)
        page = shown(MARKS, seen)[1]
        drawn_at = np.concatenate(bodies_of(page, LOOKS[path.tube.material][0]))
        labels = [t for t in texts(page) if t.get_ha() == "center"]
        assert len(labels) >= 2 * path.bends
        for text in labels:
            wide = style.measured(text.get_text(), bold=text.get_weight() == "bold")[0]
            inside = np.abs(drawn_at - text.get_position()) < (wide / 2 - 1, 5)
            assert not inside.all(axis=1).any(), text.get_text()


def test_both_views_of_the_bent_tube_are_of_one_scale():
    page = shown(MARKS, answer(BOOTH, OUT))[1]
    wide = [min(np.linalg.norm(s[0] - s[-1]), 99) for s in bodies_of(page, LOOKS["PETG"][0])]
    assert np.ptp(wide) < 0.02
    assert max(wide) <= bench_figures.THICK + 0.01


def test_a_run_that_is_not_laid_yet_is_said_in_words():
    seen = answer(BOOTH.as_counts(), LONG)
    for page in shown(MARKS, seen):
        assert words(page) == [NOT_YET]
        assert page.alt(seen) == NOT_YET


# ------------------------------------------------------------------------------------------------------------ the saw


def cuts(*cuttings):
    named = {f"tube {n}": one for n, one in enumerate(cuttings, start=1)}
    return SimpleNamespace(plan=BOOTH, cuts=SimpleNamespace(cuttings=named))


def by_hand():
    """Two bars: 300, a cut of 2, 150, a cut of 2 and 46 mm; 900 mm, a cut of 2 and 98 mm."""
    half, whole = Stock(0.5, 4.5), Stock(1.0, None)
    one = Bar(half, [("first run", 0.0, 0.3), ("second run", 0.302, 0.452)], 0.046)
    return Cutting([one, Bar(whole, [("third run", 0.0, 0.9)], 0.098)], 2, True)


@either
def test_bars_pieces_cuts_and_what_is_left_are_to_scale(system):
    unit, (page,) = DISPLAY[system]["length"], shown(CUTS, cuts(by_hand()), system)
    pieces = shapes(page, LOOKS[""][0])  # of a tube the plan does not know
    assert len(pieces) == 3
    per = np.ptp(pieces[2][:, 0]) / 0.9
    assert [np.ptp(p[:, 0]) for p in pieces] == pytest.approx([0.3 * per, 0.15 * per, 0.9 * per])
    assert pieces[1][:, 0].min() - pieces[0][:, 0].min() == pytest.approx(0.302 * per)
    gaps = [c for c in shapes(page, style.INK) if len(c) == 5]
    assert [np.ptp(g[:, 0]) for g in gaps] == pytest.approx([max(0.002 * per, 1.4)] * 3, abs=1e-6)
    for name, long in (("first run", 0.3), ("second run", 0.15), ("third run", 0.9)):
        assert name in words(page)
        assert unit.text(long, unit=False) in words(page)
    assert f"{unit.text(0.098, unit=False)} left" in words(page)
    assert "4.50 EUR" in words(page)
    head = words(page)[0]
    if system == "metric":
        assert head == "tube 1: 1 bar of 500 mm and 1 bar of 1000 mm, 144.0 mm left over"
    assert head in page.alt(cuts(by_hand()))
    keeps_to_the_page(page)


@each_example
@either
def test_cuts_of_every_plan_find_room(path, system):
    plan = plan_of(path)
    if not any(e.tube.rigid for e in plan.units(object) if hasattr(e, "tube")):
        return
    keeps_to_the_page(*shown(CUTS, run_words.look(CUTS, plan), system))


def test_bars_beyond_the_page_are_counted():
    one = by_hand()
    many = Cutting(one.bars * 9, 18, True)
    (page,) = shown(CUTS, cuts(many, many))
    (more,) = [word for word in words(page) if word.endswith("the table has them all")]
    rows = [word for word in words(page) if word.split("  ")[0].isdigit() and word.endswith(" mm")]
    assert len(rows) + int(more.split()[1]) == 36
    keeps_to_the_page(page)
    assert words(*shown(CUTS, cuts())) == ["There is no tube to saw."]


def test_practice_pieces_and_spares_are_paler_than_runs():
    bar = Bar(Stock(1.0), [("a", 0.0, 0.3), ("spare: a", 0.301, 0.601), ("practice", 0.602, 0.702)], 0.297)
    (page,) = shown(CUTS, cuts(Cutting([bar], 1, True)))
    assert len(shapes(page, LOOKS[""][0])) == 1
    assert len(shapes(page, paler(LOOKS[""][0]))) == 2


@pytest.mark.parametrize("view", run_words.VIEWS)
def test_every_view_of_the_page_has_its_drawing(view):
    kinds = {CASE: drawings.Machine, run_words.WAYS: drawings.Machine, CUTS: CutPicture, MARKS: RunStrip}
    with style.look():
        first, *others = drawings.pictures(Figure(), view)
    assert isinstance(first, kinds[view])
    assert [type(other) for other in others] == ([RunShape] if view == MARKS else [])
