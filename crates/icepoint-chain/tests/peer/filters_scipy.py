"""Prints what crates/icepoint-chain/tests/filters.rs compares with: filters by SciPy and NumPy.

    python crates/icepoint-chain/tests/peer/filters_scipy.py > crates/icepoint-chain/tests/peer/filters.csv

Poles come from scipy.signal (Bessel by its own root finder, Butterworth and Chebyshev from the definition), scaled so that
the response is 3 dB below that at 0 Hz at the corner. Settling is read off the step response as a sum of residues. Digital
filters are run sample by sample over a sine. Spreads of pole frequency and Q are a Monte Carlo of part values. Bands are
what 95 % of boards do: nodal analysis of every drawn board with its amplifier, steps by residues or the closed form of a pair.
"""

import sys
from math import pi, sqrt

import numpy as np
from scipy import optimize, signal

RESPONSES = ["bessel", "butterworth", "chebyshev 0.1", "chebyshev 0.5", "chebyshev 1", "chebyshev 3", "critically damped"]


def zpk(response, n):
    """Poles with the response 3 dB down at 1 rad/s, gain 1 at 0."""
    if response == "bessel":
        _, p, _ = signal.bessel(n, 1.0, analog=True, output="zpk", norm="mag")
    elif response == "butterworth":
        _, p, _ = signal.butter(n, 1.0, analog=True, output="zpk")
    elif response == "critically damped":
        return np.full(n, -1 / sqrt(2 ** (1 / n) - 1), dtype=complex)
    else:
        _, p, _ = signal.cheby1(n, float(response.split()[1]), 1.0, analog=True, output="zpk")
    level = lambda w: np.prod(np.abs(p)) / np.prod(np.abs(1j * w - p)) - sqrt(0.5)
    # From above: the response only falls there.
    high = 10.0
    while level(high / 1.01) < 0:
        high /= 1.01
    return p / optimize.brentq(level, high / 1.01, high, xtol=1e-15, rtol=1e-15)


def stages(p):
    """(frequency, Q or 0) of every single pole and pair, by Q."""
    upper = [s for s in p if s.imag > 1e-9]
    real = sorted([s for s in p if abs(s.imag) <= 1e-9], key=abs)
    if len(real) > 1:  # equal poles count as pairs
        return [(abs(s), 0.0) for s in real[: len(real) % 2]] + [(abs(real[0]), 0.5)] * (len(real) // 2)
    return sorted([(abs(s), 0.0) for s in real] + [(abs(s), -abs(s) / (2 * s.real)) for s in upper], key=lambda x: x[1])


def settling(p, fraction):
    """Time until the step stays within `fraction` of its end, in units of 1/(2π·corner)."""
    t = np.linspace(0, 120, 1_200_001)
    k = np.real(np.prod(-p))
    n = len(p)
    if n > 1 and np.max(np.abs(p - p[0])) < 1e-9:  # equal poles: 1 − e^−x·Σ xᵏ/k!
        x = t * abs(p[0])
        term, total = np.ones_like(x), np.ones_like(x)
        for i in range(1, n):
            term = term * x / i
            total = total + term
        rest = np.exp(-x) * total
    else:
        residues = [k / s / np.prod(s - np.delete(p, i)) for i, s in enumerate(p)]
        rest = np.abs(np.real(sum(r * np.exp(s * t) for r, s in zip(residues, p))))
    last = np.nonzero(np.abs(rest) > fraction)[0][-1]
    return t[last] + 0.5 * (t[1] - t[0])


def weights(kind, n):
    """Impulse response of `n` samples: a mean, or n means in a row for sinc (order, n)."""
    if kind == "mean":
        return np.full(n, 1 / n)
    w = np.ones(1)
    for _ in range(int(kind[4:])):
        w = np.convolve(w, np.full(n, 1 / n))
    return w


def amplitude(run, rate, hertz, lead):
    """Amplitude of the filter's answer to a sine of amplitude 1, as the largest over phases of the input."""
    count = lead + 4
    k = np.arange(count)
    both = [run(trig(2 * pi * hertz * k / rate))[-1] for trig in (np.cos, np.sin)]
    found = float(np.hypot(*both))
    return found if found > 1e-12 else 0.0  # a null is rounding


def smoothing(samples, a):
    return signal.lfilter([a], [1, a - 1], samples)


def sallen_key(r1, r2, c1, c2):
    w0 = 1 / np.sqrt(r1 * r2 * c1 * c2)
    return w0 / (2 * pi), np.sqrt(r1 * r2 * c1 * c2) / (c2 * (r1 + r2))


def multiple_feedback(r1, r2, r3, c1, c2):
    w0 = 1 / np.sqrt(r2 * r3 * c1 * c2)
    return w0 / (2 * pi), 1 / (w0 * c2 * (r2 + r3 + r2 * r3 / r1))


# Stages of two and four Butterworth poles: R1, R2, C1, C2 of each.
BUILT = [
    [(182e3, 42.2e3, 330e-9, 100e-9)],
    [(215e3, 78.7e3, 150e-9, 100e-9), (95.3e3, 26.7e3, 1e-6, 100e-9)],
]
# The board of tests/model/boards/kiln.toml: limits that the parts are drawn within.
R_TOLERANCE, R_TEMPCO, BOARD, SPECIFIED_AT = 0.01, 50e-6, (5.0, 55.0), 25.0
C_TOLERANCE = 0.10 + 0.001 * 30  # tolerance and 0.1 %/K over what the board is off 25 degC
BANDWIDTH, BANDWIDTH_SPREAD, OPEN_LOOP_GAIN = 350e3, 0.3, 1e6


def sallen_key_nodal(hertz, r1, r2, c1, c2, bandwidth, inverse_gain):
    """out/in of one stage: Kirchhoff at both nodes, the amplifier as plus - out = out*(1/A + s/(2*pi*GBW))."""
    s = 2j * pi * hertz
    error = inverse_gain + s / (2 * pi * bandwidth)
    one, zero = np.ones_like(r1 + error), np.zeros_like(r1 + error)
    # Unknown: the inner node, the (+) input, the output; the input is 1.
    rows = [
        [1 / r1 + 1 / r2 + s * c1, -1 / r2 * one, -s * c1 * one],
        [-1 / r2 * one, 1 / r2 + s * c2, zero],
        [zero, one, -(1 + error) * one],
    ]
    matrix = np.stack([np.stack([e * one for e in row], axis=-1) for row in rows], axis=-2)
    driven = np.stack([one / r1, zero, zero], axis=-1)
    return np.linalg.solve(matrix, driven[..., None])[..., 2, 0]


def bands(rng, parts, mains, count):
    """Nominal value, lower and upper end of 95 % for corner, mains in dB, overshoot (one pair only), settling to 0.1 %."""

    def draw(limit, n=count):
        return 1 + limit * rng.uniform(-1, 1, n)

    def figures(stages, n):
        magnitude = lambda f: np.prod([np.abs(sallen_key_nodal(f, *s)) for s in stages], axis=0)
        at_zero = magnitude(np.full(n, 1e-9))
        low, high = np.full(n, 1e-2), np.full(n, 1e4)  # no peaking: the magnitude only falls
        for _ in range(60):
            middle = np.sqrt(low * high)
            above = magnitude(middle) > at_zero * sqrt(0.5)
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        found = [low, 20 * np.log10(magnitude(np.full(n, mains)) / at_zero)]
        # Steps with the amplifier's pole left out: it is five decades above.
        poles = [sallen_key(*s[:4]) for s in stages]
        if len(stages) == 1:
            found.append(np.exp(-pi / np.sqrt(4 * poles[0][1] ** 2 - 1)))
        every = []
        for f, q in poles:
            root = np.sqrt((1 - 4 * q**2).astype(complex))
            every += [2 * pi * f / (2 * q) * (-1 + root), 2 * pi * f / (2 * q) * (-1 - root)]
        every = np.stack(every)
        times = np.linspace(0, 24 / (2 * pi * float(np.median(low))), 2401)
        rest = np.zeros((n, len(times)))
        for i, pole in enumerate(every):
            others = np.delete(every, i, axis=0)
            residue = np.prod(-every, axis=0) / pole / np.prod(pole - others, axis=0)
            rest += np.real(residue[:, None] * np.exp(pole[:, None] * times))
        last = len(times) - 1 - np.argmax(np.abs(rest[:, ::-1]) > 1e-3, axis=1)
        assert np.all(last < len(times) - 1)
        k = np.arange(n)
        before, after = rest[k, last], rest[k, last + 1]
        share = (np.abs(before) - 1e-3) / np.abs(before - after)
        found.append((last + share) * times[1])
        return found

    warm = BOARD[0] + (BOARD[1] - BOARD[0]) * rng.uniform(0, 1, count) - SPECIFIED_AT
    resistor = lambda v: v * (draw(R_TOLERANCE) + R_TEMPCO * rng.uniform(-1, 1, count) * warm)
    drawn = [(resistor(r1), resistor(r2), c1 * draw(C_TOLERANCE), c2 * draw(C_TOLERANCE),
              BANDWIDTH * draw(BANDWIDTH_SPREAD), rng.uniform(0, 1, count) / OPEN_LOOP_GAIN)
             for r1, r2, c1, c2 in parts]  # fmt: skip
    nominal = [tuple(np.array([v]) for v in (*p, BANDWIDTH, 0.0)) for p in parts]
    for one, all_boards in zip(figures(nominal, 1), figures(drawn, count)):
        yield one[0], *np.quantile(all_boards, [0.025, 0.975])


def main():
    print("# what, parameters, figures: printed by filters_scipy.py")
    for response in RESPONSES:
        for n in range(1, 5):
            p = zpk(response, n)
            figures = " ".join(f"{f:.10f} {q:.10f}" for f, q in stages(p))
            print(f"poles,{response},{n},{figures}")
            print(f"settling,{response},{n},{settling(p, 0.01):.4f} {settling(p, 0.001):.4f}")
    for kind, n, rate in [("mean", 20, 1000.0), ("mean", 50, 500.0), ("mean", 17, 1000.0), ("sinc1", 100, 1000.0),
                          ("sinc2", 25, 1250.0), ("sinc3", 16, 800.0), ("sinc4", 12, 600.0)]:  # fmt: skip
        w = weights(kind, n)
        run = lambda x: np.convolve(x, w, mode="valid")
        for hertz in [5.0, 49.5, 50.0, 50.5, 151.5, 247.5, 353.5, 950.0, 990.0, 1010.0, 2475.0]:
            print(f"digital,{kind} {n} {rate:g},{hertz:g},{amplitude(run, rate, hertz, len(w)):.10e}")
    a = -np.expm1(-1 / (1000.0 * 0.1))
    for hertz in [1.0, 49.5, 50.5, 151.5, 990.0, 1010.0]:
        print(f"digital,first 0.1 1000,{hertz:g},{amplitude(lambda x: smoothing(x, a), 1000.0, hertz, 20_000):.8e}")
    # Rectangular tolerances: resistors 1 %, capacitors 10 %.
    rng = np.random.default_rng(20261125)
    for form, law, r, c in [("sallen-key", sallen_key, (82e3, 100e3), (1e-6, 0.47e-6)),
                            ("sallen-key", sallen_key, (47e3, 220e3), (2.2e-6, 0.1e-6)),
                            ("multiple-feedback", multiple_feedback, (91e3, 91e3, 43e3), (1e-6, 0.1e-6)),
                            ("multiple-feedback", multiple_feedback, (33e3, 33e3, 68e3), (2.2e-6, 0.047e-6))]:  # fmt: skip
        draw = lambda values, limit: [v * (1 + limit * rng.uniform(-1, 1, 1_000_000)) for v in values]
        f, q = law(*draw(r, 0.01), *draw(c, 0.10))
        f0, q0 = law(*r, *c)
        parts = " ".join(f"{v:g}" for v in (*r, *c))
        print(f"spread,{form},{parts},{f0:.8f} {q0:.8f} {f.std() / f0:.5f} {q.std() / q0:.5f}")
    # 10 Hz, E96 and E6, in the place of the low-pass of the tests' kiln.
    for parts in BUILT:
        figures = " ".join(f"{v:.6f}" for three in bands(rng, parts, 50.0, 20_000) for v in three)
        print(f"band,{' '.join(f'{v:g}' for stage in parts for v in stage)},{figures}")


if __name__ == "__main__":
    sys.exit(main())
