//! What the line lets through at a driving pressure: fitted to this transfer, and followed to its end.
//!
//! The pad pushes against the tank's pressure and the difference of the liquid levels; as mass M moves, the trailer's level
//! falls and the tank's rises, by G(M) in pressure. With a flow q, in units of the first one q1, z = q/q1:
//!
//!   D = pad - tank + c0 - k G(M),   D = R ((1 - s) z + s z2)
//!
//! s is the share of the pressure that goes with the square of the flow (turbulent friction, fittings), 1 - s the share of
//! viscous (laminar) friction; c0 the heights that nobody has typed in; k how far the trailer's shape is not the assumed one.
//! ln R, s, c0 and k are fitted to the mean flows of half minutes by Gauss and Newton's method with what is known of them
//! beforehand as prior (JCGM 102:2011, 7; Bayesian least squares). What the line lets through wanders slowly: deviations of
//! consecutive half minutes are related, and only what is new in one counts (first-order autoregression).

use super::cross_check::Push;
use super::frame::Estimate;
use super::settings::{Drive, Settings};
use crate::time::EngineTime;
use std::sync::LazyLock;

/// Standard gravity, m/s2 (exact by definition, NIST SP 811).
const GRAVITY: f64 = 9.806_65;
/// Inner diameter of a trailer's shell, a lying cylinder, m (common practice, no source).
const SHELL_M: f64 = 1.7;
/// Engine time between points, s.
const POINT_S: f64 = 30.0;
/// Points kept: two hours; then every second one goes.
const POINTS: usize = 240;
/// Fewest points that make a fit.
const FIT_MIN: usize = 4;
/// A flow further off the last one than pressure and heads explain, as a logarithm: the line is another one now.
const OTHER_LINE: f64 = 0.05;
/// Parameters: ln R, s, c0, k.
const PARAMETERS: usize = 4;
/// What is known beforehand of s, where bore and viscosity are not, or the flow is neither laminar nor turbulent: mean and
/// standard uncertainty (assumption; of R nothing is).
const SHARE: (f64, f64) = (0.4, 0.3);
/// Flow is laminar below this Reynolds number and turbulent above the other (Crane TP-410, 1-4).
const LAMINAR: f64 = 2_000.0;
/// See above.
const TURBULENT: f64 = 4_000.0;
/// Velocity heads that entry, valve, meter, bends and exit cost a laminar flow, which has none else that go with its square,
/// and their standard uncertainty (assumption).
const LOCAL_LOSSES: (f64, f64) = (12.0, 8.0);
/// s in turbulent flow: friction goes with the flow to the power of 1.75 (Blasius: s = 0.75) to 2, fittings with its square.
const TURBULENT_SHARE: (f64, f64) = (0.9, 0.1);
/// What is known beforehand of k (assumption).
const SHAPE: (f64, f64) = (1.0, 0.3);
/// No trailer's heads fall more than twice that beyond the assumed ones, so that a noisy start cannot make the pad's whole
/// pressure go into them; a flow that does not fall has none.
const SHAPE_WITHIN: (f64, f64) = (0.0, SHAPE.0 + 2.0 * SHAPE.1);
/// What is new in a half minute counts no more than so many of its standard uncertainties: polls come late, people act.
const NEWS_SIGMAS: f64 = 3.0;
/// A trailer's outlet lies so much above the tank's datum, m, and its standard uncertainty (assumption); where the tank's
/// level is not known nothing is known of the heights, Pa.
const OUTLET_M: (f64, f64) = (1.0, 0.5);
/// See above.
const HEIGHTS_U_PA: f64 = 30_000.0;
/// Standard uncertainty of an outlet's height that the site file says: trailers stand higher or lower on their wheels, m (assumption).
const OUTLET_TYPED_U_M: f64 = 0.1;
/// The friction wanders by this share, and that lasts so long, s (assumptions).
const FRICTION_U: f64 = 0.004;
/// See above.
const FRICTION_S: f64 = 900.0;
/// A regulator wanders by this share of its pressure, and that lasts so long, s (assumptions).
pub(super) const REGULATOR_U: f64 = 0.015;
/// See above.
pub(super) const REGULATOR_S: f64 = 600.0;
/// A pad this much off its mean so far is another setting, as a share of it.
const OTHER_PAD: f64 = 0.06;
/// A pad that changed by less, as a share of it, needs no new look.
const SAME_PAD: f64 = 0.02;
/// Least driving pressure that is followed, Pa.
const LEAST_PA: f64 = 2_000.0;
/// Steps of mass to the end of the path.
const STEPS: usize = 24;
/// Iterations of a fit: it starts where the last one ended.
const ITERATIONS: usize = 3;
/// Points of the lying cylinder's table.
const SEGMENTS: usize = 64;

/// Heights of a lying cylinder's liquid, as a share of its diameter, at even shares of its volume.
#[derive(Debug)]
struct Lying([f64; SEGMENTS + 1]);

/// Worked out once: the same for every line, on every machine.
static LYING: LazyLock<Lying> = LazyLock::new(Lying::new);

impl Lying {
    /// V/V_full = (a - sin a cos a)/pi with a = acos(1 - 2 h/D) (area of a circular segment), turned by bisection.
    #[expect(clippy::cast_precision_loss, reason = "64")]
    fn new() -> Lying {
        let mut heights = [0.0; SEGMENTS + 1];
        for (i, height) in heights.iter_mut().enumerate() {
            let share = i as f64 / SEGMENTS as f64;
            let (mut low, mut high) = (0.0, 1.0);
            for _ in 0..50 {
                let middle = 0.5 * (low + high);
                let a = libm::acos(1.0 - 2.0 * middle);
                let filled = (a - libm::sin(a) * libm::cos(a)) / std::f64::consts::PI;
                if filled < share { low = middle } else { high = middle }
            }
            *height = 0.5 * (low + high);
        }
        Lying(heights)
    }

    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "64")]
    fn height(&self, share: f64) -> f64 {
        let x = share.clamp(0.0, 1.0) * SEGMENTS as f64;
        let i = (x as usize).min(SEGMENTS - 1);
        self.0[i] + (self.0[i + 1] - self.0[i]) * (x - i as f64)
    }
}

/// What heads and pressures are now.
#[derive(Debug, Clone, Copy)]
pub struct Heads {
    /// Free surface of the tank, m2.
    pub tank_m2: f64,
    /// Volume of the trailer, m3.
    pub trailer_m3: f64,
    /// Liquid that was on it, m3.
    pub loaded_m3: f64,
    /// Density of the liquid, kg/m3.
    pub density_kg_per_m3: f64,
    /// Level in the tank, m.
    pub level_m: Option<f64>,
    /// The trailer's outlet above the tank's datum by the site file, m.
    pub outlet_m: Option<f64>,
    /// Pad less tank pressure, Pa; None: not known.
    pub driving_pa: Option<f64>,
    /// Inner diameter of the line, m, and viscosity of the liquid, Pa s, where both are known.
    pub viscous: Option<(f64, f64)>,
}

impl Heads {
    /// What is known beforehand of s at a flow, kg/s, and a driving pressure, Pa: mean and standard uncertainty.
    ///
    /// Re = 4 q/(pi d mu). Laminar: s is the share that local losses have in the pressure, K rho v2/2 / D.
    fn share(&self, rate: f64, driving_pa: f64) -> (f64, f64) {
        let Some((bore_m, viscosity_pa_s)) = self.viscous else { return SHARE };
        let reynolds = 4.0 * rate / (std::f64::consts::PI * bore_m * viscosity_pa_s);
        if reynolds > TURBULENT {
            return TURBULENT_SHARE;
        }
        if reynolds > LAMINAR {
            return SHARE;
        }
        let area_m2 = std::f64::consts::PI / 4.0 * bore_m * bore_m;
        let velocity = rate / (self.density_kg_per_m3 * area_m2);
        let of_one = 0.5 * self.density_kg_per_m3 * velocity * velocity / driving_pa.max(LEAST_PA);
        ((LOCAL_LOSSES.0 * of_one).min(SHARE.0), (LOCAL_LOSSES.1 * of_one).min(SHARE.1))
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Point {
    /// Mean driving pressure without heads, Pa.
    driving_pa: f64,
    /// G(M), Pa.
    fall_pa: f64,
    /// Mean flow, kg/s, its logarithm, and its relative standard uncertainty by the witness's noise.
    rate: f64,
    ln_rate: f64,
    u: f64,
}

impl Point {
    fn push(&self) -> Push {
        Push { driving_pa: self.driving_pa, fall_pa: self.fall_pa, ln_rate: self.ln_rate }
    }
}

/// What is being gathered for the next point.
#[derive(Debug, Clone, Copy)]
struct Gathering {
    since: EngineTime,
    by: usize,
    mass_kg: f64,
    driving_sum: f64,
    count: f64,
}

/// The line of one transfer.
#[derive(Debug, Clone)]
pub struct Line {
    points: Vec<Point>,
    gathering: Option<Gathering>,
    fit: Option<Fit>,
    /// c0 by the heights, Pa, and its standard uncertainty.
    heights_pa: (f64, f64),
    /// s by what is known of line and liquid, and its standard uncertainty.
    share: (f64, f64),
    /// Mean driving pressure at the present setting, and of how many points.
    setting: Option<(f64, f64)>,
    ahead: Option<Path>,
}

/// The fit of the parameters.
#[derive(Debug, Clone, Copy)]
struct Fit {
    /// ln R (Pa), s, c0 (Pa), k.
    theta: [f64; PARAMETERS],
    covariance: [[f64; PARAMETERS]; PARAMETERS],
    /// First flow, the unit of z, kg/s.
    unit: f64,
    /// ln of the last flow over the fitted one.
    off: f64,
}

impl Default for Line {
    fn default() -> Line {
        Line {
            points: Vec::new(),
            gathering: None,
            fit: None,
            heights_pa: (0.0, HEIGHTS_U_PA),
            share: SHARE,
            setting: None,
            ahead: None,
        }
    }
}

impl Fit {
    /// Driving pressure at a point, Pa.
    fn driving(&self, pressure_pa: f64, fall_pa: f64) -> f64 {
        (pressure_pa + self.theta[2] - self.theta[3] * fall_pa).max(LEAST_PA)
    }

    /// R, Pa: asked once for many points.
    fn resistance(&self) -> f64 {
        libm::exp(self.theta[0])
    }

    /// ln of the flow in its unit at a driving pressure through R, and its derivatives by ln D and by s.
    fn flow(&self, driving_pa: f64, resistance: f64) -> (f64, f64, f64) {
        let s = self.theta[1];
        let x = driving_pa / resistance;
        let root = ((1.0 - s) * (1.0 - s) + 4.0 * s * x).sqrt();
        // z = (root - (1 - s))/2s, written so that s may be nothing.
        let z = 2.0 * x / (root + (1.0 - s));
        // (1 - s) z + s z2 = x: z dx/dz = (1 - s) z + 2 s z2, dx/ds = z2 - z.
        let steep = (1.0 - s) * z + 2.0 * s * z * z;
        (libm::log(z), x / steep, (z - z * z) / steep)
    }

    /// ln of what is expected at a point in its unit, with its derivatives by the parameters.
    fn expected(&self, p: &Point, resistance: f64) -> (f64, [f64; PARAMETERS]) {
        let driving = self.driving(p.driving_pa, p.fall_pa);
        let (ln_z, by_ln_d, by_s) = self.flow(driving, resistance);
        let by = [-by_ln_d, by_s, by_ln_d / driving, -by_ln_d * p.fall_pa / driving];
        (ln_z, by)
    }
}

impl Line {
    /// The share of the resistance that goes with the square of the flow, Pa/(kg/s)2; None before it is fitted.
    #[must_use]
    pub fn turbulent(&self) -> Option<f64> {
        let fit = self.fit?;
        let pa = fit.resistance() * fit.theta[1];
        (pa > 0.0).then(|| pa / (fit.unit * fit.unit))
    }

    /// Nobody watched for a while.
    pub fn blind(&mut self) {
        self.gathering = None;
    }

    /// G(M), Pa: what the levels take off the driving pressure once `mass_kg` has moved.
    #[must_use]
    pub fn fall_pa(&self, heads: &Heads, mass_kg: f64) -> f64 {
        let rho_g = heads.density_kg_per_m3 * GRAVITY;
        let full = heads.trailer_m3.max(0.1);
        let before = LYING.height(heads.loaded_m3 / full);
        let now = LYING.height((heads.loaded_m3 - mass_kg / heads.density_kg_per_m3) / full);
        rho_g * SHELL_M * (before - now) + GRAVITY * mass_kg / heads.tank_m2
    }

    /// Takes a tick: what the steadiest credible witness says (its index, mass and noise, kg).
    pub fn tick(&mut self, at: EngineTime, by: usize, mass: Estimate, heads: &Heads) {
        let Some(driving_pa) = heads.driving_pa else {
            self.gathering = None;
            return;
        };
        let fresh = Gathering { since: at, by, mass_kg: mass.value, driving_sum: 0.0, count: 0.0 };
        let mut gathering = self.gathering.filter(|g| g.by == by).unwrap_or(fresh);
        gathering.driving_sum += driving_pa;
        gathering.count += 1.0;
        let dt_s = at.since_s(gathering.since);
        if dt_s < POINT_S {
            self.gathering = Some(gathering);
            return;
        }
        self.gathering = Some(fresh);
        let rate = (mass.value - gathering.mass_kg) / dt_s;
        if rate > 0.0 {
            let mass_kg = 0.5 * (mass.value + gathering.mass_kg);
            let driving_pa = gathering.driving_sum / gathering.count;
            let fall_pa = self.fall_pa(heads, mass_kg);
            let u = 2.0_f64.sqrt() * mass.u / dt_s / rate;
            if self.points.is_empty() {
                self.heights_pa = self.heights_pa(heads, mass.value);
                self.share = heads.share(rate, driving_pa + self.heights_pa.0 - fall_pa);
            }
            self.take(Point { driving_pa, fall_pa, rate, ln_rate: libm::log(rate), u });
        } else {
            *self = Line { gathering: self.gathering, ..Line::default() };
        }
    }

    /// c0: what the heights added to the driving pressure before anything had moved.
    fn heights_pa(&self, heads: &Heads, mass_kg: f64) -> (f64, f64) {
        let Some(level_m) = heads.level_m else { return (0.0, HEIGHTS_U_PA) };
        let rho_g = heads.density_kg_per_m3 * GRAVITY;
        let left_m3 = heads.loaded_m3 - mass_kg / heads.density_kg_per_m3;
        let above_m = SHELL_M * LYING.height(left_m3 / heads.trailer_m3.max(0.1));
        let (outlet_m, u_m) = heads.outlet_m.map_or(OUTLET_M, |outlet_m| (outlet_m, OUTLET_TYPED_U_M));
        (rho_g * (outlet_m + above_m - level_m) + self.fall_pa(heads, mass_kg), rho_g * u_m)
    }

    fn take(&mut self, point: Point) {
        if self.is_another_line(&point) {
            self.points.clear();
            self.fit = None;
            self.setting = None;
            self.ahead = None;
        }
        if self.points.len() == POINTS {
            let mut nth = 0;
            self.points.retain(|_| {
                nth += 1;
                nth % 2 == 0
            });
        }
        let same = self.setting.filter(|(mean, _)| (point.driving_pa - mean).abs() < OTHER_PAD * mean.abs());
        self.setting = Some(match same {
            Some((mean, count)) => (mean + (point.driving_pa - mean) / (count + 1.0), count + 1.0),
            None => (point.driving_pa, 1.0),
        });
        self.points.push(point);
        self.refit();
    }

    /// The flow changed by more than pressure and heads explain, laminar or turbulent.
    fn is_another_line(&self, point: &Point) -> bool {
        let Some(last) = self.points.last() else { return false };
        let moved = point.ln_rate - last.ln_rate;
        let (low, high) = self.explains(&last.push(), &point.push());
        let slack = OTHER_LINE + 3.0 * (point.u * point.u + last.u * last.u).sqrt();
        moved < low - slack || moved > high + slack
    }

    /// By how much the flow may change, as a logarithm, by pressure and heads alone, turbulent or laminar: least and most.
    #[must_use]
    pub fn explains(&self, before: &Push, now: &Push) -> (f64, f64) {
        let by_pressure = libm::log(self.driving_pa(now) / self.driving_pa(before));
        (by_pressure.min(by_pressure / 2.0), by_pressure.max(by_pressure / 2.0))
    }

    /// What drives the liquid once heights are counted, Pa.
    #[must_use]
    pub fn driving_pa(&self, push: &Push) -> f64 {
        (push.driving_pa + self.fit.map_or(0.0, |f| f.theta[2]) - push.fall_pa).max(LEAST_PA)
    }

    fn refit(&mut self) {
        let Some(first) = self.points.first().filter(|_| self.points.len() >= FIT_MIN) else { return };
        let start = Fit {
            theta: [libm::log(first.driving_pa.max(LEAST_PA)), self.share.0, self.heights_pa.0, SHAPE.0],
            covariance: [[0.0; PARAMETERS]; PARAMETERS],
            unit: first.rate,
            off: 0.0,
        };
        let mut fit = self.fit.filter(|fit| fit.unit.to_bits() == first.rate.to_bits()).unwrap_or(start);
        for _ in 0..ITERATIONS {
            let (normal, right, off) = self.normal_equations(&fit);
            let Some(covariance) = inverse(&normal) else { return };
            for (theta, row) in fit.theta.iter_mut().zip(&covariance) {
                *theta += row.iter().zip(&right).fold(0.0, |sum, (c, r)| sum + c * r);
            }
            fit.theta[1] = fit.theta[1].clamp(0.0, 1.0);
            fit.theta[3] = fit.theta[3].clamp(SHAPE_WITHIN.0, SHAPE_WITHIN.1);
            fit.covariance = covariance;
            fit.off = off;
        }
        self.fit = Some(fit);
    }

    /// Of the step from the present parameters: normal matrix, right side; and ln of the last flow over the expected one.
    fn normal_equations(&self, fit: &Fit) -> ([[f64; PARAMETERS]; PARAMETERS], [f64; PARAMETERS], f64) {
        let mut normal = [[0.0; PARAMETERS]; PARAMETERS];
        let mut right = [0.0; PARAMETERS];
        for (i, (mean, u)) in [self.share, self.heights_pa, SHAPE].into_iter().enumerate() {
            normal[i + 1][i + 1] += 1.0 / (u * u);
            right[i + 1] += (mean - fit.theta[i + 1]) / (u * u);
        }
        let kept = libm::exp(-POINT_S / FRICTION_S);
        let mut before: Option<(f64, [f64; PARAMETERS])> = None;
        let mut last_off = 0.0;
        let (resistance, ln_unit) = (fit.resistance(), libm::log(fit.unit));
        for p in &self.points {
            let (ln_z, by) = fit.expected(p, resistance);
            let off = p.ln_rate - (ln_z + ln_unit);
            let (news, slopes, share) = match before {
                Some((before_off, before_by)) => {
                    let mut slopes = by;
                    slopes.iter_mut().zip(before_by).for_each(|(s, b)| *s -= kept * b);
                    (off - kept * before_off, slopes, 1.0 - kept * kept)
                }
                None => (off, by, 1.0),
            };
            let usual = FRICTION_U * FRICTION_U * share + (1.0 + kept * kept) * p.u * p.u;
            // Huber's weights: beyond the bound a row pulls no harder than at it.
            let variance = usual.max(news.abs() * usual.sqrt() / NEWS_SIGMAS);
            for i in 0..PARAMETERS {
                right[i] += slopes[i] * news / variance;
                for j in 0..PARAMETERS {
                    normal[i][j] += slopes[i] * slopes[j] / variance;
                }
            }
            before = Some((off, by));
            last_off = off;
        }
        (normal, right, last_off)
    }

    /// Looks ahead anew where the last look is too old: at each new point, and when the pad has changed since.
    pub fn look(&mut self, settings: &Settings, heads: &Heads, at: EngineTime, mass_kg: f64, most_kg: f64) {
        let fresh = self.ahead.as_ref().zip(heads.driving_pa).is_some_and(|(path, now_pa)| {
            let changed = (now_pa - path.driving_pa).abs() > SAME_PAD * path.driving_pa.abs();
            at.since_s(path.at) < POINT_S && path.points == self.points.len() && !changed
        });
        if !fresh {
            self.ahead = self.path(settings, heads, (at, mass_kg), most_kg);
        }
    }

    /// What lies ahead; None: not pushed by a pad that is known, or too little is known yet.
    #[must_use]
    pub fn ahead(&self) -> Option<&Path> {
        self.ahead.as_ref()
    }

    /// From now on, as far as `most_kg` more.
    fn path(&self, settings: &Settings, heads: &Heads, (at, mass_kg): (EngineTime, f64), most_kg: f64) -> Option<Path> {
        let fit = self.fit.filter(|_| settings.drive == Drive::Pad)?;
        let driving_pa = heads.driving_pa?;
        let (mean, count) = self.setting?;
        // A jump of the pad is taken at once; what wanders goes back to the mean of its setting.
        let same = (driving_pa - mean).abs() < OTHER_PAD * mean.abs();
        let (home_pa, count) = if same { (mean, count) } else { (driving_pa, 1.0) };
        let falls: [f64; STEPS + 1] = std::array::from_fn(|i| self.fall_pa(heads, mass_kg + share(i) * most_kg));
        let run = Run { fit, driving_pa, home_pa, falls, step_kg: most_kg / STEP_COUNT };
        let base = run.times();
        let mut variance = [0.0; STEPS + 1];
        // Sensitivities by small differences (GUM 5.1.3, note 2).
        let by: [[f64; STEPS + 1]; PARAMETERS] = std::array::from_fn(|i| {
            let step = fit.covariance[i][i].sqrt() * 0.1;
            let mut moved = run;
            moved.fit.theta[i] += step;
            difference(&moved.times(), &base, step)
        });
        let mut home = run;
        let home_u = REGULATOR_U * mean.abs() * (2.0 * REGULATOR_S / (count * POINT_S + 2.0 * REGULATOR_S)).sqrt();
        home.home_pa += home_u;
        let by_home = difference(&home.times(), &base, 1.0);
        for (k, variance) in variance.iter_mut().enumerate() {
            for i in 0..PARAMETERS {
                for j in 0..PARAMETERS {
                    *variance += by[i][k] * by[j][k] * fit.covariance[i][j];
                }
            }
            let wander = wander_s(base[k], FRICTION_U, FRICTION_S);
            let pad = wander_s(base[k], REGULATOR_U, REGULATOR_S);
            *variance = variance.max(0.0) + by_home[k] * by_home[k] + wander * wander + pad * pad;
        }
        let rate = run.rate(fit.resistance(), 0, 0.0);
        let points = self.points.len();
        Some(Path { at, mass_kg, driving_pa, points, most_kg, seconds: base, u_s: variance.map(f64::sqrt), rate })
    }
}

/// Standard uncertainty of a time t over which a share that wanders with a memory T averages: u t sqrt(2 T (t - T (1 -
/// exp(-t/T)))) / t (integral of an Ornstein-Uhlenbeck process).
fn wander_s(t: f64, u: f64, memory_s: f64) -> f64 {
    let settled = memory_s * (1.0 - libm::exp(-t / memory_s));
    u * (2.0 * memory_s * (t - settled)).max(0.0).sqrt()
}

const STEP_COUNT: f64 = STEPS as f64;

#[expect(clippy::cast_precision_loss, reason = "24")]
fn share(i: usize) -> f64 {
    i as f64 / STEP_COUNT
}

fn difference(moved: &[f64; STEPS + 1], base: &[f64; STEPS + 1], step: f64) -> [f64; STEPS + 1] {
    std::array::from_fn(|i| if step > 0.0 { (moved[i] - base[i]) / step } else { 0.0 })
}

/// One way that it may go on.
#[derive(Debug, Clone, Copy)]
struct Run {
    fit: Fit,
    driving_pa: f64,
    home_pa: f64,
    falls: [f64; STEPS + 1],
    step_kg: f64,
}

impl Run {
    /// Flow through a resistance, Pa, after so many steps, `t` seconds from now, kg/s.
    fn rate(&self, resistance: f64, step: usize, t: f64) -> f64 {
        let pressure = self.home_pa + (self.driving_pa - self.home_pa) * libm::exp(-t / REGULATOR_S);
        let (ln_z, ..) = self.fit.flow(self.fit.driving(pressure, self.falls[step]), resistance);
        self.fit.unit * libm::exp(ln_z + self.fit.off * libm::exp(-t / FRICTION_S))
    }

    /// Seconds from now at each step: t = integral of dM/q by trapezoids in 1/q.
    fn times(&self) -> [f64; STEPS + 1] {
        let mut times = [0.0; STEPS + 1];
        let resistance = self.fit.resistance();
        let mut slowness = 1.0 / self.rate(resistance, 0, 0.0);
        for i in 1..=STEPS {
            let next = 1.0 / self.rate(resistance, i, times[i - 1] + slowness * self.step_kg);
            times[i] = times[i - 1] + 0.5 * (slowness + next) * self.step_kg;
            slowness = next;
        }
        times
    }
}

/// Time against mass from now on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Path {
    /// When it was looked for, at which mass, driving pressure (Pa) and number of points.
    at: EngineTime,
    mass_kg: f64,
    driving_pa: f64,
    points: usize,
    most_kg: f64,
    seconds: [f64; STEPS + 1],
    u_s: [f64; STEPS + 1],
    /// Flow now, kg/s.
    pub rate: f64,
}

impl Path {
    /// How long it takes from `at`, when `now_kg` has moved, to move `mass_kg` more, s, and its standard uncertainty.
    #[must_use]
    pub fn time_s(&self, (at, now_kg): (EngineTime, f64), mass_kg: f64) -> Estimate {
        let whole = self.since_looked_s(now_kg + mass_kg - self.mass_kg);
        Estimate { value: whole.value - at.since_s(self.at), u: whole.u }
    }

    /// The same from when it was looked for; beyond the path's end in proportion.
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "24")]
    fn since_looked_s(&self, mass_kg: f64) -> Estimate {
        let x = (mass_kg / self.most_kg).max(0.0) * STEP_COUNT;
        let i = (x as usize).min(STEPS - 1);
        let along = |v: &[f64; STEPS + 1]| v[i] + (v[i + 1] - v[i]) * (x - i as f64);
        Estimate { value: along(&self.seconds), u: along(&self.u_s) }
    }
}

/// Inverse of a symmetric positive matrix by Cholesky's factors; None: it is none.
fn inverse(a: &[[f64; PARAMETERS]; PARAMETERS]) -> Option<[[f64; PARAMETERS]; PARAMETERS]> {
    let mut l = [[0.0; PARAMETERS]; PARAMETERS];
    for i in 0..PARAMETERS {
        for j in 0..=i {
            let known = (0..j).fold(0.0, |sum, k| sum + l[i][k] * l[j][k]);
            if i == j {
                let square = a[i][i] - known;
                if square.is_nan() || square <= 0.0 {
                    return None;
                }
                l[i][i] = square.sqrt();
            } else {
                l[i][j] = (a[i][j] - known) / l[j][j];
            }
        }
    }
    // The inverse is symmetric: a column is a row.
    let mut inverse = [[0.0; PARAMETERS]; PARAMETERS];
    for (nth, column) in inverse.iter_mut().enumerate() {
        let mut y = [0.0; PARAMETERS];
        for i in 0..PARAMETERS {
            let known = (0..i).fold(0.0, |sum, k| sum + l[i][k] * y[k]);
            y[i] = (f64::from(u8::from(i == nth)) - known) / l[i][i];
        }
        for i in (0..PARAMETERS).rev() {
            let known = (i + 1..PARAMETERS).fold(0.0, |sum, k| sum + l[k][i] * column[k]);
            column[i] = (y[i] - known) / l[i][i];
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heads(viscosity_pa_s: f64) -> Heads {
        Heads {
            tank_m2: 6.6,
            trailer_m3: 19.0,
            loaded_m3: 13.2,
            density_kg_per_m3: 1525.0,
            level_m: Some(1.2),
            outlet_m: None,
            driving_pa: Some(1e5),
            viscous: Some((0.0525, viscosity_pa_s)),
        }
    }

    /// Crane TP-410, 1-4: Re = 4 q/(pi d mu). 4.9 kg/s of 50 % caustic soda at 21 C (76 mPa s) through 2 inches are
    /// laminar at 1,560; a velocity head is 0.5 x 1525 x (4.9/1525/0.002165)2 = 1.68 kPa, twelve of them a fifth of 100 kPa.
    #[test]
    fn a_viscous_flow_is_known_to_be_laminar_and_a_thin_one_turbulent() {
        let (laminar, u) = heads(0.076).share(4.9, 1e5);
        assert!((laminar - 0.2016).abs() < 5e-4 && (u - 0.1344).abs() < 5e-4, "{laminar} with {u}");
        assert_eq!(heads(0.002).share(4.9, 1e5), TURBULENT_SHARE);
        assert_eq!(heads(0.04).share(4.9, 1e5), SHARE, "Re 2,970: neither");
        assert_eq!(Heads { viscous: None, ..heads(0.002) }.share(4.9, 1e5), SHARE);
    }
}
