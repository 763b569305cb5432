//! The low-pass of many boards: magnitude, step response, and the few figures that a reader asks for, nominal and as
//! 95 % of boards have them.
//!
//! **Boards.** Resistors and open-loop gains as the model draws them for the budget, at a board temperature anywhere in
//! its range; capacitors anywhere within their tolerance widened by what temperature does to them; gain-bandwidth products
//! within ±[`BANDWIDTH_SPREAD`] of the figure. Each board is told against its own gain at 0 Hz: what that gain does to the
//! reading is in the budget.
//!
//! **Left out.** Slewing; the output resistance of the amplifiers, which ends the attenuation of Sallen–Key stages far above
//! the corner.

use rand::RngExt as _;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::insert::Inserted;
use super::polynomial::value;
use super::time::{self, Cascade};
use super::{Amplifier, Built, Complex, LowPass};
use crate::budget::monte_carlo::{draw, draw_all, generator};
use crate::front_end::PartKind;
use crate::imperfection::Distribution;
use crate::model::Model;
use crate::statistics::{Interval95, intervals_95};
use icepoint_circuit::Parameter;

/// How far the gain-bandwidth product of an amplifier may be from its figure, relative: common practice, no source.
pub const BANDWIDTH_SPREAD: f64 = 0.3;
/// Boards of a dossier: the ends of the interval are good to a tenth of a standard deviation.
pub const BOARDS: u32 = 1000;
/// The nominal step settles in the first this share of the time looked at: slow boards have room.
const SETTLES_IN: f64 = 0.4;
/// Doublings of the time looked at; a step that has not settled by then does not.
const DOUBLINGS: u32 = 14;

/// What is asked of each board.
#[derive(Clone, Debug)]
pub struct Question {
    /// Boards to draw.
    pub boards: u32,
    /// Frequencies, Hz, above 0.
    pub hertz: Vec<f64>,
    /// Samples of the step response; overshoot is read off them.
    pub samples: usize,
}

/// A figure of the filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Of the response that was asked for, its poles where they belong.
    pub asked: f64,
    /// Of the values chosen.
    pub nominal: f64,
    /// 95 % of boards lie between `low` and `high`.
    pub low: f64,
    /// See `low`.
    pub high: f64,
}

/// A curve with its band: 95 % of boards lie between `low` and `high` at each place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPoint {
    /// Hz or s.
    pub at: f64,
    /// Of the values chosen.
    pub nominal: f64,
    /// See above.
    pub low: f64,
    /// See above.
    pub high: f64,
    /// 95 % of boards are no further than this from the end of the step; 0 for a magnitude.
    pub missing: f64,
}

/// The low-pass of many boards.
#[derive(Clone, Debug, PartialEq)]
pub struct Boards {
    /// Boards that were drawn.
    pub boards: u32,
    /// Magnitude over that at 0 Hz, V/V.
    pub magnitude: Vec<BandPoint>,
    /// Response to a step of 1.
    pub step: Vec<BandPoint>,
    /// Where it is last 3 dB below 0 Hz, Hz.
    pub corner: Spread,
    /// Magnitude at the mains frequency over that at 0 Hz, V/V.
    pub mains: Spread,
    /// How far a step goes beyond its end, share of the step.
    pub overshoot: Spread,
    /// Time until a step stays within `settle_to`, s; infinite beyond the last of `step`.
    pub settled: Spread,
}

/// One board's filter.
struct One {
    denominators: Vec<Vec<f64>>,
}

impl One {
    fn magnitude(&self, hertz: f64) -> f64 {
        let s = Complex::new(0.0, core::f64::consts::TAU * hertz);
        self.denominators
            .iter()
            .map(|d| d.first().copied().unwrap_or(f64::NAN).abs() / value(d, s).magnitude())
            .product()
    }

    /// Where it is last 3 dB below 0 Hz: from `above` down, then by bisection.
    fn corner(&self, above: f64) -> f64 {
        const DOWN: f64 = 1.05;
        let passes = |hertz: f64| self.magnitude(hertz) > core::f64::consts::FRAC_1_SQRT_2;
        let mut high = above;
        while passes(high) && high < 1e12 {
            high *= 2.0;
        }
        let mut low = high / DOWN;
        while !passes(low) && low > 1e-9 {
            (low, high) = (low / DOWN, low);
        }
        for _ in 0..40 {
            let middle = (low * high).sqrt();
            if passes(middle) { low = middle } else { high = middle }
        }
        (low * high).sqrt()
    }

    fn step(&self, duration: f64, samples: usize) -> Option<Vec<f64>> {
        let cascade = Cascade::new(&self.denominators)?;
        Some(cascade.step(duration / (samples.max(2) - 1) as f64, samples.max(2)))
    }
}

/// The filter as asked for, its poles where they belong.
fn asked(plan: &LowPass, corner: f64) -> One {
    let rate = |frequency: f64| 1.0 / (core::f64::consts::TAU * frequency * corner);
    let denominators = plan
        .stages()
        .iter()
        .map(|stage| {
            let t = rate(stage.pole.frequency);
            match stage.pole.q {
                Some(q) => vec![1.0, t / q, t * t],
                None => vec![1.0, t],
            }
        })
        .collect();
    One { denominators }
}

/// Parts of the low-pass in the circuit of the model.
struct Places<'a> {
    model: &'a Model,
    inserted: &'a Inserted,
    /// Figures of the amplifier, stage by stage.
    amplifiers: Vec<Amplifier>,
    /// Nominal value and tolerance of every capacitor, stage by stage.
    capacitors: Vec<Vec<(f64, f64)>>,
}

impl<'a> Places<'a> {
    fn new(model: &'a Model, inserted: &'a Inserted) -> Self {
        let part = |name: &String| model.chain().front_end.part(name).map(|p| &p.kind);
        let amplifier = |name: &String| match part(name) {
            Some(PartKind::Operational { figures, .. }) => {
                Amplifier { bandwidth: figures.bandwidth, gain: figures.open_loop_gain }
            }
            _ => Amplifier::IDEAL,
        };
        let capacitor = |name: &String| match part(name) {
            Some(PartKind::Capacitor { farads, tolerance, .. }) => Some((*farads, *tolerance)),
            _ => None,
        };
        Self {
            model,
            inserted,
            amplifiers: inserted.stages.iter().map(|s| amplifier(&s.amplifier)).collect(),
            capacitors: inserted
                .stages
                .iter()
                .map(|s| s.farads.iter().filter_map(capacitor).collect())
                .collect(),
        }
    }

    /// Stages and their amplifiers with these circuit values; `rng` draws what the circuit's values do not hold.
    fn stages(&self, values: &[f64], mut rng: Option<&mut Xoshiro256PlusPlus>) -> Vec<(Built, Amplifier)> {
        let wiring = self.model.wiring();
        let mut drawn = |limit: f64| match rng.as_deref_mut() {
            Some(rng) => 1.0 + draw(Distribution::Rectangular(limit), rng),
            None => 1.0,
        };
        let mut all = Vec::new();
        for ((parts, amplifier), capacitors) in
            self.inserted.stages.iter().zip(&self.amplifiers).zip(&self.capacitors)
        {
            let ohms = parts.ohms.iter().filter_map(|n| Some(values[wiring.resistor(n)?.index()])).collect();
            let farads = capacitors.iter().map(|(farads, limit)| farads * drawn(*limit)).collect();
            let inverse = wiring.slot(&parts.amplifier, Parameter::InverseGain);
            let gain = inverse.map_or(amplifier.gain, |slot| 1.0 / values[slot.index()]);
            let bandwidth = amplifier.bandwidth * drawn(BANDWIDTH_SPREAD);
            all.push((parts.stage.built(ohms, farads), Amplifier { bandwidth, gain }));
        }
        all
    }

    fn one(&self, values: &[f64], rng: Option<&mut Xoshiro256PlusPlus>) -> One {
        let stages = self.stages(values, rng);
        One { denominators: stages.iter().map(|(built, a)| built.denominator(*a)).collect() }
    }
}

impl Inserted {
    /// The stages with the values of the model's front end, and the amplifier that drives each, as its data sheet says.
    pub fn built(&self, model: &Model) -> Vec<(Built, Amplifier)> {
        let places = Places::new(model, self);
        let stages = places.stages(model.nominal_values(), None);
        stages.into_iter().zip(places.amplifiers).map(|((built, _), a)| (built, a)).collect()
    }

    /// Relative standard deviations of pole frequency and Q of each stage, with every part anywhere within its own tolerance:
    /// [`Built::spread_of`]. Of parts that the board has no longer as one nothing counts.
    pub fn spreads(&self, model: &Model) -> Vec<(f64, f64)> {
        let limit = |name: &String| match &model.chain().front_end.part(name)?.kind {
            PartKind::Resistor { figures, .. } => Some(figures.tolerance),
            PartKind::Capacitor { tolerance, .. } => Some(*tolerance),
            _ => None,
        };
        let limits = |names: &[String]| names.iter().filter_map(limit).collect::<Vec<f64>>();
        let stages = self.stages.iter().zip(self.built(model));
        stages
            .map(|(parts, (built, _))| built.spread_of(&limits(&parts.ohms), &limits(&parts.farads)))
            .collect()
    }

    /// Where the stages together, amplifiers as their data sheet says, are last 3 dB below 0 Hz, Hz.
    pub fn corner(&self, model: &Model) -> f64 {
        let stages = self.built(model);
        let one = One { denominators: stages.iter().map(|(built, a)| built.denominator(*a)).collect() };
        one.corner(above(&stages))
    }

    /// The low-pass of many boards; `None` where the step of the nominal one does not settle or an amplifier is so slow
    /// that a stage has no pole to tell.
    ///
    /// The same chain gives the same figures: its seed is that of the budget. Errors of the interval's ends are those of
    /// a sample: a tenth of a standard deviation for a thousand boards.
    pub fn boards(&self, model: &Model, question: &Question) -> Option<Boards> {
        let chain = model.chain();
        let stages = self.built(model);
        let start = above(&stages);
        let nominal = One { denominators: stages.iter().map(|(built, a)| built.denominator(*a)).collect() };
        let corner = nominal.corner(start);
        let ideal = asked(&self.plan, self.plan.corner.unwrap_or(corner));
        let fraction = chain.need.settle_to;
        let duration = duration(&nominal, corner, question.samples, fraction)?;
        let sampled = Sampled { question, start, duration, fraction, mains: chain.need.mains };
        let (ideal, nominal) = (sampled.of(&ideal)?, sampled.of(&nominal)?);

        let places = Places::new(model, self);
        let mut rng = generator(chain.settings.seed, 0);
        let mut deviations = model.mean_deviations().to_vec();
        let mut scratch = model.scratch();
        let mut values = model.nominal_values().to_vec();
        let mut all = Vec::new();
        for _ in 0..question.boards {
            draw_all(model.imperfections(), &mut rng, &mut deviations);
            let board = chain.need.board.0 + (chain.need.board.1 - chain.need.board.0) * rng.random::<f64>();
            let sensed = model.sensed(board, &deviations);
            model.fill_values(board, sensed, &deviations, scratch.settings_mut(), &mut values);
            all.extend(sampled.of(&places.one(&values, Some(&mut rng))));
        }

        let mut sample = vec![0.0_f32; all.len()];
        let mut interval = |pick: &dyn Fn(&Figures) -> f64| -> Option<Interval95> {
            for (slot, one) in sample.iter_mut().zip(&all) {
                *slot = pick(one) as f32;
            }
            intervals_95(&mut sample)
        };
        let mut spread = |pick: &dyn Fn(&Figures) -> f64| -> Option<Spread> {
            let Interval95 { low, high, .. } = interval(pick)?;
            Some(Spread { asked: pick(&ideal), nominal: pick(&nominal), low, high })
        };
        let (corner, mains) = (spread(&|f| f.corner)?, spread(&|f| f.mains)?);
        let (overshoot, settled) = (spread(&|f| f.overshoot)?, spread(&|f| f.settled)?);
        let mut magnitude = Vec::new();
        for (i, hertz) in question.hertz.iter().enumerate() {
            let Interval95 { low, high, .. } = interval(&|f| f.magnitude[i])?;
            magnitude.push(BandPoint { at: *hertz, nominal: nominal.magnitude[i], low, high, missing: 0.0 });
        }
        let mut step = Vec::new();
        for (i, volts) in nominal.step.iter().enumerate() {
            let Interval95 { low, high, .. } = interval(&|f| f.step[i])?;
            let missing = interval(&|f| 1.0 - f.step[i])?.error;
            let at = duration * i as f64 / (nominal.step.len() - 1) as f64;
            step.push(BandPoint { at, nominal: *volts, low, high, missing });
        }
        let boards = u32::try_from(all.len()).unwrap_or(u32::MAX);
        Some(Boards { boards, magnitude, step, corner, mains, overshoot, settled })
    }
}

/// Above every pole that the stages are there for, Hz.
fn above(stages: &[(Built, Amplifier)]) -> f64 {
    let poles = stages.iter().filter_map(|(built, _)| built.pole(Amplifier::IDEAL));
    4.0 * poles.map(|p| p.frequency).fold(0.0, f64::max)
}

/// Time to look at, s.
fn duration(nominal: &One, corner: f64, samples: usize, fraction: f64) -> Option<f64> {
    let mut duration = 4.0 / (core::f64::consts::TAU * corner);
    for _ in 0..DOUBLINGS {
        let settled = time::settled(&nominal.step(duration, samples)?, duration, fraction);
        if settled < 0.5 * duration {
            return Some(settled / SETTLES_IN);
        }
        duration *= 2.0;
    }
    None
}

/// Curves and figures of one filter.
struct Figures {
    magnitude: Vec<f64>,
    step: Vec<f64>,
    corner: f64,
    mains: f64,
    overshoot: f64,
    settled: f64,
}

struct Sampled<'a> {
    question: &'a Question,
    start: f64,
    duration: f64,
    fraction: f64,
    mains: f64,
}

impl Sampled<'_> {
    fn of(&self, one: &One) -> Option<Figures> {
        let step = one.step(self.duration, self.question.samples)?;
        Some(Figures {
            magnitude: self.question.hertz.iter().map(|hertz| one.magnitude(*hertz)).collect(),
            corner: one.corner(self.start),
            mains: one.magnitude(self.mains),
            overshoot: step.iter().fold(0.0_f64, |most, v| most.max(v - 1.0)),
            settled: time::settled(&step, self.duration, self.fraction),
            step,
        })
    }
}
