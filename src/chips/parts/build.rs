//! From a `[[chip]]` table to a part.

use super::row::{Row, TimesRow};
use super::size::{sectors, size};
use super::source::Source;
use super::{Bus, ChipFault, ChipFileError, Part};
use crate::bus::{Millivolts, Nanos};
use crate::chips::cfi::{Time, Times, Volts};
use crate::chips::geometry::total;
use crate::chips::{Family, Geometry, MakerId, Region, Unlock};
use toml::Spanned;

/// Parts with more have not been made: 64 GiB (common practice, no source).
const MOST_SIZE: u64 = 1 << 36;
/// Longer pages have not been made either (from memory), and would not be loaded in 20 ms.
const MOST_PAGE: u32 = 512;

impl Source<'_> {
    /// The part that `row` describes.
    pub fn part(self, row: &Row) -> Result<Part, ChipFileError> {
        let maker = MakerId {
            bank: row.bank.as_ref().map_or(1, |bank| *bank.get_ref()),
            code: *row.maker.get_ref(),
        };
        if let Some(bank) = row.bank.as_ref().filter(|bank| *bank.get_ref() == 0) {
            return Err(self.wrong(bank, "bank", "a bank of JEP106, from 1", "0"));
        }
        if !maker.has_odd_parity() || maker.code == 0x7F {
            let got = format!("0x{:02X}", maker.code);
            let expected = "the maker byte as read, with odd parity and not 7F";
            return Err(self.wrong(&row.maker, "maker", expected, &got));
        }
        let device = row.device.get_ref().clone();
        let wide = row.bus == Bus::X8 && device.iter().any(|word| *word > 0xFF);
        if !matches!(device.len(), 1 | 3) || wide {
            let words: Vec<_> = device.iter().map(|word| format!("0x{word:02X}")).collect();
            let expected = "a list of one id or three, bytes on an x8 bus";
            return Err(self.wrong(&row.device, "device", expected, &words.join(", ")));
        }
        let family = row.family;
        Ok(Part {
            name: self.words(&row.name, "name", 64)?,
            maker,
            device,
            bus: row.bus,
            geometry: self.geometry(row)?,
            family,
            unlock: row.unlock.unwrap_or_else(|| Unlock::usual(family)),
            bypass: self.bypass(row)?,
            page: self.page(row)?,
            cfi: row.cfi,
            vcc: self.volts(row)?,
            vpp: row.vpp_mv.map(Millivolts),
            times: self.times(&row.times)?,
            source: self.words(&row.source, "source", 400)?,
            note: row.note.as_ref().map(|note| self.words(note, "note", 400)).transpose()?,
            file: self.file.to_owned(),
        })
    }

    fn bytes(self, value: &Spanned<String>, key: &str) -> Result<u64, ChipFileError> {
        let bytes = size(value.get_ref()).filter(|bytes| *bytes <= MOST_SIZE);
        let expected = "bytes, such as \"64K\" or \"2M\", at most 64 GiB";
        bytes.ok_or_else(|| self.wrong(value, key, expected, value.get_ref()))
    }

    fn geometry(self, row: &Row) -> Result<Geometry, ChipFileError> {
        let size = self.bytes(&row.size, "size")?;
        let mut geometry = match row.sectors.as_ref().map(|text| (text, text.get_ref().as_str())) {
            None => Geometry::only_size(size),
            Some((_, "whole")) => Geometry::whole(size),
            Some((value, text)) => {
                let expected = "sectors from the lowest address, such as \"8 x 8K, 31 x 64K\"";
                let wrong = || self.wrong(value, "sectors", expected, text);
                let regions = sectors(text).ok_or_else(wrong)?;
                let sum = total(&regions);
                if sum != size {
                    let fault = ChipFault::Sum { size, sum };
                    return Err(self.error(value.span().start, "sectors", fault));
                }
                Geometry::in_order(size, regions)
            }
        };
        if let Some(blocks) = &row.blocks {
            let bytes = self.bytes(blocks, "blocks")?;
            let [region] = geometry.regions[..] else {
                let expected = "no `blocks` where sectors differ or are not known";
                return Err(self.wrong(blocks, "blocks", expected, blocks.get_ref()));
            };
            let whole = bytes > region.bytes && size % bytes == 0 && bytes % region.bytes == 0;
            let Some(count) = u32::try_from(size / bytes).ok().filter(|_| whole) else {
                let expected = "a multiple of the sector size that divides the chip";
                return Err(self.wrong(blocks, "blocks", expected, blocks.get_ref()));
            };
            geometry.blocks = Some(Region { count, bytes });
        }
        Ok(geometry)
    }

    fn bypass(self, row: &Row) -> Result<bool, ChipFileError> {
        let Some(value) = &row.bypass else { return Ok(false) };
        if *value.get_ref() && row.family != Some(Family::Amd) {
            let expected = "`true` for parts of the amd family only";
            return Err(self.wrong(value, "bypass", expected, "true"));
        }
        Ok(*value.get_ref())
    }

    fn page(self, row: &Row) -> Result<Option<u32>, ChipFileError> {
        let Some(value) = &row.page else { return Ok(None) };
        let bytes = *value.get_ref();
        let fits = bytes.is_power_of_two() && (2..=MOST_PAGE).contains(&bytes);
        if !fits || row.family != Some(Family::Page) {
            let expected = "a power of two from 2 to 512, for parts of the page family only";
            return Err(self.wrong(value, "page", expected, &bytes.to_string()));
        }
        Ok(Some(bytes))
    }

    fn volts(self, row: &Row) -> Result<Option<Volts>, ChipFileError> {
        let Some(value) = &row.vcc_mv else { return Ok(None) };
        let [least, most] = *value.get_ref();
        if least > most {
            let expected = "the lowest and the highest voltage in millivolts";
            return Err(self.wrong(value, "vcc_mv", expected, &format!("{least}, {most}")));
        }
        Ok(Some(Volts { least: Millivolts(least), most: Millivolts(most) }))
    }

    fn times(self, row: &TimesRow) -> Result<Times, ChipFileError> {
        let one = |value: &Option<Spanned<[u32; 2]>>, key, unit: fn(u64) -> Nanos| {
            let Some(value) = value else { return Ok(None) };
            let [typical, most] = *value.get_ref();
            if typical == 0 || most < typical {
                let expected = "the typical and the longest time";
                return Err(self.wrong(value, key, expected, &format!("{typical}, {most}")));
            }
            let (typical, most) = (unit(typical.into()), unit(most.into()));
            Ok(Some(Time { typical, most: Some(most) }))
        };
        Ok(Times {
            word: one(&row.word_us, "times.word_us", Nanos::from_micros)?,
            buffer: one(&row.buffer_us, "times.buffer_us", Nanos::from_micros)?,
            sector: one(&row.sector_ms, "times.sector_ms", Nanos::from_millis)?,
            chip: one(&row.chip_ms, "times.chip_ms", Nanos::from_millis)?,
        })
    }
}
