//! Every sentence and label a person reads, by language. The engine emits codes and numbers only, so a new
//! wording breaks no recording. Pure: what a text depends on is in its [`Scene`].
//!
//! Two rules bind every language, and tests hold them. A text on missing mass, on pressure or on a level that
//! is reached begins with the acts in this order: stop (emergency stop or remote valve), shut the gas, keep
//! clear and upwind, look from a distance in the required protection, touch or tighten nothing under pressure;
//! what was found and where to look come after. And agreement is never given a word of praise: instruments
//! that agree have not shown that nothing leaks.

pub mod alarms;
mod checks;
mod deviations;
pub mod display;
mod duty;
pub mod en;
pub mod es;
pub mod measures;
pub mod papers;
mod refused;
mod screen;
pub mod steps;

pub use screen::PageWords;

use crate::engine::blow::BlowState;
use crate::engine::checks::{Check, CheckId};
use crate::engine::delivery::Refusal;
use crate::engine::frame::{
    Alarm, CeilingBy, Explanation, Frame, Reason, Shelf, Source, Suppressed, VerdictWord, WitnessId,
};
use crate::engine::input::{AlarmId, OutOfService, ZeroCause};
use crate::engine::settings::Settings;
use crate::engine::steps::{Against, Signature, Stands};
use crate::time::WallTime;
use crate::units::Measures;
use jiff::tz::TimeZone;
use measures::Written;
use steps::StepLabels;

/// What a text is about: one instant of one bay, and the time zone and units of the people who read it.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// Names of signals and tanks, limits.
    pub settings: &'a Settings,
    /// What is known.
    pub frame: &'a Frame,
    /// Zone in which times are written.
    pub zone: &'a TimeZone,
    /// Units in which figures are written.
    pub measures: Measures,
}

impl<'a> Scene<'a> {
    /// For readers of SI.
    #[must_use]
    pub fn new(settings: &'a Settings, frame: &'a Frame, zone: &'a TimeZone) -> Scene<'a> {
        Scene { settings, frame, zone, measures: Measures::Si }
    }

    /// Name of a signal in the site file; its number where the frame names one that the settings lack.
    #[must_use]
    pub fn signal(&self, index: u16) -> String {
        self.settings.signals.get(usize::from(index)).map_or_else(|| format!("#{index}"), |s| s.name.clone())
    }

    /// Name of a tank in the site file, in English.
    #[must_use]
    pub fn tank(&self, index: u16) -> String {
        self.tank_in(index, en::LABELS.tank)
    }

    /// Name of a tank in the site file; its number where the frame names one that the settings lack. `word`: "tank" in the
    /// reader's language.
    #[must_use]
    pub fn tank_in(&self, index: u16, word: &str) -> String {
        let name = self.settings.tanks.get(usize::from(index)).map_or_else(|| format!("#{index}"), |t| t.name.clone());
        // A tank that is called by a number reads as a mass; one that has a word does not.
        if name.contains(char::is_alphabetic) { name } else { format!("{word} {name}") }
    }

    /// Name of a bay that fills a tank of ours; its number where the frame names one that the settings lack.
    #[must_use]
    pub fn neighbour(&self, index: u16) -> String {
        self.settings.neighbours.get(usize::from(index)).map_or_else(|| format!("#{index}"), |n| n.bay.clone())
    }
}

/// A text in the order in which it must be read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Text {
    /// What to do first; empty where nothing is called for.
    pub act: String,
    /// How to keep from harm while finding out; empty where nothing is called for.
    pub care: String,
    /// What is known.
    pub says: String,
    /// What it does not show, or what may be behind it.
    pub beyond: String,
}

impl Text {
    /// All of it, in order.
    #[must_use]
    pub fn whole(&self) -> String {
        let parts = [&self.act, &self.care, &self.says, &self.beyond];
        parts.into_iter().filter(|p| !p.is_empty()).map(String::as_str).collect::<Vec<_>>().join(" ")
    }
}

/// A figure with the lines under it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Figure {
    /// The figure itself, without its unit, or the word that stands in its place.
    pub figure: String,
    /// Its unit; empty where the figure is a time or a word.
    pub unit: &'static str,
    /// It calls for an act.
    pub act: bool,
    /// What goes with it.
    pub lines: Vec<String>,
}

/// A check of a delivery in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckText {
    /// What is checked.
    pub name: &'static str,
    /// "met", "not yet" or "fails".
    pub state: &'static str,
    /// Why, with numbers and limits; or what a person has to do for it.
    pub says: String,
}

/// Why an entry is not taken, or not on record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotTaken {
    /// The bay does not admit it.
    Refused(Refusal),
    /// That leg of a delivery of that name is on record: a record is known by both.
    SameName,
    /// The qualification of who is signed in has run out.
    NotQualified,
    /// The recorder cannot write.
    NotRecorded,
    /// The step failed by our own fault.
    Failed,
    /// The disk did not take it before the program stopped.
    Stopped,
    /// The disk did not take it before the recording ended.
    Ended,
}

/// What became of a person's entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryAnswer<'a> {
    /// It is durable.
    Saved,
    /// The bay did not take it, and says why.
    NotTaken(NotTaken),
    /// It does not fit the phase the bay is in.
    WrongPhase,
    /// Nobody is signed in who may.
    SignIn,
    /// Somebody was, and is no more.
    SignInEnded,
    /// Who is signed in may look only.
    NoRight(&'a str),
    /// Too many entries wait.
    Busy,
    /// Nobody answered in time: it may or may not be on record.
    NotKnown,
    /// The bay is not being watched.
    NoWatch,
    /// The request could not be read.
    NotUnderstood,
    /// It is said at the bay's enrolled screen only.
    NotHere,
    /// Only an engineer may.
    NotEngineer,
    /// Nobody of that name may attend.
    Nobody(&'a str),
}

/// What is said at the sign-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignInWord<'a> {
    /// Title of the page.
    Title,
    /// Label of the name.
    Name,
    /// Label of the password.
    Password,
    /// The button that signs out.
    Out,
    /// The way back to the bays.
    Back,
    /// Somebody is signed in: name and role.
    Here(&'a str, &'a str),
    /// Nobody is.
    NobodyHere,
    /// The site has no people file.
    NotUsed,
    /// Name or password is wrong.
    Wrong,
    /// Wait so many seconds.
    Wait(u64),
    /// Another sign-in is being checked.
    Busy,
    /// The people file cannot be used.
    NoFile,
    /// The server did not answer.
    NotReached,
}

/// What is said where an engineer changes settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SettingsWord<'a> {
    /// Title of the page.
    Title,
    /// What a change does, and what it does not take the place of.
    About,
    /// Who may change them, for one who may not.
    MayNot,
    /// The site has no people file.
    NoPeople,
    /// Headings of the columns: key, in force, left out, allowed, meaning.
    Column(usize),
    /// Label of the reason.
    Reason,
    /// The button that shows what would change.
    Look,
    /// The button that has it taken.
    Apply,
    /// Where a value is not written.
    NotWritten,
    /// What would change; nothing has.
    Would,
    /// It was taken.
    Taken,
    /// The same, but the site file does not hold it.
    TakenUnwritten(&'a str),
    /// By the rules it may not be.
    NotTaken(&'a str),
    /// Nobody has said why.
    NoReason,
    /// Somebody else was quicker.
    Outdated,
    /// Nobody is signed in.
    SignIn,
    /// Who is signed in may not.
    NoRight(&'a str, &'a str),
    /// Another change is being made.
    Busy,
    /// No answer in time.
    NotKnown,
    /// The request could not be read.
    NotUnderstood,
}

/// Every language, each complete.
pub static LANGUAGES: [&dyn Language; 2] = [&en::English, &es::Spanish];

/// The language of that tag.
#[must_use]
pub fn language(tag: &str) -> Option<&'static dyn Language> {
    LANGUAGES.into_iter().find(|language| language.tag() == tag)
}

/// What no figure of a record may be taken for.
pub const CAUTION: &str = "Operating figures, not legal for trade. brimwatch advises and stops nothing; an independent \
    high-level shut-off and a qualified person in attendance are required. That instruments agree is no proof that nothing \
    leaked. Local codes and licensed practice come first.";

/// One language.
pub trait Language: Sync {
    /// Its tag after BCP 47.
    fn tag(&self) -> &'static str;
    /// Its name in itself.
    fn name(&self) -> &'static str;
    /// Who has reviewed the texts that say how to keep from harm: name, what they answer for, day. None: nobody.
    fn reviewer(&self) -> Option<&'static str>;
    /// A unit of [`measures`] as people write it.
    fn unit(&self, word: &'static str) -> &'static str;
    /// A time as hours and minutes; with the day where it is not that of the frame.
    fn hh_mm(&self, scene: Scene<'_>, at: WallTime) -> String;
    /// Labels that depend on nothing.
    fn labels(&self) -> &'static Labels;
    /// Words of charts, the far view and all bays.
    fn page(&self) -> &'static PageWords;
    /// A witness as it is called on screens and papers: "by scale".
    fn witness(&self, id: WitnessId) -> &'static str;
    /// The sentence at the head of the page. `alarmed`: an alarm on the page already says that the
    /// instruments disagree, with the acts; it is then not said twice.
    fn headline(&self, scene: Scene<'_>, alarmed: bool) -> Text;
    /// An alarm.
    fn alarm(&self, scene: Scene<'_>, alarm: &Alarm) -> Text;
    /// Who is on duty, and by when they must say that they are there.
    fn duty(&self, scene: Scene<'_>) -> String;
    /// The state of the bay, to be read back at a hand-over.
    fn state(&self, scene: Scene<'_>) -> String;
    /// An alarm that is out of service: who, since when, why.
    fn out_of_service(&self, scene: Scene<'_>, out: &OutOfService) -> String;
    /// An alarm that is suppressed by design: by what.
    fn suppressed(&self, scene: Scene<'_>, suppressed: &Suppressed) -> String;
    /// An alarm that is shelved: until when.
    fn shelved(&self, scene: Scene<'_>, shelf: &Shelf) -> String;
    /// An alarm in general, as the catalogue has it.
    fn explained(&self, id: AlarmId) -> alarms::Explained;
    /// When to be at the valve, and the three events of the finish.
    fn finish(&self, scene: Scene<'_>) -> Figure;
    /// Room left below high-high when all of the load is in.
    fn margin(&self, scene: Scene<'_>) -> Figure;
    /// Parts of the margin in the order they are subtracted: label and mass in kg, which the caller writes.
    fn margin_parts(&self, scene: Scene<'_>) -> Vec<(&'static str, f64)>;
    /// The trailer's pressure.
    fn pad(&self, scene: Scene<'_>) -> Figure;
    /// What is lost, doubtful, blind or in trouble, one sentence each.
    fn notes(&self, scene: Scene<'_>) -> Vec<String>;
    /// Why a value is doubtful or lost.
    fn reason(&self, reason: Reason) -> String;
    /// What may be behind a disagreement.
    fn explanation(&self, explanation: Explanation) -> &'static str;
    /// Where an uncertainty comes from.
    fn source(&self, source: Source) -> &'static str;
    /// Which limit the ceiling is.
    fn ceiling_by(&self, by: CeilingBy) -> &'static str;
    /// Label of the combined mass under this verdict.
    fn together(&self, word: VerdictWord) -> &'static str;
    /// A check of the open delivery.
    fn check(&self, scene: Scene<'_>, check: &Check) -> CheckText;
    /// What is checked.
    fn check_name(&self, id: CheckId) -> &'static str;
    /// What all of its checks call for, and whom to call.
    fn checks(&self, scene: Scene<'_>) -> Text;
    /// A text of the steps that come with brimwatch; what a site wrote itself stays as it wrote it.
    fn step<'a>(&self, text: &'a str) -> &'a str;
    /// Labels around the steps.
    fn step_labels(&self) -> &'static StepLabels;
    /// How a step stands; None: its turn has not come.
    fn stands(&self, stands: Option<Stands>) -> &'static str;
    /// Who has signed a step.
    fn signature(&self, scene: Scene<'_>, signature: &Signature) -> String;
    /// What speaks against a step, or cannot be read.
    fn against(&self, scene: Scene<'_>, against: &Against) -> String;
    /// What the gas behind the last liquid will do and has done, a line each.
    fn blow(&self, scene: Scene<'_>, blow: &BlowState) -> Vec<String>;
    /// Why an entry is not taken.
    fn refused(&self, why: NotTaken) -> &'static str;
    /// What became of an entry.
    fn entry(&self, answer: EntryAnswer<'_>) -> String;
    /// Why a person gives the scale a new zero.
    fn zero_cause(&self, cause: ZeroCause) -> &'static str;
    /// What is said at the sign-in.
    fn sign_in(&self, word: SignInWord<'_>) -> String;
    /// A role by its word in the people file.
    fn role(&self, word: &'static str) -> &'static str;
    /// What is said where settings are changed.
    fn settings(&self, word: SettingsWord<'_>) -> String;
    /// A text of the unloading record by its English one; one that it does not know stays as it is.
    fn on_paper<'t>(&self, english: &'t str) -> &'t str;
    /// Words of the form in which papers are typed.
    fn papers(&self) -> &'static papers::PapersWords;
}

impl dyn Language + '_ {
    /// Name of the tank that is filled, where one is.
    #[must_use]
    pub fn filled_tank(&self, scene: Scene<'_>) -> Option<String> {
        scene.frame.tank.map(|t| scene.tank_in(t.tank, self.labels().tank))
    }

    /// Who has reviewed the texts that say how to keep from harm, or that nobody has.
    #[must_use]
    pub fn review(&self) -> String {
        let words = self.page();
        self.reviewer().map_or_else(|| words.not_reviewed.to_owned(), |who| format!("{} {who}.", words.reviewed_by))
    }

    /// A figure and its unit as people of that language write them.
    #[must_use]
    pub fn written(&self, written: Written) -> String {
        Written { unit: self.unit(written.unit), ..written }.whole()
    }
}

/// With a capital at its head.
fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// "a", "a or b", "a, b or c".
fn list(names: &[&str], last: &str) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [start @ .., end] => format!("{} {last} {end}", start.join(", ")),
    }
}

/// As many decimals as the number needs, three at most.
fn plain(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Labels that depend on nothing; each field's name says which.
#[derive(Debug)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub struct Labels {
    pub into: &'static str,
    pub tank: &'static str,
    pub no_delivery: &'static str,
    pub delivery: &'static str,
    pub drill: &'static str,
    pub drill_clock: &'static str,
    pub not_confirmed: &'static str,
    pub be_at_valve_by: &'static str,
    pub margin: &'static str,
    pub received: &'static str,
    pub bars: &'static str,
    pub doubtful: &'static str,
    pub not_used: &'static str,
    pub no_value: &'static str,
    pub contents: &'static str,
    pub tank_unknown: &'static str,
    pub now: &'static str,
    pub load_in: &'static str,
    pub margin_mark: &'static str,
    pub does_not_fit: &'static str,
    pub working: &'static str,
    pub high_high: &'static str,
    pub critical: &'static str,
    pub pad: &'static str,
    pub ceiling: &'static str,
    pub ceiling_not_set: &'static str,
    pub mawp: &'static str,
    pub relief: &'static str,
    pub pressure_unknown: &'static str,
    pub seen: &'static str,
    pub was_seen: &'static str,
    pub alarm_since: &'static str,
    pub alarms: &'static str,
    pub transfer_started: &'static str,
    pub closed: &'static str,
    pub not_proven: &'static str,
    pub hand_dip: &'static str,
    pub enter_dip: &'static str,
    pub new_zero: &'static str,
    pub enter_zero: &'static str,
    pub confirm_started: &'static str,
    pub confirm_closed: &'static str,
    pub yes: &'static str,
    pub back: &'static str,
    pub sending: &'static str,
    pub not_reached: &'static str,
    pub sound_test: &'static str,
    pub sound_off: &'static str,
    pub stale: &'static str,
    pub stale_since: &'static str,
    pub waiting: &'static str,
    pub no_connection: &'static str,
    pub no_script: &'static str,
    pub you_do: &'static str,
    pub cautions: &'static str,
    pub behind: &'static str,
    pub margin_made: &'static str,
    pub budgets: &'static str,
    pub budget_of: &'static str,
    pub degrees: &'static str,
    pub polling: &'static str,
    pub poll_columns: [&'static str; 7],
    pub answers: &'static str,
    pub bays: &'static str,
    pub no_bays: &'static str,
    pub checks: &'static str,
    pub check: &'static str,
    pub note: &'static str,
    pub check_met: &'static str,
    pub check_fails: &'static str,
    pub reject: &'static str,
    pub reject_why: &'static str,
    pub attend: &'static str,
    pub duty: &'static str,
    pub comes: &'static str,
    pub read_back: &'static str,
    pub hand_over: &'static str,
    pub enrol: &'static str,
    pub aside: &'static str,
    pub alarm: &'static str,
    pub minutes: &'static str,
    pub shelve: &'static str,
    pub unshelve: &'static str,
    pub take_out: &'static str,
    pub put_back: &'static str,
    pub first: &'static str,
}

/// Whether a text on this alarm must begin with the acts.
#[must_use]
pub fn first_acts_due(id: AlarmId) -> bool {
    match id {
        AlarmId::LevelSwitchTripped
        | AlarmId::LevelHighHigh
        | AlarmId::PadNearCeiling
        | AlarmId::WitnessesDisagree
        | AlarmId::MovementOutsideTransfer
        | AlarmId::NoWitness
        | AlarmId::WrongProduct
        | AlarmId::PossibleReaction
        | AlarmId::PadAboveMawp
        | AlarmId::PadInReliefWindow
        | AlarmId::PadBelowTank
        | AlarmId::PadAtCeiling
        | AlarmId::PadFalling
        | AlarmId::PadBelowBand
        | AlarmId::TankPressureHigh
        | AlarmId::ReverseFlow
        | AlarmId::TruckGone
        | AlarmId::LevelCritical
        | AlarmId::LevelSoon
        | AlarmId::PadRising
        | AlarmId::PadAboveSupply
        | AlarmId::OtherTankRises => true,
        AlarmId::HighLevelProjected
        | AlarmId::SignalLost
        | AlarmId::OneWitnessLeft
        | AlarmId::RecorderTrouble
        | AlarmId::EstimatesRestarted
        | AlarmId::ReadingUnlikely
        | AlarmId::ShutoffBypassed
        | AlarmId::ShutoffUnknown
        | AlarmId::DrawOffChanged
        | AlarmId::BeAtValve
        | AlarmId::AttendanceDue
        | AlarmId::AttendanceOverdue
        | AlarmId::NobodyAttends
        | AlarmId::LevelWorking
        | AlarmId::NotIndependent
        | AlarmId::FlowStopped
        | AlarmId::FlowAbovePressure
        | AlarmId::FlowBelowPressure
        | AlarmId::LoadTemperatureOff
        | AlarmId::DewPointHigh
        | AlarmId::NearFreezing
        | AlarmId::PadNotKnown
        | AlarmId::PadCreeps
        | AlarmId::FirstGasDue => false,
    }
}
