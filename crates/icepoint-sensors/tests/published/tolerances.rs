//! Tolerance tables of IEC 60584-1:2013 and ASTM E230: worked values of the rules, row counts, and what must be so.

use icepoint_sensors::Letter::{self, A, B, C, E, J, K, N, S, T};
use icepoint_sensors::tolerance::ToleranceClass::{self, AstmSpecial, AstmStandard, Iec1, Iec2, Iec3};
use icepoint_sensors::tolerance::{ToleranceError, limit, range, rows};

/// Products of two-digit figures: rounding only.
const ROUNDING: f64 = 1e-12;

#[test]
fn worked_values() {
    let checks: [(Letter, ToleranceClass, f64, f64); 24] = [
        (K, Iec1, 375.0, 1.5),
        (K, Iec1, 1000.0, 4.0),
        (K, Iec2, 300.0, 2.5),
        (K, Iec2, 1000.0, 7.5),
        (K, Iec3, -200.0, 3.0),
        (T, Iec1, 100.0, 0.5),
        (T, Iec3, -100.0, 1.5),
        (S, Iec1, 1600.0, 2.5),
        (S, Iec1, 1100.0, 1.0),
        (S, Iec2, 1000.0, 2.5),
        (B, Iec3, 1500.0, 7.5),
        (C, Iec2, 1000.0, 10.0),
        (A, Iec2, 2000.0, 20.0),
        (N, Iec1, 1000.0, 4.0),
        (N, Iec2, 1100.0, 8.25),
        (E, Iec2, -40.0, 2.5),
        (J, Iec1, 750.0, 3.0),
        (K, AstmStandard, 1000.0, 7.5),
        (K, AstmSpecial, 200.0, 1.1),
        (J, AstmStandard, 100.0, 2.2),
        (T, AstmSpecial, 200.0, 0.8),
        (S, AstmSpecial, 1000.0, 1.0),
        (K, AstmStandard, -200.0, 4.0),
        (T, AstmSpecial, -100.0, 0.8),
    ];
    for (letter, class, celsius, expected) in checks {
        let ours = limit(letter, class, celsius).unwrap_or_else(|error| panic!("{error}"));
        assert!((ours - expected).abs() <= ROUNDING, "{letter} {class} {celsius}: {ours}");
    }
}

#[test]
fn nothing_where_the_standard_defines_nothing() {
    assert!(matches!(limit(J, Iec3, -50.0), Err(ToleranceError::NotDefined { .. })));
    assert!(matches!(limit(B, Iec1, 1000.0), Err(ToleranceError::NotDefined { .. })));
    assert!(matches!(limit(A, AstmStandard, 1000.0), Err(ToleranceError::NotDefined { .. })));
    assert!(matches!(limit(K, Iec1, 1000.1), Err(ToleranceError::Outside { .. })));
    assert!(matches!(limit(K, Iec2, -40.1), Err(ToleranceError::Outside { .. })));
    assert!(matches!(limit(K, Iec2, f64::NAN), Err(ToleranceError::Outside { .. })));
    let error = limit(J, Iec3, -50.0).unwrap_err().to_string();
    assert_eq!(
        error,
        "IEC 60584-1 class 3 is not defined for type J; it has IEC 60584-1 class 1, IEC 60584-1 class 2, ASTM E230 \
         standard, ASTM E230 special"
    );
}

#[test]
fn tables_are_whole_and_hang_together() {
    assert_eq!(rows().iter().filter(|row| matches!(row.class, Iec1 | Iec2 | Iec3)).count(), 24);
    assert_eq!(rows().iter().filter(|row| matches!(row.class, AstmStandard | AstmSpecial)).count(), 22);
    for letter in Letter::ALL {
        assert!(range(letter, Iec2).is_some(), "{letter}: every type has a class 2");
        for class in ToleranceClass::ALL {
            assert_eq!(ToleranceClass::parse(class.name()), Some(class));
            let Some((low, high)) = range(letter, class) else { continue };
            assert!(low >= letter.range().0 && high <= letter.range().1, "{letter} {class}");
            // Lines of one class meet without a gap and agree where they meet.
            let mut before: Option<f64> = None;
            for i in 0..=1000u32 {
                let t = low + (high - low) * f64::from(i) / 1000.0;
                let here = limit(letter, class, t).unwrap_or_else(|error| panic!("{error}"));
                assert!(here > 0.0);
                if let Some(before) = before {
                    assert!((here - before).abs() < 0.1, "{letter} {class} {t}: {before} then {here}");
                }
                before = Some(here);
            }
        }
        // Tighter classes are tighter.
        for (tight, wide) in [(Iec1, Iec2), (AstmSpecial, AstmStandard)] {
            for t in (-200..2300).step_by(10).map(f64::from) {
                if let (Ok(tight), Ok(wide)) = (limit(letter, tight, t), limit(letter, wide, t)) {
                    assert!(tight < wide, "{letter} {t}");
                }
            }
        }
    }
}
