//! The paper.

use super::{JOINED, Results, SHOWN_CHANGES};
use crate::picture::{Size, TradePoint, trade};
use crate::tune::compare::Turn;
use crate::tune::propose::DeadBand;
use crate::tune::tally::{Key, Tally, Total, middle};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::collections::BTreeSet;

const STYLE: &str = "body{font:15px/1.45 system-ui,sans-serif;max-width:76rem;margin:1.5rem auto;padding:0 1rem;\
color:#1a1a1a;background:#fff}table{border-collapse:collapse;margin:.6rem 0 1.2rem;font-variant-numeric:tabular-nums}\
th,td{border-bottom:1px solid #bbb;padding:.2rem .7rem;text-align:right}th{font-weight:600}\
th:first-child,td:first-child,td.t,th.t{text-align:left}caption{text-align:left;color:#555;padding:.2rem 0}\
.scroll{overflow-x:auto}.picture{max-width:100%;height:auto;font-size:150px}.grid{stroke:#ddd;stroke-width:8}\
.course{stroke:#33658a;stroke-width:16;fill:none}.point{fill:#33658a}text.quiet{fill:#555}text{font-size:130px}\
.middle{text-anchor:middle}.end{text-anchor:end}.caution{border-left:.3rem solid #b35900;padding:.4rem 1rem}\
@media print{body{max-width:none;margin:0}h2{break-after:avoid}}";

/// A turn as tables call it.
pub(super) fn turn(turn: Turn) -> &'static str {
    match turn {
        Turn::Appears => "appears",
        Turn::Vanishes => "vanishes",
        Turn::Moves => "moves",
    }
}

pub(super) fn html(results: &Results<'_>) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Settings tried on recordings" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { "Settings tried on recordings" }
                (caution())
                (read(results))
                (by_choice(results))
                (trade_offs(results))
                @for (i, total) in results.totals.iter().enumerate() { (alarms(results, i, total)) }
                (proposals(results))
                (differences(results))
            }
        }
    }
}

fn caution() -> Markup {
    html! {
        p class="caution" {
            "brimwatch advises; it opens and closes nothing. What did not happen in these recordings says nothing of what \
             may: few alarms are no proof that those which are needed would come in time. An independent high-level \
             shut-off and a qualified person in attendance are required whatever is set here. Local codes, the site's \
             rules for changes and the judgement of licensed engineers come before any figure on this paper. "
            "No setting can silence level, pad or tank pressure, mass missing, wrong product or reaction: the program \
             refuses settings that would."
        }
    }
}

fn read(results: &Results<'_>) -> Markup {
    let labelled = results.totals.first().is_some_and(|t| t.labelled_s > 0.0);
    html! {
        h2 { "What was read" }
        p {
            "Recordings: " (results.taken) "; of drills: " (results.drills) ". Each was replayed under each choice of \
             settings by this program's engine; an alarm is taken as seen the moment it comes, so that each return counts. "
            @if labelled {
                "What was called for is known of " (results.known) " of them: by the labels given, and of drills by what the \
                 simulator wrote into their recordings."
            }
            @else { "Nobody has labelled what was called for: nuisance and delay are not known." }
        }
        @for (heading, list) in [("Left out", &results.left_out), ("Read in part", &results.stopped)] {
            @if !list.is_empty() {
                p { (heading) ":" }
                ul { @for (name, why) in list { li { (name) ": " (why) } } }
            }
        }
        @if results.beyond > 0 {
            p { (results.beyond) " alarms came beyond those that are kept one by one; they are in no count below." }
        }
    }
}

fn by_choice(results: &Results<'_>) -> Markup {
    html! {
        h2 { "By choice" }
        div class="scroll" { table {
            caption {
                "Flood: it begins with more than 10 alarms in 10 min and ends with fewer than 5 (ANSI/ISA-18.2-2016, \
                 16.4.4). Differences are counted against the first line."
            }
            thead { tr {
                th { "choice" } th { "recordings" } th { "hours" } th { "alarms" } th { "an hour" } th { "prompts" }
                th { "floods" } th { "most in 10 min" } th { "called for" } th { "nuisance" } th { "missed" }
                th { "appear" } th { "vanish" } th { "move" }
            } }
            tbody { @for ((choice, total), turns) in results.plan.choices.iter().zip(&results.totals).zip(&results.turns) {
                tr {
                    td { (choice.name) } td { (total.recordings) } td { (one(total.watched_s / 3600.0)) }
                    td { (total.came()) } td { (two(total.per_hour(total.came()))) } td { (total.prompts()) }
                    td { (total.floods.len()) } td { (total.most_in_ten_min) }
                    @for count in truth(total) { td { (count) } }
                    @for count in turns { td { (count) } }
                }
                @for why in &total.refused { tr { td class="t" colspan="14" { "not tried on some: " (why) } } }
            } }
        } }
    }
}

/// Called for, nuisance, missed; a stroke where nobody has said.
fn truth(total: &Total) -> [String; 3] {
    let sum = |of: fn(&Tally) -> u64| {
        if total.labelled_s > 0.0 { total.alarms.values().map(of).sum::<u64>().to_string() } else { "\u{2013}".into() }
    };
    [sum(|t| t.called_for), sum(|t| t.nuisance), sum(|t| t.missed)]
}

fn alarms(results: &Results<'_>, index: usize, total: &Total) -> Markup {
    let said = |of: u64| if total.labelled_s > 0.0 { of.to_string() } else { "\u{2013}".into() };
    html! {
        h2 { "Alarms: " (results.plan.choices[index].name) }
        @if total.alarms.is_empty() { p { "None came." } }
        @else { div class="scroll" { table {
            caption {
                "Chattered: bursts of 3 within 60 s. Fleeting: gone within 10 s. Stale: open for more than 24 h. Delay: from \
                 the beginning of a labelled stretch. Lead: from the alarm to what it is for, by the readings (levels: \
                 high-high, critical, the switch; pad: its ceiling, the relief valve's range; the tank's own pressure limit; \
                 flow backwards, flow ended), or to the bad end of a drill; middle and shortest."
            }
            thead { tr {
                th { "alarm" } th { "came" } th { "an hour" } th { "open, min" } th { "chattered" } th { "fleeting" }
                th { "stale" } th { "called for" } th { "nuisance" } th { "missed" } th { "delay, s" } th { "lead, s" }
                th { "not announced" }
            } }
            tbody { @for (key, t) in &total.alarms { tr {
                td { (title(key)) } td { (t.came) } td { (two(total.per_hour(t.came))) } td { (one(t.open_s / 60.0)) }
                td { (t.chattered) } td { (t.fleeting) } td { (t.stale) } td { (said(t.called_for)) }
                td { (said(t.nuisance)) } td { (said(t.missed)) } td { (maybe(middle(&t.delays_s))) }
                td { (leads(t)) } td { (t.unannounced) }
            } } }
        } } }
        @for flood in &total.floods {
            p {
                "Flood in " (flood.recording) ": " (flood.alarms) " alarms from " (one(flood.from_s)) " s to "
                (one(flood.to_s)) " s."
            }
        }
    }
}

fn leads(tally: &Tally) -> String {
    match (middle(&tally.leads_s), tally.leads_s.iter().copied().reduce(f64::min)) {
        (Some(middle), Some(least)) => format!("{} ({})", one(middle), one(least)),
        _ => "\u{2013}".into(),
    }
}

/// For each swept key and alarm: delay (or lead) against nuisance (or all) alarms.
fn trade_offs(results: &Results<'_>) -> Markup {
    let swept = results.plan.choices.iter().filter_map(|c| c.swept.as_ref().map(|(key, _)| key.clone()));
    let keys: BTreeSet<String> = swept.collect();
    let alarms: BTreeSet<Key> = results.totals.iter().flat_map(|t| t.alarms.keys().cloned()).collect();
    html! {
        @for key in &keys {
            h2 { "Trade-off: " (key) }
            @let drawn: Vec<Markup> = alarms.iter().filter_map(|alarm| trade_off(results, key, alarm)).collect();
            @if drawn.is_empty() {
                p { "Nothing to draw: no alarm has two values with both a time and a count." }
            }
            @for picture in drawn { (picture) }
        }
    }
}

fn trade_off(results: &Results<'_>, key: &str, alarm: &Key) -> Option<Markup> {
    let labelled = results.totals.iter().any(|t| t.labelled_s > 0.0);
    let mut points = Vec::new();
    for (choice, total) in results.plan.choices.iter().zip(&results.totals) {
        let Some((_, value)) = choice.swept.as_ref().filter(|(k, _)| k == key) else { continue };
        let Some(tally) = total.alarms.get(alarm) else { continue };
        #[expect(clippy::cast_precision_loss, reason = "a count")]
        let per_100_h = |count: u64, s: f64| 100.0 * count as f64 / (s / 3600.0);
        let (x, y) = if labelled {
            (per_100_h(tally.nuisance, total.labelled_s), middle(&tally.delays_s))
        } else {
            (per_100_h(tally.came, total.watched_s), middle(&tally.leads_s))
        };
        if let Some(y) = y {
            points.push(TradePoint { label: value.clone(), x, y });
        }
    }
    if points.len() < 2 {
        return None;
    }
    let (x, y) = if labelled {
        ("nuisance alarms in 100 h", "delay, s: from the beginning of what it is for (shorter is better)")
    } else {
        ("alarms in 100 h", "lead, s: before what it is for (longer is better)")
    };
    Some(html! {
        h3 { (title(alarm)) }
        (trade(&points, x, y, Size::Wide))
    })
}

fn proposals(results: &Results<'_>) -> Markup {
    html! {
        h2 { "Dead-band and delay from measured noise" }
        p {
            "Noise: each value less the mean of the 30 before and the 30 after, so that a steady course cancels. A limit with \
             a dead-band this wide is turned by noise alone at 1 reading in 1,000; of the stretches for which noise holds a \
             value on one side of its mean, 1 in 100 lasts longer than the delay. Either keeps a value that stands at its \
             limit from chattering; the delay is paid for in time to act, the dead-band is not."
        }
        @if results.proposals.is_empty() { p { "Too few values: 3,000 of a signal are needed." } }
        @else { table {
            thead { tr {
                th { "bay, signal" } th class="t" { "kind" } th { "values" } th { "noise, rms" } th { "dead-band" }
                th { "delay, s" }
            } }
            tbody { @for (bay, p) in &results.proposals { tr {
                td { (bay) ", " (p.signal) } td class="t" { (p.kind) } td { (p.values) } td { (short(p.noise_si)) }
                td { (short(p.dead_band_si)) } td { (p.delay_s) }
            } } }
        } }
        @if !results.dead_bands.is_empty() {
            p {
                "As lines of the site file; of several signals and bays the noisiest counts. An alarm comes at its limit all \
                 the same and stays until its value is so far back. Take a line over where the alarm chatters, and try it \
                 first with --site or --try."
            }
            pre { "[alarms.dead_band]\n" @for line in &results.dead_bands { (dead_band(line)) "\n" } }
        }
        @if let Some(longer) = results.longer_off_delay_s() {
            p {
                "Under the first choice alarms came again " (results.again_s.len()) " times within a minute of going; an \
                 off_delay longer by " (longer) " s would make " (100.0 * JOINED) " % of these one alarm each."
            }
        }
    }
}

/// A line of the site file, with where it comes from.
fn dead_band(line: &DeadBand) -> String {
    let name = line.key.rsplit('.').next().unwrap_or_default();
    let held_back = if line.held_back { "; the most that is allowed: the noise is wider" } else { "" };
    format!("{name} = {:?}  # {}, {}{held_back}", line.written, line.bay, line.signal)
}

fn differences(results: &Results<'_>) -> Markup {
    if results.plan.choices.len() < 2 {
        return html! {};
    }
    html! {
        h2 { "Differences from " (results.plan.choices[0].name) }
        @if results.changes.is_empty() { p { "None." } }
        @else {
            div class="scroll" { table {
                caption { "The first " (SHOWN_CHANGES) " at most; changes.csv has all." }
                thead { tr {
                    th { "recording" } th class="t" { "choice" } th class="t" { "alarm" } th class="t" { "what" }
                    th { "came then, s" } th { "comes now, s" }
                } }
                tbody { @for (recording, choice, c) in &results.changes { tr {
                    td { (recording) } td class="t" { (results.plan.choices[*choice].name) }
                    td class="t" { (title(&(c.alarm.clone(), c.subject.clone()))) } td class="t" { (turn(c.turn)) }
                    td { (maybe(c.first_s)) } td { (maybe(c.other_s)) }
                } } }
            } }
        }
    }
}

fn title((alarm, subject): &Key) -> String {
    let name = alarm.replace('_', " ");
    if subject.is_empty() { name } else { format!("{name}: {subject}") }
}

fn one(x: f64) -> String {
    format!("{x:.1}")
}

fn two(x: f64) -> String {
    format!("{x:.2}")
}

fn maybe(x: Option<f64>) -> String {
    x.map_or_else(|| "\u{2013}".into(), one)
}

/// Three figures.
fn short(x: f64) -> String {
    if x == 0.0 {
        return "0".into();
    }
    let before = libm::log10(x.abs()).floor();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 12")]
    let decimals = (2.0 - before).clamp(0.0, 12.0) as usize;
    format!("{x:.decimals$}")
}
