//! What the papers of a delivery say beyond the load itself, and what the site expects of them.
//!
//! Nothing here has a default that could pass for an answer: what is not written is a check that is not yet made.

use crate::time::WallTime;
use crate::units::{Celsius, GaugePa};

/// The further papers of a delivery, as typed in when the trailer has arrived.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Papers {
    /// Numbers of the seals, as the shipping papers say.
    pub seals_expected: Vec<String>,
    /// Numbers of the seals, as read on the trailer.
    pub seals_found: Vec<String>,
    /// Whether every seal was found unbroken.
    pub seals_unbroken: Option<bool>,
    /// Number or name of the certificate of analysis.
    pub certificate: Option<String>,
    /// What it certifies.
    pub properties: Vec<Property>,
    /// Shipping description on the papers.
    pub shipping_description: Option<String>,
    /// Hazard marking as read on the trailer.
    pub marking_found: Option<String>,
    /// Product as the tag on the trailer's outlet says.
    pub product_tag: Option<String>,
    /// Who carries.
    pub carrier: Option<String>,
    /// Who drives.
    pub driver: Option<String>,
    /// Pressure on the trailer's own gauge at arrival.
    pub pressure_found: Option<GaugePa>,
    /// Temperature on the trailer's own thermometer at arrival.
    pub temperature_found: Option<Celsius>,
}

/// A property on a certificate of analysis, in the certificate's own unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Property {
    /// Its name.
    pub name: String,
    /// Its value; None: the certificate has none.
    pub value: Option<f64>,
    /// The unit of value and limits.
    pub unit: String,
    /// Lowest value that is taken.
    pub low: Option<f64>,
    /// Highest value that is taken.
    pub high: Option<f64>,
}

/// What the site expects of every delivery at a bay.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Whom to call.
    pub contacts: Contacts,
    /// Highest dew point of the pad gas.
    pub dew_point: Celsius,
    /// Setting of the gas supply's own relief valve; None: nobody has typed it in.
    pub gas_relief: Option<GaugePa>,
    /// For each tank, in the order of the settings.
    pub tanks: Vec<TankExpected>,
}

/// Whom to call when a check fails: names, places and numbers as the site writes them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Contacts {
    /// Who loaded the trailer.
    pub shipper: Option<String>,
    /// Who sold the product.
    pub supplier: Option<String>,
    /// Who decides on the site.
    pub supervisor: Option<String>,
}

/// What is expected of a load for one tank, and of the tank's own protection.
#[derive(Debug, Clone, PartialEq)]
pub struct TankExpected {
    /// Name of the product it holds.
    pub product: String,
    /// Shipping description of that product.
    pub shipping_description: Option<String>,
    /// Hazard marking of that product.
    pub marking: Option<String>,
    /// Coldest load that is taken.
    pub temperature_low: Option<Celsius>,
    /// Warmest load that is taken.
    pub temperature_high: Option<Celsius>,
    /// When the independent high-level shut-off was last tested: the beginning of that day, UTC.
    pub shutoff_tested: Option<WallTime>,
    /// A test older than this no longer counts, days.
    pub shutoff_test_days: u16,
}
