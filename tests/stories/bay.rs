//! A bay of the shipped site file and a transfer through it, told as inputs. The truth here is a straight line:
//! what is tested is what the watch makes of what the instruments say, not physics.

use brimwatch::config;
use brimwatch::engine::Monitor;
use brimwatch::engine::frame::{Frame, Output};
use brimwatch::engine::input::{
    Carried, Entry, Event, Input, Measured, MissReason, Missed, Poll, SignalValue, Status, What,
};
use brimwatch::engine::settings::{DeliverySetup, Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use std::collections::BTreeMap;
use std::path::Path;

/// Nothing moves in the first seconds; the transfer starts then.
pub const START_S: u64 = 20;
/// Mass flow of the story, kg/s.
pub const RATE: f64 = 5.0;
/// The pad of the story, Pa gauge.
pub const PAD_PA: f64 = 100_000.0;
/// Density of the story's load: 50 % caustic soda at 35 C, as the product file's table gives it, kg/m3.
const DENSITY: f64 = 1514.5;
/// Cross-section of the shipped site's tank (2.84 m across), m2.
const AREA_M2: f64 = std::f64::consts::PI / 4.0 * 2.84 * 2.84;
/// The line of the shipped site holds this much, m3: before and after the meter.
const LINE_M3: (f64, f64) = (0.015, 0.040);

/// What the instruments would show at a moment. A story bends it.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    /// Seconds of the story.
    pub s: u64,
    /// Left the trailer, kg.
    pub out_kg: f64,
    /// Through the meter, kg.
    pub metered_kg: f64,
    /// Into the tank, kg.
    pub received_kg: f64,
    /// Mass flow, kg/s.
    pub rate: f64,
    /// Pad, Pa gauge.
    pub pad_pa: f64,
    /// Level before the start, m.
    pub opening_m: f64,
    /// Pressure above the tank's liquid, Pa gauge.
    pub vapour_pa: f64,
    /// The independent switch.
    pub switch: bool,
}

/// A bay under watch.
pub struct Story {
    pub monitor: Monitor,
    pub settings: Settings,
    pub delivery: DeliverySetup,
    pub last: Frame,
    noise: u64,
    s: u64,
    /// Second of the story at which the present segment began.
    zero_s: u64,
    /// Bends what the instruments show.
    pub bend: fn(&mut Truth),
    /// Kinds whose register holds this, whatever the truth.
    pub stuck: Vec<(SignalKind, Measured)>,
    /// What devices say of themselves beside the value of a kind.
    pub status: Vec<(SignalKind, Status)>,
    /// Devices for which a gateway replays its cache: everything as it last was, heartbeat and all.
    pub replayed: Vec<u16>,
    /// Registers count in coarse steps, and nothing is noisy while nothing flows.
    pub coarse: bool,
    cache: BTreeMap<u16, Poll>,
    /// What the totalizer makes of its count: second of the story and count in, register out.
    pub total: fn(u64, f64) -> f64,
    /// What is drawn off the tank by other ways, kg/s, by second of the story; its mass leaves the tank.
    pub draw_off: fn(u64) -> f64,
    /// The first level gauge shows so much too little, m.
    pub low_m: f64,
    /// The transfer stands still from here on.
    pub stop_s: Option<u64>,
    /// The scale's register is the meter's total in disguise.
    pub copied: bool,
    /// Devices that do not answer.
    pub silent: Vec<u16>,
    /// Devices of which nothing is heard at all, not even that they were missed.
    pub unheard: Vec<u16>,
    /// Everything that was fed in, for replays.
    pub inputs: Vec<Input>,
    /// Every frame that was given out.
    pub outputs: Vec<Output>,
}

/// The shipped site file and delivery.
pub fn shipped() -> (Settings, DeliverySetup) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let site = config::load(&root.join("config/site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
    let delivery =
        config::load_delivery(&root.join("config/delivery.toml"), &site).unwrap_or_else(|faults| panic!("{faults}"));
    (site.bays[delivery.bay].settings.clone(), delivery.setup)
}

impl Story {
    /// The shipped bay, its delivery opened.
    pub fn opened() -> Story {
        let (settings, delivery) = shipped();
        Story::with(settings, delivery)
    }

    pub fn with(settings: Settings, delivery: DeliverySetup) -> Story {
        let monitor = Monitor::new(settings.clone(), Carried::default());
        let last = monitor.frame();
        let mut story = Story {
            monitor,
            settings,
            delivery: delivery.clone(),
            last,
            noise: 7,
            s: 0,
            zero_s: 0,
            bend: |_| {},
            stuck: Vec::new(),
            status: Vec::new(),
            replayed: Vec::new(),
            coarse: false,
            cache: BTreeMap::new(),
            total: |_, count| count,
            draw_off: |_| 0.0,
            low_m: 0.0,
            stop_s: None,
            copied: false,
            silent: Vec::new(),
            unheard: Vec::new(),
            inputs: Vec::new(),
            outputs: Vec::new(),
        };
        story.feed(Event::Clock(WallTime(0)));
        story.entry(What::DeliveryOpened(Box::new(delivery)));
        story
    }

    /// The same, transferring and so far in.
    pub fn transferring(until_s: u64) -> Story {
        let mut story = Story::opened();
        story.start();
        story.run_to(until_s);
        story
    }

    /// Runs to the start and enters it.
    pub fn start(&mut self) {
        self.run_to(START_S);
        self.entry(What::TransferStarted);
    }

    /// A new segment begins here, with what crosses into it.
    pub fn new_segment(&mut self, change: impl Fn(&mut Carried)) {
        let mut carried = self.monitor.carried();
        change(&mut carried);
        self.monitor = Monitor::new(self.settings.clone(), carried);
        self.zero_s = self.s;
        self.feed(Event::Clock(WallTime(0)));
    }

    pub fn entry(&mut self, what: What) {
        self.feed(Event::Entry(Entry { who: "attendant".into(), leg: 1, what }));
    }

    pub fn feed(&mut self, event: Event) {
        let input = Input { at: EngineTime((self.s - self.zero_s) * SECOND_NS + SECOND_NS / 2), event };
        let output = self.monitor.step(&input);
        self.inputs.push(input);
        self.outputs.push(output);
        self.last = self.monitor.frame();
    }

    /// One second after the other until `until_s`: every device is polled, then the tick.
    pub fn run_to(&mut self, until_s: u64) {
        while self.s < until_s {
            self.s += 1;
            let truth = self.truth();
            for device in (0u16..).take(self.settings.devices.len()) {
                if self.unheard.contains(&device) {
                    continue;
                }
                let event = if self.silent.contains(&device) {
                    let requested = EngineTime((self.s - self.zero_s) * SECOND_NS);
                    Event::Missed(Missed { device, requested, reason: MissReason::TimeOut })
                } else {
                    Event::Poll(self.poll(device, &truth))
                };
                self.feed(event);
            }
            self.feed(Event::Tick);
        }
    }

    fn truth(&self) -> Truth {
        let moving_s = self.s.min(self.stop_s.unwrap_or(u64::MAX)).saturating_sub(START_S);
        let stands = self.stop_s.is_some_and(|stop| self.s > stop);
        #[expect(clippy::cast_precision_loss, reason = "hours")]
        let out_kg = RATE * moving_s as f64;
        let (up, down) = (LINE_M3.0 * DENSITY, LINE_M3.1 * DENSITY);
        let mut truth = Truth {
            s: self.s,
            out_kg,
            metered_kg: (out_kg - up).max(0.0),
            received_kg: (out_kg - up - down).max(0.0),
            rate: if moving_s > 0 && !stands { RATE } else { 0.0 },
            pad_pa: PAD_PA,
            opening_m: 2.0,
            vapour_pa: 500.0,
            switch: false,
        };
        (self.bend)(&mut truth);
        truth
    }

    fn poll(&mut self, device: u16, truth: &Truth) -> Poll {
        let at = EngineTime((self.s - self.zero_s) * SECOND_NS);
        if let (true, Some(cached)) = (self.replayed.contains(&device), self.cache.get(&device)) {
            return Poll { due: at, requested: at, replied: at, ..cached.clone() };
        }
        let signals: Vec<(u16, SignalKind)> = (0u16..)
            .zip(&self.settings.signals)
            .filter(|(_, s)| s.device == device)
            .map(|(i, s)| (i, s.kind))
            .collect();
        let values: Vec<SignalValue> =
            signals.into_iter().map(|(signal, kind)| self.sends(signal, kind, truth)).collect();
        let beats = self.settings.devices[usize::from(device)].heartbeat_s.is_some();
        let heartbeat = beats.then_some(self.s);
        let poll = Poll { heartbeat, values, ..Poll::at_once(device, at, []) };
        self.cache.insert(device, poll.clone());
        poll
    }

    fn sends(&mut self, signal: u16, kind: SignalKind, truth: &Truth) -> SignalValue {
        let status = self.status.iter().find(|(k, _)| *k == kind).map_or(Status::Fair, |(_, status)| *status);
        let noise = self.next_noise();
        let noise = if self.coarse && truth.rate <= 0.0 { 0.0 } else { noise };
        let value = match (self.stuck.iter().find(|(k, _)| *k == kind), self.shows(kind, truth, noise)) {
            (Some((_, value)), _) => *value,
            (None, Measured::Number(value)) if self.coarse => {
                let step = coarse_step(kind);
                Measured::Number((value / step).round() * step)
            }
            (None, value) => value,
        };
        SignalValue { signal, value, status }
    }

    fn level_m(&self, truth: &Truth) -> f64 {
        let drawn_kg = (0..truth.s).map(self.draw_off).sum::<f64>();
        truth.opening_m + (truth.received_kg - drawn_kg) / (DENSITY * AREA_M2)
    }

    fn shows(&self, kind: SignalKind, truth: &Truth, noise: f64) -> Measured {
        Measured::Number(match kind {
            SignalKind::FlowMassTotal => {
                (self.total)(truth.s, 1_000.0 + truth.metered_kg + if self.copied { 0.0 } else { 0.02 * noise })
            }
            SignalKind::FlowMassRate => truth.rate * (1.0 + 0.005 * noise),
            SignalKind::LineDensity => DENSITY + 0.3 * noise,
            SignalKind::LineTemperature | SignalKind::TankTemperature => 35.0 + 0.05 * noise,
            SignalKind::Scale if self.copied => 34_000.0 - truth.metered_kg,
            SignalKind::Scale => {
                // A closed trailer: the gas that takes the liquid's place stays on the scale.
                let gas_kg = (truth.pad_pa + 101_325.0) / (296.803 * 293.15) * truth.out_kg / DENSITY;
                ((34_000.0 - truth.out_kg + gas_kg + 5.0 * noise) / 20.0).round() * 20.0
            }
            SignalKind::Level => self.level_m(truth) - self.low_m + 0.001 * noise,
            SignalKind::DrawOff => (self.draw_off)(truth.s),
            SignalKind::TankPressure => truth.vapour_pa,
            SignalKind::LevelPressure => truth.vapour_pa + DENSITY * 9.806_65 * self.level_m(truth) + 30.0 * noise,
            SignalKind::PadPressure => truth.pad_pa + 100.0 * noise,
            SignalKind::GasSupplyPressure => 550_000.0,
            SignalKind::DewPoint => -60.0,
            SignalKind::HighLevelSwitch => return Measured::Flag(truth.switch),
            SignalKind::ShutoffClosed | SignalKind::ShutoffBypassed => return Measured::Flag(false),
            other => panic!("the shipped bay has no {other:?}"),
        })
    }

    /// A number of unit variance, about normal (twelve uniform ones): enough for a story, and the same every time.
    fn next_noise(&mut self) -> f64 {
        let mut sum = -6.0;
        for _ in 0..12 {
            // Knuth's MMIX generator.
            self.noise = self.noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            #[expect(clippy::cast_precision_loss, reason = "a number between 0 and 1")]
            let uniform = (self.noise >> 11) as f64 / (1u64 << 53) as f64;
            sum += uniform;
        }
        sum
    }

    /// Index of the device that has a kind of signal.
    pub fn device_of(&self, kind: SignalKind) -> u16 {
        self.settings.signals.iter().find(|s| s.kind == kind).map(|s| s.device).expect("a signal of that kind")
    }

    /// Index of the signal of a kind.
    pub fn signal_of(&self, kind: SignalKind) -> u16 {
        (0u16..).zip(&self.settings.signals).find(|(_, s)| s.kind == kind).map(|(i, _)| i).expect("a signal")
    }
}

/// One step of a coarse register: 0.1 t/h, 5 mm, 1 kPa, 1 C, 1 kg; the scale has its 20 kg.
fn coarse_step(kind: SignalKind) -> f64 {
    match kind {
        SignalKind::FlowMassRate => 0.1 / 3.6,
        SignalKind::Level => 0.005,
        SignalKind::TankPressure | SignalKind::PadPressure => 1_000.0,
        SignalKind::Scale => 20.0,
        _ => 1.0,
    }
}
