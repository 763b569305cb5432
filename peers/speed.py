#!/usr/bin/env python3
"""How much faster than vectorised NumPy: the emf inverse of type K, and the kiln's Monte Carlo.

    peers/run_speed.sh                      builds ours, then runs this
    python peers/speed.py [PROGRAM FILE]    PROGRAM: a release build of icepoint; FILE: the kiln with every part chosen

NumPy's side is the code of the peers as it stands: Newton on the reference polynomial for a million voltages at once,
and boards in blocks, each circuit solved anew for every board and board temperature by numpy.linalg.solve, every
reading through the exact inverse, after none, one and two points of calibration. Ours is timed from outside as a whole
process, so it also reads the file, does the GUM and the worst case, sorts and prints.
"""

import json
import os
import pathlib
import subprocess
import sys
import time

import numpy as np

import chainfile
import physics
import thermocouple

POINTS = 1_000_000
REPEATS = 3
CRITERION = "criterion/emf/inverse_K/new"


def best(task, repeats=REPEATS):
    """Shortest of several runs: the one least disturbed by other programs."""
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        task()
        times.append(time.perf_counter() - started)
    return min(times)


def numpy_inverse():
    volts = thermocouple.emf("K", np.linspace(-190.0, 1360.0, POINTS))
    table = thermocouple.inverse_start("K", -200.0, 1371.0)
    truth = np.linspace(-190.0, 1360.0, POINTS)
    found = thermocouple.temperature("K", volts, table)
    assert np.max(np.abs(found - truth)) < 1e-8, "a fast wrong answer is no answer"
    return best(lambda: thermocouple.temperature("K", volts, table))


def our_inverse(target):
    """Seconds for a million, from what criterion measured."""
    folder = pathlib.Path(target) / CRITERION
    estimates = json.loads((folder / "estimates.json").read_text())
    throughput = json.loads((folder / "benchmark.json").read_text())["throughput"]
    return estimates["median"]["point_estimate"] * 1e-9 * POINTS / throughput["Elements"]


def our_monte_carlo(program, file, threads):
    environment = {**os.environ, "RAYON_NUM_THREADS": str(threads)}
    command = [program, "budget", file, "--json"]

    def run():
        done = subprocess.run(command, env=environment, capture_output=True, check=False)
        assert done.returncode in (0, 1), done.stderr.decode()  # 1: the accuracy asked is not met

    return best(run)


def row(what, numpy_seconds, ours, note):
    print(f"{what:44} {numpy_seconds:8.3f} s {ours:8.3f} s {numpy_seconds / ours:7.1f} x   {note}")


def main():
    program, file = (sys.argv[1:3] + [None, None])[:2]
    peer = physics.Peer(chainfile.load(file)) if file else None
    print(f"NumPy {np.__version__}, {os.cpu_count()} cores")
    print(f"{'':44} {'NumPy':>10} {'icepoint':>10} {'ratio':>9}")
    inverse = numpy_inverse()
    if program is None:
        print(f"inverse of type K, {POINTS} points: {inverse:.3f} s")
        return 0
    target = os.environ.get("CARGO_TARGET_DIR", "target")
    row(f"inverse of type K, {POINTS} points", inverse, our_inverse(target), "one thread each")
    trials, points = peer.chain.trials, peer.chain.grid[0] * peer.chain.grid[1]
    numpy_seconds = best(lambda: peer.monte_carlo(trials, 1, block=8000), 2)
    what = f"Monte Carlo, {trials} boards x {points} points"
    row(what, numpy_seconds, our_monte_carlo(program, file, 1), "one thread each, ours with the whole budget")
    cores = os.cpu_count()
    row(what, numpy_seconds, our_monte_carlo(program, file, cores), f"ours on {cores} threads, as it is used")
    return 0


if __name__ == "__main__":
    sys.exit(main())
