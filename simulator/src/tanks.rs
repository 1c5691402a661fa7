//! Tanks that several bays fill: each plant stands in what the others bring, and one gauge shows it to all.

use crate::bay::SimulatedBay;
use crate::scenario::{DELIVERY, SITE};
use brimwatch::config::{DeliverySetup, Settings};

/// Which bays fill one tank.
#[derive(Debug, Clone)]
pub struct Tanks {
    /// For each bay the name of the tank its delivery goes to, and its index in that bay's settings.
    filled: Vec<Option<(String, u16)>>,
}

impl Tanks {
    /// Every bay with its delivery.
    #[must_use]
    pub fn new<'a>(bays: impl IntoIterator<Item = (&'a Settings, Option<&'a DeliverySetup>)>) -> Tanks {
        let filled = |(settings, delivery): (&Settings, Option<&DeliverySetup>)| {
            delivery.map(|d| (settings.tanks[usize::from(d.tank)].name.clone(), d.tank))
        };
        Tanks { filled: bays.into_iter().map(filled).collect() }
    }

    /// After a scan: each plant's tank holds what the others have brought by now.
    pub fn settle(&self, bays: &mut [SimulatedBay]) {
        let brought_m3: Vec<f64> = bays.iter().map(|bay| bay.plant().received_m3()).collect();
        for (own, bay) in bays.iter_mut().enumerate() {
            let others = (0..self.filled.len()).filter(|&other| other != own && self.same(own, other));
            bay.set_beside_m3(others.map(|other| brought_m3[other]).sum());
        }
    }

    /// Whose instruments stand on a tank of a bay: bay and index of the tank there. The first that fills it has them
    /// all; a tank that nobody fills is the bay's own affair.
    #[must_use]
    pub fn gauge(&self, bay: usize, tank: u16, name: &str) -> (usize, u16) {
        let fills = |filled: &Option<(String, u16)>| filled.as_ref().filter(|(n, _)| n == name).map(|(_, t)| *t);
        let first = self.filled.iter().enumerate().find_map(|(other, filled)| Some((other, fills(filled)?)));
        first.unwrap_or((bay, tank))
    }

    fn same(&self, a: usize, b: usize) -> bool {
        let name = |bay: usize| self.filled[bay].as_ref().map(|(name, _)| name);
        name(a).is_some() && name(a) == name(b)
    }
}

/// The drill's own works with a second bay beside the first, both filling one tank that takes two loads.
#[must_use]
pub fn two_bays() -> String {
    let bay = SITE.find("[[bay]]").unwrap_or(SITE.len());
    let renamed = |text: &str| {
        let names = [
            ("\"Bay 1\"", "\"Bay 2\""),
            ("\"line meter\"", "\"second meter\""),
            ("\"truck scale\"", "\"second scale\""),
            ("127.0.0.1:1\"", "127.0.0.1:4\""),
            ("127.0.0.1:2\"", "127.0.0.1:5\""),
        ];
        names.iter().fold(text.to_owned(), |text, (first, second)| text.replace(first, second))
    };
    // The pads are measured apart, the tank once.
    let second = renamed(&SITE[bay..]).replace("address = 13", "address = 14");
    let tables = SITE.split_inclusive("\n[[").filter(|t| t.starts_with("device]]"));
    let own = tables.filter(|t| !t.contains("\"tank and gas\"")).map(|t| t.trim_end_matches("\n[["));
    let devices: String = own.map(|table| renamed(&format!("[[{table}\n"))).collect();
    let first = SITE.replace("diameter = \"2.9 m\"", "diameter = \"4.2 m\"");
    format!("{first}\n{devices}\n{second}")
}

/// The papers of the second bay's load.
#[must_use]
pub fn second_delivery() -> String {
    DELIVERY.replace("\"Bay 1\"", "\"Bay 2\"").replace("id = \"", "id = \"second-")
}
