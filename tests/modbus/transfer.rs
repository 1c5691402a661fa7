//! A short transfer fed by pymodbus: the recording holds what was served, the masses are what was moved, and
//! nothing was ever written.

use super::instruments::{Instruments, Log};
use super::serial::Line;
use brimwatch::config::{self, Link, Site};
use brimwatch::engine::frame::{Frame, WitnessId};
use brimwatch::engine::input::{Entry, Event, Measured, What};
use brimwatch::live;
use brimwatch::page::feed::{BayFeed, EntryRequest};
use brimwatch::poll::way::Way;
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;
use tokio::sync::oneshot;

/// One signal as server.py serves it.
struct Served {
    kind: &'static str,
    device: &'static str,
    function: u8,
    address: u16,
    /// Type, order, scale, unit and whatever else its lines in the site file need.
    lines: &'static str,
    /// Number on the wire to SI, worked out by hand.
    si: fn(f64) -> f64,
}

/// Signals in the order of the site file.
const SIGNALS: [Served; 9] = [
    Served {
        kind: "flow_kg_per_s",
        device: "meter",
        function: 4,
        address: 0,
        lines: "type = \"f32\"\norder = \"CDAB\"\nunit = \"kg/h\"",
        si: |x| x / 3600.0,
    },
    Served {
        kind: "flow_total_kg",
        device: "meter",
        function: 4,
        address: 2,
        lines: "type = \"f64\"\norder = \"ABCD\"\nunit = \"kg\"",
        si: |x| x,
    },
    Served {
        kind: "line_density_kg_per_m3",
        device: "meter",
        function: 4,
        address: 20,
        lines: "type = \"f32\"\norder = \"BADC\"\nunit = \"kg/L\"",
        si: |x| x * 1000.0,
    },
    Served {
        kind: "line_temperature_c",
        device: "meter",
        function: 4,
        address: 22,
        lines: "type = \"i16\"\nscale = 0.1\nunit = \"C\"",
        si: |x| x / 10.0,
    },
    Served {
        kind: "scale_kg",
        device: "scale",
        function: 3,
        address: 40,
        lines: "type = \"i32\"\norder = \"DCBA\"\nscale = 10\nunit = \"kg\"\ndivision = \"10 kg\"",
        si: |x| x * 10.0,
    },
    Served {
        kind: "level_m",
        device: "tank",
        function: 3,
        address: 0,
        lines: "type = \"u16\"\nunit = \"mm\"\nlag = \"0 s\"",
        si: |x| x / 1000.0,
    },
    Served {
        kind: "tank_pressure_pa_gauge",
        device: "tank",
        function: 3,
        address: 8,
        lines: "type = \"i16\"\nunit = \"mbar gauge\"",
        si: |x| x * 100.0,
    },
    Served {
        kind: "pad_pressure_pa_gauge",
        device: "tank",
        function: 4,
        address: 8,
        lines: "type = \"f32\"\norder = \"DCBA\"\nunit = \"psi gauge\"",
        si: |x| x * 6_894.757_293_168_361, // NIST SP 811, App. B.8
    },
    Served { kind: "high_level_switch", device: "tank", function: 2, address: 5, lines: "type = \"bool\"", si: |x| x },
];

/// Straight between two of Perry's values for ethylene glycol; 25.1 C lies between them.
const PRODUCT: &str = r#"
name = "ethylene glycol"
density = [["20 C", "1113.7 kg/m3"], ["30 C", "1106.6 kg/m3"]]
density_u = "0.1 %"
confirmed = true
source = "Perry's Chemical Engineers' Handbook, 8th ed., DIPPR equation 105"
"#;

const DELIVERY: &str = r#"
id = "G-1"
bay = "Bay 1"
tank = "12"
product = "ethylene glycol"
load_temperature = "25 C"
planned = "500 kg"
ticket = { net = "500 kg" }
trailer = { volume = "20 m3" }
plate = { specification = "DOT 407", mawp = "35 psi gauge" }
"#;

fn site_text(ports: &BTreeMap<String, u16>) -> String {
    let mut text = String::from(
        r#"
[site]
name = "Fenwick works"
store = "recordings"
listen = "127.0.0.1:0"

[[tank]]
name = "12"
product = "glycol.toml"
diameter = "2 m"
height = "5 m"
working = "3.8 m"
high_high = "4.3 m"
critical = "4.8 m"
opening_u = "5 mm"
draw_off = "declared_zero"
"#,
    );
    for (device, unit) in [("meter", 7), ("scale", 1), ("tank", 3)] {
        // On a serial line there are no ports: the test puts the link in afterwards.
        let port = ports.get(device).unwrap_or(&502);
        write!(
            text,
            "[[device]]\nname = \"{device}\"\naddress = \"127.0.0.1:{port}\"\nunit = {unit}\naddress_base = 0\nperiod = \"250 ms\"\ntime_out = \"200 ms\"\n"
        )
        .expect("text");
    }
    text.push_str(
        r#"
[[bay]]
name = "Bay 1"
tanks = ["12"]
rests_on_scale = "trailer"
drive = "pad"
pad_tap = "trailer"
gas = "nitrogen"
gas_temperature = "20 C"
line = { upstream = "15 L", downstream = "40 L", starts = "full", valve_closes = "10 s", blow_clear = "0 kg" }
limits = { response_time = "60 s", pad_maximum = "30 psi gauge" }
"#,
    );
    for Served { kind, device, function, address, lines, .. } in SIGNALS {
        write!(
            text,
            "[[bay.signal]]\nkind = \"{kind}\"\nname = \"{kind}\"\ndevice = \"{device}\"\nfunction = {function}\naddress = {address}\n{lines}\n"
        )
        .expect("text");
    }
    text
}

/// Enters what a person would, and waits until it is on disk.
async fn enter(bay: &BayFeed, what: What) {
    let (saved, answer) = oneshot::channel();
    let entry = Entry { who: "the test".into(), leg: 1, what };
    bay.entries.send(EntryRequest { entry, saved }).await.expect("a bay that listens");
    answer.await.expect("an answer").expect("an entry that is saved");
}

/// The latest frame once `ready` holds of it.
async fn frame_when(bay: &mut BayFeed, what: &str, ready: impl Fn(&Frame) -> bool) -> Frame {
    let wait = bay.latest.wait_for(|p| p.as_ref().is_some_and(|p| ready(&p.frame)));
    let published = tokio::time::timeout(Duration::from_secs(20), wait).await;
    let published = published.unwrap_or_else(|_| panic!("no frame in 20 s with {what}")).expect("a live loop");
    published.as_ref().expect("some").frame.clone()
}

/// Every number recorded of each signal, in order.
fn recorded(path: &Path) -> Vec<Vec<f64>> {
    let mut values = vec![Vec::new(); SIGNALS.len()];
    let bytes = reader::read(path).expect("a recording");
    let recording = reader::walk(path, &bytes).expect("a recording");
    assert!(recording.damage.is_empty() && recording.torn.is_none(), "{}", path.display());
    for record in recording.records.iter().filter(|r| r.kind == Kind::Input) {
        let Event::Poll(poll) = reader::input(record).expect("an input").event else { continue };
        for value in poll.values {
            values[usize::from(value.signal)].push(match value.value {
                Measured::Number(number) => number,
                Measured::Flag(flag) => f64::from(u8::from(flag)),
                other => panic!("{}: {other:?}", SIGNALS[usize::from(value.signal)].kind),
            });
        }
    }
    values
}

/// What was served of one signal, in order, SI.
fn served(signal: &Served, log: &Log) -> Vec<f64> {
    let of_function = log.answers[signal.device].iter().filter(|a| a.function == signal.function);
    of_function.filter_map(|a| a.values.get(&signal.address)).map(|&x| (signal.si)(x)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_transfer_that_pymodbus_serves() {
    transfer("a transfer over TCP", None).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_transfer_that_pymodbus_serves_on_one_serial_line() {
    transfer("a transfer on a serial line", Some(&Line::lay())).await;
}

/// Every device on this line instead.
fn put_on(line: &Line, site: &mut Site) {
    let way = Way::Serial(line.near());
    site.links = vec![Link { name: "line".into(), way, connect_time_out_s: 1.0, pause_s: 0.0 }];
    for device in &mut site.devices {
        (device.link, device.link_name) = (0, "line".into());
    }
}

async fn transfer(what: &str, line: Option<&Line>) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut instruments = Instruments::serve(line);
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("a file");
        path
    };
    file("glycol.toml", PRODUCT);
    let mut site = config::load(&file("site.toml", &site_text(&instruments.ports))).unwrap_or_else(|e| panic!("{e}"));
    if let Some(line) = line {
        put_on(line, &mut site);
    }
    let delivery = config::load_delivery(&file("delivery.toml", DELIVERY), &site).unwrap_or_else(|e| panic!("{e}"));

    let options = live::Options { site, deliveries: vec![delivery], drill_speed: None };
    let running = live::start(options).await.expect("a live loop");
    let mut bay = running.bays[0].clone();
    frame_when(&mut bay, "every signal read", |f| f.readings.iter().all(|r| r.validity.is_credible())).await;
    enter(&bay, What::TransferStarted).await;
    frame_when(&mut bay, "three witnesses", |f| f.witnesses.iter().all(|w| w.received_kg.is_some())).await;
    instruments.say("go");
    tokio::time::sleep(Duration::from_secs(12)).await;
    instruments.say("stop");
    // Scale and tank are shown by the meter and their mean difference from it over a minute: everything shown has been read
    // after the end.
    tokio::time::sleep(Duration::from_secs(64)).await;
    let last = frame_when(&mut bay, "anything", |_| true).await;
    enter(&bay, What::Closed).await;
    let recording = running.recordings[0].borrow().clone();
    running.stop().await;
    let log = instruments.end();

    println!("{what}: {} requests by function {:?}", log.asked.asked.len(), log.asked.functions());
    let all = SIGNALS.iter().map(|signal| (signal, served(signal, &log)));
    for ((signal, served), recorded) in all.zip(recorded(&recording)) {
        assert_recorded(signal.kind, &served, &recorded);
    }
    assert_masses(&last, &log);
}

/// What was served was recorded, one for one; a poll cut off by the end of the program is the only one missing.
fn assert_recorded(kind: &str, served: &[f64], recorded: &[f64]) {
    assert!(
        recorded.len() >= 40 && served.len() - recorded.len() <= 2,
        "{kind}: {} of {}",
        recorded.len(),
        served.len()
    );
    for (i, (recorded, served)) in recorded.iter().zip(served).enumerate() {
        assert!((recorded - served).abs() <= 1e-12 * served.abs(), "{kind}, poll {i}: {recorded} against {served}");
    }
}

/// The three masses from nothing but the first and the last number served.
fn assert_masses(last: &Frame, log: &Log) {
    let change = |kind: &str| {
        let signal = SIGNALS.iter().find(|s| s.kind == kind).expect("a signal");
        let served = served(signal, log);
        served[served.len() - 1] - served[0]
    };
    // Glycol at 25.1 C, straight between 1113.7 at 20 C and 1106.6 at 30 C.
    let density = 1113.7 - 0.51 * 7.1;
    // Nitrogen at 24.5 psi gauge and 20 C by the gas law: it follows the liquid and stays on the scale.
    let gas = (24.5 * 6_894.757 + 101_325.0) / (296.803 * 293.15);
    // Mass against weights of 8000 kg/m3 in air of 1.2 kg/m3 (OIML D 28:2004); the trailer is closed.
    let off_the_scale = -change("scale_kg") * (1.0 - 1.2 / 8000.0);
    let expected = [
        (WitnessId::Flow, change("flow_total_kg")),
        (WitnessId::Scale, off_the_scale / (1.0 - gas / density)),
        (WitnessId::Tank, change("level_m") * std::f64::consts::PI * density),
    ];
    for (witness, (id, kg)) in last.witnesses.iter().zip(expected) {
        assert_eq!(witness.id, id);
        let got = witness.received_kg.expect("a mass").value;
        assert!(kg > 100.0 && (got / kg - 1.0).abs() < 1e-6, "{id:?}: {got} kg against {kg}");
    }
}
