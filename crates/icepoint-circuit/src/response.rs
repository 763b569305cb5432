//! Response to alternating current: complex node voltages per unit of one source.
//!
//! Every dynamic element is of first order in `s`, so the equations are `(G + s·C)·x = b` with two real matrices that
//! are built once per set of values; each frequency costs one complex elimination.

use crate::circuit::{Circuit, unknown_name};
use crate::complex::Complex;
use crate::elimination::Factored;
use crate::error::CircuitError;
use crate::netlist::Node;
use crate::operating_point::{OperatingPoint, OutputState};
use crate::parameter::ParameterId;
use crate::stamps::node_unknown;

/// The equations at one set of values, linearised at an operating point.
#[derive(Clone, Debug)]
pub(crate) struct Linearised<'a> {
    pub circuit: &'a Circuit,
    pub g: Vec<f64>,
    pub c: Vec<f64>,
    pub factored: Factored<Complex>,
}

/// Node voltages at one frequency, per volt or ampere of the source asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct AcSolution {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    volts: Vec<Complex>,
}

impl AcSolution {
    pub(crate) fn new(circuit: &Circuit, frequency_hz: f64, x: &[Complex]) -> Self {
        let nodes = circuit.net.node_count() - 1;
        let volts = circuit.ac.plan.column_position[..nodes].iter().map(|&at| x[at as usize]).collect();
        Self { frequency_hz, volts }
    }

    /// Voltage of a node per unit of the source; 0 for ground, NaN for a node of another netlist.
    #[must_use]
    pub fn voltage(&self, node: Node) -> Complex {
        match node_unknown(node) {
            None => Complex::ZERO,
            Some(at) => self.volts.get(at as usize).copied().unwrap_or(Complex::new(f64::NAN, f64::NAN)),
        }
    }

    /// Voltage between two nodes per unit of the source.
    #[must_use]
    pub fn between(&self, (plus, minus): (Node, Node)) -> Complex {
        self.voltage(plus) - self.voltage(minus)
    }
}

impl Circuit {
    /// Response of every node to one source at one frequency (0 Hz and above, finite).
    ///
    /// A circuit with diodes needs its operating point; an amplifier that the operating point found at the end of its
    /// range answers nothing there.
    ///
    /// # Errors
    /// [`CircuitError::BadArgument`], [`CircuitError::NotLinear`] with diodes and no operating point, and those of
    /// [`Circuit::factor`].
    pub fn ac(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
        source: ParameterId,
        frequency_hz: f64,
    ) -> Result<AcSolution, CircuitError> {
        let mut all = self.ac_sweep(values, op, source, &[frequency_hz])?;
        all.pop().ok_or(CircuitError::Empty)
    }

    /// [`Circuit::ac`] at many frequencies, the equations built once.
    ///
    /// # Errors
    /// As [`Circuit::ac`].
    pub fn ac_sweep(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
        source: ParameterId,
        frequencies_hz: &[f64],
    ) -> Result<Vec<AcSolution>, CircuitError> {
        let mut equations = self.linearise(values, op)?;
        let plan = &self.ac.plan;
        let mut all = Vec::with_capacity(frequencies_hz.len());
        for &frequency_hz in frequencies_hz {
            equations.factor_at(frequency_hz)?;
            let mut x = vec![Complex::ZERO; plan.n];
            for &(_, row, k) in self.stamps.sources.iter().filter(|&&(p, ..)| p == source.0) {
                let b = &mut x[plan.row_position[row as usize] as usize];
                *b = *b + Complex::new(k, 0.0);
            }
            equations.quiet_ends(op, &mut x);
            equations.factored.solve(plan, &mut x);
            all.push(AcSolution::new(self, frequency_hz, &x));
        }
        Ok(all)
    }

    pub(crate) fn linearise(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
    ) -> Result<Linearised<'_>, CircuitError> {
        self.demand_length(values)?;
        let slots = self.ac.plan.slots() + 1;
        let (mut g, mut c) = (vec![0.0; slots], vec![0.0; slots]);
        if !self.ac.assemble(values, &mut g) {
            return Err(self.bad_denominator(values));
        }
        self.ac.assemble_dynamics(values, &mut c);
        match op {
            None => self.demand_linear()?,
            Some(op) => {
                let junctions = self.junctions(values)?;
                for ((d, junction), volts) in self.stamps.diodes.iter().zip(&junctions).zip(&op.junctions) {
                    self.stamp_junction(&self.ac, d, junction.current(*volts).1, &mut g);
                }
                for (amp, &(_, state)) in self.stamps.amps.iter().zip(&op.states) {
                    if state != OutputState::Linear {
                        self.stamp_end(&self.ac, amp, state, &mut g);
                        self.ac.clear_row(&mut c, amp.row);
                    }
                }
            }
        }
        Ok(Linearised { circuit: self, g, c, factored: Factored::new(&self.ac.plan) })
    }
}

impl Linearised<'_> {
    /// Factors at `s = j·2π·f`.
    pub fn factor_at(&mut self, frequency_hz: f64) -> Result<(), CircuitError> {
        if !(frequency_hz >= 0.0 && frequency_hz.is_finite()) {
            return Err(CircuitError::BadArgument {
                what: "the frequency (Hz)",
                value: frequency_hz,
                expected: "0 or a finite number above it",
            });
        }
        self.combine(1.0, Complex::new(0.0, core::f64::consts::TAU * frequency_hz))
    }

    /// Factors `t·G + s·C`.
    pub fn combine(&mut self, t: f64, s: Complex) -> Result<(), CircuitError> {
        let (circuit, g, c) = (self.circuit, &self.g, &self.c);
        let write = |a: &mut [Complex]| {
            for ((a, g), c) in a.iter_mut().zip(g).zip(c) {
                *a = Complex::new(t * g, 0.0) + s * *c;
            }
        };
        self.factored.factor(&circuit.ac.plan, write).map_err(|at| {
            let column = circuit.ac.plan.column_position.iter().position(|&p| p as usize == at).unwrap_or(0);
            CircuitError::Singular { unknown: unknown_name(&circuit.net, &circuit.stamps.unknowns, column) }
        })
    }

    /// An output at its end doesn't listen to its own offset.
    fn quiet_ends(&self, op: Option<&OperatingPoint>, x: &mut [Complex]) {
        let Some(op) = op else { return };
        for (amp, &(_, state)) in self.circuit.stamps.amps.iter().zip(&op.states) {
            if state != OutputState::Linear {
                x[self.circuit.ac.plan.row_position[amp.row as usize] as usize] = Complex::ZERO;
            }
        }
    }
}
