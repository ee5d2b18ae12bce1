"""A user's readings become a part record, with what was found, what the readings cannot tell, and what looks wrong."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from loopmath import catalogue, network, slips, units
from loopmath.checks import InputError, between
from loopmath.fit import Fit, fit
from loopmath.laws import turbomachine
from loopmath.laws.coolant import air_density, coolant
from loopmath.loop import RadiatorUnit
from loopmath.loss import REFERENCE_DENSITY, REFERENCE_VISCOSITY
from loopmath.parts import Block, Fan, Pump
from loopmath.radiator import Radiator
from loopmath.readings import TURNS, Column, Readings
from loopmath.slips import WATER_COLUMN, Mark

#: Exponents taken where the readings cannot tell them: a parabola, and the film of a cold plate (common practice).
USUAL_EXPONENT, USUAL_FILM_EXPONENT = 2.0, 0.6
#: Below this exponent a part that falls with flow is not told from one that does not fall.
LEAST_FILM_EXPONENT = 0.1
#: 1 gal/min, at which the losses of blocks are compared. [m3/s]
GALLON_A_MINUTE = 6.30902e-5

_FLOW = Column("flow", "flow", ("volume flow", "flow rate", "coolant flow", "q"), "L/min")
_SPEED = Column("speed", "share", ("rpm", "fan speed", "pump speed", "n"), "", False, 0.0, True, ((TURNS, 1.0),))
_SOUND = Column("sound", "sound", ("sound level", "level", "noise"), "dB", False)
_POWER = Column("power", "power", ("electrical power", "power draw", "p", "watts"), "W", False)
_LOSS = Column(
    "loss",
    "pressure",
    ("pressure loss", "pressure drop", "pressure", "dp", "head loss"),
    "kPa",
    False,
    also=(("head", WATER_COLUMN),),
)
#: Kind of part -> the columns its table may have, in the order they stand in if it has no header.
COLUMNS: dict[str, tuple[Column, ...]] = {
    "pump": (
        _FLOW,
        Column("head", "head", ("h", "lift", "pressure", "dp"), "m", also=(("pressure", 1 / WATER_COLUMN),)),
        _POWER,
        _SPEED,
        _SOUND,
    ),
    "fan": (
        Column("flow", "air flow", ("air flow", "airflow", "volume flow", "q", "v"), "m^3/h"),
        Column("pressure", "pressure", ("static pressure", "p", "dp"), "Pa", also=(("head", WATER_COLUMN),)),
        _SPEED,
        _SOUND,
        replace(_POWER, words=("electrical power", "power draw", "watts")),
    ),
    "block": (
        replace(_FLOW, positive=True),
        _LOSS,
        Column("resistance", "resistance", ("thermal resistance", "k/w", "r", "rth"), "K/W", False, positive=True),
    ),
    "radiator": (
        replace(_FLOW, positive=True),
        _SPEED,
        Column("conductance", "conductance", ("w/k", "heat per kelvin", "ua"), "W/K", False, positive=True),
        Column("air_flow", "air flow", ("airflow", "air flow each"), "m^3/h", False, positive=True),
        Column("heat", "power", ("power", "heat rejected", "watts"), "W", False, positive=True),
        Column("coolant_inlet", "temperature", ("coolant in", "water in", "water inlet"), "degC", False, -50.0),
        Column("air_inlet", "temperature", ("air in", "air", "room"), "degC", False, -50.0),
        _LOSS,
    ),
}


@dataclass(frozen=True, eq=False)
class Curve:
    """
    One fitted curve, ready to be drawn.

    Attributes
    ----------
    label, x_label, y_label : str
        What it shows, and its axes, without units.
    x_kind, y_kind : str
        Keys of `units.DISPLAY`; "conductance" [W/K] is shown as it is.
    x, y : array (n,)
        The readings in SI, as they were fitted (a pump's carried to full speed).
    rows : int array (n,)
        Line of each reading.
    measured_from, measured_to : float
        Ends of `x`.
    fit : Fit
        The fit itself.
    at : callable
        x -> what `fit` takes for it.
    """

    label: str
    x_label: str
    x_kind: str
    y_label: str
    y_kind: str
    x: np.ndarray
    y: np.ndarray
    rows: np.ndarray
    fit: Fit
    at: Callable[[Any], Any] = lambda x: x

    @property
    def measured_from(self) -> float:
        """Lowest x that was read."""
        return float(np.min(self.x))

    @property
    def measured_to(self) -> float:
        """Highest x that was read."""
        return float(np.max(self.x))

    def __call__(self, x: Any) -> Any:
        """Return the fitted curve at `x`, an array."""
        return self.fit(self.at(np.asarray(x, dtype=float)))

    def band(self, x: Any, level: float = 0.95) -> tuple[Any, Any]:
        """Return the ends of the band of the true curve at `x`; NaN if the readings give none."""
        return self.fit.band(self.at(np.asarray(x, dtype=float)), level)


@dataclass(frozen=True, eq=False)
class Measured:
    """
    A part made from readings.

    Attributes
    ----------
    kind : str
        "pump", "fan", "block" or "radiator".
    part : Pump, Fan, Block or Radiator
        The record, its measured range set.
    fits : dict of str to Curve
        By what was fitted: "head", "power", "pressure", "loss", "resistance", "conductance".
    words : tuple of str
        What was found, what was assumed, what the readings cannot tell.
    suspicions : tuple of str
        What looks wrong, gravest first; nothing was changed on account of it.
    readings : tuple of Readings
        The tables.
    """

    kind: str
    part: Any
    fits: dict[str, Curve]
    words: tuple[str, ...]
    suspicions: tuple[str, ...]
    readings: tuple[Readings, ...]


# ------------------------------------------------------------------------------------------- curves by themselves


def _machine(x: Any, shutoff: float, runout: float, exponent: float) -> Any:
    return turbomachine.head_with_slope(x, shutoff, runout, np.float64(exponent), 1.0)[0]


def fit_machine(flow: Any, head: Any, what: str = "head") -> Fit:
    """
    Fit the curve of a pump or fan: `shutoff`, `runout` and `exponent` (1 to 6) of `turbomachine.head_curve`.

    With readings at two flows the exponent is fixed at 2; with one, they are refused. [m3/s], [m or Pa]
    """
    flow, head = np.asarray(flow, dtype=float), np.asarray(head, dtype=float)
    different = len(np.unique(flow))
    if different < 2 or not np.any(head > 0):
        raise InputError(
            what,
            f"{len(flow)} readings at {different} different flows, the highest {np.max(head, initial=0.0):g}",
            "readings at two different flows at least, not all of them 0",
            "Take readings from shut-off to run-out; six or more are good.",
        )
    slope, level = np.polyfit(flow**2, head, 1)
    tall, far = float(np.max(head)), float(np.max(flow))
    level = min(max(level, 0.2 * tall), 3 * tall)
    runout = float(np.sqrt(level / -slope)) if slope < 0 else 3 * far
    start = {"shutoff": level, "runout": min(max(runout, 0.7 * far), 10 * far), "exponent": USUAL_EXPONENT}
    fixed = {"exponent": start.pop("exponent")} if different < 3 else {}
    low = {"shutoff": 0.1 * tall, "runout": 0.3 * far, "exponent": 1.0}
    high = {"shutoff": 10 * tall, "runout": 20 * far, "exponent": 6.0}
    return fit(_machine, flow, head, start, low, high, fixed, what)


def _loss(x: Any, linear: float, quadratic: float) -> Any:
    return linear * x + quadratic * x * x


def fit_loss(flow: Any, loss: Any) -> Fit:
    """Fit dp = linear q + quadratic q2, neither negative; with readings at one flow, all quadratic. [m3/s], [Pa]"""
    flow, loss = np.asarray(flow, dtype=float), np.asarray(loss, dtype=float)
    typical = float(np.mean(loss) / np.mean(flow))
    start = {"quadratic": 0.5 * typical / np.mean(flow) or 1.0}
    fixed = {"linear": 0.0}
    if len(np.unique(flow)) > 1:
        start, fixed = {"linear": 0.5 * typical or 1.0} | start, {}
    return fit(_loss, flow, loss, start, {"linear": 0.0, "quadratic": 0.0}, None, fixed, "loss")


def fit_resistance(flow: Any, resistance: Any, reference_flow: float) -> Fit:
    """
    Fit R + r (q/q0)^-m, neither R nor r negative, m from 0.1 to 2. [m3/s], [K/W]

    With fewer than three different flows, or flows less than 1.5 to 1 apart, m is fixed at 0.6; at one flow the
    resistance is taken as not falling.
    """
    flow, resistance = np.asarray(flow, dtype=float), np.asarray(resistance, dtype=float)
    different, apart = len(np.unique(flow)), float(np.max(flow) / np.min(flow))
    middle = float(np.mean(resistance))
    start = {"resistance": 0.6 * middle, "flow_resistance": 0.4 * middle, "exponent": USUAL_FILM_EXPONENT}
    fixed = {}
    if different < 3 or apart < 1.5:
        fixed["exponent"] = start.pop("exponent")
    if different < 2:
        fixed["flow_resistance"], start["resistance"] = 0.0, middle
        del start["flow_resistance"]

    def model(x: Any, resistance: float, flow_resistance: float, exponent: float) -> Any:
        return resistance + flow_resistance * (x / reference_flow) ** -exponent

    low = {"resistance": 0.0, "flow_resistance": 0.0, "exponent": LEAST_FILM_EXPONENT}
    return fit(model, flow, resistance, start, low, {"exponent": 2.0}, fixed, "resistance")


# ------------------------------------------------------------------------------------------------------ words


def _say(name: str, fitted: Fit, key: str, show: Callable[[float], str]) -> str:
    """Return "shut-off head 3.70 m (95 %: 3.65 m to 3.76 m)"."""
    low, high = fitted.interval(key)
    value = show(fitted.params[key])
    if key in fitted.fixed:
        return f"{name} {value} (taken, not measured)"
    return f"{name} {value}" if np.isnan(low) else f"{name} {value} (95 %: {show(low)} to {show(high)})"


def _quality(curve: Curve, system: str) -> list[str]:
    """Return how well a curve follows its readings, over which range, and what its fit has to say."""
    fitted, n = curve.fit, len(curve.x)
    share = "" if np.isnan(fitted.r_squared) else f" R² {fitted.r_squared:.4f},"
    near, far = (units.show(v, curve.x_kind, system) for v in (curve.measured_from, curve.measured_to))
    scatter = "" if np.isnan(fitted.residual_sd) else f" scatter {_shown(curve.y_kind, system)(fitted.residual_sd)},"
    out = [f"{curve.label}: {n} readings,{share}{scatter} {curve.x_label} from {near} to {far}."]
    out += [f"{curve.label}: {words}" for words in fitted.words()]
    if fitted.dof > 0 and n < 6:
        out.append(f"{curve.label}: {n} readings are few; the plus and minus are wide.")
    if 0 < curve.measured_from and curve.measured_to < 2 * curve.measured_from:
        out.append(
            f"{curve.label}: the range of {curve.x_label} is narrow, less than 2 to 1; beyond it this is a guess."
        )
    return out


def _shown(kind: str, system: str) -> Callable[[float], str]:
    """Return how a figure is said: in the reader's units, small ones with digits enough."""
    if kind == "conductance":
        return lambda v: f"{v:.2f} W/K"
    if kind == "number":
        return lambda v: f"{v:.2f}"
    how = units.DISPLAY[system][kind]
    return lambda v: replace(how, digits=how.digits + 1).text(v) if abs(how.convert(float(v))) < 1 else how.text(v)


def _full_speed(readings: Readings, speed: float, full_rpm: float | None) -> tuple[np.ndarray, float | None, list[str]]:
    """Return each reading's share of full speed, the full speed [1/min] if known, and what was assumed."""
    speed = between("speed", speed, 0.01, 1.0, "of full speed")
    full = full_rpm or None
    if "speed" not in readings:
        said = "full speed" if speed == 1.0 else f"{100 * speed:.0f} % of full speed"
        return np.full(len(readings), speed), full, [f"No speed in the table: all readings are taken at {said}."]
    value, notes = readings["speed"], []
    turns = readings.kinds["speed"] == TURNS or not readings.units["speed"] and np.nanmax(value) > 100
    if turns:
        if full is None:
            full = float(np.nanmax(value))
            notes.append(f"Full speed is taken to be the highest in the table, {full:.0f} turns a minute.")
        value = value / full
    elif not readings.units["speed"] and np.nanmax(value) > 1.5:
        value = value / 100
        notes.append("The speeds, written without a unit, are taken as per cent of full speed.")
    if np.any(np.isnan(value)):
        notes.append(f"Where the speed is empty, {100 * speed:.0f} % of full speed is taken.")
        value = np.where(np.isnan(value), speed, value)
    high = np.argmax(value)
    if value[high] > 1.0 + 1e-9:
        raise InputError(
            f"line {readings.rows[high]}, speed",
            f"{100 * value[high]:.0f} % of full speed",
            "at most 100 %",
            "Give the full speed in turns a minute, or mend the line.",
        )
    if len(np.unique(value)) > 1:
        notes.append("Readings at several speeds are carried to full speed by the affinity laws.")
    return np.minimum(value, 1.0), full, notes


def _made(record: Callable[..., Any], suspicions: Sequence[str], **values: Any) -> Any:
    """Make a part; if its numbers are refused, let the suspicions say why that may be."""
    try:
        return record(**values)
    except InputError as error:
        remedy = " ".join([error.remedy, *suspicions]).strip()
        raise InputError(
            error.field, error.value, error.accepted, remedy or "Look at the units of the table."
        ) from None


def _like(kind: str, like: Any) -> Any:
    return catalogue.part(kind, like) if isinstance(like, str) else like


def _range(*columns: np.ndarray) -> dict[str, float]:
    """Return the ends of the range in which every one of the columns was measured."""
    return {"measured_from": float(max(c.min() for c in columns)), "measured_to": float(min(c.max() for c in columns))}


def _level(readings: Readings, speed: np.ndarray, stated: float | None, notes: list[str]) -> float | None:
    """Return the sound level at full speed: stated, or the middle of the readings carried there."""
    if stated is not None or "sound" not in readings:
        return stated
    level = readings["sound"] - 50 * np.log10(speed)
    level = level[np.isfinite(level)]
    spread = f", {np.min(level):.1f} to {np.max(level):.1f}" if len(level) > 1 else ""
    notes.append(
        f"Sound level at full speed {np.median(level):.1f} dB{spread}, carried there by 50 log10 of the speed; it is "
        "taken as heard 1 m away."
    )
    return float(np.median(level))


# --------------------------------------------------------------------------------------------------- pump, fan


def _curve_words(curve: Curve, several: bool, said: tuple[str, str], system: str) -> list[str]:
    """Return what a pump's or fan's curve was found to be, and what its readings cannot tell."""
    shutoff, runout, fitted = *said, curve.fit
    out = [
        f"Found: {_say(shutoff, fitted, 'shutoff', _shown(curve.y_kind, system))}; "
        f"{_say(runout, fitted, 'runout', _shown(curve.x_kind, system))}; "
        f"{_say('exponent', fitted, 'exponent', _shown('number', system))}.",
        *_quality(curve, system),
    ]
    end = fitted.params["runout"]
    if curve.measured_from > 0.15 * end:
        out.append(f"No reading near shut-off: {shutoff} is the curve's guess.")
    if curve.measured_to < 0.75 * end:
        out.append(f"No reading near run-out: {runout} is the curve's guess.")
    if "exponent" not in fitted.fixed and fitted.dof > 0:
        low, high = fitted.interval("exponent")
        if high - low > 1.0:
            out.append(f"The readings hardly tell the shape: any exponent from {low:.1f} to {high:.1f} would do.")
    if not several:
        out.append("All readings are at one speed: other speeds follow the affinity laws, untested.")
    return out


def _end_of(fitted: Fit, key: str, instead: float) -> float:
    """Return a fitted end of a curve if the readings settle it, else the outermost reading."""
    settled = key not in fitted.held and key not in fitted.loose
    return fitted.params[key] if settled and fitted.params[key] < 2 * instead else instead


def measured_pump(
    readings: Readings,
    name: str,
    *,
    like: str | Pump | None = None,
    speed: float = 1.0,
    full_rpm: float | None = None,
    sound_level: float | None = None,
    price: float | None = None,
    system: str = "metric",
) -> Measured:
    """
    Make a pump from readings of flow and head, of power and speed too if the table has them.

    Parameters
    ----------
    readings : Readings
        Read with `COLUMNS["pump"]`.
    name : str
        Name of the new part.
    like : str or Pump, optional
        A pump whose other figures (share of heat, least speed, limit, metal, power if none was read) are taken.
    speed : float
        Share of full speed the readings were taken at, if the table does not say. [-]
    full_rpm : float, optional
        Full speed, for a table in turns a minute; by default its highest. [1/min]
    sound_level, price : float, optional
        As in `Pump`.
    system : str
        Units of the words, a key of `units.DISPLAY`.

    Raises
    ------
    InputError
        If the flows are too few, or the figures found are no pump's; the message gives the suspicions.

    Notes
    -----
    Affinity laws [ISO9906]_: flow over n, head over n squared, power over n cubed.
    """
    turning, _, notes = _full_speed(readings, speed, full_rpm)
    flow, head = readings["flow"] / turning, readings["head"] / turning**2
    fitted = fit_machine(flow, head)
    several = len(np.unique(turning)) > 1
    curves = {"head": Curve("Head", "flow", "flow", "head", "head", flow, head, readings.rows, fitted)}
    words = [*readings.notes, *notes]
    if readings.kinds["head"] == "pressure":
        words.append(f"Pressures are turned into heads of water, {REFERENCE_DENSITY:g} kg/m3.")
    words += _curve_words(curves["head"], several, ("shut-off head", "run-out flow"), system)
    runout = fitted.params["runout"]
    known: dict[str, Any] = {}
    if "power" in readings:
        some = np.isfinite(readings["power"])
        draw = readings["power"][some] / turning[some] ** 3

        def model(x: Any, power_shutoff: float, power_runout: float) -> Any:
            return power_shutoff + (power_runout - power_shutoff) * x / runout

        start = {"power_shutoff": float(np.mean(draw)), "power_runout": float(np.mean(draw))}
        fixed = {}
        if len(np.unique(flow[some])) < 2:
            fixed = {"power_runout": start.pop("power_runout")}
        low = {"power_shutoff": 0.0, "power_runout": 0.0}
        drawn = fit(model, flow[some], draw, start, low, None, fixed, "power")
        curves["power"] = Curve("Power", "flow", "flow", "power", "power", flow[some], draw, readings.rows[some], drawn)
        show = lambda v: f"{v:.1f} W"  # noqa: E731
        words.append(
            f"Found: {_say('power at shut-off', drawn, 'power_shutoff', show)}; "
            f"{_say('at run-out', drawn, 'power_runout', show)}."
        )
        words += _quality(curves["power"], system)
        known = {key: drawn.params[key] for key in low}
    else:
        words.append("No electrical power in the table: it is " + ("that of the like pump." if like else "unknown."))
    sound = _level(readings, turning, sound_level, words)
    known |= {} if sound is None else {"sound_level": sound}
    words.append(f"All else is that of {_like('pump', like).name}." if like else "All else is unknown and left at 0.")

    suspicions = _pump_suspicions(readings, curves, turning, system)
    base = _like("pump", like)
    make = (lambda **kw: replace(base, **kw)) if base else Pump
    part = _made(
        make,
        suspicions,
        name=name,
        shutoff_head=fitted.params["shutoff"],
        runout_flow=runout,
        exponent=fitted.params["exponent"],
        price=price,
        **_range(flow),
        **known,
    )
    return Measured("pump", part, curves, tuple(words), tuple(suspicions), (readings,))


def _pump_suspicions(readings: Readings, curves: dict[str, Curve], turning: np.ndarray, system: str) -> list[str]:
    head, fitted = curves["head"], curves["head"].fit
    runout = _end_of(fitted, "runout", head.measured_to)
    shutoff = _end_of(fitted, "shutoff", float(head.y.max()))
    flows, heads = ("flow", "flows", "flow"), ("head", "heads", "head")
    marks = [
        Mark("the run-out flow", "flow", "pump run-out flow", lambda k, f: runout * (f if k == "flow" else 1), [flows]),
        Mark(
            "the shut-off head", "head", "pump shut-off head", lambda k, f: shutoff * (f if k == "head" else 1), [heads]
        ),
    ]
    if "power" in curves:
        useful = WATER_COLUMN * readings["flow"] * readings["head"]
        share = float(np.nanmax(useful / np.maximum(readings["power"], 1e-12)))
        drawn = float(np.median(curves["power"].y))
        watts = ("power", "powers", "power")
        marks = [
            Mark(
                "the share of the electrical power found in the water",
                "share",
                "pump efficiency",
                lambda k, f: share * ({"flow": f, "head": f, "power": 1 / f}.get(k, 1)),
                [heads, flows, watts],
                "" if share <= 1 else "more than all of it cannot be",
            ),
            *marks,
            Mark("the power", "power", "pump power", lambda k, f: drawn * (f if k == "power" else 1), [watts]),
        ]
    return _machine_suspicions(readings, head, "head", ("flow", "head"), marks, system) + (
        slips.odd_reading(
            curves["power"].fit, curves["power"].rows, _places(curves["power"], system), "power", "it draws", system
        )
        if "power" in curves
        else []
    )


def _places(curve: Curve, system: str) -> list[str]:
    return [f"at {units.show(v, curve.x_kind, system)}" for v in curve.x]


def _machine_suspicions(
    readings: Readings, curve: Curve, key: str, usual: tuple[str, str], marks: list[Mark], system: str
) -> list[str]:
    """Return what looks wrong in a pump's or a fan's table, gravest first."""
    a, b = readings.scales["flow"], readings.scales[key]
    here, there = [next(m for m in marks if [c[0] for c in m.columns] == [k]) for k in ("flow", key)]
    far, tall = float(readings["flow"].max()), float(readings[key].max())
    swapped = all(
        m.range[0] * slack <= value <= m.range[1]
        for m, value, slack in ((here, tall / b * a, 0.7), (there, far / a * b, 0.7))
    )
    out = slips.exchanged("flow", usual[1], here.fits() and there.fits(), swapped)
    out += slips.unit_slips(marks, readings, system)
    if slips.wrong_way(curve.fit, curve.x, curve.y, rises=False):
        out.append(f"The {usual[1]} rises with flow beyond the scatter of the readings; the curve cannot.")
    return out + slips.odd_reading(
        curve.fit, curve.rows, _places(curve, system), curve.y_kind, f"the {usual[1]} is", system
    )
