//! What is published, as a page. Pure: `Published` in, text out.
//!
//! The page is a set of regions with fixed names. A frame carries every region whole, so that a viewer who
//! missed some, or has just come, is whole after one; who has the one before is told what it changes. Regions hold no button: what a person is about to press
//! is never drawn anew.

use super::account;
use super::feed::{DeviceStats, Published};
use super::forms;
use super::reader::{self, Reader};
use super::steps::{self, Walk};
use crate::engine::alarm::catalogue;
use crate::engine::checks::CheckState;
use crate::engine::frame::{Alarm, DeviceState, Phase, Priority, Reading, Reason, Trouble, Validity, VerdictWord};
use crate::engine::input::{AlarmId, AlarmKey};
use crate::engine::zero;
use crate::picture::{self, Size, Worked};
use crate::recording::json::frame_json;
use crate::words::display::{hh_mm_ss, number};
use crate::words::measures::Shown;
use crate::words::{Figure, Language, PageWords, Scene, SettingsWord, SignInWord, Text, first_acts_due};
use maud::{DOCTYPE, Markup, html};
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A frame that has not been followed by another for this long, in ms of machine time, is stale: frames leave
/// every second, and one may be late. With the page's own look every 0.2 s it is said within 3 s.
pub const STALE_AFTER_MS: u32 = 2700;

/// What the page's script gets at each frame.
#[derive(Debug, Serialize)]
pub struct Live {
    /// Counts frames since the program started.
    pub number: u64,
    /// Without another frame the page is stale after this many ms of machine time.
    pub stale_after_ms: u32,
    /// Title of the browser's tab.
    pub title: String,
    /// Each region's new content.
    pub regions: BTreeMap<&'static str, String>,
    /// Open alarms, the gravest first.
    pub alarms: Vec<AlarmRow>,
    /// The entry "transfer started" fits the phase.
    pub can_start: bool,
    /// The entry "closed" fits the phase.
    pub can_close: bool,
    /// Whether the scale may be given a new zero: it is off by a step.
    pub can_zero: bool,
    /// Whether a hand dip may be entered: the site allows the tank to be opened, and nothing has come in.
    pub can_dip: bool,
    /// A delivery is open or was the last one: checks can be entered.
    pub can_check: bool,
    /// Somebody is asked to say that they are in attendance.
    pub can_attend: bool,
    /// The steps of the delivery.
    pub walk: Walk,
}

/// One open alarm, in the order in which it must be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AlarmRow {
    /// The same alarm has the same key in every frame.
    pub key: String,
    /// Entry of the catalogue.
    pub id: &'static str,
    /// Index of the signal or tank it is about.
    pub subject: u16,
    /// "high", "medium" or "low".
    pub priority: &'static str,
    /// The acts come first and fill the row's head.
    pub acts: bool,
    /// What to do first.
    pub act: String,
    /// How to keep from harm.
    pub care: String,
    /// What is known.
    pub says: String,
    /// What may be behind it.
    pub beyond: String,
    /// Since when, and whether somebody has seen it.
    pub since: String,
    /// Somebody has seen it.
    pub seen: bool,
    /// A person may shelve it; an engineer may take it out of service.
    pub may_set_aside: bool,
}

/// An alarm of these is open: what it says needs no second saying.
fn says_it_already(published: &Published) -> bool {
    let covered = match published.frame.verdict.word {
        VerdictWord::Disagree | VerdictWord::CannotTellWhich => AlarmId::WitnessesDisagree,
        VerdictWord::None => AlarmId::NoWitness,
        _ => return false,
    };
    published.frame.alarms.iter().any(|a| a.key.id == covered)
}

fn scene<'a>(published: &'a Published, reader: &'a Reader) -> Scene<'a> {
    reader.scene(published)
}

/// What the page's script gets, with pictures for its width.
#[must_use]
pub fn live(published: &Published, reader: &Reader, size: Size) -> Live {
    live_with(published, reader, regions(published, reader, size))
}

/// The same for the far view.
#[must_use]
pub fn far(published: &Published, reader: &Reader) -> Live {
    live_with(published, reader, super::far::regions(published, reader))
}

fn live_with(published: &Published, reader: &Reader, regions: BTreeMap<&'static str, Markup>) -> Live {
    let frame = &published.frame;
    let tab = frame.alarms.iter().filter(|a| !a.seen).count();
    let title = match tab {
        0 => published.settings.bay.clone(),
        n => format!("({n}) {}", published.settings.bay),
    };
    Live {
        number: published.number,
        stale_after_ms: STALE_AFTER_MS,
        title,
        regions: regions.into_iter().map(|(id, html)| (id, html.into_string())).collect(),
        alarms: alarms(published, reader),
        can_start: frame.phase == Phase::Opened,
        can_close: frame.phase == Phase::Transfer,
        can_check: frame.delivery.is_some(),
        walk: steps::walk(scene(published, reader), reader.language),
        can_zero: frame.phase == Phase::Transfer && zero::admits(&frame.verdict, 1).is_ok(),
        can_dip: frame.phase == Phase::Opened && may_be_dipped(published),
        can_attend: frame.attendance.due_at.is_some(),
    }
}

fn may_be_dipped(published: &Published) -> bool {
    let tank = published.frame.tank.and_then(|t| published.settings.tanks.get(usize::from(t.tank)));
    tank.is_some_and(|tank| tank.hand_dip_u.is_some())
}

/// Every open alarm in words.
#[must_use]
pub fn alarms(published: &Published, reader: &Reader) -> Vec<AlarmRow> {
    let scene = scene(published, reader);
    published.frame.alarms.iter().map(|alarm| row(scene, reader, alarm)).collect()
}

fn row(scene: Scene<'_>, reader: &Reader, alarm: &Alarm) -> AlarmRow {
    let AlarmKey { id, subject } = alarm.key;
    let Text { act, care, says, beyond } = reader.language.alarm(scene, alarm);
    let labels = reader.language.labels();
    let mut since = format!("{} {}", labels.alarm_since, reader.language.hh_mm(scene, alarm.since));
    if alarm.seen {
        since = format!("{since}, {}", labels.was_seen);
    }
    if alarm.first {
        since = format!("{since}, {}", labels.first);
    }
    AlarmRow {
        key: format!("{}-{subject}", catalogue::of(id).name),
        id: catalogue::of(id).name,
        subject,
        priority: match alarm.priority {
            Priority::High => "high",
            Priority::Medium => "medium",
            Priority::Low => "low",
        },
        acts: first_acts_due(id),
        act,
        care,
        says,
        beyond,
        since,
        seen: alarm.seen,
        may_set_aside: catalogue::may_set_aside(scene.settings, alarm.key),
    }
}

/// All that is known, for programs: the frame, how the polling does, and what the page says in words.
#[must_use]
pub fn frame(published: &Published, reader: &Reader) -> Value {
    let settings = &published.settings;
    let Text { act, care, says, beyond } = headline(published, reader);
    json!({
        "site": published.site,
        "bay": settings.bay,
        "drill_speed": published.drill_speed,
        "number": published.number,
        "signals": settings.signals.iter().map(|s| &s.name).collect::<Vec<_>>(),
        "tanks": settings.tanks.iter().map(|t| &t.name).collect::<Vec<_>>(),
        "neighbours": settings.neighbours.iter().map(|n| json!({ "bay": n.bay, "tank": n.tank })).collect::<Vec<_>>(),
        "frame": frame_json(&published.frame),
        "devices": published.devices,
        "words": {
            "language": reader.language.tag(),
            "headline": { "act": act, "care": care, "says": says, "beyond": beyond },
            "alarms": alarms(published, reader),
            "notes": reader.language.notes(scene(published, reader)),
        },
    })
}

/// The state of the bay, to be read back at a hand-over.
#[must_use]
pub fn state(published: &Published, reader: &Reader) -> String {
    reader.language.state(scene(published, reader))
}

/// The sentence at the head of the page.
#[must_use]
pub fn headline(published: &Published, reader: &Reader) -> Text {
    reader.language.headline(scene(published, reader), says_it_already(published))
}

/// Names of the regions, in no particular order; the page has an element of each name.
fn regions(published: &Published, reader: &Reader, size: Size) -> BTreeMap<&'static str, Markup> {
    let scene = scene(published, reader);
    let language = reader.language;
    let labels = language.labels();
    let notes = language.notes(scene);
    BTreeMap::from([
        ("head", head(published, scene, reader)),
        ("alarm-count", alarm_count(scene, language)),
        (
            "headline",
            html! {
                @if let Some(hold) = hold(scene, language) { (headline_region(&hold)) }
                (headline_region(&headline(published, reader)))
            },
        ),
        ("valve", figure(labels.be_at_valve_by, &language.finish(scene))),
        ("margin", figure(labels.margin, &language.margin(scene))),
        ("notes", html! { @if !notes.is_empty() { ul { @for note in &notes { li { (note) } } } } }),
        ("masses", picture::masses(scene, language, size)),
        (
            "brim",
            html! {
                h2 { @if let Some(tank) = language.filled_tank(scene) { (tank) " " } span.unit { (labels.contents) ", " (language.unit(scene.measures.unit_word(Shown::LargeMass))) } }
                (picture::brim(scene, &published.past, language, size))
            },
        ),
        (
            "pad",
            html! {
                (pad_line(&language.pad(scene), labels.pad))
                (picture::pad(scene, worked(published), language, size))
            },
        ),
        ("checks", checks(scene, language)),
        ("on-duty", html! { p { (language.duty(scene)) } }),
        ("state-read", html! { (language.state(scene)) }),
        ("aside", aside(scene, language)),
        ("step-next", steps::next(scene, language)),
        ("step-about", steps::about(scene, language)),
        ("blow", steps::blow(scene, language)),
        ("step-all", steps::all(scene, language)),
        ("margin-made", margin_made(scene, language)),
        ("polling", polling(&published.devices, scene, language)),
    ])
}

/// In which band the pad is worked: as a rule, and in the last quarter of an hour.
fn worked(published: &Published) -> Worked {
    const LATELY_S: f64 = 900.0;
    Worked {
        usual_pa_gauge: published.facts.usual_pad_pa_gauge,
        band_pa_gauge: published.facts.usual_pad_band_pa_gauge,
        lately_pa_gauge: published.past.pad_lately(LATELY_S),
    }
}

pub(super) fn head(published: &Published, scene: Scene<'_>, reader: &Reader) -> Markup {
    let labels = reader.language.labels();
    let frame = scene.frame;
    html! {
        span.bay { (published.settings.bay) }
        @if let Some(tank) = reader.language.filled_tank(scene) { span { (labels.into) } span.bay { (tank) } }
        @match &frame.delivery {
            Some(d) => {
                span { (d.product) }
                @if !d.product_confirmed { span.doubt { (labels.not_confirmed) } }
            }
            None => { span.quiet { (labels.no_delivery) } }
        }
        @if let Some(speed) = published.drill_speed {
            span.drill { (labels.drill) " \u{d7}" (number(speed, 0)) }
        }
        span.when {
            @if let Some(d) = &frame.delivery { (labels.delivery) " " (d.id) " \u{b7} " }
            @if published.drill_speed.is_some() { (labels.drill_clock) " " }
            span.clock { (hh_mm_ss(frame.clock.wall_at(frame.at), scene.zone)) }
        }
    }
}

/// How many alarms are open, where there are so many that some may lie out of view.
fn alarm_count(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let alarms = &scene.frame.alarms;
    let unseen = alarms.iter().filter(|a| !a.seen).count();
    html! { @if alarms.len() > 1 { ((language.page().alarms_open)(alarms.len(), unseen)) } }
}

/// A check that fails stands at the head of the page: nobody has to open anything to see it.
fn hold(scene: Scene<'_>, language: &dyn Language) -> Option<Text> {
    let frame = scene.frame;
    let rejected = frame.delivery.as_ref().is_some_and(|d| d.rejected.is_some());
    let fails = rejected || frame.checks.iter().any(|check| check.state == CheckState::Fails);
    (frame.phase == Phase::Opened && fails).then(|| language.checks(scene))
}

fn headline_region(text: &Text) -> Markup {
    html! {
        @if !text.act.is_empty() { p.sentence.act { (text.act) } p.care { (text.care) } p { (text.says) } }
        @else { p.sentence { (text.says) } }
        @if !text.beyond.is_empty() { p.beyond { (text.beyond) } }
    }
}

fn figure(label: &str, figure: &Figure) -> Markup {
    // "not known" is wider than any figure.
    let word = figure.figure.chars().filter(|c| c.is_alphabetic()).count() > 4;
    html! {
        h2 { (label) }
        p.figure.act[figure.act].word[word] { (figure.figure) @if !figure.unit.is_empty() { span.unit { (figure.unit) } } }
        @for line in &figure.lines { p.line { (line) } }
    }
}

fn pad_line(figure: &Figure, label: &str) -> Markup {
    html! {
        h2 {
            (label) " " span.value.act[figure.act] { (figure.figure) " " span.unit { (figure.unit) } }
            @for line in &figure.lines { span.line { " \u{b7} " (line) } }
        }
    }
}

/// Each check with a shape and a word for how it stands; what they call for stands before them.
fn checks(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let shape = |state| match state {
        CheckState::Met => "\u{25cf}",
        CheckState::NotYet => "\u{25cb}",
        CheckState::Fails => "\u{2715}",
    };
    html! {
        @if !scene.frame.checks.is_empty() { (headline_region(&language.checks(scene))) }
        ul.checks {
            @for check in scene.frame.checks.iter() {
                @let text = language.check(scene, check);
                li.act[check.state == CheckState::Fails] {
                    span.shape aria-hidden="true" { (shape(check.state)) } " "
                    span.word { (text.state) } " "
                    span { b { (text.name) } ": " (text.says) }
                }
            }
        }
    }
}

/// Alarms that are shelved or out of service, each with what takes it back, and those suppressed by design.
fn aside(scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.labels();
    let back = |what: &str, key: AlarmKey, label: &str| {
        let entry = json!({ what: { "id": catalogue::of(key.id).name, "subject": key.subject } }).to_string();
        html! { button type="button" data-entry=(entry) { (label) } }
    };
    let (shelves, out) = (&scene.frame.shelves, &scene.frame.out_of_service);
    let suppressed = &scene.frame.suppressed;
    html! {
        @if !shelves.is_empty() || !out.is_empty() || !suppressed.is_empty() {
            ul.aside {
                @for shelf in shelves {
                    li { (language.shelved(scene, shelf)) " " (back("unshelved", shelf.key, labels.unshelve)) }
                }
                @for out in out {
                    li { (language.out_of_service(scene, out)) " " (back("put_back", out.key, labels.put_back)) }
                }
                @for suppressed in suppressed { li { (language.suppressed(scene, suppressed)) } }
            }
        }
    }
}

fn margin_made(scene: Scene<'_>, language: &dyn Language) -> Markup {
    html! {
        table { tbody {
            @for (label, mass) in language.margin_parts(scene) { tr { th scope="row" { (label) } td { (language.written(scene.measures.show(Shown::Mass, mass))) } } }
        } }
    }
}

fn polling(devices: &[DeviceStats], scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.labels();
    let ms = |us: &[u64; 3]| us.map(|us| number(us as f64 / 1000.0, 1)).join(" / ");
    html! {
        div.scroll tabindex="0" role="region" aria-label=(labels.polling) { table {
            thead { tr { @for column in labels.poll_columns { th scope="col" { (column) } } } }
            tbody {
                @for (d, state) in devices.iter().zip(&scene.frame.devices) {
                    tr {
                        th scope="row" { (d.name) }
                        td { (state.answered) }
                        td { (missed(state, language)) }
                        td { (state.connections.saturating_sub(1)) }
                        td { (ms(&d.latency_us)) } td { (ms(&d.lateness_us)) }
                        td { (now(state, scene, language)) }
                    }
                }
            }
        } }
    }
}

/// How often a device was missed, and how often for which reason.
fn missed(state: &DeviceState, language: &dyn Language) -> Markup {
    html! {
        (state.missed)
        @for (reason, count) in &state.missed_for {
            br; (count) " \u{d7} " (language.reason(Reason::Missed(*reason)))
        }
    }
}

/// What a device does now; where it does not answer or its values are old, since when.
fn now(state: &DeviceState, scene: Scene<'_>, language: &dyn Language) -> Markup {
    let labels = language.labels();
    let frame = scene.frame;
    let since = |at| format!("{} {}", labels.alarm_since, language.hh_mm(scene, frame.clock.wall_at(at)));
    let of_device =
        |r: &&Reading| scene.settings.signals.get(usize::from(r.signal)).is_some_and(|s| s.device == state.device);
    let stopped = Reason::HeartbeatStopped;
    let old = frame.readings.iter().filter(of_device).any(|r| r.validity == Validity::Lost(stopped));
    html! {
        @if let Some(Trouble { reason, since: at }) = state.trouble {
            (language.reason(Reason::Missed(reason))) ", " (since(at))
        }
        @else if old {
            (language.reason(stopped)) @if let Some(at) = state.heartbeat_at { ", " (since(at)) }
        }
        @else { (labels.answers) }
    }
}

/// The page of one bay, with what is known when it is asked for.
#[must_use]
pub fn bay_page(site: &str, slug: &str, published: Option<&Published>, reader: &Reader) -> Markup {
    let (labels, words) = (reader.language.labels(), reader.language.page());
    // How wide it will be shown only its script knows: a phone's first frame brings narrow pictures.
    let mut regions = published.map(|p| regions(p, reader, Size::Wide)).unwrap_or_default();
    let mut region = |id: &'static str| regions.remove(id).unwrap_or_default();
    let body = html! {
        body data-state="waiting" data-bay=(slug) {
            header { h1 #head { (region("head")) } }
            div #state role="status" data-stale=(labels.stale) data-since=(labels.stale_since)
                data-lost=(labels.no_connection) { (labels.waiting) }
            noscript { p.stale { (labels.no_script) } }
            p #alarm-count { (region("alarm-count")) }
            ol #alarms tabindex="0" aria-label=(labels.alarms) aria-live="assertive" aria-relevant="additions" {}
            main tabindex="0" {
                (card(published, reader))
                section #headline { (region("headline")) }
                (steps::fold(["step-next", "step-about", "blow", "step-all"].map(&mut region), reader))
                div.columns {
                    div.figures {
                        section #valve { (region("valve")) }
                        section #margin { (region("margin")) }
                        section #notes { (region("notes")) }
                    }
                    div.pictures {
                        section {
                            h2 { (labels.received) " " span.unit { (reader.language.unit(reader.measures.unit_word(Shown::Mass))) "; " (labels.bars) "; " (words.tap) } }
                            div.plot {
                                div #masses { (region("masses")) }
                                button #tap.over type="button" aria-label=(words.account) aria-controls="account" {}
                            }
                        }
                        section #brim { (region("brim")) }
                    }
                }
                (account::fold(words))
                (forms::entry_forms(reader))
                (forms::look_back(reader))
                details #delivery hidden {
                    summary { (labels.checks) }
                    div #checks { (region("checks")) }
                    (forms::check_forms(reader))
                }
                details #duty {
                    summary { (labels.duty) }
                    div #on-duty { (region("on-duty")) }
                    (forms::duty_forms(reader, &region("state-read")))
                    div #aside { (region("aside")) }
                }
                p.cautions { (labels.cautions) " " (reader.language.review()) }
                details {
                    summary { (labels.behind) }
                    h3 { (labels.margin_made) } div #margin-made { (region("margin-made")) }
                    h3 { (labels.polling) } div #polling tabindex="0" role="region" aria-label=(labels.polling) { (region("polling")) }
                }
                nav.doors {
                    a.door href={ "/bay/" (slug) "/papers" } { (reader.language.papers().title) }
                    a.door href="/" { (labels.bays) }
                    a.door href={ "/bay/" (slug) "/far" } { (words.far) }
                    (reader::choices(reader))
                    (look(words))
                    a.door href="/sign-in" { (reader.language.sign_in(SignInWord::Title)) }
                    a.door href="/settings" { (reader.language.settings(SettingsWord::Title)) }
                }
            }
            section #pad { (region("pad")) }
            (forms::footer(reader))
            template #alarm-row { (forms::alarm_template(reader)) }
        }
    };
    document(site, reader, &body)
}

/// The choice of looks, for this browser alone.
pub(super) fn look(words: &PageWords) -> Markup {
    html! {
        label.look {
            (words.look) " "
            select #look { @for (name, word) in ["auto", "dark", "sun"].into_iter().zip(words.looks) { option value=(name) { (word) } } }
        }
    }
}

/// The emergency card: where things are and whom to call. It is drawn once and does not move.
fn card(published: Option<&Published>, reader: &Reader) -> Markup {
    let words = reader.language.page();
    let written = published.map_or(&[][..], |p| &p.facts.emergency);
    let line = |key: &str| written.iter().find(|(k, _)| *k == key).map_or(words.card_empty, |(_, text)| text.as_str());
    html! {
        section #card hidden {
            h2 { (words.card) }
            dl {
                @for key in ["call", "stop", "gas", "shower", "eyewash", "way_out", "first_aid"] {
                    dt { ((words.card_line)(key)) } dd { (line(key)) }
                }
            }
            p.beyond { (words.card_caution) }
        }
    }
}

/// The sign-in; `here`: who is signed in, and the word of their role. `used`: the site names people.
#[must_use]
pub fn sign_in_page(site: &str, used: bool, here: Option<(&str, &str)>, reader: &Reader) -> Markup {
    let say = |word| reader.language.sign_in(word);
    let state = match here {
        _ if !used => SignInWord::NotUsed,
        Some((name, role)) => SignInWord::Here(name, role),
        None => SignInWord::NobodyHere,
    };
    let body = html! {
        body.list {
            header { h1 { (site) } }
            main {
                h2 { (say(SignInWord::Title)) }
                p { (say(state)) }
                @if here.is_some() { button #out type="button" { (say(SignInWord::Out)) } }
                @if used && here.is_none() {
                    form #sign-in autocomplete="on" {
                        p { label for="name" { (say(SignInWord::Name)) }
                            " " input #name name="name" autocomplete="username" required; }
                        p { label for="password" { (say(SignInWord::Password)) }
                            " " input #password name="password" type="password" autocomplete="current-password" required; }
                        button #in type="submit" { (say(SignInWord::Title)) }
                    }
                }
                p #answer role="status" data-unreached=(say(SignInWord::NotReached)) {}
                p { a.door href="/" { (say(SignInWord::Back)) } }
            }
            script src="/sign-in.js" type="module" {}
        }
    };
    document(site, reader, &body)
}

pub(super) fn document(title: &str, reader: &Reader, body: &Markup) -> Markup {
    let view = ["far", "bays"].into_iter().find(|view| body.0.contains(&format!("data-view=\"{view}\"")));
    let script = view.map(|view| format!("/{view}.js")).or(body.0.contains("data-bay").then(|| "/page.js".to_owned()));
    html! {
        (DOCTYPE)
        html lang=(reader.language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                link rel="icon" href="/mark.svg" type="image/svg+xml";
                link rel="stylesheet" href="/page.css";
                @if view.is_some() { link rel="stylesheet" href="/far.css"; }
                @if let Some(script) = script { script type="module" src=(script) {} }
                title { (title) }
            }
            (body)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::{Condition, Suppressed, SuppressedBy, VerdictWord};
    use crate::page::scenes;
    use crate::time::WallTime;
    use crate::words::LANGUAGES;
    use crate::words::en::English;
    use jiff::tz::TimeZone;

    fn reader() -> Reader {
        Reader { zone: TimeZone::UTC, ..Reader::here() }
    }

    /// The acts in the order in which every text on missing mass, pressure or a reached level must give them.
    const ACTS: [&str; 6] = [
        "stop",
        "emergency stop or remote valve",
        "shut the gas",
        "keep clear and upwind",
        "look only from a distance, in the required protection",
        "touch or tighten nothing under pressure",
    ];

    fn assert_acts_first(place: &str, text: &Text) {
        let whole = text.whole().to_lowercase();
        let mut from = 0;
        for act in ACTS {
            let at = whole[from..]
                .find(act)
                .unwrap_or_else(|| panic!("{place}: \u{201c}{act}\u{201d} out of turn: {whole}"));
            from += at;
        }
        for later in ["where to look", "what fits", "left the trailer", "kpa", " leaves ", "is lost", "has tripped"] {
            let at = whole.find(later).unwrap_or(whole.len());
            assert!(at > from, "{place}: \u{201c}{later}\u{201d} before the last act: {whole}");
        }
    }

    /// In each language, by what; and nobody can take it back, since no person set it aside.
    #[test]
    fn what_is_suppressed_by_design_is_named() {
        let (_, mut published) = scenes::all().remove(0);
        let key = AlarmKey { id: AlarmId::SignalLost, subject: 2 };
        let of = |published: &Published, language| {
            regions(published, &Reader { language, ..reader() }, Size::Wide)
                .remove("aside")
                .expect("a region")
                .into_string()
        };
        for language in LANGUAGES.iter().copied() {
            published.frame.suppressed.clear();
            let before = of(&published, language);
            for by in [SuppressedBy::GasInLine, SuppressedBy::SiteFile] {
                let suppressed = Suppressed { key, by };
                published.frame.suppressed = vec![suppressed];
                let (now, says) =
                    (of(&published, language), language.suppressed(scene(&published, &reader()), &suppressed));
                let says = html! { (says) }.into_string();
                assert!(now.contains(&says) && !before.contains(&says), "{now}");
                assert_eq!(now.matches("<button").count(), before.matches("<button").count(), "{now}");
            }
        }
    }

    #[test]
    fn texts_on_missing_mass_pressure_and_level_begin_with_the_acts() {
        let reader = reader();
        let on_danger = [
            AlarmId::LevelSwitchTripped,
            AlarmId::LevelHighHigh,
            AlarmId::PadNearCeiling,
            AlarmId::WitnessesDisagree,
            AlarmId::MovementOutsideTransfer,
            AlarmId::NoWitness,
            AlarmId::WrongProduct,
            AlarmId::PossibleReaction,
            AlarmId::PadAboveMawp,
            AlarmId::PadInReliefWindow,
            AlarmId::PadBelowTank,
            AlarmId::PadAtCeiling,
            AlarmId::PadFalling,
            AlarmId::PadBelowBand,
            AlarmId::TankPressureHigh,
            AlarmId::ReverseFlow,
            AlarmId::TruckGone,
            AlarmId::LevelCritical,
            AlarmId::LevelSoon,
            AlarmId::PadRising,
            AlarmId::PadAboveSupply,
            AlarmId::OtherTankRises,
        ];
        let mut headlines = 0;
        for (name, published) in scenes::all() {
            let scene = scene(&published, &reader);
            for id in on_danger {
                let alarm = scenes::alarm(id, 0, Priority::High);
                assert_acts_first(&format!("{name}, {id:?}"), &reader.language.alarm(scene, &alarm));
            }
            let pad_lost = scenes::alarm(AlarmId::SignalLost, 4, Priority::Medium);
            assert_acts_first(&format!("{name}, pad lost"), &reader.language.alarm(scene, &pad_lost));
            let off = matches!(published.frame.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
            if off {
                headlines += 1;
                assert_acts_first(&format!("{name}, headline"), &reader.language.headline(scene, false));
                let short = reader.language.headline(scene, true).whole();
                assert!(!short.contains("did not arrive"), "{name}: said twice: {short}");
            }
        }
        assert!(headlines >= 2);
    }

    #[test]
    fn agreement_says_what_it_does_not_show() {
        let text = headline(&scenes::agree(), &reader());
        assert_eq!(text.says, "Transferring at 282\u{a0}kg/min. The three instruments agree within 42\u{a0}kg.");
        assert_eq!(text.beyond, "A leak below about 6\u{a0}kg/min, or one that stays on the scale, would not be seen.");
    }

    /// No text, class, script or colour of the page praises.
    #[test]
    fn no_word_of_praise_stands_on_the_page() {
        let barred =
            ["ok", "okay", "safe", "safely", "normal", "tight", "healthy", "good", "fine", "green", "lime", "secure"];
        let barred_es = ["seguro", "segura", "bien", "bueno", "buena", "sano", "verde", "hermético", "correctamente"];
        let literals = |source: &str| -> String {
            let shipped = source.split("#[cfg(test)]").next().unwrap_or_default();
            shipped
                .lines()
                .filter(|l| !l.trim_start().starts_with("//"))
                .collect::<Vec<_>>()
                .join("\n")
                .split('"')
                .skip(1)
                .step_by(2)
                .collect::<Vec<_>>()
                .join("\n")
        };
        let sources = [
            ("words/en.rs", literals(include_str!("../words/en.rs"))),
            ("words/es/said.rs", literals(include_str!("../words/es/said.rs"))),
            ("words/es/labels.rs", literals(include_str!("../words/es/labels.rs"))),
            ("words/es/screen.rs", literals(include_str!("../words/es/screen.rs"))),
            ("words/es/checks.rs", literals(include_str!("../words/es/checks.rs"))),
            ("words/es/steps.rs", literals(include_str!("../words/es/steps.rs"))),
            ("words/checks.rs", literals(include_str!("../words/checks.rs"))),
            ("words/screen.rs", literals(include_str!("../words/screen.rs"))),
            ("page/far.rs", literals(include_str!("far.rs"))),
            ("far.css", include_str!("assets/far.css").to_owned()),
            ("feed.js", include_str!("assets/feed.js").to_owned()),
            ("words/steps.rs", literals(include_str!("../words/steps.rs"))),
            ("page/steps.rs", literals(include_str!("steps.rs"))),
            ("steps.js", include_str!("assets/steps.js").to_owned()),
            ("steps.toml", literals(include_str!("../../config/steps.toml"))),
            ("page/view.rs", literals(include_str!("view.rs"))),
            ("page.css", include_str!("assets/page.css").to_owned()),
            ("page.js", include_str!("assets/page.js").to_owned()),
        ];
        for (name, text) in sources {
            assert!(text.len() > 100, "{name}: nothing to look at");
            let text = text.to_lowercase();
            for word in text.split(|c: char| !c.is_alphabetic()) {
                assert!(
                    !barred.contains(&word) && (!name.contains("/es/") || !barred_es.contains(&word)),
                    "{name}: \u{201c}{word}\u{201d}"
                );
            }
        }
    }

    #[test]
    fn every_frame_fills_every_region_of_the_page() {
        let reader = reader();
        for (name, published) in scenes::all() {
            let page = bay_page("works", "bay-2", Some(&published), &reader).into_string();
            let live = live(&published, &reader, Size::Wide);
            for (id, html) in &live.regions {
                assert!(page.contains(&format!("id=\"{id}\"")), "{name}: the page has no {id}");
                assert!(!html.contains("<button") && !html.contains("NaN") && !html.contains("style="), "{name}, {id}");
                assert!(page.contains(html.as_str()), "{name}: {id} is not on the page at first");
            }
            assert!(serde_json::to_string(&live).expect("JSON").len() < 64 * 1024, "{name}: a frame is too long");
        }
    }

    #[test]
    fn a_lost_mass_is_never_shown_as_current() {
        let live = live(&scenes::lost_signals(), &reader(), Size::Wide);
        let masses = &live.regions["masses"];
        assert!(masses.contains("no connection to the device") && !masses.contains("477"), "{masses}");
        assert!(live.regions["pad"].contains("not known") && !live.regions["pad"].contains("118"));
    }

    /// A reason stands beside a mass on a phone, in a picture 346 px wide that wraps nothing. Letters of 13 px are
    /// about 7 px wide (measured in chromium): 50 with the words "not used: " before it.
    #[test]
    fn every_reason_is_short_enough_for_a_phone() {
        use crate::engine::frame::Slip as S;
        use crate::engine::input::{MissReason as M, Status};
        let missed = [M::TimeOut, M::NoConnection, M::ConnectionLost, M::WrongLength, M::Malformed, M::QueueFull]
            .into_iter()
            .chain([M::WrongTransaction, M::WrongUnit, M::WrongFunction, M::BadChecksum, M::Unsettled])
            .chain([M::NameUnknown, M::PortAbsent, M::PortForbidden, M::PortTaken, M::NotSerial]);
        let says = [Status::MaintenanceRequired, Status::OutOfSpecification, Status::FunctionCheck, Status::Failure];
        let slips = [S::WordOrder, S::Atmosphere, S::Factor(1000), S::Fahrenheit, S::Pound, S::Net, S::NotTheLoad]
            .into_iter()
            .chain([S::OtherDensity, S::OtherSignal, S::Register, S::Function, S::TooFast, S::GaugesDiffer]);
        let reasons = [Reason::NotYetRead, Reason::NotFitted, Reason::Stale, Reason::DeviceException(255)]
            .into_iter()
            .chain([Reason::NotANumber, Reason::OutOfRange, Reason::Saturated, Reason::Frozen])
            .chain([Reason::FrozenTogether, Reason::HeartbeatStopped, Reason::FailureCurrent, Reason::Torn])
            .chain([
                Reason::MissingCorrection,
                Reason::Disturbed,
                Reason::NotBack,
                Reason::OffTheTable,
                Reason::NoStart,
            ])
            .chain([Reason::TotalReset, Reason::CountsBack, Reason::DrivenOff])
            .chain(missed.map(Reason::Missed))
            .chain(says.map(Reason::DeviceSays))
            .chain(slips.map(Reason::Unlikely));
        for reason in reasons {
            for language in LANGUAGES {
                let text = language.reason(reason);
                assert!(text.chars().count() <= 40, "{}, {reason:?}: {text}", language.tag());
            }
        }
    }

    /// The polling table says how often a device was missed for which reason, and what is the matter since when.
    #[test]
    fn the_polling_table_gives_reasons() {
        let region = |published: &Published| live(published, &reader(), Size::Wide).regions["polling"].clone();
        let lost = region(&scenes::lost_signals());
        for part in
            ["3<br>2 \u{d7} no answer within the time-out<br>1 \u{d7} ", "no connection to the device, since 14:08"]
        {
            assert!(lost.contains(part), "{part}: {lost}");
        }
        assert!(region(&scenes::old_values()).contains("heartbeat has stopped, since 14:09"));
        let notes = English.notes(scene(&scenes::old_values(), &reader()));
        assert!(notes.iter().any(|note| note.ends_with("is used; its device asks for maintenance.")), "{notes:?}");
    }

    #[test]
    fn what_comes_from_outside_is_escaped() {
        let mut published = scenes::agree();
        if let Some(delivery) = &mut published.frame.delivery {
            delivery.product = "<script>alert(1)</script>".into();
        }
        published.frame.alarms.push(Alarm {
            first: false,
            condition: Condition::Unknown,
            since: WallTime(i64::MIN),
            ..scenes::alarm(AlarmId::SignalLost, u16::MAX, Priority::Low)
        });
        let page = bay_page("<b>", "x", Some(&published), &reader()).into_string();
        assert!(!page.contains("<script>alert") && !page.contains("<b>"));
        assert!(alarms(&published, &reader())[0].says.contains("#65535"));
    }

    #[test]
    fn every_alarm_has_a_name_that_leads_back() {
        for catalogue::Line { id, name, .. } in catalogue::CATALOGUE {
            assert_eq!(catalogue::named(name), Some(id));
            let mut published = scenes::agree();
            published.frame.alarms = vec![scenes::alarm(id, 0, Priority::Low)];
            assert_eq!(frame(&published, &reader())["frame"]["alarms"][0]["key"]["id"], name, "two names");
        }
        assert_eq!(catalogue::named("unknown"), None);
    }

    #[test]
    fn a_neighbour_is_said_and_counted() {
        let published = scenes::shared_tank();
        let said = "Bay 2 is filling the same tank: about 3\u{202f}412\u{a0}kg of its load still to come; counted in the margin.";
        let notes = English.notes(scene(&published, &reader()));
        assert!(notes.iter().any(|note| note == said), "{notes:?}");
        let live = live(&published, &reader(), Size::Wide);
        assert!(live.regions["notes"].contains("Bay 2 is filling the same tank"));
        assert!(live.regions["margin-made"].contains("less what other bays may still bring"));
        assert!(!super::live(&scenes::agree(), &reader(), Size::Wide).regions["margin-made"].contains("other bays"));
    }

    /// Every key that a program can meet stands in the paper on the interface.
    #[test]
    fn the_interface_is_written_down() {
        fn keys(value: &Value, found: &mut std::collections::BTreeSet<String>) {
            match value {
                Value::Object(map) => map.iter().for_each(|(key, value)| {
                    found.insert(key.clone());
                    keys(value, found);
                }),
                Value::Array(list) => list.iter().for_each(|value| keys(value, found)),
                _ => {}
            }
        }
        let paper = include_str!("../../docs/interface.md");
        let mut found = std::collections::BTreeSet::new();
        for (_, published) in scenes::all() {
            keys(&frame(&published, &reader()), &mut found);
            let mut live = serde_json::to_value(live(&published, &reader(), Size::Wide)).expect("JSON");
            live["regions"] = Value::Null;
            keys(&live, &mut found);
        }
        assert!(found.len() > 90, "{}", found.len());
        let missing: Vec<_> = found.iter().filter(|key| !paper.contains(&format!("`{key}`"))).collect();
        assert!(missing.is_empty(), "not in docs/interface.md: {missing:?}");
    }
}
