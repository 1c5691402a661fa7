//! The open delivery: its papers, its leg, its start readings. Phases change only by a person's entry.

use super::blow::Blow;
use super::checks::CheckId;
use super::frame::{DeliveryState, Opening, Phase};
use super::hose::{Hose, Reaction};
use super::input::{CarriedDelivery, CarriedHose, CarriedZero, EnteredCheck, What};
use super::neighbour::Neighbours;
use super::reading::{Readings, StartReading};
use super::settings::{DeliverySetup, GasSetup, PadTap, Settings, SignalKind};
use super::steps::{NoStep, Signature, StepMark};
use super::total::{self, Counted};
use super::witness::scale::gas_density;
use super::witness::{density, flow_rate, geometry};
use super::zero::NoZero;
use crate::time::EngineTime;
use crate::units::{GaugePa, Metre};

/// A total may count so much more than the papers' load, kg: heel, ticket, coarse steps.
const COARSE_KG: f64 = 2_000.0;

/// Times that the hose was blown clear, kept whole; those before are counted.
const BLOWS_KEPT: usize = 32;

/// A rate summed over time by trapezoids.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RateIntegral {
    /// Integral, in the rate's unit times s.
    pub total: f64,
    /// The part of it that bridges gaps.
    pub gap_total: f64,
    last: Option<(EngineTime, f64)>,
}

impl RateIntegral {
    /// Takes the next value; one later than `gap_s` after the last bridges a gap.
    pub(super) fn take(&mut self, at: EngineTime, rate: f64, gap_s: f64) {
        if let Some((before, previous)) = self.last {
            if at <= before {
                return;
            }
            let step_s = at.since_s(before);
            let piece = (rate + previous) / 2.0 * step_s;
            self.total += piece;
            if step_s > gap_s {
                self.gap_total += piece.abs();
            }
        }
        self.last = Some((at, rate));
    }
}

/// The open delivery.
#[derive(Debug, Clone)]
pub struct Delivery {
    /// Its papers.
    pub setup: DeliverySetup,
    /// Leg, from 1.
    pub leg: u8,
    /// What is going on.
    pub phase: Phase,
    /// Largest credible load, kg: what is on board for this leg (the ticket's corrected net where the papers say nothing
    /// else), or the planned amount.
    pub loaded_kg: f64,
    /// Last pad pressure that could be used.
    pub last_pad_pa_gauge: Option<f64>,
    /// Flow rate summed, for a meter without totalizer.
    pub rate_integral: RateIntegral,
    /// Draw-off summed.
    pub draw_off_integral: RateIntegral,
    /// What the totalizer counted.
    pub counted: Counted,
    /// For how long the flow may have been too slow for the meter to count, s.
    pub slow_s: f64,
    /// What the hose does to the scale, fitted while the pad is brought up.
    pub hose: Hose,
    /// What a person's dip said before the load came in, m.
    pub dip_m: Option<f64>,
    /// What is known of the tank's level before the load comes in; as it was once it does.
    pub opening: Opening,
    /// Both sums reach back to the start; not so when another segment left the transfer in its midst.
    pub sums_are_whole: bool,
    /// When the transfer started.
    pub started: Option<EngineTime>,
    /// When the leg was closed.
    pub closed: Option<EngineTime>,
    /// Checks that people have entered, the latest of each.
    pub entered: Vec<EnteredCheck>,
    /// Steps that people have signed or let go.
    pub marks: Vec<StepMark>,
    /// Each time that the hose was blown clear.
    pub blows: Vec<Blow>,
    /// Times before this segment.
    pub earlier_blows: u16,
    /// Why it was rejected.
    pub rejected: Option<String>,
    /// When the trailer was released.
    pub released: Option<EngineTime>,
    starts: Vec<Option<StartReading>>,
    /// The last reading that the hose was fitted to.
    hose_at: Option<EngineTime>,
    /// What had gone by when this segment began, s.
    earlier_s: f64,
}

impl Delivery {
    /// A delivery just opened.
    #[must_use]
    pub fn open(setup: DeliverySetup, settings: &Settings) -> Delivery {
        let loaded_kg = loaded_kg(&setup, &settings.gas);
        let doubt_m = settings.tanks.get(usize::from(setup.tank)).map_or(0.0, |tank| tank.opening_u.0);
        Delivery {
            leg: setup.leg,
            setup,
            phase: Phase::Opened,
            loaded_kg,
            last_pad_pa_gauge: None,
            rate_integral: RateIntegral::default(),
            draw_off_integral: RateIntegral::default(),
            counted: Counted::default(),
            slow_s: 0.0,
            hose: Hose::default(),
            dip_m: None,
            opening: Opening { doubt_m, ..Opening::default() },
            sums_are_whole: true,
            started: None,
            closed: None,
            entered: Vec::new(),
            marks: Vec::new(),
            blows: Vec::new(),
            earlier_blows: 0,
            rejected: None,
            released: None,
            starts: vec![None; settings.signals.len()],
            hose_at: None,
            earlier_s: 0.0,
        }
    }

    /// A delivery that another segment left in its midst.
    #[must_use]
    pub fn carried(carried: &CarriedDelivery, settings: &Settings) -> Delivery {
        let mut delivery = Delivery::open(carried.setup.clone(), settings);
        delivery.leg = carried.leg;
        delivery.dip_m = carried.dip_m;
        delivery.opening = carried.opening;
        delivery.entered.clone_from(&carried.entered);
        delivery.marks.clone_from(&carried.marks);
        delivery.earlier_blows = carried.blows;
        if carried.transferring {
            delivery.phase = Phase::Transfer;
            delivery.started = Some(EngineTime(0));
            delivery.earlier_s = carried.elapsed_s;
            delivery.sums_are_whole = false;
            delivery.counted = Counted::carried(&carried.counted);
            delivery.slow_s = carried.slow_s;
            delivery.hose = Hose::carried(carried.hose);
            for (start, value) in delivery.starts.iter_mut().zip(&carried.starts) {
                *start = *value;
            }
        }
        delivery
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(
        &self,
        at: EngineTime,
        settings: &Settings,
        received_kg: [Option<(f64, f64)>; 3],
        neighbours: &Neighbours,
        zero: Option<CarriedZero>,
    ) -> CarriedDelivery {
        CarriedDelivery {
            setup: self.setup.clone(),
            leg: self.leg,
            transferring: self.phase == Phase::Transfer,
            elapsed_s: self.elapsed_s(at),
            starts: self.starts.clone(),
            received_kg,
            counted: self.counted.carry(),
            slow_s: self.slow_s,
            hose: self.reaction(settings).map(|r| CarriedHose { kg_per_pa: r.kg_per_pa, u_kg_per_pa: r.u_kg_per_pa }),
            zero,
            dip_m: self.dip_m,
            opening: self.opening,
            neighbours: neighbours.carry(),
            entered: self.entered.clone(),
            marks: self.marks.clone(),
            blows: self.blow_count(),
        }
    }

    /// The transfer starts: every signal's present value is its start reading.
    pub fn start_transfer(&mut self, at: EngineTime, settings: &Settings, readings: &Readings) {
        self.phase = Phase::Transfer;
        self.started = Some(at);
        self.closed = None;
        self.rate_integral = RateIntegral::default();
        self.draw_off_integral = RateIntegral::default();
        self.sums_are_whole = true;
        self.slow_s = 0.0;
        for (index, start) in (0u16..).zip(&mut self.starts) {
            *start = readings.start(settings, index, at);
        }
        self.counted = Counted::default();
        self.take_total(settings, readings);
    }

    /// The leg is closed.
    pub fn close(&mut self, at: EngineTime) {
        self.blow(at, false);
        self.phase = Phase::Closed;
        self.closed = Some(at);
    }

    /// It is rejected.
    pub fn reject(&mut self, at: EngineTime, reason: &str) {
        self.close(at);
        self.rejected = Some(reason.to_owned());
    }

    /// A person entered a check; what was entered before is replaced.
    pub fn enter_check(&mut self, entered: EnteredCheck) {
        self.entered.retain(|e| e.check != entered.check);
        self.entered.push(entered);
    }

    /// How often the hose was blown clear.
    #[must_use]
    pub fn blow_count(&self) -> u16 {
        self.earlier_blows.saturating_add(u16::try_from(self.blows.len()).unwrap_or(u16::MAX))
    }

    /// The one that runs.
    #[must_use]
    pub fn blowing(&self) -> Option<&Blow> {
        self.blows.last().filter(|blow| blow.ended.is_none())
    }

    /// The hose begins to be blown clear, or that is over.
    pub fn blow(&mut self, at: EngineTime, begins: bool) {
        if begins {
            self.blows.push(Blow { began: at, ended: None });
            // Everything is bounded; nobody blows so often.
            let over = self.blows.len().saturating_sub(BLOWS_KEPT);
            self.earlier_blows = self.earlier_blows.saturating_add(u16::try_from(over).unwrap_or(u16::MAX));
            self.blows.drain(..over);
        } else if let Some(blow) = self.blows.last_mut() {
            blow.ended.get_or_insert(at);
        }
    }

    /// A step was signed, or let go.
    pub fn mark_step(&mut self, step: &str, skipped: bool, signature: Signature) {
        match self.marks.iter_mut().find(|mark| mark.step == step) {
            Some(mark) => {
                mark.skipped |= skipped;
                mark.signatures.push(signature);
            }
            None => self.marks.push(StepMark { step: step.to_owned(), skipped, signatures: vec![signature] }),
        }
    }

    /// What a rate signal gives between two polls is summed.
    pub fn take_rates(&mut self, settings: &Settings, readings: &Readings) {
        let pad = readings.credible_kind(settings, SignalKind::PadPressure, None);
        self.last_pad_pa_gauge = pad.or(self.last_pad_pa_gauge);
        if self.phase == Phase::Opened {
            self.take_hose(settings, readings);
        }
        if self.phase != Phase::Transfer {
            return;
        }
        self.take_slow(settings, readings);
        for (kind, integral) in
            [(flow_rate(settings), &mut self.rate_integral), (Some(SignalKind::DrawOff), &mut self.draw_off_integral)]
        {
            let Some(signal) = kind.and_then(|kind| Readings::find(settings, kind, None)) else { continue };
            let Some(device) = settings.signals.get(usize::from(signal)).map(|s| usize::from(s.device)) else {
                continue;
            };
            let gap_s = settings.devices.get(device).map_or(2.0, |d| d.period_s + d.time_out_s);
            if let (Some(rate), Some(at)) = (readings.credible(signal), readings.read_at(signal)) {
                integral.take(at, rate, gap_s);
            }
        }
        self.take_total(settings, readings);
    }

    /// What the scale shows while the pad is brought up, less the gas that comes in.
    fn take_hose(&mut self, settings: &Settings, readings: &Readings) {
        let Some(scale) = Readings::find(settings, SignalKind::Scale, None) else { return };
        let pad = readings.credible_kind(settings, SignalKind::PadPressure, None);
        let (Some(pad_pa), Some(shown_kg), Some(at)) = (pad, readings.credible(scale), readings.read_at(scale)) else {
            return;
        };
        if settings.pad_tap != PadTap::Trailer || self.hose_at.is_some_and(|before| before >= at) {
            return;
        }
        self.hose_at = Some(at);
        let load = density::density(&self.setup.product, self.setup.product.load_temperature);
        let head_m3 = load.map_or(0.0, |load| (self.setup.trailer_volume.0 - self.loaded_kg / load.0).max(0.0));
        let gas = gas_density(GaugePa(pad_pa).absolute(), settings.gas.temperature, settings.gas.constant_j_per_kg_k);
        self.hose.take(pad_pa, shown_kg - head_m3 * gas.0);
    }

    /// What the hose does to the scale; None: there is no scale.
    #[must_use]
    pub fn reaction(&self, settings: &Settings) -> Option<Reaction> {
        let setup = settings.signals.iter().find(|s| s.kind == SignalKind::Scale)?;
        let period_s = settings.devices.get(usize::from(setup.device)).map_or(1.0, |d| d.period_s);
        Some(self.hose.reaction(setup, period_s))
    }

    /// A meter that shows less than its foot may have liquid go by uncounted, unless a valve that is closed says there is none.
    fn take_slow(&mut self, settings: &Settings, readings: &Readings) {
        let Some(signal) = flow_rate(settings).and_then(|kind| Readings::find(settings, kind, None)) else { return };
        let low = settings.signals.get(usize::from(signal)).map_or(0.0, |setup| setup.low_flow);
        let (Some(rate), Some(at)) = (readings.credible(signal), readings.read_at(signal)) else { return };
        let closed = readings.credible_kind(settings, SignalKind::ShutoffClosed, None) == Some(1.0);
        let since = self.rate_integral.last.map(|(since, _)| since).or(self.started).filter(|since| *since < at);
        if let Some(since) = since.filter(|_| rate < low && !closed) {
            self.slow_s += at.since_s(since);
        }
    }

    /// What the totalizer shows now, held against what it showed before.
    fn take_total(&mut self, settings: &Settings, readings: &Readings) {
        let mut totals = (0u16..).zip(&settings.signals).filter(|(_, s)| total::is_total(s.kind));
        let Some((signal, setup)) = totals.next() else { return };
        let (Some(start), Some(at)) = (self.start(signal), readings.read_at(signal)) else { return };
        let Some(value) = readings.shown_total(signal) else { return };
        let by_volume = setup.kind == SignalKind::FlowVolumeTotal;
        let rate_kind = if by_volume { SignalKind::FlowVolumeRate } else { SignalKind::FlowMassRate };
        let rate = settings.signals.iter().find(|s| s.kind == rate_kind);
        let density = density::density(&self.setup.product, self.setup.product.load_temperature);
        let per_unit = if by_volume { density.map_or(1000.0, |d| d.0) } else { 1.0 };
        let limits = total::Limits::new(setup.kind, rate, (self.loaded_kg + COARSE_KG) / per_unit);
        let period_s = settings.devices.get(usize::from(setup.device)).map_or(1.0, |d| d.period_s);
        let fresh = self.rate_integral.last.is_some_and(|(read, _)| at.since_s(read) <= period_s);
        let summed = (rate.is_some() && fresh).then_some(self.rate_integral.total);
        self.counted.take(&total::Read { setup, at, value, summed, start: start.value, limits });
    }

    /// A signal's start reading.
    #[must_use]
    pub fn start(&self, signal: u16) -> Option<StartReading> {
        self.starts.get(usize::from(signal)).copied().flatten()
    }

    /// Standard uncertainty of the load, kg.
    #[must_use]
    pub fn loaded_u_kg(&self) -> f64 {
        self.setup.on_board.map_or(self.setup.ticket_u, |on_board| on_board.u).0
    }

    /// Seconds since the transfer started.
    #[must_use]
    pub fn elapsed_s(&self, at: EngineTime) -> f64 {
        self.started.map_or(0.0, |started| self.earlier_s + at.since_s(started))
    }

    /// As the frame shows it.
    #[must_use]
    pub fn frame(&self) -> DeliveryState {
        DeliveryState {
            id: self.setup.id.clone(),
            leg: self.leg,
            product: self.setup.product.name.clone(),
            product_confirmed: self.setup.product.confirmed,
            planned_kg: self.setup.planned.0,
            loaded_kg: self.loaded_kg,
            started: self.started,
            closed: self.closed,
            scale_zero: None,
            rejected: self.rejected.clone(),
        }
    }
}

/// The largest load that the papers make credible for this leg. Nobody stops a leg but a person: that only a part of
/// what is on board is planned takes nothing away.
fn loaded_kg(setup: &DeliverySetup, gas: &GasSetup) -> f64 {
    setup.on_board.map_or_else(|| ticket_kg(setup, gas), |on_board| on_board.mass.0).max(setup.planned.0)
}

/// Mass of the load by the weigh ticket, kg. Its net is liquid less the gas it displaced, both weighings closed:
/// net (1 - 1.2/8000) + V_liquid x gas density (OIML D 28:2004 for the first factor). The gas is taken at the
/// atmosphere's pressure; a pad at weighing adds some ten kilograms, which is in the ticket's uncertainty.
#[must_use]
pub fn ticket_kg(setup: &DeliverySetup, gas: &GasSetup) -> f64 {
    const CONVENTIONAL: f64 = 1.0 - 1.2 / 8000.0;
    let liquid_kg = setup.ticket_net.0 * CONVENTIONAL;
    let density = density::density(&setup.product, setup.product.load_temperature);
    let displaced_kg = density.map_or(0.0, |density| {
        let gas = gas_density(GaugePa(0.0).absolute(), gas.temperature, gas.constant_j_per_kg_k);
        liquid_kg / density.0 * gas.0
    });
    liquid_kg + displaced_kg
}

/// Why an entry is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// A delivery is open already.
    DeliveryOpen,
    /// No delivery is open.
    NoDelivery,
    /// The transfer has started already.
    AlreadyTransferring,
    /// No transfer is on.
    NotTransferring,
    /// That alarm is not open.
    NoSuchAlarm,
    /// That alarm warns of what must never be silenced.
    NeverShelved,
    /// Nobody said when the shelved alarm comes back.
    ShelfWithoutEnd,
    /// It would be shelved for more than a shift.
    ShelfTooLong,
    /// That alarm is not shelved.
    NotShelved,
    /// The delivery names a tank this bay does not have.
    NoSuchTank,
    /// The scale is given no new zero now.
    NoZero(NoZero),
    /// The site does not allow the tank to be opened.
    NoDip,
    /// A dip says where the tank stood before the load came in.
    DipTooLate,
    /// No tank of that shape can stand so.
    DipOffTheTank,
    /// That check is not for a person to enter, or is not asked at this bay.
    NotByPerson,
    /// A failing check or a rejection needs a word on what was found.
    NoReason,
    /// Liquid may have moved: it can be closed, not rejected.
    TooLateToReject,
    /// That alarm is not out of service.
    NotOut,
    /// The site asks for no attendance.
    AttendanceNotAsked,
    /// Another one is on duty, or nobody.
    NotOnDuty,
    /// Somebody else has taken the duty over meanwhile.
    DutyChanged,
    /// They are on duty already.
    OnDutyAlready,
    /// A hand-over names who comes, and has the state of the bay read back.
    NotReadBack,
    /// The hose is being blown clear already.
    Blowing,
    /// It is not being blown clear.
    NotBlowing,
    /// That step is not signed, or let go, now.
    NoStep(NoStep),
}

/// Whether an entry fits the phase; alarms are asked elsewhere.
pub fn admits(delivery: Option<&Delivery>, settings: &Settings, what: &What) -> Result<(), Refusal> {
    let phase = delivery.map_or(Phase::Idle, |d| d.phase);
    match (what, phase) {
        (What::DeliveryOpened(_), Phase::Opened | Phase::Transfer) => Err(Refusal::DeliveryOpen),
        (What::DeliveryOpened(setup), _) if usize::from(setup.tank) >= settings.tanks.len() => Err(Refusal::NoSuchTank),
        (What::Dipped { level_m }, Phase::Opened) => dip_fits(delivery, settings, *level_m),
        (What::Dipped { .. }, Phase::Transfer | Phase::Closed) => Err(Refusal::DipTooLate),
        (
            What::TransferStarted
            | What::Closed
            | What::Dipped { .. }
            | What::ScaleZeroed(_)
            | What::BlowBegan
            | What::BlowEnded,
            Phase::Idle,
        ) => Err(Refusal::NoDelivery),
        (What::BlowBegan | What::BlowEnded, Phase::Opened | Phase::Closed) => Err(Refusal::NotTransferring),
        (What::BlowBegan, _) if delivery.is_some_and(|d| d.blowing().is_some()) => Err(Refusal::Blowing),
        (What::BlowEnded, _) if delivery.is_none_or(|d| d.blowing().is_none()) => Err(Refusal::NotBlowing),
        (What::TransferStarted, Phase::Transfer | Phase::Closed) => Err(Refusal::AlreadyTransferring),
        (What::Closed | What::ScaleZeroed(_), Phase::Opened | Phase::Closed) => Err(Refusal::NotTransferring),
        (
            What::CheckEntered { .. } | What::Rejected { .. } | What::StepSigned { .. } | What::StepSkipped { .. },
            Phase::Idle,
        ) => Err(Refusal::NoDelivery),
        (What::CheckEntered { check, met, note }, _) => admits_check(settings, *check, *met, note),
        (What::Rejected { .. }, Phase::Transfer | Phase::Closed) => Err(Refusal::TooLateToReject),
        (What::Rejected { reason }, _) if reason.trim().is_empty() => Err(Refusal::NoReason),
        _ => Ok(()),
    }
}

fn dip_fits(delivery: Option<&Delivery>, settings: &Settings, level_m: f64) -> Result<(), Refusal> {
    let tank = delivery.and_then(|d| settings.tanks.get(usize::from(d.setup.tank))).ok_or(Refusal::NoSuchTank)?;
    tank.hand_dip_u.ok_or(Refusal::NoDip)?;
    geometry::volume(&tank.geometry, Metre(level_m)).map(|_| ()).ok_or(Refusal::DipOffTheTank)
}

fn admits_check(settings: &Settings, check: CheckId, met: bool, note: &str) -> Result<(), Refusal> {
    if !(check.is_asked(settings) && check.is_by_person(settings)) {
        return Err(Refusal::NotByPerson);
    }
    if !met && note.trim().is_empty() {
        return Err(Refusal::NoReason);
    }
    Ok(())
}
