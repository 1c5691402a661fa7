use super::*;
use crate::engine::settings::{DrawOff, NeighbourSetup, SignalKind, TankGeometry};
use crate::engine::witness::geometry;
use crate::poll::blocks::Forbidden;
use crate::poll::registers::{DataType, Span, StatusRegister, UpperPart, WordOrder};
use crate::poll::way::{Parity, Serial};
use crate::units::Metre;

/// The folder of the shipped files.
fn shipped() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config")
}

pub(super) fn read_shipped(name: &str) -> io::Result<String> {
    std::fs::read_to_string(shipped().join(name))
}

pub(super) fn site(text: &str) -> Result<Site, Faults> {
    Site::from_text(Path::new("site.toml"), text.to_owned(), &read_shipped)
}

/// As it is read, wherever its lines are broken.
fn flat(faults: &Faults) -> String {
    faults.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The shipped site file with one thing replaced.
pub(super) fn planted(from: &str, to: &str) -> String {
    assert_eq!(SITE_MANUAL.matches(from).count(), 1, "{from:?} must stand once in the shipped file");
    SITE_MANUAL.replace(from, to)
}

/// Line (from 1) of the first occurrence.
pub(super) fn line_of(text: &str, part: &str) -> usize {
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
    let columns = load_columns(&shipped().join("columns.toml"), bay).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!((columns.signals.len(), columns.entries.len()), (7, 2));
}

/// The tuned example is sound, and every key in it is there to show something: none only repeats a default.
#[test]
fn the_tuned_example_loads() {
    let site = load(&shipped().join("example.toml")).unwrap_or_else(|faults| panic!("{faults}"));
    load_delivery(&shipped().join("delivery.toml"), &site).unwrap_or_else(|faults| panic!("{faults}"));
    assert!(site.links.iter().any(|link| matches!(link.way, Way::Serial(_))) && site.devices.len() == 4);
    let bay = &site.bays[0];
    assert!(bay.places.iter().any(|p| p.register.current.is_some()) && bay.places.iter().any(|p| p.status.is_some()));
    let text = read_shipped("example.toml").expect("shipped");
    for key in keys::SITE {
        if let keys::Presence::Default(default) = key.presence {
            let repeated = [format!("\n{} = {default}\n", key.name()), format!("\n{} = \"{default}\"\n", key.name())];
            // even is said because papers seldom say it
            assert!(key.name() == "parity" || repeated.iter().all(|line| !text.contains(line)), "{}", key.path);
        }
    }
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

/// A register that counts the ullage down from 8.2 m: 6200 mm are a level of 2 m. The same as a loop current.
#[test]
fn an_ullage_becomes_a_level() {
    let level = |text: &str| {
        let site = site(text).unwrap_or_else(|faults| panic!("{faults}"));
        let at = site.bays[0].settings.signals.iter().position(|s| s.kind == SignalKind::Level).expect("fitted");
        site.bays[0].places[at].register
    };
    let register = level(&planted("# ullage_from = \"8.2 m\"", "ullage_from = \"8.2 m\""));
    assert!((6200.0 * register.factor + register.offset - 2.0).abs() < 1e-12);
    let looped = planted("unit = \"mm\"", "ullage_from = \"8.2 m\"\nat_4_ma = \"0.2 m\"\nat_20_ma = \"8.2 m\"");
    let span = level(&looped).current.expect("a loop");
    assert!((span.at_4_ma - 8.0).abs() < 1e-12 && span.at_20_ma.abs() < 1e-12);
}

/// (what is replaced, by what, key of the fault, text of its line, words of the message).
#[rustfmt::skip]
const PLANTED: &[(&str, &str, &str, &str, &str)] = &[
    ("pad_maximum = \"25", "pad_max = \"25", "bay.limits.pad_max", "pad_max = ", "nearest: pad_maximum"),
    ("critical = \"7.6 m\"", "critical = \"7.6 m\"\nresponse_time = \"60 s\"", "tank.response_time", "response_time = \"60 s\"\n\n# What the gauge", "belongs in bay.limits"),
    ("high_high = \"7.2 m\"", "high_high = \"7.2 psi gauge\"", "tank.high_high", "high_high = \"7.2", "unit of gauge pressure, not of length"),
    ("shutoff_tested = \"2026-08-20\"", "shutoff_tested = \"20.08.2026\"", "tank.shutoff_tested", "shutoff_tested = ", "is no day"),
    ("high_high = \"7.2 m\"", "high_high = 7.2", "tank.high_high", "high_high = 7.2", "a bare number"),
    ("high_high = \"7.2 m\"", "high_high = \"7,2 m\"", "tank.high_high", "high_high = \"7,2", "decimal point"),
    ("high_high = \"7.2 m\"", "high_high = \"7200 m\"", "tank.high_high", "high_high = \"7200", "0 to 40 m"),
    ("high_high = \"7.2 m\"", "high_high = \"6.5 m\"", "tank.high_high", "high_high = \"6.5", "not above working"),
    ("high_high = \"7.2 m\"\n", "", "tank.high_high", "[[tank]]", "is missing"),
    ("critical = \"7.6 m\"", "critical = \"8.6 m\"", "tank.critical", "critical = \"8.6", "above the tank's top"),
    ("# pad_minimum = \"10 psi gauge\"", "pad_minimum = \"26 psi gauge\"", "bay.limits.pad_minimum", "pad_minimum = \"26", "is not below pad_maximum"),
    ("pad_maximum = \"25 psi gauge\"", "pad_maximum = \"25 psi\"", "bay.limits.pad_maximum", "pad_maximum = \"25 psi\"", "nearest: psi gauge"),
    ("pad_maximum = \"25 psi gauge\"", "pad_maximum = \"0.25 psi gauge\"", "bay.limits.pad_maximum", "pad_maximum = \"0.25", "out of range"),
    ("device = \"truck scale\"", "device = \"truck scales\"", "bay.signal.device", "device = \"truck scales\"", "nearest: truck scale"),
    ("tanks = [\"204\"]", "tanks = [\"205\"]", "bay.tanks", "tanks = [\"205\"]", "there is no tank"),
    ("kind = \"pad_pressure_pa_gauge\"", "kind = \"tank_pressure_pa_gauge\"", "bay.signal.kind", "kind = \"tank_pressure_pa_gauge\"\nname = \"pad pressure\"", "too many"),
    ("kind = \"scale_kg\"", "kind = \"scales_kg\"", "bay.signal.kind", "kind = \"scales_kg\"", "nearest: scale_kg"),
    ("unit = \"mm\"", "unit = \"kg\"", "bay.signal.unit", "unit = \"kg\"\n# Where the register", "level_m measures length"),
    ("noise = \"2 mm\"", "noise = \"2 C\"", "bay.signal.noise", "noise = \"2 C\"", "unit of temperature, not of length"),
    ("division = \"20 kg\"\n", "", "bay.signal.division", "[[bay.signal]]\nkind = \"scale_kg\"", "scale's plate"),
    ("order = \"CDAB\"\n", "", "bay.signal.order", "type = \"i32\"", "more than one register"),
    ("address = 102", "address = 101", "bay.signal.address", "address = 101", "read as \"tank 204 level\" too"),
    ("address = 1\ntype", "address = 0\ntype", "bay.signal.address", "address = 0\ntype = \"i32\"", "1 to 65535"),
    ("function = 2", "function = 5", "bay.signal.function", "function = 5", "1 to 4"),
    ("name = \"pad pressure\"", "name = \"truck scale\"", "bay.signal.name", "name = \"truck scale\"\ndevice = \"trailer pad\"", "used twice"),
    ("store = \"recordings\"", "store = \"recordings\"\nlisten = \"0.0.0.0:8480\"", "site.listen", "listen = \"0.0", "this machine"),
    ("address = \"127.0.0.1:15022\"", "address = \"127.0.0.1\"", "device.address", "address = \"127.0.0.1\"\n", "host, a colon and a port"),
    ("time_out = \"500 ms\"\n\n[[device]]\nname = \"tank 204 gauges\"", "time_out = \"2 s\"\n\n[[device]]\nname = \"tank 204 gauges\"", "device.time_out", "time_out = \"2 s\"", "not shorter than the period"),
    ("[[device]]\nname = \"trailer pad\"", "[[device]]\nname = \"line meter\"\naddress = \"127.0.0.1:9\"\nunit = 1\naddress_base = 0\nperiod = \"1 s\"\ntime_out = \"0.5 s\"\n\n[[device]]\nname = \"trailer pad\"", "device.name", "name = \"line meter\"\naddress = \"127.0.0.1:9\"", "used twice"),
    ("diameter = \"2.84 m\"\nheight = \"8 m\"", "strapping = [[\"0 m\", \"0 m3\"], [\"4 m\", \"25 m3\"], [\"8 m\", \"25 m3\"]]", "tank.strapping", "strapping = [[", "second column does not rise"),
    ("diameter = \"2.84 m\"\n", "", "tank", "[[tank]]", "needs a diameter"),
    ("diameter = \"2.84 m\"\n", "diameter = \"2.84 m\"\nstrapping = [[\"0 m\", \"0 m3\"], [\"8 m\", \"50 m3\"]]\n", "tank", "[[tank]]", "described once"),
    ("products/caustic-soda-50.toml", "products/caustic-soda.toml", "tank.product", "product = \"products/caustic-soda.toml", "cannot be read"),
    ("rests_on_scale = \"trailer\"", "rests_on_scale = \"none\"", "bay.rests_on_scale", "rests_on_scale = \"none\"", "a scale is read"),
    ("draw_off = \"declared_zero\"", "draw_off = \"measured\"", "bay.signal", "[[bay]]", "measured, but not read"),
    ("gas = \"nitrogen\"", "gas = nitrogen", "", "gas = nitrogen", "not TOML"),
    ("type = \"bool\"", "type = \"u16\"", "bay.signal.type", "type = \"u16\"\n# The bit", "yes or no"),
    ("diameter = \"2.84 m\"\nheight = \"8 m\"", "strapping = [[\"0 m\", \"0 m3\"], [\"5 m\", \"25 m3\"], [\"4 m\", \"30 m3\"], [\"8 m\", \"50 m3\"]]", "tank.strapping", "strapping = [[", "does not rise"),
    ("# shell_reference = \"20 C\"", "shell_reference = \"20 C\"", "tank.shell_expansion_per_c", "shell_reference = \"20 C\"", "stands alone"),
    ("division = \"20 kg\"", "division = \"20 kg\"\nrolls_over_at = \"1000 kg\"", "bay.signal.rolls_over_at", "rolls_over_at = \"1000 kg\"", "counts nothing"),
    ("division = \"20 kg\"", "division = \"20 kg\"\nullage_from = \"8 kg\"", "bay.signal.ullage_from", "ullage_from = \"8 kg\"", "is no ullage"),
    ("division = \"20 kg\"", "division = \"20 kg\"\nindicates = \"apparent_mass\"", "bay.signal.indicates", "indicates = \"apparent_mass\"\n", "no mass meter"),
    ("division = \"20 kg\"", "division = \"20 kg\"\nlow_flow = \"1 kg\"", "bay.signal.low_flow", "low_flow = \"1 kg\"", "is no flow rate"),
    ("division = \"20 kg\"", "division = \"20 kg\"\nsuppressed_in = [\"closed\"]", "bay.signal.suppressed_in", "suppressed_in = [\"closed\"]", "is never suppressed"),
    ("kind = \"line_temperature_c\"", "kind = \"line_temperature_c\"\nsuppressed_in = [\"transfer\"]", "bay.signal.suppressed_in", "suppressed_in = [\"transfer\"]", "\"transfer\" is no phase"),
    ("kind = \"flow_kg_per_s\"", "kind = \"flow_kg_per_s\"\nlow_flow = \"5 kg/s\"", "bay.signal.low_flow", "low_flow = \"5 kg/s\"", "blind so far up"),
    // Devices.
    ("address = \"127.0.0.1:15021\"\n", "", "device", "[[device]]\nname = \"line meter\"", "reached by, once"),
    ("address = \"127.0.0.1:15021\"", "address = 15021", "device.address", "address = 15021", "a bare number"),
    ("address = \"127.0.0.1:15021\"", "address = \"127.0.0.1:15021\"\nlink = \"gateway\"", "device", "[[device]]\nname = \"line meter\"", "reached by, once"),
    ("address = \"127.0.0.1:15021\"", "link = \"gateway\"", "device.link", "link = \"gateway\"\n# or", "no [[link]] is declared"),
    ("address = \"127.0.0.1:15021\"", "address = \"::1:502\"", "device.address", "address = \"::1:502\"", "in brackets"),
    ("address = \"127.0.0.1:15021\"", "address = \"[::g]:502\"", "device.address", "address = \"[::g]", "host, a colon and a port"),
    ("address = \"127.0.0.1:15021\"", "address = \"10.0.0.300:502\"", "device.address", "address = \"10.0.0.300", "host, a colon and a port"),
    ("address = \"127.0.0.1:15021\"", "address = \"line meter:502\"", "device.address", "address = \"line meter:502", "host, a colon and a port"),
    ("address = \"127.0.0.1:15021\"", "address = \"127.0.0.1:0\"", "device.address", "address = \"127.0.0.1:0\"", "1 to 65535"),
    ("address = \"127.0.0.1:15022\"", "address = \"127.0.0.1:15021\"", "device.unit", "unit = 1\naddress_base = 1", "is device \"line meter\" already"),
    ("# gap = 0", "gap = 121", "device.gap", "gap = 121", "0 to 120"),
    ("# registers_most = 125", "registers_most = 126", "device.registers_most", "registers_most = 126", "1 to 125"),
    ("# registers_most = 125", "registers_most = 3", "bay.signal.address", "address = 0\n# u16", "takes 4 registers"),
    ("# not_read = [\"3:104-107\", \"4:9\"]", "not_read = [\"4:1-0\"]", "device.not_read", "not_read = [\"4:1", "no range of registers"),
    ("# not_read = [\"3:104-107\", \"4:9\"]", "not_read = [\"5:1\"]", "device.not_read", "not_read = [\"5:1", "1 to 4"),
    ("# not_read = [\"3:104-107\", \"4:9\"]", "not_read = [\"4:65536\"]", "device.not_read", "not_read = [\"4:65536", "0 to 65535"),
    ("# not_read = [\"3:104-107\", \"4:9\"]", "not_read = [\"4:3\"]", "bay.signal.address", "address = 0\n# u16", "lies in not_read of device \"line meter\""),
    ("# heartbeat_function = 3", "heartbeat_function = 3", "device.heartbeat_address", "[[device]]\nname = \"line meter\"", "function, address and within"),
    // Signals.
    ("type = \"bool\"", "type = \"bool\"\nbit = 3", "bay.signal.bit", "bit = 3\n# The bit", "single bits already"),
    ("division = \"1 mm\"", "bit = 3", "bay.signal.bit", "bit = 3\nnoise", "the signal is a number"),
    ("unit = \"mm\"", "at_4_ma = \"0 m\"", "bay.signal.at_20_ma", "at_4_ma = \"0 m\"\n# Where", "stands alone"),
    ("unit = \"mm\"", "at_4_ma = \"0 m\"\nat_20_ma = \"0 mm\"", "bay.signal.at_20_ma", "at_20_ma = \"0 mm\"", "the same as at_4_ma"),
    ("unit = \"mm\"", "unit = \"mm\"\nat_4_ma = \"0 m\"\nat_20_ma = \"8 m\"", "bay.signal.unit", "unit = \"mm\"", "no place where"),
    ("unit = \"mm\"", "at_4_ma = \"0 m\"\nat_20_ma = \"8 kg\"", "bay.signal.at_20_ma", "at_20_ma = \"8 kg\"", "unit of mass, not of length"),
    ("true_when = 0", "at_4_ma = \"0 m\"", "bay.signal.at_4_ma", "at_4_ma = \"0 m\"\n# With", "the signal is yes or no"),
    ("# upper_type = \"u16\"", "upper_type = \"u16\"", "bay.signal.upper_type", "upper_type = \"u16\"", "there is none"),
    ("# upper_address = 20\n", "upper_address = 20\nupper_worth = 10\n", "bay.signal.upper_address", "upper_address = 20\n", "u16, u32, bcd16 or bcd32"),
    ("type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"", "type = \"u16\"\nupper_address = 20\nunit = \"C\"\n\n[[bay.signal]]\nkind = \"scale_kg\"", "bay.signal.upper_worth", "upper_address = 20\nunit", "nothing says what it counts"),
    ("type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"", "type = \"bcd16\"\nupper_address = 20\nupper_worth = 10001\nunit = \"C\"\n\n[[bay.signal]]\nkind = \"scale_kg\"", "bay.signal.upper_worth", "upper_worth = 10001", "2 to 10000"),
    ("type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"", "type = \"u16\"\nupper_address = 20\nupper_type = \"u32\"\nupper_worth = 10\nunit = \"C\"\n\n[[bay.signal]]\nkind = \"scale_kg\"", "bay.signal.order", "upper_type = \"u32\"", "the upper part takes two registers"),
    ("type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"", "type = \"u16\"\nupper_address = 65535\nupper_type = \"u32\"\norder = \"ABCD\"\nupper_worth = 10\nunit = \"C\"\n\n[[bay.signal]]\nkind = \"scale_kg\"", "bay.signal.upper_address", "upper_address = 65535", "0 to 65534"),
    ("type = \"i16\"\nunit = \"C\"\nscale = 0.1\n\n[[bay.signal]]\nkind = \"scale_kg\"", "type = \"u16\"\nupper_address = 8\nupper_worth = 10\nunit = \"C\"\n\n[[bay.signal]]\nkind = \"scale_kg\"", "bay.signal.upper_address", "upper_address = 8\n", "read as \"line meter temperature\" too"),
    ("# status_address = 30", "status_address = 30", "bay.signal.status_address", "status_address = 30", "says nothing"),
    ("# status_sound = [15]", "status_sound = [15]", "bay.signal.status_address", "status_sound = [15]", "stands without it"),
    ("# status_address = 30", "status_address = 30\nstatus_sound = []", "bay.signal.status_sound", "status_sound = []", "a list of whole numbers, 0 to 15"),
    ("# status_address = 30", "status_address = 30\nstatus_check = [3, 3]", "bay.signal.status_check", "status_check = [3, 3]", "bit 3 stands in status_check already"),
    ("# status_address = 30", "status_address = 30\nstatus_failure = [3]\nstatus_sound = [4, 3]", "bay.signal.status_sound", "status_sound = [4, 3]", "bit 3 stands in status_failure already"),
    ("# status_address = 30", "status_address = 30\nstatus_failure = [16]", "bay.signal.status_failure", "status_failure = [16]", "0 to 15"),
    ("# status_address = 30", "status_address = 5\nstatus_failure = [0]", "bay.signal.address", "address = 4\ntype", "the status of \"line meter total\" too"),
    ("function = 2", "function = 2\nstatus_address = 8\nstatus_failure = [1]", "bay.signal.status_failure", "status_failure = [1]\n", "only bit 0"),
];

#[test]
fn each_planted_mistake_is_named_with_line_and_key() {
    for (from, to, key, line, words) in PLANTED {
        let text = planted(from, to);
        let faults = site(&text).map(|_| ()).expect_err(to);
        let wanted = line_of(&text, line);
        let shown = flat(&faults);
        let hit = faults.list().iter().find(|f| f.key == *key && f.line == Some(wanted));
        assert!(hit.is_some(), "{to:?}: no fault of {key:?} on line {wanted}:\n{shown}");
        assert!(shown.contains(words), "{to:?}: {words:?} is not in\n{shown}");
        assert!(shown.contains(&format!("site.toml:{wanted}")), "{to:?}: no place in\n{shown}");
        assert_eq!(faults.list().len(), 1, "{to:?}: one mistake, one fault:\n{shown}");
    }
}

/// A site whose line meter is reached by a link of these lines.
fn linked(lines: &str, device: &str) -> String {
    let device = format!("{device}\n");
    planted("address = \"127.0.0.1:15021\"\n", &device).replace(
        "\n[[device]]\nname = \"line meter\"",
        &format!("\n[[link]]\nname = \"field\"\n{lines}\n\n[[device]]\nname = \"line meter\""),
    )
}

#[test]
fn links_are_read_and_shared() {
    let read = |lines| site(&linked(lines, "link = \"field\"")).unwrap_or_else(|faults| panic!("{faults}"));
    let serial = read("serial_port = \"/dev/ttyS0\"\nbaud = 9600\nparity = \"none\"\nstop_bits = 2\npause = \"20 ms\"");
    let port = Serial { port: "/dev/ttyS0".into(), baud: 9_600, parity: Parity::None, stop_bits: 2 };
    let way = Way::Serial(port.clone());
    assert_eq!(serial.links[0], Link { name: "field".into(), way, connect_time_out_s: 1.0, pause_s: 0.02 });
    assert_eq!((serial.devices[0].link, serial.devices[0].link_name.as_str()), (0, "field"));
    assert_eq!(serial.bays[0].settings.devices[0].link, "field");
    assert_eq!(serial.links.len(), 5, "and one for each address");
    // Modbus over Serial Line V1.02, 2.5.1: even parity and one stop bit unless said otherwise.
    let plain = read("serial_port = \"/dev/ttyS0\"\nbaud = 19200\nframing = \"rtu\"");
    let even = Serial { baud: 19_200, parity: Parity::Even, stop_bits: 1, ..port };
    assert_eq!(plain.links[0].way, Way::Serial(even));
    let gateway = read("address = \"Gateway.Example:0502\"\nframing = \"rtu\"\nconnect_time_out = \"3 s\"");
    assert_eq!(gateway.links[0].way, Way::RtuOverTcp { address: "gateway.example:502".into() });
    assert_eq!(gateway.links[0].connect_time_out_s, 3.0);
    let six = read("address = \"[0::1]:502\"");
    assert_eq!(six.links[0].way, Way::Tcp { address: "[::1]:502".into() });
    // A device's own address makes a link as a table without any word about it would.
    let (own, declared) = (site(SITE_MANUAL).expect("as shipped"), read("address = \"127.0.0.1:15021\""));
    let named = Link { name: "127.0.0.1:15021".into(), ..declared.links[0].clone() };
    assert_eq!(own.links[0], named);

    let text = planted("address = \"127.0.0.1:15022\"\nunit = 1", "address = \"127.0.0.1:15021\"\nunit = 2");
    let shared = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(shared.links.len(), 4);
    assert_eq!((shared.devices[0].link, shared.devices[1].link), (0, 0), "one address, asked in turn");
}

#[test]
fn each_mistake_in_a_link_is_named() {
    let serial = "serial_port = \"/dev/ttyS0\"\nbaud = 9600";
    let second = |way| format!("{serial}\n\n[[link]]\nname = \"other\"\n{way}");
    for (lines, device, key, words) in [
        ("", "link = \"field\"", "link", "the way it leads, once"),
        (
            "address = \"10.0.0.7:502\"\nserial_port = \"/dev/ttyS0\"",
            "link = \"field\"",
            "link",
            "the way it leads, once",
        ),
        ("address = \"10.0.0.7\"", "link = \"field\"", "link.address", "host, a colon and a port"),
        ("address = \"10.0.0.7:502\"\nframing = \"ascii\"", "link = \"field\"", "link.framing", "tcp, rtu"),
        ("address = \"10.0.0.7:502\"\nbaud = 9600", "link = \"field\"", "link.baud", "set at the gateway"),
        ("address = \"10.0.0.7:502\"\nparity = \"even\"", "link = \"field\"", "link.parity", "set at the gateway"),
        ("address = \"10.0.0.7:502\"\nstop_bits = 1", "link = \"field\"", "link.stop_bits", "set at the gateway"),
        ("address = \"10.0.0.7:502\"\npause = \"2 s\"", "link = \"field\"", "link.pause", "0 to 1 s"),
        (
            "address = \"10.0.0.7:502\"\nconnect_time_out = \"1 ms\"",
            "link = \"field\"",
            "link.connect_time_out",
            "out of range",
        ),
        ("serial_port = \"/dev/ttyS0\"", "link = \"field\"", "link.baud", "needs its speed"),
        ("serial_port = \"/dev/ttyS0\"\nbaud = 110", "link = \"field\"", "link.baud", "300 to 921600"),
        (
            "serial_port = \"/dev/ttyS0\"\nbaud = 9600\nframing = \"tcp\"",
            "link = \"field\"",
            "link.framing",
            "always rtu",
        ),
        ("serial_port = \"ttyS0\"\nbaud = 9600", "link = \"field\"", "link.serial_port", "no whole path"),
        (serial, "link = \"fields\"", "device.link", "nearest: field"),
        (serial, "address = \"127.0.0.1:15021\"", "link", "no device is reached by \"field\""),
        ("address = \"127.0.0.1:15021\"", "address = \"127.0.0.1:15021\"", "device.address", "write link = \"field\""),
        (
            &second("serial_port = \"/dev/ttyS0\"\nbaud = 9600"),
            "link = \"field\"",
            "link.serial_port",
            "is the way of link \"field\" too",
        ),
        (&second("address = \"10.0.0.8:502\""), "link = \"field\"", "link", "no device is reached by \"other\""),
    ] {
        let faults = site(&linked(lines, device)).map(|_| ()).expect_err(lines);
        let shown = flat(&faults);
        assert!(faults.list().iter().any(|f| f.key == key), "{lines:?} {device:?}: no fault of {key:?}:\n{shown}");
        assert!(shown.contains(words), "{lines:?}: {words:?} is not in\n{shown}");
        let most = if shown.contains("is the way of link") { 2 } else { 1 };
        assert!(faults.list().len() <= most, "{lines:?}: one mistake, one fault:\n{shown}");
    }
    // Modbus over Serial Line V1.02, 2.2: 0 is the broadcast, 248 to 255 are reserved.
    let unit = |lines, unit: u16| {
        let text = linked(lines, "link = \"field\"");
        site(&text.replacen("unit = 1\n", &format!("unit = {unit}\n"), 1)).map(|_| ()).map_err(|f| flat(&f))
    };
    for number in [0, 248, 255] {
        assert!(unit(serial, number).expect_err("no device").contains("1 to 247"), "{number}");
        assert!(unit("address = \"h:502\"\nframing = \"rtu\"", number).is_err(), "{number}");
        assert_eq!(unit("address = \"h:502\"", number), Ok(()), "{number}");
    }
    assert_eq!((unit(serial, 1), unit(serial, 247)), (Ok(()), Ok(())));
}

/// The place of a signal of that kind.
fn place(site: &Site, kind: SignalKind) -> Place {
    let bay = &site.bays[0];
    bay.places[bay.settings.signals.iter().position(|s| s.kind == kind).expect("fitted")]
}

#[test]
fn a_device_says_how_it_may_be_asked() {
    let text = planted("# gap = 0", "gap = 8")
        .replace("# registers_most = 125", "registers_most = 60")
        .replace("# not_read = [\"3:104-107\", \"4:9\"]", "not_read = [\"3:104-107\", \"4: 10\"]")
        .replace("# heartbeat_", "heartbeat_");
    let read = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    let (meter, scale) = (&read.devices[0], &read.devices[1]);
    let never = |function, from, to| Forbidden { function, from, to };
    let not_read = vec![never(3, 104, 107), never(4, 10, 10)];
    assert_eq!(meter.manners, Manners { gap: 8, registers_most: 60, not_read });
    let beat = Register::plain(3, 90, DataType::U16, WordOrder::Abcd);
    assert_eq!(meter.heartbeat, Some((beat, 5.0)));
    assert_eq!(read.bays[0].settings.devices[0].heartbeat_s, Some(5.0));
    assert_eq!((&scale.manners, scale.heartbeat), (&Manners::default(), None));
    // Papers that count from 1.
    let keys = "not_read = [\"3:104-107\"]\nheartbeat_function = 3\nheartbeat_address = 90\nheartbeat_within = \"2 s\"";
    let from_one = planted("unit = 1\naddress_base = 1\n", &format!("unit = 1\naddress_base = 1\n{keys}\n"));
    let scale = &site(&from_one).unwrap_or_else(|faults| panic!("{faults}")).devices[1];
    assert_eq!(scale.manners.not_read, [never(3, 103, 106)]);
    assert_eq!(scale.heartbeat.expect("declared").0.address, 89);

    for (from, to, key, words) in [
        ("heartbeat_within = \"5 s\"", "heartbeat_within = \"1.9 s\"", "device.heartbeat_within", "at least 2 s"),
        ("heartbeat_address = 90", "heartbeat_address = 104", "device.heartbeat_address", "lies in not_read"),
        ("heartbeat_address = 90", "heartbeat_address = 65536", "device.heartbeat_address", "0 to 65535"),
        (
            "heartbeat_function = 3\nheartbeat_address = 90",
            "heartbeat_function = 4\nheartbeat_address = 5",
            "bay.signal.address",
            "the heartbeat of device \"line meter\" too",
        ),
    ] {
        assert_eq!(text.matches(from).count(), 1, "{from:?}");
        let faults = site(&text.replace(from, to)).map(|_| ()).expect_err(to);
        let shown = flat(&faults);
        assert!(faults.list().len() == 1 && faults.list()[0].key == key && shown.contains(words), "{to:?}:\n{shown}");
    }
}

#[test]
fn a_signal_says_where_its_parts_are() {
    let level = "type = \"f32\"\norder = \"ABCD\"\nunit = \"mm\"";
    let current = "type = \"u16\"\nat_4_ma = \"-50 mm\"\nat_20_ma = \"7.95 m\"\nscale = 0.001";
    let read = site(&planted(level, current)).unwrap_or_else(|faults| panic!("{faults}"));
    let register = place(&read, SignalKind::Level).register;
    assert_eq!(register.current, Some(Span { at_4_ma: -0.05, at_20_ma: 7.95 }));
    assert_eq!((register.factor, register.offset), (0.001, 0.0), "to mA");

    let text = planted("type = \"f64\"\n", "type = \"bcd32\"\n").replace("# upper_", "upper_");
    let text = text.replace("# status_", "status_").replace("# transmitter", "transmitter");
    let read = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    let total = place(&read, SignalKind::FlowMassTotal);
    assert_eq!(total.register.data, DataType::Bcd32);
    assert_eq!(total.upper, Some(UpperPart { address: 20, data: DataType::U16, worth: 1_000_000 }));
    let status = StatusRegister {
        function: 4,
        address: 30,
        failure: 0b11,
        function_check: 0b100,
        out_of_specification: 0b1000,
        maintenance: 0b1_0000,
        sound: 0x8000,
    };
    assert_eq!(total.status, Some(status));
    assert_eq!(read.bays[0].settings.signals[0].transmitter.as_deref(), Some("line meter"));
    assert_eq!(place(&read, SignalKind::FlowMassRate).status, None);
}

/// Flags, status registers and two bays may share a register; anything else may not.
#[test]
fn one_register_means_one_thing() {
    let contact = |name: &str, kind: &str, lines: &str| {
        format!(
            "\n[[bay.signal]]\nkind = \"{kind}\"\nname = \"{name}\"\ndevice = \"truck scale\"\nfunction = 3\ntype = \"bool\"\n{lines}\n"
        )
    };
    let two = |one: &str, two: &str| {
        let (one, two) = (contact("stop", "emergency_stop", one), contact("valve", "shutoff_closed", two));
        site(&format!("{SITE_MANUAL}{one}{two}")).map_err(|f| flat(&f))
    };
    let bits = two("address = 9\nbit = 0", "address = 9\nbit = 15").unwrap_or_else(|faults| panic!("{faults}"));
    let bit = |kind| (place(&bits, kind).register.address, place(&bits, kind).register.bit);
    assert_eq!((bit(SignalKind::EmergencyStop), bit(SignalKind::ShutoffClosed)), ((8, Some(0)), (8, Some(15))));
    for second in ["address = 9\nbit = 0", "address = 9"] {
        let faults = two("address = 9\nbit = 0", second).map(|_| ()).expect_err(second);
        assert!(faults.contains("read as \"stop\" too"), "{faults}");
    }
    let status = "bit = 1\nstatus_address = 9\nstatus_failure = [1]";
    let shared = two(&format!("address = 9\n{status}"), &format!("address = 10\n{status}"));
    assert!(shared.is_ok(), "a status word of two signals, and a bit of it shown: {shared:?}");
    let scale = two("address = 2\nbit = 0", "address = 9").map(|_| ()).expect_err("within the scale's value");
    assert!(scale.contains("read as \"truck scale\" too"), "{scale}");

    let tank = SITE_MANUAL.find("[[tank]]").expect("a tank");
    let second = SITE_MANUAL[tank..].replace("\"204\"", "\"205\"").replace("name = \"Bay 1\"", "name = \"Bay 2\"");
    let both = |from: &str, to: &str| {
        assert!(second.contains(from), "{from:?}");
        site(&format!("{SITE_MANUAL}\n{}", second.replacen(from, to, 1))).map(|_| ()).map_err(|f| flat(&f))
    };
    assert_eq!(both("", "").err(), None, "one device, read alike");
    for (from, to) in [
        ("type = \"i32\"\norder = \"CDAB\"", "type = \"u32\"\norder = \"CDAB\""),
        ("type = \"i32\"\norder = \"CDAB\"", "type = \"i32\"\norder = \"ABCD\""),
        ("address = 1\ntype = \"i32\"", "address = 2\ntype = \"i32\""),
    ] {
        let faults = both(from, to).expect_err(to);
        assert!(faults.contains("\"truck scale\" in another bay, as something else"), "{faults}");
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

/// A warning stops no start, and is told apart from the faults beside it.
#[test]
fn a_warning_is_no_fault() {
    let found = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}")).warnings;
    let [warning] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((warning.severity, warning.key.as_str()), (Severity::Warning, "confirmed"));
    assert!(warning.file.ends_with("caustic-soda-50.toml") && warning.to_string().starts_with("warning: confirmed: "));
    let faults = site(&planted("function = 2", "function = 9")).map(|_| ()).expect_err("one mistake");
    assert_eq!((faults.list().len(), faults.warnings().len()), (1, 1));
    let shown = faults.to_string();
    assert!(shown.starts_with("fault: bay.signal.function: ") && shown.contains("\nwarning: confirmed: "), "{shown}");
    assert!(shown.ends_with("1 fault found; nothing was started"), "{shown}");
}

#[test]
fn a_delivery_is_held_against_its_site() {
    let site = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}"));
    for (from, to, key, words) in [
        ("bay = \"Bay 1\"", "bay = \"Bay 7\"", "bay", "there is no bay"),
        ("tank = \"204\"", "tank = \"205\"", "tank", "tank of that bay"),
        ("product = \"caustic soda 50 %\"", "product = \"caustic potash 45 %\"", "product", "is not what tank"),
        ("high = 51.0", "high = 48.0", "certificate.property.high", "48 is below low, 49"),
        ("name = \"sodium chloride\"", "name = \"Sodium Hydroxide\"", "certificate.property.name", "is used twice"),
        ("load_temperature = \"35 C\"", "load_temperature = \"5 C\"", "load_temperature", "20 to 100 C"),
        ("planned = \"20 t\"", "planned = \"24 t\"", "planned", "more than was weighed in"),
        ("net = \"20060 kg\"", "net = \"26060 kg\"", "ticket.net", "more than the trailer's"),
        ("mawp = \"30 psi gauge\"", "mawp = \"30 bar gauge\"", "plate.mawp", "out of range"),
        ("mawp = \"30 psi gauge\"", "mawp = \"38 psi gauge\"", "plate.relief_from", "below mawp"),
        ("net = \"20060 kg\"", "net = \"20060 kg\"\ngross = \"35120 kg\"", "ticket.tare", "gross stands alone"),
        (
            "net = \"20060 kg\"",
            "net = \"20060 kg\"\ngross = \"35.12 t\"\ntare = \"16060 kg\"",
            "ticket.net",
            "gross less tare is 19060 kg",
        ),
        (
            "net = \"20060 kg\"",
            "net = \"20060 kg\"\ngross = \"15060 kg\"\ntare = \"35120 kg\"",
            "ticket.net",
            "gross less tare is -20060 kg",
        ),
        ("[ticket]", "[leg]\nnumber = 2\n\n[ticket]", "leg.on_board", "is missing"),
        ("[ticket]", "[leg]\nnumber = 1\non_board = \"20 t\"\n\n[ticket]", "leg.on_board_u", "is missing"),
        ("[ticket]", "[leg]\nnumber = 0\n\n[ticket]", "leg.number", "out of range"),
        (
            "[ticket]",
            "[leg]\nnumber = 2\non_board = \"9 t\"\non_board_u = \"30 kg\"\n\n[ticket]",
            "planned",
            "more than is on board",
        ),
        (
            "[ticket]",
            "[leg]\nnumber = 2\non_board = \"21 t\"\non_board_u = \"30 kg\"\n\n[ticket]",
            "leg.on_board",
            "more than was weighed in",
        ),
        ("[plate]", "[density]\nat = \"-1526.1 kg/m3\"\n\n[plate]", "density.at", "out of range"),
        (
            "[plate]",
            "[density]\ntable = [[\"20 C\", \"1526 kg/m3\"], [\"40 C\", \"1511 kg/m3\"], [\"30 C\", \"1518 kg/m3\"]]\n\n[plate]",
            "density.table",
            "does not rise",
        ),
        ("[plate]", "[density]\nat = \"1526.1 kg/m3\"\n\n[plate]", "density", "described once"),
        ("[plate]", "[density]\nsource = \"certificate\"\n\n[plate]", "density.source", "without a density"),
        (
            "[plate]",
            "[density]\ntable = [[\"20 C\", \"1290 kg/m3\"], [\"60 C\", \"1270 kg/m3\"]]\n\n[plate]",
            "density.table",
            "may not be what the tank holds",
        ),
        ("[plate]", "[line]\nupstream = \"22 m3\"\n\n[plate]", "line.upstream", "0 to 20 m3"),
    ] {
        assert_eq!(DELIVERY_MANUAL.matches(from).count(), 1, "{from:?}");
        let text = DELIVERY_MANUAL.replace(from, to);
        let path = Path::new("delivery.toml");
        let faults = DeliveryFile::from_text(path, text, &site).map(|_| ()).expect_err(to);
        let shown = flat(&faults);
        assert!(faults.list().iter().any(|f| f.key == key), "{to:?}:\n{shown}");
        assert!(shown.contains(words), "{to:?}: {words:?} is not in\n{shown}");
    }
    let text = DELIVERY_MANUAL.replace("mawp = \"30 psi gauge\"\n", "");
    let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), text, &site).unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(delivery.setup.plate.mawp, None, "not set, not guessed");
}

/// A certificate's density at a reference, with its slope, is a straight line as far as the product's own table reaches.
/// Expected by hand: 1526.1 kg/m3 at 20 C and -0.72 kg/m3 for each C are 1515.3 kg/m3 at 35 C.
#[test]
fn a_load_has_the_density_and_the_line_of_its_papers() {
    let site = site(SITE_MANUAL).unwrap_or_else(|faults| panic!("{faults}"));
    let read = |more: &str| {
        let text = DELIVERY_MANUAL.replace("[plate]", &format!("{more}\n[plate]"));
        DeliveryFile::from_text(Path::new("delivery.toml"), text, &site).unwrap_or_else(|faults| panic!("{faults}"))
    };
    let density = |delivery: &DeliveryFile, c: f64| {
        crate::engine::witness::density::density(&delivery.setup.product, Celsius(c)).map(|d| d.0)
    };
    let reference = "at = \"1526.1 kg/m3\"\ntemperature = \"68 F\"\nslope_kg_per_m3_per_c = -0.72\nu = \"0.03 %\"";
    let by_slope = read(&format!("[density]\n{reference}\n[line]\ndownstream = \"55 L\"\n"));
    let own = read("");
    assert!((density(&by_slope, 35.0).expect("in reach") - 1515.3).abs() < 1e-9);
    assert_eq!(density(&by_slope, 100.0).is_some(), density(&own, 100.0).is_some());
    assert_eq!((density(&by_slope, 101.0), density(&own, 101.0)), (None, None), "nothing is read beyond the ends");
    assert!((by_slope.setup.product.density_u - 0.0003).abs() < 1e-12 && by_slope.setup.product.confirmed);
    let table = "[density]\ntable = [[\"30 C\", \"1518.9 kg/m3\"], [\"40 C\", \"1511.7 kg/m3\"]]\nsource = \"certificate 4711\"\n";
    let by_table = read(table);
    assert!((density(&by_table, 35.0).expect("in reach") - 1515.3).abs() < 1e-9);
    assert_eq!(by_table.setup.product.source, "certificate 4711");
    assert!((by_table.setup.product.density_u - own.setup.product.density_u).abs() < 1e-12);
    let (line, of_site) = (by_slope.line.expect("named"), &site.bays[0].settings.line);
    assert!((line.downstream.0 - 0.055).abs() < 1e-12 && line.upstream == of_site.upstream && own.line.is_none());
    let weighed =
        DELIVERY_MANUAL.replace("net = \"20060 kg\"", "net = \"20060 kg\"\ngross = \"35.12 t\"\ntare = \"15060 kg\"");
    assert!(DeliveryFile::from_text(Path::new("delivery.toml"), weighed, &site).is_ok());
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
        ("level (mm),volume (L)\n0,400\n4000,25300\n3900,25400\n", Some(4), "more than in the row above: 4000,25300"),
        ("level (mm),volume (L)\n0;400\n4000,25300\n5000,26000\n", Some(2), "no two columns"),
        ("level (mm),volume (lb)\n0,400\n4000,25300\n", Some(2), "unit of mass, not of volume"),
        ("", None, "empty"),
    ] {
        let faults = with(csv).map(|_| ()).expect_err(csv);
        let shown = flat(&faults);
        assert!(shown.contains("tank-204.csv") && shown.contains(words), "{csv:?}: {words:?} is not in\n{shown}");
        assert!(faults.list().iter().any(|f| f.line == line), "{csv:?}: line {line:?} is not in\n{shown}");
    }
}

#[test]
fn several_bays_share_devices_but_no_tank() {
    let (tank, bay) = (SITE_MANUAL.find("[[tank]]").expect("a tank"), SITE_MANUAL.find("[[bay]]").expect("a bay"));
    let same = SITE_MANUAL[bay..].replace("name = \"Bay 1\"", "name = \"Bay 2 (north)\"");
    // Two that may fill it at one time need more room between the levels.
    let wider = SITE_MANUAL.replace("high_high = \"7.2 m\"", "high_high = \"7.21 m\"");
    let shared = site(&format!("{wider}\n{same}")).unwrap_or_else(|faults| panic!("{faults}"));
    for (bay, other, name) in [(0, 1, "Bay 2 (north)"), (1, 0, "Bay 1")] {
        assert_eq!(shared.bays[bay].settings.neighbours, [NeighbourSetup { bay: name.into(), tank: 0 }]);
        assert_eq!(shared.bays[bay].neighbours, [Neighbouring { bay: other, tank: 0 }]);
    }
    let second = same.replace("\"204\"", "\"205\"");
    let text = format!("{SITE_MANUAL}\n{}{second}", SITE_MANUAL[tank..bay].replace("\"204\"", "\"205\""));
    let site = site(&text).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.bays.iter().map(|b| b.slug.as_str()).collect::<Vec<_>>(), ["bay-1", "bay-2-north"]);
    assert!(site.bays.iter().all(|b| b.neighbours.is_empty() && b.settings.neighbours.is_empty()));
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
    for (keys, text) in [
        (keys::SITE, SITE_MANUAL),
        (keys::DELIVERY, DELIVERY_MANUAL),
        (keys::PRODUCT, &product),
        (keys::COLUMNS, COLUMNS_MANUAL),
        (keys::STEPS, STEPS_MANUAL),
    ] {
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

/// A key that the shipped files leave to its default shows that default, in its own table.
#[test]
fn the_shipped_files_show_the_defaults() {
    let mut compared = 0;
    for (keys, text) in [(keys::SITE, SITE_MANUAL), (keys::DELIVERY, DELIVERY_MANUAL)] {
        let mut table = String::new();
        for line in text.lines() {
            let bare = line.trim_start_matches("# ");
            let head = bare.trim_start_matches('[').trim_end_matches(']');
            if keys.iter().any(|key| key.path == head && key.example_line() == bare) {
                head.clone_into(&mut table);
            }
            let Some((name, value)) = bare.split_once(" = ").filter(|_| line.starts_with('#')) else { continue };
            let key = keys::children(keys, &table).find(|key| key.name() == name);
            if let Some(keys::Presence::Default(default)) = key.map(|key| key.presence) {
                assert_eq!(value.trim_matches('"'), default, "{table}.{name}");
                compared += 1;
            }
        }
    }
    assert!(compared >= 15, "{compared}");
}

/// The example that a hint shows passes the key it is shown for.
#[test]
fn each_example_passes_its_own_key() {
    for keys in [keys::SITE, keys::DELIVERY, keys::PRODUCT, keys::COLUMNS, keys::STEPS] {
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

/// A large file of another kind is refused in bounded words, and in time that grows with its length: four times the lines
/// take four times as long, and would take sixteen where each were held against all others.
#[test]
fn a_large_wrong_file_is_bounded() {
    let refused_s = |lines: u32| {
        let text: String = (0..lines).map(|i| format!("k{i} = {i}\n")).collect();
        let began_s = core_s();
        let shown = site(&text).map(|_| ()).expect_err("no site file").to_string();
        assert!(shown.len() < 200_000 && shown.contains("more"), "{} bytes", shown.len());
        core_s() - began_s
    };
    let (short_s, long_s) = (refused_s(10_000), refused_s(40_000));
    assert!(long_s < 9.0 * short_s, "{long_s} s for 40,000 lines, {short_s} s for 10,000");
}

/// Time of this thread's core, s: what else the machine does weighs little.
fn core_s() -> f64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    std::time::Duration::new(now.tv_sec.unsigned_abs(), u32::try_from(now.tv_nsec).expect("below a second"))
        .as_secs_f64()
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
