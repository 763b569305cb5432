"""Reads a chain file into plain numbers (SI, °C). Only what the two example chains use; anything else is refused, so
that the peers never answer a question that they do not understand.

Defaults are those of docs/chain-file.md.
"""

import tomllib
from math import exp, inf, log
from types import SimpleNamespace

import numpy as np

from quantity import interval, lsb_or_volts, toleranced, value

# Loop resistance of thermocouple wire, Ω per double foot at 20 °C, both conductors: published reference table, by gauge
# number.
LOOP_OHMS = {
    "K": {20: 0.589, 22: 0.937, 24: 1.490, 26: 2.369, 28: 3.767, 30: 5.990},
    "N": {20: 0.783, 22: 1.245, 24: 1.980, 26: 3.148, 28: 5.006, 30: 7.960},
    "T": {20: 0.304, 22: 0.483, 24: 0.768, 26: 1.221, 28: 1.942, 30: 3.088},
}
METRES_PER_FOOT = 0.3048

# IEC 60584-1: limit = max(a, b·|t|) in K, by type and class.
CLASS = {("K", 1): (1.5, 0.004), ("K", 2): (2.5, 0.0075), ("N", 1): (1.5, 0.004), ("N", 2): (2.5, 0.0075),
         ("T", 1): (0.5, 0.004), ("T", 2): (1.0, 0.0075)}  # fmt: skip

# IEC 60584-3: tolerance of extension cables in V by class, and the upper end of their range in °C.
CABLE = {"KX": ({1: 60e-6, 2: 100e-6}, 200.0), "NX": ({1: 60e-6, 2: 100e-6}, 200.0), "TX": ({1: 30e-6, 2: 60e-6}, 100.0)}

# IEC 60751: limit = fixed + share·|t| in K, by class.
PLATINUM = {"AA": (0.10, 0.0017), "A": (0.15, 0.002), "B": (0.30, 0.005), "C": (0.60, 0.01)}


class Refused(ValueError):
    """Something that the peers do not model."""


def loop_ohms_per_metre(letter, metres):
    """Between the gauges of the table the logarithm goes straight: a gauge is a fixed ratio of areas (ASTM B258)."""
    gauge = 36 - 39 * log(metres / 0.127e-3, 92)
    rows = sorted(LOOP_OHMS[letter].items())
    if not rows[0][0] - 1e-9 <= gauge <= rows[-1][0] + 1e-9:
        raise Refused(f"no loop resistance for a diameter of {1e3 * metres} mm")
    return exp(np.interp(gauge, [g for g, _ in rows], [log(ohms) for _, ohms in rows])) / METRES_PER_FOOT


def harmonics(given):
    """(multiple, share of the fundamental) of every harmonic; compatibility levels of IEC 61000-2-2 in %, from memory."""
    if given == "none":
        return []
    if given != "IEC 61000-2-2":
        return [(k, value(share)) for k, share in enumerate(given, start=2) if value(share) > 0]
    level = {k: 2.27 * 17 / k - 0.27 for k in range(17, 50) if k % 2 and k % 3}
    level |= {k: 0.25 * 10 / k + 0.25 for k in range(10, 51, 2)}
    level |= {k: 0.2 for k in range(21, 51, 6)}
    level |= {2: 2, 3: 5, 4: 1, 5: 6, 6: 0.5, 7: 5, 8: 0.5, 9: 1.5, 11: 3.5, 13: 3, 15: 0.4, 21: 0.3}
    return [(k, level[k] / 100) for k in sorted(level)]


def load(path, values=None):
    """The chain of a file; `values` (designator → text) fills in parts that the file leaves open."""
    with open(path, "rb") as file:
        return read(tomllib.load(file), values or {})


def read(doc, values):
    c = SimpleNamespace(name=doc["chain"]["name"])
    need = doc["need"]
    c.hot, c.board = interval(need["hot"]), interval(need["board"])
    c.accuracy = value(need["accuracy"])
    c.mains = value(need.get("mains", "50 Hz"))
    c.harmonics = harmonics(need.get("harmonics", "IEC 61000-2-2"))
    c.series_pickup = value(need.get("series_pickup", "1 mV"))
    c.common_pickup = value(need.get("common_pickup", "1 V"))
    c.wish = {"none": 0, "zero": 1, "zero and span": 2}[need.get("calibration", "none")]
    _probe(c, doc)
    _lead(c, doc.get("lead"))
    _junction(c, doc["reference_junction"], doc.get("compensation"))
    _supply(c, doc["supply"])
    _converter(c, doc)
    _parts(c, doc, values)
    front = doc["front_end"]
    c.amplifier = _amplifier(doc["amplifier"][front["amplifier"]], c) if "amplifier" in front else None
    c.buffer = _amplifier(doc["amplifier"][front["buffer"]], c) if "buffer" in front else None
    _plan(c, doc)
    budget = doc.get("budget", {})
    c.trials, c.seed = int(budget.get("trials", 100_000)), int(budget.get("seed", 1))
    c.grid = (int(budget.get("hot_points", 11)), int(budget.get("board_points", 5)))
    if "calibration" in doc:
        raise Refused("a calibration that was done")
    return c


def _probe(c, doc):
    probe = doc["probe"]
    c.letter = probe["type"]
    words = probe["tolerance"].split()
    if words[:3] == ["IEC", "60584-1", "class"]:
        c.limit_fixed, c.limit_share = CLASS[c.letter, int(words[3])]
    else:
        c.limit_fixed, c.limit_share = value(probe["tolerance"]), 0.0
    c.probe_normal = probe.get("distribution", "rectangular") == "normal"
    c.probe_drift = value(probe.get("drift", "0 K"))
    c.grounded = probe.get("junction", "insulated") == "grounded"
    c.loop_ohms = value(probe.get("resistance", "10 Ω"))


def _lead(c, lead):
    c.cable_volts, c.cable_full, c.head = 0.0, 1.0, None
    if lead is None:
        return
    c.head = interval(lead["head"])
    c.loop_ohms += value(lead["length"]) * loop_ohms_per_metre(c.letter, value(lead["conductor"]))
    if lead["cable"] != "same wire":
        by_class, upper = CABLE[lead["cable"]]
        c.cable_volts, c.cable_full = by_class[int(lead["class"])], 0.5 * upper


def _junction(c, j, doc_compensation=None):
    c.analog = j["method"] == "analog"
    c.sensor_accuracy = value(j.get("accuracy", "0 K") if j["method"] == "circuit" else j["accuracy"])
    c.sensor_drift = value(j.get("drift", "0 K/K"))
    c.gradient = value(j.get("gradient", "0.3 K"))
    c.self_heating = value(j.get("self_heating", "0.05 K"))
    if c.analog:
        c.sensor_slope, c.sensor_at_0 = value(j["sensor_slope"]), value(j["sensor_at_0"])
        c.sensor_bow = value(j.get("sensor_nonlinearity", "0.2 K"))
        c.sensor_ohms = value(j.get("output_resistance", "0 Ω"))
        return
    c.element = "circuit" if j["method"] == "circuit" else j.get("element", "digital")
    if c.element == "circuit":
        c.self_heating = value(j.get("self_heating", "0 K"))
        c.compensation = doc_compensation
    if c.element in ("digital", "circuit"):
        return
    c.divider, c.divider_tolerance = value(j["divider_resistor"]), value(j.get("divider_tolerance", "1 %"))
    if c.element == "thermistor":
        c.r25, c.beta = value(j["r25"]), value(j["beta"])
        c.r25_tolerance, c.beta_tolerance = value(j.get("tolerance", "1 %")), value(j.get("beta_tolerance", "1 %"))
    elif c.element == "platinum":
        c.platinum_class = PLATINUM[j["class"]]
    else:
        raise Refused(f"reference-junction element {c.element!r}")


def _supply(c, s):
    c.supply = toleranced(s["positive"])
    c.negative = toleranced(s.get("negative", "0 V"))
    # Largest change of the voltage between the rails.
    c.supply_change = abs(c.supply[0] * c.supply[1]) + abs(c.negative[0] * c.negative[1])


def _converter(c, doc):
    conv = doc["converter"]
    c.input_ohms = value(conv.get("input_resistance", "10 MΩ"))
    c.reference = None
    if conv["kind"] == "adc":
        c.reference = toleranced(conv["reference"])
        low, high = interval(conv["span"]) if "span" in conv else (0.0, c.reference[0])
        c.converter_gain_before = float(conv.get("gain", 1))
        low, high = low / c.converter_gain_before, high / c.converter_gain_before
        lsb = (high - low) / 2 ** int(conv["bits"])
        c.input_current = value(conv.get("input_current", "0 A"))
        c.input_difference = value(conv.get("input_current_difference", "0 A"))
        c.input_cmrr = value(conv["cmrr"]) if "cmrr" in conv else inf
        c.reference_drift = value(conv.get("reference_drift", "50 ppm/K"))
        c.reference_regulation = value(conv.get("reference_supply_regulation", "100 µV/V"))
        c.reference_ohms = value(conv.get("reference_load_regulation", "0.1 Ω"))
        c.converter_span = (low, high - lsb)
        c.converter_offset = lsb_or_volts(conv.get("offset", "2 LSB"), lsb)
        c.converter_gain = value(conv.get("gain_error", "0.1 %"))
        c.converter_inl = lsb_or_volts(conv.get("integral_nonlinearity", "2 LSB"), lsb)
        c.converter_noise = lsb_or_volts(conv.get("noise", "0.5 LSB"), lsb)
    else:
        lsb = value(conv["resolution"])
        c.converter_span = interval(conv["span"])
        c.converter_offset, c.converter_gain = value(conv["range_error"]), value(conv["reading_error"])
        c.converter_inl = c.converter_noise = 0.0
    c.step = lsb
    f = doc.get("filter", {"digital": "none"})
    kind = f.get("digital", "none")
    if kind == "mean":
        rate = value(f["sample_rate"])
        periods = int(f.get("over_periods", 1))
        c.samples = max(1, round(periods * rate / c.mains))
        c.rate = rate
    elif kind == "none":
        c.samples, c.rate = 1, inf
    else:
        raise Refused(f"digital filter {kind!r}")
    rule = doc["readout"]
    c.rule = rule["rule"]
    if c.rule == "line":
        c.line = (value(rule["slope"]), value(rule.get("offset", "0 V")))
    elif c.rule != "emf inverse":
        raise Refused(f"reading rule {c.rule!r}")


def _parts(c, doc, values):
    parts = doc.get("parts", {})
    r, cap = parts.get("resistors", {}), parts.get("capacitors", {})
    c.resistor_limits = SimpleNamespace(
        tolerance=value(r.get("tolerance", "1 %")),
        tempco=value(r.get("tempco", "100 ppm/K")),
        ageing=value(r.get("ageing", "0 %")),
    )
    network = r.get("network")
    c.network = (value(network["tolerance"]), value(network["tempco"])) if network else None
    reach = max(abs(c.board[0] - 25.0), abs(c.board[1] - 25.0))
    # The change of a capacitor over the board's range counts as part of its tolerance.
    spread = value(cap.get("tempco", "0.1 %/K")) * reach
    front = doc["front_end"]
    c.topology = front["topology"]
    c.values, c.tolerance = {}, {}
    given = {**front.get("values", {}), **values}
    for designator, text in given.items():
        if text == "open":
            continue
        nominal, own = toleranced(text)
        c.values[designator] = nominal
        usual = value(cap.get("tolerance", "10 %")) if designator[0] == "C" else c.resistor_limits.tolerance
        stated = front.get("tolerance", {}).get(designator)
        limit = value(stated) if stated else (own or usual)
        c.tolerance[designator] = limit + (spread if designator[0] == "C" else 0.0)


def _amplifier(a, c):
    f = SimpleNamespace(
        instrumentation=a["kind"] == "instrumentation",
        offset=value(a["offset_max"]),
        offset_drift=value(a["offset_drift_max"]),
        bias=value(a["bias_max"]),
        offset_current=value(a["offset_current_max"]) if "offset_current_max" in a else None,
        bandwidth=value(a["bandwidth"]),
        cmrr=value(a["cmrr"]),
        psrr=value(a["psrr"]),
        noise=value(a["noise"]),
        corner=value(a.get("corner", "0 Hz")),
        current_noise=value(a.get("current_noise", "10 fA/√Hz")),
    )
    if f.offset_current is None:
        raise Refused("an amplifier without offset_current_max")
    if f.instrumentation:
        f.gain_constant = value(a["gain_constant"])
        f.gain_error = value(a["gain_error"])
        f.gain_drift = value(a["gain_drift"])
        span = c.reference[0] if c.reference else c.supply[0]
        f.gain_nonlinearity = value(a.get("gain_nonlinearity", "20 ppm")) * span
    else:
        f.open_loop_gain = value(a["open_loop_gain"])
    return f


def _plan(c, doc):
    plan = doc.get("calibration_plan")
    if plan is None:
        raise Refused("a chain without a calibration plan")
    c.plan_at = [value(t) for t in plan["at"]]
    c.plan_board = value(plan.get("board", "23 °C"))
    c.plan_readings = int(plan.get("readings", 16))
    c.plan_thermometer = value(plan.get("thermometer", "0.2 K"))
    c.source = c.bath = None
    if plan["method"] == "millivolt source":
        c.source = (value(plan["source_reading_error"]), value(plan["source_range_error"]))
    else:
        c.bath = value(plan["bath_accuracy"])
