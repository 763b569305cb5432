//! Every front end of the library in every way that a chain file can ask for: one supply or two, voltmeter or converter,
//! an active low-pass, trims, parts out of a drawer two by two, clamps, open-sensor currents, taps.

use icepoint_chain::chain::{BrokenSensor, ConverterKind};
use icepoint_chain::front_end::sensing::{ClampFigures, DetectionFigures};
use icepoint_chain::front_end::{
    Blueprint, FrontEnd, Part, PartKind, ResistorFigures, Surroundings, Values, library,
};
use icepoint_chain::low_pass::insert::{Site, insert};
use icepoint_chain::low_pass::{Form, LowPass, Response};
use icepoint_chain::quantity::series::Series;
use icepoint_dossier::schematic::Words;
use icepoint_sensors::Letter;

/// A front end to be drawn.
pub struct Variant {
    /// Name of the front end and what was asked for.
    pub name: String,
    pub front_end: FrontEnd,
    /// Whether a converter reads it; else a voltmeter does.
    pub converter: bool,
    /// Node of each tap with the types that go there.
    pub taps: Vec<(String, String)>,
    pub thermocouple: String,
}

impl Variant {
    pub fn words(&self) -> Words {
        let (taps, thermocouple) = (self.taps.clone(), self.thermocouple.clone());
        Words { taps, thermocouple, ..super::words(&self.front_end, self.converter) }
    }

    pub fn netlist(&self) -> Vec<(String, String)> {
        let mut list = super::netlist(&self.front_end, self.converter);
        list.extend(self.taps.iter().map(|(node, letters)| (node.clone(), format!("tap {letters}"))));
        list
    }
}

/// What stands around the circuit, with some changes.
fn surroundings(negative: bool, converter: bool, broken: BrokenSensor, letter: Letter) -> Surroundings {
    let around = super::kiln_surroundings();
    let negative = if negative { (-5.0, 0.05) } else { (0.0, 0.0) };
    let reference = around.reference.clone().filter(|_| converter);
    Surroundings { negative, reference, broken_sensor: broken, letter, ..around }
}

fn variant(name: String, blueprint: &Blueprint, around: &Surroundings, converter: bool) -> Variant {
    let front_end = blueprint.build(around, &Values::new());
    let taps = icepoint_dossier::schematic::taps(blueprint, around);
    let thermocouple = format!("type {}", around.letter.name());
    Variant { name, front_end, converter, taps, thermocouple }
}

/// Makes two of each part that `which` picks: A and B in a row, or side by side.
fn in_twos(front_end: &mut FrontEnd, in_a_row: bool, which: &dyn Fn(&Part) -> bool) {
    let mut parts = Vec::new();
    for part in std::mem::take(&mut front_end.parts) {
        let middle = format!("middle of {}", part.designator);
        let two = match &part.kind {
            PartKind::Resistor { a, b, .. } | PartKind::Capacitor { a, b, .. } if which(&part) => {
                let ends = if in_a_row {
                    [(a.clone(), middle.clone()), (middle, b.clone())]
                } else {
                    [(a.clone(), b.clone()), (a.clone(), b.clone())]
                };
                ['A', 'B'].into_iter().zip(ends).collect::<Vec<_>>()
            }
            _ => Vec::new(),
        };
        if two.is_empty() {
            parts.push(part);
            continue;
        }
        for (letter, (from, to)) in two {
            let mut new = part.clone();
            new.designator.push(letter);
            match &mut new.kind {
                PartKind::Resistor { a, b, figures } => {
                    (*a, *b) = (from, to);
                    *figures = ResistorFigures { network: None, ..figures.clone() };
                }
                PartKind::Capacitor { a, b, .. } => (*a, *b) = (from, to),
                _ => {}
            }
            parts.push(new);
        }
    }
    front_end.parts = parts;
    front_end.leave_lone_networks();
}

fn clamp(name: &str, anode: &str, cathode: &str) -> Part {
    let figures = ClampFigures { leakage: 1e-9, doubling: 10.0, either_way: false, volts: 0.6, amperes: 0.1 };
    let kind = PartKind::Clamp { anode: anode.to_owned(), cathode: cathode.to_owned(), figures };
    Part { designator: name.to_owned(), purpose: String::new(), kind }
}

/// Clamps to both rails behind the resistors of the input.
fn clamped(front_end: &mut FrontEnd) {
    let behind = |port: &str| {
        front_end.parts.iter().find_map(|p| match &p.kind {
            PartKind::Resistor { a, b, .. } if a == port && b != "gnd" => Some(b.clone()),
            _ => None,
        })
    };
    let ports = front_end.ports.clone();
    let nodes = [behind(&ports.plus), behind(&ports.minus).filter(|_| ports.minus.contains("minus"))];
    for (i, node) in nodes.into_iter().flatten().enumerate() {
        front_end.parts.push(clamp(&format!("D{}", 11 + 2 * i), &node, "supply"));
        front_end.parts.push(clamp(&format!("D{}", 12 + 2 * i), "gnd", &node));
    }
}

/// A current in the place of the resistor that shows a broken sensor.
fn detected(front_end: &mut FrontEnd) {
    for part in &mut front_end.parts {
        let PartKind::Resistor { a, b, .. } = &part.kind else { continue };
        if !part.purpose.starts_with("pulls a broken") {
            continue;
        }
        let figures = DetectionFigures { amperes: 1e-7, tolerance: 0.1, pulse: None };
        let (from, to) = if a == "supply" { (a, b) } else { (b, a) };
        part.kind = PartKind::DetectionCurrent { from: from.clone(), to: to.clone(), figures };
        part.designator = "I1".to_owned();
    }
}

/// The front ends of the example files, with usual values for what they leave open.
fn examples() -> Vec<Variant> {
    ["burnout-kiln", "bench-voltmeter", "freezer", "kiln-drawer", "own-circuit", "trimmed-bench"]
        .into_iter()
        .map(|name| {
            let path = format!("{}/../../examples/{name}.toml", env!("CARGO_MANIFEST_DIR"));
            let file = icepoint_chain::file::load(std::path::Path::new(&path)).expect("a sound file");
            let resolved = icepoint_chain::resolve::resolve(&file).expect("and complete");
            let converter = matches!(resolved.chain.converter.kind, ConverterKind::Adc { .. });
            let mut one =
                variant(format!("{name}.toml"), &resolved.blueprint, &resolved.surroundings, converter);
            one.front_end = resolved.chain.front_end;
            one
        })
        .collect()
}

/// All of them.
pub fn all() -> Vec<Variant> {
    let mut list = examples();
    for blueprint in library::all() {
        let id = &blueprint.id;
        let (up, k) = (BrokenSensor::Upscale, Letter::K);
        for (reader, converter) in [("converter", true), ("voltmeter", false)] {
            if !converter && blueprint.ports.output_minus.is_some() {
                continue;
            }
            for (supply, two) in [("one supply", false), ("two supplies", true)] {
                let around = surroundings(two, converter, up, k);
                list.push(variant(format!("{id}, {supply}, {reader}"), blueprint, &around, converter));
            }
        }
        // With a sensor in the circuit it is for a voltmeter as a rule.
        let converter = !blueprint.compensates() || blueprint.ports.output_minus.is_some();
        let around = &surroundings(!converter, converter, up, k);
        for poles in 1..=4 {
            for form in [Form::SallenKey, Form::MultipleFeedback] {
                let plan = LowPass { poles, form, response: Response::Bessel, corner: None };
                let record =
                    if blueprint.records().iter().any(|r| r.0 == "buffer") { "buffer" } else { "amplifier" };
                let series = (Series::E96, Series::E6);
                let site = Site { record, about_ground: !converter, series };
                if let Ok((with, _)) = insert(blueprint, plan, site) {
                    let name = format!("{id}, {poles} poles {}", form.name());
                    list.push(variant(name, &with, around, converter));
                }
            }
        }
        if let Ok((with, named)) = icepoint_chain::trims::insert(blueprint, None, None, 2)
            && named.iter().any(Option::is_some)
        {
            list.push(variant(format!("{id}, trims"), &with, around, converter));
        }
        let role = |part: &Part, role: &str| {
            blueprint.slot(&part.designator).is_some_and(|s| s.role.as_deref() == Some(role))
        };
        let resistor = |part: &Part| matches!(part.kind, PartKind::Resistor { .. });
        for (in_a_row, how) in [(true, "in a row"), (false, "side by side")] {
            let mut with = |what: &str, which: &dyn Fn(&Part) -> bool| {
                let mut one = variant(format!("{id}, {what} {how}"), blueprint, around, converter);
                let before = one.front_end.parts.len();
                in_twos(&mut one.front_end, in_a_row, which);
                if one.front_end.parts.len() > before {
                    list.push(one);
                }
            };
            with("gain and slope", &|p| role(p, "gain") || role(p, "slope"));
            with("resistors of input and pedestal", &|p| {
                (role(p, "input") || role(p, "pedestal") || role(p, "bias")) && resistor(p)
            });
            with("filter", &|p| role(p, "filter") || role(p, "input"));
            with("every resistor", &resistor);
        }
        let mut one = variant(format!("{id}, clamps"), blueprint, around, converter);
        clamped(&mut one.front_end);
        list.push(one);
        let mut one = variant(format!("{id}, current"), blueprint, around, converter);
        detected(&mut one.front_end);
        list.push(one);
        let down = Surroundings { broken_sensor: BrokenSensor::Downscale, ..around.clone() };
        list.push(variant(format!("{id}, downscale"), blueprint, &down, converter));
        let mut one = variant(format!("{id}, current downscale, clamps"), blueprint, &down, converter);
        detected(&mut one.front_end);
        clamped(&mut one.front_end);
        list.push(one);
        for letter in [Letter::E, Letter::J, Letter::N, Letter::S] {
            if blueprint.taps.iter().any(|t| t.letter == letter) {
                let around = surroundings(true, false, up, letter);
                list.push(variant(format!("{id}, type {}", letter.name()), blueprint, &around, false));
            }
        }
    }
    list
}
