//! What is known about the mass of one transfer: accounts, the combined mass, the rate, the verdict.

use super::block::{BLOCK_TICKS, Recent};
use super::course::Course;
use super::delivery::Delivery;
use super::frame::{Estimate, Reason, Together, Verdict, VerdictWord, Witness, WitnessId};
use super::projection;
use super::reading::Readings;
use super::reconcile::Panel;
use super::settings::{Settings, SignalKind};
use super::verdict;
use super::witness::{Account, Scene, flow, geometry, scale, tank};
use crate::time::EngineTime;
use crate::units::Metre;

/// The witnesses in their order.
pub const WITNESSES: [WitnessId; 3] = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank];

/// Liquid has arrived once this many standard uncertainties of it are in.
const ARRIVED_SIGMAS: f64 = 3.0;

/// Estimates of one transfer.
#[derive(Debug, Clone)]
pub struct Watch {
    /// What each witness says.
    pub accounts: [Account; 3],
    /// What each last said while it was credible, and when.
    pub held: [Option<(EngineTime, Estimate)>; 3],
    /// The credible witnesses as one mass.
    pub together: Option<Together>,
    /// What they say together.
    pub verdict: Verdict,
    /// How fast the mass moves.
    pub rate: Option<Estimate>,
    /// The fastest any credible witness says, kg/s; kept while none is left.
    pub fastest_kg_per_s: f64,
    /// How the rate went so far.
    pub course: Course,
    recent: Recent,
    ticks: usize,
}

impl Watch {
    /// Before anything has moved.
    #[must_use]
    pub fn new(at: EngineTime) -> Watch {
        Watch {
            accounts: [Account::lost(Reason::NoStart); 3],
            held: [None; 3],
            together: None,
            verdict: verdict::none(at),
            rate: None,
            fastest_kg_per_s: 0.0,
            course: Course::default(),
            recent: Recent::default(),
            ticks: 0,
        }
    }

    /// Nobody watched for a while: rates and blocks begin anew, masses do not.
    pub fn blind(&mut self) {
        self.recent = Recent::default();
        self.rate = None;
    }

    /// More has been received than the witnesses' uncertainty could feign.
    #[must_use]
    pub fn liquid_arrived(&self) -> bool {
        self.together.is_some_and(|t| t.received_kg.value > ARRIVED_SIGMAS * t.received_kg.u)
    }

    /// How many witnesses are credible.
    #[must_use]
    pub fn credible(&self) -> usize {
        self.accounts.iter().filter(|a| a.credible().is_some()).count()
    }

    /// The witnesses as the frame shows them.
    #[must_use]
    pub fn frame(&self) -> [Witness; 3] {
        [0, 1, 2].map(|i| self.accounts[i].frame(WITNESSES[i], self.held[i].map(|(_, e)| e)))
    }

    /// Signals that must move while the mass does are held against what the others saw move.
    pub fn expect_movement(&self, settings: &Settings, delivery: &Delivery, readings: &mut Readings) {
        let tank = delivery.setup.tank;
        let total = |kind| Readings::find(settings, kind, None);
        let density = || self.scene(settings, readings, delivery, EngineTime(0)).incoming().map(|i| i.density);
        let mut expected: [Option<(u16, f64)>; 3] = [None; 3];
        expected[0] = total(SignalKind::FlowMassTotal).map(|s| (s, 1.0)).or_else(|| {
            let signal = total(SignalKind::FlowVolumeTotal)?;
            density().map(|d| (signal, 1.0 / d.0))
        });
        expected[1] = total(SignalKind::Scale).map(|s| (s, 1.0));
        expected[2] = Readings::find(settings, SignalKind::Level, Some(tank)).and_then(|signal| {
            let geometry = &settings.tanks.get(usize::from(tank))?.geometry;
            let area_m2 = geometry::area(geometry, Metre(readings.credible(signal)?))?;
            Some((signal, 1.0 / (area_m2 * density()?.0)))
        });
        for (witness, expected) in expected.into_iter().enumerate() {
            if let (Some((signal, per_kg)), Some(moved)) = (expected, self.recent.moved_by_others_kg(witness)) {
                readings.expect(settings, signal, moved, per_kg);
            }
        }
    }

    fn scene<'a>(
        &self,
        settings: &'a Settings,
        readings: &'a Readings,
        delivery: &'a Delivery,
        at: EngineTime,
    ) -> Scene<'a> {
        let rate_kg_per_s = projection::moving(self.rate).map_or(0.0, |rate| rate.value);
        Scene { settings, readings, delivery, at, rate_kg_per_s }
    }

    /// Looks at the signals anew. When a witness comes or goes the verdict does not wait for its block.
    /// True when the verdict's word changed.
    pub fn observe(&mut self, settings: &Settings, readings: &Readings, delivery: &Delivery, at: EngineTime) -> bool {
        let before = self.accounts.map(|a| a.credible().is_some());
        let scene = self.scene(settings, readings, delivery, at);
        self.accounts = [flow::account(&scene), scale::account(&scene), tank::account(&scene)];
        for (held, account) in self.held.iter_mut().zip(&self.accounts) {
            *held = account.credible().map(|e| (at, e)).or(*held);
        }
        let panel = Panel::credible(&self.accounts);
        self.together = panel.combine();
        let came_or_went = (0..3).any(|i| before[i] != panel.received_kg[i].is_some());
        came_or_went && self.judge(settings, &panel, at)
    }

    /// One second has gone by. True when the verdict's word changed.
    pub fn tick(&mut self, settings: &Settings, readings: &Readings, delivery: &Delivery, at: EngineTime) -> bool {
        let mut changed = self.observe(settings, readings, delivery, at);
        self.recent.tick(at, &self.accounts);
        self.rate = self.recent.rate_kg_per_s();
        let pad_pa = readings.credible_kind(settings, SignalKind::PadPressure, None);
        if let (Some(rate), Some(together)) = (projection::moving(self.rate), &self.together)
            && self.recent.is_full()
        {
            self.course.tick(at, together.received_kg.value, rate, pad_pa);
        }
        let slopes = self.recent.slopes_kg_per_s();
        if let Some(fastest) = slopes.iter().flatten().map(|s| s.value).max_by(f64::total_cmp) {
            self.fastest_kg_per_s = fastest.max(0.0);
        }
        self.ticks += 1;
        if self.ticks.is_multiple_of(BLOCK_TICKS) {
            let means = self.recent.block();
            let panel = Panel::credible(&self.accounts).with_values(means);
            changed |= self.judge(settings, &panel, at);
        }
        changed
    }

    fn judge(&mut self, settings: &Settings, panel: &Panel, at: EngineTime) -> bool {
        let before: VerdictWord = self.verdict.word;
        self.verdict = verdict::judge(at, panel, &self.recent, &self.accounts, &settings.thresholds, &self.verdict);
        self.verdict.word != before
    }
}
