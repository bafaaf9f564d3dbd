//! Gauss-Legendre quadrature on the unit interval.

use std::sync::OnceLock;

use nalgebra::{DMatrix, SymmetricEigen};

/// A node of a rule, with the cell it stands for.
///
/// The cells lie side by side, as wide as their weights; each holds its node
/// (separation theorem of Chebyshev, Markov and Stieltjes).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Where to evaluate, 0 to 1.
    pub node: f64,
    /// Weight; all add up to 1.
    pub weight: f64,
    /// Lower end of the cell.
    pub low: f64,
    /// Upper end of the cell.
    pub high: f64,
}

/// The largest rule.
const LARGEST: usize = 16;

/// The rule with `order` nodes (1 to 16, the nearest of these), exact for polynomials up to
/// degree `2 order - 1`. Nodes are eigenvalues of the Jacobi matrix, weights
/// the squares of the first components of its eigenvectors (Golub and Welsch
/// 1969).
#[must_use]
pub fn gauss_legendre(order: usize) -> &'static [Cell] {
    static RULES: [OnceLock<Vec<Cell>>; LARGEST] = [const { OnceLock::new() }; LARGEST];
    let order = order.clamp(1, LARGEST);
    RULES[order - 1].get_or_init(|| golub_welsch(order))
}

fn golub_welsch(order: usize) -> Vec<Cell> {
    let mut jacobi = DMatrix::<f64>::zeros(order, order);
    for k in 1..order {
        let k_squared = (k * k) as f64;
        let beta = (k_squared / (4.0 * k_squared - 1.0)).sqrt();
        jacobi[(k, k - 1)] = beta;
        jacobi[(k - 1, k)] = beta;
    }
    let eigen = SymmetricEigen::new(jacobi);
    let mut pairs: Vec<(f64, f64)> = (0..order)
        .map(|k| {
            let first = eigen.eigenvectors[(0, k)];
            ((1.0 + eigen.eigenvalues[k]) / 2.0, first * first)
        })
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut low = 0.0;
    pairs
        .into_iter()
        .map(|(node, weight)| {
            let cell = Cell {
                node,
                weight,
                low,
                high: low + weight,
            };
            low = cell.high;
            cell
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_for_polynomials_up_to_its_degree() {
        for order in 1..=16 {
            let rule = gauss_legendre(order);
            for degree in 0..2 * order {
                let sum: f64 = rule
                    .iter()
                    .map(|c| c.weight * c.node.powi(degree as i32))
                    .sum();
                let exact = 1.0 / (degree as f64 + 1.0);
                assert!((sum - exact).abs() < 1e-13, "{order} {degree}: {sum}");
            }
            assert!(rule.iter().all(|c| c.low < c.node && c.node < c.high));
        }
    }

    #[test]
    fn closed_forms_of_two_and_three_nodes() {
        let two = gauss_legendre(2);
        assert!((two[1].node - (1.0 + 1.0 / 3.0_f64.sqrt()) / 2.0).abs() < 1e-15);
        assert!((two[0].weight - 0.5).abs() < 1e-15);
        let three = gauss_legendre(3);
        assert!((three[2].node - (1.0 + 0.6_f64.sqrt()) / 2.0).abs() < 1e-15);
        assert!((three[1].weight - 4.0 / 9.0).abs() < 1e-15);
    }
}
