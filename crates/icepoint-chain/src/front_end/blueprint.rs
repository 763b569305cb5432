//! A front end before its values: parts and nodes, and for each resistor and capacitor a slot with what may be chosen.
//!
//! **Why.** Built-in front ends and the circuit that a user drew are the same text, the `[circuit]` section of a chain
//! file, and become the same [`Blueprint`]. A search reads the slots (limits, ties, roles) and knows no circuit by name.
//!
//! **Nodes of the surroundings.** `gnd`; `supply`; `negative`, which is `gnd` on a board with one supply; `reference`,
//! the converter's reference, which is `supply` for a voltmeter; `pull`, the rail that drives a broken thermocouple to the
//! end of the scale that `need.broken_sensor` asks for.

use std::collections::{BTreeMap, BTreeSet};

use icepoint_sensors::Letter;

use super::sensing::{ClampFigures, DetectionFigures};
use super::{FrontEnd, Network, Part, PartKind, Ports, Surroundings, TestPoint};

/// Values of a front end by designator, in Ω or F.
pub type Values = BTreeMap<String, f64>;

/// Ground.
pub const GROUND: &str = "gnd";
/// The positive supply.
pub const SUPPLY: &str = "supply";
/// The negative supply.
pub const NEGATIVE: &str = "negative";
/// The rail that pulls a broken thermocouple where it must read: `supply`, or `negative` for downscale.
pub const PULL: &str = "pull";
/// The converter's reference.
pub const REFERENCE: &str = "reference";

/// A front end whose values are still to be put in.
#[derive(Clone, Debug, PartialEq)]
pub struct Blueprint {
    /// As in the chain file: `single-amplifier`, …; `own` for the user's own.
    pub id: String,
    /// In words.
    pub title: String,
    /// Places for resistors and capacitors, in the order of the parts.
    pub slots: Vec<Slot>,
    /// The parts in the order of the parts list. What the surroundings add (supplies, the converter's reference) is
    /// not among them.
    pub elements: Vec<PlannedPart>,
    /// Where the chain is tied to the circuit; `reference` is known once it is built.
    pub ports: Ports,
    /// Points to touch with a voltmeter, in signal order.
    pub test_points: Vec<TestPoint>,
    /// Taps for several types: the probe's own takes the place of the negative terminal.
    pub taps: Vec<Tap>,
    /// Designator of the part that moves the zero of the reading, where the circuit says so.
    pub zero: Option<String>,
    /// Designator of the part that moves its span.
    pub span: Option<String>,
}

/// Where the negative leg of one type goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tap {
    /// The type.
    pub letter: Letter,
    /// Its node.
    pub node: String,
}

/// A place for a resistor or capacitor.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// `R1`, `C2`, …
    pub designator: String,
    /// Resistor or capacitor.
    pub kind: SlotKind,
    /// What the part is there for.
    pub purpose: String,
    /// Value used when neither the user nor a search has chosen one, Ω or F.
    pub usual: f64,
    /// The smallest and the largest value that a search may choose, Ω or F.
    pub limits: (f64, f64),
    /// A value that follows from another one's.
    pub tie: Option<Tie>,
    /// Resistors of one group go into one network, when the user has networks.
    pub network: Option<String>,
    /// Slots of one role are chosen together: `gain`, `slope`, `pedestal`, `filter`, …
    pub role: Option<String>,
    /// The value that the circuit itself gives, Ω or F; the chain file's `[front_end.values]` comes before it.
    pub given: Option<f64>,
    /// Limit of this part's value, relative, instead of the one of `[parts]`.
    pub tolerance: Option<f64>,
    /// Limit of this resistor's temperature coefficient, 1/K, instead of the one of `[parts]`.
    pub tempco: Option<f64>,
}

/// A value that follows from another one: `ratio` times that of `to`.
#[derive(Clone, Debug, PartialEq)]
pub struct Tie {
    /// Designator of the other slot.
    pub to: String,
    /// Factor on its value: 1 for the matched legs of an input.
    pub ratio: f64,
}

/// Kind of a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlotKind {
    /// Ω.
    Resistor,
    /// F.
    Capacitor,
}

/// A part before its figures are known.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedPart {
    /// `R1`, `C2`, `A1`, `U1`, …
    pub designator: String,
    /// What it is there for.
    pub purpose: String,
    /// What it is, and where it is tied.
    pub kind: PlannedKind,
}

/// What a part is, and the nodes that it joins.
#[derive(Clone, Debug, PartialEq)]
pub enum PlannedKind {
    /// A resistor; its value is in the slot of the same designator.
    Resistor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
    },
    /// A capacitor; its value is in the slot of the same designator.
    Capacitor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
    },
    /// An adjustable resistor; the value in the slot of the same designator is that of its whole track.
    Adjustable {
        /// First end of the track.
        a: String,
        /// Second end; without a wiper of its own the wiper is joined to it.
        b: String,
        /// Node of the wiper, if it has one of its own.
        wiper: Option<String>,
    },
    /// An adjustable resistor in series with the gain resistor of an instrumentation amplifier.
    AdjustableGain {
        /// Designator of the amplifier.
        amplifier: String,
    },
    /// The resistor that sets the gain of an instrumentation amplifier, on that amplifier's own pins.
    GainResistor {
        /// Designator of the amplifier.
        amplifier: String,
    },
    /// An operational amplifier.
    Operational {
        /// Non-inverting input.
        plus: String,
        /// Inverting input.
        minus: String,
        /// Output.
        out: String,
        /// Positive and negative supply.
        supply: (String, String),
        /// Record of its figures, see [`Surroundings::record`].
        record: String,
    },
    /// An instrumentation amplifier.
    Instrumentation {
        /// Non-inverting input.
        plus: String,
        /// Inverting input.
        minus: String,
        /// Reference pin.
        reference: String,
        /// Output.
        out: String,
        /// Positive and negative supply.
        supply: (String, String),
        /// Record of its figures, see [`Surroundings::record`].
        record: String,
    },
    /// The voltage sensor of an analog compensation.
    TemperatureSensor {
        /// Node it drives.
        out: String,
    },
    /// A silicon junction that senses the temperature; its figures are those of [`Surroundings::sensing`].
    Junction {
        /// Current enters here.
        anode: String,
        /// Current leaves here.
        cathode: String,
    },
    /// A thermistor that senses the temperature.
    Thermistor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
    },
    /// A platinum resistor that senses the temperature.
    Platinum {
        /// First node.
        a: String,
        /// Second node.
        b: String,
    },
    /// A protection diode or suppressor.
    Clamp {
        /// Current enters here when it conducts.
        anode: String,
        /// Current leaves here when it conducts.
        cathode: String,
        /// Its figures.
        figures: ClampFigures,
    },
    /// A current that shows a broken thermocouple.
    DetectionCurrent {
        /// The node that the current leaves.
        from: String,
        /// The node that the current enters.
        to: String,
        /// Its figures.
        figures: DetectionFigures,
    },
}

impl PlannedKind {
    /// Name of each pin in the words of the chain file, with the node it is on.
    pub fn pins(&self) -> Vec<(&'static str, &str)> {
        match self {
            Self::Resistor { a, b } | Self::Capacitor { a, b } => vec![("between.0", a), ("between.1", b)],
            Self::Adjustable { a, b, wiper } => {
                let mut pins = vec![("between.0", a.as_str()), ("between.1", b)];
                pins.extend(wiper.as_ref().map(|wiper| ("wiper", wiper.as_str())));
                pins
            }
            Self::GainResistor { .. } | Self::AdjustableGain { .. } => Vec::new(),
            Self::Operational { plus, minus, out, supply, .. } => vec![
                ("plus", plus),
                ("minus", minus),
                ("out", out),
                ("supply.0", &supply.0),
                ("supply.1", &supply.1),
            ],
            Self::Instrumentation { plus, minus, reference, out, supply, .. } => vec![
                ("plus", plus),
                ("minus", minus),
                ("reference", reference),
                ("out", out),
                ("supply.0", &supply.0),
                ("supply.1", &supply.1),
            ],
            Self::TemperatureSensor { out } => vec![("out", out)],
            Self::Junction { anode, cathode } | Self::Clamp { anode, cathode, .. } => {
                vec![("anode", anode), ("cathode", cathode)]
            }
            Self::Thermistor { a, b } | Self::Platinum { a, b } => vec![("between.0", a), ("between.1", b)],
            Self::DetectionCurrent { from, to, .. } => vec![("from", from), ("to", to)],
        }
    }

    /// The two nodes between which direct current flows as in a resistor.
    pub fn conducts_between(&self) -> Option<(&String, &String)> {
        match self {
            Self::Resistor { a, b }
            | Self::Thermistor { a, b }
            | Self::Platinum { a, b }
            | Self::Adjustable { a, b, .. } => Some((a, b)),
            Self::Junction { anode, cathode } => Some((anode, cathode)),
            _ => None,
        }
    }

    /// As [`PartKind::senses_temperature`] once it is built.
    const fn senses_temperature(&self) -> bool {
        matches!(
            self,
            Self::TemperatureSensor { .. }
                | Self::Junction { .. }
                | Self::Thermistor { .. }
                | Self::Platinum { .. }
        )
    }

    /// All pairs of nodes between which direct current flows as in a resistor: both arms of a track with a wiper.
    pub fn conducting_pairs(&self) -> Vec<(&String, &String)> {
        match self {
            Self::Adjustable { a, b, wiper: Some(wiper) } => vec![(a, wiper), (wiper, b)],
            _ => self.conducts_between().into_iter().collect(),
        }
    }

    /// Record of an amplifier, and whether it must be of the instrumentation kind.
    pub fn record(&self) -> Option<(&str, bool)> {
        match self {
            Self::Operational { record, .. } => Some((record, false)),
            Self::Instrumentation { record, .. } => Some((record, true)),
            _ => None,
        }
    }
}

impl Blueprint {
    /// The slot of a designator.
    pub fn slot(&self, designator: &str) -> Option<&Slot> {
        self.slots.iter().find(|s| s.designator == designator)
    }

    /// The part of a designator.
    pub fn element(&self, designator: &str) -> Option<&PlannedPart> {
        self.elements.iter().find(|e| e.designator == designator)
    }

    /// The adjustable resistors, in the order of the parts.
    pub fn adjustable(&self) -> impl Iterator<Item = &str> {
        self.elements
            .iter()
            .filter(|e| matches!(e.kind, PlannedKind::Adjustable { .. } | PlannedKind::AdjustableGain { .. }))
            .map(|e| e.designator.as_str())
    }

    /// Whether the circuit compensates the reference junction itself.
    pub fn compensates(&self) -> bool {
        self.elements.iter().any(|e| e.kind.senses_temperature())
    }

    /// Whether a voltage sensor does that.
    pub fn has_voltage_sensor(&self) -> bool {
        self.elements.iter().any(|e| matches!(e.kind, PlannedKind::TemperatureSensor { .. }))
    }

    /// For a circuit with taps and none for this type: the types that have one.
    pub fn tap_missing(&self, letter: Letter) -> Option<String> {
        let missing = !self.taps.is_empty() && self.taps.iter().all(|t| t.letter != letter);
        let names = || self.taps.iter().map(|t| t.letter.name()).collect::<Vec<_>>().join(", ");
        missing.then(names)
    }

    /// Node of the negative terminal for a type; whether it has a tap, where there are any, [`Blueprint::tap_missing`]
    /// tells.
    pub fn minus_for(&self, letter: Letter) -> &str {
        self.taps.iter().find(|t| t.letter == letter).map_or(&self.ports.minus, |t| &t.node)
    }

    /// Slots of one role, in the order of the parts.
    pub fn role<'a>(&'a self, role: &'a str) -> impl Iterator<Item = &'a Slot> {
        self.slots.iter().filter(move |s| s.role.as_deref() == Some(role))
    }

    /// Records of amplifiers that the circuit asks for, in the order of the parts, each once.
    pub fn records(&self) -> Vec<(&str, bool)> {
        let mut seen = BTreeSet::new();
        self.elements.iter().filter_map(|e| e.kind.record()).filter(|r| seen.insert(*r)).collect()
    }

    /// Record of the amplifier that drives the output, directly or through resistors and capacitors.
    pub fn output_record(&self) -> Option<&str> {
        let mut reached: Vec<&str> = vec![&self.ports.output];
        let mut next = 0;
        while let Some(node) = reached.get(next).copied() {
            next += 1;
            for element in &self.elements {
                match &element.kind {
                    PlannedKind::Operational { out, record, .. }
                    | PlannedKind::Instrumentation { out, record, .. }
                        if out == node =>
                    {
                        return Some(record);
                    }
                    PlannedKind::Resistor { a, b } | PlannedKind::Adjustable { a, b, wiper: None }
                        if a == node || b == node =>
                    {
                        let far = if a == node { b } else { a };
                        if !reached.contains(&far.as_str()) {
                            reached.push(far);
                        }
                    }
                    _ => {}
                }
            }
        }
        None
    }

    /// Value of a slot, Ω or F: out of `values`; else what the circuit gives, the value it is tied to, the usual one.
    pub fn value(&self, designator: &str, values: &Values) -> Option<f64> {
        let (mut name, mut factor) = (designator, 1.0);
        // A circle of ties has no value; a chain of them is no longer than there are slots.
        for _ in 0..=self.slots.len() {
            let slot = self.slot(name)?;
            if let Some(value) = values.get(name).copied().or(slot.given) {
                return Some(factor * value);
            }
            match &slot.tie {
                Some(tie) => {
                    factor *= tie.ratio;
                    name = &tie.to;
                }
                None => return Some(factor * slot.usual),
            }
        }
        None
    }

    /// Puts values and figures in; slots that `values` does not name get what the circuit gives, or their usual value.
    pub fn build(&self, surroundings: &Surroundings, values: &Values) -> FrontEnd {
        let node = |name: &String| surroundings.node(name);
        let mut parts = self.surrounding_parts(surroundings);
        for element in &self.elements {
            let designator = element.designator.as_str();
            let value = || self.value(designator, values).unwrap_or(f64::NAN);
            let kind = match &element.kind {
                PlannedKind::Resistor { a, b } => {
                    let mut figures = surroundings.resistor(designator, value());
                    let network = self.slot(designator).and_then(|s| s.network.as_ref());
                    let loose = surroundings.loose.contains(designator);
                    if let (Some((tolerance, tempco)), Some(name), false) =
                        (surroundings.network, network, loose)
                    {
                        figures.network = Some(Network { name: name.clone(), tolerance, tempco });
                    }
                    PartKind::Resistor { a: node(a), b: node(b), figures }
                }
                PlannedKind::Adjustable { a, b, wiper } => PartKind::Adjustable {
                    a: node(a),
                    b: node(b),
                    wiper: wiper.as_ref().map(node),
                    figures: surroundings.track(designator, value()),
                },
                PlannedKind::AdjustableGain { amplifier } => PartKind::AdjustableGain {
                    amplifier: amplifier.clone(),
                    figures: surroundings.track(designator, value()),
                },
                PlannedKind::GainResistor { amplifier } => PartKind::GainResistor {
                    amplifier: amplifier.clone(),
                    figures: surroundings.resistor(designator, value()),
                },
                PlannedKind::Capacitor { a, b } => PartKind::Capacitor {
                    a: node(a),
                    b: node(b),
                    farads: value(),
                    tolerance: surroundings.capacitor_tolerance(designator),
                },
                PlannedKind::Operational { plus, minus, out, supply, record } => PartKind::Operational {
                    plus: node(plus),
                    minus: node(minus),
                    out: node(out),
                    supply: (node(&supply.0), node(&supply.1)),
                    figures: surroundings.record(record).0.clone(),
                },
                PlannedKind::Instrumentation { plus, minus, reference, out, supply, record } => {
                    let (figures, law) = surroundings.record(record);
                    PartKind::Instrumentation {
                        plus: node(plus),
                        minus: node(minus),
                        reference: node(reference),
                        out: node(out),
                        supply: (node(&supply.0), node(&supply.1)),
                        figures: figures.clone(),
                        gain_constant: law.constant,
                        gain_error: law.error,
                        gain_drift: law.drift,
                        gain_nonlinearity: law.nonlinearity,
                    }
                }
                PlannedKind::TemperatureSensor { out } => PartKind::TemperatureSensor { node: node(out) },
                PlannedKind::Junction { anode, cathode } => PartKind::Junction {
                    anode: node(anode),
                    cathode: node(cathode),
                    figures: surroundings.sensing.junction,
                },
                PlannedKind::Thermistor { a, b } => {
                    PartKind::Thermistor { a: node(a), b: node(b), figures: surroundings.sensing.thermistor }
                }
                PlannedKind::Platinum { a, b } => {
                    PartKind::Platinum { a: node(a), b: node(b), figures: surroundings.sensing.platinum }
                }
                PlannedKind::Clamp { anode, cathode, figures } => {
                    PartKind::Clamp { anode: node(anode), cathode: node(cathode), figures: *figures }
                }
                PlannedKind::DetectionCurrent { from, to, figures } => {
                    PartKind::DetectionCurrent { from: node(from), to: node(to), figures: *figures }
                }
            };
            parts.push(Part {
                designator: element.designator.clone(),
                purpose: element.purpose.clone(),
                kind,
            });
        }
        let mut ports = self.ports.clone();
        self.minus_for(surroundings.letter).clone_into(&mut ports.minus);
        for port in [&mut ports.plus, &mut ports.minus, &mut ports.output] {
            *port = node(port);
        }
        ports.output_minus = ports.output_minus.as_ref().map(node);
        ports.reference = surroundings.reference.is_some().then(|| REFERENCE.into());
        let mut test_points = self.test_points.clone();
        for point in &mut test_points {
            point.node = node(&point.node);
        }
        let (title, id) = (self.title.clone(), self.id.clone());
        let mut front_end = FrontEnd { title, id, parts, ports, test_points };
        if !surroundings.loose.is_empty() {
            front_end.leave_lone_networks();
        }
        front_end
    }

    /// Supplies and the converter's reference.
    fn surrounding_parts(&self, surroundings: &Surroundings) -> Vec<Part> {
        let part = |designator: &str, purpose: &str, kind| Part {
            designator: designator.into(),
            purpose: purpose.into(),
            kind,
        };
        let (volts, tolerance) = surroundings.supply;
        let supply = PartKind::Supply { node: SUPPLY.into(), volts, tolerance };
        let mut parts = vec![part("VS", "positive supply", supply)];
        let (volts, tolerance) = surroundings.negative;
        if volts != 0.0 {
            let negative = PartKind::Supply { node: NEGATIVE.into(), volts, tolerance };
            parts.push(part("VN", "negative supply", negative));
        }
        if let Some(reference) = &surroundings.reference {
            let shared =
                self.elements.iter().any(|e| e.kind.pins().iter().any(|(_, node)| *node == REFERENCE));
            let purpose =
                if shared { "reference of converter and pedestal" } else { "reference of the converter" };
            parts.push(part("VREF", purpose, reference.clone()));
        }
        parts
    }
}
