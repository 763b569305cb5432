//! Taps for several types of thermocouple on one board: what using each tap with each type costs.
//!
//! **What is told.** The largest error over the board's range of temperatures that the compensation alone makes, against
//! the board at 25 °C, in kelvins of the type in use: the difference of the tap's slope from the emf curve of the type,
//! over that type's sensitivity in the middle of the range of the measuring junction. The gain is not in it: it is set for
//! one type, by a switch or by the firmware's constants. Every figure is the model's.
//!
//! **What is asked.** A tap with a type that it is meant for may take [`SHARE`] of the accuracy asked.

use icepoint_sensors::Letter;

use crate::chain::Chain;
use crate::imperfection::SPECIFIED_AT;
use crate::model::{Model, ModelError};
use crate::resolve::Resolved;
use crate::situation::grid;

/// One tap used with one type.
#[derive(Clone, Debug, PartialEq)]
pub struct TapUse {
    /// Node of the tap.
    pub node: String,
    /// Types that the tap is meant for.
    pub meant_for: Vec<Letter>,
    /// Type that is connected to it.
    pub letter: Letter,
    /// Whether the board is designed for this type.
    pub designed_for: bool,
    /// Whether the type's range holds the middle of the hot range: at what it can't measure nothing is asked of it.
    pub measures: bool,
    /// Largest error over the board's range, K.
    pub error: f64,
}

/// Share of the accuracy asked that the compensation of another type may take: its probe, amplifier and reading want the
/// rest.
pub const SHARE: f64 = 0.5;

impl TapUse {
    /// Whether the type belongs on this tap.
    pub fn is_right(&self) -> bool {
        self.meant_for.contains(&self.letter)
    }

    /// Whether it is a limit of its own: the right tap of a type that the board is not designed for.
    pub fn counts(&self) -> bool {
        self.is_right() && !self.designed_for && self.measures
    }

    /// Error allowed where this accuracy is asked, K: [`SHARE`] of it, or all of it for the type that the board is designed
    /// for, whose error is in the budget.
    pub fn allowed(&self, accuracy: f64) -> f64 {
        if self.designed_for { accuracy } else { SHARE * accuracy }
    }

    /// Share used of that: 1 is at the limit.
    pub fn used(&self, accuracy: f64) -> f64 {
        self.error / self.allowed(accuracy)
    }
}

/// Board temperatures looked at.
const BOARDS: u32 = 9;

/// Every tap of the circuit with every type that has a tap, in the order of the taps; empty for a circuit without.
/// `chain`: the board with the values chosen for `resolved`.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved with one of them.
pub fn table(resolved: &Resolved, chain: &Chain) -> Result<Vec<TapUse>, ModelError> {
    uses(resolved, chain, |_| true)
}

/// The taps with the types that they are meant for and that measure there, but for the type that the board is designed for,
/// whose error is in the budget: one model for each tap that has one, for a search that asks of every board.
///
/// # Errors
/// As [`table`].
pub fn other_types(resolved: &Resolved, chain: &Chain) -> Result<Vec<TapUse>, ModelError> {
    uses(resolved, chain, TapUse::counts)
}

fn uses(
    resolved: &Resolved,
    chain: &Chain,
    wanted: impl Fn(&TapUse) -> bool,
) -> Result<Vec<TapUse>, ModelError> {
    let taps = &resolved.blueprint.taps;
    let mut nodes: Vec<&str> = Vec::new();
    for tap in taps {
        if !nodes.contains(&tap.node.as_str()) {
            nodes.push(&tap.node);
        }
    }
    let middle = 0.5 * (chain.need.hot.0 + chain.need.hot.1);
    let mut uses = Vec::new();
    for node in nodes {
        let meant_for: Vec<Letter> = taps.iter().filter(|t| t.node == node).map(|t| t.letter).collect();
        let blank = |letter: Letter| TapUse {
            node: node.to_owned(),
            meant_for: meant_for.clone(),
            letter,
            designed_for: letter == chain.probe.letter,
            measures: (letter.range().0..=letter.range().1).contains(&middle),
            error: 0.0,
        };
        let mut here: Vec<TapUse> = taps.iter().map(|t| blank(t.letter)).filter(&wanted).collect();
        if here.is_empty() {
            continue;
        }
        // The circuit does not know what metals are on its terminals: one model does for all types.
        let mut chain = chain.as_designed();
        chain.front_end.ports.minus = resolved.surroundings.node(node);
        let model = Model::without_dynamics(chain)?;
        let course = Course::new(&model)?;
        for tap in &mut here {
            tap.error = course.error(tap.letter, &model);
        }
        uses.extend(here);
    }
    Ok(uses)
}

/// Largest error of the compensation over the board's range against 25 °C, in K of the probe's type in the middle of the
/// hot range.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn compensation_error(model: &Model) -> Result<f64, ModelError> {
    Ok(Course::new(model)?.error(model.chain().probe.letter, model))
}

/// What the circuit puts in series with the thermocouple, by the temperature of its terminals.
struct Course {
    /// With the board at 25 °C: °C and V.
    still: (f64, f64),
    /// Over the board's range.
    boards: Vec<(f64, f64)>,
}

impl Course {
    fn new(model: &Model) -> Result<Self, ModelError> {
        let mut scratch = model.scratch();
        let mut at = |board: f64| -> Result<(f64, f64), ModelError> {
            let state = model.board_state(board, model.mean_deviations(), &mut scratch)?;
            Ok((state.terminals, state.offset / state.gain))
        };
        let still = at(SPECIFIED_AT)?;
        let boards = grid(model.chain().need.board, BOARDS).into_iter().map(at).collect::<Result<_, _>>()?;
        Ok(Self { still, boards })
    }

    fn error(&self, letter: Letter, model: &Model) -> f64 {
        let hot = model.chain().need.hot;
        let off = |(terminals, volts): (f64, f64)| volts - letter.emf_and_slope_extended(terminals).0;
        let (_, sensitivity) = letter.emf_and_slope_extended(0.5 * (hot.0 + hot.1));
        self.boards.iter().map(|b| ((off(*b) - off(self.still)) / sensitivity).abs()).fold(0.0, f64::max)
    }
}
