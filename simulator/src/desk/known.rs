//! When a drill's fault could first be known: the plant is lived through once as it was and once with nothing wrong. Both
//! lives draw the same noise, so what the instruments show apart is the fault's alone.

use crate::bay::{BAY_STEP_S, SimulatedBay, gauge_number};
use crate::instruments::{Answer, Instrument, Wrong};
use crate::noise::Noise;
use crate::plant::interpolate;
use brimwatch::config::{Settings, SignalKind};
use brimwatch::engine::input::Status;
use std::collections::VecDeque;

/// A mean of so long stands for what a careful eye makes of a reading, s.
const MEAN_S: f64 = 60.0;
/// It is off when it is by more than so many standard deviations of such a mean.
const SIGMAS: f64 = 3.0;
/// A flow alone is off when it is by more than this part of itself: that it flows a little slower has many causes.
const FLOW_OFF: f64 = 0.1;
/// Less than this is no flow, kg/s; and a total is off by no less than what that brings in a minute.
const NO_FLOW_KG_PER_S: f64 = 0.1;

/// Of a bay and what would be shown.
type Threshold = Box<dyn Fn(&SimulatedBay, f64) -> f64 + Send + Sync>;

/// What is looked at: a signal, or two of the three masses against each other.
struct Sight {
    says: String,
    device: Option<u16>,
    shows: Box<dyn Fn(&SimulatedBay) -> f64 + Send + Sync>,
    /// What its device says of itself.
    complains: Box<dyn Fn(&SimulatedBay) -> Status + Send + Sync>,
    /// How far off is off, by what it would show.
    off: Threshold,
}

/// Looks for the first moment.
pub struct Known {
    sights: Vec<Sight>,
    means: Means,
    first: Option<(f64, String)>,
}

impl Known {
    /// Nothing was looked at yet.
    #[must_use]
    pub fn new(settings: &Settings) -> Known {
        let sights = sights(settings);
        let means = Means::new(sights.len());
        Known { sights, means, first: None }
    }

    /// Holds the bay as it is against itself with nothing wrong; to be called for each scan.
    pub fn look(&mut self, is: &SimulatedBay, would: &SimulatedBay) {
        if self.first.is_some() {
            return;
        }
        let show = |bay: &SimulatedBay| self.sights.iter().map(|sight| (sight.shows)(bay)).collect::<Vec<f64>>();
        let would_show = show(would);
        self.means.push(show(is).iter().zip(&would_show).map(|(is, would)| is - would).collect());
        let mute = self.sights.iter().find(|sight| sight.device.is_some_and(|device| is_mute(is.answer(device))));
        let complains = |sight: &&Sight| (sight.complains)(is) > Status::MaintenanceRequired;
        let off = |at: &usize| self.means.mean(*at).abs() > (self.sights[*at].off)(is, would_show[*at]);
        let said = mute.map(|sight| format!("the device of {} does not answer", sight.says));
        let said = said.or_else(|| {
            let sight = self.sights.iter().find(complains)?;
            Some(format!("the device of {} {}", sight.says, Wrong::Says((sight.complains)(is))))
        });
        let said = said.or_else(|| (0..self.sights.len()).find(off).map(|at| format!("by {}", self.sights[at].says)));
        self.first = said.map(|what| (is.plant().time_s(), what));
    }

    /// The first moment by the plant's time, s, and what showed it. None: nothing did so far.
    #[must_use]
    pub fn first(&self) -> Option<&(f64, String)> {
        self.first.as_ref()
    }
}

/// A gateway that replays looks as if it answered.
fn is_mute(answer: Answer) -> bool {
    matches!(answer, Answer::Silent | Answer::Exception)
}

fn sights(settings: &Settings) -> Vec<Sight> {
    let mut sights: Vec<Sight> = Vec::new();
    for (at, signal) in settings.signals.iter().enumerate() {
        let (kind, tank, gauge) = (signal.kind, signal.tank, gauge_number(settings, at));
        let instrument = Instrument::of(kind, gauge);
        sights.push(Sight {
            says: signal.name.clone(),
            device: Some(signal.device),
            shows: Box::new(move |bay| bay.shows_gauge(kind, tank, gauge)),
            complains: Box::new(move |bay| bay.says(kind, tank, gauge)),
            off: Box::new(move |bay, would| off(bay, instrument, kind, would)),
        });
    }
    let has = |kinds: &[SignalKind]| settings.signals.iter().any(|signal| kinds.contains(&signal.kind));
    let masses = [
        (Mass::Flow, has(&[SignalKind::FlowMassTotal, SignalKind::FlowMassRate])),
        (Mass::Scale, has(&[SignalKind::Scale])),
        (Mass::Tank, has(&[SignalKind::Level])),
    ];
    let there: Vec<Mass> = masses.into_iter().filter_map(|(mass, there)| there.then_some(mass)).collect();
    for (at, &one) in there.iter().enumerate() {
        for &other in &there[at + 1..] {
            sights.push(Sight {
                says: format!("{} against {}", one.name(), other.name()),
                device: None,
                shows: Box::new(move |bay| one.kg(bay) - other.kg(bay)),
                complains: Box::new(|_| Status::Fair),
                off: Box::new(move |bay, _| SIGMAS * one.sigma_kg(bay).hypot(other.sigma_kg(bay))),
            });
        }
    }
    sights
}

/// How far off is off for one signal.
fn off(bay: &SimulatedBay, instrument: Instrument, kind: SignalKind, would: f64) -> f64 {
    if instrument.is_flag() {
        return 0.5;
    }
    let density = bay.plant().setup().density_kg_per_m3;
    match kind {
        SignalKind::FlowMassRate => return FLOW_OFF * would.abs() + NO_FLOW_KG_PER_S,
        SignalKind::FlowVolumeRate => return FLOW_OFF * would.abs() + NO_FLOW_KG_PER_S / density,
        SignalKind::FlowMassTotal => return FLOW_OFF * would.abs() + NO_FLOW_KG_PER_S * MEAN_S,
        SignalKind::FlowVolumeTotal => return FLOW_OFF * would.abs() + NO_FLOW_KG_PER_S * MEAN_S / density,
        _ => {}
    }
    let setup = bay.instruments().setup()[instrument];
    // A whole division may hide anything below it; and what nothing disturbs is read to a millionth.
    SIGMAS * sigma(bay, instrument).hypot(setup.relative_noise * would) + setup.resolution + 1e-6 * would.abs()
}

/// Standard deviation of an instrument's mean over [`MEAN_S`].
fn sigma(bay: &SimulatedBay, instrument: Instrument) -> f64 {
    let mean = |noise: Noise| match noise {
        // Of a first-order process over many correlation times: sigma^2 2 tau / T.
        Noise::Wandering { sigma, correlation_s } => sigma * (2.0 * correlation_s / MEAN_S).min(1.0).sqrt(),
        other => other.sigma() / MEAN_S.sqrt(),
    };
    let [one, other] = bay.instruments().setup()[instrument].noise.map(mean);
    one.hypot(other)
}

/// One of the three masses, as it can be read off an instrument; constants cancel between two lives.
#[derive(Debug, Clone, Copy)]
enum Mass {
    Flow,
    Scale,
    Tank,
}

impl Mass {
    fn name(self) -> &'static str {
        match self {
            Mass::Flow => "flow meter",
            Mass::Scale => "truck scale",
            Mass::Tank => "tank level",
        }
    }

    fn kg(self, bay: &SimulatedBay) -> f64 {
        match self {
            Mass::Flow => bay.instruments().metered_kg(),
            Mass::Scale => -bay.shows(SignalKind::Scale, None),
            Mass::Tank => {
                let setup = bay.plant().setup();
                let level_m = bay.instruments().shows(SignalKind::Level, 0, setup.density_kg_per_m3);
                interpolate(&setup.tank_m_m3, level_m) * setup.density_kg_per_m3
            }
        }
    }

    fn sigma_kg(self, bay: &SimulatedBay) -> f64 {
        match self {
            Mass::Flow => 0.0,
            Mass::Scale => {
                // A division spreads evenly: its standard deviation is a twelfth's root (GUM, 4.3.7).
                let division = bay.instruments().setup()[Instrument::Scale].resolution;
                sigma(bay, Instrument::Scale).hypot(division / 12f64.sqrt())
            }
            Mass::Tank => {
                let (setup, level_m) = (bay.plant().setup(), bay.plant().level_m());
                let above = interpolate(&setup.tank_m_m3, level_m + 0.01) - interpolate(&setup.tank_m_m3, level_m);
                sigma(bay, Instrument::Level) * above / 0.01 * setup.density_kg_per_m3
            }
        }
    }
}

/// Running means.
struct Means {
    latest: VecDeque<Vec<f64>>,
    sums: Vec<f64>,
}

impl Means {
    fn new(many: usize) -> Means {
        Means { latest: VecDeque::new(), sums: vec![0.0; many] }
    }

    fn push(&mut self, values: Vec<f64>) {
        self.sums.iter_mut().zip(&values).for_each(|(sum, value)| *sum += value);
        self.latest.push_back(values);
        let most = (MEAN_S / BAY_STEP_S).round();
        if self.latest.len() as f64 > most
            && let Some(oldest) = self.latest.pop_front()
        {
            self.sums.iter_mut().zip(oldest).for_each(|(sum, value)| *sum -= value);
        }
    }

    /// What is not yet a whole mean counts as one that was nothing before: a jump is not known by its first scan.
    fn mean(&self, at: usize) -> f64 {
        self.sums[at] * BAY_STEP_S / MEAN_S
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::lives::Lives;
    use crate::desk::log::{Done, Log};
    use crate::scenario;
    use crate::scenarios::Scenario;
    use std::path::Path;

    fn log(name: &str) -> (Log, f64) {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let scenario = Scenario::find(name).unwrap_or_else(|why| panic!("{why}"));
        let settings = site.bays[delivery.bay].settings.clone();
        // The pad is up after two and a half minutes.
        let zero_s = 200.0;
        let done = vec![(zero_s, Done::Started)];
        (Log { scenario, played: None, settings, papers: delivery.setup, seed: 3, done }, zero_s)
    }

    /// The first moment in s after the start, and what showed it.
    fn first(log: &Log, until_s: f64, zero_s: f64) -> Option<(f64, String)> {
        let mut lives = Lives::new(log);
        lives.follow(log, until_s);
        lives.known.first().map(|(at_s, what)| (at_s - zero_s, what.clone()))
    }

    /// Expected: 6 kg a minute from 15 min on. The scale's mean of a minute has sigma hypot(6/60^.5, 5 (40/60)^.5, 20/12^.5)
    /// = 7.1 kg, the meter none: 21 kg are off, which as a mean over the last minute takes 4 minutes; a division more where
    /// chance lies against it.
    #[test]
    fn a_leak_is_known_when_scale_and_meter_part() {
        let (log, zero_s) = log("leak-before-meter");
        let known = first(&log, zero_s + 1_500.0, zero_s).expect("it shows");
        assert!((1_020.0..1_320.0).contains(&known.0), "{known:?}");
        assert!(known.1.ends_with("by flow meter against truck scale"), "{known:?}");
    }

    #[test]
    fn nothing_is_known_of_nothing_and_a_silent_device_at_once() {
        let (quiet, zero_s) = log("quiet");
        assert_eq!(first(&quiet, zero_s + 600.0, zero_s), None);
        let (silent, zero_s) = log("device-silent");
        let known = first(&silent, zero_s + 700.0, zero_s).expect("it shows");
        // At 10 min, within a scan.
        assert!((known.0 - 600.0).abs() <= 2.0 * BAY_STEP_S && known.1.contains("does not answer"), "{known:?}");
    }
}
