//! People who may act, in a file of their own: name, role and the hash of a password.
//!
//! The file is kept apart from the site file, which is copied into every recording; no hash ever is.

pub mod command;

use crate::files;
use argon2::password_hash::rand_core::OsRng;
use argon2::password_hash::{PasswordHash, PasswordHasher as _, PasswordVerifier as _, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// The largest people file that is read, bytes: [`MOST_PEOPLE`] take a sixth of it.
const MOST_BYTES: u64 = 1 << 18;
/// People in one file.
const MOST_PEOPLE: usize = 200;
/// Longest name, characters.
pub const NAME_CHARS: usize = 60;
/// Lengths of a password, bytes. NIST SP 800-63B asks for 8 at least where a person chooses; the upper end bounds work.
pub const PASSWORD_BYTES: std::ops::RangeInclusive<usize> = 8..=256;
/// Memory of one hash, KiB, passes and lanes: the first choice of the OWASP password storage cheat sheet.
const HASH: (u32, u32, u32) = (19_456, 2, 1);

/// What somebody may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Look; what the bay screen may do without sign-in.
    View,
    /// Also make the entries of a delivery.
    Attend,
    /// Also change alarm settings.
    Engineer,
}

impl Role {
    /// Its word in files and on screens.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Role::View => "view",
            Role::Attend => "attend",
            Role::Engineer => "engineer",
        }
    }
}

/// One person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// As it stands on the recording.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// The password's hash, as a PHC string of argon2id (RFC 9106).
    pub password: String,
    /// Last day of the qualification for this work, as `2027-03-31`; left out: the site keeps it elsewhere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub qualified_until: Option<String>,
}

impl Person {
    /// The last day of a qualification that is over on `today`.
    #[must_use]
    pub fn lapsed(&self, today: Date) -> Option<Date> {
        let last: Date = self.qualified_until.as_deref()?.parse().ok()?;
        (last < today).then_some(last)
    }
}

/// All that stands in a people file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct People {
    /// In the order they were added.
    #[serde(default, rename = "person")]
    pub people: Vec<Person>,
}

/// Why a people file cannot be used or changed.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// It cannot be read or written.
    #[error("{}: {source}; see that it exists and that this account may use it", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It is no people file.
    #[error("{}: {what}; mend it by hand, or move it away and begin with `brimwatch people add`", path.display())]
    NotPeople {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        what: String,
    },
    /// A name that cannot stand on a recording.
    #[error("name {0:?}: 1 to {NAME_CHARS} characters, none of them invisible, no space at an end")]
    Name(String),
    /// A password of the wrong length.
    #[error("the password has {has} bytes; choose one of {} to {}", PASSWORD_BYTES.start(), PASSWORD_BYTES.end())]
    Password {
        /// Its length, bytes.
        has: usize,
    },
    /// The name is taken.
    #[error("{0} is there already; `brimwatch people password` gives a new password, `remove` takes a person out")]
    There(String),
    /// Nobody has that name.
    #[error("nobody is called {0:?}; `brimwatch people list` shows who is there")]
    Nobody(String),
    /// No day.
    #[error("{0:?} is no day; write year-month-day, for example 2027-03-31, or none")]
    Day(String),
    /// No room.
    #[error("there are {MOST_PEOPLE} people already; remove somebody first")]
    Full,
    /// The library refused.
    #[error("the password cannot be hashed: {0}")]
    Hash(String),
}

impl People {
    /// Reads a people file.
    ///
    /// # Errors
    /// When it cannot be read, is too large or is not one.
    pub fn load(path: &Path) -> Result<People, PeopleError> {
        let failed = |source| PeopleError::Io { path: path.to_owned(), source };
        let wrong = |what: String| PeopleError::NotPeople { path: path.to_owned(), what };
        let mut text = String::new();
        fs::File::open(path).and_then(|f| f.take(MOST_BYTES + 1).read_to_string(&mut text)).map_err(failed)?;
        if text.len() as u64 > MOST_BYTES {
            return Err(wrong(format!("it is larger than {MOST_BYTES} bytes")));
        }
        let found: People = toml::from_str(&text).map_err(|error| wrong(error.to_string().trim_end().to_owned()))?;
        for (index, person) in found.people.iter().enumerate() {
            checked_name(&person.name).map_err(|error| wrong(error.to_string()))?;
            if found.people[..index].iter().any(|p| same_name(&p.name, &person.name)) {
                return Err(wrong(format!("{:?} stands there twice", person.name)));
            }
            if let Some(day) = &person.qualified_until {
                checked_day(day).map_err(|error| wrong(error.to_string()))?;
            }
            if PasswordHash::new(&person.password).is_err() {
                return Err(wrong(format!("the password of {:?} is no hash", person.name)));
            }
        }
        if found.people.len() > MOST_PEOPLE {
            return Err(wrong(format!("more than {MOST_PEOPLE} people")));
        }
        Ok(found)
    }

    /// Writes it, whole or not at all, readable by this account only.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), PeopleError> {
        let failed = |source| PeopleError::Io { path: path.to_owned(), source };
        let text = toml::to_string(self).map_err(|e| failed(io::Error::other(e)))?;
        let text = format!("# People who may act on brimwatch's page; `brimwatch people` changes it.\n\n{text}");
        files::replace(path, text.as_bytes(), 0o600).map_err(failed)
    }

    /// The person of that name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Person> {
        self.people.iter().find(|p| same_name(&p.name, name))
    }

    /// Adds a person.
    ///
    /// # Errors
    /// When name or password will not do, or the name is taken.
    pub fn add(&mut self, name: &str, role: Role, password: &str) -> Result<(), PeopleError> {
        checked_name(name)?;
        if self.find(name).is_some() {
            return Err(PeopleError::There(name.to_owned()));
        }
        if self.people.len() >= MOST_PEOPLE {
            return Err(PeopleError::Full);
        }
        self.people.push(Person { name: name.to_owned(), role, password: hash(password)?, qualified_until: None });
        Ok(())
    }

    /// Gives a person a new password.
    ///
    /// # Errors
    /// When nobody has that name, or the password will not do.
    pub fn set_password(&mut self, name: &str, password: &str) -> Result<(), PeopleError> {
        let hashed = hash(password)?;
        let person = self.people.iter_mut().find(|p| same_name(&p.name, name));
        person.ok_or_else(|| PeopleError::Nobody(name.to_owned()))?.password = hashed;
        Ok(())
    }

    /// Writes down the last day of a person's qualification; `None`: the site keeps it elsewhere.
    ///
    /// # Errors
    /// When nobody has that name, or it is no day.
    pub fn set_qualified_until(&mut self, name: &str, day: Option<&str>) -> Result<(), PeopleError> {
        day.map(checked_day).transpose()?;
        let person = self.people.iter_mut().find(|p| same_name(&p.name, name));
        person.ok_or_else(|| PeopleError::Nobody(name.to_owned()))?.qualified_until = day.map(str::to_owned);
        Ok(())
    }

    /// Takes a person out.
    ///
    /// # Errors
    /// When nobody has that name.
    pub fn remove(&mut self, name: &str) -> Result<(), PeopleError> {
        let at = self.people.iter().position(|p| same_name(&p.name, name));
        self.people.remove(at.ok_or_else(|| PeopleError::Nobody(name.to_owned()))?);
        Ok(())
    }
}

fn checked_day(day: &str) -> Result<Date, PeopleError> {
    day.parse().map_err(|_| PeopleError::Day(day.to_owned()))
}

/// Names that a person would take for the same are the same.
fn same_name(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// What may stand on a recording as a person's name.
fn checked_name(name: &str) -> Result<(), PeopleError> {
    // Marks of direction and width would let one name pass for another.
    let invisible = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    let fits = (1..=NAME_CHARS).contains(&name.chars().count());
    // The screen's own name on the recording is nobody's.
    if fits && !name.chars().any(invisible) && name.trim() == name && !same_name(name, crate::page::entries::SCREEN) {
        return Ok(());
    }
    Err(PeopleError::Name(name.to_owned()))
}

fn hasher() -> Result<Argon2<'static>, PeopleError> {
    let (memory_kib, passes, lanes) = HASH;
    let params = Params::new(memory_kib, passes, lanes, None).map_err(|e| PeopleError::Hash(e.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(password: &str) -> Result<String, PeopleError> {
    if !PASSWORD_BYTES.contains(&password.len()) {
        return Err(PeopleError::Password { has: password.len() });
    }
    let salt = SaltString::generate(&mut OsRng);
    let hashed = hasher()?.hash_password(password.as_bytes(), &salt);
    hashed.map(|h| h.to_string()).map_err(|e| PeopleError::Hash(e.to_string()))
}

/// Whether the password is the person's. Takes as long where there is no such person, so that time tells no names.
#[must_use]
pub fn is_right(person: Option<&Person>, password: &str) -> bool {
    if !PASSWORD_BYTES.contains(&password.len()) {
        return false;
    }
    let Some(person) = person else {
        let _ = hash(password);
        return false;
    };
    let Ok(stored) = PasswordHash::new(&person.password) else { return false };
    // The parameters are those of the stored hash.
    Argon2::default().verify_password(password.as_bytes(), &stored).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_people_file_keeps_who_was_written_and_no_password() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("people.toml");
        let mut people = People::default();
        people.add("R. Quill", Role::Attend, "a long enough one").expect("added");
        assert!(matches!(people.add("r. quill", Role::View, "a long enough one"), Err(PeopleError::There(_))));
        people.save(&path).expect("written");
        let text = fs::read_to_string(&path).expect("text");
        assert!(text.contains("$argon2id$v=19$m=19456,t=2,p=1$") && !text.contains("long enough"), "{text}");
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(fs::metadata(&path).expect("there").permissions().mode() & 0o777, 0o600);
        let again = People::load(&path).expect("read");
        assert_eq!(again, people);
        assert!(is_right(again.find("R. Quill"), "a long enough one"));
        assert!(!is_right(again.find("R. Quill"), "a long enough two"));
        assert!(!is_right(None, "a long enough one"));
    }

    #[test]
    fn a_hash_of_the_reference_program_is_understood() {
        // `echo -n "password" | ./argon2 somesalt -t 2 -m 16 -p 1 -id`: test.c of the reference implementation
        // (phc-winner-argon2, version 0x13); argon2-cffi 25.1, which binds that implementation, gives the same.
        let password =
            "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc".to_owned();
        let person = Person { name: "R. Quill".into(), role: Role::View, password, qualified_until: None };
        assert!(is_right(Some(&person), "password"));
        assert!(!is_right(Some(&person), "differentpassword"));
    }

    #[test]
    fn what_is_no_name_or_password_is_refused() {
        let mut people = People::default();
        for name in ["", " a", "a\n", "a\u{202e}b", &"x".repeat(61), "Bay screen"] {
            assert!(matches!(people.add(name, Role::View, "a long enough one"), Err(PeopleError::Name(_))), "{name:?}");
        }
        assert!(matches!(people.add("A", Role::View, "short"), Err(PeopleError::Password { has: 5 })));
        assert!(matches!(people.remove("A"), Err(PeopleError::Nobody(_))));
    }

    #[test]
    fn what_is_no_people_file_is_said() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("people.toml");
        for (text, says) in [
            ("[[person]]\nname = \"A\"\n", "missing field"),
            ("[[person]]\nname = \"A\"\nrole = \"view\"\npassword = \"x\"\n", "is no hash"),
            ("[[person]]\nname = \"A\"\nrole = \"king\"\npassword = \"x\"\n", "king"),
        ] {
            fs::write(&path, text).expect("written");
            let why = People::load(&path).expect_err("refused").to_string();
            assert!(why.contains(says) && why.contains("people.toml"), "{why}");
        }
    }
}
