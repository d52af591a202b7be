"""How a value with its unit is written for people, everywhere the same: three figures, a prefix, a true minus."""

import math

_PREFIXES = {-9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
_UNPREFIXED = {"", "%", "ft", "°", "°C", "°F", "VA", "W", "times", "ms"}


def plain(value: float, digits: int = 3) -> str:
    """`value` to `digits` figures without an exponent and without trailing noise.

    >>> plain(33.941), plain(-0.05), plain(1234.5), plain(0.0)
    ('33.9', '−0.050', '1,230', '0')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value!r} cannot be written as an amount")
    rounded = float(f"{value:.{digits - 1}e}")
    decimals = max(0, digits - 1 - math.floor(math.log10(max(abs(rounded), 0.1))))
    text = f"{rounded:,.{decimals}f}"
    return text.replace("-", "−") if text.strip("-0.") else "0"


def amount(value: float, unit: str, digits: int = 3) -> str:
    """`value` with its unit and the prefix that suits it; the space does not break, and degrees of angle stand without.

    A voltage of 0.5 V stays in volts, one of 0.05 V goes to millivolts.
    Never mF: on the labels of old motor capacitors that means microfarads (common practice, no source).

    >>> amount(470e-6, "F"), amount(0.0123, "A"), amount(120.0, "Hz"), amount(40.0, "VA")
    ('470\\xa0µF', '12.3\\xa0mA', '120\\xa0Hz', '40.0\\xa0VA')
    >>> amount(4700e-6, "F"), amount(6, "F")
    ('4,700\\xa0µF', '6.00\\xa0F')
    """
    power = 0
    if unit not in _UNPREFIXED and value != 0 and not 0.1 <= abs(value) < 1000:
        power = max(-9, min(6, 3 * math.floor(math.log10(abs(value)) / 3)))
    power = -6 if (unit, power) == ("F", -3) else power
    gap = "" if unit == "°" else "\N{NO-BREAK SPACE}"
    return f"{plain(value / 10**power, digits)}{gap}{_PREFIXES[power]}{unit}".rstrip()
