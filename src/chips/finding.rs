//! What one chip has answered, read together.

use super::ask::ID_WORDS;
use super::cfi::{Query, Spacing};
use super::{
    Catalogue, Cfi, CfiError, Family, Geometry, Identity, MakerId, Unlock, Way, Wiring, settle,
};
use crate::bus::{Width, Word};

/// The first query offset that is read.
pub const QUERY_FIRST: u32 = 0x10;

/// What one chip has answered to one way of asking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// How it was asked.
    pub way: Way,
    /// What it gave in id mode, in the order of [`ID_WORDS`].
    pub ids: Vec<u16>,
    /// What it gave in the same places before.
    pub before: Vec<u16>,
    /// It gave the same twice.
    pub steady: bool,
    /// Bytes of its query table from offset 10 on; empty for none.
    pub query: Vec<u8>,
    /// How its table lies.
    pub spacing: Option<Spacing>,
    /// The table, read.
    pub cfi: Option<Result<Cfi, CfiError>>,
}

impl Finding {
    /// What the chip of `wiring` gave in `ids`; `moved` has the bits that were not the same twice.
    pub fn new(way: Way, wiring: &Wiring, ids: &[Word], moved: Word, before: &[Word]) -> Self {
        let own = |words: &[Word]| words.iter().map(|&word| wiring.get(word)).collect();
        Self {
            way,
            ids: own(ids),
            before: own(before),
            steady: wiring.get(moved) == 0,
            query: Vec::new(),
            spacing: None,
            cfi: None,
        }
    }

    /// Takes what it gave in query mode at the chip addresses from `QUERY_FIRST` on, which count
    /// as [`Way::mode`] says.
    pub fn take_query(&mut self, wiring: &Wiring, words: &[Word]) {
        let skipped = self.way.mode.scaled(QUERY_FIRST) as usize;
        let mut read = vec![0; skipped];
        read.extend(words.iter().map(|&word| wiring.get(word)));
        let Some(spacing) = Spacing::find(&read) else { return };
        let query = Query::pick(&read, spacing);
        self.spacing = Some(spacing);
        self.query = query.bytes().to_vec();
        self.cfi = Some(Cfi::decode(&query, self.maker()));
    }

    /// Words of a table that is longer than what was read; `None` if enough was.
    pub fn query_goes_on_to(&self, read: u32) -> Option<u32> {
        let cfi = self.cfi.as_ref()?.as_ref().ok()?;
        let end = u32::from(cfi.primary_at) + super::ask::EXTENDED_WORDS;
        (cfi.primary_at != 0 && end > read && end <= 0x200).then_some(end)
    }

    fn id(&self, word: u32) -> Option<u16> {
        let at = ID_WORDS.iter().position(|known| *known == word)?;
        self.ids.get(at).copied()
    }

    /// The word in the same place before.
    fn held(&self, word: u32) -> Option<u16> {
        let at = ID_WORDS.iter().position(|known| *known == word)?;
        self.before.get(at).copied()
    }

    /// True if id mode showed something else than reading, or there is a query table.
    pub fn answered(&self) -> bool {
        let changed = self.ids.iter().zip(&self.before).take(2).any(|(id, before)| id != before);
        changed && self.steady || self.spacing.is_some()
    }

    /// The maker; `None` if the chip did not answer, or with nothing but 7F.
    pub fn maker(&self) -> Option<MakerId> {
        let low = |word| self.id(word).map(|id| id as u8);
        // Some chips show their contents there, which are no continuation.
        let continued = |word| low(word) == Some(0x7F) && self.id(word) != self.held(word);
        let first = low(0)?;
        let reads = if first == 0x7F {
            // The code itself stands behind the continuation.
            vec![first, low(0x100)?]
        } else if continued(3) || continued(0x100) {
            vec![0x7F, first]
        } else {
            vec![first]
        };
        MakerId::from_reads(&reads)
    }

    /// The device code: one word, or three.
    pub fn device(&self) -> Vec<u16> {
        let Some(first) = self.id(1) else { return Vec::new() };
        if Identity::is_cut_short(&[first]) {
            return [1, 0x0E, 0x0F].iter().filter_map(|&word| self.id(word)).collect();
        }
        vec![first]
    }

    /// What the part list says.
    pub fn identity<'a>(&self, catalogue: &'a Catalogue, width: Width) -> Option<Identity<'a>> {
        let changed = self.ids.iter().zip(&self.before).take(2).any(|(id, before)| id != before);
        let maker = self.maker().filter(|_| changed && self.steady)?;
        Some(catalogue.identify(maker, &self.device(), width))
    }

    /// Its sectors, from its own table and the part list.
    pub fn geometry(&self, identity: Option<&Identity<'_>>) -> Option<Geometry> {
        let cfi = self.cfi.as_ref().and_then(|cfi| cfi.as_ref().ok());
        match identity {
            Some(identity) => settle(cfi, identity),
            None => cfi.map(Cfi::geometry),
        }
    }

    /// The way that its own table or the part list names; as it was asked where neither does.
    pub fn settled_way(&self, identity: Option<&Identity<'_>>) -> Option<Way> {
        let parts = identity.map(Identity::parts).unwrap_or_default();
        let all = |family: Option<Family>, unlock: Unlock| {
            parts.iter().all(|part| (part.family, part.unlock) == (family, unlock))
        };
        if let Some(part) = parts.first().filter(|part| all(part.family, part.unlock)) {
            let family = part.family?;
            return Some(Way { family, unlock: part.unlock, ..self.way });
        }
        let family = self.cfi.as_ref()?.as_ref().ok()?.family()?;
        Some(Way { family, unlock: Unlock::usual(Some(family)), ..self.way })
    }

    /// How much is known: to choose between ways that both brought something.
    pub fn knows(&self, catalogue: &Catalogue, width: Width) -> u32 {
        let listed = self.identity(catalogue, width).is_some_and(|id| !id.parts().is_empty());
        let table = matches!(self.cfi, Some(Ok(_)));
        u32::from(self.answered()) + 2 * u32::from(table) + 4 * u32::from(listed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::Lane;

    fn finding(bits: u8, ids: [Word; 7]) -> Finding {
        let wiring = Wiring::straight(Lane { first: 0, bits });
        let way = Way::of_family(Family::Amd, bits)[0];
        Finding::new(way, &wiring, &ids, 0, &[0xFFFF; 7])
    }

    #[test]
    fn ids_name_the_part() {
        let catalogue = Catalogue::built_in().unwrap();
        // Am29F016D: maker 01, device AD (datasheet table 9).
        let found = finding(8, [0x01, 0xAD, 0, 0, 0, 0, 0]);
        assert!(found.answered());
        let identity = found.identity(&catalogue, Width::W8).unwrap();
        assert_eq!(identity.to_string(), "Am29F016D");
        let way = found.settled_way(Some(&identity)).unwrap();
        assert_eq!(way.family, Family::Amd);
    }

    #[test]
    fn three_words_and_continuations() {
        let found = finding(16, [0x01, 0x227E, 0, 0, 0x2210, 0x2201, 0]);
        assert_eq!(found.device(), [0x227E, 0x2210, 0x2201]);
        // AMIC shows its code at 0 and 7F at 3 (from an emulator's source).
        let bank = |ids| finding(8, ids).maker().map(|maker| (maker.bank, maker.code));
        assert_eq!(bank([0x37, 0x86, 0, 0x7F, 0, 0, 0]), Some((2, 0x37)));
        assert_eq!(bank([0x7F, 0x86, 0, 0, 0, 0, 0x1C]), Some((2, 0x1C)));
        assert_eq!(bank([0x7F, 0x7F, 0, 0, 0, 0, 0x7F]), None);
        // Contents that are shown in id mode, too.
        let mut found = finding(16, [0xBF, 0x236D, 0, 0x127F, 0, 0, 0x7F]);
        assert_eq!(found.maker().map(|maker| maker.bank), Some(2));
        (found.before[3], found.before[6]) = (0x127F, 0x7F);
        assert_eq!(found.maker().map(|maker| maker.bank), Some(1));
    }

    #[test]
    fn contents_are_no_ids() {
        let catalogue = Catalogue::built_in().unwrap();
        let mut found = finding(8, [0x01, 0xAD, 0, 0, 0, 0, 0]);
        found.before = found.ids.clone();
        assert!(!found.answered());
        assert_eq!(found.identity(&catalogue, Width::W8), None);
        let mut moving = finding(8, [0x01, 0xAD, 0, 0, 0, 0, 0]);
        moving.steady = false;
        assert!(!moving.answered());
    }
}
