"""The pint boundary: text or quantity in, SI floats out, and back in the reader's units."""

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from loopmath.checks import InputError, number

registry = pint.UnitRegistry(cache_folder=None)
registry.define("meter_of_water = 9806.65 pascal = mH2O")
registry.define("millimeter_of_water = 9.80665 pascal = mmH2O")
Quantity = registry.Quantity

#: Kind of quantity -> the unit used inside the package, with no prefix and no choice.
#: Temperatures are degC inside; a difference of temperatures is a kind of its own.
INSIDE = {
    "flow": "m^3/s",
    "air flow": "m^3/s",
    "head": "m",
    "pressure": "Pa",
    "length": "m",
    "temperature": "degC",
    "difference": "delta_degC",
    "power": "W",
    "share": "",
    "volume": "m^3",
    "velocity": "m/s",
    "resistance": "delta_degC/W",
    "sound": "",
    "count": "",
}
_EXAMPLE = {
    "flow": "'3.5 L/min' or '0.9 gal/min'",
    "air flow": "'60 m^3/h' or '35 ft^3/min'",
    "head": "'3.2 m' or '10 ft'",
    "pressure": "'12 kPa' or '1.2 mH2O'",
    "length": "'12 mm' or '1/2 in'",
    "temperature": "'25 degC' or '77 degF'",
    "difference": "'5 K' or '9 delta_degF'",
    "power": "'140 W'",
    "share": "'55 %' or 0.55",
    "volume": "'250 mL'",
    "velocity": "'0.6 m/s'",
    "resistance": "'0.05 K/W'",
    "sound": "'32 dB'",
    "count": "a number such as 4",
}
_NUMBER = re.compile(r"^\s*([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?)(?:\s*/\s*([0-9.]+))?\s*(.*?)\s*$")


def to_si(field: str, value: Any, kind: str) -> Any:
    """
    Read a quantity as written by a person and return it in the package's own unit.

    Parameters
    ----------
    field : str
        Name of the field, for the error message.
    value : str, pint quantity, float or array
        Text such as "3.5 L/min", "1/2 in", "88 degF", "55 %", a pint quantity, or a plain number,
        which is taken to be in the inside unit already.
    kind : str
        A key of `INSIDE`, such as "flow" or "temperature".

    Returns
    -------
    value : float or array
        In the unit `INSIDE[kind]`.

    Raises
    ------
    InputError
        If the text is no number with a unit, the unit has the wrong dimension, a difference is
        given where a temperature is meant (or the reverse), or the number is not finite.

    Examples
    --------
    >>> round(to_si("flow", "3.6 L/min", "flow"), 9)
    6e-05
    >>> round(to_si("room", "77 degF", "temperature"), 6)
    25.0
    """
    example = _EXAMPLE[kind]
    if isinstance(value, str):
        match = _NUMBER.match(value.replace("−", "-"))
        if not match:
            raise InputError(field, value, f"a number with a unit, such as {example}")
        try:
            amount = float(match[1]) / (float(match[2]) if match[2] else 1.0)
        except (ValueError, ZeroDivisionError):
            raise InputError(field, value, f"a number with a unit, such as {example}") from None
        unit = match[3].replace("%", "percent")
        unit = unit.replace("dBA", "").replace("dB", "") if kind == "sound" else unit
        unit = {"°C": "degC", "°F": "degF"}.get(unit, unit)
        if not unit and INSIDE[kind] or "dB" in unit:  # a level is no ratio here, and no other quantity
            raise InputError(field, value, f"a number with a unit, such as {example}")
        if kind in ("sound", "count") and unit:
            raise InputError(field, value, f"a plain number, such as {example}")
        try:
            value = Quantity(amount, unit)
        except Exception:  # pint raises several unrelated types for text it cannot read
            raise InputError(field, value, f"a unit that is known, such as {example}") from None
    if isinstance(value, pint.Quantity) or hasattr(value, "to") and hasattr(value, "magnitude"):
        inside = INSIDE[kind]
        unit = str(value.units)
        if kind == "temperature" and "delta" in unit:
            raise InputError(field, str(value), f"a temperature, such as {example}")
        if kind == "difference" and unit in ("degree_Celsius", "degree_Fahrenheit"):
            raise InputError(
                field,
                str(value),
                f"a difference of temperatures, such as {example}",
                "Write K or delta_degF: a difference is not a temperature.",
            )
        if kind in ("difference", "resistance"):
            inside = inside.replace("delta_degC", "kelvin")
        try:
            value = value.to(inside).magnitude
        except pint.PintError:
            raise InputError(field, str(value), f"a quantity of the right kind, such as {example}") from None
    return number(field, value)


@dataclass(frozen=True)
class Shown:
    """How one kind of quantity is shown: unit, label, factor and offset from inside, digits."""

    label: str
    factor: float
    offset: float = 0.0
    digits: int = 1

    def convert(self, value: Any) -> Any:
        """Return inside value(s) in the shown unit."""
        return np.asarray(value) * self.factor + self.offset if np.ndim(value) else value * self.factor + self.offset

    def back(self, value: Any) -> Any:
        """Return shown value(s) in the inside unit."""
        return (value - self.offset) / self.factor

    def text(self, value: Any, unit: bool = True, sign: bool = False) -> str:
        """Return the number as printed, a true minus sign, the unit behind it if asked."""
        if value is None or not np.isfinite(value):
            return "none"
        words = f"{self.convert(float(value)):{'+' if sign else ''}.{self.digits}f}".replace("-", "−")
        if float(words.replace("−", "-")) == 0:
            words = words.replace("−", "")
        return f"{words} {self.label}" if unit and self.label else words


def _shown(kind: str, unit: str, label: str, digits: int) -> Shown:
    """Derive factor and offset from pint, so that no conversion is typed by hand."""
    inside = INSIDE[kind]
    zero = float(Quantity(0.0, inside).to(unit).magnitude)
    one = float(Quantity(1.0, inside).to(unit).magnitude)
    offset = zero if kind == "temperature" else 0.0
    return Shown(label, one - zero, offset, digits)


#: The two sets of units a reader can choose between; everything shown goes through one of them.
DISPLAY = {
    "metric": {
        "flow": _shown("flow", "L/min", "L/min", 2),
        "air flow": _shown("air flow", "m^3/h", "m³/h", 0),
        "head": _shown("head", "m", "m", 2),
        "pressure": _shown("pressure", "kPa", "kPa", 2),
        "length": _shown("length", "mm", "mm", 1),
        "temperature": _shown("temperature", "degC", "°C", 1),
        "difference": _shown("difference", "delta_degC", "K", 1),
        "power": _shown("power", "W", "W", 0),
        "share": _shown("share", "percent", "%", 0),
        "volume": _shown("volume", "mL", "mL", 0),
        "velocity": _shown("velocity", "m/s", "m/s", 2),
        "resistance": _shown("resistance", "delta_degC/W", "K/W", 3),
        "sound": _shown("sound", "", "dB", 0),
        "count": _shown("count", "", "", 0),
    }
}
DISPLAY["us"] = DISPLAY["metric"] | {
    "flow": _shown("flow", "gal/min", "gal/min", 2),
    "air flow": _shown("air flow", "ft^3/min", "ft³/min", 0),
    "head": _shown("head", "ft", "ft", 1),
    "pressure": _shown("pressure", "psi", "psi", 2),
    "length": _shown("length", "inch", "in", 3),
    "temperature": _shown("temperature", "degF", "°F", 1),
    "difference": _shown("difference", "delta_degF", "°F diff.", 1),
    "volume": _shown("volume", "fluid_ounce", "fl oz", 1),
    "velocity": _shown("velocity", "ft/s", "ft/s", 2),
    "resistance": _shown("resistance", "delta_degF/W", "°F/W", 3),
}


def show(value: Any, kind: str, system: str = "metric", **how: bool) -> str:
    """
    Return one inside value as text in the reader's units.

    Examples
    --------
    >>> show(6e-05, "flow"), show(6e-05, "flow", "us")
    ('3.60 L/min', '0.95 gal/min')
    """
    return DISPLAY[system][kind].text(value, **how)
