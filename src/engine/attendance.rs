//! Somebody in attendance: asked for at the site's interval while a transfer is on, answered only by the one on duty.
//!
//! Whoever unloads a cargo tank must be attended the whole time by a qualified person who is awake and sees it (49 CFR
//! 177.834(i)). No entry proves that; one that is missing says that somebody must look. Three steps, a response time
//! apart: the prompt, overdue, and nobody there. The time runs on through a hand-over: who comes has still to answer.

use super::delivery::Refusal;
use super::frame::{AttendanceState, Condition, Phase};
use super::input::{AlarmId, AlarmKey, CarriedAttendance, Entry, What};
use super::settings::Limits;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// Each step and how many response times after the interval it comes.
const STEPS: [(AlarmId, f64); 3] =
    [(AlarmId::AttendanceDue, 0.0), (AlarmId::AttendanceOverdue, 1.0), (AlarmId::NobodyAttends, 2.0)];

/// Who is on duty, and since when nobody has said that they are there.
#[derive(Debug, Clone, Default)]
pub struct Attendance {
    on_duty: Option<String>,
    since: EngineTime,
    /// What had gone by when this segment began, s.
    earlier_s: f64,
}

impl Attendance {
    /// As another segment left it.
    #[must_use]
    pub fn carried(carried: &CarriedAttendance) -> Attendance {
        Attendance { on_duty: carried.on_duty.clone(), since: EngineTime(0), earlier_s: carried.waited_s }
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self, at: EngineTime) -> CarriedAttendance {
        CarriedAttendance { on_duty: self.on_duty.clone(), waited_s: self.waited_s(at) }
    }

    fn waited_s(&self, at: EngineTime) -> f64 {
        self.earlier_s + at.since_s(self.since)
    }

    /// A transfer starts: who says so is on duty where nobody is yet.
    pub fn start(&mut self, who: &str, at: EngineTime) {
        self.on_duty.get_or_insert_with(|| who.to_owned());
        self.attended(at);
    }

    /// The one on duty is there.
    pub fn attended(&mut self, at: EngineTime) {
        (self.since, self.earlier_s) = (at, 0.0);
    }

    /// Another one is on duty from here on. It is no attendance.
    pub fn hand_over(&mut self, to: &str) {
        self.on_duty = Some(to.trim().to_owned());
    }

    /// Whether an entry about attendance is taken.
    ///
    /// # Errors
    /// Why not.
    pub fn admits(&self, limits: &Limits, phase: Phase, entry: &Entry) -> Result<(), Refusal> {
        match &entry.what {
            What::Attended { .. } if phase != Phase::Transfer => Err(Refusal::NotTransferring),
            What::Attended { .. } if limits.attendance_s.is_none() => Err(Refusal::AttendanceNotAsked),
            What::Attended { .. } if self.on_duty.as_ref() != Some(&entry.who) && !planted(Bug::AnybodyAttends) => {
                Err(Refusal::NotOnDuty)
            }
            What::HandedOver { .. } if !matches!(phase, Phase::Opened | Phase::Transfer) => Err(Refusal::NoDelivery),
            What::HandedOver { out, .. } if *out != self.on_duty => Err(Refusal::DutyChanged),
            What::HandedOver { to, state, .. } if to.trim().is_empty() || state.trim().is_empty() => {
                Err(Refusal::NotReadBack)
            }
            What::HandedOver { to, .. } if self.on_duty.as_deref() == Some(to.trim()) => Err(Refusal::OnDutyAlready),
            _ => Ok(()),
        }
    }

    /// Whether each step has come.
    #[must_use]
    pub fn conditions(&self, limits: &Limits, phase: Phase, at: EngineTime) -> [(AlarmKey, Condition); 3] {
        let asked_s = limits.attendance_s.filter(|_| phase == Phase::Transfer);
        STEPS.map(|(id, times)| {
            let come = asked_s.is_some_and(|s| self.waited_s(at) >= s + times * limits.response_time_s);
            (AlarmKey { id, subject: 0 }, if come { Condition::True } else { Condition::False })
        })
    }

    /// The alarms that an attendance answers.
    pub fn answers() -> impl Iterator<Item = AlarmKey> {
        STEPS.into_iter().map(|(id, _)| AlarmKey { id, subject: 0 })
    }

    /// As the frame shows it.
    #[must_use]
    pub fn frame(&self, limits: &Limits, phase: Phase) -> AttendanceState {
        let asked_s = limits.attendance_s.filter(|_| phase == Phase::Transfer);
        let due_at = asked_s.map(|s| self.since.plus_s(s - self.earlier_s));
        AttendanceState { on_duty: self.on_duty.clone(), due_at }
    }
}
