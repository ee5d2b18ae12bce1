"""Rules: each fires where it should and nowhere else, the gravest speaks, and what is not known is silent."""

import csv
import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath import InputError, catalogue, demo_plan, rules, solve, tables
from loopmath import loop as tree
from loopmath.case import CaseFans, SpeedCurve
from loopmath.rules import COLUMNS, SIGNALS, Fact, firings
from loopmath.solution import solved
from loopmath.speed_curves import hunting

L_MIN = 1e-3 / 60

#: Rule -> (value at which it speaks, value at which it is silent, limit of the fact's own or None).
#: Inside units, typed by hand from the words of data/rules.csv; a new rule needs a case of its own here.
CASES = {
    "no-flow": (0.04 * L_MIN, 0.06 * L_MIN, None),
    "low-flow": (0.9 * L_MIN, 1.1 * L_MIN, None),
    "modest-flow": (1.7 * L_MIN, 1.9 * L_MIN, None),
    "much-flow": (6.1 * L_MIN, 5.9 * L_MIN, None),
    "backward-flow": (-0.01 * L_MIN, 0.01 * L_MIN, None),
    "fast-tube": (1.9, 1.7, None),
    "too-fast-tube": (2.6, 2.4, None),
    "pump-hot": (60.5, 59.5, 60.0),
    "tube-hot": (60.5, 59.5, 60.0),
    "coolant-limit": (45.5, 44.5, 45.0),
    "radiator-small": (15.5, 14.5, None),
    "radiator-too-small": (22.5, 21.5, None),
    "component-near": (7.5, 8.5, None),
    "component-over": (-0.5, 0.5, None),
    "mixed-metals": (0.26, 0.25, None),
    "apart-metals": (0.51, 0.50, None),
    "softening-near": (7.5, 8.5, None),
    "softening": (-0.5, 0.5, None),
    "bubbles-stay": (0.59, 0.61, None),
    "fan-stands": (-0.01, 0.0, None),
    "fan-stalls": (0.19, 0.21, None),
    "uncertain-flow": (2800.0, 1900.0, None),
    "loud": (35.5, 34.5, 35.0),
    "too-hot-to-say": (1.0, 0.0, None),
    "not-settled": (1.0, 0.0, None),
    "over-budget": (901.0, 899.0, 900.0),
    "flow-over-measured": (3.1 * L_MIN, 2.9 * L_MIN, 3.0 * L_MIN),
    "flow-under-measured": (0.9 * L_MIN, 1.1 * L_MIN, 1.0 * L_MIN),
    "air-over-measured": (0.021, 0.019, 0.02),
    "air-under-measured": (0.009, 0.011, 0.01),
    "header-over": (1.01, 1.0, 1.0),
    "header-near": (0.81, 0.80, None),
    "header-start": (1.51, 1.50, None),
    "warm-case": (12.5, 11.5, None),
    "hot-case": (20.5, 19.5, None),
    "air-backwards": (1.0, 0.0, None),
    "hunting": (1.9, 2.1, None),
}
RULES = {rule.id: rule for rule in rules.rules()}


def fact(name: str, value, limit=None) -> Fact:
    return Fact(RULES[name].quantity, "here", value, limit)


def test_every_rule_has_one_case_here_and_an_id_of_its_own():
    with (tables.DATA / "rules.csv").open(encoding="utf-8", newline="") as file:
        ids = [row["id"] for row in csv.DictReader(file)]
    assert len(set(ids)) == len(ids)
    assert set(CASES) == set(ids) == set(RULES)


def test_every_rule_says_why_and_what_to_do():
    for rule in RULES.values():
        assert rule.why.endswith(".")
        assert rule.action.endswith(".")
        assert rule.source


@pytest.mark.parametrize("name", CASES)
def test_a_rule_speaks_where_its_case_says_and_is_silent_beside_it(name):
    speaks, silent, limit = CASES[name]
    assert [rule.id for rule, _, _ in firings([fact(name, speaks, limit)])] == [name]
    assert name not in [rule.id for rule, _, _ in firings([fact(name, silent, limit)])]


@pytest.mark.parametrize("name", CASES)
def test_what_is_not_known_never_fires(name):
    assert firings([fact(name, math.nan, CASES[name][2])]) == []
    speaks = CASES[name][0]
    ((rule, _, mask),) = firings([fact(name, np.array([math.nan, speaks, math.nan]), CASES[name][2])])
    assert (rule.id, mask.tolist()) == (name, [False, True, False])


@pytest.mark.parametrize("name", CASES)
def test_a_row_of_the_table_tells_its_rule_in_both_systems(name):
    speaks, _, limit = CASES[name]
    for system in ("metric", "us"):
        table = rules.table([fact(name, speaks, limit)], system)
        assert list(table.columns) == list(COLUMNS)
        (row,) = table.itertuples(index=False)
        rule = RULES[name]
        assert row[:3] == (rule.signal, "here", rule.quantity)
        assert row[5:] == (rule.why, rule.action, rule.source)
        assert (row.value == row.limit == "") if rule.kind == "truth" else row.value and row.limit


def test_between_takes_both_its_ends():
    for value, fires in ((2099.9, False), (2100.0, True), (3500.0, True), (3500.1, False)):
        assert bool(firings([fact("uncertain-flow", value)])) is fires


def test_a_quantity_no_rule_knows_is_silent():
    assert firings([Fact("colour of the tube", "here", 1e9)]) == []


def test_a_limit_may_differ_from_design_to_design():
    ((rule, _, mask),) = firings([fact("loud", 36.0, np.array([30.0, 36.0, 40.0]))])
    assert (rule.id, mask.tolist()) == ("loud", [True, False, False])


# ------------------------------------------------------------------------------------------------ the gravest


@pytest.mark.parametrize(
    ("quantity", "value", "gravest"),
    [
        ("loop flow", 0.0, "no-flow"),
        ("loop flow", 0.5 * L_MIN, "low-flow"),
        ("loop flow", 1.5 * L_MIN, "modest-flow"),
        ("tube velocity", 3.0, "too-fast-tube"),
        ("coolant over room", 30.0, "radiator-too-small"),
        ("component below its limit by", -4.0, "component-over"),
        ("tube below softening by", -4.0, "softening"),
        ("case air over room", 25.0, "hot-case"),
    ],
)
def test_of_several_rules_on_one_fact_the_gravest_speaks_alone(quantity, value, gravest):
    assert [rule.id for rule, _, _ in firings([Fact(quantity, "here", value)])] == [gravest]


def test_each_design_gets_the_gravest_rule_of_its_own():
    found = firings([Fact("loop flow", "loop", L_MIN * np.array([0.0, 0.5, 1.5, 3.0, 7.0]))])
    assert {rule.id: mask.tolist() for rule, _, mask in found} == {
        "no-flow": [True, False, False, False, False],
        "low-flow": [False, True, False, False, False],
        "modest-flow": [False, False, True, False, False],
        "much-flow": [False, False, False, False, True],
    }


def test_the_same_quantity_at_two_places_speaks_twice_and_gravest_first():
    quantity = "component below its limit by"
    found = firings([Fact(quantity, "near", 5.0), Fact(quantity, "over", -1.0)])
    assert [(rule.id, f.where) for rule, f, _ in found] == [("component-over", "over"), ("component-near", "near")]


def test_rules_and_rows_come_gravest_first():
    facts = [replace(fact(n, speaks, limit), where=n) for n, (speaks, _, limit) in CASES.items()]
    ranks = [SIGNALS.index(signal) for signal in rules.table(facts)["signal"]]
    assert len(ranks) == len(CASES)
    assert ranks == sorted(ranks)


# ---------------------------------------------------------------------------------------------------- counting


@given(
    st.lists(
        st.tuples(st.floats(-1, 10), st.floats(-20, 40), st.floats(20, 50), st.sampled_from([0.0, 1.0, math.nan])),
        min_size=1,
        max_size=6,
    )
)
def test_counts_of_many_designs_are_those_of_each_alone(designs):
    def facts(flow, margin, sound, outside):
        return [
            Fact("loop flow", "loop", flow * L_MIN),
            Fact("component below its limit by", "one", margin),
            Fact("component below its limit by", "two", margin - 10),
            Fact("sound against your limit", "machine", sound, 35.0),
            Fact("coolant outside its data", "coolant", outside),
            Fact("other metals in one coolant", "metals", 0.55),
        ]

    together = rules.counts(facts(*np.array(designs).T), len(designs))
    assert set(together) == set(SIGNALS)
    for n, design in enumerate(designs):
        alone = Counter(rules.table(facts(*design))["signal"])
        assert {signal: int(number[n]) for signal, number in together.items()} == {s: alone[s] for s in SIGNALS}


# ---------------------------------------------------------------------------------------------------- bad rows


@pytest.fixture
def with_row(monkeypatch):
    """Return a function that puts one more rule, with some cells changed, into the table."""

    def put(**cells):
        good = tables.read_table("rules.csv")
        row = dict(good[0]) | {"id": "mine"} | cells
        monkeypatch.setattr(tables, "read_table", lambda name: (*good, row))
        rules.rules.cache_clear()

    yield put
    monkeypatch.undo()
    rules.rules.cache_clear()


def test_a_row_more_is_a_rule_more(with_row):
    with_row(signal="caution", limit="0.4 gal/min")
    assert len(rules.rules()) == len(RULES) + 1


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"signal": "alarm"}, "signal"),
        ({"signal": "Danger"}, "signal"),
        ({"signal": ""}, "signal"),
        ({"compare": "over"}, "compare"),
        ({"compare": ""}, "compare"),
        ({"limit": "lots"}, "limit"),
        ({"limit": ""}, "limit"),
        ({"limit": "3 kPa"}, "limit"),
        ({"limit": "nan L/min"}, "limit"),
        ({"kind": "difference", "limit": "8 degC"}, "limit"),
        ({"kind": "temperature", "limit": "8 delta_degC"}, "limit"),
        ({"kind": "voltage", "limit": "lots V"}, "limit"),
        ({"kind": "voltage", "limit": "0.25 A"}, "limit"),
        ({"kind": "count", "compare": "between", "limit": "2100"}, "limit"),
        ({"kind": "count", "compare": "between", "limit": "few to many"}, "limit"),
        ({"kind": "count", "compare": "between", "limit": "1 to 2 to 3"}, "limit"),
        ({"kind": "colour"}, "kind"),
    ],
)
def test_a_bad_row_is_refused_and_its_rule_and_column_named(with_row, cells, column):
    with_row(**cells)
    with pytest.raises(InputError) as caught:
        rules.rules()
    assert caught.value.field == f"rules.csv rule mine {column}"


# --------------------------------------------------------------------------------------------- through the solver


def signals(solution) -> list[tuple[str, str]]:
    return [(row.signal, row.quantity) for row in solution.warnings.itertuples()]


def test_every_fact_has_a_rule_and_every_rule_a_fact_somewhere():
    plan = demo_plan()
    (pump,) = plan.units(tree.PumpUnit)
    pair = tree.Parallel(pump, replace(pump, name="second pump"))
    twin = replace(plan, loop=tree.Series(*[pair if item is pump else item for item in plan.loop.items]))
    light = plan.set(**{"front radiator.metal": "aluminium 6000 series"})
    plans = (plan, light, twin, measured(), replace(plan, budget=900.0), plan.set(case_air="balance"))
    facts = {f.quantity for p in plans for f in solve(p).facts}
    curve = SpeedCurve("fans", ("front radiator",), temperatures=(30.0, 45.0), speeds=(0.3, 1.0))
    facts |= {f.quantity for f in hunting(replace(plan, speed_curves=(curve,))).facts}
    assert facts == {rule.quantity for rule in RULES.values()}


def measured(part: str = "", **ends):
    """Return the demo with measured ranges: wide ones everywhere, other ones on one part."""
    wide = {"measured_from": 0.0, "measured_to": 0.009}
    air = {"measured_air_from": 0.0, "measured_air_to": 0.9}
    plan = demo_plan()
    settings = {}
    for unit in plan.units(tree.Element):
        for kind in ("pump", "block", "radiator", "fan"):
            if (record := getattr(unit, kind, None)) is not None:
                new = wide | (air if kind == "radiator" else {}) | ({"measured_to": 0.9} if kind == "fan" else {})
                new |= ends if f"{unit.name} {kind}" == part else {}
                settings[f"{unit.name}.{kind}"] = replace(record, **new)
    return plan.set(**settings)


@pytest.mark.parametrize("end", ["from", "to"])
@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(
    ("part", "what", "where"),
    [
        ("pump pump", "flow", "pump"),
        ("graphics card block", "flow", "graphics card"),
        ("top radiator radiator", "flow", "top radiator"),
        ("top radiator radiator", "air flow", "air of top radiator"),
        ("top radiator fan", "air flow", "fans of top radiator"),
    ],
)
def test_a_part_followed_beyond_its_readings_is_a_caution_and_inside_them_none(part, what, where, side, end):
    solution = solve(measured())
    unit = next(u for u in solution.plan.units(tree.Element) if u.name == part.rpartition(" ")[0])
    if what == "flow":
        at = float(solution.flow.m) / (0.7 if part.startswith("pump") else 1.0)  # a pump's are carried to full speed
    else:
        at = solution.airs[unit.name].flow / unit.radiator.positions / (0.6 if part.endswith("fan") else 1.0)
    field = f"measured_{'air_' if where.startswith('air') else ''}{end}"
    found = solve(measured(part, **{field: (1 + 0.01 * side) * float(at)})).warnings
    mine = found[found["quantity"].str.contains("what was measured")]
    outside = side > 0 if end == "from" else side < 0
    assert [tuple(row) for row in mine[["signal", "where"]].to_numpy()] == ([("caution", where)] if outside else [])
    if outside:
        assert mine.iloc[0]["quantity"] == f"{what} {'under' if end == 'from' else 'over'} what was measured"


def test_parts_dearer_than_the_plan_allows_are_told_with_what_they_cost():
    plan = demo_plan()
    assert "cost against your budget" not in set(solve(plan).warnings["quantity"])
    (row,) = [r for r in solve(replace(plan, budget=100.0)).warnings.itertuples() if r.quantity.startswith("cost")]
    # Single parts, 3 x 14 and 2 x 16 of fans, 6 x 8 and 12 x 7 of fittings, 1.91 m at 7, coolant at 14 a litre;
    # two dead legs with a tee at 9 each, closed by a tap at 16 and a cap at 6.
    litres = 1e3 * solve(plan).state["volume"]
    assert float(row.value) == round(
        46 + 68 + 72 + 118 + 69 + 60 + 42 + 32 + 48 + 84 + 2 * 9 + 16 + 6 + 1.91 * 7 + 14 * litres
    )
    assert solve(replace(plan, budget=1000.0)).warnings["quantity"].str.startswith("cost").sum() == 0


def test_the_demo_plan_calls_for_nothing_graver_than_a_notice():
    found = signals(solve(demo_plan()))
    assert found
    assert {signal for signal, _ in found} == {"notice"}


def breathing(**settings):
    """Return the demo with the air of its case worked out: radiators blow in, one fan at the rear draws out."""
    settings = {f"{name} radiator.blows": "case" for name in ("front", "top")} | settings
    rear = CaseFans("rear fan", catalogue.part("fan", "quiet fan 120 mm, 1300 rpm"), speed=0.6)
    return replace(demo_plan(), case_fans=(rear,), case_air_by="balance", case_wall_loss=0.0).set(**settings)


def test_a_case_that_breathes_calls_for_nothing_graver_than_a_notice():
    plan = breathing(case_fan_speed=0.8, fan_speed=0.7)
    assert {signal for signal, _ in signals(solve(plan))} <= {"notice"}


def test_case_air_warms_with_the_heat_left_in_it_until_it_warns():
    heats = np.arange(0.0, 1500.0, 25.0)
    plan = breathing(fan_speed=0.9, coolant="water")
    assert solve(plan).state["case_air"] - plan.room_air < 12.0
    over = solved(plan.set(case_heat=heats)).state["case_air"] - plan.room_air
    assert np.all(np.diff(over[~np.isnan(over)]) > 0)
    said = {}
    for limit in (12.0, 20.0):  # data/rules.csv
        for side in (-1, 0):
            at = int(np.argmax(over > limit)) + side
            found = [s for s, q in signals(solved(plan.set(case_heat=heats[at]))) if q == "case air over room"]
            said[limit, side] = found
    assert said == {(12.0, -1): [], (12.0, 0): ["caution"], (20.0, -1): ["caution"], (20.0, 0): ["warning"]}


def test_where_case_air_is_given_it_is_not_judged():
    quantities = {f.quantity for f in solve(demo_plan().set(case_air_over_room=30.0)).facts}
    assert quantities & {"case air over room", "air drawn backwards"} == set()


def test_air_that_others_draw_backwards_is_told_at_its_radiator_or_fan():
    def told(plan):
        return [r.where for r in solved(plan).warnings.itertuples() if r.quantity == "air drawn backwards"]

    assert told(breathing()) == []
    shut = breathing(case_vents=0.0)
    # Radiators blow in with all their might and the only way out is against a slow fan that blows in.
    inwards = replace(shut, case_fans=tuple(replace(f, blows="in", speed=0.3) for f in shut.case_fans))
    assert told(inwards.set(fan_speed=1.0)) == ["rear fan"]
    # Four strong fans draw out and nothing but the radiators lets air in; slow, they would rather blow out.
    drawn = breathing(case_vents=0.0, **{"top radiator.blows": "room", "top radiator.air": "case"})
    strong = catalogue.part("fan", "radiator fan 120 mm, 2000 rpm")
    drawn = replace(drawn, case_fans=(CaseFans("rear fans", strong, 4.0),))
    assert told(drawn.set(**{"front radiator.fan_speed": 0.3, "top radiator.fan_speed": 0.3})) == ["top radiator"]


def test_an_aluminium_radiator_beside_copper_is_a_danger():
    for change in (
        {"front radiator.metal": "aluminium 6000 series"},
        {"radiator": "3 x 120 mm, slim, medium fins, aluminium"},
    ):
        first = solve(demo_plan().set(**change)).warnings.iloc[0]
        assert first.signal == "danger"
        assert first.quantity == "aluminium with a copper-family metal"
        assert "aluminium" in first["where"]
        # Indices of data/metals.csv: aluminium 0.90 V, the noblest metal it can meet here 0.30 or 0.35 V.
        assert first.value in ("0.60 V", "0.55 V")


def test_a_fan_below_its_least_speed_is_warned_of_at_its_radiator():
    # Least speed of the demo's fans: 20 % (data/fans.csv).
    plan = demo_plan()
    slow = plan.set(**{"top radiator.fan_speed": 0.19})
    places = [r.where for r in solve(slow).warnings.itertuples() if r.quantity == "fan speed over its least speed by"]
    assert places == ["fans of top radiator"]
    assert ("warning", "fan speed over its least speed by") in signals(solve(slow))
    at_least = solve(plan.set(**{"top radiator.fan_speed": 0.20}))
    assert "fan speed over its least speed by" not in [quantity for _, quantity in signals(at_least)]


@pytest.mark.parametrize(
    ("fields", "warned"),
    [
        ({"pull_speed": 0.19, "fans_in_series": 2}, True),
        ({"pull_speed": 0.19}, False),  # no fan stands behind the core
        ({"fan_side": "pull", "pull_speed": 0.5, "fan_speed": 0.1}, False),  # nor one before it
        ({"fan_side": "pull", "pull_speed": 0.1, "fan_speed": 0.5}, True),
        ({"second_fans": 1.0, "second_speed": 0.19}, True),
        ({"second_fans": 0.0, "second_speed": 0.19}, False),
        ({"second_fans": 1.0, "second_speed": 0.8, "fan_speed": 0.19}, True),
        ({"second_fans": 2.0, "second_speed": 0.8, "fan_speed": 0.19}, False),  # none is left at the first speed
    ],
)
def test_every_fan_of_a_radiator_is_judged_by_its_own_speed(fields, warned):
    # Least speed of the demo's fans: 20 % (data/fans.csv); the top radiator has two positions.
    plan = demo_plan().with_loop(lambda leaf: replace(leaf, **fields) if leaf.name == "top radiator" else leaf)
    said = {r.where for r in solved(plan).warnings.itertuples() if r.quantity == "fan speed over its least speed by"}
    assert said == ({"fans of top radiator"} if warned else set())


def test_each_of_many_designs_is_judged_by_the_fans_it_has():
    second = {"second_fans": np.array([0.0, 1.0, 2.0]), "second_speed": 0.1}
    plan = demo_plan().with_loop(lambda leaf: replace(leaf, **second) if leaf.name == "top radiator" else leaf)
    facts = [f for f in solved(plan).facts if f.where == "fans of top radiator"]
    # The demo's fans turn at 60 %, 20 % is their least speed (data/plans/podcast_booth.toml, data/fans.csv).
    over = next(f.value for f in facts if f.quantity == "fan speed over its least speed by")
    assert over == pytest.approx([0.4, -0.1, -0.1])
    # Beside fans that stand those that turn say how far they are pressed back; none says it where all stand.
    share = next(f.value for f in facts if f.quantity == "share of the fan's free flow")
    assert np.isfinite(share).tolist() == [True, True, False]


def test_a_fan_of_the_case_below_its_least_speed_is_warned_of():
    rear = CaseFans("rear fan", catalogue.part("fan", "quiet fan 120 mm, 1300 rpm"), speed=0.19)
    quantity = "fan speed over its least speed by"
    slow = replace(demo_plan(), case_fans=(rear,))
    assert [r.where for r in solve(slow).warnings.itertuples() if r.quantity == quantity] == ["rear fan"]
    at_least = replace(slow, case_fans=(replace(rear, speed=0.20),))
    assert quantity not in set(solve(at_least).warnings["quantity"])


def test_a_pump_that_stands_is_a_danger_and_no_temperature_is_stated():
    # Least speed of the demo's pump: 25 % (data/pumps.csv).
    answer = solve(demo_plan().set(pump_speed="10 %"))
    assert signals(answer)[0] == ("danger", "loop flow")
    assert answer.state["flow"] == 0.0
    for key in ("coolant_supply", "coolant_return", "coolant_over_room", "processor", "graphics card"):
        assert np.isnan(answer.state[key]), key
    assert answer.components["temperature [degC]"].isna().all()
    quantities = {rule.quantity for rule in RULES.values() if rule.kind in ("temperature", "difference")}
    assert quantities & {quantity for _, quantity in signals(answer)} == set()


def test_a_loop_too_hot_for_its_data_is_a_danger_and_only_that_is_said_of_temperature():
    answer = solved(demo_plan().set(fan_speed=0.1))
    assert signals(answer)[0] == ("danger", "coolant outside its data")
    assert np.isnan(answer.state["coolant_return"])


def test_warnings_counted_over_designs_are_those_of_each_design():
    plan = demo_plan()
    speeds = np.array([0.1, 0.3, 0.5, 0.7, 1.0])
    together = solve(plan.set(pump_speed=speeds)).warning_counts()
    for n, speed in enumerate(speeds):
        alone = Counter(signal for signal, _ in signals(solve(plan.set(pump_speed=float(speed)))))
        counted = {key: int(values[n]) for key, values in together.items()}
        assert {key: number for key, number in counted.items() if number} == alone


def test_units_of_the_reader_change_the_words_and_not_the_warnings():
    plan = demo_plan().with_loop(lambda leaf: replace(leaf, heat=600.0) if isinstance(leaf, tree.Source) else leaf)
    metric, us = solve(plan).warned("metric"), solve(plan).warned("us")
    assert [row.quantity for row in metric] == [row.quantity for row in us]
    assert any(row.value.endswith("K") for row in metric)
    assert not any(row.value.endswith((" K", "°C", "L/min", "m/s")) for row in us)


def test_a_metal_beside_the_plan_is_judged_with_its_parts():
    plan = replace(demo_plan(), also_wetted=("aluminium 6000 series",))
    first = solve(plan).warnings.iloc[0]
    assert (first.signal, first.quantity) == ("danger", "aluminium with a copper-family metal")


def test_a_measured_machine_that_stands_is_followed_nowhere():
    plan = demo_plan()
    (pump,) = plan.units(tree.PumpUnit)
    idle = replace(pump, name="idle", speed=0.1, pump=replace(pump.pump, measured_from=0.0, measured_to=1e-4))
    assert float(idle.pump.turning(idle.speed)) == 0.0
    twin = replace(plan, loop=tree.Series(*plan.loop.items, idle))
    values = [f.value for f in solve(twin).facts if f.where == "idle" and "measured" in f.quantity]
    assert len(values) == 2
    assert np.all(np.isnan(values))


def test_a_pump_is_judged_at_the_speed_it_turns_at_and_air_by_the_position():
    plan = demo_plan()
    (pump,) = plan.units(tree.PumpUnit)
    part = replace(pump.pump, measured_from=0.0, measured_to=0.009)
    solution = solve(plan.set(**{"pump.pump": part, "front radiator.fans_in_series": 2}))
    facts = {(f.where, f.quantity): f.value for f in solution.facts}
    assert float(facts["pump", "flow over what was measured"]) == pytest.approx(float(solution.flow.m) / 0.7, rel=1e-12)
    core = replace(plan.units(tree.RadiatorUnit)[0].radiator, measured_air_from=0.0, measured_air_to=0.9)
    double = solve(plan.set(**{"front radiator.radiator": core, "front radiator.fans_in_series": 2}))
    each = double.airs["front radiator"].flow / 3  # three positions, whatever stands on either face
    (fact,) = (f for f in double.facts if f.quantity == "air flow over what was measured")
    assert float(fact.value) == pytest.approx(float(each), rel=1e-12)


def test_half_a_percent_beyond_a_reading_is_no_other_flow():
    solution = solve(measured())
    at = float(solution.flow.m)
    for beyond, said in ((1.004, 0), (1.006, 1)):
        found = solve(measured("graphics card block", measured_to=at / beyond)).warnings
        assert sum(found["quantity"] == "flow over what was measured") == said
