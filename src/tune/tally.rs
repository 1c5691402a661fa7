//! Alarms counted: for each choice and alarm how often, and what it was worth.
//!
//! Floods, alarms that stand for days and rates are counted as ANSI/ISA-18.2-2016, 16.4 does. What counts as chattering
//! and as fleeting is this program's own parameter.

use super::labels::{Labels, Stretch, Truth, truth};
use super::pass::{Found, Occurrence, What};
use crate::engine::alarm::catalogue;
use serde::Serialize;
use std::collections::BTreeMap;

/// Flood: it begins with more than this many alarms in [`FLOOD_S`] and ends with fewer than [`FLOOD_ENDS`]
/// (ANSI/ISA-18.2-2016, 16.4.4).
const FLOOD_BEGINS: usize = 10;
/// See above.
const FLOOD_ENDS: usize = 5;
/// See above, s.
const FLOOD_S: f64 = 600.0;
/// An alarm that stands longer is stale, s (the same, 16.4.7: 24 h).
const STALE_S: f64 = 86_400.0;
/// Chattering: so many times within [`CHATTER_S`].
const CHATTER_TIMES: usize = 3;
/// See above, s.
const CHATTER_S: f64 = 60.0;
/// An alarm that is gone sooner was fleeting, s.
const FLEETING_S: f64 = 10.0;

/// One alarm under one choice.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Tally {
    /// How often it came.
    pub came: u64,
    /// How long it was open in all, s.
    pub open_s: f64,
    /// How often it chattered: bursts of three and more within a minute.
    pub chattered: u64,
    /// How often it was gone within 10 s.
    pub fleeting: u64,
    /// How often it stood longer than 24 h.
    pub stale: u64,
    /// Times it came where it was called for, and where not; of recordings that somebody has labelled.
    pub called_for: u64,
    /// See above.
    pub nuisance: u64,
    /// Stretches labelled for it in which it did not come.
    pub missed: u64,
    /// From the beginning of such a stretch to the alarm, s.
    pub delays_s: Vec<f64>,
    /// From the alarm to what it announces, s.
    pub leads_s: Vec<f64>,
    /// Happenings that it announces and did not.
    pub unannounced: u64,
}

/// A stretch with more alarms than anybody can take in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flood {
    /// Name of the recording.
    pub recording: String,
    /// From the alarm with which it began, s since the recording began.
    pub from_s: f64,
    /// To the alarm after which it was over, s.
    pub to_s: f64,
    /// Alarms in it.
    pub alarms: usize,
}

/// Alarm and what it is about.
pub type Key = (String, String);

/// One choice over all recordings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Total {
    /// Each alarm.
    pub alarms: BTreeMap<Key, Tally>,
    /// Floods.
    pub floods: Vec<Flood>,
    /// Most alarms in any ten minutes.
    pub most_in_ten_min: usize,
    /// Recordings on which it could be tried.
    pub recordings: u64,
    /// How long they last, s; of that in transfers; of that labelled.
    pub watched_s: f64,
    /// See above.
    pub transfer_s: f64,
    /// How long the recordings last that somebody has labelled, s.
    pub labelled_s: f64,
    /// Why it could not be tried on others, each reason once.
    pub refused: Vec<String>,
}

impl Total {
    /// Alarms that came in all. Prompts are none: they belong to every delivery.
    #[must_use]
    pub fn came(&self) -> u64 {
        self.alarms.iter().filter(|(key, _)| !is_prompt(&key.0)).map(|(_, tally)| tally.came).sum()
    }

    /// Prompts that came in all.
    #[must_use]
    pub fn prompts(&self) -> u64 {
        self.alarms.iter().filter(|(key, _)| is_prompt(&key.0)).map(|(_, tally)| tally.came).sum()
    }

    /// Alarms of any kind an hour.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a count")]
    pub fn per_hour(&self, came: u64) -> f64 {
        if self.watched_s > 0.0 { came as f64 / (self.watched_s / 3600.0) } else { 0.0 }
    }

    /// Takes what one recording gave under this choice.
    pub fn add(&mut self, name: &str, found: &Found, choice: usize, labels: &Labels) {
        let Some(of_choice) = found.choices.get(choice) else { return };
        if let Some(why) = &of_choice.refused {
            if !self.refused.contains(why) {
                self.refused.push(why.clone());
            }
            return;
        }
        self.recordings += 1;
        self.watched_s += found.lasted_s;
        self.transfer_s += found.transfer_s;
        let said = labels.said(name, found);
        if said.is_some() {
            self.labelled_s += found.lasted_s;
        }
        let mut times: BTreeMap<Key, Vec<f64>> = BTreeMap::new();
        for occurrence in &of_choice.occurrences {
            let key = (occurrence.alarm.clone(), occurrence.subject.clone());
            times.entry(key.clone()).or_default().push(occurrence.came_s);
            self.alarms.entry(key).or_default().take(occurrence, found.lasted_s, said);
        }
        for (key, times) in times {
            self.alarms.entry(key).or_default().chattered += bursts(&times);
        }
        self.announce(found, &of_choice.occurrences);
        self.miss(&of_choice.occurrences, said.unwrap_or_default());
        let alarms = of_choice.occurrences.iter().filter(|o| !is_prompt(&o.alarm));
        let came: Vec<f64> = alarms.map(|o| o.came_s).collect();
        self.flood(name, &came);
    }

    /// Holds what happened against the alarms that announce it and were open then.
    fn announce(&mut self, found: &Found, occurrences: &[Occurrence]) {
        for happening in &found.happenings {
            for &(alarm, _, whose, due) in ANNOUNCE.iter().filter(|line| line.1 == happening.what) {
                let subject = (whose == Whose::Same).then_some(happening.subject.as_str());
                self.lead((alarm, subject), happening.at_s, occurrences, due);
            }
            if let Some(alarm) = &happening.alarm {
                self.lead((alarm, None), happening.at_s, occurrences, true);
            }
        }
        for (alarm, next) in BEFORE_ANOTHER {
            for came in occurrences.iter().filter(|o| o.alarm == next) {
                self.lead((alarm, None), came.came_s, occurrences, true);
            }
        }
    }

    /// Every alarm of that code (and subject) that was open when it happened led it; without one it was not announced.
    fn lead(&mut self, (alarm, subject): (&str, Option<&str>), at_s: f64, occurrences: &[Occurrence], due: bool) {
        let open = |o: &&Occurrence| {
            o.alarm == alarm
                && subject.is_none_or(|subject| o.subject == subject)
                && o.came_s <= at_s
                && o.gone_s.is_none_or(|gone| gone + GONE_BEFORE_S >= at_s)
        };
        let mut announced = false;
        for o in occurrences.iter().filter(open) {
            announced = true;
            self.alarms.entry((o.alarm.clone(), o.subject.clone())).or_default().leads_s.push(at_s - o.came_s);
        }
        if due && !announced {
            let key = (alarm.to_owned(), subject.unwrap_or_default().to_owned());
            self.alarms.entry(key).or_default().unannounced += 1;
        }
    }

    /// Stretches in which the alarm that must come did not.
    fn miss(&mut self, occurrences: &[Occurrence], said: &[Stretch]) {
        for stretch in said.iter().filter(|stretch| stretch.must) {
            let came =
                |o: &&Occurrence| o.alarm == stretch.alarm && (stretch.from_s..=stretch.to_s).contains(&o.came_s);
            if let Some(first) = occurrences.iter().find(came) {
                let key = (first.alarm.clone(), first.subject.clone());
                self.alarms.entry(key).or_default().delays_s.push(first.came_s - stretch.from_s);
            } else {
                self.alarms.entry((stretch.alarm.clone(), String::new())).or_default().missed += 1;
            }
        }
    }

    /// Ten minutes are counted back from each alarm; the times are in order.
    fn flood(&mut self, name: &str, came_s: &[f64]) {
        let (mut first, mut flood): (usize, Option<(usize, usize)>) = (0, None);
        for (i, at) in came_s.iter().enumerate() {
            while came_s[first] <= at - FLOOD_S {
                first += 1;
            }
            let count = i + 1 - first;
            self.most_in_ten_min = self.most_in_ten_min.max(count);
            flood = match flood {
                None if count > FLOOD_BEGINS => Some((first, i)),
                Some((from, to)) if count < FLOOD_ENDS => {
                    self.push_flood(name, came_s, (from, to));
                    None
                }
                Some((from, _)) => Some((from, i)),
                None => None,
            };
        }
        if let Some(span) = flood {
            self.push_flood(name, came_s, span);
        }
    }

    fn push_flood(&mut self, name: &str, came_s: &[f64], (from, to): (usize, usize)) {
        self.floods.push(Flood {
            recording: name.to_owned(),
            from_s: came_s[from],
            to_s: came_s[to],
            alarms: to + 1 - from,
        });
    }
}

/// Whether that alarm belongs to every delivery.
pub(super) fn is_prompt(alarm: &str) -> bool {
    catalogue::named(alarm).is_some_and(|id| catalogue::of(id).prompt)
}

/// An alarm that went so shortly before still announced it, s: one witness left is gone as soon as none is.
const GONE_BEFORE_S: f64 = 60.0;

/// Whose alarm announces it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whose {
    /// That of the same tank.
    Same,
    /// Any of that code.
    Any,
}

/// Which alarm announces what, of what, and whether it must. The other alarms announce nothing that readings or entries
/// show: they say what has come to pass (a loss of signal, a movement, a truck gone, a bypass, a restart of the estimates,
/// a flow that stopped, a load or a gas that is not as the site takes it), or what only a drill's simulator knows the end
/// of (masses that disagree or prove nothing, another product, a reaction).
const ANNOUNCE: [(&str, What, Whose, bool); 18] = [
    ("level_working", What::HighHigh, Whose::Same, true),
    ("level_soon", What::HighHigh, Whose::Same, true),
    // A neighbouring tank comes to its level by many ways.
    ("other_tank_rises", What::HighHigh, Whose::Same, false),
    ("high_level_projected", What::HighHigh, Whose::Same, true),
    ("high_level_projected", What::Switch, Whose::Same, true),
    ("level_high_high", What::Critical, Whose::Same, true),
    ("level_switch_tripped", What::Critical, Whose::Same, true),
    ("pad_rising", What::Ceiling, Whose::Any, true),
    ("pad_near_ceiling", What::Ceiling, Whose::Any, true),
    ("pad_above_mawp", What::Relief, Whose::Any, true),
    ("pad_in_relief_window", What::ReliefOpen, Whose::Any, true),
    ("pad_below_tank", What::Reverse, Whose::Any, false),
    ("pad_above_supply", What::Reverse, Whose::Any, false),
    ("tank_pressure_high", What::TankLimit, Whose::Same, true),
    ("be_at_valve", What::FlowEnded, Whose::Any, true),
    // A leg that ends with its planned amount has gas left out.
    ("first_gas_due", What::FlowEnded, Whose::Any, false),
    ("reading_unlikely", What::Started, Whose::Any, false),
    ("recorder_trouble", What::Overflow, Whose::Any, true),
];

/// Alarms that are for another alarm: what it says must not come to pass.
const BEFORE_ANOTHER: [(&str, &str); 3] = [
    ("one_witness_left", "no_witness"),
    ("attendance_due", "attendance_overdue"),
    ("attendance_overdue", "nobody_attends"),
];

impl Tally {
    fn take(&mut self, occurrence: &Occurrence, lasted_s: f64, said: Option<&[Stretch]>) {
        self.came += 1;
        let open_s = occurrence.gone_s.unwrap_or(lasted_s) - occurrence.came_s;
        self.open_s += open_s;
        self.fleeting += u64::from(occurrence.gone_s.is_some() && open_s < FLEETING_S);
        self.stale += u64::from(open_s > STALE_S);
        match truth(said, occurrence) {
            Truth::CalledFor(_) => self.called_for += 1,
            Truth::Nuisance => self.nuisance += 1,
            Truth::NotSaid => {}
        }
    }
}

/// Bursts of [`CHATTER_TIMES`] within [`CHATTER_S`]; one that goes on is counted once.
fn bursts(came_s: &[f64]) -> u64 {
    let (mut count, mut in_burst) = (0, false);
    for i in 0..came_s.len() {
        let dense = (i + 1).checked_sub(CHATTER_TIMES).is_some_and(|from| came_s[i] - came_s[from] <= CHATTER_S);
        count += u64::from(dense && !in_burst);
        in_burst = dense;
    }
    count
}

/// The middle of some numbers; `None` of none.
#[must_use]
pub fn middle(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ANSI/ISA-18.2-2016, 16.4.4: a flood begins with the 11th alarm in ten minutes and ends when fewer than 5 come in
    /// ten minutes.
    #[test]
    fn a_flood_begins_with_the_eleventh() {
        let mut total = Total::default();
        let every = |count: u32, s: f64| (0..count).map(|i| f64::from(i) * s).collect::<Vec<_>>();
        total.flood("a", &every(10, 50.0));
        assert!(total.floods.is_empty() && total.most_in_ten_min == 10);
        // Eleven in ten minutes; then one each five minutes: 2 in ten minutes end it.
        let mut came = every(11, 50.0);
        came.extend([1_200.0, 1_500.0]);
        total.flood("b", &came);
        let flood = Flood { recording: "b".into(), from_s: 0.0, to_s: 500.0, alarms: 11 };
        assert_eq!(total.floods, [flood]);
        assert_eq!(total.most_in_ten_min, 11);
        // One a minute never has more than ten behind it.
        total.floods.clear();
        total.flood("c", &every(100, 60.0));
        assert!(total.floods.is_empty());
    }

    /// What belongs to every delivery is counted apart and makes no flood.
    #[test]
    fn prompts_are_no_alarms() {
        let mut total = Total::default();
        for (alarm, came) in [("be_at_valve", 3), ("attendance_due", 20), ("pad_near_ceiling", 2)] {
            let key = (alarm.to_owned(), String::new());
            total.alarms.insert(key, Tally { came, ..Tally::default() });
        }
        assert_eq!((total.came(), total.prompts()), (2, 23));
    }

    #[test]
    fn a_burst_is_three_within_a_minute() {
        assert_eq!(bursts(&[0.0, 30.0]), 0);
        assert_eq!(bursts(&[0.0, 30.0, 60.0]), 1);
        assert_eq!(bursts(&[0.0, 31.0, 61.0]), 0);
        assert_eq!(bursts(&[0.0, 1.0, 2.0, 3.0, 4.0, 300.0, 301.0, 302.0]), 2);
    }

    fn alarm(alarm: &str, subject: &str, came_s: f64, gone_s: Option<f64>) -> Occurrence {
        Occurrence { alarm: alarm.into(), subject: subject.into(), came_s, gone_s }
    }

    /// What an alarm is for is held against those of its tank that were open then; what a drill ended with against the one
    /// that is for it; the last witness against none.
    #[test]
    fn a_lead_is_of_the_alarm_that_was_open() {
        let happened = |what, subject: &str, alarm: Option<&str>, at_s| {
            let (subject, alarm) = (subject.to_owned(), alarm.map(str::to_owned));
            super::super::Happening { what, subject, alarm, at_s }
        };
        let happenings = vec![
            happened(What::HighHigh, "204", None, 1_000.0),
            happened(What::HighHigh, "205", None, 1_100.0),
            happened(What::FlowEnded, "", None, 2_000.0),
            happened(What::Started, "", None, 50.0),
            happened(What::TankLimit, "204", None, 1_200.0),
            happened(What::Reverse, "", None, 1_250.0),
            happened(What::Harm, "", Some("witnesses_disagree"), 1_500.0),
        ];
        let occurrences = vec![
            alarm("high_level_projected", "204", 100.0, None),
            alarm("high_level_projected", "205", 100.0, Some(200.0)),
            alarm("one_witness_left", "", 400.0, Some(710.0)),
            alarm("no_witness", "", 700.0, None),
            alarm("level_working", "204", 400.0, None),
            alarm("level_soon", "204", 850.0, Some(930.0)),
            alarm("other_tank_rises", "205", 300.0, None),
            alarm("tank_pressure_high", "204", 1_150.0, None),
            alarm("first_gas_due", "", 1_970.0, None),
            alarm("attendance_due", "", 1_500.0, Some(1_600.0)),
            alarm("attendance_overdue", "", 1_560.0, None),
            alarm("nobody_attends", "", 1_620.0, None),
            alarm("witnesses_disagree", "", 1_200.0, None),
        ];
        let of_choice = super::super::ChoiceFound { occurrences, ..super::super::ChoiceFound::default() };
        let found = Found {
            bay: "Bay 1".into(),
            drill: true,
            lasted_s: 3_600.0,
            transfer_s: 3_000.0,
            stopped: None,
            choices: vec![of_choice],
            known: None,
            happenings,
            noise: Vec::new(),
        };
        let mut total = Total::default();
        total.add("a", &found, 0, &Labels::default());
        let of = |alarm: &str, subject: &str| {
            let tally = total.alarms.get(&(alarm.to_owned(), subject.to_owned()));
            tally.map(|t| (t.leads_s.clone(), t.unannounced))
        };
        assert_eq!(of("high_level_projected", "204"), Some((vec![900.0], 0)));
        assert_eq!(of("high_level_projected", "205"), Some((Vec::new(), 1)));
        assert_eq!(of("be_at_valve", ""), Some((Vec::new(), 1)));
        assert_eq!(of("one_witness_left", ""), Some((vec![300.0], 0)));
        assert_eq!(of("level_working", "204"), Some((vec![600.0], 0)));
        assert_eq!(of("level_working", "205"), Some((Vec::new(), 1)));
        // Gone for more than a minute it no longer says so.
        assert_eq!(of("level_soon", "204"), Some((Vec::new(), 1)));
        assert_eq!(of("other_tank_rises", "205"), Some((vec![800.0], 0)));
        assert_eq!(of("other_tank_rises", "204"), None);
        assert_eq!(of("tank_pressure_high", "204"), Some((vec![50.0], 0)));
        assert_eq!(of("first_gas_due", ""), Some((vec![30.0], 0)));
        assert_eq!((of("pad_above_supply", ""), of("pad_below_tank", "")), (None, None));
        assert_eq!(of("attendance_due", ""), Some((vec![60.0], 0)));
        assert_eq!(of("attendance_overdue", ""), Some((vec![60.0], 0)));
        assert_eq!(of("witnesses_disagree", ""), Some((vec![300.0], 0)));
        assert_eq!(of("reading_unlikely", ""), None, "a start calls for no such alarm");
        assert_eq!(of("no_witness", ""), Some((Vec::new(), 0)));
        // Nobody has said what was called for.
        assert_eq!(total.alarms.values().map(|t| t.called_for + t.nuisance).sum::<u64>(), 0);
    }

    #[test]
    fn the_middle_of_none_is_none() {
        assert_eq!(middle(&[]), None);
        assert_eq!(middle(&[3.0]), Some(3.0));
        assert_eq!(middle(&[4.0, 1.0]), Some(2.5));
        assert_eq!(middle(&[9.0, 1.0, 2.0]), Some(2.0));
    }
}
