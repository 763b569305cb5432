//! The approximate inverse polynomials of the standard's tables: temperature from emf, with their printed errors.
//!
//! **Why they are here.** Much firmware reads thermocouples with them, so the model needs them as a *reading rule*
//! whose error is measured. They also check the exact inverse, and give it its first guess. They are never the
//! answer: [`crate::Letter::inverse`] is.
//!
//! **In, out.** V in (reference junction at 0 °C), °C out; coefficients digit for digit as printed, °C against mV.
//!
//! **Range.** Each polynomial holds within its printed emf range only. The middle ranges of R and S overlap with the
//! ones below on purpose; the first that holds the emf is taken. None exists for type C.
//!
//! **Source.** B E J K N R S T: NIST Monograph 175 / NIST SRD 60. A: GOST R 8.585-2001 type A-1, which is the
//! inverse of the form with the constant 7.1564735e-4 mV, prints no error range, and was found here to be off by
//! −0.39 to +1.02 K from that form and by −0.44 to +0.96 K from ours, whose constant is 0.

use crate::Letter;
use crate::out_of_range::{OutOfRange, Quantity};

/// One approximate inverse with the range that it holds for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Printed temperatures of the ends, °C.
    pub celsius: (f64, f64),
    /// Printed emf of the ends, mV.
    pub millivolts: (f64, f64),
    /// Printed least and largest error, polynomial minus true temperature, K; none printed for type A.
    pub error_kelvin: Option<(f64, f64)>,
    /// °C against mV, ascending powers.
    pub coefficients: &'static [f64],
}

impl Range {
    /// The polynomial's temperature in °C at `volts`, whether inside its range or not.
    #[inline]
    pub fn evaluate(&self, volts: f64) -> f64 {
        let millivolts = volts * 1e3;
        self.coefficients.iter().rev().fold(0.0, |sum, c| sum * millivolts + c)
    }
}

/// The ranges of a letter, coldest first; empty for type C.
pub fn ranges(letter: Letter) -> &'static [Range] {
    match letter {
        Letter::B => &B,
        Letter::E => &E,
        Letter::J => &J,
        Letter::K => &K,
        Letter::N => &N,
        Letter::R => &R,
        Letter::S => &S,
        Letter::T => &T,
        Letter::A => &A,
        Letter::C => &[],
    }
}

/// The range that holds `volts`, the coldest if two do.
#[inline]
pub fn range_for(letter: Letter, volts: f64) -> Option<&'static Range> {
    let millivolts = volts * 1e3;
    ranges(letter).iter().find(|range| millivolts >= range.millivolts.0 && millivolts <= range.millivolts.1)
}

/// Approximate temperature in °C for `volts` (V, reference junction at 0 °C).
///
/// # Accuracy
/// The printed error range of the polynomial ([`Range::error_kelvin`]), up to ±0.06 K; recomputed in
/// `tests/published/inverse_errors.rs`.
///
/// # Errors
/// [`OutOfRange`] in V outside the printed emf ranges; for type C always, with an empty range.
pub fn temperature(letter: Letter, volts: f64) -> Result<f64, OutOfRange> {
    match range_for(letter, volts) {
        Some(range) => Ok(range.evaluate(volts)),
        None => {
            let all = ranges(letter);
            let low = all.first().map_or(0.0, |range| range.millivolts.0 * 1e-3);
            let high = all.last().map_or(0.0, |range| range.millivolts.1 * 1e-3);
            Err(OutOfRange { quantity: Quantity::Volts, value: volts, low, high })
        }
    }
}

static B: [Range; 2] = [
    Range {
        celsius: (250.0, 700.0),
        millivolts: (0.291, 2.431),
        error_kelvin: Some((-0.02, 0.03)),
        coefficients: &[
            9.8423321e+01,
            6.9971500e+02,
            -8.4765304e+02,
            1.0052644e+03,
            -8.3345952e+02,
            4.5508542e+02,
            -1.5523037e+02,
            2.9886750e+01,
            -2.4742860e+00,
        ],
    },
    Range {
        celsius: (700.0, 1820.0),
        millivolts: (2.431, 13.820),
        error_kelvin: Some((-0.01, 0.02)),
        coefficients: &[
            2.1315071e+02,
            2.8510504e+02,
            -5.2742887e+01,
            9.9160804e+00,
            -1.2965303e+00,
            1.1195870e-01,
            -6.0625199e-03,
            1.8661696e-04,
            -2.4878585e-06,
        ],
    },
];

static E: [Range; 2] = [
    Range {
        celsius: (-200.0, 0.0),
        millivolts: (-8.825, 0.000),
        error_kelvin: Some((-0.01, 0.03)),
        coefficients: &[
            0.0000000e+00,
            1.6977288e+01,
            -4.3514970e-01,
            -1.5859697e-01,
            -9.2502871e-02,
            -2.6084314e-02,
            -4.1360199e-03,
            -3.4034030e-04,
            -1.1564890e-05,
        ],
    },
    Range {
        celsius: (0.0, 1000.0),
        millivolts: (0.000, 76.373),
        error_kelvin: Some((-0.02, 0.02)),
        coefficients: &[
            0.0000000e+00,
            1.7057035e+01,
            -2.3301759e-01,
            6.5435585e-03,
            -7.3562749e-05,
            -1.7896001e-06,
            8.4036165e-08,
            -1.3735879e-09,
            1.0629823e-11,
            -3.2447087e-14,
        ],
    },
];

static J: [Range; 3] = [
    Range {
        celsius: (-210.0, 0.0),
        millivolts: (-8.095, 0.000),
        error_kelvin: Some((-0.05, 0.03)),
        coefficients: &[
            0.0000000e+00,
            1.9528268e+01,
            -1.2286185e+00,
            -1.0752178e+00,
            -5.9086933e-01,
            -1.7256713e-01,
            -2.8131513e-02,
            -2.3963370e-03,
            -8.3823321e-05,
        ],
    },
    Range {
        celsius: (0.0, 760.0),
        millivolts: (0.000, 42.919),
        error_kelvin: Some((-0.04, 0.04)),
        coefficients: &[
            0.000000e+00,
            1.978425e+01,
            -2.001204e-01,
            1.036969e-02,
            -2.549687e-04,
            3.585153e-06,
            -5.344285e-08,
            5.099890e-10,
        ],
    },
    Range {
        celsius: (760.0, 1200.0),
        millivolts: (42.919, 69.553),
        error_kelvin: Some((-0.04, 0.03)),
        coefficients: &[
            -3.11358187e+03,
            3.00543684e+02,
            -9.94773230e+00,
            1.70276630e-01,
            -1.43033468e-03,
            4.73886084e-06,
        ],
    },
];

static K: [Range; 3] = [
    Range {
        celsius: (-200.0, 0.0),
        millivolts: (-5.891, 0.000),
        error_kelvin: Some((-0.02, 0.04)),
        coefficients: &[
            0.0000000e+00,
            2.5173462e+01,
            -1.1662878e+00,
            -1.0833638e+00,
            -8.9773540e-01,
            -3.7342377e-01,
            -8.6632643e-02,
            -1.0450598e-02,
            -5.1920577e-04,
        ],
    },
    Range {
        celsius: (0.0, 500.0),
        millivolts: (0.000, 20.644),
        error_kelvin: Some((-0.05, 0.04)),
        coefficients: &[
            0.000000e+00,
            2.508355e+01,
            7.860106e-02,
            -2.503131e-01,
            8.315270e-02,
            -1.228034e-02,
            9.804036e-04,
            -4.413030e-05,
            1.057734e-06,
            -1.052755e-08,
        ],
    },
    Range {
        celsius: (500.0, 1372.0),
        millivolts: (20.644, 54.886),
        error_kelvin: Some((-0.05, 0.06)),
        coefficients: &[
            -1.318058e+02,
            4.830222e+01,
            -1.646031e+00,
            5.464731e-02,
            -9.650715e-04,
            8.802193e-06,
            -3.110810e-08,
        ],
    },
];

static N: [Range; 3] = [
    Range {
        celsius: (-200.0, 0.0),
        millivolts: (-3.990, 0.000),
        error_kelvin: Some((-0.02, 0.03)),
        coefficients: &[
            0.0000000e+00,
            3.8436847e+01,
            1.1010485e+00,
            5.2229312e+00,
            7.2060525e+00,
            5.8488586e+00,
            2.7754916e+00,
            7.7075166e-01,
            1.1582665e-01,
            7.3138868e-03,
        ],
    },
    Range {
        celsius: (0.0, 600.0),
        millivolts: (0.000, 20.613),
        error_kelvin: Some((-0.02, 0.03)),
        coefficients: &[
            0.00000e+00,
            3.86896e+01,
            -1.08267e+00,
            4.70205e-02,
            -2.12169e-06,
            -1.17272e-04,
            5.39280e-06,
            -7.98156e-08,
        ],
    },
    Range {
        celsius: (600.0, 1300.0),
        millivolts: (20.613, 47.513),
        error_kelvin: Some((-0.04, 0.02)),
        coefficients: &[1.972485e+01, 3.300943e+01, -3.915159e-01, 9.855391e-03, -1.274371e-04, 7.767022e-07],
    },
];

static R: [Range; 4] = [
    Range {
        celsius: (-50.0, 250.0),
        millivolts: (-0.226, 1.923),
        error_kelvin: Some((-0.02, 0.02)),
        coefficients: &[
            0.0000000e+00,
            1.8891380e+02,
            -9.3835290e+01,
            1.3068619e+02,
            -2.2703580e+02,
            3.5145659e+02,
            -3.8953900e+02,
            2.8239471e+02,
            -1.2607281e+02,
            3.1353611e+01,
            -3.3187769e+00,
        ],
    },
    Range {
        celsius: (250.0, 1200.0),
        millivolts: (1.923, 13.228),
        error_kelvin: Some((-0.005, 0.005)),
        coefficients: &[
            1.334584505e+01,
            1.472644573e+02,
            -1.844024844e+01,
            4.031129726e+00,
            -6.249428360e-01,
            6.468412046e-02,
            -4.458750426e-03,
            1.994710149e-04,
            -5.313401790e-06,
            6.481976217e-08,
        ],
    },
    Range {
        celsius: (1064.0, 1664.5),
        millivolts: (11.361, 19.739),
        error_kelvin: Some((-0.0005, 0.001)),
        coefficients: &[
            -8.199599416e+01,
            1.553962042e+02,
            -8.342197663e+00,
            4.279433549e-01,
            -1.191577910e-02,
            1.492290091e-04,
        ],
    },
    Range {
        celsius: (1664.5, 1768.1),
        millivolts: (19.739, 21.103),
        error_kelvin: Some((-0.001, 0.002)),
        coefficients: &[
            3.406177836e+04,
            -7.023729171e+03,
            5.582903813e+02,
            -1.952394635e+01,
            2.560740231e-01,
        ],
    },
];

static S: [Range; 4] = [
    Range {
        celsius: (-50.0, 250.0),
        millivolts: (-0.235, 1.874),
        error_kelvin: Some((-0.02, 0.02)),
        coefficients: &[
            0.00000000e+00,
            1.84949460e+02,
            -8.00504062e+01,
            1.02237430e+02,
            -1.52248592e+02,
            1.88821343e+02,
            -1.59085941e+02,
            8.23027880e+01,
            -2.34181944e+01,
            2.79786260e+00,
        ],
    },
    Range {
        celsius: (250.0, 1200.0),
        millivolts: (1.874, 11.950),
        error_kelvin: Some((-0.01, 0.01)),
        coefficients: &[
            1.291507177e+01,
            1.466298863e+02,
            -1.534713402e+01,
            3.145945973e+00,
            -4.163257839e-01,
            3.187963771e-02,
            -1.291637500e-03,
            2.183475087e-05,
            -1.447379511e-07,
            8.211272125e-09,
        ],
    },
    Range {
        celsius: (1064.0, 1664.5),
        millivolts: (10.332, 17.536),
        error_kelvin: Some((-0.0002, 0.0002)),
        coefficients: &[
            -8.087801117e+01,
            1.621573104e+02,
            -8.536869453e+00,
            4.719686976e-01,
            -1.441693666e-02,
            2.081618890e-04,
        ],
    },
    Range {
        celsius: (1664.5, 1768.1),
        millivolts: (17.536, 18.693),
        error_kelvin: Some((-0.002, 0.002)),
        coefficients: &[
            5.333875126e+04,
            -1.235892298e+04,
            1.092657613e+03,
            -4.265693686e+01,
            6.247205420e-01,
        ],
    },
];

static T: [Range; 2] = [
    Range {
        celsius: (-200.0, 0.0),
        millivolts: (-5.603, 0.000),
        error_kelvin: Some((-0.02, 0.04)),
        coefficients: &[
            0.0000000e+00,
            2.5949192e+01,
            -2.1316967e-01,
            7.9018692e-01,
            4.2527777e-01,
            1.3304473e-01,
            2.0241446e-02,
            1.2668171e-03,
        ],
    },
    Range {
        celsius: (0.0, 400.0),
        millivolts: (0.000, 20.872),
        error_kelvin: Some((-0.03, 0.03)),
        coefficients: &[
            0.000000e+00,
            2.592800e+01,
            -7.602961e-01,
            4.637791e-02,
            -2.165394e-03,
            6.048144e-05,
            -7.293422e-07,
        ],
    },
];

static A: [Range; 1] = [Range {
    celsius: (0.0, 2500.0),
    millivolts: (0.0, 33.640),
    error_kelvin: None,
    coefficients: &[
        0.9643027,
        7.9495086e1,
        -4.9990310,
        0.6341776,
        -4.7440967e-2,
        2.1811337e-3,
        -5.8324228e-5,
        8.2433725e-7,
        -4.5928480e-9,
    ],
}];
