//! A board that is calibrated by turning its adjustable resistors: where they are left, and the readings meanwhile.

use super::study::{Study, Work};
use crate::chain::CalibrationWish;
use crate::front_end::adjustable::MIDDLE;
use crate::model::{ModelError, ReadingNoise};
use crate::trims::adjust::{Adjusted, Pair, adjust};
use crate::trims::{Moves, Trims};

/// What is left of an error when a technician stops turning, K: far below what anybody can see.
const ENOUGH: f64 = 1e-7;
/// Part of the travel over which sensitivities are taken, to either side of the middle.
const SMALL_TURN: f64 = 0.01;

/// The adjustable resistors that calibrate the board.
#[derive(Debug)]
pub(super) struct Turned {
    /// Places of zero and span among the model's adjustable resistors.
    place: [Option<usize>; 2],
    /// `[point][trim]`: K per whole travel.
    matrix: [Pair; 2],
}

impl Turned {
    pub(super) fn new(study: &Study<'_>) -> Option<Self> {
        let trims = study.model.chain().trims.as_ref()?;
        if !matches!(trims, Trims::Resistors { .. }) {
            return None;
        }
        let place = [Moves::Zero, Moves::Span].map(|moves| {
            trims.designator(moves).and_then(|name| study.model.adjustable().position(|other| other == name))
        });
        let mut turned = Self { place, matrix: [[0.0; 2]; 2] };
        let mut work = study.work();
        for trim in 0..2 {
            let mut at = |setting: f64| {
                let mut settings = [MIDDLE; 2];
                settings[trim] = setting;
                study.errors_with(&turned.place, settings, &study.mean, &mut work).ok()
            };
            let (up, down) = (at(MIDDLE + SMALL_TURN)?, at(MIDDLE - SMALL_TURN)?);
            for point in 0..2 {
                turned.matrix[point][trim] = 0.5 * (up[point] - down[point]) / SMALL_TURN;
            }
        }
        Some(turned)
    }
}

impl Study<'_> {
    /// Which of zero and span can be turned; `None` when the board has no adjustable resistors.
    pub fn turns(&self) -> Option<[bool; 2]> {
        self.turned.as_ref().map(|turned| turned.place.map(|place| place.is_some()))
    }

    /// Temperatures at which zero and span are adjusted, °C.
    pub fn adjusted_at(&self) -> [Option<f64>; 2] {
        [0, 1].map(|k| self.points.get(k).map(|point| point.celsius))
    }

    /// `[point][trim]`: change of the reading at each point of the adjustment over the whole travel of zero and span by
    /// the sensitivities at the middle, K.
    pub fn interaction(&self) -> Option<[Pair; 2]> {
        self.turned.as_ref().map(|turned| turned.matrix)
    }

    /// Where zero and span of one board are left after a calibration choice.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn adjusted(
        &self,
        wish: CalibrationWish,
        d: &[f64],
        work: &mut Work,
    ) -> Result<Adjusted, ModelError> {
        let middle = Adjusted { settings: [MIDDLE; 2], reached: [true; 2] };
        let Some(turned) = &self.turned else { return Ok(middle) };
        let there = [0, 1].map(|k| wish.points() > k && k < self.points.len() && turned.place[k].is_some());
        if there == [false; 2] {
            return Ok(middle);
        }
        adjust(there, [MIDDLE; 2], turned.matrix, [ENOUGH; 2], |settings| self.errors_at(settings, d, work))
    }

    /// Error of the reading at the two points of the adjustment, with zero and span set so, K; by what the calibrator
    /// knows and sees. Zero for a point that the plan has not.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved.
    pub fn errors_at(&self, settings: Pair, d: &[f64], work: &mut Work) -> Result<Pair, ModelError> {
        self.errors_with(&self.places(), settings, d, work)
    }

    /// The same as if the board were adjusted at another temperature, °C.
    pub(crate) fn errors_with_board_at(
        &self,
        board: f64,
        settings: Pair,
        d: &[f64],
        work: &mut Work,
    ) -> Result<Pair, ModelError> {
        self.errors_of(&self.places(), board, settings, d, work)
    }

    fn places(&self) -> [Option<usize>; 2] {
        self.turned.as_ref().map_or([None; 2], |turned| turned.place)
    }

    fn errors_with(
        &self,
        place: &[Option<usize>; 2],
        settings: Pair,
        d: &[f64],
        work: &mut Work,
    ) -> Result<Pair, ModelError> {
        self.errors_of(place, self.model.chain().plan.board, settings, d, work)
    }

    fn errors_of(
        &self,
        place: &[Option<usize>; 2],
        board: f64,
        settings: Pair,
        d: &[f64],
        work: &mut Work,
    ) -> Result<Pair, ModelError> {
        let Work { scratch, calibrated, .. } = work;
        self.meanwhile(d, calibrated);
        let d = calibrated.as_slice();
        set(place, settings, scratch.settings_mut());
        let state = self.model.board_state(board, d, scratch);
        set(place, [MIDDLE; 2], scratch.settings_mut());
        let state = state?;
        let stored = self.model.correction();
        let mut errors = [0.0; 2];
        for (error, point) in errors.iter_mut().zip(&self.points) {
            let v = self.applied_volts(point, &state, d);
            let output = self.model.output_volts(&state, v, false, scratch);
            let output = output + point.reading.map_or(0.0, |i| d[i]);
            let found = self.model.rule_volts(&state, output, d, ReadingNoise::LeftOut);
            let wanted = self.model.rule_volts_for(&state, point.celsius);
            *error = (stored.offset + stored.gain * found - wanted) / point.volts_per_kelvin;
        }
        Ok(errors)
    }

    pub(super) fn set(&self, settings: Pair, all: &mut [f64]) {
        if let Some(turned) = &self.turned {
            set(&turned.place, settings, all);
        }
    }
}

fn set(place: &[Option<usize>; 2], settings: Pair, all: &mut [f64]) {
    for (setting, place) in settings.into_iter().zip(place) {
        if let Some(slot) = place.and_then(|i| all.get_mut(i)) {
            *slot = setting;
        }
    }
}
