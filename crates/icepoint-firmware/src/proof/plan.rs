//! Which inputs are run, and what they must come to.

use rayon::prelude::*;

use crate::calibration::Constants;
use crate::filter::FilterProgram;
use crate::firmware::Firmware;
use crate::integer::{IntegerProgram, Outcome};
use crate::inverse::JunctionInput;

/// Inputs of a proof: `count` aligned inputs at each of the junction's, in blocks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Number of aligned inputs.
    pub count: u32,
    /// Every input stands for `1 << stratum` neighbours, of which one is taken by a hash of its number.
    pub stratum: u32,
    /// Inputs of the junction; one is outside its range where it has one.
    pub junctions: Vec<i32>,
    /// Each input at one of the junction's, in turn, instead of at all of them.
    pub cycled: bool,
    /// Inputs in a block.
    pub block: u32,
}

/// Start of FNV-1a, 32 bit (RFC 9923).
pub const BASIS: u32 = 0x811c_9dc5;
/// Its prime.
pub const PRIME: u32 = 0x0100_0193;
/// Knuth's multiplier: its upper bits choose among neighbours.
pub const CHOOSER: u32 = 2_654_435_761;

impl Plan {
    /// Every aligned input at every junction input of the walk, and one outside.
    pub fn whole(firmware: &Firmware) -> Self {
        let count = 1u32 << firmware.program.aligned_bits;
        Self { count, stratum: 0, junctions: junctions(firmware), cycled: false, block: 4096 }
    }

    /// The same for converters up to 16 bit; above, a stratified million.
    pub fn for_emulators(firmware: &Firmware) -> Self {
        if firmware.program.aligned_bits == 16 {
            return Self::whole(firmware);
        }
        let count = 1 << 20;
        let stratum = firmware.program.aligned_bits - 20;
        Self { count, stratum, junctions: junctions(firmware), cycled: true, block: 4096 }
    }

    /// The k-th input.
    pub const fn input(&self, k: u32) -> u32 {
        if self.stratum == 0 {
            return k;
        }
        (k << self.stratum) | (k.wrapping_mul(CHOOSER) >> (32 - self.stratum))
    }

    /// Rounds through the inputs.
    pub fn rounds(&self) -> usize {
        if self.cycled { 1 } else { self.junctions.len() }
    }

    /// Conversions in all.
    pub fn conversions(&self) -> u64 {
        self.rounds() as u64 * u64::from(self.count)
    }

    /// The junction's input for the k-th input of a round.
    pub fn junction(&self, round: usize, k: u32) -> i32 {
        if self.cycled { self.junctions[k as usize % self.junctions.len()] } else { self.junctions[round] }
    }

    /// What the blocks must come to, round by round.
    pub fn expected(&self, program: &IntegerProgram) -> Vec<u32> {
        let blocks = self.count / self.block;
        let wide = program.wide_result();
        (0..self.rounds() as u32 * blocks)
            .into_par_iter()
            .map(|b| {
                let (round, first) = ((b / blocks) as usize, (b % blocks) * self.block);
                (first..first + self.block).fold(BASIS, |hash, k| {
                    let outcome = program.evaluate(self.input(k), self.junction(round, k), &program.nominal);
                    hashed(hash, outcome, wide)
                })
            })
            .collect()
    }

    /// First input and junction of a block, for messages.
    pub fn place(&self, index: usize) -> String {
        let blocks = (self.count / self.block) as usize;
        let (round, first) = (index / blocks, (index % blocks) as u32 * self.block);
        let last = first + self.block - 1;
        let at = if self.cycled {
            "at all junction inputs".to_owned()
        } else {
            format!("at junction input {}", self.junctions[round])
        };
        format!("inputs {} to {} {at}", self.input(first), self.input(last))
    }
}

fn junctions(firmware: &Firmware) -> Vec<i32> {
    let mut list = firmware.junctions();
    if let Some(junction) = &firmware.program.junction {
        let outside = match firmware.program.junction_input {
            JunctionInput::Temperature => (junction.range.1 + 1).min(i32::from(i16::MAX)),
            _ => junction.range.1 + 1,
        };
        list.push(outside);
    }
    list
}

/// One result into the hash: state, then the number's bytes, low first.
pub const fn hashed(mut hash: u32, outcome: Outcome, wide: bool) -> u32 {
    hash = (hash ^ outcome.state as u32).wrapping_mul(PRIME);
    let value = outcome.value as u32;
    let bytes = if wide { 4 } else { 2 };
    let mut i = 0;
    while i < bytes {
        hash = (hash ^ ((value >> (8 * i)) & 0xff)).wrapping_mul(PRIME);
        i += 1;
    }
    hash
}

/// Constants with one bit of the gain changed and the check left: must be refused.
pub const fn spoiled(constants: &Constants) -> Constants {
    Constants { gain: constants.gain ^ 1, ..*constants }
}

/// Codes that the filter is run on: many windows, not more than a short while in an emulator, but two results in any case.
pub fn filter_codes(firmware: &Firmware) -> u32 {
    firmware.filter.map_or(0, windows)
}

/// The same for a filter.
fn windows(filter: FilterProgram) -> u32 {
    let each = filter.codes_per_result();
    each.saturating_mul(20).clamp(2000, 60_000).max(filter.codes_to_settle().saturating_add(each))
}

/// The k-th of them: a hash of its number, the ends of the converter among them.
pub const fn filter_code(firmware: &Firmware, k: u32) -> u32 {
    match k % 97 {
        0 => (1 << firmware.program.bits) - 1,
        1 => 0,
        _ => k.wrapping_mul(CHOOSER) >> (32 - firmware.program.bits),
    }
}

/// The same as an expression of C or Rust.
pub(super) fn filter_code_text(firmware: &Firmware, multiply: &str, suffix: &str) -> String {
    let bits = firmware.program.bits;
    let (top, shift) = ((1u32 << bits) - 1, 32 - bits);
    let product = if multiply == "k *" {
        format!("(uint32_t)(k * {CHOOSER}{suffix})")
    } else {
        format!("{multiply}({CHOOSER})")
    };
    if multiply == "k *" {
        format!("k % 97u == 0u ? {top}{suffix} : k % 97u == 1u ? 0{suffix} : {product} >> {shift}")
    } else {
        format!("match k % 97 {{ 0 => {top}, 1 => 0, _ => {product} >> {shift} }}")
    }
}

/// What the filter's results on those codes are hashed to.
pub fn filter_expected(firmware: &Firmware) -> Option<u32> {
    let filter = firmware.filter?;
    let shift = firmware.program.aligned_bits - firmware.program.bits;
    let mut state = crate::filter::FilterState::default();
    let hash = (0..filter_codes(firmware))
        .filter_map(|k| filter.add(&mut state, filter_code(firmware, k) << shift))
        .flat_map(u32::to_le_bytes)
        .fold(BASIS, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(PRIME));
    Some(hash)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filter::FilterState;
    use crate::states::State;

    /// A proof of a filter that never gives a result would prove nothing: counted on the filter itself.
    #[test]
    fn every_filter_gives_results_in_its_window() {
        for filter in [
            FilterProgram::Mean { count: 50 },
            FilterProgram::Mean { count: 70_000 },
            FilterProgram::FirstOrder { share: 12 },
            FilterProgram::Sinc { order: 3, decimation: 40_000 },
            FilterProgram::Sinc { order: 4, decimation: 64 },
        ] {
            let codes = windows(filter);
            let mut state = FilterState::default();
            let results = (0..codes).filter(|k| filter.add(&mut state, k % 4096).is_some()).count();
            assert!(results >= 2, "{filter:?}: {results} results of {codes} codes");
        }
    }

    /// What the page claims: each byte by itself changes the hash, whatever it was before.
    #[test]
    fn a_single_different_byte_always_shows() {
        for start in 0..64u32 {
            let start = start.wrapping_mul(CHOOSER) ^ BASIS;
            for (place, wide) in (0..2).map(|p| (p, false)).chain((0..4).map(|p| (p, true))) {
                let value = |byte: i32| Outcome { state: State::InRange, value: byte << (8 * place) };
                let mut seen: Vec<u32> = (0..256).map(|byte| hashed(start, value(byte), wide)).collect();
                seen.sort_unstable();
                seen.dedup();
                assert_eq!(seen.len(), 256, "byte {place} from {start:08x}");
            }
        }
    }
}
