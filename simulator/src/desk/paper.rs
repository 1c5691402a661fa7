//! The drill's result as a page that prints: it needs nothing from anywhere.

use super::outcome::{Damage, Moment, Outcome};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Printed with the page, so that the file stands alone.
const STYLE: &str = concat!(include_str!("assets/result.css"), include_str!("../../../src/picture/time_line.css"));

/// Minutes and seconds since the start of the transfer.
#[must_use]
pub fn clock(at_s: f64) -> String {
    let whole = at_s.abs().round();
    let sign = if at_s < 0.0 && whole > 0.0 { "\u{2212}" } else { "" };
    format!("{sign}{:.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
}

/// How long after something else, in words.
fn later(moment: Option<&Moment>, before: Option<f64>) -> String {
    match (moment, before) {
        (Some(m), Some(before)) if m.at_s >= before => format!("{} later", clock(m.at_s - before)),
        (Some(m), Some(before)) => format!("{} before", clock(before - m.at_s)),
        _ => String::new(),
    }
}

fn answer(question: &str, moment: Option<&Moment>, none: &str, after: &str) -> Markup {
    html! {
        tr {
            th scope="row" { (question) }
            @match moment {
                Some(m) => { td.when { (clock(m.at_s)) } td { (m.what) } }
                None => { td.when { "\u{2013}" } td { (none) } }
            }
            td.later { (after) }
        }
    }
}

fn figure(damage: &Damage, si: Option<f64>) -> String {
    let Some(si) = si else { return "not known".to_owned() };
    match damage.unit {
        "Pa gauge" => format!("{:.0} kPa gauge", si / 1000.0),
        "m" => format!("{si:.2} m"),
        unit => format!("{si:.0} {unit}"),
    }
}

/// The whole paper, with the picture of the drill's course.
#[must_use]
pub fn page(outcome: &Outcome, course: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "DRILL: " (outcome.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                p.drill { "DRILL" }
                h1 { (outcome.title) }
                p {
                    @match &outcome.played {
                        None => "Result of a drill on a simulated bay. Nothing here was measured at a plant."
                        Some(_) => "Result of a drill on a recorded delivery. What instruments showed is as it was recorded, but \
                            for what the trainer let go wrong; what the monitor said and people did is the drill's own."
                    }
                    " Times are minutes and seconds "
                    @if outcome.started { "since the transfer was entered as started." }
                    @else { "to the drill's end: the transfer was never entered as started." } }
                (summary(outcome))
                h2 { "How it went" }
                div.course { (course) }
                h2 { "What happened" }
                p { (outcome.happened) }
                h2 { "What is to be learnt" }
                p { (outcome.learn) }
                (damage(outcome))
                (time_line(outcome))
                p.drill { "DRILL" }
                (how(outcome))
                p.small {
                    "brimwatch advises; it opens and closes nothing. At a real bay an independent high-level shut-off and \
                     a qualified person in attendance are required, and the site's own procedures and local codes go \
                     first."
                }
            }
        }
    }
}

/// What it was made of, and how it was worked out.
fn how(outcome: &Outcome) -> Markup {
    html! {
        p.small {
            @match &outcome.played {
                None => {
                    "Scenario " (outcome.scenario) ", seed " (outcome.seed) ", " (clock(outcome.lasted_s)) " long. \
                     Recording: " (outcome.recording) ". \"Could first be known\": the first moment at which an instrument, or \
                     two masses against each other, stood further from what they would have shown without the fault than three \
                     standard deviations of a mean over a minute, or a device did not answer. \"Had nobody acted\": the same \
                     plant lived through again without the trainee's hands, to the scenario's end."
                }
                Some(played) => {
                    "Played: " (played) ", " (clock(outcome.lasted_s)) " long. Recording of the drill: " (outcome.recording) ". \
                     What was so at the plant, before and after, nobody has measured but by the instruments themselves: so it \
                     is not said. What the trainee did is written down; it changed nothing of what was recorded."
                }
            }
        }
    }
}

fn summary(outcome: &Outcome) -> Markup {
    let began = outcome.began_s.map(|at_s| Moment { at_s, who: "plant", what: "the first of it".to_owned() });
    let known_s = outcome.known.as_ref().map(|k| k.at_s);
    let spoke_s = outcome.spoke.as_ref().map(|m| m.at_s);
    let or_not_known = |none| outcome.not_known.unwrap_or(none);
    html! {
        table.answers {
            (answer("It began", began.as_ref(), or_not_known("nothing went wrong"), ""))
            (answer("It could first be known", outcome.known.as_ref(), or_not_known("no instrument showed it"),
                &later(outcome.known.as_ref(), outcome.began_s)))
            (answer("The monitor spoke", outcome.spoke.as_ref(), "it did not speak of it",
                &later(outcome.spoke.as_ref(), known_s)))
            (answer("The trainee saw", outcome.seen.as_ref(), "no alarm was entered as seen",
                &later(outcome.seen.as_ref(), spoke_s)))
            (answer("The trainee acted", outcome.acted.as_ref(), "nothing was closed, shut or stopped",
                &later(outcome.acted.as_ref(), spoke_s.or(known_s))))
            (answer("Had nobody acted", outcome.bad_end.as_ref(),
                or_not_known("no bad end would have come"), ""))
        }
        @if outcome.ended_badly { p.bad { "It came to the bad end." } }
    }
}

fn damage(outcome: &Outcome) -> Markup {
    html! {
        h2 { "What came of it" }
        @if outcome.not_known.is_some() {
            p {
                "Not known, neither as it went nor had nobody acted, since a recording has no true values: "
                @for (nth, line) in outcome.damage.iter().enumerate() { @if nth > 0 { ", " } (line.harm) }
                "."
            }
        } @else {
            table {
                thead { tr { th { "At most" } th { "as it went" } th { "had nobody acted" } } }
                tbody {
                    @for line in &outcome.damage {
                        tr { th scope="row" { (line.harm) } td { (figure(line, line.was)) }
                             td { (figure(line, line.would_have_been)) } }
                    }
                }
            }
        }
    }
}

fn time_line(outcome: &Outcome) -> Markup {
    html! {
        h2 { "Time line" }
        table {
            thead { tr { th { "time" } th { "who" } th { "what" } } }
            tbody {
                @for moment in &outcome.time_line {
                    tr { td.when { (clock(moment.at_s)) } td { (moment.who) } td { (moment.what) } }
                }
            }
        }
    }
}
