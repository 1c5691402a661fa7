//! `brimwatch people`: who may act on the page.

use super::{People, PeopleError, Person, Role};
use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
use std::io::{self, BufRead as _, IsTerminal as _, Read as _, Write as _};
use std::path::PathBuf;

/// Longest line that is read as a password, bytes.
const LINE_BYTES: u64 = 1024;

/// What is done to the people file.
#[derive(Debug, clap::Subcommand)]
pub enum What {
    /// Add a person. The password is asked for, or is the first line of standard input.
    Add {
        /// People file (`people` of the site file); made where there is none.
        file: PathBuf,
        /// Name, as it shall stand on the recordings.
        name: String,
        /// What they may do.
        #[arg(long, value_enum)]
        role: Role,
    },
    /// Show who is there.
    List {
        /// People file.
        file: PathBuf,
    },
    /// Give a person a new password.
    Password {
        /// People file.
        file: PathBuf,
        /// Whose.
        name: String,
    },
    /// Write down the last day of a person's qualification: after it they sign no step and enter no check for the site.
    Qualify {
        /// People file.
        file: PathBuf,
        /// Whose.
        name: String,
        /// Last day, as 2027-03-31; `none`: kept elsewhere.
        #[arg(long)]
        until: String,
    },
    /// Take a person out; where they are signed in, their next act is refused.
    Remove {
        /// People file.
        file: PathBuf,
        /// Who.
        name: String,
    },
}

/// Does it; what there is to say of it.
///
/// # Errors
/// When the file, the name or the password will not do.
pub fn run(what: &What) -> Result<String, PeopleError> {
    match what {
        What::Add { file, name, role } => {
            let mut people = if file.exists() { People::load(file)? } else { People::default() };
            if people.find(name).is_some() {
                return Err(PeopleError::There(name.clone()));
            }
            people.add(name, *role, &password(file)?)?;
            people.save(file)?;
            Ok(format!("{name} ({}) is added to {}", role.word(), file.display()))
        }
        What::List { file } => {
            let until = |day: Option<String>| day.map_or_else(String::new, |day| format!("  (qualified until {day})"));
            let line = |p: Person| format!("{:<8}  {}{}", p.role.word(), p.name, until(p.qualified_until));
            let lines = People::load(file)?.people.into_iter().map(line);
            Ok(lines.collect::<Vec<_>>().join("\n"))
        }
        What::Password { file, name } => {
            let mut people = People::load(file)?;
            if people.find(name).is_none() {
                return Err(PeopleError::Nobody(name.clone()));
            }
            people.set_password(name, &password(file)?)?;
            people.save(file)?;
            Ok(format!("{name} has a new password"))
        }
        What::Qualify { file, name, until } => {
            let mut people = People::load(file)?;
            let day = (until != "none").then_some(until.as_str());
            people.set_qualified_until(name, day)?;
            people.save(file)?;
            Ok(match day {
                Some(day) => format!("{name} is qualified until {day}"),
                None => format!("{name}: no qualification is kept here"),
            })
        }
        What::Remove { file, name } => {
            let mut people = People::load(file)?;
            people.remove(name)?;
            people.save(file)?;
            Ok(format!("{name} is removed from {}", file.display()))
        }
    }
}

/// The first line of standard input; not shown while it is typed.
fn password(file: &std::path::Path) -> Result<String, PeopleError> {
    let failed = |source: io::Error| PeopleError::Io { path: file.to_owned(), source };
    let stdin = io::stdin();
    let typed = stdin.is_terminal().then(|| tcgetattr(&stdin).ok()).flatten();
    if let Some(shown) = &typed {
        let _ = write!(io::stderr(), "Password: ");
        let mut hidden = shown.clone();
        hidden.local_modes.remove(LocalModes::ECHO);
        tcsetattr(&stdin, OptionalActions::Flush, &hidden).map_err(|e| failed(e.into()))?;
    }
    let mut line = String::new();
    let read = stdin.lock().take(LINE_BYTES).read_line(&mut line);
    if let Some(shown) = &typed {
        let _ = tcsetattr(&stdin, OptionalActions::Flush, shown);
        let _ = writeln!(io::stderr());
    }
    read.map_err(failed)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}
