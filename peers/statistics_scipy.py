#!/usr/bin/env python3
"""Published uncertainty examples, recomputed with SciPy.

The Rust tests in crates/icepoint-chain/tests/published/ hold our code against the same documents. Here SciPy is held
against them, so that a figure copied wrongly, or a document that disagrees with arithmetic, shows on one side only.

    python peers/statistics_scipy.py [-v]
"""

import sys
from math import erf, pi, sqrt

import numpy as np
from scipy import stats

from agree import Agreement
from thermocouple import emf, slope

# JCGM 100:2008, table G.2: t_p(nu) for p = 68.27, 90, 95, 95.45, 99 and 99.73 %; figures from memory, all recomputed.
# The odd coverages are those of 1, 2 and 3 standard deviations of a normal distribution, not the rounded per cents.
G2_COVERAGE = [erf(1 / sqrt(2)), 0.90, 0.95, erf(2 / sqrt(2)), 0.99, erf(3 / sqrt(2))]
G2 = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.80), 2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22), 4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51), 6: (1.09, 1.94, 2.45, 2.52, 3.71, 4.90),
    7: (1.08, 1.89, 2.36, 2.43, 3.50, 4.53), 8: (1.07, 1.86, 2.31, 2.37, 3.36, 4.28),
    9: (1.06, 1.83, 2.26, 2.32, 3.25, 4.09), 10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96),
    11: (1.05, 1.80, 2.20, 2.25, 3.11, 3.85), 12: (1.04, 1.78, 2.18, 2.23, 3.05, 3.76),
    13: (1.04, 1.77, 2.16, 2.21, 3.01, 3.69), 14: (1.04, 1.76, 2.14, 2.20, 2.98, 3.64),
    15: (1.03, 1.75, 2.13, 2.18, 2.95, 3.59), 16: (1.03, 1.75, 2.12, 2.17, 2.92, 3.54),
    17: (1.03, 1.74, 2.11, 2.16, 2.90, 3.51), 18: (1.03, 1.73, 2.10, 2.15, 2.88, 3.48),
    19: (1.03, 1.73, 2.09, 2.14, 2.86, 3.45), 20: (1.03, 1.72, 2.09, 2.13, 2.85, 3.42),
    25: (1.02, 1.71, 2.06, 2.11, 2.79, 3.33), 30: (1.02, 1.70, 2.04, 2.09, 2.75, 3.27),
    35: (1.01, 1.69, 2.03, 2.07, 2.72, 3.23), 40: (1.01, 1.68, 2.02, 2.06, 2.70, 3.20),
    45: (1.01, 1.68, 2.01, 2.06, 2.69, 3.18), 50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16),
}  # fmt: skip
G2_HUNDRED = (1.005, 1.660, 1.984, 2.025, 2.626, 3.077)
G2_INFINITE = (1.000, 1.645, 1.960, 2.000, 2.576, 3.000)

# JCGM 100:2008, H.1: contributions to the end gauge's length in nm, with their degrees of freedom.
H1 = [(25.0, 18), (5.8, 24), (3.9, 5), (6.7, 8), (2.9, 50), (16.6, 2)]

HALF_DIGIT = 0.5  # of the last printed digit: a table can't say more
EDGE = 1e-4  # lets a value on the edge of a digit pass
TRIALS = 1_000_000  # JCGM 101, 7.2.2 asks for 10 000/(1 − p) = 200 000


def welch_satterthwaite(contributions):
    """JCGM 100, G.4.1."""
    total = sum(u * u for u, _ in contributions)
    return total * total / sum(u**4 / dof for u, dof in contributions if np.isfinite(dof))


def check_g2(a):
    def row(nu, printed, unit):
        for p, t in zip(G2_COVERAGE, printed, strict=True):
            a.near(f"t({p:.4f}, {nu})", stats.t.ppf((1 + p) / 2, nu), t, (HALF_DIGIT + EDGE) * unit, group="GUM G.2")

    for nu, printed in G2.items():
        row(nu, printed, 0.01)
    row(100, G2_HUNDRED, 0.001)
    row(1e12, G2_INFINITE, 0.001)


def check_h1(a):
    u = sqrt(sum(u * u for u, _ in H1))
    dof = welch_satterthwaite(H1)
    a.near("H.1 combined, nm", u, 32, 0.5, group="GUM H.1")
    a.near("H.1 degrees of freedom, truncated", np.floor(dof), 16, 0, group="GUM H.1")
    t = stats.t.ppf(0.995, np.floor(dof))
    a.near("H.1 t99", t, 2.92, 0.005, group="GUM H.1")
    # The document multiplies the rounded figures, 2.92 · 32 nm; unrounded it is 92.5 nm.
    a.near("H.1 U99, nm", t * u, 93, 0.6, group="GUM H.1")


def check_jcgm101(a):
    """Additive model of four inputs: exact by convolution where there is a closed form, and by simulation."""
    rng = np.random.default_rng(20260801)
    half = sqrt(3)
    cases = [
        ("9.2.2", [("n", 1)] * 4, 2.0, 3.92, 3.92, 0.005),
        ("9.2.3", [("r", 1)] * 4, 2.0, 3.92, 3.88, 0.005),
        ("9.2.4", [("r", 1)] * 3 + [("r", 10)], sqrt(103), 19.9, 17.0, 0.05),
    ]
    for clause, inputs, u, gum, mcm, printed in cases:
        a.near(f"{clause} u", sqrt(sum(s * s for _, s in inputs)), u, 1e-12, group="JCGM 101 9.2")
        a.near(f"{clause} GUM interval", stats.norm.ppf(0.975) * u, gum, printed * 1.01, group="JCGM 101 9.2")
        y = sum(
            s * (rng.standard_normal(TRIALS) if kind == "n" else half * (2 * rng.random(TRIALS) - 1))
            for kind, s in inputs
        )
        low, high = np.quantile(y, [0.025, 0.975])
        # Standard error of a quantile is √(p(1 − p)/M)/f; the density there is at least 0.005, so 4 of them are 0.03 sd.
        density = stats.gaussian_kde(y[:20000])(mcm)[0]
        allowed = printed + 4 * sqrt(0.025 * 0.975 / TRIALS) / density
        a.near(f"{clause} simulated low", low, -mcm, allowed, group="JCGM 101 9.2")
        a.near(f"{clause} simulated high", high, mcm, allowed, group="JCGM 101 9.2")
    # Four equal rectangles: Irwin–Hall, exact. P(Y <= y) for the sum s of four U(0,1): s = y/(2√3) + 2.
    # Beyond s = 3 it is 1 − (4 − s)^4/24, so the upper 97.5 % point is closed.
    exact = 2 * half * (4 - (24 * 0.025) ** 0.25 - 2)
    a.near("9.2.3 exact", exact, 3.88, 0.005, group="JCGM 101 9.2")


def check_ea_4_02_s5(a):
    """EA-4/02 M, S5: a type N thermocouple at 1000 °C against two of type R; figures from memory."""
    c = 0.077  # K/µV
    furnace = [0.10, 0.15, 1.00 * c, 0.29 * c, 1.15 * c, 0.058 * 0.407, 0.173, 0.577]
    printed = [0.10, 0.15, 0.077, 0.022, 0.089, 0.024, 0.173, 0.577]
    for found, row in zip(furnace, printed, strict=True):
        a.near("S5 furnace row, K", found, row, 0.0006, group="EA-4/02 S5")
    u_furnace = sqrt(sum(x * x for x in furnace))
    a.near("S5 furnace, K", u_furnace, 0.641, 0.0006, group="EA-4/02 S5")
    emf_rows = [1.60, 1.00, 0.29, 1.15, 2.9, 38.5 * 0.641, 25.6 * 0.058]
    u = sqrt(sum(x * x for x in emf_rows))
    # 38.5 · 0.641 is 24.68; the document prints 24.5 for the row and 25.0 for the sum: both round to 25 µV.
    a.near("S5 emf of type N, µV", u, 25.0, 0.5, group="EA-4/02 S5")
    a.near("S5 expanded, µV", 2 * u, 50.0, 1.0, group="EA-4/02 S5")
    a.near("S5 estimate, µV", 36248.0 - 38.5 * 0.5, 36229.0, 0.5, group="EA-4/02 S5")
    # What the reference functions say of the sensitivities. Printed as K/µV to two figures (0.026, 0.039, 0.189).
    a.near("N at 1000 °C, µV/K", 1e6 * slope("N", 1000.0), 38.5, 0.15, group="S5 sensitivities")
    a.near("N at 0 °C, K/µV", 1e-6 / slope("N", 1e-9), 0.039, 0.0005, group="S5 sensitivities")
    a.near("R at 0 °C, K/µV", 1e-6 / slope("R", 1e-9), 0.189, 0.0005, group="S5 sensitivities")
    # The printed 0.077 K/µV for R at 1000 °C is 1.9 % above 1/(13.23 µV/K) of the reference function.
    a.near("R at 1000 °C, K/µV", 1e-6 / slope("R", 1000.0), 0.077, 0.0015, group="S5 sensitivities")
    a.near("R over R at 0 °C", slope("R", 1e-9) / slope("R", 1000.0), 0.407, 0.008, group="S5 sensitivities")
    a.near("N at 1000 °C, µV", 1e6 * emf("N", 1000.0), 36256.0, 0.5, group="S5 sensitivities")


def check_distributions(a):
    """A sine at any phase and a rectangle: standard deviations a/√2 and a/√3 (JCGM 100, 4.3.7; 101, 6.4.6)."""
    x = np.linspace(0, 2 * pi, 200_001)[:-1]
    a.near("arcsine", np.std(np.sin(x)), 1 / sqrt(2), 1e-9, group="distributions")
    a.near("rectangle", stats.uniform(-1, 2).std(), 1 / sqrt(3), 1e-12, group="distributions")
    a.near("one-sided rectangle", stats.uniform(0, 1).std(), 1 / sqrt(12), 1e-12, group="distributions")


def main():
    a = Agreement("statistics", verbose="-v" in sys.argv)
    for check in (check_g2, check_h1, check_jcgm101, check_ea_4_02_s5, check_distributions):
        check(a)
    return a.close()


if __name__ == "__main__":
    sys.exit(main())
