//! What the model answers under the condition of a reading, for given deviations of the board, of the occasion and of
//! the references.
//!
//! **Unknowns.** The board's own deviations; for every occasion its own value of those that change from one to the
//! next, and the error of the thermometer at the board; for every reference its errors, shared as their tags say.
//! Each is counted in its standard uncertainty from its mean, so that the prior is a unit matrix. Ageing and drift come
//! later and are zero here.
//!
//! **A source in the probe's place.** Volts at the terminals come from a source, and probe and cable stay out, with their
//! resistance. What the input draws — the current that shows an open sensor, bias currents — makes its voltage across
//! the source's resistance instead, so such a condition is answered by the chain with that source at its terminals.

use std::sync::Arc;

use icepoint_chain::imperfection::{Distribution, Imperfection, Persistence};
use icepoint_chain::model::{Model, ModelError, ReadingNoise, Scratch};
use icepoint_chain::situation::Situation;

use super::condition::{Condition, Kind};
use super::readings::Input;
use crate::altered::Altered;
use crate::references::UNKNOWN_SOURCE;
use icepoint_chain::chain::Correction;

/// Resistance of a source of which nothing is said, Ω: the chain file's own default, which the bench sheet takes, too. A
/// caution tells what a larger one would do.
pub const UNSTATED_OHMS: f64 = UNKNOWN_SOURCE.output_resistance;

/// Something that is not known and that a reading depends on.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// What it is.
    pub what: What,
    /// Stable name.
    pub id: String,
    /// In words.
    pub label: String,
    /// What was known of it before; of an error of a reference only the shape counts, its size is the condition's.
    pub distribution: Distribution,
}

/// What an unknown is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// A deviation of the board, by its place in the model.
    Board(usize),
    /// One that changes between occasions, by its place in the model, on one occasion.
    Occasion(usize, usize),
    /// Error of the thermometer at the board on one occasion.
    Thermometer(usize),
    /// Error of a reference, by its tag.
    Reference(String),
}

/// The model seen from the bench.
#[derive(Debug)]
pub struct Forward<'m> {
    /// The chain's model.
    pub model: &'m Model,
    /// Constants that the board had while it was read.
    pub constants: Correction,
    /// Unknowns: the board's first.
    pub unknowns: Vec<Unknown>,
    /// How many of them are the board's.
    pub of_board: usize,
    /// Conditions that are asked for.
    pub conditions: Vec<Condition>,
    /// For each condition the errors of its input: unknown and standard uncertainty in K or V, mean in K or V.
    inputs: Vec<Vec<(usize, f64, f64)>>,
    /// The chain with a source at its terminals, for each resistance that occurs, Ω.
    sources: Vec<(f64, Arc<Altered>)>,
    /// For each condition which of them stands in the probe's place.
    source_of: Vec<Option<usize>>,
}

/// Buffers of one thread.
#[derive(Debug)]
pub struct Work {
    scratch: Scratch,
    /// Of the chains with a source.
    sources: Vec<Scratch>,
    d: Vec<f64>,
    /// The same deviations in the order of a chain with a source.
    own: Vec<f64>,
}

impl<'m> Forward<'m> {
    /// For these conditions.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved with a source at its terminals.
    pub fn new(
        model: &'m Model,
        constants: Correction,
        conditions: Vec<Condition>,
    ) -> Result<Self, ModelError> {
        Self::with(model, constants, conditions, Vec::new())
    }

    /// The same bench with other conditions.
    ///
    /// # Errors
    /// As [`Forward::new`].
    pub fn with_conditions(&self, conditions: Vec<Condition>) -> Result<Self, ModelError> {
        Self::with(self.model, self.constants, conditions, self.sources.clone())
    }

    fn with(
        model: &'m Model,
        constants: Correction,
        conditions: Vec<Condition>,
        mut sources: Vec<(f64, Arc<Altered>)>,
    ) -> Result<Self, ModelError> {
        let mut source_of = Vec::with_capacity(conditions.len());
        for condition in &conditions {
            let Input::Injected(_) = condition.input else {
                source_of.push(None);
                continue;
            };
            let ohms = condition.source_ohms.unwrap_or(UNSTATED_OHMS);
            let place = match sources.iter().position(|(known, _)| *known == ohms) {
                Some(place) => place,
                None => {
                    sources.push((ohms, Arc::new(Altered::with_source(model, ohms)?)));
                    sources.len() - 1
                }
            };
            source_of.push(Some(place));
        }
        let list = model.imperfections();
        let of = |p: Persistence| list.iter().enumerate().filter(move |(_, i)| i.persistence == p);
        let mut unknowns: Vec<Unknown> = of(Persistence::Board)
            .map(|(i, imperfection)| unknown(What::Board(i), imperfection, String::new()))
            .collect();
        let of_board = unknowns.len();
        let sessions = conditions.iter().map(|c| c.session + 1).max().unwrap_or(0);
        for session in 0..sessions {
            let which = if sessions > 1 { format!(", occasion {}", session + 1) } else { String::new() };
            let while_calibrated = format!(", during the calibration{which}");
            unknowns.extend(
                of(Persistence::Occasion)
                    .map(|(i, x)| unknown(What::Occasion(i, session), x, while_calibrated.clone())),
            );
            // The temperature of the terminals is known as the source's own record says, else as the plan does: one
            // thermometer for an occasion, so of several the least good.
            let plan = model.chain().plan.thermometer;
            let volts = |c: &&Condition| c.session == session && matches!(c.input, Input::Injected(_));
            let known = conditions.iter().filter(volts).map(|c| c.thermometer.unwrap_or(plan));
            let thermometer = known.reduce(f64::max).unwrap_or(plan);
            if thermometer > 0.0 {
                unknowns.push(Unknown {
                    what: What::Thermometer(session),
                    id: format!("thermometer.{}", session + 1),
                    label: format!("thermometer at the board{while_calibrated}"),
                    distribution: Distribution::Rectangular(thermometer),
                });
            }
        }
        let mut inputs = Vec::with_capacity(conditions.len());
        for condition in &conditions {
            let mut of_this = Vec::new();
            for error in condition.errors.iter().filter(|e| e.distribution.standard() > 0.0) {
                let what = What::Reference(error.tag.clone());
                let place = unknowns.iter().position(|u| u.what == what).unwrap_or_else(|| {
                    unknowns.push(Unknown {
                        what,
                        id: error.tag.clone(),
                        label: error.label.clone(),
                        distribution: error.distribution,
                    });
                    unknowns.len() - 1
                });
                of_this.push((place, error.sign * error.distribution.standard(), error.distribution.mean()));
            }
            inputs.push(of_this);
        }
        Ok(Self { model, constants, unknowns, of_board, conditions, inputs, sources, source_of })
    }

    /// Buffers.
    pub fn work(&self) -> Work {
        Work {
            scratch: self.model.scratch(),
            sources: self.sources.iter().map(|(_, altered)| altered.model.scratch()).collect(),
            d: vec![0.0; self.model.imperfections().len()],
            own: Vec::new(),
        }
    }

    /// What comes out under condition `k`, noise left out, for unknowns `z` in their standard uncertainties.
    ///
    /// # Errors
    /// [`ModelError`] when the deviations make the circuit unsolvable.
    pub fn answer(&self, k: usize, z: &[f64], work: &mut Work) -> Result<f64, ModelError> {
        let condition = &self.conditions[k];
        let board = self.fill(condition.session, z, condition.board, &mut work.d);
        let off: f64 = self.inputs[k].iter().map(|&(u, size, mean)| mean + size * z[u]).sum();
        let output = self.output(k, off, board, work)?;
        self.shown(condition.kind, &output, &work.d)
    }

    /// Deviations of the board on an occasion; gives the temperature that the board has.
    fn fill(&self, session: usize, z: &[f64], board: f64, d: &mut [f64]) -> f64 {
        d.fill(0.0);
        let list = self.model.imperfections();
        let mut true_board = board;
        for (unknown, &z) in self.unknowns.iter().zip(z) {
            match unknown.what {
                What::Board(i) => d[i] = at(&list[i], z),
                What::Occasion(i, s) if s == session => d[i] = at(&list[i], z),
                What::Thermometer(s) if s == session => true_board += unknown.distribution.standard() * z,
                _ => {}
            }
        }
        true_board
    }

    /// The circuit's answer under condition `k`, the input `off` by so much.
    fn output(&self, k: usize, off: f64, board: f64, work: &mut Work) -> Result<Output, ModelError> {
        let Work { scratch, sources, d, own } = work;
        match (self.conditions[k].input, self.source_of[k]) {
            (Input::Injected(v), Some(place)) => {
                let altered = &self.sources[place].1;
                altered.deviations(d, own);
                let state = altered.model.board_state(board, own, &mut sources[place])?;
                let volts = altered.model.output_volts(&state, v + off, false, &mut sources[place]);
                Ok(Output { state, volts })
            }
            (Input::Injected(v), None) => {
                let state = self.model.board_state(board, d, scratch)?;
                let volts = self.model.output_volts(&state, v + off, false, scratch);
                Ok(Output { state, volts })
            }
            (Input::Temperature(t), _) => {
                let state = self.model.board_state(board, d, scratch)?;
                let end = self.model.hot_end(t + off);
                let head = Situation::at(self.model.chain(), t, board).head;
                let v = self.model.thermocouple_volts(self.model.hot_emf(&end, d), head, &state, d);
                let volts = self.model.output_volts(&state, v, false, scratch);
                Ok(Output { state, volts })
            }
        }
    }

    fn shown(&self, kind: Kind, output: &Output, d: &[f64]) -> Result<f64, ModelError> {
        let rule = self.model.rule_volts(&output.state, output.volts, d, ReadingNoise::LeftOut);
        let converter = &self.model.chain().converter;
        Ok(match kind {
            Kind::Celsius => {
                self.model.celsius(&output.state, self.constants.offset + self.constants.gain * rule)
            }
            Kind::Volts => self.output_of(rule),
            Kind::Code => converter.code_of(self.output_of(rule)),
        })
    }

    /// Volts that the converter gives under condition `k`.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn volts(&self, k: usize, z: &[f64], work: &mut Work) -> Result<f64, ModelError> {
        let condition = &self.conditions[k];
        let board = self.fill(condition.session, z, condition.board, &mut work.d);
        let output = self.output(k, 0.0, board, work)?;
        self.shown(Kind::Volts, &output, &work.d)
    }

    /// Volts of the rule for volts that the converter gives.
    pub fn rule_of(&self, volts: f64) -> f64 {
        let (offset, gain) = self.model.nominal_transfer();
        match self.model.chain().readout {
            icepoint_chain::chain::Readout::Line { .. } => volts,
            _ => (volts - offset) / gain,
        }
    }

    /// Volts that the converter gives, from those of the rule.
    pub fn output_of(&self, rule: f64) -> f64 {
        let (offset, gain) = self.model.nominal_transfer();
        match self.model.chain().readout {
            icepoint_chain::chain::Readout::Line { .. } => rule,
            _ => offset + gain * rule,
        }
    }

    /// Change of what comes out under condition `k` per volt at the converter, at the means.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn per_volt(&self, k: usize, z: &[f64], work: &mut Work) -> Result<f64, ModelError> {
        let condition = &self.conditions[k];
        let board = self.fill(condition.session, z, condition.board, &mut work.d);
        let output = self.output(k, 0.0, board, work)?;
        let step = 1e-3 * self.model.nominal_transfer().1.abs() * 1e-2;
        let shown = |by: f64| {
            let moved = Output { volts: output.volts + by, ..output };
            self.shown(condition.kind, &moved, &work.d)
        };
        Ok((shown(step)? - shown(-step)?) / (2.0 * step))
    }

    /// Whether the circuit stays inside its limits under condition `k` with every deviation at its mean.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn inside(&self, k: usize, work: &mut Work) -> Result<bool, ModelError> {
        let condition = &self.conditions[k];
        let z = vec![0.0; self.unknowns.len()];
        let board = self.fill(condition.session, &z, condition.board, &mut work.d);
        let Work { scratch, sources, d, own } = work;
        let (model, scratch, v, state) = match (condition.input, self.source_of[k]) {
            (Input::Injected(v), Some(place)) => {
                let altered = &self.sources[place].1;
                altered.deviations(d, own);
                let scratch = &mut sources[place];
                let state = altered.model.board_state(board, own, scratch)?;
                (&altered.model, scratch, v, state)
            }
            (Input::Injected(v), None) => {
                let state = self.model.board_state(board, d, scratch)?;
                (self.model, scratch, v, state)
            }
            (Input::Temperature(t), _) => {
                let state = self.model.board_state(board, d, scratch)?;
                let emf = self.model.hot_emf(&self.model.hot_end(t), d);
                (self.model, scratch, self.model.thermocouple_volts(emf, board, &state, d), state)
            }
        };
        let (low, high) = self.model.chain().converter.span();
        let output = state.offset + state.gain * v;
        Ok(model.within_limits(v, scratch) && output > low && output < high)
    }

    /// Sensitivities under condition `k`: change of what comes out per standard uncertainty of each unknown, over ±1.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn row(&self, k: usize, at: &[f64], work: &mut Work, row: &mut [f64]) -> Result<(), ModelError> {
        let mut z = at.to_vec();
        let session = self.conditions[k].session;
        for (u, out) in row.iter_mut().enumerate() {
            let acts = match self.unknowns[u].what {
                What::Board(_) => true,
                What::Occasion(_, s) | What::Thermometer(s) => s == session,
                What::Reference(_) => self.inputs[k].iter().any(|(place, _, _)| *place == u),
            };
            if !acts {
                *out = 0.0;
                continue;
            }
            z[u] = at[u] + 1.0;
            let up = self.answer(k, &z, work)?;
            z[u] = at[u] - 1.0;
            let down = self.answer(k, &z, work)?;
            z[u] = at[u];
            *out = 0.5 * (up - down);
        }
        Ok(())
    }

    /// Deviations in the model's order for the board's unknowns; the others at their means, ageing included.
    pub fn board_deviations(&self, z: &[f64]) -> Vec<f64> {
        let mut d = self.model.mean_deviations().to_vec();
        for (unknown, &z) in self.unknowns.iter().zip(z) {
            if let What::Board(i) = unknown.what {
                d[i] = at(&self.model.imperfections()[i], z);
            }
        }
        d
    }
}

#[derive(Clone, Copy)]
struct Output {
    state: icepoint_chain::model::BoardState,
    volts: f64,
}

fn unknown(what: What, imperfection: &Imperfection, suffix: String) -> Unknown {
    Unknown {
        what,
        id: imperfection.id.clone(),
        label: format!("{}{suffix}", imperfection.label),
        distribution: imperfection.distribution,
    }
}

/// A deviation in its own unit.
fn at(imperfection: &Imperfection, z: f64) -> f64 {
    imperfection.distribution.mean() + imperfection.distribution.standard() * z
}
