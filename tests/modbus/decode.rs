//! `brimwatch decode` finds how pymodbus wrote a mass, whichever type, order, scale and unit that was; and reads nothing
//! but what was named.

use super::instruments::Instruments;
use super::peer::{self, Asked, Peer};
use super::serial::Line;
use serde::Deserialize;
use serde_json::Value;
use std::process::Command;

/// What decode.py serves.
#[derive(Deserialize)]
struct Served {
    /// Where it listens on 127.0.0.1; None: on a serial line.
    port: Option<u16>,
    unit: u8,
    low_kg: f64,
    high_kg: f64,
    values: Vec<Mass>,
}

/// A mass, its place and how it is written there.
#[derive(Deserialize)]
struct Mass {
    address: u16,
    count: u16,
    data: String,
    order: String,
    scale: f64,
    unit: String,
    kg: f64,
}

fn decode(arguments: &[String]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("decode").args(arguments).arg("--json").output();
    let output = output.expect("the program");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(matches!(output.status.code(), Some(0 | 8)), "{arguments:?}: {said}");
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{arguments:?}: {e}: {said}"))
}

fn words(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

impl Mass {
    /// Whether the reading is the way it was written: a single register has no words to swap, and tonnes are thousands
    /// of kilograms.
    fn is(&self, reading: &Value) -> bool {
        let swapped = |order: &str| matches!(order, "BADC" | "DCBA");
        let order = reading["order"].as_str().expect("an order");
        let same_order = order == self.order || self.count == 1 && swapped(order) == swapped(&self.order);
        let kg = |unit: &str| match unit {
            "kg" => 1.0,
            "t" => 1000.0,
            "lb" => 0.453_592_37,
            _ => f64::NAN,
        };
        let factor = kg(reading["unit"].as_str().expect("a unit")) * reading["scale"].as_f64().expect("a scale");
        let same_factor = (factor / (self.scale * kg(&self.unit)) - 1.0).abs() < 1e-12;
        reading["type"] == *self.data.to_lowercase() && reading["address"] == self.address && same_order && same_factor
    }

    fn has_value(&self, reading: &Value) -> bool {
        (reading["values_si"][0].as_f64().expect("a value") / self.kg - 1.0).abs() < 1e-12
    }
}

/// Serves by decode.py, asks for each mass in turn and looks where the way it was written stands among the readings.
fn hold(what: &str, command: Command, place: impl Fn(Option<u16>) -> String) {
    let (peer, served): (Peer, Served) = Peer::start(command);
    let Served { port, unit, low_kg, high_kg, values } = served;
    assert!(values.len() >= 44, "{what}: eleven types in four orders");
    let (mut first, mut worst, mut ties_most) = (0, 0, 0);
    for mass in &values {
        let last = mass.address + mass.count - 1;
        let mut arguments = words(&place(port));
        arguments.extend(words(&format!("{}-{last} --unit {unit} --kind scale_kg --expect", mass.address)));
        arguments.push(format!("{low_kg} kg..{high_kg} kg"));
        let json = decode(&arguments);
        let readings = json["readings"].as_array().expect("readings");
        let written = format!("{} {} {} x {}", mass.data, mass.order, mass.unit, mass.scale);
        let at = readings.iter().position(|reading| mass.is(reading));
        let at = at.unwrap_or_else(|| panic!("{what}: {written} is not among {readings:?}"));
        let ties = usize::try_from(json["ties"].as_u64().expect("a number")).expect("few");
        assert!(at < ties, "{what}: {written} is number {at} of {ties} ties");
        assert!(mass.has_value(&readings[at]), "{what}: {written}: {} against {}", readings[at], mass.kg);
        first += usize::from(mass.has_value(&readings[0]));
        worst = worst.max(at + 1);
        ties_most = ties_most.max(ties);
    }
    let asked: Asked = peer.end();
    asked.functions();
    let named: Vec<_> = values.iter().map(|mass| (unit, 3, mass.address, mass.count)).collect();
    assert_eq!(asked.whole, named, "{what}: the named registers, each once");
    println!(
        "{what}: {} masses, the true value first for {first}, the true reading number {worst} at worst, at most \
         {ties_most} ties",
        values.len()
    );
}

#[test]
fn the_way_pymodbus_wrote_a_mass_is_found_over_tcp() {
    let mut command = peer::python("decode.py");
    command.args(["tcp", "3"]);
    hold("pymodbus over TCP", command, |port| format!("127.0.0.1:{}", port.expect("a port")));
}

#[test]
fn the_way_pymodbus_wrote_a_mass_is_found_on_a_serial_line() {
    let line = Line::lay();
    let mut command = peer::python("decode.py");
    command.args(["serial", "1"]).arg(line.far());
    let near = line.near();
    let place = |_| format!("{} --baud {} --parity none --stop-bits 2", near.port.display(), near.baud);
    hold("pymodbus on a serial line", command, place);
}

/// A load moves: what rises and what falls is found by how it moves, though its range is wide.
#[test]
fn what_moves_while_it_is_watched_is_found() {
    let mut instruments = Instruments::serve(None);
    instruments.say("go");
    let cases = [
        (
            "meter",
            "2-5 --function 4 --unit 7 --kind flow_total_kg",
            "1000 kg..100000 kg",
            "rising",
            "f64 ABCD 2 kg 1.0",
        ),
        ("scale", "40-41 --unit 1 --kind scale_kg", "20000 kg..40000 kg", "falling", "i32 DCBA 40 kg 10.0"),
        ("tank", "0 --unit 3 --kind level_m", "0.5 m..8 m", "rising", "u16 ABCD 0 mm 1.0"),
    ];
    for (device, what, range, moves, truth) in cases {
        let mut arguments = vec![format!("127.0.0.1:{}", instruments.ports[device])];
        arguments.extend(words(what));
        arguments.extend(["--expect", range, "--watch", "4", "--moves", moves].map(str::to_owned));
        let json = decode(&arguments);
        let readings = json["readings"].as_array().expect("readings");
        let said = |r: &Value| {
            let text = |key: &str| r[key].as_str().expect("text").to_owned();
            format!(
                "{} {} {} {} {:?}",
                text("type"),
                text("order"),
                r["address"],
                text("unit"),
                r["scale"].as_f64().expect("a number")
            )
        };
        let at = readings.iter().position(|reading| said(reading) == truth).expect("found");
        let ties = json["ties"].as_u64().expect("a number");
        println!(
            "{device}: {truth} is number {} of {ties} ties, {} more moved wrong or jumped",
            at + 1,
            readings.len() as u64 - ties
        );
        assert!((at as u64) < ties, "{device}: {:?}", readings.iter().map(said).collect::<Vec<_>>());
        let values = |r: &Value| {
            r["values_si"].as_array().expect("values").iter().map(|v| v.as_f64().expect("a number")).collect::<Vec<_>>()
        };
        assert_eq!(values(&readings[0]), values(&readings[at]), "{device}: the true value stands first");
    }
    instruments.end().asked.functions();
}
