//! The results: a paper for people (HTML), the same as JSON, and tables as CSV.

mod html;
mod json;

use super::compare::{Change, changes};
use super::kept::Kept;
use super::noise::{Noise, Proposal};
use super::propose::{DeadBand, dead_bands};
use super::tally::{Key, Total};
use super::{Plan, Summary, Truth};
use std::collections::BTreeMap;
use std::fs::File;
use std::io;
use std::path::Path;

/// Changes that the paper and the JSON show; the table has them all.
const SHOWN_CHANGES: usize = 200;
/// Quietly alarms come again within this, s: what a longer off-delay would join.
const AGAIN_S: f64 = 60.0;
/// The share of such returns that a proposed off-delay joins.
const JOINED: f64 = 0.95;

/// Everything that is shown, put together.
pub(super) struct Results<'a> {
    plan: &'a Plan<'a>,
    /// For each choice.
    totals: Vec<Total>,
    proposals: Vec<(String, Proposal)>,
    dead_bands: Vec<DeadBand>,
    /// Gaps between an alarm's going and its coming again under the first choice, s; up to [`AGAIN_S`].
    again_s: Vec<f64>,
    /// The first of them: recording, index of the choice, change.
    changes: Vec<(String, usize, Change)>,
    /// How many for each choice: appear, vanish, move.
    turns: Vec<[u64; 3]>,
    taken: usize,
    drills: usize,
    /// Recordings of which it is known what was called for.
    known: usize,
    left_out: Vec<(String, String)>,
    stopped: Vec<(String, String)>,
    /// Alarms beyond those that are kept one by one.
    beyond: u64,
}

/// Name of a recording in results and labels: that of its file.
fn name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

/// Reads what was kept, in the order of the recordings, and writes everything.
pub(super) fn write(plan: &Plan<'_>, kept: &Kept) -> io::Result<Summary> {
    let mut results = Results {
        plan,
        totals: plan.choices.iter().map(|_| Total::default()).collect(),
        proposals: Vec::new(),
        dead_bands: Vec::new(),
        again_s: Vec::new(),
        changes: Vec::new(),
        turns: vec![[0; 3]; plan.choices.len()],
        taken: 0,
        drills: 0,
        known: 0,
        left_out: Vec::new(),
        stopped: Vec::new(),
        beyond: 0,
    };
    let mut noise: BTreeMap<(String, String, String), Noise> = BTreeMap::new();
    let mut tables = Tables::begin(plan.out)?;
    for path in plan.recordings {
        let name = name(path);
        match kept.get(path)? {
            Err(why) => results.left_out.push((name, why)),
            Ok(found) => {
                for one in &found.noise {
                    let key = (found.bay.clone(), one.signal.clone(), one.kind.clone());
                    noise.entry(key).and_modify(|n| n.add(one)).or_insert_with(|| one.clone());
                }
                results.take(&name, &found, &mut tables)?;
            }
        }
    }
    let proposed = noise.into_iter().filter_map(|((bay, ..), noise)| Some((bay, noise.proposal()?)));
    results.proposals = proposed.collect();
    results.dead_bands = dead_bands(&results.proposals);
    tables.end()?;
    results.alarms_csv()?;
    let json = serde_json::to_string_pretty(&json::json(&results))?;
    std::fs::write(plan.out.join("tune.json"), json + "\n")?;
    let paper = plan.out.join("tune.html");
    std::fs::write(&paper, html::html(&results).into_string())?;
    Ok(Summary { taken: results.taken, left_out: results.left_out, paper })
}

impl Results<'_> {
    fn take(&mut self, name: &str, found: &super::Found, tables: &mut Tables) -> io::Result<()> {
        self.taken += 1;
        self.drills += usize::from(found.drill);
        if let Some(why) = &found.stopped {
            self.stopped.push((name.to_owned(), why.clone()));
        }
        let labels = self.plan.labels;
        let said = labels.said(name, found);
        self.known += usize::from(said.is_some());
        for (i, choice) in self.plan.choices.iter().enumerate() {
            self.totals[i].add(name, found, i, labels);
            let Some(of_choice) = found.choices.get(i).filter(|c| c.refused.is_none()) else { continue };
            self.beyond += of_choice.beyond;
            for o in &of_choice.occurrences {
                let truth = match super::labels::truth(said, o) {
                    Truth::NotSaid => "",
                    Truth::CalledFor(_) => "called_for",
                    Truth::Nuisance => "nuisance",
                };
                let gone = o.gone_s.map_or_else(String::new, |s| s.to_string());
                let came = o.came_s.to_string();
                tables.occurrences.write_record([
                    name,
                    &found.bay,
                    &choice.name,
                    &o.alarm,
                    &o.subject,
                    &came,
                    &gone,
                    truth,
                ])?;
            }
            let Some(first) = found.choices.first().filter(|c| i > 0 && c.refused.is_none()) else { continue };
            for change in changes(&first.occurrences, &of_choice.occurrences) {
                self.turns[i][change.turn as usize] += 1;
                let turn = html::turn(change.turn);
                let s = |s: Option<f64>| s.map_or_else(String::new, |s| s.to_string());
                let (first_s, other_s) = (s(change.first_s), s(change.other_s));
                tables.changes.write_record([
                    name,
                    &choice.name,
                    &change.alarm,
                    &change.subject,
                    turn,
                    &first_s,
                    &other_s,
                ])?;
                if self.changes.len() < SHOWN_CHANGES {
                    self.changes.push((name.to_owned(), i, change));
                }
            }
        }
        if let Some(first) = found.choices.first() {
            self.again(&first.occurrences);
        }
        Ok(())
    }

    /// How soon alarms come again under the first choice.
    fn again(&mut self, occurrences: &[super::Occurrence]) {
        let mut gone: BTreeMap<Key, f64> = BTreeMap::new();
        for o in occurrences {
            let key = (o.alarm.clone(), o.subject.clone());
            let before = gone.get(&key).map(|before| o.came_s - before);
            self.again_s.extend(before.filter(|gap| (0.0..=AGAIN_S).contains(gap)));
            match o.gone_s {
                Some(at) => drop(gone.insert(key, at)),
                None => drop(gone.remove(&key)),
            }
        }
    }

    /// How much longer an off-delay must be for most of the quick returns to be one alarm, s; `None`: there are none.
    fn longer_off_delay_s(&self) -> Option<f64> {
        let mut gaps = self.again_s.clone();
        gaps.sort_by(f64::total_cmp);
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a place in a list"
        )]
        let place = (JOINED * gaps.len() as f64).ceil() as usize;
        gaps.get(place.checked_sub(1)?).map(|gap| gap.ceil())
    }

    fn alarms_csv(&self) -> io::Result<()> {
        let mut out = csv::Writer::from_path(self.plan.out.join("alarms.csv"))?;
        out.write_record([
            "choice",
            "alarm",
            "subject",
            "came",
            "came_per_hour",
            "open_s",
            "chattered",
            "fleeting",
            "stale",
            "called_for",
            "nuisance",
            "missed",
            "delay_middle_s",
            "lead_middle_s",
            "lead_shortest_s",
            "unannounced",
        ])?;
        for (choice, total) in self.plan.choices.iter().zip(&self.totals) {
            for ((alarm, subject), tally) in &total.alarms {
                let number = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
                let shortest = tally.leads_s.iter().copied().reduce(f64::min);
                let row = [
                    choice.name.clone(),
                    alarm.clone(),
                    subject.clone(),
                    tally.came.to_string(),
                    total.per_hour(tally.came).to_string(),
                    tally.open_s.to_string(),
                    tally.chattered.to_string(),
                    tally.fleeting.to_string(),
                    tally.stale.to_string(),
                    tally.called_for.to_string(),
                    tally.nuisance.to_string(),
                    tally.missed.to_string(),
                    number(super::tally::middle(&tally.delays_s)),
                    number(super::tally::middle(&tally.leads_s)),
                    number(shortest),
                    tally.unannounced.to_string(),
                ];
                out.write_record(row)?;
            }
        }
        out.flush()
    }
}

/// Tables that grow with the recordings; written as they come.
struct Tables {
    occurrences: csv::Writer<File>,
    changes: csv::Writer<File>,
}

impl Tables {
    fn begin(folder: &Path) -> io::Result<Tables> {
        let mut occurrences = csv::Writer::from_path(folder.join("occurrences.csv"))?;
        let head = ["recording", "bay", "choice", "alarm", "subject", "came_s", "gone_s", "truth"];
        occurrences.write_record(head)?;
        let mut changes = csv::Writer::from_path(folder.join("changes.csv"))?;
        changes.write_record(["recording", "choice", "alarm", "subject", "turn", "first_s", "other_s"])?;
        Ok(Tables { occurrences, changes })
    }

    fn end(mut self) -> io::Result<()> {
        self.occurrences.flush()?;
        self.changes.flush()
    }
}
