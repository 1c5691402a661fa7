//! Moments of an invented works' bay that receives 50 % caustic soda, as the live loop would publish them.
//! The numbers are made up to be looked at; nothing is computed from them.

use brimwatch::engine::blow::BlowSetup;
use brimwatch::engine::checks::{Check, CheckId, CheckState, Checks, Paper, Wanted, Why};
use brimwatch::engine::frame::{
    Alarm, AttendanceState, CeilingBy, Condition, Contribution, DeliveryState, DeviceState, Estimate, Explanation,
    Finish, Frame, Margin, MarginParts, Moment, NeighbourState, Opening, Pad, Pessimist, Phase, Priority, Reading,
    Reason, Source, Tank, Together, Trouble, Validity, Verdict, VerdictWord, Witness, WitnessId,
};
use brimwatch::engine::input::{AlarmId, AlarmKey, Gap, GapClock, MissReason, RecorderState, Status};
use brimwatch::engine::papers::{Contacts, Expected, Property};
use brimwatch::engine::settings::{
    DeviceSetup, DrawOff, Drive, GasSetup, Limits, LineSetup, LineStart, NeighbourSetup, PadTap, RestsOnScale,
    Settings, SignalKind, SignalSetup, TankGeometry, TankSetup, Thresholds,
};
use brimwatch::engine::steps::{Against, Bar, Right, Side, Signature, SignedBy, Stands, Step, StepState};
use brimwatch::page::feed::{Block, DeviceStats, Facts, PlaceSaid, Published};
use brimwatch::picture::Past;
use brimwatch::time::{EngineTime, SECOND_NS, WallAnchor, WallTime};
use brimwatch::units::{Celsius, GaugePa, Kg, M3, Metre};
use std::sync::Arc;

/// 2026-03-10 13:40:00 UTC, when the invented transfer starts.
const START: WallTime = WallTime(1_773_150_000_000_000_000);

/// Every moment with its name.
pub fn all() -> Vec<(&'static str, Published)> {
    vec![
        ("idle", idle()),
        ("opened", opened()),
        ("not-yet-proven", not_yet_proven()),
        ("agree", agree()),
        ("disagree", disagree()),
        ("cannot-tell-which", cannot_tell_which()),
        ("lost-signals", lost_signals()),
        ("old-values", old_values()),
        ("does-not-fit", does_not_fit()),
        ("everything-at-once", everything_at_once()),
        ("closed", closed()),
        ("shared-tank", shared_tank()),
        ("held", held()),
        ("stepping", stepping()),
    ]
}

/// Half an hour into a transfer the three agree.
pub fn agree() -> Published {
    Published {
        site: "Lindholm Soda Works".into(),
        settings: Arc::new(settings()),
        frame: frame(),
        past: Arc::new(past()),
        facts: Arc::new(facts()),
        wire: wire(),
        devices: devices(),
        drill_speed: Some(10.0),
        number: 1773,
    }
}

/// What the invented works' site file says; who gives first aid it does not.
fn facts() -> Facts {
    let line = |key, text: &str| (key, text.to_owned());
    let place = |address, form: &str, unit| PlaceSaid { function: 3, address, count: 2, form: form.into(), unit };
    Facts {
        emergency: vec![
            line("call", "555 0199, works fire brigade; then the shift supervisor, 555 0103"),
            line("stop", "red button left of the ladder, second one at the gate"),
            line("gas", "ball valve with the yellow lever at the gas panel"),
            line("shower", "10 steps east of the trailer spot"),
            line("eyewash", "beside the shower, and in the pump house"),
            line("way_out", "gate 2, upwind by the windsock; meet at the canteen"),
        ],
        usual_pad_pa_gauge: Some(124_000.0),
        usual_pad_band_pa_gauge: Some((110_000.0, 138_000.0)),
        places: vec![
            place(100, "f32 ABCD", "kg/s"),
            place(102, "u32 CDAB", "kg"),
            place(200, "i32 ABCD", "kg"),
            place(300, "f32 ABCD", "m"),
            place(302, "f32 ABCD", "Pa gauge"),
        ],
    }
}

/// What the three devices sent last.
fn wire() -> Vec<Arc<Vec<Block>>> {
    let block = |address, words: &[u16]| Arc::new(vec![Block { function: 3, address, words: Ok(words.to_vec()) }]);
    vec![
        block(100, &[0x4096, 0x6666, 0x30FC, 0x0000]),
        block(200, &[0x0000, 0x672A]),
        block(300, &[0x40A6, 0xB852, 0x47E7, 0x0E00]),
    ]
}

/// Half an hour in which the three rose together: first slowly, with the pad; an alarm came and nobody watched for a
/// minute.
fn past() -> Past {
    let mut past = Past::default();
    let mut frame = frame();
    let [flow, scale, tank] = [0, 1, 2].map(|i| frame.witnesses[i].received_kg.map_or(0.0, |e| e.value));
    frame.phase = Phase::Opened;
    let opened = |frame: &mut Frame, kg: f64| {
        if let Some(tank) = &mut frame.tank {
            tank.contents_kg = Some(kg);
        }
    };
    opened(&mut frame, 24_600.0);
    frame.at = at(0);
    past.take(&frame);
    frame.phase = Phase::Transfer;
    for s in (4..=1772).step_by(4).filter(|s| !(900..960).contains(s)) {
        frame.at = at(s);
        frame.blind = (s >= 960).then_some(Gap { from: at(896), to: at(960), known_by: GapClock::SameBoot });
        frame.alarms = if s > 1200 { vec![alarm(AlarmId::ReadingUnlikely, 0, Priority::Low)] } else { Vec::new() };
        for alarm in &mut frame.alarms {
            alarm.since = WallTime(START.0 + 1_200_000_000_000);
        }
        let share = (s as f64 / 1772.0 - 0.06 * (1.0 - (-(s as f64) / 90.0).exp())) / 0.94;
        for (witness, kg) in frame.witnesses.iter_mut().zip([flow, scale, tank]) {
            witness.received_kg = Some(Estimate { value: kg * share.max(0.0), u: 20.0 });
        }
        opened(&mut frame, 24_600.0 + tank * share.max(0.0));
        let wander = (s as f64 / 70.0).sin() * 1_800.0;
        frame.pad.pressure_pa_gauge = Some(118_300.0 * (1.0 - (-(s as f64) / 120.0).exp()) + wander);
        past.take(&frame);
    }
    past
}

/// Another bay fills the same tank.
pub fn shared_tank() -> Published {
    let mut p = agree();
    p.settings = Arc::new(Settings { neighbours: vec![NeighbourSetup { bay: "Bay 2".into(), tank: 0 }], ..settings() });
    p.frame.neighbours = vec![NeighbourState {
        neighbour: 0,
        heard_at: Some(p.frame.at),
        silent: false,
        phase: Phase::Transfer,
        rate_kg_per_s: 5.2,
        brought_kg: Some(Estimate { value: 6_210.0, u: 14.0 }),
        rest_kg: 3_412.0,
    }];
    if let Margin::Known { kg, parts, .. } = &mut p.frame.margin {
        parts.neighbour_kg = 3_412.0;
        *kg -= 3_412.0;
    }
    p
}

/// Nothing is going on.
pub fn idle() -> Published {
    let mut p = opened();
    p.frame.phase = Phase::Idle;
    p.frame.delivery = None;
    p.frame.margin = Margin::Unknown;
    p.frame.tank = None;
    p.drill_speed = None;
    p
}

/// Papers are in, nothing has moved.
pub fn opened() -> Published {
    let mut p = agree();
    p.frame.phase = Phase::Opened;
    p.frame.rate = None;
    p.frame.finish = Finish::default();
    p.frame.together = None;
    p.frame.verdict = verdict(VerdictWord::None);
    for w in &mut p.frame.witnesses {
        w.validity = Validity::Lost(Reason::NoStart);
        w.received_kg = None;
    }
    p
}

/// Joints are looked at: the pad is above its band, and the driver has signed what both must.
pub fn stepping() -> Published {
    let mut p = opened();
    let mut settings = (*p.settings).clone();
    let step = |id: &str, text: &str, care: &str| Step {
        id: id.into(),
        text: text.into(),
        care: care.into(),
        right: Right::Attend,
        signed_by: SignedBy::Site,
        hold: false,
        proof: false,
        bars: Vec::new(),
    };
    settings.steps = vec![
        step("bonded", "Bonding cable connected to bare metal, and its continuity shown.", ""),
        step("scrubber_runs", "The scrubber runs.", ""),
        Step {
            hold: true,
            proof: true,
            signed_by: SignedBy::Both,
            ..step(
                "leak_check",
                "Every joint looked at from a distance at the low pad; the hose's gauge stands still.",
                "If anything seeps: stop by emergency stop or remote valve, shut the gas, keep clear and upwind; look only \
                 from a distance, in the required protection; touch or tighten nothing under pressure.",
            )
        },
        step("full_pad", "Pad brought slowly to its working pressure.", ""),
    ];
    p.settings = Arc::new(settings);
    let signature = |side, who: &str, note: &str| Signature {
        side,
        who: who.into(),
        at: WallTime(START.0 - 300_000_000_000),
        note: note.into(),
    };
    let against = vec![
        Against { bar: Bar::PadAbove(GaugePa(68_948.0)), forbids: true, value_si: Some(82_700.0) },
        Against { bar: Bar::Flows, forbids: false, value_si: None },
    ];
    let state = |step, stands, signatures, against| StepState { step, stands, signatures, against };
    p.frame.steps = vec![
        state(0, Stands::Signed, vec![signature(Side::Site, "A. Tendant", "")], Vec::new()),
        state(1, Stands::Skipped, vec![signature(Side::Site, "E. Ngineer", "none at this bay")], Vec::new()),
        state(2, Stands::Open, vec![signature(Side::Driver, "D. Haul", "gauge 12 psi")], against),
    ];
    p
}

/// Papers are in, and some of the checks fail.
pub fn held() -> Published {
    let mut p = opened();
    let property = Property {
        name: "sodium hydroxide".into(),
        value: Some(48.2),
        unit: "% by mass".into(),
        low: Some(49.0),
        high: Some(51.0),
    };
    let who = || "R. Quill".to_owned();
    let at = WallTime(START.0 - 600_000_000_000);
    use CheckState::{Fails, Met, NotYet};
    let lines = [
        (CheckId::Product, Met, Why::Found("caustic soda 50 %".into())),
        (CheckId::Certificate, Fails, Why::Property(property)),
        (CheckId::SealNumbers, Fails, Why::Differs { expected: "88101, 88102".into(), found: "88101, 88107".into() }),
        (CheckId::SealsUnbroken, Met, Why::Entered { who: who(), at, note: String::new() }),
        (CheckId::CarrierAndDriver, NotYet, Why::NotWritten(Paper::Driver)),
        (CheckId::Plate, NotYet, Why::NotSet(Wanted::Relief)),
        (CheckId::PlateReadBack, NotYet, Why::NotEntered),
        (CheckId::LoadFits, Met, Why::Room { kg: 3_140.0, opening_kg: 268.0 }),
        (CheckId::TrailerPressure, Met, Why::Pressure { pa_gauge: 55_000.0, most_pa_gauge: 172_000.0 }),
        (CheckId::TrailerTemperature, Met, Why::Temperature { c: 35.0, low_c: Some(20.0), high_c: Some(60.0) }),
        (CheckId::DewPoint, NotYet, Why::NotEntered),
        (CheckId::ShutoffTested, Met, Why::Tested { days: 101, most_days: 365 }),
        (CheckId::ShutoffInService, NotYet, Why::NotEntered),
        (CheckId::ConnectionIdentified, NotYet, Why::NotEntered),
        (CheckId::EmergencyEquipment, NotYet, Why::NotEntered),
    ];
    let line = |(id, state, why): (CheckId, CheckState, Why)| {
        let by_person = matches!(why, Why::NotEntered | Why::Entered { .. });
        Check { id, state, by_person, why: vec![why] }
    };
    p.frame.checks = lines.into_iter().map(line).collect();
    p
}

/// The first minute.
pub fn not_yet_proven() -> Published {
    let mut p = agree();
    p.frame.verdict = verdict(VerdictWord::NotYetProven);
    for (w, (value, u)) in p.frame.witnesses.iter_mut().zip([(212.0, 11.0), (180.0, 24.0), (240.0, 66.0)]) {
        w.received_kg = Some(Estimate { value, u });
    }
    p.frame.together = Some(together(207.0, 10.0));
    p.frame.finish = Finish::default();
    p
}

/// Product leaves before the meter, or the scale drifts light.
pub fn disagree() -> Published {
    let mut p = agree();
    p.frame.witnesses[1].received_kg = Some(Estimate { value: 12_671.0, u: 21.0 });
    p.frame.together = Some(Together { chi_square: 31.0, ..together(12_580.0, 17.0) });
    p.frame.verdict = Verdict {
        missing_kg: Some(Estimate { value: 174.0, u: 33.0 }),
        suspects: [false, true, false],
        explanations: vec![Explanation::LeakBeforeMeter, Explanation::ScaleLight],
        ..verdict(VerdictWord::Disagree)
    };
    p.frame.alarms = vec![alarm(AlarmId::WitnessesDisagree, 0, Priority::High)];
    p
}

/// Two are left and they differ: everything that fits is named.
pub fn cannot_tell_which() -> Published {
    let mut p = agree();
    lose(&mut p.frame, 1, 2, Reason::Missed(MissReason::TimeOut));
    p.frame.witnesses[2].received_kg = Some(Estimate { value: 12_102.0, u: 47.0 });
    p.frame.verdict = Verdict {
        missing_kg: Some(Estimate { value: 386.0, u: 52.0 }),
        suspects: [true, false, true],
        explanations: vec![
            Explanation::LeakAfterMeter,
            Explanation::OtherTank,
            Explanation::GaugeLow,
            Explanation::UnknownDrawOff,
            Explanation::TableLow,
            Explanation::DensityOff,
            Explanation::MeterHigh,
        ],
        ..verdict(VerdictWord::CannotTellWhich)
    };
    p.frame.alarms =
        vec![alarm(AlarmId::WitnessesDisagree, 0, Priority::High), alarm(AlarmId::SignalLost, 2, Priority::Medium)];
    p
}

/// Scale and pad pressure gone, the level at its end of range, time nobody watched.
pub fn lost_signals() -> Published {
    let mut p = agree();
    lose(&mut p.frame, 1, 2, Reason::Missed(MissReason::NoConnection));
    lose(&mut p.frame, 2, 3, Reason::Saturated);
    let pad = &mut p.frame.readings[4];
    pad.validity = Validity::Lost(Reason::DeviceException(4));
    p.frame.pad.pressure_pa_gauge = None;
    p.frame.pad.slope_pa_per_s = None;
    p.frame.together = None;
    p.frame.verdict = verdict(VerdictWord::OneOnly);
    p.frame.recorder = RecorderState::Waiting { bytes: 1_300_000 };
    p.frame.blind = Some(Gap { from: at(900), to: at(1010), known_by: GapClock::WallClock });
    p.devices[1].trouble = "no connection".into();
    p.frame.devices[1].trouble = Some(Trouble { reason: MissReason::NoConnection, since: at(1712) });
    p.frame.alarms = vec![
        alarm(AlarmId::SignalLost, 2, Priority::Medium),
        Alarm { seen: true, ..alarm(AlarmId::SignalLost, 4, Priority::Medium) },
        alarm(AlarmId::OneWitnessLeft, 0, Priority::Medium),
    ];
    p
}

/// A gateway repeats what it last had of scale and tank, the meter's heartbeat has stopped, the pad's transmitter asks
/// for maintenance.
pub fn old_values() -> Published {
    let mut p = agree();
    lose(&mut p.frame, 0, 1, Reason::HeartbeatStopped);
    p.frame.readings[0].validity = Validity::Lost(Reason::HeartbeatStopped);
    p.frame.devices[0].heartbeat_at = Some(at(1760));
    lose(&mut p.frame, 1, 2, Reason::FrozenTogether);
    lose(&mut p.frame, 2, 3, Reason::FrozenTogether);
    p.frame.readings[4].status = Status::MaintenanceRequired;
    p.frame.together = None;
    p.frame.verdict = verdict(VerdictWord::None);
    p.frame.margin = Margin::Unknown;
    p.frame.rate = None;
    p.frame.finish = Finish::default();
    p.frame.alarms = vec![
        alarm(AlarmId::NoWitness, 0, Priority::High),
        alarm(AlarmId::SignalLost, 1, Priority::Medium),
        alarm(AlarmId::SignalLost, 2, Priority::Medium),
    ];
    p
}

/// The load does not fit below high-high, and no limit of the pad was typed in.
pub fn does_not_fit() -> Published {
    let mut p = agree();
    if let Margin::Known { kg, parts, by_witness_kg, .. } = &mut p.frame.margin {
        *kg = -1234.0;
        parts.rest_kg += 4424.0;
        *by_witness_kg = [Some(-980.0), Some(-1010.0), Some(-1234.0)];
    }
    p.frame.finish.level =
        Some(Moment { q05: at(2950), q50: at(3010), q95: at(3070), earliest: at(2940), earliest_by: WitnessId::Tank });
    p.frame.finish.be_at_valve_by = Some(at(1700));
    p.frame.pad.ceiling_pa_gauge = None;
    p.frame.pad.ceiling_by = None;
    p.frame.alarms = vec![alarm(AlarmId::HighLevelProjected, 0, Priority::High)];
    p
}

/// Four alarms, the pad above its ceiling.
pub fn everything_at_once() -> Published {
    let mut p = disagree();
    p.frame.pad.pressure_pa_gauge = Some(176_400.0);
    p.frame.pad.slope_pa_per_s = Some(120.0);
    p.frame.alarms = vec![
        alarm(AlarmId::LevelSwitchTripped, 0, Priority::High),
        alarm(AlarmId::PadNearCeiling, 0, Priority::High),
        alarm(AlarmId::WitnessesDisagree, 0, Priority::High),
        alarm(AlarmId::RecorderTrouble, 0, Priority::Low),
    ];
    p
}

/// The leg is closed.
pub fn closed() -> Published {
    let mut p = agree();
    p.frame.phase = Phase::Closed;
    p.frame.rate = None;
    p.frame.finish = Finish::default();
    p
}

/// An open alarm since a minute ago.
pub fn alarm(id: AlarmId, subject: u16, priority: Priority) -> Alarm {
    let since = WallTime(START.0 + 1713 * 1_000_000_000);
    Alarm { key: AlarmKey { id, subject }, condition: Condition::True, seen: false, since, priority, first: false }
}

fn lose(frame: &mut Frame, witness: usize, signal: usize, reason: Reason) {
    frame.readings[signal].validity = Validity::Lost(reason);
    frame.witnesses[witness].validity = Validity::Lost(reason);
}

fn at(seconds: u64) -> EngineTime {
    EngineTime(seconds * SECOND_NS)
}

fn verdict(word: VerdictWord) -> Verdict {
    let agree = word == VerdictWord::Agree;
    Verdict {
        word,
        since: at(60),
        agree_within_kg: agree.then_some(42.0),
        leak_below_trailer_kg_per_min: agree.then_some(4.3),
        leak_below_tank_kg_per_min: agree.then_some(5.8),
        missing_kg: None,
        growing: None,
        suspects: [false; 3],
        explanations: Vec::new(),
    }
}

fn together(value: f64, u: f64) -> Together {
    let weights = [0.26, 0.64, 0.1];
    Together { received_kg: Estimate { value, u }, weights, chi_square: 0.9, degrees_of_freedom: 2 }
}

fn frame() -> Frame {
    Frame {
        at: at(1772),
        clock: WallAnchor { at: EngineTime(0), wall: START },
        phase: Phase::Transfer,
        delivery: Some(DeliveryState {
            id: "0417".into(),
            leg: 1,
            product: "caustic soda 50 %".into(),
            product_confirmed: false,
            planned_kg: 20_000.0,
            loaded_kg: 20_040.0,
            started: Some(at(0)),
            closed: None,
            scale_zero: None,
            rejected: None,
        }),
        readings: readings(),
        devices: (0..3).map(device_state).collect(),
        witnesses: witnesses(),
        together: Some(together(12_487.0, 13.0)),
        verdict: verdict(VerdictWord::Agree),
        rate: Some(Estimate { value: 4.7, u: 0.02 }),
        finish: Finish {
            planned: Some(moment(3370, 60)),
            first_gas: Some(moment(3380, 100)),
            level: None,
            be_at_valve_by: Some(at(2980)),
        },
        margin: margin(),
        pad: Pad {
            pressure_pa_gauge: Some(118_300.0),
            ceiling_pa_gauge: Some(172_000.0),
            ceiling_by: Some(CeilingBy::Site),
            mawp_pa_gauge: Some(206_843.0),
            relief_from_pa_gauge: Some(248_211.0),
            relief_to_pa_gauge: Some(273_033.0),
            slope_pa_per_s: Some(7.0),
            to_ceiling_s: None,
        },
        tank: Some(Tank {
            tank: 0,
            level_m: Some(5.21),
            contents_kg: Some(37_100.0),
            working_kg: 46_000.0,
            high_high_kg: 48_600.0,
            critical_kg: 51_200.0,
            opening: Opening { doubt_m: 0.015, ..Opening::default() },
        }),
        alarms: Vec::new(),
        recorder: RecorderState::Durable,
        blind: None,
        neighbours: Vec::new(),
        checks: Checks::default(),
        steps: Vec::new(),
        blow: None,
        shelves: Vec::new(),
        out_of_service: Vec::new(),
        suppressed: Vec::new(),
        attendance: AttendanceState::default(),
    }
}

fn witnesses() -> [Witness; 3] {
    let part = |source, kg| Contribution { source, kg };
    let witness = |id, value, u, budget| Witness {
        id,
        validity: Validity::Good,
        received_kg: Some(Estimate { value, u }),
        budget,
    };
    [
        witness(
            WitnessId::Flow,
            12_488.0,
            27.0,
            vec![part(Source::MeterGain, 18.7), part(Source::MeterZero, 4.0), part(Source::LineDownstream, -19.0)],
        ),
        witness(
            WitnessId::Scale,
            12_477.0,
            15.0,
            vec![part(Source::ScaleReading, 9.0), part(Source::ScaleSpan, 6.2), part(Source::ScaleDrift, 7.0)],
        ),
        witness(
            WitnessId::Tank,
            12_519.0,
            47.0,
            vec![part(Source::TankTable, 31.0), part(Source::LevelReading, 19.0), part(Source::Density, 12.5)],
        ),
    ]
}

fn margin() -> Margin {
    Margin::Known {
        kg: 3190.0,
        pessimist: Pessimist::Gauge(3),
        rest_by: Some(WitnessId::Scale),
        parts: MarginParts {
            at_high_high_kg: 48_600.0,
            contents_kg: 37_100.0,
            rest_kg: 7563.0,
            run_on_kg: 94.0,
            line_kg: 82.0,
            blow_clear_kg: 60.0,
            allowance_kg: 161.0,
            opening_kg: 350.0,
            neighbour_kg: 0.0,
        },
        by_witness_kg: [Some(3310.0), Some(3300.0), Some(3190.0)],
    }
}

fn moment(median_s: u64, half_width_s: u64) -> Moment {
    Moment {
        q05: at(median_s - half_width_s),
        q50: at(median_s),
        q95: at(median_s + half_width_s),
        earliest: at(median_s - half_width_s - 15),
        earliest_by: WitnessId::Scale,
    }
}

fn readings() -> Vec<Reading> {
    let values = [4.7, 12_540.0, 26_410.0, 5.21, 118_300.0];
    (0u16..)
        .zip(values)
        .map(|(signal, value)| Reading {
            signal,
            value_si: Some(value),
            read_at: Some(at(1771)),
            validity: Validity::Good,
            status: Status::Fair,
            at_least_si: None,
        })
        .collect()
}

/// How a device has answered: twice it did not in time, once the line garbled the answer.
fn device_state(device: u16) -> DeviceState {
    DeviceState {
        device,
        answered: 1771,
        missed: 3,
        missed_for: vec![(MissReason::TimeOut, 2), (MissReason::BadChecksum, 1)],
        connections: 3,
        trouble: None,
        latency_ns: 840_000,
        latency_worst_ns: 14_200_000,
        lateness_ns: 120_000,
        lateness_worst_ns: 3_100_000,
        heartbeat_at: Some(at(1770)),
    }
}

fn thresholds() -> Thresholds {
    Thresholds {
        chi_square: [10.83, 13.82],
        finding: [[16.0, 17.0]; 7],
        suspect_band: 3.0,
        found_z: 1.645,
        margin_z: 2.33,
        near_ceiling: 0.9,
        on_delay_s: 3.0,
        off_delay_s: 10.0,
        dead_bands: Vec::new(),
    }
}

fn settings() -> Settings {
    Settings {
        bay: "Bay 2".into(),
        devices: ["flow computer", "scale terminal", "tank transmitters"]
            .map(|name| DeviceSetup {
                name: name.into(),
                link: name.into(),
                period_s: 1.0,
                time_out_s: 0.5,
                heartbeat_s: None,
            })
            .into(),
        signals: signals(),
        tanks: vec![TankSetup {
            name: "Tank 4".into(),
            geometry: TankGeometry::VerticalCylinder { diameter: Metre(3.0), height: Metre(7.5) },
            table_u: 0.0025,
            working: Metre(4.3),
            high_high: Metre(4.55),
            critical: Metre(4.8),
            opening_u: Metre(0.025),
            shell: None,
            hand_dip_u: None,
            draw_off: DrawOff::DeclaredZero,
        }],
        rests_on_scale: RestsOnScale::Trailer,
        line: LineSetup {
            upstream: M3(0.02),
            downstream: M3(0.054),
            volume_u: 0.1,
            starts: LineStart::Empty,
            valve_closes_s: 20.0,
            blow_clear: Kg(60.0),
            bore: None,
            outlet_height: None,
        },
        drive: Drive::Pad,
        pad_tap: PadTap::Trailer,
        gas: GasSetup {
            name: "nitrogen".into(),
            constant_j_per_kg_k: 296.803,
            temperature: Celsius(20.0),
            temperature_u_k: 10.0,
        },
        limits: Limits {
            response_time_s: 300.0,
            attendance_s: None,
            pad_maximum: Some(GaugePa(172_000.0)),
            pad_minimum: None,
            hose_rating: None,
            line_rating: None,
            connection_rating: None,
        },
        thresholds: thresholds(),
        neighbours: Vec::new(),
        expected: expected(),
        blow: BlowSetup::default(),
        steps: Vec::new(),
    }
}

fn expected() -> Expected {
    Expected {
        contacts: Contacts {
            shipper: Some("loading office, 555 0101".into()),
            supplier: None,
            supervisor: Some("shift supervisor, 555 0103".into()),
        },
        dew_point: Celsius(-40.0),
        gas_relief: Some(GaugePa(165e3)),
        tanks: Vec::new(),
    }
}

fn signals() -> Vec<SignalSetup> {
    let signal = |kind, name: &str, device, tank| SignalSetup {
        kind,
        name: name.into(),
        device,
        tank,
        transmitter: None,
        plausible_low: 0.0,
        plausible_high: 1e6,
        saturates_at: None,
        division: 0.0,
        noise: 1.0,
        slow_noise: 0.0,
        slow_noise_s: 20.0,
        gain: 0.0015,
        zero: 0.0,
        drift_per_sqrt_h: 0.0,
        lag_s: 0.0,
        rolls_over_at: None,
        may_roll_over_at: Vec::new(),
        low_flow: 0.0,
        suppressed_in: Vec::new(),
        apparent_mass: false,
    };
    vec![
        signal(SignalKind::FlowMassRate, "flow", 0, None),
        signal(SignalKind::FlowMassTotal, "flow total", 0, None),
        signal(SignalKind::Scale, "scale", 1, None),
        signal(SignalKind::Level, "level of Tank 4", 2, Some(0)),
        signal(SignalKind::PadPressure, "pad pressure", 2, None),
    ]
}

fn devices() -> Vec<DeviceStats> {
    let one = |name: &str| DeviceStats {
        name: name.into(),
        answered: 1771,
        missed: 2,
        connections: 1,
        latency_us: [840, 2310, 14_200],
        lateness_us: [120, 900, 3100],
        late: 0,
        trouble: String::new(),
    };
    ["flow computer", "scale terminal", "tank transmitters"].map(one).into()
}
