//! Constants that can be changed in place, in memory that keeps them: gain and offset in the firmware's own steps,
//! a version of their layout, and a check value over all of it.

use icepoint_chain::chain::Correction;

use crate::inverse::Inverse;
use crate::states::Thresholds;

/// Version of the layout of the constants.
pub const VERSION: u16 = 1;

/// Constants of integer firmware: `x = (code·gain >> shift) + offset + junction`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Constants {
    /// [`VERSION`].
    pub version: u16,
    /// Steps of emf over the converter's whole span, ÷ 256.
    pub gain: u16,
    /// Steps of emf.
    pub offset: i32,
    /// CRC-16 of the three above.
    pub check: u16,
}

/// CRC-16 with polynomial 0x1021, start 0xFFFF, not reflected (ITU-T V.41's polynomial; the variant that gives 0x29B1
/// for "123456789").
///
/// ```
/// assert_eq!(icepoint_firmware::calibration::crc16(b"123456789"), 0x29b1);
/// ```
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xffff, |crc, byte| step(crc, *byte))
}

/// One byte: the shifts of the polynomial in closed form; the generated code shifts bit by bit, which is shorter.
const fn step(crc: u16, byte: u8) -> u16 {
    let mut x = (crc >> 8) as u8 ^ byte;
    x ^= x >> 4;
    let x = x as u16;
    (crc << 8) ^ (x << 12) ^ (x << 5) ^ x
}

impl Constants {
    /// Constants with their check value.
    pub fn new(gain: u16, offset: i32) -> Self {
        let constants = Self { version: VERSION, gain, offset, check: 0 };
        Self { check: constants.expected_check(), ..constants }
    }

    /// What `check` must be: over version, gain and offset as they lie in memory, low bytes first.
    pub fn expected_check(&self) -> u16 {
        let mut bytes = [0; 8];
        bytes[..2].copy_from_slice(&self.version.to_le_bytes());
        bytes[2..4].copy_from_slice(&self.gain.to_le_bytes());
        bytes[4..].copy_from_slice(&self.offset.to_le_bytes());
        crc16(&bytes)
    }

    /// The same on a machine that has high bytes first.
    pub fn big_endian_check(&self) -> u16 {
        let mut bytes = [0; 8];
        bytes[..2].copy_from_slice(&self.version.to_be_bytes());
        bytes[2..4].copy_from_slice(&self.gain.to_be_bytes());
        bytes[4..].copy_from_slice(&self.offset.to_be_bytes());
        crc16(&bytes)
    }

    /// Whether the firmware takes them.
    pub fn valid(&self) -> bool {
        self.version == VERSION && self.check == self.expected_check()
    }

    /// Constants of a gain and an offset, rounded; `None` if they don't fit their registers.
    pub fn rounded(gain: f64, offset: f64) -> Option<Self> {
        let (gain, offset) = (libm::round(gain), libm::round(offset));
        ((0.0..=65535.0).contains(&gain) && offset.abs() < 2e9).then(|| Self::new(gain as u16, offset as i32))
    }
}

/// The constants for a correction `a + b·v` in volts of the chain's own rule: a gain of `gain·b` and an offset of
/// `fixed + scaled·b + per_volt·a`, in the units of the arithmetic that takes them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Formula {
    /// Gain, times b.
    pub gain: f64,
    /// Offset.
    pub fixed: f64,
    /// Offset, times b.
    pub scaled: f64,
    /// Offset for a volt of a.
    pub per_volt: f64,
}

impl Formula {
    /// From the nominal gain and offset, the offset that stands for 0 V of the thermocouple, and the offset of a volt of
    /// emf. The correction is absolute: what the chain file corrects already is taken out of the nominal constants.
    pub fn new(inverse: &Inverse, nominal: (f64, f64), zero: f64, per_volt: f64) -> Self {
        let built_in = inverse.correction();
        // A line's volts are those of the output.
        let (offset, gain) = if inverse.line() { inverse.nominal_transfer() } else { (0.0, 1.0) };
        let own = per_volt / gain;
        Self {
            gain: nominal.0 / built_in.gain,
            fixed: zero - offset * own,
            scaled: (nominal.1 - zero - built_in.offset * per_volt) / built_in.gain + offset * own,
            per_volt: own,
        }
    }

    /// Gain and offset for a correction.
    pub fn constants(&self, found: Correction) -> (f64, f64) {
        (self.gain * found.gain, self.fixed + self.scaled * found.gain + self.per_volt * found.offset)
    }
}

/// How far constants in place may go until the range asked no longer lies between the codes at which states are told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Least and most offset, V of the chain's own rule, at a gain of 1.
    pub offset: (f64, f64),
    /// Least and most gain, at an offset of 0.
    pub gain: (f64, f64),
}

impl Reach {
    /// `most`: the gain at which the register ends.
    pub fn new(inverse: &Inverse, thresholds: &Thresholds, most: f64) -> Self {
        let need = &inverse.chain().need;
        let seen = |hot, board| inverse.seen(hot, board) - inverse.compensated_emf();
        let asked = (seen(need.hot.0, need.board.1), seen(need.hot.1, need.board.0));
        let read = |counted: u32| inverse.uncorrected_volts(f64::from(thresholds.counted(counted)));
        let readable = thresholds.readable();
        // Where the end of the range sits on the converter's own, it may stay there.
        let designed = inverse.correction();
        let raw = |v: f64| (v - designed.offset) / designed.gain;
        let limits = (read(readable.0).min(raw(asked.0)), read(readable.1).max(raw(asked.1)));
        // A line's gain turns its output about 0 V, which is not the thermocouple's.
        let (at_zero, per_volt) = if inverse.line() { inverse.nominal_transfer() } else { (0.0, 1.0) };
        let pivot = at_zero / per_volt;
        let ends = [(asked.1 - limits.1) * per_volt, (asked.0 - limits.0) * per_volt];
        let (mut least, mut most) = (0.0f64, most);
        // The low end must stay above its limit and the high end below: gain·(limit + pivot) against end + pivot.
        for (limit, end, upper) in [(limits.0, asked.0, true), (limits.1, asked.1, false)] {
            let gain = (end + pivot) / (limit + pivot);
            match (limit + pivot > 0.0) == upper {
                _ if limit + pivot == 0.0 => {}
                true => most = most.min(gain),
                false => least = least.max(gain),
            }
        }
        Self { offset: (ends[0].min(ends[1]), ends[0].max(ends[1])), gain: (least, most) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_closed_form_is_the_shift_register() {
        let slow = |bytes: &[u8]| {
            bytes.iter().fold(0xffff_u16, |mut crc, byte| {
                crc ^= u16::from(*byte) << 8;
                for _ in 0..8 {
                    crc = if crc & 0x8000 != 0 { (crc << 1) ^ 0x1021 } else { crc << 1 };
                }
                crc
            })
        };
        let mut bytes = Vec::new();
        for k in 0..2000u32 {
            bytes.push((k.wrapping_mul(2_654_435_761) >> 24) as u8);
            assert_eq!(crc16(&bytes), slow(&bytes));
        }
    }

    #[test]
    fn one_changed_bit_is_seen() {
        let good = Constants::new(51_999, -1234);
        assert!(good.valid());
        for bit in 0..32 {
            assert!(!Constants { offset: good.offset ^ (1 << bit), ..good }.valid());
            assert!(!Constants { gain: good.gain ^ (1 << (bit % 16)), ..good }.valid());
            assert!(!Constants { check: good.check ^ (1 << (bit % 16)), ..good }.valid());
            assert!(!Constants { version: good.version ^ (1 << (bit % 16)), ..good }.valid());
        }
    }
}
