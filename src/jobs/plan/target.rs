//! What a space is to hold.

use crate::jobs::VerifyPart;
use crate::module::{Sheet, Zone};

/// True if words of the zone are taken from no image: it is kept and not named in `take`, it is
/// never touched, or it changes by itself.
pub fn is_kept(zone: &Zone, take: &[String]) -> bool {
    zone.live || zone.keep_off || zone.keep && !take.contains(&zone.name)
}

/// What space `index` is to hold: its words `now` (little-endian, from its base on) with those of
/// `image` laid over them, except in zones that are kept.
pub fn wanted(
    sheet: &Sheet,
    index: usize,
    now: &[u8],
    image: &[VerifyPart],
    take: &[String],
) -> Vec<u8> {
    let mut wanted = now.to_vec();
    for VerifyPart { part, expected, .. } in image.iter().filter(|part| part.space == index) {
        let size = part.width.bytes();
        let start = part.base.plus(part.first.0);
        for (at, words) in sheet.pieces(index, start, part.words, |zone| is_kept(zone, take)) {
            let from = (at.0 - start.0) as usize * size;
            let to = (at.0 - part.base.0) as usize * size;
            let bytes = words as usize * size;
            let (Some(source), Some(place)) =
                (expected.get(from..from + bytes), wanted.get_mut(to..to + bytes))
            else {
                continue;
            };
            place.copy_from_slice(source);
        }
    }
    wanted
}
