"""Quantities as people write them in a chain file: "4k7", "2.5 V ± 0.2 %", "120 dB", "AWG 20".

A second reading of docs/quantities.md, so that a number misread by one program shows in the other. Numbers come out in
SI units, temperatures in °C.
"""

import re
from math import pi, sqrt

PREFIX = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "": 1.0,
          "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}  # fmt: skip
# Units that take prefixes; longest first, so that "Hz" is not hertz without its H.
UNITS = ["V/√Hz", "A/√Hz", "V/rtHz", "A/rtHz", "V/K", "V/°C", "K/K", "K/W", "V/V", "Ω/m", "Ohm", "ohm", "Hz", "Ω", "Ω",
         "V", "A", "F", "H", "W", "K", "s", "m"]  # fmt: skip
FIXED = {"%": 1e-2, "‰": 1e-3, "ppm": 1e-6, "ppb": 1e-9, "ppm/K": 1e-6, "ppm/°C": 1e-6, "%/K": 1e-2, "%/°C": 1e-2,
         "ppm/V": 1e-6, "%/V": 1e-2, "/K": 1.0, "1/K": 1.0, "°C": 1.0, "degC": 1.0, "min": 60.0, "h": 3600.0,
         "bit": 1.0, "bits": 1.0, "in": 0.0254, "ft": 0.3048, "cm": 0.01, "": 1.0, "R": 1.0}  # fmt: skip
NUMBER = r"[+\-−]?\d+(?:[ \u00a0\u202f]?\d{3})*(?:\.\d+)?(?:[eE][+-]?\d+)?"


class NotAQuantity(ValueError):
    """The text can't be read."""


def _number(text):
    return float(re.sub(r"[ \u00a0\u202f]", "", text).replace("−", "-"))


def _scale(unit):
    if unit in FIXED:
        return FIXED[unit]
    for base in UNITS:
        if unit.endswith(base) and unit[: -len(base)] in PREFIX:
            return PREFIX[unit[: -len(base)]]
    if unit in PREFIX:
        return PREFIX[unit]
    raise NotAQuantity(f"unknown unit {unit!r}")


def value(text):
    """One number in SI units. Booleans and bare numbers pass through."""
    if not isinstance(text, str):
        return float(text)
    t = text.strip().replace("\u00a0", " ")
    marked = re.fullmatch(r"(\d+)([RLpnuµμmkKMGVT])(\d+)\s*[ΩF]?", t)  # 4k7, 4R7, 3V3: IEC 60062
    if marked:
        whole, letter, rest = marked.groups()
        scale = {"R": 1.0, "V": 1.0, "L": 1e-3}.get(letter) or PREFIX[letter]
        return float(f"{whole}.{rest}") * scale
    gauge = re.fullmatch(r"(?:AWG ?(\d+)|(\d+) ?AWG)", t)
    if gauge:  # ASTM B258
        return 0.127e-3 * 92 ** ((36 - int(gauge[1] or gauge[2])) / 39)
    m = re.fullmatch(rf"[±]?\s*({NUMBER})\s*(.*)", t)
    if not m:
        raise NotAQuantity(f"no number in {text!r}")
    number, unit = _number(m[1]), m[2].strip()
    if unit == "dB":
        return 10 ** (number / 20)
    if unit in ("mm²", "mm2"):
        return sqrt(4 * number * 1e-6 / pi)
    if unit == "°F":
        return (number - 32) / 1.8
    return number * _scale(unit)


def toleranced(text):
    """(value, half-width of its tolerance as a ratio; 0 if none is written)."""
    if not isinstance(text, str):
        return float(text), 0.0
    parts = re.split(r"±|\+/-", text)
    nominal = value(parts[0])
    if len(parts) == 1:
        return nominal, 0.0
    limit = value(parts[1])
    ratio = limit if re.search(r"%|ppm|‰", parts[1]) else limit / abs(nominal)
    return nominal, ratio


def interval(item):
    """(low, high) of a list of two, or of one temperature."""
    if isinstance(item, list):
        low, high = (value(x) for x in item)
        return low, high
    return value(item), value(item)


def lsb_or_volts(text, lsb):
    """A converter's error, in LSB or in V."""
    m = re.fullmatch(r"\s*±?\s*([\d.]+)\s*LSBs?\s*", text) if isinstance(text, str) else None
    return float(m[1]) * lsb if m else value(text)
