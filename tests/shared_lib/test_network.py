"""The solver against closed forms: each from circuit theory as any textbook prints it, derived beside the check."""

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from halfcycle.network import (
    Condition,
    CurrentPulses,
    Device,
    Diode,
    Exit,
    ExponentialDiode,
    Law,
    Network,
    SettleError,
    Switch,
)

HERTZ = 60.0
OMEGA = 2 * np.pi * HERTZ


def series(*, dc_volts=0.0, volts_peak=0.0, ohm=0.0, henry=0.0, farad=0.0, **start) -> Network:
    """A source and the parts that are not zero in series; the last one ends on common."""
    net = Network()
    net.voltage_source("source", "n0", "common", dc_volts=dc_volts, volts_peak=volts_peak, hertz=HERTZ)
    wanted = [("resistor", ohm), ("inductor", henry), ("capacitor", farad)]
    wanted = [(kind, value) for kind, value in wanted if value]
    for k, (kind, value) in enumerate(wanted):
        end = "common" if k == len(wanted) - 1 else f"n{k + 1}"
        extra = {"initial_volts": start["initial_volts"]} if kind == "capacitor" and "initial_volts" in start else {}
        getattr(net, kind)(kind, f"n{k}", end, value, **extra)
    return net


class TestFirstOrder:
    times = np.linspace(0, 5e-3, 101)

    def test_rc_step(self):
        run = series(dc_volts=10.0, ohm=1000.0, farad=1e-6).run(5e-3)
        np.testing.assert_allclose(
            run.volts("capacitor", self.times), 10 * (1 - np.exp(-self.times / 1e-3)), atol=1e-12
        )

    def test_rl_step(self):
        run = series(dc_volts=10.0, ohm=50.0, henry=0.05).run(5e-3)
        np.testing.assert_allclose(run.amps("inductor", self.times), 0.2 * (1 - np.exp(-self.times / 1e-3)), atol=1e-13)

    def test_a_charged_capacitor_runs_down_with_nothing_driving_it(self):
        net = Network()
        net.capacitor("capacitor", "top", "common", 1e-6, initial_volts=5.0)
        net.resistor("resistor", "top", "common", 1000.0)
        run = net.run(5e-3)
        np.testing.assert_allclose(run.volts("capacitor", self.times), 5 * np.exp(-self.times / 1e-3), atol=1e-13)
        assert abs(net.steady().volts("capacitor", 0.0)) < 1e-9

    def test_capacitor_on_a_direct_current_climbs_in_a_straight_line(self):
        net = Network()
        net.current_source("supply", "common", "top", dc_amps=0.5)
        net.capacitor("capacitor", "top", "common", 3.0, initial_volts=1.0)
        assert net.run(30.0).volts("capacitor", 30.0) == pytest.approx(6.0, rel=1e-12)
        with pytest.raises(SettleError):
            net.steady()

    def test_inductor_on_a_direct_voltage_climbs_in_a_straight_line(self):
        assert series(dc_volts=2.0, henry=0.5).run(0.1).amps("inductor", 0.1) == pytest.approx(0.4, rel=1e-12)

    def test_sine_into_rc_has_the_phase_and_size_of_its_impedance(self):
        run = series(volts_peak=34.0, ohm=100.0, farad=47e-6).steady()
        times = run.times(200)
        impedance = 100.0 + 1 / (1j * OMEGA * 47e-6)
        expected = (34.0 / impedance * np.exp(1j * OMEGA * times)).imag
        np.testing.assert_allclose(run.amps("resistor", times), expected, atol=1e-12)

    def test_start_phase_shifts_the_source(self):
        run = series(volts_peak=34.0, ohm=100.0).run(1 / HERTZ, start_s=0.25 / HERTZ)
        assert run.volts("resistor", run.begin) == pytest.approx(34.0)

    def test_switch_on_transient_of_an_rl_load_by_phase(self):
        """i = V/|Z|·(sin(ωt+α−φ) − sin(α−φ)·exp(−Rt/L)): none at α = φ, the largest a quarter turn away."""
        ohm, henry = 5.0, 0.05
        angle = np.arctan2(OMEGA * henry, ohm)
        size = 34.0 / np.hypot(ohm, OMEGA * henry)
        for alpha in (0.0, angle, angle - np.pi / 2):
            run = series(volts_peak=34.0, ohm=ohm, henry=henry).run(0.1, start_s=(alpha % (2 * np.pi)) / OMEGA)
            t = np.linspace(0, 0.1, 301)
            expected = size * (np.sin(OMEGA * t + alpha - angle) - np.sin(alpha - angle) * np.exp(-t * ohm / henry))
            np.testing.assert_allclose(run.amps("inductor", run.begin + t), expected, atol=1e-11)


class TestSecondOrder:
    @pytest.mark.parametrize("ohm", [0.5, 20.0, 2000.0])
    def test_step_of_series_rlc(self, ohm):
        """Roots of s² + (R/L)s + 1/(LC): ringing, nearly so, and overdamped."""
        henry, farad = 1e-3, 1e-6
        run = series(dc_volts=1.0, ohm=ohm, henry=henry, farad=farad).run(5e-3)
        t = np.linspace(0, 5e-3, 501)
        s1, s2 = np.roots([1, ohm / henry, 1 / (henry * farad)]).astype(complex)
        expected = 1 + ((s2 * np.exp(s1 * t) - s1 * np.exp(s2 * t)) / (s1 - s2)).real
        np.testing.assert_allclose(run.volts("capacitor", t), expected, atol=1e-11)

    @pytest.mark.parametrize("off_by", [0.0, 1e-15, -1e-12, 1e-9, -1e-6])
    def test_critical_damping_misses_an_eigenvector_and_breaks_nothing(self, off_by):
        run = series(dc_volts=1.0, ohm=2 * (1 + off_by), henry=1.0, farad=1.0).run(20.0)
        t = np.linspace(0, 20, 201)
        np.testing.assert_allclose(run.volts("capacitor", t), 1 - (1 + t) * np.exp(-t), atol=2e-9 + abs(off_by))

    def test_three_equal_poles(self):
        """The ladder behind 1 Ω whose transfer is 1/(s+1)³ = 1/((1 + L2·C3·s²) + ((C1+C3)·s + C1·L2·C3·s³))."""
        net = Network()
        net.voltage_source("source", "in", "common", dc_volts=1.0)
        net.resistor("source resistance", "in", "a", 1.0)
        net.capacitor("C1", "a", "common", 1 / 3)
        net.inductor("L2", "a", "b", 9 / 8)
        net.capacitor("C3", "b", "common", 8 / 3)
        t = np.linspace(0, 20, 101)
        expected = 1 - (1 + t + t**2 / 2) * np.exp(-t)
        np.testing.assert_allclose(net.run(20.0).volts("C3", t), expected, atol=1e-7)

    def test_resonance_lifts_the_voltage_by_the_quality_factor(self):
        henry, ohm = 0.1, 2.0
        farad = 1 / (OMEGA**2 * henry)
        run = series(volts_peak=1.0, ohm=ohm, henry=henry, farad=farad).steady()
        assert np.abs(run.volts("capacitor", run.times(4000))).max() == pytest.approx(OMEGA * henry / ohm, rel=1e-6)

    def test_resonance_without_damping_grows_and_never_settles(self):
        """v = ½(sin ωt − ωt·cos ωt) for LC driven at its own frequency from rest."""
        net = series(volts_peak=1.0, henry=1.0, farad=1 / OMEGA**2)
        t = np.linspace(0, 1, 501)
        expected = 0.5 * (np.sin(OMEGA * t) - OMEGA * t * np.cos(OMEGA * t))
        np.testing.assert_allclose(net.run(1.0).volts("capacitor", t), expected, atol=1e-4)
        with pytest.raises(SettleError, match="own frequency"):
            net.steady()

    def test_inductors_that_alone_hold_a_node_act_as_their_sum(self):
        net = Network()
        net.voltage_source("source", "in", "common", volts_peak=1.0, hertz=HERTZ)
        net.resistor("resistor", "in", "a", 10.0)
        net.inductor("L1", "a", "b", 0.01)
        net.inductor("L2", "b", "common", 0.03)
        one = series(volts_peak=1.0, ohm=10.0, henry=0.04)
        times = net.run(0.05).times(200)
        np.testing.assert_allclose(net.run(0.05).amps("L1", times), one.run(0.05).amps("inductor", times), atol=1e-13)
        np.testing.assert_allclose(net.steady().amps("L2", 0.0), one.steady().amps("inductor", 0.0), atol=1e-13)
        lower, upper = (net.run(0.05).volts(name, times) for name in ("L2", "L1"))
        np.testing.assert_allclose(lower, 3 * upper, atol=1e-13)


class TestSources:
    def test_two_frequencies_add_and_their_common_period_is_found(self):
        net = Network()
        net.voltage_source("a", "top", "middle", volts_peak=10.0, hertz=50.0)
        net.voltage_source("b", "middle", "common", volts_peak=20.0, hertz=60.0, degrees=30.0)
        net.resistor("resistor", "top", "x", 10.0)
        net.inductor("inductor", "x", "common", 0.02)
        assert net.period_s == pytest.approx(0.1)
        run = net.steady()
        times = run.times(500)
        expected = sum(
            (peak * np.exp(1j * phase) / (10 + 2j * np.pi * f * 0.02) * np.exp(2j * np.pi * f * times)).imag
            for peak, f, phase in ((10.0, 50.0, 0.0), (20.0, 60.0, np.pi / 6))
        )
        np.testing.assert_allclose(run.amps("inductor", times), expected, atol=1e-12)
        with pytest.raises(ValueError, match="60 Hz"):
            net.steady(period_s=0.02)

    def test_current_source_drives_ohms_law(self):
        net = Network()
        net.current_source("source", "common", "top", dc_amps=0.1, amps_peak=0.2, hertz=HERTZ, degrees=90.0)
        net.resistor("resistor", "top", "common", 100.0)
        run = net.run(1 / HERTZ)
        assert run.volts("resistor", 0.0) == pytest.approx(30.0)
        assert run.amps("source", 0.0) == pytest.approx(0.3)

    def test_node_voltage_and_kirchhoff(self):
        net = Network()
        net.voltage_source("source", "top", "common", dc_volts=12.0)
        net.resistor("R1", "top", "middle", 100.0)
        net.resistor("R2", "middle", "common", 200.0)
        run = net.run(1.0)
        assert run.node("middle", 0.5) == pytest.approx(8.0)
        assert run.node("common", 0.5) == 0.0
        assert run.amps("source", 0.5) == pytest.approx(-0.04)


class TestDiodes:
    def test_half_wave_into_a_resistor_has_its_exact_conduction_limits(self):
        """Conducts while V·sin θ > drop; mean and rms by quadrature of (V·sin θ − drop)·R/(R+r).

        Exact but for what 1 GΩ leaks: 0.7 nA before the drop is reached, 34 nA at the reverse crest.
        """
        peak, drop, on_ohm, ohm = 34.0, 0.7, 0.05, 200.0
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=peak, hertz=HERTZ)
        net.diode("diode", "line", "load", Diode(drop, on_ohm))
        net.resistor("load", "load", "common", ohm)
        run = net.steady()
        first = np.arcsin(drop / peak)
        (begin, end, _), *_ = [span for span in run.modes("diode") if span[2] == "on"]
        assert (begin * OMEGA, end * OMEGA) == pytest.approx((first, np.pi - first), abs=1e-8)
        limits, share = (first, np.pi - first), ohm / (ohm + on_ohm)
        mean = quad(lambda a: (peak * np.sin(a) - drop) * share, *limits)[0] / (2 * np.pi)
        rms = np.sqrt(quad(lambda a: ((peak * np.sin(a) - drop) * share) ** 2, *limits)[0] / (2 * np.pi))
        assert exact_mean(run, "load") == pytest.approx(mean, rel=1e-6)
        assert exact_mean(run, "load", 2) ** 0.5 == pytest.approx(rms, rel=1e-7)

    def test_full_wave_pays_two_drops(self):
        run = bridge(load_ohm=200.0).steady()
        assert run.volts("load", 0.25 / HERTZ) == pytest.approx((34.0 - 1.4) * 200 / 200.1, rel=1e-9)
        first = np.arcsin(1.4 / 34.0)
        mean = quad(lambda a: (34.0 * np.sin(a) - 1.4) * 200 / 200.1, first, np.pi - first)[0] / np.pi
        assert exact_mean(run, "load") == pytest.approx(mean, rel=1e-6)

    def test_freewheel_diode_carries_the_coil_on(self):
        """With a diode across an RL load its current decays by R/L through the half cycle that the first one blocks."""
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.diode("series", "line", "coil", Diode(0.7, 0.05))
        net.diode("flywheel", "common", "coil", Diode(0.7, 0.05))
        net.resistor("winding", "coil", "inside", 90.0)
        net.inductor("coil", "inside", "common", 0.9)
        run = net.steady()
        t = np.linspace(0.6, 0.9, 31) / HERTZ
        amps = run.amps("coil", t)
        final = -0.7 / 90.05
        expected = final + (amps[0] - final) * np.exp(-(t - t[0]) * 90.05 / 0.9)
        np.testing.assert_allclose(amps, expected, rtol=1e-8)
        assert amps.min() > 0

    def test_reversed_diode_blocks(self):
        net = Network()
        net.voltage_source("source", "line", "common", dc_volts=24.0)
        net.diode("diode", "load", "line", Diode())
        net.resistor("load", "load", "common", 100.0)
        assert net.run(0.1).volts("load", 0.05) == pytest.approx(24e-9 * 100, rel=1e-6)

    def test_diode_straight_across_a_source(self):
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.diode("diode", "line", "common", Diode(0.7, 0.05))
        assert net.steady().amps("diode", 0.25 / HERTZ) == pytest.approx(33.3 / 0.05, rel=1e-9)

    def test_event_at_the_very_start(self):
        """Switched on at the crest into an empty capacitor: the first current is (V − drop) over all resistance."""
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.resistor("winding", "line", "anode", 1.2)
        net.diode("diode", "anode", "load", Diode(0.7, 0.05))
        net.capacitor("capacitor", "load", "common", 470e-6)
        net.resistor("load", "load", "common", 330.0)
        run = net.run(0.1, start_s=0.25 / HERTZ)
        assert run.amps("diode", run.begin) == pytest.approx(33.3 / 1.25, rel=1e-9)

    def test_charged_capacitor_keeps_the_diode_off(self):
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.diode("diode", "line", "load", Diode(0.7, 0.05))
        net.capacitor("capacitor", "load", "common", 470e-6, initial_volts=40.0)
        net.resistor("load", "load", "common", 330.0)
        first_on = next(begin for begin, _, mode in net.run(0.5).modes("diode") if mode == "on")
        tau = 330.0 * 470e-6
        assert 40 * np.exp(-first_on / tau) == pytest.approx(34.0 * np.sin(OMEGA * first_on) - 0.7, rel=1e-5)

    def test_a_graze_between_two_grid_points_is_met(self):
        """A diode that conducts for 5 µs around the crest: the drop lies a hair under the peak (leakage takes 1 %)."""
        drop = 34.0 * np.cos(OMEGA * 2.5e-6)
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.diode("diode", "line", "load", Diode(drop, 0.05))
        net.resistor("load", "load", "common", 10.0)
        (begin, end, _), *more = [span for span in net.run(1 / HERTZ).modes("diode") if span[2] == "on"]
        assert not more
        assert end - begin == pytest.approx(5e-6, rel=0.02)
        assert (begin + end) / 2 == pytest.approx(0.25 / HERTZ, abs=1e-9)

    def test_no_diode_of_a_bridge_is_shown_on_with_leakage_alone(self):
        run = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2).steady()
        for name in ("D1", "D2", "D3", "D4"):
            for begin, end, mode in run.modes(name):
                middle = run.amps(name, (begin + end) / 2)
                assert (middle > 1e-3) if mode == "on" else (abs(middle) < 1e-6)

    def test_eight_diodes_on_one_secondary(self):
        """Two bridges on one ideal secondary do not know of each other."""
        net = bridge(load_ohm=100.0, farad=100e-6, winding_ohm=0.0)
        ends = [("line", "p2"), ("other", "p2"), ("m2", "line"), ("m2", "other")]
        for number, (anode, cathode) in enumerate(ends, start=5):
            net.diode(f"D{number}", anode, cathode, Diode(0.7, 0.05))
        net.resistor("second load", "p2", "m2", 50.0)
        net.capacitor("second capacitor", "p2", "m2", 1000e-6)
        alone = bridge(load_ohm=100.0, farad=100e-6, winding_ohm=0.0).steady()
        times = alone.times(300)
        np.testing.assert_allclose(net.steady().volts("load", times), alone.volts("load", times), atol=1e-4)

    def test_a_diode_on_a_dead_branch_stays_as_it_is(self):
        """No volts, no amps, on the verge of conduction for ever: what switches elsewhere does not switch it too."""
        net = Network()
        net.voltage_source("source", "line", "common", volts_peak=34.0, hertz=HERTZ)
        net.resistor("winding", "line", "in", 1.0)
        net.resistor("load", "in", "common", 100.0)
        net.diode("diode", "in", "far", ExponentialDiode(pieces=8))
        net.resistor("far load", "far", "common", 100.0)
        net.resistor("dead load", "dead", "common", 100.0)
        net.diode("dead diode", "dead", "dead end", ExponentialDiode(pieces=8))
        net.resistor("dead end", "dead end", "common", 100.0)
        run = net.steady()
        assert len(run.modes("diode")) > 10
        assert len(run.modes("dead diode")) == 1
        assert np.abs(run.amps("dead diode", run.times(100))).max() < 1e-15

    def test_exponential_diode_follows_its_law_between_its_chords(self):
        diode = ExponentialDiode()
        for volts in (0.55, 0.7, 0.85):
            net = Network()
            net.voltage_source("source", "line", "common", dc_volts=volts)
            net.diode("diode", "line", "common", diode)
            law = diode.saturation_amps * np.expm1(volts / diode.emission_volts)
            assert net.run(1e-3).amps("diode", 5e-4) == pytest.approx(law, rel=0.06)
        corner_volts, corner_amps = diode.points()[12]
        assert corner_amps == pytest.approx(diode.saturation_amps * np.expm1(corner_volts / diode.emission_volts))


class TestTimetables:
    def test_switch_follows_its_timetable(self):
        net = Network()
        net.voltage_source("source", "line", "common", dc_volts=10.0)
        net.device("switch", "line", "load", Switch(closes=(1e-3, 3e-3), opens=(2e-3,), on_ohm=0.01))
        net.resistor("load", "load", "common", 9.99)
        run = net.run(4e-3)
        assert [mode for _, _, mode in run.modes("switch")] == ["off", "on", "off", "on"]
        np.testing.assert_allclose(
            run.amps("load", np.array([0.5e-3, 1.5e-3, 2.5e-3, 3.5e-3])), [0, 1, 0, 1], atol=1e-7
        )
        assert [begin for begin, _, _ in run.modes("switch")] == pytest.approx([0, 1e-3, 2e-3, 3e-3])

    def test_opening_a_coil_hands_its_current_to_the_diode_across_it(self):
        net = Network()
        net.voltage_source("source", "line", "common", dc_volts=24.0)
        net.device("switch", "line", "coil", Switch(closes=(0.0,), opens=(0.1,), on_ohm=0.01))
        net.resistor("winding", "coil", "inside", 120.0)
        net.inductor("coil", "inside", "common", 0.3)
        net.diode("flywheel", "common", "coil", Diode(0.7, 0.05))
        run = net.run(0.2)
        before, after = run.amps("coil", 0.1 - 1e-9), run.amps("flywheel", 0.1 + 1e-9)
        assert before == pytest.approx(24 / 120.01, rel=1e-9)
        assert after == pytest.approx(before, rel=1e-5)

    def test_current_pulses_draw_their_mean(self):
        net = Network()
        net.voltage_source("source", "line", "common", dc_volts=10.0)
        net.device("pulses", "line", "common", CurrentPulses(amps=2.0, period_s=1e-3, width_s=0.25e-3, delay_s=0.1e-3))
        run = net.run(10e-3)
        on = sum(end - begin for begin, end, mode in run.modes("pulses") if mode == "on")
        assert on == pytest.approx(10 * 0.25e-3, rel=1e-9)
        assert run.amps("pulses", 0.2e-3) == pytest.approx(2.0, rel=1e-6)
        assert abs(run.amps("pulses", 0.05e-3)) < 1e-7

    def test_a_period_of_pulses_that_rounding_blurs_still_closes(self):
        """12 pulses in 1/60 s: no edge falls twice or is lost over a thousand periods."""
        pulses = CurrentPulses(period_s=1 / 720, width_s=300e-6)
        seconds, edges = 0.0, 0
        while seconds < 1000 / 60 - 1e-6:
            seconds, edges = pulses.timetable(seconds)[1], edges + 1
        assert edges == 2 * 12 * 1000


class TestRuns:
    def test_steady_state_is_what_a_long_run_comes_to(self):
        net = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2)
        run, steady = net.run(120 / HERTZ), net.steady()
        times = steady.times(500)
        np.testing.assert_allclose(run.volts("load", times + 119 / HERTZ), steady.volts("load", times), atol=1e-8)
        np.testing.assert_allclose(run.amps("D1", times + 119 / HERTZ), steady.amps("D1", times), atol=1e-6)

    def test_steady_state_is_found_however_slowly_it_would_be_reached(self):
        """0.1 V over twice 10 MΩ and 3 F: a period moves the capacitor by a tenth of a nanovolt towards its 0.05 V."""
        net = series(dc_volts=0.1, ohm=10e6, farad=3.0)
        net.resistor("load", "n1", "common", 10e6)
        assert net.steady().volts("capacitor", 0.0) == pytest.approx(0.05, rel=1e-4)

    def test_sample_is_run(self):
        net = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2)
        run = net.run(3 / HERTZ)
        times, wanted = run.times(999), [("volts", "load"), ("amps", "D1")]
        np.testing.assert_allclose(net.sample(times, wanted), run.quantities(wanted, times), atol=1e-12)

    def test_a_long_walk_keeps_nothing_but_its_samples(self):
        """The peak of memory of 400 periods is that of 40 and the samples: 8 bytes each."""
        peaks = {}
        for cycles in (40, 400):
            net = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2)
            times = np.linspace(0, cycles / HERTZ, 4 * cycles)
            tracemalloc.start()
            net.sample(times, [("volts", "load")])
            peaks[cycles] = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        assert peaks[400] - peaks[40] < 5 * 8 * 4 * 360

    def test_many_instants_are_the_same_as_one_at_a_time_in_any_order(self):
        run = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2).run(2 / HERTZ)
        times = run.times(60)[::-1]
        together = run.volts("load", times)
        np.testing.assert_allclose([float(run.volts("load", t)) for t in times], together, rtol=1e-12)
        assert run.volts("load", times.reshape(1, 61)).shape == (1, 61)

    def test_halving_the_sample_interval_changes_nothing(self):
        run = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2).steady()
        coarse, fine = (run.volts("load", run.times(n)) for n in (250, 500))
        np.testing.assert_array_equal(fine[::2], coarse)

    def test_a_run_goes_on_from_the_state_of_another(self):
        net = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2)
        first, whole = net.run(1 / HERTZ), net.run(2 / HERTZ)
        second = net.run(1 / HERTZ, start_s=1 / HERTZ, state=first.end_state)
        times = second.times(100)
        np.testing.assert_allclose(second.volts("load", times), whole.volts("load", times), atol=1e-9)

    def test_modes_cover_the_run_without_gaps(self):
        spans = bridge(load_ohm=330.0, farad=470e-6, winding_ohm=1.2).run(2 / HERTZ).modes("D1")
        assert spans[0][0] == 0
        assert spans[-1][1] == pytest.approx(2 / HERTZ)
        assert all(left[1] == right[0] and left[2] != right[2] for left, right in pairwise(spans))


class TestImpossible:
    """Each error is a ValueError whose sentence names the part."""

    def build(self, *parts) -> Network:
        net = Network()
        net.voltage_source("source", "top", "common", volts_peak=34.0)
        for kind, *arguments in parts:
            getattr(net, kind)(*arguments)
        return net

    @pytest.mark.parametrize(
        "parts, words",
        [
            ([("resistor", "load", "top", "common", 1.0), ("resistor", "lost", "x", "y", 1.0)], "'x'.*'lost' floats"),
            ([("capacitor", "filter", "top", "common", 1e-6)], "'source' and 'filter'"),
            ([("voltage_source", "second", "top", "common")], "'source' and 'second'"),
            (
                [
                    ("resistor", "series", "top", "a", 1.0),
                    ("capacitor", "first", "a", "common", 1e-6),
                    ("capacitor", "second", "a", "common", 1e-6),
                ],
                "'first' and 'second'",
            ),
            ([("current_source", "sink", "top", "a"), ("current_source", "other", "a", "common")], "'sink', 'other'"),
            (
                [("inductor", "L1", "top", "a", 1.0, 0.5), ("inductor", "L2", "a", "common", 1.0)],
                "'L1' and 'L2' holds a node",
            ),
        ],
        ids=["floating", "capacitor on source", "two sources", "two capacitors", "current cut", "inductors disagree"],
    )
    def test_circuit(self, parts, words):
        with pytest.raises(ValueError, match=words):
            self.build(*parts).run(0.1)

    @pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf"), "12", None])
    @pytest.mark.parametrize("kind", ["resistor", "inductor", "capacitor"])
    def test_value_of_a_part(self, kind, value):
        with pytest.raises(ValueError, match=r"'odd'.*must be a positive number"):
            self.build((kind, "odd", "top", "common", value))

    def test_drive_and_start_must_be_finite(self):
        with pytest.raises(ValueError, match="volts_peak of 'odd'"):
            Network().voltage_source("odd", "top", "common", volts_peak=float("nan"))
        with pytest.raises(ValueError, match="initial_volts of 'odd'"):
            Network().capacitor("odd", "top", "common", 1e-6, initial_volts=float("inf"))

    def test_names_and_nodes(self):
        net = self.build(("resistor", "load", "top", "common", 1.0))
        with pytest.raises(ValueError, match="two parts are called 'load'"):
            net.resistor("load", "top", "common", 1.0)
        with pytest.raises(ValueError, match="both ends of 'loop'"):
            net.resistor("loop", "top", "top", 1.0)
        with pytest.raises(ValueError, match="no part 'coil'; it has 'source', 'load'"):
            net.run(0.1).volts("coil", 0.0)
        with pytest.raises(ValueError, match="no node 'bottom'"):
            net.run(0.1).node("bottom", 0.0)
        with pytest.raises(ValueError, match="no device 'load'"):
            net.run(0.1).modes("load")
        with pytest.raises(ValueError, match="no parts"):
            Network().run(0.1)

    def test_lengths(self):
        net = self.build(("resistor", "load", "top", "common", 1.0))
        with pytest.raises(ValueError, match="positive number"):
            net.run(0.0)
        with pytest.raises(ValueError, match="fill the memory"):
            net.run(1e5)
        with pytest.raises(ValueError, match="50,000,000"):
            net.run(0.1).times(10**9)
        with pytest.raises(ValueError, match="fill the memory"):
            net.sample(np.broadcast_to(0.0, (10**8,)), [("volts", "load")])
        with pytest.raises(ValueError, match="outside"):
            net.run(0.1).volts("load", 0.2)
        with pytest.raises(ValueError, match="must rise"):
            net.sample(np.array([0.1, 0.0]), [("volts", "load")])

    def test_switch_to_a_mode_without_a_law(self):
        flawed = Device(laws={"off": Law(1e-9)}, exits={"off": (Exit("on", (Condition("volts", 1, 0.0),)),)})
        with pytest.raises(ValueError, match="'flawed' leaves mode 'off' for 'on'"):
            Network().device("flawed", "top", "common", flawed)

    def test_a_device_that_contradicts_itself_is_named(self):
        """On only below 1 V, off only above: between a stiff 1 V source's sides it has nowhere to be."""
        buzzer = Device(
            laws={"off": Law(1e-9), "on": Law(10.0)},
            exits={
                "off": (Exit("on", (Condition("volts", +1, 1.0),)),),
                "on": (Exit("off", (Condition("volts", -1, 5.0),)),),
            },
        )
        net = self.build(("resistor", "series", "top", "a", 100.0), ("device", "buzzer", "a", "common", buzzer))
        with pytest.raises(SettleError, match="buzzer"):
            net.run(1 / HERTZ)

    @pytest.mark.parametrize("bad", [{"drop_volts": -0.1}, {"drop_volts": float("nan")}, {"on_ohm": 0.0}])
    def test_diode(self, bad):
        with pytest.raises(ValueError, match="of a diode"):
            Diode(**bad)


def bridge(*, load_ohm: float, farad: float = 0.0, winding_ohm: float = 0.0) -> Network:
    net = Network()
    net.voltage_source("source", "inside" if winding_ohm else "line", "other", volts_peak=34.0, hertz=HERTZ)
    if winding_ohm:
        net.resistor("winding", "inside", "line", winding_ohm)
    ends = [("line", "plus"), ("other", "plus"), ("common", "line"), ("common", "other")]
    for number, (anode, cathode) in enumerate(ends, start=1):
        net.diode(f"D{number}", anode, cathode, Diode(0.7, 0.05))
    net.resistor("load", "plus", "common", load_ohm)
    if farad:
        net.capacitor("capacitor", "plus", "common", farad)
    return net


def exact_mean(run, part: str, power: int = 1) -> float:
    """Mean of volts**power by Gauss–Legendre within each piece, where the solution is smooth."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    total = 0.0
    for piece in run.pieces:
        half = (piece.end - piece.begin) / 2
        values = run.volts(part, piece.begin + half * (1 + nodes))
        total += half * weights @ values**power
    return total / (run.end - run.begin)


def test_a_network_that_never_switches_is_idle_in_its_steady_state():
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=34.0, dc_volts=1.0)
    net.resistor("winding", "line", "coil", 5.0)
    net.inductor("leakage", "coil", "bus", 1e-3)
    net.capacitor("filter", "bus", "common", 1e-6)
    net.resistor("load", "bus", "common", 1000.0)
    times = net.steady().times(100)
    wanted = [("volts", "load"), ("amps", "leakage")]
    np.testing.assert_allclose(
        net.idle().quantities(wanted, times), net.steady().quantities(wanted, times), rtol=0, atol=1e-9
    )
