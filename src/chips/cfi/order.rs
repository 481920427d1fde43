//! From the regions of a table to sectors in address order.
//!
//! Intel tables list regions in address order. Tables of AMD's kind list those of top-boot parts
//! from the top, like those of the bottom-boot part beside it; the boot flag says so from
//! version 1.1 on (rules of Linux `cfi_cmdset_0002.c`). Linux guesses older ones by bit 7 of the
//! device id; that is wrong for Am29SL160C and Am29DS32x, so here only an exact id decides.

use super::command_set::Layout;
use super::{AmdTable, Cfi, Primary};
use crate::chips::geometry::total;
use crate::chips::{Boot, Doubt, Geometry, OrderDoubt, Region};

/// Size and sectors in address order, as far as the table alone can tell.
pub(super) fn geometry(cfi: &Cfi) -> Geometry {
    let size = cfi.size_bytes;
    let listed = cfi.listed.clone();
    if listed.is_empty() {
        return Geometry::whole(size);
    }
    if let Some(geometry) = overlapping(size, &listed) {
        return geometry;
    }
    if total(&listed) != size || listed.iter().eq(listed.iter().rev()) {
        return Geometry::in_order(size, listed);
    }
    match order(cfi) {
        Ok(false) => Geometry::in_order(size, listed),
        Ok(true) => Geometry::in_order(size, listed.into_iter().rev().collect()),
        Err(doubt) => Geometry {
            size_bytes: size,
            regions: listed,
            blocks: None,
            boot: Boot::Unknown,
            doubt: Some(Doubt::OrderUnknown(doubt)),
        },
    }
}

/// Two regions that each fill the chip are two ways to cut it (SST39VF1601: 4K sectors and 64K
/// blocks). The smaller unit is taken, the larger named.
fn overlapping(size: u64, listed: &[Region]) -> Option<Geometry> {
    let [one, other] = listed else { return None };
    if one.total() != size || other.total() != size || one.bytes == other.bytes {
        return None;
    }
    let (small, large) = if one.bytes < other.bytes { (one, other) } else { (other, one) };
    let blocks = Some(*large);
    Some(Geometry { blocks, ..Geometry::in_order(size, vec![*small]) })
}

/// True if the list starts at the highest address.
fn order(cfi: &Cfi) -> Result<bool, OrderDoubt> {
    match (&cfi.primary, cfi.command_set.layout()) {
        (_, Layout::Intel) => Ok(false),
        (Primary::Amd(table), _) => by_flag(table, &cfi.listed),
        (Primary::Atmel(_), _) => Err(OrderDoubt::MakerUnsure),
        (_, Layout::Amd) => Err(OrderDoubt::NoTable),
        (_, Layout::Other) => Err(OrderDoubt::CommandSet),
    }
}

fn by_flag(table: &AmdTable, listed: &[Region]) -> Result<bool, OrderDoubt> {
    let version = table.version;
    if (version.major, version.minor) < (1, 1) {
        return Err(OrderDoubt::TooOld { major: version.major, minor: version.minor });
    }
    let small_first = Boot::of(listed) == Boot::Bottom;
    match table.boot_flag {
        None => Err(OrderDoubt::NoFlag),
        Some(flag @ (2 | 3)) if !small_first => Err(OrderDoubt::FlagAgainstList(flag)),
        Some(2) => Ok(false),
        Some(3) => Ok(true),
        Some(other) => Err(OrderDoubt::Flag(other)),
    }
}
