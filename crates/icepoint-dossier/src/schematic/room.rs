//! Rectangles that things take, and how far they reach to both sides of their column.

pub(super) type Point = (f64, f64);

/// A rectangle in grid units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Room {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Room {
    pub fn around(points: impl IntoIterator<Item = Point>) -> Option<Self> {
        points.into_iter().fold(None, |b: Option<Self>, (x, y)| {
            let b = b.unwrap_or(Self { left: x, top: y, right: x, bottom: y });
            Some(Self {
                left: b.left.min(x),
                top: b.top.min(y),
                right: b.right.max(x),
                bottom: b.bottom.max(y),
            })
        })
    }

    /// Whether the two come closer than `gap`.
    pub fn meets(&self, other: &Self, gap: f64) -> bool {
        self.left < other.right + gap
            && other.left < self.right + gap
            && self.top < other.bottom + gap
            && other.top < self.bottom + gap
    }

    pub fn moved(&self, x: f64, y: f64) -> Self {
        Self { left: self.left + x, top: self.top + y, right: self.right + x, bottom: self.bottom + y }
    }
}

/// How far a thing reaches to both sides of its column: far above its row, close above, close below, far below.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extent(pub [(f64, f64); 4]);

/// Nothing there.
pub(super) const NONE: f64 = -1000.0;
/// Series parts with their texts reach so far from their row; what stands keeps its texts beyond.
const CLOSE: f64 = 3.2;

impl Extent {
    pub const fn both(left: f64, right: f64) -> Self {
        Self([(left, right); 4])
    }

    /// Close to the row alone.
    pub const fn close(half: f64) -> Self {
        Self([(NONE, NONE), (half, half), (half, half), (NONE, NONE)])
    }

    pub fn of(rooms: &[Room]) -> Self {
        let bands = [(-1e9, -CLOSE), (-CLOSE, -0.3), (0.3, CLOSE), (CLOSE, 1e9)];
        let mut e = Self::both(NONE, NONE);
        for (at, (top, bottom)) in e.0.iter_mut().zip(bands) {
            for r in rooms.iter().filter(|r| r.top < bottom && r.bottom > top) {
                *at = (at.0.max(-r.left), at.1.max(r.right));
            }
        }
        e
    }

    /// Least distance to a thing further right.
    pub fn before(&self, right: &Self) -> i32 {
        let widest = self.0.iter().zip(&right.0).map(|(a, b)| a.1 + b.0).fold(NONE, f64::max);
        libm::ceil(widest + 1.0).max(1.0) as i32
    }

    /// How far it reaches to the right below its row, or above it.
    pub fn right(&self, below: bool) -> f64 {
        if below { self.0[2].1.max(self.0[3].1) } else { self.0[0].1.max(self.0[1].1) }
    }

    /// One side of it alone.
    pub fn side(&self, up: bool) -> Self {
        let mut e = *self;
        if up {
            (e.0[2], e.0[3]) = ((NONE, NONE), (NONE, NONE))
        } else {
            (e.0[0], e.0[1]) = ((NONE, NONE), (NONE, NONE))
        }
        e
    }
}
