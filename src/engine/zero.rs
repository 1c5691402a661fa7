//! A new zero of the scale: what stands on the deck, or does not any more, is no product.
//!
//! An excuse for people on the deck ends after a while, and what stays is a finding. Only a person who knows the cause turns it
//! into a new zero. From then on the scale counts from what the others said at that moment; so it errs by what they erred by
//! then, and by what it errs by since: source by source, so that what it now shares with them is known. A difference that
//! grows is no zero.

use super::filter::PERSISTENT;
use super::frame::{Source, VerdictWord, WitnessId};
use super::input::{CarriedZero, ZeroCause};
use super::reconcile::Panel;
use super::witness::{Account, Budget, SOURCES};
use crate::time::EngineTime;

const SCALE: usize = WitnessId::Scale as usize;

/// A zero that a person has entered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// When.
    pub at: EngineTime,
    /// Why.
    pub cause: ZeroCause,
    /// What is added to what the scale says was received, kg.
    pub kg: f64,
    /// What that adds to its errors.
    budget: Budget,
}

impl Zero {
    /// From now on the scale says what the others say; None where there is no other, or no scale.
    #[must_use]
    pub fn now(
        at: EngineTime,
        cause: ZeroCause,
        accounts: &[Account; 3],
        panel: &Panel,
        before: Option<&Zero>,
    ) -> Option<Zero> {
        let others = panel.without(SCALE).combine()?;
        let scale = accounts[SCALE].credible()?;
        let mut budget = before.map_or(Budget::ZERO, |zero| zero.budget);
        let mut passing_kg2 = budget.0[Source::NewZero as usize] * budget.0[Source::NewZero as usize];
        for (i, source) in SOURCES.into_iter().enumerate() {
            let theirs = (0..3).filter(|&w| w != SCALE).map(|w| others.weights[w] * accounts[w].budget.0[i]);
            let theirs = theirs.fold(0.0, |sum, kg| sum + kg);
            let own = accounts[SCALE].budget.0[i];
            if PERSISTENT.contains(&source) {
                budget.0[i] += theirs - own;
            } else if source != Source::NewZero {
                passing_kg2 += theirs * theirs + own * own;
            }
        }
        budget.0[Source::NewZero as usize] = passing_kg2.sqrt();
        let kg = before.map_or(0.0, |zero| zero.kg) + others.received_kg.value - scale.value;
        Some(Zero { at, cause, kg, budget })
    }

    /// As another segment left it.
    #[must_use]
    pub fn carried(carried: &CarriedZero) -> Zero {
        let mut budget = Budget::ZERO;
        for line in &carried.budget {
            budget.add(line.source, line.kg);
        }
        Zero { at: EngineTime(0), cause: carried.cause, kg: carried.kg, budget }
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> CarriedZero {
        CarriedZero { cause: self.cause, kg: self.kg, budget: self.budget.lines() }
    }

    /// The scale's account from its new zero.
    pub fn apply(&self, account: &mut Account) {
        account.received_kg = account.received_kg.map(|kg| kg + self.kg);
        for (source, kg) in SOURCES.into_iter().zip(self.budget.0) {
            account.budget.add(source, kg);
        }
        let passing_kg = self.budget.0[Source::NewZero as usize];
        account.errors.start_kg = (account.errors.start_kg * account.errors.start_kg + passing_kg * passing_kg).sqrt();
    }
}

/// Why a person's new zero is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoZero {
    /// The scale is not under suspicion.
    NothingOff,
    /// What is missing grows.
    Grows,
    /// Nothing else says how much came in.
    NoOther,
}

/// Whether a new zero would be taken under this verdict.
///
/// # Errors
/// Why not.
pub fn admits(verdict: &super::frame::Verdict, others: usize) -> Result<(), NoZero> {
    let found = matches!(verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
    match (found && verdict.suspects[SCALE], verdict.growing, others) {
        (_, _, 0) => Err(NoZero::NoOther),
        (false, ..) => Err(NoZero::NothingOff),
        (true, Some(_), _) => Err(NoZero::Grows),
        (true, None, _) => Ok(()),
    }
}
