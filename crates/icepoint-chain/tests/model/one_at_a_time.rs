//! Every imperfection moved alone, by its whole limit, against the formulas of `hand`; one that nobody has a formula
//! for fails the test.

use crate::bench::{Board, InHand, bench, corners, emf, kiln};
use crate::hand::{Amp, Instrumentation, SingleAmplifier, class_1};
use icepoint_chain::chain::{Chain, ConverterKind, Readout};
use icepoint_chain::situation::Situation;

/// Solver, cubic inverse and the inverse of `icepoint-sensors` together.
const ROUNDING_KELVIN: f64 = 2e-6;

/// Reading of a board with these deviations at a hot and a board temperature, by formula, °C.
type ByHand = fn(&Board, &[(&str, f64)], f64, f64) -> f64;

/// What one set of deviations makes of the world around the formulas.
struct World {
    sensor: f64,
    bow: f64,
    gradient: f64,
    hot: f64,
    lead: f64,
    converter_volts: f64,
    converter_gain: f64,
}

fn amp<'a>(amps: [(&str, &'a mut Amp); 3], name: &str) -> &'a mut Amp {
    amps.into_iter()
        .find(|(n, _)| *n == name)
        .map(|(_, a)| a)
        .unwrap_or_else(|| panic!("no amplifier {name}"))
}

/// Applies one deviation of an amplifier; false if it is none.
fn amplifier(a: &mut Amp, what: &str, d: f64, warm: f64) -> bool {
    match what {
        "offset" | "psrr" => a.offset += d,
        "offset_drift" => a.offset += d * warm,
        "bias" => {
            a.bias_plus += d;
            a.bias_minus += d;
        }
        // The difference of the two is d: half of it each way.
        "offset_current" => {
            a.bias_plus += 0.5 * d;
            a.bias_minus -= 0.5 * d;
        }
        "cmrr" => a.inverse_cmrr += d,
        "open_loop_gain" => a.inverse_gain += d,
        _ => return false,
    }
    true
}

fn resistor(r: &mut f64, nominal: f64, what: &str, d: f64, warm: f64) -> bool {
    match what {
        "tolerance" | "ageing" => *r += nominal * d,
        "tempco" => *r += nominal * d * warm,
        _ => return false,
    }
    true
}

impl World {
    fn none() -> Self {
        Self {
            sensor: 0.0,
            bow: 0.0,
            gradient: 0.0,
            hot: 0.0,
            lead: 0.0,
            converter_volts: 0.0,
            converter_gain: 0.0,
        }
    }

    /// Applies what does not sit in the circuit; false if it does.
    fn apply(&mut self, chain: &Chain, id: &str, d: f64, hot: f64, board: f64) -> bool {
        let warm = board - 25.0;
        match id {
            "probe.tolerance" => self.hot += d * class_1(hot),
            "lead.tolerance" => self.lead = d,
            "junction.accuracy" | "junction.self_heating" => self.sensor += d,
            "junction.drift" => self.sensor += d * warm,
            "junction.gradient" => self.gradient += d,
            "junction.bow" => {
                let (low, high) = chain.need.board;
                let reach = (low - 25.0).abs().max((high - 25.0).abs());
                self.bow += d * (warm / reach) * (warm / reach);
            }
            "converter.quantisation"
            | "converter.offset"
            | "converter.nonlinearity"
            | "converter.noise"
            | "noise.circuit"
            | "mains.series"
            | "mains.common"
            | "mains.harmonics"
            | "A1.gain_nonlinearity" => self.converter_volts += d,
            "converter.gain" => self.converter_gain += d,
            _ => return false,
        }
        true
    }

    /// Thermocouple voltage at the terminals: NX class 1 may be off by 60 µV (IEC 60584-3), reached at half of 200 °C.
    fn volts(&self, board: &Board, hot: f64, at: f64) -> f64 {
        let terminals = at + self.gradient;
        let head = Situation::at(board.chain(), hot, at).head;
        let cable = self.lead * 60e-6 * ((head - terminals) / 100.0).clamp(-1.0, 1.0);
        emf(board, hot + self.hot) - emf(board, terminals) + cable
    }
}

fn kiln_reads(board: &Board, moved: &[(&str, f64)], hot: f64, at: f64) -> f64 {
    let chain = board.chain();
    let warm = at - 25.0;
    let nominal = Instrumentation::of(chain);
    let mut hand = nominal.clone();
    let mut world = World::none();
    for &(id, d) in moved {
        if world.apply(chain, id, d, hot, at) {
            continue;
        }
        let (part, what) = id.split_once('.').unwrap();
        let known = match (part, what) {
            ("VS", "supply") => {
                hand.supply += nominal.supply * d;
                true
            }
            ("VREF", _) => {
                hand.reference += match what {
                    "initial" => 2.5 * d,
                    "drift" => 2.5 * d * warm,
                    "supply_regulation" | "load_regulation" => d,
                    other => panic!("{other}"),
                };
                true
            }
            ("A1", "gain_error") => {
                hand.gain_factor += d;
                true
            }
            ("A1", "gain_drift") => {
                hand.gain_factor += d * warm;
                true
            }
            ("RG", _) => resistor(&mut hand.rg, nominal.rg, what, d, warm),
            _ if part.starts_with('R') => {
                let n: usize = part[1..].parse().unwrap();
                resistor(&mut hand.r[n], nominal.r[n], what, d, warm)
            }
            _ => {
                let amps = [("A1", &mut hand.a1), ("A2", &mut hand.a2), ("A3", &mut hand.a3)];
                amplifier(amp(amps, part), what, d, warm)
            }
        };
        assert!(known, "nobody has a formula for {id}");
    }
    let v = world.volts(board, hot, at);
    let u = (hand.output(v) + world.converter_volts) * (1.0 + world.converter_gain) * hand.nominal_reference
        / hand.reference;
    // The firmware's constants: everything at its mean, board at 25 °C.
    let mut mean = nominal;
    mean.a2.inverse_gain = 0.5e-6;
    mean.a3.inverse_gain = 0.5e-6;
    let (a, b) = (mean.output(0.0), mean.output(1.0) - mean.output(0.0));
    let total = (u - a) / b + emf(board, at + world.sensor);
    chain.probe.letter.temperature(total).unwrap()
}

fn bench_reads(board: &Board, moved: &[(&str, f64)], hot: f64, at: f64) -> f64 {
    let chain = board.chain();
    let warm = at - 25.0;
    let nominal = SingleAmplifier::of(chain);
    let mut hand = nominal.clone();
    let mut world = World::none();
    for &(id, d) in moved {
        if world.apply(chain, id, d, hot, at) {
            continue;
        }
        let (part, what) = id.split_once('.').unwrap();
        let known = match (part, what) {
            ("VS", "supply") => {
                hand.supply += nominal.supply * d;
                true
            }
            // The negative rail only bounds the output.
            ("VN", "supply") => true,
            _ if part.starts_with('R') => {
                let n: usize = part[1..].parse().unwrap();
                resistor(&mut hand.r[n], nominal.r[n], what, d, warm)
            }
            _ => amplifier(&mut hand.a1, what, d, warm),
        };
        assert!(known, "nobody has a formula for {id}");
    }
    let out = hand.output(world.volts(board, hot, at), at + world.sensor + world.bow);
    let u = (out + world.converter_volts) * (1.0 + world.converter_gain);
    let Readout::Line { slope, offset } = chain.readout else { panic!("no line") };
    (u - offset) / slope
}

/// All means, with one of them replaced.
fn deviations(board: &Board, id: &str, d: f64) -> Vec<(String, f64)> {
    let means = board.model.imperfections().iter().filter(|i| i.distribution.mean() != 0.0 && i.id != id);
    means.map(|i| (i.id.clone(), i.distribution.mean())).chain([(id.to_owned(), d)]).collect()
}

fn every_imperfection_alone(board: &Board, least: usize, by_hand: ByHand) {
    let mut worst = (0.0f64, String::new());
    let ids: Vec<String> = board.model.imperfections().iter().map(|i| i.id.clone()).collect();
    assert!(ids.len() >= least, "only {} imperfections are left", ids.len());
    let mut without_effect = Vec::new();
    for id in &ids {
        let mut effect = 0.0f64;
        for share in [-1.0, 1.0] {
            let (low, high) = board.distribution(id).limits();
            let d = if share < 0.0 { low } else { high };
            for (hot, at) in corners(board.chain()) {
                // Inside the range by so much that a whole limit doesn't reach the end of the converter's span.
                let hot = hot.clamp(board.chain().need.hot.0 + 30.0, board.chain().need.hot.1 - 30.0);
                let moved = deviations(board, id, d);
                let moved: Vec<(&str, f64)> = moved.iter().map(|(id, d)| (id.as_str(), *d)).collect();
                let reads = board.reads(hot, at, &[(id, d)]);
                let off = (reads - by_hand(board, &moved, hot, at)).abs();
                effect = effect.max((reads - board.reads(hot, at, &[])).abs());
                if off > worst.0 {
                    worst = (off, format!("{id} at {d:e}, {hot} °C, board at {at} °C"));
                }
            }
        }
        if effect == 0.0 {
            without_effect.push(id.clone());
        }
    }
    println!(
        "{} imperfections, worst {:.1e} K: {}; without effect: {without_effect:?}",
        ids.len(),
        worst.0,
        worst.1
    );
    assert!(worst.0 < ROUNDING_KELVIN, "{} K off: {}", worst.0, worst.1);
    // Only the negative rail may do nothing; anything else that does nothing would be a row for show.
    assert!(without_effect.iter().all(|id| id == "VN.supply"), "{without_effect:?}");
}

#[test]
fn each_of_the_kiln() {
    every_imperfection_alone(&kiln().built(), 50, kiln_reads);
}

#[test]
fn each_of_the_bench_thermometer() {
    every_imperfection_alone(&bench().built(), 25, bench_reads);
}

/// All of them together, at shares of their limits that differ: products of deviations are there too.
#[test]
fn all_at_once() {
    for (board, by_hand) in [(kiln().built(), kiln_reads as ByHand), (bench().built(), bench_reads)] {
        let moved: Vec<(String, f64)> = (board.model.imperfections().iter().enumerate())
            .map(|(i, imperfection)| {
                let (low, high) = imperfection.distribution.limits();
                let share = 0.5 + 0.4 * libm::sin(1.7 * i as f64);
                (imperfection.id.clone(), low + share * (high - low))
            })
            .collect();
        let moved: Vec<(&str, f64)> = moved.iter().map(|(id, d)| (id.as_str(), *d)).collect();
        for (hot, at) in corners(board.chain()) {
            let hot = hot.clamp(board.chain().need.hot.0 + 30.0, board.chain().need.hot.1 - 60.0);
            let (reads, expected) = (board.reads(hot, at, &moved), by_hand(&board, &moved, hot, at));
            assert!(
                (reads - expected).abs() < ROUNDING_KELVIN,
                "{hot} °C, {at} °C: {reads}, expected {expected}"
            );
        }
    }
}

/// The sizes that the data sheets of the two boards give, worked out on paper.
#[test]
fn sizes_are_those_of_the_data_sheets() {
    let kiln = kiln().built();
    let lsb = 2.5 / 4096.0;
    for (id, size) in [
        ("A1.offset", 25e-6),
        ("A1.cmrr", 5.011_872_336_272_72e-6),     // 106 dB
        ("A1.psrr", 0.165 / 316_227.766_016_838), // 5 % of 3.3 V over 110 dB
        ("A2.open_loop_gain", 1e-6),
        ("RG.tolerance", 0.01),
        ("RG.tempco", 50e-6),
        ("VREF.initial", 0.002),
        ("VREF.supply_regulation", 100e-6 * 0.165),
        // 0.1 Ω, the default, under what the pedestal's divider draws.
        ("VREF.load_regulation", 0.1 * 2.5 / (102e3 + 5.11e3)),
        ("converter.quantisation", 0.5 * lsb),
        ("converter.offset", 2.0 * lsb),
        ("converter.nonlinearity", 2.0 * lsb),
        ("A1.gain_nonlinearity", 20e-6 * 2.5),
        ("junction.accuracy", 0.5),
    ] {
        let limit = kiln.limit(id);
        assert!((limit / size - 1.0).abs() < 1e-12, "{id}: {limit}, expected {size}");
    }
    // The mean of 20 conversions with half a step of noise each.
    let noise = kiln.distribution("converter.noise").standard();
    assert!((noise / (0.5 * lsb / 20f64.sqrt()) - 1.0).abs() < 1e-12, "{noise}");
    let bench = bench().built();
    let ConverterKind::Voltmeter { resolution, .. } = bench.chain().converter.kind else {
        panic!("no voltmeter")
    };
    assert_eq!(bench.limit("converter.quantisation"), 0.5 * resolution);
    assert_eq!(bench.limit("converter.gain"), 0.005);
    assert_eq!(bench.limit("converter.offset"), 0.002);
}
