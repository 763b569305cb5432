//! Every picture and part of the page with invented figures, for looking at them:
//! `cargo run -p icepoint-dossier --example gallery -- gallery.html`
//!
//! The curves are shapes that such figures take, not the result of any circuit.

use icepoint_dossier::contributions::{Contribution, ContributionPoint, Contributions};
use icepoint_dossier::distribution::{Distribution, binned};
use icepoint_dossier::error_band::{ErrorBand, ErrorBandPanel, ErrorBandPoint};
use icepoint_dossier::error_map::ErrorMap;
use icepoint_dossier::noise::{Noise, NoiseSource};
use icepoint_dossier::page::{self, Align, Column, Entry, Gravity, Shown, Working};
use icepoint_dossier::response::{MainsLine, Response, ResponsePoint};
use icepoint_dossier::schematic::automatic;
use icepoint_dossier::settling::Settling;
use icepoint_dossier::svg::{Frame, Picture};
use icepoint_dossier::theme::Family;
use icepoint_dossier::yield_bars::{YieldBars, YieldRow};
use maud::{Markup, html};

#[path = "../tests/front_ends/mod.rs"]
mod front_ends;

fn error_map() -> ErrorMap {
    let hot: Vec<f64> = std::iter::once(20.0).chain((1..=11).map(|i| f64::from(i) * 100.0)).collect();
    let board = vec![5.0, 15.0, 25.0, 35.0, 45.0, 55.0];
    let error = board
        .iter()
        .map(|b: &f64| {
            hot.iter().map(|h| 0.9 + 0.0052 * h + 0.045 * (b - 25.0).abs() * (0.6 + h / 1500.0)).collect()
        })
        .collect();
    let id = "error-map".to_owned();
    ErrorMap {
        id,
        hot_celsius: hot,
        board_celsius: board,
        error_95_kelvin: error,
        accuracy_kelvin: Some(6.0),
    }
}

fn error_band() -> ErrorBand {
    let panel = |caption: &str, bias: f64, spread: f64, fixed: f64| ErrorBandPanel {
        caption: caption.to_owned(),
        points: (0..=54)
            .map(|i| {
                let t = 20.0 + 20.0 * f64::from(i);
                let mean = bias * (t / 1100.0 - 0.4) * t / 700.0;
                let half = fixed + spread * t / 1100.0;
                ErrorBandPoint {
                    hot_celsius: t,
                    bias_kelvin: mean,
                    low_95_kelvin: mean - half,
                    high_95_kelvin: mean + half,
                    worst_low_kelvin: mean - 1.9 * half,
                    worst_high_kelvin: mean + 1.9 * half,
                }
            })
            .collect(),
    };
    ErrorBand {
        id: "error-band".to_owned(),
        accuracy_kelvin: Some(6.0),
        panels: vec![
            panel("no calibration", 1.2, 11.5, 1.8),
            panel("after zero", 0.9, 8.0, 0.7),
            panel("after zero and span", 0.2, 2.7, 0.6),
        ],
    }
}

fn contributions() -> Contributions {
    let point = |caption: &str, scale: f64, cold: f64| {
        let causes = [
            ("tolerance of the probe, class 1", Family::Probe, 2.54 * scale),
            ("R3, tolerance", Family::Resistors, 3.11 * scale),
            ("R4, tolerance", Family::Resistors, 3.09 * scale),
            ("slope of the compensator", Family::ReferenceJunction, 0.84 * cold),
            ("gradient between sensor and terminals", Family::ReferenceJunction, 0.58 * cold),
            ("extension cable, class 1", Family::Lead, 0.91 * cold),
            ("offset of A1", Family::Amplifier, 0.42),
            ("drift of A1's offset", Family::Amplifier, 0.11),
            ("bias current through R1", Family::Amplifier, 0.05),
            ("integral non-linearity", Family::Converter, 0.33),
            ("quantisation", Family::Converter, 0.17),
            ("reference voltage, initial", Family::ReferenceVoltage, 1.35 * scale),
            ("table of the reading rule", Family::ReadingRule, 0.02),
            ("mains pick-up", Family::Mains, 0.08),
            ("noise", Family::Noise, 0.04),
        ];
        let variance: f64 = causes.iter().map(|c| c.2 * c.2).sum();
        ContributionPoint {
            caption: caption.to_owned(),
            combined_standard_kelvin: libm::sqrt(variance),
            contributions: causes
                .iter()
                .map(|c| Contribution {
                    name: c.0.to_owned(),
                    family: c.1,
                    standard_kelvin: c.2,
                    share_of_variance: c.2 * c.2 / variance,
                })
                .collect(),
        }
    };
    Contributions {
        id: "contributions".to_owned(),
        rows: 7,
        points: vec![
            point("Hottest: 1100 °C, board at 25 °C", 1.0, 1.0),
            point("Coldest: 20 °C, board at 5 °C", 0.05, 1.6),
            point("Worst: 1100 °C, board at 55 °C", 1.05, 1.9),
        ],
    }
}

fn yield_bars() -> YieldBars {
    let row = |name: &str, share| YieldRow { name: name.to_owned(), share };
    YieldBars {
        id: "yield".to_owned(),
        accuracy_kelvin: 6.0,
        asked_share: Some(0.95),
        rows: vec![
            row("no calibration", 0.382),
            row("after one point", 0.614),
            row("after two points", 0.9934),
        ],
    }
}

fn response() -> Response {
    let points = (0..=700)
        .map(|i| {
            let f = libm::pow(10.0, -1.0 + 4.0 * f64::from(i) / 700.0);
            let ratio = f / 8.0;
            let analog = -10.0 * libm::log10(1.0 + libm::pow(ratio, 4.0));
            let x = std::f64::consts::PI * f * 0.1;
            let boxcar = (libm::sin(x) / (20.0 * libm::sin(x / 20.0))).abs();
            let digital = 20.0 * libm::log10(boxcar.max(1e-9));
            ResponsePoint {
                hertz: f,
                analog_decibel: analog,
                digital_decibel: Some(digital),
                total_decibel: analog + digital,
            }
        })
        .collect();
    let line = |hertz, residual_kelvin| MainsLine { hertz, residual_kelvin };
    let mains = vec![
        line(50.0, 0.031),
        line(100.0, 0.0021),
        line(150.0, 0.0012),
        line(200.0, 0.0002),
        line(250.0, 0.0003),
    ];
    Response { id: "response".to_owned(), points, mains, floor_decibel: -120.0 }
}

fn noise() -> Noise {
    let grid: Vec<f64> = (0..=200).map(|i| libm::pow(10.0, -2.0 + 6.0 * f64::from(i) / 200.0)).collect();
    let filter = |f: f64| 1.0 / libm::sqrt(1.0 + libm::pow(f / 8.0, 4.0));
    let shape = |white: f64, corner: f64| -> Vec<(f64, f64)> {
        grid.iter().map(|f| (*f, white * libm::sqrt(1.0 + corner / f) * filter(*f))).collect()
    };
    let sources = vec![
        ("A1, voltage noise", Family::Amplifier, shape(4.1e-6, 3.0)),
        ("R1, thermal", Family::Resistors, shape(1.1e-6, 0.0)),
        ("R4, thermal", Family::Resistors, shape(0.32e-6, 0.0)),
        ("U1, sensor", Family::ReferenceJunction, shape(0.9e-6, 8.0)),
    ];
    let total = (0..grid.len())
        .map(|i| (grid[i], libm::sqrt(sources.iter().map(|s| s.2[i].1 * s.2[i].1).sum())))
        .collect();
    Noise {
        id: "noise".to_owned(),
        sources: sources
            .into_iter()
            .map(|(name, family, density)| NoiseSource { name: name.to_owned(), family, density })
            .collect(),
        total,
        result: "14 µV, or 0.004 K, standard deviation from 0.01 Hz".to_owned(),
    }
}

fn settling() -> Settling {
    let tau = 0.028;
    let reading: Vec<(f64, f64)> = (0..=400)
        .map(|i| {
            let t = 0.4 * f64::from(i) / 400.0;
            (t, 100.0 * (1.0 - libm::exp(-t / tau) * (libm::cos(t / tau) + libm::sin(t / tau))))
        })
        .collect();
    let last_outside = reading.iter().rev().find(|p: &&(f64, f64)| (p.1 - 100.0).abs() > 0.1);
    let settled_seconds = last_outside.map(|p| p.0 + 0.001);
    Settling {
        id: "settling".to_owned(),
        reading_kelvin: reading,
        step_kelvin: 100.0,
        band_kelvin: 0.1,
        settled_seconds,
        asked_seconds: Some(0.35),
    }
}

fn distribution() -> Distribution {
    // A plain congruential sequence: the example must not need a random number library.
    let mut state = 12_345_u64;
    let mut uniform = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut errors: Vec<f64> = (0..20_000)
        .map(|_| {
            0.4 + 4.4 * (uniform() - 0.5)
                + 6.8 * (uniform() - 0.5)
                + (0..6).map(|_| uniform() - 0.5).sum::<f64>()
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    let (edges_kelvin, counts) = binned(&errors, 48);
    Distribution {
        id: "distribution".to_owned(),
        caption: "1100 °C, board at 55 °C, after one point".to_owned(),
        edges_kelvin,
        counts,
        interval_95_kelvin: (errors[500], errors[19_499]),
        mean_kelvin: 0.4,
        accuracy_kelvin: Some(6.0),
    }
}

/// A front end of the library with its usual values.
fn schematic(id: &str, converter: bool) -> Picture {
    let front_ends = front_ends::library();
    let drawn = front_ends
        .iter()
        .find(|f| f.0.id == id)
        .map(|(front_end, _)| automatic(front_end, &front_ends::words(front_end, converter)));
    drawn.unwrap_or_default().draw(&format!("schematic-{id}"), id, "Usual values.")
}

fn tables() -> Markup {
    let rows = [
        ("TP1", "TC+", "0.0126", "0.0251", "0.0412"),
        ("TP2", "COMP", "0.0012", "0.0012", "0.0012"),
        ("TP3", "sensor", "0.45", "0.45", "0.45"),
        ("TP4", "A1 output", "0.45", "1.2", "3.04"),
        ("TP5", "OUT", "0.45", "1.2", "3.04"),
    ];
    let rows: Vec<Vec<String>> =
        rows.iter().map(|r| [r.0, r.1, r.2, r.3, r.4].iter().map(|s| (*s).to_owned()).collect()).collect();
    let columns = [
        Column::words("Test point"),
        Column::words("Node"),
        Column::numbers("at 20 °C", "V"),
        Column::numbers("at 500 °C", "V"),
        Column { heading: "at 1100 °C".to_owned(), unit: "V".to_owned(), align: Align::Numbers },
    ];
    let definitions = [
        ("Thermocouple".to_owned(), html! { "type N, class 1, mineral-insulated, insulated junction" }),
        ("Hot junction".to_owned(), html! { "20 °C to 1100 °C" }),
        ("Board".to_owned(), html! { "5 °C to 55 °C" }),
        ("Accuracy".to_owned(), html! { "±6 K for 95 % of boards" }),
    ];
    html! {
        (page::definitions(&definitions))
        (page::table("Voltage expected at each test point, board at 25 °C", &columns, &rows))
    }
}

fn words() -> Markup {
    let danger = html! { p { "A thermocouple can touch live parts of a heater: switch the plant off and prove it dead before touching the leads." } };
    let note = html! { p { "A measuring board is not a safety cut-out. That one must be independent." } };
    let reading = html! { p { "A grounded junction ties the board's ground to the plant." } };
    let working = [
        Working {
            name: "Gain".to_owned(),
            formula: "G = 1 + R3 ∕ R4".to_owned(),
            inputs: "= 1 + 332 kΩ ∕ 1.33 kΩ".to_owned(),
            result: "250.6".to_owned(),
            approximate: false,
            source: "ideal non-inverting amplifier; the model uses the finite gain too".to_owned(),
        },
        Working {
            name: "Slope of the compensation".to_owned(),
            formula: "s = 10 mV/K · R6 ∕ (R5 + R6)".to_owned(),
            inputs: "= 10 mV/K · 412 Ω ∕ (102 kΩ + 412 Ω)".to_owned(),
            result: "40.2 µV/K".to_owned(),
            approximate: true,
            source: "slope of type K at 25 °C is 40.5 µV/K (IEC 60584-1)".to_owned(),
        },
    ];
    html! {
        (page::caution(Gravity::Danger, "Live parts", &danger))
        (page::caution(Gravity::Reading, "Grounded junctions", &reading))
        (page::caution(Gravity::Note, "Not a cut-out", &note))
        h3 { "Working" }
        (page::workings(&working))
    }
}

fn main() -> std::io::Result<()> {
    let Some(path) = std::env::args_os().nth(1) else {
        eprintln!("usage: gallery OUT.html");
        std::process::exit(2);
    };
    let schematic_a = page::figure(
        1,
        "Single amplifier, compensated in analog.",
        Shown::Scrolling(&schematic("single-amplifier", false)),
    );
    let schematic_b = page::figure(
        2,
        "Instrumentation amplifier and converter.",
        Shown::Scrolling(&schematic("instrumentation", true)),
    );
    let mut number = 2;
    let mut both = |caption: &str, draw: &dyn Fn(Frame) -> Picture| {
        number += 1;
        page::figure(number, caption, Shown::Both { wide: &draw(Frame::Wide), narrow: &draw(Frame::Narrow) })
    };
    let map = both("95 % error in kelvin, no calibration. The largest stands in a frame.", &|f| {
        error_map().draw(f)
    });
    let band = both("The same board, less wrong after each step of calibration.", &|f| error_band().draw(f));
    let mut one = error_band();
    one.id = "error-band-one".to_owned();
    one.panels.truncate(1);
    let band_one = both("One panel alone.", &|f| one.draw(f));
    let spread =
        both("20 000 boards at 1100 °C, board at 55 °C, after one point.", &|f| distribution().draw(f));
    let causes =
        both("Standard uncertainties, one scale for the three points.", &|f| contributions().draw(f));
    let yields = both("Boards within ±6 K over the whole grid.", &|f| yield_bars().draw(f));
    let filter = both("Two analog poles and a mean over 100 ms.", &|f| response().draw(f));
    let noises = both("Noise at the output.", &|f| noise().draw(f));
    let settle = both("Step of 100 K at the probe's terminals.", &|f| settling().draw(f));
    let headlines = html! {
        div.headlines {
            (page::headline("±4.8 K", "95 % error at the worst point, after two points of calibration", Some(true)))
            (page::headline("99.3 %", "of boards within ±6 K everywhere", Some(true)))
            (page::headline("±14.2 K", "without calibration", Some(false)))
        }
    };
    let parts = [
        ("need", "The need", html! { (headlines) (tables()) }),
        ("circuit", "The circuit", html! { (schematic_a) (schematic_b) }),
        ("error", "How wrong it can be", html! { (map) (band) (band_one) (spread) }),
        ("causes", "Who causes it", causes),
        ("trim", "What a calibration buys", yields),
        ("dynamics", "Filters, noise, settling", html! { (filter) (noises) (settle) }),
        ("cautions", "Cautions and working", words()),
    ];
    let entries: Vec<Entry> = parts
        .iter()
        .map(|(id, heading, _)| Entry { id: (*id).to_owned(), heading: (*heading).to_owned() })
        .collect();
    let body = html! {
        @for (index, (id, heading, content)) in parts.iter().enumerate() {
            (page::section(id, index + 1, heading, content))
        }
    };
    std::fs::write(path, page::document("Burn-out kiln", "Gallery with invented figures", &entries, &body))
}
