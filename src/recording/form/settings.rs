//! Forms of the settings and of a delivery's papers.

use super::mirror;
use crate::engine::blow::BlowSetup;
use crate::engine::frame::Phase;
use crate::engine::input::AlarmId;
use crate::engine::papers::{Expected, Papers};
use crate::engine::settings::{
    DeadBand, DeliverySetup, DeviceSetup, DrawOff, Drive, GasSetup, Limits, LineSetup, LineStart, NeighbourSetup,
    OnBoard, PadTap, Plate, Product, RestsOnScale, Settings, Shell, SignalKind, SignalSetup, TankGeometry, TankSetup,
    Thresholds,
};
use crate::engine::steps::Step;
use crate::units::{Celsius, GaugePa, Kg, KgPerM3, M3, Metre, PaS};

mirror! {
    struct SettingsForm of Settings {
        bay: String,
        devices: Vec<DeviceSetup>,
        signals: Vec<SignalSetup>,
        tanks: Vec<TankSetup>,
        rests_on_scale: RestsOnScale,
        line: LineSetup,
        drive: Drive,
        pad_tap: PadTap,
        gas: GasSetup,
        limits: Limits,
        thresholds: Thresholds,
        neighbours: Vec<NeighbourSetup>,
        expected: Expected,
        blow: BlowSetup,
        steps: Vec<Step>,
    }

    struct NeighbourSetupForm of NeighbourSetup { bay: String, tank: u16 }

    struct DeviceSetupForm of DeviceSetup {
        name: String,
        link: String,
        period_s: f64,
        time_out_s: f64,
        heartbeat_s: Option<f64>,
    }

    enum SignalKindForm of SignalKind {
        FlowMassRate = "flow_kg_per_s",
        FlowVolumeRate = "flow_m3_per_s",
        FlowMassTotal = "flow_total_kg",
        FlowVolumeTotal = "flow_total_m3",
        LineDensity = "line_density_kg_per_m3",
        LineTemperature = "line_temperature_c",
        Scale = "scale_kg",
        Level = "level_m",
        LevelPressure = "level_pa",
        TankPressure = "tank_pressure_pa_gauge",
        TankTemperature = "tank_temperature_c",
        PadPressure = "pad_pressure_pa_gauge",
        GasSupplyPressure = "gas_supply_pressure_pa_gauge",
        PadGasTemperature = "pad_gas_temperature_c",
        DrawOff = "draw_off_kg_per_s",
        DewPoint = "dew_point_c",
        HighLevelSwitch,
        ShutoffClosed,
        EmergencyStop,
        ShutoffBypassed,
    }

    struct SignalSetupForm of SignalSetup {
        kind: SignalKind,
        name: String,
        device: u16,
        tank: Option<u16>,
        transmitter: Option<String>,
        plausible_low: f64 = "plausible_low_si",
        plausible_high: f64 = "plausible_high_si",
        saturates_at: Option<f64> = "saturates_at_si",
        division: f64 = "division_si",
        noise: f64 = "noise_si",
        slow_noise: f64 = "slow_noise_si",
        slow_noise_s: f64,
        gain: f64,
        zero: f64 = "zero_si",
        drift_per_sqrt_h: f64 = "drift_si_per_sqrt_h",
        lag_s: f64,
        rolls_over_at: Option<f64> = "rolls_over_at_si",
        may_roll_over_at: Vec<f64> = "may_roll_over_at_si",
        apparent_mass: bool,
        low_flow: f64 = "low_flow_si",
        suppressed_in: Vec<Phase>,
    }

    enum TankGeometryForm of TankGeometry {
        VerticalCylinder { diameter: Metre = "diameter_m", height: Metre = "height_m" },
        Strapping(Vec<(Metre, M3)>) = "strapping_m_m3",
    }

    struct TankSetupForm of TankSetup {
        name: String,
        geometry: TankGeometry,
        table_u: f64,
        working: Metre = "working_m",
        high_high: Metre = "high_high_m",
        critical: Metre = "critical_m",
        opening_u: Metre = "opening_u_m",
        shell: Option<Shell>,
        hand_dip_u: Option<Metre> = "hand_dip_u_m",
        draw_off: DrawOff,
    }

    struct ShellForm of Shell { per_k: f64, reference: Celsius = "reference_c" }

    enum DrawOffForm of DrawOff { Measured, DeclaredZero, Unknown }

    enum RestsOnScaleForm of RestsOnScale { Trailer, TractorAndTrailer, Part, None }

    struct LineSetupForm of LineSetup {
        upstream: M3 = "upstream_m3",
        downstream: M3 = "downstream_m3",
        volume_u: f64,
        starts: LineStart,
        valve_closes_s: f64,
        blow_clear: Kg = "blow_clear_kg",
        bore: Option<Metre> = "bore_m",
        outlet_height: Option<Metre> = "outlet_height_m",
    }

    enum LineStartForm of LineStart { Empty, Full }

    enum DriveForm of Drive { Pad, Pump, PumpVapourReturn }

    enum PadTapForm of PadTap { Trailer, Supply }

    struct GasSetupForm of GasSetup {
        name: String,
        constant_j_per_kg_k: f64,
        temperature: Celsius = "temperature_c",
        temperature_u_k: f64,
    }

    struct LimitsForm of Limits {
        response_time_s: f64,
        attendance_s: Option<f64>,
        pad_maximum: Option<GaugePa> = "pad_maximum_pa_gauge",
        pad_minimum: Option<GaugePa> = "pad_minimum_pa_gauge",
        hose_rating: Option<GaugePa> = "hose_rating_pa_gauge",
        line_rating: Option<GaugePa> = "line_rating_pa_gauge",
        connection_rating: Option<GaugePa> = "connection_rating_pa_gauge",
    }

    struct ThresholdsForm of Thresholds {
        chi_square: [f64; 2],
        finding: [[f64; 2]; crate::engine::bank::KINDS],
        suspect_band: f64,
        found_z: f64,
        margin_z: f64,
        near_ceiling: f64,
        on_delay_s: f64,
        off_delay_s: f64,
        dead_bands: Vec<DeadBand>,
    }

    struct DeadBandForm of DeadBand {
        alarm: AlarmId,
        width_si: f64,
    }

    struct DeliverySetupForm of DeliverySetup {
        id: String,
        leg: u8,
        tank: u16,
        product: Product,
        planned: Kg = "planned_kg",
        on_board: Option<OnBoard>,
        ticket_net: Kg = "ticket_net_kg",
        ticket_u: Kg = "ticket_u_kg",
        trailer_volume: M3 = "trailer_volume_m3",
        trailer_volume_u: f64,
        plate: Plate,
        papers: Papers,
    }

    struct OnBoardForm of OnBoard { mass: Kg = "mass_kg", u: Kg = "u_kg" }

    struct PlateForm of Plate {
        specification: Option<String>,
        mawp: Option<GaugePa> = "mawp_pa_gauge",
        relief_from: Option<GaugePa> = "relief_from_pa_gauge",
        relief_to: Option<GaugePa> = "relief_to_pa_gauge",
    }

    struct ProductForm of Product {
        name: String,
        density: Vec<(Celsius, KgPerM3)> = "density_c_kg_per_m3",
        density_u: f64,
        viscosity: Vec<(Celsius, PaS)> = "viscosity_c_pa_s",
        confirmed: bool,
        source: String,
        load_temperature: Celsius = "load_temperature_c",
    }
}
