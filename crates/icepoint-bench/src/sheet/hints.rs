//! What a reading outside of its band hints at: each mistake is made in the model and its reading told.

use icepoint_chain::ModelError;
use icepoint_chain::chain::{Chain, Readout};
use icepoint_chain::front_end::PartKind;
use icepoint_sensors::Letter;

use super::BenchSheet;
use super::rig::Rig;

/// A mistake and what the board would then read.
#[derive(Clone, Debug, PartialEq)]
pub struct Hint {
    /// In words.
    pub mistake: String,
    /// What is read where [`Hint::instead_of`] is expected, °C.
    pub reads: f64,
    /// What is expected with the same setting, °C.
    pub instead_of: f64,
    /// Whether that is outside of the 99.9 % band, so that it shows.
    pub shows: bool,
}

/// A resistor of ten times or a tenth of its value.
#[derive(Clone, Debug, PartialEq)]
pub struct WrongDecade {
    /// `R7`.
    pub designator: String,
    /// Ten times (or a tenth).
    pub tenfold: bool,
    /// Test points outside of their 99.9 % band, with what they show, V, and whether with the terminals shorted (else at
    /// the normal input). Empty when no test point shows it.
    pub shows: Vec<(String, f64, bool)>,
    /// What is read at the normal input, °C.
    pub reads: f64,
}

/// Types that lie beside each other on a bench.
const TYPES: [Letter; 4] = [Letter::K, Letter::J, Letter::T, Letter::N];

/// Mistakes of connection and setting at the hottest test temperature, where most show best.
pub(super) fn readings(rig: &Rig<'_>, sheet: &BenchSheet) -> Result<Vec<Hint>, ModelError> {
    let setup = rig.setup();
    let letter = rig.letter();
    let emf = |letter: Letter, celsius: f64| letter.emf_and_slope_extended(celsius).0;
    let largest = |a: &&super::Injection, b: &&super::Injection| {
        a.copper_volts.abs().total_cmp(&b.copper_volts.abs()).then(a.celsius.total_cmp(&b.celsius))
    };
    let Some(test) = sheet.injections.iter().max_by(largest) else { return Ok(Vec::new()) };
    let (set, celsius) = (test.copper_volts, test.celsius);
    let at = format!("{celsius} °C");
    let mut applied: Vec<(String, f64)> = vec![
        (format!("source off, or a short before the board ({at} set)"), 0.0),
        (format!("source the wrong way round ({at} set)"), -set),
        (
            format!("value of a table for 0 °C set, the board's temperature not taken off ({at})"),
            emf(letter, celsius),
        ),
    ];
    if setup.room != setup.board {
        applied.push((format!("copper leads, but the value for wire set ({at})"), test.wire_volts));
        applied.push((
            format!("wire, but the value for copper set ({at})"),
            set + emf(letter, setup.room) - emf(letter, setup.board),
        ));
    }
    for other in TYPES.into_iter().filter(|other| *other != letter) {
        applied.push((
            format!("source set for type {} ({at})", other.name()),
            emf(other, celsius) - emf(other, setup.board),
        ));
    }
    let mut hints = Vec::new();
    for (mistake, volts) in applied {
        let reads = rig.nominally(None, volts, None)?.1;
        hints.push(Hint {
            mistake,
            reads,
            instead_of: test.copper.nominal,
            shows: !test.copper.healthy(reads),
        });
    }
    // Two mistakes of firmware, told from the voltage that is right.
    if !matches!(rig.real().chain().readout, Readout::Line { .. })
        && let Ok(bare) = letter.temperature(set)
    {
        for (mistake, reads) in [
            (format!("reference junction not added in the firmware ({at} set)"), bare),
            (format!("reference junction added in degrees instead of volts ({at} set)"), bare + setup.board),
        ] {
            hints.push(Hint {
                mistake,
                reads,
                instead_of: test.copper.nominal,
                shows: !test.copper.healthy(reads),
            });
        }
    }
    if let Some(open) = &sheet.open {
        hints.push(Hint {
            mistake: "a lead or the sensor broken".to_owned(),
            reads: open.nominal,
            instead_of: test.copper.nominal,
            shows: !test.copper.healthy(open.nominal),
        });
    }
    Ok(hints)
}

/// Resistors of the wrong decade, the commonest slip of soldering. A board that has no answer then is left out.
pub(super) fn wrong_decades(rig: &Rig<'_>, sheet: &BenchSheet) -> Vec<WrongDecade> {
    let chain = rig.source_chain();
    let mut list = Vec::new();
    for (index, part) in chain.front_end.parts.iter().enumerate() {
        let (PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. }) = &part.kind else {
            continue;
        };
        for (tenfold, factor) in [(true, 10.0), (false, 0.1)] {
            let wrong = |chain: &Chain| {
                let mut altered = chain.clone();
                if let Some(part) = altered.front_end.parts.get_mut(index) {
                    part.kind.set_value(figures.ohms * factor);
                }
                altered
            };
            let normal = rig.copper_set(rig.normal());
            let (Ok((shorted, _)), Ok((points, reads))) = (
                rig.nominally(Some(wrong(rig.short_chain())), 0.0, None),
                rig.nominally(Some(wrong(chain)), normal, Some(rig.normal())),
            ) else {
                continue;
            };
            let mut shows = Vec::new();
            for (i, point) in sheet.points.iter().enumerate() {
                match (shorted.get(i), points.get(i)) {
                    (Some(v), _) if !point.shorted.healthy(*v) => shows.push((point.label.clone(), *v, true)),
                    (_, Some(v)) if !point.normal.healthy(*v) => shows.push((point.label.clone(), *v, false)),
                    _ => {}
                }
            }
            list.push(WrongDecade { designator: part.designator.clone(), tenfold, shows, reads });
        }
    }
    list
}
