//! One stage: the values that put its poles where they belong, and what it does with a real amplifier.
//!
//! ```text
//!   sallen-key                              multiple-feedback
//!            ┌────C1────┐                            ┌──R2──┬────────┐
//!   in ──R1──┴──R2──┬─(+)A──┬── out         in ──R1──┴─┬─R3─┴(−)A    │
//!                   C2  (−)─┘                          C1    │  ├────┴── out
//!                  gnd                                bias   C2─┘     bias on (+)
//! ```
//!
//! | | sallen-key | multiple-feedback |
//! |---|---|---|
//! | gain at 0 Hz | 1 | −R2/R1, both alike: −1 |
//! | ω₀² | 1/(R1·R2·C1·C2) | 1/(R2·R3·C1·C2) |
//! | Q | √(R1·R2·C1·C2)/(C2·(R1 + R2)) | √(R2·R3·C1·C2)/(C2·(R2 + R3 + R2·R3/R1)) |
//! | possible if C1/C2 ≥ | 4·Q² | 8·Q² |
//! | single pole | R1·C1, then a follower | −1/(1 + s·R2·C1), R1 = R2 |
//!
//! The formulas follow from Kirchhoff's laws at the two nodes; a test solves the circuit and compares.
//!
//! **Real amplifier.** One pole: `v₊ − v₋ = out·(1/A₀ + s/(2π·GBW))`. It adds a pole to the stage and moves the others.

use core::f64::consts::PI;

use icepoint_circuit::Complex;

use super::polynomial::{product, roots, sum, value};
use super::{Form, Pole};

/// A stage before its values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// Its circuit.
    pub form: Form,
    /// Its pole or pair, against the corner.
    pub pole: Pole,
}

/// What of an amplifier moves the poles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amplifier {
    /// Gain-bandwidth product, Hz; infinite for an ideal one.
    pub bandwidth: f64,
    /// Gain at 0 Hz, V/V; infinite for an ideal one.
    pub gain: f64,
}

impl Amplifier {
    /// That of the textbook.
    pub const IDEAL: Self = Self { bandwidth: f64::INFINITY, gain: f64::INFINITY };
}

/// A stage with its values.
#[derive(Clone, Debug, PartialEq)]
pub struct Built {
    /// Its circuit.
    pub form: Form,
    /// R1, R2 and R3 as far as the form has them, Ω.
    pub ohms: Vec<f64>,
    /// C1 and C2 as far as the stage has them, F.
    pub farads: Vec<f64>,
}

impl Stage {
    /// Smallest C1/C2 that the pair needs; `None` for a single pole.
    pub fn least_ratio(&self) -> Option<f64> {
        let per_square = match self.form {
            Form::SallenKey => 4.0,
            Form::MultipleFeedback => 8.0,
        };
        self.pole.q.map(|q| per_square * q * q)
    }

    /// Resistors for a corner (Hz) and capacitors (F) that put the poles exactly where they belong: for a pair two
    /// solutions, which differ in what is the larger one; one for a single pole. Empty if the capacitors can't do it.
    pub fn ohms(&self, corner: f64, farads: &[f64]) -> Vec<Vec<f64>> {
        let omega = 2.0 * PI * corner * self.pole.frequency;
        let (c1, c2) = (farads.first().copied(), farads.get(1).copied());
        match (self.pole.q, self.form, c1, c2) {
            (None, Form::SallenKey, Some(c), _) => vec![vec![1.0 / (omega * c)]],
            (None, Form::MultipleFeedback, Some(c), _) => vec![vec![1.0 / (omega * c), 1.0 / (omega * c)]],
            (Some(q), form, Some(c1), Some(c2)) => {
                let (total, product) = (1.0 / (omega * q * c2), 1.0 / (omega * omega * c1 * c2));
                // Sallen–Key: R1 + R2 = total, R1·R2 = product. Multiple feedback: R2 + 2·R3 = total, R2·R3 = product.
                let weight = if form == Form::SallenKey { 4.0 } else { 8.0 };
                let inside = total * total - weight * product;
                // A ratio that just allows the Q, but for rounding, gives two alike.
                let rounding = 1e-12 * total * total;
                if inside < -rounding {
                    return Vec::new();
                }
                let root = if inside < rounding { 0.0 } else { inside.sqrt() };
                let solutions = [0.5 * (total + root), 0.5 * (total - root)];
                let pair = |first: f64| match form {
                    Form::SallenKey => vec![first, product / first],
                    Form::MultipleFeedback => vec![first, first, product / first],
                };
                let both: Vec<Vec<f64>> = solutions.into_iter().filter(|r| *r > 0.0).map(pair).collect();
                if root == 0.0 { both.into_iter().take(1).collect() } else { both }
            }
            _ => Vec::new(),
        }
    }

    /// The stage with these values.
    pub fn built(&self, ohms: Vec<f64>, farads: Vec<f64>) -> Built {
        Built { form: self.form, ohms, farads }
    }
}

impl Built {
    /// Gain at 0 Hz with an ideal amplifier.
    pub fn gain(&self) -> f64 {
        match (self.form, &self.ohms[..]) {
            (Form::MultipleFeedback, [r1, r2, ..]) => -r2 / r1,
            _ => 1.0,
        }
    }

    /// `in/out` as a polynomial in s, lowest power first: its roots are the poles. The numerator is 1.
    /// Empty when values are missing.
    pub fn denominator(&self, amplifier: Amplifier) -> Vec<f64> {
        // v₊ − v₋ = ε·out
        let epsilon = [1.0 / amplifier.gain, 1.0 / (2.0 * PI * amplifier.bandwidth)];
        let raised = sum(&[1.0], &epsilon);
        match (self.form, &self.ohms[..], &self.farads[..]) {
            // R1, R2, C1 to the output, C2 to ground: k·(1 + s·(R1C2 + R2C2 + R1C1) + s²·R1R2C1C2) − s·R1C1, k = 1 + ε.
            (Form::SallenKey, [r1, r2], [c1, c2]) => sum(
                &product(&raised, &[1.0, r1 * c2 + r2 * c2 + r1 * c1, r1 * r2 * c1 * c2]),
                &[0.0, -r1 * c1],
            ),
            (Form::SallenKey, [r], [c]) => product(&raised, &[1.0, r * c]),
            // −R1·{[ε + s·R3C2·(1 + ε)]·(ΣG + s·C1) + G2 − ε·G3}
            (Form::MultipleFeedback, [r1, r2, r3], [c1, c2]) => {
                let inner = sum(&epsilon, &product(&[0.0, r3 * c2], &raised));
                let all = 1.0 / r1 + 1.0 / r2 + 1.0 / r3;
                let nodes = product(&inner, &[all, *c1]);
                let rest = [1.0 / r2 - epsilon[0] / r3, -epsilon[1] / r3];
                sum(&nodes, &rest).iter().map(|a| -r1 * a).collect()
            }
            // −ε − R1·(1 + ε)·(G2 + s·C1)
            (Form::MultipleFeedback, [r1, r2], [c]) => {
                let feedback = product(&raised, &[r1 / r2, r1 * c]);
                sum(&epsilon, &feedback).iter().map(|a| -a).collect()
            }
            _ => Vec::new(),
        }
    }

    /// `out/in` at a frequency, Hz.
    pub fn response(&self, amplifier: Amplifier, hertz: f64) -> Complex {
        value(&self.denominator(amplifier), Complex::new(0.0, 2.0 * PI * hertz)).recip()
    }

    /// The slowest pole or pair, Hz: what the stage is there for; the amplifier's own lies far above. `None` when the
    /// amplifier is so slow that it doesn't.
    pub fn pole(&self, amplifier: Amplifier) -> Option<Pole> {
        let denominator = self.denominator(amplifier);
        let hertz = |rate: f64| rate / (2.0 * PI);
        if self.farads.len() < 2 {
            return Some(Pole { frequency: hertz(roots(&denominator).first()?.magnitude()), q: None });
        }
        let mut quadratic = denominator.clone();
        if denominator.get(3).is_some_and(|a| *a != 0.0) {
            // The amplifier's pole, divided out from the low end: that is stable for the largest root.
            let fast = roots(&denominator).last().copied()?;
            if fast.im.abs() > 1e-9 * fast.magnitude() {
                return None;
            }
            quadratic.clear();
            let mut carried = 0.0;
            for a in denominator.iter().take(3) {
                carried = (carried - a) / fast.re;
                quadratic.push(carried);
            }
        }
        let [c, b, a, ..] = quadratic[..] else { return None };
        Some(Pole { frequency: hertz((c / a).sqrt()), q: Some((a * c).sqrt() / b.abs()) })
    }

    /// Relative standard deviations of pole frequency and Q when every resistor may be off by `resistor` and every
    /// capacitor by `capacitor` (limits, relative, rectangular, independent), to first order; Q is 0 for a single pole.
    pub fn spread(&self, resistor: f64, capacitor: f64) -> (f64, f64) {
        self.spread_of(&vec![resistor; self.ohms.len()], &vec![capacitor; self.farads.len()])
    }

    /// The same with a limit for each part, in the order of [`Built::ohms`] and [`Built::farads`]; 0 for those left out.
    pub fn spread_of(&self, of_ohms: &[f64], of_farads: &[f64]) -> (f64, f64) {
        const STEP: f64 = 1e-5;
        let Some(nominal) = self.pole(Amplifier::IDEAL) else { return (f64::NAN, f64::NAN) };
        let (mut frequency, mut q) = (0.0, 0.0);
        let resistors = self.ohms.len();
        for part in 0..resistors + self.farads.len() {
            let mut moved = self.clone();
            let (slot, limit) = match part.checked_sub(resistors) {
                None => (moved.ohms.get_mut(part), of_ohms.get(part)),
                Some(at) => (moved.farads.get_mut(at), of_farads.get(at)),
            };
            let (Some(slot), Some(limit)) = (slot, limit) else { continue };
            *slot *= 1.0 + STEP;
            let Some(there) = moved.pole(Amplifier::IDEAL) else { continue };
            let slope = |there: f64, here: f64| (there / here - 1.0) / STEP * standard(*limit);
            let f = slope(there.frequency, nominal.frequency);
            frequency += f * f;
            if let (Some(there), Some(here)) = (there.q, nominal.q) {
                let s = slope(there, here);
                q += s * s;
            }
        }
        (frequency.sqrt(), q.sqrt())
    }

    /// Relative standard deviation of the gain at 0 Hz when each resistor may be off by its limit: of −R2/R1, none of a
    /// follower.
    pub fn gain_spread(&self, of_ohms: &[f64]) -> f64 {
        match (self.form, of_ohms) {
            (Form::MultipleFeedback, [r1, r2, ..]) => libm::hypot(standard(*r1), standard(*r2)),
            _ => 0.0,
        }
    }
}

/// Standard deviation of a rectangular distribution between ± `limit`.
fn standard(limit: f64) -> f64 {
    limit / 3f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::{LowPass, Response};
    use super::*;

    /// Values by formula give back the poles that they were computed for.
    #[test]
    fn values_put_the_poles_where_they_belong() {
        for form in [Form::SallenKey, Form::MultipleFeedback] {
            for response in
                [Response::Bessel, Response::Chebyshev { ripple: 1.0 }, Response::CriticallyDamped]
            {
                for poles in 1..=4 {
                    let plan = LowPass { poles, form, response, corner: None };
                    for stage in plan.stages() {
                        let farads = match stage.least_ratio() {
                            Some(ratio) => vec![1.3 * ratio * 10e-9, 10e-9],
                            None => vec![100e-9],
                        };
                        let all = stage.ohms(2.0, &farads);
                        assert!(!all.is_empty());
                        for ohms in all {
                            let built = stage.built(ohms, farads.clone());
                            let pole = built.pole(Amplifier::IDEAL).unwrap();
                            assert!((pole.frequency / (2.0 * stage.pole.frequency) - 1.0).abs() < 1e-9);
                            match (pole.q, stage.pole.q) {
                                (Some(found), Some(wanted)) => assert!((found / wanted - 1.0).abs() < 1e-7),
                                (found, wanted) => assert_eq!(found, wanted),
                            }
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn capacitors_too_close_give_no_resistors() {
        let stage = Stage { form: Form::SallenKey, pole: Pole { frequency: 1.0, q: Some(1.0) } };
        assert!(stage.ohms(1.0, &[3.9e-9, 1e-9]).is_empty());
        assert_eq!(stage.ohms(1.0, &[4.0e-9, 1e-9]).len(), 1, "equal resistors, once");
        assert!(stage.ohms(1.0, &[4.0e-9]).is_empty());
    }

    /// A slow amplifier lowers the pole frequency of a Sallen–Key stage; a fast one leaves it.
    #[test]
    fn a_slow_amplifier_moves_the_poles() {
        let stage = Stage { form: Form::SallenKey, pole: Pole { frequency: 1.0, q: Some(1.306_563) } };
        let farads = vec![100e-9, 10e-9];
        let built = stage.built(stage.ohms(1000.0, &farads).remove(0), farads);
        let at = |bandwidth| built.pole(Amplifier { bandwidth, gain: 1e6 }).unwrap().frequency;
        assert!((at(1e9) / 1000.0 - 1.0).abs() < 1e-4);
        assert!(at(100e3) < 990.0, "{}", at(100e3));
    }
}
