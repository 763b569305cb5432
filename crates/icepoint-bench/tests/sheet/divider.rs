//! The divider source: by Ohm's law, and what the board does to it.

use icepoint_bench::sheet::divider::{Battery, dividers, resistors};
use icepoint_chain::drawer::{Usual, parse as parse_drawer};
use icepoint_chain::quantity::series::Series;

use super::{FREEZER, KILN, read, setup};

#[test]
fn dividers_of_the_kiln() {
    let (file, model) = read(KILN);
    let setup = setup(&file, &model, 23.0);
    let list = dividers(&model, &setup, Battery::USUAL, &resistors(None, Series::E24, 0.01)).unwrap();
    // 20 °C is colder than the board by 0.1 mV and can be made as well, the other way round.
    assert_eq!(list.len(), setup.at.len());
    for divider in &list {
        let (r1, r2) = (divider.upper.ohms, divider.lower.ohms);
        let volts = 1.5 * r2 / (r1 + r2);
        assert!((divider.volts.abs() - volts).abs() < 1e-15);
        assert!((divider.output_resistance - 1.0 / (1.0 / r1 + 1.0 / r2)).abs() < 1e-9);
        assert_eq!(divider.reversed, divider.wished < 23.0);
        // E24 has neighbours 5 % apart for each of two resistors: the wish is met within a few per cent of its voltage.
        assert!((divider.celsius - divider.wished).abs() < 0.02 * divider.wished + 1.0, "{divider:?}");
        // Tolerances of 1 % and a battery of 7 % are worth little, a meter on the output much more.
        if divider.wished > 500.0 {
            assert!(
                divider.by_tolerance.kelvin > 10.0 && divider.by_parts.kelvin < divider.by_tolerance.kelvin
            );
        }
        assert!(divider.loading.0.abs() < 0.5 && divider.loading.1 < 0.5, "{divider:?}");
    }
    // By hand, JCGM 100, 4.3.7 and 5.1.2, for the hottest: limits of each part over √3, times 1.96.
    let last = list.last().unwrap();
    let v = last.volts;
    let share = last.upper.ohms / (last.upper.ohms + last.lower.ohms) * v;
    let square = |x: f64| x * x;
    let by_hand = 1.96 * ((2.0 * square(0.01 * share) + square(0.07 * v) + square(3e-6)) / 3.0).sqrt();
    assert!((last.by_tolerance.volts / by_hand - 1.0).abs() < 1e-9);
}

#[test]
fn from_the_drawer_only_what_is_there() {
    let (file, model) = read(FREEZER);
    let setup = setup(&file, &model, 23.0);
    let usual = Usual { resistor: (0.01, 100e-6), capacitor: (0.1, 1e-3) };
    let drawer = parse_drawer("drawer.csv", include_str!("../../../../examples/drawer.csv"), usual).unwrap();
    let at_hand = resistors(Some(&drawer), Series::E24, 0.01);
    assert!(at_hand.len() > 20);
    let list = dividers(&model, &setup, Battery::USUAL, &at_hand).unwrap();
    assert!(!list.is_empty());
    for divider in &list {
        for resistor in [divider.upper, divider.lower] {
            assert!(at_hand.iter().any(|(r, _)| *r == resistor));
        }
        assert_eq!(divider.volts < 0.0, divider.reversed);
    }
    assert!(dividers(&model, &setup, Battery::USUAL, &[]).unwrap().is_empty());
}
