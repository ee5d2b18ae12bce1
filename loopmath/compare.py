"""Kept designs side by side: a table, and files to hand on."""

import html
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.files import write_whole
from loopmath.solution import Solution
from loopmath.units import DISPLAY

#: Designs that can be kept; more lines than this cannot be told apart.
MOST = 6
LETTERS = "ABCDEF"


def summary(solution: Solution, system: str = "metric") -> dict[str, str]:
    """Return the figures of a design worth comparing, as printed, units in the keys."""
    units, s = DISPLAY[system], solution.state
    u = solution.plan
    pumps, fans = u.units(tree.PumpUnit), u.fanned

    def shown(value: float, kind: str) -> str:
        return units[kind].text(value, unit=False)

    bore = next((run.tube.bore for run in u.units(tree.Run)), float("nan"))
    row = {
        "pump": f"{pumps[0].pump.name}, {100 * pumps[0].speed:.0f} %",
        "radiators": "; ".join(_size(r) for r in u.units(tree.RadiatorUnit)),
        "fans, %": ", ".join(f"{100 * r.fan_speed:.0f}" for r in fans),
        "90° fittings": f"{float(tree.total_fittings(u.loop)):.0f}",
        f"bore, {units['length'].label}": shown(bore, "length"),
        "coolant": u.coolant.label,
        f"room, {units['temperature'].label}": shown(u.room_air, "temperature"),
        f"flow, {units['flow'].label}": shown(s["flow"], "flow"),
        f"head, {units['head'].label}": shown(s["head"], "head"),
        f"coolant over room, {units['difference'].label}": shown(s["coolant_over_room"], "difference"),
        f"warmest coolant, {units['temperature'].label}": shown(s["coolant_warmest"], "temperature"),
    }
    for source in u.units(tree.Source):
        row[f"{source.name}, {units['temperature'].label}"] = shown(s[source.name], "temperature")
    row |= {
        "sound, dB": shown(s["sound"], "sound"),
        "pump, W": f"{s['pump_power']:.1f}",
        f"volume, {units['volume'].label}": shown(s["volume"], "volume"),
    }
    signals = Counter(row.signal for row in solution.warned())
    row["warnings"] = ", ".join(f"{n} {w}" for w, n in signals.items()) or "none"
    return row


def _size(unit: tree.RadiatorUnit) -> str:
    radiator = unit.radiator
    return f"{radiator.positions:.0f} × {1e3 * radiator.fan_size:.0f} × {1e3 * radiator.depth:.0f} mm"


@dataclass
class Comparison:
    """Up to six kept designs by letter."""

    kept: dict[str, Solution] = field(default_factory=dict)

    def keep(self, solution: Solution) -> str:
        """
        Keep a design under the next letter and return it; the oldest makes room for a seventh.

        Letters follow the order of the table, so letting one go moves the rest up.
        """
        designs = [*self.kept.values(), solution][-MOST:]
        self.kept = dict(zip(LETTERS, designs, strict=False))
        return list(self.kept)[-1]

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return one row for each kept design, figures as printed."""
        rows = [{"design": letter} | summary(s, system) for letter, s in self.kept.items()]
        return pd.DataFrame(rows).fillna("")

    def save(self, folder: str | Path, system: str, picture: str, alt: str) -> list[Path]:
        """
        Write the comparison as CSV, Markdown and one self-contained HTML page.

        Parameters
        ----------
        folder : str or Path
            Made if it is not there. Files already in it are never overwritten: the next number is taken.
        system : str
            "metric" or "us".
        picture, alt : str
            The figure as a data URI, and in words.

        Returns
        -------
        paths : list of Path

        Raises
        ------
        InputError
            If the folder cannot be written to; nothing is left half written.
        """
        folder, table = Path(folder), self.table(system)
        files = {".csv": table.to_csv(index=False), ".md": markdown(table), ".html": page(table, picture, alt)}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            number = 1
            while any((folder / f"comparison-{number}{end}").exists() for end in files):
                number += 1
            return [write_whole(folder / f"comparison-{number}{end}", text) for end, text in files.items()]
        except OSError as fault:
            raise InputError(
                "folder for the comparison",
                str(folder),
                "a folder that can be written to",
                f"The system says: {fault}.",
            ) from None


def markdown(table: pd.DataFrame) -> str:
    """Return a table as Markdown, a design a column, since it has few rows and many figures."""
    turned = table.set_index("design").T
    head = "| | " + " | ".join(turned.columns) + " |\n|---|" + "---|" * len(turned.columns) + "\n"
    cells = turned.map(lambda v: str(v).replace("|", "\\|"))
    return head + "".join(
        f"| {name} | " + " | ".join(row) + " |\n" for name, row in zip(cells.index, cells.values, strict=True)
    )


def page(table: pd.DataFrame, picture: str, alt: str) -> str:
    """Return a self-contained HTML page: figure in words and picture, table, and what it rests on."""
    rows = table.set_index("design").T
    head = "".join(f"<th>{html.escape(str(c))}</th>" for c in rows.columns)
    body = "".join(
        f"<tr><th>{html.escape(str(n))}</th>" + "".join(f"<td>{html.escape(str(v))}</td>" for v in row) + "</tr>"
        for n, row in zip(rows.index, rows.values, strict=True)
    )
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Loop designs compared</title>
<style>body{{font:15px/1.4 sans-serif;color:#222;max-width:980px;margin:2em auto;padding:0 1em}}
img{{max-width:100%;height:auto}}table{{border-collapse:collapse;margin-top:1em}}
th,td{{padding:3px 10px;border-bottom:1px solid #ddd;text-align:left}}thead th{{border-bottom:2px solid #222}}</style>
<h1>Loop designs compared</h1>
<img src="{picture}" alt="{html.escape(alt)}">
<table><thead><tr><th>design</th>{head}</tr></thead><tbody>{body}</tbody></table>
<p>Figures are estimates from a steady model with invented parts unless the plan names measured ones. Sound is
estimated from rated levels. Follow each part's own instructions.</p></html>
"""
