//! Contents that are made up, and what is to become of a sector.

use crate::modules::Kind;

/// What is to become of a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// It is blank now, and so many of its bytes in 256 are to be programmed.
    Fill(u8),
    /// All of it is new, of which so many bytes in 256 are not blank.
    New(u8),
    /// A few words near its beginning are others.
    Few,
    /// It is to be blank.
    Blank,
}

impl Change {
    /// True if the sector must be erased.
    pub fn erases(self) -> bool {
        !matches!(self, Self::Fill(_))
    }
}

/// What a module holds, and what it is to hold.
pub struct Image {
    pub before: Vec<u8>,
    pub after: Vec<u8>,
    /// The sectors that change, by number.
    pub changes: Vec<(usize, Change)>,
}

impl Image {
    /// Random contents, blank in parts of what changes, and `changes` by sector number.
    pub fn new(kind: &Kind, changes: &[(usize, Change)]) -> Self {
        let mut random = fastrand::Rng::with_seed(0x7E1D);
        let mut before = vec![0; kind.bytes];
        random.fill(&mut before);
        let sectors = kind.sectors();
        for (number, change) in changes {
            let (first, bytes) = sectors[*number];
            let sector = &mut before[first..first + bytes];
            if change.erases() {
                // What is blank costs no time where it is programmed again.
                fill(&mut random, sector, 48);
            } else {
                sector.fill(0xFF);
            }
        }
        let mut after = before.clone();
        for (number, change) in changes {
            let (first, bytes) = sectors[*number];
            let sector = &mut after[first..first + bytes];
            match *change {
                Change::Fill(share) | Change::New(share) => fill(&mut random, sector, share),
                Change::Few => random.fill(&mut sector[4..24]),
                Change::Blank => sector.fill(0xFF),
            }
        }
        Self { before, after, changes: changes.to_vec() }
    }

    /// The numbers of the sectors that change.
    pub fn numbers(&self) -> Vec<usize> {
        self.changes.iter().map(|(number, _)| *number).collect()
    }

    /// What a plan must say of them.
    pub fn actions(&self) -> Vec<(usize, String)> {
        let action = |change: Change| if change.erases() { "erase" } else { "program" };
        self.changes.iter().map(|(number, change)| (*number, action(*change).into())).collect()
    }
}

/// Random bytes in stretches of 256, of which `share` in 256 are used; all else is blank.
fn fill(random: &mut fastrand::Rng, sector: &mut [u8], share: u8) {
    sector.fill(0xFF);
    for (n, stretch) in sector.chunks_mut(256).enumerate() {
        // The first and the last are used in any case.
        if n == 0 || random.u8(..) < share {
            random.fill(stretch);
        }
    }
    let last = sector.len() - 2;
    random.fill(&mut sector[last..]);
}
