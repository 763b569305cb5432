//! Test vectors: inputs with the state, the result and the exact temperature, for a test on the target itself.

use std::fmt::Write as _;

use crate::firmware::Firmware;
use crate::states::State;

/// Codes at each of the junction's inputs, spread over the converter's range.
const CODES: u32 = 64;

/// CSV with a head line. Codes are the converter's own; `exact_celsius` is empty without a temperature.
pub fn csv(firmware: &Firmware) -> String {
    let program = &firmware.program;
    let top = (1u32 << program.bits) - 1;
    let shift = program.aligned_bits - program.bits;
    let mut out = String::from("code,junction,state,result,exact_celsius\n");
    for junction in firmware.junctions() {
        let emf = firmware.inverse.junction_emf(f64::from(junction)).unwrap_or(f64::NAN);
        let mut codes: Vec<u32> =
            (0..CODES).map(|k| (u64::from(top) * u64::from(k) / u64::from(CODES - 1)) as u32).collect();
        codes.dedup();
        for code in codes {
            let aligned = code << shift;
            let outcome = program.evaluate(aligned, junction, &program.nominal);
            let exact = if outcome.state == State::InRange {
                let sum = firmware.inverse.thermocouple_volts(f64::from(aligned)) + emf;
                format!("{:.5}", firmware.inverse.celsius(sum))
            } else {
                String::new()
            };
            let _ = writeln!(out, "{code},{junction},{},{},{exact}", outcome.state as u8, outcome.value);
        }
    }
    out
}
