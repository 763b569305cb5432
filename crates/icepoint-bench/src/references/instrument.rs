//! A thermometer or dry well: what its display says, corrected by its certificate.

use icepoint_chain::file;
use icepoint_chain::imperfection::Distribution::{Normal, Rectangular};
use icepoint_chain::imperfection::{Source, SourceKind};
use icepoint_chain::statistics::coverage_factor;

use super::{Component, Known, Quantity, ReferenceError, Sharing, user};

/// Coverage probability that certificates mean with k = 2 (EA-4/02, from memory; the normal share within 2 σ).
const CERTIFICATE_COVERAGE: f64 = 0.9545;

/// Corrections at indicated temperatures.
#[derive(Clone, Debug, PartialEq)]
pub struct Certificate {
    /// Indicated temperature, °C, rising, and what to add, K; at least one.
    pub points: Vec<(f64, f64)>,
    /// Expanded uncertainty, K.
    pub uncertainty: f64,
    /// Its coverage factor.
    pub coverage_factor: f64,
}

impl Certificate {
    /// First and last indicated temperature, °C.
    pub fn range(&self) -> (f64, f64) {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => (first.0, last.0),
            _ => (f64::NAN, f64::NAN),
        }
    }

    /// Correction at an indicated temperature, K: straight lines between the points.
    ///
    /// # Errors
    /// [`ReferenceError::BeyondCertificate`] outside of them.
    pub fn correction(&self, shown: f64) -> Result<f64, ReferenceError> {
        let range = self.range();
        let beyond = ReferenceError::BeyondCertificate { shown, range };
        if !(range.0 <= shown && shown <= range.1) {
            return Err(beyond);
        }
        let above = self.points.iter().position(|p| p.0 >= shown).ok_or(beyond)?;
        let (x1, y1) = self.points[above];
        if above == 0 || x1 == shown {
            return Ok(y1);
        }
        let (x0, y0) = self.points[above - 1];
        Ok(y0 + (y1 - y0) * (shown - x0) / (x1 - x0))
    }

    /// How far straight lines between the points may be off, K: an eighth of the largest second difference, as for a
    /// parabola through three points; 0 with fewer.
    pub fn interpolation(&self) -> f64 {
        self.points
            .windows(3)
            .map(|w| {
                let (left, right) =
                    ((w[1].1 - w[0].1) / (w[1].0 - w[0].0), (w[2].1 - w[1].1) / (w[2].0 - w[1].0));
                let curvature = (right - left) / (0.5 * (w[2].0 - w[0].0));
                let longest = (w[1].0 - w[0].0).max(w[2].0 - w[1].0);
                (0.125 * curvature * longest * longest).abs()
            })
            .fold(0.0, f64::max)
    }
}

/// A thermometer or dry well.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// The certificate, if there is one.
    pub certificate: Option<Certificate>,
    /// Limit of its error without a certificate, ± K; on top of the certificate if both are there.
    pub accuracy: Option<f64>,
    /// Limit of its drift since the certificate, ± K.
    pub drift: f64,
    /// Limit of the difference between it and the probe, ± K.
    pub uniformity: f64,
    /// One digit of its display, K.
    pub digit: f64,
}

impl From<&file::Instrument> for Instrument {
    fn from(record: &file::Instrument) -> Self {
        let certificate = record.certificate.as_ref().map(|c| Certificate {
            points: c.at.iter().copied().zip(c.correction.iter().copied()).collect(),
            uncertainty: *c.uncertainty,
            coverage_factor: *c.coverage_factor,
        });
        Self {
            certificate,
            accuracy: record.accuracy.as_ref().map(|a| **a),
            drift: *record.drift,
            uniformity: *record.uniformity,
            digit: *record.digit,
        }
    }
}

/// Degrees of freedom that a certificate's coverage factor tells of: the ν of Student's t whose factor for 95.45 % is
/// `k`; infinite for k of 2 or less.
pub fn degrees_of_freedom(k: f64) -> f64 {
    if k.is_nan() || k <= 2.0005 {
        return f64::INFINITY;
    }
    let (mut low, mut high) = (1.0f64, 1e5f64);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        // The factor falls with ν.
        if coverage_factor(CERTIFICATE_COVERAGE, middle) > k { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

impl Instrument {
    /// °C with its components, for what its display shows (°C).
    ///
    /// # Errors
    /// [`ReferenceError::BeyondCertificate`].
    pub fn known(&self, shown: f64) -> Result<Known, ReferenceError> {
        let mut nominal = shown;
        let mut components = Vec::new();
        let mut add = |component: Component| {
            if component.distribution.standard() > 0.0 {
                components.push(component);
            }
        };
        if let Some(certificate) = &self.certificate {
            nominal += certificate.correction(shown)?;
            let (u, k) = (certificate.uncertainty, certificate.coverage_factor);
            let source = Source { kind: SourceKind::User, text: "certificate".to_owned() };
            let label = format!("certificate, {u} K with k = {k}");
            let standard =
                Component::new("certificate", label, Normal(u / k), source.clone(), Sharing::Reference);
            add(Component { degrees_of_freedom: degrees_of_freedom(k), ..standard });
            add(Component::new(
                "interpolation",
                "straight lines between the points of the certificate",
                Rectangular(certificate.interpolation()),
                Source {
                    kind: SourceKind::Computed,
                    text: "largest second difference of its corrections".to_owned(),
                },
                Sharing::Setting,
            ));
            add(Component::new(
                "drift",
                "drift since the certificate",
                Rectangular(self.drift),
                user("drift in the chain file"),
                Sharing::Reference,
            ));
        }
        if let Some(accuracy) = self.accuracy {
            add(Component::new(
                "accuracy",
                format!("accuracy, ±{accuracy} K"),
                Rectangular(accuracy),
                user("accuracy as its data sheet or owner states it"),
                Sharing::Reference,
            ));
        }
        add(Component::new(
            "uniformity",
            format!("difference between it and the probe, ±{} K", self.uniformity),
            Rectangular(self.uniformity),
            user("uniformity in the chain file"),
            Sharing::Setting,
        ));
        add(Component::new(
            "digit",
            format!("last digit of its display, {} K", self.digit),
            Rectangular(0.5 * self.digit),
            user("digit in the chain file"),
            Sharing::Reading,
        ));
        Ok(Known { quantity: Quantity::Celsius, nominal, components })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn certified() -> Instrument {
        Instrument {
            certificate: Some(Certificate {
                points: vec![(0.0, 0.1), (100.0, -0.3), (400.0, 0.9)],
                uncertainty: 0.1,
                coverage_factor: 2.0,
            }),
            accuracy: None,
            drift: 0.05,
            uniformity: 0.2,
            digit: 0.1,
        }
    }

    #[test]
    fn corrections_are_joined_by_lines_and_end_where_the_certificate_ends() {
        let instrument = certified();
        assert!((instrument.known(0.0).unwrap().nominal - 0.1).abs() < 1e-12);
        assert!((instrument.known(50.0).unwrap().nominal - (50.0 - 0.1)).abs() < 1e-12);
        assert!((instrument.known(250.0).unwrap().nominal - 250.3).abs() < 1e-12);
        assert!((instrument.known(400.0).unwrap().nominal - 400.9).abs() < 1e-12);
        for outside in [-0.1, 400.1, f64::NAN] {
            assert!(matches!(instrument.known(outside), Err(ReferenceError::BeyondCertificate { .. })));
        }
    }

    #[test]
    fn a_parabola_is_off_by_what_the_interpolation_says() {
        let bow = |t: f64| 1e-5 * t * t;
        let at = [0.0, 100.0, 200.0, 300.0];
        let points = at.iter().map(|t| (*t, bow(*t))).collect();
        let certificate = Certificate { points, uncertainty: 0.1, coverage_factor: 2.0 };
        let worst = (0..=300)
            .map(|t| (certificate.correction(f64::from(t)).unwrap() - bow(f64::from(t))).abs())
            .fold(0.0, f64::max);
        assert!((worst - certificate.interpolation()).abs() < 1e-12, "{worst}");
    }

    /// EA-4/02, table E.1 (factors for 95.45 %), from memory: ν 5 2.65, 10 2.28, 20 2.13, 50 2.05.
    #[test]
    fn degrees_of_freedom_from_coverage_factors() {
        for (nu, k) in [(5.0, 2.65), (10.0, 2.28), (20.0, 2.13), (50.0, 2.05)] {
            // Half of the last printed digit.
            let (low, high) = (degrees_of_freedom(k + 0.005), degrees_of_freedom(k - 0.005));
            assert!(low <= nu && nu <= high, "{nu}: {low} to {high}");
        }
        assert!(degrees_of_freedom(2.0).is_infinite() && degrees_of_freedom(1.0).is_infinite());
    }

    #[test]
    fn standard_uncertainty_by_hand() {
        let u = certified().known(0.0).unwrap().standard();
        let interpolation = certified().certificate.unwrap().interpolation();
        let square = |x: f64| x * x;
        let limits = square(0.05) + square(0.2) + square(0.05) + square(interpolation);
        let by_hand = (square(0.05) + limits / 3.0).sqrt();
        assert!((u - by_hand).abs() < 1e-12);
    }
}
