"""Which metals go together in one loop, and how warm a plastic may become."""

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np

from loopmath.checks import InputError, number, one_of
from loopmath.tables import by_name

#: Largest difference of anodic index allowed, by surroundings; equal to the limit passes [MILF14072]_. [V]
LIMITS = {"controlled": 0.50, "normal": 0.25, "harsh": 0.15}
#: Kept below the heat-deflection temperature (common practice, no source). [K]
SOFTENING_ALLOWANCE = 10.0


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


def worst_pair(names: Sequence[str]) -> tuple[str, str, float]:
    """
    Return the two metals of a loop that lie farthest apart.

    Parameters
    ----------
    names : sequence of str
        Metals of `data/metals.csv`; one metal alone is paired with itself.

    Returns
    -------
    nobler, baser, volts : str, str, float
        The one that is protected, the one that corrodes, and their difference. [V]

    Raises
    ------
    InputError
        If there is no name, or one is unknown; the message gives the nearest names.

    Notes
    -----
    Source: [MILF14072]_.

    Examples
    --------
    >>> worst_pair(["copper", "aluminium 6000 series", "nickel plate"])
    ('nickel plate', 'aluminium 6000 series', 0.6)
    """
    table = by_name("metals.csv")
    if not names:
        raise InputError("metals", list(names), "at least one metal")
    index = {one_of("metal", name, table): table[name]["anodic_index_v"] for name in names}
    pairs = list(combinations(sorted(index, key=index.get), 2)) or [(names[0], names[0])]
    differences = [float(pair_difference(index[a], index[b])) for a, b in pairs]
    widest = differences.index(max(differences))
    return (*pairs[widest], differences[widest])


def softening_temperature(name: str) -> float | None:
    """
    Return the wall temperature up to which a rigid plastic keeps its shape under a fitting.

    Parameters
    ----------
    name : str
        A plastic of `data/plastics.csv`.

    Returns
    -------
    temperature : float or None
        Low end of its heat-deflection range at 1.8 MPa less 10 K; None for a material that has no
        such temperature, such as a rubber. [degC]

    Raises
    ------
    InputError
        If the name is unknown; the message gives the nearest names.

    Notes
    -----
    Test by [ISO75]_ or [ASTMD648]_; the values' sources stand in the table. The allowance of 10 K is
    common practice, no source.

    Examples
    --------
    >>> softening_temperature("PETG"), softening_temperature("EPDM")
    (50.0, None)
    """
    table = by_name("plastics.csv")
    low = table[one_of("plastic", name, table)]["hdt_low_degc"]
    return None if low == "" else low - SOFTENING_ALLOWANCE
