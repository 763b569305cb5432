//! How good the board is everywhere: the 95 % band of the reading in use, over hot × board temperature, before and after
//! the calibration.
//!
//! **What is in it.** What the readings could not see of the board's deviations; the errors of references and readings
//! that the estimate took over; and what comes in use: another occasion, ageing and drift, the noise of a reading.

use icepoint_chain::chain::Correction;
use icepoint_chain::imperfection::{Distribution, Persistence, SCATTER};
use icepoint_chain::model::{BoardState, Model, ModelError, ReadingNoise};
use icepoint_chain::situation::Situation;
use icepoint_chain::statistics::error_95;
use nalgebra::DMatrix;

use super::forward::{Forward, What};
use super::inference::Inference;

/// Where the board is looked at, and how its reading there depends on every imperfection.
#[derive(Clone, Debug)]
pub struct Targets {
    /// Hot temperatures, °C.
    pub hot: Vec<f64>,
    /// Board temperatures, °C.
    pub board: Vec<f64>,
    /// Readings with every deviation at its mean and the constants in force, °C: board × hot, hot running fastest.
    pub nominal: Vec<f64>,
    /// Change of the reading per standard uncertainty: points × imperfections of the model, K.
    pub sensitivities: DMatrix<f64>,
    /// Change of the reading per volt at the converter at each point, K/V.
    pub per_volt: Vec<f64>,
}

impl Targets {
    /// Over a grid, °C, with these constants.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn new(model: &Model, constants: Correction, hot: &[f64], board: &[f64]) -> Result<Self, ModelError> {
        let list = model.imperfections();
        let mut d = model.mean_deviations().to_vec();
        let nominal = readings(model, &d, constants, hot, board, ReadingNoise::Included)?;
        let mut sensitivities = DMatrix::zeros(nominal.len(), list.len());
        for (i, imperfection) in list.iter().enumerate() {
            let (mean, u) = (d[i], imperfection.distribution.standard());
            d[i] = mean + u;
            let up = readings(model, &d, constants, hot, board, ReadingNoise::Included)?;
            d[i] = mean - u;
            let down = readings(model, &d, constants, hot, board, ReadingNoise::Included)?;
            d[i] = mean;
            for (p, (up, down)) in up.iter().zip(&down).enumerate() {
                sensitivities[(p, i)] = 0.5 * (up - down);
            }
        }
        let per_volt = per_volt(model, &d, constants, hot, board)?;
        Ok(Self { hot: hot.to_vec(), board: board.to_vec(), nominal, sensitivities, per_volt })
    }

    /// Number of points.
    pub fn points(&self) -> usize {
        self.nominal.len()
    }

    /// Hot and board temperature of a point, °C.
    pub fn at(&self, point: usize) -> (f64, f64) {
        (self.hot[point % self.hot.len()], self.board[point / self.hot.len()])
    }
}

/// Readings of one board over a grid, °C: board × hot, hot running fastest.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn readings(
    model: &Model,
    d: &[f64],
    constants: Correction,
    hot: &[f64],
    board: &[f64],
    noise: ReadingNoise,
) -> Result<Vec<f64>, ModelError> {
    let mut all = Vec::with_capacity(hot.len() * board.len());
    each_point(model, d, hot, board, noise, |_, state, rule| {
        all.push(model.celsius(state, constants.offset + constants.gain * rule));
    })?;
    Ok(all)
}

/// Change of the reading per volt at the converter, K/V, over a grid.
fn per_volt(
    model: &Model,
    d: &[f64],
    constants: Correction,
    hot: &[f64],
    board: &[f64],
) -> Result<Vec<f64>, ModelError> {
    // As a voltage of 10 µV at the terminals would do: far below any curvature.
    let step = 1e-5 * model.nominal_transfer().1.abs();
    let mut all = Vec::with_capacity(hot.len() * board.len());
    each_output(model, d, hot, board, |_, state, output| {
        let reading = |volts: f64| {
            let rule = model.rule_volts(state, volts, d, ReadingNoise::LeftOut);
            model.celsius(state, constants.offset + constants.gain * rule)
        };
        all.push((reading(output + step) - reading(output - step)) / (2.0 * step));
    })?;
    Ok(all)
}

/// Calls `see` with the hot temperature, the board's state and the reading rule's own volts at every point of a grid,
/// board × hot, hot running fastest.
fn each_point(
    model: &Model,
    d: &[f64],
    hot: &[f64],
    board: &[f64],
    noise: ReadingNoise,
    mut see: impl FnMut(f64, &BoardState, f64),
) -> Result<(), ModelError> {
    each_output(model, d, hot, board, |t, state, output| {
        see(t, state, model.rule_volts(state, output, d, noise));
    })
}

/// The same with the volts at the converter.
fn each_output(
    model: &Model,
    d: &[f64],
    hot: &[f64],
    board: &[f64],
    mut see: impl FnMut(f64, &BoardState, f64),
) -> Result<(), ModelError> {
    let mut scratch = model.scratch();
    for &b in board {
        let head = Situation::at(model.chain(), model.chain().need.hot.1, b).head;
        let state = model.board_state(b, d, &mut scratch)?;
        for &t in hot {
            let emf = model.hot_emf(&model.hot_end(t), d);
            let v = model.thermocouple_volts(emf, head, &state, d);
            let output = model.output_volts(&state, v, false, &mut scratch);
            see(t, &state, output);
        }
    }
    Ok(())
}

/// What a part of the band comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Origin {
    /// What the readings could not see of the board.
    Board,
    /// References, thermometer and the occasion of the calibration.
    Reference,
    /// The readings of the calibration themselves.
    Readings,
    /// What comes in use.
    Use,
}

impl Origin {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Board => "left unseen of the board",
            Self::Reference => "references and the occasion of the calibration",
            Self::Readings => "readings of the calibration",
            Self::Use => "in use: occasion, ageing, noise",
        }
    }
}

/// One cause of what is left.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// Which part it belongs to.
    pub origin: Origin,
    /// Stable name.
    pub id: String,
    /// In words.
    pub label: String,
    /// Its shape; `None` counts as normal.
    pub distribution: Option<Distribution>,
}

/// The spread at every point of the targets; it does not depend on what was read, only on what was given.
#[derive(Clone, Debug)]
pub struct Spread {
    /// Causes, in the order of the columns.
    pub causes: Vec<Cause>,
    /// Standard uncertainty that each cause leaves: points × causes, K, signed.
    pub parts: DMatrix<f64>,
    /// Half-width of the 95 % interval at each point, K.
    pub half: Vec<f64>,
    /// Standard uncertainty at each point, K.
    pub standard: Vec<f64>,
    /// Before the calibration: half-width at each point, K.
    pub half_before: Vec<f64>,
}

impl Spread {
    /// After readings under the conditions of `forward`; `extra` is the variance of one reading on top of the model's, V²
    /// at the converter.
    pub fn new(forward: &Forward<'_>, inference: &Inference, targets: &Targets, extra: f64) -> Self {
        let list = forward.model.imperfections();
        let of_board = inference.of_board;
        let mut causes = Vec::new();
        let mut board_index = Vec::new();
        for (u, unknown) in forward.unknowns.iter().enumerate() {
            if let What::Board(i) = unknown.what {
                board_index.push(i);
            }
            causes.push(Cause {
                origin: if u < of_board { Origin::Board } else { Origin::Reference },
                id: unknown.id.clone(),
                label: unknown.label.clone(),
                distribution: Some(unknown.distribution),
            });
        }
        for condition in &forward.conditions {
            causes.push(Cause {
                origin: Origin::Readings,
                id: format!("reading.{}", condition.lines.0),
                label: format!("reading at {}", condition.words()),
                distribution: None,
            });
        }
        let used: Vec<usize> =
            (0..list.len()).filter(|&i| list[i].persistence != Persistence::Board).collect();
        for &i in &used {
            causes.push(Cause {
                origin: Origin::Use,
                id: list[i].id.clone(),
                label: list[i].label.clone(),
                distribution: Some(list[i].distribution),
            });
        }
        if extra > 0.0 {
            causes.push(Cause {
                origin: Origin::Use,
                id: SCATTER.into(),
                label: "scatter that the repeats showed beyond the model's noise".into(),
                distribution: None,
            });
        }
        let points = targets.points();
        let mut parts = DMatrix::zeros(points, causes.len());
        let unknowns = forward.unknowns.len();
        let conditions = forward.conditions.len();
        // (c·P): how much of each condition's error goes into the point.
        let board = DMatrix::from_fn(points, of_board, |p, u| targets.sensitivities[(p, board_index[u])]);
        let taken = &board * inference.gain.rows(0, of_board);
        let through = &taken * &inference.sensitivities;
        for p in 0..points {
            for u in 0..unknowns {
                let own = if u < of_board { board[(p, u)] } else { 0.0 };
                parts[(p, u)] = own - through[(p, u)];
            }
            for k in 0..conditions {
                parts[(p, unknowns + k)] = -taken[(p, k)] * inference.reading[k];
            }
            for (column, &i) in used.iter().enumerate() {
                parts[(p, unknowns + conditions + column)] = targets.sensitivities[(p, i)];
            }
            if extra > 0.0 {
                parts[(p, unknowns + conditions + used.len())] = extra.sqrt() * targets.per_volt[p];
            }
        }
        let half = (0..points).map(|p| half_width(&causes, parts.row(p).iter().copied())).collect();
        let standard = (0..points).map(|p| parts.row(p).norm()).collect();
        let before: Vec<Cause> = list
            .iter()
            .map(|i| Cause {
                origin: Origin::Board,
                id: String::new(),
                label: String::new(),
                distribution: Some(i.distribution),
            })
            .collect();
        let half_before =
            (0..points).map(|p| half_width(&before, targets.sensitivities.row(p).iter().copied())).collect();
        Self { causes, parts, half, standard, half_before }
    }

    /// 95 % error at a point whose known part is `bias`, K.
    pub fn error_95(&self, point: usize, bias: f64) -> f64 {
        let (rectangle, rest) = rectangle_and_rest(&self.causes, self.parts.row(point).iter().copied());
        error_95(bias, rectangle, rest)
    }
}

/// The largest rectangle's half-width and the standard uncertainty of everything else.
fn rectangle_and_rest(causes: &[Cause], parts: impl Iterator<Item = f64>) -> (f64, f64) {
    let (mut largest, mut variance) = (0.0f64, 0.0);
    for (cause, part) in causes.iter().zip(parts) {
        variance += part * part;
        let flat =
            matches!(cause.distribution, Some(Distribution::Rectangular(_) | Distribution::OneSided(_)));
        if flat {
            largest = largest.max(part.abs());
        }
    }
    (largest * 3f64.sqrt(), (variance - largest * largest).max(0.0).sqrt())
}

fn half_width(causes: &[Cause], parts: impl Iterator<Item = f64>) -> f64 {
    let (rectangle, rest) = rectangle_and_rest(causes, parts);
    error_95(0.0, rectangle, rest)
}

/// Constants that make the expected squared error over the targets smallest, for a board with deviations `d`.
///
/// Weighted least squares of what the rule's volts should be against what they are; the weight turns volts into kelvin.
/// The spread of the deviations adds the same to every choice of constants, but for what a gain off by a thousandth
/// alters of it.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn constants(model: &Model, d: &[f64], hot: &[f64], board: &[f64]) -> Result<Correction, ModelError> {
    let mut rows: Vec<(f64, f64, f64)> = Vec::with_capacity(hot.len() * board.len());
    each_point(model, d, hot, board, ReadingNoise::LeftOut, |t, state, is| {
        let should = model.rule_volts_for(state, t);
        let step = 1e-6 * should.abs().max(1e-3);
        let slope =
            (model.celsius(state, should + step) - model.celsius(state, should - step)) / (2.0 * step);
        rows.push((is, should, slope * slope));
    })?;
    let weight: f64 = rows.iter().map(|r| r.2).sum();
    let mean = |f: &dyn Fn(&(f64, f64, f64)) -> f64| rows.iter().map(|r| r.2 * f(r)).sum::<f64>() / weight;
    let (is, should) = (mean(&|r| r.0), mean(&|r| r.1));
    let variance = mean(&|r| (r.0 - is) * (r.0 - is));
    let both = mean(&|r| (r.0 - is) * (r.1 - should));
    let gain = if variance > 1e-12 * is * is && variance > 0.0 { both / variance } else { 1.0 };
    Ok(Correction { offset: should - gain * is, gain })
}

/// What is left at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPoint {
    /// °C.
    pub hot: f64,
    /// °C.
    pub board: f64,
    /// Expected error before the calibration, K: reading less truth with every deviation at its mean.
    pub bias_before: f64,
    /// Half-width of the 95 % interval around it, K.
    pub half_before: f64,
    /// Expected error of this board as it was read (constants of then), K.
    pub found: f64,
    /// Expected error with the new constants, K: what two constants can't mend.
    pub bias: f64,
    /// Half-width of the 95 % interval around it, K.
    pub half: f64,
    /// Standard uncertainty, K.
    pub standard: f64,
    /// 95 % of the absolute errors are not larger, K.
    pub error_95: f64,
}

/// The band of one board.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn band(
    model: &Model,
    targets: &Targets,
    spread: &Spread,
    d: &[f64],
    before: Correction,
    after: Correction,
) -> Result<Vec<BandPoint>, ModelError> {
    let was = readings(model, d, before, &targets.hot, &targets.board, ReadingNoise::LeftOut)?;
    let is = readings(model, d, after, &targets.hot, &targets.board, ReadingNoise::LeftOut)?;
    Ok((0..targets.points())
        .map(|p| {
            let (hot, board) = targets.at(p);
            let bias = is[p] - hot;
            BandPoint {
                hot,
                board,
                bias_before: targets.nominal[p] - hot,
                half_before: spread.half_before[p],
                found: was[p] - hot,
                bias,
                half: spread.half[p],
                standard: spread.standard[p],
                error_95: spread.error_95(p, bias),
            }
        })
        .collect())
}

/// Weight of each column of `parts` on the variance at a point, by origin.
pub fn by_origin(spread: &Spread, point: usize) -> Vec<(Origin, f64)> {
    [Origin::Board, Origin::Reference, Origin::Readings, Origin::Use]
        .into_iter()
        .map(|origin| {
            let of = spread.causes.iter().zip(spread.parts.row(point));
            // A sum of nothing is −0.
            let variance = of.filter(|(c, _)| c.origin == origin).map(|(_, p)| p * p).fold(0.0, |a, b| a + b);
            (origin, variance.sqrt())
        })
        .collect()
}

/// Sensitivities of the board's own unknowns at the targets: points × board unknowns.
pub fn of_board(forward: &Forward<'_>, targets: &Targets) -> DMatrix<f64> {
    let places: Vec<usize> = forward
        .unknowns
        .iter()
        .filter_map(|u| if let What::Board(i) = u.what { Some(i) } else { None })
        .collect();
    DMatrix::from_fn(targets.points(), places.len(), |p, u| targets.sensitivities[(p, places[u])])
}
