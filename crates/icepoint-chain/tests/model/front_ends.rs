//! The built-in front ends and a circuit of its own: gain and offset against the textbook formula of each, written here
//! from the circuit; the reading within the limits; a finite budget; a broken sensor beyond the scale.
//!
//! The formulas are those of any textbook on operational amplifiers (common practice, no source): an ideal amplifier with
//! feedback holds its inputs at one voltage, and no current flows into them.

use icepoint_chain::budget::{Study, gum};
use icepoint_chain::front_end::{Blueprint, library};
use icepoint_chain::resolve::Resolved;
use icepoint_chain::{Model, Situation, file, resolve};

const KILN: &str = include_str!("../../../../examples/burnout-kiln.toml");
const BENCH: &str = include_str!("../../../../examples/bench-voltmeter.toml");
const OWN: &str = include_str!("../../../../examples/own-circuit.toml");

/// What the ideal formula leaves out: pull-ups of 10 MΩ and more beside resistors of some kΩ.
const LOADING: f64 = 2e-4;

/// A part of a text from one mark to another.
fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let (_, rest) = text.split_once(from).expect("the first mark");
    rest.split_once(to).expect("the second mark").0
}

/// The kiln or the bench with another front end, every value as usual.
fn with(example: &str, topology: &str) -> String {
    let blueprint = library::named(topology).expect("a front end");
    let front = if blueprint.records().contains(&("amplifier", true)) { "front" } else { "buffer" };
    let buffer = if blueprint.records().iter().any(|(name, _)| *name == "buffer") {
        "buffer = \"buffer\"\n"
    } else {
        ""
    };
    let section = format!("\ntopology = \"{topology}\"\namplifier = \"{front}\"\n{buffer}\n");
    let text = example.replace(between(example, "[front_end]", "[supply]"), &section);
    if example == KILN {
        return text;
    }
    // The bench has one amplifier; the kiln lends it both of its own.
    let records = between(KILN, "[amplifier.front]", "[converter]");
    let text = text.replace("[converter]", &format!("[amplifier.front]{records}\n[converter]"));
    if blueprint.compensates() {
        return text;
    }
    let sensor = between(KILN, "[reference_junction]", "[front_end]");
    let text = text.replace(between(&text, "[reference_junction]", "[front_end]"), sensor);
    text.replace("rule = \"line\"\nslope = \"10 mV/K\"", "rule = \"emf inverse\"")
}

fn resolved(text: &str) -> Resolved {
    let file = file::parse("test.toml", text).unwrap_or_else(|refused| panic!("{refused}\n{text}"));
    resolve::resolve(&file).unwrap_or_else(|refused| panic!("{refused}"))
}

/// A front end on the chain that it suits.
pub fn built(topology: &str) -> Resolved {
    let two_supplies = [
        "single-amplifier",
        "instrumentation-compensated",
        "split-supply-amplifier",
        "split-supply-instrumentation",
    ];
    resolved(&with(if two_supplies.contains(&topology) { BENCH } else { KILN }, topology))
}

/// What `library_parts` looks at: compensation by parts that follow the temperature, taps, a converter alone.
pub const ELSEWHERE: [&str; 5] = [
    "diode-compensation",
    "thermistor-bridge",
    "platinum-bridge",
    "single-amplifier-taps",
    "direct-converter",
];

fn texts() -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    library::TEXTS.iter().filter(|(id, _)| !ELSEWHERE.contains(id))
}

#[test]
fn every_text_of_the_library_is_read() {
    assert_eq!(library::all().len(), library::TEXTS.len());
    for (id, text) in texts() {
        let blueprint: Blueprint = file::read_circuit(id, text).unwrap_or_else(|refused| panic!("{refused}"));
        assert_eq!(&blueprint.id, id);
        for slot in &blueprint.slots {
            let (low, high) = slot.limits;
            assert!(
                slot.tie.is_some() || (low <= slot.usual && slot.usual <= high),
                "{id}: {}",
                slot.designator
            );
            assert!(!slot.purpose.is_empty(), "{id}: {}", slot.designator);
        }
        assert!(blueprint.test_points.len() >= 3, "{id}");
        assert!(blueprint.role("gain").next().is_some() && blueprint.role("filter").next().is_some(), "{id}");
        assert!(blueprint.role("open sensor").next().is_some(), "{id}");
        // A text of the library is a circuit that a user may paste and alter.
        let pasted = format!("{}\n{text}", built(id).chain.name);
        assert!(pasted.contains("[circuit.parts]"), "{id}");
    }
}

/// Nominal offset (V) and gain by the model.
fn transfer(resolved: &Resolved) -> (f64, f64) {
    Model::without_dynamics(resolved.chain.clone()).expect("a circuit that can be solved").nominal_transfer()
}

#[test]
fn gain_and_offset_follow_the_textbook() {
    for (id, _) in texts() {
        let resolved = built(id);
        let chain = &resolved.chain;
        let v = |designator: &str| {
            chain.front_end.value(designator).unwrap_or_else(|| panic!("{id}: {designator}"))
        };
        // Both resistors of the divider, from the reference or the sensor at 25 °C.
        let divided = |volts: f64| volts * v("R6") / (v("R5") + v("R6"));
        let reference = 2.5;
        let sensor = 10e-3 * (25.0 + 0.5 * 0.05); // 10 mV/K at 25 °C, and half of the largest self-heating
        let gain_law = 50e3;
        let halved_loop = 0.5 * (chain.probe.resistance + chain.lead.as_ref().map_or(0.0, |l| l.resistance));
        let (offset, gain, last) = match *id {
            "single-amplifier" => {
                let gain = 1.0 + v("R3") / v("R4");
                (gain * divided(sensor), gain, v("R8"))
            }
            "instrumentation" => (divided(reference), 1.0 + gain_law / v("RG"), v("R9")),
            "instrumentation-compensated" => (divided(sensor), 1.0 + gain_law / v("RG"), v("R7")),
            "pedestal-amplifier" => (divided(reference), 1.0 + v("R3") / v("R4"), v("R8")),
            "split-supply-amplifier" => (0.0, 1.0 + v("R3") / v("R4"), v("R8")),
            "split-supply-instrumentation" => (0.0, 1.0 + gain_law / v("RG"), v("R5")),
            "difference-amplifier" => (divided(reference), v("R3") / (v("R1") + halved_loop), v("R8")),
            "two-amplifier-instrumentation" => (divided(reference), 1.0 + v("R10") / v("R9"), v("R11")),
            "three-amplifier-instrumentation" => {
                let first = 1.0 + 2.0 * v("R7") / v("R9");
                (divided(reference), first * v("R12") / v("R10"), v("R16"))
            }
            other => panic!("no formula for {other}"),
        };
        let load = chain.converter.input_resistance / (chain.converter.input_resistance + last);
        let (found_offset, found_gain) = transfer(&resolved);
        let relative = found_gain / (gain * load) - 1.0;
        println!(
            "{id}: gain {found_gain:.4}, by hand {:.4}; offset {found_offset:.5} V, by hand {:.5} V",
            gain * load,
            offset * load
        );
        assert!(relative.abs() < LOADING, "{id}: {found_gain} instead of {}", gain * load);
        // The detection current flows through the loop, and out at the negative leg: times the gain it is an offset.
        let supply = resolved.surroundings.supply.0;
        let pull_up = v(if chain.front_end.value("R7").is_some_and(|r| r >= 500e3) { "R7" } else { "R4" });
        let stray = match *id {
            "single-amplifier" => (2.0 * halved_loop + v("R6")) * supply / pull_up,
            "pedestal-amplifier" | "instrumentation" | "two-amplifier-instrumentation" => {
                2.0 * halved_loop * (supply - divided(reference)) / pull_up
            }
            "three-amplifier-instrumentation" => 2.0 * halved_loop * (supply - 0.5 * reference) / pull_up,
            // Half of it goes out at either leg, through R1 and R3 to the pedestal.
            "difference-amplifier" => {
                halved_loop * (supply - divided(reference)) / (pull_up + 0.5 * (v("R1") + v("R3")))
            }
            _ => 2.0 * halved_loop * supply / pull_up,
        };
        let by_hand = (offset + gain * stray) * load;
        let allowed = 3e-3 * gain * stray + LOADING * (offset.abs() + 0.01);
        println!("{id}: offset {found_offset:.6} V, by hand {by_hand:.6} V");
        assert!((found_offset - by_hand).abs() < allowed, "{id}: {found_offset} instead of {by_hand}");
    }
}

#[test]
fn every_front_end_is_within_its_limits_has_a_budget_and_shows_a_broken_sensor() {
    let circuits = texts().map(|(id, _)| (*id, built(id))).chain([("own", resolved(OWN))]);
    for (id, resolved) in circuits {
        let model = Model::new(resolved.chain).expect("a circuit that can be solved");
        let need = model.chain().need;
        for hot in [need.hot.0, need.hot.1] {
            for board in [need.board.0, need.board.1] {
                let situation = Situation::at(model.chain(), hot, board);
                let reading = model.predict(&situation, model.mean_deviations()).expect("a reading");
                assert!(
                    reading.limits.is_empty(),
                    "{id} at {hot} °C, board {board} °C: {:?}",
                    reading.limits
                );
            }
        }
        // Of every board, not of the usual one alone.
        let uses = model.headroom().expect("limits");
        let closest = uses.first().expect("a limit");
        println!("{id}: {} has {:.1} % left", closest.what, 100.0 * closest.relative_margin());
        assert!(closest.relative_margin() >= 0.0, "{id}: {closest:?}");
        let shortfall = model.open_sensor_shortfall().expect("a reading");
        assert!(shortfall <= 0.0, "{id}: a broken sensor reads {shortfall} K short of the end of the scale");
        let study = Study::over(&model, vec![need.hot.0, need.hot.1], vec![need.board.0, need.board.1]);
        let points = gum::evaluate(&study).expect("a budget");
        let worst = points.iter().map(|p| p.expanded()).fold(0.0, f64::max);
        assert!(worst.is_finite() && worst > 0.1 && worst < 60.0, "{id}: ±{worst} K");
    }
}

/// The circuit of the example: the buffered sensor, and on it the gain times the thermocouple.
#[test]
fn the_own_circuit_adds_the_sensor_as_it_is() {
    let resolved = resolved(OWN);
    assert_eq!(resolved.blueprint.id, "own");
    assert_eq!(resolved.open, ["R1", "R3", "R4", "C1"]);
    let v = |designator: &str| resolved.chain.front_end.value(designator).expect("a value");
    assert_eq!((v("R8"), v("C4")), (v("R1"), v("C1")), "tied");
    let load = 10e6 / (10e6 + v("R8"));
    let (offset, gain) = transfer(&resolved);
    let by_hand = 1.0 + v("R3") / v("R4");
    assert!((gain / (load * by_hand) - 1.0).abs() < LOADING, "{gain}");
    // The sensor at 25 °C with half of its largest self-heating, and the pull-up's current through the loop.
    let chain = &resolved.chain;
    let loop_ohms = chain.probe.resistance + chain.lead.as_ref().map_or(0.0, |l| l.resistance);
    let sensor = 10e-3 * 25.025;
    let expected = load * (sensor + by_hand * loop_ohms * (5.0 - sensor) / v("R7"));
    assert!((offset / expected - 1.0).abs() < LOADING, "{offset} instead of {expected}");
}

/// A text of the library pasted into a file is the same circuit as the built-in one.
#[test]
fn a_pasted_front_end_is_the_built_in_one() {
    for (id, text) in texts() {
        let built_in = built(id);
        let two_supplies = built_in.surroundings.negative.0 != 0.0;
        let file = with(if two_supplies { BENCH } else { KILN }, id);
        let file = file.replace(&format!("topology = \"{id}\""), "topology = \"own\"");
        let own = resolved(&format!("{file}\n{text}"));
        assert_eq!(own.chain.front_end.parts, built_in.chain.front_end.parts, "{id}");
        assert_eq!(own.chain.front_end.ports, built_in.chain.front_end.ports, "{id}");
    }
}
