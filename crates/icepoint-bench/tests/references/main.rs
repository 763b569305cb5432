//! References as people write them, and what they are worth.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail like tests

use icepoint_bench::references::{Pressure, Reference, Takes, Where, read};
use icepoint_chain::file::{ChainFile, IceBathMade, parse};

fn kiln(more: &str) -> ChainFile {
    let text = include_str!("../../../../examples/burnout-kiln.toml");
    parse("kiln.toml", &format!("{text}\n{more}")).unwrap_or_else(|refused| panic!("{refused}"))
}

const RECORDS: &str = r#"
[references.bath]
kind = "thermometer"
certificate_at = ["0 °C", "100 °C", "250 °C"]
certificate_correction = ["0.02 K", "-0.15 K", "0.05 K"]
certificate_uncertainty = "0.06 K"

[references.town]
kind = "boiling water"
altitude = "540 m"
sea_level_pressure = "1021 hPa ± 1 hPa"
probe_in = "water"
depth = "5 cm"

[references.source]
kind = "millivolt source"
reading_error = "0.02 %"
range_error = "5 µV"

[references.hand]
kind = "voltmeter"
reading_error = "0.5 %"
range_error = "1 mV"
resolution = "1 mV"
"#;

#[test]
fn words_of_a_column() {
    let file = kiln("");
    let reference = |text: &str| read(text, &file).unwrap_or_else(|p| panic!("{text}: {p:?}")).reference;
    for (text, made) in [
        ("ice bath", IceBathMade::Quick),
        ("  Ice Bath ", IceBathMade::Quick),
        ("melting ice", IceBathMade::Quick),
        ("well-made ice bath", IceBathMade::Well),
    ] {
        assert!(matches!(reference(text), Reference::IceBath(ice) if ice.made == made), "{text}");
    }
    assert!(matches!(reference("ice bath ±0.1 K"), Reference::IceBath(ice) if ice.accuracy == Some(0.1)));
    for (text, pascals, stated) in [
        ("boiling water 987 hPa", 98_700.0, false),
        ("boiling water, 987 hPa ± 1 hPa", 98_700.0, true),
        ("Boiling water (740 mmHg)", 98_658.6, false),
    ] {
        let Reference::BoilingWater(water) = reference(text) else { panic!("{text}") };
        let Pressure::Barometer { stated: found, .. } = water.pressure else { panic!("{text}") };
        assert!((water.pascals().unwrap() - pascals).abs() < 0.1 && found == stated, "{text}");
        assert_eq!(water.place, Where::Steam);
    }
    let Reference::BoilingWater(water) = reference("boiling water 540 m, 1021 hPa, in the water 5 cm deep")
    else {
        panic!()
    };
    assert_eq!(water.place, Where::Water(0.05));
    assert!(matches!(water.pressure, Pressure::Altitude { metres, sea_level: Some(_) } if metres == 540.0));
    for (text, symbol) in [
        ("zinc point", "Zn"),
        ("Zn point", "Zn"),
        ("fixed point Ga", "Ga"),
        ("triple point of water", "H2O"),
        ("tin freezing point", "Sn"),
    ] {
        assert!(matches!(reference(text), Reference::FixedPoint(cell) if cell.substance == symbol), "{text}");
    }
    assert_eq!(reference("thermometer ±0.3 K").takes(), Takes::Celsius);
    assert_eq!(reference("millivolts").takes(), Takes::Volts);
    // The plan of the kiln's own file.
    let Reference::Millivolts(source) = reference("millivolts") else { panic!() };
    assert_eq!((source.relative, source.fixed, source.thermometer), (0.0002, 5e-6, 0.2));
}

#[test]
fn records_of_the_chain_file() {
    let file = kiln(RECORDS);
    let named = read("Bath", &file).unwrap();
    assert_eq!((named.name.as_str(), named.reference.takes()), ("bath", Takes::Celsius));
    let known = named.reference.known(Some(50.0)).unwrap();
    assert!((known.nominal - (50.0 - 0.065)).abs() < 1e-12);
    assert!(named.reference.known(None).is_err());
    assert!(named.reference.known(Some(300.0)).unwrap_err().to_string().contains("250 °C"));
    // The only source of the file is what “millivolts” means, and a voltmeter is no reference.
    assert_eq!(read("millivolts", &file).unwrap().name, "source");
    assert_eq!(Reference::of_file(&file).len(), 3);
    let town = read("town", &file).unwrap().reference.known(None).unwrap();
    assert!(town.nominal > 98.3 && town.nominal < 98.6, "{}", town.nominal);
    assert!(town.components.iter().any(|c| c.id == "air_column"));
}

#[test]
fn what_is_not_understood_points_and_helps() {
    let file = kiln(RECORDS);
    for (text, code, within) in [
        ("", "reference.empty", 0..0),
        ("boiling water", "reference.no_pressure", 12..13),
        ("boiling water 987", "quantity.no_unit", 14..17),
        ("boiling water 98 hPa", "value.out_of_bounds", 14..20),
        ("boiling water 9000 m", "value.out_of_bounds", 14..20),
        ("thermometer", "reference.thermometer_unknown", 0..11),
        ("thermometer ±900 K", "value.out_of_bounds", 12..19),
        ("ice bath of mine", "quantity.no_number", 9..16),
        ("unobtainium point", "reference.unknown", 0..17),
        ("hand", "reference.unknown", 0..4),
        ("100 °C", "reference.unknown", 0..7),
        ("iced tea", "reference.unknown", 0..8),
        ("BOILİNG WATER in water x", "reference.unknown", 0..26),
    ] {
        let problem = read(text, &file).unwrap_err();
        assert_eq!(problem.code, code, "{text}: {problem:?}");
        let span = problem.at.as_ref().unwrap().span;
        assert!(within.start <= span.start && span.end <= within.end.max(text.len()), "{text}: {span:?}");
        assert!(problem.expected.is_some() && problem.help.is_some(), "{text}");
    }
}
