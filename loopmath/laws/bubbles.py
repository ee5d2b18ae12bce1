"""Bubbles in tubes and coolant that warms: how fast air rises, where a flow takes it down, how much a filling grows."""

from typing import Any

import numpy as np
from scipy.constants import g as GRAVITY

from loopmath.checks import between, positive

#: Bubbles go down a pipe with the coolant from here on, whatever its bore ([ASHRAE-hydronics]_, from memory). [m/s]
CARRIES = 0.6
#: A long bubble rises at (RISES sin + DRIFTS cos of the slope) sqrt(g D) ([DAVIES-TAYLOR]_, [DUMITRESCU]_ for upright
#: tubes, [BENDIKSEN]_ for inclined ones; from memory).
RISES, DRIFTS = 0.345, 0.54
#: A long bubble stands still where rho g R^2 / sigma is below this ([BRETHERTON]_, from memory).
STANDS = 0.842
#: Surface tension of water against air at 20 degC (from memory); glycol and additives lower it. [N/m]
TENSION = 0.0727
CARRIED, SLOWLY, STAYS, UNKNOWN = "carried on", "carried on slowly", "stay", "not known"


def rise_speed(bore: Any, slope: Any = np.pi / 2) -> Any:
    """
    Return how fast a long bubble rises in coolant that stands in a tube.

    Parameters
    ----------
    bore : float or array
        [m]
    slope : float or array, broadcast against `bore`
        Of the tube against the horizontal, 0 to a quarter turn. [rad]

    Returns
    -------
    speed : float or array
        [m/s]

    Raises
    ------
    InputError
        If a bore is not above 0 or a slope outside its range.

    Notes
    -----
    Source: (0.345 sin + 0.54 cos of the slope) sqrt(g D), [DAVIES-TAYLOR]_ and [DUMITRESCU]_ for upright tubes,
    [BENDIKSEN]_ for inclined ones (from memory). An upper bound: surface tension slows it in small bores, to nothing
    at `still_bore`.

    Examples
    --------
    >>> round(float(rise_speed(0.010)), 3), round(float(rise_speed(0.010, np.pi / 4)), 3)
    (0.108, 0.196)
    """
    slope = between("slope", slope, 0.0, np.pi / 2 + 1e-9, "rad")
    return (RISES * np.sin(slope) + DRIFTS * np.cos(slope)) * np.sqrt(GRAVITY * positive("bore", bore, "m"))


def still_bore(density: Any, tension: Any = TENSION) -> Any:
    """
    Return the bore below which a long bubble stands still in standing coolant, whatever the slope.

    Parameters
    ----------
    density : float or array
        [kg/m3]
    tension : float or array
        [N/m]

    Returns
    -------
    bore : float or array
        [m]

    Raises
    ------
    InputError
        If one of them is not above 0.

    Notes
    -----
    Source: [BRETHERTON]_, rho g R^2 / sigma = 0.842 (from memory).
    """
    return 2 * np.sqrt(STANDS * positive("tension", tension, "N/m") / (positive("density", density) * GRAVITY))


def carried(velocity: Any, rise: Any) -> np.ndarray:
    """
    Return what becomes of bubbles where the coolant leads down.

    Parameters
    ----------
    velocity : float or array
        Downward; nan where it is not known. [m/s]
    rise : float or array, broadcast against `velocity`
        Of a bubble, as `rise_speed` has it. [m/s]

    Returns
    -------
    words : array of str
        `CARRIED` from `CARRIES` on, `SLOWLY` above the rise, `STAYS` below it, `UNKNOWN` for nan.
    """
    speed, rise = np.broadcast_arrays(velocity, rise)
    return np.select([np.isnan(speed), speed >= np.maximum(CARRIES, rise), speed > rise], [UNKNOWN, CARRIED, SLOWLY],
                     STAYS)  # fmt: skip


def growth(volume: Any, cold: Any, warm: Any, coolant: Any) -> Any:
    """
    Return by how much coolant grows as it warms: V (rho_cold / rho_warm - 1).

    Parameters
    ----------
    volume : float or array
        When cold. [m3]
    cold, warm : float or array, broadcast against it
        Within the coolant's data. [degC]
    coolant : Coolant

    Returns
    -------
    growth : float or array
        [m3]

    Raises
    ------
    OutOfRange
        If a temperature lies outside the coolant's data.
    InputError
        If a volume is negative.

    Notes
    -----
    The mass stays. The walls grow too, which is left out: the growth over them is a little less.
    """
    between("volume", volume, 0.0, np.inf, "m^3")
    return volume * (coolant.checked_properties(cold)[0] / coolant.checked_properties(warm)[0] - 1.0)


def cushion(growth: Any, cold: Any, warm: Any, room: Any, most: Any, vapour: Any = (0.0, 0.0)) -> Any:
    """
    Return how much air a tank that is closed tight needs when cold, so that warming raises its pressure only so much.

    Parameters
    ----------
    growth : float or array
        Of the coolant, which the air gives way to. [m3]
    cold, warm : float or array
        Of the air. [degC]
    room : float or array
        Absolute pressure it is closed at. [Pa]
    most : float or array
        Rise that is allowed. [Pa]
    vapour : (cold, warm) floats or arrays
        Vapour pressure of the coolant; the air is saturated with it. [Pa]

    Returns
    -------
    air : float or array
        inf where the air's own warming alone raises it more. [m3]

    Raises
    ------
    InputError
        If a pressure is not above 0.

    Notes
    -----
    Dry air is an ideal gas, p V / T the same before and after; vapour adds its own pressure. Air that dissolves is left
    out.

    Examples
    --------
    >>> round(float(cushion(1.0, 20.0, 20.0, 100e3, 10e3)), 9)  # isothermal: a tenth more pressure, 1/11 less volume
    11.0
    """
    end = positive("room", room, "Pa") + positive("most", most, "Pa") - np.asarray(vapour[1])
    warmed = (room - np.asarray(vapour[0])) * (np.asarray(warm) + 273.15) / (np.asarray(cold) + 273.15)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(end > warmed, np.asarray(growth) * end / (end - warmed), np.inf)
