//! What the trainer's desk and the trainee's panel show. Pure: a session in, markup out. Regions that are drawn anew
//! hold no button.

use super::behind::{Behind, Recording};
use super::log::Done;
use super::outcome::{NOT_KNOWN, does};
use super::paper::clock;
use super::recordings::Found;
use super::session::Session;
use super::told::words;
use crate::bay::Act;
use crate::plant::Plant;
use crate::scenarios::Scenario;
use crate::wrong::GoesWrong;
use brimwatch::config::{Settings, SignalKind};
use brimwatch::engine::frame::{Estimate, Frame, WitnessId};
use brimwatch::page::feed::Published;
use brimwatch::words::display::{kg, kg_per_min, kpa, number};
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use jiff::tz::TimeZone;
use maud::{DOCTYPE, Markup, html};
use serde::Serialize;
use std::collections::BTreeMap;

/// Faults that have a button of their own, as scenario files write them.
pub const FAULTS: [&str; 18] = [
    "leak before the meter, 6 kg/min",
    "leak after the meter, 6 kg/min",
    "leak onto the deck, 6 kg/min",
    "other tank, 50 %",
    "draw-off, 30 kg/min",
    "pad creep, 40 Pa/s",
    "regulator open",
    "supply lost",
    "plug, 400",
    "drives off",
    "tank level: stuck",
    "tank level: creep, 30 mm/h",
    "truck scale: creep, 0.6 t/h",
    "flow meter: gain, -3 %",
    "tank level: silent",
    "tank level: says failure",
    "tank level: says out of specification",
    "truck scale: replayed",
];

/// The same for a recording, where only instruments can go wrong; those that the bay has are shown.
pub const FAULTS_OF_RECORDINGS: [&str; 15] = [
    "tank level: stuck",
    "tank level: creep, 30 mm/h",
    "tank level: shift, 50 mm",
    "tank level: silent",
    "tank level: says failure",
    "truck scale: creep, 0.6 t/h",
    "truck scale: shift, 90 kg, for 2 min",
    "truck scale: stuck",
    "truck scale: replayed",
    "flow meter: gain, -3 %",
    "flow meter: stuck",
    "flow meter: silent",
    "pad pressure: stuck",
    "pad pressure: shift, 20 kPa",
    "pad pressure: exception",
];

/// What the trainee's hands can do: the word of the request, the label, the act.
pub const ACTS: [(&str, &str, Act); 10] = [
    ("stop", "EMERGENCY STOP", Act::EmergencyStop),
    ("release", "Release the stop", Act::Release),
    ("open-valve", "Open the valve", Act::OpenValve),
    ("close-valve", "Close the valve", Act::CloseValve),
    ("open-gas", "Open the gas", Act::OpenGas),
    ("shut-gas", "Shut the gas", Act::ShutGas),
    ("regulator-up", "Regulator up 5 kPa", Act::MoveRegulator(5_000.0)),
    ("regulator-down", "Regulator down 5 kPa", Act::MoveRegulator(-5_000.0)),
    ("blow", "Blow the hose clear", Act::Blow),
    ("stop-blowing", "Stop blowing", Act::StopBlowing),
];

/// Speeds that are offered, times real time.
const SPEEDS: [f64; 6] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
/// So many of the trainee's latest acts are shown where they move nothing.
const ACTS_SHOWN: usize = 3;

/// What the script gets.
#[derive(Debug, Serialize)]
pub struct State {
    /// "none", "running" or "still".
    pub state: &'static str,
    /// New content of each region.
    pub regions: BTreeMap<&'static str, String>,
}

fn frame(title: &str, kind: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "DRILL: " (title) }
                link rel="stylesheet" href="/desk.css";
                script type="module" src="/desk.js" {}
            }
            body data-kind=(kind) {
                p.rail aria-hidden="true" { "DRILL" }
                main {
                    p.drill { "DRILL" span { "a bay that is not there; nothing here is a plant" } }
                    (body)
                    p.says id="says" role="status" {}
                    p.small {
                        "brimwatch advises; it opens and closes nothing. At a real bay an independent high-level shut-off \
                         and a qualified person in attendance are required."
                    }
                }
            }
        }
    }
}

/// Before a drill: what can be played, and results that are kept. `recordings`: where a folder of them was given.
#[must_use]
pub fn choice(scenarios: &[Scenario], recordings: Option<&Result<Vec<Found>, String>>, kept: &[String]) -> Markup {
    frame(
        "begin one",
        "choice",
        &html! {
            h1 { "Begin a drill" }
            form id="begin" {
                fieldset.row {
                    legend { "Times real time" }
                    @for speed in SPEEDS {
                        label { input type="radio" name="speed" value=(speed) checked[speed == 10.0]; (speed) }
                    }
                }
                @if let Some(recordings) = recordings { (recorded(recordings)) }
                fieldset.scenarios {
                    legend { "Scenario (for the trainer's eyes)" }
                    @for (nth, scenario) in scenarios.iter().enumerate() {
                        label { input type="radio" name="plays" data-kind="scenario" value=(scenario.name) checked[nth == 0];
                            b { (scenario.title) } " " span { (scenario.happens) } }
                    }
                }
                button.main type="submit" { "Begin" }
            }
            h2 { "Results" }
            @if kept.is_empty() { p { "No drill has been ended yet." } }
            ul.kept { @for name in kept { li { a href={ "/result/" (name) } { (name) } } } }
        },
    )
}

fn recorded(recordings: &Result<Vec<Found>, String>) -> Markup {
    html! {
        fieldset.scenarios {
            legend { "Recorded delivery" }
            @match recordings {
                Err(why) => p { (why) }
                Ok(found) => @for Found { name, says } in found {
                    @match says {
                        Ok(says) => label { input type="radio" name="plays" data-kind="recording" value=(name);
                            b { (says) } " " span { (name) } },
                        Err(why) => p.small { "Cannot be played: " (why) },
                    }
                },
            }
        }
    }
}

/// During a drill: the trainer's desk.
#[must_use]
pub fn desk(session: &Session) -> Markup {
    let scenario = session.scenario();
    frame(
        &scenario.title,
        "desk",
        &html! {
            h1 { (scenario.title) }
            p { (scenario.happens) " " b { "To be learnt: " } (scenario.learn) }
            p.links {
                "For the trainee: " a href=(session.monitor()) target="_blank" { "the monitor's page" } " and "
                a href="/panel" target="_blank" { "the panel of valves" } "."
            }
            div id="state" { (state_line(session)) }
            div.row {
                button data-do="pause" { "Stand still" }
                button data-do="go-on" { "Go on" }
                label { "Times real time " select id="speed" {
                    // One that was given on the command line may be none of those that are offered.
                    @if !SPEEDS.contains(&session.speed()) { option value=(session.speed()) selected { (session.speed()) } }
                    @for speed in SPEEDS { option value=(speed) selected[session.speed() == speed] { (speed) } }
                } }
                button data-do="started" { "Enter \u{201c}transfer started\u{201d}" }
                button data-do="closed" { "Enter \u{201c}closed\u{201d}" }
                button.end data-do="end" { "End the drill" }
            }
            details {
                summary { "Let something go wrong now" }
                div.faults { @for fault in faults(session) { button data-fault=(fault) { (fault) } } }
                form.row id="fault" {
                    label { "Another: " input name="fault" size="36" placeholder="tank level: shift, 50 mm, for 5 min"; }
                    button type="submit" { "Let it go wrong" }
                    button type="button" data-do="mend" { "Mend everything" }
                }
            }
            h2 { "How it goes" }
            div.course id="course" { (session.picture()) }
            div.two {
                section { h2 { (truth_title(session)) } div id="truth" { (truth(session)) } }
                section { h2 { "Who did what" } div id="line" { (time_line(session)) } }
            }
        },
    )
}

/// The trainee's panel.
#[must_use]
pub fn panel(session: Option<&Session>) -> Markup {
    frame(
        "panel",
        "panel",
        &html! {
            h1 { "Valves, pad and emergency stop" }
            div id="hands" { @match session { Some(s) => (hands(s)), None => p { "No drill is under way." } } }
            div.panel { @for (word, label, _) in ACTS { button data-act=(word) { (label) } } }
            @if session.is_some_and(is_recorded) {
                p { "What the instruments said is on the monitor's page, and so are the entries." }
            } @else {
                p { "From the first touch on the scripted attendant is gone: the bay is yours. What the instruments say is on \
                     the monitor's page, and so are the entries." }
            }
        },
    )
}

/// All regions of a session.
#[must_use]
pub fn state(session: Option<&Session>, for_panel: bool) -> State {
    let Some(session) = session else { return State { state: "none", regions: BTreeMap::new() } };
    let state = if session.is_paused() { "still" } else { "running" };
    let regions = if for_panel {
        BTreeMap::from([("hands", hands(session).into_string())])
    } else {
        BTreeMap::from([
            ("state", state_line(session).into_string()),
            ("truth", truth(session).into_string()),
            ("line", time_line(session).into_string()),
            ("course", session.picture().into_string()),
        ])
    };
    State { state, regions }
}

fn since_start(session: &Session, at_s: f64) -> String {
    let from = if is_recorded(session) { "opening" } else { "arrival" };
    session.log().started_s().map_or_else(|| format!("{} after {from}", clock(at_s)), |zero_s| clock(at_s - zero_s))
}

fn state_line(session: &Session) -> Markup {
    let moves = if session.is_paused() { "Stands still" } else { "Runs" };
    html! {
        p.state { b { (moves) } ", " (session.speed()) " times real time, at " (since_start(session, session.now_s())) ". "
            @if session.is_over() { b { "The recording is over: end the drill for its result." } }
            @else if let Behind::Recording(recording) = session.behind() {
                "The recording goes on to " (since_start(session, recording.player.ends_s())) "."
            } @else if session.log().started_s().is_none() {
                "The transfer has not been entered as started: the plant waits for that."
            }
            @if session.is_paused() { " Meanwhile the monitor's page hears nothing, and says so." }
        }
    }
}

fn is_recorded(session: &Session) -> bool {
    matches!(session.behind(), Behind::Recording(_))
}

/// Faults that have a button.
fn faults(session: &Session) -> Vec<&'static str> {
    match session.behind() {
        Behind::Plant(plant) => {
            let bay = &session.log().settings.bay;
            let can =
                |fault: &&str| GoesWrong::parse(fault).is_ok_and(|wrong| wrong.what.can(bay, &plant.wired).is_ok());
            FAULTS.into_iter().filter(can).collect()
        }
        Behind::Recording(recording) => {
            let can = |fault: &&str| GoesWrong::parse(fault).is_ok_and(|wrong| recording.player.can(&wrong).is_ok());
            FAULTS_OF_RECORDINGS.into_iter().filter(can).collect()
        }
    }
}

/// What hands have done to a recording: nothing.
fn hands_off(session: &Session) -> Markup {
    let acts = session.log().done.iter().rev().filter_map(|(at_s, done)| match done {
        Done::Act(act) => Some((*at_s, act)),
        _ => None,
    });
    html! {
        p.hands {
            b { "A recorded delivery is played: nothing that you do here moves it." }
            " Act all the same, as you would: it is written down with its time."
            @if session.is_over() { " " b { "The recording is over." } }
            @else if session.is_paused() { " " b { "The drill stands still." } }
        }
        @for (at_s, act) in acts.take(ACTS_SHOWN) {
            p { span.when { (since_start(session, at_s)) } " " (does(act)) }
        }
    }
}

fn hands(session: &Session) -> Markup {
    if is_recorded(session) {
        return hands_off(session);
    }
    let hands = session.with_bay(|bay| bay.hands()).unwrap_or_default();
    let word = |yes: bool, is: &'static str, not: &'static str| if yes { is } else { not };
    html! {
        p.hands {
            "Valve " b { (word(hands.valve_open, "open", "closed")) } " \u{b7} gas "
            b { (word(hands.gas_on, "open", "shut")) } " \u{b7} blowing "
            b { (word(hands.blowing, "on", "off")) } " \u{b7} emergency stop "
            b { (word(hands.stopped, "PRESSED", "not pressed")) }
            @if session.is_paused() { " \u{b7} " b { "the drill stands still" } }
        }
    }
}

fn u(estimate: Estimate) -> String {
    format!("{} \u{b1} {}", kg(estimate.value), number(estimate.u, 0))
}

fn reading(frame: &Frame, settings: &Settings, kind: SignalKind, show: fn(f64) -> String) -> String {
    let at = settings.signals.iter().position(|signal| signal.kind == kind);
    let reading = at.and_then(|at| frame.readings.get(at));
    match reading {
        None => "has no such instrument".to_owned(),
        Some(r) if !r.validity.is_credible() => "lost".to_owned(),
        Some(r) => r.value_si.map_or_else(|| "nothing".to_owned(), show),
    }
}

/// One row: what, what is so, what the monitor believes.
type Row = (&'static str, String, String);

fn rows(plant: &Plant, published: &Published) -> Vec<Row> {
    let (frame, settings) = (&published.frame, &*published.settings);
    let by = |id: WitnessId| {
        let witness = frame.witnesses.iter().find(|w| w.id == id).filter(|w| w.validity.is_credible());
        witness.and_then(|w| w.received_kg).map_or_else(|| "lost".to_owned(), u)
    };
    let none = || "nothing".to_owned();
    let metre = |m: f64| format!("{} m", number(m, 3));
    let (ground, deck) = plant.spilled_kg();
    let received = || kg(plant.received_kg());
    vec![
        ("received in the tank", received(), frame.together.map_or_else(none, |t| u(t.received_kg))),
        ("\u{2003}by flow meter", String::new(), by(WitnessId::Flow)),
        ("\u{2003}by scale", String::new(), by(WitnessId::Scale)),
        ("\u{2003}by tank level", String::new(), by(WitnessId::Tank)),
        ("rate", kg_per_min(plant.meter_kg_per_s()), frame.rate.map_or_else(none, |r| kg_per_min(r.value))),
        (
            "tank level",
            metre(plant.level_m()),
            reading(frame, settings, SignalKind::Level, |m| format!("{} m", number(m, 3))),
        ),
        ("pad pressure, kPa gauge", kpa(plant.trailer_pa()), frame.pad.pressure_pa_gauge.map_or_else(none, kpa)),
        (
            "tank pressure, kPa gauge",
            number(plant.tank_vapour_pa() / 1000.0, 1),
            reading(frame, settings, SignalKind::TankPressure, |pa| number(pa / 1000.0, 1)),
        ),
        ("spilled; missing", kg(ground + deck), frame.verdict.missing_kg.map_or_else(none, u)),
        ("into another tank", kg(plant.elsewhere_kg()), String::new()),
        ("through the meter", kg(plant.metered_kg()), String::new()),
        ("off the trailer", kg(plant.left_trailer_kg()), String::new()),
        ("left on the trailer", kg(plant.on_trailer_kg()), String::new()),
        ("gas through the hose", kg(plant.gas_blown_kg()), String::new()),
    ]
}

/// The same beside a recording: what was so nobody knows; what was recorded and said then, and what the monitor believes.
fn rows_of_recording(recording: &Recording, now_s: f64, published: &Published) -> Vec<(String, String, String)> {
    let (frame, settings) = (&published.frame, &*published.settings);
    let until = recording.then.partition_point(|(at_s, _)| *at_s <= now_s);
    let then = recording.then[..until].last();
    let mut rows = vec![(
        "received in the tank".to_owned(),
        "not known".to_owned(),
        frame.together.map_or_else(|| "nothing".to_owned(), |t| u(t.received_kg)),
    )];
    for (at, witness) in frame.witnesses.iter().enumerate() {
        let credible = Some(witness).filter(|w| w.validity.is_credible());
        let was = then.and_then(|(_, kg)| kg[at]).map_or_else(|| "nothing".to_owned(), kg);
        let is = credible.and_then(|w| w.received_kg).map_or_else(|| "lost".to_owned(), u);
        rows.push((English.witness(witness.id).to_owned(), was, is));
    }
    for (nth, (signal, reading)) in (0u16..).zip(settings.signals.iter().zip(&frame.readings)) {
        let was = recording.player.was_si(nth).map_or_else(|| "nothing".to_owned(), |si| shown(signal.kind, si));
        let is = match reading.value_si.filter(|_| reading.validity.is_credible()) {
            Some(si) => shown(signal.kind, si),
            None => "lost".to_owned(),
        };
        rows.push((signal.name.clone(), was, is));
    }
    rows
}

/// A value of a signal in the units of the field.
fn shown(kind: SignalKind, si: f64) -> String {
    use SignalKind as Kind;
    match kind {
        Kind::FlowMassRate | Kind::DrawOff => kg_per_min(si),
        Kind::FlowVolumeRate => format!("{} l/min", number(si * 60_000.0, 1)),
        Kind::FlowMassTotal | Kind::Scale => kg(si),
        Kind::FlowVolumeTotal => format!("{} m\u{b3}", number(si, 3)),
        Kind::LineDensity => format!("{} kg/m\u{b3}", number(si, 1)),
        Kind::Level => format!("{} m", number(si, 3)),
        Kind::LevelPressure | Kind::TankPressure | Kind::PadPressure | Kind::GasSupplyPressure => {
            format!("{} kPa gauge", number(si / 1000.0, 1))
        }
        Kind::LineTemperature | Kind::TankTemperature | Kind::PadGasTemperature | Kind::DewPoint => {
            format!("{} \u{b0}C", number(si, 1))
        }
        Kind::HighLevelSwitch | Kind::ShutoffClosed | Kind::EmergencyStop | Kind::ShutoffBypassed => {
            if si > 0.5 { "yes" } else { "no" }.to_owned()
        }
    }
}

fn truth_title(session: &Session) -> &'static str {
    match session.behind() {
        Behind::Plant(_) => "What is so, and what the monitor believes",
        Behind::Recording(_) => "What was recorded, and what the monitor believes",
    }
}

fn truth(session: &Session) -> Markup {
    let Some(published) = session.latest() else { return html! { p { "Nothing yet." } } };
    let (is_so, rows) = match session.behind() {
        Behind::Plant(plant) => {
            let rows = plant.look(|bay| rows(bay.plant(), published)).unwrap_or_default();
            ("is so", rows.into_iter().map(|(what, so, believed)| (what.to_owned(), so, believed)).collect())
        }
        Behind::Recording(recording) => ("recorded", rows_of_recording(recording, session.now_s(), published)),
    };
    let zone = TimeZone::UTC;
    let scene = Scene::new(&published.settings, &published.frame, &zone);
    let headline = English.headline(scene, !published.frame.alarms.is_empty());
    html! {
        table {
            thead { tr { th {} th { (is_so) } th { "the monitor" } } }
            tbody { @for (what, so, believed) in rows { tr { th scope="row" { (what) } td { (so) } td { (believed) } } } }
        }
        @if is_recorded(session) { p.small { "What was really received is " (NOT_KNOWN) "." } }
        p.monitor { b { "The monitor says: " } (headline.whole()) }
    }
}

fn time_line(session: &Session) -> Markup {
    let log = session.log();
    let told = session.told();
    let spoke = told.spoke.iter().map(|(at_s, key)| (*at_s, "monitor", words(key.id)));
    let seen = told.seen.iter().map(|at_s| (*at_s, "trainee", "says that an alarm was seen".to_owned()));
    let mut moments: Vec<(f64, &str, String)> = spoke.chain(seen).collect();
    let zero_s = log.started_s();
    for wrong in &log.scenario.goes_wrong {
        let at_s = wrong.at_s.map_or(Some(0.0), |at_s| Some(zero_s? + at_s));
        moments
            .extend(at_s.filter(|&at_s| at_s <= session.now_s()).map(|at_s| (at_s, "plant", wrong.what.to_string())));
    }
    for (at_s, done) in &log.done {
        let (who, what) = match done {
            Done::Started => ("monitor", "is told that the transfer has started".to_owned()),
            Done::Act(act) => ("trainee", does(act)),
            Done::Fault(wrong) => ("trainer", format!("lets go wrong: {}", wrong.what)),
            Done::Mended => ("trainer", "mends everything".to_owned()),
        };
        moments.push((*at_s, who, what));
    }
    moments.sort_by(|a, b| b.0.total_cmp(&a.0));
    html! {
        @if moments.is_empty() { p { "Nothing yet." } }
        ol.line { @for (at_s, who, what) in moments {
            li data-who=(who) { span.when { (since_start(session, at_s)) } " " b { (who) } " " (what) }
        } }
    }
}
