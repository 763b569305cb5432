"""The two front ends as netlists, for direct current (many boards at once) and for alternating current (many
frequencies at once). Written from the drawings in docs/front-ends.md.

A thermocouple is a source between two halves of the loop resistance; its measuring junction is tied to the plant by
1 nF (insulated) or 0.1 Ω (grounded), both common practice without a source.
"""

from math import pi

import numpy as np

from nodal import Nodal

JUNCTION_FARADS = 1e-9
JUNCTION_OHMS = 0.1

RESISTORS = {
    "instrumentation": {
        "R1": ("tc_plus", "in_plus"), "R2": ("tc_minus", "in_minus"), "R3": ("tc_minus", "bias"),
        "R4": ("supply", "tc_plus"), "R5": ("reference", "pedestal"), "R6": ("pedestal", "gnd"),
        "R7": ("amp", "middle"), "R8": ("middle", "low_pass"), "R9": ("filtered", "adc"),
    },
    "single-amplifier": {
        "R1": ("tc_plus", "in"), "R3": ("amp", "feedback"), "R4": ("feedback", "gnd"), "R5": ("sensor", "comp"),
        "R6": ("comp", "gnd"), "R7": ("supply", "tc_plus"), "R8": ("amp", "out"),
    },
    "diode-compensation": {
        "R1": ("tc_plus", "in"), "R3": ("amp", "feedback"), "R4": ("feedback", "gnd"), "R5": ("diode", "feedback"),
        "R9": ("reference", "diode"), "D1": ("diode", "gnd"), "R6": ("reference", "comp"), "R10": ("comp", "gnd"),
        "R7": ("supply", "tc_plus"), "R8": ("amp", "out"),
    },
    "thermistor-bridge": {
        "R1": ("tc_plus", "in"), "R3": ("amp", "feedback"), "R4": ("feedback", "arm"), "R5": ("reference", "divider"),
        "RT1": ("divider", "comp"), "R6": ("divider", "comp"), "R10": ("comp", "gnd"), "R9": ("reference", "arm"),
        "R11": ("arm", "gnd"), "R7": ("supply", "tc_plus"), "R8": ("amp", "out"),
    },
    "direct-converter": {
        "R1": ("tc_plus", "in_plus"), "R2": ("tc_minus", "in_minus"), "R3": ("mid", "tc_minus"),
        "R4": ("supply", "tc_plus"), "R5": ("reference", "mid"), "R6": ("mid", "gnd"),
    },
}  # fmt: skip
CAPACITORS = {
    "instrumentation": {
        "C1": ("in_plus", "in_minus"), "C2": ("in_plus", "gnd"), "C3": ("in_minus", "gnd"), "C4": ("pedestal", "gnd"),
        "C5": ("middle", "filtered"), "C6": ("low_pass", "gnd"), "C7": ("adc", "gnd"),
    },
    "single-amplifier": {
        "C1": ("in", "gnd"), "C2": ("amp", "feedback"), "C3": ("comp", "gnd"), "C4": ("out", "gnd"),
    },
    "direct-converter": {
        "C1": ("in_plus", "in_minus"), "C2": ("in_plus", "gnd"), "C3": ("in_minus", "gnd"), "C4": ("mid", "gnd"),
    },
}  # fmt: skip
UNKNOWN = {
    "instrumentation": ["tc_plus", "tc_minus", "in_plus", "in_minus", "bias", "pedestal", "amp", "middle", "low_pass",
                        "filtered", "adc", "junction"],
    "single-amplifier": ["tc_plus", "comp", "in", "feedback", "amp", "out", "sensor", "junction"],
    "diode-compensation": ["tc_plus", "comp", "in", "feedback", "amp", "out", "diode", "junction"],
    "thermistor-bridge": ["tc_plus", "comp", "in", "feedback", "amp", "out", "divider", "arm", "junction"],
    "direct-converter": ["tc_plus", "tc_minus", "in_plus", "in_minus", "mid", "junction"],
}  # fmt: skip
# Amplifier → non-inverting, inverting, output (and reference pin).
AMPLIFIERS = {
    "instrumentation": {
        "A1": ("in_plus", "in_minus", "amp", "bias"), "A2": ("pedestal", "bias", "bias"),
        "A3": ("low_pass", "filtered", "filtered"),
    },
    "single-amplifier": {"A1": ("in", "feedback", "amp")},
    "direct-converter": {},
}  # fmt: skip
for _kind in ("diode-compensation", "thermistor-bridge"):
    CAPACITORS[_kind], AMPLIFIERS[_kind] = CAPACITORS["single-amplifier"], AMPLIFIERS["single-amplifier"]
# Part that follows the temperature: a tangent (E in V, r in Ω) of a diode, or ohms; one of the resistors above.
SENSING = {"diode-compensation": "D1", "thermistor-bridge": "RT1"}
# Clamps: node that each guards, and the sign of its leakage into that node.
CLAMPS = {"direct-converter": {"D1": ("in_plus", 1), "D2": ("in_plus", -1), "D3": ("in_minus", 1), "D4": ("in_minus", -1)}}
OUTPUT_MINUS = {"direct-converter": "in_minus"}
OUTPUT = {"instrumentation": "adc", "single-amplifier": "out", "diode-compensation": "out", "thermistor-bridge": "out",
          "direct-converter": "in_plus"}  # fmt: skip
TERMINALS = {"instrumentation": ("tc_plus", "tc_minus"), "direct-converter": ("tc_plus", "tc_minus")}
for _kind in ("single-amplifier", "diode-compensation", "thermistor-bridge"):
    TERMINALS[_kind] = ("tc_plus", "comp")
# Resistors that the design puts into one network, when networks are used.
NETWORKS = {
    "instrumentation": {"RN1": ("R1", "R2"), "RN2": ("R5", "R6")},
    "single-amplifier": {"RN1": ("R3", "R4"), "RN2": ("R5", "R6")},
    "diode-compensation": {"RN1": ("R3", "R4"), "RN2": ("R6", "R10")},
    "thermistor-bridge": {"RN1": ("R3", "R4")},
    "direct-converter": {"RN1": ("R1", "R2")},
}
# Parts that always have another's value.
TWINS = {"R2": "R1", "C3": "C2"}


def figures(chain, amplifier):
    return chain.buffer if amplifier != "A1" and chain.buffer else chain.amplifier


def amplifier_row(net, pins, instrumentation, gain, error, inverse_gain, inverse_cmrr, right):
    """Operational: v₊ − v₋ + error + v_cm/CMRR = v_out·inverse_gain.
    Instrumentation: v_out·(1 + inverse_gain) = v_ref + gain·(v₊ − v₋ + error + v_cm/CMRR).
    `error` per column, `right` extra per column on the input side."""
    plus, minus, out = pins[:3]
    half = 0.5 * inverse_cmrr
    push = [e + r for e, r in zip(error, right)]
    if instrumentation:
        weights = [(out, 1 + inverse_gain), (pins[3], -1.0), (plus, -gain * (1 + half)), (minus, gain * (1 - half))]
        net.drive(out, weights, [gain * p for p in push])
    else:
        net.drive(out, [(out, inverse_gain), (plus, -(1 + half)), (minus, 1 - half)], push)


def direct(chain, p, batch):
    """(offset, gain) between thermocouple voltage and output, and the voltage of the reference, for parameters `p`:
    resistor values by designator; `gain` of A1; `offset`, `bias_plus`, `bias_minus`, `inverse_gain`, `inverse_cmrr` by
    amplifier; `supply`, `negative`, `reference`, `sensor` in V."""
    net, solution = direct_solution(chain, p, batch)
    kind = chain.topology
    out = net.of(solution, OUTPUT[kind])
    if kind in OUTPUT_MINUS:
        out = out - net.of(solution, OUTPUT_MINUS[kind])
    return out[:, 0], out[:, 1]


def direct_solution(chain, p, batch):
    """The net and its voltages: column 0 without thermocouple voltage, column 1 per volt of it."""
    kind = chain.topology
    held = {"supply": [p["supply"], 0.0]}
    if chain.reference:
        held["reference"] = [p["reference"], 0.0]
    unknown = list(UNKNOWN[kind])
    if kind == "single-amplifier" and chain.sensor_ohms == 0:
        unknown.remove("sensor")
        held["sensor"] = [p["sensor"], 0.0]
    net = Nodal(unknown, held, batch, 2)
    for name, pins in AMPLIFIERS[kind].items():
        f = figures(chain, name)
        amplifier_row(net, pins, f.instrumentation, p.get("gain"), [p["offset", name], 0.0],
                      p["inverse_gain", name], p["inverse_cmrr", name], [0.0, 0.0])  # fmt: skip
    for name, pins in AMPLIFIERS[kind].items():
        net.current(pins[0], 0, -p["bias_plus", name])
        net.current(pins[1], 0, -p["bias_minus", name])
    for name, (a, b) in RESISTORS[kind].items():
        if isinstance(p[name], tuple):
            source, ohms = p[name]
            net.admittance(a, b, 1.0 / ohms, emf=[-source, 0.0])
        else:
            net.admittance(a, b, 1.0 / p[name])
    for name, (node, sign) in CLAMPS.get(kind, {}).items():
        net.current(node, 0, sign * p["leakage", name])
    minus_input = OUTPUT_MINUS.get(kind)
    net.current(OUTPUT[kind], 0, -p.get("converter +", 0.0))
    if minus_input:
        net.current(minus_input, 0, -p["converter -"])
    if "sensor" in net.at:
        net.admittance("sensor", "gnd", 1.0 / chain.sensor_ohms, emf=[-p["sensor"], 0.0])
    net.admittance(OUTPUT[kind], minus_input or "gnd", 1.0 / chain.input_ohms)
    plus, minus = TERMINALS[kind]
    half = 0.5 * chain.loop_ohms
    net.admittance("junction", plus, 1.0 / half, emf=[0.0, 1.0])  # the source sits in this half
    net.admittance("junction", minus, 1.0 / half)
    if chain.grounded:
        net.admittance("junction", "gnd", 1.0 / JUNCTION_OHMS)
    return net, net.solve()


def alternating(chain, hertz, values=None, inverse_cmrr=None):
    """Transfers to the output at many frequencies, nominal values unless `values` (designator → Ω or F) say otherwise:
    {"thermocouple": …, "plant": …, ("resistor", name): V per A between its ends, ("voltage", amplifier): V/V,
    ("current", amplifier, pin): V per A}. Amplifiers have infinite gain at 0 Hz and one pole."""
    kind = chain.topology
    v = {**chain.values, **(values or {})}
    cmrr = inverse_cmrr or {}
    hertz = np.atleast_1d(np.asarray(hertz, float))
    s = 2j * pi * hertz
    resistors = dict(RESISTORS[kind])
    resistors["input"] = (OUTPUT[kind], OUTPUT_MINUS.get(kind, "gnd"))
    plus, minus = TERMINALS[kind]
    resistors["loop plus"], resistors["loop minus"] = ("junction", plus), ("junction", minus)
    if chain.grounded:
        resistors["tie"] = ("junction", "plant")
    ohms = {**v, "input": chain.input_ohms, "loop plus": chain.loop_ohms / 2, "loop minus": chain.loop_ohms / 2,
            "tie": JUNCTION_OHMS}  # fmt: skip
    if kind == "single-amplifier" and chain.sensor_ohms > 0:
        resistors["sensor output"] = ("sensor", "gnd")
        ohms["sensor output"] = chain.sensor_ohms
    sources = ["thermocouple", "plant"]
    sources += [("resistor", name) for name in resistors]
    for name in AMPLIFIERS[kind]:
        sources += [("voltage", name), ("current", name, 0), ("current", name, 1)]
    column = {source: k for k, source in enumerate(sources)}
    zero = [0.0] * len(sources)

    def unit(source):
        return [1.0 if k == column[source] else 0.0 for k in range(len(sources))]

    unknown = list(UNKNOWN[kind])
    held = {"supply": zero, "reference": zero, "plant": unit("plant")}
    if kind == "single-amplifier" and chain.sensor_ohms == 0:
        unknown.remove("sensor")
        held["sensor"] = zero
    net = Nodal(unknown, held, len(hertz), len(sources), complex)
    for name, pins in AMPLIFIERS[kind].items():
        f = figures(chain, name)
        pole = 1j * hertz / f.bandwidth
        gain = 1 + f.gain_constant / v["RG"] if f.instrumentation else None
        inverse = cmrr.get(name, 0.0)
        amplifier_row(net, pins, f.instrumentation, gain, zero, pole, inverse, unit(("voltage", name)))
    for name, pins in AMPLIFIERS[kind].items():
        for pin in (0, 1):
            net.current(pins[pin], column["current", name, pin], 1.0)
    for name, (a, b) in resistors.items():
        emf = unit("thermocouple") if name == "loop plus" else None
        net.admittance(a, b, 1.0 / ohms[name], emf)
        net.current(a, column["resistor", name], 1.0)
        net.current(b, column["resistor", name], -1.0)
    for name, (a, b) in CAPACITORS[kind].items():
        net.admittance(a, b, s * v[name])
    if not chain.grounded:
        net.admittance("junction", "plant", s * JUNCTION_FARADS)
    solution = net.solve()
    out = net.of(solution, OUTPUT[kind])
    if kind in OUTPUT_MINUS:
        minus = net.of(solution, OUTPUT_MINUS[kind])
        both, out = 0.5 * (out + minus), out - minus
    noisy = {n: ohms[n] for n in resistors} | chain.__dict__.get("noise_ohms", {})
    answer = {source: out[:, k] for source, k in column.items()}
    if kind in OUTPUT_MINUS:
        answer["plant, both inputs"] = both[:, column["plant"]]
    return answer, noisy
