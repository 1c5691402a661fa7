//! What came of a drill: what happened, when it could first be known, when the monitor spoke, when the trainee saw and
//! acted, and what would have been spilled.

use super::course::Course;
use super::lives::Lives;
use super::log::{Done, Log};
use super::paper::clock;
use super::told::{Ahead, Told, together_kg, words};
use crate::bay::{Act, BAY_STEP_S};
use crate::harm::Harm;
use crate::wrong::GoesWrong;
use brimwatch::engine::input::AlarmId;
use maud::Markup;
use serde::Serialize;
use std::path::Path;

/// Longest that is looked ahead where nobody acts, s after the start.
const AHEAD_S: f64 = 14_400.0;
/// What is said of what only a plant can tell.
pub const NOT_KNOWN: &str = "not known: a recording has no true values";

/// Something at a time, s after the start of the transfer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moment {
    /// When, s after the start of the transfer; negative: before.
    pub at_s: f64,
    /// Who: "plant", "monitor", "trainee", "trainer", "recording" for entries that were made again.
    pub who: &'static str,
    /// What.
    pub what: String,
}

/// How much of a harm there was, and how much there would have been.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Damage {
    /// Of what.
    pub harm: String,
    /// Its SI unit.
    pub unit: &'static str,
    /// As the drill went; none: not known.
    pub was: Option<f64>,
    /// Had nobody acted; none: not known.
    pub would_have_been: Option<f64>,
}

/// What came of a drill.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// It was one.
    pub drill: bool,
    /// Name of the scenario.
    pub scenario: String,
    /// Its title.
    pub title: String,
    /// What is to be learnt.
    pub learn: String,
    /// Said of everything that nobody knows: what could be known when, and what came or would have come of it. None: a
    /// simulated plant has true values.
    pub not_known: Option<&'static str>,
    /// What happened, in the scenario's words, and what the trainer added.
    pub happened: String,
    /// The transfer was entered as started; otherwise times count from the end.
    pub started: bool,
    /// When it began, s after the start of the transfer; none: nothing went wrong.
    pub began_s: Option<f64>,
    /// When it could first be known and by which instrument.
    pub known: Option<Moment>,
    /// When the monitor first spoke of it.
    pub spoke: Option<Moment>,
    /// When the trainee said to have seen an alarm.
    pub seen: Option<Moment>,
    /// When the trainee first shut, closed or stopped something after it had begun.
    pub acted: Option<Moment>,
    /// The bad end that the scenario warns of, and when it would have come.
    pub bad_end: Option<Moment>,
    /// It did come.
    pub ended_badly: bool,
    /// Harm, as it was and as it would have been.
    pub damage: Vec<Damage>,
    /// Everything in order of time.
    pub time_line: Vec<Moment>,
    /// How long the drill went on, s after the start.
    pub lasted_s: f64,
    /// The recording that was played instead of a plant.
    pub played: Option<String>,
    /// Seed of everything that was drawn.
    pub seed: u64,
    /// The recording of the drill.
    pub recording: String,
}

/// What a trainer asks first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answers {
    /// When it began, s after the start of the transfer; none: nothing went wrong.
    pub began_s: Option<f64>,
    /// When it could first be known and by which instrument.
    pub known: Option<Moment>,
    /// When the monitor first spoke of it.
    pub spoke: Option<Moment>,
    /// When the trainee said to have seen an alarm.
    pub seen: Option<Moment>,
    /// When the trainee first shut, closed or stopped something after it had begun.
    pub acted: Option<Moment>,
    /// The bad end, when it came or would have come.
    pub bad_end: Option<Moment>,
    /// It did come.
    pub ended_badly: bool,
}

impl Answers {
    /// As far as a drill has come by the plant's time.
    #[must_use]
    pub fn of(log: &Log, told: &Told, lives: Option<&Lives>, until_s: f64) -> Answers {
        let zero_s = log.started_s().unwrap_or(until_s);
        let began_s = began(log, until_s, zero_s);
        // What was wrong with a recorded delivery by itself nobody knows: everything counts that was done about it.
        let from_s = began_s.or(lives.is_none().then_some(-zero_s));
        let after = |at_s: f64| from_s.is_some_and(|from| at_s >= from);
        let known = lives.and_then(|lives| lives.known.first());
        let known = known.map(|(at_s, what)| Moment { at_s: at_s - zero_s, who: "plant", what: what.clone() });
        let spoke = spoke(log, told, zero_s, (began_s, known.as_ref().map(|k| k.at_s).or(from_s)));
        let mut seen = told.seen.iter().map(|at_s| at_s - zero_s);
        let seen = seen.find(|&s| after(s) && spoke.as_ref().is_some_and(|m| s >= m.at_s));
        let seen = seen.map(|at_s| Moment { at_s, who: "trainee", what: "says that an alarm was seen".to_owned() });
        let stops = |act: &Act| matches!(act, Act::CloseValve | Act::ShutGas | Act::EmergencyStop | Act::StopBlowing);
        let acted = log.done.iter().find_map(|(at_s, done)| match done {
            Done::Act(act) if stops(act) && after(at_s - zero_s) => Some(moment(at_s - zero_s, "trainee", act)),
            _ => None,
        });
        let bad_end = lives.and_then(|lives| lives.ended_s.or(lives.bad_end_s).zip(lives.ends()));
        let bad_end = bad_end.map(|(s, end)| Moment { at_s: s - zero_s, who: "plant", what: end.to_string() });
        let ended_badly = lives.is_some_and(|lives| lives.ended_s.is_some());
        Answers { began_s, known, spoke, seen, acted, bad_end, ended_badly }
    }
}

impl Outcome {
    /// Of a drill's log up to a plant time, and its recording; with the picture of its course.
    ///
    /// # Errors
    /// When the recording cannot be read.
    pub fn of(log: &Log, until_s: f64, (recording, ahead): (&Path, &Ahead)) -> Result<(Outcome, Markup), String> {
        let mut lives = log.played.is_none().then(|| Lives::new(log));
        let told = Told::of(recording, ahead, |frame, at_s| match &mut lives {
            Some(lives) => {
                lives.follow(log, (at_s + BAY_STEP_S).min(until_s));
                lives.received_kg(at_s)
            }
            None => together_kg(frame),
        })?;
        let zero_s = log.started_s().unwrap_or(until_s);
        if let Some(lives) = &mut lives {
            lives.follow(log, until_s);
            lives.look_ahead(log, until_s.max(zero_s + log.scenario.lasts_s.min(AHEAD_S)));
        }
        let lives = lives.as_ref();
        let answers = Answers::of(log, &told, lives, until_s);
        let since = if log.started_s().is_some() {
            "min since the transfer was entered as started"
        } else {
            "min to the drill's end"
        };
        let course = Course { told: &told, lives, answers: &answers, zero_s, since, until_s, over: true };
        let picture = course.picture();
        let mut time_line: Vec<Moment> =
            told.moments.into_iter().map(|m| Moment { at_s: m.at_s - zero_s, ..m }).collect();
        time_line.extend(done(log, until_s, zero_s));
        let could = |known: Moment| Moment { what: format!("could first be known: {}", known.what), ..known };
        time_line.extend(answers.known.clone().map(could));
        time_line.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let scenario = &log.scenario;
        let Answers { began_s, known, spoke, seen, acted, bad_end, ended_badly } = answers;
        let outcome = Outcome {
            drill: true,
            scenario: scenario.name.clone(),
            title: scenario.title.clone(),
            learn: scenario.learn.clone(),
            not_known: lives.is_none().then_some(NOT_KNOWN),
            happened: happened(log, until_s, zero_s),
            started: log.started_s().is_some(),
            began_s,
            known,
            spoke,
            seen,
            acted,
            bad_end,
            ended_badly,
            damage: damage(lives),
            time_line,
            lasted_s: until_s - zero_s,
            played: log.played.as_ref().map(|path| path.display().to_string()),
            seed: log.seed,
            recording: recording.display().to_string(),
        };
        Ok((outcome, picture))
    }
}

fn happened(log: &Log, until_s: f64, zero_s: f64) -> String {
    let mut said = vec![log.scenario.happens.trim().to_owned()];
    if !log.scenario.goes_wrong.is_empty() && gone_wrong(log, until_s, zero_s).next().is_none() {
        said.push("The drill was ended before any of it came.".to_owned());
    }
    said.extend(log.done.iter().filter_map(|(at_s, done)| match done {
        Done::Fault(wrong) => Some(format!("At {} the trainer let go wrong: {wrong}.", clock(at_s - zero_s))),
        Done::Mended => Some(format!("At {} the trainer mended everything.", clock(at_s - zero_s))),
        Done::Started | Done::Act(_) => None,
    }));
    said.join(" ")
}

/// What the scenario let go wrong, and when, s after the start. A drill may end before all of it has come.
pub(super) fn gone_wrong(log: &Log, until_s: f64, zero_s: f64) -> impl Iterator<Item = (f64, &GoesWrong)> {
    let wrong = log.scenario.goes_wrong.iter().map(move |wrong| (wrong.at_s.unwrap_or(-zero_s), wrong));
    wrong.filter(move |(at_s, _)| *at_s < until_s - zero_s)
}

/// The first that went wrong, s after the start.
fn began(log: &Log, until_s: f64, zero_s: f64) -> Option<f64> {
    let by_scenario = gone_wrong(log, until_s, zero_s).map(|(at_s, _)| at_s);
    let works = Some(-zero_s).filter(|_| works_differ(log));
    let by_trainer = log.done.iter().filter_map(|(at_s, done)| match done {
        Done::Fault(wrong) => Some(at_s - zero_s + wrong.at_s.unwrap_or(0.0)),
        _ => None,
    });
    let all = by_scenario.chain(works).chain(by_trainer);
    all.filter(|at_s| *at_s < until_s - zero_s).min_by(f64::total_cmp)
}

/// The works or the load are not what the papers say.
pub(super) fn works_differ(log: &Log) -> bool {
    log.scenario.works != log.scenario.sound_works()
}

/// The first alarm that is for it: the scenario's own, or where that is silent the first after it could be known. That
/// somebody should be at the valve soon is said of every transfer.
fn spoke(log: &Log, told: &Told, zero_s: f64, (began_s, from_s): (Option<f64>, Option<f64>)) -> Option<Moment> {
    let from_s = from_s?;
    // What was called out before anything went wrong was about something else.
    let since = |at_s: f64| began_s.is_none_or(|began_s| at_s - zero_s >= began_s);
    let own = told.spoke.iter().find(|(at_s, key)| since(*at_s) && Some(words(key.id)) == log.scenario.alarm);
    let any = || told.spoke.iter().find(|(at_s, key)| at_s - zero_s >= from_s && key.id != AlarmId::BeAtValve);
    let (at_s, key) = own.or_else(any)?;
    Some(Moment { at_s: at_s - zero_s, who: "monitor", what: words(key.id) })
}

fn moment(at_s: f64, who: &'static str, act: &Act) -> Moment {
    Moment { at_s, who, what: does(act) }
}

/// An act in words.
#[must_use]
pub fn does(act: &Act) -> String {
    match act {
        Act::OpenValve => "opens the valve".to_owned(),
        Act::CloseValve => "closes the valve".to_owned(),
        Act::OpenGas => "opens the gas".to_owned(),
        Act::ShutGas => "shuts the gas".to_owned(),
        Act::MoveRegulator(pa) => format!("moves the regulator by {:+.0} kPa", pa / 1000.0),
        Act::Blow => "blows the hose clear".to_owned(),
        Act::StopBlowing => "stops blowing".to_owned(),
        Act::EmergencyStop => "presses the emergency stop".to_owned(),
        Act::Release => "releases the emergency stop".to_owned(),
    }
}

/// Everything that was done or went wrong, for the time line.
fn done(log: &Log, until_s: f64, zero_s: f64) -> Vec<Moment> {
    let wrong = gone_wrong(log, until_s, zero_s);
    let wrong = wrong.map(|(at_s, wrong)| Moment { at_s, who: "plant", what: wrong.what.to_string() });
    let done = log.done.iter().filter_map(|(at_s, done)| {
        let (who, what) = match done {
            Done::Started => return None,
            Done::Act(act) => ("trainee", does(act)),
            Done::Fault(wrong) => ("trainer", format!("lets go wrong: {wrong}")),
            Done::Mended => ("trainer", "mends everything".to_owned()),
        };
        Some(Moment { at_s: at_s - zero_s, who, what })
    });
    wrong.chain(done).collect()
}

/// Harm at the drill's end, and at the same scenario's own end had nobody acted.
fn damage(lives: Option<&Lives>) -> Vec<Damage> {
    let damage = |(at, harm): (usize, Harm)| {
        let most = lives.map(|lives| lives.most[at]);
        let (was, would_have_been) = most.unzip();
        Damage { harm: harm.to_string(), unit: harm.quantity().si_name(), was, would_have_been }
    };
    Harm::ALL.into_iter().enumerate().map(damage).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario;
    use crate::scenarios::Scenario;

    /// The scenario's leak begins 15 min after the start.
    #[test]
    fn what_a_drill_was_too_short_for_did_not_happen() {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let scenario = Scenario::find("leak-before-meter").unwrap_or_else(|why| panic!("{why}"));
        let (settings, zero_s) = (site.bays[delivery.bay].settings.clone(), 200.0);
        let log = Log {
            scenario,
            played: None,
            settings,
            papers: delivery.setup,
            seed: 3,
            done: vec![(zero_s, Done::Started)],
        };
        let of = |until_s: f64| (began(&log, until_s, zero_s), done(&log, until_s, zero_s).len());
        assert_eq!(of(zero_s + 899.0), (None, 0));
        assert_eq!(of(zero_s + 901.0), (Some(900.0), 1));
        assert!(happened(&log, zero_s + 899.0, zero_s).ends_with("ended before any of it came."));
        assert!(!happened(&log, zero_s + 901.0, zero_s).contains("ended before"));
    }

    /// The leak of 6 kg/min begins 15 min after an entry that came too early; ten minutes later 60 kg are on the ground.
    #[test]
    fn a_start_entered_before_the_pad_is_up_is_a_start() {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let scenario = Scenario::find("leak-before-meter").unwrap_or_else(|why| panic!("{why}"));
        let settings = site.bays[delivery.bay].settings.clone();
        let log =
            Log { scenario, played: None, settings, papers: delivery.setup, seed: 3, done: vec![(5.0, Done::Started)] };
        let mut lives = Lives::new(&log);
        lives.follow(&log, 5.0 + 1500.0);
        let spilled = damage(Some(&lives)).into_iter().find(|line| line.harm == "spilled").expect("a line");
        assert!(spilled.was.is_some_and(|kg| (kg - 60.0).abs() < 6.0), "{spilled:?}");
    }
}
