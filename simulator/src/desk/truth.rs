//! What was really wrong in a drill, for its recording.

use super::log::{Done, Log};
use super::outcome::{Outcome, gone_wrong, works_differ};
use super::told::Ahead;
use crate::wrong::GoesWrong;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::input::AlarmId;
use brimwatch::recording::truth::{Fault, Harm, Truth};

/// Of a drill's log up to a plant time, by the engine time of its recording.
#[must_use]
pub fn of(log: &Log, until_s: f64, ahead: &Ahead, outcome: &Outcome) -> Truth {
    let zero_s = log.started_s().unwrap_or(until_s);
    let code = |id: AlarmId| catalogue::of(id).name.to_owned();
    let known = |code: &String| catalogue::named(code).is_some();
    // The scenario's alarm is for the first that it lets go wrong.
    let own = log.scenario.alarm.as_ref().map(|alarm| alarm.replace(' ', "_"));
    let mut own_left = own.clone();
    let mended = |from_s: f64| {
        let mended = log.done.iter().find(|(at_s, done)| *done == Done::Mended && *at_s >= from_s);
        mended.map(|(at_s, _)| *at_s)
    };
    let fault = |wrong: &GoesWrong, from_s: f64, own: Option<String>| {
        let alarm = own.filter(known).or_else(|| wrong.what.alarm().map(code));
        let mut brings: Vec<String> = wrong.what.brings().iter().copied().map(code).collect();
        brings.extend(alarm.clone().filter(|alarm| !brings.contains(alarm)));
        let ends = [Some(from_s + wrong.for_s).filter(|s| s.is_finite()), mended(from_s)];
        let to_s = ends.into_iter().flatten().min_by(f64::total_cmp).filter(|_| !wrong.what.stays());
        Fault {
            what: wrong.to_string(),
            alarm,
            brings,
            from_s: ahead.engine_s(from_s),
            to_s: to_s.map(|to_s| ahead.engine_s(to_s)),
        }
    };
    let mut faults: Vec<Fault> = Vec::new();
    if works_differ(log) {
        let alarm = own_left.take().filter(known);
        let brings = alarm.clone().into_iter().collect();
        faults.push(Fault { what: log.scenario.title.clone(), alarm, brings, from_s: 0.0, to_s: None });
    }
    for (at_s, wrong) in gone_wrong(log, until_s, zero_s) {
        faults.push(fault(wrong, zero_s + at_s, own_left.take()));
    }
    for (at_s, done) in &log.done {
        if let Done::Fault(wrong) = done {
            let from_s = at_s + wrong.at_s.unwrap_or(0.0);
            faults.extend((from_s < until_s).then(|| fault(wrong, from_s, None)));
        }
    }
    let harm = outcome.bad_end.as_ref().filter(|_| outcome.ended_badly).map(|end| Harm {
        what: end.what.clone(),
        alarm: own.filter(known),
        at_s: ahead.engine_s(zero_s + end.at_s),
    });
    Truth { faults, harm }
}
