//! Board, source and voltmeter as one function of all deviations, and its bands.
//!
//! **Voltmeter.** Its resistance is in the circuit while it looks. With the source connected it moves a node by less than
//! it can show, so how much is taken once, with every deviation at its mean; with nothing connected it may be half of a
//! divider, so the board is solved with it there.

use icepoint_chain::bench::OPEN;
use icepoint_chain::chain::{Chain, ConverterKind};
use icepoint_chain::imperfection::{Distribution, Persistence};
use icepoint_chain::model::{BoardState, ReadingNoise, Scratch};
use icepoint_chain::{Model, ModelError, Situation};
use icepoint_sensors::Letter;

use super::bands::Boards;
use super::{Expected, Setup};
use crate::altered::{Altered, SHORT, with_meter_at_output};

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

/// Buffers of one thread.
struct Work {
    scratch: Scratch,
    /// Those of the other boards that have to be solved: with a voltmeter, with a short.
    others: Vec<Scratch>,
    board: Vec<f64>,
    own: Vec<f64>,
    points: Vec<f64>,
}

/// Nothing at the terminals.
struct Open {
    /// No voltmeter.
    bare: Altered,
    /// What the real chain adds then at the output (a detection current), V.
    shift: f64,
    /// The same at each test point and, last, at the output, with the voltmeter there.
    points: Vec<Looked>,
}

/// A test point that a voltmeter looks at.
struct Looked {
    /// The board with it, where its resistance shows.
    altered: Option<Altered>,
    /// What the real chain adds, V; without an altered board the voltmeter's part too.
    shift: f64,
    /// By how much the voltmeter moves it, V.
    loading: f64,
}

/// Share of the voltmeter's own limit below which its resistance does not show.
const SHOWS: f64 = 0.01;

/// Test points, then the output, then its code and reading.
const OUTPUT: usize = 0;
const CODE: usize = 1;
const READING: usize = 2;
/// Figures of the output at each test temperature: the reading with wire is the last.
const WIRE: usize = 3;

/// For terminals shorted, then for each test temperature: V at each test point and, last, at the output.
type Loads = Vec<Vec<f64>>;

pub(super) struct Rig<'m> {
    real: &'m Model,
    setup: &'m Setup,
    /// The chain with its rails among the test points.
    base: Chain,
    /// The source at the terminals.
    source: Altered,
    /// A short piece of copper wire there.
    short: Altered,
    /// Nothing at the terminals.
    open: Option<Open>,
    /// Of the board, then of the bench.
    sizes: Vec<Distribution>,
    /// By how much the voltmeter moves each test point and, last, the output, V: terminals shorted, then at each test
    /// temperature.
    loading: Loads,
    /// How far the voltmeter may move them to either side by what only its own current makes the board do, V.
    giving: Loads,
    /// Place in a draw of the share of that, where there is any.
    share: Option<usize>,
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
        let short = Altered::new(real, base.with_source(SHORT))?;
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
            short,
            open: None,
            sizes,
            loading: Vec::new(),
            giving: Vec::new(),
            share: None,
            copper: setup.at.iter().map(|t| emf(*t) - emf(setup.board)).collect(),
            wire: setup.at.iter().map(|t| emf(*t) - emf(setup.room)).collect(),
        };
        (rig.loading, rig.giving) = rig.all_loading()?;
        if rig.giving.iter().flatten().any(|volts| *volts != 0.0) {
            let place = rig.sizes.len() - directions;
            rig.sizes.insert(place, limit(1.0));
            rig.share = Some(place);
        }
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

    /// By how much the voltmeter moves a test point (the output after the last) with the terminals shorted, or at a
    /// test temperature, V.
    pub fn loading(&self, at: Option<usize>, i: usize) -> f64 {
        self.loading.get(at.map_or(0, |j| j + 1)).and_then(|l| l.get(i)).copied().unwrap_or(0.0)
    }

    /// The same with what this draw says of the parts that give way to the voltmeter alone.
    fn loading_of(&self, x: &[f64], at: Option<usize>, i: usize) -> f64 {
        let giving = self.giving.get(at.map_or(0, |j| j + 1)).and_then(|l| l.get(i)).copied().unwrap_or(0.0);
        self.loading(at, i) + self.share(x) * giving
    }

    fn share(&self, x: &[f64]) -> f64 {
        self.share.and_then(|place| x.get(place)).copied().unwrap_or(0.0)
    }

    /// The same with nothing connected.
    pub fn open_loading(&self, i: usize) -> Option<f64> {
        self.open.as_ref()?.points.get(i).map(|looked| looked.loading)
    }

    fn points(&self) -> usize {
        self.base.front_end.test_points.len()
    }

    /// Places of output, code and reading, terminals shorted.
    pub fn shorted_places(&self) -> [usize; 3] {
        [OUTPUT, CODE, READING].map(|k| 2 * self.points() + k)
    }

    /// Places of output, code, reading with copper and reading with wire at a test temperature.
    pub fn injection_places(&self, j: usize) -> [usize; 4] {
        [OUTPUT, CODE, READING, WIRE].map(|k| 2 * self.points() + 3 + 4 * j + k)
    }

    /// Places of output, code and reading, terminals open.
    pub fn open_places(&self) -> [usize; 3] {
        [OUTPUT, CODE, READING].map(|k| self.points() + k)
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
        Work {
            scratch: altered.model.scratch(),
            others: Vec::new(),
            board: Vec::new(),
            own: Vec::new(),
            points: Vec::new(),
        }
    }

    /// With the source, and with the short beside it.
    fn closed_work(&self) -> Work {
        Work { others: vec![self.short.model.scratch()], ..self.work(&self.source) }
    }

    /// A chain with the voltmeter at test point `i`, or at the output after the last. `None` at the output of a board
    /// that ends in a voltmeter: it is there already.
    fn metered(&self, chain: &Chain, i: usize) -> Option<Chain> {
        let ohms = self.setup.meter.input_resistance;
        match chain.front_end.test_points.get(i) {
            Some(point) => Some(chain.with_meter(&point.node, ohms)),
            None => with_meter_at_output(chain, ohms),
        }
    }

    /// Test points and, last, the output for these volts at the terminals with these deviations of the real chain.
    fn all_points(
        &self,
        altered: &Altered,
        real: &[f64],
        share: f64,
        volts: f64,
    ) -> Result<Vec<f64>, ModelError> {
        let mut work = self.work(altered);
        altered.deviations(real, share, &mut work.own);
        let model = &altered.model;
        let state = model.board_state(self.setup.board, &work.own, &mut work.scratch)?;
        let output = model.test_points(&state, volts, &mut work.scratch, &mut work.points);
        work.points.push(output);
        Ok(work.points)
    }

    /// At the mean of all deviations what the meter finds less what is there, and by how much that is unknown.
    fn all_loading(&self) -> Result<(Loads, Loads), ModelError> {
        let mut mean = Vec::new();
        self.board(&self.means(), &mut mean);
        let metered = |altered: &Altered| -> Result<Vec<Option<Altered>>, ModelError> {
            let chain = altered.model.chain();
            let all = (0..=self.points()).map(|i| self.metered(chain, i));
            all.map(|chain| chain.map(|c| Altered::new(self.real, c)).transpose()).collect()
        };
        let loading = |altered: &Altered, metered: &[Option<Altered>], volts: f64| {
            let bare = self.all_points(altered, &mean, 0.0, volts)?;
            let each = bare.iter().zip(metered).enumerate();
            each.map(|(i, (bare, metered))| {
                let Some(metered) = metered else { return Ok((0.0, 0.0)) };
                let with = |share| -> Result<f64, ModelError> {
                    Ok(self.all_points(metered, &mean, share, volts)?.get(i).copied().unwrap_or(*bare))
                };
                let giving = if metered.has_own() { 0.5 * (with(1.0)? - with(-1.0)?) } else { 0.0 };
                Ok((with(0.0)? - bare, giving))
            })
            .collect::<Result<(Vec<f64>, Vec<f64>), ModelError>>()
        };
        let mut all = vec![loading(&self.short, &metered(&self.short)?, 0.0)?];
        let with_source = metered(&self.source)?;
        for volts in &self.copper {
            all.push(loading(&self.source, &with_source, *volts)?);
        }
        Ok(all.into_iter().unzip())
    }

    /// `None` where the circuit has no answer with nothing at its terminals, and where a current in pulses would show it: a
    /// voltmeter is too slow to see one.
    fn with_open(&self) -> Option<Open> {
        if self.real.pulsed_detection() {
            return None;
        }
        // Both without what a calibration found: only the difference counts.
        let mean = self.real.mean_deviations();
        let exact = |chain: &Chain| -> Option<Vec<f64>> {
            let model = Model::without_dynamics(chain.clone()).ok()?;
            let reading = model.open_sensor(self.setup.board).ok()?;
            Some(reading.test_point_volts.iter().copied().chain([reading.output_volts]).collect())
        };
        let opened = |chain: &Chain| -> Option<(Altered, Vec<f64>)> {
            let altered = Altered::new(self.real, chain.with_source(OPEN)).ok()?;
            let plain = self.all_points(&altered, mean, 0.0, 0.0).ok()?;
            Some((altered, plain))
        };
        let (bare, plain) = opened(&self.base)?;
        let unseen = exact(&self.base)?;
        let points: Vec<Looked> = (0..=self.points())
            .map(|i| {
                let (there, plain) = (*unseen.get(i)?, *plain.get(i)?);
                let Some(chain) = self.metered(&self.base, i) else {
                    return Some(Looked { altered: None, shift: there - plain, loading: 0.0 });
                };
                let seen = *exact(&chain)?.get(i)?;
                let loading = seen - there;
                if loading.abs() <= SHOWS * self.setup.meter.limit(there) {
                    return Some(Looked { altered: None, shift: seen - plain, loading });
                }
                let (altered, plain) = opened(&chain)?;
                Some(Looked { altered: Some(altered), shift: seen - plain.get(i)?, loading })
            })
            .collect::<Option<_>>()?;
        let shift = unseen.last()? - plain.last()?;
        let finite = shift.is_finite() && points.iter().all(|p| p.shift.is_finite() && p.loading.is_finite());
        finite.then_some(Open { bare, shift, points })
    }

    fn bench(&self, x: &[f64], which: usize) -> f64 {
        x.get(self.real.imperfections().len() + which).copied().unwrap_or(0.0)
    }

    /// What the voltmeter shows.
    fn shown(&self, volts: f64, x: &[f64]) -> f64 {
        volts * (1.0 + self.bench(x, METER_GAIN)) + self.bench(x, METER_FIXED) + self.bench(x, METER_DIGIT)
    }

    /// Output as the bench's voltmeter shows it (as the board's own does, where it ends in one), the converter's code,
    /// and what the board tells, °C, with its constants if it was calibrated. `loading` is what the bench's voltmeter
    /// adds to the output.
    fn told(&self, state: &BoardState, output: f64, loading: f64, x: &[f64], board: &[f64]) -> [f64; 3] {
        let correction = self.real.correction();
        let rule = self.real.rule_volts(state, output, board, ReadingNoise::Included);
        let converted = self.real.converter_volts(rule);
        let converter = &self.real.chain().converter;
        let (seen, code) = match converter.kind {
            ConverterKind::Voltmeter { .. } => (converted, 0.0),
            ConverterKind::Adc { .. } => (self.shown(output + loading, x), converter.code_of(converted)),
        };
        [seen, code, self.real.celsius(state, correction.offset + correction.gain * rule)]
    }

    fn closed_size(&self) -> usize {
        2 * self.points() + 3 + 4 * self.copper.len()
    }

    fn open_size(&self) -> usize {
        self.points() + 3
    }

    /// Everything that is seen with the source connected: test points shorted and at the normal input, output, code and
    /// reading shorted, then output, code, reading with copper and reading with wire for each test temperature.
    fn evaluate_closed(&self, x: &[f64], work: &mut Work, out: &mut [f64]) -> Result<(), ModelError> {
        let Work { scratch, others, board, own, points } = work;
        let letter = self.letter();
        let n = self.points();
        let celsius = self.setup.board + self.bench(x, BOARD_THERMOMETER);
        self.board(x, board);
        let share = self.share(x);
        // Wire from terminal to terminal: nothing of the source is there.
        if let Some(scratch) = others.first_mut() {
            self.short.deviations(board, share, own);
            let model = &self.short.model;
            let state = model.board_state(celsius, own, scratch)?;
            let output = model.test_points(&state, 0.0, scratch, points);
            for (i, volts) in points.iter().enumerate() {
                out[i] = self.shown(volts + self.loading_of(x, None, i), x);
            }
            let told = self.told(&state, output, self.loading_of(x, None, n), x, board);
            for (place, told) in self.shorted_places().into_iter().zip(told) {
                out[place] = told;
            }
        }
        let model = &self.source.model;
        self.source.deviations(board, share, own);
        let state = model.board_state(celsius, own, scratch)?;
        let set = |volts: f64, j: usize| {
            volts * (1.0 + self.bench(x, GAIN))
                + self.bench(x, FIXED)
                + self.bench(x, CLIPS)
                + self.bench(x, DIGITS + j)
        };
        let normal = self.normal();
        model.test_points(&state, set(self.copper_set(normal), normal), scratch, points);
        for (i, volts) in points.iter().enumerate() {
            out[n + i] = self.shown(volts + self.loading_of(x, Some(normal), i), x);
        }
        let source_emf = letter.emf_and_slope_extended(self.setup.room + self.bench(x, SOURCE_THERMOMETER)).0;
        for j in 0..self.copper.len() {
            let output = model.output_volts(&state, set(self.copper[j], j), false, scratch);
            let [seen, code, copper] = self.told(&state, output, self.loading_of(x, Some(j), n), x, board);
            // The wire is a thermocouple between the source's terminals and the board's.
            let hot = set(self.wire[j], j) + source_emf;
            let volts = self.real.thermocouple_volts(hot, self.setup.room, &state, board);
            let output = model.output_volts(&state, volts, false, scratch);
            let [_, _, wire] = self.told(&state, output, 0.0, x, board);
            for (place, value) in self.injection_places(j).into_iter().zip([seen, code, copper, wire]) {
                out[place] = value;
            }
        }
        Ok(())
    }

    fn evaluate_open(
        &self,
        open: &Open,
        x: &[f64],
        work: &mut Work,
        out: &mut [f64],
    ) -> Result<(), ModelError> {
        let Work { scratch, others, board, own, points } = work;
        self.board(x, board);
        let share = self.share(x);
        let celsius = self.setup.board + self.bench(x, BOARD_THERMOMETER);
        open.bare.deviations(board, share, own);
        let state = open.bare.model.board_state(celsius, own, scratch)?;
        let output = open.bare.model.test_points(&state, 0.0, scratch, points);
        let n = points.len();
        points.push(output);
        let mut with = Vec::new();
        let mut scratches = others.iter_mut();
        for (i, looked) in open.points.iter().enumerate() {
            let mut there = points.get(i).copied().unwrap_or(f64::NAN);
            if let (Some(altered), Some(scratch)) =
                (&looked.altered, looked.altered.as_ref().and_then(|_| scratches.next()))
            {
                altered.deviations(board, share, own);
                let state = altered.model.board_state(celsius, own, scratch)?;
                let output = altered.model.test_points(&state, 0.0, scratch, &mut with);
                there = with.get(i).copied().unwrap_or(output);
            }
            there += looked.shift;
            if looked.altered.is_none() {
                // A reference gives way to the voltmeter whatever is at the terminals.
                there += self.loading_of(x, None, i) - self.loading(None, i);
            }
            if i < n {
                out[i] = self.shown(there, x);
            } else {
                let output = output + open.shift;
                let told = self.told(&state, output, there - output, x, board);
                for (place, told) in self.open_places().into_iter().zip(told) {
                    out[place] = told;
                }
            }
        }
        Ok(())
    }

    fn drawn(&self, boards: u32) -> Boards<'_> {
        Boards { sizes: &self.sizes, boards, seed: self.setup.seed }
    }

    /// Bands of all that is seen with the source connected.
    pub fn closed(&self) -> Result<Vec<Expected>, ModelError> {
        self.drawn(self.setup.boards).bands(
            self.closed_size(),
            || self.closed_work(),
            &|x, work: &mut Work, out| self.evaluate_closed(x, work, out),
        )
    }

    /// Bands of all that is seen with nothing connected: test points, output, reading.
    pub fn open(&self) -> Option<Vec<Expected>> {
        let open = self.open.as_ref()?;
        // Clipping amplifiers are solved one board at a time: the fewest boards that give the band.
        let boards = self.setup.boards.min(super::LEAST_BOARDS);
        let work = || {
            let mut work = self.work(&open.bare);
            work.others =
                open.points.iter().filter_map(|p| Some(p.altered.as_ref()?.model.scratch())).collect();
            work
        };
        self.drawn(boards)
            .bands(self.open_size(), work, &|x, work: &mut Work, out| self.evaluate_open(open, x, work, out))
            .ok()
    }

    /// Reading with copper leads for terminals half a kelvin warmer, less that for half a kelvin colder, K/K.
    pub fn per_kelvin(&self, j: usize) -> Result<f64, ModelError> {
        let mut work = self.closed_work();
        let (mut x, mut out) = (self.means(), vec![0.0; self.closed_size()]);
        let mut reads = |warmer: f64| -> Result<f64, ModelError> {
            x[self.real.imperfections().len() + BOARD_THERMOMETER] = warmer;
            self.evaluate_closed(&x, &mut work, &mut out)?;
            Ok(out[self.injection_places(j)[READING]])
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
    /// been altered; the chain's own rule turns them into a temperature. The voltmeter's part is that of a healthy board
    /// shorted or at a test temperature.
    pub fn nominally(
        &self,
        chain: Option<Chain>,
        volts: f64,
        at: Option<usize>,
    ) -> Result<(Vec<f64>, f64), ModelError> {
        let other = chain.map(|c| Altered::new(self.real, c)).transpose()?;
        let altered = other.as_ref().unwrap_or(&self.source);
        let mut work = self.work(altered);
        let means = self.means();
        let mut mean = Vec::new();
        self.board(&means, &mut mean);
        altered.deviations(&mean, 0.0, &mut work.own);
        let state = altered.model.board_state(self.setup.board, &work.own, &mut work.scratch)?;
        let output = altered.model.test_points(&state, volts, &mut work.scratch, &mut work.points);
        for (i, point) in work.points.iter_mut().enumerate() {
            *point += self.loading(at, i);
        }
        Ok((work.points, self.told(&state, output, 0.0, &means, &mean)[READING]))
    }

    /// The chain with the source at its terminals.
    pub fn source_chain(&self) -> &Chain {
        self.source.model.chain()
    }

    /// The chain with a short there.
    pub fn short_chain(&self) -> &Chain {
        self.short.model.chain()
    }
}
