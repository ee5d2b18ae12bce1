"""The words and tables of a panel as HTML: headline, figures, warnings, comparison, a problem in words."""

import io
import re
from base64 import b64encode
from html import escape
from typing import Any

import ipywidgets as widgets
import pandas as pd
from matplotlib.figure import Figure

from loopmath import loop as tree
from loopmath import style
from loopmath.checks import InputError
from loopmath.compare import Comparison
from loopmath.rules import told
from loopmath.run_words import laid_words
from loopmath.solution import Solution
from loopmath.units import DISPLAY

STYLE = """<style>
.glance{display:flex;flex-flow:row wrap;align-items:flex-start;gap:6px 14px;overflow:visible}
.glance-controls{flex:1 1 268px;max-width:290px;min-width:250px;overflow:visible;gap:2px}
.glance-screen{flex:1 1 640px;max-width:880px;min-width:0;margin:0;height:auto}
.glance-screen .widget-html-content{min-width:0;line-height:1.35;font-size:13px;color:#222}
.glance-group{overflow:visible;margin:0}
.glance-group .widget-html-content{line-height:1.2;font-size:12px;font-weight:bold;color:#444}
.glance-controls .glance-group .widget-html{margin:4px 0 0;height:17px;min-height:0;overflow:hidden}
.glance-controls .widget-toggle-buttons{display:flex;flex-flow:row nowrap;align-items:center;height:28px;margin:0}
.glance-group .widget-toggle-buttons .widget-label{width:121px;min-width:121px;text-align:right;margin-right:8px}
.glance-buttons .widget-toggle-buttons .widget-label{display:none}
.glance-group .widget-html-content{min-height:0}
.glance-controls .widget-inline-hbox{width:auto;margin:0;height:27px}
.glance-controls .widget-inline-hbox .widget-label{width:121px;min-width:121px;text-align:right;color:#222}
.glance-controls .widget-readout{min-width:34px;width:40px;margin:0}
.glance-buttons{display:flex;flex-flow:row wrap;gap:3px;overflow:visible;margin-top:3px}
.glance-buttons .widget-button,.glance-buttons .widget-toggle-button{width:auto;height:26px;line-height:26px;margin:0}
.glance-controls .widget-toggle-buttons .widget-toggle-button{width:72px;height:25px;line-height:25px;margin:0 2px 0 0}
.glance-buttons .widget-inline-hbox{height:26px}
.glance-more{margin-top:2px}
.glance-more .jupyter-widget-Collapse-header{padding:3px 8px}
.glance-more .jupyter-widget-Collapse-contents{padding:2px}
.gl-head{font-size:15.5px;font-weight:600;margin:0 0 4px;min-height:44px;line-height:1.35}
.gl-picture{position:relative;background:#fff}
.gl-picture img{width:100%;max-width:880px;height:auto;display:block}
.gl-problem img{opacity:.22}
.gl-words{position:absolute;inset:8% 12%;background:#fff;border:2px solid #222;padding:14px 18px;font-size:15px;
 overflow:auto}
.gl-figures{display:flex;flex-flow:row wrap;gap:0 13px;margin:4px 0;min-height:36px}
.gl-figures div{white-space:nowrap}.gl-figures b{display:block;font-size:14px}
.gl-figures span{color:#555;font-size:12px}
.gl-warn{height:142px;overflow-y:auto;border-top:1px solid #ddd}
.gl-rows{height:222px}
.gl-warn table,.gl-kept table{border-collapse:collapse;width:100%;font-size:12.5px;line-height:1.3}
.gl-warn td,.gl-kept td,.gl-kept th{padding:3px 8px 3px 0;text-align:left!important;vertical-align:top;
 border-bottom:1px solid #eee}
.gl-warn td:first-child{width:86px}
.gl-mark{text-align:left;display:inline-block;width:78px;padding:1px 4px;font-weight:bold;font-size:11.5px;
 text-transform:uppercase}
.gl-title{font-weight:600;margin:8px 0 2px}
.gl-table td:first-child{min-width:110px}
.glance-note p{margin:4px 0;line-height:1.3;overflow-wrap:anywhere}.glance-loose .gl-warn{height:auto;max-height:230px}
.gl-why{color:#555}.gl-kept{overflow-x:auto;max-width:1180px}
@media (max-width:1180px){.glance-controls>.glance-note{grid-column:1/-1}
 .glance-controls{flex-basis:100%;max-width:none;display:grid;gap:0 8px;align-items:start;
 grid-template-columns:repeat(4,minmax(0,1fr))}
 .glance-controls .widget-inline-hbox .widget-label{width:96px;min-width:96px;font-size:11.5px;margin-right:4px}
 .glance-group .widget-toggle-buttons .widget-label{width:44px;min-width:44px;font-size:12px}.glance-more{grid-column:3}
 .glance-controls .widget-toggle-buttons .widget-toggle-button{width:54px;padding:0}
 .glance-controls>.glance-group:nth-child(2){grid-row:span 3}.glance-controls>.glance-group:first-child{grid-row:span 3}
 .glance-controls>.glance-group:nth-child(4){grid-column:3;grid-row:2}.glance-buttons{grid-column:4;grid-row:1/span 3}
 .glance-more{grid-row:3}.glance-controls .widget-dropdown{flex-flow:row nowrap}
 .glance-choice .glance-controls>.glance-group:first-child{grid-row:1}
 .glance-choice .glance-controls>.glance-group:nth-child(4){grid-column:4;grid-row:1/span 3}
 .glance-choice .glance-buttons{grid-column:1;grid-row:2}
 .glance-materials .glance-controls>.glance-group:nth-child(n){grid-column:auto;grid-row:auto}
 .glance-materials .glance-controls>.glance-group:first-child{grid-column:1;grid-row:1}
 .glance-materials .glance-controls>.glance-group:has(.widget-checkbox){grid-column:span 2}
 .glance-group:has(.widget-checkbox){display:grid;grid-template-columns:1fr 1fr}
 .glance-group:has(.widget-checkbox) .widget-html{grid-column:span 2}
 .glance-materials .glance-buttons{grid-column:1;grid-row:1;align-self:end}
 .glance-runs .glance-controls{display:block;columns:4;column-gap:8px}
 .glance-runs .glance-controls>*{break-inside:avoid;width:auto}
 .glance-runs .glance-controls .widget-dropdown .widget-label{width:40px;min-width:40px}
 .gl-warn,.gl-rows{height:118px}.gl-head{font-size:14.5px;min-height:40px}}
</style>"""


def bundle(view: widgets.Widget, still: str, words: str, **kwargs: Any) -> dict:
    """Return what a notebook shows of a panel: live with a kernel, else its last picture and words."""
    live = view._repr_mimebundle_(**kwargs)
    live = live[0] if isinstance(live, tuple) else live
    return live | {"text/html": STYLE + still, "text/plain": words}


class Still:
    """A figure shown in a notebook as a sharp picture with its words."""

    def __init__(self, figure: Figure, alt: str) -> None:
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=200)
        width = round(100 * figure.get_size_inches()[0])
        source = b64encode(buffer.getvalue()).decode("ascii")
        self.alt = alt
        self.html = (
            f'<img alt="{escape(alt)}" style="width:100%;max-width:{width}px" src="data:image/png;base64,{source}">'
        )

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return self.alt


def group(title: str, children: list) -> widgets.Widget:
    """Return controls under a small title."""
    box = widgets.VBox([widgets.HTML(escape(title)), *children])
    box.add_class("glance-group")
    return box


def headline(solution: Solution, system: str = "metric") -> str:
    """Return the answer in one sentence a builder would say."""
    units, s = DISPLAY[system], solution.state
    warned = counts(solution)
    if not solution.moving:
        return f"{solution.plight} {warned}"
    if not solution.known:
        return f"{units['flow'].text(s['flow'])}, but no temperature can be stated. {solution.plight} {warned}"
    words = (
        f"{units['flow'].text(s['flow'])}; warmest coolant {units['difference'].text(s['coolant_over_room'])} "
        f"over room; "
    )
    sources = solution.plan.units(tree.Source)
    if sources:
        worst = min(sources, key=lambda u: float(u.limit - s[u.name]))
        margin = float(worst.limit - s[worst.name])
        side = "below" if margin >= 0 else "above"
        words += (
            f"{worst.name} {units['temperature'].text(s[worst.name])}, "
            f"{units['difference'].text(abs(margin))} {side} its limit; "
        )
    return f"{words}about {units['sound'].text(s['sound'])}. {warned}"


def counts(solution: Solution) -> str:
    """Return how many warnings there are of each signal word."""
    return told(solution.warned())


def alt_text(solution: Solution, system: str = "metric") -> str:
    """Return the picture in words."""
    shares = sorted(solution.head_shares.items(), key=lambda item: -float(item[1]))[:3]
    return (
        f"Three drawings: pump curve and loop curve with their meeting point, shares of head, temperatures in "
        f"flow order. {headline(solution, system)} Most head goes to {', '.join(n for n, _ in shares)}."
    )


def figures(solution: Solution, system: str) -> list[tuple[str, str]]:
    """Return the readouts of an answer: what, and how much."""
    units, s = DISPLAY[system], solution.state
    return [
        ("flow", units["flow"].text(s["flow"])),
        ("head", units["head"].text(s["head"])),
        ("coolant rise", units["difference"].text(s["coolant_return"] - s["coolant_supply"])),
        ("warmest coolant", units["temperature"].text(s["coolant_warmest"])),
        *((u.name, units["temperature"].text(s[u.name])) for u in solution.plan.units(tree.Source)),
        ("sound", units["sound"].text(s["sound"])),
        ("pump", f"{s['pump_power']:.1f} W"),
        ("fans", f"{s['fan_power']:.1f} W"),
        ("coolant held", units["volume"].text(s["volume"])),
        ("source of tube lengths", laid_words(solution.plan)),
    ]


def figures_html(rows: list[tuple[str, str]]) -> str:
    """Return the row of readouts."""
    cells = "".join(f"<div><b>{escape(v)}</b><span>{escape(n)}</span></div>" for n, v in rows)
    return f'<div class="gl-figures">{cells}</div>'


def mark(signal: str) -> str:
    """Return a signal word on its colour with its shape."""
    back, ink, shape = style.SIGNALS[signal]
    return f'<span class="gl-mark" style="background:{back};color:{ink}">{shape} {signal}</span>'


def warnings_html(solution: Any, system: str, first: list = ()) -> str:
    """Return what `solution` has warned of, gravest first: what to do, value against limit, why, source."""
    rows = ""
    for row in (*first, *solution.warned(system)):
        figures = f" {row.value} (limit {row.limit})" if row.limit else ""
        rows += (
            f"<tr><td>{mark(row.signal)}</td><td><b>{escape(row.where)}</b>: "
            f"{escape(row.quantity + figures)}. {escape(row.action)} "
            f'<span class="gl-why" title="{escape(row.source)}">{escape(row.why)} '
            f"[{escape(row.source.split(':')[0])}]</span></td></tr>"
        )
    rows = rows or "<tr><td></td><td>No warnings for this design.</td></tr>"
    return f'<div class="gl-warn" tabindex="0" aria-label="Warnings"><table>{rows}</table></div>'


def note_html(title: str, words: str) -> str:
    """Return words under a small heading."""
    return f'<div class="gl-title">{escape(title)}</div><div>{unbroken(escape(words))}</div>'


def steps_html(title: str, steps: list[str]) -> str:
    """Return steps under a small heading, numbered."""
    listed = "".join(f"<li>{unbroken(escape(words))}</li>" for words in steps)
    return f'<div class="gl-title">{escape(title)}</div><ol style="margin:2px 0 4px;padding-left:22px">{listed}</ol>'


def table_html(title: str, table: pd.DataFrame) -> str:
    """Return numbers under a small heading; a table wider than the screen scrolls by itself and widens nothing."""
    head = "".join(f"<th>{escape(str(column))}</th>" for column in table.columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{unbroken(escape(_cell(value)))}</td>" for value in row) + "</tr>"
        for row in table.itertuples(index=False)
    )
    return (
        f'<div class="gl-title">{escape(title)}</div><div class="gl-kept gl-table" tabindex="0" '
        f'aria-label="{escape(title)}"><table><tr>{head}</tr>{body}</table></div>'
    )


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return "none" if value != value else f"{value:.3g}".replace("-", "−")
    return str(value)


def problem_html(problem: InputError) -> str:
    """Return an error in words a builder can act on."""
    said = ": " if isinstance(problem.value, str) else " comes to "
    return (
        f"<b>This cannot be solved.</b><br>{escape(problem.field)}{said}{escape(str(problem.value))}. "
        f"Accepted: {escape(problem.accepted)}.<br>{escape(problem.remedy)}<br>Change it back and the picture returns."
    )


def screen_html(head: str, picture: str, readouts: list[tuple[str, str]], below: str, failed: str = "") -> str:
    """Return the whole screen in one piece, so that words, picture and figures never disagree."""
    words = f'<div class="gl-words" role="alert">{failed}</div>' if failed else ""
    first = "No answer for these settings; the last picture stays faint behind." if failed else head
    return (
        f'<div class="gl-head" role="status" aria-live="polite">{unbroken(escape(first))}</div>'
        f'<div class="gl-picture{" gl-problem" if failed else ""}">{picture}{words}</div>'
        f"{figures_html(readouts)}{below}"
    )


def unbroken(words: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(?<=\d) (?=[^\s\d])", "&nbsp;", words)


def comparison_html(comparison: Comparison, system: str, words: str = "") -> str:
    """Return the kept designs as a table, a design a column."""
    note = f"<p>{escape(words)}</p>" if words else ""
    if not comparison.kept:
        return note + '<p class="gl-why">Keep a design and it stays here beside the next one.</p>'
    turned = comparison.table(system).set_index("design").T
    head = "".join(f"<th>{escape(str(c))}</th>" for c in turned.columns)
    body = "".join(
        f"<tr><th>{escape(str(n))}</th>" + "".join(f"<td>{escape(str(v))}</td>" for v in row) + "</tr>"
        for n, row in zip(turned.index, turned.values, strict=True)
    )
    return f'{note}<div class="gl-kept"><table><tr><th>kept design</th>{head}</tr>{body}</table></div>'
