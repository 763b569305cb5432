//! A silicon junction at constant current as a thermometer.
//!
//! **What it does.** The forward voltage falls by about 2 mV/K, and the more steeply the smaller it is:
//! dV/dT = (V − Eg/q − γ·kT/q)/T. Two currents in turn through one junction give a difference proportional to absolute
//! temperature, which needs no calibration: V1 − V2 = (kT/q)·ln(I1/I2).
//!
//! **In, out.** °C to V and back. Self-heating and the current's own drift belong to the circuit.
//!
//! **Source.** Diode equation at constant current; Eg/q = 1.205 V extrapolated to 0 K and γ = 3 are customary (from
//! memory); k/q from the exact SI constants. Range −100 to 200 °C, where the expression is customary.

use crate::ZERO_CELSIUS_IN_KELVIN;
use crate::out_of_range::{OutOfRange, Quantity};

/// Boltzmann constant over elementary charge, V/K (SI 2019, exact constants rounded here).
pub const BOLTZMANN_OVER_CHARGE: f64 = 8.617_333_262e-5;
/// Band gap of silicon extrapolated to 0 K, V.
pub const GAP_VOLTS: f64 = 1.205;
/// Power of temperature in the saturation current.
pub const GAMMA: f64 = 3.0;
/// Temperatures that the expression is used for, °C.
pub const RANGE: (f64, f64) = (-100.0, 200.0);

/// A junction known by its forward voltage at one temperature, at the constant current that it will carry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SiliconJunction {
    volts: f64,
    kelvin: f64,
    gap: f64,
    gamma: f64,
}

impl SiliconJunction {
    /// A junction that drops `volts` (V) at `celsius` (°C), with the customary gap and gamma.
    ///
    /// # Errors
    /// [`OutOfRange`] unless the voltage lies within 0.2 to 1.1 V and the temperature within [`RANGE`].
    pub fn new(volts: f64, celsius: f64) -> Result<SiliconJunction, OutOfRange> {
        SiliconJunction::with_gap(volts, celsius, GAP_VOLTS, GAMMA)
    }

    /// The same with a gap (V) and a gamma of its own, as fitted to a device.
    ///
    /// # Errors
    /// [`OutOfRange`] for any of the four: gap within 1.1 to 1.3 V, gamma within 0 to 5.
    pub fn with_gap(volts: f64, celsius: f64, gap: f64, gamma: f64) -> Result<SiliconJunction, OutOfRange> {
        Ok(SiliconJunction {
            volts: OutOfRange::check(Quantity::Volts, volts, (0.2, 1.1))?,
            kelvin: OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN,
            gap: OutOfRange::check(Quantity::Volts, gap, (1.1, 1.3))?,
            gamma: OutOfRange::check(Quantity::Plain, gamma, (0.0, 5.0))?,
        })
    }

    fn at(self, kelvin: f64) -> (f64, f64) {
        let ratio = kelvin / self.kelvin;
        let thermal = BOLTZMANN_OVER_CHARGE * kelvin;
        let volts = self.gap + (self.volts - self.gap) * ratio - self.gamma * thermal * libm::log(ratio);
        (volts, slope(volts, kelvin, self.gap, self.gamma))
    }

    /// Forward voltage in V and slope in V/K at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    ///
    /// ```
    /// use icepoint_sensors::silicon::SiliconJunction;
    /// let (volts, slope) = SiliconJunction::new(0.6, 25.0)?.voltage_and_slope(25.0)?;
    /// assert_eq!(volts, 0.6);
    /// assert!(slope < -2.2e-3 && slope > -2.4e-3);
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    pub fn voltage_and_slope(self, celsius: f64) -> Result<(f64, f64), OutOfRange> {
        OutOfRange::check(Quantity::Celsius, celsius, RANGE).map(|t| self.at(t + ZERO_CELSIUS_IN_KELVIN))
    }

    /// Forward voltage in V at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    pub fn voltage(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.voltage_and_slope(celsius).map(|(volts, _)| volts)
    }

    /// Temperature in °C of a forward voltage in V.
    ///
    /// # Errors
    /// [`OutOfRange`] in V outside the voltages at the ends of [`RANGE`].
    pub fn temperature(self, volts: f64) -> Result<f64, OutOfRange> {
        let (low, high) = (RANGE.0 + ZERO_CELSIUS_IN_KELVIN, RANGE.1 + ZERO_CELSIUS_IN_KELVIN);
        let volts = OutOfRange::check(Quantity::Volts, volts, (self.at(high).0, self.at(low).0))?;
        // Nearly a straight line: Newton from the known point needs four steps for rounding, twenty are allowed.
        let mut kelvin = self.kelvin;
        for _ in 0..20 {
            let (here, slope) = self.at(kelvin);
            let step = (here - volts) / slope;
            kelvin = (kelvin - step).clamp(low, high);
            if step.abs() < 1e-12 {
                break;
            }
        }
        Ok(kelvin - ZERO_CELSIUS_IN_KELVIN)
    }
}

fn slope(volts: f64, kelvin: f64, gap: f64, gamma: f64) -> f64 {
    (volts - gap - gamma * BOLTZMANN_OVER_CHARGE * kelvin) / kelvin
}

/// dV/dT in V/K of a junction that drops `volts` (V) at `kelvin` (K), at constant current.
///
/// # Errors
/// [`OutOfRange`] outside 0.2 to 1.1 V or [`RANGE`].
pub fn forward_slope(volts: f64, kelvin: f64) -> Result<f64, OutOfRange> {
    let volts = OutOfRange::check(Quantity::Volts, volts, (0.2, 1.1))?;
    OutOfRange::check(Quantity::Celsius, kelvin - ZERO_CELSIUS_IN_KELVIN, RANGE)?;
    Ok(slope(volts, kelvin, GAP_VOLTS, GAMMA))
}

/// Difference in V of the forward voltages of one junction at two currents in the ratio `current_ratio`.
///
/// # Errors
/// [`OutOfRange`] unless the ratio is above 1 and the temperature within [`RANGE`].
///
/// ```
/// let volts = icepoint_sensors::silicon::delta_volts(10.0, 25.0)?;
/// assert!((volts - 59.159e-3).abs() < 0.5e-6);
/// # Ok::<(), icepoint_sensors::OutOfRange>(())
/// ```
pub fn delta_volts(current_ratio: f64, celsius: f64) -> Result<f64, OutOfRange> {
    let ratio = OutOfRange::check(Quantity::Plain, current_ratio, (1.0, 1e6))?;
    let kelvin = OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN;
    Ok(BOLTZMANN_OVER_CHARGE * kelvin * libm::log(ratio))
}

/// Temperature in °C from the difference (V) at a ratio of currents.
///
/// # Errors
/// [`OutOfRange`] for a ratio not above 1 (nothing to measure), or a temperature outside [`RANGE`].
pub fn delta_temperature(current_ratio: f64, volts: f64) -> Result<f64, OutOfRange> {
    let ratio = OutOfRange::check(Quantity::Plain, current_ratio, (1.0 + 1e-6, 1e6))?;
    let kelvin = volts / (BOLTZMANN_OVER_CHARGE * libm::log(ratio));
    OutOfRange::check(Quantity::Celsius, kelvin - ZERO_CELSIUS_IN_KELVIN, RANGE)
}
