//! A drill: simulated bays behind a clock that runs faster than real time, their instruments on the wire.

use crate::bay::{BAY_STEP_S, SimulatedBay, gauge_number};
use crate::instruments::Answer;
use crate::server::{DeviceServer, LinkServer, Registers};
use crate::tanks::Tanks;
use brimwatch::config::{BaySetup, DeliveryFile, Device, SignalKind, Site};
use brimwatch::poll::registers::{DataType, Place, Register};
use std::fmt::Write;
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::{Instant, MissedTickBehavior, interval};

/// Real time between two looks at the clock.
const LOOK: Duration = Duration::from_millis(5);
/// Most scans made up for in one look, so that a machine that slept does not stop all else.
const SCANS_MOST: u32 = 200;

/// Where a signal lies on the wire, and which bay it comes from.
struct Slot {
    registers: Registers,
    place: Place,
    bay: usize,
    kind: SignalKind,
    tank: Option<u16>,
    gauge: usize,
    /// Slots whose device says how it does in the same bits, this one among them.
    says_with: Vec<usize>,
}

/// A device on the wire: its heartbeat, and how it answers by what is wrong in the bays that read it.
struct Line {
    registers: Registers,
    heart: Option<Register>,
    /// Bay, and number of the device in that bay's settings.
    read_by: Vec<(usize, u16)>,
    answers: Answer,
}

/// A drill under way. Dropping it ends it.
pub struct Drill {
    bays: Arc<Mutex<Vec<SimulatedBay>>>,
    links: Vec<LinkServer>,
    /// Name, index of its link and unit.
    devices: Vec<(String, usize, u8)>,
    pace: watch::Sender<f64>,
    clock: JoinHandle<()>,
}

impl Drill {
    /// Starts a server for every link of the site (the addresses written there are not used) and lets the
    /// bays run at `speed` times real time.
    ///
    /// # Errors
    /// When no port of 127.0.0.1 is free, or no pseudo-terminal.
    pub async fn start(site: &Site, deliveries: &[DeliveryFile], speed: f64, seed: u64) -> io::Result<Drill> {
        let delivery_of = |bay| deliveries.iter().find(|d| d.bay == bay).map(|d| &d.setup);
        let bays: Vec<SimulatedBay> = (0u64..)
            .zip(&site.bays)
            .enumerate()
            .map(|(i, (nth, bay))| SimulatedBay::new(&bay.settings, delivery_of(i), seed.wrapping_add(nth)))
            .collect();
        Drill::of(site, deliveries, bays, speed).await
    }

    /// The same with these bays, in the order of the site.
    ///
    /// # Errors
    /// As [`Drill::start`].
    pub async fn of(
        site: &Site,
        deliveries: &[DeliveryFile],
        bays: Vec<SimulatedBay>,
        speed: f64,
    ) -> io::Result<Drill> {
        let links = links(site).await?;
        let devices = site.devices.iter().map(|d| (d.name.clone(), d.link, d.unit)).collect();
        let delivery_of = |bay| deliveries.iter().find(|d| d.bay == bay).map(|d| &d.setup);
        let tanks = Tanks::new(site.bays.iter().enumerate().map(|(i, bay)| (&bay.settings, delivery_of(i))));
        let registers = registers(site, &links);
        let (slots, mut lines) = (slots(site, &registers, &tanks), lines(site, &registers));
        write_all(&slots, &bays, &mut lines, 0);
        let bays = Arc::new(Mutex::new(bays));
        let (pace, paced) = watch::channel(speed);
        let clock = tokio::spawn(run((slots, lines), Arc::clone(&bays), tanks, paced));
        Ok(Drill { bays, links, devices, pace, clock })
    }

    /// Name of every device and the host and port, or the serial port, that leads to it, in the order of the site file.
    #[must_use]
    pub fn addresses(&self) -> Vec<(String, String)> {
        self.devices.iter().map(|(name, link, _)| (name.clone(), self.links[*link].address())).collect()
    }

    /// A device, to be killed, silenced or asked what it was asked.
    pub fn device(&mut self, name: &str) -> Option<DeviceServer<'_>> {
        let (_, link, unit) = self.devices.iter().find(|(n, ..)| n == name)?;
        Some(DeviceServer { link: &mut self.links[*link], unit: *unit })
    }

    /// From now on the bays run at so many times real time; at 0 they stand still.
    pub fn set_speed(&self, speed: f64) {
        // The clock listens for as long as the drill is there.
        let _ = self.pace.send(speed);
    }

    /// Looks at a bay, or lets its attendant go on.
    pub fn with_bay<T>(&self, bay: usize, look: impl FnOnce(&mut SimulatedBay) -> T) -> Option<T> {
        self.bays.lock().unwrap_or_else(PoisonError::into_inner).get_mut(bay).map(look)
    }
}

impl Drop for Drill {
    /// Whoever polls a drill only reads; this is where every test and every demo holds it to that.
    fn drop(&mut self) {
        self.clock.abort();
        for (name, link, unit) in std::mem::take(&mut self.devices) {
            let asked = DeviceServer { link: &mut self.links[link], unit }.requests();
            let only_reads = asked.keys().all(|function| (1..=4).contains(function));
            assert!(only_reads || std::thread::panicking(), "{name} was asked for more than to read: {asked:?}");
        }
    }
}

/// A server for every link of a site; the addresses written there are not used.
///
/// # Errors
/// When no port of 127.0.0.1 is free, or no pseudo-terminal.
pub async fn links(site: &Site) -> io::Result<Vec<LinkServer>> {
    let mut links = Vec::new();
    for (at, link) in site.links.iter().enumerate() {
        let units = site.devices.iter().filter(|device| device.link == at).map(|device| device.unit);
        links.push(LinkServer::start(&link.way, units).await?);
    }
    Ok(links)
}

/// That, in words.
pub fn no_port(error: io::Error) -> String {
    format!("no port of 127.0.0.1 is free for a simulated device: {error}")
}

/// Name of every device of a site and where these servers serve it.
#[must_use]
pub fn addresses(site: &Site, links: &[LinkServer]) -> Vec<(String, String)> {
    site.devices.iter().map(|device| (device.name.clone(), links[device.link].address())).collect()
}

/// What each device of the site holds.
#[must_use]
pub fn registers(site: &Site, links: &[LinkServer]) -> Vec<Registers> {
    site.devices.iter().map(|device| links[device.link].registers(device.unit).unwrap_or_default()).collect()
}

fn slots(site: &Site, devices: &[Registers], tanks: &Tanks) -> Vec<Slot> {
    let (mut slots, mut devices_of) = (Vec::new(), Vec::new());
    for (own, setup) in site.bays.iter().enumerate() {
        for (at, (signal, place)) in setup.settings.signals.iter().zip(&setup.places).enumerate() {
            let device = setup.devices[usize::from(signal.device)];
            let registers = devices[device].clone();
            let gauged = signal.tank.map(|t| tanks.gauge(own, t, &setup.settings.tanks[usize::from(t)].name));
            let (bay, tank) = gauged.map_or((own, None), |(bay, tank)| (bay, Some(tank)));
            let gauge = gauge_number(&setup.settings, at);
            devices_of.push(device);
            let says_with = Vec::new();
            slots.push(Slot { registers, place: *place, bay, kind: signal.kind, tank, gauge, says_with });
        }
    }
    for at in 0..slots.len() {
        let same = |other: &usize| {
            slots[at].place.status.is_some()
                && (devices_of[at], slots[at].place.status) == (devices_of[*other], slots[*other].place.status)
        };
        slots[at].says_with = (0..slots.len()).filter(same).collect();
    }
    slots
}

fn lines(site: &Site, devices: &[Registers]) -> Vec<Line> {
    let read_by = |at: usize| {
        let own = |(bay, setup): (usize, &BaySetup)| {
            let device = (0u16..).zip(&setup.devices).find(|(_, d)| **d == at)?.0;
            Some((bay, device))
        };
        site.bays.iter().enumerate().filter_map(own).collect()
    };
    let line = |(at, (device, registers)): (usize, (&Device, &Registers))| Line {
        registers: registers.clone(),
        heart: device.heartbeat.map(|(register, _)| register),
        read_by: read_by(at),
        answers: Answer::Fresh,
    };
    site.devices.iter().zip(devices).enumerate().map(line).collect()
}

fn write_all(slots: &[Slot], bays: &[SimulatedBay], lines: &mut [Line], scans: u64) {
    // First, so that bits of the same register that mean something else are put over it.
    for line in lines {
        let answers = line.read_by.iter().map(|&(bay, device)| bays[bay].answer(device)).max().unwrap_or_default();
        // Only a change: whoever has silenced a device by hand is not overruled.
        if answers != line.answers {
            line.registers.set_answer(answers);
            line.answers = answers;
        }
        if let Some(heart) = line.heart.filter(|_| answers != Answer::Replayed) {
            let numbers = if heart.data == DataType::Bool { 2 } else { 0x1_0000 };
            line.registers.write(&heart.into(), (scans % numbers) as f64);
        }
    }
    for slot in slots {
        slot.registers.show(&slot.place, bays[slot.bay].shows_gauge(slot.kind, slot.tank, slot.gauge));
        if let Some(status) = &slot.place.status {
            let with = slot.says_with.iter().map(|&at| &slots[at]);
            let says = with.map(|with| bays[with.bay].says(with.kind, with.tank, with.gauge)).max();
            slot.registers.say(status, says.unwrap_or_default());
        }
    }
}

async fn run(
    (slots, mut lines): (Vec<Slot>, Vec<Line>),
    bays: Arc<Mutex<Vec<SimulatedBay>>>,
    tanks: Tanks,
    pace: watch::Receiver<f64>,
) {
    let (mut looked, mut due_s) = (Instant::now(), 0.0);
    let mut look = interval(LOOK);
    look.set_missed_tick_behavior(MissedTickBehavior::Skip);
    let (mut done_s, mut scans_in_all) = (0.0, 0_u64);
    loop {
        look.tick().await;
        let now = Instant::now();
        due_s += now.duration_since(looked).as_secs_f64() * *pace.borrow();
        looked = now;
        let mut bays = bays.lock().unwrap_or_else(PoisonError::into_inner);
        let mut scans = 0;
        while done_s + BAY_STEP_S <= due_s && scans < SCANS_MOST {
            bays.iter_mut().for_each(SimulatedBay::scan);
            tanks.settle(&mut bays);
            done_s += BAY_STEP_S;
            scans += 1;
        }
        if scans > 0 {
            scans_in_all += u64::from(scans);
            write_all(&slots, &bays, &mut lines, scans_in_all);
        }
    }
}

/// Beyond this a poll of 1 s engine time has less than 10 ms of real time: the machine, not the plant, is tried.
const SPEED_MOST: f64 = 100.0;

/// A speed that drills can be held at, times real time.
///
/// # Errors
/// When it is outside what is possible.
pub fn speed(speed: f64) -> Result<f64, String> {
    let possible = (1.0..=SPEED_MOST).contains(&speed);
    possible.then_some(speed).ok_or_else(|| format!("{speed} times real time is outside 1 to {SPEED_MOST}"))
}

/// The text of a site file with the address of each device or of its link replaced, and the given keys of its `[site]`
/// table. Comments and everything else stay as they are, but for the bits of a serial port: a pseudo-terminal has no
/// parity, and then there are two stop bits (Modbus over Serial Line V1.02, 2.5.1).
#[must_use]
pub fn readdress(site_text: &str, addresses: &[(String, String)], site_keys: &[(&str, String)]) -> String {
    let of_links = addresses_of_links(site_text, addresses);
    let (mut devices, mut links) = (addresses.iter().map(|(_, address)| address), of_links.iter());
    let (mut table, mut address) = (String::new(), None);
    let mut out = String::with_capacity(site_text.len());
    for line in site_text.lines() {
        let trimmed = line.trim_start();
        if trimmed.starts_with('[') {
            table = trimmed.split('#').next().unwrap_or_default().trim().to_owned();
            address = match table.as_str() {
                "[[device]]" => devices.next(),
                "[[link]]" => links.next(),
                _ => None,
            };
        }
        let key = trimmed.split_once('=').map_or("", |(key, _)| key.trim());
        let is_link = table == "[[link]]";
        // A Rust string literal of plain text is a TOML basic string.
        let _ = match (key, address) {
            ("address", Some(address)) => writeln!(out, "address = {address:?}"),
            ("serial_port", Some(address)) => {
                writeln!(out, "serial_port = {address:?}\nparity = \"none\"\nstop_bits = 2")
            }
            ("parity" | "stop_bits", Some(_)) if is_link => Ok(()),
            (key, _) => match site_keys.iter().find(|(k, _)| table == "[site]" && *k == key) {
                Some((_, value)) => writeln!(out, "{key} = {value:?}"),
                None => writeln!(out, "{line}"),
            },
        };
    }
    out
}

/// The address of each `[[link]]`: that of the first device that names it.
fn addresses_of_links(site_text: &str, addresses: &[(String, String)]) -> Vec<String> {
    let Ok(site) = site_text.parse::<toml::Table>() else { return Vec::new() };
    let tables = |name| site.get(name).and_then(toml::Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let behind = |link: &toml::Value| {
        let name = link.get("name")?;
        let device = tables("device").iter().position(|device| device.get("link") == Some(name))?;
        addresses.get(device).map(|(_, address)| address.clone())
    };
    tables("link").iter().map(|link| behind(link).unwrap_or_default()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bay::Stage;
    use crate::instruments::{Instrument, InstrumentFault, Wrong};
    use crate::scenario;
    use brimwatch::poll::registers::Status;
    use std::path::Path;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::TcpStream;

    /// Asks for a register by a raw request; the first nine bytes of the reply, then whatever comes.
    async fn ask(address: &str, unit: u8, register: &Register) -> ([u8; 9], TcpStream) {
        let mut stream = TcpStream::connect(address).await.expect("connection");
        let [high, low] = register.address.to_be_bytes();
        let count = u8::try_from(register.count()).expect("few");
        stream.write_all(&[0, 1, 0, 0, 0, 6, unit, register.function, high, low, 0, count]).await.expect("sent");
        let mut head = [0u8; 9];
        stream.read_exact(&mut head).await.expect("reply");
        (head, stream)
    }

    /// Reads a register and lets brimwatch's own decoder say what it means.
    async fn read(address: &str, unit: u8, register: &Register) -> String {
        let (head, mut stream) = ask(address, unit, register).await;
        assert_eq!(head[7], register.function, "exception {}", head[8]);
        let mut data = vec![0u8; usize::from(head[8])];
        stream.read_exact(&mut data).await.expect("data");
        let words: Vec<u16> = match register.function {
            1 | 2 => vec![u16::from(data[0] & 1)],
            _ => data.chunks(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect(),
        };
        format!("{:?}", register.decode(&words))
    }

    /// Every signal of the site is on the wire, in its place, with its value; the clock runs at its speed.
    #[tokio::test]
    async fn the_site_file_says_what_is_served() {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let drill = Drill::start(&site, &[delivery], 40.0, 9).await.expect("ports");
        let bay = &site.bays[0];
        for (signal, place) in bay.settings.signals.iter().zip(&bay.places) {
            let device = bay.devices[usize::from(signal.device)];
            let address = &drill.addresses()[device].1;
            let read = read(address, site.devices[device].unit, &place.register).await;
            let shows = drill.with_bay(0, |b| b.shows(signal.kind, signal.tank)).expect("bay");
            let value: f64 = match read.trim_start_matches("Number(").trim_end_matches(')') {
                "Flag(false" => 0.0,
                number => number.parse().unwrap_or_else(|_| panic!("{}: {read}", signal.name)),
            };
            // The plant goes on between the reading and the look, and the pad pressure rises fast.
            let near = 0.05 * shows.abs() + 2.0 * place.register.factor.abs() + 20.0 * signal.noise + signal.division;
            assert!((value - shows).abs() <= near, "{}: read {value}, shown {shows}", signal.name);
        }
        let began = (Instant::now(), drill.with_bay(0, |b| b.plant().time_s()).expect("bay"));
        tokio::time::sleep(Duration::from_millis(500)).await;
        let passed_s = drill.with_bay(0, |b| b.plant().time_s()).expect("bay") - began.1;
        let expected_s = began.0.elapsed().as_secs_f64() * 40.0;
        assert!((passed_s - expected_s).abs() < 0.2 * expected_s, "{passed_s} s passed, {expected_s} s expected");
        assert_eq!(drill.with_bay(0, |b| b.stage()), Some(Stage::Pressurising));
    }

    /// A site one device of which has a heartbeat register.
    fn with_heartbeat() -> Site {
        let keys = "heartbeat_function = 3\nheartbeat_address = 90\nheartbeat_within = \"5 s\"\n\n[[tank]]";
        let product = |_: &str| Ok(include_str!("../../config/products/caustic-soda-50.toml").to_owned());
        let text = scenario::SITE.replacen("\n[[tank]]", keys, 1);
        Site::from_text(Path::new("site.toml"), text, &product).unwrap_or_else(|faults| panic!("{faults}"))
    }

    /// A device that has a heartbeat register counts in it for as long as its bay lives.
    #[tokio::test]
    async fn a_heartbeat_goes_on() {
        let site = with_heartbeat();
        let (at, device) = site.devices.iter().enumerate().find(|(_, d)| d.heartbeat.is_some()).expect("declared");
        let (register, _) = device.heartbeat.expect("declared");
        let drill = Drill::start(&site, &[], 40.0, 9).await.expect("ports");
        let address = &drill.addresses()[at].1;
        let first = read(address, device.unit, &register).await;
        let changed = async {
            while read(address, device.unit, &register).await == first {
                tokio::time::sleep(LOOK).await;
            }
        };
        tokio::time::timeout(Duration::from_secs(30), changed).await.expect("it changes");
    }

    /// On the wire as in process: a gateway's replay repeats value and heartbeat alike, a failing device answers with
    /// exception 4 (Modbus Application Protocol V1.1b3, 7), a silent one not at all; then it is back.
    #[tokio::test]
    async fn a_device_answers_as_its_faults_say() {
        let site = with_heartbeat();
        let (at, device) = site.devices.iter().enumerate().find(|(_, d)| d.heartbeat.is_some()).expect("declared");
        let heart = device.heartbeat.expect("declared").0;
        let bay = &site.bays[0];
        let level = bay.settings.signals.iter().position(|s| s.kind == SignalKind::Level).expect("declared");
        assert_eq!(bay.devices[usize::from(bay.settings.signals[level].device)], at, "one device has both");
        let (drill, place) = (Drill::start(&site, &[], 40.0, 9).await.expect("ports"), bay.places[level].register);
        let address = &drill.addresses()[at].1;
        // The clock writes the wire before it lets go of the bays: a later time seen is a wire written.
        let goes_on = async || {
            let now_s = || drill.with_bay(0, |bay| bay.plant().time_s()).expect("bay");
            let begun_s = now_s();
            while now_s() < begun_s + 20.0 {
                tokio::time::sleep(LOOK).await;
            }
        };
        for wrong in [Wrong::Replayed, Wrong::Exception, Wrong::Silent] {
            let break_it =
                |bay: &mut SimulatedBay| bay.add_fault(InstrumentFault::new(wrong, Instrument::Level, 0.0, 0.0));
            drill.with_bay(0, break_it).expect("bay");
            goes_on().await;
            if wrong == Wrong::Replayed {
                let both =
                    async || [read(address, device.unit, &heart).await, read(address, device.unit, &place).await];
                let seen = both().await;
                goes_on().await;
                assert_eq!(both().await, seen);
            } else {
                let asked = tokio::time::timeout(Duration::from_secs(2), ask(address, device.unit, &heart)).await;
                let exception = Some([0x80 | heart.function, 4]).filter(|_| wrong == Wrong::Exception);
                assert_eq!(asked.ok().map(|(head, _)| [head[7], head[8]]), exception, "{wrong}");
            }
            drill.with_bay(0, SimulatedBay::mend).expect("bay");
            goes_on().await;
        }
        let back = read(address, device.unit, &place).await;
        goes_on().await;
        assert_ne!(read(address, device.unit, &place).await, back);
    }

    /// What a device says of itself stands in its status register, for all signals that share it, and goes when it is mended.
    /// Expected: the bits that the drill's site file names for the classes of NAMUR NE 107.
    #[tokio::test]
    async fn a_device_says_of_itself_what_its_faults_say() {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let drill = Drill::start(&site, &[delivery], 40.0, 9).await.expect("ports");
        let bay = &site.bays[0];
        let said = async |kind: SignalKind| {
            let at = bay.settings.signals.iter().position(|signal| signal.kind == kind).expect("declared");
            let device = bay.devices[usize::from(bay.settings.signals[at].device)];
            let status = bay.places[at].status.expect("it has one").register();
            read(&drill.addresses()[device].1, site.devices[device].unit, &status).await
        };
        let fault = |on, says| InstrumentFault::new(Wrong::Says(says), on, 0.0, 0.0);
        let goes_on = async || {
            let now_s = || drill.with_bay(0, |bay| bay.plant().time_s()).expect("bay");
            let until_s = now_s() + 20.0;
            while now_s() < until_s {
                tokio::time::sleep(LOOK).await;
            }
        };
        let classes = [
            (Status::Failure, 1.0),
            (Status::FunctionCheck, 2.0),
            (Status::OutOfSpecification, 4.0),
            (Status::MaintenanceRequired, 8.0),
        ];
        for (says, bits) in classes {
            drill.with_bay(0, |bay| bay.add_fault(fault(Instrument::Meter, says))).expect("bay");
            goes_on().await;
            assert_eq!(said(SignalKind::FlowMassRate).await, format!("Number({bits:?})"));
            assert_eq!(said(SignalKind::FlowMassTotal).await, format!("Number({bits:?})"));
            assert_eq!(said(SignalKind::Level).await, "Number(0.0)", "another device says nothing");
            drill.with_bay(0, SimulatedBay::mend).expect("bay");
        }
        goes_on().await;
        assert_eq!(said(SignalKind::FlowMassTotal).await, "Number(0.0)");
    }

    #[test]
    fn only_addresses_and_the_named_keys_change() {
        let text = "[site] # the works\nname = \"Works\"\nlisten = \"127.0.0.1:1\"\n\n[[device]]\nname = \"a\"\n\
                    address = \"10.0.0.1:502\" # meter\n[[device]]\naddress = \"10.0.0.2:502\"\n[[bay.signal]]\naddress = 7\n";
        let at = |port| format!("127.0.0.1:{port}");
        let addresses = [("a".to_owned(), at(4001)), ("b".to_owned(), at(4002))];
        let expected = "[site] # the works\nname = \"Works\"\nlisten = \"127.0.0.1:0\"\n\n[[device]]\nname = \"a\"\n\
                        address = \"127.0.0.1:4001\"\n[[device]]\naddress = \"127.0.0.1:4002\"\n[[bay.signal]]\naddress = 7\n";
        assert_eq!(readdress(text, &addresses, &[("listen", "127.0.0.1:0".to_owned())]), expected);
    }

    /// Two devices behind a gateway that passes bytes on, one on a serial line.
    #[test]
    fn links_are_readdressed_once() {
        let text = "[[link]]\nname = \"yard\"\nserial_port = \"/dev/ttyS0\"\nbaud = 9600\nparity = \"odd\"\n[[link]]\n\
                    name = \"gate\" # way\naddress = \"10.0.0.1:502\"\nframing = \"rtu\"\n[[device]]\nname = \"a\"\nlink = \"gate\"\n\
                    [[device]]\nname = \"b\"\nlink = \"gate\"\n[[device]]\nname = \"c\"\nlink = \"yard\"\nparity = 3\n";
        let at = |name: &str, address: &str| (name.to_owned(), address.to_owned());
        let addresses = [at("a", "127.0.0.1:7"), at("b", "127.0.0.1:7"), at("c", "/dev/pts/5")];
        let written = readdress(text, &addresses, &[]);
        let expected = text
            .replace("\"/dev/ttyS0\"", "\"/dev/pts/5\"\nparity = \"none\"\nstop_bits = 2")
            .replace("parity = \"odd\"\n", "")
            .replace("10.0.0.1:502", "127.0.0.1:7");
        assert_eq!(written, expected);
    }
}
