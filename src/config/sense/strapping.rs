//! Tables that are read by straight lines: what betrays a wrong row or a wrong unit.

use crate::config::amount::short;
use crate::config::fault::{Draft, Spot};

/// A step of level so many times the usual one is a gap.
const GAP: f64 = 4.0;

/// Fewer rows than this say nothing about what step is usual.
const ROWS_LEAST: usize = 5;

/// Between rows in the middle of a tank the free surface changes by less than this factor: a horizontal cylinder's by 1.2
/// from a tenth of its height to the next.
const JUMP: f64 = 1.5;

/// Near its ends a dished or conical bottom changes it faster: a cone's volume grows with the cube of the level, by 1, 7
/// and 19 parts over three equal steps.
const JUMP_AT_ENDS: f64 = 8.0;

/// Part of the table's height that counts as an end.
const END: f64 = 0.2;

/// Level and volume, m and m3, each with its place.
type Rows = [(f64, f64, Spot)];

/// A strapping table whose rows rise: no step much longer than the others, no jump of the free surface.
pub(in crate::config) fn strapping(draft: &mut Draft, key: &str, rows: &Rows) {
    let rising = rows.windows(2).all(|pair| pair[1].0 > pair[0].0 && pair[1].1 > pair[0].1);
    if !rising || rows.len() < 2 {
        return; // has been said, or is not known
    }
    gaps(draft, key, rows);
    jumps(draft, key, rows);
}

fn gaps(draft: &mut Draft, key: &str, rows: &Rows) {
    let mut steps: Vec<f64> = rows.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    if steps.len() + 1 < ROWS_LEAST {
        return;
    }
    steps.sort_by(f64::total_cmp);
    let usual = steps[steps.len() / 2];
    for pair in rows.windows(2) {
        let step = pair[1].0 - pair[0].0;
        if step > GAP * usual {
            let (low, high, step, usual) = (short(pair[0].0), short(pair[1].0), short(step), short(usual));
            draft
                .warn(
                    &pair[1].2,
                    key,
                    format!("a gap: no row between {low} m and {high} m, {step} m where the usual step is {usual} m"),
                )
                .act("put the missing rows in; between rows the tank is taken for straight");
        }
    }
}

/// The free surface in a row's step is volume over level; it changes little from one step to the next.
fn jumps(draft: &mut Draft, key: &str, rows: &Rows) {
    let (bottom, top) = (rows[0].0, rows[rows.len() - 1].0);
    let share = |level: f64| (level - bottom) / (top - bottom);
    for three in rows.windows(3) {
        let area = |a: &(f64, f64, Spot), b: &(f64, f64, Spot)| (b.1 - a.1) / (b.0 - a.0);
        let (below, above) = (area(&three[0], &three[1]), area(&three[1], &three[2]));
        let inside = share(three[0].0) >= END && share(three[2].0) <= 1.0 - END;
        let most = if inside { JUMP } else { JUMP_AT_ENDS };
        if (above / below).max(below / above) > most {
            let (level, below, above) = (short(three[1].0), short(below), short(above));
            draft
                .warn(
                    &three[1].2,
                    key,
                    format!("the free surface jumps from {below} m2 below {level} m to {above} m2 above it"),
                )
                .allowed(format!("a factor of up to {most} from one step to the next"))
                .act("compare this row and the next with the tank's papers: a digit, or the unit from here on");
        }
    }
}

/// Liquids expand by 0.01 to 0.2 % per K, 1/K: water at 20 C by 0.02 %, light hydrocarbons by 0.15 % (CRC Handbook;
/// wide enough for both).
const EXPANSION: (f64, f64) = (1e-4, 2e-3);

/// A density table, C and kg/m3: it falls as liquids expand.
pub(in crate::config) fn density(draft: &mut Draft, spot: &Spot, key: &str, rows: &[(f64, f64)]) {
    for pair in rows.windows(2) {
        let ((cold, dense), (warm, light)) = (pair[0], pair[1]);
        let per_k = (dense - light) / dense / (warm - cold);
        if per_k < EXPANSION.0 || per_k > EXPANSION.1 {
            let (low, high) = (short(100.0 * EXPANSION.0), short(100.0 * EXPANSION.1));
            draft
                .warn(
                    spot,
                    key,
                    format!(
                        "from {} C to {} C the density falls by {} % per K",
                        short(cold),
                        short(warm),
                        short(100.0 * per_k)
                    ),
                )
                .allowed(format!("liquids expand by {low} to {high} % per K"))
                .act("compare the table with its source: a digit, a unit, or densities at one temperature for several");
        }
    }
}
