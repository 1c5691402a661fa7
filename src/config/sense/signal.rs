//! Signals: what register, scale and unit can show, held against what the signal is for.

use super::Whole;
use crate::config::BaySetup;
use crate::config::amount::short;
use crate::config::fault::Draft;
use crate::config::signals::{self, SignalForm};
use crate::config::walk::Table;
use crate::engine::settings::{Settings, SignalKind, SignalSetup};
use crate::poll::registers::{DataType, Place, WordOrder};
use crate::units::{ATMOSPHERE_PA, Quantity};

/// The weather moves the pressure of the air by so much, Pa (about 3 %, see [`ATMOSPHERE_PA`]).
const WEATHER_PA: f64 = 5_000.0;

/// A scale that is tared by so much shows net, kg: no zero error of a truck scale is as large (assumption).
const TARE_KG: f64 = 1_000.0;

/// An uncertainty so many times the usual one, or its inverse, is more often a slip of the unit (assumption).
const FAR: f64 = 30.0;

/// One signal with all that is known of it.
struct Seen<'s> {
    table: &'s Table,
    form: &'static SignalForm,
    setup: &'s SignalSetup,
    place: &'s Place,
    settings: &'s Settings,
}

/// Looks at the signals of one bay.
pub(super) fn look(draft: &mut Draft, table: &Table, bay: &BaySetup, whole: &Whole<'_>) {
    let tables = table.tables("signal");
    for ((table, setup), place) in tables.iter().zip(&bay.settings.signals).zip(&bay.places) {
        let Some(form) = signals::by_name(table.text("kind")) else { continue };
        let seen = Seen { table, form, setup, place, settings: &bay.settings };
        offset(draft, &seen);
        float_scale(draft, &seen);
        reach(draft, &seen);
        ends(draft, &seen);
        coarse(draft, &seen);
        uncertainties(draft, &seen);
        other_tank(draft, &seen, whole);
    }
    orders(draft, tables, bay);
    unit_systems(draft, tables, bay);
}

/// Gauge made absolute, gross made net.
fn offset(draft: &mut Draft, seen: &Seen<'_>) {
    let (table, offset) = (seen.table, seen.place.register.offset);
    if seen.place.register.current.is_some() || !table.is_written("offset") {
        return;
    }
    if seen.form.quantity == Quantity::GaugePressure && (offset - ATMOSPHERE_PA).abs() < WEATHER_PA {
        draft
            .warn(
                table.spot("offset"),
                table.path("offset"),
                format!(
                    "adds {} kPa, one atmosphere: that makes an absolute pressure of a gauge pressure",
                    short(offset / 1e3)
                ),
            )
            .allowed("gauge pressures: a register that holds an absolute one takes the atmosphere away")
            .act("take the offset out, or turn its sign");
    }
    if seen.setup.kind == SignalKind::Scale && offset.abs() > TARE_KG {
        draft
            .warn(
                table.spot("offset"),
                table.path("offset"),
                format!("{} kg look like a tare: a net weight falls to nothing while the load leaves", short(offset)),
            )
            .allowed("the gross weight, as it stands on the scale")
            .act("take the offset out; where the indicator itself shows net, read its gross register");
    }
}

/// What holds a floating-point number holds it in its unit as a rule.
fn float_scale(draft: &mut Draft, seen: &Seen<'_>) {
    let table = seen.table;
    let scale = table.number("scale");
    let power_of_ten = (1..=9).any(|n| {
        let ten = 10f64.powi(n);
        (scale.abs() / ten - 1.0).abs() < 1e-9 || (scale.abs() * ten - 1.0).abs() < 1e-9
    });
    if power_of_ten && matches!(seen.place.register.data, DataType::F32 | DataType::F64) {
        draft
            .warn(
                table.spot("scale"),
                table.path("scale"),
                format!("is {scale} on a floating-point register, which as a rule holds the value in its unit"),
            )
            .allowed("scale = 1, and the unit that the register counts in")
            .act("look it up in the device's papers; if they ask for it, leave it");
    }
}

/// The lowest and highest value that register, scale and unit can show, SI; `None` where there is no such end.
fn range(place: &Place) -> Option<(f64, f64)> {
    let register = &place.register;
    if let Some(span) = register.current {
        return Some((span.at_4_ma.min(span.at_20_ma), span.at_4_ma.max(span.at_20_ma)));
    }
    let (low, high) = match register.data {
        DataType::U16 => (0.0, f64::from(u16::MAX)),
        DataType::I16 => (f64::from(i16::MIN), f64::from(i16::MAX)),
        DataType::Bcd16 => (0.0, 9_999.0),
        DataType::Bcd32 => (0.0, 99_999_999.0),
        DataType::U32 => (0.0, f64::from(u32::MAX)),
        DataType::I32 => (f64::from(i32::MIN), f64::from(i32::MAX)),
        _ => return None,
    };
    if place.upper.is_some() {
        return None;
    }
    let (a, b) = (low * register.factor + register.offset, high * register.factor + register.offset);
    Some((a.min(b), a.max(b)))
}

/// What a signal has to be able to show for its alarms to come, SI, and what that is.
fn must_show(seen: &Seen<'_>) -> Option<(f64, &'static str)> {
    match seen.setup.kind {
        SignalKind::Level => {
            let tank = seen.settings.tanks.get(usize::from(seen.setup.tank?))?;
            Some((tank.high_high.0, "the tank's high_high"))
        }
        SignalKind::PadPressure => Some((seen.settings.limits.pad_maximum?.0, "pad_maximum")),
        _ => None,
    }
}

/// A register, a range or an end that hides what the signal's alarm is about.
fn reach(draft: &mut Draft, seen: &Seen<'_>) {
    let Some((least, what)) = must_show(seen) else { return };
    let (table, unit) = (seen.table, seen.form.quantity.si_name());
    let shown = |si: f64| format!("{} {unit}", short(si));
    if let Some((_, high)) = range(seen.place).filter(|(_, high)| *high < least) {
        let key = ["at_20_ma", "scale", "type"].into_iter().find(|key| table.is_written(key)).unwrap_or("type");
        draft
            .fault(
                table.spot(key),
                table.path(key),
                format!("the signal ends at {}, below {what}, {}", shown(high), shown(least)),
            )
            .allowed(format!("a register, scale and unit that reach {}", shown(least)))
            .act("correct scale, unit or type: an alarm at that value could never come");
    }
    for (key, at) in [("saturates_at", seen.setup.saturates_at), ("plausible_high", Some(seen.setup.plausible_high))] {
        if let Some(at) = at.filter(|at| *at < least && table.is_written(key)) {
            draft
                .fault(table.spot(key), table.path(key), format!("{} is below {what}, {}", shown(at), shown(least)))
                .allowed(format!("at least {}", shown(least)))
                .act("correct it: a value beyond it is not used, and the alarm could never come");
        }
    }
}

/// A register that can show nothing of what is plausible, or a unit that fits no plausible value.
fn ends(draft: &mut Draft, seen: &Seen<'_>) {
    let Some((low, high)) = range(seen.place) else { return };
    let (table, setup) = (seen.table, seen.setup);
    if low > setup.plausible_high || high < setup.plausible_low {
        let unit = seen.form.quantity.si_name();
        draft
            .fault(
                table.spot("unit"),
                table.path("unit"),
                format!("the register shows {} to {} {unit} only, nothing plausible", short(low), short(high)),
            )
            .allowed(format!("{} to {} {unit}", short(setup.plausible_low), short(setup.plausible_high)))
            .act("correct scale, offset or unit");
    }
}

/// Coarsest step of a value that still serves, SI: by it alone no level is told from high-high, no pad from its ceiling.
fn coarsest(kind: SignalKind) -> Option<f64> {
    match kind {
        SignalKind::Level => Some(0.05),
        SignalKind::Scale => Some(200.0),
        SignalKind::PadPressure => Some(10_000.0),
        SignalKind::TankPressure => Some(2_000.0),
        SignalKind::LineTemperature | SignalKind::TankTemperature | SignalKind::PadGasTemperature => Some(5.0),
        SignalKind::LineDensity => Some(20.0),
        SignalKind::FlowMassRate => Some(0.5),
        _ => None,
    }
}

/// One count of an integer register, or one division, that is worth too much.
fn coarse(draft: &mut Draft, seen: &Seen<'_>) {
    let Some(most) = coarsest(seen.setup.kind) else { return };
    let (table, unit) = (seen.table, seen.form.quantity.si_name());
    let integer = !matches!(seen.place.register.data, DataType::F32 | DataType::F64 | DataType::Bool);
    let per_ma = seen.place.register.current.map_or(1.0, |span| (span.at_20_ma - span.at_4_ma) / 16.0);
    let count = (seen.place.register.factor * per_ma).abs();
    let key = ["scale", "unit"].into_iter().find(|key| table.is_written(key)).unwrap_or("type");
    let found =
        [(key, if integer { count } else { 0.0 }, "one count"), ("division", seen.setup.division, "one division")];
    for (key, step, what) in found.into_iter().filter(|(_, step, _)| *step > most) {
        draft
            .warn(table.spot(key), table.path(key), format!("{what} is worth {} {unit}", short(step)))
            .allowed(format!("usually up to {} {unit}", short(most)))
            .act("correct the number or its unit");
    }
}

/// Uncertainties that somebody wrote, far off what is usual for the kind.
fn uncertainties(draft: &mut Draft, seen: &Seen<'_>) {
    let (table, form, setup) = (seen.table, seen.form, seen.setup);
    let written = [
        ("noise", setup.noise, form.noise),
        ("slow_noise", setup.slow_noise, form.slow_noise),
        ("zero", setup.zero, form.zero),
        ("gain", setup.gain, form.gain),
        ("drift_per_sqrt_h", setup.drift_per_sqrt_h, form.drift_per_sqrt_h),
    ];
    for (key, value, usual) in written.into_iter().filter(|(key, _, usual)| table.is_written(key) && *usual > 0.0) {
        if value > FAR * usual || value < usual / FAR {
            let unit = if key == "gain" { "(as a part of 1)" } else { form.quantity.si_name() };
            let effect = if value < usual { "false alarms" } else { "leaks that are not seen" };
            let (value, usual) = (short(value), short(usual));
            draft
                .warn(table.spot(key), table.path(key), format!("{value} {unit} is far from the usual {usual}"))
                .allowed(format!("usually within a factor of {FAR} of {usual}"))
                .act(format!("correct the number or its unit: it makes {effect}"));
        }
    }
}

/// A signal whose names speak of another tank than the one it is declared for.
fn other_tank(draft: &mut Draft, seen: &Seen<'_>, whole: &Whole<'_>) {
    let table = seen.table;
    let Some(own) = seen.setup.tank.and_then(|t| seen.settings.tanks.get(usize::from(t))) else { return };
    for key in ["name", "device"] {
        let text = table.text(key);
        let other = whole.tanks.iter().find(|(tank, _)| tank.name != own.name && speaks_of(text, &tank.name));
        if let Some((other, _)) = other.filter(|_| !speaks_of(text, &own.name)) {
            draft
                .warn(
                    table.spot(key),
                    table.path(key),
                    format!("speaks of tank {:?}, but the signal is declared for tank {:?}", other.name, own.name),
                )
                .act("correct tank or device; if only the name is meant otherwise, change it");
        }
    }
}

/// Whether a text names a tank: "tank" and its name, or the name alone where it is no mere digit or letter.
fn speaks_of(text: &str, tank: &str) -> bool {
    let words =
        |text: &str| text.to_lowercase().split(|c: char| !c.is_alphanumeric()).map(str::to_owned).collect::<Vec<_>>();
    let (text, tank) = (words(text), words(tank));
    let alone = tank.iter().map(String::len).sum::<usize>() >= 3;
    text.windows(tank.len().max(1))
        .enumerate()
        .any(|(i, part)| part == tank.as_slice() && (alone || i > 0 && text[i - 1] == "tank"))
}

/// One device keeps the parts of its numbers in one order, as a rule: two in one device are more often a slip.
fn orders(draft: &mut Draft, tables: &[Table], bay: &BaySetup) {
    let many = |place: &Place| place.register.count() > 1;
    let devices = bay.settings.signals.iter().map(|s| s.device);
    let read: Vec<(&Table, u16, WordOrder)> = tables
        .iter()
        .zip(devices)
        .zip(&bay.places)
        .filter(|(_, p)| many(p))
        .map(|((t, d), p)| (t, d, p.register.order))
        .collect();
    for (i, (table, device, order)) in read.iter().enumerate() {
        let first = read[..i].iter().find(|(_, d, _)| d == device);
        if let Some((other, _, _)) = first.filter(|(_, _, o)| o != order) {
            draft
                .warn(
                    table.spot("order"),
                    table.path("order"),
                    format!("{} of the same device is {}", other.text("name"), other.text("order")),
                )
                .allowed("one order for all numbers of a device, as a rule")
                .act("look it up in the device's papers: a slip reads absurd numbers, and 0 as 0");
        }
    }
}

/// Rate and total of one meter, one in pounds or gallons, the other not.
fn unit_systems(draft: &mut Draft, tables: &[Table], bay: &BaySetup) {
    use SignalKind as K;
    let customary = |table: &Table| {
        let unit = table.optional_text("unit")?;
        Some(["lb", "short ton", "US gal"].iter().any(|name| unit.starts_with(name)))
    };
    let of = |kinds: [K; 2]| tables.iter().zip(&bay.settings.signals).find(|(_, s)| kinds.contains(&s.kind));
    let rate = of([K::FlowMassRate, K::FlowVolumeRate]);
    let total = of([K::FlowMassTotal, K::FlowVolumeTotal]);
    if let (Some((rate, a)), Some((total, b))) = (rate, total)
        && a.device == b.device
        && let (Some(one), Some(two)) = (customary(rate), customary(total))
        && one != two
    {
        draft
            .warn(
                total.spot("unit"),
                total.path("unit"),
                format!(
                    "the total counts in {}, the rate of the same meter in {}",
                    total.text("unit"),
                    rate.text("unit")
                ),
            )
            .allowed("units of one system for one meter, as a rule")
            .act("look both up in the meter's settings");
    }
}
