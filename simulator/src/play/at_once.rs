//! A recording played in process with its recorded time stamps: through the registers and back, without a wire.

use super::altered::Altered;
use super::recorded::Recorded;
use super::served::Served;
use crate::server::Registers;
use brimwatch::config::Site;
use brimwatch::recording::format::{Header, Kind};
use brimwatch::recording::writer::Recorder;
use brimwatch::recording::{resume, stream};
use brimwatch::time::EngineTime;
use std::path::Path;

/// Plays it into a new recording, up to a moment; the recording is left to be gone on with, and so is what faults made of
/// it.
///
/// # Errors
/// When the new recording cannot be written.
pub fn play(
    recorded: &Recorded,
    (site, bay): (&Site, usize),
    altered: Altered,
    header: &Header,
    (until, to): (EngineTime, &Path),
) -> Result<Altered, String> {
    let cannot = |e: &dyn std::fmt::Display| format!("{}: cannot be written: {e}", to.display());
    let registers: Vec<Registers> = site.devices.iter().map(|_| Registers::default()).collect();
    let mut served = Served::new(recorded, (site, bay), &registers, altered);
    // A recording that holds nothing yet gives a watch that has seen nothing yet.
    drop(Recorder::create(to, header).map_err(|e| cannot(&e))?);
    let begun = resume::recover(to).map_err(|e| e.to_string())?;
    let recorder = Recorder::append(to, &begun.point).map_err(|e| cannot(&e))?;
    let mut watch = begun.monitor;
    for input in recorded.inputs.iter().take_while(|input| input.at <= until) {
        recorder.wait_for_room().map_err(|e| cannot(&e))?;
        let input = served.through(input);
        let number = recorder.input(&input);
        let output = watch.step(&input);
        if let Some(frame) = output.frame.filter(|_| output.keep) {
            recorder.output(number, &frame);
        }
    }
    Ok(served.into_altered())
}

/// How many stored outputs of two recordings are the same, bit for bit, and the number of the first input whose output
/// is not.
///
/// # Errors
/// When one of them is no recording.
pub fn compare(one: &Path, other: &Path) -> Result<(u64, Option<u64>), String> {
    let open = |path| stream::open(path).map_err(|e| e.to_string());
    let (mut one, mut other) = (Outputs(open(one)?), Outputs(open(other)?));
    let mut same = 0;
    loop {
        match (one.next()?, other.next()?) {
            (None, None) => return Ok((same, None)),
            (a, b) if a == b => same += 1,
            (a, b) => return Ok((same, a.or(b).map(|(number, _)| number))),
        }
    }
}

struct Outputs<R>(stream::Stream<R>);

impl<R: std::io::Read> Outputs<R> {
    fn next(&mut self) -> Result<Option<(u64, Vec<u8>)>, String> {
        while let Some(record) = self.0.next_record().map_err(|e| e.to_string())? {
            if record.kind == Kind::Output {
                return Ok(Some((record.number, record.body.to_vec())));
            }
        }
        Ok(None)
    }
}
