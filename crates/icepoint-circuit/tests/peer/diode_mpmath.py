#!/usr/bin/env python3
"""Source, resistor and junction diode in one loop, in closed form with Lambert's W function, 30 digits (mpmath).

    v = n·Vt·ln(i/Is + 1),  i = (V − v)/R   ⇒   i = n·Vt/R·W(Is·R/(n·Vt)·exp((V + Is·R)/(n·Vt))) − Is

(Banwell and Jayakumar, Electronics Letters 36 (2000) 291; from memory, rederived here by checking the residual.)

    diode_mpmath.py          writes diode.csv beside this file
    diode_mpmath.py --check  computes again and compares
"""

import csv
import pathlib
import sys

from mpmath import exp, lambertw, log, mp, mpf

mp.dps = 30
K, Q = mpf("1.380649e-23"), mpf("1.602176634e-19")
HERE = pathlib.Path(__file__).parent


def rows():
    for i_s in ("1e-15", "3e-12", "2e-9"):
        for n in ("1", "1.8"):
            for kelvin in ("253.15", "298.15", "358.15"):
                for r in ("100", "4700", "1e6"):
                    for volts in ("-2", "0.1", "0.6", "5", "24"):
                        per_kelvin = mpf(n) * K / Q
                        t, t0 = mpf(kelvin), mpf("298.15")
                        sat = mpf(i_s) * (t / t0) ** (3 / mpf(n)) * exp(mpf("1.11") / per_kelvin * (1 / t0 - 1 / t))
                        vt = per_kelvin * t
                        v0, ohms = mpf(volts), mpf(r)
                        # The argument of W may be e^1000: mpmath's exponents have no end.
                        i = vt / ohms * lambertw(sat * ohms / vt * exp((v0 + sat * ohms) / vt)).real - sat
                        v = v0 - i * ohms
                        assert abs(sat * (exp(v / vt) - 1) - i) < mpf("1e-20") * max(abs(i), sat) + mpf("1e-30")
                        yield [i_s, n, kelvin, r, volts, mp.nstr(i, 17), mp.nstr(v, 17)]


def main():
    computed = list(rows())
    place = HERE / "diode.csv"
    if "--check" in sys.argv:
        with place.open() as file:
            kept = [r for r in csv.reader(line for line in file if not line.startswith("#"))][1:]
        assert kept == computed, "diode.csv is stale"
        print(f"diode.csv: {len(kept)} rows are the same")
        return
    with place.open("w", newline="") as file:
        file.write("# Written by diode_mpmath.py: band gap 1.11 eV, exponent 3; current in A and junction voltage in V.\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["saturation_a", "ideality", "kelvin", "ohms", "volts", "amperes", "junction_volts"])
        writer.writerows(computed)
    print(f"diode.csv: {len(computed)} rows")


if __name__ == "__main__":
    main()
