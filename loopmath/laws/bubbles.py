"""Bubbles in tubes and coolant that warms: how fast air rises, where a flow takes it down, how much a filling grows."""

from typing import Any

import numpy as np
from scipy.constants import g as GRAVITY

from loopmath.checks import between, positive

#: Bubbles go down a pipe with the coolant from here on, whatever its bore ([ASHRAE-hydronics]_, from memory). [m/s]
CARRIES = 0.6
#: A long bubble rises at this times sqrt(g D) ([DAVIES-TAYLOR]_, [DUMITRESCU]_; from memory).
RISES = 0.345
#: A long bubble stands still where rho g R^2 / sigma is below this ([BRETHERTON]_, from memory).
STANDS = 0.842
#: Surface tension of water against air at 20 degC (from memory); glycol and additives lower it. [N/m]
TENSION = 0.0727
CARRIED, SLOWLY, STAYS, UNKNOWN = "carried on", "carried on slowly", "stay", "not known"


def rise_speed(bore: Any) -> Any:
    """
    Return how fast a long bubble rises in coolant that stands in an upright tube.

    Parameters
    ----------
    bore : float or array
        [m]

    Returns
    -------
    speed : float or array
        [m/s]

    Raises
    ------
    InputError
        If a bore is not above 0.

    Notes
    -----
    Source: 0.345 sqrt(g D), [DAVIES-TAYLOR]_ and [DUMITRESCU]_ (from memory). An upper bound: surface tension slows it
    in small bores, to nothing at `still_bore`.

    Examples
    --------
    >>> round(float(rise_speed(0.010)), 3)
    0.108
    """
    return RISES * np.sqrt(GRAVITY * positive("bore", bore, "m"))


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


def carried(velocity: Any, bore: Any) -> np.ndarray:
    """
    Return what becomes of bubbles where the coolant leads straight down.

    Parameters
    ----------
    velocity : float or array
        Downward; nan where it is not known. [m/s]
    bore : float or array, broadcast against `velocity`
        [m]

    Returns
    -------
    words : array of str
        `CARRIED` from `CARRIES` on, `SLOWLY` above `rise_speed`, `STAYS` below it, `UNKNOWN` for nan.

    Raises
    ------
    InputError
        If a bore is not above 0.
    """
    speed, rise = np.broadcast_arrays(velocity, rise_speed(bore))
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
    The mass stays. The walls grow too; that is left out, so a little more is left empty than is needed.
    """
    between("volume", volume, 0.0, np.inf, "m^3")
    return volume * (coolant.checked_properties(cold)[0] / coolant.checked_properties(warm)[0] - 1.0)
