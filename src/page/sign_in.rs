//! Who is at the page: sign-in, sessions that end, back-off after wrong passwords.
//!
//! Everything is bounded: sessions, counters of wrong passwords (a fixed number of slots, each name has one), and
//! hashes, of which one is made at a time. A session is known by the hash of its cookie alone.

use super::cookie;
use super::feed::What;
use crate::people::{self, People, PeopleError, Person, Role};
use argon2::password_hash::rand_core::{OsRng, RngCore as _};
use axum::http::HeaderMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;

/// A session ends after so long, whatever is done: a shift.
const LONGEST: Duration = Duration::from_secs(12 * 3600);
/// It ends after so long without an act.
const IDLE: Duration = Duration::from_secs(3600);
/// Sessions at once; the one longest unused makes room.
const SESSIONS: usize = 64;
/// Slots for wrong passwords.
const SLOTS: usize = 256;
/// Wrong passwords that cost no wait: a slip of a gloved finger.
const FREE_TRIES: u32 = 2;
/// The wait doubles from 1 s up to this.
const LONGEST_WAIT: Duration = Duration::from_secs(300);
/// Whoever waits longer for another's hash is told to try again.
const HASH_WAIT: Duration = Duration::from_secs(5);
/// Name of the cookie.
const COOKIE: &str = "brimwatch_session";

/// Sign-in of one running page.
#[derive(Debug)]
pub struct SignIn {
    file: PathBuf,
    one_hash: Arc<Semaphore>,
    inner: Mutex<Inner>,
}

#[derive(Debug)]
struct Inner {
    sessions: Vec<Session>,
    /// Wrong passwords in a row, and when the last was.
    wrong: Vec<(u32, Option<Instant>)>,
}

#[derive(Debug)]
struct Session {
    token: blake3::Hash,
    name: String,
    /// The hash at sign-in: a new password ends the session.
    password: String,
    since: Instant,
    used: Instant,
}

/// What became of a sign-in.
#[derive(Debug)]
pub enum Tried {
    /// Who, and the cookie to set.
    In(Box<Person>, String),
    /// Name or password is wrong.
    Wrong,
    /// Too many wrong ones: wait so long.
    Wait(Duration),
    /// Another password is being checked.
    Busy,
    /// The people file cannot be used.
    NoFile(PeopleError),
}

impl SignIn {
    /// For the people of this file, which is read anew at each sign-in and act.
    #[must_use]
    pub fn new(file: PathBuf) -> SignIn {
        let inner = Inner { sessions: Vec::new(), wrong: vec![(0, None); SLOTS] };
        SignIn { file, one_hash: Arc::new(Semaphore::new(1)), inner: Mutex::new(inner) }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // Each change is one assignment: whole whatever happened to a holder.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tries a name and a password.
    pub async fn try_in(&self, name: String, password: String) -> Tried {
        let waited = tokio::time::timeout(HASH_WAIT, Arc::clone(&self.one_hash).acquire_owned()).await;
        let Ok(Ok(permit)) = waited else { return Tried::Busy };
        let slot = slot(&name);
        // Looked at with the permit in hand, so that tries side by side do not slip past it.
        if let Some(wait) = self.lock().wait(slot, Instant::now()) {
            return Tried::Wait(wait);
        }
        let file = self.file.clone();
        let checked = tokio::task::spawn_blocking(move || {
            // Goes with the hash: whoever asked may be gone before it is done.
            let _permit = permit;
            let people = People::load(&file)?;
            let person = people.find(&name);
            Ok(people::is_right(person, &password).then(|| person.cloned()).flatten())
        });
        // Counted before it is known, so that a caller who goes away has had this try all the same.
        self.lock().wrong(slot, Instant::now());
        match checked.await {
            Ok(Ok(Some(person))) => {
                let cookie = self.lock().open(slot, &person, Instant::now());
                Tried::In(Box::new(person), cookie)
            }
            Ok(Ok(None)) => Tried::Wrong,
            Ok(Err(error)) => Tried::NoFile(error),
            Err(_) => Tried::Busy,
        }
    }

    /// Who sent this, if they are signed in and still may what they might.
    #[must_use]
    pub fn who(&self, headers: &HeaderMap) -> Option<Person> {
        let token = token(headers)?;
        let (name, password) = self.lock().session(token, Instant::now())?;
        let people = People::load(&self.file).ok()?;
        people.find(&name).filter(|p| p.password == password).cloned()
    }

    /// Whether whoever sent this was signed in and is no more: the time is over, the password another, or the person gone.
    #[must_use]
    pub fn has_ended(&self, headers: &HeaderMap) -> bool {
        token(headers).is_some() && self.who(headers).is_none()
    }

    /// The people file.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Whether somebody of that name may attend.
    #[must_use]
    pub fn attends(&self, name: &str) -> bool {
        People::load(&self.file).is_ok_and(|people| people.find(name).is_some_and(|p| p.role >= Role::Attend))
    }

    /// Ends the session of whoever sent this.
    pub fn out(&self, headers: &HeaderMap) {
        if let Some(token) = token(headers) {
            self.lock().sessions.retain(|s| s.token != token);
        }
    }
}

impl Inner {
    /// How long that slot still has to wait.
    fn wait(&self, slot: usize, now: Instant) -> Option<Duration> {
        let (wrong, last) = self.wrong[slot];
        let over = wrong.checked_sub(FREE_TRIES + 1)?;
        let wait = Duration::from_secs(1u64 << over.min(16)).min(LONGEST_WAIT);
        wait.checked_sub(now.saturating_duration_since(last?)).filter(|left| !left.is_zero())
    }

    fn wrong(&mut self, slot: usize, now: Instant) {
        let (wrong, _) = self.wrong[slot];
        self.wrong[slot] = (wrong.saturating_add(1), Some(now));
    }

    /// Opens a session; its cookie's value.
    fn open(&mut self, slot: usize, person: &Person, now: Instant) -> String {
        self.wrong[slot] = (0, None);
        let mut secret = [0u8; 32];
        OsRng.fill_bytes(&mut secret);
        let cookie = blake3::Hash::from_bytes(secret).to_hex().to_string();
        if self.sessions.len() >= SESSIONS {
            let oldest = self.sessions.iter().enumerate().min_by_key(|(_, s)| s.used).map(|(at, _)| at);
            oldest.map(|at| self.sessions.swap_remove(at));
        }
        let token = blake3::hash(cookie.as_bytes());
        let (name, password) = (person.name.clone(), person.password.clone());
        self.sessions.push(Session { token, name, password, since: now, used: now });
        cookie
    }

    /// Name and hash of a session that has not ended.
    fn session(&mut self, token: blake3::Hash, now: Instant) -> Option<(String, String)> {
        let age = |then| now.saturating_duration_since(then);
        self.sessions.retain(|s| age(s.since) < LONGEST && age(s.used) < IDLE);
        let session = self.sessions.iter_mut().find(|s| s.token == token)?;
        session.used = now;
        Some((session.name.clone(), session.password.clone()))
    }
}

/// The slot of a name, there or not.
fn slot(name: &str) -> usize {
    usize::from(blake3::hash(name.to_lowercase().as_bytes()).as_bytes()[0]) % SLOTS
}

fn token(headers: &HeaderMap) -> Option<blake3::Hash> {
    cookie::read(headers, COOKIE).map(|value| blake3::hash(value.as_bytes()))
}

/// The header that gives the browser its cookie.
#[must_use]
pub fn set_cookie(value: &str, secure: bool) -> String {
    cookie::set(COOKIE, value, "/", LONGEST, secure)
}

/// The header that takes it away.
#[must_use]
pub fn clear_cookie(secure: bool) -> String {
    cookie::set(COOKIE, "", "/", Duration::ZERO, secure)
}

/// Whether a role may make such an entry; the bay screen has none.
#[must_use]
pub fn may(role: Option<Role>, what: &What) -> bool {
    // Whatever locks people out, an alarm can be seen.
    let least = if needs_engineer(what) { Role::Engineer } else { Role::Attend };
    matches!(what, What::Seen(_)) || role.is_some_and(|role| role >= least)
}

/// Whether only an engineer may make such an entry, also where nobody signs in.
#[must_use]
pub fn needs_engineer(what: &What) -> bool {
    matches!(what, What::TakenOut { .. } | What::PutBack(_))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrong_passwords_cost_a_wait_that_doubles_and_ends() {
        let sign_in = SignIn::new(PathBuf::new());
        let mut inner = sign_in.lock();
        let now = Instant::now();
        let mut waits = Vec::new();
        for _ in 0..20 {
            inner.wrong(7, now);
            waits.push(inner.wait(7, now).map_or(0, |w| w.as_secs()));
        }
        assert_eq!(waits[..6], [0, 0, 1, 2, 4, 8]);
        assert_eq!(waits[19], 300);
        assert_eq!(inner.wait(7, now + LONGEST_WAIT), None, "never shut for good");
        assert_eq!(inner.wait(8, now), None, "others do not wait");
    }

    #[test]
    fn sessions_end_and_are_bounded() {
        let sign_in = SignIn::new(PathBuf::new());
        let mut inner = sign_in.lock();
        let now = Instant::now();
        let person =
            Person { name: "R. Quill".into(), role: Role::Attend, password: "h".into(), qualified_until: None };
        let first = blake3::hash(inner.open(0, &person, now).as_bytes());
        let mut at = now;
        while at + IDLE / 2 < now + LONGEST {
            at += IDLE / 2;
            assert!(inner.session(first, at).is_some(), "in use");
        }
        assert!(inner.session(first, now + LONGEST).is_none(), "a shift is over");
        let idle = blake3::hash(inner.open(0, &person, now).as_bytes());
        assert!(inner.session(idle, now + IDLE).is_none(), "left alone");
        for _ in 0..2 * SESSIONS {
            inner.open(0, &person, now);
        }
        assert_eq!(inner.sessions.len(), SESSIONS);
    }
}
