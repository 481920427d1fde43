//! One geometry out of a chip's own table and the part list.

use super::geometry::listed;
use super::{Boot, Cfi, Doubt, Geometry, Identity};

/// The geometry of a chip: its own table first, the part list where there is no table and where
/// the table cannot tell which end its sectors start from. Where the two contradict each other,
/// the geometry carries that as a doubt. `None` if neither knows the size.
pub fn settle(cfi: Option<&Cfi>, identity: &Identity<'_>) -> Option<Geometry> {
    match cfi {
        Some(cfi) => Some(with_table(cfi.geometry(), identity)),
        None => without_table(identity),
    }
}

fn without_table(identity: &Identity<'_>) -> Option<Geometry> {
    if let Some(geometry) = identity.geometry() {
        return Some(geometry.clone());
    }
    let (first, rest) = identity.parts().split_first()?;
    let size = first.geometry.size_bytes;
    if rest.iter().any(|part| part.geometry.size_bytes != size) {
        return None;
    }
    let doubt = Some(Doubt::PartsDiffer(identity.to_string()));
    Some(Geometry { doubt, ..Geometry::only_size(size) })
}

fn with_table(table: Geometry, identity: &Identity<'_>) -> Geometry {
    let parts = identity.parts();
    let Some(first) = parts.first() else { return table };
    let fitting: Vec<_> =
        parts.iter().map(|part| &part.geometry).filter(|part| fits(part, &table)).collect();
    let Some(one) = fitting.first() else {
        if matches!(table.doubt, Some(Doubt::Inconsistent { .. })) {
            return table;
        }
        let doubt = Doubt::IdDisagrees {
            table: brief(&table),
            listed: brief(&first.geometry),
            part: first.name.clone(),
        };
        return Geometry { boot: Boot::Unknown, doubt: Some(doubt), ..table };
    };
    let known = !one.regions.is_empty() && fitting.iter().all(|other| other == one);
    match table.doubt {
        Some(Doubt::OrderUnknown(_)) if known => (*one).clone(),
        _ => table,
    }
}

/// True if the geometry of a part can be what `table` describes.
fn fits(part: &Geometry, table: &Geometry) -> bool {
    let same = part.regions == table.regions;
    let reversed = || part.regions.iter().eq(table.regions.iter().rev());
    part.size_bytes == table.size_bytes
        && match table.doubt {
            _ if part.regions.is_empty() => true,
            Some(Doubt::OrderUnknown(_)) => same || reversed(),
            Some(Doubt::Inconsistent { .. }) => false,
            _ => same,
        }
}

fn brief(geometry: &Geometry) -> String {
    let size = super::Size(geometry.size_bytes);
    if geometry.regions.is_empty() {
        return size.to_string();
    }
    format!("{size} as {}", listed(&geometry.regions))
}
