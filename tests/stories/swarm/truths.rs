//! What must hold at every second, against what is really so: the simulated plant and what was planted in it.
//!
//! Only what is promised is asked for. Where [the method](../../../docs/method.md) or [safety](../../../docs/safety.md) say that nothing finds a thing (a gauge
//! that lies from before the start, lies that fit each other, an inflow that no gauge sees), nothing is asked.

use super::alarms::is_open;
use super::checks::{Findings, Since, credible, lowest_limit_pa, signal};
use super::driver::{Bench, volume_m3};
use super::plan::Plan;
use super::run::Known;
use brimwatch::engine::frame::{Frame, Margin, Phase, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::SignalKind;
use brimwatch_simulator::bay::Stage;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, Wrong};
use brimwatch_simulator::plant::fault::Mishap;

/// An honest mass is within so many of its own standard uncertainties, and this, kg: what moves in the second between reading
/// and truth.
const SIGMAS: f64 = 5.0;
/// See above.
const SECOND_KG: f64 = 10.0;
/// A fault is to be found by this many times the time in which nine of ten were (docs/figures.md), and this, s: an excuse.
const TIMES: f64 = 3.0;
/// See above.
const EXCUSE_S: f64 = 200.0;
/// Liquid moves, kg/s.
const MOVES_KG_PER_S: f64 = 1.0;
/// What a stuck witness misses before it must be lost, kg: well beyond one division and four standard uncertainties of two
/// noises (docs/method.md, "Frozen") of the drill's scale (64 kg), gauge (110 kg, and 160 kg of line and lag) and meter.
const STUCK_KG: f64 = 450.0;
/// A leak of this many times "leak below" must not pass for agreement: it is stated at a probability of 0.95.
const BEYOND: f64 = 2.0;
/// And once it is older than the leak that the statement is about, s.
const STATED_S: f64 = 720.0;

/// What is kept from second to second.
#[derive(Debug, Default)]
pub struct Truths {
    since: Since,
    /// Seconds in which it was said to agree, or not yet known, while the one fault was there to be seen.
    unseen_s: f64,
    /// Seconds in which it was said to agree while a leak beyond the stated one ran.
    beyond_s: f64,
    /// What has moved by the plant since each of meter, scale, level hung, kg, and where that began.
    stuck: [Option<f64>; 3],
    /// At the last second of unloading: error over u of flow meter, scale, tank; None where it was not honest.
    pub errors: [Option<f64>; 3],
    /// It was said to disagree, or something was called out but prompts.
    pub cried: bool,
}

const WITNESSES: [(Instrument, SignalKind); 3] = [
    (Instrument::Meter, SignalKind::FlowMassTotal),
    (Instrument::Scale, SignalKind::Scale),
    (Instrument::Level, SignalKind::Level),
];

/// A fault reaches an instrument: its own, or of its device where a gateway replays.
fn reaches(plan: &Plan, fault: &InstrumentFault, on: Instrument) -> bool {
    let device = |instrument: Instrument| {
        let of = |s: &&brimwatch::engine::settings::SignalSetup| Instrument::of(s.kind, 0) == instrument;
        plan.settings.signals.iter().find(of).map(|s| s.device)
    };
    fault.on == on || fault.wrong == Wrong::Replayed && device(fault.on) == device(on)
}

/// Whether a fault makes the instrument show what is not so.
fn lies(fault: &InstrumentFault) -> bool {
    !matches!(fault.wrong, Wrong::Exception | Wrong::Silent)
}

/// Whether an instrument has shown what is not so, up to now.
fn has_lied(plan: &Plan, on: Instrument, s: f64) -> bool {
    plan.faults.iter().any(|fault| lies(fault) && fault.at_s <= s && reaches(plan, fault, on))
}

/// Whether something like this has happened, up to now.
fn has_happened(plan: &Plan, what: &[Mishap], s: f64) -> bool {
    plan.mishaps.iter().any(|mishap| what.contains(&mishap.what) && mishap.at_s <= s)
}

const ASTRAY: [Mishap; 7] = [
    Mishap::LeakBeforeMeter,
    Mishap::LeakOnDeck,
    Mishap::LeakAfterMeter,
    Mishap::OtherTank,
    Mishap::DrawOff,
    Mishap::Inflow,
    Mishap::DrivesOff,
];

impl Truths {
    /// Nobody watched: what has held so far is counted anew.
    pub fn slept(&mut self) {
        (self.since, self.unseen_s, self.beyond_s, self.stuck) = (Since::default(), 0.0, 0.0, [None; 3]);
    }

    /// A second's frame.
    pub fn hold(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        self.room(plan, known, bench, frame, findings);
        self.called_out(plan, known, bench, frame, findings);
        if frame.phase != Phase::Transfer || bench.bay.stage() != Stage::Unloading {
            return;
        }
        self.masses(plan, known, bench, frame, findings);
        self.stuck(plan, known, bench, frame, findings);
        self.agreement(plan, known, bench, frame, findings);
    }

    /// The margin is never above the room that is really left when all that is still out comes in.
    fn room(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        let Margin::Known { kg, .. } = &frame.margin else { return };
        let s = bench.bay.plant().time_s();
        let started_s = known.started_s.unwrap_or(s);
        let liars = WITNESSES.iter().filter(|(on, _)| has_lied(plan, *on, s)).count();
        let level = Instrument::Level;
        let gauge = credible(frame, signal(&plan.settings, SignalKind::Level));
        let seen = !has_lied(plan, level, s) && gauge.is_some();
        // Nothing finds a gauge that lay before the start, two that lie alike, an inflow that no gauge sees.
        let asked = plan.density_off == 0.0
            && liars <= 1
            && !has_lied(plan, level, started_s)
            && (!has_happened(plan, &[Mishap::Inflow], s) || seen)
            && matches!(frame.phase, Phase::Opened | Phase::Transfer);
        if !asked {
            return;
        }
        let plant = bench.bay.plant();
        let shape = &plant.setup().tank_m_m3;
        let high_high = plan.settings.tanks[usize::from(plan.papers.tank)].high_high.0;
        let room_m3 = volume_m3(shape, high_high) - volume_m3(shape, plant.level_m());
        let to_come_kg = plant.on_trailer_kg() + plant.in_pipes_kg() + known.beside_rest_kg;
        let true_kg = room_m3 * plant.setup().density_kg_per_m3 - to_come_kg;
        findings.must("the margin is not above the true room", known.s, *kg <= true_kg, || {
            format!("{kg:.0} kg shown, {true_kg:.0} kg true; {:?}", frame.margin)
        });
    }

    /// An honest witness is where the mass is.
    fn masses(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        let plant = bench.bay.plant();
        let s = plant.time_s();
        let fair = plan.density_off == 0.0
            && plan.people.late_start_s == 0.0
            && plant.gas_share() <= 0.0
            && !known.dirty_start
            && !has_happened(plan, &ASTRAY, s);
        for (i, (on, _)) in WITNESSES.iter().enumerate() {
            let witness = &frame.witnesses[i];
            let own = has_lied(plan, *on, s) || *on == Instrument::Scale && has_lied(plan, Instrument::Pad, s);
            let beside = *on == Instrument::Level && plan.beside.is_some();
            let honest = fair && !own && !beside && witness.validity == Validity::Good;
            let Some(kg) = witness.received_kg.filter(|_| honest) else {
                self.errors[i] = None;
                continue;
            };
            let off_kg = kg.value - plant.received_kg();
            self.errors[i] = Some(off_kg / kg.u);
            findings.must(
                "an honest mass is within its uncertainty",
                known.s,
                off_kg.abs() <= SIGMAS * kg.u + SECOND_KG,
                || format!("{:?} is off by {off_kg:.0} kg, u {:.0} kg", witness.id, kg.u),
            );
        }
    }

    /// What hangs is lost before it has missed much.
    fn stuck(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        let plant = bench.bay.plant();
        let s = plant.time_s();
        let moved_kg = [plant.metered_kg(), plant.left_trailer_kg(), plant.received_kg()];
        for (i, (on, kind)) in WITNESSES.iter().enumerate() {
            let hangs = |f: &InstrumentFault| matches!(f.wrong, Wrong::Stuck | Wrong::Replayed) && f.is_on(s);
            let hung = plan.faults.iter().any(|fault| hangs(fault) && reaches(plan, fault, *on));
            // Somebody must be there who saw that mass moved.
            let others = (0..3).filter(|&j| j != i && frame.witnesses[j].validity == Validity::Good).count();
            // What nobody reads does not repeat.
            let read = known.answered[usize::from(plan.settings.signals[signal(&plan.settings, *kind)].device)];
            if !hung || others < 2 || !read {
                self.stuck[i] = None;
                continue;
            }
            let since_kg = moved_kg[i] - *self.stuck[i].get_or_insert(moved_kg[i]);
            let value = credible(frame, signal(&plan.settings, *kind));
            findings.must("what hangs is lost", known.s, since_kg < STUCK_KG || value.is_none(), || {
                format!("{on} has hung through {since_kg:.0} kg: {value:?}")
            });
        }
    }

    /// "Agree" does not go on with a fault that would have been found for long.
    fn agreement(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        let plant = bench.bay.plant();
        let s = plant.time_s();
        let odd = matches!(frame.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
        self.cried |= odd;
        let Some(OnlyFault { from_s, found_s, leak }) = only_fault(plan) else { return };
        let started_s = known.started_s.unwrap_or(s);
        let there = frame.witnesses.iter().all(|w| w.validity == Validity::Good);
        let moves = plant.meter_kg_per_s() > MOVES_KG_PER_S;
        if from_s < started_s + 60.0 || s < from_s || !there || !moves || plan.beside.is_some() {
            return;
        }
        if odd {
            (self.unseen_s, self.beyond_s) = (0.0, 0.0);
            return;
        }
        self.unseen_s += 1.0;
        let limit_s = TIMES * found_s + EXCUSE_S;
        findings.must("no fault goes unseen for long", known.s, self.unseen_s <= limit_s, || {
            format!("{:?} for {} s, found in {found_s} s as a rule", frame.verdict.word, self.unseen_s)
        });
        let (Some((side, kg_per_min)), VerdictWord::Agree) = (leak, frame.verdict.word) else { return };
        let stated = match side {
            WitnessId::Scale => frame.verdict.leak_below_trailer_kg_per_min,
            _ => frame.verdict.leak_below_tank_kg_per_min,
        };
        let beyond = stated.is_some_and(|stated| kg_per_min > BEYOND * stated);
        self.beyond_s = if beyond { self.beyond_s + 1.0 } else { 0.0 };
        let old = s - from_s > STATED_S;
        findings.must("a leak beyond the stated one is no agreement", known.s, !old || self.beyond_s < 30.0, || {
            format!("{kg_per_min:.1} kg/min for {:.0} s, said to be below {stated:?}", s - from_s)
        });
    }

    /// What is really so has its alarm, where an honest instrument that answers shows it.
    fn called_out(&mut self, plan: &Plan, known: &Known, bench: &Bench, frame: &Frame, findings: &mut Findings) {
        let plant = bench.bay.plant();
        let s = plant.time_s();
        let honest = |on: Instrument, kind: SignalKind| {
            let device = plan.settings.signals[signal(&plan.settings, kind)].device;
            !has_lied(plan, on, s) && known.answered[usize::from(device)]
        };
        let near = lowest_limit_pa(plan) * plan.settings.thresholds.near_ceiling + 2_000.0;
        let tank = plan.papers.tank;
        let high_high = plan.settings.tanks[usize::from(tank)].high_high.0;
        let open = frame.phase != Phase::Idle;
        let transfer = frame.phase == Phase::Transfer;
        let density = has_lied(plan, Instrument::LineDensity, s);
        let wrong = plan.density_off != 0.0 && transfer && !density && plant.received_kg() > 500.0;
        let cases = [
            (
                AlarmId::PadNearCeiling,
                0,
                open && plant.trailer_pa() > near,
                Instrument::Pad,
                SignalKind::PadPressure,
                3,
            ),
            (
                AlarmId::LevelHighHigh,
                tank,
                plant.level_m() > high_high + 0.02,
                Instrument::Level,
                SignalKind::Level,
                20,
            ),
            (
                AlarmId::LevelSwitchTripped,
                tank,
                plant.level_m() > plan.instruments.high_switch_m + 0.005,
                Instrument::HighLevelSwitch,
                SignalKind::HighLevelSwitch,
                3,
            ),
            (
                AlarmId::TruckGone,
                0,
                transfer && plan.mishaps.iter().any(|m| m.what == Mishap::DrivesOff && m.at_s <= s),
                Instrument::Scale,
                SignalKind::Scale,
                8,
            ),
            (AlarmId::WrongProduct, 0, wrong, Instrument::LineDensity, SignalKind::LineDensity, 60),
            (
                AlarmId::MovementOutsideTransfer,
                0,
                !transfer && plant.meter_kg_per_s() > 0.3,
                Instrument::Meter,
                SignalKind::FlowMassRate,
                6,
            ),
        ];
        for (id, subject, holds, on, kind, within_s) in cases {
            let held = self.since.held("true", id as u16, holds && honest(on, kind), known.s);
            let late = held.is_some_and(|held| held > within_s);
            findings.must("what is so is called out", known.s, !late || is_open(frame, id, subject), || {
                format!("{id:?} has been so for {held:?} s and is not open")
            });
        }
    }
}

/// The only thing that is wrong with the masses of a delivery.
struct OnlyFault {
    /// From when, s of the plant.
    from_s: f64,
    /// By when nine of ten are found, s.
    found_s: f64,
    /// Where it is a leak: on which side and how fast, kg/min.
    leak: Option<(WitnessId, f64)>,
}

/// None: there are several, or none that the comparison is for.
fn only_fault(plan: &Plan) -> Option<OnlyFault> {
    if plan.faults.len() + plan.mishaps.len() != 1 || plan.density_off != 0.0 {
        return None;
    }
    if let Some(mishap) = plan.mishaps.first() {
        let size = mishap.size;
        let (found_s, leak) = match mishap.what {
            Mishap::LeakBeforeMeter => (before_s(size), Some((WitnessId::Scale, 60.0 * size))),
            Mishap::LeakAfterMeter => (after_s(size), Some((WitnessId::Tank, 60.0 * size))),
            Mishap::OtherTank => (after_s(3.0 * size), None),
            Mishap::DrawOff | Mishap::Inflow => (after_s(size), None),
            _ => return None,
        };
        return Some(OnlyFault { from_s: mishap.at_s, found_s, leak });
    }
    let fault = plan.faults.first().filter(|fault| fault.for_s.is_infinite())?;
    let size = fault.size.abs();
    let found_s = match (fault.wrong, fault.on) {
        (Wrong::Shift, Instrument::Scale) => 218.0,
        (Wrong::Shift, Instrument::Level) => 100.0,
        (Wrong::Creep, Instrument::Scale) => before_s(size / 3600.0),
        // The drill's tank holds 10 t a metre.
        (Wrong::Creep, Instrument::Level) => after_s(10_070.0 * size / 3600.0),
        (Wrong::Gain, Instrument::Meter) => steps(size, &[(0.05, 164.0), (0.02, 336.0), (0.01, 714.0)]),
        _ => return None,
    };
    Some(OnlyFault { from_s: fault.at_s, found_s, leak: None })
}

/// The time in which nine of ten leaks before the meter were found (docs/figures.md, "Faults found"), s.
fn before_s(kg_per_s: f64) -> f64 {
    steps(kg_per_s, &[(1.0, 59.0), (0.25, 183.0), (0.1, 428.0), (0.05, 1023.0)])
}

/// The same after the meter.
fn after_s(kg_per_s: f64) -> f64 {
    steps(kg_per_s, &[(1.0, 105.0), (0.25, 307.0), (0.1, 668.0), (0.05, 1533.0)])
}

/// The time of the largest measured size that is no larger; a smaller one is not asked for.
fn steps(size: f64, measured: &[(f64, f64)]) -> f64 {
    measured.iter().find(|(least, _)| size >= *least).map_or(f64::INFINITY, |(_, s)| *s)
}
