//! Thermocouple wire: loop resistance and the temperature it stands.
//!
//! **Why it matters.** A bias or burn-out current through the loop is an offset, and the loop's resistance makes
//! noise. Type E of 0.25 mm is 24 Ω a metre.
//!
//! **In, out.** Wire by gauge number or diameter in mm, thermocouple by letter; Ω per metre of pair, both conductors
//! together, at 20 °C, nominal.
//!
//! **Range.** AWG 8 to 34 as tabled; outside, to AWG 0 and AWG 44, by R ∝ 1/d². No figure for types B, R, S (platinum
//! alloys), C and A; for the compensating wire of R and S see [`compensating_sx_ohms_per_metre`].
//!
//! **Source.** A published reference table, ohms per double foot, one page seen and partly repeated on a second. Its
//! AWG 34 row prints a diameter of 0.152 mm beside resistances that fit the 0.160 mm of the gauge formula: the
//! formula (ASTM B258, from memory) is used for every row. Upper temperatures: ASTM E230, suggested limits for protected wire.

use core::fmt;

use crate::Letter;
use crate::out_of_range::{OutOfRange, Quantity};

/// Metres in a foot, exactly.
const METRES_PER_FOOT: f64 = 0.3048;
/// AWG 0 and AWG 44, mm: further out nobody draws thermocouple wire, and a figure would be a slip of units.
const DIAMETERS: (f64, f64) = (0.0502, 8.26);

/// Diameter in mm of an AWG gauge number: 0.127 mm · 92^((36 − n)/39), ASTM B258 (from memory).
///
/// ```
/// assert!((icepoint_sensors::wire::awg_to_millimetres(24.0) - 0.511).abs() < 5e-4);
/// ```
pub fn awg_to_millimetres(awg: f64) -> f64 {
    0.127 * libm::pow(92.0, (36.0 - awg) / 39.0)
}

/// Gauge number of a diameter in mm (seldom whole); the inverse of [`awg_to_millimetres`].
pub fn millimetres_to_awg(millimetres: f64) -> f64 {
    36.0 - 39.0 * libm::log(millimetres / 0.127) / libm::log(92.0)
}

/// The size of a conductor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// American wire gauge number.
    Awg(f64),
    /// Diameter in mm.
    Millimetres(f64),
}

impl Size {
    /// Diameter in mm.
    pub fn millimetres(self) -> f64 {
        match self {
            Size::Awg(awg) => awg_to_millimetres(awg),
            Size::Millimetres(millimetres) => millimetres,
        }
    }
}

/// A row of the table of loop resistance, Ω per double foot at 20 °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopRow {
    /// Gauge number.
    pub awg: u8,
    /// Diameter as printed, mm.
    pub printed_millimetres: f64,
    /// Type E.
    pub e: f64,
    /// Type J.
    pub j: f64,
    /// Type K.
    pub k: f64,
    /// Type N.
    pub n: f64,
    /// Compensating wire of types R and S.
    pub sx: Option<f64>,
    /// Type T.
    pub t: Option<f64>,
}

impl LoopRow {
    fn of(&self, letter: Letter) -> Option<f64> {
        match letter {
            Letter::E => Some(self.e),
            Letter::J => Some(self.j),
            Letter::K => Some(self.k),
            Letter::N => Some(self.n),
            Letter::T => self.t,
            _ => None,
        }
    }
}

/// Why there is no loop resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WireError {
    /// The table has no column for this type.
    NoFigure(Letter),
    /// The diameter is no thermocouple wire.
    Outside(OutOfRange),
}

impl fmt::Display for WireError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WireError::NoFigure(letter) => {
                write!(f, "no loop resistance is tabled for type {letter} (only E, J, K, N, T): measure it")
            }
            WireError::Outside(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for WireError {}

/// The table of loop resistance.
pub fn rows() -> &'static [LoopRow] {
    LOOP
}

/// Loop resistance in Ω per metre of pair (both conductors together), at 20 °C, nominal.
///
/// At a tabled gauge the tabled figure; between rows R·d² is interpolated, so R ∝ 1/d² up to the table's own scatter
/// of a few per cent, and outside the rows that of the last row is kept.
///
/// # Errors
/// [`WireError`]: a type without figures, or a diameter outside 0.05 to 8.3 mm.
///
/// ```
/// use icepoint_sensors::{Letter, wire::{Size, loop_ohms_per_metre}};
/// let ohms = loop_ohms_per_metre(Letter::N, Size::Awg(24.0))?;
/// assert!((ohms - 1.980 / 0.3048).abs() < 1e-9);
/// # Ok::<(), icepoint_sensors::wire::WireError>(())
/// ```
pub fn loop_ohms_per_metre(letter: Letter, size: Size) -> Result<f64, WireError> {
    interpolated(size, |row| row.of(letter))?.ok_or(WireError::NoFigure(letter))
}

/// The same for the compensating wire of types R and S (SX), a copper alloy pair.
///
/// # Errors
/// [`WireError::Outside`] for a diameter outside 0.05 to 8.3 mm.
pub fn compensating_sx_ohms_per_metre(size: Size) -> Result<f64, WireError> {
    interpolated(size, |row| row.sx)?.ok_or(WireError::NoFigure(Letter::S))
}

fn interpolated(size: Size, column: impl Fn(&LoopRow) -> Option<f64>) -> Result<Option<f64>, WireError> {
    let diameter = OutOfRange::check(Quantity::Millimetres, size.millimetres(), DIAMETERS)
        .map_err(WireError::Outside)?;
    // R·d² of each row, which hardly changes from row to row; rows go from thick to thin.
    let points = LOOP.iter().filter_map(|row| {
        let d = awg_to_millimetres(f64::from(row.awg));
        column(row).map(|ohms| (d, ohms / METRES_PER_FOOT * d * d))
    });
    let mut before: Option<(f64, f64)> = None;
    for (d, product) in points {
        if diameter >= d {
            let product = match before {
                Some((thicker, other)) => product + (other - product) * (diameter - d) / (thicker - d),
                None => product,
            };
            return Ok(Some(product / (diameter * diameter)));
        }
        before = Some((d, product));
    }
    Ok(before.map(|(_, product)| product / (diameter * diameter)))
}

/// Suggested upper temperature in °C for protected wire of a size: that of the next thinner tabled gauge, so never
/// more than the table grants. Wire in closed-end protecting tubes, not mineral-insulated cable.
///
/// `None` when the wire is thinner than the thinnest tabled (AWG 30; 24 for the platinum and tungsten types) or the
/// type is A. ASTM E230; type C from memory.
///
/// ```
/// use icepoint_sensors::{Letter, wire::{Size, upper_limit_celsius}};
/// assert_eq!(upper_limit_celsius(Letter::K, Size::Awg(20.0)), Some(980.0));
/// assert_eq!(upper_limit_celsius(Letter::K, Size::Millimetres(1.0)), Some(980.0)); // between AWG 14 and 20
/// ```
pub fn upper_limit_celsius(letter: Letter, size: Size) -> Option<f64> {
    let limits = UPPER.iter().find(|row| row.0 == letter)?.1;
    // A rounded metric diameter (0.51 mm for AWG 24) is meant as that gauge: half a per cent is granted.
    let diameter = size.millimetres() * 1.005;
    limits
        .iter()
        .find(|(awg, _)| diameter >= awg_to_millimetres(f64::from(*awg)))
        .map(|(_, celsius)| *celsius)
}

static LOOP: &[LoopRow] = &[
    LoopRow { awg: 8, printed_millimetres: 3.264, e: 0.044, j: 0.023, k: 0.036, n: 0.048, sx: None, t: None },
    LoopRow {
        awg: 10,
        printed_millimetres: 2.588,
        e: 0.070,
        j: 0.036,
        k: 0.058,
        n: 0.077,
        sx: None,
        t: None,
    },
    LoopRow {
        awg: 12,
        printed_millimetres: 2.053,
        e: 0.111,
        j: 0.057,
        k: 0.092,
        n: 0.123,
        sx: Some(0.006),
        t: Some(0.048),
    },
    LoopRow {
        awg: 14,
        printed_millimetres: 1.630,
        e: 0.177,
        j: 0.091,
        k: 0.147,
        n: 0.195,
        sx: Some(0.010),
        t: Some(0.076),
    },
    LoopRow {
        awg: 16,
        printed_millimetres: 1.290,
        e: 0.281,
        j: 0.145,
        k: 0.233,
        n: 0.310,
        sx: Some(0.016),
        t: Some(0.120),
    },
    LoopRow {
        awg: 18,
        printed_millimetres: 1.020,
        e: 0.453,
        j: 0.234,
        k: 0.376,
        n: 0.500,
        sx: Some(0.025),
        t: Some(0.194),
    },
    LoopRow {
        awg: 20,
        printed_millimetres: 0.813,
        e: 0.709,
        j: 0.367,
        k: 0.589,
        n: 0.783,
        sx: Some(0.040),
        t: Some(0.304),
    },
    LoopRow {
        awg: 22,
        printed_millimetres: 0.645,
        e: 1.129,
        j: 0.584,
        k: 0.937,
        n: 1.245,
        sx: Some(0.063),
        t: Some(0.483),
    },
    LoopRow {
        awg: 24,
        printed_millimetres: 0.508,
        e: 1.795,
        j: 0.928,
        k: 1.490,
        n: 1.980,
        sx: Some(0.100),
        t: Some(0.768),
    },
    LoopRow {
        awg: 26,
        printed_millimetres: 0.406,
        e: 2.853,
        j: 1.476,
        k: 2.369,
        n: 3.148,
        sx: Some(0.159),
        t: Some(1.221),
    },
    LoopRow {
        awg: 28,
        printed_millimetres: 0.320,
        e: 4.537,
        j: 2.347,
        k: 3.767,
        n: 5.006,
        sx: Some(0.253),
        t: Some(1.942),
    },
    LoopRow {
        awg: 30,
        printed_millimetres: 0.254,
        e: 7.214,
        j: 3.731,
        k: 5.990,
        n: 7.960,
        sx: Some(0.402),
        t: Some(3.088),
    },
    LoopRow {
        awg: 32,
        printed_millimetres: 0.203,
        e: 11.470,
        j: 5.933,
        k: 9.524,
        n: 12.656,
        sx: Some(0.639),
        t: Some(4.910),
    },
    LoopRow {
        awg: 34,
        printed_millimetres: 0.152,
        e: 18.239,
        j: 9.434,
        k: 15.145,
        n: 20.126,
        sx: Some(1.016),
        t: Some(7.808),
    },
];

/// Gauge number and °C, thick to thin.
type UpperLimits = (Letter, &'static [(u8, f64)]);

static UPPER: &[UpperLimits] = &[
    (Letter::T, &[(14, 370.0), (20, 260.0), (24, 200.0), (28, 200.0), (30, 150.0)]),
    (Letter::J, &[(8, 760.0), (14, 590.0), (20, 480.0), (24, 370.0), (28, 370.0), (30, 320.0)]),
    (Letter::E, &[(8, 870.0), (14, 650.0), (20, 540.0), (24, 430.0), (28, 430.0), (30, 370.0)]),
    (Letter::K, &[(8, 1260.0), (14, 1090.0), (20, 980.0), (24, 870.0), (28, 870.0), (30, 760.0)]),
    (Letter::N, &[(8, 1260.0), (14, 1090.0), (20, 980.0), (24, 870.0), (28, 870.0), (30, 760.0)]),
    (Letter::R, &[(24, 1480.0)]),
    (Letter::S, &[(24, 1480.0)]),
    (Letter::B, &[(24, 1700.0)]),
    (Letter::C, &[(24, 2315.0)]),
];
