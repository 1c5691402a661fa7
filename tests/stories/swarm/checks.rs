//! What must hold at every second of every delivery, by what brimwatch says itself: no truth is needed here.

use super::plan::Plan;
use super::run::Known;
use brimwatch::engine::frame::{Frame, Margin, Phase, Reason, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::RecorderState;
use brimwatch::engine::settings::{Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS};
use std::collections::BTreeMap;

/// A promise that was not kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Broken {
    /// Which check says so.
    pub check: &'static str,
    /// When, s of the plant.
    pub s: u64,
    /// What was seen.
    pub what: String,
}

/// For how long things have been so, s.
#[derive(Debug, Default)]
pub struct Since(BTreeMap<(&'static str, u16), u64>);

impl Since {
    /// For how long this has held, s; 0 when it has only just come to hold, None when it does not.
    pub fn held(&mut self, name: &'static str, of: u16, holds: bool, s: u64) -> Option<u64> {
        if holds {
            return Some(s - *self.0.entry((name, of)).or_insert(s));
        }
        self.0.remove(&(name, of));
        None
    }

    /// Whether it has held, as of the last time that anybody asked.
    pub fn has_held(&self, name: &'static str, of: u16) -> bool {
        self.0.contains_key(&(name, of))
    }
}

/// What was found; the first of each check.
#[derive(Debug, Default)]
pub struct Findings(Vec<Broken>);

impl Findings {
    /// Notes it unless it holds.
    pub fn must(&mut self, check: &'static str, s: u64, holds: bool, what: impl FnOnce() -> String) {
        if !holds && self.0.iter().all(|broken| broken.check != check) {
            self.0.push(Broken { check, s, what: what() });
        }
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All of them.
    pub fn take(&mut self) -> Vec<Broken> {
        std::mem::take(&mut self.0)
    }
}

/// The first signal of a kind.
pub fn signal(settings: &Settings, kind: SignalKind) -> usize {
    settings.signals.iter().position(|s| s.kind == kind).expect("the drill's works have it")
}

/// A signal's value, where it may be used.
pub fn credible(frame: &Frame, signal: usize) -> Option<f64> {
    let reading = &frame.readings[signal];
    reading.value_si.filter(|_| reading.validity.is_credible())
}

/// How many witnesses may be used.
pub fn witnesses(frame: &Frame) -> usize {
    frame.witnesses.iter().filter(|w| w.validity.is_credible()).count()
}

/// An excuse lasts no longer, s (docs/method.md, "Disturbed"), and is looked at once in five.
const EXCUSED_S: u64 = 400 + 10;

/// What disturbs a witness is excused for a while, not for ever.
pub fn hold_excuses(since: &mut Since, known: &Known, frame: &Frame, findings: &mut Findings) {
    for (i, witness) in (0u16..).zip(&frame.witnesses) {
        let excused = witness.validity == Validity::Doubtful(Reason::Disturbed) && frame.phase == Phase::Transfer;
        let held = since.held("excused", i, excused, known.s);
        findings.must("an excuse has an end", known.s, held.is_none_or(|held| held <= EXCUSED_S), || {
            format!("{:?} has been excused for {held:?} s", witness.id)
        });
    }
}

/// Held against itself and against what was fed.
pub fn hold(plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
    let s = known.s;
    let at = EngineTime(s * SECOND_NS + SECOND_NS / 2);
    findings.must("engine time is the machine's, whatever the wall clock", s, frame.at == at, || {
        format!("{:?} for {at:?}", frame.at)
    });
    findings.must("the phase is what people entered", s, frame.phase == known.phase, || {
        format!("{:?} for {:?}", frame.phase, known.phase)
    });
    findings.must("the recorder's state is told", s, frame.recorder == known.recorder, || {
        format!("{:?} for {:?}", frame.recorder, known.recorder)
    });
    devices(plan, known, frame, findings);
    readings(plan, known, frame, findings);
    verdict(known, frame, findings);
    margin(plan, known, frame, findings);
    let lowest = lowest_limit_pa(plan);
    let ceiling = frame.pad.ceiling_pa_gauge;
    let fits = frame.phase == Phase::Idle || ceiling == Some(lowest);
    findings.must("the ceiling is the lowest limit", s, fits, || format!("{ceiling:?} for {lowest} Pa"));
    for neighbour in &frame.neighbours {
        let silent = known.unheard_s > 10;
        findings.must("a neighbour that is not heard is silent", s, neighbour.silent == silent, || {
            format!("silent: {} after {} s", neighbour.silent, known.unheard_s)
        });
    }
}

/// The lowest pressure that papers and site file name, Pa above the air.
pub fn lowest_limit_pa(plan: &Plan) -> f64 {
    let limits = &plan.settings.limits;
    let all = [limits.pad_maximum, limits.hose_rating, limits.line_rating, limits.connection_rating];
    all.iter().chain([&plan.papers.plate.mawp]).flatten().fold(f64::INFINITY, |low, limit| low.min(limit.0))
}

fn devices(plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
    for (device, state) in frame.devices.iter().enumerate() {
        let counted = (state.answered, state.missed);
        findings.must("every round is counted", known.s, counted == known.rounds[device], || {
            format!("device {device}: {counted:?} answered and missed for {:?}", known.rounds[device])
        });
        if known.answered[device] {
            continue;
        }
        let of_device = |signal: usize| usize::from(plan.settings.signals[signal].device) == device;
        let used = (0..frame.readings.len()).find(|&i| of_device(i) && frame.readings[i].validity.is_credible());
        findings.must("what a device did not answer is lost", known.s, used.is_none(), || {
            format!("{}: {:?}", plan.settings.signals[used.unwrap_or(0)].name, frame.readings[used.unwrap_or(0)])
        });
    }
}

fn readings(plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
    for (reading, setup) in frame.readings.iter().zip(&plan.settings.signals) {
        let Some(value) = reading.value_si else { continue };
        let device = &plan.settings.devices[usize::from(setup.device)];
        let age_s = reading.read_at.map_or(f64::INFINITY, |at| frame.at.since_s(at));
        let usable = reading.validity.is_credible();
        let fresh = age_s <= device.period_s + device.time_out_s;
        findings.must("no last value is shown as current", known.s, !usable || fresh, || {
            format!("{}: {age_s} s old, {:?}", setup.name, reading.validity)
        });
        let inside = (setup.plausible_low..=setup.plausible_high).contains(&value);
        let flag = setup.kind == SignalKind::HighLevelSwitch;
        findings.must("what cannot be is lost", known.s, !usable || inside || flag, || {
            format!("{}: {value}, {:?}", setup.name, reading.validity)
        });
    }
}

fn verdict(known: &Known, frame: &Frame, findings: &mut Findings) {
    if frame.phase != Phase::Transfer {
        return;
    }
    let (word, count) = (frame.verdict.word, witnesses(frame));
    let told = || format!("{word:?} with {:?}", frame.witnesses.each_ref().map(|w| w.validity));
    let several = matches!(word, VerdictWord::Agree | VerdictWord::Disagree | VerdictWord::CannotTellWhich);
    findings.must("one witness neither agrees nor disagrees", known.s, !several || count >= 2, told);
    let compared = frame.witnesses.iter().filter(|w| w.validity == Validity::Good).count();
    let suspects = frame.verdict.suspects.iter().filter(|s| **s).count();
    let blamed = word == VerdictWord::Disagree && suspects == 1;
    findings.must("two never blame one", known.s, !blamed || count >= 3 || compared >= 3, told);
}

fn margin(plan: &Plan, known: &Known, frame: &Frame, findings: &mut Findings) {
    let Margin::Known { kg, parts, by_witness_kg, rest_by, .. } = &frame.margin else { return };
    let s = known.s;
    findings.must("the margin is a number", s, kg.is_finite(), || format!("{kg}"));
    let least = by_witness_kg.iter().flatten().fold(f64::INFINITY, |least, kg| least.min(*kg));
    findings.must("the margin is the worst of all", s, *kg <= least + 1e-6, || {
        format!("{kg} kg; each witness alone {by_witness_kg:?}")
    });
    let switch = credible(frame, signal(&plan.settings, SignalKind::HighLevelSwitch)) == Some(1.0);
    findings.must("a tripped switch overrules them all", s, !switch || *kg <= 0.0, || format!("{kg} kg"));
    if frame.phase != Phase::Transfer {
        return;
    }
    for witness in &frame.witnesses {
        let Some(received) = witness.received_kg else { continue };
        let loaded_kg = frame.delivery.as_ref().map_or(0.0, |d| d.loaded_kg);
        let least_kg = loaded_kg - received.value - evened_kg(witness.id);
        let counts = witness.validity.is_credible() && rest_by.is_some();
        // The worst pair is that with its own allowance.
        let rest_kg = parts.rest_kg + parts.allowance_kg;
        findings.must("the rest is by whoever says least", s, !counts || rest_kg >= least_kg, || {
            format!("rest {rest_kg} kg; {:?} says {} of {loaded_kg} kg are in", witness.id, received.value)
        });
    }
}

/// A witness that has once counted in the margin of this transfer goes on counting, lost or not.
pub fn hold_lost(since: &mut Since, known: &Known, frame: &Frame, findings: &mut Findings) {
    let Margin::Known { by_witness_kg, .. } = &frame.margin else { return };
    if frame.phase != Phase::Transfer {
        return;
    }
    for ((i, kg), witness) in (0u16..).zip(by_witness_kg).zip(&frame.witnesses) {
        let left = kg.is_none() && since.has_held("counts", i);
        findings.must("one that is lost stays in the margin", known.s, !left, || {
            format!("{:?} is {:?}", witness.id, witness.validity)
        });
        if kg.is_some() {
            since.held("counts", i, true, known.s);
        }
    }
}

/// What is shown is evened out over a minute, the margin takes readings as they are: noise and divisions make this much of a
/// difference at the most, kg.
const NOISE_KG: f64 = 100.0;
/// See above: so do people on the deck, kg (docs/method.md, "Disturbed").
const PEOPLE_KG: f64 = 300.0;
/// See above: and what foam can be, or a gauge that comes back by no more, 60 mm of it (the same), where the drill's tank holds
/// 10.07 t a metre.
const FOAM_KG: f64 = 0.06 * 10_070.0;

/// What a witness that is shown can be off its own reading, kg. The meter is shown as it is read.
fn evened_kg(witness: WitnessId) -> f64 {
    match witness {
        WitnessId::Flow => 1e-6,
        WitnessId::Scale => PEOPLE_KG + NOISE_KG,
        WitnessId::Tank => FOAM_KG + NOISE_KG,
    }
}

/// After nobody watched, before anything is read anew.
pub fn hold_blind(plan: &Plan, s: u64, frame: &Frame, findings: &mut Findings) {
    let used = frame.readings.iter().zip(&plan.settings.signals).find(|(r, _)| r.validity.is_credible());
    findings.must("nothing from before a gap is current", s, used.is_none(), || format!("{used:?}"));
    let told = frame.blind.is_some_and(|gap| gap.to == frame.at);
    findings.must("a gap is said", s, told, || format!("{:?}", frame.blind));
}

/// A signal that says it is lost, and not only since nothing was read yet, or since gas is in the density meter.
pub fn is_called_lost(plan: &Plan, frame: &Frame, signal: usize) -> bool {
    match frame.readings[signal].validity {
        Validity::Lost(Reason::NotYetRead) => false,
        Validity::Lost(Reason::OutOfRange) => plan.settings.signals[signal].kind != SignalKind::LineDensity,
        Validity::Lost(_) => true,
        Validity::Good | Validity::Doubtful(_) => false,
    }
}

/// The line's thermometer shows what the works do not take into that tank, while liquid comes.
pub fn off_the_band(plan: &Plan, frame: &Frame) -> bool {
    let expected = &plan.settings.expected.tanks[usize::from(plan.papers.tank)];
    let shown_c = credible(frame, signal(&plan.settings, SignalKind::LineTemperature));
    let off = |c: f64| {
        expected.temperature_low.is_some_and(|low| c < low.0)
            || expected.temperature_high.is_some_and(|high| c > high.0)
    };
    let arrived = frame.together.is_some_and(|together| together.received_kg.value > 3.0 * together.received_kg.u);
    frame.phase == Phase::Transfer && arrived && shown_c.is_some_and(off)
}

/// All on disk.
pub fn is_durable(state: RecorderState) -> bool {
    state == RecorderState::Durable
}
