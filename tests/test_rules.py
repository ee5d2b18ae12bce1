"""Rules: each fires where it should and nowhere else, the gravest speaks, and what is not known is silent."""

import csv
import math
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath import InputError, catalogue, demo_plan, height_words, rules, solve, tables, wetted
from loopmath import loop as tree
from loopmath.case import CaseFans, SpeedCurve
from loopmath.drift import drift
from loopmath.filling import filling
from loopmath.passages import void_of
from loopmath.routes import Box
from loopmath.rules import COLUMNS, CONTACT, FITS, SIGNALS, Clause, Fact, HouseRule, clauses, firings
from loopmath.run_checks import checks
from loopmath.service_log import Entry, Log
from loopmath.solution import solved
from loopmath.speed_curves import hunting
from loopmath.tube_ends import tube_ends
from loopmath.units import INSIDE
from loopmath.upkeep import upkeep

L_MIN = 1e-3 / 60


class Case(NamedTuple):
    """
    A rule and what it judges: values at which it speaks and is silent, the fact's own limit, what else is known.

    `beside` are the other facts with which it speaks; with each of `beside_silent` instead it does not, though the
    first value still speaks.
    """

    speaks: Any
    silent: Any
    limit: Any = None
    beside: dict = {}
    beside_silent: tuple[dict, ...] = ()


INHIBITED, BARE = {"inhibitor": 1.0}, {"inhibitor": 0.0}
PARTICLES, DYE = {"coolant colour": "particles"}, {"coolant colour": "dye"}
BEYOND, WITHIN = {"trend beyond its scatter": 1.0}, {"trend beyond its scatter": 0.0}


def glycol(share: float) -> dict:
    return {"glycol in the coolant": share}


#: Inside units, typed by hand from the words of data/rules.csv; a new rule needs a case of its own here. Flows stand
#: beside their limits, everything else is silent right at it.
CASES = {
    "no-flow": Case(0.01 * L_MIN, 0.06 * L_MIN),
    "low-flow": Case(0.9 * L_MIN, 1.1 * L_MIN),
    "modest-flow": Case(1.7 * L_MIN, 1.9 * L_MIN),
    "much-flow": Case(6.1 * L_MIN, 5.9 * L_MIN),
    "backward-flow": Case(-0.1 * L_MIN, 0.0),
    "fast-tube": Case(1.9, 1.8),
    "too-fast-tube": Case(2.6, 2.5),
    "pump-hot": Case(60.5, 60.0, 60.0),
    "tube-hot": Case(60.5, 60.0, 60.0),
    "coolant-limit": Case(45.5, 45.0, 45.0),
    "radiator-small": Case(15.5, 15.0),
    "radiator-too-small": Case(22.5, 22.0),
    "component-near": Case(7.5, 8.0),
    "component-over": Case(-0.5, 0.0),
    "mixed-metals": Case(0.26, 0.25),
    "zinc-with-copper": Case(0.26, 0.25),
    "far-metals": Case(0.51, 0.50, 0.25, BARE, (INHIBITED, {})),
    "far-metals-inhibited": Case(0.51, 0.50, 0.25, INHIBITED, (BARE, {})),
    "metals-apart": Case(0.26, 0.25, 0.25, BARE, (INHIBITED, {})),
    "metals-apart-inhibited": Case(0.16, 0.15, 0.15, INHIBITED, (BARE, {})),
    "sea-water-disagrees": Case(0.26, 0.25, 0.25),
    "big-cathode": Case(11.0, 10.0, None, BARE, (INHIBITED, {})),
    "big-cathode-inhibited": Case(11.0, 10.0, None, INHIBITED, (BARE, {})),
    "worn-plating-bad": Case(0.51, 0.50),
    "worn-plating": Case(0.26, 0.25),
    "metal-not-stated": Case(1.0, 0.0),
    "softening-near": Case(7.5, 8.0),
    "softening": Case(-0.5, 0.0),
    "bubbles-stay": Case(0.59, 0.60),
    "fan-stands": Case(-0.01, 0.0),
    "fan-stalls": Case(0.19, 0.20),
    "uncertain-flow": Case(2800.0, 1900.0),
    "loud": Case(35.5, 35.0, 35.0),
    "too-hot-to-say": Case(1.0, 0.0),
    "not-settled": Case(1.0, 0.0),
    "over-budget": Case(901.0, 900.0, 900.0),
    "flow-over-measured": Case(3.1 * L_MIN, 3.0 * L_MIN, 3.0 * L_MIN),
    "flow-under-measured": Case(0.9 * L_MIN, 1.0 * L_MIN, 1.0 * L_MIN),
    "air-over-measured": Case(0.021, 0.02, 0.02),
    "air-under-measured": Case(0.009, 0.01, 0.01),
    "header-over": Case(1.01, 1.0, 1.0),
    "header-near": Case(0.81, 0.80),
    "header-start": Case(1.51, 1.50),
    "warm-case": Case(12.5, 12.0),
    "hot-case": Case(20.5, 20.0),
    "air-backwards": Case(1.0, 0.0),
    "hunting": Case(1.9, 2.0),
    "no-biocide": Case(0.0, 1.0, None, glycol(0.0), (glycol(0.2), {})),
    "glycol-feeds": Case(0.0, 1.0, None, glycol(0.19), (glycol(0.005), glycol(0.2), {})),
    "thin-glycol": Case(1.0, 0.0, None, glycol(0.1), (glycol(0.2), glycol(0.0), {})),
    "glycol-uninhibited": Case(0.0, 1.0, None, glycol(0.2), (glycol(0.005), {})),
    "poison": Case("ethylene glycol", "propylene glycol"),
    "thick-coolant": Case(0.36, 0.35),
    "particles-settle": Case("particles", "clear"),
    "dye-stains": Case("dye", "clear"),
    "particles-clog": Case(0.0004, 0.0005, None, PARTICLES, (DYE, {})),
    "particles-slow": Case(0.29, 0.30, None, PARTICLES, (DYE, {})),
    "softening-unknown": Case(1.0, 0.0),
    "tube-service": Case(-0.5, 0.0),
    "tank-soft": Case(-0.5, 0.0),
    "tank-near": Case(7.5, 8.0),
    "plasticiser": Case("plasticised PVC", "rigid PVC"),
    "ring-loose": Case(0.09, 0.10),
    "ring-light": Case(0.12, 0.15),
    "ring-tight": Case(0.31, 0.30),
    "sharp-edge": Case("sharp", "chamfered"),
    "plain-edge": Case("deburred", "chamfered"),
    "seal-hot": Case(-0.5, 0.0),
    "end-near": Case(7.5, 8.0),
    "end-soft": Case(-0.5, 0.0),
    "end-soft-briefly": Case(-0.5, 0.0),
    "end-bends-briefly": Case(-10.5, -10.0),
    "wall-gives": Case(0.003, 0.002),
    "wall-necks": Case(0.03, 0.02),
    "end-held-little": Case(2.9, 3.0),
    "end-not-held": Case(0.9, 1.0),
    "tops-up-often": Case(0.9, 1.0),
    "tops-up": Case(2.9, 3.0),
    "tube-through": Case(-0.0001, 0.0, 0.003),
    "tube-near": Case(0.0029, 0.003, 0.003),
    "bend-in-fitting": Case(-0.0001, 0.0, 0.014),
    "bend-near-fitting": Case(0.0139, 0.014, 0.014),
    "bends-near": Case(0.0209, 0.021, 0.021),
    "ring-not-reached": Case(-0.0001, 0.0, 0.0),
    "fitting-misfits": Case(0.0003, 0.00015),
    "bend-tight": Case(0.0279, 0.028, 0.028),
    "heat-runs-over": Case(-0.0001, 0.0),
    "hole-near-rim": Case(0.0049, 0.005),
    "hole-breaks-out": Case(-0.0001, 0.0),
    "bend-in-hole": Case(1.0, 0.0),
    "tube-in-pass-through": Case(1.0, 0.0),
    "hole-askew": Case(math.radians(5.1), math.radians(4.9)),
    "panel-not-met": Case(1.0, 0.0),
    "not-parallel": Case(math.radians(0.4), math.radians(0.29)),
    "not-in-line": Case(0.0011, 0.001),
    "opening-blocked": Case(-0.0001, 0.0),
    "hangs-on-opening": Case(1.0, 0.0),
    "stays-in": Case(0.0, 1.0),
    "grows-stuck": Case(0.0011, 0.001, 0.001),
    "fittings-differ": Case(1.0, 0.0),
    "way-not-found": Case(1.0, 0.0),
    "drifts-to-room": Case(0.12, 0.10, None, BEYOND, (WITHIN, {})),
    "drifts-to-coolant": Case(0.12, 0.10, None, BEYOND, (WITHIN, {})),
    "flow-falls": Case(0.12, 0.10, None, BEYOND, (WITHIN, {})),
    "loses-water": Case(32e-6, 30e-6, 30e-6),
    "fill-low": Case(0.012, 0.010),
    "drain-high": Case(0.006, 0.005),
    "air-stays": Case(60e-6, 50e-6),
    "much-topped-up": Case(800e-6, 760e-6, 760e-6),
    "ph-low": Case(4.9, 5.0),
    "ph-high": Case(10.6, 10.5),
    "flow-far": Case(0.49, 0.50),
    "no-drain": Case(0.0, 1.0),
    "pump-over-tank": Case(0.012, 0.010),
    "bubbles-rise": Case(0.9, 1.0),
}
NO, YES = "inhibitor is no", "inhibitor is yes"
#: What warns where two things touch (and what else must be so), typed by hand; what the table calls fitting is silent.
TOUCHING = {
    ("water", "tin", NO): "notice",
    ("water", "aluminium", NO): "caution",
    ("water", "aluminium", YES): "notice",
    ("water", "zinc", ""): "warning",
    ("water", "steel", NO): "warning",
    ("water", "steel", YES): "caution",
    ("water", "PC", ""): "notice",
    ("water", "silicone", ""): "notice",
    ("water", "plasticised PVC", ""): "notice",
    **{
        (f"{base} glycol", material, also): signal
        for base in ("propylene", "ethylene")
        for material, also, signal in (
            ("aluminium", YES, "notice"),
            ("aluminium", NO, "warning"),
            ("zinc", "", "warning"),
            ("steel", YES, "notice"),
            ("steel", NO, "warning"),
            ("FKM", "", "caution"),
            ("PMMA", "", "notice"),
            ("PC", "", "caution"),
            ("plasticised PVC", "", "notice"),
        )
    },
    **{
        (agent, material, ""): signal
        for agent, materials in (
            ("dye", {"PETG": "notice", "PMMA": "notice", "PC": "notice", "rigid PVC": "notice"}),
            ("dye", {"plasticised PVC": "caution", "silicone": "caution"}),
            ("particles", {"pump": "caution", "filter": "warning", "plasticised PVC": "notice", "silicone": "notice"}),
            ("soapy water", {"PC": "notice"}),
            ("mineral oil", {"EPDM": "danger", "silicone": "caution", "PC": "caution", "PMMA": "caution"}),
            ("mineral oil", {"PETG": "notice", "POM": "notice"}),
            ("petroleum jelly", {"EPDM": "danger", "silicone": "caution", "PMMA": "caution"}),
            ("petroleum jelly", {"PETG": "notice", "POM": "notice"}),
            ("silicone grease", {"silicone": "warning"}),
            ("isopropyl alcohol", {"PMMA": "warning", "PC": "caution", "PETG": "notice", "NBR": "notice"}),
            ("acetone", {"PMMA": "danger", "PC": "danger", "PETG": "danger", "rigid PVC": "danger"}),
            ("acetone", {"NBR": "warning", "FKM": "warning", "silicone": "caution"}),
            ("vinegar", {"copper": "notice", "nickel": "notice", "aluminium": "warning", "zinc": "warning"}),
            ("vinegar", {"NBR": "notice", "FKM": "notice", "POM": "notice"}),
            ("silver", {"nickel": "caution"}),
        )
        for material, signal in materials.items()
    },
}
RULES = {rule.id: rule for rule in rules.rules() if rule.quantity != CONTACT}
CONTACTS = {rule.id: rule for rule in rules.rules() if rule.quantity == CONTACT}


def fact(name: str, value, limit=None, where: str = "here") -> Fact:
    return Fact(RULES[name].quantity, where, value, limit)


def fired(name: str, value, beside: dict | None = None) -> list[str]:
    """Return the rules that fire at the fact of a case, beside other facts; those are its own if none are given."""
    case = CASES[name]
    mine = fact(name, value, case.limit)
    others = [Fact(q, "elsewhere", v) for q, v in (case.beside if beside is None else beside).items()]
    return [rule.id for rule, found, _ in firings([mine, *others]) if found is mine]


def rows_of(name: str) -> list[dict[str, str]]:
    with (tables.DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_rule_has_one_case_here_and_an_id_of_its_own():
    ids = [row["id"] for row in rows_of("rules.csv")]
    assert len(set(ids)) == len(ids) > 60
    assert set(CASES) == set(ids) == set(RULES)
    assert rules.problems() == []


def test_every_rule_says_why_and_what_to_do():
    for rule in rules.rules():
        assert rule.why.endswith(".")
        assert rule.action.endswith(".")
        assert rule.source
        assert "!" not in rule.why + rule.action


@pytest.mark.parametrize("name", CASES)
def test_a_rule_speaks_where_its_case_says_and_is_silent_beside_it(name):
    assert fired(name, CASES[name].speaks) == [name]
    assert name not in fired(name, CASES[name].silent)


@pytest.mark.parametrize(("name", "beside"), [(n, b) for n, case in CASES.items() for b in case.beside_silent])
def test_a_rule_is_silent_where_a_further_clause_of_it_does_not_hold(name, beside):
    assert name not in fired(name, CASES[name].speaks, beside)


def test_every_further_clause_has_a_case_without_it():
    """A row with two clauses more and one silent case would let one of the two be dropped."""
    for name, rule in RULES.items():
        assert {c.quantity for c in rule.clauses[1:]} == set(CASES[name].beside), name
        at_least = len(rule.clauses) if len(rule.clauses) > 1 else 0
        assert len(CASES[name].beside_silent) >= at_least, name


@pytest.mark.parametrize("name", [n for n, case in CASES.items() if not isinstance(case.speaks, str)])
def test_what_is_not_known_never_fires(name):
    case = CASES[name]
    assert fired(name, math.nan) == []
    for quantity, value in case.beside.items():
        if not isinstance(value, str):
            assert name not in fired(name, case.speaks, {quantity: math.nan})
    others = [Fact(q, "elsewhere", v) for q, v in case.beside.items()]
    mine = fact(name, np.array([math.nan, case.speaks, math.nan]), case.limit)
    found = [(rule.id, mask.tolist()) for rule, f, mask in firings([mine, *others]) if f is mine]
    assert found == [(name, [False, True, False])]


@pytest.mark.parametrize("name", CASES)
def test_a_word_no_rule_lists_never_fires(name):
    if RULES[name].kind == "words":
        assert fired(name, "") == fired(name, "something else") == []


@pytest.mark.parametrize("name", [n for n, case in CASES.items() if not isinstance(case.speaks, str)])
def test_many_designs_at_once_are_judged_as_each_alone(name):
    """Values, limits and further facts may each be arrays."""
    case = CASES[name]
    silent = case.beside_silent[0] if case.beside_silent else case.beside
    designs = [(value, other) for value in (case.speaks, case.silent, math.nan) for other in (case.beside, silent)]
    if any(isinstance(value, str) for value in case.beside.values()):
        designs = [(value, case.beside) for value, _ in designs]  # words are the same in every design
    limit = None if case.limit is None else np.full(len(designs), case.limit)
    values = np.array([value for value, _ in designs])
    others = [
        Fact(q, "elsewhere", v if isinstance(v, str) else np.array([other[q] for _, other in designs]))
        for q, v in case.beside.items()
    ]
    mine = fact(name, values, limit)
    together = {rule.id: mask.tolist() for rule, f, mask in firings([mine, *others]) if f is mine}
    alone = [fired(name, *design) for design in designs]
    assert together == {n: [n in found for found in alone] for n in {n for found in alone for n in found}}
    assert together[name][0]


@pytest.mark.parametrize("name", CASES)
def test_a_row_of_the_table_tells_its_rule_in_both_systems(name):
    case, rule = CASES[name], RULES[name]
    others = [Fact(q, "elsewhere", v) for q, v in case.beside.items()]
    for system in ("metric", "us"):
        table = rules.table([fact(name, case.speaks, case.limit), *others], system)
        assert list(table.columns) == list(COLUMNS)
        (row,) = [r for r in table.itertuples(index=False) if r.where == "here"]
        words = f"{rule.quantity}: {case.speaks}" if rule.kind == "words" else rule.quantity
        lacks = words in (
            "inhibitor",
            "biocide",
            "way out for a tube",
            "drain in the plan",
        )  # every rule on them is of a lack
        words = f"no {words}" if lacks else words
        assert row[:3] == (rule.signal, "here", words)
        assert row[5:] == (rule.why, rule.action, rule.source)
        if rule.kind in ("truth", "words"):
            assert row.value == row.limit == ""
        else:  # what is printed tells the two apart
            assert row.value
            assert row.limit
            assert row.value != row.limit


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("wall-gives", 0.0025, ("0.25 %", "0.2 %")),
        ("end-held-little", 2.64, ("2.64", "3")),
        ("tops-up-often", 0.7, ("0.7", "1")),
        ("fan-stands", -0.01, ("−1 %", "0 %")),
        ("fan-stalls", 0.17, ("17 %", "20 %")),
        ("ring-light", 0.12, ("12 %", "10 % to 14 %")),
        ("uncertain-flow", 2500.4, ("2500", "2100 to 3500")),
        ("mixed-metals", 0.55, ("0.55 V", "0.25 V")),
        ("radiator-small", 16.0, ("16.0 K", "15.0 K")),
        ("low-flow", 0.5 * L_MIN, ("0.50 L/min", "1.00 L/min")),
    ],
)
def test_value_and_limit_are_printed_so_that_one_sees_why(name, value, words):
    (row,) = rules.warnings_of([fact(name, value)])
    assert (row.value, row.limit) == words


def test_the_limit_that_is_printed_is_that_of_the_rule_that_fired():
    """The fact brings the limit of its surroundings; the graver rule has one of its own."""
    bare = Fact("inhibitor", "coolant", 0.0)
    for volts, limit in ((0.51, "0.50 V"), (0.5, "0.15 V")):
        (row,) = rules.warnings_of([Fact("difference of anodic index", "tin with gold", volts, 0.15), bare])
        assert row.limit == limit


def test_between_takes_both_its_ends():
    for name, inside, outside in (
        ("uncertain-flow", (2100.0, 3500.0), (2099.9, 3500.1)),
        ("ring-light", (0.10, 0.14), (0.0999, 0.1401)),
    ):
        assert all(fired(name, value) == [name] for value in inside)
        assert all(name not in fired(name, value) for value in outside)


def test_a_quantity_no_rule_knows_is_silent():
    assert firings([Fact("colour of the tube", "here", 1e9)]) == []


def test_a_limit_may_differ_from_design_to_design():
    ((rule, _, mask),) = firings([fact("loud", 36.0, np.array([30.0, 36.0, 40.0]))])
    assert (rule.id, mask.tolist()) == ("loud", [True, False, False])


# ------------------------------------------------------------------------------------------- what may touch what


def contact(pair: str, where: str = "here") -> Fact:
    return Fact(CONTACT, where, pair)


def test_every_contact_that_warns_has_its_signal_here():
    found = {(row["agent"], row["material"], row["also"]): row["signal"] for row in rows_of("contacts.csv")}
    assert {pair: signal for pair, signal in found.items() if signal != FITS} == TOUCHING
    assert len(found) == len(rows_of("contacts.csv"))
    assert len(CONTACTS) == len(TOUCHING)


def inhibited(also: str) -> Fact:
    return Fact("inhibitor", "coolant", float(also == YES))


@pytest.mark.parametrize(("agent", "material", "also"), TOUCHING)
def test_two_things_that_touch_warn_as_they_should_and_as_no_other_pair_does(agent, material, also):
    pair, there = f"{agent} on {material}", inhibited(also)
    (row,) = rules.warnings_of([contact(pair), there])
    assert (row.signal, row.where, row.quantity) == (TOUCHING[agent, material, also], "here", pair)
    (rule,) = (rule for rule, _, _ in firings([contact(pair), there]))
    assert CONTACTS[rule.id] is rule
    for other in (f"{material} on {agent}", f"{agent} on", material, agent, f"{agent} on {material}s"):
        assert firings([contact(other), there]) == []


@pytest.mark.parametrize(
    ("pair", "bare", "held"),
    [
        ("water on tin", ["notice"], []),
        ("water on aluminium", ["caution"], ["notice"]),
        ("water on steel", ["warning"], ["caution"]),
        ("water on zinc", ["warning"], ["warning"]),
        ("ethylene glycol on aluminium", ["warning"], ["notice"]),
    ],
)
def test_an_inhibitor_makes_a_contact_milder_where_it_does(pair, bare, held):
    for also, expected in ((NO, bare), (YES, held)):
        assert [row.signal for row in rules.warnings_of([contact(pair), inhibited(also)])] == expected
    many = rules.counts([contact(pair), Fact("inhibitor", "coolant", np.array([0.0, 1.0]))], 2)
    for signal, number in many.items():
        assert number.tolist() == [bare.count(signal), held.count(signal)]


def test_what_fits_is_silent():
    named = {pair[:2] for pair in TOUCHING}
    good = [
        f"{r['agent']} on {r['material']}"
        for r in rows_of("contacts.csv")
        if r["signal"] == FITS and (r["agent"], r["material"]) not in named
    ]
    assert len(good) > 60
    assert firings([contact(pair) for pair in good]) == []


def test_two_things_that_touch_one_place_both_speak():
    """Alcohol on a tube does not make glycol in it any better."""
    pairs = ["isopropyl alcohol on PMMA", "propylene glycol on PMMA", "dye on PMMA"]
    found = rules.warnings_of([contact(pair, "one tube") for pair in pairs])
    assert [row.quantity for row in found] == pairs
    again = rules.warnings_of([contact(pairs[0], "one tube"), contact(pairs[0], "one tube")])
    assert len(again) == 1


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
        ("tank below softening by", -4.0, "tank-soft"),
        ("tube end below softening by", -4.0, "end-soft"),
        ("case air over room", 25.0, "hot-case"),
        ("difference where plating is worn through", 0.95, "worn-plating-bad"),
        ("wall pressed in by its ring", 0.05, "wall-necks"),
        ("grip over thrust", 0.5, "end-not-held"),
        ("months to the next top-up", 0.5, "tops-up-often"),
        ("gap beside a tube", -0.001, "tube-through"),
        ("straight past a fitting", -0.001, "bend-in-fitting"),
        ("left beside a hole", -0.001, "hole-breaks-out"),
    ],
)
def test_of_several_rules_on_one_fact_the_gravest_speaks_alone(quantity, value, gravest):
    own = 0.014 if "fitting" in quantity or "gap" in quantity else None  # limits of the fact's own, in m
    assert [rule.id for rule, _, _ in firings([Fact(quantity, "here", value, own)])] == [gravest]


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
    facts = [fact(n, case.speaks, case.limit, where=n) for n, case in CASES.items() if not case.beside]
    ranks = [SIGNALS.index(signal) for signal in rules.table(facts)["signal"]]
    assert len(ranks) == len(facts) > 50
    assert ranks == sorted(ranks)
    assert [SIGNALS.index(rule.signal) for rule in rules.rules()] == sorted(
        SIGNALS.index(rule.signal) for rule in rules.rules()
    )


# ---------------------------------------------------------------------------------------------------- counting


@given(
    st.lists(
        st.tuples(
            st.floats(-1, 10),
            st.floats(-20, 40),
            st.floats(20, 50),
            st.sampled_from([0.0, 1.0, math.nan]),
            st.floats(0, 0.5),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_counts_of_many_designs_are_those_of_each_alone(designs):
    house = (
        HouseRule("mine", "component below its limit by less than 5 K and loop flow above 2 L/min"),
        HouseRule("bad", "the moon is full"),
    )

    def facts(flow, margin, sound, outside, share):
        return [
            Fact("loop flow", "loop", flow * L_MIN),
            Fact("component below its limit by", "one", margin),
            Fact("component below its limit by", "two", margin - 10),
            Fact("sound against your limit", "machine", sound, 35.0),
            Fact("coolant outside its data", "coolant", outside),
            Fact("aluminium or magnesium with a copper-family metal", "metals", 0.55),
            Fact("biocide", "coolant", 0.0),
            Fact("glycol in the coolant", "coolant", share),
            contact("mineral oil on EPDM"),
        ]

    together = rules.counts(facts(*np.array(designs).T), len(designs), house)
    assert set(together) == set(SIGNALS)
    for n, design in enumerate(designs):
        alone = Counter(rules.table(facts(*design), house=house)["signal"])
        assert {signal: int(number[n]) for signal, number in together.items()} == {s: alone[s] for s in SIGNALS}


# ------------------------------------------------------------------------------------------ conditions in words


def only(condition: str) -> Clause:
    (clause,) = clauses("here", condition)
    return clause


@pytest.mark.parametrize(
    ("condition", "quantity", "compare", "limit"),
    [
        ("loop flow below 1.5 L/min", "loop flow", "below", 1.5 * L_MIN),
        ("loop flow less than 90 L/hour", "loop flow", "below", 1.5 * L_MIN),
        ("tube velocity above 1.8 m/s", "tube velocity", "above", 1.8),
        ("tube velocity more than 180 cm/s", "tube velocity", "above", 1.8),
        ("Reynolds number in the tube from 2100 to 3500", "Reynolds number in the tube", "from", (2100.0, 3500.0)),
        ("O-ring squeeze from 10 % to 14 %", "O-ring squeeze", "from", (0.10, 0.14)),
        ("inhibitor is yes", "inhibitor", "is", "yes"),
        ("inhibitor is not yes", "inhibitor", "is not", "yes"),
        ("tube material is PETG", "tube material", "is", ("PETG",)),
        ("tube material is not PETG or PMMA", "tube material", "is not", ("PETG", "PMMA")),
        ("contact is mineral oil on EPDM", "contact", "is", ("mineral oil on EPDM",)),
        # Names that begin alike, and names in which a comparison seems to stand.
        ("component below its limit by less than 8 K", "component below its limit by", "below", 8.0),
        ("tube below its service temperature by above 3 K", "tube below its service temperature by", "above", 3.0),
        ("fan speed over its least speed by below 5 %", "fan speed over its least speed by", "below", 0.05),
        ("share of a header's rating above 80 %", "share of a header's rating", "above", 0.8),
        ("coolant against your limit above its limit", "coolant against your limit", "above", None),
        ("  loop   flow\n below  1.5\tL/min ", "loop flow", "below", 1.5 * L_MIN),
        # As somebody in the US would write them.
        ("loop flow below 1 gal/min", "loop flow", "below", 231 * 0.0254**3 / 60),
        ("coolant over room above 27 delta_degF", "coolant over room", "above", 15.0),
        ("coolant against your limit above 113 degF", "coolant against your limit", "above", 45.0),
        ("narrowest channel less than 1/64 in", "narrowest channel", "below", 0.0254 / 64),
        ("tube velocity above 6 ft/s", "tube velocity", "above", 6 * 0.3048),
        ("sound against your limit above 30 dB", "sound against your limit", "above", 30.0),
    ],
)
def test_a_clause_is_read_from_words(condition, quantity, compare, limit):
    clause = only(condition)
    assert (clause.quantity, clause.compare) == (quantity, compare)
    if isinstance(limit, float):
        assert clause.limit == pytest.approx(limit, rel=1e-12, abs=0.0)
    else:
        assert clause.limit == limit
    assert clause.kind == {row["name"]: row["kind"] for row in rows_of("quantities.csv")}[quantity]


@pytest.mark.parametrize("order", [("tube", "tube wall"), ("tube wall", "tube")])
def test_of_two_names_that_begin_alike_the_longer_is_meant(monkeypatch, order):
    monkeypatch.setattr(rules, "quantities", lambda: dict.fromkeys(order, "count"))
    assert only("tube wall above 2").quantity == "tube wall"
    assert only("tube above 2").quantity == "tube"


def test_several_clauses_are_joined_by_and():
    found = clauses("here", "biocide is no and glycol in the coolant above 0.5 % and loop flow below 2 L/min")
    assert [(c.quantity, c.compare) for c in found] == [
        ("biocide", "is"),
        ("glycol in the coolant", "above"),
        ("loop flow", "below"),
    ]


@pytest.mark.parametrize("word", ["below", "less than"])
def test_below_and_its_synonym_are_silent_at_the_limit(word):
    held = [bool(only(f"tube velocity {word} 2 m/s").holds(v)) for v in (1.999, 2.0, 2.001, math.nan)]
    assert held == [True, False, False, False]


@pytest.mark.parametrize("word", ["above", "more than"])
def test_above_and_its_synonym_are_silent_at_the_limit(word):
    held = [bool(only(f"tube velocity {word} 2 m/s").holds(v)) for v in (1.999, 2.0, 2.001, math.nan)]
    assert held == [False, False, True, False]


@pytest.mark.parametrize(
    ("words", "held"),
    [
        ("is yes", [True, False, False]),
        ("is no", [False, True, False]),
        ("is not yes", [False, True, False]),
        ("is not no", [True, False, False]),
    ],
)
def test_what_is_so_or_not_so_holds_where_it_is_known(words, held):
    assert only(f"biocide {words}").holds(np.array([1.0, 0.0, math.nan])).tolist() == held


def test_words_are_compared_whole():
    assert [bool(only("tube edge is sharp or deburred").holds(v)) for v in ("sharp", "deburred", "chamfered")] == [
        True,
        True,
        False,
    ]
    assert [bool(only("tube edge is not sharp").holds(v)) for v in ("sharp", "deburred")] == [False, True]
    assert not only("tube material is PC").holds("rigid PVC")


@pytest.mark.parametrize(
    ("condition", "nearest"),
    [
        ("tube material is PTEG", "PETG"),
        ("coolant colour is dyed", "dye"),
        ("coolant base is propylene", "propylene glycol"),
        ("tube edge is sharpe", "sharp"),
        ("contact is mineral oil on EDPM", "mineral oil on EPDM"),
        ("contact is soapy water on EPDM", "silicone grease on silicone"),  # it fits, so no fact tells of it
    ],
)
def test_a_word_that_can_never_be_is_refused_with_the_nearest(condition, nearest):
    with pytest.raises(InputError, match=re.escape(nearest) if "soapy" not in condition else "nearest"):
        rules.clauses("here", condition)


def test_a_limit_of_its_own_that_a_fact_does_not_have_never_holds():
    assert not only("coolant against your limit above its limit").holds(1e9, None)


#: A condition that cannot be read, what of it is named, and words its message must have.
BAD = [
    ("loop flow over 1 L/min", "comparison", "one of: 'above', 'more than', 'below'"),
    ("loop flow", "comparison", "less than"),
    ("loop flow below", "limit", "no limit of its own"),
    ("tube material is", "limit", "no limit of its own"),
    ("", "quantity", "Such as: loop flow below 1 L/min"),
    ("lop flow below 1 L/min", "quantity", "nearest: 'loop flow'"),
    ("coolant over rom above 10 K", "quantity", "coolant over room"),
    ("loop flow below 1 L/min and inhibiter is no", "quantity", "nearest: 'inhibitor'"),
    ("loop flow below lots", "limit", "'3.5 L/min'"),
    ("loop flow below 1", "limit", "a number with a unit"),
    ("loop flow below 3 kPa", "limit", "a quantity of the right kind"),
    ("loop flow below nan L/min", "limit", "a number with a unit"),
    ("loop flow below its limit", "limit", "loop flow has no limit of its own"),
    ("coolant over room above 8 degC", "limit", "Write K or delta_degF"),
    ("coolant against your limit above 8 delta_degC", "limit", "a temperature"),
    ("difference of anodic index above 0.25 A", "limit", "'12 V'"),
    ("Reynolds number in the tube from 2100", "limit", "LOW to HIGH"),
    ("Reynolds number in the tube from few to many", "limit", "a number"),
    ("Reynolds number in the tube from 1 to 2 to 3", "limit", "LOW to HIGH"),
    ("Reynolds number in the tube from 3500 to 2100", "limit", "the lower limit first"),
    ("loop flow is 1 L/min", "limit", "above, below, from"),
    (
        "loop flow below 1 L/min or coolant over room above 10 K",
        "limit",
        "clauses joined by and. For or write two rules",
    ),
    ("loop flow below 1 or 2 L/min", "limit", "For or write two rules"),
    ("tube edge is sharp or loop flow below 1 L/min", "limit", "For or write two rules"),
    ("biocide is no and inhibitor is yes or no", "limit", "For or write two rules"),
    ("inhibitor above 1", "limit", "is, is not"),
    ("tube material below PETG", "limit", "is, is not"),
    ("inhibitor is maybe", "limit", "yes"),
]


@pytest.mark.parametrize(("condition", "what", "words"), BAD)
def test_a_condition_that_cannot_be_read_says_where_and_what_is_accepted(condition, what, words):
    with pytest.raises(InputError) as caught:
        clauses("rule of mine", condition)
    assert caught.value.field == f"rule of mine, {what}"
    assert words in str(caught.value)


def test_every_kind_of_quantity_is_known_and_every_row_read_once():
    rows = rows_of("quantities.csv")
    assert rules.quantities() == {row["name"]: row["kind"] for row in rows}
    assert len({row["name"] for row in rows}) == len(rows)
    assert {row["kind"] for row in rows} <= {*INSIDE, "truth", "words"}
    assert {row["own_limit"] for row in rows} == {"", "yes"}
    assert not [row["name"] for row in rows if " and " in row["name"]]  # where conditions are split


# -------------------------------------------------------------------------------------------- more than one clause


def house(when: str, **more: str) -> tuple[HouseRule, ...]:
    return (HouseRule("mine", when, **more),)


def spoken(facts: list[Fact], own: tuple[HouseRule, ...]) -> list[tuple[str, str]]:
    return [(rule.id, f.where) for rule, f, _ in firings(facts, own) if rule.house]


def test_a_further_clause_is_judged_at_the_same_place_if_that_has_it():
    soft, fast = "tube below softening by", "tube velocity"
    facts = [Fact(soft, "one", 5.0), Fact(soft, "two", 5.0), Fact(fast, "one", 2.0), Fact(fast, "two", 0.5)]
    own = house(f"{soft} less than 8 K and {fast} above 1.8 m/s")
    assert spoken(facts, own) == [("mine", "one")]
    # A place without it takes it from anywhere, and one fast tube is enough.
    assert spoken([*facts, Fact(soft, "three", 5.0)], own) == [("mine", "one"), ("mine", "three")]
    slow = [f for f in facts if f.value != 2.0]
    assert spoken([*slow, Fact(soft, "three", 5.0)], own) == []
    assert spoken(facts[:2], own) == []


def test_a_further_clause_first_looks_at_what_the_fact_itself_knows():
    also = Fact("loop flow", "loop", 3 * L_MIN, also={"tube velocity": 2.0})
    own = house("loop flow above 1 L/min and tube velocity above 1.8 m/s")
    assert spoken([also, Fact("tube velocity", "loop", 0.1)], own) == [("mine", "loop")]
    assert spoken([replace(also, also={"tube velocity": 0.1}), Fact("tube velocity", "loop", 2.0)], own) == []


def test_a_further_clause_may_look_at_the_limit_of_the_other_fact():
    own = house("coolant over room above 10 K and sound against your limit above its limit")
    warm = Fact("coolant over room", "radiators", 12.0)
    assert spoken([warm, Fact("sound against your limit", "machine", 36.0, 35.0)], own) == [("mine", "radiators")]
    assert spoken([warm, Fact("sound against your limit", "machine", 34.0, 35.0)], own) == []


def test_all_clauses_must_hold():
    own = house("coolant over room above 10 K and loop flow below 2 L/min and inhibitor is no")
    for over, flow, inhibitor, speaks in ((12, 1.5, 0, 1), (9, 1.5, 0, 0), (12, 2.5, 0, 0), (12, 1.5, 1, 0)):
        facts = [
            Fact("coolant over room", "radiators", float(over)),
            Fact("loop flow", "loop", flow * L_MIN),
            Fact("inhibitor", "coolant", float(inhibitor)),
        ]
        assert len(spoken(facts, own)) == speaks


def test_house_rules_neither_hide_the_others_nor_are_hidden_nor_hide_each_other():
    own = (
        HouseRule("mild", "coolant over room above 5 K", "notice", "Mild.", "Nothing."),
        HouseRule("grave", "coolant over room above 8 K", "danger", "Grave.", "A lot."),
        HouseRule("silent", "coolant over room above 30 K", "danger", "Silent.", "None."),
    )
    warm = [Fact("coolant over room", "radiators", 16.0), Fact("loop flow", "loop", 1.5 * L_MIN)]
    found = rules.warnings_of(warm, "metric", own)
    assert [(r.signal, r.quantity, r.limit) for r in found] == [
        ("danger", "coolant over room (your rule: grave)", "8.0 K"),
        ("caution", "loop flow", "1.80 L/min"),
        ("caution", "coolant over room", "15.0 K"),
        ("notice", "coolant over room (your rule: mild)", "5.0 K"),
    ]
    assert [r for r in found if "your rule" not in r.source] == rules.warnings_of(warm)
    assert (found[0].why, found[0].action) == ("Grave.", "A lot.")
    assert found[0].source == "plan: your rule grave"


@pytest.mark.parametrize(
    ("condition", "value", "words"),
    [
        ("inhibitor is no", 0.0, "no inhibitor (your rule: mine)"),
        ("inhibitor is not yes", 0.0, "no inhibitor (your rule: mine)"),
        ("inhibitor is yes", 1.0, "inhibitor (your rule: mine)"),
        ("inhibitor is not no", 1.0, "inhibitor (your rule: mine)"),
        ("tube edge is not sharp", "chamfered", "tube edge: chamfered (your rule: mine)"),
        ("contact is water on zinc", "water on zinc", "water on zinc (your rule: mine)"),
    ],
)
def test_what_is_missing_is_called_so_and_a_house_rule_by_its_name(condition, value, words):
    found = rules.warnings_of([Fact(only(condition).quantity, "here", value)], "metric", house(condition))
    assert [row.quantity for row in found if "mine" in row.source] == [words]


def test_a_house_rule_speaks_at_every_place_that_has_its_quantity():
    facts = [Fact("component below its limit by", where, 12.0) for where in ("one", "two")]
    assert spoken(facts, house("component below its limit by less than 15 K")) == [("mine", "one"), ("mine", "two")]


def test_a_house_rule_left_without_words_is_a_caution_with_words():
    warm = Fact("coolant over room", "radiators", 12.0)
    (row,) = rules.warnings_of([warm], "us", house("coolant over room above 9 K"))
    assert row.signal == "caution"
    assert row.why == "A rule of your own."
    assert row.action.endswith(".")
    assert row.limit == "16.2 °F diff."


def test_braces_in_an_action_are_replaced_by_the_words_of_the_place():
    also = {"baser parts": "front radiator", "Replace either": "Replace front radiator or replace processor"}
    pair = Fact("difference of anodic index", "tin with gold", 0.6, 0.25, also)
    (row,) = rules.warnings_of([pair, Fact("inhibitor", "coolant", 0.0)])
    assert row.action.startswith("Replace front radiator or replace processor; ")
    own = house("difference of anodic index above 0.1 V", action="Look at {baser parts}.")
    (row,) = rules.warnings_of([pair], "metric", own)
    assert row.action == "Look at front radiator."


def test_every_brace_of_an_action_is_filled_by_the_facts_of_a_plan():
    facts = everything()
    for rule in rules.rules():
        if "{" in rule.action:
            named = [f for f in facts if f.quantity == rule.quantity]
            assert named
            for f in named:
                assert "{" not in rules._named(rule.action, f)


# ---------------------------------------------------------------------------------------------------- bad rows


@pytest.fixture
def with_row(monkeypatch):
    """Return a function that puts one more row, with some cells changed, into a table of rules."""
    read = tables.read_table

    def put(name: str = "rules.csv", **cells):
        row = dict(read(name)[0]) | ({"id": "mine"} if name == "rules.csv" else {}) | cells
        monkeypatch.setattr(tables, "read_table", lambda asked: (*read(asked), row) if asked == name else read(asked))
        rules._read.cache_clear()

    yield put
    monkeypatch.undo()
    rules._read.cache_clear()


#: Facts that make several rules fire: what a bad row must not change.
SOME = [
    Fact("loop flow", "loop", 0.5 * L_MIN),
    Fact("component below its limit by", "one", -1.0),
    Fact("inhibitor", "coolant", 0.0),
    Fact("difference of anodic index", "metals", 0.6, 0.25),
    Fact(CONTACT, "seals", "mineral oil on EPDM"),
]


def test_a_row_more_is_a_rule_more(with_row):
    with_row(signal="caution", condition="loop flow below 0.4 gal/min")
    assert len(rules.rules()) == len(RULES) + len(CONTACTS) + 1
    assert rules.problems() == []
    with_row("contacts.csv", agent="tea", material="PETG", signal="notice", also="loop flow below 1 L/min")
    assert rules.problems() == []
    for flow, speaks in ((0.9, True), (1.1, False)):
        found = rules.warnings_of([contact("tea on PETG"), Fact("loop flow", "loop", flow * L_MIN)])
        assert (("notice", "tea on PETG") in {(row.signal, row.quantity) for row in found}) == speaks


def told_beside_the_others(expected: str, own: tuple[HouseRule, ...] = ()) -> None:
    """See that one problem is told by name as a warning of its own, and everything else stays as it is."""
    before = GOOD_ROWS
    after = rules.warnings_of(SOME, "metric", own)
    assert after[:-1] == before
    last = after[-1]
    assert (last.signal, last.where) == ("warning", "rules")
    assert last.quantity == f"{expected} cannot be judged"
    assert "Accepted:" in last.why
    assert last.action
    (problem,) = rules.problems(own)
    assert problem.field == expected
    assert str(problem) == last.why
    many = rules.counts(SOME, 3, own)
    assert many["warning"].tolist() == [1 + sum(row.signal == "warning" for row in before)] * 3


GOOD_ROWS = rules.warnings_of(SOME)


@pytest.mark.parametrize(
    ("cells", "what"),
    [
        ({"signal": "alarm"}, "signal"),
        ({"signal": "Danger"}, "signal"),
        ({"signal": ""}, "signal"),
        *[({"condition": condition}, what) for condition, what, _ in BAD],
    ],
)
def test_a_bad_row_is_left_out_and_told_by_name(with_row, cells, what):
    with_row(**cells)
    assert {rule.id for rule in rules.rules()} == {*RULES, *CONTACTS}
    told_beside_the_others(f"rule mine, {what}")


@pytest.mark.parametrize("signal", ["fit", "", "Danger"])
def test_a_bad_contact_is_left_out_and_told_by_name(with_row, signal):
    with_row("contacts.csv", agent="tea", material="PETG", signal=signal)
    assert {rule.id for rule in rules.rules()} == {*RULES, *CONTACTS}
    told_beside_the_others("rule tea on PETG, signal")


def test_a_further_condition_of_a_contact_that_cannot_be_read_is_told_by_name(with_row):
    with_row("contacts.csv", agent="tea", material="PETG", signal="notice", also="inhibiter is no")
    told_beside_the_others("rule tea on PETG and inhibiter is no, quantity")


@pytest.mark.parametrize(
    ("own", "what"),
    [
        (HouseRule("odd", "loop flow above 1 L/min", "alarm"), "signal"),
        *[(HouseRule("odd", condition), what) for condition, what, _ in BAD],
    ],
)
def test_a_bad_house_rule_is_left_out_and_told_by_name(own, what):
    told_beside_the_others(f"house rule odd, {what}", (own,))


def test_a_bad_house_rule_of_a_plan_leaves_its_other_house_rules_standing():
    own = (HouseRule("bad", "loop flow belw 1 L/min"), HouseRule("good", "loop flow above 1 L/min"))
    plain, plan = demo_plan(), replace(demo_plan(), house_rules=own)
    assert plain.house_rules == ()
    before, after = solve(plain).warned(), solve(plan).warned()
    more = [row for row in after if row not in before]
    assert [row for row in after if row in before] == before
    assert [(row.signal, row.quantity) for row in more] == [
        ("warning", "house rule bad, comparison cannot be judged"),
        ("caution", "loop flow (your rule: good)"),
    ]
    assert int(solve(plan).warning_counts()["warning"][0]) == 1


def test_two_bad_rules_are_told_both(with_row):
    with_row(condition="nothing of the kind")
    own = (HouseRule("odd", "moon is full"), HouseRule("odder", "loop flow is blue"))
    fields = [problem.field for problem in rules.problems(own)]
    assert fields == ["rule mine, quantity", "house rule odd, quantity", "house rule odder, limit"]


# --------------------------------------------------------------------------------------------- through the solver


def signals(solution) -> list[tuple[str, str]]:
    return [(row.signal, row.quantity) for row in solution.warnings.itertuples()]


@cache
def everything() -> list[Fact]:
    """Return the facts of plans that have, between them, everything the rules can judge."""
    plan = demo_plan()
    (pump,) = plan.units(tree.PumpUnit)
    pair = tree.Parallel(pump, replace(pump, name="second pump"))
    twin = replace(plan, loop=tree.Series(*[pair if item is pump else item for item in plan.loop.items]))
    light = plan.set(**{"front radiator.metal": "aluminium 6000 series"})
    zinc, steel = (plan.set(**{"pump.metal": metal}) for metal in ("zinc plate", "mild steel"))
    bare = plan.with_loop(without_metal)
    hard = plan.with_loop(lambda e: replace(e, tube=RIGID_PVC) if isinstance(e, tree.Run) else e)
    soft = plan.set(tube_material="plasticised PVC")
    plans = (plan, light, twin, zinc, steel, bare, hard, soft, measured(), replace(plan, budget=900.0), crowded())
    facts = [f for p in (*plans, plan.set(case_air="balance")) for f in solve(p).facts]
    curve = SpeedCurve("fans", ("front radiator",), temperatures=(30.0, 45.0), speeds=(0.3, 1.0))
    facts += [*wetted.second_opinion(plan), *wetted.second_opinion(steel)]
    facts += [*hunting(replace(plan, speed_curves=(curve,))).facts, *tube_ends(plan).facts, *checks(plan).stuck]
    facts += [*height_words.facts(void_of(plan)), *filling(solve(plan)).facts()]
    return facts + drift(upkeep(plan), LOGGED).facts


#: A log that tells the resistance to the room, that of a block, the flow, and what was topped up.
LOGGED = Log(
    Path("booth.log.csv"),
    tuple(
        Entry(
            f"2027-{month:02}-01",
            topped_up=1e-5,
            coolant=35.0,
            room=25.0,
            part="processor",
            part_temperature=50.0,
            flow=4e-5,
            load=1.0,
        )
        for month in range(1, 7)
    ),
)


def crowded():
    """Return the demo with a shelf a tube goes through, a lid one hangs on, and routes not kept or not found."""
    plan = demo_plan()
    shelf = Box("shelf", (0.05, 0.1, 0.25), (0.1, 0.1, 0.002), panel=True)
    lid = Box("lid", (0.125, 0.098, 0.44), (0.02, 0.02, 0.003), opens="up")
    new = {
        "pump to processor": {"through": ("shelf",)},
        "processor to graphics card": {"through": ("left panel",), "in_line_with": ("pump to processor",)},
        "front radiator to top radiator": {"corners": None},
    }
    routes = tuple(replace(route, **new.get(route.name, {})) for route in plan.routes)
    return replace(plan, boxes=(*plan.boxes, shelf, lid), routes=routes)


RIGID_PVC = replace(catalogue.part("tube", "PETG 14/10 mm"), name="PVC 14/10 mm", material="rigid PVC")


def without_metal(leaf):
    return replace(leaf, pump=replace(leaf.pump, metal="")) if isinstance(leaf, tree.PumpUnit) else leaf


def test_every_fact_has_a_quantity_and_every_quantity_a_fact_somewhere():
    facts = everything()
    assert {f.quantity for f in facts} == set(rules.quantities())
    assert {rule.quantity for rule in rules.rules()} | {
        c.quantity for rule in rules.rules() for c in rule.clauses
    } <= set(rules.quantities())
    # A quantity says it has a limit of its own where every fact of it has one.
    own = {row["name"] for row in rows_of("quantities.csv") if row["own_limit"]}
    assert {f.quantity for f in facts if f.limit is not None} == own
    assert {f.quantity for f in facts if f.limit is None} & own == set()


def test_every_value_is_of_the_kind_its_quantity_has():
    kinds = rules.quantities()
    for f in everything():
        assert isinstance(f.value, str) == (kinds[f.quantity] == "words"), f
        if kinds[f.quantity] == "truth":
            assert float(f.value) in (0.0, 1.0), f


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
    # Single parts, 3 x 14 and 2 x 16 of fans, 1 x 8 and 12 x 7 of fittings, coolant at 14 a litre; two dead legs with a
    # tee at 9 each, closed by a tap at 16 and a cap at 6. Tube at 7 a metre: 1241 mm of straights as laid and 7 right
    # angles of 28 mm, 44.0 mm each.
    litres = 1e3 * solve(plan).state["volume"]
    assert float(row.value) == round(
        46 + 68 + 72 + 118 + 69 + 60 + 42 + 32 + 8 + 84 + 2 * 9 + 16 + 6 + (1.241 + 7 * 0.044) * 7 + 14 * litres
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
        assert first.quantity == "aluminium or magnesium with a copper-family metal"
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
    assert (first.signal, first.quantity) == ("danger", "aluminium or magnesium with a copper-family metal")


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
