#!/usr/bin/env python3
"""The diode compensation by the junction equation, 40 digits (mpmath): what the model of icepoint-chain is held against.

    reference ──R9──┬──R5──┐                     I = Is(T)·(exp((v − I·Rs)/(n·k·T/q)) − 1)
                    D1     ├── feedback          Is(T) = Is(T0)·(T/T0)^(3/n)·exp(1.205 V/(n·k/q)·(1/T0 − 1/T))
                   gnd     R3 to amp, R4 to gnd
    reference ──R6──┬── TC−, R10 to gnd          T = board + θ·v·I

With an ideal amplifier the feedback node stands at the amplifier's input, pedestal + thermocouple, so

    amp = u·(1 + R3/R4 + R3/R5) − R3/R5·v(T),    (Vref − v)/R9 = I + (v − u)/R5

Gap and exponent are those of icepoint-sensors (customary). A spread of the slope tilts the junction's voltage about
25 °C by its share of (v − 1.205 V − 3·k·T0/q)/T0.

    diode_compensation_mpmath.py          writes the table beside the test that reads it
    diode_compensation_mpmath.py --check  computes again and compares
"""

import csv
import pathlib
import sys

from mpmath import exp, findroot, log, mp, mpf

mp.dps = 40
K_OVER_Q = mpf("1.380649e-23") / mpf("1.602176634e-19")
GAP, GAMMA, T0 = mpf("1.205"), mpf(3), mpf("298.15")
VREF, R3, R4, R5, R6, R9, R10 = (mpf(v) for v in ("2.5", "240e3", "1e3", "51e3", "19.6e3", "18.7e3", "100"))
FORWARD, CURRENT = mpf("0.6"), mpf("100e-6")
PLACE = pathlib.Path(__file__).parent.parent / "crates/icepoint-chain/tests/model/diode_compensation.csv"
HEAD = ["spread_v", "slope_spread", "ideality", "series_ohms", "heating_k_per_w", "board_celsius", "thermocouple_volts",
        "amp_volts", "diode_volts"]  # fmt: skip


def junction(current, kelvin, spread, slope_spread, n, series):
    """Voltage across diode and series resistance."""
    stated = FORWARD + spread - CURRENT * series
    sat0 = CURRENT / (exp(stated / (n * K_OVER_Q * T0)) - 1)
    sat = sat0 * (kelvin / T0) ** (GAMMA / n) * exp(GAP / (n * K_OVER_Q) * (1 / T0 - 1 / kelvin))
    nominal_slope = (FORWARD - GAP - GAMMA * K_OVER_Q * T0) / T0
    return n * K_OVER_Q * kelvin * log(current / sat + 1) + current * series + slope_spread * nominal_slope * (kelvin - T0)


def solve(spread, slope_spread, n, series, heating, board, thermocouple):
    u = VREF * R10 / (R6 + R10) + thermocouple

    def open_equations(current, kelvin):
        v = junction(current, kelvin, spread, slope_spread, n, series)
        return (VREF - v) / R9 - (v - u) / R5 - current, board + mpf("273.15") + heating * v * current - kelvin

    current, kelvin = findroot(open_equations, (mpf("95e-6"), board + mpf("273.15")), tol=mpf("1e-60"))
    assert all(abs(rest) < mpf("1e-30") for rest in open_equations(current, kelvin))
    v = junction(current, kelvin, spread, slope_spread, n, series)
    return u * (1 + R3 / R4 + R3 / R5) - R3 / R5 * v, v


def rows():
    for spread in ("0", "0.025", "-0.025"):
        for slope_spread in ("0", "0.03"):
            for n, series, heating in (("1", "0", "0"), ("1.07", "3", "400"), ("1.9", "12", "0")):
                for board in ("-20", "5", "25", "60"):
                    for thermocouple in ("0", "0.016397"):
                        given = (spread, slope_spread, n, series, heating, board, thermocouple)
                        amp, diode = solve(*(mpf(v) for v in given))
                        yield [*given, mp.nstr(amp, 17), mp.nstr(diode, 17)]


def main():
    computed = list(rows())
    if "--check" in sys.argv:
        with PLACE.open() as file:
            kept = [r for r in csv.reader(line for line in file if not line.startswith("#"))][1:]
        assert kept == computed, f"{PLACE.name} is stale"
        print(f"{PLACE.name}: {len(kept)} rows are the same")
        return
    with PLACE.open("w", newline="") as file:
        file.write("# Written by peers/diode_compensation_mpmath.py: junction equation and Kirchhoff's laws, 40 digits.\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEAD)
        writer.writerows(computed)
    print(f"{PLACE.name}: {len(computed)} rows")


if __name__ == "__main__":
    main()
