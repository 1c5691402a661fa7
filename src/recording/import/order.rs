//! Rows in the order of their times.
//!
//! Histories that are put together from several collectors jumble rows within a second. Those are sorted: a row is held
//! until one a second later has come. A row farther back is no jumble but another clock or another file: an error.

use super::rows::Row;
use crate::config::moment::DISORDER_NS;
use crate::time::WallTime;
use std::collections::VecDeque;

/// Most rows that are held; a second of any history that a bay is watched from has fewer.
const HELD_MOST: usize = 4096;

/// Rows that wait for their turn.
#[derive(Debug, Default)]
pub struct Order {
    held: VecDeque<Row>,
    latest: Option<WallTime>,
    released: Option<WallTime>,
    /// Rows that were put before one that stands above them.
    pub sorted: u64,
}

impl Order {
    /// Takes a row.
    ///
    /// # Errors
    /// The time that it runs back behind, by more than is sorted.
    pub fn take(&mut self, row: Row) -> Result<(), WallTime> {
        let latest = self.latest.unwrap_or(row.at);
        let too_early = self.released.is_some_and(|released| row.at < released);
        if row.at.0 < latest.0 - DISORDER_NS || too_early {
            return Err(latest);
        }
        self.latest = Some(latest.max(row.at));
        let place = self.held.partition_point(|other| other.at <= row.at);
        self.sorted += u64::from(place < self.held.len());
        self.held.insert(place, row);
        Ok(())
    }

    /// The next row that no later one can come before; with `all` the next one in any case.
    pub fn give(&mut self, all: bool) -> Option<Row> {
        let latest = self.latest?;
        let due = self.held.front()?.at.0 < latest.0 - DISORDER_NS;
        if !due && !all && self.held.len() <= HELD_MOST {
            return None;
        }
        let row = self.held.pop_front()?;
        self.released = Some(row.at);
        Some(row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(ms: i64) -> Row {
        Row { at: WallTime(ms * 1_000_000), line: 0, fields: Vec::new(), phase: None }
    }

    fn order(times: &[i64]) -> Result<Vec<i64>, i64> {
        let (mut order, mut out) = (Order::default(), Vec::new());
        for &ms in times {
            order.take(row(ms)).map_err(|latest| latest.0 / 1_000_000)?;
            while let Some(row) = order.give(false) {
                out.push(row.at.0 / 1_000_000);
            }
        }
        while let Some(row) = order.give(true) {
            out.push(row.at.0 / 1_000_000);
        }
        Ok(out)
    }

    #[test]
    fn a_jumbled_second_is_sorted_and_more_is_refused() {
        assert_eq!(order(&[0, 500, 200, 1500, 1400, 500, 3000]), Ok(vec![0, 200, 500, 500, 1400, 1500, 3000]));
        assert_eq!(order(&[0, 5000, 4000]), Ok(vec![0, 4000, 5000]));
        assert_eq!(order(&[0, 5000, 3999]), Err(5000));
    }

    /// What is held is bounded, whatever the times say.
    #[test]
    fn a_second_of_too_many_rows_is_not_held() {
        let mut order = Order::default();
        for _ in 0..3 * HELD_MOST {
            order.take(row(7)).expect("in order");
            while order.give(false).is_some() {}
            assert!(order.held.len() <= HELD_MOST + 1);
        }
    }
}
