//! The words of these checks: an example's text, changed line by line, resolved and judged.

use std::path::Path;

use icepoint_chain::Model;
use icepoint_chain::budget::{Study, monte_carlo, quick_error_95};
use icepoint_chain::file;
use icepoint_chain::front_end::Values;
use icepoint_chain::quantity::series::Series;
use icepoint_chain::resolve::{Resolved, resolve};
use icepoint_chain::situation::grid;

/// Text of an example, to be changed.
pub struct Text(String);

pub fn example(name: &str) -> Text {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name);
    Text(std::fs::read_to_string(&path).unwrap())
}

impl Text {
    /// A text that is no example.
    pub fn new(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// Replaces a piece of text; one that is not there is a mistake of the test.
    pub fn with(self, old: &str, new: &str) -> Self {
        assert_eq!(self.0.matches(old).count(), 1, "{old:?} stands once in the example");
        Self(self.0.replace(old, new))
    }

    /// Sets the value of a key wherever it stands alone at the start of a line; adds it to the values if absent.
    pub fn value(self, designator: &str, value: &str) -> Self {
        let line = format!("{designator} = \"{value}\"");
        let start = format!("{designator} = ");
        if self.0.lines().any(|l| l.starts_with(&start)) {
            let lines: Vec<&str> =
                self.0.lines().map(|l| if l.starts_with(&start) { line.as_str() } else { l }).collect();
            Self(lines.join("\n") + "\n")
        } else {
            self.with("[front_end.values]\n", &format!("[front_end.values]\n{line}\n"))
        }
    }

    pub fn values(self, values: &[(&str, &str)]) -> Self {
        values.iter().fold(self, |text, (d, v)| text.value(d, v))
    }

    pub fn text(&self) -> &str {
        &self.0
    }

    pub fn resolved(&self) -> Resolved {
        let file = file::parse("chain.toml", &self.0).unwrap_or_else(|refused| panic!("{refused:?}"));
        resolve(&file).unwrap_or_else(|refused| panic!("{refused:?}"))
    }
}

/// The kiln with every value but these chosen; "±" marks a part at hand, which need not be in the series.
pub fn kiln_but(open: &[&str]) -> Text {
    let chosen = [
        ("R1", "4.7 kΩ ± 1 %"),
        ("R2", "4.7 kΩ ± 1 %"),
        ("R3", "10 kΩ"),
        ("R4", "10 MΩ"),
        ("RG", "910 Ω ± 1 %"),
        ("R5", "100 kΩ"),
        ("R6", "4.7 kΩ ± 1 %"),
        ("R7", "15 kΩ"),
        ("R8", "15 kΩ"),
        ("R9", "1 kΩ"),
        ("C1", "100 nF"),
        ("C2", "10 nF"),
        ("C3", "10 nF"),
        ("C4", "1 µF"),
        ("C5", "1 µF"),
        ("C6", "680 nF"),
        ("C7", "10 nF"),
    ];
    let kept: Vec<_> = chosen.into_iter().filter(|(d, _)| !open.contains(d)).collect();
    example("burnout-kiln.toml").values(&kept)
}

/// Values of a series between two ends, from the standard's own list.
pub fn series(series: Series, low: f64, high: f64) -> Vec<f64> {
    let mut all = Vec::new();
    for exponent in -1..8 {
        for hundredths in series.hundredths() {
            let value: f64 = format!("{hundredths}e{exponent}").parse().unwrap();
            if value / 100.0 >= low && value / 100.0 <= high {
                all.push(format!("{hundredths}e{}", exponent - 2).parse().unwrap());
            }
        }
    }
    all
}

/// What room to the limits is worth, by the rule of docs/design.md: a board at a limit counts as 1 % worse than one that
/// uses nine tenths of it.
pub fn weighed(margin: f64, error: f64) -> f64 {
    error * (1.0 + 0.01 * (1.0 - (margin / 0.05).clamp(0.0, 1.0)))
}

/// Whether every limit holds, and the largest 95 % error over the whole grid by quick estimate, K, weighed with the room to
/// the limits.
pub fn judged(resolved: &Resolved, values: &Values) -> (f64, f64) {
    let model = Model::new(resolved.with_values(values)).unwrap();
    let need = model.chain().need;
    let margin = model.headroom().unwrap().first().map_or(1.0, |u| u.relative_margin());
    let open = model
        .open_sensor(need.board.0)
        .unwrap()
        .celsius
        .min(model.open_sensor(need.board.1).unwrap().celsius);
    let margin = if open < need.hot.1 { margin.min(-1.0) } else { margin };
    let settled = model.settling(10.0 * need.settle_within).unwrap().total().unwrap_or(f64::INFINITY);
    // What is left of the time and of the mains' share counts too, but is no limit here.
    let room = [settled / need.settle_within, model.mains_kelvin() / need.mains_residual]
        .into_iter()
        .filter(|used| used.is_finite())
        .fold(margin, |room, used| room.min(0.5 * (1.0 - used)));
    let study = Study::over(&model, grid(need.hot, 11), grid(need.board, 5));
    (margin, weighed(room, quick_error_95(&study, need.calibration).unwrap()))
}

/// The largest simulated 95 % error over the whole grid, K.
pub fn simulated(resolved: &Resolved, values: &Values, trials: u32) -> f64 {
    let model = Model::new(resolved.with_values(values)).unwrap();
    let study = Study::new(&model);
    let result = monte_carlo::evaluate(&study, trials, 5, model.chain().need.accuracy, &|_| {}).unwrap();
    let count = study.points();
    let from = model.chain().need.calibration.points() * count;
    result.points[from..from + count].iter().map(|p| p.error_95).fold(0.0, f64::max)
}
