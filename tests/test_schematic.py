"""The schematic, measured with the Agg renderer: nothing overlaps, flow reads to the right, figures are right."""

import itertools
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from reference_case import Resistance

import loopmath
from loopmath import catalogue, layout, parts, schematic, style
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.loss import Loss
from loopmath.plan import Plan
from loopmath.solution import solved
from loopmath.units import DISPLAY

TUBE = catalogue.part("tube", "PETG 14/10 mm")
COOLANT = loopmath.demo_plan().coolant


def any_part(kind, place=0):
    return catalogue.part(kind, catalogue.names(kind)[place])


def leaf(kind, name):
    """Make an element of one kind; the digits of its name are no part of what is tested."""
    fan = catalogue.part("fan", "quiet fan 120 mm, 1300 rpm")
    core = catalogue.part("radiator", "3 x 120 mm, slim, medium fins")
    makers = {
        "pump": lambda: tree.PumpUnit(name, any_part("pump", 1), 0.7),
        "block": lambda: tree.Source(name, any_part("block"), 120.0),
        "radiator": lambda: tree.RadiatorUnit(name, core, fan, 0.6),
        "tank": lambda: tree.Tank(name, any_part("reservoir")),
        "valve": lambda: tree.Fittings(name, any_part("fitting", -1), 2.0),
        "part": lambda: Resistance(name, Loss(fixed_linear=1e7)),
        "in-line": lambda: tree.InlineUnit(name, parts.Inline("made up", "filter", 1e7)),
        "run": lambda: tree.Run(name, TUBE, 0.38, 2.0, 1.0),
        "leg": lambda: tree.DeadLeg(name, TUBE, 0.12),
    }
    return makers[kind]()


def named(*kinds):
    return [leaf(kind, f"{kind} {place}") for place, kind in enumerate(kinds)]


def plan_of(*items):
    return Plan("made by hand", tree.Series(*items), COOLANT)


def cube():
    items = named("tank", "pump", "run", "block", "run", "radiator", "run")
    return plan_of(*items)


def two_cards():
    cards = [
        [leaf("run", f"tee to card {i}"), leaf("block", f"graphics card {i}"), leaf("leg", f"bleed {i}")] for i in "ab"
    ]
    around = named("tank", "leg", "pump", "run", "block", "run")
    return plan_of(
        *around, tree.Parallel(*(tree.Series(*c) for c in cards)), *map(leaf, ["radiator"] * 2, ["one", "two"])
    )


def twenty():
    kinds = [
        "tank",
        "leg",
        "pump",
        "run",
        "in-line",
        *["run", "block"] * 8,
        "pump",
        "valve",
        "leg",
        "leg",
        "run",
        "run",
    ]
    return plan_of(*named(*kinds, *["radiator"] * 6))


def nested():
    inner = tree.Parallel(*(leaf("block", f"die {i}") for i in range(3)))
    long = tree.Series(*(leaf(kind, f"{kind} of part {i}") for i in range(6) for kind in ("run", "block")))
    card = tree.Series(leaf("run", "to the card"), leaf("block", "card"), inner, leaf("run", "from the dice"))
    branches = [card, long, leaf("block", "lone"), tree.Series(leaf("pump", "booster"), leaf("block", "boosted"))]
    return plan_of(*named("tank", "pump"), tree.Parallel(*branches), leaf("radiator", "only radiator"))


def strange_names():
    names = [
        "W" * 40,
        "i" * 40,
        "$x^2$ & 100 %",
        "Å" * 40,
        "кулер для процессора " * 4,
        "a\nb\tc",
        "Kühlblock_für~alles{}",
        "x",
    ]
    kinds = ["tank", "pump", "block", "run", "radiator", "leg", "block", "run"]
    return plan_of(*map(leaf, kinds, names))


def bypass():
    """A branch of nothing but tube, and a group at the very end of a branch and of the loop."""
    last = tree.Parallel(leaf("radiator", "left"), tree.Series(leaf("run", "bare tube"), leaf("leg", "vent")))
    return plan_of(
        leaf("pump", "pump"),
        leaf("block", "chip"),
        tree.Parallel(tree.Series(leaf("tank", "t"), last), leaf("radiator", "right")),
    )


PLANS = {
    "demo": loopmath.demo_plan,
    "demo in parallel": lambda: loopmath.demo_plan().set(layout="parallel"),
    "demo at rest": lambda: loopmath.demo_plan().set(pump_speed=0.0),
    "cube": cube,
    "two cards": two_cards,
    "twenty": twenty,
    "nested": nested,
    "a bypass": bypass,
    "strange names": strange_names,
}


class Seen:
    """A drawing as the renderer sees it: boxes of labels, symbols and tubes by their id, in screen pixels, y down."""

    def __init__(self, plan, solution=None, width=1000, system="metric"):
        self.figure = schematic.schematic_figure(plan, solution, width, system)
        renderer = FigureCanvasAgg(self.figure).get_renderer()
        self.ax = self.figure.axes[0]
        self.width, self.height = self.figure.get_size_inches() * style.DOTS

        def box(artist):
            x0, y0, x1, y1 = artist.get_window_extent(renderer).extents
            return x0, self.height - y1, x1, self.height - y0

        self.texts = [t for t in self.ax.texts if t.get_text()]
        self.labels = [(t.get_gid(), box(t)) for t in self.texts]
        self.words = {t.get_gid(): t.get_text() for t in self.texts}
        self.symbols = {}
        for patch in self.ax.patches:
            if (patch.get_gid() or "").startswith("symbol"):
                self.symbols.setdefault(patch.get_gid(), box(patch))  # the outline comes first
        self.tubes = {line.get_gid(): line for line in self.ax.lines if line.get_gid()}

    def place(self, number):
        """Return where on its line an element sits, (x, y)."""
        if f"symbol-{number}" in self.symbols:
            x0, y0, x1, y1 = self.symbols[f"symbol-{number}"]
            return (x0 + x1) / 2, (y0 + y1) / 2
        if f"leg-{number}" in self.tubes:
            x, y = self.tubes[f"leg-{number}"].get_data()
            return x[0], y[0]
        x0, _, x1, y1 = dict(self.labels)[f"about-{number}"]
        return (x0 + x1) / 2, y1 + layout.OVER

    def stretches(self):
        """Yield the boxes of all straight stretches of tube."""
        half = (style.TUBE / 2 + style.HAIR) * style.DOTS / 72
        for line in self.tubes.values():
            for (x0, y0), (x1, y1) in itertools.pairwise(line.get_xydata()):
                yield min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half


def meet(one, other, slack=0.0):
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across > slack and down > slack


def check_room(seen):
    """Labels keep clear of each other, of symbols, of tubes and of the edges."""
    # The renderer rounds a line of text to whole pixels, so neighbours may share one.
    for (gid, one), (other_gid, other) in itertools.combinations(seen.labels, 2):
        assert not meet(one, other, slack=1.0), f"{gid} on {other_gid}"
    for gid, (x0, y0, x1, y1) in seen.labels:
        assert x0 >= 0, gid
        assert y0 >= 0, gid
        assert x1 <= seen.width, gid
        assert y1 <= seen.height, gid
        for symbol, box in seen.symbols.items():
            assert not meet((x0, y0, x1, y1), box), f"{gid} on {symbol}"
        for stretch in seen.stretches():
            assert not meet((x0, y0, x1, y1), stretch), f"{gid} on a tube"
    for one, other in itertools.combinations(seen.symbols, 2):
        assert not meet(seen.symbols[one], seen.symbols[other]), f"{one} on {other}"


def along(item):
    """Yield the elements of a tree that lie on its first line: of every group only the first branch."""
    for child in item.items:
        if isinstance(child, tree.Parallel):
            yield from along(child.branches[0])
        elif isinstance(child, tree.Series):
            yield from along(child)
        else:
            yield child


def check_order(seen, loop):
    """Along a row x rises in flow order; elements next to each other in a series go on to the right or further down."""
    number = {element.name: place for place, element in enumerate(tree.leaves(loop))}
    series = [loop, *(b for group in groups(loop) for b in group.branches)]
    for item in series:
        for one, other in itertools.pairwise(along(item)):
            (x0, y0), (x1, y1) = seen.place(number[one.name]), seen.place(number[other.name])
            assert abs(y1 - y0) > 3 or x1 > x0, (one.name, other.name)
        for one, other in itertools.pairwise(item.items):
            if not any(isinstance(i, (tree.Series, tree.Parallel)) for i in (one, other)):
                (x0, y0), (x1, y1) = seen.place(number[one.name]), seen.place(number[other.name])
                assert x1 > x0 or y1 > y0 + 3, (one.name, other.name)


def groups(item):
    if isinstance(item, tree.Parallel):
        yield item
    for child in getattr(item, "items", ()) or getattr(item, "branches", ()):
        yield from groups(child)


def check_names(seen, loop):
    """Every name is there, or its beginning with an ellipsis; a tube named after its two ends may go without."""
    elements = list(tree.leaves(loop))
    for place, element in enumerate(elements):
        if isinstance(element, tree.Run) and f"name-{place}" not in seen.words:
            assert " to " in element.name
            first, second = element.name.split(" to ")
            assert {first, second} <= {e.name for e in elements}
            continue
        drawn = re.sub(r"[ \n]", "", seen.words[f"name-{place}"])
        whole = re.sub(r"[ \t\r\n\v\f]", "", element.name)
        assert drawn == whole or (drawn.endswith("…") and len(drawn) > 10 and whole.startswith(drawn[:-1]))


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("width", [1000, 700])
@pytest.mark.parametrize("which", PLANS)
def test_labels_have_room_and_flow_reads_left_to_right(which, width, system):
    plan = PLANS[which]()
    for solution in (solved(plan), None):
        seen = Seen(plan, solution, width, system)
        assert (seen.width, seen.height) == pytest.approx(schematic.size_of(plan, width, system), abs=1e-6)
        check_room(seen)
        check_order(seen, plan.loop)
        check_names(seen, plan.loop)
        assert min(t.get_fontsize() for t in seen.texts) >= 9


LETTERS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ äöüßéèñçøåŁžΩλДжш0123456789-.,()/&%$_^\\{}°"
names = st.text(LETTERS, min_size=1, max_size=40).map(lambda s: s.strip() or "x")
kinds = st.sampled_from(["pump", "block", "radiator", "tank", "valve", "part", "run", "leg"])


def series_of(depth, most):
    """Kinds in flow order, and lists of branches among them."""
    branches = st.lists(series_of(depth - 1, 6), min_size=2, max_size=4) if depth else kinds
    return st.lists(st.one_of(kinds, kinds, branches), min_size=1, max_size=most)


@st.composite
def loops(draw):
    """A loop of up to 20 elements and groups two deep, with a pump and a radiator in its main line."""
    left, taken = [18], {"the pump", "the radiator"}

    def made(kind):
        name = draw(names)
        while name in taken:
            name += "'"
        taken.add(name)
        left[0] -= 1
        return leaf(kind, name)

    def grown(items):
        out = []
        for item in items:
            if left[0] <= 0:
                break
            if isinstance(item, str):
                out.append(made(item))
                continue
            branches = [b for b in (grown(branch) for branch in item) if b]
            flowing = [
                b for b in branches if any(not isinstance(e, tree.DeadLeg) for e in tree.leaves(tree.Series(*b)))
            ]
            if len(flowing) > 1:
                out.append(tree.Parallel(*(tree.Series(*b) for b in flowing)))
        return out

    shape = draw(st.one_of(series_of(2, 9), st.lists(kinds, min_size=12, max_size=18)))
    return tree.Series(leaf("pump", "the pump"), *grown(shape), leaf("radiator", "the radiator"))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(loops(), st.sampled_from([1000, 700]))
def test_labels_have_room_in_any_loop(loop, width):
    plan = Plan("made at random", loop, COOLANT)
    solution = solved(plan)
    seen = Seen(plan, solution, width)
    check_room(seen)
    check_order(seen, loop)
    check_names(seen, loop)
    check_figures(seen, solution, "metric")
    check_words(plan, solution)


def check_figures(seen, solution, system):
    """Every temperature printed is the solution's, at every element that changes it, and so is every tube's colour."""
    shown = DISPLAY[system]["temperature"]
    if not solution.known:
        assert not [gid for gid in seen.words if gid.startswith(("warm", "mixed", "answer", "tick"))]
        assert {to_hex(t.get_color()) for t in seen.tubes.values()} == {style.PLAIN_TUBE.lower()}
        return
    for place, row in enumerate(solution.walk):
        printed = seen.words.get(f"warm-{place}")
        changes = abs(row["out"] - row["in"]) > 1e-9
        assert (printed is not None) == (changes or isinstance(row["element"], tree.DeadLeg))
        assert printed in (None, shown.text(row["out"], unit=False))
        tube = seen.tubes.get(f"leg-{place}" if isinstance(row["element"], tree.DeadLeg) else f"tube-{place}")
        if tube is not None and (f"symbol-{place}" in seen.symbols or f"leg-{place}" in seen.tubes):
            assert to_hex(tube.get_color()) == style.warm_colour(row["out"])


def check_words(plan, solution):
    said, at = schematic.words(plan, solution), 0
    for element in tree.leaves(plan.loop):
        found = said.find(element.name, at)
        assert found >= 0, element.name
        at = found + len(element.name)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("which", PLANS)
def test_figures_and_colours_are_those_of_the_solution(which, system):
    plan = PLANS[which]()
    solution = solved(plan)
    seen = Seen(plan, solution, 1000, system)
    check_figures(seen, solution, system)
    check_words(plan, solution)


def test_where_branches_join_stands_the_temperature_that_goes_on():
    cooler = tree.Series(leaf("block", "block a"))
    warmer = tree.Series(leaf("block", "block b"), Resistance("throttle", Loss(fixed_linear=5e8)))
    solution = solved(plan_of(leaf("pump", "pump"), tree.Parallel(cooler, warmer), leaf("radiator", "one")))
    seen = Seen(solution.plan, solution)
    rows = {row["element"].name: row for row in solution.walk}
    mixed = [text for gid, text in seen.words.items() if gid.startswith("mixed")]
    assert mixed == [f"{rows['one']['in']:.1f}"]
    # The branches carry unequal flows, so their plain mean would be another figure.
    assert abs(0.5 * (rows["block a"]["out"] + rows["block b"]["out"]) - rows["one"]["in"]) > 0.1
    after = seen.tubes[next(gid for gid in seen.tubes if re.fullmatch(r"tube-\d+-\d+", gid))]
    assert to_hex(after.get_color()) == style.warm_colour(rows["one"]["in"])
    assert f"join at {rows['one']['in']:.1f} °C" in schematic.words(solution.plan, solution)


def test_a_dollar_sign_in_a_name_is_a_dollar_sign():
    assert not any(text.get_parse_math() for text in Seen(strange_names()).texts)


def test_heat_head_and_fans_stand_at_their_parts():
    solution = solved(loopmath.demo_plan())
    seen = Seen(solution.plan, solution, 1000, "us")
    for place, row in enumerate(solution.walk):
        element = row["element"]
        if isinstance(element, tree.Source):
            assert seen.words[f"about-{place}"] == f"{element.heat:.0f} W in"
        if isinstance(element, tree.RadiatorUnit):
            assert seen.words[f"answer-{place}"] == f"{-row['heat']:.0f} W out"
            assert seen.words[f"about-{place}"] == f"{element.fans:.0f} fans, room air"
        if isinstance(element, tree.PumpUnit):
            assert seen.words[f"answer-{place}"] == "head " + DISPLAY["us"]["head"].text(solution.state["head"])
        if isinstance(element, tree.Run):
            # An inch is 25.4 mm by definition (international yard and pound agreement, 1959).
            assert seen.words[f"about-{place}"].startswith(f"{element.length / 0.0254:.1f}\u00a0in")
    assert [seen.words["scale"]] == [t for t in seen.words.values() if "°F" in t]


def test_before_it_is_solved_nothing_is_printed_that_must_be_solved():
    plan = loopmath.demo_plan()
    seen = Seen(plan)
    assert not [gid for gid in seen.words if gid.startswith(("warm", "mixed", "answer", "tick", "scale"))]
    assert {to_hex(t.get_color()) for t in seen.tubes.values()} == {style.PLAIN_TUBE.lower()}
    assert "not solved yet" in seen.words["state"]
    assert schematic.words(plan).endswith("not solved yet.")
    assert " °C" not in schematic.words(plan)


def test_where_nothing_flows_it_says_so_in_words():
    solution = solved(PLANS["demo at rest"]())
    seen = Seen(solution.plan, solution)
    assert seen.words["state"].replace("\n", " ") == f"No temperature is stated. {solution.plight}"
    assert solution.plight in schematic.words(solution.plan, solution)


def test_the_drawing_is_as_large_before_it_is_solved_and_without_its_plan():
    plan = two_cards()
    assert schematic.size_of(plan.loop, 700) == schematic.size_of(plan, 700)
    solution = solved(plan)
    assert Seen(plan, solution).symbols == Seen(plan).symbols


def test_symbols_keep_one_size_however_many_there_are():
    def sizes(plan, width):
        return {(round(x1 - x0), round(y1 - y0)) for x0, y0, x1, y1 in Seen(plan, None, width).symbols.values()}

    few, many = sizes(cube(), 1000), sizes(twenty(), 700)
    assert few <= many
    kinds = "pump", "block", "radiator", "tank", "valve", "part"
    shapes = [[type(p).__name__ for p, _ in schematic._symbol(leaf(k, k).kind, 0.0, 0.0)] for k in kinds]
    fills = [str([how.get("fc") for _, how in schematic._symbol(leaf(k, k).kind, 0.0, 0.0)]) for k in kinds]
    assert (
        len(
            {
                str(shape) + fill + str(layout.SIZES.get(leaf(k, k).kind))
                for shape, fill, k in zip(shapes, fills, kinds, strict=True)
            }
        )
        == 6
    )
    assert all(fill != other for fill, other in itertools.combinations(fills[:4], 2))


def test_a_loop_without_dead_legs_has_no_dot_and_one_with_groups_has_them():
    def dots(plan):
        return sum(
            type(p).__name__ == "Circle" and (p.get_gid() or "").startswith("dot") for p in Seen(plan).ax.patches
        )

    assert dots(cube()) == 0
    assert dots(loopmath.demo_plan()) == 2
    # Two cards: a dead leg in the main line and in each branch; at each end of the group two branches.
    assert dots(two_cards()) == 3 + 4


def test_flow_has_its_arrow_in_every_branch_even_one_of_bare_tube():
    seen = Seen(bypass())
    place = next(i for i, element in enumerate(tree.leaves(bypass().loop)) if element.name == "bare tube")
    x, y = seen.place(place)
    tips = [p.get_xy()[0] for p in seen.ax.patches if type(p).__name__ == "Polygon" and not p.get_gid()]
    assert any(abs(tip[1] - y) < 3 and tip[0] > x for tip in tips)


def luminance(colour):
    """Relative luminance (WCAG 2.1, its definition)."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def test_warmer_coolant_is_lighter_so_that_a_grey_print_keeps_the_order():
    lights = [luminance(style.warm_colour(t)) for t in np.arange(20.0, 60.1, 1.0)]
    assert np.all(np.diff(lights) > 0)
    assert style.warm_colour(-5.0) == style.warm_colour(20.0)
    assert style.warm_colour(95.0) == style.warm_colour(60.0)


def test_a_line_of_text_is_never_wider_than_asked_and_starts_as_the_text_does():
    for text in ("graphics card", "W" * 60, "a very long name " * 9, "", "  two   words "):
        for most in (1, 2, 3):
            lines = style.fitted(text, 80.0, most, style.SMALL)
            assert len(lines) <= most
            assert all(style.measured(line)[0] <= 80.0 for line in lines)
            whole, drawn = "".join(text.split()), "".join("".join(lines).split())
            assert drawn == whole or whole.startswith(drawn.removesuffix("…"))
    assert style.fitted("a b", 80.0, 1) == ["a b"]


def test_what_cannot_be_drawn_is_refused_with_what_to_do():
    plan = loopmath.demo_plan()
    with pytest.raises(InputError, match="many|designs"):
        schematic.schematic_figure(plan, solved(plan.set(pump_speed=np.array([0.5, 0.6]))))
    with pytest.raises(InputError, match="another loop"):
        schematic.schematic_figure(cube(), solved(plan))
    with pytest.raises(InputError, match="px or more"):
        schematic.size_of(nested(), 300)
    with style.look():
        ax = Figure(figsize=(10, 2), dpi=150).add_axes((0, 0, 1, 1))
    with pytest.raises(InputError, match="size_of"):
        schematic.draw_schematic(ax, plan)


def test_it_is_drawn_into_a_larger_axes_at_the_same_size():
    plan = cube()
    with style.look():
        ax = Figure(figsize=(12, 8), dpi=150).add_axes((0.1, 0.1, 0.8, 0.8))
    assert schematic.draw_schematic(ax, plan) is ax
    (x0, x1), (y0, y1) = ax.get_xlim(), ax.get_ylim()
    assert (x1 - x0, y0 - y1) == pytest.approx((960, 640))  # 80 % of 12 x 8 in, 100 px to the inch
