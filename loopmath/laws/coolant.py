"""Properties of the coolants and of air: density, viscosity, heat capacity, conductivity."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from loopmath.checks import between, one_of, positive
from loopmath.tables import read_table

#: Property of the table -> degree of the polynomial fitted through it.
DEGREES = {"density": 3, "log_viscosity": 4, "heat_capacity": 4, "conductivity": 3}
#: Centre and half-width of the temperatures of the table. [degC]
CENTRE, HALF_WIDTH = 37.5, 32.5

#: Density [kg/m3] and molar mass [kg/mol] of pure glycols, about 20 degC, and the molar mass of water (from memory).
GLYCOLS = {"propylene glycol": (1036.0, 0.07609), "ethylene glycol": (1113.0, 0.06207)}
WATER_MOLAR_MASS = 0.018015

#: Specific gas constant of dry air, 8.314462618 J/(mol K) over 28.9652 g/mol. [J/(kg K)]
AIR_GAS_CONSTANT = 287.05
#: Heat capacity of dry air at constant pressure, within 0.1 % from 5 to 60 degC [LemmonAir2000]_. [J/(kg K)]
AIR_HEAT_CAPACITY = 1006.5


@dataclass(frozen=True, eq=False)
class Coolant:
    """
    One coolant, or one per design: names and the polynomials of its properties.

    Attributes
    ----------
    name, label, base : str
        Key of the table, words for a reader, and what is mixed into the water.
    fraction : float or array (N,)
        Share of the additive in the mixture. [-]
    fraction_basis : str
        "volume" (inhibited concentrate), "mass" (pure substance), or "none".
    freezing : float or array (N,)
        Freezing point. [degC]
    low, high : float
        Range of the table. [degC]
    density, log_viscosity, heat_capacity, conductivity : array (degree + 1,) or (degree + 1, N)
        Coefficients in x = (T - 37.5)/32.5, lowest power first, of the density [kg/m3], the natural
        logarithm of the viscosity [Pa s], the heat capacity [J/(kg K)] and the conductivity [W/(m K)].
    """

    name: str
    label: str
    base: str
    fraction: Any
    fraction_basis: str
    freezing: Any
    low: float
    high: float
    density: np.ndarray
    log_viscosity: np.ndarray
    heat_capacity: np.ndarray
    conductivity: np.ndarray

    def properties(self, temperature: Any) -> tuple[Any, Any, Any, Any]:
        """
        Properties at a temperature, unchecked: the inner loops call this very often.

        Temperatures are checked where records are made; `checked_properties` checks here.

        Parameters
        ----------
        temperature : float or array, any shape that broadcasts with the coefficients
            Coolant temperature. [degC]

        Returns
        -------
        density, viscosity, heat_capacity, conductivity : float or array
            [kg/m3], [Pa s], [J/(kg K)], [W/(m K)].

        Notes
        -----
        Polynomials by Horner's rule, fitted to `data/coolants.csv`; sources [IAPWS]_,
        [ASHRAE2001]_ and [Melinder2010]_ by way of [CoolProp2014]_.

        Examples
        --------
        >>> density, viscosity, heat_capacity, conductivity = coolant("water").properties(25.0)
        >>> round(float(density), 2), round(1e3 * float(viscosity), 3), round(float(heat_capacity))
        (997.05, 0.89, 4181)
        """
        x = (temperature - CENTRE) / HALF_WIDTH
        return (
            _horner(self.density, x),
            np.exp(_horner(self.log_viscosity, x)),
            _horner(self.heat_capacity, x),
            _horner(self.conductivity, x),
        )

    def checked_properties(self, temperature: Any) -> tuple[Any, Any, Any, Any]:
        """
        Properties at a temperature, as `properties`, refused outside the range of the table.

        Parameters
        ----------
        temperature : float or array
            Coolant temperature, `low` to `high`. [degC]

        Returns
        -------
        density, viscosity, heat_capacity, conductivity : float or array
            [kg/m3], [Pa s], [J/(kg K)], [W/(m K)].

        Raises
        ------
        OutOfRange
            If any temperature lies outside the table; the message names the coolant.

        Examples
        --------
        >>> coolant("water").checked_properties(80.0)
        Traceback (most recent call last):
        loopmath.checks.OutOfRange: temperature of water = 80.0 is not accepted. Accepted: 5 to 70 degC ...
        """
        return self.properties(
            between(
                f"temperature of {self.name}",
                temperature,
                self.low,
                self.high,
                "degC",
                because="the range of its property table",
            )
        )


def _horner(coefficients: np.ndarray, x: Any) -> Any:
    """Return a polynomial at `x`; after the first power the array is updated in place."""
    value = coefficients[-1] * x
    for coefficient in coefficients[-2:0:-1]:
        value += coefficient
        value *= x
    value += coefficients[0]
    return value


def _fitted(rows: Sequence[dict]) -> Coolant:
    """Return the coolant of one block of rows of the table."""
    first = rows[0]
    temperature = np.array([row["temperature_degc"] for row in rows])
    x = (temperature - CENTRE) / HALF_WIDTH
    columns = {
        "density": [row["density_kg_m3"] for row in rows],
        "log_viscosity": [np.log(1e-3 * row["viscosity_mpa_s"]) for row in rows],
        "heat_capacity": [row["heat_capacity_j_kg_k"] for row in rows],
        "conductivity": [row["conductivity_w_m_k"] for row in rows],
    }
    fits = {key: np.polynomial.polynomial.polyfit(x, column, DEGREES[key]) for key, column in columns.items()}
    return Coolant(
        name=first["coolant"],
        label=first["label"],
        base=first["base"],
        fraction=first["fraction"],
        fraction_basis=first["fraction_basis"],
        freezing=first["freezing_degc"],
        low=float(temperature.min()),
        high=float(temperature.max()),
        **fits,
    )


@cache
def coolants() -> dict[str, Coolant]:
    """
    Return every coolant of the table by name; fitted once per process.

    Examples
    --------
    >>> sorted(coolants())[0], len(coolants())
    ('ethylene-glycol-20', 9)
    """
    blocks: dict[str, list[dict]] = {}
    for row in read_table("coolants.csv"):
        blocks.setdefault(row["coolant"], []).append(row)
    return {name: _fitted(rows) for name, rows in blocks.items()}


def coolant(name: str) -> Coolant:
    """
    Return one coolant by name.

    Parameters
    ----------
    name : str
        A name of `data/coolants.csv`, such as "water" or "propylene-glycol-20".

    Raises
    ------
    InputError
        If the name is unknown; the message gives the nearest names.

    Examples
    --------
    >>> coolant("propylene-glycol-20").fraction_basis
    'volume'
    """
    return coolants()[one_of("coolant", name, coolants())]


def gather(coolants_list: Sequence[Coolant], index: Any) -> Coolant:
    """
    Return one coolant whose columns are those of many designs.

    Parameters
    ----------
    coolants_list : sequence of Coolant
        The coolants to choose from.
    index : int array (N,)
        Position in the list for each design.

    Returns
    -------
    coolant : Coolant
        Coefficients of shape (degree + 1, N); its range is the one all of the list share.

    Examples
    --------
    >>> both = gather([coolant("water"), coolant("propylene-glycol-20")], [0, 1, 0])
    >>> both.properties(25.0)[0].round(1)
    array([ 997., 1017.,  997.])
    """
    index = np.asarray(index, dtype=int)
    columns = {key: np.stack([getattr(c, key) for c in coolants_list], axis=-1)[:, index] for key in DEGREES}
    return Coolant(
        name="several",
        label="several coolants",
        base="several",
        fraction_basis="several",
        fraction=np.array([c.fraction for c in coolants_list])[index],
        freezing=np.array([c.freezing for c in coolants_list])[index],
        low=max(c.low for c in coolants_list),
        high=min(c.high for c in coolants_list),
        **columns,
    )


def water_vapour_pressure(temperature: Any) -> Any:
    r"""
    Vapour pressure over pure water.

    Parameters
    ----------
    temperature : float or array
        0 to 100. [degC]

    Returns
    -------
    pressure : float or array
        [Pa]

    Raises
    ------
    OutOfRange
        If any temperature lies outside.

    Notes
    -----
    Source: [WagnerPruss1993]_ (IAPWS SR1-86), the six constants from memory. The test finds it within 0.01 % of
    [IAPWS]_.

    Examples
    --------
    >>> round(float(water_vapour_pressure(25.0)))
    3170
    """
    absolute = between("water temperature", temperature, 0.0, 100.0, "degC") + 273.15
    tau = 1.0 - absolute / 647.096
    powers = (1.0, 1.5, 3.0, 3.5, 4.0, 7.5)
    constants = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
    series = sum(a * tau**p for a, p in zip(constants, powers, strict=True))
    return 22.064e6 * np.exp(647.096 / absolute * series)


def water_share(fluid: Coolant) -> float:
    """
    Return the mole fraction of water in a coolant, by which it lowers the vapour pressure (Raoult).

    Parameters
    ----------
    fluid : Coolant
        One coolant of data/coolants.csv.

    Returns
    -------
    share : float
        0 to 1. [-]

    Notes
    -----
    An estimate: the concentrate of a mix by volume counts as pure glycol, and its volume shares become mass shares
    through the densities of pure glycol and water, as if mixing took no volume.

    Examples
    --------
    >>> round(water_share(coolant("propylene-glycol-20")), 3)
    0.942
    """
    if fluid.base not in GLYCOLS:
        return 1.0
    density, molar = GLYCOLS[fluid.base]
    by_volume = fluid.fraction_basis == "volume"
    water = float(coolant("water").properties(20.0)[0]) if by_volume else 1.0
    share = float(fluid.fraction)
    glycol_moles = share * (density if by_volume else 1.0) / molar
    water_moles = (1.0 - share) * water / WATER_MOLAR_MASS
    return water_moles / (water_moles + glycol_moles)


def air_density(temperature: Any, pressure: Any = 101325.0) -> Any:
    r"""
    Density of dry air as an ideal gas.

    Parameters
    ----------
    temperature : float or array
        Above -273.15. [degC]
    pressure : float or array, broadcast against `temperature`
        Absolute pressure, not gauge. [Pa]

    Returns
    -------
    density : float or array
        [kg/m3]

    Raises
    ------
    OutOfRange
        If the absolute temperature or the pressure is not positive.

    Notes
    -----
    .. math:: \rho = p / (R T)

    Source: ideal gas, gas constant from the molar mass in [LemmonAir2000]_. Within 0.1 % of that
    reference equation from 5 to 60 degC at 101325 Pa; the test computes it.

    Examples
    --------
    >>> round(air_density(25.0), 4)
    1.1839
    """
    absolute = positive("absolute temperature of the air", np.asarray(temperature) + 273.15, "K")
    return positive("air pressure", pressure, "Pa") / (AIR_GAS_CONSTANT * absolute)


def air_viscosity(temperature: Any) -> Any:
    r"""
    Dynamic viscosity of air by Sutherland's relation.

    Parameters
    ----------
    temperature : float or array
        -50 to 150. [degC]

    Returns
    -------
    viscosity : float or array
        [Pa s]

    Raises
    ------
    OutOfRange
        If any temperature lies outside -50 to 150 degC.

    Notes
    -----
    .. math:: \mu = 1.458 \times 10^{-6}\, T^{3/2} / (T + 110.4)

    Source: form [Sutherland1893]_, constants [StandardAtmosphere1976]_ (from memory). The test
    finds it within 1 % of [LemmonJacobsen2004]_ from 5 to 60 degC.

    Examples
    --------
    >>> round(1e6 * float(air_viscosity(25.0)), 2)
    18.37
    """
    absolute = between("air temperature", temperature, -50.0, 150.0, "degC") + 273.15
    return 1.458e-6 * absolute * np.sqrt(absolute) / (absolute + 110.4)


def air_conductivity(temperature: Any) -> Any:
    r"""
    Thermal conductivity of air.

    Parameters
    ----------
    temperature : float or array
        -50 to 150. [degC]

    Returns
    -------
    conductivity : float or array
        [W/(m K)]

    Raises
    ------
    OutOfRange
        If any temperature lies outside -50 to 150 degC.

    Notes
    -----
    .. math:: k = 2.64638 \times 10^{-3}\, T^{3/2} / (T + 245.4 \cdot 10^{-12/T})

    Source: [StandardAtmosphere1976]_ (from memory). The test finds it within 1.5 % of
    [LemmonJacobsen2004]_ from 5 to 60 degC.

    Examples
    --------
    >>> round(float(air_conductivity(25.0)), 4)
    0.0261
    """
    absolute = between("air temperature", temperature, -50.0, 150.0, "degC") + 273.15
    return 2.64638e-3 * absolute * np.sqrt(absolute) / (absolute + 245.4 * 10.0 ** (-12.0 / absolute))


def pressure_at_height(height: Any) -> Any:
    r"""
    Air pressure at a height above the sea, in the standard atmosphere.

    Parameters
    ----------
    height : float or array
        -500 to 11000. [m]

    Returns
    -------
    pressure : float or array
        Absolute pressure. [Pa]

    Raises
    ------
    OutOfRange
        If any height lies outside -500 to 11000 m.

    Notes
    -----
    .. math:: p = 101325\,(1 - 0.0065\,h/288.15)^{5.25588}

    Source: [StandardAtmosphere1976]_ (constants from memory; the exponent is g M/(R L)).

    Examples
    --------
    >>> round(pressure_at_height(1500.0))
    84556
    """
    height = between("height above the sea", height, -500.0, 11000.0, "m")
    return 101325.0 * (1.0 - 0.0065 * height / 288.15) ** 5.25588
