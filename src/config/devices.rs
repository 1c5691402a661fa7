//! Links and devices: what is asked, by which way, and how it lets itself be asked.

use super::fault::{Draft, Spot};
use super::register::wire_address;
use super::site::{find, unlike};
use super::walk::Table;
use super::{Device, Link};
use crate::finding::Thing;
use crate::poll::blocks::{Forbidden, Manners, REGISTERS_MAX};
use crate::poll::registers::{DataType, Register, WordOrder};
use crate::poll::way::{Parity, Serial, Way};
use std::net::{Ipv4Addr, Ipv6Addr};
use std::path::PathBuf;

/// What [`link`] reads where a file says nothing, for a device that names its own address.
const CONNECT_TIME_OUT_S: f64 = 1.0;
/// See above.
const PAUSE_S: f64 = 0.0;

/// Everything that is polled, and the ways to it.
pub(super) struct Polled {
    pub links: Vec<Link>,
    pub devices: Vec<Device>,
    /// For each device, the number its papers give to the first register.
    pub address_bases: Vec<i64>,
}

/// Links as declared, then one for each address that devices name themselves.
pub(super) fn polled(draft: &mut Draft, root: &Table) -> Polled {
    let (declared, tables) = (root.tables("link"), root.tables("device"));
    unlike(draft, declared, "name", str::to_owned);
    unlike(draft, tables, "name", str::to_owned);
    let mut links: Vec<Link> = declared.iter().map(|table| link(draft, table)).collect();
    one_link_a_way(draft, declared, &links);
    let mut devices: Vec<Device> = Vec::new();
    let mut all_found = true;
    for table in tables {
        let link = link_of(draft, table, declared.len(), &mut links);
        all_found &= link.is_some();
        let device = device(draft, table, link.map(|at| (at, &links[at])));
        one_device_a_unit(draft, table, &device, link.is_some(), &devices);
        devices.push(device);
    }
    for (i, table) in declared.iter().enumerate() {
        if all_found && devices.iter().all(|device| device.link != i) {
            draft
                .fault(table.at(), table.path(""), format!("no device is reached by {:?}", links[i].name))
                .act("name it in the devices that are (link = ...), or take the table out");
        }
    }
    Polled { links, devices, address_bases: tables.iter().map(|table| table.integer("address_base")).collect() }
}

fn link(draft: &mut Draft, table: &Table) -> Link {
    let (by_address, by_port) = (table.is_written("address"), table.is_written("serial_port"));
    if by_address == by_port {
        draft
            .fault(table.at(), table.path(""), "needs the way it leads, once")
            .allowed("address, or serial_port")
            .act("write address = \"127.0.0.1:502\" for a gateway, or serial_port = \"/dev/ttyS0\"");
    }
    let way = if by_address {
        let address = endpoint(draft, table);
        if table.text("framing") == "rtu" { Way::RtuOverTcp { address } } else { Way::Tcp { address } }
    } else {
        Way::Serial(serial(draft, table))
    };
    for key in ["baud", "parity", "stop_bits"].into_iter().filter(|key| by_address && !by_port && table.is_written(key))
    {
        draft
            .fault(table.spot(key), table.path(key), "belongs to a serial port, and this link has an address")
            .act("take the line out: the serial side of a gateway is set at the gateway");
    }
    Link {
        name: table.text("name").to_owned(),
        way,
        connect_time_out_s: table.number("connect_time_out"),
        pause_s: table.number("pause"),
    }
}

fn serial(draft: &mut Draft, table: &Table) -> Serial {
    let port = table.text("serial_port");
    if !port.is_empty() && !port.starts_with('/') {
        draft
            .fault(table.spot("serial_port"), table.path("serial_port"), format!("{port:?} is no whole path"))
            .allowed("a path from the root, beginning with /")
            .act(
                "write it like this: serial_port = \"/dev/ttyS0\"; names below /dev/serial/by-id stay when plugs move",
            );
    }
    if table.text("framing") == "tcp" && table.is_written("serial_port") {
        draft
            .fault(table.spot("framing"), table.path("framing"), "is tcp on a serial port")
            .allowed("rtu")
            .act("take the line out: on a serial port frames are always rtu");
    }
    if table.is_written("serial_port") && !table.is_written("baud") {
        draft
            .fault(table.at(), table.path("baud"), "is missing: a serial port needs its speed")
            .allowed("300 to 921600 bits per second")
            .act("write what all devices of the line are set to, for example: baud = 19200");
    }
    Serial {
        port: PathBuf::from(port),
        baud: u32::try_from(table.integer("baud")).unwrap_or_default(),
        parity: match table.text("parity") {
            "odd" => Parity::Odd,
            "none" => Parity::None,
            _ => Parity::Even,
        },
        stop_bits: narrow(table.integer("stop_bits")),
    }
}

/// The address in a common form, so that one spelt in two ways is one; empty after a fault.
fn endpoint(draft: &mut Draft, table: &Table) -> String {
    let written = table.text("address");
    let found = common(written);
    if found.is_none() && !written.is_empty() {
        let bare = written.matches(':').count() > 1 && !written.contains('[');
        let act = if bare {
            "write an IPv6 address in brackets: \"[::1]:502\""
        } else {
            "write it like this: address = \"127.0.0.1:502\""
        };
        draft
            .fault(table.spot("address"), table.path("address"), format!("{written:?} is no host and port"))
            .allowed("a host, a colon and a port, 1 to 65535")
            .act(act);
    }
    found.unwrap_or_default()
}

/// Host and port in a common form; capitals, leading zeros and ways to write an IPv6 address make no difference.
pub(super) fn common(address: &str) -> Option<String> {
    let (host, port) = address.rsplit_once(':')?;
    let port: u16 = port.bytes().all(|b| b.is_ascii_digit()).then(|| port.parse().ok()).flatten()?;
    let host = match host.strip_prefix('[') {
        Some(rest) => format!("[{}]", rest.strip_suffix(']')?.parse::<Ipv6Addr>().ok()?),
        None if host.bytes().all(|b| b.is_ascii_digit() || b == b'.') => host.parse::<Ipv4Addr>().ok()?.to_string(),
        None => host.split('.').all(is_label).then(|| host.to_ascii_lowercase())?,
    };
    (port > 0 && host.len() <= 253).then(|| format!("{host}:{port}"))
}

/// One part of a host's name: RFC 1123, 2.1, and the underscore that local names have all the same.
fn is_label(label: &str) -> bool {
    let known = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    (1..=63).contains(&label.len()) && label.bytes().all(known) && !label.starts_with('-') && !label.ends_with('-')
}

/// Where a link leads, in words; empty where that was not understood.
fn leads(way: &Way) -> String {
    match way {
        Way::Tcp { address } | Way::RtuOverTcp { address } => address.clone(),
        Way::Serial(serial) => serial.port.display().to_string(),
    }
}

/// Two links of one way would ask at the same time: many gateways then mix up answers, and a serial line always does.
fn one_link_a_way(draft: &mut Draft, tables: &[Table], links: &[Link]) {
    for (i, (table, link)) in tables.iter().zip(links).enumerate() {
        let way = leads(&link.way);
        if let Some(other) = links[..i].iter().find(|other| !way.is_empty() && leads(&other.way) == way) {
            let key = if table.is_written("address") { "address" } else { "serial_port" };
            draft
                .fault(table.spot(key), table.path(key), format!("{way:?} is the way of link {:?} too", other.name))
                .act("make them one link: the devices of one link are asked in turn");
        }
    }
}

/// Index of a device's link; one is made for an address that no device named before.
fn link_of(draft: &mut Draft, table: &Table, declared: usize, links: &mut Vec<Link>) -> Option<usize> {
    if table.is_written("address") == table.is_written("link") {
        draft
            .fault(table.at(), table.path(""), "needs the way it is reached by, once")
            .allowed("address, or link")
            .act("write address = \"127.0.0.1:502\" for Modbus TCP, or link = the name of a [[link]]");
        return None;
    }
    if table.is_written("link") {
        let spot = (table.spot("link"), table.path("link"));
        let names = links[..declared].iter().map(|link| link.name.as_str());
        if declared == 0 && table.has("link") {
            draft
                .fault(spot.0, spot.1, "names a link, but no [[link]] is declared")
                .act("add a table [[link]] with that name, or write the device's address in place of link");
            return None;
        }
        return find(draft, spot, table.text("link"), Thing::Link, names);
    }
    let address = endpoint(draft, table);
    if address.is_empty() {
        return None;
    }
    if let Some(link) = links[..declared].iter().find(|link| leads(&link.way) == address || link.name == address) {
        draft
            .fault(table.spot("address"), table.path("address"), format!("{address:?} is link {:?}", link.name))
            .act(format!("write link = {:?} in its place, so that its devices are asked in turn", link.name));
        return None;
    }
    let known = links[declared..].iter().position(|link| link.name == address);
    Some(known.map_or(links.len(), |at| declared + at)).inspect(|&at| {
        if at == links.len() {
            let way = Way::Tcp { address: address.clone() };
            links.push(Link { name: address, way, connect_time_out_s: CONNECT_TIME_OUT_S, pause_s: PAUSE_S });
        }
    })
}

fn device(draft: &mut Draft, table: &Table, link: Option<(usize, &Link)>) -> Device {
    let (period_s, time_out_s) = (table.number("period"), table.number("time_out"));
    if time_out_s >= period_s {
        draft
            .fault(table.spot("time_out"), table.path("time_out"), "is not shorter than the period")
            .allowed(format!("less than {period_s} s"))
            .act("shorten time_out or lengthen period: the next request would wait for the last reply");
    }
    let answer_time_s = table.number("answer_time");
    if answer_time_s >= time_out_s {
        draft
            .warn(
                table.spot("answer_time"),
                table.path("answer_time"),
                "is not shorter than time_out: every answer is missed",
            )
            .allowed(format!("less than {time_out_s} s"))
            .act("correct answer_time or its unit, or lengthen time_out");
    }
    let (unit, base) = (narrow(table.integer("unit")), table.integer("address_base"));
    let on_rtu = link.is_some_and(|(_, link)| !matches!(link.way, Way::Tcp { .. }));
    if on_rtu && table.has("unit") && !(1..=247).contains(&unit) {
        draft
            .fault(table.spot("unit"), table.path("unit"), format!("{unit} is no address of a device on rtu"))
            .allowed("1 to 247; 0 is the broadcast, which nobody answers, and 248 to 255 are reserved")
            .act("read the device's own address off its settings (Modbus over Serial Line V1.02, 2.2)");
    }
    Device {
        name: table.text("name").to_owned(),
        link: link.map_or(usize::MAX, |(at, _)| at),
        link_name: link.map(|(_, link)| link.name.clone()).unwrap_or_default(),
        unit,
        address_base: u16::try_from(base).unwrap_or_default(),
        period_s,
        time_out_s,
        answer_time_s,
        manners: manners(draft, table, base),
        heartbeat: heartbeat(draft, table, base, period_s),
    }
}

/// Two devices of one unit would be polled as if they failed apart, and each would hide the other's requests.
fn one_device_a_unit(draft: &mut Draft, table: &Table, device: &Device, found: bool, before: &[Device]) {
    let same = |other: &&Device| other.link == device.link && other.unit == device.unit;
    if let Some(other) = before.iter().find(same).filter(|_| found && table.has("unit")) {
        let what = format!("unit {} of {} is device {:?} already", device.unit, device.link_name, other.name);
        draft
            .fault(table.spot("unit"), table.path("unit"), what)
            .allowed("one device for each unit of a link")
            .act("correct unit, or make both one device: signals of any bay can name it");
    }
}

fn manners(draft: &mut Draft, table: &Table, base: i64) -> Manners {
    let not_read =
        table.texts("not_read").iter().filter_map(|(text, spot)| forbidden(draft, table, (text, spot), base));
    Manners {
        not_read: not_read.collect(),
        gap: u16::try_from(table.integer("gap")).unwrap_or_default(),
        registers_most: table.optional_integer("registers_most").map_or(REGISTERS_MAX, |n| u16::from(narrow(n))),
    }
}

/// "3:104-107" or "4:9", in the numbers of the device's papers.
fn forbidden(draft: &mut Draft, table: &Table, (text, spot): (&str, &Spot), base: i64) -> Option<Forbidden> {
    let read = || {
        let (function, range) = text.split_once(':')?;
        let (first, last) = range.split_once('-').unwrap_or((range, range));
        let number = |digits: &str| {
            let digits = digits.trim();
            digits.bytes().all(|b| b.is_ascii_digit()).then(|| digits.parse::<i64>().ok()).flatten()
        };
        let address = |digits: &str| u16::try_from(number(digits)? - base).ok();
        let function = u8::try_from(number(function)?).ok()?;
        let range = Forbidden { function, from: address(first)?, to: address(last)? };
        ((1..=4).contains(&function) && range.from <= range.to).then_some(range)
    };
    let range = read();
    if range.is_none() {
        draft
            .fault(spot, table.path("not_read"), format!("{text:?} is no range of registers"))
            .allowed(format!("function (1 to 4), a colon, first-last or one address, each {base} to {}", 65_535 + base))
            .act("write it like this: not_read = [\"3:104-107\", \"4:9\"]");
    }
    range
}

/// The register that changes while the device is alive, and within how many seconds.
fn heartbeat(draft: &mut Draft, table: &Table, base: i64, period_s: f64) -> Option<(Register, f64)> {
    let keys = ["heartbeat_function", "heartbeat_address", "heartbeat_within"];
    if !keys.iter().any(|key| table.is_written(key)) {
        return None;
    }
    if let Some(key) = keys.iter().find(|key| !table.is_written(key)) {
        draft.fault(table.at(), table.path(key), "is missing: a heartbeat needs function, address and within").act(
            "write all three, for example: heartbeat_function = 3, heartbeat_address = 90, heartbeat_within = \"5 s\"",
        );
    }
    let within_s = table.number("heartbeat_within");
    if within_s < 2.0 * period_s {
        draft
            .fault(table.spot("heartbeat_within"), table.path("heartbeat_within"), "is less than two periods")
            .allowed(format!("at least {} s", 2.0 * period_s))
            .act("lengthen it: between two looks a sound device must have had time to change it");
    }
    let function = narrow(table.integer("heartbeat_function"));
    let data = if matches!(function, 1 | 2) { DataType::Bool } else { DataType::U16 };
    let address = wire_address(draft, table, "heartbeat_address", 1, base);
    Some((Register::plain(function, address, data, WordOrder::Abcd), within_s))
}

fn narrow(integer: i64) -> u8 {
    u8::try_from(integer).unwrap_or_default()
}
