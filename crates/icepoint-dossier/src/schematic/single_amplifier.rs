//! Front end with one non-inverting amplifier, the reference junction compensated in analog.

use std::collections::BTreeMap;

use super::Rails;
use super::drawing::{Drawing, Side};
use super::symbol::{Symbol, Turn};
use crate::svg::Anchor;

/// The drawing with the values of `values` by designator (R1, R3…R8, C1…C4, A1, U1); what is missing stands without a
/// value. C5, the decoupling of A1, is drawn only if it has one. Test points: TP1 positive leg, TP2 compensation, TP3
/// sensor, TP4 amplifier output, TP5 filtered output.
#[must_use]
pub fn single_amplifier(values: &BTreeMap<String, String>, rails: &Rails) -> Drawing {
    let mut d = Drawing::new(values);
    let supply = rails.supply.as_str();

    // Thermocouple, terminals and their sensor share one temperature.
    d.zone(7.6, 12.9, 17.4, 36.2);
    d.note((12.5, 37.7), "one temperature", Anchor::Middle);
    d.part(Symbol::Thermocouple { half: 2.0 }, (2.0, 18.0), Turn::None, "TC", Side::Left);
    d.wire(&[(6.0, 16.0), (12.0, 16.0)]);
    d.wire(&[(6.0, 20.0), (12.0, 20.0)]);
    d.part(Symbol::Terminal, (12.0, 16.0), Turn::None, "TC+", Side::Above);
    d.part(Symbol::Terminal, (12.0, 20.0), Turn::None, "TC−", Side::Below);

    // Signal: pull-up, protection and first pole, amplifier.
    d.wire(&[(12.0, 16.0), (28.0, 16.0)]);
    d.test_point((19.5, 16.0), "TP1", Turn::None);
    d.rail((24.5, 7.5), supply);
    d.wire(&[(24.5, 7.5), (24.5, 8.0)]);
    d.standing_resistor((24.5, 11.0), "R7", Side::Right);
    d.wire(&[(24.5, 14.0), (24.5, 16.0)]);
    d.resistor((31.0, 16.0), "R1");
    d.wire(&[(34.0, 16.0), (50.0, 16.0)]);
    d.wire(&[(39.0, 16.0), (39.0, 18.0)]);
    d.standing_capacitor((39.0, 20.0), "C1", Side::Right);
    d.ground((39.0, 22.0));
    d.part(Symbol::OpAmp { plus_on_top: true }, (54.0, 18.0), Turn::None, "A1", Side::Inside);

    // Compensation: a share of the sensor's slope under the thermocouple.
    d.wire(&[(12.0, 20.0), (30.0, 20.0), (30.0, 30.0)]);
    d.rail((12.0, 26.0), supply);
    d.wire(&[(12.0, 26.0), (12.0, 26.5)]);
    d.part(Symbol::Sensor, (12.0, 30.0), Turn::None, "U1", Side::Inside);
    d.ground((12.0, 33.5));
    d.wire(&[(17.0, 30.0), (21.0, 30.0)]);
    d.test_point((18.6, 30.0), "TP3", Turn::None);
    d.resistor((24.0, 30.0), "R5");
    d.wire(&[(27.0, 30.0), (41.5, 30.0)]);
    d.note((32.0, 29.1), "COMP", Anchor::Start);
    d.wire(&[(30.0, 30.0), (30.0, 32.0)]);
    d.standing_resistor((30.0, 35.0), "R6", Side::Right);
    d.ground((30.0, 38.0));
    d.wire(&[(37.5, 30.0), (37.5, 33.0)]);
    d.standing_capacitor((37.5, 35.0), "C3", Side::Right);
    d.wire(&[(37.5, 37.0), (37.5, 38.0)]);
    d.ground((37.5, 38.0));
    d.test_point((41.5, 30.0), "TP2", Turn::None);

    // Feedback.
    d.wire(&[(50.0, 20.0), (46.5, 20.0), (46.5, 34.0)]);
    d.wire(&[(46.5, 26.0), (51.0, 26.0)]);
    d.resistor((54.0, 26.0), "R3");
    d.wire(&[(57.0, 26.0), (62.0, 26.0)]);
    d.wire(&[(46.5, 32.0), (52.0, 32.0)]);
    d.part(Symbol::Capacitor, (54.0, 32.0), Turn::None, "C2", Side::Split);
    d.wire(&[(56.0, 32.0), (62.0, 32.0), (62.0, 18.0)]);
    d.standing_resistor((46.5, 37.0), "R4", Side::Right);
    d.ground((46.5, 40.0));

    // Supply.
    d.rail((54.0, 7.5), supply);
    d.wire(&[(54.0, 7.5), (54.0, 16.0)]);
    if values.contains_key("C5") {
        d.wire(&[(54.0, 9.0), (59.0, 9.0), (59.0, 9.5)]);
        d.standing_capacitor((59.0, 11.5), "C5", Side::Right);
        d.ground((59.0, 13.5));
    }
    d.wire(&[(54.0, 20.0), (54.0, 21.0)]);
    d.negative((54.0, 21.0), rails);

    // Second pole and the voltmeter.
    d.wire(&[(58.0, 18.0), (69.0, 18.0)]);
    d.test_point((65.0, 18.0), "TP4", Turn::None);
    d.resistor((72.0, 18.0), "R8");
    d.wire(&[(75.0, 18.0), (90.0, 18.0)]);
    d.wire(&[(79.0, 18.0), (79.0, 20.0)]);
    d.standing_capacitor((79.0, 22.0), "C4", Side::Right);
    d.ground((79.0, 24.0));
    d.test_point((82.5, 18.0), "TP5", Turn::None);
    d.part(Symbol::Terminal, (90.0, 18.0), Turn::None, "OUT", Side::Above);
    d.wire(&[(90.0, 26.0), (90.0, 27.0)]);
    d.part(Symbol::Terminal, (90.0, 26.0), Turn::None, "0 V", Side::Above);
    d.ground((90.0, 27.0));
    d
}
