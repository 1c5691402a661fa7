//! From the recordings of one delivery to its row.

use super::row::{Mass, Row, pair_u_kg};
use crate::engine::alarm::catalogue;
use crate::engine::delivery::ticket_kg;
use crate::engine::frame::{Frame, Phase, Witness};
use crate::engine::input::{Event, What};
use crate::engine::settings::{DeliverySetup, LineStart, Settings};
use crate::engine::witness::density;
use crate::recording::format::{Kind, Record};
use crate::recording::json::form_json;
use crate::recording::origin::Origin;
use crate::recording::{RecordingError, reader, stream};
use crate::time::WallTime;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// A ticket's net beyond the planned amount by more than this many of its standard uncertainties is a load of which only a
/// part is meant for this tank: it is not compared.
const PART_U: f64 = 3.0;
/// Standard uncertainties in an expanded one (JCGM 100:2008, 6.3.3: about 95 %).
const COVERAGE: f64 = 2.0;

/// What has been seen of a delivery so far.
#[derive(Default)]
struct Seen {
    settings: Option<Settings>,
    setup: Option<DeliverySetup>,
    carrier: Option<String>,
    drill: bool,
    imported: bool,
    opened: Option<WallTime>,
    started: Option<WallTime>,
    closed: Option<WallTime>,
    /// What was known when it was closed, before that in the end.
    frame: Option<Box<Frame>>,
    alarms: BTreeSet<String>,
    prompts: BTreeSet<String>,
    gaps: usize,
    damage: Vec<String>,
}

/// The row of the delivery that these recordings are of, in their order; `None`: they are of none.
///
/// # Errors
/// When one of them is no recording or one that this program cannot read, or the file system refuses. What stands before the
/// first damage is taken, and the row says where that is.
pub(super) fn gather(paths: &[PathBuf]) -> Result<Option<Row>, RecordingError> {
    let mut seen = Seen::default();
    for path in paths {
        let mut recording = stream::open(path)?;
        let header = recording.header();
        seen.drill |= header.drill_speed.is_some();
        seen.imported |= Origin::of(header).is_some();
        seen.settings = Some(header.settings.clone());
        if let Some(carried) = &header.carried.delivery {
            seen.setup.get_or_insert_with(|| carried.setup.clone());
        }
        let texts = header.texts.clone();
        while let Some(record) = recording.next_record()? {
            let taken = match record.kind {
                Kind::Input => seen.input(&record, &texts),
                Kind::Output => seen.output(&record),
                _ => Ok(()),
            };
            if let Err(why) = taken {
                let (kind, number) = (record.kind.word(), record.number);
                seen.damage.push(format!("{}: {kind} {number} cannot be read: {why}", path.display()));
                break;
            }
        }
        if let Some(stopped) = recording.stopped() {
            seen.damage.push(format!("{}: {stopped}", path.display()));
        }
    }
    Ok(seen.row())
}

impl Seen {
    fn input(&mut self, record: &Record<'_>, texts: &[(String, String)]) -> Result<(), String> {
        match reader::input(record)?.event {
            Event::Entry(entry) => {
                if let What::DeliveryOpened(setup) = entry.what {
                    self.carrier = texts.iter().find_map(|(_, text)| carrier(text, &setup.id));
                    self.setup = Some(*setup);
                    (self.opened, self.started, self.closed, self.frame) = (None, None, None, None);
                    self.alarms.clear();
                    self.prompts.clear();
                    self.gaps = 0;
                }
            }
            Event::Settings(new) => self.settings = Some(new.settings),
            Event::Resumed(_) if self.closed.is_none() => self.gaps += 1,
            _ => {}
        }
        Ok(())
    }

    fn output(&mut self, record: &Record<'_>) -> Result<(), String> {
        if self.closed.is_some() || self.setup.is_none() {
            return Ok(());
        }
        let frame = reader::frame(record)?;
        let Some(delivery) = &frame.delivery else { return Ok(()) };
        let at = |engine| frame.clock.wall_at(engine);
        self.opened.get_or_insert(at(frame.at));
        if let Some(started) = delivery.started {
            self.started.get_or_insert(at(started));
        }
        if frame.phase == Phase::Closed {
            self.closed = Some(at(delivery.closed.unwrap_or(frame.at)));
        }
        for alarm in &frame.alarms {
            let kind = if catalogue::of(alarm.key.id).prompt { &mut self.prompts } else { &mut self.alarms };
            kind.insert(format!("{:?}", alarm.key));
        }
        self.frame = Some(Box::new(frame));
        Ok(())
    }

    fn row(self) -> Option<Row> {
        let (setup, settings) = (self.setup?, self.settings?);
        let frame = self.frame.as_deref();
        let credible = |at: usize| frame.map(|f| &f.witnesses[at]).filter(|w| w.validity.is_credible());
        let mass = |w: &Witness| w.received_kg.map(Mass::from);
        let pair = |one, other| Some(pair_u_kg(credible(one)?, credible(other)?));
        let ticket = Mass { kg: ticket_kg(&setup, &settings.gas), u_kg: setup.ticket_u.0 };
        let received = frame.and_then(|f| f.together).map(|t| Mass::from(t.received_kg));
        let whole = setup.ticket_net.0 <= setup.planned.0 + PART_U * setup.ticket_u.0;
        let in_line = if whole { in_line(&setup, &settings) } else { None };
        let closed = self.closed.is_some();
        let difference = received.zip(in_line).filter(|_| closed).map(|(received, line)| Mass {
            kg: received.kg + line.kg - ticket.kg,
            u_kg: (received.u_kg * received.u_kg + line.u_kg * line.u_kg + ticket.u_kg * ticket.u_kg).sqrt(),
        });
        Some(Row {
            recordings: Vec::new(),
            drill: self.drill,
            imported: self.imported,
            bay: settings.bay.clone(),
            delivery: setup.id.clone(),
            product: setup.product.name.clone(),
            tank: settings.tanks.get(usize::from(setup.tank)).map_or_else(String::new, |tank| tank.name.clone()),
            carrier: self.carrier,
            opened_unix_ns: self.opened.map(|at| at.0),
            started_unix_ns: self.started.map(|at| at.0),
            closed_unix_ns: self.closed.map(|at| at.0),
            is_closed: closed,
            planned_kg: setup.planned.0,
            ticket_net_kg: setup.ticket_net.0,
            ticket_kg: ticket,
            witnesses: [0, 1, 2].map(|at| credible(at).and_then(mass)),
            pairs_u_kg: [pair(0, 1), pair(0, 2), pair(1, 2)],
            received_kg: received,
            in_line_kg: in_line,
            difference_kg: difference,
            en: difference.map(|d| d.kg / (COVERAGE * d.u_kg)),
            verdict: frame
                .map_or_else(String::new, |f| form_json(&f.verdict.word).as_str().unwrap_or_default().to_owned()),
            alarms: self.alarms.len(),
            prompts: self.prompts.len(),
            gaps: self.gaps,
            damage: self.damage,
        })
    }
}

/// What left the trailer and filled the line; `None`: the density is not known.
fn in_line(setup: &DeliverySetup, settings: &Settings) -> Option<Mass> {
    let line = &settings.line;
    if line.starts == LineStart::Full {
        return Some(Mass { kg: 0.0, u_kg: 0.0 });
    }
    let density = density::density(&setup.product, setup.product.load_temperature)?.0;
    let (before, after) = (line.upstream.0 * density, line.downstream.0 * density);
    Some(Mass { kg: before + after, u_kg: before.hypot(after) * line.volume_u })
}

/// The carrier that the papers of this delivery name.
fn carrier(text: &str, id: &str) -> Option<String> {
    let papers = text.parse::<toml::Table>().ok()?;
    let of_this = papers.get("id")?.as_str()? == id;
    papers.get("carrier")?.as_str().filter(|name| of_this && !name.is_empty()).map(str::to_owned)
}
