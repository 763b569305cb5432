"""What budget_kiln.py and budget_bench.py have in common: command line, JSON in the shape of `icepoint budget --json`."""

import argparse
import json
import sys
import time
from math import sqrt

import numpy as np

import chainfile
import physics

CALIBRATIONS = ("none", "zero", "zero and span")

def end_errors(errors):
    """Standard error of a simulated 2.5 % and 97.5 % end: half the distance of the quantiles that are one standard
    error of a proportion away, √(p(1 − p)/M). Free of any assumption on the shape."""
    m = errors.shape[-1]
    step = sqrt(0.025 * 0.975 / m)
    q = np.quantile(errors, [0.025 - step, 0.025 + step, 0.975 - step, 0.975 + step], axis=-1)
    return 0.5 * (q[1] - q[0]), 0.5 * (q[3] - q[2])


def run(peer, trials, seed, quiet=True):
    """The whole budget as plain data."""
    started = time.perf_counter()
    hot, board = peer.grid()
    centre, contributions = peer.gum()
    _, _, expanded = peer.expanded(contributions)

    def progress(done):
        if not quiet:
            print(f"\r{done} of {trials} boards", end="", file=sys.stderr)

    errors, good = peer.monte_carlo(trials, seed, progress)
    if not quiet:
        print(file=sys.stderr)
    low, high = np.quantile(errors, [0.025, 0.975], axis=-1)
    low_error, high_error = end_errors(errors)
    spread, mean = errors.std(axis=-1, dtype=float), errors.mean(axis=-1, dtype=float)
    calibrations = []
    for wish, name in enumerate(CALIBRATIONS):
        grid = []
        for row, b in enumerate(board):
            for column, t in enumerate(hot):
                at = (wish, row, column)
                grid.append({
                    "hot_celsius": float(t),
                    "board_celsius": float(b),
                    "reading_celsius": float(centre[at]),
                    "gum_95_kelvin": float(expanded[at]),
                    "monte_carlo_95_kelvin": [float(low[at]), float(high[at])],
                    "monte_carlo_end_error_kelvin": [float(low_error[at]), float(high_error[at])],
                    "monte_carlo_mean_kelvin": float(mean[at]),
                    "monte_carlo_standard_kelvin": float(spread[at]),
                    "contributions": [
                        {"id": d.id, "standard_kelvin": float(abs(c))}
                        for d, c in zip(peer.deviations, contributions[at], strict=True)
                    ],
                })  # fmt: skip
        calibrations.append({"calibration": name, "yield": float(good[wish]), "grid": grid})
    return {
        "chain": peer.chain.name,
        "calibration": CALIBRATIONS[peer.chain.wish],
        "trials": trials,
        "seconds": time.perf_counter() - started,
        "noise_volts_rms": float(peer.noise),
        "mains_volts": {k: float(v) for k, v in peer.mains.items()},
        "transfer": {"offset_volts": peer.a, "gain": peer.b},
        "grid": calibrations[peer.chain.wish]["grid"],
        "yield": calibrations[peer.chain.wish]["yield"],
        "calibrations": calibrations,
    }


def main(default, topology, kind=physics.Peer):
    parser = argparse.ArgumentParser(description=f"The budget of {default}, from the physics with NumPy and SciPy.")
    parser.add_argument("file", nargs="?", default=default, help="chain file with every part chosen")
    parser.add_argument("--values", help="parts for a file that leaves them open, as 'R1=10 kΩ,C1=1 µF'")
    parser.add_argument("--trials", type=int, help="simulated boards; the file's number without it")
    parser.add_argument("--seed", type=int, default=20261101, help="seed of NumPy's generator")
    parser.add_argument("-o", "--output", help="write the JSON there and not to standard output")
    args = parser.parse_args()
    values = dict(item.split("=") for item in args.values.split(",")) if args.values else None
    chain = chainfile.load(args.file, values)
    if chain.topology != topology:
        parser.error(f"{args.file} has the {chain.topology} front end, this script is for {topology}")
    peer = kind(chain)
    text = json.dumps(run(peer, args.trials or chain.trials, args.seed, quiet=not sys.stderr.isatty()), indent=1)
    if args.output:
        with open(args.output, "w") as file:
            file.write(text + "\n")
    else:
        print(text)
    return 0
