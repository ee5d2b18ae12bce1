"""Plans go back into their files: what they say, bit for bit, and nothing changed but what changed."""

import difflib
import re
import tomllib
import warnings
from dataclasses import replace
from pathlib import Path

import pytest
from examples import DEMO, each_example
from hypothesis import HealthCheck, given, settings
from random_plans import plans
from reference_case import Resistance

from loopmath import InputError, catalogue, demo_plan, load_plan, solve
from loopmath import loop as tree
from loopmath.case import AirPart, SpeedCurve
from loopmath.draft import Draft
from loopmath.parts import Fan
from loopmath.planfile import BESIDE, SECTIONS, plan_of_text, read_plan
from loopmath.plansave import described, reloaded, save_plan, text_of
from loopmath.rules import HouseRule
from loopmath.units import to_si

FEW = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


def read(text: str):
    return plan_of_text(text, Path("a.toml"))


# ------------------------------------------------------------------------------------------------- there and back


@FEW
@given(plan=plans())
def test_any_plan_is_read_back_as_it_was_and_saved_again_to_the_same_text(plan):
    text = text_of(plan)
    tomllib.loads(text)
    again = read(text)
    assert described(again) == described(plan)
    assert text_of(again) == text
    assert described(read_plan(tomllib.loads(text))) == described(plan)


@FEW
@given(first=plans(), second=plans())
def test_any_plan_saved_over_any_other_is_read_back_as_it_was(first, second):
    text = text_of(replace(second, origin=read(text_of(first)).origin))
    again = read(text)
    assert described(again) == described(second)
    assert text_of(again) == text


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(plan=plans())
def test_a_plan_read_back_has_the_same_answer_bit_for_bit(plan):
    again = read(text_of(plan))
    answers = []
    for each in (plan, again):
        try:
            with warnings.catch_warnings():  # a pump at rest, a loop without a loss: what they mean is told elsewhere
                warnings.simplefilter("ignore")
                answers.append({key: str(value) for key, value in solve(each).state.items()})
        except (InputError, ArithmeticError) as refusal:
            answers.append(str(refusal))
    assert answers[0] == answers[1]


@FEW
@given(first=plans(), second=plans())
def test_any_plan_saved_over_a_file_of_windows_keeps_its_line_ends(first, second):
    windows = text_of(first).replace("\n", "\r\n")
    text = text_of(replace(second, origin=read(windows).origin))
    assert described(read(text)) == described(second)
    assert "\n" not in text.replace("\r\n", "")


@each_example
def test_every_example_says_the_same_written_anew(path, tmp_path):
    plan = load_plan(path)
    saved = save_plan(replace(plan, origin=None), tmp_path / "anew.toml")
    assert described(load_plan(saved.path)) == described(plan)
    assert solve(load_plan(saved.path)).flow == solve(plan).flow


# ------------------------------------------------------------------------------------- only what changed changes

#: A file as a builder keeps it: comments everywhere, odd spacing, units of all kinds, tables in every manner.
ODD = """# The builder's own words stay, wherever they stand.
format   =   2          # two
title = 'Odd "but" fine'
note = "free words"

  [room]   # indented
  air   = "77 degF"     # warm
  height= "400 ft"
"listener" = "3 ft"
note = "by the window"

[case]
air_over_room = "9 delta_degF"

[coolant]
kind = "water"  # tap

[limits]
sound = "32 dBA"        # as the meter says

[parts]   # all of them here
tank = { kind = "reservoir", part = "tube reservoir, 250 mL", note = "left" }   # tank comment
pump.kind = "pump"      # dotted
pump.part = "standard pump, 3.7 m"
pump.speed = "70%"      # share
pump.runout_flow = "4 gal/min"
"quoted. name" = { kind = "block", part = "memory block, two modules", typical_heat = 140 } # watts

[tube]
part = "PETG 14/10 mm"   # usual
bore = "0.4 in"

# The loop itself.
[loop]
order = [  # first
  # above the tank
  "tank",   # the tank
  { dead_leg="drain",length = "3 in" },   # by hand

  "pump",
  # a long one
  { run = "up",  length = "15 in", bends = 2 },   # fifteen
  "quoted. name", { run = "down", length = "12 in", note = "careful" },   # two on a line
  { parallel = [
      [ "front" , { run = "left", length = "1 ft" } ],   # first branch
      # before the second
      [ { run = "right", length = "1 ft" } ],   # second branch
  ] },   # group
  "second block",
  { run = "back", length = 0.5 }   # no comma
]   # last

[parts.front]
kind = "radiator"
part = "3 x 120 mm, slim, medium fins"
fan = "quiet fan 120 mm, 1300 rpm"   # quiet
fan_speed = "60 %"
position = ["4in", "0.5 ft", "30 cm"]

[parts."second block"]
part = "my block"
kind = 'block'
typical_heat = "0.05 kW"

[part_data.block."my block"]   # measured
cools = "processor"
linear = "0.1 psi/(gal/min)"
quadratic = "0.5 kPa/(L/min)^2"   # by hand
resistance = "0.03 K/W"
flow_resistance = "0.02 K/W"
note = "bucket and scale"

[part_data.fan."spare"]    # not used
size = "120 mm"
free_flow = "60 m^3/h"
shutoff_pressure = "20 Pa"
"""


def lines_changed(before: str, after: str) -> list[str]:
    """Return the lines that went and came, marked - and +."""
    diff = difflib.ndiff(before.splitlines(keepends=True), after.splitlines(keepends=True))
    return [line[0] + line[2:].rstrip("\r\n") for line in diff if line[0] in "-+"]


def saved_text(plan) -> str:
    """Return the text of a plan, which says the plan and nothing else."""
    text = text_of(plan)
    assert described(read(text)) == described(plan)
    assert text_of(read(text)) == text
    return text


def all_comments(text: str) -> list[str]:
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


CHANGES = {
    "room_air": (30.0, ['-  air   = "77 degF"     # warm', '+  air   = "86 degF"     # warm']),
    "height": ("500 ft", ['-  height= "400 ft"', '+  height= "500 ft"']),
    "listener": ("2 ft", ['-"listener" = "3 ft"', '+"listener" = "2 ft"']),
    "case_air_over_room": ("2 K", ['-air_over_room = "9 delta_degF"', '+air_over_room = "3.6 delta_degF"']),
    "coolant": ("propylene-glycol-10", ['-kind = "water"  # tap', '+kind = "propylene-glycol-10"  # tap']),
    "pump_speed": ("50 %", ['-pump.speed = "70%"      # share', '+pump.speed = "50 %"      # share']),
    "pump.runout_flow": ("5 gal/min", ['-pump.runout_flow = "4 gal/min"', '+pump.runout_flow = "5 gal/min"']),
    "quoted. name.heat": (
        150.0,
        [
            '-"quoted. name" = { kind = "block", part = "memory block, two modules", typical_heat = 140 } # watts',
            '+"quoted. name" = { kind = "block", part = "memory block, two modules", typical_heat = 150 } # watts',
        ],
    ),
    "second block.heat": ("60 W", ['-typical_heat = "0.05 kW"', '+typical_heat = "0.06 kW"']),
    "second block.peak_heat": ("60 W", ['+peak_heat = "60 W"']),
    "drain.length": (
        "5 in",
        [
            '-  { dead_leg="drain",length = "3 in" },   # by hand',
            '+  { dead_leg="drain",length = "5 in" },   # by hand',
        ],
    ),
    "up.bends": (
        3,
        [
            '-  { run = "up",  length = "15 in", bends = 2 },   # fifteen',
            '+  { run = "up",  length = "15 in", bends = 3 },   # fifteen',
        ],
    ),
    "up.fittings": (
        1,
        [
            '-  { run = "up",  length = "15 in", bends = 2 },   # fifteen',
            '+  { run = "up",  length = "15 in", bends = 2, fittings = 1 },   # fifteen',
        ],
    ),
    "left.length": (
        "2 ft",
        [
            '-      [ "front" , { run = "left", length = "1 ft" } ],   # first branch',
            '+      [ "front" , { run = "left", length = "2 ft" } ],   # first branch',
        ],
    ),
    "back.length": (
        0.7,
        ['-  { run = "back", length = 0.5 }   # no comma', '+  { run = "back", length = 0.7 }   # no comma'],
    ),
    "front.depth": ("40 mm", ['+depth = "40 mm"']),
    "front.position": (
        (0.1016, 0.1524, 0.2),
        ['-position = ["4in", "0.5 ft", "30 cm"]', '+position = ["4in", "0.5 ft", "20 cm"]'],
    ),
    "front.full_rpm": (
        1200.0,
        [
            '-fan = "quiet fan 120 mm, 1300 rpm"   # quiet',
            '+fan = { part = "quiet fan 120 mm, 1300 rpm", full_rpm = 1200 }   # quiet',
        ],
    ),
    "fan": (
        "radiator fan 120 mm, 2000 rpm",
        ['-fan = "quiet fan 120 mm, 1300 rpm"   # quiet', '+fan = "radiator fan 120 mm, 2000 rpm"   # quiet'],
    ),
    "tube": (
        "EPDM 13/10 mm",
        [
            '-part = "PETG 14/10 mm"   # usual',
            '-bore = "0.4 in"',
            '+part = "EPDM 13/10 mm"   # usual',
            '+bore = "10 mm"',
        ],
    ),
}


@pytest.mark.parametrize("windows", [False, True], ids=["LF", "CRLF"])
@pytest.mark.parametrize(("name", "value", "expected"), [(n, v, e) for n, (v, e) in CHANGES.items()], ids=CHANGES)
def test_a_setting_changes_its_line_and_no_other(name, value, expected, windows):
    text = ODD.replace("\n", "\r\n") if windows else ODD
    after = saved_text(read(text).set(**{name: value}))
    assert sorted(lines_changed(text, after)) == sorted(expected)
    assert all_comments(after) == all_comments(text)
    assert after.count("\r\n") == (after.count("\n") if windows else 0)


@pytest.mark.parametrize("name", CHANGES)
def test_a_setting_and_back_is_the_file_as_it_was_but_for_lines_that_were_added(name):
    plan, value = read(ODD), CHANGES[name][0]
    there = read(saved_text(plan.set(**{name: value})))
    back = saved_text(replace(plan, origin=there.origin))
    gone = [line for line in lines_changed(ODD, back) if line.startswith("-")]
    spelled_anew = {'-pump.speed = "70%"      # share', '-bore = "0.4 in"'}
    assert {line for line in gone if "run =" not in line and "fan =" not in line} <= spelled_anew
    assert all_comments(back) == all_comments(ODD)


def test_a_plan_that_did_not_change_is_the_same_text():
    assert text_of(read(ODD)) == ODD
    assert text_of(replace(read(ODD), notes="x").set(room_air=25.0)) != ODD
    assert text_of(replace(read(ODD), title="x", origin=read(ODD).origin).set(room_air=25.0)).startswith("# The")


def test_fields_that_were_not_there_are_added_where_they_belong():
    after = saved_text(replace(read(ODD), notes='two\nlines "quoted"', budget=300.0, also_wetted=("copper",)))
    assert sorted(lines_changed(ODD, after)) == sorted(
        ['+notes = "two\\nlines \\"quoted\\""', "+budget = 300", '+also_wetted = ["copper"]']
    )
    assert tomllib.loads(after)["notes"] == 'two\nlines "quoted"'
    assert tomllib.loads(after)["limits"]["budget"] == 300


def without(plan, *names):
    """Return the plan with elements taken out of its main line."""
    return replace(plan, loop=tree.Series(*[i for i in plan.loop.items if getattr(i, "name", "") not in names]))


@pytest.mark.parametrize(
    ("name", "gone"),
    [
        ("drain", ['-  { dead_leg="drain",length = "3 in" },   # by hand']),
        ("up", ['-  { run = "up",  length = "15 in", bends = 2 },   # fifteen']),
        ("back", ['-  { run = "back", length = 0.5 }   # no comma']),
        (
            "tank",
            [
                '-tank = { kind = "reservoir", part = "tube reservoir, 250 mL", note = "left" }   # tank comment',
                '-  "tank",   # the tank',
            ],
        ),
        (
            "down",
            [
                '-  "quoted. name", { run = "down", length = "12 in", note = "careful" },   # two on a line',
                '+  "quoted. name",',
            ],
        ),
    ],
)
def test_an_element_taken_out_goes_with_what_is_said_of_it_and_nothing_else(name, gone):
    after = saved_text(without(read(ODD), name))
    assert sorted(lines_changed(ODD, after)) == sorted(gone)


@pytest.mark.parametrize("place", range(10))
def test_an_element_put_in_anywhere_is_a_line_more(place):
    plan = read(ODD)
    items = [*plan.loop.items]
    items.insert(place, tree.Run("new", plan.tube, 0.3))
    after = saved_text(replace(plan, loop=tree.Series(*items)))
    assert all_comments(after) == all_comments(ODD)
    came = [line for line in lines_changed(ODD, after) if line.startswith("+")]
    assert sum('{ run = "new", length = "300 mm" }' in line for line in came) == 1
    assert len(came) <= 2


@pytest.mark.parametrize("place", range(8))
def test_an_element_that_moves_goes_as_it_was_typed(place):
    plan = read(ODD)
    items = [*plan.loop.items]
    items[place], items[place + 1] = items[place + 1], items[place]
    after = saved_text(replace(plan, loop=tree.Series(*items)))
    for typed in (
        '{ dead_leg="drain",length = "3 in" }',
        '{ run = "up",  length = "15 in", bends = 2 }',
        "length = 0.5 }",
    ):
        assert typed in after
    lost = set(all_comments(ODD)) - set(all_comments(after))
    assert len(lost) <= 1  # a comment behind a line that moved


def test_a_branch_that_grows_keeps_its_comments_and_its_neighbour():
    plan = read(ODD)

    def grown(item):
        if not isinstance(item, tree.Parallel):
            return item
        first, second = item.branches
        return tree.Parallel(first, tree.Series(*second.items, tree.Run("new", plan.tube, 0.3)))

    after = saved_text(replace(plan, loop=tree.Series(*map(grown, plan.loop.items))))
    assert lines_changed(ODD, after) == [
        '-      [ { run = "right", length = "1 ft" } ],   # second branch',
        '+      [ { run = "right", length = "1 ft" }, { run = "new", length = "300 mm" } ],   # second branch',
    ]


def test_a_third_branch_is_added_behind_the_two():
    plan = read(ODD)

    def more(item):
        if not isinstance(item, tree.Parallel):
            return item
        return tree.Parallel(*item.branches, tree.Series(tree.Run("new", plan.tube, 0.3)))

    after = saved_text(replace(plan, loop=tree.Series(*map(more, plan.loop.items))))
    assert all_comments(after) == all_comments(ODD)
    assert all(line.startswith("+") for line in lines_changed(ODD, after))


def without_routes(text: str) -> str:
    """Return the text of a plan file, the ways of its runs cut out: what stands in the order is what counts."""
    tables = re.split(r"^(?=\[)", text, flags=re.MULTILINE)
    return "".join(table for table in tables if not table.startswith("[routes"))


def test_blocks_side_by_side_and_back_leave_the_rest_of_the_file_alone():
    text = without_routes(DEMO.read_text(encoding="utf-8")).replace('"430 mm", bends', '"10 in", bends')
    text = text.replace('  "pump",\n', '  "pump",   # the heart\n')
    plan = read(text)
    side = saved_text(plan.set(layout="parallel"))
    assert all_comments(side) == all_comments(text)
    assert '["tees of processor", "processor", { run = "processor to graphics card", length = "10 in"' in side
    moved = [line for line in lines_changed(text, side) if line.startswith("-")]
    assert moved == [
        '-  "processor",',
        '-  { run = "processor to graphics card", length = "10 in", bends = 2 },',
        '-  "graphics card",',
    ]
    assert saved_text(read(side).set(layout="series")) == text


def test_blocks_side_by_side_take_the_ways_of_the_runs_with_them_and_leave_their_lengths():
    text = DEMO.read_text(encoding="utf-8")
    side = read(saved_text(read(text).set(layout="parallel")))
    assert (side.routes, len(side.ports), len(side.boxes)) == ((), len(read(text).ports), len(read(text).boxes))
    lengths = {run.name: run.length for run in read(text).units(tree.Run)}
    assert {name: next(r for r in side.units(tree.Run) if r.name == name).length for name in lengths} == lengths
    assert saved_text(read(text).set(layout="series")) == text


# ------------------------------------------------------------------------------------------------ beside the loop

#: The odd file with a case, joints, fans of the case, parts on air, headers, curves and rules, typed in every manner.
WITH_CASE = (
    ODD.replace(
        'air_over_room = "9 delta_degF"\n',
        'air_over_room = "9 delta_degF"\nair = "balance"   # not guessed\nvents="14 in^2"\nvolume = "55 L"   # about\n',
    ).replace(
        'kind = "water"  # tap\n',
        'kind = "water"  # tap\ntreatment = "biocide"   # a drop\nalso_wetted = [ "silver",   # the coil\n'
        '  "nickel plate over brass" ]   # its ends\n',
    )
    + """
[case_fans]   # all of them
"rear. fan" = { count = 2, fan = "quiet fan 120 mm, 1300 rpm", note = "hums" }   # grille
[case_fans.side]
blows = "in"    # from the window
fan.part = "quiet fan 140 mm, 1100 rpm"
fan.full_rpm = 1050   # by ear

[on_air.memory]   # two of them
typical_heat = "0.004 kW"
cools = "memory"
note = "beside the block"

[headers]
board = { feeds = ["pump", "front"], rating = "900 mA" }   # beside the memory
[headers.hub]   # by itself
feeds = [
  "side",   # from the window
  "rear. fan",
]   # all the rest

[speed_curves]
fans = { sensor = "case", drives = ["rear. fan"], points = [["90 degF", 0.5], ["40degC", "80 %"]] }   # by ear
[speed_curves."by coolant"]   # gentle
drives = [ "front", # the large one
  "side" ]
points = [
  ["86.0 degF", "30%"],   # as slow as it turns
  ["40 degC", 0.8],       # loud
]   # no more
hysteresis = "3.6 delta_degF"

[joints]   # by the bag
section = "0.07 in"   # as the bag says
squeeze="22%"
edge = 'deburred'   # no lathe here

[house_rules]
"no. drip" = { when = "O-ring squeeze below 18 %", signal = "danger" }   # learnt
[house_rules.summer]   # of the room
when  =  "coolant over room above 14 K and inhibitor is no"   # both
why = "It is hot here."
"""
)


def one_changed(group, name, **new):
    """Return a change of a plan: one thing beside the loop with other fields."""

    def change(plan):
        return replace(plan, **{group: tuple(replace(e, **new) if e.name == name else e for e in getattr(plan, group))})

    return change


def only(group, *names):
    """Return a change of a plan: of what stands beside the loop, nothing but these."""
    return lambda plan: replace(plan, **{group: tuple(e for e in getattr(plan, group) if e.name in names)})


QUIET = catalogue.part("fan", "quiet fan 120 mm, 1300 rpm")
#: As the file describes it.
SPARE = Fan("spare", 0.12, to_si("", "60 m^3/h", "air flow"), 20.0)
REAR = '"rear. fan" = { count = 2, fan = "quiet fan 120 mm, 1300 rpm", note = "hums" }   # grille'
PLATED = "nickel plate over brass"
DRIP = next(line for line in WITH_CASE.split("\n") if line.startswith('"no. drip"'))
FANS = next(line for line in WITH_CASE.split("\n") if line.startswith("fans = "))


def points(*rows):
    """Return a change of a plan: a curve with other points."""
    warm, speeds = zip(*rows, strict=True)
    return one_changed("speed_curves", "by coolant", temperatures=warm, speeds=speeds)


BESIDE_CHANGES = {
    "air given": (
        lambda p: p.set(case_air="given"),
        ['-air = "balance"   # not guessed', '+air = "given"   # not guessed'],
    ),
    "vents": (lambda p: p.set(case_vents="28 in^2"), ['-vents="14 in^2"', '+vents="28 in^2"']),
    "walls": (lambda p: p.set(case_wall_loss=5.0), ['+wall_loss = "5 W/K"']),
    "other heat": (lambda p: p.set(case_heat=60.0), ['+other_heat = "60 W"']),
    "volume": (
        lambda p: replace(p, case_volume=0.06),
        ['-volume = "55 L"   # about', '+volume = "60 L"   # about'],
    ),
    "speed": (
        lambda p: p.set(**{"side.speed": 0.5}),
        ['+speed = "50 %"'],
    ),
    "count": (
        lambda p: p.set(**{"rear. fan.count": 1}),
        [f"-{REAR}", f"+{REAR.replace('count = 2', 'count = 1')}"],
    ),
    "blows": (
        one_changed("case_fans", "side", blows="out"),
        ['-blows = "in"    # from the window', '+blows = "out"    # from the window'],
    ),
    "fan of the catalogue": (
        one_changed("case_fans", "side", fan=catalogue.part("fan", "quiet fan 140 mm, 1100 rpm")),
        [
            '-fan.part = "quiet fan 140 mm, 1100 rpm"',
            "-fan.full_rpm = 1050   # by ear",
            '+fan = "quiet fan 140 mm, 1100 rpm"',
        ],
    ),
    "numbers of a fan": (
        one_changed("case_fans", "rear. fan", fan=replace(QUIET, power=2.0)),
        [
            f"-{REAR}",
            "+"
            + REAR.replace('"quiet fan 120 mm, 1300 rpm"', '{ part = "quiet fan 120 mm, 1300 rpm", power = "2 W" }'),
        ],
    ),
    "fan of ones own in the file": (
        one_changed("case_fans", "rear. fan", fan=SPARE),
        [f"-{REAR}", "+" + REAR.replace("quiet fan 120 mm, 1300 rpm", "spare")],
    ),
    "heat on air": (
        lambda p: p.set(**{"memory.heat": 6.0}),
        ['-typical_heat = "0.004 kW"', '+typical_heat = "0.006 kW"'],
    ),
    "block": (
        one_changed("on_air", "memory", block="memory block, two modules"),
        ['+block = "memory block, two modules"'],
    ),
    "rating": (
        one_changed("headers", "board", rating=1.2),
        [
            '-board = { feeds = ["pump", "front"], rating = "900 mA" }   # beside the memory',
            '+board = { feeds = ["pump", "front"], rating = "1200 mA" }   # beside the memory',
        ],
    ),
    "a case fan less": (
        lambda p: only("case_fans", "side")(
            one_changed("headers", "hub", feeds=("side",))(one_changed("speed_curves", "fans", drives=("pump",))(p))
        ),
        [
            f"-{REAR}",
            '-  "rear. fan",',
            f"-{FANS}",
            "+" + FANS.replace("rear. fan", "pump"),
        ],
    ),
    "a point": (
        points((30.0, 0.3), (40.0, 0.7)),
        ['-  ["40 degC", 0.8],       # loud', '+  ["40 degC", 0.7],       # loud'],
    ),
    "a point more": (points((30.0, 0.3), (35.0, 0.5), (40.0, 0.8)), ['+  ["35 degC", 0.5],']),
    "a point more at the end": (points((30.0, 0.3), (40.0, 0.8), (50.0, 1.0)), ['+  ["50 degC", "100 %"],']),
    "other points altogether": (
        points((20.0, 0.1), (41.0, 0.9)),
        [
            '-  ["86.0 degF", "30%"],   # as slow as it turns',
            '-  ["40 degC", 0.8],       # loud',
            '+  ["68 degF", "10 %"],   # as slow as it turns',
            '+  ["41 degC", 0.9],       # loud',
        ],
    ),
    "points on one line": (
        one_changed("speed_curves", "fans", speeds=(0.5, 0.9)),
        [f"-{FANS}", "+" + FANS.replace("80 %", "90 %")],
    ),
    "what a curve drives": (
        one_changed("speed_curves", "by coolant", drives=("front",)),
        ['-  "side" ]', "+  ]"],
    ),
    "sensor": (one_changed("speed_curves", "by coolant", sensor="second block"), ['+sensor = "second block"']),
    "hysteresis": (
        one_changed("speed_curves", "by coolant", hysteresis=1.0),
        ['-hysteresis = "3.6 delta_degF"', '+hysteresis = "1.8 delta_degF"'],
    ),
    "a curve less": (only("speed_curves", "by coolant"), [f"-{FANS}"]),
    "a curve more": (
        lambda p: replace(
            p, speed_curves=(*p.speed_curves, SpeedCurve("new", ("pump",), "coolant", (30.0, 45.5), (0.5, 1.0)))
        ),
        ["+[speed_curves.new]", '+drives = ["pump"]', '+points = [["30 degC", "50 %"], ["45.5 degC", "100 %"]]'],
    ),
    "heat capacity": (lambda p: p.set(**{"second block.heat_capacity": 90.0}), ['+heat_capacity = "90 J/K"']),
    "nothing on air": (
        only("on_air"),
        [
            "-[on_air.memory]   # two of them",
            '-typical_heat = "0.004 kW"',
            '-cools = "memory"',
            '-note = "beside the block"',
        ],
    ),
    "a part on air more": (
        lambda p: replace(p, on_air=(*p.on_air, AirPart("drive", "drive", 5.0))),
        ["+[on_air.drive]", '+cools = "drive"', '+typical_heat = "5 W"'],
    ),
    "a header less": (
        only("headers", "hub"),
        ['-board = { feeds = ["pump", "front"], rating = "900 mA" }   # beside the memory'],
    ),
    "a radiator that blows out": (lambda p: p.set(**{"front.blows": "room"}), ['+blows = "room"']),
    "hot spot": (lambda p: p.set(hot_spot="15 K"), ['+hot_spot = "15 K"']),
    "treatment": (
        lambda p: p.set(treatment="inhibitor and biocide"),
        ['-treatment = "biocide"   # a drop', '+treatment = "inhibitor and biocide"   # a drop'],
    ),
    "the usual treatment": (
        lambda p: p.set(treatment=""),
        ['-treatment = "biocide"   # a drop', '+treatment = ""   # a drop'],
    ),
    "surroundings": (lambda p: p.set(surroundings="harsh"), ['+surroundings = "harsh"']),
    "a plating besides": (
        lambda p: p.set(also_wetted=["silver", "tin plate over brass"]),
        ['-  "nickel plate over brass" ]   # its ends', '+  "tin plate over brass" ]   # its ends'],
    ),
    "a metal more besides": (
        lambda p: p.set(also_wetted=["silver", "copper", "nickel plate over brass"]),
        ['+  "copper",'],
    ),
    "a plating of all fittings": (
        lambda p: replace(p, fitting_metal=PLATED).with_loop(
            lambda e: replace(e, fitting_metal=PLATED) if isinstance(e, tree.Run) else e
        ),
        [f'+fitting_metal = "{PLATED}"'],
    ),
    "a plating of a block": (lambda p: p.set(**{"second block.metal": PLATED}), [f'+metal = "{PLATED}"']),
    "seal": (lambda p: p.set(seal="FKM"), ['+seal = "FKM"']),
    "section": (
        lambda p: p.set(ring_section="0.1 in"),
        ['-section = "0.07 in"   # as the bag says', '+section = "0.1 in"   # as the bag says'],
    ),
    "squeeze": (lambda p: p.set(squeeze=0.25), ['-squeeze="22%"', '+squeeze="25 %"']),
    "rings": (lambda p: p.set(rings=1), ["+rings = 1"]),
    "edge": (
        lambda p: p.set(tube_edge="chamfered"),
        ["-edge = 'deburred'   # no lathe here", '+edge = "chamfered"   # no lathe here'],
    ),
    "what wets and what cleans": (
        lambda p: p.set(assembly_aid="silicone grease", cleaner="water"),
        ['+aid = "silicone grease"', '+cleaner = "water"'],
    ),
    "signal of a rule": (
        one_changed("house_rules", "no. drip", signal="warning"),
        [f"-{DRIP}", "+" + DRIP.replace("danger", "warning")],
    ),
    "condition of a rule": (
        one_changed("house_rules", "summer", when="coolant over room above 12 K"),
        [
            '-when  =  "coolant over room above 14 K and inhibitor is no"   # both',
            '+when  =  "coolant over room above 12 K"   # both',
        ],
    ),
    "what to do by a rule": (
        one_changed("house_rules", "summer", action='Open the "door".'),
        ['+action = "Open the \\"door\\"."'],
    ),
    "a rule less": (only("house_rules", "summer"), [f"-{DRIP}"]),
    "a rule more": (
        lambda p: replace(p, house_rules=(*p.house_rules, HouseRule("new one", "no such words", "notice"))),
        ['+[house_rules."new one"]', '+when = "no such words"', '+signal = "notice"'],
    ),
    "two speeds": (
        lambda p: p.set(**{"front.second_fans": 1, "front.second_speed": 0.3}),
        ["+second_fans = 1", '+second_speed = "30 %"'],
    ),
}


@pytest.mark.parametrize(("change", "expected"), BESIDE_CHANGES.values(), ids=BESIDE_CHANGES)
def test_what_changes_beside_the_loop_changes_its_lines_and_no_other(change, expected):
    after = saved_text(change(read(WITH_CASE)))
    assert sorted(line for line in lines_changed(WITH_CASE, after) if line not in "+-") == sorted(expected)


def test_a_case_that_did_not_change_is_the_same_text():
    assert text_of(read(WITH_CASE)) == WITH_CASE


def test_a_file_of_before_gets_tables_beside_its_loop_and_loses_them_again():
    fields = ("case_air_by", "case_vents", "case_volume", "ring_section", "squeeze", "tube_edge", "treatment")
    fields += ("also_wetted", *BESIDE)
    there = saved_text(replace(read(ODD), **{name: getattr(read(WITH_CASE), name) for name in fields}))
    assert all_comments(there) == all_comments(ODD)
    came = lines_changed(ODD, there)
    assert [line for line in came if line.startswith("-")] == []
    assert {"+[case_fans.side]", "+[on_air.memory]", "+[headers.hub]", '+feeds = ["pump", "front"]'} <= set(came)
    assert {"+[joints]", '+edge = "deburred"', "+[house_rules.summer]", '+treatment = "biocide"'} <= set(came)
    assert {'+[speed_curves."by coolant"]', '+points = [["30 degC", "30 %"], ["40 degC", "80 %"]]'} <= set(came)
    back = saved_text(replace(read(there), **{name: getattr(read(ODD), name) for name in fields}))
    left = [line for line in lines_changed(ODD, back) if line != "+"]
    assert left == [
        *('+air = "given"', '+vents = "120 cm^2"', '+volume = "50 L"'),
        *("+also_wetted = []", '+treatment = ""'),
        *("+[joints]", '+section = "1.78 mm"', '+squeeze = "20 %"', '+edge = "chamfered"'),
    ]


# ---------------------------------------------------------------------------------------------------- in space

#: The odd file with what stands in space, measured in all units and typed in every manner.
IN_SPACE = (
    ODD
    + """
[space]   # with the long rule
size = ["10 in", "0.46 m", "540 mm"]
radius = "1.1 in"   # the former
fitting = "straight fitting for 14 mm hard tube"

[ports]   # to their faces
"pump out" = { position = ["85 mm", "5 in", "150 mm"], faces = "up", of = "pump" }   # threaded
[ports."block. in"]
position = ["175 mm",   # to its middle
  "280 mm", "15.5 in"]
faces="left"
of = "quoted. name"
[ports.tap]
position = ["85 mm", "5 in", 0.02]
faces = "0, 0, 1"   # up

[boxes]
lid = { corner = ["0 mm", "0 mm", "500 mm"], size = ["10 in", "18 in", "2 mm"], panel = true, opens = "up" }   # thin
[boxes.memory]
corner = ["200 mm", "8 in", "330 mm"]
size = ["40 mm", "20 mm", "130 mm"]   # with its lights

[routes]
back = { start = "tap", end = "pump out", through = [] }   # a puzzle yet
[routes.up]   # by string and rule
start = "pump out"
end = "block. in"
corners = [
  ["85 mm", "5 in", "15.5 in"],   # over the pump
  ["85 mm", "280 mm", "393.7 mm"],       # beside the block
]   # two
start_fitting = "none"
free_play="0.04 in"
parallel_to = [ "back",   # nearly
]

[cutting]
stock = [ "20 in",   # the short one
  "1 m" ]
kerf = 0.0012
"""
)


def routed(name, **new):
    """Return a change of a plan: one route with other fields."""
    return one_changed("routes", name, **new)


PUMP_OUT = next(line for line in IN_SPACE.split("\n") if line.startswith('"pump out"'))
LID = next(line for line in IN_SPACE.split("\n") if line.startswith("lid"))
PUZZLE = next(line for line in IN_SPACE.split("\n") if line.startswith("back = "))
OVER, BESIDE_BLOCK = (line for line in IN_SPACE.split("\n") if line.startswith('  ["85 mm"'))
SPACE_CHANGES = {
    "a port that a leg follows": (
        lambda p: p.set(**{"pump out.up": "160 mm"}),
        [f"-{PUMP_OUT}", "+" + PUMP_OUT.replace("150 mm", "160 mm")],
    ),
    "a port that corners follow": (
        lambda p: p.set(**{"pump out.across": "90 mm"}),
        [f"-{PUMP_OUT}", f"-{OVER}", f"-{BESIDE_BLOCK}"]
        + ["+" + line.replace("85 mm", "90 mm") for line in (PUMP_OUT, OVER, BESIDE_BLOCK)],
    ),
    "a corner": (
        lambda p: routed("up", corners=((0.085, 0.127, 0.3937), (0.085, 0.2805, 0.3937)))(p),
        [f"-{BESIDE_BLOCK}", "+" + BESIDE_BLOCK.replace("280 mm", "280.5 mm")],
    ),
    "way not found yet": (
        routed("up", corners=None),
        ["-corners = [", f"-{OVER}", f"-{BESIDE_BLOCK}", "-]   # two"],
    ),
    "radius of a run": (lambda p: p.set(**{"up.radius": "25 mm"}), ['+radius = "25 mm"']),
    "radius of all": (
        lambda p: p.set(bend_radius="1 in"),
        ['-radius = "1.1 in"   # the former', '+radius = "1 in"   # the former'],
    ),
    "free play": (
        lambda p: p.set(**{"up.free_play": "0.08 in"}),
        ['-free_play="0.04 in"', '+free_play="0.08 in"'],
    ),
    "size of the case": (
        lambda p: replace(p, case_size=(0.254, 0.47, 0.54)),
        ['-size = ["10 in", "0.46 m", "540 mm"]', '+size = ["10 in", "0.47 m", "540 mm"]'],
    ),
    "clearance": (lambda p: p.set(clearance="5 mm"), ['+clearance = "5 mm"']),
    "a box": (
        one_changed("boxes", "memory", corner=(0.2, 0.2286, 0.33)),
        ['-corner = ["200 mm", "8 in", "330 mm"]', '+corner = ["200 mm", "9 in", "330 mm"]'],
    ),
    "a panel that stays": (
        one_changed("boxes", "lid", opens=""),
        [f"-{LID}", "+" + LID.replace('opens = "up"', 'opens = ""')],
    ),
    "a panel no more": (
        one_changed("boxes", "lid", panel=False),
        [f"-{LID}", "+" + LID.replace("panel = true", "panel = false")],
    ),
    "an adapter": (
        lambda p: routed("up", start_adapter="extender, 20 mm")(p.set(**{"pump out.back": "140 mm"})),
        [f"-{PUMP_OUT}", f"-{OVER}", '+start_adapter = "extender, 20 mm"']
        + ["+" + line.replace('"5 in"', '"140 mm"') for line in (PUMP_OUT, OVER)],
    ),
    "a panel on the way": (routed("up", through=("lid",)), ['+through = ["lid"]']),
    "no neighbour": (routed("up", parallel_to=()), ['-parallel_to = [ "back",   # nearly', "+parallel_to = ["]),
    "a way less": (
        lambda p: p.as_counts("back"),
        [f"-{PUZZLE}", '-parallel_to = [ "back",   # nearly', "+parallel_to = ["],
    ),
    "all lengths": (
        lambda p: replace(p, stock_lengths=(0.508, 0.75, 1.0)),
        ['+  "0.75 m",'],
    ),
    "kerf": (lambda p: p.set(kerf=0.0016), ["-kerf = 0.0012", "+kerf = 0.0016"]),
    "a run twice": (lambda p: p.set(spares=1), ["+spares = 1"]),
    "a length that is not laid": (
        lambda p: p.set(**{"back.length": 0.7}),
        ['-  { run = "back", length = 0.5 }   # no comma', '+  { run = "back", length = 0.7 }   # no comma'],
    ),
}


@pytest.mark.parametrize(("change", "expected"), SPACE_CHANGES.values(), ids=SPACE_CHANGES)
def test_what_changes_in_space_changes_its_lines_and_no_other(change, expected):
    after = saved_text(change(read(IN_SPACE)))
    assert sorted(line for line in lines_changed(IN_SPACE, after) if line not in "+-") == sorted(expected)


def test_a_laid_run_keeps_the_length_and_bends_that_were_typed():
    """They hold again where soft tube finds its own way, or the corners are taken out."""
    plan = read(IN_SPACE)
    assert text_of(plan) == IN_SPACE
    up = plan.units(tree.Run)[0]
    assert up.length == up.laid.length != 0.381
    assert plan.paths.keys() == {"up"}
    for change in (lambda p: p.set(tube="EPDM 13/10 mm"), routed("up", corners=None), lambda p: replace(p, routes=())):
        changed = change(plan)
        assert changed.paths == {}
        typed = 0.381 if changed.routes else up.length  # without its way the run is as long as it was laid
        assert changed.units(tree.Run)[0].length == pytest.approx(typed, rel=1e-15)
    after = saved_text(plan.set(**{"up.length": "16 in"}))
    assert "[routes.up]" not in after
    assert '{ run = "up",  length = "16 in", bends = 2 }' in after


def test_a_file_of_before_is_laid_out_and_loses_it_again():
    """The lines a section is read by when it is not there stay: they say what held before."""
    names = (*(line.name for section in ("space", "cutting") for line in SECTIONS[section]), "ports", "boxes", "routes")
    laid = saved_text(replace(read(ODD), **{name: getattr(read(IN_SPACE), name) for name in names}))
    assert all_comments(laid) == all_comments(ODD)
    assert [line for line in lines_changed(ODD, laid) if line.startswith("-")] == []
    assert read(laid).paths.keys() == {"up"}
    back = saved_text(replace(read(laid), **{name: getattr(read(ODD), name) for name in ("loop", *names)}))
    left = [line for line in lines_changed(ODD, back) if line != "+"]
    assert left == ["+[space]", '+fitting = ""', "+[cutting]", '+stock = ["500 mm", "1 m"]', '+kerf = "1 mm"']


def test_comments_over_a_table_stay_with_it():
    """Where the table before grows, gets a new neighbour or goes, they stay; with their own table they go."""
    over = '# where\n  # things stand\n[space]\nclearance = "3 mm"\n'
    text = ODD.replace("[part_data.block", f"{over}\n[part_data.block").replace('[parts."sec', '# far off\n[parts."sec')
    plan = read(text)
    assert text_of(plan) == text
    more = tree.Series(*plan.loop.items, tree.Source("new", catalogue.part("block", "memory block, two modules"), 9.0))
    for changed in (plan.set(**{"second block.limit": 70.0}), replace(plan, loop=more), without(plan, "second block")):
        after = saved_text(changed)
        assert over in after
        assert ("# far off\n[parts" in after) == ("second block" in after)
    words = text.replace('note = "bucket and scale"\n\n[', 'note = """\n# no comment"""\n[')
    assert 'note = """\n# no comment"""\n[' in saved_text(read(words).set(height="500 ft"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p.set(**{"up.radius": [0.02, 0.025]}), "radius = 'an array'"),
        (lambda p: p.set(bend_radius=[0.02, 0.025]), "radius = 'an array'"),
        (lambda p: p.set(kerf=[0.001, 0.002]), "kerf = 'an array'"),
        (lambda p: replace(p, loop=without(p, "up").loop), r"routes\.up = 'up'.*one of: .*'down'"),
        (lambda p: without(p, "pump"), "no pump"),
    ],
    ids=["radii of a run", "radii", "kerfs", "a way of no run", "no pump"],
)
def test_what_no_file_can_hold_in_space_is_refused_in_words(change, words):
    with pytest.raises(InputError, match=words):
        text_of(change(read(IN_SPACE)))


@pytest.mark.parametrize(
    ("name", "curves"),
    [
        ("front", [("fans", ("rear. fan",)), ("by coolant", ("side",))]),
        ("second block", [("by coolant", ("front", "side"))]),
        ("up", [("fans", ("rear. fan",)), ("by coolant", ("front", "side"))]),
    ],
)
def test_no_curve_names_an_element_that_is_taken_out(tmp_path, name, curves):
    """A curve that followed it goes with it: its points mean nothing for the coolant."""
    text = WITH_CASE.replace('sensor = "case", drives', 'sensor = "second block", drives')
    text = text.replace('[ "front" , { run', "[ { run").replace('  "second block",\n', '  "front", "second block",\n')
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    draft = Draft.opened(tmp_path / "a.toml")
    draft.remove([getattr(item, "name", "") for item in draft.plan.loop.items].index(name))
    assert draft.problems == []
    assert [(c.name, c.drives) for c in draft.plan.speed_curves] == curves
    draft.back()
    assert draft.text == text


def without_fans(plan, name):
    """Return the plan with the air of a radiator given."""
    return plan.with_loop(lambda e: replace(e, fan=None, air_flow_each=0.01) if e.name == name else e)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: replace(p, headers=p.headers[:1] * 2), "each name once"),
        (lambda p: p.set(**{"front.air": "nowhere"}), r"front.{1,2}air = 'nowhere'.*one of: 'room', 'case'"),
        (lambda p: without_fans(p, "front"), r"headers\.board\.feeds\[1\] = 'front'"),
        (one_changed("on_air", "memory", heat=[3.0, 4.0]), "heat = 'an array'"),
        (one_changed("speed_curves", "fans", drives=("up",)), r"speed_curves\.fans\.drives\[0\] = 'up'"),
        (one_changed("speed_curves", "fans", sensor="pump"), r"speed_curves\.fans\.sensor = 'pump'"),
        (lambda p: replace(p, speed_curves=p.speed_curves[:1] * 2), "speed_curves.*each name once"),
    ],
    ids=["two headers of one name", "air from nowhere", "a header that feeds no fans", "an array"]
    + ["a curve that drives a run", "a curve that follows a pump", "two curves of one name"],
)
def test_what_no_file_can_hold_beside_the_loop_is_refused_in_words(change, words):
    with pytest.raises(InputError, match=words):
        text_of(change(read(WITH_CASE)))


def test_a_line_that_meant_nothing_does_not_come_to_mean_something():
    """A pump's own field stated as it is in the catalogue must not bend the next pump that takes its place."""
    text = ODD.replace('pump.runout_flow = "4 gal/min"', 'pump.shutoff_head = "3.7 m"')
    plan = read(text).set(pump="compact pump, 2.4 m")
    assert read(saved_text(plan)).units(tree.PumpUnit)[0].pump.shutoff_head == 2.4
    run = ODD.replace(
        "bends = 2 }", 'bends = 2, part = "PETG 14/10 mm", bore = "0.4 in", fitting_metal = "nickel plate" }'
    )
    plan = replace(read(run).set(tube="EPDM 13/10 mm"), fitting_metal="brass")
    again = read(saved_text(plan))
    assert again.units(tree.Run)[0].tube.name == "EPDM 13/10 mm"


def test_a_part_described_in_the_file_gives_way_to_one_of_the_catalogue_of_the_same_name():
    text = ODD.replace('"my block"', '"memory block, two modules"')
    plan = read(text)
    assert plan.units(tree.Source)[1].block.resistance == 0.03
    shipped = catalogue.part("block", "memory block, two modules")
    after = saved_text(plan.set(**{"second block.block": shipped, "quoted. name.block": shipped}))
    assert "[part_data.block" not in after
    assert saved_text(plan) == text


def test_a_part_described_in_the_file_stays_when_it_is_used_no_more():
    after = saved_text(read(ODD).set(**{"second block.block": "memory block, two modules"}))
    assert lines_changed(ODD, after) == ['-part = "my block"', '+part = "memory block, two modules"']
    gone = saved_text(without(read(ODD), "second block"))
    assert '[part_data.block."my block"]   # measured' in gone
    assert "bucket and scale" in gone


def test_a_number_that_a_part_has_can_be_taken_away():
    pump = replace(catalogue.part("pump", "standard pump, 3.7 m"), price=50.0, measured_from=1e-5)
    plan = read(ODD)
    mine = replace(pump, name="my pump")
    two = replace(
        plan,
        loop=tree.Series(
            *plan.loop.items, tree.PumpUnit("a", mine), tree.PumpUnit("b", replace(mine, measured_from=None))
        ),
    )
    after = saved_text(two)
    assert 'measured_from = "none"' in after
    assert [u.pump.measured_from for u in read(after).units(tree.PumpUnit)] == [None, 1e-5, None]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends_are_kept_and_no_change_is_no_byte(tmp_path, mark, ends):
    file = tmp_path / "mine.toml"
    file.write_bytes(raw := mark + ODD.replace("\n", ends).encode())
    plan = load_plan(file)
    assert save_plan(plan).path == file
    assert file.read_bytes() == raw
    save_plan(plan.set(height="500 ft"))
    assert file.read_bytes() == raw.replace(b"400 ft", b"500 ft")
    assert save_plan(load_plan(file), tmp_path / "copy.toml").path.read_bytes() == file.read_bytes()


# --------------------------------------------------------------------------------------------------- version 1

V1 = ODD.replace("format   =   2          # two", "format   =   1          # one").replace("typical_heat", "heat")
SECOND = V1[V1.index('[parts."second block"]') : V1.index("[part_data.block")]
V1_INLINE = V1.replace(SECOND, "").replace(
    "pump.kind",
    "'second block' = { note = \"heat = a lot\", kind = 'block', 'heat' = '50 W', part = 'my block' }\npump.kind",
)


@pytest.mark.parametrize("text", [V1, V1_INLINE], ids=["tables", "inline"])
def test_version_1_is_read_and_stays_as_it_is_until_something_changes(text):
    plan = read(text)
    assert [u.heat for u in plan.units(tree.Source)] == [140.0, 50.0]
    assert text_of(plan) == text


@pytest.mark.parametrize("text", [V1, V1_INLINE], ids=["tables", "inline"])
def test_version_1_is_brought_forward_with_its_comments(text):
    after = saved_text(read(text).set(height="500 ft"))
    expected = text.replace("format   =   1 ", "format   =   2 ").replace("400 ft", "500 ft")
    expected = expected.replace(" heat = 140", " typical_heat = 140").replace("\nheat = ", "\ntypical_heat = ")
    assert after == expected.replace("'heat' = ", "typical_heat = ")


def test_the_demo_as_version_1_says_the_same_but_for_the_peaks():
    text = DEMO.read_text(encoding="utf-8")
    old = "\n".join(line for line in text.split("\n") if not line.startswith("peak_heat"))
    old = old.replace("typical_heat", "heat").replace("format = 2", "format = 1")
    plan = read(old)
    assert described(plan) == described(replace(demo_plan(), loop=tree.mapped(demo_plan().loop, without_peak)))
    assert saved_text(replace(plan, loop=demo_plan().loop)).count("typical_heat") == 2


def without_peak(leaf):
    return replace(leaf, peak_heat=None) if isinstance(leaf, tree.Source) else leaf


def test_a_fault_in_version_1_is_told_by_the_name_and_line_the_file_has():
    with pytest.raises(InputError) as caught:
        read(V1.replace('heat = "0.05 kW"', 'heat = "5 MW"'))
    line = V1[: V1.index("0.05 kW")].count("\n") + 1
    assert str(caught.value).startswith(f"line {line}: parts.second block.heat = ")


def test_a_key_of_version_2_is_unknown_to_version_1_beside_the_old_one():
    with pytest.raises(InputError, match=r"parts\.second block\.heat = 'heat' is not accepted"):
        read(V1.replace('heat = "0.05 kW"', 'heat = "5 W"\ntypical_heat = "6 W"'))


# ------------------------------------------------------------------------------------------------ where it goes


def test_a_plan_without_a_file_needs_a_path(tmp_path):
    plan = replace(demo_plan(), origin=None)
    with pytest.raises(InputError, match="say where it should go"):
        save_plan(plan)
    saved = save_plan(plan, str(tmp_path / "new" / "folder" / "a.toml"))
    assert saved.path.exists()
    assert str(saved.path) in saved.words
    assert reloaded(plan, saved).origin.path == saved.path


def test_the_peak_load_is_not_saved_into_the_file_of_the_usual_one():
    with pytest.raises(InputError, match="not read from a file"):
        save_plan(demo_plan().set(load="peak"))


@pytest.mark.parametrize(
    "change",
    [
        lambda p: p.set(room_air=[20.0, 25.0]),
        lambda p: p.set(**{"processor.heat": [20.0, 25.0]}),
        lambda p: p.set(**{"processor.resistance": [0.02, 0.03]}),
        lambda p: replace(
            p,
            loop=tree.Series(
                *p.loop.items, Resistance("x", catalogue.part("inline", "flow meter, wheel").losses().popitem()[1])
            ),
        ),
        lambda p: replace(p, title="half a sign \ud800"),
    ],
    ids=["array of the plan", "array of an element", "array of a part", "part of Python", "half a sign"],
)
def test_what_no_file_can_hold_is_refused_in_words_and_the_file_stays(tmp_path, change):
    file = tmp_path / "mine.toml"
    file.write_bytes(DEMO.read_bytes())
    with pytest.raises(InputError):
        save_plan(change(load_plan(file)))
    assert file.read_bytes() == DEMO.read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_radiators_without_fans_and_air_are_saved_and_read_back(tmp_path):
    file = tmp_path / "mine.toml"
    bare = tree.mapped(load_plan(DEMO).loop, lambda e: replace(e, fan=None) if hasattr(e, "fan") else e)
    save_plan(replace(load_plan(DEMO), loop=bare), file)
    radiators = load_plan(file).units(tree.RadiatorUnit)
    assert [(u.fan, u.air_flow_each) for u in radiators] == [(None, 0.0)] * len(radiators)


def test_a_file_that_changed_since_is_left_alone_and_every_save_finds_a_place_of_its_own(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_bytes(ODD.encode())
    plan = load_plan(file)
    theirs = ODD.replace("400 ft", "900 ft").encode()
    file.write_bytes(theirs)
    for number in (2, 3):
        saved = save_plan(plan.set(height=f"{number} ft"))
        assert saved.path == tmp_path / f"mine-{number}.toml"
        assert saved.words == (
            f"mine.toml was changed on disk since it was read, so it was left alone; yours is now in {saved.path}."
        )
        assert load_plan(saved.path).height == pytest.approx(0.3048 * number)
    assert file.read_bytes() == theirs
    again = save_plan(reloaded(plan, saved).set(height="7 ft"))
    assert again.path == saved.path
    assert len(list(tmp_path.iterdir())) == 3


def test_a_plan_may_be_saved_again_and_again_into_its_file(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_bytes(ODD.encode())
    plan = load_plan(file)
    for height in (1.0, 2.0, 3.0):
        plan = plan.set(height=height)
        plan = reloaded(plan, save_plan(plan))
        assert load_plan(file).height == height
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_the_same_file_by_another_path_is_the_same_file(tmp_path, monkeypatch):
    (tmp_path / "plans").mkdir()
    file = tmp_path / "plans" / "mine.toml"
    file.write_bytes(ODD.encode())
    monkeypatch.chdir(tmp_path)
    plan = load_plan("plans/mine.toml")
    assert save_plan(plan.set(height="5 ft"), tmp_path / "plans" / ".." / "plans" / "mine.toml").path.resolve() == file
    plan = load_plan("plans/mine.toml")
    monkeypatch.chdir(tmp_path / "plans")
    assert save_plan(plan.set(height="6 ft")).path == file
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["mine.toml", "plans"]
    assert b'"6 ft"' in file.read_bytes()


def test_another_file_that_is_there_already_is_left_alone(tmp_path):
    (tmp_path / "other.toml").write_text("not mine")
    saved = save_plan(demo_plan(), tmp_path / "other.toml")
    assert saved.path == tmp_path / "other-2.toml"
    assert saved.words.startswith("other.toml is there already, so it was left alone")
    assert (tmp_path / "other.toml").read_text() == "not mine"


def test_a_file_that_went_is_written_anew(tmp_path):
    file = tmp_path / "sub" / "mine.toml"
    file.parent.mkdir()
    file.write_bytes(ODD.encode())
    plan = load_plan(file)
    file.unlink()
    file.parent.rmdir()
    assert save_plan(plan).path == file
    assert file.read_bytes() == ODD.encode()


@each_example
def test_an_example_is_not_written_without_a_path_of_ones_own(path, tmp_path):
    before = path.read_bytes()
    with pytest.raises(InputError, match="Examples are never written"):
        save_plan(load_plan(path).set(pump_speed="61 %"))
    assert path.read_bytes() == before
    assert save_plan(load_plan(path).set(pump_speed="61 %"), tmp_path / "mine.toml").path == tmp_path / "mine.toml"


def test_a_link_that_leads_to_itself_gives_way_to_the_plan(tmp_path):
    link = tmp_path / "plan.toml"
    link.symlink_to(link)
    assert save_plan(demo_plan(), link).path == link
    assert load_plan(link).title == demo_plan().title
