//! Devices and lines that misbehave, each row against a raw server of ours: no value is ever taken that is not the
//! device's own answer to this very request, every round is over in time, and the device is soon back.

mod apart;
mod cases;
mod frame;
mod line;
mod poller;
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
const SERIAL: &[Kind] = &[Kind::Serial];

/// Every row that must be there, apart from the cases themselves: none can be left out unnoticed.
const EXPECTED: &[(&str, &[Kind])] = &[
    ("no fault, all four functions", ALL),
    ("no answer", ALL),
    ("late answer, after the time-out", ALL),
    ("late answer, after the next request", ALL),
    ("always slower than the time-out", ALL),
    ("always slower than the period", ALL),
    ("hung", ALL),
    ("duplicate answer", ALL),
    ("duplicate answer while idle", ALL),
    ("unsolicited frame while idle", ALL),
    ("unsolicited frame before an answer", ALL),
    ("junk after every round", ALL),
    ("wrong transaction", TCP),
    ("wrong unit", ALL),
    ("wrong function", ALL),
    ("exception of another function", ALL),
    ("0 registers for 10", ALL),
    ("9 registers for 10", ALL),
    ("11 registers for 10", ALL),
    ("19 bytes for 10 registers", ALL),
    ("21 bytes for 10 registers", ALL),
    ("byte count 22 over 20 bytes", ALL),
    ("byte count 18 over 20 bytes", ALL),
    ("exception without a code", ALL),
    ("bytes for 16 coils: 1", ALL),
    ("bytes for 16 coils: 3", ALL),
    ("coils of the request before", RTU),
    ("protocol 1", TCP),
    ("header's length 0", TCP),
    ("header's length 1", TCP),
    ("header's length 300", TCP),
    ("header's length 65535", TCP),
    ("exception 1", ALL),
    ("exception 2", ALL),
    ("exception 3", ALL),
    ("exception 4", ALL),
    ("exception 5", ALL),
    ("exception 6", ALL),
    ("exception 8", ALL),
    ("exception 55", ALL),
    ("exception 0", ALL),
    ("exception 10", ALL),
    ("exception 11", ALL),
    ("truncated answer", ALL),
    ("truncated answer, the rest later", ALL),
    ("slow drip of 1.2 s", ALL),
    ("byte by byte in time", ALL),
    ("three pieces in time", ALL),
    ("end after the request", NET),
    ("reset after the request", NET),
    ("end within the answer", NET),
    ("end while idle", NET),
    ("reset while idle", NET),
    ("half-open", NET),
    ("half-open, new connections too", NET),
    ("HTTP answer", NET),
    ("refused", NET),
    ("adapter pulled out", SERIAL),
    ("connect that hangs", NET),
    ("garbage", ALL),
    ("bad checksum", RTU),
    ("noise before an answer", RTU),
    ("noise after an answer", RTU),
    ("noise between polls", RTU),
    ("echo before the answer", RTU),
    ("echo before every answer", RTU),
    ("babble without end", RTU),
    ("duplicate answer behind the next request", ALL),
    ("late answer behind the next request", RTU),
    ("each answer to the request before", RTU),
    ("late exception behind the next request", RTU),
    ("late answer, two blocks of one look", RTU),
    ("single register, slower than the period", RTU),
    ("answer 400 ms late", RTU),
    ("answer 1000 ms late", RTU),
    ("answer 1500 ms late", RTU),
    ("answer 2200 ms late", RTU),
    ("one unit of three is dead", RTU),
    ("late answer while another unit is asked", RTU),
    ("one unit of three is slow", RTU),
    ("hung for good, another link", ALL),
    ("hung for good, memory", NET),
];

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
    let longest = rows.iter().max_by_key(|row| row.past_ms).expect("rows");
    println!(
        "{} rows; longest past a deadline: {} ms ({}, {})",
        rows.len(),
        longest.past_ms,
        longest.name,
        longest.way
    );
    let printed: BTreeSet<(&str, &str)> = rows.iter().map(|row| (row.name.as_str(), row.way)).collect();
    let expected = EXPECTED.iter().flat_map(|(name, kinds)| kinds.iter().map(|kind| (*name, kind.name())));
    assert_eq!(printed, expected.collect(), "rows");
    assert_eq!(printed.len(), rows.len(), "a row twice");
    assert!(functions[1..5].iter().all(|count| *count > 0), "all four reads are tried");
    let failed: Vec<String> = rows.iter().filter(|row| !row.failures.is_empty()).map(Row::to_string).collect();
    assert!(failed.is_empty(), "{} of {} rows fail:\n{}", failed.len(), rows.len(), failed.join("\n"));
}

/// The count that must be 0 can be another: ten planted registers are counted as ten.
#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_value_is_counted() {
    for kind in ALL {
        let row = cases::lie(*kind).run().await;
        assert_eq!((row.wrong, row.failures), (10, vec!["10 wrong values".to_owned()]), "{}", kind.name());
    }
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
