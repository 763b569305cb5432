//! Board, source and voltmeter as one function of all deviations, and its bands.

use icepoint_chain::bench::OPEN;
use icepoint_chain::budget::monte_carlo::{BLOCK, draw, generator};
use icepoint_chain::chain::Chain;
use icepoint_chain::imperfection::{Distribution, Persistence};
use icepoint_chain::model::{BoardState, ReadingNoise, Scratch};
use icepoint_chain::{Model, ModelError, Situation};
use icepoint_sensors::Letter;
use rayon::prelude::*;

use super::{BAND, Expected, Setup, WIDE};
use crate::altered::{Altered, SHORT};

/// What a figure is that there is none of.
pub(super) const NOTHING: Expected = Expected {
    nominal: f64::NAN,
    band: (f64::NAN, f64::NAN),
    wide: (f64::NAN, f64::NAN),
    worst: (f64::NAN, f64::NAN),
};

// Deviations of the bench, after those of the board.
const GAIN: usize = 0;
const FIXED: usize = 1;
const CLIPS: usize = 2;
const BOARD_THERMOMETER: usize = 3;
const SOURCE_THERMOMETER: usize = 4;
const METER_GAIN: usize = 5;
const METER_FIXED: usize = 6;
const METER_DIGIT: usize = 7;
const DIGITS: usize = 8;

/// All that is seen for one board and bench: deviations in, figures out.
type Evaluate<'a> = dyn Fn(&[f64], &mut Work, &mut [f64]) -> Result<(), ModelError> + Sync + 'a;

/// Buffers of one thread.
struct Work {
    scratch: Scratch,
    board: Vec<f64>,
    own: Vec<f64>,
    points: Vec<f64>,
}

pub(super) struct Rig<'m> {
    real: &'m Model,
    setup: &'m Setup,
    /// The chain with its rails among the test points.
    base: Chain,
    /// The source at the terminals.
    source: Altered,
    /// Nothing at the terminals, with what the real chain adds then (a detection current).
    open: Option<(Altered, Vec<f64>)>,
    /// Of the board, then of the bench.
    sizes: Vec<Distribution>,
    /// By how much the voltmeter moves each test point, V.
    loading: Vec<f64>,
    /// Volts to set.
    copper: Vec<f64>,
    wire: Vec<f64>,
}

impl<'m> Rig<'m> {
    pub fn new(real: &'m Model, setup: &'m Setup) -> Result<Self, ModelError> {
        let chain = real.chain();
        let letter = chain.probe.letter;
        let emf = |celsius: f64| letter.emf_and_slope_extended(celsius).0;
        let mut base = chain.with_rails();
        // What was found out about the board is drawn for the real chain, and only its places are handed on.
        base.findings = None;
        base.correction = None;
        let source = Altered::new(real, base.with_source(setup.source.output_resistance.max(SHORT)))?;
        let limit = Distribution::Rectangular;
        let mut sizes: Vec<Distribution> = real
            .imperfections()
            .iter()
            .map(|i| if i.persistence == Persistence::Later { limit(0.0) } else { i.distribution })
            .collect();
        let (s, m) = (&setup.source, &setup.meter);
        sizes.extend([
            limit(s.relative),
            limit(s.fixed),
            limit(s.thermal_emf),
            limit(s.thermometer),
            limit(s.thermometer),
            limit(m.relative),
            limit(m.fixed),
            limit(0.5 * m.resolution),
        ]);
        sizes.extend(std::iter::repeat_n(limit(0.5 * s.resolution), setup.at.len()));
        // Errors of the readings that the board was calibrated with, always last.
        let directions = real.findings().map_or(0, |findings| findings.directions());
        sizes.extend(std::iter::repeat_n(Distribution::Normal(1.0), directions));
        let mut rig = Self {
            real,
            setup,
            base,
            source,
            open: None,
            sizes,
            loading: Vec::new(),
            copper: setup.at.iter().map(|t| emf(*t) - emf(setup.board)).collect(),
            wire: setup.at.iter().map(|t| emf(*t) - emf(setup.room)).collect(),
        };
        rig.loading = rig.all_loading()?;
        rig.open = rig.with_open();
        Ok(rig)
    }

    pub fn real(&self) -> &Model {
        self.real
    }

    pub fn setup(&self) -> &Setup {
        self.setup
    }

    pub fn letter(&self) -> Letter {
        self.real.chain().probe.letter
    }

    pub fn copper_set(&self, j: usize) -> f64 {
        self.copper.get(j).copied().unwrap_or(f64::NAN)
    }

    pub fn wire_set(&self, j: usize) -> f64 {
        self.wire.get(j).copied().unwrap_or(f64::NAN)
    }

    pub fn loading(&self, i: usize) -> f64 {
        self.loading.get(i).copied().unwrap_or(0.0)
    }

    /// Number of the test temperature at which the test points are told.
    pub fn normal(&self) -> usize {
        self.setup.at.len() / 2
    }

    pub fn normal_celsius(&self) -> f64 {
        self.setup.at.get(self.normal()).copied().unwrap_or(f64::NAN)
    }

    fn means(&self) -> Vec<f64> {
        self.sizes.iter().map(|d| d.mean()).collect()
    }

    /// The board's deviations for a draw: as drawn, or as what its readings told leaves of the draw.
    fn board(&self, x: &[f64], board: &mut Vec<f64>) {
        board.clear();
        board.extend(x.iter().take(self.real.imperfections().len()));
        if let Some(findings) = self.real.findings() {
            let errors = x.get(x.len() - findings.directions().min(x.len())..).unwrap_or_default();
            findings.apply(self.real.imperfections(), errors, board);
        }
    }

    fn work(&self, altered: &Altered) -> Work {
        Work { scratch: altered.model.scratch(), board: Vec::new(), own: Vec::new(), points: Vec::new() }
    }

    /// Test points at the mean of all deviations, terminals shorted, as the meter finds them less as they are.
    fn all_loading(&self) -> Result<Vec<f64>, ModelError> {
        let mut work = self.work(&self.source);
        let mut mean = Vec::new();
        self.board(&self.means(), &mut mean);
        self.source.deviations(&mean, &mut work.own);
        let model = &self.source.model;
        let state = model.board_state(self.setup.board, &work.own, &mut work.scratch)?;
        model.test_points(&state, 0.0, &mut work.scratch, &mut work.points);
        let bare = work.points.clone();
        let chain = model.chain();
        chain
            .front_end
            .test_points
            .iter()
            .zip(&bare)
            .enumerate()
            .map(|(i, (point, bare))| {
                let altered = Altered::new(
                    self.real,
                    chain.with_meter(&point.node, self.setup.meter.input_resistance),
                )?;
                let mut work = self.work(&altered);
                altered.deviations(&mean, &mut work.own);
                let state = altered.model.board_state(self.setup.board, &work.own, &mut work.scratch)?;
                altered.model.test_points(&state, 0.0, &mut work.scratch, &mut work.points);
                Ok(work.points.get(i).map_or(0.0, |with| with - bare))
            })
            .collect()
    }

    /// `None` where the circuit has no answer with nothing at its terminals.
    fn with_open(&self) -> Option<(Altered, Vec<f64>)> {
        let altered = Altered::new(self.real, self.base.with_source(OPEN)).ok()?;
        let mut work = self.work(&altered);
        // Both without what a calibration found: only the difference counts.
        altered.deviations(self.real.mean_deviations(), &mut work.own);
        let state = altered.model.board_state(self.setup.board, &work.own, &mut work.scratch).ok()?;
        let output = altered.model.test_points(&state, 0.0, &mut work.scratch, &mut work.points);
        let exact = Model::without_dynamics(self.base.clone()).ok()?.open_sensor(self.setup.board).ok()?;
        let exact = exact.test_point_volts.iter().copied().chain([exact.output_volts]);
        let plain = work.points.iter().copied().chain([output]);
        let mut shift: Vec<f64> = exact.zip(plain).map(|(exact, plain)| exact - plain).collect();
        for (shift, loading) in shift.iter_mut().zip(&self.loading) {
            *shift += loading;
        }
        shift.iter().all(|s| s.is_finite()).then_some((altered, shift))
    }

    fn bench(&self, x: &[f64], which: usize) -> f64 {
        x.get(self.real.imperfections().len() + which).copied().unwrap_or(0.0)
    }

    /// What the voltmeter shows.
    fn shown(&self, volts: f64, x: &[f64]) -> f64 {
        volts * (1.0 + self.bench(x, METER_GAIN)) + self.bench(x, METER_FIXED) + self.bench(x, METER_DIGIT)
    }

    /// What the board tells for an output voltage, °C, with its constants if it was calibrated.
    fn told(&self, state: &BoardState, output: f64, board: &[f64]) -> f64 {
        let correction = self.real.correction();
        let volts = self.real.rule_volts(state, output, board, ReadingNoise::Included);
        self.real.celsius(state, correction.offset + correction.gain * volts)
    }

    fn closed_size(&self) -> usize {
        2 * self.loading.len() + 2 + 3 * self.copper.len()
    }

    fn open_size(&self) -> usize {
        self.base.front_end.test_points.len() + 2
    }

    /// Everything that is seen with the source connected: test points shorted and at the normal input, output and reading
    /// shorted, then output, reading with copper and reading with wire for each test temperature.
    fn evaluate_closed(&self, x: &[f64], work: &mut Work, out: &mut [f64]) -> Result<(), ModelError> {
        let Work { scratch, board, own, points } = work;
        let model = &self.source.model;
        let letter = self.letter();
        self.board(x, board);
        self.source.deviations(board, own);
        let state = model.board_state(self.setup.board + self.bench(x, BOARD_THERMOMETER), own, scratch)?;
        let n = self.loading.len();
        let set = |volts: f64, j: usize| {
            volts * (1.0 + self.bench(x, GAIN))
                + self.bench(x, FIXED)
                + self.bench(x, CLIPS)
                + self.bench(x, DIGITS + j)
        };
        let normal = self.normal();
        let conditions = [0.0, set(self.copper_set(normal), normal)];
        for (c, volts) in conditions.into_iter().enumerate() {
            let output = model.test_points(&state, volts, scratch, points);
            for (i, volts) in points.iter().enumerate() {
                out[c * n + i] = self.shown(volts + self.loading(i), x);
            }
            if c == 0 {
                out[2 * n] = output;
                out[2 * n + 1] = self.told(&state, output, board);
            }
        }
        let source_emf = letter.emf_and_slope_extended(self.setup.room + self.bench(x, SOURCE_THERMOMETER)).0;
        for j in 0..self.copper.len() {
            let base = 2 * n + 2 + 3 * j;
            let output = model.output_volts(&state, set(self.copper[j], j), false, scratch);
            out[base] = output;
            out[base + 1] = self.told(&state, output, board);
            // The wire is a thermocouple between the source's terminals and the board's.
            let hot = set(self.wire[j], j) + source_emf;
            let volts = self.real.thermocouple_volts(hot, self.setup.room, &state, board);
            let output = model.output_volts(&state, volts, false, scratch);
            out[base + 2] = self.told(&state, output, board);
        }
        Ok(())
    }

    fn evaluate_open(
        &self,
        altered: &Altered,
        shift: &[f64],
        x: &[f64],
        work: &mut Work,
        out: &mut [f64],
    ) -> Result<(), ModelError> {
        let Work { scratch, board, own, points } = work;
        self.board(x, board);
        altered.deviations(board, own);
        let celsius = self.setup.board + self.bench(x, BOARD_THERMOMETER);
        let state = altered.model.board_state(celsius, own, scratch)?;
        let output = altered.model.test_points(&state, 0.0, scratch, points);
        let n = points.len();
        for (i, volts) in points.iter().enumerate() {
            out[i] = self.shown(volts + shift.get(i).copied().unwrap_or(0.0), x);
        }
        let output = output + shift.get(n).copied().unwrap_or(0.0);
        out[n] = output;
        out[n + 1] = self.told(&state, output, board);
        Ok(())
    }

    /// Bands of all that is seen with the source connected.
    pub fn closed(&self) -> Result<Vec<Expected>, ModelError> {
        self.bands(self.setup.boards, self.closed_size(), || self.work(&self.source), &|x, work, out| {
            self.evaluate_closed(x, work, out)
        })
    }

    /// Bands of all that is seen with nothing connected: test points, output, reading.
    pub fn open(&self) -> Option<Vec<Expected>> {
        let (altered, shift) = self.open.as_ref()?;
        // Clipping amplifiers are solved one board at a time: the fewest boards that give the band.
        let boards = self.setup.boards.min(super::LEAST_BOARDS);
        self.bands(boards, self.open_size(), || self.work(altered), &|x, work, out| {
            self.evaluate_open(altered, shift, x, work, out)
        })
        .ok()
    }

    fn bands(
        &self,
        boards: u32,
        size: usize,
        work: impl Fn() -> Work + Sync,
        evaluate: &Evaluate<'_>,
    ) -> Result<Vec<Expected>, ModelError> {
        let mut nominal = vec![0.0; size];
        evaluate(&self.means(), &mut work(), &mut nominal)?;
        let blocks: Vec<Vec<f64>> = (0..boards.div_ceil(BLOCK))
            .into_par_iter()
            .map_init(
                || (work(), self.means()),
                |(work, x), block| {
                    let count = BLOCK.min(boards - block * BLOCK) as usize;
                    let mut rng = generator(self.setup.seed, block);
                    let mut rows = vec![0.0; size * count];
                    for row in rows.chunks_mut(size) {
                        for (x, size) in x.iter_mut().zip(&self.sizes) {
                            *x = draw(*size, &mut rng);
                        }
                        evaluate(x, work, row)?;
                    }
                    Ok(rows)
                },
            )
            .collect::<Result<_, ModelError>>()?;
        let worst = self.worst(size, &nominal, &work, evaluate)?;
        Ok((0..size)
            .map(|m| {
                let mut column: Vec<f64> =
                    blocks.iter().flat_map(|rows| rows.chunks(size).map(move |r| r[m])).collect();
                column.sort_by(f64::total_cmp);
                Expected {
                    nominal: nominal[m],
                    band: symmetric(&column, BAND),
                    wide: symmetric(&column, WIDE),
                    worst: worst[m],
                }
            })
            .collect())
    }

    /// Extremes: each deviation alone tells on which side it hurts, then all are put there and the whole is solved anew.
    fn worst(
        &self,
        size: usize,
        nominal: &[f64],
        work: &impl Fn() -> Work,
        evaluate: &Evaluate<'_>,
    ) -> Result<Vec<(f64, f64)>, ModelError> {
        let mut work = work();
        let mean = self.means();
        let mut x = mean.clone();
        let (mut low, mut high) = (vec![0.0; size], vec![0.0; size]);
        // Slope of every figure by every deviation, as a sign.
        let mut sides: Vec<Vec<bool>> = Vec::with_capacity(mean.len());
        for (p, distribution) in self.sizes.iter().enumerate() {
            let (a, b) = distribution.limits();
            if a == b {
                sides.push(Vec::new());
                continue;
            }
            x[p] = a;
            evaluate(&x, &mut work, &mut low)?;
            x[p] = b;
            evaluate(&x, &mut work, &mut high)?;
            x[p] = mean[p];
            sides.push(low.iter().zip(&high).map(|(low, high)| high >= low).collect());
        }
        let mut corner = |m: usize, up: bool| -> Result<f64, ModelError> {
            for ((x, mean), (distribution, sides)) in
                x.iter_mut().zip(&mean).zip(self.sizes.iter().zip(&sides))
            {
                let (a, b) = distribution.limits();
                *x = sides.get(m).map_or(*mean, |rises| if *rises == up { b } else { a });
            }
            evaluate(&x, &mut work, &mut low)?;
            Ok(low[m])
        };
        (0..size)
            .map(|m| {
                let (down, up) = (corner(m, false)?, corner(m, true)?);
                Ok((down.min(nominal[m]), up.max(nominal[m])))
            })
            .collect()
    }

    /// Reading with copper leads for terminals half a kelvin warmer, less that for half a kelvin colder, K/K.
    pub fn per_kelvin(&self, j: usize) -> Result<f64, ModelError> {
        let mut work = self.work(&self.source);
        let (mut x, mut out) = (self.means(), vec![0.0; self.closed_size()]);
        let mut reads = |warmer: f64| -> Result<f64, ModelError> {
            x[self.real.imperfections().len() + BOARD_THERMOMETER] = warmer;
            self.evaluate_closed(&x, &mut work, &mut out)?;
            Ok(out[2 * self.loading.len() + 2 + 3 * j + 1])
        };
        Ok(reads(0.5)? - reads(-0.5)?)
    }

    /// Limits that are exceeded at a test temperature, in words.
    pub fn limits(&self, j: usize) -> Result<Vec<String>, ModelError> {
        let chain = self.real.chain();
        let Some(&celsius) = self.setup.at.get(j) else { return Ok(Vec::new()) };
        let situation = Situation::at(chain, celsius, self.setup.board);
        let reading = self.real.predict(&situation, self.real.mean_deviations())?;
        Ok(reading.limits.iter().map(ToString::to_string).collect())
    }

    /// Test points and reading at the mean of all deviations for these volts at the terminals of a chain that may have
    /// been altered; the chain's own rule turns them into a temperature.
    pub fn nominally(&self, chain: Option<Chain>, volts: f64) -> Result<(Vec<f64>, f64), ModelError> {
        let other = chain.map(|c| Altered::new(self.real, c)).transpose()?;
        let altered = other.as_ref().unwrap_or(&self.source);
        let mut work = self.work(altered);
        let mut mean = Vec::new();
        self.board(&self.means(), &mut mean);
        altered.deviations(&mean, &mut work.own);
        let state = altered.model.board_state(self.setup.board, &work.own, &mut work.scratch)?;
        let output = altered.model.test_points(&state, volts, &mut work.scratch, &mut work.points);
        for (i, point) in work.points.iter_mut().enumerate() {
            *point += self.loading(i);
        }
        Ok((work.points, self.told(&state, output, &mean)))
    }

    /// The chain with the source at its terminals.
    pub fn source_chain(&self) -> &Chain {
        self.source.model.chain()
    }
}

/// Probabilistically symmetric interval of a sorted sample (JCGM 101, 7.7).
fn symmetric(sorted: &[f64], coverage: f64) -> (f64, f64) {
    let m = sorted.len();
    let q = (coverage * m as f64 + 0.5) as usize;
    let r = (m - q.min(m)).div_ceil(2).max(1);
    match (sorted.get(r - 1), sorted.get((r + q).saturating_sub(1).min(m.saturating_sub(1)))) {
        (Some(low), Some(high)) => (*low, *high),
        _ => (f64::NAN, f64::NAN),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interval_of_a_ramp() {
        let ramp: Vec<f64> = (0..20_000).map(f64::from).collect();
        assert_eq!(symmetric(&ramp, 0.95), (499.0, 19_499.0));
        let (low, high) = symmetric(&ramp, 0.999);
        assert_eq!(high - low, 19_980.0);
        assert!(symmetric(&[], 0.95).0.is_nan());
        assert_eq!(symmetric(&[2.0], 0.95), (2.0, 2.0));
    }
}
