//! A disk in memory that refuses, cuts and hangs when its plan says so, and what the recorder makes of it.

use super::checks::Broken;
use super::driver::Tape;
use super::plan::Plan;
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{Carried, Input};
use brimwatch::engine::{Monitor, NUMERICS_VERSION};
use brimwatch::recording::compare::compare_with;
use brimwatch::recording::format::{Header, PROGRAM_VERSION};
use brimwatch::recording::writer::{Disk, Recorder};
use brimwatch::time::WallTime;
use brimwatch_simulator::noise::Chance;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// So much may wait for the disk: a whole delivery.
const LIMIT_BYTES: usize = 64 * 1024 * 1024;
/// A disk that refuses does so for so many attempts; each is a second of real time.
const REFUSALS: u32 = 1;
/// It hangs for so long.
const HANGS: Duration = Duration::from_millis(30);
/// No disk of a plan is away for longer.
const WAITS: Duration = Duration::from_secs(20);

#[derive(Debug, Default)]
struct Plate {
    bytes: Vec<u8>,
    /// Behind so many bytes trouble begins.
    after: usize,
    refusals: u32,
    hangs: bool,
}

/// What holds the bytes.
#[derive(Debug, Clone, Default)]
struct PlannedDisk(Arc<Mutex<Plate>>);

impl PlannedDisk {
    fn plate(&self) -> MutexGuard<'_, Plate> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Disk for PlannedDisk {
    fn reopen(&mut self, len: u64) -> io::Result<()> {
        self.plate().bytes.truncate(usize::try_from(len).unwrap_or(usize::MAX));
        Ok(())
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut plate = self.plate();
        let due = plate.bytes.len() + bytes.len() > plate.after;
        if due && plate.refusals > 0 {
            plate.refusals -= 1;
            plate.bytes.extend(&bytes[..bytes.len() / 2]);
            return Err(io::Error::other("no space left"));
        }
        if due && std::mem::take(&mut plate.hangs) {
            drop(plate);
            std::thread::sleep(HANGS);
            plate = self.plate();
        }
        plate.bytes.extend(bytes);
        Ok(())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }

    fn path(&self) -> PathBuf {
        "swarm.brim".into()
    }
}

/// The recording of one delivery.
pub struct Recorded {
    recorder: Recorder,
    disk: PlannedDisk,
}

/// The end of it that a bench holds.
pub struct Taped(Arc<Recorded>);

impl Tape for Taped {
    fn input(&mut self, input: &Input) -> u64 {
        self.0.recorder.input(input)
    }

    fn output(&mut self, number: u64, frame: &Frame) {
        self.0.recorder.output(number, frame);
    }
}

impl Recorded {
    /// Begins one, as the plan's disk lets it.
    pub fn begin(plan: &Plan) -> (Arc<Recorded>, Taped) {
        let header = Header {
            program_version: PROGRAM_VERSION.to_owned(),
            numerics_version: NUMERICS_VERSION,
            drill_speed: Some(1.0),
            boot_id: "none".into(),
            machine_ns_at_zero: 0,
            wall_at_zero: WallTime(0),
            bay: "bay-1".into(),
            texts: Vec::new(),
            settings: plan.settings.clone(),
            carried: Carried::default(),
        };
        let mut chance = Chance::new(plan.seed, 951);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "kilobytes")]
        let after = chance.between((50_000.0, 1_000_000.0)) as usize;
        let (refuses, hangs) = (plan.bad_disk, plan.bad_disk && chance.uniform() < 0.5);
        let refusals = if refuses { REFUSALS } else { 0 };
        let disk = PlannedDisk(Arc::new(Mutex::new(Plate { after, refusals, hangs, bytes: Vec::new() })));
        let recorder =
            Recorder::create_on(disk.clone(), &header, LIMIT_BYTES).expect("the header fits before any trouble");
        let recorded = Arc::new(Recorded { recorder, disk });
        (Arc::clone(&recorded), Taped(recorded))
    }

    /// Ends it; every byte must be there once the disk is back.
    fn end(self) -> (Vec<u8>, Result<(), String>) {
        let begun = Instant::now();
        while self.recorder.progress().borrow().trouble.is_some() && begun.elapsed() < WAITS {
            std::thread::sleep(Duration::from_millis(5));
        }
        let ended = self.recorder.finish().map_err(|lost| lost.to_string());
        (std::mem::take(&mut self.disk.plate().bytes), ended)
    }

    /// Ends it and replays it: every input must be there, and every output the same bit for bit.
    pub fn replay(self, s: u64, fed: u64) -> (Vec<u8>, Vec<Broken>) {
        let (bytes, ended) = self.end();
        let broken = |check, what| vec![Broken { check, s, what }];
        if let Err(lost) = ended {
            return (bytes, broken("the disk has every byte once it is back", lost));
        }
        let found = match compare_with::<Monitor>(Path::new("swarm.brim"), &bytes) {
            Err(error) => broken("every recording can be read", error.to_string()),
            Ok(same) if same.inputs != fed || !same.damage.is_empty() || !same.ended => {
                broken("no input is missing on record", format!("{} of {fed} inputs; {same}", same.inputs))
            }
            Ok(same) if !same.is_same() => broken("every recording replays bit for bit", same.to_string()),
            Ok(_) => Vec::new(),
        };
        (bytes, found)
    }
}
