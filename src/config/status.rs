//! One signal's status register: the bits by which a device says how it does.

use super::fault::Draft;
use super::register::wire_address;
use super::walk::Table;
use crate::poll::registers::StatusRegister;

/// The lists of bits, in the order of the masks of [`status`].
const LISTS: [&str; 5] = ["status_failure", "status_check", "status_out_of_spec", "status_maintenance", "status_sound"];

/// What a device says about a signal; `None` where no key of it stands in the file.
pub(super) fn status(draft: &mut Draft, table: &Table, function: u8, base: i64) -> Option<StatusRegister> {
    let written = LISTS.into_iter().chain(["status_address", "status_function"]).find(|key| table.is_written(key))?;
    if !table.is_written("status_address") {
        draft
            .fault(
                table.spot(written),
                table.path("status_address"),
                format!("is missing: {written} stands without it"),
            )
            .act("write the number of the status register as the device's papers count, or take the line out");
    }
    if !LISTS.into_iter().any(|list| table.is_written(list)) {
        draft
            .fault(table.spot(written), table.path("status_address"), "says nothing: no bit of it is named")
            .allowed(format!("at least one of {}", LISTS.join(", ")))
            .act("write what the papers say of its bits, for example: status_failure = [0, 1]");
    }
    let function = table.optional_integer("status_function").and_then(|f| u8::try_from(f).ok()).unwrap_or(function);
    let [failure, function_check, out_of_specification, maintenance, sound] = masks(draft, table, function);
    let address = wire_address(draft, table, "status_address", 1, base);
    Some(StatusRegister { function, address, failure, function_check, out_of_specification, maintenance, sound })
}

/// The bits of each list; none stands in two.
fn masks(draft: &mut Draft, table: &Table, function: u8) -> [u16; 5] {
    let mut masks = [0_u16; 5];
    for (i, list) in LISTS.into_iter().enumerate() {
        for &bit in table.integers(list) {
            let mask = u32::try_from(bit).ok().and_then(|bit| 1_u16.checked_shl(bit)).unwrap_or_default();
            if matches!(function, 1 | 2) && bit > 0 {
                draft
                    .fault(table.spot(list), table.path(list), format!("names bit {bit}, but there is only bit 0"))
                    .allowed("[0]: functions 1 and 2 read single bits")
                    .act("correct the list, or status_function");
            } else if let Some(other) = LISTS[..=i].iter().zip(masks).find(|(_, other)| other & mask != 0) {
                draft
                    .fault(table.spot(list), table.path(list), format!("bit {bit} stands in {} already", other.0))
                    .allowed("each bit once, in one of the lists")
                    .act("leave it where the papers put it; if they leave that open, where the value is trusted less");
            }
            masks[i] |= mask;
        }
    }
    masks
}
