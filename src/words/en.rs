//! English.

use super::display::{clock, duration};
use super::measures::{Shown, Written};
use super::steps::StepLabels;
use super::{
    CheckText, EntryAnswer, Figure, Labels, Language, NotTaken, PageWords, Scene, SettingsWord, SignInWord, Text,
    capital, list,
};
use crate::engine::blow::BlowState;
use crate::engine::checks::{Check, CheckId};
use crate::engine::frame::{
    Alarm, CeilingBy, CheckedBy, Explanation, Margin, Moment, NeighbourState, Pessimist, Phase, Reason, Shelf, Slip,
    Source, Suppressed, Tank, Validity, VerdictWord, WitnessId,
};
use crate::engine::input::{AlarmId, GapClock, MissReason, OutOfService, RecorderState, Status, ZeroCause};
use crate::engine::settings::{PadTap, SignalKind};
use crate::engine::slip;
use crate::engine::steps::{Against, Signature, Stands};
use crate::time::WallTime;

/// The language itself.
#[derive(Debug, Clone, Copy)]
pub struct English;

/// A trend that reaches the ceiling later than this is a regulator's wander: no number is made of it, s.
const TREND_SHOWN_S: f64 = 3600.0;

pub(super) const ACT: &str = "Stop: emergency stop or remote valve. Shut the gas. Keep clear and upwind.";
pub(super) const CARE: &str =
    "Look only from a distance, in the required protection. Touch or tighten nothing under pressure.";

const WITNESSES: [WitnessId; 3] = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank];

/// Below this trend, in Pa/s, the pad pressure is not said to rise or fall: 0.05 kPa/min, which is what the
/// last shown digit could show in twenty minutes.
const TREND_PA_PER_S: f64 = 50.0 / 60.0;

pub(super) static LABELS: Labels = Labels {
    into: "into",
    tank: "tank",
    no_delivery: "no delivery open",
    delivery: "Delivery",
    drill: "DRILL",
    drill_clock: "drill clock",
    not_confirmed: "density table not confirmed by a read source",
    be_at_valve_by: "Be at the valve by",
    margin: "Margin below high-high",
    received: "Received in the tank",
    bars: "a bar is \u{b1}\u{202f}2\u{202f}u",
    doubtful: "doubtful",
    not_used: "not used",
    no_value: "no value yet",
    contents: "contents",
    tank_unknown: "contents not known",
    now: "now",
    load_in: "load in, at most",
    margin_mark: "margin",
    does_not_fit: "does not fit",
    working: "maximum working",
    high_high: "high-high",
    critical: "critical high",
    pad: "Pad pressure on the trailer",
    ceiling: "ceiling",
    ceiling_not_set: "ceiling not set",
    mawp: "MAWP",
    relief: "relief",
    pressure_unknown: "not known",
    seen: "Seen",
    was_seen: "seen",
    alarm_since: "since",
    alarms: "Alarms",
    transfer_started: "Transfer started",
    closed: "Closed",
    not_proven: "not proven",
    hand_dip: "Hand dip before the transfer",
    enter_dip: "Enter the dip",
    new_zero: "The scale is off for another reason than product",
    enter_zero: "Give it a new zero",
    confirm_started: "Enter that the transfer has started?",
    confirm_closed: "Enter that the leg is closed?",
    yes: "Yes, enter it",
    back: "Back",
    sending: "Being saved \u{2026}",
    not_reached: "Not saved: brimwatch cannot be reached. Note it by hand.",
    sound_test: "Test sound",
    sound_off: "Sound off",
    stale: "STALE. Nothing new for",
    stale_since: "s. Go by the instruments themselves.",
    waiting: "Waiting for the first live figures. What stands here may be old.",
    no_connection: "STALE. No connection to brimwatch. Go by the instruments themselves.",
    no_script: "This page needs its script to stay live. What stands here may be old.",
    you_do: "brimwatch stops nothing. You do.",
    cautions: "Advisory only. An independent high-level shut-off and a qualified person in attendance are required; \
               local codes and licensed practice come first. Operating figures, not legal for trade.",
    behind: "Behind the figures",
    margin_made: "How the margin is made",
    budgets: "Where the uncertainties come from (one standard uncertainty u)",
    budget_of: "u of the mass",
    degrees: "effective degrees of freedom",
    polling: "Polling (ms of machine time)",
    poll_columns: [
        "device",
        "answered",
        "missed",
        "connected anew",
        "reply p50 / p99 / max",
        "late p50 / p99 / max",
        "now",
    ],
    answers: "answers",
    bays: "Bays",
    no_bays: "No bay is being watched.",
    checks: "Delivery: checks before anything is connected",
    check: "Check made",
    note: "Note",
    check_met: "Met",
    check_fails: "Fails",
    reject: "Reject the delivery",
    reject_why: "Why",
    attend: "I am here",
    duty: "On duty, and alarms set aside",
    comes: "Who comes on duty",
    read_back: "They have read back:",
    hand_over: "Hand over",
    enrol: "Make this screen the bay's own",
    aside: "Set aside:",
    alarm: "Alarm",
    minutes: "for minutes",
    shelve: "Shelve",
    unshelve: "Take from the shelf",
    take_out: "Take out of service",
    put_back: "Put back in service",
    first: "came first",
};

impl Language for English {
    fn tag(&self) -> &'static str {
        "en"
    }

    fn name(&self) -> &'static str {
        "English"
    }

    fn reviewer(&self) -> Option<&'static str> {
        None
    }

    fn unit(&self, word: &'static str) -> &'static str {
        word
    }

    fn hh_mm(&self, scene: Scene<'_>, at: WallTime) -> String {
        super::display::hh_mm(at, scene.frame.clock.wall_at(scene.frame.at), scene.zone)
    }

    fn labels(&self) -> &'static Labels {
        &LABELS
    }

    fn page(&self) -> &'static PageWords {
        &super::screen::ENGLISH
    }

    fn witness(&self, id: WitnessId) -> &'static str {
        match id {
            WitnessId::Flow => "by flow meter",
            WitnessId::Scale => "by scale",
            WitnessId::Tank => "by tank level",
        }
    }

    fn headline(&self, scene: Scene<'_>, alarmed: bool) -> Text {
        let frame = scene.frame;
        match (frame.phase, &frame.delivery) {
            (Phase::Idle, _) => says("No delivery is open. Whatever moves now is an alarm."),
            (Phase::Opened, Some(d)) => says(format!(
                "Delivery {} is open, {} planned. Nothing may move before \u{201c}Transfer started\u{201d} is entered.",
                d.id,
                scene.measures.mass(d.planned_kg)
            )),
            (Phase::Opened, None) => says("Nothing may move before \u{201c}Transfer started\u{201d} is entered."),
            (Phase::Transfer, _) => {
                let moving = match frame.rate {
                    Some(rate) => format!("Transferring at {}.", scene.measures.text(Shown::MassFlow, rate.value)),
                    None => "The transfer is on; its rate is not known.".to_owned(),
                };
                verdict(scene, moving, alarmed)
            }
            (Phase::Closed, _) => {
                let received = match frame.together {
                    Some(t) => {
                        let mass = |kg| scene.measures.mass(kg);
                        format!("Closed: {} received (u {}).", mass(t.received_kg.value), mass(t.received_kg.u))
                    }
                    None => "Closed; the mass received is not known.".to_owned(),
                };
                verdict(scene, received, alarmed)
            }
        }
    }

    fn alarm(&self, scene: Scene<'_>, alarm: &Alarm) -> Text {
        let subject = alarm.key.subject;
        match alarm.key.id {
            AlarmId::LevelSwitchTripped => act(
                format!("The independent high-level switch of {} has tripped.", scene.tank(subject)),
                or_slip(scene, "If the tank is not that full: true_when, bit or address of the switch?"),
            ),
            AlarmId::LevelHighHigh => act(
                format!("{} stands at or above high-high.", capital(&scene.tank(subject))),
                or_slip(scene, "If it does not: unit, scale or offset of the gauge, level or ullage?"),
            ),
            AlarmId::HighLevelProjected => level_projected(scene, subject),
            AlarmId::PadNearCeiling => {
                act(pad_near_ceiling(scene), "Where to look: gas supply valve, regulator, the trailer's own gauge.")
            }
            AlarmId::WitnessesDisagree => disagree(scene),
            AlarmId::MovementOutsideTransfer => act(
                "Liquid moves though no transfer is on.",
                "Where to look: the trailer's outlet valve, the line, the tank's inlet. If nothing moves: the meter's \
                 zero, or unit, offset or address in the site file?",
            ),
            AlarmId::SignalLost => signal_lost(scene, subject),
            AlarmId::OneWitnessLeft => Text {
                act: "Have the person in charge decide whether the transfer goes on.".to_owned(),
                says: "One instrument is left and nothing is compared.".to_owned(),
                beyond: "No leak, however large, would be seen here.".to_owned(),
                ..Text::default()
            },
            AlarmId::NoWitness => act("No instrument says how much has moved.", ""),
            AlarmId::RecorderTrouble => Text {
                act: "Keep notes by hand.".to_owned(),
                says: recorder(scene.frame.recorder).unwrap_or_else(|| "The recorder had trouble.".to_owned()),
                ..Text::default()
            },
            AlarmId::EstimatesRestarted => Text {
                act: "Hold the masses against the instruments themselves.".to_owned(),
                says: "brimwatch met a fault of its own and began its estimates anew.".to_owned(),
                beyond: "What moved meanwhile is carried with a wider uncertainty.".to_owned(),
                ..Text::default()
            },
            AlarmId::ReadingUnlikely => unlikely(scene, subject),
            hazard => self::hazard(scene, hazard, subject),
        }
    }

    fn duty(&self, scene: Scene<'_>) -> String {
        super::duty::duty(scene)
    }

    fn state(&self, scene: Scene<'_>) -> String {
        super::duty::state(scene)
    }

    fn shelved(&self, scene: Scene<'_>, shelf: &Shelf) -> String {
        super::duty::shelved(scene, shelf)
    }

    fn suppressed(&self, scene: Scene<'_>, suppressed: &Suppressed) -> String {
        super::duty::suppressed(scene, suppressed)
    }

    fn out_of_service(&self, scene: Scene<'_>, out: &OutOfService) -> String {
        super::duty::out_of_service(scene, out)
    }

    fn explained(&self, id: AlarmId) -> super::alarms::Explained {
        super::alarms::english(id)
    }

    fn finish(&self, scene: Scene<'_>) -> Figure {
        let frame = scene.frame;
        let by = frame.finish.be_at_valve_by;
        let now = by.is_some_and(|by| by <= frame.at);
        let figure = match by {
            _ if frame.phase != Phase::Transfer => "\u{2013}".to_owned(),
            Some(_) if now => "now".to_owned(),
            Some(by) => clock(frame.clock, by, frame.at, scene.zone),
            None => "not known".to_owned(),
        };
        let mut lines = Vec::new();
        if frame.phase == Phase::Transfer {
            let gas = frame.finish.first_gas.as_ref();
            let planned = frame.finish.planned.as_ref();
            lines.push(gas.map_or_else(|| "first gas: not known".into(), |m| moment(scene, "first gas", m)));
            lines.push(
                planned.map_or_else(|| "planned amount: not known".into(), |m| moment(scene, "planned amount", m)),
            );
            lines.push(match (&frame.finish.level, &frame.margin) {
                (Some(m), _) => moment(scene, "high-high", m),
                (None, Margin::Known { kg, .. }) if *kg >= 0.0 => "high-high: not by this load".into(),
                (None, _) => "high-high: not known".into(),
            });
        }
        Figure { figure, unit: "", act: now && frame.phase == Phase::Transfer, lines }
    }

    fn margin(&self, scene: Scene<'_>) -> Figure {
        let Margin::Known { kg, pessimist, rest_by, by_witness_kg, .. } = &scene.frame.margin else {
            let why = match scene.frame.delivery {
                None => "no delivery is open",
                Some(_) => "no credible gauge or witness: take it that there is no room",
            };
            return Figure {
                figure: "unknown".into(),
                act: scene.frame.phase == Phase::Transfer,
                lines: vec![why.into()],
                ..Figure::default()
            };
        };
        let mut lines: Vec<String> = scene.frame.tank.and_then(|tank| opening(scene, tank)).into_iter().collect();
        if *kg < 0.0 {
            lines.push("The load does not fit below high-high.".to_owned());
        }
        let contents = match pessimist {
            Pessimist::Gauge(signal) => format!("by gauge {}", scene.signal(*signal)),
            Pessimist::Witness(id) => self.witness(*id).to_owned(),
            Pessimist::LevelSwitch => "by the tripped high-level switch".to_owned(),
            Pessimist::HandDip => "by hand dip".to_owned(),
        };
        let rest = rest_by.map_or_else(|| "from the papers".to_owned(), |id| self.witness(id).to_owned());
        lines.push(format!("The most cautious count: contents {contents}, rest of the load {rest}."));
        let each: Vec<String> = WITNESSES
            .into_iter()
            .zip(by_witness_kg)
            .filter_map(|(id, kg)| kg.map(|kg| format!("{} {}", self.witness(id), scene.measures.room(kg))))
            .collect();
        if !each.is_empty() {
            lines.push(format!("Each alone: {}.", each.join(", ")));
        }
        let Written { figure, unit } = scene.measures.show_down(Shown::LargeMass, *kg);
        Figure { figure, unit, act: *kg < 0.0, lines }
    }

    fn margin_parts(&self, scene: Scene<'_>) -> Vec<(&'static str, f64)> {
        let Margin::Known { kg, parts, .. } = &scene.frame.margin else { return Vec::new() };
        let mut made = vec![
            ("mass at high-high", parts.at_high_high_kg),
            ("less the largest credible contents", parts.contents_kg),
            ("less the largest credible rest of the load", parts.rest_kg),
            ("less what runs on while the valve closes", parts.run_on_kg),
            ("less the line's contents", parts.line_kg),
            ("less what blowing clear pushes in", parts.blow_clear_kg),
            ("less 2.33 standard uncertainties", parts.allowance_kg),
            (opening_part(scene), parts.opening_kg),
        ];
        if !scene.settings.neighbours.is_empty() {
            made.push(("less what other bays may still bring", parts.neighbour_kg));
        }
        made.push(("margin below high-high", *kg));
        made
    }

    fn pad(&self, scene: Scene<'_>) -> Figure {
        let pad = &scene.frame.pad;
        let mut lines = Vec::new();
        if scene.settings.pad_tap == PadTap::Supply {
            lines.push("measured on the supply side of the hose, not on the trailer".to_owned());
        }
        if let Some(slope) = pad.slope_pa_per_s.filter(|s| s.abs() >= TREND_PA_PER_S) {
            let word = if slope > 0.0 { "rising" } else { "falling" };
            lines.push(format!("{word} {}", scene.measures.pressure_rate(slope.abs())));
        }
        if let Some(s) = pad.to_ceiling_s.filter(|s| *s <= TREND_SHOWN_S) {
            lines.push(format!("at this trend at the ceiling in {}", duration(s)));
        }
        let above = matches!((pad.pressure_pa_gauge, pad.ceiling_pa_gauge), (Some(p), Some(c)) if p > c);
        if above {
            lines.push("ABOVE the ceiling".to_owned());
        }
        if pad.ceiling_pa_gauge.is_none() {
            lines.push("ceiling not set: a limit or the plate has not been typed in".to_owned());
        }
        let shown = |pa| scene.measures.figure(Shown::GaugePressure, pa);
        let figure = pad.pressure_pa_gauge.map_or_else(|| LABELS.pressure_unknown.to_owned(), shown);
        Figure { figure, unit: scene.measures.unit_word(Shown::GaugePressure), act: above, lines }
    }

    fn notes(&self, scene: Scene<'_>) -> Vec<String> {
        let frame = scene.frame;
        let mut notes = Vec::new();
        for reading in &frame.readings {
            let name = capital(&scene.signal(reading.signal));
            match reading.validity {
                Validity::Good | Validity::Lost(Reason::NotFitted) => {}
                Validity::Doubtful(reason) => notes.push(format!("{name} is doubtful: {}.", self.reason(reason))),
                Validity::Lost(reason) => notes.push(format!("{name} is lost: {}.", self.reason(reason))),
            }
            if reading.status == Status::MaintenanceRequired && reading.validity.is_credible() {
                notes.push(format!("{name} is used; {}.", status_said(reading.status)));
            }
        }
        for witness in &frame.witnesses {
            let name = self.witness(witness.id);
            match witness.validity {
                Validity::Good | Validity::Lost(Reason::NotFitted | Reason::NoStart | Reason::NotYetRead) => {}
                Validity::Doubtful(reason) => notes.push(format!("Mass {name} is doubtful: {}.", self.reason(reason))),
                Validity::Lost(reason) => notes.push(format!("Mass {name} is not used: {}.", self.reason(reason))),
            }
        }
        if let Some(zero) = frame.delivery.as_ref().and_then(|d| d.scale_zero) {
            let at = clock(frame.clock, zero.at, frame.at, scene.zone);
            let cause = self.zero_cause(zero.cause);
            notes.push(format!("The scale has a new zero since {at}, {}: {cause}.", scene.measures.mass(zero.kg)));
        }
        if frame.attendance.on_duty.is_some() || frame.attendance.due_at.is_some() {
            notes.push(self.duty(scene));
        }
        notes.extend(frame.shelves.iter().map(|shelf| self.shelved(scene, shelf)));
        notes.extend(frame.out_of_service.iter().map(|out| self.out_of_service(scene, out)));
        if let Some(gap) = &frame.blind {
            let at = |t| clock(frame.clock, t, frame.at, scene.zone);
            let known = match gap.known_by {
                GapClock::SameBoot => "",
                GapClock::WallClock => ", by the wall clock, which somebody may have set",
            };
            notes.push(format!("Blind from {} to {}{known}.", at(gap.from), at(gap.to)));
        }
        notes.extend(frame.neighbours.iter().filter_map(|state| neighbour(scene, state)));
        notes.extend(recorder(frame.recorder));
        notes
    }

    fn reason(&self, reason: Reason) -> String {
        match reason {
            Reason::NotYetRead => "not read yet".into(),
            Reason::NotFitted => "no such instrument here".into(),
            Reason::Missed(miss) => missed(miss).into(),
            Reason::Stale => "its last reading is too old".into(),
            Reason::DeviceException(code) => format!("it answers with Modbus exception {code}"),
            Reason::NotANumber => "what it sends is no number".into(),
            Reason::OutOfRange => "outside the plausible range".into(),
            Reason::Saturated => "at the instrument's end of range".into(),
            Reason::Frozen => "it has not moved while mass has".into(),
            Reason::FrozenTogether => "it and all beside it stand as mass moves".into(),
            Reason::HeartbeatStopped => "its device's heartbeat has stopped".into(),
            Reason::FailureCurrent => "its loop current signals a failure".into(),
            Reason::DeviceSays(status) => status_said(status).into(),
            Reason::Torn => "read while its figures rolled over".into(),
            Reason::MissingCorrection => "a correction it needs is missing".into(),
            Reason::Disturbed => "it jumped as people or foam make it jump".into(),
            Reason::NotBack => "it jumped and has not come back".into(),
            Reason::OffTheTable => "outside its table".into(),
            Reason::NoStart => "no start reading was taken".into(),
            Reason::NeighbourNotHeard => "the neighbour is not heard".into(),
            Reason::NeighbourUnknown => "the neighbour does not know what it brings".into(),
            Reason::NeighbourAtOdds => "the neighbour's flow meter and scale disagree".into(),
            Reason::Unlikely(slip) => format!("unlikely: {}", slip_short(slip)),
            Reason::TotalReset => "its total was reset or jumped".into(),
            Reason::DrivenOff => "the trailer has moved off the scale".into(),
            Reason::OtherGauge => "the tank's first gauge is lost: by another".into(),
            Reason::CountsBack => "its total has counted back".into(),
        }
    }

    fn explanation(&self, explanation: Explanation) -> &'static str {
        match explanation {
            Explanation::LeakBeforeMeter => "product leaves between trailer and meter",
            Explanation::LeakAfterMeter => "product leaves between meter and tank",
            Explanation::OtherTank => "product goes to another tank",
            Explanation::UnknownInflow => "more comes into the tank than from this trailer",
            Explanation::GaugeLow => "the level gauge is stuck or drifts low",
            Explanation::ScaleLight => "the scale drifts light",
            Explanation::MeterLow => "the flow meter reads low",
            Explanation::UnknownDrawOff => "something is drawn off the tank that nobody declared",
            Explanation::TableLow => "the tank's table gives too little",
            Explanation::DensityOff => "the density is not the one entered",
            Explanation::GaugeHigh => "the level gauge reads high",
            Explanation::ScaleHeavy => "the scale drifts heavy",
            Explanation::MeterHigh => "the flow meter reads high",
            Explanation::NeighbourLeak => {
                "the other bay's product leaves between its meter and the tank: one tank cannot tell the two apart"
            }
            Explanation::NeighbourOff => "the other bay brings less or more than its instruments say",
        }
    }

    fn source(&self, source: Source) -> &'static str {
        match source {
            Source::MeterGain => "gain of the flow meter",
            Source::MeterZero => "zero of the flow meter",
            Source::MeterNoise => "noise of the flow meter",
            Source::ScaleReading => "division and noise of the scale",
            Source::ScaleSpan => "span of the scale",
            Source::ScaleDrift => "drift of the scale",
            Source::GasTemperature => "temperature of the pad gas",
            Source::GasVolume => "volume of the pad gas",
            Source::PadPressure => "pad pressure",
            Source::LineUpstream => "line before the meter",
            Source::LineDownstream => "line after the meter",
            Source::Density => "density",
            Source::TankTable => "table of the tank",
            Source::LevelReading => "level readings",
            Source::LevelLag => "age of the level reading",
            Source::DrawOff => "draw-off",
            Source::Gap => "what moved while a signal was away",
            Source::Neighbour => "what the other bay brought",
            Source::LevelSpan => "span of the level gauge",
            Source::NewZero => "new zero of the scale",
            Source::HoseReaction => "push of the hose on the scale",
            Source::LowFlow => "flow too slow for the meter",
            Source::TankVapour => "pressure above the liquid, not measured",
        }
    }

    fn ceiling_by(&self, by: CeilingBy) -> &'static str {
        match by {
            CeilingBy::Site => "site maximum",
            CeilingBy::Mawp => "MAWP",
            CeilingBy::Hose => "hose",
            CeilingBy::Line => "line",
            CeilingBy::Connection => "connection",
        }
    }

    fn together(&self, word: VerdictWord) -> &'static str {
        match word {
            VerdictWord::Agree | VerdictWord::None => "together",
            VerdictWord::NotYetProven => "not yet proven",
            VerdictWord::Disagree | VerdictWord::CannotTellWhich => "not together",
            VerdictWord::NotIndependent => "not independent",
            VerdictWord::OneOnly => "one only",
        }
    }

    fn refused(&self, why: NotTaken) -> &'static str {
        super::refused::english(why)
    }

    fn entry(&self, answer: EntryAnswer<'_>) -> String {
        match answer {
            EntryAnswer::Saved => "Saved.".into(),
            EntryAnswer::NotTaken(why) => format!("Not taken: {}", self.refused(why)),
            EntryAnswer::WrongPhase => "Not taken: it does not fit what the bay is doing now.".into(),
            EntryAnswer::SignInEnded => {
                "Not taken: your sign-in has ended. To go on, sign in first, by the link \"Sign in\" \
                at the foot of the page."
                    .into()
            }
            EntryAnswer::SignIn => "Not taken: sign in first, by the link \"Sign in\" at the foot of the page.".into(),
            EntryAnswer::NoRight(who) => {
                format!("Not taken: {who} may look, not make entries. Sign in as somebody who may.")
            }
            EntryAnswer::Busy => "Not saved: too many entries wait. Try again, and note it by hand.".into(),
            EntryAnswer::NotKnown => {
                "Not known whether it is saved: no answer in time. Note it by hand and look at the bay again.".into()
            }
            EntryAnswer::NoWatch => "Not saved: this bay is not being watched. Note it by hand.".into(),
            EntryAnswer::NotUnderstood => "Not taken: the request could not be read.".into(),
            EntryAnswer::NotHere => {
                "Not taken: attendance is entered at the bay's own screen. An engineer makes a screen the bay's own."
                    .into()
            }
            EntryAnswer::NotEngineer => "Not taken: only an engineer who is signed in may do that.".into(),
            EntryAnswer::Nobody(name) => format!("Not taken: {name} is nobody who may attend here."),
        }
    }

    fn zero_cause(&self, cause: ZeroCause) -> &'static str {
        match cause {
            ZeroCause::PeopleOrTools => "people or tools on the deck, or gone from it",
            ZeroCause::HoseOrLine => "hose or line laid on the trailer, or taken off",
            ZeroCause::RainOrIce => "rain, snow or ice",
            ZeroCause::Tractor => "the tractor was coupled or uncoupled",
            ZeroCause::ScaleItself => "somebody set the scale's own zero",
        }
    }

    fn check(&self, scene: Scene<'_>, check: &Check) -> CheckText {
        super::checks::check(scene, check)
    }

    fn check_name(&self, id: CheckId) -> &'static str {
        super::checks::name(id)
    }

    fn step<'a>(&self, text: &'a str) -> &'a str {
        text
    }

    fn on_paper<'t>(&self, english: &'t str) -> &'t str {
        english
    }

    fn papers(&self) -> &'static super::papers::PapersWords {
        &super::papers::ENGLISH
    }

    fn step_labels(&self) -> &'static StepLabels {
        &super::steps::LABELS
    }

    fn stands(&self, stands: Option<Stands>) -> &'static str {
        super::steps::stands(stands)
    }

    fn signature(&self, scene: Scene<'_>, signature: &Signature) -> String {
        super::steps::signature(scene, signature)
    }

    fn against(&self, scene: Scene<'_>, against: &Against) -> String {
        super::steps::against(scene, against)
    }

    fn blow(&self, scene: Scene<'_>, blow: &BlowState) -> Vec<String> {
        super::steps::blow(scene, blow)
    }

    fn checks(&self, scene: Scene<'_>) -> Text {
        super::checks::head(scene)
    }

    fn sign_in(&self, word: SignInWord<'_>) -> String {
        match word {
            SignInWord::Title => "Sign in".into(),
            SignInWord::Name => "Name".into(),
            SignInWord::Password => "Password".into(),
            SignInWord::Out => "Sign out".into(),
            SignInWord::Back => "Back to the bays".into(),
            SignInWord::Here(name, role) => format!("Signed in: {name} (role: {role})."),
            SignInWord::NobodyHere => "Nobody is signed in. Alarms can be marked as seen all the same.".into(),
            SignInWord::NotUsed => {
                "This site names no people: entries need no sign-in and are recorded as made at the bay screen.".into()
            }
            SignInWord::Wrong => "Name or password is wrong.".into(),
            SignInWord::Wait(s) => {
                format!("Too many wrong passwords: try again in {s} s. Alarms can be marked as seen all the same.")
            }
            SignInWord::Busy => "Another sign-in is being checked: try again.".into(),
            SignInWord::NoFile => {
                "The people file cannot be read; the log says why. Alarms can be marked as seen all the same.".into()
            }
            SignInWord::NotReached => "No answer: the server cannot be reached.".into(),
        }
    }

    fn role(&self, word: &'static str) -> &'static str {
        word
    }

    fn settings(&self, word: SettingsWord<'_>) -> String {
        const COLUMNS: [&str; 5] = ["key", "in force", "if left out", "allowed", "meaning"];
        match word {
            SettingsWord::Title => "Alarm settings".into(),
            SettingsWord::About => {
                "A change is taken by the running watch, and no poll is missed. It stands in the recordings and in the \
                 change log with your name and reason, and is written into the site file. It takes the place of no \
                 permit, review or approval that your site asks for; an independent high-level shut-off and a qualified \
                 person in attendance are required whatever is set here."
                    .into()
            }
            SettingsWord::MayNot => "To change them, sign in with the role engineer.".into(),
            SettingsWord::NoPeople => {
                "This site names no people, so nobody can be told apart here: use \"brimwatch change\", or name \
                 people in the site file."
                    .into()
            }
            SettingsWord::Column(column) => COLUMNS.get(column).copied().unwrap_or_default().into(),
            SettingsWord::Reason => "Reason for the change".into(),
            SettingsWord::Look => "Show what would change".into(),
            SettingsWord::Apply => "Change it".into(),
            SettingsWord::NotWritten => "(not written)".into(),
            SettingsWord::Would => "This would change. Nothing was changed yet.".into(),
            SettingsWord::Taken => "Taken by the running watch, on record, and written into the site file.".into(),
            SettingsWord::TakenUnwritten(why) => format!(
                "Taken by the running watch and on record. The site file does not hold it ({why}): a new start would undo \
                 it. in-force.toml of the store is what is in force; put it there."
            ),
            SettingsWord::NotTaken(why) => format!("Not taken; nothing was changed. {why}"),
            SettingsWord::NoReason => "Not taken: say for what reason.".into(),
            SettingsWord::Outdated => {
                "Not taken: the settings have been changed since this page was drawn. Load it anew and look again.".into()
            }
            SettingsWord::SignIn => "Not taken: sign in first, with the role engineer.".into(),
            SettingsWord::NoRight(who, role) => {
                format!("Not taken: {who} has the role {role}; settings are changed by the role engineer.")
            }
            SettingsWord::Busy => "Not taken: another change is being made. Try again.".into(),
            SettingsWord::NotKnown => {
                "Not known whether it was taken: no answer in time. Load the page anew and look.".into()
            }
            SettingsWord::NotUnderstood => "Not taken: the request could not be read.".into(),
        }
    }
}

fn says(text: impl Into<String>) -> Text {
    Text { says: text.into(), ..Text::default() }
}

/// A text that begins with the acts.
pub(super) fn act(finding: impl Into<String>, beyond: impl Into<String>) -> Text {
    Text { act: ACT.into(), care: CARE.into(), says: finding.into(), beyond: beyond.into() }
}

fn instrument(id: WitnessId) -> &'static str {
    match id {
        WitnessId::Flow => "the flow meter",
        WitnessId::Scale => "the scale",
        WitnessId::Tank => "the tank level",
    }
}

/// What the instruments say together, after a first sentence on what goes on.
fn verdict(scene: Scene<'_>, first: String, alarmed: bool) -> Text {
    let frame = scene.frame;
    let verdict = &frame.verdict;
    let used: Vec<&str> =
        frame.witnesses.iter().filter(|w| w.validity.is_credible()).map(|w| instrument(w.id)).collect();
    match verdict.word {
        VerdictWord::Agree => {
            let who = if used.len() == 3 { "The three instruments".to_owned() } else { capital(&list(&used, "and")) };
            let within =
                verdict.agree_within_kg.map_or_else(String::new, |x| format!(" within {}", scene.measures.mass_up(x)));
            Text { says: format!("{first} {who} agree{within}."), beyond: unseen(scene), ..Text::default() }
        }
        VerdictWord::NotYetProven => Text {
            says: format!("{first} Not yet proven."),
            beyond: "Too little has moved for a dead instrument to have shown, or for a leak to be seen.".into(),
            ..Text::default()
        },
        VerdictWord::Disagree | VerdictWord::CannotTellWhich if alarmed => says(first),
        VerdictWord::Disagree | VerdictWord::CannotTellWhich => disagree(scene),
        VerdictWord::NotIndependent => Text {
            says: format!(
                "{first} Two instruments are not independent: they share a transmitter, or follow each other more \
                 closely than their noise allows."
            ),
            beyond: "They count as one. A fault they share, or a leak, would not be seen.".into(),
            ..Text::default()
        },
        VerdictWord::OneOnly => Text {
            says: format!("{first} Only {} is left.", list(&used, "and")),
            beyond: "Nothing is compared: no leak, however large, would be seen here.".into(),
            ..Text::default()
        },
        VerdictWord::None if alarmed || frame.phase != Phase::Transfer => {
            says(format!("{first} No instrument says how much has moved."))
        }
        VerdictWord::None => act("No instrument says how much has moved.", ""),
    }
}

/// What agreement does not show. The larger of the two sides' smallest visible leaks, rounded up.
fn unseen(scene: Scene<'_>) -> String {
    let verdict = &scene.frame.verdict;
    let on_the_scale = "or one that stays on the scale, would not be seen.";
    let rate = |y: f64| scene.measures.mass_flow_up(y);
    match (verdict.leak_below_trailer_kg_per_min, verdict.leak_below_tank_kg_per_min) {
        (Some(a), Some(b)) => format!("A leak below about {}, {on_the_scale}", rate(a.max(b))),
        (Some(y), None) => {
            format!("A leak before the meter below about {}, any leak after it, {on_the_scale}", rate(y))
        }
        (None, Some(y)) => {
            format!("Any leak before the meter, one after it below about {}, {on_the_scale}", rate(y))
        }
        (None, None) => "No leak would be seen.".into(),
    }
}

/// Label of what the margin loses to the opening level.
fn opening_part(scene: Scene<'_>) -> &'static str {
    match scene.frame.tank.and_then(|tank| tank.opening.proven_by) {
        None => "less 2.33 u of the opening level, not proven",
        Some(CheckedBy::Gauge(_)) => "less 2.33 u of the opening level, proven by a second gauge",
        Some(CheckedBy::LastClosing) => "less 2.33 u of the opening level, proven by the last closing and use",
        Some(CheckedBy::HandDip) => "less 2.33 u of the opening level, proven by hand dip",
    }
}

/// What proves, or does not prove, where the tank stood before the load came in.
fn opening(scene: Scene<'_>, tank: Tank) -> Option<String> {
    let by = |by: CheckedBy| match by {
        CheckedBy::Gauge(signal) => format!("gauge {}", scene.signal(signal)),
        CheckedBy::LastClosing => "the last closing level and what was drawn off since".to_owned(),
        CheckedBy::HandDip => "the hand dip".to_owned(),
    };
    match (tank.opening.against, tank.opening.proven_by) {
        (Some(other), _) => {
            Some(format!("Room not proven: {} does not fit the gauge. Find out which is right.", by(other)))
        }
        (None, None) => Some("Room not proven: only the tank's own gauge says how full it was.".to_owned()),
        (None, Some(_)) => None,
    }
}

/// What is about to hurt somebody.
fn hazard(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::WrongProduct => act(
            "The density in the line is not that of the papers: it may be another product.",
            "Where to look: the trailer's papers, seals and product tag; what stands in the tank. Mixing may react.",
        ),
        AlarmId::PossibleReaction => act(
            format!(
                "{} is warmer than what was in it and what comes in: something may react.",
                capital(&scene.tank(subject))
            ),
            "Where to look, from a distance: the tank's pressure and temperature. Call the person in charge.",
        ),
        AlarmId::PadAboveMawp => act(
            "The pad pressure is above the MAWP on the trailer's plate.",
            "Where to look: gas supply valve, regulator, the trailer's own gauge. Let no one stand by the relief valve.",
        ),
        AlarmId::PadInReliefWindow => act(
            "The pad pressure is where the trailer's relief valve may open.",
            "Where to look: gas supply valve, regulator. The relief valve may blow gas and liquid: stay clear of it.",
        ),
        AlarmId::PadBelowTank => act(
            "The pad pressure is below the tank's: liquid or moist gas may come back to the trailer.",
            "Where to look: gas supply, regulator, the tank's vent; then close in the order that lets nothing back.",
        ),
        AlarmId::ReverseFlow => act(
            "The flow meter runs backwards: liquid may come back to the trailer.",
            "Where to look: pad pressure, tank pressure, valves. If nothing moves: the meter's zero?",
        ),
        AlarmId::ShutoffBypassed => Text {
            act: "Stop unless the person in charge has agreed in writing.".into(),
            says: "The independent high-level shut-off is bypassed: nothing stops the tank from overflowing.".into(),
            beyond: "It stays so marked for the whole delivery.".into(),
            ..Text::default()
        },
        AlarmId::TruckGone => act(
            "The trailer has moved off the scale while the transfer is on.",
            "Where to look, from a distance: hose and connections. If it stands there: the scale's device?",
        ),
        AlarmId::TankPressureHigh => act(
            format!("The pressure in {} is near the tank's own limit.", scene.tank(subject)),
            "Where to look, from a distance: gas behind the last liquid, the pad, the tank's vent; a reaction.",
        ),
        AlarmId::BeAtValve => Text {
            act: "Be at the valve. Be ready to cut back the gas and to close.".into(),
            says: "The earliest credible end is less than the response time away.".into(),
            ..Text::default()
        },
        other => super::deviations::english(scene, other, subject),
    }
}

/// The instruments disagree: acts, what is missing, whose word it is, everything that may be behind it.
fn disagree(scene: Scene<'_>) -> Text {
    let verdict = &scene.frame.verdict;
    let kg = |kg| scene.measures.mass(kg);
    let mut finding = match verdict.missing_kg {
        Some(m) if m.value >= 0.0 => {
            format!("{} left the trailer and did not arrive (u {}).", kg(m.value), kg(m.u))
        }
        Some(m) => format!("{} more arrived than left the trailer (u {}).", kg(-m.value), kg(m.u)),
        None => "The instruments disagree.".to_owned(),
    };
    if let Some(growing) = &verdict.growing {
        let since = clock(scene.frame.clock, growing.since, scene.frame.at, scene.zone);
        let kg_per_s = growing.kg_per_s.value.abs();
        let rate = scene.measures.mass_flow(kg_per_s, usize::from(kg_per_s < 0.15));
        finding += &format!(" The difference grows by about {rate} since {since}.");
    }
    let suspects: Vec<&str> =
        WITNESSES.into_iter().zip(verdict.suspects).filter(|(_, s)| *s).map(|(id, _)| instrument(id)).collect();
    match (verdict.word, suspects.as_slice()) {
        (_, []) => {}
        (VerdictWord::Disagree, [one]) => {
            finding += &format!(" {} does not fit the other two.", capital(one));
        }
        (_, some) => finding += &format!(" Off is {}: it cannot be told which.", list(some, "or")),
    }
    let behind: Vec<&str> = verdict.explanations.iter().map(|e| English.explanation(*e)).collect();
    let beyond = match behind.as_slice() {
        [] => "What is behind it is not known.".to_owned(),
        [one] => format!("What fits: {one}."),
        [start @ .., end] => format!("What fits, the most dangerous first: {}; or {end}.", start.join("; ")),
    };
    act(finding, beyond)
}

fn level_projected(scene: Scene<'_>, tank: u16) -> Text {
    let over = match &scene.frame.margin {
        Margin::Known { kg, .. } if *kg < 0.0 => {
            let over = scene.measures.room(*kg).replace('\u{2212}', "");
            format!("The load would end {over} above high-high of {}.", scene.tank(tank))
        }
        _ => format!("It is not shown that the load ends below high-high of {}.", scene.tank(tank)),
    };
    let by = match &scene.frame.finish.level {
        Some(level) => moment(scene, "High-high", level) + ".",
        None => or_slip(scene, "If there is room: unit, scale or offset of the gauge, level or ullage?"),
    };
    Text {
        act: "Do not let the whole load in. Stop before high-high: emergency stop or remote valve.".into(),
        says: over,
        beyond: by,
        ..Text::default()
    }
}

fn pad_near_ceiling(scene: Scene<'_>) -> String {
    let pad = &scene.frame.pad;
    let shown = |pa| {
        let Written { figure, unit } = scene.measures.show(Shown::GaugePressure, pa);
        format!("{figure} {unit}")
    };
    match (pad.pressure_pa_gauge, pad.ceiling_pa_gauge) {
        (Some(p), Some(c)) => {
            let word = if p > c { "above" } else { "near" };
            let by = pad.ceiling_by.map_or("", |by| English.ceiling_by(by));
            format!("The trailer stands at {}, {word} its ceiling of {} ({by}).", shown(p), shown(c))
        }
        (Some(p), None) => format!("The trailer stands at {} and its ceiling is not set.", shown(p)),
        (None, _) => "The trailer's pressure is not known; it was near its ceiling.".to_owned(),
    }
}

fn signal_lost(scene: Scene<'_>, signal: u16) -> Text {
    let name = capital(&scene.signal(signal));
    let reading = scene.frame.readings.iter().find(|r| r.signal == signal);
    let says = match reading.map(|r| r.validity) {
        Some(Validity::Lost(reason)) => format!("{name} is lost: {}.", English.reason(reason)),
        _ => format!("{name} was lost and is back."),
    };
    let setup = scene.settings.signals.get(usize::from(signal));
    let looks = setup.zip(reading).and_then(|(setup, reading)| slip::of_lost(setup, reading));
    let out_of_range = reading.is_some_and(|r| r.validity == Validity::Lost(Reason::OutOfRange));
    let beyond = match looks {
        Some(slip) => format!("In the site file: {}", slip_asks(slip)),
        None if out_of_range => or_slip(scene, "In the site file: unit, scale, offset, type, order or address?"),
        None => String::new(),
    };
    if setup.is_some_and(|s| s.kind == SignalKind::PadPressure) {
        let act = "Without another gauge that can be read: stop (emergency stop or remote valve), shut the gas, \
                   keep clear and upwind.";
        return Text { act: act.into(), care: CARE.into(), says, beyond };
    }
    Text { act: "Do not go by its last value.".into(), says, beyond, ..Text::default() }
}

/// A slip of the site file as what else it may be, while nothing should move yet.
fn or_slip(scene: Scene<'_>, asks: &str) -> String {
    let before = matches!(scene.frame.phase, Phase::Idle | Phase::Opened);
    if before { asks.to_owned() } else { String::new() }
}

/// A signal that says before the transfer what cannot be.
fn unlikely(scene: Scene<'_>, signal: u16) -> Text {
    let name = capital(&scene.signal(signal));
    let reading = scene.frame.readings.iter().find(|r| r.signal == signal);
    let says = match reading.map(|r| r.validity) {
        Some(Validity::Doubtful(Reason::Unlikely(slip))) => format!("{name} cannot be so: {}", slip_asks(slip)),
        _ => format!("{name} could not be so before the transfer."),
    };
    Text {
        act: "Do not start before it is cleared up.".into(),
        says,
        beyond: "Hold it against the instrument itself, then look at the site file and the papers.".into(),
        ..Text::default()
    }
}

/// What a slip looks like and what to look at, as a question.
fn slip_asks(slip: Slip) -> String {
    match slip {
        Slip::WordOrder => "no instrument sends such a number: order of words and bytes, type or address?".into(),
        Slip::Atmosphere => "about one atmosphere off: gauge or absolute?".into(),
        Slip::Factor(times) => format!("about {times} times off: unit or scale?"),
        Slip::Fahrenheit => "it fits the papers in the other unit: F or C?".into(),
        Slip::Pound => "it fits in the other unit: lb or kg?".into(),
        Slip::Net => "it is about the load alone, without the trailer: net or gross?".into(),
        Slip::NotTheLoad => "it does not fit a trailer with this load: unit, scale, or another trailer?".into(),
        Slip::OtherDensity => "it is denser than the product of the papers: unit, scale, or another product?".into(),
        Slip::OtherSignal => "it moves though nothing enters the tank: another signal's register?".into(),
        Slip::Register => "the device has no such register: address, address_base or function?".into(),
        Slip::Function => "the device does not know such a request: function 1, 2, 3 or 4?".into(),
        Slip::GaugesDiffer => "the tank's other gauge says another level: zero, unit, scale, or another tank?".into(),
        Slip::TooFast => "it counts faster than any flow here: unit or scale, or was it set to 0?".into(),
    }
}

/// The same for beside a mass on a phone.
fn slip_short(slip: Slip) -> String {
    match slip {
        Slip::WordOrder => "order of its words?".into(),
        Slip::Atmosphere => "gauge or absolute?".into(),
        Slip::Factor(times) => format!("{times} times off?"),
        Slip::Fahrenheit => "F or C?".into(),
        Slip::Pound => "lb or kg?".into(),
        Slip::Net => "net or gross?".into(),
        Slip::NotTheLoad => "not this load's weight".into(),
        Slip::OtherDensity => "denser than the product".into(),
        Slip::OtherSignal => "another signal's register?".into(),
        Slip::Register => "no such register".into(),
        Slip::Function => "no such function".into(),
        Slip::TooFast => "faster than any flow".into(),
        Slip::GaugesDiffer => "the other gauge differs".into(),
    }
}

fn status_said(status: Status) -> &'static str {
    match status {
        Status::Fair => "its device says nothing against it",
        Status::MaintenanceRequired => "its device asks for maintenance",
        Status::OutOfSpecification => "its device says: out of specification",
        Status::FunctionCheck => "its device says: being checked",
        Status::Failure => "its device says: failure",
    }
}

/// Why a request had no usable answer.
#[must_use]
pub fn missed(miss: MissReason) -> &'static str {
    match miss {
        MissReason::TimeOut => "no answer within the time-out",
        MissReason::NoConnection => "no connection to the device",
        MissReason::ConnectionLost => "the connection broke",
        MissReason::WrongLength => "the answer had the wrong length",
        MissReason::Malformed => "the answer could not be read",
        MissReason::QueueFull => "brimwatch's own queue was full",
        MissReason::WrongTransaction => "the answer belonged to another request",
        MissReason::WrongUnit => "the answer came from another unit",
        MissReason::WrongFunction => "the answer was to another function",
        MissReason::BadChecksum => "the answer was garbled on the line",
        MissReason::Unsettled => "a late answer may still be on the line",
        MissReason::NameUnknown => "the host's name is not known",
        MissReason::PortAbsent => "there is no such serial port",
        MissReason::PortForbidden => "this user may not open the serial port",
        MissReason::PortTaken => "another program holds the serial port",
        MissReason::NotSerial => "the path names no usable serial port",
    }
}

/// What another bay does to the tank that both fill; nothing where it does nothing to it.
fn neighbour(scene: Scene<'_>, state: &NeighbourState) -> Option<String> {
    let bay = capital(&scene.neighbour(state.neighbour));
    let frame = scene.frame;
    let to_come = format!("about {} of its load still to come", scene.measures.mass(state.rest_kg));
    if state.silent {
        let Some(heard) = state.heard_at else {
            return Some(format!("{bay}, which fills the same tank, is not heard: what it brings is not known."));
        };
        let since = clock(frame.clock, heard, frame.at, scene.zone);
        let counted = if state.rest_kg > 0.0 {
            format!("{to_come} by its last word; counted in the margin")
        } else {
            "by its last word nothing of a load is still to come".to_owned()
        };
        return Some(format!("{bay}, which fills the same tank, has not been heard since {since}: {counted}."));
    }
    match state.phase {
        Phase::Transfer => Some(format!("{bay} is filling the same tank: {to_come}; counted in the margin.")),
        Phase::Opened => Some(format!("{bay} has a load for the same tank: {to_come}; counted in the margin.")),
        Phase::Idle | Phase::Closed => None,
    }
}

fn recorder(state: RecorderState) -> Option<String> {
    match state {
        RecorderState::Durable => None,
        RecorderState::Waiting { bytes } => {
            Some(format!("The recorder cannot write: {} KiB wait in memory.", bytes.div_ceil(1024)))
        }
        RecorderState::Overflowed => Some("The recorder's memory is full: what happens now is not on record.".into()),
    }
}

/// "first gas 14:36, earliest 14:34": the median by all, the smallest 5 % quantile of any.
fn moment(scene: Scene<'_>, event: &str, moment: &Moment) -> String {
    let frame = scene.frame;
    let at = |t| clock(frame.clock, t, frame.at, scene.zone);
    format!("{event} {}, earliest {}", at(moment.q50), at(moment.earliest))
}
