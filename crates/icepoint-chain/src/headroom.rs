//! How close the board comes to its limits: output swing, input range, converter span.
//!
//! Judged at the four corners of hot × board temperature, with every deviation at the end of its range that drives
//! the output highest or lowest. What holds there holds for every board that is within its data sheets. The span of the
//! converter holds for what it makes of its input, gain and offset errors and those of the reference included: that is
//! where readings end.
//!
//! A grounded junction ties the inputs to the plant: they stand at its potential, whatever the bias path of a floating
//! one would make of them, and swing with the mains between plant and board (`need.common_pickup`). Both are counted.

use icepoint_circuit::{Netlist, Node};

use crate::front_end::PartKind;
use crate::model::{BoardState, HotEnd, Model, ModelError, ReadingNoise};
use crate::situation::Situation;
use crate::wiring::CONVERTER_INPUTS;

/// How a limit is used at the corner that comes closest to it.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitUse {
    /// Which: `A1 output`, `converter input`.
    pub what: String,
    /// Voltage there, V; of the converter's span what the converter makes of it.
    pub volts: f64,
    /// The same without what the converter's own errors and its reference add, V: the voltage at the pin.
    pub at_pin: f64,
    /// What is allowed, V.
    pub allowed: (f64, f64),
    /// Temperature of the measuring junction, °C.
    pub hot: f64,
    /// Board temperature, °C.
    pub board: f64,
}

impl LimitUse {
    /// Distance to the nearer limit, V; negative outside.
    pub fn margin(&self) -> f64 {
        (self.volts - self.allowed.0).min(self.allowed.1 - self.volts)
    }

    /// Moves the voltage towards the nearer limit by what swings on it, V.
    fn swing(&mut self, amplitude: f64) {
        let down = self.volts - self.allowed.0 < self.allowed.1 - self.volts;
        self.volts += if down { -amplitude } else { amplitude };
        self.at_pin = self.volts;
    }

    /// Margin over the width of what is allowed: 0 at the limit, negative outside.
    pub fn relative_margin(&self) -> f64 {
        self.relative(self.volts)
    }

    /// The same for the voltage at the pin. What the converter's own errors take is at its limit already; it must be inside
    /// ([`LimitUse::relative_margin`]), but more room for it is worth nothing.
    pub fn room_at_pin(&self) -> f64 {
        self.relative(self.at_pin)
    }

    fn relative(&self, volts: f64) -> f64 {
        let width = self.allowed.1 - self.allowed.0;
        if width > 0.0 { (volts - self.allowed.0).min(self.allowed.1 - volts) / width } else { -1.0 }
    }
}

impl Model {
    /// Every limit at the corner and the board that come closest to it; smallest relative margin first.
    ///
    /// # Errors
    /// [`ModelError`] when the circuit can't be solved with a deviation at its limit.
    pub fn headroom(&self) -> Result<Vec<LimitUse>, ModelError> {
        let chain = self.chain();
        let mut scratch = self.scratch();
        let mut uses: Vec<LimitUse> = Vec::new();
        let amplitude = chain.need.common_pickup * 2f64.sqrt();
        let (wiring, mains) = (self.wiring(), chain.need.mains);
        let plant = if chain.probe.grounded && amplitude > 0.0 {
            Some(wiring.circuit.ac(self.nominal_values(), None, wiring.common_source, mains)?)
        } else {
            None
        };
        for board in [chain.need.board.0, chain.need.board.1] {
            let ends = [chain.need.hot.0, chain.need.hot.1].map(|hot| {
                let head = Situation::at(chain, hot, board).head;
                (hot, head, self.hot_end(hot))
            });
            // Thermocouple and output voltage, and what the converter makes of it.
            let seen = |d: &[f64], state: &BoardState, (_, head, end): &(f64, f64, HotEnd)| {
                let v = self.thermocouple_volts(self.hot_emf(end, d), *head, state, d);
                let output = state.offset + state.gain * v;
                (v, [output, self.converted(state, output, d, ReadingNoise::LeftOut)])
            };
            let mean = self.mean_deviations().to_vec();
            let mut d = mean.clone();
            // For each end of the hot range, for the output and for what the converter makes of it: the deviations that
            // drive it up, and those that drive it down.
            let both = || [(mean.clone(), mean.clone()), (mean.clone(), mean.clone())];
            let mut extremes = [both(), both()];
            let as_is = |_: &mut [f64]| {};
            let mut near = self.near_board(board, &d, &as_is, &mut scratch)?;
            for (i, imperfection) in self.imperfections().iter().enumerate() {
                let (low, high) = imperfection.distribution.limits();
                // One solution serves both ends of the hot range.
                let mut volts = |value: f64| -> Result<[[f64; 2]; 2], ModelError> {
                    d[i] = value;
                    let state = self.state_near(&mut near, &d, i, &as_is, &mut scratch)?;
                    Ok([seen(&d, &state, &ends[0]).1, seen(&d, &state, &ends[1]).1])
                };
                let (above, below) = (volts(high)?, volts(low)?);
                d[i] = mean[i];
                for (end, extremes) in extremes.iter_mut().enumerate() {
                    for (what, (up, down)) in extremes.iter_mut().enumerate() {
                        let rises = above[end][what] >= below[end][what];
                        up[i] = if rises { high } else { low };
                        down[i] = if rises { low } else { high };
                    }
                }
            }
            for (at, [output, converted]) in ends.iter().zip(&extremes) {
                let hot = at.0;
                for d in [&output.0, &output.1] {
                    let state = self.board_state(board, d, &mut scratch)?;
                    let (v, _) = seen(d, &state, at);
                    self.within_limits(v, &mut scratch);
                    let converter = self.converter_pins(&scratch);
                    for (mut found, node) in self.amplifier_pins(&scratch).into_iter().chain(converter) {
                        (found.hot, found.board) = (hot, board);
                        if let Some(plant) = &plant {
                            found.swing(amplitude * plant.voltage(node).magnitude());
                        }
                        keep(&mut uses, found);
                    }
                }
                let allowed = chain.converter.span();
                if !allowed.1.is_finite() {
                    continue;
                }
                for (pin, d) in [(&output.0, &converted.0), (&output.1, &converted.1)] {
                    let mut volts = |d: &[f64]| -> Result<[f64; 2], ModelError> {
                        Ok(seen(d, &self.board_state(board, d, &mut scratch)?, at).1)
                    };
                    let ([at_pin, _], [_, volts]) = (volts(pin)?, volts(d)?);
                    let what = "converter input".into();
                    keep(&mut uses, LimitUse { what, volts, at_pin, allowed, hot, board });
                }
            }
        }
        uses.sort_by(|a, b| {
            a.relative_margin().total_cmp(&b.relative_margin()).then_with(|| a.what.cmp(&b.what))
        });
        Ok(uses)
    }

    /// Inputs of the converter against the rails, if it states how near they may come.
    fn converter_pins(&self, scratch: &crate::model::Scratch) -> Vec<(LimitUse, Node)> {
        let wiring = self.wiring();
        let (_, at) = scratch.solution();
        let Some(allowed) = self.converter_rails(at) else { return Vec::new() };
        let inputs = CONVERTER_INPUTS.into_iter().zip([wiring.output.0, wiring.output.1]);
        inputs
            .filter(|(_, node)| *node != Netlist::GROUND)
            .map(|(what, node)| {
                let volts = wiring.circuit.voltage(at, node);
                let what = what.to_owned();
                (LimitUse { what, volts, at_pin: volts, allowed, hot: f64::NAN, board: f64::NAN }, node)
            })
            .collect()
    }

    /// Voltages that each input of the converter may have, V; `None` if it states no limit.
    pub(crate) fn converter_rails(&self, at: &[f64]) -> Option<(f64, f64)> {
        let input = &self.chain().converter.input;
        if !(input.low.is_finite() || input.high.is_finite()) {
            return None;
        }
        let circuit = &self.wiring().circuit;
        let rail = |name: &str| circuit.netlist().find_node(name).map_or(0.0, |n| circuit.voltage(at, n));
        let reach = |margin: f64| if margin.is_finite() { margin } else { f64::NEG_INFINITY };
        Some((rail("negative") + reach(input.low), rail("supply") - reach(input.high)))
    }

    /// Pins of all amplifiers with what they allow, in the solution that `scratch` holds.
    fn amplifier_pins(&self, scratch: &crate::model::Scratch) -> Vec<(LimitUse, Node)> {
        let circuit = &self.wiring().circuit;
        let (values, at) = scratch.solution();
        let find = |node: &str| circuit.netlist().find_node(node).map(|n| (n, circuit.voltage(at, n)));
        let mut pins = Vec::new();
        for part in &self.chain().front_end.parts {
            let (out, plus, minus) = match &part.kind {
                PartKind::Operational { out, plus, minus, .. } => (out, plus, minus),
                PartKind::Instrumentation { out, plus, minus, .. } => (out, plus, minus),
                _ => continue,
            };
            let Some(element) = circuit.netlist().find_element(&part.designator) else { continue };
            let mut pin = |name: &str, node: &str, allowed: Option<(f64, f64)>| {
                if let (Some((node, volts)), Some(allowed)) = (find(node), allowed) {
                    let what = format!("{} {name}", part.designator);
                    let at = (f64::NAN, f64::NAN);
                    pins.push((
                        LimitUse { what, volts, at_pin: volts, allowed, hot: at.0, board: at.1 },
                        node,
                    ));
                }
            };
            pin("output", out, circuit.output_range(values, at, element));
            pin("+ input", plus, circuit.input_range(values, at, element));
            pin("− input", minus, circuit.input_range(values, at, element));
        }
        pins
    }
}

/// Keeps the closer of two uses of one limit.
fn keep(uses: &mut Vec<LimitUse>, new: LimitUse) {
    match uses.iter_mut().find(|u| u.what == new.what) {
        None => uses.push(new),
        Some(old) if new.relative_margin() < old.relative_margin() => *old = new,
        Some(_) => {}
    }
}
