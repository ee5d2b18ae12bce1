"""Machines whose air is worked out, for tests: a few by hand, and random ones."""

from dataclasses import replace

from hypothesis import strategies as st

from loopmath import catalogue
from loopmath import loop as tree
from loopmath.case import IN, OUT, AirPart, CaseFans
from loopmath.laws.coolant import coolant
from loopmath.plan import BALANCE, GIVEN, Plan

CORES = ["3 x 120 mm, slim, medium fins", "2 x 120 mm, standard depth, medium fins", "1 x 120 mm, slim, medium fins"]
QUIET = catalogue.part("fan", "quiet fan 120 mm, 1300 rpm")
FAST = catalogue.part("fan", "radiator fan 120 mm, 2000 rpm")


def radiator(name, speed=0.7, core=CORES[0], fan=FAST, **fields):
    """Return a radiator unit."""
    return tree.RadiatorUnit(name, catalogue.part("radiator", core), fan, speed, **fields)


def block(name, heat, kind="processor block, fine fins"):
    """Return a block with its heat."""
    return tree.Source(name, catalogue.part("block", kind), heat)


def machine(*radiators, heats=(150.0, 200.0), layout="series", **fields):
    """Return a plan of a pump, blocks and radiators; its case is balanced unless `fields` say otherwise."""
    blocks = [block(f"block {n + 1}", heat) for n, heat in enumerate(heats)]
    if layout == "parallel" and len(blocks) > 1:
        blocks = [tree.Parallel(*blocks)]
    cores = [tree.Parallel(*radiators)] if layout == "parallel" and len(radiators) > 1 else radiators
    pump = tree.PumpUnit("pump", catalogue.part("pump", "standard pump, 3.7 m"), 0.8)
    return Plan(
        "machine",
        tree.Series(pump, *blocks, *cores),
        coolant("water"),
        **{"case_air_by": BALANCE, "case_heat": 40.0} | fields,
    )


def exhaust(count=1.0, speed=0.7, name="rear fan", fan=QUIET, blows=OUT, filter_loss=1.0):
    """Return fans of the case."""
    return CaseFans(name, fan, count, speed, blows, filter_loss)


def without_loss(unit):
    """Return a radiator unit that takes nothing from the coolant's pressure."""
    return replace(unit, radiator=replace(unit.radiator, linear=0.0, quadratic=0.0))


@st.composite
def machines(draw, balanced=None, least_speed=0.3):
    """Return a machine of one to three radiators in any arrangement, with fans of the case and parts on air."""
    speeds = st.floats(least_speed, 1.0)
    units, ends = [], []
    for name in ["front", "top", "rear"][: draw(st.integers(1, 3))]:
        places = [*tree.PLACES, *ends]
        air = draw(st.sampled_from(places))
        unit = radiator(
            name,
            draw(speeds),
            draw(st.sampled_from(CORES)),
            draw(st.sampled_from([QUIET, FAST])),
            fans_in_series=draw(st.sampled_from([1, 1, 2])),
            air=air,
            blows=draw(st.sampled_from(["", *tree.PLACES])),
            fan_side=draw(st.sampled_from([tree.PUSH, tree.PULL])),
            pull_speed=draw(st.none() | speeds),
            filter_loss=draw(st.floats(0.0, 20.0)),
        )
        if air in ends:
            ends.remove(air)
        ends.append(name)
        units.append(unit)
    rows = {u.air for u in units} | {u.name for u in units if u.air not in tree.PLACES}
    for place, unit in enumerate(units):
        if unit.name not in rows and draw(st.booleans()):
            second = draw(st.integers(0, int(unit.radiator.positions)))
            units[place] = replace(unit, second_fans=float(second), second_speed=draw(st.just(0.0) | speeds))
    fans = tuple(
        exhaust(
            draw(st.integers(1, 4)),
            draw(st.just(0.0) | speeds),
            f"case fan {n}",
            blows=draw(st.sampled_from([IN, OUT])),
        )
        for n in range(draw(st.integers(0, 2)))
    )
    how = draw(st.sampled_from([GIVEN, BALANCE])) if balanced is None else (BALANCE if balanced else GIVEN)
    return machine(
        *units,
        heats=tuple(draw(st.lists(st.floats(20.0, 300.0), min_size=1, max_size=3))),
        layout=draw(st.sampled_from(["series", "parallel"])),
        room_air=draw(st.floats(10.0, 35.0)),
        height=draw(st.floats(0.0, 3000.0)),
        case_air_by=how,
        case_heat=draw(st.floats(0.0, 150.0)),
        case_vents=draw(st.sampled_from([0.0, 0.002, 0.012]) | st.floats(0.0, 0.05)),
        case_wall_loss=draw(st.floats(0.5, 10.0)),
        case_fans=fans,
        on_air=(AirPart("memory", "memory", draw(st.floats(0.0, 40.0)), 85.0, 1.5),) * draw(st.integers(0, 1)),
    )
