//! What a fault makes of a recorded answer. Only instruments, their devices and gateways can go wrong here: what has
//! flowed has flowed.

use super::recorded::Recorded;
use crate::bay::gauge_number;
use crate::instruments::{Answer, Instrument, Wrong};
use crate::plant::interpolate;
use crate::wrong::{GoesWrong, What};
use brimwatch::config::{Settings, SignalKind};
use brimwatch::engine::input::{Event, Measured, Poll, What as Entered};
use brimwatch::time::EngineTime;

/// A fault of one instrument, by the recording's time.
#[derive(Debug, Clone, Copy)]
struct Fault {
    on: Instrument,
    wrong: Wrong,
    size: f64,
    from: EngineTime,
    for_s: f64,
}

/// All faults of a played recording.
#[derive(Debug, Clone, Default)]
pub struct Altered {
    faults: Vec<Fault>,
    /// Which instrument each signal is of.
    instruments: Vec<Instrument>,
    /// Density of the load, kg/m3: the size of a meter's fault is in kg/s, whatever its total counts.
    density_kg_per_m3: f64,
    /// What each signal last showed, SI.
    last: Vec<Option<f64>>,
    /// What a total showed when its fault began, SI.
    at_begin: Vec<Option<f64>>,
}

impl Altered {
    /// Reads the faults, their times counted from the start of the recorded transfer.
    ///
    /// # Errors
    /// What is wrong with one, and what may be written.
    pub fn parse(texts: &[String], recorded: &Recorded) -> Result<Altered, String> {
        let settings = &recorded.header.settings;
        let instrument = |at: usize| Instrument::of(settings.signals[at].kind, gauge_number(settings, at));
        let instruments: Vec<Instrument> = (0..settings.signals.len()).map(instrument).collect();
        let fault = |text: &String| {
            let GoesWrong { what, size, at_s, for_s } = GoesWrong::parse(text)?;
            let What::Instrument(on, wrong) = what else {
                return Err(format!(
                    "\"{text}\": a recording is past, and nothing can happen to trailer, line or tank any more; with a \
                     recording only instruments can go wrong, as in \"tank level: stuck, at 20 min\""
                ));
            };
            if !instruments.contains(&on) {
                return Err(format!("\"{text}\": bay {} has no {on}", recorded.header.bay));
            }
            let from = at_s.map_or(EngineTime(0), |s| recorded.started().plus_s(s));
            Ok(Fault { on, wrong, size, from, for_s })
        };
        let faults = texts.iter().map(fault).collect::<Result<Vec<Fault>, String>>()?;
        let (last, at_begin) = (vec![None; instruments.len()], vec![None; instruments.len()]);
        Ok(Altered { faults, instruments, density_kg_per_m3: density(recorded), last, at_begin })
    }

    /// There is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    /// How a device of the bay answers at a time.
    #[must_use]
    pub fn answer(&self, settings: &Settings, device: u16, at: EngineTime) -> Answer {
        let reaches = |fault: &Fault| {
            let own = self.devices_of(settings, fault.on).any(|d| d == device);
            let link = |d: u16| &settings.devices[usize::from(d)].link;
            let behind = || self.devices_of(settings, fault.on).any(|d| link(d) == link(device));
            own || fault.wrong == Wrong::Replayed && behind()
        };
        let on = self.faults.iter().filter(|fault| fault.is_on(at) && reaches(fault));
        on.map(Fault::answer).max().unwrap_or_default()
    }

    fn devices_of<'a>(&'a self, settings: &'a Settings, on: Instrument) -> impl Iterator<Item = u16> + 'a {
        let signals = self.instruments.iter().zip(&settings.signals);
        signals.filter(move |(instrument, _)| **instrument == on).map(|(_, signal)| signal.device)
    }

    /// What each signal of a recorded answer shows instead, SI; those that are as recorded are left out.
    pub fn values(&mut self, settings: &Settings, poll: &Poll) -> Vec<(u16, f64)> {
        let mut changed = Vec::new();
        for value in &poll.values {
            let Some(si) = number(value.value) else { continue };
            let at = usize::from(value.signal);
            let shown = self.shown(at, settings.signals[at].kind, si, poll.replied);
            self.last[at] = Some(shown);
            if shown.to_bits() != si.to_bits() {
                changed.push((value.signal, shown));
            }
        }
        changed
    }

    fn shown(&mut self, at: usize, kind: SignalKind, si: f64, now: EngineTime) -> f64 {
        let mut shown = si;
        for fault in self.faults.iter().filter(|f| f.on == self.instruments[at] && f.is_on(now)) {
            let past_s = now.since_s(fault.from);
            let size = match kind {
                SignalKind::FlowVolumeRate | SignalKind::FlowVolumeTotal if fault.wrong != Wrong::Gain => {
                    fault.size / self.density_kg_per_m3
                }
                _ => fault.size,
            };
            let is_total = matches!(kind, SignalKind::FlowMassTotal | SignalKind::FlowVolumeTotal);
            let begun = *self.at_begin[at].get_or_insert(si);
            shown = match (fault.wrong, is_total) {
                (Wrong::Shift, false) => shown + size,
                (Wrong::Shift, true) => shown + size * past_s,
                (Wrong::Creep, false) => shown + size * past_s / 3600.0,
                (Wrong::Creep, true) => shown + size * past_s * past_s / 7200.0,
                (Wrong::Gain, false) => shown * (1.0 + size),
                (Wrong::Gain, true) => shown + (si - begun) * size,
                (Wrong::Saturated | Wrong::Elsewhere, false) => size,
                (Wrong::Saturated | Wrong::Elsewhere, true) => begun + size * past_s,
                (Wrong::Stuck, _) => self.last[at].unwrap_or(si),
                (Wrong::Exception | Wrong::Silent | Wrong::Replayed, _) => shown,
            };
        }
        shown
    }
}

impl Fault {
    fn is_on(&self, now: EngineTime) -> bool {
        now >= self.from && now.since_s(self.from) < self.for_s
    }

    fn answer(&self) -> Answer {
        match self.wrong {
            Wrong::Exception => Answer::Exception,
            Wrong::Silent => Answer::Silent,
            Wrong::Replayed => Answer::Replayed,
            _ => Answer::Fresh,
        }
    }
}

/// A value in SI, where it is one; 1 or 0 for a yes/no.
pub fn number(value: Measured) -> Option<f64> {
    match value {
        Measured::Number(si) | Measured::Current { si, .. } => Some(si),
        Measured::Flag(yes) => Some(f64::from(u8::from(yes))),
        Measured::Exception(_) | Measured::NotANumber | Measured::Torn => None,
    }
}

/// Density of the load by its papers, kg/m3; of water where there are none.
fn density(recorded: &Recorded) -> f64 {
    let papers = recorded.inputs.iter().find_map(|input| match &input.event {
        Event::Entry(entry) => match &entry.what {
            Entered::DeliveryOpened(setup) => Some(&setup.product),
            _ => None,
        },
        _ => None,
    });
    papers.map_or(1000.0, |product| {
        let table: Vec<(f64, f64)> = product.density.iter().map(|(c, d)| (c.0, d.0)).collect();
        interpolate(&table, product.load_temperature.0)
    })
}
