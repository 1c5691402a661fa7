//! The witnesses as one mass: generalised least squares with covariance.
//!
//! For witnesses x with covariance C and all of them measuring the same mass m:
//!   m = (1' C^-1 x) / (1' C^-1 1),   u^2 = 1 / (1' C^-1 1),   chi2 = (x - m)' C^-1 (x - m), n - 1 degrees.
//! (Aitken 1935; the same as VDI 2048's adjustment of one redundant quantity.) Strong correlation can make a
//! weight negative: the witness then serves to remove an error it shares with a better one.

use super::frame::{Estimate, Together};
use super::witness::Account;

/// Variance added to every witness, kg2: one gram. It keeps the matrix solvable where two witnesses share all
/// of their errors and is far below what any of them can tell.
const FLOOR_KG2: f64 = 1e-6;

/// Values and covariance of the witnesses that take part.
#[derive(Debug, Clone, Copy)]
pub struct Panel {
    /// Received masses, kg; `None`: takes no part.
    pub received_kg: [Option<f64>; 3],
    /// Covariance, kg2.
    pub covariance_kg2: [[f64; 3]; 3],
}

impl Panel {
    /// Every credible witness.
    #[must_use]
    pub fn credible(accounts: &[Account; 3]) -> Panel {
        let mut covariance_kg2 = [[0.0; 3]; 3];
        for (i, row) in covariance_kg2.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = accounts[i].budget.covariance(&accounts[j].budget);
            }
        }
        Panel::of(accounts.map(|a| a.credible().map(|e| e.value)), covariance_kg2)
    }

    /// Witnesses with these masses and errors.
    #[must_use]
    pub fn of(received_kg: [Option<f64>; 3], mut covariance_kg2: [[f64; 3]; 3]) -> Panel {
        for (i, row) in covariance_kg2.iter_mut().enumerate() {
            row[i] += FLOOR_KG2;
        }
        Panel { received_kg, covariance_kg2 }
    }

    /// The same witnesses with other values.
    #[must_use]
    pub fn with_values(&self, received_kg: [Option<f64>; 3]) -> Panel {
        Panel { received_kg, ..*self }
    }

    /// Without one of them.
    #[must_use]
    pub fn without(&self, witness: usize) -> Panel {
        let mut panel = *self;
        panel.received_kg[witness] = None;
        panel
    }

    /// How many take part.
    #[must_use]
    pub fn count(&self) -> usize {
        self.received_kg.iter().flatten().count()
    }

    /// Combines them; `None` when none takes part.
    #[must_use]
    pub fn combine(&self) -> Option<Together> {
        let inverse_ones = self.solve([1.0; 3])?;
        let information = self.sum(&inverse_ones, &[1.0; 3]);
        let values = self.received_kg.map(|v| v.unwrap_or(0.0));
        let value = self.sum(&inverse_ones, &values) / information;
        let residual = values.map(|v| v - value);
        let weighted = self.solve(residual)?;
        let degrees = self.count() - 1;
        Some(Together {
            received_kg: Estimate { value, u: (1.0 / information).sqrt() },
            weights: inverse_ones.map(|w| w / information),
            chi_square: self.sum(&weighted, &residual).max(0.0),
            degrees_of_freedom: u8::try_from(degrees).unwrap_or(2),
        })
    }

    /// How one witness differs from the others combined, kg; `None` when there is none to compare it with.
    #[must_use]
    pub fn contrast(&self, witness: usize) -> Option<Estimate> {
        let value = self.received_kg[witness]?;
        let rest = self.without(witness);
        let others = rest.combine()?;
        // var(x - sum w y) with the others' weights; an excluded witness has weight 0.
        let mut coefficients = others.weights.map(|w| -w);
        coefficients[witness] = 1.0;
        let variance = (0..3).fold(0.0, |sum, i| {
            (0..3).fold(sum, |sum, j| sum + coefficients[i] * coefficients[j] * self.covariance_kg2[i][j])
        });
        Some(Estimate { value: value - others.received_kg.value, u: variance.max(FLOOR_KG2).sqrt() })
    }

    /// Solves C x = b over those that take part, by Cholesky; zeros elsewhere. `None` when nobody does.
    fn solve(&self, b: [f64; 3]) -> Option<[f64; 3]> {
        if self.count() == 0 {
            return None;
        }
        let present = self.received_kg.map(|v| v.is_some());
        // Those that take no part get a unit row of their own: they decouple and their solution is dropped.
        let c = |i: usize, j: usize| match (present[i] && present[j], i == j) {
            (true, _) => self.covariance_kg2[i][j],
            (false, true) => 1.0,
            (false, false) => 0.0,
        };
        let mut l = [[0.0; 3]; 3];
        for i in 0..3 {
            for j in 0..=i {
                let known = (0..j).fold(0.0, |sum, k| sum + l[i][k] * l[j][k]);
                l[i][j] = if i == j { (c(i, i) - known).max(FLOOR_KG2).sqrt() } else { (c(i, j) - known) / l[j][j] };
            }
        }
        let mut y = [0.0; 3];
        for i in 0..3 {
            let known = (0..i).fold(0.0, |sum, k| sum + l[i][k] * y[k]);
            let right = if present[i] { b[i] } else { 0.0 };
            y[i] = (right - known) / l[i][i];
        }
        let mut x = [0.0; 3];
        for i in (0..3).rev() {
            let known = (i + 1..3).fold(0.0, |sum, k| sum + l[k][i] * x[k]);
            x[i] = (y[i] - known) / l[i][i];
        }
        Some([0, 1, 2].map(|i| if present[i] { x[i] } else { 0.0 }))
    }

    fn sum(&self, a: &[f64; 3], b: &[f64; 3]) -> f64 {
        (0..3).filter(|&i| self.received_kg[i].is_some()).fold(0.0, |sum, i| sum + a[i] * b[i])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One balance 1 = 2 + 3 of Rao (1996), 9.22 / 4.83 / 3.22 with sigma 3 %: as two witnesses of stream 1
    /// (x1, and x2 + x3) the adjustment gives 8.3821 and the global test 12.813.
    #[test]
    fn one_balance_matches_the_published_example() {
        let var = |x: f64| (0.03 * x) * (0.03 * x);
        let panel = Panel {
            received_kg: [Some(9.22), Some(4.83 + 3.22), None],
            covariance_kg2: [[var(9.22), 0.0, 0.0], [0.0, var(4.83) + var(3.22), 0.0], [0.0, 0.0, 0.0]],
        };
        let together = panel.combine().expect("two witnesses");
        assert!((together.received_kg.value - 8.3821).abs() < 5e-5, "{}", together.received_kg.value);
        assert!((together.chi_square - 12.813).abs() < 5e-4, "{}", together.chi_square);
        let contrast = panel.contrast(0).expect("two witnesses");
        assert!((contrast.value * contrast.value / (contrast.u * contrast.u) - 12.813).abs() < 5e-4);
    }

    /// Two correlated measurements, closed form: the better one's weight exceeds 1, the other's is negative.
    #[test]
    fn strong_correlation_gives_a_negative_weight() {
        let (a, b, rho) = (1.0, 4.0, 0.9);
        let covariance = rho * a * b;
        let panel = Panel {
            received_kg: [Some(10.0), None, Some(14.0)],
            covariance_kg2: [[a * a, 0.0, covariance], [0.0; 3], [covariance, 0.0, b * b]],
        };
        let together = panel.combine().expect("two witnesses");
        let weight = (b * b - covariance) / (a * a + b * b - 2.0 * covariance);
        assert!((together.weights[0] - weight).abs() < 1e-12 && weight > 1.0);
        assert!((together.weights[2] - (1.0 - weight)).abs() < 1e-12);
        assert_eq!(together.weights[1].to_bits(), 0.0_f64.to_bits());
    }

    #[test]
    fn nobody_gives_nothing() {
        let panel = Panel { received_kg: [None; 3], covariance_kg2: [[0.0; 3]; 3] };
        assert!(panel.combine().is_none() && panel.contrast(1).is_none());
    }
}
