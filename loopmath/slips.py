"""What looks wrong in a table of readings: slips of units, exchanged columns, readings that do not belong."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from loopmath import units
from loopmath.fit import Fit
from loopmath.loss import GRAVITY, REFERENCE_DENSITY
from loopmath.readings import Readings

#: Pressure of a metre of water, by which a pressure read off a gauge is turned into a head. [Pa/m]
WATER_COLUMN = REFERENCE_DENSITY * GRAVITY

_L_MIN = 1e-3 / 60
#: What is usual for the parts of a hand-built loop, in SI: (low, high). Common practice, no source.
USUAL = {
    "pump run-out flow": (4 * _L_MIN, 45 * _L_MIN),
    "pump shut-off head": (1.0, 14.0),
    # Bore of the opening that would pass the run-out flow under the shut-off head without loss: small pumps are
    # much alike in it, big or small, so it is the sharpest test of flow against head.
    "pump opening": (0.0048, 0.0096),
    "pump power": (1.5, 80.0),
    "pump efficiency": (0.03, 0.6),
    # Air speed is flow over the square of the fan's size; the numbers are flow over (turns a second x size^3) and
    # pressure over (1.2 kg/m3 x turns^2 x size^2). They are sharper, and used where the turns are known.
    "fan air speed": (0.6, 5.0),
    "fan flow number": (0.42, 0.9),
    "fan shut-off pressure": (3.0, 150.0),
    "fan pressure number": (0.5, 4.5),
    "fan sound level": (10.0, 75.0),
    "fan power": (0.2, 40.0),
    "block loss at 1 gal/min": (2500.0, 28000.0),
    "small block loss at 1 gal/min": (800.0, 18000.0),
    "block flow": (0.3 * _L_MIN, 20 * _L_MIN),
    "block resistance": (0.02, 0.4),
    "small block resistance": (0.05, 4.0),
    "radiator coolant flow": (0.3 * _L_MIN, 20 * _L_MIN),
    "radiator conductance of a position": (2.0, 45.0),
    "radiator air speed": (0.1, 4.0),
    "radiator share of the most possible": (0.05, 1.1),  # a tenth for the scatter of readings
    "radiator loss at 1 gal/min": (200.0, 25000.0),
}
#: Kind of quantity -> units its numbers may have been written in.
_WRITTEN = {
    "flow": ("L/min", "L/h", "gal/min", "gal/h", "m^3/h", "mL/s", "L/s", "mL/min"),
    "air flow": ("m^3/h", "ft^3/min", "m^3/min", "L/s", "m^3/s", "L/min"),
    "head": ("m", "ft", "cm"),
    "pressure": ("Pa", "kPa", "mbar", "bar", "psi", "mH2O", "mmH2O", "inH2O"),
    "air pressure": ("Pa", "kPa", "mbar", "bar", "psi", "mH2O", "mmH2O", "inH2O"),
    "power": ("W", "mW", "kW"),
    "resistance": ("K/W",),
    "conductance": ("W/K", "kW/K"),
    "sound": (),
}
#: A number this many times too large or small is a decimal mark, or a prefix, out of place.
_DECIMALS = {
    10.0: "ten times too large",
    0.1: "ten times too small",
    1e3: "1000 times too large",
    1e-3: "1000 times too small",
}


def _scales(kind: str) -> dict[str, float]:
    """Return the units numbers of this kind may have been written in, and what one of each is in SI."""
    found = {unit: units.to_si("unit", f"1 {unit}" if kind != "share" else "1", kind) for unit in _WRITTEN[kind]}
    if kind == "head":
        found |= {u: units.to_si("unit", f"1 {u}", "pressure") / WATER_COLUMN for u in ("kPa", "mbar", "bar", "psi")}
    return found


def shown(kind: str, system: str = "metric") -> Callable[[float], str]:
    """Return how a figure of a kind is said in the reader's units, to three digits at least."""
    if kind == "number":
        return lambda v: f"{v:.2f}"
    how = units.DISPLAY[system][kind]

    def show(v: float) -> str:
        size = abs(how.convert(float(v)))
        if size == 0 or kind in ("share", "sound", "temperature"):
            return how.text(v)
        digits = min(2 - int(np.floor(np.log10(size))), how.digits + 2)
        return replace(how, digits=max(digits, how.digits)).text(v)

    return show


@dataclass(frozen=True, eq=False)
class Mark:
    """
    One figure of a part that has a usual range, and the columns it came from.

    `value(key, factor)` is the figure if the readings of column `key` were `factor` times what they are; key None
    is as read. `columns` are (key, words for a reader, kind). `impossible` says what a figure above `high` breaks.
    """

    said: str
    kind: str
    usual: str | tuple[float, float]
    value: Callable[[str | None, float], float]
    columns: Sequence[tuple[str, str, str]]
    impossible: str = ""

    @property
    def range(self) -> tuple[float, float]:
        """Ends of what is usual."""
        return USUAL[self.usual] if isinstance(self.usual, str) else self.usual

    def fits(self, key: str | None = None, factor: float = 1.0) -> bool:
        """Return whether the figure is usual."""
        low, high = self.range
        return bool(low <= self.value(key, factor) <= high)


def unit_slips(marks: Sequence[Mark], readings: Readings, system: str = "metric") -> list[str]:
    """
    Return what is said of figures outside their usual range, and the slip of units that would explain each.

    A slip is named only if it brings every figure that rests on the column into its range.
    """
    out, mended = [], []
    for one in marks:
        value, (low, high) = one.value(None, 1.0), one.range
        impossible = bool(one.impossible) and value > high
        if one.fits() or not impossible and any(one.fits(key, factor) for key, factor in mended):
            continue
        middle = np.sqrt(max(low, 1e-3 * high) * high)
        found = []
        for key, words, kind in one.columns:
            resting = [m for m in marks if any(key == c[0] for c in m.columns)]
            read = readings.scales[key]
            tries = [(scale / read, unit) for unit, scale in _scales(kind).items()]
            tries += [(1 / factor, said) for factor, said in _DECIMALS.items()]
            for factor, unit in tries:
                if abs(np.log(factor)) < 0.2 or not all(m.fits(key, factor) for m in resting):
                    continue
                far = abs(np.log(one.value(key, factor) / middle)) + (0.5 if "times" in unit else 0.0)
                found.append((far, key, factor, words, unit))
        show = shown(one.kind, system)
        what = f"{one.said} would be {show(value)}; {show(low)} to {show(high)} is usual"
        what += f", and {one.impossible}" if impossible else ""
        told = []
        found.sort()
        likely = [f for f in found if "times" not in f[-1]][:2] + [f for f in found if "times" in f[-1]][:1]
        for _, key, factor, words, unit in sorted(likely):
            column = readings.units[key] or "numbers without a unit"
            written = f"look like {unit} written in a column of {column}"
            told.append(f"the {words} {f'are {unit}' if 'times' in unit else written}")
            mended.append((key, factor))
        out.append((impossible, " or ".join(told), what))
    said = []
    for told in dict.fromkeys(t for _, t, _ in sorted(out, key=lambda o: not o[0])):  # the impossible first
        whats = "; ".join(what for _, t, what in out if t == told)
        if told:
            said.append(f"{told[0].upper()}{told[1:]}: as read, {whats}.")
        else:
            said.append(f"As read, {whats}. No slip of units explains it.")
    return said


def exchanged(first: str, second: str, as_read: bool, if_exchanged: bool) -> list[str]:
    """Return the words for two columns whose figures are usual only if they change places."""
    if as_read or not if_exchanged:
        return []
    return [f"The columns of {first} and {second} look exchanged: their figures are usual only if they change places."]


def odd_reading(fit: Fit, index: int, line: int, at: str, show: Callable[[float], str], said: str) -> str:
    """Return the words for a reading that does not belong with the others; `show` says how a figure is said."""
    others, expected, spread = fit.against(index)
    half = float(stats.t.ppf(0.975, others.dof)) * spread
    return (
        f"Line {line} does not belong with the others: {said} {show(float(fit.y[index]))} {at}, where "
        f"the others give {show(expected)} ± {show(half)}."
    )


def wrong_way(fit: Fit, x: np.ndarray, y: np.ndarray, rises: bool, weight: Any = 1.0) -> bool:
    """
    Return whether readings rise (or fall) with `x` beyond their scatter where the law says the other.

    Two signs are looked for: a straight line through all leans the wrong way (Student, 0.5 % on that side), or the
    mean of one tenth of the readings lies 4.5 of its own errors above that of a tenth before it, and by more than
    2 % of the range. `rises` says which way the law goes. `weight` is what each of `y` was divided by since it was
    read: the scatter of a slow pump's heads grows with them when they are carried to full speed.
    """
    y = y if not rises else -y
    if len(np.unique(x)) < 3:
        return False
    square = np.broadcast_to(np.square(weight), x.shape)
    apart, above = x - np.average(x, weights=square), y - np.average(y, weights=square)
    spread = float(square @ apart**2)
    slope = float(square @ (apart * above)) / spread
    error = np.sqrt(float(square @ (above - slope * apart) ** 2) / (len(x) - 2) / spread)
    if slope > 0 and slope > stats.t.ppf(0.995, len(x) - 2) * error:
        return True
    scatter = fit.residual_sd
    if not np.isfinite(scatter) or fit.dof < 2:
        return False
    groups = np.array_split(np.argsort(x, kind="stable"), min(10, len(x)))
    means = np.array([np.average(y[g], weights=square[g]) for g in groups])
    sizes = np.array([square[g].sum() for g in groups])
    places = np.array([x[g].mean() for g in groups])
    rise = means[None, :] - means[:, None]
    error = scatter * np.sqrt(1 / sizes[None, :] + 1 / sizes[:, None])
    later = places[None, :] > places[:, None]
    return bool(np.any(later & (rise > 4.5 * error) & (rise > 0.02 * np.ptp(y))))
