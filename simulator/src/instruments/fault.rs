//! What can go wrong with an instrument, when and by how much. What goes wrong with trailer, line and tank is the
//! plant's.

use super::Instrument;
use super::channel::Disorder;
use brimwatch::poll::registers::Status;
use std::fmt;

/// What goes wrong. The size is in the instrument's own SI unit, but where said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wrong {
    /// The zero moves at once by the size. Before the start: the opening reading is off.
    Shift,
    /// The zero creeps by the size each hour.
    Creep,
    /// The gain is off by the size, 1.
    Gain,
    /// The last value is repeated; the size means nothing.
    Stuck,
    /// The size is shown, whatever is so: an end of the range.
    Saturated,
    /// Another place is measured, where the value is the size: the neighbour tank's gauge, a sight tube shut off.
    Elsewhere,
    /// Its device answers with a Modbus exception; the size means nothing.
    Exception,
    /// Its device answers nothing; the size means nothing.
    Silent,
    /// The gateway of its device answers with what it has kept: every value behind it is repeated together,
    /// heartbeat too; the size means nothing.
    Replayed,
    /// Its device says this of itself, by the classes of NAMUR NE 107, whatever it shows; the size means nothing.
    Says(Status),
}

impl Wrong {
    /// All, in order.
    pub const ALL: [Wrong; 13] = [
        Wrong::Shift,
        Wrong::Creep,
        Wrong::Gain,
        Wrong::Stuck,
        Wrong::Saturated,
        Wrong::Elsewhere,
        Wrong::Exception,
        Wrong::Silent,
        Wrong::Replayed,
        Wrong::Says(Status::Failure),
        Wrong::Says(Status::FunctionCheck),
        Wrong::Says(Status::OutOfSpecification),
        Wrong::Says(Status::MaintenanceRequired),
    ];

    /// The one that is written so, see its `Display`.
    #[must_use]
    pub fn named(name: &str) -> Option<Wrong> {
        Wrong::ALL.into_iter().find(|w| w.to_string() == name)
    }
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Wrong::Shift => "shift",
            Wrong::Creep => "creep",
            Wrong::Gain => "gain",
            Wrong::Stuck => "stuck",
            Wrong::Saturated => "saturated",
            Wrong::Elsewhere => "elsewhere",
            Wrong::Exception => "exception",
            Wrong::Silent => "silent",
            Wrong::Replayed => "replayed",
            Wrong::Says(Status::Failure) => "says failure",
            Wrong::Says(Status::FunctionCheck) => "says function check",
            Wrong::Says(Status::OutOfSpecification) => "says out of specification",
            Wrong::Says(Status::MaintenanceRequired) => "says maintenance required",
            Wrong::Says(Status::Fair) => "says nothing",
        })
    }
}

/// How a device answers. From the best to the worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Answer {
    /// With what its instruments show now.
    #[default]
    Fresh,
    /// With what was kept when the replay began.
    Replayed,
    /// With an exception.
    Exception,
    /// Not at all.
    Silent,
}

/// One fault of one instrument. Two at once are two of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InstrumentFault {
    /// What.
    pub wrong: Wrong,
    /// With which instrument; for a device's or gateway's fault: any that it serves.
    pub on: Instrument,
    /// From this time of the plant on, s.
    pub at_s: f64,
    /// For so long, s.
    pub for_s: f64,
    /// See [`Wrong`].
    pub size: f64,
}

impl InstrumentFault {
    /// From `at_s` on, for good.
    #[must_use]
    pub fn new(wrong: Wrong, on: Instrument, at_s: f64, size: f64) -> InstrumentFault {
        InstrumentFault { wrong, on, at_s, for_s: f64::INFINITY, size }
    }

    /// The same, over after `for_s`.
    #[must_use]
    pub fn lasting(self, for_s: f64) -> InstrumentFault {
        InstrumentFault { for_s, ..self }
    }

    /// Whether it is there now.
    #[must_use]
    pub fn is_on(&self, now_s: f64) -> bool {
        (self.at_s..self.at_s + self.for_s).contains(&now_s)
    }

    /// How the device answers while the fault is there.
    #[must_use]
    pub fn answer(&self) -> Answer {
        match self.wrong {
            Wrong::Exception => Answer::Exception,
            Wrong::Silent => Answer::Silent,
            Wrong::Replayed => Answer::Replayed,
            _ => Answer::Fresh,
        }
    }

    /// What its device says of itself while the fault is there.
    #[must_use]
    pub fn says(&self) -> Status {
        if let Wrong::Says(says) = self.wrong { says } else { Status::Fair }
    }

    /// Adds what this fault does to an instrument that it reaches.
    pub(super) fn disturb(&self, now_s: f64, disorder: &mut Disorder) {
        match self.wrong {
            Wrong::Shift => disorder.zero += self.size,
            Wrong::Creep => disorder.zero += self.size * (now_s - self.at_s) / 3600.0,
            Wrong::Gain => disorder.gain += self.size,
            Wrong::Stuck | Wrong::Replayed => disorder.held = true,
            Wrong::Saturated => disorder.forced = Some(self.size),
            Wrong::Elsewhere => disorder.instead = Some(self.size),
            Wrong::Exception | Wrong::Silent | Wrong::Says(_) => {}
        }
    }
}

impl fmt::Display for InstrumentFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let InstrumentFault { wrong, on, at_s, for_s, size } = self;
        write!(f, "{on}: {wrong}, size {size}, at {at_s} s for {for_s} s")
    }
}
