//! From the walked delivery file to the engine's delivery, checked against the site.

use super::fault::Draft;
use super::site::find;
use super::walk::{Table, walk};
use super::{BaySetup, DeliveryFile, ProductTable, Site, keys};
use crate::engine::settings::{DeliverySetup, LineSetup, OnBoard, Plate, Product};
use crate::engine::witness::{density, geometry};
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
    let bay = find(draft, (table.spot("bay"), table.path("bay")), table.text("bay"), "bay", bays);
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
    let tank = find(draft, (table.spot("tank"), table.path("tank")), table.text("tank"), "tank of that bay", names);
    let Some(tank) = tank else { return (0, None) };
    let Some(held) = bay.products.get(tank).and_then(|&p| site.products.get(p)) else { return (0, None) };
    let product = table.text("product");
    if !product.is_empty() && product != held.name {
        draft
            .fault(
                table.spot("product"),
                table.path("product"),
                format!("{product:?} is not what tank {:?} holds", table.text("tank")),
            )
            .allowed(held.name.clone())
            .act("stop and clear up which of the two is wrong before anything is connected");
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
            draft.fault(leg.at(), leg.path(key), "is missing: a leg of its own needs what is on board before it").act(
                "take both off the record of the leg before it, which prints them; for a compartment, off its papers",
            );
        }
    }
    Some(OnBoard { mass: mass?, u: u? })
}

/// Gross less tare is net, as far as the scale that printed them is sure of it.
fn weighed(draft: &mut Draft, ticket: &Table) {
    let (Some(gross), Some(tare)) = (ticket.optional_number("gross"), ticket.optional_number("tare")) else {
        for (there, missing) in [("gross", "tare"), ("tare", "gross")] {
            if ticket.is_written(there) && !ticket.is_written(missing) {
                draft
                    .fault(ticket.spot(there), ticket.path(missing), format!("is missing: {there} stands alone"))
                    .act("write both as printed, or neither");
            }
        }
        return;
    };
    let (net, u) = (ticket.number("net"), ticket.number("u"));
    if (gross - tare - net).abs() > u {
        draft
            .fault(
                ticket.spot("net"),
                ticket.path("net"),
                format!("is {net:.0} kg, but gross less tare is {:.0} kg", gross - tare),
            )
            .allowed(format!("within {u:.0} kg of each other, the ticket's u"))
            .act("read the ticket again: gross, tare, net and their units");
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
            draft
                .fault(table.spot(upper), table.path(upper), format!("is below {lower}"))
                .allowed("mawp, relief_from and relief_to in rising order")
                .act("read the plate again, with its units");
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
            let (low, high) = ends.map_or((0.0, 0.0), |(first, last)| (first.0.0, last.0.0));
            draft
                .fault(
                    table.spot("load_temperature"),
                    table.path("load_temperature"),
                    "is off the product's density table",
                )
                .allowed(format!("{low} to {high} C"))
                .act("correct the temperature or its unit, or extend the product's table");
        }
        return;
    };
    let (of, key, load) = loaded(table, setup);
    let load_m3 = load.mass.0 / density.0;
    if load_m3 > setup.trailer_volume.0 {
        let what = format!("the load takes {load_m3:.1} m3, more than the trailer's {:.1} m3", setup.trailer_volume.0);
        draft
            .fault(of.spot(key), of.path(key), what)
            .allowed(format!("up to {:.0} kg", setup.trailer_volume.0 * density.0))
            .act(format!("correct {} or trailer.volume, or their units", of.path(key)));
    }
    let ticket = OnBoard { mass: setup.ticket_net, u: setup.ticket_u };
    let (than, whole) =
        if key == "net" { ("was weighed in", "the ticket's net") } else { ("is on board", "leg.on_board") };
    for (of, key, mass, most, than, whole) in [
        (table, "planned", setup.planned, load, than, whole),
        (of, key, load.mass, ticket, "was weighed in", "the ticket's net"),
    ] {
        if mass.0 > most.mass.0 + PART_U * most.u.0 {
            draft
                .fault(of.spot(key), of.path(key), format!("is more than {than}"))
                .allowed(format!("up to {:.0} kg, {whole}", most.mass.0))
                .act(format!(
                    "correct {} or {}, or their units",
                    of.path(key),
                    whole.replace("the ticket's net", "ticket.net")
                ));
        }
    }
    let Some(tank) = bay.settings.tanks.get(usize::from(setup.tank)) else { return };
    let below = geometry::volume(&tank.geometry, tank.high_high).map_or(f64::INFINITY, |v| v.0);
    if setup.planned.0 / density.0 > below {
        draft
            .fault(
                table.spot("planned"),
                table.path("planned"),
                format!("is more than tank {:?} holds when empty", tank.name),
            )
            .allowed(format!("up to {:.0} kg below high_high", below * density.0))
            .act("correct planned or tank, or its unit");
    }
}
