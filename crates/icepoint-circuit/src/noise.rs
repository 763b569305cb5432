//! Noise at the output, with the share of each source.
//!
//! One adjoint (transposed) solution per frequency gives the transfer from every place to the output at once, however
//! many sources there are.
//!
//! **Sources.** Resistors, output and series resistances: thermal, 4kT/R. Amplifiers: voltage noise at the input,
//! current noise into each pin, both with a 1/f corner. Diodes: shot noise of both their currents, 2q(i + 2Iₛ) (van der
//! Ziel; from memory). Input and reference resistances of instrumentation amplifiers count as noiseless: the data sheet's figures
//! include them.

use crate::circuit::Circuit;
use crate::complex::Complex;
use crate::diode::{BOLTZMANN, ELEMENTARY_CHARGE};
use crate::element::Element;
use crate::error::CircuitError;
use crate::netlist::{ElementId, Node};
use crate::operating_point::{OperatingPoint, OutputState};
use crate::parameter::{amp, diode};
use crate::quadrature;
use crate::response::Linearised;
use crate::stamps::node_unknown;

/// Why an element is noisy.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NoiseCause {
    /// Thermal noise of a resistance.
    Thermal,
    /// Voltage noise of an amplifier.
    AmplifierVoltage,
    /// Current noise of the non-inverting input.
    CurrentPlus,
    /// Current noise of the inverting input.
    CurrentMinus,
    /// Shot noise of a junction.
    Shot,
}

/// What one source adds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseShare {
    /// The element.
    pub element: ElementId,
    /// The cause.
    pub cause: NoiseCause,
    /// V²/Hz in a [`NoiseDensity`], V² in a [`NoiseReport`].
    pub power: f64,
}

/// Noise at one frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct NoiseDensity {
    /// All sources together, V²/Hz.
    pub power: f64,
    /// Each source, in the order of the netlist.
    pub shares: Vec<NoiseShare>,
}

impl NoiseDensity {
    /// V/√Hz.
    #[must_use]
    pub fn density(&self) -> f64 {
        self.power.sqrt()
    }
}

/// Noise over a band.
#[derive(Clone, Debug, PartialEq)]
pub struct NoiseReport {
    /// Root mean square, V.
    pub rms: f64,
    /// Each source, V², in the order of the netlist.
    pub shares: Vec<NoiseShare>,
    /// Bound on the error of the integral, relative to the mean square: the difference between two
    /// quadratures, of which the finer is the answer.
    pub relative_error: f64,
    /// Frequencies at which the circuit was solved.
    pub evaluations: usize,
}

impl NoiseReport {
    fn new(sources: &[Source], result: quadrature::Integral) -> Self {
        let total: f64 = result.sums.iter().sum();
        Self {
            rms: total.sqrt(),
            shares: shares(sources, &result.sums),
            relative_error: if total > 0.0 { result.error / total } else { 0.0 },
            evaluations: result.evaluations,
        }
    }
}

/// Points at which [`Circuit::filtered_noise`] looks at a piece of the band.
pub const NOISE_POINTS: usize = quadrature::ORDER;

/// Points of a piece between two natural logarithms of frequency, and the weight of each in a plain integral over the
/// logarithm (Gauss–Legendre).
pub fn noise_points(from: f64, to: f64) -> [(f64, f64); NOISE_POINTS] {
    quadrature::plain(&quadrature::gauss_legendre(), from, to)
}

/// For weights of any shape.
const FINE: quadrature::Effort = quadrature::Effort { pieces_per_unit: 0.5, quarters: true, agreement: 1e-7 };
/// For the density of a circuit alone, whose poles bend it over a decade each.
const SMOOTH: quadrature::Effort =
    quadrature::Effort { pieces_per_unit: 0.4, quarters: false, agreement: 1e-7 };

/// The band, the temperature and what a later filter does.
#[derive(Clone, Copy)]
pub struct NoiseBand<'a> {
    /// Lower end, Hz, above 0: 1/f noise has no end towards 0, so the time of observation must set one.
    pub low_hz: f64,
    /// Upper end, Hz, above the lower and finite.
    pub high_hz: f64,
    /// Squared magnitude of whatever follows (a digital filter, a converter's own) at a frequency in Hz.
    pub weight: Option<&'a dyn Fn(f64) -> f64>,
}

/// A source of noise before it has gone through the circuit.
struct Source {
    element: ElementId,
    cause: NoiseCause,
    /// A²/Hz or V²/Hz, white.
    white: f64,
    /// Corner of its 1/f part, Hz.
    corner: f64,
    /// Row entries that one ampere or volt of it makes (original numbering).
    rows: [Option<(u32, f64)>; 2],
}

impl Circuit {
    /// Density of the noise between two nodes at one frequency (above 0 Hz) with all resistors at `kelvin`.
    ///
    /// # Errors
    /// [`CircuitError::BadArgument`] and those of [`Circuit::ac`].
    pub fn noise(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
        out: (Node, Node),
        kelvin: f64,
        frequency_hz: f64,
    ) -> Result<NoiseDensity, CircuitError> {
        demand(frequency_hz > 0.0, "the frequency (Hz)", frequency_hz)?;
        let mut equations = self.linearise(values, op)?;
        let sources = self.noise_sources(values, op, kelvin)?;
        let mut powers = vec![0.0; sources.len()];
        let mut adjoint = vec![Complex::ZERO; self.ac.plan.n];
        equations.noise_at(&sources, out, frequency_hz, &mut adjoint, &mut powers)?;
        Ok(NoiseDensity { power: powers.iter().sum(), shares: shares(&sources, &powers) })
    }

    /// Noise between two nodes over a band with all resistors at `kelvin`.
    ///
    /// Adaptive Gauss–Legendre quadrature over the logarithm of frequency; refined until two orders agree to 1e-7 of
    /// the mean square or 4000 pieces are used, whichever is first; the report says how far they agree.
    ///
    /// # Errors
    /// [`CircuitError::BadArgument`] and those of [`Circuit::ac`].
    pub fn noise_integral(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
        out: (Node, Node),
        kelvin: f64,
        band: NoiseBand<'_>,
    ) -> Result<NoiseReport, CircuitError> {
        demand(band.low_hz > 0.0, "the lower end of the band (Hz)", band.low_hz)?;
        demand(band.high_hz > band.low_hz, "the upper end of the band (Hz)", band.high_hz)?;
        let mut equations = self.linearise(values, op)?;
        let sources = self.noise_sources(values, op, kelvin)?;
        let mut adjoint = vec![Complex::ZERO; self.ac.plan.n];
        let nodes = quadrature::gauss_legendre();
        let result = quadrature::integrate(
            libm::log(band.low_hz),
            libm::log(band.high_hz),
            sources.len(),
            FINE,
            |from, to| quadrature::plain(&nodes, from, to),
            |log_f, powers| {
                let f = libm::exp(log_f);
                equations.noise_at(&sources, out, f, &mut adjoint, powers)?;
                // d f = f·d ln f
                let weight = f * band.weight.map_or(1.0, |w| w(f));
                powers.iter_mut().for_each(|p| *p *= weight);
                Ok(())
            },
        )?;
        Ok(NoiseReport::new(&sources, result))
    }

    /// Noise between two nodes through a filter whose response has too many lobes to be looked at one by one: `filter`
    /// gives, for a piece of the band, weights at [`noise_points`] with which a density that is smooth there is summed up.
    /// The weights belong to the filter and can be kept for other circuits; each circuit costs some hundred solutions.
    ///
    /// The density must be smooth on the scale of the pieces, which are halved until the sums agree to `agreement`,
    /// relative to the mean square; with an agreement without end each first piece, about a decade, is looked at once, and
    /// [`NoiseReport::relative_error`] is infinite, as nothing tells it. `high_hz` is above `low_hz`, both above 0.
    ///
    /// # Errors
    /// [`CircuitError::BadArgument`] and those of [`Circuit::ac`].
    pub fn filtered_noise(
        &self,
        values: &[f64],
        out: (Node, Node),
        kelvin: f64,
        (low_hz, high_hz): (f64, f64),
        agreement: f64,
        filter: &dyn Fn(f64, f64) -> [f64; NOISE_POINTS],
    ) -> Result<NoiseReport, CircuitError> {
        demand(low_hz > 0.0, "the lower end of the band (Hz)", low_hz)?;
        demand(high_hz > low_hz, "the upper end of the band (Hz)", high_hz)?;
        let mut equations = self.linearise(values, None)?;
        let sources = self.noise_sources(values, None, kelvin)?;
        let mut adjoint = vec![Complex::ZERO; self.ac.plan.n];
        let nodes = quadrature::gauss_legendre();
        let result = quadrature::integrate(
            libm::log(low_hz),
            libm::log(high_hz),
            sources.len(),
            quadrature::Effort { agreement, ..SMOOTH },
            |from, to| {
                let mut rule = quadrature::plain(&nodes, from, to);
                for ((_, weight), filtered) in rule.iter_mut().zip(filter(from, to)) {
                    *weight = filtered;
                }
                rule
            },
            |log_f, powers| equations.noise_at(&sources, out, libm::exp(log_f), &mut adjoint, powers),
        )?;
        Ok(NoiseReport::new(&sources, result))
    }

    fn noise_sources(
        &self,
        values: &[f64],
        op: Option<&OperatingPoint>,
        kelvin: f64,
    ) -> Result<Vec<Source>, CircuitError> {
        demand(kelvin > 0.0, "the temperature (K)", kelvin)?;
        let junctions = self.junctions(values)?;
        let law = |at: Option<u32>, sign: f64| {
            at.and_then(|at| self.stamps.current_law[at as usize]).map(|row| (row, sign))
        };
        // A current through an element leaves one node and enters the other.
        let through = |a: Option<u32>, b: Option<u32>| [law(a, -1.0), law(b, 1.0)];
        let thermal = |element, ohms: f64, a, b| Source {
            element,
            cause: NoiseCause::Thermal,
            white: 4.0 * BOLTZMANN * kelvin / ohms,
            corner: 0.0,
            rows: through(a, b),
        };
        let mut all = Vec::new();
        for (id, _, element) in self.net.elements() {
            let p = self.base[id.index()];
            let at = |place: u32| values[(p + place) as usize];
            let inner = self.stamps.inner[id.index()];
            match element {
                Element::Resistor { a, b, .. } => {
                    all.push(thermal(id, at(0), node_unknown(*a), node_unknown(*b)));
                }
                Element::Diode { anode, cathode, .. } => {
                    if inner.is_some() {
                        all.push(thermal(id, at(diode::SERIES_RESISTANCE), node_unknown(*anode), inner));
                    }
                    let place = self.stamps.diodes.iter().position(|d| d.element == id);
                    if let (Some(k), Some(op)) = (place, op) {
                        let junction = junctions[k];
                        let current = junction.current(op.junctions.get(k).copied().unwrap_or(f64::NAN)).0;
                        all.push(Source {
                            element: id,
                            cause: NoiseCause::Shot,
                            white: 2.0 * ELEMENTARY_CHARGE * (current + 2.0 * junction.saturation),
                            corner: 0.0,
                            rows: through(inner.or(node_unknown(*anode)), node_unknown(*cathode)),
                        });
                    }
                }
                Element::OpAmp { plus, minus, out, .. } | Element::InAmp { plus, minus, out, .. } => {
                    if inner.is_some() {
                        all.push(thermal(id, at(amp::RESISTANCE), inner, node_unknown(*out)));
                    }
                    let squared = |place: u32| at(place) * at(place);
                    // An output at its end doesn't pass its own input noise on.
                    let linear = op.is_none_or(|op| {
                        op.states.iter().all(|&(e, state)| e != id || state == OutputState::Linear)
                    });
                    let own = self.stamps.own_row[id.index()].filter(|_| linear).map(|row| (row, 1.0));
                    let mut push = |cause, white: f64, corner: f64, rows| {
                        if white > 0.0 {
                            all.push(Source { element: id, cause, white, corner, rows });
                        }
                    };
                    push(
                        NoiseCause::AmplifierVoltage,
                        squared(amp::NOISE_VOLTAGE),
                        at(amp::NOISE_VOLTAGE_CORNER),
                        [own, None],
                    );
                    for (cause, pin) in [(NoiseCause::CurrentPlus, plus), (NoiseCause::CurrentMinus, minus)] {
                        push(
                            cause,
                            squared(amp::NOISE_CURRENT),
                            at(amp::NOISE_CURRENT_CORNER),
                            [law(node_unknown(*pin), -1.0), None],
                        );
                    }
                }
                _ => {}
            }
        }
        Ok(all)
    }
}

impl Linearised<'_> {
    fn noise_at(
        &mut self,
        sources: &[Source],
        (plus, minus): (Node, Node),
        frequency_hz: f64,
        adjoint: &mut [Complex],
        powers: &mut [f64],
    ) -> Result<(), CircuitError> {
        self.factor_at(frequency_hz)?;
        let plan = &self.circuit.ac.plan;
        adjoint.fill(Complex::ZERO);
        for (node, sign) in [(plus, 1.0), (minus, -1.0)] {
            let Some(at) = node_unknown(node) else { continue };
            let Some(&at) = plan.column_position.get(at as usize) else { continue };
            adjoint[at as usize] = adjoint[at as usize] + Complex::new(sign, 0.0);
        }
        self.factored.solve_transposed(plan, adjoint);
        for (source, power) in sources.iter().zip(powers) {
            let mut transfer = Complex::ZERO;
            for (row, k) in source.rows.into_iter().flatten() {
                transfer = transfer + adjoint[plan.row_position[row as usize] as usize] * k;
            }
            *power = transfer.magnitude_squared() * source.white * (1.0 + source.corner / frequency_hz);
        }
        Ok(())
    }
}

fn shares(sources: &[Source], powers: &[f64]) -> Vec<NoiseShare> {
    let share = |(s, &power): (&Source, &f64)| NoiseShare { element: s.element, cause: s.cause, power };
    sources.iter().zip(powers).map(share).collect()
}

fn demand(holds: bool, what: &'static str, value: f64) -> Result<(), CircuitError> {
    if holds && value.is_finite() {
        return Ok(());
    }
    let expected = if what.starts_with("the upper") {
        "a finite number above the lower end"
    } else {
        "a finite number above 0"
    };
    Err(CircuitError::BadArgument { what, value, expected })
}
