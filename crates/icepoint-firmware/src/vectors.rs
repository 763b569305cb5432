//! Test vectors: inputs as they are read, with the state, the result and the exact temperature, for a test on the target itself.

use std::fmt::Write as _;

use crate::firmware::Firmware;
use crate::states::State;
use crate::walk;

/// Codes at each of the junction's inputs, spread over the converter's range.
const CODES: u32 = 64;

/// CSV with a head line. Codes are the converter's own, the junction's too; `exact_celsius` is empty without a temperature.
pub fn csv(firmware: &Firmware) -> String {
    let program = &firmware.program;
    let top = (1u32 << program.bits) - 1;
    let mut out = String::from("code,junction,state,result,exact_celsius\n");
    for junction in walk::junction_grid(program.junction_read(), firmware.junctions().len() as u32) {
        let aligned = f64::from(program.junction_aligned(junction));
        let emf = firmware.inverse.junction_emf(aligned).unwrap_or(f64::NAN);
        let mut codes: Vec<u32> =
            (0..CODES).map(|k| (u64::from(top) * u64::from(k) / u64::from(CODES - 1)) as u32).collect();
        codes.dedup();
        for code in codes {
            let aligned = code << program.alignment();
            let outcome = program.whole(code, junction, &program.nominal);
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
