//! Boards as they may be built, and their readings: to show that the band is honest, and to plan a calibration.
//!
//! A board is drawn from the prior with every shape as it is; each occasion, each reference and each reading draw their
//! own errors. Its readings go through the model itself, so the calibration meets everything that it neglects: the
//! curvature, the rectangles, the clamping.

use icepoint_chain::budget::monte_carlo::draw;
use icepoint_chain::chain::Correction;
use icepoint_chain::imperfection::{Distribution, Persistence};
use icepoint_chain::model::{ModelError, ReadingNoise};
use rand_xoshiro::Xoshiro256PlusPlus;

use super::band;
use super::forward::{Forward, What};
use super::inference::{of_converter, stays};

/// A board that was built, and the errors of the bench while it was read.
#[derive(Clone, Debug)]
pub struct AsBuilt {
    /// Its unknowns, in standard uncertainties.
    pub z: Vec<f64>,
}

/// Draws a board and the occasion; `times` makes the board's own deviations larger than the prior says.
pub fn build(forward: &Forward<'_>, times: f64, rng: &mut Xoshiro256PlusPlus) -> AsBuilt {
    let z = forward
        .unknowns
        .iter()
        .map(|u| {
            let d = u.distribution;
            let times = if matches!(u.what, What::Board(_)) { times } else { 1.0 };
            times * (draw(d, rng) - d.mean()) / d.standard()
        })
        .collect();
    AsBuilt { z }
}

/// Single readings of this board: for each condition as many as it counts.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn read(
    forward: &Forward<'_>,
    board: &AsBuilt,
    per_volt: &[f64],
    rng: &mut Xoshiro256PlusPlus,
) -> Result<Vec<Vec<f64>>, ModelError> {
    let mut work = forward.work();
    let list = forward.model.imperfections();
    let of = |stay: bool, metered: bool| {
        list.iter()
            .filter(move |i| i.persistence == Persistence::Reading && stays(i) == stay)
            .filter(move |i| !(metered && of_converter(i)))
            .map(|i| i.distribution)
    };
    (0..forward.conditions.len())
        .map(|k| {
            let answer = forward.answer(k, &board.z, &mut work)?;
            let c = &forward.conditions[k];
            let metered = c.meter.is_some();
            let kept: f64 = of(true, metered).map(|d| draw(d, rng)).sum();
            let digit = draw(Distribution::Rectangular(c.half_digit), rng);
            Ok((0..c.count)
                .map(|_| {
                    let noise: f64 = of(false, metered).map(|d| draw(d, rng)).sum();
                    answer + per_volt[k] * (kept + noise) + digit
                })
                .collect())
        })
        .collect()
}

/// What this board reads in use, on another occasion and after its ageing, over hot × board, °C (hot running fastest).
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn in_use(
    forward: &Forward<'_>,
    board: &AsBuilt,
    constants: Correction,
    (hot, at): (&[f64], &[f64]),
    rng: &mut Xoshiro256PlusPlus,
) -> Result<Vec<f64>, ModelError> {
    let mut d = forward.board_deviations(&board.z);
    for (d, i) in d.iter_mut().zip(forward.model.imperfections()) {
        if i.persistence != Persistence::Board {
            *d = draw(i.distribution, rng);
        }
    }
    band::readings(forward.model, &d, constants, hot, at, ReadingNoise::Included)
}
