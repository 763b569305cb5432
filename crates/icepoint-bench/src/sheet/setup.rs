//! What stands on the bench: the board's temperature, the source, the voltmeter, the temperatures to test.

use icepoint_chain::chain::Chain;
use icepoint_chain::file::{ChainFile, ReferenceKind};

use crate::references::{MillivoltSource, Reference, millivolt_source};

/// Fewest boards that give a 99.9 % band: two of them in each tail.
pub const LEAST_BOARDS: u32 = 4_000;
/// Boards simulated unless asked otherwise: ten in each tail of the 99.9 % band.
const BOARDS: u32 = 20_000;
/// Temperature of a laboratory, °C (IEC 60359, from memory; the chain file's default of a calibration).
const LABORATORY: f64 = 23.0;

/// A voltmeter at the test points.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// Name of its record, or empty for the usual one that was assumed.
    pub name: String,
    /// Limit, share of the reading.
    pub relative: f64,
    /// Limit of the fixed part, V.
    pub fixed: f64,
    /// One digit, V.
    pub resolution: f64,
    /// Ω.
    pub input_resistance: f64,
}

impl Meter {
    /// A hand-held meter of which nothing is known: 0.5 % and two digits of 1 mV, 10 MΩ (common practice, no source).
    pub fn usual() -> Self {
        Self { name: String::new(), relative: 0.005, fixed: 2e-3, resolution: 1e-3, input_resistance: 10e6 }
    }

    /// The voltmeter of the chain file, or the usual one.
    pub fn of_file(file: &ChainFile) -> Self {
        file.references
            .values()
            .find_map(|record| match &record.kind {
                ReferenceKind::Voltmeter { reading_error, range_error, resolution, input_resistance } => {
                    Some(Self {
                        name: record.name.clone(),
                        relative: **reading_error,
                        fixed: **range_error,
                        resolution: **resolution,
                        input_resistance: **input_resistance,
                    })
                }
                _ => None,
            })
            .unwrap_or_else(Self::usual)
    }

    /// Its name, or what it is.
    pub fn called(&self) -> &str {
        if self.name.is_empty() { "voltmeter" } else { &self.name }
    }

    /// Limit of its error at a voltage, V.
    pub fn limit(&self, volts: f64) -> f64 {
        self.relative * volts.abs() + self.fixed + 0.5 * self.resolution
    }
}

/// What is asked of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Temperature of the board and its terminals now, °C.
    pub board: f64,
    /// Temperature of the source's terminals, °C.
    pub room: f64,
    /// Test temperatures, °C, rising; at least one.
    pub at: Vec<f64>,
    /// Boards to simulate.
    pub boards: u32,
    /// Seed of the simulation.
    pub seed: u64,
    /// The millivolt source.
    pub source: MillivoltSource,
    /// Its name.
    pub source_name: String,
    /// The voltmeter.
    pub meter: Meter,
}

impl Setup {
    /// As the chain file says; the board at its calibration temperature.
    pub fn of(file: &ChainFile, chain: &Chain) -> Self {
        let named = millivolt_source(file);
        let source = match named.reference {
            Reference::Millivolts(source) => source,
            // What is asked for is a millivolt source.
            _ => crate::references::UNKNOWN_SOURCE,
        };
        let board = file.calibration_plan.as_ref().map_or(LABORATORY, |plan| *plan.board);
        let mut at = temperatures(chain.need.hot);
        at.extend(&chain.plan.at);
        at.sort_by(f64::total_cmp);
        at.dedup();
        Self {
            board,
            room: LABORATORY,
            at,
            boards: BOARDS,
            seed: chain.settings.seed,
            source,
            source_name: named.name,
            meter: Meter::of_file(file),
        }
    }
}

/// Five temperatures from the lowest to the highest, the inner ones round.
pub fn temperatures((low, high): (f64, f64)) -> Vec<f64> {
    let mut list = vec![low];
    let rough = (high - low) / 20.0;
    if rough > 0.0 && rough.is_finite() {
        let decade = libm::pow(10.0, libm::floor(libm::log10(rough)));
        let step =
            [1.0, 2.0, 5.0, 10.0].map(|s| s * decade).into_iter().find(|s| *s >= rough).unwrap_or(rough);
        for quarter in 1..4 {
            let round = libm::round((low + 0.25 * f64::from(quarter) * (high - low)) / step) * step;
            if list.last().is_some_and(|last| round > *last) && round < high {
                list.push(round);
            }
        }
        list.push(high);
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_handful_of_round_temperatures() {
        assert_eq!(temperatures((20.0, 1100.0)), [20.0, 300.0, 600.0, 800.0, 1100.0]);
        assert_eq!(temperatures((-80.0, 30.0)), [-80.0, -50.0, -30.0, 0.0, 30.0]);
        assert_eq!(temperatures((25.0, 25.0)), [25.0]);
    }
}
