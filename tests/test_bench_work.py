"""What a builder does at the bench: lengths, marks, an order that a bench allows, and the mirror image to avoid."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist
from scipy.spatial.transform import Rotation

from loopmath import catalogue, routes
from loopmath.bench_work import EDGE, FREE, NOT, SLACK, work
from loopmath.checks import InputError
from loopmath.laws import bending
from loopmath.planfile import demo_plan

R, OD = 0.028, 0.014
PETG = "PETG 14/10 mm"
#: Millimetres, from the near end to the far one.
STRAIGHT = [[0, 0, 0], [0, 150, 0]]
BEND = [[0, 0, 0], [0, 100, 0], [90, 100, 0]]
U = [[0, 0, 0], [0, 100, 0], [80, 100, 0], [80, 0, 0]]
Z = [[0, 0, 0], [0, 100, 0], [80, 100, 0], [80, 200, 0]]
UP = [[0, 0, 0], [0, 100, 0], [80, 100, 0], [80, 100, 70]]
DOWN = [[0, 0, 0], [0, 100, 0], [80, 100, 0], [80, 100, -70]]
BACK = [[0, 0, 0], [-171, 0, 0], [-171, 0, -184], [-70, 0, -184], [-70, 85, -184], [-70, 85, 1]]


def laid(points, radius=R, tube=PETG, scale=1e-3):
    """A run through these points, in no fittings, from the port near to the port far."""
    at = scale * np.asarray(points, dtype=float)
    faces = [", ".join(repr(float(x)) for x in way) for way in (at[1] - at[0], at[-2] - at[-1])]
    ports = {name: routes.Port(name, tuple(at[n]), faces[n]) for name, n in (("near", 0), ("far", -1))}
    corners = tuple(map(tuple, at[1:-1])) if len(at) > 2 else None
    route = routes.Route("a run", "near", "far", corners, radius, "none", "none")
    return routes.laid(route, ports, catalogue.part("tube", tube))


def shape(straights, rotations, angles):
    """Points in mm of a run with these straights in mm and turns in degrees; it starts away from you, bend 1 right."""
    made = bending.Lra(1e-3 * np.array(straights), np.radians(rotations), np.radians(angles))
    return 1e3 * bending.xyz(made, R, [0, 0, 0], [0, 1, 0], [0, 0, -1])


def turned(points):
    """The same run anyhow in space."""
    return Rotation.from_euler("xyz", [0.3, -1.1, 2.0]).apply(np.asarray(points, dtype=float)) + [12, -5, 33]


@st.composite
def runs(draw, least=2, most=5):
    """A run of some bends anywhere, as points in mm; right angles half the time, as builders like them."""
    bends = draw(st.integers(least, most))
    some = lambda strategy, count: draw(st.lists(strategy, min_size=count, max_size=count))  # noqa: E731
    if draw(st.booleans()):
        angles, rotations = [90.0] * bends, some(st.sampled_from([0.0, 90.0, 180.0, -90.0]), bends)
    else:
        angles, rotations = some(st.floats(20.0, 130.0), bends), some(st.floats(-170.0, 180.0), bends)
    straights = some(st.floats(25.0, 180.0), bends + 1)
    return shape(straights, [0.0, *rotations[1:]], angles)


def mirror_image(points):
    """Reflected in the plane of the first bend: first leg and that plane stay as they are."""
    at = np.asarray(points, dtype=float)
    normal = np.cross(at[1] - at[0], at[2] - at[1])
    normal /= np.linalg.norm(normal)
    return at - 2 * ((at - at[0]) @ normal)[:, None] * normal


# --------------------------------------------------------------------------------------------- lengths and marks


def test_a_u_by_hand():
    # Corners 28 mm from where each bend begins: straights 72, 24, 72; arcs 28 pi/2 = 43.9823, 4 % of each is stretch.
    found = work(laid(U))
    arc = 28 * math.pi / 2
    assert found.installed == pytest.approx(1e-3 * (72 + 24 + 72 + 2 * arc), abs=1e-9)
    assert found.finished == pytest.approx(1e-3 * (168 + 2 * 0.96 * arc), abs=1e-9) == pytest.approx(0.2524460)
    assert found.cut == pytest.approx(found.finished + 0.002, abs=1e-12)
    first, second = found.steps
    # One diameter of heat past each side of 42.223 mm.
    np.testing.assert_allclose(1e3 * first.marks, [58.0, 93.1115, 128.2230], rtol=0, atol=1e-4)
    np.testing.assert_allclose(1e3 * second.marks, [124.2230, 159.3345, 194.4460], rtol=0, atol=1e-4)
    np.testing.assert_allclose(1e3 * second.from_end, [128.2230, 93.1115, 58.0], rtol=0, atol=1e-4)
    assert (first.straight, second.straight) == pytest.approx((0.072, 0.024))
    assert (first.hand, second.hand, second.turn, second.rotation) == ("right", "right", 0.0, 0.0)
    assert math.degrees(second.bend_to) == pytest.approx(90.9)
    assert found.order == (1, 2)
    assert (found.flat, found.mirror.same) == (True, True)
    assert found.up == "It lies flat; turned over it is its own mirror."
    assert dict(found.check_lengths) == pytest.approx(
        {
            "straight across, end to end": 0.080,
            "the near end to the outside of bend 1": 0.107,
            "the outside of bend 1 to the outside of bend 2": 0.094,
            "the outside of bend 2 to the far end": 0.107,
            "the near end over the bench to its middle, bend 1 flat and turning right": 0.007,
            "the far end over the bench to its middle, bend 1 flat and turning right": 0.007,
        }
    )


def test_a_z_bends_the_other_way_without_turning_the_tube():
    found = work(laid(turned(Z)))
    assert found.flat
    assert [step.hand for step in found.steps] == ["right", "left"]
    assert found.steps[1].turn == pytest.approx(0.0, abs=1e-9)
    assert found.steps[1].rotation == pytest.approx(math.pi)
    assert "Leave the tube as it lies, and bend 90° to the left" in found.words[4]


@pytest.mark.parametrize(("points", "hand", "rotation"), [(UP, "right", -90.0), (DOWN, "left", 90.0)])
def test_a_z_out_of_the_plane_says_its_hand(points, hand, rotation):
    # With the near end towards you the run of UP goes away, right, up: 70 mm over the plane of its first bend.
    found = work(laid(turned(points)))
    assert not found.flat
    assert not found.mirror.same
    assert math.degrees(found.steps[1].rotation) == pytest.approx(rotation)
    assert found.up == (
        f"Hold the tube with the end that goes to near towards you and bend 1 turning {hand}: then bend 2 turns up."
    )
    assert found.mirror.height == pytest.approx(0.070)
    assert found.mirror.miss == pytest.approx(0.140)
    assert found.words[-2] == (
        "Lay it so on the bench: the middle of its far end is 77.0 mm above. A mirrored tube, bend 1 turning the same "
        "way, has it 63.0 mm below, and in the machine it misses far by 140.0 mm."
    )


def test_the_turn_before_the_second_bend_by_hand():
    # Bend 1 lies flat and turned right, so its first leg comes from your right as you look along the leg between; a
    # quarter turn anticlockwise brings that leg up, and what was to go up (away from the bench) then goes left.
    assert (
        "Turn the tube a quarter turn anticlockwise, so that what you bent before points up, and bend 90° to the "
        in (work(laid(UP)).words[4])
    )
    assert [[step.hand for step in work(laid(points)).steps] for points in (UP, DOWN)] == [
        ["right", "left"],
        ["right", "right"],
    ]


def test_a_straight_run_has_nothing_to_bend():
    found = work(laid(STRAIGHT), 0.003)
    assert (found.order, found.steps, found.flat, found.mirror.same) == ((), (), True, True)
    assert (found.cut, found.finished) == pytest.approx((0.156, 0.150))
    assert found.words == [
        "It is straight: there is nothing to bend.",
        "Saw 156.0 mm of PETG 14/10 mm and square both ends: 150.0 mm is left.",
        "It is straight: there is no wrong way round.",
        "Measure the finished tube: straight across, end to end, 150.0 mm.",
    ]
    assert len(found.table()) == 0
    assert list(found.table().columns) == list(work(laid(U)).table().columns)


def test_one_bend_has_no_order_and_no_mirror():
    found = work(laid(turned(BEND)))
    assert (found.order, found.flat) == ((1,), True)
    assert found.why == "One bend: there is no order to choose."
    assert dict(found.check_lengths)["straight across, end to end"] == pytest.approx(1e-3 * math.hypot(100, 90))


def test_eighths_of_a_turn():
    # 45 degrees to the right, then 45 degrees out of that plane by 45 degrees.
    found = work(laid(shape([100, 80, 90], [0, -45], [45, 45])))
    assert "turning right: then bend 2 turns up." in found.up
    last = 0.09 + R * math.tan(math.pi / 8)
    # Its last leg rises by sin 45 of the bend times sin 45 of the plane: by half its length.
    assert found.mirror.height == pytest.approx(last / 2)
    assert found.steps[1].marks[1] == pytest.approx(0.1 + 0.08 + 1.5 * 0.96 * R * math.pi / 4)
    # Half right, half up: an eighth of a turn clockwise would lay it flat, the first leg below the bench. Three eighths
    # the other way lay it flat too, with that leg above, and it then turns left.
    assert (
        "Turn the tube 135° anticlockwise, so that what you bent before points up, and bend 45° to the left"
        in (found.words[4])
    )
    corner = OD / 2 * math.tan(math.pi / 8)
    assert dict(found.check_lengths)["the outside of bend 2 to the far end"] == pytest.approx(last + corner)


def test_copper_is_bent_cold_and_springs_back():
    found = work(laid([[0, 0, 0], [0, 100, 0], [74, 100, 0], [74, 0, 0]], 0.035, "copper 14/12 mm"))
    assert "Bend 1: it reaches from " in found.words[3]
    assert math.degrees(found.steps[0].bend_to) == pytest.approx(92.7)
    assert found.steps[1].near == (1,)  # 4 mm, where two diameters are wanted
    assert [(step.lies, step.into) for step in found.steps] == [(FREE, "")] * 2  # one tube, however near its bends
    assert "Bend 1 leaves less straight than the 28.0 mm a former wants: guide it by hand." in found.words[4]


@pytest.mark.parametrize(
    ("run", "hold", "height", "miss"),
    [
        # Up, to the rear, to the right: 168 - 85 mm out of the plane of its first bend.
        ("pump to processor", "goes to pump out towards you and bend 1 turning right: then bend 2 turns up.", 83, 166),
        # Down, to the right, to the front: 284 - 83 mm.
        (
            "graphics card to front radiator",
            "goes to graphics card out towards you and bend 1 turning left: then bend 2 turns up.",
            *(201, 402),
        ),
    ],
)
def test_runs_of_the_demo_by_hand(run, hold, height, miss):
    found = work(demo_plan().paths[run])
    assert found.up == f"Hold the tube with the end that {hold}"
    assert 1e3 * found.mirror.height == pytest.approx(height)
    assert 1e3 * found.mirror.miss == pytest.approx(miss)


def test_every_run_of_the_demo_is_bent_free_from_its_start():
    for name, path in demo_plan().paths.items():
        found = work(path)
        assert found.order == tuple(range(1, path.bends + 1)), name
        assert all(step.lies == FREE and not step.into and not step.near for step in found.steps), name
        assert found.flat == (name not in ("pump to processor", "graphics card to front radiator"))


def test_the_table_a_builder_prints():
    # Straights 205, 99, 55 mm (233 - 28, 155 - 56, 83 - 28); arcs 43.982, of which 42.223 is marked, 14 mm each side.
    table = work(demo_plan().paths["pump to processor"]).table()
    assert table.to_dict("list") == {
        "bend": [1, 2],
        "straight before [mm]": [205.0, 99.0],
        "mark start [mm]": [191.0, 332.2],
        "mark middle [mm]": [226.1, 367.3],
        "mark end [mm]": [261.2, 402.4],
        "rotation [°]": [0.0, -90.0],
        "from bend": ["–", 1],
        "angle [°]": [90.0, 90.0],
        "bend to [°]": [90.9, 90.9],
    }


def test_inches():
    found = work(laid(U), 0.0)
    assert found.table("us")["straight before [in]"].tolist() == [2.835, 0.945]
    # 252.45 mm, and 2 mm at each end, where 58 mm are left of the 60 a hand holds it by
    assert "Saw 10.096 in of" in found.sentences("us")[1]
    assert not any(" mm" in words.replace(PETG, "") for words in found.sentences("us"))
    with pytest.raises(InputError, match="system"):
        found.sentences("cubits")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"squaring": -0.001}, "squaring = -0.001"),
        ({"squaring": 0.06}, "squaring = 0.06"),
        ({"radius": np.array([0.028, 0.03])}, "a run, radius"),
        ({"tube": "EPDM 13/10 mm"}, "EPDM 13/10 mm, material"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(change, told):
    with pytest.raises(InputError, match=told):
        work(laid(BEND, change.get("radius", R), change.get("tube", PETG)), change.get("squaring", 0.001))


def test_a_mark_past_the_end_is_at_the_end():
    found = work(laid([[0, 0, 0], [0, 30, 0], [100, 30, 0]]))
    np.testing.assert_allclose(found.steps[0].marks[0], 0.0)


# ---------------------------------------------------------------------------------------------------- any run


@settings(deadline=None, max_examples=60)
@given(runs(least=1))
def test_marks_lie_within_the_tube_and_grow(points):
    found = work(laid(points))
    assert "-0.0" not in str(found.table().to_dict("list"))
    middles = [step.marks[1] for step in sorted(found.steps, key=lambda step: step.bend)]
    assert np.all(np.diff(middles) > 0)
    for step in found.steps:
        assert 0 <= step.marks[0] < step.marks[1] < step.marks[2] <= found.finished
        np.testing.assert_allclose(step.marks + step.from_end, found.finished)


@settings(deadline=None, max_examples=40)
@given(runs())
def test_a_mirrored_run_differs_by_the_signs_of_its_rotations_only(points):
    one, other = work(laid(points)), work(laid(mirror_image(points)))
    assert one.cut == pytest.approx(other.cut, abs=1e-9)
    assert one.order == other.order
    rotation = "rotation [°]"
    for ours, theirs in zip(one.table().to_dict("records"), other.table().to_dict("records"), strict=True):
        assert math.remainder(ours.pop(rotation) + theirs.pop(rotation), 360.0) == pytest.approx(0.0, abs=0.11)
        assert ours == pytest.approx(theirs, abs=0.11)
    assert one.mirror.same == other.mirror.same
    assert one.mirror.miss == pytest.approx(other.mirror.miss, abs=1e-9)
    if one.mirror.miss > 2e-3:
        assert one.mirror.hand != other.mirror.hand
        assert one.mirror.way == other.mirror.way


@settings(deadline=None, max_examples=60)
@given(runs(least=1))
def test_the_mirror_verdict_is_the_same_from_the_other_end(points):
    one, other = work(laid(points)), work(laid(points[::-1]))
    assert (one.flat, one.mirror.same) == (other.flat, other.mirror.same)
    assert one.cut == pytest.approx(other.cut, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(runs())
def test_the_miss_is_where_the_reflected_end_is(points):
    found = work(laid(points))
    away = 1e-3 * np.linalg.norm(mirror_image(points)[-1] - points[-1])
    if found.flat:  # within a quarter of a degree at each bend, which no bench shows
        assert found.mirror.miss == 0.0
        assert away <= 2 * len(points) * math.radians(0.25) * found.installed
    else:
        assert found.mirror.miss == pytest.approx(away, abs=1e-9)


def test_a_tube_that_is_its_own_mirror_end_for_end():
    found = work(laid(shape([100, 80, 80, 100], [0, 60, -60], [90, 70, 90])))
    assert (found.flat, found.mirror.same) == (False, True)
    assert found.up.endswith("Turned end for end it is its own mirror, so either hand is right.")
    assert not any("mirrored tube" in words for words in found.words)


def test_an_end_that_comes_back_to_the_plane_is_told_by_its_way_round():
    # Right, up, and down again to the bench.
    found = work(laid([[0, 0, 0], [0, 100, 0], [90, 100, 0], [90, 100, 90], [90, 190, 90], [90, 190, 0]]))
    assert found.mirror.miss == pytest.approx(0.0, abs=1e-9)
    assert found.up.endswith("bend 1 turning right: then bend 2 turns up.")
    assert found.words[-2].endswith("bend 1 turning the same way, has it there too, but the wrong way round.")


# ------------------------------------------------------------------- the bench, built again by turning matrices


def seen(path, made, bend, angle=0.0, step=1e-3):
    """
    Return places along a partly bent tube as seen from where a bend begins: x ahead, y left, z its normal.

    The frame is carried along the tube: turned about itself where a bend begins, and in the bend about its normal. What
    is not bent yet goes straight over its arc; `bend` is bent to `angle`. Beside each place stands how far along it is.
    """
    frame, at, gone = np.eye(3), np.zeros(3), 0.0
    places, along, here = [np.zeros((1, 3))], [np.zeros(1)], None

    def go(length, turn):
        nonlocal frame, at, gone
        share = np.linspace(0.0, 1.0, math.ceil(length / step) + 1)[1:, None]
        if length < 1e-12:
            return
        if turn:
            moves = path.radius * np.hstack([np.sin(turn * share), 1 - np.cos(turn * share), 0 * share])
        else:
            moves = length * np.hstack([share, 0 * share, 0 * share])
        places.append(at + moves @ frame.T)
        along.append(gone + length * share[:, 0])
        at, gone, frame = places[-1][-1], gone + length, frame @ Rotation.from_euler("z", turn).as_matrix()

    for n, straight in enumerate(path.straights):
        go(straight, 0.0)
        if n < path.bends:
            frame = frame @ Rotation.from_euler("x", path.lra.rotations[n]).as_matrix()
            here = (at, frame) if n == bend else here
            turn = path.lra.angles[n] if n in made else angle if n == bend else 0.0
            go(path.radius * turn, turn)
            go(path.radius * (path.lra.angles[n] - turn), 0.0)
    return (np.concatenate(places) - here[0]) @ here[1], np.concatenate(along)


def begins(path, bend):
    """Return how far along the tube a bend begins. [m]"""
    return path.straights[: bend + 1].sum() + path.radius * path.lra.angles[:bend].sum()


def room(path, made, bend):
    """
    Return how far what was bent before is below the bench, the better side up, and what is left on the way of the bend
    between it and the former and between it and the rest of the tube. [m]
    """
    first, half = begins(path, bend), path.outside / 2
    heights = seen(path, made, bend)[0][:, 2]
    below = min(max(-heights.min(), 0.0), max(heights.max(), 0.0))
    last = max((begins(path, n) + path.radius * path.lra.angles[n] for n in made if n < bend), default=-1.0)
    next_one = min((begins(path, n) for n in made if n > bend), default=math.inf)
    former = itself = math.inf
    for angle in np.linspace(0.0, path.lra.angles[bend], 80):
        at, along = seen(path, made, bend, angle, 3e-3)
        past = (along < last - 1e-9) | (along > next_one + 1e-9)
        if not past.any():
            continue
        x, y, z = at[past].T
        beside = np.maximum(np.hypot(x, y - path.radius) - (path.radius - half), 0.0)
        former = min(former, float(np.hypot(beside, np.maximum(np.abs(z) - half, 0.0)).min()) - half)
        start = along <= first + 1e-9
        apart = along[~start][None] - along[start][:, None] > math.pi * half
        meet = apart & (past[start][:, None] | past[~start][None])
        if meet.any():
            itself = min(itself, float(cdist(at[start], at[~start])[meet].min()) - path.outside)
    return below, former, itself


def as_told(path, steps):
    """
    Return the corners of a tube bent by what the steps tell, and no more: how to turn it, to which hand, by what angle.

    Seen from its start, each bend's normal points some way round the straight tube, clockwise from the top at first.
    """
    normals, tops = {}, {0: 0.0}
    for step in steps:
        # As the tube is turned clockwise, what was that much anticlockwise of the top comes to the top.
        tops[step.bend] = tops[step.beside] - step.turn
        normals[step.bend] = tops[step.bend] + (math.pi if step.hand == "right" else 0.0)
    angle = {step.bend: step.angle for step in steps}
    frame, points, back = np.eye(3), [np.zeros(3)], {n: path.radius * math.tan(a / 2) for n, a in angle.items()}
    for n, straight in enumerate(path.straights):  # leg n ends in bend n + 1
        points.append(points[-1] + (straight + back.get(n, 0.0) + back.get(n + 1, 0.0)) * frame[:, 0])
        if n < len(angle):
            turn = normals[n + 1] - normals.get(n, normals[1])
            frame = frame @ Rotation.from_euler("XZ", [turn, angle[n + 1]]).as_matrix()
    return np.array(points)


@st.composite
def worked(draw, most):
    """A run and its work: in the order that was found, or in any, to see that each is told and judged rightly."""
    path = laid(draw(runs(most=most)))
    found = work(path)
    if draw(st.booleans()):
        vars(found)["order"] = tuple(draw(st.permutations(range(1, path.bends + 1))))
    return path, found


@settings(deadline=None, max_examples=80)
@given(worked(6))
def test_what_the_steps_tell_makes_the_tube_and_not_its_mirror(run):
    path, found = run
    made, wanted = as_told(path, found.steps), path.points - path.points.mean(axis=0)
    made = made - made.mean(axis=0)
    np.testing.assert_allclose(Rotation.align_vectors(wanted, made)[0].apply(made), wanted, rtol=0, atol=1e-6)


@settings(deadline=None, max_examples=60)
@given(worked(5))
def test_each_step_lies_and_clears_as_it_says(run):
    (path, found), made = run, set()
    for step in found.steps:
        at, _ = seen(path, made, step.bend - 1)
        heights = at[:, 2] * (1 if step.hand == "left" else -1)
        assert step.over == pytest.approx(max(heights.max(), 0.0), abs=3e-4)
        assert step.under == pytest.approx(max(-heights.min(), 0.0), abs=3e-4)
        below, former, itself = room(path, made, step.bend - 1)
        assert (below <= SLACK + 3e-4) if step.lies == FREE else (below >= SLACK - 1e-6)
        if step.lies == EDGE:  # all that hangs is on one side, off the end of a stretch that a former wants
            ahead = at[heights < -SLACK - 1e-4, 0]
            wanted = 1.5 * path.outside - 1e-3
            assert np.all(ahead <= -wanted) or np.all(ahead >= path.radius * step.angle + wanted)
        if step.lies == NOT:
            assert step.under <= step.over + SLACK
        else:
            # A graze may be overlooked: places half a diameter apart, each way, see 0.2 of a diameter less.
            clear = {"former": former, "tube": itself}
            assert clear[step.into] < 0 if step.into else min(clear.values()) > -0.1 * path.outside - SLACK
        made.add(step.bend - 1)


def allowed(path, order):
    """Return True if the bench, built again, lets an order be made with nothing near a limit."""
    for n, bend in enumerate(order):
        below, former, itself = room(path, set(order[:n]), bend)
        if below > SLACK / 2 or min(former, itself) < SLACK / 2:
            return False
    return True


@settings(deadline=None, max_examples=15)
@given(runs(least=3, most=4))
def test_an_order_is_found_if_any_is_allowed(points):
    path = laid(points)
    found, bends = work(path), tuple(range(path.bends))
    free = all(step.lies == FREE and not step.into for step in found.steps)
    if allowed(path, bends):
        assert found.order == tuple(bend + 1 for bend in bends)
    elif allowed(path, bends[::-1]):
        assert found.order in (tuple(bend + 1 for bend in bends), tuple(bend + 1 for bend in bends[::-1]))
    if not free:
        assert not any(allowed(path, order) for order in itertools.permutations(bends))


def test_from_the_other_end_where_the_first_leg_would_go_below_the_bench():
    # At bend 4 the tube would go 101 mm to one side and then 184 mm to the other.
    path = laid(turned(BACK))
    assert allowed(path, (3, 2, 1, 0))
    assert not allowed(path, (0, 1, 2, 3))
    found = work(path)
    assert found.order == (4, 3, 2, 1)
    assert found.why == (
        "Bend in the order 4, 3, 2, 1, from the far end: what is bent already always lies flat or points up. "
        "From the near end, what was bent before would lie below the bench at bend 4."
    )


#: Straights [mm], rotations and angles [degrees]; the order; where it is not free, and words of that step.
AWKWARD = {
    "the last leg closes over the first": (([45, 85, 70, 60], [0, 0, 0], [90, 120, 120]), (1, 3, 2), {}),
    "the middle last": (
        ([115, 170, 120, 130, 110, 125], [0, -90, 0, 90, 180], [90, 120, 120, 90, 90]),
        (1, 2, 4, 5, 3),
        {},
    ),
    "over the edge": (
        ([178, 42, 40, 49], [0, 135, 90], [120, 60, 90]),
        (1, 2, 3),
        {3: "lower than this bend: hold that side still over the edge of the bench and swing the other."},
    ),
    "on a block": (
        ([114, 120, 34, 47, 126], [0, -45, -45, 45], [45, 120, 120, 120]),
        (1, 2, 3, 4),
        {4: "lower than this bend: set the former on a block higher than that, clear of what hangs down, or make "},
    ),
    "its ends cross": (
        ([155, 45, 110, 175], [0, 0, 0], [90, 120, 120]),
        (1, 2, 3),
        {3: "what you bent before runs into the former: move a corner, or make the run of two tubes"},
    ),
    "it passes through itself": (
        ([30, 180, 40, 170], [0, -90, 0], [90, 120, 90]),
        (1, 2, 3),
        {3: "what you bent before runs into the tube: move a corner, or make the run of two tubes"},
    ),
}


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_tubes(name):
    bench, order, not_free = AWKWARD[name]
    path = laid(turned(shape(*bench)))
    found = work(path)
    assert found.order == order
    free = tuple(bend - 1 for bend in order)
    if not_free:
        assert not any(allowed(path, other) for other in itertools.permutations(free))
        assert found.why.endswith(f"this one asks least, at bend {' and '.join(map(str, not_free))}.")
    else:
        assert allowed(path, free)
        assert not allowed(path, tuple(sorted(free)))
        assert not allowed(path, tuple(sorted(free, reverse=True)))
    for step, words in zip(found.steps, found.words[3:], strict=False):
        assert (step.lies != FREE or bool(step.into)) == (step.bend in not_free)
        assert not_free.get(step.bend, "") in words
    lower = "Lay it so on the bench, what goes lower over its edge: the middle of its far end is "
    assert any(words.startswith(lower) for words in found.words) == (found.mirror.low > SLACK)
    assert found.mirror.low > 0.01 or name not in ("the middle last", "over the edge", "on a block")


@pytest.mark.parametrize(("over", "hand"), [(1, "right"), (-1, "left")])
def test_a_bend_whose_both_sides_go_up_and_down_lies_on_no_bench(over, hand):
    # Beside the middle bend, which turns left on the bench, the near side goes up 100 mm and down to 100 mm under it,
    # the far side as high and down to 120 mm under it. Turned over, it is raised by 100 mm; as it is, by 120 mm.
    near = [[-150, -100, -100], [-150, -100, 100], [-150, 0, 100], [-150, 0, 0]]
    far = [[0, 150, 0], [0, 150, 100], [100, 150, 100], [100, 150, -120]]
    found = work(laid(turned(np.array([*near, [0, 0, 0], *far]) * [1, 1, over])))
    vars(found)["order"] = (1, 2, 3, 5, 6, 7, 4)
    step = found.steps[-1]
    assert (step.lies, step.hand) == (NOT, hand)
    assert (step.under, step.over) == pytest.approx((0.1, 0.12))
    assert "What you bent before goes 100.0 mm lower than this bend: set the former on a block" in found.words[9]


def test_a_bend_between_two_is_turned_from_one_of_them():
    path = laid(shape(*AWKWARD["the middle last"][0]))
    last = work(path).steps[-1]
    assert (last.bend, last.beside) == (3, 2)
    assert "Lay the tube as for bend 2, " in work(path).words[-4]


def test_more_bends_than_all_orders_are_tried_of():
    stair = shape([60] * 10, [0] + [180] * 8, [90] * 9)
    assert work(laid(stair)).order == tuple(range(1, 10))
    # Free from neither end; step by step what goes best is taken, and of what goes as well the first.
    straights, rotations, angles = AWKWARD["the middle last"][0]
    found = work(laid(shape([*straights, 60, 60, 60], [*rotations, 90, 180, 180], [*angles, 45, 45, 45])))
    assert found.order == (1, 2, 4, 3, 5, 6, 7, 8)
    assert found.why.endswith(
        "no order of those tried keeps all of it free above the bench; this one asks least, at bend 5."
    )


def test_what_is_too_short_to_hold_is_sawn_longer_and_said():
    found = work(
        laid([[0, 0, 0], [100, 0, 0], [100, 200, 0]]), 0.001
    )  # heat from 100 - 28 - 14 = 58 mm on, so 2 mm more
    marks = found.steps[0].marks
    assert found.held == pytest.approx((0.060 - marks[0], max(0.060 - (found.finished - marks[2]), 0.0)))
    assert found.held[0] == pytest.approx(0.002, abs=1e-9)
    assert found.blank == pytest.approx(found.cut + sum(found.held))
    assert "to hold it by" in found.words[1]
    assert "draw a line 3.0 mm from it" in found.words[2]


def test_a_practice_bend_of_ones_own_counts_instead_of_the_table():
    path = laid([[0, 0, 0], [200, 0, 0], [200, 200, 0]])
    usual, own = work(path, 0.0), work(path, 0.0, stretch=0.0, over_bend=0.05)
    assert own.finished == pytest.approx(own.installed)
    assert own.finished - usual.finished == pytest.approx(0.04 * 0.028 * np.pi / 2)
    assert own.steps[0].bend_to == pytest.approx(1.05 * np.pi / 2)
    with pytest.raises(InputError, match="stretch"):
        work(path, 0.0, stretch=0.7)
