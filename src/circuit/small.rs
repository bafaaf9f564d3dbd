//! Solves a handful of equations in place: LU with partial pivoting, without
//! allocating once it has grown to size. For the few unknowns that are left
//! after the linear part of a circuit has been reduced.

/// Factors of a small square matrix, row by row.
#[derive(Clone, Debug, Default)]
pub(super) struct Factors {
    size: usize,
    /// The matrix; after [`factor`](Self::factor) its factors.
    pub(super) cells: Vec<f64>,
    swaps: Vec<usize>,
}

/// No pivot is left in this column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Singular(pub(super) usize);

impl Factors {
    /// Makes room for a matrix of this size; the cells hold anything.
    pub(super) fn resize(&mut self, size: usize) {
        self.size = size;
        self.cells.resize(size * size, 0.0);
        self.swaps.resize(size, 0);
    }

    /// Factors what is in the cells. The diagonal is kept as reciprocals.
    pub(super) fn factor(&mut self) -> Result<(), Singular> {
        let n = self.size;
        for k in 0..n {
            let rest = &self.cells[k * n..];
            let (mut pivot, mut largest) = (k, -1.0);
            for (i, row) in rest.chunks_exact(n).enumerate() {
                let size = row[k].abs();
                if size > largest {
                    (pivot, largest) = (k + i, size);
                }
            }
            if largest <= 0.0 || !largest.is_finite() {
                return Err(Singular(k));
            }
            self.swaps[k] = pivot;
            let (upper, lower) = self.cells.split_at_mut((k + 1) * n);
            let pivot_row = &mut upper[k * n..];
            if pivot != k {
                let other = (pivot - k - 1) * n;
                pivot_row.swap_with_slice(&mut lower[other..other + n]);
            }
            let inverse = 1.0 / pivot_row[k];
            pivot_row[k] = inverse;
            let after = &pivot_row[k + 1..];
            for row in lower.chunks_exact_mut(n) {
                let (head, tail) = row.split_at_mut(k + 1);
                let factor = head[k] * inverse;
                head[k] = factor;
                if factor != 0.0 {
                    for (cell, p) in tail.iter_mut().zip(after) {
                        *cell -= factor * p;
                    }
                }
            }
        }
        Ok(())
    }

    /// Replaces the right side by the solution.
    pub(super) fn solve(&self, b: &mut [f64]) {
        let n = self.size;
        for (k, swap) in self.swaps.iter().enumerate().take(n) {
            b.swap(k, *swap);
        }
        for (i, row) in self.cells.chunks_exact(n.max(1)).enumerate().skip(1) {
            let (done, left) = b.split_at_mut(i);
            left[0] -= dot(row, done);
        }
        for (i, row) in self.cells.chunks_exact(n.max(1)).enumerate().rev() {
            let (left, done) = b.split_at_mut(i + 1);
            left[i] = (left[i] - dot(&row[i + 1..], done)) * row[i];
        }
    }

    /// The same for the transposed matrix.
    pub(super) fn solve_transposed(&self, b: &mut [f64]) {
        let n = self.size;
        for (k, row) in self.cells.chunks_exact(n.max(1)).enumerate() {
            let (done, left) = b.split_at_mut(k + 1);
            done[k] *= row[k];
            for (x, cell) in left.iter_mut().zip(&row[k + 1..]) {
                *x -= cell * done[k];
            }
        }
        for (k, row) in self.cells.chunks_exact(n.max(1)).enumerate().rev() {
            let (left, done) = b.split_at_mut(k);
            for (x, cell) in left.iter_mut().zip(row) {
                *x -= cell * done[0];
            }
        }
        for k in (0..n).rev() {
            b.swap(k, self.swaps[k]);
        }
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_both_ways() {
        let a = [0.0, 2.0, 1.0, 4.0, -1.0, 3.0, 1.0, 5.0, -2.0];
        let x = [1.0, -2.0, 0.5];
        let mut f = Factors::default();
        f.resize(3);
        f.cells.copy_from_slice(&a);
        f.factor().unwrap();
        let mut b: Vec<f64> = a.chunks(3).map(|row| dot(row, &x)).collect();
        f.solve(&mut b);
        let mut t: Vec<f64> = (0..3)
            .map(|c| (0..3).map(|r| a[r * 3 + c] * x[r]).sum())
            .collect();
        f.solve_transposed(&mut t);
        for k in 0..3 {
            assert!((b[k] - x[k]).abs() < 1e-14);
            assert!((t[k] - x[k]).abs() < 1e-14);
        }
    }

    #[test]
    fn singular_is_said() {
        let mut f = Factors::default();
        f.resize(2);
        f.cells.copy_from_slice(&[1.0, 2.0, 2.0, 4.0]);
        assert_eq!(f.factor(), Err(Singular(1)));
    }
}
