"""Tube runs in space: ends and lengths by hand, what cannot be laid is told on its line, what follows a move."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopmath import InputError, catalogue, demo_plan, load_plan, solve, sweep
from loopmath import loop as tree
from loopmath.checks import OutOfRange
from loopmath.designs import number_of_designs, take
from loopmath.laws.pipeflow import churchill_friction_factor
from loopmath.routes import FACES, Box, Port, Route, direction, laid, moved, with_port, with_standoff, without, word

#: A small plan whose run goes up, to the rear and to the right; the faults are planted into it.
GOOD = """format = 2
title = "Small"

[room]
air = "22 degC"

[coolant]
kind = "water"

[tube]
part = "PETG 14/10 mm"

[parts.pump]
kind = "pump"
part = "standard pump, 3.7 m"
position = ["0 mm", "0 mm", "-30 mm"]
size = ["60 mm", "60 mm", "60 mm"]

[parts.block]
kind = "block"
part = "processor block, fine fins"
typical_heat = "100 W"

[space]
fitting = "straight fitting for 14 mm hard tube"
radius = "20 mm"

[parts.radiator]
kind = "radiator"
part = "3 x 120 mm, slim, medium fins"
fan = "quiet fan 120 mm, 1300 rpm"

[ports.out]
position = ["0 mm", "0 mm", "0 mm"]
faces = "up"
of = "pump"

[ports.in]
position = ["100 mm", "100 mm", "200 mm"]
faces = "left"

[boxes.lid]
corner = ["-50 mm", "-50 mm", "150 mm"]
size = ["300 mm", "300 mm", "2 mm"]
panel = true
opens = "up"

[boxes.fan]
corner = ["-200 mm", "0 mm", "0 mm"]
size = ["120 mm", "25 mm", "120 mm"]

[routes.up]
start = "out"
end = "in"
corners = [
  ["0 mm", "0 mm", "200 mm"],
  ["0 mm", "100 mm", "200 mm"],
]

[cutting]
stock = ["500 mm"]

[loop]
order = [
  "pump",
  { run = "up", length = "300 mm", bends = 5 },
  "block",
  { run = "down", length = "300 mm" },
  "radiator",
]
"""
CORNERS = GOOD[GOOD.index("corners = [") : GOOD.index("[cutting]")].strip()


def put(*changes: tuple[str, str]) -> str:
    """Return the good plan with stretches of its text replaced."""
    text = GOOD
    for old, new in changes:
        assert text.count(old) == 1, (text.count(old), old)
        text = text.replace(old, new)
    return text


def corners(*points: tuple[float, float, float]) -> tuple[str, str]:
    """Return the change that gives the run other corners. [mm]"""
    rows = "".join(f"  [{', '.join(f'{chr(34)}{x:g} mm{chr(34)}' for x in point)}],\n" for point in points)
    return CORNERS, f"corners = [\n{rows}]"


def load(folder, text):
    file = folder / "mine.toml"
    file.write_text(text, encoding="utf-8")
    return load_plan(file)


def way(start="up", end="left", adapter="", faces="", **more):
    """Return a straight or bent run of 14 mm tube from a port at (0, 0, 0), and the ports. [mm] for points."""
    more = {"corners": ((0, 0, 200), (0, 100, 200)), "end_at": (100, 100, 200), "fitting": HOLDER} | more
    spots = more.pop("corners")
    spots = spots if spots is None else tuple(tuple(x / 1e3 for x in spot) for spot in spots)
    ports = [Port("a", (0.0, 0.0, 0.0), start), Port("b", tuple(x / 1e3 for x in more.pop("end_at")), end)]
    tube, fitting = more.pop("tube", TUBE), more.pop("fitting")
    route = Route("run", "a", "b", spots, start_adapter=adapter, start_faces=faces, **more)
    return laid(route, {port.name: port for port in ports}, tube, fitting, 0.02)


HOLDER = "straight fitting for 14 mm hard tube"
TUBE = catalogue.part("tube", "PETG 14/10 mm")
MM = {"rel": 0.0, "abs": 1e-9}


# ------------------------------------------------------------------------------------------------- by hand

S = math.sqrt(0.5)


@pytest.mark.parametrize(
    ("how", "mouth", "tube_end", "leaves"),
    [
        # data/fittings.csv: the straight fitting stands 17 mm high and takes the tube 11 mm deep, 1 mm is left free.
        ({}, (0, 0, 17), (0, 0, 7), (0, 0, 1)),
        ({"free_play": 0.003}, (0, 0, 17), (0, 0, 9), (0, 0, 1)),
        ({"free_play": 0.02}, (0, 0, 17), (0, 0, 17), (0, 0, 1)),  # the tube then only reaches its mouth
        ({"fitting": ""}, (0, 0, 0), (0, 0, 0), (0, 0, 1)),
        ({"start_fitting": "none"}, (0, 0, 0), (0, 0, 0), (0, 0, 1)),
        # An extender of 20 mm lifts all of it.
        ({"adapter": "extender, 20 mm"}, (0, 0, 37), (0, 0, 27), (0, 0, 1)),
        # The rotary one turns 14 mm over the port, its face is 10 mm off that axis: 10 + 17, less 10 mm of tube.
        (
            {"adapter": "rotary 90 degree fitting", "faces": "right", "corners": ((200, 0, 14),)},
            *((27, 0, 14), (17, 0, 14), (1, 0, 0)),
        ),
        (
            {"adapter": "rotary 90 degree fitting", "faces": "front and right", "corners": None},
            *((27 * S, -27 * S, 14), (17 * S, -17 * S, 14), (S, -S, 0)),
        ),
        # That of 45 degrees turns 11 mm over the port and reaches 11 mm: 11 + 17, less 10.
        (
            {"adapter": "45 degree fitting", "faces": "right and up", "corners": None},
            *((28 * S, 0, 11 + 28 * S), (18 * S, 0, 11 + 18 * S), (S, 0, S)),
        ),
        (
            {"adapter": "45 degree fitting", "faces": "0, -3, 3", "corners": None},
            *((0, -28 * S, 11 + 28 * S), (0, -18 * S, 11 + 18 * S), (0, -S, S)),
        ),
    ],
)
def test_mouth_and_end_of_the_tube_by_hand(how, mouth, tube_end, leaves):
    if how.get("corners", ()) is None:  # straight on, to a port that faces it
        how = how | {"end_at": tuple(m + 150 * d for m, d in zip(mouth, leaves, strict=True))}
        how |= {"end": ", ".join(str(-d) for d in leaves)}
    elif "corners" in how:
        how = how | {"end_at": (200, 200, 14), "end": "front"}
    path = way(**how)
    assert 1e3 * path.mouths[0] == pytest.approx(mouth, **MM)
    assert 1e3 * path.points[0] == pytest.approx(tube_end, **MM)
    assert path.facing[0] == pytest.approx(leaves, **MM)


def test_a_run_by_hand_from_end_to_end():
    """Up 193 mm, to the rear 100, to the right 93: two bends round 20 mm cut 2 R - R pi/2 each, and take R of a leg."""
    path = way()
    assert 1e3 * path.points == pytest.approx(np.array([[0, 0, 7], [0, 0, 200], [0, 100, 200], [93, 100, 200]]), **MM)
    assert 1e3 * path.mouths[1] == pytest.approx([83, 100, 200], **MM)
    assert path.facing[1] == pytest.approx([-1, 0, 0], **MM)
    assert 1e3 * path.turns.legs == pytest.approx([193, 100, 93], **MM)
    assert 1e3 * path.straights == pytest.approx([173, 60, 73], **MM)
    assert 1e3 * path.length == pytest.approx(386 - 40 * (2 - math.pi / 2), **MM)
    assert 1e3 * np.array(path.standoffs) == pytest.approx([183, 83], **MM)
    assert (path.bends, np.degrees(path.lra.angles)) == (2, pytest.approx([90, 90], **MM))
    # The normals of the bends point left and down: about the leg between, to the rear, that is a quarter turn back.
    assert np.degrees(path.lra.rotations) == pytest.approx([0, -90], **MM)
    along, height = path.profile
    assert (along[0], height[0]) == (0.0, pytest.approx(0.007))
    assert (along[-1], height[-1]) == (pytest.approx(path.length), pytest.approx(0.2))
    assert height.max() == pytest.approx(0.2)


def test_a_straight_run_by_hand_and_its_own_radius_fitting_and_tube():
    path = way(corners=None, end_at=(0, 0, 100), end="down")
    assert (path.bends, path.standoffs) == (0, (pytest.approx(0.066), pytest.approx(0.066)))
    assert path.length == pytest.approx(0.1 - 2 * 0.007, **MM)
    assert way(radius=0.03).radius == 0.03
    assert way(start_fitting="straight fitting for 16 mm hard tube").fittings[0].name.endswith("16 mm hard tube")
    ports = {"a": Port("a", (0, 0, 0), "up"), "b": Port("b", (0.1, 0.1, 0.2), "left")}
    usual = laid(Route("run", "a", "b", ((0, 0, 0.2), (0, 0.1, 0.2))), ports, TUBE)
    assert (usual.radius, usual.insertion.tolist()) == (TUBE.bend_radius, [0, 0])


def test_a_tube_may_go_in_askew_by_less_than_a_millimetre():
    assert way(corners=((0.9, 0, 200), (0.9, 100, 200))).bends == 2
    with pytest.raises(InputError, match="corner 1 = '1.1 mm too far right'"):
        way(corners=((1.1, 0, 200), (1.1, 100, 200)))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.sampled_from(sorted(FACES)), min_size=1, max_size=5), st.data())
def test_a_run_made_of_legs_is_laid_of_those_legs(faces, data):
    """Built up leg by leg from its mouth; what is laid has those legs, and as much in each fitting as that takes."""
    faces = [f for n, f in enumerate(faces) if not n or abs(float(np.dot(FACES[f], FACES[faces[n - 1]]))) < 1]
    faces = [f for n, f in enumerate(faces) if not n or abs(float(np.dot(FACES[f], FACES[faces[n - 1]]))) < 1]
    ways = [np.array(FACES[f]) for f in faces]
    ok = all(abs(float(a @ b)) < 1 for a, b in zip(ways[:-1], ways[1:], strict=True))
    if not ok:
        return
    legs = data.draw(st.lists(st.floats(60, 400), min_size=len(ways), max_size=len(ways)))
    points = np.cumsum([17 * ways[0], *(leg * d for leg, d in zip(legs, ways, strict=True))], axis=0)
    end = points[-1] + 17 * ways[-1]
    path = way(faces[0], ", ".join(str(-x) for x in ways[-1]), corners=tuple(map(tuple, points[1:-1])), end_at=end)
    reach = np.zeros(len(legs))
    reach[0] += 10
    reach[-1] += 10
    assert 1e3 * path.turns.legs == pytest.approx(legs + reach, rel=1e-9)
    assert path.turns.directions == pytest.approx(np.array(ways), abs=1e-9)
    assert path.length == pytest.approx((sum(legs) + 20 - (len(legs) - 1) * 20 * (2 - math.pi / 2)) / 1e3, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [
        ("right", (1, 0, 0), "right"),
        ("  left ", (-1, 0, 0), "left"),
        ("rear", (0, 1, 0), "rear"),
        ("front", (0, -1, 0), "front"),
        ("down", (0, 0, -1), "down"),
        ("rear and up", (0, S, S), ("rear and up", "up and rear")),
        ("up  and\n left", (-S, 0, S), ("left and up", "up and left")),
        ("0, 0.5, 0.87", (0, 0.5 / math.hypot(0.5, 0.87), 0.87 / math.hypot(0.5, 0.87)), "up and rear"),
        ("-2,0,0", (-1, 0, 0), "left"),
    ],
)
def test_directions_in_words_and_numbers(text, unit, said):
    assert direction("faces", text) == pytest.approx(unit, abs=1e-6)
    assert word(direction("faces", text)) in ((said,) if isinstance(said, str) else said)


@pytest.mark.parametrize("text", ["", "upwards", "up and", "left and right", "0, 0, 0", "1, 2", "1, 2, x", "nan, 0, 1"])
def test_no_direction_is_told_what_directions_are(text):
    with pytest.raises(InputError) as caught:
        direction("ports.out.faces", text)
    assert caught.value.field == "ports.out.faces"
    assert "right" in str(caught.value)


def test_the_room_a_box_takes_while_it_opens():
    lid = Box("lid", (0.0, 0.0, 0.5), (0.2, 0.4, 0.002), panel=True, opens="left and up", travel=0.1)
    low, high = lid.sweep
    assert (low.tolist(), high.tolist()) == (
        pytest.approx([-0.1 * S, 0, 0.5]),
        pytest.approx([0.2, 0.4, 0.502 + 0.1 * S]),
    )
    still = replace(lid, opens="")
    assert not still.must_open
    assert [corner.tolist() for corner in still.sweep] == [still.low.tolist(), still.high.tolist()]


# ------------------------------------------------------------------------------------------ what cannot be laid

#: What is planted -> (changes of the text, words of the line it is told on, what is said).
BAD = {
    "two corners in one place": (
        [corners((0, 0, 200), (0, 0, 200), (0, 100, 200))],
        '["0 mm", "0 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = 'corners 1 and 2 are 0\.0 mm apart'.*at least 0\.1 mm apart\. Move one",
    ),
    "a leg shorter than two setbacks": (
        [corners((0, 0, 200), (0, 30, 200)), ('["100 mm", "100 mm"', '["100 mm", "30 mm"')],
        '["0 mm", "0 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = 'leg 2, from corner 1 to corner 2, is 30\.0 mm'.*least 40\.0 mm.*10\.0 mm short",
    ),
    "a first leg too short": (
        [corners((0, 0, 25), (0, 100, 25)), ('"100 mm", "200 mm"]\nfaces', '"100 mm", "25 mm"]\nfaces')],
        '["0 mm", "0 mm", "25 mm"],',
        r"routes\.up\.corners\[0\] = 'leg 1, from the start to corner 1, is 18\.0 mm'.*least 20\.0 mm.*2\.0 mm short",
    ),
    "a last leg too short": (
        [corners((0, 0, 200), (0, 100, 200)), ('["100 mm", "100 mm"', '["25 mm", "100 mm"')],
        '["0 mm", "100 mm", "200 mm"],',
        r"routes\.up\.corners\[1\] = 'leg 3, from corner 2 to the end, is 18\.0 mm'.*2\.0 mm short",
    ),
    "a bend of nothing": (
        [corners((0, 0, 100), (0, 0, 200), (0, 100, 200))],
        '["0 mm", "0 mm", "100 mm"],',
        r"routes\.up\.corners\[0\] = 'corner 1 bends by 0\.00°'.*leave this corner out",
    ),
    "a bend right back": (
        [corners((0, 0, 300), (0, 0, 100), (0, 100, 100), (0, 100, 200))],
        '["0 mm", "0 mm", "300 mm"],',
        r"routes\.up\.corners\[0\] = 'corner 1 bends by 180\.00°'.*make the turn of two bends",
    ),
    "a bend nearly right back": (
        [corners((0, 0, 200), (0, 10, 50), (0, 100, 50), (0, 100, 200))],
        '["0 mm", "0 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = 'corner 1 bends by 176\.19°'.*0\.5° to 175°",
    ),
    "a port that faces the other way": (
        [('faces = "up"', 'faces = "down"')],
        '["0 mm", "0 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = '217\.0 mm behind the fitting at out'.*the first corner.*faces down.*wrong way",
    ),
    "a last port that faces the other way": (
        [('faces = "left"', 'faces = "right"')],
        '["0 mm", "100 mm", "200 mm"],',
        r"routes\.up\.corners\[1\] = '117\.0 mm behind the fitting at in'.*the last corner.*faces right",
    ),
    "a corner inside of its fitting": (
        [corners((0, 0, 10), (0, 100, 10)), ('"100 mm", "200 mm"]\nfaces', '"100 mm", "10 mm"]\nfaces')],
        '["0 mm", "0 mm", "10 mm"],',
        r"routes\.up\.corners\[0\] = '7\.0 mm behind the fitting at out'",
    ),
    "a corner off its line": (
        [corners((5, -2.5, 200), (5, 100, 200))],
        '["5 mm", "-2.5 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = '5\.0 mm too far right, 2\.5 mm too far front'.*at out, which faces up.* 1 mm",
    ),
    "a last corner off its line": (
        [corners((0, 0, 200), (0, 98, 203))],
        '["0 mm", "98 mm", "203 mm"],',
        r"routes\.up\.corners\[1\] = '2\.0 mm too far front, 3\.0 mm too far up'.*at in, which faces left",
    ),
    "ports that see each other past a corner, and none is given": (
        [(CORNERS, "corners = []")],
        "corners = []",
        r"routes\.up\.corners = 'out faces up, in faces left, 130\.0 mm off its line'.*two ports that face",
    ),
    "a port nobody knows": (
        [('start = "out"', 'start = "uot"')],
        'start = "uot"',
        r"routes\.up\.start = 'uot' is not accepted\. Accepted: (one of|a known name; nearest): .*'out'",
    ),
    "no port": ([('start = "out"\n', "")], "[routes.up]", r"routes\.up\.start = 'missing'"),
    "a run nobody knows": (
        [("[routes.up]", "[routes.upp]")],
        "[routes.upp]",
        r"routes\.upp = 'upp'.*'up', 'down'.*name of the run or dead leg",
    ),
    "a part nobody knows": (
        [('of = "pump"', 'of = "pomp"')],
        'of = "pomp"',
        r"ports\.out\.of = 'pomp'.*'pump', 'block'.*names a part",
    ),
    "a body of a part nobody knows": (
        [('["120 mm", "25 mm", "120 mm"]', '["120 mm", "25 mm", "120 mm"]\nof = "fans"')],
        'of = "fans"',
        r"boxes\.fan\.of = 'fans'",
    ),
    "a panel nobody knows": (
        [('end = "in"', 'end = "in"\nthrough = ["lid", "floor"]')],
        'through = ["lid", "floor"]',
        r"routes\.up\.through\[1\] = 'floor'.*one of: 'lid'.*panel = true",
    ),
    "a box that is no panel": (
        [('end = "in"', 'end = "in"\nthrough = ["fan"]')],
        'through = ["fan"]',
        r"routes\.up\.through\[0\] = 'fan'.*one of: 'lid'",
    ),
    "a neighbour that has no way": (
        [('end = "in"', 'end = "in"\nin_line_with = ["down"]')],
        'in_line_with = ["down"]',
        r"routes\.up\.in_line_with\[0\] = 'down'.*one of: 'up'",
    ),
    "an angled fitting without its direction": (
        [('end = "in"', 'end = "in"\nstart_adapter = "rotary 90 degree fitting"')],
        "[routes.up]",
        r"routes\.up\.start_faces = 'missing'.*a direction.*Say which way the tube leaves the angled fitting",
    ),
    "a direction without an angled fitting": (
        [('end = "in"', 'end = "in"\nend_adapter = "extender, 10 mm"\nend_faces = "up"')],
        'end_faces = "up"',
        r"routes\.up\.end_faces = 'up'.*Without an angled fitting",
    ),
    "an angled fitting turned by another angle": (
        [('end = "in"', 'end = "in"\nstart_adapter = "45 degree fitting"\nstart_faces = "right"')],
        'start_faces = "right"',
        r"routes\.up\.start_faces = 'right, 90 degrees off'.*45 degrees off up, which its port faces",
    ),
    "an adapter nobody knows": (
        [('end = "in"', 'end = "in"\nstart_adapter = "extender, 11 mm"')],
        'start_adapter = "extender, 11 mm"',
        r"routes\.up\.start_adapter = 'extender, 11 mm'.*'extender, 10 mm'",
    ),
    "a fitting nobody knows": (
        [('end = "in"', 'end = "in"\nend_fitting = "straight fitting"')],
        'end_fitting = "straight fitting"',
        r"routes\.up\.end_fitting = 'straight fitting'",
    ),
    "a usual fitting nobody knows": (
        [('fitting = "straight fitting for 14 mm hard tube"', 'fitting = "straight fitting for 14 mm"')],
        'fitting = "straight fitting for 14 mm"',
        r"space\.fitting = 'straight fitting for 14 mm'.*'straight fitting for 14 mm hard tube'",
    ),
    "a port that faces nowhere": (
        [('faces = "up"', 'faces = "upwards"')],
        'faces = "upwards"',
        r"ports\.out\.faces = 'upwards'.*'up'",
    ),
    "a port that faces left and right": (
        [('faces = "up"', 'faces = "left and right"')],
        'faces = "left and right"',
        r"ports\.out\.faces = 'left and right'.*three numbers: right, rear, up",
    ),
    "a lid that opens nowhere": ([('opens = "up"', 'opens = "wide"')], 'opens = "wide"', r"boxes\.lid\.opens = 'wide'"),
    "a box of no size": (
        [('["300 mm", "300 mm", "2 mm"]', '["300 mm", "300 mm", "0 mm"]')],
        '"0 mm"]\npanel',
        r"boxes\.lid\.size = 0\.0 is not accepted\. Accepted: more than 0 mm each way\. A panel has its thickness",
    ),
    "a box inside out": (
        [('["120 mm", "25 mm", "120 mm"]', '["120 mm", "-25 mm", "120 mm"]')],
        '"-25 mm"',
        r"boxes\.fan\.size = -25\.0.*more than 0 mm",
    ),
    "a port far away": (
        [('["100 mm", "100 mm", "200 mm"]', '["100 mm", "100 mm", "6 m"]')],
        '"6 m"',
        r"ports\.in\.position = \[100\.0, 100\.0, 6000\.0\].*within 5000 mm",
    ),
    "a corner of two lengths": (
        [(CORNERS, CORNERS.replace('["0 mm", "100 mm", "200 mm"]', '["0 mm", "100 mm"]'))],
        '["0 mm", "100 mm"]',
        r"routes\.up\.corners\[1\] = \['0 mm', '100 mm'\].*three lengths",
    ),
    "a corner of something else": (
        [(CORNERS, CORNERS.replace('["0 mm", "100 mm", "200 mm"]', '["0 mm", "100 g", "200 mm"]'))],
        '"100 g"',
        r"routes\.up\.corners\[1\]\[1\] = '100 g'",
    ),
    "a radius of nothing": (
        [('end = "in"', 'end = "in"\nradius = "0 mm"')],
        'radius = "0 mm"',
        r"routes\.up\.radius = 0\.0.*0\.001 to 1 m",
    ),
    "a usual radius too large": (
        [('radius = "20 mm"', 'radius = "60 mm"')],
        '["0 mm", "0 mm", "200 mm"],',
        r"routes\.up\.corners\[0\] = 'leg 2, from corner 1 to corner 2, is 100\.0 mm'.*120\.0 mm.*20\.0 mm short",
    ),
    "too much free play": (
        [('end = "in"', 'end = "in"\nfree_play = "3 cm"')],
        'free_play = "3 cm"',
        r"routes\.up\.free_play = 0\.03.*0 to 0\.02 m",
    ),
    "a hole of no kind": (
        [('end = "in"', 'end = "in"\nhole = "drilled"')],
        'hole = "drilled"',
        r"routes\.up\.hole = 'drilled'.*'clear hole', 'grommet', 'pass-through fitting'",
    ),
    "a line nobody knows": (
        [('end = "in"', 'end = "in"\ncorner = []')],
        "corner = []",
        r"routes\.up\.corner = 'corner'.*'corners'",
    ),
    "a part of no size": (
        [('["60 mm", "60 mm", "60 mm"]', '["60 mm", "0 mm", "60 mm"]')],
        '["60 mm", "0 mm", "60 mm"]',
        r"parts\.pump\.size = 0\.0.*more than 0 mm",
    ),
    "a case of no size": (
        [("[space]", '[space]\nsize = ["200 mm", "4 m", "300 mm"]')],
        'size = ["200 mm", "4 m"',
        r"space\.size = 4\.0.*0\.05 to 3 m",
    ),
    "nothing to cut from": ([('["500 mm"]', "[]")], "stock = []", r"cutting\.stock = 'none'.*one length or more"),
    "a stock too short": ([('["500 mm"]', '["1 cm"]')], '["1 cm"]', r"cutting\.stock = 0\.01.*0\.05 to 10 m"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_laid_is_told_on_its_line(tmp_path, name):
    changes, line, said = BAD[name]
    text = put(*changes)
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    words = str(caught.value)
    number = text[: text.index(line) + len(line)].count("\n") - line.count("\n") + 1
    assert words.startswith(f"line {number}: "), words
    assert re.search(said, words), words
    assert words.count("is not accepted") == 1


def test_the_plan_they_are_planted_in_is_laid(tmp_path):
    plan = load(tmp_path, GOOD)
    assert plan.paths.keys() == {"up"}
    up, down = plan.units(tree.Run)
    assert (up.length, up.bends, up.counted) == (plan.paths["up"].length, 2, {"length": 0.3, "bends": 5})
    assert (down.length, down.laid, down.counted) == (0.3, None, None)
    assert [(box.name, box.of) for box in plan.bodies] == [("pump", "pump"), ("lid", ""), ("fan", "")]
    body = plan.bodies[0]
    assert (body.low.tolist(), body.high.tolist()) == (
        *(pytest.approx([-0.03, -0.03, -0.06]), pytest.approx([0.03, 0.03, 0.0], abs=1e-12)),
    )


def test_all_that_is_wrong_in_space_is_told_at_once_in_the_order_of_the_file(tmp_path):
    text = put(
        ('faces = "up"', 'faces = "upwards"'),
        ('opens = "up"', 'opens = "wide"'),
        ('end = "in"', 'end = "on"'),
        ('["500 mm"]', '["500 g"]'),
    )
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    assert [problem.field for problem in caught.value.problems] == [
        *("ports.out.faces", "boxes.lid.opens", "routes.up.end", "cutting.stock[0]"),
    ]


def test_a_run_whose_name_reads_like_a_corner_is_told_by_its_place(tmp_path):
    text = put(("[routes.up]", '[routes."corner 7, up"]'), ('run = "up"', 'run = "corner 7, up"'), corners((3, 0, 200)))
    with pytest.raises(InputError, match=r"routes\.corner 7, up\.corners\[0\] = '3\.0 mm too far right'"):
        load(tmp_path, text)


@pytest.mark.parametrize(
    "changes",
    [[(CORNERS + "\n", "")], [('part = "PETG 14/10 mm"', 'part = "EPDM 13/10 mm"')]],
    ids=["way not found yet", "soft tube"],
)
def test_a_run_that_is_not_laid_keeps_its_counts(tmp_path, changes):
    plan = load(tmp_path, put(*changes))
    run = plan.units(tree.Run)[0]
    assert (run.length, run.bends, run.laid, plan.paths, len(plan.routes)) == (0.3, 5, None, {}, 1)
    with pytest.raises(InputError, match="a run that is laid"):
        plan.set(**{"up.standoff": 0.1})


def test_the_same_is_refused_of_a_plan_made_in_python():
    plan = demo_plan()
    first, *others = plan.routes
    for wrong, field in (
        (replace(first, end="processor"), "pump to processor, end"),
        (replace(first, corners=(first.corners[1], first.corners[0])), "pump to processor, corner 1"),
    ):
        with pytest.raises(InputError) as caught:
            replace(plan, routes=(wrong, *others))
        assert caught.value.field == field
    for field in ("ports", "boxes", "routes"):
        with pytest.raises(InputError, match=f"{field} = .*each name once"):
            replace(plan, **{field: getattr(plan, field) * 2})
    for bad in (3.0, "here", ((1.0, 2.0),), ((1.0, 2.0, "x"),), ((1.0, 2.0, math.nan),)):
        with pytest.raises((InputError, OutOfRange)):
            replace(first, corners=bad)


# ------------------------------------------------------------------------------------------------- what moves

#: To the right, up, to the left, up again: every direction but one is there twice.
STEPS = np.array([[0, 0, 0], [200, 0, 0], [200, 0, 150], [80, 0, 150], [80, 0, 300]]) / 1e3


@pytest.mark.parametrize(
    ("index", "shift", "follow"),
    [
        (0, (10, 0, 0), [0]),  # the first leg takes it up
        (0, (0, 0, 10), [0, 1]),  # the second one does
        (1, (10, 0, 0), [1, 2]),
        (2, (0, 0, -10), [2, 3]),
        (3, (0, 0, 10), [2, 3]),
        (3, (20, 0, 0), [3, 4]),
        (4, (0, 0, 40), [4]),
        (4, (-30, 0, 0), [3, 4]),
        (2, (0, 0, 0), []),
    ],
)
def test_what_hangs_on_a_point_follows_until_a_leg_takes_it_up(index, shift, follow):
    if index == 3 and shift[0]:
        with pytest.raises(InputError, match=r"run, corners = '20\.0 mm right'.*a move along one of its legs"):
            moved(STEPS, index, np.array(shift) / 1e3)
        return
    out = moved(STEPS, index, np.array(shift) / 1e3)
    expected = STEPS.copy()
    expected[follow] += np.array(shift) / 1e3
    assert out == pytest.approx(expected, **MM)
    legs, before = np.diff(out, axis=0), np.diff(STEPS, axis=0)
    unit = before / np.linalg.norm(before, axis=1)[:, None]
    assert np.cross(legs, unit) == pytest.approx(np.zeros((4, 3)), abs=1e-12)
    assert np.all(np.sum(legs * unit, axis=1) > 0)


@pytest.mark.parametrize("by", [120.0, 121.0, 500.0])
def test_a_leg_that_is_too_short_for_a_move_is_told(by):
    with pytest.raises(
        InputError, match=rf"run, corners = '{by:.1f} mm left'.*less than leg 1.*200\.0 mm|less than leg"
    ):
        moved(STEPS, 1, np.array([-by - 80, 0, 0]) / 1e3)


def test_a_move_no_leg_takes_up_is_told_with_its_size():
    with pytest.raises(InputError) as caught:
        moved(STEPS, 0, np.array([0, 7, 0]) / 1e3, "up")
    assert str(caught.value).startswith("up, corners = '7.0 mm rear' is not accepted. Accepted: a move along one of")


def directions(path):
    return path.turns.directions


@pytest.mark.parametrize(
    ("name", "shift"),
    [("a", (10, 0, 0)), ("a", (0, -10, 0)), ("a", (0, 0, 30)), ("b", (0, 0, -8)), ("b", (0, 9, 0)), ("b", (40, 0, 0))],
)
def test_a_port_that_moves_takes_its_run_along_and_no_leg_turns(name, shift):
    path, shift = way(), np.array(shift) / 1e3
    ports = {p.name: replace(p, position=tuple(p.at + shift)) if p.name == name else p for p in path.ports}
    new = laid(with_port(path, name, shift), ports, TUBE, HOLDER, 0.02)
    assert directions(new) == pytest.approx(directions(path), abs=1e-12)
    end = 0 if name == "a" else -1
    assert new.points[end] - path.points[end] == pytest.approx(shift, **MM)
    assert new.points[-1 - end] == pytest.approx(path.points[-1 - end], **MM)


def test_a_straight_run_follows_its_port_along_itself_and_has_still_no_corners():
    path = way(corners=None, end_at=(0, 0, 100), end="down")
    assert with_port(path, "b", np.array([0, 0, 0.02])).corners is None
    with pytest.raises(InputError, match="one more corner"):
        with_port(path, "b", np.array([0.02, 0, 0]))
    with pytest.raises(InputError, match=r"run, standoff = 50\.0.*a run with a bend"):
        with_standoff(path, "start", 0.05)


@pytest.mark.parametrize("end", ["start", "end"])
def test_a_standoff_is_what_was_asked_and_no_leg_turns(end):
    """Out to the left, down, back to the right: both corners move."""
    path = way("left", "left", corners=((-100, 0, 0), (-100, 0, -150)), end_at=(30, 0, -150))
    assert 1e3 * np.array(path.standoffs) == pytest.approx([83, 113], **MM)
    new = laid(with_standoff(path, end, 0.06), {p.name: p for p in path.ports}, TUBE, HOLDER, 0.02)
    assert new.standoffs["start end".split().index(end)] == pytest.approx(0.06, **MM)
    assert directions(new) == pytest.approx(directions(path), abs=1e-12)
    with pytest.raises(InputError, match="'17.0 mm up'.*along one of its legs"):
        with_standoff(way(), "start", 0.2)
    with pytest.raises(InputError, match="less than leg"):
        with_standoff(path, end, -0.01)


def test_neighbours_that_are_gone_are_named_no_more():
    one, two = Route("one", "a", "b", parallel_to=("two", "three")), Route("two", "a", "b", in_line_with=("one",))
    three = Route("three", "a", "b", in_line_with=("two",))
    left = without((one, two, three), {"two"})
    assert [(r.name, r.parallel_to, r.in_line_with) for r in left] == [("one", ("three",), ()), ("three", (), ())]
    assert without((one, two, three), ())[0] is one


# ------------------------------------------------------------------------------------------------- settings


def test_settings_of_runs_and_ports(tmp_path):
    plan = load(tmp_path, GOOD)
    assert plan.set(**{"up.radius": "25 mm"}).paths["up"].radius == 0.025
    assert plan.set(bend_radius="1 in").paths["up"].radius == pytest.approx(0.0254)
    assert plan.set(**{"up.radius": "25 mm"}, bend_radius="30 mm").paths["up"].radius == 0.025
    free = plan.set(**{"up.free_play": "3 mm"})
    assert free.paths["up"].length == pytest.approx(plan.paths["up"].length - 0.004, **MM)
    for name, axis in (("across", 0), ("back", 1), ("up", 2)):
        new = plan.set(**{f"in.{name}": plan.ports[1].position[axis] + 0.03})
        assert new.ports[1].position[axis] == pytest.approx(plan.ports[1].position[axis] + 0.03)
        assert directions(new.paths["up"]) == pytest.approx(directions(plan.paths["up"]), abs=1e-12)
        assert new.paths["up"].length == pytest.approx(plan.paths["up"].length + 0.03, **MM)
        assert new.units(tree.Run)[0].length == new.paths["up"].length
    other = plan.set(**{"up.corners": ((0, 0, 0.25), (0, 0.1, 0.25), (0, 0.1, 0.2))}, **{})
    assert other.paths["up"].bends == 3


def test_a_standoff_is_set_by_its_run():
    plan = demo_plan()
    path = plan.paths["processor to graphics card"]
    for name, place in (("standoff", 0), ("end_standoff", 1)):
        new = plan.set(**{f"{path.name}.{name}": path.standoffs[place] + 0.01}).paths[path.name]
        assert new.standoffs[place] == pytest.approx(path.standoffs[place] + 0.01, **MM)
        assert new.length == pytest.approx(path.length + 0.02, **MM)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("up.radius", 0.06, "20.0 mm short"),
        ("up.radius", [0.02, 0.06], "20.0 mm short"),
        ("up.radius", "2 kg", "up.radius"),
        ("up.radius", -0.01, "up, radius"),
        ("bend_radius", 2.0, "bend_radius"),
        ("up.free_play", [0.001, 0.002], "only radii may be arrays"),
        ("up.standoff", [0.1, 0.2], "only radii may be arrays"),
        ("in.up", [0.1, 0.2], "only radii may be arrays"),
        ("up.standoff", 0.2, "17.0 mm up"),
        ("in.up", 0.0, "less than leg 1"),
        ("in.across", 9.0, "within 5000 mm"),
        ("up.corners", "here", "three lengths"),
        ("up.corners", 3.0, "corner"),
        ("down.radius", 0.02, "field of down"),
        ("on.up", 0.02, "element = 'on'"),
        ("pump.standoff", 0.02, "field of pump"),
        ("up.laid", None, "field of up = 'laid'"),
        ("up.points", None, "field of up = 'points'"),
        ("up.counted", {}, "field of up = 'counted'"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_in_words(tmp_path, name, value, said):
    with pytest.raises(InputError) as caught:
        load(tmp_path, GOOD).set(**{name: value})
    assert said in str(caught.value)


def test_a_length_or_a_number_of_bends_that_is_set_takes_the_place_of_the_way(tmp_path):
    plan = load(tmp_path, GOOD)
    for name, value, left in (("length", 0.5, "bends"), ("bends", 7.0, "length")):
        new = plan.set(**{f"up.{name}": value})
        run, before = new.units(tree.Run)[0], plan.units(tree.Run)[0]
        assert (new.paths, new.routes, run.laid, run.counted) == ({}, (), None, None)
        assert (getattr(run, name), getattr(run, left)) == (value, getattr(before, left))
    demo = demo_plan().set(**{"pump to processor.length": 0.5})
    assert len(demo.paths) == len(demo_plan().paths) - 1
    assert all("pump to processor" not in route.parallel_to for route in demo.routes)


def test_a_plan_by_counts_is_as_long_as_it_was_laid():
    plan = demo_plan()
    counted = plan.as_counts()
    assert (counted.routes, counted.paths) == ((), {})
    for old, new in zip(plan.units(tree.Run), counted.units(tree.Run), strict=True):
        assert (old.length, old.bends, new.laid) == (new.length, new.bends, None)
    # Every bend of the demo is one of 90 degrees round the least radius of its tube, as bends that are counted.
    assert solve(counted).flow == solve(plan).flow
    assert plan.as_counts("drain").paths.keys() == plan.paths.keys() - {"drain"}
    assert plan.with_loop(lambda leaf: leaf).paths["drain"] is plan.paths["drain"]


def test_places_are_swept_one_at_a_time_and_radii_as_designs():
    plan = demo_plan()
    table = sweep(plan, **{"processor to graphics card.standoff": [0.12, "130 mm"], "bend_radius": ["20 mm", 0.028]})
    assert len(table) == 4
    by = [demo_plan().set(**{"processor to graphics card.standoff": s}, bend_radius=r)
          for s in (0.12, 0.13) for r in (0.02, 0.028)]  # fmt: skip
    assert list(table.flow) == pytest.approx([float(solve(p).state["flow"]) for p in by], rel=1e-9)
    assert table.flow.nunique() == 4


def test_designs_of_a_radius_are_laid_one_by_one_and_taken_out_again():
    radii = np.array([0.014, 0.02, 0.028])
    plan = demo_plan().set(bend_radius=radii)
    assert number_of_designs(plan) == 3
    alone = [demo_plan().set(bend_radius=r) for r in radii]
    for name, path in plan.paths.items():
        length = np.broadcast_to(path.length, 3)
        assert length == pytest.approx([p.paths[name].length for p in alone], rel=1e-12)
        assert np.broadcast_to(path.straights, (3, path.bends + 1)) == pytest.approx(
            np.array([p.paths[name].straights for p in alone]), abs=1e-12
        )
    some = take(plan, np.array([2, 0]), 3)
    first = some.paths["pump to processor"]
    assert first.radius.tolist() == [0.028, 0.014]
    assert first.length == pytest.approx([alone[2].paths[first.name].length, alone[0].paths[first.name].length])
    assert (first.points is plan.paths[first.name].points, first.points.shape) == (True, (4, 3))


# ------------------------------------------------------------------------------------------------- what it costs


def bend(angle, radius, bore, f=0.0309):
    """Loss of one bend as printed by Rennels, its wall friction left out; the formula is checked in test_pipeflow."""
    s = math.sin(angle / 2)
    return (0.10 + 2.4 * f) * s + 6.6 * f * (math.sqrt(s) + s) * (radius / bore) ** (-4 * angle / math.pi)


def test_pressure_and_volume_of_a_laid_run_by_hand(tmp_path):
    """Bends of 45 and 135 degrees: friction of the whole length, a loss for each angle at its radius."""
    text = put(
        corners((0, 0, 200), (0, 100, 300), (0, 100, 130)),
        ('"100 mm", "200 mm"]\nfaces', '"100 mm", "130 mm"]\nfaces'),
        ('end = "in"', 'end = "in"\nradius = "25 mm"'),
    )
    plan = load(tmp_path, text)
    run, bore = plan.units(tree.Run)[0], 0.010
    angles = [math.pi / 4, 3 * math.pi / 4, math.pi / 2]
    assert run.laid.turns.angles == pytest.approx(angles, rel=1e-12)
    legs = 0.193 + 0.1 * math.sqrt(2) + 0.17 + 0.093
    length = legs + sum(0.025 * (angle - 2 * math.tan(angle / 2)) for angle in angles)
    assert run.length == pytest.approx(length, rel=1e-12)
    assert run.volume() == pytest.approx(math.pi / 4 * bore**2 * length, rel=1e-12)

    answer = solve(plan)
    flow, (density, viscosity, _, _) = float(answer.state["flow"]), answer.fluid
    speed = flow / (math.pi / 4 * bore**2)
    reynolds = float(density * speed * bore / viscosity)
    factor = float(churchill_friction_factor(reynolds, 1.5e-6 / bore))
    losses = factor * length / bore + sum(bend(angle, 0.025, bore) for angle in angles) + 3 * 800 / reynolds
    # Two straight fittings on ports of 9 mm, each half of a sudden step in and out: as for every run that is counted.
    port = run.losses()["straight fittings"]
    ends = float(viscosity * port.linear * flow + density * port.quadratic * flow**2)
    by_hand = float(0.5 * density * speed**2 * losses) + ends
    table = answer.elements
    assert float(table.loc["up", "loss [kPa]"]) * 1e3 == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("radius", [0.014, 0.02, 0.028])
def test_a_laid_run_answers_as_one_that_is_counted_of_the_same_length_and_bends(tmp_path, radius):
    plan = load(tmp_path, GOOD).set(bend_radius=radius)
    tube = replace(TUBE, bend_radius=radius)
    run = plan.units(tree.Run)[0]
    same = tree.Run("up", tube, run.length, 2.0, run.fittings, run.ends, run.fitting_metal)
    counted = plan.as_counts().with_loop(lambda leaf: same if leaf.name == "up" else leaf)
    for cause, loss in same.losses().items():
        mine = run.losses()[cause]
        assert (mine.linear, mine.quadratic) == pytest.approx((loss.linear, loss.quadratic), rel=1e-12)
    one, other = solve(plan).state, solve(counted).state
    assert {k: float(v) for k, v in one.items()} == pytest.approx({k: float(v) for k, v in other.items()}, rel=1e-12)
    assert float(solve(plan).state["flow"]) != float(solve(load(tmp_path, put((CORNERS + "\n", "")))).state["flow"])
