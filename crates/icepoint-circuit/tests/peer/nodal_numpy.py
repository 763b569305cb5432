#!/usr/bin/env python3
"""Independent nodal analysis of nine circuits, from Kirchhoff's laws, with NumPy.

Written apart from the Rust code on purpose: every voltage source and amplifier keeps its current as an unknown, the
matrix is dense and complex, noise is found by sending each source through the circuit alone (no adjoint), and
diodes are solved by Newton steps on the junction voltages that are cut to 20 mV.

    nodal_numpy.py          writes nodal.csv beside this file
    nodal_numpy.py --check  computes again and compares with the committed nodal.csv
"""

import csv
import math
import pathlib
import sys

import numpy as np

BOLTZMANN = 1.380649e-23
CHARGE = 1.602176634e-19
HERE = pathlib.Path(__file__).parent
FREQUENCIES = [0.1, 10.0, 50.0, 1.0e3, 2.0e4]
KELVIN = 298.15


class Net:
    """Rows: currents leaving each node; then one equation per voltage-defining element."""

    def __init__(self):
        self.nodes, self.rows = {}, []
        self.parts = []

    def n(self, name):
        if name == "0":
            return None
        return self.nodes.setdefault(name, len(self.nodes))

    def add(self, kind, name, *rest, **figures):
        terminals = [self.n(r) for r in rest if isinstance(r, str)]
        numbers = [r for r in rest if not isinstance(r, str)]
        self.parts.append((kind, name, terminals, numbers, figures))

    def build(self, s, diode_g=None):
        """(matrix, right-hand side, {what: unit right-hand side})"""
        extra = [p for p in self.parts if p[0] in ("V", "E", "H", "A", "I_A")]
        index = {p[1]: len(self.nodes) + k for k, p in enumerate(extra)}
        size = len(self.nodes) + len(extra)
        m, b = np.zeros((size, size), complex), np.zeros(size)
        units = {}

        def put(i, j, v):
            if i is not None and j is not None:
                m[i, j] += v

        def admittance(a, c, y):
            put(a, a, y), put(c, c, y), put(a, c, -y), put(c, a, -y)

        def inject(a, c, name):
            """one ampere leaving a, entering c"""
            u = np.zeros(size)
            if a is not None:
                u[a] -= 1
            if c is not None:
                u[c] += 1
            units[name] = u
            return u

        for kind, name, t, x, f in self.parts:
            k = index.get(name)
            if k is not None:
                u = np.zeros(size)
                u[k] = 1
                units[name] = u
            if kind == "R":
                admittance(t[0], t[1], 1 / x[0])
                inject(t[0], t[1], "thermal " + name)
            elif kind == "C":
                admittance(t[0], t[1], s * x[0])
            elif kind == "I":
                b += x[0] * inject(t[0], t[1], name)
            elif kind == "G":
                for row, sign in ((t[0], 1), (t[1], -1)):
                    put(row, t[2], sign * x[0]), put(row, t[3], -sign * x[0])
            elif kind == "F":
                put(t[0], index[f["sensed"]], x[0]), put(t[1], index[f["sensed"]], -x[0])
            elif kind == "V":
                put(t[0], k, 1), put(t[1], k, -1), put(k, t[0], 1), put(k, t[1], -1)
                b[k] += x[0]
            elif kind == "E":
                put(t[0], k, 1), put(t[1], k, -1), put(k, t[0], 1), put(k, t[1], -1)
                put(k, t[2], -x[0]), put(k, t[3], x[0])
            elif kind == "H":
                put(t[0], k, 1), put(t[1], k, -1), put(k, t[0], 1), put(k, t[1], -1)
                put(k, index[f["sensed"]], -x[0])
            elif kind in ("A", "I_A"):
                # plus, minus, out, [reference], high, low
                plus, minus, out = t[:3]
                high, low = t[-2:]
                if kind == "A":
                    open_gain = 1 / (1 / f["gain"] + s / (2 * math.pi * f["bandwidth"]))
                else:
                    open_gain = f["gain"] / (1 + s / (2 * math.pi * f["bandwidth"]))
                put(out, k, 1)
                # out − series·(current into out) = A·(error voltage) [+ reference through the same pole]
                put(k, out, 1)
                put(k, k, -f.get("r_out", 0.0))
                if kind == "I_A":
                    put(k, t[3], -open_gain / f["gain"])
                    for a, c, r in ((plus, minus, "r_diff"), (plus, None, "r_com"), (minus, None, "r_com"), (t[3], None, "r_ref")):
                        if r in f:
                            admittance(a, c, 1 / f[r])
                cm, ps = 1 / f.get("cmrr", math.inf), 1 / f.get("psrr", math.inf)
                put(k, plus, -open_gain * (1 + cm / 2)), put(k, minus, -open_gain * (-1 + cm / 2))
                put(k, high, -open_gain * ps), put(k, low, open_gain * ps)
                rest = f.get("offset", 0) - cm * f.get("v_cm", 0) - ps * f.get("v_supply", 0)
                b[k] += (open_gain * rest).real if s == 0 else 0
                units["input " + name] = open_gain * units[name]
                b += f.get("bias_plus", 0) * inject(plus, None, "plus " + name)
                b += f.get("bias_minus", 0) * inject(minus, None, "minus " + name)
                if f.get("r_out", 0) > 0:
                    # thermal voltage in series with the output
                    units["thermal " + name] = units[name]
            elif kind == "D":
                inject(t[0], t[1], "shot " + name)
                if diode_g is not None:
                    g, current = diode_g[name]
                    admittance(t[0], t[1], g)
                    for row, sign in ((t[0], -1), (t[1], 1)):
                        if row is not None:
                            b[row] += sign * current
        return m, b, units

    def diode(self, f, v):
        vt = f["n"] * BOLTZMANN * f["kelvin"] / CHARGE
        t0 = 298.15
        sat = f["i_s"] * (f["kelvin"] / t0) ** (3.0 / f["n"]) * math.exp(1.11 / (vt / f["kelvin"]) * (1 / t0 - 1 / f["kelvin"]))
        e = math.exp(v / vt)
        return sat * (e - 1), sat * e / vt, sat

    def dc(self):
        diodes = [p for p in self.parts if p[0] == "D"]
        if not diodes:
            m, b, _ = self.build(0)
            return np.linalg.solve(m, b).real, None
        v = {p[1]: 0.55 for p in diodes}
        for _ in range(500):
            companion = {}
            for _, name, t, x, f in diodes:
                i, g, _ = self.diode(f, v[name])
                companion[name] = (g, i - g * v[name])
            m, b, _ = self.build(0, companion)
            sol = np.linalg.solve(m, b).real
            worst = 0.0
            for _, name, t, x, f in diodes:
                at = lambda k: 0.0 if k is None else sol[k]
                step = at(t[0]) - at(t[1]) - v[name]
                worst = max(worst, abs(step))
                v[name] += max(-0.02, min(0.02, step))
            if worst < 1e-14:
                break
        return sol, {p[1]: (self.diode(p[4], v[p[1]])[1], 0.0) for p in diodes}

    def noise(self, out, frequency, small):
        m, _, units = self.build(2j * math.pi * frequency, small)
        inverse = np.linalg.inv(m)
        total = 0.0
        dc = self.dc()[0]
        for kind, name, t, x, f in self.parts:
            def through(unit):
                return abs((inverse @ unit)[self.n(out)]) ** 2
            if kind == "R":
                total += 4 * BOLTZMANN * KELVIN / x[0] * through(units["thermal " + name])
            if kind in ("A", "I_A"):
                en = f.get("en", 0) ** 2 * (1 + f.get("en_corner", 0) / frequency)
                i_n = f.get("in", 0) ** 2 * (1 + f.get("in_corner", 0) / frequency)
                total += en * through(units["input " + name])
                total += i_n * (through(units["plus " + name]) + through(units["minus " + name]))
                if "thermal " + name in units:
                    total += 4 * BOLTZMANN * KELVIN * f["r_out"] * through(units["thermal " + name])
            if kind == "D":
                at = lambda k: 0.0 if k is None else dc[k]
                i, _, sat = self.diode(f, at(t[0]) - at(t[1]))
                total += 2 * CHARGE * (i + 2 * sat) * through(units["shot " + name])
        return total


def circuits():
    """name → (net, source for the response, output)"""
    c = {}

    n = Net()
    n.add("V", "V1", "in", "0", 5.0)
    n.add("R", "R1", "in", "out", 10e3)
    n.add("R", "R2", "out", "0", 4.7e3)
    n.add("C", "C1", "out", "0", 100e-9)
    n.add("R", "R3", "out", "tail", 22e3)
    n.add("C", "C2", "tail", "0", 10e-9)
    c["loaded_divider"] = (n, "V1", "tail")

    amp = dict(gain=2e5, bandwidth=1e6, offset=1.5e-3, bias_plus=20e-9, bias_minus=-15e-9, cmrr=3e4, v_cm=0.5, psrr=5e4, v_supply=5.0, en=18e-9, en_corner=40.0)
    amp["in"], amp["in_corner"] = 0.4e-12, 100.0

    n = Net()
    n.add("V", "VCC", "vcc", "0", 5.2)
    n.add("V", "V1", "in", "0", 0.02)
    n.add("R", "RS", "in", "p", 1e3)
    n.add("A", "U1", "p", "m", "out", "vcc", "0", **amp)
    n.add("R", "RF", "out", "m", 99e3)
    n.add("R", "RG", "m", "0", 1e3)
    n.add("C", "CF", "out", "m", 1e-9)
    c["non_inverting"] = (n, "V1", "out")

    n = Net()
    n.add("V", "VP", "vp", "0", 12.0)
    n.add("V", "VN", "vn", "0", -12.0)
    n.add("V", "V1", "a", "b", 0.1)
    n.add("V", "VC", "b", "0", 2.0)
    n.add("R", "R1", "b", "m", 10e3)
    n.add("R", "R2", "m", "out", 100e3)
    n.add("R", "R3", "a", "p", 10.1e3)
    n.add("R", "R4", "p", "ref", 99.5e3)
    n.add("V", "VR", "ref", "0", 0.25)
    n.add("A", "U1", "p", "m", "out", "vp", "vn", **{**amp, "r_out": 75.0, "v_supply": 24.0})
    n.add("R", "RL", "out", "0", 2e3)
    n.add("C", "CL", "out", "0", 100e-12)
    c["difference_amplifier"] = (n, "V1", "out")

    n = Net()
    n.add("V", "VX", "x", "0", 5.0)
    for name, a, b, r in (("R1", "x", "l", 350.0), ("R2", "l", "0", 350.7), ("R3", "x", "r", 350.0), ("R4", "r", "0", 349.6)):
        n.add("R", name, a, b, r)
    n.add("R", "RD1", "ref", "0", 10e3)
    n.add("R", "RD2", "x", "ref", 30e3)
    f = dict(gain=101.0, bandwidth=30e3, offset=-40e-6, bias_plus=1e-9, bias_minus=2e-9, r_diff=1e9, r_com=5e8, r_ref=40e3, cmrr=-2e4, v_cm=2.0, psrr=1e5, v_supply=5.0, en=12e-9, en_corner=5.0)
    f["in"] = 0.1e-12
    n.add("I_A", "U1", "l", "r", "out", "ref", "x", "0", **f)
    n.add("R", "RO", "out", "adc", 1e3)
    n.add("C", "CO", "adc", "0", 1e-6)
    c["bridge"] = (n, "VX", "adc")

    n = Net()
    n.add("V", "V1", "in", "0", 1.0)
    n.add("R", "R1", "in", "a", 11e3)
    n.add("R", "R2", "a", "p", 22e3)
    n.add("C", "C1", "a", "out", 220e-9)
    n.add("C", "C2", "p", "0", 100e-9)
    n.add("A", "U1", "p", "out", "out", "0", "0", **{**amp, "psrr": math.inf})
    c["sallen_key"] = (n, "V1", "out")

    n = Net()
    n.add("I", "I1", "0", "a", 1e-3)
    n.add("R", "R1", "a", "b", 1e3)
    n.add("V", "VS", "b", "0", 0.0)
    n.add("E", "E1", "c", "d", "a", "0", 3.0)
    n.add("R", "R2", "c", "0", 2e3)
    n.add("R", "R3", "d", "0", 5e3)
    n.add("G", "G1", "e", "0", "c", "d", 2e-3)
    n.add("R", "R4", "e", "0", 1.5e3)
    n.add("H", "H1", "f", "e", 500.0, sensed="VS")
    n.add("R", "R5", "f", "g", 3e3)
    n.add("F", "F1", "g", "a", 0.4, sensed="VS")
    n.add("R", "R6", "g", "0", 8e3)
    n.add("C", "C1", "f", "0", 47e-9)
    c["controlled_sources"] = (n, "I1", "g")

    n = Net()
    n.add("V", "VDD", "vdd", "0", 3.3)
    n.add("V", "TC", "tp", "tn", 0.0204)
    n.add("R", "RW1", "tp", "ip", 12.0)
    n.add("R", "RW2", "tn", "im", 9.0)
    n.add("R", "RB1", "vdd", "im", 1e5)
    n.add("R", "RB2", "im", "0", 1e5)
    n.add("R", "RO", "vdd", "ip", 2.2e7)
    n.add("R", "RP1", "ip", "p", 4.7e3)
    n.add("R", "RP2", "im", "m", 4.7e3)
    n.add("C", "CD", "p", "m", 470e-9)
    n.add("C", "CC1", "p", "0", 47e-9)
    n.add("C", "CC2", "m", "0", 50e-9)
    f = dict(gain=80.0, bandwidth=20e3, offset=15e-6, bias_plus=0.5e-9, bias_minus=0.3e-9, r_diff=1e10, r_com=2e10, cmrr=1e5, v_cm=1.65, psrr=2e5, v_supply=3.3, en=30e-9)
    n.add("I_A", "U1", "p", "m", "out", "ref", "vdd", "0", **f)
    n.add("R", "RR1", "vdd", "ref", 47e3)
    n.add("R", "RR2", "ref", "0", 3.3e3)
    n.add("R", "RA", "out", "adc", 10e3)
    n.add("C", "CA", "adc", "0", 1e-6)
    c["thermocouple_front_end"] = (n, "TC", "adc")

    n = Net()
    n.add("V", "V1", "vcc", "0", 5.0)
    n.add("R", "R1", "vcc", "d", 4.7e3)
    n.add("D", "D1", "d", "0", i_s=3e-14, n=1.06, kelvin=310.0)
    n.add("R", "R2", "d", "p", 10e3)
    n.add("A", "U1", "p", "m", "out", "vcc", "0", **{**amp, "v_supply": 5.0})
    n.add("R", "R3", "out", "m", 33e3)
    n.add("R", "R4", "m", "0", 10e3)
    n.add("C", "C1", "d", "0", 10e-9)
    c["diode_thermometer"] = (n, "V1", "out")

    n = Net()
    n.add("V", "V1", "in", "0", 9.0)
    n.add("R", "R1", "in", "a", 2.2e3)
    n.add("D", "D1", "a", "b", i_s=1e-9, n=1.9, kelvin=298.15)
    n.add("D", "D2", "b", "c", i_s=2e-12, n=1.2, kelvin=273.15)
    n.add("R", "R2", "b", "0", 15e3)
    n.add("R", "R3", "c", "0", 470.0)
    n.add("C", "C1", "c", "0", 1e-7)
    c["two_diodes"] = (n, "V1", "c")
    return c


def rows():
    for name, (net, source, out) in circuits().items():
        dc, small = net.dc()
        for node, at in net.nodes.items():
            yield [name, "dc", node, "", repr(float(dc[at])), ""]
        for f in FREQUENCIES:
            m, _, units = net.build(2j * math.pi * f, small)
            x = np.linalg.solve(m, units[source])
            yield [name, "ac", out, repr(f), repr(float(x[net.n(out)].real)), repr(float(x[net.n(out)].imag))]
        for f in FREQUENCIES:
            yield [name, "noise", out, repr(f), repr(float(net.noise(out, f, small))), ""]


def main():
    computed = list(rows())
    place = HERE / "nodal.csv"
    if "--check" in sys.argv:
        with place.open() as file:
            kept = [r for r in csv.reader(line for line in file if not line.startswith("#"))][1:]
        assert len(kept) == len(computed), f"{len(kept)} rows kept, {len(computed)} computed"
        worst = 0.0
        for a, b in zip(kept, computed):
            assert a[:4] == b[:4], f"row {a} should be {b}"
            x = complex(float(a[4]), float(a[5] or 0))
            y = complex(float(b[4]), float(b[5] or 0))
            # Another LAPACK may differ in the last digits; 1e-10 is far below what the comparison in Rust asks.
            error = abs(x - y) / max(abs(y), 1e-15)
            worst = max(worst, error)
            assert error < 1e-10 or abs(x - y) < 1e-15, f"{a}: {error}"
        print(f"nodal.csv: {len(kept)} rows agree, worst relative difference {worst:.1e}")
        return
    with place.open("w", newline="") as file:
        file.write("# Written by nodal_numpy.py: volts, volts per unit of the source, V²/Hz at 298.15 K.\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["circuit", "what", "node", "frequency_hz", "re", "im"])
        writer.writerows(computed)
    print(f"nodal.csv: {len(computed)} rows")


if __name__ == "__main__":
    main()
