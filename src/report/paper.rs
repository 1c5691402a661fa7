//! The unloading record as a page that prints to A4 and Letter and needs nothing from anywhere.

mod ticket;

use super::account::{
    Account, AlarmAccount, CheckAccount, EntryAccount, Figure, Moment, Said, SignatureAccount, StepAccount,
};
use super::told::{About, behind};
use super::{PaperReader, Record};
use crate::engine::checks::CheckId;
use crate::engine::frame::{Source, Witness, WitnessId};
use crate::engine::steps::Side;
use crate::picture::{Curve, Mark, MarkKind, Panel, Size, Stroke, TimeLine, masses, time_line};
use crate::time::{SECOND_NS, WallTime};
use crate::units::Measures;
use crate::words::display::{date_time, duration, hh_mm_ss, number};
use crate::words::measures::Shown;
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

/// What is shown, and in which language, units and zone.
struct Paper<'a> {
    record: &'a Record,
    account: &'a Account,
    language: &'static dyn Language,
    measures: Measures,
    zone: TimeZone,
}

/// In which units and language a paper is written, as its first element says.
pub(super) fn reader_of(text: &str) -> PaperReader {
    let head = text.split_once("<html").and_then(|(_, rest)| rest.split_once('>')).map_or("", |(head, _)| head);
    let said = |name: &str| head.split_once(&format!("{name}=\""))?.1.split_once('"').map(|(value, _)| value);
    let plain = PaperReader::default();
    PaperReader {
        measures: said("data-units").and_then(Measures::named).unwrap_or(plain.measures),
        language: said("lang").map_or(plain.language, str::to_owned),
    }
}

/// A text with its gaps filled, in their order.
fn filled(text: &str, gaps: &[&str]) -> String {
    let mut parts = text.split("{}");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.zip(gaps).fold(first, |text, (part, gap)| text + gap + part)
}

/// The whole paper.
pub(super) fn html(record: &Record) -> Markup {
    let account = &record.account;
    let zone = TimeZone::get(&account.zone).unwrap_or(TimeZone::UTC);
    let paper = Paper { record, account, language: record.reader.language(), measures: record.reader.measures, zone };
    // Nothing in a text can end the element that holds it.
    let figures = serde_json::to_string(account).unwrap_or_default().replace('<', "\\u003c");
    html! {
        (DOCTYPE)
        html lang=(paper.language.tag()) data-units=(paper.measures.name()) {
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
            // The space behind belongs to the escape (CSS Syntax 3, 4.3.7): without it the text's own would be lost.
            let _ = write!(css, "\\{:x} ", u32::from(c));
        }
        css
    })
}

fn spaced(code: &str) -> String {
    code.replace('_', " ")
}

/// What suppressed an alarm by design, by its code in the JSON; a later code is shown as it stands.
fn suppressed_by(code: &Value) -> String {
    match code.as_str().unwrap_or_default() {
        "gas_in_line" => "gas stood in the line, no liquid flowed".to_owned(),
        "site_file" => "by the site file, in that phase".to_owned(),
        code => spaced(code),
    }
}

impl Paper<'_> {
    /// A text of the paper in its language.
    fn t<'t>(&self, english: &'t str) -> &'t str {
        self.language.on_paper(english)
    }

    /// The same with its gaps filled.
    fn f(&self, english: &str, gaps: &[&str]) -> String {
        filled(self.t(english), gaps)
    }

    fn row(&self, name: &str, value: impl maud::Render) -> Markup {
        html! { tr { th scope="row" { (self.t(name)) } td { (value) } } }
    }

    /// A mass without its unit, which stands in a heading.
    fn mass(&self, kg: f64) -> String {
        self.measures.figure(Shown::Mass, kg)
    }

    fn signed(&self, kg: f64) -> String {
        if kg > 0.0 { format!("+{}", self.mass(kg)) } else { self.mass(kg) }
    }

    /// A small mass to a tenth.
    fn tenth(&self, kg: f64) -> String {
        number(self.measures.convert(Shown::Mass, kg), 1)
    }

    /// The unit of masses, as a heading has it.
    fn unit(&self) -> &'static str {
        self.language.unit(self.measures.unit_word(Shown::Mass))
    }

    fn level(&self, m: Option<f64>) -> String {
        m.map_or_else(|| NONE.to_owned(), |m| self.language.written(self.measures.show(Shown::Level, m)))
    }

    /// Closer than on the page, and in both units, for most plates have psi (1 psi = 6 894.757 Pa, NIST SP 811, B.8).
    fn pressure(&self, pa_gauge: Option<f64>) -> String {
        const PSI_PA: f64 = 6_894.757;
        let Some(pa) = pa_gauge else { return self.t("not known").to_owned() };
        let psi = format!("{}\u{a0}psi", number(pa / PSI_PA, 1));
        let [first, second] = match self.measures {
            Measures::Si => [format!("{}\u{a0}kPa", number(pa / 1e3, 1)), psi],
            Measures::SiBar => [format!("{}\u{a0}bar", number(pa / 1e5, 3)), psi],
            Measures::UsCustomary => [psi, format!("{}\u{a0}kPa", number(pa / 1e3, 1))],
        };
        self.f("{} ({}) gauge", &[&first, &second])
    }

    fn alarm_name(&self, alarm: &AlarmAccount) -> String {
        self.alarm_of(&alarm.alarm, &alarm.subject)
    }

    fn alarm_of(&self, alarm: &str, subject: &str) -> String {
        let name = spaced(alarm);
        let name = self.t(&name);
        if subject.is_empty() { name.to_owned() } else { format!("{name}: {subject}") }
    }

    /// What somebody did, by its code in the JSON; a later code is shown as it stands.
    fn entry_name(&self, code: &str) -> String {
        let name = match code {
            "dipped" => "tank dipped by hand",
            "scale_zeroed" => "scale given a new zero",
            "seen" => "alarm seen",
            "shelved" => "alarm shelved",
            "unshelved" => "alarm taken back from the shelf",
            "taken_out" => "alarm taken out of service",
            "put_back" => "alarm put back in service",
            "step_skipped" => "step let go",
            "rejected" => "delivery rejected",
            other => &spaced(other),
        };
        self.t(name).to_owned()
    }

    /// What an entry is about; what people wrote is left as they wrote it.
    fn about(&self, entry: &EntryAccount) -> String {
        match &entry.of {
            About::Nothing | About::Written(_) => entry.about.clone(),
            About::Alarm { alarm, subject, reason } => behind(&[self.t(&spaced(alarm)), subject, reason]),
            About::Check { check, met, note } => {
                let found = if *met { self.t("found as asked") } else { self.t("not found as asked") };
                behind(&[self.language.check_name(*check), found, note])
            }
            About::Zero(cause) => self.language.zero_cause(*cause).to_owned(),
            About::Dip { level_m } => match self.measures {
                Measures::Si | Measures::SiBar => entry.about.clone(),
                Measures::UsCustomary => self.level(Some(*level_m)),
            },
            About::Signed { text, side, name, note, .. } => {
                let side = if *side == Side::Driver { self.t("for the driver") } else { self.t("for the site") };
                behind(&[&self.f("{}, {}, by {}", &[self.step_head(text), side, name]), note])
            }
            About::Skipped { text, reason, .. } => behind(&[self.step_head(text), reason]),
            About::Handed { out, to, state } => {
                let out = out.as_deref().unwrap_or_else(|| self.t("nobody"));
                behind(&[&self.f("from {} to {}", &[out, to]), state])
            }
        }
    }

    /// The first words of a step, by which it is found in the table of steps.
    fn step_head<'t>(&self, text: &'t str) -> &'t str {
        let text = self.language.step(text);
        text.split([':', '.', ',']).next().unwrap_or(text)
    }

    fn when(&self, moment: Option<&Moment>) -> String {
        moment.map_or_else(|| self.t("not known").to_owned(), |moment| date_time(moment.at(), &self.zone))
    }

    fn clock(&self, moment: &Moment) -> String {
        hh_mm_ss(moment.at(), &self.zone)
    }

    fn said(&self, said: &Said) -> String {
        format!("{}, {}", said.who, self.clock(&said.at))
    }

    fn scene<'a>(&'a self, frame: &'a crate::engine::frame::Frame) -> Scene<'a> {
        Scene { measures: self.measures, ..Scene::new(&self.record.settings, frame, &self.zone) }
    }

    fn title(&self) -> &'static str {
        self.t(if self.record.is_final() { "Unloading record" } else { "Provisional unloading record" })
    }

    /// Delivery, and the leg where there are several.
    fn named(&self) -> String {
        let a = self.account;
        if a.legs.len() > 1 || a.leg > 1 {
            self.f("{}, leg {}", &[&a.delivery, &a.leg.to_string()])
        } else {
            a.delivery.clone()
        }
    }

    /// What stands in the margins of every printed page.
    fn margins(&self) -> String {
        let drill = if self.account.drill_speed.is_some() { self.language.labels().drill } else { "" };
        let delivery = css_text(&format!("{} {}", self.title(), self.named()));
        let head = self.account.chain_head.get(..16).unwrap_or_default();
        format!(
            "@page{{margin:17mm 14mm;font:8pt sans-serif;@top-left{{content:\"{delivery}\"}}@top-center{{content:\"{drill}\";\
             font-weight:700;font-size:14pt}}@top-right{{content:\"{}\"}}@bottom-left{{content:\"{}\"}}\
             @bottom-right{{content:counter(page) \"{}\" counter(pages)}}}}",
            css_text(&self.f("chain {}", &[head])),
            css_text(self.t("Operating figures, not for trade")),
            css_text(self.t(" of "))
        )
    }

    fn heading(&self) -> Markup {
        let a = self.account;
        html! {
            @if let Some(speed) = a.drill_speed {
                p class="stamp" { (self.language.labels().drill) @if speed > 1.0 { ", " (self.f("{} times as fast as the clock", &[&number(speed, 0)])) } }
            }
            h1 { (self.title()) ": " (self.named()) }
            @if let Some(rejected) = &a.rejected {
                p class="stamp" {
                    (self.f("REJECTED by {}, {}", &[&rejected.who, &self.when(Some(&rejected.at))])) ": " (rejected.reason)
                }
            } @else if !a.is_closed {
                p class="stamp" {
                    (self.t("NOT CLOSED. What stands here is provisional and is not held against the ticket. Make the record anew \
                     once the delivery is closed."))
                }
            }
            @if let Some(origin) = &a.imported { p class="stamp" { (self.f("IMPORTED from {}, not watched", &[&origin.file])) } }
            p class="caution" { (self.t(&a.caution)) }
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
                    (self.row("works, bay", format!("{}, {}", a.site, a.bay)))
                    (self.row("product", &a.product))
                    (self.row("tank", &a.tank))
                    (self.row("carrier, driver", format!("{}, {}", text(&a.carrier), text(&a.driver))))
                    (self.row("trailer", text(&a.trailer_specification)))
                    (self.row("planned", self.measures.mass(a.planned_kg)))
                }
                table {
                    (self.row("opened", self.when(a.opened.as_ref())))
                    (self.row("transfer started", self.when(a.started.as_ref())))
                    (self.row("closed", self.when(a.closed.as_ref())))
                    (self.row("transfer lasted", lasted.unwrap_or_else(|| NONE.to_owned())))
                    (self.row("times are in", &a.zone))
                    (self.row("density table", format!("{}{}", self.t(&a.product_source), if a.product_confirmed { "" } else { self.t(" (nobody has read that source yet)") })))
                }
            }
        }
    }

    fn received(&self) -> Markup {
        let a = self.account;
        let figures = |figure: Option<Figure>| {
            figure.map_or_else(|| [NONE, NONE].map(str::to_owned), |f| [self.mass(f.value), self.mass(f.expanded())])
        };
        html! {
            h2 { (self.t("Received in the tank")) }
            table {
                caption { (self.unit()) (self.t(". U: expanded uncertainty, twice the standard one (k\u{a0}=\u{a0}2, about 95\u{a0}%)")) }
                thead { tr {
                    th {} th class="n" { (self.unit()) } th class="n" { "U, " (self.unit()) } th class="n" { (self.t("weight")) } th { "" }
                } }
                tbody {
                    @for (at, ((id, _), witness)) in WITNESSES.iter().zip(&a.witnesses).enumerate() {
                        @let [value, u] = figures(witness.received_kg);
                        tr {
                            th scope="row" { (self.language.witness(*id)) }
                            td class="n" { (value) } td class="n" { (u) }
                            td class="n" { (a.weights.map_or_else(|| NONE.to_owned(), |w| number(w[at], 2))) }
                            td { (self.standing(at)) }
                        }
                    }
                    @let [value, u] = figures(a.received_kg);
                    tr class="all" {
                        th scope="row" { (self.t("together")) } td class="n" { (value) } td class="n" { (u) } td {} td {}
                    }
                }
            }
            @if let Some(frame) = &self.record.frame {
                (masses(self.scene(frame), self.language, Size::Wide))
                @if frame.phase == crate::engine::frame::Phase::Closed && a.rejected.is_none() {
                    p { (self.language.headline(self.scene(frame), false).whole()) }
                }
            }
            @if !a.verdicts.is_empty() {
                p class="small" {
                    (self.t("What the instruments said together during the transfer: "))
                    @for (at, verdict) in a.verdicts.iter().enumerate() {
                        @if at > 0 { ", " }
                        (self.f("{} for {}", &[self.t(&spaced(verdict.word.as_str().unwrap_or_default())), &duration(verdict.lasted_s)]))
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
            Some(Validity::Lost(reason)) => self.f("not used: {}", &[&self.language.reason(reason)]),
            Some(Validity::Doubtful(reason)) => self.f("doubtful: {}", &[&self.language.reason(reason)]),
            Some(Validity::Good) | None => String::new(),
        }
    }

    fn budget(&self) -> Markup {
        let Some(frame) = &self.record.frame else { return html! {} };
        let used: Vec<&Witness> = frame.witnesses.iter().filter(|w| !w.budget.is_empty()).collect();
        let sources: BTreeSet<Source> = used.iter().flat_map(|w| w.budget.iter().map(|part| part.source)).collect();
        let part = |witness: &Witness, source: Source| {
            let parts = witness.budget.iter().filter(|part| part.source == source).map(|part| part.kg);
            parts.reduce(|a, b| a + b).map_or_else(|| NONE.to_owned(), |kg| self.tenth(kg))
        };
        html! {
            h2 { (self.t("Where the uncertainty comes from")) }
            @if used.is_empty() { p { (self.t("No instrument has a figure.")) } }
            @else { table {
                caption {
                    (self.f("Standard contributions, {}, with their sign: what two instruments share cancels in their difference. \
                     Combined as the root of the sum of squares (JCGM 100:2008)", &[self.unit()]))
                }
                thead { tr { th { (self.t("source")) } @for w in &used { th class="n" { (self.language.witness(w.id)) } } } }
                tbody {
                    @for source in &sources { tr {
                        td { (self.language.source(*source)) } @for w in &used { td class="n" { (part(w, *source)) } }
                    } }
                    tr class="all" {
                        td { (self.t("standard uncertainty")) ", " (self.unit()) }
                        @for w in &used { td class="n" { (w.received_kg.map_or_else(|| NONE.to_owned(), |m| self.tenth(m.u))) } }
                    }
                }
            } }
        }
    }

    fn pad(&self) -> Markup {
        let (pad, a) = (&self.account.pad, self.account);
        let at = |pa: Option<f64>, at: Option<&Moment>| match at {
            Some(at) => format!("{}, {}", self.pressure(pa), self.when(Some(at))),
            None => self.pressure(pa),
        };
        html! {
            h2 { (self.t("Pressure on the trailer, level of the tank")) }
            table {
                (self.row("at the close", self.pressure(pad.at_close_pa_gauge)))
                (self.row("last known before the close", at(pad.last_known_pa_gauge, pad.last_known.as_ref())))
                (self.row("last on record, at release", at(pad.at_end_pa_gauge, pad.at_end.as_ref())))
                (self.row("highest during the transfer", self.pressure(pad.highest_pa_gauge)))
                (self.row("ceiling at the close", self.pressure(pad.ceiling_pa_gauge)))
                (self.row("MAWP on the plate", self.pressure(pad.mawp_pa_gauge)))
                @for level in &a.levels {
                    (self.row(
                        &self.f("level, {}", &[&level.signal]),
                        self.f("{} at the start, {} at the close", &[&self.level(level.start_m), &self.level(level.close_m)]),
                    ))
                }
                (self.row("levels of the tank", self.f("maximum working {}, high-high {}, critical high {}",
                    &[a.limits.working_m, a.limits.high_high_m, a.limits.critical_m].map(|m| self.level(m)).each_ref().map(String::as_str)
                )))
            }
            p class="small" {
                (self.t("No signal shows that trailer, hose or line is empty or free of pressure: only a bleed and a gauge on the spot do."))
            }
        }
    }

    fn checks(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { (self.t("Checks before anything was connected")) }
            @if a.checks.is_empty() { p { (self.t("None on record.")) } }
            @else { table class="checks" {
                caption { (self.f("As they stood at {}", &[&self.when(a.checks_at.as_ref())])) }
                thead { tr { th { (self.t("check")) } th { (self.t("state")) } th { (self.t("by, at")) } th { (self.t("why")) } } }
                tbody { @for check in &a.checks { tr {
                    td { (CheckId::named(&check.check).map_or(check.check.as_str(), |id| self.language.check_name(id))) }
                    td class="t" { (self.t(&check.state)) }
                    td { (check.entered.as_ref().map_or_else(|| self.t(if check.by_person { "nobody" } else { "papers, signals" }).to_owned(), |said| self.said(said))) }
                    td { (self.check_says(check)) }
                } } }
            } }
        }
    }

    /// Why a check stands as it does. The figures hold it in English and SI; the frame that they were taken from says the same
    /// in any words.
    fn check_says(&self, check: &CheckAccount) -> String {
        let frame = self.record.of_checks.as_ref().filter(|_| !self.record.reader.is_plain());
        let of_frame = frame.and_then(|frame| {
            let of_it = frame.checks.iter().find(|c| c.id.name() == check.check)?;
            Some(self.language.check(self.scene(frame), of_it).says)
        });
        of_frame.unwrap_or_else(|| check.says.clone())
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
            h2 { (self.t("Steps, as people signed them")) }
            table class="steps" {
                caption { (self.t("Signed by people; no signal confirms any of them. Local codes and the site's own procedure come first")) }
                thead { tr { th { (self.t("step")) } th { (self.t("state")) } th { (self.t("for the site")) } th { (self.t("for the driver")) } } }
                tbody { @for step in steps { tr {
                    td { @if step.hold { strong { (self.t("Hold: ")) } } (self.language.step(&step.text)) } td { (self.t(&spaced(&step.stands))) }
                    td { (signed(step, "site")) } td { (signed(step, "driver")) }
                } } }
            }
        } }
    }

    fn suppressed(&self) -> Markup {
        let suppressed = &self.account.suppressed;
        let until = |at: Option<&Moment>| at.map_or_else(|| self.t("the close").to_owned(), |at| self.clock(at));
        html! { @if !suppressed.is_empty() {
            p { (self.t("Suppressed by design: the condition held, and nobody was called.")) }
            table {
                thead { tr { th { (self.t("alarm")) } th { (self.t("because")) } th { (self.t("from")) } th { (self.t("until")) } th { (self.t("times")) } } }
                tbody { @for s in suppressed { tr {
                    td { (self.alarm_of(&s.alarm, &s.subject)) } td { (self.t(&suppressed_by(&s.by))) }
                    td class="t" { (self.clock(&s.from)) } td class="t" { (until(s.to.as_ref())) } td { (s.times) }
                } } }
            }
        } }
    }

    fn alarms(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { (self.t("Alarms")) }
            @if a.alarms.is_empty() { p { (self.t("None came until the close.")) } }
            @else { table {
                thead { tr { th { (self.t("alarm")) } th { (self.t("priority")) } th { (self.t("came")) } th { (self.t("seen by")) } th { (self.t("gone")) } th { (self.t("shelved")) } } }
                tbody { @for alarm in &a.alarms { tr {
                    td { (self.alarm_name(alarm)) } td { (self.t(alarm.priority.as_str().unwrap_or_default())) }
                    td class="t" { (self.clock(&alarm.raised)) }
                    td { (alarm.seen.as_ref().map_or_else(|| self.t("nobody").to_owned(), |said| self.said(said))) }
                    td class="t" { (alarm.cleared.as_ref().map_or_else(|| self.t("still open").to_owned(), |at| self.clock(at))) }
                    td { @for shelf in &alarm.shelved {
                        (self.f("{}, {}, for {}. ", &[&shelf.who, &self.clock(&shelf.at), &duration(shelf.for_s)]))
                    } }
                } } }
            } }
            @if a.alarms_after_close > 0 { p { (self.f("{} more came after the close.", &[&a.alarms_after_close.to_string()])) } }
            (self.suppressed())
        }
    }

    fn entries(&self) -> Markup {
        let (attended, told): (Vec<_>, Vec<_>) =
            self.account.entries.iter().partition(|entry| entry.what == "attended");
        html! {
            h2 { (self.t("What people entered")) }
            table class="entries" {
                thead { tr { th { (self.t("at")) } th { (self.t("who")) } th { (self.t("what")) } th { (self.t("about")) } } }
                tbody { @for entry in told { tr {
                    td class="t" { (self.when(Some(&entry.at))) } td { (entry.who) } td { (self.entry_name(&entry.what)) }
                    td { (self.about(entry)) }
                } } }
            }
            @if attended.len() == 1 {
                p { (self.t("Whoever was on duty said once that they were there; it stands in the figures.")) }
            } @else if !attended.is_empty() {
                p { (self.f("Whoever was on duty said {} times that they were there; each stands in the figures.", &[&attended.len().to_string()])) }
            }
        }
    }

    fn watched(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { (self.t("How it was watched")) }
            @for gap in &a.gaps {
                p { (self.f("Nobody watched from {} to {}.", &[&self.when(Some(&gap.from)), &self.when(Some(&gap.to))])) }
            }
            @if a.gaps.is_empty() { p { (self.t("It was watched without a gap.")) } }
            p class="small" {
                @for (at, device) in a.devices.iter().enumerate() {
                    @if at > 0 { "; " }
                    (self.f("{}: {} rounds answered, {} missed", &[&device.device, &device.answered.to_string(), &device.missed.to_string()]))
                }
                @if !a.devices.is_empty() { "." }
            }
        }
    }

    fn amendments(&self) -> Markup {
        let a = self.account;
        html! { @if !a.amendments.is_empty() {
            h2 { (self.t("Amendments")) }
            table {
                caption { (self.t("Added after the delivery was closed. They change none of the figures above")) }
                thead { tr { th { (self.t("no.")) } th { (self.t("at")) } th { (self.t("who")) } th { (self.t("why")) } th { (self.t("what")) } } }
                tbody { @for amendment in &a.amendments { tr {
                    td { (amendment.number) } td class="t" { (self.when(Some(&amendment.at))) } td { (amendment.who) }
                    td { (amendment.reason) } td { (amendment.text) }
                } } }
            }
            p class="head" { (self.t("last link of the amendments: ")) (a.amendments.last().map_or("", |last| last.link.as_str())) }
        } }
    }

    /// Names of entries stand there by themselves; the lines are for the hand.
    fn signatures(&self) -> Markup {
        let a = self.account;
        let by = |what: &str| a.entries.iter().rev().find(|entry| entry.what == what);
        let named = |what: &str, text: &str| {
            by(what).map(|entry| self.row(text, format!("{}, {}", entry.who, self.when(Some(&entry.at)))))
        };
        html! {
            h2 { (self.t("Signatures")) }
            table {
                caption { (self.t("Entered under a name")) }
                @for line in [
                    named("delivery_opened", "opened"), named("transfer_started", "transfer started"),
                    named("closed", "closed"), named("rejected", "rejected"),
                ].into_iter().flatten() { (line) }
            }
            @if self.record.is_final() {
                table class="sign" {
                    thead { tr { th { (self.t("for")) } th { (self.t("name")) } th { (self.t("signature")) } th { (self.t("date, time")) } } }
                    tbody {
                        tr { td { (self.t("the works")) } td {} td {} td {} }
                        tr { td { (self.t("the carrier")) } td { (a.driver.as_deref().unwrap_or_default()) } td {} td {} }
                        tr { td { (self.t("supervisor")) } td {} td {} td {} }
                    }
                }
            }
        }
    }

    fn chain(&self) -> Markup {
        let a = self.account;
        html! {
            h2 { (self.t("What this record was made from")) }
            @for recording in &a.recordings {
                p {
                    (self.f("{}, brimwatch {}, first {} bytes", &[&recording.file, &recording.program_version, &recording.taken_bytes.to_string()]))
                    @for damage in &recording.damage { "; " strong { (damage) } }
                }
                p class="head" { (self.t("last link ")) (recording.chain_head) }
            }
            p class="small" {
                (self.f("Made by brimwatch {}. ", &[&a.program_version])) code { "brimwatch verify RECORDING RECORD" }
                (self.t(" holds this record against the recording: the chain, the last link and every figure."))
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
        let mass = |kg| self.measures.convert(Shown::Mass, kg);
        let (length, pressed) = (self.measures.one(Shown::Level), self.measures.one(Shown::GaugePressure));
        let received = [
            curve(self.language.witness(WitnessId::Flow), Stroke::Flow, &|point| point.flow_kg.map(mass)),
            curve(self.language.witness(WitnessId::Scale), Stroke::Scale, &|point| point.scale_kg.map(mass)),
            curve(self.language.witness(WitnessId::Tank), Stroke::Tank, &|point| point.tank_kg.map(mass)),
        ];
        let mut phases = vec![(0.0, self.t("opened").to_owned())];
        phases.extend(a.started.as_ref().map(|at| (at_s(at), self.t("transfer").to_owned())));
        phases.extend(a.closed.as_ref().map(|at| (at_s(at), self.t("closed").to_owned())));
        let drill = if a.drill_speed.is_some() { self.language.labels().drill } else { "" };
        let line = TimeLine {
            stamp: drill,
            label:
                self.t("Course of the delivery: received mass by each instrument, level of the tank, pressure on the trailer")
                    .to_owned(),
            from_s: 0.0,
            to_s: last.at_s.max(1.0),
            time: self.f("min since {}", &[&hh_mm_ss(WallTime(from.unix_ns), &self.zone)]),
            phases,
            marks: self.marks(at_s),
            panels: vec![
                self.panel(self.f("Received, {}", &[self.unit()]), 150.0, 10.0, Vec::new(), received.to_vec()),
                self.level_panel(curve(self.t("level"), Stroke::Shown, &|point| point.level_m.map(|m| m / length))),
                self.pad_panel(curve(self.t("pressure"), Stroke::Shown, &|point| point.pad_pa_gauge.map(|pa| pa / pressed))),
            ],
        };
        html! {
            h2 { (self.t("How it went")) }
            @for size in [Size::Wide, Size::Narrow] { (time_line(&line, size)) }
        }
    }

    fn panel(&self, title: String, height: f64, least: f64, limits: Vec<(f64, String)>, curves: Vec<Curve>) -> Panel {
        Panel { title, height, least: (0.0, least), limits, above: self.t("from above"), curves }
    }

    fn level_panel(&self, curve: Curve) -> Panel {
        let limits = self.account.limits;
        let unit = self.language.unit(self.measures.unit_word(Shown::Level));
        let named = [
            (limits.critical_m, "critical high"),
            (limits.high_high_m, "high-high"),
            (limits.working_m, "maximum working"),
        ];
        let limits = named.into_iter().filter_map(|(m, name)| {
            m.map(|m| {
                let m = m / self.measures.one(Shown::Level);
                (m, format!("{} {} {unit}", self.t(name), number(m, 2)))
            })
        });
        self.panel(
            self.f("Level of tank {}, {}", &[&self.account.tank, unit]),
            110.0,
            1.0,
            limits.collect(),
            vec![curve],
        )
    }

    fn pad_panel(&self, curve: Curve) -> Panel {
        let pad = &self.account.pad;
        let named = [(pad.ceiling_pa_gauge, "ceiling"), (pad.mawp_pa_gauge, "MAWP")];
        let limits = named.into_iter().filter_map(|(pa, name)| pa.map(|pa| (pa, name)));
        let mut limits: Vec<(f64, String)> = limits
            .map(|(pa, name)| {
                let figure = self.measures.figure(Shown::GaugePressure, pa);
                (pa / self.measures.one(Shown::GaugePressure), format!("{} {figure}", self.t(name)))
            })
            .collect();
        // One line where the ceiling is the plate's.
        limits.dedup_by(|b, a| a.0.total_cmp(&b.0).is_eq());
        self.panel(
            self.f("Pressure on the trailer, {}", &[self.language.unit(self.measures.unit_word(Shown::GaugePressure))]),
            110.0,
            50e3 / self.measures.one(Shown::GaugePressure),
            limits,
            vec![curve],
        )
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
            words: format!("{} {}", &self.clock(&alarm.raised)[..5], self.alarm_name(alarm)),
            detail: String::new(),
        };
        gravest.iter().map(mark).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::alarm::catalogue::CATALOGUE;
    use crate::words::LANGUAGES;

    /// Texts that the paper's source asks for in its language: what is quoted right after one of these, and every choice
    /// between two.
    fn named(source: &str) -> BTreeSet<String> {
        let shipped = source.split("#[cfg(test)]").next().unwrap_or_default();
        let quoted = |text: &str| {
            let text = text.strip_prefix('"')?;
            let mut lines = text[..text.find('"')?].split("\\\n");
            let first = lines.next()?.to_owned();
            Some(lines.fold(first, |text, line| text + line.trim_start()).replace("\\u{a0}", "\u{a0}"))
        };
        let mut found = BTreeSet::new();
        for before in ["self.t(", "self.f(", "self.row(", "=> "] {
            for (at, _) in shipped.match_indices(before) {
                let rest = shipped[at + before.len()..].trim_start();
                found.extend(quoted(rest));
                if rest.starts_with("if ") {
                    let choice = &rest[..rest.find(')').unwrap_or(0)];
                    found.extend(choice.match_indices("{ \"").filter_map(|(at, _)| quoted(&choice[at + 2..])));
                }
            }
        }
        found
    }

    /// Every text of the paper has its Spanish one, with as many gaps; so have the codes that it is given.
    #[test]
    fn every_text_of_the_paper_is_said_in_each_language() {
        let [_, spanish] = LANGUAGES;
        let sources = [include_str!("paper.rs"), include_str!("paper/ticket.rs")];
        let mut texts: BTreeSet<String> = sources.into_iter().flat_map(named).collect();
        assert!(texts.len() > 100, "{}", texts.len());
        texts.extend(CATALOGUE.iter().map(|line| spaced(line.name)));
        let codes =
            ["met", "not yet", "fails", "high", "medium", "low", "signed", "skipped", "open", "not reached", "none"];
        let verdicts = ["not yet proven", "agree", "disagree", "cannot tell which", "not independent", "one only"];
        let entries = ["delivery opened", "transfer started", "closed", "handed over", "step signed", "check entered"];
        let levels = ["critical high", "high-high", "maximum working", "ceiling", crate::words::CAUTION];
        texts.extend(codes.iter().chain(&verdicts).chain(&entries).chain(&levels).map(|text| (*text).to_owned()));
        let gaps = |text: &str| text.matches("{}").count();
        // One word is the same in both.
        let left = texts.iter().filter(|text| *text != "supervisor").filter(|text| {
            let said = spanish.on_paper(text);
            said == *text || gaps(said) != gaps(text)
        });
        let left: Vec<&str> = left.map(String::as_str).collect();
        assert!(left.is_empty(), "without Spanish:\n{}", left.join("\n"));
    }

    /// What CSS reads of an escape: its digits and one space behind them (CSS Syntax 3, 4.3.7).
    #[test]
    fn a_text_in_the_margin_keeps_its_spaces() {
        assert_eq!(css_text("no, \u{e1} 0417"), "no\\2c  \\e1  0417");
    }

    #[test]
    fn gaps_are_filled_in_their_order() {
        assert_eq!(filled("{}, leg {}", &["0417", "2"]), "0417, leg 2");
        assert_eq!(filled("nothing", &["x"]), "nothing");
    }
}
