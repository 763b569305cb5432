//! Compensation by parts of the circuit: a diode at the summing node against the junction equation in 40 digits
//! (`peers/diode_compensation_mpmath.py`), bridges of a thermistor and of platinum against their formulas.

use icepoint_chain::chain::{Chain, JunctionMethod};
use icepoint_chain::front_end::sensing::{JunctionFigures, PlatinumFigures, ThermistorFigures};
use icepoint_chain::front_end::{
    AmplifierFigures, FrontEnd, Part, PartKind, Ports, ResistorFigures, Stated, TestPoint,
};
use icepoint_chain::imperfection::Family;
use icepoint_sensors::platinum::{Class, Platinum};

use crate::bench::{Board, InHand, bench, emf};

/// Solver against 40 digits, at a gain of 245.
const SOLVER_VOLTS: f64 = 1e-9;
/// The thermocouple moves the diode's current by half a per cent: ½·kT/q·(ΔI/I)² times R3/R5 is what the tangent leaves.
const TANGENT_VOLTS: f64 = 4e-6;

pub fn part(designator: &str, kind: PartKind) -> Part {
    Part { designator: designator.into(), purpose: String::new(), kind }
}

pub fn r(designator: &str, a: &str, b: &str, ohms: f64) -> Part {
    let figures = ResistorFigures { ohms, tolerance: 0.01, tempco: 100e-6, ageing: 0.0, network: None };
    part(designator, PartKind::Resistor { a: a.into(), b: b.into(), figures })
}

pub fn reference(volts: f64) -> Part {
    let kind = PartKind::Reference {
        node: "reference".into(),
        volts,
        tolerance: 0.002,
        drift: 20e-6,
        supply_regulation: 0.0,
        load_regulation: 0.0,
    };
    part("VREF", kind)
}

/// Signal path shared by the three: one non-inverting amplifier whose foot R4 stands on `foot`.
fn board(foot: &str, point: &str, compensation: Vec<Part>) -> Chain {
    bench().with(|c| {
        c.junction.method = JunctionMethod::InCircuit;
        (c.junction.accuracy, c.junction.drift, c.junction.self_heating) = (0.0, 0.0, 0.0);
        c.converter.input_resistance = f64::INFINITY;
        let mut parts: Vec<Part> =
            c.front_end.parts.iter().filter(|p| matches!(p.kind, PartKind::Supply { .. })).cloned().collect();
        parts.push(reference(2.5));
        let figures = AmplifierFigures {
            offset: Stated::Max(10e-6),
            input_low: 0.0,
            input_high: 0.0,
            ..Default::default()
        };
        parts.push(part(
            "A1",
            PartKind::Operational {
                plus: "tc_plus".into(),
                minus: "feedback".into(),
                out: "amp".into(),
                supply: ("supply".into(), "negative".into()),
                figures,
            },
        ));
        parts.push(r("R3", "amp", "feedback", 240e3));
        parts.push(r("R4", "feedback", foot, 1e3));
        parts.extend(compensation);
        c.front_end = FrontEnd {
            title: "in hand".into(),
            id: "own".into(),
            parts,
            ports: Ports {
                plus: "tc_plus".into(),
                minus: "comp".into(),
                output: "amp".into(),
                output_minus: None,
                reference: None,
            },
            test_points: vec![TestPoint { label: "TP1".into(), node: point.into(), what: String::new() }],
        };
    })
}

fn diode_figures() -> JunctionFigures {
    JunctionFigures {
        volts: 0.6,
        amperes: 100e-6,
        spread: 0.025,
        slope_spread: 0.03,
        ideality: 1.0,
        ideality_spread: 0.02,
        series_resistance: 0.0,
        heating: 400.0,
    }
}

/// Diode from the summing node's resistor to ground: its voltage falls as the board warms, the inverting input turns
/// that into a rise.
fn diode(figures: JunctionFigures) -> Chain {
    board(
        "gnd",
        "d",
        vec![
            part("D1", PartKind::Junction { anode: "d".into(), cathode: "gnd".into(), figures }),
            r("R9", "reference", "d", 18.7e3),
            r("R5", "d", "feedback", 51e3),
            r("R6", "reference", "comp", 19.6e3),
            r("R10", "comp", "gnd", 100.0),
        ],
    )
}

/// Output for a thermocouple that gives `volts`, whatever temperature that takes: through two predictions, since the
/// circuit is a straight line of the thermocouple's voltage.
fn output(board: &Board, celsius: f64, volts: f64, d: &[(&str, f64)]) -> (f64, f64) {
    let mut scratch = board.model.scratch();
    let state = board.model.board_state(celsius, &board.moved(d), &mut scratch).unwrap();
    let answer = board.answer(celsius, celsius, d);
    (state.offset + state.gain * volts, answer.test_point_volts[0])
}

#[test]
fn a_diode_at_the_summing_node_is_the_junction_equation() {
    let text = include_str!("diode_compensation.csv");
    let mut rows = 0;
    let (mut worst, mut tangent) = (0.0f64, 0.0f64);
    for line in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let v: Vec<f64> = line.split(',').map(|w| w.parse().unwrap()).collect();
        let [spread, slope, ideality, series, heating, celsius, volts, amp, across] = v[..] else {
            panic!("{line}")
        };
        let figures = JunctionFigures { ideality, series_resistance: series, heating, ..diode_figures() };
        let board = diode(figures).built();
        let mut d = vec![("D1.forward", spread), ("D1.slope", slope)];
        if heating > 0.0 {
            d.push(("D1.heating", heating));
        }
        let (out, test_point) = output(&board, celsius, volts, &d);
        if volts == 0.0 {
            worst = worst.max((out - amp).abs());
            assert!((out - amp).abs() < SOLVER_VOLTS, "{line}: {out} V");
            assert!((test_point - across).abs() < SOLVER_VOLTS, "{line}: {test_point} V at the diode");
        } else {
            tangent = tangent.max((out - amp).abs());
            assert!((out - amp).abs() < TANGENT_VOLTS, "{line}: {out} V");
        }
        rows += 1;
    }
    println!("{rows} rows, {worst} V at zero thermocouple voltage, {tangent} V at 16.4 mV");
    assert_eq!(rows, 144); // a row that got lost must not pass
}

/// The working of docs/front-ends.md: slope injected R3/R5·|dV/dT|, wanted G·S, and the sign of it.
#[test]
fn the_diode_takes_the_board_out_of_the_reading() {
    let board = diode(diode_figures()).built();
    let (r3, r4, r5) = (240e3, 1e3, 51e3);
    // The summing node sees the diode's own resistance, kT/q over its current, behind R5.
    let current = (2.5 - 0.5965) / 18.7e3 - (0.5965 - 0.0127) / r5;
    let own = 1.0 / (current / (8.617333e-5 * 298.15) + 1.0 / 18.7e3);
    let gain = 1.0 + r3 / r4 + r3 / (r5 + own);
    let (_, slope) = board.model.nominal_transfer();
    assert!((slope / gain - 1.0).abs() < 1e-5, "gain {slope}, formula {gain}");
    let at = |t: f64| {
        let (out, _) = output(&board, t, 0.0, &[]);
        out
    };
    let injected = (at(26.0) - at(24.0)) / 2.0;
    // (V − 1.205 V − 3·kT/q)/T at 25 °C, behind the divider of the diode's own resistance and what feeds it.
    let own = 8.617333e-5 * 298.15 / current;
    let free = (1.205 + 3.0 * 8.617333e-5 * 298.15 - 0.5978) / 298.15;
    let formula = r3 / r5 * free / (1.0 + own * (1.0 / 18.7e3 + 1.0 / r5));
    assert!((injected / formula - 1.0).abs() < 2e-3, "{injected} V/K injected, formula {formula} V/K");
    // With the polarity right the reading hardly follows the board; with the emf alone it would lose 40 µV/K of it.
    let wanted = gain * emf(&board, 1.0);
    let left = (board.reads(200.0, 35.0, &[]) - board.reads(200.0, 15.0, &[])) / 20.0;
    println!("injected {injected} V/K of {wanted} V/K wanted; the reading follows the board by {left} K/K");
    assert!(left.abs() < 0.15, "{left} K/K");
}

/// Half of the self-heating is the mean; the whole of it moves the reading by what the slope makes of it.
#[test]
fn a_warm_diode_reads_as_a_warm_board() {
    let board = diode(diode_figures()).built();
    let watts = 0.5965 * 93e-6;
    let moved =
        board.reads(200.0, 25.0, &[("D1.heating", 400.0)]) - board.reads(200.0, 25.0, &[("D1.heating", 0.0)]);
    let kelvin = 400.0 * watts;
    let (injected, slope) = (240.0 / 51.0 * 2.3e-3, 10e-3);
    assert!((moved / (kelvin * injected / slope) - 1.0).abs() < 0.1, "{moved} K by {kelvin} K of warming");
}

/// Thermistor bridge: the thermistor with its parallel resistor above the arm that the thermocouple stands on.
fn thermistor() -> Chain {
    let figures =
        ThermistorFigures { r25: 10e3, beta: 3950.0, tolerance: 0.01, beta_tolerance: 0.01, heating: 1000.0 };
    board(
        "arm",
        "comp",
        vec![
            r("R5", "reference", "d", 20e3),
            part("RT1", PartKind::Thermistor { a: "d".into(), b: "comp".into(), figures }),
            r("R6", "d", "comp", 10e3),
            r("R10", "comp", "gnd", 100.0),
            r("R9", "reference", "arm", 26.1e3),
            r("R11", "arm", "gnd", 100.0),
        ],
    )
}

#[test]
fn a_thermistor_bridge_is_its_divider() {
    let board = thermistor().built();
    for celsius in [-10.0, 5.0, 25.0, 60.0f64] {
        // No self-heating: the formula by hand.
        let (out, _) = output(&board, celsius, 0.0, &[("RT1.heating", 0.0)]);
        let rt = 10e3 * libm::exp(3950.0 * (1.0 / (celsius + 273.15) - 1.0 / 298.15));
        let comp = 2.5 * 100.0 / (20e3 + 1.0 / (1.0 / rt + 1.0 / 10e3) + 100.0);
        // The arm is loaded by the feedback: Thévenin of the divider under R4.
        let (arm, source) = (2.5 * 100.0 / 26.2e3, 26.1e3 * 100.0 / 26.2e3);
        let formula = comp + (comp - arm) * 240e3 / (1e3 + source);
        assert!((out - formula).abs() < SOLVER_VOLTS, "{celsius} °C: {out} V, formula {formula} V");
    }
}

/// Platinum bridge: Pt100 as the lower arm under the thermocouple, balanced by 100 Ω at 0 °C.
fn platinum() -> Chain {
    let figures = PlatinumFigures { ice_ohms: 100.0, class: Class::B, heating: 300.0 };
    board(
        "arm",
        "comp",
        vec![
            r("R5", "reference", "comp", 24e3),
            part("RT1", PartKind::Platinum { a: "comp".into(), b: "gnd".into(), figures }),
            r("R9", "reference", "arm", 24e3),
            r("R10", "arm", "gnd", 100.0),
        ],
    )
}

#[test]
fn a_platinum_bridge_is_its_divider_and_balances_at_zero() {
    let board = platinum().built();
    for celsius in [-20.0, 0.0, 25.0, 60.0] {
        for class in [0.0, 1.0, -1.0f64] {
            let (out, _) = output(&board, celsius, 0.0, &[("RT1.heating", 0.0), ("RT1.class", class)]);
            let seems = celsius + class * (0.30 + 0.005 * celsius.abs());
            let rt = Platinum::HUNDRED_OHMS.resistance(seems).unwrap();
            let comp = 2.5 * rt / (24e3 + rt);
            let (arm, source) = (2.5 * 100.0 / 24.1e3, 24e3 * 100.0 / 24.1e3);
            let formula = comp + (comp - arm) * 240e3 / (1e3 + source);
            assert!((out - formula).abs() < SOLVER_VOLTS, "{celsius} °C: {out} V, formula {formula} V");
        }
    }
    // Balanced at 0 °C but for the arm's own 10 mV.
    let (zero, _) = output(&board, 0.0, 0.0, &[("RT1.heating", 0.0)]);
    assert!((zero - 2.5 * 100.0 / 24.1e3).abs() < SOLVER_VOLTS, "{zero} V");
}

/// Every part brings its entries, and the budget of each board is finite.
#[test]
fn budgets_are_finite_and_name_the_parts() {
    for (chain, ids) in [
        (diode(diode_figures()), &["D1.forward", "D1.slope", "D1.ideality", "D1.heating"][..]),
        (thermistor(), &["RT1.r25", "RT1.beta", "RT1.heating"][..]),
        (platinum(), &["RT1.class", "RT1.heating"][..]),
    ] {
        let board = chain.built();
        for id in ids {
            assert_eq!(board.model.imperfections()[board.index(id)].family, Family::Junction);
        }
        let budget = icepoint_chain::Budget::new(&board.model, &|_| ()).unwrap();
        let point = &budget.of(icepoint_chain::chain::CalibrationWish::ZeroAndSpan)[0];
        assert!(point.gum.expanded().is_finite() && point.gum.expanded() > 0.0);
    }
}

/// A diode the wrong way round carries no current: an error that says what to look at, not a number.
#[test]
fn a_reversed_diode_is_refused() {
    let chain = diode(diode_figures()).with(|c| {
        for part in &mut c.front_end.parts {
            if let PartKind::Junction { anode, cathode, .. } = &mut part.kind {
                std::mem::swap(anode, cathode);
            }
        }
    });
    let error = icepoint_chain::Model::new(chain).unwrap_err().to_string();
    assert!(error.contains("D1") && error.contains("forward direction"), "{error}");
}
