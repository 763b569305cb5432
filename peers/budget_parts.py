#!/usr/bin/env python3
"""Budgets of front ends with parts that follow the temperature, and of a converter alone, independent of our code:
a silicon diode at the summing node, a thermistor bridge, a thermocouple read directly by a converter with two inputs.

    python peers/budget_parts.py CHAIN.toml -o PEER.json

Written from the junction equation, the beta equation, docs/compensation.md and docs/model.md.
"""

import sys
import tomllib

import numpy as np

import budget
import circuits
import physics
from quantity import value

BOLTZMANN_OVER_CHARGE = 1.380649e-23 / 1.602176634e-19  # V/K, exact (SI)
GAP, GAMMA = 1.205, 3.0  # V and exponent: customary, from memory
T0 = 298.15  # K
LEAKAGE, DOUBLING = 5e-9, 10.0  # A at 25 °C and K of the library's clamps
TWINS = {"R2": "R1", "C3": "C2", "R6": "R5"}


class PartsPeer(physics.Peer):
    def __init__(self, chain):
        self.chain = chain
        kind = chain.topology
        if kind == "direct-converter":
            for twin, first in TWINS.items():
                chain.values.setdefault(twin, chain.values[first])
                chain.tolerance.setdefault(twin, chain.tolerance[first])
        self.sensing = circuits.SENSING.get(kind)
        self.figures = {k: v if isinstance(v, float) else self._figure(k, v) for k, v in self._compensation().items()}
        if self.sensing:
            # Noise and mains are those at 25 °C, half of the self-heating counted.
            chain.values[self.sensing], chain.tolerance[self.sensing] = 1.0, 0.0
            nominal = {f"{self.sensing}.heating": 0.5 * self.figures["heating"]}
            p, told = self._parameters(physics.AT, nominal)
            self._settle(p, told, nominal, 1)
            if kind == "diode-compensation":
                _, total = p["D1"]
                series = self.figures["series_resistance"]
                own = float(np.ravel(total)[0]) - series
                chain.values["D1"] = own + series
                # Shot noise 2qI behind its own resistance is the thermal noise of n·r/2.
                noisy = 0.5 * self.figures["ideality"] * own + series
                chain.noise_ohms = {"D1": (own + series) ** 2 / noisy}
            else:
                chain.values["RT1"] = float(np.ravel(p["RT1"])[0])
        super().__init__(chain)

    def _compensation(self):
        return getattr(self.chain, "compensation", None) or {}

    @staticmethod
    def _figure(key, text):
        return float(text) if not isinstance(text, str) else value(text) if key != "class" else text

    def _deviations(self):
        rows = super()._deviations()
        c, f = self.chain, self.figures

        def add(id, size, shape="rectangle"):
            if size > 0 and np.isfinite(size):
                rows.append(physics.Deviation(id, shape, size))

        if c.topology == "diode-compensation":
            add("D1.forward", f["forward_spread"])
            add("D1.slope", f["slope_spread"])
            add("D1.ideality", f["ideality_spread"])
        elif c.topology == "thermistor-bridge":
            add("RT1.r25", f["tolerance"])
            add("RT1.beta", f["beta_tolerance"])
        if self.sensing:
            add(f"{self.sensing}.heating", f["heating"], "one-sided")
        for name in circuits.CLAMPS.get(c.topology, {}):
            add(f"{name}.leakage", LEAKAGE, "one-sided")
        add("converter.input_current", c.input_current)
        if c.topology in circuits.OUTPUT_MINUS:
            add("converter.input_difference", c.input_difference)
            add("converter.cmrr", 1 / c.input_cmrr)
        return rows

    def _parameters(self, board, d):
        p, told = super()._parameters(board, d)
        get = lambda id: d.get(id, 0.0)
        for name in circuits.CLAMPS.get(self.chain.topology, {}):
            p["leakage", name] = get(f"{name}.leakage") * 2.0 ** ((board - physics.AT) / DOUBLING)
        both, difference = get("converter.input_current"), get("converter.input_difference")
        p["converter +"], p["converter -"] = both + 0.5 * difference, both - 0.5 * difference
        return p, told

    def _junction(self, current, celsius, get):
        """(E, r) of the tangent at a current, series resistance in it."""
        f = self.figures
        kelvin = celsius + physics.ZERO_CELSIUS
        n = f["ideality"] * (1 + get("D1.ideality"))
        i0, series = f["forward_current"], f["series_resistance"]
        stated = f["forward_voltage"] + get("D1.forward") - i0 * series
        per_kelvin = n * BOLTZMANN_OVER_CHARGE
        log_saturation = -np.log(np.expm1(stated / (per_kelvin * T0))) + GAMMA / n * np.log(kelvin / T0)
        log_saturation = np.log(i0) + log_saturation + GAP / per_kelvin * (1 / T0 - 1 / kelvin)
        saturation = np.exp(log_saturation)
        slope = (f["forward_voltage"] - GAP - GAMMA * BOLTZMANN_OVER_CHARGE * T0) / T0
        volts = per_kelvin * kelvin * np.log1p(current / saturation) + get("D1.slope") * slope * (celsius - physics.AT)
        own = per_kelvin * kelvin / (current + saturation)
        return volts - current * own, own + series

    def _settle(self, p, told, d, batch):
        """Solves with the sensing part at its own temperature and, for a diode, its own current."""
        name, get = self.sensing, lambda id: d.get(id, 0.0)
        a, b = circuits.RESISTORS[self.chain.topology][name]
        current, watts = self.figures.get("forward_current", 0.0), 0.0
        for _ in range(12):
            celsius = told + get(f"{name}.heating") * watts
            if name == "D1":
                p[name] = self._junction(current, celsius, get)
            else:
                beta = self.figures["beta"] * (1 + get("RT1.beta"))
                ratio = np.exp(beta * (1 / (celsius + physics.ZERO_CELSIUS) - 1 / T0))
                p[name] = self.figures["r25"] * (1 + get("RT1.r25")) * ratio
            net, solution = circuits.direct_solution(self.chain, p, batch)
            across = net.of(solution, a)[:, 0] - net.of(solution, b)[:, 0]
            if name == "D1":
                source, ohms = p[name]
                current = (across - source) / ohms
            else:
                current = across / p[name]
            watts = across * current

    def _board(self, board, d, batch):
        if not self.sensing:
            p, told = self._parameters(board, d)
            net, solution = circuits.direct_solution(self.chain, p, batch)
            plus, minus = net.of(solution, "in_plus"), net.of(solution, "in_minus")
            out, common = plus - minus, 0.5 * (plus + minus)
            self.common = (common[:, 0], common[:, 1] / out[:, 1], out[:, 0])
            reference = p["reference"] / self.chain.reference[0] / self.reference_nominal
            return out[:, 0], out[:, 1], np.asarray(reference), told
        p, told = self._parameters(board, d)
        self._settle(p, told, d, batch)
        offset, gain = circuits.direct(self.chain, p, batch)
        reference = p["reference"] / self.chain.reference[0] / self.reference_nominal
        return offset, gain, np.asarray(reference), told

    def _rule_volts(self, output, reference, d, reading):
        if "converter.cmrr" in d and self.chain.topology in circuits.OUTPUT_MINUS:
            at_zero, slope, offset = self.common
            output = output + d["converter.cmrr"] * (at_zero + slope * (output - offset))
        return super()._rule_volts(output, reference, d, reading)

    def _line(self, f):
        line = super()._line(f)
        c = self.chain
        if c.topology in circuits.OUTPUT_MINUS and np.isfinite(c.input_cmrr):
            both = abs(circuits.alternating(c, [f])[0]["plant, both inputs"][0]) / (c.input_cmrr * np.sqrt(3))
            line["common_gain"] = float(np.hypot(line["common_gain"], both))
            line["common"] = np.sqrt(2) * c.common_pickup * line["common_gain"] * line["digital"]
        return line


if __name__ == "__main__":
    place = next((a for a in sys.argv[1:] if a.endswith(".toml")), None)
    if place is None:
        sys.exit(__doc__)
    with open(place, "rb") as file:
        topology = tomllib.load(file)["front_end"]["topology"]
    sys.exit(budget.main(place, topology, PartsPeer))
