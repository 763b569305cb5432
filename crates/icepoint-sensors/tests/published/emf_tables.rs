//! Printed emf tables, transcribed in `emf/type_*.csv`, each row with the document that it comes from.
//!
//! B E J K N R S T: NIST SRD 60 = IEC 60584-1, emf printed to 0.001 mV; 41 rows (N, R, S, B) from memory. C and A are
//! compared within what their older tables allow: an ANSI type C table on an earlier scale, and GOST R 8.585-2001, which
//! agrees with its own polynomial only so far.

use icepoint_sensors::Letter;

/// Half of the last printed digit, mV: the table can't say more.
const PRINTED: f64 = 0.0005;
/// Ends of the inverse ranges in the coefficient file, printed to three decimals, some at fractional temperatures, mV.
const RANGE_END: f64 = 0.0006;
/// GOST table and GOST polynomial, mV.
const TYPE_A: f64 = 0.003;
/// ANSI table older than IEC 60584-1:2013, mV.
const TYPE_C: f64 = 0.007;
/// Lets a value on the edge of a digit pass, mV; far above our 1e-12 mV.
const ROUNDING: f64 = 1e-9;

struct Row {
    celsius: f64,
    millivolts: f64,
    within: f64,
    source: &'static str,
}

fn rows(csv: &'static str) -> Vec<Row> {
    csv.lines()
        .skip(1)
        .map(|line| {
            let fields: Vec<&str> = line.splitn(4, ',').collect();
            let number = |i: usize| fields[i].parse::<f64>().expect(line);
            Row { celsius: number(0), millivolts: number(1), within: number(2), source: fields[3] }
        })
        .collect()
}

fn table(letter: Letter) -> (Vec<Row>, usize) {
    match letter {
        Letter::B => (rows(include_str!("emf/type_b.csv")), 48),
        Letter::E => (rows(include_str!("emf/type_e.csv")), 40),
        Letter::J => (rows(include_str!("emf/type_j.csv")), 44),
        Letter::K => (rows(include_str!("emf/type_k.csv")), 53),
        Letter::N => (rows(include_str!("emf/type_n.csv")), 42),
        Letter::R => (rows(include_str!("emf/type_r.csv")), 46),
        Letter::S => (rows(include_str!("emf/type_s.csv")), 45),
        Letter::T => (rows(include_str!("emf/type_t.csv")), 36),
        Letter::C => (rows(include_str!("emf/type_c.csv")), 18),
        Letter::A => (rows(include_str!("emf/type_a.csv")), 18),
    }
}

#[test]
fn every_table_value_to_its_last_printed_digit() {
    let mut total = 0;
    for letter in Letter::ALL {
        let (rows, count) = table(letter);
        assert_eq!(rows.len(), count, "{letter}: a row that got lost must not pass");
        total += count;
        let mut worst = (0.0, "");
        for row in &rows {
            let widest = match letter {
                Letter::A => TYPE_A,
                Letter::C => TYPE_C,
                _ if row.source.ends_with("end of an inverse range") => RANGE_END,
                _ => PRINTED,
            };
            assert!(
                row.within <= widest,
                "{letter} {} °C: the row allows itself {}",
                row.celsius,
                row.within
            );
            let ours = letter.emf(row.celsius).expect("within range") * 1e3;
            let error = (ours - row.millivolts).abs();
            assert!(
                error <= row.within + ROUNDING,
                "{letter} at {} °C: printed {} mV, ours {ours:.5} ({})",
                row.celsius,
                row.millivolts,
                row.source
            );
            if error > worst.0 {
                worst = (error, row.source);
            }
        }
        println!("{letter}: {count} rows, worst {:.2} µV, {}", worst.0 * 1e3, worst.1);
    }
    assert_eq!(total, 390);
}

#[test]
fn every_table_value_leads_back_to_its_temperature() {
    // Half a printed digit of emf is that over the slope in kelvins.
    for letter in Letter::ALL {
        for row in table(letter).0 {
            let (least, largest) = letter.emf_range();
            let volts = row.millivolts * 1e-3;
            let slope = letter.emf_slope(row.celsius).expect("within range");
            // Rounded past the end, or where the table's digit is worth more than a kelvin (type B below 100 °C, −270 °C).
            if volts < least || volts > largest || slope < 1e-6 {
                continue;
            }
            let back = letter.temperature(volts).expect("unambiguous");
            let allowed = 1.05 * (row.within + ROUNDING) * 1e-3 / slope + 1e-9;
            assert!((back - row.celsius).abs() <= allowed, "{letter} {}: {back}", row.celsius);
        }
    }
}
