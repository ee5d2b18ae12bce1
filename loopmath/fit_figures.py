"""Drawings of a part made from readings: the fitted curve over its readings, and what it leaves over."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loopmath import style
from loopmath.measured.curves import Curve, Measured
from loopmath.units import DISPLAY, Shown

#: Colour by the kind of what is fitted: pump green, liquid blue, heat orange, air light blue.
COLOURS = {
    "head": style.PUMP,
    "power": style.PUMP,
    "pressure": style.LIQUID,
    "resistance": style.HEAT,
    "air pressure": style.AIR,
    "conductance": style.HEAT,
}
#: How far beyond the readings a curve is drawn, dashed.
BEYOND = 1.3
_POINTS = 121


def _span(curve: Curve) -> tuple[float, float]:
    """Return the ends of x that are drawn; a film's resistance grows without end towards no flow."""
    low = 0.6 * curve.measured_from if "resistance" in curve.y_kind else 0.0
    high = BEYOND * curve.measured_to
    runout = curve.fit.params.get("runout")
    return low, max(curve.measured_to, min(high, runout)) if runout else high


def _digits(unit: Shown, value: float) -> str:
    """Return a residual with as many digits as it has to say."""
    size = abs(unit.factor * value)
    return f"{size:.{max(0, 1 - int(np.floor(np.log10(size))))}f}" if size > 0 else "0"


def draw_fit(ax: Axes, curve: Curve, system: str = "metric") -> Axes:
    """
    Draw a fitted curve: readings as dots, the curve full where it was measured and dashed beyond, its 95 % band.

    A reading that stands out is ringed and named by its line in the table.
    """
    along, up, colour = DISPLAY[system][curve.x_kind], DISPLAY[system][curve.y_kind], COLOURS[curve.y_kind]
    low, high = _span(curve)
    x = np.linspace(low, high, _POINTS)
    y, (under, over) = curve(x), curve.band(x)
    seen = (x >= curve.measured_from) & (x <= curve.measured_to)
    across = along.convert(x)
    if np.all(np.isfinite(under)):
        ends = up.convert(np.asarray(under)), up.convert(np.asarray(over))
        ax.fill_between(across, *ends, where=seen, color=colour, alpha=0.22, lw=0)
        ax.fill_between(across, *ends, where=~seen, facecolor="none", edgecolor=colour, alpha=0.35, hatch="//", lw=0)
    ax.plot(across, np.where(seen, up.convert(y), np.nan), color=colour, zorder=3)
    ax.plot(across, np.where(seen, np.nan, up.convert(y)), color=colour, ls=(0, (3, 2)), lw=1.5, zorder=3)
    ax.plot(along.convert(curve.x), up.convert(curve.y), "o", ms=5, color=style.INK, mec="white", mew=0.8, zorder=4)
    odd = curve.fit.outlier()
    if odd is not None:
        at = along.convert(curve.x[odd]), up.convert(curve.y[odd])
        ax.plot(*at, "o", ms=14, mfc="none", mec=style.LIMIT, mew=2, zorder=5)
        side = 1 if curve.fit.residuals[odd] > 0 else -1  # away from the curve
        how = {"xytext": (0, 12 * side), "textcoords": "offset points", "ha": "center", "weight": "bold"}
        ax.annotate(f"line {curve.rows[odd]}", at, va="bottom" if side > 0 else "top", zorder=7, **how)
    tallest = float(np.nanmax(np.append(up.convert(y), up.convert(curve.y))))
    ax.set_ylim(min(0.0, float(up.convert(np.min(curve.y)))), 1.12 * tallest)
    ax.set_xlim(along.convert(0.0), along.convert(high) * 1.02)
    ax.set_title(f"{curve.y_label[:1].upper()}{curve.y_label[1:]}, {up.label}")
    ax.tick_params(axis="x", labelbottom=False)
    dots = np.column_stack((along.convert(curve.x), up.convert(curve.y)))
    _name_parts(
        ax, curve, bool(np.all(np.isfinite(under))), np.vstack((np.column_stack((across, up.convert(y))), dots))
    )
    return ax


def _name_parts(ax: Axes, curve: Curve, band: bool, drawn: np.ndarray) -> None:
    """Say what dots, line, band and dashes are, in the corner with least in it; `drawn` is (x, y) in data."""
    quality = f"R² {curve.fit.r_squared:.4f}" if np.isfinite(curve.fit.r_squared) else "R² cannot be told"
    lines = [f"● {curve.x.size} readings, {quality}", "─ fit" + (", shaded: 95 % band" if band else ", no band")]
    low, high = _span(curve)
    if high > 1.001 * curve.measured_to or low < 0.999 * curve.measured_from:
        lines.append("┄ beyond the readings: a guess")
    inside = ax.transAxes.inverted().transform(ax.transData.transform(drawn[np.all(np.isfinite(drawn), axis=1)]))

    def covered(corner: tuple[float, float]) -> int:
        across = inside[:, 0] > 0.4 if corner[0] else inside[:, 0] < 0.6
        up = inside[:, 1] > 0.66 if corner[1] else inside[:, 1] < 0.34
        return int(np.sum(across & up))

    right, top = min(((1, 1), (0, 1), (1, 0), (0, 0)), key=covered)
    ax.text(
        0.98 if right else 0.02,
        0.97 if top else 0.03,
        "\n".join(lines),
        transform=ax.transAxes,
        ha="right" if right else "left",
        va="top" if top else "bottom",
        fontsize=style.SMALL,
        linespacing=1.45,
        zorder=6,
    )


def draw_residuals(ax: Axes, curve: Curve, system: str = "metric") -> Axes:
    """Draw what the curve leaves over at each reading, with the scatter as a band; the odd one out is ringed."""
    along, up = DISPLAY[system][curve.x_kind], DISPLAY[system][curve.y_kind]
    x, left = along.convert(curve.x), up.factor * curve.fit.residuals
    scatter = up.factor * curve.fit.residual_sd
    if np.isfinite(scatter):
        ax.axhspan(-2 * scatter, 2 * scatter, color=style.BAND, lw=0, zorder=0)
        words = f"± {_digits(up, 2 * curve.fit.residual_sd)}: twice the scatter"
        ax.text(
            0.99, 0.97, words, transform=ax.transAxes, ha="right", va="top", fontsize=style.SMALL, color=style.QUIET
        )
    ax.axhline(0, color=COLOURS[curve.y_kind], lw=1.2)
    ax.vlines(x, 0, left, color=style.QUIET, lw=1)
    ax.plot(x, left, "o", ms=4, color=style.INK, zorder=3)
    odd = curve.fit.outlier()
    if odd is not None:
        ax.plot(x[odd], left[odd], "o", ms=12, mfc="none", mec=style.LIMIT, mew=2)
    reach = max(float(np.max(np.abs(left), initial=0.0)), 2.2 * scatter if np.isfinite(scatter) else 0.0) or 1.0
    ax.set_ylim(-1.25 * reach, 1.6 * reach)
    ax.set_xlim(along.convert(0.0), along.convert(_span(curve)[1]) * 1.02)
    ax.set_xlabel(f"{curve.x_label}, {along.label}", labelpad=2)
    ax.set_title(f"read less fitted, {up.label}")
    return ax


def measured_figure(measured: Measured, width: float = 880, height: float = 400, system: str = "metric") -> Figure:
    """Return a figure of its own with every fitted curve of a part side by side, residuals under each."""
    with style.look():
        figure = Figure(figsize=(width / 100, height / 100), dpi=100)
        many = len(measured.fits)
        left, gap = 62 / width, 70 / width
        wide = (1 - left - 0.015 - gap * (many - 1)) / many
        for place, curve in enumerate(measured.fits.values()):
            at = left + place * (wide + gap)
            draw_fit(figure.add_axes((at, 0.40, wide, 0.535)), curve, system)
            draw_residuals(figure.add_axes((at, 0.105, wide, 0.195)), curve, system)
    return figure


def words(measured: Measured, system: str = "metric") -> str:
    """Return the drawings in words."""
    said: list[Any] = [f"{measured.part.name}, a {measured.kind} made from readings."]
    for curve in measured.fits.values():
        along, up = DISPLAY[system][curve.x_kind], DISPLAY[system][curve.y_kind]
        ends = (curve.measured_from, curve.measured_to)
        at = "; ".join(f"{up.text(float(curve(np.array([e]))[0]))} at {along.text(e)}" for e in ends)
        said.append(f"{curve.label}: {curve.x.size} readings, fitted curve {at}.")
    return " ".join(said)
