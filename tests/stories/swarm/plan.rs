//! What one delivery of the swarm is made of, drawn from its seed: plant, instruments, and what goes wrong where.

use super::driver::{papers_of, viscous_or_braked};
use brimwatch::engine::input::{MissReason, RecorderState};
use brimwatch::engine::settings::{DeliverySetup, NeighbourSetup, Settings, SignalKind};
use brimwatch::units::{GaugePa, Kg};
use brimwatch_simulator::bay::Closes;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::plant::PlantSetup;
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use brimwatch_simulator::scenario;
use std::fmt;

/// Stream of chance of the plan; those of plant and instruments lie below.
const STREAM: u64 = 950;
/// A load is between these, kg: short ones make more deliveries, the longest is the works' own.
const LOAD_KG: (f64, f64) = (5_000.0, 20_000.0);
/// What the ticket's net is above the planned amount, kg: what stays on the trailer.
const KEPT_KG: f64 = 300.0;
/// Faults begin between these, s of the plant.
const BEGINS_S: (f64, f64) = (20.0, 3_000.0);
/// Those that pass last so long, s.
const LASTS_S: (f64, f64) = (5.0, 600.0);

/// Something over a time, s of the plant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spell<T> {
    /// From.
    pub at_s: f64,
    /// For so long.
    pub for_s: f64,
    /// What.
    pub what: T,
}

impl<T> Spell<T> {
    /// Whether it is on.
    pub fn is_on(&self, s: f64) -> bool {
        (self.at_s..self.at_s + self.for_s).contains(&s)
    }
}

/// What a network does to a device's replies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trouble {
    /// This share of them does not come, 1.
    Loses(f64, MissReason),
    /// They come late, ns.
    Delays(u64),
}

/// An entry that should not be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// "Transfer started", whatever the phase.
    Start,
    /// "Closed" before anything began; in a transfer it would be taken.
    CloseTooSoon,
    /// A second delivery.
    Open,
    /// "Seen" of an alarm that is not open.
    SeenNothing,
    /// Shelving what may not be shelved.
    ShelveLevel,
    /// "I am here" by somebody who is not on duty.
    OtherAttends,
    /// A dip, where the site allows none.
    Dip,
}

/// What people do.
#[derive(Debug, Clone, PartialEq)]
pub struct People {
    /// The entry "transfer started" comes so long after the valve was opened, s.
    pub late_start_s: f64,
    /// For what they close the valve.
    pub closes: Closes,
    /// The entry "closed" comes so long after all is done, s.
    pub late_close_s: f64,
    /// Part of the prompts for attendance that are answered, 1.
    pub attends: f64,
    /// "Seen" is pressed of all that is open so often, s; never: infinite.
    pub sees_every_s: f64,
    /// Alarms that may be shelved are, for so long, s; 0: none.
    pub shelves_s: f64,
    /// Entries that should not be made.
    pub slips: Vec<(f64, Slip)>,
}

/// Another bay that fills the tank: begins at a time, brings so much at that rate, is silent for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// Its transfer begins, s.
    pub at_s: f64,
    /// kg/s.
    pub rate_kg_per_s: f64,
    /// Its load, kg.
    pub load_kg: f64,
    /// It is not heard.
    pub silent: Spell<()>,
}

/// One delivery.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Of which everything is drawn.
    pub seed: u64,
    /// The bay.
    pub settings: Settings,
    /// The papers.
    pub papers: DeliverySetup,
    /// The papers' density is off by this, 1.
    pub density_off: f64,
    /// What stands there.
    pub plant: PlantSetup,
    /// What measures it.
    pub instruments: InstrumentSetup,
    /// What goes wrong with instruments and devices.
    pub faults: Vec<InstrumentFault>,
    /// What goes wrong with trailer, line and tank.
    pub mishaps: Vec<PlantFault>,
    /// Of a device, by its number.
    pub network: Vec<(u16, Spell<Trouble>)>,
    /// The recorder's trouble as the watch is told of it.
    pub disk: Vec<Spell<RecorderState>>,
    /// The disk itself refuses, hangs or cuts.
    pub bad_disk: bool,
    /// The wall clock is set by so much at a time, ns.
    pub clock: Vec<(f64, i64)>,
    /// The machine sleeps.
    pub sleeps: Vec<Spell<()>>,
    /// What people do.
    pub people: People,
    /// The other bay.
    pub beside: Option<Beside>,
}

impl Plan {
    /// The delivery of a seed at a bay of these works.
    pub fn draw(works: &Settings, delivery: &DeliverySetup, seed: u64) -> Plan {
        let mut chance = Chance::new(seed, STREAM);
        let mut settings = works.clone();
        let mut papers = papers_of(delivery, seed);
        let c = &mut chance;
        papers.planned = Kg(c.between(LOAD_KG));
        papers.ticket_net = Kg(papers.planned.0 + KEPT_KG);
        // A trailer's plate may be the lowest limit of all.
        let mawp_pa = c.between((160_000.0, 215_000.0));
        papers.plate.mawp = Some(GaugePa(mawp_pa));
        papers.plate.relief_from = Some(GaugePa(1.2 * mawp_pa));
        papers.plate.relief_to = Some(GaugePa(1.32 * mawp_pa));
        settings.limits.attendance_s = (c.uniform() < 0.7).then(|| c.between((240.0, 900.0)));
        let mut plant = viscous_or_braked(scenario::plant(&settings, &papers, seed), seed);
        let high_m = scenario::instruments(&settings, papers.tank, seed).high_switch_m;
        let instruments = if c.uniform() < 0.5 {
            InstrumentSetup::busy(high_m, seed)
        } else {
            InstrumentSetup::nominal(high_m, seed)
        };
        if c.uniform() < 0.3 {
            rolls_over(&mut settings, papers.planned.0, c);
        }
        let beside = (c.uniform() < 0.15).then(|| beside(&mut settings, &mut plant, &papers, c));
        if c.uniform() < 0.12 {
            // Fuller than the load allows for: levels and the switch are reached.
            plant.tank_start_m += c.between((0.1, 1.2));
        }
        let people = people(c);
        let mut plan = Plan {
            seed,
            density_off: 0.0,
            plant,
            instruments,
            faults: Vec::new(),
            mishaps: Vec::new(),
            network: Vec::new(),
            disk: Vec::new(),
            bad_disk: false,
            clock: Vec::new(),
            sleeps: Vec::new(),
            people,
            beside,
            settings,
            papers,
        };
        plan.go_wrong(c);
        plan
    }

    /// One in five is clean; of the others most have one thing that goes wrong, some up to four.
    fn go_wrong(&mut self, c: &mut Chance) {
        let count = match c.uniform() {
            u if u < 0.2 => 0,
            u if u < 0.65 => 1,
            u if u < 0.85 => 2,
            u if u < 0.95 => 3,
            _ => 4,
        };
        for _ in 0..count {
            match c.uniform() {
                u if u < 0.38 => self.faults.push(instrument_fault(c)),
                u if u < 0.66 => self.mishaps.push(mishap(c)),
                u if u < 0.78 => {
                    let device = pick(c, self.settings.devices.len());
                    self.network.push((u16::try_from(device).unwrap_or(0), trouble(c)));
                }
                u if u < 0.86 => self.disk.push(disk(c)),
                u if u < 0.91 => self.clock.push((c.between(BEGINS_S), nanoseconds(c.between((-7_200.0, 7_200.0))))),
                u if u < 0.97 => {
                    self.sleeps.push(Spell { at_s: c.between(BEGINS_S), for_s: c.between((6.0, 400.0)), what: () })
                }
                _ => self.density_off = if c.uniform() < 0.5 { 0.03 } else { -0.03 },
            }
        }
        self.bad_disk = !self.disk.is_empty();
    }

    /// The papers as they are entered.
    pub fn entered(&self) -> DeliverySetup {
        scenario::with_wrong_density(&self.papers, self.density_off)
    }

    /// Nothing goes wrong with plant, instruments, network, disk, clock or papers; people may come and go, and press little, but close
    /// the valve: gas that breaks through takes pressures out of their range.
    pub fn is_clean(&self) -> bool {
        self.faults.is_empty()
            && self.mishaps.is_empty()
            && self.network.is_empty()
            && self.disk.is_empty()
            && self.clock.is_empty()
            && self.sleeps.is_empty()
            && self.density_off == 0.0
            && self.people.late_start_s == 0.0
            && self.people.closes == Closes::AsTrained
            && self.plant.tank_start_m <= START_MOST_M
    }
}

/// Levels that a load that fits starts below, m.
const START_MOST_M: f64 = 1.6;

impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "planned {:.0} kg, tank at {:.2} m", self.papers.planned.0, self.plant.tank_start_m)?;
        self.faults.iter().try_for_each(|fault| write!(f, "; {fault}"))?;
        self.mishaps.iter().try_for_each(|m| write!(f, "; {}, {:.3}, at {:.0} s", m.what, m.size, m.at_s))?;
        self.network.iter().try_for_each(|(device, spell)| write!(f, "; device {device}: {spell:?}"))?;
        self.disk.iter().try_for_each(|spell| write!(f, "; recorder {spell:?}"))?;
        self.clock.iter().try_for_each(|(s, ns)| write!(f, "; clock set by {ns} ns at {s:.0} s"))?;
        self.sleeps.iter().try_for_each(|s| write!(f, "; asleep at {:.0} s for {:.0} s", s.at_s, s.for_s))?;
        if self.density_off != 0.0 {
            write!(f, "; density on the papers off by {}", self.density_off)?;
        }
        if let Some(beside) = &self.beside {
            write!(f, "; {beside:?}")?;
        }
        write!(f, "; {:?}", self.people)
    }
}

fn pick(c: &mut Chance, of: usize) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "a few")]
    let nth = (c.uniform() * of as f64) as usize;
    nth.min(of.saturating_sub(1))
}

fn either_way(c: &mut Chance, size: (f64, f64)) -> f64 {
    let size = c.between(size);
    if c.uniform() < 0.5 { size } else { -size }
}

#[expect(clippy::cast_possible_truncation, reason = "hours")]
fn nanoseconds(s: f64) -> i64 {
    (s * 1e9) as i64
}

/// A totalizer of a stated width that begins anew in the midst of the load.
fn rolls_over(settings: &mut Settings, load_kg: f64, c: &mut Chance) {
    // The simulated meter has counted 418,250 kg when a run begins.
    let width_kg = 418_250.0 + c.between((0.1, 0.9)) * load_kg;
    let total = settings.signals.iter_mut().find(|s| s.kind == SignalKind::FlowMassTotal);
    total.into_iter().for_each(|total| total.rolls_over_at = Some(width_kg));
}

/// The tank keeps room for both loads.
fn beside(settings: &mut Settings, plant: &mut PlantSetup, papers: &DeliverySetup, c: &mut Chance) -> Beside {
    settings.neighbours = vec![NeighbourSetup { bay: "Bay 2".into(), tank: papers.tank }];
    let load_kg = c.between((1_000.0, 6_000.0));
    let area_m2 = plant.tank_volume_m3() / 4.6;
    plant.tank_start_m = (plant.tank_start_m - load_kg / plant.density_kg_per_m3 / area_m2).max(0.3);
    let silent = Spell { at_s: c.between((200.0, 2_000.0)), for_s: c.between((0.0, 600.0)), what: () };
    Beside { at_s: c.between((0.0, 1_500.0)), rate_kg_per_s: c.between((2.0, 5.0)), load_kg, silent }
}

fn people(c: &mut Chance) -> People {
    let slips = [
        Slip::Start,
        Slip::CloseTooSoon,
        Slip::Open,
        Slip::SeenNothing,
        Slip::ShelveLevel,
        Slip::OtherAttends,
        Slip::Dip,
    ];
    let slipped = (0..pick(c, 4)).map(|_| (c.between(BEGINS_S), slips[pick(c, slips.len())])).collect();
    People {
        late_start_s: if c.uniform() < 0.15 { c.between((5.0, 300.0)) } else { 0.0 },
        closes: if c.uniform() < 0.12 { Closes::Never } else { Closes::AsTrained },
        late_close_s: if c.uniform() < 0.3 { c.between((5.0, 600.0)) } else { 0.0 },
        attends: [1.0, 0.8, 0.3, 0.0][pick(c, 4)],
        sees_every_s: [5.0, 60.0, 300.0, f64::INFINITY][pick(c, 4)],
        shelves_s: if c.uniform() < 0.3 { c.between((30.0, 600.0)) } else { 0.0 },
        slips: slipped,
    }
}

fn instrument_fault(c: &mut Chance) -> InstrumentFault {
    use Instrument as I;
    let at_s = c.between(BEGINS_S);
    let of_gauges = [I::Meter, I::Scale, I::Level, I::Pad];
    let on = of_gauges[pick(c, 4)];
    let any = [I::Meter, I::Scale, I::Level, I::Pad, I::LineDensity, I::DewPoint, I::TankPressure][pick(c, 7)];
    let fault = match pick(c, 8) {
        0 => match on {
            I::Scale => InstrumentFault::new(Wrong::Shift, on, at_s, either_way(c, (60.0, 500.0))),
            I::Pad => InstrumentFault::new(Wrong::Shift, on, at_s, either_way(c, (5_000.0, 60_000.0))),
            _ => InstrumentFault::new(Wrong::Shift, I::Level, at_s, either_way(c, (0.02, 0.4))),
        },
        1 if on == I::Scale => InstrumentFault::new(Wrong::Creep, on, at_s, either_way(c, (150.0, 3_000.0))),
        1 => InstrumentFault::new(Wrong::Creep, I::Level, at_s, either_way(c, (0.03, 0.5))),
        2 => InstrumentFault::new(Wrong::Gain, I::Meter, at_s, either_way(c, (0.01, 0.1))),
        3 => InstrumentFault::new(Wrong::Stuck, any, at_s, 0.0),
        4 => {
            let beyond = [
                (I::Level, 4.9),
                (I::Scale, 95_000.0),
                (I::Pad, 450_000.0),
                (I::Meter, 60.0),
                // The independent switch trips though the tank is not that full.
                (I::HighLevelSwitch, 1.0),
            ];
            let (on, shown) = beyond[pick(c, 5)];
            InstrumentFault::new(Wrong::Saturated, on, at_s, shown)
        }
        5 => InstrumentFault::new(Wrong::Exception, any, at_s, 0.0),
        6 => InstrumentFault::new(Wrong::Silent, any, at_s, 0.0),
        _ => InstrumentFault::new(Wrong::Replayed, any, at_s, 0.0),
    };
    if c.uniform() < 0.5 { fault.lasting(c.between(LASTS_S)) } else { fault }
}

fn mishap(c: &mut Chance) -> PlantFault {
    let leak = |c: &mut Chance| 0.05 * 20f64.powf(c.uniform());
    let (what, size) = match pick(c, 12) {
        0 | 1 => (Mishap::LeakBeforeMeter, leak(c)),
        2 | 3 => (Mishap::LeakAfterMeter, leak(c)),
        4 => (Mishap::OtherTank, c.between((0.2, 1.0))),
        5 => (Mishap::DrawOff, 2.0 * leak(c)),
        6 => (Mishap::Inflow, 2.0 * leak(c)),
        7 => (Mishap::PadChange, either_way(c, (5_000.0, 60_000.0))),
        8 => (Mishap::PadCreep, c.between((5.0, 60.0))),
        9 => (Mishap::RegulatorOpen, 1.0),
        10 => match pick(c, 3) {
            0 => (Mishap::SupplyLost, 1.0),
            1 => (Mishap::Plug, c.between((20.0, 2_000.0))),
            _ => (Mishap::Clogging, c.between((0.05, 2.0))),
        },
        _ => match pick(c, 3) {
            0 => (Mishap::DrivesOff, 1.0),
            _ => (Mishap::LeakOnDeck, leak(c)),
        },
    };
    PlantFault::new(what, c.between(BEGINS_S), size)
}

fn trouble(c: &mut Chance) -> Spell<Trouble> {
    use MissReason as M;
    let reasons = [M::TimeOut, M::NoConnection, M::ConnectionLost, M::WrongLength, M::Malformed, M::WrongTransaction];
    let what = if c.uniform() < 0.7 {
        Trouble::Loses([0.02, 0.2, 0.5, 1.0][pick(c, 4)], reasons[pick(c, 6)])
    } else {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below the time-out")]
        Trouble::Delays((c.between((0.1, 0.85)) * 1e9) as u64)
    };
    Spell { at_s: c.between(BEGINS_S), for_s: c.between((5.0, 1_500.0)), what }
}

fn disk(c: &mut Chance) -> Spell<RecorderState> {
    let what = if c.uniform() < 0.8 { RecorderState::Waiting { bytes: 40_000 } } else { RecorderState::Overflowed };
    Spell { at_s: c.between(BEGINS_S), for_s: c.between(LASTS_S), what }
}
