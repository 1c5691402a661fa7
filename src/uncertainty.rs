//! An uncertainty budget as the GUM (JCGM 100:2008) has it: contributions, combined and expanded uncertainty, effective
//! degrees of freedom. For people who read it; nothing of it steers a decision.

use crate::engine::frame::{Contribution, Frame, Source, WitnessId};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Coverage factor of the expanded uncertainty that pages and papers show (GUM 6.3.3: about 95 % where the degrees of freedom
/// are many).
pub const COVERAGE: f64 = 2.0;

/// How far the u that a site file states for an instrument is taken to be off itself, 1 (assumption; GUM G.4.2 has 25 % as its
/// example, which is 8 degrees of freedom).
const STATED: f64 = 0.25;
/// The noise of readings is seen at every works within minutes: its u is taken to be off by this, 1 (assumption; 50 degrees).
const SEEN: f64 = 0.10;

/// Degrees of freedom of a standard uncertainty that is itself off by that part (GUM G.3): 1/2 (du/u)^-2.
#[must_use]
pub fn degrees_of_part(part: f64) -> f64 {
    0.5 / (part * part)
}

/// Degrees of freedom of a source's contribution. Limits that were set so that nothing lies beyond them have infinitely many
/// (GUM G.4.3).
#[must_use]
pub fn degrees_of(source: Source) -> f64 {
    match source {
        Source::MeterNoise | Source::ScaleReading | Source::LevelReading => degrees_of_part(SEEN),
        Source::Gap | Source::LowFlow | Source::TankVapour => f64::INFINITY,
        _ => degrees_of_part(STATED),
    }
}

/// A budget with its sums.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// Signed standard contributions, kg.
    pub lines: Vec<Contribution>,
    /// Combined standard uncertainty, kg.
    pub u_kg: f64,
    /// Effective degrees of freedom.
    pub degrees: f64,
}

impl Budget {
    /// Of independent contributions.
    #[must_use]
    pub fn of(lines: Vec<Contribution>) -> Budget {
        let parts: Vec<(f64, f64)> = lines.iter().map(|line| (line.kg, degrees_of(line.source))).collect();
        Budget { u_kg: combined(&parts), degrees: effective_degrees(&parts), lines }
    }

    /// Of one witness; None: it says nothing.
    #[must_use]
    pub fn of_witness(frame: &Frame, id: WitnessId) -> Option<Budget> {
        let witness = frame.witnesses.iter().find(|w| w.id == id)?;
        (!witness.budget.is_empty()).then(|| Budget::of(witness.budget.clone()))
    }

    /// Of the witnesses together: a source that several share counts by its signed contributions times their weights (GUM
    /// F.1.2.3). None: nothing is said together, or a suspect's share widened it beyond its sources.
    #[must_use]
    pub fn of_all(frame: &Frame) -> Option<Budget> {
        let together = frame.together?;
        let mut lines: Vec<Contribution> = Vec::new();
        for (witness, weight) in frame.witnesses.iter().zip(together.weights) {
            for part in &witness.budget {
                let kg = weight * part.kg;
                match lines.iter_mut().find(|line| line.source == part.source) {
                    Some(line) => line.kg += kg,
                    None => lines.push(Contribution { source: part.source, kg }),
                }
            }
        }
        lines.retain(|line| line.kg != 0.0);
        let budget = Budget::of(lines);
        ((budget.u_kg - together.received_kg.u).abs() <= 0.01 * together.received_kg.u).then_some(budget)
    }

    /// Expanded uncertainty with the coverage factor [`COVERAGE`], kg.
    #[must_use]
    pub fn expanded_kg(&self) -> f64 {
        COVERAGE * self.u_kg
    }
}

/// Combined standard uncertainty of independent contributions, each with its degrees of freedom (GUM 5.1.2).
#[must_use]
pub fn combined(parts: &[(f64, f64)]) -> f64 {
    parts.iter().map(|(u, _)| u * u).sum::<f64>().sqrt()
}

/// Effective degrees of freedom (Welch and Satterthwaite; GUM G.2b): u^4 / sum(u_i^4 / degrees_i). Infinite where no
/// contribution has finitely many.
#[must_use]
pub fn effective_degrees(parts: &[(f64, f64)]) -> f64 {
    let u2 = combined(parts) * combined(parts);
    let lost: f64 = parts.iter().filter(|(_, degrees)| degrees.is_finite()).map(|(u, d)| u * u * u * u / d).sum();
    if lost > 0.0 { u2 * u2 / lost } else { f64::INFINITY }
}

/// Coverage factor for a level of confidence, two-sided: Student's t of the degrees of freedom cut down to a whole number (GUM
/// G.4.1), at least one.
#[must_use]
pub fn coverage(degrees: f64, confidence: f64) -> f64 {
    let quantile = f64::midpoint(1.0, confidence);
    let whole = degrees.floor().max(1.0);
    match StudentsT::new(0.0, 1.0, whole) {
        Ok(t) if whole.is_finite() => t.inverse_cdf(quantile),
        _ => Normal::standard().inverse_cdf(quantile),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GUM G.4.2: 25 % make 8 degrees of freedom; table E.1: 10 % make 50.
    #[test]
    fn a_doubtful_uncertainty_has_few_degrees() {
        assert!((degrees_of_part(0.25) - 8.0).abs() < 1e-12 && (degrees_of_part(0.10) - 50.0).abs() < 1e-9);
    }

    /// GUM table G.2: t for 95 % and 1, 4, 9, 16, infinitely many degrees of freedom.
    #[test]
    fn coverage_is_that_of_the_printed_table() {
        for (degrees, printed) in [(1.0, 12.71), (4.9, 2.78), (9.0, 2.26), (16.0, 2.12), (f64::INFINITY, 1.960)] {
            assert!((coverage(degrees, 0.95) - printed).abs() < 0.005, "{degrees}: {}", coverage(degrees, 0.95));
        }
    }

    #[test]
    fn limits_that_hold_for_certain_cost_no_degrees() {
        assert_eq!(effective_degrees(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]), f64::INFINITY);
        assert!((combined(&[(3.0, f64::INFINITY), (4.0, 8.0)]) - 5.0).abs() < 1e-12);
        assert!((effective_degrees(&[(3.0, f64::INFINITY), (4.0, 8.0)]) - 625.0 / 32.0).abs() < 1e-9);
    }
}
