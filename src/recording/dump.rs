//! A recording as text, every record on a line of its own: what to read when everything else fails.

use super::RecordingError;
use super::compare::seconds;
use super::format::{Header, HeaderForm, Kind, Record};
use super::json::form_text;
use super::reader::{self, Recording};
use super::truth;
use std::io::Write;
use std::path::Path;

/// Writes a recording's text.
///
/// # Errors
/// When the file is no recording or one that this program cannot read, or when `out` refuses.
pub fn dump(path: &Path, out: &mut dyn Write) -> Result<(), RecordingError> {
    dump_bytes(path, &reader::read(path)?, out)
}

/// Like [`dump`], from bytes; `path` is for messages.
///
/// # Errors
/// As [`dump`].
pub fn dump_bytes(path: &Path, bytes: &[u8], out: &mut dyn Write) -> Result<(), RecordingError> {
    let recording = reader::walk(path, bytes)?;
    write_lines(&recording, out).map_err(RecordingError::Out)
}

fn write_lines(recording: &Recording<'_>, out: &mut dyn Write) -> std::io::Result<()> {
    writeln!(out, "{:>10}  {:<6} {:>9}  {:>20}  content", "byte", "kind", "number", "engine time")?;
    let mut damage = recording.damage.iter().peekable();
    for record in &recording.records {
        while let Some(passed) = damage.next_if(|damage| damage.from <= record.offset) {
            writeln!(out, "{:>10}  {passed}", passed.from)?;
        }
        let (time, content) = describe(record, &recording.header);
        let (kind, number) = (record.kind.word(), record.number);
        let mark = if record.intact { "" } else { "  (checksum does not fit)" };
        writeln!(out, "{:>10}  {kind:<6} {number:>9}  {time:>20}  {content}{mark}", record.offset)?;
    }
    if let Some(torn) = &recording.torn {
        writeln!(out, "{:>10}  {torn}", torn.from)?;
    }
    Ok(())
}

/// Engine time and content of a record.
fn describe(record: &Record<'_>, header: &Header) -> (String, String) {
    let unreadable = |why: String| (String::new(), format!("cannot be read: {why}"));
    match record.kind {
        Kind::Header => (String::new(), describe_header(header)),
        Kind::Input => match reader::input(record) {
            Ok(input) => (seconds(input.at), form_text(&input.event)),
            Err(why) => unreadable(why),
        },
        Kind::Output => match reader::frame(record) {
            Ok(frame) => (seconds(frame.at), form_text(&frame)),
            Err(why) => unreadable(why),
        },
        Kind::Truth => match truth::read(record) {
            Ok(truth) => (String::new(), serde_json::to_string(&truth).unwrap_or_default()),
            Err(why) => unreadable(why),
        },
        Kind::Link => {
            let hash: String = record.body.iter().map(|byte| format!("{byte:02x}")).collect();
            (String::new(), hash)
        }
        Kind::End => match postcard::from_bytes::<super::format::EndForm>(record.body) {
            Ok(end) => (String::new(), format!("{} inputs, {} outputs", end.inputs, end.outputs)),
            Err(why) => unreadable(why.to_string()),
        },
    }
}

fn describe_header(header: &Header) -> String {
    let form = serde_json::to_string(&HeaderForm::of(header));
    let form = form.unwrap_or_else(|why| format!("cannot be shown: {why}"));
    let begun = jiff::Timestamp::from_nanosecond(i128::from(header.wall_at_zero.0));
    let begun = begun.map_or_else(|_| "at an impossible time".to_owned(), |time| time.to_string());
    format!("brimwatch {} begun {begun} {form}", header.program_version)
}
