//! Adjusting a finished board: what is turned in which order until which test point reads what, or the constants that
//! firmware keeps. The dossier and the bench sheet both show it.

use icepoint_chain::chain::{Chain, ConverterKind};
use icepoint_chain::quantity::Unit;
use icepoint_chain::trims::constants::ROUNDING;
use icepoint_chain::trims::report::{ROUNDS, WANTED};
use icepoint_chain::trims::{Constants, Moves, Report, Step, Trim};
use icepoint_chain::{Model, ModelError};
use icepoint_design::Design;
use maud::{Markup, html};

use super::words::{NBSP, celsius, plain_kelvin, quantity, ratio};
use crate::number::{fixed, percent, plain, prefixed, significant};
use crate::page::{self, Column, Gravity, caution};

/// What is turned, and what it does.
#[derive(Clone, Debug)]
pub(crate) struct Adjusting {
    report: Report,
    steps: Vec<Step>,
}

impl Adjusting {
    /// That of a board at the temperature of its plan; `None` when nothing is turned.
    pub(crate) fn new(model: &Model) -> Result<Option<Self>, ModelError> {
        Report::new(model)?.map(|report| Self::of(report, model)).transpose()
    }

    fn of(report: Report, model: &Model) -> Result<Self, ModelError> {
        let steps = report.steps(model)?;
        Ok(Self { report, steps })
    }

    /// The same with the board at another temperature.
    pub(crate) fn at(model: &Model, board: f64) -> Result<Option<Self>, ModelError> {
        if model.chain().trims.is_none() || model.chain().plan.board == board {
            return Self::new(model);
        }
        let mut chain = model.chain().clone();
        chain.plan.board = board;
        Self::new(&Model::new(chain)?)
    }
}

/// The section of the dossier, and its heading; `None` for a board without trims.
pub(super) fn section(design: &Design) -> Result<Option<(&'static str, Markup)>, ModelError> {
    if let Some(report) = &design.trims {
        let chain = design.model.chain();
        let adjusting = Adjusting::of(report.clone(), &design.model)?;
        let content = html! {
            (reach(&adjusting.report))
            (order(chain, &adjusting))
            (figures(&adjusting.report))
            (care())
        };
        return Ok(Some(("Adjusting the board", content)));
    }
    let found = design.constants.as_ref();
    Ok(found.map(|c| ("Trims in the firmware", constants(&design.model, c))))
}

/// For the bench sheet: the order of work and the cautions.
pub(crate) fn work(chain: &Chain, adjusting: &Adjusting) -> Markup {
    html! {
        (order(chain, adjusting))
        (care())
    }
}

fn share(share: f64) -> String {
    format!("{}{NBSP}%", plain(libm::floor(1e4 * share + 1e-9) / 100.0))
}

fn reach(report: &Report) -> Markup {
    let names: Vec<String> = report
        .trims
        .iter()
        .map(|t| {
            let verb = if t.moves == Moves::Zero { "the zero" } else { "the span" };
            format!("{} ({}) moves {verb}", t.designator, quantity(t.figures.ohms, Unit::Ohm, 3))
        })
        .collect();
    html! {
        p {
            "Somebody turns " (if names.len() == 1 { "an adjustable resistor" } else { "two adjustable resistors" })
            " on each finished board: " (names.join(", ")) ". Of " (report.boards) " boards that were drawn and adjusted with the "
            "whole circuit solved at every turn, " b { (share(report.reached)) } " can be put right"
            @if report.reached < WANTED { ", fewer than the " (share(WANTED)) " that are wanted (see what the need misses)" }
            "; by the sensitivities of the nominal board it would be " (share(report.by_sensitivities)) "."
        }
    }
}

fn order(chain: &Chain, adjusting: &Adjusting) -> Markup {
    let Adjusting { report, steps } = adjusting;
    let reads = matches!(chain.converter.kind, ConverterKind::Adc { .. });
    let mut columns = vec![Column::words("Turn"), Column::words("With"), Column::words("Until")];
    columns.push(Column::numbers("Near enough", if reads { "K" } else { "mV" }));
    columns.push(Column::words("999 of 1000 boards read before"));
    columns.push(Column::numbers("Known to", "K"));
    let rows: Vec<Vec<String>> = steps
        .iter()
        .map(|s| {
            let point = s.test_point.clone().unwrap_or_else(|| "the output".to_owned());
            let until = if reads {
                format!(
                    "the reading is {}; {point} then is near {}",
                    celsius(s.celsius),
                    prefixed(s.volts, "V", 5)
                )
            } else {
                format!("{point} reads {}{NBSP}V", fixed(s.volts, 4))
            };
            let with = match s.source_volts {
                Some(v) => format!(
                    "{}{NBSP}mV at the terminals, copper leads, board at {}",
                    fixed(1e3 * v, 3),
                    celsius(report.board)
                ),
                None => format!("the probe at {}, board at {}", celsius(s.celsius), celsius(report.board)),
            };
            let before = if reads {
                let trim = report.trims.iter().find(|t| t.designator == s.designator);
                trim.map_or(String::new(), |t| {
                    format!(
                        "{} to {}",
                        celsius_near(s.celsius + t.before.0),
                        celsius_near(s.celsius + t.before.1)
                    )
                })
            } else {
                format!("{}{NBSP}V to {}{NBSP}V", fixed(s.before.0, 3), fixed(s.before.1, 3))
            };
            vec![
                format!("{} ({})", s.designator, s.moves.name()),
                with,
                until,
                if reads { significant(report.enough, 2) } else { significant(1e3 * s.near, 2) },
                before,
                significant(s.known, 2),
            ]
        })
        .collect();
    html! {
        (page::table("What to turn, in this order", &columns, &rows))
        p { (rounds(report)) }
    }
}

/// Two digits of a share.
fn per_cent(share: f64) -> String {
    format!("{}{NBSP}%", significant(100.0 * share, 2))
}

fn celsius_near(value: f64) -> String {
    format!("{}{NBSP}°C", fixed(value, 1))
}

/// Nobody sees less of a reading, K.
const UNSEEN: f64 = 0.001;

fn rounds(report: &Report) -> String {
    let left = |round: usize, order: usize| {
        report.left.get(round).map_or(String::new(), |l| {
            if l[order] < UNSEEN {
                format!("less than {}", plain_kelvin(UNSEEN))
            } else {
                format!("{}{NBSP}K", significant(l[order], 2))
            }
        })
    };
    if report.trims.len() < 2 {
        return "There is one trim, so one turn is all.".to_owned();
    }
    let first = report.first.name();
    let other = if report.first == Moves::Zero { "span" } else { "zero" };
    let how_often = match report.rounds {
        Some(1) => format!(
            "One round is enough; a second one shows whether it is: nothing may have moved by more than {}.",
            plain_kelvin(report.enough)
        ),
        Some(n) => format!(
            "Do {n} rounds: then no board that was tried was off by more than {} at either point.",
            plain_kelvin(report.enough)
        ),
        None => format!(
            "{ROUNDS} rounds are not enough: after them {} can be left. The two trims act too much alike.",
            left(ROUNDS - 1, 0)
        ),
    };
    format!(
        "The two disturb each other: a round leaves {} of an error (product of the cross effects over that of the direct ones). \
         The largest error left is {} after one round and {} after two with the {first} turned first, and {} after one with the \
         {other} first. {how_often}",
        per_cent(report.interaction),
        left(0, 0),
        left(1, 0),
        left(0, 1),
    )
}

/// What a trim is asked for, in words.
type Line<'a> = (&'static str, &'a dyn Fn(&Trim) -> String);

fn figures(report: &Report) -> Markup {
    let mut columns = vec![Column::words("")];
    columns.extend(
        report.trims.iter().map(|t| Column::words(&format!("{} ({})", t.designator, t.moves.name()))),
    );
    let whole = |share: f64| plain(libm::round(100.0 * share));
    let kelvin = |value: f64| format!("{}{NBSP}K", significant(value, 2));
    let lines: [Line<'_>; 7] = [
        ("Track", &|t| quantity(t.figures.ohms, Unit::Ohm, 3)),
        ("Reading, from one end to the other", &|t| kelvin(t.travel.abs())),
        ("999 of 1000 boards end at", &|t| {
            format!("{} to {}{NBSP}% of the track", whole(t.settings.0), whole(t.settings.1))
        }),
        ("Half a step", &|t| kelvin(t.half_step)),
        ("Moves by itself", &|t| format!("±{}", kelvin(t.stability))),
        ("Temperature coefficient, at the end of the board's range", &|t| format!("±{}", kelvin(t.tempco))),
        ("The reading rises with", &raises),
    ];
    let rows: Vec<Vec<String>> = lines
        .iter()
        .map(|(name, of)| std::iter::once((*name).to_owned()).chain(report.trims.iter().map(of)).collect())
        .collect();
    html! {
        (page::table("What each trim does", &columns, &rows))
        p {
            "Kelvin are those of the reading at the point where the trim is turned. Step, movement and temperature coefficient "
            "come after the adjustment and are in the budget."
        }
    }
}

fn raises(trim: &Trim) -> String {
    match (&trim.ends, &trim.wiper) {
        (Some((a, b)), Some(_)) => {
            format!("the wiper nearer to {}", if trim.rises { b } else { a })
        }
        (Some((a, b)), None) => {
            format!("{} resistance between {a} and {b}", if trim.rises { "more" } else { "less" })
        }
        (None, _) => format!("{} resistance on the gain pins", if trim.rises { "more" } else { "less" }),
    }
}

fn care() -> Markup {
    caution(
        Gravity::Danger,
        "Before you turn anything",
        &html! {
            p {
                "Take the probe off the plant first: a thermocouple can carry mains voltage to the very screw that you touch. Use an "
                "insulated tool, and let the board and the source come to one temperature."
            }
            p {
                "Set every trim to the middle of its travel before the board is fed for the first time; an ohmmeter or counted turns "
                "tell where that is. Which way a screw must turn depends on which end the wiper was joined to, so turn a little, "
                "look, then go on. Seal the screw, wait, and look once more: the stress of the seal moves it."
            }
            p {
                "If an end is reached before the reading is right, something is wrong with the board; don't replace the trim by "
                "a longer one, but look for the fault."
            }
        },
    )
}

fn constants(model: &Model, c: &Constants) -> Markup {
    let chain = model.chain();
    let line = matches!(chain.readout, icepoint_chain::chain::Readout::Line { .. });
    let of = if line { "volts of the output" } else { "volts of the thermocouple" };
    let columns = [
        Column::words("Constant"),
        Column::words("999 of 1000 boards need"),
        Column::words("Step that rounds finely enough"),
        Column::numbers("Bits with sign", ""),
    ];
    let volts = |v: f64| prefixed(v, "V", 3);
    let rows = vec![
        vec![
            format!("offset, {of}"),
            format!("{} to {}", volts(c.offset.0), volts(c.offset.1)),
            volts(c.offset_step),
            c.offset_bits.to_string(),
        ],
        vec![
            "factor, less one".to_owned(),
            format!("{} to {}", ratio(c.gain.0), ratio(c.gain.1)),
            quantity(c.gain_step, Unit::Ratio, 2),
            c.gain_bits.to_string(),
        ],
    ];
    html! {
        p {
            "Nothing is turned: the firmware keeps an offset and a factor for each board. Numbers can't bring back what the "
            "converter or an amplifier has cut off; of " (c.boards) " boards that were drawn "
            b { (percent(c.inside)) } " stay inside of every limit over the whole range, uncalibrated"
            @if !c.suffices() { ", fewer than the " (share(WANTED)) " that are wanted: leave more room at the ends of the converter" }
            "."
        }
        (page::table("The constants", &columns, &rows))
        p {
            "A step of the converter is " (volts(c.converter_step)) " in " (of) "; the constants round by no more than "
            (ratio(ROUNDING)) " of it each."
        }
    }
}
