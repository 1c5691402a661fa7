//! Two choices held against each other: each alarm that appears, vanishes or moves.

use super::pass::Occurrence;
use super::tally::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// Two times of the same alarm that lie no farther apart are one alarm that moved, s, even where they do not overlap.
const SAME_S: f64 = 300.0;
/// It moved when it came at another time by more, s: half a tick.
const MOVED_S: f64 = 0.5;

/// What became of an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Turn {
    /// It comes under the other choice only.
    Appears,
    /// It comes under the first choice only.
    Vanishes,
    /// It comes at another time.
    Moves,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Code of the alarm.
    pub alarm: String,
    /// What it is about.
    pub subject: String,
    /// What became of it.
    pub turn: Turn,
    /// When it came under the first choice, s since the recording began.
    pub first_s: Option<f64>,
    /// When under the other.
    pub other_s: Option<f64>,
}

/// Every difference between two choices on one recording, in the order of time.
#[must_use]
pub fn changes(first: &[Occurrence], other: &[Occurrence]) -> Vec<Change> {
    let mut by_key: BTreeMap<Key, [Vec<&Occurrence>; 2]> = BTreeMap::new();
    for (side, list) in [first, other].into_iter().enumerate() {
        for o in list {
            by_key.entry((o.alarm.clone(), o.subject.clone())).or_default()[side].push(o);
        }
    }
    let mut all = Vec::new();
    for ((alarm, subject), [first, other]) in by_key {
        let mut push = |turn, first_s, other_s| {
            all.push(Change { alarm: alarm.clone(), subject: subject.clone(), turn, first_s, other_s });
        };
        let (mut i, mut j) = (0, 0);
        loop {
            match (first.get(i), other.get(j)) {
                (None, None) => break,
                (Some(a), Some(b)) if same(a, b) => {
                    if (a.came_s - b.came_s).abs() > MOVED_S {
                        push(Turn::Moves, Some(a.came_s), Some(b.came_s));
                    }
                    (i, j) = (i + 1, j + 1);
                }
                (Some(a), Some(b)) if a.came_s > b.came_s => {
                    push(Turn::Appears, None, Some(b.came_s));
                    j += 1;
                }
                (Some(a), _) => {
                    push(Turn::Vanishes, Some(a.came_s), None);
                    i += 1;
                }
                (None, Some(b)) => {
                    push(Turn::Appears, None, Some(b.came_s));
                    j += 1;
                }
            }
        }
    }
    all.sort_by(|a, b| time(a).total_cmp(&time(b)));
    all
}

fn time(change: &Change) -> f64 {
    change.first_s.or(change.other_s).unwrap_or(0.0)
}

/// They overlap, or came near each other.
fn same(a: &Occurrence, b: &Occurrence) -> bool {
    let ends = |o: &Occurrence| o.gone_s.unwrap_or(f64::INFINITY);
    let overlap = a.came_s <= ends(b) && b.came_s <= ends(a);
    overlap || (a.came_s - b.came_s).abs() <= SAME_S
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alarm(came_s: f64, gone_s: f64) -> Occurrence {
        Occurrence { alarm: "signal_lost".into(), subject: "scale".into(), came_s, gone_s: Some(gone_s) }
    }

    #[test]
    fn alarms_appear_vanish_and_move() {
        let first = [alarm(10.0, 20.0), alarm(1_000.0, 1_010.0), alarm(5_000.0, 5_100.0)];
        let other = [alarm(10.0, 25.0), alarm(2_000.0, 2_010.0), alarm(5_007.0, 5_100.0)];
        let turns: Vec<_> = changes(&first, &other).into_iter().map(|c| (c.turn, c.first_s, c.other_s)).collect();
        let expected = [
            (Turn::Vanishes, Some(1_000.0), None),
            (Turn::Appears, None, Some(2_000.0)),
            (Turn::Moves, Some(5_000.0), Some(5_007.0)),
        ];
        assert_eq!(turns, expected);
        assert!(changes(&first, &first).is_empty());
    }
}
