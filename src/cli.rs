//! What is typed and what it answers: commands, exit codes, the log.

use crate::check;
use crate::config::{self, Door, Site};
use crate::decode;
use crate::decode::command::{Refusal, Shown};
use crate::ledger::{self, Ledger};
use crate::live::change::AskError;
use crate::live::{self, Options};
use crate::people;
use crate::recording::compare::{self, Outcome};
use crate::recording::export::{self, TableForm};
use crate::recording::import::{self, ImportError, Plan};
use crate::recording::{RecordingError, dump, json, stream};
use crate::report::amend::AmendError;
use crate::report::verify::VerifyError;
use crate::report::{self, AccountError};
use crate::tune::{self, Labels};
use crate::units::Measures;
use crate::words;
use clap::{Parser, Subcommand, ValueEnum};
use std::fmt::Display;
use std::fs::File;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tracing_subscriber::EnvFilter;

/// Watches the unloading of a cargo tank trailer: flow meter, truck scale and tank level as one mass.
///
/// brimwatch advises; it opens and closes nothing. An independent high-level shut-off and a qualified person in
/// attendance are required, and local codes come first.
#[derive(Debug, Parser)]
#[command(version, after_help = EXIT_CODES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Watch a site's bays and show them on a page of this machine.
    Watch {
        /// Site file (config/site.toml is a commented one).
        site: PathBuf,
        /// Opens the delivery that this file describes; one for each bay at most.
        #[arg(long, value_name = "FILE")]
        delivery: Vec<PathBuf>,
        /// How the log on standard error is written. What is logged: BRIMWATCH_LOG (error, warn, info, debug).
        #[arg(long, value_enum, default_value_t = LogForm::Text)]
        log: LogForm,
    },
    /// Open a delivery at a bay that is being watched; nothing goes unwatched between two loads.
    Open {
        /// Site file of the running watch.
        site: PathBuf,
        /// Delivery file.
        delivery: PathBuf,
        /// Who opens it.
        #[arg(long, value_name = "NAME")]
        who: String,
    },
    /// Find out how registers of a device are to be read: type, order, scale, unit.
    ///
    /// Reads the named registers and nothing else, and lists every reading that fits what is known of the value.
    Decode(Box<decode::command::Options>),
    /// Check a site file and say what follows from it: levels and their times, poll load, gas, recording. Starts nothing.
    Check {
        /// Site file (config/site.toml is a commented one).
        site: PathBuf,
        /// Delivery that is checked too; trailer and plate are answered for it.
        #[arg(long, value_name = "FILE")]
        delivery: Option<PathBuf>,
        /// Say the same as one JSON object.
        #[arg(long)]
        json: bool,
    },
    /// Replay a recording and hold every stored output against it, bit for bit.
    Replay {
        /// Recording.
        file: PathBuf,
        /// Show the outputs on record instead, one JSON object a line.
        #[arg(long)]
        json: bool,
        /// With --json: seconds of engine time between frames (changes are always written).
        #[arg(long, value_name = "S", default_value_t = 1.0, value_parser = seconds, requires = "json")]
        every: f64,
    },
    /// Make a recording of a plant's recorded history, as if it had been watched.
    Import {
        /// History: a CSV file, plain or gzip.
        history: PathBuf,
        /// Column map: which column is which signal, and how times are written (config/columns.toml is a commented one).
        #[arg(long, value_name = "MAP")]
        columns: PathBuf,
        /// Site file.
        #[arg(long)]
        site: PathBuf,
        /// Papers of the delivery that the history is of.
        #[arg(long, value_name = "FILE")]
        delivery: Option<PathBuf>,
        /// Bay that the history is of; that of the delivery, or the only one, where left out.
        #[arg(long, value_name = "NAME")]
        bay: Option<String>,
        /// Recording to write; nothing is written over.
        #[arg(long, value_name = "RECORDING")]
        out: PathBuf,
    },
    /// Change alarm settings, levels or limits of a running watch: shows what is different, and with --apply has it taken.
    ///
    /// Edit the site file, then run this. Wiring and instruments are not changed on the run. Who, when, why and what stand
    /// in changes.jsonl of the store and in the recordings; no poll is missed.
    Change {
        /// Site file as it shall be.
        site: PathBuf,
        /// Who changes it.
        #[arg(long, value_name = "NAME")]
        who: String,
        /// Why.
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// Have the running watch take it; without, it is only checked and shown.
        #[arg(long)]
        apply: bool,
    },
    /// Write what a recording shows as a table: a row for each output, columns whose names end in their unit.
    Export {
        /// Recording.
        file: PathBuf,
        /// Table to write; its ending says the form: .csv, or .parquet where the program was built with it. Nothing is
        /// written over. Left out: CSV to standard output.
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Seconds of engine time between rows; 0 for every output.
        #[arg(long, value_name = "S", default_value_t = 0.0, value_parser = seconds)]
        every: f64,
    },
    /// Try settings on recordings: for every alarm how often, how long before what it is for, and what other settings change.
    Tune(TuneOptions),
    /// List all deliveries of recordings, newest first, with sums, and charts that show an instrument that has moved.
    Ledger(LedgerOptions),
    /// Write the unloading record of a delivery: a paper (HTML) that prints, and its figures as JSON.
    ///
    /// One of a delivery that is not closed is marked as provisional; nothing is asked of the running watch.
    Report {
        /// Recording of the delivery; where it lies in several, any of them.
        recording: PathBuf,
        /// Paper to write; the figures go beside it with the ending .json. Nothing is written over. Left out: beside the
        /// delivery's first recording.
        #[arg(long, value_name = "FILE.html")]
        out: Option<PathBuf>,
        /// Units of the paper: SI with kPa, SI with bar, or lb, ft and psi. Left out: those of the recorded site file.
        #[arg(long, value_parser = clap::builder::PossibleValuesParser::new(Measures::NAMES))]
        units: Option<String>,
        /// Language of the paper (BCP 47). Left out: that of the recorded site file. What the site, its people and its
        /// papers wrote stays as they wrote it; the figures beside the paper are the same in every language.
        #[arg(long, value_parser = clap::builder::PossibleValuesParser::new(words::LANGUAGES.map(words::Language::tag)))]
        language: Option<String>,
    },
    /// Hold an unloading record against the recording: its chain, the last link printed, and every figure bit for bit.
    Verify {
        /// Recording of the delivery; where it lies in several, any of them.
        recording: PathBuf,
        /// The record: its paper (.html) or its figures (.json).
        record: PathBuf,
    },
    /// Add something to a delivery that is closed: a correction, a later weighing, a remark. Nothing written is changed.
    Amend {
        /// Recording of the delivery.
        recording: PathBuf,
        /// Who adds it.
        #[arg(long, value_name = "NAME")]
        who: String,
        /// Why.
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// What is added.
        #[arg(long, value_name = "TEXT")]
        text: String,
    },
    /// Say who may act on the page: names, roles and passwords, in a file of their own (`people` of the site file).
    #[command(subcommand)]
    People(people::command::What),
    /// Print every record of a recording as text.
    Dump {
        /// Recording.
        file: PathBuf,
    },
}

/// What `ledger` is told.
#[derive(Debug, clap::Args)]
struct LedgerOptions {
    /// Recordings, or folders of them with everything below; a folder keeps an index of what was read.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Only deliveries with this text in number, product, tank, carrier or bay.
    #[arg(long, value_name = "TEXT")]
    search: Option<String>,
    /// Only deliveries from this day on, as 2026-03-01.
    #[arg(long, value_name = "DAY")]
    from: Option<jiff::civil::Date>,
    /// Only deliveries up to this day.
    #[arg(long, value_name = "DAY")]
    to: Option<jiff::civil::Date>,
    /// Print a row for each delivery as CSV.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Print everything as one JSON object.
    #[arg(long)]
    json: bool,
    /// Folder for the paper with its pictures: ledger.html, ledger.csv, ledger.json.
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Cores to use; all where left out.
    #[arg(long, value_name = "N")]
    cores: Option<usize>,
}

/// What `tune` is told.
#[derive(Debug, clap::Args)]
struct TuneOptions {
    /// Recordings, or folders of them with everything below.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Site file to try; may be given several times. The settings on record are always tried.
    #[arg(long, value_name = "FILE")]
    site: Vec<PathBuf>,
    /// Site file that the others are compared with; the settings on record where left out.
    #[arg(long, value_name = "FILE")]
    against: Option<PathBuf>,
    /// Try several values of one key in the first site file: "alarms.on_delay=1 s,3 s,10 s".
    #[arg(long = "try", value_name = "KEY=VALUES")]
    sweep: Vec<String>,
    /// What was really called for: CSV with the head line recording,alarm,from_s,to_s.
    #[arg(long, value_name = "FILE")]
    labels: Option<PathBuf>,
    /// Folder of the results: tune.html, tune.json, tables as CSV, and how far it is.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Cores to use; all where left out.
    #[arg(long, value_name = "N")]
    cores: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LogForm {
    Text,
    Json,
}

const EXIT_CODES: &str = "\
Exit codes:
  0  done; check: no fault, there may be warnings; replay: at least one output compared and all the same
  1  the machine refused something (address, disk, network), or import, tune or ledger was told to stop
  2  a wrong command line, site file, delivery file, column map, labels, people file or record
  3  replay: an output differs, the recording is damaged, or there was nothing to compare; verify, report, amend: the
     recording or its amendments were altered
  4  no recording, or one that cannot be read
  5  replay, verify: written by another program, whose numbers may be others
  6  import: the history is not what its column map says, or is damaged
  7  decode: the device gave no usable answer
  8  decode: no reading of the registers fits
  9  verify: the record was altered, or is not of this recording
 10  verify: the record is of another delivery
 11  verify: they belong together, and amendments were added since";

/// The machine refused something.
const REFUSED: u8 = 1;
/// A wrong site or delivery file (clap uses the same for a wrong command line).
const WRONG_FILE: u8 = 2;
/// A replay that is not the same.
const NOT_SAME: u8 = 3;
/// A file that is no readable recording.
const NO_RECORDING: u8 = 4;
/// A history that cannot be taken in.
const WRONG_HISTORY: u8 = 6;
/// A recording of another program.
const OTHER_PROGRAM: u8 = 5;
/// A device that answers nothing of use.
const NO_ANSWER: u8 = 7;
/// Registers of which no reading fits.
const NOTHING_FITS: u8 = 8;
/// A record that says something else than its recording.
const RECORD_ALTERED: u8 = 9;
/// A record of another delivery.
const OTHER_DELIVERY: u8 = 10;
/// A record that lacks the latest amendments.
const AMENDED_SINCE: u8 = 11;

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if s.is_finite() && s >= 0.0 => Ok(s),
        _ => Err("a number of seconds, 0 or more".to_owned()),
    }
}

/// Runs what was typed.
#[must_use]
pub fn main() -> ExitCode {
    match Cli::parse().command {
        Command::Watch { site, delivery, log } => watch(&site, &delivery, log),
        Command::Open { site, delivery, who } => open(&site, &delivery, &who),
        Command::Decode(options) => decode(&options),
        Command::Check { site, delivery, json } => check(&site, delivery.as_deref(), json),
        Command::Replay { file, json: true, every } => written(|out| json::replay_json(&file, every, out)),
        Command::Replay { file, .. } => replay(&file),
        Command::Import { history, columns, site, delivery, bay, out } => {
            import(&history, (&columns, &site, delivery.as_deref(), bay.as_deref()), &out)
        }
        Command::Change { site, who, reason, apply } => change(&site, &who, &reason, apply),
        Command::Export { file, out, every } => export(&file, out.as_deref(), every),
        Command::Tune(options) => tune_recordings(&options),
        Command::Ledger(options) => list_deliveries(options),
        Command::Report { recording, out, units, language } => {
            write_record(&recording, out.as_deref(), (units, language))
        }
        Command::Verify { recording, record } => verify(&recording, &record),
        Command::Amend { recording, who, reason, text } => amend(&recording, (&who, &reason, &text)),
        Command::People(what) => people(&what),
        Command::Dump { file } => written(|out| dump::dump(&file, out)),
    }
}

const ADVISORY: &str = "It opens and closes nothing; an independent high-level shut-off and a qualified person in \
                        attendance are required.";

/// To standard output; a watch goes on when nobody reads it.
fn say(line: impl Display) {
    let _ = writeln!(io::stdout(), "{line}");
}

fn fail(code: u8, why: impl Display) -> ExitCode {
    let _ = writeln!(io::stderr(), "brimwatch: {why}");
    ExitCode::from(code)
}

fn failed_recording(error: &RecordingError) -> ExitCode {
    match error {
        // Whoever read the output has enough of it.
        RecordingError::Out(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        RecordingError::Io { .. } | RecordingError::Out(_) => fail(REFUSED, error),
        _ => fail(NO_RECORDING, error),
    }
}

fn written(write: impl FnOnce(&mut dyn Write) -> Result<(), RecordingError>) -> ExitCode {
    let mut out = BufWriter::new(io::stdout().lock());
    let done = write(&mut out).and_then(|()| out.flush().map_err(RecordingError::Out));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => failed_recording(&error),
    }
}

fn failed_account(error: &AccountError) -> ExitCode {
    match error {
        AccountError::Recording(error) => failed_recording(error),
        AccountError::NoDelivery(_) => fail(NO_RECORDING, error),
        AccountError::Amendments(AmendError::Altered { .. }) => fail(NOT_SAME, error),
        AccountError::Amendments(AmendError::Text { .. }) => fail(WRONG_FILE, error),
        AccountError::Amendments(AmendError::Running(_) | AmendError::Io { .. }) => fail(REFUSED, error),
    }
}

fn write_record(recording: &Path, out: Option<&Path>, (units, language): (Option<String>, Option<String>)) -> ExitCode {
    if let Some(out) = out.filter(|out| out.extension().is_none_or(|ending| ending != "html")) {
        return fail(WRONG_FILE, format_args!("--out {}: the paper's name ends in .html", out.display()));
    }
    let mut record = match report::record(recording, &jiff::tz::TimeZone::system()) {
        Ok(record) => record,
        Err(error) => return failed_account(&error),
    };
    if let Some(measures) = units.as_deref().and_then(Measures::named) {
        record.reader.measures = measures;
    }
    if let Some(language) = language {
        record.reader.language = language;
    }
    match record.write(out) {
        Ok(paper) => {
            if !record.is_final() {
                say(
                    "The delivery is not closed: the record is provisional, and nothing is held against the ticket yet.",
                );
            }
            say(format_args!("{}", paper.display()));
            ExitCode::SUCCESS
        }
        Err(error) => fail(REFUSED, error),
    }
}

fn verify(recording: &Path, record: &Path) -> ExitCode {
    let verified = match report::verify::verify(recording, record) {
        Ok(verified) => verified,
        Err(VerifyError::Account(error)) => return failed_account(&error),
        Err(error) => {
            let code = match &error {
                VerifyError::Io { .. } => REFUSED,
                VerifyError::NoRecord { .. } => WRONG_FILE,
                VerifyError::OtherProgram { .. } => OTHER_PROGRAM,
                VerifyError::OtherDelivery { .. } => OTHER_DELIVERY,
                VerifyError::RecordAltered(_) => RECORD_ALTERED,
                VerifyError::RecordingAltered(_) | VerifyError::Account(_) => NOT_SAME,
            };
            return fail(code, error);
        }
    };
    say(format_args!(
        "{} and {} belong together: delivery {:?}. The chain holds up to the link printed on the record, {}, and every \
         figure follows from the recording.",
        record.display(),
        recording.display(),
        verified.delivery,
        verified.chain_head
    ));
    for damage in &verified.damage {
        say(format_args!("The recording was damaged already when the record was made, which says so: {damage}"));
    }
    if verified.amended_since == 0 {
        return ExitCode::SUCCESS;
    }
    say(format_args!(
        "{} amendments were added since, and are not on it: make the record anew.",
        verified.amended_since
    ));
    ExitCode::from(AMENDED_SINCE)
}

fn amend(recording: &Path, texts: (&str, &str, &str)) -> ExitCode {
    match report::amend(recording, texts, crate::clock::wall_now()) {
        Ok(amendment) => {
            say(format_args!(
                "Amendment {} is written. Make the record anew to have it on paper: brimwatch report {}",
                amendment.number,
                recording.display()
            ));
            ExitCode::SUCCESS
        }
        Err(error) => failed_account(&error),
    }
}

fn not_taken(error: &AskError) -> ExitCode {
    match error {
        AskError::Change(_) | AskError::NotTaken(_) => fail(WRONG_FILE, error),
        AskError::NoWatch(_) | AskError::NoAnswer | AskError::Io { .. } => fail(REFUSED, error),
    }
}

fn open(site: &Path, delivery: &Path, who: &str) -> ExitCode {
    let read = config::load(site).and_then(|site| Ok((config::load_delivery(delivery, &site)?, site)));
    let (papers, site) = match read {
        Ok(read) => read,
        Err(faults) => return fail(WRONG_FILE, faults),
    };
    if who.trim().is_empty() {
        return fail(WRONG_FILE, "--who: say who opens the delivery");
    }
    match live::open::ask(&site, delivery, who.trim()) {
        Ok(()) => {
            let (id, bay) = (&papers.setup.id, &site.bays[papers.bay].settings.bay);
            say(format_args!("Delivery {id} is open at {bay}, and on record. See the bay's page for its checks."));
            ExitCode::SUCCESS
        }
        Err(error) => not_taken(&error),
    }
}

fn change(site: &Path, who: &str, reason: &str, apply: bool) -> ExitCode {
    let new = match config::load(site) {
        Ok(new) => new,
        Err(faults) => return fail(WRONG_FILE, faults),
    };
    let differences = match live::change::looked_at(&new, who, reason) {
        Ok(differences) => differences,
        Err(error) => return not_taken(&error),
    };
    say(config::change::lines(&differences));
    if !apply {
        say("Checked; nothing was changed. With --apply the running watch takes it.");
        return ExitCode::SUCCESS;
    }
    match live::change::ask(&new, who, reason) {
        Ok(()) => {
            say("Taken by the running watch; it stands in changes.jsonl of the store and in the recordings.");
            ExitCode::SUCCESS
        }
        Err(error) => not_taken(&error),
    }
}

fn people(what: &people::command::What) -> ExitCode {
    match people::command::run(what) {
        Ok(said) => {
            say(said);
            ExitCode::SUCCESS
        }
        Err(error @ people::PeopleError::Io { .. }) => fail(REFUSED, error),
        Err(error) => fail(WRONG_FILE, error),
    }
}

fn export(file: &Path, out: Option<&Path>, every_s: f64) -> ExitCode {
    let done = match out {
        None => export::export(file, TableForm::Csv, every_s, BufWriter::new(io::stdout())),
        Some(path) => {
            let form = match TableForm::of(path) {
                Ok(form) => form,
                Err(why) => return fail(WRONG_FILE, why),
            };
            // Before a file is made: what cannot be read leaves none behind.
            stream::open(file).and_then(|recording| {
                let made = File::create_new(path).map_err(RecordingError::Out)?;
                export::export_from(recording, form, every_s, BufWriter::new(made))
            })
        }
    };
    match done {
        Ok(done) => {
            let (rows, unreadable) = (done.rows, done.unreadable);
            let mut said = format!("{}: {rows} rows", file.display());
            if unreadable > 0 {
                said += &format!("; {unreadable} outputs could not be understood and are left out");
            }
            if let Some(stopped) = done.stopped {
                said += &format!("; {stopped}");
            }
            let _ = writeln!(io::stderr(), "{said}");
            ExitCode::SUCCESS
        }
        Err(error) => failed_recording(&error),
    }
}

fn check(site: &Path, delivery: Option<&Path>, json: bool) -> ExitCode {
    let checked = check::check(site, delivery, free_bytes, crate::clock::wall_now());
    if json {
        say(checked.json());
    } else {
        say(&checked);
    }
    if checked.is_sound() { ExitCode::SUCCESS } else { ExitCode::from(WRONG_FILE) }
}

/// Free on the disk of a folder that need not be there yet: that of the first folder above it that is.
fn free_bytes(folder: &Path) -> Option<u64> {
    let there = folder.ancestors().find(|path| path.exists()).unwrap_or(Path::new("."));
    let disk = rustix::fs::statvfs(there).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

fn replay(file: &Path) -> ExitCode {
    match compare::compare(file) {
        Ok(comparison) => {
            say(format_args!("{}: {comparison}", file.display()));
            match comparison.outcome {
                Outcome::Same => ExitCode::SUCCESS,
                Outcome::OtherProgram { .. } => ExitCode::from(OTHER_PROGRAM),
                _ => ExitCode::from(NOT_SAME),
            }
        }
        Err(error) => failed_recording(&error),
    }
}

type Named<'a> = (&'a Path, &'a Path, Option<&'a Path>, Option<&'a str>);

fn import(history: &Path, (columns, site, delivery, bay): Named<'_>, out: &Path) -> ExitCode {
    let read = || {
        let site = config::load(site).map_err(|faults| faults.to_string())?;
        let delivery = delivery.map(|path| config::load_delivery(path, &site)).transpose();
        let delivery = delivery.map_err(|faults| faults.to_string())?;
        let bay = bay_of(&site, delivery.as_ref(), bay)?;
        let columns = config::load_columns(columns, &site.bays[bay]).map_err(|faults| faults.to_string())?;
        Ok::<_, String>((site, delivery, bay, columns))
    };
    let (site, delivery, bay, columns) = match read() {
        Ok(read) => read,
        Err(why) => return fail(WRONG_FILE, why),
    };
    let delivery = delivery.as_ref();
    let plan = Plan { bay: &site.bays[bay], texts: &site.texts, delivery, columns: &columns, out };
    let stopped = Arc::new(AtomicBool::new(false));
    if let Err(error) = stop_when_told(Arc::clone(&stopped)) {
        return fail(REFUSED, error);
    }
    let mut bar = ProgressLine::new();
    let done = import::import(&plan, &history, &mut |progress| {
        bar.show(progress.done_bytes, progress.all_bytes);
        !stopped.load(Ordering::Relaxed)
    });
    bar.clear();
    match done {
        Ok(report) => {
            say(report);
            ExitCode::SUCCESS
        }
        Err(error @ ImportError::Needs(_)) => fail(WRONG_FILE, error),
        Err(error @ ImportError::History(_)) => fail(WRONG_HISTORY, error),
        Err(error) => fail(REFUSED, error),
    }
}

fn tune_recordings(options: &TuneOptions) -> ExitCode {
    let read = || {
        let choices = tune::choices(options.against.as_deref(), &options.site, &options.sweep)?;
        let labels = options.labels.as_deref().map(Labels::load).transpose()?.unwrap_or_default();
        Ok::<_, String>((choices, labels))
    };
    let (choices, labels) = match read() {
        Ok(read) => read,
        Err(why) => return fail(WRONG_FILE, why),
    };
    let recordings = match tune::recordings(&options.recordings) {
        Ok(recordings) if recordings.is_empty() => return fail(NO_RECORDING, "no recording (*.brim) there"),
        Ok(recordings) => recordings,
        Err((path, error)) => return fail(NO_RECORDING, format_args!("{}: {error}", path.display())),
    };
    let stopped = Arc::new(AtomicBool::new(false));
    if let Err(error) = stop_when_told(Arc::clone(&stopped)) {
        return fail(REFUSED, error);
    }
    let cores = options.cores.or(std::thread::available_parallelism().ok().map(usize::from)).unwrap_or(1);
    let plan = tune::Plan { recordings: &recordings, choices: &choices, labels: &labels, out: &options.out, cores };
    let mut bar = ProgressLine::new();
    let done = tune::run(&plan, &stopped, &mut |p| bar.show(p.done as u64, p.all as u64));
    bar.clear();
    match done {
        Ok(summary) => {
            for (name, why) in &summary.left_out {
                let _ = writeln!(io::stderr(), "left out: {name}: {why}");
            }
            let (taken, choices) = (summary.taken, choices.len());
            let many = |count: usize, one: &str| format!("{count} {one}{}", if count == 1 { "" } else { "s" });
            let (recordings, choices) = (many(taken, "recording"), many(choices, "choice"));
            say(format_args!("{recordings} under {choices} of settings: {}", summary.paper.display()));
            if taken == 0 { ExitCode::from(NO_RECORDING) } else { ExitCode::SUCCESS }
        }
        Err(error) => fail(REFUSED, error),
    }
}

fn list_deliveries(options: LedgerOptions) -> ExitCode {
    let stopped = Arc::new(AtomicBool::new(false));
    if let Err(error) = stop_when_told(Arc::clone(&stopped)) {
        return fail(REFUSED, error);
    }
    let cores = options.cores.or(std::thread::available_parallelism().ok().map(usize::from)).unwrap_or(1);
    let mut bar = ProgressLine::new();
    let read = ledger::read(&options.recordings, cores, &stopped, &mut |p| bar.show(p.done as u64, p.all as u64));
    bar.clear();
    let read = match read {
        Ok(read) => read,
        Err(error @ ledger::LedgerError::Stopped { .. }) => return fail(REFUSED, error),
        Err(error) => return fail(NO_RECORDING, error),
    };
    for one in &read.not_taken {
        let _ = writeln!(io::stderr(), "not in the list: {}: {}", one.file, one.why);
    }
    for trouble in &read.index_trouble {
        let _ = writeln!(io::stderr(), "{trouble}");
    }
    let choice = ledger::Choice { search: options.search, from: options.from, to: options.to };
    let ledger = Ledger::new(read, &choice, jiff::tz::TimeZone::system());
    let shown = match (options.csv, options.json) {
        (true, _) => ledger.csv(io::stdout()),
        (_, true) => writeln!(io::stdout(), "{}", ledger.json()),
        _ => io::stdout().write_all(ledger.text().as_bytes()),
    };
    match shown.and_then(|()| options.out.as_deref().map_or(Ok(()), |out| ledger.write(out))) {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever read the output has enough of it.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => fail(REFUSED, error),
    }
}

/// The bay that a history is of.
fn bay_of(site: &Site, delivery: Option<&config::DeliveryFile>, name: Option<&str>) -> Result<usize, String> {
    let names = || site.bays.iter().map(|bay| bay.settings.bay.as_str()).collect::<Vec<_>>().join(", ");
    let named = match name {
        Some(name) => match site.bays.iter().position(|bay| bay.settings.bay == name || bay.slug == name) {
            None => return Err(format!("--bay: there is no bay {name:?}; the site file has {}", names())),
            found => found,
        },
        None => None,
    };
    match (named, delivery.map(|d| d.bay)) {
        (Some(named), Some(of)) if named != of => {
            let of = &site.bays[of].settings.bay;
            Err(format!("--bay: the delivery is of bay {of:?}; leave --bay out, or give the delivery of that bay"))
        }
        (named, of) => named.or(of).or((site.bays.len() == 1).then_some(0)).ok_or_else(|| {
            format!("the site has several bays ({}); say with --bay NAME which the history is of", names())
        }),
    }
}

/// Sets the flag at Ctrl-C, or at what a service manager sends.
fn stop_when_told(flag: Arc<AtomicBool>) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    std::thread::Builder::new().name("stop".into()).spawn(move || {
        runtime.block_on(told_to_stop());
        flag.store(true, Ordering::Relaxed);
    })?;
    Ok(())
}

/// How far a long command is, on one line of a terminal; nothing where nobody watches.
struct ProgressLine {
    shown: Option<u64>,
    watched: bool,
}

impl ProgressLine {
    fn new() -> ProgressLine {
        ProgressLine { shown: None, watched: io::stderr().is_terminal() }
    }

    fn show(&mut self, done: u64, all: u64) {
        let percent = (done * 100).checked_div(all).unwrap_or(0).min(100);
        if self.watched && self.shown != Some(percent) {
            self.shown = Some(percent);
            let _ = write!(io::stderr(), "\r{percent:>3} %");
        }
    }

    fn clear(&mut self) {
        if self.shown.is_some() {
            let _ = write!(io::stderr(), "\r     \r");
        }
    }
}

/// Sends the log to standard error.
fn log_to_stderr(form: LogForm) {
    let filter = EnvFilter::try_from_env("BRIMWATCH_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr).with_target(false);
    let log = log.with_ansi(io::stderr().is_terminal());
    match form {
        LogForm::Text => log.init(),
        LogForm::Json => log.json().init(),
    }
}

fn watch(site: &Path, deliveries: &[PathBuf], log: LogForm) -> ExitCode {
    let options = match options(site, deliveries) {
        Ok(options) => options,
        Err(faults) => return fail(WRONG_FILE, faults),
    };
    log_to_stderr(log);
    for found in options.site.warnings.iter().chain(options.deliveries.iter().flat_map(|d| &d.warnings)) {
        tracing::warn!(
            file = found.file,
            line = found.line,
            key = found.key,
            "{} (`brimwatch check` says more)",
            found.what
        );
    }
    // Links and bays share one thread: an answer wakes its bay without a call to the system. The page and the
    // recorders have their own.
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return fail(REFUSED, error),
    };
    runtime.block_on(watch_until_told(options))
}

fn decode(options: &decode::command::Options) -> ExitCode {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return fail(REFUSED, error),
    };
    match runtime.block_on(decode::command::run(options)) {
        Ok(Shown { text, fits }) => {
            // Whoever closes the pipe early has enough of it.
            let _ = io::stdout().write_all(text.as_bytes());
            ExitCode::from(if fits { 0 } else { NOTHING_FITS })
        }
        Err(Refusal::Wrong(why)) => fail(WRONG_FILE, why),
        Err(Refusal::Refused(why)) => fail(REFUSED, why),
        Err(Refusal::NoAnswer(why)) => fail(NO_ANSWER, why),
    }
}

fn options(site: &Path, deliveries: &[PathBuf]) -> Result<Options, String> {
    let site: Site = config::load(site).map_err(|faults| faults.to_string())?;
    let mut opened: Vec<config::DeliveryFile> = Vec::new();
    for path in deliveries {
        let delivery = config::load_delivery(path, &site).map_err(|faults| faults.to_string())?;
        if opened.iter().any(|d| d.bay == delivery.bay) {
            let bay = &site.bays[delivery.bay].settings.bay;
            return Err(format!("{}: a second delivery for bay {bay}; one bay takes one at a time", path.display()));
        }
        opened.push(delivery);
    }
    Ok(Options { site, deliveries: opened, drill_speed: None })
}

async fn watch_until_told(options: Options) -> ExitCode {
    let door = options.site.door.clone();
    let running = match live::start(options).await {
        Ok(running) => running,
        Err(error @ live::LiveError::Recording(_)) => return fail(NO_RECORDING, error),
        Err(error) => return fail(REFUSED, error),
    };
    say(format_args!("brimwatch watches. The page: {}", address(&door, running.page)));
    say(ADVISORY);
    told_to_stop().await;
    say("brimwatch stops watching; the recordings can be gone on with.");
    running.stop().await;
    ExitCode::SUCCESS
}

/// What to type into a browser.
fn address(door: &Door, page: SocketAddr) -> String {
    let scheme = if door.tls.is_some() { "https" } else { "http" };
    match door.names.first().filter(|_| door.tls.is_some() && !page.ip().is_loopback()) {
        Some(name) => format!("{scheme}://{name}:{}/", page.port()),
        None => format!("{scheme}://{page}/"),
    }
}

/// Ctrl-C, or what a service manager sends.
async fn told_to_stop() {
    use tokio::signal::unix::{SignalKind, signal};
    match signal(SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminate.recv() => {}
            }
        }
        Err(_) => {
            let _ = tokio::signal::ctrl_c().await;
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::config::keys::LANGUAGES;
    use crate::words::{self, Language};

    /// What a site file may name is what there are words in.
    #[test]
    fn a_site_file_may_name_each_language_and_no_other() {
        assert_eq!(LANGUAGES, words::LANGUAGES.map(Language::tag).as_slice());
    }
}
