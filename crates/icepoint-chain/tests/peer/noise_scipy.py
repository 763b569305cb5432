"""Noise behind a first-order low-pass and a mean of samples, V²: the integral over frequency, lobe by lobe, from 0.01 Hz to
100 kHz, with 1 V²/Hz below the corner. Written from the definitions, without icepoint. The figures stand in
src/noise_weights.rs; run with NumPy and SciPy: python3 noise_scipy.py"""
import numpy as np
from scipy.integrate import quad

LOW, HIGH = 0.01, 1e5


def power(samples, rate, corner):
    lobe = rate / samples

    def density(f):
        mean = np.sinc(samples * f / rate) / np.sinc(f / rate)
        return mean**2 / (1 + (f / corner) ** 2)

    nodes, weights = np.polynomial.legendre.leggauss(24)  # no point falls on a multiple of the rate
    ends = np.concatenate([[LOW], np.arange(1, int(HIGH / lobe)) * lobe, [HIGH]])
    middle, half = (ends[:-1, None] + ends[1:, None]) / 2, (ends[1:, None] - ends[:-1, None]) / 2
    whole = (half * weights * density(middle + half * nodes)).sum()
    # The first lobes once more, adaptively.
    for k in range(1, 5):
        a, b = ends[k], ends[k + 1]
        again = quad(density, a, b, epsabs=1e-14)[0]
        once = ((b - a) / 2 * weights * density((a + b) / 2 + (b - a) / 2 * nodes)).sum()
        assert abs(once / again - 1) < 1e-9
    return whole


for corner in (20, 100, 300, 1000):
    print(f"mean of 20 at 1 kHz behind {corner} Hz: {power(20, 1000, corner):.6f} V²")
