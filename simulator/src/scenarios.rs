//! Scenario files: a transfer on which something goes wrong, how it ends if nobody acts, and what is to be learnt.
//!
//! [`KEYS`] is the table of what may stand in one. The shipped ones are held in the program; any other is read from its
//! path.

use crate::bay::{Closes, SimulatedBay};
use crate::harm::BadEnd;
use crate::instruments::InstrumentSetup;
use crate::plant::PlantSetup;
use crate::scenario;
use crate::wrong::{GoesWrong, amount};
use brimwatch::config::{DeliverySetup, Settings};
use brimwatch::units::{Kg, Quantity, Unit};
use std::collections::BTreeMap;
use std::fmt::{self, Write};
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Name and text of each shipped scenario; the quiet transfer first.
pub const SHIPPED: &[(&str, &str)] = &[
    ("quiet", include_str!("../scenarios/quiet.toml")),
    ("leak-before-meter", include_str!("../scenarios/leak-before-meter.toml")),
    ("leak-after-meter", include_str!("../scenarios/leak-after-meter.toml")),
    ("leak-on-deck", include_str!("../scenarios/leak-on-deck.toml")),
    ("wrong-tank", include_str!("../scenarios/wrong-tank.toml")),
    ("does-not-fit", include_str!("../scenarios/does-not-fit.toml")),
    ("gauge-stuck", include_str!("../scenarios/gauge-stuck.toml")),
    ("gauge-low", include_str!("../scenarios/gauge-low.toml")),
    ("tank-table", include_str!("../scenarios/tank-table.toml")),
    ("scale-drift", include_str!("../scenarios/scale-drift.toml")),
    ("pad-creep", include_str!("../scenarios/pad-creep.toml")),
    ("regulator-open", include_str!("../scenarios/regulator-open.toml")),
    ("breakthrough", include_str!("../scenarios/breakthrough.toml")),
    ("cold-plug", include_str!("../scenarios/cold-plug.toml")),
    ("device-silent", include_str!("../scenarios/device-silent.toml")),
    ("device-exception", include_str!("../scenarios/device-exception.toml")),
    ("gauge-says-failure", include_str!("../scenarios/gauge-says-failure.toml")),
    ("gauge-at-its-end", include_str!("../scenarios/gauge-at-its-end.toml")),
    ("gateway-replay", include_str!("../scenarios/gateway-replay.toml")),
    ("wet-gas", include_str!("../scenarios/wet-gas.toml")),
    ("wrong-product", include_str!("../scenarios/wrong-product.toml")),
    ("drives-off", include_str!("../scenarios/drives-off.toml")),
    ("draw-off", include_str!("../scenarios/draw-off.toml")),
    ("two-at-once", include_str!("../scenarios/two-at-once.toml")),
];

/// What a key holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Text.
    Text,
    /// A list of texts.
    Texts,
    /// A number and a unit of this quantity, as text.
    Amount(Quantity),
    /// A table.
    Table,
}

/// One key of a scenario file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Its path from the top.
    pub path: &'static str,
    /// What it holds.
    pub form: Form,
    /// It must be there.
    pub required: bool,
    /// How a value looks.
    pub example: &'static str,
    /// What it means.
    pub doc: &'static str,
}

const fn key(path: &'static str, form: Form, required: bool, example: &'static str, doc: &'static str) -> Key {
    Key { path, form, required, example, doc }
}

/// Every key.
pub const KEYS: &[Key] = &[
    key("title", Form::Text, true, "A leak behind the meter", "one line for the list"),
    key("learn", Form::Text, true, "The scale and the meter agree, the tank lags", "what is to be learnt"),
    key("happens", Form::Text, true, "A gasket gives way", "what happens, for the trainer alone"),
    key("goes_wrong", Form::Texts, false, "leak after the meter, 3 kg/min, at 20 min", "what goes wrong and when"),
    key("closes", Form::Text, false, "planned amount", "what somebody who acts on nothing else closes the valve for"),
    key("ends", Form::Text, false, "spilled over 100 kg", "the bad end, if nobody acts; without it there is none"),
    key("alarm", Form::Text, false, "witnesses disagree", "the alarm that is for it and speaks before"),
    key("lasts", Form::Amount(Quantity::Time), true, "90 min", "how long it goes on from the start of the transfer"),
    key("works", Form::Table, false, "", "in what the works, the load and the papers differ from the drill's own"),
    key("works.tank_start", Form::Amount(Quantity::Length), false, "1.4 m", "level in the tank before"),
    key("works.planned", Form::Amount(Quantity::Mass), false, "18 t", "planned amount on the papers"),
    key("works.tank_volume", Form::Amount(Quantity::Ratio), false, "-6 %", "real volume of the tank against its table"),
    key(
        "works.density",
        Form::Amount(Quantity::Ratio),
        false,
        "-4 %",
        "density of what is on the trailer, against its papers",
    ),
    key("works.viscosity", Form::Amount(Quantity::Ratio), false, "150 %", "its viscosity, the same"),
    key("works.vent", Form::Amount(Quantity::Length), false, "10 mm", "bore of the tank's vent"),
];

/// A scenario.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Its name: that of the file.
    pub name: String,
    /// One line.
    pub title: String,
    /// What is to be learnt.
    pub learn: String,
    /// What happens.
    pub happens: String,
    /// What goes wrong.
    pub goes_wrong: Vec<GoesWrong>,
    /// What the valve is closed for by somebody who acts on nothing else.
    pub closes: Closes,
    /// The bad end.
    pub ends: Option<BadEnd>,
    /// The alarm that is for it, in the words of the catalogue's names.
    pub alarm: Option<String>,
    /// From the start of the transfer, s.
    pub lasts_s: f64,
    /// In what the works differ.
    pub works: Works,
}

/// In what works, load and papers differ from the drill's own; none: in nothing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Works {
    /// Level before, m.
    pub tank_start_m: Option<f64>,
    /// Planned amount, kg.
    pub planned_kg: Option<f64>,
    /// Real volume of the tank over its table, less 1.
    pub tank_volume: Option<f64>,
    /// Real density over the papers', less 1.
    pub density: Option<f64>,
    /// Real viscosity over the product's, less 1.
    pub viscosity: Option<f64>,
    /// Bore of the vent, m.
    pub vent_m: Option<f64>,
}

impl Scenario {
    /// The works where nothing is wrong with them: the plan on the papers, and the level that was found, unless that alone is
    /// what ends badly.
    #[must_use]
    pub fn sound_works(&self) -> Works {
        let Works { tank_start_m, planned_kg, .. } = self.works;
        let usual = Works { tank_start_m, planned_kg, ..Works::default() };
        let by_level_alone = self.goes_wrong.is_empty() && self.works == usual;
        Works { tank_start_m: tank_start_m.filter(|_| !by_level_alone), ..usual }
    }

    /// All that are shipped.
    ///
    /// # Errors
    /// Never but by a mistake in a shipped file.
    pub fn shipped() -> Result<Vec<Scenario>, String> {
        SHIPPED.iter().map(|(name, text)| Scenario::parse(name, &format!("{name}.toml"), text)).collect()
    }

    /// The shipped one of that name, or the file at that path.
    ///
    /// # Errors
    /// What is there instead, and what is wrong with a file.
    pub fn find(name: &str) -> Result<Scenario, String> {
        if let Some((name, text)) = SHIPPED.iter().find(|(shipped, _)| *shipped == name) {
            return Scenario::parse(name, &format!("{name}.toml"), text);
        }
        let path = Path::new(name);
        if path.extension().is_none_or(|e| e != "toml") {
            let names: Vec<&str> = SHIPPED.iter().map(|(name, _)| *name).collect();
            return Err(format!(
                "\"{name}\" is no scenario; shipped are: {}; or give a path ending in .toml",
                names.join(", ")
            ));
        }
        let text = std::fs::read_to_string(path).map_err(|e| format!("{name}: cannot be read: {e}"))?;
        let stem = path.file_stem().map_or(name.to_owned(), |stem| stem.to_string_lossy().into_owned());
        Scenario::parse(&stem, name, &text)
    }

    /// Reads one; `file` is for messages.
    ///
    /// # Errors
    /// Everything that is wrong with it, a line each.
    pub fn parse(name: &str, file: &str, text: &str) -> Result<Scenario, String> {
        let mut reader = Reader::new(file, text)?;
        let read = |text: &str| GoesWrong::parse(text);
        let goes_wrong = reader.list("goes_wrong", read);
        let closes = reader.word("closes", Closes::named).unwrap_or(Closes::PlannedAmount);
        let ends = reader.word("ends", BadEnd::parse);
        let si = |reader: &mut Reader, path, low, high| reader.amount(path, low, high);
        let works = Works {
            tank_start_m: si(&mut reader, "works.tank_start", 0.1, 20.0),
            planned_kg: si(&mut reader, "works.planned", 100.0, 50_000.0),
            tank_volume: si(&mut reader, "works.tank_volume", -0.5, 0.5),
            density: si(&mut reader, "works.density", -0.5, 0.5),
            viscosity: si(&mut reader, "works.viscosity", -0.9, 10.0),
            vent_m: si(&mut reader, "works.vent", 1e-3, 0.5),
        };
        let lasts_s = reader.amount("lasts", 60.0, 14_400.0).unwrap_or(f64::NAN);
        let (title, learn, happens) = (reader.text("title"), reader.text("learn"), reader.text("happens"));
        let alarm = reader.optional("alarm");
        if ends.is_some() != alarm.is_some() {
            reader.fault("", "a bad end and the alarm that is for it stand together: write both \"ends\" and \"alarm\" (\"none\" where no alarm can be for it)");
        }
        let name = name.to_owned();
        reader.end(Scenario { name, title, learn, happens, goes_wrong, closes, ends, alarm, lasts_s, works })
    }

    /// The papers as they are entered.
    #[must_use]
    pub fn papers(&self, papers: &DeliverySetup) -> DeliverySetup {
        let planned = self.works.planned_kg.map_or(papers.planned, Kg);
        DeliverySetup { planned, ..papers.clone() }
    }

    /// What really stands there, for somebody who acts on nothing but what the valve is closed for.
    #[must_use]
    pub fn bay(&self, settings: &Settings, papers: &DeliverySetup, seed: u64) -> SimulatedBay {
        let papers = self.papers(papers);
        let plant = self.works.plant(scenario::plant(settings, &papers, seed));
        let instruments: InstrumentSetup = scenario::instruments(settings, papers.tank, seed);
        let mut bay = SimulatedBay::of(settings, Some(&papers), plant, instruments);
        bay.closes(self.closes);
        for wrong in self.goes_wrong.iter().filter(|wrong| wrong.at_s.is_none()) {
            wrong.befall(&mut bay, 0.0);
        }
        bay
    }

    /// The transfer starts now: what goes wrong later is counted from here.
    pub fn start(&self, bay: &mut SimulatedBay) {
        let start_s = bay.plant().time_s();
        for wrong in self.goes_wrong.iter().filter(|wrong| wrong.at_s.is_some()) {
            wrong.befall(bay, start_s);
        }
        bay.start_when_ready();
    }
}

impl Works {
    fn plant(&self, plant: PlantSetup) -> PlantSetup {
        let times = |change: Option<f64>| 1.0 + change.unwrap_or(0.0);
        let tank_m_m3 = plant.tank_m_m3.iter().map(|&(m, m3)| (m, m3 * times(self.tank_volume))).collect();
        let vent_m2 = self.vent_m.map_or(plant.vent_m2, |bore_m| std::f64::consts::PI / 4.0 * bore_m * bore_m);
        let density_kg_per_m3 = plant.density_kg_per_m3 * times(self.density);
        // A trailer is filled by weight up to what its shell takes: 3 % are left for warmth (49 CFR 173.24b asks for
        // room; the figure is our own).
        let loaded_kg = plant.loaded_kg.min(0.97 * plant.trailer_m3 * density_kg_per_m3);
        PlantSetup {
            tank_m_m3,
            vent_m2,
            density_kg_per_m3,
            loaded_kg,
            viscosity_pa_s: plant.viscosity_pa_s * times(self.viscosity),
            tank_start_m: self.tank_start_m.unwrap_or(plant.tank_start_m),
            ..plant
        }
    }
}

/// A file being read: what stands at each key, and what is wrong.
struct Reader<'a> {
    file: &'a str,
    text: &'a str,
    /// Texts by path, with where they stand.
    found: BTreeMap<&'static str, Vec<(String, usize)>>,
    faults: Vec<(usize, String)>,
}

impl<'a> Reader<'a> {
    fn new(file: &'a str, text: &'a str) -> Result<Reader<'a>, String> {
        let mut reader = Reader { file, text, found: BTreeMap::new(), faults: Vec::new() };
        let table = DeTable::parse(text).map_err(|e| {
            let at = e.span().map_or(0, |span| span.start);
            format!("{file}:{}: no TOML: {}", reader.line(at), e.message())
        })?;
        reader.table("", table.get_ref());
        for key in KEYS.iter().filter(|key| key.required && !reader.found.contains_key(key.path)) {
            let told = reader.faults.iter().any(|(_, fault)| fault.starts_with(&format!("{}: ", key.path)));
            if !told {
                let fault = format!("{}: is missing; it is {}; write {}", key.path, key.doc, key.line());
                reader.faults.push((0, fault));
            }
        }
        Ok(reader)
    }

    fn line(&self, at: usize) -> usize {
        self.text[..at.min(self.text.len())].matches('\n').count() + 1
    }

    fn table(&mut self, parent: &str, table: &DeTable<'_>) {
        for (name, value) in table {
            let path =
                if parent.is_empty() { name.get_ref().to_string() } else { format!("{parent}.{}", name.get_ref()) };
            match KEYS.iter().find(|key| key.path == path) {
                Some(key) => self.value(key, value),
                None => {
                    let near = |key: &&Key| strsim::damerau_levenshtein(key.path, &path);
                    let nearest = KEYS.iter().min_by_key(near).filter(|key| near(key) <= 3);
                    let all: Vec<&str> = KEYS.iter().map(|key| key.path).collect();
                    let hint = nearest
                        .map_or(format!("keys are: {}", all.join(", ")), |k| format!("the nearest is {}", k.path));
                    self.faults.push((name.span().start, format!("{path}: there is no such key; {hint}")));
                }
            }
        }
    }

    fn value(&mut self, key: &'static Key, value: &Spanned<DeValue<'_>>) {
        let at = value.span().start;
        match (key.form, value.get_ref()) {
            (Form::Table, DeValue::Table(table)) => self.table(key.path, table),
            (Form::Text | Form::Amount(_), DeValue::String(text)) if !text.trim().is_empty() => {
                self.found.insert(key.path, vec![(text.trim().to_owned(), at)]);
            }
            (Form::Texts, DeValue::Array(items)) => {
                for item in items {
                    match item.get_ref() {
                        DeValue::String(text) => {
                            self.found.entry(key.path).or_default().push((text.to_string(), item.span().start));
                        }
                        _ => self.form(key, item.span().start),
                    }
                }
            }
            _ => self.form(key, at),
        }
    }

    fn form(&mut self, key: &Key, at: usize) {
        self.faults.push((at, format!("{}: is not of its form; write {}", key.path, key.line())));
    }

    fn fault(&mut self, path: &str, why: &str) {
        let at = self.found.get(path).and_then(|texts| texts.first()).map_or(0, |(_, at)| *at);
        self.faults.push((at, if path.is_empty() { why.to_owned() } else { format!("{path}: {why}") }));
    }

    fn optional(&self, path: &str) -> Option<String> {
        self.found.get(path).and_then(|texts| texts.first()).map(|(text, _)| text.clone())
    }

    fn text(&self, path: &str) -> String {
        self.optional(path).unwrap_or_default()
    }

    fn list<T>(&mut self, path: &'static str, read: impl Fn(&str) -> Result<T, String>) -> Vec<T> {
        let mut all = Vec::new();
        for (text, at) in self.found.get(path).cloned().unwrap_or_default() {
            match read(&text) {
                Ok(value) => all.push(value),
                Err(why) => self.faults.push((at, format!("{path}: {why}"))),
            }
        }
        all
    }

    fn word<T>(&mut self, path: &'static str, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        self.list(path, read).pop()
    }

    fn amount(&mut self, path: &'static str, low: f64, high: f64) -> Option<f64> {
        let quantity = KEYS.iter().find_map(|key| match key.form {
            Form::Amount(quantity) if key.path == path => Some(quantity),
            _ => None,
        })?;
        self.word(path, |text| {
            let si = amount(text, quantity, Unit::to_si)?;
            let name = quantity.si_name();
            if (low..=high).contains(&si) {
                Ok(si)
            } else {
                Err(format!("\"{text}\" is outside {low} to {high} {name}"))
            }
        })
    }

    fn end(mut self, scenario: Scenario) -> Result<Scenario, String> {
        if self.faults.is_empty() {
            return Ok(scenario);
        }
        self.faults.sort();
        let mut all = String::new();
        for (at, fault) in &self.faults {
            let _ = writeln!(all, "{}:{}: {fault}", self.file, self.line(*at));
        }
        Err(all.trim_end().to_owned())
    }
}

impl Key {
    /// As it may stand in a file.
    fn line(&self) -> String {
        let name = self.path.rsplit('.').next().unwrap_or(self.path);
        match self.form {
            Form::Table => format!("[{}]", self.path),
            Form::Texts => format!("{name} = [\"{}\"]", self.example),
            Form::Text | Form::Amount(_) => format!("{name} = \"{}\"", self.example),
        }
    }
}

/// A line of the list.
impl fmt::Display for Scenario {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ends = self.ends.map_or("no bad end".to_owned(), |end| end.to_string());
        write!(f, "{:<20} {} ({ends})", self.name, self.title)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_ones_are_sound() {
        let all = Scenario::shipped().unwrap_or_else(|why| panic!("{why}"));
        assert_eq!(all[0].ends, None, "the first is quiet");
        assert!(all.iter().filter(|s| s.ends.is_some()).count() >= 16);
        for (name, _) in SHIPPED {
            assert_eq!(Scenario::find(name).map(|s| s.name), Ok((*name).to_owned()));
        }
    }

    /// A tank that stands higher is a fault only where nothing else is: the load that does not fit.
    #[test]
    fn a_level_is_a_fault_where_nothing_else_is() {
        let sound = |name| Scenario::find(name).unwrap_or_else(|why| panic!("{why}")).sound_works();
        let level = |name| sound(name).tank_start_m;
        assert_eq!(sound("does-not-fit"), Works::default());
        assert_eq!((level("gauge-stuck"), sound("gauge-stuck").planned_kg), (Some(2.25), Some(16_000.0)));
        assert_eq!((level("tank-table"), sound("tank-table").tank_volume), (Some(1.9), None));
        assert_eq!(sound("wrong-product"), Works::default());
    }

    /// Every fault at once, each with its line, what may be written and what comes nearest.
    #[test]
    fn a_wrong_file_says_all_that_is_wrong_with_it() {
        let text = "title = \"x\"\nlearn = 3\ngoes_wrong = [\"tank levle: stuck\"]\nends = \"spilt over 3 kg\"\n\
                    closes = \"never\"\nlasts = \"90 kg\"\n[works]\ntank_strat = \"1 m\"\nplanned = \"900 t\"\n";
        let why = Scenario::parse("x", "x.toml", text).expect_err("faults");
        let lines = [
            "x.toml:1: happens: is missing",
            "x.toml:2: learn: is not of its form; write learn = \"",
            "x.toml:3: goes_wrong: \"tank levle: stuck\" is nothing that can go wrong here; the nearest is \"tank level: stuck\"",
            "x.toml:4: ends: \"spilt\" is nothing that can be too much here: spilled,",
            "x.toml:5: closes: \"never\"",
            "x.toml:6: lasts: \"90 kg\": the unit must be one of: s, ms, min, h",
            "x.toml:8: works.tank_strat: there is no such key; the nearest is works.tank_start",
            "x.toml:9: works.planned: \"900 t\" is outside 100 to 50000 kg",
        ];
        for line in lines {
            assert!(why.contains(line), "{line} in:\n{why}");
        }
        assert_eq!(why.lines().count(), lines.len(), "{why}");
        assert!(Scenario::parse("x", "x.toml", "title = ").expect_err("no TOML").starts_with("x.toml:1: no TOML"));
        assert!(Scenario::find("quite").expect_err("no such").contains("shipped are: quiet"));
    }
}
