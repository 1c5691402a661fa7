//! One signal's register and uncertainties.

use super::amount;
use super::fault::Draft;
use super::keys::Bounds;
use super::signals::SignalForm;
use super::walk::Table;
use crate::engine::settings::{SignalKind, SignalSetup};
use crate::poll::registers::{DataType, Register, WordOrder};
use crate::units::{Quantity, Unit};

/// Where the value is found and how it becomes SI.
pub(super) fn register(draft: &mut Draft, table: &Table, form: &SignalForm, address_base: i64) -> Register {
    let data = data_type(draft, table, form);
    let order = match table.optional_text("order") {
        Some("CDAB") => WordOrder::Cdab,
        Some("BADC") => WordOrder::Badc,
        Some("DCBA") => WordOrder::Dcba,
        _ => WordOrder::Abcd,
    };
    let (factor, offset) = to_si(draft, table, form);
    let function = u8::try_from(table.integer("function")).unwrap_or_default();
    let mut register = Register { factor, offset, ..Register::plain(function, 0, data, order) };
    if register.count() > 1 && !table.has("order") {
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
    if table.has("address") {
        let (low, high) = (address_base, 65_536 - i64::from(register.count()) + address_base);
        let address = table.integer("address");
        if !(low..=high).contains(&address) {
            draft
                .fault(table.spot("address"), table.path("address"), format!("{address} is out of range"))
                .allowed(format!("{low} to {high}, as the device counts from {address_base}"))
                .act("correct the address, or address_base of the device");
        }
        register.address = u16::try_from(address - address_base).unwrap_or_default();
    }
    register
}

fn data_type(draft: &mut Draft, table: &Table, form: &SignalForm) -> DataType {
    let data = match table.text("type") {
        "i16" => DataType::I16,
        "u32" => DataType::U32,
        "i32" => DataType::I32,
        "u64" => DataType::U64,
        "i64" => DataType::I64,
        "f32" => DataType::F32,
        "f64" => DataType::F64,
        "bool" => DataType::Bool,
        _ => DataType::U16,
    };
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

/// Factor and offset from the register's number to SI. A yes/no is yes where the result is not 0.
fn to_si(draft: &mut Draft, table: &Table, form: &SignalForm) -> (f64, f64) {
    let unit = unit(draft, table, form);
    if form.quantity == Quantity::YesNo {
        return if table.integer("true_when") == 0 { (-1.0, 1.0) } else { (1.0, 0.0) };
    }
    let (scale, offset) = (table.number("scale"), table.number("offset"));
    if scale == 0.0 {
        draft
            .fault(table.spot("scale"), table.path("scale"), "is 0: every number would mean the same")
            .allowed("any number but 0")
            .act("write what one count of the register is worth in the unit, for example: scale = 0.1");
    }
    unit.map_or((f64::NAN, f64::NAN), |unit| (unit.step_to_si(scale), unit.to_si(offset)))
}

/// The unit that the register counts in.
fn unit(draft: &mut Draft, table: &Table, form: &SignalForm) -> Option<Unit> {
    let yes_no = form.quantity == Quantity::YesNo;
    let names = amount::units(form.quantity);
    let Some(name) = table.optional_text("unit") else {
        if !yes_no && table.has("kind") {
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

/// Range and uncertainties: as written, by kind where left out. Device and tank are filled in by the caller.
pub(super) fn uncertainty(draft: &mut Draft, table: &Table, form: &SignalForm) -> SignalSetup {
    /// Beyond any quantity of a bay, in any of the SI units used.
    const BEYOND: f64 = 1e12;
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
        transmitter: None,
        plausible_low: get("plausible_low", values).unwrap_or(form.plausible.0),
        plausible_high: get("plausible_high", values).unwrap_or(form.plausible.1),
        saturates_at: get("saturates_at", values),
        division: get("division", steps).unwrap_or(0.0),
        noise: get("noise", steps).unwrap_or(form.noise),
        gain: table.optional_number("gain").unwrap_or(form.gain),
        zero: get("zero", steps).unwrap_or(form.zero),
        drift_per_sqrt_h: get("drift_per_sqrt_h", steps).unwrap_or(form.drift_per_sqrt_h),
        lag_s: table.optional_number("lag").unwrap_or(form.lag_s),
    };
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
