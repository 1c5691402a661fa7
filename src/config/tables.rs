//! Files beside the site file: products and strapping tables.

use super::amount;
use super::fault::{Draft, Spot};
use super::keys::{self, Bounds};
use super::site::Read;
use super::walk::{Table, check_rising, walk};
use super::{FILE_MOST_BYTES, ProductTable};
use crate::units::{Celsius, KgPerM3, PaS, Quantity};
use std::path::Path;

/// The files that a site file names.
pub(super) struct Beside<'r> {
    /// Folder of the site file, to show where they are.
    pub folder: Option<&'r Path>,
    /// Reads one of them.
    pub read: Read<'r>,
    /// Every text so far, the site file's first.
    pub texts: Vec<(String, String)>,
}

impl Beside<'_> {
    /// Index of the draft's file for the name under `key`; `None` after a fault.
    pub fn open(&mut self, draft: &mut Draft, table: &Table, key: &str) -> Option<usize> {
        let name = table.optional_text(key)?;
        let shown = self.folder.map_or_else(|| Path::new(name).to_owned(), |folder| folder.join(name));
        let why = match (self.read)(name) {
            Ok(text) if text.len() > FILE_MOST_BYTES => format!("it is larger than {FILE_MOST_BYTES} bytes"),
            Ok(text) => {
                if self.texts.iter().all(|(known, _)| known != name) {
                    self.texts.push((name.to_owned(), text.clone()));
                }
                return Some(draft.open(shown.display().to_string(), text));
            }
            Err(why) => why.to_string(),
        };
        draft
            .fault(table.spot(key), table.path(key), format!("{name:?} cannot be read: {why}"))
            .act("give the path of a text file in UTF-8, as seen from the folder of this file");
        None
    }

    /// Index of the tank's product among those read so far.
    pub fn product(&mut self, draft: &mut Draft, table: &Table, products: &mut Vec<(String, ProductTable)>) -> usize {
        let name = table.text("product");
        if let Some(known) = products.iter().position(|(file, _)| file == name) {
            return known;
        }
        if let Some(file) = self.open(draft, table, "product") {
            products.push((name.to_owned(), product(draft, file)));
        }
        products.len().saturating_sub(1)
    }

    /// The tank's strapping table in SI; empty after a fault.
    pub fn strapping(&mut self, draft: &mut Draft, table: &Table) -> Vec<(f64, f64)> {
        self.open(draft, table, "strapping_file").map(|file| strapping(draft, file)).unwrap_or_default()
    }
}

/// A product out of the file of that index.
pub(super) fn product(draft: &mut Draft, file: usize) -> ProductTable {
    let table = walk(draft, file, keys::PRODUCT);
    let density = table.pairs("density").unwrap_or_default();
    super::sense::density(draft, table.spot("density"), &table.path("density"), density);
    if table.has("confirmed") && !table.flag("confirmed") {
        draft
            .warn(table.spot("confirmed"), table.path("confirmed"), "nobody has read the density table in its source")
            .act("put your supplier's table in, say where it comes from, and write confirmed = true");
    }
    ProductTable {
        name: table.text("name").to_owned(),
        density: density.iter().map(|&(t, d)| (Celsius(t), KgPerM3(d))).collect(),
        density_u: table.number("density_u"),
        viscosity: table.pairs("viscosity").unwrap_or_default().iter().map(|&(t, v)| (Celsius(t), PaS(v))).collect(),
        confirmed: table.flag("confirmed"),
        source: table.text("source").to_owned(),
        shipping_description: table.optional_text("shipping_description").map(str::to_owned),
        marking: table.optional_text("marking").map(str::to_owned),
        temperatures: super::expected::temperatures(draft, &table),
    }
}

const KEY: &str = "strapping_file";
const HEAD: &str = "level (mm),volume (m3)";

/// A strapping table as CSV: a first line that names both columns with their units, then a level and a volume
/// a line. Empty lines and lines that begin with # are passed over.
fn strapping(draft: &mut Draft, file: usize) -> Vec<(f64, f64)> {
    let text = draft.text(file).to_owned();
    let mut from = 0;
    let mut lines = Vec::new();
    for line in text.split_inclusive('\n') {
        let trimmed = line.trim();
        if !trimmed.is_empty() && !trimmed.starts_with('#') {
            lines.push((trimmed, Spot { file, span: Some(from..from + line.trim_end().len()) }));
        }
        from += line.len();
    }
    let whole = Spot { file, span: None };
    let Some(((head, at), rows)) = lines.split_first() else {
        draft.fault(&whole, KEY, "the table is empty").act(format!("begin with the line {HEAD}"));
        return Vec::new();
    };
    let units = head.split_once(',').and_then(|(l, v)| Some((column(l, "level")?, column(v, "volume")?)));
    let Some((level, volume)) = units else {
        draft.fault(at, KEY, "the first line does not name the two columns").allowed(HEAD).act(format!(
            "name the units in brackets; level: {}; volume: {}",
            amount::units(Quantity::Length),
            amount::units(Quantity::Volume)
        ));
        return Vec::new();
    };
    let levels = Bounds { quantity: Quantity::Length, low: 0.0, high: 40.0 };
    let volumes = Bounds { quantity: Quantity::Volume, low: 0.0, high: 1e5 };
    let mut read = Vec::new();
    for (row, spot) in rows {
        let Some((l, v)) = row.split_once(',') else {
            draft
                .fault(spot, KEY, "the line has no two columns")
                .act("write level, comma, volume; decimals with a point");
            continue;
        };
        let l = amount::value(draft, spot, KEY, &format!("{} {level}", l.trim()), levels);
        read.push((l, amount::value(draft, spot, KEY, &format!("{} {volume}", v.trim()), volumes), spot.clone()));
    }
    check_rising(draft, KEY, &whole, &read, true);
    read.into_iter().map(|(l, v, _)| (l, v)).collect()
}

/// The unit in the head of a column, e.g. `level (mm)`.
fn column<'t>(head: &'t str, name: &str) -> Option<&'t str> {
    head.trim().strip_prefix(name)?.trim().strip_prefix('(')?.strip_suffix(')')
}
