//! What `brimwatch check` says of the recording, against the records of a transfer.

use crate::bay::Story;
use brimwatch::check::recorded::recorded;
use brimwatch::config;
use brimwatch::recording::output_bytes;
use std::path::Path;

/// Outputs of a story's transfer are as long as reckoned, give or take a fifth: what is said varies.
#[test]
fn a_transfer_takes_the_bytes_that_check_reckons() {
    const FROM_S: u64 = 100;
    const TO_S: u64 = 400;
    let mut story = Story::transferring(FROM_S);
    let before = story.outputs.len();
    story.run_to(TO_S);
    let kept = story.outputs[before..].iter().filter(|o| o.keep).filter_map(|o| o.frame.as_deref());
    let outputs: usize = kept.map(output_bytes).sum();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let site = config::load(&folder.join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
    let reckoned = recorded(&site, &site.bays[0], &story.delivery);
    let seconds = (TO_S - FROM_S) as f64;
    let told = reckoned.transfer_bytes_per_s - reckoned.idle_bytes_per_s;
    let real = 0.9 * outputs as f64 / seconds; // an idle bay keeps one in ten
    assert!((told / real - 1.0).abs() < 0.2, "{told} against {real}");
}
