"""What the drawings of air, time and sound say in numbers, against the answer and against each other."""

from types import SimpleNamespace

import numpy as np
import pytest
from breathing import FAST, exhaust, machine, radiator
from examples import each_example
from matplotlib.figure import Figure

from loopmath import air_figures, load_plan, quiet, quiet_figures, scenarios, solve, time_figures
from loopmath import loop as tree
from loopmath.laws import materials
from loopmath.units import DISPLAY


@each_example
def test_all_that_has_a_limit_is_listed_with_its_own_and_the_nearest_first(path):
    plan = load_plan(path)
    answer = solve(plan)
    rows = air_figures.limit_rows(answer)
    assert [row[0] for row in rows[:2]] == ["case air", "warmest coolant"]
    assert rows[0][1] == answer.state["case_air"]
    assert rows[1][1:3] == (answer.state["coolant_warmest"], plan.coolant_limit)
    parts = {name: (t, limit) for name, t, limit, _ in rows[2:] if not name.endswith(" tube end")}
    assert parts == {part.name: (answer.state[part.name], part.limit) for part in plan.components}
    left = [limit - t for t, limit in parts.values()]
    assert left == sorted(left)
    ends = {name: (t, limit) for name, t, limit, _ in rows if name.endswith(" tube end")}
    softens = {}
    for row in answer.walk:
        tube = getattr(row["element"], "tube", None)
        if tube is not None and tube.material != "copper" and materials.softening_temperature(tube.material):
            standing = isinstance(row["element"], tree.DeadLeg)
            softens.setdefault(tube.material, []).append(float(answer.case_air if standing else row["in"]))
    assert set(ends) == {f"{material} tube end" for material in softens}
    for material, warm in softens.items():
        t, limit = ends[f"{material} tube end"]
        assert limit == materials.softening_temperature(material)
        assert t == pytest.approx(max(warm), abs=1e-9)


def test_the_point_of_the_fans_lies_on_their_curve_and_on_that_of_the_core():
    answer = solve(machine(radiator("front", 0.6, fans_in_series=2, filter_loss=4.0), case_fans=(exhaust(),)))
    point = air_figures.FanPoint(Figure().add_subplot())
    point.update(answer)
    (flow,), (pressure,) = point.point.get_data()
    each = answer.airs["front"].flow / 3  # of three positions
    assert flow == pytest.approx(DISPLAY["metric"]["air flow"].convert(float(each)), rel=1e-9)
    for line in (point.fan, point.core):
        x, y = line.get_data()
        seen = np.isfinite(y)
        assert np.interp(flow, x[seen], y[seen]) == pytest.approx(pressure, rel=0.01)
    # Two fans one behind the other give twice the pressure of one where nothing flows: similarity with the speed.
    x, y = point.fan.get_data()
    assert y[0] == pytest.approx(DISPLAY["metric"]["air pressure"].convert(2 * FAST.shutoff_pressure * 0.36), rel=0.03)


@each_example
def test_the_lines_of_a_run_are_its_temperatures_the_nearest_to_its_limit_first(path):
    plan = load_plan(path)
    run = scenarios.load_step(plan, 0.2, 1.0)
    rows = time_figures.kept(run)
    assert len(rows) <= time_figures.MOST
    named = {name: (values, limit) for name, _, values, _, limit in rows}
    assert named["coolant_warmest"][0][-1] == run.state["coolant_warmest"][-1]
    assert named["coolant_warmest"][1] == plan.coolant_limit
    assert named["case_air"][0] is run.state["case_air"]
    limits = {part.name: part.limit for part in plan.components}
    left = {name: limit - max(run.temperatures[name]) for name, limit in limits.items()}
    drawn = [name for name, *_ in rows[2:]]
    assert drawn == sorted(left, key=left.get)[: len(drawn)]
    for name in drawn:
        assert named[name][0] is run.temperatures[name]
        assert named[name][1] == limits[name]


@each_example
def test_limits_are_marked_where_they_are_met(path):
    swept = quiet.trade_off(load_plan(path))
    marked = quiet_figures.crossings(swept)
    # Fans hardly move the flow, so limits of flow are not marked on their curve.
    assert set(marked) == {name for name in swept.hits if "flow" not in name}
    for name, speed in marked.items():
        assert speed == pytest.approx(swept.hits[name].speed, abs=0.01, nan_ok=True), name


def test_of_two_speeds_that_meet_a_limit_the_faster_is_marked():
    speeds = np.linspace(0.2, 1.0, 81)
    margins = {"kept between": (speeds - 0.374) * (0.746 - speeds), "kept always": 1.0 + 0.0 * speeds}
    marked = quiet_figures.crossings(SimpleNamespace(speeds=speeds, margins=margins))
    assert marked["kept between"] == pytest.approx(0.746, abs=1e-3)
    assert np.isnan(marked["kept always"])
