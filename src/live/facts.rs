//! What the page is told of a bay once: out of the site file, and no part of the engine's settings.

use crate::config::{BaySetup, signals};
use crate::page::feed::{Facts, PlaceSaid};
use crate::poll::registers::{DataType, Place, WordOrder};

/// Facts of a bay.
pub fn of_bay(setup: &BaySetup) -> Facts {
    let places = setup.settings.signals.iter().zip(&setup.places);
    Facts {
        emergency: setup.emergency.clone(),
        usual_pad_pa_gauge: setup.usual.pad.map(|pad| pad.0),
        usual_pad_band_pa_gauge: setup.usual.pad_band.map(|(low, high)| (low.0, high.0)),
        places: places.map(|(signal, place)| said(place, signals::unit_of(signal.kind))).collect(),
    }
}

fn said(place: &Place, unit: &'static str) -> PlaceSaid {
    let register = place.register;
    let name = |data: DataType| DataType::NAMED.into_iter().find(|(_, d)| *d == data).map_or("", |(name, _)| name);
    let order = match (register.count(), register.order) {
        (0 | 1, _) => "",
        (_, WordOrder::Abcd) => " ABCD",
        (_, WordOrder::Cdab) => " CDAB",
        (_, WordOrder::Badc) => " BADC",
        (_, WordOrder::Dcba) => " DCBA",
    };
    let bit = register.bit.map_or_else(String::new, |bit| format!(", bit {bit}"));
    PlaceSaid {
        function: register.function,
        address: register.address,
        count: register.count(),
        form: format!("{}{order}{bit}", name(register.data)),
        unit,
    }
}
