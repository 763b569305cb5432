//! The settings that make a board read right: what a technician arrives at who turns the zero at one point and the span
//! at another until nothing is left to turn.
//!
//! **How.** Two equations in two settings, solved by a secant method in both (Broyden's update of the matrix of
//! sensitivities, which is known for the nominal board); every step solves the whole circuit. A setting that would go
//! beyond its end stays there, and the other one is still adjusted for its own point.

use crate::model::ModelError;

/// Readings' errors at the two points, in whatever unit; and the settings of zero and span.
pub type Pair = [f64; 2];

/// Steps at most; a board takes three to six.
const STEPS: usize = 30;

/// What the adjustment came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adjusted {
    /// Settings of zero and span, share of the track.
    pub settings: Pair,
    /// Whether each reading is right at its point; a trim that there is not counts as right.
    pub reached: [bool; 2],
}

impl Adjusted {
    /// Whether the board reads right at both points.
    pub fn is_reached(&self) -> bool {
        self.reached == [true; 2]
    }
}

/// Turns those of the two trims that are `there`, from `start`, until what `errors` tells is no larger than `enough`.
///
/// `matrix[point][trim]` is about the change of the error at a point with a setting.
///
/// # Errors
/// Those of `errors`.
pub fn adjust(
    there: [bool; 2],
    start: Pair,
    mut matrix: [Pair; 2],
    enough: Pair,
    mut errors: impl FnMut(Pair) -> Result<Pair, ModelError>,
) -> Result<Adjusted, ModelError> {
    let mut at = start;
    let mut error = errors(at)?;
    let right = |error: Pair| [0, 1].map(|k| !there[k] || error[k].abs() <= enough[k]);
    for _ in 0..STEPS {
        if right(error) == [true; 2] {
            break;
        }
        let step = step(there, at, matrix, error);
        let next = [0, 1].map(|k| (at[k] + step[k]).clamp(0.0, 1.0));
        let moved = [next[0] - at[0], next[1] - at[1]];
        let length = moved[0] * moved[0] + moved[1] * moved[1];
        if length.is_nan() || length < 1e-24 {
            break;
        }
        let then = errors(next)?;
        for k in 0..2 {
            let missed = then[k] - error[k] - matrix[k][0] * moved[0] - matrix[k][1] * moved[1];
            for j in 0..2 {
                matrix[k][j] += missed * moved[j] / length;
            }
        }
        (at, error) = (next, then);
    }
    Ok(Adjusted { settings: at, reached: right(error) })
}

/// The step of Newton's method; a setting that would be pushed beyond the end where it stands stays there.
fn step(there: [bool; 2], at: Pair, matrix: [Pair; 2], error: Pair) -> Pair {
    let alone = |k: usize| if there[k] { finite(-error[k] / matrix[k][k]) } else { 0.0 };
    if there != [true; 2] {
        return [alone(0), alone(1)];
    }
    let determinant = matrix[0][0] * matrix[1][1] - matrix[0][1] * matrix[1][0];
    let both = [
        finite((matrix[0][1] * error[1] - matrix[1][1] * error[0]) / determinant),
        finite((matrix[1][0] * error[0] - matrix[0][0] * error[1]) / determinant),
    ];
    let stuck = |k: usize, step: f64| (at[k] <= 0.0 && step < 0.0) || (at[k] >= 1.0 && step > 0.0);
    match [stuck(0, both[0]), stuck(1, both[1])] {
        [true, false] => [0.0, alone(1)],
        [false, true] => [alone(0), 0.0],
        _ => both,
    }
}

fn finite(value: f64) -> f64 {
    if value.is_finite() { value } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: e0 = 2a + b − 1.3, e1 = a·b + b − 0.6 has the root a = 0.5, b = 0.3... solved for b by substitution:
    /// 2a + b = 1.3 and b(1 + a) = 0.6 give 2a² + 0.7a − 0.7 = 0, a = (−0.7 + √6.09)/4.
    #[test]
    fn two_settings_of_a_curved_pair() {
        let a = (6.09f64.sqrt() - 0.7) / 4.0;
        let b = 1.3 - 2.0 * a;
        let found = adjust([true; 2], [0.5; 2], [[2.0, 1.0], [0.5, 1.5]], [1e-12; 2], |[a, b]| {
            Ok([2.0 * a + b - 1.3, a * b + b - 0.6])
        })
        .unwrap();
        assert!(found.is_reached());
        assert!((found.settings[0] - a).abs() < 1e-10 && (found.settings[1] - b).abs() < 1e-10, "{found:?}");
    }

    #[test]
    fn a_setting_at_its_end_leaves_the_other_one_adjusted() {
        let found = adjust([true; 2], [0.5; 2], [[1.0, 0.1], [0.1, 1.0]], [1e-12; 2], |[a, b]| {
            Ok([a + 0.1 * b - 2.0, 0.1 * a + b - 0.4])
        })
        .unwrap();
        assert_eq!(found.settings[0], 1.0);
        assert!((found.settings[1] - 0.3).abs() < 1e-9, "{found:?}");
        assert_eq!(found.reached, [false, true]);
    }

    #[test]
    fn what_is_not_there_is_not_turned() {
        let found = adjust([true, false], [0.5; 2], [[1.0, 0.0], [0.0, 1.0]], [1e-12; 2], |[a, _]| {
            Ok([a - 0.25, 9.0])
        })
        .unwrap();
        assert!((found.settings[0] - 0.25).abs() < 1e-12 && found.settings[1] == 0.5 && found.is_reached());
        // Nonsense from the circuit ends the turning.
        let found = adjust([true; 2], [0.5; 2], [[0.0; 2]; 2], [1e-12; 2], |_| Ok([f64::NAN; 2])).unwrap();
        assert!(!found.is_reached() && found.settings == [0.5; 2]);
    }
}
