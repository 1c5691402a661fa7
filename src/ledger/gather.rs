//! From the account of one delivery to its row.

use super::row::{Mass, Row, pair_u_kg};
use crate::report::account::{Account, AgainstTicket, Figure, Moment, Witnessed};
use crate::report::{self, AccountError};
use std::path::PathBuf;

/// The row of the delivery that these recordings are of, in their order; `None`: they are of none.
///
/// # Errors
/// When one of them is no recording or one that this program cannot read, or the file system refuses. Of a damaged one what
/// is intact is taken, and the row says where the damage is.
pub(super) fn gather(paths: &[PathBuf]) -> Result<Option<Row>, AccountError> {
    match report::account_of(paths) {
        Ok(account) => Ok(Some(row(account))),
        Err(AccountError::NoDelivery(_)) => Ok(None),
        Err(error) => Err(error),
    }
}

fn mass(figure: Figure) -> Mass {
    Mass { kg: figure.value, u_kg: figure.u }
}

fn row(account: Account) -> Row {
    let credible = |at: usize| account.witnesses.get(at).filter(|w| w.is_credible);
    let pair = |one, other| Some(pair_u_kg(credible(one)?, credible(other)?));
    let received = |witness: &Witnessed| witness.received_kg.map(mass);
    let compared = match &account.against_ticket {
        AgainstTicket::Compared(compared) => Some(compared),
        AgainstTicket::NotCompared(_) => None,
    };
    let unix_ns = |moment: &Option<Moment>| moment.as_ref().map(|at| at.unix_ns);
    let prompts = account.alarms.iter().filter(|alarm| alarm.prompt).count();
    let damage = account.recordings.iter().flat_map(|r| r.damage.iter().map(|damage| format!("{}: {damage}", r.file)));
    Row {
        recordings: Vec::new(),
        drill: account.drill_speed.is_some(),
        imported: account.imported.is_some(),
        opened_unix_ns: unix_ns(&account.opened),
        started_unix_ns: unix_ns(&account.started),
        closed_unix_ns: unix_ns(&account.closed),
        is_closed: account.is_closed,
        rejected: account.rejected.map(|rejected| rejected.reason),
        planned_kg: account.planned_kg,
        ticket_net_kg: account.ticket.net_kg,
        ticket_kg: mass(account.ticket.corrected_kg),
        witnesses: [0, 1, 2].map(|at| credible(at).and_then(received)),
        pairs_u_kg: [pair(0, 1), pair(0, 2), pair(1, 2)],
        received_kg: account.received_kg.map(mass),
        // The instruments of one leg say nothing of a ticket that is of several.
        in_line_kg: compared.filter(|_| account.legs.len() == 1).map(|c| mass(c.in_line_kg)),
        difference_kg: compared.map(|c| mass(c.difference_kg)),
        left_on_board_kg: account.left_on_board.as_ref().map(|left| mass(left.together_kg)),
        en: compared.map(|c| c.en),
        verdict: account.verdict["word"].as_str().unwrap_or_default().to_owned(),
        alarms: account.alarms.len() - prompts,
        prompts,
        gaps: account.gaps.len(),
        // Added to at any time, and read with the list.
        amendments: 0,
        damage: damage.collect(),
        bay: account.bay,
        delivery: account.delivery,
        leg: account.leg,
        product: account.product,
        tank: account.tank,
        carrier: account.carrier,
    }
}
