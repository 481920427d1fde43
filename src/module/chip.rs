//! A chip of a space: its lane, and the order in which its lines meet those of the module.

use crate::bus::Lane;
use crate::chips::Wiring;

/// One part of a space.
///
/// Boards often join a chip's lines to those of the module in another order, whatever routes best.
/// Contents do not show it, since they were written through the same lines. Commands, ids and query
/// tables do: what the chip must see, or says, goes through its [`Wiring`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chip {
    /// Its reference on the board, such as U1.
    pub reference: String,
    /// The data lines it occupies.
    pub lane: Lane,
    /// The module's data lines on the chip's D0, D1, ...; empty if they run straight.
    pub data_order: Vec<u8>,
    /// The module's address lines on the chip's A0, A1, ...; those beyond the list run straight.
    pub address_order: Vec<u8>,
}

impl Chip {
    /// A chip whose lines run straight.
    pub fn straight(reference: &str, lane: Lane) -> Self {
        let (data_order, address_order) = (Vec::new(), Vec::new());
        Self { reference: reference.to_owned(), lane, data_order, address_order }
    }

    /// How its lines lie on the module's. Addresses may have the base of the space added before or
    /// after: a sheet moves no line that the base needs.
    pub fn wiring(&self) -> Wiring {
        Wiring::new(self.lane, self.data_order.clone(), self.address_order.clone())
    }
}
