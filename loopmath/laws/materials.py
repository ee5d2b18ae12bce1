"""Metals that share a coolant, and plastics and rubbers under heat: index, softening, stiffness, growth, vapour."""

from typing import Any

import numpy as np

from loopmath.checks import InputError, OutOfRange, between, number, one_of, positive
from loopmath.tables import by_name

#: Largest difference of anodic index allowed, by surroundings; equal to the limit passes [MILF14072]_. [V]
LIMITS = {"controlled": 0.50, "normal": 0.25, "harsh": 0.15}
#: Kept below the temperature at which a plastic bends (common practice, no source). [K]
SOFTENING_ALLOWANCE = 10.0
#: Load of the test whose temperature counts, that of the milder one [Pa], and the strain both look for [ISO75]_.
LOAD, MILD_LOAD, TEST_STRAIN = 1.8e6, 0.45e6, 0.002
#: Temperature at which Young's moduli are listed [degC]; stiffness left well over the glass transition (from memory:
#: a rubbery plateau of some MPa) [Pa], and how far over it [K].
ROOM, PLATEAU, PLATEAU_OVER = 23.0, 3.0e6, 15.0
#: One barrer of water vapour: 3.346e-16 mol m/(m2 s Pa) times its molar mass. [kg/(m s Pa)]
BARRER_OF_WATER = 3.346e-16 * 0.018015
#: Between the two in the name of a plated metal.
OVER = " over "


# --------------------------------------------------------------------------------------------------- metals


def layers(name: str, field: str = "metal") -> tuple[str, str]:
    """
    Return what the coolant touches and what lies under it.

    Parameters
    ----------
    name : str
        A metal of data/metals.csv, or a plating and what it is on: "nickel plate over brass".
    field : str
        Where the name was written, for the message.

    Returns
    -------
    surface, base : str
        `base` is empty for a solid metal, and for a plating whose base is not stated.

    Raises
    ------
    InputError
        If a name is unknown (the nearest ones are listed) or the plating contradicts itself: what lies on top is no
        plating, what lies beneath is one, or both are one metal.

    Examples
    --------
    >>> layers("nickel plate over brass"), layers("copper")
    (('nickel plate', 'brass'), ('copper', ''))
    """
    table = by_name("metals.csv")
    if name in table or OVER not in str(name):
        return one_of(field, name, table), ""
    surface, _, base = str(name).partition(OVER)
    one_of(f"{field}, the plating", surface, table)
    one_of(f"{field}, under the plating", base, table)
    remedy = "Write what the coolant touches, then what lies under it: nickel plate over brass."
    if not surface.endswith(" plate"):
        raise InputError(field, name, f"a plating on top; {surface} is none", remedy)
    if base.endswith(" plate"):
        raise InputError(field, name, f"a solid metal under the plating; {base} is a plating itself", remedy)
    if table[surface]["family"] == table[base]["family"]:
        raise InputError(field, name, f"two metals; {surface} and {base} are one", remedy)
    return surface, base


def metal_names() -> list[str]:
    """Return the names a metal may have: those of data/metals.csv, and platings on what they usually are on."""
    table = by_name("metals.csv")
    platings = [n for n in table if n.endswith(" plate")]
    bases = ("copper", "brass", "mild steel", "aluminium 6000 series", "zinc casting")
    pairs = [(p, b) for p in platings for b in bases if table[p]["family"] != table[b]["family"]]
    return [*table, *(f"{p}{OVER}{b}" for p, b in pairs)]


def pair_difference(index_a: Any, index_b: Any) -> Any:
    """
    Difference of anodic index of two metals in one liquid.

    Parameters
    ----------
    index_a, index_b : float or array
        Anodic index of each. [V]

    Returns
    -------
    difference : float or array
        Rounded to a tenth of a millivolt, so that a pair right at a limit passes it. [V]

    Raises
    ------
    InputError
        If an index is no finite number.

    Notes
    -----
    Source: [MILF14072]_, compared with `LIMITS` by <=. A screening: the present specification,
    [MILSTD889D]_, ranks couples by how fast they corrode, which a potential alone does not tell.

    Examples
    --------
    >>> float(pair_difference(0.35, 0.90))
    0.55
    """
    return np.round(np.abs(number("index_a", index_a) - number("index_b", index_b)), 4)


def sea_water_difference(name_a: str, name_b: str) -> tuple[float, float] | None:
    """
    Return how far two metals lie apart in flowing sea water, the second opinion on a pair.

    Parameters
    ----------
    name_a, name_b : str
        Metals of data/metals.csv.

    Returns
    -------
    least, most : float, or None
        Potential of the first over that of the second, both ends of what is printed; negative where the first is the
        baser one. None if the series has no row for one of them. [V]

    Raises
    ------
    InputError
        If a name is unknown.

    Notes
    -----
    Source: [ASTMG82]_.

    Examples
    --------
    >>> sea_water_difference("copper", "aluminium 6000 series")
    (0.39, 0.7)
    """
    table = by_name("metals.csv")
    (low_a, high_a), (low_b, high_b) = (
        tuple(table[one_of("metal", n, table)][f"seawater_{end}_v"] for end in ("low", "high"))
        for n in (name_a, name_b)
    )
    if "" in (low_a, low_b):
        return None
    return round(low_a - high_b, 4), round(high_a - low_b, 4)


# ------------------------------------------------------------------------------------------- plastics, rubbers


def plastic(name: str, field: str = "plastic") -> dict:
    """Return the row of a plastic or rubber in data/plastics.csv; an unknown name raises InputError."""
    table = by_name("plastics.csv")
    return table[one_of(field, name, table)]


def softening_temperature(name: str, deflection: float | None = None) -> float | None:
    """
    Return the wall temperature up to which a rigid plastic keeps its shape under a fitting.

    Parameters
    ----------
    name : str
        A plastic of `data/plastics.csv`.
    deflection : float, optional
        Its heat-deflection temperature at 1.8 MPa by a data sheet, instead of the table's. [degC]

    Returns
    -------
    temperature : float or None
        The low end of its heat-deflection range at 1.8 MPa, or of its glass transition where that is lower, less 10 K;
        None for a material that has no such temperature, such as a rubber. [degC]

    Raises
    ------
    InputError
        If the name is unknown, or the plastic is rigid and its deflection at 1.8 MPa is in no source that was read.

    Notes
    -----
    Test by [ISO75]_ or [ASTMD648]_; the values' sources stand in the table. The allowance of 10 K is
    common practice, no source.

    Examples
    --------
    >>> softening_temperature("PETG"), softening_temperature("EPDM"), softening_temperature("PETG", 66.0)
    (50.0, None, 56.0)
    """
    row = plastic(name)
    if row["structure"] in ("soft", "rubber"):
        return None
    low = row["hdt_low_degc"] if deflection is None else between("heat deflection", deflection, 20.0, 300.0, "degC")
    if low == "":
        remedy = "Give the tube the heat_deflection of its data sheet, or choose another plastic."
        raise InputError("plastic", name, "a plastic whose deflection temperature at 1.8 MPa is known", remedy)
    # Above its glass transition nothing but crystals holds a plastic.
    ends = [low, row["glass_transition_degc"]] if row["structure"] == "amorphous" else [low]
    return min(ends) - SOFTENING_ALLOWANCE


def stiffness(name: str, temperature: Any, deflection: float | None = None) -> Any:
    """
    Young's modulus of a rigid plastic as it warms: an estimate, straight in its logarithm between what is known.

    Parameters
    ----------
    name : str
        A plastic of `data/plastics.csv`.
    temperature : float or array
        Of the wall, 0 to 15 K over the glass transition (or over the milder deflection temperature of a crystalline
        plastic, or of one softer than that). Cooler than 23 degC it counts as at 23 degC. [degC]
    deflection : float, optional
        As in `softening_temperature`. [degC]

    Returns
    -------
    modulus : float or array
        [Pa]

    Raises
    ------
    InputError
        As `softening_temperature`, or for a soft material.
    OutOfRange
        If a temperature is outside; the message names the range.

    Notes
    -----
    Known are the modulus E at room temperature, and what the deflection tests say of it: at the temperatures they find,
    1.8 MPa and 0.45 MPa have bent the outer fibre by 0.2 % more than at the start, so the modulus there is
    load/(0.2 % + load/E) [ISO75]_ (loads and strain from memory). Over the glass transition of an amorphous plastic
    some MPa are left (from memory). A test warms at 2 K/min; held for months a plastic gives more.

    Examples
    --------
    >>> round(float(stiffness("PETG", 60.0)) / 1e6), round(float(stiffness("PMMA", 60.0)) / 1e6)
    (621, 933)
    """
    row = plastic(name)
    if softening_temperature(name, deflection) is None:
        raise InputError("plastic", name, "a rigid plastic", "A soft tube is held by its clamp.")
    low = row["hdt_low_degc"] if deflection is None else deflection
    first = row["youngs_modulus_gpa"] * 1e9
    known = [(ROOM, first)] if low > ROOM else []
    known.append((low, LOAD / (TEST_STRAIN + LOAD / first)))
    if row["hdt_mild_degc"] != "" and row["hdt_mild_degc"] > low:
        known.append((row["hdt_mild_degc"], MILD_LOAD / (TEST_STRAIN + MILD_LOAD / first)))
    over = row["glass_transition_degc"] + PLATEAU_OVER
    if row["structure"] == "amorphous" and over > known[-1][0]:
        known.append((over, PLATEAU))
    at = between(
        f"temperature of {name}", temperature, 0.0, known[-1][0], "degC", "the range its stiffness is known in"
    )
    warm, modulus = zip(*known, strict=True)
    return np.exp(np.interp(at, warm, np.log(modulus)))


def wall_temperatures(
    coolant: Any, air: Any, inner_film: Any, outer_film: Any, conductivity: Any, outside: Any, bore: Any
) -> tuple[Any, Any]:
    """
    Temperature of a tube's wall at its bore and at its outside, between coolant and still air.

    Parameters
    ----------
    coolant, air : float or array
        [degC]
    inner_film, outer_film : float or array
        Films of the coolant and of the air, more than 0. [W/(m2 K)]
    conductivity : float or array
        Of the wall, more than 0. [W/(m K)]
    outside, bore : float or array
        Diameters, `outside` more than `bore` > 0. [m]

    Returns
    -------
    inner, outer : float or array
        [degC]

    Raises
    ------
    InputError
        If a film, the conductivity or the bore is not above 0, or the tube has no wall.

    Notes
    -----
    Three resistances in series round a cylinder [Incropera2007]_: equal heat passes each.

    Examples
    --------
    >>> [round(float(t), 2) for t in wall_temperatures(40.0, 30.0, 1500.0, 8.0, 0.2, 0.014, 0.010)]
    [39.93, 39.08]
    """
    outside, bore = positive("outside", outside, "m"), positive("bore", bore, "m")
    if np.any(np.asarray(outside) <= np.asarray(bore)):
        raise OutOfRange("outside", float(np.min(outside)), "more than the bore")
    inside = 1.0 / (positive("inner film", inner_film) * bore / 2)
    wall = np.log(outside / bore) / positive("conductivity", conductivity)
    share = (coolant - air) / (inside + wall + 1.0 / (positive("outer film", outer_film) * outside / 2))
    return coolant - share * inside, coolant - share * (inside + wall)


def growth(name: str, length: Any, warmer: Any) -> Any:
    """
    Return how much longer a tube gets as it warms.

    Parameters
    ----------
    name : str
        A plastic of data/plastics.csv or a metal of data/metals.csv.
    length : float or array
        Between its ends, 0 or more. [m]
    warmer : float or array
        Than when it was cut. [K]

    Returns
    -------
    growth : float or array
        [m]

    Raises
    ------
    InputError
        If the name is unknown, no expansion of it is listed, or the length is below 0.

    Notes
    -----
    Coefficients and their sources stand in the tables.

    Examples
    --------
    >>> round(1e3 * growth("PMMA", 0.5, 20.0), 2)
    0.7
    """
    both = by_name("plastics.csv") | by_name("metals.csv")
    rate = both[one_of("material", name, both)]["expansion_per_k"]
    if rate == "":
        raise InputError("material", name, "a material whose expansion is listed")
    return rate * between("length", length, 0.0, unit="m") * number("warmer", warmer)


def vapour_loss(
    permeability: Any, length: Any, outside: Any, bore: Any, inside_pressure: Any, outer_pressure: Any
) -> Any:
    """
    Water that passes through the wall of a tube as vapour.

    Parameters
    ----------
    permeability : float or array
        Of the wall to water vapour, 0 or more. [barrer]
    length, outside, bore : float or array
        Of the tube, `outside` more than `bore` > 0. [m]
    inside_pressure, outer_pressure : float or array
        Of the vapour over the coolant and in the air. [Pa]

    Returns
    -------
    loss : float or array
        Below 0 where the air is the moister side. [kg/s]

    Raises
    ------
    InputError
        If the tube has no wall, or permeability or length are below 0.

    Notes
    -----
    Steady diffusion through a cylinder [Crank1975]_: 2 pi L P dp/ln(outside/bore). One barrer is
    3.346e-16 mol m/(m2 s Pa) by its definition.

    Examples
    --------
    >>> round(float(vapour_loss(1200.0, 2.0, 0.013, 0.010, 5600.0, 1600.0)) * 1e3 * 86400 * 30.4, 1)
    3.6
    """
    outside, bore = positive("outside", outside, "m"), positive("bore", bore, "m")
    if np.any(np.asarray(outside) <= np.asarray(bore)):
        raise OutOfRange("outside", float(np.min(outside)), "more than the bore")
    shape = 2 * np.pi * between("length", length, 0.0, unit="m") / np.log(outside / bore)
    passing = between("permeability", permeability, 0.0, unit="barrer") * BARRER_OF_WATER
    return shape * passing * (inside_pressure - outer_pressure)
