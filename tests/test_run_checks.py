"""Checks of laid runs: worked by hand in mm, at each limit from both sides; moved about; through the rules by name."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmath import InputError, catalogue, demo_plan, facts, rules, run_checks, run_gaps, solve, tables
from loopmath import loop as tree
from loopmath.plan import Plan
from loopmath.routes import Box, Port, Route
from loopmath.run_checks import checks
from loopmath.solution import solved

DEMO = demo_plan()
PUMP = replace(DEMO.units(tree.PumpUnit)[0], position=None, size=None)
PETG = catalogue.part("tube", "PETG 14/10 mm")
#: Stands 17 mm off its port, takes 11 mm of tube, its last ring is 8 mm from its mouth, its body is 20 mm (the row of
#: data/fittings.csv); routes leave 1 mm of free play.
FITTING = "straight fitting for 14 mm hard tube"


def mm(*lengths: float):
    return tuple(length / 1e3 for length in lengths)


def port(name: str, at: tuple, faces: str, of: str = "") -> Port:
    return Port(name, mm(*at), faces, of)


def box(name: str, corner: tuple, size: tuple, **more) -> Box:
    return Box(name, mm(*corner), mm(*size), **more)


def laid(runs: dict, boxes=(), fitting: str = "", tube=PETG, counts=None, **more) -> Plan:
    """
    Return a plan with runs laid from (port, faces) over corners to (port, faces), all in mm, and its routes changed.

    A run is (start, faces, corners, end, faces) and, if wanted, a dict of more fields of its route.
    """
    ports, routes, elements = [], [], [PUMP]
    for name, (start, out, corners, end, into, *rest) in runs.items():
        rest = dict(*rest)
        of = rest.pop("of", ("", ""))
        ports += [port(f"{name} start", start, out, of[0]), port(f"{name} end", end, into, of[1])]
        corners = None if corners is None else tuple(mm(*corner) for corner in corners)
        routes.append(Route(name, f"{name} start", f"{name} end", corners, **rest))
        elements.append(tree.Run(name, tube, 0.3, **(counts or {}).get(name, {})))
    space = {"ports": tuple(ports), "boxes": tuple(boxes), "routes": tuple(routes), "tube_fitting": fitting}
    return Plan("by hand", tree.Series(*elements), DEMO.coolant, **space | more)


def across(name: str = "a", y: float = 0.0, z: float = 0.0, **route) -> dict:
    """Return a straight run of 200 mm to the right."""
    return {name: ((0, y, z), "right", None, (200, y, z), "left", route)}


def bent(corner: float = 100.0, **route) -> dict:
    """Return a run of one right angle: to the right as far as its corner, then up by 100 mm."""
    return {"a": ((0, 0, 0), "right", [(corner, 0, 0)], (corner, 0, 100), "down", route)}


def two_bends(between: float, first: float = 100.0, **route) -> dict:
    """Return a run to the right, up by `between`, and on to the right."""
    corners = [(first, 0, 0), (first, 0, between)]
    return {"a": ((0, 0, 0), "right", corners, (first + 100, 0, between), "left", route)}


def fired(plan: Plan, quantity: str = "", solution=None) -> list:
    """Return the rows of the rules on a plan's laid runs."""
    rows = rules.warnings_of(checks(plan, solution).facts)
    return [row for row in rows if row.quantity == quantity or not quantity]


def signals(plan: Plan, quantity: str) -> list[str]:
    return [row.signal for row in fired(plan, quantity)]


def gap(plan: Plan, other: str, run: str = "a"):
    (found,) = [one for one in checks(plan).gaps if {one.run, one.other} == {run, other}]
    return found


GAP = "gap beside a tube"

# ----------------------------------------------------------------------------------------------------------- gaps


def test_two_tubes_side_by_side_leave_their_distance_less_a_diameter():
    plan = laid(across("a") | across("b", y=30))
    found = gap(plan, "b")
    assert (found.gap, found.wanted, found.move) == (pytest.approx(0.016), 0.003, 0.0)
    assert found.where == "a, leg 1, and b"
    assert found.at[1:] == pytest.approx([0, 0])


@pytest.mark.parametrize(
    ("apart", "signal"), [(17.0, []), (16.9, ["caution"]), (14.0, ["caution"]), (13.9, ["danger"])]
)
def test_tubes_keep_the_clearance_and_at_less_than_nothing_run_through(apart, signal):
    """Of 14 mm each: centre lines 17 mm apart leave the 3 mm that are wanted, 14 mm touch."""
    rows = fired(laid(across("a") | across("b", y=apart)))
    assert [row.signal for row in rows] == signal
    if signal == ["danger"]:
        assert rows[0].value == "−0.1 mm"
        assert rows[0].action == "Move leg 1 of a by 3.1 mm (0.122 in) to the front, or move b."


def test_tubes_whose_centre_lines_meet_part_by_a_diameter_and_the_clearance():
    up = {"b": ((100, 0, -100), "up", None, (100, 0, 100), "down")}
    found = gap(laid(across("a") | up), "b")
    assert found.gap == pytest.approx(-0.014)
    assert found.move == pytest.approx(0.017)
    assert found.at == pytest.approx([0.1, 0, 0])
    assert abs(found.way[1]) == 1.0  # square to both
    parted = gap(laid(across("a", y=17.0 * found.way[1]) | up), "b")
    assert parted.gap == pytest.approx(0.003)
    assert parted.move == 0.0


def test_a_tube_beside_a_box_leaves_what_lies_between_its_outside_and_the_face():
    for above, signal in ((10.0, []), (9.9, ["caution"]), (7.0, ["caution"]), (6.9, ["danger"])):
        plan = laid(across(), [box("drive", (50, -20, -50 - above), (60, 40, 50))])
        assert gap(plan, "drive").gap == pytest.approx((above - 7) / 1e3)
        assert signals(plan, GAP) == signal, above
    # Past its edge the distance goes to the edge: 3 and 4 mm off it, 5 mm in all.
    plan = laid(across(), [box("drive", (50, 3, -24), (60, 40, 20))])
    assert gap(plan, "drive").gap == pytest.approx(0.005 - 0.007)


def test_a_bend_cuts_its_corner():
    """The middle of a right angle of radius R passes its corner by R (sqrt 2 - 1): 11.598 mm of 28 mm."""
    plan = laid(bent(), [box("drive", (100, -20, -40), (60, 40, 40))])
    found = gap(plan, "drive")
    assert found.gap == pytest.approx(28e-3 * (math.sqrt(2) - 1) - 7e-3, abs=5e-5)  # chords of the arc: 0.05 mm
    assert found.place == "corner 1"


def test_a_place_is_told_by_the_corner_it_is_near_or_by_its_leg():
    """The bend begins at 72 mm and ends at 28 mm up; its corner is told as far as a diameter beside it."""
    for at, place in (((57, 0), "leg 1"), ((59, 0), "corner 1"), ((100, 41), "corner 1"), ((100, 43), "leg 2")):
        pin = box("pin", (at[0], -60, at[1]), (0.1, 40, 0.1))
        assert gap(laid(bent(), [pin]), "pin").place == place, at


def test_what_runs_through_a_box_is_told_how_far_to_move_and_which_way():
    """The box reaches from 20 mm before to 8 mm behind the middle of the tube: out it is 8 + 7 + 3 mm."""
    plan = laid(across(), [box("drive", (50, -20, -50), (60, 28, 100))])
    found = gap(plan, "drive")
    assert found.gap == pytest.approx(-0.015)  # 8 mm to its middle, 7 mm more to its outside
    assert found.move == pytest.approx(0.018)
    assert found.towards == "rear"
    (row,) = fired(plan)
    assert (row.signal, row.where, row.value) == ("danger", "a, leg 1, and drive", "−15.0 mm")
    assert row.action == "Move leg 1 of a by 18.0 mm (0.709 in) to the rear, or move drive."
    moved = laid(across(y=18.0), plan.boxes)
    assert gap(moved, "drive").gap == pytest.approx(0.003)
    assert fired(moved) == []


def test_a_tube_stays_inside_the_case():
    """15 mm from the left its outside is 8 mm from it, and so on for each of the six sides."""
    size = mm(300, 200, 100)
    runs = {"a": ((50, 20, 30), "right", None, (250, 20, 30), "left")}
    found = {one.other: one.gap for one in checks(laid(runs, case_size=size)).gaps}
    sides = {"left side": 43, "right side": 43, "front": 13, "rear": 173, "bottom": 23, "top": 63}
    assert found == {f"the {side} of the case": pytest.approx(gap / 1e3) for side, gap in sides.items()}
    for y, signal, value in ((10.0, [], None), (9.9, ["caution"], "2.9 mm"), (-2.0, ["danger"], "−9.0 mm")):
        out = {"a": ((50, y, 30), "right", None, (250, y, 30), "left")}
        rows = fired(laid(out, case_size=size))
        assert [row.signal for row in rows] == signal
        if value:
            assert (rows[0].where, rows[0].value) == ("a, leg 1, and the front of the case", value)
            assert rows[0].action.startswith(f"Move leg 1 of a by {10.0 - y:.1f} mm")
            assert "rear" in rows[0].action


def test_a_tube_does_not_touch_the_part_it_comes_out_of_but_does_where_it_comes_back():
    """A bare tube begins on the face of its part; 20 mm to the right it is 13 mm off it."""
    body = box("body", (-50, -50, -50), (50, 100, 100), of="part")
    runs = across(of=("part", ""))
    plan = laid(runs, [body])
    assert [one for one in checks(plan).gaps if one.other == "body"] == []
    # Back over the part and down through it, 10 mm from its rear.
    corners = [(60, 0, 0), (60, 0, 90), (-20, 0, 90), (-20, 40, 90)]
    back = {"a": ((0, 0, 0), "right", corners, (-20, 40, -100), "up", {"of": ("part", ""), "radius": 0.02})}
    found = gap(laid(back, [body], tube=replace(PETG, bend_radius=0.02)), "body")
    assert found.gap == pytest.approx(-0.017)
    assert (found.place, found.towards) == ("leg 5", "rear")
    # A port that faces along what it lies on is not buried in it: its tube is, by half.
    plate = box("plate", (-10, -50, -20), (220, 100, 20))
    assert gap(laid(across(), [plate]), "plate").gap == pytest.approx(-0.007)
    # A box that the port lies on, whoever's it is, and one beside it that it does not.
    assert fired(laid(across(), [box("plate", (-2, -50, -50), (2, 100, 100))])) == []
    assert signals(laid(across(), [box("plate", (3, -50, -50), (2, 100, 100))]), GAP) == ["danger"]


def test_fittings_are_as_thick_as_their_bodies_and_may_touch():
    """Of 20 mm: 20 mm apart they touch, which hinders nothing; tubes of 14 mm are 6 mm apart there."""
    for apart, signal, value in ((20.0, [], ""), (19.9, ["danger"], "−0.1 mm")):
        rows = fired(laid(across("a") | across("b", y=apart), fitting=FITTING), GAP)
        assert [row.signal for row in rows] == signal
        if value:
            assert rows[0].value == value
            assert rows[0].where.startswith("a, the fitting at a ")
    # A tube keeps the clearance to the fitting of another: 10 + 7 + 3 mm.
    for apart, signal in ((20.0, []), (19.9, ["caution"])):
        other = {"b": ((8.5, apart, -150), "up", None, (8.5, apart, 150), "down")}
        assert signals(laid(across("a") | other, fitting=FITTING), GAP) == signal


def test_a_fitting_must_not_stick_in_what_its_port_is_not_on():
    for above, signal in ((10.0, []), (9.9, ["danger"])):
        drive = box("drive", (5, -20, -above - 50), (6, 40, 50))
        assert signals(laid(across(), [drive], fitting=FITTING, clearance=0.0), GAP) == signal
    # The part its port is on is none of it, though the port stands 11 mm inside of it; of anything else it is.
    on_it = box("drive", (-60, -20, -30), (71, 40, 60), of="part")
    assert signals(laid(across(of=("part", "")), [on_it], fitting=FITTING), GAP) == []
    (row,) = fired(laid(across(of=("part", "")), [replace(on_it, of="")], fitting=FITTING), GAP)
    assert (row.signal, row.where) == ("danger", "a, the fitting at a start, and drive")
    (row,) = fired(laid(across(), [on_it]), GAP)  # and so is the tube of a bare end
    assert (row.signal, row.where) == ("danger", "a, leg 1, and drive")


@pytest.mark.parametrize(("deep", "signal"), [(0.0, []), (1.0, []), (1.1, ["danger"])])
def test_a_port_lies_on_a_box_as_near_as_a_tube_has_to_fit(deep, signal):
    plate = box("plate", (-60, -20, -30), (60 + deep, 40, 60))
    assert signals(laid(across(), [plate], fitting=FITTING), GAP) == signal


def test_a_shroud_round_the_ports_of_a_part_is_told():
    shroud = box("shroud", (160, 260, 370), (40, 40, 40))
    (row,) = fired(replace(DEMO, boxes=(*DEMO.boxes, shroud)), GAP)
    assert (row.signal, row.where) == ("danger", "pump to processor, the fitting at processor in, and shroud")
    assert fired(replace(DEMO, boxes=(*DEMO.boxes, replace(shroud, of="processor"))), GAP) == []


def rerouted(name: str, corners: list, **more) -> Plan:
    """Return the demo with other corners for one run, in mm."""
    new = {"corners": tuple(mm(*corner) for corner in corners), **more}
    return replace(DEMO, routes=tuple(replace(r, **new) if r.name == name else r for r in DEMO.routes))


TO_CARD = "processor to graphics card"


def test_a_run_through_itself_is_told():
    """Leg 7 comes back along z = 330 mm through leg 2, which goes down at x = 60 mm: 14 mm deep, 3 mm wanted."""
    corners = [(60, 320, 390), (60, 320, 260), (155, 320, 260), (155, 240, 260), (155, 240, 330), (155, 320, 330)]
    (row,) = fired(rerouted(TO_CARD, [*corners, (22, 320, 330), (22, 320, 180)]), GAP)
    assert (row.signal, row.value) == ("danger", "−14.0 mm")
    assert row.where == f"{TO_CARD}, leg 2, and corner 7 of itself"  # whose bend begins 10 mm further on
    assert row.action.startswith(f"Move leg 2 of {TO_CARD} by 17.0 mm (0.669 in) to the ")


@pytest.mark.parametrize(("up", "signal"), [(17.0, []), (16.9, ["caution"]), (14.0, ["caution"]), (13.9, ["danger"])])
def test_a_run_keeps_the_clearance_to_itself(up, signal):
    """Round a square and 17 mm over its own first leg, square to it: 14 mm of tube and the 3 mm wanted."""
    corners = [(150, 0, 0), (150, 150, 0), (50, 150, 0), (50, 150, 80), (50, 100, 80), (50, 100, up), (50, -100, up)]
    runs = {"a": ((0, 0, 0), "right", corners[:-1], corners[-1], "rear", {"radius": 0.006})}
    plan = laid(runs, tube=replace(PETG, bend_radius=0.006))
    assert signals(plan, GAP) == signal
    if signal:
        (row,) = fired(plan, GAP)
        assert row.where == "a, leg 1, and leg 7 of itself"
        assert f"by {17.0 - up:.1f} mm" in row.action


@pytest.mark.parametrize(("x", "signal"), [(20.0, []), (19.9, ["caution"]), (16.9, ["danger"])])
def test_a_run_keeps_clear_of_its_own_fitting(x, signal):
    """The fitting is 10 mm thick round z at x = 0: a leg across it at x has to stand 10 + 7 + 3 mm off."""
    corners = [(0, 0, 80), (80, 0, 80), (80, 80, 80), (x, 80, 80), (x, 80, 8.5)]
    runs = {"a": ((0, 0, 0), "up", corners, (x, -100, 8.5), "rear", {"radius": 0.006})}
    plan = laid(runs, fitting=FITTING, tube=replace(PETG, bend_radius=0.006))
    assert signals(plan, GAP) == signal
    if signal:
        assert fired(plan, GAP)[0].where == "a, leg 6, and the fitting at a start of itself"


@pytest.mark.parametrize("clearance", [0.0, 0.003, 0.02, 0.039])
def test_a_bend_a_u_and_a_z_do_not_come_near_to_themselves(clearance):
    """Legs of a U of radius 28 mm are 56 mm apart: 42 mm are left, beside a fitting of 20 mm 39."""
    u = {"a": ((50, 50, 50), "right", [(150, 50, 50), (150, 50, 106)], (50, 50, 106), "right")}
    for runs in (across(), bent(), two_bends(56.0), two_bends(100.0), u):
        for fitting in ("", FITTING):
            assert signals(laid(runs, fitting=fitting, clearance=clearance), GAP) == []


def test_an_angled_fitting_reaches_round_its_corner():
    """Its axis turns 10 mm over the port and its fitting is 20 mm thick: it reaches 20 mm up, and 10 mm to the left."""
    angled = {"start_adapter": "sharp 90 degree fitting", "start_faces": "right"}
    runs = {"a": ((0, 0, 0), "up", None, (200, 0, 10), "left", angled)}
    for low, size, signal in (
        ((-20, -20, 20), (20, 40, 5), []),
        ((-20, -20, 19.9), (20, 40, 5), ["danger"]),
        ((-20, -20, 5), (10, 40, 5), []),
        ((-20, -20, 5), (10.1, 40, 5), ["danger"]),
    ):
        assert signals(laid(runs, [box("drive", low, size)], fitting=FITTING), GAP) == signal, low


def test_fittings_screwed_into_the_two_ends_of_one_thread_are_not_told_of_each_other():
    both = {"a": ((0, 0, 0), "right", None, (200, 0, 0), "left"), "b": ((0, 0, 0), "left", None, (-200, 0, 0), "right")}
    assert signals(laid(both, fitting=FITTING), GAP) == []


# ------------------------------------------------------------------------------------ straights, rings, bends, heat


PAST, BETWEEN, RINGS = run_checks.PAST, run_checks.BETWEEN, run_checks.RINGS


@pytest.mark.parametrize(("past", "signal"), [(14.0, []), (13.9, ["caution"]), (0.0, ["caution"]), (-0.1, ["danger"])])
def test_past_its_fitting_a_tube_is_straight_for_its_diameter(past, signal):
    """Mouth at 17 mm, setback of a right angle 28 mm: the corner stands at 45 mm and what is left straight."""
    rows = fired(laid(bent(45 + past), fitting=FITTING), PAST)
    assert [row.signal for row in rows] == signal
    if signal:
        assert rows[0].where == "a, at a start"
        assert f"{14.0 - past:.1f} mm" in rows[0].action
        assert rows[0].action.endswith("away from a start, or bend to a smaller radius that the tube bears.")
    straights = [one for one in checks(laid(bent(45 + past), fitting=FITTING)).straights if one.what == PAST]
    assert [one.length for one in straights] == pytest.approx([past / 1e3, 0.055])  # 100 mm up, less 17 and 28


@pytest.mark.parametrize(("left", "signal"), [(21.0, []), (20.9, ["caution"])])
def test_between_bends_a_former_needs_one_and_a_half_diameters(left, signal):
    """1.5 times 14 mm (data/bending.csv); two setbacks of 28 mm come on top."""
    plan = laid(two_bends(56 + left))
    rows = fired(plan, BETWEEN)
    assert [row.signal for row in rows] == signal
    (one,) = [one for one in checks(plan).straights if one.what == BETWEEN]
    assert (one.length, one.wanted, one.place) == (pytest.approx(left / 1e3), 0.021, "corners 1 and 2")


@pytest.mark.parametrize(("play", "signal"), [(3.0, []), (3.1, ["danger", "danger"])])
def test_a_tube_reaches_past_the_last_ring_of_each_fitting(play, signal):
    """It goes 11 mm deep and the ring ends at 8 mm: 3 mm of free play are the most."""
    rows = fired(laid(across(free_play=play / 1e3), fitting=FITTING), RINGS)
    assert [row.signal for row in rows] == signal
    assert [row.where for row in rows] == ["a, at a start", "a, at a end"][: len(signal)]
    if signal:
        assert rows[0].action.startswith("Leave 0.1 mm (0.004 in) less free play at a start")


@pytest.mark.parametrize(
    ("outside", "signal"), [(14.0, []), (14.15, []), (14.16, ["danger"]), (13.85, []), (13.84, ["danger"])]
)
def test_a_fitting_takes_one_size_of_tube(outside, signal):
    plan = laid(across(start_fitting=FITTING), tube=replace(PETG, outside=outside / 1e3))
    rows = fired(plan, run_checks.MISFIT)
    assert [row.signal for row in rows] == signal
    if signal:
        assert rows[0].where == "a, at a start"
        assert "the one at a start holds 14.0 mm (0.551 in)" in rows[0].action


def test_every_fitting_for_a_tube_says_which_it_takes():
    """The size in its name; a fitting that does not say is not judged."""
    takes = {row["name"]: row["takes_mm"] for row in tables.read_table("fittings.csv") if row["insertion_mm"]}
    assert len(takes) >= 12
    inches = {"3/8 in bore, 5/8": 15.875, "1/2 in bore, 3/4": 19.05, "1/2 in hard": 12.7}
    for name, size in takes.items():
        wanted = next((mm for words, mm in inches.items() if words in name), None)
        assert size == (wanted or float(name.split(" for ")[1].split(" mm")[0].split("/")[0])), name
    assert catalogue.part("fitting", FITTING).takes == 0.014
    bare = fired(laid(across(), tube=replace(PETG, outside=0.0145)), run_checks.MISFIT)
    assert bare == []


def test_a_bare_end_has_no_rings_and_its_bend_may_begin_at_once():
    found = checks(laid(bent(28.0))).straights
    assert [(one.what, one.length) for one in found] == [(PAST, 0.0), (PAST, pytest.approx(0.072))]


@pytest.mark.parametrize(
    ("tube", "own", "radius", "signal"),
    [
        ("PETG 14/10 mm", None, 28.0, []),  # the tube's own least radius
        ("PETG 14/10 mm", None, 27.9, ["danger"]),
        ("PETG 14/10 mm", 10.0, 21.0, []),  # it says less than common practice: 1.5 diameters
        ("PETG 14/10 mm", 10.0, 20.9, ["danger"]),
        ("acrylic 14/10 mm", 10.0, 28.0, []),  # 2 diameters
        ("acrylic 14/10 mm", 10.0, 27.9, ["danger"]),
        ("copper 14/12 mm", 10.0, 35.0, []),  # 2.5 diameters
        ("copper 14/12 mm", 10.0, 34.9, ["danger"]),
    ],
)
def test_a_bend_is_not_tighter_than_tube_and_practice_say(tube, own, radius, signal):
    record = catalogue.part("tube", tube)
    record = record if own is None else replace(record, bend_radius=own / 1e3)
    plan = laid(bent(radius=radius / 1e3), tube=record)
    assert signals(plan, "bend radius") == signal


def test_a_material_without_a_row_is_judged_by_its_own_least_radius_alone():
    rigid = replace(PETG, material="rigid PVC", bend_radius=0.02)
    plan = laid(two_bends(40.0, radius=0.02), tube=rigid)
    assert fired(plan) == []
    assert signals(laid(two_bends(40.0, radius=0.0199), tube=rigid), "bend radius") == ["danger"]


def test_what_a_bend_does_to_its_wall():
    """14 mm round 28 mm: 14/(2 x 28) = 25 % longer outside, 14/(2 x 28 + 14) = 20 % of the wall gone."""
    (bend,) = checks(laid(bent())).bends
    assert (bend.angle, bend.radius, bend.least_radius) == (pytest.approx(math.pi / 2), 0.028, 0.028)
    assert (bend.outside_stretched, bend.wall_thinner) == (pytest.approx(0.25), pytest.approx(0.2))
    # An empty one folds at 3 sqrt(1 - 0.4^2) 6^2/(sqrt(2) 2) = 35.0 mm (Brazier 1927).
    folds = 3 * math.sqrt(1 - 0.4**2) * 6**2 / (math.sqrt(2) * 2)
    assert [checks(laid(bent(radius=r / 1e3))).bends[0].insert for r in (folds - 0.1, folds + 0.1)] == [True, False]


@pytest.mark.parametrize(("left", "signal"), [(14.0, []), (13.9, ["caution"])])
def test_heat_of_a_bend_stays_off_the_next(left, signal):
    """PETG is warm for 14 mm beside the bend that is made (data/bending.csv): that far it must not reach the other."""
    plan = laid(two_bends(56 + left))
    assert signals(plan, "cold tube between heated bends") == signal
    first, last = checks(plan).bends
    assert first.cold == pytest.approx((left - 14) / 1e3)
    assert math.isnan(last.cold)
    copper = catalogue.part("tube", "copper 14/12 mm")  # bent cold
    assert signals(laid(two_bends(70 + 1.0), tube=copper), "cold tube between heated bends") == []


# ---------------------------------------------------------------------------------------------------------- panels


def panel(low=(100, -60, -80), size=(2, 160, 200), **more) -> Box:
    return box("plate", low, size, panel=True, **more)


@pytest.mark.parametrize(
    ("kind", "wide"),
    # 14 mm and 2 mm more; 14 mm and rubber of 2 mm all round; G 1/4 is 13.157 mm over its thread (ISO 228-1, from
    # memory, not read), 0.5 mm more to pass.
    [("clear hole", 16.0), ("grommet", 18.0), ("pass-through fitting", 13.657)],  # the last holds no tube: see below
)
def test_a_hole_has_its_place_on_the_panel_and_its_size(kind, wide):
    plan = laid(across(through=("plate",), hole=kind), [panel()])
    (hole,) = checks(plan).holes
    assert (hole.from_front, hole.from_lower) == (pytest.approx(0.06), pytest.approx(0.08))
    assert math.isnan(hole.from_left)
    assert hole.diameter == pytest.approx(wide / 1e3)
    assert (hole.left, hole.up_to) == (pytest.approx((60 - wide / 2) / 1e3), "an edge of plate")
    assert (hole.off_square, hole.straight) == (0.0, True)
    through = [(row.signal, row.quantity, row.where) for row in fired(plan)]
    assert through == [("danger", run_checks.THROUGH, "a and plate")] * (kind == "pass-through fitting")
    assert [one.other for one in checks(plan).gaps] == []  # nothing but its own hole
    row = tables.by_name("holes.csv")[kind]
    assert (row["fixed_mm"] or 14.0) + row["over_mm"] == pytest.approx(wide)


def passed(**more) -> dict:
    """Return two runs that end at one fitting in a panel, on either side of it."""
    route = {"through": ("plate",), "hole": "pass-through fitting"}
    return {
        "a": ((0, 0, 0), "right", None, (100, 0, 0), "left", route | more),
        "b": ((102, 0, 0), "right", None, (250, 0, 0), "left", route | more),
    }


def test_runs_that_end_at_a_fitting_in_a_panel_get_one_hole():
    """G 1/4, 13.657 mm wide, where both ports are: 60 mm from the front, 80 mm from below."""
    plan = laid(passed(), [panel()], fitting=FITTING)
    assert fired(plan) == []
    (hole,) = checks(plan).holes
    assert (hole.run, hole.from_front, hole.from_lower) == ("a and b", pytest.approx(0.06), pytest.approx(0.08))
    assert (hole.diameter, hole.left) == (pytest.approx(0.013657), pytest.approx(0.06 - 0.013657 / 2))
    assert (hole.off_square, hole.straight, hole.up_to) == (0.0, True, "an edge of plate")
    # A grommet there leads nowhere: the run does not go through.
    plan = laid({"a": passed(hole="grommet")["a"]}, [panel()])
    assert [(row.signal, row.where) for row in fired(plan)] == [("notice", "a and plate")]
    assert checks(plan).holes == []
    # Two fittings beside each other keep 5 mm between their holes: 18.657 mm.
    for apart, signal in ((18.7, []), (18.6, ["caution", "caution"])):
        runs = {"a": passed()["a"], "b": ((102, apart, 0), "right", None, (250, apart, 0), "left", passed()["b"][5])}
        assert signals(laid(runs, [panel()]), "left beside a hole") == signal
    # A port on the rim of the panel is in no face of it.
    rim = {"a": ((101, 100, 0), "rear", None, (101, 200, 0), "front", passed()["a"][5])}
    assert [row.where for row in fired(laid(rim, [panel()]))] == ["a and plate"]


def test_a_run_may_begin_outside_the_case_at_a_fitting_in_its_side():
    runs = {"a": ((-4, 50, 50), "left", None, (-80, 50, 50), "right", passed()["a"][5])}
    side = panel((-4, 0, 0), (4, 200, 100))
    for fitting in ("", FITTING):
        assert fired(laid(runs, [side], case_size=mm(300, 200, 100), fitting=fitting)) == []
    assert [row.signal for row in fired(laid(runs, case_size=mm(300, 200, 100)), GAP)] == ["danger"]


def test_through_a_panel_that_its_route_does_not_name_it_is_a_clash():
    (row,) = fired(laid(across(), [panel()]))
    assert (row.signal, row.where) == ("danger", "a, leg 1, and plate")
    (row,) = fired(laid(across(through=("plate",)), [replace(panel(), panel=False)]), GAP)
    assert row.signal == "danger"  # no panel, so no hole


def test_a_panel_of_a_route_that_is_not_met_is_told():
    rows = fired(laid(across(through=("plate",)), [panel((100, 20, -80))]))
    assert [(row.signal, row.where) for row in rows] == [("notice", "a and plate")]
    rows = fired(laid(across(through=("plate", "lid")), [panel()]))
    assert [row.where for row in rows] == ["a and lid"]
    # It still has to keep clear of one that it does not go through.
    rows = fired(laid(across(through=("plate",)), [panel((100, 9.9, -80))]), GAP)
    assert [row.signal for row in rows] == ["caution"]


def test_a_tube_keeps_clear_of_its_panel_beside_the_hole():
    """Out of the hole at 102 mm and up: its last leg stands 40 mm behind the panel, or 5 mm."""
    for x, signal in ((150.0, []), (112.0 + 28.0, [])):
        up = {"a": ((0, 0, 0), "right", [(x, 0, 0)], (x, 0, 100), "down", {"through": ("plate",)})}
        assert signals(laid(up, [panel()]), GAP) == signal, x
    slow = {"a": ((0, 0, 0), "right", [(111.9, 0, 0)], (111.9, 0, 100), "down", {"through": ("plate",)})}
    assert signals(laid(slow, [panel()]), GAP) == ["caution"]


def test_holes_keep_off_edges_and_off_each_other():
    """18 mm wide for a grommet, 5 mm of panel: 14 mm from an edge, 23 mm from middle to middle."""
    for off, signal in ((14.0, []), (13.9, ["caution"])):
        for low in ((100, -off, -80), (100, off - 160, -80), (100, -60, -off), (100, -60, off - 200)):
            assert signals(laid(across(through=("plate",)), [panel(low)]), "left beside a hole") == signal
    for apart, signal in ((23.0, []), (22.9, ["caution", "caution"])):
        both = across(through=("plate",)) | across("b", y=apart, through=("plate",))
        rows = fired(laid(both, [panel()]), "left beside a hole")
        assert [row.signal for row in rows] == signal
        if signal:
            assert rows[0].action == "Move the hole away from the hole of b."
            assert rows[0].where == "a, hole in plate"


@pytest.mark.parametrize(("off", "signal"), [(9.0, "caution"), (8.9, "danger")])
def test_a_hole_that_breaks_out_is_no_hole(off, signal):
    """Of 18 mm: its rim is on the edge of the panel 9 mm off it; two of them meet at 18 mm."""
    plan = laid(across(through=("plate",)), [panel((100, -off, -80))])
    assert signals(plan, "left beside a hole") == [signal]
    both = across(through=("plate",)) | across("b", y=2 * off, through=("plate",))
    assert signals(laid(both, [panel()]), "left beside a hole") == [signal] * 2


def test_holes_of_two_sizes_or_in_two_panels():
    """16 and 18 mm wide: with 5 mm of panel between them 22 mm from middle to middle."""
    for apart, signal in ((22.0, []), (21.9, ["caution", "caution"])):
        both = across(through=("plate",), hole="clear hole") | across("b", y=apart, through=("plate",))
        assert signals(laid(both, [panel()]), "left beside a hole") == signal
    runs = {
        "a": ((0, 0, 0), "right", None, (120, 0, 0), "left", {"through": ("plate",)}),
        "b": ((160, 0, 0), "right", None, (330, 0, 0), "left", {"through": ("other plate",)}),
    }
    assert fired(laid(runs, [panel(), replace(panel((200, -60, -80)), name="other plate")])) == []


def test_a_tube_that_comes_aslant_needs_a_wider_hole():
    """At 45 degrees through 2 mm: 14 sqrt 2 + 2 mm wide, 2 mm more."""
    slant = {"a": ((0, 0, 0), "right and rear", None, (200, 200, 0), "left and front")}
    slant["a"] += ({"through": ("plate",), "hole": "clear hole"},)
    plan = laid(slant, [panel((100, 20, -80))])
    (hole,) = checks(plan).holes
    assert hole.diameter == pytest.approx((14 * math.sqrt(2) + 4) / 1e3)
    assert hole.off_square == pytest.approx(math.pi / 4)
    assert hole.from_front == pytest.approx(0.081)  # halfway through the panel
    assert signals(plan, "tube off square in its hole") == ["notice"]
    for degrees, signal in ((4.9, []), (5.1, ["notice"])):
        aside = 200 * math.tan(math.radians(degrees))
        faces = f"200, {aside}, 0", f"-200, {-aside}, 0"
        lean = {"a": ((0, 0, 0), faces[0], None, (200, aside, 0), faces[1], {"through": ("plate",)})}
        assert signals(laid(lean, [panel()]), "tube off square in its hole") == signal


@pytest.mark.parametrize(("corner", "signal"), [(130.1, []), (129.9, ["warning"]), (71.9, []), (72.1, ["warning"])])
def test_in_a_hole_a_tube_is_straight(corner, signal):
    """The panel reaches from 100 to 102 mm, a bend 28 mm before its corner; or down, where it ends 28 mm behind it."""
    up = {"a": ((0, 0, 0), "right", [(corner, 0, 0)], (corner, 0, 100), "down", {"through": ("plate",)})}
    level = {"a": ((corner, 0, 100), "down", [(corner, 0, 0)], (200, 0, 0), "left", {"through": ("plate",)})}
    plan = laid(up if corner > 100 else level, [panel()])
    assert signals(plan, "bend in a hole") == signal
    assert [hole.straight for hole in checks(plan).holes] == [not signal]


def test_a_tube_leaves_the_case_through_a_panel_in_its_side():
    size = mm(300, 200, 100)
    runs = {"a": ((100, 50, 50), "left", None, (-80, 50, 50), "right", {"through": ("plate",)})}
    plan = laid(runs, [panel((-4, 0, 0), (4, 200, 100))], case_size=size)
    assert fired(plan) == []
    assert "the left side of the case" not in {one.other for one in checks(plan).gaps}
    assert {one.other for one in checks(plan).gaps} >= {"the front of the case", "the right side of the case"}
    # Back through the bare side beside the panel it is told; of the way out and all that lies outside it is not.
    flap = box("left panel", (-4, 300, 370), (4, 40, 40), panel=True)
    others = tuple(flap if b.name == flap.name else b for b in DEMO.boxes)
    back = rerouted(TO_CARD, [(-60, 320, 390), (-60, 320, 180)], through=(flap.name,))
    (row,) = fired(replace(back, boxes=others), GAP)
    assert (row.signal, row.where) == ("danger", f"{TO_CARD}, leg 3, and the left side of the case")
    whole = replace(flap, corner=mm(-4, 0, 0), size=mm(4, 460, 540))
    others = tuple(whole if b.name == flap.name else b for b in DEMO.boxes)
    assert fired(replace(back, boxes=others), GAP) == []
    # Outside it keeps its whole thickness outside: a leg 7 mm off the side lies on it, one of 6.9 mm cuts into it.
    for off, signal in ((7.0, []), (6.9, ["danger"])):
        corners = [(-70, 50, 50), (-70, 150, 50), (-off, 150, 50)]
        out = {"a": ((100, 50, 50), "left", corners, (-off, 150, 150), "down", {"through": ("hatch",)})}
        hatch = box("hatch", (-4, 20, 20), (4, 60, 60), panel=True)
        assert signals(laid(out, [hatch], case_size=mm(300, 200, 300), clearance=0.0), GAP) == signal
    inner = laid(runs, [panel((50, 0, 0), (4, 200, 100))], case_size=size)
    assert [row.where for row in fired(inner)] == ["a, leg 1, and the left side of the case"]


# ----------------------------------------------------------------------------------------------- legs in line


def leaning(name: str, y: float, aside: float, **route) -> dict:
    faces = f"200, {aside}, 0", f"-200, {-aside}, 0"
    return {name: ((0, y, 0), faces[0], None, (200, y + aside, 0), faces[1], route)}


@pytest.mark.parametrize(("degrees", "signal"), [(0.0, []), (0.29, []), (0.31, ["notice"]), (3.0, ["notice"])])
def test_runs_meant_to_be_parallel_are_so_within_a_third_of_a_degree(degrees, signal):
    aside = 200 * math.tan(math.radians(degrees))
    plan = laid(across("a", parallel_to=("b",)) | leaning("b", 40, aside))
    assert signals(plan, "legs off parallel") == signal
    (one,) = checks(plan).aligned
    assert one[:5] == ("a", 1, "b", 1, "parallel")
    assert math.degrees(one.angle) == pytest.approx(degrees, abs=1e-9)
    # Over the 200 mm they lie beside each other it is as much as the end is moved aside.
    assert one.off == pytest.approx(aside / 1e3, rel=1e-2, abs=1e-7)


def test_the_legs_that_lie_beside_each_other_longest_are_compared():
    """The tube of two bends goes up by 100 mm between legs of 100 mm; the other goes up by 150 mm."""
    up = {"b": ((60, 0, -25), "up", None, (60, 0, 125), "down")}
    (one,) = checks(laid(two_bends(100.0, parallel_to=("b",)) | up)).aligned
    assert (one.leg, one.its_leg, one.angle) == (2, 1, pytest.approx(0.0))
    # Of its legs to the right the last lies beside a tube for 100 mm, the first for 60 mm.
    (one,) = checks(laid(two_bends(100.0, first=60.0, parallel_to=("b",)) | across("b", y=40))).aligned
    assert (one.leg, one.off) == (3, 0.0)
    # A leg of 120 mm that leans by 30 degrees is not the one that was meant.
    lean = {"a": ((0, 0, 0), "173.205, 100, 0", [(120, 120 / math.sqrt(3), 0)], (180, 120 / math.sqrt(3), 0), "left")}
    lean["a"] += ({"parallel_to": ("b",)},)
    (one,) = checks(laid(lean | across("b", y=-40))).aligned
    assert (one.leg, one.angle) == (2, pytest.approx(0.0, abs=1e-9))
    # Nothing of a run to the rear lies beside it: the nearest legs are a right angle off.
    aside = {"b": ((60, 50, 50), "rear", None, (60, 250, 50), "front")}
    plan = laid(two_bends(100.0, parallel_to=("b",)) | aside)
    assert [math.degrees(one.angle) for one in checks(plan).aligned] == pytest.approx([90.0])
    assert signals(plan, "legs off parallel") == ["notice"]


@pytest.mark.parametrize(("aside", "signal"), [(1.0, []), (1.1, ["notice"])])
def test_runs_meant_to_be_in_line_are_so_within_a_millimetre(aside, signal):
    plan = laid(across("a", in_line_with=("b",)) | {"b": ((250, aside, 0), "right", None, (450, aside, 0), "left")})
    assert signals(plan, "legs off one line") == signal
    (one,) = checks(plan).aligned
    assert (one.meant, one.off) == ("in line", pytest.approx(aside / 1e3))


# ------------------------------------------------------------------------------------------------- what opens


@pytest.mark.parametrize(("high", "signal"), [(107.0, []), (106.9, ["warning"])])
def test_what_opens_finds_no_tube_in_its_room(high, signal):
    """A lid 40 to 50 mm up that lifts off by 50 mm sweeps up to 100 mm; a tube above it is 7 mm thick to its middle."""
    lid = box("lid", (50, -50, 40), (60, 100, 10), opens="up", travel=0.05)
    plan = laid(across(z=high), [lid])
    assert signals(plan, "room of what opens") == signal
    assert fired(laid(across(z=high), [replace(lid, opens="down")])) == []
    ((found, hung),) = checks(plan).openings
    assert (found.gap, hung) == (pytest.approx((high - 107) / 1e3), "")
    if signal:
        (row,) = fired(plan)
        assert (row.where, row.value) == ("a, leg 1, and lid", "−0.1 mm")
        assert row.action.startswith("Move leg 1 of a by 0.1 mm (0.004 in) up")


def test_a_tube_on_what_opens_is_told():
    lid = box("lid", (200, -50, -50), (10, 100, 100), opens="right")
    rows = fired(laid(across(), [lid]))
    assert [(row.signal, row.where) for row in rows] == [("caution", "a, a end, and lid")]
    card = box("card", (50, -50, 40), (60, 100, 10), opens="up", of="card")
    rows = fired(laid(across(of=("card", "")), [card]))
    assert [(row.signal, row.quantity) for row in rows] == [("caution", "tube hangs on what opens")]
    # It is told beside a tube that is nearer to the room the card needs and leaves it free.
    rows = fired(laid(across(of=("card", "")) | across("b", y=70, z=80), [card]))
    assert [(row.signal, row.where) for row in rows] == [("caution", "a, a start, and card")]


# ----------------------------------------------------------------------------------------------------- growth


GROWS = "growth of a tube against its free play"


def growth(plan: Plan) -> list[tuple]:
    return [(one.place, 1e3 * one.grows, 1e3 * one.slip) for one in checks(plan).growth]


def test_a_straight_tube_grows_against_the_play_of_both_ends():
    """200 mm, at each end less 17 mm and more 11 mm less the play, by 6.8e-5 (data/plastics.csv) and 20 K: 0.256 mm."""
    for play, signal in ((0.127, ["warning"]), (0.129, [])):
        plan = laid(across(free_play=play / 1e3), fitting=FITTING)
        grown = 6.8e-5 * 20 * (200 - 2 * 17 + 2 * (11 - play))
        assert growth(plan) == [("both ends", pytest.approx(grown), pytest.approx(2 * play))]
        assert signals(plan, GROWS) == signal


def test_an_angled_tube_grows_against_each_end_by_itself():
    """From 17 - 10 mm to the corner at 100 mm, and as far again: 93 mm each way."""
    plan = laid(bent(), fitting=FITTING)
    each = pytest.approx(6.8e-5 * 20 * 93)
    ((_, right, slip), (_, up, other)) = growth(plan)
    assert (right, up) == (each, each)
    assert (slip, other) == (pytest.approx(1.0), pytest.approx(1.0))


def test_a_tube_whose_ends_face_one_way_slips_in_at_one_and_out_at_the_other():
    """One end 50 mm further than the other: in by the play of 1 mm, out by the 2 mm that it sits past the ring."""
    corners = [(150, 0, 0), (150, 0, 100)]
    plan = laid({"a": ((0, 0, 0), "right", corners, (50, 0, 100), "right")}, fitting=FITTING)
    assert growth(plan) == [("both ends", pytest.approx(6.8e-5 * 20 * 50), pytest.approx(3.0))]


def test_growth_follows_the_coolant_of_an_answer():
    plan = DEMO
    answer = solve(plan)
    warmer = float(answer.state["coolant_warmest"]) - plan.room_air
    one, two = checks(plan).growth[0], checks(plan, answer).growth[0]
    assert two.grows == pytest.approx(one.grows * warmer / 20.0)
    assert 5 < warmer < 15
    told = [fact for fact in facts.of(answer) if fact.quantity == GROWS]
    assert [fact.value for fact in told] == pytest.approx([g.grows for g in checks(plan, answer).growth])


def test_what_nobody_knows_to_grow_is_not_judged():
    assert checks(laid(across(), fitting=FITTING, tube=replace(PETG, material="glass"))).growth == []
    assert checks(laid(across())).growth == []  # bare ends: nobody knows what holds them


# ------------------------------------------------------------------------------------------------- taking it out


U_BEND = {"a": ((50, 50, 50), "right", [(150, 50, 50), (150, 50, 150)], (50, 50, 150), "right")}
CASE = mm(300, 200, 250)


def removal(runs: dict, boxes=(), **more):
    return {one.run: one for one in checks(laid(runs, boxes, fitting=FITTING, **more)).removal}["a"]


def test_ends_that_face_one_way_are_pulled_out_together():
    """Each sits 10 mm deep. To the right it is 300 mm - (50 + 7 + 10 mm) and half a diameter until it is out."""
    found = removal(U_BEND, case_size=CASE)
    assert (found.unscrew, found.part, found.pulled, found.pull) == ("", "", "right", pytest.approx(0.010))
    assert found.stopped_by == ""
    lid = box("lid", (300, 0, 0), (3, 200, 250), panel=True, opens="right")
    found = removal(U_BEND, [lid], case_size=CASE)
    assert (found.way, found.stopped_by) == ("right", "")
    assert found.after == pytest.approx((300 - 67 + 7) / 1e3)


def test_what_stands_in_the_way_of_a_pull_or_of_the_way_out_is_named():
    """Its outside ends at 150 + 7 mm: a box from 165 mm stops the pull after 8 mm, one from 180 mm 5 mm behind it."""
    lid = box("lid", (300, 0, 0), (3, 200, 250), panel=True, opens="right")
    for x, after in ((165, 8.0), (180, 13.0)):
        drive = box("drive", (x, 0, 0), (20, 200, 250))
        found = removal(U_BEND, [drive, lid], case_size=CASE)
        assert found.stopped_by == "drive"
        assert found.after == pytest.approx(after / 1e3, abs=1e-5)
    tube = {"b": ((190, 0, 100), "rear", None, (190, 200, 100), "front")}
    found = removal(U_BEND | tube, [lid], case_size=mm(300, 200, 160))
    assert (found.stopped_by, found.way) == ("b", "right")
    # A leg of the U passes on each side of it until its upright meets it: 190 - 7 - 157 mm, less the pull.
    assert found.after == pytest.approx(0.016, abs=1e-5)
    # Of two ways that are shut the longer one is told: 150 + 7 mm high, a shelf 30 mm above it.
    top = replace(lid, name="top", opens="up")
    drive, shelf = box("drive", (180, 0, 0), (20, 200, 170)), box("shelf", (0, 0, 187), (300, 200, 3))
    found = removal(U_BEND, [drive, shelf, lid, top], case_size=CASE)
    assert (found.way, found.stopped_by, found.after) == ("up", "shelf", pytest.approx(0.030, abs=1e-5))
    away = removal(
        U_BEND | tube, [replace(lid, opens="up", corner=mm(0, 0, 250), size=mm(300, 200, 3))], case_size=CASE
    )
    assert (away.way, away.stopped_by) == ("up", "")


def test_a_straight_tube_comes_out_when_a_part_is_moved():
    body = box("body", (-50, -50, -50), (50, 100, 100), of="part")
    short = {"a": ((0, 0, 0), "right", None, (67, 0, 0), "left", {"of": ("part", "")})}
    found = removal(short, [body, box("wall", (67, -50, -50), (10, 100, 100))])
    # To the right a wall that is no part stays; to the left the part it begins on makes room.
    assert (found.unscrew, found.part, found.pulled, found.stopped_by) == ("a start", "part", "left", "")


@pytest.mark.parametrize(("apart", "pushed"), [(68.1, True), (67.9, False)])
def test_a_straight_tube_takes_both_its_fittings_if_it_is_long_enough(apart, pushed):
    """It begins 7 mm off each port and needs 17 + 10 mm for each fitting: 54 mm and 14 mm more from port to port."""
    between = [box("one", (-50, -50, -50), (50, 100, 100)), box("other", (apart, -50, -50), (50, 100, 100))]
    runs = {"a": ((0, 0, 0), "right", None, (apart, 0, 0), "left")}
    found = removal(runs, between)
    assert (found.unscrew == run_gaps.PUSHED_UP, found.stopped_by == "") == (pushed, pushed)
    if pushed:  # it goes sideways, as wide as its fittings: past 9.9 mm it does not, past 10 mm it does
        beside = [box(name, (20, y, z), (20, *s)) for name, y, z, s in FENCE]
        assert removal(runs, [*between, *beside]).stopped_by != ""


FENCE = [
    ("rear", 12, -60, (2, 120)),
    ("front", -14, -60, (2, 120)),
    ("up", -60, 12, (120, 2)),
    ("down", -60, -14, (120, 2)),
]


def test_a_tube_that_is_shut_in_one_way_goes_aside_first():
    """Out to the right alone, behind a drive as high as the tube: up by less than the case leaves, and then right."""
    lid = box("lid", (300, 0, 0), (3, 200, 400), panel=True, opens="right")
    case = mm(300, 200, 400)
    drive = box("drive", (180, 0, 0), (20, 200, 130))
    found = removal(U_BEND, [drive, lid], case_size=case)
    assert (found.way, found.stopped_by) == ("up, then right", "")
    # 100 mm up the lower leg is 150 - 7 mm high: a drive that ends above that stops it.
    found = removal(U_BEND, [replace(drive, size=mm(20, 200, 144)), lid], case_size=case)
    assert found.stopped_by == "drive"
    # No higher than the case is: its upper leg ends at 157 mm.
    found = removal(U_BEND, [drive, lid], case_size=mm(300, 200, 237.0))
    assert found.stopped_by == "drive"


def test_a_tube_that_does_not_come_out_is_told_on_its_own():
    lid = box("lid", (300, 0, 0), (3, 200, 250), panel=True, opens="right")
    drive = box("drive", (180, 0, 0), (20, 200, 250))
    stuck = checks(laid(U_BEND, [drive, lid], fitting=FITTING, case_size=CASE))
    (row,) = rules.warnings_of(stuck.stuck)
    assert (row.signal, row.where) == ("caution", "a")
    assert row.action == "Plan to take drive out first, or give it room."
    assert row.quantity == "no way out for a tube"
    assert "way out for a tube" not in {fact.quantity for fact in stuck.facts}
    assert rules.warnings_of(checks(laid(U_BEND, [lid], fitting=FITTING, case_size=CASE)).stuck) == []


def test_ends_at_a_right_angle_take_a_fitting_off():
    found = removal(bent())
    assert found.unscrew in ("a start", "a end")
    assert (found.part, found.stopped_by) == ("", "")
    # Unscrewed at its start it goes up, unscrewed at its end to the right.
    assert (found.unscrew, found.pulled) in (("a end", "right"), ("a start", "down"))
    # Something over the bend's far side: only the other pull is left.
    shut = box("shut", (115, -50, -50), (20, 100, 200))
    found = removal(bent(), [shut])
    assert (found.unscrew, found.pulled, found.stopped_by) == ("a start", "down", "")


def test_out_of_a_hole_a_tube_goes_only_along_it():
    plate = panel((100, -60, -80))
    straight = removal(across(through=("plate",)), [plate])
    assert (straight.way, straight.stopped_by) in (("right", ""), ("left", ""))
    # Of one bend only the straight leg goes through, so it leaves on the side of the bend.
    found = removal(bent(160.0, through=("plate",)), [plate])
    assert (found.unscrew, found.pulled, found.way, found.stopped_by) == ("a end", "right", "right", "")
    corners = [(60, 0, 0), (60, 0, 100), (150, 0, 100), (150, 0, 0)]
    both = {"a": ((0, 0, 0), "right", corners, (220, 0, 0), "left", {"through": ("plate",)})}
    assert removal(both, [plate]).stopped_by == "plate"
    off = replace(plate, opens="up")
    assert removal(both, [off]).stopped_by == ""


# --------------------------------------------------------------------------------- counts, routes not found, house


def test_fittings_the_loop_counts_are_those_of_the_routes():
    angled = {"start_adapter": "sharp 90 degree fitting", "start_faces": "right"}
    runs = {"a": ((0, 0, 0), "up", None, (200, 0, 10), "left", angled)}
    quantity = "fittings counted are not those laid"
    for count, signal in ((1.0, []), (0.0, ["notice"]), (2.0, ["notice"])):
        assert signals(laid(runs, counts={"a": {"fittings": count}}), quantity) == signal
    (row,) = fired(laid(runs), quantity)
    assert (row.where, row.action.split(",")[0]) == ("a", "Count 1 on it")
    # One run that counts the fitting of another is no help: both are told.
    (one, other) = fired(laid(runs | across("b", y=90), counts={"b": {"fittings": 1.0}}), quantity)
    assert [(r.where, r.action.split(",")[0]) for r in (one, other)] == [("a", "Count 1 on it"), ("b", "Count 0 on it")]
    slanted = {"a": ((0, 0, 0), "up", None, (200, 0, 211), "left and down", {})}
    slanted["a"][-1].update(start_adapter="45 degree fitting", start_faces="right and up")
    assert signals(laid(slanted | across("b", y=90)), quantity) == []  # no 90-degree fitting


def test_a_route_whose_way_is_not_found_is_told_and_no_other():
    lost = {"a": ((0, 0, 0), "right", None, (200, 50, 0), "left")}
    rows = fired(laid(lost | across("b", z=90)))
    assert [(row.signal, row.where, row.quantity) for row in rows] == [("notice", "a", "way of a run is not found")]
    # Fittings it counts are not held against the routes that are laid.
    assert len(fired(laid(lost | across("b", z=90), counts={"a": {"fittings": 2.0}}))) == 1
    soft = catalogue.part("tube", "EPDM 13/10 mm")
    assert fired(laid(lost, tube=soft)) == []  # it finds its own way


def test_a_plan_without_routes_has_nothing_to_check():
    plain = DEMO.as_counts()
    found = checks(plain)
    assert found.gaps == found.straights == found.bends == found.removal == []
    assert found.tightest is None
    assert all(len(found.table(which)) == 0 for which in run_checks.TABLES)
    assert run_checks.facts(plain, 40.0) == []


def test_a_house_rule_may_ask_for_more():
    own = rules.HouseRule("roomy", "gap beside a tube below 20 mm", "caution")
    plan = laid(across("a") | across("b", y=30), house_rules=(own,))
    rows = rules.warnings_of(checks(plan).facts, house=plan.house_rules)
    assert [(row.signal, row.where) for row in rows] == [("caution", "a, leg 1, and b")]


# -------------------------------------------------------------------------------------------------- the example


def test_the_demo_calls_for_nothing():
    answer = solve(DEMO)
    assert {one.run for one in checks(DEMO).straights} == set(DEMO.paths)
    assert fired(DEMO, solution=answer) == []


def shifted(name: str, by: tuple) -> Plan:
    boxes = [replace(b, corner=tuple(c + d / 1e3 for c, d in zip(b.corner, by, strict=True))) for b in DEMO.boxes]
    return replace(DEMO, boxes=tuple(b if b.name == name else o for b, o in zip(boxes, DEMO.boxes, strict=True)))


def test_memory_moved_into_a_tube_is_found_by_name():
    """
    The tube to the graphics card leaves the processor at y = 320 mm and z = 390 mm, its fitting ends at x = 158 mm.

    Memory from x = 172 mm, y = 352 to 372 mm moved 60 mm to the left and 30 mm to the front holds 5 mm of its 7 mm: it
    has to go 8 + 3 mm to the front.
    """
    plan = shifted("memory", (-60, -30, 0))
    (row,) = [row for row in solve(plan).warned() if row.quantity == GAP]
    assert (row.signal, row.where, row.value) == ("danger", "processor to graphics card, leg 1, and memory", "−5.0 mm")
    assert row.action == ("Move leg 1 of processor to graphics card by 8.0 mm (0.315 in) to the front, or move memory.")


def test_a_corner_moved_into_a_part_is_found_by_name():
    """At z = 75 mm the tube passes 8 mm above the power supply, which ends at 60 mm; at 65 mm it runs 2 mm into it."""
    route = next(r for r in DEMO.routes if r.name == "graphics card to front radiator")
    (x, y, _), (x2, y2, _) = route.corners
    low = [replace(p, position=(*p.position[:2], 0.065)) if p.name == "front radiator in" else p for p in DEMO.ports]
    new = replace(route, corners=((x, y, 0.065), (x2, y2, 0.065)))
    plan = replace(DEMO, ports=tuple(low), routes=tuple(new if r is route else r for r in DEMO.routes))
    rows = [row for row in solve(plan).warned() if row.quantity == GAP]
    assert ("danger", "−2.0 mm") in {(row.signal, row.value) for row in rows}
    (row,) = [row for row in rows if row.where.endswith("power supply")]
    assert row.where.startswith("graphics card to front radiator, ")
    assert "5.0 mm (0.197 in) up" in row.action


def test_what_is_flagged_in_a_drawing_is_what_the_rules_say_and_where():
    plan = shifted("memory", (-60, -30, 0))
    ((signal, point, words),) = checks(plan).marks
    assert (signal, words) == ("danger", "memory")
    assert point[1:] == pytest.approx([0.32, 0.39])
    assert checks(DEMO).marks == []
    assert checks(plan).tightest.other == "memory"


# ------------------------------------------------------------------------------------------------------ properties


def everywhere(plan: Plan, shift: np.ndarray) -> Plan:
    """Return a plan with all that stands in it moved."""

    def to(point):
        return tuple(float(c) for c in np.add(point, shift))

    return replace(
        plan,
        ports=tuple(replace(p, position=to(p.position)) for p in plan.ports),
        boxes=tuple(replace(b, corner=to(b.corner)) for b in plan.boxes),
        routes=tuple(replace(r, corners=r.corners and tuple(map(to, r.corners))) for r in plan.routes),
        case_size=None,
    ).with_loop(lambda leaf: replace(leaf, position=to(leaf.position)) if leaf.position and leaf.size else leaf)


CROWDED = replace(shifted("memory", (-60, -30, 0)), case_size=None, clearance=0.009)


@settings(max_examples=15, deadline=None)
@given(st.tuples(*[st.floats(-0.5, 0.5)] * 3))
def test_moving_everything_changes_nothing(shift):
    there = checks(everywhere(CROWDED, np.array(shift)))
    here = checks(CROWDED)
    assert len(here.gaps) == len(there.gaps) > 50
    for one, other in zip(here.gaps, there.gaps, strict=True):
        assert (one.run, one.other, one.gap) == (other.run, other.other, pytest.approx(other.gap, abs=2e-7))
    # Where a whole leg is equally near, either end of it may be the place that is told.
    said = [
        sorted(
            (r.signal, r.where.split(", ")[0], r.where.split(" and ")[-1], r.value) for r in rules.warnings_of(f.facts)
        )
        for f in (here, there)
    ]
    assert said[0] == said[1] != []


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.04), st.floats(0.0, 0.04))
def test_a_bigger_clearance_never_makes_fewer_rows(one, other):
    through = two_bends(100.0, first=180.0, through=("plate",)) | across("b", y=25, z=4)
    for plan in (DEMO, CROWDED, laid(through, [panel()])):
        few, many = (
            {(row.signal, row.where.split(",")[0], row.where.split(" and ")[-1]) for row in fired(p, GAP)}
            for p in (replace(plan, clearance=c) for c in sorted((one, other)))
        )
        assert len(few) <= len(many)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(*[st.floats(-80, 80)] * 3), min_size=2, max_size=4), st.floats(5, 60))
def test_the_move_that_is_told_is_enough(corners, wide):
    """A straight tube moved as told away from each box alone leaves what is wanted."""
    boxes = [box(f"box {n}", corner, (wide, 30, 40)) for n, corner in enumerate(corners)]
    for one in checks(laid({"a": ((-300, 0, 0), "right", None, (300, 0, 0), "left")}, boxes)).gaps:
        if one.move and abs(one.way[0]) < 0.5:
            y, z = 1e3 * one.move * one.way[1:]
            moved = {"a": ((-300, y, z), "right", None, (300, y, z), "left")}
            assert gap(laid(moved, boxes), one.other).gap >= one.wanted - 1e-6


# --------------------------------------------------------------------------------------- tables, designs, remembering


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("which", run_checks.TABLES)
def test_every_table_has_its_rows_with_units_in_their_heads(which, system):
    plan = laid(
        across("b", y=30, through=("plate",), parallel_to=("a",)) | two_bends(100.0), [panel()], fitting=FITTING
    )
    found = checks(plan).table(which, system)
    assert len(found) == len(getattr(checks(plan), which)) > 0
    lengths = [head for head in found.columns if "[" in head]
    assert lengths
    unit = {"metric": "[mm]", "us": "[in]"}[system]
    assert any(unit in head for head in lengths)
    assert "in" not in [head.split("[")[-1].rstrip("]") for head in lengths] or system == "us"


def test_tables_are_worst_first_and_in_the_units_of_the_reader():
    found = checks(laid(across("a") | across("b", y=15) | across("c", y=40)))
    table = found.table("gaps")
    assert table["gap [mm]"].tolist() == [1.0, 11.0, 26.0]
    assert found.table("gaps", "us")["gap [in]"].tolist() == [0.039, 0.433, 1.024]
    assert table[["right [mm]", "rear [mm]", "up [mm]"]].iloc[0].tolist()[1:] == [0.0, 0.0]
    assert (table["move [mm]"][0], table["towards"][0], table["towards"][1]) == (2.0, "front", "")
    with pytest.raises(InputError, match="gaps"):
        found.table("gabs")
    with pytest.raises(InputError, match="metric"):
        found.table("gaps", "imperial")


def test_geometry_is_worked_out_once_for_what_is_laid_alike():
    def still(plan):
        return run_checks._geometry(plan)

    assert still(DEMO.set(pump_speed=0.5)) is still(DEMO) is still(DEMO.set(**{"processor.heat": 90.0}))
    for other in (
        DEMO.set(clearance=0.004),
        DEMO.set(bend_radius=0.027),
        shifted("memory", (0, 0, 1)),
        replace(DEMO, case_size=None),
        DEMO.with_loop(lambda leaf: replace(leaf, size=mm(60, 60, 199)) if leaf.name == "reservoir" else leaf),
    ):
        assert still(other) is not still(DEMO)
    for n in range(2 * run_checks.KEPT):
        still(DEMO.set(clearance=0.001 + n * 1e-4))
    assert len(run_checks._KEPT) <= run_checks.KEPT
    assert fired(DEMO.set(clearance=0.005), GAP) != []  # still right after all of that
    assert fired(DEMO, GAP) == []


def test_designs_that_differ_in_their_tubes_are_each_judged_as_alone():
    for name, values, plan in (
        ("bend_radius", [0.026, 0.027, 0.028, 0.026], DEMO),
        ("clearance", [0.002, 0.005, 0.003, 0.011], DEMO),
        ("bore", [0.008, 0.010, 0.014, 0.016], DEMO),
        ("pump_speed", [0.5, 0.6, 0.7, 1.0], CROWDED),
        ("clearance", [0.002, 0.005, 0.003, 0.011], replace(CROWDED, house_rules=(HOUSE,))),
    ):
        together = solved(plan.set(**{name: np.array(values)}))
        alone = [solved(plan.set(**{name: value})).warning_counts() for value in values]
        for signal, many in together.warning_counts().items():
            assert many.tolist() == [one[signal][0] for one in alone], (name, signal)
        assert sum(one["danger"][0] + one["caution"][0] for one in alone) > 0
    grown = [fact for fact in solved(CROWDED.set(pump_speed=np.array([0.5, 1.0]))).facts if fact.quantity == GROWS]
    assert all(np.shape(fact.value) == (2,) for fact in grown)


HOUSE = rules.HouseRule("roomy", "gap beside a tube below 9 mm", "danger")


def test_many_kinds_of_tubes_are_too_many_to_look_at():
    many = DEMO.set(bend_radius=np.linspace(0.02, 0.028, run_checks.KEPT + 1))
    assert run_checks.facts(many, 40.0) == []
    with pytest.raises(InputError, match="one design"):
        checks(many)
    with pytest.raises(InputError, match="one design"):
        checks(DEMO, solved(DEMO.set(pump_speed=np.array([0.5, 1.0]))))
