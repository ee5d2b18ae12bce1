"""The search for routes: against all routes there are on small grids, and against what stands, measured by samples."""

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from loopmath import catalogue, clear_space, planfile, router
from loopmath.checks import InputError
from loopmath.laws import bending
from loopmath.routes import FACES, Box, Port, Route
from loopmath.solution import solve

DEMO = planfile.demo_plan()
#: The same loop with nothing in the case.
EMPTY = replace(
    DEMO.with_loop(lambda leaf: replace(leaf, position=None, size=None)), ports=(), boxes=(), routes=(), case_size=None
)
RUN, OTHER = "pump to processor", "processor to graphics card"
#: Of the tube of the demo: outside radius and clearance, radius of bends, and its straights by data/bending.csv.
TUBE, CLEAR, RADIUS, OUTSIDE = 0.007, 0.003, 0.028, 0.014
PAST, BETWEEN = 1.0 * OUTSIDE, 2 * 1.0 * OUTSIDE  # past a fitting; between two heated zones, more than a former needs


def machine(ports, boxes=(), size=(0.4, 0.4, 0.4), routes=None, **more):
    """Return a plan of ports {name: (mm, faces)} and boxes {name: (corner in mm, size in mm, options)}."""
    spots = tuple(Port(name, tuple(1e-3 * x for x in at), faces) for name, (at, faces) in ports.items())
    stand = tuple(
        Box(name, tuple(1e-3 * x for x in low), tuple(1e-3 * x for x in wide), **(options[0] if options else {}))
        for name, (low, wide, *options) in dict(boxes).items()
    )
    routes = (Route(RUN, "a", "b"),) if routes is None else routes
    return replace(EMPTY, ports=spots, boxes=stand, routes=routes, case_size=size, **more)


def millimetres(proposal):
    return [[round(1e3 * x, 1) for x in corner] for corner in proposal.route.corners]


# ------------------------------------------------------------------------------- what stands, measured by samples


def samples(path, step=0.0005):
    """Return points along what is seen of a tube, each straight and each arc by itself."""
    points = [path.mouths[0], *path.points[1:-1], path.mouths[1]]
    out, at = [], points[0]
    for before, corner, after in zip(points[:-2], points[1:-1], points[2:], strict=True):
        u, v = ((p - q) / np.linalg.norm(p - q) for p, q in ((corner, before), (after, corner)))
        begin, centre = corner - path.radius * u, corner - path.radius * u + path.radius * v
        out += list(at + np.linspace(0, 1, 2 + int(np.linalg.norm(begin - at) / step))[:, None] * (begin - at))
        turned = np.linspace(0, np.pi / 2, 2 + int(path.radius * np.pi / 2 / step))[:, None]
        out += list(centre + path.radius * (np.sin(turned) * u - np.cos(turned) * v))
        at = corner + path.radius * v
    return np.array(
        [*out, *(at + np.linspace(0, 1, 2 + int(np.linalg.norm(points[-1] - at) / step))[:, None] * (points[-1] - at))]
    )


def from_box(points, low, high):
    return np.linalg.norm(np.maximum(np.maximum(low - points, points - high), 0.0), axis=-1)


def from_cylinder(points, start, end, radius):
    axis = (end - start) / np.linalg.norm(end - start)
    along = (points - start) @ axis
    across = np.linalg.norm(points - start - along[..., None] * axis, axis=-1)
    over = np.maximum(np.maximum(-along, along - np.linalg.norm(end - start)), 0.0)
    return np.hypot(over, np.maximum(across - radius, 0.0))


def clear(plan, proposal, ends_clear=True):
    """Hold a proposal to the clearance of a plan, and to the straights of its tube."""
    path, name, wide = proposal.path, proposal.route.name, TUBE + CLEAR - 1e-5
    points = samples(path)
    for box in plan.bodies:
        assert from_box(points, *box.sweep).min() >= wide, box.name
    if plan.case_size is not None:
        assert np.min(points) >= wide
        assert np.max(points - plan.case_size) <= -wide
    for other, laid in plan.paths.items():
        if other != name:
            apart = min(np.linalg.norm(points - p, axis=1).min() for p in samples(laid, 0.002))
            assert apart >= wide + TUBE, other
    for route in plan.routes:
        for port, (mouth, _, _, line, thick) in zip(
            (route.start, route.end),
            clear_space.ends(route, {p.name: p for p in plan.ports}, plan.tube_fitting),
            strict=True,
        ):
            # Of its own fitting only the tube up to its first bend may be near.
            beyond = points[np.linalg.norm(points - mouth, axis=1) > PAST * (route.name == name)]
            for a, b in ((line[0], line[1]), (line[1], mouth)):
                if np.linalg.norm(b - a) > 1e-6:
                    assert from_cylinder(beyond, a, b, thick).min() >= wide, port
    some = points[:: max(len(points) // 150, 1)]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(some, axis=0), axis=1))])
    far = np.abs(along[:, None] - along) > 0.06  # round one bend it comes no nearer to itself than 40 mm
    assert np.all(np.linalg.norm(some[:, None] - some, axis=-1)[far] >= 2 * TUBE + CLEAR)
    legs = np.linalg.norm(np.diff([path.mouths[0], *path.points[1:-1], path.mouths[1]], axis=0), axis=1)
    if proposal.bends:
        assert min(legs[0], legs[-1]) >= RADIUS + PAST - 1e-6
        assert np.all(legs[1:-1] >= 2 * RADIUS + BETWEEN - 1e-6)
        np.testing.assert_allclose(path.turns.angles, np.pi / 2, atol=1e-9)


@pytest.fixture(scope="module")
def demo_proposals():
    return {name: router.propose(DEMO, name) for name in DEMO.paths}


@pytest.mark.parametrize("name", DEMO.paths)
def test_every_proposal_of_the_demo_keeps_clear_and_can_be_bent(demo_proposals, name):
    assert demo_proposals[name]
    for proposal in demo_proposals[name]:
        clear(DEMO, proposal)
        routed = replace(DEMO, routes=tuple(proposal.route if r.name == name else r for r in DEMO.routes))
        assert np.array_equal(routed.paths[name].points, proposal.path.points)


@pytest.mark.parametrize("name", DEMO.paths)
def test_proposals_are_ranked_told_and_no_near_duplicates(demo_proposals, name):
    found = demo_proposals[name]
    costs = [p.cost for p in found]
    assert costs == sorted(costs)
    assert len({p.words for p in found}) == len(found) or len(found) > 2
    for n, proposal in enumerate(found):
        assert proposal.words.endswith(".")
        assert (proposal.bends, proposal.length) == (proposal.path.bends, proposal.path.length)
        for before in found[:n]:
            off = [np.linalg.norm(samples(before.path) - c, axis=1).min() for c in proposal.path.points[1:-1]]
            assert max(off) >= 0.9 * router.DIFFERENT * OUTSIDE  # an arc cuts the corner of the leg it is measured to


def test_the_way_a_builder_laid_a_run_costs_no_less_than_the_best_found(demo_proposals):
    for name, laid in DEMO.paths.items():
        case = router._case(DEMO, name, {n: p for n, p in DEMO.paths.items() if n != name})
        assert demo_proposals[name][0].cost <= router._judged(case, laid).cost + 1e-9


def test_the_loss_is_that_of_the_run_in_the_solved_loop(demo_proposals):
    best = demo_proposals[RUN][0]
    np.testing.assert_allclose(best.path.points, DEMO.paths[RUN].points, atol=1e-6)  # as it is laid now
    assert best.loss == pytest.approx(1e3 * solve(DEMO).elements.loc[RUN, "loss [kPa]"], rel=1e-6)
    assert demo_proposals["drain"][0].loss == 0.0
    assert all(np.isfinite(p.loss) and p.loss > 0 for p in demo_proposals[OTHER])


# --------------------------------------------------------------------------------------- against all there are


def spans(mates, axis, leg):
    """Return the length of a leg (a, b) in line with or beside legs of neighbours, by joining stretches."""
    a, b = leg
    across = [k for k in range(3) if k != axis]
    low, high = sorted((a[axis], b[axis]))
    taken = []
    for c, d in mates:
        if np.argmax(np.abs(d - c)) != axis:
            continue
        off = np.abs(a[across] - c[across])
        if max(off) <= 1e-3:
            taken.append((low, high))
        elif np.hypot(*off) <= 6 * OUTSIDE + 1e-9:
            taken.append((max(low, min(c[axis], d[axis])), min(high, max(c[axis], d[axis]))))
    total, reached = 0.0, low
    for start, stop in sorted(taken):
        total += max(stop - max(start, reached), 0.0)
        reached = max(reached, stop)
    return total


def tidiness(plan, points, mates, sights):
    """Return the cost of a route in metres of tube, as the table says, from mouth to mouth."""
    points, bends = [np.asarray(p) for p in points], len(points) - 2
    cost = bends * (0.08 - (2 - np.pi / 2) * RADIUS)
    for a, b in zip(points[:-1], points[1:], strict=True):
        axis = int(np.argmax(np.abs(b - a)))
        length = abs(b[axis] - a[axis])
        shared = any(np.min(np.abs(sights[:, k] - a[k])) <= 1e-3 for k in range(3) if k != axis)
        cost += length + 0.001 * length**2 + (0.0 if shared else 0.02)
        cost += 0.15 * (length - spans(mates, axis, (a, b))) if mates else 0.0
    return cost


def every_way(lines, mouths, ways, most, free_leg, free_turn):
    """Yield all routes over the crossings of some lines with at most so many bends, as points from mouth to mouth."""
    (begin, goal), facing = (tuple(np.round(mouth, 9)) for mouth in mouths), FACES[ways[1]]

    def onward(point, way, first):
        axis = int(np.argmax(np.abs(way)))
        for x in lines[axis]:
            far = (x - point[axis]) * way[axis]
            if far > 1e-9:
                yield (*point[:axis], x, *point[axis + 1 :]), far

    def walk(points, way, bends):
        for point, far in onward(points[-1], way, len(points) == 1):
            here = [*points, point]
            least = RADIUS + PAST if len(points) == 1 else 2 * RADIUS + BETWEEN
            if (
                point != goal
                and far >= least - 1e-9
                and bends < most
                and free_leg(points[-1], point, len(points) == 1, False)
            ):
                for new in FACES.values():
                    if abs(np.dot(new, way)) < 0.5 and free_turn(point, way, new):
                        yield from walk(here, new, bends + 1)
            last = bends and tuple(-np.array(facing)) == way and point == goal and far >= RADIUS + PAST - 1e-9
            if last and free_leg(points[-1], point, False, True):
                yield here

    yield from walk([begin], FACES[ways[0]], 0)


def cheapest(plan, case, lines, ways, most, margin):
    """Return the least cost of all routes on a grid, each leg and bend held clear by samples and a margin."""
    mates = [leg for legs in case.mates.values() for leg in legs]
    wide = TUBE + CLEAR + margin
    ports, boxes = {p.name: p for p in plan.ports}, []
    for route in plan.routes:  # the run's own two fittings come first
        for port in (ports[route.start], ports[route.end]):
            low, high = np.sort([port.at, port.at + 0.017 * port.facing], axis=0)
            boxes.append((low - 0.010 * (port.facing == 0), high + 0.010 * (port.facing == 0)))  # a square about it
    boxes += [box.sweep for box in plan.bodies]
    laid = [samples(path, 0.002) for path in plan.paths.values()]

    def fine(points, but=()):
        if np.min(points) < wide or np.max(points - plan.case_size) > -wide:
            return False
        if any(from_box(points, *box).min() < wide for n, box in enumerate(boxes) if n not in but):
            return False
        return all(np.linalg.norm(points[:, None] - other, axis=-1).min() >= wide + TUBE for other in laid)

    @cache
    def free_leg(a, b, first, last):
        a, b = np.array(a), np.array(b)
        line = a + np.linspace(0, 1, 2 + int(np.linalg.norm(b - a) / 0.001))[:, None] * (b - a)
        return fine(line, [0] * first + [1] * last)

    @cache
    def free_turn(corner, way, new):
        way, new = np.array(way), np.array(new)
        t = np.linspace(0, np.pi / 2, 60)[:, None]
        centre = np.array(corner) - RADIUS * way + RADIUS * new
        return fine(centre + RADIUS * (np.sin(t) * way - np.cos(t) * new))

    found = [
        tidiness(plan, way, mates, case.sights)
        for way in every_way(lines, case.mouths, ways, most, free_leg, free_turn)
    ]
    return min(found, default=np.inf)


def random_machine(seed):
    """Return two ports, some boxes and perhaps another run, on a case of 400 mm."""
    rng = np.random.default_rng(seed)
    while True:
        faces = rng.choice(list(FACES), 2)
        spots = [rng.integers(80, 320, 3) for _ in range(2)]
        if np.linalg.norm(spots[0] - spots[1]) > 120:
            break
    boxes = {}
    while len(boxes) < 5:
        low, wide = rng.integers(0, 330, 3), rng.integers(20, 120, 3)
        wide = np.minimum(wide, 400 - low)
        if all(from_box(np.array(at, float), low, low + wide) > 60 for at in spots):
            boxes[f"box {len(boxes)}"] = (low, wide)
    ports = {"a": (spots[0], faces[0]), "b": (spots[1], faces[1])}
    return machine(ports, boxes), [*faces]


def test_on_small_grids_nothing_is_cheaper():
    exact = 0
    for seed in range(24):
        plan, ways = random_machine(seed)
        if seed % 2:  # a run that is laid, to lie beside or to keep clear of
            mouths = [p.at + 0.017 * p.facing for p in plan.ports]
            x, y = (mouths[0] + mouths[1])[:2] / 2 + np.array([0.03, -0.02])
            more = (Port("c", (x, y, 0.02), "up"), Port("d", (x, y, 0.38), "down"))
            plan = replace(plan, ports=(*plan.ports, *more), routes=(*plan.routes, Route(OTHER, "c", "d")))
        case = router._case(plan, RUN, plan.paths)
        rng = np.random.default_rng(1000 + seed)
        lines = []
        for axis in range(3):
            xs = [*case.mouths[:, axis], *rng.choice(np.arange(20, 381), 2, replace=False) / 1e3]
            xs += [m[axis] + (0.043 + 0.001 * seed) * FACES[w][axis] for m, w in zip(case.mouths, ways, strict=True)]
            lines.append(np.unique(np.round(xs, 9)))
        grid = router._Grid(case, lines)
        found = (grid.spread(grid.first[0])[:, None] + grid.first[1] + grid.bend[:, router.OPPOSITE]).min() / 1e9
        paths = grid.paths(1, [])
        # Samples are a little apart, so a way that only just fits is left open.
        low, high = (cheapest(plan, case, lines, ways, 4, margin) for margin in (-3e-4, 3e-4))
        print(seed, found, low, high, [p.bends for p in paths])
        assert found <= high + 1e-7
        if paths and paths[0].bends <= 4:
            assert found >= low - 1e-7
            # What is told is what was counted, and what sits in the fittings.
            judged = router._judged(case, paths[0])
            assert judged.cost == pytest.approx(found + 2 * 0.010, abs=1e-6)
            exact += low == high
        for path in paths:
            clear(plan, router._judged(case, path))
    assert exact >= 10


@pytest.mark.parametrize("seed", range(2))
def test_a_bend_fits_where_samples_of_it_are_clear(seed):
    rng = np.random.default_rng(seed)
    low = rng.uniform(-0.05, 0.05, (6, 3))
    high = low + rng.choice([0.0, 0.004, 0.03, 0.2], (6, 3))
    reach = rng.uniform(0.0, 0.02, 6)
    space = clear_space.Space(low, high, reach, ("",) * 6, np.full(6, -1))
    lines = [np.sort(rng.uniform(-0.06, 0.06, n)) for n in (3, 4, 5)]
    taken = space.turns(lines, reach, 0.03)
    t, seen = np.linspace(0, np.pi / 2, 4001)[:, None], []
    for one, other in itertools.permutations(range(6), 2):
        if one // 2 == other // 2:
            assert taken[one, other].all()
            continue
        u, v = clear_space.WAYS[[one, other]]
        arc = 0.03 * (u + v - np.sin(t) * u - np.cos(t) * v)
        for n, corner in zip(np.ndindex(3, 4, 5), itertools.product(*lines), strict=True):
            left = min((from_box(arc + corner, *box) - r).min() for *box, r in zip(low, high, reach, strict=True))
            if abs(left) > 1e-5:
                assert taken[(one, other, *n)] == (left < 0)
                seen.append(left < 0)
    assert 0.1 < np.mean(seen) < 0.9


def test_a_run_that_is_laid_is_as_thick_as_its_samples():
    routes = (Route(RUN, "a", "b"), Route(OTHER, "c", "d", corners=((0.1, 0.1, 0.2), (0.3, 0.1, 0.2), (0.3, 0.3, 0.2))))
    ports = {
        "a": ((20, 20, 20), "up"), "b": ((380, 380, 380), "down"),
        "c": ((100, 100, 60), "up"), "d": ((300, 300, 60), "up"),
    }  # fmt: skip
    plan = machine(ports, routes=routes)
    space = clear_space.around(plan, routes[0], plan.paths, OUTSIDE, False)
    named = np.array([name == f"the run {OTHER}" for name in space.names])
    seen, rng = samples(plan.paths[OTHER]), np.random.default_rng(1)
    spots = seen[rng.integers(0, len(seen), 4000)] + rng.uniform(-0.03, 0.03, (4000, 3))
    low, high = space.low[named], space.high[named]
    taken = np.any(from_box(spots[:, None], low, high) < space.reach[named], axis=1)
    apart = np.min([np.linalg.norm(spots - p, axis=1) for p in seen[::4]], axis=0)
    wide = 2 * TUBE + CLEAR
    assert np.all(taken[apart < wide - 1e-4])
    assert not np.any(taken[apart > wide + 3e-4])  # no more than the points stand for


# ---------------------------------------------------------------------------------------------- what stands in the way


def wall_with_window(x, window):
    """Return the boxes of a wall across the case, 10 mm thick, with one window (low y, low z, high y, high z) [mm]."""
    y0, z0, y1, z1 = window
    return {
        "wall, front": ((x, 0, 0), (10, y0, 400)),
        "wall, rear": ((x, y1, 0), (10, 400 - y1, 400)),
        "wall, low": ((x, y0, 0), (10, y1 - y0, z0)),
        "wall, high": ((x, y0, z1), (10, y1 - y0, 400 - z1)),
    }


def test_a_maze_with_one_way_through_is_gone_through():
    boxes = wall_with_window(130, (40, 300, 70, 330)) | {
        n.replace("wall", "second wall"): b for n, b in wall_with_window(260, (300, 60, 330, 90)).items()
    }
    plan = machine({"a": ((20, 200, 200), "right"), "b": ((380, 200, 200), "left")}, boxes)
    found = router.propose(plan, RUN)
    for proposal in found:
        clear(plan, proposal)
        points = 1e3 * samples(proposal.path)
        for x, low, high in ((135, (40, 300), (70, 330)), (265, (300, 60), (330, 90))):
            at = points[np.abs(points[:, 0] - x) < 0.3][:, 1:]
            assert np.all((at > low) & (at < high))
    assert min(p.bends for p in found) == found[0].bends


def test_a_straight_run_comes_out_straight():
    plan = machine({"a": ((100, 200, 50), "up"), "b": ((100, 200, 350), "down")})
    best = router.propose(plan, RUN)[0]
    assert (best.bends, best.route.corners, best.aligned) == (0, (), 0.0)
    assert best.length == pytest.approx(0.300 - 2 * 0.017 + 2 * 0.010)
    assert best.words == "Goes straight from fitting to fitting."
    # Half a millimetre off it still goes in; with something between, it goes round.
    off = machine({"a": ((100, 200, 50), "up"), "b": ((100.5, 200, 350), "down")})
    assert router.propose(off, RUN, count=1)[0].bends == 0
    blocked = replace(plan, boxes=(Box("tray", (0.08, 0.15, 0.19), (0.04, 0.1, 0.02)),))
    around = router.propose(blocked, RUN)
    assert all(p.bends >= 4 for p in around)
    for proposal in around:
        clear(blocked, proposal)


def test_room_that_a_panel_opens_into_is_left_free():
    ports = {"a": ((100, 40, 200), "rear"), "b": ((300, 40, 200), "rear")}
    door = ((0, 395, 0), (400, 5, 400), {"panel": True, "opens": "rear", "travel": 0.2})
    plan = machine(ports, {"door": door})
    assert millimetres(router.propose(plan, RUN)[0]) == [[100, 100, 200], [300, 100, 200]]
    cage = ((150, 85, 150), (100, 60, 20), {"opens": "up", "travel": 0.2})  # slides up through that way
    plan = machine(ports, {"door": door, "cage": cage})
    found = router.propose(plan, RUN)
    for proposal in found:
        clear(plan, proposal)
        assert from_box(samples(proposal.path), *plan.boxes[1].sweep).min() >= TUBE + CLEAR - 1e-6
    still = machine(ports, {"door": door, "cage": (*cage[:2], {})})
    assert router.propose(still, RUN)[0].cost < found[0].cost


def test_a_panel_of_the_route_is_gone_through_and_another_is_not():
    ports = {"a": ((20, 100, 200), "right"), "b": ((380, 300, 200), "left")}
    panel = {"tray": ((190, 0, 0), (2, 400, 400), {"panel": True})}
    with pytest.raises(InputError, match="closed in by tray"):
        router.propose(machine(ports, panel), RUN)
    plan = machine(ports, panel, routes=(Route(RUN, "a", "b", through=("tray",)),))
    for proposal in router.propose(plan, RUN):
        points = samples(proposal.path)
        near = points[(points[:, 0] > 0.190 - TUBE - CLEAR) & (points[:, 0] < 0.192 + TUBE + CLEAR)]
        assert len(near)
        assert np.ptp(near[:, 1:], axis=0).max() < 1e-6  # square to the panel and straight in it


def test_a_hole_needs_its_panel_all_round_it():
    ports = {"a": ((20, 200, 200), "right"), "b": ((380, 200, 200), "left")}
    for beyond, straight in ((12, True), (8, False)):  # of the middle of the tube, which takes 10 mm
        tray = {"tray": ((190, 0, 0), (2, 200 + beyond, 400), {"panel": True})}
        plan = machine(ports, tray, routes=(Route(RUN, "a", "b", through=("tray",)),))
        case = router._case(plan, RUN, {})
        lines = [np.array([0.0, 0.4]), np.array([0.2]), np.array([0.2])]
        free = case.space.shut(lines, 0, np.where(case.space.passed == 0, case.space.reach, 0.0))[0, 0, -1] == 0
        assert free == straight


def test_a_fitting_whose_run_is_not_laid_is_kept_clear_of():
    ports = {
        "a": ((20, 200, 200), "right"), "b": ((380, 200, 200), "left"),
        "c": ((200, 174, 200), "rear"), "d": ((260, 380, 200), "front"),
    }  # fmt: skip
    alone = machine(ports)
    assert router.propose(alone, RUN)[0].bends == 0
    plan = replace(alone, routes=(*alone.routes, Route(OTHER, "c", "d")))  # its fitting ends 9 mm beside that line
    assert OTHER not in plan.paths
    best = router.propose(plan, RUN)[0]
    assert best.bends > 0
    clear(plan, best)


def test_a_route_that_crosses_itself_is_seen():
    plan = machine({"a": ((20, 200, 100), "right"), "b": ((150, 100, 300), "down")})
    case = router._case(plan, RUN, {})
    round_it = [(0.3, 0.2, 0.1), (0.3, 0.3, 0.1), (0.15, 0.3, 0.1), (0.15, 0.1, 0.1)]
    assert case.touches_itself(case.lay(round_it))
    assert not case.touches_itself(case.lay([(0.3, 0.2, 0.1), (0.3, 0.1, 0.1), (0.15, 0.1, 0.1)]))


@pytest.mark.parametrize("seed", [7, 18, 36, 52])
def test_no_proposal_touches_itself(seed):
    # In these cases many of the ways over a corner off the first would.
    plan, _ = random_machine(seed)
    for proposal in router.propose(plan, RUN):
        clear(plan, proposal)


@pytest.mark.parametrize("seed", range(8))
def test_taking_something_away_never_makes_a_run_dearer(seed):
    plan, _ = random_machine(seed)
    case = router._case(plan, RUN, {})
    lines = router._lines(case, router.MOST_LINES[0], ((), (), ()), True)
    try:
        cost = router.propose(plan, RUN, count=1, lines=lines)[0].cost
    except InputError:
        cost = np.inf
    for gone in plan.boxes:
        less = replace(plan, boxes=tuple(box for box in plan.boxes if box is not gone))
        # On the same lines: what is left of them without the box need not hold the best one.
        assert router.propose(less, RUN, count=1, lines=lines)[0].cost <= cost + 1e-9


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("seed", range(5))
def test_a_mirrored_case_has_the_mirrored_route(seed, axis):
    plan, _ = random_machine(seed)
    swap = dict(zip(FACES, [list(FACES)[n ^ 1] for n in range(6)], strict=True))

    def mirror(at):
        return tuple(0.4 - x if k == axis else x for k, x in enumerate(at))

    ports = tuple(
        Port(p.name, mirror(p.position), swap[p.faces] if abs(p.facing[axis]) > 0.5 else p.faces) for p in plan.ports
    )
    boxes = tuple(Box(b.name, tuple(np.min([mirror(b.low), mirror(b.high)], axis=0)), b.size) for b in plan.boxes)
    there = replace(plan, ports=ports, boxes=boxes)
    one, other = router.propose(plan, RUN, count=1)[0], router.propose(there, RUN, count=1)[0]
    assert one.cost == pytest.approx(other.cost, abs=1e-8)
    np.testing.assert_allclose([mirror(c) for c in one.route.corners], other.route.corners, atol=2e-6)


# ------------------------------------------------------------------------------------------------------ several runs


def pair(**more):
    """Return a plan of two runs that both want the line between their ports at the same height."""
    ports = {
        "a": ((40, 60, 100), "up"), "b": ((360, 60, 100), "up"),
        "c": ((100, 60, 100), "up"), "d": ((300, 60, 100), "up"),
    }  # fmt: skip
    return machine(ports, routes=(Route(RUN, "a", "b"), Route(OTHER, "c", "d")), **more)


def test_two_runs_that_want_the_same_line_do_not_cross():
    plan = pair()
    want = [router.propose(plan, name, count=1)[0] for name in (RUN, OTHER)]
    heights = {tuple(1e3 * np.array(p.route.corners)[:, 2]) for p in want}
    assert len(heights) == 1  # each by itself turns at the same height, where they would meet
    both = router.route_all(plan)
    assert not both.failed
    for name, proposal in both.proposals.items():
        clear(both.plan, proposal)
        assert both.plan.paths[name].points.tolist() == proposal.path.points.tolist()
    assert both.cost <= sum(p.cost for p in want) + 0.2
    assert set(both.order) == {RUN, OTHER}


def test_a_run_that_finds_its_way_taken_is_laid_first_the_next_time():
    # Two blocks with a bore through both and a slot between them: in neither is there room for a bend. The bore is the
    # only way of one run, the slot the shortest of the other, and they meet in the middle.
    boxes = {}
    for side, x, wide in (("left", 100, 95), ("right", 225, 95)):
        boxes |= {
            f"{side}, high": ((x, 150, 215), (wide, 100, 35)), f"{side}, low": ((x, 150, 150), (wide, 100, 35)),
            f"{side}, front": ((x, 150, 185), (wide, 35, 30)), f"{side}, rear": ((x, 215, 185), (wide, 35, 30)),
        }  # fmt: skip
    ports = {
        "a": ((90, 200, 200), "right"), "b": ((330, 200, 200), "left"),
        "c": ((210, 200, 390), "down"), "d": ((210, 200, 10), "up"),
    }  # fmt: skip
    plan = machine(ports, boxes, routes=(Route(RUN, "a", "b"), Route(OTHER, "c", "d")))
    for route in plan.routes:
        assert router.propose(replace(plan, routes=(route,)), route.name, count=1)[0].bends == 0
    with pytest.raises(InputError, match=f"closed in by the run {OTHER}"):
        router.propose(plan, RUN)
    found = router.route_all(plan, order=(OTHER, RUN))
    assert not found.failed
    assert (found.order, found.tries) == ((RUN, OTHER), 2)
    assert found.proposals[RUN].bends == 0
    assert found.proposals[OTHER].bends >= 4
    for proposal in found.proposals.values():
        clear(found.plan, proposal)


def test_a_run_without_a_way_is_told_and_the_others_are_laid():
    boxes = {"tray": ((0, 0, 140), (60, 150, 10))}  # over port a, 23 mm above the fitting
    found = router.route_all(pair(boxes=boxes))
    assert list(found.failed) == [RUN]
    assert "tray" in found.failed[RUN]
    assert list(found.proposals) == [OTHER]
    assert list(found.plan.paths) == [OTHER]


@pytest.fixture(scope="module")
def routed():
    return router.route_all(replace(DEMO, routes=tuple(replace(r, corners=None) for r in DEMO.routes)))


def test_the_whole_demo_is_laid_again_from_its_ports(routed):
    assert not routed.failed
    assert set(routed.proposals) == set(DEMO.paths)
    for proposal in routed.proposals.values():
        clear(routed.plan, proposal)
    cost = {}
    for name, path in DEMO.paths.items():
        case = router._case(DEMO, name, {n: p for n, p in DEMO.paths.items() if n != name})
        cost[name] = router._judged(case, path).cost
    assert routed.cost <= sum(cost.values())
    assert routed.tries <= router.TRIES


def test_runs_that_are_not_named_stay(routed):
    found = router.route_all(DEMO, names=[RUN, "drain"])
    assert set(found.proposals) == {RUN, "drain"}
    for name in DEMO.paths.keys() - {RUN, "drain"}:
        assert np.array_equal(found.plan.paths[name].points, DEMO.paths[name].points)


# ------------------------------------------------------------------------------------------------------- in words


def test_too_little_room_ahead_of_a_fitting_is_told_in_millimetres():
    # 40 mm from port to shelf; fitting 17, radius and clearance of the tube 10: 13 mm are free of the 42 a bend takes.
    shelf = {"shelf": ((0, 0, 140), (400, 400, 10))}
    plan = machine({"a": ((100, 100, 100), "up"), "b": ((300, 100, 300), "up")}, shelf)
    with pytest.raises(InputError) as told:
        router.propose(plan, RUN)
    assert told.value.field == f"{RUN}, corners"
    assert told.value.value == "13.0 mm free ahead of the fitting at a, then shelf"
    assert told.value.accepted == "42.0 mm or more for the bend and its straights; it lacks 29.0 mm"
    assert "angled fitting" in told.value.remedy
    wall = machine({"a": ((100, 100, 100), "up"), "b": ((300, 100, 350), "up")})
    with pytest.raises(InputError, match=r"23\.0 mm free ahead of the fitting at b, then the top of the case"):
        router.propose(wall, RUN)


def test_what_closes_a_run_in_is_named():
    cell = {
        "cell, left": ((40, 40, 40), (5, 200, 200)), "cell, right": ((235, 40, 40), (5, 200, 200)),
        "cell, front": ((40, 40, 40), (200, 5, 200)), "cell, rear": ((40, 235, 40), (200, 5, 200)),
        "cell, low": ((40, 40, 40), (200, 200, 5)), "cell, high": ((40, 40, 235), (200, 200, 5)),
    }  # fmt: skip
    plan = machine({"a": ((140, 140, 140), "right"), "b": ((350, 350, 300), "left")}, cell)
    plan = replace(plan, ports=(Port("a", (0.08, 0.14, 0.14), "right"), plan.ports[1]))
    with pytest.raises(InputError) as told:
        router.propose(plan, RUN)
    assert "closed in by cell, " in told.value.value
    assert "route the runs beside it anew" in told.value.remedy


def test_what_it_cannot_do_is_refused_in_words():
    ports = {"a": ((100, 100, 100), "up and right"), "b": ((300, 100, 300), "up")}
    with pytest.raises(InputError, match="only does right angles"):
        router.propose(machine(ports), RUN)
    with pytest.raises(InputError, match="name = 'no such run'"):
        router.propose(DEMO, "no such run")
    with pytest.raises(InputError, match="Accepted: one of: 'pump out'|nearest"):
        router.propose(DEMO, RUN, end="nowhere")
    with pytest.raises(InputError, match="neighbours = 'nobody'"):
        router.propose(DEMO, RUN, neighbours=("nobody",))
    with pytest.raises(InputError, match="names = 'nobody'"):
        router.route_all(DEMO, names=["nobody"])
    soft = next(tube for name in catalogue.names("tube") if not (tube := catalogue.part("tube", name)).rigid)
    plan = DEMO.with_loop(lambda leaf: replace(leaf, tube=soft) if leaf.name == RUN else leaf)
    with pytest.raises(InputError, match="Soft tube finds a way of its own"):
        router.propose(plan, RUN)


# -------------------------------------------------------------------------------------------------- what may be asked


def test_a_run_without_a_route_is_found_between_two_ports():
    plan = replace(DEMO, routes=tuple(r for r in DEMO.routes if r.name != RUN))
    assert RUN not in plan.paths
    best = router.propose(plan, RUN, "pump out", "processor in")[0]
    np.testing.assert_allclose(best.path.points, DEMO.paths[RUN].points, atol=1e-6)


def test_neighbours_draw_a_run_to_their_side():
    # To the right it may go 100 mm or 200 mm to the rear; a neighbour lies 40 mm beside one of these ways.
    plan = machine({"a": ((60, 100, 100), "up"), "b": ((340, 200, 100), "up")})
    for y, drawn_to in ((0.06, 0.1), (0.24, 0.2)):
        more = (Port("c", (0.02, y, 0.16), "right"), Port("d", (0.38, y, 0.16), "left"))
        beside = replace(plan, ports=(*plan.ports, *more), routes=(*plan.routes, Route(OTHER, "c", "d")))
        best = router.propose(beside, RUN, neighbours=(OTHER,))[0]
        assert sum(abs(c[1] - drawn_to) < 1e-9 for c in best.route.corners) >= 2
        assert best.aligned > 0.4
        assert OTHER in best.words
        clear(beside, best)


def test_of_designs_the_widest_bend_decides():
    plan = replace(DEMO, bend_radius=np.array([0.020, 0.028]))
    wide, plain = router.propose(plan, OTHER, count=1)[0], router.propose(DEMO, OTHER, count=1)[0]
    assert wide.route.corners == plain.route.corners
    assert np.shape(wide.loss) == (2,)
    assert wide.loss[1] == pytest.approx(plain.loss, rel=1e-6)


def test_another_radius_moves_the_corners_off_the_fittings():
    for radius in (0.021, 0.035):
        plan = replace(DEMO, bend_radius=radius, routes=tuple(replace(r, corners=None) for r in DEMO.routes))
        best = router.propose(plan, OTHER, count=1)[0]
        assert best.path.standoffs[1] >= bending.setback(np.pi / 2, radius) + PAST
        assert best.path.standoffs[1] <= bending.setback(np.pi / 2, radius) + PAST + 0.0011
