//! What a fault makes of a recorded answer. Only instruments, their devices and gateways can go wrong here: what has
//! flowed has flowed.

use super::recorded::Recorded;
use crate::bay::gauge_number;
use crate::instruments::{Answer, Instrument, Wrong};
use crate::plant::interpolate;
use crate::wrong::{self, GoesWrong, What, Wired};
use brimwatch::config::{Settings, SignalKind};
use brimwatch::engine::input::{Event, Measured, Poll, Status, What as Entered};
use brimwatch::time::EngineTime;
use std::path::Path;

/// A fault of one instrument, by the recording's time.
#[derive(Debug, Clone, Copy)]
struct Fault {
    on: Instrument,
    wrong: Wrong,
    size: f64,
    from: EngineTime,
    until: EngineTime,
}

/// All faults of a played recording.
#[derive(Debug, Clone)]
pub struct Altered {
    bay: String,
    faults: Vec<Fault>,
    /// What each signal is of.
    wired: Vec<Wired>,
    /// Density of the load, kg/m3: the size of a meter's fault is in kg/s, whatever its total counts.
    density_kg_per_m3: f64,
    /// What each signal last showed, SI.
    last: Vec<Option<f64>>,
    totals: Vec<Total>,
}

/// What became of a signal's total: what faults made it count too much or too little stays when they are over.
#[derive(Debug, Clone, Copy, Default)]
struct Total {
    /// When it was last recorded, and as what, SI.
    recorded: Option<(EngineTime, f64)>,
    /// By how much it is off, SI.
    off: f64,
}

impl Altered {
    /// Nothing goes wrong yet.
    #[must_use]
    pub fn new(recorded: &Recorded) -> Altered {
        let settings = &recorded.header.settings;
        let site = recorded.site(Path::new("")).ok();
        let setup = site.as_ref().and_then(|site| site.bays.get(recorded.bay(site).ok()?));
        let unsaid = |at: usize| (Instrument::of(settings.signals[at].kind, gauge_number(settings, at)), None);
        let wired = setup.map_or_else(|| (0..settings.signals.len()).map(unsaid).collect(), wrong::wired);
        Altered {
            bay: recorded.header.bay.clone(),
            faults: Vec::new(),
            last: vec![None; wired.len()],
            totals: vec![Total::default(); wired.len()],
            wired,
            density_kg_per_m3: density(recorded),
        }
    }

    /// Reads the faults, their times counted from the start of the recorded transfer.
    ///
    /// # Errors
    /// What is wrong with one, and what may be written.
    pub fn parse(texts: &[String], recorded: &Recorded) -> Result<Altered, String> {
        let mut altered = Altered::new(recorded);
        for text in texts {
            let wrong = GoesWrong::parse(text)?;
            let from = wrong.at_s.map_or(EngineTime(0), |s| recorded.started().plus_s(s));
            altered.add(&wrong, from)?;
        }
        Ok(altered)
    }

    /// From this moment of the recording on something goes wrong too.
    ///
    /// # Errors
    /// As [`Altered::can`].
    pub fn add(&mut self, wrong: &GoesWrong, from: EngineTime) -> Result<(), String> {
        let GoesWrong { what, size, for_s, .. } = *wrong;
        let (on, wrong) = self.can(what)?;
        let until = if for_s.is_finite() { from.plus_s(for_s) } else { EngineTime(u64::MAX) };
        self.faults.push(Fault { on, wrong, size, from, until });
        Ok(())
    }

    /// What goes wrong with which instrument, where it can.
    ///
    /// # Errors
    /// When nothing of the kind can go wrong with a recording, or the bay has no such instrument.
    pub fn can(&self, what: What) -> Result<(Instrument, Wrong), String> {
        let What::Instrument(on, wrong) = what else {
            return Err(format!(
                "\"{what}\": a recording is past, and nothing can happen to trailer, line or tank any more; with a \
                 recording only instruments can go wrong, as in \"tank level: stuck\""
            ));
        };
        what.can(&self.bay, &self.wired)?;
        Ok((on, wrong))
    }

    /// From this moment on nothing is wrong any more.
    pub fn mend(&mut self, at: EngineTime) {
        self.faults.retain(|fault| fault.from < at);
        self.faults.iter_mut().for_each(|fault| fault.until = fault.until.min(at));
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

    /// What the device of a signal says of itself at a time, where a fault lets it.
    #[must_use]
    pub fn says(&self, signal: u16, at: EngineTime) -> Status {
        let on = self.wired.get(usize::from(signal)).map(|(on, _)| *on);
        let says = |fault: &Fault| match fault.wrong {
            Wrong::Says(says) if Some(fault.on) == on && fault.is_on(at) => Some(says),
            _ => None,
        };
        self.faults.iter().filter_map(says).max().unwrap_or_default()
    }

    fn devices_of<'a>(&'a self, settings: &'a Settings, on: Instrument) -> impl Iterator<Item = u16> + 'a {
        let signals = self.wired.iter().zip(&settings.signals);
        signals.filter(move |((instrument, _), _)| *instrument == on).map(|(_, signal)| signal.device)
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
        let is_total = matches!(kind, SignalKind::FlowMassTotal | SignalKind::FlowVolumeTotal);
        if is_total {
            self.count(at, kind, si, now);
        }
        let mut shown = si + self.totals[at].off;
        for fault in self.faults.iter().filter(|f| f.on == self.wired[at].0 && f.is_on(now)) {
            let size = self.size(fault, kind);
            shown = match fault.wrong {
                Wrong::Stuck => self.last[at].unwrap_or(si),
                // Its counting is at fault, not what it shows.
                _ if is_total => shown,
                Wrong::Shift => shown + size,
                Wrong::Creep => shown + size * now.since_s(fault.from) / 3600.0,
                Wrong::Gain => shown * (1.0 + size),
                Wrong::Saturated | Wrong::Elsewhere => size,
                Wrong::Exception | Wrong::Silent | Wrong::Replayed | Wrong::Says(_) => shown,
            };
        }
        shown
    }

    /// The totalizer adds up what was recorded and what its rate is off by.
    fn count(&mut self, at: usize, kind: SignalKind, si: f64, now: EngineTime) {
        let Some((then, before)) = self.totals[at].recorded.filter(|(then, _)| *then < now) else {
            self.totals[at].recorded.get_or_insert((now, si));
            return;
        };
        for fault in self.faults.iter().filter(|f| f.on == self.wired[at].0 && f.from < now && then < f.until) {
            let (begin, end) = (then.max(fault.from), now.min(fault.until));
            let (for_s, size) = (end.since_s(begin), self.size(fault, kind));
            let counted = (si - before) * for_s / now.since_s(then);
            self.totals[at].off += match fault.wrong {
                Wrong::Shift => size * for_s,
                Wrong::Creep => size * begin.midpoint(end).since_s(fault.from) / 3600.0 * for_s,
                Wrong::Gain => size * counted,
                Wrong::Saturated | Wrong::Elsewhere => size * for_s - counted,
                Wrong::Stuck | Wrong::Exception | Wrong::Silent | Wrong::Replayed | Wrong::Says(_) => 0.0,
            };
        }
        self.totals[at].recorded = Some((now, si));
    }

    fn size(&self, fault: &Fault, kind: SignalKind) -> f64 {
        match kind {
            SignalKind::FlowVolumeRate | SignalKind::FlowVolumeTotal if fault.wrong != Wrong::Gain => {
                fault.size / self.density_kg_per_m3
            }
            _ => fault.size,
        }
    }
}

impl Fault {
    fn is_on(&self, now: EngineTime) -> bool {
        (self.from..self.until).contains(&now)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A watch of the drill's works that heard nothing.
    fn altered() -> (Altered, usize, usize) {
        let (site, _) = crate::scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let settings = &site.bays[0].settings;
        let wired = wrong::wired(&site.bays[0]);
        let at = |kind| settings.signals.iter().position(|signal| signal.kind == kind).expect("a signal");
        let (total, scale) = (at(SignalKind::FlowMassTotal), at(SignalKind::Scale));
        let (last, totals) = (vec![None; wired.len()], vec![Total::default(); wired.len()]);
        let (bay, faults) = ("bay-1".to_owned(), Vec::new());
        (Altered { bay, faults, wired, density_kg_per_m3: 1500.0, last, totals }, total, scale)
    }

    /// What each second shows of what counts 10 kg/s, or stands at 0.
    fn shown(altered: &mut Altered, at: usize, kind: SignalKind, s: std::ops::Range<u32>) -> f64 {
        let rate = if kind == SignalKind::FlowMassTotal { 10.0 } else { 0.0 };
        let mut last = f64::NAN;
        for s in s.map(f64::from) {
            last = altered.shown(at, kind, rate * s, EngineTime(0).plus_s(s));
            altered.last[at] = Some(last);
        }
        last
    }

    /// Expected: sizes times time by hand.
    #[test]
    fn a_total_keeps_what_it_counted_wrong_and_a_scale_comes_back() {
        let (mut altered, total, scale) = altered();
        let wrong = |text: &str| GoesWrong::parse(text).unwrap_or_else(|why| panic!("{why}"));
        let at = |s: f64| EngineTime(0).plus_s(s);
        altered.add(&wrong("flow meter: gain, -20 %"), at(100.5)).expect("it has one");
        altered.add(&wrong("flow meter: shift, 60 kg/min, for 10 s"), at(200.0)).expect("it has one");
        altered.add(&wrong("truck scale: creep, 0.36 t/h"), at(100.0)).expect("it has one");
        let kinds = (SignalKind::FlowMassTotal, SignalKind::Scale);
        assert!((shown(&mut altered, total, kinds.0, 0..100) - 990.0).abs() < 1e-9);
        // 49.5 s by 10 kg/s by a fifth are missing.
        assert!((shown(&mut altered, total, kinds.0, 100..151) - (1500.0 - 99.0)).abs() < 1e-9);
        assert!((shown(&mut altered, scale, kinds.1, 0..151) - 5.0).abs() < 1e-9);
        altered.mend(at(150.0));
        assert!(
            (shown(&mut altered, total, kinds.0, 151..301) - (3000.0 - 99.0)).abs() < 1e-9,
            "mended before it came"
        );
        assert!(shown(&mut altered, scale, kinds.1, 151..301).abs() < 1e-9);
        altered.add(&wrong("flow meter: shift, 60 kg/min, for 10 s"), at(310.0)).expect("it has one");
        altered.add(&wrong("flow meter: stuck"), at(400.0)).expect("it has one");
        assert!((shown(&mut altered, total, kinds.0, 301..399) - (3980.0 - 99.0 + 10.0)).abs() < 1e-9);
        assert!((shown(&mut altered, total, kinds.0, 399..500) - (3990.0 - 89.0)).abs() < 1e-9, "it stands");
        assert!(altered.add(&wrong("leak before the meter, 6 kg/min"), at(1.0)).expect_err("no").contains("is past"));
        assert!(altered.add(&wrong("draw-off: stuck"), at(1.0)).expect_err("none there").contains("has no draw-off"));
    }
}
