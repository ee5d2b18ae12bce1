"""Curves of pumps and fans: one shape for both, and the laws for another speed."""

from typing import Any

import numpy as np

from loopmath.checks import between, positive


def head_curve(flow: Any, shutoff: Any, runout: Any, exponent: Any = 2.0, speed: Any = 1.0) -> Any:
    r"""
    Head of a pump, or static pressure of a fan, at a flow and a speed.

    One shape for both machines: it never rises with flow, and it is odd about the shut-off point, so
    that a machine pushed backwards resists more.

    Parameters
    ----------
    flow : float or array
        Flow through the machine; negative when reversed. [m3/s]
    shutoff : float or array
        Head at no flow and full speed. [m, or Pa for a fan]
    runout : float or array
        Flow at no head and full speed. [m3/s]
    exponent : float or array
        Shape, 1 (a straight line) or more. [-]
    speed : float or array
        Share of full speed, 0 or more. [-]

    Returns
    -------
    head : float or array
        In the unit of `shutoff`; at speed 0 it is 0 at no flow and a loss at any other.

    Raises
    ------
    OutOfRange
        If shut-off or run-out is not positive, the exponent is below 1 or the speed below 0.

    Notes
    -----
    .. math:: H = n^2 H_0 (1 - u |u|^{m-1}),\; u = Q/(n Q_0),\; |u| \le 1

    Past run-out, :math:`|u| > 1`, the curve goes on as :math:`n^2 H_0 \, (m/2)(1 - u^2)` with the same value
    and slope at 1. So it has a limit as the machine slows to rest: a stopped pump is a resistance.

    The affinity laws: flow goes with speed, head with its square; [ISO9906]_ for pumps,
    [AMCA201]_ for fans. The shape is our choice, a parabola when the exponent is 2.

    Examples
    --------
    >>> float(head_curve(8.0, 4.0, 16.0, 2.0, 1.0)), float(head_curve(16.0, 4.0, 16.0, 2.0, 1.0))
    (3.0, 0.0)
    """
    flow = between("flow", flow)
    shutoff, runout = positive("shutoff", shutoff), positive("runout", runout)
    exponent, speed = between("exponent", exponent, 1.0), between("speed", speed, 0.0)
    return head_with_slope(flow, shutoff, runout, exponent, speed)[0]


def head_with_slope(flow: Any, shutoff: Any, runout: Any, exponent: Any, speed: Any) -> tuple[Any, Any]:
    """
    Head of `head_curve` and its slope with flow, unchecked.

    The inner loops call this very often; inputs are checked where records are made. An exponent that
    is the plain float 2.0 takes a shorter way without powers.

    Parameters
    ----------
    flow, shutoff, runout, exponent, speed : float or array
        As in `head_curve`.

    Returns
    -------
    head, slope : float or array
        Head in the unit of `shutoff`, and d head/d flow, never positive.

    Notes
    -----
    Source: as `head_curve`, [ISO9906]_ and [AMCA201]_.

    Examples
    --------
    >>> head, slope = head_with_slope(8.0, 4.0, 16.0, 2.0, 1.0)
    >>> float(head), float(slope)
    (3.0, -0.25)
    """
    far = flow / runout
    steep = shutoff / runout
    if type(exponent) is float and exponent == 2.0:
        size = np.abs(far)
        return shutoff * (speed * speed - size * far), -2.0 * steep * size
    turning = speed + (speed == 0.0) * 1e-12
    share = far / turning
    inner = np.minimum(np.abs(share), 1.0)
    scale = speed * speed * shutoff
    power = inner ** (exponent - 1.0)
    beyond = np.maximum(np.abs(far) - turning, 0.0)
    # Past run-out (1 - u^m) goes on as m/2 (1 - u^2): same value and slope there, and a machine at rest resists.
    excess = 0.5 * exponent * shutoff * beyond * (np.abs(far) + turning)
    head = scale - np.sign(share) * (scale * power * inner + excess)
    return head, -exponent * steep * np.where(beyond > 0.0, np.abs(far), speed * power)


def shaft_power(power: Any, speed: Any) -> Any:
    """
    Shaft power at another speed.

    Parameters
    ----------
    power : float or array
        At full speed, 0 or more. [W]
    speed : float or array
        Share of full speed, 0 or more. [-]

    Returns
    -------
    power : float or array
        [W]

    Raises
    ------
    OutOfRange
        If a power or a speed is negative.

    Notes
    -----
    Cube of the speed ratio: [ISO9906]_, [AMCA201]_. The electronics of a small motor take a share that
    does not follow this law (common practice, no source).

    Examples
    --------
    >>> shaft_power(8.0, 0.5)
    1.0
    """
    return between("power", power, 0.0, unit="W") * between("speed", speed, 0.0) ** 3
