//! Sums over closed deliveries; drills and what still runs are in none.

use super::choose::day;
use super::row::Row;
use jiff::tz::TimeZone;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// By what deliveries are summed up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Everything in one.
    All,
    /// Product.
    Product,
    /// Tank.
    Tank,
    /// Carrier.
    Carrier,
    /// Month in which the transfer started.
    Month,
}

impl By {
    /// In the order in which they are shown.
    pub const ALL: [By; 5] = [By::All, By::Product, By::Tank, By::Carrier, By::Month];
}

/// What stands for a carrier that no paper names.
pub const NO_CARRIER: &str = "(not on the papers)";

/// A sum.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Total {
    /// Of what; empty: of everything.
    pub name: String,
    /// Deliveries, each with all its legs.
    pub deliveries: usize,
    /// Of them without a received mass: no instrument could be used. They add nothing below.
    pub without_mass: usize,
    /// Received, kg.
    pub received_kg: f64,
    /// The sum of their standard uncertainties, kg: what it would be if every error were the same in all of them. The true
    /// one lies below.
    pub received_u_at_most_kg: f64,
    /// Deliveries of which received and ticket were compared.
    pub compared: usize,
    /// Mass by ticket of these, kg.
    pub ticket_kg: f64,
    /// Received and in the line, less the ticket, of these, kg.
    pub difference_kg: f64,
}

impl Total {
    /// `begins`: no other leg of its delivery is in the sum yet.
    fn add(&mut self, row: &Row, begins: bool) {
        self.deliveries += usize::from(begins);
        match row.received_kg {
            Some(mass) => {
                self.received_kg += mass.kg;
                self.received_u_at_most_kg += mass.u_kg;
            }
            None => self.without_mass += 1,
        }
        if let Some(difference) = row.difference_kg {
            self.compared += 1;
            self.ticket_kg += row.ticket_kg.kg;
            self.difference_kg += difference.kg;
        }
    }
}

/// Sums of the rows that count, in the order of their names.
#[must_use]
pub fn totals<'a>(rows: impl IntoIterator<Item = &'a Row>, by: By, zone: &TimeZone) -> Vec<Total> {
    let mut found: BTreeMap<String, Total> = BTreeMap::new();
    let mut begun: BTreeSet<(String, &str)> = BTreeSet::new();
    for row in rows.into_iter().filter(|row| row.counts()) {
        let name = match by {
            By::All => String::new(),
            By::Product => row.product.clone(),
            By::Tank => row.tank.clone(),
            By::Carrier => row.carrier.clone().unwrap_or_else(|| NO_CARRIER.to_owned()),
            By::Month => {
                let day = day(row.at_unix_ns(), zone);
                day.map_or_else(|| "unknown month".to_owned(), |day| format!("{:04}-{:02}", day.year(), day.month()))
            }
        };
        // Another delivery may bear the same number; a later leg bears it on purpose.
        let begins = begun.insert((name.clone(), &row.delivery)) || row.leg == 1;
        found.entry(name).or_default().add(row, begins);
    }
    let named = |(name, total)| Total { name, ..total };
    found.into_iter().map(named).collect()
}
