//! The palette: one colour for one thing on every picture and table, in light, dark and on paper.
//!
//! Colours are CSS custom properties, so a picture follows the reader's scheme; [`resolve_colours`] puts the light
//! values in for programs that know no `var()`. Contrast of every text colour against its ground is at least 4.5 : 1
//! (WCAG 2.2, 1.4.3), of every line at least 3 : 1 (1.4.11); a test computes both.

use std::fmt::Write as _;

macro_rules! inks {
    ($($(#[$doc:meta])* $name:ident = $css:literal, $light:literal, $dark:literal;)*) => {
        /// What a colour stands for.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Ink { $($(#[$doc])* $name,)* }

        impl Ink {
            /// Every colour of the palette.
            pub const ALL: &'static [Ink] = &[$(Ink::$name,)*];

            /// Name of the CSS custom property, with its two hyphens.
            #[must_use]
            pub const fn property(self) -> &'static str { match self { $(Ink::$name => concat!("--", $css),)* } }

            /// As it stands in an attribute: `var(--…)`.
            #[must_use]
            pub const fn css(self) -> &'static str { match self { $(Ink::$name => concat!("var(--", $css, ")"),)* } }

            /// Colour on a light ground and on paper, `#rrggbb`.
            #[must_use]
            pub const fn light(self) -> &'static str { match self { $(Ink::$name => $light,)* } }

            /// Colour on a dark ground, `#rrggbb`.
            #[must_use]
            pub const fn dark(self) -> &'static str { match self { $(Ink::$name => $dark,)* } }
        }
    };
}

inks! {
    /// Ground of the page.
    Paper = "paper", "#fdfcf9", "#15181b";
    /// Ground of boxes.
    Panel = "panel", "#f3f1eb", "#1e2327";
    /// Text and what matters most.
    Text = "ink", "#1b1d1f", "#e9e7e2";
    /// Secondary text.
    Muted = "muted", "#5a5f65", "#a6abb0";
    /// Frames and axes.
    Rule = "rule", "#85888b", "#767c82";
    /// Grid behind lines.
    Grid = "grid", "#e4e1d9", "#2b3136";
    /// Mean error.
    Bias = "bias", "#1c4a87", "#93bdf2";
    /// Inside of the 95 % interval.
    Band = "band", "#c9daee", "#27425f";
    /// Edge of the 95 % interval.
    BandEdge = "band-edge", "#3c6da5", "#6b9bd0";
    /// Worst case.
    Worst = "worst", "#a63f17", "#f09a70";
    /// A limit that was asked for.
    Limit = "limit", "#7a1f5c", "#e794cb";
    /// Within what was asked.
    Good = "good", "#2f6b4f", "#6fbf97";
    /// Outside what was asked.
    Outside = "outside", "#e6d3c8", "#4a332a";
    /// Analog filter.
    Analog = "analog", "#1f6f66", "#62c4b6";
    /// Digital filter.
    Digital = "digital", "#7d6414", "#d9bd62";
    /// Test point.
    TestPoint = "test-point", "#0b6476", "#63c7d8";
    /// Caution.
    Caution = "caution", "#9a2f12", "#f59b7c";
    /// Family: probe.
    Probe = "probe", "#8c2d19", "#e58a72";
    /// Family: lead.
    Lead = "lead", "#c0662b", "#e9a56f";
    /// Family: reference junction.
    ReferenceJunction = "junction", "#a97f0c", "#e0c25c";
    /// Family: resistors.
    Resistors = "resistors", "#1d5a8a", "#7fb6e6";
    /// Family: amplifier.
    Amplifier = "amplifier", "#5a4a9c", "#b0a2ee";
    /// Family: reference voltage.
    ReferenceVoltage = "reference", "#2a7d74", "#6cc9bd";
    /// Family: converter.
    Converter = "converter", "#4d7a2e", "#a3cf7d";
    /// Family: reading rule.
    ReadingRule = "rule-of-reading", "#8a3d73", "#dc98c6";
    /// Family: noise.
    Noise = "noise", "#6a7178", "#b4bac0";
    /// Family: mains, and the mains line.
    Mains = "mains", "#7d5634", "#cfa682";
    /// Family: calibration.
    Calibration = "calibration", "#a2466a", "#e79ab8";
    /// Map: error far below the accuracy asked.
    Heat0 = "heat-0", "#8dbfcf", "#1f6478";
    /// Map: well below.
    Heat1 = "heat-1", "#aed2dd", "#1b5163";
    /// Map: below.
    Heat2 = "heat-2", "#cee4ea", "#183f4d";
    /// Map: just within.
    Heat3 = "heat-3", "#e9f2f3", "#16303a";
    /// Map: just above.
    Heat4 = "heat-4", "#fbe6d0", "#43301f";
    /// Map: above.
    Heat5 = "heat-5", "#f5c59b", "#6b4122";
    /// Map: well above.
    Heat6 = "heat-6", "#e99a61", "#8a4a24";
    /// Map: far above.
    Heat7 = "heat-7", "#dd7f48", "#9c4c24";
}

/// Steps of the error map, from far below to far above the accuracy asked.
pub const HEAT: [Ink; 8] =
    [Ink::Heat0, Ink::Heat1, Ink::Heat2, Ink::Heat3, Ink::Heat4, Ink::Heat5, Ink::Heat6, Ink::Heat7];

/// Families of imperfections, each with its colour and name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Family {
    /// Tolerance and ageing of the probe.
    Probe,
    /// Extension or compensating cable.
    Lead,
    /// Sensor and gradient at the terminals.
    ReferenceJunction,
    /// Tolerance, temperature coefficient, ageing of resistors.
    Resistors,
    /// Offset, drift, bias current, gain, rejection.
    Amplifier,
    /// Initial error, drift, regulation.
    ReferenceVoltage,
    /// Quantisation, offset, gain, non-linearity.
    Converter,
    /// What the linearisation leaves.
    ReadingRule,
    /// Thermal, amplifier and converter noise.
    Noise,
    /// Pick-up after every filter.
    Mains,
    /// What a calibration brings in of its own.
    Calibration,
    /// Sum of what is too small to show alone.
    Rest,
}

impl Family {
    /// Its colour.
    #[must_use]
    pub const fn ink(self) -> Ink {
        match self {
            Family::Probe => Ink::Probe,
            Family::Lead => Ink::Lead,
            Family::ReferenceJunction => Ink::ReferenceJunction,
            Family::Resistors => Ink::Resistors,
            Family::Amplifier => Ink::Amplifier,
            Family::ReferenceVoltage => Ink::ReferenceVoltage,
            Family::Converter => Ink::Converter,
            Family::ReadingRule => Ink::ReadingRule,
            Family::Noise => Ink::Noise,
            Family::Mains => Ink::Mains,
            Family::Calibration => Ink::Calibration,
            Family::Rest => Ink::Rule,
        }
    }

    /// Its name in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Family::Probe => "probe",
            Family::Lead => "lead",
            Family::ReferenceJunction => "reference junction",
            Family::Resistors => "resistors",
            Family::Amplifier => "amplifier",
            Family::ReferenceVoltage => "reference voltage",
            Family::Converter => "converter",
            Family::ReadingRule => "reading rule",
            Family::Noise => "noise",
            Family::Mains => "mains",
            Family::Calibration => "calibration",
            Family::Rest => "others",
        }
    }
}

/// Style sheet with the custom properties: light by default and on paper, dark where the reader's screen asks for it.
#[must_use]
pub fn css() -> String {
    let set = |pick: fn(Ink) -> &'static str| {
        Ink::ALL.iter().fold(String::new(), |mut text, ink| {
            let _ = write!(text, "{}:{};", ink.property(), pick(*ink));
            text
        })
    };
    format!(
        ":root{{color-scheme:light;{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{color-scheme:dark;{}}}}}\n",
        set(Ink::light),
        set(Ink::dark)
    )
}

/// `markup` with every `var(--…)` of the palette replaced by its light value, for files that stand alone.
#[must_use]
pub fn resolve_colours(markup: &str) -> String {
    let mut out = String::with_capacity(markup.len());
    let mut rest = markup;
    while let Some(at) = rest.find("var(--") {
        out.push_str(&rest[..at]);
        rest = &rest[at..];
        let end = rest.find(')').map_or(rest.len(), |i| i + 1);
        let token = &rest[..end];
        out.push_str(Ink::ALL.iter().find(|ink| ink.css() == token).map_or(token, |ink| ink.light()));
        rest = &rest[end..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance, WCAG 2.2 (definition of sRGB threshold as printed there: 0.04045).
    fn luminance(hex: &str) -> f64 {
        let part = |i: usize| {
            let c = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).unwrap()) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn contrast_is_enough() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        for pick in [Ink::light as fn(Ink) -> &'static str, Ink::dark] {
            use Ink::*;
            let text =
                [Text, Muted, Bias, BandEdge, Worst, Limit, Good, Analog, Digital, TestPoint, Caution, Mains];
            for ink in text {
                for ground in [Paper, Panel] {
                    let ratio = contrast(pick(ink), pick(ground));
                    assert!(ratio >= 4.5, "{ink:?} on {ground:?}: {ratio:.2}");
                }
            }
            for ink in HEAT {
                let ratio = contrast(pick(Text), pick(ink));
                assert!(ratio >= 4.5, "text on {ink:?}: {ratio:.2}");
            }
            for ink in [Rule, Probe, Lead, ReferenceJunction, Resistors, Amplifier, ReferenceVoltage]
                .into_iter()
                .chain([Converter, ReadingRule, Noise, Calibration])
            {
                let ratio = contrast(pick(ink), pick(Paper));
                assert!(ratio >= 3.0, "{ink:?} on paper: {ratio:.2}");
            }
        }
    }

    #[test]
    fn colours_are_put_in() {
        let text = "<a fill=\"var(--bias)\" stroke=\"var(--unknown)\"/>var(--ink";
        assert_eq!(resolve_colours(text), "<a fill=\"#1c4a87\" stroke=\"var(--unknown)\"/>var(--ink");
        for ink in Ink::ALL {
            assert_eq!(resolve_colours(ink.css()), ink.light());
        }
    }
}
