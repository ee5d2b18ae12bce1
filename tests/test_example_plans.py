"""The plans of data/plans: they load, answer, draw, keep their limits, and come back from a save as they were."""

import tomllib

import pytest
from examples import each_example

from loopmath import catalogue, load_plan, schematic
from loopmath import loop as tree
from loopmath.catalogue import CATALOGUE
from loopmath.planfile import ANY_PART, BESIDE, DEAD_LEG, PARTS, RUN, SECTIONS
from loopmath.plansave import save_plan, text_of
from loopmath.reader import kinds_of
from loopmath.solution import solved
from loopmath.toml_text import LISTS

PLAIN = ("text", "texts", "truth", "count")

pytestmark = each_example


@pytest.fixture
def plan(path):
    return load_plan(path)


def groups(plan):
    return [item for item in plan.loop.items if isinstance(item, tree.Parallel)]


def test_its_shape_is_what_was_asked_for(path, plan):
    blocks, radiators, side = plan.units(tree.Source), plan.units(tree.RadiatorUnit), groups(plan)
    assert path.stem in ("grading_suite", "podcast_booth", "quiet_workshop", "reading_cube")
    if path.stem == "podcast_booth":  # one series loop, two blocks
        assert (len(blocks), len(radiators), len(side)) == (2, 2, 0)
    elif path.stem == "grading_suite":  # two graphics cards in parallel, two radiators
        assert (len(radiators), len(side)) == (2, 1)
        inside = [[u.name for u in tree.of_kind(branch, tree.Source)] for branch in side[0].branches]
        assert inside == [["left card"], ["right card"]]
        assert {u.block.name for u in tree.of_kind(side[0], tree.Source)} == {"graphics card block, full cover"}
    elif path.stem == "quiet_workshop":  # room air goes in through one radiator, and out through the other
        assert plan.case_air_by == "balance"
        assert {(u.name, u.air, u.blows) for u in radiators} == {
            ("front radiator", "room", "case"),
            ("top radiator", "case", "room"),
        }
        assert [f.blows for f in plan.case_fans] == ["out"]
        assert {p.cools for p in plan.on_air} == {"memory", "voltage regulator", "drive"}
        assert all(catalogue.part("block", p.block).cools == p.cools for p in plan.on_air)
        fed = [name for header in plan.headers for name in header.feeds]
        assert sorted(fed) == ["front radiator", "pump", "rear fan", "top radiator"]
    else:  # a small cube, one radiator
        assert (len(blocks), len(radiators), len(side)) == (1, 1, 0)
        assert not any(run.tube.rigid for run in plan.units(tree.Run))


def test_it_states_a_plausible_answer(path, plan):
    solution = solved(plan)
    state = solution.state
    assert solution.known
    assert not solution.plight
    # A loop a person builds flows some litres a minute, its coolant a few to twenty kelvin over the room; common
    # practice, no source.
    assert 1.5 < 60e3 * float(state["flow"]) < 6.0
    assert 2.0 < float(state["coolant_over_room"]) < 20.0
    assert float(state["coolant_warmest"]) < plan.coolant_limit
    assert float(state["sound"]) < plan.sound_limit
    for unit in plan.units(tree.Source):
        assert float(plan.room_air) < float(state[unit.name]) < unit.limit - 10.0


def test_it_is_free_of_dangers_and_warnings(path, plan):
    # But for the poison in the coolant of one: that warns in any loop.
    rows = [row for row in solved(plan).warned() if row.quantity != "coolant base: ethylene glycol"]
    assert {row.signal for row in rows} <= {"caution", "notice"}


def test_at_peak_heat_every_component_stays_below_its_limit(path, plan):
    assert all(unit.peak_heat > unit.heat for unit in plan.units(tree.Source))
    solution = solved(plan.at_peak())
    assert solution.known
    for unit in plan.units(tree.Source):
        assert float(solution.state[unit.name]) < unit.limit
    assert float(solution.state["coolant_warmest"]) < plan.coolant_limit


def test_heat_put_in_is_heat_taken_out_by_the_radiators(path, plan):
    solution = solved(plan)
    density, _, heat_capacity, _ = solution.fluid
    taken, pump = 0.0, 0.0
    for row in solution.walk:
        if isinstance(row["element"], tree.RadiatorUnit):
            taken += float(row["flow"] * density * heat_capacity * (row["in"] - row["out"]))
        elif isinstance(row["element"], tree.PumpUnit):
            pump += float(row["heat"])
    put_in = sum(u.heat for u in plan.units(tree.Source)) + pump
    assert 0.0 < pump < float(solution.state["pump_power"])
    assert taken == pytest.approx(put_in, rel=1e-9)
    first, last = solution.walk[0], solution.walk[-1]
    assert float(last["out"]) == pytest.approx(float(first["in"]), abs=1e-9)  # the loop closes on itself


def test_it_is_drawn_with_every_name(path, plan):
    figure = schematic.schematic_figure(plan, solved(plan), 880, "metric")
    written = {t.get_gid(): t.get_text().replace("\n", " ") for t in figure.findobj(lambda a: hasattr(a, "get_text"))}
    names = [leaf.name for leaf in tree.leaves(plan.loop)]
    words = schematic.words(plan, solved(plan), "metric")
    for number, name in enumerate(names):
        leaf = list(tree.leaves(plan.loop))[number]
        if not isinstance(leaf, (tree.Run, tree.DeadLeg)):
            assert written[f"name-{number}"] == name
        assert name in words


def test_saving_it_unchanged_is_the_same_file_to_the_byte(path, plan, tmp_path):
    assert text_of(plan).encode() == path.read_bytes()
    saved = save_plan(plan, tmp_path / path.name)
    assert saved.path.read_bytes() == path.read_bytes()


def test_it_has_a_title_notes_and_limits(path, plan):
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert plan.title != "Untitled plan"
    assert "invented" in plan.notes
    assert {"coolant", "sound", "budget", "currency"} <= set(document["limits"])
    assert plan.currency
    assert document["format"] == 2


def quantities(document):
    """Yield place, kind and value of every quantity of a plan file."""
    tables_ = [((s,) if s else (), document.get(s, {}) if s else document, lines) for s, lines in SECTIONS.items()]
    for name, table in document["parts"].items():
        kind = table["kind"]
        tables_.append((("parts", name), table, (*PARTS[kind][1], *ANY_PART)))
        own = kinds_of(CATALOGUE[kind][1])
        yield from ((("parts", name, k), own[k], v) for k, v in table.items() if k in own)
    for group, (_, lines) in BESIDE.items():
        tables_ += [((group, name), table, lines) for name, table in document.get(group, {}).items()]
    todo = list(document["loop"]["order"])
    while todo:
        entry = todo.pop()
        if isinstance(entry, list):
            todo += entry
        elif isinstance(entry, dict) and "parallel" in entry:
            todo += entry["parallel"]
        elif isinstance(entry, dict):
            tables_.append((("loop",), entry, RUN if "run" in entry else DEAD_LEG))
    for place, table, lines in tables_:
        for line in lines:
            if line.key in table:
                rows = table[line.key] if line.kind in LISTS else [table[line.key]]
                yield from (((*place, line.key), line.kind, row) for row in rows)


def test_every_quantity_of_it_carries_a_unit(path):
    found = list(quantities(tomllib.loads(path.read_text(encoding="utf-8"))))
    with_unit = [(place, kind, value) for place, kind, value in found if kind not in PLAIN]
    assert len(with_unit) >= 12
    for place, _, value in with_unit:
        for one in value if isinstance(value, list) else [value]:
            assert isinstance(one, str), place
            assert one.strip()[-1].isalpha() or one.endswith(("%", "^2")), place
