"""Pulses of known height, width and rate on a sine, clean and as a scope records them (terms of IEEE 181)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfcycle import Oscilloscope, Supply, Waveform, spike_bus
from halfcycle.pulses import pulses

US = 1e-6


def bus(*, at=(), heights=(), widths=(), rise_s=0.0, cycles=1, samples_per_cycle=50_000, volts_peak=34.0):
    """A sine with trapezoidal pulses whose 50 % instants lie `widths` apart around the instants `at`."""
    sine = Waveform.sine(volts_peak=volts_peak, cycles=cycles, samples_per_cycle=samples_per_cycle)
    values = sine.values.copy()
    for instant, height, width in zip(at, heights, widths, strict=True):
        corners = instant + np.array([-width - rise_s, -width + rise_s, width - rise_s, width + rise_s]) / 2
        values += height * np.interp(sine.seconds, corners, [0, 1, 1, 0])
    return sine, sine.with_values(values)


AT, HEIGHTS, WIDTHS = (2e-3, 4.5e-3, 9e-3, 13e-3), (60.0, -25.0, 140.0, -12.0), (20 * US, 80 * US, 10 * US, 200 * US)


@pytest.mark.parametrize("known", [True, False], ids=["undisturbed wave known", "sine fitted"])
def test_height_width_and_rate_of_known_pulses(known):
    sine, wave = bus(at=AT, heights=HEIGHTS, widths=WIDTHS, rise_s=4 * US)
    found = pulses(wave, sine if known else None, threshold_volts=5.0)
    assert found.heights == pytest.approx(HEIGHTS, abs=0.01)
    assert found.widths == pytest.approx(WIDTHS, abs=0.1 * US)
    assert (abs(found.seconds - AT) <= np.array(WIDTHS) / 2).all()
    assert (found.count, found.rate_hertz) == (4, pytest.approx(4 * 60.0))
    assert (found.spikes.heights > 0).all() and (found.dips.heights < 0).all()
    assert (found.spikes.count, found.dips.count, found.dips.rate_hertz) == (2, 2, pytest.approx(120.0))


def test_width_of_a_triangle_and_of_an_exponential_fall():
    """Closed forms: a triangle is at half height over half of its base; exp(-t/τ) falls to one half in τ·ln 2."""
    seconds = np.linspace(0, 1e-2, 100_001)
    base = Waveform(seconds, np.zeros_like(seconds))
    triangle = base.with_values(np.interp(seconds, [1e-3, 1.5e-3, 2e-3], [0, 50, 0]))
    assert pulses(triangle, base, threshold_volts=5.0).widths == pytest.approx([0.5e-3])
    fall = base.with_values(np.where(seconds >= 1e-3, 80 * np.exp(-(seconds - 1e-3) / 50e-6), 0))
    assert pulses(fall, base, threshold_volts=5.0).widths == pytest.approx([50e-6 * np.log(2)], abs=0.1 * US)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 14), st.sampled_from([-60.0, -30.0, 30.0, 100.0]), st.integers(20, 300)), max_size=6,
             unique_by=lambda pulse: pulse[0]),
    st.floats(0, 360), st.integers(0, 10**6),
)  # fmt: skip
def test_a_noisy_capture_shows_each_pulse_once(planned, degrees, seed):
    """As an 8-bit scope records them: none is missed, split or made up; the height within noise and two steps."""
    planned = sorted(planned)
    at, heights = [place * 1e-3 for place, _, _ in planned], [height for _, height, _ in planned]
    _, wave = bus(at=at, heights=heights, widths=[width * US for *_, width in planned], rise_s=4 * US)
    scope = Oscilloscope(
        full_scale_volts=320.0, noise_volts_rms=0.6, offset_volts=0.8, trigger_volts=None, pre_trigger_s=0
    )
    found = pulses(scope.capture(wave, seed), threshold_volts=10.0)
    assert found.count == len(planned)
    assert found.heights == pytest.approx(heights, abs=6 * 0.6 + 2 * scope.step_volts)
    assert found.widths == pytest.approx([width * US for *_, width in planned], abs=3 * US)


def test_noise_on_a_slow_flank_does_not_make_two_pulses_of_one():
    seconds = np.linspace(0, 1e-2, 10_001)
    base = Waveform(seconds, np.zeros_like(seconds))
    slow = base.with_values(np.interp(seconds, [1e-3, 5e-3, 9e-3], [0, 30, 0]))
    noisy = Oscilloscope(trigger_volts=None, noise_volts_rms=0.8, pre_trigger_s=0.0).capture(slow, 4, repeats=False)
    assert pulses(noisy, base, threshold_volts=10.0).count == 1


def test_noise_alone_is_no_pulse():
    sine, wave = bus(cycles=6, samples_per_cycle=16_667)
    noisy = Oscilloscope(noise_volts_rms=0.5, pre_trigger_s=0.0).capture(wave, 9)
    assert pulses(noisy, threshold_volts=4.0).count == 0
    assert pulses(noisy, sine, threshold_volts=4.0).rate_hertz == 0.0


def test_an_undisturbed_period_serves_a_longer_record_from_before_its_own_beginning():
    sine, _ = bus()
    _, wave = bus(at=(20e-3, 45e-3), heights=(50.0, 50.0), widths=(20 * US, 20 * US), cycles=3)
    early = Waveform(wave.seconds - 1 / 60, wave.values)
    shifted = Waveform.sine(volts_peak=34.0, start_degrees=90.0, samples_per_cycle=50_000)
    for undisturbed in (sine, Waveform(shifted.seconds + 1.25 / 60, shifted.values)):
        found = pulses(early, undisturbed, threshold_volts=5.0)
        assert found.heights == pytest.approx([50.0, 50.0], abs=0.01)


def test_a_pulse_that_the_record_cuts_off_is_measured_as_far_as_it_is_seen():
    sine, wave = bus(at=(0.0,), heights=(50.0,), widths=(100 * US,))
    assert pulses(wave, sine, threshold_volts=5.0).widths == pytest.approx([50 * US], abs=0.5 * US)


def test_a_supply_of_fifty_hertz_needs_to_be_said():
    sine = Waveform.sine(volts_peak=34.0, hertz=50.0)
    assert pulses(sine, threshold_volts=1.0, hertz=50.0).count == 0
    assert pulses(sine, threshold_volts=1.0).count > 0


@pytest.mark.parametrize("load_ohm", [200.0, 30.0])
def test_spikes_of_the_solved_bus_agree_with_its_exact_solution(load_ohm):
    """The other road: `spike_volts` is taken from the exact solution, close after each opening of the switch."""
    solved = spike_bus(
        Supply(26.0, resistance_ohm=1.0, leakage_henry=0.3e-3), bus_load_ohm=load_ohm, samples_per_cycle=200_000
    )
    found = pulses(solved.bus_volts, threshold_volts=4.0)
    assert found.heights.max() == pytest.approx(solved.spike_volts, rel=0.02)
    assert found.dips.count > 0 and abs(found.dips.heights).max() < found.heights.max() / 2


@pytest.mark.parametrize("name", ["threshold_volts", "hertz"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_threshold_that_cannot_be_is_named(name, value):
    with pytest.raises(ValueError, match=f"{name} must be a positive number"):
        pulses(Waveform.sine(), **{"threshold_volts": 1.0, name: value})
