"""Write data/coolants.csv afresh from CoolProp: python tests/make_coolant_table.py."""

import csv
from datetime import date
from pathlib import Path

from CoolProp import CoolProp

TABLE = Path(__file__).resolve().parent.parent / "data" / "coolants.csv"
PRESSURE = 101325.0
HEADER = (
    "coolant,label,base,fraction,fraction_basis,temperature_degc,density_kg_m3,viscosity_mpa_s,"
    "heat_capacity_j_kg_k,conductivity_w_m_k,freezing_degc,source,locator,basis,checked_on"
).split(",")


def mixtures():
    """Yield name, label, base, fraction, basis of the fraction, CoolProp name, source key."""
    yield "water", "deionised water", "water", 0.0, "none", "Water", "IAPWS"
    for base, fluid, percents in (
        ("propylene glycol", "APG", (10, 20, 30, 40)),
        ("ethylene glycol", "AEG", (20, 30, 40)),
    ):
        for percent in percents:
            name = f"{base.replace(' ', '-')}-{percent}"
            label = f"{percent} % {base}, inhibited (by volume)"
            mixture = f"INCOMP::{fluid}[{percent / 100}]"
            yield name, label, base, percent / 100, "volume", mixture, "ASHRAE2001"
    label = "20 % propylene glycol, pure (by mass)"
    yield ("propylene-glycol-20-mass", label, "propylene glycol", 0.2, "mass", "INCOMP::MPG[0.2]", "Melinder2010")


def freezing(fluid):
    """Return the freezing point. [degC]"""
    if fluid == "Water":
        return 0.0
    return CoolProp.PropsSI("T_FREEZE", "T", 298.15, "P", PRESSURE, fluid) - 273.15


def rows():
    """Yield the rows of the table."""
    for name, label, base, fraction, kind, fluid, source in mixtures():
        where = f"CoolProp {CoolProp.get_global_param_string('version')} '{fluid}' at 101325 Pa"
        for temperature in range(5, 71, 5):
            state = ("T", temperature + 273.15, "P", PRESSURE, fluid)
            values = [CoolProp.PropsSI(key, *state) for key in "DVCL"]
            values[1] *= 1e3
            yield [
                name,
                label,
                base,
                fraction,
                kind,
                temperature,
                *(f"{v:.7g}" for v in values),
                f"{freezing(fluid):.2f}",
                source,
                where,
                "computed",
                date.today().isoformat(),
            ]


def main():
    """Write the file."""
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADER)
        writer.writerows(rows())


if __name__ == "__main__":
    main()
