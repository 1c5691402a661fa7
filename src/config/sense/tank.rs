//! Tanks: room between the levels, size against a load.

use super::{USUAL_LOAD_M3, Whole, lightest, usual_rate};
use crate::config::amount::short;
use crate::config::fault::Draft;
use crate::config::walk::Table;
use crate::engine::settings::TankSetup;
use crate::engine::witness::geometry;
use crate::units::Metre;

/// Two levels are no less apart than what runs in during this time, s, or the response time, or this rise, m, whichever is
/// most. The project's own rule, in the words of the published overfill vocabulary (API Std 2350): 5 minutes or 75 mm. It
/// cannot be tuned away: a site file that breaks it is refused.
const STEP_S: f64 = 300.0;
/// See above.
const STEP_M: f64 = 0.075;

/// A tank that holds less below its working level than the smallest usual load, m3 (assumption).
const WORKING_LEAST_M3: f64 = 10.0;

/// A usual load raises the level by no less, m: 20 times what an installed gauge may be off, 5 mm (assumption).
const RISE_LEAST_M: f64 = 0.1;

/// Looks at the tank of that index.
pub(super) fn look(draft: &mut Draft, table: &Table, whole: &Whole<'_>, index: usize) {
    let Some((tank, product)) = whole.tanks.get(index) else { return };
    let fits = size(draft, table, tank);
    levels(draft, table, whole, (tank, *product), fits);
    let filled = whole.bays.iter().any(|bay| bay.settings.tanks.iter().any(|t| t.name == tank.name));
    if !filled {
        draft
            .warn(table.at(), table.path(""), format!("no bay fills tank {:?}", tank.name))
            .act("name it in the tanks of its bay, or take the table out");
    }
    if !table.is_written("draw_off") {
        draft
            .warn(table.at(), table.path("draw_off"), "is not declared: the tank level is a doubtful witness")
            .allowed("declared_zero, measured, unknown")
            .act("say what leaves the tank while a load comes in; unknown only where nobody can say");
    }
}

/// Rise of level, m, of what runs in during `s` at `rate`; NaN where the tank's surface there is not known.
fn rise_m(tank: &TankSetup, level: Metre, density: f64, rate: f64, s: f64) -> f64 {
    geometry::area(&tank.geometry, level).map_or(f64::NAN, |area_m2| rate * s / density / area_m2)
}

/// Room between the levels; of a tank whose size is doubted (and said to be) only what could not be acted upon at all.
fn levels(draft: &mut Draft, table: &Table, whole: &Whole<'_>, (tank, product): (&TankSetup, usize), fits: bool) {
    let density = lightest(whole.products.get(product)).0;
    let filled_by = || whole.bays.iter().filter(|bay| bay.settings.tanks.iter().any(|t| t.name == tank.name));
    // Bays that share a tank may fill it at one time.
    let rate: f64 = filled_by().map(usual_rate).sum();
    let response_s = filled_by().map(|bay| bay.settings.limits.response_time_s).fold(0.0, f64::max);
    let steps = [
        ("working", "high_high", tank.working, tank.high_high),
        ("high_high", "critical", tank.high_high, tank.critical),
    ];
    for (lower, upper, low, high) in steps {
        let step_m = high.0 - low.0;
        let rise = |s| rise_m(tank, low, density, rate, s);
        let (respond_m, least_m) = (rise(response_s), STEP_M.max(rise(STEP_S)).max(rise(response_s)));
        let what = format!("{} m is {step_m:.3} m above {lower}", short(high.0));
        let what = if step_m < respond_m { format!("{what}: it is reached before anybody has acted") } else { what };
        if step_m < least_m && (fits || step_m < respond_m) {
            draft
                .fault(table.spot(upper), table.path(upper), what)
                .allowed(format!(
                    "at least {least_m:.3} m above {lower}: 75 mm, or what {} kg/s bring in 5 min or in {} s of \
                     response_time, whichever is most",
                    short(rate),
                    short(response_s)
                ))
                .act("set the levels apart, so that there is time to act between them; or correct bay.limits.response_time or its unit");
        }
    }
}

/// Whether one load fits the tank and shows in it.
fn size(draft: &mut Draft, table: &Table, tank: &TankSetup) -> bool {
    let shape = ["diameter", "strapping_file", "strapping"].into_iter().find(|key| table.is_written(key)).unwrap_or("");
    let working_m3 = geometry::volume(&tank.geometry, tank.working).map_or(f64::NAN, |v| v.0);
    if working_m3 < WORKING_LEAST_M3 {
        draft
            .warn(
                table.spot(shape),
                table.path(shape),
                format!("the tank holds {} m3 below working: less than one usual load", short(working_m3)),
            )
            .allowed(format!("usually {WORKING_LEAST_M3} m3 and more"))
            .act("look whether a radius stands for the diameter, or another unit was meant");
    }
    let area_m2 = geometry::area(&tank.geometry, tank.working).unwrap_or(f64::NAN);
    let rise_m = USUAL_LOAD_M3 / area_m2;
    if rise_m < RISE_LEAST_M {
        draft
            .warn(
                table.spot(shape),
                table.path(shape),
                format!("a load of {USUAL_LOAD_M3} m3 raises the level by {} m only", short(rise_m)),
            )
            .allowed(format!("{RISE_LEAST_M} m and more, for the level to say how much came in"))
            .act("look whether another unit was meant; in so wide a tank the level is a poor witness");
    }
    !(working_m3 < WORKING_LEAST_M3 || rise_m < RISE_LEAST_M)
}
