//! A search that breaks judgements off early must choose what one without short cuts chooses.

use crate::bench::{Text, example, kiln_but};
use icepoint_design::search::{choose, choose_without_short_cuts};

fn same(name: &str, text: Text) {
    let resolved = text.resolved();
    let (quick, whole) = (choose(&resolved).unwrap(), choose_without_short_cuts(&resolved).unwrap());
    println!("{name}: {} and {} boards", quick.tried, whole.tried);
    assert_eq!(quick.values, whole.values, "{name}");
    assert_eq!(quick.fits, whole.fits, "{name}");
    assert_eq!(quick.tried, whole.tried, "{name}: the walks differ");
}

#[test]
fn on_the_examples() {
    for name in ["bench-voltmeter.toml", "freezer.toml"] {
        same(name, example(name));
    }
}

/// Small cases drawn by a fixed rule (Lehmer's generator with the multiplier of Park and Miller, 1988): some places open,
/// another range, another accuracy of the trim.
#[test]
fn on_small_cases_at_random() {
    let places = ["RG", "R5", "R6", "R7", "R8", "C5", "C6", "R1"];
    let mut state: u64 = 20_260_101;
    let mut draw = |n: u64| {
        state = state * 48_271 % 2_147_483_647;
        state % n
    };
    for case in 0..6 {
        let open: Vec<&str> = places.iter().copied().filter(|_| draw(3) == 0).collect();
        let hot = 500 + 100 * draw(7);
        let series = ["E6", "E12", "E24"][draw(3) as usize];
        let calibration = ["none", "zero", "zero and span"][draw(3) as usize];
        let text = kiln_but(&open)
            .with("[\"20 °C\", \"1100 °C\"]", &format!("[\"20 °C\", \"{hot} °C\"]"))
            .with("at = [\"20 °C\", \"1000 °C\"]", &format!("at = [\"20 °C\", \"{} °C\"]", hot - 50))
            .with("calibration = \"zero and span\"", &format!("calibration = \"{calibration}\""))
            .with("series = \"E96\"", &format!("series = \"{series}\""));
        same(&format!("case {case}: {open:?} up to {hot} °C from {series}, {calibration}"), text);
    }
}
