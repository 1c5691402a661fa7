//! Devices and lines that misbehave, each row against a raw server of ours: no value is ever taken that is not the
//! device's own answer to this very request, every round is over in time, and the device is soon back.

mod apart;
mod cases;
mod frame;
mod line;
mod server;
mod trial;

use server::Kind;
use std::collections::BTreeSet;
use std::sync::Arc;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use trial::Row;

/// Cases under way at one time.
const AT_ONCE: usize = 8;

const ALL: &[Kind] = &[Kind::Tcp, Kind::RtuOverTcp, Kind::Serial];
const NET: &[Kind] = &[Kind::Tcp, Kind::RtuOverTcp];
const RTU: &[Kind] = &[Kind::RtuOverTcp, Kind::Serial];
const TCP: &[Kind] = &[Kind::Tcp];

/// Every row that must be there, apart from the cases themselves: none can be left out unnoticed.
const EXPECTED: &[(&str, &[Kind])] = &[];

#[test]
fn misbehaviour_gives_no_wrong_value_and_costs_little() {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
    let rows = runtime.block_on(rows());
    for row in &rows {
        println!("{row}");
    }
    let functions = rows.iter().fold([0; 6], |sum, row| std::array::from_fn(|i| sum[i] + row.functions[i]));
    println!("requests by function 1 to 4: {:?}; any other: {}", &functions[1..5], functions[0] + functions[5]);
    let printed: BTreeSet<(&str, &str)> = rows.iter().map(|row| (row.name.as_str(), row.way)).collect();
    let expected = EXPECTED.iter().flat_map(|(name, kinds)| kinds.iter().map(|kind| (*name, kind.name())));
    assert_eq!(printed, expected.collect(), "rows");
    assert_eq!(printed.len(), rows.len(), "a row twice");
    assert!(functions[1..5].iter().all(|count| *count > 0), "all four reads are tried");
    let failed: Vec<String> = rows.iter().filter(|row| !row.failures.is_empty()).map(Row::to_string).collect();
    assert!(failed.is_empty(), "{} of {} rows fail:\n{}", failed.len(), rows.len(), failed.join("\n"));
}

async fn rows() -> Vec<Row> {
    let places = Arc::new(Semaphore::new(AT_ONCE));
    let mut running = JoinSet::new();
    for (i, case) in cases::all().into_iter().enumerate() {
        let places = Arc::clone(&places);
        running.spawn(async move {
            let _place = places.acquire().await;
            (i, case.run().await)
        });
    }
    let mut rows = running.join_all().await;
    rows.sort_by_key(|(i, _)| *i);
    let mut rows: Vec<Row> = rows.into_iter().map(|(_, row)| row).collect();
    // Alone, so that the memory is theirs.
    for kind in ALL {
        rows.push(apart::neighbour(*kind).await);
    }
    for kind in NET {
        rows.push(apart::memory(*kind).await);
    }
    rows
}
