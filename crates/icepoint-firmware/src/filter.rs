//! The digital filter that the chain's budget assumed, in whole numbers: what a code is averaged to before it becomes
//! a temperature.
//!
//! **In, out.** Codes of the converter in, in the rhythm of its rate; aligned inputs out, so that what averaging gains
//! below one code is kept. Every sum is exact; the only rounding is that of the result, to the nearest aligned step
//! (and, for the first order, of its state to 1/65536 of one).
//!
//! **Mean**: blocks of whole mains periods, a result for each block. **First order**: `y += (x − y)·a/65536`, a result
//! for every code. **Sinc**: means in a row, decimated, by running sums that wrap without harm (E. B. Hogenauer, *An
//! economical class of digital filters for decimation and interpolation*, IEEE Trans. ASSP-29, 1981, from memory).

use icepoint_chain::chain::{Chain, DigitalFilter};

use crate::refusal::Refusal;

/// The filter as whole numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FilterProgram {
    /// Mean of `count` codes.
    Mean {
        /// Codes in a block.
        count: u32,
    },
    /// First order.
    FirstOrder {
        /// `a`: share of the difference taken at each code, times 65536.
        share: u16,
    },
    /// Means in a row.
    Sinc {
        /// Number of means.
        order: u32,
        /// Codes for one result.
        decimation: u32,
    },
}

/// State of the filter, as in the generated code.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FilterState {
    sums: [u64; 4],
    before: [u64; 4],
    count: u32,
    settled: u32,
}

impl FilterProgram {
    /// The filter of a chain; `None` if its budget assumes none.
    ///
    /// # Errors
    /// [`Refusal`] for a filter whose sums outgrow 64 bits or whose share is below 1/65536.
    pub fn new(chain: &Chain, aligned_bits: u32) -> Result<Option<Self>, Refusal> {
        let whole = |x: f64| libm::round(x).clamp(1.0, 4e9) as u32;
        let program = match chain.filter {
            DigitalFilter::None => return Ok(None),
            DigitalFilter::Mean { periods, rate } => {
                Self::Mean { count: whole(f64::from(periods) * rate / chain.need.mains) }
            }
            DigitalFilter::FirstOrder { time_constant, rate } => {
                let share = libm::round(-libm::expm1(-1.0 / (rate * time_constant)) * 65536.0);
                if share < 1.0 {
                    return Err(too_long("its time constant"));
                }
                Self::FirstOrder { share: share.min(65535.0) as u16 }
            }
            DigitalFilter::Sinc { order, rate, output_rate } => {
                Self::Sinc { order: order.clamp(1, 4), decimation: whole(rate / output_rate) }
            }
        };
        if program.sum_bits(aligned_bits) > 64.0 {
            return Err(too_long("its window"));
        }
        Ok(Some(program))
    }

    /// Bits of its largest sum.
    fn sum_bits(self, aligned_bits: u32) -> f64 {
        let grown = match self {
            Self::Mean { count } => libm::log2(f64::from(count) + 1.0),
            Self::FirstOrder { .. } => 16.0,
            Self::Sinc { order, decimation } => f64::from(order) * libm::log2(f64::from(decimation)) + 1.0,
        };
        f64::from(aligned_bits) + grown
    }

    /// Whether its sums need 64 bits.
    pub fn wide(self, aligned_bits: u32) -> bool {
        self.sum_bits(aligned_bits) > 32.0
    }

    /// Takes one code, aligned; gives a result when there is one. Exactly as the generated code does it.
    pub fn add(self, state: &mut FilterState, aligned: u32) -> Option<u32> {
        match self {
            Self::Mean { count } => {
                state.sums[0] += u64::from(aligned);
                state.count += 1;
                if state.count < count {
                    return None;
                }
                let mean = (state.sums[0] + u64::from(count / 2)) / u64::from(count);
                (state.sums[0], state.count) = (0, 0);
                Some(mean as u32)
            }
            Self::FirstOrder { share } => {
                let target = u64::from(aligned) << 16;
                if state.count == 0 {
                    // The first code starts it: no slow rise from zero.
                    (state.count, state.sums[0]) = (1, target);
                }
                let y = state.sums[0];
                let part = |d: u64| (d >> 16) * u64::from(share) + (((d & 0xffff) * u64::from(share)) >> 16);
                state.sums[0] = if target >= y { y + part(target - y) } else { y - part(y - target) };
                let y = state.sums[0];
                Some(((y >> 16) + ((y >> 15) & 1)) as u32)
            }
            Self::Sinc { order, decimation } => {
                let n = order as usize;
                let mut value = u64::from(aligned);
                for sum in state.sums.iter_mut().take(n) {
                    *sum = sum.wrapping_add(value);
                    value = *sum;
                }
                state.count += 1;
                if state.count < decimation {
                    return None;
                }
                state.count = 0;
                for before in state.before.iter_mut().take(n) {
                    let difference = value.wrapping_sub(*before);
                    *before = value;
                    value = difference;
                }
                if state.settled < order {
                    state.settled += 1;
                }
                if state.settled < order {
                    return None;
                }
                let gain = self.gain();
                Some(((value + gain / 2) / gain) as u32)
            }
        }
    }

    /// What the result is divided by.
    pub fn gain(self) -> u64 {
        match self {
            Self::Mean { count } => u64::from(count),
            Self::FirstOrder { .. } => 65536,
            Self::Sinc { order, decimation } => u64::from(decimation).pow(order),
        }
    }

    /// Codes for one result.
    pub const fn codes_per_result(self) -> u32 {
        match self {
            Self::Mean { count } => count,
            Self::FirstOrder { .. } => 1,
            Self::Sinc { decimation, .. } => decimation,
        }
    }

    /// Codes for the first result.
    pub const fn codes_to_settle(self) -> u32 {
        match self {
            Self::Sinc { order, decimation } => decimation.saturating_mul(order),
            Self::Mean { .. } | Self::FirstOrder { .. } => self.codes_per_result(),
        }
    }
}

fn too_long(what: &str) -> Refusal {
    Refusal::new(
        "firmware.filter_too_long",
        format!("{what} is so long against the rate that its sums outgrow 64 bits"),
        "a lower sample_rate in [filter]",
    )
}

/// The sampling schedule in words; ASCII but for the degree.
pub fn schedule(chain: &Chain, program: Option<FilterProgram>) -> String {
    let rate = chain.filter.rate();
    let mains = chain.need.mains;
    match program {
        None => "No digital filter: each code is converted as it comes.".to_owned(),
        Some(FilterProgram::Mean { count }) => {
            let periods = f64::from(count) * mains / rate;
            format!(
                "One code every {:.4} ms; the mean of {count} codes spans {:.3} ms, {periods:.4} periods of {mains} Hz; a result every {:.3} ms.",
                1e3 / rate,
                1e3 * f64::from(count) / rate,
                1e3 * f64::from(count) / rate
            )
        }
        Some(FilterProgram::FirstOrder { share }) => {
            let real = -1.0 / (rate * libm::log1p(-f64::from(share) / 65536.0));
            format!(
                "One code every {:.4} ms; first order with a share of {share}/65536, a time constant of {:.4} s; a result for every code.",
                1e3 / rate,
                real
            )
        }
        Some(FilterProgram::Sinc { order, decimation }) => format!(
            "One code every {:.4} ms; {order} means of {decimation} codes in a row; a result every {:.3} ms, the first after {order} of them. \
             A converter that decimates by itself has this filter inside: then leave it out.",
            1e3 / rate,
            1e3 * f64::from(decimation) / rate
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use icepoint_chain::digital;

    /// Aligned steps by which rounding of input and result may move an amplitude.
    const ROUNDING: f64 = 1.5;
    const MIDDLE: f64 = 32768.0;
    const SIZE: f64 = 30000.0;

    fn cases() -> Vec<(DigitalFilter, FilterProgram)> {
        vec![
            (DigitalFilter::Mean { periods: 1, rate: 1000.0 }, FilterProgram::Mean { count: 20 }),
            (DigitalFilter::Mean { periods: 5, rate: 500.0 }, FilterProgram::Mean { count: 50 }),
            (
                DigitalFilter::FirstOrder { time_constant: 0.1, rate: 1000.0 },
                FilterProgram::FirstOrder { share: 652 },
            ),
            (
                DigitalFilter::Sinc { order: 3, rate: 1000.0, output_rate: 50.0 },
                FilterProgram::Sinc { order: 3, decimation: 20 },
            ),
            (
                DigitalFilter::Sinc { order: 4, rate: 4000.0, output_rate: 10.0 },
                FilterProgram::Sinc { order: 4, decimation: 400 },
            ),
        ]
    }

    /// Amplitude of the results of a sine, largest over many phases, in aligned steps.
    fn amplitude(filter: DigitalFilter, program: FilterProgram, hertz: f64) -> f64 {
        let mut largest = 0.0f64;
        for phase in 0..24 {
            let mut state = FilterState::default();
            let results = 40 * program.codes_per_result().max(100);
            for k in 0..results {
                let angle =
                    core::f64::consts::TAU * (hertz * f64::from(k) / filter.rate() + f64::from(phase) / 24.0);
                let input = libm::round(MIDDLE + SIZE * libm::sin(angle)) as u32;
                let out = program.add(&mut state, input);
                // The first order needs its time to forget how it began.
                if let Some(out) = out
                    && k > results / 2
                {
                    largest = largest.max((f64::from(out) - MIDDLE).abs());
                }
            }
        }
        largest
    }

    /// The generated arithmetic passes of a sine what the budget's formula says: at the mains, 1 % beside it, and far
    /// below and above.
    #[test]
    fn response_is_that_of_the_budget() {
        for (filter, program) in cases() {
            for hertz in [50.0, 49.5, 50.5, 7.0, 23.0, 60.0, 170.0] {
                let expected = SIZE * digital::magnitude(filter, 50.0, hertz);
                let got = amplitude(filter, program, hertz);
                // Phases are 24 to a turn: cos(π/24) of the amplitude is seen at least when results are few a period.
                let allowed = ROUNDING + 0.012 * expected;
                assert!(
                    (got - expected).abs() <= allowed,
                    "{program:?} at {hertz} Hz: {got} steps, budget {expected}"
                );
            }
        }
    }

    /// A step arrives whole, and within the time that the budget's formula gives.
    #[test]
    fn a_step_settles_in_the_time_of_the_budget() {
        for (filter, program) in cases() {
            let mut state = FilterState::default();
            let before = 8 * program.codes_per_result().max(100);
            for _ in 0..before {
                program.add(&mut state, 1000);
            }
            let to = 1e-3;
            let mut last_bad = 0;
            for k in 1..=200 * program.codes_per_result().max(100) {
                if let Some(out) = program.add(&mut state, 61000)
                    && (61000.0 - f64::from(out)).abs() > to * 60000.0
                {
                    last_bad = k;
                }
            }
            let settled = f64::from(last_bad + program.codes_per_result()) / filter.rate();
            let expected = digital::settling(filter, 50.0, to);
            let slack = 1.5 * f64::from(program.codes_per_result()) / filter.rate() + 0.01 * expected;
            assert!(settled <= expected + slack, "{program:?}: {settled} s, budget {expected} s");
            for _ in 0..before * 40 {
                program.add(&mut state, 61000);
            }
            let end = (0..program.codes_per_result()).filter_map(|_| program.add(&mut state, 61000)).last();
            assert!(end.is_some_and(|e| e.abs_diff(61000) <= 1), "{program:?} ends at {end:?}");
        }
    }

    #[test]
    fn constant_codes_come_out_as_they_are() {
        for (_, program) in cases() {
            for code in [0, 1, 4095 << 4, 65535] {
                let mut state = FilterState::default();
                let outs: Vec<u32> = (0..5000).filter_map(|_| program.add(&mut state, code)).collect();
                assert!(!outs.is_empty() && outs.iter().all(|out| *out == code), "{program:?} {code}");
            }
        }
    }
}
