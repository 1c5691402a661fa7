//! A row of the history as what it says: when, each signal's value, the phase.

use super::error::ImportError;
use super::table::Table;
use crate::config::Columns;
use crate::config::columns::{Reads, SignalColumn};
use crate::engine::input::{Measured, Status, What};
use crate::engine::settings::{DrawOff, RestsOnScale, Settings, SignalKind, SignalSetup};
use crate::time::WallTime;

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// When it was.
    pub at: WallTime,
    /// Its line in the text.
    pub line: u64,
    /// What it says of each channel.
    pub fields: Vec<Field>,
    /// What its phase asks for; `None`: it has none.
    pub phase: Option<PhaseWord>,
}

/// What a field says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Field {
    /// Nothing.
    Empty,
    /// A value, or that it is none, and what is said of it.
    Value(Measured, Status),
}

/// A phase, as far as entries go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhaseWord {
    /// The transfer is on.
    Transfer,
    /// The leg is closed.
    Closed,
    /// Any other.
    Other,
}

impl PhaseWord {
    /// What a person entered when the bay came into it.
    pub fn entered(self) -> Option<What> {
        match self {
            PhaseWord::Transfer => Some(What::TransferStarted),
            PhaseWord::Closed => Some(What::Closed),
            PhaseWord::Other => None,
        }
    }
}

/// A signal, and where its value stands in a row.
#[derive(Debug, Clone)]
pub struct Channel {
    /// Index of the signal in the fitted settings.
    pub signal: u16,
    /// Index of its device there.
    pub device: u16,
    /// How it is read.
    pub map: SignalColumn,
    column: usize,
    quality: Option<usize>,
}

/// The bay as far as the history tells of it. A signal without a column is taken for not fitted: one that is fitted and
/// never read would be an alarm from beginning to end. Nothing is known of heartbeats; a device is late only where the
/// history's own period says so.
pub fn fitted(settings: &Settings, columns: &Columns) -> Settings {
    let has = |index: usize| columns.signals.iter().any(|c| c.signal == index);
    let mut fitted = settings.clone();
    let kept: Vec<SignalSetup> =
        settings.signals.iter().enumerate().filter(|(i, _)| has(*i)).map(|(_, s)| s.clone()).collect();
    let used = |device: usize| kept.iter().any(|s| usize::from(s.device) == device);
    let devices: Vec<usize> = (0..settings.devices.len()).filter(|&d| used(d)).collect();
    fitted.devices = devices.iter().map(|&d| settings.devices[d].clone()).collect();
    for device in &mut fitted.devices {
        device.period_s = columns.period_s.map_or(device.period_s, |period_s| period_s.max(device.period_s));
        device.heartbeat_s = None;
    }
    let place = |device: u16| devices.iter().position(|&d| d == usize::from(device)).map_or(0, narrow);
    fitted.signals = kept.iter().map(|s| SignalSetup { device: place(s.device), ..s.clone() }).collect();
    if !fitted.signals.iter().any(|s| s.kind == SignalKind::Scale) {
        fitted.rests_on_scale = RestsOnScale::None;
    }
    for (tank, setup) in (0_u16..).zip(&mut fitted.tanks) {
        let measured = fitted.signals.iter().any(|s| s.kind == SignalKind::DrawOff && s.tank == Some(tank));
        if setup.draw_off == DrawOff::Measured && !measured {
            setup.draw_off = DrawOff::Unknown;
        }
    }
    fitted
}

fn narrow(index: usize) -> u16 {
    u16::try_from(index).unwrap_or(u16::MAX)
}

/// Reads rows by a column map.
pub struct Reader<'c> {
    columns: &'c Columns,
    channels: Vec<Channel>,
    time: Vec<usize>,
    phase: Option<usize>,
    /// The latest time so far.
    latest: Option<WallTime>,
}

impl<'c> Reader<'c> {
    /// Finds every column that the map names.
    pub fn new(table: &Table, columns: &'c Columns, fitted: &Settings) -> Result<Reader<'c>, ImportError> {
        let mut by_signal: Vec<&SignalColumn> = columns.signals.iter().collect();
        by_signal.sort_by_key(|c| c.signal);
        let mut channels = Vec::new();
        for (i, map) in by_signal.into_iter().enumerate() {
            let quality = map.quality.as_ref().map(|(name, _)| table.column(name)).transpose()?;
            let column = table.column(&map.column)?;
            channels.push(Channel {
                signal: narrow(i),
                device: fitted.signals[i].device,
                map: map.clone(),
                column,
                quality,
            });
        }
        let time = columns.time.iter().map(|name| table.column(name)).collect::<Result<_, _>>()?;
        let phase = columns.phase.as_ref().map(|phase| table.column(&phase.column)).transpose()?;
        Ok(Reader { columns, channels, time, phase, latest: None })
    }

    /// The channels, in the order of a row's fields.
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// The (first) column of the time.
    pub fn time_column(&self) -> usize {
        self.time.first().copied().unwrap_or_default()
    }

    /// When the table's present row was.
    pub fn time(&mut self, table: &Table) -> Result<WallTime, ImportError> {
        let first = self.time_column();
        let joined;
        let text = if let [only] = self.time[..] {
            table.field(only)?
        } else {
            joined = self.time.iter().map(|&c| table.field(c)).collect::<Result<Vec<_>, _>>()?.join(" ");
            &joined
        };
        let at = self.columns.moments.read(text, self.latest).map_err(|why| {
            table.wrong(first, &format!("{text:?} {why}"), "mend the row, or correct [time] in the column map")
        })?;
        self.latest = self.latest.max(Some(at));
        Ok(at)
    }

    /// What the table's present row says.
    pub fn row(&self, table: &Table, at: WallTime) -> Result<Row, ImportError> {
        let fields = self.channels.iter().map(|c| self.value(table, c)).collect::<Result<_, _>>()?;
        let phase = match (self.phase, &self.columns.phase) {
            (Some(column), Some(map)) => {
                let text = table.field(column)?;
                let is = |words: &[String]| words.iter().any(|word| word == text);
                let word = if is(&map.transfer) {
                    PhaseWord::Transfer
                } else if is(&map.closed) {
                    PhaseWord::Closed
                } else {
                    PhaseWord::Other
                };
                (!self.is_empty(text)).then_some(word)
            }
            _ => None,
        };
        Ok(Row { at, line: table.line(), fields, phase })
    }

    fn is_empty(&self, text: &str) -> bool {
        text.is_empty() || self.columns.empty.iter().any(|empty| empty == text)
    }

    fn value(&self, table: &Table, channel: &Channel) -> Result<Field, ImportError> {
        let text = table.field(channel.column)?;
        if self.is_empty(text) {
            return Ok(Field::Empty);
        }
        let status = match (channel.quality, &channel.map.quality) {
            (Some(column), Some((_, good))) => {
                let quality = table.field(column)?;
                if good.iter().any(|word| word == quality) { Status::Fair } else { Status::Failure }
            }
            _ => Status::Fair,
        };
        if self.columns.bad.iter().any(|bad| bad == text) {
            return Ok(Field::Value(Measured::NotANumber, status));
        }
        let measured = match &channel.map.reads {
            Reads::Number { factor, offset } => {
                self.columns.number(text).map(|n| n * factor + offset).filter(|si| si.is_finite()).map(Measured::Number)
            }
            Reads::YesNo(yes, no) => {
                let is = |words: &[String]| words.iter().any(|word| word.eq_ignore_ascii_case(text));
                if is(yes) { Some(true) } else { is(no).then_some(false) }.map(Measured::Flag)
            }
        };
        match measured {
            Some(measured) => Ok(Field::Value(measured, status)),
            None => Err(table.wrong(channel.column, &self.no_value(text, channel), ACT)),
        }
    }

    fn no_value(&self, text: &str, channel: &Channel) -> String {
        match &channel.map.reads {
            Reads::YesNo(yes, no) => {
                format!("{text:?} is none of the texts for yes ({}) and no ({})", yes.join(", "), no.join(", "))
            }
            Reads::Number { .. } => {
                let mark = if self.columns.decimal_comma { "comma" } else { "point" };
                format!("{text:?} is no number with a decimal {mark} and without marks between thousands")
            }
        }
    }
}

const ACT: &str = "correct decimal, separator, yes or no in the column map, or add the text to bad or empty there";
