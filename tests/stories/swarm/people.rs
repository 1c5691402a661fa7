//! What people at the bay enter: "seen", "I am here", shelves, and what they should not.

use super::checks::Findings;
use super::driver::Bench;
use super::plan::{People, Plan, Slip};
use super::run::Known;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::{Condition, Frame, Phase};
use brimwatch::engine::input::{AlarmId, AlarmKey, What};
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch_simulator::noise::Chance;
use std::collections::BTreeSet;

/// Nobody lets NobodyAttends stand for longer than this, s.
const CALLED_S: u64 = 300;

/// The attendant.
pub struct Attendant {
    people: People,
    settings: Settings,
    papers: DeliverySetup,
    chance: Chance,
    /// The prompt that is open now is answered.
    answers: Option<bool>,
    seen_s: f64,
    shelved: BTreeSet<AlarmKey>,
    /// Alarms that "seen" was pressed of after the last frame, while they held.
    pressed: Vec<AlarmKey>,
}

impl Attendant {
    /// As the plan has it.
    pub fn new(plan: &Plan) -> Attendant {
        Attendant {
            people: plan.people.clone(),
            settings: plan.settings.clone(),
            papers: plan.papers.clone(),
            chance: Chance::new(plan.seed, 953),
            answers: None,
            seen_s: 0.0,
            shelved: BTreeSet::new(),
            pressed: Vec::new(),
        }
    }

    /// From here on nothing is left out.
    pub fn diligent(&mut self) {
        (self.people.attends, self.people.sees_every_s, self.people.shelves_s) = (1.0, 5.0, 0.0);
        self.people.slips.clear();
    }

    /// What is entered after a frame; whether "seen" was pressed.
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    pub fn second(&mut self, bench: &mut Bench, known: &mut Known, frame: &Frame, findings: &mut Findings) -> bool {
        self.held(known, frame, findings);
        let s = known.s as f64;
        for (_, slip) in self.people.slips.clone().iter().filter(|(at_s, _)| (s - 1.0..s).contains(at_s)) {
            self.slip(*slip, bench, known, findings);
        }
        self.attend(bench, known, frame);
        self.shelve(bench, frame);
        if s - self.seen_s < self.people.sees_every_s {
            return false;
        }
        self.seen_s = s;
        let open: Vec<_> = frame.alarms.iter().filter(|alarm| !alarm.seen).collect();
        for alarm in &open {
            // One that went since the frame is refused, rightly.
            let taken = bench.say("attendant", What::Seen(alarm.key)).is_ok();
            if taken && alarm.condition == Condition::True {
                self.pressed.push(alarm.key);
            }
        }
        !open.is_empty()
    }

    /// "Seen" clears nothing that holds.
    fn held(&mut self, known: &Known, frame: &Frame, findings: &mut Findings) {
        for key in self.pressed.drain(..) {
            let now = frame.alarms.iter().find(|a| a.key == key && a.condition == Condition::True);
            let seen = now.is_none_or(|alarm| alarm.seen);
            findings.must("\"seen\" clears nothing", known.s, seen, || format!("{now:?}"));
        }
    }

    fn attend(&mut self, bench: &mut Bench, known: &mut Known, frame: &Frame) {
        let due = frame.alarms.iter().any(|a| a.key.id == AlarmId::AttendanceDue && a.condition == Condition::True);
        if !due {
            self.answers = None;
            return;
        }
        let answers = *self.answers.get_or_insert_with(|| self.chance.uniform() < self.people.attends);
        let asked_s = self.settings.limits.attendance_s.unwrap_or(f64::INFINITY);
        #[expect(clippy::cast_precision_loss, reason = "hours")]
        let long = (known.s - known.attended_s) as f64 > asked_s + CALLED_S as f64;
        if answers || long {
            let there = What::Attended { screen: "bay screen".into() };
            if bench.say("attendant", there).is_ok() {
                known.attended_s = known.s;
            }
        }
    }

    fn shelve(&mut self, bench: &mut Bench, frame: &Frame) {
        if self.people.shelves_s <= 0.0 {
            return;
        }
        let open = frame.alarms.iter().map(|a| a.key);
        for key in open.filter(|key| catalogue::may_set_aside(&self.settings, *key)) {
            if self.shelved.insert(key) {
                let _ = bench.say("attendant", What::Shelved { key, for_s: self.people.shelves_s });
            }
        }
    }

    /// An entry that does not fit is refused, and changes nothing.
    fn slip(&self, slip: Slip, bench: &mut Bench, known: &Known, findings: &mut Findings) {
        let tank = self.papers.tank;
        let fits = match slip {
            Slip::Start => known.phase == Phase::Opened,
            Slip::CloseTooSoon => known.phase == Phase::Transfer,
            Slip::Open => !matches!(known.phase, Phase::Opened | Phase::Transfer),
            _ => false,
        };
        if fits {
            return;
        }
        let (who, what) = match slip {
            Slip::Start => ("attendant", What::TransferStarted),
            Slip::CloseTooSoon => ("attendant", What::Closed),
            Slip::Open => ("attendant", What::DeliveryOpened(Box::new(self.papers.clone()))),
            Slip::SeenNothing => ("attendant", What::Seen(AlarmKey { id: AlarmId::EstimatesRestarted, subject: 0 })),
            Slip::ShelveLevel => (
                "attendant",
                What::Shelved { key: AlarmKey { id: AlarmId::LevelHighHigh, subject: tank }, for_s: 60.0 },
            ),
            Slip::OtherAttends => ("visitor", What::Attended { screen: "bay screen".into() }),
            Slip::Dip => ("attendant", What::Dipped { level_m: 1.0 }),
        };
        let before = bench.monitor.frame();
        let said: Result<(), Refusal> = bench.say(who, what);
        let after = bench.monitor.frame();
        findings.must("an entry that does not fit is refused", known.s, said.is_err(), || format!("{slip:?}"));
        findings
            .must("what was refused changes nothing", known.s, said.is_ok() || before == after, || format!("{slip:?}"));
    }
}
