//! The watch itself: pure, deterministic, without clock, I/O, randomness, hash order or thread.
//!
//! [`Monitor::step`] is its only door. In reading order: what can happen ([`input`]) under what is known of the bay
//! ([`settings`]); whether a device lives ([`devices`]) and a value can be used ([`reading`], [`slip`]); what a totalizer counted ([`total`]); each instrument as a mass ([`witness`]); their recent
//! past ([`block`]), the line through it (`trend`), evened out (`settled`), and combination ([`reconcile`]); what they say together ([`verdict`], [`suspects`]); when and
//! how far ([`projection`], [`margin`], [`pad`]); whether a delivery may be taken ([`papers`], [`checks`]) and how it goes on ([`steps`]); what other bays do to our tanks (`neighbour`); what proves the room (`opening`); what a hose does to the scale ([`hose`]); what must be said in time ([`alarm`]) and whether anybody is there to hear it (`attendance`); what is known ([`frame`]).
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod input;
pub mod papers;
pub mod settings;

mod current;
pub mod devices;
mod frozen;
pub mod reading;
pub mod slip;
pub mod total;

pub mod witness;

pub mod bank;
pub mod block;
pub mod blow;
pub mod comparison;
mod disturbance;
pub mod filter;
pub mod reconcile;
mod settled;
pub mod suspects;
mod trend;
pub mod verdict;

pub mod course;
mod cross_check;
pub mod hydraulics;
pub mod margin;
pub mod pad;
mod pad_creep;
mod product;
pub mod projection;

mod afterwards;
pub mod alarm;
mod attendance;

pub mod checks;
pub mod delivery;
pub mod frame;
mod gauge;
pub mod hose;
mod neighbour;
mod opening;
mod outlook;
pub mod steps;
mod watch;
pub mod zero;

use alarm::catalogue;
use alarm::condition::Sight;
use alarm::deviations::Foreseen;
use alarm::machine::{Board, Delays, SHELF_MAX_S};
use attendance::Attendance;
use blow::BlowState;
use checks::{Checks, Standing};
use delivery::{Delivery, Refusal};
use devices::Devices;
use frame::{Condition, DeliveryState, Estimate, Finish, Frame, Margin, Output, Phase};
use input::{
    AlarmId, AlarmKey, Carried, EnteredCheck, Entry, Event, Gap, Input, NeighbourLoad, OutOfService, RecorderState,
    What,
};
use neighbour::Neighbours;
use opening::Stock;
use pad::PadWatch;
use reading::Readings;
use settings::{DeliverySetup, Settings, SignalKind};
use slip::Arrival;
use steps::{Side, Signature};
use watch::Watch;
use zero::Zero;

use crate::planted::{Bug, planted};
use crate::time::{EngineTime, SECOND_NS, WallAnchor};

/// Changes whenever the same inputs would give other numbers: a recording of another numerics version is
/// replayed as "other program".
pub const NUMERICS_VERSION: u32 = 17;

/// Outside a transfer an output is kept this often, s.
const IDLE_KEEP_S: u64 = 10;

/// The alarm "be at the valve" looks anew this often, s: much less than anybody's response time.
const FORESEEN_S: f64 = 5.0;

/// How many of people's latest entries cross into the next segment.
const LATEST_ENTRIES: usize = 8;

/// One bay's watch.
#[derive(Debug, Clone)]
pub struct Monitor {
    settings: Settings,
    at: EngineTime,
    clock: WallAnchor,
    kept_at: Option<EngineTime>,
    devices: Devices,
    readings: Readings,
    arrival: Arrival,
    delivery: Option<Delivery>,
    watch: Watch,
    pad: PadWatch,
    alarms: Board,
    attendance: Attendance,
    finish: Finish,
    /// When somebody must be at the valve, and when that was worked out for its alarm.
    valve_by: Option<EngineTime>,
    soon: Foreseen,
    foreseen_at: Option<EngineTime>,
    margin: Margin,
    recorder: RecorderState,
    blind: Option<Gap>,
    neighbours: Neighbours,
    restarted: bool,
    stocks: Vec<Stock>,
    latest: Vec<Entry>,
    /// The checks since somebody last entered something: most of them hang on papers and entries alone.
    drawn_up: Option<Standing>,
}

impl Monitor {
    /// A watch that begins a segment.
    #[must_use]
    pub fn new(settings: Settings, carried: Carried) -> Monitor {
        let at = EngineTime(0);
        let delivery = carried.delivery.as_ref().map(|c| Delivery::carried(c, &settings));
        let mut watch = Watch::new(at);
        if let Some(carried) = &carried.delivery {
            watch.zero = carried.zero.as_ref().map(Zero::carried);
            watch.held = carried.received_kg.map(|e| e.map(|(value, u)| (at, Estimate { value, u })));
        }
        let mut stocks: Vec<Stock> = carried.closings.into_iter().map(Stock::carried).collect();
        stocks.resize_with(settings.tanks.len(), Stock::default);
        Monitor {
            at,
            clock: WallAnchor::default(),
            kept_at: None,
            devices: Devices::new(&settings),
            readings: Readings::new(&settings),
            arrival: Arrival::default(),
            delivery,
            watch,
            pad: PadWatch::default(),
            alarms: Board::carried(&carried.alarms, &carried.shelves, &carried.out_of_service),
            attendance: Attendance::carried(&carried.attendance),
            finish: Finish::default(),
            valve_by: None,
            soon: Foreseen::default(),
            foreseen_at: None,
            margin: Margin::Unknown,
            recorder: RecorderState::default(),
            blind: None,
            neighbours: Neighbours::new(&settings, carried.delivery.as_ref().map_or(&[], |d| &d.neighbours)),
            restarted: carried.restarted,
            stocks,
            latest: carried.latest,
            drawn_up: None,
            settings,
        }
    }

    /// The settings in force.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// What ties engine time to the wall clock.
    #[must_use]
    pub fn clock(&self) -> WallAnchor {
        self.clock
    }

    /// Faults that are looked for, found or not: for whoever sets thresholds.
    #[must_use]
    pub fn bank(&self) -> &bank::Bank {
        self.watch.bank()
    }

    /// What is going on.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.delivery.as_ref().map_or(Phase::Idle, |d| d.phase)
    }

    /// How far the load is from not fitting.
    #[must_use]
    pub fn margin(&self) -> &Margin {
        &self.margin
    }

    /// What crosses into the next segment.
    #[must_use]
    pub fn carried(&self) -> Carried {
        let received_kg = self.watch.held.map(|held| held.map(|(_, e)| (e.value, e.u)));
        let open = self.delivery.as_ref().filter(|d| d.phase != Phase::Closed);
        Carried {
            alarms: self.alarms.carry(),
            closings: self.stocks.iter().map(Stock::carry).collect(),
            latest: self.latest.clone(),
            delivery: open.map(|d| {
                d.carry(
                    self.at,
                    &self.settings,
                    received_kg,
                    &self.neighbours,
                    self.watch.zero.map(|zero| zero.carry()),
                )
            }),
            restarted: self.restarted,
            shelves: self.alarms.carry_shelves(self.at),
            out_of_service: self.alarms.out_of_service().to_vec(),
            attendance: self.attendance.carry(self.at),
        }
    }

    /// Whether an entry of that person would be taken now; asked before it is recorded.
    ///
    /// # Errors
    /// Why not.
    pub fn admits_entry(&self, entry: &Entry) -> Result<(), Refusal> {
        self.attendance.admits(&self.settings.limits, self.phase(), entry)?;
        self.admits(&entry.what)
    }

    /// Whether an entry would be taken now, whoever makes it.
    ///
    /// # Errors
    /// Why not.
    pub fn admits(&self, what: &What) -> Result<(), Refusal> {
        match what {
            What::Seen(key) | What::Shelved { key, .. } if !self.alarms.is_open(*key) => Err(Refusal::NoSuchAlarm),
            What::Shelved { key, .. } | What::TakenOut { key, .. }
                if !catalogue::may_set_aside(&self.settings, *key) =>
            {
                Err(Refusal::NeverShelved)
            }
            What::TakenOut { reason, .. } if reason.trim().is_empty() => Err(Refusal::NoReason),
            What::PutBack(key) if !self.alarms.is_out(*key) => Err(Refusal::NotOut),
            What::Shelved { for_s, .. } if for_s.is_nan() || *for_s <= 0.0 => Err(Refusal::ShelfWithoutEnd),
            What::Shelved { for_s, .. } if *for_s > SHELF_MAX_S => Err(Refusal::ShelfTooLong),
            What::Unshelved(key) if !self.alarms.is_shelved(*key) => Err(Refusal::NotShelved),
            What::ScaleZeroed(_) => {
                delivery::admits(self.delivery.as_ref(), &self.settings, what)?;
                zero::admits(&self.watch.verdict, self.watch.others_than_scale()).map_err(Refusal::NoZero)
            }
            _ => {
                delivery::admits(self.delivery.as_ref(), &self.settings, what)?;
                let grounds = (self.checks(), self.blow());
                let asked = self.on_steps((&grounds.0, grounds.1.as_ref()), |grounds| grounds.admits(what));
                asked.unwrap_or(Ok(())).map_err(Refusal::NoStep)
            }
        }
    }

    /// Takes one input and says what is known after it.
    pub fn step(&mut self, input: &Input) -> Output {
        let changed = self.advance(input);
        let is_tick = matches!(input.event, Event::Tick);
        if let (true, Some(delivery)) = (is_tick, &self.delivery) {
            self.finish = self.outlook(delivery).finish(&self.margin);
        }
        self.output(is_tick, changed)
    }

    /// Takes one input, draws up no frame and foresees the finish only as often as its alarm needs: for whoever steps many
    /// monitors and asks for alarms only. True where something changed that must be shown at once.
    pub fn advance(&mut self, input: &Input) -> bool {
        self.at = self.at.max(input.at);
        if !matches!(input.event, Event::Tick | Event::Poll(_) | Event::Missed(_)) {
            self.drawn_up = None;
        }
        let mut changed = match &input.event {
            Event::Poll(poll) => {
                self.devices.poll(poll);
                let alive = self.devices.alive(&self.settings, poll.device, poll.requested.midpoint(poll.replied));
                let lost = self.readings.poll(&self.settings, poll, alive);
                if let Some(delivery) = &mut self.delivery {
                    delivery.take_rates(&self.settings, &self.readings);
                }
                for (tank, stock) in (0u16..).zip(&mut self.stocks) {
                    stock.take(&self.settings, &self.readings, tank);
                }
                lost && self.observe()
            }
            Event::Missed(missed) => {
                self.devices.missed(*missed);
                self.readings.missed(&self.settings, *missed);
                self.observe()
            }
            Event::Tick => self.tick(),
            Event::Entry(entry) => self.enter(entry),
            Event::Settings(new) => {
                self.replace_settings(&new.settings);
                true
            }
            Event::Recorder(state) => {
                let changed = self.recorder != *state;
                self.recorder = *state;
                changed
            }
            Event::Clock(wall) => {
                if planted(Bug::ClockMovesTime) {
                    let ahead_ns = wall.0.saturating_sub(self.clock.wall_at(self.at).0);
                    self.at = EngineTime(self.at.0.saturating_add_signed(ahead_ns));
                }
                self.clock = WallAnchor { at: self.at, wall: *wall };
                false
            }
            Event::Resumed(gap) => {
                self.blind = Some(*gap);
                if !planted(Bug::GapForgotten) {
                    self.readings.blind();
                }
                self.watch.blind(self.at);
                self.observe()
            }
            Event::Neighbour(word) => {
                self.neighbours.take(word);
                false
            }
        };
        changed |= self.alarm(&input.event);
        changed
    }

    fn observe(&mut self) -> bool {
        match &self.delivery {
            Some(delivery) if delivery.phase == Phase::Transfer => {
                self.watch.observe(&self.settings, &self.readings, delivery, &self.neighbours, self.at)
            }
            _ => false,
        }
    }

    fn tick(&mut self) -> bool {
        self.readings.age(&self.settings, &self.devices, self.at);
        let (delivery, neighbours) = (self.delivery.as_ref(), &self.neighbours);
        self.arrival.look(&self.settings, &mut self.readings, delivery, neighbours, self.at);
        self.pad.tick(&self.settings, &self.readings, self.at);
        self.check_opening();
        let mut changed = self.let_go();
        if let Some(delivery) = &self.delivery {
            if delivery.phase == Phase::Transfer {
                let neighbours = &self.neighbours;
                self.watch.expect_movement(&self.settings, delivery, &mut self.readings, neighbours, self.at);
                let gas_due = self.soon.first_gas.is_some_and(|earliest| earliest <= self.at);
                changed = self.watch.tick(&self.settings, &self.readings, delivery, neighbours, (self.at, gas_due));
            }
            let scene = self.outlook(delivery);
            let margin = scene.margin();
            if self.foreseen_at.is_none_or(|at| self.at.since_s(at) >= FORESEEN_S) {
                let finish = scene.finish(&margin);
                self.valve_by = finish.be_at_valve_by;
                let earliest = |moment: Option<frame::Moment>| moment.map(|moment| moment.earliest);
                self.soon =
                    Foreseen { level: earliest(finish.level), first_gas: earliest(finish.first_gas), ..self.soon };
                self.foreseen_at = Some(self.at);
            }
            self.margin = margin;
        }
        changed
    }

    /// A trailer that was released long enough ago leaves the bay idle.
    fn let_go(&mut self) -> bool {
        let is_over = self.delivery.as_ref().is_some_and(|delivery| delivery.is_over(self.at));
        if is_over {
            self.delivery = None;
            (self.watch, self.margin) = (Watch::new(self.at), Margin::Unknown);
        }
        is_over
    }

    /// Whether a delivery is watched that no new segment must cut: an open one, and a closed one for a while.
    #[must_use]
    pub fn is_watched(&self) -> bool {
        self.delivery.as_ref().is_some_and(|delivery| delivery.is_watched(self.at))
    }

    /// Until the load comes in: does anything but its own gauge say where the tank stands?
    fn check_opening(&mut self) {
        let Some(delivery) = self.delivery.as_ref().filter(|d| d.phase == Phase::Opened) else { return };
        let stock = self.stocks.get(usize::from(delivery.setup.tank));
        let (settings, readings, neighbours) = (&self.settings, &self.readings, &self.neighbours);
        let opening = opening::Scene { settings, readings, delivery, stock, neighbours }.check();
        if let Some(delivery) = &mut self.delivery {
            delivery.opening = opening;
        }
    }

    fn outlook<'a>(&'a self, delivery: &'a Delivery) -> outlook::Scene<'a> {
        outlook::Scene {
            settings: &self.settings,
            readings: &self.readings,
            delivery,
            watch: &self.watch,
            neighbours: &self.neighbours,
            at: self.at,
        }
    }

    /// What bays that fill the same tank must know of this one: its load with the index of the tank it goes to.
    #[must_use]
    pub fn load(&self) -> Option<(u16, NeighbourLoad)> {
        self.delivery.as_ref().map(|delivery| (delivery.setup.tank, self.outlook(delivery).load()))
    }

    fn enter(&mut self, entry: &Entry) -> bool {
        if self.admits_entry(entry).is_err() {
            return false;
        }
        match &entry.what {
            What::DeliveryOpened(setup) => self.open((**setup).clone()),
            What::TransferStarted => self.start_transfer(&entry.who),
            What::Closed => self.close(),
            What::ScaleZeroed(cause) => {
                self.watch.zero_scale(self.at, *cause);
                self.observe();
            }
            What::Dipped { level_m } => {
                if let Some(delivery) = &mut self.delivery {
                    delivery.dip_m = Some(*level_m);
                }
                self.check_opening();
            }
            What::CheckEntered { check, met, note } => {
                let (who, at) = (entry.who.clone(), self.clock.wall_at(self.at));
                let entered = EnteredCheck { check: *check, met: *met, who, at, note: note.clone() };
                if let Some(delivery) = &mut self.delivery {
                    delivery.enter_check(entered);
                }
            }
            What::Rejected { reason } => {
                if let Some(delivery) = &mut self.delivery {
                    delivery.reject(self.at, reason);
                }
            }
            What::Attended { .. } => {
                self.attendance.attended(self.at);
                for key in Attendance::answers() {
                    self.alarms.see(key);
                }
            }
            What::HandedOver { to, .. } => self.attendance.hand_over(to),
            What::TakenOut { key, reason } => {
                let (who, since) = (entry.who.clone(), self.clock.wall_at(self.at));
                self.alarms.take_out(OutOfService { key: *key, who, since, reason: reason.trim().to_owned() });
            }
            What::PutBack(key) => self.alarms.put_back(*key),
            What::BlowBegan | What::BlowEnded => {
                if let Some(delivery) = &mut self.delivery {
                    delivery.blow(self.at, entry.what == What::BlowBegan);
                }
            }
            What::StepSigned { step, side, name, note, .. } => self.mark_step(step, false, (*side, name, note)),
            What::StepSkipped { step, reason, .. } => self.mark_step(step, true, (Side::Site, &entry.who, reason)),
            What::Shelved { key, for_s } => self.alarms.shelve(*key, self.at, *for_s),
            What::Unshelved(key) => self.alarms.unshelve(*key),
            What::Seen(key) => {
                self.alarms.see(*key);
                if key.id == AlarmId::EstimatesRestarted {
                    self.restarted = false;
                }
            }
        }
        if !matches!(entry.what, What::DeliveryOpened(_)) {
            self.latest.push(entry.clone());
            let over = self.latest.len().saturating_sub(LATEST_ENTRIES);
            self.latest.drain(..over);
        }
        true
    }

    fn open(&mut self, setup: DeliverySetup) {
        self.delivery = Some(Delivery::open(setup, &self.settings));
        self.attendance = Attendance::default();
        self.arrival = Arrival::default();
        self.readings.delivery_opens(&self.settings, self.at);
        self.watch = Watch::new(self.at);
        self.finish = Finish::default();
        (self.valve_by, self.soon, self.foreseen_at) = (None, Foreseen::default(), None);
        self.margin = Margin::Unknown;
        self.neighbours.forget();
    }

    fn start_transfer(&mut self, who: &str) {
        if let Some(delivery) = &mut self.delivery {
            delivery.start_transfer(self.at, &self.settings, &self.readings);
            let seen = self.readings.level_start_seen_at(&self.settings, delivery.setup.tank, self.at);
            self.neighbours.start(seen.unwrap_or(self.at), self.at);
        }
        self.attendance.start(who, self.at);
        self.readings.transfer_starts();
        self.watch = Watch::started(self.at);
    }

    fn mark_step(&mut self, step: &str, skipped: bool, (side, who, note): (Side, &str, &str)) {
        let at = self.clock.wall_at(self.at);
        let signature = Signature { side, who: who.trim().to_owned(), at, note: note.trim().to_owned() };
        if let Some(delivery) = &mut self.delivery {
            delivery.mark_step(step, skipped, signature);
            delivery.look_for_release(&self.settings, self.at);
        }
    }

    fn close(&mut self) {
        let Some(delivery) = &mut self.delivery else { return };
        delivery.close(self.at);
        self.finish = Finish::default();
        let tank = delivery.setup.tank;
        if let Some(stock) = self.stocks.get_mut(usize::from(tank)) {
            stock.close(&self.settings, &self.readings, delivery, self.watch.verdict.word);
        }
    }

    /// Settings of another shape start the readings anew; the delivery's start readings are then lost, and said.
    fn replace_settings(&mut self, settings: &Settings) {
        if settings.signals != self.settings.signals || settings.devices != self.settings.devices {
            self.devices = Devices::new(settings);
            self.readings = Readings::new(settings);
            self.arrival = Arrival::default();
        }
        if settings.neighbours != self.settings.neighbours {
            self.neighbours = Neighbours::new(settings, &[]);
        }
        self.stocks.resize_with(settings.tanks.len(), Stock::default);
        self.settings = settings.clone();
        let settings = &self.settings;
        self.alarms.keep_aside(|key| catalogue::may_set_aside(settings, key));
    }

    /// Asks the conditions that the event can have turned and lets their machines run; true when an alarm came, went or
    /// turned. At a tick all are asked, so that none waits longer.
    fn alarm(&mut self, event: &Event) -> bool {
        let is_tick = matches!(event, Event::Tick);
        let polled = match event {
            Event::Poll(poll) => Some(poll.device),
            Event::Missed(missed) => Some(missed.device),
            _ => None,
        };
        let plate = self.delivery.as_ref().map(|d| &d.setup.plate);
        let sight = Sight {
            settings: &self.settings,
            readings: &self.readings,
            delivery: self.delivery.as_ref(),
            verdict: &self.watch.verdict,
            liquid: self.phase() == Phase::Transfer && self.watch.liquid_arrived(),
            credible: self.watch.credible(),
            margin: &self.margin,
            recorder: self.recorder,
            restarted: self.restarted,
            product: &self.watch.product,
            cross_check: &self.watch.cross_check,
            pad_creep: &self.watch.pad_creep,
            valve_by: self.valve_by,
            soon: Foreseen {
                // Only a tick asks for it.
                pad_to_ceiling_s: is_tick
                    .then(|| self.pad.to_ceiling_s(&self.settings, &self.readings, plate))
                    .flatten(),
                pad_to_tank_s: is_tick
                    .then(|| self.pad.to_pressure_s(&self.settings, &self.readings, self.behind_pa()))
                    .flatten(),
                received_kg: self.watch.together.map(|t| t.received_kg),
                ..self.soon
            },
            board: &self.alarms,
            at: self.at,
        };
        let mut answers = Vec::with_capacity(self.alarms.count());
        sight.direct(polled, &mut answers);
        if is_tick {
            answers.extend(sight.estimated());
            answers.extend(sight.of_tanks());
            answers.extend(self.attendance.conditions(&self.settings.limits, self.phase(), self.at));
        }
        let suppressed = sight.suppressed(&answers);
        let delays = Delays { on_s: self.settings.thresholds.on_delay_s, off_s: self.settings.thresholds.off_delay_s };
        let wall = self.clock.wall_at(self.at);
        let any_suppressed = !suppressed.is_empty() || !self.alarms.suppressed().is_empty();
        let mut changed = is_tick && self.alarms.expire(self.at);
        for (key, mut condition) in answers {
            if any_suppressed {
                let by_design = suppressed.iter().find(|s| s.key == key).copied();
                if by_design.is_some() {
                    condition = Condition::False;
                }
                changed |= self.alarms.suppress(key, by_design);
            }
            changed |= self.alarms.take(key, condition, self.at, wall, delays);
        }
        changed
    }

    /// What the pad pushes against, Pa above the air: the tank's pressure, where it is known.
    fn behind_pa(&self) -> f64 {
        let tank = self.delivery.as_ref().map(|d| d.setup.tank);
        self.readings.credible_kind(&self.settings, SignalKind::TankPressure, tank).unwrap_or(0.0)
    }

    fn output(&mut self, is_tick: bool, changed: bool) -> Output {
        let in_transfer = self.phase() == Phase::Transfer;
        let due = self.kept_at.is_none_or(|kept| self.at.0 >= kept.0 + IDLE_KEEP_S * SECOND_NS);
        let keep = changed || is_tick && (in_transfer || due);
        if keep {
            self.kept_at = Some(self.at);
        }
        if self.drawn_up.is_none() && (is_tick || changed) {
            self.drawn_up = self.delivery.as_ref().map(|delivery| self.grounds(delivery).standing());
        }
        let frame = (is_tick || changed).then(|| Box::new(self.frame()));
        Output { frame, keep, urgent: changed }
    }

    /// All that is known now.
    #[must_use]
    pub fn frame(&self) -> Frame {
        let plate = self.delivery.as_ref().map(|d| &d.setup.plate);
        let (checks, blow) = (self.checks(), self.blow());
        Frame {
            at: self.at,
            clock: self.clock,
            phase: self.phase(),
            delivery: self
                .delivery
                .as_ref()
                .map(|d| DeliveryState { scale_zero: self.watch.scale_zero(), ..d.frame() }),
            readings: self.readings.frame(),
            devices: self.devices.frame(),
            witnesses: self.watch.frame(),
            together: self.watch.together,
            verdict: self.watch.verdict.clone(),
            rate: self.watch.rate,
            finish: self.finish.clone(),
            margin: self.margin.clone(),
            pad: self.pad.frame(&self.settings, &self.readings, plate),
            tank: outlook::tank(&self.settings, &self.readings, self.delivery.as_ref(), &self.margin),
            alarms: self.alarms.frame(),
            shelves: self.alarms.shelves().to_vec(),
            out_of_service: self.alarms.out_of_service().to_vec(),
            suppressed: self.alarms.suppressed().to_vec(),
            attendance: self.attendance.frame(&self.settings.limits, self.phase()),
            recorder: self.recorder,
            blind: self.blind,
            neighbours: self.neighbours.frame(self.at),
            steps: self.on_steps((&checks, blow.as_ref()), |grounds| grounds.steps()).unwrap_or_default(),
            checks,
            blow,
        }
    }

    /// Gas behind the last liquid.
    fn blow(&self) -> Option<BlowState> {
        let (settings, readings, delivery) = (&self.settings, &self.readings, self.delivery.as_ref()?);
        blow::Scene { settings, readings, delivery, line: &self.watch.line }.state()
    }

    /// Asks something of the open delivery's steps.
    fn on_steps<T>(
        &self,
        (checks, blow): (&Checks, Option<&BlowState>),
        ask: impl FnOnce(steps::Grounds<'_>) -> T,
    ) -> Option<T> {
        let delivery = self.delivery.as_ref()?;
        Some(ask(steps::Grounds {
            settings: &self.settings,
            readings: &self.readings,
            delivery,
            checks,
            verdict: self.watch.verdict.word,
            tank_kg: self.watch.tank_kg(),
            neighbours: &self.neighbours.frame(self.at),
            blow,
            at: self.at,
        }))
    }

    /// The open delivery's checks.
    fn checks(&self) -> Checks {
        let Some(delivery) = &self.delivery else { return Checks::default() };
        let grounds = self.grounds(delivery);
        grounds.checks(self.drawn_up.clone().unwrap_or_else(|| grounds.standing()))
    }

    /// What a delivery's checks are made from.
    fn grounds<'a>(&'a self, delivery: &'a Delivery) -> checks::Grounds<'a> {
        checks::Grounds {
            settings: &self.settings,
            setup: &delivery.setup,
            readings: &self.readings,
            margin: &self.margin,
            entered: &delivery.entered,
            now: self.clock.wall_at(self.at),
        }
    }

    /// Every open alarm.
    #[must_use]
    pub fn open_alarms(&self) -> Vec<AlarmKey> {
        self.alarms.frame().into_iter().map(|alarm| alarm.key).collect()
    }

    /// Whether an alarm is open.
    #[must_use]
    pub fn has_open(&self, key: AlarmKey) -> bool {
        self.alarms.is_open(key)
    }
}
