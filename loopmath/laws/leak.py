"""Air shut into a loop: pressure at another temperature, what leaks, how surely a test tells, stored energy."""

from typing import Any

import numpy as np
from scipy import stats

from loopmath.checks import OutOfRange, between, positive

#: Molar gas constant, exact in the SI. [J/(mol K)]
GAS = 8.314462618
#: 0 degC, and ratio of the heat capacities of air (from memory, as in [Incropera2007]_: 1.400 to 1.401). [K], [-]
ZERO, AIR_RATIO = 273.15, 1.4
#: Chance of a false alarm, and of missing a leak, that is allowed.
RISK = 0.01


def kelvin(temperature: Any) -> Any:
    """Return a temperature [degC, above -273.15] in K."""
    return positive("temperature", between("temperature", temperature) + ZERO, "K")


def corrected_pressure(pressure: Any, temperature: Any, reference: Any) -> Any:
    """
    Absolute pressure a sealed body of air would have at a reference temperature.

    Parameters
    ----------
    pressure : float or array
        Absolute, more than 0: a gauge pressure is not in proportion to temperature. [Pa]
    temperature, reference : float or array
        Of the air when it was read, and the one to correct to. [degC]

    Returns
    -------
    pressure : float or array
        Absolute. [Pa]

    Raises
    ------
    OutOfRange
        If a pressure or an absolute temperature is not above 0.

    Notes
    -----
    Ideal gas, p/T constant at constant volume; within 0.1 % of [LemmonAir2000]_ for air of a room at 1 to 3 bar.

    Examples
    --------
    >>> round(float(corrected_pressure(129200.0, 22.5, 23.0)), 1)
    129418.5
    """
    return positive("absolute pressure", pressure, "Pa") * kelvin(reference) / kelvin(temperature)


def leak_rate(volume: Any, before: Any, after: Any, warm_before: Any, warm_after: Any, time: Any) -> Any:
    """
    Leak of a sealed body of air from its pressure at two times, as pressure times volume.

    Parameters
    ----------
    volume : float or array
        Of the air, more than 0. [m3]
    before, after : float or array
        Absolute pressure at both times, more than 0. [Pa]
    warm_before, warm_after : float or array
        Temperature of the air at both times. [degC]
    time : float or array
        Between them, more than 0. [s]

    Returns
    -------
    leak : float or array
        At the first temperature; negative where the pressure rose. [Pa m3/s]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    q = V (p1 - p2 T1/T2)/t, the general form of pressure-decay tests as in [EN1779]_ and [ASTMF2095]_.

    Examples
    --------
    >>> f"{leak_rate(5e-4, 130000.0, 129200.0, 23.0, 22.5, 1800.0):.4e}"
    '1.6153e-04'
    """
    lost = positive("absolute pressure", before, "Pa") - corrected_pressure(after, warm_after, warm_before)
    return positive("volume", volume, "m3") * lost / positive("time", time, "s")


def as_volume(leak: Any, pressure: Any = 101325.0) -> Any:
    """Return a leak [Pa m3/s] as volume a second of air at a pressure (more than 0 Pa, absolute) [m3/s]: q/p."""
    return leak / positive("absolute pressure", pressure, "Pa")


def as_moles(leak: Any, temperature: Any) -> Any:
    """Return a leak [Pa m3/s] as amount of air [mol/s] by the ideal gas, q/(R T), at its temperature [degC]."""
    return leak / (GAS * kelvin(temperature))


def coolant_leak(air: Any, tested: Any, working: Any, room: Any, air_viscosity: Any, viscosity: Any) -> Any:
    """
    What a hole that leaks air would let through of a liquid.

    Parameters
    ----------
    air : float or array
        Leak of air in the test, at the pressure of the room. [m3/s]
    tested, working : float or array
        Gauge pressure of the test, more than 0, and of the coolant, 0 or more. [Pa]
    room : float or array
        Air pressure of the room, more than 0. [Pa]
    air_viscosity, viscosity : float or array
        Of air and of the coolant, more than 0. [Pa s]

    Returns
    -------
    leak : float or array
        [m3/s]

    Notes
    -----
    Slow flow through a narrow channel, Poiseuille [White2011]_, goes with the pressure lost over viscosity; air expands
    on its way, so it goes with (p1^2 - p0^2)/(2 p0). An upper end: what wets a fine hole may not leave it at all.

    Examples
    --------
    >>> round(8.64e10 * float(coolant_leak(1e-6 / 60, 5e4, 3e4, 101325.0, 1.85e-5, 0.89e-3)))  # mL a day
    14
    """
    p0, pt = positive("room", room, "Pa"), positive("tested", tested, "Pa")
    driven = pt * (pt + 2 * p0) / (2 * p0)
    thin = positive("air viscosity", air_viscosity, "Pa s") / positive("viscosity", viscosity, "Pa s")
    return air * thin * between("working", working, 0.0, unit="Pa") / driven


# ------------------------------------------------------------------------------------------------ how surely


def drive(tested: Any, room: Any) -> Any:
    """
    Return what a small leak of air goes with: p1^2 - p0^2, of the absolute pressures inside and outside. [Pa2]

    Parameters
    ----------
    tested : float or array
        Pressure over the room. [Pa]
    room : float or array
        Absolute pressure of the room. [Pa]

    Notes
    -----
    Poiseuille for a gas that expands on its way [White2011]_, as in `coolant_leak`.
    """
    return np.asarray(tested) * (np.asarray(tested) + 2 * np.asarray(room))


def cooling_fall(tested: Any, room: Any) -> Any:
    """
    Return how far pressure can fall at most as air cools that was pumped up without losing heat.

    Parameters
    ----------
    tested : float or array
        Pressure over the room when pumped up, 0 or more. [Pa]
    room : float or array
        Absolute pressure of the room, more than 0. [Pa]

    Returns
    -------
    fall : float or array
        [Pa]

    Notes
    -----
    Isentropic compression warms by (p1/p0)^((k - 1)/k), k = 1.4 [Baker1983]_; cooling back at constant volume takes
    that share off the absolute pressure. A hand pump warms less: an upper bound.

    Examples
    --------
    >>> round(float(cooling_fall(55e3, 101325.0)))
    18215
    """
    share = _share(np.asarray(tested) + room, room)
    return (np.asarray(tested) + room) * (1 - share ** ((AIR_RATIO - 1) / AIR_RATIO))


def slope_doubt(time: Any, count: Any, step: Any, scatter: Any, drift: Any = 0.0) -> Any:
    """
    How far off the slope of readings taken at even intervals can be, one side, in 99 of 100 tests.

    Parameters
    ----------
    time : float or array
        From the first reading to the last, more than 0. [s]
    count : float or array
        Readings, 3 or more.
    step : float or array
        Steps the gauge, and all else that is rounded, makes in the readings, 0 or more. [Pa]
    scatter : float or array
        Standard deviation of one reading besides rounding, 0 or more. [Pa]
    drift : float or array
        What the room may drift by unseen, 0 or more. [Pa/s]

    Returns
    -------
    doubt : float or array
        [Pa/s]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    Least squares and Student's t with step/sqrt(12) and scatter in each reading. The rounding counts a second time, at
    its limit of half a step throughout: while the pressure stays on one step, more readings tell nothing new. The worst
    pattern turns a slope by 3/time times half a step.

    Examples
    --------
    >>> round(60 * float(slope_doubt(600.0, 11, 1000.0, 50.0)), 1)  # Pa/min
    228.8
    """
    t, n = positive("time", time, "s"), between("count", count, 3.0)
    step, scatter = between("step", step, 0.0, unit="Pa"), between("scatter", scatter, 0.0, unit="Pa")
    spread = np.sqrt(n * (n + 1) / (12 * (n - 1))) * t  # root of the sum of squares of the times
    one = np.sqrt(np.square(step) / 12 + np.square(scatter))
    return 1.5 * step / t + stats.t.ppf(1 - RISK, n - 2) * one / spread + between("drift", drift, 0.0, unit="Pa/s")


#: Holds that are tried, even in their logarithm. [s]
HOLDS = np.geomspace(60.0, 86400.0, 2000)


def hold_time(fall: Any, step: Any, scatter: Any, drift: Any = 0.0, interval: Any = 60.0) -> Any:
    """
    Shortest hold that tells a fall of pressure from none.

    Parameters
    ----------
    fall : float or array
        By how much the pressure falls each second through the smallest leak, more than 0. [Pa/s]
    step, scatter, drift : float or array
        As in `slope_doubt`.
    interval : float or array
        Between two readings, more than 0; at least five are taken. [s]

    Returns
    -------
    time : float or array
        1 minute to 24 hours; infinite if that is not enough. [s]

    Notes
    -----
    A leak is found in 99 of 100 tests, and a tight loop accused in less than one, once the fall is twice `slope_doubt`.

    Examples
    --------
    >>> round(float(hold_time(200.0 / 60, 1000.0, 50.0)) / 60)
    20
    """
    every = np.broadcast_arrays(positive("fall", fall), step, scatter, drift, interval)
    fall, step, scatter, drift, interval = (np.expand_dims(value, -1) for value in every)
    count = np.maximum(np.floor(HOLDS / positive("interval", interval, "s")) + 1, 5.0)
    enough = 2 * slope_doubt(HOLDS, count, step, scatter, drift) <= fall
    found = np.where(enough.any(-1), HOLDS[enough.argmax(-1)], np.inf)
    return float(found) if found.ndim == 0 else found


# ---------------------------------------------------------------------------------------------- stored energy


def isentropic_energy(volume: Any, pressure: Any, room: Any) -> Any:
    """
    Work air gives when it expands to the room at once, without heat.

    Parameters
    ----------
    volume : float or array
        Of the air, 0 or more. [m3]
    pressure, room : float or array
        Absolute, `pressure` at least `room`, `room` more than 0. [Pa]

    Returns
    -------
    energy : float or array
        [J]

    Raises
    ------
    OutOfRange
        If the pressure is below that of the room.

    Notes
    -----
    p1 V/(k - 1) (1 - (p0/p1)^((k - 1)/k)), k = 1.4 [Baker1983]_. The work against the room is in it: on the safe side.

    Examples
    --------
    >>> round(float(isentropic_energy(5e-4, 151325.0, 101325.0)), 1)
    20.5
    """
    share = _share(pressure, room)
    held = pressure * between("volume", volume, 0.0, unit="m3")
    return held / (AIR_RATIO - 1) * (1 - share ** ((AIR_RATIO - 1) / AIR_RATIO))


def isothermal_energy(volume: Any, pressure: Any, room: Any) -> Any:
    """
    Work air gives at most at the temperature of the room, less that against the room.

    Parameters
    ----------
    volume, pressure, room : float or array
        As in `isentropic_energy`.

    Returns
    -------
    energy : float or array
        [J]

    Notes
    -----
    Availability, p1 V (ln(p1/p0) - (1 - p0/p1)) [Crowl1992]_.

    Examples
    --------
    >>> round(float(isothermal_energy(5e-4, 151325.0, 101325.0)), 1)
    5.3
    """
    share = _share(pressure, room)
    return pressure * between("volume", volume, 0.0, unit="m3") * (-np.log(share) - (1 - share))


def _share(pressure: Any, room: Any) -> Any:
    share = positive("room", room, "Pa") / positive("absolute pressure", pressure, "Pa")
    if np.any(np.asarray(share) > 1):
        raise OutOfRange("absolute pressure", float(np.min(pressure)), "at least that of the room")
    return share
