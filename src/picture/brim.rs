//! The tank against time: how its contents came to be what they are, where the load takes them, and the levels that
//! bound them. The chart ends where the margin is measured.

use super::past::{Happened, Instant, Past, brought_kg, wall_s};
use super::{Anchor, Axis, Canvas, Size};
use crate::engine::frame::{Margin, Tank};
use crate::time::{EngineTime, WallTime};
use crate::words::display::{hh_mm, number};
use crate::words::measures::Shown;
use crate::words::{Language, Scene};
use jiff::Timestamp;
use maud::Markup;

/// Past points drawn on the page at each frame; a look back has as many as its width has pixels.
const LIVE_POINTS: (usize, usize) = (160, 80);
/// A chart is at least this long, s: a transfer's first minute would else fill it.
const SHORTEST_S: f64 = 600.0;
/// On a wide chart the names of the levels stand to its right, px.
const LEVELS_WIDE: f64 = 160.0;
/// Least distance of two lines of words, px.
const ROW: f64 = 16.0;
/// Steps of the axis of time, s: they fall on round times of day.
const STEPS_S: [f64; 13] =
    [60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0, 21_600.0, 43_200.0, 86_400.0, 604_800.0];

/// A stretch of time, s since 1970.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Its begin.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
}

/// What a chart is drawn with.
struct Chart<'a> {
    scene: Scene<'a>,
    language: &'a dyn Language,
    past: &'a Past,
    tank: Tank,
    window: Window,
    /// Until when the curves are drawn, s since 1970.
    until_s: f64,
    across: Axis,
    /// Contents, kg.
    up: Axis,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    /// Most points of a curve.
    points: usize,
}

/// Where the load takes the contents, by the combined mass: when, s since 1970, earliest (5 %), median, latest (95 %), and
/// the contents then, kg. From the first event to the last.
fn ahead(scene: Scene<'_>, past: &Past, tank: Tank) -> Vec<([f64; 3], f64)> {
    let frame = scene.frame;
    let (Some(delivery), Some(together)) = (&frame.delivery, frame.together) else { return Vec::new() };
    let before = past.before_kg().or(tank.contents_kg.map(|kg| kg - together.received_kg.value));
    let Some(before) = before else { return Vec::new() };
    let full = |received: f64| before + received + brought_kg(frame);
    let now_s = wall_s(frame.clock.wall_at(frame.at));
    let finish = &frame.finish;
    let events = [
        (finish.planned, full(delivery.planned_kg)),
        (finish.first_gas, full(delivery.loaded_kg)),
        (finish.level, tank.high_high_kg),
    ];
    let wall = |at: EngineTime| wall_s(frame.clock.wall_at(at));
    let mut knots: Vec<([f64; 3], f64)> = events
        .into_iter()
        .filter_map(|(moment, kg)| moment.map(|m| ([wall(m.q05), wall(m.q50), wall(m.q95)], kg)))
        .collect();
    if !knots.is_empty() {
        knots.push(([now_s; 3], full(together.received_kg.value)));
    }
    knots.sort_by(|a, b| a.0[1].total_cmp(&b.0[1]));
    // What comes later is never less full.
    for i in 1..knots.len() {
        knots[i].1 = knots[i].1.max(knots[i - 1].1);
    }
    knots
}

/// Contents at most when all of the load is in, kg.
fn at_most(margin: &Margin) -> Option<f64> {
    match margin {
        Margin::Known { kg, parts, .. } => Some(parts.at_high_high_kg - kg),
        Margin::Unknown => None,
    }
}

/// Contents from the begin of the delivery to the end of the load, with the tank's levels, the fan of what is to come (5,
/// 50 and 95 % of the projection by the combined mass) and when somebody must be at the valve.
#[must_use]
pub fn brim(scene: Scene<'_>, past: &Past, language: &dyn Language, size: Size) -> Markup {
    let (width, height) = size.pick((860.0, 236.0), (358.0, 232.0));
    let mut canvas = Canvas::new(size, width, height);
    let labels = language.labels();
    let Some(tank) = scene.frame.tank else {
        canvas.height = 30.0;
        canvas.text("said", 0.0, 20.0, Anchor::Start, labels.tank_unknown);
        return canvas.finish(labels.tank_unknown);
    };
    let now_s = wall_s(scene.frame.clock.wall_at(scene.frame.at));
    let knots = ahead(scene, past, tank);
    let from_s = past.instants().first().map_or(now_s, |(s, _)| *s).min(now_s);
    let last_s = knots.iter().map(|k| k.0[2]).fold(now_s, f64::max);
    // It ends at a round time: it moves when that is passed, not with each breath of the projection.
    let to_s = (last_s + 0.04 * (last_s - from_s)).max(from_s + SHORTEST_S);
    let step_s = STEPS_S.into_iter().rfind(|step| 12.0 * step <= to_s - from_s).unwrap_or(STEPS_S[0]);
    let to_s = (to_s / step_s).ceil() * step_s;
    let (left, right) = (size.pick(40.0, 34.0), width - size.pick(LEVELS_WIDE, 6.0));
    let (top, bottom) = (8.0, height - 22.0);
    let across = Axis::new(from_s, to_s, left, right);
    let chart = Chart {
        scene,
        language,
        past,
        tank,
        window: Window { from_s, to_s },
        // What has not moved on by a pixel is not drawn anew.
        until_s: from_s + (across.at(now_s).floor() - left) * (to_s - from_s) / (right - left),
        across,
        up: contents_axis(scene, past, tank, (bottom, top)),
        left,
        right,
        top,
        bottom,
        points: size.pick(LIVE_POINTS.0, LIVE_POINTS.1),
    };
    chart.frame(&mut canvas);
    chart.ahead(&mut canvas, &knots);
    chart.so_far(&mut canvas);
    chart.levels(&mut canvas);
    chart.events(&mut canvas);
    canvas.finish(&said(scene, tank, language))
}

/// A stretch of the past: contents, and below them the pressure on the trailer.
#[must_use]
pub fn look_back(scene: Scene<'_>, past: &Past, language: &dyn Language, window: Window, size: Size) -> Markup {
    let (width, pad_height) = size.pick((860.0, 150.0), (358.0, 130.0));
    let (contents_height, foot) = (size.pick(300.0, 260.0), 22.0);
    let mut canvas = Canvas::new(size, width, contents_height + pad_height + foot);
    let (left, right) = (size.pick(46.0, 40.0), width - size.pick(LEVELS_WIDE, 6.0));
    let across = Axis::new(window.from_s, window.to_s, left, right);
    if let Some(tank) = scene.frame.tank {
        let (top, bottom) = (8.0, contents_height - 22.0);
        let chart = Chart {
            scene,
            language,
            past,
            tank,
            window,
            until_s: window.to_s,
            across,
            up: stretch_axis(past, window, (bottom, top)).unwrap_or(contents_axis(scene, past, tank, (bottom, top))),
            left,
            right,
            top,
            bottom,
            points: size.pick(800, 340),
        };
        chart.frame(&mut canvas);
        chart.so_far(&mut canvas);
        chart.levels(&mut canvas);
        chart.moments(&mut canvas);
    }
    let place = (contents_height, contents_height + pad_height);
    pad_panel(&mut canvas, scene, past, language, (window, across), place);
    canvas.finish(language.page().look_back)
}

/// From a little below the least of the past to the highest of the levels and of what the load may make of them.
fn contents_axis(scene: Scene<'_>, past: &Past, tank: Tank, (low, high): (f64, f64)) -> Axis {
    let all = past.instants().iter().flat_map(|(_, i)| i.by_kg.into_iter().chain([i.contents_kg])).flatten();
    let least = all.map(f64::from).chain(tank.contents_kg).fold(f64::INFINITY, f64::min);
    let least = if least.is_finite() { least.min(tank.working_kg) } else { 0.0 };
    let most = at_most(&scene.frame.margin).unwrap_or(0.0).max(tank.critical_kg);
    let span = most - least;
    Axis::new((least - 0.06 * span).max(0.0), most + 0.03 * span, low, high)
}

/// A stretch that is looked at closely has an axis of its own.
fn stretch_axis(past: &Past, window: Window, (low, high): (f64, f64)) -> Option<Axis> {
    let inside = |s: &f64| (window.from_s..=window.to_s).contains(s);
    let values = past.instants().iter().filter(|(s, _)| inside(s)).flat_map(|(_, i)| i.by_kg).flatten();
    let (least, most) =
        values.map(f64::from).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(v), m.max(v)));
    let room = (0.06 * (most - least)).max(50.0);
    (least.is_finite() && most.is_finite()).then(|| Axis::new(least - room, most + room, low, high))
}

/// The chart in words, for those who cannot see it.
fn said(scene: Scene<'_>, tank: Tank, language: &dyn Language) -> String {
    let labels = language.labels();
    let tonnes = |kg| scene.measures.figure(Shown::LargeMass, kg);
    let mut parts = vec![format!(
        "{}, {}, {}",
        scene.tank_in(tank.tank, labels.tank),
        labels.contents,
        language.unit(scene.measures.unit_word(Shown::LargeMass))
    )];
    parts.extend(tank.contents_kg.map(|kg| format!("{} {}", labels.now, tonnes(kg))));
    if let Some(kg) = at_most(&scene.frame.margin) {
        parts.push(format!("{} {}", labels.load_in, tonnes(kg)));
        parts.push(format!(
            "{} {}",
            labels.margin_mark,
            scene.measures.show_down(Shown::LargeMass, tank.high_high_kg - kg).figure
        ));
    }
    let levels = [(labels.working, tank.working_kg), (labels.high_high, tank.high_high_kg)];
    parts.extend(
        levels.into_iter().chain([(labels.critical, tank.critical_kg)]).map(|(l, kg)| format!("{l} {}", tonnes(kg))),
    );
    parts.extend(events(scene, language).into_iter().map(|(_, words, _)| words));
    parts.join("; ")
}

/// What is to come: when, in words, and whether it calls for an act.
fn events(scene: Scene<'_>, language: &dyn Language) -> Vec<(f64, String, bool)> {
    let (frame, words) = (scene.frame, language.page());
    let finish = &frame.finish;
    let all = [
        (finish.be_at_valve_by, words.at_valve, true),
        (finish.first_gas.map(|m| m.q50), words.first_gas, false),
        (finish.planned.map(|m| m.q50), words.planned, false),
        (finish.level.map(|m| m.q50), language.labels().high_high, true),
    ];
    all.into_iter()
        .filter_map(|(at, label, act)| {
            let wall = frame.clock.wall_at(at?);
            Some((wall_s(wall), format!("{label} {}", language.hh_mm(scene, wall)), act))
        })
        .collect()
}

/// Every so many-th instant of a stretch, the last one always.
fn thinned(past: &Past, window: Window, most: usize) -> impl Iterator<Item = &(f64, Instant)> {
    let all = past.instants();
    let from = all.partition_point(|(s, _)| *s < window.from_s).saturating_sub(1);
    let to = (all.partition_point(|(s, _)| *s <= window.to_s) + 1).min(all.len());
    let inside = &all[from.min(to)..to];
    let every = inside.len().div_ceil(most.max(1)).max(1);
    let last = inside.len().saturating_sub(1);
    inside.iter().enumerate().filter(move |(i, _)| i % every == 0 || *i == last).map(|(_, instant)| instant)
}

impl Chart<'_> {
    /// Axes: contents in t, and round times of day.
    fn frame(&self, canvas: &mut Canvas) {
        let one = self.scene.measures.one(Shown::LargeMass);
        let ticks = self.up.ticks_in(one, canvas.size.pick(6, 5));
        canvas.lines("grid", ticks.iter().map(|tick| [self.left, self.up.at(*tick), self.right - self.left, 0.0]));
        for tick in ticks {
            let decimals = usize::from(self.up.high - self.up.low < 5.0 * one);
            canvas.text("quiet", self.left - 5.0, self.up.at(tick) + 5.0, Anchor::End, &number(tick / one, decimals));
        }
        times(canvas, self.scene, self.across, self.bottom, self.bottom + 17.0);
        canvas.line("limit", self.left, self.bottom, self.right - self.left, 0.0);
        self.blind(canvas);
    }

    /// Stretches in which nobody watched.
    fn blind(&self, canvas: &mut Canvas) {
        for (from_s, kind) in self.past.moments() {
            let Happened::Blind { until_s } = kind else { continue };
            #[expect(clippy::cast_precision_loss, reason = "seconds since 1970")]
            let (from, to) = (self.across.at(*from_s), self.across.at(*until_s as f64));
            if to - from > 0.0 {
                canvas.block("blind", from, self.top, (to - from).max(3.0), self.bottom - self.top);
            }
        }
    }

    /// By each witness, the hue never alone: strokes and shapes differ.
    fn so_far(&self, canvas: &mut Canvas) {
        let blind_from: Vec<f64> =
            self.past.moments().iter().filter(|(_, k)| matches!(k, Happened::Blind { .. })).map(|(s, _)| *s).collect();
        for (which, class) in ["flow", "scale", "tank"].into_iter().enumerate() {
            let mut before_s = f64::INFINITY;
            let mut points: Vec<Option<(f64, f64)>> = Vec::new();
            let window = Window { to_s: self.until_s, ..self.window };
            for (s, instant) in thinned(self.past, window, self.points) {
                // Nobody knows how it went where nobody watched.
                if blind_from.iter().any(|from| (before_s..*s).contains(from)) {
                    points.push(None);
                }
                before_s = *s;
                let inside = (window.from_s..=window.to_s).contains(s);
                let kg = instant.by_kg[which].filter(|_| inside);
                points.push(kg.map(|kg| (self.across.at(*s), self.up.at(f64::from(kg)))));
            }
            canvas.curve(&format!("curve {class}"), &points);
            self.shapes(canvas, class, which, &points);
        }
    }

    /// Shapes along a curve, those of each at other places.
    fn shapes(&self, canvas: &mut Canvas, class: &str, which: usize, points: &[Option<(f64, f64)>]) {
        let pitch = (self.right - self.left) / canvas.size.pick(7.0, 4.0);
        let mut next = self.left + pitch * (0.2 + [0.0, 1.0, 2.0][which.min(2)] / 3.0);
        let class = format!("mark {class}");
        for &(x, y) in points.iter().flatten() {
            if x < next {
                continue;
            }
            match which {
                0 => canvas.circle(&class, x, y, 4.0),
                1 => canvas.block(&class, x - 3.7, y - 3.7, 7.4, 7.4),
                _ => canvas.figure(&class, x, y - 5.0, &[(5.0, 9.0), (-10.0, 0.0)]),
            }
            next += pitch * ((x - next) / pitch + 1.0).floor();
        }
    }

    /// The fan, its middle, and the line that the load reaches at most: to the pixel, so that they are the same from frame to
    /// frame while nothing more is known.
    fn ahead(&self, canvas: &mut Canvas, knots: &[([f64; 3], f64)]) {
        let point = |s: f64, kg: f64| (self.across.at(s).floor(), self.up.at(kg).round());
        let early = knots.iter().map(|(at, kg)| point(at[0], *kg));
        let late = knots.iter().rev().map(|(at, kg)| point(at[2], *kg));
        let outline: Vec<(f64, f64)> = early.chain(late).collect();
        if let [first, rest @ ..] = outline.as_slice() {
            let mut last = *first;
            let steps: Vec<(f64, f64)> = rest
                .iter()
                .map(|next| {
                    let step = (next.0 - last.0, next.1 - last.1);
                    last = *next;
                    step
                })
                .collect();
            canvas.figure("fan", first.0, first.1, &steps);
        }
        let middle: Vec<Option<(f64, f64)>> = knots.iter().map(|(at, kg)| Some(point(at[1], *kg))).collect();
        canvas.curve("future", &middle);
        let now = self.across.at(wall_s(self.scene.frame.clock.wall_at(self.scene.frame.at))).floor();
        canvas.line("now", now, self.top, 0.0, self.bottom - self.top);
        if let Some(most) = at_most(&self.scene.frame.margin) {
            let (y, high) = (self.up.at(most).round(), self.up.at(self.tank.high_high_kg));
            canvas.line("most", now, y, self.right - now, 0.0);
            let class = if most > self.tank.high_high_kg { "span act" } else { "span" };
            canvas.line(class, self.right - 4.0, y, 0.0, high - y);
        }
    }

    /// Levels with their names, and what the load may come to, one line of words each.
    fn levels(&self, canvas: &mut Canvas) {
        let (labels, measures) = (self.language.labels(), self.scene.measures);
        let tonnes = |kg| measures.figure(Shown::LargeMass, kg);
        let tank = self.tank;
        let inside = |kg: f64| kg >= self.up.low && kg <= self.up.high;
        let (x, lift) = canvas.size.pick((self.right + 8.0, -5.0), (self.left + 6.0, 4.0));
        let mut rows: Vec<(f64, String, &str)> = Vec::new();
        for (kg, label, line, text) in [
            (tank.critical_kg, labels.critical, "limit", "quiet haloed"),
            (tank.high_high_kg, labels.high_high, "high", "strong haloed"),
            (tank.working_kg, labels.working, "limit dashed", "quiet haloed"),
        ] {
            if inside(kg) {
                canvas.line(line, self.left, self.up.at(kg), self.right - self.left, 0.0);
                rows.push((self.up.at(kg) - lift, format!("{label} {}", tonnes(kg)), text));
            }
        }
        if let Some(most) = at_most(&self.scene.frame.margin).filter(|kg| inside(*kg)) {
            let fits = most <= tank.high_high_kg;
            let (label, class) =
                if fits { (labels.margin_mark, "strong haloed") } else { (labels.does_not_fit, "strong act haloed") };
            let mut text = format!("{} {}", labels.load_in, tonnes(most));
            text = format!(
                "{text}: {label} {}",
                self.language.written(measures.show_down(Shown::LargeMass, tank.high_high_kg - most))
            );
            if tank.opening.proven_by.is_none() {
                text = format!("{text}, {}", labels.not_proven);
            }
            match canvas.size {
                // Below every level, where nothing is drawn yet.
                Size::Wide => {
                    let lowest = self.up.at(most.min(tank.working_kg));
                    canvas.text(class, self.left + 6.0, lowest + 15.0, Anchor::Start, &text);
                }
                Size::Narrow => rows.push((self.up.at(most) + 13.0, text, class)),
            }
        }
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut next = self.top + 8.0;
        for (y, text, class) in rows {
            let y = y.max(next);
            canvas.text(class, x, y, Anchor::Start, &text);
            next = y + ROW;
        }
    }

    /// What is to come, on rows of their own above the axis of time.
    fn events(&self, canvas: &mut Canvas) {
        self.moments(canvas);
        let mut row = self.bottom - 8.0 - 3.0 * ROW;
        let mut all = events(self.scene, self.language);
        all.truncate(canvas.size.pick(4, 2));
        // The latest on top: words stand to the left of their line and would run into those of what comes before.
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (s, words, act) in all {
            let x = self.across.at(s).floor();
            canvas.line(if act { "ceiling" } else { "limit" }, x, row - 4.0, 0.0, self.bottom - row + 4.0);
            let class = if act { "strong act haloed" } else { "name haloed" };
            let (x, anchor) =
                if x > (self.left + self.right) / 2.0 { (x - 6.0, Anchor::End) } else { (x + 6.0, Anchor::Start) };
            canvas.text(class, x, row + 7.0, anchor, &words);
            row += ROW;
        }
    }

    /// What happened: a shape at the axis, with words where there is room for them.
    fn moments(&self, canvas: &mut Canvas) {
        let mut free_from = f64::NEG_INFINITY;
        let words = self.language.page();
        for (s, kind) in self.past.moments() {
            if *s < self.window.from_s || *s > self.window.to_s {
                continue;
            }
            let (x, y) = (self.across.at(*s), self.bottom);
            let text = kind.said(words);
            match kind {
                Happened::Started | Happened::Closed => canvas.line("high", x, y - 14.0, 0.0, 14.0),
                Happened::Alarm(_) => canvas.figure("sign spoke", x, y - 14.0, &[(11.0, 4.0), (-11.0, 4.0)]),
                Happened::NewZero => canvas.figure("sign", x, y - 12.0, &[(5.0, 6.0), (-5.0, 6.0), (-5.0, -6.0)]),
                Happened::Blind { .. } => {}
            }
            let wide = 7.4 * text.chars().count() as f64;
            if canvas.size == Size::Wide && x >= free_from && x + 14.0 + wide < self.right {
                canvas.text("quiet haloed", x + 14.0, y - 5.0, Anchor::Start, &text);
                free_from = x + 18.0 + wide;
            }
        }
    }
}

/// Round times of day below a chart.
fn times(canvas: &mut Canvas, scene: Scene<'_>, across: Axis, bottom: f64, row: f64) {
    let most = canvas.size.pick(9.0, 4.0);
    let span = across.high - across.low;
    let step = STEPS_S.into_iter().find(|step| span / step <= most).unwrap_or(STEPS_S[STEPS_S.len() - 1]);
    // The axis counts in universal time; round are the reader's own hours.
    let ahead_s =
        Timestamp::from_second(across.low as i64).map_or(0.0, |t| f64::from(scene.zone.to_offset(t).seconds()));
    let first = ((across.low + ahead_s) / step).ceil();
    for i in 0..12 {
        let s = (first + f64::from(i)) * step - ahead_s;
        if s > across.high {
            break;
        }
        let wall = WallTime((s * 1e9) as i64);
        canvas.line("limit", across.at(s), bottom, 0.0, 4.0);
        // At the very ends the words would run out of the picture.
        let x = across.at(s).clamp(across.from - 16.0, across.to - 16.0);
        canvas.text("quiet", x, row, Anchor::Middle, &hh_mm(wall, wall, scene.zone));
    }
}

/// The pressure on the trailer against time, with its ceiling and the window of its relief valve.
fn pad_panel(
    canvas: &mut Canvas,
    scene: Scene<'_>,
    past: &Past,
    language: &dyn Language,
    (window, across): (Window, Axis),
    (top, bottom): (f64, f64),
) {
    let (labels, pad) = (language.labels(), &scene.frame.pad);
    let points = thinned(past, window, canvas.size.pick(800, 340));
    let points: Vec<(f64, Option<f64>)> = points
        .filter(|(s, _)| (window.from_s..=window.to_s).contains(s))
        .map(|(s, i)| (*s, i.pad_pa_gauge.map(f64::from)))
        .collect();
    let marks = [pad.ceiling_pa_gauge, pad.relief_to_pa_gauge];
    let highest = points.iter().filter_map(|(_, pa)| *pa).chain(marks.into_iter().flatten()).fold(1e5, f64::max);
    let high = top + ROW + 6.0;
    let up = Axis::new(0.0, 1.05 * highest, bottom, high);
    canvas.text(
        "name",
        0.0,
        top + 10.0,
        Anchor::Start,
        &format!("{}, {}", labels.pad, language.unit(scene.measures.unit_word(Shown::GaugePressure))),
    );
    let (left, right) = (across.from, across.to);
    let one = scene.measures.one(Shown::GaugePressure);
    let decimals = usize::from(up.high < 6.0 * one);
    for tick in up.ticks_in(one, 4) {
        canvas.line("grid", left, up.at(tick), right - left, 0.0);
        canvas.text("quiet", left - 5.0, up.at(tick) + 5.0, Anchor::End, &number(tick / one, decimals));
    }
    if let (Some(from), Some(to)) = (pad.relief_from_pa_gauge, pad.relief_to_pa_gauge) {
        canvas.block("relief", left, up.at(to), right - left, up.at(from) - up.at(to));
        canvas.text("quiet haloed", left + 6.0, up.at(from) - 3.0, Anchor::Start, labels.relief);
    }
    let course: Vec<Option<(f64, f64)>> =
        points.iter().map(|(s, pa)| pa.map(|pa| (across.at(*s), up.at(pa)))).collect();
    canvas.curve("curve pad", &course);
    if let Some(ceiling) = pad.ceiling_pa_gauge {
        canvas.line("ceiling", left, up.at(ceiling), right - left, 0.0);
        let text = format!("{} {}", labels.ceiling, scene.measures.figure(Shown::GaugePressure, ceiling));
        canvas.text("strong haloed", left + 6.0, up.at(ceiling) - 5.0, Anchor::Start, &text);
    }
    canvas.line("limit", left, bottom, right - left, 0.0);
    times(canvas, scene, across, bottom, bottom + 17.0);
}
