//! Errors planted into the drill's site file and papers: each is found before anything flows, by the check of the
//! files or by the first readings, and says what it is. What the simulated devices serve stays as it was: the file is
//! wrong about them.

use brimwatch::config::{DeliveryFile, Fault, Severity, Site};
use brimwatch::engine::Monitor;
use brimwatch::engine::frame::{Alarm, Frame};
use brimwatch::engine::input::{Block, Carried, Entry, Event, Input, MissReason, Missed, Poll, What};
use brimwatch::poll::blocks;
use brimwatch::poll::registers::Status;
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT, SITE};
use brimwatch_simulator::server::{encode, saying};
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::Path;

/// The attendant brings the pad up and waits; the transfer does not start before, s.
const BEFORE_S: u64 = 300;

/// Which file an error is planted into.
#[derive(Debug, Clone, Copy, PartialEq)]
enum File {
    Site,
    Papers,
    Product,
}

/// Who finds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum By {
    /// The check refuses the file.
    Fault,
    /// The check takes it and says so.
    Warning,
    /// An alarm on what is read.
    Readings,
}

impl By {
    fn name(self) -> &'static str {
        match self {
            By::Fault => "check, fault",
            By::Warning => "check, warning",
            By::Readings => "readings",
        }
    }
}

/// The three files of a works.
#[derive(Clone)]
struct Files {
    site: String,
    papers: String,
    product: String,
}

impl Files {
    fn sound() -> Files {
        Files { site: SITE.to_owned(), papers: DELIVERY.to_owned(), product: PRODUCT.1.to_owned() }
    }

    fn planted(file: File, edits: &[(&str, &str)]) -> Files {
        let mut files = Files::sound();
        let text = match file {
            File::Site => &mut files.site,
            File::Papers => &mut files.papers,
            File::Product => &mut files.product,
        };
        for (from, to) in edits {
            assert_eq!(text.matches(from).count(), 1, "{from:?} must stand once");
            *text = text.replace(from, to);
        }
        files
    }

    /// Site and papers where nothing is found in the site, and the findings: those of the site, else of the papers.
    fn check(&self) -> (Option<(Site, DeliveryFile)>, Vec<Fault>) {
        let read = |name: &str| match name == PRODUCT.0 {
            true => Ok(self.product.clone()),
            false => Err(io::Error::from(io::ErrorKind::NotFound)),
        };
        let site = match Site::from_text(Path::new("site.toml"), self.site.clone(), &read) {
            Ok(site) => site,
            Err(faults) => return (None, faults.list().to_vec()),
        };
        // The site is checked when it is written, long before there are papers.
        if site.warnings.iter().any(|finding| !is_known(finding)) {
            return (None, site.warnings);
        }
        match DeliveryFile::from_text(Path::new("delivery.toml"), self.papers.clone(), &site) {
            Ok(papers) => {
                let warnings = papers.warnings.clone();
                (Some((site, papers)), warnings)
            }
            Err(faults) => (None, faults.list().to_vec()),
        }
    }
}

/// The bay as it stands, with what its devices hold.
struct Plant {
    site: Site,
    bay: SimulatedBay,
    /// Words by device, function and address.
    words: BTreeMap<(String, u8, u16), u16>,
}

impl Plant {
    fn new(truth: &Files, seed: u64) -> Plant {
        let (site, papers) = truth.check().0.expect("sound files");
        let bay = SimulatedBay::new(&site.bays[0].settings, Some(&papers.setup), seed);
        Plant { site, bay, words: BTreeMap::new() }
    }

    /// One second goes by.
    fn second(&mut self) {
        let scans = (1.0 / BAY_STEP_S).round();
        for _ in 0..scans as u32 {
            self.bay.scan();
        }
        let setup = &self.site.bays[0];
        for (signal, place) in setup.settings.signals.iter().zip(&setup.places) {
            let device = &setup.settings.devices[usize::from(signal.device)].name;
            for word in encode(place, self.bay.shows(signal.kind, signal.tank)) {
                let held = self.words.entry((device.clone(), word.function, word.address)).or_default();
                *held = *held & !word.mask | word.word & word.mask;
            }
            if let Some(status) = &place.status {
                let says = saying(status, Status::Fair);
                self.words.insert((device.clone(), status.function, status.address), says);
            }
        }
    }

    /// What a device answers, as the simulated servers do: exception 2 where it holds nothing.
    fn answers(&self, device: &str, spec: &blocks::BlockSpec) -> Block {
        let word = |i| self.words.get(&(device.to_owned(), spec.function, spec.address.checked_add(i)?)).copied();
        let words = (0..spec.count).map(word).collect::<Option<Vec<u16>>>().ok_or(2);
        Block { function: spec.function, address: spec.address, words }
    }

    /// One round of a device of the site as it is written, right or wrong.
    fn round(&self, written: &Site, device: u16, at: EngineTime) -> Event {
        let setup = &written.bays[0];
        let asked = &written.devices[setup.devices[usize::from(device)]];
        let unit = self.site.devices.iter().find(|d| d.name == asked.name).map(|d| d.unit);
        if unit != Some(asked.unit) {
            return Event::Missed(Missed { device, requested: at, reason: MissReason::TimeOut });
        }
        let of_device =
            |(i, place): (u16, &_)| (setup.settings.signals[usize::from(i)].device == device).then_some((i, *place));
        let signals: Vec<_> = (0u16..).zip(&setup.places).filter_map(of_device).collect();
        let places: Vec<_> = signals.iter().map(|(_, place)| *place).collect();
        let plan = blocks::plan(&places, None, &asked.manners);
        let answered: Vec<Block> = plan.iter().map(|spec| self.answers(&asked.name, spec)).collect();
        let values = blocks::values(&signals, &plan, &answered);
        Event::Poll(Poll { values, ..Poll::at_once(device, at, []) })
    }
}

/// A watch over the bay by files that may be wrong.
struct Watched {
    plant: Plant,
    site: Site,
    monitor: Monitor,
    s: u64,
}

impl Watched {
    fn new(site: Site, papers: DeliveryFile, (truth, seed): (&Files, u64)) -> Watched {
        let monitor = Monitor::new(site.bays[papers.bay].settings.clone(), Carried::default());
        let mut watched = Watched { plant: Plant::new(truth, seed), site, monitor, s: 0 };
        watched.feed(Event::Clock(WallTime(0)));
        watched.enter(What::DeliveryOpened(Box::new(papers.setup)));
        watched
    }

    fn enter(&mut self, what: What) {
        self.feed(Event::Entry(Entry { who: "attendant".into(), leg: 1, what }));
    }

    fn feed(&mut self, event: Event) {
        self.monitor.step(&Input { at: EngineTime(self.s * SECOND_NS), event });
    }

    fn second(&mut self) {
        self.s += 1;
        self.plant.second();
        let devices = u16::try_from(self.site.bays[0].settings.devices.len()).expect("few");
        for device in 0..devices {
            let event = self.plant.round(&self.site, device, EngineTime(self.s * SECOND_NS));
            self.feed(event);
        }
        self.feed(Event::Tick);
    }

    /// What stands open now, in words.
    fn says(&self) -> Vec<String> {
        let frame: Frame = self.monitor.frame();
        let zone = TimeZone::UTC;
        let scene = Scene::new(self.monitor.settings(), &frame, &zone);
        let words = |alarm: &Alarm| English.alarm(scene, alarm).whole();
        frame.alarms.iter().map(words).collect()
    }

    /// What is said until `until_s`, each text once, whatever its figures, with the second that it was first said.
    fn run_to(&mut self, until_s: u64) -> Vec<(u64, String)> {
        let (mut said, mut known) = (Vec::new(), BTreeSet::new());
        while self.s < until_s {
            self.second();
            for text in self.says() {
                if known.insert(text.replace(|c: char| c.is_ascii_digit() || c == '.', "")) {
                    said.push((self.s, text));
                }
            }
        }
        said
    }

    /// The same until the pad is up and the attendant waits.
    fn before_flow(&mut self) -> Vec<(u64, String)> {
        let said = self.run_to(BEFORE_S);
        assert_eq!(self.plant.bay.stage(), Stage::Ready, "the pad is up, nothing flows");
        said
    }
}

/// What is said of the drill's own files: nobody has read the product's table.
fn is_known(finding: &Fault) -> bool {
    finding.key == "confirmed"
}

/// A finding on one line.
fn flat(finding: &str) -> String {
    finding.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Who finds an error first, and all that is said of it, each with the second of the readings it was said at.
fn found(files: &Files) -> Option<(By, Vec<(u64, String)>)> {
    let (works, findings) = files.check();
    let said: Vec<_> = findings.iter().filter(|f| !is_known(f)).map(|f| (0, flat(&f.to_string()))).collect();
    let is_fault = works.is_none() && findings.iter().all(|f| f.severity == Severity::Fault);
    match works {
        _ if !said.is_empty() => Some((if is_fault { By::Fault } else { By::Warning }, said)),
        None => None,
        Some((site, papers)) => {
            let said = Watched::new(site, papers, (&Files::sound(), 1)).before_flow();
            (!said.is_empty()).then_some((By::Readings, said))
        }
    }
}

/// Plants and instruments drawn anew with each seed; the transfer runs for half an hour.
#[test]
fn sound_files_raise_nothing() {
    let (works, findings) = Files::sound().check();
    assert!(findings.iter().all(is_known), "{findings:?}");
    let (site, papers) = works.expect("sound");
    for seed in 1..=10 {
        let mut watched = Watched::new(site.clone(), papers.clone(), (&Files::sound(), seed));
        let mut said = watched.before_flow();
        watched.enter(What::TransferStarted);
        watched.plant.bay.start();
        said.extend(watched.run_to(BEFORE_S + AFTER_S));
        assert!(said.is_empty(), "seed {seed}: {said:?}");
    }
}

/// A second tank beside the drill's, from the tanks on to the level's own.
const SECOND_TANK: &str = "[[tank]]\nname = \"205\"\nproduct = \"products/caustic-soda-50.toml\"\ndiameter = \"2.9 m\"\n\
    height = \"4.6 m\"\nworking = \"3.9 m\"\nhigh_high = \"4.1 m\"\ncritical = \"4.4 m\"\nopening_u = \"10 mm\"\n\
    draw_off = \"declared_zero\"\n\n[[bay]]\n";

/// The drill's tank as a strapping table, the row at 2 m being in another unit, and with rows left out.
const LITRES_AT_2_M: &str = r#"strapping = [["0 m", "0 m3"], ["0.5 m", "3.303 m3"], ["1 m", "6.605 m3"], ["1.5 m", "9.908 m3"], ["2 m", "12.21 m3"], ["2.5 m", "16.51 m3"], ["3 m", "19.82 m3"], ["3.5 m", "23.12 m3"], ["4 m", "26.42 m3"], ["4.6 m", "30.38 m3"]]"#;
const GAP_TO_4_M: &str = r#"strapping = [["0 m", "0 m3"], ["0.5 m", "3.303 m3"], ["1 m", "6.605 m3"], ["1.5 m", "9.908 m3"], ["4 m", "26.42 m3"], ["4.3 m", "28.4 m3"], ["4.6 m", "30.38 m3"]]"#;
const GALLONS_FOR_LITRES: &str = r#"strapping = [["0 m", "0 L"], ["1 m", "1745 L"], ["2 m", "3490 L"], ["3 m", "5235 L"], ["4 m", "6980 L"], ["4.6 m", "8027 L"]]"#;
const CYLINDER: &str = "diameter = \"2.9 m\"\nheight = \"4.6 m\"";

const LEVEL: &str = "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"mm\"";
const SCALE: &str = "address = 1\ntype = \"u32\"\norder = \"CDAB\"\nunit = \"kg\"";
const PAD: &str = "address = 13\ntype = \"u16\"\nscale = 0.01\nunit = \"psi gauge\"";
const VAPOUR: &str = "address = 12\ntype = \"i16\"\nscale = 0.1\nunit = \"mbar gauge\"";
const DENSITY: &str = "address = 106\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"kg/m3\"";
const WARMTH: &str = "type = \"i16\"\nscale = 0.1\nunit = \"C\"";

/// Replacements of text that stands once.
type Edits = &'static [(&'static str, &'static str)];
type Planted = (&'static str, File, Edits, By, &'static str);

/// (error, file, edits, who finds it, words of what is said).
#[rustfmt::skip]
const PLANTED: &[Planted] = &[
    ("level: words swapped", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"CDAB\"\nunit = \"mm\"")], By::Readings, "order of words and bytes"),
    ("level: bytes swapped", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"BADC\"\nunit = \"mm\"")], By::Readings, "offset, type, order or address"),
    ("scale: words swapped", File::Site, &[(SCALE, "address = 1\ntype = \"u32\"\norder = \"ABCD\"\nunit = \"kg\"")], By::Readings, "order of words and bytes"),
    ("scale: whole number read as floating point", File::Site, &[(SCALE, "address = 1\ntype = \"f32\"\norder = \"CDAB\"\nunit = \"kg\"")], By::Readings, "order of words and bytes"),
    ("total: words in another order than the rate's", File::Site, &[("type = \"f64\"\norder = \"ABCD\"", "type = \"f64\"\norder = \"CDAB\"")], By::Warning, "one order for all numbers of a device"),
    ("level: m for mm", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"m\"")], By::Readings, "about 1000 times off"),
    ("level: in for mm", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"in\"")], By::Readings, "unit or scale"),
    ("level: scale 0.1 on a floating-point register", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nscale = 0.1\nunit = \"mm\"")], By::Warning, "floating-point register"),
    ("level: cm for mm, as a scale of 0.1 and cm", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"cm\"")], By::Readings, "about 10 times off"),
    ("level: ullage for level", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\nscale = -1\noffset = 4600\nunit = \"mm\"")], By::Readings, "level or ullage"),
    ("level: offset of 2.5 m", File::Site, &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\noffset = 2500\nunit = \"mm\"")], By::Readings, "scale or offset of the gauge"),
    ("pad: factor 10", File::Site, &[(PAD, "address = 13\ntype = \"u16\"\nscale = 0.1\nunit = \"psi gauge\"")], By::Readings, "ceiling"),
    ("pad: bar for psi", File::Site, &[(PAD, "address = 13\ntype = \"u16\"\nscale = 0.01\nunit = \"bar gauge\"")], By::Readings, "about 10 times off"),
    ("pad: absolute for gauge", File::Site, &[(PAD, "address = 13\ntype = \"u16\"\nscale = 0.01\noffset = 14.696\nunit = \"psi gauge\"")], By::Warning, "absolute pressure of a gauge pressure"),
    ("pad: one atmosphere taken away twice", File::Site, &[(PAD, "address = 13\ntype = \"u16\"\nscale = 0.01\noffset = -14.696\nunit = \"psi gauge\"")], By::Readings, "Pad pressure is lost"),
    ("pad and tank pressure swapped", File::Site, &[(PAD, "address = 12\ntype = \"u16\"\nscale = 0.01\nunit = \"psi gauge\""), (VAPOUR, "address = 13\ntype = \"i16\"\nscale = 0.1\nunit = \"mbar gauge\"")], By::Readings, "another signal's register"),
    ("level read from the scale's device", File::Site, &[("name = \"tank 204 level\"\ndevice = \"tank and gas\"", "name = \"tank 204 level\"\ndevice = \"truck scale\"")], By::Warning, "are read from one device"),
    ("line temperature: factor 10", File::Site, &[(WARMTH, "type = \"i16\"\nunit = \"C\"")], By::Readings, "about 10 times off"),
    ("line temperature: F for C", File::Site, &[(WARMTH, "type = \"i16\"\nscale = 0.1\nunit = \"F\"")], By::Readings, "F or C?"),
    ("line density: g/cm3 for kg/m3", File::Site, &[(DENSITY, "address = 106\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"g/cm3\"")], By::Readings, "Line density is lost"),
    ("scale: lb for kg", File::Site, &[(SCALE, "address = 1\ntype = \"u32\"\norder = \"CDAB\"\nunit = \"lb\"")], By::Readings, "lb or kg?"),
    ("scale: t for kg", File::Site, &[(SCALE, "address = 1\ntype = \"u32\"\norder = \"CDAB\"\nunit = \"t\"")], By::Warning, "one count is worth 1000 kg"),
    ("scale: net for gross", File::Site, &[(SCALE, "address = 1\ntype = \"u32\"\norder = \"CDAB\"\noffset = -6800\nunit = \"kg\"")], By::Warning, "look like a tare"),
    ("total in lb, rate in kg/h", File::Site, &[("order = \"ABCD\"\nunit = \"kg\"\n", "order = \"ABCD\"\nunit = \"lb\"\n")], By::Warning, "units of one system"),
    ("rate and total: addresses swapped", File::Site, &[("address = 100\n", "address = 102\n"), ("address = 102\ntype = \"f64\"", "address = 100\ntype = \"f64\"")], By::Fault, "the register is read as"),
    ("line meter: papers count from 1, file from 0", File::Site, &[("unit = 1\naddress_base = 0", "unit = 1\naddress_base = 1")], By::Readings, "address_base or function"),
    ("scale: papers count from 0, file from 1", File::Site, &[("unit = 1\naddress_base = 1", "unit = 1\naddress_base = 0")], By::Readings, "address_base or function"),
    ("level: function 3 for 4", File::Site, &[("function = 4\naddress = 10", "function = 3\naddress = 10")], By::Readings, "address_base or function"),
    ("tank and gas: Modbus unit 1 for 3", File::Site, &[("unit = 3", "unit = 1")], By::Readings, "no answer within the time-out"),
    ("switch: yes and no swapped", File::Site, &[("type = \"bool\"", "type = \"bool\"\ntrue_when = 0")], By::Readings, "true_when"),
    ("two signals on one register", File::Site, &[("address = 12\n", "address = 13\n")], By::Fault, "the register is read as"),
    ("levels out of order", File::Site, &[("high_high = \"4.1 m\"", "high_high = \"3.1 m\"")], By::Fault, "not above working"),
    ("levels too close", File::Site, &[("high_high = \"4.1 m\"", "high_high = \"3.95 m\"")], By::Fault, "75 mm"),
    ("radius for diameter", File::Site, &[("diameter = \"2.9 m\"", "diameter = \"1.45 m\"")], By::Warning, "a radius stands for the diameter"),
    ("strapping: a wrong digit in one row", File::Site, &[(CYLINDER, LITRES_AT_2_M)], By::Warning, "the free surface jumps"),
    ("strapping: rows missing", File::Site, &[(CYLINDER, GAP_TO_4_M)], By::Warning, "a gap"),
    ("strapping: US gal read as L", File::Site, &[(CYLINDER, GALLONS_FOR_LITRES)], By::Warning, "less than one usual load"),
    ("level of another tank", File::Site, &[("[[bay]]\n", SECOND_TANK), ("tanks = [\"204\"]", "tanks = [\"204\", \"205\"]"), ("name = \"tank 204 level\"\n", "name = \"tank 204 level\"\ntank = \"205\"\n"), ("name = \"tank 204 pressure\"\n", "name = \"tank 204 pressure\"\ntank = \"204\"\n"), ("name = \"tank 204 high-level switch\"\n", "name = \"tank 204 high-level switch\"\ntank = \"204\"\n")], By::Warning, "speaks of tank \"204\""),
    ("draw-off not declared", File::Site, &[("draw_off = \"declared_zero\"\n", "")], By::Warning, "doubtful witness"),
    ("hose rating in kPa for psi", File::Site, &[("hose_rating = \"150 psi gauge\"", "hose_rating = \"150 kPa gauge\"")], By::Fault, "below pad_maximum"),
    ("pad maximum in kPa for psi", File::Site, &[("pad_maximum = \"25 psi gauge\"", "pad_maximum = \"25 kPa gauge\"")], By::Readings, "its ceiling of 25 kPa gauge"),
    ("response time in min for s", File::Site, &[("response_time = \"60 s\"", "response_time = \"60 min\"")], By::Fault, "before anybody has acted"),
    ("line after the meter: m3 for L", File::Site, &[("downstream = \"95 L\"", "downstream = \"9.5 m3\"")], By::Warning, "of 2-inch line"),
    ("time-out longer than the period", File::Site, &[("address_base = 1\nperiod = \"1 s\"\ntime_out = \"900 ms\"", "address_base = 1\nperiod = \"1 s\"\ntime_out = \"9 s\"")], By::Fault, "not shorter than the period"),
    ("period in min for s", File::Site, &[("address_base = 1\nperiod = \"1 s\"", "address_base = 1\nperiod = \"1 min\"")], By::Warning, "move meanwhile"),
    ("flow meter and level of one transmitter", File::Site, &[("name = \"flow total\"\n", "name = \"flow total\"\ntransmitter = \"T\"\n"), ("name = \"tank 204 level\"\n", "name = \"tank 204 level\"\ntransmitter = \"T\"\n")], By::Warning, "of one transmitter"),
    ("level: noise in m for mm", File::Site, &[("noise = \"1.2 mm\"", "noise = \"1.2 m\"")], By::Warning, "leaks that are not seen"),
    ("density table in kg/L with the words kg/m3", File::Product, &[("\"1525.3 kg/m3\"", "\"1.5253 kg/m3\"")], By::Fault, "out of range"),
    ("density table: one density at two temperatures", File::Product, &[("\"1518.1 kg/m3\"", "\"1525.3 kg/m3\"")], By::Warning, "densities at one temperature"),
    ("load temperature in F for C", File::Papers, &[("load_temperature = \"21 C\"", "load_temperature = \"21 F\"")], By::Fault, "off the product's density table"),
    ("ticket in lb for kg", File::Papers, &[("net = \"20300 kg\"", "net = \"20300 lb\"")], By::Fault, "more than was weighed in"),
    ("planned amount in lb for kg", File::Papers, &[("planned = \"20 t\"", "planned = \"20000 lb\"")], By::Warning, "less than half of the ticket's net"),
    ("trailer's volume of another trailer", File::Papers, &[("volume = \"19 m3\"", "volume = \"50 m3\"")], By::Warning, "of the trailer"),
    ("pad maximum above the trailer's MAWP", File::Papers, &[("mawp = \"30 psi gauge\"", "mawp = \"20 psi gauge\"")], By::Warning, "it is the ceiling"),
    ("MAWP in kPa for psi", File::Papers, &[("mawp = \"30 psi gauge\"", "mawp = \"30 kPa gauge\"")], By::Warning, "below the site's pad_maximum"),
];

/// Prints the table of `docs/figures.md`.
#[test]
fn planted_errors_are_found_before_anything_flows() {
    let mut missed = Vec::new();
    let mut counts = BTreeMap::new();
    println!("| error | found by | after s | what is said |\n| --- | --- | --- | --- |");
    for (error, file, edits, by, words) in PLANTED {
        let found = found(&Files::planted(*file, edits));
        let hit = found.as_ref().and_then(|(who, said)| {
            let (s, text) = said.iter().find(|(_, text)| text.contains(words))?;
            (who == by).then(|| (*s, text.split(" --> ").next().unwrap_or_default()))
        });
        match hit {
            Some((s, line)) => {
                *counts.entry(*by).or_insert(0) += 1;
                println!("| {error} | {} | {s} | {} |", by.name(), line.trim().replace('|', "/"));
            }
            None => missed.push(format!("{error}: {found:?}")),
        }
    }
    println!("{} errors, found by: {counts:?}", PLANTED.len());
    assert!(missed.is_empty(), "{} missed or found by another:\n{}", missed.len(), missed.join("\n\n"));
    assert!(PLANTED.len() >= 30);
}

/// What nothing shows while nothing flows, and what becomes of it: found within half an hour of the transfer, or not.
/// (error, edits, words of what is said; none: nobody can tell).
#[rustfmt::skip]
const UNSEEN: &[(&str, Edits, Option<&str>)] = &[
    ("rate in kg/min for kg/h", &[("unit = \"kg/h\"", "unit = \"kg/min\"")], Some("Flow is lost")),
    ("rate in lb/h and total in lb for kg", &[("unit = \"kg/h\"", "unit = \"lb/h\""), ("order = \"ABCD\"\nunit = \"kg\"\n", "order = \"ABCD\"\nunit = \"lb\"\n")], Some("flow meter")),
    ("total in t for kg", &[("order = \"ABCD\"\nunit = \"kg\"\n", "order = \"ABCD\"\nunit = \"t\"\n")], Some("faster than any flow")),
    ("tank 3.1 m across for 2.9 m", &[("diameter = \"2.9 m\"", "diameter = \"3.1 m\"")], Some("tank level")),
    ("pad: kPa for psi", &[(PAD, "address = 13\ntype = \"u16\"\nscale = 0.01\nunit = \"kPa gauge\"")], None),
    ("level: 200 mm too low", &[(LEVEL, "address = 10\ntype = \"f32\"\norder = \"ABCD\"\noffset = -200\nunit = \"mm\"")], None),
];

/// How long a transfer with an unseen error is watched, s.
const AFTER_S: u64 = 1800;

/// Prints the second table of `docs/figures.md`.
#[test]
fn what_is_unseen_before_flow_is_found_by_the_masses_or_not_at_all() {
    println!("| error | s after the start | kg left the trailer | what is said |\n| --- | --- | --- | --- |");
    for (error, edits, words) in UNSEEN {
        let (works, findings) = Files::planted(File::Site, edits).check();
        assert!(findings.iter().all(is_known), "{error} is seen: {findings:?}");
        let (site, papers) = works.expect("nothing is found");
        let mut watched = Watched::new(site, papers, (&Files::sound(), 1));
        let before = watched.before_flow();
        assert!(before.is_empty(), "{error} is seen: {before:?}");
        watched.enter(What::TransferStarted);
        watched.plant.bay.start();
        let mut said = None;
        while said.is_none() && watched.s < BEFORE_S + AFTER_S {
            said = watched.run_to(watched.s + 1).into_iter().next();
        }
        let left_kg = watched.plant.bay.plant().left_trailer_kg();
        match (&said, words) {
            (Some((s, text)), Some(words)) => {
                assert!(text.contains(words), "{error}: {text}");
                println!("| {error} | {} | {left_kg:.0} | {text} |", s - BEFORE_S);
            }
            (None, None) => println!("| {error} | not in {AFTER_S} | {left_kg:.0} | |"),
            _ => panic!("{error}: {said:?}"),
        }
    }
}

/// A hydrostatic gauge beside the drill's, on registers of its own.
const SECOND_GAUGE: &str = "\n[[bay.signal]]\nkind = \"level_pa\"\nname = \"tank 204 bottom pressure\"\ndevice = \"tank and gas\"\n\
    function = 4\naddress = 20\ntype = \"f32\"\norder = \"ABCD\"\nunit = \"kPa gauge\"\n";

/// What one gauge cannot show another does.
#[test]
fn a_second_gauge_finds_a_level_that_is_off() {
    let mut truth = Files::sound();
    truth.site += SECOND_GAUGE;
    let said = |written: &Files| {
        let (site, papers) = written.check().0.expect("nothing is found");
        Watched::new(site, papers, (&truth, 1)).before_flow()
    };
    assert_eq!(said(&truth), []);
    let low = Files { site: truth.site.replace(LEVEL, &format!("{LEVEL}\noffset = -200")), ..truth.clone() };
    let said = said(&low);
    let gauges: Vec<_> = said.iter().filter(|(_, text)| text.contains("other gauge says another level")).collect();
    assert!(gauges.len() == 2 && gauges[0].0 < 10, "both are named: {said:?}");
}
