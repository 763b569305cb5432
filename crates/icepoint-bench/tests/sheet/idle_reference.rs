//! A converter's reference that supplies nothing else: the voltmeter at its test point is its only load.

use icepoint_bench::sheet::{BenchSheet, Expected};

use super::{VOLTMETER, read, setup};

/// Reference of the converter, V.
const REFERENCE: f64 = 4.5;

/// The bench voltmeter's circuit, which has no resistor at a reference, before a converter.
fn before_a_converter(load_regulation: &str) -> String {
    let converter = VOLTMETER.find("[converter]").unwrap();
    let after = converter + VOLTMETER[converter..].find("[readout]").unwrap();
    format!(
        "{}[converter]\nkind = \"adc\"\nbits = 16\nreference = \"4.5 V\"\n\
         reference_load_regulation = \"{load_regulation}\"\ninput_resistance = \"10 MΩ\"\n\n{}",
        &VOLTMETER[..converter],
        &VOLTMETER[after..],
    )
    .replacen("hot = [\"0 °C\"", "hot = [\"30 °C\"", 1)
}

fn worst_half(e: Expected) -> f64 {
    0.5 * (e.worst.1 - e.worst.0)
}

/// By hand: the reference gives way by its ohms times the volts over the voltmeter's resistance, to either side, and nothing
/// else of the board sees it. A kilohm is no reference that is sold; it lifts it out of the voltmeter's own error.
#[test]
fn the_voltmeter_is_its_only_load() {
    const OHMS: f64 = 1e3;
    let sheet = |regulation: &str| {
        let (file, model) = read(&before_a_converter(regulation));
        assert!(model.imperfections().iter().all(|i| i.id != "VREF.load_regulation"));
        let setup = setup(&file, &model, 23.0);
        (BenchSheet::new(&model, &setup).unwrap(), setup.meter)
    };
    let ((stiff, meter), (soft, _)) = (sheet("0 Ω"), sheet("1 kΩ"));
    let by_hand = OHMS * REFERENCE / meter.input_resistance;
    // ((V + d)(1 + r) − (V − d)(1 − r))/2 = V·r + d: the voltmeter's own share does not go with it.
    let mut seen = 0;
    for (a, b) in stiff.points.iter().zip(&soft.points) {
        assert_eq!(a.label, b.label);
        let is_reference = (a.normal.nominal - REFERENCE).abs() < 1e-3;
        seen += u32::from(is_reference);
        for (a, b) in [(a.shorted, b.shorted), (a.normal, b.normal)] {
            assert!((a.nominal - b.nominal).abs() < 1e-9);
            let more = worst_half(b) - worst_half(a);
            let expected = if is_reference { by_hand } else { 0.0 };
            assert!((more - expected).abs() < 1e-8, "{more:e} {expected:e}");
        }
        if let (true, Some(a), Some(b)) = (is_reference, a.open, b.open) {
            assert!((worst_half(b) - worst_half(a) - by_hand).abs() < 1e-8);
        }
    }
    assert_eq!(seen, 1, "the reference has one test point");
}
