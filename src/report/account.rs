//! What one delivery came to: everything the unloading record and the ledger say of it.
//!
//! Its JSON is listed in `docs/interface.md`: every number carries its unit in its key, a `value` stands with its
//! standard uncertainty `u` in the same unit.

use super::told::About;
use crate::engine::frame::Estimate;
use crate::recording::origin::Origin;
use crate::time::WallTime;
use serde::{Deserialize, Serialize};
use serde_json::Value;

pub use super::amend::Amendment;

/// One delivery.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Account {
    /// Version of the program that made this account.
    pub program_version: String,
    /// What no figure here may be taken for.
    pub caution: String,
    /// Zone in which the times of its sentences are written, by its name in the IANA time zone database.
    pub zone: String,
    /// In a drill: how many times faster than the machine's clock, 1. `None`: no drill.
    pub drill_speed: Option<f64>,
    /// The history that it was imported from; `None`: it was watched.
    pub imported: Option<Origin>,
    /// Name of the works.
    pub site: String,
    /// Name of the bay.
    pub bay: String,
    /// Number or name of the delivery.
    pub delivery: String,
    /// Product.
    pub product: String,
    /// Where the product's density table comes from.
    pub product_source: String,
    /// Somebody has read that source.
    pub product_confirmed: bool,
    /// Name of the tank.
    pub tank: String,
    /// Specification on the trailer's plate.
    pub trailer_specification: Option<String>,
    /// Who brought it, where the papers say.
    pub carrier: Option<String>,
    /// Who drove, where the papers say.
    pub driver: Option<String>,
    /// How much was meant to be unloaded, kg.
    pub planned_kg: f64,
    /// When the delivery was opened; `None`: the recordings begin later.
    pub opened: Option<Moment>,
    /// When the transfer of this leg started.
    pub started: Option<Moment>,
    /// When this leg was closed.
    pub closed: Option<Moment>,
    /// This leg was started and closed.
    pub is_closed: bool,
    /// It was rejected before anything moved.
    pub rejected: Option<Rejected>,
    /// The leg that this account is of, from 1; most deliveries have one.
    pub leg: u8,
    /// The legs up to this one, as far as their recordings are there.
    pub legs: Vec<Leg>,
    /// Received in all legs; `None` before this one is closed, or where one of them is not known.
    pub received_in_all_kg: Option<Figure>,
    /// Flow, scale, tank.
    pub witnesses: Vec<Witnessed>,
    /// Received by all credible witnesses together; `None`: none was credible.
    pub received_kg: Option<Figure>,
    /// Weight of each witness in it, 1.
    pub weights: Option<[f64; 3]>,
    /// What the witnesses said together when the leg was closed.
    pub verdict: Value,
    /// How long each verdict held during the transfer.
    pub verdicts: Vec<VerdictTime>,
    /// The weigh ticket.
    pub ticket: Ticket,
    /// Received in all legs against the ticket.
    pub against_ticket: AgainstTicket,
    /// What is left on the trailer, if nothing was lost; `None` where it is not known.
    pub left_on_board: Option<LeftOnBoard>,
    /// Levels of the tank, by gauge.
    pub levels: Vec<Level>,
    /// The tank's limits.
    pub limits: Limits,
    /// The trailer's pressure.
    pub pad: Pad,
    /// The checks before anything was connected.
    pub checks: Vec<CheckAccount>,
    /// When they stood so: when the transfer started or the delivery was rejected, else the last that is known.
    pub checks_at: Option<Moment>,
    /// The steps from the secured vehicle to its release, in the site's order, as they stood in the end.
    pub steps: Vec<StepAccount>,
    /// How it went.
    pub course: Course,
    /// Alarms that came until the leg was closed.
    pub alarms: Vec<AlarmAccount>,
    /// Alarms that came after that.
    pub alarms_after_close: u64,
    /// Alarms whose condition held until then and that were suppressed by design.
    pub suppressed: Vec<SuppressedAccount>,
    /// What people did and said.
    pub entries: Vec<EntryAccount>,
    /// Times when nobody watched.
    pub gaps: Vec<GapAccount>,
    /// How the devices answered.
    pub devices: Vec<DeviceAccount>,
    /// What was added after it had been closed; none of it changes what stands above.
    pub amendments: Vec<Amendment>,
    /// The recordings that all of this is from.
    pub recordings: Vec<RecordingAccount>,
    /// Last link of the last recording, in hexadecimal: what ties this account to it.
    pub chain_head: String,
}

/// A moment of wall time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moment {
    /// Nanoseconds since 1970-01-01T00:00:00Z.
    pub unix_ns: i64,
    /// The same for people, RFC 3339 in UTC.
    pub wall: String,
}

impl From<WallTime> for Moment {
    fn from(at: WallTime) -> Moment {
        let shown = jiff::Timestamp::from_nanosecond(i128::from(at.0)).map(|t| t.to_string());
        Moment { unix_ns: at.0, wall: shown.unwrap_or_default() }
    }
}

impl Moment {
    /// Wall time.
    #[must_use]
    pub fn at(&self) -> WallTime {
        WallTime(self.unix_ns)
    }
}

/// A value with its standard uncertainty; the key says the unit of both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Figure {
    /// Expanded uncertainty: twice the standard one, about 95 % (JCGM 100:2008, 6.2 and 6.3.3).
    #[must_use]
    pub fn expanded(self) -> f64 {
        2.0 * self.u
    }
}

impl From<Estimate> for Figure {
    fn from(estimate: Estimate) -> Figure {
        Figure { value: estimate.value, u: estimate.u }
    }
}

/// A delivery that was rejected.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rejected {
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// Why.
    pub reason: String,
}

/// One leg.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Leg {
    /// From 1.
    pub leg: u8,
    /// Bay.
    pub bay: String,
    /// Tank.
    pub tank: String,
    /// How much was meant to be unloaded in it, kg.
    pub planned_kg: f64,
    /// When its transfer started; `None`: it did not, or the recordings begin later.
    pub started: Option<Moment>,
    /// When it was closed.
    pub closed: Option<Moment>,
    /// It was rejected before anything moved.
    pub is_rejected: bool,
    /// Received by all credible witnesses together.
    pub received_kg: Option<Figure>,
    /// Left the trailer and fills the line.
    pub in_line_kg: Option<Figure>,
}

/// What one witness said when the leg was closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Witnessed {
    /// `flow`, `scale`, `tank`.
    pub witness: Value,
    /// Whether it could be used.
    pub validity: Value,
    /// Not lost.
    pub is_credible: bool,
    /// Received; of a lost one its last value.
    pub received_kg: Option<Figure>,
    /// Where the uncertainty comes from.
    pub budget: Vec<Part>,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Where it comes from.
    pub source: Value,
    /// Signed standard contribution, kg.
    pub kg: f64,
}

/// How long a verdict held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VerdictTime {
    /// The verdict.
    pub word: Value,
    /// How long, s.
    pub lasted_s: f64,
}

/// The weigh ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ticket {
    /// Net as printed, kg.
    pub net_kg: f64,
    /// Mass of the load: the net brought from a weighing in air to mass, and the gas that the load displaced added.
    pub corrected_kg: Figure,
}

/// Received against the weigh ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AgainstTicket {
    /// They were compared.
    Compared(Compared),
    /// They were not.
    NotCompared(WhyNot),
}

/// Why received and ticket are not compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WhyNot {
    /// This leg is not closed.
    NotClosed,
    /// No witness was credible.
    NothingReceived,
    /// Only a part of the ticket's load was meant to be unloaded so far.
    PartOfTheLoad,
    /// The density in the line is not known, so neither is what stays in it.
    NoDensity,
    /// An earlier leg is not among the recordings, or was not closed.
    LegMissing,
}

/// Ticket less received and in the line. Nothing tells what is left from what was lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftOnBoard {
    /// By all credible witnesses of each leg together.
    pub together_kg: Figure,
    /// By each witness that was credible in every leg.
    pub by_witness: Vec<LeftByWitness>,
}

/// What is left on the trailer by one witness.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftByWitness {
    /// `flow`, `scale`, `tank`.
    pub witness: Value,
    /// Left, with the ticket's uncertainty.
    pub kg: Figure,
}

/// Received, what stays in the line, and the ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Compared {
    /// What left the trailer and filled the line; none where the line was full at the start.
    pub in_line_kg: Figure,
    /// Received and in the line, less the ticket; negative: less arrived than the ticket says.
    pub difference_kg: Figure,
    /// Difference over its expanded uncertainty, 1.
    pub en: f64,
    /// The site raises a query above this |En|, 1.
    pub query_above_en: f64,
    /// A query is raised: by what all credible witnesses say together.
    pub query: bool,
    /// The same by each credible witness alone; it raises no query.
    pub by_witness: Vec<ComparedWitness>,
}

/// What one witness says was received, against the ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComparedWitness {
    /// `flow`, `scale`, `tank`.
    pub witness: Value,
    /// As for all together.
    pub difference_kg: Figure,
    /// As for all together.
    pub en: f64,
}

/// A tank's gauge at start and close.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Level {
    /// Name of the signal.
    pub signal: String,
    /// When the transfer started, m; `None`: it could not be used.
    pub start_m: Option<f64>,
    /// When the leg was closed, m.
    pub close_m: Option<f64>,
}

/// The tank's limits, m above its datum; `None`: the tank is not known.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Maximum working level.
    pub working_m: Option<f64>,
    /// High-high.
    pub high_high_m: Option<f64>,
    /// Critical high.
    pub critical_m: Option<f64>,
}

/// The trailer's pressure.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Pad {
    /// When the leg was closed, Pa gauge.
    pub at_close_pa_gauge: Option<f64>,
    /// The last that could be used before the close, Pa gauge.
    pub last_known_pa_gauge: Option<f64>,
    /// When that was.
    pub last_known: Option<Moment>,
    /// The last on record that could be used, Pa gauge; after the close it shows how the trailer was left.
    pub at_end_pa_gauge: Option<f64>,
    /// When that was.
    pub at_end: Option<Moment>,
    /// Highest during the transfer, Pa gauge.
    pub highest_pa_gauge: Option<f64>,
    /// Ceiling at the close, Pa gauge; `None`: not set.
    pub ceiling_pa_gauge: Option<f64>,
    /// MAWP on the trailer's plate, Pa gauge.
    pub mawp_pa_gauge: Option<f64>,
}

/// A check before anything was connected.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckAccount {
    /// Its name in files and entries.
    pub check: String,
    /// `met`, `not yet`, `fails`.
    pub state: String,
    /// Only a person's entry answers it.
    pub by_person: bool,
    /// Who entered it last, and when; `None`: nobody did.
    pub entered: Option<Said>,
    /// Why it stood so, in words.
    pub says: String,
}

/// A step of the delivery.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepAccount {
    /// Its name in the site's file of steps.
    pub step: String,
    /// What was to be done and seen.
    pub text: String,
    /// Nothing went on before it was signed.
    pub hold: bool,
    /// `signed`, `skipped` (let go unsigned), `open`, `not_reached`.
    pub stands: String,
    /// Who signed it, or let it go.
    pub signatures: Vec<SignatureAccount>,
}

/// A signature.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignatureAccount {
    /// For whom: `site`, `driver`.
    pub side: Value,
    /// Who.
    pub who: String,
    /// When.
    pub at: Moment,
    /// What they wrote with it.
    pub note: String,
}

/// How it went.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Course {
    /// From when its times count.
    pub from: Option<Moment>,
    /// In order of time, until the leg was closed.
    pub points: Vec<CoursePoint>,
}

/// A point of the course; what could not be used is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CoursePoint {
    /// When, s.
    pub at_s: f64,
    /// Received by flow meter, kg.
    pub flow_kg: Option<f64>,
    /// Received by scale, kg.
    pub scale_kg: Option<f64>,
    /// Received by tank level, kg.
    pub tank_kg: Option<f64>,
    /// Level of the tank, m.
    pub level_m: Option<f64>,
    /// Pressure on the trailer, Pa gauge: the highest since the point before.
    pub pad_pa_gauge: Option<f64>,
}

/// An alarm from its coming to its going.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlarmAccount {
    /// Its code.
    pub alarm: String,
    /// Signal or tank it was about; empty where there is only one.
    pub subject: String,
    /// `high`, `medium`, `low`.
    pub priority: Value,
    /// It belongs to every delivery and is no sign that something is wrong.
    pub prompt: bool,
    /// When it came.
    pub raised: Moment,
    /// When somebody first said "seen", and who.
    pub seen: Option<Said>,
    /// Each time it was shelved.
    pub shelved: Vec<ShelvedAccount>,
    /// When it went; `None`: it was open at the end of the recording.
    pub cleared: Option<Moment>,
}

/// An alarm that was suppressed by design.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SuppressedAccount {
    /// Its code.
    pub alarm: String,
    /// Signal or tank it was about; empty where there is only one.
    pub subject: String,
    /// By what: `gas_in_line`, `site_file`.
    pub by: Value,
    /// For the first time.
    pub from: Moment,
    /// Until; `None`: it was so at the close.
    pub to: Option<Moment>,
    /// How often it began.
    pub times: u64,
}

/// Who did something and when.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Said {
    /// When.
    pub at: Moment,
    /// Who.
    pub who: String,
}

/// An alarm put on the shelf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShelvedAccount {
    /// When.
    pub at: Moment,
    /// Who.
    pub who: String,
    /// For how long, s.
    pub for_s: f64,
}

/// What a person did or said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EntryAccount {
    /// When.
    pub at: Moment,
    /// Who.
    pub who: String,
    /// Leg it was about; `None`: of none.
    pub leg: Option<u8>,
    /// What: an entry's code, or `settings_changed`.
    pub what: String,
    /// The alarm, or the reason of a change; empty where the code says it all.
    pub about: String,
    /// The same in no language yet, for the paper.
    #[serde(skip)]
    pub(super) of: About,
}

/// A time when nobody watched.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GapAccount {
    /// From.
    pub from: Moment,
    /// To.
    pub to: Moment,
    /// How its length is known: `same_boot`, `wall_clock`, or `other_recording` (from one recording to the next).
    pub known_by: String,
}

/// How a device answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DeviceAccount {
    /// Its name.
    pub device: String,
    /// Rounds answered.
    pub answered: u64,
    /// Rounds missed.
    pub missed: u64,
}

/// One recording that the account is from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecordingAccount {
    /// Name of its file.
    pub file: String,
    /// Leg that it is of.
    pub leg: u8,
    /// Program that wrote it.
    pub program_version: String,
    /// Numerics version of its engine.
    pub numerics_version: u32,
    /// Last link that was taken, in hexadecimal: blake3 of everything before it, chained.
    pub chain_head: String,
    /// Where that link ends, bytes from the start of the file. What stands behind it is not in this account.
    pub taken_bytes: u64,
    /// The segment was ended on purpose.
    pub ended: bool,
    /// What is not as it was written, in words.
    pub damage: Vec<String>,
}
