"""Friction in tubes and ducts, and the losses of bends, fittings and changes of bore."""

from typing import Any

import numpy as np

from loopmath.checks import between, positive

#: Below this Reynolds number the Colebrook function here takes the flow as laminar.
LAMINAR_LIMIT = 2040.0
#: Ranges of the turbulent laws.
TURBULENT = (4e3, 1e8)
ROUGHNESS = (0.0, 0.05)
_INCH = 0.0254
_LOG_SEVEN = np.log(7.0)
_TWO_OVER_LN10 = 2.0 / np.log(10.0)
_NEWTON_STEPS = 4
_SMOOTH_OVER_LAMINAR = (37530.0 / 8.0) ** 16


def _reynolds(reynolds: Any, low: float = 1e-6) -> Any:
    return between("reynolds", reynolds, low, TURBULENT[1])


def _roughness(relative_roughness: Any) -> Any:
    return between("relative_roughness", relative_roughness, *ROUGHNESS)


def churchill_friction_factor(reynolds: Any, relative_roughness: Any = 0.0) -> Any:
    r"""
    Friction factor of a round tube for laminar, in-between and turbulent flow in one expression.

    One smooth curve, so that a solver never meets a jump.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the bore. [-]
    relative_roughness : float or array, broadcast against `reynolds`
        Wall roughness height over bore. [-]

    Returns
    -------
    friction_factor : float or array
        Darcy friction factor. [-]

    Raises
    ------
    OutOfRange
        If any Reynolds number lies outside 1e-6 to 1e8, or any roughness outside 0 to 0.05.

    Notes
    -----
    .. math:: f = 8\,[(8/Re)^{12} + (A + B)^{-3/2}]^{1/12}
    .. math:: A = [-2.457 \ln((7/Re)^{0.9} + 0.27\,\varepsilon/D)]^{16},\; B = (37530/Re)^{16}

    Source: [Churchill1977]_. The blend starts early: at Re = 2300 it is 11 % above 64/Re.

    Examples
    --------
    >>> round(float(churchill_friction_factor(1e4, 1e-3)), 6)
    0.03269
    """
    return churchill_with_slope(_reynolds(reynolds), _roughness(relative_roughness))[0]


def churchill_with_slope(reynolds: Any, relative_roughness: Any = 0.0) -> tuple[Any, Any]:
    """
    Friction factor of `churchill_friction_factor` and its logarithmic slope, unchecked.

    The inner loops call this very often; inputs are checked where records are made. A Reynolds
    number under 1e-6 counts as 1e-6, so that a branch at rest gives no division by zero.

    Parameters
    ----------
    reynolds, relative_roughness : float or array
        As in `churchill_friction_factor`. [-]

    Returns
    -------
    friction_factor, slope : float or array
        Darcy friction factor, and d ln f / d ln Re. [-]

    Notes
    -----
    Source: [Churchill1977]_; the slope is its derivative, checked against finite differences.

    Examples
    --------
    >>> factor, slope = churchill_with_slope(100.0, 0.0)
    >>> round(float(factor), 6), round(float(slope), 6)
    (0.64, -1.0)
    """
    inverse = 1.0 / np.maximum(reynolds, 1e-6)
    viscous = np.exp(0.9 * (np.log(inverse) + _LOG_SEVEN))
    inside = 0.27 * relative_roughness + viscous
    root = -2.457 * np.log(inside)
    square = root * root
    fourth = square * square
    fifteenth = fourth * fourth * fourth * square * root
    power = 8.0 * inverse
    power *= power
    power *= power
    laminar = power * power
    smooth = laminar * laminar
    smooth *= _SMOOTH_OVER_LAMINAR
    laminar *= power
    both = fifteenth * root
    both += smooth
    turbulent = 1.0 / (both * np.sqrt(both))
    total = laminar + turbulent
    rise = viscous / inside
    rise *= fifteenth
    rise *= -2.457 * 0.9
    rise += smooth
    slope = (2.0 * turbulent * rise / both - laminar) / total
    return 8.0 * np.exp(np.log(total) / 12.0), slope


def colebrook_friction_factor(reynolds: Any, relative_roughness: Any = 0.0) -> Any:
    r"""
    Friction factor of a round tube: 64/Re when laminar, the implicit rough-pipe law above.

    The law the others are measured against. It jumps at Re = 2040; a solver is better served by
    `churchill_friction_factor`.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the bore. [-]
    relative_roughness : float or array, broadcast against `reynolds`
        Wall roughness height over bore. [-]

    Returns
    -------
    friction_factor : float or array
        Darcy friction factor. [-]

    Raises
    ------
    OutOfRange
        If any Reynolds number lies outside 1e-6 to 1e8, or any roughness outside 0 to 0.05.

    Notes
    -----
    .. math:: f^{-1/2} = -2 \log_{10}(\varepsilon/(3.7 D) + 2.51 f^{-1/2}/Re)

    Source: [Colebrook1939]_. Solved by four Newton steps on 1/sqrt(f) from `haaland_friction_factor`,
    to 1e-12. The limit 2040 is our choice: flow in a tube becomes turbulent for good
    at about that Reynolds number (from memory).

    Examples
    --------
    >>> round(float(colebrook_friction_factor(1e5, 1e-4)), 8)
    0.01851387
    """
    return colebrook_with_slope(_reynolds(reynolds), _roughness(relative_roughness))[0]


def colebrook_with_slope(reynolds: Any, relative_roughness: Any = 0.0) -> tuple[Any, Any]:
    """
    Friction factor of `colebrook_friction_factor` and its logarithmic slope, unchecked.

    A Reynolds number under 1e-6 counts as 1e-6.

    Parameters
    ----------
    reynolds, relative_roughness : float or array
        As in `colebrook_friction_factor`. [-]

    Returns
    -------
    friction_factor, slope : float or array
        Darcy friction factor, and d ln f / d ln Re (-1 when laminar). [-]

    Notes
    -----
    Source: [Colebrook1939]_; the slope by implicit differentiation.

    Examples
    --------
    >>> factor, slope = colebrook_with_slope(1e4, 0.0)
    >>> round(float(factor), 8), round(float(slope), 4)
    (0.03088295, -0.2649)
    """
    reynolds = np.maximum(reynolds, 1e-6)
    turbulent = np.maximum(reynolds, LAMINAR_LIMIT)
    rough = np.asarray(relative_roughness) / 3.7
    film = 2.51 / turbulent
    root = -1.8 * np.log10(rough**1.11 + 6.9 / turbulent)
    for _ in range(_NEWTON_STEPS):
        inside = rough + film * root
        lean = _TWO_OVER_LN10 * film / inside
        root = root - (root + _TWO_OVER_LN10 * np.log(inside)) / (1.0 + lean)
    lean = _TWO_OVER_LN10 * film / (rough + film * root)
    is_laminar = reynolds < LAMINAR_LIMIT
    factor = np.where(is_laminar, 64.0 / reynolds, root**-2.0)
    slope = np.where(is_laminar, -1.0, -2.0 * lean / (1.0 + lean))
    return factor[()], slope[()]


#: The friction laws a loop can be solved with: each returns the factor and d ln f / d ln Re.
FRICTION_LAWS = {"churchill": churchill_with_slope, "colebrook": colebrook_with_slope}


def haaland_friction_factor(reynolds: Any, relative_roughness: Any = 0.0) -> Any:
    r"""
    Friction factor of turbulent flow in a round tube, without iteration.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the bore. [-]
    relative_roughness : float or array, broadcast against `reynolds`
        Wall roughness height over bore. [-]

    Returns
    -------
    friction_factor : float or array
        Darcy friction factor. [-]

    Raises
    ------
    OutOfRange
        If any Reynolds number lies outside 4e3 to 1e8, or any roughness outside 0 to 0.05.

    Notes
    -----
    .. math:: f^{-1/2} = -1.8 \log_{10}[(\varepsilon/D/3.7)^{1.11} + 6.9/Re]

    Source: [Haaland1983]_. Within 1.5 % of the implicit law over that range; the test computes it.

    Examples
    --------
    >>> round(float(haaland_friction_factor(1e4, 1e-3)), 6)
    0.032175
    """
    reynolds = between("reynolds", reynolds, *TURBULENT, because="turbulent flow only")
    rough = _roughness(relative_roughness)
    return (-1.8 * np.log10((rough / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2.0


def bend_loss(angle: Any, radius_over_bore: Any, friction: Any = 0.0309) -> Any:
    r"""
    Loss of a smooth bend beyond that of straight tube of the same centreline length.

    The wall friction of the arc is left out: count the arc as part of the tube's length.

    Parameters
    ----------
    angle : float or array
        Angle of the bend, 0 to pi. [rad]
    radius_over_bore : float or array
        Centreline radius over bore, 0.5 or more. [-]
    friction : float or array
        Darcy friction factor; the default is that of a smooth tube at Re = 1e4. [-]

    Returns
    -------
    loss : float or array
        Loss coefficient on the velocity head in the tube. [-]

    Raises
    ------
    OutOfRange
        If an angle or a radius lies outside its range, or the friction factor is not positive.

    Notes
    -----
    .. math:: K = (0.10 + 2.4 f) s + 6.6 f (\sqrt{s} + s)/(r/d)^{4\alpha/\pi},\; s = \sin(\alpha/2)

    Source: [Rennels2012]_, its term for wall friction, f alpha r/d, left out. Turbulent
    data on smooth tube only; other methods differ by up to 30 %.

    Examples
    --------
    >>> round(float(bend_loss(np.pi / 2, 3.0, 0.03)), 4)
    0.1557
    """
    angle = between("angle", angle, 0.0, np.pi, "rad")
    radius = between("radius_over_bore", radius_over_bore, 0.5, because="tighter bends are mitres")
    friction = positive("friction", friction)
    half = np.sin(0.5 * angle)
    separation = 6.6 * friction * (np.sqrt(half) + half) * radius ** (-4.0 * angle / np.pi)
    return (0.10 + 2.4 * friction) * half + separation


def sudden_expansion(bore_ratio: Any) -> Any:
    r"""
    Loss where a bore widens at once.

    Parameters
    ----------
    bore_ratio : float or array
        Small bore over large bore, 0 to 1; 0 is a tube ending in a tank. [-]

    Returns
    -------
    loss : float or array
        Loss coefficient on the velocity head in the small bore. [-]

    Raises
    ------
    OutOfRange
        If any ratio lies outside 0 to 1.

    Notes
    -----
    .. math:: K = (1 - \beta^2)^2

    Source: Borda and Carnot, as in [White2011]_ section 6.9.

    Examples
    --------
    >>> sudden_expansion(0.5)
    0.5625
    """
    ratio = between("bore_ratio", bore_ratio, 0.0, 1.0, because="small bore over large bore")
    return (1.0 - ratio * ratio) ** 2


def sudden_contraction(bore_ratio: Any) -> Any:
    r"""
    Loss where a bore narrows at once, at a sharp edge.

    Parameters
    ----------
    bore_ratio : float or array
        Small bore over large bore, 0 to 1; 0 is a tube leaving a tank. [-]

    Returns
    -------
    loss : float or array
        Loss coefficient on the velocity head in the small bore. [-]

    Raises
    ------
    OutOfRange
        If any ratio lies outside 0 to 1.

    Notes
    -----
    .. math:: K = 0.0696 (1 - \beta^5) \lambda^2 + (\lambda - 1)^2
    .. math:: \lambda = 1 + 0.622 (1 - 0.215 \beta^2 - 0.785 \beta^5)

    Source: [Rennels2012]_. Other published forms differ by up to 0.12.

    Examples
    --------
    >>> round(sudden_contraction(0.4), 4)
    0.5301
    """
    ratio = between("bore_ratio", bore_ratio, 0.0, 1.0, because="small bore over large bore")
    jet = 0.622 * (1.0 - 0.215 * ratio**2 - 0.785 * ratio**5)
    return 0.0696 * (1.0 - ratio**5) * (1.0 + jet) ** 2 + jet**2


def three_k(k1: Any, k_inf: Any, kd: Any, bore: Any) -> tuple[Any, Any]:
    r"""
    Laminar and turbulent parts of a fitting's loss by the 3-K form.

    Parameters
    ----------
    k1, k_inf : float or array
        Laminar and turbulent constant of the fitting. [-]
    kd : float or array
        Size constant. [in^0.3]
    bore : float or array
        Bore of the fitting. [m]

    Returns
    -------
    laminar_constant, turbulent : float or array
        The loss coefficient is laminar_constant/Re + turbulent. [-]

    Raises
    ------
    OutOfRange
        If a bore is not positive or a constant is negative.

    Notes
    -----
    .. math:: K = K_1/Re + K_i (1 + K_d / D_{in}^{0.3})

    Source: [Darby2001]_. The paper takes the nominal pipe size in inches; small fittings have none, so
    the bore in inches stands in for it.

    Examples
    --------
    >>> laminar, turbulent = three_k(800.0, 0.071, 4.2, 2 * 0.0254)
    >>> round(laminar / 1e4 + turbulent, 5)
    0.39321
    """
    inches = positive("bore", bore, "m") / _INCH
    k1, k_inf, kd = (between(name, value, 0.0) for name, value in (("k1", k1), ("k_inf", k_inf), ("kd", kd)))
    return k1, k_inf * (1.0 + kd / inches**0.3)


def hooper_two_k(k1: Any, k_inf: Any, bore: Any) -> tuple[Any, Any]:
    r"""
    Laminar and turbulent parts of a fitting's loss by the 2-K form.

    Parameters
    ----------
    k1, k_inf : float or array
        Laminar constant, and the loss of a large fitting. [-]
    bore : float or array
        Bore of the fitting. [m]

    Returns
    -------
    laminar_constant, turbulent : float or array
        The loss coefficient is laminar_constant/Re + turbulent. [-]

    Raises
    ------
    OutOfRange
        If a bore is not positive or a constant is negative.

    Notes
    -----
    .. math:: K = K_1/Re + K_\infty (1 + 1/D_{in})

    Source: [Hooper1981]_. Made for pipes of an inch and more: on a bore of 8 mm the size term alone is
    4.2 times the loss of a large fitting, so `three_k` is the better choice here.

    Examples
    --------
    >>> laminar, turbulent = hooper_two_k(800.0, 0.2, 2 * 0.0254)
    >>> round(laminar / 1e4 + turbulent, 6)
    0.38
    """
    inches = positive("bore", bore, "m") / _INCH
    k1, k_inf = between("k1", k1, 0.0), between("k_inf", k_inf, 0.0)
    return k1, k_inf * (1.0 + 1.0 / inches)


def laminar_duct_factor(aspect: Any) -> Any:
    r"""
    Friction factor times Reynolds number of laminar flow in a rectangular duct.

    Parameters
    ----------
    aspect : float or array
        Short side over long side, 0 (parallel plates) to 1 (square). [-]

    Returns
    -------
    factor : float or array
        Darcy f Re on the hydraulic diameter. [-]

    Raises
    ------
    OutOfRange
        If any aspect lies outside 0 to 1.

    Notes
    -----
    .. math:: f Re = 96 (1 - 1.3553 a + 1.9467 a^2 - 1.7012 a^3 + 0.9564 a^4 - 0.2537 a^5)

    Source: [ShahLondon1978]_, within 0.1 % of the exact series.

    Examples
    --------
    >>> laminar_duct_factor(0.0), round(laminar_duct_factor(1.0), 2)
    (96.0, 56.92)
    """
    a = between("aspect", aspect, 0.0, 1.0, because="short side over long side")
    return 96.0 * (1 + a * (-1.3553 + a * (1.9467 + a * (-1.7012 + a * (0.9564 - 0.2537 * a)))))


def laminar_equivalent_factor(aspect: Any) -> Any:
    """
    Return the factor on the Reynolds number that lets a round-tube law serve a rectangular duct.

    Parameters
    ----------
    aspect : float or array
        Short side over long side, 0 to 1. [-]

    Returns
    -------
    factor : float or array
        64 over `laminar_duct_factor`; use factor times Re in the law of the round tube. [-]

    Raises
    ------
    OutOfRange
        If any aspect lies outside 0 to 1.

    Notes
    -----
    Source: [Jones1976]_: the diameter that makes laminar flow exact also serves turbulent flow, to
    about 5 % (from memory). He gives an expression of his own for the factor; this is the exact ratio.

    Examples
    --------
    >>> round(laminar_equivalent_factor(0.0), 4)
    0.6667
    """
    return 64.0 / laminar_duct_factor(aspect)
