"""Least largest error of a polynomial for temperature against emf, by linear programming: no Remez exchange.

Minimise E subject to |p(x) - T(x)| <= E at 1200 points of the emf range (SciPy, HiGHS; basis of Chebyshev polynomials),
then the error of that polynomial is looked for on a grid 10 times as dense: the least possible lies between both figures.
T is the inverse of the reference function by bisection to the last bit (NumPy), the functions those of
crates/icepoint-sensors/tests/peer/emf_mpmath.py.

    python3 minimax_scipy.py > minimax.csv        tests/minimax_peer.rs compares
"""

import pathlib
import sys

import numpy as np
from scipy.optimize import linprog

sys.path.insert(0, str(pathlib.Path(__file__).parents[3] / "icepoint-sensors" / "tests" / "peer"))
from emf_mpmath import BELL, FUNCTIONS  # noqa: E402

CASES = [
    ("N", 20.0, 1100.0, (1, 2, 3, 4, 5, 6, 7)),
    ("K", -100.0, 900.0, (2, 4, 6)),
    ("T", -80.0, 30.0, (1, 2, 3)),
    ("S", 0.0, 1600.0, (2, 4, 6)),
    ("B", 300.0, 1800.0, (3, 5)),
]


def emf(letter, t):
    """mV."""
    value = np.zeros_like(t)
    last = len(FUNCTIONS[letter]) - 1
    done = np.zeros(t.shape, bool)
    for i, (_, end, text) in enumerate(FUNCTIONS[letter]):
        here = ~done & ((t <= float(end)) if i < last else True)
        value[here] = np.polynomial.polynomial.polyval(t[here], [float(c) for c in text.split()])
        done |= here
    if letter == "K":
        warm = t > 0
        value[warm] += float(BELL[0]) * np.exp(float(BELL[1]) * (t[warm] - float(BELL[2])) ** 2)
    return value


def celsius(letter, mv, low, high):
    a, b = np.full_like(mv, low - 1.0), np.full_like(mv, high + 1.0)
    for _ in range(70):
        middle = 0.5 * (a + b)
        above = emf(letter, middle) > mv
        a, b = np.where(above, a, middle), np.where(above, middle, b)
    return 0.5 * (a + b)


def main():
    print("# least largest error of a polynomial, K: on 1200 points, and of that polynomial on 12000")
    print("type,low_celsius,high_celsius,degree,error_on_points_kelvin,error_between_kelvin")
    for letter, low, high, degrees in CASES:
        ends = emf(letter, np.array([low, high]))

        def sampled(count):
            x = -np.cos(np.pi * np.arange(count) / (count - 1))
            return x, celsius(letter, ends[0] + (ends[1] - ends[0]) * (x + 1) / 2, low, high)

        x, t = sampled(1200)
        fine, wanted = sampled(12000)
        for degree in degrees:
            basis = np.polynomial.chebyshev.chebvander(x, degree)
            ones = np.ones((len(x), 1))
            # In units of a least-squares fit's error, so that the solver's tolerance is relative to what is asked.
            start = np.linalg.lstsq(basis, t, rcond=None)[0]
            rest = t - basis @ start
            size = np.max(np.abs(rest))
            found = linprog(
                np.r_[np.zeros(degree + 1), 1.0],
                A_ub=np.block([[basis, -ones], [-basis, -ones]]),
                b_ub=np.r_[rest / size, -rest / size],
                bounds=[(None, None)] * (degree + 1) + [(0, None)],
                method="highs",
            )
            coefficients = start + size * found.x[:-1]
            between = np.max(np.abs(np.polynomial.chebyshev.chebval(fine, coefficients) - wanted))
            print(f"{letter},{low},{high},{degree},{size * found.x[-1]:.4e},{between:.4e}")


main()
