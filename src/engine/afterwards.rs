//! After the leg is closed: tank and line stay watched until the trailer is released, and half an hour beyond.
//!
//! What lay in the line runs on, a valve passes, a reaction is slow. The trailer is released by a step of that name; where
//! a site has none, or nobody signs it, the watch over the closed delivery ends with the day or with the next delivery.

use super::delivery::Delivery;
use super::frame::Phase;
use super::settings::Settings;
use super::steps::Side;
use crate::time::EngineTime;

/// Name of the step with which the trailer may go.
const RELEASE: &str = "released";
/// Watched for so long after that, s.
const BEYOND_S: f64 = 1_800.0;
/// One that nobody releases is watched for so long after it was closed, s.
const UNRELEASED_S: f64 = 86_400.0;

impl Delivery {
    /// A step was signed or let go: it may have been the release.
    pub fn look_for_release(&mut self, settings: &Settings, at: EngineTime) {
        let step = settings.steps.iter().find(|step| step.id == RELEASE);
        let mark = self.marks.iter().find(|mark| mark.step == RELEASE);
        let (Some(step), Some(mark), Phase::Closed) = (step, mark, self.phase) else { return };
        let has_signed = |side: Side| mark.signatures.iter().any(|signature| signature.side == side);
        let is_signed =
            [Side::Site, Side::Driver].into_iter().all(|side| !step.signed_by.asks(side) || has_signed(side));
        if mark.skipped || is_signed {
            self.released.get_or_insert(at);
        }
    }

    /// The trailer was released, and the time beyond is over.
    #[must_use]
    pub fn is_over(&self, at: EngineTime) -> bool {
        self.released.is_some_and(|released| at.since_s(released) >= BEYOND_S)
    }

    /// It must not be cut off from its watch.
    #[must_use]
    pub fn is_watched(&self, at: EngineTime) -> bool {
        let is_forgotten = self.closed.is_some_and(|closed| at.since_s(closed) >= UNRELEASED_S);
        match self.phase {
            Phase::Closed => self.rejected.is_none() && !self.is_over(at) && !is_forgotten,
            _ => true,
        }
    }
}
