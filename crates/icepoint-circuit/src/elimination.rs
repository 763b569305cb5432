//! Gaussian elimination with an order that is found once and checked every time.
//!
//! **Why.** A search over part values and a Monte Carlo solve one circuit some hundred thousand times with other
//! numbers. The places of the nonzeros never change, so the pivot order (Markowitz cost under a threshold on the
//! row-scaled pivots, Duff, Erisman and Reid, *Direct Methods for Sparse Matrices*, ch. 5; from memory) and the list
//! of multiplications that don't hit a structural zero are found when the circuit is compiled.
//!
//! **Soundness.** Every factorisation measures the row-scaled growth `max |l|·|u|` against the row of the original
//! matrix; above [`GROWTH_LIMIT`] the result is thrown away and the caller takes [`DenseFactor`], partial pivoting over a flat
//! buffer. The answer is therefore always that of a backward-stable elimination.
//!
//! Rows and columns are renumbered by pivot position, so that neither right-hand side nor solution is permuted later.

use crate::complex::Scalar;

/// Largest row-scaled growth that a planned elimination may show: it costs at most two of sixteen digits of backward
/// error; partial pivoting in practice stays below 10.
pub(crate) const GROWTH_LIMIT: f64 = 64.0;

/// A pivot this small against its row is nothing but rounding: a few units in the last place of what was subtracted.
const NOTHING: f64 = 8.0 * f64::EPSILON;

/// When planning, a pivot may be this much smaller than the largest (row-scaled) of its column.
const THRESHOLD: f64 = 0.1;

/// The order of elimination for one pattern of nonzeros.
///
/// Slots hold the upper rows in order of elimination, each with its pivot first, then the multipliers column by column.
/// Inner loops read many places and write one, which keeps them free of store-to-load delays.
#[derive(Clone, Debug)]
pub(crate) struct Plan {
    /// Number of unknowns.
    pub n: usize,
    /// Pivot position of each original row.
    pub row_position: Vec<u32>,
    /// Pivot position of each original column.
    pub column_position: Vec<u32>,
    /// Row (pivot position) of each slot.
    pub slot_row: Vec<u32>,
    /// Column (pivot position) of each slot.
    pub slot_column: Vec<u32>,
    /// Row k of the upper triangle lies in slots `upper[k]..upper[k + 1]`.
    upper: Vec<u32>,
    /// Multipliers of column k lie in slots `lower[k]..lower[k + 1]`.
    lower: Vec<u32>,
    /// Updates of step k: `updates[steps[k]..steps[k + 1]]`, each target, multiplier, upper entry.
    steps: Vec<u32>,
    updates: Vec<[u32; 3]>,
    /// Slots of row k: `by_row[rows[k]..rows[k + 1]]`.
    rows: Vec<u32>,
    by_row: Vec<u32>,
    /// Multipliers of row k with the column they meet: `forward[forward_rows[k]..forward_rows[k + 1]]`.
    forward_rows: Vec<u32>,
    forward: Vec<(u32, u32)>,
}

/// The part of a list that belongs to `k`.
#[inline(always)]
fn part<'a, T>(list: &'a [T], starts: &[u32], k: usize) -> &'a [T] {
    &list[starts[k] as usize..starts[k + 1] as usize]
}

impl Plan {
    /// Plans the elimination of an `n × n` matrix given by its nonzeros (places may repeat; values add up) at nominal
    /// values. `Err` holds the original column that no pivot is left for.
    pub fn new(n: usize, entries: &[(u32, u32, f64)]) -> Result<Plan, usize> {
        let mut a = vec![0.0; n * n];
        let mut there = vec![false; n * n];
        for &(row, column, value) in entries {
            let at = row as usize * n + column as usize;
            a[at] += value;
            there[at] = true;
        }
        let scale: Vec<f64> =
            (0..n).map(|i| a[i * n..(i + 1) * n].iter().fold(0.0, |m: f64, v| m.max(v.abs()))).collect();
        let scaled = |a: &[f64], i: usize, j: usize| a[i * n + j].abs() / scale[i];
        let (mut rows_left, mut columns_left) = (vec![true; n], vec![true; n]);
        let (mut row_order, mut column_order) = (Vec::with_capacity(n), Vec::with_capacity(n));
        for _ in 0..n {
            let rows: Vec<usize> = (0..n).filter(|&i| rows_left[i]).collect();
            let columns: Vec<usize> = (0..n).filter(|&j| columns_left[j]).collect();
            let in_row: Vec<usize> =
                rows.iter().map(|&i| columns.iter().filter(|&&j| there[i * n + j]).count()).collect();
            let mut best: Option<(usize, f64, usize, usize)> = None;
            for &j in &columns {
                let in_column = rows.iter().filter(|&&i| there[i * n + j]).count();
                let largest = rows.iter().fold(0.0, |m: f64, &i| m.max(scaled(&a, i, j)));
                if largest.is_nan() || largest <= NOTHING {
                    continue;
                }
                for (at, &i) in rows.iter().enumerate() {
                    let size = scaled(&a, i, j);
                    if !there[i * n + j] || size < THRESHOLD * largest {
                        continue;
                    }
                    let cost = (in_row[at] - 1) * (in_column - 1);
                    if best.is_none_or(|(c, s, ..)| cost < c || (cost == c && size > s)) {
                        best = Some((cost, size, i, j));
                    }
                }
            }
            let Some((_, _, p, q)) = best else {
                // Name the column that has least left in it.
                let worst = columns.iter().copied().min_by(|&x, &y| {
                    let left = |j: usize| rows.iter().fold(0.0, |m: f64, &i| m.max(scaled(&a, i, j)));
                    left(x).total_cmp(&left(y))
                });
                return Err(worst.unwrap_or(0));
            };
            rows_left[p] = false;
            columns_left[q] = false;
            let below: Vec<usize> = rows.into_iter().filter(|&i| i != p && there[i * n + q]).collect();
            for i in below {
                let l = a[i * n + q] / a[p * n + q];
                for j in (0..n).filter(|&j| columns_left[j]) {
                    if there[p * n + j] {
                        a[i * n + j] -= l * a[p * n + j];
                        there[i * n + j] = true;
                    }
                }
            }
            row_order.push(p);
            column_order.push(q);
        }
        Ok(Plan::lay_out(n, &there, &row_order, &column_order))
    }

    /// Numbers the slots of the filled pattern: upper rows in order of elimination, then the multipliers by column, so
    /// that updates always go to higher slots than they come from.
    fn lay_out(n: usize, there: &[bool], row_order: &[usize], column_order: &[usize]) -> Plan {
        let filled = |k: usize, m: usize| there[row_order[k] * n + column_order[m]];
        let mut slot = vec![u32::MAX; n * n];
        let (mut slot_row, mut slot_column) = (Vec::new(), Vec::new());
        let mut place = |k: usize, m: usize, slot: &mut Vec<u32>| {
            slot[k * n + m] = slot_row.len() as u32;
            slot_row.push(k as u32);
            slot_column.push(m as u32);
        };
        let mut upper = vec![0];
        for k in 0..n {
            for m in (k..n).filter(|&m| m == k || filled(k, m)) {
                place(k, m, &mut slot);
            }
            upper.push((k + 1..n).filter(|&m| filled(k, m)).count() as u32 + 1 + upper[k]);
        }
        let mut lower = vec![upper[n]];
        for k in 0..n {
            for i in (k + 1..n).filter(|&i| filled(i, k)) {
                place(i, k, &mut slot);
            }
            lower.push((k + 1..n).filter(|&i| filled(i, k)).count() as u32 + lower[k]);
        }
        let (mut steps, mut updates) = (vec![0], Vec::new());
        let (mut rows, mut by_row) = (vec![0], Vec::new());
        let (mut forward_rows, mut forward) = (vec![0], Vec::new());
        for k in 0..n {
            for i in (k + 1..n).filter(|&i| filled(i, k)) {
                for m in (k + 1..n).filter(|&m| filled(k, m)) {
                    updates.push([slot[i * n + m], slot[i * n + k], slot[k * n + m]]);
                }
            }
            steps.push(updates.len() as u32);
            by_row.extend(slot[k * n..(k + 1) * n].iter().filter(|&&s| s != u32::MAX));
            rows.push(by_row.len() as u32);
            forward.extend((0..k).filter(|&m| filled(k, m)).map(|m| (slot[k * n + m], m as u32)));
            forward_rows.push(forward.len() as u32);
        }
        let positions = |order: &[usize]| {
            let mut position = vec![0; n];
            for (k, &at) in order.iter().enumerate() {
                position[at] = k as u32;
            }
            position
        };
        Plan {
            n,
            row_position: positions(row_order),
            column_position: positions(column_order),
            slot_row,
            slot_column,
            upper,
            lower,
            steps,
            updates,
            rows,
            by_row,
            forward_rows,
            forward,
        }
    }

    /// Number of slots.
    pub fn slots(&self) -> usize {
        self.slot_row.len()
    }

    /// The slot of an original place. `None` outside the filled pattern.
    pub fn slot(&self, row: u32, column: u32) -> Option<u32> {
        let (k, m) = (*self.row_position.get(row as usize)?, *self.column_position.get(column as usize)?);
        let within = |range: core::ops::Range<u32>| {
            range.into_iter().find(|&s| self.slot_row[s as usize] == k && self.slot_column[s as usize] == m)
        };
        within(0..self.slots() as u32)
    }

    /// Factors in place (`a` by slot, pivots replaced by reciprocals). `false`: not sound, take [`DenseFactor`].
    pub fn factor<T: Scalar>(&self, a: &mut [T], scale: &mut [f64]) -> bool {
        let mut sound = true;
        for (k, largest) in scale.iter_mut().enumerate() {
            *largest = GROWTH_LIMIT
                * part(&self.by_row, &self.rows, k).iter().fold(0.0, |m, &s| larger(m, a[s as usize].norm()));
        }
        for k in 0..self.n {
            let upper = &mut a[self.upper[k] as usize..self.upper[k + 1] as usize];
            let Some((pivot, row)) = upper.split_first_mut() else { return false };
            let largest = row.iter().fold(pivot.norm(), |m, u| larger(m, u.norm()));
            sound &= pivot.norm() > NOTHING / GROWTH_LIMIT * scale[k];
            sound &= largest <= scale[k];
            let reciprocal = pivot.recip();
            *pivot = reciprocal;
            let lower = self.lower[k] as usize..self.lower[k + 1] as usize;
            for (l, &row) in a[lower.clone()].iter_mut().zip(&self.slot_row[lower]) {
                *l = *l * reciprocal;
                sound &= l.norm() * largest <= scale[row as usize];
            }
            for &[target, l, u] in part(&self.updates, &self.steps, k) {
                a[target as usize] = a[target as usize] - a[l as usize] * a[u as usize];
            }
        }
        sound
    }

    /// Solves in place from factored slots.
    pub fn solve<T: Scalar>(&self, a: &[T], b: &mut [T]) {
        for k in 0..self.n {
            let row = part(&self.forward, &self.forward_rows, k);
            b[k] = row.iter().fold(b[k], |value, &(s, m)| value - a[s as usize] * b[m as usize]);
        }
        for k in (0..self.n).rev() {
            let (start, end) = (self.upper[k] as usize, self.upper[k + 1] as usize);
            let row = a[start + 1..end].iter().zip(&self.slot_column[start + 1..end]);
            b[k] = row.fold(b[k], |value, (&u, &m)| value - u * b[m as usize]) * a[start];
        }
    }

    /// Solves the transposed system in place from factored slots.
    pub fn solve_transposed<T: Scalar>(&self, a: &[T], b: &mut [T]) {
        for k in 0..self.n {
            let (start, end) = (self.upper[k] as usize, self.upper[k + 1] as usize);
            let value = b[k] * a[start];
            b[k] = value;
            for (&u, &m) in a[start + 1..end].iter().zip(&self.slot_column[start + 1..end]) {
                b[m as usize] = b[m as usize] - u * value;
            }
        }
        for k in (0..self.n).rev() {
            let column = self.lower[k] as usize..self.lower[k + 1] as usize;
            let entries = a[column.clone()].iter().zip(&self.slot_row[column]);
            b[k] = entries.fold(b[k], |value, (&l, &row)| value - l * b[row as usize]);
        }
    }
}

/// The larger of two sizes; NaN wins, because it may not pass for a sound matrix.
#[inline(always)]
fn larger(largest: f64, size: f64) -> f64 {
    if size <= largest { largest } else { size }
}

/// Dense elimination with row-scaled partial pivoting over a flat, reused buffer: the plain method, and the judge of
/// the planned one.
#[derive(Clone, Debug, Default)]
pub(crate) struct DenseFactor<T> {
    n: usize,
    a: Vec<T>,
    swaps: Vec<u32>,
}

impl<T: Scalar> DenseFactor<T> {
    /// For `n` unknowns; the room is made when it is first needed, which is seldom.
    pub fn new(n: usize) -> Self {
        DenseFactor { n, a: Vec::new(), swaps: Vec::new() }
    }

    /// Factors the matrix given by `(row, column, value)`, each place once. `Err`: the position that no pivot is left for.
    pub fn factor(
        &mut self,
        entries: impl Iterator<Item = (u32, u32, T)>,
        scale: &mut [f64],
    ) -> Result<(), usize> {
        let n = self.n;
        self.a.clear();
        self.a.resize(n * n, T::default());
        self.swaps.resize(n, 0);
        scale.fill(0.0);
        for (row, column, value) in entries {
            self.a[row as usize * n + column as usize] = value;
            scale[row as usize] = scale[row as usize].max(value.norm());
        }
        for k in 0..n {
            let mut best = (k, -1.0);
            for (i, &largest) in scale.iter().enumerate().skip(k) {
                let size = self.a[i * n + k].norm() / largest;
                if size > best.1 {
                    best = (i, size);
                }
            }
            let (p, size) = best;
            if size.is_nan() || size <= NOTHING || !size.is_finite() {
                return Err(k);
            }
            self.swaps[k] = p as u32;
            if p != k {
                scale.swap(p, k);
                let (upper, lower) = self.a.split_at_mut(p * n);
                upper[k * n..(k + 1) * n].swap_with_slice(&mut lower[..n]);
            }
            let (head, tail) = self.a.split_at_mut((k + 1) * n);
            let row = &mut head[k * n..];
            let reciprocal = row[k].recip();
            row[k] = reciprocal;
            for other in tail.chunks_exact_mut(n) {
                let l = other[k] * reciprocal;
                other[k] = l;
                if l.norm() != 0.0 {
                    for (o, &u) in other[k + 1..].iter_mut().zip(&row[k + 1..]) {
                        *o = *o - l * u;
                    }
                }
            }
        }
        Ok(())
    }

    /// Solves in place.
    pub fn solve(&self, b: &mut [T]) {
        let n = self.n;
        for (k, &p) in self.swaps.iter().enumerate() {
            b.swap(k, p as usize);
        }
        for (i, row) in self.a.chunks_exact(n).enumerate() {
            b[i] = row[..i].iter().zip(&b[..i]).fold(b[i], |value, (&l, &x)| value - l * x);
        }
        for (i, row) in self.a.chunks_exact(n).enumerate().rev() {
            let value = row[i + 1..].iter().zip(&b[i + 1..n]).fold(b[i], |value, (&u, &x)| value - u * x);
            b[i] = value * row[i];
        }
    }

    /// Solves the transposed system in place.
    pub fn solve_transposed(&self, b: &mut [T]) {
        let n = self.n;
        for (i, row) in self.a.chunks_exact(n).enumerate() {
            let value = b[i] * row[i];
            b[i] = value;
            for (x, &u) in b[i + 1..n].iter_mut().zip(&row[i + 1..]) {
                *x = *x - u * value;
            }
        }
        for (i, row) in self.a.chunks_exact(n).enumerate().rev() {
            let value = b[i];
            for (x, &l) in b[..i].iter_mut().zip(&row[..i]) {
                *x = *x - l * value;
            }
        }
        for (k, &p) in self.swaps.iter().enumerate().rev() {
            b.swap(k, p as usize);
        }
    }
}

/// A factored matrix: planned if that was sound, else dense.
#[derive(Clone, Debug)]
pub(crate) struct Factored<T> {
    /// The matrix by slot; factored in place.
    pub a: Vec<T>,
    scale: Vec<f64>,
    dense: DenseFactor<T>,
    planned: bool,
}

impl<T: Scalar> Factored<T> {
    /// Room for one plan.
    pub fn new(plan: &Plan) -> Self {
        Factored {
            // One more cell than slots: stamps that fall on ground or on a replaced row land there.
            a: vec![T::default(); plan.slots() + 1],
            scale: vec![0.0; plan.n],
            dense: DenseFactor::new(plan.n),
            planned: false,
        }
    }

    /// Factors what `write` puts into `a`. It is called again for the dense elimination if the planned one, which
    /// works in place, was not sound: keeping a copy each time would cost more. `Err`: the column position left open.
    pub fn factor(&mut self, plan: &Plan, mut write: impl FnMut(&mut [T])) -> Result<(), usize> {
        write(&mut self.a);
        let slots = plan.slots();
        self.planned = plan.factor(&mut self.a[..slots], &mut self.scale);
        if self.planned {
            return Ok(());
        }
        write(&mut self.a);
        let entries =
            plan.slot_row.iter().zip(&plan.slot_column).zip(&self.a).map(|((&i, &j), &v)| (i, j, v));
        self.dense.factor(entries, &mut self.scale)
    }

    /// Number of unknowns that there is room for.
    pub fn size(&self) -> usize {
        self.scale.len()
    }

    /// Whether the planned order was sound for the last matrix.
    pub fn planned(&self) -> bool {
        self.planned
    }

    /// Solves in place.
    pub fn solve(&self, plan: &Plan, b: &mut [T]) {
        if self.planned { plan.solve(&self.a, b) } else { self.dense.solve(b) }
    }

    /// Solves the transposed system in place.
    pub fn solve_transposed(&self, plan: &Plan, b: &mut [T]) {
        if self.planned { plan.solve_transposed(&self.a, b) } else { self.dense.solve_transposed(b) }
    }
}
