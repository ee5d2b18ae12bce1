"""
Random plans for Hypothesis: every kind of element, parts changed and parts of one's own, groups inside of groups.

Radiators stand behind one another where they may; beside the loop are fans of the case, parts on air, headers,
speed curves and house rules, some of which cannot be judged. Some runs are laid in space, past boxes anywhere.
"""

from dataclasses import MISSING, fields, replace

from hypothesis import assume
from hypothesis import strategies as st

from loopmath import InputError, catalogue, tables
from loopmath import loop as tree
from loopmath.case import IN, OUT, AirPart, CaseFans, Header, SpeedCurve
from loopmath.laws import coolant, materials
from loopmath.parts import Fan, Tube
from loopmath.plan import BALANCE, FIGURES, GIVEN, WAYS, WORDS, Plan
from loopmath.radiator import Radiator
from loopmath.routes import FACES, HOLES, Box, Port, Route
from loopmath.rules import HouseRule

METALS = sorted(materials.metal_names())
PLASTICS = sorted(tables.by_name("plastics.csv"))
#: Any text but halves of signs, which no file can hold.
TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
AWKWARD = [
    'a "quoted" one',
    "dots. and.dots",
    "it's",
    "a\nline",
    "ü 水 🚰",
    " = ",
    "[x]",
    "#no comment",
    "a\\b",
    "'''",
    '"""',
]
NAMES = st.sampled_from(AWKWARD) | st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)
NAMES = NAMES.filter(lambda name: name not in (*FIGURES, *WAYS))  # a plan refuses those
WISHES = st.lists(NAMES, min_size=2, max_size=3).map(tuple).filter(lambda pair: pair[0] != pair[1])
CONDITIONS = [
    "loop flow below 1 L/min",
    "coolant over room above 14 K and inhibitor is no",
    "loop flw below 1 L/min",
    "loop flow below 1 K",
    "",
]
#: Names of parts of one's own: few, so that two different records meet under one name.
OWN = st.sampled_from(["my part", 'mine, 2.0" wide', "my\tthird"])


#: Fittings that hold rigid tube.
HOLDERS = [name for name in tables.by_name("fittings.csv") if name.startswith("straight fitting")]


def floats(low: float, high: float) -> st.SearchStrategy:
    """Return numbers of a range: round ones, as people write them, and any."""
    digits = st.sampled_from([low, high]) | st.floats(low, high).map(lambda x: min(max(float(f"{x:.3g}"), low), high))
    return digits | st.floats(low, high).map(lambda x: x + 0.0)


def changed_fields(draw, record, skip=()):
    """Return a record with some of its fields drawn anew."""
    made = type(record)
    usual = {f.name: f.default for f in fields(made)}
    new = {}
    for key in draw(
        st.lists(st.sampled_from([f.name for f in fields(made) if f.name not in ("name", *skip)]), max_size=4)
    ):
        if key in made.RANGES:
            value = floats(*made.RANGES[key][:2])
            new[key] = draw(value | st.none() if usual[key] is None else value)
        elif isinstance(getattr(record, key), bool):
            new[key] = draw(st.booleans())
        elif key in ("metal", "solder", "tank_metal"):
            new[key] = draw(st.sampled_from(["", *METALS]))
        elif key == "material":
            new[key] = draw(st.sampled_from(PLASTICS))
        else:
            new[key] = draw(TEXT)
    try:
        return replace(record, **new)
    except InputError:  # a tube thinner than its bore, rows of tubes too thin for the depth
        assume(False)


def part(draw, kind, element=""):
    """Return a part of the catalogue, one with fields changed, or one under another name."""
    record = catalogue.shipped(kind, draw(st.sampled_from(sorted(tables.by_name(catalogue.CATALOGUE[kind][0])))))
    how = draw(st.integers(0, 3))
    if how:
        record = changed_fields(draw, record)
    if how == 2:
        record = replace(record, name=draw(OWN))
    if how == 3 and element:
        record = replace(record, name=element)
    return record


@st.composite
def plans(draw):
    """Return a plan that a file can hold."""
    awkward = draw(st.lists(NAMES, min_size=12, max_size=12, unique=True))
    names = iter([*awkward, *(f"element {n}" for n in range(99) if f"element {n}" not in awkward)])
    tubes: list[Tube] = [part(draw, "tube") for _ in range(2)]
    plan_tube = draw(st.sampled_from([None, *tubes]))

    def tube():
        chosen = draw(st.sampled_from(tubes))
        return changed_fields(draw, chosen) if draw(st.booleans()) else chosen

    def point(low=-1.0, high=1.0):
        return st.tuples(*[floats(low, high)] * 3)

    def about():
        return {
            "position": draw(st.none() | point()),
            "size": draw(st.none() | point(0.001, 1.0)),
            "note": draw(st.just("") | TEXT),
        }

    def element(kind):
        name = next(names)
        if kind == "run":
            made = tree.Run
            return made(
                name,
                tube(),
                draw(floats(0.0, 50.0)),
                draw(floats(0, 100)),
                draw(floats(0, 1000)),
                draw(floats(0, 20)),
                draw(st.sampled_from(METALS)),
                note=draw(TEXT),
            )
        if kind == "dead leg":
            return tree.DeadLeg(
                name, tube(), draw(floats(0.0, 50.0)), draw(st.sampled_from(tree.PURPOSES)), note=draw(TEXT)
            )
        record = part(draw, kind, name)
        if kind == "pump":
            return tree.PumpUnit(name, record, draw(floats(0.0, 1.0)), **about())
        if kind == "block":
            heat, limit = draw(floats(0.0, 3000.0)), draw(floats(0.0, 200.0))
            peak, capacity = draw(st.none() | floats(0.0, 3000.0)), draw(st.none() | floats(0.1, 1e5))
            return tree.Source(name, record, heat, limit, peak, capacity, **about())
        if kind == "reservoir":
            return tree.Tank(name, record, **about())
        if kind == "fitting":
            return tree.Fittings(name, record, draw(floats(0, 1000)), **about())
        if kind == "inline":
            return tree.InlineUnit(name, record, **about())
        return radiator(name, record)

    def radiator(name, record: Radiator):
        fan: Fan = part(draw, "fan", f"{name} fan")
        if abs(fan.size - record.fan_size) > 1e-6 or draw(st.booleans()):
            fan = replace(fan, size=record.fan_size)
        fan = draw(st.sampled_from([fan, None]))
        return tree.RadiatorUnit(
            name,
            record,
            fan,
            draw(floats(0.0, 1.0)),
            draw(floats(1, 4)),
            draw(st.sampled_from(["room", "case"])),
            draw(floats(0.001, 1.0)) if fan is None else 0.0,
            draw(floats(0.0, 1000.0)),
            draw(st.sampled_from(["", *tree.PLACES])),
            draw(st.sampled_from([tree.PUSH, tree.PULL])),
            draw(st.none() | floats(0.0, 1.0)),
            draw(st.just(0.0) | floats(0.0, min(8.0, record.positions))),
            draw(st.none() | floats(0.0, 1.0)),
            **about(),
        )

    def in_rows(loop):
        """Let some radiators stand behind one that nothing stands behind yet; in a row fans turn at one speed."""
        airs, ends = {}, []
        for unit in tree.of_kind(loop, tree.RadiatorUnit):
            if ends and draw(st.integers(0, 3)):
                airs[unit.name] = ends.pop(draw(st.integers(0, len(ends) - 1)))
            ends.append(unit.name)
        rows, behind = {*airs, *airs.values()}, {ahead: name for name, ahead in airs.items()}
        fanned = {unit.name for unit in tree.of_kind(loop, tree.RadiatorUnit) if unit.fan is not None}

        def change(leaf):
            if leaf.name not in rows:
                return leaf
            row = [leaf.name]
            while row[-1] in behind:
                row.append(behind[row[-1]])
            # Only the first of a row without fans states how much air passes all of them.
            each = leaf.air_flow_each if leaf.name not in airs and not fanned.intersection(row) else 0.0
            return replace(leaf, second_fans=0.0, air=airs.get(leaf.name, leaf.air), air_flow_each=each)

        return tree.mapped(loop, change)

    def case_fans():
        name = next(names)
        fan = part(draw, "fan", f"{name} fan")
        blows = draw(st.sampled_from([IN, OUT]))
        return CaseFans(name, fan, draw(floats(1, 20)), draw(floats(0.0, 1.0)), blows, draw(floats(0.0, 1000.0)))

    def on_air():
        return AirPart(
            next(names),
            draw(st.sampled_from(sorted(tables.by_name("candidates.csv")))),
            draw(floats(0.0, 3000.0)),
            draw(floats(0.0, 200.0)),
            draw(floats(0.0, 20.0)),
            draw(st.none() | floats(0.0, 3000.0)),
            draw(st.sampled_from(["", *tables.by_name("blocks.csv")])),
            draw(st.none() | floats(0.0, 120.0)),
            draw(st.none() | floats(0.0, 1e5)),
        )

    def shared(loop, fans):
        """Return names, each with things that turn and that no other has."""
        turn = [e.name for e in tree.leaves(loop) if isinstance(e, tree.PumpUnit) or getattr(e, "fan", None)]
        turn = draw(st.permutations([*turn, *(f.name for f in fans)]))
        cut = draw(st.integers(0, len(turn)))
        some = [tuple(turn[:cut]), tuple(turn[cut : draw(st.integers(cut, len(turn)))])]
        return list(zip(draw(st.lists(NAMES, max_size=2, unique=True)), some, strict=False))

    def headers(loop, fans):
        return tuple(
            Header(name, draw(floats(0.01, 50.0)), draw(floats(1.0, 60.0)), draw(floats(1.0, 10.0)), some)
            for name, some in shared(loop, fans)
        )

    def speed_curve(name, drives, components):
        warm = sorted(draw(st.lists(floats(-20.0, 150.0), min_size=2, max_size=5)))
        assume(min(b - a for a, b in zip(warm[:-1], warm[1:], strict=True)) >= 1e-6)
        speeds = sorted(draw(st.lists(floats(0.0, 1.0), min_size=len(warm), max_size=len(warm))))
        sensor = draw(st.sampled_from(["coolant", "case", *components]))
        return SpeedCurve(name, drives, sensor, tuple(warm), tuple(speeds), draw(floats(0.0, 30.0)))

    def speed_curves(loop, fans, on_air):
        components = [thing.name for thing in (*tree.of_kind(loop, tree.Source), *on_air)]
        return tuple(speed_curve(*one, components) for one in shared(loop, fans) if one[1])

    def house_rule(name):
        usual = [f.default for f in fields(HouseRule)[2:]]
        rest = [draw(st.just(words) | TEXT) for words in usual]
        return HouseRule(name, draw(st.sampled_from(CONDITIONS) | TEXT), *rest)

    def in_space(loop):
        """Return ports, boxes and routes: each route has ports of its own and legs that are long enough."""
        parts = ["", *(e.name for e in tree.leaves(loop) if not isinstance(e, (tree.Run, tree.DeadLeg)))]
        tubes = [e.name for e in tree.leaves(loop) if isinstance(e, (tree.Run, tree.DeadLeg))]
        names = draw(st.lists(NAMES, max_size=3, unique=True))
        boxes = tuple(
            Box(
                name,
                draw(point()),
                draw(point(0.001, 1.0)),
                draw(st.booleans()),
                draw(st.sampled_from(["", "up", "left and rear", "1, -0.5, 0"])),
                draw(floats(0.0, 2.0)),
                draw(st.sampled_from(parts)),
            )
            for name in names
        )
        ports, routes, ways = [], [], draw(st.lists(st.sampled_from(tubes), max_size=3, unique=True)) if tubes else []
        for name in ways:
            at, faces, corners = draw(point()), [], []
            for _ in range(draw(st.integers(1, 4))):
                last = FACES[faces[-1]] if faces else (0.0, 0.0, 0.0)
                faces.append(
                    draw(st.sampled_from([w for w, d in FACES.items() if not any(map(float.__mul__, d, last))]))
                )
                corners.append(at)
                leg = draw(floats(0.25, 0.5))
                at = tuple(x + leg * d for x, d in zip(at, FACES[faces[-1]], strict=True))
            back = ", ".join(str(-x) for x in FACES[faces[-1]])
            ends = [f"{name}, {end}" for end in ("first", "last")]
            ports += [Port(ends[0], corners[0], faces[0], draw(st.sampled_from(parts)))]
            ports += [Port(ends[1], at, back, draw(st.sampled_from(parts)))]
            holders = [draw(st.sampled_from(["", "none", *HOLDERS])) for _ in ends]
            routes.append(
                Route(
                    name,
                    *ends,
                    tuple(corners[1:]) or draw(st.sampled_from([None, ()])),
                    draw(st.none() | floats(0.001, 0.1)),
                    *holders,
                    free_play=draw(floats(0.0, 0.02)),
                    through=tuple(box.name for box in boxes if box.panel and draw(st.booleans())),
                    hole=draw(st.sampled_from(HOLES)),
                    parallel_to=tuple(other for other in ways if draw(st.booleans())),
                    in_line_with=tuple(other for other in ways if draw(st.booleans())),
                )
            )
        return {"ports": tuple(ports), "boxes": boxes, "routes": tuple(routes)}

    kinds = [*catalogue.CATALOGUE.keys() - {"fan", "tube"}, "run", "run", "dead leg", "radiator", "radiator"]

    def items(depth, most):
        out = []
        for _ in range(draw(st.integers(1, most))):
            if depth and draw(st.integers(0, 4)) == 0:
                branches = [[element(draw(st.sampled_from(["run", "block"]))), *items(depth - 1, 1)] for _ in range(2)]
                out.append(tree.Parallel(*(tree.Series(*b) for b in branches)))
            else:
                out.append(element(draw(st.sampled_from(sorted(kinds)))))
        return out

    assert all(f.default is not MISSING for f in fields(Plan)[3:])
    loop = in_rows(tree.Series(element("pump"), *items(2, 4)))
    fans = tuple(case_fans() for _ in range(draw(st.integers(0, 2))))
    parts_on_air = tuple(on_air() for _ in range(draw(st.integers(0, 2))))
    return Plan(
        draw(TEXT),
        loop,
        coolant.coolant(draw(st.sampled_from(["water", "propylene-glycol-10"]))),
        draw(floats(5.0, 45.0)),
        draw(floats(-400.0, 5000.0)),
        draw(floats(0.0, 40.0)),
        draw(floats(0.1, 20.0)),
        draw(floats(5.0, 95.0)),
        draw(floats(0.0, 120.0)),
        draw(TEXT),
        draw(st.none() | floats(0.0, 1e7)),
        draw(TEXT),
        draw(st.none() | floats(0.0, 1e7)),
        plan_tube,
        draw(st.sampled_from(METALS)),
        draw(st.lists(st.sampled_from(METALS), max_size=2).map(tuple)),
        case_air_by=draw(st.sampled_from([GIVEN, BALANCE])),
        case_heat=draw(floats(0.0, 3000.0)),
        case_vents=draw(floats(0.0, 1.0)),
        case_wall_loss=draw(floats(0.0, 100.0)),
        case_volume=draw(floats(0.001, 2.0)),
        case_fans=fans,
        on_air=parts_on_air,
        headers=headers(loop, fans),
        speed_curves=speed_curves(loop, fans, parts_on_air),
        ring_section=draw(floats(0.0005, 0.01)),
        squeeze=draw(floats(0.0, 0.45)),
        rings=draw(floats(0.0, 4.0)),
        hot_spot=draw(floats(0.0, 40.0)),
        house_rules=tuple(map(house_rule, draw(st.lists(NAMES, max_size=2, unique=True)))),
        **in_space(loop),
        case_size=draw(st.none() | point(0.05, 3.0)),
        clearance=draw(floats(0.0, 0.1)),
        tube_fitting=draw(st.sampled_from(["", *HOLDERS])),
        bend_radius=draw(floats(0.001, 0.1)),
        stock_lengths=draw(st.lists(floats(0.05, 10.0), min_size=1, max_size=3).map(tuple)),
        kerf=draw(floats(0.0, 0.02)),
        tip_limit=draw(floats(0.0, 3.1)),
        bottle_sizes=tuple(draw(st.lists(floats(1e-4, 0.01), min_size=1, max_size=3))),
        coolant_spare=draw(floats(0.0, 1.0)),
        before=tuple(draw(st.lists(WISHES, max_size=2))),
        hours_per_day=draw(floats(0.0, 24.0)),
        filled_on=draw(st.sampled_from(["", "2026-02-28", "2028-02-29"])),
        gauge_step=draw(floats(1.0, 1e4)),
        least_leak=draw(floats(1e-9, 1e-5)),
        squaring=draw(floats(0.0, 0.05)),
        spares=draw(floats(0.0, 100.0)),
        practice=draw(floats(0.0, 100.0)),
        practice_length=draw(floats(0.02, 2.0)),
        stretch=draw(st.none() | floats(-0.5, 0.5)),
        over_bend=draw(st.none() | floats(0.0, 0.5)),
        **{name: draw(st.sampled_from(list(known()))) for name, known in WORDS.items()},
    )
