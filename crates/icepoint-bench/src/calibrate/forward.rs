//! What the model answers under the condition of a reading, for given deviations of the board, of the occasion and of
//! the references.
//!
//! **Unknowns.** The board's own deviations; for every occasion its own value of those that change from one to the
//! next; for every thermometer at the board its error, on all occasions the same; for every reference its errors, shared as
//! their tags say. Each is counted in its standard uncertainty from its mean, so that the prior is a unit matrix. Ageing and drift come
//! later and are zero here.
//!
//! **A source in the probe's place.** Volts at the terminals come from a source, and probe and cable stay out, with their
//! resistance. What the input draws — the current that shows an open sensor, bias currents — makes its voltage across
//! the source's resistance instead, so such a condition is answered by the chain with that source at its terminals.
//!
//! **The bench's voltmeter at the output.** Of a board that ends in a converter it shows what the converter is given, not
//! what it makes of it: the circuit's own volts, with the meter's resistance in the circuit and the meter's errors, one gain
//! and one fixed part for all that it showed. The converter's deviations stay unseen.

use std::sync::Arc;

use icepoint_chain::imperfection::{Distribution, Imperfection, Persistence};
use icepoint_chain::model::{BoardState, Model, ModelError, ReadingNoise, Scratch};
use icepoint_chain::situation::Situation;

use super::condition::{Condition, Kind};
use super::readings::Input;
use crate::altered::Altered;
use crate::references::{Shared, Tag, UNKNOWN_SOURCE};
use icepoint_chain::chain::{ConverterKind, Correction};

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
    /// Error of a thermometer at the board: that of the named record of a source, or without a name that of the plan.
    Thermometer(Option<String>),
    /// Error of a reference or of the bench's voltmeter, by its tag.
    Reference(Tag),
}

/// The board's answer under a condition as it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// What a voltmeter shows at the output, V: the circuit's own volts, or what the board's own voltmeter shows.
    pub output: f64,
    /// What the converter gives, V.
    pub converted: f64,
    /// Change of the second with the first.
    pub slope: f64,
}

/// What of the bench stands in the circuit, Ω: a source in the probe's place, a voltmeter at the output.
#[derive(Clone, Copy, Debug, PartialEq)]
struct OnBench {
    source: Option<f64>,
    meter: Option<f64>,
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
    /// For each condition the errors of the voltmeter that showed it: unknown, standard uncertainty, and whether it goes with
    /// the volts.
    meters: Vec<Vec<(usize, f64, bool)>>,
    /// For each condition the thermometer at the board.
    thermometers: Vec<Option<usize>>,
    /// The chain with the bench in its circuit, in each way that occurs.
    altered: Vec<(OnBench, Arc<Altered>)>,
    /// For each condition which of them answers; `None` for the chain itself.
    altered_of: Vec<Option<usize>>,
}

/// Buffers of one thread.
#[derive(Debug)]
pub struct Work {
    scratch: Scratch,
    /// Of the chains with the bench in their circuit.
    altered: Vec<Scratch>,
    d: Vec<f64>,
    /// The same deviations in the order of such a chain.
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
        Self::with(self.model, self.constants, conditions, self.altered.clone())
    }

    fn with(
        model: &'m Model,
        constants: Correction,
        conditions: Vec<Condition>,
        mut altered: Vec<(OnBench, Arc<Altered>)>,
    ) -> Result<Self, ModelError> {
        let mut altered_of = Vec::with_capacity(conditions.len());
        for condition in &conditions {
            let source = matches!(condition.input, Input::Injected(_))
                .then(|| condition.source_ohms.unwrap_or(UNSTATED_OHMS));
            let bench = OnBench { source, meter: condition.meter.as_ref().map(|m| m.input_resistance) };
            if bench == (OnBench { source: None, meter: None }) {
                altered_of.push(None);
                continue;
            }
            let place = match altered.iter().position(|(known, _)| *known == bench) {
                Some(place) => place,
                None => {
                    altered.push((bench, Arc::new(Altered::on_bench(model, bench.source, bench.meter)?)));
                    altered.len() - 1
                }
            };
            altered_of.push(Some(place));
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
        }
        let mut thermometers = Vec::with_capacity(conditions.len());
        for condition in &conditions {
            // As the source's own record says, else as the plan does: one thermometer each, whatever the occasion.
            let own = condition.thermometer.filter(|_| matches!(condition.input, Input::Injected(_)));
            let record = own.map(|_| condition.reference.clone());
            let limit = own.unwrap_or(model.chain().plan.thermometer);
            thermometers.push((limit > 0.0).then(|| {
                let name = record.as_ref().map_or(String::new(), |name| format!("{name}."));
                let of = record.as_ref().map_or(String::new(), |name| format!(" of {name}"));
                place(&mut unknowns, What::Thermometer(record), || {
                    let label = format!("thermometer at the board{of}, during the calibration");
                    (format!("{name}thermometer"), label, Distribution::Rectangular(limit))
                })
            }));
        }
        let (mut inputs, mut meters) = (Vec::with_capacity(conditions.len()), Vec::new());
        for condition in &conditions {
            let errors = condition.errors.iter().filter(|e| e.distribution.standard() > 0.0);
            let of_this = errors.map(|error| {
                let what = What::Reference(error.tag.clone());
                let new = || (error.tag.to_string(), error.label.clone(), error.distribution);
                let size = error.sign * error.distribution.standard();
                (place(&mut unknowns, what, new), size, error.distribution.mean())
            });
            inputs.push(of_this.collect());
            let mut of_this = Vec::new();
            if let Some(meter) = &condition.meter {
                for (part, words, limit, with_volts) in [
                    ("meter_gain", "share of the reading", meter.relative, true),
                    ("meter_fixed", "fixed part", meter.fixed, false),
                ] {
                    if limit.is_nan() || limit <= 0.0 {
                        continue;
                    }
                    let reference = meter.called().to_owned();
                    let label = format!("{reference} at the output, {words}");
                    let tag = Tag { reference, part, shared: Shared::Always };
                    let size = Distribution::Rectangular(limit);
                    let id = tag.to_string();
                    let u = place(&mut unknowns, What::Reference(tag), || (id, label, size));
                    of_this.push((u, size.standard(), with_volts));
                }
            }
            meters.push(of_this);
        }
        Ok(Self {
            model,
            constants,
            unknowns,
            of_board,
            conditions,
            inputs,
            meters,
            thermometers,
            altered,
            altered_of,
        })
    }

    /// Buffers.
    pub fn work(&self) -> Work {
        Work {
            scratch: self.model.scratch(),
            altered: self.altered.iter().map(|(_, altered)| altered.model.scratch()).collect(),
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
        let board = self.fill(k, z, condition.board, &mut work.d);
        let off: f64 = self.inputs[k].iter().map(|&(u, size, mean)| mean + size * z[u]).sum();
        let output = self.output(k, off, board, work)?;
        let shown = self.shown(k, &output, &work.d);
        let meter = self.meters[k].iter();
        Ok(meter
            .fold(shown, |v, &(u, size, with_volts)| v + size * z[u] * if with_volts { shown } else { 1.0 }))
    }

    /// Deviations of the board on the occasion of a condition; gives the temperature that the board has when its thermometer
    /// says `board`.
    fn fill(&self, k: usize, z: &[f64], board: f64, d: &mut [f64]) -> f64 {
        d.fill(0.0);
        let (list, session) = (self.model.imperfections(), self.conditions[k].session);
        for (unknown, &z) in self.unknowns.iter().zip(z) {
            match unknown.what {
                What::Board(i) => d[i] = at(&list[i], z),
                What::Occasion(i, s) if s == session => d[i] = at(&list[i], z),
                _ => {}
            }
        }
        board + self.thermometers[k].map_or(0.0, |u| self.unknowns[u].distribution.standard() * z[u])
    }

    /// The circuit solved for a board under condition `k`, the input `off` by so much: the model that answers, its state,
    /// and the volts at the terminals.
    fn solved<'w>(
        &'w self,
        k: usize,
        off: f64,
        board: f64,
        work: &'w mut Work,
    ) -> Result<(&'w Model, &'w mut Scratch, BoardState, f64), ModelError> {
        let Work { scratch, altered, d, own } = work;
        let (model, scratch, state) = match self.altered_of[k] {
            Some(place) => {
                let (model, scratch) = (&self.altered[place].1.model, &mut altered[place]);
                // What only the voltmeter's current brings stays at its mean: at the output it is no load of the reference,
                // but for an output against the reference itself, and there it is that current times the reference's
                // output resistance (45 nV at 4.5 V, 0.1 Ω and 10 MΩ), far below the meter's own fixed part.
                self.altered[place].1.deviations(d, 0.0, own);
                let state = model.board_state(board, own, scratch)?;
                (model, scratch, state)
            }
            None => {
                let state = self.model.board_state(board, d, scratch)?;
                (self.model, scratch, state)
            }
        };
        let volts = match self.conditions[k].input {
            Input::Injected(v) => v + off,
            Input::Temperature(t) => {
                let emf = self.model.hot_emf(&self.model.hot_end(t + off), d);
                let head = Situation::at(self.model.chain(), t, board).head;
                self.model.thermocouple_volts(emf, head, &state, d)
            }
        };
        Ok((model, scratch, state, volts))
    }

    /// The circuit's answer under condition `k`, the input `off` by so much.
    fn output(&self, k: usize, off: f64, board: f64, work: &mut Work) -> Result<Output, ModelError> {
        let (model, scratch, state, v) = self.solved(k, off, board, work)?;
        Ok(Output { state, volts: model.output_volts(&state, v, false, scratch) })
    }

    fn shown(&self, k: usize, output: &Output, d: &[f64]) -> f64 {
        let condition = &self.conditions[k];
        if condition.meter.is_some() {
            return output.volts;
        }
        let rule = self.model.rule_volts(&output.state, output.volts, d, ReadingNoise::LeftOut);
        match condition.kind {
            Kind::Celsius => {
                self.model.celsius(&output.state, self.constants.offset + self.constants.gain * rule)
            }
            Kind::Volts => self.output_of(rule),
            Kind::Code => self.model.chain().converter.code_of(self.output_of(rule)),
        }
    }

    /// What the output shows at the input of condition `k` on the board as it is under condition `on`, and what the
    /// converter makes of it.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn output_on(&self, k: usize, on: usize, z: &[f64], work: &mut Work) -> Result<Seen, ModelError> {
        let board = self.fill(on, z, self.conditions[on].board, &mut work.d);
        let output = self.output(k, 0.0, board, work)?;
        let converted = |volts: f64| {
            self.output_of(self.model.rule_volts(&output.state, volts, &work.d, ReadingNoise::LeftOut))
        };
        let given = converted(output.volts);
        if let ConverterKind::Voltmeter { .. } = self.model.chain().converter.kind {
            return Ok(Seen { output: given, converted: given, slope: 1.0 });
        }
        let step = self.step();
        let slope = (converted(output.volts + step) - converted(output.volts - step)) / (2.0 * step);
        Ok(Seen { output: output.volts, converted: given, slope })
    }

    /// A change of the output that is far below any curvature, V: as 10 µV at the terminals make it.
    fn step(&self) -> f64 {
        1e-5 * self.model.nominal_transfer().1.abs()
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
        let board = self.fill(k, z, self.conditions[k].board, &mut work.d);
        let output = self.output(k, 0.0, board, work)?;
        let step = self.step();
        let shown = |by: f64| {
            let moved = Output { volts: output.volts + by, ..output };
            self.shown(k, &moved, &work.d)
        };
        Ok((shown(step) - shown(-step)) / (2.0 * step))
    }

    /// Whether the circuit stays inside its limits under condition `k` with every deviation at its mean.
    ///
    /// # Errors
    /// As [`Forward::answer`].
    pub fn inside(&self, k: usize, work: &mut Work) -> Result<bool, ModelError> {
        let z = vec![0.0; self.unknowns.len()];
        let board = self.fill(k, &z, self.conditions[k].board, &mut work.d);
        let (model, scratch, state, v) = self.solved(k, 0.0, board, work)?;
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
                What::Occasion(_, s) => s == session,
                What::Thermometer(_) => self.thermometers[k] == Some(u),
                What::Reference(_) => {
                    self.inputs[k].iter().any(|(place, ..)| *place == u)
                        || self.meters[k].iter().any(|(place, ..)| *place == u)
                }
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
    state: BoardState,
    volts: f64,
}

/// Place of an unknown, added at the end if it is new: stable name, words, distribution.
fn place(
    unknowns: &mut Vec<Unknown>,
    what: What,
    new: impl FnOnce() -> (String, String, Distribution),
) -> usize {
    unknowns.iter().position(|u| u.what == what).unwrap_or_else(|| {
        let (id, label, distribution) = new();
        unknowns.push(Unknown { what, id, label, distribution });
        unknowns.len() - 1
    })
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
