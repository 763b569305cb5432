#!/usr/bin/env python3
"""The bench thermometer with two adjustable resistors, from Kirchhoff's laws alone: how many boards can be adjusted, and
what is left of the error afterwards.

    python peers/trims.py FILE_WITH_VALUES [--design DESIGN_JSON] [--boards 40000]

With the JSON of `icepoint design --json` it compares, and exits 1 when the two disagree. Here the technician is played by
bisection, each trim in turn until its own point reads right; icepoint solves both at once. Noise and mains are left out
here; they are below 1 % of the error of this board.
"""

import argparse
import json
import sys
import tomllib
from math import sqrt

import numpy as np

import chainfile
import thermocouple
from quantity import toleranced, value

ROUNDS, BISECTIONS = 4, 44
# A board is adjusted when both points read right within this, K: bisection of a travel of 10 K leaves 1e-12 K.
RIGHT = 1e-4
# Joint standard errors of two shares or two quantiles that may lie between: once in 3 000 comparisons.
STANDARD_ERRORS = 5.0
# What the peer leaves out (noise, mains, quantisation of the mean) as a share of a half-width.
LEFT_OUT = 0.02


class Board:
    """Many boards at once; every deviation is a row of numbers."""

    def __init__(self, path, count, seed):
        with open(path, "rb") as file:
            doc = tomllib.load(file)
        self.chain = c = chainfile.load(path, {})
        values = doc["front_end"]["values"]
        self.ohms = {name: value(text) for name, text in values.items() if name.startswith("R")}
        trims, j, front = doc.get("trims", {}), doc["reference_junction"], doc["amplifier"]["chopper"]
        meter, plan = doc["converter"], doc["calibration_plan"]
        rng = np.random.default_rng(seed)

        def flat(limit):
            return rng.uniform(-limit, limit, count)

        def once(limit):
            """One value for the adjustment, another for the use."""
            return flat(limit), flat(limit)

        self.count = count
        self.probe = flat(1.0)
        self.wire = c.loop_ohms
        self.accuracy, self.drift = flat(value(j["accuracy"])), flat(value(j["drift"]))
        self.gradient = once(value(j["gradient"]))
        self.bow = flat(value(j["sensor_nonlinearity"]))
        self.heating = rng.uniform(0, value(j["self_heating"]), count)
        self.source_ohms, self.slope = value(j["output_resistance"]), value(j["sensor_slope"])
        parts = doc["parts"]["resistors"]
        fixed = [name for name in self.ohms if not name.startswith("RV")]
        self.tolerance = {name: flat(value(parts["tolerance"])) for name in fixed}
        self.tempco = {name: flat(value(parts["tempco"])) for name in fixed}
        self.track = {n: flat(value(trims["tolerance"])) for n in ("RV1", "RV2")}
        self.track_tempco = {n: flat(value(trims["tempco"])) for n in ("RV1", "RV2")}
        half_step = 0.5 * value(trims["resolution"])
        self.moved = {n: flat(half_step) + flat(value(trims["stability"])) for n in ("RV1", "RV2")}
        self.end = value(trims["end_resistance"])
        self.offset, self.offset_drift = flat(value(front["offset_max"])), flat(value(front["offset_drift_max"]))
        bias, difference = flat(value(front["bias_max"])), flat(value(front["offset_current_max"]))
        self.bias_plus, self.bias_minus = bias + difference / 2, bias - difference / 2
        self.inverse_cmrr = flat(1 / value(front["cmrr"]))
        self.inverse_gain = rng.uniform(0, 1 / value(front["open_loop_gain"]), count)
        (self.supply, share), (_, negative_share) = (toleranced(doc["supply"][k]) for k in ("positive", "negative"))
        self.supply_off = once(share * self.supply)
        rejection = value(front["psrr"])
        self.rejected = [u / rejection + v / rejection for u, v in
                         zip(self.supply_off, once(negative_share * abs(toleranced(doc["supply"]["negative"])[0])))]
        self.meter_gain, self.meter_offset = flat(value(meter["reading_error"])), flat(value(meter["range_error"]))
        self.digit = flat(value(meter["resolution"]) / 2)
        self.input_ohms = value(meter["input_resistance"])
        self.line = value(doc["readout"]["slope"])
        self.points, self.at_board = [value(t) for t in plan["at"]], value(plan["board"])
        self.bath = [flat(value(plan["bath_accuracy"])) for _ in self.points]
        # The mean of the readings keeps the digit.
        self.seen = [rng.normal(0, value(meter["resolution"]) / sqrt(12), count) for _ in self.points]
        self.bow_span = max(abs(c.board[0] - 25), abs(c.board[1] - 25))

    def arm(self, name, setting, warm):
        track = self.ohms[name] * (1 + self.track[name] + self.track_tempco[name] * warm)
        return self.end + np.clip(setting, 0, 1) * track

    def volts(self, hot, board, settings, used):
        """Voltage that the meter gets; `used`: 0 while the board is adjusted, 1 afterwards."""
        warm = board - 25
        r = {n: self.ohms[n] * (1 + t + self.tempco[n] * warm) for n, t in self.tolerance.items()}
        upper = r["R5"] + self.arm("RV1", settings[0], warm) + self.source_ohms
        lower_gain = r["R4"] + self.arm("RV2", settings[1], warm)
        emf = thermocouple.emf(self.chain.letter, hot) - thermocouple.emf(self.chain.letter, board + self.gradient[used])
        told = board + self.accuracy + self.drift * warm + self.heating + self.bow * (warm / self.bow_span) ** 2
        sensor, supply = self.slope * told, self.supply + self.supply_off[used]
        # Current down the thermocouple i = (supply − p)/R7 − bias; its negative leg at c = p − emf − i·wire, and
        # c/R6 = i + (sensor − c)/upper. Linear in p.
        y = 1 / r["R6"] + 1 / upper
        i0, i1 = supply / r["R7"] - self.bias_plus, -1 / r["R7"]
        c0, c1 = -emf - i0 * self.wire, 1 - i1 * self.wire
        p = (i0 + sensor / upper - y * c0) / (y * c1 - i1)
        at_input = p - self.bias_plus * r["R1"]
        off = self.offset + self.offset_drift * warm + self.rejected[used] + at_input * self.inverse_cmrr
        g = 1 / r["R3"] + 1 / lower_gain
        amp = ((at_input + off) * g + self.bias_minus) / (1 / r["R3"] + g * self.inverse_gain)
        return amp * self.input_ohms / (self.input_ohms + r["R8"])

    def adjusting(self, k, settings):
        """Error of the reading at a point as the technician sees it, K."""
        u = self.volts(self.points[k] + self.bath[k] + self.probe_error(self.points[k]), self.at_board, settings, 0)
        return ((u + self.seen[k] + self.meter_offset) * (1 + self.meter_gain)) / self.line - self.points[k]

    def probe_error(self, hot):
        c = self.chain
        return self.probe * np.maximum(c.limit_fixed, c.limit_share * abs(hot))

    def adjust(self):
        settings = [np.full(self.count, 0.5), np.full(self.count, 0.5)]
        for _ in range(ROUNDS):
            for k in (0, 1):
                low, high = np.zeros(self.count), np.ones(self.count)
                settings[k] = low
                falls = self.adjusting(k, settings) > 0
                for _ in range(BISECTIONS):
                    settings[k] = middle = 0.5 * (low + high)
                    beyond = (self.adjusting(k, settings) > 0) != falls
                    low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
                settings[k] = 0.5 * (low + high)
        left = np.maximum(abs(self.adjusting(0, settings)), abs(self.adjusting(1, settings)))
        return settings, left < RIGHT

    def error(self, hot, board, settings):
        moved = [s + self.moved[n] for s, n in zip(settings, ("RV1", "RV2"))]
        u = self.volts(hot + self.probe_error(hot), board, moved, 1)
        return ((u + self.meter_offset + self.digit) * (1 + self.meter_gain)) / self.line - hot


def compare(found, grid, design):
    """Lines on what disagrees."""
    wrong = []
    theirs, mine = design["trims"]["adjustable_share"], found["share"]
    # At the edge of 99.9 % a board more or less is what counts.
    p = max(0.5 * (theirs + mine), 0.5)
    spread = sqrt(max(p * (1 - p), 1e-6) * (1 / design["trims"]["boards"] + 1 / found["boards"]))
    if abs(theirs - mine) > STANDARD_ERRORS * spread:
        wrong.append(f"adjustable: {theirs} there, {mine} here, standard error {spread:.1e}")
    compared = 0
    for point in grid:
        low, high = point["interval"]
        at = next(q for q in design_grid(design) if abs(q["hot_celsius"] - point["hot"]) < 1e-6
                  and abs(q["board_celsius"] - point["board"]) < 1e-6)  # fmt: skip
        for mine, theirs in zip((low, high), at["monte_carlo_95_kelvin"], strict=True):
            allowed = LEFT_OUT * (high - low) / 2 + STANDARD_ERRORS * point["standard_error"]
            compared += 1
            if abs(mine - theirs) > allowed:
                wrong.append(f"{point['hot']} °C, board {point['board']} °C: end {theirs:+.3f} K there, {mine:+.3f} K here")
    return wrong, compared


def design_grid(design):
    return next(c["grid"] for c in design["budget"]["calibrations"] if c["calibration"] == "zero and span")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", help="chain file with every part chosen")
    parser.add_argument("--design", help="JSON of icepoint design --json to compare with")
    parser.add_argument("--boards", type=int, default=40_000)
    parser.add_argument("--seed", type=int, default=20261125)
    args = parser.parse_args()
    boards = Board(args.file, args.boards, args.seed)
    settings, reached = boards.adjust()
    found = {"boards": args.boards, "share": float(reached.mean()),
             "settings": [[float(q) for q in np.quantile(s, [0.0005, 0.9995])] for s in settings]}  # fmt: skip
    c = boards.chain
    hot, board = np.linspace(*c.hot, c.grid[0]), np.linspace(*c.board, c.grid[1])
    grid = []
    for b in board[[0, len(board) // 2, -1]]:
        for t in hot[:: max(1, len(hot) // 5)]:
            errors = boards.error(t, b, settings)
            low, high = np.quantile(errors, [0.025, 0.975])
            # Of a quantile of these, and of one of as many boards elsewhere.
            step = sqrt(0.025 * 0.975 / args.boards)
            ends = np.quantile(errors, [0.025 - step, 0.025 + step, 0.975 - step, 0.975 + step])
            error = sqrt(2) * max(ends[1] - ends[0], ends[3] - ends[2]) / 2
            grid.append({"hot": float(t), "board": float(b), "interval": [float(low), float(high)], "standard_error": float(error)})
    if not args.design:
        print(json.dumps(found | {"grid": grid}, indent=1))
        return 0
    with open(args.design) as file:
        wrong, compared = compare(found, grid, json.load(file))
    for line in wrong:
        print(line)
    print(f"trims: {100 * found['share']:.2f} % of {args.boards} boards adjustable, {compared} ends of intervals compared, "
          f"{len(wrong)} disagree")  # fmt: skip
    return 1 if wrong or compared == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
