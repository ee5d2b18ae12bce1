"""Every row of a sweep is the design it says it is, solved alone."""

import sys
from itertools import product

import numpy as np
import pandas as pd
import pytest

import loopmath
from loopmath.checks import InputError
from loopmath.solution import solved
from loopmath.units import Quantity

FIGURES = (
    "flow",
    "head",
    "coolant_supply",
    "coolant_return",
    "coolant_warmest",
    "coolant_over_room",
    "heat",
    "sound",
    "pump_power",
    "fan_power",
    "case_air",
    "volume",
    "processor",
    "graphics card",
)


def check_rows(table, plan, names):
    """Every row against the same design solved alone, names set before numbers as a sweep does."""
    for _, row in table.iterrows():
        settings = {name: row[name] for name in names}
        texts = {k: v for k, v in settings.items() if isinstance(v, str)}
        alone = solved(plan.set(**texts).set(**{k: float(v) for k, v in settings.items() if k not in texts}))
        for figure in FIGURES:
            assert row[figure] == pytest.approx(float(alone.state[figure]), rel=1e-12, nan_ok=True), (settings, figure)
        for signal, count in alone.warning_counts().items():
            assert row[signal] == count[0], (settings, signal)


@pytest.fixture(scope="module")
def plan():
    return loopmath.demo_plan()


@pytest.mark.parametrize("chunk", [16384, 5, 1])
def test_rows_equal_single_designs_in_crossed_order(plan, chunk, monkeypatch):
    monkeypatch.setattr(sys.modules["loopmath.sweep"], "CHUNK", chunk)  # the function hides the module
    values = {"pump_speed": [0.1, 0.5, 1.0], "fan_speed": [0.1, 0.6, 1.0], "fittings": [0.0, 24.0]}
    table = loopmath.sweep(plan, **values)
    expected = list(product(*values.values()))
    assert [tuple(row) for row in table[list(values)].to_numpy()] == expected
    check_rows(table, plan, values)
    assert table["coolant_return"].isna().sum() == 10  # a pump or a fan stands still


def test_columns_come_in_the_order_promised(plan):
    table = loopmath.sweep(plan, pump_speed=[0.5], layout=["series"])
    assert list(table.columns) == ["pump_speed", "layout", *FIGURES, "danger", "warning", "caution", "notice"]
    assert isinstance(table.index, pd.RangeIndex)


def test_names_are_settings_too(plan):
    values = {
        "layout": ["series", "parallel"],
        "radiator": ["3 x 120 mm, slim, medium fins", "2 x 140 mm, standard depth, medium fins"],
        "coolant": ["water", "propylene-glycol-30"],
        "pump_speed": [0.6, 0.9],
    }
    table = loopmath.sweep(plan, **values)
    assert len(table) == 16
    assert {tuple(row) for row in table[list(values)].to_numpy()} == set(product(*values.values()))
    check_rows(table, plan, values)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("tube", ["PETG 14/10 mm", "acrylic 16/12 mm", "plasticised PVC 16/10 mm"]),
        ("pump", ["compact pump, 2.4 m", "two-stage pump, 7.4 m"]),
        ("fan", ["quiet fan 140 mm, 1100 rpm", "radiator fan 120 mm, 2000 rpm"]),
        ("front radiator.air", ["room", "case"]),
    ],
)
def test_each_name_gives_its_own_row(plan, name, values):
    table = loopmath.sweep(plan, **{name: values})
    assert list(table[name]) == values
    check_rows(table, plan, [name])
    assert table["coolant_return"].is_unique


def test_dotted_settings_and_heights_are_numbers_of_the_grid(plan):
    values = {"processor.heat": [0.0, 140.0, 300.0], "front radiator.depth": [0.028, 0.06], "height": [0.0, 1500.0]}
    table = loopmath.sweep(plan, **values)
    assert [tuple(row) for row in table[list(values)].to_numpy()] == list(product(*values.values()))
    check_rows(table, plan, values)


def test_text_with_units_and_quantities_are_the_same_numbers(plan):
    plain = loopmath.sweep(plan, pump_speed=[0.5, 1.0], bore=[0.008, 0.0127], room_air=[25.0])
    text = loopmath.sweep(plan, pump_speed=["50 %", "100 %"], bore=["8 mm", "1/2 in"], room_air="77 degF")
    pd.testing.assert_frame_equal(plain, text, rtol=1e-9)
    mixed = loopmath.sweep(
        plan, pump_speed=Quantity([50, 100], "percent"), bore=[Quantity(8, "mm"), 0.0127], room_air=np.array([25.0])
    )
    pd.testing.assert_frame_equal(plain, mixed, rtol=1e-9)


def test_dotted_settings_take_units_as_promised(plan):
    text = loopmath.sweep(plan, **{"processor.heat": ["100 W", "0.2 kW"]})
    plain = loopmath.sweep(plan, **{"processor.heat": [100.0, 200.0]})
    pd.testing.assert_frame_equal(text[list(FIGURES)], plain[list(FIGURES)], rtol=1e-9)


def test_the_distance_of_the_ear_can_be_swept(plan):
    """Point source: 6.02 dB less at twice the distance (ISO 9613-2)."""
    table = loopmath.sweep(plan.set(fan_speed=1.0), listener=["0.5 m", "1 m", "2 m"])
    assert np.diff(table["sound"]) == pytest.approx([-6.0206, -6.0206], abs=1e-3)
    check_rows(table, plan.set(fan_speed=1.0), ["listener"])


def test_a_sweep_of_nothing_is_the_plan_itself(plan):
    table = loopmath.sweep(plan)
    assert len(table) == 1
    check_rows(table, plan, [])


def test_no_temperature_is_stated_where_the_coolant_leaves_its_data(plan):
    table = loopmath.sweep(plan.set(fan_speed=0.25), **{"graphics card.heat": [100.0, 300.0, 2500.0]})
    assert list(table["coolant_return"].isna()) == [False, False, True]
    assert list(table["graphics card"].isna()) == [False, False, True]
    assert (table["flow"] > 0).all()
    assert table["danger"].iloc[2] > table["danger"].iloc[0]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"pumpspeed": [0.5]}, "pump_speed"),
        ({"pump_speed": []}, "at least one value"),
        ({"radiator": []}, "at least one value"),
        ({"pump_speed": [0.5, 2.0]}, "0 to 1"),
        ({"pump_speed": [0.5, float("nan")]}, "a finite number"),
        ({"pump_speed": ["5 W"]}, "'55 %'"),
        ({"pump_speed": [[0.5, 0.6]]}, "pump_speed"),
        ({"radiator": ["3 x 120 slim"]}, "3 x 120 mm, slim, medium fins"),
        ({"pump": [3]}, "standard pump, 3.7 m"),
        ({"layout": ["ring"]}, "series"),
        ({"nobody.heat": [1.0]}, "element"),
    ],
)
def test_bad_sweeps_are_refused_in_words(plan, settings, words):
    with pytest.raises(InputError) as refused:
        loopmath.sweep(plan, **settings)
    assert words in str(refused.value)


def test_a_hundred_thousand_designs_in_one_call_are_finite_and_in_place(plan):
    values = {
        "pump_speed": np.linspace(0.4, 1.0, 20),
        "fan_speed": np.linspace(0.4, 1.0, 20),
        "fittings": np.arange(0.0, 25.0),
        "bore": np.linspace(0.008, 0.014, 10),
    }
    table = loopmath.sweep(plan, **values)
    assert len(table) == 100_000
    assert np.isfinite(table.to_numpy()).all()
    # the last changes fastest, over every border between chunks
    assert np.array_equal(table["bore"], np.tile(values["bore"], 10_000))
    assert np.array_equal(table["pump_speed"], np.repeat(values["pump_speed"], 5000))
    grid = table["flow"].to_numpy().reshape(20, 20, 25, 10)
    assert np.all(np.diff(grid, axis=0) > 0)  # a faster pump
    assert np.all(np.diff(grid, axis=2) < 0)  # one more fitting
    check_rows(table.iloc[[0, 16383, 16384, 32767, 32768, 99_999]], plan, values)
