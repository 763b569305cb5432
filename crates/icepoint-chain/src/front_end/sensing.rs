//! Figures of the parts whose value follows the temperature of the terminals, and of what guards the input.
//!
//! **In, out.** Figures of data sheets in SI units, stated at 25 °C. What they do to the circuit is in
//! `crate::sensing`, how far they may be off in [`crate::imperfection`].
//!
//! **Self-heating.** A part of dissipation constant `1/θ` in still air is warmer than the board by `θ·P` at most; on the
//! copper of the terminals it is less, so the deviation runs from zero to `θ`.

use icepoint_sensors::platinum::Class;

/// A silicon diode, or a transistor with base and collector joined.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JunctionFigures {
    /// Forward voltage at `amperes` and 25 °C, V.
    pub volts: f64,
    /// Current at which the forward voltage is stated, A.
    pub amperes: f64,
    /// Limit of the forward voltage's spread, V.
    pub spread: f64,
    /// Limit of the slope's spread beside what follows from the forward voltage, relative.
    pub slope_spread: f64,
    /// Ideality factor; 1 for a transistor connected as a diode, 1 to 2 for a diode.
    pub ideality: f64,
    /// Limit of the ideality factor, relative.
    pub ideality_spread: f64,
    /// Ω.
    pub series_resistance: f64,
    /// Largest thermal resistance to the board, K/W.
    pub heating: f64,
}

/// A thermistor by its beta.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThermistorFigures {
    /// Resistance at 25 °C, Ω.
    pub r25: f64,
    /// K.
    pub beta: f64,
    /// Limit of the resistance at 25 °C, relative.
    pub tolerance: f64,
    /// Limit of beta, relative.
    pub beta_tolerance: f64,
    /// Largest thermal resistance to the board, K/W: the reciprocal of the dissipation constant.
    pub heating: f64,
}

/// A platinum resistor of IEC 60751.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlatinumFigures {
    /// Resistance at 0 °C, Ω.
    pub ice_ohms: f64,
    /// Tolerance class.
    pub class: Class,
    /// Largest thermal resistance to the board, K/W.
    pub heating: f64,
}

/// A diode that keeps a node within the rails, or a suppressor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClampFigures {
    /// Largest leakage at 25 °C, A; it flows from cathode to anode.
    pub leakage: f64,
    /// Kelvins in which the leakage doubles.
    pub doubling: f64,
    /// A suppressor for both directions near 0 V: the sign of its leakage is not known.
    pub either_way: bool,
    /// Forward voltage at `amperes`, V.
    pub volts: f64,
    /// Largest current that the clamp may carry for long, A.
    pub amperes: f64,
}

/// A current that drives a broken loop to one end of the scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DetectionFigures {
    /// A.
    pub amperes: f64,
    /// Limit, relative.
    pub tolerance: f64,
    /// On only between readings; `None`: always.
    pub pulse: Option<Pulse>,
}

/// When a pulsed detection current flows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// How long it is on, s.
    pub on: f64,
    /// Time between its end and the reading, s.
    pub wait: f64,
}
