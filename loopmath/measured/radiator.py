"""Readings calibrate a radiator's core by the same way the solver takes."""

from dataclasses import replace
from typing import Any

import numpy as np

from loopmath import slips, thermal
from loopmath.checks import InputError
from loopmath.fit import fit, places
from loopmath.laws.coolant import AIR_HEAT_CAPACITY, air_density, coolant, pressure_at_height
from loopmath.loop import RadiatorUnit
from loopmath.measured.curves import (
    Curve,
    Measured,
    full_speed,
    like_part,
    loss_found,
    loss_mark,
    loss_suspicions,
    make_part,
    odd,
    poor,
    quality,
    range_of,
    say,
    scaled,
)
from loopmath.parts import Fan
from loopmath.radiator import Radiator
from loopmath.readings import Readings
from loopmath.slips import Mark, shown

#: The coolant's film is fitted if the coolant flow varies by this much, and kept if its error stays below this share.
_FLOW_VARIES, _FILM_TOLD = 2.0, 0.35


def measured_radiator(
    readings: Readings,
    name: str,
    like: str | Radiator,
    fan: str | Fan | None = None,
    *,
    speed: float = 1.0,
    full_rpm: float | None = None,
    fans_in_series: int = 1,
    coolant_name: str = "water",
    coolant_temperature: float = 35.0,
    air_temperature: float = 25.0,
    height: float = 0.0,
    price: float | None = None,
    system: str = "metric",
) -> Measured:
    """
    Calibrate the core of a radiator by readings of the heat it gives off.

    Parameters
    ----------
    readings : Readings
        Read with `COLUMNS["radiator"]`: coolant flow; W/K (heat over coolant inlet less air inlet), or the heat and
        both inlet temperatures; fan speed or the air flow of one position; loss.
    name : str
        Name of the new part.
    like : str or Radiator
        A radiator of its size: positions, depth, fins, rows and passes are taken from it.
    fan : str or Fan, optional
        The fan it was measured with; needed unless the table has the air flow.
    speed : float
        Share of the fan's full speed, if the table does not say. [-]
    full_rpm : float, optional
        Full speed of the fan; by default that of its record. [1/min]
    fans_in_series : int
        2 with fans on both faces. [-]
    coolant_name : str
        Coolant it was measured in.
    coolant_temperature, air_temperature : float
        Inlet temperatures, if the table has no column of them. [degC]
    height : float
        Height above the sea it was measured at, -500 to 11000. [m]
    price : float, optional
        As in `Radiator`.
    system : str
        Units of the words.

    Raises
    ------
    InputError
        If the table has no heat, no air flow and no fan is given, or the coolant is not warmer than the air.

    Notes
    -----
    `louvre_heat`, the factor on the air's film, is fitted by the same way the solver takes (`Fan.flow`,
    `Radiator.air_side`, `thermal.cooler_pull`). `liquid_heat`, that on the coolant's film, is fitted too if the
    coolant flow varies 2 to 1 and its error stays below 35 %; otherwise it is 1. The air is that of the height.

    The record's measured range is that of the readings of heat; with a loss, the range both share.
    """
    base, blower = like_part("radiator", like), like_part("fan", fan)
    heat = _radiator_heat(readings, coolant_name, coolant_temperature, air_temperature)
    table, warm, air, conductance, step, left_out = heat
    words, pressure = [*readings.notes, *left_out], pressure_at_height(height)
    if not ("coolant_inlet" in table and "air_inlet" in table):
        words.append(f"Taken: {coolant_name} entering at {coolant_temperature:g} °C, air at {air_temperature:g} °C.")
    if height:
        words.append(f"Taken: air as thin as it is {height:g} m above the sea.")
    air_flow, said = _air_flow(table, base, blower, speed, full_rpm, fans_in_series, air, air_density(air, pressure))
    words += said
    liquid = coolant(coolant_name)

    def model(x: dict, louvre_heat: float, liquid_heat: float) -> Any:
        core = replace(base, louvre_heat=float(louvre_heat), liquid_heat=float(liquid_heat))
        unit = RadiatorUnit("radiator", core, air_flow_each=x["air_flow"])
        cooler, _ = thermal.cooler_of(unit, x["air"], air_density(x["air"], pressure))
        fluid = liquid.properties(x["warm"])
        capacity = fluid[0] * fluid[2] * x["flow"]
        return thermal.cooler_pull(cooler, x["flow"], capacity, fluid) * capacity

    x = {"flow": table["flow"], "air_flow": air_flow, "air": air, "warm": warm}
    low, high = dict.fromkeys(("louvre_heat", "liquid_heat"), 0.1), dict.fromkeys(("louvre_heat", "liquid_heat"), 10.0)
    start, one = {"louvre_heat": base.louvre_heat}, {"liquid_heat": 1.0}
    told = "The coolant flow varies too little to tell the coolant's film: its factor is left at 1."
    fitted = None
    if np.ptp(np.log(table["flow"])) >= np.log(_FLOW_VARIES) and places(x) > 2:
        fitted = fit(model, x, conductance, start | one, low, high, None, "W/K", step)
        error = fitted.errors["liquid_heat"]
        if not error < _FILM_TOLD * fitted.params["liquid_heat"] or fitted.held:
            fitted, told = None, "The readings do not tell the coolant's film from the air's: its factor is left at 1."
    if fitted is None:
        words.append(told)
        fitted = fit(model, x, conductance, start, low, high, one, "W/K", step)
    typical = {key: float(np.median(value)) for key, value in x.items()}
    along = "air_flow" if np.ptp(air_flow) > 0.05 * np.mean(air_flow) or np.ptp(x["flow"]) == 0 else "flow"

    def at(value: Any) -> dict:
        value = np.asarray(value, dtype=float)
        return {key: value if key == along else np.full(value.shape, typical[key]) for key in x}

    axis = ("air flow of a position", "air flow") if along == "air_flow" else ("coolant flow", "flow")
    curve = Curve(
        "Heat per kelvin", *axis, "heat per kelvin", "conductance", x[along], conductance, table.rows, fitted, at
    )
    curves, number = {"conductance": curve}, shown("number", system)
    words.append(
        f"Found: {say('factor on the film of the air', fitted, 'louvre_heat', number)}; "
        f"{say('on that of the coolant', fitted, 'liquid_heat', number)}."
    )
    words += quality(curve, system)
    if along == "flow" or np.ptp(np.log(air_flow)) < np.log(1.5):
        words.append("The air flow hardly varies: at other fan speeds the law of the core is taken, untested.")
    show_flow, show_air = shown("flow", system), shown("air flow", system)
    judged, suspicions = odd(
        curve,
        "heat per kelvin is",
        system,
        lambda row: f"at {show_flow(x['flow'][row])} of coolant and {show_air(air_flow[row])} of air a position",
    )
    usual = poor(judged)
    known: dict[str, Any] = {key: fitted.params[key] for key in low}
    there = judged.fit.x
    marks = _radiator_marks(table, base, there, judged.fit.y, air_density(there["air"], pressure), liquid)
    ends = [table["flow"]]
    if "loss" in readings:
        curves["loss"], found, said = loss_found(readings, coolant_name, float(np.median(warm)), system)
        known |= found
        words += said
        judged, one = odd(curves["loss"], "the loss is", system)
        suspicions += one
        usual += loss_suspicions(judged)
        marks.append(loss_mark(judged, "radiator loss at 1 gal/min"))
        ends.append(curves["loss"].x)
    else:
        words.append("No pressure loss in the table: that of the core is calculated.")
    words.append(f"All else is that of {base.name}.")
    suspicions += [*readings.doubts, *_warm_air(readings), *slips.unit_slips(marks, table, system), *usual]
    shared = range_of(*ends)
    if shared["measured_from"] > shared["measured_to"]:
        words.append("Heat and loss were read at flows that do not overlap: no range is measured in both.")
        shared = dict.fromkeys(shared)
    part = make_part(
        base,
        Radiator,
        suspicions,
        name=name,
        price=price,
        **shared,
        measured_air_from=float(air_flow.min()),
        measured_air_to=float(air_flow.max()),
        **known,
    )
    return Measured("radiator", part, curves, tuple(words), tuple(suspicions))


def _warm_air(readings: Readings) -> list[str]:
    """Return the suspicion that temperatures in degC are degF: no room is above 45 degC, no loop above 70."""
    out = []
    for key, most in (("coolant_inlet", 70.0), ("air_inlet", 45.0)):
        if key in readings and np.nanmedian(readings[key]) > most and readings.scales[key] == 1.0:
            said = key.replace("_", " ")
            out.append(f"The {said} temperatures look like degF written in a column of {readings.units[key]}.")
    return out


def _radiator_heat(
    readings: Readings, coolant_name: str, coolant_temperature: float, air_temperature: float
) -> tuple[Readings, np.ndarray, np.ndarray, np.ndarray, float, list[str]]:
    """Return the readings of heat, their mean coolant and air temperature, W/K and its step, and who is left out."""
    liquid, n = coolant(coolant_name), len(readings)

    def column(key: str, otherwise: float = np.nan) -> np.ndarray:
        return readings[key] if key in readings else np.full(n, otherwise)

    inlet, air = column("coolant_inlet", coolant_temperature), column("air_inlet", air_temperature)
    conductance = column("conductance")
    from_heat = np.isnan(conductance) & np.isfinite(column("heat"))
    if np.any(from_heat) and not ("coolant_inlet" in readings and "air_inlet" in readings):
        raise InputError(
            "radiator table", "heat in W alone", "W/K, or the heat with the inlet temperatures of coolant and air"
        )
    if not np.any(from_heat | np.isfinite(conductance)):
        raise InputError("radiator table", "no heat", "a column of W/K, or of W with both inlet temperatures")
    has_heat, whole = from_heat | np.isfinite(conductance), np.isfinite(inlet) & np.isfinite(air)
    short = readings.rows[has_heat & ~whole]
    lines = f"{'Line' if short.size == 1 else 'Lines'} {', '.join(map(str, short[:12]))}"
    if short.size and not np.any(has_heat & whole):
        raise InputError(
            "radiator table",
            f"{lines}: heat without an inlet temperature",
            "a line with heat and both inlet temperatures",
            "Fill in the temperatures, or leave their column out to take one temperature for all.",
        )
    left_out = [f"{lines}: left out, since an inlet temperature is missing there."] if short.size else []
    has_heat &= whole
    cold = np.flatnonzero((inlet <= air) & has_heat)
    if cold.size:
        both = cold.size > n / 2
        raise InputError(
            "radiator table",
            f"lines {', '.join(map(str, readings.rows[cold][:12]))}: coolant no warmer than air",
            "coolant that enters warmer than the air",
            "The columns of coolant inlet and air inlet look exchanged." if both else "Mend these lines.",
        )
    try:
        density, _, heat_capacity, _ = liquid.checked_properties(np.where(has_heat, inlet, inlet[has_heat][0]))
    except InputError as error:
        raise InputError(error.field, error.value, error.accepted, " ".join(_warm_air(readings))) from None
    with np.errstate(divide="ignore"):  # lines without heat may have no difference either
        conductance = np.where(from_heat, column("heat") / (inlet - air), conductance)
    mean = inlet - 0.5 * conductance * (inlet - air) / (density * heat_capacity * readings["flow"])
    mean = np.clip(mean, liquid.low, liquid.high)
    step = readings.steps.get("conductance", 0.0)
    if np.any(from_heat & has_heat):
        step = max(step, readings.steps["heat"] / float(np.median((inlet - air)[from_heat & has_heat])))
    keep = has_heat
    return readings.kept(keep), mean[keep], air[keep], conductance[keep], step, left_out


def _air_flow(
    table: Readings,
    base: Radiator,
    blower: Fan | None,
    speed: float,
    full_rpm: float | None,
    in_series: int,
    air: np.ndarray,
    density: np.ndarray,
) -> tuple[np.ndarray, list[str]]:
    """Return the air flow of one position: as read, or where the fan's curve meets the core."""
    if "air_flow" in table:
        flow = table["air_flow"]
        if np.any(np.isnan(flow)):
            raise InputError("radiator table, air flow", "empty cells", "an air flow in every line")
        return flow, []
    if blower is None:
        raise InputError("fan", None, "the fan the radiator was measured with, or a column of its air flow")
    turning, _, words = full_speed(table, speed, full_rpm or blower.full_rpm or None)
    unit = RadiatorUnit("radiator", base, blower, turning, in_series)
    _, side = thermal.cooler_of(unit, air, density)
    words = [w for w in words if "affinity" not in w]
    flow = side.flow / base.positions
    if np.any(flow <= 0):
        raise InputError("speed", float(turning.min()), f"speeds at which {blower.name} turns")
    return flow, [*words, f"The air flow was not read: it is where {blower.name} meets the core."]


def _radiator_marks(
    table: Readings, base: Radiator, x: dict, conductance: np.ndarray, dry_density: np.ndarray, liquid: Any
) -> list[Mark]:
    density, _, heat_capacity, _ = liquid.properties(x["warm"])
    wet = density * heat_capacity * x["flow"]
    dry = dry_density * AIR_HEAT_CAPACITY * x["air_flow"] * base.positions

    def share(key: str | None, factor: float) -> float:
        most = np.minimum(wet * (factor if key == "flow" else 1.0), dry * (factor if key == "air_flow" else 1.0))
        return float(np.max(conductance / most)) * (factor if key in ("conductance", "heat") else 1.0)

    def each(key: str | None, factor: float) -> float:
        return float(np.median(conductance)) / base.positions * (factor if key in ("conductance", "heat") else 1.0)

    flows, airs = ("flow", "coolant flows", "flow"), ("air_flow", "air flows", "air flow")
    heats = [("conductance", "figures of heat per kelvin", "conductance"), ("heat", "heats", "power")]
    here = [c for c in (*heats, flows, airs) if c[0] in table]
    heats = [c for c in heats if c[0] in table]
    marks = [
        Mark(
            "the share of the most heat these flows can carry",
            "share",
            "radiator share of the most possible",
            share,
            here,
            "more than all of it cannot be",
        ),
        Mark(
            "the heat per kelvin of one fan position",
            "conductance",
            "radiator conductance of a position",
            each,
            heats,
        ),
        Mark("the coolant flow", "flow", "radiator coolant flow", scaled(float(np.median(x["flow"])), "flow"), [flows]),
    ]
    if "air_flow" in table:
        usual = tuple(v * base.fan_size**2 for v in slips.USUAL["radiator air speed"])
        middle = scaled(float(np.median(x["air_flow"])), "air_flow")
        marks.append(Mark("the air flow of one position", "air flow", usual, middle, [airs]))
    return marks
