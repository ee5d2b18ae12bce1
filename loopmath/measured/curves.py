"""What stands between a table of readings and a part: columns, curves, fits, and the words for them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from loopmath import catalogue, slips, units
from loopmath.checks import InputError, between
from loopmath.fit import Fit, fit, places
from loopmath.laws import turbomachine
from loopmath.laws.coolant import coolant
from loopmath.loss import REFERENCE_DENSITY, REFERENCE_VISCOSITY
from loopmath.readings import TURNS, Column, Readings
from loopmath.slips import WATER_COLUMN, Mark, shown

#: Exponents taken where the readings cannot tell them: a parabola, and the film of a cold plate (common practice,
#: no source).
USUAL_EXPONENT, USUAL_FILM_EXPONENT = 2.0, 0.6
#: Below this exponent a part that falls with flow is not told from one that does not fall.
LEAST_FILM_EXPONENT = 0.1

#: 1 gal/min, at which losses are compared. [m3/s]
GALLON = 6.30902e-5

_FLOW = Column("flow", "flow", ("volume flow", "flow rate", "coolant flow", "q"), "L/min")
_SPEED = Column(
    "speed",
    "share",
    ("rpm", "fan speed", "pump speed", "fan rpm", "pump rpm", "fan", "n"),
    "",
    False,
    0.0,
    True,
    ((TURNS, 1.0),),
)
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
        Column("pressure", "air pressure", ("static pressure", "p", "dp"), "Pa", also=(("head", WATER_COLUMN),)),
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


#: What the unknowns of the fits are called in words.
_NAMES = {
    "shutoff": "the value at shut-off",
    "runout": "the flow at run-out",
    "exponent": "the exponent",
    "power_shutoff": "the power at shut-off",
    "power_runout": "the power at run-out",
    "linear": "the part in proportion to the flow",
    "quadratic": "the part that goes with the square of the flow",
    "resistance": "the resistance at endless flow",
    "flow_resistance": "the resistance of the film",
    "louvre_heat": "the factor on the film of the air",
    "liquid_heat": "the factor on the film of the coolant",
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
        Keys of `units.DISPLAY`.
    x, y : array (n,)
        The readings in SI; a pump's or a fan's carried to full speed.
    rows : int array (n,)
        Line of each reading.
    measured_from, measured_to : float
        Ends of `x`.
    fit : Fit
        The fit itself, made to the readings as they were read, since there their scatter is alike.
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
    """

    kind: str
    part: Any
    fits: dict[str, Curve]
    words: tuple[str, ...]
    suspicions: tuple[str, ...]


# ------------------------------------------------------------------------------------------- curves by themselves


def machine_at(flow: Any) -> dict[str, Any]:
    """Return what the fit of a pump or fan takes for a flow at full speed, and in air of the usual density."""
    return {"flow": flow, "speed": np.ones(np.shape(flow)), "density": np.ones(np.shape(flow))}


def _machine(x: Any, shutoff: float, runout: float, exponent: float) -> Any:
    x = x if isinstance(x, dict) else machine_at(x)
    head, _ = turbomachine.head_with_slope(x["flow"], shutoff, runout, np.float64(exponent), x["speed"])
    return x["density"] * head


def fit_machine(
    flow: Any, head: Any, what: str = "head", speed: Any = 1.0, density: Any = 1.0, rounding: float = 0.0
) -> Fit:
    """
    Fit the curve of a pump or fan: `shutoff`, `runout` and `exponent` (1 to 6) of `turbomachine.head_curve`.

    Flow [m3/s] and head [m or Pa] are as read at a speed [share of full], in a fluid of a density [share of the
    usual]. Carried to full speed first, the scatter of heads read at half speed would count four times. With
    readings at two flows, carried there, the exponent is fixed at 2; with one, they are refused.
    """
    read, head = np.asarray(flow, dtype=float), np.asarray(head, dtype=float)
    x = {"flow": read} | {k: np.broadcast_to(v, read.shape) for k, v in (("speed", speed), ("density", density))}
    flow, lifted = read / x["speed"], head / (x["density"] * x["speed"] ** 2)
    different = places(flow)
    if different < 2 or not np.any(head > 0):
        raise InputError(
            what,
            f"{len(flow)} readings at {different} different flows, the highest {np.max(head, initial=0.0):g}",
            "readings at two different flows at least, not all of them 0",
            "Take readings from shut-off to run-out; six or more are good.",
        )
    slope, level = np.polyfit(flow**2, lifted, 1, w=x["speed"] ** 2)
    tall, far = float(np.max(lifted)), float(np.max(flow))
    level = min(max(level, 0.2 * tall), 3 * tall)
    runout = float(np.sqrt(level / -slope)) if slope < 0 else 3 * far
    start = {"shutoff": level, "runout": min(max(runout, 0.7 * far), 10 * far), "exponent": USUAL_EXPONENT}
    fixed = {"exponent": start.pop("exponent")} if different < 3 else {}
    # Low enough for a table in which the largest number is a slip of the decimal mark.
    low = {"shutoff": 1e-3 * tall, "runout": 0.01 * far, "exponent": 1.0}
    high = {"shutoff": 10 * tall, "runout": 20 * far, "exponent": 6.0}
    return fit(_machine, x, head, start, low, high, fixed, what, rounding)


def _loss(x: Any, linear: float, quadratic: float) -> Any:
    return linear * x + quadratic * x * x


def fit_loss(flow: Any, loss: Any, rounding: float = 0.0) -> Fit:
    """Fit dp = linear q + quadratic q2, neither negative; with readings at one flow, all quadratic. [m3/s], [Pa]"""
    flow, loss = np.asarray(flow, dtype=float), np.asarray(loss, dtype=float)
    typical = float(np.mean(loss) / np.mean(flow))
    start = {"quadratic": 0.5 * typical / np.mean(flow) or 1.0}
    fixed = {"linear": 0.0}
    if places(flow) > 1:
        start, fixed = {"linear": 0.5 * typical or 1.0} | start, {}
    return fit(_loss, flow, loss, start, {"linear": 0.0, "quadratic": 0.0}, None, fixed, "loss", rounding)


def fit_resistance(flow: Any, resistance: Any, reference_flow: float, rounding: float = 0.0) -> Fit:
    """
    Fit R + r (q/q0)^-m, neither R nor r negative, m from 0.1 to 2. [m3/s], [K/W]

    With fewer than three different flows, or flows less than 1.5 to 1 apart, m is fixed at 0.6; at one flow the
    resistance is taken as not falling.
    """
    flow, resistance = np.asarray(flow, dtype=float), np.asarray(resistance, dtype=float)
    different, apart = places(flow), float(np.max(flow) / np.min(flow))
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
    return fit(model, flow, resistance, start, low, {"exponent": 2.0}, fixed, "resistance", rounding)


# ------------------------------------------------------------------------------------------------------ words


def say(name: str, fitted: Fit, key: str, show: Callable[[float], str]) -> str:
    """Return "shut-off head 3.70 m (95 %: 3.65 m to 3.76 m)"."""
    low, high = fitted.interval(key)
    value = show(fitted.params[key])
    if key in fitted.fixed:
        return f"{name} {value} (taken, not measured)"
    return f"{name} {value}" if np.isnan(low) else f"{name} {value} (95 %: {show(low)} to {show(high)})"


def quality(curve: Curve, system: str) -> list[str]:
    """Return how well a curve follows its readings, over which range, and what its fit has to say."""
    fitted, n = curve.fit, len(curve.x)
    share = "" if np.isnan(fitted.r_squared) else f" R² {fitted.r_squared:.4f},"
    near, far = (units.show(v, curve.x_kind, system) for v in (curve.measured_from, curve.measured_to))
    scatter = "" if np.isnan(fitted.residual_sd) else f" scatter {shown(curve.y_kind, system)(fitted.residual_sd)},"
    out = [f"{curve.label}: {n} readings,{share}{scatter} {curve.x_label} from {near} to {far}."]
    out += [f"{curve.label}: {words}" for words in fitted.words(_NAMES)]
    if fitted.dof > 0 and n < 6:
        out.append(f"{curve.label}: {n} readings are few; the plus and minus are wide.")
    if 0 < curve.measured_from and curve.measured_to < 2 * curve.measured_from:
        out.append(
            f"{curve.label}: the range of {curve.x_label} is narrow, less than 2 to 1; beyond it this is a guess."
        )
    return out


def full_speed(readings: Readings, speed: float, full_rpm: float | None) -> tuple[np.ndarray, float | None, list[str]]:
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
        notes.append(
            "Readings at several speeds are fitted as they were read, by the affinity laws, and drawn carried to full "
            "speed."
        )
    return np.minimum(value, 1.0), full, notes


def make_part(base: Any, record: type, suspicions: Sequence[str], **values: Any) -> Any:
    """Make a part, from a like one if given; if its numbers are refused, the suspicions say why that may be."""
    try:
        return replace(base, **values) if base is not None else record(**values)
    except InputError as error:
        said = f"{error.field} {error.value:g}" if isinstance(error.value, float) else f"{error.field} {error.value}"
        remedy = " ".join(suspicions) or "Look at the units of the table."
        raise InputError("figures found", said, f"{error.accepted}, as such a part has", remedy) from None


def like_part(kind: str, like: Any) -> Any:
    """Return a part given by its name in the catalogue, or as it is."""
    return catalogue.part(kind, like) if isinstance(like, str) else like


def range_of(*columns: np.ndarray) -> dict[str, float]:
    """Return the ends of the range in which every one of the columns was measured."""
    return {"measured_from": float(max(c.min() for c in columns)), "measured_to": float(min(c.max() for c in columns))}


def sound_at_full_speed(readings: Readings, speed: np.ndarray, stated: float | None, notes: list[str]) -> float | None:
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


def odd(curve: Curve, said: str, system: str, at: Callable[[int], str] | None = None) -> tuple[Curve, list[str]]:
    """
    Return a curve without the one reading that does not belong with the others, and the words for that reading.

    What else looks wrong is judged without it. `at` says where a reading was taken, if not by its x.
    """
    index, show, x = curve.fit.outlier(), shown(curve.x_kind, system), curve.fit.x
    if index is None:
        return curve, []
    if at is not None:
        where = at(index)
    elif isinstance(x, dict) and np.any(x["speed"] != 1.0):
        where = f"at {show(x['flow'][index])} and {100 * x['speed'][index]:.0f} % of full speed"
    else:
        where = f"at {show(curve.x[index])}"
    words = slips.odd_reading(curve.fit, index, curve.rows[index], where, shown(curve.y_kind, system), said)
    left = {key: np.delete(getattr(curve, key), index) for key in ("x", "y", "rows")}
    return replace(curve, fit=curve.fit.without(index), **left), [words]


def poor(curve: Curve) -> list[str]:
    """
    Return the words for a curve that explains less than half of how its readings vary.

    A curve that is all but level explains little and may be right: it is named only if the scatter is more than 5 %
    of the readings (common practice, no source).
    """
    fitted = curve.fit
    if fitted.dof < 1 or not fitted.r_squared < 0.5 or fitted.residual_sd < 0.05 * np.mean(np.abs(fitted.y)):
        return []
    return [
        f"{curve.label}: R² is {fitted.r_squared:.2f}, so the curve explains less than half of how the readings vary. "
        "Look at the columns and their units."
    ]


def scaled(value: float, key: str) -> Callable[[str | None, float], float]:
    """Return a figure that goes with one column."""
    return lambda changed, factor: value * factor if changed == key else value


# -------------------------------------------------------------------------------------------------------- loss


def loss_found(
    readings: Readings, coolant_name: str, temperature: float, system: str
) -> tuple[Curve, dict[str, float], list[str]]:
    """Return the fitted loss, its coefficients for water at 20 degC, and the words for it."""
    table = readings.having("flow", "loss")
    curve = Curve(
        "Loss",
        "flow",
        "flow",
        "pressure loss",
        "pressure",
        table["flow"],
        table["loss"],
        table.rows,
        fit_loss(table["flow"], table["loss"], table.steps.get("loss", 0.0)),
    )
    density, viscosity, *_ = coolant(coolant_name).checked_properties(temperature)
    linear, quadratic = curve.fit.params["linear"], curve.fit.params["quadratic"]
    show = shown("pressure", system)
    at = float(np.median(curve.x))
    words = [
        f"Found: at {shown('flow', system)(at)} the loss is {show(float(curve(at)))}, {show(linear * at)} of it in "
        f"proportion to the flow and {show(quadratic * at**2)} to its square.",
        *quality(curve, system),
    ]
    if "linear" in curve.fit.fixed:
        words.append("Loss: read at one flow only, so all of it is taken to go with the square of the flow.")
    if coolant_name != "water" or temperature != 20.0:
        words.append(f"The loss, read in {coolant_name} at {temperature:.1f} °C, is carried to water at 20 °C.")
    return (
        curve,
        {
            "linear": linear * REFERENCE_VISCOSITY / float(viscosity),
            "quadratic": quadratic * REFERENCE_DENSITY / float(density),
        },
        words,
    )


def loss_suspicions(curve: Curve) -> list[str]:
    """Return what looks wrong with a loss, units and odd readings apart."""
    out, x, y = poor(curve), curve.x, curve.y
    if places(x) > 2 and "quadratic" in curve.fit.held and np.all(y > 0):
        # A loss bends up with flow. If it bends down, and flow over loss bends up as a loss does, they are exchanged.
        turned = fit_loss(y, x)
        as_read = curve.fit.sum_of_squares / float(y @ y)
        if "quadratic" not in turned.held and as_read > 4 * turned.sum_of_squares / float(x @ x) + 1e-12:
            out.append("The columns of flow and loss look exchanged: exchanged, they bend as a loss does.")
    if slips.wrong_way(curve.fit, x, y, rises=True):
        out.append("The loss falls with flow beyond the scatter of the readings; a loss rises.")
    return out


def loss_mark(curve: Curve, usual: str) -> Mark:
    """Return the loss at 1 gal/min, by which losses are compared, whichever column is at fault."""

    def value(key: str | None, factor: float) -> float:
        flow = GALLON / factor if key == "flow" else GALLON
        return float(curve(flow)) * (factor if key == "loss" else 1.0)

    columns = [("loss", "losses", "pressure"), ("flow", "flows", "flow")]
    return Mark("the loss at 1 gal/min", "pressure", usual, value, columns)
