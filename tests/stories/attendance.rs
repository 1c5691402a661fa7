//! Somebody in attendance: asked for, overdue, nobody there; answered by the one on duty alone; handed over.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::Monitor;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::Priority;
use brimwatch::engine::input::{AlarmId, AlarmKey, Carried, Entry, Event, What};
use brimwatch::time::{EngineTime, SECOND_NS};

/// The interval of these stories, s; the shipped bay's response time is 60 s.
const EVERY_S: u64 = 300;
const STEPS: [AlarmId; 3] = [AlarmId::AttendanceDue, AlarmId::AttendanceOverdue, AlarmId::NobodyAttends];

fn story() -> Story {
    let (mut settings, delivery) = shipped();
    #[expect(clippy::cast_precision_loss, reason = "minutes")]
    let every_s = EVERY_S as f64;
    settings.limits.attendance_s = Some(every_s);
    assert!((settings.limits.response_time_s - 60.0).abs() < 1e-9);
    let mut story = Story::with(settings, delivery);
    story.start();
    story
}

fn key(id: AlarmId) -> AlarmKey {
    AlarmKey { id, subject: 0 }
}

/// Which steps are open, and how grave each is.
fn open(story: &Story) -> Vec<(AlarmId, Priority)> {
    let mine = story.last.alarms.iter().filter(|alarm| STEPS.contains(&alarm.key.id));
    let mut open: Vec<_> = mine.map(|alarm| (alarm.key.id, alarm.priority)).collect();
    open.sort();
    open
}

fn attended() -> What {
    What::Attended { screen: "bay-1".into() }
}

fn entry(who: &str, what: What) -> Entry {
    Entry { who: who.into(), leg: 1, what }
}

fn handed_over(out: &str, to: &str) -> What {
    What::HandedOver { out: Some(out.into()), to: to.into(), state: "The transfer is on.".into() }
}

#[test]
fn asked_for_then_overdue_low_then_high() {
    let mut story = story();
    let (due, overdue, nobody) = ((STEPS[0], Priority::Low), (STEPS[1], Priority::Low), (STEPS[2], Priority::High));
    let after = |s: u64| START_S + EVERY_S + s;
    for (until_s, expected) in [
        (after(0) - 1, vec![]),
        (after(2), vec![due]),
        (after(58), vec![due]),
        (after(62), vec![due, overdue]),
        (after(118), vec![due, overdue]),
        (after(122), vec![due, overdue, nobody]),
    ] {
        story.run_to(until_s);
        assert_eq!(open(&story), expected, "{until_s} s");
    }
    // To have seen it is not to be there.
    STEPS.iter().for_each(|id| story.entry(What::Seen(key(*id))));
    story.run_to(after(200));
    assert_eq!(open(&story).len(), 3);
    story.entry(attended());
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds")]
    let off_s = story.settings.thresholds.off_delay_s as u64;
    story.run_to(after(202 + off_s));
    assert_eq!(open(&story), [], "they go by themselves");
    assert_eq!(story.last.attendance.on_duty.as_deref(), Some("attendant"));
    let due_at = story.last.attendance.due_at.expect("asked for again");
    assert_eq!(due_at.0 / SECOND_NS, after(200 + EVERY_S));
    story.entry(What::Closed);
    story.run_to(after(1_200));
    assert_eq!((open(&story), story.last.attendance.due_at), (vec![], None), "nobody is asked outside a transfer");
}

/// Another name, however good, and a hand-over count for nothing.
#[test]
fn only_the_one_on_duty_answers_and_a_hand_over_does_not() {
    let mut story = story();
    story.run_to(START_S + EVERY_S + 10);
    let refuses = |story: &Story, entry: &Entry| story.monitor.admits_entry(entry).expect_err("refused");
    let other = entry("B. Brook", attended());
    assert_eq!(refuses(&story, &other), Refusal::NotOnDuty);
    story.feed(Event::Entry(other.clone()));
    story.run_to(START_S + EVERY_S + 50);
    assert_eq!(open(&story).len(), 1);
    for (what, why) in [
        (handed_over("somebody", "B. Brook"), Refusal::DutyChanged),
        (handed_over("attendant", " "), Refusal::NotReadBack),
        (handed_over("attendant", "attendant"), Refusal::OnDutyAlready),
        (
            What::HandedOver { out: Some("attendant".into()), to: "B. Brook".into(), state: String::new() },
            Refusal::NotReadBack,
        ),
    ] {
        assert_eq!(refuses(&story, &entry("attendant", what.clone())), why);
        story.entry(what);
    }
    assert_eq!(story.last.attendance.on_duty.as_deref(), Some("attendant"));
    story.entry(handed_over("attendant", "B. Brook"));
    assert_eq!(story.last.attendance.on_duty.as_deref(), Some("B. Brook"));
    story.run_to(START_S + EVERY_S + 70);
    assert_eq!(open(&story).len(), 2, "the time runs on");
    assert_eq!(refuses(&story, &entry("attendant", attended())), Refusal::NotOnDuty);
    story.feed(Event::Entry(other));
    story.run_to(START_S + EVERY_S + 140);
    assert_eq!(open(&story), []);
}

/// A kill, another version of the program: who is on duty and how long nobody has answered cross.
#[test]
fn duty_and_time_cross_into_the_next_segment_and_a_replay_gives_the_same() {
    let mut story = story();
    story.run_to(START_S + 200);
    let mut replayed = Monitor::new(story.settings.clone(), Carried::default());
    for (input, output) in story.inputs.iter().zip(&story.outputs) {
        assert_eq!(replayed.step(input), *output);
    }
    story.new_segment(|_| {});
    assert_eq!(story.last.attendance.on_duty.as_deref(), Some("attendant"));
    let due_at = story.last.attendance.due_at.expect("a transfer");
    let left_s = due_at.since_s(EngineTime(0));
    assert!((left_s - 100.0).abs() < 2.0, "{left_s} s");
    story.run_to(START_S + EVERY_S + 3);
    assert_eq!(open(&story).len(), 1);
}

#[test]
fn where_the_site_asks_for_none_nobody_is_asked() {
    let mut story = Story::transferring(START_S + 1_000);
    assert_eq!((open(&story), story.last.attendance.due_at), (vec![], None));
    assert_eq!(story.monitor.admits_entry(&entry("attendant", attended())), Err(Refusal::AttendanceNotAsked));
    story.entry(attended());
    assert_eq!(story.last.attendance.on_duty.as_deref(), Some("attendant"), "who started is on duty all the same");
}
