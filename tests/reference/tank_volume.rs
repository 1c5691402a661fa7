//! Tank volume, upright and strapped, against the library fluids and `numpy.interp`.

use super::{ask, assert_close};
use brimwatch::engine::settings::TankGeometry;
use brimwatch::engine::witness::geometry::volume;
use brimwatch::units::{M3, Metre};
use serde::Deserialize;

#[derive(Deserialize)]
struct Asked {
    upright: Vec<Upright>,
    strapped: Vec<Strapped>,
}

#[derive(Deserialize)]
struct Upright {
    diameter_m: f64,
    height_m: f64,
    level_m_volume_m3: Vec<(f64, f64)>,
}

#[derive(Deserialize)]
struct Strapped {
    tank: String,
    table_m_m3: Vec<(f64, f64)>,
    read: Vec<Read>,
}

#[derive(Deserialize)]
struct Read {
    level_m: f64,
    exact_m3: f64,
    numpy_m3: f64,
    bound_m3: f64,
}

fn volume_m3(geometry: &TankGeometry, level_m: f64) -> f64 {
    volume(geometry, Metre(level_m)).unwrap_or_else(|| panic!("no volume at {level_m} m")).0
}

#[test]
fn volumes_are_those_of_fluids() {
    let asked: Asked = ask("tank_volume.py");

    let mut pairs = 0;
    for shell in asked.upright {
        let geometry =
            TankGeometry::VerticalCylinder { diameter: Metre(shell.diameter_m), height: Metre(shell.height_m) };
        for (level, expected) in shell.level_m_volume_m3 {
            let what = format!("upright {} x {} m at {level} m", shell.diameter_m, shell.height_m);
            assert_close(volume_m3(&geometry, level), expected, 1e-12, what);
            pairs += 1;
        }
    }
    assert!(pairs >= 100, "{pairs} upright pairs");

    let mut pairs = 0;
    for tank in asked.strapped {
        let geometry = TankGeometry::Strapping(tank.table_m_m3.iter().map(|&(l, v)| (Metre(l), M3(v))).collect());
        let full_m3 = tank.table_m_m3.last().expect("a table").1;
        for read in tank.read {
            let (got, what) = (volume_m3(&geometry, read.level_m), format!("{} at {} m", tank.tank, read.level_m));
            assert_close(got, read.numpy_m3, 1e-12, &what);
            // The integrals behind fluids' heads are good to about 1e-9 of the tank.
            let off = (got - read.exact_m3).abs();
            assert!(off <= read.bound_m3 + 1e-9 * full_m3, "{what}: off by {off:e} m3, bound {:e}", read.bound_m3);
            pairs += 1;
        }
    }
    assert!(pairs >= 100, "{pairs} strapped pairs");
}
