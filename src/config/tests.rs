use super::*;
use crate::engine::settings::{DrawOff, SignalKind, TankGeometry};
use crate::engine::witness::geometry;
use crate::units::Metre;

/// The folder of the shipped files.
fn shipped() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config")
}

fn read_shipped(name: &str) -> io::Result<String> {
    std::fs::read_to_string(shipped().join(name))
}

fn site(text: &str) -> Result<Site, Faults> {
    Site::from_text(Path::new("site.toml"), text.to_owned(), &read_shipped)
}

/// The shipped site file with one thing replaced.
fn planted(from: &str, to: &str) -> String {
    assert_eq!(SITE_MANUAL.matches(from).count(), 1, "{from:?} must stand once in the shipped file");
    SITE_MANUAL.replace(from, to)
}

/// Line (from 1) of the first occurrence.
fn line_of(text: &str, part: &str) -> usize {
    let at = text.find(part).unwrap_or_else(|| panic!("{part:?} is in the text"));
    text[..at].matches('\n').count() + 1
}

#[test]
fn the_shipped_files_load() {
    let site = load(&shipped().join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
    let delivery = load_delivery(&shipped().join("delivery.toml"), &site).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[delivery.bay];
    assert_eq!((bay.slug.as_str(), bay.settings.devices.len(), bay.settings.signals.len()), ("bay-1", 5, 10));
    assert_eq!(bay.places.len(), bay.settings.signals.len());
    assert!(!delivery.setup.product.confirmed);
    assert!((delivery.setup.planned.0 - 20_000.0).abs() < 1e-9);
    // 30 psig in Pa, by the factor printed in NIST SP 811, App. B.8: 6894.757.
    let mawp = delivery.setup.plate.mawp.expect("typed").0;
    assert!((mawp - 30.0 * 6894.757).abs() < 0.1, "{mawp}");
    let again = Site::from_texts(&site.path, &site.texts).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(again.bays[0].settings, bay.settings);
    assert_eq!(site.texts.len(), 2, "site file and product");
}

#[test]
fn units_and_scales_become_si() {
    let site = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[0];
    let of = |kind| {
        let at = bay.settings.signals.iter().position(|s| s.kind == kind).expect("fitted");
        (&bay.settings.signals[at], &bay.places[at].register)
    };
    let (level, register) = of(SignalKind::Level);
    assert_eq!((register.address, level.tank, level.plausible_high), (100, Some(0), 8.0));
    assert!((register.factor - 1e-3).abs() < 1e-18);
    let (_, scale) = of(SignalKind::Scale);
    assert_eq!(scale.address, 0, "papers that count from 1");
    let (_, temperature) = of(SignalKind::LineTemperature);
    assert!((351.0 * temperature.factor + temperature.offset - 35.1).abs() < 1e-12);

    let text = planted(
        "type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"",
        "type = \"i16\"\nunit = \"F\"\nscale = 0.1\noffset = -40\nzero = \"1.8 F\"\n\n[[bay.signal]]\nkind = \"scale_kg\"",
    );
    let site = self::site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    let at = site.bays[0].settings.signals.iter().position(|s| s.kind == SignalKind::LineTemperature).expect("fitted");
    let (signal, register) = (&site.bays[0].settings.signals[at], &site.bays[0].places[at].register);
    // 1352 counts of 0.1 F, less 40 F, are 95.2 F = 35.11 C; an error of 1.8 F is one of 1 C.
    assert!((1352.0 * register.factor + register.offset - 316.0 / 9.0).abs() < 1e-9);
    assert!((signal.zero - 1.0).abs() < 1e-12);
}

/// (what is replaced, by what, key of the fault, text of its line, words of the message).
#[rustfmt::skip]
const PLANTED: &[(&str, &str, &str, &str, &str)] = &[
    ("pad_maximum = \"25", "pad_max = \"25", "bay.limits.pad_max", "pad_max = ", "nearest: pad_maximum"),
    ("critical = \"7.6 m\"", "critical = \"7.6 m\"\nresponse_time = \"60 s\"", "tank.response_time", "response_time = \"60 s\"\n\n# What the gauge", "belongs in bay.limits"),
    ("high_high = \"7.2 m\"", "high_high = \"7.2 psi gauge\"", "tank.high_high", "high_high = \"7.2", "unit of gauge pressure, not of length"),
    ("high_high = \"7.2 m\"", "high_high = 7.2", "tank.high_high", "high_high = 7.2", "a bare number"),
    ("high_high = \"7.2 m\"", "high_high = \"7,2 m\"", "tank.high_high", "high_high = \"7,2", "decimal point"),
    ("high_high = \"7.2 m\"", "high_high = \"7200 m\"", "tank.high_high", "high_high = \"7200", "0 to 40 m"),
    ("high_high = \"7.2 m\"", "high_high = \"6.5 m\"", "tank.high_high", "high_high = \"6.5", "not above working"),
    ("high_high = \"7.2 m\"\n", "", "tank.high_high", "[[tank]]", "is missing"),
    ("critical = \"7.6 m\"", "critical = \"8.6 m\"", "tank.critical", "critical = \"8.6", "above the tank's top"),
    ("pad_maximum = \"25 psi gauge\"", "pad_maximum = \"25 psi\"", "bay.limits.pad_maximum", "pad_maximum = \"25 psi\"", "nearest: psi gauge"),
    ("pad_maximum = \"25 psi gauge\"", "pad_maximum = \"0.25 psi gauge\"", "bay.limits.pad_maximum", "pad_maximum = \"0.25", "out of range"),
    ("device = \"truck scale\"", "device = \"truck scales\"", "bay.signal.device", "device = \"truck scales\"", "nearest: truck scale"),
    ("tanks = [\"204\"]", "tanks = [\"205\"]", "bay.tanks", "tanks = [\"205\"]", "there is no tank"),
    ("kind = \"pad_pressure_pa_gauge\"", "kind = \"tank_pressure_pa_gauge\"", "bay.signal.kind", "kind = \"tank_pressure_pa_gauge\"\nname = \"pad pressure\"", "too many"),
    ("kind = \"scale_kg\"", "kind = \"scales_kg\"", "bay.signal.kind", "kind = \"scales_kg\"", "nearest: scale_kg"),
    ("unit = \"mm\"", "unit = \"kg\"", "bay.signal.unit", "unit = \"kg\"\n# From here on", "level_m measures length"),
    ("noise = \"2 mm\"", "noise = \"2 C\"", "bay.signal.noise", "noise = \"2 C\"", "unit of temperature, not of length"),
    ("division = \"20 kg\"\n", "", "bay.signal.division", "[[bay.signal]]\nkind = \"scale_kg\"", "scale's plate"),
    ("order = \"CDAB\"\n", "", "bay.signal.order", "type = \"i32\"", "more than one register"),
    ("address = 102", "address = 101", "bay.signal.address", "address = 101", "read as \"tank 204 level\" too"),
    ("address = 1\ntype", "address = 0\ntype", "bay.signal.address", "address = 0\ntype = \"i32\"", "1 to 65535"),
    ("function = 2", "function = 5", "bay.signal.function", "function = 5", "1 to 4"),
    ("name = \"pad pressure\"", "name = \"truck scale\"", "bay.signal.name", "name = \"truck scale\"\ndevice = \"trailer pad\"", "used twice"),
    ("store = \"recordings\"", "store = \"recordings\"\nlisten = \"0.0.0.0:8480\"", "site.listen", "listen = \"0.0", "this machine"),
    ("address = \"127.0.0.1:15022\"", "address = \"127.0.0.1\"", "device.address", "address = \"127.0.0.1\"\n", "host, a colon and a port"),
    ("time_out = \"500 ms\"\n\n[[device]]\nname = \"truck scale\"", "time_out = \"2 s\"\n\n[[device]]\nname = \"truck scale\"", "device.time_out", "time_out = \"2 s\"", "not shorter than the period"),
    ("[[device]]\nname = \"trailer pad\"", "[[device]]\nname = \"line meter\"\naddress = \"127.0.0.1:9\"\nunit = 1\naddress_base = 0\nperiod = \"1 s\"\ntime_out = \"0.5 s\"\n\n[[device]]\nname = \"trailer pad\"", "device.name", "name = \"line meter\"\naddress = \"127.0.0.1:9\"", "used twice"),
    ("diameter = \"2.84 m\"\nheight = \"8 m\"", "strapping = [[\"0 m\", \"0 m3\"], [\"4 m\", \"25 m3\"], [\"8 m\", \"25 m3\"]]", "tank.strapping", "strapping = [[", "second column does not rise"),
    ("diameter = \"2.84 m\"\n", "", "tank", "[[tank]]", "only one of diameter and height"),
    ("diameter = \"2.84 m\"\n", "diameter = \"2.84 m\"\nstrapping = [[\"0 m\", \"0 m3\"], [\"8 m\", \"50 m3\"]]\n", "tank", "[[tank]]", "described once"),
    ("products/caustic-soda-50.toml", "products/caustic-soda.toml", "tank.product", "product = \"products/caustic-soda.toml", "cannot be read"),
    ("rests_on_scale = \"trailer\"", "rests_on_scale = \"none\"", "bay.rests_on_scale", "rests_on_scale = \"none\"", "a scale is read"),
    ("draw_off = \"declared_zero\"", "draw_off = \"measured\"", "bay.signal", "[[bay]]", "measured, but not read"),
    ("gas = \"nitrogen\"", "gas = nitrogen", "", "gas = nitrogen", "not TOML"),
    ("type = \"bool\"", "type = \"u16\"", "bay.signal.type", "type = \"u16\"", "yes or no"),
];

#[test]
fn each_planted_mistake_is_named_with_line_and_key() {
    for (from, to, key, line, words) in PLANTED {
        let text = planted(from, to);
        let faults = site(&text).map(|_| ()).expect_err(to);
        let wanted = line_of(&text, line);
        let shown = faults.to_string();
        let hit = faults.list().iter().find(|f| f.key == *key && f.line == Some(wanted));
        assert!(hit.is_some(), "{to:?}: no fault of {key:?} on line {wanted}:\n{shown}");
        assert!(shown.contains(words), "{to:?}: {words:?} is not in\n{shown}");
        assert!(shown.contains(&format!("site.toml:{wanted}")), "{to:?}: no place in\n{shown}");
        assert_eq!(faults.list().len(), 1, "{to:?}: one mistake, one fault:\n{shown}");
    }
}

#[test]
fn all_faults_come_at_once() {
    let text = planted("high_high = \"7.2 m\"", "high_high = \"7.2 kg\"")
        .replace("store = \"recordings\"", "stor = \"recordings\"")
        .replace("function = 2", "function = 9");
    let faults = site(&text).map(|_| ()).expect_err("three mistakes");
    let keys: Vec<_> = faults.list().iter().map(|f| f.key.as_str()).collect();
    assert_eq!(keys, ["site.store", "site.stor", "tank.high_high", "bay.signal.function"]);
}

#[test]
fn a_delivery_is_held_against_its_site() {
    let site = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}"));
    for (from, to, key, words) in [
        ("bay = \"Bay 1\"", "bay = \"Bay 7\"", "bay", "there is no bay"),
        ("tank = \"204\"", "tank = \"205\"", "tank", "tank of that bay"),
        ("product = \"caustic soda 50 %\"", "product = \"caustic potash 45 %\"", "product", "is not what tank"),
        ("load_temperature = \"35 C\"", "load_temperature = \"5 C\"", "load_temperature", "20 to 100 C"),
        ("planned = \"20 t\"", "planned = \"24 t\"", "planned", "more than was weighed in"),
        ("net = \"20060 kg\"", "net = \"26060 kg\"", "ticket.net", "more than the trailer's"),
        ("mawp = \"30 psi gauge\"", "mawp = \"30 bar gauge\"", "plate.mawp", "out of range"),
        ("mawp = \"30 psi gauge\"", "mawp = \"38 psi gauge\"", "plate.relief_from", "below mawp"),
    ] {
        assert_eq!(DELIVERY_MANUAL.matches(from).count(), 1, "{from:?}");
        let text = DELIVERY_MANUAL.replace(from, to);
        let path = Path::new("delivery.toml");
        let faults = DeliveryFile::from_text(path, text, &site).map(|_| ()).expect_err(to);
        let shown = faults.to_string();
        assert!(faults.list().iter().any(|f| f.key == key), "{to:?}:\n{shown}");
        assert!(shown.contains(words), "{to:?}: {words:?} is not in\n{shown}");
    }
    let text = DELIVERY_MANUAL.replace("mawp = \"30 psi gauge\"\n", "");
    let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), text, &site).unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(delivery.setup.plate.mawp, None, "not set, not guessed");
}

#[test]
fn limits_left_out_are_not_set() {
    let site = site(&planted("pad_maximum = \"25 psi gauge\"\n", "")).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.bays[0].settings.limits.pad_maximum, None);
    let site = self::site(&planted("draw_off = \"declared_zero\"\n", "")).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.bays[0].settings.tanks[0].draw_off, DrawOff::Unknown);
}

#[test]
fn a_strapping_file_is_read_in_its_units() {
    let text = planted("diameter = \"2.84 m\"\nheight = \"8 m\"", "strapping_file = \"tank-204.csv\"");
    let with = |csv: &str| {
        let csv = csv.to_owned();
        let read = move |name: &str| if name == "tank-204.csv" { Ok(csv.clone()) } else { read_shipped(name) };
        Site::from_text(Path::new("site.toml"), text.clone(), &read)
    };
    let site = with("# calibrated\nlevel (mm),volume (L)\n0,400\n4000,25300\r\n\n8000,51000\n")
        .unwrap_or_else(|f| panic!("{f}"));
    let geometry = &site.bays[0].settings.tanks[0].geometry;
    assert!(matches!(geometry, TankGeometry::Strapping(rows) if rows.len() == 3));
    let volume = geometry::volume(geometry, Metre(2.0)).expect("on the table").0;
    assert!((volume - 12.85).abs() < 1e-9, "{volume}");
    for (csv, line, words) in [
        ("level,volume\n0,1\n", Some(1), "name the two columns"),
        ("level (mm),volume (L)\n0,400\n4000,25300\n3900,25400\n", Some(4), "first column does not rise"),
        ("level (mm),volume (L)\n0;400\n4000,25300\n5000,26000\n", Some(2), "no two columns"),
        ("level (mm),volume (lb)\n0,400\n4000,25300\n", Some(2), "unit of mass, not of volume"),
        ("", None, "empty"),
    ] {
        let faults = with(csv).map(|_| ()).expect_err(csv);
        let shown = faults.to_string();
        assert!(shown.contains("tank-204.csv") && shown.contains(words), "{csv:?}: {words:?} is not in\n{shown}");
        assert!(faults.list().iter().any(|f| f.line == line), "{csv:?}: line {line:?} is not in\n{shown}");
    }
}

#[test]
fn several_bays_share_devices_but_no_tank() {
    let (tank, bay) = (SITE_MANUAL.find("[[tank]]").expect("a tank"), SITE_MANUAL.find("[[bay]]").expect("a bay"));
    let same = SITE_MANUAL[bay..].replace("name = \"Bay 1\"", "name = \"Bay 2 (north)\"");
    let shared = site(&format!("{SITE_MANUAL}\n{same}")).map(|_| ()).expect_err("one tank of two bays").to_string();
    assert!(shared.contains("\"204\" is filled by Bay 1 too"), "{shared}");
    let second = same.replace("\"204\"", "\"205\"");
    let text = format!("{SITE_MANUAL}\n{}{second}", SITE_MANUAL[tank..bay].replace("\"204\"", "\"205\""));
    let site = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.bays.iter().map(|b| b.slug.as_str()).collect::<Vec<_>>(), ["bay-1", "bay-2-north"]);
    let clash = site_clash(&text);
    assert!(clash.contains("used twice"), "{clash}");
}

fn site_clash(text: &str) -> String {
    site(&text.replace("Bay 2 (north)", "bay-1")).map(|_| ()).expect_err("one slug for two bays").to_string()
}

/// A bay is told only of the devices that it reads.
#[test]
fn a_bay_counts_its_own_devices() {
    let spare = "[[device]]\nname = \"spare\"\naddress = \"127.0.0.1:1\"\nunit = 1\naddress_base = 0\nperiod = \"1 s\"\ntime_out = \"0.5 s\"\n\n[[device]]\nname = \"truck scale\"";
    let site = site(&planted("[[device]]\nname = \"truck scale\"", spare)).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[0];
    assert_eq!(bay.devices, [0, 2, 3, 4, 5]);
    for (signal, setup) in bay.settings.signals.iter().enumerate() {
        let own = &bay.settings.devices[usize::from(setup.device)].name;
        assert_eq!(own, &site.devices[bay.devices[usize::from(setup.device)]].name, "signal {signal}");
    }
}

/// Each key of the table stands in its shipped file, as a line or as a comment, and every kind of signal is named.
#[test]
fn the_shipped_files_are_the_manual_of_every_key() {
    let product = read_shipped("products/caustic-soda-50.toml").expect("shipped");
    for (keys, text) in [(keys::SITE, SITE_MANUAL), (keys::DELIVERY, DELIVERY_MANUAL), (keys::PRODUCT, &product)] {
        for key in keys {
            let written = match key.form {
                keys::Form::Table => format!("[{}]", key.path),
                keys::Form::Tables => format!("[[{}]]", key.path),
                _ => format!("{} = ", key.name()),
            };
            let stands = text.lines().any(|line| line.trim_start_matches("# ").starts_with(&written));
            assert!(stands, "{} is not explained in its file", key.path);
        }
    }
    for form in signals::FORMS {
        assert!(SITE_MANUAL.contains(form.name), "{} is not named in the site file", form.name);
    }
}

/// The example that a hint shows passes the key it is shown for.
#[test]
fn each_example_passes_its_own_key() {
    for keys in [keys::SITE, keys::DELIVERY, keys::PRODUCT] {
        for key in keys.iter().filter(|key| !matches!(key.form, keys::Form::Table | keys::Form::Tables)) {
            let above = |table: &&keys::Key| key.path.starts_with(&format!("{}.", table.path));
            let heads: String = keys.iter().filter(above).map(|table| table.example_line() + "\n").collect();
            let mut draft = Draft::default();
            let file = draft.open("example.toml", heads + &key.example_line());
            walk::walk(&mut draft, file, keys);
            let faults = draft.finish();
            assert!(faults.list().iter().all(|f| f.key != key.path && !f.key.is_empty()), "{}: {faults}", key.path);
        }
    }
}

#[test]
fn a_byte_order_mark_and_carriage_returns_do_no_harm() {
    let text = format!("\u{feff}{}", SITE_MANUAL.replace('\n', "\r\n"));
    let site = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.name, "Alder Reach works");
}

/// A large file of another kind is refused in bounded time and words.
#[test]
fn a_large_wrong_file_is_bounded() {
    let began = std::time::Instant::now();
    let text: String = (0..80_000).map(|i| format!("k{i} = {i}\n")).collect();
    let shown = site(&text).map(|_| ()).expect_err("no site file").to_string();
    assert!(shown.len() < 200_000 && shown.contains("more"), "{} bytes", shown.len());
    assert!(began.elapsed().as_secs() < 20, "{:?}", began.elapsed());
}

/// Whatever stands in a file, the answer is a site or a list of faults.
#[test]
fn no_text_panics() {
    let lines: Vec<&str> = SITE_MANUAL.lines().collect();
    for cut in (0..SITE_MANUAL.len()).step_by(97).filter(|&cut| SITE_MANUAL.is_char_boundary(cut)) {
        if let Err(faults) = site(&SITE_MANUAL[..cut]) {
            assert!(!faults.list().is_empty() && !faults.to_string().is_empty());
        }
    }
    for gone in (0..lines.len()).filter(|&i| !lines[i].starts_with('#') && !lines[i].is_empty()) {
        let text = [&lines[..gone], &lines[gone + 1..]].concat().join("\n");
        if let Err(faults) = site(&text) {
            assert!(!faults.list().is_empty(), "without line {}", gone + 1);
        }
        let wild =
            [&lines[..gone], &["\u{e4} = [[\"\u{2028}\", { x = 1e999 }], -0x]"], &lines[gone..]].concat().join("\r\n");
        let faults = site(&wild).map(|_| ()).expect_err("a wild line");
        assert!(!faults.to_string().is_empty());
    }
    for text in ["", "\u{feff}", "[", "[[bay]]\n[bay.signal]\n", "site = 3\ntank = []\nbay = [1]\n", "a.b.c = 1\n[a]\n"]
    {
        assert!(site(text).is_err());
    }
}

#[test]
fn a_missing_file_is_a_fault_without_line() {
    let faults = load(Path::new("no-such-folder/site.toml")).map(|_| ()).expect_err("no file");
    assert_eq!(faults.list()[0].line, None);
    assert!(faults.to_string().contains("no-such-folder/site.toml"), "{faults}");
}

#[test]
fn slugs_are_plain() {
    for (name, expected) in [("Bay 1", "bay-1"), ("  N/E -- 2 ", "n-e-2"), ("\u{7532}", "bay"), ("", "bay")] {
        assert_eq!(slug(name), expected, "{name:?}");
    }
}
