//! The words of these checks: a board in hand, its deviations by name, and what it reads.

use std::path::Path;

use icepoint_chain::budget::Study;
use icepoint_chain::chain::Chain;
use icepoint_chain::imperfection::Distribution;
use icepoint_chain::{Model, Reading, Situation, file, resolve};

/// A chain file of `tests/model/boards`, with every value chosen.
fn board(name: &str) -> Chain {
    resolved(name).chain
}

/// The same with what is needed to try others.
pub fn resolved(name: &str) -> resolve::Resolved {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/model/boards").join(name);
    let file = file::load(&path).unwrap_or_else(|refused| panic!("{name}: {refused:?}"));
    resolve::resolve(&file).unwrap_or_else(|refused| panic!("{name}: {refused:?}"))
}

/// Type N to 1100 °C, instrumentation amplifier, 12-bit converter.
pub fn kiln() -> Chain {
    board("kiln.toml")
}

/// Type K to 400 °C, one amplifier with analog compensation, 10 mV/K to a voltmeter.
pub fn bench() -> Chain {
    board("bench.toml")
}

/// Changes to a chain, in the order of a sentence: `kiln().with(|c| …).built()`.
pub trait InHand: Sized {
    fn with(self, change: impl FnOnce(&mut Self)) -> Self;
    fn built(self) -> Board;
}

impl InHand for Chain {
    fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    fn built(self) -> Board {
        Board { model: Model::new(self).unwrap() }
    }
}

/// A board that can be read.
pub struct Board {
    pub model: Model,
}

impl Board {
    pub fn chain(&self) -> &Chain {
        self.model.chain()
    }

    /// Place of an imperfection; the list is short, and a misspelt id must not pass.
    pub fn index(&self, id: &str) -> usize {
        let known =
            || self.model.imperfections().iter().map(|i| i.id.as_str()).collect::<Vec<_>>().join(", ");
        let found = self.model.imperfections().iter().position(|i| i.id == id);
        found.unwrap_or_else(|| panic!("no imperfection {id}; there are {}", known()))
    }

    /// Its limit, or three standard deviations.
    pub fn limit(&self, id: &str) -> f64 {
        self.distribution(id).limits().1
    }

    pub fn distribution(&self, id: &str) -> Distribution {
        self.model.imperfections()[self.index(id)].distribution
    }

    /// Everything at its mean but these.
    pub fn moved(&self, changes: &[(&str, f64)]) -> Vec<f64> {
        let mut d = self.model.mean_deviations().to_vec();
        for (id, value) in changes {
            d[self.index(id)] = *value;
        }
        d
    }

    /// What it answers at a hot and a board temperature, °C.
    pub fn answer(&self, hot: f64, board: f64, changes: &[(&str, f64)]) -> Reading {
        let situation = Situation::at(self.chain(), hot, board);
        self.model.predict(&situation, &self.moved(changes)).unwrap()
    }

    /// The temperature that it reads, °C.
    pub fn reads(&self, hot: f64, board: f64, changes: &[(&str, f64)]) -> f64 {
        self.answer(hot, board, changes).celsius
    }

    /// Over one situation.
    pub fn study(&self, hot: Vec<f64>, board: Vec<f64>) -> Study<'_> {
        Study::over(&self.model, hot, board)
    }
}

/// emf in V, as the printed tables have it.
pub fn emf(board: &Board, celsius: f64) -> f64 {
    board.chain().probe.letter.emf(celsius).unwrap()
}

/// Sensitivity in V/K.
pub fn slope(board: &Board, celsius: f64) -> f64 {
    board.chain().probe.letter.emf_slope(celsius).unwrap()
}

/// Hot and board temperatures that together see every sign and corner of the need.
pub fn corners(chain: &Chain) -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for share in [0.0, 0.31, 0.77, 1.0] {
        for side in [0.0, 0.4, 1.0] {
            let (a, b) = (chain.need.hot, chain.need.board);
            all.push((a.0 + share * (a.1 - a.0), b.0 + side * (b.1 - b.0)));
        }
    }
    all
}
