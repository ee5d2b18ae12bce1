"""Sound levels: at another speed, several together, and at a distance."""

from typing import Any

import numpy as np

from loopmath.checks import InputError, between, number, positive


def level_at_speed(rated_level: Any, speed: Any) -> Any:
    r"""
    Sound level of a fan or pump at another speed.

    Parameters
    ----------
    rated_level : float or array
        Level at full speed. [dB]
    speed : float or array
        Share of full speed, 0 or more. [-]

    Returns
    -------
    level : float or array
        Minus infinity, silence, at speed 0. [dB]

    Raises
    ------
    OutOfRange
        If a speed is negative.

    Notes
    -----
    .. math:: L = L_0 + 50 \log_{10}(n/n_0)

    Source: fan sound law, [AMCA201]_ and [ASHRAE2001]_; the exponent is from memory. It leaves out
    bearings and motor, so a slow machine may be louder than this.

    Examples
    --------
    >>> round(float(level_at_speed(35.0, 0.5)), 2)
    19.95
    """
    speed = between("speed", speed, 0.0)
    with np.errstate(divide="ignore"):
        return number("rated_level", rated_level) + 50.0 * np.log10(speed)


def sum_levels(levels: Any, axis: int = 0) -> Any:
    r"""
    Level of several sources together.

    Parameters
    ----------
    levels : array
        Levels; minus infinity is a silent source. [dB]
    axis : int
        The axis to sum over.

    Returns
    -------
    level : float or array
        Minus infinity if all are silent. [dB]

    Raises
    ------
    InputError
        If any level is no number or plus infinity.

    Notes
    -----
    .. math:: L = 10 \log_{10} \sum 10^{L_i/10}

    Sum of energies, as in [ISO3744]_: the sources are not in step with each other.

    Examples
    --------
    >>> round(float(sum_levels([62.0, 73.0])), 2)
    73.33
    """
    levels = np.asarray(levels, dtype=float)
    if np.any(np.isnan(levels) | (levels == np.inf)):
        raise InputError("levels", levels.tolist(), "numbers, minus infinity for a silent source")
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(np.sum(10.0 ** (levels / 10.0), axis=axis))


def at_distance(level: Any, distance: Any, reference: Any = 1.0) -> Any:
    r"""
    Sound level at another distance from a small source in the open.

    Parameters
    ----------
    level : float or array
        Level at the reference distance; minus infinity is silence. [dB]
    distance, reference : float or array
        More than 0. [m]

    Returns
    -------
    level : float or array
        [dB]

    Raises
    ------
    OutOfRange
        If a distance is not positive.

    Notes
    -----
    .. math:: L = L_0 - 20 \log_{10}(r/r_0)

    Source: [ISO9613]_. In a room, echoes make it louder than this.

    Examples
    --------
    >>> round(float(at_distance(30.0, 2.0)), 2)
    23.98
    """
    ratio = positive("distance", distance, "m") / positive("reference", reference, "m")
    return np.asarray(level, dtype=float) - 20.0 * np.log10(ratio)
