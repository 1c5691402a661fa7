//! Steps the monitor through a history as the live loop would have: polls, entries, a tick each second.

use super::error::ImportError;
use super::rows::{Channel, Field, PhaseWord, Row};
use crate::config::columns::{Columns, TimedEntry};
use crate::config::moment::shown;
use crate::engine::Monitor;
use crate::engine::frame::Phase;
use crate::engine::input::{
    Carried, Entry, Event, Gap, GapClock, Input, Measured, MissReason, Missed, Poll, SignalValue, Status, What,
};
use crate::engine::settings::{DeliverySetup, Settings};
use crate::recording::writer::Recorder;
use crate::time::{EngineTime, SECOND_NS, WallTime};
use std::collections::VecDeque;

/// Rows this far apart are no silence of the devices: whoever wrote the history was away, and so nobody watched, s.
const AWAY_S: f64 = 600.0;
/// Who opens a delivery whose papers came by file.
const BY_FILE: &str = "delivery file";

/// What was fed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Rows that became inputs.
    pub rows: u64,
    /// Answers of devices.
    pub polls: u64,
    /// Answers that were missing.
    pub missed: u64,
    /// Values that the history repeated for longer than its map allows.
    pub held: u64,
    /// Times that nobody wrote the history.
    pub gaps: u64,
    /// Entries.
    pub entries: u64,
    /// Rows that came when what the row before them said was too old to be used.
    pub late: u64,
}

/// A history under way through a monitor.
pub struct Run<'c> {
    columns: &'c Columns,
    channels: Vec<Channel>,
    /// For each channel the last value and since when it has been that.
    last: Vec<Option<(Measured, WallTime)>>,
    entries: VecDeque<TimedEntry>,
    phase: Option<PhaseWord>,
    monitor: Monitor,
    recorder: Recorder,
    devices: u16,
    /// The shortest time after which a device's values are old, s.
    on_time_s: f64,
    zero: WallTime,
    /// Engine time of the last row.
    at: EngineTime,
    next_tick_s: u64,
    leg: u8,
    pub counts: Counts,
}

impl<'c> Run<'c> {
    /// Begins at the time of the first row: clock, papers.
    pub fn begin(
        columns: &'c Columns,
        channels: &[Channel],
        (settings, delivery): (Settings, Option<&DeliverySetup>),
        recorder: Recorder,
        zero: WallTime,
    ) -> Run<'c> {
        let mut run = Run {
            columns,
            channels: channels.to_vec(),
            last: vec![None; channels.len()],
            entries: columns.entries.iter().cloned().collect(),
            phase: None,
            devices: u16::try_from(settings.devices.len()).unwrap_or(u16::MAX),
            on_time_s: settings.devices.iter().map(|d| d.period_s + d.time_out_s).fold(f64::INFINITY, f64::min),
            monitor: Monitor::new(settings, Carried::default()),
            recorder,
            zero,
            at: EngineTime(0),
            next_tick_s: 1,
            leg: 1,
            counts: Counts::default(),
        };
        run.step(EngineTime(0), Event::Clock(zero));
        if let Some(delivery) = delivery {
            let what = What::DeliveryOpened(Box::new(delivery.clone()));
            run.leg = delivery.leg;
            run.step(EngineTime(0), Event::Entry(Entry { who: BY_FILE.to_owned(), leg: run.leg, what }));
        }
        run
    }

    /// Takes the next row.
    pub fn row(&mut self, row: &Row) -> Result<(), ImportError> {
        let at = self.engine(row.at);
        if at.since_s(self.at) > AWAY_S {
            self.away(at)?;
        } else {
            self.advance(at, false)?;
        }
        self.counts.late += u64::from(at.since_s(self.at) > self.on_time_s);
        self.at = at;
        self.counts.rows += 1;
        let fields: Vec<Option<Field>> = (0..self.channels.len()).map(|i| self.new_reading(i, row)).collect();
        for device in 0..self.devices {
            self.device(device, at, &fields);
        }
        if let Some(phase) = row.phase.filter(|phase| self.phase != Some(*phase)) {
            self.phase = Some(phase);
            if let Some(what) = phase.entered() {
                let who = self.columns.phase.as_ref().map_or_else(String::new, |phase| phase.who.clone());
                self.enter(at, Entry { who, leg: self.leg, what })?;
            }
        }
        Ok(())
    }

    /// Ends after the last row: what is due at its time still happens. Gives what is still to be entered.
    pub fn end(mut self) -> Result<(Counts, Option<TimedEntry>, Phase, Recorder), ImportError> {
        self.advance(self.at, true)?;
        Ok((self.counts, self.entries.pop_front(), self.monitor.phase(), self.recorder))
    }

    /// What the recorder writes through.
    pub fn recorder(&self) -> &Recorder {
        &self.recorder
    }

    fn engine(&self, at: WallTime) -> EngineTime {
        EngineTime(u64::try_from(at.0.saturating_sub(self.zero.0)).unwrap_or(0))
    }

    /// The field of a channel, unless the row is not about it or it is a value that the history only held.
    fn new_reading(&mut self, channel: usize, row: &Row) -> Option<Field> {
        let field = row.fields[channel];
        let Field::Value(measured, status) = field else { return (field != Field::Absent).then_some(field) };
        match self.last[channel] {
            Some((value, since)) if value == measured => {
                let same_s = self.engine(row.at).since_s(self.engine(since));
                let is_held = self.channels[channel].map.held_longer_than_s.is_some_and(|most_s| same_s > most_s);
                if is_held && status == Status::Fair {
                    self.counts.held += 1;
                    return None;
                }
            }
            _ => self.last[channel] = Some((measured, row.at)),
        }
        Some(field)
    }

    /// What a row says of one device.
    fn device(&mut self, device: u16, at: EngineTime, fields: &[Option<Field>]) {
        let missed = self.columns.empty_is_missed;
        let (mut values, mut answered) = (Vec::new(), false);
        for (channel, field) in self.channels.iter().zip(fields).filter(|(c, _)| c.device == device) {
            let signal = channel.signal;
            match field {
                Some(Field::Value(value, status)) => {
                    values.push(SignalValue { signal, value: *value, status: *status });
                    answered = true;
                }
                // One of several that the device answers with: it answered, and not with a number.
                Some(Field::Empty) if missed => {
                    values.push(SignalValue { signal, value: Measured::NotANumber, status: Status::Fair });
                }
                Some(Field::Empty) => {}
                Some(Field::Absent) | None => answered = true,
            }
        }
        if values.is_empty() {
            return;
        }
        if answered {
            self.counts.polls += 1;
            self.step(at, Event::Poll(Poll { values, ..Poll::at_once(device, at, []) }));
        } else {
            self.counts.missed += 1;
            self.step(at, Event::Missed(Missed { device, requested: at, reason: MissReason::TimeOut }));
        }
    }

    /// Lets time pass up to a row: entries and ticks, in their order; those at that very time too where `with` it.
    fn advance(&mut self, to: EngineTime, with: bool) -> Result<(), ImportError> {
        let due = |at: EngineTime| at < to || with && at == to;
        loop {
            let tick = EngineTime(self.next_tick_s * SECOND_NS);
            let entry = self.entries.front().map(|entry| self.engine(entry.at)).filter(|&at| due(at));
            match entry {
                Some(at) if at <= tick => self.enter_next(at)?,
                _ if due(tick) => {
                    self.next_tick_s += 1;
                    self.step(tick, Event::Tick);
                }
                _ => return Ok(()),
            }
        }
    }

    /// Nobody wrote the history up to `to`.
    fn away(&mut self, to: EngineTime) -> Result<(), ImportError> {
        let from = self.at;
        self.advance(from, true)?;
        while let Some(at) = self.entries.front().map(|entry| self.engine(entry.at)).filter(|&at| at < to) {
            self.enter_next(at)?;
        }
        self.counts.gaps += 1;
        self.step(to, Event::Resumed(Gap { from, to, known_by: GapClock::WallClock }));
        self.next_tick_s = to.0.div_ceil(SECOND_NS);
        Ok(())
    }

    fn enter_next(&mut self, at: EngineTime) -> Result<(), ImportError> {
        match self.entries.pop_front() {
            Some(TimedEntry { what, who, .. }) => self.enter(at, Entry { who, leg: self.leg, what }),
            None => Ok(()),
        }
    }

    fn enter(&mut self, at: EngineTime, entry: Entry) -> Result<(), ImportError> {
        if self.monitor.admits(&entry.what).is_err() {
            let when = shown(WallTime(self.zero.0.saturating_add_unsigned(at.0)));
            let (what, why) = match entry.what {
                What::Closed => ("closed", "no transfer is on then"),
                _ => ("transfer_started", "a transfer of this delivery was started before"),
            };
            return Err(ImportError::Needs(format!(
                "the entry {what} at {when} cannot be taken: {why}; correct [[entry]] or [phase] in the column map, or \
                 narrow from and to there to one transfer; nothing was written"
            )));
        }
        self.counts.entries += 1;
        self.step(at, Event::Entry(entry));
        Ok(())
    }

    /// Records an input, steps it, records what came of it.
    fn step(&mut self, at: EngineTime, event: Event) {
        let input = Input { at, event };
        let number = self.recorder.input(&input);
        let output = self.monitor.step(&input);
        if let Some(frame) = output.frame.filter(|_| output.keep) {
            self.recorder.output(number, &frame);
        }
    }
}
