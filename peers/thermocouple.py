"""Reference functions of the thermocouple types that the peers need, and their inverse, in NumPy.

Coefficients: NIST Monograph 175 / NIST SRD 60 (= IEC 60584-1), emf in mV against °C (ITS-90), ascending powers, digit
for digit as printed. Here everything outside is in V and °C.
"""

import numpy as np
from scipy.optimize import brentq

# Per segment: lowest and highest temperature in °C, coefficients in mV/°C^n, and (a0, a1, a2) of type K's exponential.
# fmt: off
SEGMENTS = {
    "K": [
        (-270.0, 0.0, (
            0.000000000000e+00, 0.394501280250e-01, 0.236223735980e-04, -0.328589067840e-06,
            -0.499048287770e-08, -0.675090591730e-10, -0.574103274280e-12, -0.310888728940e-14,
            -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22,
        ), None),
        (0.0, 1372.0, (
            -0.176004136860e-01, 0.389212049750e-01, 0.185587700320e-04, -0.994575928740e-07,
            0.318409457190e-09, -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18,
            0.971511471520e-22, -0.121047212750e-25,
        ), (0.118597600000e+00, -0.118343200000e-03, 0.126968600000e+03)),
    ],
    "N": [
        (-270.0, 0.0, (
            0.000000000000e+00, 0.261591059620e-01, 0.109574842280e-04, -0.938411115540e-07,
            -0.464120397590e-10, -0.263033577160e-11, -0.226534380030e-13, -0.760893007910e-16,
            -0.934196678350e-19,
        ), None),
        (0.0, 1300.0, (
            0.000000000000e+00, 0.259293946010e-01, 0.157101418800e-04, 0.438256272370e-07,
            -0.252611697940e-09, 0.643118193390e-12, -0.100634715190e-14, 0.997453389920e-18,
            -0.608632456070e-21, 0.208492293390e-24, -0.306821961510e-28,
        ), None),
    ],
    "T": [
        (-270.0, 0.0, (
            0.000000000000e+00, 0.387481063640e-01, 0.441944343470e-04, 0.118443231050e-06,
            0.200329735540e-07, 0.901380195590e-09, 0.226511565930e-10, 0.360711542050e-12,
            0.384939398830e-14, 0.282135219250e-16, 0.142515947790e-18, 0.487686622860e-21,
            0.107955392700e-23, 0.139450270620e-26, 0.797951539270e-30,
        ), None),
        (0.0, 400.0, (
            0.000000000000e+00, 0.387481063640e-01, 0.332922278800e-04, 0.206182434040e-06,
            -0.218822568460e-08, 0.109968809280e-10, -0.308157587720e-13, 0.454791352900e-16,
            -0.275129016730e-19,
        ), None),
    ],
    "R": [
        (-50.0, 1064.18, (
            0.000000000000e+00, 0.528961729765e-02, 0.139166589782e-04, -0.238855693017e-07,
            0.356916001063e-10, -0.462347666298e-13, 0.500777441034e-16, -0.373105886191e-19,
            0.157716482367e-22, -0.281038625251e-26,
        ), None),
        (1064.18, 1664.5, (
            0.295157925316e+01, -0.252061251332e-02, 0.159564501865e-04, -0.764085947576e-08,
            0.205305291024e-11, -0.293359668173e-15,
        ), None),
        (1664.5, 1768.1, (
            0.152232118209e+03, -0.268819888545e+00, 0.171280280471e-03, -0.345895706453e-07,
            -0.934633971046e-14,
        ), None),
    ],
}
# fmt: on


def _segment(letter, t, index):
    low, high, c, extra = SEGMENTS[letter][index]
    e = np.zeros_like(t)
    d = np.zeros_like(t)
    for a in reversed(c):  # Horner, value and derivative together
        d = d * t + e
        e = e * t + a
    if extra:
        a0, a1, a2 = extra
        bump = a0 * np.exp(a1 * (t - a2) ** 2)
        e = e + bump
        d = d + 2 * a1 * (t - a2) * bump
    return 1e-3 * e, 1e-3 * d


def emf_and_slope(letter, celsius):
    """emf in V against a reference junction at 0 °C, and its derivative in V/K; any shape. Beyond the ends of the
    reference function it goes on along the tangent, so that a board drawn a little too hot still has a voltage."""
    t = np.asarray(celsius, dtype=float)
    segments = SEGMENTS[letter]
    low, high = segments[0][0], segments[-1][1]
    inside = np.clip(t, low, high)
    coldest, hottest = inside.min(), inside.max()
    e = d = None
    for index, (start, end, _, _) in enumerate(segments):
        if end < coldest or start > hottest:
            continue  # nothing lies in it
        e2, d2 = _segment(letter, inside, index)
        e, d = (e2, d2) if e is None else (np.where(inside > start, e2, e), np.where(inside > start, d2, d))
    return e + d * (t - inside), d


def emf(letter, celsius):
    """V."""
    return emf_and_slope(letter, celsius)[0]


def slope(letter, celsius):
    """V/K."""
    return emf_and_slope(letter, celsius)[1]


def temperature_brentq(letter, volts, low, high):
    """°C at one voltage: bracketing root finder on the reference function, to 1e-11 K."""
    return brentq(lambda t: float(emf(letter, t)) - volts, low, high, xtol=1e-11, rtol=8.9e-16)


def inverse_start(letter, low, high, count=4096):
    """A table (V, °C) from which Newton starts."""
    t = np.linspace(low, high, count)
    return emf(letter, t), t


def temperature(letter, volts, table):
    """°C for voltages of any shape: Newton on the reference function from a table. It converges quadratically (the
    slope changes by less than 1 % a kelvin where it is used), so after a step of 1e-5 K some 1e-12 K are left."""
    volts = np.asarray(volts, dtype=float)
    t = np.interp(volts, *table)
    for _ in range(20):
        e, d = emf_and_slope(letter, t)
        change = (volts - e) / d
        t = t + change
        if max(change.max(), -change.min()) < 1e-5:
            return t
    raise ArithmeticError("the inverse did not converge: is the range rising everywhere?")
