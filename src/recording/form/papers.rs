//! Forms of a delivery's further papers, of what the site expects, and of the checks.

use super::{Stored, mirror};
use crate::engine::checks::{Check, CheckId, CheckState, Checks, Paper, Wanted, Why};
use crate::engine::papers::{Contacts, Expected, Papers, Property, TankExpected};
use crate::time::WallTime;
use crate::units::{Celsius, GaugePa};

mirror! {
    struct PapersForm of Papers {
        seals_expected: Vec<String>,
        seals_found: Vec<String>,
        seals_unbroken: Option<bool>,
        certificate: Option<String>,
        properties: Vec<Property>,
        shipping_description: Option<String>,
        marking_found: Option<String>,
        product_tag: Option<String>,
        carrier: Option<String>,
        driver: Option<String>,
        pressure_found: Option<GaugePa> = "pressure_found_pa_gauge",
        temperature_found: Option<Celsius> = "temperature_found_c",
    }

    struct PropertyForm of Property {
        name: String,
        value: Option<f64>,
        unit: String,
        low: Option<f64>,
        high: Option<f64>,
    }

    struct ExpectedForm of Expected {
        contacts: Contacts,
        dew_point: Celsius = "dew_point_c",
        gas_relief: Option<GaugePa> = "gas_relief_pa_gauge",
        tanks: Vec<TankExpected>,
    }

    struct ContactsForm of Contacts {
        shipper: Option<String>,
        supplier: Option<String>,
        supervisor: Option<String>,
    }

    struct TankExpectedForm of TankExpected {
        product: String,
        shipping_description: Option<String>,
        marking: Option<String>,
        temperature_low: Option<Celsius> = "temperature_low_c",
        temperature_high: Option<Celsius> = "temperature_high_c",
        shutoff_tested: Option<WallTime> = "shutoff_tested_unix_ns",
        shutoff_test_days: u16,
    }

    struct CheckForm of Check { id: CheckId, state: CheckState, by_person: bool, why: Vec<Why> }

    enum CheckIdForm of CheckId {
        Product,
        ShippingDescription,
        HazardMarking,
        Certificate,
        SealNumbers,
        SealsUnbroken,
        CarrierAndDriver,
        Plate,
        PlateReadBack,
        LoadFits,
        TrailerPressure,
        TrailerTemperature,
        PadGas,
        DewPoint,
        GasRelief,
        ShutoffTested,
        ShutoffInService,
        ConnectionIdentified,
        EmergencyEquipment,
    }

    enum CheckStateForm of CheckState { Fails, NotYet, Met }

    enum WhyForm of Why {
        NotWritten(Paper),
        NotSet(Wanted),
        Found(String),
        Differs { expected: String, found: String },
        Pressure { pa_gauge: f64, most_pa_gauge: f64 },
        Temperature { c: f64, low_c: Option<f64>, high_c: Option<f64> },
        NoValue(String),
        NoLimits(String),
        Property(Property),
        Properties(u16),
        Room { kg: f64, opening_kg: f64 },
        MarginUnknown,
        NotRead(u16),
        Tested { days: i64, most_days: u16 },
        SwitchTripped,
        Bypassed,
        NotEntered,
        Entered { who: String, at: WallTime = "at_unix_ns", note: String },
    }

    enum PaperForm of Paper {
        ProductTag,
        ShippingDescription,
        Marking,
        Certificate,
        SealsExpected,
        SealsFound,
        Carrier,
        Driver,
        PressureFound,
        TemperatureFound,
    }

    enum WantedForm of Wanted {
        Specification,
        Mawp,
        Relief,
        HoseRating,
        LineRating,
        ConnectionRating,
        ShippingDescription,
        Marking,
        TemperatureLimits,
        GasRelief,
        ShutoffTested,
    }
}

impl Stored for Checks {
    type Form = Vec<CheckForm>;
    fn to_form(&self) -> Self::Form {
        self.iter().map(Check::to_form).collect()
    }
    fn from_form(form: Self::Form) -> Self {
        form.into_iter().map(Check::from_form).collect()
    }
}
