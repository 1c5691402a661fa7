//! One bay's task: gives everything that happens one order, records it, steps it, shows what came of it.

use super::change::NewSettings;
use super::neighbours::Talk;
use super::open::Opening;
use super::segment::{self, Beginning, Segment};
use super::{facts, not_before};
use crate::clock::{Clock, MachineTime, machine_duration, wall_now};
use crate::config::{BaySetup, DeliveryFile, Site};
use crate::engine::Monitor;
use crate::engine::frame::{Alarm, Frame, Output, Phase, VerdictWord};
use crate::engine::input::{
    Block, Carried, Event, Gap, GapClock, Input, Missed, Poll, RecorderState, SettingsText, What,
};
use crate::engine::settings::Settings;
use crate::page::feed::{DeviceStats, EntryRequest, Facts, Published, Work};
use crate::picture::Past;
use crate::poll::device::{Answer, Round};
use crate::poll::schedule::Schedule;
use crate::poll::stats::Stats;
use crate::recording::writer::{Progress, Recorder};
use crate::time::{EngineTime, SECOND_NS, WallTime};
use crate::words::{Language, NotTaken, en::English};
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{mpsc, oneshot, watch};

/// Engine time between ticks, s.
const TICK_S: f64 = 1.0;
/// Repeats within this are merged, machine time.
const MERGE: Duration = Duration::from_millis(100);
/// The wall clock is looked at this often, s of engine time.
const WALL_LOOK_S: u64 = 10;
/// A wall clock that is off by more than this was set, ns.
const WALL_STEP_NS: u64 = SECOND_NS / 2;
/// Ticks are a second apart: after so long without any input nobody watched (the machine slept, the program was held).
const BLIND_AFTER: Duration = Duration::from_secs(5);
/// Between two attempts to begin a segment, machine time.
const MEND_EVERY: Duration = Duration::from_secs(1);
/// An idle segment lasts this long, s.
const IDLE_SEGMENT_S: u64 = 24 * 3600;

/// One bay under watch.
pub struct Bay {
    site: String,
    setup: BaySetup,
    folder: PathBuf,
    texts: Vec<(String, String)>,
    keep_idle_days: u32,
    settings: Arc<Settings>,
    drill_speed: Option<f64>,
    clock: Clock,
    monitor: Monitor,
    recorder: Option<Recorder>,
    /// That of a segment which our own fault ended.
    past: Option<Recorder>,
    progress: watch::Receiver<Progress>,
    last: MachineTime,
    wall_looked: EngineTime,
    /// Entries that wait to be durable, oldest first.
    unsaved: VecDeque<(u64, oneshot::Sender<Result<(), NotTaken>>)>,
    stats: Vec<Arc<Stats>>,
    work: Arc<Work>,
    talk: Talk,
    latest: watch::Sender<Option<Arc<Published>>>,
    path: watch::Sender<PathBuf>,
    published: Option<MachineTime>,
    mending: Option<MachineTime>,
    number: u64,
    said: Said,
    /// How the delivery went so far, for the charts.
    so_far: Arc<Past>,
    facts: Arc<Facts>,
    /// Of each device, the words of its last answered round.
    wire: Vec<Arc<Vec<Block>>>,
    first: Vec<Event>,
}

/// What the log has been told.
#[derive(Default)]
struct Said {
    verdict: Option<VerdictWord>,
    alarms: Vec<Alarm>,
    recorder: RecorderState,
}

type Viewed = (Bay, watch::Receiver<Option<Arc<Published>>>, watch::Receiver<PathBuf>);

impl Bay {
    /// A bay that goes on with (or begins) a segment, what its viewers watch, and the file it writes.
    pub fn new(
        site: &Site,
        setup: &BaySetup,
        segment: Segment,
        (stats, work): (Vec<Arc<Stats>>, Arc<Work>),
        talk: Talk,
        drill_speed: Option<f64>,
    ) -> Viewed {
        let (latest, latest_seen) = watch::channel(None);
        let (path, path_seen) = watch::channel(segment.path);
        let bay = Bay {
            site: site.name.clone(),
            setup: setup.clone(),
            folder: segment::folder(site, setup),
            texts: site.texts.clone(),
            keep_idle_days: site.keep_idle_days,
            settings: Arc::new(setup.settings.clone()),
            drill_speed,
            clock: segment.clock,
            monitor: segment.monitor,
            progress: segment.recorder.progress(),
            recorder: Some(segment.recorder),
            past: None,
            last: MachineTime::now(),
            wall_looked: EngineTime(0),
            unsaved: VecDeque::new(),
            stats,
            work,
            talk,
            latest,
            path,
            published: None,
            mending: None,
            number: 0,
            said: Said::default(),
            so_far: Arc::new(segment.past),
            facts: Arc::new(facts::of_bay(setup)),
            wire: vec![Arc::default(); setup.settings.devices.len()],
            first: segment.first,
        };
        (bay, latest_seen, path_seen)
    }

    /// Watches until told to stop; then leaves a recording that can be gone on with.
    pub async fn run(
        mut self,
        mut answers: mpsc::Receiver<Answer>,
        mut entries: mpsc::Receiver<EntryRequest>,
        (mut changes, mut openings): (mpsc::Receiver<NewSettings>, mpsc::Receiver<Opening>),
        mut stopping: watch::Receiver<bool>,
    ) {
        for event in std::mem::take(&mut self.first) {
            self.step(MachineTime::now(), event);
        }
        let period = machine_duration(TICK_S, self.clock.speed);
        let ticks = Schedule::new(self.clock.zero.0, u64::try_from(period.as_nanos()).unwrap_or(SECOND_NS));
        let mut due = MachineTime(ticks.next_after(MachineTime::now().0));
        loop {
            tokio::select! {
                biased;
                () = async { drop(stopping.wait_for(|stop| *stop).await) } => break,
                Some(request) = entries.recv() => self.enter(request),
                Some(new) = changes.recv() => self.change(new),
                Some(opening) = openings.recv() => self.open(opening).await,
                Ok(()) = self.progress.changed() => self.recorded(),
                () = tokio::time::sleep(due.until()) => {
                    self.tick().await;
                    due = MachineTime(ticks.next_after(MachineTime::now().0.max(due.0)));
                }
                Some(answer) = answers.recv() => self.answer(answer),
                else => break,
            }
        }
        self.leave();
    }

    /// A segment with a delivery under way stays open, to be gone on with; so does an idle one.
    fn leave(&mut self) {
        // Writes what waits.
        drop((self.recorder.take(), self.past.take()));
        self.answer_saved();
        self.refuse_unsaved(NotTaken::Stopped);
    }

    fn answer(&mut self, answer: Answer) {
        let at = |t| self.clock.engine(t);
        let (due, requested, replied) = (at(answer.due), at(answer.requested), at(answer.replied));
        let event = match answer.outcome {
            Ok(Round { blocks, heartbeat, values }) => Event::Poll(Poll {
                device: answer.device,
                due,
                requested,
                replied,
                connections: answer.connections,
                heartbeat,
                blocks,
                values,
            }),
            Err(reason) => Event::Missed(Missed { device: answer.device, requested, reason }),
        };
        self.step(MachineTime::now(), event);
    }

    async fn tick(&mut self) {
        let now = MachineTime::now();
        let engine = self.clock.engine(now);
        if engine.0 >= self.wall_looked.0 + WALL_LOOK_S * SECOND_NS {
            self.wall_looked = engine;
            self.look_at_wall_clock(now, engine);
        }
        if !self.monitor.is_watched() && engine.0 >= IDLE_SEGMENT_S * SECOND_NS && self.recorder.is_some() {
            self.begin_segment(self.monitor.carried(), None).await;
        }
        self.mend_recording(now).await;
        for word in self.talk.news(self.clock) {
            self.step(MachineTime::now(), Event::Neighbour(word));
        }
        self.step(MachineTime::now(), Event::Tick);
        let (bytes, since) = self.recorder.as_ref().map_or((0, Duration::ZERO), Recorder::waiting);
        let durable = self.recorder.is_some() && self.progress.borrow().state == RecorderState::Durable;
        self.work.recorder(bytes, since, durable);
        self.tell();
    }

    /// Bays that fill the same tank are told what this one brings. A fault of ours says nothing: the others then find
    /// this bay's last word too old.
    fn tell(&self) {
        if self.talk.hears.is_empty() {
            return;
        }
        match catch_unwind(AssertUnwindSafe(|| self.monitor.load())) {
            Ok(load) => self.talk.tell(self.last, load),
            Err(_) => tracing::error!(bay = self.setup.slug, "our own fault: the neighbours are not told"),
        }
    }

    /// In a drill the wall clock that people see runs with the drill; otherwise a clock that was set is an input.
    fn look_at_wall_clock(&mut self, now: MachineTime, engine: EngineTime) {
        if self.drill_speed.is_some() {
            return;
        }
        let wall = wall_now();
        let expected: WallTime = self.monitor.clock().wall_at(engine);
        if wall.0.abs_diff(expected.0) > WALL_STEP_NS {
            self.step(now, Event::Clock(wall));
        }
    }

    fn enter(&mut self, request: EntryRequest) {
        let EntryRequest { entry, saved } = request;
        if let Err(refusal) = self.monitor.admits_entry(&entry) {
            let _ = saved.send(Err(NotTaken::Refused(refusal)));
            return;
        }
        if !self.can_record() {
            let _ = saved.send(Err(NotTaken::NotRecorded));
            return;
        }
        tracing::info!(bay = self.setup.slug, who = entry.who, what = ?entry.what, "entry");
        let number = self.step(MachineTime::now(), Event::Entry(entry));
        if self.recorder.is_none() {
            // The step failed by our own fault and the segment ended with it.
            let _ = saved.send(Err(NotTaken::Failed));
            return;
        }
        self.unsaved.push_back((number, saved));
        self.answer_saved();
    }

    /// Alarm settings, levels or limits are others from here on. An open delivery keeps the line that its papers name.
    fn change(&mut self, new: NewSettings) {
        let NewSettings { settings, texts, who, reason, stepped } = new;
        tracing::warn!(bay = self.setup.slug, who, reason, "settings changed");
        let line = self.monitor.settings().line.clone();
        let text = texts.first().map_or_else(String::new, |(_, text)| text.clone());
        (self.setup.settings, self.texts) = (settings, texts);
        let settings = Settings { line, ..self.setup.settings.clone() };
        self.settings = Arc::new(settings.clone());
        self.step(MachineTime::now(), Event::Settings(Box::new(SettingsText { settings, text, who, reason })));
        self.work.changed();
        let _ = stepped.send(());
    }

    /// A delivery is opened, in a recording of its own.
    async fn open(&mut self, opening: Opening) {
        let Opening { delivery, who, on_record, opened } = opening;
        let id = delivery.setup.id.clone();
        let refusal = self.monitor.admits(&What::DeliveryOpened(Box::new(delivery.setup.clone()))).err();
        let refused = match refusal {
            Some(refusal) => Some(NotTaken::Refused(refusal)),
            // A record is known by its delivery and leg: a second of the same would be taken for the first.
            None if on_record => Some(NotTaken::SameName),
            None if !self.can_record() => Some(NotTaken::NotRecorded),
            None => None,
        };
        if let Some(why) = refused {
            let _ = opened.send(Err(why));
            return;
        }
        tracing::info!(bay = self.setup.slug, who, delivery = id, "delivery opened");
        match self.begin_segment(self.monitor.carried(), Some((delivery, who))).await {
            Some(number) => {
                self.unsaved.push_back((number, opened));
                self.answer_saved();
            }
            None => drop(opened.send(Err(NotTaken::NotRecorded))),
        }
    }

    fn can_record(&self) -> bool {
        self.recorder.is_some() && self.progress.borrow().state != RecorderState::Overflowed
    }

    /// The recorder got on, or got into trouble.
    fn recorded(&mut self) {
        let progress = self.progress.borrow_and_update().clone();
        self.answer_saved();
        if progress.state != self.said.recorder {
            self.said.recorder = progress.state;
            match progress.state {
                RecorderState::Durable => tracing::info!(bay = self.setup.slug, "recorder writes again"),
                state => {
                    let trouble = progress.trouble.as_deref().unwrap_or("");
                    tracing::error!(bay = self.setup.slug, ?state, trouble, "recorder trouble");
                }
            }
            self.step(MachineTime::now(), Event::Recorder(progress.state));
        }
    }

    fn answer_saved(&mut self) {
        let durable_through = self.progress.borrow().durable_through;
        while self.unsaved.front().is_some_and(|(number, _)| *number <= durable_through) {
            if let Some((_, saved)) = self.unsaved.pop_front() {
                let _ = saved.send(Ok(()));
            }
        }
    }

    /// Records an input, steps it, records and shows what came of it. Gives the input's number. Where nothing was
    /// stepped for long before, that comes first: the clock counts suspension, and nobody watched.
    fn step(&mut self, now: MachineTime, event: Event) -> u64 {
        if now.since(self.last) > BLIND_AFTER && !matches!(event, Event::Resumed(_)) {
            let (from, to) = (self.clock.engine(self.last), self.clock.engine(now));
            tracing::warn!(bay = self.setup.slug, blind_s = to.since_s(from), "nobody watched");
            self.step_one(now, Event::Resumed(Gap { from, to, known_by: GapClock::SameBoot }));
        }
        self.step_one(now, event)
    }

    fn step_one(&mut self, now: MachineTime, event: Event) -> u64 {
        let begun = Instant::now();
        self.last = not_before(now, self.last);
        if let Event::Poll(poll) = &event
            && let Some(words) = self.wire.get_mut(usize::from(poll.device))
        {
            *words = Arc::new(poll.blocks.clone());
        }
        let input = Input { at: self.clock.engine(self.last), event };
        let number = self.recorder.as_ref().map_or(0, |recorder| recorder.input(&input));
        let monitor = &mut self.monitor;
        match catch_unwind(AssertUnwindSafe(|| monitor.step(&input))) {
            Ok(output) => self.take(number, output),
            Err(_) => self.restart(),
        }
        self.work.stepped(begun.elapsed());
        number
    }

    fn take(&mut self, number: u64, output: Output) {
        let Some(frame) = output.frame else { return };
        if output.keep
            && let Some(recorder) = &self.recorder
        {
            recorder.output(number, &frame);
        }
        self.log(&frame);
        let now = MachineTime::now();
        let merged = self.published.is_some_and(|before| now.since(before) < MERGE);
        if output.urgent || !merged {
            self.published = Some(now);
            self.publish(*frame);
        }
    }

    fn publish(&mut self, frame: Frame) {
        self.number += 1;
        Arc::make_mut(&mut self.so_far).take(&frame);
        let published = Published {
            site: self.site.clone(),
            settings: Arc::clone(&self.settings),
            frame,
            past: Arc::clone(&self.so_far),
            facts: Arc::clone(&self.facts),
            wire: self.wire.clone(),
            devices: self.stats.iter().zip(&self.settings.devices).map(|(s, d)| device_stats(&d.name, s)).collect(),
            drill_speed: self.drill_speed,
            number: self.number,
        };
        self.latest.send_replace(Some(Arc::new(published)));
    }

    /// A fault of our own: only this bay starts anew, with what may cross, and says so. The next tick begins its
    /// segment, so that a fault at every input makes no more than one a second.
    fn restart(&mut self) {
        tracing::error!(
            bay = self.setup.slug,
            "our own fault in a step: a new segment begins, estimates are restarted"
        );
        // The monitor may be half way through a change: only what it carries as plain values is taken over.
        let carried = catch_unwind(AssertUnwindSafe(|| self.monitor.carried())).unwrap_or_default();
        self.monitor = Monitor::new(self.settings_in_force(), Carried { restarted: true, ..carried });
        self.past = self.recorder.take();
    }

    /// Those of the site file, but for an open delivery, whose papers may have named another line.
    fn settings_in_force(&self) -> Settings {
        let open = matches!(self.monitor.phase(), Phase::Opened | Phase::Transfer);
        if open { self.monitor.settings().clone() } else { self.setup.settings.clone() }
    }

    /// Writes what waits and ends the segment. An entry that waited for the disk is answered now: the next segment
    /// counts its inputs anew. Other bays and all polling share this thread: none of them waits for the disk.
    async fn end_segment(&mut self) {
        let Some(recorder) = self.recorder.take().or_else(|| self.past.take()) else { return };
        match tokio::task::spawn_blocking(|| recorder.finish()).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(%error, "the last segment was not ended"),
            Err(error) => tracing::error!(%error, "the last segment was not ended"),
        }
        self.answer_saved();
        self.refuse_unsaved(NotTaken::Ended);
    }

    fn refuse_unsaved(&mut self, why: NotTaken) {
        for (_, saved) in self.unsaved.drain(..) {
            let _ = saved.send(Err(why));
        }
    }

    /// Ends the present segment and begins one, for a delivery where one is opened by somebody. Gives the number of its
    /// first inputs' last; none, and nothing is on record, when the disk does not let it.
    async fn begin_segment(&mut self, carried: Carried, opened: Option<(DeliveryFile, String)>) -> Option<u64> {
        self.end_segment().await;
        let bay = BaySetup { settings: self.settings_in_force(), ..self.setup.clone() };
        let (folder, texts) = (self.folder.clone(), self.texts.clone());
        let (drill_speed, keep_idle_days) = (self.drill_speed, self.keep_idle_days);
        let begun = tokio::task::spawn_blocking(move || {
            let (folder, bay, texts) = (&folder, &bay, &texts);
            let (delivery, who) = opened.as_ref().map_or((None, ""), |(delivery, who)| (Some(delivery), who.as_str()));
            let line = delivery.and_then(|delivery| delivery.line.clone());
            segment::begin(Beginning { folder, bay, texts, delivery, who, line, drill_speed, keep_idle_days, carried })
        });
        match begun.await.unwrap_or_else(|error| Err(std::io::Error::other(error))) {
            Ok(segment) => {
                self.clock = segment.clock;
                self.monitor = segment.monitor;
                self.progress = segment.recorder.progress();
                self.recorder = Some(segment.recorder);
                self.wall_looked = EngineTime(0);
                self.said.recorder = RecorderState::Durable;
                self.path.send_replace(segment.path);
                let mut number = 0;
                for event in segment.first {
                    number = self.step(MachineTime::now(), event);
                }
                Some(number)
            }
            Err(error) => {
                tracing::error!(bay = self.setup.slug, %error, "no new segment: what happens now is not on record");
                None
            }
        }
    }

    /// After the memory was full, or when no segment could be begun, recording starts anew once the disk is back.
    async fn mend_recording(&mut self, now: MachineTime) {
        // A recorder that overflowed writes what it had taken, ends its file and lets go of its progress.
        let ended = self.recorder.is_some()
            && self.progress.borrow().state == RecorderState::Overflowed
            && self.progress.has_changed().is_err();
        if !ended && self.recorder.is_some() {
            return;
        }
        if self.mending.is_some_and(|before| now.since(before) < MEND_EVERY) {
            return;
        }
        self.mending = Some(now);
        if self.begin_segment(self.monitor.carried(), None).await.is_none() {
            self.step(now, Event::Recorder(RecorderState::Overflowed));
        }
    }

    /// Changes of verdict and alarms are told once.
    fn log(&mut self, frame: &Frame) {
        let bay = &self.setup.slug;
        if self.said.verdict != Some(frame.verdict.word) {
            self.said.verdict = Some(frame.verdict.word);
            tracing::info!(bay, verdict = ?frame.verdict.word, "verdict");
        }
        if self.said.alarms != frame.alarms {
            for alarm in frame.alarms.iter().filter(|a| !self.said.alarms.contains(a)) {
                tracing::warn!(bay, alarm = ?alarm.key.id, subject = alarm.key.subject, condition = ?alarm.condition, seen = alarm.seen, "alarm");
            }
            let gone = |a: &&Alarm| frame.alarms.iter().all(|b| b.key != a.key);
            for alarm in self.said.alarms.iter().filter(gone) {
                tracing::info!(bay, alarm = ?alarm.key.id, subject = alarm.key.subject, "alarm gone");
            }
            self.said.alarms.clone_from(&frame.alarms);
        }
    }
}

fn device_stats(name: &str, stats: &Stats) -> DeviceStats {
    let now = stats.snapshot();
    let trouble = now.trouble.map(|reason| English.reason(crate::engine::frame::Reason::Missed(reason)));
    DeviceStats {
        name: name.to_owned(),
        answered: now.answered,
        missed: now.missed,
        connections: now.connections,
        latency_us: now.latency_us,
        lateness_us: now.lateness_us,
        late: now.late,
        trouble: trouble.unwrap_or_default(),
    }
}
