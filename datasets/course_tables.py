"""The course's tables: rows with their fields, units and sources. Numbers are rounded as a table prints them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from halfcycle import Waveform, Wire, meters
from halfcycle.constants import CLASS_2, NEC_TABLE_8_OHM, PREFERRED

__all__ = ["Field", "Table", "tables"]


@dataclass(frozen=True)
class Field:
    """One column: its `name`, `unit` ("" for none), what it is in `words`, and its Data Package `type`."""

    name: str
    unit: str
    words: str
    type: str = "number"


@dataclass(frozen=True)
class Table:
    """One table: its file's `name`, `title`, how it was `made`, `sources`, `fields` and `rows` of written cells."""

    name: str
    title: str
    made: str
    sources: tuple[str, ...]
    fields: tuple[Field, ...]
    rows: tuple[tuple[str, ...], ...]


def tables() -> Iterator[Table]:
    """All tables."""
    yield _copper()
    yield _preferred()
    yield _class_2()
    yield _meter_factors()


def _copper() -> Table:
    fields = (
        Field("gauge_awg", "", "gauge number", "integer"),
        Field("diameter_in", "in", "diameter of the copper"),
        Field("ohm_per_1000ft_20C", "Ω/1000 ft", "one conductor, solid, 20 °C, computed"),
        Field("ohm_per_1000ft_75C", "Ω/1000 ft", "one conductor, solid, 75 °C, computed"),
        Field(
            "nec_solid_75C", "Ω/1000 ft", "published for solid copper, 75 °C; empty where the table has no such gauge"
        ),
        Field("nec_stranded_75C", "Ω/1000 ft", "published for stranded copper, 75 °C; empty as before"),
    )
    rows = []
    for gauge in range(10, 25, 2):
        cold, warm = Wire(gauge, 1000), Wire(gauge, 1000, celsius=75.0)
        published = [NEC_TABLE_8_OHM[kind].get(gauge) for kind in ("solid", "stranded")]
        cells = [f"{cold.diameter_in:.4f}", f"{cold.one_way_ohm:.4g}", f"{warm.one_way_ohm:.4g}"]
        rows.append((str(gauge), *cells, *("" if ohm is None else f"{ohm:.2f}" for ohm in published)))
    return Table(
        "copper_wire", "Resistance of copper conductors", "computed by halfcycle.Wire beside the published values",
        ("ASTM B258, diameter", "IEC 60028, resistivity of annealed copper", "NEC (NFPA 70) chapter 9 table 8"),
        fields, tuple(rows),
    )  # fmt: skip


def _preferred() -> Table:
    fields = (Field("series", "", "series of preferred values", "string"), Field("value", "", "times any power of ten"))
    rows = tuple((series, f"{value:.1f}") for series, values in PREFERRED.items() for value in values)
    return Table("preferred_values", "Preferred values of parts", "copied", ("IEC 60063",), fields, rows)


def _class_2() -> Table:
    fields = (
        Field("limit", "", "what is limited", "string"),
        Field("symbol", "", "its symbol, if it has one", "string"),
        Field("value", "", "the limit, in the unit beside it"),
        Field("unit", "", "its unit", "string"),
        Field("source", "", "where it stands", "string"),
    )
    rows = tuple((name, c.symbol, f"{c.value:g}", c.unit, c.source) for name, c in CLASS_2.items())
    sources = ("NEC (NFPA 70) chapter 9 table 11(A), over 20 to 30 V ac", "UL 1585")
    return Table("class_2_limits", "Limits of class 2 sources", "copied", sources, fields, rows)


def _meter_factors() -> Table:
    readings = {
        "mean": (meters.dc, "dc meter"),
        "rms": (meters.true_rms, "true-rms meter, ac+dc"),
        "ac_rms": (meters.ac_rms, "true-rms meter, ac-coupled"),
        "average_dc_coupled": (
            lambda wave: meters.average_responding(wave, coupled="dc"),
            "average-responding × 1.1107",
        ),
        "average_ac_coupled": (meters.average_responding, "the same behind a capacitor"),
        "crest": (meters.crest_factor, "peak over rms"),
    }
    shapes = {"sine": lambda v: v, "half-wave": lambda v: v.clip(0), "full-wave": np.abs}
    sine = Waveform.sine(samples_per_cycle=20_000)
    rows = [
        (name, *(f"{reading(sine.with_values(shape(sine.values))) + 0.0:.5f}".replace("-0.00000", "0.00000")
                 for reading, _ in readings.values()))
        for name, shape in shapes.items()
    ]  # fmt: skip
    fields = [Field("wave", "", "shape, of amplitude 1", "string")]
    fields += [Field(name, "", words) for name, (_, words) in readings.items()]
    return Table(
        "meter_factors", "What each meter shows of a wave of amplitude 1", "computed by halfcycle.meters",
        ("closed forms of the sine; form factor π/(2√2) = 1.1107",), tuple(fields), tuple(rows),
    )  # fmt: skip
