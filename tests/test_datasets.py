"""The course's captures and tables: made again byte for byte, described as they are, and readable."""

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from halfcycle import meters, read_capture
from halfcycle.captures import CaptureError
from halfcycle.pulses import pulses

DATASETS = Path(__file__).resolve().parents[1] / "datasets"
PACKAGE = json.loads((DATASETS / "datapackage.json").read_text(encoding="utf-8"))
RESOURCES = {resource["path"]: resource for resource in PACKAGE["resources"]}
CAPTURES = {Path(path).stem: resource for path, resource in RESOURCES.items() if path.startswith("captures/")}
TABLES = {Path(path).stem: resource for path, resource in RESOURCES.items() if path.startswith("tables/")}
TYPES = {"number": float, "integer": int, "string": str}


def capture(name):
    resource = CAPTURES[name]
    return read_capture(DATASETS / resource["path"], unit=resource["schema"]["fields"][1]["unit"].removeprefix("m"))


def cells(resource):
    """Heading and rows as the description says they are written: no reader of ours takes part."""
    dialect = resource.get("dialect", {})
    lines = (DATASETS / resource["path"]).read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(lines, delimiter=dialect.get("delimiter", ",")))
    heading = [rows[number - 1] for number in dialect.get("headerRows", [1])]
    return [" ".join(names) for names in zip(*heading, strict=True)], rows[max(dialect.get("headerRows", [1])) :]


def table(name):
    heading, rows = cells(TABLES[name])
    return [dict(zip(heading, row, strict=True)) for row in rows]


def test_the_recipe_makes_them_again_byte_for_byte(tmp_path):
    done = subprocess.run([sys.executable, DATASETS / "make.py", tmp_path], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    kept = {path.relative_to(DATASETS): path for path in DATASETS.rglob("*.*") if path.suffix in (".csv", ".json")}
    assert set(made) == set(kept)
    changed = [str(name) for name in made if made[name] != kept[name].read_bytes()]
    assert changed == [], "a circuit has changed; if that is meant: uv run python datasets/make.py"


def test_every_file_is_described_and_the_whole_is_small():
    files = {str(path.relative_to(DATASETS)) for path in DATASETS.rglob("*.csv")}
    assert files == set(RESOURCES)
    assert sum((DATASETS / path).stat().st_size for path in files) < 500_000


def test_the_description_has_what_the_standard_asks_for():
    """Data Package standard 2.0: names in small letters, digits and hyphens, unique; path, licence and fields."""
    names = [PACKAGE["name"], *(resource["name"] for resource in RESOURCES.values())]
    assert all(re.fullmatch(r"[a-z0-9][a-z0-9._-]*", name) for name in names) and len(set(names)) == len(names)
    assert PACKAGE["$schema"].endswith("/2.0/datapackage.json")
    assert all(licence["name"] and licence["path"] for licence in PACKAGE["licenses"])
    for resource in RESOURCES.values():
        assert resource["type"] == "table" and resource["title"] and resource["description"]
        assert all(field["type"] in TYPES and field["description"] for field in resource["schema"]["fields"])
    assert all(resource["sources"] for resource in TABLES.values())
    assert all(field["unit"] for resource in CAPTURES.values() for field in resource["schema"]["fields"])


@pytest.mark.parametrize("path", RESOURCES)
def test_fields_types_and_row_counts_are_as_described(path):
    resource = RESOURCES[path]
    heading, rows = cells(resource)
    fields = resource["schema"]["fields"]
    assert heading == [field["name"] for field in fields]
    assert len(rows) == resource["rows"]
    for row in rows:
        assert len(row) == len(fields)
        for cell, field in zip(row, fields, strict=True):
            if cell:
                TYPES[field["type"]](cell.replace(field.get("decimalChar", "."), "."))


@pytest.mark.parametrize("name", CAPTURES)
def test_a_capture_is_what_its_scope_records(name):
    """Read, evenly spaced, its trigger at zero, in whole steps of an 8-bit converter, never off the screen."""
    wave, scope = capture(name), CAPTURES[name]["scope"]
    step = scope["full_scale_volts"] / 2 ** scope["bits"]
    assert len(wave) == CAPTURES[name]["rows"] and scope["noise_seeded_by"]
    assert np.diff(wave.seconds) == pytest.approx(1 / scope["sample_hertz"], rel=1e-6)
    assert wave.seconds[0] == pytest.approx(-scope["pre_trigger_s"])
    codes = wave.values / step
    assert codes == pytest.approx(np.rint(codes), abs=0.2 if "other" in name else 1e-9)
    assert codes.min() > -128 and codes.max() < 127
    if "trigger_volts" in scope and scope["pre_trigger_s"] >= 0:
        near = wave.values[abs(wave.seconds) < 1e-9][0]
        assert near == pytest.approx(
            scope["trigger_volts"], abs=abs(scope["offset_volts"]) + 4 * scope["noise_volts_rms"] + step
        )


def test_another_scopes_file_holds_the_same_record():
    one, other = capture("boiler_room_sine"), capture("boiler_room_other_scope")
    assert other.seconds == pytest.approx(one.seconds, abs=1e-9)
    assert other.values == pytest.approx(one.values, abs=0.06e-3)


def test_the_boiler_room_shows_the_no_load_voltage_of_its_transformer():
    """24 V and 8 % regulation on the full-load base: 25.92 V rms, 36.66 V peak (regulation as published)."""
    wave = capture("boiler_room_sine").slice(0.0, 2 / 60)
    assert meters.ac_rms(wave) == pytest.approx(24 * 1.08, rel=5e-3)
    assert meters.peak(wave) == pytest.approx(24 * 1.08 * 2**0.5, abs=0.1 + 0.4 + 0.16)
    assert meters.frequency(wave) == pytest.approx(60, rel=2e-3)


def test_rectified_captures_keep_their_form_factors():
    """Rms over mean: π/2 half-wave, π/(2√2) full-wave (closed forms; the drop of the diodes shifts them a little)."""
    for name, form in (("half_wave", 1.5708), ("full_wave", 1.1107)):
        wave = capture(name).slice(0.0, 2 / 60)
        mean = meters.dc(wave) - CAPTURES[name]["scope"]["offset_volts"]
        assert meters.true_rms(wave) / mean == pytest.approx(form, rel=0.04)
    assert meters.frequency(capture("full_wave")) == pytest.approx(120, rel=0.02)
    assert meters.frequency(capture("half_wave")) == pytest.approx(60, rel=0.02)
    ripple = meters.peak_to_peak(capture("capacitor_ripple"))
    current = meters.dc(capture("capacitor_ripple")) / 330
    assert 0.6 < ripple / (current / (60 * 470e-6)) < 1.1  # textbook I/(fC): an upper estimate, high by 8 to 29 %


def test_the_less_hangs_on_the_bus_the_higher_its_spikes():
    quiet = capture("bus_quiet")
    assert pulses(quiet, threshold_volts=3.0).count == 0
    charging = capture("bus_charging")
    found = pulses(charging, threshold_volts=15.0)
    assert 4 <= found.spikes.count <= 6 and found.dips.count >= 2
    assert meters.ac_rms(charging) == pytest.approx(meters.ac_rms(quiet), rel=0.1)  # a voltmeter hardly sees it
    tops = [meters.peak(capture(f"bus_charging_{load}_load")) for load in ("light", "heavy")]
    assert tops[0] > 2.5 * tops[1] > 2.5 * 60


def test_before_and_after_prove_or_disprove_a_filter():
    before = meters.peak(capture("filter_before"))
    after = {place: meters.peak(capture(f"filter_{place}_bus")) for place in ("feed", "snubber", "lc", "straight")}
    assert after["straight"] == pytest.approx(before, rel=0.1), "it filters nothing"
    assert after["lc"] > 0.85 * before, "the bus stays as loud as it was"
    assert meters.peak(capture("filter_lc_thermostat")) < 50 and after["feed"] < 45
    assert after["snubber"] < 0.75 * before


def test_the_shared_conductor_shows_which_calls_are_on():
    """Half-wave of the called polarity, or the whole wave when both call; nothing without a call."""
    means = {call: meters.dc(capture(f"two_calls_{call}").slice(0, 1 / 60)) for call in ("neither", "a", "b", "both")}
    assert abs(means["neither"]) < 0.5 and abs(means["both"]) < 0.5
    assert means["a"] > 8 and means["b"] < -8
    assert meters.true_rms(capture("two_calls_neither")) < 0.5 < 20 < meters.true_rms(capture("two_calls_both"))


def test_a_triac_output_lags_and_leaks():
    on, off = capture("triac_coil_volts"), capture("triac_off_coil_volts")
    assert meters.true_rms(on) > 20 and 0.02 < meters.ac_rms(off) < 2.0
    amps = capture("triac_coil_amps")
    assert 0.05 < meters.true_rms(amps.slice(0, 1 / 60)) < 25.92 / 90
    with pytest.raises(CaptureError, match="values in A"):
        read_capture(DATASETS / CAPTURES["triac_coil_amps"]["path"])


def test_copper_against_the_published_table():
    """NEC chapter 9 table 8 (ohm per 1,000 ft, 75 °C, solid) as transcribed in public; 18 AWG agrees within 0.07 %."""
    published = {18: 7.77, 16: 4.89, 14: 3.07, 12: 1.93, 10: 1.21}
    rows = {int(row["gauge_awg"]): row for row in table("copper_wire")}
    for gauge, ohm in published.items():
        assert float(rows[gauge]["nec_solid_75C"]) == ohm
        assert float(rows[gauge]["ohm_per_1000ft_75C"]) == pytest.approx(ohm, rel=5e-3)
    cold = {
        14: 2.5254,
        16: 4.0156,
        18: 6.3850,
        20: 10.1526,
        22: 16.1432,
        24: 25.6688,
    }  # from the two standards, by hand
    assert {gauge: float(rows[gauge]["ohm_per_1000ft_20C"]) for gauge in cold} == pytest.approx(cold, rel=5e-4)
    assert rows[20]["nec_solid_75C"] == "" == rows[22]["nec_stranded_75C"]


def test_preferred_values_and_limits_are_the_published_ones():
    """IEC 60063; NEC chapter 9 table 11(A) over 20 to 30 V ac; UL 1585."""
    e24 = [
        "1.0",
        "1.1",
        "1.2",
        "1.3",
        "1.5",
        "1.6",
        "1.8",
        "2.0",
        "2.2",
        "2.4",
        "2.7",
        "3.0",
        "3.3",
        "3.6",
        "3.9",
        "4.3",
        "4.7",
        "5.1",
        "5.6",
        "6.2",
        "6.8",
        "7.5",
        "8.2",
        "9.1",
    ]
    values = [(row["series"], row["value"]) for row in table("preferred_values")]
    assert [value for series, value in values if series == "E24"] == e24
    assert [value for series, value in values if series == "E12"] == e24[::2]
    limits = {row["limit"]: (float(row["value"]), row["unit"]) for row in table("class_2_limits")}
    assert limits["inherently limited, largest current"] == (8.0, "A")
    assert limits["not inherently limited, largest output"] == (250.0, "VA")
    assert limits["nameplate"] == (100.0, "VA") and limits["largest secondary"] == (30.0, "V")
    assert all(row["source"] for row in table("class_2_limits"))


def test_meter_factors_are_the_published_ones():
    """Source: table of meter readings, amplitude 1, computed by quadrature; form factor π/(2√2) = 1.11072 published."""
    published = {
        "sine": (0.0, 0.70711, 0.70711, 0.70711, 0.70711, 1.41421),
        "half-wave": (0.31831, 0.5, 0.38559, 0.35355, 0.38969, 2.0),
        "full-wave": (0.63662, 0.70711, 0.30776, 0.70711, 0.29771, 1.41421),
    }
    assert {row.pop("wave"): tuple(map(float, row.values())) for row in table("meter_factors")} == published


def test_a_spoilt_capture_is_noticed():
    """The comparisons above prove nothing if reading never fails."""
    lines = (DATASETS / "captures/half_wave.csv").read_text(encoding="utf-8").split("\n")
    lines[100] = lines[100].replace(",", ",~")
    with pytest.raises(CaptureError, match='line 101 holds "~'):
        read_capture(io.StringIO("\n".join(lines)))
