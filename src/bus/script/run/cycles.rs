//! The cycles of a run, each one checked when it is made.

use super::Run;
use crate::bus::script::limits::partial;
use crate::bus::script::{Env, LaneRule, Place, Why};
use crate::bus::{Precharge, Shape, ShapeId, Word, WordAddress};

impl Run {
    pub(super) const fn place(&self, place: Place) -> WordAddress {
        match place {
            Place::At(address) => address,
            Place::A => self.a,
            Place::B => self.b,
        }
    }

    pub(super) fn shape(&self) -> Result<(ShapeId, Shape), Why> {
        self.shape.ok_or(Why::NoShape)
    }

    pub(super) fn read<E: Env + ?Sized>(
        &self,
        env: &mut E,
        address: WordAddress,
    ) -> Result<Word, Why> {
        let (_, shape) = self.shape.as_ref().ok_or(Why::NoShape)?;
        if !env.powered() {
            return Err(Why::PowerLost);
        }
        Ok(env.read(shape, address, Precharge::None) & shape.width.ones())
    }

    pub(super) fn read_charged<E: Env + ?Sized>(
        &self,
        env: &mut E,
        address: WordAddress,
        charge: Word,
    ) -> Result<Word, Why> {
        let (_, shape) = self.shape.as_ref().ok_or(Why::NoShape)?;
        if !env.powered() {
            return Err(Why::PowerLost);
        }
        let ones = shape.width.ones();
        Ok(env.read_charged(shape, address, charge & ones) & ones)
    }

    /// Writes `value` in the lanes of the mask and the rest value in the others.
    pub(super) fn write<E: Env + ?Sized>(
        &self,
        env: &mut E,
        address: WordAddress,
        value: Word,
    ) -> Result<(), Why> {
        let (slot, shape) = self.shape.as_ref().ok_or(Why::NoShape)?;
        if shape.write.is_none() {
            return Err(Why::ReadOnly);
        }
        let ones = shape.width.ones();
        let lanes = self.mask & ones;
        let rule = env.lane_rule(*slot);
        let part = partial(self.mask, shape.width);
        let whole = match (part, rule, self.rest) {
            (false, ..) => value,
            (true, LaneRule::Strobes, rest) => value & lanes | rest.unwrap_or(u32::MAX) & !lanes,
            (true, LaneRule::Rest, Some(rest)) if lanes != 0 => value & lanes | rest & !lanes,
            _ => return Err(Why::PartialLanes),
        };
        if !env.may_write(*slot, address, lanes) {
            return Err(Why::NotPermitted);
        }
        if !env.powered() {
            return Err(Why::PowerLost);
        }
        if part && rule == LaneRule::Strobes {
            env.write_lanes(shape, address, whole & ones, lanes);
        } else {
            env.write(shape, address, whole & ones);
        }
        Ok(())
    }
}
