"""One look for every figure, table and page: colours by meaning, type sizes, signal words."""

import math
import re
from functools import lru_cache

import matplotlib as mpl
from matplotlib.colors import to_hex
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

#: Colour has one meaning everywhere (Okabe-Ito palette, safe for colour-blind readers).
LIQUID, AIR, HEAT, PUMP, LIMIT = "#0072B2", "#56B4E9", "#D55E00", "#009E73", "#CC79A7"
INK, QUIET, GRID, BAND = "#222222", "#666666", "#DDDDDD", "#EEF4F8"
#: Greys of kept designs, told apart by their letters.
KEPT = "#9A9A9A"

#: Signal word -> (background, ink, shape): the colours of ANSI Z535, never without word and shape.
SIGNALS = {
    "danger": ("#C8102E", "#FFFFFF", "⬣"),
    "warning": ("#FF8200", "#000000", "▲"),
    "caution": ("#FFD100", "#000000", "◆"),
    "notice": ("#0B5FA5", "#FFFFFF", "●"),
}

SMALL, PLAIN = 9.0, 9.5
#: Of a line of the font: over its base, under it, and between two lines, in shares of its size.
ASCENT, DESCENT, LEADING = 0.76, 0.24, 0.2
#: Drawings of the machine are laid out in pixels of the screen, so many to the inch.
DOTS = 100

#: Coolant temperature has one map of colours on one range, the same on every figure. [degC]
WARM_LOW, WARM_HIGH = 20.0, 60.0
#: Evenly rising in lightness, from blue to yellow: colour-blind readers and a grey print keep the order.
WARM_MAP = "plasma"
#: A tube whose temperature is not known.
PLAIN_TUBE = "#A9BCC9"
#: Weights of lines in drawings of the machine: hairlines, outlines, tubes. [pt]
HAIR, OUTLINE, TUBE = 0.8, 1.4, 4.5

_RC = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": PLAIN,
    "axes.titlesize": PLAIN,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": SMALL,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.spines.left": False,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "ytick.left": False,
    "xtick.major.size": 3,
    "axes.grid": True,
    "axes.grid.axis": "y",
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "axes.axisbelow": True,
    "lines.linewidth": 2.0,
    "figure.facecolor": "white",
    "axes.unicode_minus": True,
    "text.parse_math": False,  # a name with a dollar sign is a name
    "path.simplify_threshold": 1.0,
}


def warm_colour(temperature: float) -> str:
    """
    Return the colour of coolant at a temperature [degC]; outside the range it is that of the nearer end.

    Examples
    --------
    >>> warm_colour(15.0) == warm_colour(20.0) != warm_colour(21.0)
    True
    """
    share = (float(temperature) - WARM_LOW) / (WARM_HIGH - WARM_LOW)
    return to_hex(mpl.colormaps[WARM_MAP](min(max(share, 0.0), 1.0)))


def look() -> mpl.RcParams:
    """Return the context in which every figure is made: ``with style.look(): ...``."""
    return mpl.rc_context(_RC)


@lru_cache(8192)
def measured(text: str, size: float = SMALL, bold: bool = False) -> tuple[float, float]:
    """Return width and height of a line of text, from the font's own metrics and as coarse as a screen. [px]"""
    prop = FontProperties(family="sans-serif", size=size, weight="bold" if bold else "normal")
    wide, high, below = text_to_path.get_text_width_height_descent(text, prop, False)
    over, under = max(high - below, ASCENT * size) * DOTS / 72, max(below, DESCENT * size) * DOTS / 72
    return wide * DOTS / 72, math.ceil(over + 1) + math.ceil(under)


def fitted(text: str, width: float, most: int, size: float = SMALL, bold: bool = False) -> list[str]:
    """
    Break text into lines no wider than `width` [px], at most `most` of them.

    A word longer than a line is broken between letters; what does not fit in the last line ends in an ellipsis.

    Examples
    --------
    >>> fitted("graphics card", 70, 3), fitted("graphics card", 70, 1)
    (['graphics', 'card'], ['graphics…'])
    """

    def fits(line: str) -> bool:
        return measured(line, size, bold)[0] <= width

    lines = [""]
    for word in re.findall(r"[^ \t\r\n\v\f]+", text[:400]):
        whole = f"{lines[-1]} {word}" if lines[-1] else word
        if fits(whole):
            lines[-1] = whole
            continue
        lines += [""] if lines[-1] else []
        while not fits(word) and len(word) > 1:
            end = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or fits(word[:n]))
            lines[-1], word = word[:end], word[end:]
            lines.append("")
        lines[-1] = word
        if len(lines) > most:
            break
    if len(lines) > most:
        last = lines[most - 1]
        while last and not fits(last + "…"):
            last = last[:-1]
        lines = [*lines[: most - 1], last.rstrip() + "…"]
    return [line for line in lines if line]
