//! A wall clock that somebody sets in the midst of a transfer: times of day change, nothing else does.

use super::bay::{START_S, Story, Truth};
use brimwatch::engine::checks::CheckId;
use brimwatch::engine::frame::{Alarm, Frame};
use brimwatch::engine::input::{AlarmId, AlarmKey, Event};
use brimwatch::time::WallTime;

/// Half a kilogram a second is lost after the meter from 300 s on: there is an alarm that must come, and when.
fn leak(truth: &mut Truth) {
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let lost = 0.5 * truth.s.saturating_sub(START_S + 300) as f64;
    truth.received_kg -= lost;
}

/// All that must not hang on the wall clock. An alarm says since what time of day it is there, and how long ago the
/// shut-off was tested is counted in calendar days.
fn told(frame: &Frame) -> Frame {
    let alarms = frame.alarms.iter().map(|alarm| Alarm { since: WallTime(0), ..*alarm }).collect();
    let checks = frame.checks.iter().filter(|check| check.id != CheckId::ShutoffTested).cloned().collect();
    let mut told = Frame { alarms, checks, ..frame.clone() };
    told.clock.at = told.at;
    told.clock.wall = WallTime(0);
    told
}

/// Set back by a day, and forward by an hour, at moments at which nothing else happens.
#[test]
fn a_stepped_clock_changes_nothing_but_the_clock() {
    const HOUR_NS: i64 = 3_600_000_000_000;
    let steps = [(START_S + 200, 24 * -HOUR_NS), (START_S + 420, HOUR_NS), (START_S + 700, 0)];
    let begin = || {
        let mut story = Story::opened();
        story.bend = leak;
        story.start();
        story
    };
    let (mut plain, mut stepped) = (begin(), begin());
    let mut found = 0;
    for s in START_S + 1..START_S + 1_200 {
        if let Some((_, wall)) = steps.iter().find(|(at, _)| *at == s) {
            stepped.feed(Event::Clock(WallTime(*wall)));
            assert_eq!(stepped.last.clock.wall, WallTime(*wall));
        }
        plain.run_to(s);
        stepped.run_to(s);
        assert_eq!(told(&stepped.last), told(&plain.last), "{s} s");
        found += u64::from(plain.monitor.has_open(AlarmKey { id: AlarmId::WitnessesDisagree, subject: 0 }));
    }
    assert!(found > 100, "the leak was to be found meanwhile");
    assert_ne!(stepped.last.clock, plain.last.clock);
}
