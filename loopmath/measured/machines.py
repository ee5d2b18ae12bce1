"""Readings become a pump or a fan: one curve for both, and the affinity laws."""

from typing import Any

import numpy as np

from loopmath import slips
from loopmath.checks import between
from loopmath.fit import Fit, fit, places
from loopmath.laws.coolant import air_density, pressure_at_height
from loopmath.loss import GRAVITY, REFERENCE_DENSITY
from loopmath.measured.curves import (
    Curve,
    Measured,
    fit_machine,
    full_speed,
    like_part,
    machine_at,
    make_part,
    odd,
    poor,
    quality,
    range_of,
    say,
    scaled,
    sound_at_full_speed,
)
from loopmath.parts import Fan, Pump
from loopmath.readings import Readings
from loopmath.slips import WATER_COLUMN, Mark, shown

#: Density of the air a fan's record is stated in. [kg/m3]
STANDARD_AIR = 1.2


def _machine_words(curve: Curve, several: bool, said: tuple[str, str], system: str) -> list[str]:
    """Return what a pump's or fan's curve was found to be, and what its readings cannot tell."""
    shutoff, runout, fitted = *said, curve.fit
    out = [
        f"Found: {say(shutoff, fitted, 'shutoff', shown(curve.y_kind, system))}; "
        f"{say(runout, fitted, 'runout', shown(curve.x_kind, system))}; "
        f"{say('exponent', fitted, 'exponent', shown('number', system))}.",
        *quality(curve, system),
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


def _machine_suspicions(
    readings: Readings, curve: Curve, key: str, said: str, marks: list[Mark], system: str
) -> list[str]:
    """Return what looks wrong in a pump's or a fan's table, odd readings apart, gravest first."""
    one, other = readings.scales["flow"], readings.scales[key]
    here, there = (next(m for m in marks if [c[0] for c in m.columns] == [k]) for k in ("flow", key))
    far, tall = float(readings["flow"].max()), float(readings[key].max())
    # The outermost readings stand for the ends of the curve, so the low ends are taken with some slack.
    swapped = all(
        0.7 * m.range[0] <= value <= m.range[1] for m, value in ((here, tall / other * one), (there, far / one * other))
    )
    # Figures made of both, such as a pump's opening, have to be usual too; they are products of powers.
    there_for_here, here_for_there = tall / other * one / far, far / one * other / tall if tall > 0 else 1.0
    for mark in (m for m in marks if {"flow", key} == {c[0] for c in m.columns}):
        value = mark.value("flow", there_for_here) * mark.value(key, here_for_there) / mark.value(None, 1.0)
        swapped = swapped and mark.range[0] <= value <= mark.range[1]
    out = poor(curve) + slips.exchanged("flow", said, here.fits() and there.fits(), swapped)
    out += slips.unit_slips(marks, readings, system)
    read = curve.fit.x
    if slips.wrong_way(curve.fit, curve.x, curve.y, rises=False, weight=read["density"] * read["speed"] ** 2):
        out.append(f"The {said} rises with flow beyond the scatter of the readings; the curve cannot.")
    return out


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
    Make a pump from readings of flow and head, of power, speed and sound level too if the table has them.

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
    Affinity laws [ISO9906]_: flow over n, head over n squared, power over n cubed. The curves are fitted to what was
    read at each speed, since there the scatter is alike; carried to full speed first, that of slow readings would
    grow by 1/n2 and 1/n3.
    """
    turning, _, notes = full_speed(readings, speed, full_rpm)
    flow, head = readings["flow"] / turning, readings["head"] / turning**2
    step = readings.steps.get("head", 0.0)
    fitted = fit_machine(readings["flow"], readings["head"], speed=turning, rounding=step)
    curve = Curve("Head", "flow", "flow", "head", "head", flow, head, readings.rows, fitted, machine_at)
    curves, base, known = {"head": curve}, like_part("pump", like), {}
    words = [*readings.notes, *notes]
    if readings.kinds["head"] == "pressure":
        words.append(f"Pressures are turned into heads of water, {REFERENCE_DENSITY:g} kg/m3.")
    words += _machine_words(curve, len(np.unique(turning)) > 1, ("shut-off head", "run-out flow"), system)
    if "power" in readings:
        curves["power"] = _power_curve(readings, turning, fitted.params["runout"])
        drawn, show = curves["power"].fit, shown("power", system)
        words.append(
            f"Found: {say('power at shut-off', drawn, 'power_shutoff', show)}; "
            f"{say('power at run-out', drawn, 'power_runout', show)}."
        )
        words += quality(curves["power"], system)
        known = {key: drawn.params[key] for key in ("power_shutoff", "power_runout")}
    else:
        words.append("No electrical power in the table: it is " + (f"that of {base.name}." if base else "left at 0."))
    sound = sound_at_full_speed(readings, turning, sound_level, words)
    known |= {} if sound is None else {"sound_level": sound}
    words.append(f"All else is that of {base.name}." if base else "All else is unknown and left as usual.")
    suspicions = _pump_suspicions(readings, curves, system)
    part = make_part(
        base,
        Pump,
        suspicions,
        name=name,
        shutoff_head=fitted.params["shutoff"],
        runout_flow=fitted.params["runout"],
        exponent=fitted.params["exponent"],
        price=price,
        **range_of(flow),
        **known,
    )
    return Measured("pump", part, curves, tuple(words), tuple(suspicions))


def _power_curve(readings: Readings, turning: np.ndarray, runout: float) -> Curve:
    """Return the electrical power, straight between shut-off and run-out at every speed as `Pump.power` has it."""
    some = np.isfinite(readings["power"])
    x, drawn, step = readings["flow"][some], readings["power"][some], readings.steps.get("power", 0.0)
    read = machine_at(x) | {"speed": turning[some]}
    flow, power = x / read["speed"], drawn / read["speed"] ** 3

    def model(x: Any, power_shutoff: float, power_runout: float) -> Any:
        return x["speed"] ** 2 * (power_shutoff * x["speed"] + (power_runout - power_shutoff) * x["flow"] / runout)

    typical = float(np.sum(drawn) / np.sum(read["speed"] ** 3))
    both = dict.fromkeys(("power_shutoff", "power_runout"), typical or 1.0)
    if places(flow) < 2:  # one flow tells one power: taken as that at every flow
        fitted = fit(lambda x, power: power * x["speed"] ** 3, read, drawn, {"power": typical or 1.0}, {"power": 0.0})
        both = dict.fromkeys(both, fitted.params["power"])
        fitted = fit(model, read, drawn, {}, None, None, both, "power", step)
    else:
        fitted = fit(model, read, drawn, both, dict.fromkeys(both, 0.0), None, None, "power", step)
    return Curve("Power", "flow", "flow", "power", "power", flow, power, readings.rows[some], fitted, machine_at)


def _pump_suspicions(readings: Readings, curves: dict[str, Curve], system: str) -> list[str]:
    """Return what looks wrong in a pump's table: odd readings first, and the rest as judged without them."""
    head, apart = odd(curves["head"], "the head is", system)
    if "power" in curves:
        drawn, also = odd(curves["power"], "the power is", system)
        apart = [*apart, *also]
        readings = _without_odd(readings, curves["power"], drawn)
        apart += poor(drawn)
    apart += readings.doubts
    readings, fitted = _without_odd(readings, curves["head"], head), head.fit
    flows, heads, watts = ("flow", "flows", "flow"), ("head", "heads", "head"), ("power", "powers", "power")
    runout = _end_of(fitted, "runout", head.measured_to)
    shutoff = _end_of(fitted, "shutoff", float(head.y.max()))
    opening = float(np.sqrt(4 * runout / (np.pi * np.sqrt(2 * GRAVITY * shutoff))))
    marks = [
        Mark("the run-out flow", "flow", "pump run-out flow", scaled(runout, "flow"), [flows]),
        Mark("the shut-off head", "head", "pump shut-off head", scaled(shutoff, "head"), [heads]),
        Mark(
            "the opening that passes the run-out flow under the shut-off head",
            "length",
            "pump opening",
            lambda key, factor: opening * {"flow": factor**0.5, "head": factor**-0.25}.get(key, 1.0),
            [flows, heads],
        ),
    ]
    if "power" not in curves:
        return apart + _machine_suspicions(readings, head, "head", "head", marks, system)
    # By the curves: at a third of full speed the power is a thirtieth, and its scatter makes any share.
    useful = WATER_COLUMN * drawn.x * head(drawn.x)
    share = float(np.max(useful / np.maximum(drawn(drawn.x), 1e-12)))
    marks += [
        Mark(
            "the share of the electrical power found in the water",
            "share",
            "pump efficiency",
            lambda key, factor: share * {"flow": factor, "head": factor, "power": 1 / factor}.get(key, 1.0),
            [heads, flows, watts],
            "more than all of it cannot be" if share > 1 else "",
        ),
        Mark("the power", "power", "pump power", scaled(float(np.median(drawn.y)), "power"), [watts]),
    ]
    return apart + _machine_suspicions(readings, head, "head", "head", marks, system)


def _without_odd(readings: Readings, whole: Curve, judged: Curve) -> Readings:
    """Return the readings but for the line that was set apart from a curve."""
    return readings.kept(~np.isin(readings.rows, np.setdiff1d(whole.rows, judged.rows)))


def measured_fan(
    readings: Readings,
    name: str,
    size: float,
    *,
    like: str | Fan | None = None,
    speed: float = 1.0,
    full_rpm: float | None = None,
    sound_level: float | None = None,
    height: float = 0.0,
    air_temperature: float = 20.0,
    price: float | None = None,
    system: str = "metric",
) -> Measured:
    """
    Make a fan from readings of air flow and static pressure, of speed, sound level and power too if there.

    Parameters
    ----------
    readings : Readings
        Read with `COLUMNS["fan"]`.
    name : str
        Name of the new part.
    size : float
        Trade size, such as 0.12. [m]
    height : float
        Height above the sea it was measured at, -500 to 11000. [m]
    air_temperature : float
        Temperature of the air it was measured in. [degC]
    like, speed, full_rpm, sound_level, price, system
        As in `measured_pump`.

    Raises
    ------
    InputError
        As `measured_pump`, and if the height or the air's temperature is out of range.

    Notes
    -----
    Fan laws [AMCA201]_: flow over n, pressure over n squared, power over n cubed, level less 50 log10 n; pressure and
    power go with the density of the air, and are carried to the 1.2 kg/m3 of the record.
    """
    turning, rpm, notes = full_speed(readings, speed, full_rpm)
    warm = between("air temperature", air_temperature, -50.0, 70.0, "°C")
    air = air_density(warm, pressure_at_height(height))
    thin, step = air / STANDARD_AIR, readings.steps.get("pressure", 0.0)
    flow, pressure = readings["flow"] / turning, readings["pressure"] / (thin * turning**2)
    fitted = fit_machine(readings["flow"], readings["pressure"], "pressure", turning, thin, step)
    axes = ("air flow", "air flow", "static pressure", "air pressure")
    curve = Curve("Pressure", *axes, flow, pressure, readings.rows, fitted, machine_at)
    base, known = like_part("fan", like), {}
    words = [*readings.notes, *notes]
    words += _machine_words(curve, len(np.unique(turning)) > 1, ("shut-off pressure", "free flow"), system)
    sound = sound_at_full_speed(readings, turning, sound_level, words)
    if "power" in readings:
        some = readings.having("power")
        weight = thin * turning[np.isin(readings.rows, some.rows)] ** 3
        # As read, the scatter is alike: a reading counts as much as the speed it was taken at lets it tell.
        known["power"] = float(np.quantile(some["power"] / weight, 0.5, weights=weight, method="inverted_cdf"))
        words.append(f"Power at full speed {known['power']:.1f} W, the middle of the readings carried there.")
    known |= {} if sound is None else {"sound_level": sound}
    known |= {} if rpm is None else {"full_rpm": rpm}
    words.append(f"All else is that of {base.name}." if base else "All else is unknown and left as usual.")

    words.insert(
        len(readings.notes) + len(notes),
        f"Taken: read in air of {air:.3f} kg/m3, {air_temperature:g} °C at {height:g} m above the sea; pressure and "
        f"power are carried to {STANDARD_AIR:g} kg/m3.",
    )
    judged, suspicions = odd(curve, "the static pressure is", system)
    suspicions += readings.doubts
    free = _end_of(judged.fit, "runout", judged.measured_to)
    shutoff = _end_of(judged.fit, "shutoff", float(judged.y.max()))
    if rpm:
        turns = rpm / 60
        flow_range = tuple(v * turns * size**3 for v in slips.USUAL["fan flow number"])
        pressure_range = tuple(v * STANDARD_AIR * (turns * size) ** 2 for v in slips.USUAL["fan pressure number"])
    else:
        flow_range = tuple(v * size**2 for v in slips.USUAL["fan air speed"])
        pressure_range = slips.USUAL["fan shut-off pressure"]
    marks = [
        Mark("the free flow", "air flow", flow_range, scaled(free, "flow"), [("flow", "flows", "air flow")]),
        Mark(
            "the shut-off pressure",
            "air pressure",
            pressure_range,
            scaled(shutoff, "pressure"),
            [("pressure", "pressures", "air pressure")],
        ),
    ]
    if "power" in readings:
        watts = [("power", "powers", "power")]
        marks.append(Mark("the power", "power", "fan power", scaled(known["power"], "power"), watts))
    if "sound" in readings:
        level = [("sound", "sound levels", "sound")]
        marks.append(Mark("the sound level", "sound", "fan sound level", scaled(sound, "sound"), level))
    left = _without_odd(readings, curve, judged)
    suspicions += _machine_suspicions(left, judged, "pressure", "static pressure", marks, system)
    part = make_part(
        base,
        Fan,
        suspicions,
        name=name,
        size=size,
        free_flow=fitted.params["runout"],
        shutoff_pressure=fitted.params["shutoff"],
        exponent=fitted.params["exponent"],
        price=price,
        **range_of(flow),
        **known,
    )
    return Measured("fan", part, {"pressure": curve}, tuple(words), tuple(suspicions))
