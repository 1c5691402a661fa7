//! Moments as people and histories write them.
//!
//! What this believes. A time with an offset is a moment. One without is a clock on a wall: with its zone it is a
//! moment too, except in two hours of the year. In the hour that the clock skips it names none. In the hour that the
//! clock repeats it names two: the earlier is meant, unless that would run back behind the time before it.

use crate::time::WallTime;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::fmt::strtime::BrokenDownTime;
use jiff::tz::{AmbiguousOffset, TimeZone};

/// How times are written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TimeFormat {
    /// As RFC 3339 (and ISO 8601's extended form) has it, with or without an offset.
    Rfc3339,
    /// A count since 1970-01-01T00:00:00Z in units of so many nanoseconds, with decimals or without.
    Epoch(u64),
    /// A pattern of the kind strptime takes.
    Pattern(String),
}

/// How a row's time is read.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    /// How it is written.
    pub format: TimeFormat,
    /// Zone of times that carry no offset.
    pub zone: Option<TimeZone>,
}

/// A time this much before the last is still the one before the clock was set back: rows may be out of order by so
/// much, ns.
pub const DISORDER_NS: i64 = 1_000_000_000;

impl Moments {
    /// The moment that a text names; `last` is the latest before it, which tells the two runs of a repeated hour apart.
    ///
    /// # Errors
    /// Why it names none, in words.
    pub fn read(&self, text: &str, last: Option<WallTime>) -> Result<WallTime, String> {
        match &self.format {
            TimeFormat::Epoch(unit_ns) => epoch(text, *unit_ns)
                .ok_or_else(|| "is no plain count of seconds or milliseconds since 1970".to_owned()),
            TimeFormat::Rfc3339 => match text.parse::<Timestamp>() {
                Ok(moment) => wall(moment),
                Err(with_offset) => match text.parse::<DateTime>() {
                    Ok(civil) => self.in_zone(civil, last),
                    Err(_) => Err(format!("is no time after RFC 3339: {with_offset}")),
                },
            },
            TimeFormat::Pattern(pattern) => {
                let parts = BrokenDownTime::parse(pattern, text).map_err(|why| format!("is no {pattern}: {why}"))?;
                if parts.offset().is_some() || parts.timestamp().is_some() {
                    return wall(parts.to_timestamp().map_err(|why| format!("is no moment: {why}"))?);
                }
                if parts.iana_time_zone().is_some() {
                    return wall(parts.to_zoned_datetime().map_err(|why| format!("is no moment: {why}"))?.timestamp());
                }
                self.in_zone(parts.to_datetime().map_err(|why| format!("is no moment: {why}"))?, last)
            }
        }
    }

    fn in_zone(&self, civil: DateTime, last: Option<WallTime>) -> Result<WallTime, String> {
        let zone = self.zone.as_ref().ok_or("carries no offset, and no zone is given: write time.zone")?;
        let ambiguous = zone.to_ambiguous_timestamp(civil);
        let out_of_range = |why| format!("is no moment: {why}");
        match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { .. } => wall(ambiguous.unambiguous().map_err(out_of_range)?),
            AmbiguousOffset::Gap { .. } => {
                Err("is a time that the clocks of its zone skipped (daylight saving): see time.zone".to_owned())
            }
            AmbiguousOffset::Fold { .. } => {
                let earlier = wall(ambiguous.earlier().map_err(out_of_range)?)?;
                if last.is_none_or(|last| earlier.0 >= last.0 - DISORDER_NS) {
                    return Ok(earlier);
                }
                wall(ambiguous.later().map_err(out_of_range)?)
            }
        }
    }
}

fn wall(moment: Timestamp) -> Result<WallTime, String> {
    let ns = i64::try_from(moment.as_nanosecond());
    ns.map(WallTime).map_err(|_| "lies outside the years 1678 to 2261".to_owned())
}

/// A count since 1970 of units of `unit_ns`, exactly; either decimal mark, no exponent.
fn epoch(text: &str, unit_ns: u64) -> Option<WallTime> {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
    let (whole, part) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    // Eighteen decimals are beyond any clock, and keep the product within 128 bits.
    if whole.is_empty() || part.len() > 18 || !plain(whole) || !plain(part) {
        return None;
    }
    let power = 10_i128.pow(u32::try_from(part.len()).ok()?);
    let part: i128 = if part.is_empty() { 0 } else { part.parse().ok()? };
    let ns = i128::from(whole.parse::<i64>().ok()?) * i128::from(unit_ns) + part * i128::from(unit_ns) / power;
    i64::try_from(if negative { -ns } else { ns }).ok().map(WallTime)
}

/// A moment as people read it: RFC 3339, in UTC.
#[must_use]
pub fn shown(moment: WallTime) -> String {
    let exact = Timestamp::from_nanosecond(i128::from(moment.0));
    exact.map_or_else(|_| format!("{} ns since 1970", moment.0), |t| t.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn berlin(format: TimeFormat) -> Moments {
        Moments { format, zone: Some(TimeZone::get("Europe/Berlin").expect("zoneinfo of this machine")) }
    }

    fn at(text: &str) -> WallTime {
        wall(text.parse().expect("a moment")).expect("in range")
    }

    /// Clocks of the European Union change at 01:00 UTC on the last Sundays of March and October (Directive
    /// 2000/84/EC, articles 2 and 3).
    #[test]
    fn the_repeated_hour_is_told_apart_by_what_came_before() {
        let moments = berlin(TimeFormat::Pattern("%d.%m.%Y %H:%M:%S%.f".to_owned()));
        let read = |text, last: Option<&str>| moments.read(text, last.map(at)).map(shown);
        let first = read("25.10.2026 02:30:00", Some("2026-10-25T00:29:59Z"));
        assert_eq!(first.as_deref(), Ok("2026-10-25T00:30:00Z"));
        let second = read("25.10.2026 02:00:00", Some("2026-10-25T00:59:59Z"));
        assert_eq!(second.as_deref(), Ok("2026-10-25T01:00:00Z"));
        let skipped = read("29.03.2026 02:30:00", None).expect_err("no such time");
        assert!(skipped.contains("skipped"), "{skipped}");
        assert_eq!(read("29.03.2026 03:00:00.25", None).as_deref(), Ok("2026-03-29T01:00:00.25Z"));
    }

    #[test]
    fn counts_since_1970_are_exact() {
        // `date -u -d @1772360100`: 2026-03-01T10:15:00Z.
        let s = Moments { format: TimeFormat::Epoch(1_000_000_000), zone: None };
        let ms = Moments { format: TimeFormat::Epoch(1_000_000), zone: None };
        assert_eq!(s.read("1772360100.123456789", None), Ok(WallTime(1_772_360_100_123_456_789)));
        assert_eq!(s.read("1772360100,5", None), Ok(WallTime(1_772_360_100_500_000_000)));
        assert_eq!(ms.read("1772360100123", None), Ok(at("2026-03-01T10:15:00.123Z")));
        assert_eq!(s.read("-1.5", None), Ok(WallTime(-1_500_000_000)));
        for wrong in ["", "1.7e9", "1 772", "99999999999999999999", "NaN", "."] {
            assert!(s.read(wrong, None).is_err(), "{wrong}");
        }
    }

    #[test]
    fn an_offset_needs_no_zone_and_a_clock_on_the_wall_does() {
        let bare = Moments { format: TimeFormat::Rfc3339, zone: None };
        assert_eq!(bare.read("2026-03-01 10:15:00+01:00", None), Ok(at("2026-03-01T09:15:00Z")));
        assert!(bare.read("2026-03-01T10:15:00", None).expect_err("no zone").contains("time.zone"));
        let moments = berlin(TimeFormat::Rfc3339);
        assert_eq!(moments.read("2026-03-01T10:15:00", None), Ok(at("2026-03-01T09:15:00Z")));
        let offset = Moments { format: TimeFormat::Pattern("%Y-%m-%d %H:%M:%S %z".into()), zone: None };
        assert_eq!(offset.read("2026-03-01 10:15:00 +0100", None), Ok(at("2026-03-01T09:15:00Z")));
    }
}
