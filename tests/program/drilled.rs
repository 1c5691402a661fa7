//! A drill with its files in a folder of its own.

use brimwatch::config::{self, DeliveryFile, Site};
use brimwatch_simulator::drill::{Drill, readdress};
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT, SITE};
use std::path::{Path, PathBuf};

pub struct Drilled {
    pub drill: Drill,
    pub site: Site,
    pub delivery: DeliveryFile,
    pub site_file: PathBuf,
    pub delivery_file: PathBuf,
}

fn write(path: &Path, text: &str) {
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    std::fs::write(path, text).expect("a file");
}

fn load(site_file: &Path, delivery_file: &Path) -> (Site, DeliveryFile) {
    let site = config::load(site_file).unwrap_or_else(|faults| panic!("{faults}"));
    let delivery = config::load_delivery(delivery_file, &site).unwrap_or_else(|faults| panic!("{faults}"));
    (site, delivery)
}

/// Simulated devices that serve what the drill's site file says, at `speed` times real time.
pub async fn start(folder: &Path, speed: f64, seed: u64) -> Drilled {
    let (site_file, delivery_file) = (folder.join("site.toml"), folder.join("delivery.toml"));
    write(&folder.join(PRODUCT.0), PRODUCT.1);
    write(&delivery_file, DELIVERY);
    write(&site_file, SITE);
    let (site, delivery) = load(&site_file, &delivery_file);
    let drill = Drill::start(&site, std::slice::from_ref(&delivery), speed, seed).await.expect("free ports");
    write(&site_file, &readdress(SITE, &drill.addresses(), &[]));
    let (site, delivery) = load(&site_file, &delivery_file);
    Drilled { drill, site, delivery, site_file, delivery_file }
}
