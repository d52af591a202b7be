"""Every number that comes from outside: one table with its symbol, unit and source. Nothing here is measured by us.

Sources marked (seen) were read in a public transcription of the document, not in the paid original.
"""

import math
from dataclasses import dataclass

from .values import positive


@dataclass(frozen=True)
class Constant:
    """One number with its `symbol`, `value`, `unit` and `source`. `float(constant)` is its value."""

    symbol: str
    value: float
    unit: str
    source: str

    def __float__(self) -> float:
        return float(self.value)


CONSTANTS = {
    "copper resistivity": Constant("ρ20", 1 / 58, "Ω·mm²/m", "IEC 60028, annealed copper at 20 °C (seen)"),
    "copper temperature coefficient": Constant("α20", 0.00393, "1/K", "IEC 60028, from 20 °C (seen)"),
    "diameter of 36 AWG": Constant("d36", 0.005, "in", "ASTM B258 (seen)"),
    "diameter ratio of 39 gauge steps": Constant("", 92.0, "", "ASTM B258 (seen)"),
    "inch": Constant("in", 25.4, "mm", "exact by definition"),
    "foot": Constant("ft", 0.3048, "m", "exact by definition"),
    "form factor of a sine": Constant("π/(2√2)", math.pi / (2 * math.sqrt(2)), "", "closed form, published as 1.1107"),
}

# Ω per 1,000 ft, uncoated copper, dc, 75 °C. Source: NEC (NFPA 70) chapter 9 table 8 (seen); it starts at 18 AWG.
NEC_TABLE_8_OHM = {
    "solid": {18: 7.77, 16: 4.89, 14: 3.07, 12: 1.93, 10: 1.21},
    "stranded": {18: 7.95, 16: 4.99, 14: 3.14, 12: 1.98, 10: 1.24},
}

# Class 2 sources over 20 to 30 V ac. Source: NEC chapter 9 table 11(A), 2017 text (seen). The nameplate figure is what
# may be printed on the transformer; the other limits are taken after one minute into any load.
CLASS_2_NAMEPLATE_VA = Constant("", 100.0, "VA", "NEC chapter 9 table 11(A), over 20 to 30 V ac (seen)")
_TABLE_11A = "NEC chapter 9 table 11(A)"
CLASS_2 = {
    "inherently limited, largest current": Constant("Imax", 8.0, "A", f"{_TABLE_11A} (seen)"),
    "not inherently limited, largest output": Constant("VAmax", 250.0, "VA", f"{_TABLE_11A} (seen)"),
    "not inherently limited, largest current × volts": Constant("Imax·V", 1000.0, "VA", f"{_TABLE_11A} (seen)"),
    "overcurrent protection × volts": Constant("", 100.0, "VA", f"{_TABLE_11A}, not inherently limited (seen)"),
    "nameplate": CLASS_2_NAMEPLATE_VA,
    "largest secondary": Constant("", 30.0, "V", "UL 1585, secondary of a class 2 transformer under any load (quoted)"),
    "non-sinusoidal ac peak": Constant("", 42.4, "V", "NEC chapter 9 table 11(A) notes (seen)"),
}

# IEC 60063 (seen). The standard's own lists: they are not the rounded powers of ten.
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
_E24 = tuple(sorted((*_E12, 1.1, 1.3, 1.6, 2.0, 2.4, 3.0, 3.6, 4.3, 5.1, 6.2, 7.5, 9.1)))
PREFERRED = {"E12": _E12, "E24": _E24}


def next_preferred(value: float, series: str = "E12") -> float:
    """Smallest preferred value of `series` ("E12" or "E24") that is not below `value` (same unit, above zero).

    Source: IEC 60063. Errors: ValueError for an unknown series or a value that is not a positive finite number.

    >>> next_preferred(480), next_preferred(470), next_preferred(85e-6), next_preferred(9.5, "E24")
    (560.0, 470.0, 0.0001, 10.0)
    """
    if series not in PREFERRED:
        raise ValueError(f"The preferred series are {' and '.join(PREFERRED)}; {series!r} is neither.")
    positive("value to round up to a preferred one", value)
    exponent = math.floor(math.log10(value))
    least = value / 10.0**exponent * (1 - 1e-9)  # 4.7 written in binary is still 4.7
    step = next(step for step in (*PREFERRED[series], 10.0) if step >= least)
    return float(f"{step}e{exponent}")
