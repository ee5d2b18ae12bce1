"""The leak test against published numbers and against an open library; figures of the gas law stand beside each."""

import numpy as np
import pytest

from loopmath.laws import leak


def test_sealed_air_that_cools_by_a_kelvin():
    """Gas law, exact: 120.000 kPa x 1/293.15 = 409.3 Pa, 0.341 %."""
    fall = leak.corrected_pressure(120e3, 20.0, 19.0) - 120e3
    assert fall == pytest.approx(-409.3, abs=0.5)
    assert 100 * fall / 120e3 == pytest.approx(-0.341, abs=0.0005)


def test_the_ratio_holds_for_absolute_pressure_alone():
    """Gas law: 18.675 kPa on a gauge at 101.325 kPa becomes 18.266, not 18.611 as the ratio of gauge pressures says."""
    gauge = leak.corrected_pressure(18675.0 + 101325.0, 20.0, 19.0) - 101325.0
    assert gauge == pytest.approx(18266.0, abs=0.5)
    assert leak.corrected_pressure(18675.0, 20.0, 19.0) - gauge > 300.0


def test_pressure_decay_with_a_room_that_cools():
    """Gas law, q = V (p1 - p2 T1/T2)/t; the general form of EN 1779 and ASTM F2095, standards not read."""
    assert leak.corrected_pressure(129200.0, 22.5, 23.0) == pytest.approx(129418.5, abs=0.5)
    q = leak.leak_rate(5e-4, 130e3, 129.2e3, 23.0, 22.5, 1800.0)
    assert q == pytest.approx(1.6153e-4, rel=1e-3)
    assert 6e7 * leak.as_volume(q) == pytest.approx(0.0956, rel=1e-3)
    assert leak.as_moles(q, 23.0) == pytest.approx(6.560e-8, rel=1e-3)


def test_pressure_decay_at_constant_temperature():
    """Gas law: 0.5 L, 100 Pa in 600 s."""
    q = leak.leak_rate(5e-4, 130e3, 129.9e3, 23.0, 23.0, 600.0)
    assert q == pytest.approx(8.333e-5, rel=1e-3)
    assert 6e7 * leak.as_volume(q) == pytest.approx(0.04935, rel=1e-3)


@pytest.mark.parametrize("pressure", [110e3, 150e3, 200e3, 300e3])
def test_air_is_ideal_to_a_tenth_of_a_percent(pressure):
    """CoolProp (Lemmon 2000): sealed air of a room, warmed or cooled at constant density, 0.1 %."""
    properties = pytest.importorskip("CoolProp.CoolProp")
    density = properties.PropsSI("D", "P", pressure, "T", 296.15, "Air")
    for warm in (5.0, 15.0, 30.0, 45.0):
        real = properties.PropsSI("P", "D", density, "T", warm + 273.15, "Air")
        assert leak.corrected_pressure(pressure, 23.0, warm) == pytest.approx(real, rel=1e-3)


def test_stored_energy_against_numerical_work():
    """The integral of p dV along each way; isothermal less the work against the room."""
    p0, p1, volume = 101325.0, 151325.0, 5e-4
    v = np.linspace(volume, volume * (p1 / p0) ** (1 / 1.4), 100001)
    assert leak.isentropic_energy(volume, p1, p0) == pytest.approx(np.trapezoid(p1 * (volume / v) ** 1.4, v), rel=1e-6)
    v = np.linspace(volume, volume * p1 / p0, 100001)
    assert leak.isothermal_energy(volume, p1, p0) == pytest.approx(np.trapezoid(p1 * volume / v - p0, v), rel=1e-6)


def test_isentropic_work_is_the_fall_of_internal_energy():
    """CoolProp (Lemmon 2000): u1 - u2 at constant entropy, of the air in 0.5 L; k = 1.4 is good to half a percent."""
    properties = pytest.importorskip("CoolProp.CoolProp")
    mass = 5e-4 * properties.PropsSI("D", "P", 151325.0, "T", 296.15, "Air")
    entropy = properties.PropsSI("S", "P", 151325.0, "T", 296.15, "Air")
    u = [properties.PropsSI("U", "P", p, "S", entropy, "Air") for p in (151325.0, 101325.0)]
    assert leak.isentropic_energy(5e-4, 151325.0, 101325.0) == pytest.approx(mass * (u[0] - u[1]), rel=5e-3)
