//! The key table: every key of the written files, with its kind, unit, allowed range and what it means.
//!
//! It is the one place that knows them. The walk reads files by it, hints come from it, and
//! the shipped files are held against it.

use crate::finding::Like;
use crate::units::{Measures, Quantity};

/// What a key holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// `[table]`.
    Table,
    /// `[[table]]`, at least one.
    Tables,
    /// Text.
    Text,
    /// A list of texts, at least one.
    Texts,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// true or false.
    Flag,
    /// A whole number.
    Integer(i64, i64),
    /// A list of whole numbers, at least one.
    Integers(i64, i64),
    /// A number without a unit.
    Number(f64, f64),
    /// A quantity with its unit, written as text.
    Amount(Bounds),
    /// A difference of two values of that quantity (a step of 1 F is 5/9 C), written alike.
    Difference(Bounds),
    /// A value of the quantity that the signal measures.
    OfSignal,
    /// A difference in the quantity that the signal measures.
    DifferenceOfSignal,
    /// Pairs of quantities, the first rising from pair to pair; with `true` the second rises too.
    Pairs(Bounds, Bounds, bool),
}

/// A quantity with the range it may have, both ends included, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// What is measured.
    pub quantity: Quantity,
    /// Lowest value allowed.
    pub low: f64,
    /// Highest value allowed.
    pub high: f64,
}

/// Whether a key must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// It must.
    Required,
    /// Without it this is taken.
    Default(&'static str),
    /// Without it a value that hangs on other keys is taken, or none; its line says which.
    Optional,
}

/// One key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Key {
    /// Path from the top of the file, tables joined by dots.
    pub path: &'static str,
    /// What it holds.
    pub form: Form,
    /// Whether it must be there.
    pub presence: Presence,
    /// How a value looks, as written between the quotes (if any).
    pub example: &'static str,
    /// What it means.
    pub doc: &'static str,
}

impl Key {
    /// The key's own name: the last part of its path.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.path.rsplit('.').next().unwrap_or(self.path)
    }

    /// The path of the table it stands in; empty at the top.
    #[must_use]
    pub fn parent(&self) -> &'static str {
        self.path.rsplit_once('.').map_or("", |(parent, _)| parent)
    }

    /// A line as it may stand in a file.
    #[must_use]
    pub fn example_line(&self) -> String {
        let (name, example) = (self.name(), self.example);
        match self.form {
            Form::Table => format!("[{}]", self.path),
            Form::Tables => format!("[[{}]]", self.path),
            Form::Texts | Form::Flag | Form::Integer(..) | Form::Integers(..) | Form::Number(..) | Form::Pairs(..) => {
                format!("{name} = {example}")
            }
            _ => format!("{name} = \"{example}\""),
        }
    }

    /// How a value looks in a form: a list is typed without its brackets.
    #[must_use]
    pub fn typed_example(&self) -> String {
        self.example.replace(['[', ']', '"'], "")
    }

    /// Both.
    pub(super) fn like(&self) -> Like {
        Like { line: self.example_line(), typed: self.typed_example() }
    }
}

/// The keys that stand directly in the table at `path`.
pub(super) fn children(keys: &'static [Key], path: &str) -> impl Iterator<Item = &'static Key> {
    keys.iter().filter(move |key| key.parent() == path)
}

const fn key(path: &'static str, form: Form, presence: Presence, example: &'static str, doc: &'static str) -> Key {
    Key { path, form, presence, example, doc }
}

const fn amount(quantity: Quantity, low: f64, high: f64) -> Form {
    Form::Amount(Bounds { quantity, low, high })
}

const fn difference(quantity: Quantity, low: f64, high: f64) -> Form {
    Form::Difference(Bounds { quantity, low, high })
}

use Form::{Choice, DifferenceOfSignal, Flag, Integer, Integers, Number, OfSignal, Pairs, Table, Tables, Text, Texts};
use Presence::{Default, Optional, Required};
use Quantity::{Density, GaugePressure, Length, Mass, MassFlow, Ratio, Temperature, Time, Viscosity, Volume};

/// Ratings of hoses, lines and connections, and the site's own maximum: 10 kPa to 5 MPa gauge. Wide enough for
/// any real one, narrow enough to catch a slip of the unit.
const RATING: Form = amount(GaugePressure, 1e4, 5e6);
/// Plate and relief pressures of a cargo tank for liquids: 10 kPa to 700 kPa gauge (DOT 406 begins at 2.65 psig
/// = 18 kPa, 49 CFR 178.346-1; DOT 407 seldom exceeds 40 psig = 276 kPa).
const PLATE: Form = amount(GaugePressure, 1e4, 7e5);
/// Dead-bands of pad alarms: more than a regulator swings, and less than a pad falls by when it is taken off.
const BAND_PA: Form = amount(GaugePressure, 0.0, 2e4);
/// Levels: up to the tallest tanks.
const LEVEL: Form = amount(Length, 0.0, 40.0);
/// Strapping table: levels against volumes.
const STRAPPING: Form =
    Pairs(Bounds { quantity: Length, low: 0.0, high: 40.0 }, Bounds { quantity: Volume, low: 0.0, high: 1e5 }, true);
/// Density table: liquids that are carried by tank trailer.
const DENSITIES: Form = Pairs(
    Bounds { quantity: Temperature, low: -100.0, high: 300.0 },
    Bounds { quantity: Density, low: 400.0, high: 3000.0 },
    false,
);

/// Viscosity table: from liquid ammonia to what hardly runs out of a trailer (0.05 mPa s to 100 Pa s).
const VISCOSITIES: Form = Pairs(
    Bounds { quantity: Temperature, low: -100.0, high: 300.0 },
    Bounds { quantity: Viscosity, low: 5e-5, high: 100.0 },
    false,
);

/// Words for [`crate::engine::settings::DrawOff`].
pub(super) const HEADS: &[&str] = &["flat", "conical", "ellipsoidal", "hemispherical", "torispherical"];
const DRAW_OFFS: &[&str] = &["measured", "declared_zero", "unknown"];
/// Words for [`crate::engine::settings::RestsOnScale`].
pub(super) const RESTS: &[&str] = &["trailer", "tractor_and_trailer", "part", "none"];
/// Words for [`crate::engine::settings::Drive`].
/// Where the pad gas of a bay comes from.
pub(super) const GAS_FROM: &[&str] = &["plant", "tractor"];
/// Where the tank's vapours go while a bay fills it.
pub(super) const VAPOURS_TO: &[&str] = &["air", "scrubber", "trailer"];
/// Whose signature a step needs.
pub(super) const SIGNED_BY: &[&str] = &["site", "driver", "both"];
/// Least that whoever signs a step for the site must be allowed to do.
pub(super) const RIGHTS: &[&str] = &["attend", "engineer"];
pub(super) const DRIVES: &[&str] = &["pad", "pump", "pump_vapour_return"];
/// Words for [`crate::engine::settings::PadTap`].
/// Those of `words::LANGUAGES`, which a test holds against it.
pub const LANGUAGES: &[&str] = &["en", "es"];
pub(super) const TAPS: &[&str] = &["trailer", "supply"];
/// Gases on the trailer.
pub(super) const GASES: &[&str] = &["nitrogen", "dry air"];
/// Words for [`crate::engine::settings::LineStart`].
pub(super) const STARTS: &[&str] = &["empty", "full"];
/// Words for [`crate::poll::registers::DataType`].
pub(super) const TYPES: &[&str] =
    &["u16", "i16", "u32", "i32", "u64", "i64", "f32", "f64", "bcd16", "bcd32", "bcd64", "bool"];
/// Those of them that the upper part of a value can have.
pub(super) const UPPER_TYPES: &[&str] = &["u16", "u32"];
/// Words for [`crate::poll::registers::WordOrder`], the most significant byte A.
pub(super) const ORDERS: &[&str] = &["ABCD", "CDAB", "BADC", "DCBA"];
/// What a mass meter shows.
const INDICATES: &[&str] = &["mass", "apparent_mass"];
/// How a frame is written: with the head of Modbus TCP, or as on a serial line.
pub(super) const FRAMINGS: &[&str] = &["tcp", "rtu"];
/// Words for [`crate::poll::way::Parity`].
pub(super) const PARITIES: &[&str] = &["even", "odd", "none"];
/// Bits of a status register, by number.
const BITS: Form = Integers(0, 15);

/// Every key of a site file.
#[rustfmt::skip]
pub const SITE: &[Key] = &[
    key("site", Table, Required, "", "the works"),
    key("site.name", Text, Required, "Alder Reach works", "name of the works, shown on every page and paper"),
    key("site.store", Text, Required, "recordings", "folder of the recordings; beside this file unless absolute"),
    key("site.keep_idle_days", Integer(1, 3650), Default("30"), "30",
        "days that recordings of idle bays are kept; those of deliveries are never removed"),
    key("site.listen", Text, Default("127.0.0.1:8480"), "127.0.0.1:8480",
        "address of the page and a port: this machine only (127.0.0.1 or [::1]), or any with tls_certificate and tls_key, or behind_proxy"),
    key("site.names", Texts, Optional, "[\"bays.example.org\"]",
        "host names or addresses by which browsers reach the page, without port, beside 127.0.0.1, localhost and [::1]; any other is refused"),
    key("site.tls_certificate", Text, Optional, "page.pem",
        "certificate of the page (PEM, its own first, then those between it and the authority), beside this file unless absolute; read at start"),
    key("site.tls_key", Text, Optional, "page.key",
        "private key of that certificate (PEM, without a password), beside this file unless absolute; readable by the watch's account alone"),
    key("site.behind_proxy", Flag, Default("false"), "true",
        "a proxy in front encrypts and passes the Host on; between it and the page nothing is encrypted, so let it be this machine or a wire that nobody else has"),
    key("site.units", Choice(Measures::NAMES), Default("si"), "us_customary",
        "units of the page for whoever has not chosen others there; files, recordings and JSON keep SI; si: kg, m, kPa, C; si_bar: the same with bar; us_customary: lb, short ton, ft, psi, F"),
    key("site.language", Choice(LANGUAGES), Default("en"), "en",
        "language of the page for whoever has not chosen another there (BCP 47)"),
    key("site.people", Text, Optional, "people.toml",
        "file of the people who may act on the page, made by `brimwatch people`; beside this file unless absolute; left out: whoever is at this machine may"),

    key("site.query_above_en", Number(0.1, 10.0), Default("1"), "1",
        "the unloading record raises a query when received and weigh ticket differ by more than this many times their joint expanded uncertainty (|En| of ISO 13528, coverage factor 2)"),

    key("alarms", Table, Optional, "", "budgets and delays of the alarms; each has a default"),
    key("alarms.false_disagreements", amount(Ratio, 1e-6, 0.05), Default("0.1 %"), "0.1 %",
        "transfers in which sound instruments may once be said to disagree; shared over about 20 independent looks"),
    key("alarms.near_ceiling", amount(Ratio, 0.5, 1.0), Default("95 %"), "95 %",
        "pad pressure is near its ceiling from this part of it"),
    key("alarms.on_delay", amount(Time, 0.0, 60.0), Default("3 s"), "3 s",
        "a condition must hold this long before its alarm comes"),
    key("alarms.off_delay", amount(Time, 0.0, 600.0), Default("10 s"), "10 s",
        "a condition must be gone this long before its alarm goes"),
    key("alarms.dead_band", Table, Optional, "",
        "how far a value must be back from the alarm's limit before the open alarm's condition counts as gone; an alarm comes at its limit all the same"),
    key("alarms.dead_band.level_high_high", amount(Length, 0.0, 0.075), Default("0 mm"), "8 mm", "level below high-high; no wider than the least step between two levels"),
    key("alarms.dead_band.high_level_projected", amount(Mass, 0.0, 1000.0), Default("0 kg"), "50 kg", "margin above nothing"),
    key("alarms.dead_band.pad_near_ceiling", BAND_PA, Default("0 psi gauge"), "0.3 psi gauge", "pad pressure below near_ceiling"),
    key("alarms.dead_band.pad_above_mawp", BAND_PA, Default("0 psi gauge"), "0.3 psi gauge", "pad pressure below the MAWP"),
    key("alarms.dead_band.pad_in_relief_window", BAND_PA, Default("0 psi gauge"), "0.3 psi gauge",
        "pad pressure below the relief valve's lowest start to discharge"),
    key("alarms.dead_band.pad_below_tank", BAND_PA, Default("0 psi gauge"), "0.3 psi gauge", "pad pressure above the tank's"),
    key("alarms.dead_band.movement_outside_transfer", amount(MassFlow, 0.0, 0.09), Default("0 kg/s"), "0.02 kg/s",
        "flow below 0.1 kg/s; of a volume meter the same in L/s"),
    key("alarms.dead_band.reverse_flow", amount(MassFlow, 0.0, 0.19), Default("0 kg/s"), "0.05 kg/s",
        "flow backwards below 0.2 kg/s; of a volume meter the same in L/s"),
    key("alarms.dead_band.wrong_product", amount(Density, 0.0, 1.9), Default("0 kg/m3"), "0.5 kg/m3",
        "difference between the line's density and the papers' below what is another product"),
    key("alarms.dead_band.possible_reaction", difference(Temperature, 0.0, 2.9), Default("0 C"), "0.5 C",
        "tank's temperature below what can come of mixing alone"),
    key("alarms.dead_band.truck_gone", amount(Mass, 0.0, 2900.0), Default("0 kg"), "100 kg",
        "scale above 3 t less than what the trailer must weigh"),

    key("contacts", Table, Optional, "", "whom to call when a check of a delivery fails; shown beside it"),
    key("contacts.shipper", Text, Optional, "Alder Reach works, loading office, 555 0101", "who loaded the trailer"),
    key("contacts.supplier", Text, Optional, "product desk, 555 0102", "who sold the product"),
    key("contacts.supervisor", Text, Optional, "shift supervisor, 555 0103", "who decides on the site"),

    key("link", Tables, Optional, "", "one way that devices share: a gateway or a serial line; they are asked in turn"),
    key("link.name", Text, Required, "gateway", "name, by which devices find it"),
    key("link.address", Text, Optional, "127.0.0.1:5020", "host and port it leads to; or give a serial_port"),
    key("link.framing", Choice(FRAMINGS), Optional, "rtu",
        "tcp: Modbus TCP, the default with an address; rtu: a gateway that passes the bytes of a serial line on"),
    key("link.serial_port", Text, Optional, "/dev/ttyS0", "path of a serial port of this machine; always rtu"),
    key("link.baud", Integer(300, 921_600), Optional, "19200", "bits per second; needed with a serial_port"),
    key("link.parity", Choice(PARITIES), Default("even"), "even",
        "parity bit of a serial_port; even is the default of Modbus over Serial Line V1.02"),
    key("link.stop_bits", Integer(1, 2), Default("1"), "1", "stop bits of a serial_port"),
    key("link.connect_time_out", amount(Time, 0.01, 10.0), Default("1 s"), "1 s", "a connection not made by then is none"),
    key("link.pause", amount(Time, 0.0, 1.0), Default("0 s"), "20 ms",
        "least time from a reply to the next request, for a gateway that wants it"),

    key("device", Tables, Required, "", "one Modbus device that is polled"),
    key("device.name", Text, Required, "line meter", "name, by which signals find it"),
    key("device.address", Text, Optional, "127.0.0.1:5020", "host and port, for Modbus TCP; or give a link"),
    key("device.link", Text, Optional, "gateway", "name of the link it is reached by; or give an address"),
    key("device.unit", Integer(0, 255), Required, "1", "Modbus unit identifier; 1 to 247 on rtu"),
    key("device.address_base", Integer(0, 1), Required, "0",
        "number that this device's papers give to the first register: 0 or 1"),
    key("device.period", amount(Time, 0.05, 60.0), Required, "1 s", "time between requests"),
    key("device.time_out", amount(Time, 0.01, 30.0), Required, "500 ms",
        "a reply later than this is no reply; shorter than the period"),
    key("device.answer_time", amount(Time, 0.0, 30.0), Default("20 ms"), "20 ms",
        "from a request to the first byte of its reply, usually; for the poll load that `brimwatch check` works out"),
    key("device.gap", Integer(0, 120), Default("0"), "8",
        "so many registers (or bits) that no signal names may be read along between two that are"),
    key("device.registers_most", Integer(1, 125), Default("125"), "125", "most registers that it answers in one request"),
    key("device.not_read", Texts, Optional, r#"["3:104-107", "4:9"]"#,
        "registers that must never be read, as function:first-last"),
    key("device.heartbeat_function", Integer(1, 4), Optional, "3",
        "function that reads a register which changes while the device is alive"),
    key("device.heartbeat_address", Integer(0, 65_536), Optional, "90", "number of that register, as the device's papers count"),
    key("device.heartbeat_within", amount(Time, 0.1, 3600.0), Optional, "5 s",
        "it changes at least this often; at least two periods"),

    key("tank", Tables, Required, "", "one storage tank; bays name the tanks they can fill"),
    key("tank.name", Text, Required, "204", "name"),
    key("tank.product", Text, Required, "products/caustic-soda-50.toml", "file of the product it holds, beside this file"),
    key("tank.diameter", amount(Length, 0.3, 100.0), Optional, "2.84 m",
        "inner diameter of a cylinder, upright or lying; with height or length, or give a strapping table"),
    key("tank.height", amount(Length, 0.3, 40.0), Optional, "8 m", "inner height of an upright cylinder's shell"),
    key("tank.length", amount(Length, 0.3, 100.0), Optional, "6 m", "length of a lying cylinder's shell, between its heads"),
    key("tank.head", Choice(HEADS), Default("flat"), "ellipsoidal",
        "bottom of an upright cylinder, both heads of a lying one; levels count from the lowest point"),
    key("tank.other_head", Choice(HEADS), Optional, "flat", "the second head of a lying cylinder, where it is another"),
    key("tank.head_depth", amount(Length, 0.01, 20.0), Optional, "0.6 m",
        "depth of a conical or ellipsoidal head; an ellipsoidal one without it is a quarter of the diameter deep (2:1)"),
    key("tank.head_crown", Number(0.5, 2.0), Default("1"), "1", "torispherical: radius of the crown over the diameter"),
    key("tank.head_knuckle", Number(0.01, 0.5), Default("0.06"), "0.06", "torispherical: radius of the knuckle over the diameter"),
    key("tank.strapping", STRAPPING, Optional, r#"[["0 m", "0.4 m3"], ["8 m", "51.1 m3"]]"#,
        "strapping table: level and volume, both rising; nothing is read beyond its ends"),
    key("tank.strapping_file", Text, Optional, "tank-204.csv",
        "the same as a CSV file beside this one; its first line names the units: level (mm),volume (m3)"),
    key("tank.table_u", amount(Ratio, 0.0, 0.1), Default("0.25 %"), "0.25 %",
        "standard uncertainty of a volume difference read off table or dimensions"),
    key("tank.shell_expansion_per_c", Number(1e-6, 5e-5), Optional, "1.12e-5",
        "linear expansion of the tank's shell for each C, where its table holds at shell_reference; without both: not corrected"),
    key("tank.shell_reference", amount(Temperature, -50.0, 100.0), Optional, "20 C", "temperature of the shell that the table or the dimensions hold at"),
    key("tank.working", LEVEL, Required, "6.9 m", "maximum working level"),
    key("tank.high_high", LEVEL, Required, "7.2 m", "high-high level: the margin is measured to it"),
    key("tank.critical", LEVEL, Required, "7.6 m", "critical high level: damage or overflow"),
    key("tank.opening_u", difference(Length, 0.0, 1.0), Required, "15 mm",
        "what the gauge may be off at opening while no other source has checked it (standard uncertainty)"),
    key("tank.hand_dip_u", difference(Length, 0.0, 0.1), Optional, "3 mm",
        "what a hand dip may be off (standard uncertainty), where the site allows this tank to be opened and dipped; left out: it does not"),
    key("tank.draw_off", Choice(DRAW_OFFS), Default("unknown"), "declared_zero",
        "what leaves the tank by other ways while a load comes in; unknown makes the tank a doubtful witness"),
    key("tank.vent_capacity", amount(MassFlow, 1e-3, 100.0), Optional, "1000 kg/h",
        "most gas (as the bay's pad gas) that the tank's vent passes before the tank is above its own limit; held against the gas that follows the last liquid"),
    key("tank.pressure_limit", amount(GaugePressure, 100.0, 1e6), Optional, "7 kPa gauge",
        "the tank's own highest pressure, off its plate or drawing; without it nothing says that the tank is near it"),

    key("tank.shutoff_tested", Text, Optional, "2026-08-20",
        "day on which the independent high-level shut-off was last tested: year-month-day; left out: a check not yet met"),
    key("tank.shutoff_test_days", Integer(1, 3650), Default("365"), "180", "days after which such a test no longer counts"),

    key("bay", Tables, Required, "", "one unloading station"),
    key("bay.name", Text, Required, "Bay 1", "name"),
    key("bay.tanks", Texts, Required, r#"["204"]"#, "the tanks it can fill, by name; several bays may fill one"),
    key("bay.rests_on_scale", Choice(RESTS), Required, "trailer", "what stands on the scale; part: the scale is no witness"),
    key("bay.drive", Choice(DRIVES), Required, "pad", "what moves the liquid"),
    key("bay.pad_tap", Choice(TAPS), Required, "trailer", "where the pad pressure is measured"),
    key("bay.gas", Choice(GASES), Required, "nitrogen", "gas on the trailer"),
    key("bay.gas_temperature", amount(Temperature, -50.0, 100.0), Default("20 C"), "20 C",
        "its temperature where none is measured"),
    key("bay.gas_temperature_u", difference(Temperature, 0.0, 100.0), Default("30 C"), "10 C",
        "standard uncertainty of that; a tractor's compressor delivers hot"),
    key("bay.dew_point", amount(Temperature, -100.0, 40.0), Default("-40 C"), "-40 C",
        "highest dew point of the pad gas, where gas drives; -40 C (-40 F) is common practice"),
    key("bay.pad_gas_from", Choice(GAS_FROM), Default("plant"), "plant",
        "where the pad gas comes from: the plant's supply, or the compressor on the tractor; the steps of a delivery hang on it"),
    key("bay.vapours_to", Choice(VAPOURS_TO), Default("air"), "scrubber",
        "where the tank's vapours go while it is filled: to the air, to a scrubber, back to the trailer; the steps of a delivery hang on it"),
    key("bay.steps", Text, Optional, "our-steps.toml",
        "file of the site's own steps of a delivery, beside this file; left out: those that come with brimwatch (config/steps.toml)"),
    key("bay.usual_rate", amount(MassFlow, 0.01, 100.0), Optional, "17 t/h",
        "usual rate of unloading; for the times that `brimwatch check` works out"),
    key("bay.usual_pad", amount(GaugePressure, 1e3, 7e5), Optional, "18 psi gauge",
        "usual pad pressure; marked on the page, and for what `brimwatch check` says of the gas"),
    key("bay.usual_pad_low", amount(GaugePressure, 1e3, 7e5), Optional, "16 psi gauge",
        "lower end of the band that the pad is worked in; shown on the page, and no alarm; needs usual_pad_high"),
    key("bay.usual_pad_high", amount(GaugePressure, 1e3, 7e5), Optional, "20 psi gauge",
        "upper end of that band"),

    key("bay.supply", Table, Optional, "",
        "the gas supply, for what `brimwatch check` says of a regulator that fails wide open; it is not watched"),
    key("bay.supply.pressure", amount(GaugePressure, 1e4, 4e7), Optional, "80 psi gauge", "pressure before the regulator"),
    key("bay.supply.orifice", amount(Length, 5e-4, 0.3), Optional, "6 mm",
        "diameter of the narrowest opening between there and the trailer with the regulator wide open"),
    key("bay.supply.relief", RATING, Optional, "24 psi gauge",
        "setting of the supply's own relief valve, read off its plate; left out: a check not yet met"),

    key("bay.line", Table, Required, "", "the line from the trailer's outlet to the tank"),
    key("bay.line.upstream", amount(Volume, 0.0, 20.0), Required, "15 L", "volume between trailer and meter"),
    key("bay.line.downstream", amount(Volume, 0.0, 20.0), Required, "40 L", "volume between meter and tank"),
    key("bay.line.volume_u", amount(Ratio, 0.0, 1.0), Default("10 %"), "10 %", "standard uncertainty of both volumes"),
    key("bay.line.starts", Choice(STARTS), Required, "empty", "what the line holds when a transfer starts"),
    key("bay.line.valve_closes", amount(Time, 0.0, 600.0), Required, "10 s", "from the act at the valve to no flow"),
    key("bay.line.blow_clear", amount(Mass, 0.0, 5000.0), Required, "60 kg",
        "liquid still pushed into the tank when the hose is blown clear"),
    key("bay.line.bore", amount(Length, 5e-3, 0.5), Optional, "52.5 mm",
        "inner diameter: for the gas that follows the liquid through the line and, with the product's viscosity, for how the flow goes with the pressure"),
    key("bay.line.outlet_height", amount(Length, -20.0, 20.0), Optional, "0.9 m",
        "the trailer's outlet above the tank's datum, where its level is 0: a finish is projected better, early on"),
    key("bay.line.loss", Number(0.1, 1e4), Optional, "30",
        "velocity heads that entry, hose, pipe and fittings cost in turbulent flow, without the exit (K of Crane TP-410); for `brimwatch check`"),

    key("bay.emergency", Table, Optional, "", "the bay's emergency card: where things are and whom to call, one tap away on its page"),
    key("bay.emergency.call", Text, Optional, "555 0199, works fire brigade; then the shift supervisor, 555 0103", "whom to call first, and how"),
    key("bay.emergency.stop", Text, Optional, "red button left of the ladder, second one at the gate", "where the emergency stop and the remote valve are"),
    key("bay.emergency.gas", Text, Optional, "ball valve with the yellow lever at the gas panel", "where the pad gas is shut off"),
    key("bay.emergency.shower", Text, Optional, "10 steps east of the trailer spot", "where the safety shower is"),
    key("bay.emergency.eyewash", Text, Optional, "beside the shower, and in the pump house", "where the eyewash is"),
    key("bay.emergency.way_out", Text, Optional, "gate 2, upwind by the windsock; meet at the canteen", "ways out and the meeting point"),
    key("bay.emergency.first_aid", Text, Optional, "control room, ground floor", "where first aid is, and who gives it"),

    key("bay.limits", Table, Required, "", "the site's limits; none has a default"),
    key("bay.limits.response_time", amount(Time, 1.0, 3600.0), Required, "60 s", "from call to valve closed"),
    key("bay.limits.attendance", amount(Time, 60.0, 7200.0), Optional, "15 min",
        "in a transfer the attendant on duty must say so often, at the bay's own screen, that they are there; left out: nobody is asked"),
    key("bay.limits.pad_maximum", RATING, Optional, "25 psi gauge",
        "the site's maximum of the pad pressure; without it the ceiling is not set"),
    key("bay.limits.pad_minimum", RATING, Optional, "10 psi gauge",
        "the least pad pressure that the site unloads with; below it, while liquid flows, an alarm comes; without it: none"),
    key("bay.limits.hose_rating", RATING, Optional, "150 psi gauge", "rating of the hose; without it: not set"),
    key("bay.limits.line_rating", RATING, Optional, "150 psi gauge", "rating of the line; without it: not set"),
    key("bay.limits.connection_rating", RATING, Optional, "150 psi gauge", "rating of the connection; without it: not set"),

    key("bay.signal", Tables, Required, "", "one measured quantity"),
    key("bay.signal.kind", Choice(super::signals::NAMES), Required, "level_m",
        "what it measures; the end of the word is the unit the program computes in, not the one that is read"),
    key("bay.signal.name", Text, Required, "tank 204 level", "name, for words about it; unlike any other of the bay"),
    key("bay.signal.device", Text, Required, "tank 204 gauges", "device that has it"),
    key("bay.signal.tank", Text, Optional, "204", "tank it belongs to; may be left out where the bay has one tank"),
    key("bay.signal.function", Integer(1, 4), Required, "3",
        "Modbus function: 1 coils, 2 discrete inputs, 3 holding registers, 4 input registers"),
    key("bay.signal.address", Integer(0, 65_536), Required, "100", "number of its first register, as the device's papers count"),
    key("bay.signal.type", Choice(TYPES), Required, "f32", "how the registers make a number"),
    key("bay.signal.order", Choice(ORDERS), Optional, "ABCD",
        "order of the bytes, most significant A; needed for types of more than one register"),
    key("bay.signal.bit", Integer(0, 15), Optional, "3",
        "for yes/no in a register: its bit, 0 the lowest; without it yes is any value but 0"),
    key("bay.signal.scale", Number(-1e12, 1e12), Default("1"), "0.1", "value = number x scale + offset, in the unit"),
    key("bay.signal.offset", Number(-1e12, 1e12), Default("0"), "-50", "see scale"),
    key("bay.signal.unit", Text, Optional, "mm", "unit of the value; needed but for yes/no and for a loop current"),
    key("bay.signal.ullage_from", OfSignal, Optional, "8.2 m",
        "for a level that is measured from above as ullage: height of the point it counts down from, above the tank's datum; left out: it counts up"),
    key("bay.signal.indicates", Choice(INDICATES), Default("mass"), "apparent_mass",
        "for a mass meter: what it was adjusted to show, mass or apparent mass (as weighed in air against 8000 kg/m3)"),
    key("bay.signal.at_4_ma", OfSignal, Optional, "0 m",
        "for a register that holds a loop current: what 4 mA stand for; scale and offset then make it mA"),
    key("bay.signal.at_20_ma", OfSignal, Optional, "8 m", "what 20 mA stand for"),
    key("bay.signal.upper_address", Integer(0, 65_536), Optional, "12",
        "for a value in two parts: number of the upper part's first register; same function and order"),
    key("bay.signal.upper_type", Choice(UPPER_TYPES), Default("u16"), "u16", "how its registers make a number"),
    key("bay.signal.upper_worth", Integer(2, 1_000_000_000_000), Optional, "1000000",
        "counts of the lower part that one count of the upper is worth; needed with upper_address"),
    key("bay.signal.true_when", Integer(0, 1), Default("1"), "0",
        "for yes/no: the bit that means yes (a switch that opens its contact when it trips: 0)"),
    key("bay.signal.plausible_low", OfSignal, Optional, "-20 C", "lowest plausible value; by kind where left out"),
    key("bay.signal.plausible_high", OfSignal, Optional, "90 C", "highest plausible value; by kind where left out"),
    key("bay.signal.saturates_at", OfSignal, Optional, "7.9 m", "from here on it shows its end of range; without it: not known"),
    key("bay.signal.rolls_over_at", DifferenceOfSignal, Optional, "1000000 kg",
        "for a total: where its counter is full and begins anew at 0; without it: not known, told from two readings in a row"),
    key("bay.signal.low_flow", DifferenceOfSignal, Optional, "0.05 kg/s",
        "for a flow rate: a meter that shows less may count nothing (its low-flow cut-off); up to a tenth of plausible_high; without it 0"),
    key("bay.signal.suppressed_in", Texts, Optional, r#"["idle", "closed"]"#,
        "phases in which neither its loss nor an unlikely reading of it is called out, because its device is off by design: idle, opened, closed; only of a line or pad-gas temperature, a gas supply pressure, a draw-off or a dew point; never in a transfer"),
    key("bay.signal.division", DifferenceOfSignal, Optional, "20 kg",
        "smallest step the value can make; needed for the scale, otherwise 0"),
    key("bay.signal.noise", DifferenceOfSignal, Optional, "2 mm", "white noise of one reading (1 sigma); by kind where left out"),
    key("bay.signal.slow_noise", DifferenceOfSignal, Optional, "5 kg",
        "noise that lasts: wind on a scale, waves under a gauge (1 sigma); by kind where left out"),
    key("bay.signal.slow_noise_lasts", amount(Time, 1.0, 600.0), Optional, "20 s",
        "time after which that noise has fallen to 1/e of itself; by kind where left out"),
    key("bay.signal.gain", amount(Ratio, 0.0, 0.2), Optional, "0.15 %", "relative error of the span (1 sigma); by kind where left out"),
    key("bay.signal.zero", DifferenceOfSignal, Optional, "2 mm", "error of the zero (1 sigma); by kind where left out"),
    key("bay.signal.drift_per_sqrt_h", DifferenceOfSignal, Optional, "10 kg",
        "random-walk drift per square root of an hour (1 sigma); by kind where left out"),
    key("bay.signal.lag", amount(Time, 0.0, 600.0), Optional, "5 s", "the value is this old when it is read; by kind where left out"),
    key("bay.signal.transmitter", Text, Optional, "LT-204",
        "name of the instrument, where several signals are of one: they can fail together; without it: one of its own"),
    key("bay.signal.status_address", Integer(0, 65_536), Optional, "30",
        "number of a register in which the device says how it does"),
    key("bay.signal.status_function", Integer(1, 4), Optional, "3", "its function; that of the signal where left out"),
    key("bay.signal.status_failure", BITS, Optional, "[0, 1]", "bits that say failure when set: the value is not used"),
    key("bay.signal.status_check", BITS, Optional, "[2]", "bits that say function check when set: not used for now"),
    key("bay.signal.status_out_of_spec", BITS, Optional, "[3]", "bits that say out of specification when set: doubtful"),
    key("bay.signal.status_maintenance", BITS, Optional, "[4]", "bits that say maintenance required when set: used"),
    key("bay.signal.status_sound", BITS, Optional, "[15]", "bits that are set while all is well: one that is not is a failure"),
];

/// Every key of a delivery file.
#[rustfmt::skip]
pub const DELIVERY: &[Key] = &[
    key("id", Text, Required, "2026-0417", "number or name of the delivery, the same for all its legs"),
    key("bay", Text, Required, "Bay 1", "bay it is unloaded at"),
    key("tank", Text, Required, "204", "tank it goes to"),
    key("product", Text, Required, "caustic soda 50 %", "product as the papers say; must be what the tank holds"),
    key("load_temperature", amount(Temperature, -100.0, 300.0), Required, "35 C", "temperature of the load as its papers say"),
    key("planned", amount(Mass, 10.0, 100_000.0), Required, "20 t", "how much is meant to be unloaded, in this leg where there are several"),
    key("leg", Table, Optional, "", "where the load does not go into one tank in one go: which leg of the delivery this is, each leg with papers of its own under the same id"),
    key("leg.number", Integer(1, 99), Optional, "2", "leg, from 1, which it is where left out: one compartment, or what is left of one, into one tank"),
    key("leg.on_board", amount(Mass, 10.0, 100_000.0), Optional, "10080 kg",
        "what the trailer holds before this leg, or its compartment; the ticket's load where left out, which only the first leg may"),
    key("leg.on_board_u", difference(Mass, 0.0, 5000.0), Optional, "31 kg", "its standard uncertainty; with on_board"),
    key("ticket", Table, Required, "", "the weigh ticket"),
    key("ticket.net", amount(Mass, 10.0, 100_000.0), Required, "20060 kg", "net, as printed"),
    key("ticket.u", difference(Mass, 0.0, 5000.0), Default("26 kg"), "26 kg",
        "its standard uncertainty; by default that of gross less tare on a 20 kg class III scale in service"),
    key("ticket.gross", amount(Mass, 10.0, 200_000.0), Optional, "35120 kg", "gross, as printed; with tare it is held against net"),
    key("ticket.tare", amount(Mass, 10.0, 200_000.0), Optional, "15060 kg", "tare, as printed"),
    key("density", Table, Optional, "", "density of this load, as its certificate says; without it the product's own table is taken"),
    key("density.at", amount(Density, 400.0, 3000.0), Optional, "1526.1 kg/m3", "density at the reference temperature"),
    key("density.temperature", amount(Temperature, -100.0, 300.0), Optional, "20 C", "the reference temperature"),
    key("density.slope_kg_per_m3_per_c", Number(-20.0, 0.0), Optional, "-0.72",
        "change of the density with each C: that between two rows of a table, never positive"),
    key("density.table", DENSITIES, Optional, r#"[["20 C", "1526.1 kg/m3"], ["40 C", "1511.7 kg/m3"]]"#,
        "or density at rising temperatures; straight lines between, nothing beyond the ends"),
    key("density.u", amount(Ratio, 0.0, 0.1), Optional, "0.05 %", "its standard uncertainty; the product's own where left out"),
    key("density.source", Text, Default("papers of this load"), "certificate 4711", "which paper says so"),
    key("trailer", Table, Required, "", "the trailer"),
    key("trailer.volume", amount(Volume, 0.5, 80.0), Required, "15.5 m3", "volume of the trailer"),
    key("trailer.volume_u", amount(Ratio, 0.0, 0.2), Default("1 %"), "1 %", "standard uncertainty of that volume"),
    key("line", Table, Optional, "", "the line, where this load comes through another than the site file describes"),
    key("line.upstream", amount(Volume, 0.0, 20.0), Optional, "22 L", "volume between trailer and meter; the site's where left out"),
    key("line.downstream", amount(Volume, 0.0, 20.0), Optional, "40 L", "volume between meter and tank; the site's where left out"),
    key("plate", Table, Required, "", "what the trailer's plate says, typed off the plate; nothing has a default"),
    key("plate.specification", Text, Optional, "DOT 407", "specification as stamped; without it: not set"),
    key("plate.mawp", PLATE, Optional, "30 psi gauge",
        "maximum allowable working pressure; without it the ceiling is not set"),
    key("plate.relief_from", PLATE, Optional, "36 psi gauge", "lowest start to discharge of the relief valve; without it: not set"),
    key("plate.relief_to", PLATE, Optional, "39.6 psi gauge", "highest start to discharge of the relief valve; without it: not set"),

    key("trailer.pressure_found", amount(GaugePressure, -5e4, 1e6), Optional, "8 psi gauge", "pressure on the trailer's own gauge at arrival"),
    key("trailer.temperature_found", amount(Temperature, -100.0, 300.0), Optional, "95 F", "temperature on the trailer's own thermometer at arrival"),
    key("trailer.product_tag", Text, Optional, "caustic soda 50 %", "product as the tag on the trailer's outlet says"),
    key("seals", Table, Optional, "", "seals of dome, valves and outlet"),
    key("seals.expected", Texts, Optional, r#"["88101", "88102"]"#, "their numbers, as the papers say"),
    key("seals.found", Texts, Optional, r#"["88101", "88102"]"#, "their numbers, as read on the trailer"),
    key("seals.unbroken", Flag, Optional, "true", "whether every seal was found unbroken; left out: a person enters it on the page"),
    key("certificate", Table, Optional, "", "certificate of analysis"),
    key("certificate.number", Text, Optional, "C-2217", "its number or name"),
    key("certificate.property", Tables, Optional, "", "one property on it"),
    key("certificate.property.name", Text, Required, "sodium hydroxide", "name"),
    key("certificate.property.value", Number(-1e9, 1e9), Optional, "49.7", "value as printed; left out: the certificate has none, and the check says so"),
    key("certificate.property.unit", Text, Required, "% by mass", "unit of value and limits, as printed"),
    key("certificate.property.low", Number(-1e9, 1e9), Optional, "49", "lowest value that is taken; without both limits: a check not yet met"),
    key("certificate.property.high", Number(-1e9, 1e9), Optional, "51", "highest value that is taken"),
    key("shipping", Table, Optional, "", "shipping papers and marking"),
    key("shipping.description", Text, Optional, "UN1824, Sodium hydroxide solution, 8, II", "shipping description, as on the papers"),
    key("shipping.marking_found", Text, Optional, "1824, 8", "hazard marking, as read on the trailer"),
    key("carrier", Table, Optional, "", "who brings it"),
    key("carrier.name", Text, Optional, "Reach Haulage", "carrier"),
    key("carrier.driver", Text, Optional, "driver 17", "who drives, as on the pass shown at the gate"),
];

/// Separators of a history's fields, as a column map writes them.
pub(super) const SEPARATORS: &[&str] = &["comma", "semicolon", "tab"];
/// Decimal marks of a history's numbers.
pub(super) const DECIMALS: &[&str] = &["point", "comma"];
/// What an empty field of a history says.
pub(super) const EMPTIES: &[&str] = &["missed", "nothing"];
/// Entries that a column map can give.
pub(super) const ENTERED: &[&str] = &["transfer_started", "closed"];

/// Every key of a column map: how a recorded history's table is read.
#[rustfmt::skip]
pub const COLUMNS: &[Key] = &[
    key("separator", Choice(SEPARATORS), Default("comma"), "semicolon", "what stands between two fields"),
    key("decimal", Choice(DECIMALS), Default("point"), "comma", "decimal mark of the numbers"),
    key("header_line", Integer(1, 1000), Default("1"), "1", "line of the file that names the columns; what stands before it is passed over"),
    key("empty_means", Choice(EMPTIES), Default("missed"), "nothing",
        "what an empty field says: missed (asked, no answer) or nothing (no new value at that time)"),
    key("empty", Texts, Optional, r#"["-", "null"]"#, "texts that count as an empty field; one without text always does"),
    key("bad", Texts, Optional, r#"["Bad", "No Data"]"#, "texts that say that the value is no value"),
    key("period", amount(Time, 0.05, 3600.0), Optional, "10 s",
        "longest time between two readings that is on time; each device's own where that is longer"),
    key("from", Text, Optional, "2026-03-01T10:00:00+01:00", "rows before it are passed over"),
    key("to", Text, Optional, "2026-03-01T12:30:00+01:00", "rows after it are passed over"),

    key("time", Table, Required, "", "how a row says when it was"),
    key("time.columns", Texts, Required, r#"["Date", "Time"]"#, "the column of the time; several are joined by a space"),
    key("time.format", Text, Required, "%d.%m.%Y %H:%M:%S%.f",
        "rfc3339, epoch_s, epoch_ms, or a pattern of the kind strptime takes"),
    key("time.zone", Text, Optional, "Europe/Berlin", "IANA zone of times that carry no offset of their own"),

    key("one_value_a_row", Table, Optional, "",
        "a history in which each row holds one value and its name; the columns of signals and phase are then such names"),
    key("one_value_a_row.name", Text, Optional, "Tag", "column that says which value a row holds"),
    key("one_value_a_row.value", Text, Optional, "Value", "column of the value"),

    key("phase", Table, Optional, "", "a column from which the entries are read"),
    key("phase.column", Text, Optional, "STEP", "column that says in which phase the bay was"),
    key("phase.transfer", Texts, Optional, r#"["UNLOADING"]"#, "its texts during a transfer: the first row of one enters \"transfer started\""),
    key("phase.closed", Texts, Optional, r#"["CLOSED"]"#, "its texts when the leg is closed: the first row of one enters \"closed\""),
    key("phase.who", Text, Default("history"), "shift log", "who is said to have entered it"),

    key("entry", Tables, Optional, "", "an entry at a known time"),
    key("entry.at", Text, Required, "2026-03-01T10:15:00+01:00", "when, with an offset, or without one in the zone of time.zone"),
    key("entry.what", Choice(ENTERED), Required, "transfer_started", "what was entered"),
    key("entry.who", Text, Default("history"), "shift log", "who entered it"),

    key("signal", Tables, Required, "", "one signal of the bay and the column that holds its values"),
    key("signal.signal", Text, Required, "truck scale", "name of the signal in the site file"),
    key("signal.column", Text, Required, "WT 12 gross", "name of the column"),
    key("signal.unit", Text, Optional, "kg", "unit of the value; needed but for yes/no"),
    key("signal.scale", Number(-1e12, 1e12), Default("1"), "0.1", "value = number x scale + offset, in the unit"),
    key("signal.offset", Number(-1e12, 1e12), Default("0"), "-50", "see scale"),
    key("signal.held_longer_than", amount(Time, 0.0, 86_400.0), Optional, "30 s",
        "a value that has been the same for longer is taken for one held by the history, not for a new reading"),
    key("signal.quality", Text, Optional, "WT 12 quality", "column that says whether the value holds; with good"),
    key("signal.good", Texts, Optional, r#"["Good", "192"]"#, "its texts while the value holds; under any other the device says failure"),
    key("signal.yes", Texts, Optional, r#"["ON", "1"]"#, "for yes/no: texts that mean yes; 1, true, yes and on without it"),
    key("signal.no", Texts, Optional, r#"["OFF", "0"]"#, "for yes/no: texts that mean no; 0, false, no and off without it"),
];

/// Every key of a product file.
#[rustfmt::skip]
pub const PRODUCT: &[Key] = &[
    key("name", Text, Required, "caustic soda 50 %", "name, as deliveries write it"),
    key("density", DENSITIES, Required, r#"[["20 C", "1525.3 kg/m3"], ["40 C", "1510.9 kg/m3"]]"#,
        "density at rising temperatures; straight lines between, nothing beyond the ends"),
    key("density_u", amount(Ratio, 0.0, 0.1), Required, "0.1 %", "standard uncertainty of the density"),
    key("viscosity", VISCOSITIES, Optional, r#"[["20 C", "81.5 mPa s"], ["40 C", "23.8 mPa s"]]"#,
        "dynamic viscosity at rising temperatures, straight lines in its logarithm between; with line.bore a finish is projected better, early on"),
    key("confirmed", Flag, Required, "false", "whether somebody has read the table in its source"),
    key("source", Text, Required, "certificate of analysis", "where the table comes from, with its standing"),
    key("shipping_description", Text, Optional, "UN1824, Sodium hydroxide solution, 8, II",
        "shipping description that a delivery's papers must have; left out: a check not yet met"),
    key("marking", Text, Optional, "1824, 8", "hazard marking that the trailer must bear; left out: a check not yet met"),
    key("temperature_low", amount(Temperature, -100.0, 300.0), Optional, "20 C", "coldest load that is taken; without both: a check not yet met"),
    key("temperature_high", amount(Temperature, -100.0, 300.0), Optional, "60 C", "warmest load that is taken"),
];

/// Every key of a file of steps.
#[rustfmt::skip]
pub const STEPS: &[Key] = &[
    key("step", Tables, Required, "", "one step of a delivery; the steps stand in the order in which they are made"),
    key("step.id", Text, Required, "leak_check", "name of the step in entries and on record: small letters, digits and _, unlike any other"),
    key("step.text", Text, Required, "Every joint looked at; nothing seeps.", "what is to be done and seen, as the page shows it"),
    key("step.care", Text, Optional, "Nitrogen can asphyxiate: nobody at the vent.", "how to keep from harm meanwhile, shown below it"),
    key("step.for", Texts, Optional, r#"["pad"]"#,
        "bays that it is for, any of: pad, plant_gas, tractor_gas, pump, vapour_return, scrubber; left out: all"),
    key("step.signed_by", Choice(SIGNED_BY), Default("site"), "both", "whose signature it needs; both: two people, one for each side"),
    key("step.role", Choice(RIGHTS), Default("attend"), "engineer",
        "least role, as in the file of people, of whoever signs for the site; where the site names no people, whoever is at this machine may"),
    key("step.hold_point", Flag, Default("false"), "true",
        "it needs every step before it, and nothing behind it is signed before it is; only an engineer may let it go unsigned"),
    key("step.proof", Flag, Default("false"), "true", "whoever signs must write what was seen on the spot"),
    key("step.forbidden_while", Texts, Optional, r#"["not_started", "switch_tripped"]"#,
        "what forbids that it is signed, any of: checks_open, started, not_started, not_closed, flows, switch_tripped, emergency_stop, shutoff_bypassed, disagree, pad_at_ceiling, gas_over_vent, tank_pressure_high"),
    key("step.pad_below", amount(GaugePressure, 0.0, 7e5), Optional, "5 psi gauge", "it is forbidden while the pad is below this"),
    key("step.pad_above", amount(GaugePressure, 0.0, 7e5), Optional, "10 psi gauge", "it is forbidden while the pad is above this"),
    key("step.after_blow", amount(Time, 1.0, 3600.0), Optional, "60 s",
        "it is forbidden until so long after the hose was last blown clear"),
    key("step.risen_less", amount(Mass, 10.0, 20_000.0), Optional, "300 kg",
        "it is forbidden until the tank's own gauge shows so much received since the start"),
    key("step.other_rises", amount(Mass, 10.0, 20_000.0), Optional, "300 kg",
        "it is forbidden once another tank of the bay has risen by so much since the start"),
];
