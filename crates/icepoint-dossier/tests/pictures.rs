//! Every picture, with good, odd and empty figures: well-formed, finite, inside its frame, the same bytes twice.

// Helpers of tests may stop the test; the lint knows only the test functions themselves.
#![allow(clippy::expect_used)]

use icepoint_dossier::batch::BatchPicture;
use icepoint_dossier::calibrated_band::{CalibratedBand, CalibratedBandPoint, ReadingMark};
use icepoint_dossier::contributions::{Contribution, ContributionPoint, Contributions};
use icepoint_dossier::distribution::{Distribution, binned};
use icepoint_dossier::edge::{Edge, EdgePoint};
use icepoint_dossier::error_band::{ErrorBand, ErrorBandPanel, ErrorBandPoint};
use icepoint_dossier::error_map::ErrorMap;
use icepoint_dossier::low_pass_band::{BandPoint, Figure, LowPassMagnitude, LowPassStep};
use icepoint_dossier::noise::{Noise, NoiseSource};
use icepoint_dossier::residuals::{Residual, Residuals};
use icepoint_dossier::response::{MainsLine, Response, ResponsePoint};
use icepoint_dossier::settling::Settling;
use icepoint_dossier::svg::{Frame, Label, Picture};
use icepoint_dossier::theme::Family;
use icepoint_dossier::yield_bars::{YieldBars, YieldRow};

const FRAMES: [Frame; 2] = [Frame::Wide, Frame::Narrow];

/// Widths are estimates: a text may reach this far over the frame without being clipped.
const ESTIMATE: f64 = 1.0;

/// A reader of XML just strict enough: one root, tags nest, attributes quoted, no bare `<` or `&`.
fn assert_well_formed(xml: &str) {
    let mut open: Vec<String> = Vec::new();
    let mut rest = xml.trim();
    if let Some(after) = rest.strip_prefix("<?xml") {
        rest = after.split_once("?>").expect("declaration ends").1.trim_start();
    }
    let mut roots = 0;
    while !rest.is_empty() {
        let at = rest.find('<').unwrap_or(rest.len());
        for piece in rest[..at].split('&').skip(1) {
            let entity = piece.split(';').next().expect("a piece");
            assert!(["amp", "lt", "gt", "quot", "#39"].contains(&entity), "entity {entity:?}");
        }
        assert!(!rest[..at].contains('>'), "bare >");
        assert!(!open.is_empty() || rest[..at].trim().is_empty(), "text outside the root");
        rest = &rest[at..];
        if rest.is_empty() {
            break;
        }
        let end = rest.find('>').expect("tag ends");
        let tag = &rest[1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "closing tag");
            continue;
        }
        if open.is_empty() {
            roots += 1;
        }
        let closed = tag.ends_with('/');
        let tag = tag.trim_end_matches('/');
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        let mut seen = Vec::new();
        while !attributes.trim().is_empty() {
            let (key, after) = attributes.split_once("=\"").expect("quoted attribute");
            let (value, after) = after.split_once('"').expect("attribute ends");
            let key = key.trim();
            assert!(key.chars().all(|c| c.is_ascii_alphanumeric() || "-:".contains(c)), "attribute {key:?}");
            assert!(!seen.contains(&key), "{key} twice");
            assert!(!value.contains('<'));
            for bad in ["NaN", "inf"] {
                assert!(!value.contains(bad), "{key}={value:?} in {name}");
            }
            seen.push(key);
            attributes = after;
        }
        if !closed {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty() && roots == 1, "unclosed {open:?}, {roots} roots");
}

#[test]
fn the_reader_refuses_what_is_not_well_formed() {
    for bad in [
        "<a><b></a></b>",
        "<a>&bad;</a>",
        "<a x=1/>",
        "<a x=\"NaN\"/>",
        "<a/><a/>",
        "<a>",
        "<a x=\"1\" x=\"2\"/>",
    ] {
        assert!(std::panic::catch_unwind(|| assert_well_formed(bad)).is_err(), "{bad} passed");
    }
    assert_well_formed("<?xml version=\"1.0\"?>\n<a x=\"1\">t &amp; u<b/></a>");
}

fn assert_sound(picture: &Picture) {
    let svg = picture.to_svg();
    assert_well_formed(&svg);
    let file = picture.to_file();
    assert_well_formed(&file);
    assert!(!file.contains("var(--"), "a colour is left in a stand-alone file");
    assert!(picture.width() > 0.0 && picture.height() > 0.0 && picture.height().is_finite());
    assert!(svg.contains("<title") && svg.contains("<desc"));
}

fn assert_inside(picture: &Picture) {
    for label in picture.labels() {
        assert!(
            label.left >= -ESTIMATE
                && label.top >= -ESTIMATE
                && label.right <= picture.width() + ESTIMATE
                && label.bottom <= picture.height() + ESTIMATE,
            "{label:?} leaves {} × {} of {:?}",
            picture.width(),
            picture.height(),
            picture.title()
        );
    }
}

fn assert_apart(picture: &Picture) {
    // Boxes carry ascender and descender room that most letters leave empty.
    let shrunk = |l: &Label| Label { top: l.top + 1.5, bottom: l.bottom - 1.5, ..l.clone() };
    let labels: Vec<Label> = picture.labels().iter().map(shrunk).collect();
    for (i, a) in labels.iter().enumerate() {
        for b in &labels[i + 1..] {
            assert!(!a.overlaps(b), "{:?} covers {:?} in {:?}", a, b, picture.title());
        }
    }
}

fn point(t: f64, bias: f64, half: f64) -> ErrorBandPoint {
    ErrorBandPoint {
        hot_celsius: t,
        bias_kelvin: bias,
        low_95_kelvin: bias - half,
        high_95_kelvin: bias + half,
        worst_low_kelvin: bias - 2.0 * half,
        worst_high_kelvin: bias + 2.0 * half,
    }
}

fn map(hot: usize, board: usize, scale: f64, accuracy: Option<f64>) -> ErrorMap {
    ErrorMap {
        id: "map".to_owned(),
        hot_celsius: (0..hot).map(|i| -80.0 + 100.0 * i as f64).collect(),
        board_celsius: (0..board).map(|i| -40.0 + 12.5 * i as f64).collect(),
        error_95_kelvin: (0..board)
            .map(|b| (0..hot).map(|h| scale * (1.0 + (h * (b + 1)) as f64)).collect())
            .collect(),
        accuracy_kelvin: accuracy,
    }
}

fn band(scale: f64, panels: usize) -> ErrorBand {
    let points: Vec<_> =
        (0..20).map(|i| point(f64::from(i) * 60.0, scale * 0.1, scale * f64::from(i + 1))).collect();
    let panel = |i: usize| ErrorBandPanel {
        caption: format!("state number {i} of the calibration"),
        points: points.clone(),
    };
    ErrorBand { id: "band".to_owned(), accuracy_kelvin: Some(6.0), panels: (0..panels).map(panel).collect() }
}

fn causes(count: usize, scale: f64) -> Contributions {
    let one = |i: usize| Contribution {
        name: format!("cause {i} with a rather long name that tells where it comes from & why <so>"),
        family: if i.is_multiple_of(2) { Family::Probe } else { Family::ReferenceVoltage },
        standard_kelvin: scale / (i + 1) as f64,
        share_of_variance: 1.0 / (i + 1) as f64,
    };
    let point = |caption: &str| ContributionPoint {
        caption: caption.to_owned(),
        combined_standard_kelvin: scale * 1.3,
        contributions: (0..count).map(one).collect(),
    };
    Contributions {
        id: "causes".to_owned(),
        rows: 6,
        points: vec![point("hottest: 1100 °C, board at 25 °C"), point("coldest")],
    }
}

fn response(points: usize) -> Response {
    let at = |i: usize| {
        let hertz = libm::pow(10.0, -2.0 + 5.0 * i as f64 / points as f64);
        let analog = -40.0 * libm::log10(1.0 + hertz / 5.0);
        let digital_decibel = i.is_multiple_of(2).then_some(f64::NEG_INFINITY);
        ResponsePoint { hertz, analog_decibel: analog, digital_decibel, total_decibel: analog - 10.0 }
    };
    let mains = (1..=20)
        .map(|n| MainsLine { hertz: 50.0 * f64::from(n), residual_kelvin: 0.01 / f64::from(n) })
        .collect();
    Response {
        id: "response".to_owned(),
        points: (0..points).map(at).collect(),
        mains,
        floor_decibel: -140.0,
    }
}

fn noise(sources: usize) -> Noise {
    let line: Vec<_> = (1..200).map(|i| (f64::from(i), 1e-6 / f64::from(i))).collect();
    let source = |i: usize| NoiseSource {
        name: format!("source {i} with a name that is too long for the room beside the lines"),
        family: Family::Amplifier,
        density: line.iter().map(|p| (p.0, p.1 / (i + 1) as f64)).collect(),
    };
    Noise {
        id: "noise".to_owned(),
        sources: (0..sources).map(source).collect(),
        total: line.clone(),
        result: "2 µV".to_owned(),
    }
}

fn settling(seconds: f64) -> Settling {
    let reading = (0..100)
        .map(|i| f64::from(i) / 99.0 * seconds)
        .map(|t| (t, -50.0 * (1.0 - libm::exp(-8.0 * t / seconds))));
    Settling {
        id: "settling".to_owned(),
        reading_kelvin: reading.collect(),
        step_kelvin: -50.0,
        band_kelvin: 0.05,
        settled_seconds: Some(0.86 * seconds),
        asked_seconds: Some(0.9 * seconds),
    }
}

fn distribution(limit: f64) -> Distribution {
    let errors: Vec<f64> = (0..1000).map(|i| f64::from(i % 97) / 20.0 - 2.0).collect();
    let (edges_kelvin, counts) = binned(&errors, 30);
    assert_eq!(counts.iter().sum::<u64>(), 1000, "every error belongs to one bin");
    Distribution {
        id: "distribution".to_owned(),
        caption: "somewhere".to_owned(),
        edges_kelvin,
        counts,
        interval_95_kelvin: (-1.9, 2.7),
        mean_kelvin: 0.4,
        accuracy_kelvin: Some(limit),
    }
}

fn yields(share: f64) -> YieldBars {
    let rows = [share, share / 2.0, 1.0].map(|share| YieldRow { name: "after two points".to_owned(), share });
    YieldBars { id: "yield".to_owned(), accuracy_kelvin: 0.25, asked_share: Some(0.95), rows: rows.to_vec() }
}

fn calibrated(points: usize, scale: f64) -> CalibratedBand {
    let hot = |i: usize| 20.0 + 1080.0 * i as f64 / points.max(2) as f64;
    CalibratedBand {
        id: "calibrated".to_owned(),
        accuracy_kelvin: Some(6.0),
        points: (0..points)
            .map(|i| CalibratedBandPoint {
                hot_celsius: hot(i),
                before_kelvin: (-scale * (3.0 + 0.3 * i as f64), scale * (3.0 + 0.3 * i as f64)),
                found_kelvin: 0.1 * scale * i as f64,
                after_kelvin: (-0.7 * scale, scale * (0.7 + 0.05 * i as f64)),
            })
            .collect(),
        readings: (0..points.min(4))
            .map(|i| ReadingMark { hot_celsius: hot(2 * i), error_kelvin: 0.3 * scale, flagged: i == 3 })
            .collect(),
    }
}

fn residuals(rows: usize, scale: f64) -> Residuals {
    Residuals {
        id: "residuals".to_owned(),
        rows: (0..rows)
            .map(|i| Residual {
                name: format!("{:.3} mV, board at {} °C", 3.7 * i as f64, 23 + i),
                difference_kelvin: scale * (i as f64 - 1.5),
                allowed_kelvin: 2.0 * scale,
                residual_kelvin: 0.4 * scale * (i as f64 - 1.5),
                flagged: i > 3,
            })
            .collect(),
    }
}

fn batch(boards: usize, scale: f64) -> BatchPicture {
    BatchPicture {
        id: "batch".to_owned(),
        hot_celsius: (0..11).map(|i| 20.0 + 108.0 * f64::from(i)).collect(),
        expected_kelvin: vec![0.0; 11],
        half_95_kelvin: (0..11).map(|i| scale * (3.0 + f64::from(i))).collect(),
        boards: (0..boards)
            .map(|b| {
                (
                    format!("K-{b:03}"),
                    (0..11).map(|i| scale * 0.3 * f64::from(i) * (b as f64 - 2.0)).collect(),
                )
            })
            .collect(),
    }
}

fn low_pass_points(points: usize, scale: f64, curve: impl Fn(f64) -> f64) -> Vec<BandPoint> {
    let at = |i: usize| scale * (i as f64 + 1.0) / points.max(1) as f64;
    (0..points)
        .map(|i| {
            let nominal = curve(at(i) / scale);
            let curve = Figure { nominal, low: nominal - 0.02, high: nominal + 0.02 };
            BandPoint { at: at(i), curve, missing: (1.0 - nominal).abs() + 0.02 }
        })
        .collect()
}

fn magnitude(points: usize, scale: f64) -> LowPassMagnitude {
    let figure = |nominal: f64| Figure { nominal, low: 0.9 * nominal, high: 1.1 * nominal };
    LowPassMagnitude {
        id: "low-pass".to_owned(),
        points: low_pass_points(points, scale, |x| -40.0 * libm::log10(1.0 + 100.0 * x)),
        corner: figure(0.01 * scale),
        mains_hertz: 0.012 * scale,
        mains_decibel: figure(-23.4),
    }
}

fn low_pass_step(points: usize, seconds: f64) -> LowPassStep {
    let figure = |nominal: f64| Figure { nominal, low: 0.8 * nominal, high: 1.2 * nominal };
    LowPassStep {
        id: "low-pass-step".to_owned(),
        points: low_pass_points(points, seconds, |x| 1.0 - libm::exp(-9.0 * x) * libm::cos(30.0 * x)),
        settle_to: 0.001,
        settled: figure(0.6 * seconds),
        asked_seconds: Some(0.5 * seconds),
        overshoot: figure(0.3),
    }
}

fn edge(rows: usize, alike: bool) -> Edge {
    let names = [
        "single-amplifier",
        "three-amplifier-instrumentation",
        "split-supply-instrumentation",
        "own circuit",
    ];
    let point = |i: usize| EdgePoint {
        name: names[i % 4].to_owned(),
        parts: if alike { 17 } else { 9 + 7 * i % 23 },
        error_kelvin: if alike { 3.4 } else { 2.9 + (5 * i % 7) as f64 / 3.0 },
        edge: i.is_multiple_of(5),
        taken: i == 1,
    };
    Edge { id: "edge".to_owned(), accuracy_kelvin: 4.1, points: (0..rows).map(point).collect() }
}

/// Pictures as people will see them.
fn ordinary() -> Vec<Picture> {
    FRAMES
        .into_iter()
        .flat_map(|f| {
            vec![
                map(12, 6, 0.1, Some(6.0)).draw(f),
                map(11, 5, 0.3, Some(6.0)).draw(f),
                map(11, 5, 0.01, Some(0.5)).draw(f),
                map(3, 2, 4.0, None).draw(f),
                band(0.2, 1).draw(f),
                band(0.5, 3).draw(f),
                band(0.001, 2).draw(f),
                causes(15, 3.0).draw(f),
                causes(2, 0.001).draw(f),
                response(300).draw(f),
                noise(4).draw(f),
                settling(0.4).draw(f),
                settling(12.0).draw(f),
                magnitude(200, 1e3).draw(f),
                low_pass_step(200, 0.1).draw(f),
                low_pass_step(200, 40.0).draw(f),
                distribution(6.0).draw(f),
                distribution(0.7).draw(f),
                yields(0.38).draw(f),
                yields(0.9995).draw(f),
                calibrated(11, 1.0).draw(f),
                residuals(5, 1.0).draw(f),
                batch(6, 1.0).draw(f),
                edge(3, false).draw(f),
                edge(9, false).draw(f),
                edge(26, false).draw(f),
                edge(12, true).draw(f),
            ]
        })
        .collect()
}

/// Pictures of figures that should not occur.
fn odd() -> Vec<Picture> {
    let nan = f64::NAN;
    FRAMES
        .into_iter()
        .flat_map(|f| {
            let mut ragged = map(5, 3, 1.0, Some(nan));
            ragged.error_95_kelvin = vec![vec![nan, 1.0], vec![], vec![f64::INFINITY]];
            let mut broken = band(1.0, 1);
            broken.panels[0].points = vec![point(nan, nan, nan), point(3.0, 0.0, f64::INFINITY)];
            let mut alone = band(1.0, 2);
            alone.panels[0].points = vec![point(20.0, 0.1, 0.5)];
            alone.panels[1].points.clear();
            vec![
                ErrorMap::default().draw(f),
                ragged.draw(f),
                map(1, 1, 0.0, Some(6.0)).draw(f),
                map(60, 30, 1.0, Some(6.0)).draw(f),
                map(4, 4, 1e12, Some(1e-9)).draw(f),
                ErrorBand::default().draw(f),
                broken.draw(f),
                alone.draw(f),
                band(1e20, 4).draw(f),
                band(0.0, 1).draw(f),
                causes(0, 1.0).draw(f),
                causes(9, nan).draw(f),
                causes(9, 0.0).draw(f),
                Contributions { id: String::new(), points: Vec::new(), rows: 0 }.draw(f),
                response(0).draw(f),
                response(1).draw(f),
                Response { id: "r".to_owned(), points: Vec::new(), mains: Vec::new(), floor_decibel: nan }
                    .draw(f),
                Noise::default().draw(f),
                noise(0).draw(f),
                noise(40).draw(f),
                Settling::default().draw(f),
                settling(0.0).draw(f),
                settling(nan).draw(f),
                magnitude(0, 1.0).draw(f),
                magnitude(9, nan).draw(f),
                low_pass_step(0, 1.0).draw(f),
                low_pass_step(9, nan).draw(f),
                Distribution::default().draw(f),
                distribution(nan).draw(f),
                YieldBars::default().draw(f),
                yields(nan).draw(f),
                yields(7.0).draw(f),
                calibrated(0, 1.0).draw(f),
                calibrated(5, nan).draw(f),
                residuals(0, 1.0).draw(f),
                residuals(40, nan).draw(f),
                batch(0, 1.0).draw(f),
                batch(3, nan).draw(f),
                Edge::default().draw(f),
                Edge { accuracy_kelvin: nan, ..edge(5, false) }.draw(f),
                edge(200, true).draw(f),
            ]
        })
        .collect()
}

#[test]
fn ordinary_pictures_are_sound_and_legible() {
    let pictures = ordinary();
    assert_eq!(pictures.len(), 54);
    for picture in &pictures {
        assert_sound(picture);
        assert_inside(picture);
        assert_apart(picture);
    }
}

/// How many front ends have a name in the picture.
fn named(edge: &Edge, picture: &Picture) -> usize {
    let shown = |name: &str| picture.labels().iter().filter(|l| l.content == name).count();
    let mut names: Vec<&str> = edge.points.iter().map(|p| p.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names.iter().map(|name| shown(name)).sum()
}

#[test]
fn every_front_end_has_its_name_whole() {
    for edge in [edge(3, false), edge(9, false), edge(26, false), edge(12, true)] {
        for frame in FRAMES {
            let picture = edge.draw(frame);
            assert_eq!(named(&edge, &picture), edge.points.len(), "{frame:?}");
            // Numbers stand at the points and in the list.
            let last = edge.points.len().to_string();
            let marks = picture.labels().iter().filter(|l| l.content == last).count();
            assert!(marks == 2 || edge.points.len() < 10, "{frame:?}: {marks} marks of {last}");
        }
    }
}

#[test]
fn odd_figures_neither_panic_nor_leak() {
    let pictures = odd();
    assert_eq!(pictures.len(), 82);
    for picture in &pictures {
        assert_sound(picture);
    }
}

#[test]
fn same_figures_same_bytes() {
    let bytes = || ordinary().iter().chain(&odd()).map(Picture::to_svg).collect::<String>();
    assert_eq!(bytes(), bytes());
}

#[test]
fn letters_too_small_to_read_are_not_drawn() {
    for picture in ordinary() {
        let svg = picture.to_svg();
        for size in svg.split("font-size=\"").skip(1) {
            let size: f64 = size.split('"').next().expect("a size").parse().expect("a number");
            assert!(size >= 8.5, "{size} in {}", picture.title());
        }
    }
}

#[test]
fn bins_hold_the_edges() {
    let (edges, counts) = binned(&[0.0, 1.0, 2.0, f64::NAN], 2);
    assert_eq!((edges, counts), (vec![0.0, 1.0, 2.0], vec![1, 2]));
    assert_eq!(binned(&[], 5), (vec![], vec![]));
    assert_eq!(binned(&[3.0, 3.0], 1).1, vec![2]);
}
