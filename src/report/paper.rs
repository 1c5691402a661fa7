//! The unloading record as a page that prints to A4 and Letter and needs nothing from anywhere.

mod ticket;

use super::Record;
use super::account::{Account, AlarmAccount, EntryAccount, Figure, Moment, Said, SignatureAccount, StepAccount};
use crate::engine::checks::CheckId;
use crate::engine::frame::{Source, Witness, WitnessId};
use crate::picture::{Curve, Mark, MarkKind, Panel, Size, Stroke, TimeLine, masses, time_line};
use crate::time::{SECOND_NS, WallTime};
use crate::words::display::{date_time, duration, hh_mm_ss, number};
use crate::words::en::English;
use crate::words::{Language, Scene};
use jiff::tz::TimeZone;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Printed with the page, so that the file stands alone.
const STYLE: &str = concat!(include_str!("../picture/time_line.css"), include_str!("paper.css"));
/// Before and behind the figures that the paper holds as JSON.
pub(super) const FIGURES_FROM: &str = r#"<script type="application/json" id="figures">"#;
pub(super) const FIGURES_TO: &str = "</script>";
/// What stands where nothing is known.
const NONE: &str = "\u{2013}";
/// So many alarms are marked in the picture, the gravest first; all of them are in the table.
const MARKS_MOST: usize = 6;

const WITNESSES: [(WitnessId, Stroke); 3] =
    [(WitnessId::Flow, Stroke::Flow), (WitnessId::Scale, Stroke::Scale), (WitnessId::Tank, Stroke::Tank)];

/// What is shown, and how its times are written.
struct Paper<'a> {
    record: &'a Record,
    account: &'a Account,
    zone: TimeZone,
}

/// The whole paper.
pub(super) fn html(record: &Record) -> Markup {
    let account = &record.account;
    let zone = TimeZone::get(&account.zone).unwrap_or(TimeZone::UTC);
    let paper = Paper { record, account, zone };
    // Nothing in a text can end the element that holds it.
    let figures = serde_json::to_string(account).unwrap_or_default().replace('<', "\\u003c");
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (paper.title()) ": " (paper.named()) }
                style { (PreEscaped(STYLE)) (PreEscaped(paper.margins())) }
            }
            body {
                (paper.heading())
                (paper.facts())
                (paper.received())
                (paper.legs())
                (paper.against_ticket())
                (paper.course())
                (paper.budget())
                (paper.pad())
                (paper.checks())
                (paper.steps())
                (paper.alarms())
                (paper.entries())
                (paper.watched())
                (paper.amendments())
                (paper.signatures())
                (paper.chain())
                (PreEscaped(FIGURES_FROM)) (PreEscaped(figures)) (PreEscaped(FIGURES_TO))
            }
        }
    }
}

/// A text as CSS takes it between quotes.
fn css_text(text: &str) -> String {
    text.chars().fold(String::new(), |mut css, c| {
        if c.is_ascii_alphanumeric() || c == ' ' {
            css.push(c);
        } else {
            let _ = write!(css, "\\{:06x}", u32::from(c));
        }
        css
    })
}

fn kg(value: f64) -> String {
    number(value, 0)
}

fn signed(value: f64) -> String {
    if value > 0.0 { format!("+{}", kg(value)) } else { kg(value) }
}

/// In kPa to a tenth, and in psi as most plates have it (1 psi = 6 894.757 Pa, NIST SP 811, B.8).
fn pressure(pa_gauge: Option<f64>) -> String {
    const PSI_PA: f64 = 6_894.757;
    pa_gauge.map_or_else(
        || "not known".to_owned(),
        |pa| format!("{}\u{a0}kPa ({}\u{a0}psi) gauge", number(pa / 1000.0, 1), number(pa / PSI_PA, 1)),
    )
}

fn metres(m: Option<f64>) -> String {
    m.map_or_else(|| NONE.to_owned(), |m| number(m, 3))
}

fn spaced(code: &str) -> String {
    code.replace('_', " ")
}

fn alarm_name(alarm: &AlarmAccount) -> String {
    named(&alarm.alarm, &alarm.subject)
}

fn named(alarm: &str, subject: &str) -> String {
    let name = spaced(alarm);
    if subject.is_empty() { name } else { format!("{name}: {subject}") }
}

/// What suppressed an alarm by design, by its code in the JSON; a later code is shown as it stands.
fn suppressed_by(code: &Value) -> String {
    match code.as_str().unwrap_or_default() {
        "gas_in_line" => "gas stood in the line, no liquid flowed".to_owned(),
        "site_file" => "by the site file, in that phase".to_owned(),
        code => spaced(code),
    }
}

/// What somebody did, by its code in the JSON; a later code is shown as it stands.
fn entry_name(code: &str) -> String {
    match code {
        "delivery_opened" => "delivery opened".to_owned(),
        "transfer_started" => "transfer started".to_owned(),
        "closed" => "closed".to_owned(),
        "dipped" => "tank dipped by hand".to_owned(),
        "scale_zeroed" => "scale given a new zero".to_owned(),
        "seen" => "alarm seen".to_owned(),
        "shelved" => "alarm shelved".to_owned(),
        "unshelved" => "alarm taken back from the shelf".to_owned(),
        "handed_over" => "handed over".to_owned(),
        "taken_out" => "alarm taken out of service".to_owned(),
        "put_back" => "alarm put back in service".to_owned(),
        "step_signed" => "step signed".to_owned(),
        "step_skipped" => "step let go".to_owned(),
        "check_entered" => "check entered".to_owned(),
        "rejected" => "delivery rejected".to_owned(),
        other => spaced(other),
    }
}

/// What an entry is about; what people wrote is left as they wrote it.
fn about(entry: &EntryAccount) -> String {
    match entry.what.as_str() {
        "seen" | "shelved" | "unshelved" | "put_back" => spaced(&entry.about),
        _ => entry.about.clone(),
    }
}

fn row(name: &str, value: impl maud::Render) -> Markup {
    html! { tr { th scope="row" { (name) } td { (value) } } }
}

impl Paper<'_> {
    fn when(&self, moment: Option<&Moment>) -> String {
        moment.map_or_else(|| "not known".to_owned(), |moment| date_time(moment.at(), &self.zone))
    }

    fn clock(&self, moment: &Moment) -> String {
        hh_mm_ss(moment.at(), &self.zone)
    }

    fn said(&self, said: &Said) -> String {
        format!("{}, {}", said.who, self.clock(&said.at))
    }

    fn scene<'a>(&'a self, frame: &'a crate::engine::frame::Frame) -> Scene<'a> {
        Scene::new(&self.record.settings, frame, &self.zone)
    }

    fn title(&self) -> &'static str {
        if self.record.is_final() { "Unloading record" } else { "Provisional unloading record" }
    }

    /// Delivery, and the leg where there are several.
    fn named(&self) -> String {
        let a = self.account;
        if a.legs.len() > 1 || a.leg > 1 { format!("{}, leg {}", a.delivery, a.leg) } else { a.delivery.clone() }
    }

    /// What stands in the margins of every printed page.
    fn margins(&self) -> String {
        let drill = if self.account.drill_speed.is_some() { "DRILL" } else { "" };
        let delivery = css_text(&format!("{} {}", self.title(), self.named()));
        let head = self.account.chain_head.get(..16).unwrap_or_default();
        format!(
            "@page{{margin:17mm 14mm;font:8pt sans-serif;@top-left{{content:\"{delivery}\"}}@top-center{{content:\"{drill}\";\
             font-weight:700;font-size:14pt}}@top-right{{content:\"chain {}\"}}@bottom-left{{content:\"Operating figures, \
             not for trade\"}}@bottom-right{{content:counter(page) \" of \" counter(pages)}}}}",
            css_text(head)
        )
    }

    fn heading(&self) -> Markup {
        let a = self.account;
        html! {
            @if let Some(speed) = a.drill_speed {
                p class="stamp" { "DRILL" @if speed > 1.0 { ", " (number(speed, 0)) " times as fast as the clock" } }
            }
            h1 { (self.title()) ": " (self.named()) }
            @if let Some(rejected) = &a.rejected {
                p class="stamp" {
                    "REJECTED by " (rejected.who) ", " (self.when(Some(&rejected.at))) ": " (rejected.reason)
                }
            } @else if !a.is_closed {
                p class="stamp" {
                    "NOT CLOSED. What stands here is provisional and is not held against the ticket. Make the record anew \
                     once the delivery is closed."
                }
            }
            @if let Some(origin) = &a.imported { p class="stamp" { "IMPORTED from " (origin.file) ", not watched" } }
            p class="caution" { (a.caution) }
        }
    }

    fn facts(&self) -> Markup {
        let a = self.account;
        let text = |text: &Option<String>| text.clone().unwrap_or_else(|| NONE.to_owned());
        let lasted = a.started.as_ref().zip(a.closed.as_ref()).map(|(from, to)| {
            #[expect(clippy::cast_precision_loss, reason = "a delivery's nanoseconds")]
            duration(to.unix_ns.saturating_sub(from.unix_ns) as f64 / SECOND_NS as f64)
        });
        html! {
            div class="facts" {
                table {
                    (row("works, bay", format!("{}, {}", a.site, a.bay)))
                    (row("product", &a.product))
                    (row("tank", &a.tank))
                    (row("carrier, driver", format!("{}, {}", text(&a.carrier), text(&a.driver))))
                    (row("trailer", text(&a.trailer_specification)))
                    (row("planned", format!("{}\u{a0}kg", kg(a.planned_kg))))
                }
                table {
                    (row("opened", self.when(a.opened.as_ref())))
                    (row("transfer started", self.when(a.started.as_ref())))
                    (row("closed", self.when(a.closed.as_ref())))
                    (row("transfer lasted", lasted.unwrap_or_else(|| NONE.to_owned())))
                    (row("times are in", &a.zone))
                    (row("density table", format!("{}{}", a.product_source, if a.product_confirmed { "" } else { " (nobody has read that source yet)" })))
                }
            }
        }
    }

    fn received(&self) -> Markup {
        let a = self.account;
        let figures = |figure: Option<Figure>| {
            figure.map_or_else(|| [NONE, NONE].map(str::to_owned), |f| [kg(f.value), kg(f.expanded())])
        };
        html! {
            h2 { "Received in the tank" }
            table {
                caption { "kg. U: expanded uncertainty, twice the standard one (k\u{a0}=\u{a0}2, about 95\u{a0}%)" }
                thead { tr { th {} th class="n" { "kg" } th class="n" { "U, kg" } th class="n" { "weight" } th { "" } } }
                tbody {
                    @for (at, ((id, _), witness)) in WITNESSES.iter().zip(&a.witnesses).enumerate() {
                        @let [value, u] = figures(witness.received_kg);
                        tr {
                            th scope="row" { (English.witness(*id)) }
                            td class="n" { (value) } td class="n" { (u) }
                            td class="n" { (a.weights.map_or_else(|| NONE.to_owned(), |w| number(w[at], 2))) }
                            td { (self.standing(at)) }
                        }
                    }
                    @let [value, u] = figures(a.received_kg);
                    tr class="all" {
                        th scope="row" { "together" } td class="n" { (value) } td class="n" { (u) } td {} td {}
                    }
                }
            }
            @if let Some(frame) = &self.record.frame {
                (masses(self.scene(frame), &English, Size::Wide))
                @if frame.phase == crate::engine::frame::Phase::Closed && a.rejected.is_none() {
                    p { (English.headline(self.scene(frame), false).whole()) }
                }
            }
            @if !a.verdicts.is_empty() {
                p class="small" {
                    "What the instruments said together during the transfer: "
                    @for (at, verdict) in a.verdicts.iter().enumerate() {
                        @if at > 0 { ", " }
                        (spaced(verdict.word.as_str().unwrap_or_default())) " for " (duration(verdict.lasted_s))
                    }
                    "."
                }
            }
        }
    }

    /// What is to be said of a witness beside its figures.
    fn standing(&self, at: usize) -> String {
        use crate::engine::frame::Validity;
        match self.record.frame.as_ref().and_then(|frame| frame.witnesses.get(at)).map(|w| w.validity) {
            Some(Validity::Lost(reason)) => format!("not used: {}", English.reason(reason)),
            Some(Validity::Doubtful(reason)) => format!("doubtful: {}", English.reason(reason)),
            Some(Validity::Good) | None => String::new(),
        }
    }

    fn budget(&self) -> Markup {
        let Some(frame) = &self.record.frame else { return html! {} };
        let used: Vec<&Witness> = frame.witnesses.iter().filter(|w| !w.budget.is_empty()).collect();
        let sources: BTreeSet<Source> = used.iter().flat_map(|w| w.budget.iter().map(|part| part.source)).collect();
        let part = |witness: &Witness, source: Source| {
            let parts = witness.budget.iter().filter(|part| part.source == source).map(|part| part.kg);
            parts.reduce(|a, b| a + b).map_or_else(|| NONE.to_owned(), |kg| number(kg, 1))
        };
        html! {
            h2 { "Where the uncertainty comes from" }
            @if used.is_empty() { p { "No instrument has a figure." } }
            @else { table {
                caption {
                    "Standard contributions, kg, with their sign: what two instruments share cancels in their difference. \
                     Combined as the root of the sum of squares (JCGM 100:2008)"
                }
                thead { tr { th { "source" } @for w in &used { th class="n" { (English.witness(w.id)) } } } }
                tbody {
                    @for source in &sources { tr {
                        td { (English.source(*source)) } @for w in &used { td class="n" { (part(w, *source)) } }
                    } }
                    tr class="all" {
                        td { "standard uncertainty, kg" }
                        @for w in &used { td class="n" { (w.received_kg.map_or_else(|| NONE.to_owned(), |m| number(m.u, 1))) } }
                    }
                }
            } }
        }
    }

    fn pad(&self) -> Markup {
        let (pad, a) = (&self.account.pad, self.account);
        let at = |pa: Option<f64>, at: Option<&Moment>| match at {
            Some(at) => format!("{}, {}", pressure(pa), self.when(Some(at))),
            None => pressure(pa),
        };
        html! {
            h2 { "Pressure on the trailer, level of the tank" }
            table {
                (row("at the close", pressure(pad.at_close_pa_gauge)))
                (row("last known before the close", at(pad.last_known_pa_gauge, pad.last_known.as_ref())))
                (row("last on record, at release", at(pad.at_end_pa_gauge, pad.at_end.as_ref())))
                (row("highest during the transfer", pressure(pad.highest_pa_gauge)))
                (row("ceiling at the close", pressure(pad.ceiling_pa_gauge)))
                (row("MAWP on the plate", pressure(pad.mawp_pa_gauge)))
                @for level in &a.levels {
                    (row(
                        &format!("level, {}", level.signal),
                        format!("{} m at the start, {} m at the close", metres(level.start_m), metres(level.close_m)),
                    ))
                }
                (row("levels of the tank", format!(
                    "maximum working {} m, high-high {} m, critical high {} m",
                    metres(a.limits.working_m), metres(a.limits.high_high_m), metres(a.limits.critical_m)
                )))
            }
            p class="small" {
                "No signal shows that trailer, hose or line is empty or free of pressure: only a bleed and a gauge on the spot do."
            }
        }
    }

    fn checks(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { "Checks before anything was connected" }
            @if a.checks.is_empty() { p { "None on record." } }
            @else { table class="checks" {
                caption { "As they stood at " (self.when(a.checks_at.as_ref())) }
                thead { tr { th { "check" } th { "state" } th { "by, at" } th { "why" } } }
                tbody { @for check in &a.checks { tr {
                    td { (CheckId::named(&check.check).map_or(check.check.as_str(), |id| English.check_name(id))) }
                    td class="t" { (check.state) }
                    td { (check.entered.as_ref().map_or_else(|| if check.by_person { "nobody" } else { "papers, signals" }.to_owned(), |said| self.said(said))) }
                    td { (check.says) }
                } } }
            } }
        }
    }

    fn steps(&self) -> Markup {
        let signed = |step: &StepAccount, side: &str| {
            let by_side = step.signatures.iter().filter(|s| s.side == side);
            let said = |s: &SignatureAccount| {
                let note = if s.note.is_empty() { String::new() } else { format!(": {}", s.note) };
                format!("{}, {}{note}", s.who, self.clock(&s.at))
            };
            by_side.map(said).collect::<Vec<_>>().join("; ")
        };
        let steps = &self.account.steps;
        html! { @if !steps.is_empty() {
            h2 { "Steps, as people signed them" }
            table class="steps" {
                caption { "Signed by people; no signal confirms any of them. Local codes and the site's own procedure come first" }
                thead { tr { th { "step" } th { "state" } th { "for the site" } th { "for the driver" } } }
                tbody { @for step in steps { tr {
                    td { @if step.hold { strong { "Hold: " } } (step.text) } td { (spaced(&step.stands)) }
                    td { (signed(step, "site")) } td { (signed(step, "driver")) }
                } } }
            }
        } }
    }

    fn alarms(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { "Alarms" }
            @if a.alarms.is_empty() { p { "None came until the close." } }
            @else { table {
                thead { tr { th { "alarm" } th { "priority" } th { "came" } th { "seen by" } th { "gone" } th { "shelved" } } }
                tbody { @for alarm in &a.alarms { tr {
                    td { (alarm_name(alarm)) } td { (alarm.priority.as_str().unwrap_or_default()) }
                    td class="t" { (self.clock(&alarm.raised)) }
                    td { (alarm.seen.as_ref().map_or_else(|| "nobody".to_owned(), |said| self.said(said))) }
                    td class="t" { (alarm.cleared.as_ref().map_or_else(|| "still open".to_owned(), |at| self.clock(at))) }
                    td { @for shelf in &alarm.shelved {
                        (shelf.who) ", " (self.clock(&shelf.at)) ", for " (duration(shelf.for_s)) ". "
                    } }
                } } }
            } }
            @if a.alarms_after_close > 0 { p { (a.alarms_after_close) " more came after the close." } }
            @if !a.suppressed.is_empty() {
                p { "Suppressed by design: the condition held, and nobody was called." }
                table {
                    thead { tr { th { "alarm" } th { "because" } th { "from" } th { "until" } th { "times" } } }
                    tbody { @for s in &a.suppressed { tr {
                        td { (named(&s.alarm, &s.subject)) } td { (suppressed_by(&s.by)) }
                        td class="t" { (self.clock(&s.from)) }
                        td class="t" { (s.to.as_ref().map_or_else(|| "the close".to_owned(), |at| self.clock(at))) }
                        td { (s.times) }
                    } } }
                }
            }
        }
    }

    fn entries(&self) -> Markup {
        let (attended, told): (Vec<_>, Vec<_>) =
            self.account.entries.iter().partition(|entry| entry.what == "attended");
        html! {
            h2 { "What people entered" }
            table {
                thead { tr { th { "at" } th { "who" } th { "what" } th { "about" } } }
                tbody { @for entry in told { tr {
                    td class="t" { (self.when(Some(&entry.at))) } td { (entry.who) } td { (entry_name(&entry.what)) }
                    td { (about(entry)) }
                } } }
            }
            @if !attended.is_empty() {
                p { "Whoever was on duty said " (attended.len()) " times that they were there; each stands in the figures." }
            }
        }
    }

    fn watched(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { "How it was watched" }
            @for gap in &a.gaps {
                p { "Nobody watched from " (self.when(Some(&gap.from))) " to " (self.when(Some(&gap.to))) "." }
            }
            @if a.gaps.is_empty() { p { "It was watched without a gap." } }
            p class="small" {
                @for (at, device) in a.devices.iter().enumerate() {
                    @if at > 0 { "; " }
                    (device.device) ": " (device.answered) " rounds answered, " (device.missed) " missed"
                }
                @if !a.devices.is_empty() { "." }
            }
        }
    }

    fn amendments(&self) -> Markup {
        let a = self.account;
        html! { @if !a.amendments.is_empty() {
            h2 { "Amendments" }
            table {
                caption { "Added after the delivery was closed. They change none of the figures above" }
                thead { tr { th { "no." } th { "at" } th { "who" } th { "why" } th { "what" } } }
                tbody { @for amendment in &a.amendments { tr {
                    td { (amendment.number) } td class="t" { (self.when(Some(&amendment.at))) } td { (amendment.who) }
                    td { (amendment.reason) } td { (amendment.text) }
                } } }
            }
            p class="head" { "last link of the amendments: " (a.amendments.last().map_or("", |last| last.link.as_str())) }
        } }
    }

    /// Names of entries stand there by themselves; the lines are for the hand.
    fn signatures(&self) -> Markup {
        let a = self.account;
        let by = |what: &str| a.entries.iter().rev().find(|entry| entry.what == what);
        let named = |what: &str, text: &str| {
            by(what).map(|entry| row(text, format!("{}, {}", entry.who, self.when(Some(&entry.at)))))
        };
        html! {
            h2 { "Signatures" }
            table {
                caption { "Entered under a name" }
                @for line in [
                    named("delivery_opened", "opened"), named("transfer_started", "transfer started"),
                    named("closed", "closed"), named("rejected", "rejected"),
                ].into_iter().flatten() { (line) }
            }
            @if self.record.is_final() {
                table class="sign" {
                    thead { tr { th { "for" } th { "name" } th { "signature" } th { "date, time" } } }
                    tbody {
                        tr { td { "the works" } td {} td {} td {} }
                        tr { td { "the carrier" } td { (a.driver.as_deref().unwrap_or_default()) } td {} td {} }
                        tr { td { "supervisor" } td {} td {} td {} }
                    }
                }
            }
        }
    }

    fn chain(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { "What this record was made from" }
            @for recording in &a.recordings {
                p {
                    (recording.file) ", brimwatch " (recording.program_version) ", first " (recording.taken_bytes) " bytes"
                    @for damage in &recording.damage { "; " strong { (damage) } }
                }
                p class="head" { "last link " (recording.chain_head) }
            }
            p class="small" {
                "Made by brimwatch " (a.program_version) ". " code { "brimwatch verify RECORDING RECORD" } " holds this record \
                 against the recording: the chain, the last link and every figure."
            }
        }
    }

    fn course(&self) -> Markup {
        let (a, points) = (self.account, &self.account.course.points);
        let (Some(from), Some(last)) = (a.course.from.as_ref(), points.last()) else { return html! {} };
        let at_s = |moment: &Moment| {
            #[expect(clippy::cast_precision_loss, reason = "a delivery's nanoseconds")]
            let ns = moment.unix_ns.saturating_sub(from.unix_ns) as f64;
            ns / SECOND_NS as f64
        };
        let curve = |name: &str, stroke, of: &dyn Fn(&super::account::CoursePoint) -> Option<f64>| Curve {
            name: name.to_owned(),
            stroke,
            points: points.iter().map(|point| (point.at_s, of(point))).collect(),
        };
        let received = [
            curve("by flow meter", Stroke::Flow, &|point| point.flow_kg),
            curve("by scale", Stroke::Scale, &|point| point.scale_kg),
            curve("by tank level", Stroke::Tank, &|point| point.tank_kg),
        ];
        let mut phases = vec![(0.0, "opened".to_owned())];
        phases.extend(a.started.as_ref().map(|at| (at_s(at), "transfer".to_owned())));
        phases.extend(a.closed.as_ref().map(|at| (at_s(at), "closed".to_owned())));
        let drill = if a.drill_speed.is_some() { "DRILL" } else { "" };
        let line = TimeLine {
            stamp: drill,
            label:
                "Course of the delivery: received mass by each instrument, level of the tank, pressure on the trailer"
                    .to_owned(),
            from_s: 0.0,
            to_s: last.at_s.max(1.0),
            time: format!("min since {}", hh_mm_ss(WallTime(from.unix_ns), &self.zone)),
            phases,
            marks: self.marks(at_s),
            panels: vec![
                panel("Received, kg".to_owned(), 150.0, 10.0, Vec::new(), received.to_vec()),
                self.level_panel(curve("level", Stroke::Shown, &|point| point.level_m)),
                self.pad_panel(curve("pressure", Stroke::Shown, &|point| point.pad_pa_gauge.map(|pa| pa / 1000.0))),
            ],
        };
        html! {
            h2 { "How it went" }
            @for size in [Size::Wide, Size::Narrow] { (time_line(&line, size)) }
        }
    }

    fn level_panel(&self, curve: Curve) -> Panel {
        let limits = self.account.limits;
        let named = [
            (limits.critical_m, "critical high"),
            (limits.high_high_m, "high-high"),
            (limits.working_m, "maximum working"),
        ];
        let limits = named.into_iter().filter_map(|(m, name)| m.map(|m| (m, format!("{name} {} m", number(m, 2)))));
        panel(format!("Level of tank {}, m", self.account.tank), 110.0, 1.0, limits.collect(), vec![curve])
    }

    fn pad_panel(&self, curve: Curve) -> Panel {
        let pad = &self.account.pad;
        let named = [(pad.ceiling_pa_gauge, "ceiling"), (pad.mawp_pa_gauge, "MAWP")];
        let limits = named.into_iter().filter_map(|(pa, name)| pa.map(|pa| (pa / 1000.0, name)));
        let mut limits: Vec<(f64, String)> =
            limits.map(|(kpa, name)| (kpa, format!("{name} {}", number(kpa, 0)))).collect();
        // One line where the ceiling is the plate's.
        limits.dedup_by(|b, a| a.0.total_cmp(&b.0).is_eq());
        panel("Pressure on the trailer, kPa gauge".to_owned(), 110.0, 50.0, limits, vec![curve])
    }

    /// The gravest alarms as moments of the picture, in order of time.
    fn marks(&self, at_s: impl Fn(&Moment) -> f64) -> Vec<Mark> {
        let rank = |alarm: &AlarmAccount| match alarm.priority.as_str() {
            Some("high") => 0,
            Some("medium") => 1,
            _ => 2,
        };
        let mut gravest: Vec<&AlarmAccount> = self.account.alarms.iter().collect();
        gravest.sort_by_key(|alarm| rank(alarm));
        gravest.truncate(MARKS_MOST);
        gravest.sort_by_key(|alarm| alarm.raised.unix_ns);
        let mark = |alarm: &&AlarmAccount| Mark {
            kind: MarkKind::Spoke,
            at_s: at_s(&alarm.raised),
            words: format!("{} {}", &self.clock(&alarm.raised)[..5], alarm_name(alarm)),
            detail: String::new(),
        };
        gravest.iter().map(mark).collect()
    }
}

fn panel(title: String, height: f64, least: f64, limits: Vec<(f64, String)>, curves: Vec<Curve>) -> Panel {
    Panel { title, height, least: (0.0, least), limits, curves }
}
