//! What each register of a device is taken for: one register cannot mean two things.

use super::Device;
use super::fault::{Draft, Spot};
use super::site::ReadSignal;
use super::walk::Table;
use crate::poll::registers::{DataType, Register, WordOrder};

/// What a register is taken for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Use {
    /// A signal's value.
    Value { data: DataType, order: WordOrder, bit: Option<u8> },
    /// The upper part of one.
    Upper { data: DataType, order: WordOrder },
    /// Bits that say how the device does.
    Status,
    /// What changes while the device is alive.
    Heartbeat,
}

/// Registers that are taken for something.
#[derive(Debug, Clone)]
pub(super) struct Claim {
    device: usize,
    function: u8,
    from: u32,
    /// The one after the last.
    to: u32,
    taken_for: Use,
    /// Index of the bay; `None` for what belongs to the device.
    bay: Option<usize>,
    /// For words about it.
    name: String,
}

impl Claim {
    fn new(device: usize, register: &Register, taken_for: Use, bay: Option<usize>, name: String) -> Claim {
        let from = u32::from(register.address);
        let to = from + u32::from(register.count());
        Claim { device, function: register.function, from, to, taken_for, bay, name }
    }

    fn meets(&self, other: &Claim) -> bool {
        (self.device, self.function) == (other.device, other.function) && self.from < other.to && other.from < self.to
    }

    /// Whether both can be true of registers that meet.
    fn agrees(&self, other: &Claim) -> bool {
        let flag = |taken_for| matches!(taken_for, Use::Value { data: DataType::Bool, .. });
        match (self.taken_for, other.taken_for) {
            (Use::Status, Use::Status) => true,
            // A bit of a status word may be shown as a yes/no too, and another may toggle for as long as all is well.
            (Use::Status, Use::Heartbeat) | (Use::Heartbeat, Use::Status) => true,
            (Use::Status | Use::Heartbeat, value) | (value, Use::Status | Use::Heartbeat) if flag(value) => true,
            (Use::Value { bit: Some(a), .. }, Use::Value { bit: Some(b), .. }) if a != b => true,
            // Two bays may read the same thing of one device.
            (mine, others) => mine == others && self.from == other.from && self.bay != other.bay,
        }
    }
}

/// What the devices themselves take registers for.
pub(super) fn heartbeats(draft: &mut Draft, tables: &[Table], devices: &[Device]) -> Vec<Claim> {
    let mut claims = Vec::new();
    for (i, (table, device)) in tables.iter().zip(devices).enumerate() {
        let Some((register, _)) = &device.heartbeat else { continue };
        if table.has("heartbeat_function") && table.has("heartbeat_address") {
            let name = format!("the heartbeat of device {:?}", device.name);
            let claim = Claim::new(i, register, Use::Heartbeat, None, name);
            readable(draft, (table.spot("heartbeat_address"), table.path("heartbeat_address")), &claim, device);
            claims.push(claim);
        }
    }
    claims
}

/// Claims a signal's registers; `claims` are those before it, of this bay and others.
pub(super) fn claim(
    draft: &mut Draft,
    claims: &mut Vec<Claim>,
    table: &Table,
    read: &ReadSignal,
    (devices, bay): (&[Device], usize),
) {
    let index = usize::from(read.setup.device);
    let Some(device) = devices.get(index).filter(|_| table.has("kind") && table.has("type")) else { return };
    let (register, name) = (&read.place.register, &read.setup.name);
    let value = Use::Value { data: register.data, order: register.order, bit: register.bit };
    let mut mine = vec![("address", "function", Claim::new(index, register, value, Some(bay), format!("{name:?}")))];
    if let Some(upper) = read.place.upper_register() {
        let taken_for = Use::Upper { data: upper.data, order: upper.order };
        let name = format!("the upper part of {name:?}");
        mine.push(("upper_address", "function", Claim::new(index, &upper, taken_for, Some(bay), name)));
    }
    if let Some(status) = read.place.status {
        let function = if table.is_written("status_function") { "status_function" } else { "function" };
        let name = format!("the status of {name:?}");
        mine.push(("status_address", function, Claim::new(index, &status.register(), Use::Status, Some(bay), name)));
    }
    for (key, function, claim) in mine {
        if !(table.has(key) && table.has(function)) {
            continue; // what is not known cannot clash
        }
        let place = (table.spot(key), table.path(key));
        if let Some(other) = claims.iter().find(|other| claim.meets(other) && !claim.agrees(other)) {
            let elsewhere = other.bay.is_some_and(|other| other != bay);
            let (too, act) = if elsewhere {
                (" in another bay, as something else", "read it alike in both bays: function, address, type and order")
            } else {
                (" too", "correct address or type: one register cannot mean two things")
            };
            draft.fault(place.0, place.1.clone(), format!("the register is read as {}{too}", other.name)).act(act);
        }
        readable(draft, place, &claim, device);
        claims.push(claim);
    }
}

/// What is needed can be read as the device wants to be asked.
fn readable(draft: &mut Draft, (spot, key): (&Spot, String), claim: &Claim, device: &Device) {
    let meets = |from: u16, to: u16| u32::from(from) < claim.to && claim.from <= u32::from(to);
    let barred = device.manners.not_read.iter().any(|f| f.function == claim.function && meets(f.from, f.to));
    let most = device.manners.registers_most;
    if barred {
        draft
            .fault(spot, key, format!("lies in not_read of device {:?}", device.name))
            .act("correct the address, or not_read of the device");
    } else if claim.to - claim.from > u32::from(most) {
        draft
            .fault(spot, key, format!("takes {} registers, which have to come in one request", claim.to - claim.from))
            .allowed(format!("{most}, by registers_most of device {:?}", device.name))
            .act("correct type, or registers_most of the device");
    }
}
