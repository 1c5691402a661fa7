//! From folders of recordings to rows: what the index knows is taken from there, everything else is read.

use super::gather::gather;
use super::index::{Found, Index, Known, Line};
use super::row::Row;
use crate::recording::{reader, stream};
use crate::report::amend;
use crate::tune;
use std::collections::BTreeMap;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Between two writings of the index while recordings are read: so much at most is read twice after a kill.
const SAVE_EVERY: Duration = Duration::from_secs(10);

/// How far reading is.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// Deliveries (and idle days) done, those of the index included.
    pub done: usize,
    /// Of so many.
    pub all: usize,
}

/// A file that is in no list, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotTaken {
    /// The file.
    pub file: String,
    /// Why.
    pub why: String,
}

/// Everything that was found.
#[derive(Debug, Default)]
pub struct Read {
    /// Deliveries, oldest first.
    pub rows: Vec<Row>,
    /// Recordings of idle days.
    pub idle: usize,
    /// Files that could not be taken.
    pub not_taken: Vec<NotTaken>,
    /// Deliveries (and idle days) that were read anew; the others are from the index.
    pub read_anew: usize,
    /// Why an index could not be written.
    pub index_trouble: Vec<String>,
}

/// Why there is no list.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// Told to stop.
    #[error("stopped after {done} of {all}; the same command goes on from there")]
    Stopped {
        /// Deliveries done.
        done: usize,
        /// Of so many.
        all: usize,
    },
    /// A name that is neither file nor folder, or a folder that cannot be read.
    #[error("{}: {source}", path.display())]
    Io {
        /// File or folder.
        path: PathBuf,
        /// What the file system says.
        source: io::Error,
    },
}

/// Recordings of one delivery, in their order.
struct Chain {
    /// Under which of the folders it was found.
    folder: usize,
    recordings: Vec<Known>,
}

/// A folder that was named, or the place of a single file.
struct Folder {
    path: PathBuf,
    index: Index,
}

impl Folder {
    fn join(&self, known: &Known) -> PathBuf {
        self.path.join(&known.file)
    }
}

/// Reads everything below the folders, on so many cores; `say` hears how far it is, and `stop` ends it.
///
/// # Errors
/// When told to stop, or when a name is neither a file nor a folder that can be read. Files that are no recordings, or are
/// damaged, are no error.
pub fn read(
    named: &[PathBuf],
    cores: usize,
    stop: &AtomicBool,
    say: &mut dyn FnMut(Progress),
) -> Result<Read, LedgerError> {
    let (mut folders, mut chains) = (Vec::new(), Vec::new());
    for path in named {
        let files = tune::recordings(std::slice::from_ref(path));
        let files = files.map_err(|(path, source)| LedgerError::Io { path, source })?;
        let is_folder = path.is_dir();
        let base = if is_folder { path.clone() } else { PathBuf::new() };
        let mut index = if is_folder { Index::open(path) } else { Index::default() };
        let found = in_chains(&base, &files, &index);
        index.keep(|first| found.iter().any(|recordings| recordings[0].file == first));
        let folder = folders.len();
        chains.extend(found.into_iter().map(|recordings| Chain { folder, recordings }));
        folders.push(Folder { path: base, index });
    }
    let read_anew = anew(&mut folders, &chains, cores, stop, say)?;
    let index_trouble = save(&mut folders);
    Ok(Read { read_anew, index_trouble, ..gathered(&folders, &chains) })
}

/// Files in rows of one delivery each: one that goes on with an open delivery follows the one before it in its folder.
fn in_chains(base: &Path, files: &[PathBuf], index: &Index) -> Vec<Vec<Known>> {
    let mut chains: Vec<Vec<Known>> = Vec::new();
    for path in files {
        let file = path.strip_prefix(base).unwrap_or(path).to_string_lossy().into_owned();
        // What cannot be read is said when it is its turn.
        let (bytes, head) = reader::head(path).unwrap_or_default();
        let known = index.continues(&file, bytes, &head);
        let continues = known
            .unwrap_or_else(|| stream::open(path).is_ok_and(|recording| recording.header().carried.delivery.is_some()));
        let known = Known { file, bytes, head, continues };
        let beside = |last: &Known| Path::new(&last.file).parent() == Path::new(&known.file).parent();
        match chains.last_mut() {
            Some(chain) if known.continues && chain.last().is_some_and(beside) => chain.push(known),
            _ => chains.push(vec![known]),
        }
    }
    chains
}

/// Reads what no index knows; gives how many.
fn anew(
    folders: &mut [Folder],
    chains: &[Chain],
    cores: usize,
    stop: &AtomicBool,
    say: &mut dyn FnMut(Progress),
) -> Result<usize, LedgerError> {
    let unknown = |chain: &&Chain| folders[chain.folder].index.get(&chain.recordings).is_none();
    let wanting: Vec<&Chain> = chains.iter().filter(unknown).collect();
    let joined = |chain: &&Chain| chain.recordings.iter().map(|known| folders[chain.folder].join(known)).collect();
    let paths: Vec<Vec<PathBuf>> = wanting.iter().map(joined).collect();
    let (all, mut done) = (chains.len(), chains.len() - wanting.len());
    say(Progress { done, all });
    let next = AtomicUsize::new(0);
    let (send, found) = mpsc::sync_channel(cores.max(1));
    let mut saved = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..cores.clamp(1, paths.len().max(1)) {
            let (send, next, paths) = (send.clone(), &next, &paths);
            scope.spawn(move || {
                let turn = || next.fetch_add(1, Ordering::Relaxed);
                while let Some((place, paths)) = Some(turn()).and_then(|place| Some((place, paths.get(place)?))) {
                    if stop.load(Ordering::Relaxed) || send.send((place, one(paths))).is_err() {
                        break;
                    }
                }
            });
        }
        drop(send);
        for (place, found) in found {
            let Chain { folder, recordings } = wanting[place];
            folders[*folder].index.put(Line { recordings: recordings.clone(), found });
            done += 1;
            say(Progress { done, all });
            if saved.elapsed() >= SAVE_EVERY {
                // Trouble is said at the end, when it is tried again.
                let _ = save(folders);
                saved = Instant::now();
            }
        }
    });
    if done < all {
        let _ = save(folders);
        return Err(LedgerError::Stopped { done, all });
    }
    Ok(wanting.len())
}

/// One delivery. A fault of our own on it takes only itself away.
fn one(paths: &[PathBuf]) -> Found {
    match catch_unwind(AssertUnwindSafe(|| gather(paths))) {
        Ok(Ok(Some(row))) => Found::Delivery(Box::new(row)),
        Ok(Ok(None)) => Found::Nothing,
        Ok(Err(error)) => {
            let why = error.to_string();
            // The list names the file already.
            let named = paths.iter().find_map(|path| why.strip_prefix(&format!("{}: ", path.display())));
            Found::NotTaken(named.unwrap_or(&why).to_owned())
        }
        Err(_) => Found::NotTaken("brimwatch failed on it: a fault of its own, please report it".to_owned()),
    }
}

/// Writes each index; what cannot be written is said.
fn save(folders: &mut [Folder]) -> Vec<String> {
    let trouble = folders.iter_mut().filter_map(|folder| {
        let error = folder.index.save().err()?;
        Some(format!("{}: the index could not be written ({error}); the next list is read anew", folder.path.display()))
    });
    trouble.collect()
}

/// With the amendments that stand beside its first recording by now.
fn amended(mut row: Row) -> Row {
    match row.recordings.first().map(|first| amend::read(Path::new(first))) {
        Some(Ok(amendments)) => row.amendments = amendments.len(),
        Some(Err(error)) => row.damage.push(error.to_string()),
        None => {}
    }
    row
}

/// Everything, in order of time; a delivery that stands there twice counts once.
fn gathered(folders: &[Folder], chains: &[Chain]) -> Read {
    let mut read = Read::default();
    let mut by_head: BTreeMap<&str, String> = BTreeMap::new();
    for chain in chains {
        let folder = &folders[chain.folder];
        let shown = |known: &Known| folder.join(known).display().to_string();
        let (first, last) = (shown(&chain.recordings[0]), chain.recordings.last().map_or("", |last| &last.head));
        match folder.index.get(&chain.recordings) {
            Some(Found::Delivery(row)) => {
                if let Some(same) = by_head.get(last) {
                    let why = format!("it is a copy of {same}, which is in the list");
                    read.not_taken.push(NotTaken { file: first, why });
                    continue;
                }
                by_head.insert(last, first);
                let recordings = chain.recordings.iter().map(shown).collect();
                read.rows.push(amended(Row { recordings, ..Row::clone(row) }));
            }
            Some(Found::Nothing) => read.idle += 1,
            Some(Found::NotTaken(why)) => read.not_taken.push(NotTaken { file: first, why: why.clone() }),
            None => {}
        }
    }
    read.rows.sort_by(|a, b| (a.at_unix_ns(), &a.bay, &a.delivery).cmp(&(b.at_unix_ns(), &b.bay, &b.delivery)));
    read
}
