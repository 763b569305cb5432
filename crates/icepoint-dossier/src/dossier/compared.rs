//! Other front ends beside the one taken, and what came out of the drawer.

use icepoint_chain::quantity::format;
use icepoint_design::compare::Compared;
use icepoint_design::search::{FilledFrom, Fit, unit};
use maud::{Markup, html};

use super::words::{sentence, typeset};
use super::{Pictures, Subject};
use crate::edge::{Edge, EdgePoint};
use crate::number::{fixed, percent, signed};
use crate::page::{self, Column};

/// Front ends beside each other.
pub(super) fn front_ends(s: &Subject<'_>, compared: &Compared, pictures: &mut Pictures) -> Markup {
    let columns = [
        Column::words("Front end"),
        Column::numbers("95 %", "± K"),
        Column::numbers("Worst case", "K"),
        Column::numbers("Within", ""),
        Column::numbers("Mains", "K"),
        Column::numbers("Settles", "s"),
        Column::numbers("Parts", ""),
        Column::words("What binds"),
    ];
    let rows: Vec<Vec<String>> = compared
        .rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let mark = if i == compared.taken { " (taken)" } else { "" };
            let misses = if row.met { "" } else { ": misses" };
            let used = super::answer::percent_used(row.binds.used);
            vec![
                format!("{}{mark}", row.name()),
                fixed(row.error_95, 2),
                format!("{} to {}", signed(row.worst_case.0, 1), signed(row.worst_case.1, 1)),
                percent(row.within),
                fixed(row.mains_kelvin, 3),
                row.settling.map_or("no end".to_owned(), |t| fixed(t, 2)),
                row.parts.to_string(),
                format!("{}, {used}{misses}", row.binds.what),
            ]
        })
        .collect();
    let edge = Edge {
        id: "front-ends".to_owned(),
        accuracy_kelvin: s.chain.need.accuracy,
        points: compared
            .rows
            .iter()
            .enumerate()
            .map(|(i, row)| EdgePoint {
                name: row.name().to_owned(),
                parts: row.parts,
                error_kelvin: row.error_95,
                edge: row.best_edge,
                taken: i == compared.taken,
            })
            .collect(),
    };
    html! {
        p {
            "All front ends that fit this chain, each with the best values found for it; "
            (icepoint_design::compare::TRIALS) " boards simulated for each. Taken is one that meets the need, and of "
            "those whose errors are alike the one with the fewest parts. 95 %: the largest error over hot and board "
            "temperature; within: boards good everywhere; mains: what is left of the pick-up; what binds: the limit "
            "of which most is used."
        }
        (page::table("Front ends that fit", &columns, &rows))
        @if compared.rows.iter().any(|row| !row.amplifiers.is_empty()) {
            p { "Amplifiers: for " (amplifiers(compared)) "." }
        }
        (pictures.both("front-ends",
            "Error against parts. Filled: on the best edge, no other that meets the need has a smaller error with no more parts. Ringed: taken.",
            &|frame| edge.draw(frame)))
        @if !compared.left_out.is_empty() {
            h3 { "Left out" }
            ul { @for left in &compared.left_out { li { (left.id) ": " (typeset(&left.why)) "." } } }
        }
        @for remark in &compared.remarks {
            p { (sentence(remark)) "." }
        }
    }
}

/// Converters, voltage references and junction sensors, each in its place with the best values for it.
pub(super) fn records(s: &Subject<'_>) -> Markup {
    let columns = [
        Column::words("Part"),
        Column::words("Record"),
        Column::numbers("Error at 95 %", "± K"),
        Column::words("What binds"),
    ];
    let mut rows: Vec<Vec<String>> = Vec::new();
    for choice in &s.design.records {
        for (i, row) in choice.rows.iter().enumerate() {
            let mark = if i == 0 { " (taken)" } else { "" };
            let misses = if row.met { "" } else { "; misses the need" };
            rows.push(vec![
                choice.kind.name().to_owned(),
                format!("{}{mark}", row.called(choice.kind)),
                fixed(row.error_95, 2),
                format!("{}{misses}", row.binds),
            ]);
        }
    }
    let left = s.design.records.iter().flat_map(|c| &c.left_out);
    html! {
        p {
            "One kind after the other, with what was taken before in its place, each with the best values found for it. "
            "What comes second is what the next best would give."
        }
        (page::table("Each record in its place", &columns, &rows))
        @for left in left {
            p { "Left out: " (left.id) ": " (typeset(&left.why)) "." }
        }
    }
}

/// Amplifiers taken, front end by front end.
fn amplifiers(compared: &Compared) -> String {
    compared
        .rows
        .iter()
        .filter(|row| !row.amplifiers.is_empty())
        .map(|row| {
            let each: Vec<&str> = row.amplifiers.iter().map(|(_, name)| name.as_str()).collect();
            format!("{} {}", row.name(), each.join(" and "))
        })
        .collect::<Vec<_>>()
        .join("; for ")
}

/// What came out of the drawer.
pub(super) fn drawer(s: &Subject<'_>) -> Markup {
    let columns = [
        Column::words("Place"),
        Column::words("Chosen"),
        Column::words("From"),
        Column::words("Ideal"),
        Column::numbers("Costs", "K"),
        Column::words("Worth buying"),
    ];
    let rows: Vec<Vec<String>> = s
        .design
        .places
        .iter()
        .map(|place| {
            vec![
                place.designators.join(", "),
                typeset(&place.fit.words(place.kind)),
                match place.origin {
                    FilledFrom::Drawer { left } => format!("drawer, {left} left"),
                    FilledFrom::Bought => "to buy".to_owned(),
                    FilledFrom::NothingThere => "to buy, nothing there".to_owned(),
                },
                place.ideal.map_or("as chosen".to_owned(), |v| typeset(&format(v, unit(place.kind), 4))),
                fixed(place.costs, 3),
                place.worth_buying.map_or("nothing".to_owned(), |p| {
                    typeset(&format!("{}, {}", p.part.words(place.kind), p.words()))
                }),
            ]
        })
        .collect();
    let two = s.design.places.iter().filter(|p| matches!(p.fit, Fit::Two { .. })).count();
    html! {
        p {
            "Ideal is the value that would be best at a place with everything else as it is; what the part chosen costs "
            "against it is in kelvin of the error at 95 %. No more parts are taken than there are."
            @if two > 0 {
                " " (sentence(if two == 1 { "one place takes" } else { "some places take" }))
                " two parts, because that wins; the parts list and the schematic show both, with A and B behind the designator."
            }
        }
        (page::table("Place by place", &columns, &rows))
    }
}
