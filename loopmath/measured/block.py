"""Readings become a block: its loss, and its resistance from case to coolant."""

import numpy as np

from loopmath import slips
from loopmath.checks import InputError
from loopmath.measured.curves import (
    Curve,
    Measured,
    fit_resistance,
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
from loopmath.parts import Block
from loopmath.readings import Readings
from loopmath.slips import Mark, shown

#: Flow at which a block's film is stated if it lies within the readings: 3.6 L/min. [m3/s]
_REFERENCE_FLOW = 6e-5


def measured_block(
    readings: Readings,
    name: str,
    cools: str,
    *,
    second: Readings | None = None,
    like: str | Block | None = None,
    coolant_name: str = "water",
    temperature: float = 20.0,
    price: float | None = None,
    system: str = "metric",
) -> Measured:
    """
    Make a block from readings of flow with pressure loss, with thermal resistance, or with both.

    Parameters
    ----------
    readings : Readings
        Read with `COLUMNS["block"]`.
    name, cools : str
        Name of the new part, and what it cools: "processor", "graphics card", "memory".
    second : Readings, optional
        A second table, if loss and resistance stand in one each.
    like : str or Block, optional
        A block whose other figures are taken; needed if loss or resistance is missing.
    coolant_name : str
        Coolant the loss was read in, a key of `coolant.coolants`.
    temperature : float
        Its temperature. [degC]
    price : float, optional
        As in `Block`.
    system : str
        Units of the words.

    Raises
    ------
    InputError
        If neither loss nor resistance is there, or one is missing and no block is named to take it from.

    Notes
    -----
    The record's measured range is that of what was measured; if both were, the range they share.
    """
    tables = (readings,) if second is None else (readings, second)
    base, curves, known, words, suspicions, apart = like_part("block", like), {}, {}, [], [], []
    marks: dict[int, list[Mark]] = {id(t): [] for t in tables}
    small = "" if cools in ("processor", "graphics card") else "small "
    flow_column, flow_usual = [("flow", "flows", "flow")], "block flow"
    for table in tables:
        words += [note for note in table.notes if note not in words]
        middle = float(np.median(table["flow"]))
        marks[id(table)].append(Mark("the flow", "flow", flow_usual, scaled(middle, "flow"), flow_column))
        if "loss" in table and "loss" not in curves:
            curves["loss"], found, said = loss_found(table, coolant_name, temperature, system)
            known |= found
            words += said
            judged, one = odd(curves["loss"], "the loss is", system)
            apart += one
            suspicions += loss_suspicions(judged)
            marks[id(table)].append(loss_mark(judged, f"{small}block loss at 1 gal/min"))
        if "resistance" in table and "resistance" not in curves:
            some = table.having("flow", "resistance")
            flow, resistance = some["flow"], some["resistance"]
            inside = flow.min() <= _REFERENCE_FLOW <= flow.max()
            reference = _REFERENCE_FLOW if inside else float(np.exp(np.mean(np.log(flow))))
            fitted = fit_resistance(flow, resistance, reference, some.steps.get("resistance", 0.0))
            curve = Curve(
                "Resistance", "flow", "flow", "thermal resistance", "resistance", flow, resistance, some.rows, fitted
            )
            curves["resistance"] = curve
            known |= fitted.params | {"reference_flow": reference}
            words += _resistance_words(curve, reference, system)
            if coolant_name != "water":
                words.append(f"The resistance, read in {coolant_name}, is used as read: it is not carried to water.")
            judged, one = odd(curve, "the resistance is", system)
            apart += one
            suspicions += poor(judged)
            column = [("resistance", "resistances", "resistance")]
            middle = float(np.median(resistance))
            mark = Mark(
                "the thermal resistance", "resistance", f"{small}block resistance", scaled(middle, "resistance"), column
            )
            here = marks[id(table)][0]
            # Flows are written in units of some litres a minute, resistances in hundredths: only one order fits.
            written = middle / table.scales["resistance"], float(np.median(flow)) / table.scales["flow"]
            turned = written[0] * table.scales["flow"], written[1] * table.scales["resistance"]
            low, high = here.range
            fits = low <= turned[0] <= high and mark.range[0] <= turned[1] <= mark.range[1]
            suspicions += slips.exchanged(
                "flow", "thermal resistance", here.fits() and mark.fits() and not _bends_back(judged), fits
            )
            marks[id(table)].append(mark)
            if slips.wrong_way(judged.fit, judged.x, judged.y, rises=False):
                suspicions.append("The resistance rises with flow beyond the scatter of the readings; it should fall.")
    if not curves:
        raise InputError("block table", name, "a column of pressure loss, of thermal resistance, or both")
    for missing in {"loss", "resistance"} - set(curves):
        if base is None:
            raise InputError(
                f"{name}, {missing}",
                "no such column",
                "a table of it, or a block to take it from",
                "Name a like block.",
            )
        words.append(f"The {missing} was not measured: it is that of {base.name}.")
    for table in tables:
        suspicions = [*table.doubts, *slips.unit_slips(marks[id(table)], table, system)] + suspicions
    suspicions = apart + suspicions
    suspicions.sort(key=lambda s: "exchanged" not in s)  # a stable sort: exchanged columns explain the rest
    words.append(f"All else is that of {base.name}." if base else "All else is left as usual.")
    ends = range_of(*(c.x for c in curves.values()))
    if ends["measured_from"] > ends["measured_to"]:
        words.append("Loss and resistance were read at flows that do not overlap: no range is measured in both.")
        ends = dict.fromkeys(ends)
    known["scaled"] = True if "loss" in curves else base.scaled  # a loss taken from a block keeps that block's fluid
    part = make_part(base, Block, suspicions, name=name, cools=cools, price=price, **ends, **known)
    return Measured("block", part, curves, tuple(words), tuple(suspicions))


def _bends_back(curve: Curve) -> bool:
    """Return whether a resistance falls faster than any film, and flow over resistance would not."""
    if curve.fit.held.get("exponent") != "high" or np.any(curve.y <= 0):
        return False
    turned = fit_resistance(curve.y, curve.x, float(np.median(curve.y)))
    as_read = curve.fit.sum_of_squares / float(curve.y @ curve.y)
    return turned.held.get("exponent") != "high" and as_read > 4 * turned.sum_of_squares / float(curve.x @ curve.x)


def _resistance_words(curve: Curve, reference: float, system: str) -> list[str]:
    show, fitted, at = shown("resistance", system), curve.fit, shown("flow", system)(reference)
    words = [
        f"Found: {say('resistance at endless flow', fitted, 'resistance', show)}; "
        f"{say(f'the film at {at}', fitted, 'flow_resistance', show)}; "
        f"{say('exponent', fitted, 'exponent', shown('number', system))}.",
        *quality(curve, system),
    ]
    if "flow_resistance" in fitted.fixed:
        words.append("Resistance: read at one flow only, so it is taken not to change with flow.")
    elif "exponent" in fitted.fixed:
        words.append("Resistance: too few flows, or too close together, to tell the exponent; 0.6 is taken.")
    elif fitted.dof > 0 and np.ptp(fitted.interval("exponent")) > 1.0:
        words.append(
            "Resistance: the readings hardly part what falls with flow from what does not; trust the curve between "
            "them, not its parts."
        )
    return words
