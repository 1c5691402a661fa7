//! One signal's registers and uncertainties.

use super::amount;
use super::fault::Draft;
use super::keys::Bounds;
use super::signals::SignalForm;
use super::walk::Table;
use crate::engine::alarm::catalogue;
use crate::engine::frame::Phase;
use crate::engine::settings::{SignalKind, SignalSetup};
use crate::engine::total;
use crate::poll::registers::{DataType, Place, Register, Span, UpperPart, WordOrder};
use crate::units::{Quantity, Unit};

/// Beyond any quantity of a bay, in any of the SI units used.
const BEYOND: f64 = 1e12;
/// The foot of a meter's range lies below this part of the highest plausible flow (assumption).
const LOW_FLOW_MOST: f64 = 0.1;

/// Where the value is found, and what the device says about it.
pub(super) fn place(draft: &mut Draft, table: &Table, form: &SignalForm, base: i64) -> Place {
    let register = register(draft, table, form, base);
    Place {
        upper: upper(draft, table, &register, base),
        status: super::status::status(draft, table, register.function, base),
        register,
    }
}

/// Where the value is found and how it becomes SI.
fn register(draft: &mut Draft, table: &Table, form: &SignalForm, base: i64) -> Register {
    let data = data_type(draft, table, form);
    let order = table.optional_text("order").and_then(WordOrder::named).unwrap_or(WordOrder::Abcd);
    let (factor, offset, current) = to_si(draft, table, form);
    let function = u8::try_from(table.integer("function")).unwrap_or_default();
    let bit = bit(draft, table, form, function);
    let register = Register { bit, factor, offset, current, ..Register::plain(function, 0, data, order) };
    if register.count() > 1 && !table.is_written("order") {
        draft
            .fault(table.spot("type"), table.path("order"), "is missing: the type takes more than one register")
            .allowed(super::keys::ORDERS.join(", "))
            .act("look it up in the device's papers; ABCD is the order within the Modbus standard itself");
    }
    let bits = matches!(function, 1 | 2);
    if bits && data != DataType::Bool && form.quantity != Quantity::YesNo && table.has("type") {
        draft
            .fault(table.spot("type"), table.path("type"), "does not fit: functions 1 and 2 read single bits")
            .allowed("bool with functions 1 and 2")
            .act("use function 3 or 4 for numbers");
    }
    Register { address: wire_address(draft, table, "address", register.count(), base), ..register }
}

/// The address on the wire of the first of `count` registers; `base` is the number the device's papers begin with.
pub(super) fn wire_address(draft: &mut Draft, table: &Table, key: &str, count: u16, base: i64) -> u16 {
    let Some(address) = table.optional_integer(key) else { return 0 };
    let (low, high) = (base, 65_536 - i64::from(count) + base);
    if !(low..=high).contains(&address) {
        draft
            .fault(table.spot(key), table.path(key), format!("{address} is out of range"))
            .allowed(format!("{low} to {high}, as the device counts from {base}"))
            .act("correct the address, or address_base of the device");
    }
    u16::try_from(address - base).unwrap_or_default()
}

/// Which bit of a register a yes/no is.
fn bit(draft: &mut Draft, table: &Table, form: &SignalForm, function: u8) -> Option<u8> {
    let bit = table.optional_integer("bit")?;
    let fits = form.quantity == Quantity::YesNo && !matches!(function, 1 | 2);
    if !fits && table.has("kind") && table.has("function") {
        let what = if form.quantity == Quantity::YesNo {
            "does not fit: functions 1 and 2 read single bits already"
        } else {
            "belongs to a yes or no, and the signal is a number"
        };
        draft
            .fault(table.spot("bit"), table.path("bit"), what)
            .allowed("yes or no, with functions 3 and 4")
            .act("take the line out, or correct kind or function");
    }
    u8::try_from(bit).ok()
}

/// The upper part of a value in two parts.
fn upper(draft: &mut Draft, table: &Table, register: &Register, base: i64) -> Option<UpperPart> {
    if !table.is_written("upper_address") {
        for key in ["upper_type", "upper_worth"].into_iter().filter(|key| table.is_written(key)) {
            draft
                .fault(table.spot(key), table.path(key), "says something about an upper part, but there is none")
                .act("write upper_address, or take the line out");
        }
        return None;
    }
    // So many different numbers the lower part can hold.
    let counts: Option<i64> = match register.data {
        DataType::U16 => Some(1 << 16),
        DataType::U32 => Some(1 << 32),
        DataType::Bcd16 => Some(10_000),
        DataType::Bcd32 => Some(100_000_000),
        _ => None,
    };
    if (counts.is_none() && table.has("type")) || register.current.is_some() {
        draft
            .fault(table.spot("upper_address"), table.path("upper_address"), "does not fit: no count in two parts")
            .allowed("a lower part of type u16, u32, bcd16 or bcd32, and no loop current")
            .act("take upper_address and what belongs to it out, or correct type");
    }
    let data = if table.text("upper_type") == "u32" { DataType::U32 } else { DataType::U16 };
    if data == DataType::U32 && register.count() == 1 && !table.is_written("order") {
        draft
            .fault(table.spot("upper_type"), table.path("order"), "is missing: the upper part takes two registers")
            .allowed(super::keys::ORDERS.join(", "))
            .act("look it up in the device's papers; ABCD is the order within the Modbus standard itself");
    }
    let worth = table.integer("upper_worth");
    if !table.is_written("upper_worth") {
        draft
            .fault(table.spot("upper_address"), table.path("upper_worth"), "is missing: nothing says what it counts")
            .act("write how many counts of the lower part it is worth, for example: upper_worth = 1000000");
    } else if let Some(most) = counts.filter(|most| worth > *most) {
        draft
            .fault(table.spot("upper_worth"), table.path("upper_worth"), format!("{worth} is more than fits"))
            .allowed(format!("2 to {most}: the lower part has so many values, and then the upper counts one on"))
            .act("correct upper_worth or type; it is in counts of the lower part, not in the unit");
    }
    let count = Register::plain(0, 0, data, register.order).count();
    let address = wire_address(draft, table, "upper_address", count, base);
    Some(UpperPart { address, data, worth: u64::try_from(worth).unwrap_or_default() })
}

fn data_type(draft: &mut Draft, table: &Table, form: &SignalForm) -> DataType {
    let data = DataType::named(table.text("type")).unwrap_or(DataType::U16);
    let yes_no = form.quantity == Quantity::YesNo;
    if table.has("type") && table.has("kind") && yes_no != (data == DataType::Bool) {
        let (what, act) = if yes_no {
            ("is a number, but the signal is yes or no", "write type = \"bool\"")
        } else {
            ("is yes or no, but the signal is a number", "write the number's type, for example: type = \"f32\"")
        };
        draft.fault(table.spot("type"), table.path("type"), what).act(act);
    }
    data
}

/// Factor and offset from the register's number to SI, or to the mA of a loop current and what that stands for. A
/// yes/no is yes where the result is not 0.
fn to_si(draft: &mut Draft, table: &Table, form: &SignalForm) -> (f64, f64, Option<Span>) {
    let span = span(draft, table, form);
    let unit = if span.is_some() { None } else { unit(draft, table, form) };
    if form.quantity == Quantity::YesNo {
        let (factor, offset) = if table.integer("true_when") == 0 { (-1.0, 1.0) } else { (1.0, 0.0) };
        return (factor, offset, None);
    }
    let (scale, offset) = (table.number("scale"), table.number("offset"));
    if scale == 0.0 {
        draft
            .fault(table.spot("scale"), table.path("scale"), "is 0: every number would mean the same")
            .allowed("any number but 0")
            .act("write what one count of the register is worth in the unit, for example: scale = 0.1");
    }
    let down_from = ullage_from(draft, table, form);
    match (span, unit, down_from) {
        (Some(span), _, None) => (scale, offset, Some(span)),
        (Some(span), _, Some(top)) => {
            (scale, offset, Some(Span { at_4_ma: top - span.at_4_ma, at_20_ma: top - span.at_20_ma }))
        }
        (None, Some(unit), None) => (unit.step_to_si(scale), unit.to_si(offset), None),
        (None, Some(unit), Some(top)) => (-unit.step_to_si(scale), top - unit.to_si(offset), None),
        (None, None, _) => (f64::NAN, f64::NAN, None),
    }
}

/// The height that an ullage counts down from, m; None: a level counts up.
fn ullage_from(draft: &mut Draft, table: &Table, form: &SignalForm) -> Option<f64> {
    let text = table.optional_text("ullage_from").filter(|_| table.has("kind"))?;
    if form.kind != SignalKind::Level {
        draft
            .fault(table.spot("ullage_from"), table.path("ullage_from"), format!("{} is no ullage", form.name))
            .allowed("signal level_m")
            .act("take the line out");
        return None;
    }
    let bounds = Bounds { quantity: form.quantity, low: 0.0, high: BEYOND };
    Some(amount::value(draft, table.spot("ullage_from"), &table.path("ullage_from"), text, bounds))
}

/// What the ends of a loop current stand for; `None` where the register holds the quantity itself.
fn span(draft: &mut Draft, table: &Table, form: &SignalForm) -> Option<Span> {
    let keys = ["at_4_ma", "at_20_ma"];
    let written = keys.into_iter().find(|key| table.is_written(key))?;
    if form.quantity == Quantity::YesNo && table.has("kind") {
        draft
            .fault(table.spot(written), table.path(written), "belongs to a number, and the signal is yes or no")
            .act("take the line out, or correct kind");
        return None;
    }
    for missing in keys.into_iter().filter(|key| !table.is_written(key)) {
        draft
            .fault(table.spot(written), table.path(missing), format!("is missing: {written} stands alone"))
            .act("write both ends of the loop's range, for example: at_4_ma = \"0 m\" and at_20_ma = \"8 m\"");
    }
    if table.is_written("unit") {
        draft
            .fault(table.spot("unit"), table.path("unit"), "has no place where the register holds a loop current")
            .allowed("scale and offset that make the register's number mA; the ends have their own units")
            .act("take the line out");
    }
    let bounds = Bounds { quantity: form.quantity, low: -BEYOND, high: BEYOND };
    let mut end = |key: &str| {
        let text = table.optional_text(key).filter(|_| table.has("kind"));
        text.map_or(f64::NAN, |text| amount::value(draft, table.spot(key), &table.path(key), text, bounds))
    };
    let span = Span { at_4_ma: end("at_4_ma"), at_20_ma: end("at_20_ma") };
    if span.at_4_ma == span.at_20_ma {
        draft
            .fault(
                table.spot("at_20_ma"),
                table.path("at_20_ma"),
                "is the same as at_4_ma: every current would mean it",
            )
            .act("correct the loop's range: it stands in the transmitter's settings");
    }
    Some(span)
}

/// The unit that the register counts in.
fn unit(draft: &mut Draft, table: &Table, form: &SignalForm) -> Option<Unit> {
    let yes_no = form.quantity == Quantity::YesNo;
    let names = amount::units(form.quantity);
    let Some(name) = table.optional_text("unit") else {
        if !yes_no && table.has("kind") && !table.is_written("unit") {
            draft
                .fault(table.at(), table.path("unit"), format!("is missing: {} needs one", form.name))
                .allowed(names)
                .act("write the unit that the device's papers give for this register");
        }
        return None;
    };
    let unit = Unit::parse(name).filter(|unit| unit.quantity == form.quantity);
    if unit.is_none() && table.has("kind") {
        let what = match Unit::parse(name) {
            Some(other) => format!(
                "{name:?} is a unit of {}, but {} measures {}",
                amount::word(other.quantity),
                form.name,
                amount::word(form.quantity)
            ),
            None => format!("{name:?} is no known unit"),
        };
        draft
            .fault(table.spot("unit"), table.path("unit"), what)
            .allowed(names)
            .nearest(super::fault::nearest(name, Unit::names(form.quantity)))
            .act("write one of these, or correct the kind");
    }
    unit
}

/// The foot of a meter's range: of a rate, and far below what it is there to measure.
fn low_flow(draft: &mut Draft, table: &Table, form: &SignalForm, setup: &SignalSetup) {
    if !table.has("low_flow") || !table.has("kind") {
        return;
    }
    let (spot, path) = (table.spot("low_flow"), table.path("low_flow"));
    if !matches!(form.kind, SignalKind::FlowMassRate | SignalKind::FlowVolumeRate) {
        draft
            .fault(spot, path, format!("{} is no flow rate", form.name))
            .allowed("signals flow_kg_per_s and flow_m3_per_s")
            .act("write it at the flow rate, or take the line out");
    } else if setup.low_flow > LOW_FLOW_MOST * setup.plausible_high {
        let si = form.quantity.si_name();
        draft
            .fault(spot, path, format!("{} {si}: no meter is blind so far up", setup.low_flow))
            .allowed(format!("0 to a tenth of plausible_high, {} {si}", LOW_FLOW_MOST * setup.plausible_high))
            .act("correct the value or its unit");
    }
}

/// Phases in which its device is off by design; nothing for what warns of harm or makes a witness.
fn suppressed_in(draft: &mut Draft, table: &Table, form: &SignalForm) -> Vec<Phase> {
    const KEY: &str = "suppressed_in";
    if table.has(KEY) && table.has("kind") && !catalogue::is_spare(form.kind) {
        draft
            .fault(table.spot(KEY), table.path(KEY), format!("{} is never suppressed", form.name))
            .allowed("line and pad-gas temperature, gas supply pressure, draw-off, dew point")
            .act("take the line out: what warns of harm or makes a witness is called out in every phase");
        return Vec::new();
    }
    let mut phases = Vec::new();
    for (text, spot) in table.texts(KEY) {
        match text.as_str() {
            "idle" => phases.push(Phase::Idle),
            "opened" => phases.push(Phase::Opened),
            "closed" => phases.push(Phase::Closed),
            _ => {
                draft
                    .fault(spot, table.path(KEY), format!("{text:?} is no phase in which an alarm may be suppressed"))
                    .allowed("idle, opened, closed")
                    .act("write those in which the device is off; in a transfer everything is called out");
            }
        }
    }
    phases.sort_unstable_by_key(|phase| *phase as u8);
    phases.dedup();
    phases
}

/// Range and uncertainties: as written, by kind where left out. Device and tank are filled in by the caller.
pub(super) fn uncertainty(draft: &mut Draft, table: &Table, form: &SignalForm) -> SignalSetup {
    let steps = Bounds { quantity: form.quantity, low: 0.0, high: BEYOND };
    let values = Bounds { low: -BEYOND, ..steps };
    let mut get = |key: &str, bounds: Bounds| {
        // Without a kind nobody knows what the value should be of.
        let text = table.optional_text(key).filter(|_| table.has("kind"))?;
        let read = if bounds.low < 0.0 { amount::value } else { amount::difference };
        Some(read(draft, table.spot(key), &table.path(key), text, bounds))
    };
    let setup = SignalSetup {
        kind: form.kind,
        name: table.text("name").to_owned(),
        device: 0,
        tank: None,
        transmitter: table.optional_text("transmitter").map(str::to_owned),
        plausible_low: get("plausible_low", values).unwrap_or(form.plausible.0),
        plausible_high: get("plausible_high", values).unwrap_or(form.plausible.1),
        saturates_at: get("saturates_at", values),
        division: get("division", steps).unwrap_or(0.0),
        noise: get("noise", steps).unwrap_or(form.noise),
        slow_noise: get("slow_noise", steps).unwrap_or(form.slow_noise),
        slow_noise_s: table.optional_number("slow_noise_lasts").unwrap_or(form.slow_noise_s),
        gain: table.optional_number("gain").unwrap_or(form.gain),
        zero: get("zero", steps).unwrap_or(form.zero),
        drift_per_sqrt_h: get("drift_per_sqrt_h", steps).unwrap_or(form.drift_per_sqrt_h),
        lag_s: table.optional_number("lag").unwrap_or(form.lag_s),
        rolls_over_at: get("rolls_over_at", steps),
        may_roll_over_at: Vec::new(),
        low_flow: get("low_flow", steps).unwrap_or(0.0),
        suppressed_in: Vec::new(),
        apparent_mass: table.text("indicates") == "apparent_mass",
    };
    if setup.apparent_mass && !matches!(form.kind, SignalKind::FlowMassTotal | SignalKind::FlowMassRate) {
        draft
            .fault(table.spot("indicates"), table.path("indicates"), format!("{} is no mass meter's", form.name))
            .allowed("signals flow_total_kg and flow_kg_per_s")
            .act("take the line out");
    }
    let setup = SignalSetup { suppressed_in: suppressed_in(draft, table, form), ..setup };
    low_flow(draft, table, form, &setup);
    if setup.rolls_over_at.is_some() && !total::is_total(form.kind) {
        draft
            .fault(table.spot("rolls_over_at"), table.path("rolls_over_at"), format!("{} counts nothing", form.name))
            .allowed("signals flow_total_kg and flow_total_m3")
            .act("take the line out");
    }
    if setup.plausible_low >= setup.plausible_high {
        let key = if table.has("plausible_high") { "plausible_high" } else { "plausible_low" };
        draft
            .fault(table.spot(key), table.path(key), "leaves no plausible value")
            .allowed("plausible_low below plausible_high")
            .act("correct the range");
    }
    if form.kind == SignalKind::Scale && !table.has("division") && table.has("kind") {
        draft
            .fault(table.at(), table.path("division"), "is missing: it stands on the scale's plate")
            .act("write it, for example: division = \"20 kg\"");
    }
    setup
}

/// Where a total may begin anew: a counter of four to twelve decimal digits in its unit, and what its register holds.
pub(super) fn may_roll_over_at(table: &Table, form: &SignalForm, place: &Place) -> Vec<f64> {
    let unit = table.optional_text("unit").and_then(Unit::parse).filter(|unit| unit.quantity == form.quantity);
    let Some(unit) = unit.filter(|_| total::is_total(form.kind)) else { return Vec::new() };
    let digits = ["1e3", "1e4", "1e5", "1e6", "1e7", "1e8", "1e9", "1e10", "1e11", "1e12"];
    let decimal = digits.into_iter().filter_map(|d| d.parse().ok()).map(|counts: f64| unit.step_to_si(counts));
    let counts = match place.register.data {
        DataType::U16 | DataType::I16 => Some(65_536.0),
        DataType::U32 | DataType::I32 => Some(4_294_967_296.0),
        DataType::Bcd16 => Some(1e4),
        DataType::Bcd32 => Some(1e8),
        _ => None,
    };
    let register = counts.map(|counts: f64| (counts * place.register.factor).abs()).filter(|_| place.upper.is_none());
    let mut widths: Vec<f64> = decimal.chain(register).filter(|width| width.is_finite() && *width > 0.0).collect();
    widths.sort_by(f64::total_cmp);
    widths
}
