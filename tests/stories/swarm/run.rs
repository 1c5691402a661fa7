//! One delivery of the swarm from its papers to its end, and a second, clean one behind it.
//!
//! Phase one: what the plan says goes wrong. Phase two: all is mended, every alarm is pressed "seen", and the next load
//! must come in as if nothing had been.

use super::alarms::Alarms;
use super::checks::{self, Broken, Findings, Since};
use super::disk::Recorded;
use super::driver::{Bench, Reply};
use super::people::Attendant;
use super::plan::{Plan, Trouble};
use super::truths::Truths;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::frame::{Alarm, Estimate, Frame, Phase, Reason, Validity, VerdictWord};
use brimwatch::engine::input::{AlarmId, Event, Neighbour, NeighbourLoad, RecorderState, What};
use brimwatch::engine::settings::DeliverySetup;
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch_simulator::bay::{Act, Closes, SimulatedBay, Stage};
use brimwatch_simulator::noise::Chance;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Deck clear and level still for so long before the start, s.
const CLEAR_S: u64 = 40;
/// Where a pad does not come up, or a deck is never clear, they start all the same, or give up, after this, s.
const PATIENCE_S: u64 = 900;
/// The longest transfer, s.
const LONGEST_S: u64 = 10_800;
/// Nothing has moved for so long: it is over, s.
const STALLED_S: u64 = 600;
/// All is mended: after this, s, nothing may be lost any more.
const MENDED_S: u64 = 45;
/// The next load is watched for so long, s.
const NEXT_S: u64 = 420;
/// The other bay opens its delivery so long before its transfer begins, s.
const BESIDE_OPENED_S: f64 = 120.0;

/// What is known of a delivery beside what the watch says of it.
#[derive(Debug, Clone)]
pub struct Known {
    /// Second of the watch.
    pub s: u64,
    /// When the transfer was entered, s of the plant.
    pub started_s: Option<f64>,
    /// By entries.
    pub phase: Phase,
    /// As it was fed.
    pub recorder: RecorderState,
    /// Rounds answered and missed, by device.
    pub rounds: Vec<(u64, u64)>,
    /// Whether values came in the last round, by device.
    pub answered: Vec<bool>,
    /// For how long the other bay was not heard, s.
    pub unheard_s: u64,
    /// What it still brings of a load that it has spoken of, kg.
    pub beside_rest_kg: f64,
    /// "Seen" was pressed since the last frame.
    pub seen_now: bool,
    /// Somebody shelves alarms.
    pub shelved: bool,
    /// Somebody was on the deck, or it foamed, when the transfer started.
    pub dirty_start: bool,
    /// When somebody said last that they are there, s.
    pub attended_s: u64,
}

impl Known {
    /// For how long nobody has said that they are there, s.
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    pub fn unattended_s(&self) -> f64 {
        (self.s - self.attended_s) as f64
    }
}

/// What came of a delivery.
#[derive(Debug)]
pub struct Outcome {
    /// Its seed.
    pub seed: u64,
    /// Promises that were not kept.
    pub broken: Vec<Broken>,
    /// Nothing went wrong, by the plan.
    pub clean: bool,
    /// Error over u at the last second of unloading: flow meter, scale, tank.
    pub errors: [Option<f64>; 3],
    /// It was said to disagree.
    pub cried: bool,
    /// What was called out in the transfer but prompts and attendance.
    pub called: BTreeSet<AlarmId>,
    /// Seconds of the watch.
    pub lasted_s: u64,
    /// Inputs on record.
    pub inputs: u64,
    /// The recording itself, where it was asked for.
    pub recording: Vec<u8>,
}

/// How far a delivery is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowFar {
    /// With the next load.
    Whole,
    /// The same, and its recording is kept.
    Recorded,
    /// Until something is found, and without the next load.
    FirstFound,
}

/// Runs a plan; a panic is a promise that was not kept.
pub fn deliver(plan: &Plan, papers: &DeliverySetup, how_far: HowFar) -> Outcome {
    let caught = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| Run::of(plan, how_far).whole(papers)));
    caught.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().cloned();
        let what = text.or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned())).unwrap_or_default();
        Outcome {
            seed: plan.seed,
            broken: vec![Broken { check: "no step panics", s: 0, what }],
            clean: false,
            errors: [None; 3],
            cried: false,
            called: BTreeSet::new(),
            lasted_s: 0,
            inputs: 0,
            recording: Vec::new(),
        }
    })
}

/// A delivery under way.
pub struct Run<'a> {
    plan: &'a Plan,
    /// Plant and watch.
    pub bench: Bench<'a>,
    /// See there.
    pub known: Known,
    /// What was found.
    pub findings: Findings,
    alarms: Alarms,
    truths: Truths,
    attendant: Attendant,
    chance: Chance,
    recorded: Arc<Recorded>,
    heard_s: u64,
    since: Since,
    called: BTreeSet<AlarmId>,
    mended: bool,
    how_far: HowFar,
}

impl<'a> Run<'a> {
    fn of(plan: &'a Plan, how_far: HowFar) -> Run<'a> {
        let bay = SimulatedBay::of(&plan.settings, Some(&plan.papers), plan.plant.clone(), plan.instruments.clone());
        let mut bench = Bench::idle(&plan.settings, bay);
        plan.faults.iter().for_each(|fault| bench.bay.add_fault(*fault));
        plan.mishaps.iter().for_each(|mishap| bench.bay.add_mishap(*mishap));
        bench.bay.closes(plan.people.closes);
        let (recorded, tape) = Recorded::begin(plan);
        bench.tape = Some(Box::new(tape));
        let devices = plan.settings.devices.len();
        let known = Known {
            s: 0,
            started_s: None,
            phase: Phase::Idle,
            recorder: RecorderState::Durable,
            rounds: vec![(0, 0); devices],
            answered: vec![true; devices],
            unheard_s: 0,
            beside_rest_kg: 0.0,
            seen_now: false,
            shelved: plan.people.shelves_s > 0.0,
            dirty_start: false,
            attended_s: 0,
        };
        Run {
            plan,
            bench,
            known,
            findings: Findings::default(),
            alarms: Alarms::default(),
            truths: Truths::default(),
            attendant: Attendant::new(plan),
            chance: Chance::new(plan.seed, 952),
            recorded,
            heard_s: 0,
            since: Since::default(),
            called: BTreeSet::new(),
            mended: false,
            how_far,
        }
    }

    /// Nothing more needs to be looked at.
    fn is_enough(&self) -> bool {
        self.how_far == HowFar::FirstFound && !self.findings.is_empty()
    }

    fn whole(mut self, papers: &DeliverySetup) -> Outcome {
        self.bench.feed(Event::Clock(WallTime(0)));
        self.open(self.plan.entered());
        if self.bring_up() {
            self.unload();
        }
        let (errors, cried) = (self.truths.errors, self.truths.cried);
        let called = std::mem::take(&mut self.called);
        if !self.is_enough() {
            self.close();
            self.mend();
        }
        if self.how_far != HowFar::FirstFound {
            self.next(papers);
        }
        let (s, fed) = (self.bench.s(), self.bench.fed);
        let Run { bench, recorded, mut findings, plan, how_far, .. } = self;
        drop(bench);
        let mut broken = findings.take();
        let (recording, found) = Arc::into_inner(recorded).map(|recorded| recorded.replay(s, fed)).unwrap_or_default();
        broken.extend(found);
        let recording = if how_far == HowFar::Recorded { recording } else { Vec::new() };
        Outcome {
            seed: plan.seed,
            broken,
            clean: plan.is_clean(),
            errors,
            cried,
            called,
            lasted_s: s,
            inputs: fed,
            recording,
        }
    }

    fn open(&mut self, papers: DeliverySetup) {
        let opened = self.bench.say("attendant", What::DeliveryOpened(Box::new(papers)));
        self.findings.must("a delivery can be opened", self.known.s, opened.is_ok(), || format!("{opened:?}"));
        self.known.phase = Phase::Opened;
        self.known.started_s = None;
        self.known.attended_s = self.known.s;
    }

    /// Until the transfer is entered as started, or they give up: false.
    fn bring_up(&mut self) -> bool {
        let (begun, mut clear_s) = (self.bench.s(), 0);
        loop {
            let instruments = self.bench.bay.instruments();
            let clear = instruments.on_deck_kg() <= 0.0 && instruments.foam_m() <= 0.0;
            clear_s = if clear { clear_s + 1 } else { 0 };
            let (ready, late) = (self.bench.bay.stage() == Stage::Ready, self.bench.s() - begun > PATIENCE_S);
            if ready && (clear_s >= CLEAR_S || late) {
                self.known.dirty_start = clear_s < CLEAR_S;
                break;
            }
            if late {
                let why = What::Rejected { reason: "the pad does not come up".into() };
                let rejected = self.bench.say("attendant", why);
                self.findings
                    .must("a load can be rejected", self.known.s, rejected.is_ok(), || format!("{rejected:?}"));
                self.known.phase = Phase::Closed;
                return false;
            }
            self.second();
        }
        let late_start_s = if self.mended { 0.0 } else { self.plan.people.late_start_s };
        if late_start_s > 0.0 {
            self.bench.bay.start();
            self.seconds(late_start_s);
        }
        let started = self.bench.say("attendant", What::TransferStarted);
        self.findings.must("a transfer can be started", self.known.s, started.is_ok(), || format!("{started:?}"));
        self.bench.bay.start();
        self.known.phase = Phase::Transfer;
        self.known.started_s = Some(self.bench.bay.plant().time_s());
        self.known.attended_s = self.bench.s();
        true
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "minutes")]
    fn seconds(&mut self, s: f64) {
        for _ in 0..s as u64 {
            self.second();
        }
    }

    /// Until all is at rest, by the script or by hand.
    fn unload(&mut self) {
        let begun = self.bench.s();
        let (mut moved_kg, mut moved_at) = (0.0, begun);
        while self.bench.bay.stage() < Stage::Done && !self.is_enough() {
            self.second();
            let (s, received_kg) = (self.bench.s(), self.bench.bay.plant().received_kg());
            if received_kg > moved_kg + 1.0 {
                (moved_kg, moved_at) = (received_kg, s);
            }
            let gas = self.plan.people.closes == Closes::Never && self.bench.bay.plant().gas_share() > 0.9;
            if s - begun > LONGEST_S || s - moved_at > STALLED_S || gas {
                self.bench.bay.act_by_hand(Act::EmergencyStop);
                self.seconds(30.0);
                return;
            }
        }
    }

    fn close(&mut self) {
        if self.known.phase == Phase::Transfer {
            self.seconds(self.plan.people.late_close_s);
            let closed = self.bench.say("attendant", What::Closed);
            self.findings.must("a leg can be closed", self.known.s, closed.is_ok(), || format!("{closed:?}"));
            self.known.phase = Phase::Closed;
        }
        self.seconds(20.0);
    }

    /// Faults off: what comes from an instrument again is used again, and what was lost is no alarm any more.
    fn mend(&mut self) {
        self.mended = true;
        self.attendant.diligent();
        self.bench.bay.mend();
        if self.known.recorder != RecorderState::Durable {
            self.recorder(RecorderState::Durable);
        }
        for _ in 0..MENDED_S {
            self.second();
        }
        let frame = self.bench.monitor.frame();
        let (plan, s) = (self.plan, self.known.s);
        // A total stands when nothing flows: found frozen, it is so until it counts again.
        let lost = |i: usize| {
            let reading = &frame.readings[i];
            let stands = reading.read_at.is_some_and(|at| frame.at.since_s(at) < 2.0) && frozen(reading.validity);
            // What the instrument shows, mended as it is, cannot be: after gas was blown into a tank its pressure is that high.
            let setup = &plan.settings.signals[i];
            let shown = self.bench.bay.shows(setup.kind, setup.tank);
            let beyond = reading.validity == Validity::Lost(Reason::OutOfRange)
                && !(setup.plausible_low..=setup.plausible_high).contains(&shown);
            checks::is_called_lost(plan, &frame, i) && !stands && !beyond
        };
        let still = (0..frame.readings.len()).find(|i| lost(*i));
        self.findings.must("what was mended is used again", s, still.is_none(), || {
            format!("{:?}", still.map(|i| (&plan.settings.signals[i].name, frame.readings[i].validity)))
        });
        // What has come off its shelf within these seconds is yet to be seen.
        let over = |a: &&Alarm| a.seen || !self.known.shelved;
        let called = frame.alarms.iter().filter(over).find(|a| match a.key.id {
            AlarmId::SignalLost => !checks::is_called_lost(plan, &frame, usize::from(a.key.subject)),
            AlarmId::RecorderTrouble => true,
            _ => false,
        });
        self.findings.must("what is over and seen goes", s, called.is_none(), || format!("{called:?}"));
    }

    /// The next load, at a bay where nothing is wrong any more.
    fn next(&mut self, papers: &DeliverySetup) {
        let seed = self.plan.seed.wrapping_add(1_000_000_000);
        self.bench.bay = SimulatedBay::new(&self.plan.settings, Some(papers), seed);
        let mut papers = papers.clone();
        papers.id = "the next".into();
        papers.plate = self.plan.papers.plate.clone();
        self.slept();
        self.truths = Truths::default();
        self.open(papers);
        if !self.bring_up() {
            return;
        }
        self.called.clear();
        for _ in 0..NEXT_S {
            self.second();
        }
        let frame = self.bench.monitor.frame();
        let s = self.known.s;
        let agreed = frame.verdict.word == VerdictWord::Agree;
        self.findings.must("after all is mended the next load agrees", s, agreed, || format!("{:?}", frame.verdict));
        let there = frame.witnesses.iter().all(|w| w.validity != Validity::Lost(Reason::NoStart));
        self.findings.must("after all is mended every witness has its start", s, there, || {
            format!("{:?}", frame.witnesses.each_ref().map(|w| w.validity))
        });
        let loud = frame.alarms.iter().filter(|a| !catalogue::of(a.key.id).prompt && !self.is_so(a));
        let loud: Vec<_> = loud.collect();
        self.findings.must("after all is mended nothing is called out", s, loud.is_empty(), || format!("{loud:?}"));
    }

    /// The works' thermometer shows what they do not take into that tank, honestly: the load is 1 C above their limit, and its zero
    /// may be off by that. Their limit is one on the reading (docs/method.md, "Alarms").
    fn is_so(&self, alarm: &Alarm) -> bool {
        alarm.key.id == AlarmId::LoadTemperatureOff && self.since.has_held("out of the band", 0)
    }

    fn recorder(&mut self, state: RecorderState) {
        self.known.recorder = state;
        self.bench.feed(Event::Recorder(state));
    }

    /// What happens to the machine in this second: its disk, its clock, its sleep.
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hours")]
    fn machine(&mut self) {
        let s = self.bench.s() as f64 + 1.0;
        let due = |at_s: f64| (s - 1.0..s).contains(&at_s);
        let state =
            self.plan.disk.iter().find(|spell| spell.is_on(s)).map_or(RecorderState::Durable, |spell| spell.what);
        if state != self.known.recorder {
            self.recorder(state);
        }
        for (_, by_ns) in self.plan.clock.iter().filter(|(at_s, _)| due(*at_s)) {
            let wall = self.bench.monitor.clock().wall_at(EngineTime(self.bench.s() * SECOND_NS));
            self.bench.feed(Event::Clock(WallTime(wall.0 + by_ns)));
        }
        if let Some(spell) = self.plan.sleeps.iter().find(|spell| due(spell.at_s)) {
            self.bench.asleep(spell.for_s as u64);
            self.known.s = self.bench.s();
            let frame = self.bench.monitor.frame();
            checks::hold_blind(self.plan, self.known.s, &frame, &mut self.findings);
            self.slept();
        }
    }

    /// What has held so far is counted anew.
    fn slept(&mut self) {
        self.alarms.slept();
        self.truths.slept();
        self.since = Since::default();
    }

    /// The other bay's part, and its word where it is heard.
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    fn beside(&mut self) {
        let Some(beside) = &self.plan.beside else { return };
        let (now, s) = (self.bench.s(), self.bench.s() as f64);
        let kg = ((s - beside.at_s) * beside.rate_kg_per_s).clamp(0.0, beside.load_kg);
        let phase = match kg {
            _ if s < beside.at_s - BESIDE_OPENED_S || self.mended => Phase::Idle,
            kg if kg <= 0.0 => Phase::Opened,
            kg if kg < beside.load_kg => Phase::Transfer,
            _ => Phase::Closed,
        };
        let density = self.plan.plant.density_kg_per_m3;
        if !self.mended {
            self.bench.bay.set_beside_m3(kg / density);
        }
        let rest_kg = if matches!(phase, Phase::Opened | Phase::Transfer) { beside.load_kg - kg } else { 0.0 };
        if beside.silent.is_on(s) && !self.mended {
            self.known.beside_rest_kg = self.known.beside_rest_kg.min(rest_kg);
            return;
        }
        self.known.beside_rest_kg = rest_kg;
        self.heard_s = now;
        let rate = if phase == Phase::Transfer { beside.rate_kg_per_s } else { 0.0 };
        let received = Estimate { value: kg, u: 15.0 + 0.002 * kg };
        let load = (phase != Phase::Idle).then(|| NeighbourLoad {
            delivery: "beside".into(),
            leg: 1,
            phase,
            received_kg: (phase != Phase::Opened).then_some(received),
            white_kg: 5.0,
            at_odds: false,
            rate_kg_per_s: rate,
            fastest_kg_per_s: rate,
            most_kg: received,
            least_kg: received,
            rest_kg: Estimate { value: if rest_kg > 0.0 { rest_kg + 200.0 } else { 0.0 }, u: 20.0 },
            density_kg_per_m3: Some(density),
        });
        let at = EngineTime(now * SECOND_NS + SECOND_NS / 2);
        self.bench.feed(Event::Neighbour(Neighbour { neighbour: 0, at, load }));
    }

    /// A second goes by, and everything is held against its frame.
    pub fn second(&mut self) {
        if !self.mended {
            self.machine();
        }
        self.beside();
        let network = if self.mended { &[] } else { self.plan.network.as_slice() };
        let (chance, now_s) = (&mut self.chance, self.bench.bay.plant().time_s() + 1.0);
        let frame = self.bench.second_by(|device| {
            let on = network.iter().find(|(of, spell)| *of == device && spell.is_on(now_s));
            match on.map(|(_, spell)| spell.what) {
                Some(Trouble::Loses(share, reason)) if chance.uniform() < share => Reply::Missed(reason),
                Some(Trouble::Delays(ns)) => Reply::Late(ns),
                _ => Reply::AsItIs,
            }
        });
        self.known.s = self.bench.s();
        self.known.answered.clone_from(&self.bench.answered);
        self.known.rounds.clone_from(&self.bench.rounds);
        self.known.unheard_s = self.known.s - self.heard_s;
        self.hold(&frame);
        let seen = self.attendant.second(&mut self.bench, &mut self.known, &frame, &mut self.findings);
        self.known.seen_now = seen;
    }

    fn hold(&mut self, frame: &Frame) {
        let (plan, known, findings) = (self.plan, &self.known, &mut self.findings);
        checks::hold(plan, known, frame, findings);
        checks::hold_excuses(&mut self.since, known, frame, findings);
        checks::hold_lost(&mut self.since, known, frame, findings);
        self.alarms.hold(plan, known, frame, findings);
        if !self.mended {
            self.truths.hold(plan, known, &self.bench, frame, findings);
        }
        // Once in a transfer is enough: an alarm that came then may stand for a while.
        let out = checks::off_the_band(plan, frame);
        let was_out = frame.phase == Phase::Transfer && self.since.has_held("out of the band", 0);
        self.since.held("out of the band", 0, out || was_out, self.known.s);
        if frame.phase == Phase::Transfer && self.bench.unloading() {
            let by_people = [AlarmId::AttendanceOverdue, AlarmId::NobodyAttends];
            let loud = frame.alarms.iter().filter(|a| !self.is_so(a)).map(|a| a.key.id);
            let loud: Vec<_> = loud.filter(|id| !catalogue::of(*id).prompt && !by_people.contains(id)).collect();
            self.called.extend(loud);
        }
    }
}

fn frozen(validity: Validity) -> bool {
    matches!(validity, Validity::Lost(Reason::Frozen | Reason::FrozenTogether))
}
