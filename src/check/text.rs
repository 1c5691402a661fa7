//! The answers as people read them, in 80 columns.

use super::answers::{Answer, Answers, BayAnswers, Breakthrough, Regulator, TankAnswers};
use super::load::Load;
use super::recorded::Recorded;
use crate::config::{COLUMNS, wrapped};
use crate::words::display::number;
use std::fmt::{self, Write};

/// Columns before each line of an answer.
const INDENT: &str = "    ";

/// Names of a file may be long; so much of one is shown in a table.
const NAME_COLUMNS: usize = 30;

fn name(text: &str) -> String {
    text.chars().take(NAME_COLUMNS).collect()
}

fn line(to: &mut impl Write, text: &str) -> fmt::Result {
    for part in wrapped(text, COLUMNS - INDENT.len()).lines() {
        writeln!(to, "{INDENT}{part}")?;
    }
    Ok(())
}

impl fmt::Display for Answers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for bay in &self.bays {
            writeln!(f, "{bay}")?;
        }
        writeln!(f, "Polling")?;
        line(
            f,
            &format!(
                "{:<30} {:>8} {:>6} {:>9} {:>8} {:>8}",
                "device", "requests", "bytes", "round ms", "period s", "share %"
            ),
        )?;
        for load in &self.links {
            write!(f, "{load}")?;
        }
        line(f, "A round is reckoned from answer_time, pause and, on a serial line, its characters and silences.")?;
        writeln!(f, "\nDisk")?;
        match &self.disk_days {
            Answer::Known(days) => line(
                f,
                &format!("Full in {} days if every bay were in transfer all the time.", number(days.floor(), 0)),
            ),
            Answer::NotComputed(why) => line(f, &format!("not computed: {why}")),
        }
    }
}

impl fmt::Display for Load {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let share = |part: f64| number(part * 100.0, 1);
        for d in &self.devices {
            let row = [number(d.round_s * 1000.0, 0), number(d.period_s, 2), share(d.round_s / d.period_s)];
            let [round, period, part] = row;
            writeln!(
                f,
                "{INDENT}{:<30} {:>8} {:>6} {round:>9} {period:>8} {part:>8}",
                name(&d.device),
                d.requests,
                d.bytes
            )?;
        }
        if self.devices.len() > 1 {
            writeln!(f, "{INDENT}{:<30} {:>43}", format!("  all of {}", name(&self.link)), share(self.share))?;
        }
        Ok(())
    }
}

impl fmt::Display for BayAnswers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Bay {:?}", name(&self.bay))?;
        for tank in &self.tanks {
            write!(f, "{tank}")?;
        }
        self.write(f, "Pad near its ceiling", &self.pad_alarm_pa_gauge, |pa| {
            format!("alarm from {} kPa gauge on", number(pa / 1000.0, 1))
        })?;
        self.write(f, "Regulator fails wide open", &self.regulator, Regulator::words)?;
        self.write(f, "Gas behind the last liquid", &self.breakthrough, Breakthrough::words)?;
        self.write(f, "Recording", &self.recorded, Recorded::words)
    }
}

impl BayAnswers {
    fn write<T>(
        &self,
        f: &mut fmt::Formatter<'_>,
        head: &str,
        answer: &Answer<T>,
        words: impl Fn(&T) -> String,
    ) -> fmt::Result {
        match answer {
            Answer::Known(known) => line(f, &format!("{head}: {}", words(known))),
            Answer::NotComputed(why) => line(f, &format!("{head}: not computed: {why}")),
        }
    }
}

impl fmt::Display for TankAnswers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let density = number(self.density_kg_per_m3, 1);
        line(f, &format!("Tank {:?}, at {} C ({density} kg/m3)", name(&self.tank), number(self.temperature_c, 1)))?;
        line(f, &format!("{:<12} {:>8} {:>12} {:>12} {:>22}", "level", "m", "kg", "kg more", "min at the usual rate"))?;
        let or_dash = |value: Option<f64>, decimals| value.map_or("-".to_owned(), |v| number(v, decimals));
        for level in &self.levels {
            let minutes = level.more_s.map(|s| s / 60.0);
            writeln!(
                f,
                "{INDENT}{:<12} {:>8} {:>12} {:>12} {:>22}",
                level.level,
                number(level.at_m, 3),
                or_dash(level.contents_kg, 0),
                or_dash(level.more_kg, 0),
                or_dash(minutes, 1)
            )?;
        }
        if self.levels.iter().all(|level| level.more_s.is_none()) {
            line(f, "minutes: not computed: no bay.usual_rate in the file")?;
        }
        let switch = if self.switch_is_read {
            "the high-level switch at once when it trips"
        } else {
            "no high-level switch is read"
        };
        line(
            f,
            &format!(
                "Alarms: as soon as the load is projected to pass high_high, and when high_high is less than a response \
                 time away; at working, high_high and critical at once; {switch}. From alarm to no flow: {} s.",
                number(self.response_s, 0)
            ),
        )
    }
}

impl Regulator {
    fn words(&self) -> String {
        let time =
            |s: Option<f64>| s.map_or("never (the supply is lower)".to_owned(), |s| format!("{} s", number(s, 0)));
        let fast = if self.too_fast { ". Too fast for a person; only the supply's own relief protects" } else { "" };
        format!(
            "{} kg/h of gas at first. From the usual pad to MAWP with the trailer full: {}; with it empty: {}{fast}.",
            number(self.flow_kg_per_s * 3600.0, 0),
            time(self.full_s),
            time(self.empty_s)
        )
    }
}

impl Breakthrough {
    fn words(&self) -> String {
        let line = self.through_line_kg_per_s.map_or("not computed: no bay.line.loss in the file".to_owned(), |flow| {
            format!("{} kg/h", number(flow * 3600.0, 0))
        });
        format!(
            "{} kg stand on the trailer at the usual pad. Peak flow through the line: {line}; at full bore: {} kg/h.",
            number(self.stored_kg, 1),
            number(self.full_bore_kg_per_s * 3600.0, 0)
        )
    }
}

impl Recorded {
    fn words(&self) -> String {
        format!(
            "{} MB a day idle, {} MB an hour in transfer. While the disk is away, memory holds {} h of a transfer.",
            number(self.idle_bytes_per_s * 86_400.0 / 1e6, 0),
            number(self.transfer_bytes_per_s * 3600.0 / 1e6, 1),
            number(self.waiting_h, 1)
        )
    }
}
