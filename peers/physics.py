"""The measuring chain and its budget, computed from docs/model.md and the cited documents, with NumPy and SciPy.

Every board is a row of arrays, so the nominal chain, the ± steps of the GUM and the trials of a simulation go through
the same function `readings`. Nothing here was translated from the Rust code: circuits by `nodal`, inverses by Newton
and brentq, noise by a sum over frequencies, random numbers by numpy.random.
"""

from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from scipy import stats
from scipy.interpolate import CubicSpline

import circuits
import thermocouple

BOLTZMANN = 1.380649e-23  # J/K, exact (SI)
ZERO_CELSIUS = 273.15  # K
AT = 25.0  # °C: data-sheet figures are stated there
NOISE_BAND = (0.01, 1e5)  # Hz
PLATINUM_A, PLATINUM_B, PLATINUM_C = 3.9083e-3, -5.775e-7, -4.183e-12  # IEC 60751: 1/K, 1/K², 1/K⁴
LINE_SPREAD = 0.01  # relative: EN 50160, ±1 % for 99.5 % of a year


@dataclass(frozen=True)
class Deviation:
    """One imperfection: rectangle (half-width), one-sided rectangle (0…size), normal (σ) or sine (amplitude)."""

    id: str
    shape: str
    size: float
    reading: bool = False  # drawn anew for each reading
    dof: float = inf
    life: str = "board"  # "later": not there yet at the calibration; "occasion": one value then, another in use

    @property
    def mean(self):
        return 0.5 * self.size if self.shape == "one-sided" else 0.0

    @property
    def standard(self):
        return self.size / {"rectangle": sqrt(3), "one-sided": sqrt(12), "normal": 1.0, "sine": sqrt(2)}[self.shape]

    def draw(self, rng, count):
        if self.shape == "rectangle":
            return rng.uniform(-self.size, self.size, count)
        if self.shape == "one-sided":
            return rng.uniform(0.0, self.size, count)
        if self.shape == "normal":
            return self.size * rng.standard_normal(count)
        return self.size * np.sin(rng.uniform(0.0, 2 * pi, count))


class Peer:
    """A chain ready to be asked."""

    def __init__(self, chain):
        self.chain = chain
        for twin, first in circuits.TWINS.items():
            if first in chain.values and chain.topology == "instrumentation":
                chain.values.setdefault(twin, chain.values[first])
                chain.tolerance.setdefault(twin, chain.tolerance[first])
        wanted = [*circuits.RESISTORS[chain.topology], *circuits.CAPACITORS[chain.topology]]
        if chain.topology == "instrumentation":
            wanted.append("RG")
        missing = [name for name in wanted if name not in chain.values]
        if missing:
            raise ValueError(f"parts still open: {', '.join(missing)}; run `icepoint design` first")
        low, high = chain.hot
        margin = 150.0
        start = max(low - margin, thermocouple.SEGMENTS[chain.letter][0][0] + 100.0)
        self.table = thermocouple.inverse_start(chain.letter, start, high + margin)
        self.noise = self._noise()
        self.mains = self._mains()
        self.deviations = self._deviations()
        self.mean = {d.id: d.mean for d in self.deviations}
        # Constants of the firmware: everything at its mean, board at 25 °C.
        self.reference_nominal = 1.0
        offset, gain, reference, _ = self._board(AT, self.mean, 1)
        self.a, self.b, self.reference_nominal = float(offset[0]), float(gain[0]), float(np.ravel(reference)[0])

    # ---- imperfections -------------------------------------------------------------------------------------------

    def _deviations(self):
        c = self.chain
        rows = []

        def add(id, size, shape="rectangle", reading=False, dof=inf, life="board"):
            if size > 0 and np.isfinite(size):
                rows.append(Deviation(id, shape, size, reading, dof, life))

        add("probe.tolerance", 0.5 if c.probe_normal else 1.0, "normal" if c.probe_normal else "rectangle")
        add("probe.drift", c.probe_drift, life="later")
        add("lead.tolerance", 1.0 if c.cable_volts else 0.0)
        add("junction.accuracy", c.sensor_accuracy)
        add("junction.drift", c.sensor_drift)
        add("junction.gradient", c.gradient, life="occasion")
        add("junction.self_heating", c.self_heating, "one-sided")
        if c.analog:
            add("junction.bow", c.sensor_bow)
        elif c.element not in ("digital", "circuit"):
            if c.element == "thermistor":
                add("junction.r25", c.r25_tolerance)
                add("junction.beta", c.beta_tolerance)
            else:
                add("junction.class", 1.0)
            add("junction.divider", c.divider_tolerance)
            add("junction.divider_tempco", c.resistor_limits.tempco)
            add("junction.quantisation", 0.5 * c.step / c.reference[0], life="occasion")
        names = [*circuits.RESISTORS[c.topology]] + (["RG"] if "RG" in c.values else [])
        networks = circuits.NETWORKS[c.topology] if c.network else {}
        inside = {name: net for net, members in networks.items() for name in members}
        for name in names:
            if name == circuits.SENSING.get(c.topology):
                continue
            tolerance, tempco = c.network if name in inside else (c.tolerance[name], c.resistor_limits.tempco)
            add(f"{name}.tolerance", tolerance)
            add(f"{name}.tempco", tempco)
            add(f"{name}.ageing", c.resistor_limits.ageing, life="later")
        for net, members in networks.items():
            add(f"{net}.tolerance", c.tolerance[members[0]])
            add(f"{net}.tempco", c.resistor_limits.tempco)
        for name in circuits.AMPLIFIERS[c.topology]:
            f = circuits.figures(c, name)
            add(f"{name}.offset", f.offset)
            add(f"{name}.offset_drift", f.offset_drift)
            add(f"{name}.bias", f.bias)
            add(f"{name}.offset_current", f.offset_current)
            add(f"{name}.cmrr", 1 / f.cmrr)
            add(f"{name}.psrr", c.supply_change / f.psrr, life="occasion")
            if f.instrumentation:
                add(f"{name}.gain_error", f.gain_error)
                add(f"{name}.gain_drift", f.gain_drift)
                add(f"{name}.gain_nonlinearity", f.gain_nonlinearity, reading=True)
            else:
                add(f"{name}.open_loop_gain", 1 / f.open_loop_gain, "one-sided")
        add("VS.supply", c.supply[1], life="occasion")
        if c.reference:
            add("VREF.initial", c.reference[1])
            add("VREF.drift", c.reference_drift)
            add("VREF.supply_regulation", c.reference_regulation * c.supply_change, life="occasion")
            # The pedestal's divider is what loads the reference.
            add("VREF.load_regulation", c.reference_ohms * c.reference[0] * self._reference_load())
        add("converter.quantisation", c.step / 2, reading=True)
        add("converter.offset", c.converter_offset)
        add("converter.gain", c.converter_gain)
        add("converter.nonlinearity", c.converter_inl, reading=True)
        add("converter.noise", c.converter_noise / sqrt(c.samples), "normal", reading=True)
        add("noise.circuit", self.noise, "normal", reading=True)
        add("mains.series", self.mains["series"], "sine", reading=True)
        add("mains.common", self.mains["common"], "sine", reading=True)
        add("mains.harmonics", self.mains["harmonics"], "sine", reading=True)
        # What a calibration brings in. Quantisation and non-linearity stay however many readings are averaged.
        kept = averaged = 0.0
        for d in rows:
            if d.reading and d.id.endswith(("quantisation", "nonlinearity")):
                kept += d.standard**2
            elif d.reading:
                averaged += d.standard**2
        n = c.plan_readings
        spread = sqrt(averaged / n + kept)
        share = averaged / n / spread**2 if spread else 0.0
        dof = (n - 1) / share**2 if share > 0 and n > 1 else inf
        if c.source:
            add("calibration.source_gain", c.source[0])
            add("calibration.source_offset", c.source[1])
            add("calibration.thermometer", c.plan_thermometer)
        for k in range(min(2, len(c.plan_at))):
            if c.bath is not None:
                add(f"calibration.reference.{k + 1}", c.bath)
            add(f"calibration.reading.{k + 1}", spread, "normal", dof=dof)
        for d in [d for d in rows if d.life == "occasion"]:
            add(f"calibration.{d.id}", d.size, d.shape)
        return rows

    def _reference_load(self):
        """Conductance of the resistors on the reference, S, their far ends at ground."""
        v = self.chain.values
        if self.chain.topology == "diode-compensation":
            return 1 / v["R9"] + 1 / (v["R6"] + v["R10"])
        if self.chain.topology == "thermistor-bridge":
            return 1 / v["R5"] + 1 / (v["R9"] + v["R11"])
        return 1 / (v["R5"] + v["R6"])

    # ---- one board -----------------------------------------------------------------------------------------------

    def _parameters(self, board, d):
        c = self.chain
        warm = board - AT
        get = lambda id: d.get(id, 0.0)
        networks = circuits.NETWORKS[c.topology] if c.network else {}
        inside = {name: net for net, members in networks.items() for name in members}

        def resistor(name):
            change = get(f"{name}.tolerance") + get(f"{name}.ageing") + get(f"{name}.tempco") * warm
            if name in inside:
                change = change + get(f"{inside[name]}.tolerance") + get(f"{inside[name]}.tempco") * warm
            return c.values[name] * (1.0 + change)

        sensing = circuits.SENSING.get(c.topology)
        p = {name: resistor(name) for name in circuits.RESISTORS[c.topology] if name != sensing}
        for name in circuits.AMPLIFIERS[c.topology]:
            f = circuits.figures(c, name)
            p["offset", name] = get(f"{name}.offset") + get(f"{name}.offset_drift") * warm + get(f"{name}.psrr")
            p["bias_plus", name] = get(f"{name}.bias") + 0.5 * get(f"{name}.offset_current")
            p["bias_minus", name] = get(f"{name}.bias") - 0.5 * get(f"{name}.offset_current")
            p["inverse_cmrr", name] = get(f"{name}.cmrr")
            p["inverse_gain", name] = get(f"{name}.open_loop_gain")
            if f.instrumentation:
                own = get(f"{name}.gain_error") + get(f"{name}.gain_drift") * warm
                p["gain"] = (1.0 + f.gain_constant / resistor("RG")) * (1.0 + own)
        p["supply"] = c.supply[0] * (1.0 + get("VS.supply"))
        if c.reference:
            relative = get("VREF.initial") + get("VREF.drift") * warm
            p["reference"] = c.reference[0] * (1.0 + relative) + get("VREF.supply_regulation")
            p["reference"] = p["reference"] + get("VREF.load_regulation")
        told = board + get("junction.accuracy") + get("junction.self_heating") + get("junction.drift") * warm
        if not c.analog and c.element not in ("digital", "circuit"):
            told = self._resistive_sensor(told, warm, get)
        if c.analog:
            span = max(abs(c.board[0] - AT), abs(c.board[1] - AT))
            bow = get("junction.bow") * (warm / span) ** 2
            p["sensor"] = c.sensor_at_0 + c.sensor_slope * (told + bow)
        return p, told

    def _resistive_sensor(self, celsius, warm, get):
        """What firmware makes of a resistor in a divider on the converter's own reference, with nominal figures: the
        share f of the reference gives R = D·f/(1 − f). Thermistor by beta, platinum by IEC 60751."""
        c = self.chain
        kelvin, at = celsius + ZERO_CELSIUS, AT + ZERO_CELSIUS
        arm = c.divider * (1 + get("junction.divider") + get("junction.divider_tempco") * warm)
        if c.element == "thermistor":
            beta = c.beta * (1 + get("junction.beta"))
            ohms = c.r25 * (1 + get("junction.r25")) * np.exp(beta * (1 / kelvin - 1 / at))
        else:
            fixed, share = c.platinum_class
            true = celsius + get("junction.class") * (fixed + share * np.abs(celsius))
            cold = np.where(true < 0, PLATINUM_C, 0.0)
            ohms = 100 * (1 + PLATINUM_A * true + PLATINUM_B * true**2 + cold * (true - 100) * true**3)
        f = ohms / (ohms + arm) + get("junction.quantisation")
        told = c.divider * f / (1 - f)
        if c.element == "thermistor":
            return 1 / (1 / at + np.log(told / c.r25) / c.beta) - ZERO_CELSIUS
        t = (-PLATINUM_A + np.sqrt(PLATINUM_A**2 - 4 * PLATINUM_B * (1 - told / 100))) / (2 * PLATINUM_B)
        for _ in range(4):  # below 0 °C the cubic term; Newton from the quadratic's root
            cold = np.where(t < 0, PLATINUM_C, 0.0)
            error = 100 * (1 + PLATINUM_A * t + PLATINUM_B * t**2 + cold * (t - 100) * t**3) - told
            t = t - error / (100 * (PLATINUM_A + 2 * PLATINUM_B * t + cold * (4 * t - 300) * t**2))
        return t

    def _board(self, board, d, batch):
        """Output offset and gain, relative reference, and the temperature that the sensor tells."""
        p, told = self._parameters(board, d)
        offset, gain = circuits.direct(self.chain, p, batch)
        reference = p["reference"] / self.chain.reference[0] / self.reference_nominal if self.chain.reference else 1.0
        return offset, gain, np.asarray(reference), told

    def _emf(self, celsius):
        return thermocouple.emf(self.chain.letter, celsius)

    def _hot_emf(self, hot, d, shift=0.0):
        c = self.chain
        limit = max(c.limit_fixed, c.limit_share * abs(hot))
        drift = d.get("probe.drift", 0.0) * hot / max(abs(c.hot[0]), abs(c.hot[1]))
        return self._emf(hot + shift + d.get("probe.tolerance", 0.0) * limit + drift)

    def _cable(self, board, terminals, d):
        c = self.chain
        if not c.cable_volts:
            return 0.0
        low, high = c.head
        head = high if abs(high - board) >= abs(low - board) else low
        return d.get("lead.tolerance", 0.0) * c.cable_volts * np.clip((head - terminals) / c.cable_full, -1.0, 1.0)

    def _rule_volts(self, output, reference, d, reading):
        c = self.chain
        u = output + d.get("converter.offset", 0.0)
        if reading:
            for row in self.deviations:
                if row.reading:
                    u = u + d.get(row.id, 0.0)
        u = u * (1.0 + d.get("converter.gain", 0.0)) / reference
        u = np.clip(u, *c.converter_span)
        return u if c.rule == "line" else (u - self.a) / self.b

    def _celsius(self, volts, told):
        c = self.chain
        if c.rule == "line":
            return (volts - c.line[1]) / c.line[0]
        return thermocouple.temperature(c.letter, volts + self._emf(told), self.table)

    def _corrections(self, d, batch):
        """(offset, gain) in the rule's volts after no, one and two points."""
        c = self.chain
        d = dict(d)
        for row in self.deviations:
            if row.life == "later":
                d[row.id] = 0.0
            elif row.life == "occasion":
                d[row.id] = d.get(f"calibration.{row.id}", 0.0)
        board = c.plan_board
        offset, gain, reference, told = self._board(board, d, batch)
        terminals = board + d.get("junction.gradient", 0.0)
        target, found = [], []
        for k, celsius in enumerate(c.plan_at[:2], start=1):
            if c.rule == "line":
                target.append(c.line[1] + c.line[0] * celsius)
            else:
                target.append(self._emf(celsius) - self._emf(told))
            if c.source:
                known = terminals + d.get("calibration.thermometer", 0.0)
                set_volts = self._emf(celsius) - self._emf(known)
                v = set_volts * (1 + d.get("calibration.source_gain", 0.0)) + d.get("calibration.source_offset", 0.0)
            else:
                hot = self._hot_emf(celsius, d, d.get(f"calibration.reference.{k}", 0.0))
                v = hot - self._emf(terminals) + self._cable(board, terminals, d)
            output = offset + gain * v + d.get(f"calibration.reading.{k}", 0.0)
            found.append(self._rule_volts(output, reference, d, reading=False))
        corrections = [(0.0, 1.0), (target[0] - found[0], 1.0)]
        if len(target) == 2:
            slope = (target[1] - target[0]) / (found[1] - found[0])
            corrections.append((target[0] - slope * found[0], slope))
        else:
            corrections.append(corrections[1])
        return corrections

    def readings(self, d, batch, hot, board):
        """°C: [wish, board, hot, trial] for the deviations `d` (id → array over trials; absent: zero)."""
        out = np.empty((3, len(board), len(hot), batch))
        corrections = self._corrections(d, batch)
        hot_emf = [self._hot_emf(t, d) for t in hot]
        for row, b in enumerate(board):
            offset, gain, reference, told = self._board(b, d, batch)
            terminals = b + d.get("junction.gradient", 0.0)
            cold = self._emf(terminals)
            cable = self._cable(b, terminals, d)
            for column, e in enumerate(hot_emf):
                u = self._rule_volts(offset + gain * (e - cold + cable), reference, d, reading=True)
                for wish, (shift, scale) in enumerate(corrections):
                    out[wish, row, column] = self._celsius(shift + scale * u, told)
        return out

    def grid(self):
        hot = np.linspace(*self.chain.hot, self.chain.grid[0])
        board = np.linspace(*self.chain.board, self.chain.grid[1])
        return hot, board

    # ---- noise and mains -----------------------------------------------------------------------------------------

    def digital(self, hertz):
        """Magnitude of the mean over whole mains periods."""
        n, rate = self.chain.samples, self.chain.rate
        if n == 1:
            return np.ones_like(hertz)
        x = pi * np.asarray(hertz) / rate
        small = np.abs(np.sin(x)) < 1e-9
        return np.where(small, 1.0, np.abs(np.sin(n * x)) / np.where(small, 1.0, n * np.abs(np.sin(x))))

    def _density(self, hertz):
        """Noise at the output, V²/Hz, at the hottest board."""
        c = self.chain
        transfer, ohms = circuits.alternating(c, hertz)
        total = np.zeros(len(hertz))
        kelvin = ZERO_CELSIUS + c.board[1]
        for name, r in ohms.items():
            total += 4 * BOLTZMANN * kelvin / r * np.abs(transfer["resistor", name]) ** 2
        for name in circuits.AMPLIFIERS[c.topology]:
            f = circuits.figures(c, name)
            total += f.noise**2 * (1 + f.corner / hertz) * np.abs(transfer["voltage", name]) ** 2
            for pin in (0, 1):
                total += f.current_noise**2 * np.abs(transfer["current", name, pin]) ** 2
        return total

    def _noise(self):
        """V rms at the converter after the digital filter: a spline of the smooth analog density, summed finely."""
        low, high = NOISE_BAND
        knots = np.geomspace(low, high, 1200)
        spline = CubicSpline(np.log(knots), np.log(self._density(knots)))
        density = lambda f: np.exp(spline(np.log(f)))
        if self.chain.samples == 1:
            f = np.geomspace(low, high, 40_001)
            return sqrt(np.trapezoid(density(f) * f, np.log(f)))
        # Below the first null a logarithmic grid, above it 32 points for every lobe of the mean.
        null = self.chain.rate / self.chain.samples
        f = np.geomspace(low, 0.5 * null, 20_001)
        total = np.trapezoid(density(f) * self.digital(f) ** 2 * f, np.log(f))
        edges = np.linspace(0.5 * null, high, int(high / null) * 32 + 1)
        for part in np.array_split(np.arange(len(edges) - 1), max(1, len(edges) // 400_000)):
            f = edges[part[0] : part[-1] + 2]
            total += np.trapezoid(density(f) * self.digital(f) ** 2, f)
        return sqrt(total)

    def _mains(self):
        """Amplitudes in V at the converter after all filters, and the gains behind them."""
        c = self.chain
        all_of_it = self._line(c.mains)
        square = 0.0
        for multiple, share in c.harmonics:
            line = self._line(multiple * c.mains)
            square += share**2 * (line["series"] ** 2 + line["common"] ** 2)
        return all_of_it | {"harmonics": sqrt(square)}

    def _line(self, f):
        """One line of the mains as strong as the fundamental, at frequency f (Hz)."""
        c = self.chain
        transfer, _ = circuits.alternating(c, [f])
        dc = abs(circuits.alternating(c, [1e-6])[0]["thermocouple"][0])
        series = abs(transfer["thermocouple"][0])
        nominal = transfer["plant"][0]
        square = abs(nominal) ** 2
        for name in [*circuits.RESISTORS[c.topology], *circuits.CAPACITORS[c.topology]]:
            moved = {name: c.values[name] * (1 + c.tolerance[name] / sqrt(3))}
            square += abs(circuits.alternating(c, [f], moved)[0]["plant"][0] - nominal) ** 2
        for name in circuits.AMPLIFIERS[c.topology]:
            step = {name: 1 / circuits.figures(c, name).cmrr / sqrt(3)}
            square += abs(circuits.alternating(c, [f], inverse_cmrr=step)[0]["plant"][0] - nominal) ** 2
        around = f * (1 + LINE_SPREAD * np.linspace(-1, 1, 2001))
        left = float(np.max(self.digital(around)))
        common = sqrt(square)
        return {
            "gain": dc, "series_gain": series, "common_gain": common, "digital": left,
            "series": sqrt(2) * c.series_pickup * series * left,
            "common": sqrt(2) * c.common_pickup * common * left,
        }  # fmt: skip

    # ---- budget --------------------------------------------------------------------------------------------------

    def gum(self):
        """(nominal readings [wish, board, hot], contributions [wish, board, hot, deviation])."""
        hot, board = self.grid()
        count = len(self.deviations)
        d = {row.id: np.full(2 * count + 1, row.mean) for row in self.deviations}
        for i, row in enumerate(self.deviations):
            d[row.id][2 * i] += row.standard
            d[row.id][2 * i + 1] -= row.standard
        out = self.readings(d, 2 * count + 1, hot, board)
        return out[..., -1], 0.5 * (out[..., 0:-1:2] - out[..., 1:-1:2])

    def expanded(self, contributions):
        """(standard, k, 95 % expanded) by Welch–Satterthwaite, JCGM 100 G.4, last axis over deviations."""
        standard = np.sqrt(np.sum(contributions**2, axis=-1))
        dof = np.array([row.dof for row in self.deviations])
        below = np.sum(contributions**4 / dof, axis=-1)
        with np.errstate(divide="ignore"):
            effective = np.floor(np.minimum(standard**4 / below, 1e12))
        k = stats.t.ppf(0.975, np.maximum(effective, 1.0))
        return standard, k, k * standard

    def monte_carlo(self, trials, seed, progress=None, block=4000):
        """(errors [wish, board, hot, trial] in K, share of boards within the accuracy [wish])."""
        hot, board = self.grid()
        rng = np.random.default_rng(seed)
        errors = np.empty((3, len(board), len(hot), trials), dtype=np.float32)
        for start in range(0, trials, block):
            count = min(block, trials - start)
            d = {row.id: row.draw(rng, count) for row in self.deviations}
            out = self.readings(d, count, hot, board)
            errors[..., start : start + count] = out - hot[None, None, :, None]
            if progress:
                progress(start + count)
        good = np.mean(np.max(np.abs(errors), axis=(1, 2)) <= self.chain.accuracy, axis=-1)
        return errors, good
