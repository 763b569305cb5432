//! What is really in the drawer: a CSV with a line for each value, its tolerance, temperature coefficient and count.
//!
//! **Columns** by their header, in any order: `value` must be there; `kind` (`resistor`, `capacitor`, `potentiometer`,
//! `amplifier`, `converter`, `reference`, `sensor`) may be left out where the unit tells it; without `tolerance` or `tempco`
//! the figures of `[parts]` hold, for a potentiometer those of `[trims]`; without `count` there is as much as wanted. A column `note` is for people. Lines that start with `#` are comments.
//! **Separator**: comma, semicolon or tab, whichever the header uses.
//! **Amplifiers** and the other kinds without a value: `value` is the NAME of a record in the chain file:
//! `[amplifier.NAME]`, `[converters.NAME]`, `[voltage_references.NAME]`, `[junction_sensors.NAME]`.
//! **Errors.** All of them at once, each with its row and column, in the same words as those of the chain file.

mod read;
mod rows;
#[cfg(test)]
mod tests;

use crate::file::RecordName;
use crate::front_end::SlotKind;

pub use read::{MOST_ROWS, Usual, of, parse};

/// The drawer.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawer {
    /// Name of the file, for messages.
    pub name: String,
    /// Resistors and capacitors by kind and rising value; of one value the tightest first. Alike lines are one.
    pub parts: Vec<DrawerPart>,
    /// Potentiometers to be trims, by rising track; of one track the tightest first. Alike lines are one.
    pub tracks: Vec<DrawerTrack>,
    /// Amplifiers: name of the record and how many.
    pub amplifiers: Vec<(String, Count)>,
    /// Converters, voltage references and junction sensors: record and how many.
    pub records: Vec<(RecordName, Count)>,
}

/// One kind of part in the drawer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DrawerPart {
    /// Resistor or capacitor.
    pub kind: SlotKind,
    /// Ω or F.
    pub value: f64,
    /// Limit, relative.
    pub tolerance: f64,
    /// Limit of its temperature coefficient, 1/K.
    pub tempco: f64,
    /// How many there are.
    pub count: Count,
}

/// One kind of potentiometer in the drawer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DrawerTrack {
    /// Resistance of the whole track, Ω.
    pub ohms: f64,
    /// Limit, relative; `None`: as `[trims]` has it.
    pub tolerance: Option<f64>,
    /// Limit of its temperature coefficient, 1/K; `None`: as `[trims]` has it.
    pub tempco: Option<f64>,
    /// How many there are.
    pub count: Count,
}

/// How many of a part there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Count {
    /// This many.
    Pieces(u32),
    /// As many as wanted: the file has no column `count`.
    Enough,
}

impl Count {
    /// Whether `pieces` can be taken.
    pub fn covers(self, pieces: u32) -> bool {
        match self {
            Self::Pieces(n) => n >= pieces,
            Self::Enough => true,
        }
    }

    /// Both together.
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Pieces(a), Self::Pieces(b)) => Self::Pieces(a.saturating_add(b)),
            _ => Self::Enough,
        }
    }
}

impl core::fmt::Display for Count {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Pieces(n) => write!(f, "{n}"),
            Self::Enough => f.write_str("enough"),
        }
    }
}

impl Drawer {
    /// Sorts, and makes one of lines that are alike.
    fn tidy(&mut self) {
        self.parts.sort_by(|a, b| {
            (a.kind == SlotKind::Capacitor)
                .cmp(&(b.kind == SlotKind::Capacitor))
                .then(a.value.total_cmp(&b.value))
                .then(a.tolerance.total_cmp(&b.tolerance))
                .then(a.tempco.total_cmp(&b.tempco))
        });
        self.parts.dedup_by(|next, kept| {
            let alike = (next.kind, next.value, next.tolerance, next.tempco)
                == (kept.kind, kept.value, kept.tolerance, kept.tempco);
            if alike {
                kept.count = kept.count.and(next.count);
            }
            alike
        });
        let size = |figure: Option<f64>| figure.unwrap_or(f64::INFINITY);
        self.tracks.sort_by(|a, b| {
            a.ohms
                .total_cmp(&b.ohms)
                .then(size(a.tolerance).total_cmp(&size(b.tolerance)))
                .then(size(a.tempco).total_cmp(&size(b.tempco)))
        });
        self.tracks.dedup_by(|next, kept| {
            let alike = (next.ohms, next.tolerance, next.tempco) == (kept.ohms, kept.tolerance, kept.tempco);
            if alike {
                kept.count = kept.count.and(next.count);
            }
            alike
        });
        add_up(&mut self.amplifiers);
        add_up(&mut self.records);
    }

    /// Potentiometers of this track: the line of the one that is taken after so many others, the tightest first; `None`
    /// when there are no more.
    pub fn track(&self, ohms: f64, taken: u32) -> Option<&DrawerTrack> {
        let mut taken = taken;
        self.tracks.iter().filter(|t| (t.ohms / ohms - 1.0).abs() < 1e-9).find(|t| match t.count {
            Count::Enough => true,
            Count::Pieces(n) if n > taken => true,
            Count::Pieces(n) => {
                taken -= n;
                false
            }
        })
    }

    /// Pieces of an amplifier's record; none of one that the drawer does not list, `Enough` of any when it lists no
    /// amplifier at all.
    pub fn amplifier(&self, name: &str) -> Count {
        if self.amplifiers.is_empty() {
            return Count::Enough;
        }
        self.amplifiers.iter().find(|(n, _)| n == name).map_or(Count::Pieces(0), |(_, count)| *count)
    }

    /// The same for a converter, a voltage reference or a sensor.
    pub fn record(&self, record: &RecordName) -> Count {
        if self.records.iter().all(|((kind, _), _)| *kind != record.0) {
            return Count::Enough;
        }
        self.records.iter().find(|(r, _)| r == record).map_or(Count::Pieces(0), |(_, count)| *count)
    }

    /// Parts of one kind, by rising value.
    pub fn of_kind(&self, kind: SlotKind) -> impl Iterator<Item = &DrawerPart> {
        self.parts.iter().filter(move |p| p.kind == kind)
    }

    /// Whether there are parts of this value with different figures: then the value alone does not tell which one it is.
    pub fn is_ambiguous(&self, kind: SlotKind, value: f64) -> bool {
        self.of_kind(kind).filter(|p| alike(p.value, value)).count() > 1
    }

    /// The lines that parts take which are wanted one after the other, by their index; `None` for what none is left of. Of
    /// one value that with the tolerance that is stated, where one is and there is such a line; else the tightest that is
    /// left, or the widest. Those that state a tolerance come first: the others may have any.
    pub fn lines(&self, wanted: &[WantedPart], first: FirstTaken) -> Vec<Option<usize>> {
        let mut taken = vec![0u32; self.parts.len()];
        let mut lines = vec![None; wanted.len()];
        let states = |at: &usize| wanted[*at].tolerance.is_some();
        let (stating, others): (Vec<usize>, Vec<usize>) = (0..wanted.len()).partition(states);
        for at in stating.into_iter().chain(others) {
            let want = &wanted[at];
            let left = |i: &usize| self.parts[*i].count.covers(taken[*i] + 1);
            let of_value =
                |i: &usize| self.parts[*i].kind == want.kind && alike(self.parts[*i].value, want.value);
            let mut fit: Vec<usize> = (0..self.parts.len()).filter(of_value).filter(left).collect();
            if let Some(stated) = want.tolerance
                && fit.iter().any(|i| alike(self.parts[*i].tolerance, stated))
            {
                fit.retain(|i| alike(self.parts[*i].tolerance, stated));
            }
            let line = match first {
                FirstTaken::Tightest => fit.first(),
                FirstTaken::Widest => fit.last(),
            };
            lines[at] = line.inspect(|i| taken[**i] += 1).copied();
        }
        lines
    }
}

/// A part that is looked for in a drawer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WantedPart {
    /// Resistor or capacitor.
    pub kind: SlotKind,
    /// Ω or F.
    pub value: f64,
    /// Limit, relative, where one is stated.
    pub tolerance: Option<f64>,
}

/// Which of several lines of one value are taken first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FirstTaken {
    /// That with the smallest tolerance.
    Tightest,
    /// That with the largest one.
    Widest,
}

/// But for rounding.
fn alike(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < 1e-9
}

/// Makes one line of those of one name.
fn add_up<T: Ord>(lines: &mut Vec<(T, Count)>) {
    lines.sort();
    lines.dedup_by(|next, kept| {
        let alike = next.0 == kept.0;
        if alike {
            kept.1 = kept.1.and(next.1);
        }
        alike
    });
}
