//! How wrong the reading can be: map, bands, yield and the spread at the worst point.

use icepoint_chain::chain::CalibrationWish;
use maud::{Markup, html};

use super::words::{asked, celsius, count, kelvin, plus_minus, span_kelvin};
use super::{Pictures, Subject};
use crate::distribution::Distribution;
use crate::error_band::{ErrorBand, ErrorBandPanel, ErrorBandPoint};
use crate::error_map::ErrorMap;
use crate::yield_bars::{YieldBars, YieldRow};

/// Error map for the calibration that the owner does.
pub(super) fn map(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let width = s.budget.hot.len().max(1);
    let map = ErrorMap {
        id: "error-map-figure".to_owned(),
        hot_celsius: s.budget.hot.clone(),
        board_celsius: s.budget.board.clone(),
        error_95_kelvin: s
            .budget
            .of(s.wish)
            .chunks(width)
            .map(|row| row.iter().map(|p| p.monte_carlo.error_95).collect())
            .collect(),
        accuracy_kelvin: Some(s.chain.need.accuracy),
    };
    let caption = format!(
        "Error in kelvin that 95 % of readings stay within, {}. The largest stands in a frame; {} is asked.",
        s.calibration(s.wish),
        asked(s.chain.need.accuracy)
    );
    html! {
        p {
            "Each cell is the 95 % quantile of the size of the error over " (count(u64::from(s.budget.trials)))
            " simulated boards, each with its own parts, its own calibration and one reading."
        }
        (pictures.both("error-map", &caption, &|frame| map.draw(frame)))
    }
}

/// Error against hot temperature for the three calibrations, board where the owner's choice is worst.
pub(super) fn bands(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let Some(worst) = s.budget.worst_point(s.wish) else { return html! {} };
    let panels = CalibrationWish::ALL
        .into_iter()
        .map(|wish| ErrorBandPanel {
            caption: Subject::short(wish).to_owned(),
            points: s
                .budget
                .of(wish)
                .iter()
                .filter(|p| p.board == worst.board)
                .map(|p| ErrorBandPoint {
                    hot_celsius: p.hot,
                    bias_kelvin: p.bias(),
                    low_95_kelvin: p.monte_carlo.low,
                    high_95_kelvin: p.monte_carlo.high,
                    worst_low_kelvin: p.worst.low,
                    worst_high_kelvin: p.worst.high,
                })
                .collect(),
        })
        .collect();
    let band = ErrorBand {
        id: "error-band-figure".to_owned(),
        accuracy_kelvin: Some(s.chain.need.accuracy),
        panels,
    };
    let caption = format!(
        "Known error (line), 95 % interval (band) and worst case (dashed) with the board at {}, where the error {} is \
         largest. The same scale in all three.",
        celsius(worst.board),
        Subject::short(s.wish)
    );
    html! {
        p {
            "The line is the part of the error that is known beforehand, with every part at its mean. The band holds "
            "95 % of readings. The dashed lines are the worst case: every part at the end of its data sheet that hurts, "
            "all at once."
        }
        (pictures.both("error-band", &caption, &|frame| band.draw(frame)))
    }
}

/// Yield for each calibration, and the distribution at the worst point.
pub(super) fn chances(s: &Subject<'_>, pictures: &mut Pictures) -> Markup {
    let accuracy = s.chain.need.accuracy;
    let bars = YieldBars {
        id: "yield-figure".to_owned(),
        accuracy_kelvin: accuracy,
        asked_share: Some(icepoint_chain::statistics::COVERAGE),
        rows: CalibrationWish::ALL
            .into_iter()
            .map(|wish| YieldRow { name: Subject::short(wish).to_owned(), share: s.budget.yield_after(wish) })
            .collect(),
    };
    let caption = format!(
        "Share of boards that stay within {} at every point of the grid, calibrator's own uncertainty included.",
        asked(accuracy)
    );
    let yields = pictures.both("yield", &caption, &|frame| bars.draw(frame));
    let Some(point) = s.budget.worst_point(s.wish) else { return yields };
    let simulated = &point.monte_carlo;
    let bars = simulated.histogram.len().max(1);
    let step = (simulated.range.1 - simulated.range.0) / bars as f64;
    let spread = Distribution {
        id: "distribution-figure".to_owned(),
        caption: format!("{}, {}", Subject::place(point), Subject::short(s.wish)),
        edges_kelvin: (0..=bars).map(|i| simulated.range.0 + step * i as f64).collect(),
        counts: simulated.histogram.iter().map(|c| u64::from(*c)).collect(),
        interval_95_kelvin: (simulated.low, simulated.high),
        mean_kelvin: simulated.mean,
        accuracy_kelvin: Some(accuracy),
    };
    let caption = format!(
        "Simulated errors at {}, {}: {} boards.",
        Subject::place(point),
        Subject::short(s.wish),
        count(u64::from(s.budget.trials))
    );
    html! {
        p {
            "A board counts as good when it is within " (asked(accuracy)) " at every hot and board temperature of the "
            "grid, which asks for more than 95 % at each point alone."
        }
        (yields)
        p {
            "At the worst point, " (Subject::place(point)) ", the simulation gives " (span_kelvin(simulated.low, simulated.high))
            " for 95 % with a standard deviation of " (kelvin(simulated.standard)) "; the law of propagation gives "
            (kelvin(point.gum.standard)) " and, with k = " (crate::number::fixed(point.gum.k, 2)) ", "
            (plus_minus(point.gum.expanded())) " around " (super::words::signed_kelvin(point.bias())) ". "
            "Where one rectangular distribution dominates, k times u is wider than the simulated interval; the simulated "
            "one is used for the answer."
        }
        (pictures.both("distribution", &caption, &|frame| spread.draw(frame)))
    }
}
