//! What the chain does in time and frequency: response, noise, mains residual, settling.
//!
//! All of it is computed at nominal values with the board at the hot end of its range, where thermal noise is
//! largest. What matters for the error (noise and mains) is handed to [`crate::imperfection`] in volts at the
//! converter's input, so it reaches the reading through the same model as everything else.

use icepoint_circuit::{
    AcSolution, Circuit, CircuitError, Netlist, Node, NoiseCause, NoiseShare, Parameter, ParameterId,
    StepResponse,
};

use crate::chain::Chain;
use crate::digital;
use crate::front_end::PartKind;
use crate::model::Model;
use crate::noise_weights::NoiseWeights;
use crate::wiring::Wiring;

/// Lowest frequency of the noise analysis, Hz: slower changes count as drift.
pub const NOISE_FROM: f64 = 0.01;
/// Highest frequency of the noise analysis, Hz; every low-pass here ends far below.
pub const NOISE_TO: f64 = 1e5;
/// Agreement asked for of two sums of the noise's power, relative; the finer one is taken and is far closer.
const NOISE_AGREEMENT: f64 = 1e-5;
/// The same where each decade is looked at once: for boards of which thousands are compared.
const NOISE_LOOK: f64 = f64::INFINITY;
/// Samples of a step response.
const SAMPLES: usize = 240;
/// 0 °C in K.
pub(crate) const ZERO_CELSIUS: f64 = 273.15;

/// Response, noise and mains residual at nominal values.
#[derive(Clone, Debug)]
pub struct Dynamics {
    /// Noise at the converter's input after the digital filter, V rms.
    pub noise_rms: f64,
    /// The largest sources of that noise: what, V rms; largest first.
    pub noise_shares: Vec<(String, f64)>,
    /// Gain from thermocouple to output at 0 Hz, V/V.
    pub gain: f64,
    /// What the filters leave of the mains.
    pub mains: MainsResidual,
}

/// What the filters leave of the mains at the converter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MainsResidual {
    /// |gain| of the analog circuit at the mains frequency, V/V.
    pub mains_gain: f64,
    /// What the digital filter leaves at the worst line frequency within ±1 %.
    pub mains_digital: f64,
    /// |gain| from a common-mode voltage at the mains frequency, V/V, mismatch included.
    pub common_gain: f64,
    /// Amplitude of series-mode mains at the converter after all filters, V.
    pub series_residual: f64,
    /// Amplitude of common-mode mains at the converter after all filters, V.
    pub common_residual: f64,
    /// Amplitude of a sine as strong as all harmonics of the mains together, both pick-ups, after all filters, V.
    pub harmonic_residual: f64,
}

/// One point of a response curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResponsePoint {
    /// Hz.
    pub hertz: f64,
    /// |gain| of the analog circuit over its gain at 0 Hz.
    pub analog: f64,
    /// |gain| of the digital filter.
    pub digital: f64,
}

/// One point of a noise curve.
#[derive(Clone, Debug, PartialEq)]
pub struct NoisePoint {
    /// Hz.
    pub hertz: f64,
    /// Density at the output, V/√Hz.
    pub density: f64,
    /// Density by source, V/√Hz, in the same order at every frequency.
    pub shares: Vec<(String, f64)>,
}

/// Settling after a step of the measuring junction.
#[derive(Clone, Debug)]
pub struct Settling {
    /// Step response of the analog circuit.
    pub response: StepResponse,
    /// Final value of the step at the output, V.
    pub final_volts: f64,
    /// Time of the analog circuit to within `settle_to`, s; `None` if it does not settle within the time looked at.
    pub analog: Option<f64>,
    /// Time that the digital filter adds, s.
    pub digital: f64,
}

impl Settling {
    /// Both together, s.
    pub fn total(&self) -> Option<f64> {
        self.analog.map(|t| t + self.digital)
    }
}

/// How closely the dynamics are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Look {
    /// Until the sums agree.
    Whole,
    /// Once: noise within some parts in ten thousand.
    Quick,
}

impl Dynamics {
    /// `mains`: what the filters leave of it, if that was found before.
    pub(crate) fn new(
        chain: &Chain,
        wiring: &Wiring,
        values: &[f64],
        mains: Option<MainsResidual>,
        look: Look,
    ) -> Result<Self, CircuitError> {
        let need = &chain.need;
        let kelvin = ZERO_CELSIUS + need.board.1;
        let (out, band) = (wiring.output, (NOISE_FROM, NOISE_TO));
        let weights = NoiseWeights::of(chain.filter, need.mains);
        let filter = |from: f64, to: f64| weights.piece(from, to);
        let agreement = if look == Look::Quick { NOISE_LOOK } else { NOISE_AGREEMENT };
        let report = wiring.circuit.filtered_noise(values, out, kelvin, band, agreement, &filter)?;
        let mut noise_shares: Vec<(String, f64)> =
            report.shares.iter().map(|s| (source_name(wiring, s), s.power.sqrt())).collect();
        noise_shares.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let gain = magnitude(wiring, values, wiring.thermocouple, 0.0)?;
        let mains = match mains {
            Some(mains) => mains,
            None => MainsResidual::new(chain, wiring, values)?,
        };
        Ok(Self { noise_rms: report.rms, noise_shares, gain, mains })
    }
}

impl MainsResidual {
    pub(crate) fn new(chain: &Chain, wiring: &Wiring, values: &[f64]) -> Result<Self, CircuitError> {
        let need = &chain.need;
        let mains = line_gains(chain, wiring, values)?;
        let amplitude = |rms: f64, gain: f64| rms * 2f64.sqrt() * gain;
        let fundamental = mains.first().copied().unwrap_or_default();
        let harmonics = mains.iter().zip(line_shares(chain)).skip(1).map(|(line, share)| {
            let left = share * line.digital;
            let series = amplitude(need.series_pickup * left, line.series);
            let common = amplitude(need.common_pickup * left, line.common);
            series * series + common * common
        });
        Ok(Self {
            mains_gain: fundamental.series,
            mains_digital: fundamental.digital,
            common_gain: fundamental.common,
            series_residual: amplitude(need.series_pickup, fundamental.series) * fundamental.digital,
            common_residual: amplitude(need.common_pickup, fundamental.common) * fundamental.digital,
            harmonic_residual: harmonics.sum::<f64>().sqrt(),
        })
    }
}

/// What the filters do to one line of the mains.
#[derive(Clone, Copy, Debug, Default)]
struct LineGains {
    series: f64,
    common: f64,
    /// At worst within ±1 % of the frequency.
    digital: f64,
}

/// Multiples of the mains frequency that are counted, the first is 1, and the share of each in the pick-up.
pub(crate) fn lines(chain: &Chain) -> impl Iterator<Item = (u32, f64)> {
    core::iter::once((1, 1.0)).chain(chain.harmonics.iter().map(|h| (h.multiple, h.share)))
}

fn line_shares(chain: &Chain) -> impl Iterator<Item = f64> {
    lines(chain).map(|(_, share)| share)
}

fn line_gains(chain: &Chain, wiring: &Wiring, values: &[f64]) -> Result<Vec<LineGains>, CircuitError> {
    let hertz: Vec<f64> = lines(chain).map(|(multiple, _)| f64::from(multiple) * chain.need.mains).collect();
    let (series, common) = mains_gains(chain, wiring, values, &hertz)?;
    let filter = NoiseWeights::of(chain.filter, chain.need.mains);
    let digital = hertz.iter().map(|hertz| filter.worst_around(*hertz));
    Ok(series
        .into_iter()
        .zip(common)
        .zip(digital)
        .map(|((series, common), digital)| LineGains { series, common, digital })
        .collect())
}

/// |gain| to the output from a voltage in series with the thermocouple and from one common to both leads, V/V, at each
/// frequency (Hz).
pub(crate) fn mains_gains(
    chain: &Chain,
    wiring: &Wiring,
    values: &[f64],
    hertz: &[f64],
) -> Result<(Vec<f64>, Vec<f64>), CircuitError> {
    let sources = (wiring.common_source, wiring.thermocouple);
    let steps = mismatch_steps(chain, wiring);
    let all = wiring.circuit.ac_changes(values, sources, wiring.output, &steps, hertz)?;
    let series = all.iter().map(|at| at.other.magnitude()).collect();
    let common = all.iter().map(|at| {
        // The nominal value, what each tolerance and rejection adds, and of what both inputs of the converter have in
        // common what it does not reject, each as a standard uncertainty.
        let nominal = at.driven.between(wiring.output).magnitude_squared();
        let mismatch = at.changes.iter().fold(nominal, |sum, change| sum + change.magnitude_squared());
        libm::hypot(mismatch.sqrt(), converter_common(chain, wiring, &at.driven))
    });
    Ok((series, common.collect()))
}

/// `R3 thermal`, `A1 voltage`, `A1 current`.
fn source_name(wiring: &Wiring, share: &NoiseShare) -> String {
    let cause = match share.cause {
        NoiseCause::Thermal => "thermal",
        NoiseCause::AmplifierVoltage => "voltage",
        NoiseCause::CurrentPlus => "current, + input",
        NoiseCause::CurrentMinus => "current, − input",
        NoiseCause::Shot => "shot",
    };
    let element = wiring.circuit.netlist().element_name(share.element);
    // A junction's shot noise stands in its circuit as the noise of a resistor.
    if element.ends_with(crate::sensing::SHOT) { element.to_owned() } else { format!("{element} {cause}") }
}

fn magnitude(wiring: &Wiring, values: &[f64], source: ParameterId, hertz: f64) -> Result<f64, CircuitError> {
    Ok(wiring.circuit.ac(values, None, source, hertz)?.between(wiring.output).magnitude())
}

/// Common-mode voltage of the plant that the converter's finite rejection adds to its reading, V/V, as a standard
/// uncertainty; 0 for one input.
fn converter_common(chain: &Chain, wiring: &Wiring, response: &AcSolution) -> f64 {
    let cmrr = chain.converter.input.cmrr;
    if wiring.output.1 == Netlist::GROUND || !cmrr.is_finite() {
        return 0.0;
    }
    let both = response.voltage(wiring.output.0) + response.voltage(wiring.output.1);
    0.5 * both.magnitude() / (cmrr * 3f64.sqrt())
}

/// Standard uncertainty of every value that unbalances the two legs.
fn mismatch_steps(chain: &Chain, wiring: &Wiring) -> Vec<(ParameterId, f64)> {
    let root3 = 3f64.sqrt();
    let mut steps = Vec::new();
    for part in &chain.front_end.parts {
        let name = part.designator.as_str();
        let step = match &part.kind {
            PartKind::Resistor { figures, .. } => {
                // Legs of one network differ by what it tracks to.
                let tolerance = figures.network.as_ref().map_or(figures.tolerance, |n| n.tolerance);
                wiring.resistor(name).map(|slot| (slot, figures.ohms * tolerance / root3))
            }
            PartKind::Capacitor { farads, tolerance, .. } => {
                wiring.slot(name, Parameter::Farads).map(|slot| (slot, farads * tolerance / root3))
            }
            PartKind::Operational { figures, .. } | PartKind::Instrumentation { figures, .. } => {
                wiring.slot(name, Parameter::InverseCmrr).map(|slot| (slot, 1.0 / (figures.cmrr * root3)))
            }
            _ => None,
        };
        steps.extend(step.filter(|(_, s)| *s > 0.0 && s.is_finite()));
    }
    steps
}

impl Model {
    /// Series-mode gain of the analog circuit at the mains frequency over its gain at 0 Hz.
    ///
    /// # Errors
    /// [`CircuitError`] when the response can't be computed.
    pub fn mains_ratio(&self) -> Result<f64, CircuitError> {
        let (wiring, values) = (self.wiring(), self.nominal_values());
        let dc = magnitude(wiring, values, wiring.thermocouple, 0.0)?;
        Ok(magnitude(wiring, values, wiring.thermocouple, self.chain().need.mains)? / dc)
    }

    /// Response from thermocouple to converter at these frequencies (Hz).
    ///
    /// # Errors
    /// As [`Model::mains_ratio`].
    pub fn response(&self, hertz: &[f64]) -> Result<Vec<ResponsePoint>, CircuitError> {
        let (wiring, values) = (self.wiring(), self.nominal_values());
        let dc = magnitude(wiring, values, wiring.thermocouple, 0.0)?;
        hertz
            .iter()
            .map(|&hertz| {
                Ok(ResponsePoint {
                    hertz,
                    analog: magnitude(wiring, values, wiring.thermocouple, hertz)? / dc,
                    digital: digital::magnitude(self.chain().filter, self.chain().need.mains, hertz),
                })
            })
            .collect()
    }

    /// Noise density at the output, board at the hot end of its range, at these frequencies (Hz).
    ///
    /// # Errors
    /// As [`Model::mains_ratio`].
    pub fn noise_curve(&self, hertz: &[f64]) -> Result<Vec<NoisePoint>, CircuitError> {
        let wiring = self.wiring();
        let kelvin = ZERO_CELSIUS + self.chain().need.board.1;
        let out = wiring.output;
        hertz
            .iter()
            .map(|&hertz| {
                let report = wiring.circuit.noise(self.nominal_values(), None, out, kelvin, hertz)?;
                Ok(NoisePoint {
                    hertz,
                    density: report.density(),
                    shares: report.shares.iter().map(|s| (source_name(wiring, s), s.power.sqrt())).collect(),
                })
            })
            .collect()
    }

    /// Step response to a step of the thermocouple over the whole hot range, over `duration` (s).
    ///
    /// # Errors
    /// As [`Model::mains_ratio`].
    pub fn settling(&self, duration: f64) -> Result<Settling, CircuitError> {
        self.settling_by(Circuit::step, duration)
    }

    /// The same in half the time, for boards of which thousands are compared: the error of the response is not told.
    ///
    /// # Errors
    /// As [`Model::mains_ratio`].
    pub fn quick_settling(&self, duration: f64) -> Result<Settling, CircuitError> {
        self.settling_by(Circuit::quick_step, duration)
    }

    fn settling_by(&self, step: Step, duration: f64) -> Result<Settling, CircuitError> {
        let (wiring, chain) = (self.wiring(), self.chain());
        let emf = |t| chain.probe.letter.emf_and_slope_extended(t).0;
        let span = emf(chain.need.hot.1) - emf(chain.need.hot.0);
        let (values, source) = (self.nominal_values(), wiring.thermocouple);
        let response = step(&wiring.circuit, values, source, wiring.output, span, duration, SAMPLES)?;
        Ok(Settling {
            analog: response.settling_time(chain.need.settle_to),
            digital: digital::settling(chain.filter, chain.need.mains, chain.need.settle_to),
            final_volts: response.final_volts,
            response,
        })
    }
}

/// [`Circuit::step`] and its like.
type Step =
    fn(&Circuit, &[f64], ParameterId, (Node, Node), f64, f64, usize) -> Result<StepResponse, CircuitError>;
