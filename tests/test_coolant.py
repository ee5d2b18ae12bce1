"""Coolants and air: the fits, their range, and one record for many designs."""

import numpy as np
import pytest

from loopmath.checks import InputError, OutOfRange
from loopmath.laws import coolant as law
from loopmath.tables import read_table

WATER_LIMITS = (1e-4, 5e-4, 2e-4, 1e-3)
MIXTURE_LIMITS = (1e-4, 3e-3, 2e-4, 1e-3)
COLUMNS = ("density_kg_m3", "viscosity_mpa_s", "heat_capacity_j_kg_k", "conductivity_w_m_k")


@pytest.mark.parametrize("name", sorted(law.coolants()))
def test_fit_follows_the_table(name):
    rows = [row for row in read_table("coolants.csv") if row["coolant"] == name]
    temperature = np.array([row["temperature_degc"] for row in rows])
    found = law.coolant(name).checked_properties(temperature)
    limits = WATER_LIMITS if name == "water" else MIXTURE_LIMITS
    for column, values, limit in zip(COLUMNS, found, limits, strict=True):
        table = np.array([row[column] for row in rows]) * (1e-3 if column == "viscosity_mpa_s" else 1.0)
        assert np.max(np.abs(values / table - 1)) < limit, column


def test_fit_between_the_rows_follows_the_library():
    prop = pytest.importorskip("CoolProp.CoolProp").PropsSI
    temperature = np.arange(5.5, 70, 0.5)
    for name, fluid in (("water", "Water"), ("propylene-glycol-40", "INCOMP::APG[0.4]")):
        found = law.coolant(name).properties(temperature)
        for key, values, limit in zip("DVCL", found, WATER_LIMITS, strict=True):
            library = prop(key, "T", temperature + 273.15, "P", 101325.0, fluid)
            assert np.max(np.abs(values / library - 1)) < limit, (name, key)


def test_table_is_what_the_library_gives():
    prop = pytest.importorskip("CoolProp.CoolProp").PropsSI
    for row in read_table("coolants.csv"):
        fluid = row["locator"].split("'")[1]
        value = prop("V", "T", row["temperature_degc"] + 273.15, "P", 101325.0, fluid)
        assert 1e-3 * row["viscosity_mpa_s"] == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("name", sorted(law.coolants()))
def test_warmer_coolant_is_thinner_and_lighter(name):
    density, viscosity, _, conductivity = law.coolant(name).properties(np.linspace(5, 70, 200))
    assert np.all(np.diff(density) < 0)
    assert np.all(np.diff(viscosity) < 0)
    assert np.all(np.diff(conductivity) > 0)


def test_more_glycol_is_thicker_and_freezes_later():
    series = [law.coolant("water")] + [law.coolant(f"propylene-glycol-{n}") for n in (10, 20, 30, 40)]
    assert np.all(np.diff([c.properties(20.0)[1] for c in series]) > 0)
    assert np.all(np.diff([c.freezing for c in series]) < 0)


def test_gathered_designs_equal_each_one_alone():
    every = list(law.coolants().values())
    index = np.array([0, 3, 1, 8, 3])
    temperature = np.array([6.0, 20.0, 37.5, 55.0, 70.0])
    together = law.gather(every, index).properties(temperature)
    for column, values in enumerate(together):
        alone = [every[i].properties(t)[column] for i, t in zip(index, temperature, strict=True)]
        np.testing.assert_allclose(values, alone, rtol=1e-13)


def test_properties_broadcast_and_leave_their_input_alone():
    temperature = np.linspace(10, 60, 6).reshape(3, 2)
    kept = temperature.copy()
    density = law.coolant("water").properties(temperature)[0]
    assert density.shape == (3, 2)
    np.testing.assert_array_equal(temperature, kept)
    assert np.ndim(law.coolant("water").properties(20.0)[1]) == 0
    assert law.gather(list(law.coolants().values()), [0, 1]).properties(temperature)[3].shape == (3, 2)


@pytest.mark.parametrize("temperature", [4.9, 70.1, [20.0, 71.0]])
def test_outside_the_table_is_refused_by_name(temperature):
    with pytest.raises(OutOfRange, match="ethylene-glycol-30.*5 to 70 degC"):
        law.coolant("ethylene-glycol-30").checked_properties(temperature)


def test_unknown_coolant_names_the_nearest():
    with pytest.raises(InputError, match="propylene-glycol-20"):
        law.coolant("propylene glycol 20")


def test_coolants_are_fitted_once():
    assert law.coolant("water") is law.coolant("water")


def test_air_follows_the_reference_equations():
    prop = pytest.importorskip("CoolProp.CoolProp").PropsSI
    temperature = np.linspace(5, 60, 12)
    found = (
        law.air_density(temperature),
        law.air_viscosity(temperature),
        np.full(12, law.AIR_HEAT_CAPACITY),
        law.air_conductivity(temperature),
    )
    for key, values, limit in zip("DVCL", found, (1e-3, 0.01, 2e-3, 0.015), strict=True):
        library = prop(key, "T", temperature + 273.15, "P", 101325.0, "Air")
        assert np.max(np.abs(values / library - 1)) < limit, key


def test_pressure_falls_with_height_as_the_weight_of_the_air():
    assert law.pressure_at_height(0.0) == pytest.approx(101325.0)
    height, step = 1000.0, 1.0
    fall = law.pressure_at_height(height) - law.pressure_at_height(height + step)
    density = law.air_density(15.0 - 0.0065 * height, law.pressure_at_height(height))
    assert fall == pytest.approx(density * 9.80665 * step, rel=1e-3)


@pytest.mark.parametrize(
    ("function", "value"),
    [
        (law.air_density, -300.0),
        (law.air_viscosity, 500.0),
        (law.air_conductivity, -80.0),
        (law.pressure_at_height, 2e4),
    ],
)
def test_air_outside_its_range_is_refused(function, value):
    with pytest.raises(OutOfRange):
        function(value)


def test_air_density_refuses_vacuum():
    with pytest.raises(OutOfRange, match="air pressure"):
        law.air_density(20.0, 0.0)
