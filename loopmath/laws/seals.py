"""An O-ring on a tube: how hard it presses, what that does to the wall, and what holds the tube against pressure."""

from typing import Any

import numpy as np

from loopmath.checks import OutOfRange, between, positive

#: How the ends of rigid tube may be left.
EDGES = ("sharp", "deburred", "chamfered")
#: Largest share of its section an O-ring may be squeezed by in these relations. [-]
MOST_SQUEEZE = 0.45
#: Poisson's ratio of a glassy plastic (from memory: 0.35 to 0.40).
PLASTIC_POISSON = 0.37


def rubber_modulus(hardness: Any) -> Any:
    """
    Young's modulus of a rubber from its hardness.

    Parameters
    ----------
    hardness : float or array
        Shore A, 20 to 95. [-]

    Returns
    -------
    modulus : float or array
        [Pa]

    Raises
    ------
    OutOfRange
        If a hardness is outside.

    Notes
    -----
    Source: [Gent1958]_, constants from memory; the hardness itself is read to about 5.

    Examples
    --------
    >>> round(rubber_modulus(70.0) / 1e6, 2)
    5.52
    """
    s = between("hardness", hardness, 20.0, 95.0, "Shore A")
    return 0.0981e6 * (56.0 + 7.62336 * s) / (0.137505 * (254.0 - 2.54 * s))


def ring_load(section: Any, squeeze: Any, modulus: Any) -> Any:
    """
    Force an O-ring presses with, for each metre of its length.

    Parameters
    ----------
    section : float or array
        Diameter of its section, more than 0. [m]
    squeeze : float or array
        Share of the section it is pressed by, 0 to 0.45. [-]
    modulus : float or array
        Young's modulus of the rubber, more than 0. [Pa]

    Returns
    -------
    load : float or array
        [N/m]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    Source: [Lindley1967]_, d E (1.25 C^1.5 + 50 C^6), from memory.

    Examples
    --------
    >>> round(float(ring_load(0.00178, 0.2, 5.5e6)))
    1126
    """
    c = between("squeeze", squeeze, 0.0, MOST_SQUEEZE, "of its section")
    d = positive("section", section, "m")
    return d * positive("modulus", modulus, "Pa") * (1.25 * np.power(c, 1.5) + 50.0 * np.power(c, 6))


def ring_pressure(load: Any, section: Any, modulus: Any) -> Any:
    """
    Greatest pressure between an O-ring and what it lies on.

    Parameters
    ----------
    load : float or array
        See `ring_load`, 0 or more. [N/m]
    section, modulus : float or array
        As there. [m], [Pa]

    Returns
    -------
    pressure : float or array
        [Pa]

    Notes
    -----
    A cylinder of rubber (Poisson's ratio 0.5) on a flat that does not give, line contact by Hertz [Johnson1985]_:
    p = sqrt(F E*/(pi R)), with E* = E/(1 - 0.25) and R = section/2. Against [Lindley1967]_, who measured it, the same
    expression.

    Examples
    --------
    >>> round(float(ring_pressure(1126.0, 0.00178, 5.5e6)) / 1e6, 2)
    1.72
    """
    contact = positive("modulus", modulus, "Pa") / 0.75
    return np.sqrt(between("load", load, 0.0, unit="N/m") * contact / (np.pi * positive("section", section, "m") / 2))


def ring_strain(load: Any, outside: Any, bore: Any, modulus: Any) -> Any:
    """
    How far an O-ring presses the wall of a tube inwards, as a share of its radius.

    Parameters
    ----------
    load : float or array
        Of one ring on each metre of its length, 0 or more. [N/m]
    outside, bore : float or array
        Of the tube, `outside` more than `bore` > 0. [m]
    modulus : float or array
        Young's modulus of the wall at its temperature, more than 0. [Pa]

    Returns
    -------
    strain : float or array
        Hoop strain under the ring. [-]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    A ring of load round a long thin cylinder [RoarkYoung2002]_ (table of shells, from memory), after
    [Timoshenko1959]_: y = F R^2 lambda/(2 E t), lambda^4 = 3 (1 - nu^2)/(R t)^2, with the load, which lies on the
    outside, carried to the mean radius R. Two rings close to each other and to the end of the tube press it in by 1.4
    to 2 times as much (finite elements of a shell), so a strain of one ring is good to a factor of two.

    Examples
    --------
    >>> round(100 * float(ring_strain(1126.0, 0.014, 0.010, 2.0e9)), 3)
    0.036
    """
    outside, bore = positive("outside", outside, "m"), positive("bore", bore, "m")
    wall, radius = (outside - bore) / 2, (outside + bore) / 4
    if np.any(np.asarray(wall) <= 0):
        raise OutOfRange("outside", float(np.min(outside)), "more than the bore")
    decay = (3 * (1 - PLASTIC_POISSON**2)) ** 0.25 / np.sqrt(radius * wall)
    carried = between("load", load, 0.0, unit="N/m") * outside / 2 / radius
    return carried * radius * decay / (2 * positive("modulus", modulus, "Pa") * wall)


def end_thrust(pressure: Any, outside: Any) -> Any:
    """
    Force that pushes a tube out of a fitting that seals on its outside.

    Parameters
    ----------
    pressure : float or array
        Over that of the air, 0 or more. [Pa]
    outside : float or array
        Diameter of the tube, more than 0. [m]

    Returns
    -------
    thrust : float or array
        [N]

    Notes
    -----
    Pressure times the area that is sealed [Munson2009]_.

    Examples
    --------
    >>> round(end_thrust(5e4, 0.014), 2)
    7.7
    """
    return between("pressure", pressure, 0.0, unit="Pa") * np.pi / 4 * positive("outside", outside, "m") ** 2


def ring_grip(load: Any, outside: Any, rings: Any, friction: Any) -> Any:
    """
    Force with which O-rings hold a tube by friction alone.

    Parameters
    ----------
    load : float or array
        Of one ring on each metre of its length, 0 or more. [N/m]
    outside : float or array
        Diameter of the tube, more than 0. [m]
    rings : float or array
        Rings that touch it, 0 or more. [-]
    friction : float or array
        Coefficient of friction between rubber and tube, 0 to 2. [-]

    Returns
    -------
    grip : float or array
        [N]

    Notes
    -----
    Coulomb friction on the circumference of each ring.

    Examples
    --------
    >>> round(ring_grip(1126.0, 0.014, 2.0, 0.2), 1)
    19.8
    """
    around = np.pi * positive("outside", outside, "m") * between("rings", rings, 0.0)
    return between("friction", friction, 0.0, 2.0) * between("load", load, 0.0, unit="N/m") * around
