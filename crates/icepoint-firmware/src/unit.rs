//! Unit of the result: so many steps to the kelvin, counted from 0 °C.

use core::fmt;

use crate::refusal::Refusal;

/// Steps per kelvin of a whole-number result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    per_kelvin: u32,
}

/// Most steps per kelvin: beyond this a register of 32 bits would not hold 2500 °C.
const MOST: u32 = 500_000;

impl Unit {
    /// 1/16 K.
    pub const SIXTEENTH: Self = Self { per_kelvin: 16 };
    /// 0.01 K.
    pub const HUNDREDTH: Self = Self { per_kelvin: 100 };

    /// Steps in a kelvin.
    pub const fn per_kelvin(self) -> u32 {
        self.per_kelvin
    }

    /// One step, K.
    pub fn kelvin(self) -> f64 {
        1.0 / f64::from(self.per_kelvin)
    }

    /// Reads `1/16 K`, `0.01 K`, `10 mK`, `1 K`.
    ///
    /// # Errors
    /// [`Refusal`] for anything else, for a step that no whole number of makes a kelvin, and for one that is too fine.
    pub fn parse(text: &str) -> Result<Self, Refusal> {
        let unreadable = || {
            Refusal::new(
                "firmware.unit",
                format!("“{text}” is no unit of a result"),
                "\"1/16 K\", \"0.1 K\", \"0.01 K\" or \"10 mK\"",
            )
        };
        let body = text.trim();
        let (number, scale) = if let Some(number) = body.strip_suffix("mK") {
            (number, 1000.0)
        } else {
            (body.strip_suffix('K').ok_or_else(unreadable)?, 1.0)
        };
        let number = number.trim();
        let per_kelvin = match number.split_once('/') {
            Some((one, many)) => {
                let one: f64 = one.trim().parse().map_err(|_| unreadable())?;
                let many: f64 = many.trim().parse().map_err(|_| unreadable())?;
                many / one * scale
            }
            None => scale / number.parse::<f64>().map_err(|_| unreadable())?,
        };
        if !per_kelvin.is_finite() || per_kelvin <= 0.0 {
            return Err(unreadable());
        }
        let whole = libm::round(per_kelvin);
        if whole > f64::from(MOST) {
            return Err(Refusal::new(
                "firmware.unit_overflows",
                format!("in steps of {text} the range overflows a result of 32 bits"),
                "\"0.01 K\", which tells more than any thermocouple",
            ));
        }
        if whole < 1.0 || (per_kelvin / whole - 1.0).abs() > 1e-9 {
            return Err(Refusal::new(
                "firmware.unit_uneven",
                format!("no whole number of steps of {text} makes a kelvin"),
                "\"0.1 K\", \"1/16 K\" or \"0.01 K\"",
            ));
        }
        Ok(Self { per_kelvin: whole as u32 })
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.per_kelvin {
            1 => f.write_str("1 K"),
            10 => f.write_str("0.1 K"),
            100 => f.write_str("0.01 K"),
            1000 => f.write_str("0.001 K"),
            other => write!(f, "1/{other} K"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings() {
        let steps = |text: &str| Unit::parse(text).map(Unit::per_kelvin).map_err(|e| e.code);
        assert_eq!(steps("1/16 K"), Ok(16));
        assert_eq!(steps("0.01 K"), Ok(100));
        assert_eq!(steps("10 mK"), Ok(100));
        assert_eq!(steps("0.3 K"), Err("firmware.unit_uneven"));
        assert_eq!(steps("2 K"), Err("firmware.unit_uneven"));
        assert_eq!(steps("1 nK"), Err("firmware.unit"));
        assert_eq!(steps("0.000001 K"), Err("firmware.unit_overflows"));
        assert_eq!(steps("0 K"), Err("firmware.unit"));
        assert_eq!(steps("K"), Err("firmware.unit"));
        assert_eq!(steps("0.1 °F"), Err("firmware.unit"));
    }
}
