"""The meters against the published table of meter readings and against quadrature by SciPy."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from halfcycle import instruments as meters
from halfcycle.network import Network
from halfcycle.waveforms import Waveform

# Amplitude 1. Source: table of meter readings, computed by quadrature; the factor π/(2√2) = 1.11072 is the published
# form factor of a sine. Columns: mean, rms, crest, ac-only rms, average-responding dc-coupled, ac-coupled.
TABLE = {
    "sine": (0.0, 0.70711, 1.41421, 0.70711, 0.70711, 0.70711),
    "half-wave": (0.31831, 0.5, 2.0, 0.38559, 0.35355, 0.38969),
    "full-wave": (0.63662, 0.70711, 1.41421, 0.30776, 0.70711, 0.29771),
}
SHAPES = {"sine": lambda v: v, "half-wave": lambda v: np.clip(v, 0, None), "full-wave": np.abs}


def readings(wave):
    return (
        meters.dc(wave),
        meters.true_rms(wave),
        meters.crest_factor(wave),
        meters.ac_rms(wave),
        meters.average_responding(wave, coupled="dc"),
        meters.average_responding(wave, coupled="ac"),
    )


def record(shape, *, scale=1.0, cycles=1, samples_per_cycle=2000):
    sine = Waveform.sine(volts_peak=scale, cycles=cycles, samples_per_cycle=samples_per_cycle)
    return sine.with_values(SHAPES[shape](sine.values))


def quadrature(shape):
    """The six readings from scipy.integrate.quad alone: no samples, no trapezoids."""

    def mean(function):
        return quad(function, 0, 2 * math.pi, points=[math.pi], epsabs=1e-11, limit=400)[0] / (2 * math.pi)

    def wave(x):
        return float(SHAPES[shape](math.sin(x)))

    level, rms = mean(wave), math.sqrt(mean(lambda x: wave(x) ** 2))
    factor = 1 / math.sqrt(2) / (2 / math.pi)
    return (
        level,
        rms,
        1 / rms,
        math.sqrt(mean(lambda x: (wave(x) - level) ** 2)),
        factor * mean(lambda x: abs(wave(x))),
        factor * mean(lambda x: abs(wave(x) - level)),
    )


@pytest.mark.parametrize("shape", TABLE)
def test_the_published_table_of_meter_readings(shape):
    assert readings(record(shape)) == pytest.approx(TABLE[shape], abs=6e-6)


@pytest.mark.parametrize("shape", TABLE)
def test_against_quadrature(shape):
    assert readings(record(shape)) == pytest.approx(quadrature(shape), abs=2e-6)


def test_a_published_meter_table_disagrees_on_one_reading():
    """One published meter table prints 0.764 for the ac-coupled average-responding reading of a half-wave of peak 2.

    The exact mean of |v - mean| is (2 cos a - 1 + 2a/π)/π with sin a = 1/π, which is 0.350845 (a note with the table
    has 0.350836), so the reading is 2 × 1.11072 × 0.350845 = 0.7794. The printed 0.764 is 2 % low.
    """
    reading = meters.average_responding(record("half-wave", scale=2.0), coupled="ac")
    angle = math.asin(1 / math.pi)
    exact = (2 * math.cos(angle) - 1 + 2 * angle / math.pi) / math.pi
    assert exact == pytest.approx(0.350836, abs=1e-5)
    assert reading == pytest.approx(2 * math.pi / math.sqrt(8) * exact, abs=1e-5)
    assert reading == pytest.approx(0.7794, abs=5e-5)
    assert reading == pytest.approx(2 * quadrature("half-wave")[5], abs=1e-5)
    assert abs(reading - 0.764) > 0.015


def test_ac_and_dc_readings_add_as_squares():
    wave = record("half-wave", scale=34.0, cycles=4)
    assert meters.true_rms(wave) == pytest.approx(math.hypot(meters.dc(wave), meters.ac_rms(wave)), rel=1e-12)


@pytest.mark.parametrize("shape", TABLE)
def test_readings_scale_with_the_wave_and_do_not_care_how_many_cycles(shape):
    scales = [7.5, 7.5, 1, 7.5, 7.5, 7.5]
    expected = [scale * reading for scale, reading in zip(scales, readings(record(shape)), strict=True)]
    assert readings(record(shape, scale=7.5, cycles=3)) == pytest.approx(expected, abs=1e-9)


def test_uneven_samples_read_the_same():
    turns = np.union1d(np.linspace(0, 1, 3001), 0.5 + 0.3 * np.linspace(0, 1, 777) ** 3)
    uneven = Waveform(turns / 50, np.clip(np.sin(2 * np.pi * turns), 0, None))
    assert readings(uneven) == pytest.approx(TABLE["half-wave"], abs=6e-6)


def test_a_steady_voltage():
    steady = Waveform([0.0, 0.3, 1.0], [5.0, 5.0, 5.0])
    assert readings(steady)[:4] == pytest.approx((5, 5, 1, 0))
    assert meters.average_responding(steady, coupled="ac") == pytest.approx(0)
    assert meters.peak_to_peak(steady) == 0


def test_a_square_wave_by_jumps_has_crest_factor_one_and_reads_high_by_the_form_factor():
    square = Waveform([0.0, 1.0, 1.0, 2.0], [3.0, 3.0, -3.0, -3.0])
    assert meters.crest_factor(square) == pytest.approx(1)
    assert meters.average_responding(square) == pytest.approx(3 * 1.1107, abs=1e-3)  # published sine form factor


def test_a_line_that_crosses_zero_between_two_samples_is_split_there():
    triangle = Waveform([0.0, 1.0, 3.0, 4.0], [0.0, 2.0, -2.0, 0.0])
    assert meters.average_responding(triangle, coupled="dc") == pytest.approx(meters.SINE_FORM_FACTOR * 1.0)


@pytest.mark.parametrize("hertz", [50.0, 60.0])
@pytest.mark.parametrize("cycles", [1, 2, 7])
@pytest.mark.parametrize("start_degrees", [0.0, 33.0, 180.0, 271.0])
def test_frequency(hertz, cycles, start_degrees):
    wave = Waveform.sine(hertz=hertz, cycles=cycles, start_degrees=start_degrees)
    assert meters.frequency(wave) == pytest.approx(hertz, rel=1e-5)


def test_frequency_of_a_noisy_record():
    wave = Waveform.sine(hertz=60.0, cycles=6, start_degrees=-90)
    noise = 0.03 * np.random.default_rng(3).standard_normal(len(wave))
    assert meters.frequency(wave.with_values(wave.values + noise)) == pytest.approx(60, rel=5e-3)


def test_a_rectified_wave_keeps_or_doubles_the_frequency():
    assert meters.frequency(record("half-wave", cycles=5)) == pytest.approx(60, rel=1e-4)
    assert meters.frequency(record("full-wave", cycles=5)) == pytest.approx(120, rel=1e-4)


@pytest.mark.parametrize(
    ("seconds", "values", "words"),
    [
        ([0.0, 1.0], [1.0], "one value for each time"),
        ([0.0], [1.0], "at least two samples"),
        ([0.0, 1.0], [1.0, math.nan], "missing or infinite"),
        ([0.0, 2.0, 1.0], [1.0, 2.0, 3.0], "run backwards"),
        ([1.0, 1.0], [0.0, 2.0], "no duration"),
        ([[0.0, 1.0]], [[1.0, 2.0]], "not tables"),
    ],
)
def test_a_bad_record_is_refused_in_words(seconds, values, words):
    with pytest.raises(ValueError, match=words):
        Waveform(seconds, values)


def test_readings_that_do_not_exist_are_refused_in_words():
    flat, less = Waveform([0.0, 1.0], [0.0, 0.0]), Waveform.sine(cycles=1).slice(0, 0.4 / 60)
    with pytest.raises(ValueError, match="no crest factor"):
        meters.crest_factor(flat)
    with pytest.raises(ValueError, match="no frequency"):
        meters.frequency(flat)
    with pytest.raises(ValueError, match="less than one whole cycle"):
        meters.frequency(Waveform.sine(start_degrees=-80).slice(0, 0.4 / 60))
    with pytest.raises(ValueError, match='"ac" or "dc"'):
        meters.average_responding(less, coupled="both")


def test_a_waveform_cannot_be_changed_and_keeps_its_own_copy():
    values = np.array([0.0, 1.0])
    wave = Waveform(np.array([0.0, 1.0]), values)
    values[1] = 99.0
    assert wave.values[1] == 1.0
    with pytest.raises(ValueError):
        wave.values[0] = 5.0


def test_a_slice_outside_the_record_says_what_the_record_holds():
    with pytest.raises(ValueError, match="runs from 0 s to"):
        Waveform.sine().slice(0, 1)


@pytest.mark.parametrize(("width_s", "attack_s"), [(2e-6, 250e-6), (100e-6, 250e-6), (1e-3, 250e-6), (2e-6, 1e-6)])
def test_a_slow_peak_hold_sees_the_published_share_of_a_narrow_spike(width_s, attack_s):
    """Charge of a first-order lag in the time w: 1 - exp(-w/τ) of the step (closed form, as for an RC)."""
    spike = Waveform([0.0, 0.1, 0.1, 0.1 + width_s, 0.1 + width_s, 0.2], [0.0, 0.0, 300.0, 300.0, 0.0, 0.0])
    assert meters.peak_hold(spike, attack_s=0.0) == meters.peak(spike) == 300.0
    expected = 300.0 * (1 - math.exp(-width_s / attack_s))
    assert meters.peak_hold(spike, attack_s=attack_s) == pytest.approx(expected, rel=1e-9)


def test_a_slow_peak_hold_reads_the_sine_and_misses_its_spike():
    sine = Waveform.sine(volts_peak=34.0, samples_per_cycle=100_000)
    spiked = sine.with_values(sine.values + 300.0 * (abs(sine.seconds - 4.1667e-3) <= 1e-6))
    assert meters.peak(spiked) == pytest.approx(334, abs=0.1)
    assert meters.peak_hold(spiked) == pytest.approx(34, rel=0.1)
    assert meters.peak_hold(spiked, attack_s=100e-9) > 0.99 * 334
    for attack_s in (250e-6, 1e-3):  # a sine through a first-order lag: 1/√(1 + (ωτ)²) (closed form)
        lagged = 34 / math.hypot(1, 2 * math.pi * 60 * attack_s)
        assert meters.peak_hold(sine, attack_s=attack_s) == pytest.approx(lagged, rel=1e-6)


def test_a_dip_below_zero_is_held_too():
    assert meters.peak_hold(Waveform([0.0, 1.0, 1.0, 2.0, 2.0, 3.0], [0, 0, -7, -7, 0, 0]), attack_s=0.01) > 6.9


@pytest.mark.parametrize("meter_ohm", [1e6, 10e6])
def test_the_input_resistance_of_a_meter_loads_the_circuit(meter_ohm):
    """A snubber's leakage into a meter with nothing else connected: a divider of R + 1/jωC and the meter (closed form).

    A meter is a resistor of the circuit: 10 MΩ or, for many true-rms meters, 1 MΩ (common practice, no source).
    """
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=34.0, hertz=60.0)
    net.resistor("snubber", "line", "snubbed", 100.0)
    net.capacitor("snubber capacitor", "snubbed", "load", 1e-9)
    net.resistor("meter", "load", "common", meter_ohm)
    run = net.steady()
    times = run.times(4000)
    shown = meters.true_rms(Waveform(times - times[0], run.volts("meter", times)))
    divider = meter_ohm / (meter_ohm + 100.0 + 1 / (2j * math.pi * 60.0 * 1e-9))
    assert shown == pytest.approx(34 / math.sqrt(2) * abs(divider), rel=1e-5)
