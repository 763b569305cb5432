//! The error of one board before, as found and after, at each board temperature that readings were taken at.
//!
//! **One thing.** Each picture holds for one board temperature and shows the readings that were taken there, as errors
//! against the best estimate of what was given. A reading at another board temperature is another error of the board,
//! and has its own picture.

use icepoint_bench::calibrate::band::BandPoint;
use icepoint_bench::calibrate::readings::Input;
use icepoint_bench::calibrate::{Calibration, Checked};
use icepoint_sensors::Letter;
use maud::{Markup, html};

use crate::calibrated_band::{CalibratedBand, CalibratedBandPoint, ReadingMark};
use crate::certificate::{both, celsius};

/// Pictures; readings at further board temperatures are told in words.
const PICTURES: usize = 3;
/// Readings drawn at most in each.
const DRAWN: usize = 60;
/// Board temperatures that are as near as this are one, K.
const SAME_BOARD: f64 = 1.0;

/// Board temperatures with the conditions taken there, the most used first; at least one.
fn boards(calibration: &Calibration) -> Vec<(f64, Vec<&Checked>)> {
    let mut list: Vec<(f64, Vec<&Checked>)> = Vec::new();
    for checked in &calibration.checked {
        let board = checked.condition.board;
        match list.iter_mut().find(|(b, _)| (board - b).abs() <= SAME_BOARD) {
            Some((_, there)) => there.push(checked),
            None => list.push((board, vec![checked])),
        }
    }
    list.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then(a.0.total_cmp(&b.0)));
    list
}

/// A figure of the band at a board temperature, from the two rows of the grid beside it.
fn at_board(calibration: &Calibration, column: usize, board: f64, figure: &dyn Fn(&BandPoint) -> f64) -> f64 {
    let (rows, width) = (&calibration.board, calibration.hot.len());
    let of = |row: usize| calibration.band.get(row * width + column).map_or(f64::NAN, figure);
    let above = rows.partition_point(|b| *b < board).min(rows.len().saturating_sub(1));
    let below = above.saturating_sub(1);
    match (rows.get(below), rows.get(above)) {
        (Some(low), Some(high)) if high > low => {
            let share = ((board - low) / (high - low)).clamp(0.0, 1.0);
            of(below) + share * (of(above) - of(below))
        }
        _ => of(above),
    }
}

/// The same for any temperature of the measuring junction.
fn at_hot(calibration: &Calibration, hot: f64, board: f64, figure: &dyn Fn(&BandPoint) -> f64) -> f64 {
    let columns = &calibration.hot;
    let above = columns.partition_point(|t| *t < hot).min(columns.len().saturating_sub(1));
    let below = above.saturating_sub(1);
    let of = |column: usize| at_board(calibration, column, board, figure);
    match (columns.get(below), columns.get(above)) {
        (Some(low), Some(high)) if high > low => {
            let share = ((hot - low) / (high - low)).clamp(0.0, 1.0);
            of(below) + share * (of(above) - of(below))
        }
        _ => of(above),
    }
}

/// Temperature that a condition stands for, °C.
fn stands_for(k: &Checked, letter: Letter) -> f64 {
    match k.condition.input {
        Input::Temperature(t) => t,
        Input::Injected(v) => {
            let emf = v + letter.emf_and_slope_extended(k.condition.board).0;
            letter.temperature(emf).unwrap_or(f64::NAN)
        }
    }
}

/// The picture at one board temperature with the conditions that were taken there.
fn picture(
    calibration: &Calibration,
    letter: Letter,
    accuracy: f64,
    (number, board): (usize, f64),
    there: &[&Checked],
) -> CalibratedBand {
    let figure =
        |column: usize, figure: &dyn Fn(&BandPoint) -> f64| at_board(calibration, column, board, figure);
    let points = calibration.hot.iter().enumerate().map(|(column, hot)| CalibratedBandPoint {
        hot_celsius: *hot,
        before_kelvin: (
            figure(column, &|p| p.bias_before - p.half_before),
            figure(column, &|p| p.bias_before + p.half_before),
        ),
        found_kelvin: figure(column, &|p| p.found),
        after_kelvin: (figure(column, &|p| p.bias - p.half), figure(column, &|p| p.bias + p.half)),
    });
    let readings = there.iter().take(DRAWN).map(|k| {
        let hot = stands_for(k, letter);
        ReadingMark {
            hot_celsius: hot,
            // Less what was expected, and that less what was given.
            error_kelvin: k.innovation * k.kelvin
                + at_hot(calibration, hot, k.condition.board, &|p| p.bias_before),
            flagged: k.left_out.flagged,
        }
    });
    CalibratedBand {
        id: format!("band-figure-{number}"),
        accuracy_kelvin: Some(accuracy),
        points: points.collect(),
        readings: readings.collect(),
    }
}

/// Pictures and their captions, numbered from 1; gives how many there are, too.
pub(crate) fn pictures(calibration: &Calibration, letter: Letter, accuracy: f64) -> (usize, Markup) {
    let boards = boards(calibration);
    let shown = boards.len().min(PICTURES);
    let markup = html! {
        @for (index, (board, there)) in boards.iter().take(PICTURES).enumerate() {
            @let number = index + 1;
            @let picture = picture(calibration, letter, accuracy, (number, *board), there);
            (both(number, &caption(*board, there.len()), &|frame| picture.draw(frame)))
        }
        @if boards.len() > PICTURES {
            p {
                "Readings at " (boards.len() - PICTURES) " further board temperatures are not drawn here: a board temperature has its own error."
            }
        }
    };
    (shown, markup)
}

fn caption(board: f64, conditions: usize) -> String {
    let conditions =
        if conditions == 1 { "1 condition".to_owned() } else { format!("{conditions} conditions") };
    format!(
        "Error against hot temperature, board at {}: where 95 % of boards of this design were expected (dashed), this \
         board as it was read by the best estimate from all readings (line), and where it is with the new constants (filled, \
         95 %). Circles: mean readings under {conditions} taken at that board temperature, less the best \
         estimate of what was given.",
        celsius(board)
    )
}
