//! A bay of an invented works, and one of everything that a recording can hold.

use brimwatch::engine::blow::{Blow, BlowSetup, BlowState, VentSetup};
use brimwatch::engine::checks::{Check, CheckId, CheckState, Checks, Paper, Wanted, Why};
use brimwatch::engine::frame::*;
use brimwatch::engine::input::*;
use brimwatch::engine::papers::*;
use brimwatch::engine::reading::StartReading;
use brimwatch::engine::settings::*;
use brimwatch::engine::steps::{Against, Bar, Right, Side, Signature, SignedBy, Stands, Step, StepMark, StepState};
use brimwatch::recording::format::{Header, NUMERICS_VERSION, PROGRAM_VERSION};
use brimwatch::recording::truth::{Fault, Harm, Truth};
use brimwatch::time::{EngineTime, SECOND_NS, WallAnchor, WallTime};
use brimwatch::units::{Celsius, GaugePa, Kg, KgPerM3, KgPerS, M3, Metre, PaS};

pub const TANK_DIAMETER_M: f64 = 3.0;
pub const DENSITY_KG_PER_M3: f64 = 1510.0;

pub fn at(seconds: u64) -> EngineTime {
    EngineTime(seconds * SECOND_NS)
}

fn signal(kind: SignalKind, name: &str, device: u16, noise: f64) -> SignalSetup {
    let tank = matches!(kind, SignalKind::Level).then_some(0);
    SignalSetup {
        kind,
        name: name.into(),
        device,
        tank,
        transmitter: None,
        plausible_low: -10_000.0,
        plausible_high: 400_000.0,
        saturates_at: (device == 2).then_some(9.5),
        division: noise,
        noise,
        slow_noise: noise / 2.0,
        slow_noise_s: 20.0,
        gain: 0.001,
        zero: 0.0,
        drift_per_sqrt_h: noise,
        lag_s: 0.5,
        rolls_over_at: (device == 0).then_some(1e6),
        may_roll_over_at: vec![1e4, 65_536.0],
        low_flow: 0.01,
        suppressed_in: vec![Phase::Idle, Phase::Closed],
        apparent_mass: device == 1,
    }
}

pub fn settings() -> Settings {
    let device = |name: &str| DeviceSetup {
        name: name.into(),
        link: name.into(),
        period_s: 1.0,
        time_out_s: 0.5,
        heartbeat_s: None,
    };
    Settings {
        bay: "Bay 1".into(),
        devices: vec![device("meter"), device("scale"), device("tank gauge")],
        signals: vec![
            signal(SignalKind::FlowMassTotal, "flow total", 0, 0.5),
            signal(SignalKind::Scale, "scale", 1, 10.0),
            signal(SignalKind::Level, "level", 2, 0.001),
            signal(SignalKind::PadPressure, "pad", 0, 200.0),
        ],
        tanks: vec![
            tank("Tank 7", TankGeometry::VerticalCylinder { diameter: Metre(TANK_DIAMETER_M), height: Metre(9.0) }),
            tank("Tank 8", TankGeometry::Strapping(vec![(Metre(0.0), M3(0.0)), (Metre(8.5), M3(61.25))])),
        ],
        rests_on_scale: RestsOnScale::Trailer,
        line: LineSetup {
            upstream: M3(0.02),
            downstream: M3(0.05),
            volume_u: 0.05,
            starts: LineStart::Full,
            valve_closes_s: 10.0,
            blow_clear: Kg(40.0),
            bore: Some(Metre(0.0525)),
            outlet_height: Some(Metre(0.9)),
        },
        drive: Drive::Pad,
        pad_tap: PadTap::Trailer,
        gas: GasSetup {
            name: "nitrogen".into(),
            constant_j_per_kg_k: 296.8,
            temperature: Celsius(15.0),
            temperature_u_k: 10.0,
        },
        limits: Limits {
            response_time_s: 60.0,
            attendance_s: Some(900.0),
            pad_maximum: Some(GaugePa(170e3)),
            pad_minimum: Some(GaugePa(70e3)),
            hose_rating: Some(GaugePa(1e6)),
            line_rating: Some(GaugePa(1e6)),
            connection_rating: None,
        },
        thresholds: Thresholds {
            chi_square: [10.83, 13.82],
            finding: [[16.0, 17.0]; 7],
            suspect_band: 2.9957,
            found_z: 1.645,
            margin_z: 2.33,
            near_ceiling: 0.9,
            on_delay_s: 2.0,
            off_delay_s: 5.0,
            dead_bands: vec![DeadBand { alarm: AlarmId::PadNearCeiling, width_si: 1500.0 }],
        },
        neighbours: vec![NeighbourSetup { bay: "Bay 2".into(), tank: 1 }],
        expected: expected(),
        blow: BlowSetup {
            bore: Some(Metre(0.0525)),
            loss: Some(30.0),
            vents: vec![VentSetup { passes: Some(KgPerS(0.25)), limit: Some(GaugePa(7e3)) }],
        },
        steps: vec![step()],
    }
}

/// A step with every bar that there is.
fn step() -> Step {
    let bars = vec![
        Bar::ChecksOpen,
        Bar::Started,
        Bar::NotStarted,
        Bar::NotClosed,
        Bar::Flows,
        Bar::SwitchTripped,
        Bar::EmergencyStop,
        Bar::ShutoffBypassed,
        Bar::Disagree,
        Bar::PadAtCeiling,
        Bar::PadAbove(GaugePa(69e3)),
        Bar::PadBelow(GaugePa(34.5e3)),
        Bar::RisenLess(Kg(300.0)),
        Bar::OtherRises(Kg(250.0)),
        Bar::GasOverVent,
        Bar::TankPressureHigh,
        Bar::AfterBlow(60.0),
    ];
    Step {
        id: "leak_check".into(),
        text: "Every joint looked at.".into(),
        care: "Keep clear.".into(),
        right: Right::Engineer,
        signed_by: SignedBy::Both,
        hold: true,
        proof: false,
        bars,
    }
}

fn signature(side: Side) -> Signature {
    Signature { side, who: "A. Novak".into(), at: WallTime(1_800_000_000_000_000_000), note: "gauge stands".into() }
}

/// A step in each state.
fn every_step() -> Vec<StepState> {
    let state = |step, stands, against| StepState {
        step,
        stands,
        signatures: vec![signature(if step == 0 { Side::Driver } else { Side::Site })],
        against,
    };
    let against = vec![
        Against { bar: Bar::PadAbove(GaugePa(69e3)), forbids: true, value_si: Some(82e3) },
        Against { bar: Bar::Flows, forbids: false, value_si: None },
        Against { bar: Bar::PadBelow(GaugePa(34.5e3)), forbids: true, value_si: Some(12e3) },
        Against { bar: Bar::RisenLess(Kg(300.0)), forbids: true, value_si: Some(120.5) },
        Against { bar: Bar::OtherRises(Kg(250.0)), forbids: true, value_si: Some(260.0) },
        Against { bar: Bar::AfterBlow(60.0), forbids: true, value_si: Some(42.0) },
    ];
    vec![state(0, Stands::Signed, Vec::new()), state(1, Stands::Skipped, Vec::new()), state(2, Stands::Open, against)]
}

fn expected() -> Expected {
    Expected {
        contacts: Contacts { shipper: Some("loading office".into()), supplier: None, supervisor: Some("shift".into()) },
        dew_point: Celsius(-40.0),
        gas_relief: Some(GaugePa(165e3)),
        tanks: vec![TankExpected {
            product: "caustic soda 50 %".into(),
            shipping_description: Some("UN1824".into()),
            marking: None,
            temperature_low: Some(Celsius(20.0)),
            temperature_high: None,
            shutoff_tested: Some(WallTime(1_700_000_000_000_000_000)),
            shutoff_test_days: 180,
        }],
    }
}

fn papers() -> Papers {
    Papers {
        seals_expected: vec!["1".into(), "2".into()],
        seals_found: vec!["2".into()],
        seals_unbroken: Some(false),
        certificate: Some("C-1".into()),
        properties: vec![Property {
            name: "sodium hydroxide".into(),
            value: Some(49.5),
            unit: "% by mass".into(),
            low: Some(49.0),
            high: None,
        }],
        shipping_description: Some("UN1824".into()),
        marking_found: None,
        product_tag: Some("caustic soda 50 %".into()),
        carrier: Some("carrier".into()),
        driver: None,
        pressure_found: Some(GaugePa(55e3)),
        temperature_found: Some(Celsius(34.5)),
    }
}

fn entered() -> EnteredCheck {
    EnteredCheck {
        check: CheckId::PadGas,
        met: false,
        who: "attendant".into(),
        at: WallTime(1_800_000_000_000_000_000),
        note: "no paper allows it".into(),
    }
}

/// One check for each reason that there is.
fn every_check() -> Checks {
    let property = papers().properties[0].clone();
    let why = [
        Why::NotWritten(Paper::Driver),
        Why::NotSet(Wanted::GasRelief),
        Why::Found("as found".into()),
        Why::Differs { expected: "one".into(), found: "other".into() },
        Why::Pressure { pa_gauge: 55e3, most_pa_gauge: 165e3 },
        Why::Temperature { c: 34.5, low_c: Some(20.0), high_c: None },
        Why::NoValue("chloride".into()),
        Why::NoLimits("iron".into()),
        Why::Property(property),
        Why::Properties(3),
        Why::Room { kg: -120.0, opening_kg: 145.0 },
        Why::MarginUnknown,
        Why::NotRead(2),
        Why::Tested { days: 200, most_days: 180 },
        Why::SwitchTripped,
        Why::Bypassed,
        Why::NotEntered,
        Why::Entered { who: "attendant".into(), at: WallTime(7), note: "seen".into() },
    ];
    let states = [CheckState::Fails, CheckState::NotYet, CheckState::Met];
    let ids = CheckId::ALL.iter().map(|(id, _)| *id);
    let each = ids.zip(why).zip(states.into_iter().cycle());
    let check = |((id, why), state)| Check { id, state, by_person: state == CheckState::Met, why: vec![why] };
    each.map(check).collect()
}

fn tank(name: &str, geometry: TankGeometry) -> TankSetup {
    TankSetup {
        name: name.into(),
        geometry,
        table_u: 0.002,
        working: Metre(7.5),
        high_high: Metre(8.0),
        critical: Metre(8.5),
        opening_u: Metre(0.01),
        shell: Some(Shell { per_k: 1.2e-5, reference: Celsius(20.0) }),
        hand_dip_u: Some(Metre(0.003)),
        draw_off: DrawOff::DeclaredZero,
    }
}

pub fn delivery() -> DeliverySetup {
    DeliverySetup {
        id: "D-0001".into(),
        leg: 2,
        tank: 0,
        product: Product {
            name: "caustic soda 50 %".into(),
            density: vec![(Celsius(0.0), KgPerM3(1540.0)), (Celsius(60.0), KgPerM3(1490.0))],
            density_u: 0.002,
            viscosity: vec![(Celsius(20.0), PaS(0.0815)), (Celsius(40.0), PaS(0.0238))],
            confirmed: false,
            source: "invented for this test".into(),
            load_temperature: Celsius(36.0),
        },
        planned: Kg(20_000.0),
        on_board: Some(OnBoard { mass: Kg(20_040.0), u: Kg(31.0) }),
        ticket_net: Kg(20_060.0),
        ticket_u: Kg(20.0),
        trailer_volume: M3(18.0),
        trailer_volume_u: 0.01,
        plate: Plate {
            specification: Some("DOT 407".into()),
            mawp: Some(GaugePa(241e3)),
            relief_from: Some(GaugePa(265e3)),
            relief_to: None,
        },
        papers: papers(),
    }
}

/// Carries one of everything.
/// One entry of each kind but the opening of a delivery.
fn latest() -> Vec<Entry> {
    vec![
        entry_of(What::Closed),
        entry_of(What::Seen(alarm_key())),
        entry_of(What::Shelved { key: alarm_key(), for_s: 900.0 }),
        entry_of(What::Unshelved(alarm_key())),
        entry_of(What::Dipped { level_m: 2.5 }),
        entry_of(What::ScaleZeroed(ZeroCause::RainOrIce)),
        entry_of(What::CheckEntered { check: CheckId::PadGas, met: false, note: "no paper allows it".into() }),
        entry_of(What::Rejected { reason: "wrong seal".into() }),
        entry_of(What::Attended { screen: "bay-1".into() }),
        entry_of(What::HandedOver { out: None, to: "B. Brook".into(), state: "The transfer is on.".into() }),
        entry_of(What::TakenOut { key: alarm_key(), reason: "new gauge".into() }),
        entry_of(What::PutBack(alarm_key())),
        entry_of(What::BlowBegan),
        entry_of(What::BlowEnded),
        entry_of(What::StepSigned {
            step: "leak_check".into(),
            side: Side::Driver,
            name: "D. Haul".into(),
            right: Right::Attend,
            note: "gauge stands".into(),
        }),
        entry_of(What::StepSkipped {
            step: "scrubber_runs".into(),
            right: Right::Engineer,
            reason: "no scrubber here".into(),
        }),
    ]
}

pub fn carried() -> Carried {
    Carried {
        alarms: vec![CarriedAlarm {
            key: alarm_key(),
            since: WallTime(1_800_000_000_000_000_000),
            seen: true,
            first: true,
        }],
        closings: vec![Some(Closing { level_m: 2.125, u_m: 0.015, used_kg: 7.5, gap_kg: 0.25 }), None],
        latest: latest(),
        delivery: Some(CarriedDelivery {
            setup: delivery(),
            leg: 2,
            transferring: false,
            elapsed_s: 12.5,
            starts: vec![Some(StartReading { value: 0.1 + 0.2, count: 48, over_s: 47.0, age_s: 23.5 }), None],
            received_kg: [Some((1.0, 0.1)), None, Some((-0.0, 3.5))],
            counted: CarriedCount { last: Some(17.5), offset: -0.25, gap_u: 0.125, reset: true, most: 16.5 },
            slow_s: 30.0,
            hose: Some(CarriedHose { kg_per_pa: -1.5e-4, u_kg_per_pa: 2.5e-5 }),
            zero: Some(CarriedZero {
                cause: ZeroCause::Tractor,
                kg: 80.5,
                budget: vec![Contribution { source: Source::MeterGain, kg: 20.25 }],
            }),
            dip_m: Some(2.5),
            opening: Opening { proven_by: Some(CheckedBy::Gauge(2)), against: None, doubt_m: 0.0105 },
            neighbours: vec![CarriedNeighbour {
                load: Some(neighbour_load()),
                since: Some(BroughtSince {
                    start_kg: Some(Estimate { value: 0.5, u: 0.25 }),
                    start_least_kg: 0.25,
                    earlier_kg: Estimate { value: 7.0, u: 0.5 },
                    earlier_most_kg: 8.0,
                }),
            }],
            entered: vec![entered()],
            blows: 3,
            marks: vec![StepMark {
                step: "leak_check".into(),
                skipped: false,
                signatures: vec![signature(Side::Site)],
            }],
        }),
        restarted: false,
        shelves: vec![CarriedShelf { key: alarm_key(), left_s: 600.5 }],
        out_of_service: vec![out_of_service()],
        attendance: CarriedAttendance { on_duty: Some("A. Novak".into()), waited_s: 60.5 },
    }
}

fn alarm() -> Alarm {
    Alarm {
        key: alarm_key(),
        condition: Condition::Unknown,
        seen: false,
        since: WallTime(1_800_000_002_000_000_000),
        priority: Priority::Medium,
        first: true,
    }
}

fn suppressed() -> Vec<Suppressed> {
    vec![
        Suppressed { key: alarm_key(), by: SuppressedBy::GasInLine },
        Suppressed { key: AlarmKey { subject: 3, ..alarm_key() }, by: SuppressedBy::SiteFile },
    ]
}

fn out_of_service() -> OutOfService {
    let (who, since) = ("J. Doe".into(), WallTime(1_800_000_000_000_000_000));
    OutOfService { key: alarm_key(), who, since, reason: "new gauge".into() }
}

pub fn truth() -> Truth {
    let fault = Fault {
        what: "leak before the meter, 1 kg/s".into(),
        alarm: Some("witnesses_disagree".into()),
        brings: vec!["witnesses_disagree".into()],
        from_s: 900.0,
        to_s: Some(1200.0),
    };
    let harm = Harm { what: "50 kg on the ground".into(), alarm: Some("witnesses_disagree".into()), at_s: 950.0 };
    Truth { faults: vec![fault], harm: Some(harm) }
}

pub fn header(carried: Carried) -> Header {
    Header {
        program_version: PROGRAM_VERSION.into(),
        numerics_version: NUMERICS_VERSION,
        drill_speed: Some(20.0),
        boot_id: "11111111-2222-3333-4444-555555555555".into(),
        machine_ns_at_zero: 77_000_000_001,
        wall_at_zero: WallTime(1_800_000_000_123_456_789),
        bay: "bay-1".into(),
        texts: vec![("site.toml".into(), "# an invented works\n".into())],
        settings: settings(),
        carried,
    }
}

pub fn alarm_key() -> AlarmKey {
    AlarmKey { id: AlarmId::SignalLost, subject: 2 }
}

pub fn entry_of(what: What) -> Entry {
    Entry { who: "A. Novak".into(), leg: 1, what }
}

pub fn entry(seconds: u64, what: What) -> Input {
    Input { at: at(seconds), event: Event::Entry(entry_of(what)) }
}

/// One input of every kind, with every way a value can be there or not.
pub fn every_event() -> Vec<Event> {
    let block = |words| Block { function: 4, address: 40_001, words };
    let value = |signal, value| SignalValue { signal, value, status: Status::Fair };
    let mut events = vec![
        Event::Poll(Poll {
            device: 2,
            due: EngineTime(999_000_000),
            requested: EngineTime(999_999_999),
            replied: EngineTime(1_000_000_001),
            connections: 3,
            heartbeat: Some(u64::MAX),
            blocks: vec![block(Ok(vec![0, 1, 0xFFFF])), block(Err(2))],
            values: vec![
                value(0, Measured::Number(1.0 / 3.0)),
                value(1, Measured::Flag(true)),
                value(2, Measured::Exception(11)),
                value(3, Measured::NotANumber),
                value(4, Measured::Torn),
                SignalValue {
                    signal: 5,
                    value: Measured::Current { milliampere: 12.0, si: 0.5 },
                    status: Status::OutOfSpecification,
                },
            ],
        }),
        Event::Tick,
        Event::Entry(entry_of(What::DeliveryOpened(Box::new(delivery())))),
        Event::Entry(entry_of(What::TransferStarted)),
        Event::Entry(entry_of(What::Closed)),
        Event::Entry(entry_of(What::Seen(alarm_key()))),
        Event::Settings(Box::new(SettingsText {
            settings: settings(),
            text: "[site]\n".into(),
            who: "J. Doe".into(),
            reason: "the pad hunts".into(),
        })),
        Event::Recorder(RecorderState::Durable),
        Event::Recorder(RecorderState::Waiting { bytes: 1 << 40 }),
        Event::Recorder(RecorderState::Overflowed),
        Event::Clock(WallTime(-1)),
        Event::Resumed(Gap { from: at(3), to: at(9), known_by: GapClock::SameBoot }),
        Event::Resumed(Gap { from: at(3), to: at(9), known_by: GapClock::WallClock }),
        Event::Neighbour(Neighbour { neighbour: 0, at: at(3), load: None }),
        Event::Neighbour(Neighbour { neighbour: 0, at: at(3), load: Some(neighbour_load()) }),
    ];
    let reasons = [
        MissReason::TimeOut,
        MissReason::NoConnection,
        MissReason::ConnectionLost,
        MissReason::WrongLength,
        MissReason::Malformed,
        MissReason::QueueFull,
        MissReason::WrongTransaction,
        MissReason::WrongUnit,
        MissReason::WrongFunction,
        MissReason::BadChecksum,
        MissReason::Unsettled,
        MissReason::NameUnknown,
        MissReason::PortAbsent,
        MissReason::PortForbidden,
        MissReason::PortTaken,
        MissReason::NotSerial,
    ];
    events.extend(reasons.map(|reason| Event::Missed(Missed { device: 1, requested: at(4), reason })));
    events
}

fn neighbour_load() -> NeighbourLoad {
    let estimate = |value: f64| Estimate { value, u: value / 300.0 };
    NeighbourLoad {
        delivery: "D-0002".into(),
        leg: 1,
        phase: Phase::Transfer,
        received_kg: Some(estimate(1.5)),
        white_kg: 0.25,
        at_odds: true,
        rate_kg_per_s: 5.0,
        fastest_kg_per_s: 5.5,
        most_kg: estimate(2.5),
        least_kg: estimate(1.0),
        rest_kg: estimate(5e-324),
        density_kg_per_m3: Some(1510.0),
    }
}

fn neighbour_state() -> NeighbourState {
    NeighbourState {
        neighbour: 0,
        heard_at: Some(at(3)),
        silent: false,
        phase: Phase::Transfer,
        rate_kg_per_s: 5.0,
        brought_kg: Some(Estimate { value: 1.5, u: 0.5 }),
        rest_kg: 3400.0,
    }
}

fn device_state() -> DeviceState {
    DeviceState {
        device: 1,
        answered: 1770,
        missed: 3,
        missed_for: vec![(MissReason::TimeOut, 2), (MissReason::BadChecksum, 1)],
        connections: 4,
        trouble: Some(Trouble { reason: MissReason::BadChecksum, since: at(7) }),
        latency_ns: 250_000,
        latency_worst_ns: 9_000_000,
        lateness_ns: 900_000,
        lateness_worst_ns: 2_000_000,
        heartbeat_at: Some(at(6)),
    }
}

fn finish() -> Finish {
    let moment = Moment { q05: at(100), q50: at(110), q95: at(130), earliest: at(95), earliest_by: WitnessId::Scale };
    Finish { planned: Some(moment), first_gas: Some(moment), level: None, be_at_valve_by: Some(at(40)) }
}

fn blow() -> BlowState {
    BlowState {
        gas_kg_per_s: Some(0.375),
        most_kg_per_s: Some(1.25),
        vent_kg_per_s: Some(0.25),
        tank_pa_gauge: Some(15e3),
        limit_pa_gauge: Some(7e3),
        to_limit_s: Some(4.5),
        blows: vec![Blow { began: at(7), ended: Some(at(9)) }, Blow { began: at(11), ended: None }],
    }
}

/// A frame in which everything is there.
pub fn full_frame(now: EngineTime) -> Frame {
    let estimate = |value: f64| Estimate { value, u: value / 300.0 };
    let witness = |id, validity, kg: f64| Witness {
        id,
        validity,
        received_kg: Some(estimate(kg)),
        budget: vec![Contribution { source: Source::Density, kg: -kg / 1e4 }],
    };
    Frame {
        at: now,
        clock: WallAnchor { at: at(1), wall: WallTime(1_800_000_001_000_000_000) },
        phase: Phase::Transfer,
        delivery: Some(delivery_state()),
        readings: vec![Reading {
            signal: 2,
            value_si: Some(2.75),
            read_at: Some(EngineTime(now.0 / 2)),
            validity: Validity::Lost(Reason::Missed(MissReason::TimeOut)),
            status: Status::MaintenanceRequired,
            at_least_si: Some(2.5),
        }],
        devices: vec![device_state()],
        witnesses: [
            witness(WitnessId::Flow, Validity::Good, 1234.5),
            witness(WitnessId::Scale, Validity::Doubtful(Reason::DeviceException(4)), 1240.0),
            witness(WitnessId::Tank, Validity::Lost(Reason::Stale), 1229.0),
        ],
        together: Some(Together {
            received_kg: estimate(1235.0),
            weights: [0.75, 0.25, 0.0],
            chi_square: 0.25,
            degrees_of_freedom: 1,
        }),
        verdict: verdict(),
        rate: Some(estimate(9.5)),
        finish: finish(),
        margin: Margin::Known {
            kg: -12.5,
            pessimist: Pessimist::Gauge(2),
            rest_by: Some(WitnessId::Tank),
            parts: parts(),
            by_witness_kg: [Some(-1.0), None, Some(4e3)],
        },
        pad: pad(),
        tank: Some(Tank {
            tank: 0,
            level_m: Some(2.75),
            contents_kg: Some(29_000.0),
            working_kg: 80_000.0,
            high_high_kg: 85_000.0,
            critical_kg: 90_000.0,
            opening: Opening { proven_by: None, against: Some(CheckedBy::HandDip), doubt_m: 0.015 },
        }),
        alarms: vec![alarm()],
        shelves: vec![Shelf { key: alarm_key(), until: at(900) }],
        out_of_service: vec![out_of_service()],
        suppressed: suppressed(),
        attendance: AttendanceState { on_duty: Some("A. Novak".into()), due_at: Some(at(900)) },
        recorder: RecorderState::Waiting { bytes: 4096 },
        blind: Some(Gap { from: at(3), to: at(4), known_by: GapClock::SameBoot }),
        neighbours: vec![neighbour_state()],
        checks: every_check(),
        steps: every_step(),
        blow: Some(blow()),
    }
}

fn delivery_state() -> DeliveryState {
    DeliveryState {
        id: "D-0001".into(),
        leg: 1,
        product: "caustic soda 50 %".into(),
        product_confirmed: false,
        planned_kg: 20_000.0,
        loaded_kg: 20_083.7,
        started: Some(at(2)),
        closed: None,
        scale_zero: Some(ScaleZero { at: at(30), cause: ZeroCause::PeopleOrTools, kg: 79.5 }),
        rejected: Some("another product".into()),
    }
}

fn verdict() -> Verdict {
    Verdict {
        word: VerdictWord::Agree,
        since: at(5),
        agree_within_kg: Some(6.0),
        leak_below_trailer_kg_per_min: Some(3.5),
        leak_below_tank_kg_per_min: None,
        missing_kg: Some(Estimate { value: -4.25, u: -4.25 / 300.0 }),
        growing: Some(Growing { since: at(4), kg_per_s: Estimate { value: 0.25, u: 0.0625 } }),
        suspects: [false, true, false],
        explanations: vec![Explanation::LeakBeforeMeter, Explanation::MeterHigh],
    }
}

fn parts() -> MarginParts {
    MarginParts {
        at_high_high_kg: 85_000.0,
        contents_kg: 29_000.0,
        rest_kg: 18_800.0,
        run_on_kg: 95.0,
        line_kg: 105.0,
        blow_clear_kg: 40.0,
        allowance_kg: 130.0,
        opening_kg: 110.0,
        neighbour_kg: 3400.0,
    }
}

fn pad() -> Pad {
    Pad {
        pressure_pa_gauge: Some(150e3),
        ceiling_pa_gauge: Some(170e3),
        ceiling_by: Some(CeilingBy::Site),
        mawp_pa_gauge: Some(241e3),
        relief_from_pa_gauge: Some(265e3),
        relief_to_pa_gauge: None,
        slope_pa_per_s: Some(-1.25),
        to_ceiling_s: None,
    }
}
