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

/// A junction at any current: known by its forward voltage at one current and 25 °C.
///
/// `I = Iₛ(T)·(exp(V/(n·kT/q)) − 1)` with `Iₛ(T) = Iₛ(25 °C)·(T/298.15 K)^(γ/n)·exp(gap/(n·k/q)·(1/298.15 K − 1/T))`: at
/// the stated current this is the expression of [`SiliconJunction`], whatever the ideality `n`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForwardJunction {
    /// Logarithm of the saturation current over the stated current, at 25 °C.
    log_saturation: f64,
    amperes: f64,
    ideality: f64,
}

/// Voltage of a junction with its slopes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forward {
    /// V.
    pub volts: f64,
    /// dV/dI, Ω.
    pub ohms: f64,
}

/// Forward currents for which the expression is used, A.
pub const CURRENTS: (f64, f64) = (1e-9, 0.1);

impl ForwardJunction {
    /// A junction that drops `volts` (V) at `amperes` (A) and 25 °C, of this ideality.
    ///
    /// # Errors
    /// [`OutOfRange`] unless the voltage lies within 0.2 to 1.1 V, the current within [`CURRENTS`], the ideality within
    /// 0.9 to 2.5.
    pub fn new(volts: f64, amperes: f64, ideality: f64) -> Result<ForwardJunction, OutOfRange> {
        let volts = OutOfRange::check(Quantity::Volts, volts, (0.2, 1.1))?;
        let amperes = OutOfRange::check(Quantity::Plain, amperes, CURRENTS)?;
        let ideality = OutOfRange::check(Quantity::Plain, ideality, (0.9, 2.5))?;
        let exponent = volts / (ideality * BOLTZMANN_OVER_CHARGE * STATED_AT);
        // ln(exp(x) − 1) without overflow.
        let log_saturation = -(exponent + libm::log1p(-libm::exp(-exponent)));
        Ok(ForwardJunction { log_saturation, amperes, ideality })
    }

    /// Voltage at a forward current in A and a temperature in °C, series resistance not counted.
    ///
    /// # Errors
    /// [`OutOfRange`] unless the current is positive and the temperature within [`RANGE`].
    ///
    /// ```
    /// use icepoint_sensors::silicon::ForwardJunction;
    /// let diode = ForwardJunction::new(0.6, 1e-3, 1.0)?;
    /// assert!((diode.voltage(1e-3, 25.0)?.volts - 0.6).abs() < 1e-12);
    /// let decade = diode.voltage(1e-3, 25.0)?.volts - diode.voltage(1e-4, 25.0)?.volts;
    /// assert!((decade - 59.159e-3).abs() < 0.5e-6); // (kT/q)·ln 10
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    pub fn voltage(self, amperes: f64, celsius: f64) -> Result<Forward, OutOfRange> {
        let amperes = OutOfRange::check(Quantity::Plain, amperes, (f64::MIN_POSITIVE, 10.0))?;
        let kelvin = OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN;
        let thermal = self.ideality * BOLTZMANN_OVER_CHARGE * kelvin;
        let log_saturation = self.log_saturation
            + GAMMA / self.ideality * libm::log(kelvin / STATED_AT)
            + GAP_VOLTS / (self.ideality * BOLTZMANN_OVER_CHARGE) * (1.0 / STATED_AT - 1.0 / kelvin);
        // ln(I/Iₛ + 1), with I/Iₛ of 1e10 and more.
        let log_ratio = libm::log(amperes / self.amperes) - log_saturation;
        let inverse = libm::exp(-log_ratio);
        Ok(Forward {
            volts: thermal * (log_ratio + libm::log1p(inverse)),
            ohms: thermal / (amperes * (1.0 + inverse)),
        })
    }
}

/// 25 °C in K.
const STATED_AT: f64 = 25.0 + ZERO_CELSIUS_IN_KELVIN;

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_the_stated_current_both_expressions_agree() {
        for ideality in [1.0, 1.3, 2.0] {
            let forward = ForwardJunction::new(0.6, 1e-4, ideality).unwrap();
            let constant = SiliconJunction::new(0.6, 25.0).unwrap();
            for celsius in [-40.0, 0.0, 25.0, 60.0, 85.0] {
                let (volts, plain) =
                    (forward.voltage(1e-4, celsius).unwrap().volts, constant.voltage(celsius).unwrap());
                // The closed form of constant current leaves out the 1 beside the exponential, here and at 25 °C.
                let thermal = ideality * BOLTZMANN_OVER_CHARGE * (celsius + ZERO_CELSIUS_IN_KELVIN);
                let stated = 0.6 / (ideality * BOLTZMANN_OVER_CHARGE * STATED_AT);
                let left_out = 1.01 * thermal * (libm::exp(-plain / thermal) + libm::exp(-stated)) + 1e-14;
                assert!((volts - plain).abs() < left_out, "n = {ideality}, {celsius} °C: {volts} {plain}");
            }
        }
    }

    #[test]
    fn resistance_is_the_slope_by_current() {
        let diode = ForwardJunction::new(0.55, 50e-6, 1.1).unwrap();
        for celsius in [-40.0, 25.0, 85.0] {
            let at = |i: f64| diode.voltage(i, celsius).unwrap();
            let difference = (at(50.05e-6).volts - at(49.95e-6).volts) / 0.1e-6;
            assert!((difference / at(50e-6).ohms - 1.0).abs() < 1e-6);
        }
    }
}
