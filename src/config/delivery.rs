//! From the walked delivery file to the engine's delivery, checked against the site.

use super::fault::Draft;
use super::site::find;
use super::walk::{Table, walk};
use super::{BaySetup, DeliveryFile, ProductTable, Site, keys};
use crate::engine::settings::{DeliverySetup, LineSetup, OnBoard, Plate, Product};
use crate::engine::witness::{density, geometry};
use crate::finding::{OfLoad, OfProduct, Thing, Whole};
use crate::units::{Celsius, GaugePa, Kg, M3};
use std::path::Path;

/// A part may exceed the whole by this many standard uncertainties of the whole.
const PART_U: f64 = 3.0;

/// A delivery out of a text. `None` where a fault was noted.
pub(super) fn delivery(draft: &mut Draft, path: &Path, text: String, site: &Site) -> Option<DeliveryFile> {
    let file = draft.open(path.display().to_string(), text.clone());
    let table = walk(draft, file, keys::DELIVERY);
    if draft.has_syntax_fault() {
        return None;
    }
    let bays = site.bays.iter().map(|bay| bay.settings.bay.as_str());
    let bay = find(draft, (table.spot("bay"), table.path("bay")), table.text("bay"), Thing::Bay, bays);
    let (tank, held) = bay.map(|bay| destination(draft, &table, site, &site.bays[bay])).unwrap_or_default();
    let product = held.map(|held| super::density::of_this_load(draft, table.table("density"), held));
    let plate = plate(draft, table.table("plate"));
    let setup = DeliverySetup {
        id: table.text("id").to_owned(),
        leg: u8::try_from(table.table("leg").optional_integer("number").unwrap_or(1)).unwrap_or(1),
        tank,
        product: product?,
        planned: Kg(table.number("planned")),
        on_board: on_board(draft, table.table("leg")),
        ticket_net: Kg(table.table("ticket").number("net")),
        ticket_u: Kg(table.table("ticket").number("u")),
        trailer_volume: M3(table.table("trailer").number("volume")),
        trailer_volume_u: table.table("trailer").number("volume_u"),
        plate,
        papers: super::expected::papers(draft, &table),
    };
    let line = bay.and_then(|bay| line(table.table("line"), &site.bays[bay].settings.line));
    weighed(draft, table.table("ticket"));
    if let Some(bay) = bay {
        fits(draft, &table, &setup, &site.bays[bay]);
        super::sense::papers(draft, &table, &setup, &site.bays[bay]);
    }
    let written = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let bay = bay.filter(|_| draft.is_clean())?;
    Some(DeliveryFile { bay, setup, line, texts: vec![(written, text)], warnings: draft.found() })
}

/// What a delivery file says by itself, where there is no sound site to hold it against.
pub(super) fn alone(draft: &mut Draft, path: &Path, text: String) {
    let file = draft.open(path.display().to_string(), text);
    let table = walk(draft, file, keys::DELIVERY);
    if !draft.has_syntax_fault() {
        plate(draft, table.table("plate"));
        super::expected::papers(draft, &table);
    }
}

/// The tank (index in the bay) and the product it holds.
fn destination(draft: &mut Draft, table: &Table, site: &Site, bay: &BaySetup) -> (u16, Option<Product>) {
    let names = bay.settings.tanks.iter().map(|tank| tank.name.as_str());
    let tank = find(draft, (table.spot("tank"), table.path("tank")), table.text("tank"), Thing::TankOfThatBay, names);
    let Some(tank) = tank else { return (0, None) };
    let Some(held) = bay.products.get(tank).and_then(|&p| site.products.get(p)) else { return (0, None) };
    let product = table.text("product");
    if !product.is_empty() && product != held.name {
        let (product, tank) = (product.to_owned(), table.text("tank").to_owned());
        let other = OfProduct::Other { product, tank, held: held.name.clone() };
        draft.finding(table.spot("product"), table.path("product"), other);
    }
    let load = Celsius(table.number("load_temperature"));
    (u16::try_from(tank).unwrap_or_default(), Some(held.loaded_at(load)))
}

/// The line that this load comes through; `None`: the site's own.
fn line(table: &Table, of_site: &LineSetup) -> Option<LineSetup> {
    let (upstream, downstream) = (table.optional_number("upstream"), table.optional_number("downstream"));
    (upstream.is_some() || downstream.is_some()).then(|| LineSetup {
        upstream: upstream.map_or(of_site.upstream, M3),
        downstream: downstream.map_or(of_site.downstream, M3),
        ..of_site.clone()
    })
}

/// What is on board for this leg. After the first it is no longer what the ticket says, and nothing else knows it.
fn on_board(draft: &mut Draft, leg: &Table) -> Option<OnBoard> {
    let [mass, u] = ["on_board", "on_board_u"].map(|key| leg.optional_number(key).map(Kg));
    let later = leg.optional_integer("number").is_some_and(|number| number > 1);
    for (key, other, value) in [("on_board", "on_board_u", mass), ("on_board_u", "on_board", u)] {
        let asked = later || leg.is_written(other);
        if asked && value.is_none() && !leg.is_written(key) {
            draft.finding(leg.at(), leg.path(key), OfLoad::OnBoardMissing);
        }
    }
    Some(OnBoard { mass: mass?, u: u? })
}

/// Gross less tare is net, as far as the scale that printed them is sure of it.
fn weighed(draft: &mut Draft, ticket: &Table) {
    let (Some(gross), Some(tare)) = (ticket.optional_number("gross"), ticket.optional_number("tare")) else {
        for (there, missing) in [("gross", "tare"), ("tare", "gross")] {
            if ticket.is_written(there) && !ticket.is_written(missing) {
                draft.finding(ticket.spot(there), ticket.path(missing), OfLoad::WeighedAlone { there });
            }
        }
        return;
    };
    let (net, u) = (ticket.number("net"), ticket.number("u"));
    if (gross - tare - net).abs() > u {
        let differs = OfLoad::NetIsNotTheDifference { net_kg: net, difference_kg: gross - tare, u_kg: u };
        draft.finding(ticket.spot("net"), ticket.path("net"), differs);
    }
}

impl ProductTable {
    /// The engine's product for a load of that temperature.
    #[must_use]
    pub fn loaded_at(&self, load_temperature: Celsius) -> Product {
        Product {
            name: self.name.clone(),
            density: self.density.clone(),
            density_u: self.density_u,
            viscosity: self.viscosity.clone(),
            confirmed: self.confirmed,
            source: self.source.clone(),
            load_temperature,
        }
    }
}

fn plate(draft: &mut Draft, table: &Table) -> Plate {
    let pressure = |key| table.optional_number(key).map(GaugePa);
    let plate = Plate {
        specification: table.optional_text("specification").map(str::to_owned),
        mawp: pressure("mawp"),
        relief_from: pressure("relief_from"),
        relief_to: pressure("relief_to"),
    };
    // A relief valve set below the MAWP would open in ordinary use; DOT 406, 407 and 412 start to discharge at
    // 120 % of MAWP or more (49 CFR 178.345-10(d)), older trailers at MAWP.
    for (lower, upper) in [("mawp", "relief_from"), ("mawp", "relief_to"), ("relief_from", "relief_to")] {
        if let (Some(low), Some(high)) = (table.optional_number(lower), table.optional_number(upper))
            && high < low
        {
            draft.finding(table.spot(upper), table.path(upper), OfLoad::BelowOnPlate { lower });
        }
    }
    plate
}

/// What the trailer, or its compartment, holds for this leg, and where that stands in the papers.
fn loaded<'a>(table: &'a Table, setup: &DeliverySetup) -> (&'a Table, &'static str, OnBoard) {
    let ticket = OnBoard { mass: setup.ticket_net, u: setup.ticket_u };
    match setup.on_board {
        Some(on_board) => (table.table("leg"), "on_board", on_board),
        None => (table.table("ticket"), "net", ticket),
    }
}

/// The load fits trailer and tank, and its density is known.
fn fits(draft: &mut Draft, table: &Table, setup: &DeliverySetup, bay: &BaySetup) {
    let load = setup.product.load_temperature;
    let Some(density) = density::density(&setup.product, load) else {
        if load.0.is_finite() && setup.product.density.len() > 1 {
            let ends = setup.product.density.first().zip(setup.product.density.last());
            let (low_c, high_c) = ends.map_or((0.0, 0.0), |(first, last)| (first.0.0, last.0.0));
            let off = OfProduct::OffTable { low_c, high_c };
            draft.finding(table.spot("load_temperature"), table.path("load_temperature"), off);
        }
        return;
    };
    let (of, key, load) = loaded(table, setup);
    let load_m3 = load.mass.0 / density.0;
    if load_m3 > setup.trailer_volume.0 {
        let (trailer_m3, most_kg) = (setup.trailer_volume.0, setup.trailer_volume.0 * density.0);
        let above = OfLoad::AboveTrailer { load_m3, trailer_m3, most_kg, key: of.path(key) };
        draft.finding(of.spot(key), of.path(key), above);
    }
    let ticket = OnBoard { mass: setup.ticket_net, u: setup.ticket_u };
    let whole = if key == "net" { Whole::TicketNet } else { Whole::OnBoard };
    for (of, key, mass, most, whole) in
        [(table, "planned", setup.planned, load, whole), (of, key, load.mass, ticket, Whole::TicketNet)]
    {
        if mass.0 > most.mass.0 + PART_U * most.u.0 {
            let above = OfLoad::AboveWhole { whole, most_kg: most.mass.0, key: of.path(key) };
            draft.finding(of.spot(key), of.path(key), above);
        }
    }
    let Some(tank) = bay.settings.tanks.get(usize::from(setup.tank)) else { return };
    let below = geometry::volume(&tank.geometry, tank.high_high).map_or(f64::INFINITY, |v| v.0);
    if setup.planned.0 / density.0 > below {
        let above = OfLoad::AboveTank { tank: tank.name.clone(), most_kg: below * density.0 };
        draft.finding(table.spot("planned"), table.path("planned"), above);
    }
}
