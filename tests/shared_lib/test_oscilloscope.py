"""The scope and its lag against closed forms: first-order low-pass, quantisation error, the law of the noise."""

import hashlib
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from halfcycle import Oscilloscope, Waveform
from halfcycle.lag import Lag
from halfcycle.pulses import pulses

IDEAL = Oscilloscope(bandwidth_hertz=1e9, bits=24, noise_volts_rms=0.0, offset_volts=0.0, pre_trigger_s=0.0)


def scope(**settings):
    return Oscilloscope(**{name: getattr(IDEAL, name) for name in IDEAL.__dataclass_fields__} | settings)


@pytest.mark.parametrize(("ratio", "decibel"), [(1.0, -3.0103), (0.1, -0.0432), (10.0, -20.0432)])
def test_a_sine_at_the_bandwidth_is_down_by_three_decibels(ratio, decibel):
    """First-order low-pass: 1/√(1 + (f/fb)²), -10·log10(2) = -3.0103 dB at fb (closed form)."""
    hertz = 1e6
    sine = Waveform.sine(volts_peak=30.0, hertz=hertz)
    seen = scope(bandwidth_hertz=hertz / ratio, sample_hertz=500 * hertz).capture(sine, 1)
    assert 20 * math.log10(np.ptp(seen.values) / 60) == pytest.approx(decibel, abs=2e-3)


def test_a_step_rises_from_ten_to_ninety_percent_in_a_third_of_the_bandwidth():
    """Transition duration (IEEE 181) of a first-order low-pass: ln 9/(2π·fb) = 0.350/fb (closed form)."""
    step = Waveform([0.0, 1e-3, 1e-3, 2e-3], [0.0, 0.0, 10.0, 10.0])
    seen = scope(bandwidth_hertz=1e5, sample_hertz=1e8, trigger_volts=5.0, pre_trigger_s=1e-5, record_s=5e-5).capture(
        step, 1, repeats=False
    )
    first, last = (float(np.interp(level, seen.values, seen.seconds)) for level in (1.0, 9.0))
    assert last - first == pytest.approx(math.log(9) / (2 * math.pi * 1e5), rel=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(-9, 9)), min_size=2, max_size=6), st.floats(0.05, 3.0))
def test_the_lag_solves_its_equation(pieces, tau):
    """Against SciPy's Runge–Kutta, piece by piece, on an uneven wave that does not repeat."""
    seconds = np.cumsum([0.0] + [step for step, _ in pieces])
    wave = Waveform(seconds, [1.0] + [value for _, value in pieces])
    level, ends = 1.0, [1.0]
    for begin, end in pairwise(seconds):
        solved = solve_ivp(
            lambda t, y: (np.interp(t, wave.seconds, wave.values) - y) / tau,
            (begin, end),
            [level],
            rtol=1e-9,
            atol=1e-10,
        )
        level = solved.y[0, -1]
        ends.append(level)
    lag = Lag(wave, tau, repeats=False)
    assert lag.samples == pytest.approx(ends, abs=1e-6)
    assert lag.at(seconds) == pytest.approx(ends, abs=1e-6)
    after = seconds[-1] + tau
    assert lag.at([after])[0] == pytest.approx(wave.values[-1] + (level - wave.values[-1]) / math.e, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-9, 9), min_size=3, max_size=40), st.floats(0.01, 30.0))
def test_a_repeated_wave_is_in_its_periodic_state(values, tau):
    """The other road: many periods one after the other, from rest, until nothing of the beginning is left."""
    wave = Waveform(np.arange(len(values)), values)
    periods = 2 + math.ceil(25 * tau / wave.duration_s)
    jumps = np.concatenate([wave.seconds + k * wave.duration_s for k in range(periods)])
    chained = Lag(Waveform(jumps, np.tile(values, periods)), tau, repeats=False).samples[-len(values) :]
    assert Lag(wave, tau).samples == pytest.approx(chained, abs=1e-8)
    assert Lag(wave, tau).at([-0.25])[0] == pytest.approx(Lag(wave, tau).at([wave.duration_s - 0.25])[0])


def test_a_wave_may_begin_at_any_time():
    sine = Waveform.sine(volts_peak=34.0)
    later = Waveform(sine.seconds + 0.123, sine.values)
    first, other = (scope(sample_hertz=1e4).capture(wave, 1) for wave in (sine, later))
    assert other.values == pytest.approx(first.values, abs=1e-5)


def test_an_eight_bit_screen_has_256_steps_and_clips_at_its_edges():
    """Step = full scale/256, so ±40 V run from -40 V to 40 V less one step (two's complement)."""
    seen = scope(bits=8).capture(Waveform.sine(volts_peak=60.0), 1)
    assert scope(bits=8).step_volts == 80 / 256
    assert (seen.values.min(), seen.values.max()) == (-40.0, 40.0 - 80 / 256)
    assert set((seen.values / (80 / 256)).tolist()) == set(range(-128, 128))


def test_the_error_of_quantisation_is_the_published_one():
    """Rms of quantisation error q/√12 (uniform error within one step; the usual formula, IEEE 1241)."""
    sine = Waveform.sine(volts_peak=39.0, samples_per_cycle=20_000)
    coarse, fine = (scope(bits=bits, sample_hertz=3.1e6).capture(sine, 1) for bits in (8, 24))
    error = coarse.values - fine.values
    assert np.sqrt(np.mean(error**2)) == pytest.approx(80 / 256 / math.sqrt(12), rel=0.01)
    assert abs(error).max() <= 80 / 256 / 2 + 1e-5


def test_noise_and_offset_are_what_the_settings_say():
    """Rms and kurtosis of the noise; a sum of twelve uniform numbers has excess kurtosis -1.2/12 = -0.1 (closed form)."""
    flat = Waveform([0.0, 1.0], [0.0, 0.0])
    noisy = scope(noise_volts_rms=0.5, offset_volts=0.2, trigger_volts=None, sample_hertz=4e5).capture(flat, "a").values
    assert noisy.mean() == pytest.approx(0.2, abs=4 * 0.5 / math.sqrt(4e5))
    assert noisy.std() == pytest.approx(0.5, rel=4 / math.sqrt(2 * 4e5))
    assert np.mean(((noisy - 0.2) / 0.5) ** 4) == pytest.approx(2.9, abs=0.06)
    assert abs(np.corrcoef(noisy[:-1], noisy[1:])[0, 1]) < 4 / math.sqrt(4e5)


def test_the_same_seed_gives_the_same_record_and_another_seed_another():
    sine = Waveform.sine(volts_peak=34.0)
    first, again, other = (Oscilloscope(sample_hertz=1e5).capture(sine, seed) for seed in ("A", "A", "B"))
    assert np.array_equal(first.values, again.values)
    assert not np.array_equal(first.values, other.values)


def test_the_noise_is_the_same_on_every_computer():
    """By hand from the definition: the raw words of PCG64 as Python integers, in 16-bit pieces, twelve to a sample."""
    words = np.random.PCG64(int.from_bytes(hashlib.sha256(b"oscilloscope|7").digest(), "big")).random_raw(9).tolist()
    pieces = [word >> shift & 0xFFFF for word in words for shift in (0, 16, 32, 48)]
    expected = [(sum(pieces[k : k + 12]) - 6 * 65535) / 65536 for k in (0, 12, 24)]
    flat = Waveform([0.0, 2.0], [0.0, 0.0])
    seen = scope(noise_volts_rms=1.0, trigger_volts=None, sample_hertz=1.0).capture(flat, 7)
    assert seen.values == pytest.approx(expected, abs=1e-5)
    assert words[0] == 3200552510181327984  # the stream itself must not move with a new version of NumPy


@pytest.mark.parametrize(("slope", "degrees"), [("rise", 30.0), ("fall", 150.0)])
def test_time_is_zero_where_the_wave_passes_the_trigger(slope, degrees):
    """sin 30° = sin 150° = 1/2."""
    sine = Waveform.sine(volts_peak=34.0, start_degrees=77.0)
    seen = scope(trigger_volts=17.0, trigger_slope=slope, pre_trigger_s=2e-3).capture(sine, 1)
    assert seen.seconds[0] == -2e-3 and 0.0 in seen.seconds
    assert seen.duration_s == pytest.approx(1 / 60, abs=1e-6)
    expected = 34 * np.sin(2 * np.pi * 60 * seen.seconds + math.radians(degrees))
    assert seen.values == pytest.approx(expected, abs=2e-3)


def test_a_record_longer_than_the_wave_goes_on_with_the_next_period():
    sine = Waveform.sine(volts_peak=34.0)
    seen = scope(record_s=0.1, pre_trigger_s=0.04, sample_hertz=1e4).capture(sine, 1)
    assert len(seen) == 1001 and seen.seconds[0] == -0.04
    assert seen.values == pytest.approx(34 * np.sin(2 * np.pi * 60 * seen.seconds), abs=2e-3)


def test_a_switch_on_holds_its_ends():
    ramp = Waveform([0.0, 1.0], [0.0, 10.0])
    seen = scope(trigger_volts=5.0, pre_trigger_s=1.0, record_s=2.0, sample_hertz=10.0).capture(ramp, 1, repeats=False)
    assert seen.values == pytest.approx(np.clip(5 + 10 * seen.seconds, 0, 10), abs=1e-4)


def test_a_record_may_begin_after_the_trigger():
    sine = Waveform.sine(volts_peak=34.0)
    seen = scope(pre_trigger_s=-4e-3, record_s=1e-3, sample_hertz=1e5).capture(sine, 1)
    assert (seen.seconds[0], seen.seconds[-1]) == (4e-3, 5e-3)
    assert seen.values == pytest.approx(34 * np.sin(2 * np.pi * 60 * seen.seconds), abs=2e-3)


@pytest.mark.parametrize(("sample_hertz", "seen"), [(1e7, True), (1e4, False)])
def test_a_spike_of_two_microseconds_is_missed_at_a_coarse_sample_interval(sample_hertz, seen):
    sine = Waveform.sine(volts_peak=34.0, samples_per_cycle=100_000)
    at = 4.1637e-3
    spiked = sine.with_values(sine.values + 80.0 * (abs(sine.seconds - at) <= 1e-6))
    record = Oscilloscope(sample_hertz=sample_hertz, full_scale_volts=320.0, noise_volts_rms=0.3).capture(spiked, 5)
    assert pulses(record, threshold_volts=15.0).count == int(seen)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"sample_hertz": 0.0}, "sample_hertz of a scope must be a positive number"),
        ({"bandwidth_hertz": -1.0}, "bandwidth_hertz of a scope"),
        ({"record_s": math.nan}, "record_s of a scope"),
        ({"noise_volts_rms": -0.1}, "noise_volts_rms of a scope must be zero or more"),
        ({"pre_trigger_s": math.inf}, "pre_trigger_s of a scope"),
        ({"offset_volts": math.nan}, "offset_volts of a scope"),
        ({"trigger_volts": math.inf}, "trigger_volts of a scope"),
        ({"bits": 8.5}, "whole number from 1 to 24"),
        ({"trigger_slope": "up"}, '"rise" or "fall"'),
    ],
)
def test_a_setting_out_of_range_is_named(settings, words):
    with pytest.raises(ValueError, match=words):
        Oscilloscope(**settings)


def test_a_capture_that_cannot_be_is_refused_in_words():
    sine = Waveform.sine(volts_peak=34.0)
    with pytest.raises(
        ValueError, match=r"never triggers: the wave does not rise through 50 V; it runs from -34 to 34 V"
    ):
        Oscilloscope(trigger_volts=50.0).capture(sine, 1)
    with pytest.raises(ValueError, match="10,000,000 samples"):
        Oscilloscope(sample_hertz=1e9, record_s=1.0).capture(sine, 1)
    with pytest.raises(ValueError, match="time constant of a lag"):
        Lag(sine, -1.0)
