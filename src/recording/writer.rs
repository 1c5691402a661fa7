//! Makes a recording without ever holding up the watch.
//!
//! The live loop hands over bytes under a lock that is never held during I/O; a thread of its own writes them
//! at once and flushes them to the disk within a second, at once where a person waits for "saved". What it
//! believes about the disk: it can refuse, hang, or take half of what it is given, and after a failed flush
//! nothing written since the last good one can be relied on (Linux marks the pages clean all the same:
//! fsync(2), "Handling errors"). So the thread keeps every byte until a flush has succeeded. When the disk
//! refuses it opens the file anew every second, cuts it back to the last flushed byte and writes again; one that
//! somebody has removed or moved away is written anew where it was.
//!
//! What waits is bounded. When the bound is reached no further record is taken: the recording stays what it
//! is, a beginning without a hole, and the live loop begins another segment once the disk is back.

use super::WAITING_MOST_BYTES;
use super::form;
use super::format::{self, Header, Kind, LinkPoint};
use super::resume::AppendPoint;
use super::truth::Truth;
use crate::engine::frame::Frame;
use crate::engine::input::{Event, Input, RecorderState};
use crate::planted::{Bug, disk_waits, planted};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// From the first unflushed byte to the flush ([`super::LINKS_PER_S`]). The promise is 1 s; the rest is the disk's.
const FLUSH_AFTER: Duration = Duration::from_millis(500);
/// Between two attempts at a disk that refuses.
const RETRY_AFTER: Duration = Duration::from_secs(1);
/// Who waits for room looks again after this at the latest.
const LOOK_AGAIN: Duration = Duration::from_millis(100);
/// A byte that has waited this long is said to wait, also when the disk hangs without refusing.
const LATE_AFTER: Duration = Duration::from_secs(3);

/// How far the recording is.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Progress {
    /// Every record up to this input's number is on the disk.
    pub durable_through: u64,
    /// How the recorder does. The bytes that wait are counted once per attempt, not per record.
    pub state: RecorderState,
    /// What the disk said when it last refused; `None` while it takes everything.
    pub trouble: Option<Arc<str>>,
}

/// What did not reach the disk.
#[derive(Debug, thiserror::Error)]
#[error("{}: the last {bytes} bytes of the recording did not reach the disk: {source}", path.display())]
pub struct Lost {
    /// The file.
    pub path: PathBuf,
    /// How many bytes.
    pub bytes: usize,
    /// What the file system says.
    pub source: io::Error,
}

/// One recording in the making. Dropping it writes what waits and leaves the segment open, to be resumed.
#[derive(Debug)]
pub struct Recorder {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<Result<(), Lost>>>,
}

#[derive(Debug)]
struct Shared {
    queue: Mutex<Queue>,
    wake: Condvar,
    /// Rung at each attempt to flush.
    eased: Condvar,
    progress: watch::Sender<Progress>,
}

#[derive(Debug, Default)]
struct Queue {
    /// Records on their way to the thread.
    bytes: Vec<u8>,
    /// Bytes that the thread holds and no flush has taken yet.
    held: usize,
    /// Most bytes of both together.
    limit: usize,
    /// When the oldest byte of both came; `None` while everything is on the disk.
    oldest: Option<Instant>,
    /// Number of the last input taken.
    last_number: u64,
    /// The thread waits for a wake: there was nothing for it.
    waits: bool,
    /// An entry is among `bytes`: flush at once.
    urgent: bool,
    overflowed: bool,
    closing: Option<Closing>,
    inputs: u64,
    outputs: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Closing {
    /// The segment ends here.
    End,
    /// The program stops; the segment will be resumed.
    Leave,
}

impl Recorder {
    /// Begins a new recording. Waits for the disk: its header is made durable under another name first, so
    /// that no kill leaves a file of this name that says nothing of what it starts from.
    ///
    /// # Errors
    /// When the file exists, cannot be made or is held by another program, or when the header is too long.
    pub fn create(path: &Path, header: &Header) -> io::Result<Recorder> {
        let mut first = Vec::new();
        format::put_record(&mut first, Kind::Header, 0, &format::encode_header(header)).map_err(io::Error::other)?;
        let file = begin_file(path, |file| file.write_all(&first))?;
        let disk = FileDisk { path: path.to_owned(), file: Some(file) };
        let mut hasher = LinkPoint::default().begin();
        hasher.update(&first);
        Recorder::start(disk, Queue { limit: WAITING_MOST_BYTES, ..Queue::default() }, hasher, first.len() as u64)
    }

    /// Begins a new recording on any disk, of which no more than `limit` bytes may wait: for whoever tries what disks do.
    ///
    /// # Errors
    /// When the disk does not take the header, or it is too long.
    pub fn create_on<D: Disk>(mut disk: D, header: &Header, limit: usize) -> io::Result<Recorder> {
        let mut first = Vec::new();
        format::put_record(&mut first, Kind::Header, 0, &format::encode_header(header)).map_err(io::Error::other)?;
        disk.write(&first)?;
        disk.flush()?;
        let mut hasher = LinkPoint::default().begin();
        hasher.update(&first);
        Recorder::start(disk, Queue { limit, ..Queue::default() }, hasher, first.len() as u64)
    }

    /// Goes on with a recording where [`super::resume::recover`] found that it stands. What lies behind that
    /// point is kept in `<file>.torn` before it is cut off.
    ///
    /// # Errors
    /// When the file cannot be opened, cut or kept aside, or is held by another program.
    pub fn append(path: &Path, point: &AppendPoint) -> io::Result<Recorder> {
        let mut file = OpenOptions::new().read(true).write(true).open(path)?;
        claim(&file)?;
        let (valid, linked) = (point.valid_len as u64, point.link.end as u64);
        keep_tail_aside(path, &mut file, valid)?;
        let mut hasher = point.link.begin();
        file.seek(SeekFrom::Start(linked))?;
        let since_link = io::copy(&mut (&mut file).take(valid - linked), &mut hasher)?;
        if since_link != valid - linked {
            return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the file became shorter since it was read"));
        }
        file.set_len(valid)?;
        file.sync_data()?;
        file.seek(SeekFrom::Start(valid))?;
        let disk = FileDisk { path: path.to_owned(), file: Some(file) };
        let queue = Queue {
            limit: WAITING_MOST_BYTES,
            last_number: point.next_number - 1,
            inputs: point.inputs,
            outputs: point.outputs,
            ..Queue::default()
        };
        let recorder = Recorder::start(disk, queue, hasher, valid)?;
        if let Some(frame) = &point.missing_output {
            recorder.output(point.next_number - 1, frame);
        }
        Ok(recorder)
    }

    fn start<D: Disk>(disk: D, queue: Queue, hasher: blake3::Hasher, durable_len: u64) -> io::Result<Recorder> {
        let begun = Progress { durable_through: queue.last_number, ..Progress::default() };
        let shared = Arc::new(Shared {
            queue: Mutex::new(queue),
            wake: Condvar::new(),
            eased: Condvar::new(),
            progress: watch::Sender::new(begun),
        });
        let writer = Writer {
            disk,
            shared: Arc::clone(&shared),
            hasher,
            durable_len,
            held: Vec::new(),
            written: 0,
            linked: 0,
            refused: false,
            last_number: 0,
        };
        let thread = std::thread::Builder::new().name("recorder".into()).spawn(move || writer.run())?;
        Ok(Recorder { shared, thread: Some(thread) })
    }

    /// Takes an input, to be called before it is stepped; gives its number. Never waits for the disk. Once the
    /// recording has overflowed nothing is taken any more and the number stays what it is.
    pub fn input(&self, input: &Input) -> u64 {
        if planted(Bug::RecorderDrops) && self.shared.progress.borrow().trouble.is_some() {
            return self.shared.lock().last_number;
        }
        let mut queue = self.shared.lock();
        let number = queue.last_number + 1;
        if queue.take(Kind::Input, number, &form::encode(input)) {
            queue.last_number = number;
            queue.inputs += 1;
            queue.urgent |= matches!(input.event, Event::Entry(_) | Event::Settings(_));
        }
        self.shared.notify(queue);
        number
    }

    /// Takes the frame that the input of this number gave. Never waits for the disk.
    pub fn output(&self, number: u64, frame: &Frame) {
        let mut queue = self.shared.lock();
        if queue.take(Kind::Output, number, &form::encode(frame)) {
            queue.outputs += 1;
        }
        self.shared.notify(queue);
    }

    /// Takes what was really so in a drill.
    pub fn truth(&self, truth: &Truth) {
        let body = postcard::to_stdvec(truth).expect("memory takes it: it has no sequence of unknown length");
        let mut queue = self.shared.lock();
        let number = queue.last_number;
        queue.take(Kind::Truth, number, &body);
        self.shared.notify(queue);
    }

    /// For who can wait, where a watch cannot: waits until less than half of what may wait does.
    ///
    /// # Errors
    /// What the disk said when it refused.
    pub fn wait_for_room(&self) -> io::Result<()> {
        loop {
            if let Some(trouble) = &self.shared.progress.borrow().trouble {
                return Err(io::Error::other(trouble.to_string()));
            }
            let mut queue = self.shared.lock();
            if queue.held + queue.bytes.len() < queue.limit / 2 {
                return Ok(());
            }
            // Nothing is gained by letting it wait any longer for more to be flushed with it.
            queue.urgent = true;
            self.shared.wake.notify_one();
            drop(self.shared.eased.wait_timeout(queue, LOOK_AGAIN).unwrap_or_else(PoisonError::into_inner));
        }
    }

    /// How far the recording is, now and from now on.
    #[must_use]
    pub fn progress(&self) -> watch::Receiver<Progress> {
        self.shared.progress.subscribe()
    }

    /// Bytes that wait for the disk, and how long the oldest has.
    #[must_use]
    pub fn waiting(&self) -> (u64, Duration) {
        let queue = self.shared.lock();
        let since = queue.oldest.map_or(Duration::ZERO, |oldest| oldest.elapsed());
        ((queue.held + queue.bytes.len()) as u64, since)
    }

    /// Ends the segment: writes what waits and the record that says so. Waits for the disk.
    ///
    /// # Errors
    /// When the disk refuses; what it has is a recording without its end.
    pub fn finish(mut self) -> Result<(), Lost> {
        self.close(Closing::End)
    }

    fn close(&mut self, how: Closing) -> Result<(), Lost> {
        let Some(thread) = self.thread.take() else { return Ok(()) };
        self.shared.lock().closing = Some(how);
        self.shared.wake.notify_one();
        thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        // Who wants to know what did not reach the disk has watched `progress`.
        if let Err(lost) = self.close(Closing::Leave) {
            tracing::error!(%lost, "recording left without its last bytes");
        }
    }
}

impl Queue {
    /// Adds a record unless the bound is reached; after that nothing is taken, so that there is no hole.
    fn take(&mut self, kind: Kind, number: u64, body: &[u8]) -> bool {
        let fits = self.held + self.bytes.len() + format::HEAD_LEN + body.len() <= self.limit;
        self.overflowed |= !fits;
        if !self.overflowed {
            // A body beyond the format's bound could not be read back: the segment ends before it.
            self.overflowed = format::put_record(&mut self.bytes, kind, number, body).is_err();
            self.oldest.get_or_insert_with(Instant::now);
        }
        !self.overflowed
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Wakes the thread and says what only the giving side sees: that the bound is reached, that the disk hangs.
    fn notify(&self, mut queue: MutexGuard<'_, Queue>) {
        let late = queue.oldest.is_some_and(|oldest| oldest.elapsed() > LATE_AFTER);
        let waiting = (queue.held + queue.bytes.len()) as u64;
        self.progress.send_if_modified(|progress| {
            let state = match progress.state {
                _ if queue.overflowed => RecorderState::Overflowed,
                RecorderState::Durable if late => RecorderState::Waiting { bytes: waiting },
                state => state,
            };
            let changed = state != progress.state;
            progress.state = state;
            changed
        });
        let waits = std::mem::take(&mut queue.waits);
        // It would only wait again, for the lock.
        drop(queue);
        if waits {
            self.wake.notify_one();
        }
    }
}

/// Where the bytes go; in tests something that refuses on demand.
pub trait Disk: Send + 'static {
    /// Opens anew, cut to `len` bytes.
    ///
    /// # Errors
    /// When the disk refuses.
    fn reopen(&mut self, len: u64) -> io::Result<()>;
    /// Writes behind what is there.
    ///
    /// # Errors
    /// When the disk refuses; it may have taken part of it.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Makes everything written durable.
    ///
    /// # Errors
    /// When the disk refuses.
    fn flush(&mut self) -> io::Result<()>;
    /// For messages.
    fn path(&self) -> PathBuf;
}

struct FileDisk {
    path: PathBuf,
    file: Option<File>,
}

impl FileDisk {
    fn file(&mut self) -> io::Result<&mut File> {
        self.file.as_mut().ok_or_else(|| io::Error::other("the file is not open"))
    }

    /// A file that was removed or moved takes every byte and flushes it, and nobody finds it again.
    fn is_where_it_was_begun(&self) -> io::Result<()> {
        let Some(file) = &self.file else { return Ok(()) };
        let place = |m: &fs::Metadata| (m.dev(), m.ino());
        let ours = file.metadata()?;
        match fs::metadata(&self.path) {
            Ok(named) if place(&named) == place(&ours) => Ok(()),
            Ok(_) => Err(io::Error::other("another file stands where the recording was begun")),
            Err(error) => {
                Err(io::Error::new(error.kind(), format!("the recording was removed or moved away: {error}")))
            }
        }
    }

    /// Writes the flushed bytes anew where they were: as long as the file is open they are not gone.
    fn put_back(&mut self, len: u64) -> io::Result<()> {
        let path = self.path.clone();
        let removed = self.file()?;
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder)?;
        }
        let file = begin_file(&path, |file| {
            removed.seek(SeekFrom::Start(0))?;
            let copied = io::copy(&mut removed.take(len), file)?;
            if copied == len { Ok(()) } else { Err(io::Error::other("the removed file lost bytes that were flushed")) }
        })?;
        self.file = Some(file);
        Ok(())
    }
}

impl Disk for FileDisk {
    fn reopen(&mut self, len: u64) -> io::Result<()> {
        if self.file.is_some() && !self.path.try_exists()? {
            return self.put_back(len);
        }
        self.file = None;
        let mut file = OpenOptions::new().read(true).write(true).open(&self.path)?;
        claim(&file)?;
        if file.metadata()?.len() < len {
            return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the file lost bytes that were flushed"));
        }
        file.set_len(len)?;
        file.seek(SeekFrom::Start(len))?;
        self.file = Some(file);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        disk_waits(&self.path);
        self.file()?.write_all(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        disk_waits(&self.path);
        self.file()?.sync_data()?;
        self.is_where_it_was_begun()
    }

    fn path(&self) -> PathBuf {
        self.path.clone()
    }
}

/// A file that has its first bytes, durably, as soon as it has its name.
fn begin_file(path: &Path, write: impl FnOnce(&mut File) -> io::Result<()>) -> io::Result<File> {
    if path.try_exists()? {
        return Err(io::Error::new(io::ErrorKind::AlreadyExists, "a recording of this name exists"));
    }
    let unfinished = beside(path, "new");
    let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&unfinished)?;
    claim(&file)?;
    file.set_len(0)?;
    write(&mut file)?;
    file.sync_data()?;
    fs::rename(&unfinished, path)?;
    sync_folder(path)?;
    Ok(file)
}

/// Two programs that append to one file would make a recording of neither.
fn claim(file: &File) -> io::Result<()> {
    file.try_lock().map_err(|error| match error {
        TryLockError::WouldBlock => io::Error::new(io::ErrorKind::ResourceBusy, "another program is writing to it"),
        TryLockError::Error(error) => error,
    })
}

/// Makes a file's name durable: it is only when its folder is (fsync(2)).
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

/// The file's name with an ending more, in the same folder.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".");
    name.push(ending);
    name.into()
}

/// Copies what stands behind `valid` into `<file>.torn`, behind what may stand there already.
fn keep_tail_aside(path: &Path, file: &mut File, valid: u64) -> io::Result<()> {
    if file.metadata()?.len() <= valid {
        return Ok(());
    }
    let mut aside = OpenOptions::new().create(true).append(true).open(beside(path, "torn"))?;
    file.seek(SeekFrom::Start(valid))?;
    io::copy(file, &mut aside)?;
    aside.sync_all()
}

/// The thread's side.
struct Writer<D> {
    disk: D,
    shared: Arc<Shared>,
    /// Everything since the last link, and that link.
    hasher: blake3::Hasher,
    /// Length of the file at the last flush.
    durable_len: u64,
    /// Every byte behind that.
    held: Vec<u8>,
    /// How many of these are written.
    written: usize,
    /// How many of these a link covers, itself included.
    linked: usize,
    /// The last attempt failed: the file may end anywhere behind `durable_len`.
    refused: bool,
    /// Number of the last input in `held` or before.
    last_number: u64,
}

impl<D: Disk> Writer<D> {
    fn run(mut self) -> Result<(), Lost> {
        let (mut flush_at, mut retry_at) = (None, None);
        loop {
            let (urgent, closing) = self.fetch(retry_at.or(flush_at));
            let now = Instant::now();
            if !self.held.is_empty() {
                let due = if urgent { now } else { now + FLUSH_AFTER };
                flush_at = Some(flush_at.map_or(due, |at: Instant| at.min(due)));
            }
            if closing.is_none() && retry_at.is_some_and(|at| now < at) {
                continue;
            }
            if closing == Some(Closing::End) {
                self.put_end();
            }
            let flush = closing.is_some() || flush_at.is_some_and(|at| at <= now);
            let result = self.push(flush);
            retry_at = result.is_err().then(|| now + RETRY_AFTER);
            if flush && result.is_ok() {
                flush_at = None;
            }
            self.report(flush, &result);
            if closing.is_some() {
                let bytes = self.held.len();
                return result.map_err(|source| Lost { path: self.disk.path(), bytes, source });
            }
        }
    }

    /// Waits for records, or until the moment given, and takes what is there.
    fn fetch(&mut self, until: Option<Instant>) -> (bool, Option<Closing>) {
        let mut queue = self.shared.lock();
        while queue.bytes.is_empty() && queue.closing.is_none() && !queue.urgent {
            queue.waits = true;
            let Some(left) = until.map(|until| until.saturating_duration_since(Instant::now())) else {
                queue = self.shared.wake.wait(queue).unwrap_or_else(PoisonError::into_inner);
                continue;
            };
            if left.is_zero() {
                break;
            }
            queue = self.shared.wake.wait_timeout(queue, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        queue.waits = false;
        let bytes = std::mem::take(&mut queue.bytes);
        queue.held += bytes.len();
        self.last_number = queue.last_number;
        let answer = (std::mem::take(&mut queue.urgent), queue.closing);
        drop(queue);
        self.hold(&bytes);
        answer
    }

    fn hold(&mut self, bytes: &[u8]) {
        self.hasher.update(bytes);
        self.held.extend_from_slice(bytes);
    }

    /// Writes what is not yet written and, when asked, links and flushes it.
    fn push(&mut self, flush: bool) -> io::Result<()> {
        if self.refused {
            self.disk.reopen(self.durable_len)?;
            self.written = 0;
            self.refused = false;
        }
        if flush && self.held.len() > self.linked {
            self.put_link();
        }
        let result = self.disk.write(&self.held[self.written..]);
        self.written = self.held.len();
        let result = if flush { result.and_then(|()| self.disk.flush()) } else { result };
        self.refused = result.is_err();
        if flush && result.is_ok() {
            self.durable_len += self.held.len() as u64;
            self.held.clear();
            (self.written, self.linked) = (0, 0);
        }
        result
    }

    fn put_link(&mut self) {
        let hash = *self.hasher.finalize().as_bytes();
        let mut record = Vec::new();
        format::put_record(&mut record, Kind::Link, self.last_number, &hash).expect("a hash is short");
        self.held.extend_from_slice(&record);
        self.linked = self.held.len();
        self.hasher = LinkPoint { hash, end: 0 }.begin();
    }

    fn put_end(&mut self) {
        let queue = self.shared.lock();
        let form = format::EndForm { inputs: queue.inputs, outputs: queue.outputs };
        drop(queue);
        let body = postcard::to_stdvec(&form).expect("memory takes two numbers");
        let mut record = Vec::new();
        format::put_record(&mut record, Kind::End, self.last_number, &body).expect("two numbers are short");
        self.hold(&record);
    }

    fn report(&self, flushed: bool, result: &io::Result<()>) {
        let mut queue = self.shared.lock();
        queue.held = self.held.len();
        if flushed && result.is_ok() {
            queue.oldest = (!queue.bytes.is_empty()).then(Instant::now);
        }
        let waiting = (queue.held + queue.bytes.len()) as u64;
        let mut next = self.shared.progress.borrow().clone();
        match result {
            Ok(()) if flushed => next = Progress { durable_through: self.last_number, ..Progress::default() },
            Ok(()) => {}
            Err(error) => {
                next.state = RecorderState::Waiting { bytes: waiting };
                next.trouble = Some(error.to_string().into());
            }
        }
        if queue.overflowed {
            next.state = RecorderState::Overflowed;
        }
        self.shared.progress.send_if_modified(|progress| std::mem::replace(progress, next.clone()) != next);
        drop(queue);
        self.shared.eased.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::super::reader::follow_links;
    use super::*;
    use crate::engine::input::{Entry, What};
    use crate::time::EngineTime;

    /// A disk that refuses, hangs or takes half when told to.
    #[derive(Debug, Default)]
    struct Plate {
        bytes: Vec<u8>,
        flushed: usize,
        refuses: bool,
        hang: Duration,
    }

    #[derive(Debug, Clone, Default)]
    struct TestDisk(Arc<Mutex<Plate>>);

    impl TestDisk {
        fn plate(&self) -> MutexGuard<'_, Plate> {
            self.0.lock().expect("no test panics while it holds the plate")
        }

        fn act(&self, act: impl FnOnce(&mut Plate, bool)) -> io::Result<()> {
            let hang = self.plate().hang;
            std::thread::sleep(hang);
            let mut plate = self.plate();
            let refuses = plate.refuses;
            act(&mut plate, refuses);
            if refuses { Err(io::Error::other("no space left")) } else { Ok(()) }
        }
    }

    impl Disk for TestDisk {
        fn reopen(&mut self, len: u64) -> io::Result<()> {
            let len = usize::try_from(len).expect("a test's length");
            self.act(|plate, refuses| plate.bytes.truncate(if refuses { plate.bytes.len() } else { len }))
        }

        fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
            self.act(|plate, refuses| plate.bytes.extend(&bytes[..if refuses { bytes.len() / 2 } else { bytes.len() }]))
        }

        fn flush(&mut self) -> io::Result<()> {
            self.act(|plate, refuses| plate.flushed = if refuses { plate.flushed } else { plate.bytes.len() })
        }

        fn path(&self) -> PathBuf {
            "test".into()
        }
    }

    fn start(disk: &TestDisk, limit: usize) -> Recorder {
        let queue = Queue { limit, ..Queue::default() };
        Recorder::start(disk.clone(), queue, LinkPoint::default().begin(), 0).expect("a thread")
    }

    fn tick(second: u64) -> Input {
        Input { at: EngineTime(second * 1_000_000_000), event: Event::Tick }
    }

    fn entry() -> Input {
        let what = What::TransferStarted;
        Input { at: EngineTime(0), event: Event::Entry(Entry { who: "bay screen".into(), leg: 1, what }) }
    }

    fn wait_for(recorder: &Recorder, what: &str, met: impl Fn(&Progress) -> bool) -> Duration {
        let begun = Instant::now();
        while !met(&recorder.progress().borrow()) {
            assert!(begun.elapsed() < Duration::from_secs(10), "{what}: {:?}", recorder.progress().borrow());
            std::thread::sleep(Duration::from_millis(2));
        }
        begun.elapsed()
    }

    /// Numbers of the inputs on the plate; checks that every byte belongs to an intact, linked record.
    fn inputs_on(disk: &TestDisk) -> Vec<u64> {
        let bytes = disk.plate().bytes.clone();
        let (mut at, mut records) = (0, Vec::new());
        while at < bytes.len() {
            let record = format::record_at(&bytes, at).expect("a record");
            assert!(record.intact);
            at = record.end();
            records.push(record);
        }
        let mut damage = Vec::new();
        assert_eq!(follow_links(&bytes, &records, &mut damage).end, bytes.len());
        assert_eq!(damage, vec![]);
        records.iter().filter(|record| record.kind == Kind::Input).map(|record| record.number).collect()
    }

    #[test]
    fn ticks_are_durable_within_a_second_and_an_entry_at_once() {
        let disk = TestDisk::default();
        let recorder = start(&disk, WAITING_MOST_BYTES);
        assert_eq!(recorder.input(&tick(1)), 1);
        let slow = wait_for(&recorder, "tick", |p| p.durable_through == 1);
        assert!(slow < Duration::from_secs(1), "{slow:?}");
        assert_eq!(recorder.input(&entry()), 2);
        let fast = wait_for(&recorder, "entry", |p| p.durable_through == 2);
        assert!(fast < FLUSH_AFTER, "{fast:?}");
        let (flushed, written) = {
            let plate = disk.plate();
            (plate.flushed, plate.bytes.len())
        };
        assert_eq!(flushed, written);
        drop(recorder);
        assert_eq!(inputs_on(&disk), [1, 2]);
    }

    #[test]
    fn nothing_is_lost_while_the_disk_refuses() {
        let disk = TestDisk::default();
        let recorder = start(&disk, WAITING_MOST_BYTES);
        recorder.input(&entry());
        wait_for(&recorder, "first", |p| p.durable_through == 1);
        disk.plate().refuses = true;
        recorder.input(&entry());
        wait_for(&recorder, "trouble", |p| p.state != RecorderState::Durable && p.trouble.is_some());
        for second in 0..50 {
            recorder.input(&tick(second));
        }
        assert_eq!(recorder.progress().borrow().durable_through, 1);
        disk.plate().refuses = false;
        wait_for(&recorder, "back", |p| p.durable_through == 52 && p.state == RecorderState::Durable);
        recorder.finish().expect("the disk is back");
        assert_eq!(inputs_on(&disk), (1..=52).collect::<Vec<_>>());
    }

    #[test]
    fn overflow_leaves_a_beginning_without_a_hole() {
        let disk = TestDisk::default();
        let recorder = start(&disk, 2000);
        disk.plate().refuses = true;
        for second in 0..200 {
            recorder.input(&tick(second));
        }
        assert_eq!(recorder.progress().borrow().state, RecorderState::Overflowed);
        disk.plate().refuses = false;
        recorder.finish().expect("the disk is back");
        let inputs = inputs_on(&disk);
        assert!(inputs.len() > 10 && inputs.len() < 200, "{}", inputs.len());
        assert_eq!(inputs, (1..=inputs.len() as u64).collect::<Vec<_>>());
    }

    #[test]
    fn a_hanging_disk_delays_nobody_and_is_said() {
        let disk = TestDisk::default();
        disk.plate().hang = Duration::from_secs(4);
        let recorder = start(&disk, WAITING_MOST_BYTES);
        let begun = Instant::now();
        while begun.elapsed() < LATE_AFTER + Duration::from_millis(200) {
            let before = Instant::now();
            recorder.input(&tick(0));
            assert!(before.elapsed() < Duration::from_millis(100));
            std::thread::sleep(Duration::from_millis(20));
        }
        assert!(matches!(recorder.progress().borrow().state, RecorderState::Waiting { .. }));
        disk.plate().hang = Duration::ZERO;
    }

    #[test]
    fn a_disk_that_never_comes_back_is_reported_at_the_end() {
        let disk = TestDisk::default();
        let recorder = start(&disk, WAITING_MOST_BYTES);
        disk.plate().refuses = true;
        recorder.input(&entry());
        let lost = recorder.finish().expect_err("the disk refuses");
        assert!(lost.bytes > 0 && lost.to_string().contains("no space left"), "{lost}");
    }

    /// Linux keeps what an open file holds until nobody has it open: removed with its folder, it is written anew.
    #[test]
    fn a_recording_that_is_removed_or_moved_is_written_anew_where_it_was() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("bay/x.brim");
        let begin = || {
            fs::create_dir_all(folder.path().join("bay")).expect("a folder");
            let file = begin_file(&path, |_| Ok(())).expect("a file");
            let disk = FileDisk { path: path.clone(), file: Some(file) };
            let queue = Queue { limit: WAITING_MOST_BYTES, ..Queue::default() };
            Recorder::start(disk, queue, LinkPoint::default().begin(), 0).expect("a thread")
        };
        for moved in [false, true] {
            let recorder = begin();
            recorder.input(&entry());
            wait_for(&recorder, "first", |p| p.durable_through == 1);
            let away = folder.path().join("away");
            if moved {
                fs::rename(path.parent().expect("bay"), &away)
            } else {
                fs::remove_dir_all(path.parent().expect("bay"))
            }
            .expect("a disk");
            recorder.input(&entry());
            wait_for(&recorder, "said", |p| p.trouble.as_ref().is_some_and(|t| t.contains("removed or moved away")));
            recorder.input(&tick(3));
            wait_for(&recorder, "back", |p| p.durable_through == 3 && p.state == RecorderState::Durable);
            recorder.finish().expect("a disk");
            let disk = TestDisk::default();
            disk.plate().bytes = fs::read(&path).expect("written anew");
            assert_eq!(inputs_on(&disk), [1, 2, 3]);
            fs::remove_dir_all(path.parent().expect("bay")).expect("a disk");
        }
    }
}
