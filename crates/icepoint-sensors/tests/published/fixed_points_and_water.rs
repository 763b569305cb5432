//! ITS-90 fixed points; IAPWS R7-97 verification values; standard atmosphere; boiling points.

use icepoint_sensors::fixed_points::{ITS_90, State};
use icepoint_sensors::{ZERO_CELSIUS_IN_KELVIN, atmosphere, water};

#[test]
fn its_90_table() {
    assert_eq!(ITS_90.len(), 10);
    for pair in ITS_90.windows(2) {
        assert!(pair[0].kelvin < pair[1].kelvin);
    }
    for point in &ITS_90 {
        // The same figure in both units, to its last digit.
        assert!((point.kelvin - point.celsius - ZERO_CELSIUS_IN_KELVIN).abs() < 1e-9, "{}", point.substance);
    }
    let gallium = ITS_90.iter().find(|point| point.substance == "Ga").expect("listed");
    assert_eq!((gallium.state, gallium.celsius), (State::Melting, 29.7646));
    // A cell of zinc 18 cm deep: 0.18·2.7 mK.
    let zinc = ITS_90.iter().find(|point| point.substance == "Zn").expect("listed");
    assert!((zinc.celsius_at(0.0, 0.18).expect("in range") - 419.527_486).abs() < 1e-9);
    assert!(zinc.celsius_at(f64::NAN, 0.0).is_err() && zinc.celsius_at(0.0, 50.0).is_err());
}

#[test]
fn if97_region_4_verification_values() {
    // IAPWS R7-97(2012), tables 35 and 36: nine printed digits.
    const PRINTED: f64 = 0.5e-8;
    for (kelvin, megapascals) in
        [(300.0, 0.353_658_941e-2), (500.0, 0.263_889_776e1), (600.0, 0.123_443_146e2)]
    {
        let ours = water::saturation_pressure(kelvin - ZERO_CELSIUS_IN_KELVIN).expect("in range") * 1e-6;
        assert!((ours / megapascals - 1.0).abs() <= PRINTED, "{kelvin}: {ours}");
    }
    for (megapascals, kelvin) in [(0.1, 0.372_755_919e3), (1.0, 0.453_035_632e3), (10.0, 0.584_149_488e3)] {
        let ours = water::boiling_point(megapascals * 1e6).expect("in range") + ZERO_CELSIUS_IN_KELVIN;
        assert!((ours / kelvin - 1.0).abs() <= PRINTED, "{megapascals}: {ours}");
    }
    // The ends of the pressure range are those of the temperature range.
    let coldest = water::saturation_pressure(0.0).expect("end");
    assert!((coldest - water::RANGE_PASCALS.0).abs() < 1e-6, "{coldest:.9}");
    let hottest = water::saturation_pressure(water::RANGE_KELVIN.1 - ZERO_CELSIUS_IN_KELVIN).expect("end");
    assert!((hottest / water::RANGE_PASCALS.1 - 1.0).abs() < 1e-5, "{hottest}");
    assert!(water::boiling_point(100.0).is_err() && water::boiling_point(-1.0).is_err());
}

#[test]
fn standard_atmosphere_table() {
    // ISO 2533:1975, Pa to 0.1 (500 and 1500 m by formula and memory).
    const PRINTED: f64 = 0.1;
    for (metres, pascals) in [
        (0.0, 101_325.0),
        (500.0, 95_460.8),
        (1000.0, 89_874.6),
        (1500.0, 84_556.0),
        (2000.0, 79_495.2),
        (3000.0, 70_108.5),
        (5000.0, 54_019.9),
    ] {
        let ours = atmosphere::pressure(metres).expect("in range");
        assert!((ours - pascals).abs() <= PRINTED, "{metres}: {ours}");
        assert!((atmosphere::altitude(ours).expect("in range") - metres).abs() < 1e-6);
    }
    assert!(atmosphere::pressure(20_000.0).is_err());
}

#[test]
fn boiling_point_of_water() {
    // 99.974 °C at 101 325 Pa: supplementary information of the CCT for ITS-90, and IAPWS.
    const PRINTED: f64 = 0.0005 + 1e-9;
    for (pascals, celsius) in [(101_325.0, 99.974), (89_874.6, 96.649), (79_495.2, 93.315)] {
        let ours = water::boiling_point(pascals).expect("in range");
        assert!((ours - celsius).abs() <= PRINTED, "{pascals}: {ours}");
    }
    let high = water::boiling_point_at_altitude(2000.0).expect("in range");
    assert!((high - 93.315).abs() <= PRINTED, "{high}");
}
