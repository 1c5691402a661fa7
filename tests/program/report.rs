//! The unloading record as its users meet it.

use super::recorded;
use crate::tune::keys_of;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::report::account::{Account, AgainstTicket, WhyNot};
use brimwatch::report::{AccountError, account};
use brimwatch_simulator::scenario;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Long enough for the whole load, s.
const LASTS_S: u64 = 6_000;

struct Works {
    folder: tempfile::TempDir,
    closed: PathBuf,
    open: PathBuf,
}

/// Two deliveries on record, made once: one closed, one in its transfer.
fn works() -> &'static Works {
    static WORKS: OnceLock<Works> = OnceLock::new();
    WORKS.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let (site, mut delivery): (Site, DeliveryFile) =
            scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        delivery.setup.papers.carrier = Some("Weir <Haulage>".into());
        let (closed, open) = (folder.path().join("closed.brim"), folder.path().join("open.brim"));
        for (path, lasts_s) in [(&closed, LASTS_S), (&open, 900)] {
            let bay = &site.bays[delivery.bay];
            let mut recording = recorded::Recording::begin(path, &site.texts, bay, &delivery, 5);
            recording.seconds(lasts_s);
            recording.end();
        }
        Works { folder, closed, open }
    })
}

fn closed() -> Account {
    account(&works().closed).unwrap_or_else(|error| panic!("{error}"))
}

/// The account says what happened: what really arrived, by whom it was seen, and against what.
#[test]
fn a_closed_delivery_has_its_account() {
    let a = closed();
    assert!(a.is_closed && a.drill_speed == Some(1.0));
    assert_eq!((a.site.as_str(), a.carrier.as_deref()), ("Alder Reach works (drill)", Some("Weir <Haulage>")));
    let (opened, started, closed) = (a.opened.expect("a time"), a.started.expect("a time"), a.closed.expect("a time"));
    assert!(opened.unix_ns < started.unix_ns && started.unix_ns < closed.unix_ns);
    assert!(opened.wall.starts_with("2026-10-25T00:00:00"), "{}", opened.wall);
    assert_eq!(
        a.witnesses.iter().map(|w| w.witness.as_str().expect("text")).collect::<Vec<_>>(),
        ["flow", "scale", "tank"]
    );
    let received = a.received_kg.expect("together");
    for witness in &a.witnesses {
        let own = witness.received_kg.expect("credible");
        assert!((own.value - received.value).abs() < 4.0 * own.u, "{own:?} against {received:?}");
        let squares: f64 = witness.budget.iter().map(|part| part.kg * part.kg).sum();
        assert!((squares.sqrt() - own.u).abs() < 1e-9, "the budget adds up");
    }
    // The drill's papers plan to unload a part of what the ticket says.
    assert!(a.ticket.net_kg > a.planned_kg + 3.0 * a.ticket.corrected_kg.u);
    assert_eq!(a.against_ticket, AgainstTicket::NotCompared(WhyNot::PartOfTheLoad));
    let entries: Vec<&str> = a.entries.iter().map(|e| e.what.as_str()).collect();
    assert_eq!(entries, ["delivery_opened", "transfer_started", "closed"]);
    assert!(a.levels.iter().all(|level| level.close_m.zip(level.start_m).is_some_and(|(close, start)| close > start)));
    assert_eq!((a.chain_head.len(), a.recordings.len()), (64, 1));
    assert!(a.recordings[0].damage.is_empty() && a.recordings[0].ended);
}

/// A transfer that is still on has an account too, but nothing is held against its ticket yet.
#[test]
fn an_open_delivery_is_not_held_against_its_ticket() {
    let a = account(&works().open).unwrap_or_else(|error| panic!("{error}"));
    assert!(!a.is_closed && a.closed.is_none() && a.received_kg.is_some());
    assert_eq!(a.against_ticket, AgainstTicket::NotCompared(WhyNot::NotClosed));
}

/// A torn tail is said, and what stands before it still counts; the same bytes give the same account.
#[test]
fn a_torn_tail_is_said() {
    let bytes = std::fs::read(&works().closed).expect("a file");
    let torn = works().folder.path().join("torn.brim");
    std::fs::write(&torn, &bytes[..bytes.len() - 7]).expect("a disk");
    let (whole, torn) = (closed(), account(&torn).unwrap_or_else(|error| panic!("{error}")));
    assert_eq!(torn.received_kg, whole.received_kg);
    assert!(torn.recordings[0].damage[0].contains("torn tail"), "{:?}", torn.recordings[0].damage);
    assert_eq!(whole, closed());
}

#[test]
fn a_file_without_a_delivery_has_none() {
    let none = works().folder.path().join("none.brim");
    std::fs::write(&none, b"no recording").expect("a disk");
    assert!(matches!(account(&none), Err(AccountError::Recording(_))));
}

/// Every key of the account's JSON is in the paper on interfaces.
#[test]
fn every_key_is_documented() {
    let documented = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md"));
    let documented = documented.expect("the paper");
    let json = serde_json::to_value(closed()).expect("JSON");
    let mut keys = Vec::new();
    keys_of(&json, &mut keys);
    for key in keys {
        assert!(documented.contains(&format!("`{key}`")), "{key} is not in docs/interface.md");
    }
}
