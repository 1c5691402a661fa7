//! From the walked site file to the engine's settings, with the checks that need more than one key.

use super::claims::{self, Claim};
use super::devices::{Polled, polled};
use super::fault::{Draft, Spot, nearest};
use super::shape::{Head, Vessel};
use super::thresholds::{Budgets, thresholds};
use super::walk::{Table, walk};
use super::{BaySetup, Device, Door, Neighbouring, ProductTable, Site, Usual, keys, sense, signals, tables};
use crate::engine::alarm::catalogue;
use crate::engine::blow::{BlowSetup, VentSetup};
use crate::engine::papers::{Contacts, TankExpected};
use crate::engine::settings::{
    DeadBand, DeviceSetup, DrawOff, Drive, GasSetup, Limits, LineSetup, LineStart, NeighbourSetup, PadTap,
    RestsOnScale, Settings, Shell, SignalKind, SignalSetup, TankGeometry, TankSetup, Thresholds,
};
use crate::finding::{OfForm, Thing};
use crate::poll::registers::Place;
use crate::units::{Celsius, GaugePa, Kg, KgPerS, M3, Measures, Metre};
use std::io;
use std::net::{Ipv6Addr, SocketAddr};
use std::path::Path;

/// Reads a file that the site file names, by the name as written.
pub(super) type Read<'r> = &'r dyn Fn(&str) -> io::Result<String>;

/// Molar gas constant, J/(mol K) (SI: exact to the digits given; CODATA 2018), over molar mass, kg/mol.
const NITROGEN_J_PER_KG_K: f64 = 8.314_462_618 / 0.028_013_4;
/// Dry air: molar mass 28.9647 g/mol (U.S. Standard Atmosphere 1976: 28.9644; CIPM-2007: 28.965 46 at 400 ppm CO2).
const DRY_AIR_J_PER_KG_K: f64 = 8.314_462_618 / 0.028_964_7;

/// What bays refer to by name.
struct Works {
    devices: Vec<Device>,
    address_bases: Vec<i64>,
    /// Each tank with the index of its product.
    tanks: Vec<(TankSetup, usize)>,
    /// For each of them, what its vent passes, and its own limit.
    vents: Vec<VentSetup>,
    thresholds: Thresholds,
    contacts: Contacts,
    /// For each tank, what it expects.
    expected: Vec<TankExpected>,
}

/// A site out of a text. `None` where a fault was noted.
pub(super) fn site(draft: &mut Draft, path: &Path, text: String, read: Read<'_>) -> Option<Site> {
    let file = draft.open(path.display().to_string(), text.clone());
    let root = walk(draft, file, keys::SITE);
    if draft.has_syntax_fault() {
        return None; // half a tree would bring faults that nobody made
    }
    let written = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let mut beside = tables::Beside { folder: path.parent(), read, texts: vec![(written, text)] };
    let Polled { links, devices, address_bases } = polled(draft, &root);
    let mut products = Vec::new();
    let tanks: Vec<(TankSetup, usize)> =
        root.tables("tank").iter().map(|t| tank(draft, t, &mut beside, &mut products)).collect();
    let of_tanks = root.tables("tank").iter().zip(&tanks);
    let expected = of_tanks
        .map(|(t, (_, product))| super::expected::of_tank(draft, t, products.get(*product).map(|(_, p)| p)))
        .collect();
    unlike(draft, root.tables("tank"), "name", str::to_owned);
    let vents = root.tables("tank").iter().map(vent).collect();
    let contacts = super::expected::contacts(root.table("contacts"));
    let thresholds = thresholds(&budgets(root.table("alarms")));
    let works = Works { devices, address_bases, tanks, vents, thresholds, contacts, expected };
    unlike(draft, root.tables("bay"), "name", super::slug);
    let mut claims = claims::heartbeats(draft, root.tables("device"), &works.devices);
    let numbered = root.tables("bay").iter().enumerate();
    let mut bays: Vec<BaySetup> = numbered.map(|(i, t)| bay(draft, (i, t), &works, &mut claims)).collect();
    introduce(&mut bays);
    super::steps::give(draft, root.tables("bay"), &mut bays, &mut beside);
    let table = root.table("site");
    let door = door(draft, table, path.parent().unwrap_or(Path::new("")));
    let listen = listen(draft, table, &door);
    let products: Vec<ProductTable> = products.into_iter().map(|(_, product)| product).collect();
    if draft.is_clean() {
        let (devices, tanks) = (&works.devices, &works.tanks);
        sense::look(draft, &sense::Whole { root: &root, devices, tanks, products: &products, bays: &bays });
    }
    draft.is_clean().then(|| Site {
        name: table.text("name").to_owned(),
        path: path.to_owned(),
        texts: beside.texts,
        keep_idle_days: u32::try_from(table.integer("keep_idle_days")).unwrap_or(u32::MAX),
        store: path.parent().unwrap_or(Path::new("")).join(table.text("store")),
        listen,
        door,
        units: Measures::named(table.text("units")).unwrap_or_default(),
        language: table.text("language").to_owned(),
        people: table.optional_text("people").map(|file| path.parent().unwrap_or(Path::new("")).join(file)),
        links,
        devices: works.devices,
        products,
        bays,
        warnings: draft.found(),
    })
}

fn budgets(table: &Table) -> Budgets {
    Budgets {
        false_disagreements: table.number("false_disagreements"),
        near_ceiling: table.number("near_ceiling"),
        on_delay_s: table.number("on_delay"),
        off_delay_s: table.number("off_delay"),
        dead_bands: dead_bands(table.table("dead_band")),
    }
}

/// Those that are any.
fn dead_bands(table: &Table) -> Vec<DeadBand> {
    let keys = keys::children(keys::SITE, "alarms.dead_band");
    let band =
        |key: &keys::Key| Some(DeadBand { alarm: catalogue::named(key.name())?, width_si: table.number(key.name()) });
    keys.filter_map(band).filter(|band| band.width_si > 0.0).collect()
}

/// Whom the page lets in, and by which way.
fn door(draft: &mut Draft, table: &Table, beside: &Path) -> Door {
    let file = |key| table.optional_text(key).map(|file| beside.join(file));
    let tls = match (file("tls_certificate"), file("tls_key")) {
        (Some(certificate), Some(key)) => Some((certificate, key)),
        (None, None) => None,
        (certificate, _) => {
            let (has, lacks) = match certificate {
                Some(_) => ("tls_certificate", "tls_key"),
                None => ("tls_key", "tls_certificate"),
            };
            draft
                .fault(table.spot(has), table.path(lacks), format!("{has} stands without {lacks}"))
                .act("write both, or neither: then the page is for this machine alone");
            None
        }
    };
    for (name, spot) in table.texts("names") {
        let address =
            name.strip_prefix('[').and_then(|n| n.strip_suffix(']')).is_some_and(|n| n.parse::<Ipv6Addr>().is_ok());
        if !address && (name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-'))) {
            draft
                .fault(spot, table.path("names"), format!("{name:?} is no host name"))
                .allowed("letters, digits, dots and hyphens, or an IPv6 address in brackets; no port, no https://")
                .act("write what stands in the browser's address between https:// and the port");
        }
    }
    let names = table.texts("names").iter().map(|(name, _)| name.clone()).collect();
    Door { names, tls, behind_proxy: table.flag("behind_proxy") }
}

/// The page's address: for this machine alone, unless somebody encrypts; then browsers must know it by a name.
fn listen(draft: &mut Draft, table: &Table, door: &Door) -> SocketAddr {
    let (nowhere, written) = (SocketAddr::from(([127, 0, 0, 1], 0)), table.text("listen"));
    if written.is_empty() {
        return nowhere;
    }
    let encrypted = door.tls.is_some() || door.behind_proxy;
    let address = written.parse::<SocketAddr>().ok().filter(|address| address.ip().is_loopback() || encrypted);
    if address.is_none() {
        draft
            .fault(
                table.spot("listen"),
                table.path("listen"),
                format!("{written:?} is no address of this machine alone"),
            )
            .allowed("127.0.0.1 or [::1], a colon and a port, 0 to 65535; any address with TLS")
            .act(
                "write \"127.0.0.1:8480\"; or offer the page to a network with tls_certificate, tls_key and names, or with \
                 behind_proxy where a proxy encrypts",
            );
    }
    let address = address.unwrap_or(nowhere);
    if door.names.is_empty() && (door.behind_proxy || !address.ip().is_loopback()) {
        draft
            .fault(table.spot("listen"), table.path("names"), "browsers elsewhere reach the page by no name")
            .act("write names = [\"...\"]: the host names by which browsers reach the page; any other is refused");
    }
    address
}

/// Notes each table whose name, brought to a common form, was used before.
pub(super) fn unlike(draft: &mut Draft, tables: &[Table], key: &str, common: impl Fn(&str) -> String) {
    for (i, table) in tables.iter().enumerate() {
        let name = common(table.text(key));
        if !table.text(key).is_empty() && tables[..i].iter().any(|t| t.has(key) && common(t.text(key)) == name) {
            draft.finding(table.spot(key), table.path(key), OfForm::UsedTwice { name: table.text(key).to_owned() });
        }
    }
}

/// Index of the wanted name; a fault where nothing has it.
pub(super) fn find<'n>(
    draft: &mut Draft,
    (spot, key): (&Spot, String),
    wanted: &str,
    thing: Thing,
    names: impl Iterator<Item = &'n str> + Clone,
) -> Option<usize> {
    let found = names.clone().position(|name| name == wanted);
    // With no name at all to refer to, what is missing has been said where the names should stand.
    if found.is_none() && !wanted.is_empty() && names.clone().next().is_some() {
        let nearest = nearest(wanted, names.clone()).map(str::to_owned);
        let names = names.map(str::to_owned).collect();
        draft.finding(spot, key, OfForm::NoSuch { thing, wanted: wanted.to_owned(), names, nearest });
    }
    found
}

fn tank(
    draft: &mut Draft,
    table: &Table,
    beside: &mut tables::Beside<'_>,
    products: &mut Vec<(String, ProductTable)>,
) -> (TankSetup, usize) {
    let geometry = geometry(draft, table, beside);
    levels(draft, table, top(&geometry));
    let product = beside.product(draft, table, products);
    let setup = TankSetup {
        name: table.text("name").to_owned(),
        geometry,
        table_u: table.number("table_u"),
        working: Metre(table.number("working")),
        high_high: Metre(table.number("high_high")),
        critical: Metre(table.number("critical")),
        opening_u: Metre(table.number("opening_u")),
        shell: shell(draft, table),
        hand_dip_u: table.optional_number("hand_dip_u").map(Metre),
        draw_off: match table.text("draw_off") {
            "measured" => DrawOff::Measured,
            "declared_zero" => DrawOff::DeclaredZero,
            _ => DrawOff::Unknown,
        },
    };
    (setup, product)
}

/// How the shell grows with its temperature; both keys or none.
fn shell(draft: &mut Draft, table: &Table) -> Option<Shell> {
    let (expansion, reference) =
        (table.optional_number("shell_expansion_per_c"), table.optional_number("shell_reference"));
    if expansion.is_some() != reference.is_some() {
        let [there, missing] = match expansion {
            Some(_) => ["shell_expansion_per_c", "shell_reference"],
            None => ["shell_reference", "shell_expansion_per_c"],
        };
        draft
            .fault(table.spot(there), table.path(missing), format!("is missing: {there} stands alone"))
            .act("write both, or neither: the tank's table says at which temperature it holds");
    }
    expansion.zip(reference).map(|(per_k, reference)| Shell { per_k, reference: Celsius(reference) })
}

/// The tank's shape, from exactly one of its three descriptions.
fn geometry(draft: &mut Draft, table: &Table, beside: &mut tables::Beside<'_>) -> TankGeometry {
    let cylinder = ["diameter", "height", "length"].into_iter().any(|key| table.has(key));
    let given = [cylinder, table.has("strapping"), table.has("strapping_file")];
    if given.iter().filter(|g| **g).count() != 1 {
        draft
            .fault(table.at(), table.path(""), "needs its shape described once")
            .allowed("diameter and height, or strapping, or strapping_file")
            .act("give one of the three; for a new tank begin with diameter and height off the drawing");
    } else if cylinder && !(table.has("diameter") && table.has("height") != table.has("length")) {
        draft
            .fault(table.at(), table.path(""), "needs a diameter, and a height (upright) or a length (lying)")
            .act("give two of them, for example: diameter = \"2.84 m\" and height = \"8 m\"");
    }
    let rows = match table.pairs("strapping") {
        Some(rows) => rows.to_vec(),
        None if table.has("strapping_file") => beside.strapping(draft, table),
        None => {
            let (diameter, height) = (Metre(table.number("diameter")), Metre(table.number("height")));
            if !table.has("length") && table.text("head") == "flat" {
                return TankGeometry::VerticalCylinder { diameter, height };
            }
            vessel(draft, table).map_or_else(Vec::new, |vessel| vessel.table())
        }
    };
    TankGeometry::Strapping(rows.into_iter().map(|(level, volume)| (Metre(level), M3(volume))).collect())
}

/// A cylinder with heads; None after a fault.
fn vessel(draft: &mut Draft, table: &Table) -> Option<Vessel> {
    let diameter = table.number("diameter");
    let first = head(draft, table, "head", diameter)?;
    if table.has("length") {
        let second = if table.has("other_head") { head(draft, table, "other_head", diameter)? } else { first };
        return Some(Vessel::Lying { diameter, shell: table.number("length"), heads: [first, second] });
    }
    Some(Vessel::Upright { diameter, shell: table.number("height"), bottom: first })
}

fn head(draft: &mut Draft, table: &Table, key: &str, diameter: f64) -> Option<Head> {
    let depth = table.optional_number("head_depth");
    Some(match table.text(key) {
        "conical" => {
            let Some(depth) = depth else {
                draft
                    .fault(table.spot(key), table.path("head_depth"), "is missing: a cone may be of any depth")
                    .act("write it off the drawing, for example: head_depth = \"0.6 m\"");
                return None;
            };
            Head::Conical(depth)
        }
        "ellipsoidal" => Head::Ellipsoidal(depth.unwrap_or(diameter / 4.0)),
        "hemispherical" => Head::Ellipsoidal(diameter / 2.0),
        "torispherical" => {
            let (crown, knuckle) = (table.number("head_crown"), table.number("head_knuckle"));
            if knuckle >= crown {
                draft
                    .fault(
                        table.spot(key),
                        table.path("head_knuckle"),
                        format!("{knuckle} is not below the crown's {crown}"),
                    )
                    .allowed("a knuckle smaller than the crown")
                    .act("correct one of the two");
                return None;
            }
            Head::Torispherical(crown, knuckle)
        }
        _ => Head::Flat,
    })
}

/// Highest level that the tank's description reaches, m; NaN for an empty table.
fn top(geometry: &TankGeometry) -> f64 {
    match geometry {
        TankGeometry::VerticalCylinder { height, .. } => height.0,
        TankGeometry::Strapping(rows) => rows.last().map_or(f64::NAN, |(level, _)| level.0),
    }
}

/// Levels stand in the order of the published overfill vocabulary, and inside the tank.
fn levels(draft: &mut Draft, table: &Table, top: f64) {
    for (lower, upper) in [("working", "high_high"), ("high_high", "critical")] {
        let (low, high) = (table.number(lower), table.number(upper));
        if low >= high {
            draft
                .fault(table.spot(upper), table.path(upper), format!("{high} m is not above {lower}, {low} m"))
                .allowed("working below high_high below critical")
                .act("put the levels in order; read them off the tank's own papers");
        }
    }
    let critical = table.number("critical");
    if critical > top {
        draft
            .fault(
                table.spot("critical"),
                table.path("critical"),
                format!("{critical} m is above the tank's top, {top} m"),
            )
            .allowed(format!("up to {top} m"))
            .act("correct the level, or the tank's height or strapping table");
    }
}

/// Bays that fill the same tank are told of each other: by each tank that two share one neighbour.
fn introduce(bays: &mut [BaySetup]) {
    let fills: Vec<(String, Vec<String>)> = bays
        .iter()
        .map(|bay| (bay.settings.bay.clone(), bay.settings.tanks.iter().map(|t| t.name.clone()).collect()))
        .collect();
    for (own, bay) in bays.iter_mut().enumerate() {
        for (other, (name, theirs)) in fills.iter().enumerate().filter(|(other, _)| *other != own) {
            for (tank, ours) in fills[own].1.iter().enumerate() {
                let Some(there) = theirs.iter().position(|t| t == ours) else { continue };
                bay.neighbours.push(Neighbouring { bay: other, tank: narrow(there) });
                bay.settings.neighbours.push(NeighbourSetup { bay: name.clone(), tank: narrow(tank) });
            }
        }
    }
}

fn bay(draft: &mut Draft, (index, table): (usize, &Table), works: &Works, claims: &mut Vec<Claim>) -> BaySetup {
    let mut places = Vec::new();
    for (i, (name, spot)) in table.texts("tanks").iter().enumerate() {
        let names = works.tanks.iter().map(|(tank, _)| tank.name.as_str());
        let place = find(draft, (spot, table.path("tanks")), name, Thing::Tank, names);
        if table.texts("tanks")[..i].iter().any(|(before, _)| before == name) {
            draft.fault(spot, table.path("tanks"), format!("{name:?} is named twice")).act("name each tank once");
        }
        places.extend(place);
    }
    let tanks: Vec<TankSetup> = places.iter().map(|&place| works.tanks[place].0.clone()).collect();
    unlike(draft, table.tables("signal"), "name", str::to_owned);
    let read = table.tables("signal").iter().map(|t| signal(draft, t, works, &tanks)).collect::<Vec<_>>();
    exclusive(draft, table.tables("signal"), &read);
    for (table, read) in table.tables("signal").iter().zip(&read) {
        claims::claim(draft, claims, table, read, (&works.devices, index));
    }
    fitted(draft, table, &tanks, &read);

    let mut devices = read.iter().map(|s| usize::from(s.setup.device)).collect::<Vec<_>>();
    devices.sort_unstable();
    devices.dedup();
    let index_of = |device: u16| devices.iter().position(|&d| d == usize::from(device)).unwrap_or_default();
    let signals = read.iter().map(|s| SignalSetup { device: narrow(index_of(s.setup.device)), ..s.setup.clone() });
    let settings = Settings {
        bay: table.text("name").to_owned(),
        devices: devices.iter().filter_map(|&d| works.devices.get(d)).map(device_setup).collect(),
        signals: signals.collect(),
        tanks,
        rests_on_scale: rests_on_scale(table),
        line: line(table.table("line")),
        drive: match table.text("drive") {
            "pump" => Drive::Pump,
            "pump_vapour_return" => Drive::PumpVapourReturn,
            _ => Drive::Pad,
        },
        pad_tap: if table.text("pad_tap") == "supply" { PadTap::Supply } else { PadTap::Trailer },
        gas: gas(table),
        limits: limits(table.table("limits")),
        thresholds: works.thresholds.clone(),
        neighbours: Vec::new(),
        expected: super::expected::of_bay(
            table,
            &works.contacts,
            places.iter().map(|&place| works.expected[place].clone()).collect(),
        ),
        blow: blow(table, places.iter().map(|&place| works.vents[place]).collect()),
        steps: Vec::new(),
    };
    BaySetup {
        slug: super::slug(table.text("name")),
        settings,
        devices,
        places: read.iter().map(|s| s.place).collect(),
        products: places.iter().map(|&place| works.tanks[place].1).collect(),
        neighbours: Vec::new(),
        emergency: super::expected::emergency(table.table("emergency")),
        usual: usual(draft, table, places.iter().map(|&place| works.vents[place].passes).collect()),
    }
}

fn vent(table: &Table) -> VentSetup {
    VentSetup {
        passes: table.optional_number("vent_capacity").map(KgPerS),
        limit: table.optional_number("pressure_limit").map(GaugePa),
    }
}

fn blow(table: &Table, vents: Vec<VentSetup>) -> BlowSetup {
    let line = table.table("line");
    BlowSetup { bore: line.optional_number("bore").map(Metre), loss: line.optional_number("loss"), vents }
}

fn usual(draft: &mut Draft, table: &Table, vents: Vec<Option<KgPerS>>) -> Usual {
    let (supply, line) = (table.table("supply"), table.table("line"));
    let ends = ["usual_pad_low", "usual_pad_high"];
    let pad_band = match ends.map(|end| table.optional_number(end)) {
        [None, None] => None,
        [Some(low), Some(high)] if low < high => Some((GaugePa(low), GaugePa(high))),
        [low, _] => {
            let written = if low.is_some() { ends[0] } else { ends[1] };
            draft
                .fault(table.spot(written), table.path(written), "the band of the pad has no two ends that rise")
                .act("write usual_pad_low and a higher usual_pad_high, or neither");
            None
        }
    };
    Usual {
        rate: table.optional_number("usual_rate").map(KgPerS),
        pad: table.optional_number("usual_pad").map(GaugePa),
        pad_band,
        supply: supply.optional_number("pressure").map(GaugePa),
        orifice: supply.optional_number("orifice").map(Metre),
        bore: line.optional_number("bore").map(Metre),
        loss: line.optional_number("loss"),
        vents,
    }
}

fn device_setup(device: &Device) -> DeviceSetup {
    DeviceSetup {
        name: device.name.clone(),
        link: device.link_name.clone(),
        period_s: device.period_s,
        time_out_s: device.time_out_s,
        heartbeat_s: device.heartbeat.map(|(_, within_s)| within_s),
    }
}

fn narrow(index: usize) -> u16 {
    u16::try_from(index).unwrap_or(u16::MAX)
}

fn rests_on_scale(table: &Table) -> RestsOnScale {
    match table.text("rests_on_scale") {
        "trailer" => RestsOnScale::Trailer,
        "tractor_and_trailer" => RestsOnScale::TractorAndTrailer,
        "part" => RestsOnScale::Part,
        _ => RestsOnScale::None,
    }
}

fn line(table: &Table) -> LineSetup {
    LineSetup {
        upstream: M3(table.number("upstream")),
        downstream: M3(table.number("downstream")),
        volume_u: table.number("volume_u"),
        starts: if table.text("starts") == "full" { LineStart::Full } else { LineStart::Empty },
        valve_closes_s: table.number("valve_closes"),
        blow_clear: Kg(table.number("blow_clear")),
        bore: table.optional_number("bore").map(Metre),
        outlet_height: table.optional_number("outlet_height").map(Metre),
    }
}

fn gas(table: &Table) -> GasSetup {
    let name = table.text("gas");
    GasSetup {
        name: name.to_owned(),
        constant_j_per_kg_k: if name == "dry air" { DRY_AIR_J_PER_KG_K } else { NITROGEN_J_PER_KG_K },
        temperature: Celsius(table.number("gas_temperature")),
        temperature_u_k: table.number("gas_temperature_u"),
    }
}

fn limits(table: &Table) -> Limits {
    let rating = |key| table.optional_number(key).map(GaugePa);
    Limits {
        response_time_s: table.number("response_time"),
        attendance_s: table.optional_number("attendance"),
        pad_maximum: rating("pad_maximum"),
        pad_minimum: rating("pad_minimum"),
        hose_rating: rating("hose_rating"),
        line_rating: rating("line_rating"),
        connection_rating: rating("connection_rating"),
    }
}

/// A signal whose device is still counted among all devices of the site.
pub(super) struct ReadSignal {
    pub setup: SignalSetup,
    pub place: Place,
}

fn signal(draft: &mut Draft, table: &Table, works: &Works, tanks: &[TankSetup]) -> ReadSignal {
    // A kind that is not known has been said; any other stands in.
    let form = signals::by_name(table.text("kind")).unwrap_or(&signals::FORMS[0]);
    let names = works.devices.iter().map(|d| d.name.as_str());
    let device = find(draft, (table.spot("device"), table.path("device")), table.text("device"), Thing::Device, names);
    let device = device.unwrap_or(usize::MAX);
    let tank = if form.of_tank { tank_of(draft, table, tanks) } else { None };
    if !form.of_tank && table.has("tank") && table.has("kind") {
        draft
            .fault(table.spot("tank"), table.path("tank"), format!("{} belongs to no tank", form.name))
            .act("take the line out");
    }
    let base = works.address_bases.get(device).copied().unwrap_or_default();
    let place = super::register::place(draft, table, form, base);
    let mut setup = super::register::uncertainty(draft, table, form);
    let top = tank.and_then(|tank| tanks.get(usize::from(tank))).map_or(f64::NAN, |tank| top(&tank.geometry));
    if form.kind == SignalKind::Level && !table.has("plausible_high") && top > 0.0 {
        setup.plausible_high = top;
    }
    setup.device = narrow(device);
    setup.tank = tank;
    setup.may_roll_over_at = super::register::may_roll_over_at(table, form, &place);
    ReadSignal { setup, place }
}

/// The tank a signal belongs to.
fn tank_of(draft: &mut Draft, table: &Table, tanks: &[TankSetup]) -> Option<u16> {
    match table.optional_text("tank") {
        Some(name) => {
            let names = tanks.iter().map(|t| t.name.as_str());
            find(draft, (table.spot("tank"), table.path("tank")), name, Thing::TankOfThisBay, names).map(narrow)
        }
        None if tanks.len() > 1 => {
            draft
                .fault(table.at(), table.path("tank"), "is missing: the bay has more than one tank")
                .allowed(tanks.iter().map(|t| t.name.as_str()).collect::<Vec<_>>().join(", "))
                .act("say which tank this signal belongs to");
            None
        }
        None => Some(0),
    }
}

/// Kinds that say the same thing: a bay (or tank) has so many of one group.
fn group(kind: SignalKind) -> (&'static str, SignalKind, usize) {
    match kind {
        SignalKind::FlowMassRate | SignalKind::FlowVolumeRate => ("flow rate", SignalKind::FlowMassRate, 1),
        SignalKind::FlowMassTotal | SignalKind::FlowVolumeTotal => ("flow total", SignalKind::FlowMassTotal, 1),
        SignalKind::Level | SignalKind::LevelPressure => ("level gauge of one tank", SignalKind::Level, 2),
        other => ("signal of this kind", other, 1),
    }
}

/// No role is filled twice (a tank may have two gauges).
fn exclusive(draft: &mut Draft, tables: &[Table], read: &[ReadSignal]) {
    for (i, (table, this)) in tables.iter().zip(read).enumerate() {
        if !table.has("kind") {
            continue;
        }
        let (what, role, most) = group(this.setup.kind);
        let before = tables[..i].iter().zip(&read[..i]).filter(|(t, _)| t.has("kind"));
        let alike = before.filter(|(_, o)| group(o.setup.kind).1 == role && o.setup.tank == this.setup.tank);
        if alike.count() >= most {
            draft
                .fault(table.spot("kind"), table.path("kind"), format!("is one {what} too many"))
                .allowed(format!("{most} in a bay"))
                .act("take one out; two gauges may watch one tank, everything else is read once");
        }
    }
}

/// What the bay says of itself and what it reads belong together.
fn fitted(draft: &mut Draft, table: &Table, tanks: &[TankSetup], read: &[ReadSignal]) {
    let has = |kind| read.iter().any(|s| s.setup.kind == kind);
    // A signal whose kind was not understood may be the one that seems to be missing.
    let all_known = table.tables("signal").iter().all(|signal| signal.has("kind"));
    let rests = table.text("rests_on_scale");
    if rests == "none" && has(SignalKind::Scale) {
        draft
            .fault(table.spot("rests_on_scale"), table.path("rests_on_scale"), "is none, but a scale is read")
            .act("say what stands on the scale, or take the signal scale_kg out");
    }
    if all_known && !rests.is_empty() && rests != "none" && !has(SignalKind::Scale) {
        draft
            .fault(
                table.spot("rests_on_scale"),
                table.path("rests_on_scale"),
                format!("is {rests}, but no scale is read"),
            )
            .act("add the signal scale_kg, or write rests_on_scale = \"none\"");
    }
    for (place, tank) in tanks.iter().enumerate() {
        let measured = read.iter().any(|s| s.setup.kind == SignalKind::DrawOff && s.setup.tank == Some(narrow(place)));
        if all_known && tank.draw_off == DrawOff::Measured && !measured {
            draft
                .fault(
                    table.at(),
                    table.path("signal"),
                    format!("draw-off of tank {:?} is measured, but not read", tank.name),
                )
                .act("add a signal draw_off_kg_per_s, or change draw_off of the tank");
        }
    }
}
