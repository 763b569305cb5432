//! Cautions of the bench, before anything else.

use maud::{Markup, html};

use super::{NBSP, Subject, celsius};
use crate::page::{Gravity, caution};

pub(super) fn section(s: &Subject<'_>) -> Markup {
    let (_, hottest) = s.chain.need.hot;
    html! {
        (caution(Gravity::Danger, "Probe off, plant off", &html! {
            p {
                "Everything up to the last step is done with the probe disconnected, on the bench, from an isolated supply. A "
                "thermocouple can touch live parts: before the probe is connected, switch the plant off, prove it dead and keep "
                "it from being switched on. Local codes and the licensed trades that they name come first."
            }
        }))
        @if s.chain.probe.grounded {
            (caution(Gravity::Danger, "Grounded junction", &html! {
                p {
                    "This probe ties the board to the plant's earth. Feed the board and whatever is connected to it from isolated "
                    "supplies. On the bench, tie the source's negative lead to the board's earth terminal as the junction would."
                }
            }))
        }
        (caution(Gravity::Danger, "Not a safety cut-out", &html! {
            p {
                "A board that passes this sheet is a good measuring board. Whatever must not get too hot or too cold needs a "
                "limiter of its own, with its own sensor, that works when this board has failed."
            }
        }))
        (caution(Gravity::Danger, "Hot, cold and wet", &html! {
            p {
                "Boiling water and its steam scald, steam unseen: lid ajar, gloves, eye protection, no probe cable over the edge "
                "of the pot; keep mains-fed heaters earthed and the board dry. "
                @if hottest > 60.0 {
                    "The plant goes up to " (celsius(hottest)) ": fit and draw the probe cold; molten metal and water must never "
                    "meet. "
                }
                "Soldering fumes: extract them."
            }
        }))
        @for injection in &s.sheet.injections {
            @for limit in &injection.limits {
                (caution(Gravity::Reading, &format!("Beyond a limit at {}", celsius(injection.celsius)), &html! {
                    p { (super::minus(limit)) "." (NBSP) "The reading there is not to be trusted." }
                }))
            }
        }
    }
}
