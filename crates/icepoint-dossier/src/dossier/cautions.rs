//! Cautions, where they belong; what does not apply to this chain is left out.

use icepoint_chain::chain::{CalibrationMethod, CalibrationWish, JunctionMethod};
use maud::{Markup, html};

use super::Subject;
use super::words::{celsius, minus, sentence};
use crate::page::{Gravity, caution};

/// Above this a bare hand, cotton or a plastic sheath is at risk at once, °C (common practice, no source).
const HOT_WORK: f64 = 60.0;
/// Below this skin sticks and freezes, °C (common practice, no source).
const COLD_WORK: f64 = -20.0;

pub(super) fn section(s: &Subject<'_>) -> Markup {
    html! {
        (caution(Gravity::Danger, "Local codes come first", &html! {
            p {
                "Local codes, and the licensed trades that they name, come before anything on this page: mains wiring, gas "
                "and pressure equipment are theirs."
            }
        }))
        (caution(Gravity::Danger, "This board is not a safety cut-out", &html! {
            p {
                "It measures. Whatever must not get too hot or too cold needs a limiter of its own, with its own sensor and "
                "its own means of switching off, that works when this board, its firmware or its probe has failed."
            }
        }))
        (caution(Gravity::Danger, "A thermocouple can touch live parts", &html! {
            p {
                "A broken element or damp insulation can put mains voltage on the probe, the cable and this board. Switch "
                "the plant off, prove it dead and keep it from being switched on before touching any of them; connect the "
                "sheath to protective earth; and put isolation between this board and whatever people touch, such as a "
                "computer."
            }
        }))
        (grounding(s))
        (temperature(s))
        (calibration(s))
        @for problem in &s.file.cautions {
            (caution(Gravity::Reading, &sentence(&minus(&problem.message)), &html! {
                p {
                    @if let Some(at) = &problem.at { (sentence(&minus(&at.text))) ". " }
                    @if let Some(help) = &problem.help { (sentence(&minus(help))) "." }
                }
            }))
        }
        (limits(s))
    }
}

fn grounding(s: &Subject<'_>) -> Markup {
    if s.chain.probe.grounded {
        caution(
            Gravity::Danger,
            "The grounded junction ties this board to the plant",
            &html! {
                p {
                    "The measuring junction is welded to its sheath, so the board's ground takes the potential of the plant, and "
                    "any second earth closes a loop through it. Feed the board from an isolated supply and isolate what it is "
                    "connected to; use an insulated junction where that can't be done."
                @if matches!(s.chain.junction.method, JunctionMethod::Analog { .. } | JunctionMethod::InCircuit) {
                    " In this circuit the negative leg stands on the compensation, which a grounded junction shorts to the "
                    "plant: use an insulated junction here."
                }
                }
            },
        )
    } else {
        caution(
            Gravity::Reading,
            "The junction is taken as insulated",
            &html! {
                p {
                    "The model counts on a measuring junction that is insulated from its sheath. Insulation ages with heat: a "
                    "junction that touches its sheath ties the board's ground to the plant, and the reading shifts with the "
                    "plant's potential. Measure the insulation cold before the probe goes in, and again when readings jump."
                }
            },
        )
    }
}

fn temperature(s: &Subject<'_>) -> Markup {
    let (low, high) = s.chain.need.hot;
    html! {
        @if high > HOT_WORK {
            (caution(Gravity::Danger, "Hot work", &html! {
                p {
                    "Up to " (celsius(high)) ": kilns, furnaces and what comes out of them burn, glow and give off fumes "
                    "long after they are switched off. Gloves, face shield and air for the temperature at hand; molten "
                    "metal and water must never meet, and a damp probe plunged into melt throws it out. Fit and draw the "
                    "probe with the plant cold."
                }
            }))
        }
        @if low < COLD_WORK {
            (caution(Gravity::Danger, "Cold work", &html! {
                p {
                    "Down to " (celsius(low)) ": bare skin freezes to cold metal, and dry ice or liquefied gases displace "
                    "the air in a closed room. Insulating gloves, eye protection, and a door that stays open."
                }
            }))
        }
    }
}

fn calibration(s: &Subject<'_>) -> Markup {
    let bath = matches!(s.chain.plan.method, CalibrationMethod::KnownTemperature { .. });
    if s.wish == CalibrationWish::None || !bath {
        return if s.wish == CalibrationWish::None {
            html! {}
        } else {
            caution(
                Gravity::Reading,
                "Calibrating with a millivolt source",
                &html! {
                    p {
                        "Disconnect the probe first. Connect the source with copper, let the terminals come to rest, and read "
                        "their temperature where the sensor sits: a kelvin there is as much as a kelvin of the sensor. The probe "
                        "is not calibrated by this."
                    }
                },
            )
        };
    }
    let points = &s.chain.plan.at[..s.chain.plan.at.len().min(s.wish.points())];
    let boils = points.iter().any(|t| (90.0..=110.0).contains(t));
    let cold = points.iter().any(|t| *t < COLD_WORK);
    html! {
        (caution(Gravity::Reading, "Ice and baths", &html! {
            p {
                "Melting ice is 0 °C only as a slush of clean crushed ice and water, stirred, the probe deep in it; ice that "
                "floats on water is warmer below. "
                @if boils {
                    "Water boils at 100 °C only at 1013" (super::words::NBSP) "hPa: ask a barometer, about 1" (super::words::NBSP)
                    "K lower for each 300" (super::words::NBSP) "m of altitude, and mind the steam, which scalds unseen. "
                }
                @if cold { "Dry ice in alcohol boils over when the ice is added quickly, and alcohol burns. " }
                "Keep sheath and head dry, and earth the bath's heater."
            }
        }))
    }
}

fn limits(s: &Subject<'_>) -> Markup {
    let broken: Vec<&str> = s
        .design
        .bounds
        .iter()
        .filter(|b| b.used > 1.0 && !["accuracy", "adjustable boards"].contains(&b.what.as_str()))
        .map(|b| b.what.as_str())
        .collect();
    if broken.is_empty() {
        return html! {};
    }
    caution(
        Gravity::Reading,
        "A limit is exceeded",
        &html! {
            p { "Within the range asked this board runs beyond: " (broken.join(", ")) ". Don't build it as it is." }
        },
    )
}
