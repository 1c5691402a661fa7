//! Bays: what can be compared, what the pad may do, how much the line holds, how fast somebody acts.

use super::line_length_m;
use crate::config::BaySetup;
use crate::config::amount::short;
use crate::config::fault::Draft;
use crate::config::walk::Table;
use crate::engine::settings::{Drive, RestsOnScale, Settings, SignalKind};
use crate::engine::witness::main_signals;

/// The longest line between trailer and meter, and between meter and tank, m (assumption).
const LINE_MOST_M: (f64, f64) = (100.0, 1000.0);

/// Nobody hears a call, walks to the valve and closes it in less, s (assumption).
const RESPONSE_LEAST_S: f64 = 10.0;

/// The witnesses in their order.
const WITNESSES: [&str; 3] = ["flow meter", "scale", "tank level"];

/// Looks at one bay.
pub(super) fn look(draft: &mut Draft, table: &Table, setup: &BaySetup) {
    let settings = &setup.settings;
    witnesses(draft, table, settings);
    common_cause(draft, table, settings);
    missing(draft, table, settings);
    limits(draft, table.table("limits"), settings);
    line(draft, table.table("line"), settings);
}

/// Which of flow, scale and tank the bay has for one of its tanks.
fn fitted(settings: &Settings, tank: u16) -> [Option<u16>; 3] {
    let mut signals = main_signals(settings, tank);
    if matches!(settings.rests_on_scale, RestsOnScale::Part | RestsOnScale::None) {
        signals[1] = None;
    }
    signals
}

/// What stays unseen is said for each tank; of two that lack the same only the first is named.
fn witnesses(draft: &mut Draft, table: &Table, settings: &Settings) {
    let mut said = Vec::new();
    for (index, tank) in (0u16..).zip(&settings.tanks) {
        let has = fitted(settings, index).map(|signal| signal.is_some());
        if said.contains(&has) {
            continue;
        }
        said.push(has);
        let fitted: Vec<&str> = WITNESSES.iter().zip(has).filter(|(_, has)| *has).map(|(name, _)| *name).collect();
        let unseen = match has {
            [true, true, true] => continue,
            [true, true, false] => "what goes astray between meter and tank is not seen, nor how full the tank is",
            [true, false, true] => "what leaves the trailer and does not reach the meter is not seen",
            [false, true, true] => "which side of the line is off cannot be told",
            _ => "nothing is compared: no leak, however large, would be seen",
        };
        let only = if fitted.is_empty() { "nothing".to_owned() } else { fitted.join(" and ") };
        draft
            .warn(
                table.at(),
                table.path("signal"),
                format!("a load into tank {:?} is watched by {only} alone: {unseen}", tank.name),
            )
            .act("add a signal of the missing kind where there is such an instrument: flow, scale_kg, level_m");
    }
}

/// Witnesses that one transmitter or one device can spoil together are less than they look.
fn common_cause(draft: &mut Draft, table: &Table, settings: &Settings) {
    let tables = table.tables("signal");
    let mains = fitted(settings, 0);
    for (i, mine) in mains.iter().enumerate() {
        let Some((mine, signal)) = mine.map(usize::from).and_then(|m| Some((m, settings.signals.get(m)?))) else {
            continue;
        };
        let spot = &tables[mine];
        for (j, other) in mains[..i].iter().enumerate() {
            let Some(other) = other.and_then(|o| settings.signals.get(usize::from(o))) else { continue };
            let pair = format!("{} and {}", WITNESSES[j], WITNESSES[i]);
            if signal.transmitter.is_some() && signal.transmitter == other.transmitter {
                draft
                    .warn(
                        spot.spot("transmitter"),
                        spot.path("transmitter"),
                        format!("{pair} are of one transmitter, by {:?} and {:?}", other.name, signal.name),
                    )
                    .allowed("witnesses of different instruments")
                    .act("correct the name, or know that the two count as one and bear each other out in nothing");
            } else if signal.device == other.device {
                draft
                    .warn(
                        spot.spot("device"),
                        spot.path("device"),
                        format!("{pair} are read from one device: what hangs or garbles it spoils both"),
                    )
                    .act("read each from a device of its own where that can be had; give this one a heartbeat");
            }
        }
    }
}

/// What a bay usually has, and what is then not known.
fn missing(draft: &mut Draft, table: &Table, settings: &Settings) {
    let has = |kind, tank| settings.signals.iter().any(|s| s.kind == kind && s.tank == tank);
    let mut miss = |what: String, act: &str| {
        draft.warn(table.at(), table.path("signal"), what).act(act.to_owned());
    };
    if settings.drive == Drive::Pad && !has(SignalKind::PadPressure, None) {
        let what = "gas drives the liquid, but no pad pressure is read: the trailer's ceiling is not watched";
        miss(what.to_owned(), "add a signal pad_pressure_pa_gauge, measured on the trailer");
    }
    for (index, tank) in (0u16..).zip(&settings.tanks) {
        if !has(SignalKind::HighLevelSwitch, Some(index)) {
            miss(
                format!(
                    "no independent high-level switch of tank {:?} is read: nothing overrules its gauge",
                    tank.name
                ),
                "add a signal high_level_switch; the tank needs its own shut-off in any case",
            );
        }
    }
    for (signal, setup) in table.tables("signal").iter().zip(&settings.signals) {
        let measured = setup.tank.and_then(|t| settings.tanks.get(usize::from(t))).map(|t| t.draw_off);
        if setup.kind == SignalKind::DrawOff && measured != Some(crate::engine::settings::DrawOff::Measured) {
            draft
                .warn(signal.spot("kind"), signal.path("kind"), "is read, but draw_off of the tank is not measured")
                .act("write draw_off = \"measured\" in the tank, or take the signal out");
        }
    }
}

fn limits(draft: &mut Draft, table: &Table, settings: &Settings) {
    let limits = &settings.limits;
    let ratings = [
        ("hose_rating", limits.hose_rating),
        ("line_rating", limits.line_rating),
        ("connection_rating", limits.connection_rating),
    ];
    for (key, rating) in ratings {
        if let (Some(most), Some(rating)) = (limits.pad_maximum, rating)
            && rating.0 < most.0
        {
            let (rating, most) = (short(rating.0 / 1e3), short(most.0 / 1e3));
            draft
                .fault(
                    table.spot(key),
                    table.path(key),
                    format!("{rating} kPa gauge is below pad_maximum, {most} kPa gauge"),
                )
                .allowed(format!("at least {most} kPa gauge, or a lower pad_maximum"))
                .act("read the rating again with its unit: no pressure the site allows may pass what the pad goes through");
        }
    }
    if let (Some(least), Some(most)) = (limits.pad_minimum, limits.pad_maximum)
        && least.0 >= most.0
    {
        let (least, most) = (short(least.0 / 1e3), short(most.0 / 1e3));
        draft
            .fault(
                table.spot("pad_minimum"),
                table.path("pad_minimum"),
                format!("{least} kPa gauge is not below pad_maximum, {most} kPa gauge"),
            )
            .allowed(format!("below {most} kPa gauge"))
            .act("read both again with their units");
    }
    if settings.line.valve_closes_s > limits.response_time_s {
        let closes = short(settings.line.valve_closes_s);
        draft
            .fault(
                table.spot("response_time"),
                table.path("response_time"),
                format!("{} s is shorter than valve_closes, {closes} s", short(limits.response_time_s)),
            )
            .allowed(format!("more than {closes} s: from the call until the valve has closed"))
            .act("correct one of the two, or its unit");
    } else if limits.response_time_s < RESPONSE_LEAST_S {
        draft
            .warn(
                table.spot("response_time"),
                table.path("response_time"),
                format!("{} s from call to valve closed is short", short(limits.response_time_s)),
            )
            .allowed(format!("usually {RESPONSE_LEAST_S} s and more"))
            .act("measure it in a drill on the site; s, not min");
    }
}

fn line(draft: &mut Draft, table: &Table, settings: &Settings) {
    let line = &settings.line;
    for (key, volume, most_m) in
        [("upstream", line.upstream, LINE_MOST_M.0), ("downstream", line.downstream, LINE_MOST_M.1)]
    {
        let length_m = line_length_m(volume);
        if length_m > most_m {
            draft
                .warn(
                    table.spot(key),
                    table.path(key),
                    format!("{} L are {:.0} m of 2-inch line", short(1e3 * volume.0), length_m),
                )
                .allowed(format!("usually up to {most_m} m"))
                .act("correct the number or its unit: L, not m3");
        }
    }
    // A litre of the densest cargo is 2 kg (the plausible range of a line density).
    let most_kg = 2000.0 * (line.upstream.0 + line.downstream.0);
    if line.blow_clear.0 > most_kg {
        draft
            .warn(
                table.spot("blow_clear"),
                table.path("blow_clear"),
                format!("{} kg are more than hose and line hold", short(line.blow_clear.0)),
            )
            .allowed(format!("up to {} kg: upstream and downstream of a liquid of 2 kg/L", short(most_kg)))
            .act("correct the number or its unit, or the line's volumes");
    }
}
