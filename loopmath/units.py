"""The pint boundary: text or quantity in, SI floats out, and back in the reader's units."""

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pint

from loopmath.checks import InputError, number

registry = pint.UnitRegistry(cache_folder=None)
registry.define("meter_of_water = 9806.65 pascal = mH2O")
registry.define("thirtysecond_of_inch = inch / 32")
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
    "air pressure": "Pa",
    "resistance": "delta_degC/W",
    "conductance": "W/delta_degC",
    "current": "A",
    "voltage": "V",
    "sound": "",
    "count": "",
    "linear loss": "Pa*s/m^3",
    "quadratic loss": "Pa*s^2/m^6",
    "area": "m^2",
    "heat capacity": "J/delta_degC",
    "mass": "kg",
    "angle": "rad",
    "time": "s",
}
#: What a record's range says after its numbers -> the kind of quantity; any other remark stands at a plain number.
KIND_OF_UNIT = {
    "m": "length",
    "m of head": "head",
    "m^3": "volume",
    "m^2": "area",
    "m^3/s": "flow",
    "m^3/s of air": "air flow",
    "Pa": "air pressure",
    "degC": "temperature",
    "K/W": "resistance",
    "W": "power",
    "J/K": "heat capacity",
    "kg": "mass",
    "A": "current",
    "V": "voltage",
    "dB": "sound",
    "of full speed": "share",
    "Pa s/m3": "linear loss",
    "Pa s2/m6": "quadratic loss",
}
#: Units a person would write, tried in this order; the first that gives the number in few digits is taken.
_WRITTEN = {
    "flow": ("L/min", "L/hour"),
    "air flow": ("m^3/hour",),
    "head": ("m",),
    "pressure": ("kPa", "Pa"),
    "length": ("mm", "m"),
    "temperature": ("degC",),
    "difference": ("K",),
    "power": ("W",),
    "share": ("%",),
    "volume": ("mL", "L"),
    "velocity": ("m/s",),
    "air pressure": ("Pa",),
    "resistance": ("K/W",),
    "conductance": ("W/K",),
    "current": ("A",),
    "voltage": ("V",),
    "sound": ("dB",),
    "count": ("",),
    "linear loss": ("kPa/(L/min)",),
    "quadratic loss": ("kPa/(L/min)^2",),
    "area": ("cm^2", "mm^2"),
    "heat capacity": ("J/K",),
    "mass": ("g", "kg"),
    "angle": ("deg",),
    "time": ("min",),
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
    "air pressure": "'25 Pa' or '0.1 inH2O'",
    "resistance": "'0.05 K/W'",
    "conductance": "'12 W/K'",
    "current": "'1 A' or '850 mA'",
    "voltage": "'12 V'",
    "sound": "'32 dB'",
    "count": "'4'",
    "linear loss": "'0.6 kPa/(L/min)'",
    "quadratic loss": "'0.4 kPa/(L/min)^2'",
    "area": "'360 mm^2'",
    "heat capacity": "'60 J/K'",
    "mass": "'240 g' or '8.5 oz'",
    "angle": "'45 deg'",
    "time": "'20 min'",
}
#: What people write for the two scales, in small letters, its degree sign left out.
_TEMPERATURES = {
    **dict.fromkeys(("c", "deg c", "degree c", "degrees c", "celsius", "degrees celsius"), "degC"),
    **dict.fromkeys(("f", "deg f", "degree f", "degrees f", "fahrenheit", "degrees fahrenheit"), "degF"),
}
#: A number, a fraction, or a whole number with a fraction (8 1/2), and the unit behind it.
_NUMBER = re.compile(r"^\s*(?:(\d+)\s+(?=\d+\s*/))?([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?)(?:\s*/\s*([0-9.]+))?\s*(.*?)\s*$")


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
    typed, given = isinstance(value, str), value
    if typed:
        match = _NUMBER.match(_with_point(field, value.replace("−", "-")))
        if not match:
            raise InputError(field, value, f"a number with a unit, such as {example}")
        try:
            amount = float(match[1] or 0) + float(match[2]) / (float(match[3]) if match[3] else 1.0)
        except (ValueError, ZeroDivisionError):
            raise InputError(field, value, f"a number with a unit, such as {example}") from None
        unit = match[4].replace("%", "percent").replace("fl oz", "fluid_ounce")
        unit = re.sub(r"^dB\s*\(?A?\)?$", "", unit) if kind == "sound" else unit
        unit = _TEMPERATURES.get(unit.lower().replace("°", "").strip(), unit) if kind == "temperature" else unit
        if kind == "share" and not unit and abs(amount) > 2:
            raise InputError(field, value, f"a share, such as {example}", f"Write {amount:g} %, with its sign.")
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
            raise InputError(field, str(given), f"a temperature, such as {example}")
        if kind == "difference" and unit in ("degree_Celsius", "degree_Fahrenheit"):
            raise InputError(
                field,
                str(given),
                f"a difference of temperatures, such as {example}",
                "Write K or delta_degF: a difference is not a temperature.",
            )
        if "delta" in inside:
            inside = inside.replace("delta_degC", "kelvin")
        plain = not typed or registry.Unit(inside or "dimensionless") == value.units
        try:
            value = value.to(inside).magnitude
            if not plain:  # 250 mL is 0.00025 m3, not 0.00024999999999999995
                value = float(f"{value:.13g}")
        except pint.PintError:
            raise InputError(field, str(given), f"a quantity of the right kind, such as {example}") from None
    return number(field, value)


def _with_point(field: str, text: str) -> str:
    """Return a number written with a decimal comma with a point; three places behind it could be thousands."""
    match = re.match(r"^\s*[+-]?\d+,(\d+)(?![\d,.])", text)
    if match and len(match[1]) == 3:
        both = text.replace(",", "."), text.replace(",", "")
        raise InputError(field, text, f"{both[0].strip()!r} or {both[1].strip()!r}", "Its comma could mean either.")
    return text.replace(",", ".", 1) if match else text


def written(value: float, kind: str, like: Any = None) -> str | float | int:
    """
    Return one inside value as a person would write it in a file, so that it reads back to the very same number.

    Parameters
    ----------
    value : float
        In the unit `INSIDE[kind]`.
    kind : str
        A key of `INSIDE`.
    like : str, optional
        Text whose unit is kept: what the file says now.

    Returns
    -------
    text : str, or a plain number for a count
        `to_si("", text, kind) == value`, bit for bit.

    Examples
    --------
    >>> written(0.012, "length"), written(0.0127, "length", "3/8 in"), written(0.55, "share"), written(3.0, "count")
    ('12 mm', '0.5 in', '55 %', 3)
    """
    value = float(value) + 0.0  # no minus before a zero
    if kind == "count":
        return int(value) if value.is_integer() and abs(value) < 1e15 else value
    own = ()
    if isinstance(like, str) and (match := _NUMBER.match(like)) and match[4]:
        own = (match[4],)
    for digits in (6, 12, 17):
        texts = [f"{_amount(value, kind, unit, digits)} {unit}" for unit in (*own, *_WRITTEN[kind])]
        exact = [text for text in texts if to_si("", text, kind) == value]
        if exact:
            # The usual unit, unless another says it in clearly fewer signs: 300 mm, but 120 m.
            kept = bool(own) and exact[0] == texts[0]
            return exact[0] if kept else min(exact, key=lambda text: _length(text) + 3 * texts.index(text))
    inside = INSIDE[kind].replace("delta_degC", "K")
    return f"{value!r} {inside}" if inside else value


def _length(text: str) -> int:
    """Return the signs of a quantity; from a thousand on a number counts as longer: 250 mL, but 1.2 L."""
    return len(text) + 2 * (abs(float(text.partition(" ")[0])) >= 1000)


def _amount(value: float, kind: str, unit: str, digits: int) -> str:
    """Return the number of a quantity in a unit, rounded, in plain digits if that is short."""
    unit = {"%": "percent", "dB": ""}.get(unit, unit)
    inside = INSIDE[kind].replace("delta_degC", "kelvin")
    amount = float(Quantity(value, inside).to(unit).magnitude)
    short = f"{amount:.{digits}g}"
    if "e" in short and 1e-6 <= abs(amount) < 1e12:
        short = f"{amount:.{max(0, digits - 1 - int(np.floor(np.log10(abs(amount)))))}f}"
        short = short.rstrip("0").rstrip(".") if "." in short else short
    return short


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
        "air pressure": _shown("air pressure", "Pa", "Pa", 1),
        "resistance": _shown("resistance", "delta_degC/W", "K/W", 3),
        "conductance": _shown("conductance", "W/delta_degC", "W/K", 2),
        "current": _shown("current", "A", "A", 2),
        "voltage": _shown("voltage", "V", "V", 1),
        "sound": _shown("sound", "", "dB", 0),
        "count": _shown("count", "", "", 0),
        "linear loss": _shown("linear loss", "kPa*min/L", "kPa/(L/min)", 3),
        "quadratic loss": _shown("quadratic loss", "kPa*min^2/L^2", "kPa/(L/min)^2", 3),
        "area": _shown("area", "mm^2", "mm^2", 0),
        "heat capacity": _shown("heat capacity", "J/delta_degC", "J/K", 0),
        "mass": _shown("mass", "g", "g", 0),
        "angle": _shown("angle", "degree", "degrees", 1),
        "time": _shown("time", "min", "min", 1),
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
    "air pressure": _shown("air pressure", "inH2O", "inH2O", 3),
    "resistance": _shown("resistance", "delta_degF/W", "°F/W", 3),
    "conductance": _shown("conductance", "W/delta_degF", "W/°F", 2),
    "linear loss": _shown("linear loss", "psi*min/gal", "psi/(gal/min)", 4),
    "quadratic loss": _shown("quadratic loss", "psi*min^2/gal^2", "psi/(gal/min)^2", 4),
    "area": _shown("area", "inch^2", "in^2", 3),
    "heat capacity": _shown("heat capacity", "BTU/delta_degF", "BTU/°F", 3),
    "mass": _shown("mass", "ounce", "oz", 1),
}


#: Coarser units for sliders, which stand at whole numbers; what is not here is as in `DISPLAY`.
SLIDING = {
    "metric": {
        "area": _shown("area", "cm^2", "cm²", 0),
        "length": _shown("length", "cm", "cm", 0),
        "height": _shown("length", "m", "m", 0),
        "small length": _shown("length", "mm", "mm", 0),
        "port height": _shown("length", "mm", "mm", 0),
    },
    "us": {
        "area": _shown("area", "inch^2", "in²", 0),
        "length": _shown("length", "inch", "in", 0),
        "height": _shown("length", "ft", "ft", 0),
        "small length": _shown("length", "thirtysecond_of_inch", "1/32 in", 0),
        "port height": _shown("length", "inch", "in", 0),
    },
}


#: A length that is looked at, not cut.
ROUGH = {"metric": _shown("length", "mm", "mm", 0), "us": _shown("length", "inch", "in", 1)}


def rough(length: Any, system: str = "metric") -> str:
    """
    Return a length [m] as text, no finer than it is looked at.

    Examples
    --------
    >>> rough(0.31074), rough(0.31074, "us")
    ('311 mm', '12.2 in')
    """
    return ROUGH[system].text(length)


def show(value: Any, kind: str, system: str = "metric", **how: bool) -> str:
    """
    Return one inside value as text in the reader's units.

    Examples
    --------
    >>> show(6e-05, "flow"), show(6e-05, "flow", "us")
    ('3.60 L/min', '0.95 gal/min')
    """
    return DISPLAY[system][kind].text(value, **how)
