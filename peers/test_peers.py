#!/usr/bin/env python3
"""Checks of the peers themselves: tables, closed forms and a comparison that must fail.

    python peers/test_peers.py [-v]
"""

import copy
import sys
from math import pi, sqrt

import numpy as np

import chainfile
import circuits
import compare_budget
import physics
import quantity
import thermocouple
from agree import Agreement
from nodal import Nodal

# NIST SRD 60 (= IEC 60584-1) tables, mV, printed to 0.001 mV.
TABLE = [("K", -200, -5.891), ("K", 25, 1.000), ("K", 100, 4.096), ("K", 400, 16.397), ("K", 1000, 41.276),
         ("N", -200, -3.990), ("N", 25, 0.659), ("N", 100, 2.774), ("N", 600, 20.613), ("N", 1000, 36.256),
         ("N", 1100, 40.087), ("T", -80, -2.788), ("T", 100, 4.279), ("R", 1000, 10.506), ("R", 1500, 17.451)]  # fmt: skip

KILN = {"R1": "4.99 kΩ", "R3": "10 kΩ", "R4": "10 MΩ", "RG": "1 kΩ", "R5": "90.9 kΩ", "R6": "10 kΩ", "R7": "100 kΩ",
        "R8": "100 kΩ", "R9": "1 kΩ", "C1": "100 nF", "C2": "10 nF", "C4": "1 µF", "C5": "1 µF", "C6": "0.47 µF",
        "C7": "10 nF"}  # fmt: skip
BENCH = {"R1": "10 kΩ", "R3": "240 kΩ", "R4": "1 kΩ", "R5": "24 kΩ", "R6": "100 Ω", "R7": "100 MΩ", "R8": "10 kΩ",
         "C1": "1 µF", "C2": "100 pF", "C3": "1 µF", "C4": "1 µF"}  # fmt: skip


def check_tables(a):
    for letter, celsius, millivolts in TABLE:
        found = 1e3 * float(thermocouple.emf(letter, celsius))
        a.near(f"{letter} at {celsius} °C, mV", found, millivolts, 0.5e-3 + 1e-9, group="tables")
    for letter, low, high in (("K", -150.0, 1300.0), ("N", -150.0, 1280.0), ("T", -150.0, 380.0)):
        start = thermocouple.inverse_start(letter, low, high)
        t = np.linspace(low + 1, high - 1, 301)
        back = thermocouple.temperature(letter, thermocouple.emf(letter, t), start)
        a.near(f"{letter} there and back, K", float(np.max(np.abs(back - t))), 0.0, 2e-9, group="inverse")
        by_root = thermocouple.temperature_brentq(letter, float(thermocouple.emf(letter, t[150])), low, high)
        a.near(f"{letter} by brentq, °C", by_root, t[150], 1e-9, group="inverse")
        step = 1e-3
        numeric = (thermocouple.emf(letter, t + step) - thermocouple.emf(letter, t - step)) / (2 * step)
        off = float(np.max(np.abs(numeric - thermocouple.slope(letter, t))))
        a.near(f"{letter} slope, V/K", off, 0.0, 2e-10, group="inverse")


def check_quantities(a):
    for text, number in [("4k7", 4700), ("2.5 V", 2.5), ("10 MΩ", 1e7), ("100 nF", 1e-7), ("0.47 µF", 0.47e-6),
                         ("120 dB", 1e6), ("50 ppm/K", 5e-5), ("40 nV/√Hz", 4e-8), ("±0.3 K", 0.3), ("1 kHz", 1e3),
                         ("-0.1 V", -0.1), ("AWG 20", 0.8118e-3), ("0.5 mm", 5e-4), ("5 mK/K", 5e-3),
                         ("100 µV/V", 1e-4), ("10 000 Ω", 1e4), ("0.1 %", 1e-3), ("4 m", 4.0)]:  # fmt: skip
        a.near(text, quantity.value(text), number, 1e-4 * abs(number), group="quantities")
    volts, share = quantity.toleranced("2.5 V ± 0.2 %")
    a.near("2.5 V ± 0.2 %", volts * share, 0.005, 1e-12, group="quantities")
    for bad in ("4 parsecs", "K", ""):
        try:
            quantity.value(bad)
            a.true(f"{bad!r} must be refused", False)
        except quantity.NotAQuantity:
            a.true(bad, True)


def check_nodal(a):
    """Divider, non-inverting amplifier with finite gain and common-mode error, one pole: closed forms."""
    net = Nodal(["x"], {"in": [3.0]}, 1, 1)
    net.admittance("in", "x", 1 / 1e3)
    net.admittance("x", "gnd", 1 / 2e3)
    a.near("divider, V", net.of(net.solve(), "x")[0, 0], 2.0, 1e-12, group="nodal")
    big, inverse, offset = 2e4, 1e-4, 3e-4
    net = Nodal(["fb", "out"], {"in": [0.01]}, 1, 1)
    circuits.amplifier_row(net, ("in", "fb", "out"), False, None, [offset], 1 / big, inverse, [0.0])
    net.admittance("out", "fb", 1 / 99e3)
    net.admittance("fb", "gnd", 1 / 1e3)
    beta = 0.01
    # v₊(1 + 1/2C) − βv(1 − 1/2C) + offset = v/A
    expected = (0.01 * (1 + inverse / 2) + offset) / (beta * (1 - inverse / 2) + 1 / big)
    a.near("non-inverting amplifier, V", net.of(net.solve(), "out")[0, 0], expected, 1e-9, group="nodal")
    net = Nodal(["x"], {"in": [1.0]}, 1, 1, complex)
    net.admittance("in", "x", 1 / 1e3)
    net.admittance("x", "gnd", 2j * pi * 159.1549430918953 * 1e-6)
    a.near("one pole at its corner", abs(net.of(net.solve(), "x")[0, 0]), 1 / sqrt(2), 1e-12, group="nodal")


def check_kiln(a, peer):
    c, v = peer.chain, peer.chain.values
    gain = 1 + c.amplifier.gain_constant / v["RG"]
    load = c.input_ohms / (c.input_ohms + v["R9"])
    # The pull-up's R4 and the loop divide the thermocouple's voltage, in 10 MΩ against 13 Ω: 1.3e-6.
    a.near("kiln gain", peer.b, gain * load, 3e-6 * gain, group="closed forms")
    # The pull-up's current flows through the loop and lifts the positive input.
    pedestal = c.reference[0] * v["R6"] / (v["R5"] + v["R6"])
    pull = (c.supply[0] - pedestal) / (v["R4"] + v["R3"] + c.loop_ohms)
    expected = (pedestal + gain * pull * c.loop_ohms) * load
    a.near("kiln offset, V", peer.a, expected, 2e-6, group="closed forms")
    # kT/C: R9 and C7 alone would make √(kT/C); amplifiers silenced, everything else far below.
    quiet = copy.deepcopy(c)
    for f in (quiet.amplifier, quiet.buffer):
        f.noise = f.current_noise = 0.0
    quiet.samples = 1
    for name in ("C5", "C6"):
        quiet.values[name] = 1.0
    silent = physics.Peer(quiet)
    high = physics.NOISE_BAND[1]
    inside = 2 / pi * np.arctan(2 * pi * high * v["R9"] * v["C7"])
    ktc = sqrt(physics.BOLTZMANN * (273.15 + c.board[1]) / v["C7"] * inside)
    a.near("kT/C noise, V", silent.noise, ktc, 0.01 * ktc, group="closed forms")
    a.near("mean of one period at its null", float(peer.digital(np.array([50.0]))[0]), 0.0, 1e-12, group="closed forms")
    x = 0.99 * pi  # the lower side is the worse one; 20 samples are not quite the continuous mean
    a.near("mean 1 % below it", peer.mains["digital"], abs(np.sin(x) / x), 1e-4, group="closed forms")
    hot, board = np.array([650.0]), np.array([40.0])
    ideal = peer.readings({}, 1, hot, board)[0, 0, 0, 0]
    a.near("ideal board reads the truth, °C", ideal, 650.0, 1e-3, group="closed forms")
    # One kelvin wrong at the terminals is S(board)/S(hot) kelvin in the reading.
    one = peer.readings({"junction.accuracy": np.array([0.01])}, 1, hot, board)[0, 0, 0, 0] - ideal
    ratio = thermocouple.slope("N", 40.0) / thermocouple.slope("N", 650.0)
    a.near("S(board)/S(hot)", one / 0.01, float(ratio), 1e-4, group="closed forms")
    # After two exact points a board with a wrong gain and offset reads right at both.
    wrong = {"RG.tolerance": np.array([0.01]), "A1.offset": np.array([1e-4])}
    at = np.array(c.plan_at)
    trimmed = peer.readings(wrong, 1, at, np.array([c.plan_board]))[2, 0, :, 0]
    a.near("two points", float(np.max(np.abs(trimmed - at))), 0.0, 1e-6, group="closed forms")


def check_resistive_sensors(a):
    """IEC 60751: 138.51 Ω at 100 °C, 60.26 Ω at −100 °C, 0.385 Ω/K; and there and back with no error anywhere."""
    chain = chainfile.load("examples/burnout-kiln.toml", KILN)
    chain.resistor_limits.tempco = 0.0
    for element in ("thermistor", "platinum"):
        chain.element, chain.divider, chain.divider_tolerance = element, 100.0, 0.001
        chain.platinum_class, chain.r25, chain.beta = (0.15, 0.002), 10e3, 3950.0
        chain.r25_tolerance = chain.beta_tolerance = 0.01
        peer = physics.Peer(chain)
        t = np.array([-40.0, 0.0, 25.0, 85.0])
        back = peer._resistive_sensor(t, 0.0, lambda id: 0.0)
        a.near(f"{element} there and back, K", float(np.max(np.abs(back - t))), 0.0, 1e-9, group="sensors")
    for celsius, ohms in ((100.0, 138.51), (-100.0, 60.26), (25.0, 109.73)):
        # An arm that is 1/ohms too large makes the resistor look 1 Ω too small.
        larger = {"junction.divider": 1 / ohms}
        one_ohm = peer._resistive_sensor(np.array([celsius]), 0.0, lambda id: larger.get(id, 0.0))
        slope = 0.39083 - 2 * 5.775e-5 * celsius + (-4.183e-10 * (4 * celsius - 300) * celsius**2 if celsius < 0 else 0)
        a.near(f"1 Ω at {celsius} °C, K", celsius - one_ohm[0], 1 / slope, 0.02 / slope, group="sensors")


def check_bench(a, peer):
    c, v = peer.chain, peer.chain.values
    load = c.input_ohms / (c.input_ohms + v["R8"])
    gain = (1 + v["R3"] / v["R4"]) * load
    a.near("bench gain", peer.b, gain, 5e-4 * gain, group="closed forms")
    # The divider of the compensation: 10 mV/K, less its output resistance and R5 over R6.
    slope = c.sensor_slope * v["R6"] / (v["R5"] + v["R6"] + c.sensor_ohms)
    low, high = (peer._board(t, peer.mean, 1)[0][0] for t in (20.0, 30.0))
    a.near("compensation, V/K", (high - low) / 10 / peer.b, slope, 1e-3 * slope, group="closed forms")


def check_digital_filter(a):
    """White noise through the mean: the variance of the mean of n is 1/n of one."""
    rng = np.random.default_rng(7)
    x = rng.standard_normal((200_000, 20)).mean(axis=1)
    a.near("mean of 20", x.var(), 1 / 20, 4 * sqrt(2 / 200_000) / 20, group="closed forms")


def check_comparison_can_fail(a, peer):
    """A budget agrees with itself, and with one changed number it does not."""
    import budget

    document = budget.run(peer, 400, 1)
    a.true("a budget agrees with itself", not compare_budget.compare(document, document).failures)

    def spoiled(change):
        other = copy.deepcopy(document)
        change(other["calibrations"][2]["grid"][7])
        return len(compare_budget.compare(other, document).failures) == 1

    a.true("reading", spoiled(lambda p: p.update(reading_celsius=p["reading_celsius"] + 1e-5)))
    a.true("GUM", spoiled(lambda p: p.update(gum_95_kelvin=p["gum_95_kelvin"] * 1.002)))
    a.true("contribution", spoiled(lambda p: p["contributions"][0].update(standard_kelvin=9.0)))
    a.true("missing contribution", spoiled(lambda p: p["contributions"].pop(0)))
    a.true("Monte Carlo", spoiled(lambda p: p.update(monte_carlo_95_kelvin=[p["monte_carlo_95_kelvin"][0], 99.0])))
    a.true("not a number", spoiled(lambda p: p.update(reading_celsius=float("nan"))))


def main():
    a = Agreement("peers", verbose="-v" in sys.argv)
    kiln = physics.Peer(chainfile.load("examples/burnout-kiln.toml", KILN))
    bench = physics.Peer(chainfile.load("examples/bench-voltmeter.toml", BENCH))
    check_tables(a)
    check_quantities(a)
    check_nodal(a)
    check_kiln(a, kiln)
    check_bench(a, bench)
    check_resistive_sensors(a)
    check_digital_filter(a)
    check_comparison_can_fail(a, kiln)
    return a.close()


if __name__ == "__main__":
    sys.exit(main())
