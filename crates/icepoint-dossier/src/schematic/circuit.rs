//! A front end as the drawing needs it: poles, blocks, rails and the world outside, nodes by number.

use std::collections::BTreeMap;

use icepoint_chain::front_end::{Blueprint, FrontEnd, Part, PartKind, Surroundings};

use super::symbol::{Symbol, Turn};

/// What stands around the circuit and in its texts.
#[derive(Clone, Debug, Default)]
pub struct Words {
    /// Text beside each symbol by designator: “4.7 kΩ”; supplies and references too, where it names their rails.
    pub values: BTreeMap<String, String>,
    /// Thermocouple: “type K”.
    pub thermocouple: String,
    /// Cable between thermocouple and board, if there is one: “lead, 3 m”.
    pub lead: Option<String>,
    /// Converter at the output: “12 bit”; none for a voltmeter.
    pub converter: Option<String>,
    /// Sensor of the reference junction that the controller reads: “digital”.
    pub sensor: Option<String>,
    /// Lines below the drawing, beside those on networks and on sensors among the parts.
    pub notes: Vec<String>,
    /// Taps for several types, see [`taps`].
    pub taps: Vec<(String, String)>,
}

/// Where the negative leg of each type goes on a board with taps: the node, and the types that share it, “K, T”.
#[must_use]
pub fn taps(blueprint: &Blueprint, surroundings: &Surroundings) -> Vec<(String, String)> {
    let mut list: Vec<(String, String)> = Vec::new();
    for tap in &blueprint.taps {
        let node = surroundings.node(&tap.node);
        match list.iter_mut().find(|t| t.0 == node) {
            Some((_, letters)) => *letters = format!("{letters}, {}", tap.letter.name()),
            None => list.push((node, tap.letter.name().to_owned())),
        }
    }
    list
}

/// What a node is to the drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// Drawn as wires.
    Signal,
    /// Ground symbols.
    Ground,
    /// Rail symbols above, with this name.
    Above(String),
    /// Rail symbols below, with this name.
    Below(String),
}

/// A node.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub name: String,
    pub role: Role,
}

/// A part with two ends.
#[derive(Clone, Debug)]
pub(super) struct Pole {
    pub designator: String,
    pub symbol: Symbol,
    pub a: usize,
    pub b: usize,
}

impl Pole {
    /// Half its length in grid units, from pin to pin.
    pub fn half(&self) -> i32 {
        self.symbol.pins().first().map_or(3, |p| p.1.abs() as i32)
    }
}

/// A pin of a block.
#[derive(Clone, Debug)]
pub(super) struct Pin {
    pub name: String,
    pub node: usize,
}

/// A part with inputs on the left and an output on the right: amplifier, converter, sensor.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub designator: String,
    pub symbol: Symbol,
    /// Pins on the left.
    pub inputs: Vec<Pin>,
    /// Pins above and below.
    pub others: Vec<Pin>,
    /// Pin on the right, if it drives a node.
    pub out: Option<Pin>,
    /// Resistor on its gain pins.
    pub gain: Option<String>,
    /// Adjustable resistor in series with it.
    pub gain_trim: Option<String>,
}

impl Block {
    /// Whether it stands at the terminals of the thermocouple.
    pub fn at_terminals(&self) -> bool {
        self.symbol == Symbol::Sensor
    }

    /// Whether it is the source of a rail, which the rail's name then joins to everything.
    pub fn drives_rail(&self, c: &Circuit) -> bool {
        self.inputs.is_empty() && self.out.as_ref().is_some_and(|o| !c.signal(o.node))
    }
}

/// The circuit to be drawn.
#[derive(Clone, Debug)]
pub(super) struct Circuit {
    pub nodes: Vec<Node>,
    pub poles: Vec<Pole>,
    pub blocks: Vec<Block>,
    pub plus: usize,
    pub minus: usize,
    pub output: usize,
    /// Index of the block that reads the output; none for a voltmeter.
    pub reader: Option<usize>,
    pub output_minus: Option<usize>,
    pub tests: Vec<(String, usize)>,
    /// Terminals of the taps: “tap K, T” and its node.
    pub taps: Vec<(String, usize)>,
    /// Nodes that leave the drawing, with the name on their flag.
    pub exits: Vec<(usize, String)>,
    /// Lines below the drawing.
    pub notes: Vec<String>,
    pub words: Words,
}

/// The node of that name, made when it is new.
fn node(nodes: &mut Vec<Node>, name: &str) -> usize {
    nodes.iter().position(|n| n.name == name).unwrap_or_else(|| {
        let role = if name == "gnd" { Role::Ground } else { Role::Signal };
        nodes.push(Node { name: name.to_owned(), role });
        nodes.len() - 1
    })
}

impl Circuit {
    /// Reads a front end.
    pub fn new(front_end: &FrontEnd, words: &Words) -> Self {
        let mut c = Self {
            nodes: Vec::new(),
            poles: Vec::new(),
            blocks: Vec::new(),
            plus: 0,
            minus: 0,
            output: 0,
            reader: None,
            output_minus: None,
            tests: Vec::new(),
            taps: Vec::new(),
            exits: Vec::new(),
            notes: Vec::new(),
            words: words.clone(),
        };
        node(&mut c.nodes, "gnd");
        c.rails(front_end);
        // Gain resistors last: they need their amplifiers.
        let gain =
            |p: &&Part| matches!(p.kind, PartKind::GainResistor { .. } | PartKind::AdjustableGain { .. });
        let (mut gains, others): (Vec<&Part>, Vec<&Part>) = front_end.parts.iter().partition(gain);
        gains.sort_by_key(|p| matches!(p.kind, PartKind::AdjustableGain { .. }));
        for part in others.into_iter().chain(gains) {
            c.part(&part.designator, &part.kind);
        }
        let ports = &front_end.ports;
        c.plus = node(&mut c.nodes, &ports.plus);
        c.minus = node(&mut c.nodes, &ports.minus);
        c.output = node(&mut c.nodes, &ports.output);
        c.output_minus = ports.output_minus.as_ref().map(|n| node(&mut c.nodes, n));
        c.reader(front_end);
        c.sources(front_end);
        for t in &front_end.test_points {
            let at = node(&mut c.nodes, &t.node);
            c.tests.push((t.label.clone(), at));
        }
        c.taps();
        c.networks(front_end);
        c
    }

    /// Terminals of the taps, and what is wired to them.
    fn taps(&mut self) {
        let taps = self.words.taps.clone();
        if taps.is_empty() {
            return;
        }
        self.notes.push(format!(
            "Taps: the negative leg is wired to the tap of its type, drawn here for {}",
            self.words.thermocouple
        ));
        for (name, letters) in taps {
            let at = node(&mut self.nodes, &name);
            let label = format!("tap {letters}");
            match &self.nodes[at].role {
                Role::Signal => self.taps.push((label, at)),
                Role::Ground => self.notes.push(format!("{label} is 0 V")),
                Role::Above(rail) | Role::Below(rail) => self.notes.push(format!("{label} is {rail}")),
            }
        }
    }

    fn rails(&mut self, front_end: &FrontEnd) {
        for part in &front_end.parts {
            let value = self.words.values.get(&part.designator).cloned().unwrap_or_default();
            let named = |prefix: &str| format!("{prefix} {value}").trim().to_owned();
            match &part.kind {
                PartKind::Supply { node: at, volts, .. } => {
                    let at = node(&mut self.nodes, at);
                    let name = if value.is_empty() { part.designator.clone() } else { value };
                    self.nodes[at].role = if *volts < 0.0 { Role::Below(name) } else { Role::Above(name) };
                }
                PartKind::Reference { node: at, .. } => {
                    let at = node(&mut self.nodes, at);
                    self.nodes[at].role = Role::Above(named(&part.designator));
                }
                _ => {}
            }
        }
    }

    fn part(&mut self, designator: &str, kind: &PartKind) {
        let nodes = &mut self.nodes;
        let mut pin = |name: &str, at: &str| Pin { name: name.to_owned(), node: node(&mut *nodes, at) };
        let mut block = Block {
            designator: designator.to_owned(),
            symbol: Symbol::Sensor,
            inputs: Vec::new(),
            others: Vec::new(),
            out: None,
            gain: None,
            gain_trim: None,
        };
        match kind {
            PartKind::Resistor { a, b, .. } => self.pole(designator, Symbol::Resistor, a, b),
            PartKind::Capacitor { a, b, .. } => self.pole(designator, Symbol::Capacitor, a, b),
            PartKind::Adjustable { a, b, wiper: None, .. } => self.pole(designator, Symbol::Trimmer, a, b),
            // Both arms of the track, which meet at the wiper.
            PartKind::Adjustable { a, b, wiper: Some(wiper), .. } => {
                let value = self.value(designator);
                for (arm, from, to) in [("1–W", a, wiper), ("W–2", wiper, b)] {
                    let name = format!("{designator} {arm}");
                    self.words.values.insert(name.clone(), value.clone());
                    self.pole(&name, Symbol::Trimmer, from, to);
                }
                self.notes.push(format!("{designator}: one track, its wiper W between its two arms"));
            }
            // In series with the resistor that is there already.
            PartKind::AdjustableGain { amplifier, .. } => {
                if let Some(amplifier) = self.blocks.iter_mut().find(|b| b.designator == *amplifier) {
                    amplifier.gain_trim = Some(designator.to_owned());
                }
            }
            PartKind::Operational { plus, minus, out, supply, .. } => {
                block.symbol = Symbol::OpAmp { plus_on_top: true };
                block.inputs = vec![pin("+", plus), pin("−", minus)];
                block.others = vec![pin("V+", &supply.0), pin("V−", &supply.1)];
                block.out = Some(pin("OUT", out));
                self.blocks.push(block);
            }
            PartKind::Instrumentation { plus, minus, reference, out, supply, .. } => {
                block.symbol = Symbol::InstrumentationAmplifier { plus_on_top: true };
                block.inputs = vec![pin("+", plus), pin("−", minus)];
                block.others = vec![pin("V+", &supply.0), pin("V−", &supply.1), pin("REF", reference)];
                block.out = Some(pin("OUT", out));
                self.blocks.push(block);
            }
            PartKind::TemperatureSensor { node: at } => {
                block.out = Some(pin("OUT", at));
                block.others = self.sensor_supply();
                self.blocks.push(block);
            }
            // On the amplifier's own pins, by `gains`; the others are rails.
            PartKind::GainResistor { amplifier, .. } => {
                let amplifier = self.blocks.iter_mut().find(|b| b.designator == *amplifier);
                if let Some(amplifier) = amplifier {
                    amplifier.gain = Some(designator.to_owned());
                }
            }
            PartKind::Junction { anode, cathode, .. } | PartKind::Clamp { anode, cathode, .. } => {
                self.pole(designator, Symbol::Diode, anode, cathode);
            }
            PartKind::Thermistor { a, b, .. } => self.pole(designator, Symbol::Thermistor, a, b),
            PartKind::Platinum { a, b, .. } => {
                self.pole(designator, Symbol::ResistanceThermometer, a, b);
            }
            PartKind::DetectionCurrent { from, to, .. } => {
                self.pole(designator, Symbol::CurrentSource, from, to);
            }
            PartKind::Supply { .. } | PartKind::Reference { .. } => {}
        }
    }

    /// A designator that no part has.
    fn unused(&self, front_end: &FrontEnd, wanted: &str, number: Option<usize>) -> String {
        let mut n = number.unwrap_or(1);
        loop {
            let name = match number {
                None if n == 1 => wanted.to_owned(),
                _ => format!("{wanted}{n}"),
            };
            if front_end.part(&name).is_none() && !front_end.test_points.iter().any(|t| t.label == name) {
                return name;
            }
            n += 1;
        }
    }

    /// Rails of a sensor that names none: the first positive one, and ground.
    fn sensor_supply(&self) -> Vec<Pin> {
        let positive = self.nodes.iter().position(|n| matches!(n.role, Role::Above(_)));
        let mut pins = vec![Pin { name: "V−".to_owned(), node: 0 }];
        if let Some(node) = positive {
            pins.push(Pin { name: "V+".to_owned(), node });
        }
        pins
    }

    fn pole(&mut self, designator: &str, symbol: Symbol, a: &str, b: &str) {
        let (a, b) = (node(&mut self.nodes, a), node(&mut self.nodes, b));
        self.poles.push(Pole { designator: designator.to_owned(), symbol, a, b });
    }

    /// Converter or voltmeter.
    fn reader(&mut self, front_end: &FrontEnd) {
        if self.words.converter.is_none() {
            return;
        }
        let pin = |name: &str, node: usize| Pin { name: name.to_owned(), node };
        let supply = self.nodes.iter().position(|n| matches!(n.role, Role::Above(_)));
        let reference = front_end.ports.reference.as_ref().map(|r| node(&mut self.nodes, r)).or(supply);
        let (symbol, inputs) = match self.output_minus {
            Some(minus) => (
                Symbol::DifferentialConverter { plus_on_top: true },
                vec![pin("+", self.output), pin("−", minus)],
            ),
            None => (Symbol::Converter, vec![pin("IN", self.output)]),
        };
        self.reader = Some(self.blocks.len());
        let designator = self.unused(front_end, "ADC", None);
        self.words.values.insert(designator.clone(), self.words.converter.clone().unwrap_or_default());
        self.blocks.push(Block {
            designator,
            symbol,
            inputs,
            others: reference.map(|at| pin("VREF", at)).into_iter().collect(),
            out: None,
            gain: None,
            gain_trim: None,
        });
    }

    /// Voltage references, and the sensor that the controller reads.
    fn sources(&mut self, front_end: &FrontEnd) {
        let pin = |name: &str, node: usize| Pin { name: name.to_owned(), node };
        for part in &front_end.parts {
            if let PartKind::Reference { node: at, .. } = &part.kind {
                let at = node(&mut self.nodes, at);
                self.blocks.push(Block {
                    designator: part.designator.clone(),
                    symbol: Symbol::Reference,
                    inputs: Vec::new(),
                    others: vec![pin("0 V", 0)],
                    out: Some(pin("OUT", at)),
                    gain: None,
                    gain_trim: None,
                });
            }
        }
        if let Some(value) = self.words.sensor.clone() {
            let designator = self.unused(front_end, "U", Some(1));
            // A name that no chain file can give: its words have no blanks.
            let at = node(&mut self.nodes, "to controller");
            self.exits.push((at, "to controller".to_owned()));
            let others = self.sensor_supply();
            self.words.values.insert(designator.clone(), value);
            self.blocks.push(Block {
                designator,
                symbol: Symbol::Sensor,
                inputs: Vec::new(),
                others,
                out: Some(pin("OUT", at)),
                gain: None,
                gain_trim: None,
            });
        }
    }

    /// Which resistors share a network, as lines of text.
    fn networks(&mut self, front_end: &FrontEnd) {
        let mut networks: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for part in &front_end.parts {
            if let Some(network) = part.kind.resistor().and_then(|r| r.network.as_ref()) {
                networks.entry(network.name.clone()).or_default().push(&part.designator);
            }
        }
        let sensing =
            |p: &&Part| p.kind.senses_temperature() && !matches!(p.kind, PartKind::TemperatureSensor { .. });
        let sensors: Vec<&str> =
            front_end.parts.iter().filter(sensing).map(|p| p.designator.as_str()).collect();
        if !sensors.is_empty() {
            let lies = if sensors.len() == 1 { "lies" } else { "lie" };
            self.notes.push(format!("{} {lies} at the terminals, at their temperature", sensors.join(", ")));
        }
        for (name, members) in networks.iter().filter(|(_, m)| m.len() > 1) {
            self.notes.push(format!("{name}: {} in one network", members.join(", ")));
        }
        self.notes.extend(self.words.notes.clone());
    }

    pub fn signal(&self, node: usize) -> bool {
        self.nodes[node].role == Role::Signal
    }

    pub fn value(&self, designator: &str) -> String {
        self.words.values.get(designator).cloned().unwrap_or_default()
    }
}

/// Turn of a pole that stands, its end `top` above.
pub(super) fn standing(pole: &Pole, top: usize) -> Turn {
    if pole.a == top { Turn::Quarter } else { Turn::ThreeQuarters }
}

/// Turn of a pole that lies, its end `left` on the left.
pub(super) fn lying(pole: &Pole, left: usize) -> Turn {
    if pole.a == left { Turn::None } else { Turn::Half }
}
