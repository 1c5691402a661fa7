//! Alarms that are suppressed by design (ANSI/ISA-18.2 and IEC 62682 as published): the state of the plant makes their
//! condition hold as a matter of course, so it calls nobody out. Which and why stands in the frame for as long.
//!
//! Never what warns of level, pressure, missing mass, another product or a reaction, nor what makes a witness; by the site
//! file never in a transfer. A suppressed alarm that is open already goes as if its condition were over: after the
//! off-delay, once somebody has seen it.

use super::catalogue;
use super::condition::Sight;
use crate::engine::frame::{Condition, Phase, Suppressed, SuppressedBy};
use crate::engine::input::{AlarmId, AlarmKey};

impl Sight<'_> {
    /// Of these answers those that hold and are suppressed.
    #[must_use]
    pub fn suppressed(&self, answers: &[(AlarmKey, Condition)]) -> Vec<Suppressed> {
        let holds = answers.iter().filter(|(_, condition)| *condition == Condition::True);
        holds.filter_map(|&(key, _)| Some(Suppressed { key, by: self.suppressed_by(key)? })).collect()
    }

    fn suppressed_by(&self, key: AlarmKey) -> Option<SuppressedBy> {
        if !matches!(key.id, AlarmId::SignalLost | AlarmId::ReadingUnlikely) {
            return None;
        }
        if key.id == AlarmId::SignalLost && self.gas_is_in(key.subject) {
            return Some(SuppressedBy::GasInLine);
        }
        let setup = self.settings.signals.get(usize::from(key.subject))?;
        let phase = self.phase();
        let named = phase != Phase::Transfer && setup.suppressed_in.contains(&phase);
        (named && catalogue::may_set_aside(self.settings, key)).then_some(SuppressedBy::SiteFile)
    }
}
