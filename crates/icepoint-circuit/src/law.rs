//! How an element's value goes with its temperature.
//!
//! The circuit itself holds ohms and volts at one temperature; these laws make them from the temperature before each
//! solution. They are the shapes that data sheets print: anything with a standard of its own (platinum) belongs to
//! whoever knows that standard.

/// A law of value against temperature in °C, as a factor on the nominal value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TemperatureLaw {
    /// The value doesn't change.
    Constant,
    /// `1 + a·(t − t₀)`: a temperature coefficient in 1/K (25 ppm/K is 25e-6).
    Linear {
        /// 1/K.
        per_kelvin: f64,
        /// Temperature of the nominal value, °C.
        nominal_celsius: f64,
    },
    /// `1 + a·(t − t₀) + b·(t − t₀)²`.
    Quadratic {
        /// 1/K.
        per_kelvin: f64,
        /// 1/K².
        per_kelvin_squared: f64,
        /// Temperature of the nominal value, °C.
        nominal_celsius: f64,
    },
    /// `exp(β·(1/T − 1/T₀))` with absolute temperatures: a thermistor between the two temperatures that β is
    /// stated for.
    Beta {
        /// K.
        beta: f64,
        /// Temperature of the nominal value, °C.
        nominal_celsius: f64,
    },
}

/// 0 °C in K, exact (SI Brochure, 9th edition).
const ZERO_CELSIUS: f64 = 273.15;

impl TemperatureLaw {
    /// Factor on the nominal value at a temperature in °C. NaN below absolute zero for [`TemperatureLaw::Beta`].
    #[must_use]
    pub fn factor(&self, celsius: f64) -> f64 {
        match *self {
            TemperatureLaw::Constant => 1.0,
            TemperatureLaw::Linear { per_kelvin, nominal_celsius } => {
                1.0 + per_kelvin * (celsius - nominal_celsius)
            }
            TemperatureLaw::Quadratic { per_kelvin, per_kelvin_squared, nominal_celsius } => {
                let rise = celsius - nominal_celsius;
                1.0 + (per_kelvin + per_kelvin_squared * rise) * rise
            }
            TemperatureLaw::Beta { beta, nominal_celsius } => {
                let (kelvin, nominal) = (celsius + ZERO_CELSIUS, nominal_celsius + ZERO_CELSIUS);
                if kelvin <= 0.0 || nominal <= 0.0 {
                    return f64::NAN;
                }
                libm::exp(beta * (1.0 / kelvin - 1.0 / nominal))
            }
        }
    }

    /// d(factor)/dt at a temperature, 1/K.
    #[must_use]
    pub fn slope(&self, celsius: f64) -> f64 {
        match *self {
            TemperatureLaw::Constant => 0.0,
            TemperatureLaw::Linear { per_kelvin, .. } => per_kelvin,
            TemperatureLaw::Quadratic { per_kelvin, per_kelvin_squared, nominal_celsius } => {
                per_kelvin + 2.0 * per_kelvin_squared * (celsius - nominal_celsius)
            }
            TemperatureLaw::Beta { beta, .. } => {
                let kelvin = celsius + ZERO_CELSIUS;
                -beta / (kelvin * kelvin) * self.factor(celsius)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::TemperatureLaw as Law;

    /// exp(3950·(1/273.15 − 1/298.15)) by Python's decimal module.
    const BETA_3950_AT_0: f64 = 3.3620603721435745;

    #[test]
    fn factors_by_hand() {
        assert_eq!(Law::Constant.factor(99.0), 1.0);
        let linear = Law::Linear { per_kelvin: 25e-6, nominal_celsius: 25.0 };
        assert!((linear.factor(65.0) - 1.001).abs() < 1e-15);
        let quadratic = Law::Quadratic { per_kelvin: 1e-3, per_kelvin_squared: -1e-6, nominal_celsius: 0.0 };
        assert!((quadratic.factor(100.0) - 1.09).abs() < 1e-15);
        let thermistor = Law::Beta { beta: 3950.0, nominal_celsius: 25.0 };
        assert!((thermistor.factor(0.0) - BETA_3950_AT_0).abs() < 1e-12);
        assert!(thermistor.factor(-300.0).is_nan());
    }

    #[test]
    fn slopes_are_differences() {
        for law in [
            Law::Constant,
            Law::Linear { per_kelvin: 3.9e-3, nominal_celsius: 20.0 },
            Law::Quadratic { per_kelvin: 1e-3, per_kelvin_squared: -1e-6, nominal_celsius: 0.0 },
            Law::Beta { beta: 3950.0, nominal_celsius: 25.0 },
        ] {
            for t in [-40.0, 0.0, 25.0, 85.0] {
                let difference = (law.factor(t + 1e-3) - law.factor(t - 1e-3)) / 2e-3;
                assert!((difference - law.slope(t)).abs() <= 1e-6 * (1.0 + difference.abs()), "{law:?} {t}");
            }
        }
    }
}
