//! What was really wrong in a drill, for its recording.

use super::log::{Done, Log};
use super::outcome::{Outcome, gone_wrong, works_differ};
use super::told::{Ahead, words};
use crate::instruments::{Instrument, Wrong};
use crate::plant::fault::Mishap;
use crate::wrong::{GoesWrong, What};
use brimwatch::engine::input::{AlarmId, Status};
use brimwatch::recording::truth::{Fault, Harm, Truth};

/// Of a drill's log up to a plant time, by the engine time of its recording.
#[must_use]
pub fn of(log: &Log, until_s: f64, ahead: &Ahead, outcome: &Outcome) -> Truth {
    let zero_s = log.started_s().unwrap_or(until_s);
    let code = |id: AlarmId| words(id).replace(' ', "_");
    let known = |code: &String| code != "none";
    // The scenario's alarm is for the first that it lets go wrong.
    let own = log.scenario.alarm.as_ref().map(|alarm| alarm.replace(' ', "_"));
    let mut own_left = own.clone();
    let mended = |from_s: f64| {
        let mended = log.done.iter().find(|(at_s, done)| *done == Done::Mended && *at_s >= from_s);
        mended.map(|(at_s, _)| *at_s)
    };
    let fault = |wrong: &GoesWrong, from_s: f64, own: Option<String>| {
        let alarm = own.filter(known).or_else(|| alarm(wrong.what).map(code));
        let mut brings: Vec<String> = brings(wrong.what).iter().copied().map(code).collect();
        brings.extend(alarm.clone().filter(|alarm| !brings.contains(alarm)));
        let ends = [Some(from_s + wrong.for_s).filter(|s| s.is_finite()), mended(from_s)];
        let to_s = ends.into_iter().flatten().min_by(f64::total_cmp).filter(|_| !stays(wrong.what));
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

/// Alarms that it can rightly bring, the one that is for it first. None: masses and pressures stay as they are.
fn brings(wrong: What) -> &'static [AlarmId] {
    use AlarmId as A;
    const LOST: &[A] = &[A::SignalLost, A::WitnessesDisagree, A::OneWitnessLeft, A::NoWitness];
    const PAD: &[A] = &[A::PadNearCeiling, A::PadAboveMawp, A::PadInReliefWindow];
    match wrong {
        What::Plant(mishap) => match mishap {
            Mishap::LeakBeforeMeter | Mishap::LeakAfterMeter | Mishap::OtherTank | Mishap::DrawOff => {
                &[A::WitnessesDisagree]
            }
            Mishap::Inflow => &[A::WitnessesDisagree, A::HighLevelProjected, A::LevelHighHigh, A::LevelSwitchTripped],
            Mishap::PadChange | Mishap::PadCreep | Mishap::RegulatorOpen => PAD,
            Mishap::SupplyLost => &[A::PadBelowTank, A::ReverseFlow],
            Mishap::DrivesOff => &[A::TruckGone, A::WitnessesDisagree, A::SignalLost, A::OneWitnessLeft],
            Mishap::LeakOnDeck | Mishap::Plug | Mishap::Clogging => &[],
        },
        What::Instrument(on, wrong) => match wrong {
            Wrong::Stuck | Wrong::Exception | Wrong::Silent | Wrong::Replayed => LOST,
            Wrong::Says(Status::Failure | Status::FunctionCheck) => LOST,
            // A doubtful witness still stands beside the others.
            Wrong::Says(_) => &[],
            Wrong::Shift | Wrong::Creep | Wrong::Gain | Wrong::Saturated | Wrong::Elsewhere => shows_wrong(on),
        },
    }
}

/// What a value can bring that is not so.
fn shows_wrong(on: Instrument) -> &'static [AlarmId] {
    use AlarmId as A;
    match on {
        Instrument::Pad => &[
            A::PadNearCeiling,
            A::PadAboveMawp,
            A::PadInReliefWindow,
            A::PadBelowTank,
            A::SignalLost,
            A::ReadingUnlikely,
        ],
        Instrument::Level | Instrument::SecondLevel | Instrument::LevelPressure => &[
            A::WitnessesDisagree,
            A::HighLevelProjected,
            A::LevelHighHigh,
            A::SignalLost,
            A::ReadingUnlikely,
            A::OneWitnessLeft,
        ],
        Instrument::LineDensity => &[A::WrongProduct, A::SignalLost, A::ReadingUnlikely],
        Instrument::TankTemperature => &[A::PossibleReaction, A::SignalLost, A::ReadingUnlikely],
        Instrument::HighLevelSwitch => &[A::LevelSwitchTripped],
        Instrument::ShutoffBypassed => &[A::ShutoffBypassed],
        _ => &[
            A::WitnessesDisagree,
            A::SignalLost,
            A::ReadingUnlikely,
            A::OneWitnessLeft,
            A::MovementOutsideTransfer,
            A::ReverseFlow,
        ],
    }
}

/// The alarm that must come for it, whatever its size; none: it hangs on that.
fn alarm(wrong: What) -> Option<AlarmId> {
    let whatever = match wrong {
        What::Plant(mishap) => stays(wrong) || mishap == Mishap::DrivesOff,
        What::Instrument(_, wrong) => match wrong {
            Wrong::Stuck | Wrong::Exception | Wrong::Silent | Wrong::Replayed => true,
            Wrong::Says(says) => says >= Status::FunctionCheck,
            _ => false,
        },
    };
    brings(wrong).first().copied().filter(|_| whatever)
}

/// What was mended still shows: mass that went astray stays so.
fn stays(wrong: What) -> bool {
    brings(wrong).first() == Some(&AlarmId::WitnessesDisagree) && matches!(wrong, What::Plant(_))
}
