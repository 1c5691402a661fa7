//! Settings to try: those on record, those of site files, and a site file with one key at several values.

use crate::config::Site;
use crate::engine::settings::{Settings, SignalKind};
use std::io;
use std::path::{Path, PathBuf};

/// Most values of a sweep, and so most choices of one run.
const CHOICES_MOST: usize = 200;

/// One choice of settings.
#[derive(Debug, Clone)]
pub struct Choice {
    /// Name in the results.
    pub name: String,
    /// Where it is of a sweep: the key, and its value as written.
    pub swept: Option<(String, String)>,
    /// The site; `None`: every recording under its own settings.
    pub site: Option<Site>,
}

impl Choice {
    /// Every recording under the settings that it was made with.
    #[must_use]
    pub fn recorded() -> Choice {
        Choice { name: "as recorded".into(), swept: None, site: None }
    }

    /// What is to be told apart when a run is gone on with.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        let texts = self.site.as_ref().map(|site| &site.texts);
        let hash = blake3::hash(format!("{:?}\n{texts:?}\n{}", self.swept, self.name).as_bytes());
        hash.to_hex()[..16].to_owned()
    }

    /// The settings under which a recording of that bay, made with `recorded`, is replayed.
    ///
    /// # Errors
    /// Says why the site file cannot be tried on it: another bay, other instruments. Wiring is not what is tuned.
    pub fn settings(&self, bay: &str, recorded: &Settings) -> Result<Settings, String> {
        let Some(site) = &self.site else { return Ok(recorded.clone()) };
        let Some(setup) = site.bays.iter().find(|b| b.slug == bay) else {
            return Err(format!("{}: has no bay {bay:?}", site.path.display()));
        };
        let settings = setup.settings.clone();
        let shape = |s: &Settings| -> Vec<(SignalKind, u16, Option<u16>)> {
            s.signals.iter().map(|signal| (signal.kind, signal.device, signal.tank)).collect()
        };
        let alike = shape(&settings) == shape(recorded)
            && settings.devices.len() == recorded.devices.len()
            && settings.tanks.len() == recorded.tanks.len()
            && settings.neighbours == recorded.neighbours;
        if alike {
            return Ok(settings);
        }
        Err(format!(
            "{}: bay {bay:?} has other signals, devices or tanks there than in the recording; only a site file of the \
             same instruments can be tried on it",
            site.path.display()
        ))
    }
}

/// What the others are compared with (the settings on record, unless `against` names a site file), the settings on record,
/// each site file, and the first of them with each value of each swept key (`alarms.on_delay=1 s,3 s,10 s`; a key below an
/// array of tables is set in all of them).
///
/// # Errors
/// Says what is wrong, for whoever typed it.
pub fn choices(against: Option<&Path>, sites: &[PathBuf], sweeps: &[String]) -> Result<Vec<Choice>, String> {
    let of_file = |path: &Path| {
        let site = crate::config::load(path).map_err(|faults| faults.to_string())?;
        Ok::<_, String>(Choice { name: path.display().to_string(), swept: None, site: Some(site) })
    };
    let mut all = against.map(of_file).transpose()?.into_iter().collect::<Vec<_>>();
    all.push(Choice::recorded());
    for path in sites {
        all.push(of_file(path)?);
    }
    for sweep in sweeps {
        let (key, values) = sweep.split_once('=').ok_or_else(|| {
            format!("--try: {sweep:?} is no KEY=VALUE,VALUE,..; for example \"alarms.on_delay=1 s,3 s\"")
        })?;
        let Some(path) = sites.first() else {
            return Err("--try: needs --site FILE, the site file in which the key is set".to_owned());
        };
        for value in values.split(',').map(str::trim) {
            all.push(swept(path, key.trim(), value)?);
        }
    }
    if all.len() > CHOICES_MOST {
        return Err(format!("{} choices of settings; at most {CHOICES_MOST} in one run", all.len()));
    }
    Ok(all)
}

/// A site file with one key set.
fn swept(path: &Path, key: &str, value: &str) -> Result<Choice, String> {
    let io = |error: io::Error| format!("{}: cannot be read: {error}", path.display());
    let text = std::fs::read_to_string(path).map_err(io)?;
    let mut root: toml::Table = text.parse().map_err(|error| format!("{}: {error}", path.display()))?;
    let parts: Vec<&str> = key.split('.').collect();
    // Quantities are text; what is a number or a yes/no is written so.
    let value_toml = match (value.parse::<i64>(), value.parse::<f64>(), value.parse::<bool>()) {
        (Ok(whole), _, _) => toml::Value::Integer(whole),
        (_, Ok(number), _) => toml::Value::Float(number),
        (_, _, Ok(yes_no)) => toml::Value::Boolean(yes_no),
        _ => toml::Value::String(value.to_owned()),
    };
    if !set(&mut root, &parts, &value_toml) {
        return Err(format!("--try: {key:?}: there is no such table in {}", path.display()));
    }
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let read = |name: &str| std::fs::read_to_string(folder.join(name));
    let text = toml::to_string(&root).map_err(|error| error.to_string())?;
    let name = format!("{key} = {value}");
    let site = Site::from_text(path, text, &read).map_err(|faults| format!("--try: {name}:\n{faults}"))?;
    Ok(Choice { name, swept: Some((key.to_owned(), value.to_owned())), site: Some(site) })
}

/// Sets the key; a table that may be left out is made at the top. False where there is no such table.
fn set(table: &mut toml::Table, parts: &[&str], value: &toml::Value) -> bool {
    match parts {
        [] => false,
        [last] => {
            table.insert((*last).to_owned(), value.clone());
            true
        }
        [head, rest @ ..] => {
            let inner = table.entry(*head).or_insert_with(|| toml::Value::Table(toml::Table::new()));
            match inner {
                toml::Value::Table(inner) => set(inner, rest, value),
                toml::Value::Array(list) => {
                    let set = list.iter_mut().filter_map(|v| v.as_table_mut()).map(|inner| set(inner, rest, value));
                    set.filter(|set| *set).count() > 0
                }
                _ => false,
            }
        }
    }
}
