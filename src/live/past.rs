//! How a delivery went before the program was started anew: out of its recordings, so that the page's charts go on.

use crate::picture::Past;
use crate::recording::format::Kind;
use crate::recording::{RecordingError, reader, stream};
use crate::report;
use std::path::Path;

/// What the recordings of the delivery that `recording` is of have shown so far. What cannot be read is left out: it is
/// for the eye alone.
pub fn of_delivery(recording: &Path) -> Past {
    let mut past = Past::default();
    for path in report::recordings_of_delivery(recording).unwrap_or_default() {
        if let Err(error) = take(&mut past, &path) {
            tracing::warn!(%error, "the charts begin without it");
        }
    }
    past
}

fn take(past: &mut Past, path: &Path) -> Result<(), RecordingError> {
    let mut stream = stream::open(path)?;
    while let Some(record) = stream.next_record()? {
        if record.kind == Kind::Output
            && let Ok(frame) = reader::frame(&record)
        {
            past.take(&frame);
        }
    }
    Ok(())
}
