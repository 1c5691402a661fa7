//! Settings to try: those on record, those of site files, and a site file with one key at several values.

use crate::config::Site;
use crate::config::edit::{Step, set};
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
    let mut root: toml_edit::DocumentMut = text.parse().map_err(|error| format!("{}: {error}", path.display()))?;
    let mut parts: Vec<&str> = key.split('.').collect();
    let last = parts.pop().unwrap_or_default();
    let steps: Vec<Step> = parts.iter().map(|part| Step { table: (*part).to_owned(), named: None }).collect();
    // Quantities are text; what is a number or a yes/no is written so.
    let written = match (value.parse::<i64>(), value.parse::<f64>(), value.parse::<bool>()) {
        (Ok(whole), _, _) => whole.into(),
        (_, Ok(number), _) => number.into(),
        (_, _, Ok(yes_no)) => yes_no.into(),
        _ => value.into(),
    };
    if !set(root.as_table_mut(), &steps, last, Some(&written)) {
        return Err(format!("--try: {key:?}: there is no such table in {}", path.display()));
    }
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let read = |name: &str| std::fs::read_to_string(folder.join(name));
    let name = format!("{key} = {value}");
    let site = Site::from_text(path, root.to_string(), &read).map_err(|faults| format!("--try: {name}:\n{faults}"))?;
    Ok(Choice { name, swept: Some((key.to_owned(), value.to_owned())), site: Some(site) })
}
