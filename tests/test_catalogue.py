"""
The invented catalogue against the sense of the trade.

Ranges without a source beside them are common practice, no source: what parts of this kind usually are.
"""

import re
from itertools import combinations, pairwise

import numpy as np
import pytest
from fluids.fittings import Darby

from loopmath import catalogue, loop, tables, thermal
from loopmath.laws import coolant as coolants
from loopmath.laws import turbomachine
from loopmath.loss import Loss

LITRES_PER_HOUR = 1e-3 / 3600
#: Flow at which parts are compared: 3.6 L/min, inside the usual 2 to 6. [m3/s]
FLOW = 6e-5
GRAVITY = 9.80665
WATER = coolants.coolant("water")
#: Positions, fan size in mm, depth, fins, anything else.
RADIATOR_NAME = re.compile(r"(\d) x (\d+) mm, (.+?), (\w+) fins(, aluminium|, ports at both ends)?")


def shipped(kind):
    """Return the parts of one kind in data/ by name; the user's own parts are not judged here."""
    return {name: catalogue.part(kind, name) for name in tables.by_name(catalogue.CATALOGUE[kind][0])}


def drop(losses, flow=FLOW, temperature=20.0):
    """Return what a part without wall friction takes from water. [Pa]"""
    whole = sum(losses.values(), Loss())
    assert not whole.friction
    density, viscosity, _, _ = WATER.properties(temperature)
    linear = viscosity * whole.linear + whole.fixed_linear
    return float(linear * flow + (density * whole.quadratic + whole.fixed_quadratic) * flow**2)


# ------------------------------------------------------------------------------------------------------- names


@pytest.mark.parametrize("kind", catalogue.CATALOGUE)
def test_no_name_holds_a_code_of_letters_and_numbers(kind):
    """Names describe: a number stands by itself or in a size (14/10, 1/2), never inside a word."""
    for name in shipped(kind):
        assert not re.search(r"[A-Za-z]-?\d|\d-?[A-Za-z]", name), name


def test_a_radiator_is_named_by_what_it_is():
    fins = {"wide": (9, 11), "medium": (13, 15), "fine": (18, 22)}
    depths = {"slim": (28, 30), "standard depth": (45, 45), "deep": (60, 60)}
    for name, radiator in shipped("radiator").items():
        positions, size, depth, density, rest = RADIATOR_NAME.fullmatch(name).groups()
        assert (radiator.positions, radiator.fan_size) == (float(positions), pytest.approx(float(size) / 1e3))
        assert depths[depth][0] <= round(1e3 * radiator.depth, 6) <= depths[depth][1], name
        assert fins[density][0] <= radiator.fins_per_inch <= fins[density][1], name
        assert radiator.metal.startswith("aluminium") == (rest == ", aluminium"), name
        assert radiator.passes == (1 if rest == ", ports at both ends" else 2), name
        assert radiator.fan_size < 0.2 or radiator.positions <= 2, name


@pytest.mark.parametrize("kind", ["pump", "fan", "tube", "reservoir"])
def test_the_numbers_in_a_name_are_those_of_the_part(kind):
    """An inch is 25.4 mm by definition; names give sizes, rpm, heads and volumes as the part has them."""
    form, read = {
        "pump": (r".+, ([\d.]+) m", lambda p: [p.shutoff_head]),
        "fan": (r".+ fan (\d+) mm, (\d+) rpm", lambda p: [1e3 * p.size, p.full_rpm]),
        "tube": (r".+? (\S+)(?:/| in bore, )(\S+?) (?:mm|in outside)", None),
        "reservoir": (r".+, (\d+) mL.*", lambda p: [1e6 * p.volume]),
    }[kind]
    for name, part in shipped(kind).items():
        said = re.fullmatch(form, name).groups()
        if kind == "tube" and name.endswith("in outside"):
            inches = [float(a) / float(b) for a, b in (size.split("/") for size in said)]
            assert [part.bore, part.outside] == pytest.approx([0.0254 * i for i in inches], rel=1e-12), name
        elif kind == "tube":
            assert [1e3 * part.outside, 1e3 * part.bore] == pytest.approx([float(s) for s in said], rel=1e-12), name
        else:
            assert read(part) == pytest.approx([float(s) for s in said], rel=1e-12), name


def test_only_a_tee_has_tee_in_its_name():
    """`loop.blocks_in_series` knows the tees of a parallel group by these three letters."""
    for name in shipped("fitting"):
        assert ("tee" in name) == name.startswith("tee,"), name


# ------------------------------------------------------------------------------------- what the coolant touches


def test_areas_and_channels_come_in_the_inside_unit():
    """By hand: 0.3 mm and 110 cm2 of the fine block, 6 cm2 of a fitting, as their tables say."""
    block, fitting = shipped("block")["processor block, fine fins"], shipped("fitting")["sharp 90 degree fitting"]
    assert (block.channel, block.wetted_area, fitting.wetted_area) == pytest.approx((3e-4, 0.011, 6e-4), rel=1e-12)


@pytest.mark.parametrize("kind", ["pump", "block", "fitting", "inline", "reservoir"])
def test_the_wetted_metal_of_a_part_is_of_the_usual_size(kind):
    for name, part in shipped(kind).items():
        assert part.wetted_area is None or 1e-4 <= part.wetted_area <= 0.05, name
        assert part.wetted_area is None or part.metal, name
        channel = getattr(part, "channel", None)
        assert channel is None or 1e-4 <= channel <= 3e-3, name


# ------------------------------------------------------------------------------------------------ pumps and fans


@pytest.mark.parametrize("name", shipped("pump"))
def test_a_pump_is_of_the_usual_size(name):
    pump = shipped("pump")[name]
    assert 1.5 <= pump.shutoff_head <= 10
    assert 300 <= pump.runout_flow / LITRES_PER_HOUR <= 2000
    assert 20 <= pump.sound_level <= 50
    assert pump.power_shutoff < pump.power_runout


@pytest.mark.parametrize("name", shipped("pump"))
def test_a_pump_gives_less_to_the_coolant_than_it_draws(name):
    """Small pumps turn 5 to 40 % of their power into head at best (from memory); all of that ends as heat."""
    pump = shipped("pump")[name]
    flow = np.linspace(0, pump.runout_flow, 201)[1:-1]
    head = turbomachine.head_curve(flow, pump.shutoff_head, pump.runout_flow, pump.exponent)
    best = np.max(998.2 * GRAVITY * head * flow / pump.power(flow, 1.0))
    assert 0.05 < best < 0.4
    assert best < pump.heat_share <= 1


@pytest.mark.parametrize("name", shipped("fan"))
def test_a_fan_gives_less_to_the_air_than_it_draws(name):
    """Fans this small turn 3 to 40 % of their power into pressure at best (from memory)."""
    fan = shipped("fan")[name]
    flow = np.linspace(0, fan.free_flow, 201)
    pressure = turbomachine.head_curve(flow, fan.shutoff_pressure, fan.free_flow, fan.exponent)
    assert 0.03 < np.max(pressure * flow) / fan.power < 0.4
    assert 15 <= fan.sound_level <= 50


def test_of_fans_of_one_size_the_faster_is_stronger_and_louder_and_draws_more():
    compared = 0
    for slow, fast in combinations(sorted(shipped("fan").values(), key=lambda f: f.full_rpm), 2):
        if abs(slow.size - fast.size) < 1e-6:
            compared += 1
            assert slow.full_rpm < fast.full_rpm
            for field in ("free_flow", "shutoff_pressure", "sound_level", "power"):
                assert getattr(slow, field) < getattr(fast, field), (slow.name, fast.name, field)
    assert compared >= 15


def test_a_line_is_faster_than_the_line_before_it():
    """Quiet fans turn slower than radiator fans, and those slower than fast ones, in every size."""
    rows = tables.read_table("fans.csv")
    for size in {row["size_mm"] for row in rows}:
        speeds = [
            [r["full_rpm"] for r in rows if r["size_mm"] == size and r["line"] == line]
            for line in ("quiet", "radiator", "fast")
        ]
        assert all(max(slow) < min(fast) for slow, fast in pairwise(speeds)), size


# ---------------------------------------------------------------------------------------------------- radiators


def watts(radiator, fan):
    """Return the heat a radiator takes from water coming in 10 K over the air, its fans at full speed. [W]"""
    unit = loop.RadiatorUnit("one", radiator, fan, 1.0)
    cooler, _ = thermal.cooler_of(unit, 25.0, 1.184)
    fluid = WATER.properties(35.0)
    capacity = fluid[0] * fluid[2] * FLOW
    return float(10.0 * thermal.cooler_pull(cooler, FLOW, capacity, fluid) * capacity)


def fans_of(size, line):
    """Return the fans of one size [m] and line."""
    rows = [row for row in tables.read_table("fans.csv") if row["line"] == line]
    return [catalogue.part("fan", row["name"]) for row in rows if abs(row["size_mm"] / 1e3 - size) < 1e-6]


@pytest.mark.parametrize("name", shipped("radiator"))
def test_a_radiator_with_quiet_fans_takes_60_to_160_w_at_10_k_for_every_120_mm_square(name):
    """Usual: about 100 W for a 120 mm position. Larger positions are scaled by their area."""
    radiator = shipped("radiator")[name]
    squares = radiator.positions * (radiator.fan_size / 0.12) ** 2
    fans = fans_of(radiator.fan_size, "quiet")
    assert fans
    for fan in fans:
        assert 60 < watts(radiator, fan) / squares < 160, fan.name


@pytest.mark.parametrize(("place", "field"), [*enumerate(["positions", "fan_size", "depth", "fins_per_inch"])])
def test_more_of_a_radiator_takes_more_heat_with_fast_fans_at_full_speed(place, field):
    """
    Of two radiators whose names differ in one thing only, the one with more of it takes more heat.

    With fast fans: slow ones cannot press enough air through a deep core or fine fins, which is why the
    catalogue has no deep core with fine fins (with a quiet fan at 60 % it would take 60 W a position).
    """
    compared = 0
    for pair in combinations(shipped("radiator").values(), 2):
        less, more = sorted(pair, key=lambda radiator: getattr(radiator, field))
        words = [RADIATOR_NAME.fullmatch(radiator.name).groups() for radiator in (less, more)]
        if [a == b for a, b in zip(*words, strict=True)] == [other != place for other in range(5)]:
            compared += 1
            taken = [watts(radiator, fans_of(radiator.fan_size, "fast")[0]) for radiator in (less, more)]
            assert taken[0] < taken[1], (less.name, more.name)
    assert compared >= 10


@pytest.mark.parametrize("name", shipped("radiator"))
def test_a_stronger_fan_of_its_size_takes_more_heat_from_a_radiator(name):
    radiator = shipped("radiator")[name]
    fans = [f for f in shipped("fan").values() if abs(f.size - radiator.fan_size) < 1e-6]
    taken = [watts(radiator, f) for f in sorted(fans, key=lambda f: f.full_rpm)]
    assert len(taken) >= 3
    assert np.all(np.diff(taken) > 0)


@pytest.mark.parametrize("name", shipped("radiator"))
def test_a_radiator_takes_little_pressure_and_holds_some_coolant(name):
    """Usual: radiators are the easy part of a loop, at most a few kPa at 3.6 L/min; tens to hundreds of mL a piece."""
    radiator = shipped("radiator")[name]
    loss = radiator.losses()["radiator"]
    (duct,) = loss.friction
    density, viscosity, _, _ = WATER.properties(20.0)
    reynolds = density * FLOW / duct.area * duct.diameter / viscosity * duct.laminar_factor
    assert reynolds < 2040  # so that 64/Re is its friction factor
    friction = 64 / reynolds * duct.length / duct.diameter * density * (FLOW / duct.area) ** 2 / 2
    assert 100 < friction + density * loss.quadratic * FLOW**2 < 6000
    assert 40e-6 < radiator.volume() < 900e-6


# --------------------------------------------------------------------------------------------- blocks, in-line parts

#: Resistance from case to coolant at 3.6 L/min by what a block cools [K/W].
BLOCK_RESISTANCE = {
    "processor": (0.05, 0.15),
    "graphics card": (0.04, 0.12),
    "memory": (0.2, 1.0),
    "voltage regulator": (0.1, 0.5),
    "drive": (0.3, 1.5),
}


@pytest.mark.parametrize("name", shipped("block"))
def test_a_block_is_of_the_usual_size(name):
    block = shipped("block")[name]
    assert 1e3 < drop(block.losses()) < 25e3
    low, high = BLOCK_RESISTANCE[block.cools]
    assert low < block.thermal_resistance(FLOW) < high
    assert block.reference_flow == pytest.approx(FLOW)


def test_of_processor_blocks_finer_fins_cool_better_and_take_more_pressure():
    blocks = [catalogue.part("block", f"processor block, {fins} fins") for fins in ("coarse", "fine", "very fine")]
    assert np.all(np.diff([b.thermal_resistance(FLOW) for b in blocks]) < 0)
    assert np.all(np.diff([drop(b.losses()) for b in blocks]) > 0)


@pytest.mark.parametrize("name", shipped("inline"))
def test_a_part_in_the_line_takes_less_pressure_than_a_processor_block(name):
    part = shipped("inline")[name]
    assert 100 < drop(part.losses()) < 10.5e3


# ----------------------------------------------------------------------------------------- tubes, fittings, tanks


@pytest.mark.parametrize("name", shipped("tube"))
def test_a_tube_can_be_made_and_bent(name):
    """Rigid tube is bent no tighter than 1.5 times its outside to the centreline; soft tube kinks before twice."""
    tube = shipped("tube")[name]
    assert 1e-3 <= (tube.outside - tube.bore) / 2 <= 3.5e-3
    assert tube.bend_radius >= (1.5 if tube.rigid else 2.0) * tube.outside
    assert tube.rigid == (tube.material in ("PETG", "PMMA", "copper"))


def test_of_soft_tubes_of_one_material_the_thinner_wall_needs_the_wider_bend():
    compared = 0
    soft = [t for t in shipped("tube").values() if not t.rigid]
    for one, two in combinations(soft, 2):
        if one.material == two.material and one.bore == two.bore and one.outside != two.outside:
            thin, thick = sorted((one, two), key=lambda t: t.outside)
            compared += 1
            assert thin.bend_radius / thin.outside > thick.bend_radius / thick.outside, (thin.name, thick.name)
    assert compared >= 2


@pytest.mark.parametrize("name", [n for n, t in shipped("tube").items() if t.material != "copper"])
def test_no_tube_is_rated_warmer_than_its_plastic_may_be_for_long(name):
    """Rated limits against the service limit of data/plastics.csv, or its deflection temperature less 10 K."""
    tube = shipped("tube")[name]
    row = tables.by_name("plastics.csv")[tube.material]
    soft = row["hdt_low_degc"] == ""
    assert tube.coolant_limit <= (row["continuous_limit_degc"] if soft else row["hdt_low_degc"] - 10)


#: Row of losses.csv -> the library's words for the same constants.
LIBRARY_WORDS = {
    "sharp 90 degree fitting": "Elbow, 90°, mitered, 1 weld, (90°)",
    "swept 90 degree fitting": "Elbow, 90°, threaded, standard, (r/D = 1)",
    "long-swept 90 degree fitting": "Elbow, 90°, threaded, long radius, (r/D = 1.5)",
    "45 degree fitting": "Elbow, 45°, threaded standard, (r/D = 1)",
    "sharp 45 degree fitting": "Elbow, 45°, mitered, 1 weld, (45°)",
    "180 degree fitting, close": "Elbow, 180°, threaded, close-return bend, (r/D = 1)",
    "180 degree fitting, wide": "Elbow, 180°, all, (r/D = 1.5)",
    "tee, through the run": "Tee, Run-through, threaded, (r/D = 1)",
    "tee, into the branch": "Tee, Through-branch, (as elbow), threaded, (r/D = 1)",
    "drilled cross, through the run": "Tee, Run-through, stub-in branch",
    "drilled cross, into a branch": "Tee, Through-branch, (as elbow), stub-in branch",
    "ball valve, full bore": "Valve, Ball valve, standard, β = 1",
    "plug valve, straight through": "Valve, Plug valve, straight through",
    "plug valve, three-way": "Valve, Plug valve, three-way (flow through)",
    "angle valve, 90 degree": "Valve, Angle valve, 90°, full line size, β = 1",
    "check valve, flap": "Valve, Swing check",
}


def test_every_constant_of_darby_is_that_of_the_library():
    """Darby 2001, constants by way of the fluids library's table."""
    rows = {n: r for n, r in tables.by_name("losses.csv").items() if r["source"] == "Darby2001"}
    assert set(rows) == set(LIBRARY_WORDS)
    for name, row in rows.items():
        assert (row["k1"], row["ki"], row["kd_in03"]) == Darby[LIBRARY_WORDS[name]], name


def test_a_loss_of_nothing_says_why():
    rows = tables.by_name("losses.csv").values()
    nothing = {row["name"] for row in rows if row["k1"] == row["ki"] == 0}
    assert nothing == {"straight, equal bore", "no flow passes"}
    assert all(row["basis"].startswith("by definition") for row in rows if row["name"] in nothing)


@pytest.mark.parametrize(
    ("easy", "hard"),
    [
        ("extender, 40 mm", "ball valve, full bore"),
        ("ball valve, full bore", "plug valve, straight through"),
        ("long-swept 90 degree fitting", "swept 90 degree fitting"),
        ("swept 90 degree fitting", "sharp 90 degree fitting"),
        ("45 degree fitting", "rotary 45 degree fitting"),
        ("rotary 45 degree fitting", "rotary 90 degree fitting"),
        ("180 degree fitting, wide", "180 degree fitting, close"),
        ("tee, through the run", "tee, into the branch"),
        ("manifold cross, through the run", "manifold cross, into a branch"),
        ("three-way valve", "angle valve"),
    ],
)
def test_the_easier_way_round_takes_less_pressure(easy, hard):
    taken = [drop({"one": catalogue.part("fitting", name).loss()}) for name in (easy, hard)]
    assert taken[0] < taken[1]


@pytest.mark.parametrize("name", shipped("fitting"))
def test_a_fitting_takes_less_pressure_than_any_processor_block(name):
    fitting = shipped("fitting")[name]
    least = min(drop(b.losses()) for b in shipped("block").values() if b.cools == "processor")
    assert drop({"one": fitting.loss()}) < least
    assert 0.007 <= fitting.bore <= 0.010  # the port is 8 to 9 mm


@pytest.mark.parametrize("name", [n for n in shipped("fitting") if n.endswith(" tube") or " tube, " in n])
def test_a_straight_or_compression_fitting_has_a_tube_it_fits(name):
    """The size in its name is the outside of a rigid tube, or bore and outside of a soft one, in the catalogue."""
    rigid = "hard" in name
    size = re.search(r"for (.+?) (?:hard|soft) tube", name).group(1)
    if rigid:
        ends = [f" {size.removesuffix(' mm')}/", f", {size} outside"]
    else:
        ends = [f" {size}"]
    tubes = [n for n, t in shipped("tube").items() if t.rigid == rigid]
    assert [n for n in tubes if any(end in n for end in ends)]


@pytest.mark.parametrize("name", shipped("reservoir"))
def test_a_reservoir_holds_a_usual_amount(name):
    reservoir = shipped("reservoir")[name]
    assert 100e-6 <= reservoir.volume <= 1e-3
    # Sharp entry 0.5 and exit 1.0, as in losses.csv.
    ends = [tables.by_name("losses.csv")[n] for n in ("tank entry, sharp", "tank exit")]
    assert (reservoir.k1, reservoir.ki) == (sum(e["k1"] for e in ends), sum(e["ki"] for e in ends))


@pytest.mark.parametrize("kind", catalogue.CATALOGUE)
def test_every_part_has_a_price_that_is_not_silly(kind):
    """Plain numbers in no currency; a tube by the metre."""
    for name, part in shipped(kind).items():
        price = part.price_per_m if kind == "tube" else part.price
        assert price is not None, name
        assert 1 <= price <= 300, name
