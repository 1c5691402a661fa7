//! What must be called out, what may not be yet, and what may not be taken back.

use super::checks::{
    Findings, Since, credible, is_called_lost, is_durable, lowest_limit_pa, off_the_band, signal, witnesses,
};
use super::plan::Plan;
use super::run::Known;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::frame::{Alarm, Condition, Frame, Margin, Phase, VerdictWord};
use brimwatch::engine::input::{AlarmId, AlarmKey};
use brimwatch::engine::settings::SignalKind;
use std::collections::{BTreeMap, BTreeSet};

/// Frames are looked at once a second: a delay may seem so much shorter, s.
const LOOK_S: f64 = 1.5;

/// The life of alarms in one delivery.
#[derive(Debug, Default)]
pub struct Alarms {
    open: BTreeMap<AlarmKey, Life>,
    /// Shelved in the last frame.
    aside: BTreeSet<AlarmKey>,
    since: Since,
}

#[derive(Debug, Clone, Copy)]
struct Life {
    alarm: Alarm,
    /// When its condition was last not "false", s.
    held_s: u64,
}

/// Whether an alarm is open, called out or set aside.
pub fn is_open(frame: &Frame, id: AlarmId, subject: u16) -> bool {
    let key = AlarmKey { id, subject };
    frame.alarms.iter().any(|a| a.key == key) || frame.shelves.iter().any(|s| s.key == key)
}

impl Alarms {
    /// Nobody watched: what has held so far is counted anew.
    pub fn slept(&mut self) {
        self.since = Since::default();
    }

    /// A second's frame.
    pub fn hold(&mut self, plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
        self.must_be_there(plan, known, frame, findings);
        self.may_go(plan, known, frame, findings);
    }

    /// Open alarms go when they were false for the off-delay and seen, never else.
    fn may_go(&mut self, plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
        let (s, delays) = (known.s, &plan.settings.thresholds);
        for (key, life) in &self.open {
            if frame.alarms.iter().any(|a| a.key == *key) || frame.shelves.iter().any(|shelf| shelf.key == *key) {
                continue;
            }
            #[expect(clippy::cast_precision_loss, reason = "hours")]
            let false_s = (s - life.held_s) as f64;
            let long = false_s + LOOK_S >= delays.off_delay_s;
            findings.must("only what was false for long goes", s, long, || {
                format!("{key:?} went {false_s} s after its condition was last not false")
            });
            let seen = life.alarm.seen || known.seen_now || !catalogue::of(key.id).latched;
            findings.must("only what was seen goes", s, seen, || format!("{key:?} went unseen"));
        }
        let held = |alarm: &Alarm| {
            // What was shelved said nothing of its condition meanwhile.
            let unknown_s = if self.aside.contains(&alarm.key) { 0 } else { s };
            let before = self.open.get(&alarm.key).map_or(unknown_s, |life| life.held_s);
            let held_s = if alarm.condition == Condition::False { before } else { s };
            (alarm.key, Life { alarm: *alarm, held_s })
        };
        self.open = frame.alarms.iter().map(held).collect();
        self.aside = frame.shelves.iter().map(|shelf| shelf.key).collect();
        for shelf in &frame.shelves {
            let over = shelf.until.0 + 1_500_000_000 < frame.at.0;
            findings.must("a shelf has an end", s, !over, || format!("{shelf:?} at {:?}", frame.at));
        }
    }

    /// What the frame itself says, or the clock.
    fn must_be_there(&mut self, plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
        use AlarmId as A;
        let on_s = plan.settings.thresholds.on_delay_s;
        let mut must = |id: AlarmId, subject: u16, holds: bool, delay_s: f64| {
            let held = self.since.held(catalogue::of(id).name, subject, holds, known.s);
            #[expect(clippy::cast_precision_loss, reason = "hours")]
            let long = held.is_some_and(|held| held as f64 >= delay_s + LOOK_S);
            findings.must("what holds is called out", known.s, !long || is_open(frame, id, subject), || {
                format!("{id:?} {subject} has held for {held:?} s and is not open")
            });
            held
        };
        for i in 0..frame.readings.len() {
            let subject = u16::try_from(i).unwrap_or(u16::MAX);
            must(A::SignalLost, subject, is_called_lost(plan, frame, i), 0.0);
        }
        let of = |kind| credible(frame, signal(&plan.settings, kind));
        let tank = plan.papers.tank;
        let levels = &plan.settings.tanks[usize::from(tank)];
        let level = of(SignalKind::Level);
        for (id, limit) in [
            (A::LevelWorking, levels.working.0),
            (A::LevelHighHigh, levels.high_high.0),
            (A::LevelCritical, levels.critical.0),
        ] {
            must(id, tank, level.is_some_and(|level| level >= limit), 0.0);
        }
        must(A::LevelSwitchTripped, tank, of(SignalKind::HighLevelSwitch) == Some(1.0), 0.0);
        let near = lowest_limit_pa(plan) * plan.settings.thresholds.near_ceiling;
        let (pad, open) = (of(SignalKind::PadPressure), frame.phase != Phase::Idle);
        let plate = &plan.papers.plate;
        let above = |limit: Option<f64>| open && pad.zip(limit).is_some_and(|(pad, limit)| pad > limit);
        must(A::PadNearCeiling, 0, open && pad.is_some_and(|pad| pad >= near), 0.0);
        must(A::PadAboveMawp, 0, above(plate.mawp.map(|p| p.0)), 0.0);
        must(A::PadInReliefWindow, 0, above(plate.relief_from.map(|p| p.0)), 0.0);
        must(A::RecorderTrouble, 0, !is_durable(frame.recorder), 0.0);
        let moves = of(SignalKind::FlowMassRate).is_some_and(|rate| rate.abs() > 0.1);
        let transfer = frame.phase == Phase::Transfer;
        must(A::MovementOutsideTransfer, 0, moves && !transfer, on_s);
        must(A::LoadTemperatureOff, tank, off_the_band(plan, frame), on_s);
        must(A::OneWitnessLeft, 0, transfer && witnesses(frame) == 1, on_s);
        must(A::NoWitness, 0, transfer && witnesses(frame) == 0, on_s);
        must(A::NotIndependent, 0, transfer && frame.verdict.word == VerdictWord::NotIndependent, on_s);
        for (id, times) in [(A::AttendanceDue, 0.0), (A::AttendanceOverdue, 1.0), (A::NobodyAttends, 2.0)] {
            let asked_s = plan.settings.limits.attendance_s.map(|s| s + times * plan.settings.limits.response_time_s);
            let late = asked_s.is_some_and(|asked_s| transfer && known.unattended_s() >= asked_s + LOOK_S);
            must(id, 0, late, 0.0);
        }
        let odd = matches!(frame.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
        let short = matches!(frame.margin, Margin::Known { kg, .. } if kg < 0.0) && open;
        must(A::WitnessesDisagree, 0, odd && transfer, on_s);
        let short_s = must(A::HighLevelProjected, tank, short, on_s);
        // What is said as the leg is closed stands, and its delay runs on.
        let odd_s = self.since.held("it is said to disagree", 0, odd, known.s);
        self.not_too_soon(
            known,
            frame,
            on_s,
            [(A::WitnessesDisagree, 0, odd_s), (A::HighLevelProjected, tank, short_s)],
            findings,
        );
    }

    /// What is estimated waits for its on-delay.
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    fn not_too_soon(
        &self,
        known: &Known,
        frame: &Frame,
        on_s: f64,
        held: [(AlarmId, u16, Option<u64>); 2],
        findings: &mut Findings,
    ) {
        for (id, subject, held_s) in held {
            let key = AlarmKey { id, subject };
            let new = !self.open.contains_key(&key) && frame.alarms.iter().any(|a| a.key == key);
            let waited = held_s.is_some_and(|held_s| held_s as f64 + LOOK_S >= on_s);
            // One that was shelved comes back as it is.
            let comes = new && !known.shelved;
            findings.must("what is estimated waits for the on-delay", known.s, !comes || waited, || {
                format!("{id:?} came after {held_s:?} s")
            });
        }
    }
}
