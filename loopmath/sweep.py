"""Every combination of some settings, solved: one row per design."""

from collections.abc import Iterator
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from loopmath.checks import InputError
from loopmath.laws.coolant import Coolant
from loopmath.plan import Plan, apply_setting, kind_of
from loopmath.solution import solved
from loopmath.units import to_si

#: Designs built and solved at a time: memory stays flat however many there are.
CHUNK = 16384


def _is_number(name: str, values: list) -> bool:
    return kind_of(name) != "name" and not any(isinstance(v, str) and not kind_of(name) for v in values)


def _listed(name: str, values: Any) -> list:
    if isinstance(values, (str, Coolant)) or (not isinstance(values, (list, tuple)) and np.ndim(values) == 0):
        values = [values]
    values = list(values)
    if not values:
        raise InputError(name, values, "at least one value")
    nested = [v for v in values if not isinstance(v, Coolant) and np.ndim(getattr(v, "magnitude", v))]
    if nested:
        raise InputError(name, nested[0], "single values in one list")
    kind = kind_of(name)
    return [to_si(name, v, kind) for v in values] if kind not in ("", "name") else values


def sweep(plan: Plan, friction: str = "churchill", **settings: Any) -> pd.DataFrame:
    """
    Solve every combination of the values given.

    Parameters
    ----------
    plan : Plan
        The design everything else is taken from.
    friction : str
        Law of wall friction.
    **settings : list of values
        Names as in `plan.SETTINGS` (pump_speed, fittings, radiator, coolant, layout ...) or dotted
        ("processor.heat", given as ``**{"processor.heat": [...]}``). Numbers in SI, degC and shares, or
        text with a unit.

    Returns
    -------
    table : DataFrame
        One row per design, the settings first, then: flow [m3/s], head [m], coolant_supply,
        coolant_return, coolant_warmest [degC], coolant_over_room [K], heat [W], sound [dB], pump_power, fan_power [W],
        case_air [degC], volume [m3], one column for each component and part on air [degC], and how many rules of each
        signal word fire.
        Where the coolant would leave its data, or nothing flows, temperatures are NaN.

    Raises
    ------
    InputError
        If a setting is unknown or a value is not accepted.

    Examples
    --------
    >>> from loopmath import demo_plan
    >>> table = sweep(demo_plan(), pump_speed=["50 %", "100 %"], layout=["series", "parallel"])
    >>> len(table), bool(table.flow.is_monotonic_increasing)
    (4, False)
    """
    values = {name: _listed(name, given) for name, given in settings.items()}
    numeric = {n: np.array(v, dtype=float) for n, v in values.items() if _is_number(n, v)}
    named = {n: v for n, v in values.items() if n not in numeric}
    frames = []
    for choice in product(*named.values()):
        base = plan
        for name, value in zip(named, choice, strict=True):
            base = apply_setting(base, name, value)
        frames += [_block(base, dict(zip(named, choice, strict=True)), block, friction) for block in _blocks(numeric)]
    return pd.concat(frames, ignore_index=True)[[*values, *[c for c in frames[0] if c not in values]]]


def _blocks(numeric: dict[str, np.ndarray]) -> Iterator[dict[str, np.ndarray]]:
    """Yield the crossed values in blocks, the last setting changing fastest."""
    shape = tuple(len(v) for v in numeric.values())
    total = int(np.prod(shape))
    for first in range(0, total, CHUNK):
        places = np.unravel_index(np.arange(first, min(first + CHUNK, total)), shape) if shape else ()
        yield {n: v[i] for (n, v), i in zip(numeric.items(), places, strict=True)}


def _block(plan: Plan, named: dict, numbers: dict[str, np.ndarray], friction: str) -> pd.DataFrame:
    """Solve one block and return its rows."""
    for name, value in numbers.items():
        plan = apply_setting(plan, name, value)
    designs = len(next(iter(numbers.values()))) if numbers else 1
    answer = solved(plan, friction)
    columns = {n: [v.name if isinstance(v, Coolant) else v] * designs for n, v in named.items()} | numbers
    columns |= {k: np.broadcast_to(v, (designs,)) for k, v in answer.state.items()}
    columns |= answer.warning_counts()
    return pd.DataFrame(columns)
