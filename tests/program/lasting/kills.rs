//! SIGKILL, at moments drawn from a seed.

use super::{all_read, drill, hash, inputs, note, notes, recording, replays_bit_for_bit};
use crate::running::Program;
use brimwatch::engine::Monitor;
use brimwatch::recording::resume;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

const KILLS: u64 = 24;
const SEED: u64 = 0x5eed_0024;
/// From the start of the program to its first frame beyond what was on record.
const BACK_WITHIN: Duration = Duration::from_secs(5);

/// SplitMix64 (Steele, Lea, Flood 2014, OOPSLA): a moment within so many ms.
fn drawn(kill: u64, below_ms: u64) -> Duration {
    let z = SEED.wrapping_add(kill.wrapping_mul(0x9e37_79b9_7f4a_7c15));
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    Duration::from_millis((z ^ (z >> 31)) % below_ms)
}

/// Enters notes as fast as they are saved until the program is dead; gives those that were answered "saved".
fn enter_until_dead(program: &mut Program, next: &AtomicU32, dead_after: Duration) -> Vec<u32> {
    let page = program.page.clone();
    std::thread::scope(|scope| {
        let entered = scope.spawn(move || {
            let mut saved = Vec::new();
            loop {
                let number = next.fetch_add(1, Ordering::Relaxed);
                match page.answer("POST /bay/bay-1/entry", "", &note(number)) {
                    Ok(answer) if answer.contains(r#""saved":true"#) => saved.push(number),
                    Ok(answer) if answer.starts_with("HTTP/1.1 ") => panic!("refused: {answer}"),
                    Ok(_) | Err(_) => return saved,
                }
            }
        });
        std::thread::sleep(dead_after);
        program.child.kill().expect("a kill");
        program.child.wait().expect("an end");
        entered.join().expect("a thread")
    })
}

/// Each time it is back within 5 s in the same transfer, whatever was answered "saved" is on record, and what is taken
/// over is what a replay of the surviving records gives. In the end the whole replays bit for bit: what every life of
/// the program showed follows from the records.
#[tokio::test(flavor = "multi_thread")]
async fn killed_at_any_moment_it_goes_on_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 5).await;
    let bay = folder.path().join("recordings/bay-1");
    tokio::task::block_in_place(|| {
        let mut program = Program::start(&drilled);
        program.frame_when("all read", all_read);
        let (status, body) = program.request("POST /bay/bay-1/entry", r#"{"what":"transfer_started"}"#);
        assert_eq!(status, 200, "{body}");
        let (next, mut saved, mut slowest) = (AtomicU32::new(0), Vec::new(), Duration::ZERO);
        for kill in 1..=KILLS {
            saved.extend(enter_until_dead(&mut program, &next, drawn(kill, 900)));
            let bytes = std::fs::read(recording(&bay)).expect("the recording");
            let (header, on_record) = inputs(&bytes);
            let noted = notes(&on_record);
            let lost: Vec<_> = saved.iter().filter(|n| !noted.contains(&format!("note {n}"))).collect();
            assert!(lost.is_empty(), "kill {kill}: answered \"saved\" and lost: {lost:?}");
            let mut replayed = Monitor::new(header.settings, header.carried);
            on_record.iter().for_each(|input| drop(replayed.step(input)));
            let resumed = resume::recover(&recording(&bay)).expect("a recording");
            assert_eq!(hash(&resumed.monitor), hash(&replayed), "kill {kill}");
            let last_ns = on_record.last().expect("inputs").at.0;
            let begun = Instant::now();
            // Now and then it is killed before it is back at all.
            if kill % 6 == 0 {
                let mut early = Program::start(&drilled);
                std::thread::sleep(drawn(kill + 1000, 60));
                early.child.kill().expect("a kill");
                early.child.wait().expect("an end");
            }
            let begun = if kill % 6 == 0 { Instant::now() } else { begun };
            program = Program::start(&drilled);
            program.frame_when("back", |f| f["phase"] == "transfer" && f["at_ns"].as_u64() > Some(last_ns));
            slowest = slowest.max(begun.elapsed());
            assert!(begun.elapsed() < BACK_WITHIN, "kill {kill}: back after {:?}", begun.elapsed());
        }
        println!("{KILLS} kills, {} entries saved, slowest back after {slowest:?}", saved.len());
        assert!(saved.len() > 50, "{} entries are too few to lose any", saved.len());
    });
    replays_bit_for_bit(&recording(&bay));
}
