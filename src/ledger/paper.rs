//! The ledger as a list, as CSV, as JSON and as a paper (HTML).

use super::chart::{CAP, H};
use super::choose::{day, moment};
use super::drift::Pair;
use super::totals::{By, Total, totals};
use super::{Ledger, Mass, Row, State, said};
use crate::picture::{Control, ControlMark, ControlPoint, Size, control};
use crate::words::display::number;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;

/// What no figure of it may be taken for.
const CAUTION: &str = "Operating figures, not legal for trade. brimwatch advises and stops nothing; an independent \
    high-level shut-off and a qualified person in attendance are required. That no chart finds anything is no proof that \
    nothing leaks. Local codes and licensed practice come first.";

/// Columns of the CSV.
const COLUMNS: [&str; 34] = [
    "delivery",
    "leg",
    "bay",
    "product",
    "tank",
    "carrier",
    "kind",
    "state",
    "opened_utc",
    "started_utc",
    "closed_utc",
    "planned_kg",
    "ticket_net_kg",
    "ticket_kg",
    "ticket_u_kg",
    "flow_kg",
    "flow_u_kg",
    "scale_kg",
    "scale_u_kg",
    "tank_kg",
    "tank_u_kg",
    "received_kg",
    "received_u_kg",
    "difference_kg",
    "difference_u_kg",
    "left_on_board_kg",
    "left_on_board_u_kg",
    "en",
    "verdict",
    "alarms",
    "prompts",
    "gaps",
    "amendments",
    "recordings",
];

/// Delivery, and the leg where it is not the first.
fn named(row: &Row) -> String {
    if row.leg > 1 { format!("{}, leg {}", row.delivery, row.leg) } else { row.delivery.clone() }
}

/// What was added to its record since.
fn amended(row: &Row) -> String {
    match row.amendments {
        0 => String::new(),
        1 => "; amended once".to_owned(),
        times => format!("; amended {times} times"),
    }
}

fn kind(row: &Row) -> &'static str {
    match (row.drill, row.imported) {
        (true, _) => "drill",
        (false, true) => "imported",
        (false, false) => "watched",
    }
}

fn utc(unix_ns: Option<i64>) -> String {
    let at = unix_ns.and_then(|ns| jiff::Timestamp::from_nanosecond(i128::from(ns)).ok());
    at.map_or_else(String::new, |at| at.to_string())
}

fn cells(row: &Row) -> Vec<String> {
    let state = match State::of(row) {
        State::Closed => "closed",
        State::Running => "running",
        State::NotClosed => "not_closed",
        State::Rejected => "rejected",
    };
    let mut cells: Vec<String> =
        [&row.delivery, &row.leg.to_string(), &row.bay, &row.product, &row.tank].map(String::clone).to_vec();
    cells.extend([row.carrier.clone().unwrap_or_default(), kind(row).to_owned(), state.to_owned()]);
    cells.extend([row.opened_unix_ns, row.started_unix_ns, row.closed_unix_ns].map(utc));
    cells.extend([row.planned_kg, row.ticket_net_kg].map(|kg| kg.to_string()));
    let masses = [Some(row.ticket_kg)].into_iter().chain(row.witnesses).chain([
        row.received_kg,
        row.difference_kg,
        row.left_on_board_kg,
    ]);
    for mass in masses {
        cells.extend(mass.map_or_else(Default::default, |mass| [mass.kg.to_string(), mass.u_kg.to_string()]));
    }
    cells.push(row.en.map_or_else(String::new, |en| en.to_string()));
    cells.extend([
        row.verdict.clone(),
        row.alarms.to_string(),
        row.prompts.to_string(),
        row.gaps.to_string(),
        row.amendments.to_string(),
        row.recordings.join(";"),
    ]);
    cells
}

impl Ledger {
    /// Newest first.
    fn newest(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().rev()
    }

    /// A row for each delivery, newest first, drills included and marked as such.
    ///
    /// # Errors
    /// When `out` takes no more.
    pub fn csv(&self, out: impl Write) -> io::Result<()> {
        let mut out = csv::Writer::from_writer(out);
        out.write_record(COLUMNS)?;
        for row in self.newest() {
            out.write_record(cells(row))?;
        }
        out.flush()
    }

    /// Everything in one object; `docs/interface.md` lists the keys.
    #[must_use]
    pub fn json(&self) -> Value {
        let deliveries = self.newest().map(|row| {
            let mut object = serde_json::to_value(row).unwrap_or_default();
            object["state"] = json!(State::of(row));
            object
        });
        let sums = |by| json!(totals(&self.rows, by, &self.zone));
        let charts = self.pairs.iter().map(|pair| {
            let changes = pair.changes.iter().map(|(signal, change)| json!({ "signal": signal, "change": change }));
            let rows = pair.rows.iter().map(|&at| &self.rows[at].delivery);
            json!({
                "bay": pair.bay, "one": pair.one, "other": pair.other, "deliveries": rows.collect::<Vec<_>>(),
                "differences": pair.differences_kg, "points": pair.chart.points,
                "usual_kg": pair.usual_kg(), "scatter_kg": pair.scatter_kg(),
                "changes": changes.collect::<Vec<_>>(), "says": said::chart(pair),
            })
        });
        let findings = self.findings.iter().zip(self.said()).map(|(finding, said)| {
            let moved = finding.moved.iter().map(|(who, way)| json!({ "instrument": who, "way": way }));
            json!({
                "bay": finding.bay, "moved": moved.collect::<Vec<_>>(), "shape": finding.shape,
                "from": self.rows[finding.from].delivery, "until": finding.until.map(|at| &self.rows[at].delivery),
                "by": finding.by_kg, "load_kg": finding.load_kg,
                "seen": said.seen, "first": said.first, "rests_on": said.rests_on,
            })
        });
        let not_taken = self.not_taken.iter().map(|one| json!({ "file": one.file, "why": one.why }));
        json!({
            "program_version": env!("CARGO_PKG_VERSION"), "caution": CAUTION, "asked": self.asked,
            "deliveries": deliveries.collect::<Vec<_>>(), "idle": self.idle,
            "not_taken": not_taken.collect::<Vec<_>>(),
            "total": sums(By::All), "by_product": sums(By::Product), "by_tank": sums(By::Tank),
            "by_carrier": sums(By::Carrier), "by_month": sums(By::Month),
            "charts": charts.collect::<Vec<_>>(), "findings": findings.collect::<Vec<_>>(),
        })
    }

    /// For a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        for row in self.newest() {
            let mass = |mass: Option<Mass>| mass.map_or_else(|| "-".to_owned(), |m| number(m.kg, 0));
            let drill = if row.drill { "  DRILL" } else { "" };
            let rejected = row.rejected.as_ref().map_or_else(String::new, |why| format!(": {why}"));
            let _ = writeln!(
                text,
                "{}  {:<14} {:<8} {:<22} {:<8} received {:>7} kg  ticket {:>7} kg  difference {:>6} kg  left {:>6} kg  {}{rejected}{drill}{}",
                moment(row.at_unix_ns(), &self.zone),
                named(row),
                row.bay,
                row.product,
                row.tank,
                mass(row.received_kg),
                number(row.ticket_kg.kg, 0),
                mass(row.difference_kg),
                mass(row.left_on_board_kg),
                State::of(row).words(),
                amended(row),
            );
        }
        text += &self.sums_text();
        for said in self.said() {
            let _ = writeln!(text, "{}\n  {}\n  {}", said.seen, said.first, said.rests_on);
        }
        text
    }

    /// The sums for a terminal: by each of what there are several; months always, they are what is asked for at their end.
    fn sums_text(&self) -> String {
        let mut text = String::new();
        for (by, of) in By::ALL.into_iter().zip(["in all", "product", "tank", "carrier", "month"]) {
            let sums = totals(&self.rows, by, &self.zone);
            if sums.is_empty() || (sums.len() == 1 && !matches!(by, By::All | By::Month)) {
                continue;
            }
            if by == By::All {
                text += "Sums of closed deliveries, drills left out\n";
            }
            for total in sums {
                let name = if total.name.is_empty() { of.to_owned() } else { format!("{of} {}", total.name) };
                let _ = writeln!(
                    text,
                    "  {name:<32} {:>4} deliveries  received {:>9} kg  compared {:>4}  difference {:>6} kg",
                    total.deliveries,
                    number(total.received_kg, 0),
                    total.compared,
                    number(total.difference_kg, 0),
                );
            }
        }
        text
    }

    /// The paper.
    #[must_use]
    pub fn html(&self) -> String {
        let (drills, live): (Vec<&Row>, Vec<&Row>) = self.newest().partition(|row| row.drill);
        let (closed, open): (Vec<&Row>, Vec<&Row>) = live.into_iter().partition(|row| row.is_closed);
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { "Deliveries" }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    h1 { "Deliveries" }
                    p class="caution" { (CAUTION) }
                    @if let Some(asked) = &self.asked { p { "Only deliveries " (asked) "." } }
                    (self.moved())
                    @if !open.is_empty() { h2 { "Running, rejected, or not closed" } (self.table(&open)) }
                    h2 { "Closed deliveries" }
                    (self.table(&closed))
                    (self.sums())
                    h2 { "Instruments against each other" }
                    p {
                        "Each chart holds two of them against each other, delivery by delivery. Ring: the chart only learns. \
                         Dot: judged. Triangle: beyond the limit, pointing the way. Cross: far off alone."
                    }
                    @for pair in &self.pairs { (self.chart(pair)) }
                    @if !drills.is_empty() { h2 { "DRILLS (in no sum and on no chart)" } (self.table(&drills)) }
                    (self.left_out())
                }
            }
        };
        page.into_string()
    }

    /// Writes `ledger.html`, `ledger.csv` and `ledger.json` into a folder, which is made where it is missing.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn write(&self, folder: &Path) -> io::Result<()> {
        std::fs::create_dir_all(folder)?;
        self.csv(std::fs::File::create(folder.join("ledger.csv"))?)?;
        std::fs::write(folder.join("ledger.json"), self.json().to_string() + "\n")?;
        std::fs::write(folder.join("ledger.html"), self.html())
    }

    fn moved(&self) -> Markup {
        html! {
            h2 { "Has an instrument moved?" }
            @if self.findings.is_empty() {
                p {
                    "No lasting change is found. Each chart says what it would not have shown yet; what goes wrong from the \
                     first delivery on is on none."
                }
            }
            @for said in self.said() {
                div class="found" {
                    p { strong { (said.seen) } }
                    @if !said.first.is_empty() { p { (said.first) } }
                    p { (said.rests_on) }
                }
            }
            @if !self.findings.is_empty() {
                p { "Once an instrument has been put right, begin its charts anew with " code { "--from" } " that day." }
            }
        }
    }

    fn table(&self, rows: &[&Row]) -> Markup {
        let mass = |mass: Option<Mass>| mass.map_or_else(|| "\u{2013}".to_owned(), |m| number(m.kg, 0));
        html! {
            @if rows.is_empty() { p { "None." } }
            @else { div class="scroll" { table {
                caption {
                    "kg; u: standard uncertainty; En: difference over its expanded uncertainty (k = 2). Difference and left on \
                     the trailer are those of all legs up to the one in the row; nothing tells what is left from what was lost"
                }
                thead { tr {
                    th { "started" } th class="t" { "delivery" } th class="t" { "bay" } th class="t" { "product" }
                    th class="t" { "tank" } th class="t" { "carrier" } th { "flow meter" } th { "scale" } th { "tank level" }
                    th { "received" } th { "u" } th { "ticket" } th { "difference" } th { "En" } th { "left on trailer" }
                    th class="t" { "state" }
                } }
                tbody { @for row in rows { tr {
                    td { (moment(row.at_unix_ns(), &self.zone)) } td class="t" { (named(row)) }
                    td class="t" { (row.bay) } td class="t" { (row.product) } td class="t" { (row.tank) }
                    td class="t" { (row.carrier.as_deref().unwrap_or("\u{2013}")) }
                    @for witness in row.witnesses { td { (mass(witness)) } }
                    td { (mass(row.received_kg)) }
                    td { (row.received_kg.map_or_else(|| "\u{2013}".to_owned(), |m| number(m.u_kg, 0))) }
                    td { (number(row.ticket_kg.kg, 0)) } td { (mass(row.difference_kg)) }
                    td { (row.en.map_or_else(|| "\u{2013}".to_owned(), |en| number(en, 2))) }
                    td { (mass(row.left_on_board_kg)) }
                    td class="t" {
                        (State::of(row).words()) @if let Some(why) = &row.rejected { ": " (why) } @if row.drill { "; DRILL" } @if row.imported { "; imported" } (amended(row))
                        @for damage in &row.damage { "; " (damage) }
                    }
                } } }
            } } }
        }
    }

    fn sums(&self) -> Markup {
        html! {
            h2 { "Sums of closed deliveries" }
            p {
                "Drills and what is not closed are in none. u at most: the sum of the standard uncertainties, as if every \
                 error were the same in all deliveries; the true one lies below."
            }
            @for (by, name) in By::ALL.into_iter().zip(["all", "product", "tank", "carrier", "month"]) {
                @let sums = totals(&self.rows, by, &self.zone);
                div class="scroll" { table {
                    thead { tr {
                        th class="t" { (name) } th { "deliveries" } th { "received, kg" } th { "u at most, kg" }
                        th { "without mass" } th { "compared" } th { "by ticket, kg" } th { "difference, kg" }
                    } }
                    tbody { @for t in &sums { (sum(t)) } }
                } }
            }
        }
    }

    fn chart(&self, pair: &Pair) -> Markup {
        let name = |at: usize| self.rows[pair.rows[at]].delivery.clone();
        let marks = pair.changes.iter().filter_map(|(signal, change)| {
            let from = change.as_ref()?.from;
            let way = if change.as_ref()?.by > 0.0 { "more" } else { "less" };
            Some(ControlMark { from, to: signal.highest, words: format!("{way} since about {}", name(from)) })
        });
        let points = pair.chart.points.iter().zip(&pair.differences_kg).map(|(point, difference)| ControlPoint {
            kg: difference.kg,
            taught: point.score.is_none(),
            far_off: point.far_off,
            ewma: point.ewma,
            ewma_limit: point.ewma_limit,
            high: point.cusum_high,
            low: point.cusum_low,
        });
        let days = pair
            .rows
            .iter()
            .map(|&at| day(self.rows[at].at_unix_ns(), &self.zone).map_or_else(String::new, |day| day.to_string()));
        let chart = Control {
            points: points.collect(),
            days: days.collect(),
            usual_kg: pair.usual_kg(),
            limit: H,
            cap: CAP,
            marks: marks.collect(),
        };
        let (heading, says) = (said::heading(pair), said::chart(pair));
        html! {
            h3 { (pair.bay) ": " (heading) }
            p { (says) }
            @for size in [Size::Wide, Size::Narrow] { (control(&chart, &format!("{heading}. {says}"), size)) }
        }
    }

    fn left_out(&self) -> Markup {
        html! {
            @if !self.not_taken.is_empty() {
                h2 { "Files that are not in the list" }
                ul { @for one in &self.not_taken { li { (one.file) ": " (one.why) } } }
            }
            p { (self.idle) " recordings of idle days." }
        }
    }
}

fn sum(total: &Total) -> Markup {
    html! { tr {
        td class="t" { (total.name) } td { (total.deliveries) } td { (number(total.received_kg, 0)) }
        td { (number(total.received_u_at_most_kg, 0)) } td { (total.without_mass) } td { (total.compared) }
        td { (number(total.ticket_kg, 0)) } td { (number(total.difference_kg, 0)) }
    } }
}

const STYLE: &str = "body{font:15px/1.45 system-ui,sans-serif;max-width:76rem;margin:1.5rem auto;padding:0 1rem;\
color:#1a1a1a;background:#fff}table{border-collapse:collapse;margin:.6rem 0 1.2rem;font-variant-numeric:tabular-nums}\
th,td{border-bottom:1px solid #bbb;padding:.2rem .6rem;text-align:right;white-space:nowrap}th{font-weight:600}\
th:first-child,td:first-child,td.t,th.t{text-align:left}caption{text-align:left;color:#555;padding:.2rem 0}\
.scroll{overflow-x:auto}.picture{max-width:100%;height:auto}.narrow{display:none}.grid{stroke:#e2e2e2;stroke-width:8}\
.course{stroke:#33658a;stroke-width:16;fill:none}.point{fill:#33658a}.ring{fill:#fff;stroke:#33658a;stroke-width:12}\
.cross{stroke:#1a1a1a;stroke-width:16}.usual{stroke:#555;stroke-width:10}\
.limit{stroke:#1a1a1a;stroke-width:10;stroke-dasharray:60 40;fill:none}.band{fill:#f3ead8}\
.change{stroke:#1a1a1a;stroke-width:14}text{font-size:130px}text.quiet{fill:#555}text.strong{font-weight:700}\
.middle{text-anchor:middle}.end{text-anchor:end}.caution,.found{border-left:.3rem solid #b35900;padding:.4rem 1rem}\
@media(max-width:700px){.wide{display:none}.narrow{display:block}}\
@media print{body{max-width:none;margin:0}h2,h3{break-after:avoid}svg{break-inside:avoid}}";
