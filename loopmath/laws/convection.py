"""Heat transfer in ducts, along fins, and between crossing streams."""

import math
from typing import Any

import numpy as np

from loopmath.checks import between, positive

#: Fully developed laminar Nusselt number of parallel plates, both walls at one temperature.
PLATES_NUSSELT = 7.54
#: The ends of the blend between laminar and turbulent heat transfer in `duct_nusselt`.
LAMINAR_END, TURBULENT_START = 2300.0, 4000.0
#: `crossflow_effectiveness` takes more transfer units than this as this many.
MOST_TRANSFER_UNITS = 40.0
_ROOT_EIGHT = math.sqrt(8.0)


def laminar_developing_nusselt(fully_developed: Any, graetz: Any) -> Any:
    r"""
    Mean Nusselt number of laminar flow that enters a duct at one temperature.

    The inner loops call this very often; inputs are checked where records are made.

    Parameters
    ----------
    fully_developed : float or array
        Nusselt number far from the inlet, 7.54 for parallel plates. [-]
    graetz : float or array
        (hydraulic diameter/length) Re Pr, 0 or more. [-]

    Returns
    -------
    nusselt : float or array
        Mean over the length, on the hydraulic diameter. [-]

    Notes
    -----
    .. math:: Nu = Nu_\infty + 0.03\,Gz / (1 + 0.016\,Gz^{2/3})

    Source: [Edwards1979]_ for parallel plates, Nu 7.54 (form and constants from memory). Its use
    with another fully developed value is our generalisation: near enough for flat tubes, and 16 % low
    for a round tube with 3.66 at Gz = 50, against Hausen 1943.

    Examples
    --------
    >>> round(float(laminar_developing_nusselt(7.54, 50.0)), 3)
    8.772
    """
    root = np.cbrt(graetz)
    return fully_developed + 0.03 * graetz / (1.0 + 0.016 * root * root)


def rectangle_nusselt(aspect: Any) -> Any:
    r"""
    Fully developed laminar Nusselt number of a rectangular duct with walls at one temperature.

    Parameters
    ----------
    aspect : float or array
        Short side over long side, 0 (parallel plates) to 1 (square). [-]

    Returns
    -------
    nusselt : float or array
        On the hydraulic diameter. [-]

    Raises
    ------
    OutOfRange
        If any aspect lies outside 0 to 1.

    Notes
    -----
    .. math:: Nu = 7.541 (1 - 2.610 a + 4.970 a^2 - 5.119 a^3 + 2.702 a^4 - 0.548 a^5)

    Source: [ShahLondon1978]_.

    Examples
    --------
    >>> round(rectangle_nusselt(0.0), 3), round(rectangle_nusselt(1.0), 3)
    (7.541, 2.979)
    """
    a = between("aspect", aspect, 0.0, 1.0, because="short side over long side")
    return 7.541 * (1 + a * (-2.610 + a * (4.970 + a * (-5.119 + a * (2.702 - 0.548 * a)))))


def gnielinski_nusselt(reynolds: Any, prandtl: Any) -> Any:
    r"""
    Nusselt number of turbulent flow in a smooth duct.

    Parameters
    ----------
    reynolds : float or array
        On the hydraulic diameter. [-]
    prandtl : float or array
        [-]

    Returns
    -------
    nusselt : float or array
        On the hydraulic diameter. [-]

    Raises
    ------
    OutOfRange
        If any Reynolds number lies outside 3e3 to 5e6, or any Prandtl number outside 0.5 to 2000.

    Notes
    -----
    .. math:: Nu = \frac{(f/8)(Re - 1000) Pr}{1 + 12.7 (f/8)^{1/2} (Pr^{2/3} - 1)},\;
              f = (0.79 \ln Re - 1.64)^{-2}

    Source: [Gnielinski1976]_, with the smooth-tube friction factor as in [Incropera2007]_.

    Examples
    --------
    >>> round(float(gnielinski_nusselt(3e4, 6.0)), 2)
    198.58
    """
    reynolds = between("reynolds", reynolds, 3e3, 5e6, because="turbulent flow only")
    return _gnielinski(reynolds, between("prandtl", prandtl, 0.5, 2000.0))


def _gnielinski(reynolds: Any, prandtl: Any) -> Any:
    """Unchecked; `shear` is the square root of f/8."""
    shear = 1.0 / (_ROOT_EIGHT * (0.79 * np.log(reynolds) - 1.64))
    root = np.cbrt(prandtl)
    return shear * shear * (reynolds - 1000.0) * prandtl / (1.0 + 12.7 * shear * (root * root - 1.0))


def duct_nusselt(reynolds: Any, prandtl: Any, fully_developed: Any, diameter_over_length: Any) -> Any:
    r"""
    Mean Nusselt number of a duct for laminar, in-between and turbulent flow, unchecked.

    The inner loops call this very often; inputs are checked where records are made.

    Parameters
    ----------
    reynolds, prandtl : float or array
        On the hydraulic diameter; 0 or more, and more than 0. [-]
    fully_developed : float or array
        Laminar Nusselt number far from the inlet. [-]
    diameter_over_length : float or array
        Hydraulic diameter over length. [-]

    Returns
    -------
    nusselt : float or array
        On the hydraulic diameter; continuous in the Reynolds number. [-]

    Notes
    -----
    Laminar up to Re 2300 (`laminar_developing_nusselt`), turbulent from 4000 (`gnielinski_nusselt`),
    and between the values at those two ends

    .. math:: Nu = (1 - \gamma) Nu_{2300} + \gamma Nu_{4000},\; \gamma = (Re - 2300)/1700

    Source: [Gnielinski1995]_, as in [VDI2010]_ part G1. No inlet correction on the turbulent side.

    Examples
    --------
    >>> duct_nusselt(np.array([0.0, 2300.0, 4000.0]), 5.0, 3.66, 0.01).round(2)
    array([ 3.66,  6.16, 28.17])
    """
    slow = np.minimum(reynolds, LAMINAR_END)
    laminar = laminar_developing_nusselt(fully_developed, diameter_over_length * slow * prandtl)
    turbulent = _gnielinski(np.maximum(reynolds, TURBULENT_START), prandtl)
    share = np.clip((reynolds - LAMINAR_END) * (1.0 / (TURBULENT_START - LAMINAR_END)), 0.0, 1.0)
    return laminar + share * (turbulent - laminar)


def cylinder_natural_nusselt(rayleigh: Any, prandtl: Any) -> Any:
    r"""
    Mean Nusselt number of a horizontal cylinder in still fluid.

    Parameters
    ----------
    rayleigh : float or array
        On the diameter, 0 to 1e12. [-]
    prandtl : float or array
        Of the fluid, more than 0. [-]

    Returns
    -------
    nusselt : float or array
        On the diameter. [-]

    Raises
    ------
    OutOfRange
        If any Rayleigh number lies outside 0 to 1e12, or a Prandtl number is not positive.

    Notes
    -----
    .. math:: Nu^{1/2} = 0.60 + 0.387 \left(\frac{Ra}{[1 + (0.559/Pr)^{9/16}]^{16/9}}\right)^{1/6}

    Source: [ChurchillChu1975a]_, properties at the mean of wall and fluid.

    Examples
    --------
    >>> round(float(cylinder_natural_nusselt(1.0e6, 0.71)), 1)
    14.5
    """
    return (0.60 + 0.387 * _natural(rayleigh, prandtl, 0.559)) ** 2


def plate_natural_nusselt(rayleigh: Any, prandtl: Any) -> Any:
    r"""
    Mean Nusselt number of an upright plate in still fluid.

    Parameters
    ----------
    rayleigh : float or array
        On the height, 0 to 1e12. [-]
    prandtl : float or array
        Of the fluid, more than 0. [-]

    Returns
    -------
    nusselt : float or array
        On the height. [-]

    Raises
    ------
    OutOfRange
        If any Rayleigh number lies outside 0 to 1e12, or a Prandtl number is not positive.

    Notes
    -----
    .. math:: Nu^{1/2} = 0.825 + 0.387 \left(\frac{Ra}{[1 + (0.492/Pr)^{9/16}]^{16/9}}\right)^{1/6}

    Source: [ChurchillChu1975b]_, properties at the mean of wall and fluid.

    Examples
    --------
    >>> round(float(plate_natural_nusselt(1.0e6, 0.71)), 1)
    16.6
    """
    return (0.825 + 0.387 * _natural(rayleigh, prandtl, 0.492)) ** 2


def _natural(rayleigh: Any, prandtl: Any, constant: float) -> Any:
    """Return the sixth root of the Rayleigh number, less what the Prandtl number takes from it."""
    rayleigh = between("rayleigh", rayleigh, 0.0, 1e12, because="the range of the relation")
    reduced = (1.0 + (constant / positive("prandtl", prandtl)) ** (9 / 16)) ** (8 / 27)
    return np.asarray(rayleigh) ** (1 / 6) / reduced


def fin_efficiency(film: Any, half_height: Any, thickness: Any, conductivity: Any) -> Any:
    r"""
    Efficiency of a thin straight fin with an adiabatic tip, unchecked.

    The inner loops call this very often; inputs are checked where records are made.

    Parameters
    ----------
    film : float or array
        Heat transfer coefficient on both faces, 0 or more. [W/(m2 K)]
    half_height : float or array
        Length from root to tip; half the gap for a fin that spans two tubes. [m]
    thickness : float or array
        [m]
    conductivity : float or array
        Of the fin's metal. [W/(m K)]

    Returns
    -------
    efficiency : float or array
        Mean excess temperature of the fin over that of its root, 0 to 1. [-]

    Notes
    -----
    .. math:: \eta = \tanh(m L)/(m L),\; m = \sqrt{2 h/(k t)}

    Source: [KaysLondon1984]_ chapter 2 (chapter from memory).

    Examples
    --------
    >>> round(float(fin_efficiency(60.0, 4e-3, 0.05e-3, 390.0)), 4)
    0.9684
    """
    reach = half_height * np.sqrt(2.0 * film / (conductivity * thickness))
    reach = np.maximum(reach, 1e-9)
    return np.tanh(reach) / reach


def crossflow_effectiveness(ntu: Any, capacity_ratio: Any) -> Any:
    r"""
    Effectiveness of a crossflow exchanger, both streams unmixed, exact and unchecked.

    The inner loops call this very often; inputs are checked where records are made.

    Parameters
    ----------
    ntu : float or array
        Number of transfer units, UA/C_min, 0 or more; above 40 it counts as 40. [-]
    capacity_ratio : float or array
        C_min/C_max, 0 to 1. [-]

    Returns
    -------
    effectiveness : float or array
        Heat over the most that could pass, 0 to 1. [-]

    Notes
    -----
    With a = NTU, b = C NTU and P_n(x) = 1 - exp(-x) (1 + x + ... + x^n/n!):

    .. math:: \varepsilon = \frac{1}{b} \sum_{n=0}^{\infty} P_n(a) P_n(b)

    Source: [Mason1955]_. Every term is carried divided by b, so a ratio of zero needs no case of its
    own. The number of terms follows the largest a and b, so that what is left out is below rounding: eleven
    terms for NTU 1.5 and C 0.3, more for more. (Ten terms everywhere would be 4e-5 off at NTU 5, C 1.)

    Examples
    --------
    >>> round(float(crossflow_effectiveness(1.0, 0.5)), 6)
    0.54749
    >>> float(crossflow_effectiveness(0.0, 0.0))
    0.0
    """
    a, b = np.broadcast_arrays(ntu, np.multiply(ntu, capacity_ratio))
    both = np.array([a, b], dtype=float)
    np.maximum(both[1], 1e-300, out=both[1, ...])
    largest_a, largest_b = both.reshape(2, -1).max(axis=1)
    if largest_a > MOST_TRANSFER_UNITS:
        both *= MOST_TRANSFER_UNITS / np.maximum(both[0], MOST_TRANSFER_UNITS)
        largest_a, largest_b = both.reshape(2, -1).max(axis=1)
    rest = np.expm1(-both)
    term = rest + 1.0
    term[0] *= both[0]
    np.negative(rest, out=rest)
    rest[1] /= both[1]
    total = rest[0] * rest[1]
    hold = np.empty_like(both)
    for n in range(1, _mason_terms(float(largest_a), float(largest_b))):
        np.multiply(term, 1.0 / math.factorial(n), out=hold)
        rest -= hold
        total += np.multiply(rest[0], rest[1], out=hold[0, ...])
        term *= both
    return total


def _mason_terms(most_a: float, most_b: float) -> int:
    """Return how many terms of Mason's series leave less than about 1e-16 out, from Poisson tails."""
    tail_a, tail_b, n = math.exp(-most_a) * most_a, math.exp(-most_b), 1
    while n < 2.0 * most_b or (2.0 * tail_a if n > 2.0 * most_a else 1.0) * 2.0 * tail_b > 1e-16:
        n += 1
        tail_a *= most_a / n
        tail_b *= most_b / n
    return n - 1 or 1


def crossflow_effectiveness_one_term(ntu: Any, capacity_ratio: Any) -> Any:
    r"""
    Effectiveness of a crossflow exchanger, both streams unmixed, by the usual textbook formula.

    Here for comparison only: it is up to 3.8 % off (low, at NTU 0.28 and C 1; the tests compute it), and
    `crossflow_effectiveness` is exact.

    Parameters
    ----------
    ntu : float or array
        Number of transfer units, 0 or more. [-]
    capacity_ratio : float or array
        C_min/C_max, 0 to 1. [-]

    Returns
    -------
    effectiveness : float or array
        Heat over the most that could pass. [-]

    Raises
    ------
    OutOfRange
        If any input lies outside its range.

    Notes
    -----
    .. math:: \varepsilon = 1 - \exp[(\exp(-C\,NTU^{0.78}) - 1)\,NTU^{0.22}/C]

    Source: [Incropera2007]_ equation 11.32 (number from memory).

    Examples
    --------
    >>> round(float(crossflow_effectiveness_one_term(1.0, 0.5)), 6)
    0.544764
    """
    ntu = between("ntu", ntu, 0.0)
    ratio = np.maximum(between("capacity_ratio", capacity_ratio, 0.0, 1.0), 1e-300)
    return -np.expm1(np.expm1(-ratio * ntu**0.78) * ntu**0.22 / ratio)
