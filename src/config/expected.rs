//! What a delivery's further papers say, and what the site expects of them.

use super::ProductTable;
use super::fault::Draft;
use super::walk::Table;
use crate::engine::papers::{Contacts, Expected, Papers, Property, TankExpected};
use crate::finding::OfProduct;
use crate::time::WallTime;
use crate::units::{Celsius, GaugePa};

fn text(table: &Table, key: &str) -> Option<String> {
    table.optional_text(key).map(str::to_owned)
}

/// Whom to call.
pub(super) fn contacts(table: &Table) -> Contacts {
    Contacts {
        shipper: text(table, "shipper"),
        supplier: text(table, "supplier"),
        supervisor: text(table, "supervisor"),
    }
}

/// Lines of a bay's emergency card, in the order in which they are needed.
const EMERGENCY: [&str; 7] = ["call", "stop", "gas", "shower", "eyewash", "way_out", "first_aid"];

/// What a bay's emergency card says.
pub(super) fn emergency(table: &Table) -> Vec<(&'static str, String)> {
    EMERGENCY.into_iter().filter_map(|key| Some((key, text(table, key)?))).collect()
}

/// What a bay expects; `tanks` in the order of its own.
pub(super) fn of_bay(bay: &Table, contacts: &Contacts, tanks: Vec<TankExpected>) -> Expected {
    Expected {
        contacts: contacts.clone(),
        dew_point: Celsius(bay.number("dew_point")),
        gas_relief: bay.table("supply").optional_number("relief").map(GaugePa),
        tanks,
    }
}

/// What a tank expects of a load of its product.
pub(super) fn of_tank(draft: &mut Draft, table: &Table, product: Option<&ProductTable>) -> TankExpected {
    let [temperature_low, temperature_high] = product.map_or([None, None], |p| p.temperatures);
    TankExpected {
        product: product.map_or_else(String::new, |p| p.name.clone()),
        shipping_description: product.and_then(|p| p.shipping_description.clone()),
        marking: product.and_then(|p| p.marking.clone()),
        temperature_low,
        temperature_high,
        shutoff_tested: day(draft, table, "shutoff_tested"),
        shutoff_test_days: u16::try_from(table.integer("shutoff_test_days")).unwrap_or(u16::MAX),
    }
}

/// Coldest and warmest load that is taken.
pub(super) fn temperatures(draft: &mut Draft, table: &Table) -> [Option<Celsius>; 2] {
    let [low, high] = ["temperature_low", "temperature_high"].map(|key| table.optional_number(key));
    if let (Some(low), Some(high)) = (low, high)
        && high <= low
    {
        draft
            .fault(table.spot("temperature_high"), table.path("temperature_high"), "is not above temperature_low")
            .act("correct one of the two, or its unit");
    }
    [low, high].map(|limit| limit.map(Celsius))
}

/// The beginning of a day, UTC.
fn day(draft: &mut Draft, table: &Table, key: &str) -> Option<WallTime> {
    let written = table.optional_text(key)?;
    let zoned = written.parse::<jiff::civil::Date>().and_then(|date| {
        let midnight = date.to_datetime(jiff::civil::Time::midnight());
        jiff::tz::TimeZone::UTC.to_timestamp(midnight)
    });
    let at = zoned.ok().and_then(|day| i64::try_from(day.as_nanosecond()).ok());
    if at.is_none() {
        draft
            .fault(table.spot(key), table.path(key), format!("{written:?} is no day"))
            .allowed("year-month-day: 2026-08-20")
            .act("write the day of the last test off its own record");
    }
    at.map(WallTime)
}

/// The further papers of a delivery.
pub(super) fn papers(draft: &mut Draft, table: &Table) -> Papers {
    let (seals, trailer) = (table.table("seals"), table.table("trailer"));
    let (certificate, shipping, carrier) =
        (table.table("certificate"), table.table("shipping"), table.table("carrier"));
    let list = |key| seals.texts(key).iter().map(|(seal, _)| seal.clone()).collect();
    let papers = Papers {
        seals_expected: list("expected"),
        seals_found: list("found"),
        seals_unbroken: seals.is_written("unbroken").then(|| seals.flag("unbroken")),
        certificate: text(certificate, "number"),
        properties: certificate.tables("property").iter().map(|t| property(draft, t)).collect(),
        shipping_description: text(shipping, "description"),
        marking_found: text(shipping, "marking_found"),
        product_tag: text(trailer, "product_tag"),
        carrier: text(carrier, "name"),
        driver: text(carrier, "driver"),
        pressure_found: trailer.optional_number("pressure_found").map(GaugePa),
        temperature_found: trailer.optional_number("temperature_found").map(Celsius),
    };
    super::site::unlike(draft, certificate.tables("property"), "name", str::to_lowercase);
    papers
}

fn property(draft: &mut Draft, table: &Table) -> Property {
    let (low, high) = (table.optional_number("low"), table.optional_number("high"));
    if let (Some(low), Some(high)) = (low, high)
        && high < low
    {
        draft.finding(table.spot("high"), table.path("high"), OfProduct::HighBelowLow { high, low });
    }
    Property {
        name: table.text("name").to_owned(),
        value: table.optional_number("value"),
        unit: table.text("unit").to_owned(),
        low,
        high,
    }
}
