"""Write ``src/planish/_unit_table.py``: the units of the trade, their factors taken from pint.

pint is the authority on units but takes half a second to import, so the units
that a setup file usually holds are looked up in a generated table. Run this
after adding a spelling; a test asserts that the table and pint agree.
"""

from __future__ import annotations

from pathlib import Path

import pint

# kind: (SI unit, {spelling: pint expression}). A spelling is written after
# normalising as planish.units does: µ -> u, ² -> ^2, · -> *, no spaces.
KINDS: dict[str, tuple[str, dict[str, str]]] = {
    "length": (
        "m",
        {
            "m": "m",
            "cm": "cm",
            "mm": "mm",
            "um": "um",
            "micron": "um",
            "microns": "um",
            "nm": "nm",
            "pm": "pm",
            "A": "angstrom",
            "angstrom": "angstrom",
            "kA": "1000 angstrom",
            "in": "inch",
            "inch": "inch",
            "inches": "inch",
            "mil": "thou",
            "mils": "thou",
            "ft": "ft",
        },
    ),
    "area": ("m^2", {"m^2": "m^2", "cm^2": "cm^2", "mm^2": "mm^2", "um^2": "um^2", "in^2": "inch^2"}),
    "pressure": (
        "Pa",
        {
            "Pa": "Pa",
            "hPa": "hPa",
            "kPa": "kPa",
            "MPa": "MPa",
            "GPa": "GPa",
            "psi": "psi",
            "bar": "bar",
            "mbar": "mbar",
            "kgf/cm^2": "kgf/cm^2",
            "gf/cm^2": "gf/cm^2",
            "atm": "atm",
            "torr": "torr",
            "Torr": "torr",
            "mmHg": "mmHg",
            "N/mm^2": "N/mm^2",
            "N/m^2": "N/m^2",
            "dyn/cm^2": "dyn/cm^2",
        },
    ),
    "acceleration": (
        "m/s^2",
        {"m/s^2": "m/s^2", "cm/s^2": "cm/s^2", "mm/s^2": "mm/s^2", "in/s^2": "inch/s^2"},
    ),
    "speed": (
        "m/s",
        {
            "m/s": "m/s",
            "mm/s": "mm/s",
            "um/s": "um/s",
            "cm/s": "cm/s",
            "m/min": "m/min",
            "mm/min": "mm/min",
            "ft/min": "ft/min",
            "ft/s": "ft/s",
            "in/s": "inch/s",
            "in/min": "inch/min",
            "nm/min": "nm/min",
            "nm/s": "nm/s",
            "A/min": "angstrom/min",
            "angstrom/min": "angstrom/min",
            "A/s": "angstrom/s",
            "kA/min": "1000 angstrom/min",
            "um/min": "um/min",
            "um/h": "um/hour",
            "um/hr": "um/hour",
            "mil/h": "thou/hour",
        },
    ),
    "intensity": ("W/m^2", {"W/m^2": "W/m^2", "W/cm^2": "W/cm^2", "mW/cm^2": "mW/cm^2"}),
    "angular_speed": (
        "rad/s",
        {
            "rad/s": "rad/s",
            "rpm": "rpm",
            "RPM": "rpm",
            "rev/min": "revolution/min",
            "turns/min": "turn/min",
            "orbits/min": "revolution/min",
            "rev/s": "revolution/s",
            "deg/s": "degree/s",
        },
    ),
    "frequency": (
        "1/s",
        {
            "Hz": "Hz",
            "kHz": "kHz",
            "MHz": "MHz",
            "1/s": "1/s",
            "1/min": "1/min",
            "sweeps/min": "1/min",
            "strokes/min": "1/min",
            "cycles/min": "1/min",
        },
    ),
    "flow": (
        "m^3/s",
        {
            "m^3/s": "m^3/s",
            "ml/min": "ml/min",
            "mL/min": "ml/min",
            "cc/min": "cm^3/min",
            "cm^3/min": "cm^3/min",
            "l/min": "l/min",
            "L/min": "l/min",
            "ml/s": "ml/s",
            "mL/s": "ml/s",
        },
    ),
    "time": (
        "s",
        {
            "s": "s",
            "sec": "s",
            "ms": "ms",
            "min": "min",
            "h": "hour",
            "hr": "hour",
            "hour": "hour",
            "hours": "hour",
            "day": "day",
            "days": "day",
        },
    ),
    "force": ("N", {"N": "N", "kN": "kN", "lbf": "lbf", "lb": "lbf", "kgf": "kgf", "gf": "gf", "mN": "mN"}),
    "mass": ("kg", {"kg": "kg", "g": "g", "mg": "mg"}),
    "volume": ("m^3", {"m^3": "m^3", "l": "l", "L": "l", "ml": "ml", "mL": "ml", "cm^3": "cm^3"}),
    "temperature_difference": ("K", {"K": "K", "delta_degC": "delta_degC", "delta_degF": "delta_degF"}),
    "per_pressure": (
        "1/Pa",
        {
            "1/Pa": "1/Pa",
            "1/kPa": "1/kPa",
            "1/MPa": "1/MPa",
            "1/GPa": "1/GPa",
            "1/psi": "1/psi",
            "cm^2/dyn": "cm^2/dyn",
            "um/(m*kPa)": "um/(m*kPa)",
            "nm/(m*kPa)": "nm/(m*kPa)",
            "(nm/min)/(psi*m/s)": "(nm/min)/(psi*m/s)",
        },
    ),
    "per_temperature": (
        "1/K",
        {"1/K": "1/K", "%/K": "percent/K", "1/degC": "1/delta_degC", "%/degC": "percent/delta_degC"},
    ),
    "stiffness_per_area": (
        "Pa/m",
        {
            "Pa/m": "Pa/m",
            "Pa/um": "Pa/um",
            "kPa/um": "kPa/um",
            "kPa/mm": "kPa/mm",
            "MPa/mm": "MPa/mm",
            "MPa/m": "MPa/m",
            "GPa/m": "GPa/m",
            "psi/um": "psi/um",
            "psi/mil": "psi/thou",
            "N/mm^3": "N/mm^3",
            "N/m^3": "N/m^3",
        },
    ),
    "density": (
        "kg/m^3",
        {"kg/m^3": "kg/m^3", "g/cm^3": "g/cm^3", "g/cc": "g/cm^3", "g/ml": "g/ml", "g/l": "g/l"},
    ),
    "viscosity": ("Pa*s", {"Pa*s": "Pa*s", "mPa*s": "mPa*s", "cP": "cP", "P": "poise"}),
    "energy_per_mol": (
        "J/mol",
        {"J/mol": "J/mol", "kJ/mol": "kJ/mol", "kcal/mol": "kcal/mol", "cal/mol": "cal/mol"},
    ),
    "areal_density": (
        "1/m^2",
        {"1/m^2": "1/m^2", "1/cm^2": "1/cm^2", "1/mm^2": "1/mm^2", "1/um^2": "1/um^2", "1/in^2": "1/inch^2"},
    ),
    "number_density": (
        "1/m^3",
        {"1/m^3": "1/m^3", "1/cm^3": "1/cm^3", "1/ml": "1/ml", "1/mL": "1/ml", "1/l": "1/l", "1/L": "1/l"},
    ),
    "heat_capacity": ("J/(kg*K)", {"J/(kg*K)": "J/(kg*K)", "kJ/(kg*K)": "kJ/(kg*K)", "J/(g*K)": "J/(g*K)"}),
    "conductivity": ("W/(m*K)", {"W/(m*K)": "W/(m*K)", "mW/(m*K)": "mW/(m*K)"}),
    "heat_transfer": (
        "W/(m^2*K)",
        {"W/(m^2*K)": "W/(m^2*K)", "kW/(m^2*K)": "kW/(m^2*K)", "W/(cm^2*K)": "W/(cm^2*K)"},
    ),
    "force_per_length": (
        "N/m",
        {"N/m": "N/m", "kN/m": "kN/m", "N/mm": "N/mm", "lbf/in": "lbf/inch", "mN/m": "mN/m"},
    ),
    "power": ("W", {"W": "W", "kW": "kW", "mW": "mW"}),
    "energy": ("J", {"J": "J", "kJ": "kJ", "eV": "eV"}),
    "angle": ("rad", {"rad": "rad", "deg": "degree"}),
    "ratio": ("", {"": "dimensionless", "%": "percent", "ppm": "ppm"}),
}

# Scales with an offset: kelvin = value * factor + offset.
TEMPERATURES = {"K": "kelvin", "degC": "degC", "C": "degC", "degF": "degF", "F": "degF"}


def make() -> str:
    """Return the text of the generated module."""
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    lines = [
        '"""Factors to SI of the units of the trade. Generated by tools/make_unit_table.py: do not edit."""',
        "",
        "from __future__ import annotations",
        "",
        f'PINT_VERSION = "{pint.__version__}"',
        "",
        "# kind: (SI unit, {spelling: factor})",
        "TABLE: dict[str, tuple[str, dict[str, float]]] = {",
    ]
    for kind, (si_unit, spellings) in KINDS.items():
        lines.append(f'    "{kind}": (')
        lines.append(f'        "{si_unit}",')
        lines.append("        {")
        for spelling, expression in spellings.items():
            factor = registry(expression).to(si_unit or "dimensionless").magnitude
            lines.append(f'            "{spelling}": {float(factor)!r},')
        lines.append("        },")
        lines.append("    ),")
    lines.append("}")
    lines.append("")
    lines.append("# scale: (factor, offset), kelvin = value * factor + offset")
    lines.append("TEMPERATURES: dict[str, tuple[float, float]] = {")
    for spelling, unit in TEMPERATURES.items():
        zero = registry.Quantity(0.0, unit).to("kelvin").magnitude
        hundred = registry.Quantity(100.0, unit).to("kelvin").magnitude
        factor = {"kelvin": 1.0, "degC": 1.0}.get(unit, (hundred - zero) / 100.0)
        lines.append(f'    "{spelling}": ({factor!r}, {zero!r}),')
    lines.append("}")
    return "\n".join(lines) + "\n"


# What the page shows, in the trade's units and in SI: kind: (dimension, unit of the trade, SI unit or multiple of it).
PAGE = {
    "pressure": ("pressure", "psi", "kPa"),
    "modulus": ("modulus", "MPa", "MPa"),
    "rate": ("rate", "nm/min", "nm/s"),
    "thickness": ("thickness", "nm", "nm"),
    "length": ("length", "mm", "mm"),
    "depth": ("depth", "um", "um"),
    "speed": ("speed", "m/s", "m/s"),
    "turning": ("angular_speed", "rpm", "rad/s"),
    "temperature": ("temperature", "degC", "K"),
    "percent": ("ratio", "%", "%"),
    "plain": ("ratio", "", ""),
}


def make_page() -> str:
    """Return the text of the page's table: name, factor and offset of each unit, as ``planish.units`` knows them."""
    lines = [
        "// Units that the page shows: [name, factor, offset], SI = value * factor + offset.",
        "// Generated by tools/make_unit_table.py from planish.units: do not edit.",
        "",
        "export const SHOWN = {",
    ]
    for kind, (dimension, trade, si) in PAGE.items():
        pair = ", ".join(
            f"{system}: {_page_unit(unit, dimension)}" for system, unit in (("trade", trade), ("si", si))
        )
        lines.append(f"  {kind}: {{ {pair} }},")
    return "\n".join([*lines, "};", ""])


def _page_unit(unit: str, dimension: str) -> str:
    from planish import units

    zero = units.to_si(f"0 {unit}", dimension)
    factor = TEMPERATURE_STEP if dimension == "temperature" else units.to_si(f"1 {unit}", dimension)
    return f'["{units.pretty(unit)}", {factor!r}, {zero!r}]'


TEMPERATURE_STEP = 1.0  # both scales that the page shows go by kelvins


if __name__ == "__main__":
    target = Path(__file__).resolve().parents[1] / "src" / "planish" / "_unit_table.py"
    target.write_text(make(), encoding="utf-8")
    page = target.parent / "web" / "static" / "unit-table.js"
    page.write_text(make_page(), encoding="utf-8")
