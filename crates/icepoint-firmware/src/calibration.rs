//! Constants that can be changed in place, in memory that keeps them: gain and offset in the firmware's own steps,
//! a version of their layout, and a check value over all of it.

use icepoint_chain::chain::Correction;

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

    /// The constants after a further correction `v' = offset + gain·v` of the thermocouple's voltage (V), where
    /// `steps` are steps per volt and `zero_steps` the steps that stand for the thermocouple's 0 V without it.
    ///
    /// `None` if they don't fit their registers.
    pub fn corrected(&self, correction: Correction, steps: f64, zero_steps: f64) -> Option<Self> {
        let gain = libm::round(f64::from(self.gain) * correction.gain);
        // Steps of the thermocouple's part alone: offset − zero is gain·(zero code), and scales with the gain.
        let offset = libm::round(
            zero_steps + (f64::from(self.offset) - zero_steps) * correction.gain + correction.offset * steps,
        );
        ((0.0..=65535.0).contains(&gain) && offset.abs() < 2e9).then(|| Self::new(gain as u16, offset as i32))
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
