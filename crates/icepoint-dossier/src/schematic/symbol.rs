//! Symbols: shapes and pins in grid units (one unit is 10 drawing units), x to the right, y downwards.

use crate::lettering::text_width;

/// Drawing units in one grid unit.
pub(crate) const GRID: f64 = 10.0;
/// Size of text in schematics, in drawing units.
pub(crate) const TEXT: f64 = 14.0;

/// Quarter turns clockwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// As drawn: resistors and capacitors lie.
    None,
    /// A quarter clockwise: they stand.
    Quarter,
    /// Half.
    Half,
    /// Three quarters clockwise.
    ThreeQuarters,
}

impl Turn {
    /// `point` turned about the origin.
    #[must_use]
    pub fn apply(self, (x, y): (f64, f64)) -> (f64, f64) {
        match self {
            Turn::None => (x, y),
            Turn::Quarter => (-y, x),
            Turn::Half => (-x, -y),
            Turn::ThreeQuarters => (y, -x),
        }
    }
}

/// Where the body of a flag lies as seen from its pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlagSide {
    /// The signal leaves to the right.
    Right,
    /// The signal comes from the left.
    Left,
    /// The flag hangs below.
    Below,
}

/// What can be placed.
#[derive(Clone, Debug, PartialEq)]
pub enum Symbol {
    /// Pins 1 (−3, 0) and 2 (3, 0).
    Resistor,
    /// Pins 1 (−2, 0) and 2 (2, 0).
    Capacitor,
    /// Pins A (−2, 0) and K (2, 0).
    Diode,
    /// Resistor whose value falls with temperature; pins as the resistor's.
    Thermistor,
    /// Resistor whose value rises in proportion to temperature; pins as the resistor's.
    ResistanceThermometer,
    /// Resistor that is turned to a value; pins as the resistor's.
    Trimmer,
    /// Divider that is turned; pins 1 (−3, 0), 2 (3, 0) and W (0, −3).
    Potentiometer,
    /// Ideal current source, from 1 (−3, 0) to 2 (3, 0).
    CurrentSource,
    /// Voltmeter; pins + (−3, 0) and − (3, 0).
    Voltmeter,
    /// Source of a known voltage, a block of 8 × 5; pins OUT (5, 0) and 0 V (0, 3.5).
    Reference,
    /// Ideal voltage source; pins + (0, −3) and − (0, 3).
    VoltageSource,
    /// Pins + and − (−4, ∓2), OUT (4, 0), V+ (0, −2), V− (0, 2); with `plus_on_top` false the inputs change places.
    OpAmp {
        /// Whether the non-inverting input is the upper one.
        plus_on_top: bool,
    },
    /// Pins + and − (−5, ∓5), RG1 and RG2 (−5, ∓3), OUT (6, 0), V+ (0, −6), V− (−1, 6), REF (2, 6); with `plus_on_top`
    /// false the inputs change places.
    InstrumentationAmplifier {
        /// Whether the non-inverting input is the upper one.
        plus_on_top: bool,
    },
    /// Pins + (4, −half) and − (4, half); bead at the origin.
    Thermocouple {
        /// Half the distance of its pins.
        half: f64,
    },
    /// Analog-to-digital converter; pins IN (−5, 0), VREF (0, −5), OUT (5, 0).
    Converter,
    /// Analog-to-digital converter with two inputs; pins + and − (−5, ∓5), VREF (0, −7), OUT (5, 0); with `plus_on_top`
    /// false the inputs change places.
    DifferentialConverter {
        /// Whether the positive input is the upper one.
        plus_on_top: bool,
    },
    /// A block for what has no symbol of its own: pins on the left and the right, 4 apart, by their names.
    Block {
        /// Names on the left, from the top.
        left: Vec<String>,
        /// Names on the right, from the top.
        right: Vec<String>,
    },
    /// Temperature sensor, a block of 8 × 5 with its texts inside; pins V+ (0, −3.5), V− (0, 3.5), OUT (5, 0).
    Sensor,
    /// Reference potential of the circuit; pin at the origin.
    Ground,
    /// Supply or reference rail with its name; pin at the origin.
    Rail {
        /// Name, which joins all rails of that name.
        name: String,
    },
    /// Rail with its name below it; pin at the origin.
    RailBelow {
        /// Name, which joins all rails of that name.
        name: String,
    },
    /// Named connection; pin at the origin.
    Flag {
        /// Name, which joins all flags of that name.
        name: String,
        /// Where its body lies.
        side: FlagSide,
    },
    /// Pin at the origin, ring at (0, −2.5).
    TestPoint,
    /// Terminal for a wire from outside; pin at the origin.
    Terminal,
    /// Sheath of a cable around the two wires at (0, ±half); no pins.
    Sheath {
        /// Half the distance of its wires.
        half: f64,
    },
}

/// A piece of a symbol.
#[derive(Clone, Debug)]
pub(crate) enum Shape {
    /// Thin open line: a lead.
    Lead(Vec<(f64, f64)>),
    /// Thick open line.
    Bar(Vec<(f64, f64)>),
    /// Closed outline, filled with the ground so that wires behind don't show.
    Body(Vec<(f64, f64)>),
    /// Ring, filled with the ground.
    Ring((f64, f64), f64),
    /// Ring in the colour of test points.
    TestRing((f64, f64), f64),
    /// Disc filled with ink.
    Disc((f64, f64), f64),
    /// Closed outline filled with ink.
    Wedge(Vec<(f64, f64)>),
    /// Thin ellipse: centre, half width, half height.
    Loop((f64, f64), f64, f64),
    /// Upright text centred on a point, size in drawing units.
    Sign((f64, f64), String, f64),
}

fn lead(points: &[(f64, f64)]) -> Shape {
    Shape::Lead(points.to_vec())
}

fn rectangle(w: f64, h: f64) -> Shape {
    Shape::Body(vec![(-w, -h), (w, -h), (w, h), (-w, h)])
}

fn resistor() -> Vec<Shape> {
    vec![lead(&[(-3.0, 0.0), (-2.0, 0.0)]), lead(&[(2.0, 0.0), (3.0, 0.0)]), rectangle(2.0, 0.7)]
}

fn sign(at: (f64, f64), text: &str, size: f64) -> Shape {
    Shape::Sign(at, text.to_owned(), size)
}

impl Symbol {
    /// Whether its ends have no names: either may be either.
    #[must_use]
    pub fn nameless(&self) -> bool {
        matches!(
            self,
            Symbol::Resistor
                | Symbol::Capacitor
                | Symbol::Thermistor
                | Symbol::ResistanceThermometer
                | Symbol::Trimmer
                | Symbol::TestPoint
                | Symbol::Terminal
        )
    }

    /// Names and places of the pins in the symbol's own frame.
    #[must_use]
    pub fn pins(&self) -> Vec<(&str, f64, f64)> {
        match self {
            Symbol::Resistor
            | Symbol::Thermistor
            | Symbol::ResistanceThermometer
            | Symbol::Trimmer
            | Symbol::CurrentSource => vec![("1", -3.0, 0.0), ("2", 3.0, 0.0)],
            Symbol::Potentiometer => vec![("1", -3.0, 0.0), ("2", 3.0, 0.0), ("W", 0.0, -3.0)],
            Symbol::Voltmeter => vec![("+", -3.0, 0.0), ("−", 3.0, 0.0)],
            Symbol::Reference => vec![("OUT", 5.0, 0.0), ("0 V", 0.0, 3.5)],
            Symbol::Capacitor => vec![("1", -2.0, 0.0), ("2", 2.0, 0.0)],
            Symbol::Diode => vec![("A", -2.0, 0.0), ("K", 2.0, 0.0)],
            Symbol::VoltageSource => vec![("+", 0.0, -3.0), ("−", 0.0, 3.0)],
            Symbol::OpAmp { plus_on_top } => {
                let s = if *plus_on_top { 1.0 } else { -1.0 };
                vec![
                    ("+", -4.0, -2.0 * s),
                    ("−", -4.0, 2.0 * s),
                    ("OUT", 4.0, 0.0),
                    ("V+", 0.0, -2.0),
                    ("V−", 0.0, 2.0),
                ]
            }
            Symbol::InstrumentationAmplifier { plus_on_top } => {
                let s = if *plus_on_top { 1.0 } else { -1.0 };
                vec![
                    ("+", -5.0, -5.0 * s),
                    ("−", -5.0, 5.0 * s),
                    ("RG1", -5.0, -3.0),
                    ("RG2", -5.0, 3.0),
                    ("OUT", 6.0, 0.0),
                    ("V+", 0.0, -6.0),
                    ("V−", -1.0, 6.0),
                    ("REF", 2.0, 6.0),
                ]
            }
            Symbol::Thermocouple { half } => vec![("+", 4.0, -half), ("−", 4.0, *half)],
            Symbol::Converter => vec![("IN", -5.0, 0.0), ("VREF", 0.0, -5.0), ("OUT", 5.0, 0.0)],
            Symbol::DifferentialConverter { plus_on_top } => {
                let s = if *plus_on_top { 1.0 } else { -1.0 };
                vec![("+", -5.0, -5.0 * s), ("−", -5.0, 5.0 * s), ("VREF", 0.0, -7.0), ("OUT", 5.0, 0.0)]
            }
            Symbol::Block { left, right } => {
                let side = |names: &'_ [String], x: f64| {
                    let top = -2.0 * (names.len().max(1) - 1) as f64;
                    (0..names.len()).map(|i| (x, top + 4.0 * i as f64)).collect::<Vec<_>>()
                };
                left.iter()
                    .zip(side(left, -6.0))
                    .chain(right.iter().zip(side(right, 6.0)))
                    .map(|(name, (x, y))| (name.as_str(), x, y))
                    .collect()
            }
            Symbol::Sheath { .. } => Vec::new(),
            Symbol::Sensor => vec![("V+", 0.0, -3.5), ("V−", 0.0, 3.5), ("OUT", 5.0, 0.0)],
            Symbol::Ground
            | Symbol::Rail { .. }
            | Symbol::RailBelow { .. }
            | Symbol::Flag { .. }
            | Symbol::TestPoint
            | Symbol::Terminal => {
                vec![("1", 0.0, 0.0)]
            }
        }
    }

    /// What it looks like in its own frame.
    pub(crate) fn shapes(&self) -> Vec<Shape> {
        match self {
            Symbol::Resistor => resistor(),
            Symbol::Thermistor => {
                let mut all = resistor();
                all.push(lead(&[(-1.9, 1.25), (-1.2, 1.25), (1.5, -1.25)]));
                all.push(sign((-2.75, 1.0), "ϑ", 11.0));
                all
            }
            Symbol::ResistanceThermometer => {
                let mut all = resistor();
                all.push(lead(&[(-1.5, 1.25), (1.5, -1.25)]));
                all.push(sign((-2.75, 1.0), "ϑ", 11.0));
                all
            }
            Symbol::Trimmer => {
                let mut all = resistor();
                all.push(lead(&[(-1.5, 1.25), (1.5, -1.25)]));
                all.push(lead(&[(1.2, -1.6), (1.8, -0.95)]));
                all
            }
            Symbol::Potentiometer => {
                let mut all = resistor();
                all.push(lead(&[(0.0, -3.0), (0.0, -0.7)]));
                all.push(Shape::Wedge(vec![(0.0, -0.7), (-0.45, -1.6), (0.45, -1.6)]));
                all
            }
            Symbol::CurrentSource => vec![
                lead(&[(-3.0, 0.0), (-1.6, 0.0)]),
                lead(&[(1.6, 0.0), (3.0, 0.0)]),
                Shape::Ring((0.0, 0.0), 1.6),
                lead(&[(-1.0, 0.0), (0.6, 0.0)]),
                Shape::Wedge(vec![(1.1, 0.0), (0.2, -0.5), (0.2, 0.5)]),
            ],
            Symbol::Voltmeter => vec![
                lead(&[(-3.0, 0.0), (-1.6, 0.0)]),
                lead(&[(1.6, 0.0), (3.0, 0.0)]),
                Shape::Ring((0.0, 0.0), 1.6),
                sign((0.0, 0.0), "V", 15.0),
            ],
            Symbol::Reference => vec![
                lead(&[(4.0, 0.0), (5.0, 0.0)]),
                lead(&[(0.0, 2.5), (0.0, 3.5)]),
                rectangle(4.0, 2.5),
                sign((0.0, 0.0), "reference", 12.0),
            ],
            Symbol::Capacitor => vec![
                lead(&[(-2.0, 0.0), (-0.35, 0.0)]),
                lead(&[(0.35, 0.0), (2.0, 0.0)]),
                Shape::Bar(vec![(-0.35, -1.15), (-0.35, 1.15)]),
                Shape::Bar(vec![(0.35, -1.15), (0.35, 1.15)]),
            ],
            Symbol::Diode => vec![
                lead(&[(-2.0, 0.0), (2.0, 0.0)]),
                Shape::Body(vec![(-0.8, -0.8), (0.8, 0.0), (-0.8, 0.8)]),
                Shape::Bar(vec![(0.8, -0.8), (0.8, 0.8)]),
            ],
            Symbol::VoltageSource => vec![
                Shape::Ring((0.0, 0.0), 1.6),
                lead(&[(0.0, -3.0), (0.0, 3.0)]),
                sign((-1.1, -2.3), "+", TEXT),
            ],
            Symbol::OpAmp { plus_on_top } => {
                let (upper, lower) = if *plus_on_top { ("+", "−") } else { ("−", "+") };
                vec![
                    lead(&[(-4.0, -2.0), (-3.0, -2.0)]),
                    lead(&[(-4.0, 2.0), (-3.0, 2.0)]),
                    lead(&[(3.0, 0.0), (4.0, 0.0)]),
                    Shape::Body(vec![(-3.0, -3.6), (3.2, 0.0), (-3.0, 3.6)]),
                    sign((-2.3, -2.0), upper, 15.0),
                    sign((-2.3, 2.0), lower, 15.0),
                ]
            }
            Symbol::InstrumentationAmplifier { plus_on_top } => vec![
                lead(&[(-5.0, -5.0), (-4.0, -5.0)]),
                lead(&[(-5.0, 5.0), (-4.0, 5.0)]),
                lead(&[(-5.0, -3.0), (-4.0, -3.0)]),
                lead(&[(-5.0, 3.0), (-4.0, 3.0)]),
                lead(&[(5.0, 0.0), (6.0, 0.0)]),
                lead(&[(0.0, -6.0), (0.0, -4.0)]),
                lead(&[(-1.0, 6.0), (-1.0, 4.0)]),
                lead(&[(2.0, 6.0), (2.0, 2.0)]),
                Shape::Body(vec![(-4.0, -6.9), (5.6, 0.0), (-4.0, 6.9)]),
                sign((-3.2, -5.0), if *plus_on_top { "+" } else { "−" }, 15.0),
                sign((-3.2, 5.0), if *plus_on_top { "−" } else { "+" }, 15.0),
                sign((-2.7, -2.95), "RG", 11.0),
                sign((-2.7, 2.95), "RG", 11.0),
                sign((1.75, 1.6), "REF", 11.0),
            ],
            Symbol::Thermocouple { half } => vec![
                lead(&[(0.0, 0.0), (2.0, -half), (4.0, -half)]),
                // The negative wire is the heavy one.
                Shape::Bar(vec![(0.0, 0.0), (2.0, *half), (4.0, *half)]),
                Shape::Disc((0.0, 0.0), 0.45),
                sign((2.6, -half - 0.9), "+", 15.0),
                sign((2.6, half + 0.9), "−", 15.0),
            ],
            Symbol::Converter => vec![
                lead(&[(-5.0, 0.0), (-4.0, 0.0)]),
                lead(&[(0.0, -5.0), (0.0, -4.0)]),
                lead(&[(5.0, 0.0), (4.0, 0.0)]),
                rectangle(4.0, 4.0),
                lead(&[(-4.0, 4.0), (4.0, -4.0)]),
                sign((-2.2, -2.2), "∩", 17.0),
                sign((2.2, 2.2), "#", 17.0),
            ],
            Symbol::DifferentialConverter { plus_on_top } => vec![
                lead(&[(-5.0, -5.0), (-4.0, -5.0)]),
                lead(&[(-5.0, 5.0), (-4.0, 5.0)]),
                lead(&[(0.0, -7.0), (0.0, -6.0)]),
                lead(&[(5.0, 0.0), (4.0, 0.0)]),
                rectangle(4.0, 6.0),
                lead(&[(-4.0, 6.0), (4.0, -6.0)]),
                sign((-3.2, -5.0), if *plus_on_top { "+" } else { "−" }, 15.0),
                sign((-3.2, 5.0), if *plus_on_top { "−" } else { "+" }, 15.0),
                sign((-1.6, -2.4), "∩", 17.0),
                sign((2.0, 2.6), "#", 17.0),
            ],
            Symbol::Block { left, right } => {
                let half = 2.0 * left.len().max(right.len()).max(1) as f64;
                let mut all = vec![rectangle(5.0, half)];
                for (name, x, y) in self.pins() {
                    let way = if x < 0.0 { 1.0 } else { -1.0 };
                    all.push(lead(&[(x, y), (x + way, y)]));
                    let inset = 0.5 + text_width(name, 11.0) / GRID / 2.0;
                    all.push(sign((x + way * (1.0 + inset), y), name, 11.0));
                }
                all
            }
            Symbol::Sheath { half } => vec![Shape::Loop((0.0, 0.0), 0.9, half + 1.2)],
            Symbol::Sensor => vec![
                lead(&[(0.0, -3.5), (0.0, -2.5)]),
                lead(&[(0.0, 3.5), (0.0, 2.5)]),
                lead(&[(4.0, 0.0), (5.0, 0.0)]),
                rectangle(4.0, 2.5),
                sign((0.0, 0.0), "sensor", 12.0),
            ],
            Symbol::Ground => {
                vec![lead(&[(0.0, 0.0), (0.0, 0.7)]), Shape::Bar(vec![(-1.1, 0.7), (1.1, 0.7)])]
            }
            Symbol::Rail { name } => {
                vec![Shape::Bar(vec![(-1.1, 0.0), (1.1, 0.0)]), sign((0.0, -0.95), name, 12.5)]
            }
            Symbol::RailBelow { name } => {
                vec![Shape::Bar(vec![(-1.1, 0.0), (1.1, 0.0)]), sign((0.0, 0.95), name, 12.5)]
            }
            Symbol::Flag { name, side } => flag(name, *side),
            Symbol::TestPoint => vec![lead(&[(0.0, 0.0), (0.0, -2.0)]), Shape::TestRing((0.0, -2.5), 0.5)],
            Symbol::Terminal => vec![Shape::Ring((0.0, 0.0), 0.5)],
        }
    }

    /// The box its body fills in its own frame, leads left out: half extents about the origin.
    pub(crate) fn body(&self) -> (f64, f64) {
        match self {
            Symbol::Resistor | Symbol::Potentiometer => (2.0, 0.7),
            Symbol::Thermistor | Symbol::ResistanceThermometer | Symbol::Trimmer => (2.0, 1.25),
            Symbol::CurrentSource | Symbol::Voltmeter => (1.6, 1.6),
            Symbol::Reference => (4.0, 2.5),
            Symbol::DifferentialConverter { .. } => (4.0, 6.0),
            Symbol::Block { left, right } => (5.0, 2.0 * left.len().max(right.len()).max(1) as f64),
            Symbol::Sheath { half } => (0.9, half + 1.2),
            Symbol::Capacitor => (0.35, 1.15),
            Symbol::Diode => (0.8, 0.8),
            Symbol::VoltageSource => (1.6, 1.6),
            Symbol::OpAmp { .. } => (3.0, 3.6),
            Symbol::InstrumentationAmplifier { .. } => (4.0, 6.9),
            Symbol::Thermocouple { half } => (0.5, *half),
            Symbol::Converter => (4.0, 4.0),
            Symbol::Sensor => (4.0, 2.5),
            Symbol::TestPoint | Symbol::Terminal => (0.5, 0.5),
            Symbol::Ground | Symbol::Rail { .. } | Symbol::RailBelow { .. } => (1.1, 0.7),
            Symbol::Flag { .. } => (0.0, 0.0),
        }
    }
}

fn flag(name: &str, side: FlagSide) -> Vec<Shape> {
    let size = 12.0;
    let width = text_width(name, size) / GRID + 1.2;
    let half = 0.95;
    let (outline, at) = match side {
        FlagSide::Right => (
            vec![(0.0, -half), (width, -half), (width + half, 0.0), (width, half), (0.0, half)],
            (width / 2.0 + 0.1, 0.0),
        ),
        FlagSide::Left => (
            vec![(0.0, 0.0), (-half, -half), (-width - half, -half), (-width - half, half), (-half, half)],
            (-width / 2.0 - half + 0.1, 0.0),
        ),
        FlagSide::Below => (
            vec![
                (0.0, 0.0),
                (width / 2.0, 0.8),
                (width / 2.0, 0.8 + 2.0 * half),
                (-width / 2.0, 0.8 + 2.0 * half),
                (-width / 2.0, 0.8),
            ],
            (0.0, 0.8 + half),
        ),
    };
    vec![Shape::Body(outline), sign(at, name, size)]
}
