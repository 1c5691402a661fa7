//! The bay's own screens: an engineer who is signed in at one makes it so. A screen is known by a cookie, of which the
//! file beside the people file holds the hash alone; a bay has one screen, and the newest takes the place of the last.

use super::cookie;
use crate::files;
use argon2::password_hash::rand_core::{OsRng, RngCore as _};
use axum::http::HeaderMap;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Name of the cookie.
const COOKIE: &str = "brimwatch_screen";
/// Longest file that is read, bytes: a line for each bay.
const FILE_MAX: u64 = 64 << 10;

/// Every bay's own screen, by the bay's short name.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Screens {
    #[serde(default)]
    screen: BTreeMap<String, Screen>,
}

/// The screen of one bay.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Screen {
    /// blake3 of the cookie, in hexadecimal.
    hash: String,
    /// Who made it the bay's own.
    by: String,
}

fn file(people: &Path) -> PathBuf {
    people.with_file_name("screens.toml")
}

/// A file that is not there names no screen, and so does one that cannot be understood: then nobody can attend, and says so.
fn load(people: &Path) -> io::Result<Screens> {
    let path = file(people);
    match fs::metadata(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Screens::default()),
        Err(error) => return Err(error),
        Ok(found) if found.len() > FILE_MAX => return Err(io::Error::other("the file is too long")),
        Ok(_) => {}
    }
    toml::from_str(&fs::read_to_string(path)?).map_err(io::Error::other)
}

/// Makes whoever gets this cookie the screen of that bay; gives the header that sets it.
///
/// # Errors
/// When the file cannot be read or written.
pub fn enrol(people: &Path, bay: &str, by: &str, secure: bool) -> io::Result<String> {
    let mut secret = [0u8; 32];
    OsRng.fill_bytes(&mut secret);
    let secret = blake3::Hash::from_bytes(secret).to_hex().to_string();
    let mut screens = load(people)?;
    let hash = blake3::hash(secret.as_bytes()).to_hex().to_string();
    screens.screen.insert(bay.to_owned(), Screen { hash, by: by.to_owned() });
    let text = toml::to_string(&screens).map_err(io::Error::other)?;
    let text = format!("# The bays' own screens; an engineer makes one on the bay's page.\n\n{text}");
    files::replace(&file(people), text.as_bytes(), 0o600)?;
    Ok(cookie::set(COOKIE, &secret, &format!("/bay/{bay}"), cookie::FOR_GOOD, secure))
}

/// Whether this comes from that bay's own screen.
#[must_use]
pub fn is_own(people: &Path, bay: &str, headers: &HeaderMap) -> bool {
    let Some(hash) = cookie::read(headers, COOKIE).map(|value| blake3::hash(value.as_bytes())) else { return false };
    let screens = load(people).unwrap_or_default();
    let known = screens.screen.get(bay).and_then(|screen| blake3::Hash::from_hex(&screen.hash).ok());
    // Compared in constant time by the library.
    known == Some(hash)
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderValue, header};

    #[test]
    fn only_the_newest_screen_of_a_bay_is_its_own() {
        let folder = tempfile::tempdir().expect("a folder");
        let people = folder.path().join("people.toml");
        let headers = |cookie: &str| {
            let value = cookie.split(';').next().expect("a value");
            HeaderMap::from_iter([(header::COOKIE, HeaderValue::from_str(value).expect("text"))])
        };
        assert!(!is_own(&people, "bay-1", &HeaderMap::new()));
        let first = headers(&enrol(&people, "bay-1", "J. Doe", false).expect("written"));
        let other = headers(&enrol(&people, "bay-2", "J. Doe", false).expect("written"));
        assert!(is_own(&people, "bay-1", &first) && is_own(&people, "bay-2", &other));
        assert!(!is_own(&people, "bay-2", &first) && !is_own(&people, "bay-3", &other));
        let second = headers(&enrol(&people, "bay-1", "J. Doe", false).expect("written"));
        assert!(is_own(&people, "bay-1", &second) && !is_own(&people, "bay-1", &first));
        assert!(is_own(&people, "bay-2", &other));
        std::fs::write(file(&people), "no = toml = at all").expect("written");
        assert!(!is_own(&people, "bay-2", &other) && enrol(&people, "bay-1", "J. Doe", false).is_err());
    }
}
