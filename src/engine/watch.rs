//! What is known about the mass of one transfer: accounts, the combined mass, the rate, the verdict.

use super::alarm::condition::{MOVEMENT_KG_PER_S, movement};
use super::bank::Bank;
use super::block::{PLAUSIBLE_KG_PER_S, Recent};
use super::comparison::{Comparison, Tick};
use super::course::Course;
use super::cross_check::CrossCheck;
use super::delivery::Delivery;
use super::frame::{
    Condition, Estimate, Reason, ScaleZero, Together, Validity, Verdict, VerdictWord, Witness, WitnessId,
};
use super::frozen::{Expected, Mover};
use super::gauge;
use super::hydraulics::{Heads, Line};
use super::input::ZeroCause;
use super::neighbour::Neighbours;
use super::outlook;
use super::pad_creep::PadCreep;
use super::product::ProductCheck;
use super::projection;
use super::reading::Readings;
use super::reconcile::Panel;
use super::settings::{DrawOff, Drive, Settings, SignalKind, Thresholds};
use super::settled::Settled;
use super::suspects;
use super::verdict::{self, Case, Origins};
use super::witness::{Account, Scene, flow, flow_rate, geometry, main_signals, scale, tank};
use super::zero::Zero;
use crate::time::EngineTime;
use crate::units::Metre;

/// The witnesses in their order.
pub const WITNESSES: [WitnessId; 3] = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank];

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// Liquid has arrived once this many standard uncertainties of it are in.
const ARRIVED_SIGMAS: f64 = 3.0;

/// A meter's rate may differ so much from the slope of the masses, kg/s, or by as much as that is: more is another unit.
const BELIEVED_KG_PER_S: f64 = 3.0;

/// The scale falls by no more at once, flow apart, kg: what people and tools weigh (assumption).
const FALLS_KG: f64 = 300.0;
/// A trailer drives off within this time, s (assumption).
const DEPARTS_S: f64 = 60.0;

/// A meter's register that has not changed for so long stands, s: several rounds of any device (assumption).
const STANDS_S: f64 = 5.0;

/// A mass rises no faster than so many times its rate over the last minute: a valve that is opened further (assumption).
const RISES_TIMES: f64 = 2.0;
/// For so long after it has begun a flow's rate says nothing of how fast it is, s: the slope goes over a minute.
const BEGINS_S: f64 = 60.0;
/// A flow rate says that mass moves when it exceeds its zero and this many standard uncertainties of its noise.
const RATE_SIGMAS: f64 = 4.0;

/// Estimates of one transfer.
#[derive(Debug, Clone)]
pub struct Watch {
    /// What each witness says.
    pub accounts: [Account; 3],
    /// The same evened out, as it is shown and combined.
    shown: [Account; 3],
    /// What each last said while it was credible, and when.
    pub held: [Option<(EngineTime, Estimate)>; 3],
    /// The credible witnesses as one mass.
    pub together: Option<Together>,
    /// What they say together.
    pub verdict: Verdict,
    /// How fast the mass moves.
    pub rate: Option<Estimate>,
    /// Since when it is one that anything can be projected with.
    moves_since: Option<EngineTime>,
    /// The fastest any credible witness says, kg/s; kept while none is left.
    pub fastest_kg_per_s: f64,
    /// The fastest that any of them says now, beyond noise, kg/s.
    moves_kg_per_s: f64,
    /// How the rate went so far.
    pub course: Course,
    /// What the line lets through.
    pub line: Line,
    /// The meter's flow against the pressure.
    pub cross_check: CrossCheck,
    /// The pad held against what a regulator wanders.
    pub pad_creep: PadCreep,
    /// The zero that a person gave the scale.
    pub zero: Option<Zero>,
    /// What the scale said before its reading fell by more than flows, and when.
    before_fall: Option<(EngineTime, Estimate)>,
    /// What its density says.
    pub product: ProductCheck,
    recent: Recent,
    comparison: Comparison,
    settled: Settled,
}

/// A mass by flow meter and scale.
#[derive(Debug, Clone, Copy)]
pub struct OwnWord {
    /// Mass received, kg.
    pub received_kg: Estimate,
    /// The part of its uncertainty that is new at every tick, kg.
    pub white_kg: f64,
    /// The two disagree.
    pub at_odds: bool,
}

impl Watch {
    /// Before anything has moved.
    #[must_use]
    pub fn new(at: EngineTime) -> Watch {
        Watch {
            accounts: [Account::lost(Reason::NoStart); 3],
            shown: [Account::lost(Reason::NoStart); 3],
            held: [None; 3],
            together: None,
            verdict: verdict::none(at),
            rate: None,
            moves_since: None,
            fastest_kg_per_s: 0.0,
            moves_kg_per_s: 0.0,
            course: Course::default(),
            line: Line::default(),
            cross_check: CrossCheck::default(),
            pad_creep: PadCreep::default(),
            zero: None,
            before_fall: None,
            product: ProductCheck::default(),
            recent: Recent::default(),
            comparison: Comparison::new(at),
            settled: Settled::default(),
        }
    }

    /// A transfer starts.
    #[must_use]
    pub fn started(at: EngineTime) -> Watch {
        let mut watch = Watch::new(at);
        watch.settled.start(at);
        watch
    }

    /// Nobody watched for a while: rates and blocks begin anew, masses do not.
    pub fn blind(&mut self, at: EngineTime) {
        self.recent = Recent::default();
        self.settled.blind(at);
        self.shown = self.accounts;
        self.rate = None;
        self.line.blind();
        self.cross_check.blind();
        self.pad_creep.blind();
    }

    /// More has been received than the witnesses' uncertainty could feign.
    #[must_use]
    pub fn liquid_arrived(&self) -> bool {
        self.together.is_some_and(|t| t.received_kg.value > ARRIVED_SIGMAS * t.received_kg.u)
    }

    /// The mass by flow meter and scale alone: what another bay may take off a tank that both fill. Where the two
    /// disagree the uncertainty spans both (rectangular about either, JCGM 100:2008, 4.3.7).
    #[must_use]
    pub fn by_flow_and_scale(&self, thresholds: &Thresholds) -> Option<OwnWord> {
        let panel = self.panel().without(TANK);
        let together = panel.combine()?;
        let mut received_kg = together.received_kg;
        let apart = panel.contrast(WitnessId::Flow as usize).map_or(0.0, |contrast| contrast.value);
        let found = matches!(self.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
        let own = found && (self.verdict.suspects[FLOW] || self.verdict.suspects[SCALE]);
        let at_odds = together.degrees_of_freedom > 0 && (own || together.chi_square > thresholds.chi_square[0]);
        if at_odds {
            received_kg.u = (received_kg.u * received_kg.u + apart * apart / 3.0).sqrt();
        }
        let white = |i: usize| together.weights[i] * self.accounts[i].errors.white_kg;
        let white_kg = (0..2).fold(0.0, |sum, i| sum + white(i) * white(i)).sqrt();
        Some(OwnWord { received_kg, white_kg, at_odds })
    }

    /// Faults that are looked for.
    #[must_use]
    pub fn bank(&self) -> &Bank {
        self.comparison.bank()
    }

    /// How many witnesses are credible.
    #[must_use]
    pub fn credible(&self) -> usize {
        self.accounts.iter().filter(|a| a.credible().is_some()).count()
    }

    /// The witnesses as the frame shows them.
    #[must_use]
    pub fn frame(&self) -> [Witness; 3] {
        [0, 1, 2].map(|i| self.shown[i].frame(WITNESSES[i], self.held[i].map(|(_, e)| e)))
    }

    /// Mass received by the tank's level as it is shown, kg; none where it is not credible.
    #[must_use]
    pub fn tank_kg(&self) -> Option<f64> {
        self.shown[TANK].credible().map(|received| received.value)
    }

    /// Signals that must move while the mass does are held against what the others and the flow rate saw move.
    pub fn expect_movement(
        &self,
        settings: &Settings,
        delivery: &Delivery,
        readings: &mut Readings,
        neighbours: &Neighbours,
        at: EngineTime,
    ) {
        let scene = self.scene(settings, readings, delivery, neighbours, at);
        let density = scene.incoming().map(|i| i.density);
        let kind_of = |signal: u16| settings.signals.get(usize::from(signal)).map(|s| s.kind);
        let per_kg = |signal: u16| match kind_of(signal)? {
            SignalKind::FlowMassTotal | SignalKind::Scale => Some(1.0),
            SignalKind::FlowVolumeTotal => density.map(|d| 1.0 / d.0),
            kind @ (SignalKind::Level | SignalKind::LevelPressure) => {
                let geometry = &settings.tanks.get(usize::from(delivery.setup.tank))?.geometry;
                let level_m = gauge::level_m(settings, readings, &delivery.setup, signal)?;
                let area_m2 = geometry::area(geometry, Metre(level_m))?;
                let by_level = kind == SignalKind::Level;
                Some(if by_level { 1.0 / (area_m2 * density?.0) } else { gauge::GRAVITY / area_m2 })
            }
            _ => None,
        };
        let mover = self.mover(&scene);
        let tank = settings.tanks.get(usize::from(delivery.setup.tank));
        let behind_kg = |signal: u16| match settings.signals.get(usize::from(signal)) {
            // What is drawn off may be all that comes in: by the rate alone nothing is expected of the level.
            Some(s) if gauge::is_gauge(s.kind) && tank.is_none_or(|t| t.draw_off != DrawOff::DeclaredZero) => {
                f64::INFINITY
            }
            Some(s) if gauge::is_gauge(s.kind) => {
                let fill_kg = density.map_or(0.0, |d| scene.line_fill_kg(d).0 + scene.line_fill_kg(d).1);
                fill_kg + mover.kg_per_s * s.lag_s
            }
            _ => 0.0,
        };
        let signals = main_signals(settings, delivery.setup.tank).into_iter().enumerate();
        let signals = signals.filter_map(|(witness, signal)| Some((witness, signal?)));
        let other_gauges = gauge::of_tank(settings, delivery.setup.tank).skip(1).map(|signal| (TANK, signal));
        let mut expected = Vec::new();
        for (witness, signal) in signals.chain(other_gauges) {
            if !kind_of(signal).is_some_and(accumulates) {
                continue;
            }
            let moved_kg = self.recent.moved_by_others_kg(witness);
            expected.push(Expected { signal, moved_kg, per_kg: per_kg(signal), behind_kg: behind_kg(signal) });
        }
        readings.expect(settings, at, mover, &expected);
    }

    /// What moves the mass: the flow rate as it is read, else the reconciled one of the tick before.
    fn mover(&self, scene: &Scene) -> Mover {
        let fitted =
            flow_rate(scene.settings).and_then(|kind| Some((kind, Readings::find(scene.settings, kind, None)?)));
        if let Some((kind, signal)) = fitted
            && let (Some(value), Some(setup)) =
                (scene.readings.credible(signal), scene.settings.signals.get(usize::from(signal)))
        {
            let per_unit =
                if kind == SignalKind::FlowMassRate { Some(1.0) } else { scene.incoming().map(|i| i.density.0) };
            let feigned = setup.zero + RATE_SIGMAS * setup.noise;
            let moves = value > feigned;
            let kg_per_s = per_unit.filter(|_| moves).map_or(0.0, |per_unit| value * per_unit);
            return Mover { kg_per_s: if kg_per_s > MOVEMENT_KG_PER_S { kg_per_s } else { 0.0 }, signal: Some(signal) };
        }
        Mover { kg_per_s: scene.rate_kg_per_s, signal: None }
    }

    fn scene<'a>(
        &self,
        settings: &'a Settings,
        readings: &'a Readings,
        delivery: &'a Delivery,
        neighbours: &'a Neighbours,
        at: EngineTime,
    ) -> Scene<'a> {
        let slope = projection::moving(self.rate).map_or(0.0, |rate| rate.value);
        // A minute's slope comes late while a valve opens or closes; the meter's own rate does not, where it is believable.
        let mass_rate = readings.credible_kind(settings, SignalKind::FlowMassRate, None);
        let believed = mass_rate.filter(|rate| (rate - slope).abs() < BELIEVED_KG_PER_S.max(slope));
        let rate_kg_per_s = believed.unwrap_or(slope).max(0.0);
        let gauge = self.accounts[TANK].signal;
        Scene { settings, readings, delivery, at, rate_kg_per_s, neighbours, gauge }
    }

    /// Looks at the signals anew. When a witness comes or goes the verdict does not wait for its block.
    /// True when the verdict's word changed.
    pub fn observe(
        &mut self,
        settings: &Settings,
        readings: &Readings,
        delivery: &Delivery,
        neighbours: &Neighbours,
        at: EngineTime,
    ) -> bool {
        self.look(settings, readings, delivery, neighbours, (at, false))
    }

    fn look(
        &mut self,
        settings: &Settings,
        readings: &Readings,
        delivery: &Delivery,
        neighbours: &Neighbours,
        (at, ticked): (EngineTime, bool),
    ) -> bool {
        let before = self.accounts.map(|a| a.credible().is_some());
        let scene = self.scene(settings, readings, delivery, neighbours, at);
        self.accounts = [flow::account(&scene), scale::account(&scene), tank::account(&scene)];
        if let Some(zero) = &self.zero {
            zero.apply(&mut self.accounts[SCALE]);
        }
        self.look_at_departure(at);
        let signals = main_signals(settings, delivery.setup.tank);
        for (i, (held, account)) in self.held.iter_mut().zip(&self.accounts).enumerate() {
            *held = account.credible().map(|e| (at, e)).or(*held);
            // What was found to be old was last true when it last changed.
            if let (Some((since, _)), Validity::Lost(reason)) = (held, account.validity)
                && reason.is_repeat()
                && let Some(changed) = signals[i].and_then(|s| readings.unchanged_since(s))
            {
                *since = changed.min(*since);
            }
        }
        self.comparison.mark(at, &mut self.accounts);
        // A minute's slope comes late behind a flow that has just begun: how fast it is nobody knows then.
        let for_long = self.moves_since.is_some_and(|since| at.since_s(since) >= BEGINS_S);
        let known = projection::moving(self.rate).filter(|_| for_long);
        let rate = known.map(|rate| RISES_TIMES * rate.value);
        self.settled.look(at, &self.accounts, rate.unwrap_or(PLAUSIBLE_KG_PER_S));
        if ticked {
            let changed = self.register_changed(readings);
            let missed_kg = self.missed_kg(&scene, changed[FLOW]);
            self.settled.tick(at, &self.accounts, changed, self.comparison.excused(), missed_kg);
        }
        self.shown = self.settled.accounts(&self.accounts);
        self.together = self.combine();
        let came_or_went = (0..3).any(|i| before[i] != self.accounts[i].credible().is_some());
        let shared = neighbours.take_part(delivery.setup.tank, at);
        came_or_went && self.judge(settings, signals, shared, at)
    }

    /// What may have passed since the meter's register changed, kg: at the rate that the meter says, where that has changed since and
    /// so is alive; else as fast as any other says. None: it does not stand, or nothing moves. A register rightly stands for some
    /// readings, and through its division.
    fn missed_kg(&self, scene: &Scene, changed: Option<EngineTime>) -> Option<f64> {
        let (changed, mover) = (changed?, self.mover(scene));
        let stood_s = scene.at.since_s(changed);
        let said = mover.signal.and_then(|signal| scene.readings.unchanged_since(signal));
        let alive = said.is_some_and(|said| said > changed);
        if stood_s < STANDS_S || alive && mover.kg_per_s <= 0.0 {
            return None;
        }
        let kg_per_s = if alive { mover.kg_per_s } else { self.moves_kg_per_s };
        Some((kg_per_s * stood_s - self.accounts[FLOW].division_kg).max(0.0))
    }

    /// A trailer that drives off is weighed while it does: what the scale said before that counts.
    fn look_at_departure(&mut self, at: EngineTime) {
        let Some((since, held)) = self.held[SCALE] else { return };
        let most_kg = FALLS_KG + PLAUSIBLE_KG_PER_S * at.since_s(since);
        let now = self.accounts[SCALE].credible();
        if now.is_some_and(|now| now.value - held.value > most_kg)
            && self.before_fall.is_none_or(|(fell, _)| at.since_s(fell) > DEPARTS_S)
        {
            self.before_fall = Some((since, held));
        }
        if !self.accounts[SCALE].validity.is_credible()
            && let Some(before) = self.before_fall.filter(|(fell, _)| at.since_s(*fell) <= DEPARTS_S)
        {
            self.held[SCALE] = Some(before);
        }
    }

    /// How many witnesses beside the scale are credible.
    #[must_use]
    pub fn others_than_scale(&self) -> usize {
        (0..3).filter(|&i| i != SCALE && self.accounts[i].credible().is_some()).count()
    }

    /// The scale counts from what the others say now.
    pub fn zero_scale(&mut self, at: EngineTime, cause: ZeroCause) {
        let panel = self.comparison.panel(&self.accounts);
        // One that is excused or lost says nothing now.
        let Some(zero) = Zero::now(at, cause, &self.accounts, &panel, self.zero.as_ref()) else { return };
        self.zero = Some(zero);
        self.comparison.start_anew(SCALE);
        self.settled.forget(SCALE);
        self.shown = self.settled.accounts(&self.accounts);
        self.recent = Recent::default();
    }

    /// The scale's zero as the frame shows it.
    #[must_use]
    pub fn scale_zero(&self) -> Option<ScaleZero> {
        self.zero.map(|zero| ScaleZero { at: zero.at, cause: zero.cause, kg: zero.kg })
    }

    /// One second has gone by, and the gas behind the last liquid is due or not. True when the verdict's word changed.
    pub fn tick(
        &mut self,
        settings: &Settings,
        readings: &Readings,
        delivery: &Delivery,
        neighbours: &Neighbours,
        (at, gas_due): (EngineTime, bool),
    ) -> bool {
        let mut changed = self.look(settings, readings, delivery, neighbours, (at, true));
        self.recent.tick(at, &self.accounts);
        let slopes = self.recent.slopes_kg_per_s();
        self.rate = Recent::rate_kg_per_s(&slopes);
        self.moves_since = projection::moving(self.rate).map(|_| self.moves_since.unwrap_or(at));
        let pad_pa = readings.credible_kind(settings, SignalKind::PadPressure, None);
        if let (Some(rate), Some(together)) = (projection::moving(self.rate), &self.together)
            && self.recent.is_full()
        {
            self.course.tick(at, together.received_kg.value, rate, pad_pa);
        }
        let heads = outlook::heads(settings, readings, delivery);
        self.cross_check(settings, at, heads.as_ref());
        self.pad_creep(settings, at, pad_pa);
        if let (Some((by, mass)), Some(heads)) = (self.steadiest(), heads) {
            self.line.tick(at, by, mass, &heads);
            if let Some(together) = self.together {
                let mass_kg = together.received_kg.value;
                let most_kg = (delivery.loaded_kg - mass_kg).max(1.0);
                self.line.look(settings, &heads, at, mass_kg, most_kg);
            }
        }
        // What stands in the meter once nothing flows, or comes with the gas, is not the load.
        let liquid_flows = !gas_due && movement(settings, readings) != Condition::False;
        if let (true, Some(_), Some(together)) = (liquid_flows, projection::moving(self.rate), &self.together) {
            self.product.tick(settings, readings, &delivery.setup.product, together.received_kg.value);
        }
        if let Some(fastest) = slopes.iter().flatten().map(|s| s.value).max_by(f64::total_cmp) {
            self.fastest_kg_per_s = fastest.max(0.0);
        }
        let moving = slopes.iter().filter_map(|slope| projection::moving(*slope));
        self.moves_kg_per_s = moving.fold(0.0, |most: f64, slope| most.max(slope.value));
        let signals = main_signals(settings, delivery.setup.tank);
        let thresholds = &settings.thresholds;
        let compared = self.comparison.tick(&Tick {
            at,
            accounts: &self.accounts,
            changed: self.register_changed(readings),
            rate_kg_per_s: projection::moving(self.rate).map_or(0.0, |rate| rate.value),
            moves: self.moves_kg_per_s > 0.0,
            received_kg: self.together.map_or(0.0, |t| t.received_kg.value),
            watchful: thresholds.finding.iter().flatten().copied().fold(f64::INFINITY, f64::min) / 2.0,
        });
        if compared {
            // Who was seen on the deck just now is not shown as good for a second more.
            self.comparison.mark(at, &mut self.accounts);
            self.shown = self.settled.accounts(&self.accounts);
            self.together = self.combine();
            self.recent.block();
            let shared = neighbours.take_part(delivery.setup.tank, at);
            changed |= self.judge(settings, signals, shared, at);
        }
        changed
    }

    /// A pump's flow has no pressure to be held against.
    fn cross_check(&mut self, settings: &Settings, at: EngineTime, heads: Option<&Heads>) {
        let account = &self.accounts[FLOW];
        let heads = heads.filter(|_| settings.drive == Drive::Pad);
        match (account.credible(), heads) {
            (Some(mass), Some(heads)) => {
                let rate = projection::moving(self.rate).map_or(0.0, |rate| rate.value);
                let metered =
                    Estimate { value: mass.value + rate * account.errors.age_s, u: account.errors.noise_kg() };
                self.cross_check.tick(at, metered, heads, &self.line);
            }
            _ => self.cross_check.blind(),
        }
    }

    /// While nothing flows, or has only just begun to, the pad is being brought up, or finds its level.
    fn pad_creep(&mut self, settings: &Settings, at: EngineTime, pad_pa: Option<f64>) {
        let rate = self.rate.filter(|_| self.moves_since.is_some_and(|since| at.since_s(since) >= BEGINS_S));
        match (pad_pa, rate) {
            (Some(pad_pa), Some(rate)) => {
                let signal = Readings::find(settings, SignalKind::PadPressure, None);
                let noise_pa = signal.map_or(0.0, |signal| settings.signals[usize::from(signal)].noise);
                self.pad_creep.tick(at, pad_pa, noise_pa, rate.value);
            }
            _ => self.pad_creep.blind(),
        }
    }

    /// Since when each witness's register has been what it is.
    fn register_changed(&self, readings: &Readings) -> [Option<EngineTime>; 3] {
        self.accounts.map(|account| readings.unchanged_since(account.signal?))
    }

    /// The witness whose mass is the least noisy: its index, mass and noise.
    fn steadiest(&self) -> Option<(usize, Estimate)> {
        let excused = self.comparison.excused();
        let there = (0..3).filter(|&i| !excused[i]).filter_map(|i| {
            let kg = self.accounts[i].credible()?.value;
            Some((i, Estimate { value: kg, u: self.accounts[i].errors.noise_kg() }))
        });
        there.min_by(|a, b| a.1.u.total_cmp(&b.1.u))
    }

    /// The credible witnesses, evened out; one that is disturbed as it was before, or not at all.
    fn panel(&self) -> Panel {
        let excused = self.comparison.excused();
        let not_back = |i: usize| self.accounts[i].validity == Validity::Doubtful(Reason::NotBack);
        let alone = |i| not_back(i) || self.settled.jumps_alone(i, &self.accounts);
        let out = (0..3).filter(|&i| excused[i] && !self.settled.holds(i, &self.accounts) || alone(i));
        out.fold(Panel::credible(&self.shown), |panel, i| panel.without(i))
    }

    /// The credible witnesses as one mass. Of what has been found each suspect in turn is left out; the
    /// result spans what is left (rectangular between them, JCGM 100:2008, 4.3.7).
    fn combine(&self) -> Option<Together> {
        let whole = self.panel();
        let suspected = (0..3).filter(|&i| self.verdict.suspects[i]);
        let mut spans = suspected.filter_map(|i| whole.without(i).combine());
        let Some(first) = spans.next() else { return whole.combine() };
        let (mut low, mut high, mut together) = (first.received_kg, first.received_kg, first);
        for next in spans {
            low = if next.received_kg.value < low.value { next.received_kg } else { low };
            high = if next.received_kg.value > high.value { next.received_kg } else { high };
            together.weights = [0, 1, 2].map(|i| (together.weights[i] + next.weights[i]) / 2.0);
        }
        let half = (high.value - low.value) / 2.0;
        let u = (low.u.max(high.u) * low.u.max(high.u) + half * half / 3.0).sqrt();
        together.received_kg = Estimate { value: (low.value + high.value) / 2.0, u };
        Some(together)
    }

    /// `shared`: another bay takes part in what the tank shows.
    fn judge(&mut self, settings: &Settings, signals: [Option<u16>; 3], shared: bool, at: EngineTime) -> bool {
        let before: VerdictWord = self.verdict.word;
        let transmitter = |s: u16| settings.signals.get(usize::from(s)).and_then(|s| s.transmitter.as_deref());
        let origins = Origins(signals.map(|signal| transmitter(signal?)));
        let mut panel = self.comparison.panel(&self.accounts);
        let means = self.recent.means();
        panel.received_kg = [0, 1, 2].map(|i| panel.received_kg[i].and(means[i]));
        let case = Case {
            at,
            panel: &panel,
            bank: self.comparison.bank(),
            received_kg: self.together.map_or(0.0, |t| t.received_kg.value),
            recent: &self.recent,
            accounts: &self.accounts,
            thresholds: &settings.thresholds,
            origins,
        };
        self.verdict = verdict::judge(&case, &self.verdict);
        if shared {
            suspects::explain_shared(&mut self.verdict);
        }
        self.verdict.word != before
    }
}

/// Signals that grow or fall with the mass moved.
fn accumulates(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::FlowMassTotal | K::FlowVolumeTotal | K::Scale) || gauge::is_gauge(kind)
}
