//! One line of the ledger: what is kept of a delivery.

use crate::report::account::Witnessed;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A mass and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Mass {
    /// Value, kg.
    pub kg: f64,
    /// Standard uncertainty, kg.
    pub u_kg: f64,
}

/// One delivery.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Its recordings, as paths from the folder that was named.
    pub recordings: Vec<String>,
    /// It was a drill.
    pub drill: bool,
    /// It was imported from a plant's history.
    pub imported: bool,
    /// Name of the bay.
    pub bay: String,
    /// Number or name.
    pub delivery: String,
    /// Leg of it, from 1.
    pub leg: u8,
    /// Product.
    pub product: String,
    /// Name of the tank.
    pub tank: String,
    /// Who brought it, where the papers say.
    pub carrier: Option<String>,
    /// When it was opened, ns since 1970-01-01T00:00:00Z.
    pub opened_unix_ns: Option<i64>,
    /// When its transfer started.
    pub started_unix_ns: Option<i64>,
    /// When it was closed.
    pub closed_unix_ns: Option<i64>,
    /// Every leg that was started was closed, and one was.
    pub is_closed: bool,
    /// Why it was rejected, where it was.
    pub rejected: Option<String>,
    /// How much was meant to be unloaded, kg.
    pub planned_kg: f64,
    /// Net of the weigh ticket as printed, kg.
    pub ticket_net_kg: f64,
    /// Mass of the load by the ticket: buoyancy and displaced gas taken into account.
    pub ticket_kg: Mass,
    /// Received by flow meter, scale, tank level; `None`: lost, or there is none.
    pub witnesses: [Option<Mass>; 3],
    /// Standard uncertainty of flow meter less scale, flow meter less tank level, scale less tank level, kg: what both
    /// of a pair share is counted once.
    pub pairs_u_kg: [Option<f64>; 3],
    /// Received by all of them together.
    pub received_kg: Option<Mass>,
    /// What the line holds beyond what it held at the start; `None`: received and ticket were not compared, or the ticket
    /// is that of several legs.
    pub in_line_kg: Option<Mass>,
    /// Received and in the line in all legs up to this one, less the ticket.
    pub difference_kg: Option<Mass>,
    /// Left on the trailer, if nothing was lost: the ticket less what was received and is in the line, up to this leg.
    pub left_on_board_kg: Option<Mass>,
    /// That over its expanded uncertainty, 1.
    pub en: Option<f64>,
    /// What the instruments said together in the end, as a code.
    pub verdict: String,
    /// How often an alarm came until it was closed.
    pub alarms: usize,
    /// Prompts until then: what belongs to every delivery.
    pub prompts: usize,
    /// Times when nobody watched.
    pub gaps: usize,
    /// Amendments to its record.
    pub amendments: usize,
    /// What of the recordings is not as it was written, in words.
    pub damage: Vec<String>,
}

/// Places of a pair's witnesses, in the order of [`Row::pairs_u_kg`].
const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

impl Row {
    /// Closed and no drill: it is in the totals and on the charts.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.is_closed && !self.drill
    }

    /// When it was, for order and dates, ns since 1970-01-01T00:00:00Z.
    #[must_use]
    pub fn at_unix_ns(&self) -> i64 {
        self.started_unix_ns.or(self.opened_unix_ns).or(self.closed_unix_ns).unwrap_or(0)
    }

    /// Standard uncertainty of the difference of two witnesses, kg; that of independent ones where it is not known.
    #[must_use]
    pub fn pair_u_kg(&self, one: usize, other: usize) -> f64 {
        let known = PAIRS.iter().position(|pair| *pair == (one, other)).and_then(|at| self.pairs_u_kg[at]);
        let u_kg = |at: usize| self.witnesses.get(at).copied().flatten().map_or(0.0, |mass| mass.u_kg);
        known.unwrap_or_else(|| u_kg(one).hypot(u_kg(other)))
    }
}

/// Standard uncertainty of one witness less another, kg. Sources are independent of each other; what both have of one
/// source, with its sign, cancels (GUM, JCGM 100:2008, F.1.2.3).
pub(super) fn pair_u_kg(one: &Witnessed, other: &Witnessed) -> f64 {
    let mut by_source: BTreeMap<String, f64> = BTreeMap::new();
    for (witness, sign) in [(one, 1.0), (other, -1.0)] {
        for part in &witness.budget {
            *by_source.entry(part.source.to_string()).or_default() += sign * part.kg;
        }
    }
    by_source.values().map(|kg| kg * kg).sum::<f64>().sqrt()
}
