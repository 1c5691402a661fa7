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

fn load(site_file: &Path, delivery_files: &[PathBuf]) -> (Site, Vec<DeliveryFile>) {
    let site = config::load(site_file).unwrap_or_else(|faults| panic!("{faults}"));
    let load = |file: &PathBuf| config::load_delivery(file, &site).unwrap_or_else(|faults| panic!("{faults}"));
    let deliveries = delivery_files.iter().map(load).collect();
    (site, deliveries)
}

/// Simulated devices that serve what the drill's site file says, at `speed` times real time.
pub async fn start(folder: &Path, speed: f64, seed: u64) -> Drilled {
    let (drill, site, mut deliveries) = serve(folder, SITE, &[DELIVERY.to_owned()], speed, seed).await;
    let (site_file, delivery_file) = (folder.join("site.toml"), folder.join("delivery-0.toml"));
    Drilled { drill, site, delivery: deliveries.remove(0), site_file, delivery_file }
}

/// The same for any site and any papers.
pub async fn serve(
    folder: &Path,
    site_text: &str,
    papers: &[String],
    speed: f64,
    seed: u64,
) -> (Drill, Site, Vec<DeliveryFile>) {
    write(&folder.join(PRODUCT.0), PRODUCT.1);
    let site_file = folder.join("site.toml");
    write(&site_file, site_text);
    let files: Vec<PathBuf> = (0..papers.len()).map(|i| folder.join(format!("delivery-{i}.toml"))).collect();
    for (file, text) in files.iter().zip(papers) {
        write(file, text);
    }
    let (site, deliveries) = load(&site_file, &files);
    let drill = Drill::start(&site, &deliveries, speed, seed).await.expect("free ports");
    write(&site_file, &readdress(site_text, &drill.addresses(), &[]));
    let (site, deliveries) = load(&site_file, &files);
    (drill, site, deliveries)
}
