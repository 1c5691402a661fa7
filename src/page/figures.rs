//! Live figures for engineers at one address: a page for browsers, OpenMetrics for programs, from the same families.
//!
//! OpenMetrics 1.0 (text form): each family with its TYPE, UNIT and HELP, counters ending in `_total`, `# EOF` at the end.
//! `docs/interface.md` lists every name; a general parser reads the text in a test.

use super::feed::{BayFeed, DeviceStats};
use crate::engine::frame::Priority;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::fmt::Write;

/// Content type of the text.
pub const OPENMETRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// What a family is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Type {
    Counter,
    Gauge,
    Summary,
    Info,
}

impl Type {
    fn word(self) -> &'static str {
        match self {
            Type::Counter => "counter",
            Type::Gauge => "gauge",
            Type::Summary => "summary",
            Type::Info => "info",
        }
    }

    /// What a sample's name ends in.
    fn ending(self) -> &'static str {
        match self {
            Type::Counter => "_total",
            Type::Gauge | Type::Summary => "",
            Type::Info => "_info",
        }
    }
}

type Labels = Vec<(&'static str, String)>;

/// All samples of one name.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    name: &'static str,
    kind: Type,
    help: &'static str,
    samples: Vec<(Labels, f64)>,
}

impl Family {
    fn new(name: &'static str, kind: Type, help: &'static str) -> Family {
        Family { name, kind, help, samples: Vec::new() }
    }

    fn add(&mut self, labels: &[(&'static str, &str)], value: f64) {
        self.samples.push((labels.iter().map(|(name, value)| (*name, (*value).to_owned())).collect(), value));
    }

    /// Its unit, where its name ends in one.
    fn unit(&self) -> Option<&'static str> {
        ["seconds", "bytes"].into_iter().find(|unit| self.name.ends_with(unit))
    }
}

/// Median, 99 % and maximum of microseconds, as quantiles in seconds.
#[expect(clippy::cast_precision_loss, reason = "microseconds below a minute")]
fn quantiles(family: &mut Family, labels: &[(&'static str, &str)], us: [u64; 3]) {
    for (quantile, us) in ["0.5", "0.99", "1.0"].into_iter().zip(us) {
        let labels = [labels, &[("quantile", quantile)]].concat();
        family.add(&labels, us as f64 / 1e6);
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts below 2^53")]
fn count(n: u64) -> f64 {
    n as f64
}

/// Everything that is known of the watch's own work.
#[must_use]
pub fn families(site: &str, bays: &[BayFeed]) -> Vec<Family> {
    let mut program = Family::new("brimwatch_program", Type::Info, "Program and works.");
    program.add(&[("version", env!("CARGO_PKG_VERSION")), ("site", site)], 1.0);
    let mut memory = Family::new("brimwatch_memory_bytes", Type::Gauge, "Memory of the program that is in use.");
    if let Some(bytes) = resident_bytes() {
        memory.add(&[], count(bytes));
    }
    let mut all = vec![program, memory];
    all.extend(of_devices(bays));
    all.extend(of_bays(bays));
    all
}

/// Of each device as each bay that reads it sees it.
fn of_devices(bays: &[BayFeed]) -> Vec<Family> {
    let mut rounds =
        Family::new("brimwatch_device_rounds", Type::Counter, "Rounds of requests, by what became of them.");
    let mut late =
        Family::new("brimwatch_device_late_rounds", Type::Counter, "Rounds asked more than 50 ms after they were due.");
    let mut connections = Family::new("brimwatch_device_connections", Type::Counter, "Connections made.");
    let mut answers = Family::new("brimwatch_device_answers", Type::Gauge, "1 while the device answers, else 0.");
    let mut latency = Family::new("brimwatch_device_latency_seconds", Type::Summary, "First request to last reply.");
    let mut lateness = Family::new("brimwatch_device_lateness_seconds", Type::Summary, "Due to first request.");
    for bay in bays {
        let published = bay.latest.borrow().clone();
        let devices: &[DeviceStats] = published.as_ref().map_or(&[], |p| &p.devices);
        for device in devices {
            let labels = [("bay", bay.slug.as_str()), ("device", device.name.as_str())];
            let outcome = |outcome| [&labels[..], &[("outcome", outcome)]].concat();
            rounds.add(&outcome("answered"), count(device.answered));
            rounds.add(&outcome("missed"), count(device.missed));
            late.add(&labels, count(device.late));
            connections.add(&labels, f64::from(device.connections));
            answers.add(&labels, f64::from(u8::from(device.trouble.is_empty())));
            quantiles(&mut latency, &labels, device.latency_us);
            quantiles(&mut lateness, &labels, device.lateness_us);
        }
    }
    vec![rounds, late, connections, answers, latency, lateness]
}

/// Of each bay's own work.
fn of_bays(bays: &[BayFeed]) -> Vec<Family> {
    let mut steps = Family::new("brimwatch_bay_steps", Type::Counter, "Inputs stepped.");
    let mut took = Family::new("brimwatch_bay_step_seconds", Type::Summary, "What a step took, published and all.");
    let mut frames = Family::new("brimwatch_bay_frames", Type::Counter, "Frames shown.");
    let mut changes = Family::new("brimwatch_bay_settings_changes", Type::Counter, "Settings changed on the run.");
    let mut alarms = Family::new("brimwatch_bay_open_alarms", Type::Gauge, "Open alarms, by priority.");
    let mut bytes = Family::new("brimwatch_recorder_waiting_bytes", Type::Gauge, "Bytes that wait for the disk.");
    let mut lag = Family::new("brimwatch_recorder_lag_seconds", Type::Gauge, "How long the oldest of them has waited.");
    let mut writes = Family::new("brimwatch_recorder_writes", Type::Gauge, "1 while the recorder writes, else 0.");
    for bay in bays {
        let (labels, work) = ([("bay", bay.slug.as_str())], bay.work.now());
        let published = bay.latest.borrow().clone();
        steps.add(&labels, count(work.steps));
        quantiles(&mut took, &labels, work.step_us);
        changes.add(&labels, count(work.changes));
        bytes.add(&labels, count(work.waiting_bytes));
        lag.add(&labels, work.waiting_s);
        writes.add(&labels, f64::from(u8::from(work.durable)));
        let Some(published) = published else { continue };
        frames.add(&labels, count(published.number));
        for (priority, word) in [(Priority::High, "high"), (Priority::Medium, "medium"), (Priority::Low, "low")] {
            let open = published.frame.alarms.iter().filter(|alarm| alarm.priority == priority).count();
            alarms.add(&[labels[0], ("priority", word)], count(open as u64));
        }
    }
    vec![steps, took, frames, changes, alarms, bytes, lag, writes]
}

/// Memory in use (proc(5), VmRSS), bytes.
fn resident_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    Some(line.split_whitespace().next()?.parse::<u64>().ok()? << 10)
}

/// A label's value with backslash, quote and line feed escaped.
fn escaped(value: &str) -> String {
    value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

/// As OpenMetrics.
#[must_use]
pub fn text(families: &[Family]) -> String {
    let mut out = String::new();
    for family in families {
        let (name, help) = (family.name, family.help);
        let _ = writeln!(out, "# TYPE {name} {}", family.kind.word());
        if let Some(unit) = family.unit() {
            let _ = writeln!(out, "# UNIT {name} {unit}");
        }
        let _ = writeln!(out, "# HELP {name} {help}");
        for (labels, value) in &family.samples {
            let labels: Vec<String> =
                labels.iter().map(|(name, value)| format!("{name}=\"{}\"", escaped(value))).collect();
            let braces = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
            let _ = writeln!(out, "{name}{}{braces} {value}", family.kind.ending());
        }
    }
    out + "# EOF\n"
}

/// As a page; it is read once and does not move.
#[must_use]
pub fn page(site: &str, families: &[Family]) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                link rel="icon" href="/mark.svg" type="image/svg+xml";
                link rel="stylesheet" href="/page.css";
                title { "Figures of the watch \u{2013} " (site) }
            }
            body.list {
                header { h1 { "Figures of the watch: " (site) } }
                main tabindex="0" {
                    p {
                        "How the program's own work does; nothing here says anything of the plant. Programs are given the \
                         same as OpenMetrics at this address."
                    }
                    @for family in families {
                        h2 { (family.name) }
                        p { (family.help) }
                        table { tbody { @for (labels, value) in &family.samples { tr {
                            td { (PreEscaped(shown(labels))) } td { (value) }
                        } } } }
                    }
                }
            }
        }
    }
}

/// Labels as one text, escaped.
fn shown(labels: &Labels) -> String {
    let text: Vec<String> = labels.iter().map(|(name, value)| format!("{name}: {value}")).collect();
    html! { (text.join(", ")) }.into_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What people wrote in names cannot break a line.
    #[test]
    fn names_are_escaped() {
        let mut family = Family::new("brimwatch_x_bytes", Type::Gauge, "X.");
        family.add(&[("device", "a \"b\" \\ c\nd<e>")], 1.5);
        let said = text(&[family.clone()]);
        let expected = "# TYPE brimwatch_x_bytes gauge\n# UNIT brimwatch_x_bytes bytes\n# HELP brimwatch_x_bytes X.\n\
                        brimwatch_x_bytes{device=\"a \\\"b\\\" \\\\ c\\nd<e>\"} 1.5\n# EOF\n";
        assert_eq!(said, expected);
        assert!(page("s", &[family]).into_string().contains("&lt;e&gt;"));
    }
}
