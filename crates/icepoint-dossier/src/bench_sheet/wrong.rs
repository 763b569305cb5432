//! What a reading outside of its band hints at.

use icepoint_bench::sheet::WrongDecade;
use maud::{Markup, html};

use super::{Subject, celsius, fixed};
use crate::page::{self, Column};

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let rows: Vec<Vec<String>> = s
        .sheet
        .hints
        .iter()
        .map(|h| {
            vec![
                h.mistake.clone(),
                fixed(h.reads, 1),
                fixed(h.instead_of, 1),
                if h.shows { "yes" } else { "no, within the band" }.to_owned(),
            ]
        })
        .collect();
    let columns = [
        Column::words("Mistake"),
        Column::numbers("Reads", "°C"),
        Column::numbers("Instead of", "°C"),
        Column::words("Shows"),
    ];
    let decades: Vec<Vec<String>> = s
        .sheet
        .wrong_decades
        .iter()
        .filter(|w| !w.shows.is_empty())
        .map(|w| {
            vec![
                w.designator.clone(),
                if w.tenfold { "ten times" } else { "a tenth" }.to_owned(),
                shows(w),
                fixed(w.reads, 1),
            ]
        })
        .collect();
    let hidden: Vec<String> = s
        .sheet
        .wrong_decades
        .iter()
        .filter(|w| w.shows.is_empty())
        .map(|w| format!("{} × {}", w.designator, if w.tenfold { "10" } else { "0.1" }))
        .collect();
    let wrong = [
        Column::words("Resistor"),
        Column::words("Is"),
        Column::words("First test points that show it"),
        Column::numbers(&format!("Reads at {}", celsius(s.sheet.normal_celsius)), "°C"),
    ];
    html! {
        p {
            "Go along the signal: the first test point that is off is at the fault or just behind it. Each mistake below was made in "
            "the model; what it reads tells it from the others."
        }
        (page::table("Mistakes of connection, setting and firmware", &columns, &rows))
        (page::table("A resistor of the wrong decade", &wrong, &decades))
        @if !hidden.is_empty() {
            p {
                "Shown by no test point: " (hidden.join(", ")) ". These carry little or no steady current; what they set is the filter "
                "or the answer to a broken sensor. Try a step and time it, and open the sensor."
            }
        }
    }
}

fn shows(w: &WrongDecade) -> String {
    let list: Vec<String> = w
        .shows
        .iter()
        .take(2)
        .map(|(label, volts, shorted)| {
            let when = if *shorted { "shorted" } else { "normal" };
            format!("{label} {}\u{a0}V ({when})", fixed(*volts, 3))
        })
        .collect();
    list.join(", ")
}
