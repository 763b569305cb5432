//! The filter as parts of a front end: ordinary resistors, capacitors and amplifiers with slots of the role `low-pass`.
//!
//! **Where.** Between the last amplifier and whatever leads from it to the output: a resistor that isolates it from the
//! converter stays behind the filter. A low-pass that the front end has there already, a follower behind resistors and
//! capacitors, gives way.
//!
//! **Bias.** Multiple feedback inverts about the voltage on its (+) inputs. On a board with two supplies and a voltmeter
//! that is ground; else half of the converter's reference, from a divider, so that the whole span of the converter is of
//! use. Two such stages about one voltage cancel it.

use std::collections::BTreeSet;
use std::fmt;

use super::{Form, LowPass, Stage, USUAL_CORNER};
use crate::front_end::{
    Blueprint, PlannedKind, PlannedPart, Slot, SlotKind, TestPoint, Tie, blueprint::GROUND,
    blueprint::NEGATIVE, blueprint::REFERENCE, blueprint::SUPPLY,
};
use crate::quantity::series::Series;

/// Role of the slots of the filter.
pub const ROLE: &str = "low-pass";
/// Role of the divider that biases inverting stages.
pub const BIAS_ROLE: &str = "low-pass bias";
/// Values that a search may choose, Ω: below, an amplifier is loaded; above, bias currents and leakage count.
pub const OHMS: (f64, f64) = (1e3, 1e6);
/// Values that a search may choose, F: what film capacitors are sold in.
pub const FARADS: (f64, f64) = (1e-9, 4.7e-6);
/// Smaller capacitor of a pair before anything is chosen, F.
const USUAL_FARADS: f64 = 100e-9;
/// Ratio of the capacitors over the least possible, before anything is chosen.
const USUAL_MARGIN: f64 = 1.2;

/// What the filter takes from the rest of the board.
#[derive(Clone, Copy, Debug)]
pub struct Site<'a> {
    /// Record of the amplifiers, as in [`PlannedKind::Operational`].
    pub record: &'a str,
    /// Whether inverting stages turn about ground.
    pub about_ground: bool,
    /// Series that usual values are rounded to: resistors, capacitors.
    pub series: (Series, Series),
}

/// A filter that is part of a front end.
#[derive(Clone, Debug, PartialEq)]
pub struct Inserted {
    /// As asked for.
    pub plan: LowPass,
    /// Its stages in the order of the signal.
    pub stages: Vec<StageParts>,
    /// Designators of a low-pass of the front end that gave way.
    pub replaced: Vec<String>,
    /// Node before the first stage.
    pub input: String,
    /// Node behind the last one.
    pub output: String,
}

/// Designators of one stage.
#[derive(Clone, Debug, PartialEq)]
pub struct StageParts {
    /// Its poles.
    pub stage: Stage,
    /// R1, R2, R3 of the stage, as far as it has them.
    pub ohms: Vec<String>,
    /// C1, C2.
    pub farads: Vec<String>,
    /// Its amplifier.
    pub amplifier: String,
}

/// Why a filter can't be put in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoPlace {
    /// No amplifier drives the output.
    NoAmplifier,
    /// The output is taken between two nodes.
    Differential,
    /// The amplifier's feedback comes from behind the place.
    InsideTheLoop(String),
    /// Number of poles, ripple or corner that no filter has.
    NoSuchFilter,
    /// A designator that the filter needs is taken.
    Taken(String),
}

impl fmt::Display for NoPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoAmplifier => f.write_str("no amplifier drives the output through resistors, so there is nothing to put a filter behind"),
            Self::Differential => f.write_str("the output is taken between two nodes; a filter goes before one that is taken against ground"),
            Self::InsideTheLoop(name) => write!(f, "the feedback of {name} is taken behind the place of the filter, which would be inside its loop"),
            Self::NoSuchFilter => f.write_str("there is no filter of this kind"),
            Self::Taken(name) => write!(f, "{name} is the name of a part already; the filter needs it"),
        }
    }
}

/// The front end with the filter in it.
///
/// # Errors
/// [`NoPlace`].
pub fn insert(
    blueprint: &Blueprint,
    plan: LowPass,
    site: Site<'_>,
) -> Result<(Blueprint, Inserted), NoPlace> {
    if blueprint.ports.output_minus.is_some() {
        return Err(NoPlace::Differential);
    }
    let stages = plan.stages();
    if stages.is_empty() {
        return Err(NoPlace::NoSuchFilter);
    }
    let mut new = blueprint.clone();
    let place = Place::find(&mut new)?;
    let mut writer = Writer { new, site, resistors: 0, capacitors: 0, parts: Vec::new() };
    let corner = plan.corner.unwrap_or(USUAL_CORNER);
    let about =
        if plan.form == Form::SallenKey || site.about_ground { GROUND.to_owned() } else { "lp_bias".into() };
    let mut input = place.input.clone();
    let mut parts = Vec::new();
    let count = stages.len();
    for (index, stage) in stages.into_iter().enumerate() {
        let output = if index + 1 == count { place.output.clone() } else { format!("lp{}", index + 1) };
        parts.push(writer.stage(index + 1, stage, corner, [&input, &output, &about])?);
        input = output;
    }
    if about != GROUND {
        writer.bias(&about)?;
    }
    let Writer { mut new, parts: elements, .. } = writer;
    // In the parts list behind the amplifier that drives the filter.
    let at = new.elements.iter().position(|e| output_of(&e.kind) == Some(place.input.as_str()));
    let at = at.map_or(new.elements.len(), |at| at + 1);
    new.elements.splice(at..at, elements);
    let order = |s: &Slot| new.elements.iter().position(|e| e.designator == s.designator);
    new.slots.sort_by_key(order);
    test_points(&mut new, &parts);
    let inserted =
        Inserted { plan, stages: parts, replaced: place.replaced, input: place.input, output: place.output };
    Ok((new, inserted))
}

/// Node that a part drives.
fn output_of(kind: &PlannedKind) -> Option<&str> {
    match kind {
        PlannedKind::Operational { out, .. } | PlannedKind::Instrumentation { out, .. } => Some(out),
        _ => None,
    }
}

/// Where the filter goes; what gave way is out of the blueprint already.
struct Place {
    input: String,
    output: String,
    replaced: Vec<String>,
}

impl Place {
    fn find(blueprint: &mut Blueprint) -> Result<Self, NoPlace> {
        let path = path_to_amplifier(blueprint, &blueprint.ports.output, &BTreeSet::new())
            .ok_or(NoPlace::NoAmplifier)?;
        feedback_inside(blueprint, &path)?;
        if let Some(place) = Self::instead_of_a_low_pass(blueprint, &path) {
            return Ok(place);
        }
        let output = "lp_out".to_owned();
        match path.resistors.last() {
            // The resistor nearest to the amplifier moves behind the filter.
            Some(name) => {
                for element in &mut blueprint.elements {
                    if let PlannedKind::Resistor { a, b } = &mut element.kind
                        && element.designator == *name
                    {
                        let end = if *a == path.node { a } else { b };
                        *end = output.clone();
                    }
                }
            }
            None => blueprint.ports.output = output.clone(),
        }
        Ok(Self { input: path.node, output, replaced: Vec::new() })
    }

    /// A follower behind resistors, whose nodes have nothing but these resistors and capacitors, is a low-pass.
    fn instead_of_a_low_pass(blueprint: &mut Blueprint, path: &Path) -> Option<Self> {
        let follower = blueprint.elements.iter().find(|e| output_of(&e.kind) == Some(path.node.as_str()))?;
        let PlannedKind::Operational { plus, minus, out, .. } = &follower.kind else { return None };
        if minus != out {
            return None;
        }
        let (plus, out, name) = (plus.clone(), out.clone(), follower.designator.clone());
        let before = path_to_amplifier(blueprint, &plus, &BTreeSet::from([out.clone()]))?;
        let inner: BTreeSet<&str> =
            before.nodes.iter().map(String::as_str).filter(|n| *n != before.node).collect();
        let mut replaced = vec![name.clone()];
        for element in &blueprint.elements {
            let touches = element.kind.pins().iter().any(|(_, node)| inner.contains(node));
            match &element.kind {
                _ if !touches || element.designator == name => {}
                PlannedKind::Resistor { .. } if before.resistors.contains(&element.designator) => {
                    replaced.push(element.designator.clone());
                }
                PlannedKind::Capacitor { .. } => replaced.push(element.designator.clone()),
                _ => return None,
            }
        }
        // Without a capacitor it is a buffer, not a low-pass.
        let is_filter = replaced.len() > 1 + before.resistors.len();
        if !is_filter || before.resistors.is_empty() {
            return None;
        }
        blueprint.elements.retain(|e| !replaced.contains(&e.designator));
        blueprint.slots.retain(|s| !replaced.contains(&s.designator));
        Some(Self { input: before.node, output: out, replaced })
    }
}

/// From a node back through resistors to the output of an amplifier.
struct Path {
    /// Node of that output.
    node: String,
    /// Resistors on the way, the last one is on that node.
    resistors: Vec<String>,
    /// Nodes on the way, the first is where it began, the last is `node`.
    nodes: Vec<String>,
}

fn is_rail(node: &str) -> bool {
    [GROUND, SUPPLY, NEGATIVE, REFERENCE].contains(&node)
}

fn path_to_amplifier(blueprint: &Blueprint, from: &str, closed: &BTreeSet<String>) -> Option<Path> {
    let mut reached: Vec<(String, Vec<String>, Vec<String>)> =
        vec![(from.to_owned(), Vec::new(), vec![from.to_owned()])];
    let mut next = 0;
    while let Some((node, resistors, nodes)) = reached.get(next).cloned() {
        next += 1;
        if blueprint.elements.iter().any(|e| output_of(&e.kind) == Some(node.as_str())) {
            return Some(Path { node, resistors, nodes });
        }
        for element in &blueprint.elements {
            let PlannedKind::Resistor { a, b } = &element.kind else { continue };
            let far = if *a == node {
                b
            } else if *b == node {
                a
            } else {
                continue;
            };
            if is_rail(far) || closed.contains(far) || reached.iter().any(|(seen, ..)| seen == far) {
                continue;
            }
            let mut resistors = resistors.clone();
            resistors.push(element.designator.clone());
            let mut nodes = nodes.clone();
            nodes.push(far.clone());
            reached.push((far.clone(), resistors, nodes));
        }
    }
    None
}

/// Whether anything behind the amplifier leads back to an input through resistors.
fn feedback_inside(blueprint: &Blueprint, path: &Path) -> Result<(), NoPlace> {
    let mut reached: Vec<&str> = path.nodes.iter().map(String::as_str).filter(|n| *n != path.node).collect();
    let mut next = 0;
    while let Some(node) = reached.get(next).copied() {
        next += 1;
        for element in &blueprint.elements {
            match &element.kind {
                PlannedKind::Operational { plus, minus, .. }
                | PlannedKind::Instrumentation { plus, minus, .. }
                    if plus == node || minus == node =>
                {
                    return Err(NoPlace::InsideTheLoop(element.designator.clone()));
                }
                PlannedKind::Resistor { a, b } if a == node || b == node => {
                    let far = if a == node { b } else { a };
                    if far != &path.node && !is_rail(far) && !reached.contains(&far.as_str()) {
                        reached.push(far);
                    }
                }
                _ => {}
            }
        }
    }
    Ok(())
}

/// Points on nodes that are gone go too; every stage gets one.
fn test_points(blueprint: &mut Blueprint, stages: &[StageParts]) {
    let nodes: BTreeSet<String> = blueprint
        .elements
        .iter()
        .flat_map(|e| e.kind.pins().into_iter().map(|(_, node)| node.to_owned()).collect::<Vec<_>>())
        .collect();
    let ports = [blueprint.ports.plus.clone(), blueprint.ports.minus.clone(), blueprint.ports.output.clone()];
    blueprint.test_points.retain(|t| nodes.contains(&t.node) || is_rail(&t.node) || ports.contains(&t.node));
    for stage in stages {
        let Some(amplifier) = blueprint.element(&stage.amplifier) else { continue };
        let Some(node) = output_of(&amplifier.kind).map(str::to_owned) else { continue };
        if blueprint.test_points.iter().any(|t| t.node == node) {
            continue;
        }
        let number = (1..).find(|n| {
            let label = format!("TP{n}");
            blueprint.test_points.iter().all(|t| t.label != label)
        });
        let label = format!("TP{}", number.unwrap_or(1));
        let what = format!("low-pass, output of {}", stage.amplifier);
        blueprint.test_points.push(TestPoint { label, node, what });
    }
}

/// Adds parts with their slots.
struct Writer<'a> {
    new: Blueprint,
    site: Site<'a>,
    resistors: u32,
    capacitors: u32,
    parts: Vec<PlannedPart>,
}

impl Writer<'_> {
    fn push(&mut self, designator: &str, purpose: String, kind: PlannedKind) -> Result<(), NoPlace> {
        let taken = |parts: &[PlannedPart]| parts.iter().any(|e| e.designator == designator);
        if taken(&self.new.elements) || taken(&self.parts) {
            return Err(NoPlace::Taken(designator.to_owned()));
        }
        self.parts.push(PlannedPart { designator: designator.to_owned(), purpose, kind });
        Ok(())
    }

    fn slot(
        &mut self,
        designator: &str,
        kind: SlotKind,
        purpose: &str,
        usual: f64,
        role: &str,
        tie: Option<Tie>,
    ) {
        let (series, limits) = match kind {
            SlotKind::Resistor => (self.site.series.0, OHMS),
            SlotKind::Capacitor => (self.site.series.1, FARADS),
        };
        self.new.slots.push(Slot {
            designator: designator.to_owned(),
            kind,
            purpose: purpose.to_owned(),
            usual: series.nearest(usual).unwrap_or(usual),
            limits,
            network: tie.as_ref().map(|_| "RNF".to_owned()),
            tie,
            role: Some(role.to_owned()),
            given: None,
            tolerance: None,
            tempco: None,
        });
    }

    fn resistor(
        &mut self,
        ends: [&str; 2],
        purpose: &str,
        usual: f64,
        role: &str,
        tie: Option<Tie>,
    ) -> Result<String, NoPlace> {
        self.resistors += 1;
        let designator = format!("RF{}", self.resistors);
        self.push(
            &designator,
            purpose.to_owned(),
            PlannedKind::Resistor { a: ends[0].into(), b: ends[1].into() },
        )?;
        self.slot(&designator, SlotKind::Resistor, purpose, usual, role, tie);
        Ok(designator)
    }

    fn capacitor(
        &mut self,
        ends: [&str; 2],
        purpose: &str,
        usual: f64,
        role: &str,
    ) -> Result<String, NoPlace> {
        self.capacitors += 1;
        let designator = format!("CF{}", self.capacitors);
        self.push(
            &designator,
            purpose.to_owned(),
            PlannedKind::Capacitor { a: ends[0].into(), b: ends[1].into() },
        )?;
        self.slot(&designator, SlotKind::Capacitor, purpose, usual, role, None);
        Ok(designator)
    }

    fn amplifier(&mut self, number: usize, plus: &str, minus: &str, out: &str) -> Result<String, NoPlace> {
        let designator = format!("AF{number}");
        let kind = PlannedKind::Operational {
            plus: plus.into(),
            minus: minus.into(),
            out: out.into(),
            supply: (SUPPLY.into(), NEGATIVE.into()),
            record: self.site.record.to_owned(),
        };
        self.push(&designator, format!("low-pass, stage {number}"), kind)?;
        Ok(designator)
    }

    /// One stage between `input` and `output`, inverting stages about `about`.
    fn stage(
        &mut self,
        number: usize,
        stage: Stage,
        corner: f64,
        nodes: [&str; 3],
    ) -> Result<StageParts, NoPlace> {
        let [input, output, about] = nodes;
        let series = self.site.series.1;
        let farads = match stage.least_ratio() {
            Some(ratio) => {
                // The next larger value of the series keeps the ratio possible.
                let wanted = USUAL_MARGIN * ratio * USUAL_FARADS;
                let nearest = series.nearest(wanted).unwrap_or(wanted);
                let first = if nearest < ratio * USUAL_FARADS { wanted } else { nearest };
                vec![first, USUAL_FARADS]
            }
            None => vec![USUAL_FARADS],
        };
        let usual = stage.ohms(corner, &farads).pop().ok_or(NoPlace::NoSuchFilter)?;
        let ohm = |at: usize| usual.get(at).copied().unwrap_or(10e3);
        let what = |job: &str| format!("low-pass, stage {number}: {job}");
        let (inner, input_pin) = (format!("lp{number}_a"), format!("lp{number}_b"));
        let (mut ohms, mut capacitors) = (Vec::new(), Vec::new());
        let amplifier = match (stage.form, stage.pole.q) {
            (Form::SallenKey, Some(_)) => {
                ohms.push(self.resistor([input, &inner], &what("first resistor"), ohm(0), ROLE, None)?);
                ohms.push(self.resistor(
                    [&inner, &input_pin],
                    &what("second resistor"),
                    ohm(1),
                    ROLE,
                    None,
                )?);
                capacitors.push(self.capacitor([&inner, output], &what("to the output"), farads[0], ROLE)?);
                capacitors.push(self.capacitor([&input_pin, GROUND], &what("to ground"), farads[1], ROLE)?);
                self.amplifier(number, &input_pin, output, output)?
            }
            (Form::SallenKey, None) => {
                ohms.push(self.resistor([input, &input_pin], &what("single pole"), ohm(0), ROLE, None)?);
                capacitors.push(self.capacitor(
                    [&input_pin, GROUND],
                    &what("single pole"),
                    farads[0],
                    ROLE,
                )?);
                self.amplifier(number, &input_pin, output, output)?
            }
            (Form::MultipleFeedback, Some(_)) => {
                let first =
                    self.resistor([input, &inner], &what("gain, from the input"), ohm(0), ROLE, None)?;
                let tie = Tie { to: first.clone(), ratio: 1.0 };
                ohms.push(first);
                ohms.push(self.resistor(
                    [&inner, output],
                    &what("gain, from the output"),
                    ohm(1),
                    ROLE,
                    Some(tie),
                )?);
                ohms.push(self.resistor(
                    [&inner, &input_pin],
                    &what("third resistor"),
                    ohm(2),
                    ROLE,
                    None,
                )?);
                capacitors.push(self.capacitor([&inner, GROUND], &what("to ground"), farads[0], ROLE)?);
                capacitors.push(self.capacitor([&input_pin, output], &what("feedback"), farads[1], ROLE)?);
                self.amplifier(number, about, &input_pin, output)?
            }
            (Form::MultipleFeedback, None) => {
                let first =
                    self.resistor([input, &input_pin], &what("gain, from the input"), ohm(0), ROLE, None)?;
                let tie = Tie { to: first.clone(), ratio: 1.0 };
                ohms.push(first);
                ohms.push(self.resistor(
                    [&input_pin, output],
                    &what("gain, feedback"),
                    ohm(1),
                    ROLE,
                    Some(tie),
                )?);
                capacitors.push(self.capacitor(
                    [&input_pin, output],
                    &what("single pole"),
                    farads[0],
                    ROLE,
                )?);
                self.amplifier(number, about, &input_pin, output)?
            }
        };
        Ok(StageParts { stage, ohms, farads: capacitors, amplifier })
    }

    /// Half of the reference for the (+) inputs.
    fn bias(&mut self, node: &str) -> Result<(), NoPlace> {
        let upper =
            self.resistor([REFERENCE, node], "half of the reference, upper", 10e3, BIAS_ROLE, None)?;
        let tie = Tie { to: upper, ratio: 1.0 };
        self.resistor([node, GROUND], "half of the reference, lower", 10e3, BIAS_ROLE, Some(tie))?;
        self.capacitor([node, GROUND], "keeps interference off the half", 1e-6, BIAS_ROLE)?;
        Ok(())
    }
}
