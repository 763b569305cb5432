//! The kinds of quantity, and the symbols that each of them accepts.

use serde::Serialize;

/// What a quantity is a quantity of; the SI value that [`parse`](super::parse) returns is in the unit named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub enum Unit {
    /// Voltage, V.
    Volt,
    /// Current, A.
    Ampere,
    /// Resistance, Ω.
    Ohm,
    /// Capacitance, F.
    Farad,
    /// Inductance, H.
    Henry,
    /// Power, W.
    Watt,
    /// Temperature, °C (ITS-90).
    Celsius,
    /// Difference of temperatures, K.
    Kelvin,
    /// Frequency, Hz.
    Hertz,
    /// Time, s.
    Second,
    /// Length, m.
    Metre,
    /// Pressure, Pa.
    Pascal,
    /// Diameter of a conductor, m; also AWG numbers and cross-sections.
    WireDiameter,
    /// A plain ratio, %, ppm.
    Ratio,
    /// A gain or a rejection as a plain ratio; also dB of voltage.
    Decibel,
    /// Relative change with temperature, 1/K.
    PerKelvin,
    /// Voltage per difference of temperature, V/K.
    VoltPerKelvin,
    /// Difference of temperature per difference of temperature, K/K.
    KelvinPerKelvin,
    /// Thermal resistance, K/W.
    KelvinPerWatt,
    /// Voltage per voltage, V/V.
    VoltPerVolt,
    /// Voltage noise density, V/√Hz.
    VoltPerRootHertz,
    /// Current noise density, A/√Hz.
    AmperePerRootHertz,
    /// Resistance per length, Ω/m.
    OhmPerMetre,
    /// Resolution, bit.
    Bit,
    /// Least significant bits.
    Lsb,
    /// A plain number of things.
    Count,
}

/// How the number before a symbol becomes an SI number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scale {
    /// Times ten to this power, exactly rounded.
    Ten(i32),
    /// Times a factor that is not a power of ten.
    Times(f64),
    /// °F to °C.
    Fahrenheit,
    /// dB of voltage to a ratio.
    Decibel,
    /// A cross-section in mm² to the diameter of a round conductor in m.
    SquareMillimetre,
}

/// One accepted symbol.
#[derive(Debug, Clone, Copy)]
pub(super) struct Symbol {
    pub text: &'static str,
    pub scale: Scale,
    /// Whether SI prefixes may stand before it.
    pub prefixed: bool,
}

const fn si(text: &'static str) -> Symbol {
    Symbol { text, scale: Scale::Ten(0), prefixed: true }
}

const fn ten(text: &'static str, exponent: i32) -> Symbol {
    Symbol { text, scale: Scale::Ten(exponent), prefixed: false }
}

const fn other(text: &'static str, scale: Scale) -> Symbol {
    Symbol { text, scale, prefixed: false }
}

/// SI prefixes with their power of ten. Both code points of µ and the letter u are accepted.
pub(super) const PREFIXES: &[(&str, i32)] = &[
    ("f", -15),
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("µ", -6),
    ("μ", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
    ("T", 12),
];

impl Unit {
    /// Every unit, in the order of the documentation.
    pub const ALL: &'static [Self] = &[
        Self::Volt,
        Self::Ampere,
        Self::Ohm,
        Self::Farad,
        Self::Henry,
        Self::Watt,
        Self::Celsius,
        Self::Kelvin,
        Self::Hertz,
        Self::Second,
        Self::Metre,
        Self::Pascal,
        Self::WireDiameter,
        Self::Ratio,
        Self::Decibel,
        Self::PerKelvin,
        Self::VoltPerKelvin,
        Self::KelvinPerKelvin,
        Self::KelvinPerWatt,
        Self::VoltPerVolt,
        Self::VoltPerRootHertz,
        Self::AmperePerRootHertz,
        Self::OhmPerMetre,
        Self::Bit,
        Self::Lsb,
        Self::Count,
    ];

    /// What it measures, with its article: "a resistance".
    pub fn noun(self) -> &'static str {
        match self {
            Self::Volt => "a voltage",
            Self::Ampere => "a current",
            Self::Ohm => "a resistance",
            Self::Farad => "a capacitance",
            Self::Henry => "an inductance",
            Self::Watt => "a power",
            Self::Celsius => "a temperature in °C",
            Self::Kelvin => "a difference of temperatures in K",
            Self::Hertz => "a frequency",
            Self::Second => "a time",
            Self::Metre => "a length",
            Self::Pascal => "a pressure",
            Self::WireDiameter => "a diameter of wire",
            Self::Ratio => "a ratio",
            Self::Decibel => "a gain or rejection",
            Self::PerKelvin => "a temperature coefficient",
            Self::VoltPerKelvin => "a voltage per kelvin",
            Self::KelvinPerKelvin => "a drift in kelvin per kelvin",
            Self::KelvinPerWatt => "a thermal resistance",
            Self::VoltPerVolt => "a regulation in volts per volt",
            Self::VoltPerRootHertz => "a voltage noise density",
            Self::AmperePerRootHertz => "a current noise density",
            Self::OhmPerMetre => "a resistance per length",
            Self::Bit => "a number of bits",
            Self::Lsb => "a number of LSB",
            Self::Count => "a number",
        }
    }

    /// A spelling that works, for messages.
    pub fn example(self) -> &'static str {
        match self {
            Self::Volt => "2.5 V",
            Self::Ampere => "200 pA",
            Self::Ohm => "4.7 kΩ",
            Self::Farad => "100 nF",
            Self::Henry => "10 µH",
            Self::Watt => "250 mW",
            Self::Celsius => "25 °C",
            Self::Kelvin => "0.5 K",
            Self::Hertz => "50 Hz",
            Self::Second => "5 s",
            Self::Metre => "4 m",
            Self::Pascal => "987 hPa",
            Self::WireDiameter => "AWG 20",
            Self::Ratio => "0.1 %",
            Self::Decibel => "120 dB",
            Self::PerKelvin => "50 ppm/K",
            Self::VoltPerKelvin => "10 mV/K",
            Self::KelvinPerKelvin => "5 mK/K",
            Self::KelvinPerWatt => "400 K/W",
            Self::VoltPerVolt => "100 µV/V",
            Self::VoltPerRootHertz => "50 nV/√Hz",
            Self::AmperePerRootHertz => "10 fA/√Hz",
            Self::OhmPerMetre => "0.8 Ω/m",
            Self::Bit => "12 bit",
            Self::Lsb => "2 LSB",
            Self::Count => "32",
        }
    }

    /// The symbol that [`format`](super::format()) writes after the prefix.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Ratio => "%",
            Self::Decibel => "dB",
            Self::PerKelvin => "ppm/K",
            Self::WireDiameter => "m",
            Self::Count => "",
            _ => self.symbols()[0].text,
        }
    }

    /// Whether SI prefixes alone are understood, as on parts: "4k7", "100n".
    pub(super) fn takes_bare_prefix(self) -> bool {
        matches!(self, Self::Ohm | Self::Farad | Self::Henry)
    }

    /// Whether a number may stand without a unit.
    pub(super) fn takes_bare_number(self) -> bool {
        matches!(self, Self::Ratio | Self::Decibel | Self::Bit | Self::Count)
    }

    pub(super) fn symbols(self) -> &'static [Symbol] {
        match self {
            Self::Volt => const { &[si("V"), si("volt"), si("volts")] },
            Self::Ampere => const { &[si("A")] },
            Self::Ohm => {
                const {
                    &[
                        si("Ω"),
                        si("\u{2126}"),
                        si("ohm"),
                        si("Ohm"),
                        si("ohms"),
                        si("Ohms"),
                        ten("KΩ", 3),
                        ten("R", 0),
                    ]
                }
            }
            Self::Farad => const { &[si("F")] },
            Self::Henry => const { &[si("H")] },
            Self::Watt => const { &[si("W")] },
            Self::Celsius => {
                const {
                    &[
                        ten("°C", 0),
                        ten("degC", 0),
                        ten("deg C", 0),
                        ten("\u{2103}", 0),
                        other("°F", Scale::Fahrenheit),
                        other("degF", Scale::Fahrenheit),
                        other("deg F", Scale::Fahrenheit),
                        other("\u{2109}", Scale::Fahrenheit),
                    ]
                }
            }
            Self::Kelvin => {
                const {
                    &[
                        si("K"),
                        ten("°C", 0),
                        ten("degC", 0),
                        ten("\u{2103}", 0),
                        other("°F", Scale::Times(5.0 / 9.0)),
                        other("degF", Scale::Times(5.0 / 9.0)),
                    ]
                }
            }
            Self::Hertz => const { &[si("Hz")] },
            Self::Second => {
                const { &[si("s"), other("min", Scale::Times(60.0)), other("h", Scale::Times(3600.0))] }
            }
            Self::Metre => const { LENGTHS },
            // Conventional millimetre and inch of mercury: ISO 80000-4:2006, annex C, from memory.
            Self::Pascal => {
                const {
                    &[
                        si("Pa"),
                        ten("hPa", 2),
                        ten("mbar", 2),
                        ten("bar", 5),
                        other("mmHg", Scale::Times(133.322_387_415)),
                        other("inHg", Scale::Times(3_386.388_640_341)),
                    ]
                }
            }
            Self::WireDiameter => {
                const {
                    &[
                        si("m"),
                        other("mm²", Scale::SquareMillimetre),
                        other("mm2", Scale::SquareMillimetre),
                        other("in", Scale::Times(0.0254)),
                    ]
                }
            }
            Self::Ratio => const { &[ten("%", -2), ten("‰", -3), ten("ppm", -6), ten("ppb", -9)] },
            Self::Decibel => {
                const { &[other("dB", Scale::Decibel), ten("V/V", 0), ten("V/mV", 3), ten("V/µV", 6)] }
            }
            Self::PerKelvin => {
                const {
                    &[
                        ten("ppm/K", -6),
                        ten("ppm/°C", -6),
                        ten("ppm/degC", -6),
                        ten("%/K", -2),
                        ten("%/°C", -2),
                        ten("ppb/K", -9),
                        ten("/K", 0),
                        ten("1/K", 0),
                    ]
                }
            }
            Self::VoltPerKelvin => const { &[si("V/K"), si("V/°C"), si("V/degC")] },
            Self::KelvinPerKelvin => const { &[si("K/K"), si("K/°C"), ten("%", -2)] },
            Self::KelvinPerWatt => const { &[si("K/W"), si("°C/W"), ten("K/mW", 3), ten("°C/mW", 3)] },
            Self::VoltPerVolt => const { &[si("V/V"), ten("ppm/V", -6), ten("%/V", -2)] },
            Self::VoltPerRootHertz => {
                const { &[si("V/√Hz"), si("V/rtHz"), si("V/sqrt(Hz)"), si("V/Hz^0.5")] }
            }
            Self::AmperePerRootHertz => {
                const { &[si("A/√Hz"), si("A/rtHz"), si("A/sqrt(Hz)"), si("A/Hz^0.5")] }
            }
            Self::OhmPerMetre => const { &[si("Ω/m"), si("\u{2126}/m"), si("ohm/m"), si("Ohm/m")] },
            Self::Bit => const { &[ten("bit", 0), ten("bits", 0)] },
            Self::Lsb => const { &[ten("LSB", 0), ten("lsb", 0), ten("LSBs", 0)] },
            Self::Count => &[],
        }
    }

    /// The scale of a whole unit text, prefix included.
    pub(super) fn scale_of(self, text: &str) -> Option<Scale> {
        let symbols = self.symbols();
        if let Some(symbol) = symbols.iter().find(|s| s.text == text) {
            return Some(symbol.scale);
        }
        if text == "cm" && matches!(self, Self::Metre | Self::WireDiameter) {
            return Some(Scale::Ten(-2));
        }
        for (prefix, exponent) in PREFIXES {
            let Some(rest) = text.strip_prefix(prefix) else { continue };
            if rest.is_empty() && self.takes_bare_prefix() {
                return Some(Scale::Ten(*exponent));
            }
            if symbols.iter().any(|s| s.prefixed && s.text == rest) {
                return Some(Scale::Ten(*exponent));
            }
        }
        // K for kilo is the letter of IEC 60062; only parts are marked that way
        if text == "K" && self == Self::Ohm {
            return Some(Scale::Ten(3));
        }
        None
    }
}

const LENGTHS: &[Symbol] = &[si("m"), other("in", Scale::Times(0.0254)), other("ft", Scale::Times(0.3048))];
