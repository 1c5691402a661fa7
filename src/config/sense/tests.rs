use crate::config::tests::{line_of, planted, read_shipped, site};
use crate::config::{DELIVERY_MANUAL, DeliveryFile, Fault, SITE_MANUAL, Severity, Site};
use std::path::Path;

/// What is found in a text: the faults, or the warnings of a site.
fn found(text: &str) -> Vec<Fault> {
    match site(text) {
        Ok(site) => site.warnings,
        Err(faults) => faults.list().iter().chain(faults.warnings()).cloned().collect(),
    }
}

/// As it is read, wherever its lines are broken.
fn flat(fault: &Fault) -> String {
    fault.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What is found beside what the shipped file says of itself: its product table is not confirmed.
fn found_beside(text: &str) -> Vec<Fault> {
    found(text).into_iter().filter(|f| f.key != "confirmed").collect()
}

#[test]
fn the_shipped_site_makes_sense() {
    let found = found(SITE_MANUAL);
    assert!(matches!(found.as_slice(), [only] if only.key == "confirmed"), "{found:?}");
    let site = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}"));
    let papers = DeliveryFile::from_text(Path::new("delivery.toml"), DELIVERY_MANUAL.to_owned(), &site);
    assert_eq!(papers.unwrap_or_else(|faults| panic!("{faults}")).warnings, []);
}

const FAULT: Severity = Severity::Fault;
const WARNING: Severity = Severity::Warning;

/// (what is replaced, by what, severity, key, text of its line, words of the message).
#[rustfmt::skip]
const PLANTED: &[(&str, &str, Severity, &str, &str, &str)] = &[
    // Tanks. 5 kg/s are 0.537 mm/s on 6.33 m2 at 1469 kg/m3, the lightest of the product's table: 161 mm in 5 min.
    ("high_high = \"7.2 m\"", "high_high = \"7.05 m\"", FAULT, "tank.high_high", "high_high = \"7.05", "at least 0.152 m"),
    ("high_high = \"7.2 m\"", "high_high = \"7.051 m\"", FAULT, "tank.high_high", "high_high = \"7.051", "7.051 m is 0.151 m above working"),
    ("response_time = \"60 s\"", "response_time = \"11 min\"", FAULT, "tank.high_high", "high_high = \"7.2 m\"", "before anybody has acted"),
    ("diameter = \"2.84 m\"", "diameter = \"1.35 m\"", WARNING, "tank.diameter", "diameter = \"1.35 m\"", "less than one usual load"),
    ("diameter = \"2.84 m\"", "diameter = \"28.4 m\"", WARNING, "tank.diameter", "diameter = \"28.4 m\"", "raises the level by"),
    ("draw_off = \"declared_zero\"\n", "", WARNING, "tank.draw_off", "[[tank]]", "doubtful witness"),
    // Bays.
    ("rests_on_scale = \"trailer\"", "rests_on_scale = \"part\"", WARNING, "bay.signal", "[[bay]]", "does not reach the meter"),
    ("name = \"truck scale\"\ndevice = \"truck scale\"", "name = \"truck scale\"\ntransmitter = \"X\"\ndevice = \"truck scale\"", WARNING, "", "", ""),
    ("kind = \"pad_pressure_pa_gauge\"", "kind = \"gas_supply_pressure_pa_gauge\"", WARNING, "bay.signal", "[[bay]]", "ceiling is not watched"),
    ("kind = \"high_level_switch\"\nname = \"tank 204 high-level switch\"\ndevice = \"tank 204 high switch\"\ntank = \"204\"", "kind = \"emergency_stop\"\nname = \"stop\"\ndevice = \"tank 204 high switch\"", WARNING, "bay.signal", "[[bay]]", "nothing overrules its gauge"),
    ("hose_rating = \"150 psi gauge\"", "hose_rating = \"150 kPa gauge\"", FAULT, "bay.limits.hose_rating", "hose_rating = \"150 kPa", "below pad_maximum"),
    ("response_time = \"60 s\"", "response_time = \"6 s\"", FAULT, "bay.limits.response_time", "response_time = \"6 s\"", "shorter than valve_closes"),
    ("upstream = \"15 L\"", "upstream = \"15 m3\"", WARNING, "bay.line.upstream", "upstream = \"15 m3\"", "6928 m of 2-inch line"),
    ("blow_clear = \"60 kg\"", "blow_clear = \"600 kg\"", WARNING, "bay.line.blow_clear", "blow_clear = \"600 kg\"", "more than hose and line hold"),
    // Devices.
    ("[[device]]\nname = \"truck scale\"", "[[device]]\nname = \"spare\"\naddress = \"127.0.0.1:1\"\nunit = 1\naddress_base = 0\nperiod = \"1 s\"\ntime_out = \"0.5 s\"\n\n[[device]]\nname = \"truck scale\"", WARNING, "device", "[[device]]\nname = \"spare\"", "no signal is read from"),
    ("address_base = 1\nperiod = \"1 s\"", "address_base = 1\nperiod = \"10 s\"", WARNING, "device.period", "period = \"10 s\"", "47.222 kg move meanwhile"),
    // Signals.
    ("unit = \"psi gauge\"", "unit = \"psi gauge\"\noffset = 14.696", WARNING, "bay.signal.offset", "offset = 14.696", "absolute pressure of a gauge pressure"),
    ("division = \"20 kg\"", "division = \"20 kg\"\noffset = -14000", WARNING, "bay.signal.offset", "offset = -14000", "look like a tare"),
    ("unit = \"mm\"", "unit = \"mm\"\nscale = 0.1", WARNING, "bay.signal.scale", "scale = 0.1\n# Where", "floating-point"),
    ("type = \"f32\"\norder = \"ABCD\"\nunit = \"mm\"", "type = \"u16\"\nscale = 0.1\nunit = \"mm\"", FAULT, "bay.signal.scale", "scale = 0.1\nunit = \"mm\"", "ends at 6.5535 m, below the tank's high_high"),
    ("unit = \"mm\"", "at_4_ma = \"0 m\"\nat_20_ma = \"7 m\"", FAULT, "bay.signal.at_20_ma", "at_20_ma = \"7 m\"", "ends at 7 m"),
    ("saturates_at = \"7.95 m\"", "saturates_at = \"7.1 m\"", FAULT, "bay.signal.saturates_at", "saturates_at = \"7.1 m\"", "could never come"),
    ("# plausible_high = \"8 m\"", "plausible_high = \"5 m\"", FAULT, "bay.signal.plausible_high", "plausible_high = \"5 m\"", "is below the tank's high_high"),
    ("type = \"f32\"\norder = \"ABCD\"\nunit = \"psi gauge\"", "type = \"u16\"\nunit = \"bar gauge\"", WARNING, "bay.signal.unit", "unit = \"bar gauge\"", "one count is worth 100000 Pa gauge"),
    ("division = \"20 kg\"", "division = \"20 t\"", WARNING, "bay.signal.division", "division = \"20 t\"", "one division is worth 20000 kg"),
    ("noise = \"2 mm\"", "noise = \"2 m\"", WARNING, "bay.signal.noise", "noise = \"2 m\"", "leaks that are not seen"),
    ("# gain = \"0.05 %\"", "gain = \"5 %\"", WARNING, "bay.signal.gain", "gain = \"5 %\"", "usual 0.0005"),
    ("order = \"ABCD\"\nunit = \"t/h\"", "order = \"CDAB\"\nunit = \"t/h\"", WARNING, "bay.signal.order", "order = \"CDAB\"\nunit = \"t/h\"", "line meter total of the same device is ABCD"),
    ("unit = \"t/h\"", "unit = \"lb/h\"", WARNING, "bay.signal.unit", "unit = \"kg\"\n# value", "units of one system"),
];

#[test]
fn each_planted_slip_is_named_with_line_and_key() {
    for (from, to, severity, key, line, words) in PLANTED {
        let text = planted(from, to);
        let found = found_beside(&text);
        if words.is_empty() {
            assert!(found.is_empty(), "{to:?} is no slip: {found:?}");
            continue;
        }
        let wanted = line_of(&text, line);
        let shown = found.iter().map(flat).collect::<Vec<_>>().join(" ");
        let hit = found.iter().find(|f| f.key == *key && f.line == Some(wanted) && f.severity == *severity);
        assert!(hit.is_some_and(|f| f.act.is_some()), "{to:?}: no {severity:?} of {key:?} on line {wanted}:\n{shown}");
        assert!(shown.contains(words), "{to:?}: {words:?} is not in\n{shown}");
        assert_eq!(found.len(), 1, "{to:?}: one slip, one finding:\n{shown}");
    }
}

/// Two witnesses that one cause can spoil.
#[test]
fn witnesses_that_are_not_two_are_named() {
    let scale = "name = \"truck scale\"\ndevice = \"truck scale\"\nfunction = 3\naddress = 1";
    let hung = planted(scale, "name = \"truck scale\"\ndevice = \"tank 204 gauges\"\nfunction = 3\naddress = 200");
    let shown = found_beside(&hung).iter().map(flat).collect::<String>();
    assert!(shown.contains("scale and tank level are read from one device"), "{shown}");
    assert!(shown.contains("no signal is read from \"truck scale\""), "{shown}");
    let signals: Vec<&str> = SITE_MANUAL.split("\n[[bay.signal]]\n").collect();
    let without = |kind: &str| {
        let kept: Vec<&str> = signals.iter().filter(|s| !s.starts_with(&format!("kind = \"{kind}"))).copied().collect();
        found_beside(&kept.join("\n[[bay.signal]]\n")).iter().map(flat).collect::<String>()
    };
    let shown = without("level_m");
    assert!(shown.contains("flow meter and scale alone: what goes astray between meter and tank"), "{shown}");
    let shown = without("flow_");
    assert!(shown.contains("scale and tank level alone: which side of the line is off cannot be told"), "{shown}");
    let one = "transmitter = \"X\"";
    let text = planted("# transmitter = \"line meter\"", one)
        .replace("name = \"tank 204 level\"", &format!("name = \"tank 204 level\"\n{one}"));
    let shown = found_beside(&text).iter().map(flat).collect::<String>();
    assert!(shown.contains("flow meter and tank level are of one transmitter"), "{shown}");
}

#[test]
fn a_signal_of_another_tank_is_named() {
    let tank = SITE_MANUAL.find("[[tank]]").expect("a tank");
    let bay = SITE_MANUAL.find("\n[[bay]]").expect("a bay");
    let second = SITE_MANUAL[tank..bay].replace("name = \"204\"", "name = \"205\"");
    let text = planted("tanks = [\"204\"]", "tanks = [\"204\", \"205\"]")
        .replace("\n[[bay]]", &format!("\n{second}\n[[bay]]"));
    let at = text.find("kind = \"level_m\"").expect("a level");
    let swapped = format!("{}{}", &text[..at], text[at..].replacen("tank = \"204\"", "tank = \"205\"", 1));
    let shown = found_beside(&swapped).iter().map(flat).collect::<String>();
    assert!(shown.contains("speaks of tank \"204\", but the signal is declared for tank \"205\""), "{shown}");
    assert!(!found_beside(&text).iter().any(|f| f.what.contains("speaks of")), "the right ones are left alone");
}

fn with_table(csv: &str) -> Result<Site, crate::config::Faults> {
    let text = planted("diameter = \"2.84 m\"\nheight = \"8 m\"", "strapping_file = \"tank.csv\"");
    let read = |name: &str| if name == "tank.csv" { Ok(csv.to_owned()) } else { read_shipped(name) };
    Site::from_text(Path::new("site.toml"), text, &read)
}

/// Volumes of a tank at 21 equal steps up to 8 m, L, by a shape's own formula; `slip` bends rows (mm, L).
fn rows(volume_m3: impl Fn(f64) -> f64, slip: impl Fn(usize, f64, f64) -> Option<(f64, f64)>) -> String {
    let rows = (0..=20).filter_map(|i| {
        let level = 8.0 / 20.0 * f64::from(i);
        let (mm, litres) = slip(usize::try_from(i).ok()?, 1e3 * level, 400.0 + 1e3 * volume_m3(level))?;
        Some(format!("{mm:.1},{litres:.1}\n"))
    });
    format!("level (mm),volume (L)\n{}", rows.collect::<String>())
}

/// Shapes by the closed forms of solid geometry: an upright cylinder, one lying, one on a cone, one on half a sphere.
#[test]
fn sound_shapes_of_tanks_are_left_alone_and_wrong_rows_are_not() {
    use std::f64::consts::PI;
    let upright = |h: f64| PI / 4.0 * 2.84 * 2.84 * h;
    let lying = |h: f64| {
        let r = 4.0_f64;
        6.0 * (r * r * ((r - h) / r).acos() - (r - h) * (2.0 * r * h - h * h).max(0.0).sqrt())
    };
    let on_a_cone =
        |h: f64| if h < 1.2 { PI / 3.0 * (1.42 * h / 1.2_f64).powi(2) * h } else { upright(h) - upright(0.8) };
    let on_half_a_sphere = |h: f64| {
        let r = 1.42;
        if h < r { PI * h * h * (r - h / 3.0) } else { 2.0 / 3.0 * PI * r * r * r + PI * r * r * (h - r) }
    };
    let shapes: [(&str, &dyn Fn(f64) -> f64); 4] =
        [("upright", &upright), ("lying", &lying), ("cone", &on_a_cone), ("half sphere", &on_half_a_sphere)];
    let findings = |csv: &str| {
        let site = with_table(csv).unwrap_or_else(|faults| panic!("{faults}"));
        let of_table = site.warnings.iter().filter(|f| f.file.contains("tank.csv"));
        of_table.map(|f| (f.line, f.what.clone())).collect::<Vec<_>>()
    };
    for (name, shape) in shapes {
        assert_eq!(findings(&rows(shape, |_, mm, l| Some((mm, l)))), [], "{name}");
        let step = 600.0 * (shape(4.0) - shape(3.6));
        let digit = findings(&rows(shape, |i, mm, l| Some((mm, if i == 10 { l + step } else { l }))));
        assert!(digit.iter().any(|(line, what)| *line == Some(12) && what.contains("jumps")), "{name}: {digit:?}");
        let unit = findings(&rows(shape, |i, mm, l| Some((mm, if i >= 12 { l * 3.785 } else { l }))));
        assert!(unit.iter().any(|(_, what)| what.contains("jumps")), "{name}: {unit:?}");
        let gap = findings(&rows(shape, |i, mm, l| (!(9..14).contains(&i)).then_some((mm, l))));
        assert!(gap.iter().any(|(line, what)| *line == Some(11) && what.contains("a gap")), "{name}: {gap:?}");
    }
    let fold = with_table(&rows(upright, |i, mm, l| Some((mm, if i == 10 { l - 3_000.0 } else { l }))));
    assert!(fold.expect_err("a fold").to_string().contains("does not rise"));
    let metres = with_table(&rows(upright, |_, mm, l| Some((mm, l))).replace("level (mm)", "level (m)"));
    assert!(metres.expect_err("a unit").to_string().contains("out of range"));
    let cubic = with_table(&rows(upright, |_, mm, l| Some((mm, l))).replace("volume (L)", "volume (m3)"));
    let shown = cubic.map(|site| site.warnings).unwrap_or_else(|f| f.list().to_vec());
    assert!(shown.iter().any(|f| f.what.contains("raises the level by")), "{shown:?}");
}

/// The shipped products are sound; one with a rising density, or one that does not fall, is not.
#[test]
fn densities_fall_as_liquids_expand() {
    let with = |from: &str, to: &str| {
        let read = |name: &str| {
            let text = read_shipped(name)?;
            assert!(from.is_empty() || text.contains(from), "{from:?}");
            Ok(if from.is_empty() { text } else { text.replacen(from, to, 1) })
        };
        let site = Site::from_text(Path::new("site.toml"), SITE_MANUAL.to_owned(), &read);
        site.unwrap_or_else(|f| panic!("{f}")).warnings.into_iter().filter(|f| f.key == "density").count()
    };
    assert_eq!(with("", ""), 0);
    assert_eq!(with("1510.9 kg/m3", "1580.9 kg/m3"), 2, "a digit: up, then down too fast");
    assert_eq!(with("1482.7 kg/m3", "1496.7 kg/m3"), 1, "the same twice");
    let glycol = read_shipped("products/ethylene-glycol.toml").expect("shipped");
    let read = |name: &str| if name.contains("caustic") { Ok(glycol.clone()) } else { read_shipped(name) };
    let site = Site::from_text(Path::new("site.toml"), SITE_MANUAL.to_owned(), &read).unwrap_or_else(|f| panic!("{f}"));
    assert!(site.warnings.is_empty(), "{:?}", site.warnings);
}
