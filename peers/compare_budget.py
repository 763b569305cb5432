#!/usr/bin/env python3
"""Compares a budget of icepoint with that of a peer.

    python peers/compare_budget.py ICEPOINT_JSON PEER_JSON

Exits 1 when they disagree, with a table of where.
"""

import json
import sys
from math import hypot

# Both solve the same linear circuit and the same inverse; icepoint's inverse is a table with one Newton step (1e-7 K),
# the peer's is Newton to 1e-10 K, and an elimination in doubles leaves some 1e-9 K at a gain of 240.
READING_KELVIN = 1e-6
# Contributions are differences of readings, (f(+u) − f(−u))/2, so they agree as well as those do (1e-9 K seen); noise
# comes from an integral over frequency that the two do in different ways (1e-6 of it seen).
CONTRIBUTION_SHARE = 1e-5
CONTRIBUTION_KELVIN = 1e-6
# The expanded uncertainty is k times the root of the sum of their squares: no worse than the largest of them.
GUM_SHARE = 1e-5
# Two independent simulations: each end has the standard error of its own order statistic. Some 600 ends are compared;
# 5 joint standard errors are exceeded once in 3 000 such runs, and the seeds are fixed. (Which of two neighbouring
# order statistics is taken, JCGM 101, 7.7, is a hundredth of that.)
STANDARD_ERRORS = 5.0
# Yield is a share of the trials: standard error √(p(1 − p)/M), at most this for 100 000.
YIELD_STANDARD_ERRORS = 5.0


def grids(doc):
    """calibration → (grid, yield)."""
    return {entry["calibration"]: (entry["grid"], entry["yield"]) for entry in doc["calibrations"]}


def contributions(point):
    return {c["id"]: abs(c["standard_kelvin"]) for c in point["contributions"]}

END, ENDS = "monte_carlo_95_kelvin", ("low", "high")


class Table:
    """Worst of each kind, and the rows that fail."""

    def __init__(self):
        self.worst, self.failures, self.compared = {}, [], 0

    def check(self, kind, where, ours, peer, allowed):
        self.compared += 1
        off = abs(ours - peer)
        if not (off <= allowed):
            self.failures.append((kind, where, ours, peer, off, allowed))
        if kind not in self.worst or off / allowed > self.worst[kind][0]:
            self.worst[kind] = (off / allowed, where, ours, peer, off, allowed)

    def show(self):
        head = f"{'what':34} {'where':34} {'icepoint':>12} {'peer':>12} {'off':>9} {'allowed':>9}"

        def row(kind, where, ours, peer, off, allowed):
            return f"{kind[:34]:34} {where[:34]:34} {ours:12.6f} {peer:12.6f} {off:9.2g} {allowed:9.2g}"

        print("Largest difference of each kind\n" + head)
        for kind, (_, *rest) in sorted(self.worst.items(), key=lambda item: -item[1][0])[:25]:
            print(row(kind, *rest))
        if self.failures:
            print(f"\nDISAGREE: {len(self.failures)} of {self.compared}\n" + head)
            for failure in sorted(self.failures, key=lambda f: -f[4] / f[5])[:40]:
                print(row(*failure))


def compare(ours, peer):
    table = Table()
    ours_by, peer_by = grids(ours), grids(peer)
    if ours_by.keys() != peer_by.keys():
        raise SystemExit(f"not the same calibrations: {sorted(ours_by)} and {sorted(peer_by)}")
    trials = (ours["trials"], peer["trials"])
    for name in ours_by:
        (our_grid, our_yield), (peer_grid, peer_yield) = ours_by[name], peer_by[name]
        places = {(round(p["hot_celsius"], 6), round(p["board_celsius"], 6)): p for p in peer_grid}
        if len(places) != len(our_grid):
            raise SystemExit(f"{name}: {len(our_grid)} grid points of icepoint, {len(places)} of the peer")
        for point in our_grid:
            key = (round(point["hot_celsius"], 6), round(point["board_celsius"], 6))
            if key not in places:
                raise SystemExit(f"{name}: the peer has no point at {key}")
            other = places[key]
            where = f"{name}, {key[0]:g} °C, board {key[1]:g} °C"
            table.check("reading", where, point["reading_celsius"], other["reading_celsius"], READING_KELVIN)
            allowed = GUM_SHARE * other["gum_95_kelvin"]
            table.check("GUM 95 %", where, point["gum_95_kelvin"], other["gum_95_kelvin"], allowed)
            mine, theirs = contributions(point), contributions(other)
            for id in sorted(mine.keys() | theirs.keys()):
                a, b = mine.get(id, 0.0), theirs.get(id, 0.0)
                table.check(id, where, a, b, max(CONTRIBUTION_KELVIN, CONTRIBUTION_SHARE * b))
            for end, a, b, error in zip(ENDS, point[END], other[END], other["monte_carlo_end_error_kelvin"], strict=True):
                joint = hypot(error, error * (trials[1] / trials[0]) ** 0.5)
                table.check(f"Monte Carlo {end}", where, a, b, STANDARD_ERRORS * joint)
        # Held away from 0 and 1, so that those have an error too.
        p = min(max(peer_yield, 0.001), 0.999)
        error = (p * (1 - p) * (1 / trials[0] + 1 / trials[1])) ** 0.5
        table.check("yield", name, our_yield, peer_yield, YIELD_STANDARD_ERRORS * error)
    return table


def main():
    if len(sys.argv) != 3:
        raise SystemExit(__doc__)
    with open(sys.argv[1]) as a, open(sys.argv[2]) as b:
        table = compare(json.load(a), json.load(b))
    table.show()
    print(f"budget: {table.compared - len(table.failures)} passed, {len(table.failures)} failed")
    return 1 if table.failures else 0


if __name__ == "__main__":
    sys.exit(main())
