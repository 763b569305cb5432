//! Front ends to be drawn, written as a list of parts and nodes: one line a part.

// Each user takes what it needs.
#![allow(dead_code, clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use icepoint_chain::front_end::sensing::{
    ClampFigures, DetectionFigures, JunctionFigures, PlatinumFigures, ThermistorFigures,
};
use icepoint_chain::front_end::{
    AmplifierFigures, FrontEnd, Network, Part, PartKind, Ports, ResistorFigures, Surroundings, TestPoint,
    Values, library,
};
use icepoint_sensors::platinum::Class;

pub mod variants;

/// A front end from lines of text:
/// `R1 a b`, `C1 a b`, `A1 plus minus out`, `I1 plus minus reference out RG`, `U1 node`, `VS node volts`, `VREF node volts`,
/// `TP1 node`, `in plus minus`, `out node`, `D1 anode cathode`, clamp `K1 anode cathode`, thermistor `N1 a b`, platinum
/// `P1 a b`, current `J1 from to`, `out node minus`, `network RN1 R1 R2`.
pub fn front_end(id: &str, lines: &str) -> FrontEnd {
    let mut f = FrontEnd {
        title: id.to_owned(),
        id: id.to_owned(),
        parts: Vec::new(),
        ports: Ports {
            plus: String::new(),
            minus: String::new(),
            output: String::new(),
            output_minus: None,
            reference: None,
        },
        test_points: Vec::new(),
    };
    let negative = lines.contains("VN ");
    let supply = ("supply".to_owned(), if negative { "negative" } else { "gnd" }.to_owned());
    for line in lines.lines().map(str::trim).filter(|l| !l.is_empty()) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let s = |i: usize| words[i].to_owned();
        let figures =
            ResistorFigures { ohms: 1e3, tolerance: 0.01, tempco: 5e-5, ageing: 0.0, network: None };
        let amplifier = AmplifierFigures { record: "front".to_owned(), ..AmplifierFigures::default() };
        let kind = match (&words[0][..1], words.len()) {
            ("i", 3) if words[0] == "in" => {
                (f.ports.plus, f.ports.minus) = (s(1), s(2));
                continue;
            }
            ("o", 2) => {
                f.ports.output = s(1);
                continue;
            }
            ("o", 3) => {
                f.ports.output = s(1);
                f.ports.output_minus = Some(s(2));
                continue;
            }
            ("n", _) => {
                for part in &mut f.parts {
                    if let (true, PartKind::Resistor { figures, .. }) =
                        (words[2..].contains(&part.designator.as_str()), &mut part.kind)
                    {
                        figures.network = Some(Network { name: s(1), tolerance: 1e-3, tempco: 5e-6 });
                    }
                }
                continue;
            }
            ("D", _) => PartKind::Junction {
                anode: s(1),
                cathode: s(2),
                figures: JunctionFigures {
                    volts: 0.6,
                    amperes: 1e-4,
                    spread: 0.01,
                    slope_spread: 0.0,
                    ideality: 1.0,
                    ideality_spread: 0.0,
                    series_resistance: 0.0,
                    heating: 0.0,
                },
            },
            ("K", _) => PartKind::Clamp {
                anode: s(1),
                cathode: s(2),
                figures: ClampFigures {
                    leakage: 1e-9,
                    doubling: 10.0,
                    either_way: false,
                    volts: 0.6,
                    amperes: 0.1,
                },
            },
            ("N", _) => PartKind::Thermistor {
                a: s(1),
                b: s(2),
                figures: ThermistorFigures {
                    r25: 1e4,
                    beta: 3950.0,
                    tolerance: 0.01,
                    beta_tolerance: 0.01,
                    heating: 0.0,
                },
            },
            ("P", _) => PartKind::Platinum {
                a: s(1),
                b: s(2),
                figures: PlatinumFigures { ice_ohms: 100.0, class: Class::B, heating: 0.0 },
            },
            ("J", _) => PartKind::DetectionCurrent {
                from: s(1),
                to: s(2),
                figures: DetectionFigures { amperes: 1e-6, tolerance: 0.1, pulse: None },
            },
            ("T", 2) => {
                f.test_points.push(TestPoint { label: s(0), node: s(1), what: String::new() });
                continue;
            }
            ("R", _) => PartKind::Resistor { a: s(1), b: s(2), figures },
            ("C", _) => PartKind::Capacitor { a: s(1), b: s(2), farads: 1e-7, tolerance: 0.1 },
            ("A", _) => PartKind::Operational {
                plus: s(1),
                minus: s(2),
                out: s(3),
                supply: supply.clone(),
                figures: amplifier,
            },
            ("I", _) => {
                f.parts.push(Part {
                    designator: s(5),
                    purpose: String::new(),
                    kind: PartKind::GainResistor { amplifier: s(0), figures },
                });
                PartKind::Instrumentation {
                    plus: s(1),
                    minus: s(2),
                    reference: s(3),
                    out: s(4),
                    supply: supply.clone(),
                    figures: amplifier,
                    gain_constant: 5e4,
                    gain_error: 0.0,
                    gain_drift: 0.0,
                    gain_nonlinearity: 0.0,
                }
            }
            ("U", _) => PartKind::TemperatureSensor { node: s(1) },
            ("V", _) if words[0] == "VREF" => {
                f.ports.reference = Some(s(1));
                PartKind::Reference {
                    node: s(1),
                    volts: words[2].parse().expect("volts"),
                    tolerance: 1e-3,
                    drift: 0.0,
                    supply_regulation: 0.0,
                    load_regulation: 0.0,
                }
            }
            ("V", _) => {
                PartKind::Supply { node: s(1), volts: words[2].parse().expect("volts"), tolerance: 0.01 }
            }
            other => panic!("{line}: {other:?}"),
        };
        f.parts.push(Part { designator: s(0), purpose: String::new(), kind });
    }
    f
}

const SUPPLY: &str = "VS supply 3.3\nVREF reference 2.5\n";

/// The kiln's supplies, amplifiers and probe.
fn kiln_surroundings() -> Surroundings {
    static AROUND: std::sync::OnceLock<Surroundings> = std::sync::OnceLock::new();
    let read = || {
        let kiln = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/burnout-kiln.toml");
        let file = icepoint_chain::file::load(std::path::Path::new(kiln)).expect("the kiln's file is sound");
        icepoint_chain::resolve::resolve(&file).expect("and complete").surroundings
    };
    AROUND.get_or_init(read).clone()
}

/// Every front end of the library with its usual values.
pub fn library() -> Vec<(FrontEnd, bool)> {
    let surroundings = kiln_surroundings();
    let built = |b: &icepoint_chain::front_end::Blueprint| {
        let front_end = b.build(&surroundings, &Values::new());
        let converter = front_end.ports.reference.is_some() || front_end.ports.output_minus.is_some();
        (front_end, converter)
    };
    library::all().iter().map(built).collect()
}

/// Every front end of this list with its name, and whether a converter reads it.
pub fn all() -> Vec<(FrontEnd, bool)> {
    let mut list = Vec::new();
    let mut add = |id: &str, converter: bool, lines: &str| {
        list.push((front_end(id, &format!("{SUPPLY}{lines}")), converter))
    };
    add(
        "single-amplifier",
        false,
        "U1 sensor\nA1 in feedback amp\nR1 tc_plus in\nR3 amp feedback\nR4 feedback gnd\nR5 sensor comp\nR6 comp gnd
         R7 supply tc_plus\nR8 amp out\nC1 in gnd\nC2 amp feedback\nC3 comp gnd\nC4 out gnd\nnetwork RN1 R3 R4
         TP1 tc_plus\nTP2 comp\nTP3 sensor\nTP4 amp\nTP5 out\nin tc_plus comp\nout out",
    );
    add(
        "instrumentation",
        true,
        "I1 in_plus in_minus bias amp RG\nA2 pedestal bias bias\nA3 low_pass filtered filtered\nR1 tc_plus in_plus
         R2 tc_minus in_minus\nR3 tc_minus bias\nR4 supply tc_plus\nR5 reference pedestal\nR6 pedestal gnd
         R7 amp middle\nR8 middle low_pass\nR9 filtered adc\nC1 in_plus in_minus\nC2 in_plus gnd\nC3 in_minus gnd
         C4 pedestal gnd\nC5 middle filtered\nC6 low_pass gnd\nC7 adc gnd\nnetwork RN1 R1 R2\nnetwork RN2 R5 R6
         TP1 tc_plus\nTP2 tc_minus\nTP3 bias\nTP4 amp\nTP5 adc\nin tc_plus tc_minus\nout adc",
    );
    add(
        "two-amplifiers",
        true,
        "R1 tc_plus in_plus\nR2 tc_minus in_minus\nC1 in_plus in_minus\nR3 tc_minus bias\nR4 supply tc_plus
         A1 in_minus low first\nR5 bias low\nR6 low first\nA2 in_plus high amp\nR7 first high\nR8 high amp\nRG low high
         A3 pedestal bias bias\nR9 reference pedestal\nR10 pedestal gnd\nC2 pedestal gnd\nR11 amp adc\nC3 adc gnd
         TP1 tc_plus\nTP2 tc_minus\nTP3 bias\nTP4 amp\nTP5 adc\nin tc_plus tc_minus\nout adc",
    );
    add(
        "three-amplifiers",
        true,
        "R1 tc_plus in_plus\nR2 tc_minus in_minus\nC1 in_plus in_minus\nC2 in_plus gnd\nC3 in_minus gnd\nR3 tc_minus bias
         R4 supply tc_plus\nA1 in_plus low upper\nA2 in_minus high lower\nR5 upper low\nRG low high\nR6 lower high
         R7 upper minus\nR8 minus amp\nR9 lower plus\nR10 plus bias\nA3 plus minus amp\nA4 pedestal bias bias
         R11 reference pedestal\nR12 pedestal gnd\nC4 pedestal gnd\nR13 amp adc\nC5 adc gnd\nnetwork RN1 R7 R8 R9 R10
         TP1 tc_plus\nTP2 tc_minus\nTP3 bias\nTP4 amp\nTP5 adc\nTP6 upper\nTP7 lower\nin tc_plus tc_minus\nout adc",
    );
    add(
        "difference",
        true,
        "R1 tc_plus plus\nR2 plus bias\nR3 tc_minus minus\nR4 minus amp\nA1 plus minus amp\nA2 pedestal bias bias
         R5 reference pedestal\nR6 pedestal gnd\nR7 supply tc_plus\nR8 tc_minus bias\nR9 amp adc\nC1 adc gnd\nC2 minus amp
         TP1 tc_plus\nTP2 tc_minus\nTP3 bias\nTP4 amp\nTP5 adc\nin tc_plus tc_minus\nout adc",
    );
    add(
        "low-pass-one-pole",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback gnd\nR3 amp adc\nC1 adc gnd\nR4 supply tc_plus
         TP1 tc_plus\nTP2 amp\nin tc_plus gnd\nout adc",
    );
    add(
        "sallen-key-two-poles",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback gnd\nR3 amp m\nR4 m p\nC1 m adc\nC2 p gnd\nA2 p adc adc
         R5 supply tc_plus\nTP1 tc_plus\nTP2 amp\nTP3 adc\nin tc_plus gnd\nout adc",
    );
    add(
        "sallen-key-three-poles",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback gnd\nR3 amp m\nR4 m p\nC1 m f\nC2 p gnd\nA2 p f f
         R6 f adc\nC3 adc gnd\nR5 supply tc_plus\nTP1 tc_plus\nTP2 amp\nTP3 adc\nin tc_plus gnd\nout adc",
    );
    add(
        "sallen-key-four-poles",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback gnd\nR3 amp m\nR4 m p\nC1 m f\nC2 p gnd\nA2 p f f
         R6 f n\nR7 n q\nC3 n adc\nC4 q gnd\nA3 q g adc\nR8 adc g\nR9 g gnd\nR5 supply tc_plus
         TP1 tc_plus\nTP2 amp\nTP3 f\nTP4 adc\nin tc_plus gnd\nout adc",
    );
    add(
        "multiple-feedback-two-poles",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback gnd\nR3 amp x\nR4 x adc\nC1 x gnd\nR5 x minus\nC2 minus adc
         A2 bias minus adc\nR7 reference bias\nR8 bias gnd\nR6 supply tc_plus\nTP1 tc_plus\nTP2 amp\nTP3 adc
         in tc_plus gnd\nout adc",
    );
    add(
        "multiple-feedback-four-poles",
        true,
        "A1 tc_plus feedback amp\nR1 amp feedback\nR2 feedback bias\nR3 amp x\nR4 x f\nC1 x bias\nR5 x minus\nC2 minus f
         A2 bias minus f\nR6 f y\nR7 y adc\nC3 y bias\nR8 y other\nC4 other adc\nA3 bias other adc
         A4 pedestal bias bias\nR9 reference pedestal\nR10 pedestal gnd\nR11 supply tc_plus\nTP1 tc_plus\nTP2 amp\nTP3 f
         TP4 adc\nin tc_plus bias\nout adc",
    );
    add(
        "direct-converter",
        true,
        "R1 tc_plus adc\nC1 adc gnd\nR2 supply tc_plus\nTP1 tc_plus\nTP2 adc\nin tc_plus bias\nout adc
         R3 reference bias\nR4 bias gnd\nC2 bias gnd\nC3 supply gnd",
    );
    add(
        "pedestal",
        false,
        "A1 plus minus amp\nR1 tc_plus plus\nC1 plus gnd\nR2 amp minus\nR3 minus gnd\nR4 reference minus\nR5 supply tc_plus
         R6 amp out\nC2 out gnd\nTP1 tc_plus\nTP2 amp\nTP3 out\nin tc_plus gnd\nout out",
    );
    add(
        "inverting-summing",
        false,
        "A1 plus minus amp\nR1 tc_minus minus\nR2 minus amp\nC1 minus amp\nR3 plus gnd\nR4 supply node\nR5 node gnd
         R6 node minus\nR7 amp out\nC2 out gnd\nTP1 amp\nTP2 node\nTP3 out\nin tc_plus tc_minus\nout out\nR8 tc_plus gnd\nVN negative -5",
    );
    add(
        "differential-converter",
        true,
        "R1 tc_plus ain_plus\nR2 tc_minus ain_minus\nC1 ain_plus ain_minus\nC2 ain_plus gnd\nC3 ain_minus gnd
         R3 reference bias\nR4 bias gnd\nC4 bias gnd\nR5 bias tc_minus\nJ1 supply tc_plus\nK1 ain_plus supply
         K2 gnd ain_plus\nTP1 tc_plus\nTP2 tc_minus\nTP3 ain_plus\nTP4 ain_minus\nin tc_plus tc_minus\nout ain_plus ain_minus",
    );
    add(
        "diode",
        false,
        "A1 in sum amp\nR1 tc_plus in\nC1 in gnd\nR2 supply diode\nD1 diode gnd\nR3 diode sum\nR4 sum gnd\nR5 sum amp
         C2 sum amp\nR6 amp out\nC3 out gnd\nR7 supply tc_plus\nTP1 tc_plus\nTP2 diode\nTP3 amp\nTP4 out
         in tc_plus gnd\nout out",
    );
    add(
        "thermistor-bridge",
        false,
        "A1 in feedback amp\nR1 tc_plus in\nC1 in gnd\nR2 amp feedback\nR3 feedback gnd\nR4 reference comp\nN1 comp mid
         R5 mid gnd\nR6 comp gnd\nC2 comp gnd\nR7 amp out\nC3 out gnd\nR8 supply tc_plus\nTP1 tc_plus\nTP2 comp\nTP3 amp
         TP4 out\nin tc_plus comp\nout out",
    );
    add(
        "platinum",
        true,
        "I1 in_plus in_minus bias adc RG\nR1 tc_plus in_plus\nR2 low in_minus\nC1 in_plus in_minus\nR3 reference low
         P1 low gnd\nA2 pedestal bias bias\nR5 reference pedestal\nR6 pedestal gnd\nR7 supply tc_plus\nC2 adc gnd
         TP1 tc_plus\nTP2 low\nTP3 adc\nin tc_plus low\nout adc",
    );
    add("smallest", false, "A1 tc_plus amp amp\nin tc_plus gnd\nout amp");
    list
}

/// Texts beside the symbols, as wide as they get.
pub fn words(front_end: &FrontEnd, converter: bool) -> icepoint_dossier::schematic::Words {
    let text = |part: &Part| match &part.kind {
        PartKind::Resistor { .. } | PartKind::GainResistor { .. } => "4.99 kΩ".to_owned(),
        PartKind::Adjustable { .. } | PartKind::AdjustableGain { .. } => "500 Ω".to_owned(),
        PartKind::Capacitor { .. } => "100 nF".to_owned(),
        PartKind::Supply { volts, .. } => format!("{volts} V").replace('-', "−"),
        PartKind::Reference { volts, .. } => format!("{volts} V"),
        PartKind::TemperatureSensor { .. } => "10 mV/K".to_owned(),
        PartKind::Thermistor { .. } => "10 kΩ".to_owned(),
        PartKind::Platinum { .. } => "Pt100".to_owned(),
        PartKind::Junction { .. } => "600 mV".to_owned(),
        PartKind::Clamp { .. } => "clamp".to_owned(),
        PartKind::DetectionCurrent { .. } => "1 µA".to_owned(),
        PartKind::Operational { figures, .. } | PartKind::Instrumentation { figures, .. } => {
            figures.record.clone()
        }
    };
    icepoint_dossier::schematic::Words {
        values: front_end.parts.iter().map(|p| (p.designator.clone(), text(p))).collect(),
        thermocouple: "type K".to_owned(),
        lead: Some("lead, 3 m".to_owned()),
        converter: converter.then(|| "12 bit".to_owned()),
        sensor: (converter && !front_end.parts.iter().any(|p| p.kind.senses_temperature()))
            .then(|| "digital".to_owned()),
        notes: Vec::new(),
        taps: Vec::new(),
    }
}

/// What the model solves: every node with the terminals that it joins.
pub fn netlist(front_end: &FrontEnd, converter: bool) -> Vec<(String, String)> {
    let mut list: Vec<(String, String)> = Vec::new();
    let mut join = |node: &str, terminal: String| list.push((node.to_owned(), terminal));
    for part in &front_end.parts {
        let d = &part.designator;
        match &part.kind {
            PartKind::Adjustable { a, b, wiper: Some(wiper), .. } => {
                for (arm, from, to) in [("1–W", a, wiper), ("W–2", wiper, b)] {
                    join(from, format!("{d} {arm}"));
                    join(to, format!("{d} {arm}"));
                }
            }
            PartKind::AdjustableGain { .. } => {}
            PartKind::Resistor { a, b, .. }
            | PartKind::Adjustable { a, b, .. }
            | PartKind::Capacitor { a, b, .. }
            | PartKind::Thermistor { a, b, .. }
            | PartKind::Platinum { a, b, .. } => {
                join(a, d.clone());
                join(b, d.clone());
            }
            PartKind::Junction { anode, cathode, .. } | PartKind::Clamp { anode, cathode, .. } => {
                join(anode, format!("{d}.A"));
                join(cathode, format!("{d}.K"));
            }
            PartKind::DetectionCurrent { from, to, .. } => {
                join(from, format!("{d}.1"));
                join(to, format!("{d}.2"));
            }
            PartKind::Operational { plus, minus, out, supply, .. } => {
                for (pin, node) in
                    [("+", plus), ("−", minus), ("OUT", out), ("V+", &supply.0), ("V−", &supply.1)]
                {
                    join(node, format!("{d}.{pin}"));
                }
            }
            PartKind::Instrumentation { plus, minus, reference, out, supply, .. } => {
                let pins = [("+", plus), ("−", minus), ("OUT", out), ("REF", reference)];
                for (pin, node) in pins.into_iter().chain([("V+", &supply.0), ("V−", &supply.1)]) {
                    join(node, format!("{d}.{pin}"));
                }
            }
            // With a trim: RG1, trim, middle, resistor, RG2.
            PartKind::GainResistor { amplifier, .. } => {
                let trimmed = |p: &Part| matches!(&p.kind, PartKind::AdjustableGain { amplifier: a, .. } if a == amplifier);
                let trim = front_end.parts.iter().find(|p| trimmed(p));
                for pin in ["RG1", "RG2"] {
                    join(&format!("{amplifier} {pin}"), format!("{amplifier}.{pin}"));
                }
                let first = if trim.is_some() { "middle" } else { "RG1" };
                join(&format!("{amplifier} {first}"), d.clone());
                join(&format!("{amplifier} RG2"), d.clone());
                if let Some(trim) = trim {
                    join(&format!("{amplifier} RG1"), trim.designator.clone());
                    join(&format!("{amplifier} middle"), trim.designator.clone());
                }
            }
            PartKind::TemperatureSensor { node } | PartKind::Reference { node, .. } => {
                join(node, format!("{d}.OUT"));
            }
            PartKind::Supply { .. } => {}
        }
    }
    for point in &front_end.test_points {
        join(&point.node, point.label.clone());
    }
    let ports = &front_end.ports;
    join(&ports.plus, "TC.+".to_owned());
    join(&ports.minus, "TC.−".to_owned());
    match (converter, &ports.output_minus) {
        (true, Some(minus)) => {
            join(&ports.output, "ADC.+".to_owned());
            join(minus, "ADC.−".to_owned());
        }
        (true, None) => join(&ports.output, "ADC.IN".to_owned()),
        (false, minus) => {
            join(&ports.output, "V.+".to_owned());
            join(minus.as_deref().unwrap_or("gnd"), "V.−".to_owned());
        }
    }
    if let (true, Some(reference)) = (converter, &ports.reference) {
        join(reference, "ADC.VREF".to_owned());
    }
    list
}
