//! Front end with an instrumentation amplifier into a converter, the reference junction measured by its own sensor.

use std::collections::BTreeMap;

use super::Rails;
use super::drawing::{Drawing, Side};
use super::symbol::{FlagSide, Symbol, Turn};
use crate::svg::Anchor;

/// The drawing with the values of `values` by designator (R1…R9, RG, C1…C7, A1…A3, U1, ADC); what is missing stands
/// without a value. Test points: TP1 and TP2 thermocouple, TP3 pedestal (buffered), TP4 amplifier output, TP5 converter
/// input.
#[must_use]
pub fn instrumentation(values: &BTreeMap<String, String>, rails: &Rails) -> Drawing {
    let mut d = Drawing::new(values);
    input(&mut d, rails);
    // Without a reference of its own the converter measures against the supply, and so must the pedestal.
    let reference = rails.reference.as_deref().unwrap_or(&rails.supply);
    pedestal(&mut d, reference);
    filter(&mut d, reference);
    d
}

/// Thermocouple, bias, protection, differential and common-mode filter, amplifier.
fn input(d: &mut Drawing, rails: &Rails) {
    let supply = rails.supply.as_str();
    let (upper, lower) = (14.0, 24.0);
    d.zone(7.6, 10.9, 16.4, 42.2);
    d.note((12.0, 43.7), "one temperature", Anchor::Middle);
    d.part(Symbol::Thermocouple { half: 5.0 }, (2.0, 19.0), Turn::None, "TC", Side::Left);
    d.part(Symbol::Terminal, (11.0, upper), Turn::None, "TC+", Side::Above);
    d.part(Symbol::Terminal, (11.0, lower), Turn::None, "TC−", Side::Below);
    for y in [upper, lower] {
        d.wire(&[(6.0, y), (11.0, y)]);
        d.wire(&[(11.0, y), (28.0, y)]);
    }
    d.test_point((18.5, upper), "TP1", Turn::None);
    d.test_point((18.5, lower), "TP2", Turn::Half);
    d.rail((23.5, 5.5), supply);
    d.wire(&[(23.5, 5.5), (23.5, 6.0)]);
    d.standing_resistor((23.5, 9.0), "R4", Side::Right);
    d.wire(&[(23.5, 12.0), (23.5, upper)]);
    d.wire(&[(23.5, lower), (23.5, 24.5)]);
    d.standing_resistor((23.5, 27.5), "R3", Side::Right);
    d.flag((23.5, 30.5), "BIAS", FlagSide::Below);
    d.resistor((31.0, upper), "R1");
    d.resistor((31.0, lower), "R2");
    d.wire(&[(34.0, upper), (58.0, upper)]);
    d.wire(&[(34.0, lower), (58.0, lower)]);

    d.wire(&[(36.5, upper), (36.5, 17.0)]);
    d.standing_capacitor((36.5, 19.0), "C1", Side::Left);
    d.wire(&[(36.5, 21.0), (36.5, lower)]);
    d.wire(&[(44.0, upper), (44.0, 14.5)]);
    d.standing_capacitor((44.0, 16.5), "C2", Side::Left);
    d.wire(&[(44.0, 18.5), (44.0, 19.5)]);
    d.standing_capacitor((44.0, 21.5), "C3", Side::Left);
    d.wire(&[(44.0, 23.5), (44.0, lower)]);
    d.wire(&[(44.0, 19.0), (46.6, 19.0), (46.6, 19.4)]);
    d.ground((46.6, 19.4));

    d.wire(&[(58.0, 16.0), (55.5, 16.0)]);
    d.wire(&[(58.0, 22.0), (55.5, 22.0)]);
    d.standing_resistor((55.5, 19.0), "RG", Side::Left);
    d.part(Symbol::InstrumentationAmplifier { plus_on_top: true }, (63.0, 19.0), Turn::None, "A1", Side::Inside);
    d.rail((63.0, 12.0), supply);
    d.wire(&[(63.0, 12.0), (63.0, 13.0)]);
    d.negative((62.0, 25.0), rails);
    d.wire(&[(69.0, 19.0), (78.0, 19.0)]);
    d.test_point((73.0, 19.0), "TP4", Turn::None);
    d.flag((78.0, 19.0), "A1 OUT", FlagSide::Right);

    d.rail((12.0, 33.0), supply);
    d.wire(&[(12.0, 33.0), (12.0, 33.5)]);
    d.part(Symbol::Sensor, (12.0, 37.0), Turn::None, "U1", Side::Inside);
    d.ground((12.0, 40.5));
    d.wire(&[(17.0, 37.0), (19.0, 37.0)]);
    d.flag((19.0, 37.0), "to controller", FlagSide::Right);
}

/// The potential the output stands on at zero, buffered.
fn pedestal(d: &mut Drawing, reference: &str) {
    d.rail((37.5, 29.5), reference);
    d.wire(&[(37.5, 29.5), (37.5, 30.0)]);
    d.standing_resistor((37.5, 33.0), "R5", Side::Right);
    d.wire(&[(37.5, 36.0), (37.5, 38.0)]);
    d.wire(&[(37.5, 36.0), (54.0, 36.0)]);
    d.standing_resistor((37.5, 41.0), "R6", Side::Right);
    d.ground((37.5, 44.0));
    d.wire(&[(46.5, 36.0), (46.5, 39.0)]);
    d.standing_capacitor((46.5, 41.0), "C4", Side::Right);
    d.wire(&[(46.5, 43.0), (46.5, 44.0)]);
    d.ground((46.5, 44.0));
    d.part(Symbol::OpAmp { plus_on_top: true }, (58.0, 38.0), Turn::None, "A2", Side::Inside);
    d.wire(&[(54.0, 40.0), (53.2, 40.0), (53.2, 43.5), (63.5, 43.5), (63.5, 38.0)]);
    d.wire(&[(62.0, 38.0), (78.0, 38.0)]);
    d.wire(&[(65.0, 38.0), (65.0, 25.0)]);
    d.test_point((73.0, 38.0), "TP3", Turn::None);
    d.flag((78.0, 38.0), "BIAS", FlagSide::Right);
}

/// Two-pole low-pass and converter.
fn filter(d: &mut Drawing, reference: &str) {
    let y = 57.0;
    d.flag((9.0, y), "A1 OUT", FlagSide::Left);
    d.wire(&[(9.0, y), (13.0, y)]);
    d.resistor((16.0, y), "R7");
    d.wire(&[(19.0, y), (26.0, y)]);
    d.resistor((29.0, y), "R8");
    d.wire(&[(32.0, y), (42.0, y)]);
    d.wire(&[(36.5, y), (36.5, y + 2.0)]);
    d.standing_capacitor((36.5, y + 4.0), "C6", Side::Left);
    d.ground((36.5, y + 6.0));
    d.part(Symbol::OpAmp { plus_on_top: true }, (46.0, y + 2.0), Turn::None, "A3", Side::Inside);
    d.wire(&[(42.0, y + 4.0), (40.5, y + 4.0), (40.5, y + 8.0), (53.0, y + 8.0), (53.0, y + 2.0)]);
    d.wire(&[(22.5, y), (22.5, y - 6.0), (35.0, y - 6.0)]);
    d.part(Symbol::Capacitor, (37.0, y - 6.0), Turn::None, "C5", Side::Split);
    d.wire(&[(39.0, y - 6.0), (53.0, y - 6.0), (53.0, y + 2.0)]);
    d.wire(&[(50.0, y + 2.0), (55.0, y + 2.0)]);
    d.resistor((58.0, y + 2.0), "R9");
    d.wire(&[(61.0, y + 2.0), (74.0, y + 2.0)]);
    d.wire(&[(65.0, y + 2.0), (65.0, y + 4.0)]);
    d.standing_capacitor((65.0, y + 6.0), "C7", Side::Right);
    d.ground((65.0, y + 8.0));
    d.test_point((69.0, y + 2.0), "TP5", Turn::None);
    d.part(Symbol::Converter, (79.0, y + 2.0), Turn::None, "ADC", Side::Below);
    d.rail((79.0, y - 3.5), reference);
    d.wire(&[(79.0, y - 3.5), (79.0, y - 3.0)]);
    d.wire(&[(84.0, y + 2.0), (85.0, y + 2.0)]);
    d.flag((85.0, y + 2.0), "counts", FlagSide::Right);
}
