"""Drawings of measured parts: what was measured is full, what was not is dashed, the odd reading is named."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from loopmath import fit_figures, style, tables
from loopmath.laws.coolant import air_density
from loopmath.measured import COLUMNS, measured_block, measured_fan, measured_pump, measured_radiator
from loopmath.readings import load_readings, read_readings
from loopmath.units import DISPLAY

READINGS = tables.DATA / "readings"


def readings(kind):
    return load_readings(READINGS / f"{kind}.csv", COLUMNS[kind])


def made(kind):
    """Return the part of the invented table of one kind."""
    if kind == "pump":
        return measured_pump(readings(kind), "mine", like="standard pump, 3.7 m")
    if kind == "block":
        return measured_block(readings(kind), "mine", "processor")
    if kind == "fan":
        return measured_fan(readings(kind), "mine", 0.12)
    return measured_radiator(
        readings(kind), "mine", "2 x 120 mm, standard depth, medium fins", "radiator fan 120 mm, 2000 rpm"
    )


PARTS = {kind: made(kind) for kind in ("pump", "block", "radiator", "fan")}
CURVES = [(kind, key) for kind, part in PARTS.items() for key in part.fits]


def drawn(curve, system="metric"):
    with style.look():
        ax = Figure(figsize=(5, 3)).add_subplot()
        fit_figures.draw_fit(ax, curve, system)
    return ax


@pytest.mark.parametrize("kind", PARTS)
def test_the_invented_tables_are_read_with_no_suspicion(kind):
    assert PARTS[kind].suspicions == ()
    assert all(curve.fit.r_squared > 0.97 for curve in PARTS[kind].fits.values())


@pytest.mark.parametrize("kind", PARTS)
def test_the_invented_tables_say_that_they_are(kind):
    assert "invented for the demo" in (READINGS / f"{kind}.csv").read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize("system", DISPLAY)
@pytest.mark.parametrize(("kind", "key"), CURVES)
def test_the_curve_is_full_where_it_was_measured_and_dashed_beyond(kind, key, system):
    curve = PARTS[kind].fits[key]
    ax = drawn(curve, system)
    full, dashed, dots = ax.lines[:3]
    along, up = DISPLAY[system][curve.x_kind], DISPLAY[system][curve.y_kind]
    low, high = along.convert(curve.measured_from), along.convert(curve.measured_to)
    step = np.diff(full.get_xdata())[0]
    seen = full.get_xdata()[np.isfinite(full.get_ydata())]
    assert low - 1e-9 <= seen.min() <= low + step
    assert high - step <= seen.max() <= high + 1e-9
    beyond = dashed.get_xdata()[np.isfinite(dashed.get_ydata())]
    assert not np.any((beyond > low + 1e-9) & (beyond < high - 1e-9))
    assert beyond.max() > high
    assert dashed.is_dashed()
    assert not full.is_dashed()
    np.testing.assert_allclose(dots.get_xdata(), along.convert(curve.x))
    np.testing.assert_allclose(dots.get_ydata(), up.convert(curve.y))
    np.testing.assert_allclose(full.get_ydata()[np.isfinite(full.get_ydata())], up.convert(curve(along.back(seen))))
    assert up.label in ax.get_title(loc="left")


@pytest.mark.parametrize(("kind", "key"), CURVES)
def test_the_band_holds_the_curve(kind, key):
    curve = PARTS[kind].fits[key]
    x = np.linspace(curve.measured_from, curve.measured_to, 40)
    under, over = curve.band(x)
    assert np.all(under <= curve(x))
    assert np.all(curve(x) <= over)
    assert len(drawn(curve).collections) == 2  # inside, and hatched beyond


@pytest.mark.parametrize(("kind", "key"), CURVES)
def test_the_words_of_the_drawing_stand_where_the_curve_is_not(kind, key):
    curve = PARTS[kind].fits[key]
    with style.look():
        figure = fit_figures.measured_figure(PARTS[kind])
        figure.canvas.draw()
    ax = figure.axes[2 * list(PARTS[kind].fits).index(key)]
    (label,) = (t for t in ax.texts if t.get_text().startswith("●"))
    box = label.get_window_extent()
    dots = ax.transData.transform(np.column_stack(ax.lines[2].get_data()))
    assert not any(box.contains(*dot) for dot in dots), curve.label
    assert ax.bbox.contains(box.x0 + 1, box.y0 + 1)
    assert ax.bbox.contains(box.x1 - 1, box.y1 - 1)


def test_the_reading_that_stands_out_is_ringed_and_named_in_both_drawings():
    text = (READINGS / "pump.csv").read_text(encoding="utf-8")
    assert "8,2.47,13.0,100" in text.splitlines()[6]
    odd = measured_pump(read_readings(text.replace("8,2.47,13.0,100", "8,2.47,12.0,100"), COLUMNS["pump"]), "mine")
    with style.look():
        figure = fit_figures.measured_figure(odd)
    words = [t.get_text() for ax in figure.axes for t in ax.texts]
    assert words.count("line 7") == 1
    assert sum(line.get_markersize() > 10 for ax in figure.axes for line in ax.lines) == 2


def test_residuals_are_what_was_read_less_what_is_fitted():
    curve = PARTS["fan"].fits["pressure"]
    with style.look():
        ax = fit_figures.draw_residuals(Figure().add_subplot(), curve)
    dots = ax.lines[-1]
    # What is left over is in the air of the bench, 20 degC; the curve is drawn in air of 1.2 kg/m3.
    left = (curve.y - curve(curve.x)) * air_density(20.0) / 1.2
    np.testing.assert_allclose(dots.get_ydata(), left, atol=1e-9)
    assert ax.get_xlabel() == "air flow, m³/h"


def test_two_readings_are_drawn_without_a_band_and_say_so():
    few = measured_pump(read_readings("flow [L/min],head [m]\n0,3.2\n12,1.1\n", COLUMNS["pump"]), "mine")
    ax = drawn(few.fits["head"])
    assert "no band" in " ".join(t.get_text() for t in ax.texts)
    assert len(ax.collections) == 0


@pytest.mark.parametrize("kind", PARTS)
def test_every_curve_is_told_in_words(kind):
    words = fit_figures.words(PARTS[kind])
    assert words.startswith("mine, a ")
    for curve in PARTS[kind].fits.values():
        assert f"{curve.label}: {curve.x.size} readings" in words
    assert "nan" not in words
