//! Adjustable resistors (trimmer potentiometers): what is known of them, and the resistance that a setting gives.
//!
//! **Setting.** The place of the wiper as a share of the track, 0 at the first of the two nodes of `between`, 1 at the
//! second. With two terminals the wiper is joined to one end, and the setting is the share of the track that is in the
//! circuit. Which way a screw must be turned is a matter of how the part is soldered in, and not known here.

/// Setting of a part that nobody has turned yet: the middle, so that there is as much way to either side.
pub const MIDDLE: f64 = 0.5;

/// Figures of an adjustable resistor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdjustableFigures {
    /// Resistance of the whole track, nominal, Ω.
    pub ohms: f64,
    /// Limit of the track's resistance, relative.
    pub tolerance: f64,
    /// Limit of its temperature coefficient, 1/K.
    pub tempco: f64,
    /// Smallest step of the setting, as a share of the track.
    pub resolution: f64,
    /// Limit of how far the setting moves by itself after the adjustment, as a share of the track.
    pub stability: f64,
    /// Resistance that is left at the end of the travel, Ω.
    pub end: f64,
}

impl AdjustableFigures {
    /// Resistance between the first node and the wiper, and between the wiper and the second node, Ω, for a setting and a
    /// relative change of the track. Settings beyond the ends are at the ends.
    pub fn arms(&self, setting: f64, change: f64) -> (f64, f64) {
        let setting = setting.clamp(0.0, 1.0);
        let track = self.ohms * (1.0 + change);
        (self.end + setting * track, self.end + (1.0 - setting) * track)
    }

    /// The same with a part's own tolerance and temperature coefficient, where it states them.
    pub fn of(self, tolerance: Option<f64>, tempco: Option<f64>) -> Self {
        Self { tolerance: tolerance.unwrap_or(self.tolerance), tempco: tempco.unwrap_or(self.tempco), ..self }
    }

    /// Whether tolerance or temperature coefficient are others.
    pub fn differs(&self, other: &Self) -> bool {
        (self.tolerance, self.tempco) != (other.tolerance, other.tempco)
    }
}

impl Default for AdjustableFigures {
    /// A cermet trimmer of many turns without errors.
    fn default() -> Self {
        Self { ohms: 0.0, tolerance: 0.0, tempco: 0.0, resolution: 0.0, stability: 0.0, end: 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: a track of 1 kΩ, 10 % long, 2 Ω at each end, a quarter of the way: 277 Ω and 827 Ω.
    #[test]
    fn arms_by_hand() {
        let track = AdjustableFigures { ohms: 1e3, end: 2.0, ..AdjustableFigures::default() };
        let (first, second) = track.arms(0.25, 0.1);
        assert!((first - 277.0).abs() < 1e-9 && (second - 827.0).abs() < 1e-9, "{first} {second}");
        assert_eq!(track.arms(1.5, 0.0), (1002.0, 2.0));
        assert_eq!(track.arms(-0.5, 0.0), (2.0, 1002.0));
    }
}
