//! Industrial platinum resistance thermometer.
//!
//! **In, out.** °C to Ω and back, exactly; tolerance classes in K.
//!
//! **Range.** −200 to 850 °C.
//!
//! **Source.** IEC 60751:2008 (unchanged in :2022), α = 0.003851 /°C; the validity ranges of film elements from memory.

use core::fmt;

use crate::out_of_range::{OutOfRange, Quantity};

/// Linear coefficient, 1/°C.
pub const A: f64 = 3.9083e-3;
/// Quadratic coefficient, 1/°C².
pub const B: f64 = -5.775e-7;
/// Coefficient of (t − 100)·t³ below 0 °C, 1/°C⁴.
pub const C: f64 = -4.183e-12;
/// Lowest and highest temperature of the standard, °C.
pub const RANGE: (f64, f64) = (-200.0, 850.0);

/// A platinum resistor by its resistance at 0 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Platinum {
    ice_ohms: f64,
}

impl Platinum {
    /// 100 Ω at 0 °C.
    pub const HUNDRED_OHMS: Platinum = Platinum { ice_ohms: 100.0 };
    /// 1000 Ω at 0 °C.
    pub const THOUSAND_OHMS: Platinum = Platinum { ice_ohms: 1000.0 };

    /// A resistor of `ice_ohms` (Ω) at 0 °C.
    ///
    /// # Errors
    /// [`OutOfRange`] unless positive and at most 1 MΩ.
    pub fn new(ice_ohms: f64) -> Result<Platinum, OutOfRange> {
        OutOfRange::check(Quantity::Ohms, ice_ohms, (1e-3, 1e6)).map(|ice_ohms| Platinum { ice_ohms })
    }

    /// Resistance at 0 °C, Ω.
    pub const fn ice_ohms(self) -> f64 {
        self.ice_ohms
    }

    /// Resistance in Ω and its slope in Ω/K at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside −200 to 850 °C.
    ///
    /// ```
    /// use icepoint_sensors::platinum::Platinum;
    /// let (ohms, slope) = Platinum::HUNDRED_OHMS.resistance_and_slope(100.0)?;
    /// assert!((ohms - 138.51).abs() < 0.005);
    /// assert!((slope - 0.379).abs() < 0.001);
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    pub fn resistance_and_slope(self, celsius: f64) -> Result<(f64, f64), OutOfRange> {
        let t = OutOfRange::check(Quantity::Celsius, celsius, RANGE)?;
        let (ratio, slope) = ratio_and_slope(t);
        Ok((self.ice_ohms * ratio, self.ice_ohms * slope))
    }

    /// Resistance in Ω at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside −200 to 850 °C.
    pub fn resistance(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.resistance_and_slope(celsius).map(|(ohms, _)| ohms)
    }

    /// Temperature in °C of `ohms` (Ω). Closed form above 0 °C, Newton below; the round trip closes within 1e-11 K.
    ///
    /// # Errors
    /// [`OutOfRange`] in Ω outside the resistances of −200 and 850 °C.
    pub fn temperature(self, ohms: f64) -> Result<f64, OutOfRange> {
        let ends = (self.ice_ohms * ratio_and_slope(RANGE.0).0, self.ice_ohms * ratio_and_slope(RANGE.1).0);
        let ratio = OutOfRange::check(Quantity::Ohms, ohms, ends)? / self.ice_ohms;
        // The stable root of B t² + A t + (1 − ratio) = 0: no cancellation near 0 °C. The root is real in range.
        let above_zero = 2.0 * (ratio - 1.0) / (A + libm::sqrt(A * A - 4.0 * B * (1.0 - ratio)));
        let mut t = above_zero;
        if ratio < 1.0 {
            // The quadratic is off by 2.4 K at −200 °C; six steps of Newton from there end at rounding.
            for _ in 0..6 {
                let (here, slope) = ratio_and_slope(t);
                t -= (here - ratio) / slope;
            }
        }
        Ok(t)
    }
}

fn ratio_and_slope(t: f64) -> (f64, f64) {
    if t >= 0.0 {
        (1.0 + t * (A + t * B), A + 2.0 * B * t)
    } else {
        let cube = t * t * t;
        (1.0 + t * (A + t * B) + C * (t - 100.0) * cube, A + 2.0 * B * t + C * (4.0 * cube - 300.0 * t * t))
    }
}

/// A tolerance class of IEC 60751.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// ±(0.10 K + 0.0017·|t|).
    AA,
    /// ±(0.15 K + 0.002·|t|).
    A,
    /// ±(0.30 K + 0.005·|t|).
    B,
    /// ±(0.60 K + 0.01·|t|).
    C,
}

/// How the element is made, which sets the range of its class.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Element {
    /// Wire-wound.
    Wire,
    /// Film.
    Film,
}

/// The figures of a class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassRow {
    /// The class.
    pub class: Class,
    /// K at 0 °C.
    pub fixed: f64,
    /// K per °C of distance from 0 °C.
    pub per_degree: f64,
    /// Validity for wire-wound elements, °C.
    pub wire: (f64, f64),
    /// Validity for film elements, °C (from memory).
    pub film: (f64, f64),
}

/// The four classes.
pub static CLASSES: [ClassRow; 4] = [
    ClassRow { class: Class::AA, fixed: 0.10, per_degree: 0.0017, wire: (-50.0, 250.0), film: (0.0, 150.0) },
    ClassRow { class: Class::A, fixed: 0.15, per_degree: 0.002, wire: (-100.0, 450.0), film: (-30.0, 300.0) },
    ClassRow { class: Class::B, fixed: 0.30, per_degree: 0.005, wire: (-196.0, 600.0), film: (-50.0, 500.0) },
    ClassRow { class: Class::C, fixed: 0.60, per_degree: 0.01, wire: (-196.0, 600.0), film: (-50.0, 600.0) },
];

impl Class {
    /// `AA`, `A`, `B` or `C`.
    pub const fn name(self) -> &'static str {
        match self {
            Class::AA => "AA",
            Class::A => "A",
            Class::B => "B",
            Class::C => "C",
        }
    }

    /// Reads `AA`, `class A`, `IEC 60751 class B`; case does not matter.
    pub fn parse(text: &str) -> Option<Class> {
        let mut words = text
            .split_ascii_whitespace()
            .filter(|word| !["IEC", "60751", "class"].iter().any(|known| word.eq_ignore_ascii_case(known)));
        let name = words.next()?;
        if words.next().is_some() {
            return None;
        }
        CLASSES.iter().map(|row| row.class).find(|class| class.name().eq_ignore_ascii_case(name))
    }

    /// The figures of the class.
    pub const fn row(self) -> &'static ClassRow {
        match self {
            Class::AA => &CLASSES[0],
            Class::A => &CLASSES[1],
            Class::B => &CLASSES[2],
            Class::C => &CLASSES[3],
        }
    }

    /// Tolerance in K (±) at `celsius` (°C) for an element of this make.
    ///
    /// # Errors
    /// [`OutOfRange`] outside the validity of the class for that make.
    ///
    /// ```
    /// use icepoint_sensors::platinum::{Class, Element};
    /// assert_eq!(Class::A.limit(Element::Film, 100.0), Ok(0.35));
    /// assert!(Class::A.limit(Element::Film, 350.0).is_err());
    /// ```
    pub fn limit(self, element: Element, celsius: f64) -> Result<f64, OutOfRange> {
        let row = self.row();
        let range = match element {
            Element::Wire => row.wire,
            Element::Film => row.film,
        };
        let t = OutOfRange::check(Quantity::Celsius, celsius, range)?;
        Ok(row.fixed + row.per_degree * t.abs())
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "IEC 60751 class {}", self.name())
    }
}
