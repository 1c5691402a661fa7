//! Which deliveries are asked for.

use super::row::Row;
use crate::time::WallTime;
use crate::words::display;
use jiff::civil::Date;
use jiff::tz::TimeZone;

/// What a delivery must be to be listed; by default anything.
#[derive(Debug, Clone, Default)]
pub struct Choice {
    /// This text stands in its number, product, tank, carrier or bay, capital letters or not.
    pub search: Option<String>,
    /// Not before this day.
    pub from: Option<Date>,
    /// Not after this day.
    pub to: Option<Date>,
}

/// Day of a moment in a zone; `None` beyond the calendar.
#[must_use]
pub fn day(unix_ns: i64, zone: &TimeZone) -> Option<Date> {
    let at = jiff::Timestamp::from_nanosecond(i128::from(unix_ns)).ok()?;
    Some(at.to_zoned_datetime(zone.clone()).date())
}

/// Day, hour and minute for people.
#[must_use]
pub fn moment(unix_ns: i64, zone: &TimeZone) -> String {
    let day = day(unix_ns, zone).map_or_else(|| "unknown day".to_owned(), |day| day.to_string());
    format!("{day} {}", &display::hh_mm_ss(WallTime(unix_ns), zone)[..5])
}

impl Choice {
    /// Whether a delivery is asked for.
    #[must_use]
    pub fn takes(&self, row: &Row, zone: &TimeZone) -> bool {
        let texts = [Some(&row.delivery), Some(&row.product), Some(&row.tank), Some(&row.bay)];
        let texts = texts.into_iter().chain([row.carrier.as_ref()]).flatten();
        let day = day(row.at_unix_ns(), zone);
        let found = self.search.as_ref().is_none_or(|search| {
            let search = search.to_lowercase();
            let mut texts = texts;
            texts.any(|text| text.to_lowercase().contains(&search))
        });
        let within = |bound: Option<Date>, holds: fn(Date, Date) -> bool| {
            bound.is_none_or(|bound| day.is_some_and(|day| holds(day, bound)))
        };
        found && within(self.from, |day, from| day >= from) && within(self.to, |day, to| day <= to)
    }

    /// In words; `None`: everything.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let parts = [
            self.search.as_ref().map(|search| format!("with \u{201c}{search}\u{201d}")),
            self.from.map(|day| format!("from {day}")),
            self.to.map(|day| format!("to {day}")),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }
}
