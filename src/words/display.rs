//! Numbers and times as people read them. A figure keeps its number of decimals, so that nothing moves when
//! its digits change; thousands are parted by a narrow no-break space, minus is the minus sign.

use crate::time::{EngineTime, WallAnchor, WallTime};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

/// Seconds in a minute.
const MINUTE_S: f64 = 60.0;
/// Thousands separator: U+202F, narrow no-break space.
const THIN: char = '\u{202f}';

/// A number with `decimals` decimals.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    let plain = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = plain.split_at(plain.find('.').unwrap_or(plain.len()));
    let negative = value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b));
    let mut text = String::from(if negative { "\u{2212}" } else { "" });
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            text.push(THIN);
        }
        text.push(digit);
    }
    text + fraction
}

/// A mass to 1 kg, with its unit.
#[must_use]
pub fn kg(kg: f64) -> String {
    number(kg, 0) + "\u{a0}kg"
}

/// A mass in tonnes to 0.1 t, rounded down: room is never shown larger than it is. Without its unit.
#[must_use]
pub fn tonnes_down(kg: f64) -> String {
    // A hair of rounding in the sum of the parts must not cost a tenth.
    number(((kg / 100.0) + 1e-9).floor() / 10.0, 1)
}

/// A mass in tonnes to 0.1 t, without its unit.
#[must_use]
pub fn tonnes(kg: f64) -> String {
    number(kg / 1000.0, 1)
}

/// A mass flow given in kg/s, in kg/min to 1 kg/min, with its unit.
#[must_use]
pub fn kg_per_min(kg_per_s: f64) -> String {
    number(kg_per_s * MINUTE_S, 0) + "\u{a0}kg/min"
}

/// A pressure given in Pa gauge, in kPa gauge to 1 kPa, without its unit.
#[must_use]
pub fn kpa(pa_gauge: f64) -> String {
    number(pa_gauge / 1000.0, 0)
}

/// A stretch of time: seconds below two minutes, whole minutes (rounded down) above.
#[must_use]
pub fn duration(seconds: f64) -> String {
    if seconds < 2.0 * MINUTE_S {
        number(seconds.floor(), 0) + "\u{a0}s"
    } else {
        number((seconds / MINUTE_S).floor(), 0) + "\u{a0}min"
    }
}

/// Hours and minutes; with the date where the day is not that of `now`. "--:--" for a time out of the
/// calendar's range.
#[must_use]
pub fn hh_mm(at: WallTime, now: WallTime, zone: &TimeZone) -> String {
    let day = |t| moment(t, zone).map(|moment| moment.date());
    written(at, zone, if day(at) == day(now) { "%H:%M" } else { "%e %b %H:%M" }).trim_start().to_owned()
}

/// Hours, minutes and seconds.
#[must_use]
pub fn hh_mm_ss(at: WallTime, zone: &TimeZone) -> String {
    written(at, zone, "%H:%M:%S")
}

/// Day, hours, minutes and seconds.
#[must_use]
pub fn date_time(at: WallTime, zone: &TimeZone) -> String {
    written(at, zone, "%F %H:%M:%S")
}

/// An engine time as hours and minutes, by the frame's tie to the wall clock.
#[must_use]
pub fn clock(anchor: WallAnchor, at: EngineTime, now: EngineTime, zone: &TimeZone) -> String {
    hh_mm(anchor.wall_at(at), anchor.wall_at(now), zone)
}

fn moment(at: WallTime, zone: &TimeZone) -> Option<ZonedDateTime> {
    Some(Timestamp::from_nanosecond(i128::from(at.0)).ok()?.to_zoned_datetime(zone.clone()))
}

/// The hour that comes twice when summer time ends says which of the two it is.
fn written(at: WallTime, zone: &TimeZone, format: &str) -> String {
    let Some(moment) = moment(at, zone) else { return "--:--".to_owned() };
    let twice = zone.to_ambiguous_timestamp(moment.datetime()).is_ambiguous();
    let zone = if twice { " %Z" } else { "" };
    moment.strftime(&format!("{format}{zone}")).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_as_people_write_them() {
        assert_eq!(number(1_234_567.4, 0), "1\u{202f}234\u{202f}567");
        assert_eq!(number(-1234.56, 1), "\u{2212}1\u{202f}234.6");
        assert_eq!(number(-0.04, 1), "0.0", "no minus before a zero");
        assert_eq!(number(999.0, 0), "999");
        assert_eq!(kg(12_488.4), "12\u{202f}488\u{a0}kg");
        assert_eq!(kg_per_min(4.7), "282\u{a0}kg/min");
        assert_eq!(kpa(117_900.0), "118");
        assert_eq!(duration(119.9), "119\u{a0}s");
        assert_eq!(duration(179.0), "2\u{a0}min");
    }

    #[test]
    fn room_is_never_rounded_up() {
        assert_eq!(tonnes_down(3190.0), "3.1");
        assert_eq!(tonnes_down(3100.0), "3.1");
        assert_eq!(tonnes_down(40.0), "0.0");
        assert_eq!(tonnes_down(-1.0), "\u{2212}0.1");
    }

    /// Expected: the Posix rule in the zone's own name (UTC+1).
    #[test]
    fn times_are_written_in_the_readers_zone() {
        let zone = TimeZone::posix("CET-1").expect("a Posix zone");
        let now = WallTime(1_700_000_000_000_000_000); // 2023-11-14 22:13:20 UTC
        assert_eq!(hh_mm_ss(now, &zone), "23:13:20");
        assert_eq!(hh_mm(WallTime(now.0 + 3_600_000_000_000), now, &zone), "15 Nov 00:13");
        assert_eq!(hh_mm(WallTime(i64::MAX), now, &TimeZone::UTC), "11 Apr 23:47");
    }

    /// Directive 2000/84/EC: summer time ends on the last Sunday of October at 01:00 UTC. 2026-10-25, Central Europe.
    #[test]
    fn the_hour_that_comes_twice_says_which_it_is() {
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a Posix zone");
        let end = WallTime(1_792_890_000_000_000_000); // 2026-10-25 01:00:00 UTC
        let by_min = |min: i64| WallTime(end.0 + min * 60_000_000_000);
        let told = |min| hh_mm(by_min(min), end, &zone);
        let expected = ["01:59", "02:00 CEST", "02:59 CEST", "02:00 CET", "02:59 CET", "03:00"];
        assert_eq!([-61, -60, -1, 0, 59, 60].map(told), expected);
        assert_eq!(hh_mm_ss(by_min(-30), &zone), "02:30:00 CEST");
        assert_eq!(hh_mm(by_min(-30), by_min(3 * 1440), &zone), "25 Oct 02:30 CEST");
    }
}
