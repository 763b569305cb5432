//! `reading = predict(situation, deviations)`: the only physics of the house.
//!
//! **How it is computed.** The circuit is linear inside its limits, so for one board (its deviations and its
//! temperature) one elimination gives the output as `offset + gain·v` for every thermocouple voltage `v` exactly. The
//! limits are linear too: if they hold at both ends of a range of `v`, they hold in between. Where one is exceeded the
//! operating point is found with clipping outputs instead. `predict`, GUM, worst case and Monte Carlo all go through
//! [`Model::board_state`] and [`Model::celsius`].
//!
//! **Signs.** `v = E(hot) − E(terminals)`: positive when the measuring junction is hotter.
//!
//! **Nominal constants.** The reading rule knows the offset and gain of the chain with every deviation at its mean and
//! the board at 25 °C, as firmware constants would be computed. Everything else is error.

mod acting;
mod board;
mod near;
mod signal;

use core::fmt;
use std::sync::OnceLock;

use icepoint_circuit::{Circuit, CircuitError, LimitHit, LimitKind, Netlist, Workspace};

use crate::chain::{Chain, Correction};
use crate::dynamics::{Dynamics, Look, MainsResidual};
use crate::findings::BoardFindings;
use crate::front_end::adjustable::MIDDLE;
use crate::imperfection::{self, Collector, Effect, Imperfection, SPECIFIED_AT};
use crate::reading_rule::ReadingRule;
use crate::sensing::{self, PartDeviations};
use crate::situation::Situation;
use crate::wiring::{CONVERTER_INPUTS, Wiring};

pub(crate) use near::NearBoard;
pub use signal::probe_limit;

use acting::Acting;

/// Why a chain has no prediction.
#[derive(Clone, Debug, PartialEq)]
pub enum ModelError {
    /// The circuit can't be solved.
    Circuit(CircuitError),
    /// A part lacks a parameter that the model needs.
    Missing(String),
    /// A temperature or voltage is outside the range of a function.
    Range(String),
    /// The output does not depend on the thermocouple.
    Deaf,
}

impl fmt::Display for ModelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Circuit(error) => error.fmt(f),
            Self::Missing(what) => write!(f, "the circuit has no {what}"),
            Self::Range(text) => f.write_str(text),
            Self::Deaf => f.write_str(
                "the output does not follow the thermocouple: check that a path leads from its terminals to the output",
            ),
        }
    }
}

impl core::error::Error for ModelError {}

impl From<CircuitError> for ModelError {
    fn from(error: CircuitError) -> Self {
        Self::Circuit(error)
    }
}

/// What the chain answers in one situation.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The temperature read, °C.
    pub celsius: f64,
    /// Voltage at the output node, V.
    pub output_volts: f64,
    /// Voltage of each test point against ground, V.
    pub test_point_volts: Vec<f64>,
    /// Limits that are exceeded; the reading can't be trusted if there is any.
    pub limits: Vec<LimitExceeded>,
}

/// A limit of the circuit or converter that a situation exceeds.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitExceeded {
    /// Which: `A1 output`, `converter`.
    pub what: String,
    /// What is wanted there, V.
    pub volts: f64,
    /// What is allowed, V.
    pub allowed: (f64, f64),
}

impl fmt::Display for LimitExceeded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.allowed;
        write!(f, "{} wants {:.3} V, allowed are {low:.3} V to {high:.3} V", self.what, self.volts)
    }
}

/// Buffers of one thread.
#[derive(Debug)]
pub struct Scratch {
    workspace: Workspace,
    values: Vec<f64>,
    x: Vec<f64>,
    dx: Vec<f64>,
    at: Vec<f64>,
    /// Where the adjustable resistors stand, in the order of [`Model::adjustable`].
    settings: Vec<f64>,
}

impl Scratch {
    /// Where the adjustable resistors of the board stand, share of the track each, in the order of
    /// [`Model::adjustable`]; in the middle to begin with. The next board that is solved has these.
    pub fn settings_mut(&mut self) -> &mut [f64] {
        &mut self.settings
    }

    /// Circuit parameters and the last solution.
    pub(crate) fn parts_mut(&mut self) -> (&mut [f64], &mut [f64]) {
        (&mut self.values, &mut self.x)
    }

    /// Circuit parameters and the solution last checked against the limits.
    pub(crate) fn solution(&self) -> (&[f64], &[f64]) {
        (&self.values, &self.at)
    }
}

/// One board at one temperature: its output for any thermocouple voltage, and what its sensor tells.
#[derive(Clone, Copy, Debug)]
pub struct BoardState {
    /// Board temperature, °C.
    pub board: f64,
    /// Output at zero thermocouple voltage, V.
    pub offset: f64,
    /// V/V.
    pub gain: f64,
    /// Mean of the converter's two inputs at zero thermocouple voltage, V, and its change per volt of output; 0 for one
    /// input.
    pub common: (f64, f64),
    /// Reference voltage over its nominal value, at zero thermocouple voltage.
    pub reference: f64,
    /// Emf of the terminals' temperature, V.
    pub terminals_emf: f64,
    /// Terminals' temperature, °C.
    pub terminals: f64,
    /// Emf of the temperature that the reference-junction sensor tells, V; 0 for analog compensation.
    pub sensed_emf: f64,
}

/// A temperature of the measuring junction with the probe's limits there.
#[derive(Clone, Copy, Debug)]
pub struct HotEnd {
    /// °C.
    pub celsius: f64,
    /// Limit of the probe's deviation, K.
    pub limit: f64,
    /// Share of the stated drift.
    pub drift_share: f64,
}

/// Which deviations of the reading itself are applied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadingNoise {
    /// Those in the vector of deviations.
    Included,
    /// None: the mean of many readings.
    LeftOut,
}

/// A chain that can be asked for its readings.
#[derive(Debug)]
pub struct Model {
    chain: Chain,
    wiring: Wiring,
    nominal_values: Vec<f64>,
    rule: ReadingRule,
    imperfections: Vec<Imperfection>,
    /// What each of them alters.
    effects: Vec<Effect>,
    acting: Acting,
    mean: Vec<f64>,
    nominal_offset: f64,
    nominal_gain: f64,
    nominal_reference: f64,
    bow_span: f64,
    dynamics: Option<Dynamics>,
    /// What the filters leave of the mains, where that was asked for before all else of the dynamics.
    mains: OnceLock<MainsResidual>,
    correction: Correction,
    findings: Option<BoardFindings>,
}

impl Model {
    /// The whole model, noise and mains included.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved or the reading rule has no inverse over the range.
    pub fn new(chain: Chain) -> Result<Self, ModelError> {
        Self::build(chain, true, None)
    }

    /// The static part only: no noise, no mains. For searches that look at thousands of circuits.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn without_dynamics(chain: Chain) -> Result<Self, ModelError> {
        Self::build(chain, false, None)
    }

    /// [`Model::without_dynamics`] of a chain that differs from the one of `other` in values, in less time; readings differ
    /// by rounding.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn without_dynamics_like(chain: Chain, other: &Model) -> Result<Self, ModelError> {
        Self::build(chain, false, Some(&other.wiring.circuit))
    }

    fn build(chain: Chain, dynamic: bool, like: Option<&Circuit>) -> Result<Self, ModelError> {
        let wiring = Wiring::new(&chain, like)?;
        let nominal_values = nominal_values(&wiring)?;
        let rule = ReadingRule::new(&chain)?;
        let mut list = imperfection::collect(&chain, &wiring);
        let dynamics = if dynamic {
            let look = Look::Whole;
            Some(imperfection::collect_dynamic(&chain, &wiring, &nominal_values, None, look, &mut list)?)
        } else {
            None
        };
        let acting = Acting::new(&list, &wiring);
        let mean: Vec<f64> = list.imperfections.iter().map(|i| i.distribution.mean()).collect();
        let (low, high) = chain.need.board;
        let bow_span = (low - SPECIFIED_AT).abs().max((high - SPECIFIED_AT).abs()).max(1.0);
        let correction = chain.correction.unwrap_or(Correction::NONE);
        let findings = match &chain.findings {
            Some(findings) => BoardFindings::new(findings, &list.imperfections)?,
            None => None,
        };
        let mut model = Self {
            chain,
            wiring,
            nominal_values,
            rule,
            imperfections: list.imperfections,
            effects: list.effects,
            acting,
            mean,
            nominal_offset: 0.0,
            nominal_gain: 1.0,
            nominal_reference: 1.0,
            bow_span,
            dynamics,
            mains: OnceLock::new(),
            correction,
            findings,
        };
        let mut scratch = model.scratch();
        let mean = model.mean.clone();
        let state = model.board_state(SPECIFIED_AT, &mean, &mut scratch)?;
        if state.gain.is_nan() || state.gain.abs() <= 1e-12 || !state.offset.is_finite() {
            return Err(ModelError::Deaf);
        }
        model.nominal_reference = state.reference;
        let state = BoardState { reference: 1.0, ..state };
        model.nominal_gain = state.gain;
        // An analog compensation is part of the offset at 25 °C; the rule of a measured junction subtracts it.
        model.nominal_offset = state.offset;
        Ok(model)
    }

    /// The same with noise and mains; itself if it has them. What a search first looked at without them it need not build
    /// anew.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn with_dynamics(self) -> Result<Self, ModelError> {
        self.with_look(Look::Whole)
    }

    /// The same with noise that is looked at but once: within some parts in ten thousand of what it is.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn with_quick_dynamics(self) -> Result<Self, ModelError> {
        self.with_look(Look::Quick)
    }

    fn with_look(mut self, look: Look) -> Result<Self, ModelError> {
        if self.dynamics.is_some() {
            return Ok(self);
        }
        let mut list = Collector { imperfections: self.imperfections, effects: self.effects };
        self.dynamics = Some(imperfection::collect_dynamic(
            &self.chain,
            &self.wiring,
            &self.nominal_values,
            self.mains.take(),
            look,
            &mut list,
        )?);
        self.acting = Acting::new(&list, &self.wiring);
        self.mean = list.imperfections.iter().map(|i| i.distribution.mean()).collect();
        self.findings = match &self.chain.findings {
            Some(findings) => BoardFindings::new(findings, &list.imperfections)?,
            None => None,
        };
        (self.imperfections, self.effects) = (list.imperfections, list.effects);
        Ok(self)
    }

    /// The chain.
    pub fn chain(&self) -> &Chain {
        &self.chain
    }

    /// All imperfections; deviations are given in this order.
    pub fn imperfections(&self) -> &[Imperfection] {
        &self.imperfections
    }

    /// Mean of every deviation: zero but for what can only go one way.
    pub fn mean_deviations(&self) -> &[f64] {
        &self.mean
    }

    /// Best estimate of every deviation: their means, moved by what a calibration found out about this board.
    pub fn best_estimate(&self) -> Vec<f64> {
        match &self.findings {
            Some(findings) => findings.best_estimate(&self.imperfections),
            None => self.mean.clone(),
        }
    }

    /// What a calibration found out about this board, in the order of the imperfections.
    pub fn findings(&self) -> Option<&BoardFindings> {
        self.findings.as_ref()
    }

    /// Response, noise and mains residual; `None` for a static model.
    pub fn dynamics(&self) -> Option<&Dynamics> {
        self.dynamics.as_ref()
    }

    /// Nominal offset (V) and gain (V/V) between thermocouple and output, board at 25 °C.
    pub fn nominal_transfer(&self) -> (f64, f64) {
        (self.nominal_offset, self.nominal_gain)
    }

    pub(crate) fn mains_found(&self) -> &OnceLock<MainsResidual> {
        &self.mains
    }

    pub(crate) fn wiring(&self) -> &Wiring {
        &self.wiring
    }

    pub(crate) fn nominal_values(&self) -> &[f64] {
        &self.nominal_values
    }

    /// Designators of the adjustable resistors in the order of their settings.
    pub fn adjustable(&self) -> impl Iterator<Item = &str> {
        self.wiring.adjustable.iter().map(|place| place.name.as_str())
    }

    /// Buffers for one thread.
    pub fn scratch(&self) -> Scratch {
        let workspace = self.wiring.circuit.workspace();
        let n = self.wiring.circuit.unknowns();
        Scratch {
            workspace,
            values: self.nominal_values.clone(),
            x: vec![0.0; n],
            dx: vec![0.0; n],
            at: vec![0.0; n],
            settings: vec![MIDDLE; self.wiring.adjustable.len()],
        }
    }

    pub(crate) fn demand_deviations(&self, deviations: &[f64]) -> Result<(), ModelError> {
        let (given, needed) = (deviations.len(), self.imperfections.len());
        if given == needed {
            return Ok(());
        }
        Err(ModelError::Missing(format!("deviations for all imperfections: {given} given, {needed} needed")))
    }

    /// The reading of one board in one situation.
    ///
    /// `deviations` is in the order of [`Model::imperfections`], in their units.
    ///
    /// # Errors
    /// [`ModelError`] for deviations of the wrong count, or that make the circuit unsolvable.
    pub fn predict(&self, situation: &Situation, deviations: &[f64]) -> Result<Reading, ModelError> {
        self.demand_deviations(deviations)?;
        let mut scratch = self.scratch();
        let state = self.board_state(situation.board, deviations, &mut scratch)?;
        let emf = self.hot_emf(&self.hot_end(situation.hot), deviations);
        let v = self.thermocouple_volts(emf, situation.head, &state, deviations);
        let inside = self.within_limits(v, &mut scratch);
        let output = self.output_volts(&state, v, inside, &mut scratch);
        let volts = self.rule_volts(&state, output, deviations, ReadingNoise::Included);
        let celsius = self.celsius(&state, self.correction.offset + self.correction.gain * volts);
        let circuit = &self.wiring.circuit;
        let mut limits: Vec<_> =
            circuit.limits(&scratch.values, &scratch.at).into_iter().map(|hit| self.limit(&hit)).collect();
        let (low, high) = self.chain.converter.span();
        let volts = self.converted(&state, output, deviations, ReadingNoise::LeftOut);
        if volts < low || volts > high {
            limits.push(LimitExceeded { what: "converter input".into(), volts, allowed: (low, high) });
        }
        if let Some(allowed) = self.converter_rails(&scratch.at) {
            for (what, node) in CONVERTER_INPUTS.into_iter().zip([self.wiring.output.0, self.wiring.output.1])
            {
                let volts = circuit.voltage(&scratch.at, node);
                if node != Netlist::GROUND && (volts < allowed.0 || volts > allowed.1) {
                    limits.push(LimitExceeded { what: what.into(), volts, allowed });
                }
            }
        }
        let nodes = &self.wiring.test_nodes;
        let test_point_volts = nodes.iter().map(|n| circuit.voltage(&scratch.at, *n)).collect();
        Ok(Reading { celsius, output_volts: output, test_point_volts, limits })
    }

    fn limit(&self, hit: &LimitHit) -> LimitExceeded {
        LimitExceeded {
            what: format!(
                "{} {}",
                self.wiring.circuit.netlist().element_name(hit.element),
                match hit.kind {
                    LimitKind::OutputLow | LimitKind::OutputHigh => "output",
                    LimitKind::InputPlus => "+ input",
                    LimitKind::InputMinus => "− input",
                }
            ),
            volts: hit.volts,
            allowed: hit.allowed,
        }
    }
}

/// Parameters of the circuit at 25 °C without deviations: parts that follow the temperature at their own currents.
fn nominal_values(wiring: &Wiring) -> Result<Vec<f64>, ModelError> {
    let circuit = &wiring.circuit;
    let mut values = circuit.values();
    if wiring.sensing.is_empty() {
        return Ok(values);
    }
    let (mut workspace, mut x) = (circuit.workspace(), vec![0.0; circuit.unknowns()]);
    // As at the mean of what they may warm themselves.
    let deviations =
        |part: usize| PartDeviations { heating: 0.5 * wiring.sensing[part].heating(), ..Default::default() };
    let mut solve = |values: &[f64], x: &mut [f64]| -> Result<(), ModelError> {
        circuit.factor(values, &mut workspace)?;
        circuit.solve(values, &workspace, x);
        Ok(())
    };
    sensing::settle(circuit, &wiring.sensing, &deviations, SPECIFIED_AT, &mut values, &mut x, &mut solve)?;
    Ok(values)
}
