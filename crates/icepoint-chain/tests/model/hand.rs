//! The two front ends as formulas. Every resistance, source and amplifier error is a field, so one can be moved alone.
//!
//! **From where.** Kirchhoff's laws; an amplifier as its data sheet defines it: `out/A = v₊ − v₋ + offset + v_cm/CMRR`,
//! `v_cm` the mean of the inputs, a bias current flowing into each input.

use icepoint_chain::chain::{Chain, ConverterKind, JunctionMethod};
use icepoint_chain::front_end::PartKind;

/// Errors of one amplifier.
#[derive(Clone, Copy, Debug, Default)]
pub struct Amp {
    pub offset: f64,
    pub bias_plus: f64,
    pub bias_minus: f64,
    pub inverse_cmrr: f64,
    pub inverse_gain: f64,
}

impl Amp {
    /// A follower: `out/A = plus − out + offset + (plus + out)/(2·CMRR)`.
    fn follower(&self, plus: f64) -> f64 {
        let half = 0.5 * self.inverse_cmrr;
        (plus * (1.0 + half) + self.offset) / (1.0 + self.inverse_gain - half)
    }
}

fn parallel(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}

/// Ω of a resistor of the chain.
fn ohms(chain: &Chain, designator: &str) -> f64 {
    chain.front_end.value(designator).unwrap_or_else(|| panic!("no {designator}"))
}

/// V of a supply or reference.
fn volts(chain: &Chain, designator: &str) -> f64 {
    match chain.front_end.part(designator).map(|p| &p.kind) {
        Some(PartKind::Supply { volts, .. } | PartKind::Reference { volts, .. }) => *volts,
        other => panic!("{designator} is {other:?}"),
    }
}

/// Probe and cable together, Ω.
fn wire(chain: &Chain) -> f64 {
    chain.probe.resistance + chain.lead.as_ref().map_or(0.0, |l| l.resistance)
}

/// The instrumentation amplifier with measured reference junction; resistors by their number.
#[derive(Clone, Debug)]
pub struct Instrumentation {
    pub supply: f64,
    pub reference: f64,
    pub nominal_reference: f64,
    pub wire: f64,
    /// R1 … R9; the first is not used.
    pub r: [f64; 10],
    pub rg: f64,
    pub gain_constant: f64,
    /// Gain over what RG sets.
    pub gain_factor: f64,
    pub a1: Amp,
    pub a2: Amp,
    pub a3: Amp,
    pub converter_input: f64,
}

impl Instrumentation {
    pub fn of(chain: &Chain) -> Self {
        let mut r = [f64::NAN; 10];
        for (i, r) in r.iter_mut().enumerate().skip(1) {
            *r = ohms(chain, &format!("R{i}"));
        }
        let ConverterKind::Adc { reference, .. } = chain.converter.kind else { panic!("no converter") };
        let Some(PartKind::Instrumentation { gain_constant, .. }) =
            chain.front_end.part("A1").map(|p| &p.kind)
        else {
            panic!("no A1")
        };
        Self {
            supply: volts(chain, "VS"),
            reference: volts(chain, "VREF"),
            nominal_reference: reference,
            wire: wire(chain),
            r,
            rg: ohms(chain, "RG"),
            gain_constant: *gain_constant,
            gain_factor: 1.0,
            a1: Amp::default(),
            a2: Amp::default(),
            a3: Amp::default(),
            converter_input: chain.converter.input_resistance,
        }
    }

    /// The buffered pedestal, V.
    pub fn pedestal(&self) -> f64 {
        let open = self.reference * self.r[6] / (self.r[5] + self.r[6]);
        self.a2.follower(open - self.a2.bias_plus * parallel(self.r[5], self.r[6]))
    }

    pub fn gain(&self) -> f64 {
        (1.0 + self.gain_constant / self.rg) * self.gain_factor
    }

    /// Voltage at the converter for a thermocouple voltage, V.
    pub fn output(&self, v: f64) -> f64 {
        let r = &self.r;
        let bias = self.pedestal();
        // One current flows from the supply through R4, the loop and R3 to the pedestal; the inputs take theirs.
        let current = (self.supply - bias - v + self.a1.bias_minus * r[3] - self.a1.bias_plus * r[4])
            / (r[4] + r[3] + self.wire);
        let minus = bias + (current - self.a1.bias_minus) * r[3];
        let plus = minus + v + current * self.wire;
        let (plus, minus) = (plus - self.a1.bias_plus * r[1], minus - self.a1.bias_minus * r[2]);
        let error = self.a1.offset + 0.5 * (plus + minus) * self.a1.inverse_cmrr;
        let amp = bias + self.gain() * (plus - minus + error);
        let filtered = self.a3.follower(amp - self.a3.bias_plus * (r[7] + r[8]));
        filtered * self.converter_input / (self.converter_input + r[9])
    }
}

/// One non-inverting amplifier with analog compensation.
#[derive(Clone, Debug)]
pub struct SingleAmplifier {
    pub supply: f64,
    pub wire: f64,
    /// R1, R3 … R8 at their numbers.
    pub r: [f64; 10],
    pub sensor_slope: f64,
    pub sensor_at_zero: f64,
    pub sensor_output: f64,
    pub a1: Amp,
    pub voltmeter_input: f64,
}

impl SingleAmplifier {
    pub fn of(chain: &Chain) -> Self {
        let mut r = [f64::NAN; 10];
        for i in [1, 3, 4, 5, 6, 7, 8] {
            r[i] = ohms(chain, &format!("R{i}"));
        }
        let JunctionMethod::Analog { slope, at_zero, output_resistance, .. } = chain.junction.method else {
            panic!("no analog sensor")
        };
        Self {
            supply: volts(chain, "VS"),
            wire: wire(chain),
            r,
            sensor_slope: slope,
            sensor_at_zero: at_zero,
            sensor_output: output_resistance,
            a1: Amp::default(),
            voltmeter_input: chain.converter.input_resistance,
        }
    }

    /// Voltage at the voltmeter for a thermocouple voltage and the temperature that the sensor tells, V.
    pub fn output(&self, v: f64, told: f64) -> f64 {
        let r = &self.r;
        let a = &self.a1;
        let upper = r[5] + self.sensor_output;
        let source = parallel(upper, r[6]);
        let open = (self.sensor_at_zero + self.sensor_slope * told) * r[6] / (upper + r[6]);
        // R7's current less the input's goes through the loop into the compensation.
        let current = (self.supply - open - v - r[7] * a.bias_plus) / (r[7] + source + self.wire);
        let terminal = open + v + current * (source + self.wire);
        let plus = terminal - a.bias_plus * r[1];
        let share = r[4] / (r[3] + r[4]);
        let half = 0.5 * a.inverse_cmrr;
        let amp = (plus * (1.0 + half) + a.offset + a.bias_minus * parallel(r[3], r[4]) * (1.0 - half))
            / (a.inverse_gain + share * (1.0 - half));
        amp * self.voltmeter_input / (self.voltmeter_input + r[8])
    }
}

/// Limit of class 1 of IEC 60584-1 for types K and N, K: 1.5 or 0.004·|t|.
pub fn class_1(celsius: f64) -> f64 {
    (0.004 * celsius.abs()).max(1.5)
}
